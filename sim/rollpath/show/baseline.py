"""The recommendation told and drawn: its words, its JSON and its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.axle.rolling import natural_curvature
from rollpath.doubts import GiveOrTake, give_or_take
from rollpath.feel.foretold import foretold
from rollpath.scales.rates import effect_of
from rollpath.screen import TRADE, Screen, feet, inches, miles_per_hour, pounds, pounds_per_inch
from rollpath.show.doubts import assumed_lines, short_sure_lines, sure_json, sure_lines
from rollpath.show.feel import foretold_words
from rollpath.show.picture import (
    PAGE,
    SHADE_KEY,
    STYLES,
    Picture,
    along,
    canvas,
    case_title,
    draw_edges,
    draw_shaded_path,
    legend_below,
    map_size,
    mark_signs,
    panels,
    shade_phases,
)
from rollpath.show.surface import surface_json, watch_lines
from rollpath.show.words import (
    add_or_take_out,
    case_json,
    case_words,
    caution_lines,
    lay_out,
    paragraph,
    row,
    sections,
    tape_range,
)
from rollpath.stagger import Baseline
from rollpath.units import INCH, nearest_eighth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.scales.rates import StaggerEffect

# baseline


def baseline_pictures(result: Baseline, screen: Screen) -> list[Picture]:
    """Map, cost curve and lap of a `baseline`."""
    return [
        Picture("baseline-map", mismatch_map(result, screen)),
        Picture("baseline-cost", cost_curve(result, screen)),
        Picture("baseline-lap", needed_and_scrub(result, screen)),
    ]


def mismatch_map(result: Baseline, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """The track from above, its groove shaded by too much or too little of what is recommended."""
    figure, axes = canvas(ax, map_size(result.track, extra=1.1))
    mismatch = screen.staggers(result.stagger.recommended - result.needed.total)
    limit = float(np.max(np.abs(mismatch)))
    draw_edges(axes, result.track, screen)
    band = draw_shaded_path(axes, result.groove, mismatch, limit, screen)
    mark_signs(axes, result.groove, mismatch, 0.2 * limit, screen)
    scale = figure.colorbar(band, ax=axes, location="bottom", aspect=40)
    scale.set_label(
        f"too much or too little here with {screen.tape(result.stagger.recommended)}, "
        f"{screen.stagger_unit}\n\N{MINUS SIGN} too little: the axle pushes\n"
        "+ too much: it steers left"
    )
    axes.set_title(case_title(result))
    return figure


def cost_curve(result: Baseline, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """How far off a stagger is over the lap: window, what will do as well, present and best."""
    figure, axes = canvas(ax, (PAGE[0], 4.4))
    best = result.stagger
    now = float(result.car.rear.stagger)
    ends = [*best.window, now, float(best.unbounded)]
    margin = 0.4 * INCH
    s = np.linspace(min(ends) - margin, max(ends) + margin, 300)
    low, high = (float(screen.staggers(end)) for end in best.window)
    will_do = (float(screen.staggers(end)) for end in best.band)
    axes.axvspan(*will_do, color="0.80", label="will do")
    axes.plot(screen.staggers(s), screen.staggers(best.cost(s)), color="black")
    for end, word in ((low, "window"), (high, None)):
        axes.axvline(end, color="0.35", linestyle=":", label=word)
    for stagger, marker, word in (
        (now, "s", f"on the car {screen.tape(now)}"),
        (best.recommended, "o", f"to bolt on {screen.tape(best.recommended)}"),
    ):
        axes.plot(
            screen.staggers(stagger), screen.staggers(best.cost(stagger)), marker,
            color="black", markersize=10, label=word, linestyle="none",
            markerfacecolor="white" if marker == "s" else "black",
        )  # fmt: skip
    axes.set_xlabel(f"rear stagger, {screen.stagger_unit}")
    axes.set_ylabel(f"too much or too little, {screen.stagger_unit},\nover the whole lap")
    axes.set_ylim(bottom=0)
    legend_below(ax, figure, [axes])
    axes.set_title(case_title(result))
    return figure


def needed_and_scrub(result: Baseline, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Along the lap: needed against fitted stagger, and the scrub below it."""
    figure, ((upper,), (lower,)) = panels(ax, 2, (PAGE[0], 6.0), heights=(3, 2))
    x = screen.lengths(result.groove.s)
    for axes in (upper, lower):
        shade_phases(axes, result.groove.s, result.lap.phase, screen, named=axes is upper)
    upper.plot(x, screen.staggers(result.needed.total), **STYLES[0], label="needed")
    upper.plot(x, screen.staggers(result.needed.geometric), **STYLES[3], label="by shape alone")
    now, then = result.car.rear.stagger, result.stagger.recommended
    upper.axhline(float(screen.staggers(now)), **STYLES[1], label=f"on the car {screen.tape(now)}")
    upper.axhline(
        float(screen.staggers(then)), **STYLES[2], label=f"to bolt on {screen.tape(then)}"
    )
    upper.set_ylabel(f"rear stagger, {screen.stagger_unit}")
    upper.set_title(case_title(result), pad=20)
    for scrub, style in ((result.now, STYLES[1]), (result.then, STYLES[2])):
        lower.plot(x, 100 * np.abs(scrub.slip), **style)
    lower.set_ylabel("scrub between\nthe rear treads, %")
    lower.set_ylim(bottom=0)
    lower.set_xlabel(f"{along(screen)}\n{SHADE_KEY}")
    lower.set_xlim(0, float(screen.lengths(result.groove.length)))
    legend_below(ax, figure, [upper, lower])
    return figure


