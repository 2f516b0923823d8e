"""A position log, the plane it lies in, and the log put in order: jumps out, laps found."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError
from rollpath.units import FloatArray

ComplexArray = NDArray[np.complex128]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
STANDARD_ERRORS = 2.0
"""Standard errors in a stated tolerance. 1.64 would do for nine in ten if the noise were just as
modelled; phones are not told so."""
MOST_BOW = 0.45
"""Largest bow tried while a straight is looked for, as a share of it: a bow of half a straight is a
half circle. Geometry."""
BOX_PERCENTILES = 2, 98
"""Of the points, between which the box around a lap is taken; a few are far out. Engineering
judgement."""


class SurveyError(RollpathError):
    """What was measured gives no track; the message says why and what to do."""


# A position log and the plane it lies in

WGS84_AXIS = 6378137.0
"""Semi-major axis, m [1]_."""
WGS84_FLATTENING = 1 / 298.257223563
"""[1]_."""


@dataclass(frozen=True)
class PositionLog:
    """Recorded positions in the order they were taken.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        East and north, m, in a local plane.
    time : ndarray, shape (n,), or None
        s from any start.
    origin : tuple of float or None
        Latitude and longitude of x = y = 0, deg.
    notes : tuple of str
        What was skipped while reading.
    """

    x: FloatArray
    y: FloatArray
    time: FloatArray | None = None
    origin: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()

    def at(self, keep: IntArray | BoolArray | slice) -> "PositionLog":
        """The log at some of its points."""
        time = None if self.time is None else self.time[keep]
        return replace(self, x=self.x[keep], y=self.y[keep], time=time)


def local_plane(
    latitude: FloatArray, longitude: FloatArray, origin: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """East and north of points in the plane that touches the WGS84 ellipsoid at the origin, m.

    Parameters
    ----------
    latitude, longitude : ndarray
        deg.
    origin : tuple of float
        Latitude and longitude, deg.

    Notes
    -----
    The points are taken to lie on the ellipsoid. The plane shortens a distance d from the origin
    by about d^3 / (6 R^2): 0.03 mm in 2 km. Ground at a height h is longer by h / R: 1 in 4,000 at
    5,000 ft.
    """
    lat_0, lon_0 = np.radians(origin)
    at = _geocentric(np.radians(latitude), np.radians(longitude))
    dx, dy, dz = (c - c_0 for c, c_0 in zip(at, _geocentric(lat_0, lon_0), strict=True))
    outward = np.cos(lon_0) * dx + np.sin(lon_0) * dy
    east = np.cos(lon_0) * dy - np.sin(lon_0) * dx
    return east, np.cos(lat_0) * dz - np.sin(lat_0) * outward


def _geocentric(
    latitude: FloatArray, longitude: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Earth-centred coordinates of points on the ellipsoid; rad in, m out [1]_."""
    squared = WGS84_FLATTENING * (2.0 - WGS84_FLATTENING)
    normal = WGS84_AXIS / np.sqrt(1.0 - squared * np.sin(latitude) ** 2)
    out = normal * np.cos(latitude)
    return (
        out * np.cos(longitude),
        out * np.sin(longitude),
        normal * (1.0 - squared) * np.sin(latitude),
    )


# The log put in order: jumps out, laps found

JUMP = 15.0
"""A step longer than this, m, and much faster than the rest of the log, is a jump of the receiver
and no movement. Engineering judgement."""
JUMP_SPEED = (4.0, 10.0)
"""Much faster: this many times the usual speed, and this many m/s more. Engineering judgement."""
SHORT_RUN_SHARE, SHORT_UNTIMED_SHARE = 0.3, 0.1
"""A run of points between two jumps is dropped when it is less than this share of the log; without
times a jump may be a gap, and more is believed."""
SPACING = 2.0
"""Distance apart to which a denser log is averaged, m."""
BRISK = 90
"""Percentile of the pace taken as the usual one: most of a log may be waiting."""
STANDING_SHARE = 0.2
"""Slower than this share of the usual pace is standing still."""
PACE = 8.0
"""Speed taken when a log has no times, m/s."""
FEWEST_POINTS = 12
"""Fewest points after averaging that make a lap."""
SMALLEST_LAP = 30.0
"""Smallest lap, m from corner to corner of its box."""
RESTART = 5.0
"""A clock that goes back by more than this, s, was started again: a new file, or midnight."""
MOST_LAPS = 12
"""Most laps fitted; of a longer log, this many spread over it."""


