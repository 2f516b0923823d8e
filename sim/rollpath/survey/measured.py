"""What a position log says of a track: the oval, how sure, and whether it is an oval at all."""

from dataclasses import replace

import numpy as np

from rollpath.groove.measured import ClosedPath, smooth_closed_path
from rollpath.survey.fit import LEAST, MOST, Found, fit_oval, waves
from rollpath.survey.log import (
    MOST_LAPS,
    WGS84_AXIS,
    Note,
    PositionLog,
    SurveyError,
    TidyLog,
    local_plane,
    tidy_log,
)
from rollpath.survey.oval import (
    blended_edge,
    derivatives,
    distances,
    track_of,
)
from rollpath.survey.result import CURVE_STATIONS, Curve, Departure, LogFit, Survey
from rollpath.track import Tolerance, Track, TrackError, check_track
from rollpath.units import FOOT, FloatArray

STANDARD_ERRORS = 2.2
"""Standard errors in a stated tolerance. 1.64 would do for nine in ten if the noise were just as
modelled; phones are not told so."""
DEPARTURES = 120
"""Stations of the lap at which the shape is judged."""


def departure(found: Found) -> Departure:
    """The largest departure from the oval of least squares, given its error."""
    p = found.p
    length = float(track_of(p).edge.length[0, 0])
    z = blended_edge(p, float(np.exp(p[7])), length * np.arange(DEPARTURES) / DEPARTURES)
    at = distances(p, z)
    B, J = waves(at.share), derivatives(p, z, at.normal)
    M = B - J @ np.linalg.solve(J.T @ J + 1e-9 * np.eye(7), J.T @ B)
    left = np.abs(M @ found.waves)
    error = STANDARD_ERRORS * np.sqrt(np.einsum("ij,jk,ik->i", M, found.waves_covariance, M))
    worst = int(np.argmax(left - error))
    size = float(M[worst] @ found.waves)
    return Departure(size, float(error[worst]), float(at.share[worst]))


FEW_LAPS = 0.3
"""How much wider, as a share, the tolerance from a single lap is. Found on made logs."""
LINE_ERROR = 1 * FOOT
"""How far a person who walks or drives along an edge is from it all the way round, two standard
errors. Engineering judgement."""
MOST_UNEQUAL = 1.5
"""Ends of a track that is no oval more unlike than this are an accident of the fit."""


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
        If the log holds no whole lap, no line that goes round, or no track.
    """
    tidy = tidy_log(log).at_most(MOST_LAPS)
    found = fit_oval(tidy, offset)
    shape = departure(found)
    track = _checked(found.p, width, shape.is_oval)
    error = STANDARD_ERRORS * (1.0 + FEW_LAPS / tidy.laps) * np.sqrt(np.diag(found.covariance))
    notes = tidy.notes if tidy.laps > 1 else (Note("one lap"), *tidy.notes)
    if np.mean(found.wild) > 0.02:
        notes = (*notes, Note("wild", float(np.mean(found.wild))))
    first, last = map(float, track.inside_radius)
    straight, bow, blend = float(track.straight), float(track.bow), float(track.blend)
    return Survey(
        "position log", (first, last), straight, bow, blend, width,
        float(track.edge.length[0, 0]),
        Tolerance(float(np.hypot(np.max(error[3:5]), offset_error)),
                  float(np.hypot(error[5], LINE_ERROR))),
        residual=found.residual, laps_used=tidy.laps, notes=notes,
        fit=_log_fit(log, tidy, offset, found, shape, width),
    )  # fmt: skip


def _checked(q: FloatArray, width: float | None, is_oval: bool) -> Track:
    """The track, or where it is no oval anyway a paper clip of the same lap that can stand for it.

    Raises
    ------
    SurveyError
        If a bound was reached or the numbers make no track.
    """
    track = replace(track_of(q[:7], float(np.exp(q[7]))), width=width or 0.0)
    try:
        if np.any(q[3:6] > 0.99 * MOST[3:6]) or np.any(q[3:5] < 1.01 * LEAST[3:5]):
            raise TrackError("inside_radius", "bound")
        if not is_oval and max(q[3:5]) > MOST_UNEQUAL * min(q[3:5]):
            raise TrackError("inside_radius", "unequal")
        check_track(track)
    except TrackError as error:
        if is_oval:
            raise SurveyError("no track", detail=f"{error.key}: {error}") from None
        lap = float(track.edge.length[0, 0])
        radius = min(0.5 * float(q[3] + q[4]), 0.12 * lap)
        straight = 0.5 * lap - np.pi * radius
        return replace(track, inside_radius=(radius, radius), straight=straight, bow=0.0)
    return track


def _log_fit(
    log: PositionLog, tidy: TidyLog, offset: float, found: Found, shape: Departure,
    width: float | None,
) -> LogFit:  # fmt: skip
    on, gone = tidy.z[~found.wild], np.append(tidy.dropped, tidy.z[found.wild])
    line, inside = curve_of(found.p, offset), curve_of(found.p, 0.0)
    return LogFit(
        points=(on.real, on.imag),
        dropped=(gone.real, gone.imag),
        line=line,
        inside=inside,
        outside=None if width is None else curve_of(found.p, width),
        heading=line_heading(line),
        centre=centre_of(inside, log.origin),
        origin=log.origin,
        drift=found.drift,
        departure=shape,
    )


def curve_of(q: FloatArray, offset: float) -> Curve:
    """A parallel of the inside edge of the fitted oval, in the plane of the log."""
    blend = float(np.exp(q[7]))
    edge = track_of(q[:7], blend).edge
    s = edge.length[0] * np.linspace(0.0, 1.0, CURVE_STATIONS + 1)
    z, k = blended_edge(q[:7], blend, s, offset), edge.curvature(s[None])[0]
    along = s + offset * edge.heading(s[None])[0]
    return Curve(along, z.real, z.imag, k / (1.0 + offset * k))


def line_heading(line: Curve) -> float:
    """Heading at the start of a curve, rad anticlockwise from east."""
    return float(np.arctan2(line.y[1] - line.y[-2], line.x[1] - line.x[-2]))


def centre_of(edge: Curve, origin: tuple[float, float] | None) -> tuple[float, float]:
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


def lap_path(log: PositionLog) -> ClosedPath:
    """A position log made a smooth path: its laps laid over each other.

    Raises
    ------
    SurveyError, PathError
        If the log holds no whole lap, or its path crosses itself.
    """
    tidy = tidy_log(log)
    return smooth_closed_path(tidy.z.real, tidy.z.imag)
