"""Words and figures: results as a screen for a racer, or as JSON for a program.

Nothing is computed here beyond changing units and picking a sentence.
"""

import json
import math
import textwrap
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.balance import FeelCase, PhaseFeel, feel_by_phase
from sim.bite import (
    CORNERS,
    RAISES_BITE,
    STAGGER_STEP,
    Change,
    Corners,
    Hold,
    Learned,
    Outcome,
    Pads,
    Rates,
    StaggerEffect,
)
from sim.car import Car
from sim.files import Sweep
from sim.lap import PHASES
from sim.rack import Rack, RackTire, Taping, cold_rollout
from sim.runlog import Recording
from sim.stagger import Baseline
from sim.survey import CHORD_ERROR, GAP_ERROR, ChordRadius, LogFit, Survey, chord_advice
from sim.tires import (
    FRONT,
    REAR,
    Choice,
    OwnSet,
    Pick,
    doubts,
)
from sim.track import CONDITIONS
from sim.units import (
    DEGREE,
    FOOT,
    INCH,
    PSI,
    FloatArray,
    Real,
    Screen,
    degrees,
    eighths,
    feet,
    horsepower,
    inches,
    miles_per_hour,
    nearest_eighth,
    pound_feet,
    pounds,
    psi,
    trade_values,
)
from sim.verdict import ANSWERS, Leaning, Verdict, disagreement

if TYPE_CHECKING:
    from sim.nights import Correction, Night, Setting, Step, Study, Thing
    from sim.notebook import Taken
    from sim.runs import Page, Run

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
    return textwrap.fill(
        text, SCREEN_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ",
        break_on_hyphens=False,
    )  # fmt: skip


def as_json(data: Any, indent: int | None = 2) -> str:
    """JSON text; numbers rounded to what a reader can use. Unindented it is written much faster."""
    return json.dumps(_plain(data), indent=indent, allow_nan=False)


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


