"""Offsets of a groove as a periodic spline along the inside edge, and the path that it makes.

References
----------
.. [1] C. de Boor, A Practical Guide to Splines, ch. 9 and 10 (the recurrence; B-splines stay inside
   the hull of their coefficients).
"""

from functools import cached_property

import numpy as np

from rollpath.groove.path import Groove, groove_from_offset
from rollpath.track import InsideEdge
from rollpath.units import FloatArray

PER_KNOT = 4
"""Points at which the curvature is weighed, per spline coefficient."""
SHORTEST_PIECE = 0.5
"""Pieces of the edge shorter than this get no knot of their own, m."""
SAME_PLACE = 1e-9
"""m."""
DEGREE = 3


class OffsetSpline:
    """A periodic cubic spline of the offset along the inside edge.

    Its knots stand twice at the ends of the edge's blends, where the edge's curvature has its
    kinks, and evenly between them: the offset's second derivative may jump there, so that the
    curvature of the moved edge need not.

    Parameters
    ----------
    edge : InsideEdge
        Of one track.
    knots : int
        About how many coefficients there are around the lap.
    more : ndarray, optional
        Further knots, m along the edge.
    """

    def __init__(self, edge: InsideEdge, knots: int, more: FloatArray | None = None) -> None:
        self.edge = edge
        self.length = float(edge.length[0, 0])
        corners = (edge.starts + 0.5 * edge.blends)[0]
        ends = np.stack([edge.starts[0], edge.starts[0] + edge.blends[0]], axis=-1).ravel()
        clear = (np.diff(ends, prepend=0.0) > SHORTEST_PIECE) & (
            ends < self.length - SHORTEST_PIECE
        )
        self.kinks = ends[clear]
        """Where the curvature of the edge has its kinks, m along it."""
        wanted = np.append(0.5 * (corners[1] + corners[2]), np.empty(0) if more is None else more)
        breaks = np.concatenate([[0.0, self.length], self.kinks])
        apart = np.abs(wanted[:, None] - breaks).min(axis=1) > SHORTEST_PIECE
        simple = _evenly_between(np.append(breaks, wanted[apart]), self.length / knots)
        self.knots = np.sort(np.concatenate([simple, self.kinks]))
        inside = (np.arange(PER_KNOT) + 0.5) / PER_KNOT
        gaps = np.diff(simple)
        self.points = (simple[:-1, None] + gaps[:, None] * inside).ravel()
        """Where the curvature is weighed, m along the edge."""
        self.steps = np.repeat(gaps / PER_KNOT, PER_KNOT)
        """Length of edge that each of the points stands for, m."""

    @property
    def count(self) -> int:
        """How many coefficients there are."""
        return len(self.knots) - 1

    @cached_property
    def peaks(self) -> FloatArray:
        """About where along the edge each coefficient weighs most, m (the Greville points)."""
        t, count = self._around, self.count
        peaks: FloatArray = (t[1 : count + 1] + t[2 : count + 2] + t[3 : count + 3]) / 3.0
        return peaks

    @cached_property
    def _around(self) -> FloatArray:
        t = self.knots
        return np.concatenate([t[-4:-1] - self.length, t, t[1:4] + self.length])

    def bases(self, u: FloatArray) -> list[FloatArray]:
        """Values, slopes and second derivatives of the basis at u, each (n, coefficients).

        Parameters
        ----------
        u : ndarray, shape (n,)
            Along the inside edge, m.
        """
        first, parts = cubic_bases(self._around, u)
        rows = np.arange(len(u))[:, None]
        columns = (first[:, None] + np.arange(DEGREE + 1)) % self.count
        whole = []
        for part in parts:
            basis = np.zeros((len(u), self.count))
            basis[rows, columns] = part
            whole.append(basis)
        return whole


def _evenly_between(breaks: FloatArray, gap: float) -> FloatArray:
    """The breaks, and places about a gap apart between them."""
    pieces = np.sort(breaks)
    pieces = pieces[np.diff(pieces, prepend=-1.0) > SAME_PLACE]
    counts = np.maximum(np.ceil(np.diff(pieces) / gap - 0.5), 1).astype(int)
    between = [
        np.linspace(a, b, n, endpoint=False)
        for a, b, n in zip(pieces[:-1], pieces[1:], counts, strict=True)
    ]
    return np.append(np.concatenate(between), pieces[-1])


