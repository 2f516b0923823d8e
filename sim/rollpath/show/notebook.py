"""The words and figures of `rollpath notebook`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from rollpath.feel.answers import ANSWERS
from rollpath.screen import Screen, inches, pounds
from rollpath.show.bite import CORNER_INITIALS
from rollpath.show.words import ROOMY, columns, counted, lay_out, none_or, paragraph, row

if TYPE_CHECKING:
    from rollpath.book.run import Entry, Page, Run
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


SHOWN = {False: 5, True: 20}
"""Runs of a short list on a narrow screen and on a roomy one."""


def list_screen(pages: Sequence[Page], screen: Screen) -> str:
    """Runs, one a line; the last few of them unless all is asked for."""
    if not pages:
        return "No such runs in the notebook."
    shown = pages if screen.full else pages[-SHOWN[screen.width >= ROOMY] :]
    rows = [_list_row(page, screen) for page in shown]
    headings = ["no", "night", "track", "run", "surface", "stagger", "best", "driver"]
    if screen.full:
        headings += ["time", "car", "advised", "bite"]
    left = len(pages) - len(shown)
    foot = counted(len(pages), "run") + (
        f"; the last {len(shown)} shown, --full: all" if left else ""
    )
    return lay_out([*columns([headings, *rows], 5), foot], screen)


def _list_row(page: Page, screen: Screen) -> list[str]:
    from rollpath.book.lessons import driver_says
    from rollpath.book.run import evening_of

    run = page.run
    cells = [
        str(page.number), f"{evening_of(run.when)}",
        clean_text(run.track, 14 if screen.width >= ROOMY else 60),
        clean_text(run.session, 8), run.condition or "", known_only(run.rear_stagger, screen.tape),
        _lap_words(run.best_lap), SAYS_WORDS[driver_says(run)],
    ]  # fmt: skip
    if not screen.full:
        return cells
    return [
        *cells, f"{run.when:%H:%M}", clean_text(run.car, 14),
        known_only(run.recommended_stagger, screen.tape), known_only(run.bite, screen.weight),
    ]  # fmt: skip


def added_screen(
    number: int, run: Run, screen: Screen, remarks: Sequence[tuple[str, float]] = ()
) -> str:
    """What was written down, in short, so that a slip is seen at once.

    Parameters
    ----------
    remarks : sequence of (str, float)
        What to look at again, as codes and numbers in SI: ``lap`` and the lap of the model;
        ``right_rear`` or ``left_rear`` and its rollout, reckoned from the stagger.
    """
    head = f"Run {number} is in the notebook: {clean_text(run.track)}, {clean_text(run.car)}"
    parts = [
        run.condition or "surface not said",
        known_only(run.rear_stagger, lambda value: f"rear stagger {screen.tape(value)}"),
        known_only(run.recommended_stagger, lambda value: f"advised {screen.tape(value)}"),
        known_only(run.bite, lambda value: f"bite {screen.weight(value)}{_pads_words(run)}"),
        known_only(run.best_lap, lambda value: f"best {_lap_words(value)}"),
    ]
    told = [paragraph(_remark_words(*remark, number, screen), "  ") for remark in remarks]
    return lay_out(
        [head, paragraph(", ".join(part for part in parts if part), "  "), *told], screen
    )


def _remark_words(code: str, value: float, number: int, screen: Screen) -> str:
    if code == "lap":
        return (
            f"Check the lap: the model laps here in about {_lap_words(value)}. A slip is put "
            f"right by: rollpath notebook edit {number} --best LAP"
        )
    corner = code.replace("_", " ")
    return f"The {corner} is taken as {screen.tape(value)}, from the stagger you gave."


def _pads_words(run: Run) -> str:
    if run.weights_from != "predicted":
        return ""
    return " (predicted: the pads were read with other tires or jacks)"


def show_screen(pages: Sequence[Page], screen: Screen) -> str:
    """All of a run, then what it was before."""
    run = pages[-1].run
    lines = [
        f"Run {pages[-1].number}: {clean_text(run.track)}, {run.when:%Y-%m-%d %H:%M}",
        *(
            row(label, text)
            for label, text in _run_rows(run, screen)
            if text and (screen.full or label not in REASONS)
        ),
    ]
    for old, new in pairwise(pages):
        was = dict(_run_rows(old.run, screen))
        now = dict(_run_rows(new.run, screen))
        changed = [
            f"{label} was {was[label] or 'not known'}" for label in was if was[label] != now[label]
        ]
        lines.append(row(f"until {new.written:%Y-%m-%d %H:%M}", "; ".join(changed)))
    return lay_out(lines, screen)


LABELS = {
    "session": "run", "condition": "surface", "weights_from": "pads are from",
    "recommended_stagger": "rollpath advised", "optimum_stagger": "best by physics",
    "window_low": "window then", "window_high": "window then",
    **dict.fromkeys(ANSWERS, "driver"), "weight": "pads",
}  # fmt: skip
"""What a run's key, or what it is of a corner, is called where that is not its name."""
_BETWEEN = {"window then": " to "}
REASONS = ("when", "track", "best by physics", "window then")
"""Rows that stand in the heading already, or are asked for by --full."""


