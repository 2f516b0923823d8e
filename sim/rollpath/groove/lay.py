"""A groove of a track by its name."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

import numpy as np

from rollpath.car import Car
from rollpath.groove.fastest import fastest_groove
from rollpath.groove.free import (
    DIAMOND_SHARPNESS,
    DIAMOND_ZONE,
    SPLINE_KNOTS,
    diamond_groove,
    free_edge,
    free_limits,
    rounded_groove,
)
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import FASTEST, GROOVES, STATIONS, Groove, offset_limits
from rollpath.groove.spline import OffsetSpline, SplinePath, nearest_coefficients
from rollpath.lap import LapError, solve_lap
from rollpath.track import Condition, Track
from rollpath.units import Real

KNOWN_LINES = ("rounded", "diamond", "low", "middle", "high")
"""None of which a fastest line may be slower than."""


def lay_groove(
    track: Track,
    name: str,
    car: Car,
    condition: Condition,
    stations: int = STATIONS,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
    start: Groove | None = None,
) -> Groove:
    """A groove by its name, for a car on a surface.

    Parameters
    ----------
    track, car, condition : Track, Car, Condition
        The car's width matters to every line, all of the car and the surface to the fastest one.
    name : str
        One of `GROOVES`.
    stations : int
    zone, sharpness : float
        Of the diamond: see `free.diamond_groove`.
    start : Groove, optional
        Where the search of the fastest line begins: see `fastest.fastest_groove`.

    Raises
    ------
    KeyError
        If there is no groove of this name.
    track.TrackError
        If the car does not fit between the edges.
    lap.LapError
        If the car cannot drive the fastest lap.
    """
    if name not in GROOVES:
        raise KeyError(name)
    if name != FASTEST:
        return make_groove(track, name, car.width, stations, zone, sharpness)
    return _fastest(track, car, condition, stations, start)


def _fastest(
    track: Track, car: Car, condition: Condition, stations: int, start: Groove | None
) -> Groove:
    """The fastest line, and never one slower than a line that has a name."""
    best, least = None, np.inf
    for groove in _lines(track, car, condition, stations, start):
        try:
            time = float(solve_lap(groove, car, condition).time)
        except LapError:
            continue
        if time < least:
            best, least = groove, time
    if best is None:
        raise LapError("the car cannot drive any line of this track; check power, grip and bank")
    return replace(best, name=FASTEST)


def _lines(
    track: Track, car: Car, condition: Condition, stations: int, start: Groove | None
) -> Iterator[Groove]:
    """The fastest line, where one is found, and those that have a name."""
    with suppress(LapError):
        yield fastest_groove(track, car, condition, stations, start=start)
    for name in KNOWN_LINES:
        yield make_groove(track, name, car.width, stations)


def make_groove(
    track: Track,
    name: str,
    car_width: Real,
    stations: int = STATIONS,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
    knots: int = SPLINE_KNOTS,
) -> Groove:
    """A groove by its name, of those that do not hang on the car's power or the surface.

    Parameters
    ----------
    track : Track
    name : str
        One of `GROOVES` but the fastest; for that see `lay_groove`.
    car_width : float
        Over the body, m; half of it and `SPARE` are kept off both edges.
    stations : int
    zone, sharpness : float
        Of the diamond: see `diamond_groove`.
    knots : int
        Of a free groove: about how many coefficients its spline has.

    Raises
    ------
    TrackError
        If the car does not fit between the edges.
    """
    least, most = offset_limits(track, car_width)
    if name == "rounded":
        return rounded_groove(track, car_width, stations, knots)
    if name == "diamond":
        return diamond_groove(track, car_width, stations, zone, sharpness, knots)
    offsets = {"low": least, "middle": 0.5 * np.asarray(track.width), "high": most}
    return parallel_groove(track, offsets[name], name, stations)


def same_line(
    track: Track,
    groove: Groove,
    car_width: Real,
    stations: int = STATIONS,
    knots: int = SPLINE_KNOTS,
) -> Groove:
    """A line of one track laid on another much like it, at the same distance from its edge.

    Parameters
    ----------
    track : Track
        One track, such as the groove's own with a measurement moved.
    groove : Groove
    car_width : float
    stations, knots : int
    """  # fmt: skip
    spline = OffsetSpline(free_edge(track), knots)
    along = groove.along_edge / float(groove.edge.length[0, 0]) * spline.length
    c = np.clip(nearest_coefficients(spline, along, groove.offset), *free_limits(track, car_width))
    return SplinePath(spline, stations).groove(groove.name, c, groove.settled)
