"""The words and figures of `rollpath notebook`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from rollpath.debrief import ANSWERS
from rollpath.screen import Screen, inches, pounds
from rollpath.show.bite import CORNER_INITIALS
from rollpath.show.words import columns, counted, lay_out, none_or, paragraph, row

if TYPE_CHECKING:
    from rollpath.book.run import Page, Run
    from rollpath.book.take import Taken

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
    from rollpath.book.exchange import run_out

    stagger = {"rear_stagger": run.rear_stagger, "front_stagger": run.front_stagger}
    derived = {f"{name}_in": none_or(value, inches) for name, value in stagger.items()}
    return {**run_out(run), **derived, "bite_lb": none_or(run.bite, pounds)}


def known_only(value: float | None, show: Callable[[float], str]) -> str:
    return "" if value is None else show(value)


def _lap_words(seconds: float | None) -> str:
    return known_only(seconds, lambda lap: f"{lap:.2f} s")


def list_screen(pages: Sequence[Page], screen: Screen) -> str:
    """Runs, one a line."""
    from rollpath.book.lessons import driver_says

    if not pages:
        return "No such runs in the notebook."
    rows = [["no", "when", "track", "car", "run", "surface",
             "stagger", "advised", "bite", "best", "driver"]]  # fmt: skip
    for page in pages:
        run = page.run
        rows.append([
            str(page.number), f"{run.when:%Y-%m-%d %H:%M}", clean_text(run.track, 16),
            clean_text(run.car, 14), clean_text(run.session, 10), run.condition or "",
            known_only(run.rear_stagger, screen.tape),
            known_only(run.recommended_stagger, screen.tape),
            known_only(run.bite, screen.weight), _lap_words(run.best_lap),
            SAYS_WORDS[driver_says(run)],
        ])  # fmt: skip
    return lay_out([*columns(rows, 6), counted(len(pages), "run")], screen)


def added_screen(number: int, run: Run, screen: Screen) -> str:
    """What was written down, in short, so that a slip is seen at once."""
    head = f"Run {number} is in the notebook: {clean_text(run.track)}, {clean_text(run.car)}"
    parts = [
        run.condition or "surface not said",
        known_only(run.rear_stagger, lambda value: f"rear stagger {screen.tape(value)}"),
        known_only(run.recommended_stagger, lambda value: f"advised {screen.tape(value)}"),
        known_only(run.bite, lambda value: f"bite {screen.weight(value)}{_pads_words(run)}"),
        known_only(run.best_lap, lambda value: f"best {_lap_words(value)}"),
    ]
    return lay_out([head, paragraph(", ".join(part for part in parts if part), "  ")], screen)


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
    return lay_out(lines, screen)


def _run_rows(run: Run, screen: Screen) -> list[tuple[str, str]]:
    """Everything of a run with a label; nothing where it is not known."""

    def four(thing: str, show: Callable[[float], str]) -> str:
        values = [getattr(run, f"{corner}_{thing}") for corner in CORNER_INITIALS]
        if all(value is None for value in values):
            return ""
        cells = [known_only(value, show) or "?" for value in values]
        told = zip(CORNER_INITIALS.values(), cells, strict=True)
        return ", ".join(f"{initial} {cell}" for initial, cell in told)

    window = [known_only(end, screen.tape) for end in (run.window_low, run.window_high)]
    answers = [words.get(getattr(run, name) or "", "") for name, words in ANSWERS.items()]
    return [
        ("when", f"{run.when:%Y-%m-%d %H:%M}"),
        ("track", clean_text(run.track)),
        ("car", clean_text(run.car)),
        ("run", clean_text(run.session)),
        ("surface", run.condition or ""),
        ("groove", clean_text(run.groove)),
        ("rear stagger", known_only(run.rear_stagger, screen.tape)),
        ("front stagger", known_only(run.front_stagger, screen.tape)),
        ("rollouts", four("rollout", screen.tape)),
        ("bite", known_only(run.bite, screen.weight)),
        ("pads", four("weight", screen.weight)),
        ("pads are from", run.weights_from or ""),
        ("jacks", four("jack", lambda turns: f"{turns:g} turns")),
        ("pressures", four("pressure", lambda value: screen.of_kind(value, "pressure"))),
        ("rollpath advised", known_only(run.recommended_stagger, screen.tape)),
        ("best by physics", known_only(run.optimum_stagger, screen.fine)),
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
