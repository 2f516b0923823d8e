"""Bite: statics of four pads, and what scale sessions teach."""

from dataclasses import replace
from functools import lru_cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.car import Axle, BiteRates, Car, Springs, Tire, axle_roll_stiffness, tire_rates
from rollpath.corners import CORNERS, NOTHING, RAISES_BITE, Corners, only
from rollpath.files.cars import car_from_values, load_car
from rollpath.scales.hold import bite_map, holds, weigh_change
from rollpath.scales.learn import (
    UNTOUCHED,
    NextSession,
    ScaleSession,
    _Design,
    fit_rates,
    learn_rates,
    weights_that_differ,
)
from rollpath.scales.rates import (
    TYPICAL_RATE,
    bite_change,
    bite_rates,
    pads_with,
    predicted_rates,
    stagger_effect,
)
from rollpath.scales.twist import BiteError, Change, pads_after, stance, unit_twists
from rollpath.units import DEGREE, INCH, POUND, PSI
from scipy import stats
from scipy.optimize import minimize, root

CARS = Path(__file__).parent.parent / "cars"
LB_IN = POUND / INCH
BAR_UNIT = POUND * INCH / DEGREE


@pytest.fixture(scope="module")
def car() -> Car:
    """The leaf-sprung demo car without its measured rates."""
    return replace(load_car(CARS / "number-31.yaml"), bite_per_inch=BiteRates())


@pytest.fixture(scope="module")
def lopsided(car: Car) -> Car:
    """Different springs at all four corners, and bars."""
    springs = Springs(
        front_wheel_rate=(240 * LB_IN, 330 * LB_IN),
        rear_rate=(215 * LB_IN, 170 * LB_IN),
        rear_base=41 * INCH,
        front_bar=900 * BAR_UNIT,
        rear_bar=350 * BAR_UNIT,
    )
    return replace(car, springs=springs)


def on_the_ground(car: Car) -> Car:
    """With its centre of gravity and its roll centres on the ground: gravity helps no lean."""
    return replace(car, cg_height=0.0, roll_center=(0.0, 0.0))


def pads(weights: Corners) -> np.ndarray:
    return np.array([getattr(weights, corner) for corner in CORNERS])


def moments(car: Car, loads: np.ndarray) -> np.ndarray:
    """Total, pitch and roll moment of four pad loads about the middle of the car."""
    t_f, t_r, half = car.front.half_track, car.rear.half_track, 0.5 * car.wheelbase
    rows = np.array([[1, 1, 1, 1], [half, half, -half, -half], [t_f, -t_f, t_r, -t_r]])
    return rows @ loads


changes = st.builds(
    Change,
    rollouts=st.builds(Corners, *[st.floats(-0.1, 0.1)] * 4),
    turns=st.builds(Corners, *[st.floats(-6, 6)] * 4),
    spacers=st.builds(Corners, *[st.floats(-0.02, 0.02)] * 4),
)


# Statics


def test_twisting_moment_is_tilt_times_the_series_of_four_roll_stiffnesses(car):
    car = on_the_ground(replace(car, pressure=None))  # every tire has the one rate
    springs, T_f, T_r = car.springs, car.front.track_width, car.rear.track_width
    k_t = car.tire.spring_rate
    four = [
        springs.front_wheel_rate[0] * T_f**2 / 2,
        k_t * T_f**2 / 2,
        springs.rear_rate[0] * springs.rear_base**2 / 2,
        k_t * T_r**2 / 2,
    ]
    series = 1 / sum(1 / K for K in four)
    rollouts = Corners(0.01, 0.03, 0.04, -0.02)
    tilt = (rollouts[2] - rollouts[3]) / T_r - (rollouts[0] - rollouts[1]) / T_f
    moment = series * tilt / (2 * np.pi)
    assert stance(car, Change(rollouts=rollouts)).twist == pytest.approx(moment, rel=1e-9)


def test_rates_follow_from_the_stiffness_system_with_unequal_springs_and_bars(lopsided):
    rates = bite_rates(lopsided)
    for corner, sign in zip(CORNERS, RAISES_BITE, strict=True):
        for change in (
            Change(rollouts=only(corner, INCH)),
            Change(turns=only(corner, 1.0)),
            Change(spacers=only(corner, INCH / 8)),
        ):
            loads = stance(lopsided, change).loads
            # Springs that differ from side to side pitch the car a little while it twists.
            raised = bite_change(lopsided, rates, change)
            assert raised == pytest.approx(loads[2] - loads[3], rel=3e-3)
            assert sign * raised > 0
            after = pads(pads_with(lopsided, rates, change).weights) - pads(lopsided.weights)
            assert after == pytest.approx(np.array(loads), abs=0.02 * np.abs(loads).max())


