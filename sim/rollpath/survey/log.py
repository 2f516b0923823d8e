"""A position log, the plane it lies in, and the log put in order: what no other lap passes goes."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError
from rollpath.units import FloatArray

ComplexArray = NDArray[np.complex128]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Note:
    """Something a person should know: a code that the screens have a sentence for, and a number."""

    code: str
    amount: float = 0.0

    def __str__(self) -> str:
        return f"{self.code}: {self.amount:.3g}" if self.amount else self.code


class SurveyError(RollpathError):
    """What was measured gives no track: a code that `show` has a sentence for, and a number."""

    def __init__(self, code: str, amount: float = 0.0, detail: str = "") -> None:
        super().__init__(f"{code}: {detail or f'{amount:.3g}'}" if detail or amount else code)
        self.code, self.amount, self.detail = code, amount, detail


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
    notes : tuple of Note
        What was skipped while reading.
    """

    x: FloatArray
    y: FloatArray
    time: FloatArray | None = None
    origin: tuple[float, float] | None = None
    notes: tuple[Note, ...] = ()

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


# The log put in order. All limits are engineering judgement.

JUMP, JUMP_TIMES = 3.0, 4.0
"""A step that is off by this, m, and by so many times what is usual more, is a jump."""
CUBIC = np.array([-1.0, 4.0, 0.0, 4.0, -1.0]) / 6.0
SHORT_RUN = 0.3
"""A run between two jumps is dropped when it is less than this share of those beside it."""
SPACING = 4.0
"""Distance apart to which a denser log is averaged, m."""
BRISK, STANDING = 90, 0.2
"""Percentile of the pace taken as usual; slower than this share of it is standing still."""
PACE = 8.0
"""Speed taken when a log has no times, m/s."""
FEWEST_POINTS = 12
SMALLEST_LAP = 30.0
"""From corner to corner of its box, m."""
RESTART = 5.0
"""A clock that goes back by more than this, s, was started again: a new file, or midnight."""
MOST_LAPS = 12
"""Most laps fitted; of a longer log, this many spread over it."""
LAP_HOLE = 0.2
"""Largest hole, as a share of a lap, that is let pass."""
PASS, PASS_STEP, PASS_APART = 10.0, 3.0, 60.0
"""Another lap passes within this distance, m; steps in which that is looked for; least way round
between two passes, m."""
PIECE, MOST_PIECES = 5000.0, 200
"""A long log is looked through in pieces of this length, m, at most so many."""
FARTHEST = 5000.0
"""Farther from the middle point than this, m, is no part of any lap."""


@dataclass(frozen=True)
class TidyLog:
    """A log ready to be fitted, anticlockwise, averaged to about `SPACING`.

    Attributes
    ----------
    z : ndarray, shape (n,)
        x + i y, m.
    time : ndarray, shape (n,)
        s.
    turned : ndarray, shape (n,)
        Laps since the first point.
    laps : int
        Whole laps found.
    notes : tuple of Note
    dropped : ndarray
        x + i y of what no other lap passed.
    """

    z: ComplexArray
    time: FloatArray
    turned: FloatArray
    laps: int
    notes: tuple[Note, ...]
    dropped: ComplexArray

    def at_most(self, laps: int) -> "TidyLog":
        """So many of its laps, spread over it."""
        some = np.isin(np.floor(self.turned), spread_over(self.laps, laps))
        rows = {name: getattr(self, name)[some] for name in ("z", "time", "turned")}
        return replace(self, **rows, laps=laps) if laps < self.laps else self


def tidy_log(log: PositionLog) -> TidyLog:
    """Order, thin and clean a log, keep what another lap passes again, and count its laps.

    Raises
    ------
    SurveyError
        If no whole lap is in it.
    """
    z, time, notes = _in_order(log)
    if len(z) < FEWEST_POINTS:
        raise SurveyError("few points", len(z))
    near = np.abs(z - np.median(z.real) - 1j * np.median(z.imag)) < FARTHEST
    z, time = z[near], time[near]
    steady = _without_jumps(z, time)
    z, time = _thinned(z[steady], time[steady])
    if len(z) < FEWEST_POINTS or _span(z) < SMALLEST_LAP:
        raise SurveyError("stay in one place")
    kept = passed_again(z)
    on, time = z[kept], time[kept]
    turned = _turned(on - _middle(on))
    if turned[-1] < 0:
        notes.append(Note("clockwise"))
        on, time, turned = on[::-1], time[-1] - time[::-1], turned[::-1] - turned[-1]
    turned = turned - np.min(turned)
    if not np.all(steady):
        notes.append(Note("jumps dropped", float(np.sum(~steady))))
    off = float(np.mean(~kept))
    if off > 0.02:
        notes.append(Note("off the line", off))
    return TidyLog(on, time, turned, _count_laps(turned), tuple(notes), z[~kept])


