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

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bite import stagger_effect
from sim.car import ROLLING_RESISTANCE, Car, CornerWeights, brush_grip_used, brush_slip
from sim.groove import Groove, make_groove
from sim.lap import AIR_DENSITY, PHASES, Lap, across, solve_lap, wheel_loads
from sim.rolling import NeededStagger, lost_circumference, needed_stagger
from sim.stagger import recommend
from sim.track import DEFAULT_CONDITION, Condition, Track
from sim.units import DEGREE, FloatArray, G, Real

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
MEAN_POWER = 16
"""Of the mean of the two axles' slips that is held at the limit: nearly the larger one."""
EASY = 0.9
"""Share of grip from which the first guess starts."""


DEFAULT_PACE = 0.95
"""Share of the speed that can be held at which the car is trimmed: at the very limit slip, and with
it the steering wheel, says more about the last of the grip than about the stagger. Engineering
judgement: what a driver keeps in hand."""
LOWERED = 1e-3
"""A demand counts as lowered when this share of it, or more, could not be held."""
LEAST_FELT = 3 * DEGREE
"""Change of the steering wheel that a driver would name. Engineering judgement."""
STIFFNESS_DOUBT = 1 / 3
"""How far off the slip stiffness of a surface may be. Engineering judgement."""

FELT = ("spins", "pushes", "steers itself", "nothing")


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
    grip : float
        mu.
    front_stiffness, rear_stiffness : float
        Slip stiffness per unit load, C.
    tire_rate : float
        Vertical rate of a tire, N/m.
    """

    mass: Real
    front_reach: Real
    rear_reach: Real
    front_half_track: Real
    rear_half_track: Real
    offset: Real
    grip: Real
    front_stiffness: Real
    rear_stiffness: Real
    tire_rate: Real

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
    loads, loads_at_rest : CornerWeights
        Of the wheels with the whole demand, and with none, N.
    left_rollout, right_rollout : ndarray
        Of the running rear tires, unloaded, m.
    most : ndarray
        Largest share of the demand to be driven, 0 to 1.
    """

    turn: FloatArray
    speed: FloatArray
    a_x: FloatArray
    a_y: FloatArray
    a_y_at_rest: FloatArray
    air_drag: FloatArray
    loads: CornerWeights
    loads_at_rest: CornerWeights
    left_rollout: FloatArray
    right_rollout: FloatArray
    most: FloatArray


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


def brush_force(
    slip_x: Real, slip_y: Real, load: Real, mu: Real, slip_stiffness: Real
) -> tuple[Real, Real]:
    """Force of a brush tire with slip along and across at once [1]_.

    Parameters
    ----------
    slip_x, slip_y : float or ndarray
        Theoretical slip: of the tread against the road over its rolling speed, driving positive,
        and to the left positive where the tire must push left.
    load : float or ndarray
        N.
    mu, slip_stiffness : float or ndarray
        Grip, and force per unit load and unit slip at zero slip.

    Returns
    -------
    along, across : float or ndarray
        N, in the direction of the slip; at most mu N.
    """
    slip = np.sqrt(slip_x**2 + slip_y**2 + 1e-24)
    per_slip = mu * load * brush_grip_used(slip, mu, slip_stiffness) / slip
    return per_slip * slip_x, per_slip * slip_y


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


def _axle(
    mu: Real, C: Real, loads: tuple[Real, Real], slips: tuple[tuple[Real, Real], ...],
    rolling: tuple[Real, Real],
) -> _Tires:  # fmt: skip
    """Two tires from their slips (along, across) and rolling speeds: brush and rolling drag."""
    forces = [brush_force(*slip, load, mu, C) for slip, load in zip(slips, loads, strict=True)]
    axle = np.maximum(loads[0] + loads[1], 1.0)
    lengths = [np.hypot(*slip) for slip in slips]
    power = sum(
        v * (x * s_x + y * s_y)
        for v, (x, y), (s_x, s_y) in zip(rolling, forces, slips, strict=True)
    )
    rolled = [(x - ROLLING_RESISTANCE * N, y) for (x, y), N in zip(forces, loads, strict=True)]
    return _Tires(
        left=rolled[0],
        right=rolled[1],
        used=(np.hypot(*forces[0]) + np.hypot(*forces[1])) / (mu * axle),
        slip=(loads[0] * lengths[0] + loads[1] * lengths[1]) / axle * C / (3.0 * mu),
        drive_slip=(loads[0] * slips[0][0] + loads[1] * slips[1][0]) / axle,
        power=power,
    )


