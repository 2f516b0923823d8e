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

from sim.balance import LEAST_FELT, Feel, trim_lap
from sim.car import Car, brush_slip
from sim.groove import (
    ClosedPath,
    Groove,
    PathError,
    lap_start,
    measured_groove,
    nearest_places,
    smooth_closed_path,
)
from sim.lap import PHASES, Lap, driven_lap, solve_lap
from sim.rolling import NeededStagger, needed_stagger, rolling_circumference
from sim.stagger import Recommendation, recommend
from sim.survey import PositionLog, SurveyError, TidyLog, local_plane, tidy_log
from sim.track import Condition, Track
from sim.units import DEGREE, FOOT, INCH, KINDS, MPH, FloatArray, G, Real, Screen
from sim.verdict import CONFIDENCES, Leaning

# What a log must be

FEWEST_ROWS = 20
"""Of a lap with anything to say."""
LIKE_LAPS = 0.04
"""Laps within this share of each other's time are comparable. Engineering judgement: a caution or
a missed corner costs more."""
MOST_LAPS = 12
"""Comparable laps used, the quickest first."""
SAME_TRACK = (0.8, 1.25)
"""A recorded lap is of a track when it is this much of the length of a groove there."""
SAME_SPEED = (0.87, 1.15)
"""Recorded speed over speed along the positions; outside, a unit is wrong."""
KMH = KINDS["speed"].units["km/h"]
"""One km/h, in m/s."""
UNIT_SLIPS = {
    MPH / KMH: "km/h headed mph", KMH / MPH: "mph headed km/h", 1 / KMH: "km/h headed m/s",
    KMH: "m/s headed km/h", 1 / MPH: "mph headed m/s", MPH: "m/s headed mph",
    1 / FOOT: "positions in ft headed m", FOOT: "positions in m headed ft",
    1000.0: "time in ms headed s", 0.001: "time in s headed ms",
}  # fmt: skip
"""Slips of the unit by the factor they make of speed over speed along the positions."""
UNIT_NEAR = 0.08
"""How near a factor must be to name the slip."""

# How a log is read

STATIONS = 240
"""Of a recorded path: its curvature has no finer grain."""
BINS = 72
"""Parts of the lap in which channels are averaged."""
MOST_HARMONICS = 20
"""Of the speed around a lap."""
SPIKE = 6.0
"""Times the usual distance from the median at which a row is nonsense; a tenth of the channel's
size more is always let pass. Engineering judgement."""
LEAST_OFF_PATH = 5.0
"""m; a row nearer to the path than this is never nonsense. Engineering judgement: the drift of a
phone's positions."""
LEAST_LAP = 0.98
"""Laps counted as one where only speed and time are known. Engineering judgement: speed is read
some 2 % low."""
REPEAT_BINS = 48
"""Parts of a lap in which its speed is to repeat. Engineering judgement: a second or less each."""
REPEAT_TRIED = 91
"""Lap lengths tried over `SAME_TRACK`: one for each half per cent."""
SHIFT_BINS = 360
"""Parts of a lap by which it is shifted on the model's: a yard or so each."""
ROUGHNESS = 1e-3
"""Weight on the square of a harmonic's number, rows being worth 1 together; the speed around a lap
is hardly touched where there are rows. Engineering judgement."""
SLIP_SCATTER = 0.02
"""Slip, as a share, beyond which a part of the lap counts less in the line through all of them.
Engineering judgement: engine speed and road speed are each read to a per cent or so."""
LEAST_SPEED = 3.0
"""m/s; slower is no lap at speed."""
GRIP_PASSES = 2
GRIP_RANGE = (0.7, 1.4)
"""Share of a surface's grip within which that of the laps is looked for."""
GRIP_SAID = 0.1
"""Change of the grip that is worth a note."""

# How well things are known before the log is read. Engineering judgement, one standard deviation.

