"""Recorded laps: where the car went, how fast, where the wheel was held and how the tires spun.

Laps are found and the comparable ones laid over each other; their driven path and speed give the
stagger that this line needed. Two things then speak of the stagger on the car: the tape against
that need, and the steering wheel against the car model driven along the same laps. Engine speed,
gear ratio and rollout tell wheelspin, which hides both, and a gear ratio that cannot be right.

Steering is read against the model and not by itself: more stagger moves the wheel to the right all
the way round, more so in the middle of a corner than at its exit, so the bare difference of the
two has no sign to go by.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 2 (engine speed and road speed).
.. [2] A. Tarantola, Inverse Problem Theory, ch. 3 (least squares with what was known before).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError
from rollpath.groove.measured import (
    ClosedPath,
    PathError,
    lap_start,
    measured_groove,
    nearest_places,
    smooth_closed_path,
)
from rollpath.groove.path import Groove
from rollpath.lap import Lap
from rollpath.screen import degrees
from rollpath.survey.log import PositionLog, SurveyError, TidyLog, local_plane, tidy_log
from rollpath.track import Track
from rollpath.units import FOOT, KINDS, MPH, FloatArray

# What a log must be

BINS = 72
"""Parts of the lap in which channels are averaged: a car length or two each. Everything that is
read of a lap is read to this grain, and what needs a finer or coarser one counts in it."""
ENOUGH = BINS // 4
"""Rows, or parts of the lap that were seen, below which a channel says nothing."""
LIKE_LAPS = 0.04
"""Laps within this share of each other's time are comparable. Engineering judgement: a caution or
a missed corner costs more."""
MOST_LAPS = 12
"""Comparable laps used, the quickest first; more rows only cost time."""
SAME_TRACK = (0.8, 1.25)
"""A recorded lap is of a track when it is this much of the length of a groove there, and a speed is
in the right unit when it is this much of that along the positions. Engineering judgement: lines
differ by less, units by more."""
KMH = KINDS["speed"].units["km/h"]
"""One km/h, in m/s."""
UNIT_SLIPS = {
    "km/h headed mph": MPH / KMH, "mph headed km/h": KMH / MPH, "km/h headed m/s": 1 / KMH,
    "m/s headed km/h": KMH, "mph headed m/s": 1 / MPH, "m/s headed mph": MPH,
    "positions in ft headed m": FOOT, "positions in m headed ft": 1 / FOOT,
    "time in ms headed s": 1000.0, "time in s headed ms": 0.001,
}  # fmt: skip
"""The factor that each slip of a unit makes of speed over speed along the positions."""
SPIKE = 6.0
"""Times the usual distance from the median at which a row is nonsense; a tenth of the channel's
size more is always let pass. Engineering judgement."""


class RunLogError(RollpathError):
    """A log that cannot be read as laps; the message says why and what to do."""


@dataclass(frozen=True)
class RunLog:
    """Channels of a log, row by row, SI; None where not recorded, NaN where a row has none.

    Attributes
    ----------
    time : ndarray, shape (n,)
        s.
    x, y : ndarray
        East and north, m.
    speed : ndarray
        m/s.
    engine_speed : ndarray
        rad/s.
    steering : ndarray
        Angle of the steering wheel, rad, to the left positive.
    throttle : ndarray
        Share.
    notes : tuple of str
    """

    time: FloatArray | None = None
    x: FloatArray | None = None
    y: FloatArray | None = None
    speed: FloatArray | None = None
    engine_speed: FloatArray | None = None
    steering: FloatArray | None = None
    throttle: FloatArray | None = None
    notes: tuple[str, ...] = ()

    @property
    def channels(self) -> dict[str, FloatArray]:
        """What was recorded, by name."""
        return {name: rows for name, rows in vars(self).items() if isinstance(rows, np.ndarray)}

    def at(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> "RunLog":
        """The log at some of its rows."""
        kept = {name: rows[keep] for name, rows in self.channels.items()}
        return RunLog(**kept, notes=self.notes)


def log_of(columns: dict[str, FloatArray]) -> RunLog:
    """A log from its columns, SI, in order of time, positions in a plane.

    Parameters
    ----------
    columns : dict of str to ndarray
        Any of time, latitude and longitude (rad), x and y, speed, engine_speed, steering, throttle.

    Raises
    ------
    RunLogError
        If what was recorded cannot be laid along a lap.
    """
    for one, other in (("latitude", "longitude"), ("x", "y")):
        if (one in columns) != (other in columns):
            here, missing = (one, other) if one in columns else (other, one)
            raise RunLogError(f"there is a column {here} but none {missing}; both are needed")
    columns = {name: rows for name, rows in columns.items() if np.isfinite(rows).any()}
    notes = []
    if "latitude" in columns and "longitude" in columns:
        columns["x"], columns["y"] = _in_plane(columns["latitude"], columns["longitude"])
    has_places = "x" in columns and "y" in columns
    if not has_places and not ("time" in columns and "speed" in columns):
        raise RunLogError(
            "no positions (latitude and longitude, or x and y), and not both time and speed: "
            "nothing to lay along a lap"
        )
    kept = {name: rows for name, rows in columns.items() if name in RunLog.__dataclass_fields__}
    log = RunLog(**kept)  # type: ignore[arg-type]
    if log.time is not None:
        known = np.flatnonzero(np.isfinite(log.time))
        order = known[np.argsort(log.time[known], kind="stable")]
        log = log.at(known) if np.all(order[1:] > order[:-1]) else log
        if np.any(order[1:] < order[:-1]):
            notes.append("the rows were not in order of time and were sorted")
            log = log.at(order)
    return replace(log, notes=tuple(notes))


def _in_plane(latitude: FloatArray, longitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """East and north about the middle of the log; 0, 0 is a receiver without a fix."""
    lat, lon = degrees(latitude), degrees(longitude)
    if np.nanmax(np.abs(lat)) > 90 or np.nanmax(np.abs(lon)) > 360:
        raise RunLogError(
            "latitudes beyond 90 deg: expected decimal degrees such as 35.1234; are these "
            "degrees and minutes run together, or swapped?"
        )
    nowhere = (lat == 0) & (lon == 0)
    lat, lon = np.where(nowhere, np.nan, lat), np.where(nowhere, np.nan, lon)
    if not np.isfinite(lat).any():
        raise RunLogError("every position is 0, 0: the receiver had no fix")
    return local_plane(lat, lon, (float(np.nanmedian(lat)), float(np.nanmedian(lon))))


# Laps


@dataclass(frozen=True)
class Laps:
    """Comparable laps laid along one path.

    Attributes
    ----------
    log : RunLog
        Rows of the laps used.
    groove : Groove
        The driven path, or the track's own groove when no positions were recorded.
    s : ndarray, shape (rows,)
        Distance of each row along the groove, m.
    lap : ndarray of int, shape (rows,)
        Which of the laps used, from 0.
    found, used : int
    times : ndarray, shape (used,)
        s; empty without times.
    is_measured : bool
        Whether the path was recorded.
    notes : tuple of str
    """

    log: RunLog
    groove: Groove
    s: FloatArray
    lap: NDArray[np.intp]
    found: int
    used: int
    times: FloatArray
    is_measured: bool
    notes: tuple[str, ...]

    @property
    def bins(self) -> NDArray[np.intp]:
        """Which of `BINS` parts of the lap each row lies in."""
        part = (self.s / float(self.groove.length) * BINS).astype(np.intp)
        return np.clip(part, 0, BINS - 1)

    def binned(self, rows: FloatArray) -> FloatArray:
        """Median of a channel in each part of the lap, shape (BINS,); NaN where it was not seen.

        The median, so that a few rows of nonsense do not count.
        """
        seen = np.isfinite(rows)
        bins, values = self.bins[seen], rows[seen]
        order = np.lexsort((values, bins))
        values = np.append(values[order], np.nan)
        count = np.bincount(bins, minlength=BINS)
        first = np.cumsum(count) - count
        middle = 0.5 * (values[first + (count - 1) // 2] + values[first + count // 2])
        return np.where(count > 0, middle, np.nan)

    def without_spikes(self, rows: FloatArray) -> FloatArray:
        """A channel with NaN for rows far from the median of their part of the lap."""
        off = np.abs(rows - self.binned(rows)[self.bins])
        known = off[np.isfinite(off)]
        usual = float(np.median(known)) if len(known) else 0.0
        spread = float(np.nanmedian(np.abs(rows))) if len(known) else 0.0
        return np.where(off <= SPIKE * usual + 0.1 * spread, rows, np.nan)


def find_laps(log: RunLog, track: Track, groove: Groove, lap: Lap) -> Laps:
    """The comparable laps of a log, laid along the path that was driven.

    Parameters
    ----------
    log : RunLog
    track : Track
    groove, lap : Groove, Lap
        Of the track as modelled: what a recorded lap is held against.

    Raises
    ------
    RunLogError
        If there is no whole lap, it is of another track, it runs clockwise, or a unit is wrong.
    """
    rows = max((len(channel) for channel in log.channels.values()), default=0)
    if rows < ENOUGH:
        raise RunLogError(f"{rows} rows are too few; record at least one whole lap")
    if log.x is None or log.y is None:
        return _laps_by_speed(log, groove, lap)
    return _laps_by_position(log, track, groove)


def _laps_by_position(log: RunLog, track: Track, groove: Groove) -> Laps:
    assert log.x is not None and log.y is not None
    _refuse_clockwise(log.x, log.y)
    clock = np.arange(len(log.x), dtype=float) if log.time is None else log.time
    try:
        tidy = tidy_log(PositionLog(log.x, log.y, clock))
    except SurveyError as error:
        raise RunLogError(f"the positions hold no laps ({error}); record whole laps") from None
    turned = np.maximum.accumulate(tidy.turned)
    found = max(int(turned[-1]), 1)
    crossings = np.interp(np.arange(found + 1), turned, tidy.time)
    times = np.diff(crossings)
    if log.time is not None and np.median(times) <= 0:
        raise RunLogError("the clock of the log stands still; check the time column")
    chosen = _comparable(times) if log.time is not None else np.arange(found)[:MOST_LAPS]
    path = _path(tidy, turned, chosen)
    _check_length(path.length, groove)
    start = float(lap_start(track, path))
    row_lap = np.floor(np.interp(clock, tidy.time, turned)).astype(np.intp)
    known = np.isfinite(log.x) & np.isfinite(log.y) & np.isin(row_lap, chosen)
    used = log.at(known)
    assert used.x is not None and used.y is not None
    z = used.x + 1j * used.y
    s = nearest_places(path, z)
    near = np.abs(z - path.at(s)) < max(SPIKE * path.noise, path.length / BINS)
    line = banked_like(measured_groove(track, path, 4 * BINS), groove)
    _check_shape(line, groove, track)
    laps = Laps(
        used.at(near), line,
        (s[near] - start) % path.length,
        np.searchsorted(chosen, row_lap[known][near]), found, len(chosen),
        times[chosen] if log.time is not None else np.zeros(0), True,
        (*log.notes, *map(str, tidy.notes), *_lap_notes(found, len(chosen))),
    )  # fmt: skip
    if len(laps.s) < ENOUGH:
        raise RunLogError(f"{len(laps.s)} rows of whole laps are too few; record faster or longer")
    _check_speed(laps)
    return laps


def _refuse_clockwise(x: FloatArray, y: FloatArray) -> None:
    known = np.isfinite(x) & np.isfinite(y)
    z = x[known] + 1j * y[known]
    z = z - np.median(z.real) - 1j * np.median(z.imag) if len(z) else z
    if float(np.sum((np.conj(z[:-1]) * z[1:]).imag)) < 0:
        raise RunLogError(
            "the laps run clockwise, and this is a tool for left turns: swap the columns x and y "
            "if they were mixed up, or turn the rows round if the log is written last row first"
        )


def _comparable(times: FloatArray) -> NDArray[np.intp]:
    """Laps of the largest group within `LIKE_LAPS` of its quickest, at most `MOST_LAPS`."""
    order = np.argsort(times, kind="stable")
    ordered = times[order]
    ends = np.searchsorted(ordered, ordered * (1.0 + LIKE_LAPS), side="right")
    first = int(np.argmax(ends - np.arange(len(ordered))))
    return np.sort(order[first : min(int(ends[first]), first + MOST_LAPS)])


def _lap_notes(found: int, used: int) -> list[str]:
    notes = [f"{used} of {found} laps used, those alike in time"] if used < found else []
    return [*notes, *(["one lap only: three would say more"] if used == 1 else [])]


def _path(tidy: TidyLog, turned: FloatArray, chosen: NDArray[np.intp]) -> ClosedPath:
    on_lap = np.isin(np.floor(turned).astype(int), chosen)
    try:
        return smooth_closed_path(tidy.x[on_lap], tidy.y[on_lap])
    except PathError as error:
        raise RunLogError(f"the laps make no path: {error}") from None


def _check_length(length: float, groove: Groove) -> None:
    ratio = length / float(groove.length)
    if not SAME_TRACK[0] <= ratio <= SAME_TRACK[1]:
        raise RunLogError(
            f"the recorded lap is {ratio:.2f} times as long as a lap of the track: another track, "
            "or a wrong unit of x and y "
            "(m or ft)"
        )


def banked_like(measured: Groove, groove: Groove) -> Groove:
    """A measured path with the bank that a groove of the same track has beside it.

    The path is turned and moved until it lies as near to the groove as it can (orthogonal
    Procrustes, nearest places found anew each time).
    """
    from scipy.spatial import KDTree

    x, y = groove.path
    there, z = x + 1j * y, measured.path[0] + 1j * measured.path[1]
    tree = KDTree(np.stack([x, y], axis=-1))
    beside = np.arange(len(z)) * len(there) // len(z)
    for _ in range(BINS):  # until it lies still, which a score of times does
        moved, target = z - z.mean(), there[beside]
        turn = np.vdot(moved, target - target.mean())
        z = moved * (turn / abs(turn)) + target.mean()
        before, beside = beside, tree.query(np.stack([z.real, z.imag], axis=-1))[1]
        if np.array_equal(before, beside):
            break
    return replace(measured, bank=groove.bank[beside], laid=(z.real, z.imag))


def _check_shape(line: Groove, groove: Groove, track: Track) -> None:
    """Refuse a line that, laid on the track as well as it can be, is off it by a track's width."""
    from scipy.spatial import KDTree

    tree = KDTree(np.stack(groove.path, axis=-1))
    off = float(tree.query(np.stack(line.laid or line.path, axis=-1))[0].max())
    if off > float(track.width):
        raise RunLogError(
            f"the recorded lap has another shape: somewhere it runs {off / float(track.width):.1f} "
            "times the track's width beside it, so this is another track, or the track file is "
            "not measured right"
        )


