"""What holds, drives and slows the car at a station of the lap, as its kinetic energy has it.

Everything is per unit mass, a function of w = v^2 / 2, and comes with its slope by w.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1, 4 and 6.
.. [2] H. B. Pacejka, Tire and Vehicle Dynamics, ch. 3 (brush tire).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.car import ROLLING_RESISTANCE, Car
from rollpath.groove.path import Groove
from rollpath.loads import across
from rollpath.track import Condition
from rollpath.units import FloatArray, G, Real

AIR_DENSITY = 1.2
"""kg/m3, near sea level at 20 C (U.S. Standard Atmosphere 1976 gives 1.204)."""
LEAST_SPEED = 1.0
"""m/s; the quasi-steady lap never stops."""
MOST_USED = 0.999
"""Share of grip at which cornering drag is capped; the limit lies below it."""
LEAST_HELD = 1e-3
"""Share of grip below which no corner is held: a surface without grip."""
HELD_DIGITS = 1e-9
"""To which a held share is found; each step squares what is left."""
MOST_HELD_STEPS = 30
"""Eight are usual."""
LIMIT_STEPS = 3
"""Newton steps for the air in the corner limit, a small part of it."""
MOST_LIMIT = 1e5
"""m2/s2; a corner that holds a car at 450 m/s holds it."""
LEAST_LOAD = 0.05
"""m/s2; the car never quite leaves the ground."""
STRAIGHT_CURVATURE = 1e-9
"""1/m; a path straighter than this has no corner limit."""


@dataclass(frozen=True)
class Road:
    """What a lap depends on, station by station; arrays of shape (n,) or (cases, n)."""

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
    mu: FloatArray
    """Grip."""
    extra: FloatArray
    """Drag besides that of air, rolling and cornering where the car drives, m/s2."""
    limit: FloatArray
    """Largest w that the corner allows, m2/s2."""


@dataclass(frozen=True)
class Means:
    """What the car can do, per unit mass; each of shape (1,) or (cases, 1)."""

    slip_stiffness: FloatArray
    power: FloatArray
    drag: FloatArray
    """Air drag per w, 1/m."""
    rear_share: FloatArray
    height_share: FloatArray
    """Height of the centre of gravity over the wheelbase."""


def means_of(car: Car, condition: Condition) -> Means:
    """What a car can do on a surface."""
    mass = np.asarray(car.mass)
    return Means(
        slip_stiffness=across(condition.slip_stiffness),
        power=across(car.power / mass),
        drag=across(AIR_DENSITY * np.asarray(car.drag_area) / mass),
        rear_share=across(car.weights.rear_share),
        height_share=across(np.asarray(car.cg_height) / car.wheelbase),
    )


def road_of(groove: Groove, means: Means, mu: FloatArray, extra: Real = 0.0) -> Road:
    """What a groove asks at its stations.

    Parameters
    ----------
    groove : Groove
    means : Means
    mu : ndarray
        Grip, as from `groove.path.grip_under`.
    extra : float or ndarray
        Drag per unit mass to add where the car drives, m/s2.
    """
    sin_b, cos_b = np.sin(groove.bank), np.cos(groove.bank)
    ds = groove.ds
    turn, press = 2 * groove.curvature * cos_b, 2 * groove.curvature * sin_b
    slide, rest = G * sin_b, G * cos_b
    limit = _corner_limit(groove.curvature, sin_b, cos_b, means, mu)
    top = 0.5 * (means.power / means.drag * 2.0) ** (2 / 3)
    limit = np.clip(limit, 0.5 * LEAST_SPEED**2, top)
    stations = {
        "step": 0.5 * (ds + np.roll(ds, -1, axis=-1)), "turn": turn, "press": press,
        "slide": slide, "rest": rest, "mu": mu, "extra": np.asarray(extra), "limit": limit,
    }  # fmt: skip
    arrays = [*stations.values(), *vars(means).values()]
    shape = np.broadcast_shapes(*(np.shape(array) for array in arrays))
    return Road(**{name: np.broadcast_to(array, shape) for name, array in stations.items()})


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
    return np.sqrt(_corner_square(curvature, np.sin(bank), np.cos(bank), grip))


def _corner_square(curvature: Real, sin_b: Real, cos_b: Real, grip: Real) -> FloatArray:
    """Square of `corner_speed`, m2/s2."""
    side = np.where(np.asarray(curvature) < 0, -1.0, 1.0)
    room = G * (grip * cos_b + side * sin_b)
    need = curvature * (side * cos_b - grip * sin_b)
    bound = need > STRAIGHT_CURVATURE
    square: FloatArray = np.where(bound, np.maximum(room, 0.0) / np.where(bound, need, 1.0), np.inf)
    return square


def _corner_limit(
    k: FloatArray, sin_b: FloatArray, cos_b: FloatArray, means: Means, mu: FloatArray
) -> FloatArray:
    """Largest w of a steady turn; a share u of the grip turns the car, the rest holds its speed.

    Cornering drags: at the whole grip circle too little is left to overcome it. The held share u is
    where the rear's own circle, r mu n (1 - u^2)^(1/2) at a steady speed, equals cornering drag,
    rolling resistance and the air's drag. First without the air, one u for each grip; then
    with the air at the speed found, by Newton's method, station by station.
    """
    u = _held_share(mu, means)
    for _ in range(LIMIT_STEPS):
        w = np.minimum(0.5 * _corner_square(k, sin_b, cos_b, mu * u), MOST_LIMIT)
        n = G * cos_b + 2 * w * k * sin_b
        spare, slope = _spare(u, mu, means)
        # The air is felt a little less where the car is slowed for it: w falls about as u does.
        air = means.drag * w / (mu * np.maximum(n, LEAST_LOAD))
        u = np.clip(u - (spare - air) / (slope - air / u), LEAST_HELD, MOST_USED)
    return np.minimum(0.5 * _corner_square(k, sin_b, cos_b, mu * u), MOST_LIMIT)


def _spare(u: FloatArray, mu: FloatArray, means: Means) -> tuple[FloatArray, FloatArray]:
    """What the rear has left of its circle over rolling and cornering drag, per mu n; its slope."""
    sticking = np.cbrt(1.0 - u)
    drag = 3.0 * mu / means.slip_stiffness * u * (1.0 - sticking)
    drag_slope = 3.0 * mu / means.slip_stiffness * (1.0 - sticking + u / (3.0 * sticking**2))
    circle = np.sqrt(1.0 - u**2)
    spare = means.rear_share * circle - drag - ROLLING_RESISTANCE / mu
    return spare, -means.rear_share * u / circle - drag_slope


def _held_share(mu: FloatArray, means: Means) -> FloatArray:
    """The held share with no air, by Newton's method.

    What is spare falls with u and is concave, so that from above every step stays above the root
    and none overshoots.
    """
    shape = np.broadcast_shapes(mu.shape, means.rear_share.shape, means.slip_stiffness.shape)
    u = np.full(shape, MOST_USED)
    for _ in range(MOST_HELD_STEPS):
        spare, slope = _spare(u, mu, means)
        step = np.minimum(spare, 0.0) / slope
        u = np.maximum(u - step, LEAST_HELD)
        if np.max(step) < HELD_DIGITS:
            break
    return u


def accelerations(
    road: Road, means: Means, w: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Greatest acceleration forward and, going backward, under braking, with slopes by w.

    Rear traction T per unit mass fills the rear's grip circle. Its load is the static share r n
    plus the transfer q a_x, a_x = T - D being what is left of T after the drags D and q the height
    of the centre of gravity over the wheelbase, as in `wheel_loads`:
    ``T^2 = mu^2 (N + q T)^2 - r^2 a_y^2`` with N = r n - q D, so
    ``T = (mu^2 q N + (mu^2 N^2 - e r^2 a_y^2)^(1/2)) / e``, e = 1 - mu^2 q^2, and no more than the
    grip circle of the whole car leaves.

    Parameters
    ----------
    road : Road
        Stations, (n,) or (cases, n).
    means : Means
    w : ndarray
        Half the speed squared at the stations, m2/s2.

    Returns
    -------
    forward, forward_slope, backward, backward_slope : ndarray
        m/s2 and 1/m.
    """
    mu, q, r = road.mu, means.height_share, means.rear_share
    a_y, n = across_and_down(road, w)
    e = 1.0 - (mu * q) ** 2
    drag, drag_slope, _ = resistance(road, means, w, a_y, n)
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
        np.minimum(engine, traction) - drag - road.extra,
        np.where(powered, -0.5 * engine / w, traction_slope) - drag_slope,
        brake + drag,
        brake_slope + drag_slope,
    )


