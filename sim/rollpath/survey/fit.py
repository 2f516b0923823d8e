"""The oval behind a position log: generalised least squares at every bow, weighed by how likely.

A receiver's error stays alike from one moment to the next, and a real edge wavers alike in every
lap. Both stand in one dense covariance, whose sizes are found by restricted likelihood [1]_. Its
Cholesky factor turns distances into steps that are independent in the order they came, so that a
jump of the receiver is one large step and is given little weight [2]_. How far the straights bow is
hardly told from how long they are: the oval is fitted at a range of bows, and each counts by how
usual and how likely it is.

References
----------
.. [1] D. A. Harville, Maximum likelihood approaches to variance component estimation, Journal of
   the American Statistical Association 72 (1977).
.. [2] P. J. Huber and E. M. Ronchetti, Robust Statistics, ch. 7 (weights).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rollpath.survey.log import BoolArray, ComplexArray, IntArray, SurveyError, TidyLog
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

# What is usual. Engineering judgement, all of it; made logs of one kind were looked at.
SHARES = np.linspace(-3.5, 3.5, 9)
"""Standard errors about the likeliest share of curvature at which the oval is fitted again."""
USUAL_BOW, NO_BOW = 0.02, 0.5
"""Bow, as a share of the straight, within which half of those that bow lie, with a long tail so
that a log may insist; and the share of ovals whose straights are straight."""
ENDS_ERROR, BLEND_ERROR, SHARE_ERROR = 0.15, 0.5, 0.3
"""Difference of the ends as a share of the radius, the logarithm of a blend, and the share of
curvature while it is free: standard errors."""
LAG_USUAL, LAG_ERROR = 0.05, 0.25
TIMES = np.array([3.0, 9.0, 27.0, 81.0, 243.0])
"""Times over which a receiver's error may forget itself, s."""
USUAL_TIME, TIME_FACTOR, USUAL_SIZE, SIZE_FACTOR = 50.0, np.e, 2.0, 2.0
"""About how long and how large it is, s and m, and within which factors two in three lie."""
WHITES = np.array([1e-3, 0.02, 0.2])
"""Variance of the jitter that does not drift, as shares of the drift's."""
RIPPLES = (0.07, 0.5)
"""Sizes of a wave of the edge beside a drift of `USUAL_SIZE`, m."""
HARMONICS = np.arange(2, 11)
"""Waves a lap of a departure from the oval; what is slower is place, what is shorter is noise."""
WAVE_SIZE = 3.0
"""Size of one wave, m, while the shape is judged."""
ROBUST_SCALES = (9.0, 3.0)
"""Distances at which the first fits start to trust a point less, m."""
BIG_STEP, SUDDEN, FAR = 2.5, 4.0, 5.0
"""Robust standard deviations beyond which a step counts for less, parts the log, and beyond which
a distance is none of the line's."""
LEAST_JUMP = 1.5
"""m; a smaller step is the drift's."""
MOST_DRIFT = 8.0
"""m; a receiver that is worse, or laps along different lines, say nothing of a track."""
SHORT_PIECE, MOST_WILD = 0.1, 0.2
"""Share of a log below which a parted piece goes, and above which so much gone is no survey."""
NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
MOST_BLOCKS, POINTS, FIRST_POINTS, OUTLINE = 150, 4, 200, 720
"""Rows of the problem, points averaged in each, points of the first fit, stations of an outline."""
APART = 1e4
"""Time put between two pieces, s: the drift on both sides of a jump has nothing in common."""
STARTS, PASSES, STEPS = 4, 3, 30

_Rows = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True)
class Found:
    """An oval, how well it is known, and how the track departs from it.

    Attributes
    ----------
    p, covariance : ndarray, shape (9,) and (9, 9)
    drift : tuple of float
        Standard deviation in m and time in s of the receiver's.
    shape, shape_covariance : ndarray, shape (9 + 2 h,) and square
        A change of the unknowns and the waves beside it.
    residual : float
        m, root mean square of the blocks used.
    wild : ndarray of bool, shape (n,)
        Which points of the log were left out.
    """

    p: FloatArray
    covariance: FloatArray
    drift: tuple[float, float]
    shape: FloatArray
    shape_covariance: FloatArray
    residual: float
    wild: BoolArray