def baseline_json(
    result: Baseline, bite: StaggerEffect, sure: GiveOrTake | None = None
) -> dict[str, Any]:
    """The result of `baseline`, and how sure it is where that was asked; keys end in their unit."""
    best, lap = result.stagger, result.lap
    return {
        **case_json(result),
        "surface": surface_json(result),
        "stagger": {
            "recommended_in": inches(best.recommended),
            "optimum_in": inches(best.optimum),
            "unbounded_in": inches(best.unbounded),
            "window_in": [inches(end) for end in best.window],
            "at_window": best.at_window,
            "least_scrub_in": inches(best.least_scrub),
            "even_drive_in": inches(best.even_drive),
            "quickest_in": inches(best.quickest),
            "geometric_corner_in": [inches(end) for end in best.geometric_corner],
            "loaded_corner_in": [inches(end) for end in best.loaded_corner],
            "straights_in": inches(best.straights),
            "band_in": [inches(end) for end in best.band],
            **({} if sure is None else sure_json(sure)),
        },
        "now": {"stagger_in": inches(result.car.rear.stagger)},
        "lap": {
            "length_ft": feet(result.groove.length),
            "time_s": lap.time,
            "slowest_mph": miles_per_hour(np.min(lap.speed)),
            "fastest_mph": miles_per_hour(np.max(lap.speed)),
            "turning_share": result.groove.turning_share,
        },
        "scrub": {
            name: {
                "corners_ft": feet(scrub.corners),
                "straights_ft": feet(scrub.straights),
                "lap_ft": feet(scrub.lap),
                "time_s": best.time_lost(fitted),
            }
            for name, scrub, fitted in (
                ("now", result.now, result.car.rear.stagger),
                ("recommended", result.then, best.recommended),
            )
        },
        "bite": {
            "per_inch_lb": pounds_per_inch(bite.rates.rear),
            "source": bite.rates.rear_source,
            "now_lb": pounds(bite.now),
            "then_lb": pounds(bite.then),
            "hold_front_stagger_change_in": inches(bite.hold_front),
        },
    }


def baseline_screen(
    result: Baseline,
    bite: StaggerEffect,
    screen: Screen,
    note: str = "",
    sure: GiveOrTake | None = None,
) -> str:
    """The result of `baseline` for a racer: the answer, with a note to it; the reasons in full."""
    best, now = result.stagger, float(result.car.rear.stagger)
    change = float(best.recommended) - now
    answer = [
        f"Rear stagger to bolt on: {screen.tape(best.recommended)}",
        f"  {stagger_change_words(change, now, screen, [float(end) for end in best.band])}",
        f"  {case_words(result)}",
        *watch_lines(result, screen),
        *([paragraph(note, "  ")] if note else []),
    ]
    if not screen.full:
        lines = [
            *answer,
            *_warnings(result, screen),
            *_short_lines(result, bite, sure, screen, bool(note)),
        ]
        return lay_out([*lines, *caution_lines()], screen)
    return sections(
        [
            [*answer, *_warnings(result, screen)],
            ["Why", *_need_lines(result, screen)],
            ["How sure (estimates)", *_sure_lines(result, sure, screen)],
            ["Scrub a lap", *_scrub_lines(result, screen)],
            ["The lap (estimated)", *_lap_lines(result, screen)],
            ["Bite", *_bite_lines(bite, change, screen)],
            caution_lines(),
        ],
        screen,
    )


