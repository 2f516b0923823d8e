"""What nights teach, in words, JSON and pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.corners import Corners
from rollpath.screen import TRADE, Screen, inches, pounds, psi
from rollpath.show.notebook import SAYS_WORDS, clean_text, known_only
from rollpath.show.picture import PAGE, SMALL, Picture, canvas, legend_below
from rollpath.show.study import alone_json, finding_json, finding_words
from rollpath.show.words import (
    columns,
    counted,
    finite_or_none,
    lay_out,
    none_or,
    paragraph,
    row,
)
from rollpath.units import EIGHTH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.book.lessons import Point, Study
    from rollpath.book.nights import Night, Setting, Step, Thing
    from rollpath.book.run import Run
    from rollpath.book.table import Line

# notebook

SAID_MARKERS = {1: "^", 0: "o", -1: "v", None: "s"}
SAID_WORDS = {1: "driver: more", 0: "driver: leave it", -1: "driver: less", None: "did not say"}
MOST_LAP_PICTURES = 12
"""Pictures of stagger against lap time at most, those with the most runs first."""
MOST_SEASON_RUNS = 150
"""Runs in a season's strip at most, the last ones; more would run into each other."""
MOST_NAMED_NIGHTS = 18
"""Nights named one by one under the season; more would run into each other."""


def notebook_pictures(studies: Sequence[Study], screen: Screen) -> list[Picture]:
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


def stagger_against_lap(
    study: Study, points: list[Point], screen: Screen = TRADE, ax: Axes | None = None
) -> Figure:
    """Stagger against lap time; runs of one night joined, confounded ones hollow."""
    figure, axes = canvas(ax, (PAGE[0], 5.2))
    for stretch in dict.fromkeys(point.stretch for point in points):
        joined = sorted(
            (screen.staggers(p.page.run.rear_stagger or 0.0), p.lap)
            for p in points if p.stretch == stretch and p.clean
        )  # fmt: skip
        axes.plot(*zip(*joined, strict=True) if joined else ((), ()), color="0.7", linewidth=1)
    for said in SAID_MARKERS:
        _draw_said(
            axes, said,
            [(float(screen.staggers(p.page.run.rear_stagger or 0.0)), p.lap, p.clean)
             for p in points if p.said == said],
        )  # fmt: skip
    _mark_optima(axes, study, points, screen)
    axes.set_xlabel(f"rear stagger, {screen.stagger_unit}")
    axes.set_ylabel("lap time, s")
    track = points[0].page.run.track
    axes.set_title(
        f"{plain_text(study.car)}, {plain_text(study.condition)}\n{plain_text(track, 60)}"
    )
    _said_legend(ax, figure, axes, "joined: may be compared")
    return figure


def _mark_optima(axes: Axes, study: Study, points: list[Point], screen: Screen) -> None:
    """The optimum by physics, the middle of all nights, and the corrected one."""
    optima = [p.page.run.optimum_stagger for p in points if p.page.run.optimum_stagger is not None]
    if not optima:
        return
    middle = float(np.median(optima))
    lines = [(middle, ":", "physics")]
    if study.correction is not None:
        lines.append((middle + study.correction.stagger, "--", "corrected"))
    for at, dash, word in lines:
        x = float(screen.staggers(at))
        axes.axvline(x, color="0.25", linestyle=dash, linewidth=1.4)
        axes.annotate(
            word, (x, 0.985), xycoords=axes.get_xaxis_transform(), xytext=(-5, 0),
            textcoords="offset points", rotation=90, ha="right", va="top", fontsize=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
        )  # fmt: skip


def _draw_said(axes: Axes, said: int | None, places: list[tuple[float, float, bool]]) -> None:
    for clean, face in ((True, "black"), (False, "white")):
        spots = [(x, y) for x, y, is_clean in places if is_clean == clean]
        if spots:
            axes.plot(
                *zip(*spots, strict=True), SAID_MARKERS[said], color="black", markersize=8,
                markerfacecolor=face, linestyle="none",
            )  # fmt: skip