@dataclass(frozen=True)
class TidyLog:
    """A log ready to be fitted, anticlockwise, averaged to about `SPACING`.

    Attributes
    ----------
    x, y, time : ndarray, shape (n,)
    turned : ndarray, shape (n,)
        Laps since the first point, from the angle about `centre`.
    centre : complex
    laps : int
        Whole laps found.
    run : int
        Recorded points averaged into each.
    notes : tuple of str
    """

    x: FloatArray
    y: FloatArray
    time: FloatArray
    turned: FloatArray
    centre: complex
    laps: int
    run: int
    notes: tuple[str, ...]

    def at(self, keep: BoolArray | IntArray) -> "TidyLog":
        return replace(
            self, x=self.x[keep], y=self.y[keep], time=self.time[keep], turned=self.turned[keep]
        )


def tidy_log(log: PositionLog) -> TidyLog:
    """Order, thin and clean a log and count its laps.

    Raises
    ------
    SurveyError
        If no whole lap is in it.
    """
    log, notes = _in_order(log)
    if len(log.x) < FEWEST_POINTS:
        raise SurveyError(
            f"{len(log.x)} points with a position make no lap; record at least {FEWEST_POINTS}"
        )
    log, dropped = _without_jumps(log)
    if dropped:
        notes.append(f"{dropped} points were dropped where the position jumped")
    log, run = _thinned(log)
    log = _without_standing(log)
    z = log.x + 1j * log.y
    centre = _middle(z)
    turned = _turned(z - centre)
    if turned[-1] < 0:
        notes.append("the log ran clockwise and was turned round to left turns")
        time = None if log.time is None else log.time[-1] - log.time
        log, z = replace(log, time=time).at(slice(None, None, -1)), z[::-1]
        turned = turned[::-1] - turned[-1]
    time = log.time
    if time is None:
        time = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))]) / PACE
    turned = turned - np.min(turned)
    laps = _count_laps(turned)
    tidy = TidyLog(log.x, log.y, time, turned, centre, laps, run, tuple(notes))
    some = spread_over(list(range(laps)), 2 * MOST_LAPS)
    return tidy if len(some) == laps else tidy.at(np.isin(np.floor(turned), some))


def _middle(z: ComplexArray) -> complex:
    """A point inside the lap: the middle of its box, a few outliers left out."""
    low, high = np.percentile(np.stack([z.real, z.imag]), BOX_PERCENTILES, axis=1)
    if np.hypot(high[0] - low[0], high[1] - low[1]) < SMALLEST_LAP:
        raise SurveyError("the points stay in one place; record while you walk or drive")
    return complex(low[0] + high[0], low[1] + high[1]) / 2


def _turned(z: ComplexArray) -> FloatArray:
    """Laps around the origin since the first point."""
    steps = np.angle(z[1:] * z[:-1].conj())
    return np.concatenate([[0.0], np.cumsum(steps)]) / (2 * np.pi)


def _count_laps(turned: FloatArray) -> int:
    """Laps in the log, the last one with at most `LAP_HOLE` of it missing."""
    covered = float(np.max(turned))
    laps = int(np.floor(covered + LAP_HOLE))
    if laps < 1:
        raise SurveyError(
            f"the log goes {covered:.2f} of the way round; record a whole lap, better three"
        )
    hole = hole_in(turned % 1.0)
    if hole > LAP_HOLE:
        raise SurveyError(
            f"the log leaves {hole * 360:.0f} degrees of the lap open; record whole laps"
        )
    return laps