# Newton over all stations at once. Unknowns: sideslip, steer, axle speed, share; shape (4, n).


def _loads(at: Stations, share: Real) -> CornerWeights:
    """Wheel loads with a share of the demand: between none and all of it, a straight line."""
    return CornerWeights(
        **{
            name: rest + share * (getattr(at.loads, name) - rest)
            for name, rest in vars(at.loads_at_rest).items()
        }
    )


def _rear(car: Chassis, at: Stations, loads: CornerWeights, z: FloatArray) -> _Tires:
    """The locked axle: both tires turn together, each rolls on what its load leaves of it."""
    sideslip, _, axle_speed, _ = z
    mean = 0.5 * (at.left_rollout + at.right_rollout)
    across_speed = np.sin(sideslip) - at.turn * car.rear_reach
    slips, rolling = [], []
    for rollout, load, y in (
        (at.left_rollout, loads.left_rear, car.rear_half_track),
        (at.right_rollout, loads.right_rear, -car.rear_half_track),
    ):
        rolls = axle_speed * (rollout - lost_circumference(load, car.tire_rate)) / mean
        along_speed = np.cos(sideslip) - at.turn * y
        slips.append((1.0 - along_speed / rolls, -across_speed / rolls))
        rolling.append(rolls)
    return _axle(car.grip, car.rear_stiffness, (loads.left_rear, loads.right_rear),
                 tuple(slips), (rolling[0], rolling[1]))  # fmt: skip


def _front(
    car: Chassis, at: Stations, loads: CornerWeights, z: FloatArray, brake_slip: Real
) -> _Tires:
    """The steered wheels, parallel; forces turned into the axes of the car."""
    sideslip, steer, _, _ = z
    cos_d, sin_d = np.cos(steer), np.sin(steer)
    v_y = np.sin(sideslip) + at.turn * car.front_reach
    slips, rolling = [], []
    for y in (car.front_half_track, -car.front_half_track):
        v_x = np.cos(sideslip) - at.turn * y
        along_speed, across_speed = v_x * cos_d + v_y * sin_d, v_y * cos_d - v_x * sin_d
        rolls = along_speed / (1.0 - brake_slip)
        slips.append((brake_slip, -across_speed / rolls))
        rolling.append(rolls)
    tires = _axle(car.grip, car.front_stiffness, (loads.left_front, loads.right_front),
                  tuple(slips), (rolling[0], rolling[1]))  # fmt: skip
    turned = [(x * cos_d - y * sin_d, x * sin_d + y * cos_d) for x, y in (tires.left, tires.right)]
    return replace(tires, left=turned[0], right=turned[1])


def _axles(car: Chassis, at: Stations, z: FloatArray) -> tuple[_Tires, _Tires]:
    """Front and rear tires. Brakes are taken as set so that the front slips as the rear does."""
    loads = _loads(at, z[3])
    rear = _rear(car, at, loads, z)
    front = _front(car, at, loads, z, np.minimum(rear.drive_slip, 0.0))
    return front, rear


def _left_over(car: Chassis, at: Stations, z: FloatArray, limit: float = LIMIT_USED) -> FloatArray:
    """What is left over of the balances along, across and in yaw, and of the share; (4, ...).

    The share stands at the most asked for, or where an axle comes to its limit: the lesser of two
    differences is zero [4]_.
    """
    sideslip, _, _, share = z
    front, rear = _axles(car, at, z)
    along = share * (car.mass * at.a_x + at.air_drag)
    to_left = car.mass * (at.a_y_at_rest + share * (at.a_y - at.a_y_at_rest))
    cos_b, sin_b = np.cos(sideslip), np.sin(sideslip)
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
    slip = (front.slip**MEAN_POWER + rear.slip**MEAN_POWER) ** (1 / MEAN_POWER)
    weight = car.mass * G
    held = np.minimum(at.most - share, 1.0 - np.cbrt(1.0 - limit) - slip)
    return np.stack([x / weight, y / weight, yaw / (weight * car.wheelbase), held])


