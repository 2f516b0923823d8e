"""How much bite a change of stagger, a jack turn or a spacer is worth.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (roll stiffness of an axle).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.car import BiteRates, Car, axle_roll_stiffness
from rollpath.corners import RAISES_BITE, Corners
from rollpath.scales.twist import BiteError, Change, air_rises
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
    """Bite per stagger from springs, bars and tires.

    The twisting moment is the relative tilt of the axles times the series of their roll
    stiffnesses [1]_; a stagger S tilts an axle by S / (2 pi T). Exact also for unequal springs,
    because a twist loads the two sides of an axle equally and oppositely.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    BiteRates
        N per m of stagger; both None when the car has no springs.
    """
    if car.springs is None:
        return BiteRates()
    K_f, K_r = axle_roll_stiffness(car)
    K = K_f * K_r / (K_f + K_r)
    T_f, T_r = car.front.track_width, car.rear.track_width
    return BiteRates(rear=K / (np.pi * T_r**2), front=K / (np.pi * T_f * T_r))


def bite_rates(car: Car) -> Rates:
    """The bite rates of a car: measured, else predicted, else typical.

    A rate that was measured beats any prediction. One measured axle predicts the other by the
    track widths alone when there are no springs to go by. Jack and spacer rates follow from the
    stagger rate of their axle by geometry, unless `bite_per_turn` was measured.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    Rates
    """
    predicted = predicted_rates(car)
    measured = car.bite_per_inch
    T_f, T_r = car.front.track_width, car.rear.track_width
    by_front = None if measured.front is None else measured.front * T_f / T_r
    by_rear = None if measured.rear is None else measured.rear * T_r / T_f
    rear, rear_source = _best(measured.rear, predicted.rear, by_front)
    front, front_source = _best(measured.front, predicted.front, by_rear)
    rear_seat, front_seat = _seat_rates(car, rear, front)
    rear_turn, rear_turn_source = _turn_rate(car, car.bite_per_turn.rear, rear_seat, rear_source)
    front_turn, front_turn_source = _turn_rate(
        car, car.bite_per_turn.front, front_seat, front_source
    )
    return Rates(
        rear, front, rear_source, front_source, rear_seat, front_seat,
        rear_turn, front_turn, rear_turn_source, front_turn_source, predicted,
    )  # fmt: skip


def _best(
    measured: Real | None, by_springs: Real | None, by_other: Real | None
) -> tuple[Real, str]:
    if measured is not None:
        return measured, "measured"
    for predicted in (by_springs, by_other):
        if predicted is not None:
            return predicted, "predicted"
    return TYPICAL_RATE, "typical"


def _seat_rates(car: Car, rear: Real, front: Real) -> tuple[Real | None, Real | None]:
    """Bite per height of one rear and one front spring seat, N/m.

    A rollout change S lifts a wheel by S / (2 pi); a seat lifted by h tilts its axle by h / base.
    A bar stands beside the springs and resists them, so that only their share of the roll rate
    turns into twist.
    """
    front_seat = 2 * np.pi * front
    if car.springs is None:
        return None, front_seat
    springs, T_f, T_r = car.springs, car.front.track_width, car.rear.track_width
    rear_share = _spring_share(springs.rear_rate, springs.rear_base, springs.rear_bar)
    front_share = _spring_share(springs.front_wheel_rate, T_f, springs.front_bar)
    return 2 * np.pi * rear * T_r / springs.rear_base * rear_share, front_seat * front_share


def _spring_share(pair: tuple[Real, Real], base: Real, bar: Real) -> Real:
    springs = base**2 / (1 / pair[0] + 1 / pair[1])
    return springs / (springs + bar)


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

    Raises
    ------
    BiteError
        If a jack or spacer is changed whose rate is not known.
    """
    no_turn = (
        "what a jack turn does is not known; add springs and jacks: thread to the car file, "
        "or learn it with --learn"
    )
    no_spacer = "what a spacer does is not known; add springs to the car file"
    rises = air_rises(car, change.pressures)
    rollouts = change.rollouts.with_each(rises, lambda grown, rise: grown + 2 * np.pi * rise)
    return (
        _worth(rollouts, rates.front, rates.rear, "")
        + _worth(change.turns, rates.front_turn, rates.rear_turn, no_turn)
        + _worth(change.spacers, rates.front_seat, rates.rear_seat, no_spacer)
    )


def _worth(amounts: Corners[Real], front: Real | None, rear: Real | None, unknown: str) -> Real:
    """Bite from amounts at the corners, each at the rate of its axle."""
    total: Real = 0.0
    for sign, rate, amount in zip(RAISES_BITE, (front, front, rear, rear), amounts, strict=True):
        if not np.any(amount):
            continue
        if rate is None:
            raise BiteError(unknown)
        total = total + sign * rate * amount
    return total


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