def potential_energy(car: Car, change: Change):
    """Energy of the springs and of gravity, written spring by spring from where things are.

    Each tire has the rate of its own pressure after the change; its free height is that of the
    pressure before, with which the car stood level.

    The motions are chassis heave, pitch and roll, two front hubs and the two ends of the axle;
    free lengths are such that the car stands level on its pads before the change.
    """
    springs = car.springs
    k, p, a = car.tire.spring_rate, np.array(car.pressure), car.tire.air_share
    mean = np.repeat([p[:2].mean(), p[2:].mean()], 2)
    k_now = k * (1 - a) + k * a * p / mean
    k_then = k * (1 - a) + k * a * (p + np.array(change.pressures)) / mean
    t_f, t_r, half = car.front.half_track, car.rear.half_track, 0.5 * car.wheelbase
    s = 0.5 * springs.rear_base
    N = pads(car.weights)
    rise = np.array(change.rollouts) / (2 * np.pi)
    seat = np.array(change.spacers) + np.array(change.turns) * (car.jack_thread or 0)
    rear_sum, rear_moment = N[2] + N[3], (N[2] - N[3]) * t_r
    preload = np.array([N[0], N[1], 0.5 * (rear_sum + rear_moment / s),
                        0.5 * (rear_sum - rear_moment / s)])  # fmt: skip
    spring_k = np.array([*springs.front_wheel_rate, *springs.rear_rate])
    chassis_y = np.array([t_f, -t_f, s, -s])
    chassis_x = np.array([half, half, -half, -half])

    h_f, h_r = car.roll_center
    ahead, behind = N[:2].sum() / N.sum(), N[2:].sum() / N.sum()
    axis = ahead * h_f + behind * h_r
    hubs = 0.5 * (car.front.mean_rollout + car.rear.mean_rollout) / (2 * np.pi)

    def fallen(pitch, roll, hub_tilt, axle_roll):
        """Energy that the weight has given up by leaning: it stands on three links, one on top of
        the other, and each is shorter from above by its cosine."""
        links = (h_f * ahead * (1 - np.cos(hub_tilt)) + h_r * behind * (1 - np.cos(axle_roll))
                 + (car.cg_height - axis) * (1 - np.cos(roll))
                 + (car.cg_height - hubs) * (1 - np.cos(pitch)))  # fmt: skip
        return N.sum() * links

    def energy(q):
        heave, pitch, roll, hub_l, hub_r, end_l, end_r = q
        body = heave - pitch * chassis_x + roll * chassis_y
        axle_mid, axle_roll = 0.5 * (end_l + end_r), (end_l - end_r) / (2 * t_r)
        below = np.array([hub_l, hub_r, axle_mid + axle_roll * s, axle_mid - axle_roll * s])
        tires = N / k_now + rise - np.array([hub_l, hub_r, end_l, end_r])
        squeeze = preload / spring_k + below + seat - body
        bars = springs.front_bar * ((hub_l - hub_r) / (2 * t_f) - roll) ** 2
        bars += springs.rear_bar * (axle_roll - roll) ** 2
        weight = preload @ body - fallen(pitch, roll, (hub_l - hub_r) / (2 * t_f), axle_roll)
        return 0.5 * (k_then * tires @ tires + spring_k @ squeeze**2 + bars) + weight

    def loads(q):
        return k_then * (N / k_now + rise - q[3:])

    return energy, loads


@pytest.mark.parametrize("air", [NOTHING, Corners(-2 * PSI, 3 * PSI, 2 * PSI, -1 * PSI)])
def test_least_potential_energy_gives_the_same_loads(lopsided, air):
    lopsided = replace(lopsided, pressure=Corners(14 * PSI, 18 * PSI, 12 * PSI, 16 * PSI))
    change = Change(
        rollouts=Corners(0.02, -0.01, 0.03, 0.01), turns=Corners(0, 1, -2, 0.5),
        spacers=Corners(0.003, 0, 0, 0.006), pressures=air,
    )  # fmt: skip
    energy, loads = potential_energy(lopsided, change)
    scale = 1e-2
    found = minimize(lambda q: energy(scale * q), np.zeros(7), method="Powell",
                     options={"xtol": 1e-12, "ftol": 1e-15, "maxiter": 100_000})  # fmt: skip
    found = minimize(lambda q: energy(scale * q), found.x, method="BFGS", options={"gtol": 1e-7})
    expected = pads(lopsided.weights) + np.array(stance(lopsided, change).loads)
    assert loads(scale * found.x) == pytest.approx(expected, abs=1.0)  # N, of 3,500 on a pad
    bite = float(np.subtract(*expected[2:])) - lopsided.weights.bite
    assert abs(bite) > 100


def leaning_plane_car(car: Car, rise: np.ndarray):
    """Energy of a car on two beam axles, every point where rotation puts it: no small angles.

    Each axle rolls about the middle of its two contacts; it takes the chassis along sideways at
    its roll centre, and the springs stand from there upwards, 10 in long.
    """
    tall = 10 * INCH
    k_t, (h_f, h_r), N = car.tire.spring_rate, car.roll_center, pads(car.weights)
    ends = []
    for first, t, base, rate, rc in (
        (0, car.front.half_track, car.front.track_width, car.springs.front_wheel_rate[0], h_f),
        (2, car.rear.half_track, car.springs.rear_base, car.springs.rear_rate[0], h_r),
    ):
        there = slice(first, first + 2)
        carried = 0.5 * N[there].sum() + np.array([0.5, -0.5]) * (N[first] - N[first + 1]) * (
            2 * t / base
        )
        ends.append((there, t, 0.5 * base, rate, rc, carried))
    share = N[2:].sum() / N.sum()
    above = car.cg_height - (1 - share) * h_f - share * h_r
    sides = np.array([1.0, -1.0])

    def squeezed(there, t, lift, roll):
        return N[there] / k_t + rise[there] - (lift + sides * t * np.sin(roll))

    def energy(q):
        chassis_roll, total = q[0], 0.0
        for (there, t, half, rate, rc, carried), (top, lift, roll) in zip(
            ends, (q[1:4], q[4:7]), strict=True
        ):
            total += 0.5 * k_t * np.sum(squeezed(there, t, lift, roll) ** 2)
            pin = np.array([-rc * np.sin(roll), lift + rc * np.cos(roll)])
            held = np.array([pin[0], rc + top])  # the chassis' own roll centre, free to heave
            for side, load in zip(sides, carried, strict=True):
                low = pin + side * half * np.array([np.cos(roll), np.sin(roll)])
                high = held + side * half * np.array([np.cos(chassis_roll), np.sin(chassis_roll)])
                high = high + tall * np.array([-np.sin(chassis_roll), np.cos(chassis_roll)])
                total += 0.5 * rate * (tall + load / rate - np.linalg.norm(high - low)) ** 2
        height = (1 - share) * q[1] + share * q[4] + above * np.cos(chassis_roll)
        return total + N.sum() * height

    def loads(q):
        return np.concatenate([k_t * squeezed(end[0], end[1], *one) for end, one in
                               zip(ends, (q[2:4], q[5:7]), strict=True)])  # fmt: skip

    return energy, loads


