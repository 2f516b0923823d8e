"""Draw the README's figures from the demo data into scripts/figures/.

python3 scripts/figures.py
"""

import shutil
import sys
import tempfile
from pathlib import Path

from environment import ROOT, run

FIGURES = ROOT / "scripts" / "figures"
SAUCER, ROPEWALK, CAR = "tracks/saucer-hill.yaml", "tracks/ropewalk.yaml", "cars/number-31.yaml"
DRAWN: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (("baseline", SAUCER, CAR, "--condition", "slick"),
     ("baseline-map", "baseline-cost", "baseline-lap")),
    (("compare", ROPEWALK, SAUCER, "--car", CAR, "--conditions", "heavy,slick",
      "--grooves", "middle,rounded,diamond"),
     ("compare-grooves-1", "compare-needed", "compare-staggers")),
    (("bite", CAR, "--rear-stagger", "1-3/4in", "--hold", "front"), ()),
    (("tires", "cars/racks/number-31.yaml", "--car", CAR, "--stagger", "2-1/4in"), ()),
    (("feel", ROPEWALK, CAR, "--stagger", "1in,2in,3in", "--condition", "slick"), ()),
    (("survey", "tracks/logs/two-ponds.gpx", "--width", "48ft"), ()),
    (("debrief", SAUCER, CAR, "--condition", "slick", "--wheel", "right", "--crabs", "yes",
      "--wheelspin", "no", "--log", "tracks/logs/saucer-hill-run.csv", "--gear-ratio", "5.8"),
     ("debrief", "debrief-2")),
)  # fmt: skip
"""Commands and the pictures of each to keep; none named keeps all."""


def main() -> int:
    FIGURES.mkdir(exist_ok=True)
    for command, kept in DRAWN:
        with tempfile.TemporaryDirectory() as folder:
            status = run("-m", "rollpath", *command, "--json", "--out", folder)
            if status:
                return status
            for picture in sorted(Path(folder).glob("*.png")):
                if not kept or picture.stem in kept:
                    shutil.copy(picture, FIGURES / picture.name)
                    print(FIGURES.relative_to(ROOT) / picture.name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
