"""The shape of a track from a tape, a lap length, or a position log.

A tape laid as a chord inside a corner gives a radius by the exact circle. A lap length and a
straight give one by the length of the oval. A position log gives the whole oval: its drifting
noise is modelled, and the parallel of the inside edge that best explains the points is found by
generalised least squares.

References
----------
.. [1] National Imagery and Mapping Agency TR8350.2 (WGS 84), ch. 3 and 4.
.. [2] G. A. F. Seber and C. J. Wild, Nonlinear Regression, ch. 2 and 6 (autocorrelated errors).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.drift import Drift, find_drift
from sim.groove import ClosedPath, place, smooth_closed_path
from sim.track import (
    DEFAULT_BLEND,
    Tolerance,
    Track,
    TrackError,
    check_track,
    straight_turn,
)
from sim.units import FOOT, INCH, FloatArray

ComplexArray = NDArray[np.complex128]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

GAP_ERROR = 1 * INCH
"""How well the gap of a chord is read on a dirt edge. Engineering judgement."""
CHORD_ERROR = 1 * FOOT
"""How well a chord is laid: sag, stretch, and ends not quite on the edge. Engineering judgement."""
PACED_SHARE = 0.05
"""How well a straight is paced. Engineering judgement: one step in twenty."""
LAP_SHARE = 0.02
"""How well a lap length is known along the line it was measured on. Engineering judgement."""
USUAL_WIDTH = 50 * FOOT
"""Width taken for the room between lines when none was given. Engineering judgement."""
GAP_WANTED = 100 * INCH
"""A gap of which 1 in is one per cent."""
LONGEST_CHORD_SHARE = 1.0
"""Longest chord advised, in radii: it spans a third of a half circle, clear of the corner's ends.
Engineering judgement."""

STANDARD_ERRORS = 2.0
"""Standard errors in a stated tolerance. 1.64 would do for nine in ten if the noise were just as
modelled; phones are not told so."""
FEW_LAPS = 0.3
"""How much wider, as a share, the tolerance from a single lap is. Found on made logs."""
LINE_ERROR = 1 * FOOT
"""How far a person who walks or drives along an edge is from it all the way round, two standard
errors. Engineering judgement."""


MOST_BOW = 0.45
"""Largest bow tried while a straight is looked for, as a share of it: a bow of half a straight is a
half circle. Geometry."""
NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
BOX_PERCENTILES = 2, 98
"""Of the points, between which the box around a lap is taken; a few are far out. Engineering
judgement."""
BACK_STRAIGHT = 0.25, 0.75
"""Shares of the lap, from the middle of the front straight, of the half about the back one."""


class SurveyError(ValueError):
    """What was measured gives no track; the message says why and what to do."""


@dataclass(frozen=True)
class Survey:
    """A track as it was measured, SI.

    Attributes
    ----------
    method : str
        ``chords``, ``lap length`` or ``position log``.
    inside_radius : tuple of float
        Turns 1-2 and 3-4, to the inside edge, m.
    straight, bow, blend : float
        m; `blend` is the default when it was not measured.
    width : float or None
        As given; no method measures it.
    lap : float
        Length of the inside edge, m.
    tolerance : Tolerance
        The truth is inside it about nine times in ten.
    residual : float or None
        Root mean square distance of the points used from the fitted line, m.
    laps_used : int or None
    notes : tuple of str
        What a person should know, most important first.
    ends : tuple of ChordRadius
        What the chords of each end that was taped came to.
    lap_lines : tuple of LapLine
        The radius if the lap length belongs to another line.
    fit : LogFit or None
        The points and curves behind it, for a position log.
    """

    method: str
    inside_radius: tuple[float, float]
    straight: float
    bow: float
    blend: float
    width: float | None
    lap: float
    tolerance: Tolerance
    residual: float | None = None
    laps_used: int | None = None
    notes: tuple[str, ...] = ()
    ends: "tuple[ChordRadius, ...]" = ()
    lap_lines: "tuple[LapLine, ...]" = ()
    fit: "LogFit | None" = None

    lap_unknown_line: bool = False
    """Whether nobody said which line a lap length belongs to."""

    def track(self, name: str) -> Track:
        """The track as a checked `Track`.

        Raises
        ------
        SurveyError
            Without a width, or when the numbers make no oval.
        """
        if self.width is None:
            raise SurveyError('the width was not measured; give it, such as --width "45 ft"')
        track = Track(
            name,
            self.inside_radius,
            self.straight,
            self.width,
            bow=self.bow,
            blend=self.blend,
            tolerance=self.tolerance,
        )
        _check(track)
        return track


# Tape and pace


def chord_radius(chord: float, gap: float) -> float:
    """Radius of the circle over a chord with a gap at its middle: ``c^2 / (8 g) + g / 2``, m.

    Parameters
    ----------
    chord, gap : float
        m; the chord lies inside the corner, its ends on the edge.

    Raises
    ------
    SurveyError
        If the gap is not positive, or more than half the chord (more than a half circle).
    """
    if not 0 < gap <= 0.5 * chord:
        raise SurveyError(
            "the gap in the middle of a chord is more than nothing and at most half the chord; "
            "check which is which"
        )
    return chord**2 / (8.0 * gap) + 0.5 * gap


def chord_radius_errors(chord: float, gap: float) -> tuple[float, float]:
    """Change of the radius for an inch more of gap (a minus sign) and for a foot more of chord."""
    by_gap = 0.5 - chord**2 / (8.0 * gap**2)
    by_chord = chord / (4.0 * gap)
    return by_gap * GAP_ERROR, by_chord * CHORD_ERROR


def chord_advice(radius: float) -> float:
    """Chord to lay in a corner of about this radius, m: an inch of its gap is one per cent.

    Never longer than `LONGEST_CHORD_SHARE` radii, so that it stays in the part of the corner that
    is a circle.
    """
    gap = min(GAP_WANTED, radius)
    return float(min(2.0 * np.sqrt(gap * (2.0 * radius - gap)), LONGEST_CHORD_SHARE * radius))


@dataclass(frozen=True)
class ChordRadius:
    """Radius of one end from its chords, m.

    Attributes
    ----------
    radius, tolerance : float
    each : tuple of float
        Radius by each chord.
    by_gap, by_chord : float
        Mean change of the radius for `GAP_ERROR` more of gap and `CHORD_ERROR` more of chord.
    chord : float
        Longest chord laid.
    """

    radius: float
    tolerance: float
    each: tuple[float, ...]
    by_gap: float
    by_chord: float
    chord: float

    @property
    def spread(self) -> float:
        """Largest less smallest, m."""
        return max(self.each) - min(self.each)


@dataclass(frozen=True)
class LapLine:
    """Inside radius if the lap length was measured along a line, m; None when it cannot be."""

    name: str
    offset: float
    radius: float | None


def average_chords(chords: list[tuple[float, float]]) -> ChordRadius:
    """Radius of one end from (chord, gap) pairs, with its tolerance.

    The tolerance is what `GAP_ERROR` and `CHORD_ERROR` make of the mean, or what the spread of the
    chords says when that is more.
    """
    each = [chord_radius(c, g) for c, g in chords]
    errors = np.array([chord_radius_errors(c, g) for c, g in chords])
    count = len(each)
    tolerance = float(np.sqrt(np.sum(errors**2)) / count)
    if count > 1:
        by_spread = STANDARD_ERRORS * float(np.std(each, ddof=1)) / np.sqrt(count)
        tolerance = max(tolerance, float(by_spread))
    by_gap, by_chord = (float(value) for value in errors.mean(axis=0))
    longest = max(chord for chord, _ in chords)
    return ChordRadius(float(np.mean(each)), tolerance, tuple(each), by_gap, by_chord, longest)


def lap_radius(lap: float, straight: float, bow: float = 0.0, offset: float = 0.0) -> float:
    """Inside radius of an oval of equal ends from a lap length, m.

    Parameters
    ----------
    lap : float
        Length along a line `offset` outside the inside edge, m.
    straight, bow : float
        Along the inside edge, m.

    Raises
    ------
    SurveyError
        If the straights leave nothing for the corners.

    Notes
    -----
    A line at a constant distance d outside a closed convex one is longer by 2 pi d (Steiner).
    """
    turn = float(straight_turn(straight, bow))
    radius = (lap - 2.0 * np.pi * offset - 2.0 * straight) / (2.0 * (np.pi - turn))
    if radius <= 0:
        raise SurveyError("two straights of that length leave nothing of the lap for the corners")
    return float(radius)


def lap_straight(
    lap: float, radii: tuple[float, float], bow: float = 0.0, offset: float = 0.0
) -> float:
    """Straight along the inside edge from a lap length and the two inside radii, m.

    Raises
    ------
    SurveyError
        If the corners alone are longer than the lap.
    """
    from scipy.optimize import brentq

    inside = lap - 2.0 * np.pi * offset

    def excess(straight: float) -> float:
        track = Track("", radii, straight, min(radii), bow=min(bow, MOST_BOW * straight))
        return float(track.edge.length[0, 0]) - inside

    least = abs(radii[0] - radii[1]) + 1e-3
    if excess(least) > 0:
        raise SurveyError("corners of those radii alone are longer than that lap; check both")
    return float(brentq(excess, least, inside, xtol=1e-4))


def survey_by_chords(
    ends: tuple[list[tuple[float, float]], list[tuple[float, float]]],
    straight: float | None,
    width: float | None,
    bow: float = 0.0,
    lap: float | None = None,
    offset: float | None = None,
) -> Survey:
    """A track from chords in its ends, and a paced straight or a lap length.

    Parameters
    ----------
    ends : tuple of lists of (chord, gap)
        Turns 1-2 and turns 3-4, m; an empty list takes the other end's.
    straight, width, bow : float
        m.
    lap, offset : float, optional
        Length of a lap and how far outside the inside edge it was measured, m; used when there is
        no straight.
    """
    measured = tuple(average_chords(end) for end in ends if end)
    if not measured:
        raise SurveyError("no chord was given; give a chord and its gap")
    radii = measured[0].radius, measured[-1].radius
    error = max(end.tolerance for end in measured)
    if straight is not None:
        straight_error = PACED_SHARE * straight
    elif lap is not None:
        straight = lap_straight(lap, radii, bow, offset or 0.0)
        lap_error = 0.5 * (LAP_SHARE * lap + _line_doubt(offset, width))
        straight_error = float(np.hypot(lap_error, np.pi * error))
    else:
        raise SurveyError("chords give the corners; give --straight or --lap as well")
    tolerance = Tolerance(error, straight_error)
    taped = _taped("chords", radii, straight, width, bow, tolerance)
    return replace(taped, ends=measured, lap_unknown_line=lap is not None and offset is None)


def survey_by_lap(
    lap: float,
    straight: float,
    width: float | None,
    bow: float = 0.0,
    offset: float | None = None,
) -> Survey:
    """A track of equal ends from a lap length and a paced straight.

    Parameters
    ----------
    lap, straight, width, bow : float
        m.
    offset : float or None
        How far outside the inside edge the lap length was measured, m; None when nobody knows,
        and then the inside edge is taken and the tolerance has room for the other lines.
    """
    radius = lap_radius(lap, straight, bow, offset or 0.0)
    around = 2.0 * (np.pi - float(straight_turn(straight, bow)))
    straight_error = PACED_SHARE * straight
    errors = 2.0 * straight_error, LAP_SHARE * lap, _line_doubt(offset, width)
    tolerance = Tolerance(float(np.hypot.reduce(errors)) / around, straight_error)
    taped = _taped("lap length", (radius, radius), straight, width, bow, tolerance)
    lines = _lap_lines(lap, straight, width, bow)
    return replace(taped, lap_lines=lines, lap_unknown_line=offset is None)


def _line_doubt(offset: float | None, width: float | None) -> float:
    """How much a lap length may be off when nobody knows which line it belongs to, m.

    The inside edge is taken, and a lap of the outside edge is 2 pi widths longer (Steiner).
    """
    return 0.0 if offset is not None else 2.0 * np.pi * (width or USUAL_WIDTH)


def _lap_lines(lap: float, straight: float, width: float | None, bow: float) -> tuple[LapLine, ...]:
    lines = []
    for name, share in (("inside edge", 0.0), ("middle", 0.5), ("outside edge", 1.0)):
        offset = share * (width or USUAL_WIDTH)
        try:
            radius = lap_radius(lap, straight, bow, offset)
        except SurveyError:
            lines.append(LapLine(name, offset, None))
        else:
            lines.append(LapLine(name, offset, radius))
    return tuple(lines)


def _taped(
    method: str,
    radii: tuple[float, float],
    straight: float,
    width: float | None,
    bow: float,
    tolerance: Tolerance,
) -> Survey:
    plain = Track("", radii, straight, width or 0.0, bow=bow)
    _check(plain)
    lap = float(plain.edge.length[0, 0])
    return Survey(method, radii, straight, bow, DEFAULT_BLEND, width, lap, tolerance)


def _check(track: Track) -> None:
    try:
        check_track(track)
    except TrackError as error:
        raise SurveyError(f"what was measured makes no track: {error.key}: {error}") from None


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
    some = _spread_over(list(range(laps)), 2 * MOST_LAPS)
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
    hole = _hole(turned % 1.0)
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


# The oval fitted to a log

OVAL = ("radius 1-2", "radius 3-4", "straight", "straights' turn", "blend", "heading", "x", "y")
"""Unknowns of the fit, in order. The turn of the straights is counted as a share of the most they
may turn; of the blend it is the logarithm."""
SHAPES = 5
"""The first so many unknowns are of shape, the others of place."""
NUDGES = np.array([0.2, 0.2, 0.2, 0.01, 0.05])
"""Steps for the derivatives by the unknowns of shape."""
SCALES = np.array([10.0, 10.0, 10.0, 0.1, 0.5, 0.1, 3.0, 3.0])
LEAST = np.array([5.0, 5.0, 0.1, 0.0, np.log(1.0), -np.inf, -np.inf, -np.inf])
MOST = np.array([600.0, 600.0, 900.0, 0.95, np.log(100.0), np.inf, np.inf, np.inf])
BLEND_PRIOR = (np.log(DEFAULT_BLEND), 0.5)
"""Logarithm of the blend before it is measured, and its standard error: two in three tracks within
36 and 99 ft. Engineering judgement; a log says little of it."""
LEAST_KNOWN = 1 / np.array([100.0, 100.0, 100.0, 0.5, 0.5, 1.0, 100.0, 100.0]) ** 2
"""Information added so that no unknown is without a bound (a circle has no heading)."""
OUTLINE = 128
"""Points of the outline a log is compared with."""
ROBUST_SCALE = 3.0
"""Distance at which the first fit starts to trust a point less, m: the noise of a phone."""
MOST_BLOCKS = 240
"""Rows of the generalised least-squares problem; more points are averaged in runs."""


GENERAL_STEPS = 3
"""Times the drift is found and the oval fitted with it."""
SUDDEN = 5.0
"""A step this many robust standard deviations of the drift's is no drift."""


