"""The printed page: one sheet for the driver, drawn from results and computing nothing.

Letter or A4, to be read at arm's length and copied in grey. All text is fitted: names as long as
the files allow are wrapped and made smaller until they stay inside their box.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.axle.scrub import tire_slips
from rollpath.feel.lap import Feel
from rollpath.files.schema import FileError
from rollpath.files.writing import make_folder, write_whole
from rollpath.lap import PHASES, Lap
from rollpath.runlog.laps import BINS
from rollpath.runlog.recording import Recording
from rollpath.scales.rates import stagger_effect
from rollpath.screen import Screen, degrees
from rollpath.show.baseline import hold_words, stagger_change_words
from rollpath.show.debrief import CHANGE_WORDS, verdict_lines
from rollpath.show.picture import (
    SHADE_KEY,
    STYLE,
    STYLES,
    as_typed,
    draw_edges,
    draw_shaded_path,
    mark_signs,
    shade_phases,
)
from rollpath.show.words import CAUTIONS
from rollpath.stagger import Baseline

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.debrief import DebriefResult

PAPERS = {"letter": (8.5, 11.0), "a4": (8.27, 11.69)}
"""Width and height, in: ANSI/ASME Y14.1 size A and ISO 216 A4."""
DOTS = 150
"""An inch, of a page written as a picture."""
MARGIN = 0.055
"""Of the page, all round."""
SMALLEST_TYPE = 6.0
"""Points; text is not made smaller than this."""
SHEET_STYLE: dict[Any, Any] = {**STYLE, "font.size": 8.5, "axes.titlesize": 9}


@dataclass(frozen=True)
class Box:
    """A part of the page, in shares of it from the lower left."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def top(self) -> float:
        return self.bottom + self.height


def draw_sheet(told: DebriefResult, screen: Screen, paper: str = "letter") -> Figure:
    """The debrief of a lap on one page.

    Parameters
    ----------
    told : DebriefResult
        Room to write a verdict in is left when there is none.
    screen : Screen
    paper : str
        A key of `PAPERS`.
    """
    import matplotlib.pyplot as plt

    result = told.case
    with as_typed(), plt.rc_context(SHEET_STYLE):
        page = plt.figure(figsize=PAPERS[paper])
        inner = 1 - 2 * MARGIN
        names = f"{result.car.name} at {result.track.name}"
        case = f"{result.condition.name}, {result.groove.name} groove"
        put_text(page, Box(MARGIN, 0.945, inner, 0.025), names, 15, weight="bold")
        put_text(page, Box(MARGIN, 0.925, inner, 0.018), f"{case}; estimates", 10)
        _draw_map(page, Box(MARGIN, 0.655, 0.50, 0.262), result, screen)
        _put_answer(page, Box(0.60, 0.66, 0.40 - MARGIN, 0.255), told, screen)
        _draw_along(page, result, screen)
        _put_totals(page, Box(MARGIN, 0.115, 0.44, 0.125), result, screen)
        _put_verdict(page, Box(0.53, 0.075, 0.47 - MARGIN, 0.165), told, screen)
        put_text(page, Box(MARGIN, 0.012, inner, 0.05), "\n".join(CAUTIONS), 7.5)
    return page


def put_text(page: Figure, box: Box, text: str, size: float, weight: str = "normal") -> Any:
    """Text from the top left of a box, wrapped and made smaller until it fits inside."""
    drawn = page.text(box.left, box.top, "", fontsize=size, weight=weight, va="top", ha="left")
    width, height = (page.get_size_inches() * page.dpi) * (box.width, box.height)
    while True:
        # A letter is about half as wide as its size in points; the box is measured to be sure.
        letters = max(int(width / page.dpi * 72 / (0.5 * size)), 8)
        while letters > 8:
            drawn.set_text("\n".join(_wrapped(text, letters)))
            if drawn.get_window_extent().width <= width:
                break
            letters -= 2
        drawn.set_fontsize(size)
        extent = drawn.get_window_extent()
        if (extent.height <= height and extent.width <= width) or size <= SMALLEST_TYPE:
            return drawn
        size -= 0.5


