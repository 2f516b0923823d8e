"""The words and figures of `rollpath notebook next`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.book.next import KNOWN, LAPS_A_RUN
from rollpath.screen import TRADE, Screen, inches
from rollpath.show.notebook import clean_text
from rollpath.show.study import finding_words
from rollpath.show.words import counted, lay_out, paragraph

if TYPE_CHECKING:
    from rollpath.book.next import NextRun


def next_line(found: NextRun, screen: Screen) -> str:
    """One line: what to fit next and why; for the foot of a screen."""
    if found.is_enough:
        return (
            f"Next: {screen.tape(found.best)}; enough is known "
            f"(within {screen.tape(KNOWN)}, nine times in ten)."
        )
    if found.stagger == found.last:
        return f"Next: stay on {screen.tape(found.last)}; nothing near it can be made."
    return (
        f"In a hot lap {screen.tape(found.stagger)} would teach most; "
        f"{_clean_nights(found)} to know enough."
    )


def _clean_nights(found: NextRun) -> str:
    return f"{counted(found.nights_to_go, 'more clean night')}"


def next_screen(found: NextRun, screen: Screen) -> str:
    """The result of `notebook next` for a racer."""
    steps = ", then ".join(screen.tape(one) for one in found.plan)
    where = f"{clean_text(found.car, 24)} at {clean_text(found.track, 24)}, {found.condition}"
    lines = [paragraph(next_line(found, screen)), paragraph(where, "  "), ""]
    lines += [paragraph(finding_words(found.study, found.finding, screen)), ""]
    if found.is_enough:
        lines.append(paragraph(f"For those who want more: {steps}, nothing else changed."))
    else:
        source = "your rack makes them" if found.from_rack else "without a rack: any eighth"
        lines.append(paragraph(f"The evening: {steps} ({source})."))
        lines.append(
            paragraph(
                "Change nothing else, write every run down, and go up and down as it says: a "
                "track that slows cannot fool it then."
            )
        )
    lines += [
        "",
        paragraph(
            f"Your runs so far put the best at {screen.fine(found.best)}, give or take "
            f"{screen.fine(found.give_or_take)}; after the evening "
            f"{screen.fine(found.then)} (estimates, nine in ten)."
        ),
        paragraph(
            f"What it costs in the heat: about {found.cost:.2f} s a lap beside that, "
            f"{found.cost * LAPS_A_RUN:.1f} s in {LAPS_A_RUN} laps. Where the points count, run "
            "the best and learn in hot laps."
        ),
    ]
    return lay_out(lines, screen)


def short_screen(found: NextRun, screen: Screen = TRADE) -> str:
    return next_screen(found, screen)


def next_json(found: NextRun) -> dict[str, Any]:
    """The result of `notebook next`; keys end in their unit."""
    return {
        "car": found.car,
        "track": found.track,
        "condition": found.condition,
        "last_in": inches(found.last),
        "next_in": inches(found.stagger),
        "plan_in": [inches(one) for one in found.plan],
        "from_rack": found.from_rack,
        "best_in": inches(found.best),
        "give_or_take_in": inches(found.give_or_take),
        "after_in": inches(found.then),
        "cost_s": found.cost,
        "nights_to_go": found.nights_to_go,
        "enough": found.is_enough,
        "outcome": found.finding.outcome,
    }
