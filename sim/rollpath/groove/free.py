"""Free grooves: the track rounded out, and the diamond.

The line of least squared curvature between the edges, the curvature counted as a share of what the
bank there holds, and kept from changing faster than a car is steered. Without the bank a line would
turn on the flat straights what the corners hold with ease, and the car would brake twice.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from rollpath.groove.bounded import least_quadratic
from rollpath.groove.path import STATIONS, Groove, offset_limits
from rollpath.groove.spline import OffsetSpline, SplinePath
from rollpath.track import InsideEdge, Track
from rollpath.units import FloatArray, Real

SPLINE_KNOTS = 64
"""Coefficients of a free groove around the lap; doubling them changes what it makes least by
less than 0.1 % (checked in the tests)."""
LEAST_BLEND = 2.0
"""m; edges whose blends are shorter are laid with this, which moves them by less than a centimetre:
a free groove follows no step of the edge, and must not hang on how short one is."""
NOMINAL_GRIP = 0.7
"""Grip beside which a bank counts, for a line that is the same on any surface: between slick and
tacky. Engineering judgement."""
LENGTH_SHARE = 1.0
"""Weight of the lap's length beside its squared curvature, in units of (2 pi / lap)^2. On a circle
the shorter way round is the quicker although it is tighter; with 1 a line around a circle keeps to
the inside."""
STEERED_OVER = 20.0
"""m over which a car is steered into a turn: weight of the change of curvature. Some four car
lengths; engineering judgement."""
JUMP_COST = 30.0
"""Of a jump of curvature, m^(3/2): one of 1e-3 / m then weighs about a hundredth of a lap."""
TINY = 1e-6
"""m; to either side of a kink."""
MOST_STEPS = 40
"""For a free groove to settle; eight are usual."""
SHORTEST_SHARE = 1e-3
"""Least share of a step of a free groove that is tried."""
ALONG = 0.3
"""Steps that go on in one direction are lengthened when each is at least this share of the last."""
LONGEST_SHARE = 30.0
SETTLED = 1e-5
"""A free groove has settled when no coefficient would move by more, m."""
NEARLY_SETTLED = 1e-2
"""m; one that would still move by more is told as not settled."""
LEAST_ROOM = 1e-3
"""m between the bounds of an offset, so that there is a problem to solve."""
DIAMOND_ZONE = 0.25
"""How far past its tightest a diamond still turns, as a share of the corner. Engineering
judgement."""
DIAMOND_SHARPNESS = 2.0
"""How much cheaper it is to turn at the tightest than at the entry, and how much dearer on the way
out. Engineering judgement."""
DIAMOND_PAST_MIDDLE = 0.1
"""How far the tightest lies past the middle of the corner, as a share of the corner. Engineering
judgement."""
ZONE_KNOTS = 9
"""Knots over a diamond's turning zone."""
RUN_OUT = 0.3
"""Share of half a lap, past the end of the corner, over which turning becomes as cheap again as
before the diamond's zone."""


