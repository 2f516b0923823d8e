"""Scale weights and twist: what a change of stagger does to the bite."""

from dataclasses import dataclass

from sim.car import Car
from sim.units import INCH, POUND, Real

TYPICAL_RATE = 10 * POUND / INCH
"""Bite per stagger, front or rear; common practice, no source: 8 to 15 lb/in on a full-bodied
car."""


@dataclass(frozen=True)
class Rates:
    """Bite change per stagger change, N/m, positive; rear stagger takes bite out, front adds."""

    rear: Real
    front: Real
    rear_source: str
    front_source: str


def bite_rates(car: Car) -> Rates:
    """The rates of a car: measured from its file, else typical."""
    rear, front = car.bite_per_inch.rear, car.bite_per_inch.front
    return Rates(
        rear=TYPICAL_RATE if rear is None else rear,
        front=TYPICAL_RATE if front is None else front,
        rear_source="typical" if rear is None else "measured",
        front_source="typical" if front is None else "measured",
    )


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
    """

    rates: Rates
    now: Real
    then: Real
    hold_front: Real


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
    return StaggerEffect(
        rates, now, now - rates.rear * change, hold_front=change * rates.rear / rates.front
    )
