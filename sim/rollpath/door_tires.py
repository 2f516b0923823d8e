"""Scales, tires and the plan of the night, as a program asks for them; see `door`."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TypeAlias

from rollpath.car import Car
from rollpath.door import (
    FURTHEST_WINDOW,
    AnyCar,
    AnyLength,
    AnyTrack,
    baseline,
    car_of,
    length_of,
    track_of,
)
from rollpath.errors import RollpathError
from rollpath.files.racks import load_rack
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.twist import Change
from rollpath.stagger import Baseline
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.air import standing
from rollpath.tires.choose import Choice
from rollpath.tires.choose import choose as chosen
from rollpath.tires.rack import Rack
from rollpath.track import Track
from rollpath.trailer.asked import Rules
from rollpath.trailer.asked import Run as PlanRun
from rollpath.trailer.plan import Plan
from rollpath.trailer.plan import plan as planned
from rollpath.units import parse

AnyRack: TypeAlias = Rack | str | Path
Taught: TypeAlias = Callable[[Baseline, str], Baseline]


def rack_of(rack: AnyRack) -> Rack:
    """A rack, read from its file when that is what is given."""
    return load_rack(rack) if isinstance(rack, str | Path) else rack


def weigh(
    car: AnyCar, change: Change, hold: str | None = None, *, rack: AnyRack | None = None
) -> Outcome:
    """What a change of tires, air, jacks or spacers does on the four scale pads.

    Parameters
    ----------
    car : Car or path
    change : Change
        SI, corner by corner; `tires.air.air_change` makes one of air and the growth it brings.
    hold : str, optional
        ``front``, ``jacks`` or ``either``: also find what puts bite back.
    rack : Rack or path, optional
        Gives the running pressures where the car's own are not known.

    Raises
    ------
    RollpathError
        If an effect cannot be told from what the car file holds.

    Examples
    --------
    An inch more rear stagger, by a bigger right rear::

        weigh("car.yaml", Change(rollouts=only("right_rear", INCH)), "front").holds[0]
    """
    what = car_of(car)
    if rack is not None:
        what = standing(what, rack_of(rack))
    if hold not in (None, "front", "jacks", "either"):
        raise RollpathError(f'hold: expected front, jacks or either, got "{hold}"')
    return weigh_change(what, change, hold)


def choose(
    rack: AnyRack,
    car: AnyCar,
    stagger: AnyLength | Baseline,
    weights: Weights | None = None,
    most: int = 10,
    *,
    air: bool = True,
    hot: bool = False,
) -> Choice:
    """Which four tires of a rack to bolt on, and how much air to give them.

    Parameters
    ----------
    rack : Rack or path
    car : Car or path
    stagger : float, str or Baseline
        Wanted cold: metres, trade text such as ``2 1/4 in``, or a recommendation, whose cost then
        says how much a miss matters.
    weights : Weights, optional
        What each aim is worth.
    most : int
        How many sets to return.
    air, hot : bool
        Whether to choose air too; whether `stagger` is that of hot tires.

    Raises
    ------
    RollpathError
        If no four tires may go on the car together.
    """
    what = car_of(car)
    if most < 1:
        raise RollpathError(f"most: expected 1 or more, got {most}")
    return chosen(rack_of(rack), what, aim_of(stagger), weights, most, air=air, hot=hot)


def aim_of(stagger: AnyLength | Baseline) -> Aim:
    """A stagger wanted, or a recommendation, as what a choice aims at."""
    if isinstance(stagger, Baseline):
        return Aim(float(stagger.stagger.recommended), stagger)
    length = length_of(stagger)
    least, most = FURTHEST_WINDOW
    if not least <= length <= most:
        raise RollpathError("expected a stagger between -12 and 24 in")
    return Aim(length)


def plan(
    rack: AnyRack,
    car: AnyCar,
    runs: Sequence[PlanRun] | Mapping[str, AnyLength | Baseline],
    track: AnyTrack | None = None,
    *,
    bite: AnyLength | None = None,
    rules: Rules | None = None,
    taught: Taught | None = None,
) -> Plan:
    """Tires, air and jack turns for every run of a night: the best over all of it.

    Parameters
    ----------
    rack : Rack or path
    car : Car or path
    runs : sequence of trailer.asked.Run, or mapping
        By name what each wants: a stagger, a recommendation, or a surface such as ``slick``, for
        which a track is needed.
    track : Track or path, optional
    bite : float or str, optional
        Target on the scales: newton, or trade text such as ``75 lb``; what the car has now when
        left out.
    rules : Rules, optional
        What may be changed between runs.
    taught : callable, optional
        Puts what the car's own nights teach of a surface on the recommendation for it.

    Raises
    ------
    RollpathError
        If a run cannot be read, or no night keeps to the rules.

    Examples
    --------
    ::

        plan("rack.yaml", "car.yaml", {"heat": "heavy", "feature": "1 1/2 in"}, "track.yaml")
    """
    what = car_of(car)
    where = None if track is None else track_of(track)
    asked = (
        [run_of(name, wanted, where, what, taught) for name, wanted in runs.items()]
        if isinstance(runs, Mapping)
        else list(runs)
    )
    held = parse(bite, "weight") if isinstance(bite, str) else bite
    return planned(rack_of(rack), what, asked, bite=held, rules=rules)


def run_of(
    name: str,
    wanted: AnyLength | Baseline,
    track: Track | None,
    car: Car,
    taught: Taught | None = None,
) -> PlanRun:
    """One run of a plan from what it wants; see `plan`.

    Parameters
    ----------
    name : str
        Of the run.
    wanted : length, str or Baseline
        A stagger, m or trade text; a surface; or a recommendation.
    track : Track, optional
        Where it is run; a surface needs it.
    car : Car
    taught : Taught, optional
    """
    if not isinstance(wanted, str) or re.match(r"[-+]?[\d.]", wanted):
        return PlanRun(name, aim_of(wanted))
    if track is None:
        raise RollpathError("a surface needs a track file; or give the stagger, such as 2 1/4 in")
    result = baseline(track, car, wanted)
    return PlanRun(name, aim_of(taught(result, wanted) if taught else result), wanted)
