"""Speed, thrust and wheel loads around a groove."""

from dataclasses import replace

import numpy as np
import pytest
import rollpath.lap
from hypothesis import given, settings
from hypothesis import strategies as st
from ovals import DEMO_TRACKS, GRIPPY, demo_car, demo_track, one_case, oval, ovals, spread_of_cars
from rollpath.car import ROLLING_RESISTANCE
from rollpath.forces import AIR_DENSITY, corner_speed
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import PHASES, LapError, driven_lap, solve_lap, without_slivers
from rollpath.loads import wheel_loads
from rollpath.track import Bank, Condition
from rollpath.units import DEGREE, FOOT, G
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

ALIKE = 5e-5
"""Share of the largest by which two laps of the same may differ; engineering judgement."""

CAR = demo_car()
WIDTH = float(CAR.width)


def lap_on(track, name="middle", condition="heavy", car=CAR, stations=720):
    return solve_lap(make_groove(track, name, car.width, stations), car, track.condition(condition))


# Corners


def test_frictionless_curve_banked_at_65_degrees_is_taken_at_45_8_metres_a_second():
    # OpenStax, University Physics vol. 1 / College Physics, sec. 6.3, example "What is the ideal
    # speed to take a steeply banked tight curve?": 100 m radius, 65 deg: 45.8 m/s.
    assert corner_speed(1 / 100, 65 * DEGREE, 0.0) == pytest.approx(45.8, abs=0.1)


def test_flat_curve_of_500_metres_at_25_metres_a_second_needs_a_friction_of_0_13():
    # OpenStax, College Physics, sec. 6.3, example 6.4 (a 900 kg car; its mass drops out).
    grips = np.linspace(0.10, 0.16, 601)
    least = grips[np.searchsorted(corner_speed(1 / 500, 0.0, grips), 25.0)]
    assert round(float(least), 2) == 0.13


@given(st.floats(0.002, 0.1), st.floats(-10, 40), st.floats(0.1, 1.5))
def test_at_corner_speed_the_whole_grip_is_used(curvature, bank, grip):
    # Free-body balance in the plane of the road (any statics text).
    b = bank * DEGREE
    v = corner_speed(curvature, b, grip)
    if np.isinf(v) or v == 0.0:
        return
    across = v**2 * curvature * np.cos(b) - G * np.sin(b)
    load = G * np.cos(b) + v**2 * curvature * np.sin(b)
    assert across == pytest.approx(grip * load, rel=1e-9, abs=1e-9)


def test_a_right_turn_is_held_back_by_the_bank_that_helps_a_left_turn():
    left, flat, right = (corner_speed(k, b, 0.8) for k, b in ((0.02, 0.2), (0.02, 0), (-0.02, 0.2)))
    assert left > flat > right
    assert corner_speed(-0.02, 0.0, 0.8) == pytest.approx(flat)


def test_a_straight_has_no_corner_speed():
    assert np.isinf(corner_speed(0.0, 0.1, 0.8))


# The whole lap


def test_a_circle_is_lapped_at_one_speed_with_drive_to_spare_for_drag_only():
    lap = solve_lap(parallel_groove(oval(60.0, 0.0), 5.0), CAR, GRIPPY)
    assert np.ptp(lap.speed) < 1e-6 * lap.speed[0]
    assert np.abs(lap.a_x).max() < 1e-3
    assert (lap.thrust > 0).all()
    assert lap.a_y == pytest.approx(lap.speed**2 / 65.0, rel=1e-6)
    assert (lap.a_y < GRIPPY.grip * lap.load).all()