def least(energy, size: int) -> np.ndarray:
    """Where an energy is least: its slope by central differences is nothing."""
    step = 1e-5 * np.eye(size)

    def slope(q):
        return [(energy(q + one) - energy(q - one)) / 2e-5 for one in step]

    found = root(slope, np.zeros(size), tol=1e-12)
    assert np.max(np.abs(slope(found.x))) < 1e-2
    return found.x


@pytest.mark.parametrize("roll_center", [(0.0, 0.0), (3 * INCH, 10 * INCH), (6 * INCH, 14 * INCH)])
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_a_leaning_car_with_every_point_where_rotation_puts_it_reads_the_same(
    car, axle, roll_center
):
    even = Corners(*2 * [car.weights[0]], *2 * [car.weights[2]])
    tall = replace(car, pressure=None, weights=even, cg_height=22 * INCH, roll_center=roll_center)
    grown = only(f"right_{axle}", 2 * INCH)
    stands = []
    for rise in (np.array(grown) / (2 * np.pi), np.zeros(4)):
        energy, loads = leaning_plane_car(tall, rise)
        stands.append(loads(least(energy, 7)))
    expected = stands[0] - stands[1]
    found = np.array(stance(tall, Change(rollouts=grown)).loads)
    # The pitch that a taller wheel brings is not in the plane: half a newton from end to end.
    assert found == pytest.approx(expected, abs=1.0)  # N, of 80 that move
    flat = np.array(stance(on_the_ground(tall), Change(rollouts=grown)).loads)
    assert np.max(np.abs(flat - expected)) > 4.0  # which is not what a car on the ground does


def test_height_of_the_centre_of_gravity_takes_from_the_rear_rate_and_adds_to_the_front_one(car):
    flat, low = (predicted_rates(replace(on_the_ground(car), cg_height=h)) for h in (0, 19 * INCH))
    # By hand, roll centres on the ground and every tire alike: weight W at height h turns three
    # springs in a row into K_f (K_r) / (K_f + K_r - W h) for the front stagger, and that less
    # W h / K_f of it for the rear (three springs in a row, the middle leaning on itself).
    even = replace(car, pressure=None)
    K_f, K_r = axle_roll_stiffness(even)
    lean = even.weights.total * 19 * INCH
    by_hand_front = (K_f + K_r) / (K_f + K_r - lean)
    by_hand_rear = by_hand_front * (K_f - lean) / K_f
    assert low.front / flat.front == pytest.approx(by_hand_front, rel=3e-2)
    assert low.rear / flat.rear == pytest.approx(by_hand_rear, rel=1e-2)
    assert low.rear / flat.rear == pytest.approx(0.95, abs=0.01)
    with_axes = predicted_rates(car)
    assert with_axes.rear < low.rear < flat.rear < with_axes.front < low.front


def test_all_equal_pads_springs_and_bars_read_as_by_hand():
    # By hand, in pounds and inches: four pads of 790 lb, four springs of 200 lb/in at the tires
    # 60 in apart, two bars of 1000 lb in/deg, four tires of 1000 lb/in, all weight on the ground.
    square = replace(
        car_from_values({"name": "square"}),
        front=Axle(60 * INCH, 83 * INCH, 83 * INCH), rear=Axle(60 * INCH, 83 * INCH, 83 * INCH),
        weights=Corners.every(790 * POUND), tire=Tire(1000 * LB_IN), pressure=None,
        springs=Springs((200 * LB_IN, 200 * LB_IN), (200 * LB_IN, 200 * LB_IN), 60 * INCH,
                        1000 * BAR_UNIT, 1000 * BAR_UNIT),
    )  # fmt: skip
    square = on_the_ground(square)
    assert square.weights.bite == 0
    assert square.weights.cross_share == 0.5
    springs_and_bar = 200 * 60**2 / 2 + 1000 * 180 / np.pi
    tires = 1000 * 60**2 / 2
    end = 1 / (1 / springs_and_bar + 1 / tires)  # lb in per rad, alike in front and behind
    by_hand = 2 / 60 * (end / 2) / (2 * np.pi * 60)  # lb of bite per inch of stagger
    assert by_hand == pytest.approx(14.97, abs=0.02)
    for axle, way in (("rear", -1), ("front", 1)):
        grown = Change(rollouts=only(f"right_{axle}", 1.5 * INCH))
        then = weigh_change(square, grown).then.weights
        assert then.bite / POUND == pytest.approx(way * 1.5 * by_hand, rel=1e-9)
        # Half of it on each pad, so that cross weight moves by all of it.
        assert then.cross_share == pytest.approx(0.5 + way * 1.5 * by_hand / 3160, rel=1e-9)
        assert np.ptp(np.abs(pads(then) / POUND - 790)) < 1e-6
    # Both alike: nothing twists. At its height it leans, and level it still reads nothing.
    both = Change(rollouts=Corners(0.0, INCH, 0.0, INCH))
    assert weigh_change(square, both).then.weights.bite == pytest.approx(0, abs=1e-6)
    tall = replace(square, cg_height=19 * INCH)
    assert bite_change(tall, bite_rates(tall), Change()) == 0
    # By hand, with W h = 3160 x 19: the front rate up by 2 end / (2 end - W h), the rear one by
    # that times (end - W h) / end.
    lean = 3160 * 19
    more = 2 * end / (2 * end - lean)
    rates = bite_rates(tall)
    assert rates.front / LB_IN == pytest.approx(more * by_hand, rel=1e-6)
    assert rates.rear / LB_IN == pytest.approx(more * (end - lean) / end * by_hand, rel=1e-6)


def test_what_a_rear_stagger_does_in_front_is_what_a_front_stagger_does_behind(car, lopsided):
    # Reciprocity: J. C. Maxwell, 1864 (in any text of structures): the system is symmetric.
    for one in (car, lopsided):
        bite, ahead = unit_twists(one)
        assert bite.rear * ahead.rear == pytest.approx(bite.front, rel=1e-9)


