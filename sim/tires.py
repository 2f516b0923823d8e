"""Tires: which four of the rack to bolt on.

A set of four is a rear pair and a front pair that share no tire. Stagger and gear belong to the
rear pair, bite is the sum of what each pair does, so a table of all sets is a table of pairs
against pairs: every allowed set is scored, none is skipped.

Scores are in points, the fewer the better. With the weights of `Weights` one point is what an
eighth of an inch of rear stagger off the target costs.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.bite import (
    CORNERS,
    RAISES_BITE,
    BiteError,
    Change,
    Corners,
    Outcome,
    Rates,
    bite_rates,
    pads_after,
    weigh_change,
)
from sim.car import Car
from sim.rack import Rack, RackTire, cold_rollout, pressure_correction
from sim.stagger import EIGHTH, Baseline, Recommendation
from sim.units import POUND, FloatArray, Real

IntArray = NDArray[np.int_]
BoolArray = NDArray[np.bool_]

HALF_MARK = EIGHTH / 2
"""A stagger that shows as the target on the tape reaches it."""
WORTH_TURNING = 3 * POUND
"""Bite left over that is worth a jack turn; engineering judgement: pads scatter by 2 to 4 lb."""
NOT_AS_FILED = 2 * EIGHTH
"""A tire on the car whose rollout is further than this from the car file's is pointed out."""
CYCLES_UNLIKE = 10.0
"""Heat cycles apart that make two tires as unlike as another compound. Engineering judgement."""
SAME_SCORE = 1e-9
"""Points; sets closer than this are tied."""
BLOCK = 100_000
"""Sets scored at once: few enough to stay in the processor's cache."""
FRONT, REAR = (0, 1), (2, 3)
"""Left and right of each axle in the order of `CORNERS`."""


class TireError(ValueError):
    """A rack from which four tires cannot be chosen; the message says why."""


def filed_rollouts(car: Car) -> Corners:
    """Rollouts of the car file, those its scale weights were taken with, m."""
    front, rear = car.front, car.rear
    return Corners(front.left_rollout, front.right_rollout, rear.left_rollout, rear.right_rollout)


# What is asked of a set


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
        """
        if self.recommendation is None:
            return np.abs(stagger - self.stagger)
        best = self.recommendation
        rise = best.cost(stagger) - best.cost(best.optimum)
        beyond = np.abs(stagger - np.clip(stagger, *best.window))
        miss: Real = np.maximum(rise, 0.0) + beyond
        return miss

    def reached(self, stagger: Real) -> bool:
        """Whether a stagger is as good as the target."""
        low, high = self.stagger - HALF_MARK, self.stagger + HALF_MARK
        if self.recommendation is not None:
            low = min(low, float(self.recommendation.band[0]))
            high = max(high, float(self.recommendation.band[1]))
        return bool(low - 1e-9 <= stagger <= high + 1e-9)


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
        Per difference of compound or offset between the two tires of an axle; `CYCLES_UNLIKE`
        heat cycles count as one.
    """

    stagger: float = 1 / EIGHTH
    bite: float = 1 / (10 * POUND)
    gear: float = 50.0
    wheel: float = 0.25
    unlike: float = 0.2


HOLD_BITE = 5 / (10 * POUND)
"""Points per N when bite is to be held: 2 lb cost as much as an eighth of an inch."""


# Sets of four


class Four(NamedTuple):
    """Index in the rack of the tire on each corner."""

    left_front: int
    right_front: int
    left_rear: int
    right_rear: int