@pytest.mark.parametrize("bank", [0.0, 10.0])
@pytest.mark.parametrize("grip", [0.5, 0.75, 1.0])
def test_on_a_steady_circle_the_rear_tires_hold_the_speed_against_all_drag(grip, bank):
    """Thrust is what rolling, cornering and air take, and fits beside the cornering.

    Friction circles by hand (Milliken and Milliken, Race Car Vehicle Dynamics, ch. 9): the rear's,
    by its static share of the load, is full; that of the whole car is not overdrawn. Load that
    moves to the rear lies between the two.
    """
    circle = parallel_groove(oval(60.0, 0.0, bank=bank * DEGREE), 5.0)
    lap = solve_lap(circle, CAR, Condition("any", grip, 8.0, "middle"))
    k, b, w = circle.curvature[0], circle.bank[0], 0.5 * lap.speed[0] ** 2
    a_y, n, drag = resistance(w, k, b, CAR, grip, 8.0)
    assert np.abs(lap.a_x).max() < 1e-3
    assert lap.thrust == pytest.approx(np.full(720, CAR.mass * drag), rel=1e-3)
    assert np.hypot(drag, a_y) <= grip * n * (1 + 1e-4)
    assert np.hypot(drag / CAR.weights.rear_share, a_y) >= grip * n * (1 - 1e-3)
    assert drag > 0.1 * grip * n  # mostly cornering drag: rolling and air alone are far less


@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
@pytest.mark.parametrize("grip", [0.5, 1.0])
def test_no_corner_is_taken_harder_than_the_rear_tires_can_hold_it(track, grip):
    # Steady state (Milliken and Milliken ch. 9), air and all, by bisection on free-body balances.
    surface = Condition("any", grip, 8.0, "middle")
    lap = solve_lap(make_groove(track, "middle", WIDTH), CAR, surface)
    most = np.sqrt(2.0 * steady_limit(lap.groove, CAR, surface))
    assert (lap.speed <= most * (1 + 1e-5)).all()
    slowest = lap.speed.argmin()
    assert lap.speed[slowest] == pytest.approx(most[slowest], rel=1e-4)


def steady_limit(groove, car, surface):
    """Largest w at each station at which the rear can make all drag beside its side force."""
    low, high = np.full(groove.ds.shape, 1.0), np.full(groove.ds.shape, 4000.0)
    k, b, mu, r = groove.curvature, groove.bank, surface.grip, car.weights.rear_share
    for _ in range(60):
        w = 0.5 * (low + high)
        a_y, n, drag = resistance(w, k, b, car, mu, surface.slip_stiffness)
        held = (np.hypot(drag, r * a_y) < mu * r * n) & (np.abs(a_y) < mu * n)
        low, high = np.where(held, w, low), np.where(held, high, w)
    return low


def test_at_the_end_of_a_long_straight_speed_is_what_power_and_drag_allow():
    # Power balance P = (rho CdA v^2 / 2 + c_r m g) v, solved as a cubic.
    car = replace(CAR, power=30e3)
    lap = solve_lap(parallel_groove(oval(150.0, 8000.0, blend=50.0), 5.0), car, GRIPPY)
    cubic = [0.5 * AIR_DENSITY * car.drag_area, 0, ROLLING_RESISTANCE * car.mass * G, -car.power]
    top = max(np.roots(cubic).real)
    assert lap.speed.max() == pytest.approx(top, rel=2e-3)


def resistance(w, k, b, car, mu, C):
    """Drag per unit mass from the equations of design.md 4.2, written anew."""
    v2 = 2 * w
    a_y = v2 * k * np.cos(b) - G * np.sin(b)
    n = G * np.cos(b) + v2 * k * np.sin(b)
    used = np.minimum(abs(a_y) / (mu * n), 0.999)
    alpha = 3 * mu / C * (1 - (1 - used) ** (1 / 3))
    air = 0.5 * AIR_DENSITY * car.drag_area * v2 / car.mass
    return a_y, n, air + ROLLING_RESISTANCE * n + abs(a_y) * alpha


def rear_traction(a_y, n, drag, car, mu):
    """Rear force T per unit mass that fills the rear's circle under the load it then carries.

    Moments about the front contact, all drags at the ground: the rear carries r n + q (T - drag).
    Found by bracketing instead of the quadratic's closed form.
    """
    r, q = car.weights.rear_share, car.cg_height / car.wheelbase
    spare = lambda T: mu * (r * n + q * (T - drag)) - np.hypot(T, r * a_y)  # noqa: E731
    whole_car = np.sqrt(max((mu * n) ** 2 - a_y**2, 0.0))
    if spare(0.0) < 0 or spare(whole_car) > 0:
        return 0.0 if spare(0.0) < 0 else whole_car
    return brentq(spare, 0.0, whole_car, xtol=1e-10)


