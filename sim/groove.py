"""Where the car goes: closed paths between the edges of a track.

Every groove on a track is the inside edge moved outward by an offset q(u), u the distance along
the edge. Heading is the edge's own less the angle at which the groove leaves it, so curvature
times distance is a difference of headings and the lap turns exactly once, whatever the grid.

References
----------
.. [1] M. P. do Carmo, Differential Geometry of Curves and Surfaces, sec. 1-5, 1-7, 5-7.
.. [2] C. de Boor, A Practical Guide to Splines (B-splines stay inside the hull of their
   coefficients).
.. [3] G. Wahba, Spline Models for Observational Data, ch. 4 (generalised cross-validation).
.. [4] R. Halir and J. Flusser, Numerically stable direct least squares fitting of ellipses,
   WSCG 1998.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.track import InsideEdge, Track, TrackError
from sim.units import FOOT, FloatArray, Real

STATIONS = 720
"""Stations of a lap: about 2 ft apart on a quarter mile."""
SPARE = 1 * FOOT
"""Room left between the body and an edge. Engineering judgement."""
FREE_GROOVES = ("rounded", "diamond")
GROOVES = ("low", "middle", "high", *FREE_GROOVES)

SPLINE_KNOTS = 64
"""Coefficients of a free groove around the lap; doubling them changes its squared curvature by
less than 0.1 % (checked in the tests)."""
PER_KNOT = 4
"""Points at which the curvature is weighed, per spline coefficient."""
RELINEARISATIONS = 12
"""Most steps for a free groove to settle; six are usual."""
SHORTEST_PIECE = 0.5
"""Pieces of the edge shorter than this get no knot of their own, m."""
LENGTH_SHARE = 0.1
"""Weight of the lap's length beside its squared curvature, in units of (2 pi / lap)^2. Squared
curvature alone does not say how far the straights reach; this settles it: the shorter."""
JUMP_COST = 300.0
"""Of a jump of curvature, m^(3/2): one of 1e-4 / m then weighs about a hundredth of a lap."""
TINY = 1e-6
"""m; to either side of a kink."""
SHORTEST_SHARE = 0.05
"""Least share of a step of a free groove that is tried."""
ZONE_KNOTS = 9
"""Knots over a diamond's turning zone."""
SETTLED = 5e-3
"""A free groove has settled when no coefficient moves by more, m."""
DIAMOND_ZONE = 0.30
"""Length of the diamond's turning zone as a share of the corner. Engineering judgement."""
DIAMOND_SHARPNESS = 2.0
"""How much cheaper it is to turn in the zone than elsewhere. Engineering judgement."""
DIAMOND_PAST_MIDDLE = 0.08
"""How far the zone's centre lies past the middle of the corner, as a share of the corner.
Engineering judgement."""

FEWEST_POINTS = 24
"""Fewest points that say where a lap goes. Engineering judgement."""
SMALLEST_LAP = 10.0
"""m from the middle; the points of a smaller lap are in a wrong unit."""
LARGEST_GAP = 0.08
"""Largest gap between the last point and the first, as a share of the lap."""
COARSE_POINTS = 48
"""Means that points are gathered into to see which way they go round."""
LEAST_WAVE = 15.0
"""m; wiggles of a recorded path shorter than this are noise whatever the scatter says. A car's
line has none: about three car lengths. Engineering judgement."""
SMOOTH_ORDER = 4
"""Order of the derivative whose square a recorded path is kept small in: it lets the curvature
change evenly but not waver."""
FREEDOM_COST = 2.0
"""How dear freedom is in the cross-validation score; 1 if the noise of neighbouring points were
independent, which a phone's is not (engineering judgement)."""
MOST_HARMONICS = 40
"""Of a recorded path."""
PATH_PASSES = 3
"""Passes in which the points find their places."""
FINE_POINTS = 2048
"""Points of a path on which places are looked up."""


