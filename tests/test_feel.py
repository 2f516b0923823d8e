"""The trim: against the bicycle model, against time integration, and against practice."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ovals import oval
from rollpath.axle.rolling import rolling_ratio
from rollpath.car import ROLLING_RESISTANCE, Car
from rollpath.corners import Corners
from rollpath.feel.lap import (
    Feel,
    chassis_of,
    feel_by_phase,
    stations_of,
    trim_lap,
    what_driver_feels,
)
from rollpath.feel.trim import LIMIT_USED, Chassis, Stations, Trim, trim_stations
from rollpath.files.cars import load_car
from rollpath.files.tracks import load_track
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import PHASES, Lap, driven_lap, solve_lap
from rollpath.tire import brush_force, lost_circumference
from rollpath.units import DEGREE, HP, INCH, POUND, G
from scipy.integrate import quad, solve_ivp

ROOT = Path(__file__).resolve().parent.parent
TRACKS = ("ropewalk", "saucer-hill", "two-ponds")
CARS = ("number-31", "blue-heron")
CONDITIONS = ("slick", "tacky", "heavy")
CASES = [(t, c, s) for t in TRACKS for c in CARS for s in CONDITIONS]


@cache
def lap_of(track: str, car: str, condition: str) -> Lap:
    venue, machine = load_track(ROOT / f"tracks/{track}.yaml"), load_car(ROOT / f"cars/{car}.yaml")
    state = venue.condition(condition)
    return solve_lap(make_groove(venue, state.groove, machine.width, 180), machine, state)


@cache
def feel_of(
    track: str, car: str, condition: str, bite_held: bool = True, pace: float = 0.95
) -> Feel:
    venue, machine = load_track(ROOT / f"tracks/{track}.yaml"), load_car(ROOT / f"cars/{car}.yaml")
    lap = lap_of(track, car, condition)
    staggers = np.arange(5) * INCH
    return trim_lap(
        lap, machine, venue.condition(condition), staggers, bite_held=bite_held, pace=pace
    )


def phase_means(feel: Feel, phase: str) -> np.ndarray:
    there = feel.lap.phase == PHASES.index(phase)
    return feel.steering_change[:, there].mean(axis=1)


# The brush tire


def brush_by_hand(slip: float, load: float, mu: float, C: float) -> float:
    """Pacejka, Tire and Vehicle Dynamics, ch. 3: bristles under a parabola of pressure.

    Contact length 2, pressure 3/4 N (1 - x^2), bristle stiffness such that the slope is C N.
    """
    bristle = C * load / 2.0

    def shear(x: float) -> float:
        return min(bristle * slip * (1.0 - x), mu * 0.75 * load * (1.0 - x * x))

    return quad(shear, -1.0, 1.0, limit=200)[0]


@pytest.mark.parametrize("slip", [0.001, 0.02, 0.1, 0.2, 0.25, 0.4])
def test_brush_force_is_the_integral_of_its_bristles(slip: float) -> None:
    along, across = brush_force(0.6 * slip, 0.8 * slip, 3500.0, 0.6, 7.0)
    assert math.hypot(along, across) == pytest.approx(
        brush_by_hand(slip, 3500.0, 0.6, 7.0), rel=1e-5
    )


def test_brush_slope_at_zero_is_stiffness_times_load_and_limit_is_grip_times_load() -> None:
    along, across = brush_force(1e-7, 0.0, 3000.0, 0.8, 9.0)
    assert along / 1e-7 == pytest.approx(9.0 * 3000.0, rel=1e-5)
    assert across == 0.0
    assert math.hypot(*brush_force(-3.0, 4.0, 3000.0, 0.8, 9.0)) == pytest.approx(0.8 * 3000.0)


def test_brush_is_smooth_through_zero_and_into_full_sliding() -> None:
    slip = np.linspace(-0.4, 0.4, 4001)
    force = brush_force(slip, 0.0, 1.0, 0.8, 9.0)[0]
    slope = np.gradient(force, slip)
    assert np.abs(np.diff(slope)).max() < 0.05  # of 9 at zero: no step in the slope


@given(
    st.floats(0.001, 0.6), st.floats(0.0, 2 * math.pi), st.floats(0.3, 1.2), st.floats(3.0, 20.0)
)
def test_brush_is_isotropic(slip: float, way: float, mu: float, C: float) -> None:
    turned = brush_force(slip * math.cos(way), slip * math.sin(way), 1000.0, mu, C)
    plain = brush_force(slip, 0.0, 1000.0, mu, C)[0]
    assert turned == pytest.approx((plain * math.cos(way), plain * math.sin(way)), abs=1e-6)


# One station by itself

EVEN = {"left_front": 3800.0, "right_front": 3800.0, "left_rear": 4200.0, "right_rear": 4200.0}
ALIKE = {"left_rollout": 85 * INCH, "right_rollout": 85 * INCH}


def one_station(**changes: float) -> Stations:
    """A left turn of 40 m at 15 m/s on the flat, with loads that carry some bite."""
    values = {
        "turn": 1 / 40.0, "speed": 15.0, "a_x": 0.0, "a_y": 15.0**2 / 40.0, "a_y_at_rest": 0.0,
        "air_drag": 240.0, "left_rollout": 84 * INCH, "right_rollout": 86 * INCH, "most": 1.0,
        "grip": 0.88, **changes,
    }  # fmt: skip
    loads = {"left_front": 2300.0, "right_front": 4300.0, "left_rear": 3500.0, "right_rear": 4300.0}
    corner = {name: changes.get(name, load) for name, load in loads.items()}
    weights = Corners(**{name: np.array([load]) for name, load in corner.items()})
    rest = {name: np.array([value]) for name, value in values.items() if name not in corner}
    return Stations(loads=weights, loads_at_rest=weights, **rest)


def plain_chassis(at: Stations, **changes: float) -> Chassis:
    """A chassis whose centre of gravity lies where the loads of the station say."""
    total = float(at.loads.total[0])
    front = float((at.loads.left_front + at.loads.right_front)[0])
    wheelbase = 2.74
    values = {
        "mass": total / G, "front_reach": wheelbase * (1 - front / total),
        "rear_reach": wheelbase * front / total, "front_half_track": 0.79, "rear_half_track": 0.80,
        "offset": 0.0, "front_stiffness": 8.5, "rear_stiffness": 8.5,
        "left_rate": 1100 * POUND / INCH, "right_rate": 1100 * POUND / INCH,
        "loaded_share": 1 / 3,
    }  # fmt: skip
    return Chassis(**{**values, **changes})


def wheel_force(
    v_x: float, v_y: float, rolls: float, load: float, mu: float, C: float
) -> tuple[float, float]:
    """Brush force along and across a wheel; the cubic written out, no room of sim used."""
    s_x, s_y = (rolls - v_x) / rolls, -v_y / rolls
    slip = math.hypot(s_x, s_y)
    q = min(C * slip / (3 * mu), 1.0)
    force = mu * load * (3 * q - 3 * q * q + q**3)
    return (force * s_x / slip, force * s_y / slip) if slip else (0.0, 0.0)


def rear_radii(car: Chassis, at: Stations) -> tuple[float, float]:
    """Loaded rolling radii: Jazar, Vehicle Dynamics, ch. 3."""
    return tuple(
        float(rollout[0]) / (2 * math.pi) - float(load[0]) / car.left_rate / 3
        for rollout, load in (
            (at.left_rollout, at.loads.left_rear), (at.right_rollout, at.loads.right_rear)
        )
    )  # fmt: skip


def planar_rates(
    car: Chassis, at: Stations, steer: float, torque: float, state: np.ndarray
) -> list[float]:
    """Rates of (v_x, v_y, yaw rate, axle spin) of the two-track car; an independent writing."""
    v_x, v_y, yaw, spin = state
    speed = math.hypot(v_x, v_y)
    air = float(at.air_drag[0]) * (speed / float(at.speed[0])) ** 2
    X, Y, M = -air * v_x / speed, -air * v_y / speed, 0.0
    loads, reaction = at.loads, 0.0
    for x, y, load, radius in (
        (car.front_reach, car.front_half_track, loads.left_front, None),
        (car.front_reach, -car.front_half_track, loads.right_front, None),
        (-car.rear_reach, car.rear_half_track, loads.left_rear, rear_radii(car, at)[0]),
        (-car.rear_reach, -car.rear_half_track, loads.right_rear, rear_radii(car, at)[1]),
    ):
        turn = steer if radius is None else 0.0
        c, s = math.cos(turn), math.sin(turn)
        w_x, w_y = v_x - yaw * y, v_y + yaw * x
        w_x, w_y = w_x * c + w_y * s, w_y * c - w_x * s
        rolls = w_x if radius is None else spin * radius
        C = car.front_stiffness if radius is None else car.rear_stiffness
        f_x, f_y = wheel_force(w_x, w_y, rolls, float(load[0]), float(at.grip[0]), C)
        reaction += 0.0 if radius is None else f_x * radius
        f_x -= ROLLING_RESISTANCE * float(load[0])
        f_x, f_y = f_x * c - f_y * s, f_x * s + f_y * c
        X, Y, M = X + f_x, Y + f_y, M + x * f_y - y * f_x
    inertia = car.mass * car.front_reach * car.rear_reach
    return [X / car.mass + yaw * v_y, Y / car.mass - yaw * v_x, M / inertia,
            (torque - reaction) / 8.0]  # fmt: skip


def torque_of(car: Chassis, at: Stations, trim: Trim) -> float:
    """Axle torque that makes the thrusts of a trim, rolling drag put back."""
    radii = rear_radii(car, at)
    thrusts = (trim.thrust_left, trim.thrust_right)
    loads = (at.loads.left_rear, at.loads.right_rear)
    return sum(
        radius * float(thrust[0] + ROLLING_RESISTANCE * load[0])
        for radius, thrust, load in zip(radii, thrusts, loads, strict=True)
    )


def state_of(car: Chassis, at: Stations, trim: Trim) -> np.ndarray:
    speed, beta = float(at.speed[0]), float(trim.sideslip[0])
    mean_radius = float((at.left_rollout + at.right_rollout)[0]) / (4 * math.pi)
    spin = float(trim.axle_speed[0]) * speed / mean_radius
    return np.array([speed * math.cos(beta), speed * math.sin(beta),
                     speed * float(at.turn[0]), spin])  # fmt: skip


def settle(
    car: Chassis, at: Stations, steer: float, torque: float, start: np.ndarray
) -> np.ndarray:
    """The state after two minutes with wheel and throttle held."""
    run = solve_ivp(
        lambda _, state: planar_rates(car, at, steer, torque, state), (0.0, 120.0), start,
        method="LSODA", rtol=1e-9, atol=1e-10,
    )  # fmt: skip
    assert run.success
    return run.y[:, -1]


def test_time_integration_settles_on_the_trim() -> None:
    at = one_station()
    car = plain_chassis(at)
    trim = trim_stations(car, at)
    assert trim.share[0] == 1.0
    wanted = state_of(car, at, trim)
    torque = torque_of(car, at, trim)
    start = wanted * np.array([0.95, 0.8, 0.9, 0.96])
    reached = settle(car, at, float(trim.steer[0]), torque, start)
    assert reached == pytest.approx(wanted, rel=1e-4)


def test_held_wheel_and_throttle_with_less_stagger_drift_out() -> None:
    # common practice, no source
    at = one_station()
    car = plain_chassis(at)
    trim = trim_stations(car, at)
    steer, torque, start = float(trim.steer[0]), torque_of(car, at, trim), state_of(car, at, trim)
    less = replace(at, left_rollout=at.left_rollout + INCH, right_rollout=at.right_rollout - INCH)
    v_x, v_y, yaw, _ = settle(car, less, steer, torque, start)
    assert math.hypot(v_x, v_y) / yaw > 1.02 * 40.0


def test_steering_per_g_is_that_of_the_bicycle_model() -> None:
    """W_f/C_f - W_r/C_r, per g (Gillespie ch. 6; Milliken and Milliken ch. 5), and L/R at no g."""
    radius, small = 200.0, 0.005 * G
    # A tow takes up the rolling drag, so that the rear tires need not drive.
    tow = {"air_drag": -ROLLING_RESISTANCE * 16000.0}
    steers = []
    for a_y in (0.0, small):
        at = one_station(turn=1 / radius, a_y=a_y, **EVEN, **ALIKE, **tow)
        car = plain_chassis(at, front_half_track=0.0, rear_half_track=0.0,
                            front_stiffness=6.0, rear_stiffness=11.0)  # fmt: skip
        steers.append(float(trim_stations(car, at).steer[0]))
    W_f, W_r = 7600.0, 8400.0
    C_f, C_r = 6.0 * W_f, 11.0 * W_r
    assert steers[0] == pytest.approx(2.74 / radius, rel=0.01)
    assert (steers[1] - steers[0]) / (small / G) == pytest.approx(W_f / C_f - W_r / C_r, rel=0.01)


def test_zero_mismatch_gives_equal_thrust_from_equal_loads() -> None:
    """On a bank that carries the turn by itself, the slip of both rear tires is the same."""
    half_track, turn, mean = 0.80, 1 / 40.0, 85 * INCH
    lost = 2 * math.pi * 4200.0 / (1100 * POUND / INCH) / 3
    # Rolling circumferences stand as the circles of the wheels: R + t to R - t.
    right, left = ((mean - lost) * (1 + side * half_track * turn) + lost for side in (1, -1))
    at = one_station(turn=turn, a_y=0.0, a_x=1.0, left_rollout=left, right_rollout=right, **EVEN)
    trim = trim_stations(plain_chassis(at), at)
    assert trim.thrust_left[0] > 500.0
    assert trim.thrust_left[0] == pytest.approx(trim.thrust_right[0], rel=2e-3)
    more = replace(
        at, left_rollout=at.left_rollout - INCH / 2, right_rollout=at.right_rollout + INCH / 2
    )
    assert trim_stations(plain_chassis(at), more).axle_moment[0] > 50.0


def even_car() -> Car:
    """The leaf-sprung demo car with the same weight and air left and right, and no driveshaft."""
    car = load_car(ROOT / "cars/number-31.yaml")
    weights = Corners(3800.0, 3800.0, 4200.0, 4200.0)
    return replace(car, weights=weights, pressure=None, gear_ratio=1e9)


def test_stagger_of_the_banked_rolling_ratio_gives_equal_thrust_from_equal_loads() -> None:
    """Design section 4.3: on a bank the wheels run on circles R -/+ t cos b.

    At the speed at which the bank carries the turn by itself (v^2 k cos b = g sin b) all loads are
    as on the scales, left as right.
    """
    bank, car = 24 * DEGREE, even_car()
    groove = parallel_groove(oval(40.0, 0.0, bank=bank), 5.0)
    k = groove.curvature
    assert groove.bank == pytest.approx(bank)
    state = load_track(ROOT / "tracks/ropewalk.yaml").condition("heavy")
    lap = driven_lap(groove, car, state, np.sqrt(G * np.tan(groove.bank) / k))
    assert lap.wheels.left_rear == pytest.approx(lap.wheels.right_rear)
    lost = lost_circumference(lap.wheels.left_rear, car.tire.spring_rate, 1 / 3)
    ratio = rolling_ratio(k, car.rear.half_track, groove.bank)
    # Running circumferences M - lost + S/2 and M - lost - S/2 stand as the ratio.
    stagger = 2 * (car.rear.mean_rollout - lost) * (ratio - 1) / (ratio + 1) - car.tire.growth
    chassis = chassis_of(car, state)
    trim = trim_stations(chassis, stations_of(lap, car, state, stagger))
    assert (trim.thrust_left > 100.0).all()
    assert trim.thrust_right == pytest.approx(trim.thrust_left, abs=2.0)
    # The flat ratio is another stagger, and the thrusts tell the two apart.
    flat = 2 * (car.rear.mean_rollout - lost) * car.rear.half_track * k - car.tire.growth
    trim = trim_stations(chassis, stations_of(lap, car, state, flat))
    assert (trim.thrust_right - trim.thrust_left > 20.0).all()


def test_left_weight_turns_the_car_left_on_the_throttle_so_the_wheel_is_held_right() -> None:
    """Even thrust pulls on the centreline, to the right of a centre of gravity that lies left."""
    at = one_station(turn=0.0, a_y=0.0, a_x=1.5, **EVEN, **ALIKE)
    centred = trim_stations(plain_chassis(at), at)
    left = trim_stations(plain_chassis(at, offset=0.05), at)
    assert centred.steer[0] == pytest.approx(0.0, abs=1e-9)
    # Moment over wheelbase is the side force pair: front C_f (steer - slip), rear opposite.
    force = 0.05 * float((left.thrust_left + left.thrust_right)[0] - ROLLING_RESISTANCE * 7600)
    compliance = 1 / (8.5 * 7600) + 1 / (8.5 * 8400)  # the driving rear is a little softer
    assert left.steer[0] == pytest.approx(-force / 2.74 * compliance, rel=0.15)


def test_brakes_act_at_both_ends_in_proportion_to_load() -> None:
    at = one_station(turn=0.0, a_y=0.0, a_x=-4.0, **EVEN, **ALIKE)
    car = plain_chassis(at)
    trim = trim_stations(car, at)
    rear = float((trim.thrust_left + trim.thrust_right)[0])
    assert rear == pytest.approx((-4.0 * car.mass + 240.0) * 8400 / 16000, rel=1e-3)


def test_mirrored_car_in_a_right_turn_is_the_mirror_image() -> None:
    at = one_station(a_x=0.8)
    car = plain_chassis(at, offset=0.03)
    swapped = Corners(at.loads.right_front, at.loads.left_front,
                            at.loads.right_rear, at.loads.left_rear)  # fmt: skip
    mirror = replace(
        at, turn=-at.turn, a_y=-at.a_y, loads=swapped, loads_at_rest=swapped,
        left_rollout=at.right_rollout, right_rollout=at.left_rollout,
    )  # fmt: skip
    plain, other = trim_stations(car, at), trim_stations(replace(car, offset=-0.03), mirror)
    assert other.steer[0] == pytest.approx(-plain.steer[0], rel=1e-7)
    assert other.sideslip[0] == pytest.approx(-plain.sideslip[0], rel=1e-7)
    assert other.thrust_left[0] == pytest.approx(plain.thrust_right[0], rel=1e-7)


def rolling_power(car: Chassis, at: Stations, trim: Trim, speed: float) -> float:
    """What rolling drag takes: on each wheel, along it, at the speed of its hub."""
    beta, steer, yaw = float(trim.sideslip[0]), float(trim.steer[0]), speed * float(at.turn[0])
    rolling = 0.0
    for x, y, load, turned in (
        (car.front_reach, car.front_half_track, at.loads.left_front, steer),
        (car.front_reach, -car.front_half_track, at.loads.right_front, steer),
        (-car.rear_reach, car.rear_half_track, at.loads.left_rear, 0.0),
        (-car.rear_reach, -car.rear_half_track, at.loads.right_rear, 0.0),
    ):
        v_x, v_y = speed * math.cos(beta) - yaw * y, speed * math.sin(beta) + yaw * x
        rolling += (
            ROLLING_RESISTANCE * float(load[0]) * (v_x * math.cos(turned) + v_y * math.sin(turned))
        )
    return rolling


@pytest.mark.parametrize(
    ("asked", "lowered"), [({"a_x": 0.7}, False), ({"a_x": 3.0, "a_y": 12.0}, True)]
)
def test_engine_power_is_what_speed_air_rolling_and_sliding_take(
    asked: dict[str, float], lowered: bool
) -> None:
    """Conservation of energy: the trim books no power that goes nowhere.

    Where the demand was lowered, forces stand as the share of it and speed as the root.
    """
    at = one_station(**asked)
    car = plain_chassis(at)
    trim = trim_stations(car, at)
    share = float(trim.share[0])
    assert share < 0.8 if lowered else share == 1.0
    driven = replace(at, speed=at.speed * math.sqrt(share))
    speed = float(driven.speed[0])
    forces = share * (car.mass * asked["a_x"] + 240.0)
    taken = forces * speed + rolling_power(car, at, trim, speed) + float(trim.slip_power[0])
    spin = state_of(car, driven, trim)[3]
    assert torque_of(car, at, trim) * spin == pytest.approx(taken, rel=1e-6)


def test_demand_beyond_the_tires_is_lowered_to_their_limit_and_told() -> None:
    at = one_station(a_y=12.0, a_x=3.0)
    trim = trim_stations(plain_chassis(at), at)
    assert 0.4 < trim.share[0] < 0.8
    assert max(trim.front_used[0], trim.rear_used[0]) == pytest.approx(LIMIT_USED, abs=0.01)
    assert trim.left_over[0] < 1e-6


def test_car_that_slides_down_the_bank_at_rest_is_told_as_not_held() -> None:
    at = one_station(a_y_at_rest=-9.7, a_y=-9.0, turn=0.0)
    trim = trim_stations(plain_chassis(at), at)
    assert not trim.held[0]
    assert np.isnan(trim.steer[0])


@settings(max_examples=40, deadline=None)
@given(
    radius=st.floats(12.0, 400.0), lateral=st.floats(-0.4, 1.4), along=st.floats(-1.2, 0.8),
    grip=st.floats(0.35, 1.2), stiffness=st.floats(4.0, 14.0), stagger=st.floats(-3.0, 8.0),
)  # fmt: skip
def test_every_demand_is_balanced_or_told(
    radius: float, lateral: float, along: float, grip: float, stiffness: float, stagger: float
) -> None:
    at = one_station(
        turn=1 / radius, a_y=lateral * G * grip, a_x=along * G * grip,
        left_rollout=(85 - stagger / 2) * INCH, right_rollout=(85 + stagger / 2) * INCH,
        grip=grip,
    )  # fmt: skip
    car = plain_chassis(at, front_stiffness=stiffness, rear_stiffness=stiffness)
    trim = trim_stations(car, at)
    if trim.held[0]:
        assert trim.left_over[0] < 1e-6
        assert 0.0 <= trim.share[0] <= 1.0 + 1e-9
        assert max(trim.front_used[0], trim.rear_used[0]) < 1.0
    else:
        assert np.isnan(trim.steer[0]) and np.isnan(trim.axle_moment[0])


# A lap


@pytest.mark.parametrize("case", CASES)
def test_all_balances_of_a_lap_close(case: tuple[str, str, str]) -> None:
    feel = feel_of(*case)
    for trim in (feel.flat_out, feel.fitted, feel.even):
        assert trim.held.all()
        assert trim.left_over.max() < 1e-6


@pytest.mark.parametrize("case", CASES)
def test_less_stagger_on_the_throttle_is_more_left_wheel_and_more_is_right(
    case: tuple[str, str, str],
) -> None:
    # common practice, no source
    change = phase_means(feel_of(*case), "drive-off")
    assert np.all(np.diff(change) < 0)
    assert change[0] > 1 * DEGREE
    assert change[-1] < -1 * DEGREE


@pytest.mark.parametrize("case", CASES)
def test_more_bite_at_the_same_stagger_pushes_more_on_the_throttle(
    case: tuple[str, str, str],
) -> None:
    # common practice, no source
    held, free = feel_of(*case), feel_of(*case, bite_held=False)
    gained = free.bite - held.bite
    more_left = phase_means(free, "drive-off") - phase_means(held, "drive-off")
    assert np.all(np.sign(more_left) == np.sign(gained))


def test_bite_held_and_free_are_one_at_the_stagger_on_the_car() -> None:
    car = load_car(ROOT / "cars/number-31.yaml")
    lap = lap_of("ropewalk", "number-31", "slick")
    state = load_track(ROOT / "tracks/ropewalk.yaml").condition("slick")
    held, free = (
        trim_lap(lap, car, state, car.rear.stagger, bite_held=choice) for choice in (True, False)
    )
    assert held.steering_change == pytest.approx(free.steering_change, abs=1e-8)
    assert free.bite[0] == pytest.approx(car.weights.bite)


@pytest.mark.parametrize("case", CASES)
def test_mismatch_pushes_where_it_is_negative_and_steers_left_where_positive(
    case: tuple[str, str, str],
) -> None:
    feel = feel_of(*case)
    mismatch = feel.staggers[:, None] - feel.needed.total
    clear = np.abs(mismatch) > INCH / 4
    agree = np.sign(feel.moment_change) == np.sign(mismatch)
    assert agree[clear].mean() > 0.99


def test_no_mismatch_changes_nothing() -> None:
    car = load_car(ROOT / "cars/number-31.yaml")
    lap = lap_of("ropewalk", "number-31", "slick")
    state = load_track(ROOT / "tracks/ropewalk.yaml").condition("slick")
    needed = feel_of("ropewalk", "number-31", "slick").needed.total
    for i in (5, 60, 80):
        feel = trim_lap(lap, car, state, needed[i])
        assert abs(feel.steering_change[0, i]) < 1e-7
        assert abs(feel.scrub_power[0, i]) < 1e-2


def test_thrust_of_the_trim_is_that_of_the_lap_on_the_straight() -> None:
    """The lap reckons thrust as one mass on one tire: an independent route to the same force."""
    feel = feel_of("ropewalk", "number-31", "heavy", pace=1.0)
    lap = feel.lap
    there = (lap.phase == PHASES.index("straight")) & (np.abs(lap.a_y) < 0.5)
    rolling = ROLLING_RESISTANCE * feel.car.weights.total
    asked = rolling + feel.share[2] * (lap.thrust - rolling)
    made = feel.fitted.thrust_left[2] + feel.fitted.thrust_right[2]
    made = made + ROLLING_RESISTANCE * (lap.wheels.left_rear + lap.wheels.right_rear)
    assert made[there] == pytest.approx(asked[there], rel=0.02)


def test_weak_engine_holds_the_whole_lap_on_the_straight_without_wheelspin() -> None:
    track = load_track(ROOT / "tracks/ropewalk.yaml")
    car = replace(load_car(ROOT / "cars/number-31.yaml"), power=60 * HP)
    case = what_driver_feels(track, car, "heavy", staggers=[2 * INCH])
    straight = feel_by_phase(case.held)[0][-1]
    assert straight.phase == "straight"
    assert straight.spinning_flat_out < 0.25
    assert straight.holds > 0.98


def test_wheelspin_is_told_before_any_stagger_fault() -> None:
    spun = [
        phase
        for stagger in feel_by_phase(feel_of("two-ponds", "blue-heron", "slick", pace=1.0))
        for phase in stagger
        if phase.phase == "drive-off" and phase.spinning > 0.5
    ]
    assert spun
    assert {phase.felt for phase in spun} == {"spins"}
    assert all(phase.spinning_flat_out > 0.5 for phase in spun)
    driven = feel_by_phase(feel_of("two-ponds", "blue-heron", "slick"))[0]
    drive_off = next(phase for phase in driven if phase.phase == "drive-off")
    assert drive_off.spinning == 0.0
    assert drive_off.felt == "pushes"


def test_direct_scrub_on_the_straight_is_about_a_horsepower_or_less() -> None:
    # common practice, no source
    for stagger in feel_by_phase(feel_of("ropewalk", "number-31", "slick"))[1:4]:
        straight = next(phase for phase in stagger if phase.phase == "straight")
        assert -0.1 * HP < straight.scrub_power < 1.5 * HP


def test_conclusions_stand_with_slip_stiffness_a_third_off() -> None:
    track, car = (
        load_track(ROOT / "tracks/saucer-hill.yaml"),
        load_car(ROOT / "cars/number-31.yaml"),
    )
    case = what_driver_feels(track, car, "slick", staggers=[1 * INCH, 4 * INCH])
    for feel in (case.softer, case.stiffer):
        for less, nominal in zip(feel_by_phase(feel), feel_by_phase(case.held), strict=True):
            for one, other in zip(less, nominal, strict=True):
                if abs(other.steering_change) > 3 * DEGREE:
                    assert one.steering_change == pytest.approx(other.steering_change, rel=0.4)


def test_chassis_places_the_centre_of_gravity_by_the_scales() -> None:
    car = load_car(ROOT / "cars/number-31.yaml")
    state = load_track(ROOT / "tracks/ropewalk.yaml").condition("slick")
    chassis = chassis_of(car, state)
    w = car.weights
    # Moments of the four scale weights about the middle of the front axle, and the centreline.
    assert chassis.front_reach == pytest.approx(
        car.wheelbase * (w.left_rear + w.right_rear) / w.total
    )
    assert chassis.offset > 0  # more left weight
    assert chassis.wheelbase == pytest.approx(car.wheelbase)
