"""What the nights of a car on a surface say of its best stagger, in words and JSON."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from rollpath.book.lessons import BORNE_OUT, COVERS, FAR, FEWEST_CLEAN, MATTERS, NOT_NEEDED
from rollpath.screen import Screen, inches
from rollpath.show.notebook import clean_text
from rollpath.show.words import counted, finite_or_none

if TYPE_CHECKING:
    from rollpath.book.lessons import Alone, Correction, Finding, Study
    from rollpath.stagger import Baseline

_OFTEN = f"{round(100 * COVERS)} in 100"


def finding_words(study: Study, finding: Finding, screen: Screen) -> str:
    """What is shown, not shown yet, or shown not to need a correction: one sentence or two."""
    return SENTENCES[finding.outcome](study, finding, screen)


def _unsaid(study: Study, finding: Finding, screen: Screen) -> str:
    return "These runs do not say the surface, so nothing is learned from them but the table."


def _few(study: Study, finding: Finding, screen: Screen) -> str:
    told = f"Not shown yet: {_counted_so_far(study)}."
    by_physics = [point.page.run.optimum_stagger is not None for point in study.points]
    if not by_physics or any(by_physics):
        return told
    return f"{told} {WITHOUT_PHYSICS}"


WITHOUT_PHYSICS = (
    "A run counts that says what Rollpath asked for: written down or imported in the trailer of "
    "its car and track, or brought in with a column headed physics."
)


def _counted_so_far(study: Study) -> str:
    return f"{counted(study.clean_runs, 'clean run')}; a correction takes {FEWEST_CLEAN}"


def _unrelated(study: Study, finding: Finding, screen: Screen) -> str:
    return (
        "Not shown yet: answers and lap times do not follow the stagger clearly enough to say "
        "anything, neither that the physics holds nor that it does not."
    )


def _apart(study: Study, finding: Finding, screen: Screen) -> str:
    assert study.driver is not None and study.watch is not None
    return (
        f"Driver and watch disagree: he asks for {_alone_words(study.driver, screen)} on the "
        f"physics, the watch for {_alone_words(study.watch, screen)}. No correction until that "
        "is settled: ask what he wants the car for, and look whether traffic or the track made "
        "the laps."
    )


def _cut(study: Study, finding: Finding, screen: Screen) -> str:
    return (
        f"Further off than is considered: {screen.fine(finding.estimate, signed=True)} or more. "
        f"No correction. {_CHECK}"
    )


def _shown(study: Study, finding: Finding, screen: Screen) -> str:
    found = finding.correction
    assert found is not None
    way = "more" if found.stagger > 0 else "less"
    told = (
        f"Shown: this car wants {screen.fine(abs(found.stagger))} {way} than the physics "
        f"({_interval_words(found.interval, screen)}, {_OFTEN}; "
        f"{counted(found.clean_runs, 'clean run')}{_where(found)}). "
        "Its trailer counts it in; elsewhere --book does."
    )
    if study.driver is not None and abs(study.driver.median - found.stagger) > NOT_NEEDED:
        asks = screen.fine(study.driver.median, signed=True)
        told += f" The driver alone asks for {asks}: he may like it so and be no quicker."
    return f"{told} {_CHECK}" if abs(found.stagger) > FAR else told


_CHECK = "That is far off: check the tape, the track file and the car file first."


def _not_borne_out(study: Study, finding: Finding, screen: Screen) -> str:
    return (
        f"Not shown yet: the driver asks for {screen.fine(finding.estimate, signed=True)} on the "
        f"physics, but no lap times bear him out {round(100 * BORNE_OUT)} in 100. He may like it "
        "so and be no quicker."
    )


def _not_shown(study: Study, finding: Finding, screen: Screen) -> str:
    fits = f"{_interval_words(finding.interval, screen)} on the physics"
    if finding.interval[0] > 0.0 or finding.interval[1] < 0.0:
        return (
            f"Not shown yet: {fits} fits these runs, but it is not sure to be "
            f"{screen.fine(MATTERS)} or more, and less is nothing."
        )
    return f"Not shown yet: anything from {fits} fits these runs, so the side is not known."


def _not_needed(study: Study, finding: Finding, screen: Screen) -> str:
    return (
        "Shown to need no correction: the best stagger is within "
        f"{screen.tape(NOT_NEEDED)} of the physics, nine times in ten "
        f"({counted(study.clean_runs, 'clean run')})."
    )


SENTENCES: dict[str, Callable[[Study, Finding, Screen], str]] = {
    "unsaid": _unsaid,
    "few": _few,
    "unrelated": _unrelated,
    "apart": _apart,
    "cut": _cut,
    "shown": _shown,
    "not borne out": _not_borne_out,
    "not shown": _not_shown,
    "not needed": _not_needed,
}


def _alone_words(alone: Alone, screen: Screen) -> str:
    return f"{screen.fine(alone.median, signed=True)} ({_interval_words(alone.interval, screen)})"


def _interval_words(interval: tuple[float, float], screen: Screen) -> str:
    return " to ".join(screen.fine(end, signed=True) for end in interval)


def _where(found: Correction) -> str:
    if found.track is not None and len(found.learned_at) > 1:
        return f" at {clean_text(found.track, 24)} and elsewhere"
    return f" at {_names(found.learned_at)}" if found.learned_at else ""


def _names(names: tuple[str, ...]) -> str:
    told = [clean_text(name, 24) for name in names[:3]]
    return ", ".join(told) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def lesson_words(study: Study, physics: Baseline, screen: Screen) -> str:
    """What the nights of a car on a surface add to the physics at a track, or why nothing."""
    finding = study.at(physics.track.name)
    found = finding.correction
    if found is None:
        away = _learned_away(study, finding, screen)
        own = f"Your own nights, {study.condition}: no correction"
        if finding.outcome == "few":
            return f"{own}; {_counted_so_far(study)}."
        return f"{own}. {away or finding_words(study, finding, screen)}"
    return (
        f"By physics alone {screen.tape(physics.stagger.recommended)}. Your own nights, "
        f"{found.condition}: {screen.fine(found.stagger, signed=True)} "
        f"({_interval_words(found.interval, screen)}, {_OFTEN}, {found.clean_runs} clean runs"
        f"{_where(found)}). The stagger above has it in; scrub is by physics."
    )


def book_words(found: Sequence[Correction], screen: Screen) -> str:
    """One line: that the book counts, how much it adds and where that was learned."""
    return "; ".join(adds_words(one, screen) for one in found)


def adds_words(found: Correction, screen: Screen) -> str:
    where = f", learned at {_names(found.learned_at)}" if found.learned_at else ""
    return f"your book adds {screen.fine(found.stagger, signed=True)} on {found.condition}{where}"


def brief_lesson(study: Study, physics: Baseline, screen: Screen) -> str:
    """The same in one line: what the nights put on the physics, or that they put nothing."""
    found = study.at(physics.track.name).correction
    if found is None:
        return f"your own nights, {study.condition}: no correction"
    more = screen.fine(found.stagger, signed=True)
    return f"your own nights, {found.condition}: {more} on the physics, counted in"


def _learned_away(study: Study, finding: Finding, screen: Screen) -> str:
    """What was learned at other tracks, when it is not enough for this one."""
    found = study.correction
    if finding is not study.elsewhere or found is None:
        return ""
    return (
        f"{screen.fine(found.stagger, signed=True)} was learned at {_names(found.learned_at)}, "
        f"not here; here it may be {_interval_words(finding.interval, screen)}, so it is left out."
    )


def lesson_json(study: Study, physics: Baseline) -> dict[str, Any]:
    """`correction` beside the corrected `stagger`, with what the physics says alone."""
    best, finding = physics.stagger, study.at(physics.track.name)
    found = correction_json(finding.correction)
    return {
        "correction": found and {**found, "condition": study.condition},
        "correction_reason": _reason(study, finding),
        "correction_outcome": finding.outcome,
        "clean_runs": study.clean_runs,
        "physics": {
            "recommended_in": inches(best.recommended),
            "optimum_in": inches(best.optimum),
            "unbounded_in": inches(best.unbounded),
        },
    }


def _reason(study: Study, finding: Finding) -> str | None:
    if finding.correction is not None:
        return None
    return _learned_away(study, finding, Screen()) or finding_words(study, finding, Screen())


def correction_json(found: Correction | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "stagger_in": inches(found.stagger),
        "interval_in": [inches(end) for end in found.interval],
        "clean_runs": found.clean_runs,
        "learned_at": list(found.learned_at),
    }


def finding_json(study: Study, finding: Finding) -> dict[str, Any]:
    """What holds at one track, or for all together."""
    return {
        "track": finding.track,
        "outcome": finding.outcome,
        "estimate_in": finite_or_none(float(inches(finding.estimate))),
        "interval_in": [finite_or_none(float(inches(end))) for end in finding.interval],
        "correction": correction_json(finding.correction),
        "reason": _reason(study, finding),
    }


def alone_json(alone: Alone | None) -> dict[str, Any] | None:
    if alone is None:
        return None
    return {
        "stagger_in": inches(alone.median),
        "interval_in": [inches(end) for end in alone.interval],
    }