def energy_slopes(groove, car, surface):
    """dw/ds under full drive, and minus dw/ds under full braking, w = v^2 / 2."""
    lap, s = groove.ds.sum(), groove.s

    def road(at):
        return (np.interp(at, s, values, period=lap) for values in (groove.curvature, groove.bank))

    def drive(at, w):
        k, b = road(at)
        a_y, n, drag = resistance(w[0], k, b, car, surface.grip, surface.slip_stiffness)
        engine = car.power / car.mass / np.sqrt(2 * w[0])
        return [min(engine, rear_traction(a_y, n, drag, car, surface.grip)) - drag]

    def brake(at, w):
        k, b = road(at)
        a_y, n, drag = resistance(w[0], k, b, car, surface.grip, surface.slip_stiffness)
        return [np.sqrt(max((surface.grip * n) ** 2 - a_y**2, 0.0)) + drag]

    return drive, brake


@pytest.mark.parametrize("condition", ["heavy", "slick"])
@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
def test_drive_off_and_braking_follow_the_energy_equation(track, condition):
    # Independent route: scipy.integrate.solve_ivp along each pass, from the corner's own speed.
    surface = track.condition(condition)
    lap = lap_on(track, condition=condition, stations=1440)
    s, w = lap.groove.s, 0.5 * lap.speed**2
    drive, brake = energy_slopes(lap.groove, CAR, surface)
    held = w > 0.9999 * steady_limit(lap.groove, CAR, surface)
    quarter = len(w) // 4
    peak = quarter + int(np.argmax(w[quarter : 3 * quarter]))  # on the back straight
    leave = int(np.flatnonzero(held[:peak])[-1]) + 1
    arrive = peak + int(np.flatnonzero(held[peak:])[0]) - 1
    options = {"rtol": 1e-8, "atol": 1e-8, "max_step": 1.0}
    ahead = slice(leave, peak - 3)
    driven = solve_ivp(drive, (s[leave], s[peak]), [w[leave]], t_eval=s[ahead], **options).y[0]
    assert np.sqrt(driven / w[ahead]) == pytest.approx(np.ones(len(driven)), abs=1e-3)
    behind = slice(arrive, peak + 3, -1)
    braked = solve_ivp(lambda x, w: brake(-x, w), (-s[arrive], -s[peak]), [w[arrive]],
                       t_eval=-s[behind], **options).y[0]  # fmt: skip
    assert np.sqrt(braked / w[behind]) == pytest.approx(np.ones(len(braked)), abs=1e-3)
    assert len(driven) + len(braked) > 0.2 * len(w)


@settings(deadline=None, max_examples=40)
@given(ovals(), st.sampled_from(spread_of_cars()), st.floats(0.4, 1.1))
def test_no_lap_asks_for_more_than_there_is(track, car, grip):
    surface = Condition("any", grip, 8.0, "middle")
    lap = solve_lap(make_groove(track, "middle", car.width), car, surface)
    limit = corner_speed(lap.groove.curvature, lap.groove.bank, grip)
    assert (lap.speed <= limit * (1 + 1e-6)).all()
    assert (lap.speed >= 1.0).all()
    power = lap.thrust * lap.speed
    smooth = 0.5 * (power + np.roll(power, 1))  # differences straddle the switch to the brakes
    assert np.mean(smooth > 1.01 * car.power) < 0.02
    force = np.hypot(lap.thrust / car.mass, lap.a_y)
    assert np.mean(force > 1.02 * grip * lap.load) < 0.02


def test_a_tall_car_on_much_grip_still_keeps_within_the_circle():
    # The load that thrust moves to the rear does not make grip for the whole car.
    tall = replace(CAR, cg_height=0.61)
    lap = solve_lap(parallel_groove(oval(18.0, 18.0, blend=5.0), 4.0), tall,
                    Condition("sticky", 1.1, 8.0, "middle"))  # fmt: skip
    force = np.hypot(lap.thrust / tall.mass, lap.a_y)
    assert (force < 1.01 * 1.1 * lap.load).all()