def cubic_bases(knots: FloatArray, u: FloatArray) -> tuple[np.ndarray, list[FloatArray]]:
    """The four cubic B-splines that are not nothing at each place: Cox and de Boor's recurrence.

    Parameters
    ----------
    knots : ndarray
        Rising, three more at either end than the range of `u`.
    u : ndarray, shape (n,)

    Returns
    -------
    first : ndarray of int, shape (n,)
        Which spline the first of the four is.
    parts : list of ndarray, each of shape (n, 4)
        Values, first and second derivatives.
    """
    last = len(knots) - DEGREE - 2
    piece = np.clip(np.searchsorted(knots, u, side="right") - 1, DEGREE, last)
    while np.any(empty := knots[piece] >= knots[piece + 1]):
        piece = piece - empty
    behind = [u - knots[piece - i] for i in range(DEGREE)]
    ahead = [knots[piece + i + 1] - u for i in range(DEGREE)]
    by_degree = [[np.ones_like(u)]]
    for degree in range(1, DEGREE + 1):
        lower, values, saved = by_degree[-1], [], np.zeros_like(u)
        for i in range(degree):
            share = lower[i] / (ahead[i] + behind[degree - 1 - i])
            values.append(saved + ahead[i] * share)
            saved = behind[degree - 1 - i] * share
        by_degree.append([*values, saved])
    slopes = _derivative(by_degree[2], knots, piece)
    bends = _derivative(_derivative(by_degree[1], knots, piece), knots, piece)
    return piece - DEGREE, [np.stack(part, axis=-1) for part in (by_degree[3], slopes, bends)]


def _derivative(lower: list[FloatArray], knots: FloatArray, piece: np.ndarray) -> list[FloatArray]:
    """Derivatives of the splines of one degree more, from values of the lower degree [1]_."""
    degree = len(lower)
    parts = []
    for i in range(degree + 1):
        rises = np.zeros_like(lower[0])
        if i > 0:
            rises = rises + lower[i - 1] / (knots[piece + i] - knots[piece + i - degree])
        if i < degree:
            rises = rises - lower[i] / (knots[piece + i + 1] - knots[piece + i + 1 - degree])
        parts.append(degree * rises)
    return parts


def nearest_coefficients(spline: OffsetSpline, u: FloatArray, offset: FloatArray) -> FloatArray:
    """Coefficients with which a spline comes nearest to offsets at places along the edge.

    Parameters
    ----------
    spline : OffsetSpline
    u, offset : ndarray, shape (n,)
        Along the inside edge and outward of it, m.
    """
    return np.asarray(np.linalg.lstsq(spline.bases(u)[0], offset, rcond=None)[0], dtype=float)


class SplinePath:
    """The stations of a groove as a function of the coefficients of its offset.

    Distances by Simpson's rule, turning by differences of heading.

    Parameters
    ----------
    spline : OffsetSpline
    stations : int
    """

    def __init__(self, spline: OffsetSpline, stations: int) -> None:
        self.edge = edge = spline.edge
        self.grid = edge.length * np.linspace(0.0, 1.0, 2 * stations + 1)
        self._values, self._slopes, _ = spline.bases(self.grid[0])
        self._edge_curvature = edge.curvature(self.grid)[0]
        self._edge_heading = edge.heading(self.grid)[0]
        self._along = np.diff(self.grid[0, ::2])

    def groove(self, name: str, c: FloatArray, settled: bool = True) -> Groove:
        """The groove with coefficients c.

        Parameters
        ----------
        name : str
        c : ndarray, shape (coefficients,)
            Offset, m.
        settled : bool
        """
        q, slope = self._values @ c, self._slopes @ c
        stretch = 1.0 + self._edge_curvature * q
        heading = self._edge_heading - np.arctan2(slope, stretch)
        pace = np.hypot(slope, stretch)
        simpson = (pace[:-2:2] + 4.0 * pace[1::2] + pace[2::2]) / 6.0
        ds, turned = self._along[None] * simpson, np.diff(heading[None, ::2])
        return groove_from_offset(
            name, self.edge, self.grid[:, ::2], ds, turned, q[None, 1::2], swept=False,
            settled=settled,
        )  # fmt: skip

    def pulled_back(
        self, c: FloatArray, by_curvature: FloatArray, by_length: FloatArray, by_offset: FloatArray
    ) -> FloatArray:
        """Slope by the coefficients of what has these slopes by the stations.

        Parameters
        ----------
        c : ndarray, shape (coefficients,)
        by_curvature, by_length, by_offset : ndarray, shape (stations,)
            Slopes by the curvature, the length and the offset of each station alone.
        """
        q, slope = self._values @ c, self._slopes @ c
        k = self._edge_curvature
        stretch = 1.0 + k * q
        square = slope**2 + stretch**2
        pace = np.sqrt(square)
        simpson = (pace[:-2:2] + 4.0 * pace[1::2] + pace[2::2]) / 6.0
        ds = self._along * simpson
        curvature = np.diff((self._edge_heading - np.arctan2(slope, stretch))[::2]) / ds
        by_turn = by_curvature / ds
        by_ds = by_length - by_turn * curvature
        by_heading, by_pace, by_q = np.zeros_like(q), np.zeros_like(q), np.zeros_like(q)
        by_heading[2::2] += by_turn
        by_heading[:-2:2] -= by_turn
        for start, weight in ((0, 1.0), (1, 4.0), (2, 1.0)):
            end = len(q) - 2 + start
            by_pace[start:end:2] += by_ds * self._along * weight / 6.0
        by_q[1::2] = by_offset
        by_q += k * (by_heading * slope / square + by_pace * stretch / pace)
        by_slope = by_pace * slope / pace - by_heading * stretch / square
        by_c: FloatArray = by_q @ self._values + by_slope @ self._slopes
        return by_c
