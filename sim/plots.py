"""Pictures: results drawn, nothing computed.

Every picture reads in grey: lines differ by dash and label, shades run from dark to light one way,
and signs and words say what a shade means.
"""

import logging
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sim.balance import FeelCase
from sim.bite import CORNERS, STAGGER_STEP, Change, Outcome, Pads, bite_map, bite_rates
from sim.car import Car
from sim.files import FileError, Sweep, make_folder, write_whole
from sim.groove import Groove, place
from sim.lap import PHASES
from sim.rack import RackTire, cold_rollout
from sim.stagger import Baseline
from sim.survey import LogFit, Survey
from sim.tables import turns_words
from sim.tires import (
    Choice,
    reach,
)
from sim.track import Track
from sim.units import DEGREE, FOOT, INCH, MPH, POUND, FloatArray, Real, Screen

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from sim.nights import Point, Study

SHADES = "cividis"
"""Its lightness runs one way and it reads alike to colour-blind eyes."""
STYLES: tuple[dict[str, Any], ...] = (
    {"color": "black", "linestyle": "-"},
    {"color": "#0072b2", "linestyle": "--"},
    {"color": "#d55e00", "linestyle": "-."},
    {"color": "#009e73", "linestyle": ":"},
    {"color": "0.45", "linestyle": (0, (6, 2, 1, 2, 1, 2))},
    {"color": "#cc79a7", "linestyle": (0, (2, 1))},
)
"""Lines told apart by dash as well as by colour (after Okabe and Ito's colours)."""
DOTS_PER_INCH = 150
EDGE = INCH / 4
"""Stagger shown beyond the outermost mark, m."""
PAGE = (7.2, 6.4)
"""Width and height of a picture, in: half a letter page, or a phone held upright."""


@dataclass(frozen=True)
class Picture:
    """A drawn figure and the name of its file, without the ending."""

    name: str
    figure: "Figure"


AS_TYPED: dict[Any, Any] = {"text.parse_math": False}
"""A dollar sign in a name is a dollar sign, never mathematics."""


@contextmanager
def as_typed(figures: "Iterable[Figure]" = ()) -> "Iterator[None]":
    """While text is drawn or measured: as it was typed, and no word of letters the font lacks.

    Parameters
    ----------
    figures : iterable of Figure
        Already drawn, to be shown or written inside; their text is taken as typed from here on.
    """
    import matplotlib.pyplot as plt
    from matplotlib.text import Text

    for figure in figures:
        for text in figure.findobj(Text):
            text.set_parse_math(False)
    log = logging.getLogger("matplotlib.mathtext")
    before = log.level
    with warnings.catch_warnings(), plt.rc_context(AS_TYPED):
        # A letter that the font lacks is drawn as a box, which says enough.
        warnings.filterwarnings("ignore", message=r"(?s).*(Glyph .* missing|not have a glyph)")
        log.setLevel(logging.ERROR)
        try:
            yield
        finally:
            log.setLevel(before)


def deliver(pictures: Iterable[Picture], out: Path | None, show: bool) -> list[Path]:
    """Write pictures into a folder, show them, or both.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    files.FileError
        If the folder or a file in it cannot be written, or there is no display to show them on.
    """
    from io import BytesIO

    written = []
    for picture in pictures:
        if out is not None:
            make_folder(out)
            data = BytesIO()
            with as_typed([picture.figure]):
                picture.figure.savefig(data, format="png", dpi=DOTS_PER_INCH)
            path = out / f"{picture.name}.png"
            write_whole(path, data.getvalue())
            written.append(path)
    if show:
        show_all()
    return written


NO_WINDOW = ("agg", "cairo", "pdf", "pgf", "ps", "svg", "template")
"""matplotlib's backends that draw to files alone (its user guide, "Backends")."""


def show_all() -> None:
    """Show every open figure until its window is closed.

    Raises
    ------
    files.FileError
        If there is no display.
    """
    import matplotlib.pyplot as plt

    if plt.get_backend().lower() in NO_WINDOW:
        raise FileError(["no display here; use --out DIR"])
    with as_typed(plt.figure(number) for number in plt.get_fignums()):
        plt.show()


STYLE: dict[Any, Any] = {
    **AS_TYPED,
    "font.size": 11, "axes.grid": True, "grid.color": "0.88", "axes.axisbelow": True,
    "lines.linewidth": 1.8, "axes.titlesize": 12, "legend.framealpha": 0.9,
}  # fmt: skip


def figure_with(
    rows: int = 1, size: tuple[float, float] = PAGE, **grid: Any
) -> tuple["Figure", Any]:
    """A figure and its axes, one above the other, in the style of all pictures."""
    import matplotlib.pyplot as plt

    with plt.rc_context(STYLE):
        figure, axes = plt.subplots(rows, 1, figsize=size, layout="constrained", **grid)
    return figure, axes


def figure_grid(rows: int, columns: int, size: tuple[float, float]) -> tuple["Figure", Any]:
    """A figure and an array of axes that share their scales, in the style of all pictures."""
    import matplotlib.pyplot as plt

    with plt.rc_context(STYLE):
        figure, grid = plt.subplots(
            rows, columns, figsize=size, layout="constrained", squeeze=False,
            sharex=True, sharey=True,
        )  # fmt: skip
    return figure, grid


# What pictures share


def lengths(values: Real, screen: Screen) -> Any:
    """Distances along a lap in ft or m."""
    return np.asarray(values) / (1.0 if screen.is_si else FOOT)


def staggers(values: Real, screen: Screen) -> Any:
    """Staggers in in or mm."""
    return np.asarray(values) / (1e-3 if screen.is_si else INCH)


def speeds(values: Real, screen: Screen) -> Any:
    """Speeds in mph or m/s."""
    return np.asarray(values) / (1.0 if screen.is_si else MPH)


