"""A night told and drawn: the line moving over the track, and the stagger it wants."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.groove.night import Night
from rollpath.screen import TRADE, Screen, inches
from rollpath.show.picture import Picture, draw_edges, map_size, panels
from rollpath.show.words import add_or_take_out, caution_lines, columns, paragraph, sections
from rollpath.track import GripBands
from rollpath.units import nearest_eighth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

GREYS = ("0.72", "0.60", "0.45", "0.28", "0.0")
WIDTHS = (4.5, 3.6, 2.8, 2.0, 1.2)
"""Of the lines in points: light and broad early, dark and thin late, so that none hides another."""
PLACES = ((0.3, "low"), (0.7, "the middle"), (2.0, "high"))  # fmt: skip
"""Up to which share of the way across a line is said to lie where."""

LINE_NOTE = (
    "1-2 and 3-4: where the fast line lies in those turns. It is the fast line that this is for; "
    "other screens take the line you name, or the usual one."
)


def short_screen(night: Night, screen: Screen = TRADE) -> str:
    """What to do as the night goes on, then every step of it."""
    unit = screen.tape(0.0).split()[-1]
    table = [["surface", "grip", "lap s", "1-2", "3-4", unit]]
    for share, step, (one, two) in zip(night.shares, night.steps, night.across, strict=True):
        table.append([
            _surface_words(night, share), grip_words(step.condition.grip),
            f"{float(step.lap.time):.1f}", *(place_words(at).split()[-1] for at in (one, two)),
            screen.tape(step.stagger.recommended).removesuffix(f" {unit}"),
        ])  # fmt: skip
    case = night.steps[0]
    title = f"{case.car.name} at {case.track.name}, from {night.first} to {night.last} (estimates)"
    rough = [] if all(step.groove.settled for step in night.steps) else [
        "Not every line settled: take them as rough."
    ]  # fmt: skip
    return sections(
        [
            [paragraph(instruction(night, screen))],
            [title, *columns(table, left=1), *rough],
            [paragraph(LINE_NOTE)],
            caution_lines(),
        ],
        screen,
    )


def instruction(night: Night, screen: Screen) -> str:
    """What the night asks for, first step to last."""
    start, end = (float(night.steps[i].stagger.recommended) for i in (0, -1))
    early, late = (place_words(night.across[i].mean()) for i in (0, -1))
    line = f"the fast line goes from {early} to {late}" if early != late else (
        f"the fast line stays {early}"
    )  # fmt: skip
    if nearest_eighth(end - start) == 0:
        return f"Start on {screen.tape(start)} and leave it all night; {line}."
    change = add_or_take_out(end - start, screen)
    return (
        f"Start on {screen.tape(start)}; by {night.last} {change}, to {screen.tape(end)}; {line}."
    )


def place_words(share: float) -> str:
    """Where a line lies across the track."""
    return next(words for end, words in PLACES if share < end)


def grip_words(grip: Any) -> str:
    """Grip in two places, inside to outside where it differs."""
    if isinstance(grip, GripBands):
        return f"{grip.inside:.2f} {grip.middle:.2f} {grip.outside:.2f}"
    return f"{float(grip):.2f}"


def _surface_words(night: Night, share: float) -> str:
    if share in (0.0, 1.0):
        return night.first if share == 0.0 else night.last
    return f"{share:.0%}"


def as_data(night: Night, screen: Screen = TRADE) -> dict[str, Any]:
    """The night as JSON."""
    case = night.steps[0]
    return {
        "track": case.track.name,
        "car": case.car.name,
        "from": night.first,
        "to": night.last,
        "steps": [
            {
                "share": share,
                "grip": _grip_data(step.condition.grip),
                "groove": step.groove.name,
                "groove_settled": step.groove.settled,
                "across_turns_1_2": across[0],
                "across_turns_3_4": across[1],
                "time_s": float(step.lap.time),
                "recommended_in": float(inches(step.stagger.recommended)),
                "unbounded_in": float(inches(step.stagger.unbounded)),
            }
            for share, step, across in zip(night.shares, night.steps, night.across, strict=True)
        ],
    }


def _grip_data(grip: Any) -> Any:
    return vars(grip) if isinstance(grip, GripBands) else float(grip)


def pictures(night: Night, screen: Screen = TRADE) -> list[Picture]:
    """The one picture: the line moving over the track, and the stagger along the night."""
    return [Picture("compare-night", night_picture(night, screen))]


def night_picture(night: Night, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """The line moving over the track, and under it the stagger along the night."""
    track = night.steps[0].track
    wide, high = map_size(track)
    figure, ((upper,), (lower,)) = panels(
        ax, 2, (wide, high + 2.6), heights=(high, 2.2), share_x=False
    )
    _draw_lines(night, screen, upper)
    _draw_staggers(night, screen, lower)
    return figure


def _draw_lines(night: Night, screen: Screen, axes: Axes) -> None:
    """The line of every step on the outline of the track."""
    draw_edges(axes, night.steps[0].track, screen)
    for i, (share, step) in enumerate(zip(night.shares, night.steps, strict=True)):
        x, y = (screen.lengths(np.append(part, part[0])) for part in step.groove.path)
        axes.plot(x, y, color=GREYS[i], linewidth=WIDTHS[i], label=_surface_words(night, share))
    axes.legend(loc="center", title="the line, light to dark", fontsize=10)
    axes.set_title(night.steps[0].track.name)


def _draw_staggers(night: Night, screen: Screen, axes: Axes) -> None:
    """The stagger of every step, what is as good as a band."""
    at = 100 * np.array(night.shares)
    best = [step.stagger for step in night.steps]
    low, high = (
        screen.staggers(np.array([float(one.band[end]) for one in best])) for end in (0, 1)
    )
    axes.fill_between(at, low, high, color="0.85", label="will do")
    wanted = screen.staggers(np.array([float(one.recommended) for one in best]))
    axes.plot(at, wanted, color="black", marker="o", markersize=8, label="fit this")
    for x, y, one in zip(at, wanted, best, strict=True):
        axes.annotate(screen.tape(one.recommended), (x, y), textcoords="offset points",
                      xytext=(0, 9), ha="center", fontsize=11)  # fmt: skip
    axes.set_xlabel(f"from {night.first} to {night.last}, %")
    axes.set_ylabel(f"rear stagger, {screen.stagger_unit}")
    axes.margins(x=0.14, y=0.35)
    axes.legend(fontsize=10, loc="best")