def rounded_groove(
    track: Track, car_width: Real, stations: int = STATIONS, knots: int = SPLINE_KNOTS
) -> Groove:
    """The track rounded out: least squared curvature inside the edges.

    The offset is a periodic cubic spline whose coefficients keep within the limits, and so does
    the spline. What is made least is linearised in the coefficients and the bounded linear
    least-squares problem solved again until it settles; `Groove.settled` tells.

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
    """As `rounded_groove`, but turning is cheap late in the corner and dear on the way out.

    Parameters
    ----------
    zone : float
        How far past its tightest it still turns, as a share of the corner, 0 to 1.
    sharpness : float
        How much less a squared curvature weighs there than at the entry, and how much more on the
        way out; 1 is the rounded groove.
    """
    edge = free_edge(track)
    least, most = free_limits(track, car_width)
    zones = turning_zones(edge, zone) if sharpness > 1.0 else np.empty((0, 3))
    # The way out is short: it gets knots of its own so that what is done in it can be.
    more = np.linspace(zones[:, 1], zones[:, 2], ZONE_KNOTS).ravel()
    spline = OffsetSpline(edge, knots, more)
    rows = bending_rows(spline, diamond_weights(edge, zones, spline.points, sharpness))
    c, settled = settle(rows, least, most, swing(spline, least, most))
    return SplinePath(spline, stations).groove(name, c, settled)


def free_edge(track: Track) -> InsideEdge:
    """The inside edge of one track as free grooves take it.

    Raises
    ------
    TypeError
        Of several tracks.
    """
    if len(track.edge.length) > 1:
        raise TypeError("a free groove is found for one track and one car at a time")
    if np.all(track.blend >= LEAST_BLEND):
        return track.edge
    return replace(track, blend=LEAST_BLEND).edge


def free_limits(track: Track, car_width: Real) -> tuple[float, float]:
    """Least and most offset for one car, m, with some room between.

    Parameters
    ----------
    track : Track
        One.
    car_width : float
        m.
    """
    least, most = offset_limits(track, car_width)
    if np.ndim(least) > 0 or np.ndim(most) > 0:
        raise TypeError("a free groove is found for one track and one car at a time")
    return float(least), max(float(most), float(least) + LEAST_ROOM)


def swing(spline: OffsetSpline, least: float, most: float) -> FloatArray:
    """A first guess: wide on the straights, half way down in the middle of the corners.

    Parameters
    ----------
    spline : OffsetSpline
    least, most : float
        Offset outward of the inside edge, m.
    """
    u, lap = spline.peaks, spline.length
    ends = (spline.edge.starts + 0.5 * spline.edge.blends)[0]
    low = np.zeros_like(u)
    for middle in (0.5 * (ends[0] + ends[1]), 0.5 * (ends[2] + ends[3])):
        low += np.exp(-0.5 * (_away(u, middle, lap) / (0.08 * lap)) ** 2)
    return most - 0.5 * (most - least) * np.minimum(low, 1.0)


def _away(u: FloatArray, place: float, lap: float) -> FloatArray:
    """Distance past a place the shorter way round, m."""
    return (u - place + 0.5 * lap) % lap - 0.5 * lap


def turning_zones(edge: InsideEdge, zone: float) -> FloatArray:
    """Start, tightest and end of the diamond's turning in each corner, shape (2, 3), m.

    Parameters
    ----------
    edge : InsideEdge
        Of one track.
    zone : float
        Length from the tightest to the end, as a share of the corner's.
    """
    starts, ends = (edge.starts + 0.5 * edge.blends)[0].reshape(2, 2).T
    tightest = starts + (ends - starts) * (0.5 + DIAMOND_PAST_MIDDLE)
    return np.stack([starts, tightest, tightest + zone * (ends - starts)], axis=-1)


def diamond_weights(
    edge: InsideEdge, zones: FloatArray, u: FloatArray, sharpness: float
) -> FloatArray:
    """Weight of squared curvature at u: 1, falling to the tightest, rising on the way out.

    Parameters
    ----------
    edge : InsideEdge
        Of one track.
    zones : ndarray, shape (2, 3)
        As `turning_zones` has them, m.
    u : ndarray, shape (n,)
        Along the inside edge, m.
    sharpness : float
        How many times less a turn costs at the tightest.
    """
    lap = float(edge.length[0, 0])
    corner_ends = (edge.starts + 0.5 * edge.blends)[0, 1::2]
    power = np.zeros_like(u)
    for (start, tightest, end), corner_end in zip(zones, corner_ends, strict=False):
        past = _away(u, tightest, lap)
        reach = np.where(past < 0, tightest - start, end - tightest)
        power -= 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.abs(past) / reach, 1.0))
        begun = np.clip(past / (end - tightest) - 0.5, 0.0, 1.0)
        ending = (past - (corner_end - tightest)) / (RUN_OUT * 0.5 * lap)
        power += begun * np.clip(1.0 - ending, 0.0, 1.0)
    return sharpness**power


def bank_hold(edge: InsideEdge, u: FloatArray, grip: float = NOMINAL_GRIP) -> FloatArray:
    """Lateral acceleration over g that a bank holds at places along the edge: tan(b + atan mu).

    Parameters
    ----------
    edge : InsideEdge
        Of one track.
    u : ndarray, shape (n,)
        Along the inside edge, m.
    grip : float
    """
    hold: FloatArray = np.tan(edge.bank_at(u)[0] + np.arctan(grip))
    return hold


Rows = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Residuals, and their derivatives by the coefficients, as a function of the coefficients."""


def bending_rows(spline: OffsetSpline, weights: Real = 1.0) -> Rows:
    """What is made small, as a function of the coefficients.

    Root of length; curvature as a share of what the bank holds, and its change from point to point;
    and the jumps of the path's curvature where the edge's has its kinks, dear enough that none is
    left.

    Parameters
    ----------
    spline : OffsetSpline
    weights : float or ndarray, shape (points,)
        Of squared curvature at the points of the spline.
    """
    edge, u, steps = spline.edge, spline.points, spline.steps
    bases = spline.bases(u)
    k, k_slope = edge.curvature(u)[0], _edge_slope(edge, u)
    hold = bank_hold(edge, u) / np.sqrt(weights)
    share = 1.0 / (hold * np.sqrt(np.average(hold**-2, weights=steps)))
    shortness = np.sqrt(LENGTH_SHARE * steps) * 2 * np.pi / spline.length
    bend = np.sqrt(steps) * share
    change = STEERED_OVER / np.sqrt(0.5 * (steps + np.roll(steps, -1)))
    jumps_at = _jump_rows(spline)

    def rows_at(c: FloatArray) -> tuple[FloatArray, FloatArray]:
        q, q1, q2 = (basis @ c for basis in bases)
        curvature, by_q, square, square_by_q = _moved_curvature(k, k_slope, q, q1, q2)
        root = square**0.25
        d_curvature = sum(d[:, None] * b for d, b in zip(by_q, bases, strict=True))
        by_root = 0.25 * square**-0.75
        d_root = sum(
            (by_root * d)[:, None] * b for d, b in zip(square_by_q, bases[:2], strict=True)
        )
        held, d_held = share * curvature, share[:, None] * d_curvature
        jump, d_jump = jumps_at(c)
        residuals = (
            shortness * root,
            bend * curvature * root,
            change * (np.roll(held, -1) - held),
            jump,
        )
        slopes = (
            shortness[:, None] * d_root,
            (bend * root)[:, None] * d_curvature + (bend * curvature)[:, None] * d_root,
            change[:, None] * (np.roll(d_held, -1, axis=0) - d_held),
            d_jump,
        )
        return np.concatenate(residuals), np.concatenate(slopes)

    return rows_at


