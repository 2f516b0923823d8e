"""One belief of the best stagger: the physics as prior, every witness a likelihood.

The unknown is the best stagger of this car on this surface, written as what it is more than the
optimum by physics (the correction, m), on the grid `CORRECTIONS`. A witness is a log likelihood on
that grid: the driver's answers (`driver`), an estimate with its standard deviation (`estimate`: a
recorded log, a corner taped by hand), or any other, ready made (`Witness`: the lap times and the
nights of the notebook). `believe` puts them on the physics.

For a debrief::

    heard = [driver([Answer(said=1, foretold=0.8)]), estimate("log", value - physics, sd)]
    belief = believe(physics, sd, heard)
    belief.mean, belief.interval(0.9)        # m of stagger
    belief.step(fitted, window)              # m, in eighths, 1/2 in at most; 0.0 when they disagree
    belief.confidence(fitted)                # "low", "fair" or "high"
    belief.apart                             # pairs of names that do not fit together
    belief.shares                            # {"physics": 0.5, "driver": 0.2, "log": 0.3}

`physics` is the optimum without a window, `sd` its standard deviation (the give-or-take, nine
times in ten, divided by 1.645). An answer is read in one of two ways. With `foretold` (what the
model of feel said he would report at the fitted stagger, from 1, surely too little, to -1, surely
too much) what he says as foretold is no news and leaves the mean at the physics. Give 1 or -1
from where the screens foretell that he notices, and let it move smoothly with the fitted stagger
in between (no faster than 1 in half an inch; see `foretold`), or the step would not be monotone.
Without it the answer is read against the fitted stagger itself, `off` from the physics, with
`offset` the stagger beyond the best with which he is content. A step against what he asked for is
possible (the physics may be surer than one answer); whether to give that order is the caller's.

References
----------
.. [1] P. McCullagh, "Regression Models for Ordinal Data", J. R. Stat. Soc. B 42 (1980) 109-142.
.. [2] R. E. Kass and A. E. Raftery, "Bayes Factors", J. Am. Stat. Assoc. 90 (1995) 773-795.
.. [3] A. Gelman and others, "Bayesian Data Analysis", 3rd ed., ch. 2 (precisions add).
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rollpath.units import EIGHTH, INCH, FloatArray, nearest_eighth

STEP = INCH / 32
CORRECTIONS: FloatArray = np.arange(-96.0, 97.0) * STEP
"""Best stagger less the optimum by physics: 3 in either way."""
LARGEST_STEP = INCH / 2
"""Most stagger to change between two runs; more teaches less. Engineering judgement."""
THRESHOLD = 0.75 * INCH
"""How far off the stagger may be before a driver minds: middle of what is plausible. Engineering
judgement; the model of feel gives a degree of wheel for about as much."""
SLIPS = 0.06
"""Share of answers that are slips of the tongue (engineering judgement)."""
_THRESHOLDS: FloatArray = np.geomspace(3 / 16, 2.25, 7) * INCH
_THRESHOLD_SPREAD = 0.6
"""Standard deviation of the logarithm of the threshold: from half to twice it, two in three."""
_BLURS: FloatArray = np.geomspace(1 / 16, 2.0, 7) * INCH
"""How much stagger a driver's feel scatters by, from sharp to blind; each as likely."""
DRIVER_BEFORE: FloatArray = np.tile(
    -0.5 * (np.log(_THRESHOLDS / THRESHOLD) / _THRESHOLD_SPREAD) ** 2, len(_BLURS)
)
DRIVER_BEFORE -= np.log(np.sum(np.exp(DRIVER_BEFORE)))
"""Log chance of each case of blur and threshold."""
_FURTHEST = 192
"""Steps of the grid; a car further from its optimum counts as this far."""
TASTE = 0.07 * INCH
"""Standard deviation of what drivers like beside the quickest; all of a driver's answers share
it, so any number of them tells his best stagger no finer. Engineering judgement."""
BEFORE = INCH
"""Standard deviation of corrections where nobody has spoken, not even this physics."""
APART = 1 / 3
"""Witnesses stand apart when one truth makes what both say less likely than two truths by this;
3 is "positive" evidence on the scale of Kass and Raftery [2]_."""
FAR_FROM_PHYSICS = 1 / 20
"""The same for a witness and the physics, which he is there to correct; 20 is "strong"."""
LEFT_ALONE = 0.375 * INCH
"""Stagger is left alone rightly when the best is no further than this: half the threshold."""
_SURE, _FAIR = 0.9, 0.75
_EDGE = 4
"""Steps of the grid next to its ends: a belief that reaches in there is cut short."""
_CUT = 0.01