def _in_order(log: PositionLog) -> tuple[ComplexArray, FloatArray, list[Note]]:
    """Finite points by rising time, one for each; without times, by the way they came."""
    notes, z = list(log.notes), _joined(log.x, log.y)
    known = np.isfinite(z)
    timed = known if log.time is None else known & np.isfinite(log.time)
    if log.time is not None and np.sum(timed) > 1 and np.ptp(log.time[timed]) > 0:
        back = np.diff(log.time[timed], prepend=log.time[timed][0])
        running = log.time[timed] + np.cumsum(np.where(back < -RESTART, 1.0 - back, 0.0))
        times, index = np.unique(running, return_inverse=True)
        doubled = len(running) - len(times)
        if not len(times) < 3 * FEWEST_POINTS < len(running):
            count, x, y = (np.bincount(index, w) for w in (None, log.x[timed], log.y[timed]))
            return (
                _joined(x / count, y / count),
                times,
                notes + [Note("doubled", doubled)] * (doubled > 0),
            )
        notes.append(Note("times repeat"))
    z = z[known]
    return z, _travelled(z) / PACE, notes


def _without_jumps(z: ComplexArray, time: FloatArray) -> BoolArray:
    """Which points are not in a short run between two jumps, the shortest looked at first."""
    piece = np.concatenate([[0], np.cumsum(_jumps(z, time))])
    size, live = np.bincount(piece), list(range(int(piece[-1]) + 1))
    while len(live) > 1:
        k = min(range(len(live)), key=lambda i: size[live[i]])
        if size[live[k]] > SHORT_RUN * sum(
            size[i] for i in live[max(k - 1, 0) : k + 2] if i != live[k]
        ):
            break
        if 0 < k < len(live) - 1:  # what was parted by it is whole again
            size[live[k - 1]] += size[live[k + 1]]
            piece[piece == live[k + 1]] = live[k - 1]
            del live[k + 1]
        del live[k]
    return np.isin(piece, live)


def _jumps(z: ComplexArray, time: FloatArray) -> BoolArray:
    """Which steps miss what the two before and the two after foretell by far more than usual."""
    dt = np.diff(time)
    pace = np.diff(z) / np.maximum(dt, 1e-9)
    miss = np.abs(pace - np.convolve(np.pad(pace, 2, mode="reflect"), CUBIC, mode="valid")) * dt
    steady = dt < 2.5 * np.median(dt)
    peak = (miss >= np.append(0.0, miss[:-1])) & (miss >= np.append(miss[1:], 0.0))
    usual = float(np.percentile(miss[steady], BRISK))
    jumps: BoolArray = steady & peak & (miss > JUMP + JUMP_TIMES * usual)
    return jumps


