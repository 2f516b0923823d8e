"""What an evening would teach: every order of a few staggers, judged before any of it is run.

References
----------
.. [1] D. V. Lindley, "On a Measure of the Information Provided by an Experiment", Ann. Math.
   Statist. 27 (1956) 986-1005.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rollpath.belief import CORRECTIONS, LARGEST_STEP
from rollpath.book.posterior import BENT, LEANS, POWERS, LapBeliefs, lost
from rollpath.units import INCH, FloatArray

DRAWN = 96
"""Cars drawn from what is known, evenly through it."""
LEVELS = 5
"""Staggers at most that an evening chooses from: a quarter inch apart within a step either way."""
LONGEST_BLOCK = 4
"""Runs planned together; a longer evening goes through them again."""
_STEADY = 0.7
"""An evening may go with its own run order by this correlation at most: more, and a track that
slows passes for it. Engineering judgement."""
_SAME = INCH / 16


@dataclass(frozen=True, eq=False)
class Cars:
    """Cars as they may be, each as likely; arrays of shape (cars,), SI.

    Attributes
    ----------
    corrections, costs, leans, powers : ndarray
        As in `posterior.posterior_of`.
    scatters : ndarray
        Of a lap, s.
    """

    corrections: FloatArray
    costs: FloatArray
    leans: FloatArray
    powers: FloatArray
    scatters: FloatArray

    @classmethod
    def of(cls, beliefs: LapBeliefs) -> "Cars":
        """Drawn evenly, in order of their corrections: the same every time."""
        chance = np.moveaxis(beliefs.chance, -1, 0)
        at = (np.arange(DRAWN) + 0.5) / DRAWN
        heap = np.cumsum(chance.ravel())
        which = np.minimum(np.searchsorted(heap, at * heap[-1]), chance.size - 1)
        correction, lean, scatter, cost = np.unravel_index(which, chance.shape)
        powers = np.resize(np.array(POWERS), DRAWN)
        return cls(
            CORRECTIONS[correction], beliefs.costs[cost], LEANS[lean], powers,
            beliefs.scatters[scatter],
        )  # fmt: skip

    def losses(self, offsets: FloatArray) -> FloatArray:
        """Lap time lost in each run, (cars, runs), s; offsets of shape (runs,), m."""
        short = self.corrections[:, None] - offsets
        return lost(short, self.powers[:, None], self.costs[:, None], self.leans[:, None])

    def cost(self, offsets: FloatArray) -> float:
        """Lap time that an evening loses beside the best stagger, s a lap; the mean expected."""
        return float(self.losses(offsets).mean())

    def left(self, offsets: FloatArray) -> float:
        """Variance of the correction that an evening is expected to leave, m2.

        Notes
        -----
        Were one of the cars true, its laps would leave each of them so likely as they are like its
        own: ``exp(-D / 2)``, D the squared distance of the two, in scatters, once level and trend
        of the night are taken out. Of a normal in one unknown that is exact, whatever the noise.
        """
        laps = self.losses(offsets) @ _unlevelled(len(offsets))
        squares = (laps**2).sum(axis=1)
        apart = squares[:, None] + squares - 2.0 * laps @ laps.T
        like = np.exp(-0.5 * np.maximum(apart, 0.0) / self.scatters[:, None] ** 2)
        like /= like.sum(axis=1)[:, None]
        means = like @ self.corrections
        return float(np.mean(like @ self.corrections**2 - means**2))


def evenings(makes: Sequence[float], last: float, runs: int) -> list[tuple[float, ...]]:
    """Orders in which some staggers may be run, no step too large and none that climbs or falls.

    Parameters
    ----------
    makes : sequence of float
        Staggers that may be fitted, m.
    last : float
        Stagger of the last run, m.
    runs : int
        2 at least.
    """
    levels = _spread(sorted(makes))
    size = min(max(runs, 2), LONGEST_BLOCK)
    found = []
    for block in itertools.product(levels, repeat=size):
        steps = np.abs(np.diff([last, *block]))
        if steps.max() <= LARGEST_STEP + _SAME and (size == 2 or _is_steady(np.array(block))):
            found.append(tuple(block[i % size] for i in range(max(runs, 2))))
    return [one for one in found if max(one) > min(one)]


def _spread(makes: Sequence[float]) -> list[float]:
    """A few of them, the ends and what is evenly between."""
    if len(makes) <= LEVELS:
        return list(makes)
    wanted = np.linspace(makes[0], makes[-1], LEVELS)
    return sorted({min(makes, key=lambda one: abs(one - at)) for at in wanted})


def _is_steady(block: FloatArray) -> bool:
    order = np.arange(len(block)) - 0.5 * (len(block) - 1)
    rest = block - block.mean()
    return bool(abs(rest @ order) <= _STEADY * np.linalg.norm(rest) * np.linalg.norm(order) + 1e-12)


@lru_cache(maxsize=8)
def _unlevelled(runs: int) -> FloatArray:
    """What turns the laps of a night into what is left without level, trend and some bend."""
    order = np.arange(runs) - 0.5 * (runs - 1)
    basis, _ = np.linalg.qr(np.column_stack([np.ones(runs), order]))
    left: FloatArray = np.eye(runs) - basis @ basis.T
    bend = left @ order**2
    size = float(bend @ bend)
    if size < 1e-9:
        return left
    part = 1.0 - 1.0 / np.sqrt(1.0 + BENT**2 * size)
    return np.asarray(left - part * np.outer(bend, bend) / size)
