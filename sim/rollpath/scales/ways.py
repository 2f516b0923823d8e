"""Bite on purpose: ways to reach a bite that do one thing each, and what else each moves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.car import Car
from rollpath.corners import NOTHING, RAISES_BITE, Corners, only
from rollpath.results import Result
from rollpath.scales.hold import (
    SCALES_TELL,
    SPACER_STEP,
    STAGGER_STEP,
    TURN_STEP,
    Outcome,
    weigh_change,
)
from rollpath.scales.rates import Rates, bite_change, bite_rates
from rollpath.scales.twist import BiteError, Change
from rollpath.units import FloatArray

MOST_STEPS = 80
"""Of any one thing: 20 turns, 10 in. Engineering judgement: beyond it something else is wrong."""


@dataclass(frozen=True)
class Valve:
    """A corner whose air may be changed.

    Attributes
    ----------
    corner : str
    steps : ndarray
        Changes allowed, Pa.
    growth : float
        Of the tire, m per Pa.
    guessed : tuple of str
        What of it is typical and nobody's own: ``growth``, ``pressure``.
    """

    corner: str
    steps: FloatArray
    growth: float
    guessed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Way:
    """One thing to do, rounded to what can be done.

    Attributes
    ----------
    means : str
        ``rear jacks``, ``front jacks``, ``all jacks``, ``spacer``, ``front stagger`` or ``air``.
    outcome : Outcome
        All that it does; its `change` says what to do.
    left_over : float
        Bite reached less bite wanted, N.
    guessed : tuple of str
        Of `Valve`, for air.
    """

    means: str
    outcome: Outcome
    left_over: float
    guessed: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Ways(Result, told_by="ways"):
    """Ways to reach a bite.

    Attributes
    ----------
    car : Car
    wanted : float
        Bite on the scales, N.
    ways : tuple of Way
        Least left over first; those that scales cannot tell apart in the order of `Way.means`.
    """

    car: Car
    wanted: float
    ways: tuple[Way, ...]


def ways_to(
    car: Car,
    wanted: float,
    air: Sequence[Valve] = (),
) -> Ways:
    """Ways to reach a bite, each doing one thing.

    Jack pairs keep ride height: half the turns make the left rear longer, half the right rear
    shorter; all four by the same turns twist the car about its middle.

    Parameters
    ----------
    car : Car
        Scalar fields.
    wanted : float
        N on the scales.
    air : sequence of Valve

    Raises
    ------
    BiteError
        If nothing at all can be reckoned.
    """
    rates = bite_rates(car)
    raise_by = wanted - float(car.weights.bite)
    found: list[tuple[str, Change, tuple[str, ...]]] = [
        (means, _nearest(car, rates, raise_by, change), ())
        for means, change in _stepped(car, rates).items()
    ]
    found += [("air", change, guessed) for change, guessed in _by_air(car, rates, raise_by, air)]
    if not found:
        raise BiteError("no way to change bite can be reckoned; add springs to the car file")
    ways = [
        Way(means, weigh_change(car, change),
            float(bite_change(car, rates, change)) - raise_by, guessed)
        for means, change, guessed in found
        if change != Change()
    ]  # fmt: skip
    ways.sort(key=lambda way: abs(way.left_over) // SCALES_TELL)
    return Ways(car, wanted, tuple(ways))


_Stepped = Callable[[int], Change]
"""What so many steps of one thing are; a positive count raises bite."""


def _stepped(car: Car, rates: Rates) -> dict[str, _Stepped]:
    """Each thing that can be done in steps, in the order in which it is easily done."""
    ways: dict[str, _Stepped] = {}
    if rates.rear_turn is not None:
        ways["rear jacks"] = lambda n: Change(turns=_pair(n, "left_rear", "right_rear"))
    if rates.rear_turn is not None and rates.front_turn is not None:
        ways["all jacks"] = lambda n: Change(turns=RAISES_BITE.map(lambda way: way * n * TURN_STEP))
    if rates.front_turn is not None:
        ways["front jacks"] = lambda n: Change(turns=_pair(n, "right_front", "left_front"))
    if rates.rear_seat is not None and car.springs is not None:
        ways["spacer"] = lambda n: Change(
            spacers=only("left_rear" if n > 0 else "right_rear", abs(n) * SPACER_STEP)
        )
    ways["front stagger"] = lambda n: Change(rollouts=only("right_front", n * STAGGER_STEP))
    return ways


def _pair(quarters: int, longer: str, shorter: str) -> Corners[float]:
    """Quarter turns shared by two jacks of an axle, one longer and the other shorter."""
    one, other = quarters - quarters // 2, quarters // 2
    turns = {longer: TURN_STEP * one, shorter: 0.0 - TURN_STEP * other}
    return Corners(*(float(turns.get(corner, 0.0)) for corner in NOTHING.by_name()))


def _nearest(car: Car, rates: Rates, raise_by: float, change: _Stepped) -> Change:
    """As many steps of one thing as come nearest."""
    count = round(raise_by / float(bite_change(car, rates, change(1))))
    near = [n for n in (count - 1, count, count + 1) if abs(n) <= MOST_STEPS]
    if not near:
        return Change()
    misses = [abs(float(bite_change(car, rates, change(n))) - raise_by) for n in near]
    return change(near[int(np.argmin(misses))])


def _by_air(
    car: Car, rates: Rates, raise_by: float, air: Sequence[Valve]
) -> list[tuple[Change, tuple[str, ...]]]:
    """The corner and the air that come nearest; nothing where none of it helps."""
    tried = [
        (
            Change(
                rollouts=only(valve.corner, valve.growth * step),
                pressures=only(valve.corner, float(step)),
            ),
            valve.guessed,
        )
        for valve in air
        for step in valve.steps
    ]
    if not tried or not raise_by:
        return []
    best = min(tried, key=lambda one: abs(float(bite_change(car, rates, one[0])) - raise_by))
    return [best] if best[0] != Change() else []
