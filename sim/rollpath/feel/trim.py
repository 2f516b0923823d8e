"""What the driver feels: the car in balance at every station of the lap, its rear axle locked.

The four-wheel car is trimmed: sideslip, steer angle and axle speed are found with which the brush
tires make the forces that the lap asks for, along, across and in yaw. Both rear tires turn at one
speed, so a stagger that does not fit the path makes one drive more than the other, and the driver
holds the wheel against it. Quasi-steady like the lap: no yaw acceleration, no body motion.

Where the car cannot do what the lap asks, the demand is lowered: the lap driven with a share of
its kinetic energy, accelerations scaled with it, down to what the tires can hold. All stations and
staggers are solved at once by Newton's method; the share is its fourth unknown.

References
----------
.. [1] H. B. Pacejka, Tire and Vehicle Dynamics, ch. 1 (two-track model) and 3 (brush model,
   theoretical slip).
.. [2] W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 5 and 8 (trim, bicycle
   model).
.. [3] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (steering per g).
.. [4] L. Qi and J. Sun, A nonsmooth version of Newton's method, Mathematical Programming 58 (1993).
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollpath.car import ROLLING_RESISTANCE
from rollpath.corners import Corners
from rollpath.tire import brush_force, brush_slip, lost_circumference
from rollpath.units import FloatArray, G, Real

LIMIT_USED = 0.99
"""Share of an axle's grip at which the demand is lowered: beyond it slip grows without bound."""
WHEELSPIN_USED = 0.98
"""Share of the rear grip used, under power, from which it is wheelspin. Engineering judgement."""
BALANCED = 1e-9
"""A station is balanced when no force is left over that is more than this share of the weight."""
MOST_STEPS = 30
"""Newton steps for the hardest station; six are usual."""
LONGEST_STEP = (0.06, 0.06, 0.06, 0.15)
"""Most that a Newton step may turn, rad, or change axle speed and share: keeps the branch."""
NUDGE = 1e-7
"""Step of the forward differences of the Jacobian; the unknowns are all of order 0.1 to 1."""
RUNGS = (0.5, 0.7, 0.85, 0.93, 0.96, 0.98, LIMIT_USED)
"""Limits climbed one after the other where the straight way overshoots."""
MEAN_DOUBLINGS = 4
"""The power of the mean of the two axles' slips that is held at the limit is 2 to this, 16: nearly
the larger one, by squares and roots that are much quicker than powers."""
EASY = 0.9
"""Share of grip from which the first guess starts."""


# One station: geometry, demand, tires


@dataclass(frozen=True)
class Chassis:
    """Where the wheels stand about the centre of gravity, and how they grip.

    The wheels are placed from the point on the centreline beside the centre of gravity.

    Attributes
    ----------
    mass : float
        kg.
    front_reach, rear_reach : float
        From the centre of gravity to the axles, m.
    front_half_track, rear_half_track : float
        m.
    offset : float
        How far the centre of gravity lies left of the centreline, m.
    front_stiffness, rear_stiffness : float
        Slip stiffness per unit load, C.
    left_rate, right_rate : float
        Vertical rates of the rear tires, N/m.
    loaded_share : float
        See `tire.lost_circumference`.
    """

    mass: Real
    front_reach: Real
    rear_reach: Real
    front_half_track: Real
    rear_half_track: Real
    offset: Real
    front_stiffness: Real
    rear_stiffness: Real
    left_rate: Real
    right_rate: Real
    loaded_share: Real

    @property
    def wheelbase(self) -> Real:
        return self.front_reach + self.rear_reach


