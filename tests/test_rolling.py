"""The locked axle."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ovals import DEMO_TRACKS, demo_car, demo_track, spread_of_cars
from rollpath.axle.rolling import (
    natural_curvature,
    needed_stagger,
    rolling_ratio,
    tread_slip,
    yaw_curvature,
)
from rollpath.car import Tire, tire_rates
from rollpath.corners import Corners
from rollpath.groove.lay import make_groove
from rollpath.lap import PHASES, solve_lap
from rollpath.tire import lost_circumference
from rollpath.typical import LOADED_SHARES
from rollpath.units import DEGREE, INCH, POUND, PSI
from scipy.integrate import solve_ivp

CAR = demo_car()


@cache
def lap_of(track_name, condition="heavy", name="middle"):
    track = demo_track(track_name)
    return solve_lap(make_groove(track, name, CAR.width), CAR, track.condition(condition))


# Laws of other trades


@given(st.floats(0.2, 3.0), st.floats(0.1, 2.0), st.floats(0.01, 1.0), st.floats(0.2, 1.5))
def test_it_is_the_differential_drive_law(radius, left_speed, faster, half):
    # Siegwart and Nourbakhsh, Introduction to Autonomous Mobile Robots, sec. 3.2: with wheel
    # speeds v_l and v_r a distance 2 l apart, yaw rate (v_r - v_l) / 2 l, forward (v_r + v_l) / 2.
    v_l, v_r = left_speed, left_speed * (1 + faster)
    yaw, forward = (v_r - v_l) / (2 * half), 0.5 * (v_r + v_l)
    # One axle speed: rolling circumferences stand as the wheel speeds do.
    curvature = natural_curvature(radius * v_l, radius * v_r, half)
    assert curvature == pytest.approx(yaw / forward, rel=1e-12)
    assert rolling_ratio(curvature, half) == pytest.approx(v_r / v_l, rel=1e-12)


@pytest.mark.parametrize("conicity", [1 / 40, 1 / 20, 1 / 10])
def test_for_small_angles_it_is_redtenbachers_law_of_the_railway_wheelset(conicity):
    # Redtenbacher 1855, in Wickens, Fundamentals of Rail Vehicle Dynamics, ch. 2: a wheelset with
    # coned treads runs round a curve R when it stands y = e R_0 / (R lambda) off the middle.
    e, R_0, R = 0.75, 0.45, 400.0
    y = e * R_0 / (R * conicity)
    outer, inner = R_0 + y * np.tan(conicity), R_0 - y * np.tan(conicity)
    assert natural_curvature(inner, outer, e) == pytest.approx(1 / R, rel=conicity**2)


@given(st.floats(0.05, 2.0), st.floats(1.001, 3.0), st.floats(0.1, 2.0))
def test_a_rolling_cone_turns_about_its_apex(small, larger, length):
    # A cup (frustum) on a table: radii of the rims against their distance along the wall put the
    # apex, by similar triangles, at length * small / (large - small) beyond the small rim.
    large = small * larger
    apex = length * small / (large - small)
    middle = apex + 0.5 * length
    assert 1 / natural_curvature(small, large, 0.5 * length) == pytest.approx(middle, rel=1e-9)


@given(st.floats(1 / 400, 1 / 15), st.floats(0.5, 1.0), st.floats(-10, 40))
def test_natural_curvature_undoes_rolling_ratio(curvature, half, bank):
    ratio = rolling_ratio(curvature, half, bank * DEGREE)
    assert natural_curvature(1.0, ratio, half, bank * DEGREE) == pytest.approx(curvature, rel=1e-9)


# An independent route: dynamics of two treads with viscous contact

MASS, INERTIA, HALF, SPIN, GRIP = 200.0, 120.0, 0.8, 12.0, 4e4
"""kg, kg m2, m, rad/s of the axle, N per m/s of slide at each tread."""


def contact(u, v, yaw, left, right):
    """Forces and moment of two viscous treads on one shaft: along, across, about the normal."""
    slide_left, slide_right = u - yaw * HALF - SPIN * left, u + yaw * HALF - SPIN * right
    return (-GRIP * (slide_left + slide_right), -2 * GRIP * v,
            GRIP * HALF * (slide_left - slide_right))  # fmt: skip


def body_rates(u, v, yaw, left, right):
    """Newton and Euler in the axes of the axle (ISO 8855)."""
    along, side, moment = contact(u, v, yaw, left, right)
    return along / MASS + v * yaw, side / MASS - u * yaw, moment / INERTIA


@pytest.mark.parametrize(("left", "right"), [(0.33, 0.34), (0.33, 0.36), (0.34, 0.33)])
def test_two_treads_on_a_flat_floor_settle_on_the_natural_radius(left, right):
    def rates(_, state):
        _, _, heading, u, v, yaw = state
        forward, side = np.cos(heading), np.sin(heading)
        return [u * forward - v * side, u * side + v * forward, yaw,
                *body_rates(u, v, yaw, left, right)]  # fmt: skip

    start = [0, 0, 0, 1.0, 0.3, -0.2]  # anything but steady
    run = solve_ivp(rates, (0, 40), start, method="LSODA", rtol=1e-9, atol=1e-10,
                    t_eval=np.linspace(20, 40, 60))  # fmt: skip
    x, y = run.y[:2]
    # A circle through the settled points, by least squares: 2 a x + 2 b y + c = x^2 + y^2.
    A = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    a, b, c = np.linalg.lstsq(A, x**2 + y**2, rcond=None)[0]
    radius = np.sqrt(c + a * a + b * b)
    assert 1 / radius == pytest.approx(abs(natural_curvature(left, right, HALF)), rel=1e-4)
    assert np.sign(run.y[5, -1]) == np.sign(right - left)


def roll_on_cone(horizontal_radius, bank, left, right, seconds):
    """Distances from the axis, in plan, of an axle rolling on a cone in three dimensions.

    The turn is a cone with the axis z, banked by `bank` with the outside higher; no gravity.
    Velocities in the tangent plane; the heading is carried along the surface and yawed.
    """
    cos_b, sin_b = np.cos(bank), np.sin(bank)

    def normal(p):
        around = p[:2] / np.hypot(*p[:2])
        return np.array([-sin_b * around[0], -sin_b * around[1], cos_b])

    def rates(_, state):
        p, ahead, (u, v, yaw) = state[:3], state[3:6], state[6:]
        up = normal(p)
        beside = np.cross(up, ahead)
        velocity = u * ahead + v * beside
        step = 1e-6
        turning = (normal(p + step * velocity) - normal(p - step * velocity)) / (2 * step)
        heading = yaw * beside - np.dot(ahead, turning) * up
        return np.concatenate([velocity, heading, body_rates(u, v, yaw, left, right)])

    R = horizontal_radius
    speed = SPIN * 0.5 * (left + right)
    start = [R, 0, R * np.tan(bank), 0, 1, 0, speed, 0, speed * cos_b / R]
    run = solve_ivp(rates, (0, seconds), start, method="LSODA", rtol=1e-9, atol=1e-9,
                    t_eval=np.linspace(0, seconds, 200))  # fmt: skip
    return np.hypot(run.y[0], run.y[1])


@pytest.mark.parametrize("degrees", [0.0, 12.0, 30.0])
def test_two_treads_on_a_banked_turn_stay_on_the_natural_radius_and_no_other(degrees):
    left, right, bank = 0.33, 0.345, degrees * DEGREE
    radius = 1 / natural_curvature(left, right, HALF, bank)
    lap = 2 * np.pi * radius / (SPIN * 0.5 * (left + right))
    kept = roll_on_cone(radius, bank, left, right, lap)
    assert np.ptp(kept) < 2e-3 * radius
    lost = roll_on_cone(1.1 * radius, bank, left, right, lap)
    assert np.ptp(lost) > 0.05 * radius


def test_leaving_the_bank_out_would_miss_the_natural_radius():
    left, right, bank = 0.33, 0.345, 30.0 * DEGREE
    flat_radius = 1 / natural_curvature(left, right, HALF)
    lost = roll_on_cone(flat_radius, bank, left, right, 60.0)
    assert np.ptp(lost) > 0.05 * flat_radius


# The loaded tire


@pytest.mark.parametrize("deflection", [0.01, 0.03, 0.05])
def test_a_loaded_tire_rolls_by_jazars_effective_radius(deflection):
    # Jazar, Vehicle Dynamics: Theory and Application, ch. 3: the patch of half angle phi is rolled
    # flat, R_w = R_g sin(phi) / phi with cos(phi) = R_h / R_g, about R_g - (R_g - R_h) / 3.
    R_g = 0.35
    phi = np.arccos(1 - deflection / R_g)
    exact = R_g * np.sin(phi) / phi
    rate = 2e5
    ours = R_g - lost_circumference(rate * deflection, rate, LOADED_SHARES["bias"]) / (2 * np.pi)
    assert ours == pytest.approx(R_g - deflection / 3, rel=1e-12)
    assert ours == pytest.approx(exact, abs=0.03 * deflection)


# Needed stagger


@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
@pytest.mark.parametrize("car", spread_of_cars(), ids=lambda car: car.name)
def test_with_the_needed_stagger_the_loaded_tires_roll_without_slip(track, car):
    lap = solve_lap(make_groove(track, "middle", car.width), car, track.condition("heavy"))
    needed = needed_stagger(lap, car).total
    left, right = rolled(needed, lap, car)
    # Hub speeds of a body that slides at alpha and yaws as its heading does (plane kinematics).
    alpha, t = lap.slip_angle, car.rear.half_track * np.cos(lap.groove.bank)
    heading = yaw_curvature(lap, car)
    ratio = (np.cos(alpha) + t * heading) / (np.cos(alpha) - t * heading)
    assert right / left == pytest.approx(ratio, rel=1e-12)


def rolled(stagger, lap, car):
    """What the two rear tires roll in a turn: radius less a third of the deflection (Jazar ch. 3)
    at rates that rise with pressure about the mean of the axle."""
    M, tire, p = car.rear.mean_rollout, car.tire, car.pressure
    mean = 0.5 * (p.left_rear + p.right_rear)
    for side, load, air in ((-1, lap.wheels.left_rear, p.left_rear),
                            (1, lap.wheels.right_rear, p.right_rear)):  # fmt: skip
        rate = tire.spring_rate * (1 + tire.air_share * (air / mean - 1))
        yield M + side * stagger / 2 - 2 * np.pi * load / rate / 3


def test_a_car_whose_tail_comes_back_into_line_turns_less_than_its_path():
    """Heading by differences of the direction in which the car points, laid out in the plane."""
    lap = lap_of("Ropewalk")
    s, n = lap.groove.s, lap.groove.s.size
    heading = np.cumsum(lap.groove.curvature * lap.groove.ds) + lap.slip_angle
    ahead, behind = (np.interp(s + d * CAR.wheelbase / 2, s, heading) for d in (1, -1))
    inside = slice(5, n - 5)
    by_hand = ((ahead - behind) / CAR.wheelbase)[inside]
    found = yaw_curvature(lap, CAR)[inside]
    slid = np.abs(found - lap.groove.curvature[inside])
    assert np.abs(found - by_hand).mean() < 0.1 * slid.mean()
    leaving = lap.phase == PHASES.index("drive-off")
    assert yaw_curvature(lap, CAR)[leaving].mean() < lap.groove.curvature[leaving].mean()
    # It slides in and comes out again: around the lap it all adds up to one turn.
    total = (yaw_curvature(lap, CAR) * lap.groove.ds).sum()
    assert total == pytest.approx(2 * np.pi, rel=1e-3)


def test_a_harder_right_rear_lowers_the_need_and_a_harder_left_rear_raises_it():
    lap = lap_of("Ropewalk")
    needs = []
    for change in (-2 * PSI, 0.0, 2 * PSI):
        p = CAR.pressure
        other = replace(p, left_rear=p.left_rear - change, right_rear=p.right_rear + change)
        needs.append(needed_stagger(lap, replace(CAR, pressure=other)).total.mean())
    assert needs[0] > needs[1] > needs[2]
    even = replace(CAR, pressure=None)
    same = replace(CAR, pressure=Corners.every(14 * PSI))
    assert needed_stagger(lap, even).total == pytest.approx(needed_stagger(lap, same).total)


def test_by_hand_twelve_and_fifteen_psi_cost_a_car_at_rest_a_quarter_of_an_inch():
    # 800 lb on each tire of 1,100 lb/in at 13.5 psi, three quarters of it air: rates of 1008.3 and
    # 1191.7 lb/in; a third of the deflections, 0.2645 and 0.2238 in, times 2 pi: 0.256 in.
    car = replace(CAR, tire=Tire(1100 * POUND / INCH, air_share=0.75),
                  pressure=Corners(1, 1, 12 * PSI, 15 * PSI))  # fmt: skip
    _, _, left, right = tire_rates(car)
    load = 800 * POUND
    lost = [lost_circumference(load, rate, 1 / 3) for rate in (left, right)]
    assert left == pytest.approx(1008.33 * POUND / INCH, rel=1e-4)
    assert right == pytest.approx(1191.67 * POUND / INCH, rel=1e-4)
    assert lost[0] - lost[1] == pytest.approx(0.256 * INCH, abs=0.001 * INCH)


def test_radials_lose_less_of_their_rollout_than_bias_ply_tires():
    assert 0.0 < LOADED_SHARES["radial"] < LOADED_SHARES["bias"] == pytest.approx(1 / 3)


def test_geometry_alone_needs_the_rollout_times_track_width_over_radius():
    # S = M T cos b / R, from (M + S/2) / (M - S/2) = (R + t cos b) / (R - t cos b).
    lap = lap_of("Ropewalk")
    needed = needed_stagger(lap, CAR, tire_load=False)
    expected = (
        CAR.rear.mean_rollout * CAR.rear.track_width * np.cos(lap.groove.bank)
        * lap.groove.curvature
    )  # fmt: skip
    assert needed.total == pytest.approx(expected)
    assert needed.geometric == pytest.approx(expected)


def test_a_150_foot_radius_needs_about_three_inches_by_geometry():
    # Worked by hand: 85 in x 63 in / 1800 in = 2.975 in.
    assert 85 * (rolling_ratio(1 / 1800, 31.5) - 1) / (
        0.5 * (rolling_ratio(1 / 1800, 31.5) + 1)
    ) == pytest.approx(2.975)


def test_load_raises_the_need_in_corners_more_on_heavy_than_on_slick():
    # Design 4.3: the outside tire carries more and rolls on less.
    extra = []
    for condition in ("slick", "heavy"):
        lap = lap_of("Ropewalk", condition)
        needed = needed_stagger(lap, CAR)
        extra.append(float(np.max(needed.total - needed.geometric)))
    assert 0 < extra[0] < extra[1]


def test_growth_comes_off_the_cold_stagger():
    lap = lap_of("Ropewalk")
    grown = replace(CAR, tire=replace(CAR.tire, growth=0.25 * INCH))
    cold = needed_stagger(lap, grown).total
    assert needed_stagger(lap, CAR).total - cold == pytest.approx(np.full(720, 0.25 * INCH))


def test_hard_tires_need_what_geometry_says():
    lap = lap_of("Ropewalk")
    hard = replace(CAR, tire=replace(CAR.tire, spring_rate=1e12))
    needed = needed_stagger(replace(lap, slip_angle=np.zeros(720)), hard)
    assert needed.total == pytest.approx(needed.geometric, abs=1e-6)


def test_slip_is_positive_with_more_stagger_than_needed():
    lap = lap_of("Ropewalk")
    needed = needed_stagger(lap, CAR)
    most = needed.total.max()
    assert (tread_slip(most + 1e-3, needed) > 0).all()
    assert (tread_slip(needed.total.min() - 1e-3, needed) < 0).all()


def test_needed_stagger_of_a_sweep_of_cars_equals_one_by_one():
    lap = lap_of("Ropewalk")
    rates = np.array([0.8, 1.0, 1.3]) * CAR.tire.spring_rate
    swept = needed_stagger(lap, replace(CAR, tire=replace(CAR.tire, spring_rate=rates)))
    for i, rate in enumerate(rates):
        alone = needed_stagger(lap, replace(CAR, tire=replace(CAR.tire, spring_rate=rate)))
        assert swept.total[i] == pytest.approx(alone.total, rel=1e-12)