def _first_guess(car: Chassis, at: Stations) -> FloatArray:
    """Bicycle model with equal slip at both ends, at a demand that tires can surely hold."""
    load = vars(at.loads).values()
    circle = car.grip * sum(load) / car.mass
    used = np.hypot(at.a_x, at.a_y) / np.maximum(circle, 1e-6)
    share = np.minimum(at.most, EASY / np.maximum(used, 1e-6))
    side = np.clip(share * at.a_y / np.maximum(circle, 1e-6), -EASY, EASY)
    slip = np.sign(side) * brush_slip(np.abs(side), car.grip, car.rear_stiffness)
    sideslip = at.turn * car.rear_reach - slip
    return np.stack([sideslip, at.turn * car.wheelbase, np.ones_like(slip), share])


def _newton_step(
    car: Chassis, at: Stations, z: FloatArray, limit: float
) -> tuple[FloatArray, FloatArray]:
    """What is left over, shape (4, n), and the step that would remove it."""
    nudged = np.repeat(z[:, None], 5, axis=1)
    for unknown in range(4):
        nudged[unknown, unknown + 1] += NUDGE
    r = _left_over(car, at, nudged, limit)
    jacobian = np.moveaxis((r[:, 1:] - r[:, :1]) / NUDGE, -1, 0)
    left = r[:, 0]
    # A trace on the diagonal: a car at rest on no grip has no step, and must not stop the others.
    step = np.linalg.solve(jacobian + 1e-12 * np.eye(4), -left.T[..., None])[..., 0].T
    longest = np.abs(step) / np.array(LONGEST_STEP)[:, None]
    return left, step / np.maximum(longest.max(axis=0), 1.0)


def _each(at: Stations, change: Callable[[FloatArray], FloatArray]) -> Stations:
    """The stations with every array changed in the same way."""
    changed: dict[str, Any] = {}
    for name, value in vars(at).items():
        if isinstance(value, CornerWeights):
            loads = {wheel: change(np.asarray(load)) for wheel, load in vars(value).items()}
            changed[name] = CornerWeights(**loads)
        else:
            changed[name] = change(value)
    return Stations(**changed)


def _shape(at: Stations) -> tuple[int, ...]:
    """The shape to which all arrays of the stations broadcast."""
    shapes: list[tuple[int, ...]] = []

    def note(array: FloatArray) -> FloatArray:
        shapes.append(array.shape)
        return array

    _each(at, note)
    return np.broadcast_shapes(*shapes)


def _some(at: Stations, keep: NDArray[np.int_]) -> Stations:
    """Some of the stations of one row."""
    return _each(at, lambda array: array[keep])


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
    flat = _each(at, lambda array: np.broadcast_to(array, shape).ravel())
    z = _settle(car, flat, _first_guess(car, flat), LIMIT_USED)
    lost = np.flatnonzero(np.isnan(z[3]))
    if lost.size:
        z[:, lost] = _climb(car, _some(flat, lost))
    trim = _told(car, flat, z)
    return Trim(**{name: value.reshape(shape) for name, value in vars(trim).items()})


def _climb(car: Chassis, at: Stations) -> FloatArray:
    """Up to the limit rung by rung, where the straight way overshot it; the highest rung held."""
    start, best = _first_guess(car, at), np.full((4, at.most.size), np.nan)
    for limit in RUNGS:
        z = _settle(car, at, start, limit)
        found = ~np.isnan(z[3])
        best = np.where(found, z, best)
        start = np.where(found, z, start)
    return best


def _settle(car: Chassis, at: Stations, z: FloatArray, limit: float) -> FloatArray:
    """Newton steps until each station is balanced; NaN where one never is."""
    z = z.copy()
    open_ones = np.arange(z.shape[1])
    for _ in range(MOST_STEPS):
        left, step = _newton_step(car, _some(at, open_ones), z[:, open_ones], limit)
        open_now = ~(np.abs(left).max(axis=0) < BALANCED)
        open_ones = open_ones[open_now]
        z[:, open_ones] += step[:, open_now]
        if not open_ones.size:
            break
    z[:, open_ones] = np.nan
    # Roots of the equations that are no car on its way round: going backward, or not at all.
    z[:, (z[2] < 0) | (np.abs(z[0]) > 1.0) | (z[3] < 0)] = np.nan
    return z


