"""What a loss costs in lap time: the adjoint against laps solved anew."""

from dataclasses import replace

import numpy as np
import pytest
from ovals import DEMO_TRACKS, GRIPPY, demo_car, demo_track, oval
from rollpath.axle.rolling import needed_stagger
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import solve_lap
from rollpath.lever import lap_time_gradient, lever
from rollpath.units import INCH
from scipy.integrate import solve_ivp

CAR = demo_car()
STATIONS = 720
CASES = [(track, surface) for track in DEMO_TRACKS for surface in ("heavy", "slick")]
NAMES = [f"{track.name}, {surface}" for track, surface in CASES]


def lap_of(track, surface, car=CAR):
    condition = track.condition(surface)
    groove = make_groove(track, condition.groove, car.width, STATIONS)
    return groove, condition, solve_lap(groove, car, condition)


@pytest.mark.parametrize(("track", "surface"), CASES, ids=NAMES)
def test_scrub_costs_least_where_the_lever_says(track, surface):
    """Laps solved again with the drag of the scrub in them, over staggers an inch to either side.

    The drag is that of two brush tires pulling against each other, written out: each slips by what
    the lighter one gives way more, and force is slip stiffness times load times slip.
    """
    groove, condition, lap = lap_of(track, surface)
    needed = needed_stagger(lap, CAR)
    N_L, N_R = lap.wheels.left_rear, lap.wheels.right_rear
    weight = lever(lap, CAR, condition) * N_L * N_R / (N_L + N_R) * groove.ds
    quickest = (weight * needed.total).sum() / weight.sum()
    staggers = quickest + np.linspace(-1.0, 1.0, 7)[:, None] * INCH
    slip = (staggers - needed.total) / needed.mean_rollout
    s_L, s_R = -slip * N_R / (N_L + N_R), slip * N_L / (N_L + N_R)
    drag = condition.slip_stiffness * (N_L * s_L**2 + N_R * s_R**2) / CAR.mass
    times = solve_lap(groove, CAR, condition, drag).time
    a, b, _ = np.polyfit(staggers[:, 0] - quickest, times, 2)
    assert a > 0
    assert -b / (2 * a) == pytest.approx(0.0, abs=0.03 * INCH)
    foretold = (lever(lap, CAR, condition) * drag * groove.ds).sum(axis=-1)
    assert times - lap.time == pytest.approx(foretold, rel=0.01)


@pytest.mark.parametrize(("track", "surface"), CASES[::3], ids=NAMES[::3])
def test_the_gradient_is_that_of_laps_with_one_station_moved(track, surface):
    groove, condition, lap = lap_of(track, surface)
    gradient = lap_time_gradient(lap, CAR, condition)
    some = np.arange(0, STATIONS, 20)
    for field, found in (("curvature", gradient.curvature), ("bank", gradient.bank),
                         ("ds", gradient.length)):  # fmt: skip
        times = []
        for step in (1e-6, 0.0, -1e-6):
            moved = np.repeat(getattr(groove, field)[None], len(some), axis=0)
            moved[np.arange(len(some)), some] += step
            times.append(solve_lap(replace(groove, **{field: moved}), CAR, condition).time)
        # Where a station is at two limits at once the slope to one side is as good as the other.
        sides = np.sort([(times[0] - times[1]) / 1e-6, (times[1] - times[2]) / 1e-6], axis=0)
        spare = 2e-3 * np.abs(sides).max()
        assert (found[some] > sides[0] - spare).all()
        assert (found[some] < sides[1] + spare).all()


@pytest.mark.parametrize(("track", "surface"), CASES, ids=NAMES)
def test_what_grip_is_worth_all_over_is_that_of_laps_with_more_and_less(track, surface):
    groove, condition, lap = lap_of(track, surface)
    more, less = (
        solve_lap(groove, CAR, replace(condition, grip=condition.grip + d)).time
        for d in (1e-4, -1e-4)
    )
    worth = lap_time_gradient(lap, CAR, condition).grip.sum()
    assert worth == pytest.approx((more - less) / 2e-4, rel=1e-3)
    assert worth < 0


def test_along_a_straight_the_lever_follows_its_equation():
    """-lambda' = f_w lambda + 1 / v^3 (Bryson and Ho, Applied Optimal Control, ch. 2) by
    scipy.integrate.solve_ivp, on a straight where power and air alone decide f."""
    weak = replace(CAR, power=100e3)
    groove, condition, lap = lap_of(demo_track("Ropewalk"), "heavy", weak)
    worth = lever(lap, weak, condition)
    back = slice(*np.searchsorted(groove.s, (240.0, 300.0)))
    s, w, n = groove.s[back], 0.5 * lap.speed[back] ** 2, len(groove.s[back])
    assert n > 40
    power, air = weak.power / weak.mass, 1.2 * CAR.drag_area / CAR.mass

    def slope(x, value):
        here = np.interp(-x, s, w)
        f_w = -0.5 * power / np.sqrt(2.0 * here) / here - air
        return f_w * value + (2.0 * here) ** -1.5

    solved = solve_ivp(slope, (-s[-1], -s[0]), [worth[back][-1]], t_eval=-s[::-1], rtol=1e-8)
    assert solved.y[0][::-1] == pytest.approx(worth[back], rel=2e-3)


def test_the_lever_is_longest_off_the_corner_and_nothing_under_braking_or_at_the_limit():
    groove, condition, lap = lap_of(demo_track("Ropewalk"), "heavy")
    worth = lever(lap, CAR, condition)
    straight = groove.curvature < 1e-6
    assert (worth >= 0).all()
    assert (worth[np.roll(lap.thrust, 1) < 0] == 0.0).mean() > 0.9
    first = np.flatnonzero((worth > 0) & (np.roll(worth, 1) == 0))
    assert len(first) == 2  # one drive-off a corner
    for start in first:
        run = (start + np.arange(np.flatnonzero(np.roll(worth, -start) == 0)[0])) % STATIONS
        leaving = np.flatnonzero(straight[run])[0]
        assert worth[run].argmax() < leaving + 15
        assert (np.diff(worth[run[leaving + 15 :]]) < 0).all()


def test_a_lap_that_is_all_power_forgets_only_by_its_own_drag():
    # No corner limit anywhere: the loss goes round and round, as laps with the drag in them tell.
    weak = replace(CAR, power=25e3)
    circle = parallel_groove(oval(150.0, 20.0), 5.0, stations=240)
    drags = np.array([[0.0], [1e-4]])
    times = solve_lap(circle, weak, GRIPPY, drags).time
    lap = solve_lap(circle, weak, GRIPPY)
    worth = lever(lap, weak, GRIPPY)
    assert (worth > 0).all()
    assert (worth * circle.ds).sum() == pytest.approx((times[1] - times[0]) / 1e-4, rel=0.01)


def test_a_sweep_of_levers_equals_one_by_one():
    track = demo_track("Saucer Hill")
    groove = make_groove(track, "middle", CAR.width)
    surface = replace(track.condition("heavy"), grip=np.array([0.6, 0.8, 1.0]))
    swept = lever(solve_lap(groove, CAR, surface), CAR, surface)
    for i, grip in enumerate(surface.grip):
        one = replace(surface, grip=grip)
        alone = lever(solve_lap(groove, CAR, one), CAR, one)
        assert swept[i] == pytest.approx(alone, rel=1e-3, abs=1e-3 * alone.max())
