"""Any oval and any car in the ranges of dirt racing: finite figures or a clear reason."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath import baseline, load_car
from rollpath.car import Axle
from rollpath.corners import Corners
from rollpath.feel.lap import trim_lap
from rollpath.groove.lay import make_groove
from rollpath.groove.path import SPARE
from rollpath.lap import LapError
from rollpath.scales.hold import weigh_change
from rollpath.scales.rates import stagger_effect
from rollpath.scales.twist import Change
from rollpath.stagger import baseline as worked_out
from rollpath.track import CONDITIONS, Bank, Track, TrackError, check_track
from rollpath.units import DEGREE, FOOT, INCH, POUND

CAR = load_car("cars/number-31.yaml")


def feet(low, high):
    return st.floats(low, high).map(lambda value: value * FOOT)


@st.composite
def ovals(draw):
    """Tracks of 60 to 800 ft radius, 0 to 1,500 ft straights and 0 to 35 deg bank."""
    R_1 = draw(feet(60, 800))
    R_2 = draw(st.one_of(st.just(R_1), feet(60, 800)))
    straight = draw(feet(0, 1500))
    track = Track(
        "drawn",
        (R_1, R_2),
        straight,
        width=draw(feet(25, 59)),
        bow=draw(st.one_of(st.just(0.0), st.floats(0, 0.12).map(lambda share: share * straight))),
        bank=Bank(draw(st.floats(0, 35)) * DEGREE, draw(st.floats(0, 8)) * DEGREE),
        blend=draw(feet(0, 120)),
    )
    try:
        check_track(track)
    except TrackError as error:
        assert error.key and str(error)
        return None
    return track


@st.composite
def cars(draw):
    """Cars of 800 to 4,000 lb that stand on four wheels."""
    total = draw(st.floats(800, 4000)) * POUND
    left, rear, bite = (
        draw(st.floats(*span)) for span in ((0.46, 0.58), (0.44, 0.62), (-0.05, 0.08))
    )
    weights = Corners(
        total * (left * (1 - rear) - bite / 4), total * ((1 - left) * (1 - rear) + bite / 4),
        total * (left * rear + bite / 4), total * ((1 - left) * rear - bite / 4),
    )  # fmt: skip
    rollout = draw(st.floats(60, 92)) * INCH
    stagger = draw(st.floats(-1, 6)) * INCH
    return replace(
        CAR,
        weights=weights,
        rear=Axle(CAR.rear.track_width, rollout - stagger / 2, rollout + stagger / 2),
        power=draw(st.floats(30, 900)) * 745.7,
        cg_height=draw(st.floats(9, 24)) * INCH,
    )


CASES = {
    "track": ovals(), "car": cars(), "condition": st.sampled_from(list(CONDITIONS)),
}  # fmt: skip
DRAWS = settings(max_examples=60, deadline=None)


@DRAWS
@given(**CASES, groove=st.sampled_from(["low", "middle", "high"]))
def test_a_baseline_is_finite_and_its_invariants_hold(track, car, condition, groove):
    if track is None:
        return
    try:
        result = baseline(track, car, condition, groove)
    except LapError as error:
        assert "check power" in str(error)
        return
    best, lap = result.stagger, result.lap
    told = (best.recommended, best.unbounded, best.least_scrub, best.spread, lap.time)
    for value in (
        *told,
        best.quickest,
        best.even_drive,
        *best.loaded_corner,
        *best.geometric_corner,
    ):
        assert np.isfinite(value)
    low, high = best.window
    assert low <= best.optimum <= high and low <= best.recommended <= high
    assert best.band[0] <= best.optimum <= best.band[1]
    assert result.now.corners >= 0 and result.now.straights >= 0
    assert np.all(lap.speed > 0) and np.all(np.isfinite(lap.thrust))
    carried = lap.wheels.total
    assert np.allclose(carried, car.mass * lap.load, rtol=1e-9)
    turned = np.sum(result.groove.curvature * result.groove.ds)
    assert np.isclose(turned, 2 * np.pi, atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(track=ovals(), groove=st.sampled_from(["rounded", "diamond"]))
def test_a_free_groove_stays_between_the_edges(track, groove):
    if track is None:
        return
    path = make_groove(track, groove, CAR.width)
    spare = 0.5 * CAR.width + SPARE - 1e-6
    assert np.all(path.offset >= spare) and np.all(path.offset <= track.width - spare)
    assert np.all(np.isfinite(path.curvature)) and np.all(path.ds > 0)


@DRAWS
@given(track=ovals(), car=cars(), grip=st.floats(0.3, 1.2), more=st.floats(0.01, 0.3))
def test_more_grip_is_never_slower(track, car, grip, more):
    if track is None:
        return
    state = "tacky"
    try:
        slow = baseline(track, car, state, "middle", grip=grip).lap
        fast = baseline(track, car, state, "middle", grip=grip + more).lap
    except LapError:
        return
    assert fast.time <= slow.time * (1 + 1e-4)


def leaning(weights, car):
    """Moment of the pads about the middle of the car, to the left, N m."""
    front = (weights.left_front - weights.right_front) * car.front.half_track
    return front + (weights.left_rear - weights.right_rear) * car.rear.half_track


@DRAWS
@given(
    car=cars(),
    change=st.lists(st.floats(-2, 2), min_size=4, max_size=4),
    jacks=st.lists(st.floats(-4, 4), min_size=4, max_size=4),
)
def test_a_change_moves_no_weight_off_the_car(car, change, jacks):
    raised = Change(rollouts=Corners(*(one * INCH for one in change)), turns=Corners(*jacks))
    low = replace(car, cg_height=0.0, roll_center=(0.0, 0.0))  # one that leans takes weight along
    outcome = weigh_change(low, raised)
    now, then = outcome.now.weights, outcome.then.weights
    assert np.isclose(weigh_change(car, raised).then.weights.total, now.total, rtol=1e-9)
    assert np.isclose(then.total, now.total, rtol=1e-9)
    if outcome.then.lifted is None:
        assert np.isclose(leaning(then, car), leaning(now, car), rtol=1e-9, atol=1e-6)
        assert np.isclose(then.rear_share, now.rear_share, rtol=1e-9)


@DRAWS
@given(car=cars(), change=st.one_of(st.floats(0.01, 4), st.floats(-4, -0.01)))
def test_holding_bite_adds_front_stagger_when_rear_is_added(car, change):
    effect = stagger_effect(car, change * INCH)
    assert np.sign(effect.hold_front) == np.sign(change)


@settings(max_examples=15, deadline=None)
@given(track=ovals(), car=cars(), condition=st.sampled_from(list(CONDITIONS)))
def test_the_trim_is_found_or_said_to_be_lost(track, car, condition):
    if track is None:
        return
    try:
        lap = worked_out(track, car, condition, "middle", stations=120).lap
    except LapError:
        return
    feel = trim_lap(lap, car, track.condition(condition), np.array([1.0, 3.0]) * INCH)
    lost = np.isnan(feel.steering_wheel)
    assert np.mean(lost) < 0.05
    assert np.all(np.isfinite(feel.steering_wheel[~lost]))