def _short_lines(
    result: Baseline, bite: StaggerEffect, sure: GiveOrTake | None, screen: Screen, noted: bool
) -> list[str]:
    """What to expect of the number, how sure it is, and what it does to the bite."""
    best = result.stagger
    ends = f"  truest down the straight {screen.tape(best.even_drive)}, quickest off the corner "
    will_do = f"  anything from {tape_range(best.band, screen)} will do"
    roomy = result.watch is None and not noted  # a timed lap and a note have lines of their own
    doubts = 2 if roomy else 1
    lines = [
        f"  expect {foretold_words(foretold(result))}",
        *([ends + screen.tape(best.quickest)] if roomy else []),
        will_do if sure is None else f"{will_do}; give or take {screen.fine(sure.total)}",
        *([] if sure is None else [f"  {line}" for line in short_sure_lines(sure, screen, doubts)]),
    ]
    change = float(best.recommended) - float(result.car.rear.stagger)
    now, then = screen.weight(bite.now), screen.weight(bite.then)
    if nearest_eighth(change) == 0:
        return [*lines, f"  bite {now}"]
    return [*lines, f"  bite {now} now, {then} then; {hold_words(bite, change, screen)}"]


def stagger_change_words(
    change: float, now: float, screen: Screen, band: Sequence[float] | None = None
) -> str:
    """What is on the car, and what to do about it; in a `band` that will do it may stay."""
    on_car = f"on the car now {screen.tape(now)}"
    if nearest_eighth(change) == 0:
        return f"{on_car}: leave it"
    low, high = (0.0, -1.0) if band is None else (nearest_eighth(end) for end in band)
    if low <= nearest_eighth(now) <= high:  # as the tape shows them, and as they are told
        return f"{on_car}: will do, {screen.tape(abs(change))} {'under' if change > 0 else 'over'}"
    return f"{on_car}: {add_or_take_out(change, screen)}"


def _warnings(result: Baseline, screen: Screen) -> list[str]:
    best, notes = result.stagger, []
    for name, axle in (("rear", result.car.rear), ("front", result.car.front)):
        if axle.stagger < 0:
            notes.append(
                f"Note: the left {name} is taped bigger than the right, {name} stagger "
                f"{screen.tape(axle.stagger)}. If that is not so, the two are swapped."
            )
    if best.at_window is not None:
        end = best.window[0 if best.at_window == "low" else 1]
        notes.append(
            f"Note: with no window the best value is {screen.tape(best.unbounded)}, beyond the "
            f"window's {best.at_window} end of {screen.tape(end)}: "
            f"{_WINDOW_WORDS[best.at_window]}. "
            "Check the radius and the straight before trusting it."
        )
    return [paragraph(note, "  ") for note in notes]


_WINDOW_WORDS = {
    "low": "the straights ask for less than the class runs, and the axle will scrub on them",
    "high": "the corners ask for more than the class runs, and the axle will push through them",
}


def _need_lines(result: Baseline, screen: Screen) -> list[str]:
    best = result.stagger
    lines = [
        row(
            f"middle of {turns[6:]} wants",
            f"{screen.fine(loaded)}, by the textbook {screen.fine(plain)}",
        )
        for turns, loaded, plain in zip(
            ("turns 1-2", "turns 3-4"), best.loaded_corner, best.geometric_corner, strict=True
        )
    ]
    window = tape_range(best.window, screen)
    return [
        *lines,
        row("straights want", screen.fine(best.straights)),
        row("left to itself", _natural_words(result, screen)),
        row("truest down the straight", screen.fine(best.even_drive)),
        row("quickest off the corner", screen.fine(best.quickest)),
        row("between the two", f"{screen.fine(best.optimum)}  window {window}"),
    ]


