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

from rollpath.groove.measured import (
    ClosedPath,
    PathError,
    lap_start,
    measured_groove,
    nearest_places,
    smooth_closed_path,
)
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import Groove
from rollpath.lap import Lap
from rollpath.runlog.log import RunLog, RunLogError, RunNote
from rollpath.survey.log import RESTART, STANDING, Note, PositionLog, SurveyError, TidyLog, tidy_log
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
    notes : tuple of Note
    """

    log: RunLog
    groove: Groove
    s: FloatArray
    lap: NDArray[np.intp]
    found: int
    used: int
    times: FloatArray
    is_measured: bool
    notes: tuple[Note, ...]

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
        return medians(self.bins[seen], rows[seen], BINS)

    def without_spikes(self, rows: FloatArray) -> FloatArray:
        """A channel with NaN for rows far from the median of their part of the lap."""
        return near_to(self.binned(rows)[self.bins], rows)


def medians(bins: NDArray[np.intp], values: FloatArray, parts: int) -> FloatArray:
    """Median of the values in each of so many bins, shape (parts,); NaN in an empty one."""
    order = np.lexsort((values, bins))
    values = np.append(values[order], np.nan)
    count = np.bincount(bins, minlength=parts)
    first = np.cumsum(count) - count
    middle = 0.5 * (values[first + (count - 1) // 2] + values[first + count // 2])
    return np.where(count > 0, middle, np.nan)


def near_to(expected: FloatArray, rows: FloatArray) -> FloatArray:
    """Rows with NaN for those that are far from what is expected; see `SPIKE`."""
    off = np.abs(rows - expected)
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
        raise RunLogError("few rows", rows)
    if log.x is None or log.y is None:
        return _laps_by_speed(log, groove, lap)
    return _laps_by_position(log, track, groove)


def _laps_by_position(log: RunLog, track: Track, groove: Groove) -> Laps:
    assert log.x is not None and log.y is not None
    clock = np.arange(len(log.x), dtype=float) if log.time is None else log.time
    try:
        tidy = tidy_log(PositionLog(log.x, log.y, clock))
    except SurveyError as error:
        raise RunLogError("no laps", error.amount, error.code) from None
    if Note("clockwise") in tidy.notes:
        raise RunLogError("clockwise")
    turned = np.maximum.accumulate(tidy.turned)
    found = max(int(turned[-1]), 1)
    crossings = np.interp(np.arange(found + 1), turned, tidy.time)
    times = np.diff(crossings)
    if log.time is not None and np.median(times) <= 0:
        raise RunLogError("clock stands")
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
    _check_shape(line, track)
    laps = Laps(
        used.at(near), line,
        (s[near] - start) % path.length,
        np.searchsorted(chosen, row_lap[known][near]), found, len(chosen),
        times[chosen] if log.time is not None else np.zeros(0), True,
        (*log.notes, *tidy.notes, *_lap_notes(found, len(chosen))),
    )  # fmt: skip
    if len(laps.s) < ENOUGH:
        raise RunLogError("few rows of laps", len(laps.s))
    _check_speed(laps)
    return laps


def _comparable(times: FloatArray) -> NDArray[np.intp]:
    """Laps of the largest group within `LIKE_LAPS` of its quickest, at most `MOST_LAPS`."""
    order = np.argsort(times, kind="stable")
    ordered = times[order]
    ends = np.searchsorted(ordered, ordered * (1.0 + LIKE_LAPS), side="right")
    first = int(np.argmax(ends - np.arange(len(ordered))))
    return np.sort(order[first : min(int(ends[first]), first + MOST_LAPS)])


def _lap_notes(found: int, used: int) -> list[Note]:
    notes: list[Note] = [RunNote("laps alike", used, found)] if used < found else []
    return [*notes, *([Note("single lap")] if used == 1 else [])]


def _path(tidy: TidyLog, turned: FloatArray, chosen: NDArray[np.intp]) -> ClosedPath:
    on_lap = np.isin(np.floor(turned).astype(int), chosen)
    try:
        return smooth_closed_path(tidy.z.real[on_lap], tidy.z.imag[on_lap])
    except PathError as error:
        raise RunLogError("no path", detail=str(error)) from None


def _check_length(length: float, groove: Groove) -> None:
    ratio = length / float(groove.length)
    if not SAME_TRACK[0] <= ratio <= SAME_TRACK[1]:
        raise RunLogError("another length", ratio)


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


def _check_shape(line: Groove, track: Track) -> None:
    """Refuse a line that, laid on the track as well as it can be, swings over more than its width
    and what the tape may be off.

    By the root mean square, as that of a sine from edge to edge, which is surer than its ends. How
    far out it runs all the way round is no matter: that is the line, or the tape. A straight
    taped too long puts each end out by half of it, and ends taped unlike do the same.
    """
    from scipy.spatial import KDTree

    middle = parallel_groove(track, track.width / 2, "middle", BINS * 4)
    laid = np.stack(banked_like(line, middle).laid or line.path)
    x, y = middle.path
    there = KDTree(np.stack([x, y], axis=-1)).query(laid.T)[1]
    ahead = np.gradient(np.concatenate([x[-1:] + 1j * y[-1:], x + 1j * y, x[:1] + 1j * y[:1]]))
    left = 1j * ahead[1:-1][there]
    across = laid[0] + 1j * laid[1] - (x + 1j * y)[there]
    swings = math.sqrt(8.0) * float(np.std((across * left.conj()).real / np.abs(left)))
    taped = track.measured_to
    off = 0.5 * math.hypot(taped.straight, taped.inside_radius)
    if swings > float(track.width) + off:
        raise RunLogError("another shape", swings / float(track.width))


def transits(laps: Laps, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and speed between rows a part of the lap or more apart."""
    length = float(laps.groove.length)
    lag = max(1, len(time) // (BINS * laps.used))
    moved = (laps.s[lag:] - laps.s[:-lag] + 0.5 * length) % length - 0.5 * length
    passed = time[lag:] - time[:-lag]
    good = (passed > 0) & (passed < np.median(laps.times) / 4) & (moved > 0)
    middle, pace = ((laps.s[:-lag] + 0.5 * moved) % length)[good], moved[good] / passed[good]
    if not len(pace):
        return middle, pace
    bins = (middle / length * BINS).astype(np.intp) % BINS
    brisk = pace > STANDING * np.median(pace)  # the rest creeps to the line, and is many rows
    usual = medians(bins[brisk], pace[brisk], BINS)[bins]
    kept = brisk & np.isfinite(near_to(usual, pace))
    return middle[kept], pace[kept]


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
    if not len(along):
        raise RunLogError("few rows of laps", len(laps.s))
    seen = np.isfinite(speed)
    there = np.interp(middle, *_in_order(laps.s[seen], speed[seen]))
    # The median, so that a few rows of nonsense are not taken for a unit.
    factor = float(np.median(there / along))
    if not SAME_TRACK[0] <= factor <= SAME_TRACK[1]:
        off = {name: abs(math.log(max(factor, 1e-9) / slip)) for name, slip in UNIT_SLIPS.items()}
        near = min(off, key=off.__getitem__)
        likely = off[near] < math.log(SAME_TRACK[1]) / 2
        raise RunLogError("wrong unit", factor, near if likely else "")


def _laps_by_speed(log: RunLog, groove: Groove, lap: Lap) -> Laps:
    """Laps from time and speed alone: the length that repeats best, laid on the modelled speed."""
    log, notes = _longest_stretch(log)
    assert log.time is not None and log.speed is not None
    step = 0.5 * (log.speed[1:] + log.speed[:-1]) * np.diff(log.time)
    run = np.concatenate([[0.0], np.cumsum(step)])
    known_length = float(groove.length)
    found = int(run[-1] / known_length + 2 / BINS)
    if found < 2:
        raise RunLogError("few laps by speed", run[-1] / known_length)
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
        (*log.notes, *notes, *_lap_notes(len(times), len(chosen)), Note("no places")),
    )  # fmt: skip


