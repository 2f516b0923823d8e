"""The pit card: the night on one letter page, to be taped inside the door and read at arm's length.

Runs are columns. A car from above in each says tires and air; a black box is a wheel that is
changed before that run, so that the card reads in grey and at a glance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rollpath.corners import CORNERS
from rollpath.screen import Screen
from rollpath.show.picture import as_typed
from rollpath.show.plan import jack_words, moves_words, trade_words
from rollpath.show.sheet import MARGIN, PAPERS, SHEET_STYLE, SMALLEST_TYPE, Box, put_text
from rollpath.show.words import CAUTIONS
from rollpath.trailer.plan import moves_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from rollpath.trailer.plan import Moves, Plan, PlannedRun

GAP = 0.012
"""Between columns, of the width of the page."""
WHEELS = {"left_front": (0.0, 1.0), "right_front": (1.0, 1.0),
          "left_rear": (0.0, 0.0), "right_rear": (1.0, 0.0)}  # fmt: skip
"""Place of a wheel in the car from above: across, and up."""


def draw_pit_card(plan: Plan, track: str, screen: Screen, paper: str = "letter") -> Figure:
    """The plan of a night on one page.

    Parameters
    ----------
    plan : Plan
    track : str
        Its name; empty where the staggers were typed.
    screen : Screen
    paper : str
        A key of `sheet.PAPERS`.
    """
    import matplotlib.pyplot as plt

    with as_typed(), plt.rc_context(SHEET_STYLE):
        page = plt.figure(figsize=PAPERS[paper])
        inner = 1 - 2 * MARGIN
        where = f" at {track}" if track else ""
        put_text(page, Box(MARGIN, 0.945, inner, 0.03), f"{plan.car.name}{where}", 20, "bold")
        held = f"bite held at {screen.weight(plan.bite)}; black: this wheel is changed; estimates"
        put_text(page, Box(MARGIN, 0.917, inner, 0.022), held, 11)
        wide = (inner + GAP) / len(plan.runs) - GAP
        for at, (one, moves) in enumerate(zip(plan.runs, moves_of(plan), strict=True)):
            _draw_run(page, MARGIN + at * (wide + GAP), wide, one, moves, screen)
        notes = "\n".join(trade_words(plan, screen))
        put_text(page, Box(MARGIN, 0.075, inner, 0.03), notes, 9.5)
        put_text(page, Box(MARGIN, 0.015, inner, 0.055), "\n".join(CAUTIONS), 8.5)
    return page


def _draw_run(
    page: Figure, left: float, wide: float, one: PlannedRun, moves: Moves, screen: Screen
) -> None:
    """One column: the run, the car, stagger and bite, what to do, room for what was felt."""
    _fitted(page, Box(left, 0.868, wide, 0.035), one.run.name, 22, weight="bold")
    _fitted(page, Box(left, 0.842, wide, 0.024), one.run.condition, 14)
    for corner in CORNERS:
        _draw_wheel(page, left, wide, corner, one, screen)
    stagger = screen.tape(one.pick.rear_stagger)
    _put_figure(page, Box(left, 0.475, wide, 0.06), "rear stagger", stagger)
    put_text(page, Box(left, 0.452, wide, 0.02), f"wanted {screen.tape(one.run.aim.stagger)}", 12)
    _put_figure(page, Box(left, 0.385, wide, 0.06), "bite", screen.weight(one.pick.bite))
    still = f"{screen.weight(moves.bite_unjacked)} before the jacks"
    put_text(page, Box(left, 0.362, wide, 0.02), still if any(moves.turns) else "", 12)
    jacks = jack_words(one)
    _put_figure(page, Box(left, 0.295, wide, 0.06), "rear jacks, turns from now", jacks)
    _box(page, Box(left, 0.185, wide, 0.105), "before this run")
    told = "\n".join(moves_words(moves, screen))
    put_text(page, Box(left + 0.006, 0.19, wide - 0.012, 0.08), told, 12)
    _box(page, Box(left, 0.11, wide, 0.072), "felt")


def _draw_wheel(
    page: Figure, left: float, wide: float, corner: str, one: PlannedRun, screen: Screen
) -> None:
    """A wheel: the tire big, its air below; black with white letters when it is changed."""
    from matplotlib.patches import Rectangle

    across, up = WHEELS[corner]
    gap = 0.04 * wide
    width, height = 0.5 * wide - gap / 2, 0.135
    box = Box(left + across * (width + gap), 0.548 + up * (height + 0.012), width, height)
    changed = corner in one.wheels
    page.add_artist(
        Rectangle((box.left, box.bottom), box.width, box.height, transform=page.transFigure,
                  facecolor="black" if changed else "white", edgecolor="black", linewidth=2)
    )  # fmt: skip
    ink = "white" if changed else "black"
    initials = "".join(word[0] for word in corner.split("_")).upper()
    pad = 0.07 * width
    place = Box(box.left + pad, box.top - 0.026, width - 2 * pad, 0.02)
    _fitted(page, place, initials, 11, ink)
    name = Box(box.left + pad, box.bottom + 0.058, width - 2 * pad, 0.052)
    _fitted(page, name, one.pick.names[corner], 34, ink, "bold")
    pressures = one.pick.pressures
    air = "" if pressures is None else screen.pressure(getattr(pressures, corner))
    below = Box(box.left + pad, box.bottom + 0.006, width - 2 * pad, 0.045)
    _fitted(page, below, air, 22, ink, "bold")


def _fitted(
    page: Figure, box: Box, text: str, size: float, ink: str = "black", weight: str = "normal"
) -> None:
    """One line from the top left of a box, made smaller until it fits inside."""
    drawn = page.text(
        box.left, box.top, text, fontsize=size, weight=weight, color=ink, va="top", ha="left"
    )
    width, height = (page.get_size_inches() * page.dpi) * (box.width, box.height)
    while size > SMALLEST_TYPE:
        extent = drawn.get_window_extent()
        if extent.width <= width and extent.height <= height:
            return
        size -= 0.5
        drawn.set_fontsize(size)


def _put_figure(page: Figure, box: Box, label: str, figure: str) -> None:
    """A small label and a big figure under it."""
    _fitted(page, Box(box.left, box.top - 0.018, box.width, 0.018), label, 10)
    _fitted(
        page, Box(box.left, box.bottom, box.width, box.height - 0.02), figure, 26, weight="bold"
    )


def _box(page: Figure, box: Box, label: str) -> None:
    """An empty box with its label in the corner."""
    from matplotlib.patches import Rectangle

    page.add_artist(
        Rectangle((box.left, box.bottom), box.width, box.height, transform=page.transFigure,
                  facecolor="none", edgecolor="0.3", linewidth=1)
    )  # fmt: skip
    _fitted(page, Box(box.left + 0.006, box.top - 0.018, box.width - 0.012, 0.016), label, 9.5)
