"""The fastest groove: least lap time between the edges, for one car on one surface.

The gradient of the lap time by every coefficient of the line comes from one adjoint of the lap, as
dear as a lap itself. The line descends by projected quasi-Newton steps that start from the shape
of the free grooves' own problem. A trace of bending is weighed beside the time, so that where time
does not care (the middle of a straight) the line is the smoothest.

References
----------
.. [1] D. P. Bertsekas, Projected Newton methods for optimization problems with simple constraints,
   SIAM J. Control and Optimization 20 (1982).
.. [2] J. Nocedal and S. Wright, Numerical Optimization, ch. 6 and 18.3 (BFGS, Powell's damping).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rollpath.car import Car
from rollpath.groove.bounded import least_quadratic
from rollpath.groove.free import (
    DIAMOND_SHARPNESS,
    DIAMOND_ZONE,
    Rows,
    bending_rows,
    diamond_weights,
    free_edge,
    free_limits,
    settle,
    swing,
    turning_zones,
)
from rollpath.groove.path import FASTEST, STATIONS, Groove
from rollpath.groove.spline import OffsetSpline, SplinePath, nearest_coefficients
from rollpath.lap import LapError, solve_lap
from rollpath.lever import lap_time_gradient
from rollpath.track import Condition, GripBands, Track
from rollpath.units import FloatArray

FAST_KNOTS = 48
"""About how many coefficients the line has around the lap."""
SEARCH_STATIONS = 360
"""Stations of the laps of the search; the line found is laid with as many as are asked."""
BENDING_WORTH = 0.3
"""s per unit of what a free groove makes least, some 0.1 for any oval: a trace. Engineering
judgement."""
FIRST_STEPS = 6
"""From each beginning, before the best of them goes on."""
MOST_STEPS = 60
SETTLED_GAIN = 5e-5
"""s; a line has settled when no step promises more."""
NEARLY_SETTLED_GAIN = 1e-3
"""s; a line that has more to gain is told as not settled."""
ENOUGH = 1e-4
"""Share of what a step promises that it must give (Armijo)."""
SHARES = (1.0, 0.3, 0.1)
"""Of a step that are tried."""
DAMPED = 0.2
"""Least share of the curvature expected that a step may show, else it is blended [2]_."""
STIFF = 30.0
"""s; how much stiffer than its bending a line's time is taken to be before the first step."""
WARM_STIFF = 1000.0
"""s; the same for a line that was the fastest on a surface much like this: its steps are short."""


@dataclass
class _Search:
    """Where a descent stands: coefficients, worth and slope there, curvature so far."""

    c: FloatArray
    worth: float
    slope: FloatArray
    H: FloatArray
    gain: float = np.inf


Worth = Callable[[FloatArray], tuple[float, FloatArray]]
"""Lap time with its trace of bending, s, and its slope by the coefficients."""


def fastest_groove(
    track: Track,
    car: Car,
    condition: Condition,
    stations: int = STATIONS,
    knots: int = FAST_KNOTS,
    start: Groove | None = None,
) -> Groove:
    """The line of least lap time.

    Parameters
    ----------
    track, car : Track, Car
        One of each, no sweep.
    condition : Condition
        Grip may be in bands across the track.
    stations, knots : int
        Stations of the groove, and about how many coefficients the line has.
    start : Groove, optional
        A line on this track to begin from, such as the one of a surface much like this; else
        every kind of line is tried.

    Returns
    -------
    Groove
        Named ``fastest``; `Groove.settled` tells whether the projected gradient had vanished.

    Raises
    ------
    TypeError
        For a sweep.
    lap.LapError
        If the car cannot drive the lap.
    """
    edge, limits = free_edge(track), free_limits(track, car.width)
    if any(np.ndim(value) for value in (condition.mean_grip, car.mass, car.power)):
        raise TypeError("the fastest line is found for one car on one surface at a time")
    spline = OffsetSpline(edge, knots)
    path = SplinePath(spline, min(stations, SEARCH_STATIONS))
    bending = bending_rows(spline)
    worth_at = _worth(path, bending, car, condition, track)
    search = _find(spline, worth_at, bending, limits, start)
    settled = search.gain < NEARLY_SETTLED_GAIN
    return SplinePath(spline, stations).groove(FASTEST, search.c, settled)


