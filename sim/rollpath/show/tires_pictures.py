"""The rack drawn: its rollouts as a strip, and the staggers it can make."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rollpath.scales.hold import bite_map
from rollpath.scales.rates import bite_rates
from rollpath.screen import TRADE, Screen
from rollpath.show.picture import (
    PAGE,
    SMALL,
    STYLES,
    Picture,
    canvas,
    legend_below,
)
from rollpath.tires.air import cold_rollout
from rollpath.tires.choose import Choice
from rollpath.tires.judge import stagger_map
from rollpath.tires.rack import RackTire
from rollpath.units import INCH, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def tires_pictures(choice: Choice, screen: Screen) -> list[Picture]:
    """The rack as a strip of rollouts, and what staggers it can make."""
    return [
        Picture("tires-rack", rack_strip(choice, screen)),
        Picture("tires-reach", reach_map(choice, screen)),
    ]


def _place_in_strip(choice: Choice, tire: RackTire) -> tuple[str, str]:
    """The corner a tire's rollout is shown for, and what it is: chosen, off, scrap or empty."""
    for corner, name in choice.picks[0].names.items():
        if name == tire.name:
            return corner, "chosen"
    corner = tire.on_car or tire.corners[0]
    return corner, "scrap" if tire.scrap else "off" if tire.on_car else ""


_STRIP_MARKS = {
    "chosen": ("o", "black", 10, "bolt on"),
    "off": ("s", "white", 9, "on the car, comes off"),
    "": ("o", "white", 7, "on the rack"),
    "scrap": ("x", "0.4", 8, "scrap"),
}
"""Marker, fill, size and words of each state of a tire."""


def rack_strip(choice: Choice, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Each tire of the rack at its cold rollout, the chosen four marked and named."""
    taped = [tire for tire in choice.rack.tires if tire.cold is not None]
    shown = sorted(
        ((cold_rollout(choice.rack, tire, corner), tire, corner, state)
         for tire in taped
         for corner, state in [_place_in_strip(choice, tire)]),
        key=lambda item: item[0],
    )  # fmt: skip
    figure, axes = canvas(ax, (PAGE[0], 1.9 + 0.25 * len(shown)))
    rollouts = screen.staggers(np.array([rollout for rollout, *_ in shown]))
    named = set()
    for y, (x, (_, _, corner, state)) in enumerate(zip(rollouts, shown, strict=True)):
        marker, fill, size, words = _STRIP_MARKS[state]
        axes.plot(
            x, y, marker, markersize=size, markerfacecolor=fill, markeredgecolor="black",
            linestyle="none", label=None if words in named else words,
        )  # fmt: skip
        named.add(words)
        if state in ("chosen", "off"):
            told = corner.replace("_", " ") if state == "chosen" else f"off the {corner}"
            axes.annotate(
                told.replace("_", " "), (x, y), (10, 0), textcoords="offset points",
                va="center", weight="bold" if state == "chosen" else "normal", fontsize=10,
            )  # fmt: skip
    axes.set_yticks(range(len(shown)), [tire.name for _, tire, *_ in shown])
    axes.set_xlim(right=rollouts.max() + 0.3 * max(np.ptp(rollouts), 1.0))
    axes.set_xlabel(f"rollout, cold, at running pressure, {screen.stagger_unit}")
    legend_below(ax, figure, [axes])
    axes.set_title(f"{choice.rack.name}\nrear stagger {screen.tape(choice.picks[0].rear_stagger)}")
    return figure


def reach_map(choice: Choice, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Rear against front stagger: what the rack can make, with lines of equal bite."""
    made = stagger_map(choice)
    figure, axes = canvas(ax, (PAGE[0], 5.2))
    axes.grid(False)
    x, y = screen.staggers(made.rear), screen.staggers(made.front)
    axes.pcolormesh(
        x, y, np.where(made.made, 0.25, np.nan), cmap="Greys", vmin=0, vmax=1, shading="nearest",
        edgecolors="white", linewidth=0.3,
    )  # fmt: skip
    rear, front = (_near_the_picks(choice, axle) for axle in ("rear", "front"))
    axes.set_xlim(*screen.staggers(rear[[0, -1]]))
    axes.set_ylim(*screen.staggers(front[[0, -1]]))
    bite = screen.weights(bite_map(choice.car, bite_rates(choice.car), rear, front))
    lines = axes.contour(
        screen.staggers(rear), screen.staggers(front), bite, 8, colors="0.25", linewidths=0.9
    )
    axes.clabel(lines, fmt=f"%g {screen.weight_unit}", fontsize=SMALL)
    axes.axvline(
        float(screen.staggers(choice.aim.stagger)), **STYLES[1],
        label=f"wanted {screen.tape(choice.aim.stagger)}",
    )  # fmt: skip
    _mark_staggers(axes, choice, screen)
    axes.set_xlabel(f"rear stagger, cold, {screen.stagger_unit}")
    axes.set_ylabel(f"front stagger, cold, {screen.stagger_unit}")
    legend_below(ax, figure, [axes])
    axes.set_title("Grey: pairs of staggers the rack\ncan make; lines: equal bite")
    return figure


def _near_the_picks(choice: Choice, axle: str) -> FloatArray:
    """An axis of the map: the best sets, the car file and the target with room around them."""
    ends = [float(getattr(choice.car, axle).stagger)]
    ends += [getattr(pick, f"{axle}_stagger") for pick in choice.picks]
    if axle == "rear":
        ends.append(choice.aim.stagger)
    return np.linspace(min(ends) - 1.25 * INCH, max(ends) + 1.25 * INCH, 80)


def _mark_staggers(axes: Axes, choice: Choice, screen: Screen) -> None:
    """The car file, the best ten and the first."""
    first, *others = choice.picks
    car = choice.car
    axes.plot(
        screen.staggers(np.array([pick.rear_stagger for pick in others])),
        screen.staggers(np.array([pick.front_stagger for pick in others])),
        "o", markersize=6, markerfacecolor="white", markeredgecolor="black", linestyle="none",
        label="others of the best",
    )  # fmt: skip
    axes.plot(
        float(screen.staggers(car.rear.stagger)), float(screen.staggers(car.front.stagger)),
        "s", markersize=9, markerfacecolor="white", markeredgecolor="black", mew=2,
        linestyle="none", label="car file",
    )  # fmt: skip
    axes.plot(
        float(screen.staggers(first.rear_stagger)), float(screen.staggers(first.front_stagger)),
        "*", markersize=17, color="black", linestyle="none",
        label=", ".join(first.names.values()),
    )  # fmt: skip
