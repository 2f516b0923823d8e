"""The words and figures of `rollpath debrief`: verdict, recorded laps, and where it scrubbed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rollpath.debrief import disagreement
from rollpath.lap import PHASES
from rollpath.scales.rates import stagger_effect
from rollpath.screen import Screen, feet, inches
from rollpath.show.baseline import baseline_json, hold_words, stagger_change_words
from rollpath.show.words import (
    add_or_take_out,
    case_words,
    caution_lines,
    columns,
    finite_or_none,
    paragraph,
    row,
    sections,
)
from rollpath.units import DEGREE

if TYPE_CHECKING:
    from rollpath.car import Car
    from rollpath.debrief import Leaning, Verdict
    from rollpath.runlog.recording import Recording
    from rollpath.scales.rates import StaggerEffect
    from rollpath.stagger import Baseline

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
    return ["Recorded laps (estimates)", *lines]


def debrief_screen(
    result: Baseline,
    effect: StaggerEffect,
    verdict: Verdict | None,
    screen: Screen,
    told: Told | None = None,
) -> str:
    """A debrief: the verdict if there is one, what the lap asks for, and where it scrubbed."""
    best, now = result.stagger, float(result.car.rear.stagger)
    change = float(best.recommended) - now
    phases = [
        ["", "fitted " + screen.tape(now), "best " + screen.tape(best.recommended)],
        *(
            [f"  {name}", screen.distance(result.now.by_phase[name], 1),
             screen.distance(result.then.by_phase[name], 1)]
            for name in PHASES
        ),
        ["  whole lap", screen.distance(result.now.lap, 1), screen.distance(result.then.lap, 1)],
    ]  # fmt: skip
    return sections(
        [
            _verdict_part(verdict, result.car, screen) if verdict else [],
            recording_lines(told or Told(), screen),
            [
                f"Rear stagger the lap asks for: {screen.tape(best.recommended)}",
                f"  {stagger_change_words(change, now, screen)}",
                f"  {case_words(result)}",
                f"  {hold_words(effect, change, screen)}",
            ],
            ["Where the axle scrubbed, a lap (estimates)", *columns(phases)],
            caution_lines(),
        ],
        screen,
    )


def _verdict_part(verdict: Verdict, car: Car, screen: Screen) -> list[str]:
    """The verdict, and what holds bite when its own step is made."""
    said = [paragraph(line, "  ") for line in verdict_lines(verdict, screen)]
    if not verdict.amount:
        return ["Verdict", *said]
    hold = float(stagger_effect(car, verdict.amount).hold_front)
    step = add_or_take_out(hold, screen)
    return ["Verdict", *said, f"  to hold bite with that step: {step} of front stagger"]


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
        "grip": float(run.condition.mean_grip),
        "slip_pct": None,
        "exit_steer_deg": None,
    }
    if wheel is not None:
        data |= {
            "exit_steer_deg": finite_or_none(wheel.exit / DEGREE),
            "exit_steer_model_deg": finite_or_none(wheel.exit_model / DEGREE),
            "wheel_stagger_in": inches(wheel.alone),
            "wheel_stagger_error_in": inches(wheel.alone_error),
            "steering_zero_deg": wheel.zero / DEGREE,
        }
    if slip is not None:
        data |= {
            "slip_pct": finite_or_none(100 * slip.exit),
            "slip_straight_pct": finite_or_none(100 * slip.straight),
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