TAPE_DOUBT = 0.35 * INCH
"""Running stagger against the taped: growth, pressure, a tape mark."""
NEED_DOUBT = 0.2 * INCH
"""Needed stagger of a recorded line: its curvature, bank and loads."""
UNSEEN_NEED_DOUBT = 0.4 * INCH
"""The same where the line itself was not recorded."""
ZERO_DOUBT = 1.5 * DEGREE
"""Zero of the steering sensor, at the steering wheel."""
GAIN_DOUBT = 0.1
"""Steering ratio."""
BALANCE_DOUBT = 2.0 * DEGREE
"""Steering wheel for each g across that the model does not know: camber, toe, springs."""
STIFFNESS_DOUBT = 0.15
"""Slip stiffness of the tires, as a share."""
GRIP_DOUBT = 0.03
"""Grip of the surface, as a share."""
MODEL_DOUBT = 1.5 * DEGREE
"""Steering wheel in one part of the lap."""
SLOW_WAVES = 4
"""Waves around the lap of which the steering is read: two a corner."""

TAPE_DOUBTED = 1.5
"""Standard deviations between wheel and tape from which the tires are to be taped again."""
LEAVE_BAND = 0.375 * INCH
"""A fault of the stagger smaller than this is left alone: a lap varies as much."""
GEAR_FAULT = 0.05
"""Slip with no thrust, as a share, from which the gear ratio is doubted."""
SOFTEST = 1.4
"""Most that slip may be over the model's because the tires are softer; beyond, they spin."""
SPIN_EXCESS = 0.03
"""Slip beyond the model's, as a share, for wheelspin."""
SPUN_USED = 0.95
"""Share of the rear grip used from which that excess is wheelspin. Engineering judgement: most of
the tread slides."""
SPIN_SHARE = 0.025
"""Of the lap that must spin for the run to count as spinning: about half a second."""
REVERSED = -0.4
"""Correlation of recorded and expected steering below which the sign is doubted."""
LEAST_MOVED = 0.3
"""Share of the expected travel of the wheel below which the channel is doubted."""


class RunLogError(ValueError):
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
    lat, lon = latitude / DEGREE, longitude / DEGREE
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
    if rows < FEWEST_ROWS:
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
        raise RunLogError(str(error)) from None
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
    near = np.abs(z - path.at(s)) < max(SPIKE * path.noise, LEAST_OFF_PATH)
    laps = Laps(
        used.at(near), banked_like(measured_groove(track, path, STATIONS), groove),
        (s[near] - start) % path.length,
        np.searchsorted(chosen, row_lap[known][near]), found, len(chosen),
        times[chosen] if log.time is not None else np.zeros(0), True,
        (*log.notes, *tidy.notes, *_lap_notes(found, len(chosen))),
    )  # fmt: skip
    if len(laps.s) < FEWEST_ROWS:
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
            f"the recorded lap is {length / FOOT:.0f} ft and a lap of the track "
            f"{float(groove.length) / FOOT:.0f} ft: another track, or a wrong unit of x and y "
            "(m or ft)"
        )


REGISTERED = 8
"""Times a path is laid on another before their nearest places are taken as the same."""


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
    for _ in range(REGISTERED):
        moved, target = z - z.mean(), there[beside]
        turn = np.vdot(moved, target - target.mean())
        z = moved * (turn / abs(turn)) + target.mean()
        beside = tree.query(np.stack([z.real, z.imag], axis=-1))[1]
    return replace(measured, bank=groove.bank[beside], laid=(z.real, z.imag))


