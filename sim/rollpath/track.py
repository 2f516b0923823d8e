"""Where the car may go: an oval of four arcs, its bank, and its edges.

The inside edge is described by its curvature against distance. Each corner and each straight has a
constant curvature, and over the blend at each of the four corner ends the curvature changes
linearly (a clothoid), so heading is known in closed form everywhere. Any line at a constant
distance from the edge is an exact parallel curve of it.

The lap runs anticlockwise from the middle of the front straight; left turns have positive
curvature. Any numeric field of a `Track` may be an array of shape (cases,).

References
----------
.. [1] M. P. do Carmo, Differential Geometry of Curves and Surfaces, sec. 1-5, 1-7, 5-7.
.. [2] M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, sec. 7.3 (Fresnel).
"""

from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import numpy as np

from rollpath.errors import RollpathError
from rollpath.units import FOOT, FloatArray, Real, parse

DEFAULT_BLEND = 60 * FOOT
"""Distance over which a driven dirt corner starts and ends. Engineering judgement."""
DEFAULT_CONDITION = "tacky"
TYPICAL_WIDTH = 50 * FOOT
"""Inside edge to outside edge when nobody measured it. Engineering judgement: 40 to 65 ft."""
DEFAULT_TOLERANCE_SHARE = 0.05
"""How well a track is known when its file does not say: a twentieth. Engineering judgement."""
BANK_TOLERANCE_SHARE = 0.15
"""How well a bank is guessed when its file does not say. Engineering judgement."""
CLOSED = 1e-6
"""An oval is closed when its ends miss each other by no more, m."""
MOST_SPLITS = 8
"""Most steps for unequal ends to close; two are usual."""
LEAST_BAND, MOST_BAND = 0.2, 1.5
"""Grip of a band across the track; dirt lies well inside. Engineering judgement."""
SHORTEST_BLEND = 1e-6
"""The least blend, m, so that nothing is divided by zero."""
GAUSS = (
    (0.1252334085114689, 0.2491470458134027),
    (0.3678314989981802, 0.2334925365383546),
    (0.5873179542866175, 0.20316742672306573),
    (0.7699026741943047, 0.16007832854334642),
    (0.9041172563704748, 0.10693932599531907),
    (0.9815606342467192, 0.04717533638651141),
)
"""Upper half of the nodes and weights of the 12-point Gauss-Legendre rule (Abramowitz and Stegun,
table 25.4), checked against numpy: asking numpy for them would load all its polynomials."""


@dataclass(frozen=True)
class GripBands:
    """Grip that differs across the track: straight lines between three places.

    Attributes
    ----------
    inside, middle, outside : float
        At the inside edge, half way, and at the outside edge.
    """

    inside: Real
    middle: Real
    outside: Real

    def at(self, share: FloatArray) -> FloatArray:
        """Grip at shares of the way across, 0 at the inside edge; as at the edge beyond it."""
        share = np.clip(share, 0.0, 1.0)
        out = np.maximum(2.0 * share - 1.0, 0.0)
        up, further = self._rises
        grip: FloatArray = self.inside + up * (2.0 * share - out) + further * out
        return grip

    def slope(self, share: FloatArray) -> FloatArray:
        """Change of grip per share of the way across; the outer line's at the middle."""
        up, further = self._rises
        slope: FloatArray = 2.0 * np.where(share < 0.5, up, further)
        return np.where((share < 0.0) | (share > 1.0), 0.0, slope)

    @property
    def mean(self) -> Real:
        """Over the width of the track."""
        return 0.25 * (self.inside + 2.0 * self.middle + self.outside)

    @property
    def _rises(self) -> tuple[Real, Real]:
        return self.middle - self.inside, self.outside - self.middle

    def __mul__(self, factor: Real) -> "GripBands":
        return GripBands(self.inside * factor, self.middle * factor, self.outside * factor)

    __rmul__ = __mul__


@dataclass(frozen=True)
class Condition:
    """State of the surface.

    Attributes
    ----------
    name : str
        heavy, tacky, rubbered, slick, or a name from the track file.
    grip : float or GripBands
        Greatest horizontal force per unit load; bands where it differs across the track.
    slip_stiffness : float
        Tire force per unit load and unit slip.
    groove : str
        The line it usually brings.
    """

    name: str
    grip: Real | GripBands
    slip_stiffness: Real
    groove: str

    @property
    def mean_grip(self) -> Real:
        """The grip, or the mean over the width where it differs across the track."""
        return self.grip.mean if isinstance(self.grip, GripBands) else self.grip


CONDITIONS: dict[str, Condition] = {
    # Engineering judgement throughout: grip from lap times of dirt ovals, slip stiffness well
    # below the 10 to 20 per radian of tires on pavement (Gillespie ch. 6).
    "heavy": Condition("heavy", 1.00, 8.0, "middle"),
    "tacky": Condition("tacky", 0.88, 8.5, "middle"),
    "rubbered": Condition("rubbered", 0.80, 9.5, "low"),
    "slick": Condition("slick", 0.60, 7.0, "rounded"),
}


