"""The jobs of a night as a program calls them: the surface, and tonight; see `door`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rollpath.book.action import Action
from rollpath.book.book import Book
from rollpath.book.lessons import same_track
from rollpath.book.run import Page, Run
from rollpath.book.surfaces import LearnedSurfaces
from rollpath.car import Car
from rollpath.door import (
    AnyCar,
    AnyTrack,
    baseline,
    car_of,
    check_line,
    check_surface,
    runs_of,
    track_of,
)
from rollpath.errors import RollpathError
from rollpath.files.surfaces import surface_on
from rollpath.files.tracks import load_track
from rollpath.files.trailers import load_trailer
from rollpath.groove.night import Night as TrackNight
from rollpath.groove.night import night as worked_out
from rollpath.groove.path import FASTEST, Groove
from rollpath.stagger import Baseline, timed_baseline
from rollpath.surface import StopwatchError, Timed, grip_for_lap_time
from rollpath.track import DEFAULT_CONDITION, GripBands, Track
from rollpath.trailer.advice import Advice, advise
from rollpath.trailer.night import Night
from rollpath.trailer.trailer import Trailer
from rollpath.units import QuantityError, parse

SHORTEST_LAP, LONGEST_LAP = 5.0, 200.0
"""s, of an oval."""


def night(
    track: AnyTrack,
    car: AnyCar | None = None,
    first: str = "heavy",
    last: str = "slick",
    *,
    bands: GripBands | None = None,
    groove: str = FASTEST,
) -> TrackNight:
    """Line, lap time and stagger while the surface goes from one state to another, in five steps.

    Parameters
    ----------
    track : Track or path
    car : Car or path, optional
    first, last : str
        States of the surface.
    bands : GripBands, optional
        Grip across the track at the end of the night, instead of that state's.
    groove : str
        The line of every step; the fastest moves with the surface.
    """
    where = track_of(track)
    for condition in (first, last):
        check_surface(where, condition)
    check_line(groove)
    return worked_out(where, car_of(car), first, last, bands, groove=groove)


def surface_for_lap_time(
    track: AnyTrack,
    car: AnyCar | None,
    lap_time: float | str,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
) -> Timed:
    """The surface that a lap time tells: its grip, and how sure that is.

    Parameters
    ----------
    track : Track or path
    car : Car or path, or None for a typical one
    lap_time : float or str
        s, or text such as ``19.8 s``.
    condition : str
        For the usual line, the slip stiffness and the shape of bands.
    groove : str or Groove, optional
        The line driven; the condition's when left out.

    Raises
    ------
    RollpathError
        `surface.StopwatchError`, with both ends named, if no plausible grip gives it.

    Examples
    --------
    The stagger on that surface::

        baseline("track.yaml", "car.yaml", grip=surface_for_lap_time(..., "19.8 s").grip)
    """
    where = track_of(track)
    check_surface(where, condition)
    check_line(groove)
    time = parse(lap_time, "time") if isinstance(lap_time, str) else float(lap_time)
    if not SHORTEST_LAP <= time <= LONGEST_LAP:
        raise RollpathError(
            f"lap_time: expected {SHORTEST_LAP:g} to {LONGEST_LAP:g} s, got {time:g} s"
        )
    return grip_for_lap_time(where, car_of(car), where.condition(condition), groove, time)


def learned_surfaces(book: Book | str | Path, track: AnyTrack, car: AnyCar) -> LearnedSurfaces:
    """The grips of this track's own heavy, tacky, rubbered and slick, by the laps in a notebook.

    Parameters
    ----------
    book : Book or path
    track : Track or path
    car : Car or path
        Whose laps are taken.

    Examples
    --------
    Only where it is asked for are they used::

        baseline(learned_surfaces("season.db", track, car).learned_track, car, "heavy")
    """
    from rollpath.book.surfaces import learned_surfaces as learned

    where, what = track_of(track), car_of(car)
    return learned(runs_of(book), where, what)


def tonight(trailer: Trailer | str | Path, *, lessons: bool = True) -> Advice:
    """What to do tonight: the stagger, the tires and air that make it, and what holds the bite.

    Parameters
    ----------
    trailer : Trailer or path of its folder
        Where a lap time was said, the surface is the one that gives it.
    lessons : bool
        Whether what the nights in the book teach is put on the physics.

    Raises
    ------
    RollpathError
        If nobody has said which track.
    """
    what = load_trailer(Path(trailer)) if isinstance(trailer, str | Path) else trailer
    track, standing = track_tonight(what), what.standing
    result = _baseline_tonight(track, standing.car, what.night)
    advice = advise(what, result, standing.bite_from, _runs_in(what.book), lessons)
    return replace(advice, earlier=_earlier_tonight(what, track, standing.car))


def _earlier_tonight(trailer: Trailer, track: Track, car: Car) -> Timed | None:
    """What the first other lap time of this night said; None where the book has none."""
    now = trailer.night
    if now.lap_time is None or not trailer.book.exists():
        return None
    moments = Book(trailer.book).replay()
    undone = {one.event.undoes for one in moments if isinstance(one.event, Action)}
    for one in moments:
        event, state = one.event, one.state
        if isinstance(event, Action):
            said = state.get("lap_time") if event.key not in undone else None
            tonight = (state.get("track"), state.get("since")) == (now.track, now.since)
            condition = state.get("condition")
        else:
            said, condition = event.run.best_lap, event.run.condition
            tonight = one.when.isoformat(timespec="minutes") >= now.since and same_track(
                event.run.track, track.name
            )
        if tonight and said is not None and said != now.lap_time:
            return timed_or_none(track, car, condition, said)
    return None


def timed_or_none(track: Track, car: Car, condition: str | None, lap_time: float) -> Timed | None:
    """What a lap time in a book says of the surface; None where no grip gives it.

    Parameters
    ----------
    track : Track
    car : Car
    condition : str, optional
        The surface that was said.
    lap_time : float
        s.
    """
    try:
        state = surface_on(track, condition or DEFAULT_CONDITION)
        return grip_for_lap_time(track, car, state, None, lap_time)
    except (StopwatchError, QuantityError, KeyError):
        return None


def come_of_night(runs: Sequence[Run], track: Track, car: Car) -> tuple[Timed, Timed] | None:
    """The first and the last lap time of a night; None where there are not two that tell."""
    timed = [
        one
        for run in runs
        if run.best_lap is not None and run.counts != "no"
        for one in [timed_or_none(track, car, run.condition, run.best_lap)]
        if one is not None
    ]
    return (timed[0], timed[-1]) if len(timed) > 1 else None


def _runs_in(book: Path) -> list[Page]:
    """The runs of a book; none where there is no book yet."""
    return Book(book).runs() if book.exists() else []


def _baseline_tonight(track: Track, car: Car, now: Night) -> Baseline:
    """On the surface of tonight as it was said, or as the lap time has it."""
    state = surface_on(track, now.condition or DEFAULT_CONDITION)
    if now.lap_time is not None:
        return timed_baseline(track, car, state, None, now.lap_time)
    here = replace(track, conditions={**track.conditions, state.name: state})
    return baseline(here, car, state.name)


def with_lap_time(trailer: Trailer, lap_time: float) -> Night:
    """The night with the best lap so far, s, when the track can give such a lap.

    Parameters
    ----------
    trailer : Trailer
    lap_time : float
        s.

    Raises
    ------
    surface.StopwatchError
        If no plausible grip gives it.
    """
    if trailer.night.track:
        timed_tonight(trailer, lap_time)
    return replace(trailer.night, lap_time=lap_time)


def timed_tonight(trailer: Trailer, lap_time: float) -> Timed:
    """What a lap of tonight, s, says of the surface; see `with_lap_time`.

    Parameters
    ----------
    trailer : Trailer
    lap_time : float
        s.
    """
    track, now = track_tonight(trailer), trailer.night
    state = surface_on(track, now.condition or DEFAULT_CONDITION)
    return grip_for_lap_time(track, trailer.standing.car, state, None, lap_time)


def track_tonight(trailer: Trailer) -> Track:
    """The track we are at.

    Raises
    ------
    RollpathError
        If nobody has said which.
    """
    if not trailer.night.track:
        raise RollpathError('which track are we at? rollpath tonight "saucer hill" slick')
    return load_track(trailer.tracks[trailer.track_named(trailer.night.track)])
