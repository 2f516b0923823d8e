"""What a driver can answer of a run, and what his answers say, read by themselves.

Too little stagger on the throttle: the car drifts out with the wheel held left. Too much: it
crabs, the wheel turned back right, though it hooks up. Wheelspin is neither. (common practice, no
source; how sure each reading is: engineering judgement)
"""

from collections.abc import Mapping
from dataclasses import dataclass

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

    def __post_init__(self) -> None:
        if self.entry == "push":  # the same by another word
            object.__setattr__(self, "entry", "tight")

    @property
    def given(self) -> dict[str, str]:
        return {name: answer for name, answer in vars(self).items() if answer is not None}


SLIPS = {"high": 0.06, "fair": 0.15, "low": 0.35}
"""How often answers so sure say nothing of the stagger. Engineering judgement."""


@dataclass(frozen=True)
class Reading:
    """What some answers say.

    Attributes
    ----------
    code : str
        Of the rule that spoke.
    change : str
        more, less, leave, elsewhere (not a stagger problem, or not first), or ask.
    sure : str
        A key of `SLIPS`.
    """

    code: str
    change: str
    sure: str


@dataclass(frozen=True)
class Rule:
    """Answers that must all stand, one of several each, and what they say; `-` is no answer."""

    when: Mapping[str, tuple[str, ...]]
    says: Reading

    def fits(self, answers: Answers) -> bool:
        """Whether the answers are those of the rule.

        Parameters
        ----------
        answers : Answers
        """
        return all((getattr(answers, name) or "-") in any_of for name, any_of in self.when.items())


def _rule(code: str, change: str, sure: str, **when: tuple[str, ...] | str) -> Rule:
    some = {name: (one,) if isinstance(one, str) else one for name, one in when.items()}
    return Rule(some, Reading(code, change, sure))


RULES: tuple[Rule, ...] = (
    _rule("spins", "elsewhere", "high", wheelspin="yes"),
    _rule("crabs, wheel left", "ask", "low", crabs="yes", wheel="left"),
    _rule("crabs, drifts out", "ask", "low", crabs="yes", drifts_out="yes"),
    _rule("wheel right, drifts out", "ask", "low", wheel="right", drifts_out="yes"),
    _rule("wheel left, steps out", "ask", "low", wheel="left", drifts_out="steps"),
    _rule("crabs, wheel right", "less", "high", crabs="yes", wheel="right"),
    _rule("crabs", "less", "fair", crabs="yes"),
    _rule("steps out", "ask", "low", drifts_out="steps", crabs="-"),
    _rule("steps out, runs true", "elsewhere", "fair", drifts_out="steps"),
    _rule("wheel right, runs true", "less", "low", wheel="right", crabs="no"),
    _rule("wheel right", "less", "fair", wheel="right"),
    _rule("wheel left, drifts out", "more", "high", wheel="left", drifts_out="yes"),
    _rule("wheel left, holds", "more", "low", wheel="left", drifts_out="no"),
    _rule("wheel left", "more", "fair", wheel="left"),
    _rule("drifts out, wheel straight", "elsewhere", "low", drifts_out="yes", wheel="straight"),
    _rule("drifts out", "ask", "low", drifts_out="yes"),
    _rule("entry alone", "elsewhere", "high", entry=("tight", "loose"), wheel="straight"),
    _rule("entry", "elsewhere", "low", entry=("tight", "loose")),
    _rule("all well", "leave", "high", wheel="straight", drifts_out="no", crabs="no"),
    _rule("wheel straight", "leave", "fair", wheel="straight"),
    _rule("holds", "leave", "low", drifts_out="no"),
    _rule("nothing said", "ask", "low"),
)
"""The first rule that fits speaks; the last always does."""


def read_answers(answers: Answers) -> Reading:
    """What the driver's answers say, without regard to what was foretold."""
    return next(rule.says for rule in RULES if rule.fits(answers))