def _told(car: Chassis, at: Stations, z: FloatArray) -> Trim:
    front, rear = _axles(car, at, z)
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


# A lap with staggers


@dataclass(frozen=True)
class Feel:
    """A lap driven with staggers beside the same car with zero mismatch; shape (cases, n), SI.

    Attributes
    ----------
    lap : Lap
    car : Car
    condition : Condition
    staggers : ndarray, shape (cases,)
        Rear stagger fitted, m.
    bite : ndarray, shape (cases,)
        Of the car standing, N.
    needed : NeededStagger
        What the even car has fitted, station by station.
    flat_out : Trim
        With the stagger, at the speed of the lap or at what can be held of it.
    fitted, even : Trim
        With the stagger, and with zero mismatch and the bite as weighed; both at the same demand.
    """

    lap: Lap
    car: Car
    condition: Condition
    staggers: FloatArray
    bite: FloatArray
    needed: NeededStagger
    flat_out: Trim
    fitted: Trim
    even: Trim

    @property
    def share(self) -> FloatArray:
        """Share of the lap's kinetic energy and acceleration that both cars are driven with."""
        return self.fitted.share

    @property
    def speed(self) -> FloatArray:
        """Speed at which both are driven, m/s."""
        return self.lap.speed * np.sqrt(self.share)

    @property
    def steering_wheel(self) -> FloatArray:
        """Angle of the steering wheel, rad; to the left positive."""
        return self.car.steering_ratio * self.fitted.steer

    @property
    def steering_change(self) -> FloatArray:
        """Steering wheel against the car with zero mismatch, rad; further left positive."""
        return self.car.steering_ratio * (self.fitted.steer - self.even.steer)

    @property
    def moment_change(self) -> FloatArray:
        """Yaw moment of the axle that comes of the mismatch, N m; negative pushes."""
        return self.fitted.axle_moment - self.even.axle_moment

    @property
    def front_force(self) -> FloatArray:
        """The same as a side force at the front axle, N; negative pushes the front out."""
        return self.moment_change / self.car.wheelbase

    @property
    def scrub_power(self) -> FloatArray:
        """What the four tires lose sliding beyond what they lose with zero mismatch, W.

        All four: the front pays for what the axle pushes.
        """
        return self.fitted.slip_power - self.even.slip_power


def trim_lap(
    lap: Lap,
    car: Car,
    condition: Condition,
    staggers: Real,
    *,
    bite_held: bool = True,
    pace: Real = DEFAULT_PACE,
) -> Feel:
    """What a driver feels around a lap with each of several rear staggers.

    Parameters
    ----------
    lap : Lap
        One lap, arrays of shape (n,).
    car : Car
        As weighed, with the stagger in its file.
    condition : Condition
        Grip and slip stiffness of all four tires.
    staggers : float or ndarray, shape (cases,)
        Taped rear stagger, m; the mean rear rollout is held.
    bite_held : bool
        False lets the bite follow the stagger, as when nothing else is changed.
    pace : float or ndarray, shape (n,)
        Share of the speed that can be held, and of the lap's where all of it can, 0 to 1.

    Returns
    -------
    Feel
        Of shape (cases, n). Where the tires cannot do what the lap asks, `Feel.flat_out.share` is
        less than 1; where no balance was found at all, everything is NaN.
    """
    staggers = np.atleast_1d(np.asarray(staggers, dtype=float))
    chassis, needed = chassis_of(car, condition), needed_stagger(lap, car)
    twist = np.zeros_like(staggers)
    if not bite_held:
        effect = stagger_effect(car, staggers - car.rear.stagger)
        twist = np.asarray(effect.then - effect.now)
    fitted = stations_of(lap, car, across(staggers), _twisted(car.weights, twist))
    even = stations_of(lap, car, needed.total[None], _twisted(car.weights, np.zeros(1)))
    limits = [trim_stations(chassis, at) for at in (fitted, even)]
    held = limits[0].held & limits[1].held
    both = np.where(held, np.fmin(limits[0].share, limits[1].share), 0.0)
    most = np.asarray(pace, dtype=float) ** 2 * both
    trims = [trim_stations(chassis, replace(at, most=most)) for at in (fitted, even)]
    lost = ~(held & trims[0].held & trims[1].held)
    return Feel(
        lap, car, condition, staggers, car.weights.bite + twist, needed,
        *(_without(trim, lost) for trim in (limits[0], *trims)),
    )  # fmt: skip


