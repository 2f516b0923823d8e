"""The car on its scale pads, and the brush tire."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ovals import demo_car
from rollpath.car import Springs, axle_roll_stiffness
from rollpath.corners import Corners
from rollpath.tire import brush_grip_used, brush_slip
from rollpath.typical import typical
from rollpath.units import INCH, POUND

share_of_grip = st.floats(0.0, 0.999)
grip = st.floats(0.1, 1.5)
stiffness = st.floats(2.0, 30.0)


def test_scale_figures_are_the_trades_own():
    # Definitions of design.md section 1: bite is LR - RR, cross is (LR + RF) / total.
    weights = Corners(*(w * POUND for w in (812, 741, 838, 779)))
    assert weights.total / POUND == pytest.approx(3170)
    assert weights.bite / POUND == pytest.approx(59)
    assert weights.cross_share == pytest.approx((838 + 741) / 3170)
    assert weights.left_share == pytest.approx((812 + 838) / 3170)
    assert weights.rear_share == pytest.approx((838 + 779) / 3170)


def test_stagger_is_right_minus_left():
    rear = demo_car().rear
    assert rear.stagger == pytest.approx(2.5 * INCH)
    assert rear.mean_rollout == pytest.approx(85 * INCH)


@given(share_of_grip, grip, stiffness)
def test_brush_slip_is_the_inverse_of_grip_used(used, mu, C):
    assert brush_grip_used(brush_slip(used, mu, C), mu, C) == pytest.approx(used, abs=1e-9)


@given(grip, stiffness)
def test_brush_tire_starts_at_its_stiffness_and_slides_whole_at_three_mu_over_c(mu, C):
    # Pacejka, Tire and Vehicle Dynamics, sec. 3.2: initial slope C, full sliding at 1 / theta.
    small = 1e-6
    assert mu * brush_grip_used(small, mu, C) / small == pytest.approx(C, rel=1e-4)
    assert brush_grip_used(3 * mu / C, mu, C) == pytest.approx(1.0)
    assert brush_grip_used(5 * mu / C, mu, C) == 1.0
    assert brush_grip_used(2.9 * mu / C, mu, C) < 1.0


@pytest.mark.parametrize("slip", [0.02, 0.1, 0.2, 0.3])
def test_brush_tire_is_the_sum_of_its_bristles(slip):
    # Pacejka sec. 3.2.1 from the ground up: bristles bend as they cross the patch, until the
    # parabolic pressure no longer holds them.
    mu, C = 0.8, 8.0
    x = (np.arange(20000) + 0.5) / 20000  # from the leading edge, in patch lengths
    pressure = 6 * x * (1 - x)  # per unit load
    force = np.minimum(2 * C * slip * x, mu * pressure).mean()
    assert mu * brush_grip_used(slip, mu, C) == pytest.approx(force, rel=1e-4)


def test_roll_stiffness_of_springs_is_half_rate_times_base_squared():
    # Gillespie, Fundamentals of Vehicle Dynamics, ch. 6: K = k s^2 / 2.
    car = demo_car()
    stiff_tires = replace(car, tire=replace(car.tire, spring_rate=1e12))
    K_f, K_r = axle_roll_stiffness(stiff_tires)
    k_f, k_r = car.springs.front_wheel_rate[0], car.springs.rear_rate[0]
    assert K_f == pytest.approx(0.5 * k_f * car.front.track_width**2, rel=1e-5)
    assert K_r == pytest.approx(0.5 * k_r * car.springs.rear_base**2, rel=1e-5)


def test_bars_add_and_soft_tires_take_away_roll_stiffness():
    car = demo_car()
    barred = replace(car, springs=replace(car.springs, front_bar=1e4))
    assert barred.front_roll_share > car.front_roll_share
    soft = replace(car, tire=replace(car.tire, spring_rate=0.5 * car.tire.spring_rate))
    assert axle_roll_stiffness(soft)[0] < axle_roll_stiffness(car)[0]


def test_a_pair_of_unequal_springs_rolls_about_the_stiffer():
    # Energy of two springs under a couple: series of the two, times the base squared.
    car = demo_car()
    springs = Springs((2e4, 6e4), (2e4, 2e4), 1.1)
    rigid = replace(car, springs=springs, tire=replace(car.tire, spring_rate=1e15))
    angle, T = 0.01, car.front.track_width
    heave = np.linspace(-0.05, 0.05, 200001)  # the body settles where the energy is least
    energy = 0.5 * 2e4 * (heave - angle * T / 2) ** 2 + 0.5 * 6e4 * (heave + angle * T / 2) ** 2
    assert axle_roll_stiffness(rigid)[0] == pytest.approx(2 * energy.min() / angle**2, rel=1e-5)


def test_without_springs_the_front_takes_the_default_share():
    car = replace(demo_car(), springs=None)
    assert car.front_roll_share == typical("springs")
    with pytest.raises(ValueError, match="no springs"):
        axle_roll_stiffness(car)