def test_weight_that_goes_to_one_side_is_weight_times_the_shift_of_its_centre(car):
    """By hand, with no stiffness in it: the pads' roll moment about the ground is the weight times
    how far its centre went sideways, and that is read off where the chassis stands."""
    tall = replace(car, roll_center=(4 * INCH, 4 * INCH))
    change = Change(rollouts=only("right_rear", 3 * INCH))
    settled = stance(tall, change)
    heights, t_r = settled.ride_heights, tall.rear.half_track
    roll = (heights.left_rear - heights.right_rear) / (2 * t_r)
    tires = np.array([0, 0, 0, 3 * INCH / (2 * np.pi)]) - np.array(settled.loads) / np.array(
        tire_rates(tall)
    )
    hub = (tires[0] - tires[1]) / tall.front.track_width
    axle = (tires[2] - tires[3]) / tall.rear.track_width
    front, W = 1 - tall.weights.rear_share, tall.weights.total
    shift = 4 * INCH * (front * hub + (1 - front) * axle) + (tall.cg_height - 4 * INCH) * roll
    assert shift < 0  # left is positive in heights: left side down, so the weight goes left
    assert moments(tall, np.array(settled.loads))[2] == pytest.approx(-W * shift, rel=1e-6)


@pytest.mark.parametrize("soft", [0.04, 0.005])
def test_springs_that_let_the_car_lean_over_are_refused(car, soft):
    springs = car.springs
    weak = Springs(*(tuple(soft * rate for rate in pair) for pair in
                     (springs.front_wheel_rate, springs.rear_rate)), springs.rear_base)  # fmt: skip
    with pytest.raises(BiteError, match="lean over"):
        predicted_rates(replace(car, springs=weak))
    assert predicted_rates(on_the_ground(replace(car, springs=weak))).rear > 0


def test_rigid_table_on_four_equal_legs_loads_a_shimmed_leg_by_a_quarter(car):
    # The four-legged table on springs, a worked example of statics texts: a shim h under one leg
    # of rate k loads it and the leg across by k h / 4 and unloads the others as much.
    square = replace(
        car,
        weights=car.weights.map(lambda pad: 1e-9 * pad),  # a table of no weight leans on nothing
        front=replace(car.front, track_width=car.rear.track_width),
        springs=Springs((1e13, 1e13), (1e13, 1e13), car.springs.rear_base),
        pressure=None,
    )
    h = 0.004
    loads = stance(square, Change(rollouts=only("left_rear", 2 * np.pi * h))).loads
    quarter = square.tire.spring_rate * h / 4
    assert loads == pytest.approx([-quarter, quarter, quarter, -quarter], rel=1e-5)


def test_soft_springs_let_the_axle_tilt_and_keep_the_bite(car):
    flat = on_the_ground(car)
    soft = replace(flat, springs=replace(car.springs, rear_rate=(2 * LB_IN, 2 * LB_IN)))
    assert predicted_rates(soft).rear < 0.02 * predicted_rates(flat).rear


@settings(max_examples=60, deadline=None)
@given(change=changes)
def test_total_weight_and_both_moments_are_kept_by_a_centre_of_gravity_on_the_ground(change):
    car = replace(load_car(CARS / "number-31.yaml"), cg_height=0.0, roll_center=(0.0, 0.0))
    loads = np.array(stance(car, change).loads)
    assert moments(car, loads)[[0, 2]] == pytest.approx(np.zeros(2), abs=1e-6)
    before, after = pads(car.weights), pads(weigh_change(car, change).then.weights)
    assert moments(car, after) == pytest.approx(moments(car, before), rel=1e-12, abs=1e-8)


@settings(max_examples=30, deadline=None)
@given(change=changes)
def test_half_the_change_gives_half_the_bite(change):
    # Statics: springs without gaps are linear (design section 4.6).
    car = load_car(CARS / "blue-heron.yaml")
    half = Change(*(Corners(*(0.5 * x for x in group)) for group in
                    (change.rollouts, change.turns, change.spacers)))  # fmt: skip
    rates = bite_rates(car)
    whole_bite = bite_change(car, rates, change)
    assert bite_change(car, rates, half) == pytest.approx(0.5 * whole_bite, abs=1e-9)
    whole = stance(car, change)
    assert np.array(stance(car, half).loads) == pytest.approx(0.5 * np.array(whole.loads), abs=1e-6)


def test_equal_spacers_under_all_four_springs_lift_the_car_and_leave_the_pads(lopsided):
    settled = stance(lopsided, Change(spacers=Corners(0.01, 0.01, 0.01, 0.01)))
    assert settled.loads == pytest.approx(np.zeros(4), abs=1e-6)
    assert settled.ride_heights == pytest.approx(np.full(4, 0.01))


def test_bigger_rear_tires_by_the_same_amount_lift_the_rear_by_their_radius(car):
    settled = stance(car, Change(rollouts=Corners(0, 0, 0.05, 0.05)))
    rise = 0.05 / (2 * np.pi)
    assert settled.ride_heights == pytest.approx([0, 0, rise, rise], abs=1e-4)


# Direction: statics, design section 4.6


@pytest.mark.parametrize(
    ("corner", "direction"),
    [("left_rear", 1), ("right_rear", -1), ("right_front", 1), ("left_front", -1)],
)
def test_bigger_tire_moves_bite_the_way_it_should(car, corner, direction):
    outcome = weigh_change(car, Change(rollouts=only(corner, INCH)))
    assert direction * (outcome.then.weights.bite - car.weights.bite) > 0


def test_longer_left_rear_jack_raises_bite(car):
    outcome = weigh_change(car, Change(turns=only("left_rear", 2.0)))
    assert outcome.then.weights.bite > car.weights.bite
    assert outcome.ride_heights.left_rear > 0


@pytest.mark.parametrize("name", ["number-31", "blue-heron"])
def test_added_rear_stagger_is_held_by_added_front_stagger(name):
    car = load_car(CARS / f"{name}.yaml")
    outcome = weigh_change(car, Change(rollouts=only("right_rear", INCH)), hold="front")
    assert outcome.raised < 0
    assert outcome.holds[0].front_stagger > 0