@dataclass(frozen=True)
class Groove:
    """A closed path, station by station.

    Attributes
    ----------
    name : str
    s : ndarray, shape (n,) or (cases, n)
        Distance along the path of the middle of each station, m.
    ds : ndarray
        Length of each station, m.
    curvature : ndarray
        Mean horizontal curvature of each station, 1/m; positive in left turns.
    bank : ndarray
        rad, positive with the outside higher.
    along_edge : ndarray
        Distance along the inside edge of the middle of each station, m.
    offset : ndarray
        Distance outward from the inside edge, m.
    edge : InsideEdge
    first_end : ndarray of bool
        True from the start to the middle of the back straight: turns 1-2.
    laid : tuple of ndarray, optional
        x and y of each station, m, where the path has places of its own.
    """

    name: str
    s: FloatArray
    ds: FloatArray
    curvature: FloatArray
    bank: FloatArray
    along_edge: FloatArray
    offset: FloatArray
    edge: InsideEdge
    first_end: NDArray[np.bool_]
    laid: tuple[FloatArray, FloatArray] | None = None

    @property
    def length(self) -> Real:
        """Length of the lap, m."""
        length: FloatArray = self.ds.sum(axis=-1)
        return length[()]

    @property
    def turning(self) -> NDArray[np.bool_]:
        """True where the path curves at least as much as the lap does on average."""
        mean: FloatArray = 2 * np.pi / self.ds.sum(axis=-1, keepdims=True)
        return self.curvature >= mean * (1 - 1e-6)

    @property
    def turning_share(self) -> Real:
        """Share of the lap's length that turns."""
        share: FloatArray = (self.ds * self.turning).sum(axis=-1) / self.length
        return share[()]

    @cached_property
    def path(self) -> tuple[FloatArray, FloatArray]:
        """Place of each station, x and y in m from the start of the inside edge."""
        if self.laid is not None:
            return self.laid
        x, y = place(self.edge, self.along_edge, self.offset)
        return x.reshape(self.s.shape), y.reshape(self.s.shape)


def place(edge: InsideEdge, u: FloatArray, offset: Real) -> tuple[FloatArray, FloatArray]:
    """x, y of points at an offset outward of the inside edge, shape (cases, n), m."""
    x, y = edge.position(np.atleast_2d(u))
    theta = edge.heading(np.atleast_2d(u))
    return x + offset * np.sin(theta), y - offset * np.cos(theta)


def make_groove(
    track: Track,
    name: str,
    car_width: Real,
    stations: int = STATIONS,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
    knots: int = SPLINE_KNOTS,
) -> Groove:
    """A groove by its name.

    Parameters
    ----------
    track : Track
    name : str
        One of `GROOVES`.
    car_width : float
        Over the body, m; half of it and `SPARE` are kept off both edges.
    stations : int
    zone, sharpness : float
        Of the diamond: see `diamond_groove`.
    knots : int
        Of a free groove: about how many coefficients its spline has.

    Raises
    ------
    TrackError
        If the car does not fit between the edges.
    """
    least, most = offset_limits(track, car_width)
    if name == "rounded":
        return rounded_groove(track, car_width, stations, knots)
    if name == "diamond":
        return diamond_groove(track, car_width, stations, zone, sharpness, knots)
    offsets = {"low": least, "middle": 0.5 * np.asarray(track.width), "high": most}
    return parallel_groove(track, offsets[name], name, stations)


def offset_limits(track: Track, car_width: Real) -> tuple[Real, Real]:
    """Least and most offset that keep half a car width and `SPARE` off both edges, m."""
    least = 0.5 * np.asarray(car_width) + SPARE
    most = track.width - least
    if np.any(most < least):
        raise TrackError("width", "the car does not fit between the edges with a foot to spare")
    return least, most


def parallel_groove(
    track: Track, offset: Real, name: str = "parallel", stations: int = STATIONS
) -> Groove:
    """The line at a constant distance from the inside edge [1]_.

    Parameters
    ----------
    track : Track
        Numeric fields scalar, or of shape (cases,) for a sweep.
    offset : float or ndarray, shape (cases,)
        m, outward.

    Returns
    -------
    Groove
        Arrays of shape (n,), or (cases, n) when any input is an array.
    """
    edge = track.edge
    swept = len(edge.length) > 1 or np.ndim(offset) > 0
    q = np.asarray(offset, dtype=float)[..., None]
    ends = edge.length * np.linspace(0.0, 1.0, stations + 1)
    turned = np.diff(edge.heading(ends), axis=-1)
    along = np.diff(ends, axis=-1)
    return _groove(name, edge, ends, along + q * turned, turned, q, swept)