def _jump_rows(spline: OffsetSpline) -> Rows:
    """The jumps of the path's curvature at the kinks of the edge's."""
    edge, kinks = spline.edge, spline.kinks
    value, slope, _ = spline.bases(kinks)
    jumps = spline.bases(kinks + TINY)[2] - spline.bases(kinks - TINY)[2]
    k = edge.curvature(kinks)[0]
    slope_jumps = _edge_slope(edge, kinks + TINY) - _edge_slope(edge, kinks - TINY)

    def rows_at(c: FloatArray) -> tuple[FloatArray, FloatArray]:
        q, q1, bent = value @ c, slope @ c, jumps @ c
        p = 1.0 + k * q
        by_c = (
            p[:, None] * jumps
            + (k * bent - q1 * slope_jumps)[:, None] * value
            - (q * slope_jumps)[:, None] * slope
        )
        return JUMP_COST * (p * bent - q * q1 * slope_jumps), JUMP_COST * by_c

    return rows_at


def _moved_curvature(
    k: FloatArray, k_slope: FloatArray, q: FloatArray, q1: FloatArray, q2: FloatArray
) -> tuple[FloatArray, tuple[FloatArray, ...], FloatArray, tuple[FloatArray, ...]]:
    """Curvature of the edge moved outward by q, and (ds/du)^2, with derivatives by q, q1 and q2.

    With p = 1 + k q, D = p^2 + q1^2 and M = k p^2 + q1 (k_slope q + 2 k q1) - p q2 the curvature
    of the moved curve is M / D^(3/2) (do Carmo, Differential Geometry of Curves and Surfaces, sec.
    1-5) and ds/du = D^(1/2).
    """
    p = 1.0 + k * q
    D = p**2 + q1**2
    M = k * p**2 + q1 * (k_slope * q + 2.0 * k * q1) - p * q2
    shrink = D**-1.5
    slide = 3.0 * M * shrink / D
    by_q = (
        shrink * (2.0 * k**2 * p + q1 * k_slope - k * q2) - slide * p * k,
        shrink * (k_slope * q + 4.0 * k * q1) - slide * q1,
        shrink * -p,
    )
    return M * shrink, by_q, D, (2.0 * p * k, 2.0 * q1)


def _edge_slope(edge: InsideEdge, u: FloatArray) -> FloatArray:
    """dk/du of the edge at distances u, shape (n,)."""
    into = (u[:, None] - edge.starts) / edge.blends
    slope: FloatArray = np.where((into > 0) & (into < 1), edge.steps / edge.blends, 0.0).sum(
        axis=-1
    )
    return slope


def settle(rows_at: Rows, least: float, most: float, c: FloatArray) -> tuple[FloatArray, bool]:
    """Coefficients between the bounds with the least sum of squared rows.

    Each step solves the problem linearised about the last coefficients. One that does not weigh
    less is shortened; where steps go on one way, each a share r of the last, it is made 1 / (1 - r)
    as long.

    Parameters
    ----------
    rows_at : callable
        Rows, shape (rows,), and their derivatives, (rows, coefficients), of coefficients.
    least, most : float
        Bounds of every coefficient: offset, m.
    c : ndarray, shape (coefficients,)
        Where it starts, m.

    Returns
    -------
    c : ndarray
    settled : bool
    """
    rho, A = rows_at(c)
    last, moves = np.zeros_like(c), np.inf
    for _ in range(MOST_STEPS):
        step = least_quadratic(A.T @ A, A.T @ rho, c, least, most) - c
        moves = float(np.max(np.abs(step)))
        if moves < SETTLED:
            break
        on = min(float(step @ last) / max(float(last @ last), TINY**2), 1.0 - 1.0 / LONGEST_SHARE)
        share = 1.0 / (1.0 - on) if on > ALONG else 1.0
        while True:
            moved = np.clip(c + share * step, least, most)
            new_rho, new_A = rows_at(moved)
            if new_rho @ new_rho <= rho @ rho or share < SHORTEST_SHARE:
                break
            share = max(0.3 * share, 1.0) if share > 1.0 else 0.5 * share
        if new_rho @ new_rho > rho @ rho:
            break
        c, rho, A, last = moved, new_rho, new_A, step
    return c, moves < NEARLY_SETTLED