@pytest.mark.parametrize("grip", [0.6, 1.0])
@pytest.mark.parametrize("bank", [0.0, 10.0, 20.0])
def test_a_circle_is_lapped_at_one_speed_to_rounding(bank, grip):
    # 400 ft with a bank: where power and air, not the corner, decide, a lap starts as it ends.
    surface = Condition("any", grip, 8.0, "middle")
    circle = parallel_groove(oval(400 * FOOT, 0.0, bank=bank * DEGREE), 7.0)
    lap = solve_lap(circle, CAR, surface)
    assert np.ptp(lap.speed) < 1e-9 * lap.speed[0]
    w, k, b = 0.5 * lap.speed[0] ** 2, circle.curvature[0], circle.bank[0]
    needed = CAR.mass * resistance(w, k, b, CAR, grip, 8.0)[2] * lap.speed[0]
    held = steady_limit(circle, CAR, surface)[0]
    assert needed <= CAR.power * (1 + 1e-6)
    assert needed == pytest.approx(CAR.power, rel=1e-6) or w == pytest.approx(held, rel=1e-5)


@pytest.mark.parametrize("straight", [18.0, 40.0])
@pytest.mark.parametrize("radius", [18.0, 30.0])
def test_a_very_tall_car_in_the_tightest_corners_keeps_within_the_circle(radius, straight):
    tall = replace(CAR, cg_height=0.9)
    path = parallel_groove(oval(radius, straight, blend=5.0), 4.0)
    lap = solve_lap(path, tall, Condition("sticky", 1.0, 8.0, "middle"))
    force = np.hypot(lap.thrust / tall.mass, lap.a_y)
    assert (force < 1.005 * lap.load).all()


def test_a_lap_that_does_not_settle_is_an_error_and_no_result(monkeypatch):
    monkeypatch.setattr(rollpath.lap, "MOST_PASSES", 2)
    with pytest.raises(LapError, match="does not settle"):
        lap_on(demo_track("Ropewalk"))


@settings(deadline=None, max_examples=15)
@given(ovals(), st.sampled_from(spread_of_cars()), st.floats(0.4, 1.1))
def test_a_lap_put_back_into_its_own_equation_stays_as_it_is(track, car, grip):
    """Each station is at its limit, or reached from a neighbour by the trapezoid of the slopes.

    Written anew from design.md 4.2; what is left is the error of the steps, second order in them.
    """
    surface = Condition("any", grip, 8.0, "middle")
    lap = solve_lap(make_groove(track, "middle", car.width), car, surface)
    groove, w = lap.groove, 0.5 * lap.speed**2
    most = steady_limit(groove, car, surface)
    drive, brake = (np.empty(len(w)) for _ in range(2))
    for i in range(len(w)):
        a_y, n, drag = resistance(w[i], groove.curvature[i], groove.bank[i], car, grip, 8.0)
        traction = rear_traction(a_y, n, drag, car, grip)
        drive[i] = min(car.power / car.mass / lap.speed[i], traction) - drag
        brake[i] = np.sqrt(max((grip * n) ** 2 - a_y**2, 0.0)) + drag
    h = 0.5 * (groove.ds + np.roll(groove.ds, -1))
    driven = np.roll(w + 0.5 * h * (drive + np.roll(drive, -1)), 1)
    braked = np.roll(w, -1) + 0.5 * h * (brake + np.roll(brake, -1))
    least = np.minimum(np.minimum(driven, braked), most)
    off = np.abs(w - least) / w
    assert np.mean(off > 2e-3) < 0.02
    assert off.max() < 0.03


@settings(deadline=None, max_examples=25)
@given(ovals(), st.floats(0.4, 1.0))
def test_more_grip_or_more_power_is_never_slower(track, grip):
    groove = make_groove(track, "middle", WIDTH)
    times = [
        solve_lap(groove, car, Condition("any", mu, 8.0, "middle")).time
        for car, mu in ((CAR, grip), (CAR, 1.1 * grip), (replace(CAR, power=1.2 * CAR.power), grip))
    ]
    assert times[1] < times[0]
    assert times[2] <= times[0] * (1 + 1e-6)


