"""Bite in motion: what the rear wheels carry, left less right, along a lap."""

from dataclasses import dataclass, replace

import numpy as np

from rollpath.car import Car
from rollpath.groove.path import Groove
from rollpath.lap import PHASES, Lap, solve_lap
from rollpath.scales.twist import Change, Pads
from rollpath.track import Condition

IN_THE_CORNER = ("entry", "centre", "drive-off")


@dataclass(frozen=True)
class BiteInMotion:
    """One set-up on a lap.

    Attributes
    ----------
    name : str
    by_phase : dict of str to float
        Mean load of the left rear less the right rear in each phase of the corner, N; nan where
        the lap has none of a phase.
    """

    name: str
    by_phase: dict[str, float]


def set_up(car: Car, change: Change, pads: Pads) -> Car:
    """The car with a change made: its pads, its rollouts and its pressures.

    Parameters
    ----------
    car : Car
    change : Change
    pads : Corners of float
        After the change, N.
    """
    grown = change.rollouts
    front = replace(
        car.front,
        left_rollout=car.front.left_rollout + grown.left_front,
        right_rollout=car.front.right_rollout + grown.right_front,
    )
    rear = replace(
        car.rear,
        left_rollout=car.rear.left_rollout + grown.left_rear,
        right_rollout=car.rear.right_rollout + grown.right_rear,
    )
    return replace(car, front=front, rear=rear, weights=pads.weights)


def bite_in_motion(name: str, groove: Groove, car: Car, condition: Condition) -> BiteInMotion:
    """What the rear wheels carry, left less right, through the corners of a lap."""
    return BiteInMotion(name, by_phase(solve_lap(groove, car, condition)))


def by_phase(lap: Lap) -> dict[str, float]:
    """Mean load of the left rear less the right rear in each phase of the corner, N."""
    apart = np.asarray(lap.wheels.left_rear - lap.wheels.right_rear, dtype=float)
    found = {}
    for phase in IN_THE_CORNER:
        there = lap.phase == PHASES.index(phase)
        found[phase] = float(apart[there].mean()) if there.any() else float("nan")
    return found
