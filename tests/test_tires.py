"""The rack: tapings, rollouts at the running pressure, and the exact choice of four."""

import itertools
import statistics
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.car import Alike
from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import load_car
from rollpath.scales.hold import weigh_change
from rollpath.stagger import Recommendation
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.air import cold_rollout
from rollpath.tires.choose import choose
from rollpath.tires.judge import doubts, in_full, stagger_map, weigh_own
from rollpath.tires.rack import DEFAULT_GROWTH, Rack, RackTire, Taping
from rollpath.tires.rules import FRONT, REAR
from rollpath.tires.sets import TireError
from rollpath.units import INCH, POUND, PSI
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp

CAR = load_car(Path(__file__).parent.parent / "cars" / "number-31.yaml")
WARM, COLD = 350.0, 295.0


def taped(*inches: float, **when: float) -> Taping:
    return Taping(tuple(one * INCH for one in inches), **when)


def tire(name: str, inches: float, **more) -> RackTire:
    return RackTire(name, (taped(inches),), **more)


def rack_of(*tires: RackTire, **more) -> Rack:
    return Rack("made up", tires, **more)


# Taping


def test_a_reading_more_than_three_eighths_off_is_questioned():
    assert taped(86, 86.125, 86.625).doubtful == (86.625 * INCH,)


def test_a_reading_three_eighths_off_is_not_questioned():
    assert taped(86, 86, 86.375).doubtful == ()


def test_of_two_readings_that_disagree_both_are_questioned():
    assert len(taped(86, 86.5).doubtful) == 2
    assert taped(86, 86.375).doubtful == ()


def test_a_questioned_reading_is_left_out_of_the_mean():
    assert taped(86.25, 86.75, 86.25).mean == pytest.approx(86.25 * INCH)


def test_two_readings_that_disagree_still_make_a_mean():
    assert taped(86, 87).mean == pytest.approx(86.5 * INCH)


@given(st.lists(st.integers(-3, 0), min_size=3, max_size=8))
def test_mean_and_spread_of_good_readings_are_those_of_the_standard_library(eighths):
    # Outside check: Python's statistics module.
    readings = [86 + one / 8 for one in eighths]
    taping = taped(*readings)
    assert taping.mean == pytest.approx(statistics.fmean(readings) * INCH)
    assert taping.spread == pytest.approx((max(readings) - min(readings)) * INCH)


# Pressure and temperature


def test_two_tapings_at_two_pressures_give_the_tire_its_own_growth():
    one = RackTire("A", (taped(86, pressure=14 * PSI), taped(86.5, pressure=18 * PSI)))
    assert one.own_growth == pytest.approx(0.125 * INCH / PSI)
    rack = rack_of(one, running_pressure=Corners(*[16 * PSI] * 4))
    assert cold_rollout(rack, one, "left_rear") == pytest.approx(86.25 * INCH)


def test_one_pressure_takes_the_growth_of_the_rack():
    one = RackTire("A", (taped(86, pressure=14 * PSI),))
    rack = rack_of(one, running_pressure=Corners(*[16 * PSI] * 4), growth=0.1 * INCH / PSI)
    assert one.own_growth is None
    assert cold_rollout(rack, one, "left_rear") == pytest.approx(86.2 * INCH)


def test_each_corner_has_its_own_running_pressure():
    one = RackTire("A", (taped(86, pressure=14 * PSI),))
    rack = rack_of(one, running_pressure=Corners(10 * PSI, 14 * PSI, 12 * PSI, 16 * PSI))
    found = [cold_rollout(rack, one, corner) for corner in CORNERS]
    expected = [86 * INCH + DEFAULT_GROWTH * by * PSI for by in (-4, 0, -2, 2)]
    assert found == pytest.approx(expected)


def test_a_tire_with_no_pressure_is_taken_as_taped():
    one = tire("A", 86)
    rack = rack_of(one, running_pressure=Corners(*[16 * PSI] * 4))
    assert cold_rollout(rack, one, "left_rear") == 86 * INCH


