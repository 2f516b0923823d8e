"""The oval behind a position log: generalised least squares, averaged over how far straights bow.

A receiver's error stays alike from one moment to the next; its size and time are found by
restricted likelihood [1]_ and stand in one dense covariance, whose Cholesky factor makes the
distances independent. Steps that are large beside the others (a jump of the receiver) are given
little weight [2]_. How far the straights bow is hardly told from how long they are: the oval is
fitted at several bows, and each counts by how usual and how likely it is.

References
----------
.. [1] D. A. Harville, Maximum likelihood approaches to variance component estimation, Journal of
   the American Statistical Association 72 (1977).
.. [2] P. J. Huber and E. M. Ronchetti, Robust Statistics, ch. 7 (weights).
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from rollpath.survey.log import BoolArray, ComplexArray, SurveyError, TidyLog, spread_over
from rollpath.survey.oval import blended_edge, derivatives, distances, track_of
from rollpath.track import DEFAULT_BLEND
from rollpath.units import FloatArray

LEAST = np.array([-np.inf, -np.inf, -np.inf, 5.0, 5.0, 0.1, 0.0, np.log(1.0), 0.0])
MOST = np.array([np.inf, np.inf, np.inf, 600.0, 600.0, 900.0, 0.95, np.log(100.0), 4.0])
SCALES = np.array([3.0, 3.0, 0.1, 10.0, 10.0, 10.0, 0.2, 0.5, 0.3])
"""Of the unknowns: the seven of `oval`, the logarithm of the blend, and the square of the time
over which the receiver smooths its track, s^2."""
SHARE = 6
LEAST_KNOWN = np.diag(1 / np.array([1e3, 1e3, 3.0, 300.0, 300.0, 300.0, 3.0, 10.0, 10.0]) ** 2)
"""Information added so that no unknown is without a bound (a circle has no heading)."""

# What is usual. Engineering judgement, all of it.
ENDS_ERROR, BLEND_ERROR, SHARE_ERROR = 0.15, 0.5, 0.3
"""Difference of the ends as a share of the radius, the logarithm of a blend, and the share of
curvature while it is free: standard errors."""
LAG_USUAL, LAG_ERROR = 0.05, 0.25
USUAL_BOW = 0.02
"""Bow, as a share of the straight, within which half of all lie, with a long tail."""
BOWS = np.linspace(-3.0, 3.0, 5)
"""Standard errors about the likeliest share of curvature at which the oval is fitted again."""
TIMES = np.array([3.0, 9.0, 27.0, 81.0, 243.0])
"""Times over which a receiver's error may forget itself, s."""
USUAL_TIME, TIME_FACTOR, USUAL_SIZE, SIZE_FACTOR = 50.0, np.e, 2.0, 2.0
"""About how long and how large it is, s and m, and within which factors two in three lie."""
WHITES, RIPPLE = (0.02, 0.1, 1.0), 0.07
"""Beside the drift: jitter, as shares of its variance, and each wave of a wavering edge, m for a
drift of `USUAL_SIZE`."""
HARMONICS = np.arange(2, 11)
"""Waves a lap of a departure from the oval; what is slower is place, what is shorter is noise."""
WAVE_SIZE = 3.0
"""Size of one wave, m, while the shape is judged."""
BIG_STEP, FAR = 2.5, 5.0
"""Robust standard deviations beyond which a step counts for less, and a distance for nothing."""
MOST_DRIFT = 8.0
"""m; a receiver that is worse, or laps along different lines, say nothing of a track."""
MOST_WILD = 0.2
"""Share of a log of which so much gone is no survey."""
NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
SECTORS, MOST_DOUBT = 12, 1.0
"""Parts of the lap, and how much of one may be left out for what is kept of it."""
ROWS, FIRST_POINTS, OUTLINE = 150, 200, 720
"""Rows of the problem, points of the first fit, stations of an outline."""
HEADINGS, STARTS, PASSES, STEPS = 24, 4, 2, 30
FIRST_SCALES = (9.0, 3.0)
"""Distances at which the first fits start to trust a point less, m."""

