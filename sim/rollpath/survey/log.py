"""A position log, the plane it lies in, and the log put in order: jumps out, laps found."""

from dataclasses import dataclass, field, replace

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


# The log put in order: jumps out, laps found. All limits are engineering judgement.

JUMP, JUMP_TIMES = 3.0, 4.0
"""A step that is off by this, m, and by so many times what is usual more, is a jump."""
CUBIC = np.array([-1.0, 4.0, 0.0, 4.0, -1.0]) / 6.0
SHORT_RUN, SHORT_UNTIMED = 0.3, 0.1
"""A run between two jumps is dropped when it is less than this share of the log; without times a
jump may be a gap, and more is believed."""
SPACING = 2.0
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
SAME_LAP = 1.2
"""A way round up to this many times the shortest is a lap, and not one by way of the pits."""
PIECE, MOST_PIECES = 5000.0, 200
"""A long log is looked through in pieces of this length, m, at most so many."""
FARTHEST = 5000.0
"""Farther from the middle point than this, m, is no part of any lap."""


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
    notes : tuple of Note
    piece : ndarray of int, shape (n,)
        Counts up where the position jumped.
    dropped : tuple of ndarray
        x and y of what no other lap passed.
    """

    x: FloatArray
    y: FloatArray
    time: FloatArray
    turned: FloatArray
    centre: complex
    laps: int
    run: int
    notes: tuple[Note, ...]
    piece: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    dropped: tuple[FloatArray, FloatArray] = field(
        default_factory=lambda: (np.zeros(0), np.zeros(0))
    )

    def at(self, keep: BoolArray | IntArray) -> "TidyLog":
        rows = {name: vars(self)[name][keep] for name in ("x", "y", "time", "turned", "piece")}
        return replace(self, **rows)


def tidy_log(log: PositionLog) -> TidyLog:
    """Order, thin and clean a log, keep what another lap passes again, and count its laps.

    Raises
    ------
    SurveyError
        If no whole lap is in it.
    """
    log, notes = _in_order(log)
    if len(log.x) < FEWEST_POINTS:
        raise SurveyError("few points", len(log.x))
    far = np.hypot(log.x - np.median(log.x), log.y - np.median(log.y)) > FARTHEST
    log, piece, dropped = _without_jumps(log.at(~far))
    dropped += int(np.sum(far))
    if dropped:
        notes.append(Note("jumps dropped", dropped))
    log, piece, run = _thinned(log, piece)
    log, piece = _without_standing(log, piece)
    z = log.x + 1j * log.y
    if len(z) < FEWEST_POINTS or _span(z) < SMALLEST_LAP:
        raise SurveyError("stay in one place")
    kept = passed_again(z)
    on, time = z[kept], log.time
    if time is None:
        time = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))]) / PACE
    time, piece = time[kept], piece[kept]
    centre = _middle(on)
    turned = _turned(on - centre)
    if turned[-1] < 0:
        notes.append(Note("clockwise"))
        on, time, piece = on[::-1], time[-1] - time[::-1], piece[-1] - piece[::-1]
        turned = turned[::-1] - turned[-1]
    turned = turned - np.min(turned)
    laps = _count_laps(turned)
    off = float(np.mean(~kept))
    if off > 0.02:
        notes.append(Note("off the line", off))
    gone = (z.real[~kept], z.imag[~kept])
    tidy = TidyLog(on.real, on.imag, time, turned, centre, laps, run, tuple(notes), piece, gone)
    some = spread_over(list(range(laps)), 2 * MOST_LAPS)
    return tidy if len(some) == laps else tidy.at(np.isin(np.floor(turned), some))


def passed_again(z: ComplexArray) -> BoolArray:
    """Which points of a path another lap passes again in the same direction within `PASS`.

    Pit road, the way from the car and jumps are passed once. A log of one lap has nothing passed
    twice but its ends: of it the shortest way that closes is kept, or all when none does.
    """
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
    count = int(np.ceil(s[-1] / PIECE))
    kept = np.zeros(len(z), dtype=bool)
    for k in spread_over(list(range(count)), MOST_PIECES):
        inside = np.flatnonzero((s >= k * s[-1] / count) & (s <= (k + 1) * s[-1] / count))
        if len(inside) >= FEWEST_POINTS:
            kept[inside] = _passed_again(z[inside], s[inside] - s[inside[0]])
    return kept if np.sum(kept) >= FEWEST_POINTS else np.ones(len(z), dtype=bool)


def _passed_again(z: ComplexArray, s: FloatArray) -> BoolArray:
    from scipy.spatial import cKDTree

    at = np.arange(0.0, s[-1], PASS_STEP)
    way = np.interp(at, s, z.real) + 1j * np.interp(at, s, z.imag)
    reach = max(int(PASS / PASS_STEP), 1)
    if len(way) < 4 * reach:
        return np.ones(len(z), dtype=bool)
    ahead = np.append(way[reach:], np.full(reach, way[-1]))
    chord = ahead - np.append(np.full(reach, way[0]), way[:-reach])
    facing = chord / np.maximum(np.abs(chord), 1e-9)
    pairs = cKDTree(np.column_stack([way.real, way.imag])).query_pairs(PASS, output_type="ndarray")
    first, last = pairs[:, 0], pairs[:, 1]
    same = (last - first > PASS_APART / PASS_STEP) & (
        (facing[first] * facing[last].conj()).real > 0.5
    )
    first, last = first[same], last[same]
    again = np.zeros(len(way), dtype=bool)
    again[first] = again[last] = True
    if not len(first):
        return np.ones(len(z), dtype=bool)
    turn = np.concatenate([[0.0], np.cumsum(np.angle(facing[1:] * facing[:-1].conj()))])
    once = np.abs(np.abs(turn[last] - turn[first]) / (2 * np.pi) - 1.0) < 0.3
    if not np.any(once):
        raise SurveyError("no lap")
    i = int(np.argmin(np.where(once, last - first, len(way))))
    lap = last[i] - first[i]
    around = _turned(way[again] - _middle(way[first[i] : last[i] + 1]))
    if np.sum(again) < 1.5 * lap or _hole(around) > 0.1:  # one lap and a bit, or laps far apart
        near = once & (last - first < SAME_LAP * lap)
        for i, j in zip(first[near], last[near], strict=True):
            again[i : j + 1] = True
    kept: BoolArray = np.interp(s, at, again.astype(float)) > 0.5
    return kept


def _span(z: ComplexArray) -> float:
    low, high = np.percentile(np.stack([z.real, z.imag]), (2, 98), axis=1)
    return float(np.hypot(*(high - low)))


def _middle(z: ComplexArray) -> complex:
    """A point inside the lap: the middle of its box, a few outliers left out."""
    low, high = np.percentile(np.stack([z.real, z.imag]), (2, 98), axis=1)
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
        raise SurveyError("part of a lap", covered)
    hole = _hole(turned)
    if hole > 0.25:
        raise SurveyError("hole", hole)
    return laps


def _hole(turned: FloatArray) -> float:
    """Largest share of a lap without a point."""
    around = np.sort(turned % 1.0)
    return float(np.max(np.diff(around, append=around[0] + 1.0)))


def _in_order(log: PositionLog) -> tuple[PositionLog, list[Note]]:
    """Finite points by rising time, one for each time; a clock that stands still is left out."""
    notes = list(log.notes)
    known = np.isfinite(log.x) & np.isfinite(log.y)
    timed = known if log.time is None else known & np.isfinite(log.time)
    if log.time is None or np.sum(timed) < 2 or np.ptp(log.time[timed]) <= 0:
        return replace(log, time=None).at(known), notes
    log = log.at(timed)
    assert log.time is not None
    back = np.diff(log.time, prepend=log.time[0])
    running = log.time + np.cumsum(np.where(back < -RESTART, 1.0 - back, 0.0))
    times, index = np.unique(running, return_inverse=True)
    doubled = len(log.x) - len(times)
    if len(times) < 3 * FEWEST_POINTS < len(log.x):
        return replace(log, time=None), [*notes, Note("times repeat")]
    if doubled:
        notes.append(Note("doubled", doubled))
    count = np.bincount(index)
    x, y = np.bincount(index, log.x) / count, np.bincount(index, log.y) / count
    return replace(log, x=x, y=y, time=times), notes


def _without_jumps(log: PositionLog) -> tuple[PositionLog, IntArray, int]:
    """The log without short pieces between two jumps, its pieces, and how many points went."""
    piece = np.concatenate([[0], np.cumsum(_jumps(log))])
    size, live = np.bincount(piece), list(range(int(piece[-1]) + 1))
    share = SHORT_UNTIMED if log.time is None else SHORT_RUN
    while len(live) > 1:
        # The shortest first: what was parted by it is whole again.
        k = min(range(len(live)), key=lambda i: size[live[i]])
        beside = sum(size[live[i]] for i in (k - 1, k + 1) if 0 <= i < len(live))
        if size[live[k]] > share * beside:
            break
        if 0 < k < len(live) - 1:
            size[live[k - 1]] += size[live[k + 1]]
            piece[piece == live[k + 1]] = live[k - 1]
            del live[k + 1]
        del live[k]
    keep = np.isin(piece, live)
    return log.at(keep), piece[keep], int(np.sum(~keep))


def _jumps(log: PositionLog) -> BoolArray:
    """Which steps miss what the steps before and after foretell by far more than usual."""
    step = np.diff(log.x + 1j * log.y)
    dt = np.ones(len(step)) if log.time is None else np.diff(log.time)
    pace = step / dt
    # The cubic through the two paces before and the two after: a car that turns is foretold too.
    around = np.convolve(np.pad(pace, 2, mode="reflect"), CUBIC, mode="valid")
    miss = np.abs(step - dt * around)
    steady = dt < 2.5 * np.median(dt)
    peak = (miss >= np.append(0.0, miss[:-1])) & (miss >= np.append(miss[1:], 0.0))
    usual = float(np.percentile(miss[steady], BRISK))
    jumps: BoolArray = steady & peak & (miss > JUMP + JUMP_TIMES * usual)
    return jumps


def _thinned(log: PositionLog, piece: IntArray) -> tuple[PositionLog, IntArray, int]:
    """The log averaged in even runs of points to about `SPACING`, and how long the runs are."""
    lag = 1
    while lag < len(log.x) // 16 and _usual_move(log, lag) < 3 * SPACING:
        lag *= 2
    run = int(SPACING * lag / max(_usual_move(log, lag), 1e-9))
    run = min(max(run, 1), max(len(log.x) // 8, 1))
    starts = np.union1d(np.arange(0, len(log.x), run), np.flatnonzero(np.diff(piece)) + 1)
    starts = starts.astype(np.intp)
    count = np.diff(np.append(starts, len(log.x)))
    x, y = np.add.reduceat(log.x, starts) / count, np.add.reduceat(log.y, starts) / count
    time = None if log.time is None else np.add.reduceat(log.time, starts) / count
    return replace(log, x=x, y=y, time=time), piece[starts], run


def _usual_move(log: PositionLog, lag: int) -> float:
    move = np.hypot(log.x[lag:] - log.x[:-lag], log.y[lag:] - log.y[:-lag])
    return float(np.percentile(move, BRISK))


def _without_standing(log: PositionLog, piece: IntArray) -> tuple[PositionLog, IntArray]:
    """The log without the points where it stood still."""
    if len(log.x) < 16:
        return log, piece
    lag = 4
    move = np.hypot(log.x[lag:] - log.x[:-lag], log.y[lag:] - log.y[:-lag])
    around = np.concatenate([move[:1].repeat(lag // 2), move, move[-1:].repeat(lag - lag // 2)])
    moving = around > STANDING * np.percentile(move, BRISK)
    return log.at(moving), piece[moving]


def spread_over(items: list[int], most: int) -> list[int]:
    """At most so many items, evenly spread."""
    if len(items) <= most:
        return items
    return [items[i * len(items) // most] for i in range(most)]
