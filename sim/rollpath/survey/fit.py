"""What a position log says of a track, put together."""

from dataclasses import dataclass, replace

import numpy as np

from rollpath.groove.measured import ClosedPath, smooth_closed_path
from rollpath.survey.drift import Drift, find_drift
from rollpath.survey.log import STANDARD_ERRORS, BoolArray, PositionLog, TidyLog, tidy_log
from rollpath.survey.oval import (
    BACK_STRAIGHT,
    LEAST_KNOWN,
    OVAL,
    LogFit,
    OvalFit,
    centre_of,
    curve_of,
    first_guess,
    oval_of,
    points_on_line,
    residuals_of,
    shape_of,
    whole_laps,
)
from rollpath.survey.tape import Survey
from rollpath.track import Tolerance
from rollpath.units import FOOT, FloatArray

FEW_LAPS = 0.3
"""How much wider, as a share, the tolerance from a single lap is. Found on made logs."""
LINE_ERROR = 1 * FOOT
"""How far a person who walks or drives along an edge is from it all the way round, two standard
errors. Engineering judgement."""


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
    radius_1, radius_2, straight, bow, blend = shape_of(p)
    return Survey(
        "position log",
        (radius_1, radius_2),
        straight,
        bow,
        blend,
        width,
        float(oval_of(p).edge.length[0, 0]),
        _tolerance(drift, used.laps, offset_error),
        residual=float(np.sqrt(np.mean(residuals_of(p, fit.log.x, fit.log.y, offset).r ** 2))),
        laps_used=used.laps,
        notes=used.notes,
        fit=_log_fit(log, tidy, used.kept, fit, p, drift, width),
    )


def _used_laps(tidy: TidyLog, offset: float) -> UsedLaps:
    """Which points to use, with a robust first fit."""
    p = OvalFit(tidy, offset).robust(first_guess(tidy, offset))
    at = residuals_of(p, tidy.x, tidy.y, offset)
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
    line, inside = curve_of(p, fit.offset, fit.offset), curve_of(p, fit.offset, 0.0)
    return LogFit(
        points=(fit.log.x, fit.log.y),
        dropped=(tidy.x[~kept], tidy.y[~kept]),
        line=line,
        inside=inside,
        outside=None if width is None else curve_of(p, fit.offset, width),
        heading=float(p[5]),
        centre=centre_of(inside, log.origin),
        origin=log.origin,
        drift=(drift.sd, drift.time),
        is_oval=is_oval,
        bulge=bulge,
    )
