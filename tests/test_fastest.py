"""The line of least lap time: for one car, on one surface, between the edges.

With ROLLPATH_LONG in the environment every demo track, more ovals and finer laps; without it one
track and coarse laps, and every kind of claim still.
"""

import os
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ovals import DEMO_TRACKS, demo_car, demo_track, laid, oval, ovals
from rollpath.groove import fastest
from rollpath.groove.fastest import fastest_groove
from rollpath.groove.free import bending_rows, free_edge, free_limits
from rollpath.groove.lay import lay_groove, make_groove, same_line
from rollpath.groove.path import offset_limits
from rollpath.groove.spline import OffsetSpline, SplinePath
from rollpath.lap import LapError, solve_lap
from rollpath.stagger import baseline
from rollpath.track import GripBands
from rollpath.units import FOOT
from scipy.optimize import minimize

CAR = demo_car()
CUSHION = GripBands(inside=0.55, middle=0.60, outside=0.82)
BOTTOM = GripBands(inside=0.80, middle=0.62, outside=0.55)
LONG = "ROLLPATH_LONG" in os.environ
STATIONS = 180 if LONG else 120
every_track = pytest.mark.parametrize(
    "track", [track.name for track in DEMO_TRACKS] if LONG else ["Two Ponds"]
)


@cache
def fast_line(track, condition, bands=None):
    state = demo_track(track).condition(condition)
    state = state if bands is None else replace(state, grip=bands)
    return lay_groove(demo_track(track), "fastest", CAR, state, STATIONS), state


def time_of(groove, state, car=CAR):
    return float(solve_lap(groove, car, state).time)


@every_track
@pytest.mark.parametrize("condition", ["heavy", "slick"])
def test_on_even_grip_the_fastest_line_is_a_little_quicker_than_the_rounded_one(track, condition):
    # In trials with another search: 0.01 to 0.25 s a lap; some more on a long paper clip.
    groove, state = fast_line(track, condition)
    rounded = make_groove(demo_track(track), "rounded", CAR.width, STATIONS)
    assert groove.settled
    assert 0.01 < time_of(rounded, state) - time_of(groove, state) < 0.40


@every_track
def test_the_line_moves_to_where_the_grip_is(track):
    # Common practice, no source: on a slick track the line goes looking for what is left.
    width = demo_track(track).width
    cushion, low = (fast_line(track, "slick", bands)[0] for bands in (CUSHION, BOTTOM))
    turning = cushion.turning & low.turning
    assert cushion.offset[turning].mean() > low.offset[turning].mean() + 0.4 * width


@every_track
def test_it_keeps_to_the_track_and_has_one_tightest_place_a_corner(track):
    groove, _ = fast_line(track, "slick")
    least, most = offset_limits(demo_track(track), CAR.width)
    assert groove.offset.min() > least - 0.01
    assert groove.offset.max() < most + 0.01
    for end in (groove.first_end, ~groove.first_end):
        tight = groove.curvature > 0.8 * groove.curvature[end].max()
        runs = np.flatnonzero(np.diff((tight & end).astype(int)) == 1)
        assert len(runs) == 1


@settings(deadline=None, max_examples=4 if LONG else 1, derandomize=True)
@given(
    track=ovals(), inside=st.floats(0.5, 0.9), middle=st.floats(0.5, 0.9),
    outside=st.floats(0.5, 0.9),
)  # fmt: skip
def test_no_line_with_a_name_is_faster(track, inside, middle, outside):
    state = replace(track.condition("slick"), grip=GripBands(inside, middle, outside))
    try:
        groove = lay_groove(track, "fastest", CAR, state, 120)
    except LapError:
        return
    for name in ("rounded", "diamond", "low", "middle", "high"):
        known = make_groove(track, name, CAR.width, 120)
        assert time_of(groove, state) <= time_of(known, state) + 1e-9


def search_of(track, state, knots, stations=360):
    spline = OffsetSpline(free_edge(track), knots)
    path, bending = SplinePath(spline, stations), bending_rows(spline)
    return spline, fastest._worth(path, bending, CAR, state, track)


