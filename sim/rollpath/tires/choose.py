"""Tires: which four of the rack to bolt on.

A set of four is a rear pair and a front pair that share no tire. Stagger and gear belong to the
rear pair, bite is the sum of what each pair does, so a table of all sets is a table of pairs
against pairs: every allowed set is scored, none is skipped.

Scores are in points, the fewer the better. With the weights of `Weights` one point is what an
eighth of an inch of rear stagger off the target costs.
"""

from dataclasses import dataclass, replace

import numpy as np

from rollpath.car import Car
from rollpath.corners import Corners
from rollpath.tires.rack import Rack
from rollpath.tires.rules import IntArray
from rollpath.tires.sets import SAME_SCORE, Aim, Pick, Sets, TireError, Weights, why_none
from rollpath.units import FloatArray


@dataclass(frozen=True)
class Choice:
    """What the chooser found.

    Attributes
    ----------
    rack, car, aim, weights : as given
    picks : list of Pick
        The best, best first; tied sets in the order of the rack.
    tied : int
        Sets that share the best score, the first included.
    considered : int
        Allowed sets, every one of them scored.
    nearest : Pick
        Of the sets whose rear stagger misses least, the one of best score.
    """

    rack: Rack
    car: Car
    aim: Aim
    weights: Weights
    picks: list[Pick]
    tied: int
    considered: int
    nearest: Pick

    @property
    def in_reach(self) -> bool:
        """Whether any allowed set reaches the target."""
        return self.aim.reached(self.nearest.rear_stagger)

    def to_look_for(self) -> dict[str, float]:
        """Rear rollouts that would reach the target with the nearest set's other rear tire, m."""
        rollouts = self.nearest.rollouts
        return {
            "right_rear": float(rollouts.left_rear) + self.aim.stagger,
            "left_rear": float(rollouts.right_rear) - self.aim.stagger,
        }


def choose(
    rack: Rack, car: Car, aim: Aim, weights: Weights | None = None, most: int = 10
) -> Choice:
    """The best sets of four, exactly: every allowed set is scored.

    Parameters
    ----------
    rack : Rack
    car : Car
        Scalar fields. Bite and gear are against its rollouts and weights.
    aim : Aim
    weights : Weights, optional
    most : int
        How many sets to return.

    Raises
    ------
    TireError
        If no four tires may go on the car together.
    """
    weights = weights or Weights()
    sets = Sets.of(rack, car, aim, weights)
    found = _scan(sets, most)
    if not found.considered:
        raise TireError(why_none(rack, car))
    picks = [sets.pick(four) for four in sets.fours(found.rears, found.fronts)]
    scores = [one.score for one in picks]
    ranks = [1 + sum(other < score - SAME_SCORE for other in scores) for score in scores]
    return Choice(
        rack, car, aim, weights,
        picks=[replace(pick, rank=rank) for pick, rank in zip(picks, ranks, strict=True)],
        tied=found.tied,
        considered=found.considered,
        nearest=sets.pick(_nearest(sets, found)),
    )  # fmt: skip


# Scoring every set


@dataclass(frozen=True)
class _Found:
    """Best sets as rear and front pairs, and what was seen on the way."""

    rears: IntArray
    fronts: IntArray
    tied: int
    considered: int
    row_best: FloatArray
    row_front: IntArray


def _scan(sets: Sets, most: int) -> _Found:
    """Score every set; keep the best and, for each rear pair, its best front pair."""
    wide = len(sets.front)
    kept_scores, kept_flat = np.empty(0), np.empty(0, dtype=int)
    worst_kept, best, tied, considered = np.inf, np.inf, 0, 0
    row_best = np.full(len(sets.rear), np.inf)
    row_front = np.zeros(len(sets.rear), dtype=int)
    for here, score in sets.blocks():
        considered += int(np.count_nonzero(np.isfinite(score)))
        row_front[here] = score.argmin(axis=1)
        row_best[here] = score.min(axis=1)
        least = row_best[here].min()
        if least < best - SAME_SCORE:
            best, tied = least, 0
        if least <= best + SAME_SCORE and np.isfinite(least):
            tied += int(np.count_nonzero(score <= best + SAME_SCORE))
        if least > worst_kept + SAME_SCORE:
            continue
        new = np.flatnonzero(np.isfinite(score) & (score <= worst_kept + SAME_SCORE))
        kept_scores = np.concatenate([kept_scores, score.ravel()[new]])
        kept_flat = np.concatenate([kept_flat, new + here.start * wide])
        first = _first(kept_scores, most)
        kept_scores, kept_flat = kept_scores[first], kept_flat[first]
        if len(first) == most:
            worst_kept = float(kept_scores.max())
    rears, fronts = np.divmod(kept_flat, max(wide, 1))
    return _Found(rears, fronts, tied, considered, row_best, row_front)


def _first(scores: FloatArray, most: int) -> IntArray:
    """Indices of the `most` lowest scores, lowest first; tied ones in the order they came in."""
    if len(scores) > most:
        worst = np.partition(scores, most - 1)[most - 1]
        near = np.flatnonzero(scores <= worst + SAME_SCORE)
    else:
        near = np.arange(len(scores))
    order = near[np.argsort(scores[near], kind="stable")]
    steps = np.diff(scores[order], prepend=scores[order][:1]) > SAME_SCORE
    first: IntArray = order[np.lexsort((order, np.cumsum(steps)))][:most]
    return first


def _nearest(sets: Sets, found: _Found) -> Corners[int]:
    """The set of best score among those whose rear stagger misses least."""
    miss = np.where(np.isfinite(found.row_best), sets.aim.miss(sets.rear.stagger), np.inf)
    there = miss <= miss.min() + 1e-9
    row = int(np.argmin(np.where(there, found.row_best, np.inf)))
    return sets.fours(np.array([row]), found.row_front[[row]])[0]
