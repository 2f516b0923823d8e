"""How fast the car goes around a groove, where it drives, and what its wheels carry.

Quasi-steady state: at every station the forces of steady cornering hold. The lap is found as
kinetic energy per mass, w = v^2 / 2, whose slope along the path is the acceleration. Corner limits
come first; driving forward from them and braking backward to them each obey a first-order
equation under an obstacle, and with the acceleration linearised about the last lap a pass is a
running minimum with an integrating factor. No loop over stations: a sweep of laps is one array.

References
----------
.. [1] W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 9 (lap simulation).
.. [2] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1, 4 and 6.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from rollpath.car import ROLLING_RESISTANCE, Car
from rollpath.corners import Corners
from rollpath.errors import RollpathError
from rollpath.groove.path import Groove, grip_under
from rollpath.loads import across, wheel_loads
from rollpath.tire import brush_slip
from rollpath.track import Condition
from rollpath.units import FloatArray, G, Real

AIR_DENSITY = 1.2
"""kg/m3, near sea level at 20 C (U.S. Standard Atmosphere 1976 gives 1.204)."""
MOST_PASSES = 14
"""Passes for a lap to settle; seven are usual."""
SETTLED_SHARE = 5e-5
"""A lap has settled when no w moves by more than this share of the largest; a pass takes an
error to a tenth or less, so what is left is far below the error of the stations."""
BLOCK = 32
"""Cases of a sweep that are settled together, so that their arrays stay in the processor's
cache."""
LEAST_SPEED = 1.0
"""m/s; the quasi-steady lap never stops."""
LEAST_GAP = 1e-100
"""Far below any gap of a lap, so that nothing is divided by zero."""
MOST_EXPONENT = 600.0
"""Of the integrating factor, so that it stays a number."""
MOST_USED = 0.999
"""Share of grip at which cornering drag is capped; the limit lies below it."""
LEAST_LOAD = 0.05
"""m/s2; the car never quite leaves the ground."""
CRAWL = 1.01 * LEAST_SPEED
"""m/s; a lap this slow anywhere is none."""
STRAIGHT_CURVATURE = 1e-9
"""1/m; a path straighter than this has no corner limit."""
PICK_UP = 0.04
"""Acceleration, as a share of the grip, from which a corner is called drive-off rather than
centre. Engineering judgement."""
PHASES = ("entry", "centre", "drive-off", "straight")


class LapError(RollpathError):
    """A lap that this car cannot drive; the message says why."""


@dataclass(frozen=True)
class Lap:
    """A lap, station by station; arrays of shape (n,) or (cases, n), SI.

    Attributes
    ----------
    groove : Groove
    speed : ndarray
        m/s.
    a_x, a_y : ndarray
        Acceleration along the path and across it in the plane of the road, m/s2; to the left
        positive.
    load : ndarray
        Load per unit mass square to the road, m/s2.
    thrust : ndarray
        Force along the path that the tires must make, N; negative under braking.
    drive : ndarray
        The positive part of the thrust, N, a mean over the station.
    wheels : Corners[Real]
        Load of each wheel, N.
    phase : ndarray of int
        Index into `PHASES`.
    """

    groove: Groove
    speed: FloatArray
    a_x: FloatArray
    a_y: FloatArray
    load: FloatArray
    thrust: FloatArray
    drive: FloatArray
    wheels: Corners[Real]
    phase: NDArray[np.int_]

    @property
    def time(self) -> Real:
        """Lap time, s."""
        time: FloatArray = (self.groove.ds / self.speed).sum(axis=-1)
        return time[()]

    def share(self, phase: str) -> Real:
        """Share of the lap's length that is this phase."""
        there = self.phase == PHASES.index(phase)
        share: FloatArray = (self.groove.ds * there).sum(axis=-1) / self.groove.length
        return share[()]


@dataclass(frozen=True)
class _Road:
    """What a lap depends on, station by station, rolled to start at the slowest corner."""

    step: FloatArray
    """Distance from each station to the next, m."""
    turn: FloatArray
    """Lateral acceleration per w in the road plane: 2 k cos b, 1/m."""
    press: FloatArray
    """Load per unit mass per w: 2 k sin b, 1/m."""
    slide: FloatArray
    """g sin b, m/s2."""
    rest: FloatArray
    """g cos b, m/s2."""
    limit: FloatArray
    """Largest w that the corner allows, m2/s2."""
    mu: FloatArray
    """Grip under the car."""


@dataclass(frozen=True)
class _Means:
    """What the car can do, per unit mass; each of shape (1,) or (cases, 1)."""

    slip_stiffness: FloatArray
    power: FloatArray
    drag: FloatArray
    """Air drag per w, 1/m."""
    rear_share: FloatArray
    height_share: FloatArray
    """Height of the centre of gravity over the wheelbase."""