@pytest.mark.parametrize("name", ["number-31", "blue-heron"])
@pytest.mark.parametrize("inches", [-1.5, -0.5, 0.5, 1.5])
def test_front_stagger_that_holds_bite_has_the_sign_of_the_change_and_holds_it(name, inches):
    # Statics, design section 4.6; that it holds is asked of the stiffness system itself.
    car = replace(load_car(CARS / f"{name}.yaml"), bite_per_inch=BiteRates())
    effect = stagger_effect(car, inches * INCH)
    assert np.sign(effect.hold_front) == np.sign(inches)
    assert np.sign(effect.then - effect.now) == -np.sign(inches)
    alone = stance(car, Change(rollouts=only("right_rear", inches * INCH))).loads
    assert effect.then - effect.now == pytest.approx(alone[2] - alone[3], rel=1e-3)
    both = replace(NOTHING, right_front=effect.hold_front, right_rear=inches * INCH)
    loads = stance(car, Change(rollouts=both)).loads
    assert loads[2] - loads[3] == pytest.approx(0.0, abs=0.01 * POUND)


def test_no_change_of_stagger_has_nothing_to_hold(car):
    effect = stagger_effect(car, 0.0)
    assert (effect.then, effect.hold_front) == (effect.now, 0.0)


# Size


def test_springs_of_a_full_bodied_car_predict_8_to_15_lb_per_inch(car):
    # common practice, no source: 8 to 15 lb of bite per inch of rear stagger on a full-bodied car
    # of about 3,000 lb, and about as much, the other way, per inch at the front.
    predicted = predicted_rates(car)
    assert 8 <= predicted.rear / LB_IN <= 15
    assert 8 <= predicted.front / LB_IN <= 15
    # With the centre of gravity on the ground as much but for the track widths; height takes it
    # apart.
    flat = predicted_rates(on_the_ground(car))
    assert flat.front == pytest.approx(flat.rear, rel=0.02)
    assert predicted.front == pytest.approx(predicted.rear, rel=0.35)


def test_three_and_a_half_inches_make_about_thirty_pounds(car):
    # common practice, no source: 3 1/2 in of rear stagger for about 30 lb, seen on one such car.
    change = Change(rollouts=replace(NOTHING, left_rear=-1.75 * INCH, right_rear=1.75 * INCH))
    assert -weigh_change(car, change).raised / POUND == pytest.approx(30, rel=0.25)


def test_stiff_bars_and_springs_at_the_wheels_leave_the_band(car):
    barred = replace(car.springs, front_bar=6000 * BAR_UNIT, rear_bar=4000 * BAR_UNIT)
    at_the_wheel = Springs((900 * LB_IN, 900 * LB_IN), (900 * LB_IN, 900 * LB_IN), 60 * INCH)
    for springs in (barred, at_the_wheel):
        assert predicted_rates(replace(car, springs=springs)).rear / LB_IN > 15


def test_harder_tires_and_springs_raise_the_rate(car):
    base = predicted_rates(car).rear
    assert predicted_rates(replace(car, tire=Tire(1.2 * car.tire.spring_rate))).rear > base
    stiffer = replace(car.springs, rear_rate=(250 * LB_IN, 250 * LB_IN))
    assert predicted_rates(replace(car, springs=stiffer)).rear > base


def test_a_sweep_of_cars_is_one_call(car):
    rears = np.array([150.0, 190.0, 230.0]) * LB_IN
    swept = bite_rates(replace(car, springs=replace(car.springs, rear_rate=(rears, rears))))
    for rear, rate, turn in zip(rears, swept.rear, swept.rear_turn, strict=True):
        one = bite_rates(replace(car, springs=replace(car.springs, rear_rate=(rear, rear))))
        assert (rate, turn) == pytest.approx((one.rear, one.rear_turn))


# Where a rate comes from


def test_measured_rate_beats_springs(car):
    measured = replace(car, bite_per_inch=BiteRates(12 * LB_IN, 11 * LB_IN))
    rates = bite_rates(measured)
    assert (rates.rear, rates.front) == (12 * LB_IN, 11 * LB_IN)
    assert rates.basis == "measured"
    assert bite_rates(car).basis == "predicted"


def test_without_springs_or_sessions_the_rate_is_typical(car):
    rates = bite_rates(replace(car, springs=None))
    assert rates.basis == "typical"
    assert rates.rear == rates.front == TYPICAL_RATE
    assert rates.rear_turn is None
    assert (rates.rear_turn_source, rates.front_turn_source) == ("unknown", "typical")


def test_one_measured_axle_predicts_the_other_by_track_widths(car):
    rates = bite_rates(replace(car, springs=None, bite_per_inch=BiteRates(rear=12 * LB_IN)))
    assert rates.basis == "rear measured, front predicted"
    by_springs = predicted_rates(on_the_ground(car))
    assert rates.front / rates.rear == pytest.approx(by_springs.front / by_springs.rear)


def test_measured_jack_rate_beats_the_thread(car):
    rates = bite_rates(replace(car, bite_per_turn=BiteRates(rear=8 * POUND)))
    assert rates.rear_turn == 8 * POUND
    assert (rates.rear_turn_source, rates.front_turn_source) == ("measured", "predicted")


def test_measured_far_from_predicted_is_doubted(car):
    by_springs = predicted_rates(car)
    for share, doubted in ((1.4, []), (1.6, ["rear"]), (0.6, []), (0.4, ["rear"])):
        rates = BiteRates(share * by_springs.rear, by_springs.front)
        assert bite_rates(replace(car, bite_per_inch=rates)).doubtful == doubted


def test_turns_without_a_known_rate_are_refused(car):
    no_jacks = replace(car, jack_thread=None)
    with pytest.raises(BiteError, match="jacks"):
        weigh_change(no_jacks, Change(turns=only("left_rear", 1.0)))
    with pytest.raises(BiteError, match="springs"):
        weigh_change(replace(car, springs=None), Change(spacers=only("left_rear", 0.01)))


# Pads


