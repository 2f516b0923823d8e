"""The plan of the night in words, and its JSON; `pit_card` draws it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.corners import CORNERS
from rollpath.screen import TRADE, Screen, inches, pounds, psi
from rollpath.show.bite import CORNER_INITIALS, corner_words, longer_words, turns_words
from rollpath.show.tires import initials
from rollpath.show.words import (
    ROOMY,
    caution_lines,
    columns,
    counted,
    paragraph,
    row,
    sections,
)
from rollpath.trailer.plan import Moves, moves_of
from rollpath.units import EIGHTH

if TYPE_CHECKING:
    from rollpath.trailer.plan import Plan, PlannedRun


def plan_screen(plan: Plan, screen: Screen) -> str:
    """The plan for a racer: what to bolt on first, then every run, then what it trades."""
    parts = [_first_words(plan, screen), _table(plan, screen), _notes(plan, screen)]
    if screen.full:
        parts += [_change_lines(plan, screen), _point_lines(plan)]
    return sections([*parts, caution_lines()], screen)


def short_screen(result: Plan, screen: Screen = TRADE) -> str:
    """The plan in short."""
    return plan_screen(result, screen)


def _first_words(plan: Plan, screen: Screen) -> list[str]:
    first = plan.runs[0]
    return [
        f"Bolt on for {first.run.name}: {initials(first.pick)}",
        f"  {plan.car.name}: bite held at {screen.weight(plan.bite)}; estimates",
    ]


def _table(plan: Plan, screen: Screen) -> list[str]:
    """Runs as columns: tires and air, stagger, bite, jacks, and what is changed before.

    Where that is too wide, every run is a few short lines.
    """
    runs, moves = plan.runs, moves_of(plan)
    rows = [["", *(one.run.name for one in runs)]]
    if any(one.run.condition for one in runs):
        rows.append(["surface", *(one.run.condition for one in runs)])
    rows += [
        [corner_words(corner), *(tire_words(one, corner, screen) for one in runs)]
        for corner in CORNERS
    ]
    rows += [
        ["rear stagger", *(screen.tape(one.pick.rear_stagger) for one in runs)],
        ["wanted", *(screen.tape(one.run.aim.stagger) for one in runs)],
        ["bite", *(screen.weight(one.pick.bite) for one in runs)],
        ["rear jacks", *(jack_words(one) for one in runs)],
        ["wheels to change", *(str(len(one.wheels)) for one in moves)],
        ["valves", *(str(len(one.air)) for one in moves)],
    ]
    widest = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    if sum(widest) + 2 * len(widest) - 2 > screen.width:
        return [line for pair in zip(runs, moves, strict=True) for line in _block(*pair, screen)]
    return columns(rows, 1)


def _block(one: PlannedRun, moves: Moves, screen: Screen) -> list[str]:
    """One run in a few short lines, for a narrow screen."""
    names = [tire_words(one, corner, screen).removesuffix(" psi") for corner in CORNERS]
    stagger, wanted = (screen.tape(one.pick.rear_stagger), screen.tape(one.run.aim.stagger))
    if stagger != wanted:
        stagger += f" of {wanted}"
    surface = f", {one.run.condition}" if one.run.condition else ""
    return [
        f"{one.run.name}{surface}: {_count_words(moves)}",
        f"  {', '.join(names[:2])} / {', '.join(names[2:])}",
        f"  {stagger}, bite {screen.weight(one.pick.bite)}, jacks {jack_words(one)}",
    ]


def tire_words(run: PlannedRun, corner: str, screen: Screen) -> str:
    """A tire and its air, such as ``R7 16 psi``."""
    pressures = run.pick.pressures
    air = "" if pressures is None else f" {screen.pressure(getattr(pressures, corner))}"
    return f"{run.pick.names[corner]}{air}"


def jack_words(run: PlannedRun) -> str:
    """Rear jacks from where they stood before the night, such as ``LR +1/2 RR -1/4``."""
    told = []
    for corner, turns in run.turns.by_name().items():
        if turns:
            count, _, _ = turns_words(abs(turns)).partition(" turn")
            told.append(f"{CORNER_INITIALS[corner]} {'+' if turns > 0 else '-'}{count}")
    return " ".join(told) or "as now"


def _count_words(moves: Moves) -> str:
    """How much is changed before a run: wheels, valves, jacks."""
    jacks = sum(bool(turns) for turns in moves.turns)
    counts = {"wheel": len(moves.wheels), "valve": len(moves.air), "jack": jacks}
    told = [counted(count, what) for what, count in counts.items() if count]
    return ", ".join(told) or "nothing"


def moves_words(moves: Moves, screen: Screen) -> list[str]:
    """Each thing that is done before a run, in words."""
    lines = [
        f"{CORNER_INITIALS[corner]} {off or 'what is on'} off, {on} on"
        for corner, (off, on) in moves.wheels.items()
    ]
    lines += [
        f"{CORNER_INITIALS[corner]} air {screen.pressure(now)} to {screen.pressure(then)}"
        for corner, (now, then) in moves.air.items()
    ]
    lines += [
        f"{CORNER_INITIALS[corner]} jack {longer_words(turns)}"
        for corner, turns in moves.turns.by_name().items()
        if turns
    ]
    return lines or ["nothing to change"]


def _change_lines(plan: Plan, screen: Screen) -> list[str]:
    lines = ["What to change before each run"]
    for one, moves in zip(plan.runs, moves_of(plan), strict=True):
        told = "; ".join(moves_words(moves, screen))
        jacks_still = screen.weight(moves.bite_unjacked, 1)
        lines.append(row(one.run.name, f"{told}. Bite {jacks_still} with the jacks left alone"))
    return lines


def _point_lines(plan: Plan) -> list[str]:
    lines = ["Points, the fewer the better"]
    for one in plan.runs:
        parts = {**one.pick.points, "wheel": one.wheel_points, "jack": one.jack_points}
        told = ", ".join(f"{what} {points:.2f}" for what, points in parts.items())
        lines.append(row(one.run.name, told))
    return [*lines, row("the night", f"{plan.points:.2f}")]


# Notes


def _notes(plan: Plan, screen: Screen) -> list[str]:
    # On a narrow screen what the night trades is a reason: the table and the order fill it.
    trade = trade_words(plan, screen) if screen.full or screen.width >= ROOMY else []
    return [paragraph(note) for note in [*trade, *_missed_words(plan, screen)]]


def trade_words(plan: Plan, screen: Screen) -> list[str]:
    """What the night as a whole does otherwise than run by run, and what that saves."""
    if not plan.alone or plan.points > sum(one.points for one in plan.alone) - 0.005:
        return []
    given = [
        f"{one.run.name} gives up {screen.fine(abs(one.miss) - abs(other.miss))} of stagger"
        for one, other in zip(plan.runs, plan.alone, strict=True)
        if abs(one.miss) - abs(other.miss) > EIGHTH / 4
    ]
    wheels, alone = (sum(len(one.wheels) for one in runs) for runs in (plan.runs, plan.alone))
    turns, alone_turns = (_turns_made(runs) for runs in (plan.runs, plan.alone))
    saved = []
    if wheels != alone:
        saved.append(f"the night takes {counted(wheels, 'wheel')}, run by run it would be {alone}")
    if turns != alone_turns:
        one, other = (turns_words(count) if count else "no turn" for count in (turns, alone_turns))
        saved.append(f"{one} of the jacks, run by run {other}")
    fewer = sum(one.points for one in plan.alone) - plan.points
    words = "; ".join([*given, *saved]) or "the runs share their tires otherwise"
    return [f"The trade: {words} ({fewer:.2f} points better over the night)."]


def _turns_made(runs: tuple[PlannedRun, ...]) -> float:
    total, before = 0.0, None
    for one in runs:
        was = [0.0] * 4 if before is None else list(before)
        total += sum(abs(now - then) for now, then in zip(one.turns, was, strict=True))
        before = one.turns
    return total


def _missed_words(plan: Plan, screen: Screen) -> list[str]:
    told = []
    for name, choice in plan.missed.items():
        nearest, look = choice.nearest, choice.to_look_for()
        told.append(
            f"Note: no set reaches {screen.tape(choice.aim.stagger)} for {name}. The nearest is "
            f"{initials(nearest)} with {screen.tape_or_fine(nearest.rear_stagger)}. At the tire "
            f"truck look for a right rear of {screen.tape(look['right_rear'])} to go with "
            f"{nearest.names['left_rear']}, or a left rear of {screen.tape(look['left_rear'])} to "
            f"go with {nearest.names['right_rear']}."
        )
    return told


# JSON


def plan_json(plan: Plan) -> dict[str, Any]:
    """The result of `plan`; keys end in their unit."""
    moves = moves_of(plan)
    return {
        "rack": plan.rack.name,
        "car": plan.car.name,
        "bite_target_lb": pounds(plan.bite),
        "most_wheels": plan.rules.wheels,
        "runs": [_run_json(*pair) for pair in zip(plan.runs, moves, strict=True)],
        "points": plan.points,
        "run_by_run": {
            "points": sum(one.points for one in plan.alone),
            "wheels": sum(len(one.wheels) for one in plan.alone),
            "rear_stagger_in": [inches(one.pick.rear_stagger) for one in plan.alone],
        } if plan.alone else None,
        "out_of_reach": {
            name: {"nearest": choice.nearest.names,
                   "look_for_in": {corner: inches(rollout)
                                   for corner, rollout in choice.to_look_for().items()}}
            for name, choice in plan.missed.items()
        },
    }  # fmt: skip


def _run_json(one: PlannedRun, moves: Moves) -> dict[str, Any]:
    pick = one.pick
    tires = {
        corner: {
            "id": pick.names[corner],
            "pressure_psi": None
            if pick.pressures is None
            else psi(getattr(pick.pressures, corner)),
            "rollout_in": inches(getattr(pick.rollouts, corner)),
        }
        for corner in CORNERS
    }
    return {
        "name": one.run.name,
        "condition": one.run.condition or None,
        **tires,
        "rear_stagger_in": inches(pick.rear_stagger),
        "wanted_in": inches(one.run.aim.stagger),
        "front_stagger_in": inches(pick.front_stagger),
        "bite_lb": pounds(pick.bite),
        "bite_change_lb": pounds(pick.bite_change),
        "bite_unjacked_lb": pounds(moves.bite_unjacked),
        "jack_turns": one.turns.by_name(),
        "changes": {
            "wheels": {c: {"off": off or None, "on": on} for c, (off, on) in moves.wheels.items()},
            "air_psi": {c: [psi(now), psi(then)] for c, (now, then) in moves.air.items()},
            "jack_turns": moves.turns.by_name(),
        },
        "points": one.points,
    }