def _wrapped(text: str, letters: int) -> list[str]:
    return [
        piece
        for line in text.split("\n")
        for piece in textwrap.wrap(line, letters, break_long_words=True) or [""]
    ]


def _axes(page: Figure, box: Box, **keywords: Any) -> Axes:
    return page.add_axes((box.left, box.bottom, box.width, box.height), **keywords)


def _draw_map(page: Figure, box: Box, result: Baseline, screen: Screen) -> None:
    axes = _axes(
        page, Box(box.left + 0.055, box.bottom + 0.035, box.width - 0.06, box.height - 0.06)
    )
    stagger = result.car.rear.stagger
    mismatch = screen.staggers(stagger - result.needed.total)
    limit = float(np.max(np.abs(mismatch)))
    draw_edges(axes, result.track, screen)
    draw_shaded_path(axes, result.groove, mismatch, limit, screen, width=5)
    mark_signs(axes, result.groove, mismatch, 0.2 * limit, screen, size=9)
    unit = screen.stagger_unit
    axes.set_title(
        f"too much or too little with {screen.tape(stagger)}, at most {limit:.1f} {unit}\n"
        "dark \N{MINUS SIGN}: too little, the axle pushes   light +: too much, it steers left",
        fontsize=8,
    )


def _put_answer(page: Figure, box: Box, told: DebriefResult, screen: Screen) -> None:
    """What to do in large type, and the figures that go with it."""
    result = told.case
    headline, lines = _answer(told, screen)
    lap = (
        f"lap {screen.distance(result.groove.length)}, {result.lap.time:.1f} s, "
        f"{screen.speed(result.lap.speed.min())} to {screen.speed(result.lap.speed.max())}"
    )
    put_text(page, Box(box.left, box.top - 0.07, box.width, 0.07), headline, 26, weight="bold")
    rest = Box(box.left, box.bottom, box.width, box.height - 0.075)
    put_text(page, rest, "\n".join([*lines, "", lap]), 10.5)


def _answer(told: DebriefResult, screen: Screen) -> tuple[str, list[str]]:
    """The one instruction: the stagger to bolt on, or why it stays; and what holds bite."""
    verdict, fitted = told.verdict, told.fitted
    best = float(told.case.stagger.recommended)
    effect = stagger_effect(told.case.car, best - fitted)
    band = [float(end) for end in told.case.stagger.band]
    if verdict is not None and not verdict.amount:
        return CHANGE_WORDS[verdict.change], [
            f"rear stagger on the car now {screen.tape(fitted)}",
            f"bite {screen.weight(effect.now)} now",
        ]
    step = f"{screen.tape(best - fitted, signed=True)} rear stagger: " if verdict else ""
    return f"{step}{screen.tape(best)}", [
        "rear stagger to bolt on",
        stagger_change_words(best - fitted, fitted, screen, None if verdict else band),
        "",
        f"bite {screen.weight(effect.now)} now, {screen.weight(effect.then)} after that step",
        hold_words(effect, best - fitted, screen),
    ]


