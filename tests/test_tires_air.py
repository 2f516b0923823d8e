"""The choice of tires and air: exactly the best, against brute force and an integer program."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import load_car
from rollpath.scales.hold import weigh_change
from rollpath.tires.aim import HOLD_BITE, Aim, Weights
from rollpath.tires.choose import choose
from rollpath.tires.judge import weigh_own
from rollpath.tires.rack import Rack, RackTire, Taping
from rollpath.units import INCH, POUND, PSI
from scipy.optimize import Bounds, LinearConstraint, milp

RUNNING = Corners(14 * PSI, 18 * PSI, 12 * PSI, 16 * PSI)
CAR = replace(load_car(Path(__file__).parent.parent / "cars" / "number-31.yaml"), pressure=RUNNING)


def lifted(corner: int, pounds_per_inch2: float) -> float:
    """How much higher than at the running pressure a corner stands, as inches of rollout."""
    running = [14, 18, 12, 16][corner]
    mean, weight = (16, 14)[corner // 2], (812, 741, 838, 779)[corner]
    now, then = (1100 * (0.25 + 0.75 * p / mean) for p in (running, running + pounds_per_inch2))
    return 2 * np.pi * weight * (1 / now - 1 / then)


def score_plainly(four, air, target: float, w: Weights) -> float:
    """Points of a set and its air by the plainest route, in inches, pounds and psi."""
    rollout = [t.cold.mean / INCH + g(t) * p for t, p in zip(four, air, strict=True)]
    lf, rf, lr, rr = (r + lifted(c, p) for c, (r, p) in enumerate(zip(rollout, air, strict=True)))
    bite = -9.5 * (rr - lr - 2.5) + 9.0 * (rf - lf - 1.25)
    gear = 170 / (rollout[2] + rollout[3]) - 1
    wheels = sum(one.on_car != corner for one, corner in zip(four, CORNERS, strict=True))
    return (
        w.stagger * INCH * abs(rollout[3] - rollout[2] - target) + w.bite * POUND * abs(bite)
        + w.gear * abs(gear) + w.wheel * wheels + w.air * PSI * sum(map(abs, air))
    )  # fmt: skip


def g(tire: RackTire) -> float:
    """Growth, in per psi: its own where it was taped twice, else the rack's eighth."""
    return 0.125 if tire.own_growth is None else tire.own_growth * PSI / INCH


def steps(tire: RackTire, corner: int) -> np.ndarray:
    running = RUNNING[corner] / PSI
    low, high = (p / PSI for p in tire.pressure_limits) if tire.pressure_limits else (
        running - 2, running + 2)  # fmt: skip
    every = np.arange(-40, 41) / 2
    return every[(running + every >= low - 1e-6) & (running + every <= high + 1e-6)]


@st.composite
def racks(draw, least: int = 4, most: int = 6, span: float = 1.0) -> Rack:
    count = draw(st.integers(least, most))
    on_car = draw(st.permutations([*CORNERS, *[""] * (count - 4)]))
    tires = []
    for i in range(count):
        rollout = 82 + draw(st.integers(0, 36)) / 8
        tapings = [Taping((rollout * INCH,))]
        if draw(st.booleans()):  # two tapings around one mean: a growth of its own
            grows = draw(st.sampled_from([0.0, 0.06, 0.2]))
            tapings.insert(0, Taping(((rollout - 2 * grows) * INCH,), 12 * PSI))
            tapings[1] = Taping((rollout * INCH,), 14 * PSI)
        corner = draw(st.integers(0, 3))
        running = RUNNING[corner] / PSI
        limits = (running - span * draw(st.sampled_from([0, 0.5, 1])), running + span)
        corners = draw(st.sampled_from([CORNERS, CORNERS, CORNERS[::2], CORNERS[1::2]]))
        tires.append(RackTire(f"T{i}", tuple(tapings), corners, on_car=on_car[i],
                              pressure_limits=tuple(PSI * p for p in limits)))  # fmt: skip
    return Rack("made up", tuple(tires), None)


def at_running(rack: Rack) -> Rack:
    """The same with every tire taped at the running pressure of any corner: no correction."""
    return replace(rack, running_pressure=RUNNING)


some_weights = st.sampled_from(
    [Weights(), Weights(bite=HOLD_BITE), Weights(air=0), Weights(bite=0), Weights(stagger=0),
     Weights(wheel=3, air=2 / PSI)]
)  # fmt: skip


def every_set(rack: Rack):
    """Each allowed set of four with each choice of air."""
    for four in itertools.permutations(rack.tires, 4):
        if all(corner in one.corners for one, corner in zip(four, CORNERS, strict=True)):
            choices = [steps(one, corner) for corner, one in enumerate(four)]
            if all(map(len, choices)):
                yield four, choices


