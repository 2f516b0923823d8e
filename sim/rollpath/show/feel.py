"""What the driver feels, told and drawn: words, JSON and pictures."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.feel.lap import LEAST_FELT, FeelCase
from rollpath.screen import TRADE, Screen, degrees, horsepower, inches, pound_feet, pounds
from rollpath.show.picture import (
    PAGE,
    SHADE_KEY,
    STYLES,
    Picture,
    along,
    case_title,
    legend_below,
    panels,
    shade_phases,
)
from rollpath.show.surface import surface_json, watch_lines
from rollpath.show.words import (
    case_json,
    case_words,
    caution_lines,
    columns,
    paragraph,
    row,
    sections,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.feel.foretold import Foretold, PartFeel
    from rollpath.feel.lap import PhaseFeel

    PhaseRow = tuple[PhaseFeel, PhaseFeel, PhaseFeel, PhaseFeel]
    """A phase with the bite held, with it free, on softer and on stiffer tires."""

# feel


def feel_pictures(result: FeelCase, screen: Screen) -> list[Picture]:
    """Steering wheel, axle moment and thrust split along the lap."""
    return [
        Picture("feel-steering", steering_lines(result, screen)),
        Picture("feel-axle", axle_lines(result, screen)),
        Picture("feel-thrust", thrust_split(result, screen)),
    ]


def _lap_panels(
    result: FeelCase, screen: Screen, rows: int, height: float, ax: Axes | None
) -> tuple[Figure, list[Axes]]:
    """Panels along the lap, one above the other, shaded by phase and titled."""
    figure, grid = panels(ax, rows, (PAGE[0], height))
    drawn = list(grid.flat)
    lap = result.held.lap
    for i, axes in enumerate(drawn):
        shade_phases(axes, lap.groove.s, lap.phase, screen, named=i == 0)
    drawn[0].set_title(case_title(result), pad=20)
    drawn[-1].set_xlabel(f"{along(screen)}\n{SHADE_KEY}")
    drawn[-1].set_xlim(0, float(screen.lengths(lap.groove.length)))
    return figure, drawn


def steering_lines(result: FeelCase, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Steering wheel along the lap, and against a car that its stagger does not fight."""
    figure, (upper, lower) = _lap_panels(result, screen, 2, 6.2, ax)
    held = result.held
    x = screen.lengths(held.lap.groove.s)
    for i, stagger in enumerate(held.staggers):
        style, word = STYLES[i % len(STYLES)], screen.tape(stagger)
        upper.plot(x, degrees(held.steering_wheel[i]), **style, label=word)
        lower.plot(x, degrees(held.steering_change[i]), **style)
    lower.axhline(0, color="0.35", linewidth=0.8)
    sides = "\N{LEFTWARDS ARROW} right   left \N{RIGHTWARDS ARROW}"
    upper.set_ylabel(f"steering wheel, deg\n{sides}")
    lower.set_ylabel(f"against a car\nnot fought, deg\n{sides}")
    legend_below(ax, figure, [upper, lower], title="rear stagger", ncols=4)
    return figure