def _run_rows(run: Run, screen: Screen) -> list[tuple[str, str]]:
    """Everything of a run with a label; nothing where it is not known."""
    from rollpath.book.run import ENTRIES

    rows: dict[str, list[str]] = {}
    for entry in ENTRIES:
        text = _value_words(entry, getattr(run, entry.name), screen)
        if entry.name == "told_stagger":  # told as the rear stagger
            rows["bite"] = [known_only(run.bite, screen.weight)]
        elif entry.thing:
            label = LABELS.get(entry.thing, f"{entry.thing}s")
            initials = CORNER_INITIALS[entry.name.removesuffix(f"_{entry.thing}")]
            rows.setdefault(label, []).append(f"{initials} {text}" if text else "")
        else:
            label = LABELS.get(entry.name, entry.name.replace("_", " "))
            rows.setdefault(label, []).append(text)
        if entry.name == "groove":
            rows["rear stagger"] = [known_only(run.rear_stagger, screen.tape)]
            rows["front stagger"] = [known_only(run.front_stagger, screen.tape)]
    return [
        (label, _BETWEEN.get(label, ", ").join(filter(None, texts)))
        for label, texts in rows.items()
    ]


def _value_words(entry: Entry, value: Any, screen: Screen) -> str:
    """One value of a run as a person reads it."""
    if value is None:
        return ""
    if entry.name in ANSWERS:
        return ANSWERS[entry.name][value]
    if entry.name == "optimum_stagger":  # worked out, not taped
        return screen.fine(value)
    shown: dict[str, Callable[[Any], str]] = {
        "moment": lambda when: f"{when:%Y-%m-%d %H:%M}",
        "tape": screen.tape,
        "weight": screen.weight,
        "turns": lambda turns: f"{turns:g} turns",
        "time": _lap_words,
        "text": lambda text: clean_text(text, max(60, entry.longest)),
        "word": str,
    }
    if entry.kind in shown:
        return shown[entry.kind](value)
    return screen.of_kind(value, entry.kind)


def taken_screen(
    taken: Taken, screen: Screen, pages: Sequence[Page] = (), reckoned: int = 0
) -> str:
    """What came of an import of `pages`: their days in words, for a stroke may be read two ways;
    and how many had what the physics wants reckoned for them."""
    done = f", {counted(taken.actions, 'action')} between runs" if taken.actions else ""
    return lay_out([
        f"{counted(taken.added, 'run')} added{done}, {taken.changed} changed (the old "
        f"values are kept), {taken.known} entries known already",
        *_days_line(pages),
        *([paragraph(f"{counted(reckoned, 'run')} came without what the physics wanted: reckoned "
                     "for your car and the track as their files are now.")] if reckoned else []),
    ], screen)  # fmt: skip


def _days_line(pages: Sequence[Page]) -> list[str]:
    if not pages:
        return []
    days = [min(page.run.when for page in pages), max(page.run.when for page in pages)]
    told = dict.fromkeys(f"{day.day} {day:%B %Y}" for day in days)
    return [f"Nights of {' to '.join(told)}."]