def test_a_pad_never_goes_below_nothing_and_the_lifted_wheel_is_named(car):
    car = on_the_ground(car)
    outcome = weigh_change(car, Change(spacers=only("right_rear", 24 * INCH)))
    assert outcome.then.lifted == "right_front"
    after = pads(outcome.then.weights)
    assert after.min() == 0
    assert moments(car, after) == pytest.approx(moments(car, pads(car.weights)), rel=1e-12)


@pytest.mark.parametrize("raised", [-1e5, -2000.0, -1.0, 0.0, 1.0, 2000.0, 1e5])
def test_three_pads_carry_what_total_and_moments_say(car, raised):
    after = pads_after(car, raised)
    assert (after.lifted is not None) == (abs(raised) > 5000)
    assert pads(after.weights).min() >= 0
    assert moments(car, pads(after.weights)) == pytest.approx(moments(car, pads(car.weights)))


def test_cross_weight_moves_and_rear_weight_does_not(car):
    then = weigh_change(car, Change(rollouts=only("left_rear", INCH))).then.weights
    assert then.cross_share > car.weights.cross_share
    assert then.rear_share == pytest.approx(car.weights.rear_share, rel=1e-12)
    # The left pads together change a little: the chassis leans to the right and takes weight along.
    gone = car.weights.left_share - then.left_share
    assert 2e-4 < gone < 6e-4


# Holding


def test_held_bite_is_within_half_a_step(car):
    rates = bite_rates(car)
    steps = {"front": rates.front * INCH / 8, "left_rear": rates.rear_turn / 4,
             "right_rear": rates.rear_turn / 4, "left_front": rates.front_turn / 4,
             "right_front": rates.front_turn / 4}  # fmt: skip
    for raised in (-60.0, -3.0, 0.0, 17.0, 200.0):
        for hold in holds(car, rates, raised, "either"):
            step = steps[hold.corner if hold.means == "jack" else "front"]
            assert abs(hold.left_over) <= 0.5 * step * (1 + 1e-9)
            assert hold.left_over == pytest.approx(raised + bite_change(car, rates, hold.change))


def test_holds_are_what_can_be_done(car):
    outcome = weigh_change(car, Change(rollouts=only("right_rear", 0.037)), hold="either")
    for hold in outcome.holds:
        eighths = hold.front_stagger / (INCH / 8)
        quarters = sum(hold.change.turns) / 0.25
        assert eighths == pytest.approx(round(eighths))
        assert quarters == pytest.approx(round(quarters))
        assert (hold.means == "front") == (not any(hold.change.turns))


@pytest.mark.parametrize("grown", [0.011, 0.024, 0.037, -0.05])
def test_no_other_hold_leaves_less_that_scales_could_tell(car, grown):
    outcome = weigh_change(car, Change(rollouts=only("right_rear", grown)), hold="either")
    left = [abs(hold.left_over) for hold in outcome.holds]
    assert left[0] <= min(left) + 2 * POUND
    assert {hold.means for hold in outcome.holds} == {"front", "jack"}
    held = outcome.held.weights.bite
    assert held == pytest.approx(car.weights.bite + outcome.holds[0].left_over)


def test_spacers_hold_where_there_are_no_jacks(car):
    no_jacks = replace(car, jack_thread=None)
    outcome = weigh_change(no_jacks, Change(rollouts=only("right_rear", INCH)), hold="jacks")
    assert outcome.holds[0].means == "spacer"
    spacers = outcome.holds[0].change.spacers
    assert spacers.left_rear + spacers.right_front > 0
    assert max(spacers) == sum(spacers)


def test_nothing_to_turn_is_said(car):
    bare = replace(car, springs=None, jack_thread=None)
    with pytest.raises(BiteError, match="--hold front"):
        weigh_change(bare, Change(rollouts=only("right_rear", INCH)), hold="jacks")
    assert weigh_change(bare, Change(rollouts=only("right_rear", INCH)), hold="either").holds


def test_smaller_rear_tires_turn_the_engine_faster(car):
    mean = car.rear.mean_rollout
    outcome = weigh_change(car, Change(rollouts=Corners(0, 0, -0.01 * mean, -0.01 * mean)))
    assert outcome.gear_change == pytest.approx(1 / 0.99 - 1)


def test_map_of_staggers_agrees_with_single_changes(car):
    rates = bite_rates(car)
    rear = car.rear.stagger + np.array([-1, 0, 2]) * INCH
    front = car.front.stagger + np.array([0, 0.5]) * INCH
    bites = bite_map(car, rates, rear, front)
    change = Change(rollouts=replace(NOTHING, right_front=0.5 * INCH, right_rear=2 * INCH))
    assert bites.shape == (2, 3)
    assert bites[0, 1] == pytest.approx(car.weights.bite)
    assert bites[1, 2] == pytest.approx(weigh_change(car, change).then.weights.bite)


# Learning


def made_sessions(
    car: Car,
    moves: list[tuple[float, float, float, float]],
    noise: float,
    seed: int,
    seated: list[bool] | None = None,
) -> list[ScaleSession]:
    """Sessions of a car that twists as its springs say; moves of rear and front stagger (in) and
    of left rear and right front jack (turns); noise in lb on each pad."""
    rng = np.random.default_rng(seed)
    sessions = []
    for i, (rear, front, left_rear, right_front) in enumerate(moves):
        rollouts = Corners(2.0, 2.0 + front * INCH, 2.1, 2.1 + rear * INCH)
        turns = Corners(0.0, right_front, left_rear, 0.0)
        driver = seated[i] if seated else True
        sitting = np.array([60.0, 20.0, 75.0, 25.0]) * POUND * driver
        loads = pads(car.weights) + np.array(moves[i]) @ loads_of_moves(car) + sitting
        loads += rng.normal(0, noise * POUND, 4)
        weights = Corners(*map(float, loads))
        sessions.append(ScaleSession(f"s{i + 1}", i + 2, driver, rollouts, turns, weights))
    return sessions


MOVES = [
    (2, 1, 0, 0), (3, 1, 0, 0), (2, 2, 0, 0), (2, 1, 2, 0), (2, 1, 0, 2),
    (3.5, 1.5, -1, 0), (1.5, 0.5, 0, -2), (2.5, 1, 1, 1),
]  # fmt: skip
NAMES = ("rear stagger", "front stagger", "rear jacks", "front jacks")


