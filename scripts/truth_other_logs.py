"""How often a log by another hand is read right; see `other_logs.py`.

python3 scripts/truth_other_logs.py [runs] [seed]
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from other_logs import FAULTS, FOOT, INCH, Outing, an_outing, lap_of, log_of_outing, truth_of
from rollpath.car import Axle, Car, Tire
from rollpath.corners import Corners
from rollpath.runlog.log import RunLogError
from rollpath.runlog.recording import Recording
from rollpath.runlog.says import spins, tape_doubted
from rollpath.track import Bank, Condition, Track
from rollpath.units import G
from truth_logs import Case, Figure, is_opposite, says

__all__ = ["case_of", "is_opposite", "says"]
REFUSED = ("km/h headed mph", "clockwise")
"""Faults that no log is to be read with."""


def case_of(
    outing: Outing, columns: dict[str, Any], rng: np.random.Generator, longer: float = 1.0,
    wrong_tape: float = 0.0,
) -> Case:  # fmt: skip
    """The log with the track and the car as a racer has them in his files.

    Parameters
    ----------
    longer : float
        Straights of another track this much longer, its corners so much tighter that a lap is as
        long.
    wrong_tape : float
        Of the stagger, m.
    """
    radii = np.array(outing.radii) - outing.offset + rng.normal(0, 1.5, 2)
    straight = outing.straight + rng.normal(0, 2.5)
    radii -= straight * (longer - 1) / np.pi
    track = Track(
        "Made up", (float(radii[0]), float(radii[1])), straight * longer, 50 * FOOT,
        bank=Bank(outing.bank, 0.0),
    )  # fmt: skip
    quarter, half = outing.mass * G / 4, 0.5 * (outing.stagger + wrong_tape)
    axle = Axle(2 * outing.half_track, outing.rollout - half, outing.rollout + half)
    front = Axle(2 * outing.half_track, outing.rollout - 0.03, outing.rollout)
    weights = Corners(1.06 * quarter, 0.94 * quarter, 1.08 * quarter, 0.92 * quarter)
    car = Car(
        "Other", outing.wheelbase, front, axle, weights, power=outing.power,
        tire=Tire(outing.rate), steering_ratio=outing.ratio, gear_ratio=outing.gear,
    )  # fmt: skip
    grip = outing.mu * rng.uniform(0.9, 1.1)
    best = truth_of(outing, lap_of(outing))[1]
    state = Condition("made up", grip, 9.0, "middle")
    return Case(columns, track, car, state, outing.stagger + wrong_tape, best)


def read(seed: int, faults: tuple[str, ...], **what: Any) -> tuple[Case, Recording] | str:
    """One run; the words of the refusal where it could not be read."""
    rng = np.random.default_rng(seed)
    outing = an_outing(rng, what.pop("fault", 0.0), what.pop("spin", 0.0))
    rate = float(rng.choice([1.0, 5.0, 10.0, 20.0]))
    case = case_of(outing, log_of_outing(outing, rng, rate, faults=faults), rng, **what)
    try:
        return case, case.read()
    except RunLogError as error:
        return str(error)


def counted(runs: int, seed: int) -> list[Figure]:
    """Each fault of a log on runs of its own, with too little, right and too much stagger."""
    seeds = np.random.default_rng(seed).integers(0, 2**31, runs)
    readable = [name for name in FAULTS if name not in REFUSED]
    done, spun, refused, other, wrong = [], [], [], [], []
    for i, one in enumerate(map(int, seeds)):
        some = (readable[i % len(readable)], "pits" if i % 2 else "traffic")
        done.append(read(one, some, fault=(-0.8, 0.0, 0.8)[i % 3] * INCH))
        spun.append(read(one, ("dropouts",), spin=0.15))
        refused.append(read(one, (REFUSED[i % 2],)))
        other.append(read(one, (), longer=1.6))
        wrong.append(read(one, (), wrong_tape=1.5 * INCH))
    for words in (each for each in done if isinstance(each, str)):
        print("refused:", words[:110], file=sys.stderr)
    good = [each for each in done if not isinstance(each, str)]
    slips = [run.slip for _, run in good if run.slip is not None]

    def told(rows: list[Any], what: Any) -> int:
        return sum(what(run) for _, run in rows)

    spun_read = [each for each in spun if not isinstance(each, str)]
    wrong_read = [each for each in wrong if not isinstance(each, str)]
    return [
        Figure("another hand: logs read", len(good), runs, "all"),
        Figure("another hand: opposite verdicts", sum(is_opposite(c, says(c, r)) for c, r in good),
               len(good), "none"),
        Figure("another hand: a right tape doubted", told(good, tape_doubted), len(good),
               "at most 1 in 20"),
        Figure("another hand: wheelspin of 15 % found", told(spun_read, spins), len(spun_read),
               "all"),
        Figure("another hand: wheelspin where there is none", told(good, spins), len(good), "none"),
        Figure("another hand: a right gear ratio accused", sum(s.gear_fault for s in slips),
               len(slips), "none"),
        Figure("another hand: clockwise or a wrong unit refused",
               sum(isinstance(each, str) for each in refused), runs, "all"),
        Figure("another hand: a track of another shape refused",
               sum(isinstance(each, str) for each in other), runs, "all"),
        Figure("a tape wrong by 1 1/2 in noticed", told(wrong_read, tape_doubted),
               len(wrong_read), "where the log knows"),
    ]  # fmt: skip


def figures(runs: int = 40, seed: int = 3) -> list[tuple[str, str]]:
    """Rows as `bench.py --truth` prints them."""
    return [(figure.name, figure.told) for figure in counted(runs, seed)]


def main() -> int:
    runs, seed = (int(word) for word in (*sys.argv[1:], *("40", "3")[len(sys.argv) - 1 :]))
    for name, told in figures(runs, seed):
        print(f"{name:<54}{told}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