def length_unit(screen: Screen) -> str:
    return "m" if screen.is_si else "ft"


def stagger_unit(screen: Screen) -> str:
    return "mm" if screen.is_si else "in"


def draw_edges(axes: "Axes", track: Track, screen: Screen) -> None:
    """Both edges of a track, seen from above."""
    edge = track.edge
    u = np.linspace(0.0, float(edge.length[0, 0]), 721)
    for offset in (0.0, float(track.width)):
        x, y = place(edge, u, offset)
        axes.plot(lengths(x[0], screen), lengths(y[0], screen), color="0.35", linewidth=1.2)
    axes.set_aspect("equal")
    axes.margins(0.06)
    axes.set_xlabel(f"distance along the straights, {length_unit(screen)}")
    axes.set_ylabel(f"distance across, {length_unit(screen)}")


def map_size(track: Track, extra: float = 0.0) -> tuple[float, float]:
    """Width and height of a picture that a track fills, in; `extra` for what stands below it."""
    edge = track.edge
    x, y = place(edge, np.linspace(0.0, float(edge.length[0, 0]), 200), float(track.width))
    shape = float(np.ptp(y) / np.ptp(x))
    return PAGE[0], min(max(6.2 * shape + 1.4, 3.2), 7.6) + extra


def draw_shaded_path(
    axes: "Axes",
    groove: Groove,
    values: FloatArray,
    limit: float,
    screen: Screen,
    width: float = 7.0,
) -> Any:
    """The groove as a band shaded by values from -limit to limit; returns what a scale needs."""
    from matplotlib.collections import LineCollection

    x, y = (lengths(np.append(part, part[0]), screen) for part in groove.path)
    points = np.stack([x, y], axis=-1)
    pieces = np.stack([points[:-1], points[1:]], axis=1)
    axes.add_collection(LineCollection(list(pieces), colors="black", linewidths=width + 2))
    band = LineCollection(list(pieces), cmap=SHADES, linewidths=width)
    band.set_array(values)
    band.set_clim(-limit, limit)
    axes.add_collection(band)
    return band


def mark_signs(
    axes: "Axes",
    groove: Groove,
    values: FloatArray,
    least: float,
    screen: Screen,
    size: float = 13.0,
) -> None:
    """Signs on the path where a value is clearly positive or negative: shades put in ink."""
    x, y = (lengths(part, screen) for part in groove.path)
    for i in np.linspace(0, len(values), 28, endpoint=False).astype(int):
        if abs(values[i]) > least:
            axes.text(
                x[i], y[i], "+" if values[i] > 0 else "\N{MINUS SIGN}", fontsize=size,
                weight="bold", ha="center", va="center",
                color="black" if values[i] > 0 else "white",
            )  # fmt: skip


SHADE_KEY = "shade: entry dark, drive-off middling, centre light, straight white"


def shade_phases(
    axes: "Axes",
    s: FloatArray,
    phase: NDArray[np.int_],
    screen: Screen,
    named: bool,
    size: float = 9.0,
) -> None:
    """Bands along the lap for the phases, named along the top where there is room for the name."""
    shades = {"entry": "0.80", "centre": "0.93", "drive-off": "0.87", "straight": "1.0"}
    ends = np.flatnonzero(np.diff(phase)) + 1
    figure = axes.get_figure(root=True)
    width = axes.get_position().width * (figure.get_size_inches()[0] if figure else PAGE[0])
    letter = 0.62 * size / 72 / width * s[-1]
    for start, end in zip(np.append(0, ends), np.append(ends, len(s)), strict=True):
        left, right = s[start], s[end - 1]
        name = PHASES[phase[start]]
        axes.axvspan(
            float(lengths(left, screen)), float(lengths(right, screen)), color=shades[name], lw=0
        )
        if named and right - left > letter * (len(name) + 0.3):
            axes.text(
                float(lengths(0.5 * (left + right), screen)), 1.02, name,
                transform=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=size,
            )  # fmt: skip


# baseline


def baseline_pictures(result: Baseline, screen: Screen) -> list[Picture]:
    """Map, cost curve and lap of a `baseline`."""
    return [
        Picture("baseline-map", mismatch_map(result, screen)),
        Picture("baseline-cost", cost_curve(result, screen)),
        Picture("baseline-lap", needed_and_scrub(result, screen)),
    ]


def _case_title(result: Baseline) -> str:
    return (
        f"{result.car.name} at {result.track.name}, "
        f"{result.condition.name}, {result.groove.name} groove"
    )


def mismatch_map(result: Baseline, screen: Screen) -> "Figure":
    """The track from above, its groove shaded by mismatch with the recommended stagger."""
    figure, axes = figure_with(size=map_size(result.track, extra=1.1))
    mismatch = staggers(result.stagger.recommended - result.needed.total, screen)
    limit = float(np.max(np.abs(mismatch)))
    draw_edges(axes, result.track, screen)
    band = draw_shaded_path(axes, result.groove, mismatch, limit, screen)
    mark_signs(axes, result.groove, mismatch, 0.2 * limit, screen)
    figure.colorbar(
        band, ax=axes, location="bottom", aspect=40,
        label=f"mismatch with {screen.tape(result.stagger.recommended)}, {stagger_unit(screen)}\n"
        "dark \N{MINUS SIGN} too little: the axle pushes     "
        "light + more than needed: it steers left",
    )  # fmt: skip
    axes.set_title(_case_title(result))
    return figure