def _groove(
    name: str,
    edge: InsideEdge,
    ends: FloatArray,
    ds: FloatArray,
    turned: FloatArray,
    offset: FloatArray,
    swept: bool,
) -> Groove:
    """A groove from the length and the turning of its stations, each shape (cases, n)."""
    along_edge = 0.5 * (ends[:, 1:] + ends[:, :-1])
    s = np.cumsum(ds, axis=-1) - 0.5 * ds
    corners = edge.starts + 0.5 * edge.blends
    first_end = along_edge < 0.5 * (corners[:, 1:2] + corners[:, 2:3])
    s, ds, curvature, bank, along_edge, offset, first_end = (
        array if swept else array[0]
        for array in np.broadcast_arrays(
            s, ds, turned / ds, edge.bank_at(along_edge), along_edge, offset, first_end
        )
    )
    return Groove(name, s, ds, curvature, bank, along_edge, offset, edge, first_end)


# Free grooves: least squared curvature between the edges.


def rounded_groove(
    track: Track, car_width: Real, stations: int = STATIONS, knots: int = SPLINE_KNOTS
) -> Groove:
    """The track rounded out: least integral of squared curvature inside the edges.

    The offset is a periodic cubic spline whose coefficients keep within the limits, and so does
    the spline [2]_. The curvature is linearised in the coefficients and the bounded linear
    least-squares problem solved again until it settles.

    Parameters
    ----------
    track : Track
        One track, no sweep.
    car_width : float
        Over the body, m.
    stations, knots : int
        Stations of the groove, and about how many coefficients the spline has.
    """
    return diamond_groove(track, car_width, stations, 0.0, 1.0, knots, name="rounded")


def diamond_groove(
    track: Track,
    car_width: Real,
    stations: int = STATIONS,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
    knots: int = SPLINE_KNOTS,
    name: str = "diamond",
) -> Groove:
    """As `rounded_groove`, but turning costs less over a short zone past the middle of a corner.

    Parameters
    ----------
    zone : float
        Length of the zone as a share of the corner, 0 to 1.
    sharpness : float
        How much less a squared curvature weighs there; 1 is the rounded groove.
    """
    least, most = offset_limits(track, car_width)
    edge = track.edge
    if len(edge.length) > 1 or np.ndim(least) > 0:
        raise TypeError("a free groove is found for one track and one car at a time")
    zones = _turning_zones(edge, zone) if sharpness > 1.0 else np.empty((0, 2))
    # A zone is short: it gets knots of its own so that what is done in it can be.
    spline = OffsetSpline(edge, knots, np.linspace(zones[:, 0], zones[:, 1], ZONE_KNOTS).ravel())
    weights = _diamond_weights(zones, spline.points, sharpness)
    coefficients = _settle(spline, float(least), float(most), weights)
    return _along_spline(name, spline, coefficients, stations)


class OffsetSpline:
    """A periodic cubic spline of the offset along the inside edge.

    Its knots stand twice at the ends of the edge's blends, where the edge's curvature has its
    kinks, and evenly between them: the offset's second derivative may jump there, so that the
    curvature of the moved edge need not.
    """

    def __init__(self, edge: InsideEdge, knots: int, zones: FloatArray | None = None) -> None:
        self.edge = edge
        self.length = float(edge.length[0, 0])
        corners = (edge.starts + 0.5 * edge.blends)[0]
        blended = edge.blends[0] > SHORTEST_PIECE
        both_ends = np.stack([edge.starts[0], edge.starts[0] + edge.blends[0]], axis=-1)[blended]
        ends = both_ends.ravel()
        clear = (np.diff(ends, prepend=0.0) > SHORTEST_PIECE) & (
            ends < self.length - SHORTEST_PIECE
        )
        self.kinks = ends[clear]
        """Where the curvature of the edge has its kinks, m along it."""
        breaks = np.concatenate([[0.0, 0.5 * (corners[1] + corners[2]), self.length], self.kinks,
                                 np.empty(0) if zones is None else zones])  # fmt: skip
        pieces = np.sort(breaks)
        pieces = pieces[np.diff(pieces, prepend=-1.0) > 1e-9]
        counts = np.maximum(np.ceil(np.diff(pieces) / (self.length / knots) - 0.5), 1).astype(int)
        simple = np.append(
            np.concatenate([
                np.linspace(a, b, n, endpoint=False)
                for a, b, n in zip(pieces[:-1], pieces[1:], counts, strict=True)
            ]),
            self.length,
        )  # fmt: skip
        self.knots = np.sort(np.concatenate([simple, self.kinks]))
        inside = (np.arange(PER_KNOT) + 0.5) / PER_KNOT
        gaps = np.diff(simple)
        self.points = (simple[:-1, None] + gaps[:, None] * inside).ravel()
        """Where the curvature is weighed, m along the edge."""
        self.steps = np.repeat(gaps / PER_KNOT, PER_KNOT)
        """Length of edge that each of the points stands for, m."""

    @property
    def _around(self) -> FloatArray:
        t = self.knots
        return np.concatenate([t[-4:-1] - self.length, t, t[1:4] + self.length])

    @property
    def peaks(self) -> FloatArray:
        """About where along the edge each coefficient weighs most, m (the Greville points)."""
        t, count = self._around, len(self.knots) - 1
        return (t[1 : count + 1] + t[2 : count + 2] + t[3 : count + 3]) / 3.0

    def bases(self, u: FloatArray) -> list[FloatArray]:
        """Values, slopes and second derivatives of the basis at u, each (n, coefficients)."""
        from scipy.interpolate import BSpline

        count = len(self.knots) - 1
        wrapped = np.eye(count)[np.arange(count + 3) % count]
        basis = BSpline(self._around, wrapped, 3)
        return [np.asarray(basis(u, nu=order)) for order in range(3)]


