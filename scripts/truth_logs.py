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
from rollpath.car import Axle, Car, Tire
from rollpath.corners import Corners
from rollpath.groove.lay import make_groove
from rollpath.runlog.laps import RunLogError, log_of
from rollpath.runlog.read import read_run
from rollpath.runlog.recording import Recording
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


def driven_cars(count: int, seed: int) -> tuple[Cars, Driven, np.random.Generator]:
    rng = np.random.default_rng(seed)
    cars = drawn(rng, count, fault=np.resize(FAULTS, count))
    return cars, drive(cars, rng, 3.3), rng


def tried(made: list[Case]) -> list[tuple[Case, Recording]]:
    """The logs that could be read."""
    read = []
    for case in made:
        try:
            read.append((case, case.read()))
        except RunLogError as error:
            print("refused:", str(error)[:100], file=sys.stderr)
    return read