def baseline_screen(result: Baseline, bite: StaggerEffect, screen: Screen, note: str = "") -> str:
    """The result of `baseline` for a racer: the answer, with a note to it, then the reasons."""
    best, car = result.stagger, result.car
    change = float(best.recommended) - float(car.rear.stagger)
    lines = [
        f"Rear stagger to bolt on: {screen.tape(best.recommended)}",
        f"  {stagger_change_words(change, float(car.rear.stagger), screen)}",
        f"  {car.name} at {result.track.name}, {result.condition.name}, "
        f"{result.groove.name} groove",
        *([paragraph(note, "  ")] if note else []),
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


def stagger_change_words(change: float, now: float, screen: Screen) -> str:
    """What is on the car, and what to do about it."""
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
            row("give or take", f"{screen.fine(result.total_uncertainty)}, nine times in ten"),
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
    hold = float(bite.hold_front)
    verb = "add" if hold > 0 else "take out"
    return f"to hold bite: {verb} {screen.tape(abs(hold))} of front stagger"


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


def columns(rows: Sequence[Sequence[str]], left: int = 3) -> list[str]:
    """Rows of a table set in columns as wide as they need; the first `left` to the left."""
    widths = [[text_width(cell) for cell in cells] for cells in rows]
    widest = [max(column) for column in zip(*widths, strict=True)]
    return [_set(*row, widest, left) for row in zip(rows, widths, strict=True)]


def _set(cells: Sequence[str], widths: list[int], widest: list[int], left: int) -> str:
    gaps = [" " * (most - width) for most, width in zip(widest, widths, strict=True)]
    texts = [cell + gap for cell, gap in zip(cells[:left], gaps, strict=False)]
    texts += [gap + cell for cell, gap in zip(cells[left:], gaps[left:], strict=True)]
    return "  ".join(texts).rstrip()


def text_width(text: str) -> int:
    """Places that a text takes on a terminal: two for a wide letter, none for a mark over one."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)


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


# debrief

CHANGE_WORDS = {
    "more": "More stagger",
    "less": "Less stagger",
    "leave": "Leave the stagger",
    "elsewhere": "Not stagger, or not first",
    "ask": "One more question first",
}


def verdict_lines(verdict: Verdict, screen: Screen) -> list[str]:
    """A verdict in words, the answer first."""
    step = f": {screen.tape(verdict.amount, signed=True)}" if verdict.amount else ""
    return [
        f"{CHANGE_WORDS[verdict.change]}{step} ({verdict.confidence} confidence)",
        f"because {verdict.reason}",
        *([f"ask: {verdict.question}"] if verdict.question else []),
        f"next run, look for {verdict.look_for}",
    ]


@dataclass(frozen=True)
class Told:
    """What spoke in a debrief: recorded laps, and which way driver and logger point."""

    recording: Recording | None = None
    driver: Leaning | None = None
    logger: Leaning | None = None

    @property
    def disagreement(self) -> str:
        return disagreement(self.driver, self.logger) if self.driver and self.logger else ""


def recording_lines(told: Told, screen: Screen) -> list[str]:
    """What the recorded laps say, with what they were read against."""
    run = told.recording
    if run is None:
        return []
    laps, wheel, slip = run.laps, run.wheel, run.slip
    times = f", {laps.times.min():.2f} to {laps.times.max():.2f} s" if len(laps.times) else ""
    lines = [
        row("laps", f"{laps.used} used of {laps.found}{times}"),
        row("line driven", f"{screen.distance(laps.groove.length)}; asks for "
            f"{screen.fine(run.best.unbounded)} at the limit of this surface, "
            f"{screen.fine(run.as_driven)} as driven"),
    ]  # fmt: skip
    if wheel is not None:
        lines += [
            row("drive-off steering", f"{screen.angle(wheel.exit, signed=True)} against the "
                f"corner's own mean; the model {screen.angle(wheel.exit_model, signed=True)}"),
            row("stagger by the wheel", f"{screen.fine(wheel.alone)}, give or take "
                f"{screen.fine(wheel.alone_error)}, against {screen.fine(run.feel.staggers[1])} "
                "taped"),
        ]  # fmt: skip
    if slip is not None:
        lines.append(
            row("slip", f"{100 * slip.exit:.0f} % on the drive-off, {100 * slip.straight:.0f} % "
                f"on the straight; wheelspin over {100 * slip.spinning:.0f} % of the lap")
        )  # fmt: skip
    lines += [paragraph(f"note: {note}", "  ") for note in run.notes]
    if told.disagreement:
        lines.append(paragraph(told.disagreement, "  "))
    return ["Recorded laps (estimates)", *lines, ""]


def debrief_screen(
    result: Baseline,
    effect: StaggerEffect,
    verdict: Verdict | None,
    screen: Screen,
    told: Told | None = None,
) -> str:
    """A debrief: the verdict if there is one, what the lap asks for, and where it scrubbed."""
    best, car = result.stagger, result.car
    said = [paragraph(line, "  ") for line in verdict_lines(verdict, screen)] if verdict else []
    change = float(best.recommended) - float(car.rear.stagger)
    phases = [
        ["", "fitted " + screen.tape(car.rear.stagger), "best " + screen.tape(best.recommended)],
        *(
            [f"  {name}", screen.distance(result.now.by_phase[name], 1),
             screen.distance(result.then.by_phase[name], 1)]
            for name in PHASES
        ),
        ["  whole lap", screen.distance(result.now.lap, 1), screen.distance(result.then.lap, 1)],
    ]  # fmt: skip
    return "\n".join(
        [
            *(["Verdict", *said, *_hold_verdict(verdict, effect, screen), ""] if verdict else []),
            *recording_lines(told or Told(), screen),
            f"Rear stagger the lap asks for: {screen.tape(best.recommended)}",
            f"  {stagger_change_words(change, float(car.rear.stagger), screen)}",
            f"  {car.name} at {result.track.name}, {result.condition.name}, "
            f"{result.groove.name} groove",
            f"  {hold_words(effect, change, screen)}",
            "",
            "Where the axle scrubbed, a lap (estimates)",
            *columns(phases),
            "",
            *map(paragraph, CAUTIONS),
        ]
    )


def _hold_verdict(verdict: Verdict, effect: StaggerEffect, screen: Screen) -> list[str]:
    """What holds bite when the verdict's own step is made."""
    if not verdict.amount:
        return []
    front = verdict.amount * float(effect.rates.rear) / float(effect.rates.front)
    verb = "add" if front > 0 else "take out"
    return [f"  to hold bite with that step: {verb} {screen.tape(abs(front))} of front stagger"]


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _leaning_json(leaning: Leaning) -> dict[str, Any]:
    return {**vars(leaning), "question": leaning.question or None}


def recording_json(told: Told, run: Recording) -> dict[str, Any]:
    """What the recorded laps say."""
    wheel, slip = run.wheel, run.slip
    data: dict[str, Any] = {
        "laps": run.laps.used,
        "laps_found": run.laps.found,
        "lap_times_s": run.laps.times,
        "lap_ft": feet(run.laps.groove.length),
        "needed_in": inches(run.best.unbounded),
        "needed_as_driven_in": inches(run.as_driven),
        "taped_in": inches(run.feel.staggers[1]),
        "grip": float(run.condition.grip),
        "slip_pct": None,
        "exit_steer_deg": None,
    }
    if wheel is not None:
        data |= {
            "exit_steer_deg": _finite(wheel.exit / DEGREE),
            "exit_steer_model_deg": _finite(wheel.exit_model / DEGREE),
            "wheel_stagger_in": inches(wheel.alone),
            "wheel_stagger_error_in": inches(wheel.alone_error),
            "steering_zero_deg": wheel.zero / DEGREE,
        }
    if slip is not None:
        data |= {
            "slip_pct": _finite(100 * slip.exit),
            "slip_straight_pct": _finite(100 * slip.straight),
            "wheelspin_pct": 100 * slip.spinning,
            "gear_ratio": slip.gear_ratio,
            "gear_ratio_looks_like": slip.likely_ratio,
            "gear_ratio_doubted": slip.gear_fault,
        }
    leanings = {
        name: _leaning_json(leaning)
        for name, leaning in (("logger", told.logger), ("driver", told.driver))
        if leaning is not None
    }
    return {
        **data, **leanings, "disagreement": told.disagreement or None, "notes": list(run.notes),
    }  # fmt: skip


def debrief_json(
    result: Baseline, effect: StaggerEffect, verdict: Verdict | None, told: Told | None = None
) -> dict[str, Any]:
    """A debrief; `scrub` holds feet a lap by phase."""
    data = baseline_json(result, effect)
    data["scrub"] = {
        name: {
            **{f"{phase.replace('-', '_')}_ft": feet(scrub.by_phase[phase]) for phase in PHASES},
            "lap_ft": feet(scrub.lap),
        }
        for name, scrub in (("now", result.now), ("recommended", result.then))
    }
    if verdict is not None:
        data["verdict"] = {
            "change": verdict.change,
            "amount_in": inches(verdict.amount),
            "reason": verdict.reason,
            "confidence": verdict.confidence,
            "question": verdict.question or None,
            "look_for": verdict.look_for,
        }
    if told is not None and told.recording is not None:
        data["log"] = recording_json(told, told.recording)
    return data


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


# bite


def corner_words(corner: str) -> str:
    return corner.replace("_", " ")


def pads_json(pads: Pads) -> dict[str, Real]:
    """Four pads and the figures racers make of them."""
    weights = pads.weights
    four = {f"{corner}_lb": pounds(getattr(weights, corner)) for corner in CORNERS}
    return four | {
        "bite_lb": pounds(weights.bite),
        "cross_pct": 100 * weights.cross_share,
        "left_pct": 100 * weights.left_share,
        "rear_pct": 100 * weights.rear_share,
    }


def _rates_json(rates: Rates) -> dict[str, Any]:
    return {
        "rear_lb_per_in": pounds(rates.rear * INCH),
        "front_lb_per_in": pounds(rates.front * INCH),
        "source": rates.source,
        "rear_lb_per_turn": None if rates.rear_turn is None else pounds(rates.rear_turn),
        "front_lb_per_turn": None if rates.front_turn is None else pounds(rates.front_turn),
        "turn_source": {"rear": rates.rear_turn_source, "front": rates.front_turn_source},
        "doubtful": rates.doubtful,
    }


def _hold_json(hold: Hold) -> dict[str, Any]:
    return {
        "means": hold.means,
        "corner": hold.corner,
        "front_stagger_change_in": inches(hold.front_stagger),
        "jack_turns": hold.change.turns._asdict(),
        "spacers_in": _corners_in(hold.change.spacers),
        "left_over_lb": pounds(hold.left_over),
    }


def _corners_in(corners: Corners) -> dict[str, Real]:
    return {corner: inches(value) for corner, value in corners._asdict().items()}


def bite_json(car: Car, outcome: Outcome) -> dict[str, Any]:
    """The result of `bite`; keys end in their unit."""
    heights, holds = outcome.ride_heights, outcome.holds
    return {
        "car": car.name,
        "now": pads_json(outcome.now),
        "then": pads_json(outcome.then),
        "held": pads_json(outcome.held) if holds else None,
        "lifted": outcome.then.lifted,
        "change": {
            "rollouts_in": _corners_in(outcome.change.rollouts),
            "jack_turns": outcome.change.turns._asdict(),
            "spacers_in": _corners_in(outcome.change.spacers),
        },
        "rates": _rates_json(outcome.rates),
        "hold": _hold_json(holds[0]) if holds else None,
        "other_holds": [_hold_json(hold) for hold in holds[1:]],
        "ride_height_change_in": None if heights is None else _corners_in(heights),
        "gear_change_pct": 100 * outcome.gear_change,
    }


def bite_screen(car: Car, outcome: Outcome, screen: Screen) -> str:
    """The result of `bite` for a racer: the answer, then the pads, then the reasons."""
    parts = [
        _bite_answer(car, outcome, screen),
        _hold_lines(outcome, screen),
        _pad_lines(outcome, screen),
        _worth_lines(outcome.rates, screen),
        _side_effect_lines(outcome, screen),
        list(map(paragraph, CAUTIONS)),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part)


def _bite_answer(car: Car, outcome: Outcome, screen: Screen) -> list[str]:
    now, then = outcome.now.weights.bite, outcome.then.weights.bite
    changes = change_words(outcome.change, screen)
    if not changes:
        return [f"Bite: {screen.weight(now)}", f"  {car.name} as it is"]
    lines = [
        f"Bite: {screen.weight(now)} now, {screen.weight(then)} after the change "
        f"({screen.weight(then - now, signed=True)})",
        paragraph(f"{car.name}: {'; '.join(changes)}", "  "),
        *(
            f"  {name} stagger {screen.tape(axle.stagger)} now, "
            f"{screen.tape(axle.stagger + added)} after"
            for name, axle, added in (
                ("rear", car.rear, outcome.change.rear_stagger),
                ("front", car.front, outcome.change.front_stagger),
            )
            if added
        ),
    ]
    if outcome.then.lifted:
        wheel = corner_words(outcome.then.lifted)
        lines.append(
            paragraph(
                f"Note: the {wheel} wheel would come off its pad. The other three carry the car, "
                "and more of the same change moves no more weight.",
                "  ",
            )
        )
    return lines


def change_words(change: Change, screen: Screen) -> list[str]:
    """Each thing that is changed, in words."""
    return [
        *(
            f"{corner_words(corner)} tire {'bigger' if grown > 0 else 'smaller'} by "
            f"{screen.tape_or_fine(abs(grown))}"
            for corner, grown in change.rollouts._asdict().items()
            if np.any(grown)
        ),
        *(
            f"{corner_words(corner)} jack {_longer(turns)}"
            for corner, turns in change.turns._asdict().items()
            if turns
        ),
        *(
            f"{screen.tape_or_fine(abs(height))} spacer "
            f"{'put under' if height > 0 else 'taken from under'} the {corner_words(corner)} spring"
            for corner, height in change.spacers._asdict().items()
            if height
        ),
    ]


def turns_words(turns: Real) -> str:
    """A number of jack turns such as ``1 1/4 turns``."""
    count = float(turns)
    text = eighths(count * INCH) if (count * 8).is_integer() else f"{count:.2f}"
    return f"{text} turn{'s' if count > 1 else ''}"


def _longer(turns: Real) -> str:
    return f"{turns_words(abs(float(turns)))} {'longer' if float(turns) > 0 else 'shorter'}"


def _hold_lines(outcome: Outcome, screen: Screen) -> list[str]:
    if not outcome.holds:
        return []
    first, *others = (
        _hold_words(hold, screen)
        for hold in outcome.holds
        if hold is outcome.holds[0] or hold.change != Change()
    )
    return [
        paragraph(f"To hold bite: {first}"),
        *(paragraph(f"or {other}", "  ") for other in others),
    ]


def _hold_words(hold: Hold, screen: Screen) -> str:
    left_over = f"leaves {screen.weight(hold.left_over, 1, signed=True)}"
    if hold.means != "front":
        told = change_words(hold.change, screen)
        return f"{told[0] if told else 'no step of a jack or spacer comes nearer'}; {left_over}"
    added = float(hold.front_stagger)
    if not added:
        return f"no eighth of front stagger comes nearer; {left_over}"
    verb, right, left = (
        ("add", "bigger", "smaller") if added > 0 else ("take out", "smaller", "bigger")
    )
    return (
        f"{verb} {screen.tape(abs(added))} of front stagger "
        f"(right front {right} by that, or left front {left}); {left_over}"
    )


def _pad_lines(outcome: Outcome, screen: Screen) -> list[str]:
    columns = [("now", outcome.now)]
    if any(map(any, (outcome.change.rollouts, outcome.change.turns, outcome.change.spacers))):
        columns.append(("after", outcome.then))
    if outcome.holds:
        columns.append(("held", outcome.held))

    def line(label: str, texts: list[str]) -> str:
        return f"  {label:<{LABEL_WIDTH}}" + "".join(f"{text:>12}" for text in texts)

    weights = [pads.weights for _, pads in columns]
    return [
        line("On the scales", [name for name, _ in columns])[2:],
        *(
            line(corner_words(corner), [screen.weight(getattr(w, corner)) for w in weights])
            for corner in CORNERS
        ),
        line("bite", [screen.weight(w.bite) for w in weights]),
        line("cross weight", [f"{100 * w.cross_share:.1f} %" for w in weights]),
        line("left", [f"{100 * w.left_share:.1f} %" for w in weights]),
        line("rear", [f"{100 * w.rear_share:.1f} %" for w in weights]),
    ]


def _worth_lines(rates: Rates, screen: Screen) -> list[str]:
    inch = screen.stagger_unit_length
    lines = ["What a change is worth in bite"]
    for name, rate, source, sign in (
        ("rear", rates.rear, rates.rear_source, -1),
        ("front", rates.front, rates.front_source, 1),
    ):
        told = f"{screen.weight(sign * rate * inch, 1, signed=True)} ({SOURCE_WORDS[source]})"
        lines.append(row(f"{screen.tape(inch)} more {name} stagger", told))
    for corner, raises in zip(CORNERS, RAISES_BITE, strict=True):
        rate = raises * (rates.rear if "rear" in corner else rates.front)
        turn = rates.rear_turn if "rear" in corner else rates.front_turn
        source = rates.rear_turn_source if "rear" in corner else rates.front_turn_source
        told = f"{screen.tape(STAGGER_STEP)} bigger "
        told += screen.weight(rate * STAGGER_STEP, 1, signed=True)
        if turn is not None:
            told += f", one turn longer {screen.weight(raises * turn, 1, signed=True)} ({source})"
        lines.append(row(corner_words(corner), told))
    return lines + [_doubt_words(axle, rates, screen) for axle in rates.doubtful]


def _doubt_words(axle: str, rates: Rates, screen: Screen) -> str:
    predicted = rates.predicted.rear if axle == "rear" else rates.predicted.front
    assert predicted is not None
    return paragraph(
        f"Note: the {axle} rate in the car file is far from the {screen.weight_rate(predicted)} "
        "that the springs say. Weigh again after rolling the car and bouncing it, and check the "
        "springs in the car file.",
        "  ",
    )


def _side_effect_lines(outcome: Outcome, screen: Screen) -> list[str]:
    lines = []
    if outcome.gear_change:
        way = "up" if outcome.gear_change > 0 else "down"
        told = f"engine speed {way} {abs(100 * outcome.gear_change):.1f} % at the same road speed"
        lines.append(row("gear", told))
    heights = outcome.ride_heights
    if heights is not None and np.max(np.abs(np.array(heights))) > 1e-6:
        for name, left, right in (
            ("front", heights.left_front, heights.right_front),
            ("rear", heights.left_rear, heights.right_rear),
        ):
            told = f"left {screen.fine(left, signed=True)}, right {screen.fine(right, signed=True)}"
            lines.append(row(f"{name} ride height", told))
    if not lines:
        return []
    held = ", bite held" if outcome.holds else ""
    return [f"Side effects{held} (estimates)", *lines]


# bite --learn


def rate_text(name: str, rate: float) -> str:
    """A rate as a car file holds it: pounds per inch of stagger, or per turn."""
    value = float(pounds(rate * (1.0 if "jacks" in name else INCH)))
    return f"{value:.1f} lb" if value >= 1 else f"{value:.2g} lb"


def _rate_words(name: str, rate: float, screen: Screen) -> str:
    return f"{screen.weight(rate, 1)}/turn" if "jacks" in name else screen.weight_rate(rate)


def learned_json(learned: Learned, written: dict[str, str], kept: Path | None) -> dict[str, Any]:
    """The result of `bite --learn`; keys end in their unit."""
    rates: dict[str, Any] = {}
    for name, rate in learned.rates.items():
        per, unit = ("lb_per_turn", 1.0) if "jacks" in name else ("lb_per_in", INCH)
        rates[name.replace(" ", "_")] = {
            f"rate_{per}": pounds(rate.value * unit),
            f"low_{per}": pounds((rate.value - rate.half_width) * unit),
            f"high_{per}": pounds((rate.value + rate.half_width) * unit),
            "sure": rate.is_sure,
        }
    run = learned.next_session
    step = {} if run is None else {f"step_{'turns' if 'jacks' in run.moved else 'in'}": run.step}
    return {
        "sessions": learned.sessions,
        "rates": rates,
        "never_moved": learned.never_moved,
        "always_moved_together": learned.tied,
        "too_few_sessions": learned.too_few,
        "pad_noise_lb": None if learned.pad_noise is None else pounds(learned.pad_noise),
        "next_session": run and {"like": run.like, "change": run.moved, **step},
        "written": written,
        "old_file": None if kept is None else str(kept),
    }


def learned_screen(
    car: Car, learned: Learned, written: dict[str, str], kept: Path | None, screen: Screen
) -> str:
    """The result of `bite --learn` for a racer."""
    lines = [f"{car.name}: bite learned from {learned.sessions} scale sessions", ""]
    lines += [
        row(name, _learned_words(name, rate.value, rate.half_width, rate.is_sure, screen))
        for name, rate in learned.rates.items()
    ]
    lines += _refusals(learned)
    if learned.pad_noise is not None:
        noise = f"about {screen.weight(learned.pad_noise, 1)}, as these sessions show it"
        lines += ["", row("scatter of one pad", noise)]
    if learned.next_session is not None:
        lines += ["", paragraph(_next_words(learned, screen))]
    if written:
        told = ", ".join(f"{key} {value}" for key, value in written.items())
        lines += ["", paragraph(f"Written into the car file: {told}. The old file is {kept}")]
    return "\n".join(lines)


def _learned_words(name: str, rate: float, half: float, sure: bool, screen: Screen) -> str:
    low, high = (_rate_words(name, rate + side * half, screen) for side in (-1, 1))
    told = f"{_rate_words(name, rate, screen)}, between {low} and {high} 95 times in 100"
    if sure:
        return told
    if rate + half < 0:
        return f"{told}; the wrong way round: check left and right in the sessions"
    return f"{told}; not sure enough to use"


def _refusals(learned: Learned) -> list[str]:
    if learned.too_few:
        return [row("no figures", "too few sessions to tell a rate from the scatter of the pads")]
    lines = [row(name, "no figure: it never moved") for name in learned.never_moved]
    lines += [
        row(name, "no figure: it always moved together with "
            + " and ".join(other for other in group if other != name))
        for group in learned.tied
        for name in group
    ]  # fmt: skip
    if learned.alone:
        told = "the only session with the driver in, or out: nothing to compare it with"
        lines.append(row("left aside", told))
    return lines


def _next_words(learned: Learned, screen: Screen) -> str:
    run = learned.next_session
    assert run is not None
    if "jacks" in run.moved:
        corner = "left rear" if "rear" in run.moved else "right front"
        what = f"the {corner} jack {_longer(run.step)}"
    else:
        verb = "more" if run.step > 0 else "less"
        what = f"{screen.tape(abs(run.step) * INCH)} {verb} {run.moved}"
    return f'Next session to run: everything as in "{run.like}", but {what}. Change nothing else.'


# tires

HOW_TO_TAPE = """\
How to tape well (common practice):
  Same gauge, same pressure, wheel off the ground, tire cold and left to settle after
  airing up.
  Hook the tape on the middle of the tread, lay it flat and square around the crown, pull
  it as hard every time, read it at eye level. Unhook and tape again, three times.
  A taping at a second pressure, two psi or more away, shows how much this tire grows with
  pressure. Stay inside the tire maker's pressures."""
CORNER_INITIALS = {corner: "".join(w[0] for w in corner.split("_")).upper() for corner in CORNERS}
"""LF, RF, LR, RR."""
AIM_WORDS = {
    "stagger": "rear stagger",
    "bite": "bite",
    "gear": "gear",
    "wheel": "wheels to change",
    "unlike": "unlike tires",
}


def pick_json(pick: Pick) -> dict[str, Any]:
    """One set of four; keys end in their unit."""
    return {
        **pick.names,
        "rear_stagger_in": inches(pick.rear_stagger),
        "front_stagger_in": inches(pick.front_stagger),
        "bite_lb": pounds(pick.bite),
        "bite_change_lb": pounds(pick.bite_change),
        "gear_change_pct": 100 * pick.gear_change,
        "wheel_changes": pick.wheel_changes,
        "score": pick.score,
        "rank": pick.rank or None,
        "points": pick.points,
        "rollouts_in": _corners_in(pick.rollouts),
        "hot_rear_stagger_in": _inches_or_none(pick.hot_stagger(REAR)),
        "hot_front_stagger_in": _inches_or_none(pick.hot_stagger(FRONT)),
    }


def _inches_or_none(metres: float | None) -> Real | None:
    return None if metres is None else inches(metres)


def tires_json(choice: Choice, outcome: Outcome, own: OwnSet | None) -> dict[str, Any]:
    """The result of `tires`; keys end in their unit."""
    best, heights, told = choice.aim.recommendation, outcome.ride_heights, doubts(choice)
    to_look_for = {} if choice.in_reach else choice.to_look_for()
    return {
        "rack": choice.rack.name,
        "car": choice.car.name,
        "target_in": inches(choice.aim.stagger),
        "band_in": None if best is None else [inches(end) for end in best.band],
        "picks": [pick_json(pick) for pick in choice.picks],
        "tied_for_first": choice.tied,
        "sets_considered": choice.considered,
        "target_in_reach": choice.in_reach,
        "nearest": pick_json(choice.nearest),
        "look_for_in": {corner: inches(rollout) for corner, rollout in to_look_for.items()},
        "first": {
            "pads": pads_json(outcome.then),
            "holds": [_hold_json(hold) for hold in outcome.holds],
            "ride_height_change_in": None if heights is None else _corners_in(heights),
            "front_stagger_change_in": inches(outcome.change.front_stagger),
        },
        "why": None if own is None else {
            **pick_json(own.pick), "better_sets": own.better, "broken_rules": own.broken,
        },
        "questioned_readings": [
            {"tire": name, "reading_in": inches(one), "others_in": inches(mean)}
            for name, one, mean in told.readings
        ],
    }  # fmt: skip


def tires_screen(choice: Choice, outcome: Outcome, own: OwnSet | None, screen: Screen) -> str:
    """The result of `tires` for a racer: what to bolt on, the best ten, the first in full."""
    parts = [
        _tires_answer(choice, screen),
        _best_lines(choice, screen),
        _first_lines(choice, outcome, screen),
        _pad_lines(outcome, screen),
        _left_over_lines(choice, outcome, screen),
        _why_lines(choice, own, screen),
        _doubt_lines(choice, screen),
        list(map(paragraph, CAUTIONS)),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part)


def initials(pick: Pick) -> str:
    """A set in a line: ``LF A1, RF B1, LR L4, RR R7``."""
    return ", ".join(f"{CORNER_INITIALS[corner]} {name}" for corner, name in pick.names.items())


def _tires_answer(choice: Choice, screen: Screen) -> list[str]:
    first = choice.picks[0]
    wheels = first.wheel_changes
    count = f"{wheels} wheel{'' if wheels == 1 else 's'} to change" if wheels else "as it stands"
    lines = [
        f"Bolt on: {initials(first)}",
        f"  rear stagger {screen.tape(first.rear_stagger)}, front "
        f"{screen.tape(first.front_stagger)}, bite {screen.weight(first.bite)} "
        f"({screen.weight(first.bite_change, signed=True)}), {count}",
        paragraph(_wanted_words(choice, screen), "  "),
    ]
    if choice.tied > 1:
        lines.append(f"  Note: {choice.tied} sets tie for the best score.")
    return lines + [paragraph(note, "  ") for note in _reach_notes(choice, screen)]


def _wanted_words(choice: Choice, screen: Screen) -> str:
    aim, car = choice.aim, choice.car.name
    if aim.baseline is None:
        return f"{car}: wanted {screen.tape(aim.stagger)}"
    found = aim.baseline
    band = " to ".join(screen.tape(end) for end in found.stagger.band)
    return (f"{car} at {found.track.name}, {found.condition.name}, {found.groove.name} groove: "
            f"wanted {screen.tape(aim.stagger)}, as good {band}")  # fmt: skip


def _reach_notes(choice: Choice, screen: Screen) -> list[str]:
    first, nearest = choice.picks[0], choice.nearest
    target = screen.tape(choice.aim.stagger)
    near = f"{initials(nearest)} with {screen.tape_or_fine(nearest.rear_stagger)}"
    if not choice.in_reach:
        right, left = (
            _look_words(choice, corner, screen) for corner in ("right_rear", "left_rear")
        )
        return [
            f"Note: no set of this rack reaches {target}. The nearest is {near}. At the tire truck "
            f"look for {right}, or {left}."
        ]
    if not choice.aim.reached(first.rear_stagger):
        return [
            f"Note: {target} can be reached, but costs more elsewhere: {near}. --weigh-stagger 2 "
            "makes stagger count for more."
        ]
    return []


def _look_words(choice: Choice, corner: str, screen: Screen) -> str:
    other = "left_rear" if corner == "right_rear" else "right_rear"
    rollout = screen.tape(choice.to_look_for()[corner])
    return (f"a {corner_words(corner)} of {rollout}{_at(choice, corner, screen)} to go with "
            f"{choice.nearest.names[other]}")  # fmt: skip


def _at(choice: Choice, corner: str, screen: Screen) -> str:
    pressure = choice.rack.running_pressure
    return "" if pressure is None else f" at {screen.pressure(getattr(pressure, corner))}"


def _best_lines(choice: Choice, screen: Screen) -> list[str]:
    picks = choice.picks
    wide = max(4, *(len(tire.name) for pick in picks for tire in pick.tires)) + 1
    names = "".join(f"{short:<{wide}}" for short in CORNER_INITIALS.values())
    one = len(picks) == 1
    head = "The only set" if choice.considered == 1 else f"The best {'' if one else len(picks)}"
    ranks = [pick.rank for pick in picks]

    def line(pick: Pick) -> str:
        rank = f"{pick.rank}{'=' if ranks.count(pick.rank) > 1 else ''}"
        tires = "".join(f"{tire.name:<{wide}}" for tire in pick.tires)
        bite = f"{screen.weight(pick.bite)} ({screen.weight(pick.bite_change, signed=True)})"
        return (
            f"  {rank:<4}{tires}{screen.tape(pick.rear_stagger):>10}"
            f"{screen.tape(pick.front_stagger):>10}{bite:>18}"
            f"{100 * pick.gear_change:>+7.1f}%{pick.wheel_changes:>8}{pick.score:>8.2f}"
        )

    return [
        f"{head.strip()} of {choice.considered:,} sets; points, the fewer the better",
        f"  {'':<4}{names}{'rear':>10}{'front':>10}{'bite (change)':>18}{'gear':>8}{'wheels':>8}"
        f"{'points':>8}",
        *map(line, picks),
    ]


def _first_lines(choice: Choice, outcome: Outcome, screen: Screen) -> list[str]:
    first, rack = choice.picks[0], choice.rack
    on_car = dict(zip(CORNERS, rack.on_car(), strict=True))
    lines = ["The first in full"]
    for corner, tire in zip(CORNERS, first.tires, strict=True):
        rollout = screen.tape_or_fine(getattr(first.rollouts, corner))
        moved = _move_words(rack, tire, corner, on_car[corner])
        told = f"{tire.name}, {rollout}{_at(choice, corner, screen)}: {moved}"
        lines.append(row(corner_words(corner), told))
    lines += [
        row(f"{name} stagger", _stagger_words(choice, axle, cold, filed, screen))
        for name, axle, cold, filed in (
            ("rear", REAR, first.rear_stagger, choice.car.rear.stagger),
            ("front", FRONT, first.front_stagger, choice.car.front.stagger),
        )
    ]
    points = ", ".join(f"{AIM_WORDS[aim]} {points:.2f}" for aim, points in first.points.items())
    return [*lines, row("points", points), *_side_effect_lines(outcome, screen)[1:]]


def _move_words(rack: Rack, tire: RackTire, corner: str, there: int) -> str:
    if tire.on_car == corner:
        return "stays on"
    comes = f"comes from the {corner_words(tire.on_car)}" if tire.on_car else "from the rack"
    off = f", {rack.tires[there].name} off" if there >= 0 else ""
    note = f"; {tire.note}" if tire.note else ""
    return f"{comes}{off}{note}"


def _stagger_words(
    choice: Choice, axle: tuple[int, int], cold: float, filed: Real, screen: Screen
) -> str:
    told = f"{screen.fine(cold)} cold, {screen.fine(cold - filed, signed=True)} from the car file"
    hot = choice.picks[0].hot_stagger(axle)
    if hot is not None:
        return f"{told}; {screen.fine(hot)} hot, as taped"
    if axle == REAR and choice.car.tire.growth:
        grown = cold + float(choice.car.tire.growth)
        return f"{told}; about {screen.fine(grown)} hot, with the growth of the car file"
    return f"{told}; hot not known, tape both tires hot"


def _left_over_lines(choice: Choice, outcome: Outcome, screen: Screen) -> list[str]:
    first = choice.picks[0]
    if not outcome.holds:
        return []
    left = screen.weight(first.bite_change, signed=True)
    hold = _hold_words(outcome.holds[0], screen)
    others = [f"or {_hold_words(hold, screen)}" for hold in outcome.holds[1:2]]
    return [
        paragraph(f"Bite left over, {left}. To put it back: {hold}"),
        *(paragraph(other, "  ") for other in others),
    ]


def _why_lines(choice: Choice, own: OwnSet | None, screen: Screen) -> list[str]:
    if own is None:
        return []
    first, yours = choice.picks[0], own.pick

    def line(label: str, one: str, other: str) -> str:
        return f"  {label:<{LABEL_WIDTH}}{one:>26}{other:>26}"

    def cells(pick: Pick) -> dict[str, str]:
        return {
            "stagger": screen.tape_or_fine(pick.rear_stagger),
            "bite": screen.weight(pick.bite_change, 1, signed=True),
            "gear": f"{100 * pick.gear_change:+.1f}%",
            "wheel": str(pick.wheel_changes),
            "unlike": f"{pick.unlike:.1f}",
        }

    one, other = cells(first), cells(yours)
    better = f"{own.better:,} of {choice.considered:,} sets score better"
    return [
        line("Your set and the first", "first", "yours")[2:],
        line("", ", ".join(first.names.values()), ", ".join(yours.names.values())),
        *(
            line(AIM_WORDS[aim], f"{one[aim]} = {first.points[aim]:.2f}",
                 f"{other[aim]} = {yours.points[aim]:.2f}")
            for aim in first.points
        ),
        line("points", f"{first.score:.2f}", f"{yours.score:.2f}"),
        f"  {better}",
        *(paragraph(f"Not allowed: {rule}", "  ") for rule in own.broken),
    ]  # fmt: skip


def _doubt_lines(choice: Choice, screen: Screen) -> list[str]:
    told = doubts(choice)
    notes = [_questioned_words(name, one, mean, screen) for name, one, mean in told.readings]
    if not any(tire.on_car for tire in choice.rack.tires):
        notes.append("no tire is marked on_car, so that every wheel counts as changed")
    if told.taped_hot_only:
        notes.append(f"{', '.join(told.taped_hot_only)}: only taped hot, not used; tape it cold")
    if told.no_pressure:
        notes.append(f"{', '.join(told.no_pressure)}: no pressure written down, taken as taped")
    notes += [
        f"{name}: moved by {screen.fine(by, signed=True)} to the running pressure with "
        f"{screen.fine(choice.rack.growth * PSI)} per psi, not its own; tape it there"
        for name, by in told.far_corrected
    ]
    notes += [
        f"{corner_words(corner)}: {name} on the car is {screen.tape(rollout)}, the car file has "
        f"{screen.tape(filed)}; bite and gear are against the car file"
        for corner, name, rollout, filed in told.not_as_filed
    ]
    return ["Notes on the rack", *(paragraph(note, "  ") for note in notes)] if notes else []


def _questioned_words(name: str, reading: float, mean: float, screen: Screen) -> str:
    return (
        f"{name}: a reading of {screen.tape_or_fine(reading)} is off from the others "
        f"({screen.fine(mean)}): did the tape wander or the hook slip? Tape it again"
    )


# tires tape


def tape_json(rack: Rack, tire: RackTire) -> dict[str, Any]:
    """The taping just written; keys end in their unit."""
    new = tire.tapings[-1]
    growth = tire.own_growth
    return {
        "tire": tire.name,
        "readings_in": [inches(one) for one in new.readings],
        "mean_in": inches(new.mean),
        "spread_in": inches(new.spread),
        "questioned_in": [inches(one) for one in new.doubtful],
        "pressure_psi": None if new.pressure is None else new.pressure / PSI,
        "hot": new.is_hot,
        "date": new.date,
        "tapings": len(tire.tapings),
        "growth_in_per_psi": inches((rack.growth if growth is None else growth) * PSI),
        "growth_source": "default" if growth is None else "own",
    }


def tape_screen(rack: Rack, tire: RackTire, screen: Screen) -> str:
    """The taping just written, for a racer."""
    new = tire.tapings[-1]
    count = len(new.readings)
    lines = [
        f"{tire.name}: {screen.tape_or_fine(new.mean)}",
        row("readings", ", ".join(screen.tape_or_fine(one) for one in new.readings)),
        row("spread", screen.fine(new.spread) if count > 1 else "one reading; take three"),
        row("taped", _when_words(new, screen)),
    ]
    alike = [one for one in tire.tapings[:-1] if one.is_hot == new.is_hot]
    if alike:
        before = alike[-1]
        told = screen.fine(new.mean - before.mean, signed=True)
        lines.append(row("against the last taping", f"{told} ({_when_words(before, screen)})"))
    lines.append(row("growth with pressure", _growth_words(rack, tire, screen)))
    if not new.is_hot and rack.running_pressure is not None:
        lines += [
            row(f"on the {corner_words(corner)}",
                f"{screen.fine(cold_rollout(rack, tire, corner))} cold"
                f"{f' at {screen.pressure(getattr(rack.running_pressure, corner))}'}")
            for corner in tire.corners
        ]  # fmt: skip
    left_out = "" if len(new.trusted) == count else " It is left out of the mean, not of the file."
    lines += [
        paragraph(_questioned_words(tire.name, one, new.mean, screen) + "." + left_out, "  ")
        for one in new.doubtful
    ]
    return "\n".join(lines)


def _when_words(taping: Taping, screen: Screen) -> str:
    parts = [
        "hot" if taping.is_hot else "cold",
        "pressure not written down"
        if taping.pressure is None
        else screen.pressure(taping.pressure),
        "" if taping.temperature is None else screen.temperature(taping.temperature),
        taping.date,
    ]
    return ", ".join(part for part in parts if part)


def _growth_words(rack: Rack, tire: RackTire, screen: Screen) -> str:
    growth = tire.own_growth
    if growth is not None:
        return f"{screen.fine(growth * PSI)} per psi, its own"
    return (f"{screen.fine(rack.growth * PSI)} per psi, not its own; tape it at a second pressure "
            "to find that")  # fmt: skip


# feel

FELT_WORDS = {
    "spins": "the rear tires spin: that is missing forward drive, not a stagger fault",
    "pushes": "pushes, drifts out: wheel",
    "steers itself": "hooks up but crabs, turns left by itself: wheel",
    "nothing": "nothing of the stagger to feel",
}
ENTRY_WORDS = {"pushes": "will not turn in: wheel", "steers itself": "turns in by itself: wheel"}
"""Going in, with the brakes on."""


def feel_json(result: FeelCase) -> dict[str, Any]:
    """The result of `feel`; keys end in their unit, to the left is positive."""
    cases = []
    for case, phases in enumerate(_feel_rows(result)):
        cases.append(
            {
                "stagger_in": inches(result.held.staggers[case]),
                "bite_held_lb": pounds(result.held.bite[case]),
                "bite_free_lb": pounds(result.free.bite[case]),
                "phases": [_phase_json(*phase) for phase in phases],
            }
        )
    return {
        "track": result.track.name,
        "car": result.car.name,
        "condition": result.condition.name,
        "groove": result.groove.name,
        "pace": result.pace,
        "steering_ratio": result.car.steering_ratio,
        "slip_stiffness": result.condition.slip_stiffness,
        "staggers": cases,
    }


_PhaseRow = tuple[PhaseFeel, PhaseFeel, PhaseFeel, PhaseFeel]
"""A phase with the bite held, with it free, on softer and on stiffer tires."""


def _feel_rows(result: FeelCase) -> list[list[_PhaseRow]]:
    """For each stagger and phase: bite held, bite free, softer, stiffer."""
    held, free, softer, stiffer = (
        feel_by_phase(feel) for feel in (result.held, result.free, result.softer, result.stiffer)
    )

    return [
        list(zip(*(feel[case] for feel in (held, free, softer, stiffer)), strict=True))
        for case in range(len(held))
    ]


def _phase_json(
    held: PhaseFeel, free: PhaseFeel, softer: PhaseFeel, stiffer: PhaseFeel
) -> dict[str, Any]:
    changes = {
        f"steering_change{name}_deg": degrees(one.steering_change)
        for name, one in (
            ("", held), ("_bite_free", free), ("_softer", softer), ("_stiffer", stiffer)
        )
    }  # fmt: skip
    told = {
        "phase": held.phase,
        "felt": held.felt,
        "mismatch_in": inches(held.mismatch),
        "steering_wheel_deg": degrees(held.steering_wheel),
        **changes,
        "axle_moment_lbft": pound_feet(held.moment),
        "axle_moment_change_lbft": pound_feet(held.moment_change),
        "front_force_change_lb": pounds(held.front_force),
        "thrust_left_lb": pounds(held.thrust_left),
        "thrust_right_lb": pounds(held.thrust_right),
        "front_grip_used_share": held.front_used,
        "rear_grip_used_share": held.rear_used,
        "scrub_power_hp": horsepower(held.scrub_power),
        "demand_held_share": held.holds,
        "demand_lowered_share": held.lowered,
        "no_balance_share": held.lost,
        "wheelspin_share": held.spinning,
        "wheelspin_flat_out_share": held.spinning_flat_out,
    }
    return {
        key: None if isinstance(value, float) and not np.isfinite(value) else value
        for key, value in told.items()
    }


def feel_screen(result: FeelCase, screen: Screen) -> str:
    """The result of `feel` for a racer: what he feels of each stagger, then the figures."""
    rows = _feel_rows(result)
    return "\n".join(
        [
            "What the driver feels of each rear stagger",
            f"  driven at {result.pace:.0%} of the speed that the tires can hold",
            f"  {result.car.name} at {result.track.name}, {result.condition.name}, "
            f"{result.groove.name} groove",
            *(line for phases in rows for line in ("", *_felt_lines(phases, screen))),
            "",
            *_feel_notes(result, rows),
            "",
            "Steering wheel against the same car with zero mismatch, degrees, further left +",
            *columns(_wheel_table(rows, screen)),
            "",
            "Rear axle: moment to the left +, what the mismatch adds of it, and that as a side",
            "force at the front axle",
            *columns(_axle_table(rows, screen)),
            "",
            "Grip used, what the four tires lose more by sliding than with zero mismatch, and",
            "flat out: the share of the estimated lap's energy that is held, and wheelspin",
            *columns(_grip_table(rows, screen)),
            "",
            *map(paragraph, CAUTIONS),
        ]
    )


def _felt_lines(phases: list[_PhaseRow], screen: Screen) -> list[str]:
    lines = [f"{screen.tape(phases[0][0].stagger)}"]
    for held, *_ in phases:
        words = (FELT_WORDS | (ENTRY_WORDS if held.phase == "entry" else {}))[held.felt]
        if not np.isfinite(held.holds):
            words = "no balance found: the car cannot be driven through here"
        elif words.endswith("wheel"):
            angle = screen.whole_angle(abs(held.steering_change))
            words += f" {angle} further {'left' if held.steering_change > 0 else 'right'}"
        lines.append(row(held.phase, words))
    return lines


def _feel_notes(result: FeelCase, rows: list[list[_PhaseRow]]) -> list[str]:
    """What is behind the figures, and where the car could not do what the lap asks."""
    notes = [
        "Estimates: the grip and slip stiffness of the surface and a steering ratio of "
        f"{float(result.car.steering_ratio):g} are engineering judgement unless the files give "
        "them. The last two columns of the first table show the answer with slip stiffness a "
        "third off.",
    ]
    holds = _where(rows, "holds", min)
    if _where(rows, "lowered", max):
        notes.append(
            "The tires cannot hold all that the estimated lap asks. The demand is lowered to what "
            f"they hold of its energy and acceleration: {holds}."
        )
    spins, lost = (_where(rows, name, max) for name in ("spinning_flat_out", "lost"))
    if spins:
        notes.append(
            f"Flat out the rear tires spin under power in {spins}: that is missing forward drive, "
            "not a stagger fault."
        )
    if lost:
        notes.append(f"No balance was found in {lost}; that is left out of the figures.")
    return [paragraph(note) for note in notes]


def _where(rows: list[list[_PhaseRow]], name: str, worst: Callable[[float, float], float]) -> str:
    """The worst share of each phase over the staggers, in words; empty where there is none."""
    told: dict[str, float] = {}
    for phases in rows:
        for held, *_ in phases:
            share = getattr(held, name)
            told[held.phase] = worst(told.get(held.phase, share), share)
    return ", ".join(f"{told[phase]:.0%} of {phase}" for phase in told if told[phase] > 0.005)


def _labels(held: PhaseFeel, screen: Screen, first: bool) -> list[str]:
    return [screen.tape(held.stagger) if first else "", held.phase]


def _number(value: float, form: str) -> str:
    return format(value, form) if np.isfinite(value) else "-"


def _wheel_table(rows: list[list[_PhaseRow]], screen: Screen) -> list[list[str]]:
    table = [
        ["stagger", "phase", "mismatch", "wheel at", "bite held", "bite free", "softer", "stiffer"]
    ]
    for phases in rows:
        for i, (held, *others) in enumerate(phases):
            changes = [float(degrees(one.steering_change)) for one in (held, *others)]
            table.append(
                [*_labels(held, screen, i == 0), screen.fine(held.mismatch, signed=True),
                 _number(float(degrees(held.steering_wheel)), "+.0f"),
                 *(_number(change, "+.1f") for change in changes)]
            )  # fmt: skip
    return table


def _axle_table(rows: list[list[_PhaseRow]], screen: Screen) -> list[list[str]]:
    table = [
        ["stagger", "phase", "moment", "by mismatch", "at the front", "left rear", "right rear"]
    ]
    for phases in rows:
        for i, (held, *_) in enumerate(phases):
            table.append(
                [*_labels(held, screen, i == 0),
                 screen.moment(held.moment, signed=True),
                 screen.moment(held.moment_change, signed=True),
                 screen.weight(held.front_force, signed=True),
                 screen.weight(held.thrust_left), screen.weight(held.thrust_right)]
            )  # fmt: skip
    return table


def _grip_table(rows: list[list[_PhaseRow]], screen: Screen) -> list[list[str]]:
    table = [["stagger", "phase", "front", "rear", "scrub", "held", "wheelspin"]]
    for phases in rows:
        for i, (held, *_) in enumerate(phases):
            table.append(
                [*_labels(held, screen, i == 0),
                 _number(held.front_used, ".0%"), _number(held.rear_used, ".0%"),
                 screen.power(held.scrub_power),
                 _number(held.holds, ".0%"), _number(held.spinning_flat_out, ".0%")]
            )  # fmt: skip
    return table


# notebook

SAYS_WORDS = {1: "more", 0: "leave it", -1: "less", None: ""}


def clean_text(text: str | None, longest: int = 60) -> str:
    """What was typed, fit for one cell of a screen: one line, nothing that moves the cursor."""
    line = " ".join((text or "").split())
    if not line.isprintable():
        line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
    return line if len(line) <= longest else line[: longest - 3] + "..."


def page_json(page: "Page") -> dict[str, Any]:
    """A run of the notebook; keys end in their unit."""
    return {"number": page.number, "revision": page.revision, **run_json(page.run)}


def run_json(run: "Run") -> dict[str, Any]:
    from sim.runs import run_out

    stagger = {"rear_stagger": run.rear_stagger, "front_stagger": run.front_stagger}
    derived = {f"{name}_in": _none_or(value, inches) for name, value in stagger.items()}
    return {**run_out(run), **derived, "bite_lb": _none_or(run.bite, pounds)}


def _none_or(value: float | None, convert: Callable[[float], Any]) -> Any:
    return None if value is None else convert(value)


def _known(value: float | None, show: Callable[[float], str]) -> str:
    return "" if value is None else show(value)


def _lap_words(seconds: float | None) -> str:
    return _known(seconds, lambda lap: f"{lap:.2f} s")


def list_screen(pages: "Sequence[Page]", screen: Screen) -> str:
    """Runs, one a line."""
    from sim.nights import driver_says

    if not pages:
        return "No such runs in the notebook."
    rows = [["no", "when", "track", "car", "run", "surface",
             "stagger", "advised", "bite", "best", "driver"]]  # fmt: skip
    for page in pages:
        run = page.run
        rows.append([
            str(page.number), f"{run.when:%Y-%m-%d %H:%M}", clean_text(run.track, 16),
            clean_text(run.car, 14), clean_text(run.session, 10), run.condition or "",
            _known(run.rear_stagger, screen.tape), _known(run.recommended_stagger, screen.tape),
            _known(run.bite, screen.weight), _lap_words(run.best_lap),
            SAYS_WORDS[driver_says(run)],
        ])  # fmt: skip
    return "\n".join([*columns(rows, 6), f"{len(pages)} run{'s' * (len(pages) != 1)}"])


def added_screen(number: int, run: "Run", screen: Screen) -> str:
    """What was written down, in short, so that a slip is seen at once."""
    head = f"Run {number} is in the notebook: {clean_text(run.track)}, {clean_text(run.car)}"
    parts = [
        run.condition or "surface not said",
        _known(run.rear_stagger, lambda value: f"rear stagger {screen.tape(value)}"),
        _known(run.recommended_stagger, lambda value: f"advised {screen.tape(value)}"),
        _known(run.bite, lambda value: f"bite {screen.weight(value)}{_pads_words(run)}"),
        _known(run.best_lap, lambda value: f"best {_lap_words(value)}"),
    ]
    return "\n".join([head, paragraph(", ".join(part for part in parts if part), "  ")])


def _pads_words(run: "Run") -> str:
    if run.weights_from != "predicted":
        return ""
    return " (predicted: the pads were read with other tires or jacks)"


def show_screen(pages: "Sequence[Page]", screen: Screen) -> str:
    """All of a run, then what it was before."""
    run = pages[-1].run
    lines = [
        f"Run {pages[-1].number}: {clean_text(run.track)}, {run.when:%Y-%m-%d %H:%M}",
        *(row(label, text) for label, text in _run_rows(run, screen) if text),
    ]
    for old, new in pairwise(pages):
        was = dict(_run_rows(old.run, screen))
        now = dict(_run_rows(new.run, screen))
        changed = [
            f"{label} was {was[label] or 'not known'}" for label in was if was[label] != now[label]
        ]
        lines.append(row(f"until {new.written:%Y-%m-%d %H:%M}", "; ".join(changed)))
    return "\n".join(lines)


def _run_rows(run: "Run", screen: Screen) -> list[tuple[str, str]]:
    """Everything of a run with a label; nothing where it is not known."""
    corners = ("left_front", "right_front", "left_rear", "right_rear")

    def four(thing: str, show: Callable[[float], str]) -> str:
        values = [getattr(run, f"{corner}_{thing}") for corner in corners]
        if all(value is None for value in values):
            return ""
        cells = [_known(value, show) or "?" for value in values]
        return f"LF {cells[0]}, RF {cells[1]}, LR {cells[2]}, RR {cells[3]}"

    window = [_known(end, screen.tape) for end in (run.window_low, run.window_high)]
    answers = [words.get(getattr(run, name) or "", "") for name, words in ANSWERS.items()]
    return [
        ("when", f"{run.when:%Y-%m-%d %H:%M}"),
        ("track", clean_text(run.track)),
        ("car", clean_text(run.car)),
        ("run", clean_text(run.session)),
        ("surface", run.condition or ""),
        ("groove", clean_text(run.groove)),
        ("rear stagger", _known(run.rear_stagger, screen.tape)),
        ("front stagger", _known(run.front_stagger, screen.tape)),
        ("rollouts", four("rollout", screen.tape)),
        ("bite", _known(run.bite, screen.weight)),
        ("pads", four("weight", screen.weight)),
        ("pads are from", run.weights_from or ""),
        ("jacks", four("jack", lambda turns: f"{turns:g} turns")),
        ("pressures", four("pressure", lambda value: screen.of_kind(value, "pressure"))),
        ("rollpath advised", _known(run.recommended_stagger, screen.tape)),
        ("best by physics", _known(run.optimum_stagger, screen.fine)),
        ("window then", " to ".join(filter(None, window))),
        ("driver", ", ".join(filter(None, answers))),
        ("best lap", _lap_words(run.best_lap)),
        ("typical lap", _lap_words(run.typical_lap)),
        ("counts", run.counts or ""),
        ("note", clean_text(run.note, 20_000)),
    ]


def taken_screen(taken: "Taken") -> str:
    return (
        f"{taken.added} run{'s' * (taken.added != 1)} added, {taken.changed} changed (the old "
        f"values are kept), {taken.known} entries known already"
    )


def review_screen(
    found: "Sequence[Night]", earlier: int, taught: "Sequence[Study]", screen: Screen
) -> str:
    """What changed within nights, then what the nights teach together."""
    if not found:
        return "No such runs in the notebook."
    lines = []
    for night in found:
        lines += [*_night_lines(night, screen), ""]
    if earlier:
        lines += [f"{earlier} earlier nights: --nights 0 tells them too.", ""]
    lines.append("Over the nights")
    for study in taught:
        lines += _study_lines(study, screen)
    if not taught:
        lines.append("  no run says what the surface was")
    return "\n".join(lines)


def _night_lines(night: "Night", screen: Screen) -> list[str]:
    count = len(night.runs)
    head = f"{clean_text(night.track)}, {night.day:%Y-%m-%d}, {clean_text(night.car)}"
    lines = [f"{head}: {count} run{'s' * (count != 1)}"]
    for step in night.steps:
        label = f"run {step.before.number} to {step.after.number}"
        lines.append(row(label, _step_words(step, screen)))
        if step.is_confounded:
            lines.append(row("", _trial_words(step, screen)))
    return lines


def _step_words(step: "Step", screen: Screen) -> str:
    from sim.nights import driver_says

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


def _trial_words(step: "Step", screen: Screen) -> str:
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


def setting_words(thing: "Thing", value: "Setting", screen: Screen) -> str:
    """A setting of a thing that matters, as a racer says it."""
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, tuple):
        if thing.kind == "turns":
            return "/".join(_known(turns, "{:g}".format) or "?" for turns in value) + " turns"
        cells = ["?" if one is None else screen.of_kind(one, "pressure") for one in value]
        unit = next(cell for cell in cells if cell != "?").split()[1]
        return "/".join(cell.split()[0] for cell in cells) + " " + unit
    return screen.tape(value) if thing.kind == "tape" else screen.weight(value)


