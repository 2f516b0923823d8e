"""Scrub around a lap."""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ovals import DEMO_TRACKS, GRIPPY, demo_car, demo_track, oval
from rollpath.axle.rolling import needed_stagger
from rollpath.axle.scrub import scrub_distance, tire_slips
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import PHASES, solve_lap
from rollpath.tire import brush_force
from rollpath.units import FOOT, INCH
from scipy.integrate import quad

CAR = demo_car()
M, T = CAR.rear.mean_rollout, CAR.rear.track_width


@cache
def case(track_name, tire_load=True):
    track = demo_track(track_name)
    lap = solve_lap(make_groove(track, "middle", CAR.width), CAR, track.condition("heavy"))
    return lap, needed_stagger(lap, CAR, tire_load)


def test_on_a_circle_the_needed_stagger_scrubs_nothing():
    lap = solve_lap(parallel_groove(oval(60.0, 0.0), 5.0), CAR, GRIPPY)
    needed = needed_stagger(lap, CAR)
    assert scrub_distance(lap, needed, float(needed.total[0])).lap < 1e-3


def test_on_a_circle_scrub_is_mismatch_over_rollout_times_length():
    # By hand: half an inch too much on an 85 in rollout slides 0.5 / 85 of the way.
    lap = solve_lap(parallel_groove(oval(60.0, 0.0), 5.0), CAR, GRIPPY)
    needed = needed_stagger(lap, CAR)
    scrub = scrub_distance(lap, needed, float(needed.total[0]) + 0.5 * INCH)
    assert scrub.lap == pytest.approx(0.5 / 85 * 2 * np.pi * 65.0, rel=1e-4)
    assert scrub.corners == pytest.approx(scrub.lap)


@pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
@given(stagger=st.floats(-1.0, 6.0))
def test_corners_and_straights_and_phases_add_up(track, stagger):
    scrub = scrub_distance(*case(track), stagger * INCH)
    assert scrub.corners + scrub.straights == scrub.lap
    assert sum(scrub.by_phase.values()) == pytest.approx(scrub.lap, rel=1e-12)
    assert set(scrub.by_phase) == set(PHASES)
    assert min(scrub.by_phase.values()) >= 0


def test_without_stagger_a_flat_lap_slides_the_difference_of_its_two_wheel_paths():
    # Parallel curves a track width apart differ by 2 pi T over one turn (Steiner); with equal
    # tires all of it is slid, every foot the same way.
    track = oval(45.0, 90.0)
    lap = solve_lap(make_groove(track, "middle", CAR.width), CAR, GRIPPY)
    scrub = scrub_distance(lap, needed_stagger(lap, CAR, tire_load=False), 0.0)
    assert scrub.lap == pytest.approx(2 * np.pi * T, rel=1e-9)
    assert (scrub.slip <= 1e-12).all()


def test_with_stagger_a_straight_slides_its_share():
    track = oval(45.0, 90.0, blend=0.0)
    lap = solve_lap(make_groove(track, "middle", CAR.width), CAR, GRIPPY)
    scrub = scrub_distance(lap, needed_stagger(lap, CAR, tire_load=False), 2 * INCH)
    assert scrub.straights == pytest.approx(2 * INCH / M * 180.0, rel=0.02)


def test_scrub_is_the_integral_of_slip_by_another_rule():
    lap, needed = case("Saucer Hill")
    s, lap_length = lap.groove.s, float(lap.groove.length)
    stagger = 2 * INCH

    def slid(at):
        return abs(stagger - np.interp(at, s, needed.total, period=lap_length)) / M

    pieces = np.linspace(0, lap_length, 41)
    total = sum(quad(slid, a, b, limit=200, epsabs=1e-4)[0] for a, b in pairwise(pieces))
    assert scrub_distance(lap, needed, stagger).lap == pytest.approx(total, rel=2e-3)


def test_far_too_much_stagger_scrubs_more():
    lap, needed = case("Ropewalk")
    feet = [scrub_distance(lap, needed, s * INCH).lap / FOOT for s in (2, 3, 4, 5)]
    assert feet == sorted(feet)


def test_a_sweep_of_staggers_equals_one_by_one():
    lap, needed = case("Two Ponds")
    staggers = np.linspace(1, 3, 5) * INCH
    swept = scrub_distance(lap, needed, staggers)
    for i, stagger in enumerate(staggers):
        alone = scrub_distance(lap, needed, float(stagger))
        assert swept.lap[i] == pytest.approx(alone.lap, rel=1e-12)
        assert swept.by_phase["centre"][i] == pytest.approx(alone.by_phase["centre"], rel=1e-12)


# How the slip falls on the two tires


@pytest.mark.parametrize("mismatch", [-0.5 * INCH, 0.5 * INCH])
def test_slips_of_the_two_tires_differ_by_the_slip_between_the_treads(mismatch):
    # Kinematics: one axle speed, so each tread slides by what its own path leaves of it.
    lap, needed = case("Saucer Hill")
    slip = scrub_distance(lap, needed, mismatch + float(np.median(needed.total))).slip
    left, right = tire_slips(lap, slip)
    assert np.ptp(slip) > 0
    assert right - left == pytest.approx(slip, rel=1e-12)


@pytest.mark.parametrize("mismatch", [-0.5, 0.5])
def test_the_two_tires_push_alike_and_opposite(mismatch):
    # Small slip of the brush tire (Pacejka, Tire and Vehicle Dynamics, ch. 3): a tire's push is
    # C times its slip times its load. Here of the whole brush tire, at a slip small enough.
    lap, _ = case("Saucer Hill")
    slip = np.full_like(lap.speed, mismatch * 1e-6)
    left, right = tire_slips(lap, slip)
    pushes = [
        brush_force(tire, 0.0, load, 0.9, 8.0)[0]
        for tire, load in ((left, lap.wheels.left_rear), (right, lap.wheels.right_rear))
    ]
    assert np.abs(pushes[0]).min() > 0
    assert pushes[1] == pytest.approx(-pushes[0], rel=1e-4)


def test_more_stagger_than_needed_drives_the_right_tire_and_less_drives_the_left():
    # Design section 2: positive mismatch steers left, so the right tire pushes forward.
    lap, _ = case("Saucer Hill")
    for sign in (1.0, -1.0):
        left, right = tire_slips(lap, np.full_like(lap.speed, sign * 0.01))
        assert (np.sign(right) == sign).all()
        assert (np.sign(left) == -sign).all()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_lighter_tire_slides_more(sign):
    # Equal pushes, so slip goes inversely with load (Pacejka ch. 3, small slip).
    lap, _ = case("Ropewalk")
    left, right = tire_slips(lap, np.full_like(lap.speed, sign * 0.01))
    left_lighter = lap.wheels.left_rear < lap.wheels.right_rear
    assert left_lighter.any() and not left_lighter.all()
    assert ((np.abs(left) > np.abs(right)) == left_lighter).all()