def _check_speed(laps: Laps) -> None:
    """Refuse speeds that are not those along the positions."""
    speed, times = laps.log.speed, laps.times
    if speed is None:
        return
    recorded = float(np.nanmean(laps.binned(speed)))
    if not len(times):
        return
    along = float(laps.groove.length) / float(np.mean(times))
    factor = recorded / along
    if not SAME_SPEED[0] <= factor <= SAME_SPEED[1]:
        near = [name for slip, name in UNIT_SLIPS.items() if abs(factor / slip - 1) < UNIT_NEAR]
        hint = f"; {near[0]}?" if near else ""
        raise RunLogError(
            f"the speed column reads {factor:.3g} times the speed along the positions "
            f"({recorded / MPH:.0f} against {along / MPH:.0f} mph): a unit is wrong{hint}"
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
    found = int(run[-1] / known_length / LEAST_LAP)
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
    tried = known * np.linspace(*SAME_TRACK, REPEAT_TRIED)
    spread = []
    for length in tried:
        bins = (run / length % 1.0 * REPEAT_BINS).astype(np.intp)
        count = np.maximum(np.bincount(bins, minlength=REPEAT_BINS), 1)
        mean = np.bincount(bins, speed, minlength=REPEAT_BINS) / count
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
    n = SHIFT_BINS
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


# The laps driven, as a lap of the model


@dataclass(frozen=True)
class Recording:
    """The comparable laps as one lap, and what the model makes of it; SI.

    Attributes
    ----------
    laps : Laps
    lap : Lap
        At the recorded speed.
    needed : NeededStagger
        Along the driven path.
    best : Recommendation
        For the quickest lap of the driven path that the surface allows: laps driven with something
        in hand ask for a little less, see `as_driven`.
    feel : Feel
        The model driven along the same lap with the stagger as taped, and a little either side.
    condition : Condition
        With the grip raised where the laps asked for more.
    slip : Slip or None
    wheel : Wheel or None
    notes : tuple of str
    """

    laps: Laps
    lap: Lap
    needed: NeededStagger
    best: Recommendation
    feel: Feel
    condition: Condition
    slip: "Slip | None" = None
    wheel: "Wheel | None" = None
    notes: tuple[str, ...] = ()

    @property
    def as_driven(self) -> float:
        """Stagger of least cost for the laps at the speed they were driven, m."""
        return float(recommend(self.lap, self.needed, self.best.window).unbounded)

    @property
    def exit(self) -> NDArray[np.bool_]:
        """Stations where the driver drives off a corner: by the throttle where it was recorded."""
        leaving: NDArray[np.bool_] = self.feel.lap.phase == PHASES.index("drive-off")
        throttle = self.laps.log.throttle
        if throttle is None:
            return leaving
        open_ = self.by_station(self.laps.binned(throttle))
        pressed = leaving & (open_ >= 0.5 * np.nanmax(open_))
        return pressed if pressed.any() else leaving

    def by_station(self, binned: FloatArray) -> FloatArray:
        """Bins brought back to the stations of the lap."""
        seen = np.flatnonzero(np.isfinite(binned))
        length = float(self.lap.groove.length)
        at = (seen + 0.5) / BINS * length
        values: FloatArray = np.interp(self.lap.groove.s, at, binned[seen], period=length)
        return values

    def by_bin(self, stations: FloatArray) -> FloatArray:
        """Stations averaged in bins, along the last axis."""
        bins = (self.lap.groove.s / float(self.lap.groove.length) * BINS).astype(np.intp)
        starts = np.searchsorted(np.clip(bins, 0, BINS - 1), np.arange(BINS))
        count = np.diff(np.append(starts, stations.shape[-1]))
        sums: FloatArray = np.add.reduceat(stations, starts, axis=-1)
        return sums / count


STEP = 0.25 * INCH
"""Change of stagger over which the model's steering is differenced."""


def read_run(
    log: RunLog,
    track: Track,
    car: Car,
    condition: Condition,
    groove: Groove,
    gear_ratio: float | None = None,
    window: tuple[float, float] | None = None,
) -> Recording:
    """Laps, line, need, slip and steering of a recorded run.

    Parameters
    ----------
    log : RunLog
    track, car, condition : Track, Car, Condition
        The car with the stagger that was taped.
    groove : Groove
        A groove of the track, to hold the laps against.
    gear_ratio : float, optional
        Turns of the engine for one of the axle; the car's own when left out.
    window : tuple of float, optional
        Stagger window, m.
    """
    laps = find_laps(log, track, groove, solve_lap(groove, car, condition))
    lap = driven_lap(laps.groove, car, condition, _speed(laps, car, condition))
    needed = needed_stagger(lap, car)
    condition, notes = _fitted_grip(lap, car, condition)
    stagger, quickest = float(car.rear.stagger), solve_lap(laps.groove, car, condition)
    feel = trim_lap(
        quickest, car, condition, np.array([stagger - STEP, stagger, stagger + STEP])
    )  # fmt: skip
    best = recommend(quickest, needed_stagger(quickest, car), window or car.stagger_window)
    run = Recording(laps, lap, needed, best, feel, condition, notes=(*laps.notes, *notes))
    ratio = gear_ratio or car.gear_ratio
    run, notes = replace(run, slip=read_slip(run, car, ratio)), list(run.notes)
    if laps.log.engine_speed is not None and ratio is None:
        notes.append("engine speed was recorded, but no gear ratio is known: --gear-ratio")
    if run.slip is not None and run.slip.gear_fault:
        notes.append(run.slip.gear_words)
    wheel, doubt = read_wheel(run, car)
    return replace(run, wheel=wheel, notes=(*notes, *([doubt] if doubt else [])))


def _speed(laps: Laps, car: Car, condition: Condition) -> FloatArray:
    """Speed at the stations: recorded, else from the clock, else of the model's lap."""
    groove, log = laps.groove, laps.log
    if log.speed is not None:
        return _around(groove, laps.s, laps.without_spikes(log.speed))
    if log.time is None:
        return solve_lap(groove, car, condition).speed
    middle, pace = _transits(laps, log.time)
    return _around(groove, middle, pace)


def _transits(laps: Laps, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and speed between rows a bin or more apart."""
    length = float(laps.groove.length)
    lag = max(1, len(time) // (BINS * laps.used))
    moved = (laps.s[lag:] - laps.s[:-lag] + 0.5 * length) % length - 0.5 * length
    passed = time[lag:] - time[:-lag]
    good = (passed > 0) & (passed < np.median(laps.times) / 4) & (moved > 0)
    middle = (laps.s[:-lag] + 0.5 * moved) % length
    return middle[good], moved[good] / passed[good]


def _around(groove: Groove, s: FloatArray, rows: FloatArray) -> FloatArray:
    """Rows smoothed around the lap by a short Fourier series, at the stations."""
    seen = np.isfinite(rows)
    s, rows = s[seen], rows[seen]
    if len(rows) < FEWEST_ROWS:
        raise RunLogError(f"{len(rows)} rows with a speed are too few")
    harmonics = min(MOST_HARMONICS, len(rows) // 6)

    def series(at: FloatArray) -> FloatArray:
        angle = 2 * np.pi * np.outer(at / float(groove.length), np.arange(1, harmonics + 1))
        return np.hstack([np.ones((len(at), 1)), np.cos(angle), np.sin(angle)])

    # A trace of roughness so that a stretch without rows does not swing.
    rough = np.concatenate([[0.0], *2 * [np.arange(1, harmonics + 1) ** 2]]) * ROUGHNESS
    A = np.vstack([series(s) / math.sqrt(len(s)), np.diag(rough)])
    b = np.concatenate([rows / math.sqrt(len(s)), np.zeros(len(rough))])
    around: FloatArray = series(groove.s) @ np.linalg.lstsq(A, b, rcond=None)[0]
    return np.maximum(around, LEAST_SPEED)


def _fitted_grip(lap: Lap, car: Car, condition: Condition) -> tuple[Condition, list[str]]:
    """The surface with the grip that the corners were driven with, at the usual pace."""
    fitted, low, high = condition, *(float(condition.grip) * share for share in GRIP_RANGE)
    for _ in range(GRIP_PASSES):
        feel = trim_lap(solve_lap(lap.groove, car, fitted), car, fitted, car.rear.stagger)
        corner = (feel.lap.phase == PHASES.index("centre")) & feel.fitted.held[0]
        if not corner.any():
            return condition, []
        weight = (lap.groove.curvature * lap.groove.ds)[corner]
        asked, given = (weight @ v[corner] ** 2 for v in (lap.speed, feel.speed[0]))
        fitted = replace(condition, grip=min(max(float(fitted.grip) * asked / given, low), high))
    off = float(fitted.grip) / float(condition.grip) - 1.0
    if abs(off) < GRIP_SAID:
        return fitted, []
    word = "more" if off > 0 else "less"
    return fitted, [
        f"the corners were driven with {word} grip than {condition.name} has: "
        f"{float(fitted.grip):.2f} taken, not {float(condition.grip):.2f}"
    ]


# Wheel slip from engine speed


def rolling_speed(engine_speed: Real, gear_ratio: Real, circumference: Real) -> Real:
    """Speed at which the rear treads roll: ``rpm / 60 / ratio x circumference`` [1]_.

    Parameters
    ----------
    engine_speed : float or ndarray
        rad/s.
    gear_ratio : float
        Turns of the engine for one of the axle.
    circumference : float or ndarray
        Mean rolling circumference of the loaded rear tires, m: some 2 % less than their taped
        rollout, see `sim.rolling.rolling_circumference`.
    """
    return engine_speed / (2 * np.pi) / gear_ratio * circumference


def tread_slip_along(feel: Feel, car: Car) -> FloatArray:
    """Slip along the car that the model's rear treads have, shape (staggers, stations).

    Parameters
    ----------
    feel : Feel
    car : Car
        Its mean rear rollout is that of every stagger.
    """
    rolls = feel.fitted.axle_speed * rolling_circumference(feel.lap, car)
    slip: FloatArray = 1.0 - float(car.rear.mean_rollout) / rolls
    return slip


@dataclass(frozen=True)
class Slip:
    """Slip of the rear treads: rolling speed less car speed, over rolling speed.

    Attributes
    ----------
    along : ndarray, shape (BINS,)
        As recorded, a wrong gear ratio taken out.
    model : ndarray, shape (BINS,)
    exit, straight : float
        Mean of `along` there.
    raw_straight : float
        As recorded.
    with_no_thrust : float
        What is left as recorded where the tires need not slip: a fault of the gear ratio.
    gear_ratio, likely_ratio : float
    spinning : float
        Share of the lap with wheelspin.
    """

    along: FloatArray
    model: FloatArray
    exit: float
    straight: float
    raw_straight: float
    with_no_thrust: float
    gear_ratio: float
    likely_ratio: float
    spinning: float

    @property
    def gear_fault(self) -> bool:
        return abs(self.with_no_thrust) > GEAR_FAULT

    @property
    def gear_words(self) -> str:
        return (
            f"slip is {100 * self.raw_straight:.0f} % on the straight and stays wrong all the way "
            f"round: the gear ratio reads like {self.likely_ratio:.2f}, not {self.gear_ratio:.2f}; "
            "check the gear and the rollouts"
        )


def read_slip(run: Recording, car: Car, gear_ratio: float | None) -> Slip | None:
    """Slip around the lap, or None without engine speed, speed and gear ratio.

    Notes
    -----
    The recorded slip is set against the model's by a robust line: a slope, for how soft the tires
    are, and what is left where the model's tires do not slip, which only a wrong ratio explains.
    """
    log = run.laps.log
    if log.engine_speed is None or gear_ratio is None:
        return None
    road = log.speed
    length = float(run.lap.groove.length)
    if road is None:
        road = np.interp(run.laps.s, run.lap.groove.s, run.lap.speed, period=length)
    loaded = rolling_circumference(run.lap, car)
    circumference = np.interp(run.laps.s, run.lap.groove.s, loaded, period=length)
    rolls = rolling_speed(log.engine_speed, gear_ratio, circumference)
    with np.errstate(divide="ignore", invalid="ignore"):
        recorded = run.laps.binned(np.where(rolls > LEAST_SPEED, 1.0 - road / rolls, np.nan))
    if np.isfinite(recorded).sum() < BINS // 4:
        return None
    model = run.by_bin(np.nan_to_num(tread_slip_along(run.feel, car)[1]))
    at_exit = run.by_bin(run.exit.astype(float)) > 0.5
    left, slope = _against_model(model, recorded, ~at_exit)
    true = 1.0 - (1.0 - recorded) / (1.0 - left) if abs(left) > GEAR_FAULT else recorded
    straight = run.by_bin((run.feel.lap.phase == PHASES.index("straight")).astype(float)) > 0.5
    return Slip(
        true, model,
        exit=_mean(true, at_exit),
        straight=_mean(true, straight),
        raw_straight=_mean(recorded, straight),
        with_no_thrust=left,
        gear_ratio=gear_ratio,
        likely_ratio=gear_ratio / (1.0 - left),
        spinning=_spinning(run, true, max(slope, 1.0) * model, max(slope, 1.0)),
    )  # fmt: skip


def _mean(values: FloatArray, where: NDArray[np.bool_]) -> float:
    there = values[where & np.isfinite(values)]
    return float(there.mean()) if len(there) else math.nan


def _against_model(
    model: FloatArray, recorded: FloatArray, elsewhere: NDArray[np.bool_]
) -> tuple[float, float]:
    """Recorded slip where the model's is nothing, and its slope; the drive-off left out."""
    from scipy.optimize import least_squares

    used = elsewhere & np.isfinite(recorded)
    x, y = model[used], recorded[used]
    fit = least_squares(
        lambda p: p[0] + p[1] * x - y, [0.0, 1.0], bounds=([-np.inf, 0.0], [np.inf, SOFTEST]),
        loss="soft_l1", f_scale=SLIP_SCATTER,
    )  # fmt: skip
    return float(fit.x[0]), float(fit.x[1])


def _spinning(run: Recording, slip: FloatArray, expected: FloatArray, softer: float) -> float:
    """Share of the lap under power where the tires are past their grip, and slip unexpectedly."""
    feel, condition = run.feel, run.condition
    reach = feel.car.wheelbase * (1.0 - feel.car.weights.rear_share)
    side = np.nan_to_num(feel.lap.groove.curvature * reach - np.sin(feel.fitted.sideslip[1]))
    total = np.hypot(slip, run.by_bin(side) * (1.0 - slip))
    past = softer * brush_slip(SPUN_USED, condition.grip, condition.slip_stiffness)
    powered = run.by_bin((feel.lap.thrust > 0).astype(float)) > 0.5
    spins = powered & (total > past) & (slip > expected + SPIN_EXCESS)
    return float(spins.sum()) / BINS


# Steering against the model


@dataclass(frozen=True)
class Wheel:
    """The steering wheel around the lap against the model's; rad, to the left positive.

    Attributes
    ----------
    recorded, model : ndarray, shape (BINS,)
    exit, exit_model : float
        Drive-off less the corner's own mean, averaged over the two ends; NaN without a drive-off.
    stagger : float
        Running stagger that fits the wheel and the tape best, m.
    error : float
        Its standard deviation, m.
    alone : float
        Running stagger by the wheel with the tape left out, m.
    alone_error : float
    zero : float
        Of the sensor, as fitted.
    scatter : float
        Root mean square of what the fit leaves.
    """

    recorded: FloatArray
    model: FloatArray
    exit: float
    exit_model: float
    stagger: float
    error: float
    alone: float
    alone_error: float
    zero: float
    scatter: float


def read_wheel(run: Recording, car: Car) -> tuple[Wheel | None, str]:
    """The stagger that the steering speaks of, and a doubt that rules it out.

    Notes
    -----
    Least squares with what was known before [2]_: the stagger about the taped one, and about
    nothing the zero of the sensor, an error of the steering ratio, and steering for each g across.
    """
    steering = run.laps.log.steering
    if steering is None:
        return None, ""
    recorded = run.laps.binned(steering)
    wheel = run.feel.steering_wheel
    model = _filled(run.by_bin(wheel[1]))
    seen = np.isfinite(recorded) & np.isfinite(model)
    doubt = _doubt(recorded[seen], model[seen])
    if doubt:
        return None, doubt
    apart = _slow(_filled(recorded) - model)
    rows = _slow(np.stack([
        run.by_bin((wheel[2] - wheel[0]) / (2 * STEP)), np.ones(BINS), model - model.mean(),
        run.by_bin(run.feel.lap.a_y / G),
        *(run.by_bin(change) for change in _softer_and_slicker(run)),
    ], axis=-1))  # fmt: skip
    before = np.array([TAPE_DOUBT, ZERO_DOUBT, GAIN_DOUBT, BALANCE_DOUBT, 1.0, 1.0])
    normal = rows.T @ rows / MODEL_DOUBT**2 + np.diag(before**-2.0)
    found = np.linalg.solve(normal, rows.T @ apart / MODEL_DOUBT**2)
    left = float(np.sqrt(np.mean((apart - rows @ found) ** 2)))
    # What the model misses by more than was granted makes every figure less sure.
    error = math.sqrt(np.linalg.inv(normal)[0, 0]) * max(1.0, left / MODEL_DOUBT)
    # The tape's share taken out again: what the wheel knows is what both know, less the tape.
    known = max(float(1.0 / np.linalg.inv(normal)[0, 0] - before[0] ** -2.0), 1e-9)
    taped, moved = float(car.rear.stagger), float(found[0])
    return Wheel(
        recorded, model, _exit_less_corner(run, recorded), _exit_less_corner(run, model),
        stagger=taped + moved,
        error=error,
        alone=taped + moved * (1.0 + before[0] ** -2.0 / known),
        alone_error=known**-0.5,
        zero=float(found[1]),
        scatter=left,
    ), ""  # fmt: skip


def _slow(bins: FloatArray) -> FloatArray:
    """The slow waves of bins around the lap, as so many independent numbers of the same size.

    A recorded path is smoothed, so where it starts to turn is blurred, and its steering with it;
    what the wheel does over a corner is not.
    """
    angle = 2 * np.pi / BINS * np.outer(np.arange(1, SLOW_WAVES + 1), np.arange(BINS) + 0.5)
    waves = np.vstack([np.full((1, BINS), math.sqrt(0.5)), np.cos(angle), np.sin(angle)])
    return waves @ bins * (math.sqrt(2.0) / BINS) * math.sqrt(len(waves))


def _filled(bins: FloatArray) -> FloatArray:
    """Bins with those not seen taken from their neighbours."""
    seen = np.flatnonzero(np.isfinite(bins))
    filled: FloatArray = np.interp(np.arange(BINS), seen, bins[seen], period=BINS)
    return filled


def _softer_and_slicker(run: Recording) -> list[FloatArray]:
    """Steering wheel for tires one standard deviation softer, and a surface as much slicker."""
    condition, stagger = run.condition, run.feel.staggers[1]
    others = (
        replace(condition, slip_stiffness=condition.slip_stiffness * (1.0 - STIFFNESS_DOUBT)),
        replace(condition, grip=condition.grip * (1.0 - GRIP_DOUBT)),
    )
    return [
        np.nan_to_num(
            trim_lap(run.feel.lap, run.feel.car, other, stagger).steering_wheel[0]
            - run.feel.steering_wheel[1]
        )
        for other in others
    ]


def _doubt(recorded: FloatArray, model: FloatArray) -> str:
    """Why a steering channel cannot be the steering wheel of this car; empty when it can."""
    if len(recorded) < BINS // 3:
        return "the steering channel covers too little of the lap; it was left out"
    moved = float(np.ptp(np.percentile(recorded, (5, 95)))) / DEGREE
    expected = float(np.ptp(np.percentile(model, (5, 95)))) / DEGREE
    if moved < LEAST_MOVED * expected or moved > expected / LEAST_MOVED:
        return (
            f"the steering channel moves {moved:.1f} deg around the lap where the steering wheel "
            f"should move about {expected:.0f}: a wrong unit, the angle of the front wheels, or "
            "another steering_ratio; it was left out"
        )
    if float(np.corrcoef(recorded, model)[0, 1]) < REVERSED:
        return (
            "the steering channel turns right where the car turns left: if the logger counts "
            "right turns positive, add --steering-positive right; it was left out"
        )
    return ""


def _exit_less_corner(run: Recording, values: FloatArray) -> float:
    """Mean of the drive-off less the mean of the corner, averaged over the two ends."""
    corner = run.feel.lap.phase != PHASES.index("straight")
    ends = []
    for end in (run.lap.groove.first_end, ~run.lap.groove.first_end):
        exit_bins = run.by_bin((run.exit & end).astype(float)) > 0.5
        corner_bins = run.by_bin((corner & end).astype(float)) > 0.5
        ends.append(_mean(values, exit_bins) - _mean(values, corner_bins))
    known = [end for end in ends if math.isfinite(end)]
    return float(np.mean(known)) if known else math.nan


# What it adds up to


@dataclass(frozen=True)
class Fault:
    """Running stagger less what the driven line needs, m, and its standard deviation."""

    amount: float
    error: float


def stagger_fault(run: Recording, car: Car) -> Fault:
    """How far the stagger was from the need of the driven line: by the tape, and the wheel."""
    stagger, error = float(car.rear.stagger), TAPE_DOUBT
    if run.wheel is not None:
        stagger, error = run.wheel.stagger, run.wheel.error
    need = NEED_DOUBT if run.laps.is_measured else UNSEEN_NEED_DOUBT
    return Fault(stagger - float(run.best.unbounded), math.hypot(error, need))


def read_log(run: Recording, car: Car, screen: Screen) -> Leaning:
    """Which way the recorded laps point.

    Parameters
    ----------
    run : Recording
    car : Car
        As driven.
    screen : Screen
        For the lengths in the reason.
    """
    if run.slip is not None and run.slip.spinning > SPIN_SHARE:
        return Leaning(
            "elsewhere", "high" if run.slip.spinning > 2 * SPIN_SHARE else "fair",
            f"the rear tires spin on the drive-off, {100 * run.slip.exit:.0f} % slip: that is "
            "missing drive, and a spinning axle hides what its stagger does; bite, tires and "
            "throttle first",
            missing_drive=True,
        )  # fmt: skip
    fault = stagger_fault(run, car)
    off, sure = abs(fault.amount), _confidence(run, fault)
    need, taped = screen.tape(run.best.unbounded), screen.tape(car.rear.stagger)
    spoken = f"the recorded line asks for about {need} and the tape says {taped}"
    spoken += _wheel_words(run, screen)
    if _tape_doubted(run):
        return Leaning(
            "ask", "low", f"{spoken}: the wheel and the tape do not fit together",
            "Tape both rear tires again, hot: is that the stagger that was driven?",
        )  # fmt: skip
    if off <= LEAVE_BAND:
        return Leaning("leave", sure, f"{spoken}: within what a lap varies")
    change, side = ("more", "little") if fault.amount < 0 else ("less", "much")
    return Leaning(change, sure, f"{spoken}: about {screen.tape(off)} too {side}")


def _tape_doubted(run: Recording) -> bool:
    """Whether the wheel speaks of a stagger that the tape makes unlikely."""
    if run.wheel is None:
        return False
    apart = abs(run.wheel.alone - float(run.feel.staggers[1]))
    return apart > TAPE_DOUBTED * math.hypot(run.wheel.alone_error, TAPE_DOUBT)


def _wheel_words(run: Recording, screen: Screen) -> str:
    if run.wheel is None:
        return ", with no steering to check it by"
    alone, error = run.wheel.alone, run.wheel.alone_error
    return (
        f"; the steering alone reads like {screen.tape(alone)}, give or take {screen.tape(error)}"
    )


def _confidence(run: Recording, fault: Fault) -> str:
    """How sure: by how clear the fault is of its error, and whether the wheel says the same."""
    off = abs(fault.amount)
    clear = off / fault.error if off > LEAVE_BAND else 2.0 * (1.0 - off / LEAVE_BAND)
    level = sum(clear > step for step in CLEAR)
    wheel = run.wheel
    if wheel is None or run.laps.used < 2:
        level = min(level, 1)
    else:
        level = min(level, _seconded(run, fault))
    return CONFIDENCES[level]


def _seconded(run: Recording, fault: Fault) -> int:
    """How sure the wheel lets a verdict be: 2 where it says the same, 0 where it clearly does not.

    To leave it, the same is a wheel within its own error of the need.
    """
    assert run.wheel is not None
    alone, error = run.wheel.alone - float(run.best.unbounded), run.wheel.alone_error
    if abs(fault.amount) <= LEAVE_BAND:
        return 2 if abs(alone) <= error else 0
    along = alone * math.copysign(1.0, fault.amount)
    if along < -error:
        return 0
    return 2 if along > 0.5 * abs(fault.amount) else 1


CLEAR = (0.8, 1.4)
"""Fault over its error from which the confidence is fair, and high. Engineering judgement."""


def felt_step(feel: Feel) -> float:
    """Least change of stagger whose effect a driver names: `LEAST_FELT` at the wheel, m.

    Parameters
    ----------
    feel : Feel
        Of two staggers or more; the first and the last are compared where the car is driven and
        turns, in the phase that shows it most.
    """
    apart = float(feel.staggers[-1] - feel.staggers[0])
    per_stagger = np.abs(feel.steering_wheel[-1] - feel.steering_wheel[0]) / apart
    rates = []
    for name in ("centre", "drive-off"):
        there = (feel.lap.phase == PHASES.index(name)) & np.isfinite(per_stagger)
        if there.any():
            rates.append(float(np.average(per_stagger[there], weights=feel.lap.groove.ds[there])))
    rate = max(rates, default=0.0)
    return LEAST_FELT / rate if rate > 0 else 0.0