def _said_legend(ax: Axes | None, figure: Figure, drawn: Axes, joined: str | None = None) -> None:
    from matplotlib.lines import Line2D

    def mark(marker: str, face: str, word: str) -> Line2D:
        return Line2D([], [], color="black", marker=marker, markerfacecolor=face, markersize=8,
                      linestyle="none", label=word)  # fmt: skip

    handles = [mark(SAID_MARKERS[said], "black", word) for said, word in SAID_WORDS.items()]
    handles.append(mark("o", "white", "hollow: teaches nothing"))
    if joined:
        handles.append(Line2D([], [], color="0.7", linewidth=1, label=joined))
    legend_below(ax, figure, [drawn], handles=handles)


def season_strip(studies: list[Study], screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Runs of a car in order: stagger fitted less best by physics, and what the driver said."""
    figure, axes = canvas(ax, (PAGE[0], 5.4))
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
            (i, float(screen.staggers(p.page.run.off_optimum or 0.0)), p.clean)
            for i, p in enumerate(points) if p.said == said
        ])  # fmt: skip
    axes.axhline(0.0, color="black", linewidth=1.2)
    axes.grid(axis="x", visible=False)
    _name_nights(axes, points, days, starts)
    axes.set_ylabel(f"more than physics wants, {screen.stagger_unit}")
    axes.set_title(f"{plain_text(studies[0].car, 60)}: the season" if studies else "the season")
    _said_legend(ax, figure, axes)
    return figure


def _name_nights(axes: Axes, points: list[Point], days: list[str], starts: list[int]) -> None:
    step = -(-len(starts) // MOST_NAMED_NIGHTS)
    named = starts[::step] if step else []
    labels = [
        f"{days[i]} {plain_text(points[i].page.run.condition or '', 9)}" if step == 1 else days[i]
        for i in named
    ]
    axes.set_xticks(named, labels, rotation=90, fontsize=SMALL)
    axes.set_xlim(-0.7, max(len(points), 1) - 0.3)
    axes.set_xlabel("runs in order; shading changes with the night")


MOST_LINES = 10
"""Lines of a table before staggers are put together by quarters."""


def review_screen(
    found: Sequence[Night],
    earlier: int,
    taught: Sequence[Study],
    screen: Screen,
    come: Sequence[str] = (),
) -> str:
    """What his runs say by stagger, then the one sentence; `--full` for the rest.

    Parameters
    ----------
    found : sequence of Night
        To be told run by run; none for the short screen.
    earlier : int
        Nights that are not told.
    taught : sequence of Study
        The one that ran last first.
    come : sequence of str, optional
        How far the track came in each of the nights told; empty where nobody can tell.
    """
    if not found and not taught:
        return "No such runs in the notebook."
    lines: list[str] = []
    for study in taught if screen.full else taught[:1]:
        lines += [*_study_lines(study, screen), ""]
    if not screen.full:
        lines += _other_lines(taught[1:])
    for night, words in zip_longest(found, come):
        lines += [*_night_lines(night, screen), *([paragraph(words, "  ")] if words else []), ""]
    if found and earlier:
        lines.append(f"{earlier} earlier nights: --nights 0 tells them too.")
    if not found:
        lines.append("By track, by part, run by run: --full")
    return lay_out(lines, screen)


def _other_lines(others: Sequence[Study]) -> list[str]:
    """Cars and surfaces that are not shown, and how to see them."""
    if not others:
        return []
    names = [
        f"{clean_text(one.car, 16)} {clean_text(one.condition, 12) or '(no surface)'}"
        for one in others[:4]
    ]
    more = f" and {len(others) - 4} more" if len(others) > 4 else ""
    return [paragraph(f"Also in the book: {', '.join(names)}{more}. --car, --condition, --track.")]


def _study_lines(study: Study, screen: Screen) -> list[str]:
    from rollpath.book.nights import nights
    from rollpath.book.table import by_session, by_stagger, by_track, gains, lines_by

    pages = [point.page for point in study.points]
    own = nights(pages)
    gain = gains(own)
    told = lines_by(by_stagger, pages, gain)
    head = f"{clean_text(study.car, 30)}, {clean_text(study.condition, 20) or 'surface not said'}: "
    head += f"{counted(len(pages), 'run')}, {counted(len(own), 'night')}"
    if len(told) > MOST_LINES and not screen.full:
        told = lines_by(_by_quarter, pages, gain)[: 2 * MOST_LINES]
        head += "; each line a quarter inch"
    lines = [head, *_table("stagger", told, screen), *_finding_lines(study, screen)]
    if screen.full:
        for name, key_of in (("track", by_track), ("part", by_session)):
            told = lines_by(key_of, pages, gain)
            if len(told) > 1:
                lines += ["", *_table(name, told, screen)]
        lines += _track_lines(study, screen)
    return lines


def _by_quarter(run: Run) -> float | None:
    stagger = run.rear_stagger
    return None if stagger is None else round(stagger / EIGHTH) // 2 * 2 * EIGHTH


def _table(head: str, told: Sequence[Line], screen: Screen) -> list[str]:
    if not told:
        return ["No run says what stagger was fitted."]
    rows = [[head, "runs", "gain s", "more", "leave", "less"]]
    rows += [
        [_key_words(line, screen), str(line.runs), _gain_words(line.gain),
         *(str(count) if count else "-" for count in (line.more, line.leave, line.less))]
        for line in told
    ]  # fmt: skip
    return columns(rows, 1)


def _key_words(line: Line, screen: Screen) -> str:
    """A name, or a stagger without its unit."""
    if isinstance(line.key, str):
        return clean_text(line.key, 16)
    return screen.tape(line.key).rpartition(" ")[0]


def _gain_words(gain: float) -> str:
    if gain != gain:  # nan
        return "-"
    return "0.00" if abs(gain) < 0.005 else f"{gain:+.2f}"


def _finding_lines(study: Study, screen: Screen) -> list[str]:
    """What the table counts, and what the nights say of the track of the last run."""
    unit = "Millimetres" if screen.is_si else "Inches"
    last = study.points[-1].page.run.track if study.points else None
    where = f"At {clean_text(last, 24)}: " if len(study.tracks) > 1 else ""
    gain = f"{unit}; gain: quicker (+) than that night's others; more, leave, less: "
    return [
        paragraph(gain + "he asked for it."),
        "",
        paragraph(where + finding_words(study, study.at(last), screen)),
    ]


def _track_lines(study: Study, screen: Screen) -> list[str]:
    """What is left of it at each track, and where he has not been."""
    lines = [""]
    if len(study.tracks) > 1:
        lines += [
            row(clean_text(one.track, 24), finding_words(study, one, screen))
            for one in study.tracks
        ]
    if study.tracks:
        ends = " to ".join(screen.fine(end, signed=True) for end in study.elsewhere.interval)
        lines.append(row("at any other track", f"{ends} on the physics"))
    for name, alone in (("driver alone", study.driver), ("watch alone", study.watch)):
        if alone is not None:
            ends = " to ".join(screen.fine(end, signed=True) for end in alone.interval)
            lines.append(row(name, f"{screen.fine(alone.median, signed=True)} ({ends}, 9 in 10)"))
    return lines


def _night_lines(night: Night, screen: Screen) -> list[str]:
    head = f"{clean_text(night.track)}, {night.day:%Y-%m-%d}, {clean_text(night.car)}"
    lines = [f"{head}: {counted(len(night.runs), 'run')}"]
    for step in night.steps:
        label = f"run {step.before.number} to {step.after.number}"
        lines.append(row(label, _step_words(step, screen)))
        if step.is_confounded:
            lines.append(row("", _trial_words(step, screen)))
    return lines


def _step_words(step: Step, screen: Screen) -> str:
    from rollpath.book.lessons import driver_says

    parts = [
        f"{change.thing.name} {setting_words(change.thing, change.before, screen)} -> "
        f"{setting_words(change.thing, change.after, screen)}"
        for change in step.changes
    ]
    words = ", ".join(parts) or "nothing that matters changed"
    if step.lap_gain == step.lap_gain:  # not nan
        gain = step.lap_gain
        words += f"; {abs(gain):.2f} s {'quicker' if gain >= 0 else 'slower'}"
    says = SAYS_WORDS[driver_says(step.after.run)]
    return f"{words}; driver then: {says}" if says else words


def _trial_words(step: Step, screen: Screen) -> str:
    trials = [
        " with ".join(f"{thing.name} {setting_words(thing, value, screen)}" for thing, value in one)
        for one in step.trials()
    ]
    names = " and ".join(change.thing.name for change in step.changes)
    nothing = f"At once: {names}. This pair teaches nothing about either"
    if not trials:
        return f"{nothing}."
    if len(trials[0]) == 1:
        return f"{nothing}. What would: on one surface and line, {' and then '.join(trials)}."
    return f"{nothing}. What would, against run {step.before.number}: {'; and '.join(trials)}."


def setting_words(thing: Thing, value: Setting, screen: Screen) -> str:
    """A setting of a thing that matters, as a racer says it."""
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, Corners):
        if thing.kind == "turns":
            return "/".join(known_only(turns, "{:g}".format) or "?" for turns in value) + " turns"
        cells = ["?" if one is None else screen.of_kind(one, "pressure") for one in value]
        unit = next(cell for cell in cells if cell != "?").split()[1]
        return "/".join(cell.split()[0] for cell in cells) + " " + unit
    return screen.tape(value) if thing.kind == "tape" else screen.weight(value)


_JSON_UNITS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "tape": ("_in", inches),
    "weight": ("_lb", pounds),
    "pressures": (
        "_psi",
        lambda values: [none_or(value, psi) for value in values],
    ),
    "turns": ("_turns", list),
    "word": ("", str),
}


def _setting_json(name: str, thing: Thing, value: Setting) -> dict[str, Any]:
    ending, convert = _JSON_UNITS[thing.kind]
    return {f"{name}{ending}": convert(value)}


def _step_json(step: Step) -> dict[str, Any]:
    return {
        "from": step.before.number,
        "to": step.after.number,
        "confounded": step.is_confounded,
        "changes": [
            {
                "what": change.thing.name,
                **_setting_json("before", change.thing, change.before),
                **_setting_json("after", change.thing, change.after),
            }
            for change in step.changes
        ],
        "trials": [
            [{"what": thing.name, **_setting_json("at", thing, value)} for thing, value in trial]
            for trial in step.trials()
        ],
        "lap_gain_s": finite_or_none(step.lap_gain),
    }


def review_json(found: Sequence[Night], taught: Sequence[Study]) -> dict[str, Any]:
    """The result of `notebook review`; keys end in their unit."""
    return {
        "nights": [
            {
                "day": night.day.isoformat(),
                "track": night.track,
                "car": night.car,
                "runs": [page.number for page in night.runs],
                "steps": [_step_json(step) for step in night.steps],
            }
            for night in found
        ],
        "studies": [
            {
                "car": study.car,
                "condition": study.condition or None,
                "clean_runs": study.clean_runs,
                **finding_json(study, study.together),
                "tracks": [finding_json(study, one) for one in study.tracks],
                "elsewhere": finding_json(study, study.elsewhere),
                "driver_alone": alone_json(study.driver),
                "watch_alone": alone_json(study.watch),
                **_tables_json(study),
                "runs": [
                    {
                        "number": point.page.number,
                        "clean": point.clean,
                        "driver": SAYS_WORDS[point.said] or None,
                        "off_optimum_in": none_or(point.page.run.off_optimum, inches),
                    }
                    for point in study.points
                ],
            }
            for study in taught
        ],
    }


def _tables_json(study: Study) -> dict[str, Any]:
    from rollpath.book.nights import nights
    from rollpath.book.table import by_session, by_stagger, by_track, gains, lines_by

    pages = [point.page for point in study.points]
    gain = gains(nights(pages))

    def told(name: str, key_of: Callable[[Run], float | str | None]) -> list[dict[str, Any]]:
        return [
            {
                name: line.key if isinstance(line.key, str) else inches(line.key),
                "runs": line.runs,
                "gain_s": finite_or_none(line.gain),
                "more": line.more,
                "leave": line.leave,
                "less": line.less,
            }
            for line in lines_by(key_of, pages, gain)
        ]

    return {
        "by_stagger": told("stagger_in", by_stagger),
        "by_track": told("track", by_track),
        "by_session": told("session", by_session),
    }
