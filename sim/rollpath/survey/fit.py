"""The oval that explains a position log, the receiver's drift, and whether it is an oval at all.

A receiver's error stays alike for a while: taken as independent from point to point it would make
anything fitted look far better known than it is. The fit is generalised least squares with the
drift's own covariance [2]_, the drift found by restricted likelihood [1]_.

References
----------
.. [1] D. A. Harville, Maximum likelihood approaches to variance component estimation, Journal of
   the American Statistical Association 72 (1977).
.. [2] G. A. F. Seber and C. J. Wild, Nonlinear Regression, ch. 2 and 6 (autocorrelated errors).
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rollpath.groove.measured import ClosedPath, smooth_closed_path
from rollpath.survey.log import (
    MOST_LAPS,
    WGS84_AXIS,
    BoolArray,
    Note,
    PositionLog,
    SurveyError,
    TidyLog,
    local_plane,
    spread_over,
    tidy_log,
)
from rollpath.survey.oval import (
    LEAST,
    MOST,
    SCALES,
    blended_edge,
    derivatives,
    distances,
    first_fit,
    solve,
    track_of,
)
from rollpath.survey.tape import Survey
from rollpath.track import DEFAULT_BLEND, Tolerance, Track, TrackError, check_track
from rollpath.units import FOOT, FloatArray

STANDARD_ERRORS = 2.0
"""Standard errors in a stated tolerance. 1.64 would do for nine in ten if the noise were just as
modelled; phones are not told so."""
DRIFT_TIMES = np.array([3.0, 8.0, 20.0, 50.0, 120.0, 300.0])
"""Times over which the position error may forget itself, s."""
DRIFT_USUAL, DRIFT_FACTOR = 50.0, np.e
"""About how long it lasts, s, and within which factor two in three lie. Engineering judgement."""
DRIFT_SIZE, SIZE_FACTOR = 2.0, 2.0
"""About how large it is, m, and within which factor two in three lie. Engineering judgement."""
WHITE_SHARES = np.array([1e-3, 0.03, 0.3, 3.0])
"""Variance of the jitter that does not drift, as shares of the drift's."""
BETTER = 0.25
"""Residuals below this share of a phone's usual ones come from something better."""
FIT_TIME, FIT_WHITE = 25.0, 0.1
"""s, and jitter as a share of the drift's variance, that the oval is fitted with. What the drift
found says goes into the give or take. Engineering judgement, from made logs."""
APART = 1e4
"""Time put between two pieces of a log, s: the drift on both sides of a jump has nothing in
common."""
MOST_BLOCKS = 240
"""Rows of the generalised least-squares problem; more points are averaged in runs."""
PASSES = 4
"""Times the drift is found and the oval fitted with it."""
BLEND_ERROR = 0.5
"""Standard error of the logarithm of a blend nobody measured. Engineering judgement."""
LAG_USUAL, LAG_ERROR = 0.1, 0.3
"""Squared time over which a receiver smooths its track, s^2, and how well that is known: a third
of a second, and one second is not rare. Engineering judgement."""
MOST_LAG = 4.0
ENDS_ERROR, CURVED_ERROR = 0.2, 0.1
"""How unlike the two ends of ovals are, as a share of the radius, and how curved their straights,
as a share of the corners' curvature. Engineering judgement; weak beside three laps."""
PRIORS = np.array([0.0] * 7 + [np.log(DEFAULT_BLEND), LAG_USUAL])
OUTLINE = 360
"""Stations of the outline that the blend's correction and the shape are worked out on."""
HARMONICS = np.arange(2, 11)
"""Waves a lap of a departure from the oval; what is slower is place, what is shorter is noise."""
WAVE_SIZE, RIPPLE = 3.0, 0.25
"""Size of one wave, m, that a track may have while its shape is judged, and that an oval has
without being less of one. Engineering judgement."""
SHAPE_SIZE = 6 * FOOT
"""A departure below this is let pass as an oval."""
DEPARTURES = 120
"""Stations of the lap at which the shape is judged."""
FAR, SUDDEN = 5.0, 4.0
"""Robust standard deviations from where the other laps went that make a
block wild; of a step, that make it none of the drift's."""
NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
SHORT_PIECE = 0.1
"""A piece between two jumps shorter than this share of the log is left out."""
MOST_WILD = 0.2
"""Share of a log that may be thrown away."""