def _in_order(log: PositionLog) -> tuple[PositionLog, list[str]]:
    """Finite points by rising time, one for each time; a clock that stands still is left out."""
    notes = list(log.notes)
    known = np.isfinite(log.x) & np.isfinite(log.y)
    timed = known if log.time is None else known & np.isfinite(log.time)
    if log.time is None or np.sum(timed) < 2 or np.ptp(log.time[timed]) <= 0:
        return replace(log, time=None).at(known), notes
    log = log.at(timed)
    times, index = np.unique(_running(log.time), return_inverse=True)
    doubled = len(log.x) - len(times)
    if len(times) < 3 * FEWEST_POINTS < len(log.x):
        return replace(log, time=None), [*notes, "the times repeat too often and were not used"]
    if doubled:
        notes.append(f"{doubled} points repeated a time and were averaged with it")
    count = np.bincount(index)
    x, y = np.bincount(index, log.x) / count, np.bincount(index, log.y) / count
    return replace(log, x=x, y=y, time=times), notes


def _running(time: FloatArray | None) -> FloatArray:
    """Times that go on where a clock was started again."""
    assert time is not None
    step = np.diff(time)
    back = np.where(step < -RESTART, 1.0 - step, 0.0)
    running: FloatArray = time + np.concatenate([[0.0], np.cumsum(back)])
    return running


def _without_jumps(log: PositionLog) -> tuple[PositionLog, int]:
    """The log without short runs of points between two jumps, and how many went."""
    step = np.hypot(np.diff(log.x), np.diff(log.y))
    dt = np.ones_like(step) if log.time is None else np.diff(log.time)
    speed = step / dt
    usual = float(np.percentile(speed, BRISK))
    times, more = JUMP_SPEED
    if log.time is None:
        more = 0.0
    jump = (step > JUMP) & (speed > times * usual + more)
    run = np.concatenate([[0], np.cumsum(jump)])
    size = np.bincount(run)
    share = SHORT_RUN_SHARE if log.time is not None else SHORT_UNTIMED_SHARE
    keep = size[run] >= min(share * len(log.x), np.max(size))
    return log.at(keep), int(np.sum(~keep))


def _thinned(log: PositionLog) -> tuple[PositionLog, int]:
    """The log averaged in even runs of points to about `SPACING`, and how long the runs are."""
    lag = 1
    while lag < len(log.x) // 16 and _usual_move(log, lag) < 3 * SPACING:
        lag *= 2
    run = int(SPACING * lag / max(_usual_move(log, lag), 1e-9))
    run = min(max(run, 1), max(len(log.x) // 8, 1))
    if run == 1:
        return log, 1
    starts = np.arange(0, len(log.x), run)
    count = np.diff(np.append(starts, len(log.x)))
    x, y = np.add.reduceat(log.x, starts) / count, np.add.reduceat(log.y, starts) / count
    time = None if log.time is None else np.add.reduceat(log.time, starts) / count
    return replace(log, x=x, y=y, time=time), run


def _usual_move(log: PositionLog, lag: int) -> float:
    move = np.hypot(log.x[lag:] - log.x[:-lag], log.y[lag:] - log.y[:-lag])
    return float(np.percentile(move, BRISK))


def _without_standing(log: PositionLog) -> PositionLog:
    """The log without the points where it stood still."""
    if len(log.x) < 16:
        return log
    lag = 4
    move = np.hypot(log.x[lag:] - log.x[:-lag], log.y[lag:] - log.y[:-lag])
    around = np.concatenate([move[:1].repeat(lag // 2), move, move[-1:].repeat(lag - lag // 2)])
    return log.at(around > STANDING_SHARE * np.percentile(move, BRISK))


LAP_HOLE = 0.2
"""Largest hole, as a share of a lap, that is let pass."""


def hole_in(share: FloatArray) -> float:
    """The largest hole that these points leave in a lap, as a share of it."""
    if not len(share):
        return 1.0
    around = np.sort(share)
    return float(np.max(np.diff(around, append=around[0] + 1.0)))


def spread_over(items: list[int], most: int) -> list[int]:
    if len(items) <= most:
        return items
    return [items[i * len(items) // most] for i in range(most)]
