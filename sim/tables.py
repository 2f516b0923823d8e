"""Words and figures: results as a screen for a racer, or as JSON for a program.

Nothing is computed here beyond changing units and picking a sentence.
"""

import json
import textwrap
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from sim.bite import StaggerEffect
from sim.files import Sweep
from sim.stagger import Baseline
from sim.track import CONDITIONS
from sim.units import (
    FOOT,
    INCH,
    FloatArray,
    Screen,
    feet,
    inches,
    miles_per_hour,
    nearest_eighth,
    pounds,
    trade_values,
)

CAUTIONS = (
    "Stands under the car before a wheel comes off. Stay inside the tire maker's pressure and "
    "rim limits.",
    "Re-torque the wheel nuts after the first laps. The rule book of the class comes first.",
    "First laps slow after any change. These are estimates: when in doubt ask the tire maker or "
    "the tech man.",
)

LABEL_WIDTH = 26
SCREEN_WIDTH = 88


def row(label: str, text: str) -> str:
    """A label column and what it holds, wrapped to the width of a screen."""
    indent = " " * (LABEL_WIDTH + 2)
    first = f"  {label:<{LABEL_WIDTH}}"
    return textwrap.fill(text, SCREEN_WIDTH, initial_indent=first, subsequent_indent=indent)


def paragraph(text: str, indent: str = "") -> str:
    """Prose wrapped to the width of a screen."""
    return textwrap.fill(text, SCREEN_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def as_json(data: Any) -> str:
    """JSON text; numbers rounded to what a reader can use."""
    return json.dumps(_plain(data), indent=2, allow_nan=False)


def _plain(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, np.ndarray | list | tuple):
        return [_plain(value) for value in data]
    if isinstance(data, np.integer):
        return int(data)
    if isinstance(data, float | np.floating):
        return float(f"{float(data):.6g}")
    return data


# baseline


def baseline_json(result: Baseline, bite: StaggerEffect) -> dict[str, Any]:
    """The result of `baseline`; keys end in their unit."""
    best, lap = result.stagger, result.lap
    return {
        "track": result.track.name,
        "car": result.car.name,
        "condition": result.condition.name,
        "groove": result.groove.name,
        "stagger": {
            "recommended_in": inches(best.recommended),
            "optimum_in": inches(best.optimum),
            "unbounded_in": inches(best.unbounded),
            "window_in": [inches(end) for end in best.window],
            "at_window": best.at_window,
            "least_scrub_in": inches(best.least_scrub),
            "even_drive_in": inches(best.even_drive),
            "geometric_corner_in": [inches(end) for end in best.geometric_corner],
            "loaded_corner_in": [inches(end) for end in best.loaded_corner],
            "straights_in": inches(best.straights),
            "band_in": [inches(end) for end in best.band],
            "uncertainty_in": inches(result.total_uncertainty),
            "uncertainty_shares_in": {
                name.replace(" ", "_"): inches(share) for name, share in result.uncertainty.items()
            },
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
            }
            for name, scrub in (("now", result.now), ("recommended", result.then))
        },
        "bite": {
            "per_inch_lb": pounds(bite.rates.rear * INCH),
            "source": bite.rates.rear_source,
            "now_lb": pounds(bite.now),
            "then_lb": pounds(bite.then),
            "hold_front_stagger_change_in": inches(bite.hold_front),
        },
    }


def baseline_screen(result: Baseline, bite: StaggerEffect, screen: Screen) -> str:
    """The result of `baseline` for a racer: the answer, then the reasons."""
    best, car = result.stagger, result.car
    change = float(best.recommended) - float(car.rear.stagger)
    lines = [
        f"Rear stagger to bolt on: {screen.tape(best.recommended)}",
        f"  {_change_words(change, float(car.rear.stagger), screen)}",
        f"  {car.name} at {result.track.name}, {result.condition.name}, "
        f"{result.groove.name} groove",
    ]
    return "\n".join(
        [
            *lines,
            *_warnings(result, screen),
            "",
            "Why",
            *_need_lines(result, screen),
            "",
            "How sure (estimates)",
            *_sure_lines(result, screen),
            "",
            "Scrub a lap",
            *_scrub_lines(result, screen),
            "",
            "The lap (estimated)",
            *_lap_lines(result, screen),
            "",
            "Bite",
            *_bite_lines(bite, change, screen),
            "",
            *map(paragraph, CAUTIONS),
        ]
    )


