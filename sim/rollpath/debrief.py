"""More, less, leave it, or not stagger: what the driver's answers and the logger add up to.

Too little stagger on the throttle: the car drifts out with the wheel held left. Too much: it
crabs, the wheel turned back right, though it hooks up. Wheelspin is neither: it is missing drive,
and a spinning axle hides what its stagger does. (common practice, no source)

The answers and the log are witnesses of one belief of the best stagger, the physics its prior;
step and confidence are read off it. A recommended stagger is a compromise, so the model of feel
foretells what is felt of it: what he then reports as foretold is no news.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollpath.belief import BEFORE, THRESHOLD, Answer, Belief, Witness, believe, estimate
from rollpath.belief import driver as driver_witness
from rollpath.doubts import give_or_take
from rollpath.feel.answers import ANSWERS, SLIPS, Answers, Reading, read_answers
from rollpath.results import Result
from rollpath.units import EIGHTH, INCH

if TYPE_CHECKING:
    from rollpath.feel.foretold import Foretold
    from rollpath.feel.lap import Feel
    from rollpath.runlog.log import RunLog
    from rollpath.runlog.recording import Recording
    from rollpath.runlog.says import LogWord
    from rollpath.stagger import Baseline

__all__ = ["ANSWERS", "Answers", "Choice", "DebriefResult", "Verdict", "debrief_of", "read_answers"]

LEFT_ALONE = 3 / 16 * INCH
"""Stagger is not changed for less than this: a step of 1/8 is told from none by nobody.
Engineering judgement."""
CHOICE = INCH / 4
"""Step that a driver is offered for what bothers him. Engineering judgement."""
LEAST_PHYSICS_DOUBT = 0.15 * INCH
"""The physics is never surer than this, however well all was measured. Engineering judgement."""
NINETY_FIVE = 1.960
"""Standard deviations either way that hold 95 in 100: normal distribution."""
LEAST_TAUGHT = 1.0
"""Nights that show a correction know at least this much of what the physics knows. Engineering
judgement."""
MAY_SPIN = 2.0
"""How much oftener an answer says nothing of the stagger when nobody asked about wheelspin.
Engineering judgement."""
# What of it is news


def unforetold(answers: Answers, told: Foretold) -> Answers:
    """The answers less those that complain of what was foretold for the stagger on the car."""
    kept = dict(vars(answers))
    if told.push_gone("centre", "drive-off") > 0:
        kept["wheel"] = None if answers.wheel == "left" else answers.wheel
        kept["drifts_out"] = None if answers.drifts_out == "yes" else answers.drifts_out
    if told.steer_gone("drive-off") > 0 and answers.wheel == "right":
        kept["wheel"] = None
    if told.steer_gone("straight") > 0 and answers.crabs == "yes":
        kept["crabs"] = None
    if (answers.entry, told.words.get("entry")) in (
        ("tight", "pushes"),
        ("loose", "steers itself"),
    ):
        kept["entry"] = None
    return Answers(**kept)


def news_in(said: int, told: Foretold, crabs: bool = False) -> float:
    """How far an answer goes beyond what was foretold: 1 is a whole answer that was not.

    Parameters
    ----------
    said : int
        1 asks for more, -1 for less, 0 to leave it.
    told : Foretold
        Of the stagger on the car.
    crabs : bool
        Whether he asks for less for what it does on the straight.

    Notes
    -----
    The distance in stagger to the nearest one for which that answer is foretold, so that it moves
    smoothly with what is fitted and is nothing where the answer was foretold.
    """
    pushes = told.push_gone("centre", "drive-off")
    steers = told.steer_gone("straight" if crabs else "drive-off")
    if said > 0:
        return float(np.clip(-pushes / THRESHOLD, 0.0, 2.0))
    if said < 0:
        return -float(np.clip(-steers / THRESHOLD, 0.0, 2.0))
    # Nothing felt under throttle, though it was foretold there.
    pushes, steers = told.push_gone("drive-off"), told.steer_gone("drive-off")
    return float(np.clip(steers / THRESHOLD, 0.0, 1.0) - np.clip(pushes / THRESHOLD, 0.0, 1.0))


SAID = {"more": 1, "leave": 0, "less": -1}


def driver_says(answers: Answers, told: Foretold) -> tuple[Reading, Witness | None]:
    """What the driver says, and what of it moves the belief; None where nothing does.

    Parameters
    ----------
    answers : Answers
    told : Foretold
        Of the stagger on the car.
    """
    reading, fresh = read_answers(answers), unforetold(answers, told)
    if fresh != answers:
        rest = read_answers(fresh)
        beside = rest.code in ("entry", "entry alone") and reading.change in SAID
        if beside or (rest.change not in ("more", "less") and rest.code not in STANDS):
            # All that he complains of was foretold: no news, whichever way he would have it.
            asked = reading.change if reading.change in SAID else "leave"
            return Reading("as foretold", asked, reading.sure), None
        reading = replace(rest, code="entry alone") if rest.code == "entry" else rest
    if reading.change not in SAID:
        return reading, None
    said, slips = SAID[reading.change], SLIPS[reading.sure]
    if said and answers.wheelspin is None:
        slips *= MAY_SPIN
    news = news_in(said, told, fresh.crabs == "yes")
    return reading, driver_witness([Answer(said, foretold=said - news, slips=slips)])


STANDS = ("spins", "steps out", "steps out, runs true", "entry alone", "entry")
"""Readings that stand beside a complaint that was foretold."""


# The verdict


@dataclass(frozen=True)
class Verdict:
    """The one instruction of a debrief.

    Attributes
    ----------
    change : str
        more, less, leave, elsewhere or ask.
    amount : float
        Rear stagger to add, m; negative to take out, 0 when none is to be changed.
    confidence : str
        low, fair or high.
    reasons : tuple of str
        Codes, the first first.
    question : str
        Code of what would settle it; empty when nothing would.
    """

    change: str
    amount: float
    confidence: str
    reasons: tuple[str, ...]
    question: str = ""


@dataclass(frozen=True)
class Lesson:
    """What nights teach beside the physics: stagger to add to it, and half its interval of 95 in
    100, m."""

    correction: float
    reach: float

    def witness(self, physics_sd: float) -> Witness:
        """The nights as a witness beside physics of that standard deviation, m.

        What was learned has the physics in it, so the witness is what is left when that is taken
        out again: both together then lie at the correction (precisions add).
        """
        after = self.reach / NINETY_FIVE
        own = max(after**-2.0 - physics_sd**-2.0, LEAST_TAUGHT * physics_sd**-2.0)
        return estimate(
            "nights", self.correction * (own + physics_sd**-2.0) / own, own**-0.5
        )  # fmt: skip


@dataclass(frozen=True)
class Choice:
    """A step that nobody orders: what a driver may have for what bothers him, and its price.

    Attributes
    ----------
    change : float
        Rear stagger, m.
    cost : float
        Lap time, s; negative where it gains.
    """

    change: float
    cost: float


def decide(
    reading: Reading | None, word: LogWord | None, belief: Belief, fitted: float,
    window: tuple[float, float],
) -> Verdict:  # fmt: skip
    """One instruction from what the driver and the log say and what is believed.

    Parameters
    ----------
    reading, word : Reading, LogWord, optional
        Of the driver and of the log; at least one.
    belief : Belief
        Of the best stagger, with both in it.
    fitted : float
        Rear stagger on the car, m.
    window : tuple of float
        m.
    """
    said = reading.change if reading else None
    if (reading and reading.code == "spins") or (word and word.code == "spins"):
        sure = reading.sure if reading and reading.code == "spins" else "fair"
        sure = "low" if word and word.rolls else sure
        return Verdict("elsewhere", 0.0, sure, ("spins",))
    if word and word.code == "tape":
        return Verdict("ask", 0.0, "low", ("tape", *_codes(reading)), "tape")
    if said == "ask" and word is None:
        assert reading is not None
        return Verdict("ask", 0.0, "low", (reading.code,), reading.code)
    if said == "elsewhere" and (word is None or not _step(belief, fitted, window, None)):
        assert reading is not None
        question = reading.code if reading.code == "entry" else ""
        return Verdict("elsewhere", 0.0, reading.sure, (reading.code,), question)
    if belief.apart or contrary(reading, word, fitted):
        has_sides = contrary(reading, word, fitted) or ("driver", "log") in belief.apart
        question = "sides" if has_sides else "measure"
        return Verdict("ask", 0.0, "low", ("apart", *_codes(reading)), question)
    step, used_up = _step(belief, fitted, window, said), _used_up(said, fitted, window)
    sure = belief.confidence(fitted, step)
    if used_up:
        change = "leave" if reading and reading.code == "as foretold" else "elsewhere"
        return Verdict(
            change, 0.0, "fair" if sure == "high" else sure, (*_codes(reading), used_up)
        )  # fmt: skip
    change = "more" if step > 0 else "less" if step < 0 else "leave"
    against = _against(said, belief.mean - fitted)
    unasked = "by the lap" if reading else "by the lap alone"
    reasons = (
        *_codes(reading), *(("against the lap",) if against else ()),
        *((unasked,) if step and change != said else ()), *(("log",) if word else ()),
    )  # fmt: skip
    question = "against the lap" if against else reading.code if said == "ask" and reading else ""
    return Verdict(change, step, "low" if question else sure, reasons, question)


def contrary(reading: Reading | None, word: LogWord | None, fitted: float) -> bool:
    """Whether the driver asks for one way and the log alone for the other."""
    if reading is None or word is None or word.code != "stagger" or reading.code == "as foretold":
        return False
    return _against(reading.change, word.best - fitted)


def _codes(reading: Reading | None) -> tuple[str, ...]:
    return (reading.code,) if reading else ()


def _step(belief: Belief, fitted: float, window: tuple[float, float], said: str | None) -> float:
    """Stagger to add, m: none for a trifle, and none against what the driver asks for."""
    if abs(belief.mean - fitted) < LEFT_ALONE:
        return 0.0
    step = belief.step(fitted, window)
    return max(step, 0.0) if said == "more" else min(step, 0.0) if said == "less" else step


def _against(said: str | None, gap: float) -> bool:
    """Whether the driver asks for one way and the belief, his word in it, goes the other."""
    return abs(gap) >= LEFT_ALONE and SAID.get(said or "", 0) * gap < 0


def _used_up(said: str | None, fitted: float, window: tuple[float, float]) -> str:
    """Which end of the window a driver asks to go beyond; empty when there is room."""
    if said == "more" and window[1] - fitted < EIGHTH - 1e-6:
        return "used up high"
    return "used up low" if said == "less" and fitted - window[0] < EIGHTH - 1e-6 else ""


# The whole debrief


@dataclass(frozen=True, eq=False)
class DebriefResult(Result, told_by="debrief"):
    """All that a debrief found.

    Attributes
    ----------
    case : Baseline
        By physics, with its recommended stagger that of the verdict: what is on the car with the
        step on it.
    physics : Baseline
        As the physics has it.
    told : Foretold
        What was foretold of the stagger on the car.
    feel : Feel
        Of it and of one beside it, rising.
    belief : Belief
    answers : Answers
    recording : Recording or None
    reading, word : Reading, LogWord or None
        What the driver and the log say.
    verdict : Verdict or None
        None when nobody has spoken.
    choice : Choice or None
        What he may have for a complaint that was foretold.
    """

    case: Baseline
    physics: Baseline
    told: Foretold
    feel: Feel
    belief: Belief
    answers: Answers
    recording: Recording | None
    reading: Reading | None
    word: LogWord | None
    verdict: Verdict | None
    choice: Choice | None

    @property
    def fitted(self) -> float:
        """Rear stagger on the car, m."""
        return float(self.case.car.rear.stagger)


def debrief_of(
    result: Baseline,
    answers: Answers | None = None,
    log: RunLog | None = None,
    gear_ratio: float | None = None,
    nights: Lesson | None = None,
) -> DebriefResult:
    """What a run says of the stagger that was on the car.

    Parameters
    ----------
    result : Baseline
        Of the case, its car with the stagger as driven.
    answers : Answers, optional
        Of the driver.
    log : RunLog, optional
        Recorded laps.
    gear_ratio : float, optional
        Turns of the engine for one of the axle; the car's own when left out.
    nights : Lesson, optional
        What his own nights put on the physics at this track, where they put anything.

    Raises
    ------
    runlog.log.RunLogError
        If the log cannot be read as laps of this track.
    """
    from rollpath.feel.foretold import foretold_by
    from rollpath.feel.lap import trim_lap

    answers, fitted = answers or Answers(), float(result.car.rear.stagger)
    feel = trim_lap(
        result.lap, result.car, result.condition, np.array([fitted, _beside(result, fitted)])
    )
    told = foretold_by(feel, 0)
    recording, word = _log_says(result, log, gear_ratio)
    reading, heard = driver_says(answers, told) if answers.given else (None, None)
    physics = float(result.stagger.unbounded), max(give_or_take(result).sd, LEAST_PHYSICS_DOUBT)
    others = belief = _believed(physics, recording, word, nights, None)
    if heard is not None:
        belief = _believed(physics, recording, word, nights, heard)
    if word is not None and nights is not None:
        # What is held against the driver is what the line and the nights ask for together.
        word = replace(word, best=others.mean)
    window, spoken = result.stagger.window, reading is not None or word is not None
    verdict = decide(reading, word, belief, fitted, window) if spoken else None
    return DebriefResult(
        _as_ordered(_learned(result, nights), verdict), result, told, feel, belief, answers,
        recording, reading, word, verdict, _choice(result, verdict, reading),
    )  # fmt: skip


def _believed(
    physics: tuple[float, float], run: Recording | None, word: LogWord | None,
    nights: Lesson | None, heard: Witness | None,
) -> Belief:  # fmt: skip
    """The belief of the best stagger, from that by physics and its standard deviation, m.

    Where the line was recorded the physics is that of this line, and what it said of the line that
    was named only bounds it: both have the same car, and are no two witnesses. Nights that teach
    have weighed the physics already, with the line that is driven in it; they do not stand apart
    from it, and the log speaks beside them.
    """
    optimum, sd = physics
    before, witnesses = sd, [heard] if heard else []
    if run is not None and word is not None and word.code == "stagger":
        if run.laps.is_measured and nights is None:
            before = BEFORE
        witnesses.append(estimate("log", word.best - optimum, math.hypot(word.sd, sd)))
    if nights is not None:
        witnesses.append(nights.witness(sd))
    belief = believe(optimum, before, witnesses)
    return replace(belief, apart=tuple(two for two in belief.apart if two != ("physics", "nights")))


def _learned(result: Baseline, nights: Lesson | None) -> Baseline:
    """The case with what the nights teach put on it, as a baseline with a notebook has it."""
    from rollpath.stagger import corrected

    return result if nights is None else corrected(result, nights.correction)


def _beside(result: Baseline, fitted: float) -> float:
    """A stagger above the fitted one to hold its feel against: the recommended, or an eighth up."""
    best = float(result.stagger.recommended)
    return best if best > fitted + EIGHTH / 2 else fitted + EIGHTH


def _log_says(
    result: Baseline, log: RunLog | None, gear_ratio: float | None
) -> tuple[Recording | None, LogWord | None]:
    if log is None:
        return None, None
    from rollpath.runlog.read import read_run
    from rollpath.runlog.says import read_log

    recording = read_run(
        log, result.track, result.car, result.condition, result.groove, gear_ratio,
        result.stagger.window,
    )  # fmt: skip
    return recording, read_log(recording, result.car)


def _as_ordered(result: Baseline, verdict: Verdict | None) -> Baseline:
    """The case with the stagger of the verdict as the recommended one: one number everywhere."""
    if verdict is None:
        return result
    from rollpath.axle.scrub import scrub_distance

    ordered = float(result.car.rear.stagger) + verdict.amount
    return replace(
        result,
        stagger=replace(result.stagger, recommended=ordered),
        then=scrub_distance(result.lap, result.needed, ordered),
    )


def _choice(result: Baseline, verdict: Verdict | None, reading: Reading | None) -> Choice | None:
    """What he may have for a complaint that was foretold: a step, and what it costs."""
    if reading is None or reading.code != "as foretold" or verdict is None:
        return None
    if verdict.amount or verdict.question or "spins" in verdict.reasons:
        return None
    change, fitted = SAID.get(reading.change, 0) * CHOICE, float(result.car.rear.stagger)
    low, high = result.stagger.window
    if not change or not low - 1e-9 <= fitted + change <= high + 1e-9:
        return None
    return Choice(change, scrub_time(result, fitted + change) - scrub_time(result, fitted))


def scrub_time(result: Baseline, stagger: float) -> float:
    """Lap time lost to the scrub of the rear treads with a stagger fitted, s.

    Scrub drag C N_L N_R / (N_L + N_R) (mismatch / M)^2 where the car drives, each foot of it by
    its lever.
    """
    from rollpath.axle.rolling import tread_slip
    from rollpath.lever import lever

    lap, car = result.lap, result.car
    left, right = lap.wheels.left_rear, lap.wheels.right_rear
    slip = tread_slip(stagger, result.needed)
    drag = result.condition.slip_stiffness * left * right / (left + right) * slip**2
    worth = lever(lap, car, result.condition)
    return float(np.sum(worth * drag / car.mass * lap.groove.ds))