@dataclass(frozen=True)
class Stations:
    """What is asked of the car, station by station; arrays of one shape, SI.

    Attributes
    ----------
    turn : ndarray
        Curvature of the path in the plane of the road, k cos b, 1/m.
    speed : ndarray
        m/s.
    a_x, a_y : ndarray
        Acceleration along and across, m/s2.
    a_y_at_rest : ndarray
        The same with no speed, -g sin b, m/s2.
    air_drag : ndarray
        N.
    loads, loads_at_rest : Corners[Real]
        Of the wheels with the whole demand, and with none, N.
    left_rollout, right_rollout : ndarray
        Of the running rear tires, unloaded, m.
    grip : ndarray
        mu under the car.
    most : ndarray
        Largest share of the demand to be driven, 0 to 1.
    front_stiffer, rear_stiffer : ndarray
        Slip stiffness of the tires of an axle over that of the chassis.
    """

    turn: FloatArray
    speed: FloatArray
    a_x: FloatArray
    a_y: FloatArray
    a_y_at_rest: FloatArray
    air_drag: FloatArray
    loads: Corners[Real]
    loads_at_rest: Corners[Real]
    left_rollout: FloatArray
    right_rollout: FloatArray
    grip: FloatArray
    most: FloatArray
    front_stiffer: FloatArray = field(default_factory=lambda: np.ones(()))
    rear_stiffer: FloatArray = field(default_factory=lambda: np.ones(()))


@dataclass(frozen=True)
class Trim:
    """The car in balance; arrays of the shape of the stations, NaN where none was found.

    Attributes
    ----------
    sideslip : ndarray
        Angle of the path from the car's nose, rad; to the left positive (ISO 8855).
    steer : ndarray
        Of both front wheels, rad; to the left positive.
    axle_speed : ndarray
        Turning speed of the axle times its mean taped rollout, over the speed of the car. Loaded
        tires roll less far in a turn, so that this is some 1.02 where nothing slips.
    share : ndarray
        Share of the demand that was driven: 1, or what could be held.
    thrust_left, thrust_right : ndarray
        Force of each rear tire along the car, rolling drag taken off, N.
    axle_moment : ndarray
        Yaw moment of the two about the middle of the axle, N m; steering left positive.
    front_used, rear_used : ndarray
        Share of grip used by each axle.
    slip_power : ndarray
        What the four tires lose sliding, W.
    left_over : ndarray
        Largest of the three forces left over, as a share of the weight.
    """

    sideslip: FloatArray
    steer: FloatArray
    axle_speed: FloatArray
    share: FloatArray
    thrust_left: FloatArray
    thrust_right: FloatArray
    axle_moment: FloatArray
    front_used: FloatArray
    rear_used: FloatArray
    slip_power: FloatArray
    left_over: FloatArray

    @property
    def held(self) -> NDArray[np.bool_]:
        """True where a balance was found."""
        return ~np.isnan(self.share)

    @property
    def spinning(self) -> NDArray[np.bool_]:
        """True where the rear tires spin under power."""
        driving = self.thrust_left + self.thrust_right > 0
        return driving & (self.rear_used > WHEELSPIN_USED)


@dataclass(frozen=True)
class _Tires:
    """The two tires of an axle.

    Attributes
    ----------
    left, right : tuple of ndarray
        Force along and across, N.
    used : ndarray
        Share of grip.
    slip : ndarray
        Load-weighted slip as a share of the slip at which a tire slides whole.
    drive_slip : ndarray
        Load-weighted slip along.
    power : ndarray
        Lost in sliding per speed of the car, N.
    """

    left: tuple[Real, Real]
    right: tuple[Real, Real]
    used: Real
    slip: Real
    drive_slip: Real
    power: Real

    @property
    def along(self) -> Real:
        return self.left[0] + self.right[0]

    @property
    def across(self) -> Real:
        return self.left[1] + self.right[1]


def _length(x: Real, y: Real) -> Real:
    """As np.hypot, which minds numbers near the largest and takes much longer."""
    return np.sqrt(x * x + y * y)