def cost_curve(result: Baseline, screen: Screen) -> "Figure":
    """Stagger against root-mean-square mismatch with window, band, present and recommended."""
    figure, axes = figure_with(size=(7.2, 5.2))
    best = result.stagger
    now = float(result.car.rear.stagger)
    ends = [*best.window, now, float(best.unbounded)]
    margin = 0.4 * INCH
    s = np.linspace(min(ends) - margin, max(ends) + margin, 300)
    low, high = (staggers(end, screen) for end in best.window)
    axes.axvspan(*(staggers(end, screen) for end in best.band), color="0.80", label="as good")
    axes.plot(staggers(s, screen), staggers(best.cost(s), screen), color="black")
    for end, word in ((low, "window"), (high, None)):
        axes.axvline(end, color="0.35", linestyle=":", label=word)
    for stagger, marker, word in (
        (now, "s", f"on the car {screen.tape(now)}"),
        (best.recommended, "o", f"recommended {screen.tape(best.recommended)}"),
    ):
        axes.plot(
            staggers(stagger, screen), staggers(best.cost(stagger), screen), marker,
            color="black", markersize=10, label=word, linestyle="none",
            markerfacecolor="white" if marker == "s" else "black",
        )  # fmt: skip
    axes.set_xlabel(f"rear stagger, {stagger_unit(screen)}")
    axes.set_ylabel(f"mismatch where the car drives (rms), {stagger_unit(screen)}")
    axes.set_ylim(bottom=0)
    axes.legend(loc="upper center", ncols=2)
    axes.set_title(_case_title(result))
    return figure


def needed_and_scrub(result: Baseline, screen: Screen) -> "Figure":
    """Along the lap: needed against fitted stagger, and the scrub below it."""
    figure, (upper, lower) = figure_with(
        2, size=(7.2, 6.8), sharex=True, gridspec_kw={"height_ratios": [3, 2]}
    )
    s = result.groove.s
    x = lengths(s, screen)
    phase = result.lap.phase
    shade_phases(upper, s, phase, screen, named=True)
    shade_phases(lower, s, phase, screen, named=False)
    upper.plot(x, staggers(result.needed.total, screen), **STYLES[0], label="needed")
    upper.plot(x, staggers(result.needed.geometric, screen), **STYLES[3], label="by geometry alone")
    now, then = result.car.rear.stagger, result.stagger.recommended
    upper.axhline(float(staggers(now, screen)), **STYLES[1], label=f"on the car {screen.tape(now)}")
    upper.axhline(
        float(staggers(then, screen)), **STYLES[2], label=f"recommended {screen.tape(then)}"
    )
    upper.set_ylabel(f"rear stagger, {stagger_unit(screen)}")
    upper.set_title(_case_title(result), pad=20)
    for scrub, style in ((result.now, STYLES[1]), (result.then, STYLES[2])):
        lower.plot(x, 100 * np.abs(scrub.slip), **style)
    lower.set_ylabel("scrub between\nthe rear treads, %")
    lower.set_ylim(bottom=0)
    lower.set_xlabel(
        f"distance from the middle of the front straight, {length_unit(screen)}\n{SHADE_KEY}"
    )
    figure.legend(fontsize=9, ncols=2, loc="outside lower center")
    lower.set_xlim(0, float(lengths(result.groove.length, screen)))
    return figure


# compare


def compare_pictures(results: list[Baseline], screen: Screen) -> list[Picture]:
    """Grooves on each track, needed stagger along the lap, and the recommendations."""
    tracks = {result.track.name: result.track for result in results}
    maps = []
    for i, (name, track) in enumerate(tracks.items(), start=1):
        there = [result for result in results if result.track.name == name]
        maps.append(Picture(f"compare-grooves-{i}", groove_map(track, there, screen)))
    return [
        *maps,
        Picture("compare-needed", needed_lines(results, screen)),
        Picture("compare-staggers", dots_and_bands(results, screen)),
    ]


def groove_map(track: Track, results: list[Baseline], screen: Screen) -> "Figure":
    """All grooves of a track on its outline."""
    figure, axes = figure_with(size=map_size(track))
    draw_edges(axes, track, screen)
    grooves = {result.groove.name: result.groove for result in results}
    for style, (name, groove) in zip(STYLES, grooves.items(), strict=False):
        x, y = (lengths(np.append(part, part[0]), screen) for part in groove.path)
        axes.plot(x, y, label=name, **style)
    axes.legend(loc="center", title="groove")
    axes.set_title(track.name)
    return figure


def needed_lines(results: list[Baseline], screen: Screen) -> "Figure":
    """Needed stagger along the lap, a panel for each track and groove, a line for each surface."""
    panels = list({(result.track.name, result.groove.name): None for result in results})
    rows = -(-len(panels) // 2)
    columns = min(2, len(panels))
    figure, grid = figure_grid(rows, columns, (7.2, 1.2 + 2.4 * rows))
    cases = list({(result.condition.name, result.car.name): None for result in results})
    for axes, panel in zip(grid.flat, panels, strict=False):
        for result in results:
            if (result.track.name, result.groove.name) == panel:
                style = STYLES[cases.index((result.condition.name, result.car.name)) % len(STYLES)]
                share = 100 * result.groove.s / result.groove.length
                axes.plot(share, staggers(result.needed.total, screen), **style)
        axes.set_title(", ".join(panel), fontsize=10)
        axes.set_xlim(0, 100)
    for axes in grid.flat[len(panels) :]:
        axes.set_visible(False)
    figure.supxlabel("distance from the middle of the front straight, % of the lap", fontsize=11)
    figure.supylabel(f"rear stagger needed, {stagger_unit(screen)}", fontsize=11)
    handles = [_style_handle(i) for i in range(len(cases))]
    cars = len({car for _, car in cases}) > 1
    words = [f"{surface}, {car}" if cars else surface for surface, car in cases]
    figure.legend(handles, words, loc="outside upper center", ncols=min(4, len(cases)), fontsize=10)
    return figure


def _style_handle(i: int) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], **STYLES[i % len(STYLES)])


