"""How much bite a change of stagger, a jack turn or a spacer is worth.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (roll stiffness of an axle).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.car import BiteRates, Car
from rollpath.corners import RAISES_BITE, Corners
from rollpath.scales.twist import (
    BiteError,
    Change,
    Moves,
    Pads,
    air_rises,
    pads_after,
    unit_twists,
)
from rollpath.stagger import Baseline
from rollpath.units import INCH, POUND, Real

TYPICAL_RATE = 10 * POUND / INCH
"""Bite per stagger of either axle. Common practice, no source: 8 to 15 lb per inch of stagger on
a full-bodied car of about 3,000 lb."""
FAR_APART = 0.5
"""Share of the predicted rate by which a measured one may differ before it is questioned."""


# Bite per stagger, per turn, per spacer


@dataclass(frozen=True)
class Rates:
    """How much bite each change is worth; positive numbers.

    Attributes
    ----------
    rear, front : float or ndarray
        N per m of stagger: bite falls by `rear` with rear stagger added and rises by `front` with
        front stagger added.
    rear_source, front_source : str
        ``measured`` (car file), ``predicted`` (from springs, or from the measured other axle) or
        ``typical``.
    rear_seat, front_seat : float or None
        N per m of height of one spring seat; None when the spring base is not known.
    rear_turn, front_turn : float or None
        N per turn of one jack; None when it is not known.
    rear_turn_source, front_turn_source : str
        As above, or ``unknown``.
    predicted : BiteRates
        What the springs say of `rear` and `front`, also where a measured one is used.
    ahead : Moves
        Change of right front less left front per change of bite, by what is moved.
    """

    rear: Real
    front: Real
    rear_source: str
    front_source: str
    rear_seat: Real | None
    front_seat: Real | None
    rear_turn: Real | None
    front_turn: Real | None
    rear_turn_source: str
    front_turn_source: str
    predicted: BiteRates
    ahead: Moves

    @property
    def basis(self) -> str:
        """One word for both axles, or which is which."""
        if self.rear_source == self.front_source:
            return self.rear_source
        return f"rear {self.rear_source}, front {self.front_source}"

    @property
    def doubtful(self) -> list[str]:
        """Axles whose measured rate differs from the predicted one by more than `FAR_APART`."""
        pairs = {
            "rear": (self.rear, self.predicted.rear, self.rear_source),
            "front": (self.front, self.predicted.front, self.front_source),
        }
        return [
            axle
            for axle, (used, predicted, source) in pairs.items()
            if source == "measured"
            and predicted is not None
            and bool(np.any(np.abs(used - predicted) > FAR_APART * predicted))
        ]


def predicted_rates(car: Car) -> BiteRates:
    """Bite per stagger from springs, bars and tires, and the centre of gravity at its height.

    With the centre of gravity on the ground the twisting moment is the relative tilt of the axles
    times the series of their roll stiffnesses [1]_, a stagger S tilting an axle by S / (2 pi T).
    Its height takes from the rear rate and adds to the front one.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    BiteRates
        N per m of stagger; both None when the car has no springs.

    Raises
    ------
    BiteError
        If the car would tip.
    """
    if car.springs is None:
        return BiteRates()
    bite, _ = unit_twists(car)
    return BiteRates(rear=bite.rear, front=bite.front)


def bite_rates(car: Car) -> Rates:
    """The bite rates of a car: measured, else predicted, else typical.

    A rate that was measured beats any prediction. One measured axle predicts the other by the
    track widths alone when there are no springs to go by. Jack and spacer rates stand to the
    stagger rate of their axle as the springs say, unless `bite_per_turn` was measured.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    Rates
    """
    bite, ahead = _by_springs(car)
    predicted = BiteRates() if bite is None else BiteRates(bite.rear, bite.front)
    measured = car.bite_per_inch
    T_f, T_r = car.front.track_width, car.rear.track_width
    by_front = None if measured.front is None else measured.front * T_f / T_r
    by_rear = None if measured.rear is None else measured.rear * T_r / T_f
    rear, rear_source = _best(measured.rear, predicted.rear, by_front)
    front, front_source = _best(measured.front, predicted.front, by_rear)
    # Without springs a front seat is a wheel's height, and a rear one nobody knows.
    rear_seat = None if bite is None else rear * bite.rear_seat / bite.rear
    front_seat = front * (2 * np.pi if bite is None else bite.front_seat / bite.front)
    rear_turn, rear_turn_source = _turn_rate(car, car.bite_per_turn.rear, rear_seat, rear_source)
    front_turn, front_turn_source = _turn_rate(
        car, car.bite_per_turn.front, front_seat, front_source
    )
    return Rates(
        rear, front, rear_source, front_source, rear_seat, front_seat,
        rear_turn, front_turn, rear_turn_source, front_turn_source, predicted, ahead,
    )  # fmt: skip


def _by_springs(car: Car) -> tuple[Moves | None, Moves]:
    """`unit_twists`; without springs nothing of bite, and front pads by the track widths alone."""
    if car.springs is not None:
        return unit_twists(car)
    widths = car.rear.track_width / car.front.track_width
    return None, Moves(widths, widths, widths, widths)


def _best(
    measured: Real | None, by_springs: Real | None, by_other: Real | None
) -> tuple[Real, str]:
    if measured is not None:
        return measured, "measured"
    for predicted in (by_springs, by_other):
        if predicted is not None:
            return predicted, "predicted"
    return TYPICAL_RATE, "typical"


def _turn_rate(
    car: Car, measured: Real | None, seat: Real | None, stagger_source: str
) -> tuple[Real | None, str]:
    """Bite per jack turn; reckoned from a stagger rate it is at best a prediction."""
    if measured is not None:
        return measured, "measured"
    if seat is None or car.jack_thread is None:
        return None, "unknown"
    return seat * car.jack_thread, "typical" if stagger_source == "typical" else "predicted"


def bite_change(car: Car, rates: Rates, change: Change) -> Real:
    """How much a change raises bite, N.

    A tire that stands higher with more air counts as a bigger one: by 2 pi its rise.

    Parameters
    ----------
    car : Car
    rates : Rates
    change : Change
        Its numbers scalars, or of shape (cases,).

    Raises
    ------
    BiteError
        If a jack or spacer is changed whose rate is not known.
    """
    return sum(_raised(car, rates, change))


def pads_with(car: Car, rates: Rates, change: Change) -> Pads:
    """The four pads after a change; see `bite_change`.

    Parameters
    ----------
    car : Car
    rates : Rates
    change : Change
        Its numbers scalars, or of shape (cases,).
    """
    raised, ahead = bite_change(car, rates, change), _ahead_change(car, rates, change)
    return pads_after(car, float(raised), float(ahead))


def _ahead_change(car: Car, rates: Rates, change: Change) -> Real:
    """How much a change raises right front less left front, N."""
    ahead = rates.ahead
    shares = (ahead.front, ahead.rear, *2 * (ahead.front_seat, ahead.rear_seat))
    return sum(
        share * raised for share, raised in zip(shares, _raised(car, rates, change), strict=True)
    )


def _raised(car: Car, rates: Rates, change: Change) -> list[Real]:
    """Bite by each thing that is changed, N: tires, jacks and spacers, each front and rear."""
    no_turn = (
        "what a jack turn does is not known; add springs and jacks: thread to the car file, "
        "or learn it with --learn"
    )
    no_spacer = "what a spacer does is not known; add springs to the car file"
    rises = air_rises(car, change.pressures)
    rollouts = change.rollouts.with_each(rises, lambda grown, rise: grown + 2 * np.pi * rise)
    return [
        *_worth(rollouts, rates.front, rates.rear, ""),
        *_worth(change.turns, rates.front_turn, rates.rear_turn, no_turn),
        *_worth(change.spacers, rates.front_seat, rates.rear_seat, no_spacer),
    ]


def _worth(
    amounts: Corners[Real], front: Real | None, rear: Real | None, unknown: str
) -> tuple[Real, Real]:
    """Bite from amounts at the front and at the rear corners, each at the rate of its axle."""
    ends: list[Real] = [0.0, 0.0]
    rates = (front, front, rear, rear)
    for at, (sign, rate, amount) in enumerate(zip(RAISES_BITE, rates, amounts, strict=True)):
        if not np.any(amount):
            continue
        if rate is None:
            raise BiteError(unknown)
        ends[at // 2] = ends[at // 2] + sign * rate * amount
    return ends[0], ends[1]


@dataclass(frozen=True)
class StaggerEffect:
    """What a change of rear stagger does to the bite.

    Attributes
    ----------
    rates : Rates
    now, then : float
        Bite before and after, N.
    hold_front : float
        Front stagger to add so that the bite stays, m.
    front_then : float
        Front stagger that the car would then have, m; negative with the left front the bigger.
    """

    rates: Rates
    now: Real
    then: Real
    hold_front: Real
    front_then: Real


def stagger_effect(car: Car, change: Real) -> StaggerEffect:
    """The bite side effect of a change of rear stagger.

    Parameters
    ----------
    car : Car
    change : float
        Rear stagger added, m.
    """
    rates = bite_rates(car)
    now = car.weights.bite
    hold = change * rates.rear / rates.front
    then = now - rates.rear * change
    return StaggerEffect(rates, now, then, hold, car.front.stagger + hold)


def effect_of(result: Baseline) -> StaggerEffect:
    """The bite side effect of going to the recommended stagger."""
    change = float(result.stagger.recommended) - float(result.car.rear.stagger)
    return stagger_effect(result.car, change)
