"""What to do tonight: the stagger, the tires and air that make it, and what holds the bite."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rollpath.book.lessons import Correction, driver_says, lesson_from, same_track, taught
from rollpath.book.next import NextRun, next_run, rack_staggers
from rollpath.book.run import Page, Run
from rollpath.corners import NOTHING
from rollpath.debrief import Verdict, debrief_of
from rollpath.feel.answers import Answers
from rollpath.results import Result
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.twist import Change, rollout_change
from rollpath.stagger import Baseline
from rollpath.surface import Timed
from rollpath.tires.aim import Aim
from rollpath.tires.choose import Choice, choose
from rollpath.tires.judge import in_full
from rollpath.tires.sets import TireError
from rollpath.trailer.trailer import Trailer
from rollpath.units import INCH

SAME_STAGGER = INCH / 16
"""A run within this of what is on the car was run with it: half of what a tape reads."""
STEPS = ("more", "less")
"""Verdicts of a debrief that change the stagger."""


@dataclass(frozen=True, eq=False)
class Advice(Result, told_by="trailer"):
    """Tonight in one piece.

    Attributes
    ----------
    trailer : Trailer
    result : Baseline
        Of the car as it stands, with what the book puts on the physics and the last run orders.
    bite_from : str
        Of `trailer.night.Standing`.
    choice : Choice or None
        The tires and air; None without a rack, or when it makes no four.
    why_not : str
        Why there is no choice; empty when there is one or there is no rack.
    outcome : Outcome
        What it does on the scales, and what holds it.
    next_run : NextRun or None
        The run that would teach most; None before a first run is in the book.
    earlier : Timed or None
        What an earlier lap time of this night said of the surface.
    learned : Correction or None
        What the book puts on the physics here; None where it carries nothing.
    physics : Baseline or None
        `result` without that; None where it is the same.
    verdict : Verdict or None
        Of the debrief of the last run, where the driver spoke, it was with what is on the car and
        on tonight's surface: tonight orders what it orders.
    asked : int
        1 or -1 where the driver asked for more or less stagger on that run, 0 otherwise.
    """

    trailer: Trailer
    result: Baseline
    bite_from: str
    choice: Choice | None
    why_not: str
    outcome: Outcome
    next_run: NextRun | None = None
    earlier: Timed | None = None
    learned: Correction | None = None
    physics: Baseline | None = None
    verdict: Verdict | None = None
    asked: int = 0

    @property
    def by_physics(self) -> Baseline:
        return self.result if self.physics is None else self.physics

    @property
    def held(self) -> bool:
        """Whether the debrief of the last run leaves on what is on."""
        return self.verdict is not None and self.verdict.change not in STEPS

    @property
    def against(self) -> int:
        """`asked`, where the debrief leaves what is on because the lap asks for the other way."""
        if self.verdict is not None and "as foretold" in self.verdict.reasons:
            return 0  # no news, and so no word against the lap
        gap = float(self.result.stagger.recommended) - float(self.result.car.rear.stagger)
        return self.asked if self.held and self.asked * gap < 0 else 0


def advise(
    trailer: Trailer, result: Baseline, bite_from: str, pages: Sequence[Page] = (),
    lessons: bool = True,
) -> Advice:  # fmt: skip
    """What to do tonight.

    Parameters
    ----------
    trailer : Trailer
    result : Baseline
        Of the car as it stands, on tonight's track and surface, by physics.
    bite_from : str
    pages : sequence of Page
        The runs in the book.
    lessons : bool
        Whether what they teach is put on the physics.
    """
    physics, surface = result, trailer.night.condition or result.condition.name
    result, learned = taught(pages if lessons else (), physics, surface)
    last, verdict = _last_run(trailer, physics, surface, pages), None
    answers = None if last is None else Answers(
        last.wheel, last.drifts_out, last.crabs, last.wheelspin, last.entry
    )  # fmt: skip
    if answers is not None and answers.given:
        debrief = debrief_of(physics, answers, nights=lesson_from(learned))
        verdict = debrief.verdict
        result = debrief.case if verdict is not None and verdict.change in STEPS else result
    told = replace(
        _advised(trailer, result, bite_from, verdict), verdict=verdict,
        asked=(driver_says(last) or 0) if last is not None and verdict is not None else 0,
        next_run=_next_run(trailer, physics, surface, pages),
    )  # fmt: skip
    return replace(told, learned=learned, physics=None if result is physics else physics)


def _last_run(
    trailer: Trailer, physics: Baseline, surface: str, pages: Sequence[Page]
) -> Run | None:
    """The last run of this night, if it was with the stagger that is on and on this surface."""
    tonight = [
        page.run for page in pages
        if page.run.when.isoformat(timespec="minutes") >= trailer.night.since
        and page.run.car == physics.car.name and same_track(page.run.track, physics.track.name)
    ]  # fmt: skip
    if not tonight:
        return None
    last = max(tonight, key=lambda run: run.when)
    fitted = float(physics.car.rear.stagger)
    if last.rear_stagger is None or abs(last.rear_stagger - fitted) > SAME_STAGGER:
        return None
    return last if last.condition in (None, surface) else None


def _advised(trailer: Trailer, result: Baseline, bite_from: str, verdict: Verdict | None) -> Advice:
    rack, choice, why_not = trailer.rack_tonight, None, ""
    step = verdict is not None and verdict.change in STEPS
    # A step that the last run asked for is taken: what would do as well by the lap does not here.
    aim = Aim(float(result.stagger.recommended), None if step else result)
    if rack is not None:
        try:
            choice = choose(rack, result.car, aim)
        except TireError as error:
            why_not = str(error)
    if choice is not None:
        return Advice(trailer, result, bite_from, choice, why_not, in_full(choice))
    car = result.car
    left, right = rollout_change(car.rear, None, None, result.stagger.recommended)
    change = Change(rollouts=replace(NOTHING, left_rear=float(left), right_rear=float(right)))
    outcome = weigh_change(car, change, "either")
    return Advice(trailer, result, bite_from, None, why_not, outcome)


def _next_run(
    trailer: Trailer, result: Baseline, surface: str, pages: Sequence[Page]
) -> NextRun | None:
    if not pages:
        return None
    rack = trailer.rack_tonight
    return next_run(
        pages, result.car.name, surface, result.track.name,
        optimum=float(result.stagger.unbounded), window=result.stagger.window,
        staggers=None if rack is None else rack_staggers(rack),
    )  # fmt: skip