def across_and_down(road: Road, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lateral acceleration and load per unit mass in the road plane, m/s2.

    Parameters
    ----------
    road : Road
    w : ndarray
        Half the speed squared at the stations of `road`, m2/s2.
    """
    n = road.rest + road.press * w
    return road.turn * w - road.slide, np.maximum(n, LEAST_LOAD)


def _root(value: FloatArray, slope: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Square root of a value and its slope; below `LEAST_LOAD` the tangent there goes on.

    So it stays concave, and Newton's method finds its way back from where there is no root.
    """
    root = np.sqrt(np.maximum(value, LEAST_LOAD**2))
    below = np.minimum(value - LEAST_LOAD**2, 0.0) / (2.0 * LEAST_LOAD)
    return root + below, slope / (2.0 * root)


def resistance(
    road: Road, means: Means, w: FloatArray, a_y: FloatArray, n: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Air, rolling and cornering drag per unit mass, its slope by w, and tan(alpha).

    Cornering drag is a_y tan(alpha), alpha from the brush tire [2]_.

    Parameters
    ----------
    road : Road
    means : Means
    w : ndarray
        Half the speed squared at the stations of `road`, m2/s2.
    a_y, n : ndarray
        As `across_and_down` has them, m/s2.
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
    slope = means.drag + ROLLING_RESISTANCE * road.press + side_slope * slip + side * slip_slope
    return drag, slope, slip