def test_a_hot_taping_says_nothing_of_growth_with_pressure():
    cold = taped(86, pressure=14 * PSI, temperature=COLD)
    hot = taped(86.75, pressure=19 * PSI, temperature=WARM)
    assert RackTire("A", (cold, hot)).own_growth is None
    assert cold_rollout(rack_of(), RackTire("A", (cold, hot)), "left_rear") == 86 * INCH


def test_stretch_between_race_days_is_not_taken_for_growth():
    tapings = (
        taped(86, pressure=14 * PSI, date="May 2"),
        taped(86.5, pressure=18 * PSI, date="May 2"),
        taped(86.75, pressure=16 * PSI, date="July 9"),
    )
    assert RackTire("A", tapings).own_growth == pytest.approx(0.125 * INCH / PSI)


@pytest.mark.parametrize("second", [85.5, 91.0])
def test_growth_that_cannot_be_is_not_believed(second):
    one = RackTire("A", (taped(86, pressure=14 * PSI), taped(second, pressure=18 * PSI)))
    assert one.own_growth is None


def test_hot_stagger_is_shown_apart_from_cold():
    def both(cold: float, hot: float) -> tuple[Taping, Taping]:
        return taped(cold, temperature=COLD), taped(hot, temperature=WARM)

    tires = [RackTire("LR", both(84, 84.25), on_car="left_rear"), RackTire("RR", both(86, 86.75))]
    tires += [tire("LF", 82), tire("RF", 83)]
    choice = choose(rack_of(*tires), CAR, Aim(2 * INCH), Weights(wheel=0, bite=0, gear=0))
    first = choice.picks[0]
    assert first.names["right_rear"] == "RR"
    assert first.rear_stagger == pytest.approx(2 * INCH)
    assert first.hot_stagger(REAR) == pytest.approx(2.5 * INCH)
    assert first.hot_stagger(FRONT) is None


# The choice against every other way of finding it


def score_plainly(rack: Rack, four: tuple[RackTire, ...], target: float, w: Weights) -> float:
    """Points of a set by the plainest route, in inches and pounds; the tires' means as taped."""
    lf, rf, lr, rr = (one.cold.mean / INCH for one in four)
    bite = -9.5 * ((rr - lr) - 2.5) + 9.0 * ((rf - lf) - 1.25)
    gear = (83.75 + 86.25) / (lr + rr) - 1
    wheels = sum(one.on_car != corner for one, corner in zip(four, CORNERS, strict=True))
    unlike = 0.0
    for left, right in (four[:2], four[2:]):
        for a, b in ((left.compound, right.compound), (left.offset, right.offset)):
            unlike += bool(a and b and a != b)
        if left.heat_cycles is not None and right.heat_cycles is not None:
            unlike += abs(left.heat_cycles - right.heat_cycles) / 10
    return (
        w.stagger * INCH * abs(rr - lr - target) + w.bite * POUND * abs(bite)
        + w.gear * abs(gear) + w.wheel * wheels + w.unlike * unlike
    )  # fmt: skip


def every_set(rack: Rack) -> list[tuple[RackTire, ...]]:
    return [
        four
        for four in itertools.permutations(rack.tires, 4)
        if all(
            corner in one.corners and not one.scrap and one.cold is not None
            for one, corner in zip(four, CORNERS, strict=True)
        )
    ]


@st.composite
def racks(draw, least: int = 4, most: int = 12) -> Rack:
    count = draw(st.integers(least, most))
    on_car = draw(st.permutations([*CORNERS, *[""] * (count - 4)]))
    tires = []
    for i in range(count):
        left, right = CORNERS[::2], CORNERS[1::2]
        corners = draw(st.sampled_from([CORNERS, CORNERS, left, right, ("left_front",), right[1:]]))
        hot_only = draw(st.integers(0, 19)) == 0
        taping = taped(82 + draw(st.integers(0, 40)) / 8, temperature=WARM if hot_only else COLD)
        tires.append(
            RackTire(
                f"T{i}", (taping,), corners,
                compound=draw(st.sampled_from(["", "soft", "hard"])),
                offset=draw(st.sampled_from(["", "3", "4"])),
                heat_cycles=draw(st.none() | st.integers(0, 12)),
                on_car=on_car[i],
                scrap=draw(st.integers(0, 9)) == 0,
            )
        )  # fmt: skip
    return rack_of(*tires)