@dataclass(frozen=True)
class Pick:
    """A set of four tires and what it does.

    Attributes
    ----------
    tires : tuple of RackTire
        In the order of `bite.CORNERS`.
    rollouts : Corners
        Cold, at the running pressure, m.
    rear_stagger, front_stagger : float
        Cold, m.
    bite, bite_change : float
        On the scales, and against the car file, N.
    gear_change : float
        Share by which engine speed at a given road speed rises, against the car file.
    wheel_changes : int
        Corners whose tire is not the one there now.
    unlike : float
        See `Weights.unlike`.
    points : dict of str to float
        By the names of `Weights`.
    rank : int
        1 for the best; tied sets share a rank; 0 when it was not ranked.
    """

    tires: tuple[RackTire, ...]
    rollouts: Corners
    rear_stagger: float
    front_stagger: float
    bite: float
    bite_change: float
    gear_change: float
    wheel_changes: int
    unlike: float
    points: dict[str, float]
    rank: int = 0

    @property
    def score(self) -> float:
        return sum(self.points.values())

    @property
    def names(self) -> dict[str, str]:
        """Name of the tire at each corner."""
        return {corner: tire.name for corner, tire in zip(CORNERS, self.tires, strict=True)}

    def change(self, car: Car) -> Change:
        """The change of rollouts against the car file."""
        pairs = zip(self.rollouts, filed_rollouts(car), strict=True)
        return Change(Corners(*(new - old for new, old in pairs)))

    def hot_stagger(self, axle: tuple[int, int]) -> float | None:
        """Stagger of `FRONT` or `REAR` as taped hot, m; None unless both tires were."""
        left, right = (self.tires[corner].hot for corner in axle)
        return None if left is None or right is None else right.mean - left.mean


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
    sets = _Sets.of(rack, car, aim, weights)
    found = _scan(sets, most)
    if not found.considered:
        raise TireError(_why_none(rack, car))
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


@dataclass(frozen=True)
class _Pairs:
    """Pairs of tires an axle may carry: arrays of shape (pairs,)."""

    left: IntArray
    right: IntArray
    stagger: FloatArray
    raised: FloatArray
    points: FloatArray
    kind: IntArray

    def __len__(self) -> int:
        return len(self.left)