_Rows = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
ALL = np.ones(len(SCALES), dtype=bool)
BUT_SHARE = np.arange(len(SCALES)) != SHARE


@dataclass(frozen=True)
class Found:
    """An oval, how well it is known, and how the track departs from it.

    Attributes
    ----------
    p, covariance : ndarray, shape (9,) and (9, 9)
    drift : tuple of float
        Standard deviation in m and time in s of the receiver's.
    waves, waves_covariance : ndarray, shape (2 h,) and square
        Of the departure, m outward, as `waves` takes them.
    residual : float
        m, root mean square of the rows used.
    wild : ndarray of bool, shape (n,)
        Which points of the log were left out.
    """

    p: FloatArray
    covariance: FloatArray
    drift: tuple[float, float]
    waves: FloatArray
    waves_covariance: FloatArray
    residual: float
    wild: BoolArray


def fit_oval(log: TidyLog, offset: float) -> Found:
    """The oval, its covariance and the departure from it.

    Parameters
    ----------
    log : TidyLog
    offset : float
        How far outside the inside edge the line lies, m.

    Raises
    ------
    SurveyError
        If more of the log than `MOST_WILD` lies where no other lap went, or the laps do not agree.
    """
    line, p = Line(log, offset), first_fit(log, offset)
    for _ in range(PASSES):
        line.look_up(p)
        live, white, drift = weigh(line, p)
        p = descend(line.rows(live, white), p, ALL)[0]
    if np.mean(~live) > MOST_WILD:
        raise SurveyError("scattered", float(np.mean(~live)))
    sector = (line.at(p)[3] * SECTORS).astype(int) % SECTORS
    out, kept = (np.bincount(sector[some], minlength=SECTORS) for some in (~live, live))
    if np.any((out > 1) & (out > MOST_DOUBT * kept)):
        raise SurveyError("no lap")  # there is no telling which of the laps was right there
    p, covariance = over_bows(line.rows(live, white), p)
    waved, waved_covariance, left = departure_waves(line, p, live)
    if left > MOST_DRIFT and log.laps > 1:  # one lap says little of what is drift
        raise SurveyError("no lap")
    residual = float(np.sqrt(np.mean(line.at(p)[0][live] ** 2)))
    wild = np.repeat(~live, np.diff(np.append(line.starts, len(log.z))))
    return Found(p, covariance, drift, waved, waved_covariance, residual, wild)


# The log in rows