def _study_lines(study: "Study", screen: Screen) -> list[str]:
    counted = [point for point in study.points if point.page.run.off_optimum is not None]
    said = [point.said for point in study.points]
    lines = [f"  {clean_text(study.car)}, {clean_text(study.condition)}"]
    if counted:
        mean = float(np.mean([point.page.run.off_optimum for point in counted]))
        lines.append(row("  fitted less physics", f"{screen.fine(mean, signed=True)} on average"))
    told = ", ".join(f"{SAYS_WORDS[one]} {said.count(one)}" for one in (1, 0, -1))
    lines += [row("  driver asked for", told), row("  clean runs", str(study.clean_runs))]
    if study.correction is None:
        return [*lines, row("  correction", f"none: {study.reason}")]
    return [*lines, row("  correction", correction_words(study.correction, screen))]


def correction_words(found: "Correction", screen: Screen) -> str:
    low, high = (screen.fine(end, signed=True) for end in found.interval)
    return (
        f"{screen.fine(found.stagger, signed=True)} ({low} to {high}, 99 in 100) from "
        f"{found.clean_runs} clean runs; `rollpath baseline --book` puts it on the physics"
    )


def lesson_words(study: "Study", physics: Baseline, screen: Screen) -> str:
    """What the nights of a car in a condition add to the physics, or why nothing."""
    found = study.correction
    if found is None:
        return f"Your own nights, {study.condition}: no correction; {study.reason}."
    low, high = (screen.fine(end, signed=True) for end in found.interval)
    return (
        f"By physics alone {screen.tape(physics.stagger.recommended)}. Your own nights, "
        f"{found.condition}: {screen.fine(found.stagger, signed=True)} ({low} to {high}, 99 in "
        f"100, {found.clean_runs} clean runs). The stagger above has it in; scrub is by physics."
    )


