"""The oval of four arcs in seven unknowns, and how far points lie from it.

Two end circles on the long axis and two equal arcs that touch both. The distance of the two
centres follows from radii, straight and turn, so every value of the unknowns is a closed oval, and
the signed distance of a point has a closed form in each of four sectors. The unknowns are x and y
of the middle between the centres of the ends, m; heading of the long axis from turns 3-4 to turns
1-2; radius of turns 1-2, of turns 3-4 and straight, along the inside edge; and the curvature of a
straight as a share of that of the corners.
"""

from dataclasses import dataclass

import numpy as np

from rollpath.groove.path import place
from rollpath.survey.log import ComplexArray
from rollpath.track import DEFAULT_BLEND, Track
from rollpath.units import FloatArray

NUDGES = np.array([1e-3, 1e-3, 1e-3, 1e-4])
"""Steps for the derivatives by the unknowns of shape."""
MOST_TURN = 2.2
"""rad; a straight of more is a corner."""


def turn_of(p: FloatArray) -> FloatArray:
    """Angle that a straight turns, rad, bent smoothly to less than `MOST_TURN`."""
    turn: FloatArray = MOST_TURN * np.tanh(p[6] * p[5] / (0.5 * (p[3] + p[4])) / MOST_TURN)
    return turn


def track_of(p: FloatArray, blend: float = DEFAULT_BLEND) -> Track:
    """The oval as a track without width."""
    turn = float(turn_of(p))
    bow = float(p[5]) * 2.0 * np.sin(turn / 4) ** 2 / turn if turn > 1e-9 else 0.0
    return Track("", (float(p[3]), float(p[4])), float(p[5]), 0.0, bow=bow, blend=blend)


@dataclass(frozen=True)
class Distances:
    """Where points lie from the inside edge of an oval, shape (n,).

    Attributes
    ----------
    out : ndarray
        m outward.
    normal : ndarray
        Angle of the outward normal in the plane of the log, rad.
    share : ndarray
        Share of the lap at the nearest place, from the middle of the front straight.
    """

    out: FloatArray
    normal: FloatArray
    share: FloatArray


def distances(p: FloatArray, z: ComplexArray) -> Distances:
    """Exact distances of points z from the four arcs, by sector.

    Parameters
    ----------
    p : ndarray, shape (7 or more, ...)
        Unknowns; several ovals where their shapes broadcast against that of z.
    z : ndarray, shape (n,)
    """
    R_1, R_2, L, turn = p[3], p[4], p[5], turn_of(p)
    half = 0.5 * turn
    along = L * np.sinc(half / np.pi) - (R_1 + R_2) * np.sin(half)
    across = (R_1 - R_2) * np.cos(half)
    D, split = np.hypot(along, across), np.arctan2(across, along)
    a_1, a_2 = 0.5 * (np.pi - turn) + split, 0.5 * (np.pi - turn) - split
    w = (z - (p[0] + 1j * p[1])) * np.exp(-1j * p[2])
    side = np.where(w.imag < 0, -1.0, 1.0)
    w = w.real + 1j * np.abs(w.imag)
    from_1, from_2 = w - 0.5 * D, w + 0.5 * D
    angle_1, angle_2 = np.angle(from_1), np.angle(from_2)
    # The straight, as an arc of curvature k that leaves turns 1-2 with normal a_1.
    k = turn / L
    local = (from_1 - R_1 * np.exp(1j * a_1)) * np.exp(-1j * a_1)
    out, ahead = local.real, local.imag
    lean = np.arctan2(k * ahead, 1.0 + k * out)
    r = (2.0 * out + k * np.abs(local) ** 2) / (1.0 + np.hypot(1.0 + k * out, k * ahead))
    normal, s = a_1 + lean, R_1 * a_1 + np.clip(ahead / (1.0 + k * out), 0.0, L)
    in_1, in_2 = angle_1 < a_1, angle_2 > np.pi - a_2
    r = np.where(in_1, np.abs(from_1) - R_1, np.where(in_2, np.abs(from_2) - R_2, r))
    normal = np.where(in_1, angle_1, np.where(in_2, angle_2, normal))
    s = np.where(in_1, R_1 * angle_1, s)
    s = np.where(~in_1 & in_2, R_1 * a_1 + L + R_2 * (angle_2 - np.pi + a_2), s)
    lap = 2.0 * (R_1 * a_1 + L + R_2 * a_2)
    share = (0.5 * L + R_1 * a_1 + side * s) / lap % 1.0
    return Distances(r, side * normal + p[2], share)


def derivatives(p: FloatArray, z: ComplexArray, normal: FloatArray) -> FloatArray:
    """Derivatives of the distances by the unknowns, shape (n, 7)."""
    off = z - complex(p[0], p[1])
    n_x, n_y = np.cos(normal), np.sin(normal)
    nudged = np.repeat(p[:, None, None], 2 * len(NUDGES), axis=1)
    for i, nudge in enumerate(NUDGES):
        nudged[3 + i, 2 * i : 2 * i + 2, 0] += nudge, -nudge
    more, less = np.moveaxis(distances(nudged, z).out.reshape(len(NUDGES), 2, len(z)), 1, 0)
    by_place = np.array([-n_x, -n_y, off.imag * n_x - off.real * n_y])
    return np.vstack([by_place, (more - less) / (2.0 * NUDGES[:, None])]).T


def blended_edge(p: FloatArray, blend: float, s: FloatArray, offset: float = 0.0) -> ComplexArray:
    """Points of the blended inside edge, or a parallel of it, laid over the four arcs.

    Parameters
    ----------
    s : ndarray, shape (n,)
        Distance along the edge from the middle of the front straight, m.
    """
    edge = track_of(p, blend).edge
    ends = (edge.starts + 0.5 * edge.blends)[0]
    apexes = np.array([ends[:2].mean(), ends[2:].mean()])
    x, y = place(
        edge, np.concatenate([s, apexes])[None], np.append(np.full(len(s), offset), [0, 0])
    )
    z = (x + 1j * y)[0]
    axis = (z[-2] - z[-1]) / np.abs(z[-2] - z[-1])
    middle = (z[:-2] - 0.5 * (z[-2] + z[-1])) / axis + 0.5 * (p[3] - p[4])
    laid: ComplexArray = middle * np.exp(1j * p[2]) + complex(p[0], p[1])
    return laid