@dataclass(frozen=True)
class Bank:
    """Bank of the corners and of the straights, rad; positive with the outside edge higher."""

    corners: Real = 0.0
    straights: Real = 0.0


@dataclass(frozen=True)
class Tolerance:
    """How well the track was measured, m and rad: it holds about nine times in ten."""

    inside_radius: Real
    straight: Real
    bank: Real = 0.0


_KINDS_OF_KEYS = {
    **dict.fromkeys(("inside_radius", "straight", "width", "bow", "blend"), "length"),
    "bank": "angle",
}


class TrackError(RollpathError):
    """Numbers that make no oval; `key` names the one to change."""

    def __init__(self, key: str, message: str) -> None:
        super().__init__(message)
        self.key = key


@dataclass(frozen=True)
class Track:
    """An oval as its file describes it, SI. `inside_radius` holds turns 1-2 and turns 3-4.

    `assumed` names what nobody measured and is typical here, such as ``width``.
    """

    name: str
    inside_radius: tuple[Real, Real]
    straight: Real
    width: Real
    bow: Real = 0.0
    bank: Bank = field(default_factory=Bank)
    blend: Real = DEFAULT_BLEND
    conditions: dict[str, Condition] = field(default_factory=dict)
    tolerance: Tolerance | None = None
    assumed: tuple[str, ...] = ()

    @classmethod
    def of(cls, name: str = "measured track", **measurements: object) -> "Track":
        """A track from trade text, such as ``Track.of(inside_radius="200 ft", straight="320 ft")``.

        Parameters
        ----------
        name : str
        **measurements
            ``inside_radius`` (one or a pair), ``straight``, ``width``, ``bow``, ``blend`` and
            ``bank`` (of the corners), as they stand in a track file.

        Raises
        ------
        units.QuantityError, TrackError
            If one cannot be read, or they make no oval.
        """
        values: dict[str, Any] = {}
        for key, typed in measurements.items():
            if key not in _KINDS_OF_KEYS:
                raise TrackError(key, f"{key}: no such measurement of a track")
            read = partial(parse, kind=_KINDS_OF_KEYS[key])
            values[key] = (
                tuple(map(read, typed)) if isinstance(typed, tuple | list) else read(typed)
            )
        radius = values["inside_radius"]
        values["inside_radius"] = radius if isinstance(radius, tuple) else (radius, radius)
        if "bank" in values:
            values["bank"] = Bank(values["bank"])
        track = cls(name, **values)
        check_track(track)
        return track

    def condition(self, name: str) -> Condition:
        """The condition of this name, from the track file or else from `CONDITIONS`.

        Raises
        ------
        KeyError
            If neither knows it.
        """
        return self.conditions.get(name) or CONDITIONS[name]

    @property
    def measured_to(self) -> Tolerance:
        """The tolerance of the file, or a share of what was measured."""
        if self.tolerance is not None:
            return self.tolerance
        mean_radius = 0.5 * (self.inside_radius[0] + self.inside_radius[1])
        return Tolerance(
            DEFAULT_TOLERANCE_SHARE * mean_radius,
            DEFAULT_TOLERANCE_SHARE * self.straight,
            BANK_TOLERANCE_SHARE * np.abs(self.bank.corners),
        )

    @cached_property
    def edge(self) -> "InsideEdge":
        """The inside edge of this track."""
        return inside_edge(self)


def typical_width(inside_radius: tuple[Real, Real]) -> Real:
    """A width, m, for radii of both ends, m, where nobody measured it: less on a tight track."""
    return np.minimum(TYPICAL_WIDTH, 0.5 * np.minimum(*inside_radius))


def check_track(track: Track) -> None:
    """Refuse numbers that make no oval.

    Raises
    ------
    TrackError
        Naming the key at fault.
    """
    tightest = np.minimum(*track.inside_radius)
    if np.any(track.width > tightest):
        raise TrackError(
            "width", "a width greater than the inside radius swallows the infield; check both"
        )
    if np.any(2.0 * track.bow >= track.straight) and np.any(track.bow > 0):
        raise TrackError(
            "bow", "the straights bow out by more than a half circle; use a smaller bow"
        )
    turn = straight_turn(track.straight, track.bow)
    if np.any(turn * np.maximum(*track.inside_radius) > track.straight * (1 + 1e-9)):
        raise TrackError(
            "bow", "the straights bow out so far that they turn tighter than the corners; "
            "use a smaller bow"
        )  # fmt: skip
    split, centres = _end_split(track, turn)
    if np.any(centres < 0) or np.any(np.pi - turn - 2 * np.abs(split) <= 0.1):
        raise TrackError(
            "inside_radius", "these two ends and this straight do not join up into an oval"
        )