def axle_lines(result: FeelCase, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """What too much or too little adds to the yaw moment of the axle, and its worth in front."""
    figure, (axes,) = _lap_panels(result, screen, 1, 4.8, ax)
    held = result.held
    x = screen.lengths(held.lap.groove.s)
    for i, stagger in enumerate(held.staggers):
        moment = screen.moments(held.moment_change[i])
        axes.plot(x, moment, **STYLES[i % len(STYLES)], label=screen.tape(stagger))
    axes.axhline(0, color="0.35", linewidth=0.8)
    axes.set_ylabel(
        f"turning moment of the axle by\ntoo much or too little, {screen.moment_unit}\n"
        "\N{LEFTWARDS ARROW} pushes   steers left \N{RIGHTWARDS ARROW}"
    )
    force: Any = float(screen.weights(1 / float(result.car.wheelbase))) / float(screen.moments(1.0))
    beside = axes.secondary_yaxis("right", functions=(lambda m: m * force, lambda f: f / force))
    beside.set_ylabel(f"as a side force in front, {screen.weight_unit}")
    legend_below(ax, figure, [axes], title="rear stagger", ncols=4)
    return figure


def thrust_split(result: FeelCase, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Thrust of the left and the right rear tire along the lap, a panel for each stagger."""
    held = result.held
    cases = len(held.staggers)
    figure, drawn = _lap_panels(result, screen, cases, 1.9 + 1.6 * cases, ax)
    x = screen.lengths(held.lap.groove.s)
    for i, axes in enumerate(drawn):
        thrust = held.fitted.thrust_left[i], held.fitted.thrust_right[i]
        for force, style, word in zip(thrust, (1, 0), ("left rear", "right rear"), strict=True):
            axes.plot(x, screen.weights(force), **STYLES[style], label=word if i == 0 else None)
        axes.axhline(0, color="0.35", linewidth=0.8)
        axes.set_ylabel(f"{screen.tape(held.staggers[i])}\nthrust, {screen.weight_unit}")
        axes.sharey(drawn[0])
    legend_below(ax, figure, drawn)
    return figure


FELT_WORDS = {
    "spins": "the rear tires spin: that is missing forward drive, not a stagger fault",
    "pushes": "pushes, drifts out: wheel",
    "steers itself": "hooks up but crabs, turns left by itself: wheel",
    "nothing": "nothing of the stagger to feel",
}
WHERE = {
    "entry": "going in", "centre": "through the middle", "drive-off": "off the corner",
    "straight": "down the straight",
}  # fmt: skip
STRONG = (2.0, 4.0)
"""Times the least that is felt up to which it is told as a little, and from which as a lot."""
ENTRY_WORDS = {"pushes": "will not turn in: wheel", "steers itself": "turns in by itself: wheel"}
"""Going in, with the brakes on."""


def foretold_words(told: Foretold) -> str:
    """What a stagger will feel like, such as "a little push through the middle of 1-2"."""
    felt = [part for part in told.parts if part.felt != "nothing"]
    lines = [_part_words(part) for part in felt]
    if not any(part.phase == "straight" for part in felt):
        lines.append("nothing to feel on the straight" if felt else "nothing to feel of it")
    return ", ".join(lines)


def _part_words(part: PartFeel) -> str:
    where = WHERE[part.phase]
    if part.phase == "centre" and part.ends[0] != part.ends[1]:
        where += " of 1-2" if part.ends[0] else " of 3-4"
    if part.felt == "spins":
        return f"wheelspin {where}"
    size = abs(part.change) / LEAST_FELT
    much = "a little " if size < STRONG[0] else "a lot of " if size > STRONG[1] else "some "
    return f"{much}{'push' if part.felt == 'pushes' else 'crabbing'} {where}"


def feel_json(result: FeelCase) -> dict[str, Any]:
    """The result of `feel`; keys end in their unit, to the left is positive."""
    cases = []
    for case, phases in enumerate(_feel_rows(result)):
        cases.append(
            {
                "stagger_in": inches(result.held.staggers[case]),
                "bite_held_lb": pounds(result.held.bite[case]),
                "bite_free_lb": pounds(result.free.bite[case]),
                "phases": [_phase_json(*phase) for phase in phases],
            }
        )
    return {
        **case_json(result),
        "surface": surface_json(result),
        "pace": result.pace,
        "steering_ratio": result.car.steering_ratio,
        "slip_stiffness": result.condition.slip_stiffness,
        "staggers": cases,
    }


def _feel_rows(result: FeelCase) -> list[list[PhaseRow]]:
    """For each stagger and phase: bite held, bite free, softer, stiffer."""
    from rollpath.feel.lap import feel_by_phase

    held, free, softer, stiffer = (
        feel_by_phase(feel) for feel in (result.held, result.free, result.softer, result.stiffer)
    )

    return [
        list(zip(*(feel[case] for feel in (held, free, softer, stiffer)), strict=True))
        for case in range(len(held))
    ]


def _phase_json(
    held: PhaseFeel, free: PhaseFeel, softer: PhaseFeel, stiffer: PhaseFeel
) -> dict[str, Any]:
    changes = {
        f"steering_change{name}_deg": degrees(one.steering_change)
        for name, one in (
            ("", held), ("_bite_free", free), ("_softer", softer), ("_stiffer", stiffer)
        )
    }  # fmt: skip
    told = {
        "phase": held.phase,
        "felt": held.felt,
        "mismatch_in": inches(held.mismatch),
        "steering_wheel_deg": degrees(held.steering_wheel),
        **changes,
        "axle_moment_lbft": pound_feet(held.moment),
        "axle_moment_change_lbft": pound_feet(held.moment_change),
        "front_force_change_lb": pounds(held.front_force),
        "thrust_left_lb": pounds(held.thrust_left),
        "thrust_right_lb": pounds(held.thrust_right),
        "front_grip_used_share": held.front_used,
        "rear_grip_used_share": held.rear_used,
        "scrub_power_hp": horsepower(held.scrub_power),
        "demand_held_share": held.holds,
        "demand_lowered_share": held.lowered,
        "no_balance_share": held.lost,
        "wheelspin_share": held.spinning,
        "wheelspin_flat_out_share": held.spinning_flat_out,
    }
    return {
        key: None if isinstance(value, float) and not np.isfinite(value) else value
        for key, value in told.items()
    }


def feel_screen(result: FeelCase, screen: Screen) -> str:
    """The result of `feel` for a racer: what he feels of each stagger; with --full the figures."""
    rows = _feel_rows(result)
    head = ["What the driver feels of each rear stagger", f"  {case_words(result)}",
            *watch_lines(result, screen)]  # fmt: skip
    if not screen.full:
        felt = [_short_felt(phases, screen) for phases in rows]
        return sections([[*head, *felt], _short_notes(rows), caution_lines()], screen)
    head.insert(1, f"  driven at {result.pace:.0%} of the speed that the tires can hold")
    return sections(
        [
            head,
            *(_felt_lines(phases, screen) for phases in rows),
            _feel_notes(result, rows),
            _wheel_table(rows, screen),
            _axle_table(rows, screen),
            _grip_table(rows, screen),
            caution_lines(),
        ],
        screen,
    )


SHORT_FELT = {"spins": "spins", "pushes": "pushes", "steers itself": "crabs"}
SHORT_WHERE = {"entry": "going in", "centre": "middle", "drive-off": "off", "straight": "straight"}


def _short_felt(phases: list[PhaseRow], screen: Screen) -> str:
    """A stagger in one line, such as "pushes middle 9, off 4 deg"."""
    told: dict[str, list[str]] = {}
    for held, *_ in phases:
        where = SHORT_WHERE[held.phase]
        if not np.isfinite(held.holds):
            told.setdefault("cannot be driven", []).append(where)
        elif held.felt != "nothing":
            degrees_off = f" {abs(float(degrees(held.steering_change))):.0f}"
            told.setdefault(SHORT_FELT[held.felt], []).append(
                where + ("" if held.felt == "spins" else degrees_off)
            )
    words = "; ".join(
        f"{felt} {', '.join(places)}{' deg' if felt in ('pushes', 'crabs') else ''}"
        for felt, places in told.items()
    )
    return row(screen.tape(phases[0][0].stagger), words or FELT_WORDS["nothing"])


def _short_notes(rows: list[list[PhaseRow]]) -> list[str]:
    lines = ["deg: how far the wheel is held more, left where it pushes, right where it crabs."]
    if _where(rows, "spinning_flat_out", max):
        lines.append("Flat out the rears spin: that is missing forward drive, not stagger.")
    return lines


def short_screen(result: FeelCase, screen: Screen = TRADE) -> str:
    """The result of `feel` for a racer."""
    return feel_screen(result, screen)


def _felt_lines(phases: list[PhaseRow], screen: Screen) -> list[str]:
    lines = [f"{screen.tape(phases[0][0].stagger)}"]
    for held, *_ in phases:
        words = (FELT_WORDS | (ENTRY_WORDS if held.phase == "entry" else {}))[held.felt]
        if not np.isfinite(held.holds):
            words = "no balance found: the car cannot be driven through here"
        elif words.endswith("wheel"):
            angle = screen.whole_angle(abs(held.steering_change))
            words += f" {angle} further {'left' if held.steering_change > 0 else 'right'}"
        lines.append(row(held.phase, words))
    return lines


def _feel_notes(result: FeelCase, rows: list[list[PhaseRow]]) -> list[str]:
    """What is behind the figures, and where the car could not do what the lap asks."""
    notes = [
        "Estimates: the grip and slip stiffness of the surface and a steering ratio of "
        f"{float(result.car.steering_ratio):g} are engineering judgement unless the files give "
        "them. The last two columns of the first table show the answer with slip stiffness a "
        "third off.",
    ]
    holds = _where(rows, "holds", min)
    if _where(rows, "lowered", max):
        notes.append(
            "The tires cannot hold all that the estimated lap asks. The demand is lowered to what "
            f"they hold of its energy and acceleration: {holds}."
        )
    spins, lost = (_where(rows, name, max) for name in ("spinning_flat_out", "lost"))
    if spins:
        notes.append(
            f"Flat out the rear tires spin under power in {spins}: that is missing forward drive, "
            "not a stagger fault."
        )
    if lost:
        notes.append(f"No balance was found in {lost}; that is left out of the figures.")
    return [paragraph(note) for note in notes]


def _where(rows: list[list[PhaseRow]], name: str, worst: Callable[[float, float], float]) -> str:
    """The worst share of each phase over the staggers, in words; empty where there is none."""
    told: dict[str, float] = {}
    for phases in rows:
        for held, *_ in phases:
            share = getattr(held, name)
            told[held.phase] = worst(told.get(held.phase, share), share)
    return ", ".join(f"{told[phase]:.0%} of {phase}" for phase in told if told[phase] > 0.005)


def _number(value: float, form: str) -> str:
    return format(value, form) if np.isfinite(value) else "-"


def _by_phase(
    rows: list[list[PhaseRow]],
    screen: Screen,
    head: list[str],
    cells: Callable[[PhaseRow], list[str]],
) -> list[str]:
    """A table with a line for each phase, the stagger on the first line of its own."""
    table = [["stagger", "phase", *head]]
    for phases in rows:
        staggers = [screen.tape(phases[0][0].stagger), *[""] * (len(phases) - 1)]
        table += [
            [stagger, phase[0].phase, *cells(phase)]
            for stagger, phase in zip(staggers, phases, strict=True)
        ]
    return columns(table)


def _wheel_table(rows: list[list[PhaseRow]], screen: Screen) -> list[str]:
    def cells(phase: PhaseRow) -> list[str]:
        held = phase[0]
        changes = [float(degrees(one.steering_change)) for one in phase]
        return [
            screen.fine(held.mismatch, signed=True),
            _number(float(degrees(held.steering_wheel)), "+.0f"),
            *(_number(change, "+.1f") for change in changes),
        ]

    head = ["too much", "wheel at", "bite held", "bite free", "softer", "stiffer"]
    return [
        "Steering wheel against a car that its stagger does not fight, degrees, further left +",
        *_by_phase(rows, screen, head, cells),
    ]


def _axle_table(rows: list[list[PhaseRow]], screen: Screen) -> list[str]:
    def cells(phase: PhaseRow) -> list[str]:
        held = phase[0]
        return [
            screen.moment(held.moment, signed=True),
            screen.moment(held.moment_change, signed=True),
            screen.weight(held.front_force, signed=True),
            screen.weight(held.thrust_left),
            screen.weight(held.thrust_right),
        ]

    head = ["moment", "by stagger", "at the front", "left rear", "right rear"]
    return [
        "Rear axle: moment to the left +, what too much stagger adds of it, and that as a side",
        "force at the front axle",
        *_by_phase(rows, screen, head, cells),
    ]


def _grip_table(rows: list[list[PhaseRow]], screen: Screen) -> list[str]:
    def cells(phase: PhaseRow) -> list[str]:
        held = phase[0]
        return [
            _number(held.front_used, ".0%"),
            _number(held.rear_used, ".0%"),
            screen.power(held.scrub_power),
            _number(held.holds, ".0%"),
            _number(held.spinning_flat_out, ".0%"),
        ]

    head = ["front", "rear", "scrub", "held", "wheelspin"]
    return [
        "Grip used, what the four tires lose more by sliding than on a car not fought, and",
        "flat out: the share of the estimated lap's energy that is held, and wheelspin",
        *_by_phase(rows, screen, head, cells),
    ]
