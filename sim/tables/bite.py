"""The words and figures of `rollpath bite`, and of `rollpath bite --learn`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from sim.bite import CORNERS, RAISES_BITE, STAGGER_STEP, Change
from sim.tables.baseline import SOURCE_WORDS
from sim.tables.common import (
    add_or_take_out,
    caution_lines,
    figures,
    none_or,
    paragraph,
    row,
    sections,
)
from sim.units import INCH, Real, Screen, eighths, inches, pounds

if TYPE_CHECKING:
    from pathlib import Path

    from sim.bite import Corners, Hold, Learned, Outcome, Pads, Rates
    from sim.car import Car

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
        "rear_lb_per_in": pounds(rates.rear * INCH),
        "front_lb_per_in": pounds(rates.front * INCH),
        "source": rates.source,
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
        "jack_turns": hold.change.turns._asdict(),
        "spacers_in": corners_json(hold.change.spacers),
        "left_over_lb": pounds(hold.left_over),
    }


def corners_json(corners: Corners) -> dict[str, Real]:
    """Lengths at the four corners, in."""
    return {corner: inches(value) for corner, value in corners._asdict().items()}


def bite_json(car: Car, outcome: Outcome) -> dict[str, Any]:
    """The result of `bite`; keys end in their unit."""
    heights, holds = outcome.ride_heights, outcome.holds
    return {
        "car": car.name,
        "now": pads_json(outcome.now),
        "then": pads_json(outcome.then),
        "held": pads_json(outcome.held) if holds else None,
        "lifted": outcome.then.lifted,
        "change": {
            "rollouts_in": corners_json(outcome.change.rollouts),
            "jack_turns": outcome.change.turns._asdict(),
            "spacers_in": corners_json(outcome.change.spacers),
        },
        "rates": _rates_json(outcome.rates),
        "hold": hold_json(holds[0]) if holds else None,
        "other_holds": [hold_json(hold) for hold in holds[1:]],
        "ride_height_change_in": none_or(heights, corners_json),
        "gear_change_pct": 100 * outcome.gear_change,
    }


def bite_screen(car: Car, outcome: Outcome, screen: Screen) -> str:
    """The result of `bite` for a racer: the answer, then the pads, then the reasons."""
    parts = [
        _bite_answer(car, outcome, screen),
        _hold_lines(outcome, screen),
        pad_lines(outcome, screen),
        _worth_lines(outcome.rates, screen),
        side_effect_lines(outcome, screen),
        caution_lines(),
    ]
    return sections(parts)


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
            f"{corner_words(corner)} tire {'bigger' if grown > 0 else 'smaller'} by "
            f"{screen.tape_or_fine(abs(grown))}"
            for corner, grown in change.rollouts._asdict().items()
            if np.any(grown)
        ),
        *(
            f"{corner_words(corner)} jack {_longer(turns)}"
            for corner, turns in change.turns._asdict().items()
            if turns
        ),
        *(
            f"{screen.tape_or_fine(abs(height))} spacer "
            f"{'put under' if height > 0 else 'taken from under'} the {corner_words(corner)} spring"
            for corner, height in change.spacers._asdict().items()
            if height
        ),
    ]


def turns_words(turns: Real) -> str:
    """A number of jack turns such as ``1 1/4 turns``."""
    count = float(turns)
    text = eighths(count * INCH) if (count * 8).is_integer() else f"{count:.2f}"
    return f"{text} turn{'s' if count > 1 else ''}"


def _longer(turns: Real) -> str:
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
    if any(map(any, (outcome.change.rollouts, outcome.change.turns, outcome.change.spacers))):
        told.append(("after", outcome.then))
    if outcome.holds:
        told.append(("held", outcome.held))

    def line(label: str, texts: list[str]) -> str:
        return figures(label, texts, 12)

    weights = [pads.weights for _, pads in told]
    return [
        line("On the scales", [name for name, _ in told])[2:],
        *(
            line(corner_words(corner), [screen.weight(getattr(w, corner)) for w in weights])
            for corner in CORNERS
        ),
        line("bite", [screen.weight(w.bite) for w in weights]),
        line("cross weight", [f"{100 * w.cross_share:.1f} %" for w in weights]),
        line("left", [f"{100 * w.left_share:.1f} %" for w in weights]),
        line("rear", [f"{100 * w.rear_share:.1f} %" for w in weights]),
    ]


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
    return lines + [_doubt_words(axle, rates, screen) for axle in rates.doubtful]


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


# bite --learn


def rate_text(name: str, rate: float) -> str:
    """A rate as a car file holds it: pounds per inch of stagger, or per turn."""
    value = float(pounds(rate * (1.0 if "jacks" in name else INCH)))
    return f"{value:.1f} lb" if value >= 1 else f"{value:.2g} lb"


def _rate_words(name: str, rate: float, screen: Screen) -> str:
    return f"{screen.weight(rate, 1)}/turn" if "jacks" in name else screen.weight_rate(rate)


def learned_json(learned: Learned, written: dict[str, str], kept: Path | None) -> dict[str, Any]:
    """The result of `bite --learn`; keys end in their unit."""
    rates: dict[str, Any] = {}
    for name, rate in learned.rates.items():
        per, unit = ("lb_per_turn", 1.0) if "jacks" in name else ("lb_per_in", INCH)
        rates[name.replace(" ", "_")] = {
            f"rate_{per}": pounds(rate.value * unit),
            f"low_{per}": pounds((rate.value - rate.half_width) * unit),
            f"high_{per}": pounds((rate.value + rate.half_width) * unit),
            "sure": rate.is_sure,
        }
    run = learned.next_session
    step = {} if run is None else {f"step_{'turns' if 'jacks' in run.moved else 'in'}": run.step}
    return {
        "sessions": learned.sessions,
        "rates": rates,
        "never_moved": learned.never_moved,
        "always_moved_together": learned.tied,
        "too_few_sessions": learned.too_few,
        "pad_noise_lb": none_or(learned.pad_noise, pounds),
        "next_session": run and {"like": run.like, "change": run.moved, **step},
        "written": written,
        "old_file": none_or(kept, str),
    }


def learned_screen(
    car: Car, learned: Learned, written: dict[str, str], kept: Path | None, screen: Screen
) -> str:
    """The result of `bite --learn` for a racer."""
    lines = [f"{car.name}: bite learned from {learned.sessions} scale sessions", ""]
    lines += [
        row(name, _learned_words(name, rate.value, rate.half_width, rate.is_sure, screen))
        for name, rate in learned.rates.items()
    ]
    lines += _refusals(learned)
    if learned.pad_noise is not None:
        noise = f"about {screen.weight(learned.pad_noise, 1)}, as these sessions show it"
        lines += ["", row("scatter of one pad", noise)]
    if learned.next_session is not None:
        lines += ["", paragraph(_next_words(learned, screen))]
    if written:
        told = ", ".join(f"{key} {value}" for key, value in written.items())
        lines += ["", paragraph(f"Written into the car file: {told}. The old file is {kept}")]
    return "\n".join(lines)


def _learned_words(name: str, rate: float, half: float, sure: bool, screen: Screen) -> str:
    low, high = (_rate_words(name, rate + side * half, screen) for side in (-1, 1))
    told = f"{_rate_words(name, rate, screen)}, between {low} and {high} 95 times in 100"
    if sure:
        return told
    if rate + half < 0:
        return f"{told}; the wrong way round: check left and right in the sessions"
    return f"{told}; not sure enough to use"


def _refusals(learned: Learned) -> list[str]:
    if learned.too_few:
        return [row("no figures", "too few sessions to tell a rate from the scatter of the pads")]
    lines = [row(name, "no figure: it never moved") for name in learned.never_moved]
    lines += [
        row(name, "no figure: it always moved together with "
            + " and ".join(other for other in group if other != name))
        for group in learned.tied
        for name in group
    ]  # fmt: skip
    if learned.alone:
        told = "the only session with the driver in, or out: nothing to compare it with"
        lines.append(row("left aside", told))
    return lines


def _next_words(learned: Learned, screen: Screen) -> str:
    run = learned.next_session
    assert run is not None
    if "jacks" in run.moved:
        corner = "left rear" if "rear" in run.moved else "right front"
        what = f"the {corner} jack {_longer(run.step)}"
    else:
        verb = "more" if run.step > 0 else "less"
        what = f"{screen.tape(abs(run.step) * INCH)} {verb} {run.moved}"
    return f'Next session to run: everything as in "{run.like}", but {what}. Change nothing else.'
