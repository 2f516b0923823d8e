"""How often a log is read right: cars that are not rollpath's, with faults in car and log.

python3 scripts/truth_logs.py [cars] [seed]

`figures` gives the rows that `bench.py --truth` prints. The cars, tires, drivers and loggers are
those of `other_cars.py`; the reading was set on seed 1 and is judged on others.
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from other_cars import DEGREE, INCH, Cars, Driven, Logger, a_logger, best_stagger, drawn, drive
from other_cars import recorded as recorded_log
from rollpath.belief import believe, estimate
from rollpath.car import Axle, Car, Tire
from rollpath.corners import Corners
from rollpath.debrief import decide
from rollpath.groove.lay import make_groove
from rollpath.runlog.log import RunLogError, log_of
from rollpath.runlog.read import read_run
from rollpath.runlog.recording import Recording
from rollpath.runlog.says import read_log, spins, tape_doubted
from rollpath.track import Bank, Condition, Track
from rollpath.units import FOOT, G

FAULTS = np.array([-1.0, -0.75, -0.5, 0.0, 0.0, 0.5, 0.75, 1.0]) * INCH
"""Stagger on the cars beyond about what they need: each car has the next of these."""
OFF_LINE = 3.5
"""m; a car that strays further has spun and is left out."""
CLEAR = 0.35 * INCH
"""A fault of the stagger from which the opposite verdict counts as one."""


@dataclass(frozen=True)
class Case:
    """A log and what is true of it: taped and best stagger, m."""

    columns: dict[str, NDArray[np.float64]]
    track: Track
    car: Car
    condition: Condition
    taped: float
    best: float

    def read(self, gear_ratio: float | None = None) -> Recording:
        groove = make_groove(self.track, "middle", self.car.width)
        return read_run(
            log_of(dict(self.columns)), self.track, self.car, self.condition, groove, gear_ratio
        )


def the_track(cars: Cars, i: int, rng: np.random.Generator) -> Track:
    """The oval as a racer measured it."""
    v = {name: float(value[i]) for name, value in cars.values.items()}
    R = v["radius"] + rng.normal(0, 5) * FOOT
    return Track(
        "Made up", (R, R), v["straight"] + rng.normal(0, 8) * FOOT, 50 * FOOT,
        bank=Bank(max(v["bank"] + rng.normal(0, 1.5 * DEGREE), 0.0), 0.0),
    )  # fmt: skip


def the_car(cars: Cars, i: int, rng: np.random.Generator, taped: float) -> Car:
    """The car as its file has it: weights from the pads, the rest as typical or nearly so."""
    v = {name: float(value[i]) for name, value in cars.values.items()}
    total, rear, left = v["mass"] * G, v["rear_share"], v["left_share"]
    weights = Corners(
        total * (1 - rear) * left - v["bite"] / 4, total * (1 - rear) * (1 - left) + v["bite"] / 4,
        total * rear * left + v["bite"] / 4, total * rear * (1 - left) - v["bite"] / 4,
    )  # fmt: skip
    half, T = 0.5 * taped, 2 * v["half_track"]
    return Car(
        "Other", v["wheelbase"], Axle(T, v["rollout"] - 0.03, v["rollout"]),
        Axle(T, v["rollout"] - half, v["rollout"] + half), weights,
        power=v["power"] * rng.uniform(0.9, 1.1), drag_area=v["drag"],
        tire=Tire(v["rate"] * rng.uniform(0.85, 1.15)), steering_ratio=v["ratio"],
        gear_ratio=v["gear"],
    )  # fmt: skip


def cases(
    cars: Cars, driven: Driven, rng: np.random.Generator, wrong_tape: float = 0.0, **logger: Any
) -> list[Case]:
    """A log of each car that stayed on its line; the tape wrong by an amount, m, if wanted."""
    best, made = best_stagger(driven), []
    for i in np.flatnonzero(np.abs(driven.e).max(axis=0) < OFF_LINE):
        kept = a_logger(rng, logger.get("zero", 2 * DEGREE))
        kept = Logger(**{**vars(kept), **{k: v for k, v in logger.items() if k != "zero"}})
        taped = float(cars.stagger[i]) + wrong_tape * (1 if i % 2 else -1)
        grip = float(cars.mu[i]) * rng.uniform(0.9, 1.1)
        made.append(
            Case(
                recorded_log(cars, driven, i, kept, rng), the_track(cars, i, rng),
                the_car(cars, i, rng, taped), Condition("made up", grip, 8.0, "middle"),
                taped, float(best[i]),
            )
        )  # fmt: skip
    return made


def driven_cars(
    count: int, seed: int, laps: float = 3.3
) -> tuple[Cars, Driven, np.random.Generator]:
    rng = np.random.default_rng(seed)
    cars = drawn(rng, count, fault=np.resize(FAULTS, count))
    return cars, drive(cars, rng, laps), rng


def tried(made: list[Case]) -> list[tuple[Case, Recording]]:
    """The logs that could be read."""
    read = []
    for case in made:
        try:
            read.append((case, case.read()))
        except RunLogError as error:
            print("refused:", str(error)[:100], file=sys.stderr)
    return read


# The figures


@dataclass(frozen=True)
class Figure:
    """One row of `bench.py --truth`: how many of how many, and what was asked."""

    name: str
    count: int
    of: int
    asked: str

    @property
    def told(self) -> str:
        return f"{self.count:>3} of {self.of:<4} asked: {self.asked}"


def says(case: Case, run: Recording) -> str:
    """The verdict of the log alone, beside a physics that knows the line to half an inch."""
    word, physics = read_log(run, case.car), float(run.best.unbounded)
    belief = believe(physics, 0.5 * INCH, [estimate("log", word.best - physics, word.sd)])
    return decide(None, word, belief, case.taped, run.best.window).change


def is_opposite(case: Case, said: str) -> bool:
    """Whether it says more where there is clearly too much, or less where too little."""
    fault = case.taped - case.best
    return abs(fault) > CLEAR and said == ("more" if fault > 0 else "less")


def counted(count: int, seed: int) -> list[Figure]:
    """Cars drawn from a seed that nothing was set on, each read with several faults of its log."""
    cars, driven, _ = driven_cars(count, seed)

    def some(**faults: Any) -> list[tuple[Case, Recording]]:
        return tried(cases(cars, driven, np.random.default_rng(seed), **faults))

    plain, zero, spun = some(), some(zero=8 * DEGREE), some(spin=0.15)
    right = [*plain, *zero]
    doubted = sum(tape_doubted(run) for _, run in right)
    opposite = sum(is_opposite(case, says(case, run)) for case, run in right)
    with_slip = [run for _, run in plain if run.slip is not None]
    accused = sum(run.slip.gear_fault for run in with_slip if run.slip is not None)
    wheels = [
        (run.wheel.alone - case.taped) / run.wheel.alone_error
        for case, run in right if run.wheel is not None
    ]  # fmt: skip
    return [
        Figure("opposite verdicts", opposite, len(right), "none"),
        Figure("a right tape doubted", doubted, len(right), "at most 1 in 20"),
        Figure("wheelspin of 15 % found", sum(spins(run) for _, run in spun), len(spun), "all"),
        Figure("wheelspin named where there is none", sum(map(spins, with_slip)), len(with_slip),
               "none"),
        Figure("a right gear ratio accused", accused, len(with_slip), "none"),
        Figure("stagger by the wheel within 1.645 standard deviations",
               int(np.sum(np.abs(wheels) < 1.645)), len(wheels), "9 in 10"),
    ]  # fmt: skip


def figures(count: int = 20, seed: int = 3) -> list[tuple[str, str]]:
    """The rows as `bench.py --truth` prints them: what, and how often."""
    import truth_other_logs
    import truth_two_track

    own = [(figure.name, figure.told) for figure in counted(count, seed)]
    return [
        *own, *truth_other_logs.figures(2 * count, seed), *truth_two_track.figures(2 * count, seed)
    ]  # fmt: skip


def main() -> int:
    count, seed = (int(word) for word in (*sys.argv[1:], *("20", "3")[len(sys.argv) - 1 :]))
    for name, told in figures(count, seed):
        print(f"{name:<54}{told}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
