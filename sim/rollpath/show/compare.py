"""Cases side by side, told and drawn: words, JSON and pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.compare import SORT_KEYS, Comparison, Swept
from rollpath.scales.rates import effect_of
from rollpath.screen import TRADE, Screen, feet, inches, trade_values
from rollpath.show.baseline import baseline_json
from rollpath.show.picture import (
    EDGE,
    PAGE,
    SMALL,
    STYLES,
    Picture,
    canvas,
    case_title,
    draw_edges,
    legend_below,
    map_size,
    panels,
)
from rollpath.show.surface import watch_lines
from rollpath.show.words import (
    case_json,
    case_words,
    caution_lines,
    columns,
    lay_out,
    paragraph,
    sections,
    tape_range,
)
from rollpath.stagger import Baseline
from rollpath.track import Track
from rollpath.units import nearest_eighth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.scales.rates import StaggerEffect

# compare


def _comparison_pictures(results: Sequence[Baseline], screen: Screen) -> list[Picture]:
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


def groove_map(
    track: Track, results: Sequence[Baseline], screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """All grooves of a track on its outline."""
    figure, axes = canvas(ax, map_size(track))
    draw_edges(axes, track, screen)
    grooves = {result.groove.name: result.groove for result in results}
    for style, (name, groove) in zip(STYLES, grooves.items(), strict=False):
        x, y = (screen.lengths(np.append(part, part[0])) for part in groove.path)
        axes.plot(x, y, label=name, **style)
    axes.legend(loc="center", title="groove", fontsize=SMALL)
    axes.set_title(track.name)
    return figure


def needed_lines(
    results: Sequence[Baseline], screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """Needed stagger along the lap, a panel for each track and groove, a line for each surface."""
    named = list({(result.track.name, result.groove.name): None for result in results})
    rows, columns = -(-len(named) // 2), min(2, len(named))
    size = (PAGE[0], 1.4 + 1.9 * rows)
    figure, grid = panels(ax, rows, size, columns, share_y=True)
    cases = list({(result.condition.name, result.car.name): None for result in results})
    for axes, panel in zip(grid.flat, named, strict=False):
        for result in results:
            if (result.track.name, result.groove.name) == panel:
                style = STYLES[cases.index((result.condition.name, result.car.name)) % len(STYLES)]
                share = 100 * result.groove.s / result.groove.length
                axes.plot(share, screen.staggers(result.needed.total), **style)
        axes.set_title("\n".join(panel), fontsize=10)
        axes.set_xlim(0, 100)
    for axes in grid.flat[len(named) :]:
        axes.set_visible(False)
    for axes in grid[-1]:
        axes.set_xlabel("of the lap, %")
    for axes in grid[:, 0]:
        axes.set_ylabel(f"needed, {screen.stagger_unit}")
    several = len({car for _, car in cases}) > 1
    words = [f"{surface}, {car}" if several else surface for surface, car in cases]
    handles = [_style_handle(i, word) for i, word in enumerate(words)]
    legend_below(ax, figure, [grid[-1, 0]], handles=handles, title="rear stagger needed")
    return figure


def _style_handle(i: int, word: str) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], **STYLES[i % len(STYLES)], label=word)


def dots_and_bands(
    results: Sequence[Baseline], screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """The recommendation of every case as a dot, what will do as a band, in the window."""
    figure, axes = canvas(ax, (PAGE[0], 1.8 + 0.3 * len(results)))
    places = np.arange(len(results))[::-1]
    for i, (place_, result) in enumerate(zip(places, results, strict=True)):
        best = result.stagger
        low, high = (float(screen.staggers(end)) for end in best.band)
        axes.barh(
            place_, high - low, left=low, height=0.55, color="0.80", edgecolor="0.5",
            label="" if i else "will do",
        )  # fmt: skip
        axes.plot(
            screen.staggers(best.recommended), place_, "o", color="black", markersize=8,
            label="" if i else "to bolt on",
        )  # fmt: skip
    windows = {float(end) for result in results for end in result.stagger.window}
    fitted = {float(result.car.rear.stagger) for result in results}
    for at, dash, name in (
        (windows, ":", "window"),
        (fitted, "--", "on the car"),
    ):
        for i, end in enumerate(sorted(at)):
            place_ = float(screen.staggers(end))
            axes.axvline(place_, color="0.2", linestyle=dash, label="" if i else name)
    several = len({result.car.name for result in results}) > 1
    axes.set_yticks(places, [_row_name(result, several) for result in results], fontsize=SMALL)
    ends = windows | fitted
    axes.set_xlim(*(float(screen.staggers(end)) for end in (min(ends) - EDGE, max(ends) + EDGE)))
    axes.set_xlabel(f"rear stagger, {screen.stagger_unit}")
    legend_below(ax, figure, [axes], ncols=4, columnspacing=1.0, handletextpad=0.5)
    return figure


def _row_name(result: Baseline, with_car: bool) -> str:
    name = f"{result.track.name}, {result.condition.name}, {result.groove.name}"
    return f"{name}, {result.car.name}" if with_car else name


def sweep_lines(swept: Swept, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Recommended stagger against the swept number."""
    sweep, rows = swept.sweep, swept.rows
    figure, axes = canvas(ax, (PAGE[0], 4.6))
    unit = screen.unit_of(sweep.kind)
    x = screen.in_unit(np.array(sweep.values, dtype=float), sweep.kind)
    low, high = (screen.staggers(rows[f"band_{end}"]) for end in ("low", "high"))
    axes.fill_between(x, low, high, color="0.82", label="will do")
    for style, name, word in (
        (STYLES[0], "optimum", "best"),
        (STYLES[1], "loaded_corner_1", "turns 1-2 centre needs"),
        (STYLES[3], "loaded_corner_2", "turns 3-4 centre needs"),
    ):
        axes.plot(x, screen.staggers(rows[name]), label=word, **style)
    axes.set_xlabel(f"{sweep.key.replace('_', ' ')}{', ' if unit else ''}{unit}")
    axes.set_ylabel(f"rear stagger, {screen.stagger_unit}")
    legend_below(ax, figure, [axes])
    axes.set_title(case_title(swept.case))
    return figure