def dots_and_bands(results: list[Baseline], screen: Screen) -> "Figure":
    """The recommendation of every case as a dot, what is as good as a band, in the window."""
    figure, axes = figure_with(size=(7.2, 1.6 + 0.34 * len(results)))
    places = np.arange(len(results))[::-1]
    for place_, result in zip(places, results, strict=True):
        best = result.stagger
        low, high = (float(staggers(end, screen)) for end in best.band)
        axes.barh(place_, high - low, left=low, height=0.55, color="0.80", edgecolor="0.5")
        axes.plot(staggers(best.recommended, screen), place_, "o", color="black", markersize=8)
    for end in {end for result in results for end in result.stagger.window}:
        axes.axvline(float(staggers(end, screen)), color="0.35", linestyle=":")
    for now in {float(result.car.rear.stagger) for result in results}:
        axes.axvline(float(staggers(now, screen)), color="black", linestyle="--", linewidth=1.2)
    several = len({result.car.name for result in results}) > 1
    axes.set_yticks(places, [_row_name(result, several) for result in results], fontsize=9)
    ends = [end for result in results for end in (*result.stagger.window, result.car.rear.stagger)]
    axes.set_xlim(*(float(staggers(end, screen)) for end in (min(ends) - EDGE, max(ends) + EDGE)))
    axes.set_xlabel(f"rear stagger, {stagger_unit(screen)}")
    figure.suptitle(
        "dot: recommended   band: as good\ndotted: window   dashed: on the car", fontsize=10
    )
    return figure


def _row_name(result: Baseline, with_car: bool) -> str:
    name = f"{result.track.name}, {result.condition.name}, {result.groove.name}"
    return f"{name}, {result.car.name}" if with_car else name


def sweep_picture(
    sweep: Sweep, case: Baseline, rows: dict[str, FloatArray], screen: Screen
) -> Picture:
    """Recommended stagger against the swept number."""
    figure, axes = figure_with(size=(7.2, 5.2))
    unit = screen.of_kind(1.0, sweep.kind).partition(" ")[2]
    x = [float(screen.of_kind(value, sweep.kind).split()[0]) for value in sweep.values]
    low, high = (staggers(rows[f"band_{end}_in"] * INCH, screen) for end in ("low", "high"))
    axes.fill_between(x, low, high, color="0.82", label="as good")
    for style, name, word in (
        (STYLES[0], "optimum_in", "best"),
        (STYLES[1], "loaded_corner_1_in", "turns 1-2 centre needs"),
        (STYLES[3], "loaded_corner_2_in", "turns 3-4 centre needs"),
    ):
        axes.plot(x, staggers(rows[name] * INCH, screen), label=word, **style)
    axes.set_xlabel(f"{sweep.key.replace('_', ' ')}{', ' if unit else ''}{unit}")
    axes.set_ylabel(f"rear stagger, {stagger_unit(screen)}")
    axes.legend()
    axes.set_title(_case_title(case))
    return Picture("compare-sweep", figure)


# bite


def bite_pictures(car: Car, outcome: Outcome, screen: Screen) -> list[Picture]:
    """The car from above on its pads, and bite against staggers."""
    return [
        Picture("bite-pads", pads_from_above(car, outcome, screen)),
        Picture("bite-staggers", bite_against_stagger(car, outcome, screen)),
    ]


def weights(values: Real, screen: Screen) -> Any:
    """Weights in lb or N."""
    return np.asarray(values) / (1.0 if screen.is_si else POUND)


def weight_unit(screen: Screen) -> str:
    return "N" if screen.is_si else "lb"


def pads_from_above(car: Car, outcome: Outcome, screen: Screen) -> "Figure":
    """The car from above: each pad before and after, with arrows for what moved."""
    figure, axes = figure_with(size=(7.2, 7.6))
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
        out = 0.84 * np.sign(x)
        axes.text(out, y + 0.12, corner.replace("_", " "), ha="center", weight="bold", fontsize=11)
        axes.text(
            out, y, "\n".join(lines), ha="center", va="center", family="monospace", fontsize=11
        )
        axes.text(
            out, y - 0.14, _moved_here(corner, outcome, screen), ha="center", va="top", fontsize=11
        )
        _draw_gain(axes, x, y, values[1] - values[0], screen)
    _write_middle(axes, columns, screen)
    axes.set_title(f"{car.name} on the scales, from above")
    return figure


_PAD_PLACES = ((-0.42, 0.62), (0.42, 0.62), (-0.42, -0.62), (0.42, -0.62))
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


def _draw_car(axes: "Axes") -> None:
    from matplotlib.patches import FancyBboxPatch, Rectangle

    body = FancyBboxPatch(
        (-0.24, -0.9), 0.48, 1.8, boxstyle="round,pad=0.04", facecolor="0.95", edgecolor="0.5"
    )
    axes.add_patch(body)
    for x, y in _PAD_PLACES:
        axes.add_patch(
            Rectangle((x - 0.12, y - 0.17), 0.24, 0.34, facecolor="0.8", edgecolor="0.3")
        )
        axes.add_patch(
            Rectangle((x - 0.07, y - 0.13), 0.14, 0.26, facecolor="white", edgecolor="black")
        )
    axes.annotate("", (0, 1.1), (0, 0.97), arrowprops={"arrowstyle": "-|>", "color": "0.3"})
    axes.text(0.04, 1.0, "front", color="0.3")


def _draw_gain(axes: "Axes", x: float, y: float, gain: float, screen: Screen) -> None:
    """Inside a wheel: an arrow up for weight gained, down for weight lost, and how much."""
    if abs(gain) < 0.5 * POUND:
        return
    way = 0.1 if gain > 0 else -0.1
    axes.annotate(
        "", (x, y + way), (x, y - way),
        arrowprops={"arrowstyle": "-|>", "lw": 2.5, "mutation_scale": 18, "color": "black"},
    )  # fmt: skip
    inside = x - 0.15 * np.sign(x)
    side = "left" if x < 0 else "right"
    axes.text(inside, y, screen.weight(gain, signed=True), ha=side, va="center")


