"""Free grooves: least squared curvature between the edges.

References
----------
.. [2] C. de Boor, A Practical Guide to Splines (B-splines stay inside the hull of their
   coefficients).
"""

from collections.abc import Callable

import numpy as np

from rollpath.groove.path import STATIONS, Groove, groove_from_offset, offset_limits
from rollpath.track import InsideEdge, Track
from rollpath.units import FloatArray, Real

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
    return groove_from_offset(name, edge, ends, ds, turned, q[None, 1::2], swept=False)


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