def lesson_json(study: "Study", physics: Baseline) -> dict[str, Any]:
    """`correction` beside the corrected `stagger`, with what the physics says alone."""
    best = physics.stagger
    found = correction_json(study.correction)
    return {
        "correction": found and {**found, "condition": study.condition},
        "correction_reason": study.reason or None,
        "clean_runs": study.clean_runs,
        "physics": {
            "recommended_in": inches(best.recommended),
            "optimum_in": inches(best.optimum),
            "unbounded_in": inches(best.unbounded),
        },
    }


def correction_json(found: "Correction | None") -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "stagger_in": inches(found.stagger),
        "interval_in": [inches(end) for end in found.interval],
        "clean_runs": found.clean_runs,
    }


_JSON_UNITS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "tape": ("_in", inches),
    "weight": ("_lb", pounds),
    "pressures": (
        "_psi",
        lambda values: [_none_or(value, psi) for value in values],
    ),
    "turns": ("_turns", list),
    "word": ("", str),
}


def _setting_json(name: str, thing: "Thing", value: "Setting") -> dict[str, Any]:
    ending, convert = _JSON_UNITS[thing.kind]
    return {f"{name}{ending}": convert(value)}


def _step_json(step: "Step") -> dict[str, Any]:
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
        "lap_gain_s": step.lap_gain if step.lap_gain == step.lap_gain else None,
    }