@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
def test_halving_the_stations_hardly_changes_the_lap(track):
    coarse, fine = lap_on(track, stations=720), lap_on(track, stations=1440)
    assert fine.time == pytest.approx(coarse.time, rel=5e-4)
    assert fine.speed.min() == pytest.approx(coarse.speed.min(), rel=2e-3)
    assert fine.speed.max() == pytest.approx(coarse.speed.max(), rel=2e-3)


def test_a_home_town_car_laps_a_third_mile_at_speeds_that_racers_know():
    # Common practice, no source: 15 to 24 s a lap, corners at 40 to 75 mph.
    lap = lap_on(demo_track("Saucer Hill"))
    assert 15 < lap.time < 24
    assert 40 < lap.speed.min() / 0.44704 < 75


def test_phases_follow_each_other_around_the_lap():
    lap = lap_on(demo_track("Ropewalk"), condition="slick")
    assert sum(lap.share(phase) for phase in PHASES) == pytest.approx(1.0)
    order = [PHASES[i] for i in lap.phase[np.flatnonzero(np.diff(lap.phase, prepend=-1))]]
    assert order[:4] == ["straight", "entry", "centre", "drive-off"]
    assert np.mean((lap.thrust < 0) == (lap.phase == PHASES.index("entry"))) > 0.99


@settings(deadline=None, max_examples=25)
@given(ovals(), st.sampled_from(spread_of_cars()), st.floats(0.4, 1.1))
def test_no_phase_is_shorter_than_a_car(track, car, grip):
    surface = Condition("any", grip, 8.0, "middle")
    lap = solve_lap(make_groove(track, "middle", car.width), car, surface)
    starts = np.flatnonzero(lap.phase != np.roll(lap.phase, 1))
    if len(starts) > 2:
        runs = np.add.reduceat(np.roll(lap.groove.ds, -starts[0]), starts - starts[0])
        assert runs.min() >= car.length


def test_a_sliver_of_a_phase_goes_to_its_longer_neighbour():
    phase = np.array([3] * 5 + [0] * 2 + [1] * 6 + [2] * 5 + [3] * 2)
    whole = without_slivers(phase, np.ones(20), 3.0)
    assert whole.tolist() == [3] * 7 + [1] * 6 + [2] * 5 + [3] * 2
    assert without_slivers(phase, np.ones(20), 2.0).tolist() == phase.tolist()


@pytest.mark.parametrize("grip", [1.0, 0.5])
def test_drive_off_begins_where_the_car_gains_about_four_hundredths_of_its_grip(grip):
    # Engineering judgement, no source: below 3 % of the grip the car still holds its speed, above
    # 5 % it is driven off; on half the grip half the gain is drive-off.
    circle = parallel_groove(oval(60.0, 0.0), 5.0)
    gain = 0.08 * grip * G * np.cos(2 * np.pi * circle.s / circle.length)
    square = 2 * np.cumsum(gain * circle.ds)
    speed = np.sqrt(square - square.mean() + (0.7 * 0.5 * G * 65.0))
    lap = driven_lap(circle, CAR, Condition("any", grip, 8.0, "middle"), speed)
    driven, share = lap.thrust >= 0, lap.a_x / (grip * G)
    assert np.ptp(share) > 0.15
    phase = np.array(PHASES)[lap.phase]
    off, held = driven & (share > 0.05), driven & (share < 0.03)
    assert off.sum() > 50 and (held & (share > 0.02)).sum() > 10
    assert set(phase[off]) == {"drive-off"}
    assert set(phase[held]) == {"centre"}


# Wheel loads


def test_lateral_transfer_is_m_a_h_over_track_width():
    # Gillespie, Fundamentals of Vehicle Dynamics, ch. 6: sum over both axles of dF t = m a_y h.
    at = np.zeros(1)
    a_y = at + 3.0
    still, turning = (wheel_loads(CAR, at, a, at + G) for a in (at, a_y))
    moment = sum(
        0.5 * (right - left) * axle.track_width
        for right, left, axle in (
            (turning.right_front - still.right_front, turning.left_front - still.left_front,
             CAR.front),
            (turning.right_rear - still.right_rear, turning.left_rear - still.left_rear, CAR.rear),
        )
    )  # fmt: skip
    assert moment == pytest.approx(CAR.mass * 3.0 * CAR.cg_height)


