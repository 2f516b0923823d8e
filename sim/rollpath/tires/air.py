"""Air: what a tire rolls at a pressure, how far it may be pumped, and what a pound does to the car.

Two things follow pressure. The tire grows, as two tapings of it show; and it gets harder, so that
it stands higher under the weight it carries. Both are stagger to a locked axle, and both lift
their corner, which the scales see as bite.
"""

from dataclasses import dataclass, replace

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, NOTHING, only
from rollpath.scales.rates import bite_change, bite_rates
from rollpath.scales.twist import Change
from rollpath.scales.ways import Valve
from rollpath.tires.rack import DEFAULT_GROWTH, Rack, RackTire
from rollpath.units import PSI, FloatArray

AIR_STEP = 0.5 * PSI
"""Gauges on dirt are read to half a pound. Common practice, no source."""
REACH_UNSTATED = 2 * PSI
"""How far from the running pressure advice may go where the tire maker's limits are not written
down. Engineering judgement: the running pressure is known to be safe, and little else is."""


def pressure_correction(rack: Rack, tire: RackTire, corner: str) -> float:
    """How much the cold rollout grows from the pressure it was taped at to the running one, m.

    Parameters
    ----------
    rack : Rack
    tire : RackTire
    corner : str
        One of `CORNERS`; its running pressure is taken.

    Returns
    -------
    float
        0 where either pressure is not known.
    """
    taping = tire.cold
    if rack.running_pressure is None or taping is None or taping.pressure is None:
        return 0.0
    apart = float(getattr(rack.running_pressure, corner)) - taping.pressure
    return growth_of(rack, tire) * apart


def growth_of(rack: Rack, tire: RackTire) -> float:
    """Growth of a tire's rollout with pressure, m per Pa: its own, or the rack's."""
    growth = tire.own_growth
    return rack.growth if growth is None else growth


def cold_rollout(rack: Rack, tire: RackTire, corner: str, added: float = 0.0) -> float:
    """Rollout of a tire, cold, at the running pressure of a corner and some more, m.

    Parameters
    ----------
    added : float
        Pressure beyond the running one, Pa.

    Returns
    -------
    float
        nan with no cold taping.
    """
    taping = tire.cold
    if taping is None:
        return float("nan")
    return taping.mean + pressure_correction(rack, tire, corner) + growth_of(rack, tire) * added


# How far


def limits_of(rack: Rack, tire: RackTire) -> tuple[float, float] | None:
    """The tire maker's pressure limits, Pa: the tire's own or the rack's; None if not stated."""
    return rack.pressure_limits if tire.pressure_limits is None else tire.pressure_limits


def air_steps(rack: Rack, tire: RackTire, corner: str) -> FloatArray:
    """Pressures a tire may have at a corner, less the running one, Pa, shape (steps,).

    Half pounds from the running pressure, inside the limits; where those are not stated, at most
    `REACH_UNSTATED` from it. Empty when the limits leave no step; only 0 without a running
    pressure.

    Parameters
    ----------
    rack : Rack
    tire : RackTire
    corner : str
        One of `CORNERS`.
    """
    if rack.running_pressure is None:
        return np.zeros(1)
    running = float(getattr(rack.running_pressure, corner))
    limits = limits_of(rack, tire) or (running - REACH_UNSTATED, running + REACH_UNSTATED)
    low, high = (np.array(limits) - running) / AIR_STEP
    steps = AIR_STEP * np.arange(np.ceil(low - 1e-6), np.floor(high + 1e-6) + 1)
    return np.asarray(steps[steps + running > 0])


def valves(car: Car, rack: Rack | None = None) -> list[Valve]:
    """The corners whose air may be changed, and how far.

    Where no rack says what is on a corner its tire grows as is typical, and advice stays within
    `REACH_UNSTATED` of the pressure now.

    Parameters
    ----------
    car : Car
        As `standing` gives it.
    rack : Rack, optional
    """
    if car.pressure is None:
        return []
    there = {} if rack is None else {tire.on_car: tire for tire in rack.tires if tire.on_car}
    growth, found = DEFAULT_GROWTH if rack is None else rack.growth, []
    for corner, now in car.pressure.by_name().items():
        tire = there.get(corner)
        guessed: tuple[str, ...] = (
            () if tire is not None and tire.own_growth is not None else ("growth",)
        )
        if f"pressure.{corner}" in car.assumed:
            guessed += ("pressure",)
        if rack is None or tire is None:
            half = round(REACH_UNSTATED / AIR_STEP)
            steps = AIR_STEP * np.arange(-half, half + 1.0)
            found.append(Valve(corner, steps[float(now) + steps > 0], growth, guessed))
        else:
            steps = air_steps(rack, tire, corner)
            found.append(Valve(corner, steps, growth_of(rack, tire), guessed))
    return found


def standing(car: Car, rack: Rack) -> Car:
    """The car with its pressures: those of its file, or else the running ones of the rack."""
    assumed = any(f"pressure.{corner}" in car.assumed for corner in CORNERS)
    if rack.running_pressure is None or not (car.pressure is None or assumed):
        return car
    known = frozenset(key for key in car.assumed if not key.startswith("pressure."))
    return replace(car, pressure=rack.running_pressure, assumed=known)


# What it does


@dataclass(frozen=True)
class AirEffect:
    """What air added at one corner does.

    Attributes
    ----------
    corner : str
    added : float
        Pa.
    growth : float
        m of rollout per Pa.
    growth_is_own : bool
        Whether tapings of this tire show it; typical otherwise.
    change : Change
        As `weigh_change` takes it.
    stagger_change : float
        Of the corner's axle, as taped, m.
    bite_by_growth, bite_by_standing : float
        Bite raised by the bigger rollout and by standing higher under the same load, N.
    """

    corner: str
    added: float
    growth: float
    growth_is_own: bool
    change: Change
    stagger_change: float
    bite_by_growth: float
    bite_by_standing: float

    @property
    def bite_change(self) -> float:
        return self.bite_by_growth + self.bite_by_standing


def air_effect(
    car: Car, tire: RackTire | None, corner: str, added: float, growth: float = DEFAULT_GROWTH
) -> AirEffect:
    """What air added at one corner does to stagger and bite.

    Parameters
    ----------
    car : Car
        Scalar fields, with `pressure`; see `standing` for a car file that has none.
    tire : RackTire or None
        The tire there; None when it is not known.
    corner : str
    added : float
        Pa; negative lets air out.
    growth : float
        Of a tire that shows none of its own, m per Pa.

    Raises
    ------
    BiteError
        If the car's pressures are not known.

    Examples
    --------
    Two pounds more in the right rear::

        effect = air_effect(standing(car, rack), tire, "right_rear", 2 * PSI, rack.growth)
    """
    own = None if tire is None else tire.own_growth
    growth = growth if own is None else own
    change = air_change(corner, added, growth)
    rates = bite_rates(car)
    by_growth = float(bite_change(car, rates, replace(change, pressures=NOTHING)))
    by_standing = float(bite_change(car, rates, replace(change, rollouts=NOTHING)))
    rear = corner.endswith("rear")
    stagger = float(change.rear_stagger if rear else change.front_stagger)
    return AirEffect(
        corner, added, growth, own is not None, change, stagger, by_growth, by_standing
    )


def air_change(corner: str, added: float, growth: float) -> Change:
    """Air added at one corner and the growth it brings, as one change.

    Parameters
    ----------
    corner : str
        One of `CORNERS`.
    added : float
        Pa.
    growth : float
        Of its rollout, m per Pa.
    """
    return Change(rollouts=only(corner, growth * added), pressures=only(corner, added))