def _without(trim: Trim, lost: NDArray[np.bool_]) -> Trim:
    return Trim(**{name: np.where(lost, np.nan, value) for name, value in vars(trim).items()})


def _twisted(weights: CornerWeights, bite_change: FloatArray) -> CornerWeights:
    """The scale weights with bite put in, each side and each end keeping its weight."""
    half = 0.5 * bite_change
    return CornerWeights(
        weights.left_front - half,
        weights.right_front + half,
        weights.left_rear + half,
        weights.right_rear - half,
    )


def chassis_of(car: Car, condition: Condition) -> Chassis:
    """The car as it stands, on tires of one condition at both ends."""
    weights = car.weights
    front_reach = car.wheelbase * weights.rear_share
    lean = (weights.left_front - weights.right_front) * car.front.half_track + (
        weights.left_rear - weights.right_rear
    ) * car.rear.half_track
    return Chassis(
        mass=car.mass,
        front_reach=front_reach,
        rear_reach=car.wheelbase - front_reach,
        front_half_track=car.front.half_track,
        rear_half_track=car.rear.half_track,
        offset=lean / weights.total,
        grip=condition.grip,
        front_stiffness=condition.slip_stiffness,
        rear_stiffness=condition.slip_stiffness,
        tire_rate=car.tire.spring_rate,
    )


def stations_of(
    lap: Lap, car: Car, stagger: FloatArray, weights: CornerWeights | None = None
) -> Stations:
    """What a lap asks of a car with a rear stagger taped cold.

    Parameters
    ----------
    lap : Lap
    car : Car
    stagger : ndarray, shape (cases, 1) or (cases, n)
        m.
    weights : CornerWeights, optional
        Scale weights other than the car's, each of shape (cases,).
    """
    groove, car = lap.groove, replace(car, weights=weights or car.weights)
    slide, rest = -G * np.sin(groove.bank), G * np.cos(groove.bank)
    running = stagger + car.tire.growth
    return Stations(
        turn=groove.curvature * np.cos(groove.bank),
        speed=lap.speed,
        a_x=lap.a_x,
        a_y=lap.a_y,
        a_y_at_rest=slide,
        air_drag=0.5 * AIR_DENSITY * np.asarray(car.drag_area) * lap.speed**2,
        loads=wheel_loads(car, lap.a_x, lap.a_y, lap.load),
        loads_at_rest=wheel_loads(car, np.zeros_like(rest), slide, rest),
        left_rollout=car.rear.mean_rollout - 0.5 * running,
        right_rollout=car.rear.mean_rollout + 0.5 * running,
        most=np.ones_like(rest),
    )


# What he feels, phase by phase


@dataclass(frozen=True)
class PhaseFeel:
    """One stagger through one phase of the lap; means over its length, SI, NaN where not held.

    Attributes
    ----------
    phase : str
        Of `lap.PHASES`.
    stagger, mismatch : float
        m.
    steering_wheel, steering_change : float
        rad; see `Feel`.
    moment, moment_change, front_force : float
        N m and N.
    thrust_left, thrust_right : float
        N.
    front_used, rear_used : float
        Share of grip.
    scrub_power : float
        W.
    holds : float
        Share of the lap's kinetic energy and acceleration that this stagger can hold.
    lowered, lost : float
        Share of the phase where that is less than all, and where no balance was found.
    spinning, spinning_flat_out : float
        Share of the phase where the rear tires spin under power: as driven, and flat out.
    """

    phase: str
    stagger: float
    mismatch: float
    steering_wheel: float
    steering_change: float
    moment: float
    moment_change: float
    front_force: float
    thrust_left: float
    thrust_right: float
    front_used: float
    rear_used: float
    scrub_power: float
    holds: float
    lowered: float
    lost: float
    spinning: float
    spinning_flat_out: float

    @property
    def felt(self) -> str:
        """One of `FELT`. Wheelspin comes first: it is missing drive, no fault of the stagger."""
        if self.spinning > 0.5:
            return "spins"
        if self.steering_change > LEAST_FELT:
            return "pushes"
        if self.steering_change < -LEAST_FELT:
            return "steers itself"
        return "nothing"