def _natural_words(result: Baseline, screen: Screen) -> str:
    """The circle that the rear axle alone would roll round, by the tape, now and with the best."""
    told = []
    for stagger in (result.car.rear.stagger, result.stagger.recommended):
        half = 0.5 * float(stagger)
        mean, half_track = float(result.car.rear.mean_rollout), float(result.car.rear.half_track)
        curvature = float(natural_curvature(mean - half, mean + half, half_track))
        way = "" if curvature >= 0 else " to the right"
        radius = (
            f"round a radius of {screen.distance(1 / abs(curvature))}{way}" if curvature else ""
        )
        told.append(f"{radius or 'straight'} with {screen.tape(stagger)}")
    return f"the axle rolls {', '.join(dict.fromkeys(told))}"


def _sure_lines(result: Baseline, sure: GiveOrTake | None, screen: Screen) -> list[str]:
    lines = [row("will do", tape_range(result.stagger.band, screen))]
    if sure is None:
        return lines
    return [*lines, *sure_lines(sure, screen), *assumed_lines(sure, screen)]


def _scrub_lines(result: Baseline, screen: Screen) -> list[str]:
    lines = []
    for name, stagger, scrub in (
        ("now", result.car.rear.stagger, result.now),
        ("recommended", result.stagger.recommended, result.then),
    ):
        corners, straights = screen.distance(scrub.corners), screen.distance(scrub.straights)
        told = f"{screen.distance(scrub.lap)}: corners {corners}, straights {straights}"
        lines.append(row(f"{name} {screen.tape(stagger)}", told))
    fitted = (result.car.rear.stagger, result.stagger.recommended)
    now, then = (hundredths(float(result.stagger.time_lost(one))) for one in fitted)
    told = now if now == then else f"{now} now, {then} then"
    lines.append(row("scrub drag costs", f"{told} a lap"))
    return lines


def hundredths(seconds: float) -> str:
    """A small lap time, honestly small."""
    count = round(100 * seconds)
    if count < 1:
        return "less than a hundredth of a second"
    return f"{count} hundredth{'s' if count > 1 else ''} of a second"


def _lap_lines(result: Baseline, screen: Screen) -> list[str]:
    speed = result.lap.speed
    slowest, fastest = screen.speed(speed.min()), screen.speed(speed.max())
    return [
        row("length on the groove", screen.distance(result.groove.length)),
        row("time", f"{result.lap.time:.1f} s"),
        row("speed", f"{slowest} slowest, {fastest} fastest"),
        row("turning", f"{result.groove.turning_share:.0%} of the lap"),
    ]


SOURCE_WORDS = {
    "measured": "measured, from the car file",
    "predicted": "predicted from the car file, an estimate",
    "typical": "typical, common practice; find your own on the scales",
}


def _bite_lines(bite: StaggerEffect, change: float, screen: Screen) -> list[str]:
    lines = [
        row("per inch of rear stagger", f"{screen.weight_rate(bite.rates.rear)} "
            f"({SOURCE_WORDS[bite.rates.rear_source]})"),
        row("bite now", screen.weight(bite.now)),
    ]  # fmt: skip
    if nearest_eighth(change) == 0:
        return lines
    return [
        *lines,
        row("bite after the change", screen.weight(bite.then)),
        row("to hold it", hold_words(bite, change, screen).removeprefix("to hold bite: ")),
    ]


def hold_words(bite: StaggerEffect, change: float, screen: Screen) -> str:
    """What holds bite when the rear stagger is changed."""
    if nearest_eighth(change) == 0:
        return "no change, so nothing to hold"
    hold = f"to hold bite: {add_or_take_out(float(bite.hold_front), screen)} of front stagger"
    if nearest_eighth(bite.front_then) >= 0:
        return hold
    then = screen.tape(bite.front_then)
    return f"{hold}; that leaves {then}, the left front the bigger: a jack may be better"


def short_screen(result: Baseline, screen: Screen = TRADE) -> str:
    """The result of `baseline` for a racer."""
    return baseline_screen(result, effect_of(result), screen, sure=give_or_take(result))
