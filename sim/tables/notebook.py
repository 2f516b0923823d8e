"""The words and figures of `rollpath notebook`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.tables.bite import CORNER_INITIALS
from sim.tables.common import columns, counted, finite_or_none, none_or, paragraph, row
from sim.units import Screen, inches, pounds, psi
from sim.verdict import ANSWERS

if TYPE_CHECKING:
    from sim.nights import Correction, Night, Setting, Step, Study, Thing
    from sim.notebook import Taken
    from sim.runs import Page, Run
    from sim.stagger import Baseline


SAYS_WORDS = {1: "more", 0: "leave it", -1: "less", None: ""}


def clean_text(text: str | None, longest: int = 60) -> str:
    """What was typed, fit for one cell of a screen: one line, nothing that moves the cursor."""
    line = " ".join((text or "").split())
    if not line.isprintable():
        line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
    return line if len(line) <= longest else line[: longest - 3] + "..."


def page_json(page: Page) -> dict[str, Any]:
    """A run of the notebook; keys end in their unit."""
    return {"number": page.number, "revision": page.revision, **run_json(page.run)}


def run_json(run: Run) -> dict[str, Any]:
    from sim.runs import run_out

    stagger = {"rear_stagger": run.rear_stagger, "front_stagger": run.front_stagger}
    derived = {f"{name}_in": none_or(value, inches) for name, value in stagger.items()}
    return {**run_out(run), **derived, "bite_lb": none_or(run.bite, pounds)}


def _known(value: float | None, show: Callable[[float], str]) -> str:
    return "" if value is None else show(value)


def _lap_words(seconds: float | None) -> str:
    return _known(seconds, lambda lap: f"{lap:.2f} s")


def list_screen(pages: Sequence[Page], screen: Screen) -> str:
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
    return "\n".join([*columns(rows, 6), counted(len(pages), "run")])


def added_screen(number: int, run: Run, screen: Screen) -> str:
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


def _pads_words(run: Run) -> str:
    if run.weights_from != "predicted":
        return ""
    return " (predicted: the pads were read with other tires or jacks)"


def show_screen(pages: Sequence[Page], screen: Screen) -> str:
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


def _run_rows(run: Run, screen: Screen) -> list[tuple[str, str]]:
    """Everything of a run with a label; nothing where it is not known."""

    def four(thing: str, show: Callable[[float], str]) -> str:
        values = [getattr(run, f"{corner}_{thing}") for corner in CORNER_INITIALS]
        if all(value is None for value in values):
            return ""
        cells = [_known(value, show) or "?" for value in values]
        told = zip(CORNER_INITIALS.values(), cells, strict=True)
        return ", ".join(f"{initial} {cell}" for initial, cell in told)

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


def taken_screen(taken: Taken) -> str:
    return (
        f"{counted(taken.added, 'run')} added, {taken.changed} changed (the old "
        f"values are kept), {taken.known} entries known already"
    )


def review_screen(
    found: Sequence[Night], earlier: int, taught: Sequence[Study], screen: Screen
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
    if isinstance(value, tuple):
        if thing.kind == "turns":
            return "/".join(_known(turns, "{:g}".format) or "?" for turns in value) + " turns"
        cells = ["?" if one is None else screen.of_kind(one, "pressure") for one in value]
        unit = next(cell for cell in cells if cell != "?").split()[1]
        return "/".join(cell.split()[0] for cell in cells) + " " + unit
    return screen.tape(value) if thing.kind == "tape" else screen.weight(value)


def _study_lines(study: Study, screen: Screen) -> list[str]:
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


def correction_words(found: Correction, screen: Screen) -> str:
    low, high = (screen.fine(end, signed=True) for end in found.interval)
    return (
        f"{screen.fine(found.stagger, signed=True)} ({low} to {high}, 99 in 100) from "
        f"{found.clean_runs} clean runs; `rollpath baseline --book` puts it on the physics"
    )


def lesson_words(study: Study, physics: Baseline, screen: Screen) -> str:
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


def lesson_json(study: Study, physics: Baseline) -> dict[str, Any]:
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


def correction_json(found: Correction | None) -> dict[str, Any] | None:
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
                "condition": study.condition,
                "clean_runs": study.clean_runs,
                "correction": correction_json(study.correction),
                "reason": study.reason or None,
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