def _draw_along(page: Figure, result: Baseline, screen: Screen) -> None:
    """Speed, needed against fitted stagger, and the scrub of each rear tire, along the lap."""
    left, width = MARGIN + 0.055, 1 - 2 * MARGIN - 0.06
    speed = _axes(page, Box(left, 0.550, width, 0.070))
    needed = _axes(page, Box(left, 0.412, width, 0.115), sharex=speed)
    scrub = _axes(page, Box(left, 0.290, width, 0.099), sharex=speed)
    x, phase = screen.lengths(result.groove.s), result.lap.phase
    for axes in (speed, needed, scrub):
        shade_phases(axes, result.groove.s, phase, screen, named=axes is speed, size=8)
        axes.set_xlim(0, float(screen.lengths(result.groove.length)))
        axes.tick_params(labelbottom=axes is scrub)
    speed.plot(x, screen.speeds(result.lap.speed), **STYLES[0])
    speed.set_ylabel(f"speed,\n{screen.speed_unit}")
    fitted = result.car.rear.stagger
    needed.plot(x, screen.staggers(result.needed.total), **STYLES[0], label="needed")
    lines = [(fitted, STYLES[1], "fitted")]
    if abs(float(result.stagger.recommended) - float(fitted)) > 1e-6:
        lines.append((result.stagger.recommended, STYLES[2], "to bolt on"))
    for stagger, style, word in lines:
        label = f"{word} {screen.tape(stagger)}"
        needed.axhline(float(screen.staggers(stagger)), **style, label=label)
    needed.set_ylabel(f"rear stagger,\n{screen.stagger_unit}")
    _legend_above(needed)
    for slip, style, word in zip(
        tire_slips(result.lap, result.now.slip), STYLES, ("left rear", "right rear"),
        strict=False,
    ):  # fmt: skip
        scrub.plot(x, 100 * np.abs(slip), **style, label=word)
    scrub.set_ylabel("scrub of each\ntire, %")
    scrub.set_ylim(bottom=0)
    _legend_above(scrub)
    unit, key = screen.length_unit, SHADE_KEY.replace("\n", " ")
    scrub.set_xlabel(f"distance from the middle of the front straight, {unit};   {key}", fontsize=8)


def _legend_above(axes: Axes) -> None:
    """Between the panels, where it hides no line."""
    axes.legend(
        ncols=3, fontsize=7.5, loc="lower center", bbox_to_anchor=(0.5, 1.0), frameon=False,
        borderpad=0, borderaxespad=0.3,
    )  # fmt: skip


def _put_totals(page: Figure, box: Box, result: Baseline, screen: Screen) -> None:
    """Scrub a lap by phase, with the stagger run and with the recommended one."""
    columns = ((0.0, "left"), (0.62, "right"), (0.98, "right"))
    rows: list[Sequence[str]] = [
        ("scrub a lap", screen.tape(result.car.rear.stagger),
         screen.tape(result.stagger.recommended)),
        *(
            (name, screen.distance(result.now.by_phase[name], 1),
             screen.distance(result.then.by_phase[name], 1))
            for name in PHASES
        ),
        ("whole lap", screen.distance(result.now.lap, 1), screen.distance(result.then.lap, 1)),
    ]  # fmt: skip
    if abs(float(result.stagger.recommended) - float(result.car.rear.stagger)) < 1e-6:
        rows = [cells[:2] for cells in rows]  # one stagger, one column
    step = box.height / len(rows)
    for i, cells in enumerate(rows):
        weight = "bold" if i in (0, len(rows) - 1) else "normal"
        for (share, side), cell in zip(columns, cells, strict=False):
            page.text(box.left + share * box.width, box.top - i * step, cell, fontsize=9.5,
                      ha=side, va="top", weight=weight)  # fmt: skip


QUESTIONS = (
    "wheel under throttle:   straight   left   right",
    "drifts out:   no   yes   rear steps out",
    "points out of line going straight:   no   yes",
    "wheelspin:   no   yes      entry:   ok   tight   loose",
)


def _put_verdict(page: Figure, box: Box, told: DebriefResult, screen: Screen) -> None:
    """The verdict, or the questions to ask, and lines to write on."""
    verdict = told.verdict
    if verdict is None:
        put_text(page, box, "Ask the driver\n" + "\n".join(QUESTIONS), 9)
    else:
        put_text(page, Box(box.left, box.bottom + 0.04, box.width, box.height - 0.04),
                 "\n".join(verdict_lines(told, screen)), 9)  # fmt: skip
    from matplotlib.lines import Line2D

    for height in (0.0, 0.018, 0.036) if verdict is not None else (0.0, 0.02, 0.04, 0.06):
        line = box.bottom + height
        page.add_artist(Line2D([box.left, box.left + box.width], [line, line], color="0.6", lw=0.6))