def review_json(found: "Sequence[Night]", taught: "Sequence[Study]") -> dict[str, Any]:
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
                "condition": study.condition,
                "clean_runs": study.clean_runs,
                "correction": correction_json(study.correction),
                "reason": study.reason or None,
                "runs": [
                    {
                        "number": point.page.number,
                        "clean": point.clean,
                        "driver": SAYS_WORDS[point.said] or None,
                        "off_optimum_in": _none_or(point.page.run.off_optimum, inches),
                    }
                    for point in study.points
                ],
            }
            for study in taught
        ],
    }


# survey

NO_OVAL = (
    "Note: this track is no plain oval. The log keeps a bulge or dent of up to {bulge} that no two "
    "corners and two straights explain: a dogleg, a bent straight, or the like. Use the measured "
    "path as the groove (--points) rather than the oval alone."
)
BANK_NOTE = "Bank is not measured here: add it to the track file before you trust a number."
UNKNOWN_LINE = (
    "Nobody says which line this lap length belongs to; a length that is advertised is often none "
    "of these. The inside edge was taken, and the tolerance has room for the others."
)


def survey_json(survey: Survey) -> dict[str, Any]:
    """The result of `survey`; keys end in their unit."""
    fit = survey.fit
    result = {
        "method": survey.method,
        "inside_radius_ft": [feet(radius) for radius in survey.inside_radius],
        "straight_ft": feet(survey.straight),
        "bow_ft": feet(survey.bow),
        "width_ft": None if survey.width is None else feet(survey.width),
        "lap_ft": feet(survey.lap),
        "residual_ft": None if survey.residual is None else feet(survey.residual),
        "tolerance": {
            "inside_radius_ft": feet(survey.tolerance.inside_radius),
            "straight_ft": feet(survey.tolerance.straight),
        },
        "laps_used": survey.laps_used,
        "notes": list(survey.notes),
        "chords": [_end_json(end) for end in survey.ends],
        "lap_lines": {
            line.name.replace(" ", "_"): {
                "inside_radius_ft": None if line.radius is None else feet(line.radius)
            }
            for line in survey.lap_lines
        },
    }
    return result if fit is None else {**result, **_fit_json(survey, fit)}


