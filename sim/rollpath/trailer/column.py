"""A plan kept for the night: what each of its runs puts on the car, to be taken over in one go."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rollpath.corners import CORNERS, Corners
from rollpath.tires.air import cold_rollout
from rollpath.trailer.advice import Advice
from rollpath.trailer.night import Night
from rollpath.trailer.plan import Plan
from rollpath.trailer.trailer import Trailer, TrailerError, named


@dataclass(frozen=True)
class Put:
    """What a run has on one corner.

    Attributes
    ----------
    tire : str
        Its id in the rack.
    pressure : float or None
        Pa; None where the plan knew none.
    turns : float
        Of the jack, from where they are counted.
    """

    tire: str
    pressure: float | None
    turns: float


@dataclass(frozen=True)
class Column:
    """One run of a plan as it is kept: by ids, so that a tire taped anew has its new size."""

    name: str
    condition: str
    corners: Corners[Put]


def columns_of(plan: Plan, night: Night) -> tuple[Column, ...]:
    """The runs of a plan, its jack turns counted on from where the jacks are tonight."""

    def put(one: int, corner: int) -> Put:
        pick, turns = plan.runs[one].pick, plan.runs[one].turns
        pressure = None if pick.pressures is None else float(pick.pressures[corner])
        return Put(pick.tires[corner].name, pressure, night.on_car[corner].turns + turns[corner])

    return tuple(
        Column(run.run.name, run.run.condition, Corners(*(put(i, c) for c in range(4))))
        for i, run in enumerate(plan.runs)
    )


def column_named(columns: Sequence[Column], typed: str) -> Column:
    """The run of a kept plan that a name means.

    Raises
    ------
    TrailerError
        With the nearest one, or all there are.
    """
    by_name = {one.name: one for one in columns}
    return by_name[named(typed, by_name, "run of the plan")]


def as_advised(advice: Advice) -> Column:
    """The four tires and the air of tonight's advice, the jacks as they are.

    Parameters
    ----------
    advice : Advice

    Raises
    ------
    TrailerError
        If it names no tires.
    """
    if advice.choice is None:
        raise TrailerError("no tires are named tonight: bolt on one by one")
    pick, night = advice.choice.picks[0], advice.trailer.night

    def put(corner: int) -> Put:
        pressure = None if pick.pressures is None else float(pick.pressures[corner])
        return Put(pick.tires[corner].name, pressure, night.on_car[corner].turns)

    return Column("tonight", night.condition, Corners(*map(put, range(4))))


def taken_over(trailer: Trailer, column: Column) -> Night:
    """The night with all that a run puts on the car: tires, air and jacks.

    Raises
    ------
    TrailerError
        If a tire of it is not in the rack any more, or may not go there.
    """
    if trailer.rack is None:
        raise TrailerError("the plan has tires of a rack, and there is none any more")
    rack, fitted = trailer.rack, []
    for corner, put in column.corners.by_name().items():
        tire = trailer.tire_named(put.tire)
        there = trailer.fitted(tire, corner)
        if put.pressure is not None and rack.running_pressure is not None:
            added = put.pressure - float(getattr(rack.running_pressure, corner))
            rollout = cold_rollout(rack, tire, corner, added)
            there = replace(there, rollout=rollout, pressure=put.pressure)
        fitted.append(replace(there, turns=put.turns))
    assert len(fitted) == len(CORNERS)
    return replace(trailer.night, on_car=Corners(*fitted))