def waves(share: FloatArray) -> FloatArray:
    """Cosines and sines of `HARMONICS` at shares of the lap, shape (n, 2 h)."""
    angle = 2 * np.pi * share[:, None] * HARMONICS
    return np.hstack([np.cos(angle), np.sin(angle)])


def spread(r: FloatArray) -> float:
    """Robust standard deviation about zero, at least 1."""
    return max(NORMAL_SPREAD * float(np.median(np.abs(r))), 1.0)


# The log in blocks


def _runs(piece: IntArray, most: int) -> tuple[IntArray, IntArray]:
    """First points of at most so many runs, none across two pieces, and how many in each."""
    n = len(piece)
    even = np.arange(min(n, most)) * n // min(n, most)
    starts = np.union1d(even, np.flatnonzero(np.diff(piece)) + 1).astype(np.intp)
    return starts, np.diff(np.append(starts, n))


class Blocks:
    """The log in blocks, and their distances from an oval."""

    def __init__(self, log: TidyLog, offset: float) -> None:
        first, many = _runs(log.piece, POINTS * MOST_BLOCKS)
        x, y, time = (np.add.reduceat(v, first) / many for v in (log.x, log.y, log.time))
        self.z, self.offset = x + 1j * y, offset
        self.way = -1.0 if any(note.code == "clockwise" for note in log.notes) else 1.0
        self.starts, self.count = _runs(log.piece[first], MOST_BLOCKS)
        self.points = np.add.reduceat(many, self.starts)
        self.time = self._mean(time + APART * log.piece[first])
        pace = np.abs(np.gradient(self.z)) / np.maximum(np.gradient(time), 1e-3)
        self.squared = np.minimum(pace, np.percentile(pace, 95)) ** 2
        self.table: tuple[FloatArray, ...] = ()

    def _mean(self, rows: FloatArray) -> FloatArray:
        mean: FloatArray = (np.add.reduceat(rows, self.starts, axis=0).T / self.count).T
        return mean

    def look_up(self, p: FloatArray) -> None:
        """Tabulate along the lap what the four arcs leave out: m outward by the blend, and m/s^2
        per speed squared for a square second of smoothing (half the curvature)."""
        blend = float(np.exp(p[7]))
        edge = track_of(p, blend).edge
        length = float(edge.length[0, 0])
        s = length * np.arange(OUTLINE) / OUTLINE
        at, k = distances(p, blended_edge(p, blend, s)), edge.curvature(s[None])[0]
        # A filter of one pole, 1 / (1 + x) - exp(-x) for x = i w lag, is half a square lag of the
        # curvature two thirds of a lag before, spread over one lag (to the second order in x).
        lag = np.sqrt(p[8] * np.median(self.squared)) / length
        wave = 2 * np.pi * np.fft.rfftfreq(OUTLINE, 1 / OUTLINE) * lag
        blur = np.exp(-0.5 * wave**2 - 2j / 3 * self.way * wave)
        bend = np.fft.irfft(np.fft.rfft(0.5 * k / (1.0 + self.offset * k)) * blur, OUTLINE)
        order = np.argsort(at.share)
        self.table = at.share[order], at.out[order], bend[order], p[7]

    def at(self, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Distances outward of the blended line, derivatives, normals and shares of the lap."""
        at, (share, out, bend, blend) = distances(p, self.z), self.table
        blended = np.interp(at.share, share, out, period=1.0) * np.exp(2.0 * (p[7] - blend))
        bent = np.interp(at.share, share, bend, period=1.0) * self.squared
        r = self._mean(at.out - self.offset - blended + p[8] * bent)
        J = np.column_stack([derivatives(p, self.z, at.normal), -2.0 * blended, bent])
        normal = np.angle(self._mean(np.exp(1j * at.normal)))
        turned = np.angle(self._mean(np.exp(2j * np.pi * at.share))) / (2 * np.pi) % 1.0
        return r, self._mean(J), normal, turned


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


ALL = np.ones(len(SCALES), dtype=bool)
BUT_SHARE = np.arange(len(SCALES)) != SHARE


def first_fit(log: TidyLog, offset: float) -> FloatArray:
    """The cheapest of several robust fits, from boxes laid round the log at many headings."""
    z = log.x + 1j * log.y
    z = z[np.unique(np.linspace(0, len(z) - 1, FIRST_POINTS).astype(int))]

    def robust(p: FloatArray, scale: float) -> tuple[FloatArray, FloatArray]:
        """Rows whose squares are a Cauchy loss."""
        at = distances(p, z)
        r = (at.out - offset) / scale
        r = np.where(np.abs(r) < 1e-9, 1e-9, r)
        e = np.sign(r) * np.sqrt(np.log1p(r**2))
        J = np.column_stack([derivatives(p, z, at.normal), np.zeros((len(z), 2))])
        return e, J * (r / e / (1 + r**2) / scale)[:, None]

    guesses = [g for h in np.arange(0.0, np.pi, np.pi / 24) for g in _boxes(z, h, offset)]
    cost = [np.sum(np.minimum(np.abs(distances(p, z).out - offset), 30.0)) for p in guesses]
    fits = [descend(lambda p: robust(p, ROBUST_SCALES[0]), guesses[i], ALL)
            for i in np.argsort(cost)[:STARTS]]  # fmt: skip
    best = min(fits, key=lambda fit: fit[1])[0]
    p = descend(lambda p: robust(p, ROBUST_SCALES[1]), best, ALL)[0]
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


# Noise


def noise_of(
    time: FloatArray, normal: FloatArray, r: FloatArray, J: FloatArray, known: FloatArray,
    share: FloatArray, ripples: tuple[float, ...] = RIPPLES,
) -> tuple[FloatArray, tuple[float, float]]:  # fmt: skip
    """Covariance of distances, m^2, averaged over what drift, jitter and ripple may be [1]_.

    Two distances off the line share ``sd^2 exp(-dt / time) cos(dn)``, dn the angle between their
    normals: the errors in x and in y drift apart from each other. A receiver that smooths has
    ``(1 + dt / time)`` before the exponential (Matern's of order 3/2). Returned with the likeliest
    drift's standard deviation, m, and time, s.
    """
    from scipy.linalg import solve_triangular

    apart, facing = np.abs(time[:, None] - time), np.cos(normal[:, None] - normal)
    ripple, jitter = waves(share) / USUAL_SIZE, np.eye(len(time))
    tried = [
        (t, (1 + smooth * apart / t) * np.exp(-apart / t) * facing + white * jitter
         + (size**2 * ripple) @ ripple.T)
        for t in TIMES for smooth in (0.0, 1.0) for white in WHITES for size in ripples
    ]  # fmt: skip
    likelihood, variances = [], []
    for t, K in tried:
        root = np.linalg.cholesky(K)
        rows = solve_triangular(root, np.column_stack([J, r]), lower=True, check_finite=False)
        A = rows.T @ rows
        gram = A[:-1, :-1] + known * USUAL_SIZE**2
        left = A[-1, -1] - A[-1, :-1] @ np.linalg.solve(gram, A[:-1, -1])
        variance = max(float(left), 1e-9) / len(r)
        value = -0.5 * (len(r) - J.shape[1]) * np.log(variance) - np.log(np.diag(root)).sum()
        value -= 0.5 * np.linalg.slogdet(gram)[1]
        value -= 0.5 * (np.log(t / USUAL_TIME) / np.log(TIME_FACTOR)) ** 2
        value -= 0.5 * (0.5 * np.log(variance / USUAL_SIZE**2) / np.log(SIZE_FACTOR)) ** 2
        likelihood.append(value)
        variances.append(variance)
    weight = np.exp(np.array(likelihood) - max(likelihood))
    weight *= np.array(variances) / weight.sum()
    best = int(np.argmax(likelihood))
    covariance = sum(w * K for w, (_, K) in zip(weight, tried, strict=True))
    return np.asarray(covariance), (float(np.sqrt(variances[best])), float(tried[best][0]))


# The fit


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
    blocks, p = Blocks(log, offset), first_fit(log, offset)
    gone = np.zeros(len(blocks.starts), dtype=bool)
    for _ in range(PASSES):
        weighed = weigh(blocks, p, gone)
        gone, p = weighed.short, descend(weighed.rows, p, ALL)[0]
    weighed = weigh(blocks, p, gone)
    wild = float(np.mean(~weighed.live))
    if wild > MOST_WILD:
        raise SurveyError("scattered", wild)
    p, covariance = over_bows(weighed.rows, p)
    r, J, normal, share = (v[weighed.live] for v in blocks.at(p))
    known = usual(p, ALL)[1]
    *shape, left = departure_waves(blocks.time[weighed.live], normal, r, J, share, known.T @ known)
    if left > MOST_DRIFT and log.laps > 1:  # one lap says little of what is drift
        raise SurveyError("no lap")
    residual, left_out = float(np.sqrt(np.mean(r**2))), np.repeat(~weighed.live, blocks.points)
    return Found(p, covariance, weighed.drift, shape[0], shape[1], residual, left_out)


@dataclass(frozen=True)
class Weighed:
    """Rows of independent steps, the blocks believed, the receiver's drift, and the blocks gone
    with those of short pieces between jumps."""

    rows: _Rows
    live: BoolArray
    drift: tuple[float, float]
    short: BoolArray


def weigh(blocks: Blocks, p: FloatArray, gone: BoolArray) -> Weighed:
    """Find the noise about an oval, and what is to be believed."""
    blocks.look_up(p)
    r, J, normal, share = blocks.at(p)
    live: BoolArray = ~gone & (np.abs(r) < FAR * spread(r[~gone]))
    known = usual(p, ALL)[1]
    K, drift = noise_of(blocks.time[live], normal[live], r[live], J[live],
                        known.T @ known + LEAST_KNOWN, share[live])  # fmt: skip
    root = np.linalg.cholesky(K)
    white = np.linalg.solve(root, np.eye(len(K)))
    step = np.abs(white @ r[live])
    size = step / spread(step)
    white *= np.minimum(BIG_STEP / np.maximum(size, BIG_STEP), 1.0)[:, None]
    piece = np.cumsum((size > SUDDEN) & (step * np.diag(root) > LEAST_JUMP))
    short = gone.copy()
    short[np.flatnonzero(live)[np.bincount(piece)[piece] < SHORT_PIECE * len(r)]] = True

    def rows(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        r, J, _, _ = blocks.at(p)
        return white @ r[live], white @ J[live]

    return Weighed(rows, live, drift, short)


def over_bows(rows: _Rows, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The oval at every share of curvature that may be, weighed: the middle, and its covariance."""
    p, _, H = descend(rows, p, ALL)
    error = np.sqrt(np.linalg.inv(H)[SHARE, SHARE])
    shares = np.unique(np.clip(p[SHARE] + error * SHARES, 0.0, MOST[SHARE]))
    start, fits = int(np.argmin(np.abs(shares - p[SHARE]))), {}
    for way in (range(start, len(shares)), range(start - 1, -1, -1)):
        q = p.copy()
        for i in way:
            q[SHARE] = shares[i]
            fits[i] = descend(rows, q, BUT_SHARE)
            q = fits[i][0].copy()
    index = range(len(shares))
    P = np.array([fits[i][0] for i in index])
    bow = np.array([track_of(q).bow / q[5] for q in P])
    mass = np.abs(np.gradient(bow)) if len(bow) > 1 else np.ones(1)
    mass *= (1 - NO_BOW) * 2 / np.pi / USUAL_BOW / (1 + (bow / USUAL_BOW) ** 2)
    mass += NO_BOW * (P[:, SHARE] == 0)
    value = np.array([-0.5 * (fits[i][1] + np.linalg.slogdet(fits[i][2])[1]) for i in index])
    weight = (mass + 1e-12) * np.exp(value - value.max())
    weight /= weight.sum()
    share = float(weight @ P[:, SHARE])
    q = P[np.argmin(np.abs(P[:, SHARE] - share))].copy()
    q[SHARE] = share
    q = descend(rows, q, BUT_SHARE)[0]
    covariance = (weight[:, None] * (P - q)).T @ (P - q)
    for w, i in zip(weight, index, strict=True):
        covariance[np.ix_(BUT_SHARE, BUT_SHARE)] += w * np.linalg.inv(fits[i][2])
    return q, covariance


def departure_waves(
    time: FloatArray, normal: FloatArray, r: FloatArray, J: FloatArray, share: FloatArray,
    known: FloatArray,
) -> tuple[FloatArray, FloatArray, float]:  # fmt: skip
    """A change of the oval and waves of the lap beside it, their covariance, and the drift's size
    that is left, m."""
    M = np.hstack([J, -waves(share)])
    information = np.diag(np.full(M.shape[1], WAVE_SIZE**-2))
    information[: len(known), : len(known)] = known + LEAST_KNOWN
    K, drift = noise_of(time, normal, r, M, information, share, (0.0,))
    weighed = np.linalg.solve(K, M)
    covariance = np.linalg.inv(M.T @ weighed + information)
    return -covariance @ (weighed.T @ r), covariance, drift[0]