def _end_json(end: ChordRadius) -> dict[str, Any]:
    return {
        "inside_radius_ft": feet(end.radius),
        "tolerance_ft": feet(end.tolerance),
        "each_ft": [feet(radius) for radius in end.each],
        "spread_ft": feet(end.spread),
        "per_inch_of_gap_ft": feet(end.by_gap),
        "per_foot_of_chord_ft": feet(end.by_chord),
        "chord_to_lay_ft": feet(chord_advice(end.radius)),
    }


def _fit_json(survey: Survey, fit: LogFit) -> dict[str, Any]:
    result = {
        "is_oval": fit.is_oval,
        "bulge_ft": feet(fit.bulge),
        "blend_ft": feet(survey.blend),
        "heading_deg": compass(fit.heading),
        "drift": {"sd_ft": feet(fit.drift[0]), "time_s": fit.drift[1]},
    }
    if fit.origin is None:
        return {**result, "centre_ft": [feet(value) for value in fit.centre]}
    # As text, because six figures of a latitude are 11 m.
    latitude, longitude = fit.centre
    return {**result, "centre_latitude_longitude_deg": f"{latitude:.7f}, {longitude:.7f}"}


def survey_screen(survey: Survey, written: Sequence[Path], screen: Screen) -> str:
    """The result of `survey` for a racer: the track, how sure, and what to do better."""
    parts = [
        _survey_answer(survey, written, screen),
        _survey_size(survey, screen),
        [line for end in survey.ends for line in _end_lines(end, survey, screen)],
        _line_lines(survey, screen),
        _fit_lines(survey, screen),
        [paragraph(note) for note in _survey_notes(survey)],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part)