def _axle(
    mu: Real, C: Real, loads: tuple[Real, Real], slips: tuple[tuple[Real, Real], ...],
    rolling: tuple[Real, Real],
) -> _Tires:  # fmt: skip
    """Two tires from their slips (along, across) and rolling speeds: brush and rolling drag."""
    forces = [brush_force(*slip, load, mu, C) for slip, load in zip(slips, loads, strict=True)]
    axle = np.maximum(loads[0] + loads[1], 1.0)
    lengths = [_length(*slip) for slip in slips]
    power = sum(
        v * (x * s_x + y * s_y)
        for v, (x, y), (s_x, s_y) in zip(rolling, forces, slips, strict=True)
    )
    rolled = [(x - ROLLING_RESISTANCE * N, y) for (x, y), N in zip(forces, loads, strict=True)]
    return _Tires(
        left=rolled[0],
        right=rolled[1],
        used=(_length(*forces[0]) + _length(*forces[1])) / (mu * axle),
        slip=(loads[0] * lengths[0] + loads[1] * lengths[1]) / axle * C / (3.0 * mu),
        drive_slip=(loads[0] * slips[0][0] + loads[1] * slips[1][0]) / axle,
        power=power,
    )


# Newton over all stations at once. Unknowns: sideslip, steer, axle speed, share; shape (4, n).


def _loads(at: Stations, share: Real) -> Corners[Real]:
    """Wheel loads with a share of the demand: between none and all of it, a straight line."""
    return at.loads_at_rest.with_each(at.loads, lambda rest, full: rest + share * (full - rest))


def _rear(
    car: Chassis, at: Stations, loads: Corners[Real], heading: tuple[Real, Real], axle_speed: Real
) -> _Tires:
    """The locked axle: both tires turn together, each rolls on what its load leaves of it."""
    cos_b, sin_b = heading
    mean = 0.5 * (at.left_rollout + at.right_rollout)
    across_speed = sin_b - at.turn * car.rear_reach
    slips, rolling = [], []
    for rollout, load, rate, y in (
        (at.left_rollout, loads.left_rear, car.left_rate, car.rear_half_track),
        (at.right_rollout, loads.right_rear, car.right_rate, -car.rear_half_track),
    ):
        lost = lost_circumference(load, rate, car.loaded_share)
        rolls = axle_speed * (rollout - lost) / mean
        along_speed = cos_b - at.turn * y
        slips.append((1.0 - along_speed / rolls, -across_speed / rolls))
        rolling.append(rolls)
    return _axle(at.grip, car.rear_stiffness * at.rear_stiffer, (loads.left_rear, loads.right_rear),
                 tuple(slips), (rolling[0], rolling[1]))  # fmt: skip


def _front(
    car: Chassis,
    at: Stations,
    loads: Corners[Real],
    heading: tuple[Real, Real],
    steer: Real,
    brake_slip: Real,
) -> _Tires:
    """The steered wheels, parallel; forces turned into the axes of the car."""
    cos_b, sin_b = heading
    cos_d, sin_d = np.cos(steer), np.sin(steer)
    v_y = sin_b + at.turn * car.front_reach
    slips, rolling = [], []
    for y in (car.front_half_track, -car.front_half_track):
        v_x = cos_b - at.turn * y
        along_speed, across_speed = v_x * cos_d + v_y * sin_d, v_y * cos_d - v_x * sin_d
        rolls = along_speed / (1.0 - brake_slip)
        slips.append((brake_slip, -across_speed / rolls))
        rolling.append(rolls)
    C = car.front_stiffness * at.front_stiffer
    tires = _axle(at.grip, C, (loads.left_front, loads.right_front),
                  tuple(slips), (rolling[0], rolling[1]))  # fmt: skip
    turned = [(x * cos_d - y * sin_d, x * sin_d + y * cos_d) for x, y in (tires.left, tires.right)]
    return replace(tires, left=turned[0], right=turned[1])


def _axles(
    car: Chassis, at: Stations, z: FloatArray, heading: tuple[Real, Real]
) -> tuple[_Tires, _Tires]:
    """Front and rear tires. Brakes are taken as set so that the front slips as the rear does.

    `heading` is the cosine and the sine of the sideslip: they cost more than all the rest.
    """
    loads = _loads(at, z[3])
    rear = _rear(car, at, loads, heading, z[2])
    front = _front(car, at, loads, heading, z[1], np.minimum(rear.drive_slip, 0.0))
    return front, rear


