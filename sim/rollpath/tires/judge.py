"""Beside the choice: a set of the racer's own, what makes it less sure, what the rack reaches."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, Corners
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.rates import bite_change, bite_rates
from rollpath.scales.twist import BiteError, Change
from rollpath.tires.air import cold_rollout, limits_of, pressure_correction
from rollpath.tires.choose import Choice
from rollpath.tires.rack import Rack
from rollpath.tires.rules import FRONT, REAR, BoolArray
from rollpath.tires.search import count_below, pairs_allowed
from rollpath.tires.sets import (
    SAME_SCORE,
    Pick,
    Sets,
    TireError,
    broken_rules,
    filed_rollouts,
    hot_growths,
)
from rollpath.units import EIGHTH, POUND, FloatArray

WORTH_TURNING = 3 * POUND
"""Bite left over that is worth a jack turn; engineering judgement: pads scatter by 2 to 4 lb."""
NOT_AS_FILED = 2 * EIGHTH
"""A tire on the car whose rollout is further than this from the car file's is pointed out."""
GROWTH_DOUBT = 0.5
"""Share by which a growth that is not the tire's own may be off. Common practice, no source: 1/16
to 1/4 in a psi, and an eighth is taken."""


# A set of the racer's own


@dataclass(frozen=True)
class OwnSet:
    """A set the racer asks about.

    Attributes
    ----------
    pick : Pick
    broken : list of str
        Rules it breaks.
    better : int
        How many allowed sets score better.
    """

    pick: Pick
    broken: list[str]
    better: int


def weigh_own(choice: Choice, names: Sequence[str]) -> OwnSet:
    """How a set of the racer's own scores.

    Parameters
    ----------
    choice : Choice
    names : sequence of str
        Tires of left front, right front, left rear, right rear.

    Raises
    ------
    TireError
        If it is not four different tires of the rack, each taped cold.
    """
    known = choice.rack.names
    if len(names) != 4:
        raise TireError(f"expected four tires, got {len(names)}")
    for name in names:
        if name not in known:
            raise TireError(f'no tire "{name}" in the rack; it holds {", ".join(known)}')
        if names.count(name) > 1:
            raise TireError(f"{name} cannot be in two places")
        if choice.rack.tires[known.index(name)].cold is None:
            raise TireError(f"{name} was never taped cold")
    sets = Sets.of(choice.rack, choice.car, choice.aim, choice.weights, choice.air, hot=choice.hot)
    pick = sets.pick(Corners(*(known.index(name) for name in names)))
    better = count_below(sets, pick.score - SAME_SCORE)
    return OwnSet(pick, broken_rules(choice.rack, choice.car, pick, choice.air), better)


# What to know beside the choice


@dataclass(frozen=True)
class Warmed:
    """What a set does hot against cold.

    Attributes
    ----------
    rear_stagger : float
        Hot, m.
    bite_change : float
        Bite raised from cold to hot by the tires' growth and pressure, N.
    typical : list of str
        Tires that were never taped hot and take the mean of their side.
    """

    rear_stagger: float
    bite_change: float
    typical: list[str]


def warmed(choice: Choice, pick: Pick) -> Warmed | None:
    """What a set does hot; None unless a tire of each rear side was taped hot.

    Front tires count with the same growth, where their side shows one.
    """
    rack, car = choice.rack, choice.car
    try:
        growths = hot_growths(rack)
    except TireError:
        return None
    grown = Corners(*(float(growths[rack.names.index(t.name)]) for t in pick.tires))
    added = Corners(*(_hot_pressure(pick, corner) for corner in range(4)))
    rates = bite_rates(car)
    raised = float(bite_change(car, rates, Change(rollouts=grown, pressures=added)))
    rear = pick.rear_stagger + grown.right_rear - grown.left_rear
    return Warmed(rear, raised, [t.name for t in pick.tires if t.hot is None])


def _hot_pressure(pick: Pick, corner: int) -> float:
    """Pressure gained from cold to hot, as taped, Pa; 0 where it was not written down."""
    hot = pick.tires[corner].hot
    if hot is None or hot.pressure is None or pick.pressures is None:
        return 0.0
    return hot.pressure - pick.pressures[corner]


def in_full(choice: Choice) -> Outcome:
    """What the first pick does on the scales, and the jack turns that take out bite left over."""
    first = choice.picks[0]
    change = first.change(choice.car)
    if abs(first.bite_change) >= WORTH_TURNING:
        try:
            return weigh_change(choice.car, change, "jacks")
        except BiteError:
            pass
    return weigh_change(choice.car, change)