WHERE_FROM = (
    "Where it comes from (before the window, estimates): the line's mean need, what tire",
    "load adds, and what weighing it where the car drives adds",
)


def _comparison_screen(results: Sequence[Baseline], screen: Screen) -> str:
    """Every case and what it asks for; with the reasons, side by side and where it comes from."""
    names = _case_names(results)
    if not screen.full:
        return sections(
            [
                [paragraph(difference_words(results, screen)), *_watch_lines(results, screen)],
                _short_lines(names, results, screen),
            ],
            screen,
        )
    effects = [effect_of(result) for result in results]
    asked = [
        ["track", "surface", "groove", "stagger", "as good", "corners need", "scrub",
         "lap", "time", "turning", "bite"],
        *(
            [*name, *_asked_cells(result, effect, screen)]
            for name, result, effect in zip(names, results, effects, strict=True)
        ),
    ]  # fmt: skip
    parts = [
        ["track", "surface", "groove", "best", "=", "line", "load", "drive"],
        *(
            [*name, screen.fine(best.unbounded), "",
             *(screen.fine(part, signed=True) for part in vars(best.parts).values())]
            for name, best in zip(names, (result.stagger for result in results), strict=True)
        ),
    ]  # fmt: skip
    return sections(
        [
            [paragraph(difference_words(results, screen)), *_watch_lines(results, screen)],
            [
                *columns(asked),
                *(["* at the end of the window"] if _any_at_window(results) else []),
            ],
            [*WHERE_FROM, *columns(parts)],
            caution_lines(),
        ],
        screen,
    )


def _watch_lines(results: Sequence[Baseline], screen: Screen) -> list[str]:
    return [line for result in results for line in watch_lines(result, screen)]


MOST_SHOWN = 7
"""Cases told without --full, so that a phone shows all of a screen."""


def _short_lines(names: list[list[str]], results: Sequence[Baseline], screen: Screen) -> list[str]:
    """A line a case, the stagger first."""
    lines = [
        f"{screen.tape(result.stagger.recommended)}{_star(result)} {' '.join(name)}, "
        f"lap {result.lap.time:.1f} s"
        for name, result in zip(names, results, strict=True)
    ]
    more = [f"and {len(lines) - MOST_SHOWN} more with --full"] if len(lines) > MOST_SHOWN else []
    at_end = ["* at the end of the window"] if _any_at_window(results) else []
    return [*lines[:MOST_SHOWN], *more, *at_end, *caution_lines()]


def _star(result: Baseline) -> str:
    return "" if result.stagger.at_window is None else "*"


def _any_at_window(results: Sequence[Baseline]) -> bool:
    return any(result.stagger.at_window is not None for result in results)


def _case_names(results: Sequence[Baseline]) -> list[list[str]]:
    """Track, surface and groove of each case; the car too where there are several."""
    several = len({result.car.name for result in results}) > 1
    return [
        [
            f"{result.track.name}, {result.car.name}" if several else result.track.name,
            result.condition.name,
            result.groove.name,
        ]
        for result in results
    ]


def _asked_cells(result: Baseline, effect: StaggerEffect, screen: Screen) -> list[str]:
    best = result.stagger
    low, high = (screen.tape(end) for end in best.band)
    unit = "" if screen.is_si else " in"
    corners = " ".join(screen.fine(end).split()[0] for end in best.loaded_corner)
    return [
        screen.tape(best.recommended) + _star(result),
        f"{low.removesuffix(unit)} to {high}",
        corners,
        screen.distance(result.then.lap),
        screen.distance(result.groove.length),
        f"{result.lap.time:.1f} s",
        f"{result.groove.turning_share:.0%}",
        screen.weight(effect.then - effect.now, signed=True),
    ]