@dataclass(frozen=True)
class Outline:
    """A line parallel to the inside edges of several ovals, each about its own middle.

    All of shape (cases, points); `normal` is the angle of the outward normal.
    """

    x: FloatArray
    y: FloatArray
    normal: FloatArray
    curvature: FloatArray


@dataclass(frozen=True)
class Residuals:
    """Distances of points outward of the line, and how they change.

    Attributes
    ----------
    r : ndarray, shape (n,)
        m.
    J : ndarray, shape (n, 8)
        Derivatives by the unknowns `OVAL`.
    normal : ndarray, shape (n,)
        Angle of the outward normal in the plane of the log, rad.
    share : ndarray, shape (n,)
        Share of the lap at the nearest place of the line.
    """

    r: FloatArray
    J: FloatArray
    normal: FloatArray
    share: FloatArray


def _shape(p: FloatArray) -> tuple[float, float, float, float, float]:
    """Both radii, straight, bow and blend, m, from the unknowns."""
    radius_1, radius_2, straight, share, log_blend = (float(v) for v in p[:SHAPES])
    turn = share * min(straight / max(radius_1, radius_2), 2.0)
    bow = straight * 2.0 * np.sin(turn / 4) ** 2 / turn if turn > 1e-9 else 0.0
    return radius_1, radius_2, straight, bow, float(np.exp(log_blend))