@dataclass(frozen=True)
class Answer:
    """What the driver said of one run.

    Attributes
    ----------
    said : int
        1 he asks for more stagger, -1 for less, 0 to leave it.
    foretold : float or None
        What was foretold for the fitted stagger, from 1 to -1 as `said`; None when the answer is
        to be read against `off`.
    off : float
        Stagger fitted less optimum by physics, m.
    offset : float
        Stagger beyond the best with which he is content, m.
    slips : float
        Chance that the answer says nothing; raise it for a doubtful one.
    """

    said: int
    foretold: float | None = None
    off: float = 0.0
    offset: float = 0.0
    slips: float = SLIPS


@dataclass(frozen=True, eq=False)
class Witness:
    """Somebody who knows something of the best stagger: a name, and a log likelihood on
    `CORRECTIONS`, shape (candidates,), up to a constant."""

    name: str
    log: FloatArray


@dataclass(frozen=True, eq=False)
class Belief:
    """What is known of the best stagger.

    Attributes
    ----------
    physics, sd : float
        Optimum by physics and its standard deviation, m.
    chance : ndarray, shape (candidates,)
        Of each of `CORRECTIONS`; sums to 1.
    shares : dict of str to float
        By name, `physics` first: part that each has in holding the answer where it is; sums to 1.
    pulls : dict of str to float
        By name of witness: what the mean would lose without it, m.
    apart : tuple of pairs of str
        Who does not fit together; see `APART` and `FAR_FROM_PHYSICS`.
    is_cut : bool
        The belief reaches the end of the grid: the best stagger is that far off or further, and
        something other than stagger is likely wrong.
    """

    physics: float
    sd: float
    chance: FloatArray
    shares: dict[str, float]
    pulls: dict[str, float]
    apart: tuple[tuple[str, str], ...]
    is_cut: bool

    @property
    def mean(self) -> float:
        """Best stagger, m."""
        return self.physics + float(self.chance @ CORRECTIONS)

    @property
    def spread(self) -> float:
        """Standard deviation, m."""
        return math.sqrt(float(self.chance @ (CORRECTIONS + self.physics - self.mean) ** 2))

    def interval(self, covers: float = 0.9) -> tuple[float, float]:
        """Best stagger lies in here so often, m."""
        low, high = quantiles(self.chance, (0.5 - covers / 2, 0.5 + covers / 2))
        return self.physics + low, self.physics + high

    def chance_above(self, stagger: float) -> float:
        """Chance that the best is more than this stagger, m."""
        edges = np.append(CORRECTIONS - STEP / 2, CORRECTIONS[-1] + STEP / 2)
        below = np.append(0.0, np.cumsum(self.chance))
        return 1.0 - float(np.interp(stagger - self.physics, edges, below))

    def step(self, fitted: float, window: tuple[float, float] | None = None) -> float:
        """Stagger to add for the next run, m, in eighths; 0 when witnesses stand apart.

        Parameters
        ----------
        fitted : float
            m.
        window : tuple of float, optional
            A step stops at its ends, m.
        """
        if self.apart:
            return 0.0
        step = float(nearest_eighth(np.clip(self.mean - fitted, -LARGEST_STEP, LARGEST_STEP)))
        if window is None:
            return step
        room = max(0.0, window[1] - fitted if step > 0 else fitted - window[0])
        return math.copysign(min(abs(step), int(room / EIGHTH + 1e-6) * EIGHTH), step)

    def sureness(self, fitted: float, step: float | None = None) -> float:
        """Chance that the step goes the right way, or that leaving it is right (`LEFT_ALONE`)."""
        step = self.step(fitted) if step is None else step
        if step:
            above = self.chance_above(fitted)
            return above if step > 0 else 1.0 - above
        return self.chance_above(fitted - LEFT_ALONE) - self.chance_above(fitted + LEFT_ALONE)

    def confidence(self, fitted: float, step: float | None = None) -> str:
        """``low``, ``fair`` (three in four) or ``high`` (nine in ten); apart is low."""
        sure = self.sureness(fitted, step)
        return "low" if self.apart or sure < _FAIR else "fair" if sure < _SURE else "high"