def _write_middle(axes: "Axes", columns: list[tuple[str, Pads]], screen: Screen) -> None:
    lines = ["bite"]
    lines += [f"{screen.weight(pads.weights.bite)} {name}" for name, pads in columns]
    lines += ["", "cross weight"]
    lines += [f"{100 * pads.weights.cross_share:.1f} % {name}" for name, pads in columns]
    lifted = columns[1][1].lifted
    if lifted:
        lines += ["", f"{lifted.replace('_', ' ')}", "off its pad"]
    axes.text(0, 0, "\n".join(lines), ha="center", va="center", fontsize=12, weight="bold")


def bite_against_stagger(car: Car, outcome: Outcome, screen: Screen) -> "Figure":
    """Bite against rear stagger, one line for each of several front staggers."""
    figure, axes = figure_with(size=(7.2, 5.8))
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
            staggers(rears, screen), weights(bite, screen), **STYLES[style],
            label=f"{screen.tape(front)}{present}",
        )  # fmt: skip
    axes.axhline(float(weights(car.weights.bite, screen)), color="0.5", lw=1)
    axes.text(
        float(staggers(ends[1], screen)), float(weights(car.weights.bite, screen)),
        "bite now", fontsize=9, ha="right", va="bottom", color="0.3", bbox=CLEARED,
    )  # fmt: skip
    _mark_bites(axes, rear_now, rear_then, outcome, screen)
    axes.set_xlabel(f"rear stagger, {stagger_unit(screen)}")
    axes.set_ylabel(f"bite, {weight_unit(screen)}")
    axes.legend(title="front stagger", fontsize=9, loc="upper right")
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
    axes: "Axes", rear_now: float, rear_then: float, outcome: Outcome, screen: Screen
) -> None:
    """Where the car is, where the change takes it, and where the hold leaves it."""
    marks = [("now", rear_now, outcome.now, "o")]
    if outcome.raised:
        marks.append(("after", rear_then, outcome.then, "s"))
    if outcome.holds:
        marks.append(("held", rear_then, outcome.held, "D"))
    for name, rear, pads, shape in marks:
        at = float(staggers(rear, screen)), float(weights(pads.weights.bite, screen))
        axes.plot(*at, shape, color="black", markersize=8, markerfacecolor="white", mew=2)
        axes.annotate(
            name, at, (9, 7), textcoords="offset points", fontsize=10, weight="bold", bbox=CLEARED
        )


# tires


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


def rack_strip(choice: Choice, screen: Screen) -> "Figure":
    """Each tire of the rack at its cold rollout, the chosen four marked and named."""
    taped = [tire for tire in choice.rack.tires if tire.cold is not None]
    shown = sorted(
        ((cold_rollout(choice.rack, tire, corner), tire, corner, state)
         for tire in taped
         for corner, state in [_place_in_strip(choice, tire)]),
        key=lambda item: item[0],
    )  # fmt: skip
    figure, axes = figure_with(size=(7.2, 1.9 + 0.27 * len(shown)))
    rollouts = staggers(np.array([rollout for rollout, *_ in shown]), screen)
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
    axes.set_xlim(right=rollouts.max() + 0.22 * max(np.ptp(rollouts), 1.0))
    axes.set_xlabel(f"rollout, cold, at the running pressure, {stagger_unit(screen)}")
    axes.legend(fontsize=9, loc="upper left")
    axes.set_title(f"{choice.rack.name}: rear stagger "
                   f"{screen.tape(choice.picks[0].rear_stagger)}")  # fmt: skip
    return figure


def reach_map(choice: Choice, screen: Screen) -> "Figure":
    """Rear against front stagger: what the rack can make, with lines of equal bite."""
    made = reach(choice)
    figure, axes = figure_with(size=(7.2, 6.2))
    axes.grid(False)
    x, y = staggers(made.rear, screen), staggers(made.front, screen)
    axes.pcolormesh(
        x, y, np.where(made.made, 0.25, np.nan), cmap="Greys", vmin=0, vmax=1, shading="nearest",
        edgecolors="white", linewidth=0.3,
    )  # fmt: skip
    rear, front = (_near_the_picks(choice, axle) for axle in ("rear", "front"))
    axes.set_xlim(*staggers(rear[[0, -1]], screen))
    axes.set_ylim(*staggers(front[[0, -1]], screen))
    bite = weights(bite_map(choice.car, bite_rates(choice.car), rear, front), screen)
    lines = axes.contour(
        staggers(rear, screen), staggers(front, screen), bite, 8, colors="0.25", linewidths=0.9
    )
    axes.clabel(lines, fmt=f"%g {weight_unit(screen)}", fontsize=8)
    axes.axvline(
        float(staggers(choice.aim.stagger, screen)), **STYLES[1],
        label=f"wanted {screen.tape(choice.aim.stagger)}",
    )  # fmt: skip
    _mark_staggers(axes, choice, screen)
    axes.set_xlabel(f"rear stagger, cold, {stagger_unit(screen)}")
    axes.set_ylabel(f"front stagger, cold, {stagger_unit(screen)}")
    figure.legend(fontsize=9, loc="outside lower center", ncols=4)
    axes.set_title("Grey: pairs of staggers the rack can make; lines: equal bite")
    return figure


def _near_the_picks(choice: Choice, axle: str) -> FloatArray:
    """An axis of the map: the best sets, the car file and the target with room around them."""
    ends = [float(getattr(choice.car, axle).stagger)]
    ends += [getattr(pick, f"{axle}_stagger") for pick in choice.picks]
    if axle == "rear":
        ends.append(choice.aim.stagger)
    return np.linspace(min(ends) - 1.25 * INCH, max(ends) + 1.25 * INCH, 80)