def _oval(p: FloatArray) -> Track:
    radius_1, radius_2, straight, bow, blend = _shape(p)
    return Track("", (radius_1, radius_2), straight, 0.0, bow=bow, blend=blend)


def _outline(cases: FloatArray, offset: float) -> Outline:
    """The lines of several sets of unknowns, shape (cases, 8), at an offset."""
    radius_1, radius_2, straight, bow, blend = np.array([_shape(p) for p in cases]).T
    edge = Track("", (radius_1, radius_2), straight, 0.0, bow=bow, blend=blend).edge
    s = edge.length * np.arange(OUTLINE) / OUTLINE
    theta = edge.heading(s)
    x, y = edge.position(s)
    x, y = x + offset * np.sin(theta), y - offset * np.cos(theta)
    k = edge.curvature(s)
    middle_x, middle_y = x.mean(axis=1, keepdims=True), y.mean(axis=1, keepdims=True)
    return Outline(x - middle_x, y - middle_y, theta - 0.5 * np.pi, k / (1.0 + offset * k))


def _residuals(p: FloatArray, x: FloatArray, y: FloatArray, offset: float) -> Residuals:
    """Exact distances from the circle of curvature at the nearest point of the outline."""
    from scipy.spatial import cKDTree

    nudged = p + np.vstack([np.zeros(len(p)), np.diag(NUDGES) @ np.eye(SHAPES, len(p))])
    line = _outline(nudged, offset)
    c, s = np.cos(p[5]), np.sin(p[5])
    u, v = c * (x - p[6]) + s * (y - p[7]), c * (y - p[7]) - s * (x - p[6])
    i = cKDTree(np.column_stack([line.x[0], line.y[0]])).query(np.column_stack([u, v]))[1]
    n_x, n_y, k = np.cos(line.normal[0, i]), np.sin(line.normal[0, i]), line.curvature[0, i]
    du, dv = u - line.x[0, i], v - line.y[0, i]
    out, ahead = du * n_x + dv * n_y, dv * n_x - du * n_y
    root = np.hypot(1.0 + k * out, k * ahead)
    r = (2.0 * out + k * (out**2 + ahead**2)) / (1.0 + root)
    turned = np.arctan2(k * ahead, 1.0 + k * out)
    normal = line.normal[0, i] + turned
    n_x, n_y = np.cos(normal), np.sin(normal)
    moved_x, moved_y = (line.x[1:] - line.x[0])[:, i], (line.y[1:] - line.y[0])[:, i]
    by_shape = -(moved_x * n_x + moved_y * n_y).T / NUDGES
    by_place = np.column_stack([v * n_x - u * n_y, s * n_y - c * n_x, -s * n_x - c * n_y])
    return Residuals(r, np.hstack([by_shape, by_place]), (normal + p[5]) % (2 * np.pi), i / OUTLINE)