# The second page


def draw_feel_page(told: DebriefResult, screen: Screen, paper: str = "letter") -> Figure:
    """What the driver should have felt, and what was recorded, along the lap.

    Parameters
    ----------
    told : DebriefResult
        The page is of its recorded laps where there are any.
    screen : Screen
    paper : str
        A key of `PAPERS`.
    """
    import matplotlib.pyplot as plt

    result, feel, recording = told.case, told.feel, told.recording
    with as_typed(), plt.rc_context(SHEET_STYLE):
        page = plt.figure(figsize=PAPERS[paper])
        inner = 1 - 2 * MARGIN
        names = f"{result.car.name} at {result.track.name}"
        put_text(page, Box(MARGIN, 0.945, inner, 0.025), names, 15, weight="bold")
        what = "what the wheel tells of the stagger"
        if recording is not None:
            what += f"; {recording.laps.used} recorded laps of {recording.laps.found}"
        put_text(page, Box(MARGIN, 0.925, inner, 0.018), f"{what}; estimates", 10)
        tall = 0.17 if recording is not None else 0.36
        _draw_panels(
            page,
            feel,
            feel.lap,
            [_draw_wheel, _draw_change],
            Box(0, 0.905 - 2 * tall, 1, 2 * tall),
            screen,
        )
        if recording is not None:
            panels = [_draw_recorded_wheel, _draw_recorded_slip, _draw_recorded_need]
            if recording.slip is None:
                del panels[1]
            _draw_panels(
                page, recording, recording.feel.lap, panels, Box(0, 0.13, 1, 0.395), screen
            )
        words = FEEL_WORDS + (RECORDED_WORDS if recording is not None else ())
        put_text(page, Box(MARGIN, 0.012, inner, 0.068), "\n".join(words), 8.5)
    return page


FEEL_WORDS = (
    "Too little stagger on the throttle: it drifts out with the wheel held left. Too much: it "
    "crabs, the wheel turned back right, though it hooks up. Wheelspin is neither.",
)
RECORDED_WORDS = (
    "More stagger moves the wheel to the right all the way round, most in the middle of a corner: "
    "read the whole curve against the model, not the drive-off alone.",
)


def _draw_panels(
    page: Figure, shown: Any, lap: Lap, panels: Sequence[Any], box: Box, screen: Screen
) -> None:
    """Panels along the lap, one above the other, named and shaded by phase."""
    left, width = MARGIN + 0.06, 1 - 2 * MARGIN - 0.065
    gap = 0.018
    height = box.height / len(panels) - gap
    first: Axes | None = None
    for i, draw in enumerate(panels):
        place = Box(left, box.top - (i + 1) * (height + gap), width, height)
        axes = _axes(page, place, sharex=first)
        first = first or axes
        shade_phases(axes, lap.groove.s, lap.phase, screen, named=i == 0, size=8)
        axes.set_xlim(0, float(screen.lengths(lap.groove.length)))
        last = i == len(panels) - 1
        axes.tick_params(labelbottom=last)
        draw(axes, shown, screen)
        if last:
            unit = screen.length_unit
            axes.set_xlabel(f"distance from the middle of a straight, {unit}", fontsize=8)


def _draw_wheel(axes: Axes, feel: Feel, screen: Screen) -> None:
    x = screen.lengths(feel.lap.groove.s)
    for stagger, wheel, style in zip(feel.staggers, feel.steering_wheel, STYLES, strict=False):
        axes.plot(x, degrees(wheel), **style, label=screen.tape(stagger))
    axes.set_ylabel("steering wheel, deg\nright      left")
    axes.legend(ncols=2, fontsize=7.5, title="rear stagger", title_fontsize=7.5, loc="best")


def _draw_change(axes: Axes, feel: Feel, screen: Screen) -> None:
    x = screen.lengths(feel.lap.groove.s)
    for change, style in zip(feel.steering_change, STYLES, strict=False):
        axes.plot(x, degrees(change), **style)
    axes.axhline(0, color="0.35", linewidth=0.8)
    axes.set_ylabel("against a car that nothing\nfights, deg, right      left")