@dataclass(frozen=True)
class _Sets:
    """All sets of a rack: rear pairs against front pairs."""

    rack: Rack
    car: Car
    aim: Aim
    weights: Weights
    rates: Rates
    rollouts: FloatArray
    on_car: tuple[int, ...]
    limits: tuple[float, float]
    front: _Pairs = field(repr=False)
    rear: _Pairs = field(repr=False)

    @classmethod
    def of(cls, rack: Rack, car: Car, aim: Aim, weights: Weights) -> "_Sets":
        rollouts = np.array(
            [[cold_rollout(rack, tire, corner) for corner in CORNERS] for tire in rack.tires]
        ).reshape(-1, 4)
        on_car, rates = rack.on_car(), bite_rates(car)
        front, rear = (
            _pairs(rack, car, rollouts, on_car, rates, weights, axle) for axle in (FRONT, REAR)
        )
        more = _rear_points(car, aim, weights, rollouts, rear)
        rear = replace(rear, points=rear.points + more)
        now = float(car.weights.bite)
        low, high = (float(pads_after(car, far).weights.bite) - now for far in (-1e9, 1e9))
        return cls(rack, car, aim, weights, rates, rollouts, on_car, (low, high), front, rear)

    def blocks(self) -> Iterator[tuple[slice, FloatArray]]:
        """Scores of rear pairs (rows) with every front pair; infinite where a set is not allowed.

        The array is used again for the next block.
        """
        front, rear = self.front, self.rear
        if not len(front) or not len(rear):
            return
        tires = np.arange(len(self.rack.tires))[:, None]
        used = (front.left == tires) | (front.right == tires)
        rows = max(1, BLOCK // len(front))
        score, raised = np.empty((rows, len(front))), np.empty((rows, len(front)))
        for start in range(0, len(rear), rows):
            here = slice(start, min(start + rows, len(rear)))
            s, b = score[: here.stop - start], raised[: here.stop - start]
            np.add(rear.raised[here, None], front.raised, out=b)
            np.clip(b, *self.limits, out=b)
            np.abs(b, out=b)
            b *= self.weights.bite
            np.add(rear.points[here, None], front.points, out=s)
            s += b
            s[used[rear.left[here]]] = np.inf
            s[used[rear.right[here]]] = np.inf
            s[rear.kind[here, None] != front.kind] = np.inf
            yield here, s

    def fours(self, rears: IntArray, fronts: IntArray) -> list[Four]:
        return [
            Four(int(self.front.left[f]), int(self.front.right[f]),
                 int(self.rear.left[r]), int(self.rear.right[r]))
            for r, f in zip(rears, fronts, strict=True)
        ]  # fmt: skip

    def pick(self, four: Four) -> Pick:
        """What one set does, term by term."""
        tires = tuple(self.rack.tires[i] for i in four)
        rollouts = Corners(*(float(self.rollouts[i, c]) for c, i in enumerate(four)))
        rear = rollouts.right_rear - rollouts.left_rear
        change = _raised(self.car, self.rates, rollouts)
        bite = float(np.clip(change, *self.limits))
        gear = float(_gear_change(self.car, rollouts.left_rear, rollouts.right_rear))
        wheels = sum(i != now for i, now in zip(four, self.on_car, strict=True))
        unlike = sum(
            float(_unlike(_traits([tires[left]]), _traits([tires[right]])).item())
            for left, right in (FRONT, REAR)
        )
        w = self.weights
        return Pick(
            tires, rollouts, float(rear), float(rollouts.right_front - rollouts.left_front),
            float(self.car.weights.bite) + bite, bite, gear, wheels, unlike,
            points={
                "stagger": w.stagger * float(self.aim.miss(rear)),
                "bite": w.bite * abs(bite),
                "gear": w.gear * abs(gear),
                "wheel": w.wheel * wheels,
                "unlike": w.unlike * unlike,
            },
        )  # fmt: skip


def _pairs(
    rack: Rack,
    car: Car,
    rollouts: FloatArray,
    on_car: tuple[int, ...],
    rates: Rates,
    weights: Weights,
    axle: tuple[int, int],
) -> _Pairs:
    """The pairs an axle may carry, with the points of wheel changes and unlike tires."""
    allowed = np.array([[may_go(car, tire, c) for c in axle] for tire in rack.tires], dtype=bool)
    allowed = allowed.reshape(-1, 2)
    fits = allowed[:, :1] & allowed[:, 1]
    np.fill_diagonal(fits, False)
    codes = {what: _codes(rack.tires, what) for what in ("compound", "offset")}
    for what, scope in car.alike.scopes.items():
        if axle in _ALIKE[scope]:
            fits &= codes[what][:, None] == codes[what]
    left, right = np.nonzero(fits)
    stagger = rollouts[right, axle[1]] - rollouts[left, axle[0]]
    before, rate, sign = (
        (car.rear, rates.rear, -1.0) if axle == REAR else (car.front, rates.front, 1.0)
    )
    traits = _traits(rack.tires)
    changed = (left != on_car[axle[0]]).astype(int) + (right != on_car[axle[1]])
    return _Pairs(
        left, right, stagger,
        raised=sign * rate * (stagger - before.stagger),
        points=weights.wheel * changed + weights.unlike * _unlike(traits[left], traits[right]),
        kind=_kind(car, codes, left),
    )  # fmt: skip


def _rear_points(
    car: Car, aim: Aim, weights: Weights, rollouts: FloatArray, rear: _Pairs
) -> FloatArray:
    """Points of stagger and gear."""
    gear = _gear_change(car, rollouts[rear.left, REAR[0]], rollouts[rear.right, REAR[1]])
    return np.asarray(weights.stagger * aim.miss(rear.stagger) + weights.gear * np.abs(gear))


def _gear_change(car: Car, left: Real, right: Real) -> Real:
    return car.rear.mean_rollout / (0.5 * (left + right)) - 1.0


def _raised(car: Car, rates: Rates, rollouts: Corners) -> float:
    """Change of bite against the car file with every wheel down, N."""
    front = rollouts.right_front - rollouts.left_front - car.front.stagger
    rear = rollouts.right_rear - rollouts.left_rear - car.rear.stagger
    return float(RAISES_BITE.right_front * rates.front * front
                 + RAISES_BITE.right_rear * rates.rear * rear)  # fmt: skip


# Which tire may go where


_ALIKE = {"rear": (REAR,), "front": (FRONT,), "axles": (FRONT, REAR), "all": (FRONT, REAR)}
"""Axles whose two tires must be alike, by what a car file says."""


def may_go(car: Car, tire: RackTire, corner: int) -> bool:
    """Whether a tire by itself may go to a corner, an index of `CORNERS`."""
    return not bars(car, tire, corner)


def bars(car: Car, tire: RackTire, corner: int) -> str:
    """Why a tire by itself may not go to a corner; empty when it may."""
    if tire.scrap:
        return "is marked scrap"
    if tire.cold is None:
        return "was never taped cold"
    if CORNERS[corner] not in tire.corners:
        return f"may not go on the {_words(CORNERS[corner])}"
    axle = FRONT if corner in FRONT else REAR
    for what, scope in car.alike.scopes.items():
        if axle in _ALIKE[scope] and not getattr(tire, what):
            return f"has no {what} in the rack file, and the car file asks for it to be alike"
    return ""


def broken_rules(car: Car, pick: Pick) -> list[str]:
    """What forbids a set, each in words; empty when it is allowed."""
    broken = [
        f"{tire.name} {why}"
        for corner, tire in enumerate(pick.tires)
        if (why := bars(car, tire, corner))
    ]
    for what, scope in car.alike.scopes.items():
        groups = ((0, 1, 2, 3),) if scope == "all" else _ALIKE[scope]
        for group in groups:
            if len({getattr(pick.tires[corner], what) for corner in group}) > 1:
                names = ", ".join(pick.tires[corner].name for corner in group)
                broken.append(f"{names}: the car file asks for one {what}")
    return broken


def _words(corner: str) -> str:
    return corner.replace("_", " ")


def _codes(tires: Sequence[RackTire], what: str) -> IntArray:
    """A number for each value of a text of the tires; equal where the text is."""
    codes: IntArray = np.unique([getattr(tire, what) for tire in tires], return_inverse=True)[1]
    return codes


def _kind(car: Car, codes: dict[str, IntArray], left: IntArray) -> IntArray:
    """A number that front and rear pairs must share where all four tires are to be alike."""
    kind = np.zeros(len(left), dtype=int)
    for what, scope in car.alike.scopes.items():
        if scope == "all":
            kind = kind * (codes[what].max(initial=0) + 1) + codes[what][left]
    return kind


def _traits(tires: Sequence[RackTire]) -> NDArray[np.object_]:
    """Compound, offset and heat cycles of tires, shape (tires, 3); None when not recorded."""
    rows = [(tire.compound or None, tire.offset or None, tire.heat_cycles) for tire in tires]
    return np.array(rows, dtype=object).reshape(-1, 3)


def _unlike(left: NDArray[np.object_], right: NDArray[np.object_]) -> FloatArray:
    """How unlike pairs of tires are; what was not recorded counts as alike."""
    known = (left != None) & (right != None)  # noqa: E711
    differs = (left[:, :2] != right[:, :2]) & known[:, :2]
    total: FloatArray = differs.sum(axis=1).astype(float)
    both = known[:, 2]
    apart = np.abs(left[both, 2].astype(float) - right[both, 2].astype(float))
    total[both] += apart / CYCLES_UNLIKE
    return total


def _why_none(rack: Rack, car: Car) -> str:
    """Why no set of four is allowed."""
    usable = [t for t in rack.tires if any(may_go(car, t, corner) for corner in range(4))]
    if len(usable) < 4:
        named = ", ".join(tire.name for tire in usable) or "none"
        out = [t.name for t in rack.tires if t not in usable]
        left_out = f"; not usable: {', '.join(out)}" if out else ""
        return f"expected at least four usable tires, the rack has {len(usable)}: {named}{left_out}"
    for corner, name in enumerate(CORNERS):
        if not any(may_go(car, tire, corner) for tire in usable):
            return f"no usable tire may go on the {_words(name)}"
    scopes = ", ".join(car.alike.scopes)
    alike = f" and the {scopes} the car file wants alike" if scopes else ""
    return f"no four tires fit together: too few for the corners they may go to{alike}"


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


def _scan(sets: _Sets, most: int) -> _Found:
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


def _nearest(sets: _Sets, found: _Found) -> Four:
    """The set of best score among those whose rear stagger misses least."""
    miss = np.where(np.isfinite(found.row_best), sets.aim.miss(sets.rear.stagger), np.inf)
    there = miss <= miss.min() + 1e-9
    row = int(np.argmin(np.where(there, found.row_best, np.inf)))
    return sets.fours(np.array([row]), found.row_front[[row]])[0]


# A set of the racer's own


@dataclass(frozen=True)
class OwnSet:
    """A set the racer asks about.

    Attributes
    ----------
    pick : Pick
    broken : list of str
        Rules it breaks.
    better : int
        How many allowed sets score better.
    """

    pick: Pick
    broken: list[str]
    better: int


def weigh_own(choice: Choice, names: Sequence[str]) -> OwnSet:
    """How a set of the racer's own scores.

    Parameters
    ----------
    choice : Choice
    names : sequence of str
        Tires of left front, right front, left rear, right rear.

    Raises
    ------
    TireError
        If it is not four different tires of the rack, each taped cold.
    """
    known = choice.rack.names
    if len(names) != 4:
        raise TireError(f"expected four tires, got {len(names)}")
    for name in names:
        if name not in known:
            raise TireError(f'no tire "{name}" in the rack; it holds {", ".join(known)}')
        if names.count(name) > 1:
            raise TireError(f"{name} cannot be in two places")
        if choice.rack.tires[known.index(name)].cold is None:
            raise TireError(f"{name} was never taped cold")
    sets = _Sets.of(choice.rack, choice.car, choice.aim, choice.weights)
    pick = sets.pick(Four(*(known.index(name) for name in names)))
    better = sum(
        int(np.count_nonzero(score < pick.score - SAME_SCORE)) for _, score in sets.blocks()
    )
    return OwnSet(pick, broken_rules(choice.car, pick), better)


# What to know beside the choice


def in_full(choice: Choice) -> Outcome:
    """What the first pick does on the scales, and the jack turns that take out bite left over."""
    first = choice.picks[0]
    change = first.change(choice.car)
    if abs(first.bite_change) >= WORTH_TURNING:
        try:
            return weigh_change(choice.car, change, "jacks")
        except BiteError:
            pass
    return weigh_change(choice.car, change)


@dataclass(frozen=True)
class Doubts:
    """What makes a choice less sure.

    Attributes
    ----------
    readings : list of (str, float, float)
        Tire, questioned reading and mean of the others, m.
    taped_hot_only, no_pressure : list of str
        Tires that cannot be used, and tires taken as taped.
    far_corrected : list of (str, float)
        Tires of the first pick corrected by more than an eighth with the growth of the rack and
        not their own, and the correction, m.
    not_as_filed : list of (str, str, float, float)
        Corner, tire on it, its rollout, and the car file's, where they differ by more than
        `NOT_AS_FILED`, m.
    """

    readings: list[tuple[str, float, float]]
    taped_hot_only: list[str]
    no_pressure: list[str]
    far_corrected: list[tuple[str, float]]
    not_as_filed: list[tuple[str, str, float, float]]


def doubts(choice: Choice) -> Doubts:
    """What makes a choice less sure."""
    rack, first = choice.rack, choice.picks[0]
    fit = [tire for tire in rack.tires if not tire.scrap]
    used = [(t, taping) for t in fit for taping in (t.cold, t.hot) if taping is not None]
    corrected = [
        (tire.name, pressure_correction(rack, tire, corner))
        for tire, corner in zip(first.tires, CORNERS, strict=True)
        if tire.own_growth is None
    ]
    return Doubts(
        readings=[(t.name, one, taping.mean) for t, taping in used for one in taping.doubtful],
        taped_hot_only=[t.name for t in fit if t.cold is None],
        no_pressure=[
            t.name
            for t in fit
            if rack.running_pressure and t.cold is not None and t.cold.pressure is None
        ],
        far_corrected=[(name, by) for name, by in corrected if abs(by) > EIGHTH + 1e-9],
        not_as_filed=_not_as_filed(rack, choice.car),
    )


def _not_as_filed(rack: Rack, car: Car) -> list[tuple[str, str, float, float]]:
    found = []
    for corner, filed, index in zip(CORNERS, filed_rollouts(car), rack.on_car(), strict=True):
        if index >= 0:
            tire = rack.tires[index]
            rollout = cold_rollout(rack, tire, corner)
            if abs(rollout - float(filed)) > NOT_AS_FILED:
                found.append((corner, tire.name, rollout, float(filed)))
    return found


# What the rack can reach


@dataclass(frozen=True)
class Reach:
    """Which pairs of staggers the rack can make, in cells of an eighth of an inch.

    Attributes
    ----------
    rear, front : ndarray
        Middles of the cells, m.
    made : ndarray of bool
        Shape (front, rear).
    """

    rear: FloatArray
    front: FloatArray
    made: BoolArray


def reach(choice: Choice) -> Reach:
    """Every pair of rear and front stagger that an allowed set makes."""
    sets = _Sets.of(choice.rack, choice.car, choice.aim, choice.weights)
    rear, front = (
        np.round(pairs.stagger / EIGHTH).astype(int) for pairs in (sets.rear, sets.front)
    )
    made = np.zeros((np.ptp(front) + 1, np.ptp(rear) + 1), dtype=bool)
    for here, score in sets.blocks():
        row, column = np.nonzero(np.isfinite(score))
        made[front[column] - front.min(), rear[here][row] - rear.min()] = True
    return Reach(
        EIGHTH * np.arange(rear.min(), rear.max() + 1),
        EIGHTH * np.arange(front.min(), front.max() + 1),
        made,
    )
