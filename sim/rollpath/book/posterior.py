"""The best stagger of a car as its nights leave it: driver and watch as witnesses.

References
----------
.. [1] D. A. Harville, "Maximum Likelihood Approaches to Variance Component Estimation",
   J. Am. Stat. Assoc. 72 (1977) 320-338: levels and trends integrated out.
.. [2] A. Gelman and others, "Bayesian Data Analysis", 3rd ed., ch. 5: tracks that share a mean.
.. [3] P. W. Holland and R. E. Welsch, "Robust Regression Using Iteratively Reweighted Least
   Squares", Communications in Statistics A6 (1977) 813-827.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.belief import (
    CORRECTIONS,
    DRIVER_BEFORE,
    TASTE,
    Answer,
    Witness,
    chance_of,
    driver_cases,
    log_sum,
    tasted,
)
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
_SCATTERS: FloatArray = np.geomspace(0.02, 0.6, 8)
"""Scatter of a lap time between like runs, s."""
_UNSTEADY: FloatArray = np.array([0.0, 0.5, 1.5])
"""How much the trend of a track differs from night to night, scatters a run."""
_LAPS_BEFORE: FloatArray = np.full(
    len(_UNSTEADY) * len(_SCATTERS) * len(_LAP_COSTS),
    -math.log(len(_UNSTEADY) * len(_SCATTERS) * len(_LAP_COSTS)),
)
_NO_ORDER = 1e-9
_FEW_LAPS = 8
"""Laps of which it cannot be said which one was held up."""
_ROUNDS = 12
_HELD_UP = 3.5
"""Scatters from which a lap counts half; an honest one two scatters off still counts nine tenths
(engineering judgement)."""
_SHAPE = 0.05 * INCH
"""How far the foot of a parabola may lie from the quickest stagger, standard deviation: a real car
does not lose alike on both sides. Engineering judgement."""
_BIASED = 0.3
"""Share of drivers who like something quite other than the quickest (engineering judgement), and
how other, standard deviation: no lap need agree with them."""
_BIAS = 0.35 * INCH
_APART: FloatArray = np.array([0.0, 0.12, 0.25, 0.5]) * INCH
"""How much the corrections of tracks differ, standard deviation, m; each as likely. Engineering
judgement: a surface or a radius taken wrong is worth a quarter inch."""
_TASTES: FloatArray = np.arange(-24.0, 25.0, 2.0) / 16 * INCH
_TASTE_CHANCES: FloatArray = (1.0 - _BIASED) * _bell(_TASTES, TASTE) + _BIASED * _bell(
    _TASTES, _BIAS
)
"""What a driver likes beside the quickest, m, and how likely."""


@dataclass(frozen=True, eq=False)
class Laps:
    """Timed runs at one track, each of shape (runs,).

    Attributes
    ----------
    offsets : ndarray
        Stagger fitted less optimum by physics, m.
    times : ndarray
        s.
    stretches : ndarray of int
        Only runs of one stretch are compared.
    orders : ndarray
        Place of the run in its night: what a track that slows down goes by.
    """

    offsets: FloatArray
    times: FloatArray
    stretches: IntArray
    orders: FloatArray

    @classmethod
    def none(cls) -> "Laps":
        nothing = np.array([], float)
        return cls(nothing, nothing, np.array([], int), nothing)


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
    ``T = T_stretch + a_night order + k (x - c_j)^2`` plus noise: the level of each stretch and
    the mean trend in run order are free (integrated out of laps and regressors [1]_), the trend
    of a night scatters about that mean, and cost k, noise and scatter are averaged over what is
    plausible. What the other tracks say of such unknowns of the driver and the watch is taken
    over to each track.
    """
    prior = -0.5 * (CORRECTIONS / usual) ** 2
    prior -= log_sum(prior)
    said = _Cases(np.array([driver_cases(track.answers) for track in tracks]), DRIVER_BEFORE)
    timed = _Cases(np.array([_lap_cases(track.laps) for track in tracks]), _LAPS_BEFORE)
    driver, watch = said.pooled(), tasted(timed.pooled(), _SHAPE)
    heard, seen = said.messages(prior), [tasted(one, _SHAPE) for one in timed.messages(prior)]
    here, together, elsewhere = _over_tracks(heard, seen, prior)
    null = _unrelated([a.said for track in tracks for a in track.answers])
    null += _unmoved([track.laps for track in tracks])
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


def _lap_cases(laps: Laps) -> FloatArray:
    """Log likelihoods of the laps of a track, shape (unsteady x scatters x costs, candidates)."""
    c, k = CORRECTIONS, _LAP_COSTS[:, None]
    weights, cases = _clear_runs(laps), []
    for unsteady in _UNSTEADY:
        g, level = _gram(laps, weights, float(unsteady))
        # y - k x^2 + 2 k c x, squared: the level takes k c^2.
        squares = (
            g[0, 0] + k**2 * (g[2, 2] - 4 * c * g[1, 2] + 4 * c**2 * g[1, 1])
            - 2 * k * (g[0, 2] - 2 * c * g[0, 1])
        )  # fmt: skip
        cases.append(level[:, None, None] - 0.5 * squares / _SCATTERS[:, None, None] ** 2)
    return np.array(cases).reshape(-1, len(c))