def _find(
    spline: OffsetSpline,
    worth_at: Worth,
    bending: Rows,
    limits: tuple[float, float],
    start: Groove | None = None,
) -> _Search:
    """Down from a line, or from the best of every kind of line."""
    if start is not None:
        c = np.clip(nearest_coefficients(spline, start.along_edge, start.offset), *limits)
        begun = _begin(worth_at, bending, c, WARM_STIFF)
        if begun is not None:
            return _descend(worth_at, begun, limits, MOST_STEPS)
    beginnings = [_begin(worth_at, bending, c) for c in _beginnings(spline, *limits)]
    tried = [_descend(worth_at, one, limits, FIRST_STEPS) for one in beginnings if one is not None]
    if not tried:
        raise LapError("the car cannot drive any line of this track; check power, grip and bank")
    return _descend(worth_at, min(tried, key=lambda one: one.worth), limits, MOST_STEPS)


def _worth(path: SplinePath, bending: Rows, car: Car, condition: Condition, track: Track) -> Worth:
    width, bands = float(track.width), condition.grip
    asked = ("curvature", "grip") if isinstance(bands, GripBands) else ("curvature",)

    def worth_at(c: FloatArray) -> tuple[float, FloatArray]:
        groove = path.groove(FASTEST, c)
        lap = solve_lap(groove, car, condition)
        by = lap_time_gradient(lap, car, condition, asked)
        by_offset = np.zeros_like(by.grip)
        if isinstance(bands, GripBands):
            by_offset = by.grip * bands.slope(groove.share_across) / width
        rho, A = bending(c)
        slope = path.pulled_back(c, by.curvature, by.length, by_offset)
        time = float(lap.time) + BENDING_WORTH * float(rho @ rho)
        return time, slope + 2.0 * BENDING_WORTH * rho @ A

    return worth_at


def _beginnings(spline: OffsetSpline, least: float, most: float) -> list[FloatArray]:
    """Lines of every kind: rounded out, diamonded, low, middle and high."""
    zones = turning_zones(spline.edge, DIAMOND_ZONE)
    weights = diamond_weights(spline.edge, zones, spline.points, DIAMOND_SHARPNESS)
    free = [
        settle(bending_rows(spline, one), least, most, swing(spline, least, most))[0]
        for one in (1.0, weights)
    ]
    return [*free, *(np.full(spline.count, q) for q in (least, 0.5 * (least + most), most))]


def _begin(worth_at: Worth, bending: Rows, c: FloatArray, stiff: float = STIFF) -> _Search | None:
    """A descent at its beginning; None where the car cannot drive the lap."""
    try:
        worth, slope = worth_at(c)
    except LapError:
        return None
    _, A = bending(c)
    return _Search(c, worth, slope, stiff * (A.T @ A))


def _descend(worth_at: Worth, search: _Search, limits: tuple[float, float], steps: int) -> _Search:
    """Projected quasi-Newton steps until none promises anything, so many at most [2]_."""
    for _ in range(steps):
        step = least_quadratic(search.H, search.slope, search.c, *limits) - search.c
        promised = -float(search.slope @ step)
        search.gain = promised
        if promised < SETTLED_GAIN:
            break
        for share in SHARES:
            there = _try(worth_at, search.c + share * step)
            better = there is not None and there[0] < search.worth - ENOUGH * share * promised
            if better:
                break
        # Where a step gives nothing the time has a corner: the slope beyond it is learned, and the
        # next step runs along the corner.
        if there is not None:
            search.H = _learned(search.H, share * step, there[1] - search.slope)
            if better:
                search = _Search(search.c + share * step, *there, search.H, promised)
    return search


def _try(worth_at: Worth, c: FloatArray) -> tuple[float, FloatArray] | None:
    try:
        return worth_at(c)
    except LapError:
        return None


def _learned(H: FloatArray, step: FloatArray, change: FloatArray) -> FloatArray:
    """The curvature after a step that changed the slope so much: BFGS, damped [2]_."""
    pressed = H @ step
    expected, found = float(step @ pressed), float(step @ change)
    if found < DAMPED * expected:
        blend = (1.0 - DAMPED) * expected / (expected - found)
        change = blend * change + (1.0 - blend) * pressed
        found = float(step @ change)
    learned: FloatArray = (
        H - np.outer(pressed, pressed) / expected + np.outer(change, change) / found
    )
    return learned