def _survey_answer(survey: Survey, written: Sequence[Path], screen: Screen) -> list[str]:
    first, last = (screen.distance(radius) for radius in survey.inside_radius)
    both = f"{first} both ends" if first == last else f"{first} turns 1-2, {last} turns 3-4"
    lines = [f"Inside radius: {both}; straight: {screen.distance(survey.straight)}"]
    fit = survey.fit
    if fit is not None and not fit.is_oval:
        lines.append(paragraph(NO_OVAL.format(bulge=screen.distance(fit.bulge))))
    return [*lines, *(f"  written: {path}" for path in written)]


def _survey_size(survey: Survey, screen: Screen) -> list[str]:
    radius, straight = survey.tolerance.inside_radius, survey.tolerance.straight
    width = "not given" if survey.width is None else screen.distance(survey.width)
    return [
        "The track (nine times in ten within the give or take):",
        row("radius, give or take", screen.distance(radius, 1)),
        row("straight, give or take", screen.distance(straight, 1)),
        row("straights bow out", screen.distance(survey.bow, 1)),
        row("width", width),
        row("lap along the inside edge", screen.distance(survey.lap)),
    ]


def _end_lines(end: ChordRadius, survey: Survey, screen: Screen) -> list[str]:
    name = "both ends"
    if len(survey.ends) == 2:
        name = "turns 1-2" if end is survey.ends[0] else "turns 3-4"
    advice, inch, foot = (
        chord_advice(end.radius), screen.tape(GAP_ERROR), screen.distance(CHORD_ERROR)
    )  # fmt: skip
    better = f"lay about {screen.distance(advice)}: then {inch} of gap is 1 % of the radius"
    if end.chord > 0.95 * advice:
        better = "this chord is long enough; lay it again elsewhere in the corner and compare"
    lines = [
        f"Chords, {name}:",
        row(f"{inch} more of gap", f"radius {_change(end.by_gap, screen)}"),
        row(f"{foot} more of chord", f"radius {_change(end.by_chord, screen)}"),
        row("next time", better),
    ]
    if len(end.each) > 1:
        each = ", ".join(screen.distance(radius) for radius in end.each)
        lines.insert(1, row("each chord", f"{each}; spread {screen.distance(end.spread, 1)}"))
    return lines


