"""Measured grooves: a smooth closed path through recorded points.

References
----------
.. [1] M. P. do Carmo, Differential Geometry of Curves and Surfaces, sec. 1-5, 1-7, 5-7.
.. [3] G. Wahba, Spline Models for Observational Data, ch. 4 (generalised cross-validation).
.. [4] R. Halir and J. Flusser, Numerically stable direct least squares fitting of ellipses,
   WSCG 1998.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError
from rollpath.groove.path import STATIONS, Groove
from rollpath.track import Track
from rollpath.units import FloatArray, Real

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


# Measured grooves: a smooth closed path through recorded points.


class PathError(RollpathError):
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
        """x + i y at distances s, shape (n,), or its derivative of an order by distance.

        Parameters
        ----------
        s : ndarray, shape (n,)
            Along the path, m.
        order : int
            0 for the places themselves, m.
        """
        turns = _harmonics(len(self.coefficients)) * (2j * np.pi / self.length)
        values: NDArray[np.complex128] = np.exp(np.outer(s, turns)) @ (
            self.coefficients * turns**order
        )
        return values

    def curvature(self, s: FloatArray) -> FloatArray:
        """Curvature at distances s, 1/m, positive to the left.

        Parameters
        ----------
        s : ndarray, shape (n,)
            Along the path, m.
        """
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