def test_with_roll_centres_on_the_ground_the_front_takes_its_share_of_the_stiffness():
    at = np.zeros(1)
    low = replace(CAR, roll_center=(0.0, 0.0))
    still, turning = (wheel_loads(low, at, at + a, at + G) for a in (0.0, 2.0))
    front = (turning.right_front - still.right_front) * CAR.front.track_width
    rear = (turning.right_rear - still.right_rear) * CAR.rear.track_width
    assert front / (front + rear) == pytest.approx(CAR.front_roll_share)


def rigid_car_on_springs(car, a_y, drive):
    """Lateral transfer to the front and rear wheels from three rigid bodies in balance.

    Body, front axle and rear axle, each free to roll; unknown: roll of the body about the line of
    the roll centres. Side force of each axle from moments in plan; free-body balances of each axle
    about its own roll centre's foot. Written with numbers for the car, not from loads.py.
    """
    m, h = car.mass, car.cg_height
    z_f, z_r = car.roll_center
    rear = car.weights.rear_share
    side = {"front": (1 - rear) * m * a_y, "rear": rear * m * a_y}  # side force of each axle
    K_f = 30_000.0
    K_r = K_f * (1 / car.front_roll_share - 1)
    T_d = drive * car.rear.mean_rollout / (2 * np.pi) / car.axle_ratio
    # Moments on the body about the roll axis: inertia force above it, its springs, the engine's
    # reaction to the driveshaft, which leans the body to its right as cornering left does.
    axis = z_f + (z_r - z_f) * rear
    roll = (m * a_y * (h - axis) + T_d) / (K_f + K_r)
    # Moments on each axle about the ground: side force through the roll centre, springs, and on
    # the rear the driveshaft; tires answer with a couple.
    front = side["front"] * z_f + K_f * roll
    back = side["rear"] * z_r + K_r * roll - T_d
    return front / car.front.track_width, back / car.rear.track_width


@pytest.mark.parametrize("drive", [0.0, 5000.0])
@pytest.mark.parametrize("a_y", [0.0, 4.0])
def test_wheel_loads_are_those_of_three_rigid_bodies_in_balance(a_y, drive):
    # Statics; the sense of the driveshaft as in Gillespie ch. 2: on to the left rear.
    at = np.zeros(1)
    still = wheel_loads(CAR, at, at, at + G)
    moved = wheel_loads(CAR, at, at + a_y, at + G, at + drive)
    front, rear = rigid_car_on_springs(CAR, a_y, drive)
    assert moved.right_front - still.right_front == pytest.approx(front)
    assert moved.left_front - still.left_front == pytest.approx(-front)
    assert moved.right_rear - still.right_rear == pytest.approx(rear)
    assert moved.left_rear - still.left_rear == pytest.approx(-rear)


def test_the_driveshaft_loads_the_left_rear_and_takes_nothing_from_an_axle():
    at = np.zeros(1)
    still = wheel_loads(CAR, at, at, at + G)
    driven = wheel_loads(CAR, at, at, at + G, at + 5000.0)
    assert driven.left_rear > still.left_rear
    assert driven.right_front > still.right_front
    assert driven.left_rear + driven.right_rear == pytest.approx(still.left_rear + still.right_rear)
    assert driven.total == pytest.approx(still.total)


def test_longitudinal_transfer_is_m_a_h_over_wheelbase():
    # Gillespie ch. 1: (a_x / g) (h / L) of the weight moves to the rear.
    at = np.zeros(1)
    rear = wheel_loads(CAR, at + 2.0, at, at + G)
    moved = rear.left_rear + rear.right_rear - CAR.weights.left_rear - CAR.weights.right_rear
    assert moved == pytest.approx(2.0 / G * CAR.cg_height / CAR.wheelbase * CAR.weights.total)