def straight_turn(straight: Real, bow: Real) -> Real:
    """Angle turned along a straight that bows outward.

    Parameters
    ----------
    straight : float
        Length along the edge, m.
    bow : float
        How far its middle stands out from the chord, m; less than half of `straight`.

    Returns
    -------
    float
        The angle phi, rad, that solves ``bow / straight = (1 - cos(phi / 2)) / phi``.
    """
    ratio = np.asarray(bow / np.maximum(straight, 1e-12))
    ratio = np.where(np.asarray(straight) > 0, ratio, 0.0)
    phi = 8.0 * ratio
    for _ in range(8):  # Newton; (1 - cos(phi/2)) / phi = sin^2(phi/4) / (phi/2)
        safe = np.maximum(phi, 1e-9)
        value = 2.0 * np.sin(safe / 4) ** 2 / safe
        slope = (0.5 * np.sin(safe / 2) - value) / safe
        phi = np.where(ratio > 0, np.clip(phi - (value - ratio) / slope, 0.0, 6.0), 0.0)
    return phi[()]


def _end_split(track: Track, turn: Real) -> tuple[Real, Real]:
    """How much more of the turning the larger end does, and the line of centres.

    Without blends: the two ends are circles about centres on the long axis, joined by arcs of
    angle `turn` tangent to both (common tangents when `turn` is zero).

    Returns
    -------
    split : float
        delta, rad: turns 1-2 turn through pi - turn + 2 delta, turns 3-4 pi - turn - 2 delta.
    along : float
        Distance between the centres along the chord of a straight, m; negative when they pass.
    """
    R_1, R_2 = track.inside_radius
    half = 0.5 * turn
    chord = track.straight * np.sinc(half / np.pi)
    along = chord - (R_1 + R_2) * np.sin(half)
    return np.arctan2((R_1 - R_2) * np.cos(half), along), along