@lru_cache
def loads_of_moves(car: Car) -> np.ndarray:
    """Change of the pads with an inch, or a turn, of each of `NAMES`; statics is linear."""
    tires = [Change(rollouts=only(corner, INCH)) for corner in ("right_rear", "right_front")]
    jacks = [Change(turns=only(corner, 1.0)) for corner in ("left_rear", "right_front")]
    return np.array([stance(car, change).loads for change in (*tires, *jacks)])


def bites(sessions: list[ScaleSession]) -> np.ndarray:
    return np.array([session.weights.bite for session in sessions])


def truth(car: Car) -> dict[str, float]:
    rates = bite_rates(car)
    return dict(zip(NAMES, (rates.rear, rates.front, rates.rear_turn, rates.front_turn),
                    strict=True))  # fmt: skip


def test_perfect_pads_give_the_rates_back(lopsided):
    learned = learn_rates(lopsided, made_sessions(lopsided, MOVES, noise=0, seed=1))
    for name, rate in truth(lopsided).items():
        assert learned.rates[name].value == pytest.approx(rate, rel=1e-3)
    assert learned.next_session is not None  # eight sessions may agree by luck
    many = learn_rates(lopsided, made_sessions(lopsided, MOVES * 6, noise=0, seed=1))
    assert many.next_session is None


def test_driver_out_shifts_bite_and_not_the_rates(car):
    seated = [True, True, True, False, False, True, False, False]
    learned = learn_rates(car, made_sessions(car, MOVES, 0, 1, seated))
    for name, rate in truth(car).items():
        assert learned.rates[name].value == pytest.approx(rate, rel=1e-3)


def test_least_squares_interval_covers_the_truth_95_times_in_100(lopsided):
    trials = 3000
    covered = dict.fromkeys(NAMES, 0)
    true = truth(lopsided)
    for seed in range(trials):
        sessions = made_sessions(lopsided, MOVES, noise=2, seed=seed)
        fitted, _ = fit_rates(_Design.of(sessions, NAMES), bites(sessions))
        for name, rate in zip(NAMES, fitted, strict=True):
            unit = 1.0 if "jacks" in name else INCH
            covered[name] += abs(rate.value - true[name] * unit) <= rate.half_width
    # Four standard errors of a binomial share either way: too wide an interval fails as well.
    margin = 4 * np.sqrt(0.95 * 0.05 / trials)
    for name in NAMES:
        assert covered[name] / trials == pytest.approx(0.95, abs=margin), name


@pytest.mark.parametrize(("count", "noise"), [(4, 2.0), (4, 5.0), (6, 4.5), (8, 3.0)])
def test_few_sessions_are_not_surer_than_they_may_be(lopsided, count, noise):
    """Cars whose springs and heights are not what their file says, and pads of more or less
    scatter."""
    rng = np.random.default_rng(11)
    inside = total = 0
    for seed in range(150):
        factor = rng.normal(1.0, 0.3, 3).clip(0.3, 2.0)
        height, *centres = rng.uniform([15, 0, 4], [26, 6, 13]) * INCH
        springs = lopsided.springs
        true = replace(
            lopsided,
            cg_height=height,
            roll_center=tuple(centres),
            springs=replace(
                springs,
                front_wheel_rate=tuple(factor[0] * rate for rate in springs.front_wheel_rate),
                rear_rate=tuple(factor[1] * rate for rate in springs.rear_rate),
                rear_bar=factor[2] * springs.rear_bar,
            ),
        )
        moves = [(2, 1, 0, 0), (3, 1, 0, 0), (2, 2, 0, 0), (2, 1, 0, 0), *MOVES[5:]][:count]
        jacks_put = [(rear, front, 0, 0) for rear, front, *_ in moves]
        sessions = [replace(s, turns=None) for s in made_sessions(true, jacks_put, noise, seed)]
        for name, rate in learn_rates(lopsided, sessions).rates.items():
            inside += abs(rate.value - truth(true)[name]) <= rate.half_width
            total += 1
    assert inside / total >= 0.92


def test_four_sessions_that_agree_by_luck_are_not_sure_to_a_hair(lopsided):
    moves = [(2, 1, 0, 0), (3, 1, 0, 0), (2, 2, 0, 0), (3, 2, 0, 0)]
    sessions = [replace(s, turns=None) for s in made_sessions(lopsided, moves, 0, 1)]
    for rate in learn_rates(lopsided, sessions).rates.values():
        assert rate.half_width > 3 * POUND / INCH


def test_the_same_car_is_weighed_twice_before_anything_is_moved(lopsided):
    sessions = made_sessions(lopsided, MOVES[:2], 2, 1)
    assert learn_rates(lopsided, sessions).next_session == NextSession("s2", UNTOUCHED, 0.0)
    twice = made_sessions(lopsided, [*MOVES[:2], MOVES[1]], 2, 1)
    assert learn_rates(lopsided, twice).next_session.moved in NAMES


def test_pad_noise_is_recovered(car):
    noises = [learn_rates(car, made_sessions(car, MOVES, 2, seed)).pad_noise for seed in range(300)]
    assert np.sqrt(np.mean(np.square(noises))) / POUND == pytest.approx(2, rel=0.15)


def test_front_pads_would_tell_another_rate_than_the_rear_ones(car):
    # Which is why bite is read from the rear pads: a chassis that leans takes weight along.
    rear, front = loads_of_moves(car)[:2]
    widths = car.rear.track_width / car.front.track_width
    assert (rear[1] - rear[0]) / (rear[2] - rear[3]) > 1.2 * widths
    assert (front[1] - front[0]) / (front[2] - front[3]) < 0.8 * widths


