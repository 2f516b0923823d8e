"""Signs that a slip of the pen would turn, each held by hand."""

from dataclasses import replace

import numpy as np
import pytest
from ovals import demo_car, oval
from rollpath.corners import Corners
from rollpath.feel.lap import _twisted, stations_of, trim_lap
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import solve_lap
from rollpath.stagger import baseline, corrected
from rollpath.track import Condition
from rollpath.units import DEGREE, INCH, G

CAR = demo_car()
SURFACE = Condition("any", 0.9, 8.0, "middle")


def banked_lap(bank=12 * DEGREE):
    return solve_lap(parallel_groove(oval(60.0, 0.0, bank=bank), 5.0, stations=60), CAR, SURFACE)


def test_at_rest_on_a_bank_the_weight_pulls_the_car_down_to_the_left():
    # Free body on an incline (any statics text): with the outside higher, g sin b down the slope;
    # to stand still the tires must push it right, as if it accelerated so.
    lap = banked_lap()
    at = stations_of(lap, CAR, SURFACE, np.array([[2 * INCH]]))
    assert at.a_y_at_rest == pytest.approx(np.full(60, -G * np.sin(12 * DEGREE)))
    rest, flat = at.loads_at_rest, CAR.weights
    lean_at_rest = (rest.left_rear - rest.right_rear)[0]
    assert lean_at_rest > (flat.left_rear - flat.right_rear) * np.cos(12 * DEGREE)
    # At the speed at which the bank carries the turn by itself nothing is asked across.
    balanced = np.sqrt(G * np.tan(12 * DEGREE) / lap.groove.curvature[0])
    across = balanced**2 * at.turn + at.a_y_at_rest
    assert across == pytest.approx(np.zeros(60), abs=1e-9)


def test_bite_put_in_loads_left_rear_and_right_front_and_keeps_each_side_and_end():
    # Statics: a twist moves load along one diagonal on to the other.
    weights = Corners(3600.0, 3300.0, 3700.0, 3450.0)
    twisted = _twisted(weights, np.array([200.0]))
    assert twisted.left_rear - weights.left_rear == pytest.approx(100.0)
    assert twisted.right_rear - weights.right_rear == pytest.approx(-100.0)
    assert twisted.right_front - weights.right_front == pytest.approx(100.0)
    assert twisted.left_front - weights.left_front == pytest.approx(-100.0)
    assert twisted.left_share == pytest.approx(weights.left_share)
    assert twisted.rear_share == pytest.approx(weights.rear_share)


def test_tires_that_grow_apart_run_with_more_stagger_than_was_taped():
    lap, taped = banked_lap(), np.array([[2 * INCH]])
    grown = replace(CAR, tire=replace(CAR.tire, growth=0.25 * INCH))
    at = stations_of(lap, grown, SURFACE, taped)
    assert at.right_rollout - at.left_rollout == pytest.approx(taped + 0.25 * INCH)
    # So a quarter less on the tape feels as the same car whose tires do not grow.
    plain = trim_lap(lap, CAR, SURFACE, [2 * INCH]).fitted.steer
    cold = trim_lap(lap, grown, SURFACE, [1.75 * INCH]).fitted.steer
    assert cold == pytest.approx(plain, abs=1e-6)


def test_what_the_nights_teach_is_put_on_the_physics_not_taken_off():
    result = baseline(oval(60.0, 90.0, width=14.0), CAR, groove="middle", window=(0.0, 9 * INCH))
    more = corrected(result, 0.5 * INCH)
    assert more.stagger.unbounded - result.stagger.unbounded == pytest.approx(0.5 * INCH)
    assert more.stagger.optimum - result.stagger.optimum == pytest.approx(0.5 * INCH)
    assert more.stagger.recommended > result.stagger.recommended
    for after, before in zip(more.stagger.band, result.stagger.band, strict=True):
        assert after - before == pytest.approx(0.5 * INCH)
    assert more.then.slip.mean() > result.then.slip.mean()


@pytest.mark.parametrize("grip", [0.5, 0.8])
def test_off_a_corner_the_tires_not_the_engine_hold_a_strong_car_back(grip):
    # Grip circle (Milliken and Milliken ch. 9): no power makes more force than the tires hold.
    strong = replace(CAR, power=4.0 * CAR.power)
    surface = replace(SURFACE, grip=grip)
    lap = solve_lap(parallel_groove(oval(40.0, 120.0), 5.0), strong, surface)
    force = np.hypot(lap.thrust / strong.mass, lap.a_y)
    assert (force < 1.02 * grip * lap.load).all()
    rear = lap.wheels.left_rear + lap.wheels.right_rear
    share = strong.weights.rear_share
    used = np.hypot(lap.drive, share * strong.mass * lap.a_y) / (grip * rear)
    assert np.quantile(used, 0.98) < 1.03


def test_a_tail_heavy_tall_car_makes_no_more_thrust_than_all_its_weight_can_grip():
    # Where the rear has picked up the whole car the front is off the ground, and the rear's grip
    # is that of the whole weight: F = mu m g at most (Gillespie ch. 2, traction-limited).
    weights = Corners(1600.0, 1600.0, 5400.0, 5400.0)
    car = replace(CAR, cg_height=1.0, weights=weights, power=5.0 * CAR.power)
    surface = replace(SURFACE, grip=1.1)
    lap = solve_lap(parallel_groove(oval(40.0, 150.0), 5.0), car, surface)
    assert lap.thrust.max() > 0.9 * 1.1 * car.mass * G
    force = np.hypot(lap.thrust / car.mass, lap.a_y)
    assert (force < 1.005 * 1.1 * lap.load).all()
