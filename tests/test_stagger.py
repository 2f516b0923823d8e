"""The recommendation."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ovals import (
    CONDITION_NAMES,
    DEMO_CARS,
    DEMO_TRACKS,
    demo_car,
    demo_track,
    laid,
    one_case,
    oval,
    ovals,
    shaped,
    spread_of_cars,
    wanted,
)
from rollpath.axle.rolling import needed_stagger
from rollpath.groove.path import FASTEST, GROOVES
from rollpath.lap import solve_lap
from rollpath.lever import lever
from rollpath.stagger import BAND, baseline, recommend
from rollpath.track import Bank, TrackError
from rollpath.units import DEGREE, EIGHTH, FOOT, INCH
from scipy.optimize import minimize_scalar

CAR = demo_car()
M, T = CAR.rear.mean_rollout, CAR.rear.track_width
WIDE = (-10 * INCH, 20 * INCH)


@cache
def found(track_name, condition="heavy", groove="middle"):
    return baseline(demo_track(track_name), CAR, condition, groove)


# Closed forms


@pytest.mark.parametrize("radius", [25.0, 45.0, 80.0])
@pytest.mark.parametrize("straight", [0.0, 40.0, 120.0, 300.0])
@pytest.mark.parametrize("groove", ["low", "high"])
def test_on_the_flat_least_scrub_is_rollout_times_two_pi_track_width_over_lap(
    radius, straight, groove
):
    # Closed form of design.md 4.5: the mean of M T k over a lap, and k turns 2 pi in all.
    track = oval(radius, straight, width=12.0)
    result = baseline(track, CAR, groove=groove, tire_load=False, window=WIDE)
    expected = M * 2 * np.pi * T / result.groove.length
    assert result.stagger.least_scrub == pytest.approx(expected, rel=1e-9)


@settings(deadline=None, max_examples=25)
@given(ovals(flat=True))
def test_the_closed_form_holds_on_any_flat_oval(track):
    result = baseline(track, CAR, groove="middle", tire_load=False)
    expected = M * 2 * np.pi * T / result.groove.length
    assert result.stagger.least_scrub == pytest.approx(expected, rel=1e-9)


def test_the_closed_form_holds_on_a_rounded_groove_too():
    track = oval(60.0, 90.0, bow=3.0, width=15.0)
    result = baseline(track, CAR, groove="rounded", tire_load=False)
    expected = M * 2 * np.pi * T / result.groove.length
    assert result.stagger.least_scrub == pytest.approx(expected, rel=1e-9)


def test_corner_centres_need_rollout_times_track_width_over_radius():
    # Locked axle: S = M T cos b / R at each end.
    track = oval(200 * FOOT, 320 * FOOT, second=150 * FOOT, width=50 * FOOT, bank=12 * DEGREE)
    result = baseline(track, CAR, groove="middle")
    for ours, R in zip(result.stagger.geometric_corner, track.inside_radius, strict=True):
        expected = M * T * np.cos(12 * DEGREE) / (R + 25 * FOOT)
        assert ours == pytest.approx(expected, rel=0.01)


def test_on_a_circle_everything_wants_the_same():
    result = baseline(oval(60.0, 0.0), CAR, groove="middle", window=WIDE)
    best = result.stagger
    for value in (
        best.unbounded,
        best.least_scrub,
        best.even_drive,
        best.quickest,
        *best.loaded_corner,
    ):
        assert value == pytest.approx(best.optimum, abs=0.002 * INCH)
    assert best.spread < 0.002 * INCH


# The optimum


@pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
@pytest.mark.parametrize("emphasis", [0.0, 0.4, 1.0])
def test_the_optimum_is_that_of_brute_force(track, emphasis):
    # The cost of design.md 4.5, written out, over staggers 0.002 in apart.
    result = found(track)
    lap, needed, surface = result.lap, result.needed, result.condition
    N_L, N_R = lap.wheels.left_rear, lap.wheels.right_rear
    costly = lever(lap, CAR, surface) * N_L * N_R / (N_L + N_R)
    ds = lap.groove.ds
    weight = emphasis * lap.drive / np.average(lap.drive, weights=ds)
    weight = weight + (1 - emphasis) * costly / np.average(costly, weights=ds)
    staggers = np.arange(0.0, 5.0, 0.002) * INCH
    mismatch = staggers[:, None] - needed.total
    cost = (weight * mismatch**2 * ds).sum(axis=1) / (weight * ds).sum()
    best = recommend(lap, needed, CAR, surface, emphasis, WIDE)
    assert best.optimum == pytest.approx(staggers[cost.argmin()], abs=0.0011 * INCH)
    assert best.cost(staggers) ** 2 == pytest.approx(cost, rel=1e-6)
    by_scipy = minimize_scalar(lambda s: float(best.cost(s)), bounds=(0, 5 * INCH)).x
    assert by_scipy == pytest.approx(best.optimum, abs=1e-3 * INCH)


@pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
def test_the_time_lost_to_scrub_is_that_of_laps_with_its_drag_in_them(track):
    result = found(track)
    best, lap, needed = result.stagger, result.lap, result.needed
    N_L, N_R = lap.wheels.left_rear, lap.wheels.right_rear
    K = result.condition.slip_stiffness * N_L * N_R / (N_L + N_R)
    for off in (-1.0, 0.0, 1.0):
        stagger = best.quickest + off * INCH
        drag = K / CAR.mass * ((stagger - needed.total) / needed.mean_rollout) ** 2
        slower = solve_lap(result.groove, CAR, result.condition, drag).time - lap.time
        assert best.time_lost(stagger) == pytest.approx(slower, rel=0.02)
    assert best.time_lost(best.quickest) < best.time_lost(best.even_drive)


@pytest.mark.parametrize("window", [(0.5, 1.0), (1.0, 4.0), (3.0, 4.0), (1.9, 2.2)])
def test_inside_a_window_the_optimum_is_that_of_brute_force(window):
    low, high = (end * INCH for end in window)
    result = found("Saucer Hill", "tacky")
    best = windowed(result, (low, high))
    staggers = np.linspace(low, high, 4001)
    costs = best.cost(staggers)
    assert best.optimum == pytest.approx(staggers[costs.argmin()], abs=0.001 * INCH)
    as_good = staggers[costs <= costs.min() + BAND]
    assert best.band == pytest.approx((as_good.min(), as_good.max()), abs=0.001 * INCH)
    assert low <= best.recommended <= high


def windowed(result, window):
    return recommend(result.lap, result.needed, CAR, result.condition, window=window)


def test_a_window_that_cuts_the_optimum_off_says_which_end():
    result = found("Saucer Hill", "tacky")
    free = float(result.stagger.unbounded)
    for window, end in (
        ((free + 0.2 * INCH, free + INCH), "low"),
        ((free - INCH, free - 0.2 * INCH), "high"),
        ((free - INCH, free + INCH), None),
    ):
        best = windowed(result, window)
        assert best.at_window == end
        assert best.unbounded == pytest.approx(free)
        assert best.optimum == pytest.approx(np.clip(free, *window))


@given(st.floats(0.2, 5.0), st.floats(0.3, 2.0))
def test_the_recommendation_is_a_tape_mark_inside_the_window_and_near_the_optimum(low, width):
    window = (low * INCH, (low + width) * INCH)
    result = found("Ropewalk")
    best = windowed(result, window)
    assert best.recommended / EIGHTH == pytest.approx(round(best.recommended / EIGHTH), abs=1e-9)
    assert window[0] - 1e-9 <= best.recommended <= window[1] + 1e-9
    assert abs(best.recommended - best.optimum) < EIGHTH


def test_a_window_between_two_tape_marks_is_kept_to():
    result = found("Ropewalk")
    window = (2.03 * INCH, 2.10 * INCH)
    best = windowed(result, window)
    assert window[0] <= best.recommended <= window[1]


def test_drive_emphasis_runs_from_quickest_to_even_drive_and_half_is_half_way():
    result = found("Saucer Hill")
    optima = np.array([
        recommend(result.lap, result.needed, CAR, result.condition, e, WIDE).optimum
        for e in (0, 0.25, 0.5, 0.75, 1)
    ])  # fmt: skip
    best = result.stagger
    assert optima[[0, -1]] == pytest.approx([best.quickest, best.even_drive])
    assert np.diff(optima) == pytest.approx(np.full(4, (best.even_drive - best.quickest) / 4))
    assert best.unbounded == pytest.approx(0.5 * (best.even_drive + best.quickest))


# Facts of the trade: common practice, no source

ROUNDED_AND_CLIPS = [
    (shaped(feet, 1.0, bank=bank, bow_share=0.04), shaped(feet, 3.5, bank=bank))
    for feet in (1320, 1760, 1980)
    for bank in (0, 8)
]
ORDINARY = {
    feet: [shaped(feet, ratio, bank=bank) for ratio in (1.2, 1.8, 2.4) for bank in (0, 6, 12)]
    for feet in (1056, 1320, 1760, 1980)
}
"""Fifth- to three-eighths-mile ovals of ordinary shapes, flat to 12 deg."""


@pytest.mark.parametrize("car", spread_of_cars(), ids=lambda car: car.name)
@pytest.mark.parametrize("condition", CONDITION_NAMES)
def test_big_rounded_oval_wants_more_than_paper_clip_of_the_same_lap(car, condition):
    # Common practice, no source.
    for rounded, clip in ROUNDED_AND_CLIPS:
        a, b = (wanted(track, car, condition).unbounded for track in (rounded, clip))
        assert a > b + 0.1 * INCH


@pytest.mark.parametrize("car", spread_of_cars(), ids=lambda car: car.name)
@pytest.mark.parametrize("groove", ["low", "middle", "high"])
def test_heavy_wants_more_than_slick_on_the_same_groove(car, groove):
    # Common practice, no source.
    for track in DEMO_TRACKS:
        heavy, slick = (wanted(track, car, c, groove) for c in ("heavy", "slick"))
        assert heavy.unbounded > slick.unbounded


@pytest.mark.parametrize("groove", ["rounded", "diamond"])
@pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
def test_heavy_wants_more_than_slick_on_free_grooves_too(track, groove):
    # Common practice, no source.
    path = laid(track, groove)
    for car in DEMO_CARS:
        heavy, slick = (wanted(demo_track(track), car, c, path) for c in ("heavy", "slick"))
        assert heavy.unbounded > slick.unbounded


@pytest.mark.parametrize("car", DEMO_CARS, ids=lambda car: car.name)
@pytest.mark.parametrize("condition", CONDITION_NAMES)
@pytest.mark.parametrize(("name", "less"), [("Saucer Hill", 0.08), ("Two Ponds", 0.03)])
def test_on_a_rounded_oval_a_diamond_wants_less_than_the_rounded_line(name, less, condition, car):
    """Common practice, no source. About an eighth of an inch on Saucer Hill, half as
    much on Two Ponds, which is hardly bowed.
    """
    track = demo_track(name)
    rounded, diamond = (
        wanted(track, car, condition, laid(name, line)).unbounded for line in ("rounded", "diamond")
    )
    assert diamond < rounded - less * INCH


@pytest.mark.parametrize("car", DEMO_CARS, ids=lambda car: car.name)
@pytest.mark.parametrize(
    ("track", "at_most"), [("Saucer Hill", 0.98), ("Ropewalk", 0.95), ("Two Ponds", 0.998)]
)
def test_the_diamond_is_straighter_where_the_car_drives(track, at_most, car):
    """Common practice, no source. Hardly so on Two Ponds: by half a hundredth or more."""
    bends = []
    for name in ("rounded", "diamond"):
        lap = solve_lap(laid(track, name), car, demo_track(track).condition("slick"))
        drive = lap.drive * lap.groove.ds
        bends.append(np.average(lap.groove.curvature, weights=drive))
    assert bends[1] < at_most * bends[0]


@pytest.mark.parametrize("car", spread_of_cars(), ids=lambda car: car.name)
@pytest.mark.parametrize("feet", [1056, 1320, 1760, 1980])
def test_fifth_to_three_eighths_mile_ovals_want_one_to_four_inches(car, feet):
    # Common practice, no source.
    for track in ORDINARY[feet]:
        for condition in CONDITION_NAMES:
            assert 1 * INCH < wanted(track, car, condition).unbounded < 4 * INCH


# Convergence


@pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
@pytest.mark.parametrize("groove", [name for name in GROOVES if name != FASTEST])
def test_halving_the_spacing_changes_the_optimum_by_less_than_a_hundredth(track, groove):
    for condition in ("heavy", "slick"):
        optima = [
            wanted(demo_track(track), CAR, condition, laid(track, groove, n)).unbounded
            for n in (720, 1440)
        ]
        assert abs(optima[1] - optima[0]) < 0.01 * INCH


# The lever begins where a driven run leaves the corner limit, and the stations place that to half
# their spacing: first order, a hundredth of an inch at most.


@pytest.mark.parametrize("feet", ORDINARY)
@pytest.mark.parametrize("condition", CONDITION_NAMES)
def test_halving_the_spacing_is_safe_on_ordinary_ovals(feet, condition):
    for track in ORDINARY[feet]:
        optima = [wanted(track, CAR, condition, stations=n).unbounded for n in (720, 1440)]
        assert abs(optima[1] - optima[0]) < 0.01 * INCH


# The switches, sweeps and refusals


def test_tire_load_off_leaves_geometry():
    track = demo_track("Ropewalk")
    result = baseline(track, CAR, "heavy", "middle", tire_load=False)
    assert result.stagger.loaded_corner == pytest.approx(result.stagger.geometric_corner)
    even = replace(CAR, pressure=None)
    loaded = baseline(track, even, "heavy", "middle").stagger.loaded_corner
    assert min(loaded) > max(result.stagger.loaded_corner)


def test_grip_overrides_the_condition():
    track = demo_track("Ropewalk")
    result = baseline(track, CAR, "slick", "middle", grip=0.95)
    slick = baseline(track, CAR, "slick", "middle")
    assert result.condition.grip == 0.95
    assert result.lap.time < slick.lap.time


def test_the_condition_brings_its_groove():
    track = demo_track("Saucer Hill")
    assert baseline(track, CAR, "slick").groove.name == "rounded"
    assert baseline(track, CAR, "heavy").groove.name == "middle"


def test_unknown_words_and_too_wide_a_car_are_refused():
    track = demo_track("Ropewalk")
    with pytest.raises(KeyError):
        baseline(track, CAR, "wet")
    with pytest.raises(KeyError):
        baseline(track, CAR, "heavy", "outside")
    with pytest.raises(TrackError):
        baseline(replace(track, width=8 * FOOT), CAR, "heavy", "middle")


SPREAD = np.array([0.9, 1.0, 1.12])


def swept_cases():
    track = demo_track("Saucer Hill")
    R_1, R_2 = track.inside_radius
    rear, weights = CAR.rear, CAR.weights
    return {
        "radius": (replace(track, inside_radius=(R_1 * SPREAD, R_2 * SPREAD)), CAR),
        "straight": (replace(track, straight=track.straight * SPREAD), CAR),
        "width": (replace(track, width=track.width * SPREAD), CAR),
        "bow": (replace(track, bow=track.bow * SPREAD), CAR),
        "bank": (replace(track, bank=Bank(track.bank.corners * SPREAD, 0.05)), CAR),
        "blend": (replace(track, blend=track.blend * SPREAD), CAR),
        "power": (track, replace(CAR, power=CAR.power * SPREAD)),
        "weights": (track, replace(CAR, weights=replace(weights, right_rear=3500 * SPREAD))),
        "cg height": (track, replace(CAR, cg_height=CAR.cg_height * SPREAD)),
        "tire": (track, replace(CAR, tire=replace(CAR.tire, spring_rate=2e5 * SPREAD))),
        "track width": (track, replace(CAR, rear=replace(rear, track_width=1.5 * SPREAD))),
        "rollout": (track, replace(CAR, rear=replace(rear, right_rollout=2.2 * SPREAD))),
    }


@pytest.mark.parametrize("name", swept_cases())
def test_a_sweep_of_any_field_equals_one_by_one(name):
    track, car = swept_cases()[name]
    swept = baseline(track, car, "tacky", "middle")
    assert np.shape(swept.stagger.optimum) == (3,)
    for i in range(3):
        alone = baseline(one_case(track, i), one_case(car, i), "tacky", "middle")
        assert swept.stagger.optimum[i] == pytest.approx(alone.stagger.optimum, rel=1e-5)
        assert swept.stagger.recommended[i] == pytest.approx(alone.stagger.recommended)
        for ours, theirs in zip(swept.stagger.band, alone.stagger.band, strict=True):
            assert ours[i] == pytest.approx(theirs, rel=1e-4)
        for ours, theirs in zip(swept.stagger.loaded_corner, alone.stagger.loaded_corner,
                                strict=True):  # fmt: skip
            assert ours[i] == pytest.approx(theirs, rel=1e-4)
        assert np.broadcast_to(swept.now.lap, 3)[i] == pytest.approx(alone.now.lap, rel=1e-4)
        assert swept.then.lap[i] == pytest.approx(alone.then.lap, rel=1e-3)


def test_a_sweep_of_grips_equals_one_by_one():
    track = demo_track("Ropewalk")
    grips = np.array([0.5, 0.7, 0.9])
    swept = baseline(track, CAR, "slick", "middle", grip=grips)
    alone = [baseline(track, CAR, "slick", "middle", grip=g).stagger.optimum for g in grips]
    assert swept.stagger.optimum == pytest.approx(alone, rel=1e-5)


def test_needed_is_that_of_the_lap():
    result = found("Ropewalk")
    assert needed_stagger(result.lap, CAR).total == pytest.approx(result.needed.total)


@pytest.mark.parametrize("surface", ["heavy", "slick"])
def test_a_bank_wants_more_at_the_pace_it_allows_and_less_at_the_same_pace(surface):
    """Trade articles: a banked track wants less. So it does where it is lapped no faster; at the
    same grip it is faster, and the tires carry more (guide method). Common practice, no source."""
    flat, banked = (
        oval(180 * FOOT, 300 * FOOT, width=50 * FOOT, bank=bank * DEGREE) for bank in (0, 12)
    )
    level, steep = (baseline(track, CAR, surface, "middle") for track in (flat, banked))
    assert steep.lap.time < level.lap.time
    more = steep.stagger.unbounded - level.stagger.unbounded
    assert 0.05 * INCH < more < 0.5 * INCH
    assert max(steep.stagger.geometric_corner) < min(level.stagger.geometric_corner)
    grips = np.linspace(0.3, 1.0, 36)
    swept = baseline(banked, CAR, surface, "middle", grip=grips)
    paced = np.interp(-level.lap.time, -swept.lap.time, swept.stagger.unbounded)
    assert paced < level.stagger.unbounded