def transits(laps: Laps, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and speed between rows a part of the lap or more apart."""
    length = float(laps.groove.length)
    lag = max(1, len(time) // (BINS * laps.used))
    moved = (laps.s[lag:] - laps.s[:-lag] + 0.5 * length) % length - 0.5 * length
    passed = time[lag:] - time[:-lag]
    good = (passed > 0) & (passed < np.median(laps.times) / 4) & (moved > 0)
    middle = (laps.s[:-lag] + 0.5 * moved) % length
    return middle[good], moved[good] / passed[good]


def _in_order(s: FloatArray, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(s, kind="stable")
    return s[order], rows[order]


def _check_speed(laps: Laps) -> None:
    """Refuse speeds that are not those along the positions."""
    speed, times = laps.log.speed, laps.times
    if speed is None:
        return
    if not len(times) or laps.log.time is None:
        return
    middle, along = transits(laps, laps.log.time)
    seen = np.isfinite(speed)
    there = np.interp(middle, *_in_order(laps.s[seen], speed[seen]))
    # The median, so that a few rows of nonsense are not taken for a unit.
    factor = float(np.median(there / along))
    if not SAME_TRACK[0] <= factor <= SAME_TRACK[1]:
        off = {name: abs(math.log(max(factor, 1e-9) / slip)) for name, slip in UNIT_SLIPS.items()}
        near = min(off, key=off.__getitem__)
        hint = f"; {near}?" if off[near] < math.log(SAME_TRACK[1]) / 2 else ""
        raise RunLogError(
            f"the speed column reads {factor:.3g} times the speed along the positions: a "
            f"unit is wrong{hint}"
        )


def _laps_by_speed(log: RunLog, groove: Groove, lap: Lap) -> Laps:
    """Laps from time and speed alone: the length that repeats best, laid on the modelled speed."""
    assert log.time is not None and log.speed is not None
    known = np.isfinite(log.speed)
    log = log.at(known)
    assert log.time is not None and log.speed is not None
    step = 0.5 * (log.speed[1:] + log.speed[:-1]) * np.diff(log.time)
    run = np.concatenate([[0.0], np.cumsum(step)])
    known_length = float(groove.length)
    found = int(run[-1] / known_length + 2 / BINS)
    if found < 2:
        raise RunLogError(
            f"speed and time cover {run[-1] / known_length:.1f} laps of the track; without "
            "positions at least two whole laps are needed"
        )
    length = _repeating_length(run, log.speed, known_length)
    shift = _shift(run / length, log.speed, groove, lap)
    laps = run / length - shift
    whole = np.floor(laps).astype(np.intp)
    used = (whole >= 0) & (whole < int(np.floor(laps[-1])))
    crossings = np.interp(np.arange(int(np.floor(laps[-1])) + 1), laps, log.time)
    times = np.diff(crossings)
    chosen = _comparable(times)
    kept = used & np.isin(whole, chosen)
    return Laps(
        log.at(kept), groove, (laps[kept] % 1.0) * known_length,
        np.searchsorted(chosen, whole[kept]), len(times), len(chosen), times[chosen], False,
        (*log.notes, *_lap_notes(len(times), len(chosen)),
         f"no positions: laid on the {groove.name} groove by speed"),
    )  # fmt: skip


def _repeating_length(run: FloatArray, speed: FloatArray, known: float) -> float:
    """Lap length near a known one at which the speed repeats best, m."""
    tried = known * np.arange(*SAME_TRACK, 1 / (3 * BINS))
    parts = min(2 * BINS // 3, len(run) // 3)
    spread = []
    for length in tried:
        bins = (run / length % 1.0 * parts).astype(np.intp)
        count = np.maximum(np.bincount(bins, minlength=parts), 1)
        mean = np.bincount(bins, speed, minlength=parts) / count
        spread.append(float(np.mean((speed - mean[bins]) ** 2)))
    best = int(np.argmin(spread))
    if spread[best] > 0.5 * float(np.var(speed)):
        raise RunLogError(
            "without positions laps are found by their speed, and this speed does not repeat "
            "from lap to lap; record positions, or whole laps at speed"
        )
    return float(tried[best])


def _shift(laps: FloatArray, speed: FloatArray, groove: Groove, lap: Lap) -> float:
    """Where the model's lap starts in a log counted in laps."""
    n = 5 * BINS
    bins = (laps % 1.0 * n).astype(np.intp)
    count = np.bincount(bins, minlength=n)
    at = np.flatnonzero(count)
    seen = np.interp(
        np.arange(n), at, (np.bincount(bins, speed, minlength=n) / np.maximum(count, 1))[at],
        period=n,
    )  # fmt: skip
    model = np.interp((np.arange(n) + 0.5) / n * float(groove.length), groove.s, lap.speed)
    match = np.fft.ifft(np.fft.fft(seen - seen.mean()) * np.conj(np.fft.fft(model - model.mean())))
    return float(np.argmax(match.real)) / n