def _mark_staggers(axes: "Axes", choice: Choice, screen: Screen) -> None:
    """The car file, the best ten and the first."""
    first, *others = choice.picks
    car = choice.car
    axes.plot(
        staggers(np.array([pick.rear_stagger for pick in others]), screen),
        staggers(np.array([pick.front_stagger for pick in others]), screen),
        "o", markersize=6, markerfacecolor="white", markeredgecolor="black", linestyle="none",
        label="others of the best",
    )  # fmt: skip
    axes.plot(
        float(staggers(car.rear.stagger, screen)), float(staggers(car.front.stagger, screen)),
        "s", markersize=9, markerfacecolor="white", markeredgecolor="black", mew=2,
        linestyle="none", label="car file",
    )  # fmt: skip
    axes.plot(
        float(staggers(first.rear_stagger, screen)), float(staggers(first.front_stagger, screen)),
        "*", markersize=17, color="black", linestyle="none",
        label=", ".join(first.names.values()),
    )  # fmt: skip


# feel


def feel_pictures(result: FeelCase, screen: Screen) -> list[Picture]:
    """Steering wheel, axle moment and thrust split along the lap."""
    return [
        Picture("feel-steering", steering_lines(result, screen)),
        Picture("feel-axle", axle_lines(result, screen)),
        Picture("feel-thrust", thrust_split(result, screen)),
    ]


def _feel_title(result: FeelCase) -> str:
    return (
        f"{result.car.name} at {result.track.name}, "
        f"{result.condition.name}, {result.groove.name} groove"
    )


def _lap_panels(result: FeelCase, screen: Screen, rows: int, height: float) -> tuple["Figure", Any]:
    """Panels along the lap, one above the other, shaded by phase and titled."""
    figure, panels = figure_with(rows, size=(7.2, height), sharex=True, squeeze=False)
    lap = result.held.lap
    for i, axes in enumerate(panels.flat):
        shade_phases(axes, lap.groove.s, lap.phase, screen, named=i == 0)
    panels.flat[0].set_title(_feel_title(result), pad=20)
    panels.flat[-1].set_xlabel(
        f"distance from the middle of the front straight, {length_unit(screen)}\n{SHADE_KEY}"
    )
    panels.flat[-1].set_xlim(0, float(lengths(lap.groove.length, screen)))
    return figure, list(panels.flat)


def _stagger_legend(figure: "Figure") -> None:
    """Below the panels, where it hides no line."""
    figure.legend(
        fontsize=9, title="rear stagger", title_fontsize=9, ncols=6, loc="outside lower center"
    )


def steering_lines(result: FeelCase, screen: Screen) -> "Figure":
    """Steering wheel along the lap, and against the same car with zero mismatch."""
    figure, (upper, lower) = _lap_panels(result, screen, 2, 7.0)
    held = result.held
    x = lengths(held.lap.groove.s, screen)
    for i, stagger in enumerate(held.staggers):
        style, word = STYLES[i % len(STYLES)], screen.tape(stagger)
        upper.plot(x, held.steering_wheel[i] / DEGREE, **style, label=word)
        lower.plot(x, held.steering_change[i] / DEGREE, **style)
    lower.axhline(0, color="0.35", linewidth=0.8)
    sides = "\N{LEFTWARDS ARROW} right     left \N{RIGHTWARDS ARROW}"
    upper.set_ylabel(f"steering wheel, deg\n{sides}")
    lower.set_ylabel(f"against zero mismatch, deg\n{sides}")
    _stagger_legend(figure)
    return figure


def axle_lines(result: FeelCase, screen: Screen) -> "Figure":
    """What the mismatch adds to the yaw moment of the axle, and its worth at the front."""
    figure, (axes,) = _lap_panels(result, screen, 1, 5.2)
    held = result.held
    x = lengths(held.lap.groove.s, screen)
    arm = 1.0 if screen.is_si else POUND * FOOT
    for i, stagger in enumerate(held.staggers):
        moment = held.moment_change[i] / arm
        axes.plot(x, moment, **STYLES[i % len(STYLES)], label=screen.tape(stagger))
    axes.axhline(0, color="0.35", linewidth=0.8)
    unit = "N m" if screen.is_si else "lb-ft"
    axes.set_ylabel(
        f"axle's yaw moment by mismatch, {unit}\n"
        "\N{LEFTWARDS ARROW} pushes     steers left \N{RIGHTWARDS ARROW}"
    )
    per_moment = arm / float(result.car.wheelbase) / (1.0 if screen.is_si else POUND)
    beside = axes.secondary_yaxis(
        "right", functions=(lambda m: m * per_moment, lambda f: f / per_moment)
    )
    beside.set_ylabel(f"as a side force at the front, {'N' if screen.is_si else 'lb'}")
    _stagger_legend(figure)
    return figure


def thrust_split(result: FeelCase, screen: Screen) -> "Figure":
    """Thrust of the left and the right rear tire along the lap, a panel for each stagger."""
    held = result.held
    cases = len(held.staggers)
    figure, panels = _lap_panels(result, screen, cases, 1.6 + 1.9 * cases)
    x = lengths(held.lap.groove.s, screen)
    force = 1.0 if screen.is_si else POUND
    for i, axes in enumerate(panels):
        axes.plot(x, held.fitted.thrust_left[i] / force, **STYLES[1], label="left rear")
        axes.plot(x, held.fitted.thrust_right[i] / force, **STYLES[0], label="right rear")
        axes.axhline(0, color="0.35", linewidth=0.8)
        axes.set_ylabel(f"{screen.tape(held.staggers[i])}\nthrust, {'N' if screen.is_si else 'lb'}")
        axes.sharey(panels[0])
    handles, words = panels[0].get_legend_handles_labels()
    figure.legend(handles, words, fontsize=9, ncols=2, loc="outside lower center")
    return figure


# notebook

