"""The best sets of four, exactly, without scoring every one of them.

A set's points are those of its rear state, those of its front state, and what their bite together
costs, ``w |clip(b_r + b_f)|``. For one state the best partner of a whole axle is found in a sorted
table of least values from below and from above (`Partner`), so every rear pair has a bound: its
points with the best front there is, tires shared or not. Rear pairs are then looked into, the
lowest bound first, until the bound passes the worst set kept: what is left cannot be better.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rollpath.tires.pairs import Pairs
from rollpath.tires.rules import IntArray
from rollpath.tires.sets import SAME_SCORE, Sets
from rollpath.units import FloatArray


@dataclass(frozen=True)
class Partner:
    """States of one axle, ready to answer what the best of them costs beside a given bite."""

    raised: FloatArray
    rising: FloatArray
    highest: FloatArray
    falling: FloatArray
    lowest: FloatArray
    bite_points: float

    @classmethod
    def of(
        cls, cost: FloatArray, raised: FloatArray, bite_points: float, limits: tuple[float, float]
    ) -> "Partner":
        """The states of one axle made ready.

        Parameters
        ----------
        cost : ndarray, shape (states,)
            Points.
        raised : ndarray, shape (states,)
            Bite, N.
        bite_points : float
            Points for a newton.
        limits : tuple of float
            Least and most bite from what is wanted that the scales can show, N.
        """
        order = np.argsort(raised)
        c, pay = cost[order], bite_points * raised[order]
        low, high = limits
        return cls(
            raised[order],
            rising=_least_after(c + pay),
            highest=_least_after(c) + bite_points * high,
            falling=_least_before(c - pay),
            lowest=_least_before(c) - bite_points * low,
            bite_points=bite_points,
        )

    def least(self, raised: FloatArray) -> FloatArray:
        """Least points of any state and of the bite with it, for bites raised by the rest, N.

        Parameters
        ----------
        raised : ndarray
            N.
        """
        at = np.searchsorted(self.raised, -raised)
        pay = self.bite_points * raised
        above = np.minimum(self.rising[at] + pay, self.highest[at])
        below = np.minimum(self.falling[at] - pay, self.lowest[at])
        return np.asarray(np.minimum(above, below))


def _least_after(values: FloatArray) -> FloatArray:
    """Least of the values from each place on; infinite after the last."""
    return np.append(np.minimum.accumulate(values[::-1])[::-1], np.inf)


def _least_before(values: FloatArray) -> FloatArray:
    """Least of the values before each place; infinite before the first."""
    return np.insert(np.minimum.accumulate(values), 0, np.inf)


@dataclass(frozen=True)
class Found:
    """The best sets as rear and front pairs, lowest first, and how many share the best score."""

    rears: IntArray
    fronts: IntArray
    scores: FloatArray
    tied: int


def best_sets(sets: Sets, most: int) -> Found:
    """The `most` sets of fewest points; tied ones in the order of the rack."""
    wide = max(len(sets.front), 1)
    scores, flat = np.empty(0), np.empty(0, dtype=int)
    worst, best, tied = np.inf, np.inf, 0
    walk = _Walk.of(sets)
    for rear in walk.order:
        if walk.bound[rear] > worst + SAME_SCORE:
            break
        fronts, found = walk.look_into(int(rear), worst + SAME_SCORE)
        if not len(fronts):
            continue
        least = float(found.min())
        if least < best - SAME_SCORE:
            best, tied = least, 0
        tied += int(np.count_nonzero(found <= best + SAME_SCORE))
        new = found <= worst + SAME_SCORE
        scores = np.concatenate([scores, found[new]])
        flat = np.concatenate([flat, rear * wide + fronts[new]])
        first = first_of(scores, flat, most)
        scores, flat = scores[first], flat[first]
        if len(first) == most:
            worst = float(scores.max())
    rears, fronts = np.divmod(flat, wide)
    return Found(rears, fronts, scores, tied)


def count_below(sets: Sets, score: float) -> int:
    """How many allowed sets have fewer points.

    Parameters
    ----------
    sets : Sets
    score : float
        Points.
    """
    walk, count = _Walk.of(sets), 0
    for rear in walk.order:
        if walk.bound[rear] >= score:
            break
        _, found = walk.look_into(int(rear), score)
        count += int(np.count_nonzero(found < score))
    return count


class _Walk:
    """Rear pairs by their bounds, and what each makes with every front pair."""

    @classmethod
    def of(cls, sets: Sets) -> "_Walk":
        return cls(sets)

    def __init__(self, sets: Sets) -> None:
        self.sets, self.w = sets, sets.scoring.weights.bite
        front, rear = sets.front, sets.rear
        self.first = rear.first
        rear_states, self.front_bound = (
            _with_best_partner(one, other, self.w, sets.limits)
            for one, other in ((rear, front), (front, rear))
        )
        self.bound = np.full(len(rear), np.inf)
        np.minimum.at(self.bound, rear.pair, rear_states)
        ranked: IntArray = np.argsort(self.bound, kind="stable")
        self.order = ranked[np.isfinite(self.bound[ranked])]
        self.live, self.reach = np.arange(len(front.pair)), np.inf

    def look_into(self, rear: int, most: float) -> tuple[IntArray, FloatArray]:
        """Front pairs that may go with a rear pair, and the points of each set, up to `most`."""
        front, whole = self.sets.front, self.sets.rear
        if most < self.reach:
            self.live, self.reach = np.flatnonzero(self.front_bound <= most), most
        pair = front.pair[self.live]
        left, right = whole.left[rear], whole.right[rear]
        free = (front.left[pair] != left) & (front.left[pair] != right)
        free &= (front.right[pair] != left) & (front.right[pair] != right)
        free &= front.kind[pair] == whole.kind[rear]
        states, pair = self.live[free], pair[free]
        if not len(states):
            return pair, np.empty(0)
        own = slice(self.first[rear], self.first[rear + 1])
        partner = Partner.of(whole.cost[own], whole.raised[own], self.w, self.sets.limits)
        score = front.cost[states] + partner.least(front.raised[states])
        starts = np.flatnonzero(np.diff(pair, prepend=-1))
        return pair[starts], np.minimum.reduceat(score, starts)


def _with_best_partner(
    one: Pairs, other: Pairs, bite_points: float, limits: tuple[float, float]
) -> FloatArray:
    """Points of each state of one axle with the best of the other, tires shared or not."""
    least = np.full(len(one.cost), np.inf)
    for kind in np.unique(one.kind):
        mine, theirs = one.kind[one.pair] == kind, other.kind[other.pair] == kind
        if theirs.any():
            partner = Partner.of(other.cost[theirs], other.raised[theirs], bite_points, limits)
            least[mine] = one.cost[mine] + partner.least(one.raised[mine])
    return least


def first_of(scores: FloatArray, places: IntArray, most: int) -> IntArray:
    """Indices of the `most` lowest scores, lowest first; tied ones by their places.

    Parameters
    ----------
    scores : ndarray, shape (sets,)
        Points.
    places : ndarray of int, shape (sets,)
    most : int
    """
    order = np.lexsort((places, scores))
    steps = np.diff(scores[order], prepend=scores[order][:1]) > SAME_SCORE
    first: IntArray = order[np.lexsort((places[order], np.cumsum(steps)))][:most]
    return first


# Counting


def partners_of(sets: Sets) -> IntArray:
    """How many front pairs may go with each rear pair, shape (rear pairs,)."""
    front, rear = sets.front, sets.rear
    count = np.zeros(len(rear), dtype=int)
    tires = len(sets.scoring.rack.tires)
    for kind in np.unique(rear.kind):
        of_kind = front.kind == kind
        together = np.zeros((tires, tires), dtype=int)
        together[front.left[of_kind], front.right[of_kind]] = 1
        holds = together.sum(axis=0) + together.sum(axis=1)
        mine = rear.kind == kind
        a, b = rear.left[mine], rear.right[mine]
        both = together[a, b] + together[b, a]
        count[mine] = of_kind.sum() - holds[a] - holds[b] + both
    return count


def pairs_allowed(sets: Sets, rows: IntArray) -> Iterator[tuple[int, IntArray]]:
    """Each of some rear pairs, and the front pairs that may go with it.

    Parameters
    ----------
    sets : Sets
    rows : ndarray of int, shape (rows,)
        Rear pairs.
    """
    front, rear = sets.front, sets.rear
    for row in rows:
        free = front.kind == rear.kind[row]
        for tire in (rear.left[row], rear.right[row]):
            free &= (front.left != tire) & (front.right != tire)
        yield int(row), np.flatnonzero(free)