@every_track
@pytest.mark.parametrize("bands", [None, CUSHION])
def test_the_slope_of_the_lap_time_is_that_of_differences(track, bands):
    shape = demo_track(track)
    state = shape.condition("slick")
    state = state if bands is None else replace(state, grip=bands)
    spline, worth_at = search_of(shape, state, 24)
    least, most = free_limits(shape, CAR.width)
    c = 0.5 * (least + most) + 0.3 * (most - least) * np.cos(4 * np.pi * spline.peaks
                                                            / spline.length)  # fmt: skip
    _, slope = worth_at(c)
    rng = np.random.default_rng(5)
    ways = np.cos(2 * np.pi * np.outer(np.arange(4), spline.peaks / spline.length)
                  + rng.uniform(0, 6, (4, 1)))  # fmt: skip
    rises = [(worth_at(c + 1e-3 * way)[0] - worth_at(c - 1e-3 * way)[0]) / 2e-3 for way in ways]
    # The time has corners where a station changes from limit to brake: not to rounding.
    assert ways @ slope == pytest.approx(rises, rel=0.03, abs=2e-3)


def test_another_optimiser_without_slopes_finds_no_better_line():
    # scipy.optimize.minimize, Powell's method: bounded, derivative-free.
    track = demo_track("Two Ponds")
    state = replace(track.condition("slick"), grip=CUSHION)
    spline, worth_at = search_of(track, state, 8, 120)
    limits = free_limits(track, CAR.width)
    ours = fastest._find(spline, worth_at, bending_rows(spline), limits)
    start = np.clip(ours.c + np.random.default_rng(3).normal(0.0, 1.0, spline.count), *limits)
    found = minimize(
        lambda c: worth_at(c)[0], start, method="Powell", bounds=[limits] * spline.count,
        options={"maxfev": 400 if LONG else 200, "xtol": 1e-3, "ftol": 1e-6},
    )  # fmt: skip
    assert ours.worth < found.fun + 2e-3


def test_it_survives_a_billionth():
    line, state = fast_line("Two Ponds", "slick")
    track = demo_track("Two Ponds")
    moved = replace(track, straight=track.straight * (1 + 1e-9))
    lines = [line, lay_groove(moved, "fastest", CAR, state, STATIONS)]
    times = [time_of(line, state) for line in lines]
    assert times[1] == pytest.approx(times[0], abs=2e-3)
    assert lines[1].offset == pytest.approx(lines[0].offset, abs=0.3)


def test_a_search_begun_on_a_surface_much_like_it_ends_as_quick():
    groove, state = fast_line("Two Ponds", "slick", CUSHION)
    a_bit_less = replace(state, grip=CUSHION * 0.95)
    track = demo_track("Two Ponds")
    warm = fastest_groove(track, CAR, a_bit_less, STATIONS, start=groove)
    cold = fastest_groove(track, CAR, a_bit_less, STATIONS)
    assert time_of(warm, a_bit_less) == pytest.approx(time_of(cold, a_bit_less), abs=0.03)


def test_a_search_cut_short_is_told(monkeypatch):
    monkeypatch.setattr(fastest, "MOST_STEPS", 1)
    track = demo_track("Two Ponds")
    assert not fastest_groove(track, CAR, track.condition("slick"), 120).settled


def test_a_sweep_is_refused_plainly():
    track = oval(60.0, 90.0)
    with pytest.raises(TypeError, match="one car on one surface"):
        fastest_groove(track, CAR, replace(track.condition("slick"), grip=np.array([0.6, 0.7])))
    with pytest.raises(TypeError, match="one track"):
        fastest_groove(oval(np.array([60.0, 61.0]), 90.0), CAR, track.condition("slick"))


def test_the_same_line_on_the_same_track_is_the_line():
    for name in ("rounded", "middle"):
        groove = laid("Two Ponds", name)
        again = same_line(demo_track("Two Ponds"), groove, CAR.width)
        assert again.offset == pytest.approx(groove.offset, abs=0.05)


def test_a_track_that_names_the_fastest_line_is_recommended_on_it():
    track = demo_track("Two Ponds")
    slick = replace(track.condition("slick"), grip=CUSHION, groove="fastest")
    result = baseline(replace(track, conditions={"slick": slick}), CAR, "slick", stations=60)
    assert result.groove.name == "fastest"
    assert result.groove.offset.max() > 40 * FOOT