def _turning_zones(edge: InsideEdge, zone: float) -> FloatArray:
    """Start and end of the diamond's turning zone in each corner, shape (2, 2), m."""
    ends = (edge.starts + 0.5 * edge.blends)[0].reshape(2, 2)
    corner = np.diff(ends)
    centre = ends[:, :1] + corner * (0.5 + DIAMOND_PAST_MIDDLE)
    zones: FloatArray = centre + 0.5 * zone * corner * np.array([-1.0, 1.0])
    return zones


def _diamond_weights(zones: FloatArray, u: FloatArray, sharpness: float) -> FloatArray:
    """Weight of squared curvature at u: 1, dipping to 1 / sharpness in the turning zones."""
    weights = np.ones_like(u)
    for start, end in zones:
        reach = np.minimum(np.abs(u - 0.5 * (start + end)) / (0.5 * (end - start)), 1.0)
        weights -= (1.0 - 1.0 / sharpness) * (0.5 + 0.5 * np.cos(np.pi * reach))
    return weights


def _along_spline(name: str, spline: OffsetSpline, c: FloatArray, stations: int) -> Groove:
    """The groove of a spline with coefficients c; distances by Simpson's rule."""
    edge = spline.edge
    grid = edge.length * np.linspace(0.0, 1.0, 2 * stations + 1)
    q, slope, _ = (basis @ c for basis in spline.bases(grid[0]))
    stretch = 1.0 + edge.curvature(grid)[0] * q
    heading = edge.heading(grid)[0] - np.arctan2(slope, stretch)
    pace = np.hypot(slope, stretch)
    simpson = (pace[:-2:2] + 4.0 * pace[1::2] + pace[2::2]) / 6.0
    ends = grid[:, ::2]
    ds, turned = np.diff(ends) * simpson, np.diff(heading[None, ::2])
    return _groove(name, edge, ends, ds, turned, q[None, 1::2], swept=False)


def _settle(spline: OffsetSpline, least: float, most: float, weights: FloatArray) -> FloatArray:
    """Spline coefficients of the offset that weighs least, shape (coefficients,).

    Each step solves the problem linearised about the last offset, and is shortened until it does
    not weigh more than that one did.
    """
    rows_at = _rows(spline, weights)
    c = _swing(spline, least, most)
    rho, A = rows_at(c)
    for _ in range(RELINEARISATIONS):
        step = _bounded_least_squares(A, A @ c - rho, least, most) - c
        share = 1.0
        new_rho, new_A = rows_at(c + step)
        while new_rho @ new_rho > rho @ rho and share > SHORTEST_SHARE:
            share *= 0.5
            new_rho, new_A = rows_at(c + share * step)
        c, rho, A = c + share * step, new_rho, new_A
        if share * np.max(np.abs(step)) < SETTLED:
            break
    return c


