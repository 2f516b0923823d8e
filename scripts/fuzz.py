"""Hand every reader and command damaged and made-up input; each must end in a result or in lines.

python3 scripts/fuzz.py [INPUTS]     100,000 when not said; new cases every time

The suite runs a short part of the same, `tests/test_hard_input.py`. What fails is printed as the
smallest input that does, and the exit status is then 1.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

from environment import ROOT, run

INPUTS = 100_000


def main() -> int:
    """Run this file again in the project's own environment, unless it is that already."""
    if "ROLLPATH_FUZZING" not in os.environ:
        os.environ["ROLLPATH_FUZZING"] = "yes"
        return run("scripts/fuzz.py", *sys.argv[1:], extras=("page", "test"))
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT / "tests"))
    return fuzz(int(sys.argv[1]) if sys.argv[1:] else INPUTS)


def fuzz(inputs: int) -> int:
    """Share the inputs out over the readers, the quantities and the command lines."""
    import hard_input

    checks = hard_input.checks()
    failed, start = 0, time.monotonic()
    for name, (share, check) in checks.items():
        count = max(int(share * inputs), 1)
        with tempfile.TemporaryDirectory() as folder:
            try:
                check(count, Path(folder))
            except Exception as error:  # whatever it is, it is what was looked for
                failed += 1
                print(f"{name}: {type(error).__name__}: {error}", flush=True)
                for note in getattr(error, "__notes__", []):
                    print(f"    {note}")
        done = time.monotonic() - start
        print(f"{name:12} {count:7} inputs, {done:6.0f} s in all", flush=True)
    print("nothing fell" if not failed else f"{failed} of {len(checks)} kinds fell")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