def _left_over(car: Chassis, at: Stations, z: FloatArray, limit: float = LIMIT_USED) -> FloatArray:
    """What is left over of the balances along, across and in yaw, and of the share; (4, ...).

    The share stands at the most asked for, or where an axle comes to its limit: the lesser of two
    differences is zero [4]_.
    """
    sideslip, _, _, share = z
    cos_b, sin_b = np.cos(sideslip), np.sin(sideslip)
    front, rear = _axles(car, at, z, (cos_b, sin_b))
    along = share * (car.mass * at.a_x + at.air_drag)
    to_left = car.mass * (at.a_y_at_rest + share * (at.a_y - at.a_y_at_rest))
    x = front.along + rear.along - (along * cos_b - to_left * sin_b)
    y = front.across + rear.across - (along * sin_b + to_left * cos_b)
    yaw = (
        car.front_reach * front.across
        - car.rear_reach * rear.across
        + car.front_half_track * (front.right[0] - front.left[0])
        + car.rear_half_track * (rear.right[0] - rear.left[0])
        + car.offset * (front.along + rear.along)
    )
    # A high mean of the two axles: the larger, but smooth where the other takes over.
    slip = _high_mean(front.slip, rear.slip)
    weight = car.mass * G
    held = np.minimum(at.most - share, 1.0 - np.cbrt(1.0 - limit) - slip)
    return np.stack([x / weight, y / weight, yaw / (weight * car.wheelbase), held])


def _high_mean(one: Real, other: Real) -> Real:
    """Mean of two positive numbers with a high power; see `MEAN_DOUBLINGS`."""
    for _ in range(MEAN_DOUBLINGS):
        one, other = one * one, other * other
    mean = one + other
    for _ in range(MEAN_DOUBLINGS):
        mean = np.sqrt(mean)
    return mean


def _first_guess(car: Chassis, at: Stations) -> FloatArray:
    """Bicycle model with equal slip at both ends, at a demand that tires can surely hold."""
    load = list(at.loads)
    circle = at.grip * sum(load) / car.mass
    used = np.hypot(at.a_x, at.a_y) / np.maximum(circle, 1e-6)
    share = np.minimum(at.most, EASY / np.maximum(used, 1e-6))
    side = np.clip(share * at.a_y / np.maximum(circle, 1e-6), -EASY, EASY)
    slip = np.sign(side) * brush_slip(np.abs(side), at.grip, car.rear_stiffness * at.rear_stiffer)
    sideslip = at.turn * car.rear_reach - slip
    return np.stack([sideslip, at.turn * car.wheelbase, np.ones_like(slip), share])


def _newton_step(
    car: Chassis, at: Stations, z: FloatArray, left: FloatArray, limit: float
) -> FloatArray:
    """The step that would remove what is left over; both of shape (4, n)."""
    nudged = np.repeat(z[:, None], 4, axis=1)
    for unknown in range(4):
        nudged[unknown, unknown] += NUDGE
    r = _left_over(car, at, nudged, limit)
    jacobian = np.moveaxis((r - left[:, None]) / NUDGE, -1, 0)
    # A trace on the diagonal: a car at rest on no grip has no step, and must not stop the others.
    step = np.linalg.solve(jacobian + 1e-12 * np.eye(4), -left.T[..., None])[..., 0].T
    longest = np.abs(step) / np.array(LONGEST_STEP)[:, None]
    shortened: FloatArray = step / np.maximum(longest.max(axis=0), 1.0)
    return shortened


def each_array(at: Stations, change: Callable[[FloatArray], FloatArray]) -> Stations:
    """The stations with every array changed in the same way."""
    changed: dict[str, Any] = {}
    for name, value in vars(at).items():
        if isinstance(value, Corners):
            changed[name] = value.map(lambda load: change(np.asarray(load)))
        else:
            changed[name] = change(value)
    return Stations(**changed)