some_weights = st.sampled_from(
    [Weights(), Weights(bite=0.5 / POUND), Weights(stagger=0), Weights(wheel=3, unlike=0),
     Weights(bite=0, gear=0, unlike=0, wheel=0)]
)  # fmt: skip


def hold_to_brute_force(rack: Rack, target: float, weights: Weights) -> None:
    sets = every_set(rack)
    if not sets:
        with pytest.raises(TireError):
            choose(rack, CAR, Aim(target * INCH), weights)
        return
    scores = np.array([score_plainly(rack, four, target, weights) for four in sets])
    choice = choose(rack, CAR, Aim(target * INCH), weights)
    best = {
        tuple(t.name for t in four)
        for four, score in zip(sets, scores, strict=True)
        if score < scores.min() + 1e-8
    }
    first = [tuple(pick.names.values()) for pick in choice.picks if pick.rank == 1]
    assert choice.considered == len(sets)
    assert choice.tied == len(best)
    assert set(first) <= best and len(set(first)) == min(len(best), 10)
    lowest = np.sort(scores)[:10]
    assert [pick.score for pick in choice.picks] == pytest.approx(lowest, abs=1e-8)
    for pick in choice.picks:
        assert pick.rank == 1 + np.sum(scores < pick.score - 1e-8)
        assert len(set(pick.names.values())) == 4
        for one, corner in zip(pick.tires, CORNERS, strict=True):
            assert corner in one.corners and not one.scrap


@settings(max_examples=100, deadline=None)
@given(racks(most=8), st.integers(-8, 40), some_weights)
def test_the_choice_is_that_of_brute_force_over_every_ordered_set(rack, eighths, weights):
    hold_to_brute_force(rack, eighths / 8, weights)


@settings(max_examples=25, deadline=None)
@given(racks(least=11), st.integers(0, 30), some_weights)
def test_the_choice_is_that_of_brute_force_for_a_dozen_tires(rack, eighths, weights):
    hold_to_brute_force(rack, eighths / 8, weights)


def test_forty_tires_of_one_size_tie_in_every_order():
    rack = rack_of(*(tire(f"T{i}", 84) for i in range(40)))
    choice = choose(rack, CAR, Aim(2 * INCH))
    assert choice.considered == choice.tied == 40 * 39 * 38 * 37
    assert [pick.rank for pick in choice.picks] == [1] * 10


