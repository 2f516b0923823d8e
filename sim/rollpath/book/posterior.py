"""The best stagger of a car as its nights leave it: driver and watch as witnesses."""

import math
from dataclasses import dataclass

import numpy as np

from rollpath.book.nights import IntArray
from rollpath.units import INCH, FloatArray

# The estimator

STEP = INCH / 32
CANDIDATES: FloatArray = np.arange(-48.0, 49.0) * STEP
"""Corrections considered: 1 1/2 in either way."""
USUAL = INCH / 2
"""Standard deviation of corrections before any run is seen. Engineering judgement: the physics is
seldom off by an inch."""
_BLURS: FloatArray = np.geomspace(1 / 16, 2.0, 8) * INCH
"""How much stagger a driver's feel scatters by, from sharp to blind."""
_CONTENTS: FloatArray = np.geomspace(1 / 16, 1.0, 5) * INCH
"""How far off the stagger may be before he minds."""
_LAPSE = 0.06
"""Share of answers that are slips of the tongue (engineering judgement)."""
_LAP_COSTS: FloatArray = np.geomspace(0.02, 2.0, 12) / INCH**2
"""Lap time lost to stagger off the best, s per m2: 1 in costs from 0.02 to 2 s."""
_WATCH = 0.02
"""Least scatter of a lap time between like runs, s (engineering judgement)."""
_FOLLOWS = math.log(20.0)
"""How much likelier the evidence must be when it follows the stagger than when it does not:
"strong" on the scale of Kass and Raftery."""
_TAIL = 0.005
"""Probability left out at each end of the interval."""
_REACH = 160
"""Steps of offset considered; a car further from its optimum counts as this far."""


@dataclass(frozen=True)
class Watch:
    """Timed runs: stagger off the optimum, m; lap, s; stretch. Each of shape (runs,)."""

    offsets: FloatArray
    laps: FloatArray
    stretches: IntArray


@dataclass(frozen=True)
class _Posterior:
    """What is known of the correction: its median and interval, m.

    `follows` is the log of the Bayes factor for evidence that follows the stagger.
    """

    median: float
    interval: tuple[float, float]
    follows: float

    def doubt(self) -> str:
        """Why no correction is to be drawn from it; empty when one is."""
        low, high = self.interval
        if self.follows < _FOLLOWS:
            return "answers and lap times do not follow the stagger clearly enough"
        if low <= 0.0 <= high:
            return "no correction at all is as likely: the physics holds"
        return ""


def posterior_of(offsets: FloatArray, said: IntArray, watch: Watch) -> _Posterior:
    """The correction given the driver's answers and the lap times.

    Parameters
    ----------
    offsets : ndarray, shape (answers,)
        Stagger fitted minus optimum by physics, x, m.
    said : ndarray, shape (answers,)
        What the driver asked for, see `driver_says`.
    watch : Watch

    Notes
    -----
    The car's best stagger is the optimum by physics plus c, the same for all nights of the car in
    the condition. The driver feels c - x, blurred: an ordinal model [1]_ with
    ``P(more) = F((c - x - t) / b)``, ``P(less) = F((x - c - t) / b)``, F logistic, t how far off he
    is content with, b the blur, and a few slips of the tongue. A lap is
    ``T = T_stretch + k (x - c)^2`` plus noise of unknown size; the level of each stretch is free,
    so that nights are not compared with one another. Blur, content, k and noise are averaged
    over what is plausible; c starts from a normal distribution about zero, so little evidence
    gives little correction.

    Taken for granted: the driver is not biased towards one answer whatever the stagger (the Bayes
    factor [2]_ against answers and laps unrelated to the stagger guards against it); within a
    stretch the surface does not drift along with the stagger.
    """
    prior = -0.5 * (CANDIDATES / USUAL) ** 2
    prior -= _log_sum(prior)
    driver, driver_null = _driver_evidence(offsets, said)
    laps, laps_null = _lap_evidence(watch)
    joint = prior + driver + laps
    evidence = float(_log_sum(joint))
    chance = np.exp(joint - evidence)
    low, median, high = np.interp(
        [_TAIL, 0.5, 1.0 - _TAIL], np.cumsum(chance) - 0.5 * chance, CANDIDATES
    )
    follows = evidence - driver_null - laps_null
    return _Posterior(float(median), (float(low), float(high)), follows)


def _driver_evidence(offsets: FloatArray, said: IntArray) -> tuple[FloatArray, float]:
    """Log likelihood of the answers for each candidate, and with no regard to the stagger."""
    at = np.clip(np.rint(offsets / STEP), -_REACH, _REACH).astype(int)
    places, where = np.unique(at, return_inverse=True)
    d = CANDIDATES[:, None] - places * STEP  # c - x, (candidates, places)
    blur = _BLURS[:, None, None, None]
    content = _CONTENTS[:, None, None]
    more, less = _logistic((d - content) / blur), _logistic((-d - content) / blur)
    total = np.zeros((len(_BLURS), len(_CONTENTS), len(CANDIDATES)))
    for answer, chance in ((1, more), (-1, less), (0, 1.0 - more - less)):
        heard = np.bincount(where[said == answer], minlength=len(places))
        total += np.log((1.0 - _LAPSE) * chance + _LAPSE / 3.0) @ heard
    cases = total.reshape(-1, len(CANDIDATES))
    return _log_sum(cases) - math.log(len(cases)), _unrelated(said)


def _unrelated(said: IntArray) -> float:
    """Log chance of answers that come in any proportions, all as likely, whatever the stagger."""
    counts = [int(np.sum(said == answer)) for answer in (1, 0, -1)]
    return math.lgamma(3) + sum(math.lgamma(n + 1) for n in counts) - math.lgamma(len(said) + 3)


def _lap_evidence(watch: Watch) -> tuple[FloatArray, float]:
    """Log likelihood of the laps for each candidate, and with no regard to the stagger.

    With the level of every stretch and the noise integrated out (Jeffreys' prior) the likelihood
    is the sum of squares to the power of minus half the degrees of freedom.
    """
    if not len(watch.laps):
        return np.zeros_like(CANDIDATES), 0.0
    x, laps, groups = watch.offsets, watch.laps, watch.stretches
    free = len(laps) - len(np.unique(groups))
    T, q_1, q_2 = (_from_own_mean(values, groups) for values in (laps, x, x**2))
    q = q_2 - 2.0 * CANDIDATES[:, None] * q_1  # (x - c)^2 less its mean in the stretch
    k = _LAP_COSTS[:, None]
    squares = T @ T - 2.0 * k * (q @ T) + k**2 * np.sum(q**2, axis=1)
    floor = free * _WATCH**2
    cases = -0.5 * free * np.log(squares + floor)
    return _log_sum(cases) - math.log(len(cases)), -0.5 * free * math.log(T @ T + floor)


def _from_own_mean(values: FloatArray, groups: IntArray) -> FloatArray:
    _, which = np.unique(groups, return_inverse=True)
    means = np.bincount(which, values) / np.bincount(which)
    less: FloatArray = values - means[which]
    return less


def _logistic(z: FloatArray) -> FloatArray:
    value: FloatArray = 0.5 * (1.0 + np.tanh(0.5 * z))
    return value


def _log_sum(logs: FloatArray) -> FloatArray:
    """Log of the sum of exponentials over the first axis."""
    top = logs.max(axis=0)
    total: FloatArray = top + np.log(np.exp(logs - top).sum(axis=0))
    return total
