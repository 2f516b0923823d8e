"""The words and figures of `rollpath feel`."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.tables.common import (
    case_json,
    case_words,
    caution_lines,
    columns,
    paragraph,
    row,
    sections,
)
from sim.units import Screen, degrees, horsepower, inches, pound_feet, pounds

if TYPE_CHECKING:
    from sim.balance import FeelCase, PhaseFeel

    PhaseRow = tuple[PhaseFeel, PhaseFeel, PhaseFeel, PhaseFeel]
    """A phase with the bite held, with it free, on softer and on stiffer tires."""


FELT_WORDS = {
    "spins": "the rear tires spin: that is missing forward drive, not a stagger fault",
    "pushes": "pushes, drifts out: wheel",
    "steers itself": "hooks up but crabs, turns left by itself: wheel",
    "nothing": "nothing of the stagger to feel",
}
ENTRY_WORDS = {"pushes": "will not turn in: wheel", "steers itself": "turns in by itself: wheel"}
"""Going in, with the brakes on."""


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
        "pace": result.pace,
        "steering_ratio": result.car.steering_ratio,
        "slip_stiffness": result.condition.slip_stiffness,
        "staggers": cases,
    }


def _feel_rows(result: FeelCase) -> list[list[PhaseRow]]:
    """For each stagger and phase: bite held, bite free, softer, stiffer."""
    from sim.balance import feel_by_phase

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
    """The result of `feel` for a racer: what he feels of each stagger, then the figures."""
    rows = _feel_rows(result)
    return sections(
        [
            [
                "What the driver feels of each rear stagger",
                f"  driven at {result.pace:.0%} of the speed that the tires can hold",
                f"  {case_words(result)}",
            ],
            *(_felt_lines(phases, screen) for phases in rows),
            _feel_notes(result, rows),
            _wheel_table(rows, screen),
            _axle_table(rows, screen),
            _grip_table(rows, screen),
            caution_lines(),
        ]
    )


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

    head = ["mismatch", "wheel at", "bite held", "bite free", "softer", "stiffer"]
    return [
        "Steering wheel against the same car with zero mismatch, degrees, further left +",
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

    head = ["moment", "by mismatch", "at the front", "left rear", "right rear"]
    return [
        "Rear axle: moment to the left +, what the mismatch adds of it, and that as a side",
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
        "Grip used, what the four tires lose more by sliding than with zero mismatch, and",
        "flat out: the share of the estimated lap's energy that is held, and wheelspin",
        *_by_phase(rows, screen, head, cells),
    ]