def difference_words(results: Sequence[Baseline], screen: Screen) -> str:
    """One sentence: the two cases furthest apart, and the reason that weighs most."""
    ordered = sorted(results, key=SORT_KEYS["stagger"])
    least, most = ordered[0], ordered[-1]
    apart = float(most.stagger.unbounded) - float(least.stagger.unbounded)
    if nearest_eighth(apart) == 0:
        return "All cases ask for the same stagger within 1/8 in."
    parts = {
        name: float(getattr(most.stagger.parts, name)) - float(getattr(least.stagger.parts, name))
        for name in PART_WORDS
    }
    told = sorted(parts, key=lambda name: -abs(parts[name]))
    reasons = ", ".join(
        f"{PART_WORDS[name]} {screen.fine(parts[name], signed=True)}" for name in told
    )
    return (
        f"{_case_words(most, least)} asks for {screen.tape(apart)} more than "
        f"{_case_words(least, most)}, most of it from {reasons}."
    )


PART_WORDS = {"line": "the line", "load": "the load on the tires", "drive": "where it drives"}


def _case_words(case: Baseline, other: Baseline) -> str:
    car = f" with {case.car.name}" if case.car.name != other.car.name else ""
    return f"{case.track.name} {case.condition.name} on the {case.groove.name} groove{car}"


_OUT: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "scrub": ("scrub_ft", feet),
    "lap": ("lap_ft", feet),
    "time": ("time_s", float),
}
"""How figures of a sweep other than staggers go out: key and converter."""


def _sweep_json(swept: Swept) -> dict[str, Any]:
    """A sweep as rows; the swept value is in the trade unit its key ends in."""
    name, values = trade_values(swept.sweep.key, swept.sweep.kind, swept.sweep.values)
    outs = {figure: _OUT.get(figure, (f"{figure}_in", inches)) for figure in swept.rows}
    return {
        **case_json(swept.case),
        "swept": swept.sweep.key,
        "rows": [
            {name: value, **{key: out(swept.rows[of][i]) for of, (key, out) in outs.items()}}
            for i, value in enumerate(values)
        ],
    }


def _sweep_screen(swept: Swept, screen: Screen) -> str:
    """A sweep as a table."""
    sweep = swept.sweep
    title = f"Rear stagger against {sweep.key}: {case_words(swept.case)} (estimates)"
    if not screen.full:
        return lay_out([title, *_short_sweep(swept, screen), *caution_lines()], screen)
    table = [[sweep.key, "stagger", "best", "as good", "corners need", "scrub", "lap", "time"]]
    for i, value in enumerate(sweep.values):
        at = {name: float(column[i]) for name, column in swept.rows.items()}
        table.append(
            [
                screen.of_kind(float(value), sweep.kind),
                screen.tape(at["recommended"]),
                screen.fine(at["unbounded"]),
                tape_range((at["band_low"], at["band_high"]), screen),
                " ".join(screen.fine(at[f"loaded_corner_{end}"]) for end in (1, 2)),
                screen.distance(at["scrub"]),
                screen.distance(at["lap"]),
                f"{at['time']:.1f} s",
            ]
        )
    return sections([[title], columns(table), caution_lines()], screen)


def _short_sweep(swept: Swept, screen: Screen) -> list[str]:
    """A line a value, some of them when there are many."""
    count = len(swept.sweep.values)
    shown = sorted({round(i * (count - 1) / (MOST_SWEPT - 1)) for i in range(MOST_SWEPT)})
    shown = list(range(count)) if count <= MOST_SWEPT else shown
    more = [f"and {count - len(shown)} between with --full"] if count > len(shown) else []
    rows = [
        f"{screen.of_kind(float(swept.sweep.values[i]), swept.sweep.kind)}: "
        f"{screen.tape(swept.rows['recommended'][i])}"
        for i in shown
    ]
    return [*rows, *more]


MOST_SWEPT = 15
"""Values of a sweep told without --full."""


# What a comparison and a sweep look like


def short_screen(result: Comparison | Swept, screen: Screen = TRADE) -> str:
    """A comparison or a sweep for a racer."""
    if isinstance(result, Swept):
        return _sweep_screen(result, screen)
    return _comparison_screen(result.rows, screen)


def as_data(result: Comparison | Swept, screen: Screen = TRADE) -> dict[str, Any]:
    """The same for a program; keys end in their unit."""
    if isinstance(result, Swept):
        return _sweep_json(result)
    rows = [baseline_json(one, effect_of(one)) for one in result.rows]
    return {"rows": rows, "reason": difference_words(result.rows, screen)}


def pictures(result: Comparison | Swept, screen: Screen = TRADE) -> list[Picture]:
    """The same drawn."""
    if isinstance(result, Swept):
        return [Picture("compare-sweep", sweep_lines(result, screen))]
    return _comparison_pictures(result.rows, screen)