class Line:
    """The log in rows of neighbouring points, and their mean distances from an oval's line."""

    def __init__(self, log: TidyLog, offset: float) -> None:
        self.z, self.offset = log.z, offset
        self.starts = np.array(spread_over(len(log.z), ROWS))
        self.time = self.mean(log.time)
        pace = np.abs(np.gradient(self.z)) / np.maximum(np.gradient(log.time), 1e-3)
        self.squared = np.minimum(pace, np.percentile(pace, 95)) ** 2
        self.table: tuple[FloatArray, ...] = ()

    def mean(self, of_points: FloatArray) -> FloatArray:
        count = np.diff(np.append(self.starts, len(self.z)))
        mean: FloatArray = (np.add.reduceat(of_points, self.starts, axis=0).T / count).T
        return mean

    def look_up(self, p: FloatArray) -> None:
        """Tabulate along the lap what the four arcs leave out: m outward by the blend, and m/s^2
        per speed squared for a square second of smoothing (half the curvature)."""
        edge = track_of(p, float(np.exp(p[7]))).edge
        s = edge.length[0, 0] * np.arange(OUTLINE) / OUTLINE
        at, k = distances(p, blended_edge(p, float(np.exp(p[7])), s)), edge.curvature(s[None])[0]
        order = np.argsort(at.share)
        bend = 0.5 * k / (1.0 + self.offset * k)
        self.table = at.share[order], at.out[order], bend[order], p[7]

    def at(self, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Distances outward of the blended line, derivatives, normals and shares of the lap."""
        at, (share, out, bend, blend) = distances(p, self.z), self.table
        blended = np.interp(at.share, share, out, period=1.0) * np.exp(2.0 * (p[7] - blend))
        bent = np.interp(at.share, share, bend, period=1.0) * self.squared
        r = self.mean(at.out - self.offset - blended + p[8] * bent)
        J = np.column_stack([derivatives(p, self.z, at.normal), -2.0 * blended, bent])
        normal = np.angle(self.mean(np.exp(1j * at.normal)))
        turned = np.angle(self.mean(np.exp(2j * np.pi * at.share))) / (2 * np.pi) % 1.0
        return r, self.mean(J), normal, turned

    def rows(self, live: BoolArray, white: FloatArray) -> _Rows:
        """Independent steps and their derivatives, as a function of the unknowns."""

        def rows(p: FloatArray) -> tuple[FloatArray, FloatArray]:
            r, J, _, _ = self.at(p)
            return white @ r[live], white @ J[live]

        return rows


# Least squares


def usual(p: FloatArray, free: BoolArray) -> tuple[FloatArray, FloatArray]:
    """What is known of ovals and receivers before a log: rows that are zero within one."""
    J = np.zeros((4, len(p)))
    J[0, 3:5] = np.array([1.0, -1.0]) / (ENDS_ERROR * 0.5 * (p[3] + p[4]))
    J[1, 7], J[2, 8] = 1 / BLEND_ERROR, 1 / LAG_ERROR
    J[3, SHARE] = free[SHARE] / SHARE_ERROR
    return J @ p - np.array([0, np.log(DEFAULT_BLEND) / BLEND_ERROR, LAG_USUAL / LAG_ERROR, 0]), J


def descend(rows: _Rows, p: FloatArray, free: BoolArray) -> tuple[FloatArray, float, FloatArray]:
    """Damped Gauss-Newton within the bounds: unknowns, sum of squares, and information."""

    def all_rows(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        (e, J), (f, F) = rows(p), usual(p, free)
        return np.append(e, f), np.vstack([J, F])

    (e, J), damp = all_rows(p), 1e-6
    for _ in range(STEPS):
        H, step = (J.T @ J + LEAST_KNOWN)[np.ix_(free, free)], np.zeros(len(p))
        step[free] = -np.linalg.solve(H + damp * np.diag(np.diag(H)), (J.T @ e)[free])
        step /= max(1.0, 0.5 * float(np.max(np.abs(step / SCALES))))
        new = np.clip(p + step, LEAST, MOST)
        e_new, J_new = all_rows(new)
        if e_new @ e_new < e @ e:
            moved = float(np.max(np.abs((new - p) / SCALES)))
            p, e, J, damp = new, e_new, J_new, 0.1 * damp
            if moved < 1e-7:
                break
        elif damp > 1e6:
            break
        else:
            damp = max(10 * damp, 1e-3)
    return p, float(e @ e), (J.T @ J + LEAST_KNOWN)[np.ix_(free, free)]


def first_fit(log: TidyLog, offset: float) -> FloatArray:
    """The cheapest of robust fits from the best of boxes laid round the log at many headings."""
    z = log.z[spread_over(len(log.z), FIRST_POINTS)]

    def robust(p: FloatArray, scale: float) -> tuple[FloatArray, FloatArray]:
        """Rows whose squares are a Cauchy loss."""
        at = distances(p, z)
        r = (at.out - offset) / scale
        r = np.where(np.abs(r) < 1e-9, 1e-9, r)
        e = np.sign(r) * np.sqrt(np.log1p(r**2))
        J = np.column_stack([derivatives(p, z, at.normal), np.zeros((len(z), 2))])
        return e, J * (r / e / (1 + r**2) / scale)[:, None]

    headings = np.arange(HEADINGS) * np.pi / HEADINGS
    guesses = [guess for heading in headings for guess in _boxes(z, heading, offset)]
    cost = [np.sum(np.minimum(np.abs(distances(p, z).out - offset), 30.0)) for p in guesses]
    fits = [descend(lambda p: robust(p, FIRST_SCALES[0]), guesses[i], ALL)
            for i in np.argsort(cost)[:STARTS]]  # fmt: skip
    p = min(fits, key=lambda fit: fit[1])[0]
    p = descend(lambda p: robust(p, FIRST_SCALES[1]), p, ALL)[0]
    if 0.25 < distances(p, z[:1]).share[0] < 0.75:  # the front straight is where the log starts
        p = p[[0, 1, 2, 4, 3, 5, 6, 7, 8]]
        p[2] += np.pi
    return p


def _boxes(z: ComplexArray, heading: float, offset: float) -> list[FloatArray]:
    """A paper clip and two bowed ovals as long and wide as the log seen along a heading."""
    w = z * np.exp(-1j * heading)
    (u_0, u_1), (v_0, v_1) = (np.percentile(part, (1, 99)) for part in (w.real, w.imag))
    long, wide = u_1 - u_0 - 2 * offset, v_1 - v_0 - 2 * offset
    middle = 0.5 * (u_0 + u_1 + 1j * (v_0 + v_1)) * np.exp(1j * heading)
    found = []
    for part, share in ((0.5, 0.02), (0.4, 0.3), (0.3, 0.6)):
        R = max(part * min(wide, long), 6.0)
        found.append(np.array([middle.real, middle.imag, heading, R, R, max(long - 2 * R, 2.0),
                               share, np.log(DEFAULT_BLEND), LAG_USUAL]))  # fmt: skip
    return found


def over_bows(rows: _Rows, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The oval at every share of curvature that may be, weighed: the mean, and its covariance."""
    p, _, H = descend(rows, p, ALL)
    error = np.sqrt(np.linalg.inv(H)[SHARE, SHARE])
    shares = np.unique(np.clip(p[SHARE] + error * BOWS, 0.0, MOST[SHARE]))
    fits = [descend(rows, np.where(BUT_SHARE, p, share), BUT_SHARE) for share in shares]
    P = np.array([fit[0] for fit in fits])
    bow = np.array([track_of(q).bow / q[5] for q in P])
    mass = np.abs(np.gradient(bow)) if len(bow) > 1 else np.ones(1)
    mass = mass / (1 + (bow / USUAL_BOW) ** 2) + 1e-12
    value = np.array([-0.5 * (cost + np.linalg.slogdet(H)[1]) for _, cost, H in fits])
    weight = mass * np.exp(value - value.max())
    weight /= weight.sum()
    mean = weight @ P
    covariance = (weight[:, None] * (P - mean)).T @ (P - mean)
    for w, (_, _, H) in zip(weight, fits, strict=True):
        covariance[np.ix_(BUT_SHARE, BUT_SHARE)] += w * np.linalg.inv(H)
    return mean, covariance


# Noise


def waves(share: FloatArray) -> FloatArray:
    """Cosines and sines of `HARMONICS` at shares of the lap, shape (n, 2 h)."""
    angle = 2 * np.pi * share[:, None] * HARMONICS
    return np.hstack([np.cos(angle), np.sin(angle)])


def noise_of(
    time: FloatArray, normal: FloatArray, r: FloatArray, J: FloatArray, known: FloatArray,
    ripple: FloatArray,
) -> tuple[FloatArray, tuple[float, float]]:  # fmt: skip
    """Covariance of distances, m^2, averaged over what the drift may be [1]_, and the likeliest
    drift's size, m, and time, s.

    Two distances off the line share ``sd^2 exp(-dt / time) cos(dn)``, dn the angle between their
    normals: the errors in x and in y drift apart from each other. A receiver that smooths has
    ``(1 + dt / time)`` before the exponential (Matern's of order 3/2).

    Parameters
    ----------
    time, normal, r : ndarray, shape (n,)
        s, rad and m.
    J, known : ndarray, shape (n, k) and (k, k)
        Derivatives by the unknowns, and what is known of them before.
    ripple : ndarray, shape (n, n)
        What is added for a drift of one.
    """
    from scipy.linalg import solve_triangular

    apart, facing = np.abs(time[:, None] - time), np.cos(normal[:, None] - normal)
    value, drifts, covariances = [], [], []
    for t, smooth, white in product(TIMES, (0.0, 1.0), WHITES):
        K = (1 + smooth * apart / t) * np.exp(-apart / t) * facing + ripple + white * np.eye(len(r))
        root = np.linalg.cholesky(K)
        rows = solve_triangular(root, np.column_stack([J, r]), lower=True, check_finite=False)
        A = rows.T @ rows
        gram = A[:-1, :-1] + known * USUAL_SIZE**2
        left = A[-1, -1] - A[-1, :-1] @ np.linalg.solve(gram, A[:-1, -1])
        variance = max(float(left), 1e-9) / len(r)
        likely = -0.5 * (len(r) - J.shape[1]) * np.log(variance) - np.log(np.diag(root)).sum()
        likely -= 0.5 * np.linalg.slogdet(gram)[1]
        likely -= 0.5 * (np.log(t / USUAL_TIME) / np.log(TIME_FACTOR)) ** 2
        likely -= 0.5 * (0.5 * np.log(variance / USUAL_SIZE**2) / np.log(SIZE_FACTOR)) ** 2
        value.append(likely)
        drifts.append((float(np.sqrt(variance)), float(t)))
        covariances.append(variance * K)
    weight = np.exp(np.array(value) - max(value))
    covariance = np.tensordot(weight / weight.sum(), covariances, 1)
    return covariance, drifts[int(np.argmax(weight))]


def weigh(line: Line, p: FloatArray) -> tuple[BoolArray, FloatArray, tuple[float, float]]:
    """Which rows are believed, what makes them independent steps of one, and the drift."""
    r, J, normal, share = line.at(p)
    live: BoolArray = np.abs(r) < FAR * spread(r)
    ripple = waves(share[live]) * RIPPLE / USUAL_SIZE
    known = usual(p, ALL)[1]
    K, drift = noise_of(line.time[live], normal[live], r[live], J[live],
                        known.T @ known + LEAST_KNOWN, ripple @ ripple.T)  # fmt: skip
    return live, whitener(K, r[live]), drift


def spread(r: FloatArray) -> float:
    """Robust standard deviation about zero, at least 1."""
    return max(NORMAL_SPREAD * float(np.median(np.abs(r))), 1.0)


def whitener(K: FloatArray, r: FloatArray) -> FloatArray:
    """What makes distances of a covariance independent steps of one, the large ones given less
    weight [2]_; shape of K."""
    white = np.linalg.inv(np.linalg.cholesky(K))
    step = np.abs(white @ r)
    size = np.maximum(step / spread(step), BIG_STEP)
    weighed: FloatArray = white * (BIG_STEP / size)[:, None]
    return weighed


def departure_waves(
    line: Line, p: FloatArray, live: BoolArray
) -> tuple[FloatArray, FloatArray, float]:
    """Waves of the lap beside a change of the oval, their covariance, and the drift's size that is
    left, m."""
    r, J, normal, share = (v[live] for v in line.at(p))
    known = usual(p, ALL)[1]
    M, n = np.hstack([J, -waves(share)]), J.shape[1]
    information = np.diag(np.full(M.shape[1], WAVE_SIZE**-2))
    information[:n, :n] = known.T @ known + LEAST_KNOWN
    K, drift = noise_of(line.time[live], normal, r, M, information, np.zeros_like(J[:, :1]))
    white = whitener(K, r)
    M, r = white @ M, white @ r
    covariance = np.linalg.inv(M.T @ M + information)
    found: FloatArray = -(covariance @ (M.T @ r))[n:]
    return found, np.asarray(covariance[n:, n:]), drift[0]
