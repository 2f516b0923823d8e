"""The jobs as a program calls them: objects or file paths in, a frozen result out.

What is handed in is checked here, so that the rooms below may trust their numbers: a `Track` or a
`Car` made by hand is held to the ranges of its file. Everything refused is a `RollpathError`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from rollpath.book.book import Book
from rollpath.book.run import Page
from rollpath.car import Car
from rollpath.compare import SORT_KEYS, Comparison, Swept
from rollpath.compare import compare as compared
from rollpath.compare import sweep as swept
from rollpath.errors import RollpathError
from rollpath.files.cars import car_from_values, load_car
from rollpath.files.held import hold_car, hold_track
from rollpath.files.racks import load_rack
from rollpath.files.surfaces import surface_on
from rollpath.files.sweeps import read_sweep
from rollpath.files.tracks import load_track
from rollpath.files.trailers import load_trailer
from rollpath.groove.path import GROOVES, Groove
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.twist import Change
from rollpath.stagger import Baseline
from rollpath.stagger import baseline as worked_out
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.air import standing
from rollpath.tires.choose import Choice
from rollpath.tires.choose import choose as chosen
from rollpath.tires.rack import Rack
from rollpath.track import CONDITIONS, DEFAULT_CONDITION, Condition, Track
from rollpath.trailer.advice import Advice, advise
from rollpath.trailer.asked import Rules
from rollpath.trailer.asked import Run as PlanRun
from rollpath.trailer.night import Night
from rollpath.trailer.plan import Plan
from rollpath.trailer.plan import plan as planned
from rollpath.trailer.trailer import Trailer
from rollpath.units import INCH, parse

if TYPE_CHECKING:
    from rollpath.survey.log import PositionLog
    from rollpath.survey.tape import Survey

AnyTrack: TypeAlias = Track | str | Path
AnyCar: TypeAlias = Car | str | Path
AnyRack: TypeAlias = Rack | str | Path
AnyLength: TypeAlias = float | str
"""Metres, or trade text such as ``2 1/4 in``."""
FURTHEST_WINDOW = (-8 * INCH, 8 * INCH)
"""Ends that a stagger window may have."""


def track_of(track: AnyTrack) -> Track:
    """A checked track, read from its file when that is what is given.

    Raises
    ------
    RollpathError
        Naming what cannot be: `files.FileError` for a file, `TrackError` for numbers.
    """
    if isinstance(track, str | Path):
        return load_track(track)
    return hold_track(track)


def car_of(car: AnyCar | None) -> Car:
    """A checked car, read from its file when that is what is given; a typical one for None."""
    if isinstance(car, str | Path):
        return load_car(car)
    return car_from_values({"name": "typical car"}) if car is None else hold_car(car)


def length_of(length: AnyLength) -> float:
    """A taped length in metres, from trade text when that is what is given."""
    return parse(length, "tape") if isinstance(length, str) else float(length)


def baseline(
    track: AnyTrack,
    car: AnyCar | None = None,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    drive_emphasis: float | None = None,
    tire_load: bool = True,
    window: tuple[AnyLength, AnyLength] | None = None,
    grip: float | None = None,
) -> Baseline:
    """The rear stagger to start with on a track, and why.

    Parameters
    ----------
    track : Track or path
    car : Car or path, optional
        A typical full-bodied car when left out.
    condition : str
        State of the surface, such as ``slick``.
    groove : str or Groove, optional
        The line; the one that the condition brings when left out.
    drive_emphasis : float, optional
        0 to 1: 1 is the truest down the straight, 0 the quickest off the corner.
    tire_load : bool
        False leaves out how tires flatten under load.
    window : pair of lengths, optional
        Staggers that the class runs, m or trade text; the car's own when left out.
    grip : float, optional
        Instead of the condition's.

    Returns
    -------
    Baseline
        Printed, it is the short screen.

    Raises
    ------
    RollpathError
        If any of it cannot be; an unknown condition or groove is answered with those there are.
    """
    where, what = track_of(track), car_of(car)
    check_line(groove)
    check_surface(where, condition)
    if grip is not None:
        _check_between("grip", grip, 0.05, 3.0)
    if drive_emphasis is not None:
        _check_between("drive_emphasis", drive_emphasis, 0.0, 1.0)
    return worked_out(
        where, what, condition, groove, tire_load=tire_load, grip=grip,
        window=None if window is None else _window_of(window),
        **({} if drive_emphasis is None else {"drive_emphasis": drive_emphasis}),  # type: ignore[arg-type]
    )  # fmt: skip


def _window_of(window: tuple[AnyLength, AnyLength]) -> tuple[float, float]:
    low, high = map(length_of, window)
    least, most = FURTHEST_WINDOW
    if not least <= low < high <= most:
        raise RollpathError(
            'window: expected two staggers, the lower first, such as ("1 in", "4 in")'
        )
    return low, high


def check_surface(track: Track, condition: str) -> None:
    try:
        track.condition(condition)
    except KeyError:
        known = ", ".join(dict.fromkeys([*CONDITIONS, *track.conditions]))
        raise RollpathError(f'condition: no "{condition}"; there are {known}') from None


def check_line(groove: str | Groove | None) -> None:
    if isinstance(groove, str) and groove not in GROOVES:
        raise RollpathError(f'groove: no "{groove}"; there are {", ".join(GROOVES)}')


def _check_between(name: str, value: float, least: float, most: float) -> None:
    if not least <= value <= most:
        raise RollpathError(f"{name}: expected a number from {least:g} to {most:g}, got {value:g}")


def compare(
    tracks: Sequence[AnyTrack] | AnyTrack,
    cars: Sequence[AnyCar] | AnyCar | None = None,
    conditions: Sequence[str] = tuple(CONDITIONS),
    grooves: Sequence[str | Groove] = (),
    *,
    sort: str | None = None,
) -> Comparison:
    """How tracks, surfaces and lines differ in what they ask for, side by side.

    Parameters
    ----------
    tracks : Track or path, or several
    cars : Car or path, or several; optional
    conditions, grooves : sequence of str
    sort : str, optional
        A key of `compare.SORT_KEYS`.
    """
    for groove in grooves:
        check_line(groove)
    if sort is not None and sort not in SORT_KEYS:
        raise RollpathError(f'sort: no "{sort}"; there are {", ".join(SORT_KEYS)}')
    where = [tracks] if isinstance(tracks, Track | str | Path) else tracks
    what = [cars] if cars is None or isinstance(cars, Car | str | Path) else cars
    return compared(
        [track_of(one) for one in where], [car_of(one) for one in what], conditions, grooves,
        sort=sort,
    )  # fmt: skip


def sweep(
    track: AnyTrack,
    car: AnyCar | None,
    of: str,
    condition: str = DEFAULT_CONDITION,
    groove: str | None = None,
) -> Swept:
    """The recommendation while one number runs through a range.

    Parameters
    ----------
    track : Track or path
    car : Car or path, or None for a typical one
    of : str
        Key, from, to and step, such as ``inside_radius=120ft:260ft:20ft``.
    condition, groove : str
    """
    check_line(groove)
    return swept(track_of(track), car_of(car), read_sweep(of), condition, groove)


# A track as it was measured


def survey_by_chords(
    turns_12: Sequence[tuple[AnyLength, AnyLength]],
    turns_34: Sequence[tuple[AnyLength, AnyLength]] = (),
    straight: AnyLength | None = None,
    width: AnyLength | None = None,
    *,
    bow: AnyLength = 0.0,
    lap: AnyLength | None = None,
    from_inside: AnyLength | None = None,
) -> Survey:
    """A track from chords taped in its corners, and a paced straight or a lap length.

    Parameters
    ----------
    turns_12, turns_34 : sequences of (chord, gap)
        m, or trade text such as ``("100 ft", "6 ft 9 in")``; an end left out is taken to be like
        the other, and the give-or-take has room for that.
    straight, width, bow : lengths
    lap : length, optional
        Instead of a straight.
    from_inside : length, optional
        How far outside the inside edge the lap was measured; the middle when nobody knows.
    """
    from rollpath.survey.tape import survey_by_chords as by_chords

    ends = tuple([(far_of(c), far_of(g)) for c, g in end] for end in (turns_12, turns_34))
    return by_chords(
        (ends[0], ends[1]), _far_or_none(straight), _far_or_none(width), far_of(bow),
        _far_or_none(lap), _far_or_none(from_inside),
    )  # fmt: skip


def survey_by_lap(
    lap: AnyLength,
    straight: AnyLength | None = None,
    width: AnyLength | None = None,
    *,
    bow: AnyLength = 0.0,
    from_inside: AnyLength | None = None,
) -> Survey:
    """A track of equal ends from a lap length alone, or with a paced straight.

    Parameters
    ----------
    lap, straight, width, bow, from_inside : lengths
        m, or trade text such as ``3/8 mile``; see `survey_by_chords`.
    """
    from rollpath.survey.tape import survey_by_lap as by_lap

    return by_lap(
        far_of(lap), _far_or_none(straight), _far_or_none(width), far_of(bow),
        _far_or_none(from_inside),
    )  # fmt: skip


def survey_by_log(
    log: PositionLog | str | Path,
    width: AnyLength | None = None,
    *,
    from_inside: AnyLength = 0.0,
) -> Survey:
    """A track from a position log walked or driven along a line parallel to its edges.

    Parameters
    ----------
    log : PositionLog or path
        GPX, or CSV with positions.
    width : length, optional
    from_inside : length
        How far outside the inside edge the line lies.
    """
    from rollpath.files.logs import load_position_log
    from rollpath.survey.measured import survey_by_log as by_log

    read = load_position_log(log) if isinstance(log, str | Path) else log
    return by_log(read, _far_or_none(width), far_of(from_inside))


def far_of(length: AnyLength) -> float:
    """A length on the ground in metres, from trade text when that is what is given."""
    return parse(length, "length") if isinstance(length, str) else float(length)


def _far_or_none(length: AnyLength | None) -> float | None:
    return None if length is None else far_of(length)


# Scales, tires, and the night


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
        [run_of(name, wanted, where, what) for name, wanted in runs.items()]
        if isinstance(runs, Mapping)
        else list(runs)
    )
    held = parse(bite, "weight") if isinstance(bite, str) else bite
    return planned(rack_of(rack), what, asked, bite=held, rules=rules)


def run_of(name: str, wanted: AnyLength | Baseline, track: Track | None, car: Car) -> PlanRun:
    """One run of a plan from what it wants; see `plan`."""
    if not isinstance(wanted, str) or re.match(r"[-+]?[\d.]", wanted):
        return PlanRun(name, aim_of(wanted))
    if track is None:
        raise RollpathError("a surface needs a track file; or give the stagger, such as 2 1/4 in")
    return PlanRun(name, aim_of(baseline(track, car, wanted)), wanted)


def tonight(trailer: Trailer | str | Path) -> Advice:
    """What to do tonight: the stagger, the tires and air that make it, and what holds the bite.

    Parameters
    ----------
    trailer : Trailer or path of its folder
        Where a lap time was said, the surface is the one that gives it.

    Raises
    ------
    RollpathError
        If nobody has said which track.
    """
    what = load_trailer(Path(trailer)) if isinstance(trailer, str | Path) else trailer
    track, standing = _track_tonight(what), what.standing
    state = _surface_tonight(track, standing.car, what.night)
    here = replace(track, conditions={**track.conditions, state.name: state})
    result = baseline(here, standing.car, state.name)
    return advise(what, result, standing.bite_from, _runs_in(what.book))


def _runs_in(book: Path) -> list[Page]:
    """The runs of a book; none where there is no book yet."""
    return Book(book).runs() if book.exists() else []


def with_lap_time(trailer: Trailer, lap_time: float) -> Night:
    """The night with the best lap so far, s, when the track can give such a lap.

    Raises
    ------
    surface.StopwatchError
        If no plausible grip gives it.
    """
    night = replace(trailer.night, lap_time=lap_time)
    if night.track:
        _surface_tonight(_track_tonight(trailer), trailer.standing.car, night)
    return night


def _track_tonight(trailer: Trailer) -> Track:
    if not trailer.night.track:
        raise RollpathError('which track are we at? rollpath tonight "saucer hill" slick')
    return load_track(trailer.tracks[trailer.track_named(trailer.night.track)])


def _surface_tonight(track: Track, car: Car, night: Night) -> Condition:
    """The surface of tonight, as it was said, or as the lap time has it."""
    state = surface_on(track, night.condition or DEFAULT_CONDITION)
    if night.lap_time is None:
        return state
    from rollpath.surface import grip_for_lap_time

    return grip_for_lap_time(track, car, state, None, night.lap_time).condition