def _rows(
    spline: OffsetSpline, weights: FloatArray
) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
    """What is made small, as a function of the coefficients: residuals and their derivatives.

    Root of length and weighed curvature at the points of the spline, and the jumps of the path's
    curvature where the edge's has its kinks, dear enough that none is left.
    """
    edge, u, kinks = spline.edge, spline.points, spline.kinks
    bases, at_kinks = spline.bases(u), spline.bases(kinks)
    jumps = spline.bases(kinks + TINY)[2] - spline.bases(kinks - TINY)[2]
    k, k_slope, k_kinks = edge.curvature(u)[0], _edge_slope(edge, u), edge.curvature(kinks)[0]
    slope_jumps = _edge_slope(edge, kinks + TINY) - _edge_slope(edge, kinks - TINY)
    shortness = np.sqrt(LENGTH_SHARE) * 2 * np.pi / spline.length
    scale = np.sqrt(np.concatenate([shortness**2 * spline.steps, weights * spline.steps]))

    def rows_at(c: FloatArray) -> tuple[FloatArray, FloatArray]:
        offsets = [basis @ c for basis in bases]
        parts = [_root_stretch(k, offsets), _weighed_curvature(k, k_slope, offsets)]
        rho = scale * np.concatenate([value for value, _ in parts])
        A = scale[:, None] * np.concatenate(
            [sum(d[:, None] * b for d, b in zip(by_q, bases, strict=True)) for _, by_q in parts]
        )
        q, q1 = (basis @ c for basis in at_kinks[:2])
        p = 1.0 + k_kinks * q
        jump = p * (jumps @ c) - q * q1 * slope_jumps
        by_c = (
            p[:, None] * jumps
            + (k_kinks * (jumps @ c) - q1 * slope_jumps)[:, None] * at_kinks[0]
            - (q * slope_jumps)[:, None] * at_kinks[1]
        )
        return np.append(rho, JUMP_COST * jump), np.concatenate([A, JUMP_COST * by_c])

    return rows_at


def _bounded_least_squares(
    A: FloatArray, target: FloatArray, least: float, most: float
) -> FloatArray:
    from scipy.optimize import lsq_linear

    Q, R = np.linalg.qr(A)
    bounds = (least, max(most, least + SETTLED))
    return np.asarray(lsq_linear(R, Q.T @ target, bounds=bounds, method="bvls").x)


def _swing(spline: OffsetSpline, least: float, most: float) -> FloatArray:
    """A first guess: wide on the straights, half way down in the middle of the corners."""
    u, lap = spline.peaks, spline.length
    ends = (spline.edge.starts + 0.5 * spline.edge.blends)[0]
    low = np.zeros_like(u)
    for middle in (0.5 * (ends[0] + ends[1]), 0.5 * (ends[2] + ends[3])):
        away = (u - middle + lap / 2) % lap - lap / 2
        low += np.exp(-0.5 * (away / (0.08 * lap)) ** 2)
    return most - 0.5 * (most - least) * np.minimum(low, 1.0)


Residual = tuple[FloatArray, tuple[FloatArray, ...]]
"""Values at the points, and their derivatives by q, dq/du and d2q/du2."""


def _weighed_curvature(k: FloatArray, k_slope: FloatArray, offsets: list[FloatArray]) -> Residual:
    """Curvature times the root of ds/du, of the edge moved outward by q.

    With p = 1 + k q, D = p^2 + q1^2 and M = k p^2 + q1 (k_slope q + 2 k q1) - p q2 the curvature
    of the moved curve is M / D^(3/2) [1]_ and ds/du = D^(1/2): the value is M D^(-5/4).
    """
    q, q1, q2 = offsets
    p = 1.0 + k * q
    D = p**2 + q1**2
    M = k * p**2 + q1 * (k_slope * q + 2.0 * k * q1) - p * q2
    shrink = D**-1.25
    slide = 1.25 * M / D
    return M * shrink, (
        shrink * (2.0 * k**2 * p + q1 * k_slope - k * q2 - slide * 2.0 * p * k),
        shrink * (k_slope * q + 4.0 * k * q1 - slide * 2.0 * q1),
        shrink * -p,
    )


def _root_stretch(k: FloatArray, offsets: list[FloatArray]) -> Residual:
    """Root of ds/du, D^(1/4): its square is the length."""
    q, q1, _ = offsets
    p = 1.0 + k * q
    D = p**2 + q1**2
    shrink = 0.5 * D**-0.75
    return D**0.25, (shrink * p * k, shrink * q1, np.zeros_like(q))


def _edge_slope(edge: InsideEdge, u: FloatArray) -> FloatArray:
    """dk/du of the edge at distances u, shape (n,)."""
    into = (u[:, None] - edge.starts) / edge.blends
    slope: FloatArray = np.where((into > 0) & (into < 1), edge.steps / edge.blends, 0.0).sum(
        axis=-1
    )
    return slope


# Measured grooves: a smooth closed path through recorded points.


class PathError(ValueError):
    """Points that make no lap; the message says why and what to do."""


