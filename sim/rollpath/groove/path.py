"""Where the car goes: closed paths between the edges of a track.

Every groove on a track is the inside edge moved outward by an offset q(u), u the distance along
the edge. Heading is the edge's own less the angle at which the groove leaves it, so curvature
times distance is a difference of headings and the lap turns exactly once, whatever the grid.

References
----------
.. [1] M. P. do Carmo, Differential Geometry of Curves and Surfaces, sec. 1-5, 1-7, 5-7.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollpath.track import Bank, Condition, GripBands, InsideEdge, Track, TrackError
from rollpath.units import FOOT, FloatArray, Real

STATIONS = 720
"""Stations of a lap: about 2 ft apart on a quarter mile."""
SPARE = 1 * FOOT
"""Room left between the body and an edge. Engineering judgement."""
FREE_GROOVES = ("rounded", "diamond")
FASTEST = "fastest"
GROOVES = ("low", "middle", "high", *FREE_GROOVES, FASTEST)


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
    settled : bool
        False where the search for the line ended before it settled: it is a line, not the best.
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
    settled: bool = True

    @property
    def length(self) -> Real:
        """Length of the lap, m."""
        length: FloatArray = self.ds.sum(axis=-1)
        return length[()]

    @property
    def share_across(self) -> FloatArray:
        """How far across the track each station lies: 0 at the inside edge, 1 at the outside."""
        width = self.edge.width if self.offset.ndim > 1 else self.edge.width[0]
        share: FloatArray = self.offset / width
        return share

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


def every_other(groove: Groove) -> Groove:
    """Every other station of a groove, each with half the length of its neighbours."""
    ds, picked = groove.ds, (..., slice(None, None, 2))
    around = 0.5 * (np.roll(ds, 1, axis=-1) + np.roll(ds, -1, axis=-1))
    laid = None if groove.laid is None else (groove.laid[0][picked], groove.laid[1][picked])
    fewer: dict[str, Any] = {
        name: getattr(groove, name)[picked]
        for name in ("s", "curvature", "bank", "along_edge", "offset", "first_end")
    }
    return replace(groove, ds=(ds + around)[picked], laid=laid, **fewer)


def side_by_side(grooves: Sequence[Groove]) -> Groove:
    """Single grooves of one name and as many stations each as one sweep, shape (cases, n)."""
    edges = [groove.edge for groove in grooves]
    bank = Bank(*(
        np.concatenate([getattr(edge.bank, name) for edge in edges])
        for name in ("corners", "straights")
    ))  # fmt: skip
    edge = InsideEdge(bank=bank, **{
        name: np.concatenate([getattr(edge, name) for edge in edges])
        for name in ("length", "base", "steps", "starts", "blends", "width")
    })  # fmt: skip
    stacked: dict[str, Any] = {
        name: np.stack([getattr(groove, name) for groove in grooves])
        for name in ("s", "ds", "curvature", "bank", "along_edge", "offset", "first_end")
    }
    settled = all(groove.settled for groove in grooves)
    return Groove(grooves[0].name, edge=edge, settled=settled, **stacked)


def grip_under(groove: Groove, condition: Condition) -> FloatArray:
    """Grip under the car.

    Parameters
    ----------
    groove : Groove
        Stations, (n,) or (cases, n).
    condition : Condition

    Returns
    -------
    ndarray
        Of shape (1,) or (cases, 1) where it is the same across the track, else station by station.
    """
    if isinstance(condition.grip, GripBands):
        return condition.grip.at(groove.share_across)
    return np.asarray(condition.grip, dtype=float)[..., None]


def place(edge: InsideEdge, u: FloatArray, offset: Real) -> tuple[FloatArray, FloatArray]:
    """x, y of points at an offset outward of the inside edge, shape (cases, n), m.

    Parameters
    ----------
    edge : InsideEdge
    u : ndarray, shape (n,) or (cases, n)
        Along the edge, m.
    offset : float or ndarray
        Outward, m.
    """
    x, y = edge.position(np.atleast_2d(u))
    theta = edge.heading(np.atleast_2d(u))
    return x + offset * np.sin(theta), y - offset * np.cos(theta)


def offset_limits(track: Track, car_width: Real) -> tuple[Real, Real]:
    """Least and most offset that keep half a car width and `SPARE` off both edges, m.

    Parameters
    ----------
    track : Track
    car_width : float or ndarray, shape (cases,)
        m.
    """
    least = 0.5 * np.asarray(car_width) + SPARE
    most = track.width - least
    if np.any(most < least):
        raise TrackError("width", "the car does not fit between the edges with a foot to spare")
    return least, most


def groove_from_offset(
    name: str,
    edge: InsideEdge,
    ends: FloatArray,
    ds: FloatArray,
    turned: FloatArray,
    offset: FloatArray,
    swept: bool,
    settled: bool = True,
) -> Groove:
    """A groove from the length and the turning of its stations, each shape (cases, n).

    Parameters
    ----------
    name : str
    edge : InsideEdge
    ends : ndarray, shape (cases, n + 1)
        Where the stations end along the inside edge, m.
    ds : ndarray, shape (cases, n)
        Length of each station, m.
    turned : ndarray, shape (cases, n)
        Change of heading in each, rad, to the left positive.
    offset : ndarray, shape (cases, n)
        Outward of the inside edge, m.
    swept : bool
        Whether the groove keeps its cases; else it is the first of them.
    settled : bool
    """
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
    return Groove(name, s, ds, curvature, bank, along_edge, offset, edge, first_end,
                  settled=settled)  # fmt: skip
