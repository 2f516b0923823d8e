"""The best stagger of a car as its nights leave it: driver and watch as witnesses.

References
----------
.. [1] D. A. Harville, "Maximum Likelihood Approaches to Variance Component Estimation",
   J. Am. Stat. Assoc. 72 (1977) 320-338: levels and trends integrated out.
.. [2] A. Gelman and others, "Bayesian Data Analysis", 3rd ed., ch. 5: tracks that share a mean.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.belief import (
    CORRECTIONS,
    DRIVER_BEFORE,
    Answer,
    Witness,
    chance_of,
    driver_cases,
    log_sum,
    tasted,
)
from rollpath.book.laps import SCATTERS, Laps, clear_runs, less_level, unlikely
from rollpath.book.nights import IntArray
from rollpath.units import INCH, FloatArray


def _bell(at: FloatArray, spread: float) -> FloatArray:
    chance = np.exp(-0.5 * (at / spread) ** 2)
    return np.asarray(chance / chance.sum())


USUAL = INCH / 2
"""Standard deviation of corrections before any run is seen. Engineering judgement: the physics is
seldom off by an inch."""
_LAP_COSTS: FloatArray = np.geomspace(0.02, 2.0, 10) / INCH**2
"""Lap time lost to stagger off the best, s per m2: 1 in costs from 0.02 to 2 s."""
_COST_UNLIKELY: FloatArray = 0.5 * np.log(_LAP_COSTS * INCH**2 / 0.15) ** 2
"""Log chance against each: 0.15 s is usual, a third to three times it two in three. Engineering
judgement."""
_UNSTEADY: FloatArray = np.array([0.0, 0.5, 1.5])
"""How much the trend of a track differs from night to night, scatters a run."""
POWERS: tuple[float, ...] = (2.0, 1.5)
"""Lap time is lost with this power of what the stagger is off: scrub drag says 2, a car that is
far off does not lose for ever; each as likely. A parabola alone would make corrections too large.
"""
_HALF_INCH = INCH / 2
"""Where all powers lose alike."""
LEANS: FloatArray = np.array([-0.25, 0.0, 0.25])
"""How unlike a car loses on both sides: with so much more on one as less on the other."""
_LEAN_CHANCES: FloatArray = np.array([1.0, 4.0, 1.0]) / 6.0
"""Gauss and Hermite's points of a normal of 0.15 (engineering judgement)."""
_STEEP, BENT = 100.0, 0.2
"""Trend that all nights share, scatters a run: free; and how it bends, scatters a run squared:
a track levels off. Standard deviations; engineering judgement."""
_LAPS_BEFORE: FloatArray = np.log(
    np.einsum(
        "i,j,k->ijk", _LEAN_CHANCES, chance_of(-unlikely(SCATTERS)), chance_of(-_COST_UNLIKELY)
    ).ravel()
)
"""Log chance of each case of lean, scatter and cost, which all tracks share."""
_SHAPE = 0.03 * INCH
"""What else the foot of a parabola may lie from the quickest stagger by, standard deviation.
Engineering judgement."""
_LIKES = 0.3 * INCH
"""Standard deviation of what a driver likes beside the quickest, season in season out: no lap need
agree with him. Engineering judgement."""
_APART: FloatArray = np.array([0.0, 0.12, 0.25, 0.5]) * INCH
"""How much the corrections of tracks differ, standard deviation, m; each as likely. Engineering
judgement: a surface or a radius taken wrong is worth a quarter inch."""
_TASTES: FloatArray = np.arange(-24.0, 25.0, 2.0) / 16 * INCH
_TASTE_CHANCES: FloatArray = _bell(_TASTES, _LIKES)
"""What he likes, m, and how likely."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What one track has: the driver's answers and the laps."""

    answers: Sequence[Answer]
    laps: Laps


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the nights leave of the corrections.

    Attributes
    ----------
    here : tuple of ndarray
        Chance of each of `CORRECTIONS` at each track.
    together : ndarray
        The same for what the tracks have in common; at one track alone, for that track.
    elsewhere : ndarray
        The same at a track where he has not been.
    driver, watch : Witness
        What each says alone, of all tracks together.
    drivers, watches : tuple of Witness
        The same at each track.
    follows : float
        Log of the Bayes factor for evidence that follows the stagger.
    """

    here: tuple[FloatArray, ...]
    together: FloatArray
    elsewhere: FloatArray
    driver: Witness
    watch: Witness
    drivers: tuple[Witness, ...]
    watches: tuple[Witness, ...]
    follows: float


def posterior_of(tracks: Sequence[Evidence], usual: float = USUAL) -> Posterior:
    """The corrections given the driver's answers and the lap times.

    Parameters
    ----------
    tracks : sequence of Evidence
        At least one.
    usual : float
        Standard deviation of corrections before any run is seen, m.

    Notes
    -----
    The best stagger at track j is the optimum by physics plus c_j; c_j scatters about a
    correction c common to all by an unknown amount [2]_. Answers follow the ordinal model of
    `belief.driver`; all of them share the driver's taste. A lap is
    ``T = T_stretch + a_night order + b order^2 + k |x - c_j|^p (1 + s sign(c_j - x))`` plus noise:
    the level of each stretch and the mean trend in run order are free, the bend b is small, the
    trend of a night scatters about the mean (all integrated out of laps and regressors [1]_), and
    cost k, power p, lean s, noise and scatter are averaged over what is plausible. What the other
    tracks say of cost, lean and noise, and of the driver, is taken over to each track.
    """
    prior = -0.5 * (CORRECTIONS / usual) ** 2
    prior -= log_sum(prior)
    said = _Cases(np.array([driver_cases(track.answers) for track in tracks]), DRIVER_BEFORE)
    laps = [track.laps for track in tracks]
    trends = [_trends_of(one) for one in laps]
    timed = _Cases(np.array(list(map(_lap_cases, laps, trends))), _LAPS_BEFORE)
    driver, watch = said.pooled(), tasted(timed.pooled(), _SHAPE)
    heard, seen = said.messages(prior), [tasted(one, _SHAPE) for one in timed.messages(prior)]
    here, together, elsewhere = _over_tracks(heard, seen, prior)
    null = _unrelated([a.said for track in tracks for a in track.answers])
    null += _unmoved(laps, trends)
    one = float(log_sum(prior + said.pooled() + timed.pooled()))
    each = said.unlike(prior) + timed.unlike(prior)
    return Posterior(
        here, together if len(here) > 1 else here[0], elsewhere,
        Witness("driver", tasted(driver)), Witness("watch", watch),
        tuple(Witness("driver", tasted(one)) for one in heard),
        tuple(Witness("watch", one) for one in seen),
        float(np.logaddexp(one, each)) - math.log(2.0) - null,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Cases:
    """What tracks say in every case of the unknowns that they share.

    Attributes
    ----------
    logs : ndarray, shape (tracks, unknowns, candidates)
        Log likelihoods.
    before : ndarray, shape (unknowns,)
        Log chances before any run.
    """

    logs: FloatArray
    before: FloatArray

    def pooled(self) -> FloatArray:
        """Log likelihood of one correction for all tracks."""
        return np.asarray(log_sum(self.logs.sum(axis=0) + self.before[:, None]))

    def unlike(self, prior: FloatArray) -> float:
        """Log evidence when every track has a correction of its own."""
        return float(log_sum(self._heard(prior).sum(axis=0) + self.before))

    def messages(self, prior: FloatArray) -> list[FloatArray]:
        """Log likelihood of each track, the unknowns weighed by what the others say of them."""
        heard = self._heard(prior)
        weights = self.before + heard.sum(axis=0) - heard
        return [
            np.asarray(log_sum(logs + (weight - log_sum(weight))[:, None]))
            for logs, weight in zip(self.logs, weights, strict=True)
        ]

    def _heard(self, prior: FloatArray) -> FloatArray:
        """Log evidence of each track for each case, (tracks, unknowns)."""
        return np.asarray(log_sum(np.moveaxis(self.logs + prior, 2, 0)))


def _over_tracks(
    said: Sequence[FloatArray], timed: Sequence[FloatArray], prior: FloatArray
) -> tuple[tuple[FloatArray, ...], FloatArray, FloatArray]:
    """Chances at each track, of the common part, and elsewhere.

    The driver's taste and how much tracks differ are averaged over.
    """
    heard = np.array([  # (tastes, tracks, candidates)
        [_shifted(d, taste) + w for d, w in zip(said, timed, strict=True)] for taste in _TASTES
    ])  # fmt: skip
    here, common, elsewhere = [], [], []
    for scatter in _APART:
        known = tasted(heard, scatter)
        total = prior + known.sum(axis=1) + np.log(_TASTE_CHANCES)[:, None]
        common.append(log_sum(total))
        elsewhere.append(tasted(common[-1], scatter))
        here.append(log_sum(heard + tasted(total[:, None] - known, scatter)))
    return (
        tuple(chance_of(log) for log in log_sum(np.array(here))),
        chance_of(log_sum(np.array(common))),
        chance_of(log_sum(np.array(elsewhere))),
    )


def _shifted(log: FloatArray, by: float) -> FloatArray:
    """The log likelihood of c where the witness speaks of c + by."""
    return np.interp(CORRECTIONS + by, CORRECTIONS, log)


def _unrelated(said: Sequence[int]) -> float:
    """Log chance of answers that come in any proportions, all as likely, whatever the stagger."""
    counts = [sum(1 for one in said if one == answer) for answer in (1, 0, -1)]
    return math.lgamma(3) + sum(math.lgamma(n + 1) for n in counts) - math.lgamma(len(said) + 3)


# The watch


def _trends_of(laps: Laps) -> list["_Trends"]:
    """One for each of `_UNSTEADY`; none without laps."""
    if len(laps.times) == 0:
        return []
    weights = clear_runs(laps)
    return [_Trends.of(laps, weights, float(unsteady)) for unsteady in _UNSTEADY]


def _lap_cases(laps: Laps, trends: Sequence["_Trends"]) -> FloatArray:
    """Log likelihoods of the laps of a track, (leans x scatters x costs, candidates).

    How unsteady the trend is and the power of the loss are averaged over.
    """
    if not trends:
        return np.zeros((len(_LAPS_BEFORE), len(CORRECTIONS)))
    short, cases = CORRECTIONS[:, None] - laps.offsets, []
    for trend in trends:
        times, level = trend.rid(laps.times), trend.level()
        for power in POWERS:
            loss = np.abs(short) ** power * _HALF_INCH ** (2.0 - power)
            even, odd = trend.rid(loss), trend.rid(np.sign(short) * loss)
            cases.append(level[:, None, None] + _fits(times, even, odd))
    total = log_sum(np.array(cases)) - math.log(len(cases))
    return np.asarray(total).reshape(-1, len(CORRECTIONS))


def _fits(times: FloatArray, even: FloatArray, odd: FloatArray) -> FloatArray:
    """Log likelihoods but for a constant, (leans, scatters, costs, candidates).

    `even` and `odd` are what stagger costs and how that leans, (candidates, runs); all three are
    rid of trends.
    """
    lean, k = LEANS[:, None, None], _LAP_COSTS[:, None]
    squares = (
        times @ times
        - 2 * k * (even @ times + lean * (odd @ times))
        + k**2 * (_row(even, even) + 2 * lean * _row(even, odd) + lean**2 * _row(odd, odd))
    )
    return np.asarray(-0.5 * squares[:, None] / SCATTERS[:, None, None] ** 2)


def _row(a: FloatArray, b: FloatArray) -> FloatArray:
    """Products of columns, row by row."""
    return np.asarray(np.einsum("ij,ij->i", a, b))


@dataclass(frozen=True, eq=False)
class _Trends:
    """What the laps of nights have in common beside the stagger: levels and trends.

    Attributes
    ----------
    weights : ndarray, shape (runs,)
    starts : ndarray of int, shape (stretches,)
        First run of each stretch; the runs of a stretch follow each other.
    order : ndarray, shape (runs,)
        Place in the night less its mean.
    give : ndarray, shape (stretches,)
        How much of a night's own trend is taken out.
    shared : ndarray, shape (2, runs)
        Directions of trend and bend that all nights share, each of length 1.
    strength : ndarray, shape (2,)
        Variance that they add along those.
    """

    weights: FloatArray
    starts: IntArray
    order: FloatArray
    give: FloatArray
    shared: FloatArray
    strength: FloatArray
    log_det: float

    @classmethod
    def of(cls, laps: Laps, weights: FloatArray, unsteady: float) -> "_Trends":
        """`unsteady` is how the trend differs from night to night, scatters a run."""
        starts = np.flatnonzero(np.diff(laps.stretches, prepend=laps.stretches[0] - 1))
        order = less_level(laps.orders, weights, starts)
        along = np.add.reduceat(order**2 * weights, starts)
        own = unsteady**2 * along
        give = (1.0 - 1.0 / np.sqrt(1.0 + own)) / np.maximum(along, 1e-12)
        alone = cls(weights, starts, order, give, np.zeros((0, len(order))), np.zeros(0), 0.0)
        run = alone.rid(np.array([_STEEP * order, BENT * laps.orders**2]))
        strength, turned = np.linalg.eigh(run @ run.T)
        strength = np.maximum(strength, 0.0)
        shared = turned.T @ run / np.sqrt(np.maximum(strength, 1e-12))[:, None]
        log_det = float(np.log1p(own).sum() + np.log1p(strength).sum())
        return cls(weights, starts, order, give, shared, strength, log_det)

    def rid(self, columns: FloatArray) -> FloatArray:
        """Columns, (..., runs), of which plain products leave out levels and trends [1]_."""
        column = less_level(columns, self.weights, self.starts)
        along = np.add.reduceat(column * (self.order * self.weights), self.starts, axis=-1)
        column = column - np.repeat(along * self.give, self._lengths, axis=-1) * self.order
        column = column * np.sqrt(self.weights)
        part = 1.0 - 1.0 / np.sqrt(1.0 + self.strength)
        return np.asarray(column - (column @ self.shared.T * part) @ self.shared)

    def level(self) -> FloatArray:
        """What the log likelihood has beside the squares, (scatters,)."""
        freedom = max(float(self.weights.sum()) - len(self.starts), 0.0)
        return -freedom * np.log(SCATTERS) - 0.5 * self.log_det

    @property
    def _lengths(self) -> IntArray:
        return np.diff(self.starts, append=len(self.weights))


@dataclass(frozen=True, eq=False)
class LapBeliefs:
    """How laps may go, all at once.

    Attributes
    ----------
    chance : ndarray, shape (leans, scatters, costs, candidates)
    costs : ndarray
        s per m2.
    scatters : ndarray
        s.
    """

    chance: FloatArray
    costs: FloatArray
    scatters: FloatArray


def lap_beliefs(tracks: Sequence[Laps], here: int | None, chance: FloatArray) -> LapBeliefs:
    """What is known of how laps go at a track, together with its correction.

    Parameters
    ----------
    tracks : sequence of Laps
    here : int or None
        Which of them it is; None for none.
    chance : ndarray, shape (candidates,)
        Of the corrections at the track.
    """
    heard, own = _LAPS_BEFORE[:, None], np.zeros((1, 1))
    for at, laps in enumerate(tracks):
        cases = _lap_cases(laps, _trends_of(laps))
        if at == here:
            own = cases
        else:
            heard = heard + log_sum((cases + np.log(chance + 1e-300)).T)[:, None]
    joint = heard + own
    weights = np.exp(joint - log_sum(joint)) * chance
    sizes = (len(LEANS), len(SCATTERS), len(_LAP_COSTS), len(CORRECTIONS))
    return LapBeliefs(np.broadcast_to(weights, (len(_LAPS_BEFORE), sizes[-1])).reshape(sizes),
                      _LAP_COSTS, SCATTERS)  # fmt: skip


def lost(short: FloatArray, power: FloatArray, cost: FloatArray, lean: FloatArray) -> FloatArray:
    """Lap time lost, s, where stagger is short of the best by so much, m."""
    shape = np.abs(short) ** power * _HALF_INCH ** (2.0 - power)
    return np.asarray(cost * shape * (1.0 + lean * np.sign(short)))


def _unmoved(tracks: Sequence[Laps], trends: Sequence[Sequence["_Trends"]]) -> float:
    """Log evidence of the laps with no regard to the stagger."""
    cases = np.zeros((len(_UNSTEADY), len(SCATTERS)))
    for laps, each in zip(tracks, trends, strict=True):
        for i, trend in enumerate(each):
            times = trend.rid(laps.times)
            cases[i] += trend.level() - 0.5 * (times @ times) / SCATTERS**2
    before = chance_of(-unlikely(SCATTERS)) / len(_UNSTEADY)
    return float(log_sum((cases + np.log(before)).ravel()))
