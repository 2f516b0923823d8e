"""Draw the README's figure from the demo data into scripts/figures/.

python3 scripts/figures.py
"""

import shutil
import sys
import tempfile
from pathlib import Path

from environment import ROOT, run

FIGURES = ROOT / "scripts" / "figures"
COMMAND = ("baseline", "tracks/saucer-hill.yaml", "cars/number-31.yaml", "--condition", "slick")
SHOWN = ("baseline-map",)
"""The pictures of the command that the README shows."""


def main() -> int:
    FIGURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        status = run("-m", "rollpath", *COMMAND, "--json", "--out", folder)
        if status:
            return status
        for name in SHOWN:
            shutil.copy(Path(folder) / f"{name}.png", FIGURES)
            print((FIGURES / f"{name}.png").relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.exit(main())
