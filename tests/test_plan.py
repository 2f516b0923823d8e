"""The plan of the night: exactly the best over all runs, and every number of it by hand."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import load_car
from rollpath.files.racks import load_rack
from rollpath.scales.hold import weigh_change
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.rack import Rack, RackTire, Taping
from rollpath.trailer.asked import PlanError, Rules, Run
from rollpath.trailer.passes import JACK
from rollpath.trailer.plan import PLAN_WEIGHTS, plan
from rollpath.units import INCH, POUND, PSI
from scipy.optimize import Bounds, LinearConstraint, milp

ROOT = Path(__file__).parent.parent
RUNNING = Corners(14 * PSI, 18 * PSI, 12 * PSI, 16 * PSI)
CAR = replace(load_car(ROOT / "cars" / "number-31.yaml"), pressure=RUNNING)
RACK = load_rack(ROOT / "cars" / "racks" / "number-31.yaml")
TURN = 2 * np.pi * 9.5 * 63 / 44 / 12
"""Bite of one rear jack turn, lb: 1/12 in on a 44 in base under 9.5 lb an inch on 63 in."""
WEIGHTS = replace(PLAN_WEIGHTS, gear=0.0, unlike=0.0)


def runs_of(*inches: float) -> list[Run]:
    return [Run(f"run {i}", Aim(one * INCH)) for i, one in enumerate(inches)]


def rack_of(seed: int, count: int, span: float, on_car: bool = True, any_side: bool = True) -> Rack:
    """Tires of one growth each, taped as they run; the limits leave `span` psi either way."""
    rng = np.random.default_rng(seed)
    tires = []
    for i in range(count):
        rollout, growth = 83 + rng.uniform(0, 3.5), rng.uniform(0.05, 0.2)
        tapings = tuple(Taping(((rollout - growth * by) * INCH,), (12 - by) * PSI) for by in (4, 0))
        corners = CORNERS if any_side else CORNERS[i % 2 :: 2]
        tires.append(RackTire(f"T{i}", tapings, corners,
                              on_car=CORNERS[i] if on_car and i < 4 else ""))  # fmt: skip
    running = Corners.every(12 * PSI)
    limits = ((12 - span) * PSI, (12 + span) * PSI)
    return Rack("made up", tuple(tires), running, pressure_limits=limits)


LEVEL = replace(CAR, pressure=Corners.every(12 * PSI), cg_height=0.0, roll_center=(0.0, 0.0))
"""Nothing that leans takes weight along, so that a turn is what geometry alone says."""


def mounted(rack: Rack, corner: int, tire: int, span: float):
    """By hand: air, its rollout and what it lifts as rollout, in psi and inches."""
    air = np.arange(-2 * span, 2 * span + 1) / 2
    rollout = rack.tires[tire].cold.mean / INCH + rack.tires[tire].own_growth * PSI / INCH * air
    weight = (812, 741, 838, 779)[corner]
    rates = 1100 * (0.25 + 0.75 * (12 + air) / 12)
    return air, rollout, rollout + 2 * np.pi * weight * (1 / 1100 - 1 / rates)


def points_by_hand(rack: Rack, four, wanted: float, jacked, span: float, w: Weights):
    """Points of a set at every place of the jacks with its best air; all of it tried."""
    states = [mounted(rack, c, i, span) for c, i in enumerate(four)]
    grid = np.ix_(*[range(len(one[0])) for one in states])
    air, rollout, lifts = ([states[c][k][grid[c]] for c in range(4)] for k in range(3))
    stagger = rollout[3] - rollout[2]
    bite = -9.5 * (lifts[3] - lifts[2] - 2.5) + 9.0 * (lifts[1] - lifts[0] - 1.25)
    other = w.stagger * INCH * abs(stagger - wanted) + w.air * PSI * sum(map(abs, air))
    return np.array([(other + w.bite * POUND * abs(bite + by)).min() for by in jacked])


@pytest.mark.parametrize(
    ("seed", "wheels", "span"), [(1, 4, 0.5), (2, 2, 0.5), (3, 1, 0.5), (4, 2, 1)]
)
def test_two_runs_are_planned_as_brute_force_plans_them(monkeypatch, seed, wheels, span):
    monkeypatch.setattr("rollpath.trailer.passes.MOST_TURNS", 1.0)
    rack, wanted = rack_of(seed, 5, span), (2.0, 1.25)
    quarters = np.arange(-4, 5)
    sets = list(itertools.permutations(range(5), 4))
    first, second = (
        np.array([points_by_hand(rack, four, inches, quarters * TURN / 4, span, WEIGHTS)
                  for four in sets])
        for inches in wanted
    )  # fmt: skip
    least = np.inf
    turning = JACK / 4 * abs(np.subtract.outer(quarters, quarters))
    for a, four in enumerate(sets):
        start = sum(i != c for c, i in enumerate(four)) * WEIGHTS.wheel
        before = (first[a] + start + turning[4])[:, None] + turning
        for b, other in enumerate(sets):
            changed = sum(i != j for i, j in zip(four, other, strict=True))
            if changed <= wheels:
                total = before + second[b] + WEIGHTS.wheel * changed
                least = min(least, total.min())
    night = plan(rack, LEVEL, runs_of(*wanted), rules=Rules(wheels), weights=WEIGHTS)
    assert night.points == pytest.approx(least, abs=1e-8)
    assert len(night.runs[1].wheels) <= wheels
    assert not night.alone or night.points <= sum(one.points for one in night.alone) + 1e-9


def test_an_integer_program_finds_no_better_night():
    # Outside check: HiGHS through scipy.optimize.milp. A tire at a pressure for each corner of each
    # run, wheels changed as what a tire gains over the run before, jacks as whole quarter turns.
    rack, wanted, span, w = rack_of(7, 8, 0.5, any_side=False), (2.25, 1.25), 0.5, WEIGHTS
    tires = [[i for i in range(8) if CORNERS[c] in rack.tires[i].corners] for c in range(4)]
    program = _Program()
    before = [{i: float(rack.tires[i].on_car == CORNERS[c]) for i in tires[c]} for c in range(4)]
    jack_before = None
    for inches in wanted:
        jack = program.variable(-24, 24, whole=True)
        jumped = program.variable(cost=JACK / 4)
        for sign in (1, -1):
            program.at_most({jumped: -1, jack: sign, **({} if jack_before is None else
                                                        {jack_before: -sign})})  # fmt: skip
        missed = program.variable(cost=w.stagger * INCH)
        bitten = program.variable(cost=w.bite * POUND)
        stagger, bite, now = {}, {jack: TURN / 4}, [{} for _ in range(4)]
        used = {i: {} for i in range(8)}
        for c in range(4):
            chosen = {}
            for i in tires[c]:
                here = {}
                for air, rollout, lifts in zip(*mounted(rack, c, i, span), strict=True):
                    x = program.variable(0, 1, cost=w.air * PSI * abs(air), whole=True)
                    here[x] = chosen[x] = used[i][x] = 1.0
                    stagger[x] = {2: -rollout, 3: rollout}.get(c, 0.0)
                    bite[x] = (-9.0, 9.0, 9.5, -9.5)[c] * lifts
                fresh = program.variable(0, 1, cost=w.wheel)
                there = before[c][i]
                old = {} if isinstance(there, float) else dict.fromkeys(there, -1.0)
                most = there if isinstance(there, float) else 0.0
                program.at_most({**here, **old, fresh: -1.0}, most)
                now[c][i] = here
            program.exactly(chosen, 1.0)
        for one in used.values():
            program.at_most(one, 1.0)
        for sign in (1, -1):
            size = {x: sign * v for x, v in stagger.items()}
            program.at_most(size | {missed: -1}, sign * inches)
            program.at_most({x: sign * v for x, v in bite.items()} | {bitten: -1},
                            sign * (9.0 * 1.25 - 9.5 * 2.5))  # fmt: skip
        before, jack_before = now, jack
    best = program.solve()
    night = plan(rack, LEVEL, runs_of(*wanted), weights=w)
    assert night.points == pytest.approx(best, abs=1e-5)


class _Program:
    """A mixed-integer program put together term by term."""

    def __init__(self) -> None:
        self.cost, self.low, self.high, self.whole, self.rows = [], [], [], [], []

    def variable(self, low=0.0, high=np.inf, cost=0.0, whole=False) -> int:
        self.low.append(low), self.high.append(high)
        self.cost.append(cost), self.whole.append(whole)
        return len(self.cost) - 1

    def at_most(self, terms: dict, most: float = 0.0) -> None:
        self.rows.append((terms, -np.inf, most))

    def exactly(self, terms: dict, value: float) -> None:
        self.rows.append((terms, value, value))

    def solve(self) -> float:
        A = np.zeros((len(self.rows), len(self.cost)))
        for at, (terms, _, _) in enumerate(self.rows):
            A[at, list(terms)] = list(terms.values())
        low, high = (np.array([row[k] for row in self.rows]) for k in (1, 2))
        found = milp(
            self.cost, constraints=LinearConstraint(A, low, high), integrality=self.whole,
            bounds=Bounds(self.low, self.high), options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        assert found.success
        return found.fun


# What a plan says


@pytest.fixture(scope="module")
def night():
    return plan(RACK, CAR, runs_of(2.5, 2.25, 1.5))


def test_every_number_is_that_of_the_scales_on_the_same_set(night):
    for one in night.runs:
        outcome = weigh_change(night.car, one.change(night.car))
        assert one.pick.bite == pytest.approx(outcome.then.weights.bite, abs=1e-6)
        rollouts = one.pick.rollouts
        assert one.pick.rear_stagger == rollouts.right_rear - rollouts.left_rear


def test_bite_is_held_to_the_target_within_a_pound_all_night(night):
    for one in night.runs:
        assert one.pick.bite == pytest.approx(night.bite, abs=1.0 * POUND)


def test_a_bite_target_is_held_too():
    night = plan(RACK, CAR, runs_of(2.5, 1.5), bite=75 * POUND)
    assert [one.pick.bite / POUND for one in night.runs] == pytest.approx([75, 75], abs=1.5)


def test_wheels_changed_are_those_that_differ_from_the_run_before(night):
    before = {tire.on_car: tire.name for tire in RACK.tires if tire.on_car}
    for one in night.runs:
        names = one.pick.names
        assert set(one.wheels) == {c for c in CORNERS if names[c] != before[c]}
        before = names


def test_jacks_keep_ride_height_within_a_quarter_turn(night):
    for one in night.runs:
        assert abs(one.turns.left_rear + one.turns.right_rear) <= 0.25


def test_no_jacks_means_no_turns():
    night = plan(RACK, CAR, runs_of(2.5, 1.5), rules=Rules(jacks=False))
    assert all(not any(one.turns) for one in night.runs)


def test_a_night_of_one_surface_changes_nothing_between_runs():
    night = plan(RACK, CAR, runs_of(2.0, 2.0, 2.0))
    assert not night.runs[1].wheels and not night.runs[2].wheels


def test_a_pinned_tire_is_where_it_was_put():
    pinned = Run("heat", Aim(2 * INCH), pins=Corners("", "", "", "R9"))
    night = plan(RACK, CAR, [pinned])
    assert night.runs[0].pick.names["right_rear"] == "R9"


def test_a_stagger_out_of_reach_names_the_nearest(night):
    assert not night.missed
    far = plan(RACK, CAR, runs_of(2.0, 6.0))
    assert set(far.missed) == {"run 1"}
    assert far.missed["run 1"].to_look_for()["right_rear"] > 87.5 * INCH


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        (Corners("", "", "R7", "R7"), "two places"),
        (Corners("", "", "", "Q1"), 'no tire "Q1"'),
        (Corners("", "", "R7", ""), "where it was put"),
    ],
)
def test_pins_that_cannot_be_are_refused(pins, words):
    with pytest.raises(PlanError, match=words):
        plan(RACK, CAR, [Run("heat", Aim(2 * INCH), pins=pins)])


def test_pins_beyond_the_wheels_allowed_are_refused():
    runs = [Run("heat", Aim(2 * INCH), pins=Corners("A1", "B1", "L4", "R7")),
            Run("feature", Aim(2 * INCH), pins=Corners("A2", "B2", "L5", "R8"))]  # fmt: skip
    with pytest.raises(PlanError, match="wheels between runs"):
        plan(RACK, CAR, runs, rules=Rules(wheels=2))