def test_least_squares_agrees_with_the_certified_norris_values():
    # NIST Statistical Reference Datasets, linear regression, "Norris" (data from memory; the
    # certified values would not come out to ten digits from a wrong table).
    x = [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6,
         775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8,
         339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5]  # fmt: skip
    y = [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1,
         778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6,
         339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2]  # fmt: skip
    design = _Design(np.array(x)[:, None], np.ones(36, dtype=bool))
    (slope,), scatter = fit_rates(design, np.array(y))
    assert slope.value == pytest.approx(1.00211681802045, rel=1e-12)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-11)
    error = slope.half_width / stats.t.ppf(0.975, 34)
    assert error == pytest.approx(0.429796848199937e-3, rel=1e-10)


def test_staggers_that_always_moved_together_are_refused(car):
    moves = [(2, 1, 0, 0), (3, 2, 0, 0), (2, 1, 2, 0), (2, 1, 0, 2), (4, 3, 0, 1), (1, 0, 1, 0),
             (1, 0, 1, 0)]  # fmt: skip
    sessions = made_sessions(car, moves, 0, 1)
    learned = learn_rates(car, sessions)
    assert learned.tied == [["rear stagger", "front stagger"]]
    assert set(learned.rates) == {"rear jacks", "front jacks"}
    assert learned.rates["rear jacks"].value == pytest.approx(truth(car)["rear jacks"], rel=1e-3)
    assert learned.next_session.moved in learned.tied[0]


def test_a_sixteenth_of_tape_does_not_tell_two_staggers_apart(car):
    slop = [0.03, -0.02, 0.0, 0.03, -0.03, 0.02]
    moves = [(2 + i, 1 + i + error, 0, 0) for i, error in enumerate(slop)]
    learned = learn_rates(car, made_sessions(car, moves, 2, 1))
    assert learned.tied == [["rear stagger", "front stagger"]]
    assert learned.rates == {}


def run_next(sessions: list[ScaleSession], moves: list, run: NextSession) -> list:
    """The moves with the suggested session added."""
    start = list(moves[next(i for i, s in enumerate(sessions) if s.label == run.like)])
    if run.moved != UNTOUCHED:
        start[NAMES.index(run.moved)] += run.step
    return [*moves, tuple(start)]


@pytest.mark.parametrize(
    "moves",
    [
        [(2, 1, 0, 0), (3, 2, 0, 0), (4, 3, 0, 0)],
        [(2, 1, 0, 0)],
        [(2, 1, 0, 0), (3, 1, 2, 0), (2, 2, 0, 2), (3, 2, 2, 2)],
        [(2, 1, 0, 0), (3, 1, 0, 0), (2, 1, 2, 0)],
    ],
)
def test_running_the_suggested_sessions_leads_to_every_rate(car, moves):
    for _ in range(9):
        sessions = made_sessions(car, moves, 0, 1)
        learned = learn_rates(car, sessions)
        if learned.next_session is None:
            break
        moves = run_next(sessions, moves, learned.next_session)
    assert set(learned.rates) == set(NAMES)
    for name, rate in truth(car).items():
        assert learned.rates[name].value == pytest.approx(rate, rel=1e-3)


def test_what_never_moved_is_named(car):
    moves = [(2, 1, 0, 0), (3, 1, 0, 0), (2.5, 1, 0, 0), (1, 1, 0, 0)]
    learned = learn_rates(car, made_sessions(car, moves, 0, 1))
    assert learned.never_moved == list(NAMES[1:])
    assert learned.tied == []
    assert list(learned.rates) == ["rear stagger"]


def test_as_many_unknowns_as_sessions_give_no_figure(car):
    learned = learn_rates(car, made_sessions(car, MOVES[:3], 2, 1)[:2])
    assert learned.too_few
    assert learned.rates == {}
    assert learned.next_session is not None


def test_wrong_way_round_is_not_sure(car):
    moves = [(-r, -f, 0, 0) for r, f, *_ in MOVES]
    sessions = [
        replace(s, rollouts=Corners(s.rollouts[1], s.rollouts[0], s.rollouts[3], s.rollouts[2]))
        for s in made_sessions(car, moves, 0.2, 1)
    ]
    sessions = [replace(s, weights=Corners(*pads(s.weights)[[1, 0, 3, 2]])) for s in sessions]
    mirrored = learn_rates(car, sessions)
    assert mirrored.rates["rear stagger"].is_sure
    unmirrored = [s.rollouts for s in made_sessions(car, moves, 0, 1)]
    crossed = learn_rates(
        car, [replace(s, rollouts=r) for s, r in zip(sessions, unmirrored, strict=True)]
    )
    assert not crossed.rates["rear stagger"].is_sure


@pytest.mark.parametrize("seed", range(20))
def test_pad_noise_alone_does_not_make_weights_differ(car, seed):
    assert weights_that_differ(made_sessions(car, MOVES, 2, seed)) == []


@pytest.mark.parametrize(
    ("shift", "words"),
    [((0, 0, 15, 15), "total"), ((14, -14, 14, -14), "left"), ((-14, -14, 14, 14), "rear")],
)
def test_fuel_or_ballast_that_moved_is_found(car, shift, words):
    sessions = made_sessions(car, MOVES, 0, 1)
    heavier = Corners(*(pads(sessions[3].weights) + np.array(shift) * POUND))
    sessions[3] = replace(sessions[3], weights=heavier)
    found = weights_that_differ(sessions)
    assert {one.session.line for one in found} == {5}
    assert words in [one.what for one in found]
    assert all(abs(one.found - one.usual) > 20 * POUND for one in found)


def test_driver_in_and_out_are_compared_with_their_own(car):
    seated = [i % 2 == 0 for i in range(len(MOVES))]
    assert weights_that_differ(made_sessions(car, MOVES, 0, 1, seated)) == []


def test_every_order_of_sessions_teaches_the_same(car):
    sessions = made_sessions(car, MOVES, 2, 7)
    forward, backward = learn_rates(car, sessions), learn_rates(car, sessions[::-1])
    for name, which in product(NAMES, ("value", "half_width")):
        assert getattr(forward.rates[name], which) == pytest.approx(
            getattr(backward.rates[name], which), rel=1e-9
        )