@dataclass(frozen=True)
class Doubts:
    """What makes a choice less sure.

    Attributes
    ----------
    readings : list of (str, float, float)
        Tire, questioned reading and mean of the others, m.
    taped_hot_only, no_pressure : list of str
        Tires that cannot be used, and tires taken as taped.
    far_corrected : list of (str, float)
        Tires of the first pick corrected by more than an eighth with the growth of the rack and
        not their own, and the correction, m.
    tape_next : (str, float) or None
        Of the first pick, the tire whose growth is not its own and moves the answer most, and by
        how much its rollout may be off, m.
    limits_unstated : list of str
        Tires of the first pick without the tire maker's pressure limits, where air was chosen.
    not_as_filed : list of (str, str, float, float)
        Corner, tire on it, its rollout, and the car file's, where they differ by more than
        `NOT_AS_FILED`, m.
    """

    readings: list[tuple[str, float, float]]
    taped_hot_only: list[str]
    no_pressure: list[str]
    far_corrected: list[tuple[str, float]]
    tape_next: tuple[str, float] | None
    limits_unstated: list[str]
    not_as_filed: list[tuple[str, str, float, float]]


def doubts(choice: Choice) -> Doubts:
    """What makes a choice less sure."""
    rack, first = choice.rack, choice.picks[0]
    fit = [tire for tire in rack.tires if not tire.scrap]
    used = [(t, taping) for t in fit for taping in (t.cold, t.hot) if taping is not None]
    corrected = [
        (tire.name, pressure_correction(rack, tire, corner) + rack.growth * added)
        for tire, corner, added in zip(first.tires, CORNERS, first.added, strict=True)
        if tire.own_growth is None
    ]
    unsure = [(name, abs(by) * GROWTH_DOUBT) for name, by in corrected if by]
    chosen = choice.air and first.pressures is not None
    return Doubts(
        readings=[(t.name, one, taping.mean) for t, taping in used for one in taping.doubtful],
        taped_hot_only=[t.name for t in fit if t.cold is None],
        no_pressure=[
            t.name
            for t in fit
            if rack.running_pressure and t.cold is not None and t.cold.pressure is None
        ],
        far_corrected=[(name, by) for name, by in corrected if abs(by) > EIGHTH + 1e-9],
        tape_next=max(unsure, key=lambda one: one[1], default=None),
        limits_unstated=[t.name for t in first.tires if chosen and limits_of(rack, t) is None],
        not_as_filed=not_as_filed(rack, choice.car),
    )


def not_as_filed(rack: Rack, car: Car) -> list[tuple[str, str, float, float]]:
    found = []
    for corner, filed, index in zip(CORNERS, filed_rollouts(car), rack.on_car(), strict=True):
        if index >= 0:
            tire = rack.tires[index]
            rollout = cold_rollout(rack, tire, corner)
            if abs(rollout - float(filed)) > NOT_AS_FILED:
                found.append((corner, tire.name, rollout, float(filed)))
    return found


# What the rack can reach


@dataclass(frozen=True)
class StaggerMap:
    """Which pairs of staggers the rack can make, in cells of an eighth of an inch.

    Attributes
    ----------
    rear, front : ndarray
        Middles of the cells, m.
    made : ndarray of bool
        Shape (front, rear).
    """

    rear: FloatArray
    front: FloatArray
    made: BoolArray


def stagger_map(choice: Choice) -> StaggerMap:
    """Every pair of rear and front stagger that an allowed set makes at the running pressure."""
    sets = Sets.of(choice.rack, choice.car, choice.aim, choice.weights, air=False)
    rollouts = np.array(
        [[cold_rollout(choice.rack, t, corner) for corner in CORNERS] for t in choice.rack.tires]
    )
    rear, front = (
        np.round((rollouts[pairs.right, axle[1]] - rollouts[pairs.left, axle[0]]) / EIGHTH).astype(
            int
        )
        for pairs, axle in ((sets.rear, REAR), (sets.front, FRONT))
    )
    made = np.zeros((np.ptp(front) + 1, np.ptp(rear) + 1), dtype=bool)
    for row, fronts in pairs_allowed(sets, np.arange(len(rear))):
        made[front[fronts] - front.min(), rear[row] - rear.min()] = True
    return StaggerMap(
        EIGHTH * np.arange(rear.min(), rear.max() + 1),
        EIGHTH * np.arange(front.min(), front.max() + 1),
        made,
    )