def _change_words(change: float, now: float, screen: Screen) -> str:
    on_car = f"on the car now {screen.tape(now)}"
    if nearest_eighth(change) == 0:
        return f"{on_car}: leave it"
    return f"{on_car}: {'add' if change > 0 else 'take out'} {screen.tape(abs(change))}"


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
            f"{turns} centre needs",
            f"{screen.fine(loaded)} loaded, {screen.fine(plain)} by geometry",
        )
        for turns, loaded, plain in zip(
            ("turns 1-2", "turns 3-4"), best.loaded_corner, best.geometric_corner, strict=True
        )
    ]
    window = " to ".join(screen.tape(end) for end in best.window)
    return [
        *lines,
        row("straights want", screen.fine(best.straights)),
        row("even drive", f"{screen.fine(best.even_drive)}  weighed where the car drives"),
        row("least scrub", f"{screen.fine(best.least_scrub)}  every foot of the lap the same"),
        row("best inside the window", f"{screen.fine(best.optimum)}  window {window}"),
    ]


def _sure_lines(result: Baseline, screen: Screen) -> list[str]:
    band = " to ".join(screen.tape(end) for end in result.stagger.band)
    lines = [row("as good", band)]
    if result.uncertainty:
        shares = sorted(result.uncertainty.items(), key=lambda item: -item[1])
        told = ", ".join(f"{name} {screen.fine(share)}" for name, share in shares)
        lines += [
            row("give or take", screen.fine(result.total_uncertainty)),
            row("from", told),
            row("surer by", _surer_by(shares[0][0])),
        ]
    return lines


def _surer_by(name: str) -> str:
    if name == "tape":
        return "taping each rear tire three times and taking the mean"
    return f"measuring the {name} again"


def _scrub_lines(result: Baseline, screen: Screen) -> list[str]:
    lines = []
    for name, stagger, scrub in (
        ("now", result.car.rear.stagger, result.now),
        ("recommended", result.stagger.recommended, result.then),
    ):
        corners, straights = screen.distance(scrub.corners), screen.distance(scrub.straights)
        told = f"{screen.distance(scrub.lap)}: corners {corners}, straights {straights}"
        lines.append(row(f"{name} {screen.tape(stagger)}", told))
    return lines


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
    "predicted": "predicted from the springs, an estimate",
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
    hold = float(bite.hold_front)
    verb = "add" if hold > 0 else "take out"
    return [
        *lines,
        row("bite after the change", screen.weight(bite.then)),
        row("to hold it", f"{verb} {screen.tape(abs(hold))} of front stagger"),
    ]


# compare

SORT_KEYS: dict[str, Callable[[Baseline], Any]] = {
    "stagger": lambda result: float(result.stagger.unbounded),
    "track": lambda result: result.track.name,
    "condition": lambda result: list(CONDITIONS).index(result.condition.name),
    "groove": lambda result: result.groove.name,
    "lap": lambda result: float(result.groove.length),
    "time": lambda result: float(result.lap.time),
    "scrub": lambda result: float(result.then.lap),
}


def sorted_rows(results: list[Baseline], key: str | None) -> list[Baseline]:
    """The results in the order asked, or as they came."""
    return results if key is None else sorted(results, key=SORT_KEYS[key])


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows of a table set in columns as wide as they need; the first three to the left."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.ljust(width) if i < 3 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()
        for cells in rows
    ]


def compare_screen(results: list[Baseline], effects: list[StaggerEffect], screen: Screen) -> str:
    """Every case side by side: what it asks for, then where that comes from."""
    names = _case_names(results)
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
    return "\n".join(
        [
            paragraph(difference_words(results, screen)),
            "",
            *columns(asked),
            *(["* at the end of the window"] if _any_at_window(results) else []),
            "",
            "Where it comes from (before the window, estimates): the line's mean need, what tire",
            "load adds, and what weighing it where the car drives adds",
            *columns(parts),
            "",
            *map(paragraph, CAUTIONS),
        ]
    )