def believe(physics: float, sd: float, witnesses: Sequence[Witness] = ()) -> Belief:
    """The best stagger by physics and witnesses together.

    Parameters
    ----------
    physics : float
        Optimum by physics, m.
    sd : float
        Its standard deviation, m; more than 0.
    witnesses : sequence of Witness
        Each independent of the others; names differ.
    """
    own = Witness("physics", -0.5 * (CORRECTIONS / sd) ** 2)
    everyone = [own, *witnesses]
    total = np.sum([one.log for one in everyone], axis=0)
    chance = chance_of(total)
    edge = float(max(chance[:_EDGE].sum(), chance[-_EDGE:].sum()))
    mean = float(chance @ CORRECTIONS)
    return Belief(
        physics,
        sd,
        chance,
        _shares(everyone, chance),
        {one.name: mean - float(chance_of(total - one.log) @ CORRECTIONS) for one in witnesses},
        tuple(
            (a.name, b.name)
            for a, b in itertools.combinations(everyone, 2)
            if fit_together(a, b) < (FAR_FROM_PHYSICS if a is own else APART)
        ),
        edge > _CUT,
    )


def _shares(witnesses: Sequence[Witness], chance: FloatArray) -> dict[str, float]:
    """How hard each holds or pulls: the root mean square slope of its log likelihood.

    Of witnesses who agree and are normal that is in proportion to their precisions, as they add
    up in the answer [3]_.
    """
    slope = {
        one.name: math.sqrt(float(chance @ np.gradient(one.log, STEP) ** 2)) for one in witnesses
    }
    whole = sum(slope.values())
    return {name: value / whole for name, value in slope.items()}


def fit_together(a: Witness, b: Witness) -> float:
    """How much likelier what two witnesses say is under one truth than two: a Bayes factor."""
    before = -0.5 * (CORRECTIONS / BEFORE) ** 2
    before = before - log_sum(before)
    one = log_sum(before + a.log + b.log)
    return float(np.exp(one - log_sum(before + a.log) - log_sum(before + b.log)))


def estimate(name: str, correction: float, sd: float) -> Witness:
    """A witness who gives a number: best stagger less physics and its standard deviation, m."""
    return Witness(name, -0.5 * ((CORRECTIONS - correction) / sd) ** 2)


def foretold(physics: float, fitted: float, offset: float = 0.0) -> float:
    """What a driver is foretold to say, from 1 (surely too little) to -1, without a model of feel.

    Parameters
    ----------
    physics, fitted : float
        m.
    offset : float
        Stagger beyond the optimum by physics with which his hands are content, m.
    """
    return float(np.clip((physics + offset - fitted) / THRESHOLD, -1.0, 1.0))


def driver(answers: Sequence[Answer], name: str = "driver") -> Witness:
    """What a driver's answers say of the best stagger, all of them together.

    Notes
    -----
    He feels d, how much stagger is missing, blurred: an ordinal model [1]_ with
    ``P(more) = F((d - t) / b)``, ``P(less) = F((-d - t) / b)``, F logistic, t his threshold, b his
    blur, both unknown and the same for all answers, and a few slips of the tongue. Without
    `foretold` d = best + offset - fitted. With it he compares with what was foretold: d = best -
    physics, and an answer counts as the part of it that is news: foretold 0.8 and said 1 is eight
    tenths "as foretold" and two tenths "more". What he likes beside the quickest (`TASTE`) is
    shared by all his answers.
    """
    return Witness(name, tasted(_ordinal(answers)))