_Cases = TypeVar("_Cases", _Road, _Means)


def solve_lap(groove: Groove, car: Car, condition: Condition) -> Lap:
    """The fastest quasi-steady lap of a groove [1]_.

    Parameters
    ----------
    groove : Groove
        Arrays of shape (n,) or (cases, n).
    car : Car
    condition : Condition
        Grip and slip stiffness; scalar or of shape (cases,); grip may be in bands.

    Returns
    -------
    Lap
        An estimate: no driver, no bumps.

    Raises
    ------
    LapError
        If the car comes almost to a stop.
    """
    means = _means(car, condition)
    road = _road(groove, means, grip_under(groove, condition))
    start = np.argmin(road.limit, axis=-1, keepdims=True)
    n = groove.ds.shape[-1]
    order = (np.arange(n) + start) % n
    rolled = _Road(**{
        name: _take(np.broadcast_to(array, road.limit.shape), order)
        for name, array in vars(road).items()
    })  # fmt: skip
    w = _settle_blocks(rolled, means)
    if np.any(w <= 0.5 * CRAWL**2):
        raise LapError(
            "the car comes almost to a stop on this lap: with this power and grip it cannot hold "
            "the bank or overcome its own drag; check power, grip, weight and bank"
        )
    back = (np.arange(n) - start) % n
    return _finish(groove, car, means, road, _take(w, back))


def driven_lap(groove: Groove, car: Car, condition: Condition, speed: FloatArray) -> Lap:
    """The lap that was driven at known speeds: what they asked of the car.

    Parameters
    ----------
    groove : Groove
    car : Car
    condition : Condition
        For the cornering drag.
    speed : ndarray, shape (n,)
        At the stations of the groove, m/s.
    """
    means = _means(car, condition)
    road = _road(groove, means, grip_under(groove, condition))
    w = np.broadcast_to(0.5 * speed**2, road.limit.shape)
    return _finish(groove, car, means, road, w)


def _take(array: FloatArray, order: NDArray[np.int_]) -> FloatArray:
    return np.take_along_axis(array, order, axis=-1)


def _means(car: Car, condition: Condition) -> _Means:
    mass = np.asarray(car.mass)
    return _Means(
        slip_stiffness=across(condition.slip_stiffness),
        power=across(car.power / mass),
        drag=across(AIR_DENSITY * np.asarray(car.drag_area) / mass),
        rear_share=across(car.weights.rear_share),
        height_share=across(np.asarray(car.cg_height) / car.wheelbase),
    )


def _road(groove: Groove, means: _Means, mu: FloatArray) -> _Road:
    sin_b, cos_b = np.sin(groove.bank), np.cos(groove.bank)
    ds = groove.ds
    turn, press = 2 * groove.curvature * cos_b, 2 * groove.curvature * sin_b
    slide, rest = G * sin_b, G * cos_b
    limit = 0.5 * corner_speed(groove.curvature, groove.bank, mu * _held_share(means, mu)) ** 2
    top = 0.5 * (means.power / means.drag * 2.0) ** (2 / 3)
    limit = np.clip(limit, 0.5 * LEAST_SPEED**2, top)
    return _Road(
        step=0.5 * (ds + np.roll(ds, -1, axis=-1)),
        turn=turn,
        press=press,
        slide=slide,
        rest=rest,
        limit=np.broadcast_to(limit, _case_shape(limit, means)),
        mu=mu,
    )


def corner_speed(curvature: Real, bank: Real, grip: Real) -> FloatArray:
    """Highest speed at which the grip holds a car in a steady turn, m/s; inf where nothing binds.

    Parameters
    ----------
    curvature : float or ndarray
        Horizontal, 1/m; positive to the left.
    bank : float or ndarray
        b, rad, positive with the right side higher.
    grip : float or ndarray
        Share mu of the load that the tires can make across the road.

    Notes
    -----
    A left turn slides up the road at the limit: ``v^2 k cos b - g sin b = mu (g cos b + v^2 k
    sin b)``. A right turn slides down it.
    """
    sin_b, cos_b = np.sin(bank), np.cos(bank)
    side = np.where(np.asarray(curvature) < 0, -1.0, 1.0)
    room = G * (grip * cos_b + side * sin_b)
    need = curvature * (side * cos_b - grip * sin_b)
    bound = need > STRAIGHT_CURVATURE
    square = np.where(bound, np.maximum(room, 0.0) / np.where(bound, need, 1.0), np.inf)
    return np.sqrt(square)


def _case_shape(stations: FloatArray, means: _Means) -> tuple[int, ...]:
    """Shape of a lap: cases may come from the road or from what the car can do."""
    return np.broadcast_shapes(stations.shape, *(value.shape for value in vars(means).values()))


