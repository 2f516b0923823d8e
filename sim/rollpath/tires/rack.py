"""The rack: the mounted tires a racer owns, their tapings, and what they roll at pressure.

A tire is taped cold in the garage and hot as the car comes in; its rollout grows with pressure,
by as much as two tapings of it say or else by a growth for the whole rack.
"""

from dataclasses import dataclass

import numpy as np

from rollpath.corners import CORNERS, Corners
from rollpath.units import EIGHTH, INCH, PSI, Real

DOUBTFUL = 3 * EIGHTH
"""A reading further than this from the others is questioned."""
HOT = 316.5
"""A tire warmer than this when taped, 110 F, has been run. Engineering judgement: shade on a hot
day is below it, a tire off the track well above."""
DEFAULT_GROWTH = EIGHTH / PSI
"""Growth of the rollout with pressure, m per Pa. Common practice, no source: 1/16 to 1/4 in a psi
on bias-ply tires, next to nothing on radials."""
MOST_GROWTH = INCH / PSI
"""Two tapings that say more than this were not taped alike. Engineering judgement."""
SAME_PRESSURE = 0.25 * PSI
"""Gauges do not tell less than this apart. Engineering judgement."""


# Taping


@dataclass(frozen=True)
class Taping:
    """One taping of a tire.

    Attributes
    ----------
    readings : tuple of float
        Rollouts read off the tape, m.
    pressure : float or None
        Pa, gauge; None when not recorded.
    temperature : float or None
        Of the tire, K; None when not recorded, and then taken as cold.
    date : str
    """

    readings: tuple[float, ...]
    pressure: float | None = None
    temperature: float | None = None
    date: str = ""

    @property
    def doubtful(self) -> tuple[float, ...]:
        """Readings more than `DOUBTFUL` off: from each other when two, from their middle else."""
        middle = float(np.median(self.readings))
        most = DOUBTFUL / 2 if len(self.readings) == 2 else DOUBTFUL
        return tuple(one for one in self.readings if abs(one - middle) > most + 1e-9)

    @property
    def trusted(self) -> tuple[float, ...]:
        """The readings the mean is made of: those not in doubt, or all when that leaves none."""
        doubtful = self.doubtful
        return tuple(one for one in self.readings if one not in doubtful) or self.readings

    @property
    def mean(self) -> float:
        return float(np.mean(self.trusted))

    @property
    def spread(self) -> float:
        """Largest less smallest of all the readings, m."""
        return max(self.readings) - min(self.readings)

    @property
    def is_hot(self) -> bool:
        return self.temperature is not None and self.temperature > HOT


@dataclass(frozen=True)
class RackTire:
    """A mounted tire.

    Attributes
    ----------
    name : str
        What is chalked on it.
    tapings : tuple of Taping
        Oldest first.
    corners : tuple of str
        Corners it may go to, in the order of `bite.CORNERS`.
    compound, offset : str
        Compound and wheel offset group; empty when not recorded.
    heat_cycles : int or None
    on_car : str
        The corner it is on now; empty when it is on the rack.
    scrap : bool
    note : str
    pressure_limits : tuple of float or None
        Least and most pressure the tire maker allows, Pa; None takes the rack's.
    """

    name: str
    tapings: tuple[Taping, ...]
    corners: tuple[str, ...] = CORNERS
    compound: str = ""
    offset: str = ""
    heat_cycles: int | None = None
    on_car: str = ""
    scrap: bool = False
    note: str = ""
    pressure_limits: tuple[float, float] | None = None

    @property
    def cold(self) -> Taping | None:
        """The newest cold taping."""
        return next((one for one in reversed(self.tapings) if not one.is_hot), None)

    @property
    def hot(self) -> Taping | None:
        """The newest hot taping; its rollout stands as it was taped."""
        return next((one for one in reversed(self.tapings) if one.is_hot), None)

    @property
    def own_growth(self) -> float | None:
        """Growth of the rollout with pressure as taped, m per Pa; None when it cannot be told.

        From the newest two cold tapings in a row at different pressures, of one day if there
        are such: a tire also stretches with age, so tapings far apart in time say less of it.
        """
        cold = [one for one in self.tapings if not one.is_hot and one.pressure is not None]
        pairs = [
            (growth, newer.date == older.date)
            for newer, older in zip(cold[:0:-1], cold[-2::-1], strict=True)
            if (growth := _growth_between(older, newer)) is not None
        ]
        growth = next((one for one, same_day in pairs if same_day), pairs[0][0] if pairs else None)
        return growth if growth is not None and 0 <= growth <= MOST_GROWTH else None


def _growth_between(older: Taping, newer: Taping) -> float | None:
    """Rollout per pressure between two tapings, m per Pa; None at one pressure."""
    if older.pressure is None or newer.pressure is None:
        return None
    apart = newer.pressure - older.pressure
    return (newer.mean - older.mean) / apart if abs(apart) > SAME_PRESSURE else None


@dataclass(frozen=True)
class Rack:
    """The mounted tires a racer owns.

    Attributes
    ----------
    name : str
    tires : tuple of RackTire
    running_pressure : Corners[Real] or None
        Cold pressure each corner is raced at, Pa; None takes every rollout as it was taped.
    growth : float
        Growth of the rollout with pressure of a tire that shows none of its own, m per Pa.
    pressure_limits : tuple of float or None
        Least and most pressure the tire maker allows, Pa; None where nobody wrote them down.
    """

    name: str
    tires: tuple[RackTire, ...]
    running_pressure: Corners[Real] | None = None
    growth: float = DEFAULT_GROWTH
    pressure_limits: tuple[float, float] | None = None

    @property
    def names(self) -> list[str]:
        return [tire.name for tire in self.tires]

    def on_car(self) -> tuple[int, ...]:
        """Index of the tire now on each corner, -1 where none is known."""
        there = [tire.on_car for tire in self.tires]
        return tuple(there.index(corner) if corner in there else -1 for corner in CORNERS)
