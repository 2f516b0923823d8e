"""All that a change does on the scales, and the change that puts bite back."""

from dataclasses import dataclass

import numpy as np

from rollpath.car import Car
from rollpath.corners import Corners, only
from rollpath.results import Result
from rollpath.scales.rates import Rates, bite_change, bite_rates, pads_with
from rollpath.scales.twist import BiteError, Change, Pads, pad_pattern, stance
from rollpath.units import INCH, POUND, FloatArray, Real

STAGGER_STEP = INCH / 8
"""Stagger is taped and matched to an eighth. Common practice, no source."""
TURN_STEP = 0.25
"""A jack is turned by quarter turns. Common practice, no source."""
SPACER_STEP = INCH / 8
"""Spacers come in eighths. Common practice, no source."""
SCALES_TELL = 2 * POUND
"""Left-over bite below this is all one. Engineering judgement: pads repeat to 2 lb or so."""


# What holds bite


@dataclass(frozen=True)
class Hold:
    """One change that puts bite back, rounded to what can be done.

    Attributes
    ----------
    means : str
        ``front`` (front stagger), ``jack`` or ``spacer``.
    corner : str
        Where it is done: the right front tire, or the corner of the jack or spacer.
    change : Change
    left_over : float
        Change of bite that remains, N.
    """

    means: str
    corner: str
    change: Change
    left_over: float

    @property
    def front_stagger(self) -> Real:
        return self.change.front_stagger


def holds(car: Car, rates: Rates, raised: float, means: str) -> list[Hold]:
    """The changes that put bite back, least left over first.

    Where the scales could not tell them apart, front stagger comes before a jack and a rear jack
    before a front one.

    Parameters
    ----------
    car : Car
    rates : Rates
    raised : float
        How much bite was raised, N.
    means : str
        ``front``, ``jacks`` (or spacers, in a car with springs and no jacks) or ``either``.

    Raises
    ------
    BiteError
        If `means` is ``jacks`` and neither jack nor spacer can be reckoned.
    """
    front = [_hold(car, rates, raised, "front", "right_front", STAGGER_STEP)]
    jacks = [
        _hold(car, rates, raised, "jack", corner, TURN_STEP)
        for corner in _corners_known(rates.rear_turn, rates.front_turn)
    ] or [
        _hold(car, rates, raised, "spacer", corner, SPACER_STEP)
        for corner in _corners_known(rates.rear_seat, rates.front_seat)
        if car.springs is not None
    ]
    if means == "jacks" and not jacks:
        raise BiteError(
            "no jack or spacer can be reckoned; add springs and jacks: thread to the car file, "
            "or use --hold front"
        )
    found = {"front": front, "jacks": jacks, "either": front + jacks}[means]
    return sorted(found, key=lambda hold: abs(hold.left_over) // SCALES_TELL)


def _corners_known(rear: Real | None, front: Real | None) -> list[str]:
    """Corners that can be turned, rear first: a front linkage makes the front less sure."""
    order = [(rear, "left_rear"), (rear, "right_rear"), (front, "right_front"),
             (front, "left_front")]  # fmt: skip
    return [corner for rate, corner in order if rate is not None]


def _hold(car: Car, rates: Rates, raised: float, means: str, corner: str, step: float) -> Hold:
    def change(amount: float) -> Change:
        where = only(corner, amount)
        if means == "front":
            return Change(rollouts=where)
        return Change(turns=where) if means == "jack" else Change(spacers=where)

    one = float(bite_change(car, rates, change(step)))
    done = change(step * round(-raised / one))
    return Hold(means, corner, done, float(raised + bite_change(car, rates, done)))


# All of it together


@dataclass(frozen=True, eq=False)
class Outcome(Result, told_by="bite"):
    """What a change does on the scales.

    Attributes
    ----------
    car : Car
        As given.
    rates : Rates
    change : Change
        As asked.
    raised : float
        Change of bite with every wheel down, N.
    now, then : Pads
        Before and after the change, bite not held.
    holds : list of Hold
        Best first; empty when none was asked for.
    held : Pads
        After the change and the best hold; `then` when there is none.
    ride_heights : Corners[Real] or None
        Change of chassis height above each wheel, hold included, m; None without springs or with a
        wheel lifted.
    gear_change : float
        Share by which engine speed at a given road speed rises; with the mean rear rollout.
    """

    car: Car
    rates: Rates
    change: Change
    raised: float
    now: Pads
    then: Pads
    holds: list[Hold]
    held: Pads
    ride_heights: Corners[Real] | None
    gear_change: float


def weigh_change(car: Car, change: Change, hold: str | None = None) -> Outcome:
    """What a change does on the scales and what holds bite.

    Parameters
    ----------
    car : Car
        Scalar fields.
    change : Change
    hold : str, optional
        As `means` of `holds`.

    Raises
    ------
    BiteError
        If an effect cannot be told from what the car file holds.
    """
    rates = bite_rates(car)
    raised = float(bite_change(car, rates, change))
    then = pads_with(car, rates, change)
    found = holds(car, rates, raised, hold) if hold else []
    all_done = change + found[0].change if found else change
    return Outcome(
        car=car,
        rates=rates,
        change=change,
        raised=raised,
        now=Pads(car.weights),
        then=then,
        holds=found,
        held=pads_with(car, rates, all_done) if found else then,
        ride_heights=None if then.lifted else _ride_heights(car, all_done),
        gear_change=_gear_change(car, change),
    )


def _ride_heights(car: Car, change: Change) -> Corners[Real] | None:
    if car.springs is None or (any(change.turns) and car.jack_thread is None):
        return None
    return stance(car, change).ride_heights


def _gear_change(car: Car, change: Change) -> float:
    before = car.rear.mean_rollout
    after = before + 0.5 * (change.rollouts.left_rear + change.rollouts.right_rear)
    return float(before / after - 1)


def bite_map(
    car: Car, rates: Rates, rear_staggers: FloatArray, front_staggers: FloatArray
) -> FloatArray:
    """Bite for pairs of staggers, N, shape (front, rear); the car as it is otherwise.

    Parameters
    ----------
    car : Car
    rates : Rates
    rear_staggers, front_staggers : ndarray, shape (rear,) and (front,)
        m.
    """
    rear = rates.rear * (np.asarray(rear_staggers) - car.rear.stagger)
    front = rates.front * (np.asarray(front_staggers) - car.front.stagger)
    raised = front[:, None] - rear[None, :]
    pattern = np.array(pad_pattern(car), dtype=float)
    pads = np.array(car.weights, dtype=float) / pattern
    return np.asarray(
        car.weights.bite + np.clip(raised, -np.min(pads[pads > 0]), -np.max(pads[pads < 0]))
    )