def _held_share(means: _Means, mu: FloatArray) -> FloatArray:
    """Share of the grip that can be turned into cornering while the rear holds the speed.

    Cornering drags: at the whole grip circle too little is left to overcome it. The held share u is
    where the rear's own circle, r mu n (1 - u^2)^(1/2) at a steady speed, equals cornering drag and
    rolling resistance; found by bisection.
    """
    shape = np.broadcast_shapes(mu.shape, means.rear_share.shape)
    low, high = np.zeros(shape), np.ones(shape)
    for _ in range(30):
        u = 0.5 * (low + high)
        drag = u * brush_slip(u, mu, means.slip_stiffness) + ROLLING_RESISTANCE / mu
        held = means.rear_share * np.sqrt(1 - u**2) > drag
        low, high = np.where(held, u, low), np.where(held, high, u)
    return low


def _settle_blocks(road: _Road, means: _Means) -> FloatArray:
    """The w of each lap of a sweep, a block of cases at a time."""
    if road.limit.ndim == 1:
        return _settle(road, means)
    w = np.empty_like(road.limit)
    column = (*w.shape[:-1], 1)
    spread = _Means(**{name: np.broadcast_to(one, column) for name, one in vars(means).items()})
    for start in range(0, len(w), BLOCK):
        block = slice(start, start + BLOCK)
        w[block] = _settle(_pick(road, block), _pick(spread, block))
    return w


def _pick(all_cases: _Cases, block: slice) -> _Cases:
    """Some of the cases of a road or of means."""
    return type(all_cases)(**{name: one[block] for name, one in vars(all_cases).items()})


def _settle(road: _Road, means: _Means) -> FloatArray:
    """The w of the lap, from the first station around."""
    w = road.limit
    back = [_flip(road.limit), road.step[..., ::-1]]
    for _ in range(MOST_PASSES):
        forward, forward_slope, backward, backward_slope = _accelerations(road, means, w)
        driven = _pass(road.limit, road.step, w, forward, forward_slope)
        braked = _pass(*back, *map(_flip, (w, backward, backward_slope)))
        settled = np.minimum(driven, _flip(braked))
        moved = np.max(np.abs(settled - w))
        w = settled
        if moved < SETTLED_SHARE * np.max(w):
            break
    return w


def _flip(stations: FloatArray) -> FloatArray:
    """The lap the other way around, from the same first station; its own inverse."""
    return np.concatenate([stations[..., :1], stations[..., :0:-1]], axis=-1)


def _pass(
    limit: FloatArray, step: FloatArray, w: FloatArray, a: FloatArray, slope: FloatArray
) -> FloatArray:
    """Solve dw/ds = a + slope (w_new - w) under the obstacle `limit`, from the first station.

    With the integrating factor m = exp(-integral of slope) the equation is dz/ds = m (a - slope w)
    for z = m w, and the largest solution below the obstacle is a running minimum.
    """
    gap = _between(slope) * step
    source = _between(a - slope * w) * step
    log_m = -np.cumsum(gap, axis=-1)
    log_m = np.concatenate([np.zeros_like(log_m[..., :1]), log_m], axis=-1)
    m = np.exp(np.clip(log_m, -MOST_EXPONENT, MOST_EXPONENT))
    # Exact for a constant slope over a step: the source grows by (exp(gap) - 1) / gap.
    z = np.cumsum(source * _growth(gap) * m[..., 1:], axis=-1)
    z = np.concatenate([np.zeros_like(z[..., :1]), z[..., :-1]], axis=-1)
    m = m[..., :-1]
    around = w[..., -1:] + _between(a)[..., -1:] * step[..., -1:]
    first = np.minimum(limit[..., :1], around)
    obstacle = np.concatenate([first, limit[..., 1:]], axis=-1) * m
    solution: FloatArray = (np.minimum.accumulate(obstacle - z, axis=-1) + z) / m
    return np.maximum(solution, 0.5 * LEAST_SPEED**2)


def _next(stations: FloatArray) -> FloatArray:
    """The station after each, around the lap."""
    return np.concatenate([stations[..., 1:], stations[..., :1]], axis=-1)


def _between(stations: FloatArray) -> FloatArray:
    """Mean of each station and the next, around the lap."""
    return 0.5 * (stations + _next(stations))


def _growth(gap: FloatArray) -> FloatArray:
    """(exp(gap) - 1) / gap; 1 where gap is nothing."""
    gap = gap + LEAST_GAP
    growth: FloatArray = np.expm1(gap) / gap
    return growth