@dataclass(frozen=True)
class ClosedPath:
    """A smooth closed path run anticlockwise, as a Fourier series in its own length.

    Attributes
    ----------
    coefficients : ndarray of complex, shape (2 harmonics + 1,)
        Of x + i y in m, harmonics -h to h.
    length : float
        m.
    noise : float
        Root-mean-square distance of the points from the path, m.
    turned_round : bool
        Whether the points ran clockwise.
    """

    coefficients: NDArray[np.complex128]
    length: float
    noise: float
    turned_round: bool

    def at(self, s: FloatArray, order: int = 0) -> NDArray[np.complex128]:
        """x + i y at distances s, shape (n,), or its derivative of an order by distance."""
        turns = _harmonics(len(self.coefficients)) * (2j * np.pi / self.length)
        values: NDArray[np.complex128] = np.exp(np.outer(s, turns)) @ (
            self.coefficients * turns**order
        )
        return values

    def curvature(self, s: FloatArray) -> FloatArray:
        """Curvature at distances s, 1/m, positive to the left."""
        first, second = self.at(s, 1), self.at(s, 2)
        bent: FloatArray = (np.conj(first) * second).imag / np.abs(first) ** 3
        return bent


def smooth_closed_path(x: FloatArray, y: FloatArray) -> ClosedPath:
    """A smooth closed path through points of one lap or of several laps laid over each other.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        m, in the order driven.

    Returns
    -------
    ClosedPath

    Raises
    ------
    PathError
        If there are too few points, or they do not close, cross themselves or go nowhere.

    Notes
    -----
    A smoothing spline in Fourier form: the squared distance of the points plus a weight times the
    squared derivative of `SMOOTH_ORDER`, so that the noise of a phone does not turn into
    curvature. An ellipse weighs nothing: only what makes a lap differ from one is smoothed. The
    weight is the one with the least generalised cross-validation score [3]_, not below what
    smooths over `LEAST_WAVE`. Each pass sets every point where the last path comes nearest to it.
    The parameter is either the angle of the best ellipse, which suits a round lap, or the distance
    along it, which suits a paper clip; the same score picks.
    """
    z, turned_round = _one_way_round(x, y)
    fits = [_fitted(z, evenly, turned_round) for evenly in (False, True)]
    best, _ = min(fits, key=lambda fit: fit[1])
    s = nearest_places(best, z)
    noise = float(np.sqrt(np.mean(np.abs(z - best.at(s)) ** 2)))
    return _by_its_own_length(replace(best, noise=noise))


def _fitted(
    z: NDArray[np.complex128], evenly: bool, turned_round: bool
) -> tuple[ClosedPath, float]:
    """A smooth path and its score, its parameter the distance (evenly) or an ellipse's angle."""
    s, length = _first_places(z)
    score = np.inf
    for _ in range(PATH_PASSES):
        coefficients, score = _smoothed(z, s, length)
        path = ClosedPath(coefficients, length, 0.0, turned_round)
        path = _by_its_own_length(path) if evenly else path
        s, length = nearest_places(path, z), path.length
    return path, score


def _harmonics(count: int) -> NDArray[np.int_]:
    return np.arange(count) - count // 2


def _one_way_round(x: FloatArray, y: FloatArray) -> tuple[NDArray[np.complex128], bool]:
    """The points as x + i y, anticlockwise; refused when they are no lap."""
    z = np.asarray(x, dtype=float) + 1j * np.asarray(y, dtype=float)
    if len(z) < FEWEST_POINTS:
        raise PathError(f"{len(z)} points are too few; record at least {FEWEST_POINTS} a lap")
    if not np.all(np.isfinite(z)):
        raise PathError("a point is not a number")
    size = float(np.max(np.abs(z - z.mean())))
    if size < SMALLEST_LAP:
        raise PathError("the points go nowhere; is the unit right?")
    angle = np.unwrap(np.angle(_coarse(z) - z.mean()))
    laps = (angle[-1] - angle[0]) / (2 * np.pi)
    if abs(laps) < 0.75:
        crossed = np.ptp(angle) > 1.5 * np.pi
        raise PathError(
            "the points cross themselves; record one way round" if crossed
            else "the points do not close; record a whole lap"
        )  # fmt: skip
    gap = abs(z[0] - z[-1])
    if abs(laps) < 1.5 and gap > LARGEST_GAP * 2 * np.pi * size:
        raise PathError("the points do not close; record until you are back at the start")
    _refuse_crossing(z, abs(laps))
    return (z[::-1], True) if laps < 0 else (z, False)


