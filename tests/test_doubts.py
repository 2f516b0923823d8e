"""How sure an answer is: the truth lies within the give-or-take nine times in ten."""

from dataclasses import replace

import numpy as np
import pytest
from ovals import demo_car, demo_track
from rollpath.axle.rolling import needed_stagger
from rollpath.doubts import (
    BENT,
    GRIP_DOUBT,
    IDLE,
    LINE_DOUBT,
    NINE_IN_TEN,
    STIFFNESS_DOUBT,
    TAPE_DOUBT,
    give_or_take,
    surface_varied,
    track_tolerances,
    track_varied,
    varied,
)
from rollpath.files.cars import car_from_values
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import solve_lap
from rollpath.stagger import baseline, recommend
from rollpath.typical import unsure
from rollpath.units import INCH
from scipy.stats import norm

CAR = demo_car()
UNKNOWN = car_from_values({"name": "of which only the name is known"})
TRUTHS = 1000


def truths(rng, track, car, surface):
    """Cars, surfaces and tracks drawn from the doubts, all of them moved at once; TRUTHS cases."""

    def drawn(sd):
        return rng.normal(0.0, sd, TRUTHS)

    for key, doubt in unsure(car.assumed):
        taped = key.startswith("rear.") and key.endswith("rollout") and key not in car.assumed
        if key not in IDLE and not taped:
            car = varied(car, key, drawn(doubt))
    for name, share in (("grip", GRIP_DOUBT), ("slip_stiffness", STIFFNESS_DOUBT)):
        surface = surface_varied(surface, name, drawn(share))
    for name, tolerance in track_tolerances(track).items():
        track = track_varied(track, name, drawn(tolerance / NINE_IN_TEN))
    return track, car, surface, drawn(LINE_DOUBT), drawn(np.sqrt(2.0) * TAPE_DOUBT)


@pytest.mark.parametrize("car", [CAR, UNKNOWN], ids=lambda car: car.name)
@pytest.mark.parametrize(
    ("name", "condition"), [("Saucer Hill", "heavy"), ("Ropewalk", "slick"), ("Two Ponds", "tacky")]
)
def test_the_truth_is_within_the_give_or_take_ninety_times_in_a_hundred(name, condition, car):
    """Monte Carlo with its seed: whole laps of drawn truths against the root of the squares.

    Of 1,000 a fair 90 % scatters by 1; two of those either way are let pass.
    """
    track, rng = demo_track(name), np.random.default_rng(20261126)
    told = baseline(track, car, condition, "middle", stations=360)
    sure = give_or_take(told)
    there, driven, surface, out, taped = truths(rng, track, car, told.condition)
    groove = parallel_groove(there, 0.5 * there.width + out, stations=180)
    lap = solve_lap(groove, driven, surface)
    best = recommend(lap, needed_stagger(lap, driven), driven, surface).unbounded
    off = best + taped - told.stagger.unbounded
    within = np.mean(np.abs(off) <= sure.total)
    assert 0.88 <= within <= 0.92
    assert abs(np.mean(off)) < 0.25 * sure.sd


def test_nine_in_ten_is_that_of_a_normal_error():
    # Standard normal distribution, scipy.stats.norm: the 95th percentile.
    assert pytest.approx(norm.ppf(0.95), abs=5e-4) == NINE_IN_TEN


def test_the_total_is_the_root_of_the_squares_and_the_largest_comes_first():
    # JCGM 100:2008, 5.1.2: law of propagation of uncertainty for independent inputs.
    sure = give_or_take(baseline(demo_track("Ropewalk"), CAR, "heavy", "middle"))
    worths = [doubt.worth for doubt in sure.doubts]
    assert sure.total**2 == pytest.approx(BENT**2 * sum(worth**2 for worth in worths))
    assert worths == sorted(worths, reverse=True)
    tape = next(doubt for doubt in sure.doubts if doubt.name == "tape")
    assert tape.worth == pytest.approx(np.sqrt(2) * INCH / 16)


@pytest.mark.parametrize("groove", ["middle", "rounded"])
def test_each_share_of_the_track_is_what_moving_that_measurement_does(groove):
    # Against two whole baselines a little to either side.
    track = demo_track("Saucer Hill")
    shares = {
        one.name: one.worth for one in give_or_take(baseline(track, CAR, "tacky", groove)).doubts
    }
    for name, tolerance in track_tolerances(track).items():
        up, down = (
            baseline(track_varied(track, name, side * tolerance), CAR, "tacky", groove)
            for side in (0.5, -0.5)
        )
        moved = abs(float(up.stagger.unbounded - down.stagger.unbounded))
        assert shares[name] == pytest.approx(moved, rel=0.2, abs=0.02 * INCH)


def test_what_is_measured_makes_the_answer_surer():
    track = demo_track("Ropewalk")
    unknown = give_or_take(baseline(track, UNKNOWN, "heavy", "middle"))
    assert len(unknown.assumed) > 20
    largest = unknown.assumed[0].name
    known = replace(UNKNOWN, assumed=UNKNOWN.assumed - {largest})
    surer = give_or_take(baseline(track, known, "heavy", "middle"))
    assert surer.total < unknown.total
    assert largest not in {doubt.name for doubt in surer.assumed}
    tolerance = track.measured_to
    near = replace(tolerance, inside_radius=0.2 * tolerance.inside_radius, straight=0.5)
    closer = replace(track, tolerance=near)
    assert (
        give_or_take(baseline(closer, CAR, "heavy", "middle")).total
        < give_or_take(baseline(track, CAR, "heavy", "middle")).total
    )


def test_a_sweep_has_no_one_give_or_take():
    track = demo_track("Ropewalk")
    swept = baseline(replace(track, straight=track.straight * np.array([0.9, 1.1])), CAR, "heavy")
    with pytest.raises(ValueError, match="case by case"):
        give_or_take(swept)


def test_every_key_of_a_car_can_be_moved_and_only_that_changes():
    for key, doubt in unsure(frozenset()):
        if key in IDLE:
            continue
        moved = varied(UNKNOWN, key, doubt)
        assert moved != UNKNOWN
        assert varied(moved, key, -doubt).mass == pytest.approx(UNKNOWN.mass)


def test_a_lap_of_half_the_stations_tells_the_same_give_or_take():
    track = demo_track("Two Ponds")
    result = baseline(track, CAR, "heavy", "middle")
    fine = make_groove(track, "middle", CAR.width, 720)
    lap = solve_lap(fine, CAR, result.condition)
    for key in ("cg_height", "pressure.right_rear"):
        share = next(one for one in give_or_take(result).doubts if one.name == key)
        doubt = dict(unsure(CAR.assumed))[key]
        ends = []
        for side in (doubt, -doubt):
            other = varied(CAR, key, side)
            lap = solve_lap(fine, other, result.condition)
            ends.append(
                recommend(lap, needed_stagger(lap, other), other, result.condition).unbounded
            )
        assert share.worth == pytest.approx(NINE_IN_TEN * abs(ends[0] - ends[1]) / 2, rel=0.1)