class OvalFit:
    """Least squares of the oval's unknowns on the points of a tidy log."""

    def __init__(self, log: TidyLog, offset: float) -> None:
        self.log, self.offset = log, offset
        n = len(log.x)
        self.starts = np.unique(np.arange(min(n, MOST_BLOCKS)) * n // min(n, MOST_BLOCKS))
        self.count = np.diff(np.append(self.starts, n))
        self.live: BoolArray = np.ones(len(self.starts), dtype=bool)
        """Runs of points that are still believed."""
        self._last: tuple[bytes, Residuals] | None = None

    @property
    def time(self) -> FloatArray:
        return self._mean(self.log.time)[self.live]

    def _mean(self, rows: FloatArray) -> FloatArray:
        return (np.add.reduceat(rows, self.starts, axis=0).T / self.count).T

    def blocks(self, p: FloatArray) -> Residuals:
        """Residuals averaged in runs, at most `MOST_BLOCKS` of them."""
        if self._last is None or self._last[0] != p.tobytes():
            self._last = p.tobytes(), self._blocks(p)
        at, live = self._last[1], self.live
        return Residuals(at.r[live], at.J[live], at.normal[live], at.share[live])

    def _blocks(self, p: FloatArray) -> Residuals:
        at = _residuals(p, self.log.x, self.log.y, self.offset)
        normal, lap = np.exp(1j * at.normal), np.exp(2j * np.pi * at.share)
        return Residuals(
            self._mean(at.r),
            self._mean(at.J),
            np.angle(self._mean(normal)),
            np.angle(self._mean(lap)) / (2 * np.pi) % 1.0,
        )

    def robust(self, p: FloatArray) -> FloatArray:
        """A fit that bad stretches do not pull, errors taken as independent.

        The first loss has one valley, the second cares nothing for what is far off.
        """
        for loss in ("soft_l1", "cauchy"):
            p = self._solve(p, lambda rows: rows / ROBUST_SCALE, loss)
        return p

    def general(self, p: FloatArray) -> tuple[FloatArray, Drift]:
        """Generalised least squares, the drift found from the residuals each time [2]_.

        Runs of points that move off faster than the drift ever does are left out.
        """
        for _ in range(GENERAL_STEPS):
            drift = self.drift(p)
            p = self._solve(p, drift.whiten, "linear")
            surprise = np.abs(drift.whiten(self.blocks(p).r))
            sudden = surprise > SUDDEN * NORMAL_SPREAD * np.median(surprise)
            if np.any(sudden):
                self.live[np.flatnonzero(self.live)[sudden]] = False
        return p, self.drift(p)

    def drift(self, p: FloatArray) -> Drift:
        at = self.blocks(p)
        return find_drift(self.time, at.normal, at.r, at.J, LEAST_KNOWN, self.run)

    @property
    def run(self) -> float:
        """Recorded points averaged into each row."""
        return self.log.run * float(np.mean(self.count))

    def _solve(
        self, p: FloatArray, whiten: Callable[[FloatArray], FloatArray], loss: str
    ) -> FloatArray:
        from scipy.optimize import least_squares

        expected, error = BLEND_PRIOR
        blend = np.eye(len(OVAL))[4] / error
        found = least_squares(
            lambda q: np.append(whiten(self.blocks(q).r), (q[4] - expected) / error),
            np.clip(p, LEAST + 1e-6, MOST - 1e-6),
            lambda q: np.vstack([whiten(self.blocks(q).J), blend]),
            bounds=(LEAST, MOST),
            x_scale=SCALES,
            loss=loss,
            xtol=1e-5,
            ftol=1e-5,
            max_nfev=60,
        )
        return np.asarray(found.x)


def first_guess(log: TidyLog, offset: float) -> FloatArray:
    """Unknowns to start from: a paper clip as long and as wide as the log.

    The front straight is the one nearest the start of the log.
    """
    bins = (log.turned % 1.0 * GUESS_BINS).astype(int) % GUESS_BINS
    z = log.x + 1j * log.y - log.centre
    filled = np.unique(bins)
    radius = np.array([np.median(np.abs(z[bins == b])) for b in filled])
    angle = 2 * np.pi * (np.arange(GUESS_BINS) + 0.5) / GUESS_BINS + np.angle(z[0])
    ring = np.interp(np.arange(GUESS_BINS), filled, radius, period=GUESS_BINS)
    ring = ring * np.exp(1j * angle)
    # Second moments of the area inside: fanned out in triangles from the centre.
    slices = 0.5 * (ring.conj() * np.roll(ring, -1)).imag
    middle = np.sum(slices * (ring + np.roll(ring, -1)) / 3) / np.sum(slices)
    ring = ring - middle
    spread = np.sum(slices * (ring + np.roll(ring, -1)) ** 2)
    axis = np.exp(0.5j * np.angle(spread))
    if ((z[0] - middle) / axis).imag > 0:
        axis = -axis
    along = ring / axis
    across = float(np.ptp(along.imag))
    radius_guess = max(0.5 * across - offset, 0.1 * across)
    place = log.centre + middle
    return np.array([
        radius_guess, radius_guess, max(float(np.ptp(along.real)) - across, 1.0), 0.05,
        BLEND_PRIOR[0], float(np.angle(axis)), place.real, place.imag,
    ])  # fmt: skip


GUESS_BINS = 72
"""Directions from the middle in which the first guess looks."""
OFF_LINE = 10.0
"""Points further than this from where the other laps went, m, and much further than usual, are
dropped: a jump, or pit road. Engineering judgement."""
OFF_LINE_SPREADS = 5.0
"""Much further: this many robust standard deviations."""
LEAVING_SHARE = 0.3
"""Where a stretch starts to leave, as a share of what is far."""
LINE_BINS = 36
"""Parts of a lap in which laps are compared."""
LAP_HOLE = 0.2
"""Largest hole, as a share of a lap, that is let pass."""


def points_on_line(log: TidyLog, at: Residuals) -> BoolArray:
    """True where a point lies by the other laps, or by the fitted oval where those are too few."""
    part = np.minimum((at.share * LINE_BINS).astype(int), LINE_BINS - 1)
    usual = np.zeros(LINE_BINS)
    for b in range(LINE_BINS):
        laps = np.unique(np.floor(log.turned[part == b]))
        if len(laps) >= 3:
            usual[b] = np.median(at.r[part == b])
    off: FloatArray = np.abs(at.r - usual[part])
    spread = NORMAL_SPREAD * float(np.median(off))
    # A stretch that goes far off is dropped from where it starts to leave.
    leaving = off > max(LEAVING_SHARE * OFF_LINE, LEAVING_SHARE * OFF_LINE_SPREADS * spread)
    stretch = np.cumsum(np.diff(leaving, prepend=False))
    far = np.unique(stretch[off > max(OFF_LINE, OFF_LINE_SPREADS * spread)])
    return ~(leaving & np.isin(stretch, far))


def whole_laps(log: TidyLog, on_line: BoolArray, share: FloatArray) -> tuple[BoolArray, int]:
    """Which points to use, on whole laps only, and how many laps those are.

    Laps may be counted from the first point, the last, or between: where most points stay.

    Raises
    ------
    SurveyError
        If no lap has enough of its points on the line.
    """
    spare = max(float(np.max(log.turned)) - log.laps, 0.0)
    spare = spare if log.laps <= 2 * MOST_LAPS else 0.0
    best, laps = on_line & False, 0
    for start in (0.0, 0.5 * spare, spare):
        lap = np.floor(log.turned - start).astype(int)
        if spare == 0:
            lap = np.clip(lap, 0, log.laps - 1)
        inside = (lap >= 0) & (lap < log.laps) & on_line
        good = [n for n in range(log.laps) if _hole(share[inside & (lap == n)]) <= LAP_HOLE]
        if not good and _hole(share[inside]) <= LAP_HOLE:
            good = list(range(log.laps))
        good = _spread_over(good, MOST_LAPS)
        kept = inside & np.isin(lap, good)
        if np.sum(kept) > np.sum(best):
            best, laps = kept, len(good)
    if not laps:
        raise SurveyError("no lap of the log holds together; record whole laps along one line")
    return best, laps


def _hole(share: FloatArray) -> float:
    """The largest hole that these points leave in a lap, as a share of it."""
    if not len(share):
        return 1.0
    around = np.sort(share)
    return float(np.max(np.diff(around, append=around[0] + 1.0)))


def _spread_over(items: list[int], most: int) -> list[int]:
    if len(items) <= most:
        return items
    return [items[i * len(items) // most] for i in range(most)]


# What a log says, put together

SHAPE_HARMONICS = 6
"""Bulges and dents around the lap that are tried on a log beside the oval."""
SHAPE_DOUBT = 1e-5
"""Chance of a true oval being called none, were the drift just as modelled. Made logs of ovals
came no nearer than 1e-3, and of straights with a 30 ft kink no further than 1e-7."""
SHAPE_SIZE = 2.0
"""A largest bulge or dent below this, m, is let pass. Engineering judgement."""
BULGE_KNOWN = 1 / 2.0**2
"""Information on each harmonic of an unknown bulge: it is of some 2 m. Engineering judgement."""
BULGE_SEEN = 1e-2
"""Bulges that a log sees less well than this, against the best seen, may be oval as well."""
CURVE_STATIONS = 720
"""Stations of the curves drawn."""


@dataclass(frozen=True)
class Curve:
    """A closed curve in the plane of the log: distance, place and curvature, shape (n,), SI."""

    s: FloatArray
    x: FloatArray
    y: FloatArray
    curvature: FloatArray


@dataclass(frozen=True)
class LogFit:
    """The points and curves behind a survey by position log, all in the plane of the log.

    Attributes
    ----------
    points, dropped : tuple of ndarray
        x and y of the points used and of those left out, m.
    line : Curve
        The fitted line that was walked or driven, from the middle of the front straight.
    inside : Curve
    outside : Curve or None
        The edges; no outside edge when no width is known.
    heading : float
        Of the front straight, rad anticlockwise from east.
    centre : tuple of float
        Middle of the oval: latitude and longitude in deg, or x and y in m without `origin`.
    origin : tuple of float or None
        Of the log, deg.
    drift : tuple of float
        Standard deviation in m and time in s of the receiver's drift as found.
    is_oval : bool
    bulge : float
        Largest bulge or dent that neither the oval nor the drift explains, m.
    """

    points: tuple[FloatArray, FloatArray]
    dropped: tuple[FloatArray, FloatArray]
    line: Curve
    inside: Curve
    outside: Curve | None
    heading: float
    centre: tuple[float, float]
    origin: tuple[float, float] | None
    drift: tuple[float, float]
    is_oval: bool
    bulge: float

    @cached_property
    def path(self) -> Curve:
        """The measured path, smoothed, from where the fitted line starts.

        Raises
        ------
        PathError
            If it crosses itself.
        """
        path = smooth_closed_path(*self.points)
        s = path.length * np.linspace(0.0, 1.0, CURVE_STATIONS + 1)
        start = s[np.argmin(np.abs(path.at(s) - complex(self.line.x[0], self.line.y[0])))]
        z = path.at(s + start)
        return Curve(s, z.real, z.imag, path.curvature(s + start))


NOTABLE_SHARE = 0.02
"""A share of points left out that is worth a word."""


@dataclass(frozen=True)
class UsedLaps:
    """Which points of a tidy log to use, how many laps they are, and a robust first fit."""

    kept: BoolArray
    laps: int
    p: FloatArray
    notes: tuple[str, ...]


def survey_by_log(
    log: PositionLog,
    width: float | None = None,
    offset: float = 0.0,
    offset_error: float = LINE_ERROR,
) -> Survey:
    """A track from a position log along a line parallel to its edges.

    Parameters
    ----------
    log : PositionLog
    width : float or None
        Inside edge to outside edge, m.
    offset : float
        How far outside the inside edge the line lies, m: 0, the width, or between.
    offset_error : float
        How well that is known all the way round, m.

    Raises
    ------
    SurveyError
        If the log holds no whole lap, or no line that goes round.
    """
    tidy = tidy_log(log)
    used = _used_laps(tidy, offset)
    fit = OvalFit(tidy.at(used.kept), offset)
    p = used.p if np.all(used.kept) else fit.robust(used.p)
    p, drift = _from_start(fit, *fit.general(p))
    radius_1, radius_2, straight, bow, blend = _shape(p)
    return Survey(
        "position log",
        (radius_1, radius_2),
        straight,
        bow,
        blend,
        width,
        float(_oval(p).edge.length[0, 0]),
        _tolerance(drift, used.laps, offset_error),
        residual=float(np.sqrt(np.mean(_residuals(p, fit.log.x, fit.log.y, offset).r ** 2))),
        laps_used=used.laps,
        notes=used.notes,
        fit=_log_fit(log, tidy, used.kept, fit, p, drift, width),
    )


def _used_laps(tidy: TidyLog, offset: float) -> UsedLaps:
    """Which points to use, with a robust first fit."""
    p = OvalFit(tidy, offset).robust(first_guess(tidy, offset))
    at = _residuals(p, tidy.x, tidy.y, offset)
    on_line = points_on_line(tidy, at)
    kept, laps = whole_laps(tidy, on_line, at.share)
    notes = []
    if laps < tidy.laps:
        notes.append(f"{laps} of {tidy.laps} laps used")
    if laps == 1:
        notes.append("one lap only: walk or drive three for a better average")
    off = float(np.mean(~on_line))
    if off > NOTABLE_SHARE:
        notes.append(f"{off:.0%} of the points were off the line and were left out")
    return UsedLaps(kept, laps, p, (*notes, *tidy.notes))


def lap_path(log: PositionLog) -> ClosedPath:
    """A position log made a smooth path: its whole laps laid over each other.

    Raises
    ------
    SurveyError, PathError
        If the log holds no whole lap, or its path crosses itself.
    """
    tidy = tidy_log(log)
    kept = _used_laps(tidy, 0.0).kept
    return smooth_closed_path(tidy.x[kept], tidy.y[kept])


def _tolerance(drift: Drift, laps: int, offset_error: float) -> Tolerance:
    """Standard errors made into a tolerance, wider where few laps had to tell the drift too."""
    few = 1.0 + FEW_LAPS / laps
    errors = STANDARD_ERRORS * few * np.sqrt(np.diag(drift.covariance))
    return Tolerance(
        float(np.hypot(np.max(errors[:2]), offset_error)),
        float(np.hypot(errors[2], LINE_ERROR)),
    )


def _from_start(fit: OvalFit, p: FloatArray, drift: Drift) -> tuple[FloatArray, Drift]:
    """The same oval with the front straight where the log starts."""
    if not BACK_STRAIGHT[0] < fit.blocks(p).share[0] < BACK_STRAIGHT[1]:
        return p, drift
    order = [1, 0, 2, 3, 4, 5, 6, 7]
    turned = p[order]
    turned[5] += np.pi
    return turned, replace(drift, covariance=drift.covariance[np.ix_(order, order)])


def oval_test(fit: OvalFit, p: FloatArray) -> tuple[bool, float]:
    """Whether the oval explains the log, and how large a bulge it does not explain, m.

    Harmonics of the lap are put beside the unknowns of the oval. The drift is found with both in
    place, so that a bulge that comes back every lap is not taken for drift, and the harmonics'
    worth is then chi-squared when the track is an oval.
    """
    from scipy.special import gammainccinv

    at, unknowns = fit.blocks(p), len(OVAL)
    angle = 2 * np.pi * at.share[:, None] * np.arange(1, SHAPE_HARMONICS + 1)
    bulges = np.hstack([np.cos(angle), np.sin(angle)])
    known = np.append(LEAST_KNOWN, np.full(bulges.shape[1], BULGE_KNOWN))
    drift = find_drift(fit.time, at.normal, at.r, np.hstack([at.J, bulges]), known, fit.run)
    rows = drift.whiten(np.column_stack([at.J, bulges, at.r]))
    Q, _ = np.linalg.qr(rows[:, :unknowns])
    beside = rows[:, unknowns:] - Q @ (Q.T @ rows[:, unknowns:])
    U, size, _ = np.linalg.svd(beside[:, :-1], full_matrices=False)
    seen = size > BULGE_SEEN * size[0]
    worth = U[:, seen].T @ beside[:, -1]
    # Upper point of chi-squared; scipy.stats has it too, but takes long to import.
    most = 2.0 * gammainccinv(0.5 * float(np.sum(seen)), SHAPE_DOUBT)
    doubted = float(worth @ worth) > most
    shrunk = np.linalg.solve(
        beside[:, :-1].T @ beside[:, :-1] + BULGE_KNOWN * np.eye(bulges.shape[1]),
        beside[:, :-1].T @ beside[:, -1],
    )
    bulge = float(np.max(np.abs(bulges @ shrunk)))
    return not (doubted and bulge > SHAPE_SIZE), bulge


def _log_fit(
    log: PositionLog,
    tidy: TidyLog,
    kept: BoolArray,
    fit: OvalFit,
    p: FloatArray,
    drift: Drift,
    width: float | None,
) -> LogFit:
    is_oval, bulge = oval_test(fit, p)
    line, inside = _curve(p, fit.offset, fit.offset), _curve(p, fit.offset, 0.0)
    return LogFit(
        points=(fit.log.x, fit.log.y),
        dropped=(tidy.x[~kept], tidy.y[~kept]),
        line=line,
        inside=inside,
        outside=None if width is None else _curve(p, fit.offset, width),
        heading=float(p[5]),
        centre=_centre(inside, log.origin),
        origin=log.origin,
        drift=(drift.sd, drift.time),
        is_oval=is_oval,
        bulge=bulge,
    )


def _curve(p: FloatArray, fitted_offset: float, offset: float) -> Curve:
    """A parallel of the inside edge of the fitted oval, in the plane of the log."""
    edge = _oval(p).edge
    u = edge.length * np.linspace(0.0, 1.0, CURVE_STATIONS + 1)
    x, y = place(edge, u, offset)
    middle_x, middle_y = place(edge, u[:, :-1], fitted_offset)
    z = (x + 1j * y)[0] - (middle_x.mean() + 1j * middle_y.mean())
    z = z * np.exp(1j * p[5]) + p[6] + 1j * p[7]
    k = np.broadcast_to(edge.curvature(u), u.shape)[0]
    return Curve(u[0] + offset * edge.heading(u)[0], z.real, z.imag, k / (1.0 + offset * k))


def _centre(edge: Curve, origin: tuple[float, float] | None) -> tuple[float, float]:
    """Middle of the oval: x and y in m, or latitude and longitude in deg."""
    x, y = float(np.mean(edge.x[:-1])), float(np.mean(edge.y[:-1]))
    if origin is None:
        return x, y
    latitude, longitude = origin
    for _ in range(3):
        at = local_plane(np.array(latitude), np.array(longitude), origin)
        latitude += float(np.degrees((y - at[1]) / WGS84_AXIS))
        longitude += float(np.degrees((x - at[0]) / WGS84_AXIS / np.cos(np.radians(latitude))))
    return latitude, longitude