def test_at_rest_on_the_flat_the_wheels_stand_as_on_the_scales():
    at = np.zeros(1)
    loads = wheel_loads(CAR, at, at, at + G)
    for name, weight in vars(CAR.weights).items():
        assert getattr(loads, name) == pytest.approx(weight)


@given(st.floats(-8, 12), st.floats(-12, 12), st.floats(6, 16))
def test_wheel_loads_add_up_and_never_pull(a_x, a_y, load):
    loads = wheel_loads(CAR, np.array([a_x]), np.array([a_y]), np.array([load]))
    assert loads.total[0] == pytest.approx(CAR.mass * load)
    assert min(loads.left_front, loads.right_front, loads.left_rear, loads.right_rear) >= 0


# Sweeps


def test_a_sweep_of_laps_equals_one_by_one():
    n = 3
    spread = np.linspace(0.9, 1.1, n)
    base = demo_track("Saucer Hill")
    tracks = replace(base, straight=base.straight * spread, bank=Bank(base.bank.corners * spread))
    weights = replace(CAR.weights, left_rear=CAR.weights.left_rear * spread)
    cars = replace(CAR, weights=weights, power=CAR.power * spread, cg_height=CAR.cg_height * spread)
    surfaces = Condition("any", 0.8 * spread, 8.0 * spread, "middle")
    together = solve_lap(make_groove(tracks, "middle", WIDTH), cars, surfaces)
    for i in range(n):
        alone = solve_lap(
            make_groove(one_case(tracks, i), "middle", WIDTH), one_case(cars, i),
            one_case(surfaces, i),
        )  # fmt: skip
        for field in ("speed", "a_x", "a_y", "load", "thrust"):
            scale = np.abs(getattr(alone, field)).max()
            gap = getattr(together, field)[i] - getattr(alone, field)
            assert np.abs(gap).max() < ALIKE * scale
        assert together.time[i] == pytest.approx(alone.time, rel=1e-6)
        assert together.wheels.right_rear[i] == pytest.approx(alone.wheels.right_rear, rel=1e-4)


@pytest.mark.parametrize("field", ["power", "drag_area", "cg_height", "wheelbase"])
def test_cars_may_be_swept_on_one_track(field):
    groove = make_groove(demo_track("Ropewalk"), "middle", WIDTH)
    spread = np.array([0.8, 1.0, 1.2])
    together = solve_lap(groove, replace(CAR, **{field: getattr(CAR, field) * spread}), GRIPPY)
    alone = solve_lap(groove, CAR, GRIPPY)
    assert together.speed.shape == (3, 720)
    assert together.time[1] == pytest.approx(alone.time, rel=1e-6)


def test_a_lap_starts_anywhere():
    # The same oval with the start on the other straight: the same lap, turned round.
    track = oval(180 * FOOT, 300 * FOOT, bank=0.1)
    lap = lap_on(track)
    assert np.roll(lap.speed, 360) == pytest.approx(lap.speed, rel=1e-4)


@pytest.mark.parametrize("condition", ["heavy", "slick"])
@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
def test_the_rear_keeps_within_the_grip_of_the_load_it_carries(track, condition):
    # Friction circle of the driven axle under its own wheel loads (Milliken and Milliken, ch. 9).
    lap = lap_on(track, condition=condition)
    rear = lap.wheels.left_rear + lap.wheels.right_rear
    asked = np.hypot(lap.thrust, CAR.weights.rear_share * CAR.mass * lap.a_y)
    used = asked / (track.condition(condition).grip * rear)
    assert used[lap.thrust > 0].max() < 1.01


@pytest.mark.parametrize("name", ["heavy", "slick", "rubbered"])
@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
def test_a_lap_that_has_settled_would_move_no_further(monkeypatch, track, name):
    state = track.condition(name)
    groove = make_groove(track, "middle", WIDTH)
    lap = solve_lap(groove, CAR, state)
    monkeypatch.setattr(rollpath.lap, "LAST_MOVE", 1e-13)
    further = solve_lap(groove, CAR, state)
    w, then = 0.5 * lap.speed**2, 0.5 * further.speed**2
    assert np.abs(then - w).max() < ALIKE * w.max()