def lap_sharpness(tracks: Sequence[Laps], chance: FloatArray) -> tuple[float, float]:
    """What laps tell: cost over scatter, per m2, and cost, s per m2; middles of what is plausible.

    Parameters
    ----------
    tracks : sequence of Laps
    chance : ndarray, shape (candidates,)
        Of the corrections.
    """
    heard = sum(log_sum((_lap_cases(laps) + np.log(chance + 1e-300)).T) for laps in tracks)
    weights = chance_of(np.asarray(heard)).reshape(-1, len(_SCATTERS), len(_LAP_COSTS))
    usual = np.exp(-0.5 * (np.log(_LAP_COSTS * INCH**2 / 0.15) / 1.0) ** 2)
    weights = weights * usual  # the corners of the grid are possible, not likely
    weights /= weights.sum()
    cost = float(weights.sum(axis=(0, 1)) @ np.log(_LAP_COSTS))
    scatter = float(weights.sum(axis=(0, 2)) @ np.log(_SCATTERS))
    return math.exp(cost - scatter), math.exp(cost)


def _unmoved(tracks: Sequence[Laps]) -> float:
    """Log evidence of the laps with no regard to the stagger."""
    weights, cases = [_clear_runs(laps) for laps in tracks], []
    for unsteady in _UNSTEADY:
        found = [
            _gram(laps, one, float(unsteady)) for laps, one in zip(tracks, weights, strict=True)
        ]
        cases.append(sum(level - 0.5 * g[0, 0] / _SCATTERS**2 for g, level in found))
    flat = np.concatenate(cases)
    return float(log_sum(flat)) - math.log(len(flat))


def _gram(laps: Laps, weights: FloatArray, unsteady: float) -> tuple[FloatArray, FloatArray]:
    """Products of laps, x and x^2 with levels and trends integrated out.

    Returns
    -------
    products : ndarray, shape (3, 3)
    level : ndarray, shape (scatters,)
        What the log likelihood has beside them.
    """
    if len(laps.times) == 0:
        return np.zeros((3, 3)), np.zeros(len(_SCATTERS))
    columns, which = _from_own_level(laps, weights)
    along = np.array([np.bincount(which, column * columns[3] * weights) for column in columns])
    give = 1.0 / (1.0 + unsteady**2 * along[3])
    total = (columns * weights) @ columns.T - (along * (unsteady**2 * give)) @ along.T
    log_det = -float(np.sum(np.log(give)))
    freedom = len(laps.times) - int(which.max()) - 1
    if total[3, 3] > _NO_ORDER:
        log_det += math.log(float(total[3, 3]))
        total = total - np.outer(total[3], total[3]) / total[3, 3]
        freedom -= 1
    return total[:3, :3], -max(freedom, 0) * np.log(_SCATTERS) - 0.5 * log_det


def _from_own_level(laps: Laps, weights: FloatArray) -> tuple[FloatArray, IntArray]:
    """Laps, x, x^2 and order, (4, runs), less their means in the stretch."""
    _, which = np.unique(laps.stretches, return_inverse=True)
    columns = np.array([laps.times, laps.offsets, laps.offsets**2, laps.orders])
    mass = np.bincount(which, weights)
    means = np.array([np.bincount(which, column * weights) for column in columns]) / mass
    return columns - means[:, which], which


def _clear_runs(laps: Laps) -> FloatArray:
    """Weights of the runs: one held up by traffic counts little.

    Weights about a parabola with levels and a trend, settled by reweighting [3]_.
    """
    weights = np.ones(len(laps.times))
    if len(weights) <= _FEW_LAPS:
        return weights
    free = len(weights) - len(np.unique(laps.stretches)) - 3
    narrow = 1.4826 * math.sqrt(len(weights) / max(free, 1))  # the fit has taken some of it
    for _ in range(_ROUNDS):
        columns, _ = _from_own_level(laps, weights)
        root = np.sqrt(weights)
        size = np.maximum(np.linalg.norm(columns[1:], axis=1), 1e-12)
        fit = np.linalg.lstsq((columns[1:] / size[:, None] * root).T, columns[0] * root, 1e-6)[0]
        rest = columns[0] - fit @ (columns[1:] / size[:, None])
        scale = max(narrow * float(np.median(np.abs(rest))), _SCATTERS[0])
        weights = 1.0 / (1.0 + (rest / (_HELD_UP * scale)) ** 4)
    return weights