@dataclass(frozen=True)
class Drift:
    """Noise of a receiver: an error in x and in y that forgets itself, and some jitter.

    Attributes
    ----------
    sd : float
        Standard deviation of the drift in each of x and y, m.
    time : float
        Time over which it forgets itself, s.
    whitener : ndarray, shape (n, n)
        Makes residuals independent and of size one.
    covariance : ndarray, shape (n, n)
        Of the residuals, averaged over what the drift may be, m^2.
    """

    sd: float
    time: float
    whitener: FloatArray
    covariance: FloatArray


def find_drift(
    time: FloatArray, normal: FloatArray, r: FloatArray, J: FloatArray, known: FloatArray
) -> Drift:
    """The drift that makes these residuals likeliest, by restricted likelihood [1]_.

    The covariance of two distances off the line is ``sd^2 exp(-dt / time) cos(dn)``, dn the angle
    between the two normals: the errors in x and in y drift apart from each other.

    Parameters
    ----------
    time, normal, r : ndarray, shape (n,)
    J : ndarray, shape (n, unknowns)
        Derivatives of r.
    known : ndarray, shape (unknowns, unknowns)
        Information on the unknowns from elsewhere.
    """
    n, unknowns = J.shape
    times, whites = (v.ravel() for v in np.meshgrid(DRIFT_TIMES, WHITE_SHARES))
    apart = np.abs(time[:, None] - time)
    facing = np.cos(normal[:, None] - normal)
    K = np.exp(-apart / times[:, None, None]) * facing + whites[:, None, None] * np.eye(n)
    root = np.linalg.cholesky(K)
    rows = np.linalg.solve(root, np.column_stack([J, r])[None])
    products = np.swapaxes(rows, 1, 2) @ rows
    # A little of what is known from elsewhere keeps what is not seen at all from being free.
    seen, moment = products[:, :-1, :-1], products[:, :-1, -1:]
    gram = seen + known * DRIFT_SIZE**2
    solved = np.linalg.solve(gram, moment)
    left = products[:, -1, -1] - np.einsum("gij,gij->g", moment, solved)
    variance = np.maximum(left, 1e-12) / (n - unknowns)
    logdet = 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    likelihood = -0.5 * ((n - unknowns) * np.log(variance) + logdet + np.linalg.slogdet(gram)[1])
    likelihood -= 0.5 * (np.log(times / DRIFT_USUAL) / np.log(DRIFT_FACTOR)) ** 2
    likelihood -= 0.5 * (0.5 * np.log(variance / DRIFT_SIZE**2) / np.log(SIZE_FACTOR)) ** 2
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    best = int(np.argmax(likelihood))
    sd = float(np.sqrt(variance[best]))
    whitener = np.linalg.solve(root[best], np.eye(n)) / sd
    covariance = np.einsum("g,gij->ij", weight * variance, K)
    return Drift(sd, float(times[best]), whitener, covariance)


def whitener_of(time: FloatArray, normal: FloatArray, r: FloatArray | None = None) -> FloatArray:
    """The whitener that the oval is fitted with: a drift of `FIT_TIME`, whatever the drift was.

    A long drift taken at its word puts all trust in how the track bends from one moment to the
    next, where blends and a receiver's own smoothing sit, and little in where the laps lie.
    """
    K = np.exp(-np.abs(time[:, None] - time) / FIT_TIME) * np.cos(normal[:, None] - normal)
    K = DRIFT_SIZE**2 * (K + FIT_WHITE * np.eye(len(time)))
    white: FloatArray = np.linalg.solve(np.linalg.cholesky(K), np.eye(len(time)))
    if r is None:
        return white
    # A log better than a phone's counts for more beside what is usual of ovals.
    return white / float(np.clip(np.sqrt(np.mean((white @ r) ** 2)) / BETTER, 1e-3, 1.0))


