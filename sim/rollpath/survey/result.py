"""What a survey gives: a track as it was measured, how sure, and what is behind it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rollpath.groove.measured import smooth_closed_path
from rollpath.results import Result
from rollpath.survey.log import Note, SurveyError
from rollpath.track import Tolerance, Track, TrackError, check_track
from rollpath.units import FOOT, FloatArray

SHAPE_SIZE = 6 * FOOT
"""A departure below this is let pass as an oval, m. Engineering judgement."""
CURVE_STATIONS = 720
"""Stations of the curves drawn."""


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


@dataclass(frozen=True)
class Departure:
    """Where a track departs most from every oval: m outward, how well that is known (two standard
    errors), and the share of the lap from the middle of the front straight."""

    size: float
    error: float
    share: float

    @property
    def is_oval(self) -> bool:
        """Whether the departure, less its error, is below `SHAPE_SIZE`."""
        return abs(self.size) - self.error <= SHAPE_SIZE


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
    departure : Departure
        The largest one from any oval.
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
    departure: Departure

    @property
    def is_oval(self) -> bool:
        return self.departure.is_oval

    @cached_property
    def path(self) -> Curve:
        """The measured path, smoothed, from where the fitted line starts.

        Raises
        ------
        PathError
            If it crosses itself.
        """
        return self.path_moved(0.0)

    def path_moved(self, out: float) -> Curve:
        """The measured path moved outward, m: the middle of the track from a walk along an edge."""
        path = smooth_closed_path(*self.points)
        s = path.length * np.linspace(0.0, 1.0, CURVE_STATIONS + 1)
        start = s[np.argmin(np.abs(path.at(s) - complex(self.line.x[0], self.line.y[0])))]
        first = path.at(s + start, 1)
        z, k = path.at(s + start) - 1j * out * first / np.abs(first), path.curvature(s + start)
        along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
        return Curve(along, z.real, z.imag, k / (1.0 + out * k))


@dataclass(frozen=True, eq=False)
class Survey(Result, told_by="survey"):
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
    notes : tuple of Note
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
    notes: tuple[Note, ...] = ()
    ends: tuple[ChordRadius, ...] = ()
    lap_lines: tuple[LapLine, ...] = ()
    fit: LogFit | None = None

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
            raise SurveyError("no width")
        track = Track(
            name,
            self.inside_radius,
            self.straight,
            self.width,
            bow=self.bow,
            blend=self.blend,
            tolerance=self.tolerance,
        )
        check_measured(track)
        return track


def check_measured(track: Track) -> None:
    """Hold a measured track to the ranges of one.

    Raises
    ------
    SurveyError
        With the number that is out of range.
    """
    try:
        check_track(track)
    except TrackError as error:
        raise SurveyError("no track", detail=f"{error.key}: {error}") from None
