"""Run the main job on the demo data in the project's own environment; pictures go to pictures/.

python3 scripts/demo.py
"""

import sys

from environment import ROOT, run

PICTURES = ROOT / "pictures"
COMMANDS = (
    ("baseline", "tracks/saucer-hill.yaml", "cars/number-31.yaml", "--condition", "slick",
     "--out", "pictures"),
    ("baseline", "--radius", "150ft", "--straight", "210ft", "--width", "45ft",
     "cars/number-31.yaml"),
    ("compare", "tracks/ropewalk.yaml", "tracks/saucer-hill.yaml", "--car", "cars/number-31.yaml",
     "--conditions", "heavy,slick", "--out", "pictures"),
    ("survey", "tracks/logs/two-ponds.gpx", "--width", "48ft", "--out", "pictures"),
    ("bite", "cars/number-31.yaml", "--rear-stagger", "1in", "--hold", "either",
     "--out", "pictures"),
    ("tires", "cars/racks/number-31.yaml", "--car", "cars/number-31.yaml", "--track",
     "tracks/two-ponds.yaml", "--condition", "slick", "--out", "pictures"),
    ("feel", "tracks/ropewalk.yaml", "cars/number-31.yaml", "--stagger", "1in,2in,3in",
     "--condition", "slick", "--out", "pictures"),
    ("debrief", "tracks/saucer-hill.yaml", "cars/number-31.yaml", "--condition", "slick", "--log",
     "tracks/logs/saucer-hill-run.csv", "--gear-ratio", "5.8", "--wheel", "right", "--crabs", "yes",
     "--out", "pictures"),
)  # fmt: skip


def main() -> int:
    for command in COMMANDS:
        print("\n$ rollpath " + " ".join(command), flush=True)
        status = run("-m", "rollpath", *command, extras=("page",))
        if status:
            return status
    print(f"\npictures in {PICTURES.name}/: " + ", ".join(p.name for p in PICTURES.glob("*.png")))
    print("\non a phone: .venv/bin/python -m rollpath page --share, with PYTHONPATH=sim")
    print("(on this machine alone without --share); scan the code and tap")
    return 0


if __name__ == "__main__":
    sys.exit(main())