def _bins(recording: Recording, screen: Screen) -> Any:
    length = float(recording.lap.groove.length)
    return screen.lengths((np.arange(BINS) + 0.5) * length / BINS)


def _draw_recorded_wheel(axes: Axes, recording: Recording, screen: Screen) -> None:
    steering, laps = recording.laps.log.steering, recording.laps
    model = recording.feel
    x = screen.lengths(model.lap.groove.s)
    axes.plot(x, degrees(model.steering_wheel[1]), **STYLES[0],
              label=f"model, {screen.tape(model.staggers[1])} as taped")  # fmt: skip
    if steering is not None:
        axes.plot(screen.lengths(laps.s), degrees(steering), ".", color="0.55", ms=2.5)
        axes.plot(_bins(recording, screen), degrees(laps.binned(steering)), **STYLES[1],
                  label="recorded, median of the laps")  # fmt: skip
    axes.set_ylabel("steering wheel, deg\nright      left")
    axes.legend(fontsize=7.5, loc="upper center")  # over the back straight, where it is low


def _draw_recorded_slip(axes: Axes, recording: Recording, screen: Screen) -> None:
    slip = recording.slip
    assert slip is not None
    x = _bins(recording, screen)
    axes.plot(x, 100 * slip.model, **STYLES[0], label="model")
    axes.plot(x, 100 * slip.along, **STYLES[1], label="recorded")
    axes.axhline(0, color="0.35", linewidth=0.8)
    axes.set_ylabel("slip of the rear\ntires, %")
    _legend_above(axes)


def _draw_recorded_need(axes: Axes, recording: Recording, screen: Screen) -> None:
    x = screen.lengths(recording.lap.groove.s)
    axes.plot(x, screen.staggers(recording.needed.total), **STYLES[0],
              label="needed on the recorded line")  # fmt: skip
    taped = float(recording.feel.staggers[1])
    axes.axhline(float(screen.staggers(taped)), **STYLES[1],
                 label=f"taped {screen.tape(taped)}")  # fmt: skip
    axes.set_ylabel(f"rear stagger,\n{screen.stagger_unit}")
    _legend_above(axes)


def write_sheets(pages: Sequence[Figure], out: Path, name: str = "debrief") -> list[Path]:
    """Write pages: as the ending of `out` says, or as PDF and PNG by `name` into the
    folder `out`.

    Returns
    -------
    list of Path

    Raises
    ------
    files.FileError
        If a file cannot be written, or the ending is neither .pdf nor .png.
    """
    if not out.suffix:
        make_folder(out)
        targets = [out / f"{name}.pdf", out / f"{name}.png"]
    elif out.suffix.lower() in (".pdf", ".png"):
        make_folder(out.parent)
        targets = [out]
    else:
        raise FileError([f"{out}: expected a folder, or a name that ends in .pdf or .png"])
    written: list[Path] = []
    for target in targets:
        write = _write_pdf if target.suffix.lower() == ".pdf" else _write_png
        with as_typed(pages):
            written += write(pages, target)
    return written


def _write_pdf(pages: Sequence[Figure], target: Path) -> list[Path]:
    from io import BytesIO

    from matplotlib.backends.backend_pdf import PdfPages

    data = BytesIO()
    with PdfPages(data) as pdf:
        for page in pages:
            pdf.savefig(page)
    write_whole(target, data.getvalue())
    return [target]


def _write_png(pages: Sequence[Figure], target: Path) -> list[Path]:
    from io import BytesIO

    written = []
    for i, page in enumerate(pages):
        data = BytesIO()
        page.savefig(data, format="png", dpi=DOTS)
        path = target if i == 0 else target.with_name(f"{target.stem}-{i + 1}{target.suffix}")
        write_whole(path, data.getvalue())
        written.append(path)
    return written