def _change(metres: float, screen: Screen) -> str:
    return f"{'+' if metres > 0 else '-'}{screen.distance(abs(metres), 1)}"


def _line_lines(survey: Survey, screen: Screen) -> list[str]:
    if not survey.lap_lines:
        return []
    lines = ["If the lap length was measured along the"]
    for line in survey.lap_lines:
        if line.radius is None:
            lines.append(row(line.name, "nothing is left for the corners"))
            continue
        along = screen.distance(line.radius + line.offset)
        lines.append(
            row(line.name, f"inside radius {screen.distance(line.radius)} ({along} along it)")
        )
    return lines


def _fit_lines(survey: Survey, screen: Screen) -> list[str]:
    fit = survey.fit
    if fit is None:
        return []
    assert survey.residual is not None
    sd, forgets = fit.drift
    middle = "" if fit.origin is None else f", middle {fit.centre[0]:.5f}, {fit.centre[1]:.5f}"
    return [
        "From the log:",
        row("laps used", f"{survey.laps_used}"),
        row("points off the oval", f"{screen.distance(survey.residual, 1)} root mean square"),
        row("drift of the receiver", f"{screen.distance(sd, 1)}, lasting about {forgets:.0f} s"),
        row("blend", f"{screen.distance(survey.blend)} (a log says little about it)"),
        row("front straight heads", f"{compass(fit.heading):.0f} deg from north{middle}"),
    ]


def compass(heading: float) -> float:
    """Degrees clockwise from north of a heading counted from east, rad."""
    return float((90.0 - heading / DEGREE) % 360.0)


def _survey_notes(survey: Survey) -> list[str]:
    notes = [f"Note: {note}." for note in survey.notes]
    if survey.lap_unknown_line:
        notes.append(f"Note: {UNKNOWN_LINE}")
    return [
        *notes,
        "Bank is not measured here: add it to the track file before you trust a number.",
    ]


def survey_remarks(survey: Survey) -> list[str]:
    """Comment lines for the head of a track file."""
    how = survey.method
    if survey.laps_used:
        how += f", {survey.laps_used} lap{'s' if survey.laps_used > 1 else ''}"
    remarks = [f"Measured: {how}. Tolerances hold about nine times in ten."]
    if survey.fit is not None and not survey.fit.is_oval:
        remarks.append("No plain oval: use the measured path as the groove.")
    return [*remarks, "Bank was not measured; add: bank: {corners: 10 deg, straights: 2 deg}"]
