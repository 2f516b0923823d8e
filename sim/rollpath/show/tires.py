"""Which tires to bolt on, in words and JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.corners import CORNERS
from rollpath.screen import TRADE, Screen, inches, pounds, psi
from rollpath.show.bite import (
    CORNER_INITIALS,
    air_words,
    corner_words,
    corners_json,
    hold_json,
    pad_lines,
    pads_json,
    side_effect_lines,
    way_to_hold,
)
from rollpath.show.surface import surface_json, watch_lines
from rollpath.show.words import (
    case_words,
    caution_lines,
    columns,
    counted,
    figures,
    none_or,
    paragraph,
    row,
    sections,
    tape_range,
)
from rollpath.tires.air import REACH_UNSTATED
from rollpath.tires.choose import Choice
from rollpath.tires.judge import doubts, in_full, warmed
from rollpath.tires.rack import RackTire
from rollpath.tires.rules import FRONT, REAR
from rollpath.units import Real

if TYPE_CHECKING:
    from rollpath.scales.hold import Outcome
    from rollpath.tires.judge import OwnSet
    from rollpath.tires.rack import Rack
    from rollpath.tires.sets import Pick


AIM_WORDS = {
    "stagger": "rear stagger",
    "bite": "bite",
    "gear": "gear",
    "wheel": "wheels to change",
    "unlike": "unlike tires",
    "air": "air",
}


def pick_json(pick: Pick) -> dict[str, Any]:
    """One set of four; keys end in their unit."""
    return {
        **pick.names,
        "rear_stagger_in": inches(pick.rear_stagger),
        "front_stagger_in": inches(pick.front_stagger),
        "bite_lb": pounds(pick.bite),
        "bite_change_lb": pounds(pick.bite_change),
        "gear_change_pct": 100 * pick.gear_change,
        "wheel_changes": pick.wheel_changes,
        "score": pick.score,
        "rank": pick.rank or None,
        "points": pick.points,
        "rollouts_in": corners_json(pick.rollouts),
        "pressures_psi": none_or(pick.pressures, lambda four: four.map(psi).by_name()),
        "added_psi": pick.added.map(psi).by_name(),
        "hot_rear_stagger_in": none_or(pick.hot_stagger(REAR), inches),
        "hot_front_stagger_in": none_or(pick.hot_stagger(FRONT), inches),
    }


def tires_json(choice: Choice, outcome: Outcome, own: OwnSet | None) -> dict[str, Any]:
    """The result of `tires`; keys end in their unit."""
    best, heights, told = choice.aim.recommendation, outcome.ride_heights, doubts(choice)
    hot = warmed(choice, choice.picks[0])
    to_look_for = {} if choice.in_reach else choice.to_look_for()
    return {
        "rack": choice.rack.name,
        "car": choice.car.name,
        "target_in": inches(choice.aim.stagger),
        "target_is_hot": choice.hot,
        "surface": none_or(choice.aim.baseline, surface_json),
        "band_in": None if best is None else [inches(end) for end in best.band],
        "picks": [pick_json(pick) for pick in choice.picks],
        "tied_for_first": choice.tied,
        "sets_considered": choice.considered,
        "target_in_reach": choice.in_reach,
        "nearest": pick_json(choice.nearest),
        "look_for_in": {corner: inches(rollout) for corner, rollout in to_look_for.items()},
        "first": {
            "pads": pads_json(outcome.then),
            "holds": [hold_json(hold) for hold in outcome.holds],
            "ride_height_change_in": none_or(heights, corners_json),
            "front_stagger_change_in": inches(outcome.change.front_stagger),
            "hot_rear_stagger_in": none_or(hot, lambda one: inches(one.rear_stagger)),
            "hot_bite_change_lb": none_or(hot, lambda one: pounds(one.bite_change)),
        },
        "tape_next": told.tape_next[0] if told.tape_next else None,
        "limits_unstated": told.limits_unstated,
        "why": None if own is None else {
            **pick_json(own.pick), "better_sets": own.better, "broken_rules": own.broken,
        },
        "questioned_readings": [
            {"tire": name, "reading_in": inches(one), "others_in": inches(mean)}
            for name, one, mean in told.readings
        ],
    }  # fmt: skip


def tires_screen(choice: Choice, outcome: Outcome, own: OwnSet | None, screen: Screen) -> str:
    """The result of `tires` for a racer: what to bolt on, the best ten, the first in full."""
    parts = [
        _tires_answer(choice, screen),
        _best_lines(choice, screen),
        _left_over_lines(choice, outcome, screen),
        _why_lines(choice, own, screen),
    ]
    if screen.full:
        parts += [_first_lines(choice, outcome, screen), pad_lines(outcome, screen)]
    parts += [_doubt_lines(choice, screen), caution_lines()]
    return sections(parts, screen)


def short_screen(result: Choice, screen: Screen = TRADE) -> str:
    """The result of `tires` in short."""
    return tires_screen(result, in_full(result), None, screen)


def initials(pick: Pick) -> str:
    """A set in a line: ``LF A1, RF B1, LR L4, RR R7``."""
    return ", ".join(f"{CORNER_INITIALS[corner]} {name}" for corner, name in pick.names.items())


def valves_words(pick: Pick, screen: Screen) -> str:
    """The air that is not the running one: ``LR 11.5 psi (-0.5)``; empty when all of it is."""
    if pick.pressures is None:
        return ""
    return ", ".join(
        f"{CORNER_INITIALS[corner]} {screen.pressure(pressure)} ({air_words(added, screen)})"
        for corner, pressure, added in zip(CORNERS, pick.pressures, pick.added, strict=True)
        if added
    )


def _tires_answer(choice: Choice, screen: Screen) -> list[str]:
    first = choice.picks[0]
    wheels = first.wheel_changes
    count = f"{counted(wheels, 'wheel')} to change" if wheels else "as it stands"
    lines = [
        f"Bolt on: {initials(first)}",
        f"  rear stagger {screen.tape(first.rear_stagger)}, front "
        f"{screen.tape(first.front_stagger)}, bite {screen.weight(first.bite)} "
        f"({screen.weight(first.bite_change, signed=True)}), {count}",
        *(
            [paragraph(f"air: {valves}; the others at their running pressure", "  ")]
            if (valves := valves_words(first, screen))
            else []
        ),
        paragraph(_wanted_words(choice, screen), "  "),
        *([] if choice.aim.baseline is None else watch_lines(choice.aim.baseline, screen)),
    ]
    if choice.tied > 1:
        lines.append(f"  Note: {choice.tied} sets tie for the best score.")
    return lines + [paragraph(note, "  ") for note in _reach_notes(choice, screen)]


def _wanted_words(choice: Choice, screen: Screen) -> str:
    aim = choice.aim
    if aim.baseline is None:
        hot = " hot" if choice.hot else ""
        return f"{choice.car.name}: wanted {screen.tape(aim.stagger)}{hot}"
    band = tape_range(aim.baseline.stagger.band, screen)
    return f"{case_words(aim.baseline)}: wanted {screen.tape(aim.stagger)}, as good {band}"


def _reach_notes(choice: Choice, screen: Screen) -> list[str]:
    first, nearest = choice.picks[0], choice.nearest
    target = screen.tape(choice.aim.stagger)
    near = f"{initials(nearest)} with {screen.tape_or_fine(nearest.rear_stagger)}"
    if not choice.in_reach:
        right, left = (
            _look_words(choice, corner, screen) for corner in ("right_rear", "left_rear")
        )
        return [
            f"Note: no set of this rack reaches {target}. The nearest is {near}. At the tire truck "
            f"look for {right}, or {left}."
        ]
    if not choice.aim.reached(first.aimed_stagger):
        return [
            f"Note: {target} can be reached, but costs more elsewhere: {near}. --weigh-stagger 2 "
            "makes stagger count for more."
        ]
    return []


def _look_words(choice: Choice, corner: str, screen: Screen) -> str:
    other = "left_rear" if corner == "right_rear" else "right_rear"
    rollout = screen.tape(choice.to_look_for()[corner])
    at = _at(choice.nearest, other, screen)
    return (f"a {corner_words(corner)} of {rollout}{_at_running(choice, corner, screen)} to go "
            f"with {choice.nearest.names[other]}{at}")  # fmt: skip


def _at(pick: Pick, corner: str, screen: Screen) -> str:
    pressures = pick.pressures
    return "" if pressures is None else f" at {screen.pressure(getattr(pressures, corner))}"


def _at_running(choice: Choice, corner: str, screen: Screen) -> str:
    pressure = choice.rack.running_pressure
    return "" if pressure is None else f" at {screen.pressure(getattr(pressure, corner))}"


SHORT_LIST = 3
"""Sets on the short screen; all that were kept with --full."""
LIST_WIDTH = 60
"""Columns that the list of sets takes with all its figures."""


def _best_lines(choice: Choice, screen: Screen) -> list[str]:
    picks = choice.picks if screen.full else choice.picks[:SHORT_LIST]
    if screen.width < LIST_WIDTH and not screen.full:
        return [f"  {_rank(choice, pick)} {initials(pick)}" for pick in picks[1:]]
    one = len(picks) == 1
    head = "The only set" if choice.considered == 1 else f"The best {'' if one else len(picks)}"
    unit = screen.pressure_unit
    heads = ["", *CORNER_INITIALS.values(), "rear", "front", "bite", "change", "wheels", unit,
             "points"]  # fmt: skip
    rows = [
        [
            _rank(choice, pick), *(tire.name for tire in pick.tires),
            screen.tape(pick.rear_stagger), screen.tape(pick.front_stagger),
            screen.weight(pick.bite), screen.weight(pick.bite_change, signed=True),
            str(pick.wheel_changes), _air_moved(pick, screen).split()[0], f"{pick.score:.2f}",
        ]
        for pick in picks
    ]  # fmt: skip
    told = f"{head.strip()} of {choice.considered:,} sets; points, the fewer the better"
    return [told, *columns([heads, *rows], 5)]


def _rank(choice: Choice, pick: Pick) -> str:
    shared = [other.rank for other in choice.picks].count(pick.rank) > 1
    return f"{pick.rank}{'=' if shared else ''}"


def _air_moved(pick: Pick, screen: Screen) -> str:
    """Air moved from the running pressures, all four tires together."""
    return screen.pressure(sum(abs(added) for added in pick.added))


def _first_lines(choice: Choice, outcome: Outcome, screen: Screen) -> list[str]:
    first, rack = choice.picks[0], choice.rack
    on_car = dict(zip(CORNERS, rack.on_car(), strict=True))
    lines = ["The first in full"]
    for corner, tire in zip(CORNERS, first.tires, strict=True):
        rollout = screen.tape_or_fine(getattr(first.rollouts, corner))
        moved = _move_words(rack, tire, corner, on_car[corner])
        told = f"{tire.name}, {rollout}{_at(first, corner, screen)}: {moved}"
        lines.append(row(corner_words(corner), told))
    lines += [
        row(f"{name} stagger", _stagger_words(choice, axle, cold, filed, screen))
        for name, axle, cold, filed in (
            ("rear", REAR, first.rear_stagger, choice.car.rear.stagger),
            ("front", FRONT, first.front_stagger, choice.car.front.stagger),
        )
    ]
    hot = warmed(choice, first)
    if hot is not None:
        told = (f"rear stagger about {screen.fine(hot.rear_stagger)}, bite "
                f"{screen.weight(hot.bite_change, 1, signed=True)} against cold")  # fmt: skip
        if hot.typical:
            told += f"; {', '.join(hot.typical)} as others of their side, tape them hot"
        lines.append(row("hot against cold", told))
    points = ", ".join(f"{AIM_WORDS[aim]} {points:.2f}" for aim, points in first.points.items())
    return [*lines, row("points", points), *side_effect_lines(outcome, screen)[1:]]


def _move_words(rack: Rack, tire: RackTire, corner: str, there: int) -> str:
    if tire.on_car == corner:
        return "stays on"
    comes = f"comes from the {corner_words(tire.on_car)}" if tire.on_car else "from the rack"
    off = f", {rack.tires[there].name} off" if there >= 0 else ""
    note = f"; {tire.note}" if tire.note else ""
    return f"{comes}{off}{note}"


def _stagger_words(
    choice: Choice, axle: tuple[int, int], cold: float, filed: Real, screen: Screen
) -> str:
    told = f"{screen.fine(cold)} cold, {screen.fine(cold - filed, signed=True)} from the car file"
    hot = choice.picks[0].hot_stagger(axle)
    if hot is not None:
        return f"{told}; {screen.fine(hot)} hot, as taped"
    if axle == REAR and choice.car.tire.growth:
        grown = cold + float(choice.car.tire.growth)
        return f"{told}; about {screen.fine(grown)} hot, with the growth of the car file"
    return f"{told}; hot not known, tape both tires hot"


def _left_over_lines(choice: Choice, outcome: Outcome, screen: Screen) -> list[str]:
    first = choice.picks[0]
    if not outcome.holds:
        return []
    left = screen.weight(first.bite_change, signed=True)
    hold = way_to_hold(outcome.holds[0], screen)
    others = [f"or {way_to_hold(hold, screen)}" for hold in outcome.holds[1:2]]
    return [
        paragraph(f"Bite left over, {left}. To put it back: {hold}"),
        *(paragraph(other, "  ") for other in others),
    ]


def _why_lines(choice: Choice, own: OwnSet | None, screen: Screen) -> list[str]:
    if own is None:
        return []
    first, yours = choice.picks[0], own.pick

    def line(label: str, one: str, other: str) -> str:
        return figures(label, [one, other])

    def cells(pick: Pick) -> dict[str, str]:
        return {
            "stagger": screen.tape_or_fine(pick.rear_stagger),
            "bite": screen.weight(pick.bite_change, 1, signed=True),
            "gear": f"{100 * pick.gear_change:+.1f}%",
            "wheel": str(pick.wheel_changes),
            "unlike": f"{pick.unlike:.1f}",
            "air": _air_moved(pick, screen),
        }

    one, other = cells(first), cells(yours)
    better = f"{own.better:,} of {choice.considered:,} sets score better"
    return [
        line("Your set and the first", "first", "yours")[2:],
        line("", ", ".join(first.names.values()), ", ".join(yours.names.values())),
        *(
            line(AIM_WORDS[aim], f"{one[aim]} = {first.points[aim]:.2f}",
                 f"{other[aim]} = {yours.points[aim]:.2f}")
            for aim in first.points
        ),
        line("points", f"{first.score:.2f}", f"{yours.score:.2f}"),
        f"  {better}",
        *(paragraph(f"Not allowed: {rule}", "  ") for rule in own.broken),
    ]  # fmt: skip


def _doubt_lines(choice: Choice, screen: Screen) -> list[str]:
    told = doubts(choice)
    notes = [questioned_words(name, one, mean, screen) for name, one, mean in told.readings]
    if not any(tire.on_car for tire in choice.rack.tires):
        notes.append("no tire is marked on_car, so that every wheel counts as changed")
    if told.taped_hot_only:
        notes.append(f"{', '.join(told.taped_hot_only)}: only taped hot, not used; tape it cold")
    if told.no_pressure:
        every = len(told.no_pressure) == len(choice.rack.tires) > 1
        named = f"all {len(told.no_pressure)} tires" if every else ", ".join(told.no_pressure)
        notes.append(f"{named}: no pressure written down, taken as taped")
    notes += [
        f"{name}: moved by {screen.fine(by, signed=True)} to the running pressure with "
        f"{screen.growth(choice.rack.growth)}, not its own; tape it there"
        for name, by in told.far_corrected
    ]
    if told.tape_next is not None:
        name, off = told.tape_next
        notes.append(
            f"surest next step: tape {name} at a second pressure; its growth is typical, and its "
            f"rollout may be off by {screen.fine(off)} for that"
        )
    if told.limits_unstated:
        named, most = ", ".join(told.limits_unstated), screen.pressure(REACH_UNSTATED)
        notes.append(
            f"the rack file has no pressure_limits for {named}: no advice goes further than {most} "
            "from the running pressure. Ask the tire maker and write them down"
        )
    notes += [
        f"{corner_words(corner)}: {name} on the car is {screen.tape(rollout)}, the car file has "
        f"{screen.tape(filed)}; bite and gear are against the car file"
        for corner, name, rollout, filed in told.not_as_filed
    ]
    if not screen.full:
        more = f"{counted(len(notes) - 1, 'more note')} on the rack with --full"
        notes = notes[:1] + ([more] if len(notes) > 1 else [])
    return ["Notes on the rack", *(paragraph(note, "  ") for note in notes)] if notes else []


def questioned_words(name: str, reading: float, mean: float, screen: Screen) -> str:
    return (
        f"{name}: a reading of {screen.tape_or_fine(reading)} is off from the others "
        f"({screen.fine(mean)}): did the tape wander or the hook slip? Tape it again"
    )