def _ordinal(answers: Sequence[Answer]) -> FloatArray:
    """Log likelihood of the answers on the grid, threshold and blur averaged over."""
    return np.asarray(log_sum(driver_cases(answers) + DRIVER_BEFORE[:, None]))


def driver_cases(answers: Sequence[Answer]) -> FloatArray:
    """Log likelihood of answers in every case of blur and threshold, shape (cases, candidates).

    How likely the cases are before anything was said stands in `DRIVER_BEFORE`.
    """
    total = np.zeros((len(DRIVER_BEFORE), len(CORRECTIONS)))
    if answers:
        table, counts = np.unique([_reading(one) for one in answers], axis=0, return_counts=True)
        for (zero, news, slips), count in zip(table, counts, strict=True):
            total += count * _one_answer(int(zero), float(news), float(slips))
    return total


@lru_cache(maxsize=256)
def _one_answer(zero: int, news: float, slips: float) -> FloatArray:
    """Log likelihood of one answer; seasons ask for the same few again and again."""
    d = CORRECTIONS - zero * STEP
    blur, t = _BLURS[:, None, None], _THRESHOLDS[None, :, None]
    more, less = _logistic((d - t) / blur), _logistic((-d - t) / blur)
    log = sum(
        part * np.log((1.0 - slips) * chance + slips / 3.0)
        for part, chance in (
            (max(news, 0.0), more),
            (max(-news, 0.0), less),
            (max(1.0 - abs(news), 0.0), 1.0 - more - less),
        )
    )
    return np.asarray(log).reshape(-1, len(CORRECTIONS))


def _reading(answer: Answer) -> tuple[int, float, float]:
    """Where his zero is, grid steps; what is news in his answer; how often such a one slips."""
    if answer.foretold is None:
        at = round((answer.off - answer.offset) / STEP)
        return max(-_FURTHEST, min(_FURTHEST, at)), float(answer.said), answer.slips
    return 0, answer.said - answer.foretold, answer.slips


def tasted(log: FloatArray, spread: float = TASTE) -> FloatArray:
    """A log likelihood with something unknown, shared by all of it, added to the correction.

    Parameters
    ----------
    log : ndarray, shape (..., candidates)
    spread : float
        Standard deviation of what is added, m; 0 adds nothing.
    """
    if spread <= 0.0:
        return log
    top = log.max(axis=-1, keepdims=True)
    chance = np.exp(np.maximum(log - top, -600.0))
    return np.asarray(np.log(chance @ _smear(spread)) + top)


@lru_cache(maxsize=16)
def _smear(spread: float) -> FloatArray:
    """Chance of each candidate given each other; columns sum to 1."""
    blur = np.exp(-0.5 * ((CORRECTIONS[:, None] - CORRECTIONS) / spread) ** 2)
    return np.asarray(blur / blur.sum(axis=0))


def chance_of(log: FloatArray) -> FloatArray:
    """Chances of the candidates from logs that lack a constant."""
    chance: FloatArray = np.exp(log - log_sum(log))
    return chance


def quantiles(chance: FloatArray, at: Sequence[float]) -> tuple[float, ...]:
    """Corrections below which so much of the chance lies, m."""
    middle = np.cumsum(chance) - 0.5 * chance
    return tuple(map(float, np.interp(at, middle, CORRECTIONS)))


def log_sum(logs: FloatArray) -> FloatArray:
    """Log of the sum of exponentials over the first axis."""
    top = logs.max(axis=0)
    total: FloatArray = top + np.log(np.exp(logs - top).sum(axis=0))
    return total


def _logistic(z: FloatArray) -> FloatArray:
    value: FloatArray = 0.5 * (1.0 + np.tanh(0.5 * z))
    return value
