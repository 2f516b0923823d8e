"""The scales drawn: pads from above, and bite against stagger."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS
from rollpath.scales.hold import STAGGER_STEP, Outcome, bite_map
from rollpath.scales.twist import Change, Pads
from rollpath.screen import TRADE, Screen
from rollpath.show.bite import turns_words
from rollpath.show.picture import PAGE, SMALL, STYLES, Picture, canvas, legend_below
from rollpath.units import INCH, POUND

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def bite_pictures(car: Car, outcome: Outcome, screen: Screen) -> list[Picture]:
    """The car from above on its pads, and bite against staggers."""
    return [
        Picture("bite-pads", pads_from_above(car, outcome, screen)),
        Picture("bite-staggers", bite_against_stagger(car, outcome, screen)),
    ]


def pads_from_above(
    car: Car, outcome: Outcome, screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """The car from above: each pad before and after, with arrows for what moved."""
    figure, axes = canvas(ax, (PAGE[0], 6.4))
    axes.set_axis_off()
    axes.set_xlim(-1.12, 1.12)
    axes.set_ylim(-1.05, 1.12)
    _draw_car(axes)
    columns = [("now", outcome.now), ("after", outcome.then)]
    if outcome.holds:
        columns.append(("held", outcome.held))
    for corner, (x, y) in zip(CORNERS, _PAD_PLACES, strict=True):
        values = [getattr(pads.weights, corner) for _, pads in columns]
        lines = [
            f"{name:<5} {screen.weight(value):>7}"
            for (name, _), value in zip(columns, values, strict=True)
        ]
        out = 0.82 * np.sign(x)
        axes.text(out, y + 0.12, corner.replace("_", " "), ha="center", weight="bold", fontsize=11)
        axes.text(
            out, y, "\n".join(lines), ha="center", va="center", family="monospace", fontsize=10
        )
        axes.text(
            out, y - 0.14, _moved_here(corner, outcome, screen), ha="center", va="top", fontsize=11
        )
        _draw_gain(axes, x, y, values[1] - values[0], screen)
    _write_middle(axes, columns, screen)
    axes.set_title(f"{car.name} on the scales, from above")
    return figure


_PAD_PLACES = ((-0.36, 0.62), (0.36, 0.62), (-0.36, -0.62), (0.36, -0.62))
"""Middle of each pad on the picture in the order of `CORNERS`, front up."""
UP, DOWN = "\N{UPWARDS ARROW}", "\N{DOWNWARDS ARROW}"


def _moved_here(corner: str, outcome: Outcome, screen: Screen) -> str:
    """What is changed at a corner, with an arrow up for bigger or longer."""
    lines = _arrowed(corner, outcome.change, screen)
    if outcome.holds:
        hold = _arrowed(corner, outcome.holds[0].change, screen)
        lines += ["to hold:", *hold] if hold else []
    return "\n".join(lines)


def _arrowed(corner: str, change: Change, screen: Screen) -> list[str]:
    told = (
        ("tire", change.rollouts, screen.tape_or_fine),
        ("jack", change.turns, turns_words),
        ("spacer", change.spacers, screen.tape_or_fine),
    )
    return [
        f"{name} {UP if amount > 0 else DOWN} {words(abs(amount))}"
        for name, amounts, words in told
        if (amount := float(getattr(amounts, corner)))
    ]


def _draw_car(axes: Axes) -> None:
    from matplotlib.patches import FancyBboxPatch, Rectangle

    body = FancyBboxPatch(
        (-0.2, -0.9), 0.4, 1.8, boxstyle="round,pad=0.04", facecolor="0.95", edgecolor="0.5"
    )
    axes.add_patch(body)
    for x, y in _PAD_PLACES:
        axes.add_patch(Rectangle((x - 0.1, y - 0.17), 0.2, 0.34, facecolor="0.8", edgecolor="0.3"))
        axes.add_patch(
            Rectangle((x - 0.06, y - 0.13), 0.12, 0.26, facecolor="white", edgecolor="black")
        )
    axes.annotate("", (0, 1.1), (0, 0.97), arrowprops={"arrowstyle": "-|>", "color": "0.3"})
    axes.text(0.04, 1.0, "front", color="0.3")


def _draw_gain(axes: Axes, x: float, y: float, gain: float, screen: Screen) -> None:
    """Inside a wheel: an arrow up for weight gained, down for weight lost, and how much."""
    if abs(gain) < 0.5 * POUND:
        return
    way = 0.1 if gain > 0 else -0.1
    axes.annotate(
        "", (x, y + way), (x, y - way),
        arrowprops={"arrowstyle": "-|>", "lw": 2.5, "mutation_scale": 18, "color": "black"},
    )  # fmt: skip
    inside = x - 0.12 * np.sign(x)
    side = "left" if x < 0 else "right"
    axes.text(inside, y, screen.weight(gain, signed=True), ha=side, va="center", fontsize=SMALL)


def _write_middle(axes: Axes, columns: list[tuple[str, Pads]], screen: Screen) -> None:
    lines = ["bite"]
    lines += [f"{screen.weight(pads.weights.bite)} {name}" for name, pads in columns]
    lines += ["", "cross weight"]
    lines += [f"{100 * pads.weights.cross_share:.1f} % {name}" for name, pads in columns]
    lifted = columns[1][1].lifted
    if lifted:
        lines += ["", f"{lifted.replace('_', ' ')}", "off its pad"]
    axes.text(0, 0, "\n".join(lines), ha="center", va="center", fontsize=10, weight="bold")


def bite_against_stagger(
    car: Car, outcome: Outcome, screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """Bite against rear stagger, one line for each of several front staggers."""
    figure, axes = canvas(ax, (PAGE[0], 5.2))
    rear_now, front_now = float(car.rear.stagger), float(car.front.stagger)
    rear_then = rear_now + float(outcome.change.rear_stagger)
    low, high = car.stagger_window
    ends = (min(low, rear_now, rear_then) - INCH / 4, max(high, rear_now, rear_then) + INCH / 4)
    rears = np.linspace(*ends, 60)
    fronts = front_now + _front_step(outcome) * np.array([2, 1, 0, -1, -2])
    order = (3, 1, 0, 2, 4)
    for bite, front, style in zip(
        bite_map(car, outcome.rates, rears, fronts), fronts, order, strict=True
    ):
        present = " (on the car)" if front == front_now else ""
        axes.plot(
            screen.staggers(rears), screen.weights(bite), **STYLES[style],
            label=f"{screen.tape(front)}{present}",
        )  # fmt: skip
    axes.axhline(float(screen.weights(car.weights.bite)), color="0.5", lw=1)
    axes.text(
        float(screen.staggers(ends[1])), float(screen.weights(car.weights.bite)),
        "bite now", fontsize=9, ha="right", va="bottom", color="0.3", bbox=CLEARED,
    )  # fmt: skip
    _mark_bites(axes, rear_now, rear_then, outcome, screen)
    axes.set_xlabel(f"rear stagger, {screen.stagger_unit}")
    axes.set_ylabel(f"bite, {screen.weight_unit}")
    legend_below(ax, figure, [axes], title="front stagger", ncols=3)
    moved = any(outcome.change.turns) or any(outcome.change.spacers)
    others = "\nlines: jacks and spacers as they are on the car" if moved else ""
    axes.set_title(f"{car.name}: a pair of staggers that holds bite\nlies on the grey line{others}")
    return figure


CLEARED = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0}
"""Behind a label that may lie on a line."""


def _front_step(outcome: Outcome) -> float:
    """Step between the lines: half an inch, or half of a larger front change, in eighths."""
    changed = [outcome.change.front_stagger]
    if outcome.holds:
        changed.append(changed[0] + outcome.holds[0].front_stagger)
    widest = max(abs(float(change)) for change in changed)
    return max(INCH / 2, float(np.ceil(widest / 2 / STAGGER_STEP - 1e-9)) * STAGGER_STEP)


def _mark_bites(
    axes: Axes, rear_now: float, rear_then: float, outcome: Outcome, screen: Screen
) -> None:
    """Where the car is, where the change takes it, and where the hold leaves it."""
    marks = [("now", rear_now, outcome.now, "o")]
    if outcome.raised:
        marks.append(("after", rear_then, outcome.then, "s"))
    if outcome.holds:
        marks.append(("held", rear_then, outcome.held, "D"))
    for name, rear, pads, shape in marks:
        at = float(screen.staggers(rear)), float(screen.weights(pads.weights.bite))
        axes.plot(*at, shape, color="black", markersize=8, markerfacecolor="white", mew=2)
        axes.annotate(
            name, at, (9, 7), textcoords="offset points", fontsize=10, weight="bold", bbox=CLEARED
        )
