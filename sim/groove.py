"""Where the car goes: closed paths between the edges of a track.

Every groove on a track is the inside edge moved outward by an offset q(u), u the distance along
the edge. Heading is the edge's own less the angle at which the groove leaves it, so curvature
times distance is a difference of headings and the lap turns exactly once, whatever the grid.

References
----------
.. [1] M. P. do Carmo, Differential Geometry of Curves and Surfaces, sec. 1-5, 1-7, 5-7.
.. [2] C. de Boor, A Practical Guide to Splines (B-splines stay inside the hull of their
   coefficients).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.track import InsideEdge, Track, TrackError
from sim.units import FOOT, FloatArray, Real

STATIONS = 720
"""Stations of a lap: about 2 ft apart on a quarter mile."""
SPARE = 1 * FOOT
"""Room left between the body and an edge. Engineering judgement."""
GROOVES = ("low", "middle", "high", "rounded", "diamond")

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
SETTLED = 5e-3
"""A free groove has settled when no coefficient moves by more, m."""
DIAMOND_ZONE = 0.30
"""Length of the diamond's turning zone as a share of the corner. Engineering judgement."""
DIAMOND_SHARPNESS = 2.0
"""How much cheaper it is to turn in the zone than elsewhere. Engineering judgement."""
DIAMOND_PAST_MIDDLE = 0.08
"""How far the zone's centre lies past the middle of the corner, as a share of the corner.
Engineering judgement."""


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
    """

    name: str
    s: FloatArray
    ds: FloatArray
    curvature: FloatArray
    bank: FloatArray
    along_edge: FloatArray
    offset: FloatArray
    edge: InsideEdge

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
    s, ds, curvature, bank, along_edge, offset = (
        array if swept else array[0]
        for array in np.broadcast_arrays(
            s, ds, turned / ds, edge.bank_at(along_edge), along_edge, offset
        )
    )
    return Groove(name, s, ds, curvature, bank, along_edge, offset, edge)


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
    spline = OffsetSpline(edge, knots)
    weights = _diamond_weights(edge, spline.points, zone, sharpness)
    coefficients = _settle(spline, float(least), float(most), weights)
    return _along_spline(name, spline, coefficients, stations)


class OffsetSpline:
    """A periodic cubic spline of the offset along the inside edge.

    Its knots stand twice at the ends of the edge's blends, where the edge's curvature has its
    kinks, and evenly between them: the offset's second derivative may jump there, so that the
    curvature of the moved edge need not.
    """

    def __init__(self, edge: InsideEdge, knots: int) -> None:
        self.edge = edge
        self.length = float(edge.length[0, 0])
        pieces = edge.knots[0]
        pieces = pieces[np.concatenate([[True], np.diff(pieces) > SHORTEST_PIECE])]
        pieces[-1] = self.length
        counts = np.maximum(np.round(np.diff(pieces) / (self.length / knots)), 2).astype(int)
        simple = np.concatenate([
            *(np.linspace(a, b, n, endpoint=False)
              for a, b, n in zip(pieces[:-1], pieces[1:], counts, strict=True)),
            pieces[-1:],
        ])  # fmt: skip
        self.knots = np.sort(np.concatenate([simple, pieces[1:-1]]))
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


def _diamond_weights(edge: InsideEdge, u: FloatArray, zone: float, sharpness: float) -> FloatArray:
    """Weight of squared curvature at u: 1, dipping to 1 / sharpness in the turning zones."""
    ends = (edge.starts + 0.5 * edge.blends)[0]
    dip = np.zeros_like(u)
    for start, end in (ends[:2], ends[2:]):
        corner = end - start
        centre = start + corner * (0.5 + DIAMOND_PAST_MIDDLE)
        reach = np.minimum(np.abs(u - centre) / max(0.5 * zone * corner, 1e-9), 1.0)
        dip += 0.5 + 0.5 * np.cos(np.pi * reach)
    return 1.0 - (1.0 - 1.0 / sharpness) * dip


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
    """Spline coefficients of the offset that weighs least, shape (coefficients,)."""
    edge, u = spline.edge, spline.points
    bases = spline.bases(u)
    k, k_slope = edge.curvature(u)[0], _edge_slope(edge, u)
    shortness = np.sqrt(LENGTH_SHARE) * 2 * np.pi / spline.length
    scale = np.sqrt(np.concatenate([shortness**2 * spline.steps, weights * spline.steps]))
    c = _swing(spline, least, most)
    for _ in range(RELINEARISATIONS):
        offsets = [basis @ c for basis in bases]
        rows = [_root_stretch(k, offsets), _weighed_curvature(k, k_slope, offsets)]
        rho = scale * np.concatenate([value for value, _ in rows])
        A = scale[:, None] * np.concatenate(
            [sum(d[:, None] * b for d, b in zip(by_q, bases, strict=True)) for _, by_q in rows]
        )
        settled = _bounded_least_squares(A, A @ c - rho, least, most)
        moved = np.max(np.abs(settled - c))
        c = settled
        if moved < SETTLED:
            break
    return c


def _bounded_least_squares(
    A: FloatArray, target: FloatArray, least: float, most: float
) -> FloatArray:
    from scipy.optimize import lsq_linear

    Q, R = np.linalg.qr(A)
    bounds = (least, max(most, least + SETTLED))
    return np.asarray(lsq_linear(R, Q.T @ target, bounds=bounds, method="bvls").x)


def _swing(spline: OffsetSpline, least: float, most: float) -> FloatArray:
    """A first guess: wide on the straights, low in the middle of the corners."""
    u, lap = spline.peaks, spline.length
    ends = (spline.edge.starts + 0.5 * spline.edge.blends)[0]
    low = np.zeros_like(u)
    for middle in (0.5 * (ends[0] + ends[1]), 0.5 * (ends[2] + ends[3])):
        away = (u - middle + lap / 2) % lap - lap / 2
        low += np.exp(-0.5 * (away / (0.08 * lap)) ** 2)
    return most - (most - least) * np.minimum(low, 1.0)


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
