"""The plan of the night: which tires, how much air and how many jack turns, run by run.

Each run wants its stagger, bite is held to one target all night, and what is changed between runs
costs too. A run scores as a set of four does; wheels and jack turns count from run to run, so the
best night need not be the best of every run. It is found exactly; `passes` tells how.

Air is set before every run anyway, so a pound counts by how far it is from the running pressure,
not by how far from the run before.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rollpath.car import Car
from rollpath.corners import CORNERS, Corners
from rollpath.results import Result
from rollpath.scales.rates import bite_change, bite_rates
from rollpath.scales.twist import Change
from rollpath.tires.aim import HOLD_BITE, Weights
from rollpath.tires.choose import Choice, choose
from rollpath.tires.rack import Rack
from rollpath.tires.sets import Pick, best_air, pick_of
from rollpath.trailer.asked import PlanError, Rules, Run
from rollpath.trailer.passes import (
    JACK,
    TURN_STEP,
    Night,
    Steps,
    best_steps,
    one_after_the_other,
)

PLAN_WEIGHTS = Weights(bite=HOLD_BITE, unlike=0.05)
"""Bite is held all night; 2 lb cost as much as an eighth of an inch of stagger. Unlike tires count
in every run, so each time for less than in a choice for one."""
MOST_RUNS = 12
NO_TURNS = Corners(0.0, 0.0, 0.0, 0.0)


# What is found


@dataclass(frozen=True)
class PlannedRun:
    """One run of the plan.

    Attributes
    ----------
    run : Run
    pick : Pick
        Tires, air, stagger and bite; its points leave wheels and jacks out.
    turns : Corners[float]
        Jack turns from where they are before the night; positive is longer.
    wheels : tuple of str
        Corners whose wheel is changed before this run.
    jack_points, wheel_points : float
        Of what is changed before this run.
    """

    run: Run
    pick: Pick
    turns: Corners[float]
    wheels: tuple[str, ...]
    jack_points: float
    wheel_points: float

    @property
    def points(self) -> float:
        return self.pick.score + self.jack_points + self.wheel_points

    @property
    def miss(self) -> float:
        """Stagger less the stagger wanted, m."""
        return self.pick.aimed_stagger - self.run.aim.stagger

    def change(self, car: Car) -> Change:
        """Everything against the car file, as `weigh_change` takes it."""
        return self.pick.change(car) + Change(turns=self.turns)


@dataclass(frozen=True)
class Moves:
    """What is done to the car before one run.

    Attributes
    ----------
    wheels : dict of str to (str, str)
        By corner: the tire that comes off, empty where it is not known, and the one that goes on.
    air : dict of str to (float, float)
        By corner: pressure of the run before (the running one before the first) and of this one,
        where they differ, Pa. A tire that goes on is set on the ground.
    turns : Corners[float]
        Jack turns; positive is longer.
    bite_unjacked : float
        Bite with the jacks left as they were, N.
    """

    wheels: dict[str, tuple[str, str]]
    air: dict[str, tuple[float, float]]
    turns: Corners[float]
    bite_unjacked: float


@dataclass(frozen=True, eq=False)
class Plan(Result, told_by="plan"):
    """The plan of a night.

    Attributes
    ----------
    rack, rules : as given
    car : Car
        With its pressures.
    bite : float
        Target, N.
    runs : tuple of PlannedRun
    alone : tuple of PlannedRun
        The night with every run at its own best, one after the other; empty where that breaks a
        rule.
    missed : dict of str to Choice
        By the name of the run, where no set of the rack reaches the stagger wanted.
    """

    rack: Rack
    rules: Rules
    car: Car
    bite: float
    runs: tuple[PlannedRun, ...]
    alone: tuple[PlannedRun, ...]
    missed: dict[str, Choice]

    @property
    def points(self) -> float:
        return sum(one.points for one in self.runs)


def plan(
    rack: Rack,
    car: Car,
    runs: Sequence[Run],
    *,
    bite: float | None = None,
    rules: Rules | None = None,
    weights: Weights | None = None,
) -> Plan:
    """The night of fewest points, exactly.

    Parameters
    ----------
    rack : Rack
    car : Car
        Scalar fields; bite is against its rollouts and weights.
    runs : sequence of Run
    bite : float, optional
        Target on the scales, N; what the car has now when left out.
    rules : Rules, optional
    weights : Weights, optional
        `PLAN_WEIGHTS` when left out.

    Raises
    ------
    PlanError
        If a run pins what is not there, or no night keeps to the rules.
    TireError
        If no four tires may go on the car together.

    Examples
    --------
    A heavy heat and a slick feature::

        night = plan(rack, car, [Run("heat", Aim(2.5 * INCH)), Run("feature", Aim(1.5 * INCH))])
        night.runs[1].wheels
    """
    rules, weights = rules or Rules(), weights or PLAN_WEIGHTS
    _check(rack, runs)
    target = float(car.weights.bite) if bite is None else bite
    night = Night.of(rack, car, runs, target, rules, weights)
    steps = best_steps(night)
    if steps is None:
        raise PlanError(
            f"no plan keeps to {rules.wheels} wheels between runs; allow more, or plan fewer pins"
        )
    planned = _planned(night, steps)
    alone = one_after_the_other(night)
    return Plan(
        rack, rules, night.scorings[0].car, target, planned,
        alone=_planned(night, alone) if alone is not None else (),
        missed=_missed(rack, car, planned, rules),
    )  # fmt: skip


def moves_of(plan: Plan) -> list[Moves]:
    """What is done before each run of a plan."""
    names = {tire.on_car: tire.name for tire in plan.rack.tires if tire.on_car}
    pressures, turned, found = plan.rack.running_pressure, NO_TURNS, []
    rate = bite_rates(plan.car)
    for one in plan.runs:
        now = one.pick.pressures
        turns = one.turns.with_each(turned, lambda new, old: new - old)
        air = {} if now is None or pressures is None else {
            corner: (float(was), float(then))
            for corner, was, then in zip(CORNERS, pressures, now, strict=True)
            if corner not in one.wheels and abs(float(then - was)) > 1.0
        }  # fmt: skip
        found.append(
            Moves(
                {c: (names.get(c, ""), one.pick.names[c]) for c in one.wheels}, air, turns,
                one.pick.bite - (
                    float(bite_change(plan.car, rate, Change(turns=turns))) if any(turns) else 0.0
                ),
            )
        )  # fmt: skip
        names, pressures, turned = one.pick.names, now, one.turns
    return found


def _check(rack: Rack, runs: Sequence[Run]) -> None:
    if not 1 <= len(runs) <= MOST_RUNS:
        raise PlanError(f"expected 1 to {MOST_RUNS} runs, got {len(runs)}")
    for run in runs:
        pinned = [name for name in run.pins if name]
        for name in pinned:
            if name not in rack.names:
                raise PlanError(
                    f'{run.name}: no tire "{name}" in the rack; it holds {", ".join(rack.names)}'
                )
            if pinned.count(name) > 1:
                raise PlanError(f"{run.name}: {name} cannot be in two places")


def _missed(
    rack: Rack, car: Car, planned: tuple[PlannedRun, ...], rules: Rules
) -> dict[str, Choice]:
    """For the runs whose stagger is missed though they were free to choose: what is nearest."""
    missed = {}
    for one in planned:
        if not one.run.aim.reached(one.pick.aimed_stagger):
            choice = choose(rack, car, one.run.aim, air=rules.air, most=1)
            if not choice.in_reach:
                missed[one.run.name] = choice
    return missed


def _planned(night: Night, steps: Steps) -> tuple[PlannedRun, ...]:
    """A night in words of tires."""
    before, turned, found = night.scorings[0].on_car, 0, []
    for run, scoring, (flat, jack) in zip(night.runs, night.scorings, steps, strict=True):
        four, quarters = night.set_of(flat), int(night.jacks[jack])
        jacked = quarters * night.jack_bite
        added = best_air(scoring, night.limits, four, jacked=jacked)
        pick = pick_of(scoring, night.limits, four, added, jacked)
        wheels = tuple(
            corner for corner, i, there in zip(CORNERS, four, before, strict=True) if i != there
        )
        found.append(
            PlannedRun(
                run, replace(pick, wheel_changes=len(wheels)), _turns(quarters), wheels,
                JACK * TURN_STEP * abs(quarters - turned), night.wheel * len(wheels),
            )
        )  # fmt: skip
        before, turned = tuple(four), quarters
    return tuple(found)


def _turns(quarters: int) -> Corners[float]:
    """Quarter turns shared by the rear jacks, left longer and right shorter: ride height stays."""
    left, right = quarters - quarters // 2, quarters // 2
    return Corners(0.0, 0.0, TURN_STEP * left, 0.0 - TURN_STEP * right)