def test_an_integer_program_solver_finds_the_same_best_set():
    # Outside check: HiGHS through scipy.optimize.milp, a set as one rear and one front pair, with
    # the size of the bite change as a variable above its value and its opposite.
    rng = np.random.default_rng(11)
    rack = rack_of(*(tire(f"T{i}", 82 + rng.uniform(0, 5)) for i in range(9)))
    pairs = list(itertools.permutations(range(9), 2))
    C = np.array([one.cold.mean / INCH for one in rack.tires])
    S = np.array([C[j] - C[i] for i, j in pairs])
    rear = np.abs(S - 2.25) * 8 + 50 * np.abs([170 / (C[i] + C[j]) - 1 for i, j in pairs]) + 0.5
    cost = np.concatenate([rear, np.full(len(pairs), 0.5), [0.1]])
    bite = np.concatenate([-9.5 * (S - 2.5), 9.0 * (S - 1.25)])
    offset = 0.0
    n = len(pairs)
    holds = np.array([[k in pair for pair in pairs] for k in range(9)], dtype=float)
    one_each = np.zeros((2, 2 * n + 1))
    one_each[0, :n] = one_each[1, n : 2 * n] = 1
    once = np.hstack([holds, holds, np.zeros((9, 1))])
    above = np.array([[*bite, -1.0], [*-bite, -1.0]])
    solved = milp(
        cost,
        constraints=[LinearConstraint(one_each, 1, 1), LinearConstraint(once, 0, 1),
                     LinearConstraint(above, -np.inf, offset)],
        integrality=np.array([1] * (2 * n) + [0]),
        bounds=Bounds(0, np.array([1.0] * (2 * n) + [np.inf])),
    )  # fmt: skip
    choice = choose(rack, CAR, Aim(2.25 * INCH))
    assert choice.picks[0].score == pytest.approx(solved.fun, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(racks(least=5))
def test_fewest_wheel_changes_are_those_of_the_assignment_problem(rack):
    # Outside check: scipy.optimize.linear_sum_assignment (Crouse 2016) on tires against corners.
    cost = np.array(
        [
            [
                float(one.on_car != corner)
                if corner in one.corners and not one.scrap and one.cold is not None
                else 100.0
                for corner in CORNERS
            ]
            for one in rack.tires
        ]
    )
    fewest = cost[linear_sum_assignment(cost)].sum()
    weights = Weights(stagger=0, bite=0, gear=0, wheel=1, unlike=0)
    if fewest >= 100:
        with pytest.raises(TireError):
            choose(rack, CAR, Aim(2 * INCH), weights)
    else:
        assert choose(rack, CAR, Aim(2 * INCH), weights).picks[0].wheel_changes == fewest


@settings(max_examples=25, deadline=None)
@given(racks(least=6, most=9), st.sampled_from(["wheel", "bite", "stagger"]))
def test_more_weight_on_an_aim_never_makes_the_first_worse_at_it(rack, aim):
    if not every_set(rack):
        return
    firsts = [
        choose(rack, CAR, Aim(2 * INCH), replace(Weights(), **{aim: times * getattr(Weights, aim)}))
        for times in (0.5, 2.0, 8.0)
    ]
    misses = {
        "wheel": [choice.picks[0].wheel_changes for choice in firsts],
        "bite": [abs(choice.picks[0].bite_change) for choice in firsts],
        "stagger": [abs(choice.picks[0].rear_stagger - 2 * INCH) for choice in firsts],
    }[aim]
    assert misses[0] >= misses[1] - 1e-9 and misses[1] >= misses[2] - 1e-9


# What a set does


@settings(max_examples=20, deadline=None)
@given(racks(least=6, most=9))
def test_stagger_bite_and_gear_are_those_of_bite_for_the_same_rollouts(rack):
    if not every_set(rack):
        return
    for pick in choose(rack, CAR, Aim(2 * INCH)).picks:
        outcome = weigh_change(CAR, pick.change(CAR))
        assert CAR.rear.stagger + outcome.change.rear_stagger == pytest.approx(pick.rear_stagger)
        assert CAR.front.stagger + outcome.change.front_stagger == pytest.approx(pick.front_stagger)
        assert outcome.then.weights.bite == pytest.approx(pick.bite, abs=1e-6)
        assert outcome.gear_change == pytest.approx(pick.gear_change, abs=1e-12)


def test_bite_stops_where_a_wheel_comes_off_its_pad():
    light = replace(CAR, weights=Corners(400 * POUND, 8 * POUND, 400 * POUND, 400 * POUND))
    rack = rack_of(*(tire(name, size) for name, size in zip("ABCD", (82, 84, 84, 90), strict=True)))
    pick = choose(rack, light, Aim(6 * INCH), Weights(stagger=80 / INCH)).picks[0]
    outcome = weigh_change(light, pick.change(light))
    assert outcome.then.lifted == "right_front"
    assert pick.bite == pytest.approx(outcome.then.weights.bite)


def test_sets_that_lift_a_wheel_are_ranked_by_the_bite_the_scales_would_show():
    light = replace(CAR, weights=Corners(400 * POUND, 8 * POUND, 400 * POUND, 400 * POUND))
    sizes = (82, 83.5, 84.25, 86, 88, 90.5)
    rack = rack_of(*(tire(name, size) for name, size in zip("ABCDEF", sizes, strict=True)))
    choice = choose(rack, light, Aim(4 * INCH), Weights(gear=0, wheel=0), most=400)
    w = Weights()
    scores = []
    for pick in choice.picks:
        bite = weigh_change(light, pick.change(light)).then.weights.bite - light.weights.bite
        scores.append(w.stagger * abs(pick.rear_stagger - 4 * INCH) + w.bite * abs(bite))
    assert len(scores) == choice.considered == 360
    assert scores == pytest.approx(sorted(scores), abs=1e-8)


def test_swapping_the_two_fronts_changes_two_wheels():
    names = {"left_front": 83, "right_front": 82, "left_rear": 84, "right_rear": 86}
    rack = rack_of(*(tire(corner, size, on_car=corner) for corner, size in names.items()))
    own = weigh_own(
        choose(rack, CAR, Aim(2 * INCH)), ["right_front", "left_front", "left_rear", "right_rear"]
    )
    assert own.pick.wheel_changes == 2
    assert own.pick.points["wheel"] == 2 * Weights().wheel


def test_jacks_are_offered_for_bite_left_over_and_put_it_back():
    rack = rack_of(tire("A", 82), tire("B", 85), tire("C", 83.75), tire("D", 86.25))
    choice = choose(rack, CAR, Aim(2.5 * INCH), Weights(bite=0))
    outcome = in_full(choice)
    assert abs(choice.picks[0].bite_change) > 10 * POUND
    assert outcome.holds[0].means == "jack"
    assert abs(outcome.holds[0].left_over) < 3 * POUND


def test_a_car_without_jacks_or_springs_gets_no_jack_advice():
    bare = replace(CAR, springs=None, jack_thread=None)
    rack = rack_of(tire("A", 82), tire("B", 85), tire("C", 83.75), tire("D", 86.25))
    assert in_full(choose(rack, bare, Aim(2.5 * INCH))).holds == []


# Alike


def mixed_rack() -> Rack:
    sizes = {"A": 82.5, "B": 83.75, "C": 83.75, "D": 86.25, "E": 86.25, "F": 84.0}
    compounds = dict(zip(sizes, ("soft", "hard", "soft", "hard", "soft", ""), strict=True))
    return rack_of(*(tire(n, size, compound=compounds[n]) for n, size in sizes.items()))


@pytest.mark.parametrize(
    ("scope", "groups"),
    [("rear", [(2, 3)]), ("front", [(0, 1)]), ("axles", [(0, 1), (2, 3)]), ("all", [(0, 1, 2, 3)])],
)
def test_compounds_match_where_the_car_file_says_so(scope, groups):
    car = replace(CAR, alike=Alike(compound=scope))
    rack = mixed_rack()
    if scope == "all":
        rack = replace(rack, tires=(*rack.tires, tire("G", 83.5, compound="soft")))
    choice = choose(rack, car, Aim(2.5 * INCH))
    allowed = [
        four
        for four in itertools.permutations(rack.tires, 4)
        if all(len({four[c].compound for c in g}) == 1 and four[g[0]].compound for g in groups)
    ]
    assert choice.considered == len(allowed)
    for pick in choice.picks:
        for group in groups:
            assert len({pick.tires[corner].compound for corner in group}) == 1


def test_unlike_tires_score_worse_where_nothing_is_asked():
    rack = mixed_rack()
    choice = choose(rack, CAR, Aim(2.5 * INCH))
    alike = weigh_own(choice, ["F", "B", "C", "E"]).pick
    unlike = weigh_own(choice, ["F", "B", "C", "D"]).pick
    assert unlike.score - alike.score == pytest.approx(Weights().unlike)


# What is asked for


def test_a_target_in_reach_is_reached():
    rack = rack_of(tire("A", 82), tire("B", 83), tire("C", 84), tire("D", 86.25))
    assert choose(rack, CAR, Aim(2.25 * INCH)).in_reach


def test_a_tire_from_the_truck_of_the_rollout_named_reaches_the_target():
    rack = rack_of(tire("A", 82), tire("B", 83), tire("C", 84), tire("D", 86.25))
    choice = choose(rack, CAR, Aim(6 * INCH))
    assert not choice.in_reach
    assert choice.nearest.rear_stagger == pytest.approx(4.25 * INCH)
    for corner, rollout in choice.to_look_for().items():
        new = tire("new", rollout / INCH, corners=(corner,))
        bought = replace(rack, tires=(*rack.tires, new))
        assert choose(bought, CAR, Aim(6 * INCH)).in_reach


def curve(optimum: float, spread: float, window: tuple[float, float] = (1, 4)) -> Aim:
    best = SimpleNamespace(
        cost=lambda s: np.hypot(spread * INCH, s - optimum * INCH),
        optimum=optimum * INCH,
        window=tuple(end * INCH for end in window),
        band=((optimum - 0.2) * INCH, (optimum + 0.2) * INCH),
    )
    return Aim(optimum * INCH, SimpleNamespace(stagger=best))


def test_the_curve_stands_in_for_a_recommendation_as_it_is():
    best = curve(2, 1).recommendation
    fields = dict.fromkeys(Recommendation.__dataclass_fields__, 0.0)
    real = Recommendation(**{**fields, "spread": 1 * INCH, "unbounded": 2 * INCH})
    s = np.linspace(0, 5, 11) * INCH
    assert best.cost(s) == pytest.approx(real.cost(s))


def test_a_flat_curve_forgives_a_miss_that_a_target_does_not():
    off = 2.5 * INCH
    plain, flat, sharp = Aim(2 * INCH).miss(off), curve(2, 1).miss(off), curve(2, 0.01).miss(off)
    assert flat < 0.3 * plain
    assert sharp == pytest.approx(plain, rel=0.03)
    assert curve(2, 1).miss(2 * INCH) == 0


def test_a_flat_curve_leaves_wheels_on_the_car():
    sizes = {"left_front": 82.5, "right_front": 83.75, "left_rear": 83.75, "right_rear": 86.25}
    on = [tire(corner, size, on_car=corner) for corner, size in sizes.items()]
    rack = rack_of(*on, tire("other", 86.0))
    assert choose(rack, CAR, Aim(2.25 * INCH)).picks[0].wheel_changes == 1
    assert choose(rack, CAR, curve(2.25, 1.5)).picks[0].wheel_changes == 0


@given(st.floats(0, 8), st.floats(0.05, 3), st.floats(-1, 9))
def test_no_stagger_beats_the_optimum_inside_the_window(unbounded, spread, stagger):
    optimum = float(np.clip(unbounded, 1, 4))
    aim = curve(unbounded, spread)
    aim.recommendation.optimum = optimum * INCH
    assert aim.miss(stagger * INCH) >= 0
    assert aim.miss(optimum * INCH) == pytest.approx(0, abs=1e-12)


# A set of the racer's own, and the map


@settings(max_examples=10, deadline=None)
@given(racks(least=6, most=7), st.randoms())
def test_own_set_is_told_how_many_are_better(rack, random):
    sets = every_set(rack)
    if not sets:
        return
    own = random.choice(sets)
    told = weigh_own(choose(rack, CAR, Aim(2 * INCH)), [one.name for one in own])
    scores = np.array([score_plainly(rack, four, 2.0, Weights()) for four in sets])
    mine = score_plainly(rack, own, 2.0, Weights())
    assert told.pick.score == pytest.approx(mine, abs=1e-8)
    assert told.better == np.sum(scores < mine - 1e-8)
    assert told.broken == []


def test_own_set_that_breaks_a_rule_is_told_which():
    rack = rack_of(
        tire("A", 82), tire("B", 83), tire("C", 84), tire("D", 86),
        tire("X", 86, scrap=True), tire("L", 86, corners=("left_rear",)),
    )  # fmt: skip
    choice = choose(rack, CAR, Aim(2 * INCH))
    assert weigh_own(choice, ["A", "B", "C", "X"]).broken == ["X is marked scrap"]
    assert weigh_own(choice, ["A", "B", "C", "L"]).broken == ["L may not go on the right rear"]


@pytest.mark.parametrize(
    ("names", "words"),
    [(["A", "A", "C", "D"], "two places"), (["A", "B", "C", "Q"], "no tire"), (["A"], "four")],
)
def test_own_set_that_is_no_set_is_refused(names, words):
    rack = rack_of(tire("A", 82), tire("B", 83), tire("C", 84), tire("D", 86))
    with pytest.raises(TireError, match=words):
        weigh_own(choose(rack, CAR, Aim(2 * INCH)), names)


@settings(max_examples=10, deadline=None)
@given(racks(least=5, most=8))
def test_the_map_shows_every_pair_of_staggers_that_can_be_made(rack):
    sets = every_set(rack)
    if not sets:
        return
    size = {one.name: round(one.tapings[0].mean / INCH * 8) for one in rack.tires}
    made = {
        (size[rr.name] - size[lr.name], size[rf.name] - size[lf.name]) for lf, rf, lr, rr in sets
    }
    found = stagger_map(choose(rack, CAR, Aim(2 * INCH)))
    front, rear = np.nonzero(found.made)
    eighth = INCH / 8
    cells = {
        (round(found.rear[r] / eighth), round(found.front[f] / eighth))
        for f, r in zip(front, rear, strict=True)
    }
    assert cells == made


# Racks that cannot be chosen from, and what to doubt


def test_fewer_than_four_usable_tires_are_named():
    rack = rack_of(tire("A", 82), tire("B", 83), tire("C", 84), tire("X", 86, scrap=True))
    with pytest.raises(TireError, match=r"at least four usable tires, the rack has 3: A, B, C; "):
        choose(rack, CAR, Aim(2 * INCH))


def test_an_empty_rack_has_no_usable_tire():
    with pytest.raises(TireError, match="the rack has 0: none"):
        choose(rack_of(), CAR, Aim(2 * INCH))


def test_a_corner_that_no_tire_may_go_to_is_named():
    left = ("left_front", "left_rear")
    rack = rack_of(*(tire(name, 84, corners=left) for name in "ABCD"), tire("E", 84, corners=(
        "right_front",)))  # fmt: skip
    with pytest.raises(TireError, match="no usable tire may go on the right rear"):
        choose(rack, CAR, Aim(2 * INCH))


def test_too_few_tires_for_one_side_is_told():
    left = ("left_front", "left_rear")
    rack = rack_of(*(tire(name, 84, corners=left) for name in "ABC"), tire("E", 84))
    with pytest.raises(TireError, match="no four tires fit together"):
        choose(rack, CAR, Aim(2 * INCH))


def test_doubts_name_what_makes_the_choice_less_sure():
    tires = (
        RackTire("A", (taped(82.5, 82.5, 84, pressure=12 * PSI),), on_car="left_front"),
        RackTire("B", (taped(83.75, pressure=8 * PSI),)),
        tire("C", 83.75),
        RackTire("D", (taped(86.75, pressure=12 * PSI),), ("right_rear",), on_car="right_rear"),
        RackTire("H", (taped(86, temperature=WARM),)),
    )
    rack = rack_of(*tires, running_pressure=Corners(*[12 * PSI] * 4))
    told = doubts(choose(rack, CAR, Aim(2 * INCH), air=False))
    assert [name for name, *_ in told.readings] == ["A"]
    assert told.taped_hot_only == ["H"]
    assert told.no_pressure == ["C"]
    assert [name for name, _ in told.far_corrected] == ["B"]
    assert [name for _, name, *_ in told.not_as_filed] == ["D"]


@pytest.mark.parametrize("by_eighths", [1, 4])
def test_beyond_the_window_costs_what_it_is_beyond(by_eighths):
    # The recommendation would lie at 5 in but for a window that ends at 4: beyond it the curve
    # falls on, and only the distance from the window keeps a set inside.
    best = curve(5.0, 1.0, window=(1, 4)).recommendation
    best.optimum = 4 * INCH
    aim = Aim(4 * INCH, SimpleNamespace(stagger=best))
    beyond = (4 + by_eighths / 8) * INCH
    assert aim.miss(beyond) == pytest.approx(by_eighths * INCH / 8)
    assert aim.miss(4 * INCH) == 0
    tires = [tire("LF", 82.5), tire("RF", 83.75), RackTire("LR", (taped(82),), ("left_rear",))]
    tires += [RackTire("IN", (taped(86),), ("right_rear",)),
              RackTire("OUT", (taped(86 + by_eighths / 8),), ("right_rear",))]  # fmt: skip
    free = Weights(bite=0, gear=0, wheel=0, unlike=0)
    first = choose(rack_of(*tires), CAR, aim, free).picks[0]
    assert first.names["right_rear"] == "IN"
