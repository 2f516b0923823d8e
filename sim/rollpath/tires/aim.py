"""What is asked of a set of four: the rear stagger wanted, and what every aim is worth."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from rollpath.stagger import Baseline, Recommendation
from rollpath.units import EIGHTH, POUND, PSI, Real

HALF_MARK = EIGHTH / 2
"""A stagger that shows as the target on the tape reaches it."""


@dataclass(frozen=True)
class Aim:
    """The rear stagger wanted.

    Attributes
    ----------
    stagger : float
        Cold, m.
    baseline : Baseline or None
        Where it comes from; its cost curve then says how much a miss matters.
    """

    stagger: float
    baseline: Baseline | None = None

    @property
    def recommendation(self) -> Recommendation | None:
        return None if self.baseline is None else self.baseline.stagger

    def miss(self, stagger: Real) -> Real:
        """How much a rear stagger costs, m.

        The distance from the target; with a recommendation the rise of its root-mean-square
        mismatch, and beyond the window also how far.

        Parameters
        ----------
        stagger : float or ndarray
            Cold, m.
        """
        if self.recommendation is None:
            return np.abs(stagger - self.stagger)
        best = self.recommendation
        rise = best.cost(stagger) - best.cost(best.optimum)
        beyond = np.abs(stagger - np.clip(stagger, *best.window))
        miss: Real = np.maximum(rise, 0.0) + beyond
        return miss

    def reached(self, stagger: Real) -> Any:
        """Whether a stagger is as good as the target; of an array, each.

        Parameters
        ----------
        stagger : float or ndarray
            Cold, m.
        """
        low, high = self.stagger - HALF_MARK, self.stagger + HALF_MARK
        if self.recommendation is not None:
            low = min(low, float(self.recommendation.band[0]))
            high = max(high, float(self.recommendation.band[1]))
        return (low - 1e-9 <= stagger) & (stagger <= high + 1e-9)


@dataclass(frozen=True)
class Weights:
    """Points of each aim.

    Attributes
    ----------
    stagger : float
        Per m of miss; one point an eighth of an inch.
    bite : float
        Per N of bite change; one point ten pounds.
    gear : float
        Per share of engine speed; half a point 1 %.
    wheel : float
        Per wheel changed.
    unlike : float
        Per difference of compound or offset between the two tires of an axle; `rules.CYCLES_UNLIKE`
        heat cycles count as one.
    air : float
        Per Pa that a tire is away from its running pressure; a fifth of a point 1 psi. Engineering
        judgement: two pounds in one tire cost more than a wheel, half a pound in one much less.
    """

    stagger: float = 1 / EIGHTH
    bite: float = 1 / (10 * POUND)
    gear: float = 50.0
    wheel: float = 0.25
    unlike: float = 0.2
    air: float = 0.2 / PSI


HOLD_BITE = 5 / (10 * POUND)
"""Points per N when bite is to be held: 2 lb cost as much as an eighth of an inch."""
