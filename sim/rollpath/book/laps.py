"""The laps of nights, and which of them somebody held up.

References
----------
.. [1] A. P. Dempster, N. M. Laird and D. B. Rubin, "Maximum Likelihood from Incomplete Data via
   the EM Algorithm", J. R. Stat. Soc. B 39 (1977) 1-38, sec. 4.3: mixtures.
"""

import math
from dataclasses import dataclass

import numpy as np

from rollpath.book.nights import IntArray
from rollpath.units import FloatArray

SCATTERS: FloatArray = np.geomspace(0.02, 0.6, 8)
"""Scatter of a lap time between like runs, s."""
_FEW_LAPS = 8
"""Laps of which it cannot be said which one was held up."""
_ROUNDS, _LEAST = 10, 1e-3
_FROM = (0.04, 0.1, 0.25)
"""Scatters from which the laps held up are looked for, s."""
_TRAFFIC = 0.2
"""What a car in the way most often costs a lap, s; twice this at the mean. Engineering
judgement."""


def unlikely(scatter: FloatArray) -> FloatArray:
    """Log chance against a scatter, from about 0.08 s: half to twice it, two in three."""
    return np.asarray(0.5 * (np.log(scatter / 0.08) / 0.7) ** 2)


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


def less_level(columns: FloatArray, weights: FloatArray, starts: IntArray) -> FloatArray:
    """Columns, (..., runs), less their weighted means in each stretch."""
    means = np.add.reduceat(columns * weights, starts, axis=-1) / np.add.reduceat(weights, starts)
    lengths = np.diff(starts, append=len(weights))
    return np.asarray(columns - np.repeat(means, lengths, axis=-1))


def clear_runs(laps: Laps) -> FloatArray:
    """Weights of the runs: the chance that nothing held each of them up.

    A mixture of like laps, held-up ones, which are slower, and strays, about a parabola with
    levels and a trend, settled by expectation and maximisation [1]_ from several scatters, about
    a fit by least absolute values, which a few slow laps do not draw.
    """
    weights = np.ones(len(laps.times))
    starts = np.flatnonzero(np.diff(laps.stretches, prepend=laps.stretches[:1] - 1))
    taken = len(starts) + 3
    if len(weights) <= max(_FEW_LAPS, taken + 2):
        return weights
    for _ in range(_ROUNDS):
        weights = 1.0 / np.maximum(np.abs(_left_over(laps, weights, starts)), 0.005)
    rest = _left_over(laps, weights, starts)
    found = [_settled(laps, starts, taken, rest, scale) for scale in _FROM]
    return max(found, key=lambda one: one[0])[1]


def _settled(
    laps: Laps, starts: IntArray, taken: int, rest: FloatArray, scale: float
) -> tuple[float, FloatArray]:
    """Log likelihood and weights to which a mixture settles from this scatter.

    `taken` is how many unknowns the fit has beside.
    """
    share = 0.1
    for _ in range(_ROUNDS):
        like = np.exp(-0.5 * (rest / scale) ** 2) / (scale * math.sqrt(math.tau))
        clear = (1 - share) * like
        whole = clear + share * _held_up(rest)
        weights = np.maximum(clear / whole, _LEAST)
        log = float(np.log(whole).sum()) + taken * math.log(scale)
        log += math.log(share) + 9 * math.log(1 - share) - float(unlikely(np.array(scale)))
        rest = _left_over(laps, weights, starts)
        free = max(float(weights.sum()) - taken, 1.0)
        scale = max(math.sqrt(float(weights @ rest**2) / free), SCATTERS[0])
        share = (float((1 - weights).sum()) + 1.0) / (len(weights) + 10.0)
    return log, weights


def _held_up(rest: FloatArray) -> FloatArray:
    """Density of a lap that was held up, or timed wrong, 1/s."""
    slower = np.maximum(rest, 0.0) / _TRAFFIC * np.exp(-np.maximum(rest, 0.0) / _TRAFFIC)
    return np.asarray((0.95 * slower + 0.05 * np.exp(-np.abs(rest))) / _TRAFFIC)


def _left_over(laps: Laps, weights: FloatArray, starts: IntArray) -> FloatArray:
    """Laps less the parabola, the levels and the trend that fit them best, s."""
    columns = np.array([laps.times, laps.offsets, laps.offsets**2, laps.orders])
    columns = less_level(columns, weights, starts)
    size = np.maximum(np.linalg.norm(columns[1:], axis=1), 1e-12)[:, None]
    regressors, root = columns[1:] / size, np.sqrt(weights)
    fit = np.linalg.lstsq((regressors * root).T, columns[0] * root, 1e-6)[0]
    return np.asarray(columns[0] - fit @ regressors)
