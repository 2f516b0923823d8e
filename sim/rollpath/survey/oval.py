"""The oval fitted to a log."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rollpath.groove.measured import smooth_closed_path
from rollpath.groove.path import place
from rollpath.survey.drift import Drift, find_drift
from rollpath.survey.log import (
    LAP_HOLE,
    MOST_LAPS,
    WGS84_AXIS,
    BoolArray,
    SurveyError,
    TidyLog,
    hole_in,
    local_plane,
    spread_over,
)
from rollpath.track import DEFAULT_BLEND, Track
from rollpath.units import FloatArray

NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
BACK_STRAIGHT = 0.25, 0.75
"""Shares of the lap, from the middle of the front straight, of the half about the back one."""


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


def shape_of(p: FloatArray) -> tuple[float, float, float, float, float]:
    """Both radii, straight, bow and blend, m, from the unknowns."""
    radius_1, radius_2, straight, share, log_blend = (float(v) for v in p[:SHAPES])
    turn = share * min(straight / max(radius_1, radius_2), 2.0)
    bow = straight * 2.0 * np.sin(turn / 4) ** 2 / turn if turn > 1e-9 else 0.0
    return radius_1, radius_2, straight, bow, float(np.exp(log_blend))


def oval_of(p: FloatArray) -> Track:
    radius_1, radius_2, straight, bow, blend = shape_of(p)
    return Track("", (radius_1, radius_2), straight, 0.0, bow=bow, blend=blend)


def _outline(cases: FloatArray, offset: float) -> Outline:
    """The lines of several sets of unknowns, shape (cases, 8), at an offset."""
    radius_1, radius_2, straight, bow, blend = np.array([shape_of(p) for p in cases]).T
    edge = Track("", (radius_1, radius_2), straight, 0.0, bow=bow, blend=blend).edge
    s = edge.length * np.arange(OUTLINE) / OUTLINE
    theta = edge.heading(s)
    x, y = edge.position(s)
    x, y = x + offset * np.sin(theta), y - offset * np.cos(theta)
    k = edge.curvature(s)
    middle_x, middle_y = x.mean(axis=1, keepdims=True), y.mean(axis=1, keepdims=True)
    return Outline(x - middle_x, y - middle_y, theta - 0.5 * np.pi, k / (1.0 + offset * k))


def residuals_of(p: FloatArray, x: FloatArray, y: FloatArray, offset: float) -> Residuals:
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
        at = residuals_of(p, self.log.x, self.log.y, self.offset)
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
        good = [n for n in range(log.laps) if hole_in(share[inside & (lap == n)]) <= LAP_HOLE]
        if not good and hole_in(share[inside]) <= LAP_HOLE:
            good = list(range(log.laps))
        good = spread_over(good, MOST_LAPS)
        kept = inside & np.isin(lap, good)
        if np.sum(kept) > np.sum(best):
            best, laps = kept, len(good)
    if not laps:
        raise SurveyError("no lap of the log holds together; record whole laps along one line")
    return best, laps


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


def curve_of(p: FloatArray, fitted_offset: float, offset: float) -> Curve:
    """A parallel of the inside edge of the fitted oval, in the plane of the log."""
    edge = oval_of(p).edge
    u = edge.length * np.linspace(0.0, 1.0, CURVE_STATIONS + 1)
    x, y = place(edge, u, offset)
    middle_x, middle_y = place(edge, u[:, :-1], fitted_offset)
    z = (x + 1j * y)[0] - (middle_x.mean() + 1j * middle_y.mean())
    z = z * np.exp(1j * p[5]) + p[6] + 1j * p[7]
    k = np.broadcast_to(edge.curvature(u), u.shape)[0]
    return Curve(u[0] + offset * edge.heading(u)[0], z.real, z.imag, k / (1.0 + offset * k))


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