SAID_MARKERS = {1: "^", 0: "o", -1: "v", None: "s"}
SAID_WORDS = {1: "driver: more", 0: "driver: leave it", -1: "driver: less", None: "did not say"}
MOST_LAP_PICTURES = 12
"""Pictures of stagger against lap time at most, those with the most runs first."""
MOST_SEASON_RUNS = 150
"""Runs in a season's strip at most, the last ones; more would run into each other."""
MOST_NAMED_NIGHTS = 26
"""Nights named one by one under the season; more would run into each other."""


def notebook_pictures(studies: "Sequence[Study]", screen: Screen) -> list[Picture]:
    """Stagger against lap time for each car, surface and track, and the season of each car."""
    timed: dict[tuple[str, str, str], tuple[Study, list[Point]]] = {}
    for study in studies:
        for point in study.points:
            name = (study.car, study.condition, point.page.run.track)
            if point.lap == point.lap and point.page.run.rear_stagger is not None:  # not nan
                timed.setdefault(name, (study, []))[1].append(point)
    most = sorted(timed.values(), key=lambda item: -len(item[1]))[:MOST_LAP_PICTURES]
    laps = [
        Picture(f"notebook-laps-{i}", stagger_against_lap(study, points, screen))
        for i, (study, points) in enumerate((item for item in most if len(item[1]) > 1), 1)
    ]
    cars = dict.fromkeys(study.car for study in studies)
    seasons = [
        Picture(f"notebook-season-{i}", season_strip([s for s in studies if s.car == car], screen))
        for i, car in enumerate(cars, 1)
    ]
    return laps + seasons


def plain_text(text: str, longest: int = 34) -> str:
    """Text for a picture in one line, no longer than fits."""
    line = "".join(c for c in " ".join(text.split()) if c.isprintable())
    return line if len(line) <= longest else line[: longest - 3] + "..."


def stagger_against_lap(study: "Study", points: "list[Point]", screen: Screen) -> "Figure":
    """Stagger against lap time; runs of one night joined, confounded ones hollow."""
    figure, axes = figure_with(size=(7.2, 5.6))
    for stretch in dict.fromkeys(point.stretch for point in points):
        joined = sorted(
            (staggers(p.page.run.rear_stagger or 0.0, screen), p.lap)
            for p in points if p.stretch == stretch and p.clean
        )  # fmt: skip
        axes.plot(*zip(*joined, strict=True) if joined else ((), ()), color="0.7", linewidth=1)
    for said in SAID_MARKERS:
        _draw_said(
            axes, said,
            [(float(staggers(p.page.run.rear_stagger or 0.0, screen)), p.lap, p.clean)
             for p in points if p.said == said],
        )  # fmt: skip
    _mark_optima(axes, study, points, screen)
    axes.set_xlabel(f"rear stagger, {stagger_unit(screen)}")
    axes.set_ylabel("lap time, s")
    track = points[0].page.run.track
    axes.set_title(
        f"{plain_text(study.car)}, {plain_text(study.condition)}\n{plain_text(track, 60)}"
    )
    _said_legend(figure, "joined: may be compared")
    return figure


def _mark_optima(axes: "Axes", study: "Study", points: "list[Point]", screen: Screen) -> None:
    """The optimum by physics, the middle of all nights, and the corrected one."""
    optima = [p.page.run.optimum_stagger for p in points if p.page.run.optimum_stagger is not None]
    if not optima:
        return
    middle = float(np.median(optima))
    lines = [(middle, ":", "physics")]
    if study.correction is not None:
        lines.append((middle + study.correction.stagger, "--", "corrected"))
    for at, dash, word in lines:
        x = float(staggers(at, screen))
        axes.axvline(x, color="0.25", linestyle=dash, linewidth=1.4)
        axes.annotate(
            word, (x, 0.985), xycoords=axes.get_xaxis_transform(), xytext=(-5, 0),
            textcoords="offset points", rotation=90, ha="right", va="top", fontsize=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
        )  # fmt: skip


def _draw_said(axes: "Axes", said: int | None, places: list[tuple[float, float, bool]]) -> None:
    for clean, face in ((True, "black"), (False, "white")):
        spots = [(x, y) for x, y, is_clean in places if is_clean == clean]
        if spots:
            axes.plot(
                *zip(*spots, strict=True), SAID_MARKERS[said], color="black", markersize=8,
                markerfacecolor=face, linestyle="none",
            )  # fmt: skip


def _said_legend(figure: "Figure", joined: str | None = None) -> None:
    from matplotlib.lines import Line2D

    def mark(marker: str, face: str, word: str) -> Line2D:
        return Line2D([], [], color="black", marker=marker, markerfacecolor=face, markersize=8,
                      linestyle="none", label=word)  # fmt: skip

    handles = [mark(SAID_MARKERS[said], "black", word) for said, word in SAID_WORDS.items()]
    handles.append(mark("o", "white", "hollow: teaches nothing"))
    if joined:
        handles.append(Line2D([], [], color="0.7", linewidth=1, label=joined))
    figure.legend(handles=handles, loc="outside lower center", ncols=3, fontsize=9.5)


def season_strip(studies: "list[Study]", screen: Screen) -> "Figure":
    """Runs of a car in order: stagger fitted less best by physics, and what the driver said."""
    figure, axes = figure_with(size=(7.2, 5.8))
    points = sorted(
        (p for study in studies for p in study.points if p.page.run.off_optimum is not None),
        key=lambda p: p.page.run.when,
    )[-MOST_SEASON_RUNS:]
    days = [f"{p.page.run.when:%Y-%m-%d}" for p in points]
    starts = [i for i, day in enumerate(days) if i == 0 or day != days[i - 1]]
    for n, (start, end) in enumerate(zip(starts, [*starts[1:], len(points)], strict=True)):
        if n % 2:
            axes.axvspan(start - 0.5, end - 0.5, color="0.93", lw=0)
    for said in SAID_MARKERS:
        _draw_said(axes, said, [
            (i, float(staggers(p.page.run.off_optimum or 0.0, screen)), p.clean)
            for i, p in enumerate(points) if p.said == said
        ])  # fmt: skip
    axes.axhline(0.0, color="black", linewidth=1.2)
    axes.grid(axis="x", visible=False)
    _name_nights(axes, points, days, starts)
    axes.set_ylabel(f"stagger fitted less best by physics, {stagger_unit(screen)}")
    axes.set_title(f"{plain_text(studies[0].car, 60)}: the season" if studies else "the season")
    _said_legend(figure)
    return figure