def _accelerations(
    road: _Road, means: _Means, w: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Greatest acceleration forward and, going backward, under braking, with slopes by w.

    Rear traction T per unit mass fills the rear's grip circle. Its load is the static share r n
    plus the transfer q a_x, a_x = T - D being what is left of T after the drags D and q the height
    of the centre of gravity over the wheelbase, as in `wheel_loads`:
    ``T^2 = mu^2 (N + q T)^2 - r^2 a_y^2`` with N = r n - q D, so
    ``T = (mu^2 q N + (mu^2 N^2 - e r^2 a_y^2)^(1/2)) / e``, e = 1 - mu^2 q^2, and no more than the
    grip circle of the whole car leaves.

    Returns
    -------
    forward, forward_slope, backward, backward_slope : ndarray
        m/s2 and 1/m.
    """
    mu, q, r = road.mu, means.height_share, means.rear_share
    a_y, n = _across_and_down(road, w)
    e = 1.0 - (mu * q) ** 2
    drag, drag_slope = _resistance(road, means, w, a_y, n)
    N, N_slope = r * n - q * drag, r * road.press - q * drag_slope
    circle, circle_slope = _root(
        mu**2 * N**2 - e * (r * a_y) ** 2,
        2 * (mu**2 * N * N_slope - e * r**2 * a_y * road.turn),
    )
    traction = (mu**2 * q * N + circle) / e
    traction_slope = (mu**2 * q * N_slope + circle_slope) / e
    engine = means.power / np.sqrt(2.0 * w)
    brake, brake_slope = _root((mu * n) ** 2 - a_y**2,
                               2 * (mu**2 * n * road.press - a_y * road.turn))  # fmt: skip
    # What thrust takes off the front, cornering lacks: the whole car keeps within the circle.
    traction_slope = np.where(traction < brake, traction_slope, brake_slope)
    traction = np.minimum(traction, brake)
    powered = engine < traction
    return (
        np.minimum(engine, traction) - drag,
        np.where(powered, -0.5 * engine / w, traction_slope) - drag_slope,
        brake + drag,
        brake_slope + drag_slope,
    )


def _across_and_down(road: _Road, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lateral acceleration and load per unit mass in the road plane, m/s2."""
    n = road.rest + road.press * w
    return road.turn * w - road.slide, np.maximum(n, LEAST_LOAD)


def _root(value: FloatArray, slope: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Square root of a value and its slope, kept off zero."""
    root = np.sqrt(np.maximum(value, LEAST_LOAD**2))
    return root, (value > LEAST_LOAD**2) * slope / (2.0 * root)


def _resistance(
    road: _Road, means: _Means, w: FloatArray, a_y: FloatArray, n: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Air, rolling and cornering drag per unit mass, and its slope by w.

    Cornering drag is a_y tan(alpha), alpha from the brush tire.
    """
    mu, C = road.mu, means.slip_stiffness
    side = np.abs(a_y)
    u = np.minimum(side / (mu * n), MOST_USED)
    sticking = np.cbrt(1.0 - u)
    slip = 3.0 * mu / C * (1.0 - sticking)
    side_slope = np.sign(a_y) * road.turn
    u_slope = (side_slope - mu * u * road.press) / (mu * n)
    slip_slope = mu / C / sticking**2 * u_slope
    drag = means.drag * w + ROLLING_RESISTANCE * n + side * slip
    return drag, (
        means.drag + ROLLING_RESISTANCE * road.press + side_slope * slip + side * slip_slope
    )


def _finish(groove: Groove, car: Car, means: _Means, road: _Road, w: FloatArray) -> Lap:
    """The lap from its w: accelerations, thrust, wheel loads and phases."""
    a_y, n = _across_and_down(road, w)
    drag, _ = _resistance(road, means, w, a_y, n)
    gained, m = np.roll(w, -1, axis=-1) - w, across(car.mass)
    ahead, behind = road.step, np.roll(road.step, 1, axis=-1)
    a_x = (gained + np.roll(gained, 1, axis=-1)) / (ahead + behind)
    # The switch from brake to throttle falls between stations: each half is told apart.
    half = np.maximum(gained / ahead + _between(drag), 0.0) * ahead
    drive = m * (half + np.roll(half, 1, axis=-1)) / (ahead + behind)
    thrust = m * (a_x + drag)
    phase = _phases(groove, a_x, thrust, road.mu)
    wheels = wheel_loads(car, a_x, a_y, n)
    return Lap(groove, np.sqrt(2.0 * w), a_x, a_y, n, thrust, drive, wheels, phase)


def _phases(
    groove: Groove, a_x: FloatArray, thrust: FloatArray, mu: FloatArray
) -> NDArray[np.int_]:
    """Index into `PHASES` of each station.

    Entry wherever the car brakes; else straight where the path does not turn; else drive-off
    where it gains speed, centre where it holds or still loses it.
    """
    driving = np.where(a_x > PICK_UP * mu * G, PHASES.index("drive-off"), PHASES.index("centre"))
    turning = np.where(groove.turning, driving, PHASES.index("straight"))
    phase: NDArray[np.int_] = np.where(thrust < 0, PHASES.index("entry"), turning)
    return phase