def _longest_stretch(log: RunLog) -> tuple[RunLog, list[Note]]:
    """The rows with a speed between two gaps of the clock, in which nobody knows how far."""
    assert log.time is not None and log.speed is not None
    log = log.at(np.isfinite(log.speed))
    assert log.time is not None
    stretch = np.cumsum(np.diff(log.time, prepend=log.time[:1]) >= RESTART)
    if not len(stretch) or stretch[-1] == 0:
        return log, []
    return log.at(stretch == np.argmax(np.bincount(stretch))), [Note("longest stretch")]


def _repeating_length(run: FloatArray, speed: FloatArray, known: float) -> float:
    """Lap length near a known one at which the speed repeats best, m."""
    tried = known * np.arange(*SAME_TRACK, 1 / (3 * BINS))
    parts = min(2 * BINS // 3, len(run) // 3)
    # The median of what is off, so that laps in traffic or under a flag do not count.
    off = []
    for length in tried:
        bins = (run / length % 1.0 * parts).astype(np.intp)
        off.append(float(np.median(np.abs(speed - medians(bins, speed, parts)[bins]))))
    best = int(np.argmin(off))
    if off[best] > 0.7 * np.median(np.abs(speed - np.median(speed))):
        raise RunLogError("speed does not repeat")
    return float(tried[best])


def _shift(laps: FloatArray, speed: FloatArray, groove: Groove, lap: Lap) -> float:
    """Where the model's lap starts in a log counted in laps."""
    n = 5 * BINS
    usual = medians((laps % 1.0 * n).astype(np.intp), speed, n)
    at = np.flatnonzero(np.isfinite(usual))
    seen = np.interp(np.arange(n), at, usual[at], period=n)
    model = np.interp((np.arange(n) + 0.5) / n * float(groove.length), groove.s, lap.speed)
    match = np.fft.ifft(np.fft.fft(seen - seen.mean()) * np.conj(np.fft.fft(model - model.mean())))
    return float(np.argmax(match.real)) / n