def _name_nights(axes: "Axes", points: "list[Point]", days: list[str], starts: list[int]) -> None:
    step = -(-len(starts) // MOST_NAMED_NIGHTS)
    named = starts[::step] if step else []
    labels = [
        f"{days[i]} {plain_text(points[i].page.run.condition or '', 9)}" if step == 1 else days[i]
        for i in named
    ]
    axes.set_xticks(named, labels, rotation=90, fontsize=8.5)
    axes.set_xlim(-0.7, max(len(points), 1) - 0.3)
    axes.set_xlabel("runs in order; shading changes with the night")


# survey


def survey_pictures(survey: Survey, screen: Screen) -> list[Picture]:
    """The surveyed track from above, and the curvature along it when there is a log."""
    if survey.fit is None:
        return [Picture("survey-track", taped_map(survey, screen))]
    return [
        Picture("survey-track", log_map(survey.fit, screen)),
        Picture("survey-curvature", curvature_lines(survey.fit, screen)),
    ]


def taped_map(survey: Survey, screen: Screen) -> "Figure":
    """The oval that a tape found."""
    width = survey.width or 0.0
    track = Track("", survey.inside_radius, survey.straight, width, bow=survey.bow)
    figure, axes = figure_with(size=map_size(track))
    draw_edges(axes, track, screen)
    edge = track.edge
    middles = (edge.starts + 0.5 * edge.blends)[0]
    apexes = np.array([middles[:2].mean(), middles[2:].mean()])
    x, y = place(edge, apexes, -0.35 * min(survey.inside_radius))
    for x_0, y_0, radius, turns in zip(
        x[0], y[0], survey.inside_radius, ("1-2", "3-4"), strict=True
    ):
        axes.text(
            float(lengths(x_0, screen)), float(lengths(y_0, screen)),
            f"turns {turns}\n{screen.distance(radius)}", ha="center", va="center",
        )  # fmt: skip
    axes.set_title(f"From {survey.method}: lap {screen.distance(survey.lap)} on the inside edge")
    return figure


def log_map(fit: LogFit, screen: Screen) -> "Figure":
    """Points, fitted line and edges from above, north up."""
    curves = [fit.inside, fit.line] + ([fit.outside] if fit.outside is not None else [])
    tall = max(float(np.ptp(c.y)) / float(np.ptp(c.x)) for c in curves[-1:])
    figure, axes = figure_with(size=(PAGE[0], min(max(6.2 * tall + 1.6, 4.2), 9.2)))
    x_0, y_0 = float(np.mean(fit.inside.x)), float(np.mean(fit.inside.y))

    def draw(x: FloatArray, y: FloatArray, *style: str, **more: Any) -> None:
        axes.plot(lengths(x - x_0, screen), lengths(y - y_0, screen), *style, **more)

    draw(*fit.points, ".", color="0.55", markersize=4, label="points used")
    if len(fit.dropped[0]):
        draw(*fit.dropped, "x", color="#d55e00", markersize=4, label="points left out")
    for edge, label in ((fit.inside, "edges"), (fit.outside, None)):
        if edge is not None:
            draw(edge.x, edge.y, color="0.35", linewidth=1.2, label=label)
    draw(fit.path.x, fit.path.y, **STYLES[1], label="measured path")
    draw(fit.line.x, fit.line.y, **STYLES[0], label="fitted line")
    draw(fit.line.x[:1], fit.line.y[:1], "o", color="black", markersize=8, label="start")
    axes.set_aspect("equal")
    everything = [fit.points, (fit.inside.x, fit.inside.y)] + [(c.x, c.y) for c in curves]
    for set_limits, at, middle in ((axes.set_xlim, 0, x_0), (axes.set_ylim, 1, y_0)):
        low = min(float(np.min(c[at])) for c in everything) - middle
        high = max(float(np.max(c[at])) for c in everything) - middle
        set_limits(*lengths(np.array([low, high]) + np.array([-0.06, 0.06]) * (high - low), screen))
    unit = length_unit(screen)
    ways = ("east", "north") if fit.origin is not None else ("along x", "along y")
    axes.set_xlabel(f"{ways[0]}, {unit}")
    axes.set_ylabel(f"{ways[1]}, {unit}")
    figure.legend(loc="outside lower center", ncols=3, fontsize=9)
    axes.set_title("Position log and the oval that fits it")
    return figure


def curvature_lines(fit: LogFit, screen: Screen) -> "Figure":
    """Curvature along the line: measured and fitted."""
    figure, axes = figure_with(size=(7.2, 4.6))
    for curve, style, label in (
        (fit.path, STYLES[1], "measured path"),
        (fit.line, STYLES[0], "fitted oval"),
    ):
        axes.plot(
            100.0 * curve.s / curve.s[-1], curve.curvature * (1.0 if screen.is_si else 100 * FOOT),
            **style, label=label,
        )  # fmt: skip
    unit = "1/m" if screen.is_si else "1 / 100 ft"
    axes.set_xlabel("share of the lap from the middle of the front straight, %")
    axes.set_ylabel(f"curvature of the line, {unit}")
    axes.set_xlim(0, 100)
    axes.legend(loc="upper center", ncols=2, bbox_to_anchor=(0.5, 1.0))
    axes.margins(y=0.18)
    axes.set_title("Curvature along the lap")
    return figure