def _shape(at: Stations) -> tuple[int, ...]:
    """The shape to which all arrays of the stations broadcast."""
    shapes: list[tuple[int, ...]] = []

    def note(array: FloatArray) -> FloatArray:
        shapes.append(array.shape)
        return array

    each_array(at, note)
    return np.broadcast_shapes(*shapes)


def _some(at: Stations, keep: NDArray[np.int_]) -> Stations:
    """Some of the stations of one row."""
    return each_array(at, lambda array: array[keep])


def trim_stations(car: Chassis, at: Stations) -> Trim:
    """Balance the car at every station [2]_.

    Parameters
    ----------
    car : Chassis
    at : Stations
        Arrays of any shapes that broadcast to one.

    Returns
    -------
    Trim
        Of that shape.
    """
    shape = _shape(at)
    flat = each_array(at, lambda array: np.broadcast_to(array, shape).ravel())
    z = settle_trim(car, flat, _first_guess(car, flat), LIMIT_USED)
    lost = np.flatnonzero(np.isnan(z[3]))
    if lost.size:
        z[:, lost] = _climb(car, _some(flat, lost))
    trim = trim_of(car, flat, z)
    return Trim(**{name: value.reshape(shape) for name, value in vars(trim).items()})


def _climb(car: Chassis, at: Stations) -> FloatArray:
    """Up to the limit rung by rung, where the straight way overshot it; the highest rung held."""
    start, best = _first_guess(car, at), np.full((4, at.most.size), np.nan)
    for limit in RUNGS:
        z = settle_trim(car, at, start, limit)
        found = ~np.isnan(z[3])
        best = np.where(found, z, best)
        start = np.where(found, z, start)
    return best


def settle_trim(car: Chassis, at: Stations, z: FloatArray, limit: float) -> FloatArray:
    """Newton steps until each station is balanced; NaN where one never is.

    Parameters
    ----------
    car : Chassis
    at : Stations
        n stations in a row.
    z : ndarray, shape (4, n)
        Start: sideslip and steer, rad; axle speed over the car's, and share of the demand met.
    limit : float
        Share of an axle's grip at which the demand is lowered.
    """
    z = z.copy()
    open_ones, here = np.arange(z.shape[1]), at
    for _ in range(MOST_STEPS):
        left = _left_over(car, here, z[:, open_ones], limit)
        open_now = ~(np.abs(left).max(axis=0) < BALANCED)
        if not open_now.all():
            open_ones, left = open_ones[open_now], left[:, open_now]
            here = _some(at, open_ones)
        if not open_ones.size:
            break
        z[:, open_ones] += _newton_step(car, here, z[:, open_ones], left, limit)
    z[:, open_ones] = np.nan
    # Roots of the equations that are no car on its way round: going backward, or not at all.
    z[:, (z[2] < 0) | (np.abs(z[0]) > 1.0) | (z[3] < 0)] = np.nan
    return z


def trim_of(car: Chassis, at: Stations, z: FloatArray) -> Trim:
    """The trim of the four unknowns of `settle_trim`: sideslip, steer, axle speed and share, shape
    (4, n)."""
    front, rear = _axles(car, at, z, (np.cos(z[0]), np.sin(z[0])))
    (left, _), (right, _) = rear.left, rear.right
    left_over = _left_over(car, at, z)[:3]
    return Trim(
        sideslip=z[0],
        steer=z[1],
        axle_speed=z[2],
        share=z[3],
        thrust_left=np.asarray(left),
        thrust_right=np.asarray(right),
        axle_moment=np.asarray(car.rear_half_track * (right - left)),
        front_used=np.asarray(front.used),
        rear_used=np.asarray(rear.used),
        slip_power=np.asarray((front.power + rear.power) * at.speed * np.sqrt(z[3])),
        left_over=np.abs(left_over).max(axis=0),
    )
