"""More, less, leave it, or not stagger: what the driver's answers and the logger add up to.

Too little stagger on the throttle: the car drifts out with the wheel held left. Too much: it
crabs, the wheel turned back right, though it hooks up. Wheelspin is neither: it is missing drive,
and a spinning axle hides what its stagger does. (common practice, no source)
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rollpath.stagger import Recommendation
from rollpath.units import EIGHTH, INCH, nearest_eighth

LARGEST_STEP = INCH / 2
"""Most stagger to change between two runs; more teaches less. Engineering judgement."""
SMALLEST_STEP = INCH / 8
CAREFUL_STEP = INCH / 4
"""Step when the driver and the lap disagree. Engineering judgement."""
CONFIDENCES = ("low", "fair", "high")
ANSWERS: dict[str, dict[str, str]] = {
    "wheel": {
        "straight": "straight under throttle",
        "left": "held left under throttle",
        "right": "turned back right under throttle",
    },
    "drifts_out": {
        "no": "holds the line under throttle",
        "yes": "drifts out under throttle",
        "steps": "the rear steps out under throttle",
    },
    "crabs": {"no": "runs true down the straight", "yes": "points out of line going straight"},
    "wheelspin": {"no": "no wheelspin", "yes": "wheelspin heard or seen"},
    "entry": {"ok": "entry fine", "tight": "tight on entry", "loose": "loose on entry"},
}
"""What a driver can answer, and what each answer means."""


@dataclass(frozen=True)
class Answers:
    """What the driver felt; each a key of `ANSWERS`, or None when he was not asked."""

    wheel: str | None = None
    drifts_out: str | None = None
    crabs: str | None = None
    wheelspin: str | None = None
    entry: str | None = None

    @property
    def given(self) -> dict[str, str]:
        return {name: answer for name, answer in vars(self).items() if answer is not None}


@dataclass(frozen=True)
class Leaning:
    """Which way some evidence points.

    Attributes
    ----------
    change : str
        more, less, leave, elsewhere (not a stagger problem, or not first), or ask.
    confidence : str
        One of `CONFIDENCES`.
    reason : str
    question : str
        What would settle it; empty when nothing would.
    missing_drive : bool
        Whether it speaks of wheelspin, which hides what the stagger does.
    """

    change: str
    confidence: str
    reason: str
    question: str = ""
    missing_drive: bool = False


@dataclass(frozen=True)
class Verdict:
    """A leaning turned into a change to make.

    Attributes
    ----------
    amount : float
        Rear stagger to add, m; negative to take out, 0 when none is to be changed.
    look_for : str
        What to look for on the next run.
    """

    change: str
    amount: float
    confidence: str
    reason: str
    question: str
    look_for: str


@dataclass(frozen=True)
class Rule:
    """Answers that must all stand, one of several each, and what they say; `-` is no answer."""

    when: Mapping[str, tuple[str, ...]]
    says: Leaning

    def fits(self, answers: Answers) -> bool:
        return all((getattr(answers, name) or "-") in any_of for name, any_of in self.when.items())


RULES: tuple[Rule, ...] = (
    Rule(
        {"wheelspin": ("yes",)},
        Leaning("elsewhere", "high", "the rear tires spin: that is missing drive, and a spinning "
                "axle hides what its stagger does; bite, tires and throttle first",
                missing_drive=True),
    ),
    Rule(
        {"crabs": ("yes",), "wheel": ("left",)},
        Leaning("ask", "low", "a car that crabs from too much stagger wants the wheel to the "
                "right, and this one had it left",
                "Going straight, which way did the nose point, and which way was the wheel then?"),
    ),
    Rule(
        {"crabs": ("yes",), "drifts_out": ("yes",)},
        Leaning("ask", "low", "crabbing says too much stagger, drifting out says too little",
                "Did it run wide in the corner, or only after it pointed left on the straight?"),
    ),
    Rule(
        {"wheel": ("right",), "drifts_out": ("yes",)},
        Leaning("ask", "low", "wheel to the right says the rear steers the car, drifting out says "
                "the front does not",
                "Was the wheel to the right to catch the rear, or did the nose run wide first?"),
    ),
    Rule(
        {"wheel": ("left",), "drifts_out": ("steps",)},
        Leaning("ask", "low", "a rear that steps out is caught with the wheel to the right, and "
                "this one had it left",
                "When the rear stepped out, was the throttle still down or just lifted?"),
    ),
    Rule(
        {"crabs": ("yes",), "wheel": ("right",)},
        Leaning("less", "high", "it crabs with the wheel turned back right: the axle steers the "
                "car left on the straight"),
    ),
    Rule(
        {"crabs": ("yes",)},
        Leaning("less", "fair", "it points out of line going straight: the axle steers it left"),
    ),
    Rule(
        {"drifts_out": ("steps",), "crabs": ("-",)},
        Leaning("ask", "low", "the rear steps out: too much stagger, or too little side bite",
                "Once the wheel is back, does it run true down the straight or point out of line?"),
    ),
    Rule(
        {"drifts_out": ("steps",)},
        Leaning("elsewhere", "fair", "the rear steps out but runs true down the straight: the rear "
                "lacks side grip, not stagger; bite and throttle first"),
    ),
    Rule(
        {"wheel": ("right",), "crabs": ("no",)},
        Leaning("less", "low", "the wheel is turned back right under throttle, though it runs true "
                "down the straight"),
    ),
    Rule(
        {"wheel": ("right",)},
        Leaning("less", "fair", "the wheel is turned back right under throttle: the axle steers "
                "the car left"),
    ),
    Rule(
        {"wheel": ("left",), "drifts_out": ("yes",)},
        Leaning("more", "high", "it drifts out with the wheel held left: the axle pushes the car"),
    ),
    Rule(
        {"wheel": ("left",), "drifts_out": ("no",)},
        Leaning("more", "low", "it holds the line only with the wheel held left"),
    ),
    Rule(
        {"wheel": ("left",)},
        Leaning("more", "fair", "the wheel is held left under throttle: the axle pushes the car"),
    ),
    Rule(
        {"drifts_out": ("yes",), "wheel": ("straight",)},
        Leaning("elsewhere", "low", "it drifts out with the wheel straight: both ends slide, which "
                "is speed or grip, not stagger"),
    ),
    Rule(
        {"drifts_out": ("yes",)},
        Leaning("ask", "low", "drifting out is too little stagger only when the wheel is held left",
                "Under throttle, was the wheel straight, left or right?"),
    ),
    Rule(
        {"entry": ("tight", "loose"), "wheel": ("straight",)},
        Leaning("elsewhere", "high", "only the entry is wrong, and braking hides the axle: bite "
                "and brakes first"),
    ),
    Rule(
        {"entry": ("tight", "loose")},
        Leaning("elsewhere", "low", "the entry is wrong, and braking hides the axle: bite and "
                "brakes first", "Under throttle, was the wheel straight, left or right?"),
    ),
    Rule(
        {"wheel": ("straight",), "drifts_out": ("no",), "crabs": ("no",)},
        Leaning("leave", "high", "wheel straight, holds the line, runs true: nothing asks for a "
                "change"),
    ),
    Rule(
        {"wheel": ("straight",)},
        Leaning("leave", "fair", "the wheel is straight under throttle"),
    ),
    Rule(
        {"drifts_out": ("no",)},
        Leaning("leave", "low", "it holds the line under throttle",
                "Under throttle, was the wheel straight, left or right?"),
    ),
    Rule(
        {},
        Leaning("ask", "low", "nothing here speaks of the axle under throttle",
                "Under throttle, was the wheel straight, left or right?"),
    ),
)  # fmt: skip
"""The first rule that fits speaks; the last always does."""
LOOK_FOR = {
    "more": "the wheel coming back toward straight as the throttle goes down",
    "less": "the car running true down the straight, the wheel no longer turned right",
    "leave": "the same again; a second run like it is worth more than a change",
    "elsewhere": "whether the axle still speaks once that is put right; then ask about stagger",
    "ask": "the answer to the question; run again without a change",
}


def read_answers(answers: Answers) -> Leaning:
    """Which way the driver's answers point.

    An entry that is wrong beside a stagger problem is told as a second matter.
    """
    leaning = next(rule.says for rule in RULES if rule.fits(answers))
    if leaning.change in ("more", "less") and answers.entry in ("tight", "loose"):
        aside = (
            f"{leaning.reason}; {answers.entry} on entry is bite and brakes, another day's change"
        )
        return replace(leaning, reason=aside)
    return leaning


def decide(
    leaning: Leaning, fitted: float, best: Recommendation, felt_step: float = 0.0
) -> Verdict:
    """The change that a leaning asks for.

    Parameters
    ----------
    leaning : Leaning
        Of the driver, or of the logger.
    fitted : float
        Rear stagger on the car, m.
    best : Recommendation
        What the lap asks for: its gap to `fitted` says how far, its window how far at most.
    felt_step : float
        Least stagger whose effect a driver feels in the wheel, m: a smaller step is told as one
        for the watch and not for the hands.
    """
    if leaning.change not in ("more", "less"):
        return _verdict(leaning, 0.0)
    sign = 1.0 if leaning.change == "more" else -1.0
    room = sign * ((best.window[1] if sign > 0 else best.window[0]) - fitted)
    if room < SMALLEST_STEP - 1e-9:
        end = "top" if sign > 0 else "bottom"
        held = replace(
            leaning, change="leave",
            reason=f"{leaning.reason}; but the stagger is at the {end} of the window already",
        )  # fmt: skip
        return _verdict(held, 0.0)
    gap = sign * (float(best.unbounded) - fitted)
    if gap < -EIGHTH:
        leaning = replace(
            leaning, confidence="low",
            reason=f"{leaning.reason}; the lap asks for the opposite, so take a careful step",
        )  # fmt: skip
    wanted = gap if gap > 0 else CAREFUL_STEP
    step = float(nearest_eighth(min(max(wanted, SMALLEST_STEP), LARGEST_STEP)))
    step = min(step, int(room / EIGHTH + 1e-9) * EIGHTH)
    verdict = _verdict(leaning, sign * step)
    if step < felt_step - 1e-9:
        look_for = f"{verdict.look_for}; a step this small shows on the watch before in the wheel"
        return replace(verdict, look_for=look_for)
    return verdict


def _verdict(leaning: Leaning, amount: float) -> Verdict:
    return Verdict(
        leaning.change, amount, leaning.confidence, leaning.reason, leaning.question,
        LOOK_FOR[leaning.change],
    )  # fmt: skip


def settle(driver: Leaning | None, logger: Leaning | None) -> Leaning:
    """One leaning from the driver's and the logger's; either may be missing.

    Two that agree make each other surer. Wheelspin comes first, whoever saw it. Opposite ones ask
    for the question that settles it. Else the surer one stands, less sure than it was; the driver's
    when both are.
    """
    if driver is None or logger is None:
        return driver or logger or RULES[-1].says
    if driver.change == logger.change == "ask":
        return driver
    if logger.change == driver.change:
        both = max(map(CONFIDENCES.index, (driver.confidence, logger.confidence)))
        sure = CONFIDENCES[min(both + 1, len(CONFIDENCES) - 1)]
        reason = f"driver and logger agree: {driver.reason}; {logger.reason}"
        return replace(driver, confidence=sure, reason=reason)
    if {driver.change, logger.change} == {"more", "less"}:
        question = "Was the wheel really that way, and which way does the steering channel count?"
        reason = f"the driver says {driver.change}, the logger {logger.change}"
        return Leaning("ask", "low", reason, question)
    if driver.change == "ask" or logger.change == "ask":
        return logger if driver.change == "ask" else driver
    for one in (driver, logger):
        if one.missing_drive:
            return one
    surer, other = driver, logger
    if CONFIDENCES.index(logger.confidence) > CONFIDENCES.index(driver.confidence):
        surer, other = logger, driver
    lowered = CONFIDENCES[max(CONFIDENCES.index(surer.confidence) - 1, 0)]
    whose = "logger" if surer is driver else "driver"
    return replace(
        surer, confidence=lowered, reason=f"{surer.reason}; the {whose} says {other.change}"
    )


def disagreement(driver: Leaning, logger: Leaning) -> str:
    """One sentence when the driver and the logger point different ways; empty when they do not."""
    if {driver.change, logger.change} == {"more", "less"}:
        return (
            f"The driver says {driver.change}, the logger {logger.change}: check the sign of the "
            "steering channel and ask him again before changing anything."
        )
    if "ask" in (driver.change, logger.change) or driver.change == logger.change:
        return ""
    return (
        f"The driver says {driver.change} ({driver.reason}), the logger {logger.change} "
        f"({logger.reason})."
    )