@dataclass(frozen=True)
class Corrections:
    """What the four arcs leave out, at stations of the lap: m outward for a blend; and what a
    square second of smoothing takes off, m/s^2 per speed squared (half the curvature)."""

    share: FloatArray
    blend: FloatArray
    bend: FloatArray

    def at(self, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        blend = np.interp(share, self.share, self.blend, period=1.0)
        return blend, np.interp(share, self.share, self.bend, period=1.0)


def corrections(p: FloatArray, log_blend: float, offset: float) -> Corrections:
    """How far the blended edge lies off the four arcs it was made of."""
    blend = float(np.exp(log_blend))
    edge = track_of(p, blend).edge
    s = edge.length[0] * np.arange(OUTLINE) / OUTLINE
    at = distances(p, blended_edge(p, blend, s))
    k = edge.curvature(s[None])[0]
    order = np.argsort(at.share)
    return Corrections(at.share[order], at.out[order], (0.5 * k / (1.0 + offset * k))[order])


class Fit:
    """Generalised least squares of nine unknowns: the oval's seven, log blend, and lag."""

    def __init__(self, log: TidyLog, offset: float) -> None:
        n = len(log.x)
        count = min(n, MOST_BLOCKS)
        self.log, self.offset, self.z = log, offset, log.x + 1j * log.y
        self.starts = np.union1d(
            np.arange(count) * n // count, np.flatnonzero(np.diff(log.piece)) + 1
        )
        self.starts = self.starts.astype(np.intp)
        self.count = np.diff(np.append(self.starts, n))
        self.live: BoolArray = np.ones(len(self.starts), dtype=bool)
        """Blocks that are still believed."""
        time = log.time + APART * log.piece
        self._time = self._mean(time)
        dt = np.gradient(log.time) if n > 1 else np.ones(n)
        pace = np.abs(np.gradient(self.z)) / np.maximum(dt, 1e-3)
        self.squared = np.minimum(pace, np.percentile(pace, 95)) ** 2

    def _mean(self, rows: FloatArray) -> FloatArray:
        return (np.add.reduceat(rows, self.starts, axis=0).T / self.count).T

    @property
    def time(self) -> FloatArray:
        return self._time[self.live]

    def rows(self, q: FloatArray, left_out: Corrections, blend: float) -> FloatArray:
        """Distances outward of the blended line, averaged in blocks; `blend` of the corrections."""
        at = distances(q[:7], self.z)
        blended, bend = left_out.at(at.share)
        r = at.out - self.offset - blended * np.exp(2.0 * (q[7] - blend))
        averaged: FloatArray = self._mean(r + q[8] * bend * self.squared)[self.live]
        return averaged

    def slopes(self, q: FloatArray, left_out: Corrections, blend: float) -> FloatArray:
        at = distances(q[:7], self.z)
        blended, bend = left_out.at(at.share)
        J = np.column_stack([
            derivatives(q[:7], self.z, at.normal),
            -2.0 * blended * np.exp(2.0 * (q[7] - blend)), bend * self.squared,
        ])  # fmt: skip
        return self._mean(J)[self.live]

    def places(self, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Normal and share of the lap of every block."""
        at = distances(p, self.z)
        normal = np.angle(self._mean(np.exp(1j * at.normal)))
        share = np.angle(self._mean(np.exp(2j * np.pi * at.share))) / (2 * np.pi) % 1.0
        return normal[self.live], share[self.live]

    def solved(self, p: FloatArray) -> "Solved":
        """The oval, the drift and the shape, from a first fit.

        Raises
        ------
        SurveyError
            If more of the log than `MOST_WILD` lies where no other lap went.
        """
        q = np.concatenate([p, PRIORS[7:]])
        for i in range(PASSES):
            left_out = corrections(q[:7], q[7], self.offset)
            if i in (1, 2):
                self._leave_wild(q, left_out)
            q = self._step(q, left_out)
        wild = float(np.mean(~self.live))
        if wild > MOST_WILD:
            raise SurveyError("scattered", wild)
        left_out = corrections(q[:7], q[7], self.offset)
        oval, shape = (self.estimate(q, left_out, size) for size in (RIPPLE, WAVE_SIZE))
        return Solved(q, left_out, oval, shape, wild)

    def _step(self, q: FloatArray, left_out: Corrections) -> FloatArray:
        blend, r = q[7], self.rows(q, left_out, q[7])
        white = whitener_of(self.time, self.places(q[:7])[0], r)
        P = usual(q)
        return solve(
            lambda v: np.append(white @ self.rows(v, left_out, blend), P @ v - P @ PRIORS),
            lambda v: np.vstack([white @ self.slopes(v, left_out, blend), P]),
            q, "linear", np.append(LEAST, [np.log(1.0), 0.0]),
            np.append(MOST, [np.log(100.0), MOST_LAG]), np.append(SCALES, [0.5, 0.3]),
        )[0]  # fmt: skip

    def estimate(self, q: FloatArray, left_out: Corrections, size: float) -> "Estimate":
        """Waves of the lap beside the oval, and how well all are known.

        The estimate is linear in the residuals, so its covariance follows from theirs, whatever
        it was weighed with [2]_; what was known before counts as measured once more.
        """
        normal, share = self.places(q[:7])
        r, M = self.rows(q, left_out, q[7]), self.slopes(q, left_out, q[7])
        M = np.hstack([M, -waves(share)])
        P = usual(q)
        known = np.diag(np.append(LEAST_KNOWN, np.full(2 * len(HARMONICS), size**-2)))
        known[: len(q), : len(q)] += P.T @ P
        drift = find_drift(self.time, normal, r, M, known)
        white = whitener_of(self.time, normal, r)
        weighed = white.T @ (white @ M)
        A = np.linalg.inv(M.T @ weighed + known)
        covariance = A @ (weighed.T @ drift.covariance @ weighed + known) @ A
        return Estimate(drift, share, -A @ (weighed.T @ r), covariance)

    def _leave_wild(self, q: FloatArray, left_out: Corrections) -> None:
        """Part the log where it moves off as no drift does; short pieces and far blocks go."""
        shape = self.estimate(q, left_out, WAVE_SIZE)
        r = self.rows(q, left_out, q[7]) - waves(shape.share) @ shape.solution[len(q) :]
        surprise = np.abs(whitener_of(self.time, self.places(q[:7])[0]) @ r)
        piece = np.cumsum(surprise > max(SUDDEN * NORMAL_SPREAD * float(np.median(surprise)), 1.0))
        inner = (piece > 0) & (piece < piece[-1])
        off = np.abs(r - np.median(r))
        wild = off > max(FAR * NORMAL_SPREAD * float(np.median(off)), 1.0)
        wild |= inner & (np.bincount(piece)[piece] < SHORT_PIECE * len(r))
        live = np.flatnonzero(self.live)
        self._time[live] += APART * piece
        self.live[live[wild]] = False


def usual(q: FloatArray) -> FloatArray:
    """What is known of ovals and receivers before a log: rows to be as `PRIORS` within one."""
    rows = np.zeros((4, len(q)))
    rows[0, 3:5] = np.array([1.0, -1.0]) / (ENDS_ERROR * 0.5 * (q[3] + q[4]))
    rows[1, 6], rows[2, 7], rows[3, 8] = 1 / CURVED_ERROR, 1 / BLEND_ERROR, 1 / LAG_ERROR
    return rows


LEAST_KNOWN = 1 / np.array([100.0, 100.0, 1.0, 100.0, 100.0, 100.0, 1.0, 10.0, 10.0]) ** 2
"""Information added so that no unknown is without a bound (a circle has no heading)."""


def waves(share: FloatArray) -> FloatArray:
    angle = 2 * np.pi * share[:, None] * HARMONICS
    return np.hstack([np.cos(angle), np.sin(angle)])


@dataclass(frozen=True)
class Estimate:
    """Drift, share of the lap of every block, and a step of all unknowns with its covariance."""

    drift: Drift
    share: FloatArray
    solution: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Solved:
    """Unknowns, corrections, estimates with an oval's ripple and with free waves, and the share
    of blocks left out."""

    q: FloatArray
    left_out: Corrections
    oval: Estimate
    shape: Estimate
    wild: float


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


def departure(solved: Solved) -> Departure:
    """The largest departure from the oval of least fourth powers, which minds a large departure
    more than least squares and less than the greatest alone."""
    p, n = solved.q[:7], len(solved.q)
    length = float(track_of(p).edge.length[0, 0])
    z = blended_edge(p, float(np.exp(solved.q[7])), length * np.arange(DEPARTURES) / DEPARTURES)
    at = distances(p, z)
    share, B, J = at.share, waves(at.share), derivatives(p, z, at.normal)
    e, weight = B @ solved.shape.solution[n:], np.ones(DEPARTURES)
    for _ in range(15):
        fit = np.linalg.solve((J.T * weight) @ J + 1e-9 * np.eye(7), J.T * weight)
        left = e - J @ (fit @ e)
        weight = np.sqrt(weight * (left**2 / max(np.max(left**2), 1e-12) + 1e-3))
    M = B - J @ (fit @ B)
    error = STANDARD_ERRORS * np.sqrt(
        np.einsum("ij,jk,ik->i", M, solved.shape.covariance[n:, n:], M)
    )
    worst = int(np.argmax(np.abs(left) - error))
    return Departure(float(left[worst]), float(error[worst]), float(share[worst]))


# What a log says, put together


FEW_LAPS = 0.3
"""How much wider, as a share, the tolerance from a single lap is. Found on made logs."""
LINE_ERROR = 1 * FOOT
"""How far a person who walks or drives along an edge is from it all the way round, two standard
errors. Engineering judgement."""
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
    tidy = tidy_log(log)
    if tidy.laps > MOST_LAPS:
        some = spread_over(list(range(tidy.laps)), MOST_LAPS)
        tidy = replace(tidy.at(np.isin(np.floor(tidy.turned), some)), laps=MOST_LAPS)
    fit = Fit(tidy, offset)
    found = fit.solved(first_fit(tidy, offset))
    shape = departure(found)
    track = _checked(found.q, width, shape.is_oval)
    error = STANDARD_ERRORS * (1.0 + FEW_LAPS / tidy.laps) * np.sqrt(np.diag(found.oval.covariance))
    residual = fit.rows(found.q, found.left_out, found.q[7])
    notes = tidy.notes if tidy.laps > 1 else (Note("one lap"), *tidy.notes)
    if found.wild > 0.02:
        notes = (*notes, Note("wild", found.wild))
    first, last = map(float, track.inside_radius)
    straight, bow, blend = float(track.straight), float(track.bow), float(track.blend)
    return Survey(
        "position log", (first, last), straight, bow, blend, width,
        float(track.edge.length[0, 0]),
        Tolerance(float(np.hypot(np.max(error[3:5]), offset_error)),
                  float(np.hypot(error[5], LINE_ERROR))),
        residual=float(np.sqrt(np.mean(residual**2))), laps_used=tidy.laps, notes=notes,
        fit=_log_fit(log, tidy, fit, found, shape, width),
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
    log: PositionLog, tidy: TidyLog, fit: Fit, found: Solved, shape: Departure, width: float | None
) -> LogFit:
    wild = np.repeat(~fit.live, fit.count)
    gone = tuple(np.append(a, b[wild]) for a, b in zip(tidy.dropped, (tidy.x, tidy.y), strict=True))
    line, inside = curve_of(found.q, fit.offset), curve_of(found.q, 0.0)
    drift = found.oval.drift
    return LogFit(
        points=(tidy.x[~wild], tidy.y[~wild]),
        dropped=(gone[0], gone[1]),
        line=line,
        inside=inside,
        outside=None if width is None else curve_of(found.q, width),
        heading=line_heading(line),
        centre=centre_of(inside, log.origin),
        origin=log.origin,
        drift=(drift.sd, drift.time),
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
    return smooth_closed_path(tidy.x, tidy.y)