def _thinned(z: ComplexArray, time: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Averaged in even runs of points to about `SPACING`, without those where it stood still."""

    def usual_move(lag: int) -> float:
        return max(float(np.percentile(np.abs(z[lag:] - z[:-lag]), BRISK)), 1e-9)

    lag = 1
    while lag < len(z) // 16 and usual_move(lag) < 3 * SPACING:
        lag *= 2
    run = min(max(int(SPACING * lag / usual_move(lag)), 1), max(len(z) // 8, 1))
    starts = np.arange(0, len(z), run)
    count = np.diff(np.append(starts, len(z)))
    z = _joined(*(np.add.reduceat(part, starts) / count for part in (z.real, z.imag)))
    time = np.add.reduceat(time, starts) / count
    if len(z) < 16:
        return z, time
    move = np.pad(np.abs(z[4:] - z[:-4]), 2, mode="edge")
    moving = move > STANDING * np.percentile(move, BRISK)
    return z[moving], time[moving]


def passed_again(z: ComplexArray) -> BoolArray:
    """Which points of a path another lap passes again in the same direction within `PASS`.

    Pit road, the way from the car and jumps are passed once. A log of hardly more than a lap is
    kept from the first place passed twice to the last, or all when there is none.
    """
    s = _travelled(z)
    count = int(np.ceil(s[-1] / PIECE))
    kept = np.zeros(len(z), dtype=bool)
    for k in spread_over(count, MOST_PIECES):
        inside = np.flatnonzero((s >= k * s[-1] / count) & (s <= (k + 1) * s[-1] / count))
        if len(inside) >= FEWEST_POINTS:
            kept[inside] = _passed_again(z[inside], s[inside] - s[inside[0]])
    return kept if np.sum(kept) >= FEWEST_POINTS else np.ones(len(z), dtype=bool)


def _passed_again(z: ComplexArray, s: FloatArray) -> BoolArray:
    from scipy.spatial import cKDTree

    at = np.arange(0.0, s[-1], PASS_STEP)
    way, reach = np.interp(at, s, z), max(int(PASS / PASS_STEP), 1)
    if len(way) < 4 * reach:
        return np.ones(len(z), dtype=bool)
    chord = np.append(way[reach:], np.full(reach, way[-1]))
    chord -= np.append(np.full(reach, way[0]), way[:-reach])
    facing = chord / np.maximum(np.abs(chord), 1e-9)
    pairs = cKDTree(np.column_stack([way.real, way.imag])).query_pairs(PASS, output_type="ndarray")
    first, last = pairs[:, 0], pairs[:, 1]
    same = (facing[first] * facing[last].conj()).real > 0.5
    same &= last - first > PASS_APART / PASS_STEP
    first, last = first[same], last[same]
    if not len(first):
        return np.ones(len(z), dtype=bool)
    turn = np.cumsum(np.angle(facing * np.append(facing[:1], facing[:-1]).conj())) / (2 * np.pi)
    once = np.abs(np.abs(turn[last] - turn[first]) - 1.0) < 0.3
    if not np.any(once):
        raise SurveyError("no lap")
    again = np.zeros(len(way), dtype=bool)
    again[first] = again[last] = True
    around = _turned(way[again] - _middle(way[again]))
    if np.sum(again) < 1.5 * np.min((last - first)[once]) or _hole(around) > 0.5 * LAP_HOLE:
        again[np.argmax(again) : len(again) - np.argmax(again[::-1])] = True
    kept: BoolArray = np.interp(s, at, again.astype(float)) > 0.5
    return kept


def _joined(x: FloatArray, y: FloatArray) -> ComplexArray:
    z: ComplexArray = x + 1j * y
    return z


def _travelled(z: ComplexArray) -> FloatArray:
    """Distance along a path from its first point, m."""
    s: FloatArray = np.cumsum(np.abs(np.diff(z, prepend=z[:1])))
    return s


def _span(z: ComplexArray) -> float:
    low, high = np.percentile(np.stack([z.real, z.imag]), (2, 98), axis=1)
    return float(np.hypot(*(high - low)))


def _middle(z: ComplexArray) -> complex:
    """A point inside the lap: the middle of its box, a few outliers left out."""
    low, high = np.percentile(np.stack([z.real, z.imag]), (2, 98), axis=1)
    return complex(low[0] + high[0], low[1] + high[1]) / 2


def _turned(z: ComplexArray) -> FloatArray:
    """Laps around the origin since the first point."""
    return np.cumsum(np.angle(z * np.append(z[:1], z[:-1]).conj())) / (2 * np.pi)


def _count_laps(turned: FloatArray) -> int:
    """Laps in the log, the last one with at most `LAP_HOLE` of it missing."""
    covered, hole = float(np.max(turned)), _hole(turned)
    if covered + LAP_HOLE < 1:
        raise SurveyError("part of a lap", covered)
    if hole > 0.25:
        raise SurveyError("hole", hole)
    return int(covered + LAP_HOLE)


def _hole(turned: FloatArray) -> float:
    """Largest share of a lap without a point."""
    around = np.sort(turned % 1.0)
    return float(np.max(np.diff(around, append=around[0] + 1.0)))


def spread_over(count: int, most: int) -> list[int]:
    """At most so many of the numbers below a count, evenly spread."""
    return [i * count // min(count, most) for i in range(min(count, most))]