def _any_at_window(results: list[Baseline]) -> bool:
    return any(result.stagger.at_window is not None for result in results)


def _case_names(results: list[Baseline]) -> list[list[str]]:
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
        screen.tape(best.recommended) + ("" if best.at_window is None else "*"),
        f"{low.removesuffix(unit)} to {high}",
        corners,
        screen.distance(result.then.lap),
        screen.distance(result.groove.length),
        f"{result.lap.time:.1f} s",
        f"{result.groove.turning_share:.0%}",
        screen.weight(effect.then - effect.now, signed=True),
    ]


def difference_words(results: list[Baseline], screen: Screen) -> str:
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


# A sweep by numbers


SWEEP_FIGURES: dict[str, Callable[[Baseline], Any]] = {
    "recommended_in": lambda result: inches(result.stagger.recommended),
    "optimum_in": lambda result: inches(result.stagger.optimum),
    "unbounded_in": lambda result: inches(result.stagger.unbounded),
    "band_low_in": lambda result: inches(result.stagger.band[0]),
    "band_high_in": lambda result: inches(result.stagger.band[1]),
    "loaded_corner_1_in": lambda result: inches(result.stagger.loaded_corner[0]),
    "loaded_corner_2_in": lambda result: inches(result.stagger.loaded_corner[1]),
    "scrub_ft": lambda result: feet(result.then.lap),
    "lap_ft": lambda result: feet(result.groove.length),
    "time_s": lambda result: result.lap.time,
}


def sweep_rows(sweep: Sweep, points: list[Baseline]) -> dict[str, FloatArray]:
    """The figures of `SWEEP_FIGURES` for each swept value, each of shape (cases,)."""
    count = len(sweep.values)
    rows = {}
    for name, figure in SWEEP_FIGURES.items():
        found = np.concatenate([np.atleast_1d(figure(point)) for point in points])
        rows[name] = np.broadcast_to(found, count) if len(found) == 1 else found
    return rows


def sweep_json(sweep: Sweep, case: Baseline, rows: dict[str, FloatArray]) -> dict[str, Any]:
    """A sweep as rows; the swept value is in the trade unit its key ends in."""
    name, values = trade_values(sweep.key, sweep.kind, sweep.values)
    return {
        "track": case.track.name,
        "car": case.car.name,
        "condition": case.condition.name,
        "groove": case.groove.name,
        "swept": sweep.key,
        "rows": [
            {name: value, **{key: column[i] for key, column in rows.items()}}
            for i, value in enumerate(values)
        ],
    }


def sweep_screen(sweep: Sweep, case: Baseline, rows: dict[str, FloatArray], screen: Screen) -> str:
    """A sweep as a table."""
    table = [[sweep.key, "stagger", "best", "as good", "corners need", "scrub", "lap", "time"]]
    for i, value in enumerate(sweep.values):
        at = {name: float(column[i]) for name, column in rows.items()}
        table.append(
            [
                screen.of_kind(float(value), sweep.kind),
                screen.tape(at["recommended_in"] * INCH),
                screen.fine(at["unbounded_in"] * INCH),
                " to ".join(screen.tape(at[f"band_{end}_in"] * INCH) for end in ("low", "high")),
                " ".join(screen.fine(at[f"loaded_corner_{end}_in"] * INCH) for end in (1, 2)),
                screen.distance(at["scrub_ft"] * FOOT),
                screen.distance(at["lap_ft"] * FOOT),
                f"{at['time_s']:.1f} s",
            ]
        )
    title = (
        f"Rear stagger against {sweep.key}: {case.car.name} at {case.track.name}, "
        f"{case.condition.name}, {case.groove.name} groove (estimates)"
    )
    return "\n".join([title, "", *columns(table), "", *map(paragraph, CAUTIONS)])