@settings(max_examples=15, deadline=None)
@given(racks(), st.integers(4, 28), some_weights)
def test_tires_and_air_are_those_of_brute_force(rack, eighths, weights):
    weights, target = replace(weights, unlike=0), eighths / 8
    rack = at_running(replace(rack, tires=tuple(
        replace(t, tapings=(Taping(t.tapings[-1].readings),)) for t in rack.tires)))  # fmt: skip
    best = {}
    for four, choices in every_set(rack):
        air = np.meshgrid(*choices, sparse=True)
        best[tuple(t.name for t in four)] = score_plainly(four, air, target, weights).min()
    if not best:
        return
    choice = choose(rack, CAR, Aim(target * INCH), weights)
    lowest = np.sort(list(best.values()))[:10]
    assert choice.considered == len(best)
    assert [pick.score for pick in choice.picks] == pytest.approx(lowest, abs=1e-8)
    for pick in choice.picks:
        assert pick.score == pytest.approx(best[tuple(pick.names.values())], abs=1e-8)
        air = [one / PSI for one in pick.added]
        assert pick.score == pytest.approx(score_plainly(pick.tires, air, target, weights))
        for one, pressure in zip(pick.tires, pick.pressures, strict=True):
            low, high = one.pressure_limits
            assert low - 1 <= pressure <= high + 1
    own = weigh_own(choice, list(choice.picks[-1].names.values()))
    below = sum(score < choice.picks[-1].score - 1e-8 for score in best.values())
    assert own.better == below


def grown_rack(seed: int, count: int) -> Rack:
    """Tires with growths of their own, taped at the running pressure of the left rear."""
    rng = np.random.default_rng(seed)
    tires = []
    for i in range(count):
        rollout, growth = 82 + rng.uniform(0, 4.5), rng.uniform(0.04, 0.2)
        tapings = [Taping(((rollout - growth * by) * INCH,), (12 - by) * PSI) for by in (2, 0)]
        tires.append(RackTire(f"T{i}", tuple(tapings), CORNERS[::2] if i % 2 else CORNERS[1::2]))
    return Rack("made up", tuple(tires), RUNNING, pressure_limits=(8 * PSI, 22 * PSI))


@pytest.mark.parametrize("weights", [Weights(gear=0), Weights(gear=0, bite=HOLD_BITE)])
def test_an_integer_program_finds_no_better_tires_and_air(weights):
    # Outside check: HiGHS through scipy.optimize.milp. One tire at one pressure a corner, the
    # sizes of the stagger miss and of the bite change as variables above them and their opposites.
    rack, target = grown_rack(5, 10), 2.1
    cost, corner, stagger, bite, which = [], [], [], [], []
    for c, name in enumerate(CORNERS):
        running = RUNNING[c] / PSI
        for i, one in enumerate(rack.tires):
            if name not in one.corners:
                continue
            for air in np.arange(-40, 41) / 2:
                if not 8 <= running + air <= 22:
                    continue
                rollout = one.cold.mean / INCH + g(one) * (running + air - 12)
                lifts = rollout + lifted(c, air)
                cost.append(weights.air * PSI * abs(air) + weights.wheel)
                corner.append(c)
                which.append(i)
                stagger.append({2: -rollout, 3: rollout}.get(c, 0.0))
                bite.append({0: -9 * lifts, 1: 9 * lifts, 2: 9.5 * lifts, 3: -9.5 * lifts}[c])
    n, corner, which = len(cost), np.array(corner), np.array(which)
    unlike_free = np.array([*cost, weights.stagger * INCH, weights.bite * POUND])
    row = np.zeros((2, n + 2))
    one_each = np.array([[*(corner == c), 0, 0] for c in range(4)], dtype=float)
    once = np.array([[*(which == i), 0, 0] for i in range(10)], dtype=float)
    row[0, :n], row[1, :n] = stagger, bite
    at = np.array([target, 9.0 * 1.25 - 9.5 * 2.5])
    up, down = row.copy(), -row
    up[[0, 1], [n, n + 1]] = down[[0, 1], [n, n + 1]] = -1
    solved = milp(
        unlike_free,
        constraints=[LinearConstraint(one_each, 1, 1), LinearConstraint(once, 0, 1),
                     LinearConstraint(up, -np.inf, at), LinearConstraint(down, -np.inf, -at)],
        integrality=np.array([1] * n + [0, 0]),
        bounds=Bounds(0, np.array([1.0] * n + [np.inf] * 2)),
        options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    first = choose(rack, CAR, Aim(target * INCH), replace(weights, unlike=0)).picks[0]
    assert first.score == pytest.approx(solved.fun, abs=1e-6)


def test_bite_of_a_set_with_air_is_that_of_the_scales():
    choice = choose(grown_rack(3, 10), CAR, Aim(2 * INCH))
    first = choice.picks[0]
    assert any(first.added)
    raised = weigh_change(choice.car, first.change(choice.car)).raised
    assert first.bite_change == pytest.approx(raised, abs=1e-9)


def test_without_a_running_pressure_air_is_left_alone():
    choice = choose(replace(grown_rack(3, 10), running_pressure=None), CAR, Aim(2 * INCH))
    assert choice.picks[0].pressures is None and not any(choice.picks[0].added)


def test_air_never_makes_the_choice_worse():
    rack = grown_rack(8, 12)
    still = choose(rack, CAR, Aim(2 * INCH), air=False).picks[0]
    assert not any(still.added)
    assert choose(rack, CAR, Aim(2 * INCH)).picks[0].score <= still.score