def feel_by_phase(feel: Feel) -> list[list[PhaseFeel]]:
    """The phases that a lap has, for each stagger.

    Returns
    -------
    list of list of PhaseFeel
        For each stagger, in the order of `lap.PHASES`.
    """
    there = [i for i in range(len(PHASES)) if np.any(feel.lap.phase == i)]
    return [[_phase(feel, case, i) for i in there] for case in range(len(feel.staggers))]


def _phase(feel: Feel, case: int, phase: int) -> PhaseFeel:
    ds = feel.lap.groove.ds * (feel.lap.phase == phase)
    held = ds * feel.fitted.held[case]

    def mean(values: FloatArray) -> float:
        whole = held.sum()
        return float((np.nan_to_num(values[case]) * held).sum() / whole) if whole else math.nan

    def part(where: NDArray[np.bool_]) -> float:
        return float((ds * where[case]).sum() / ds.sum())

    fitted = feel.fitted
    return PhaseFeel(
        phase=PHASES[phase],
        stagger=float(feel.staggers[case]),
        mismatch=mean(across(feel.staggers) - feel.needed.total),
        steering_wheel=mean(feel.steering_wheel),
        steering_change=mean(feel.steering_change),
        moment=mean(fitted.axle_moment),
        moment_change=mean(feel.moment_change),
        front_force=mean(feel.front_force),
        thrust_left=mean(fitted.thrust_left),
        thrust_right=mean(fitted.thrust_right),
        front_used=mean(fitted.front_used),
        rear_used=mean(fitted.rear_used),
        scrub_power=mean(feel.scrub_power),
        holds=mean(feel.flat_out.share),
        lowered=part(feel.flat_out.share < 1.0 - LOWERED),
        lost=part(~fitted.held),
        spinning=part(fitted.spinning),
        spinning_flat_out=part(feel.flat_out.spinning),
    )


@dataclass(frozen=True)
class FeelCase:
    """All that `feel` found for one track, car and condition.

    Attributes
    ----------
    held, free : Feel
        With the bite held, and with the bite following the stagger.
    softer, stiffer : Feel
        With the bite held, on tires whose slip stiffness is a third less, and a third more; on
        the same lap.
    pace : float
        Share of the speed that can be held; see `trim_lap`.
    """

    track: Track
    car: Car
    condition: Condition
    groove: Groove
    held: Feel
    free: Feel
    softer: Feel
    stiffer: Feel
    pace: float


def what_driver_feels(
    track: Track,
    car: Car,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    staggers: Sequence[float] | None = None,
    *,
    grip: float | None = None,
    pace: float = DEFAULT_PACE,
) -> FeelCase:
    """What a driver feels of each of several staggers on a track.

    Parameters
    ----------
    track, car : Track, Car
    condition : str
        heavy, tacky, rubbered or slick.
    groove : str or Groove, optional
        The one the condition brings when left out.
    staggers : sequence of float, optional
        Rear staggers, m; the one on the car and the recommended one when left out.
    grip : float, optional
        Replaces the grip of the condition.
    pace : float
        See `trim_lap`.
    """
    state = track.condition(condition)
    if grip is not None:
        state = replace(state, grip=grip)
    path = groove if isinstance(groove, Groove) else make_groove(
        track, groove or state.groove, car.width
    )  # fmt: skip
    lap = solve_lap(path, car, state)
    if staggers is None:
        best = recommend(lap, needed_stagger(lap, car), car.stagger_window).recommended
        staggers = sorted({float(car.rear.stagger), float(best)})
    fitted = np.asarray(staggers, dtype=float)

    def with_stiffness(factor: float) -> Feel:
        other = replace(state, slip_stiffness=state.slip_stiffness * factor)
        return trim_lap(lap, car, other, fitted, pace=pace)

    return FeelCase(
        track, car, state, path,
        held=trim_lap(lap, car, state, fitted, pace=pace),
        free=trim_lap(lap, car, state, fitted, pace=pace, bite_held=False),
        softer=with_stiffness(1.0 - STIFFNESS_DOUBT),
        stiffer=with_stiffness(1.0 + STIFFNESS_DOUBT),
        pace=pace,
    )  # fmt: skip