@dataclass(frozen=True)
class InsideEdge:
    """The inside edge as curvature against distance; arrays have shape (cases, 4) unless said.

    Attributes
    ----------
    length : ndarray, shape (cases, 1)
    base : ndarray, shape (cases, 1)
        Curvature of the straights, 1/m.
    steps : ndarray
        Change of curvature at the four corner ends in the order of the lap, 1/m.
    starts, blends : ndarray
        Where each change starts and over what distance, m.
    bank : Bank
        Fields of shape (cases, 1).
    width : ndarray, shape (cases, 1)
        Of the track, m.
    """

    length: FloatArray
    base: FloatArray
    steps: FloatArray
    starts: FloatArray
    blends: FloatArray
    bank: Bank
    width: FloatArray

    def curvature(self, s: FloatArray) -> FloatArray:
        """Curvature at distances s, shape (cases, n) or (n,), inside 0 to length."""
        k = self.base
        for step, start, blend in self._changes():
            k = k + step * np.clip((s - start) / blend, 0.0, 1.0)
        return k

    def heading(self, s: FloatArray) -> FloatArray:
        """Heading at distances s, rad: the integral of the curvature, zero at the start."""
        theta = self.base * s
        for step, start, blend in self._changes():
            into = s - start
            ramp = np.clip(into, 0.0, blend)
            theta = theta + step * (ramp**2 / (2.0 * blend) + np.maximum(into - blend, 0.0))
        return theta

    def bank_at(self, s: FloatArray) -> FloatArray:
        """Bank at distances s, rad; it changes over the same blends as the curvature."""
        rise = np.asarray(self.bank.corners) - np.asarray(self.bank.straights)
        bank = np.asarray(self.bank.straights)
        for sign, (_, start, blend) in zip((1.0, -1.0, 1.0, -1.0), self._changes(), strict=True):
            bank = bank + sign * rise * np.clip((s - start) / blend, 0.0, 1.0)
        return bank

    def _changes(self) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
        """Step, start and blend of each corner end, each of shape (cases, 1)."""
        return [
            (self.steps[:, j, None], self.starts[:, j, None], self.blends[:, j, None])
            for j in range(4)
        ]

    def position(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Place of distances s, shape (cases, n): x, y in m from the start, x along the start.

        Curvature is linear between the ends of the blends, so the integrand is smooth there and a
        Gauss-Legendre rule from the last of them to s is exact to rounding; the blends are
        clothoids, whose closed form is Fresnel's [2]_.
        """
        s = np.broadcast_to(s, np.broadcast_shapes(s.shape, (len(self.length), s.shape[-1])))
        knots = self.knots
        x_k, y_k = self._from(knots[:, :-1], knots[:, 1:])
        x_k = np.concatenate([np.zeros_like(self.length), np.cumsum(x_k, axis=1)], axis=1)
        y_k = np.concatenate([np.zeros_like(self.length), np.cumsum(y_k, axis=1)], axis=1)
        piece = np.sum(s[..., None] >= knots[:, None, 1:-1], axis=-1)
        dx, dy = self._from(np.take_along_axis(knots, piece, axis=1), s)
        return (
            np.take_along_axis(x_k, piece, axis=1) + dx,
            np.take_along_axis(y_k, piece, axis=1) + dy,
        )

    @property
    def knots(self) -> FloatArray:
        """Start, both ends of each blend, and end of the lap, shape (cases, 10)."""
        ends = np.stack([self.starts, self.starts + self.blends], axis=-1)
        inner = ends.reshape(len(self.starts), -1)
        return np.concatenate([np.zeros_like(self.length), inner, self.length], axis=1)

    def _from(self, start: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Integral of the direction from start to end, each shape (cases, m), within one piece."""
        nodes, weights = _gauss()
        half = 0.5 * (end - start)
        at = (start + half)[..., None] + half[..., None] * nodes
        theta = self.heading(at.reshape(len(at), -1)).reshape(at.shape)
        return half * (np.cos(theta) @ weights), half * (np.sin(theta) @ weights)


def _gauss() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of a Gauss-Legendre rule fine enough for half a turn."""
    nodes, weights = np.array(GAUSS).T
    return np.concatenate([-nodes[::-1], nodes]), np.concatenate([weights[::-1], weights])


def inside_edge(track: Track) -> InsideEdge:
    """The inside edge of a track as curvature against distance.

    Parameters
    ----------
    track : Track
        Checked by `check_track`; numeric fields scalar or of shape (cases,).

    Returns
    -------
    InsideEdge
        With the turning split between unequal ends so that the blended edge closes.
    """
    columns = [*track.inside_radius, track.straight, track.bow, track.blend,
               track.bank.corners, track.bank.straights, track.width]  # fmt: skip
    R_1, R_2, straight, bow, blend, corners, straights, width = (
        column[:, None] for column in np.broadcast_arrays(*map(np.atleast_1d, columns))
    )
    turn = np.asarray(straight_turn(straight, bow))
    plain = Track(track.name, (R_1, R_2), straight, track.width)
    split, along = _end_split(plain, turn)
    bank = Bank(corners, straights)
    edge = _edge(R_1, R_2, straight, turn, blend, bank, np.asarray(split), width)
    if np.any(R_1 != R_2):
        centres = np.hypot(along, (R_1 - R_2) * np.cos(0.5 * turn))
        for _ in range(MOST_SPLITS):
            error = _apex_error(edge)
            if np.max(np.abs(error)) < CLOSED:
                break
            split = split + error / np.maximum(centres, 1e-9)
            edge = _edge(R_1, R_2, straight, turn, blend, bank, np.asarray(split), width)
    return edge


def _edge(
    R_1: FloatArray,
    R_2: FloatArray,
    straight: FloatArray,
    turn: FloatArray,
    blend: FloatArray,
    bank: Bank,
    split: FloatArray,
    width: FloatArray,
) -> InsideEdge:
    """The edge for a given split of the turning; every argument has shape (cases, 1)."""
    corner_1 = R_1 * (np.pi - turn + 2 * split)
    corner_2 = R_2 * (np.pi - turn - 2 * split)
    base = np.divide(turn, straight, out=1 / R_1, where=straight > SHORTEST_BLEND)
    shortest = np.minimum(np.minimum(corner_1, corner_2), straight)
    blend = np.maximum(np.minimum(blend, shortest), SHORTEST_BLEND)
    rise_1, rise_2 = 1 / R_1 - base, 1 / R_2 - base
    ends = np.cumsum(np.concatenate([0.5 * straight, corner_1, straight, corner_2], axis=1), axis=1)
    return InsideEdge(
        length=2 * straight + corner_1 + corner_2,
        base=base,
        steps=np.concatenate([rise_1, -rise_1, rise_2, -rise_2], axis=1),
        starts=ends - 0.5 * blend,
        blends=np.broadcast_to(blend, ends.shape),
        bank=bank,
        width=width,
    )


def _apex_error(edge: InsideEdge) -> FloatArray:
    """How far the middle of turns 3-4 misses the line through the middle of turns 1-2 square to it.

    The oval is its own mirror image in its long axis just when this is zero, and then it closes.
    Positive when turns 1-2 turn too little; shape (cases, 1), m.
    """
    ends = edge.starts + 0.5 * edge.blends
    apexes = np.stack([ends[:, :2].mean(axis=1), ends[:, 2:].mean(axis=1)], axis=1)
    x, y = edge.position(apexes)
    theta = edge.heading(apexes[:, :1])
    return np.diff(x, axis=1) * np.cos(theta) + np.diff(y, axis=1) * np.sin(theta)
