"""What a change does on the scales, in words and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, RAISES_BITE
from rollpath.scales.hold import STAGGER_STEP, Outcome
from rollpath.scales.twist import Change, Pads
from rollpath.screen import (
    TRADE,
    Screen,
    in_eighths,
    inches,
    inches_per_psi,
    pounds,
    pounds_per_inch,
    psi,
)
from rollpath.show.baseline import SOURCE_WORDS
from rollpath.show.words import (
    add_or_take_out,
    caution_lines,
    figures,
    none_or,
    paragraph,
    row,
    sections,
)
from rollpath.units import Real

if TYPE_CHECKING:
    from rollpath.corners import Corners
    from rollpath.scales.hold import Hold
    from rollpath.scales.rates import Rates
    from rollpath.tires.air import AirEffect


CORNER_INITIALS = {corner: "".join(w[0] for w in corner.split("_")).upper() for corner in CORNERS}
"""LF, RF, LR, RR."""


def corner_words(corner: str) -> str:
    """A corner such as ``left rear``."""
    return corner.replace("_", " ")


def pads_json(pads: Pads) -> dict[str, Real]:
    """Four pads and the figures racers make of them."""
    weights = pads.weights
    four = {f"{corner}_lb": pounds(getattr(weights, corner)) for corner in CORNERS}
    return four | {
        "bite_lb": pounds(weights.bite),
        "cross_pct": 100 * weights.cross_share,
        "left_pct": 100 * weights.left_share,
        "rear_pct": 100 * weights.rear_share,
    }


def _rates_json(rates: Rates) -> dict[str, Any]:
    return {
        "rear_lb_per_in": pounds_per_inch(rates.rear),
        "front_lb_per_in": pounds_per_inch(rates.front),
        "source": rates.basis,
        "rear_lb_per_turn": none_or(rates.rear_turn, pounds),
        "front_lb_per_turn": none_or(rates.front_turn, pounds),
        "turn_source": {"rear": rates.rear_turn_source, "front": rates.front_turn_source},
        "doubtful": rates.doubtful,
    }


def hold_json(hold: Hold) -> dict[str, Any]:
    """One way to hold bite; keys end in their unit."""
    return {
        "means": hold.means,
        "corner": hold.corner,
        "front_stagger_change_in": inches(hold.front_stagger),
        "jack_turns": hold.change.turns.by_name(),
        "spacers_in": corners_json(hold.change.spacers),
        "left_over_lb": pounds(hold.left_over),
    }


def corners_json(corners: Corners[Real]) -> dict[str, Real]:
    """Lengths at the four corners, in."""
    return {corner: inches(value) for corner, value in corners.by_name().items()}


def air_json(effect: AirEffect) -> dict[str, Any]:
    """What air at one corner does; keys end in their unit."""
    return {
        "corner": effect.corner,
        "added_psi": psi(effect.added),
        "growth_in_per_psi": inches_per_psi(effect.growth),
        "growth_is_own": effect.growth_is_own,
        "rollout_change_in": inches(effect.growth * effect.added),
        "stagger_change_in": inches(effect.stagger_change),
        "bite_by_growth_lb": pounds(effect.bite_by_growth),
        "bite_by_standing_lb": pounds(effect.bite_by_standing),
        "bite_change_lb": pounds(effect.bite_change),
    }


def air_lines(car: Car, effects: Sequence[AirEffect], screen: Screen) -> list[str]:
    """What air does, corner by corner, and how sure its growth is."""
    lines = []
    for one in effects:
        told = (
            f"bite {screen.weight(one.bite_by_growth, 1, signed=True)} by growth, "
            f"{screen.weight(one.bite_by_standing, 1, signed=True)} by standing higher"
        )
        guessed = ["growth"] if one.growth and not one.growth_is_own else []
        guessed += ["pressure"] if f"pressure.{one.corner}" in car.assumed else []
        if guessed:
            told += f" (typical {' and '.join(guessed)})"
        lines.append(row(f"{corner_words(one.corner)} {air_words(one.added, screen)}", told))
    return ["What the air does (estimates)", *lines] if lines else []


def air_words(added: Real, screen: Screen) -> str:
    """Air such as ``+2 psi``."""
    sign = "+" if float(added) > 0 else "-"
    return f"{sign}{screen.pressure(abs(float(added)))}"


@dataclass(frozen=True)
class Beside:
    """What is told beside a change, as `ways.beside_of` makes it.

    Attributes
    ----------
    parts, reasons : sequence of list of str
        Parts of the screen: always, and with --full.
    json : dict
    """

    parts: Sequence[list[str]] = ()
    reasons: Sequence[list[str]] = ()
    json: dict[str, Any] = field(default_factory=dict)


def bite_json(car: Car, outcome: Outcome, beside: Beside | None = None) -> dict[str, Any]:
    """The result of `bite`; keys end in their unit."""
    beside = beside or Beside()
    heights, holds = outcome.ride_heights, outcome.holds
    return {
        "car": car.name,
        "now": pads_json(outcome.now),
        "then": pads_json(outcome.then),
        "held": pads_json(outcome.held) if holds else None,
        "lifted": outcome.then.lifted,
        "change": {
            "rollouts_in": corners_json(outcome.change.rollouts),
            "jack_turns": outcome.change.turns.by_name(),
            "spacers_in": corners_json(outcome.change.spacers),
            "pressures_psi": outcome.change.pressures.map(psi).by_name(),
        },
        **beside.json,
        "rates": _rates_json(outcome.rates),
        "hold": hold_json(holds[0]) if holds else None,
        "other_holds": [hold_json(hold) for hold in holds[1:]],
        "ride_height_change_in": none_or(heights, corners_json),
        "gear_change_pct": 100 * outcome.gear_change,
    }


def bite_screen(car: Car, outcome: Outcome, screen: Screen, beside: Beside | None = None) -> str:
    """The result of `bite` for a racer: the answer, then the pads, then the reasons."""
    beside = beside or Beside()
    parts = [
        _bite_answer(car, outcome, screen),
        _hold_lines(outcome, screen),
        *beside.parts,
        pad_lines(outcome, screen),
        [_doubt_words(axle, outcome.rates, screen) for axle in outcome.rates.doubtful],
    ]
    if screen.full:
        parts += [
            _worth_lines(outcome.rates, screen),
            side_effect_lines(outcome, screen),
            *beside.reasons,
        ]
    return sections([*parts, caution_lines()], screen)


def short_screen(result: Outcome, screen: Screen = TRADE) -> str:
    """The result of `bite` in short."""
    return bite_screen(result.car, result, screen)


def _bite_answer(car: Car, outcome: Outcome, screen: Screen) -> list[str]:
    now, then = outcome.now.weights.bite, outcome.then.weights.bite
    changes = change_words(outcome.change, screen)
    if not changes:
        return [f"Bite: {screen.weight(now)}", f"  {car.name} as it is"]
    lines = [
        f"Bite: {screen.weight(now)} now, {screen.weight(then)} after the change "
        f"({screen.weight(then - now, signed=True)})",
        paragraph(f"{car.name}: {'; '.join(changes)}", "  "),
        *(
            f"  {name} stagger {screen.tape(axle.stagger)} now, "
            f"{screen.tape(axle.stagger + added)} after"
            for name, axle, added in (
                ("rear", car.rear, outcome.change.rear_stagger),
                ("front", car.front, outcome.change.front_stagger),
            )
            if added
        ),
    ]
    if outcome.then.lifted:
        wheel = corner_words(outcome.then.lifted)
        lines.append(
            paragraph(
                f"Note: the {wheel} wheel would come off its pad. The other three carry the car, "
                "and more of the same change moves no more weight.",
                "  ",
            )
        )
    return lines


def change_words(change: Change, screen: Screen) -> list[str]:
    """Each thing that is changed, in words."""
    return [
        *(
            f"{corner_words(corner)} air {air_words(added, screen)}"
            for corner, added in change.pressures.by_name().items()
            if np.any(added)
        ),
        *(
            f"{corner_words(corner)} tire {'bigger' if grown > 0 else 'smaller'} by "
            f"{screen.tape_or_fine(abs(float(grown)))}"
            for corner, grown in change.rollouts.by_name().items()
            if np.any(grown)
        ),
        *(
            f"{corner_words(corner)} jack {longer_words(turns)}"
            for corner, turns in change.turns.by_name().items()
            if turns
        ),
        *(
            f"{screen.tape_or_fine(abs(float(height)))} spacer "
            f"{'put under' if height > 0 else 'taken from under'} the {corner_words(corner)} spring"
            for corner, height in change.spacers.by_name().items()
            if height
        ),
    ]


def turns_words(turns: Real) -> str:
    """A number of jack turns such as ``1 1/4 turns``."""
    count = float(turns)
    text = in_eighths(count) if (count * 8).is_integer() else f"{count:.2f}"
    return f"{text} turn{'s' if count > 1 else ''}"


def longer_words(turns: Real) -> str:
    return f"{turns_words(abs(float(turns)))} {'longer' if float(turns) > 0 else 'shorter'}"


def _hold_lines(outcome: Outcome, screen: Screen) -> list[str]:
    if not outcome.holds:
        return []
    first, *others = (
        way_to_hold(hold, screen)
        for hold in outcome.holds
        if hold is outcome.holds[0] or hold.change != Change()
    )
    return [
        paragraph(f"To hold bite: {first}"),
        *(paragraph(f"or {other}", "  ") for other in others),
    ]


def way_to_hold(hold: Hold, screen: Screen) -> str:
    """One way to hold bite, and what it leaves."""
    left_over = f"leaves {screen.weight(hold.left_over, 1, signed=True)}"
    if hold.means != "front":
        told = change_words(hold.change, screen)
        return f"{told[0] if told else 'no step of a jack or spacer comes nearer'}; {left_over}"
    added = float(hold.front_stagger)
    if not added:
        return f"no eighth of front stagger comes nearer; {left_over}"
    right, left = ("bigger", "smaller") if added > 0 else ("smaller", "bigger")
    return (
        f"{add_or_take_out(added, screen)} of front stagger "
        f"(right front {right} by that, or left front {left}); {left_over}"
    )


def pad_lines(outcome: Outcome, screen: Screen) -> list[str]:
    """The four pads, and what racers make of them: now, after the change, with bite held."""
    told = [("now", outcome.now)]
    if outcome.change != Change():
        told.append(("after", outcome.then))
    if outcome.holds:
        told.append(("held", outcome.held))

    def line(label: str, texts: list[str]) -> str:
        return figures(label, texts)

    weights = [pads.weights for _, pads in told]
    return [
        line("On the scales", [name for name, _ in told]),
        *(
            line(corner_words(corner), [screen.weight(getattr(w, corner)) for w in weights])
            for corner in CORNERS
        ),
        line("bite", [screen.weight(w.bite) for w in weights]),
        line("cross weight", [f"{100 * w.cross_share:.1f} %" for w in weights]),
        *(
            [line("left", [f"{100 * w.left_share:.1f} %" for w in weights]),
             line("rear", [f"{100 * w.rear_share:.1f} %" for w in weights])]
            if screen.full else []
        ),
    ]  # fmt: skip


def _worth_lines(rates: Rates, screen: Screen) -> list[str]:
    inch = screen.stagger_unit_length
    lines = ["What a change is worth in bite"]
    for name, rate, source, sign in (
        ("rear", rates.rear, rates.rear_source, -1),
        ("front", rates.front, rates.front_source, 1),
    ):
        told = f"{screen.weight(sign * rate * inch, 1, signed=True)} ({SOURCE_WORDS[source]})"
        lines.append(row(f"{screen.tape(inch)} more {name} stagger", told))
    for corner, raises in zip(CORNERS, RAISES_BITE, strict=True):
        rate = raises * (rates.rear if "rear" in corner else rates.front)
        turn = rates.rear_turn if "rear" in corner else rates.front_turn
        source = rates.rear_turn_source if "rear" in corner else rates.front_turn_source
        told = f"{screen.tape(STAGGER_STEP)} bigger "
        told += screen.weight(rate * STAGGER_STEP, 1, signed=True)
        if turn is not None:
            told += f", one turn longer {screen.weight(raises * turn, 1, signed=True)} ({source})"
        lines.append(row(corner_words(corner), told))
    return lines


def _doubt_words(axle: str, rates: Rates, screen: Screen) -> str:
    predicted = rates.predicted.rear if axle == "rear" else rates.predicted.front
    assert predicted is not None
    return paragraph(
        f"Note: the {axle} rate in the car file is far from the {screen.weight_rate(predicted)} "
        "that the springs say. Weigh again after rolling the car and bouncing it, and check the "
        "springs in the car file.",
        "  ",
    )


def side_effect_lines(outcome: Outcome, screen: Screen) -> list[str]:
    """What else moves, under a head; nothing where nothing does."""
    lines = []
    if outcome.gear_change:
        way = "up" if outcome.gear_change > 0 else "down"
        told = f"engine speed {way} {abs(100 * outcome.gear_change):.1f} % at the same road speed"
        lines.append(row("gear", told))
    heights = outcome.ride_heights
    if heights is not None and np.max(np.abs(np.array(heights))) > 1e-6:
        for name, left, right in (
            ("front", heights.left_front, heights.right_front),
            ("rear", heights.left_rear, heights.right_rear),
        ):
            told = f"left {screen.fine(left, signed=True)}, right {screen.fine(right, signed=True)}"
            lines.append(row(f"{name} ride height", told))
    if not lines:
        return []
    held = ", bite held" if outcome.holds else ""
    return [f"Side effects{held} (estimates)", *lines]