def _coarse(z: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Means of neighbouring points, few enough that noise does not turn them back."""
    parts = np.array_split(z, min(len(z), COARSE_POINTS))
    return np.array([part.mean() for part in parts])


def _refuse_crossing(z: NDArray[np.complex128], laps: float) -> None:
    from shapely import LinearRing

    if laps < 1.5:
        coarse = _coarse(z)
        if not LinearRing(np.stack([coarse.real, coarse.imag], axis=-1)).is_simple:
            raise PathError("the points cross themselves; record one way round")


def _first_places(z: NDArray[np.complex128]) -> tuple[FloatArray, float]:
    """First guess of where each point lies along the lap: its angle on the best ellipse.

    Returns
    -------
    s : ndarray, shape (n,)
        The angle, in m around a lap of `length`.
    length : float
        About that of the lap, m.
    """
    centre, a, b = _best_ellipse(z)
    turn = a / np.abs(a)
    w = (z - centre) / turn
    angle = np.arctan2(w.imag / b, w.real / np.abs(a)) % (2 * np.pi)
    length = float(np.pi * (np.abs(a) + b))
    return angle / (2 * np.pi) * length, length


def _best_ellipse(z: NDArray[np.complex128]) -> tuple[complex, complex, float]:
    """Ellipse of least algebraic distance from points [4]_: middle, long half axis as a complex
    number along it, and short half axis, m."""
    middle, size = z.mean(), np.abs(z - z.mean()).max()
    x, y = ((z - middle) / size).real, ((z - middle) / size).imag
    squares, plain = np.stack([x**2, x * y, y**2]), np.stack([x, y, np.ones_like(x)])
    inner = -np.linalg.solve(plain @ plain.T, plain @ squares.T)
    scatter = squares @ squares.T + squares @ plain.T @ inner
    scatter = np.array([scatter[2] / 2, -scatter[1], scatter[0] / 2])
    vectors = np.linalg.eig(scatter)[1].real
    A, B, C = vectors[:, np.argmax(4 * vectors[0] * vectors[2] - vectors[1] ** 2)]
    D, E, F = inner @ np.array([A, B, C])
    form = np.array([[A, B / 2], [B / 2, C]])
    centre = np.linalg.solve(-2 * form, np.array([D, E]))
    level = -(F + 0.5 * (D * centre[0] + E * centre[1]))
    values, axes = np.linalg.eigh(form / level)
    halves = size / np.sqrt(np.maximum(values, 1e-6))
    along = complex(axes[0, 0], axes[1, 0])
    return middle + size * complex(*centre), halves[0] * along, float(halves[1])


def _smoothed(
    z: NDArray[np.complex128], s: FloatArray, length: float
) -> tuple[NDArray[np.complex128], float]:
    """Fourier coefficients of the smoothing spline through points z at places s, and its score."""
    count = 2 * min(MOST_HARMONICS, (len(z) - 1) // 3) + 1
    turns = _harmonics(count) * (2 * np.pi / length)
    E = np.exp(1j * np.outer(s, turns))
    roughness = (turns * LEAST_WAVE / (2 * np.pi)) ** (2 * SMOOTH_ORDER)
    roughness[np.abs(_harmonics(count)) <= 1] = 0.0  # a point and an ellipse about it
    normal = E.conj().T @ E / len(z) + np.diag(roughness)
    # In the basis where both the fit and the roughness are diagonal every weight is one division.
    L = np.linalg.cholesky(normal)
    half = np.linalg.solve(L, np.diag(np.sqrt(roughness)).astype(complex))
    rough, U = np.linalg.eigh(half @ half.conj().T)
    basis = np.linalg.solve(L.conj().T, U)
    seen = basis.conj().T @ (E.conj().T @ z) / len(z)
    shrink = 1.0 / (1.0 + np.geomspace(1e-6, 1e12, 91)[:, None] * np.maximum(rough, 0.0))
    inner = np.einsum("ij,ji->i", basis.conj().T @ (normal - np.diag(roughness)), basis).real
    left = np.mean(np.abs(z) ** 2) - (np.abs(seen) ** 2 * shrink * (2.0 - shrink)).sum(axis=1)
    used = (shrink * inner).sum(axis=1) / len(z)
    score = np.maximum(left, 0.0) / np.maximum(1.0 - FREEDOM_COST * used, 1e-3) ** 2
    least = int(np.argmin(score))
    return basis @ (shrink[least] * seen), float(score[least])


def nearest_places(path: ClosedPath, z: NDArray[np.complex128]) -> FloatArray:
    """Where along the path each point has it nearest, in the path's parameter.

    Parameters
    ----------
    path : ClosedPath
        Of a smoothed path the parameter is the distance along it, m.
    z : ndarray of complex
        Points x + i y, m.
    """
    from scipy.spatial import KDTree

    fine = np.linspace(0.0, path.length, FINE_POINTS, endpoint=False)
    curve, pace = path.at(fine), path.at(fine, 1)
    tree = KDTree(np.stack([curve.real, curve.imag], axis=-1))
    _, nearest = tree.query(np.stack([z.real, z.imag], axis=-1))
    along = ((z - curve[nearest]) * np.conj(pace[nearest])).real / np.abs(pace[nearest]) ** 2
    places: FloatArray = (fine[nearest] + along) % path.length
    return places


def _by_its_own_length(path: ClosedPath) -> ClosedPath:
    """The path with its true length as its parameter."""
    fine = np.linspace(0.0, path.length, FINE_POINTS + 1)
    pace = np.abs(path.at(fine, 1))
    run = np.concatenate([[0.0], np.cumsum(0.5 * (pace[1:] + pace[:-1]) * np.diff(fine))])
    length = float(run[-1])
    even = np.interp(np.linspace(0.0, length, FINE_POINTS, endpoint=False), run, fine)
    spectrum = np.fft.fft(path.at(even)) / FINE_POINTS
    kept = np.arange(-2 * MOST_HARMONICS, 2 * MOST_HARMONICS + 1)
    return replace(path, coefficients=spectrum[kept], length=length)


def measured_groove(track: Track, path: ClosedPath, stations: int = STATIONS) -> Groove:
    """A recorded path as a groove of a track.

    The points have a frame of their own, so the lap is laid to start in the middle of a straight
    (see `_front_straight`), and the bank of a station is read from how hard it turns: that of the
    straights where it does not, that of the corners where it turns as hard as the middle groove.

    Parameters
    ----------
    track : Track
        For its bank and its edges.
    path : ClosedPath
        See `smooth_closed_path`.
    """
    start, half = _front_straight(track, path)
    ends = start + np.linspace(0.0, path.length, stations + 1)
    middles = 0.5 * (ends[1:] + ends[:-1])
    heading = np.unwrap(np.angle(path.at(ends, 1)))
    ds = np.diff(ends)
    curvature = np.diff(heading) / ds
    tightest = 1.0 / (max(map(float, track.inside_radius)) + 0.5 * float(track.width))
    share = np.clip(curvature / tightest, 0.0, 1.0)
    bank = track.bank.straights + (track.bank.corners - track.bank.straights) * share
    laid = (path.at(middles) - path.at(start[None])) * np.exp(-1j * heading[0])
    laid -= 0.5j * float(track.width)
    return Groove(
        "measured", middles - start, ds, curvature, bank, (middles - start) / path.length,
        np.zeros_like(ds), track.edge, middles - start < half, (laid.real, laid.imag),
    )  # fmt: skip


def lap_start(track: Track, path: ClosedPath) -> float:
    """Where along a recorded path `measured_groove` starts the lap, m."""
    return float(_front_straight(track, path)[0])


def _front_straight(track: Track, path: ClosedPath) -> tuple[FloatArray, FloatArray]:
    """Where the lap starts, and how far it is to the middle of the back straight, m.

    The start is the middle of the straightest stretch; where the ends of the track differ, it is
    the one of the two straights after which the ends come in the order of the track.
    """
    lap = path.length
    start = _straightest(path, 0.0, lap)
    half = _straightest(path, start + 0.3 * lap, start + 0.7 * lap) - start
    R_1, R_2 = track.inside_radius
    first = path.curvature(start + half * np.linspace(0.0, 1.0, 200)).max()
    second = path.curvature(start + half + (lap - half) * np.linspace(0.0, 1.0, 200)).max()
    if (R_1 - R_2) * (first - second) > 0:
        return start + half, lap - half
    return start, half


def _straightest(path: ClosedPath, start: Real, end: Real) -> FloatArray:
    """Middle of the tenth of a lap that turns least, between two places, m."""
    s = np.linspace(start, end, 241)
    reach = 0.05 * path.length
    turned = path.at(s + reach, 1) * np.conj(path.at(s - reach, 1))
    least = np.abs(np.angle(turned))
    return np.asarray(s[int(np.argmin(least))])
