"""Sets of four: what is asked of them, and the score of every one."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, RAISES_BITE, Corners
from rollpath.errors import RollpathError
from rollpath.scales.rates import Rates, bite_rates
from rollpath.scales.twist import Change, pads_after
from rollpath.stagger import Baseline, Recommendation
from rollpath.tires.air import cold_rollout
from rollpath.tires.rack import Rack, RackTire
from rollpath.tires.rules import (
    ALIKE,
    FRONT,
    REAR,
    IntArray,
    bars,
    codes_of,
    kind_of,
    may_go,
    spoken_corner,
    traits_of,
    unlike_points,
)
from rollpath.units import EIGHTH, POUND, FloatArray, Real

HALF_MARK = EIGHTH / 2
"""A stagger that shows as the target on the tape reaches it."""
SAME_SCORE = 1e-9
"""Points; sets closer than this are tied."""
BLOCK = 100_000
"""Sets scored at once: few enough to stay in the processor's cache."""


class TireError(RollpathError):
    """A rack from which four tires cannot be chosen; the message says why."""


def filed_rollouts(car: Car) -> Corners[Real]:
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


@dataclass(frozen=True)
class Pick:
    """A set of four tires and what it does.

    Attributes
    ----------
    tires : tuple of RackTire
        In the order of `bite.CORNERS`.
    rollouts : Corners[Real]
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
    rollouts: Corners[Real]
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
class Pairs:
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
class Sets:
    """All sets of a rack: rear pairs against front pairs."""

    rack: Rack
    car: Car
    aim: Aim
    weights: Weights
    rates: Rates
    rollouts: FloatArray
    on_car: tuple[int, ...]
    limits: tuple[float, float]
    front: Pairs = field(repr=False)
    rear: Pairs = field(repr=False)

    @classmethod
    def of(cls, rack: Rack, car: Car, aim: Aim, weights: Weights) -> "Sets":
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

    def fours(self, rears: IntArray, fronts: IntArray) -> list[Corners[int]]:
        return [
            Corners(int(self.front.left[f]), int(self.front.right[f]),
                 int(self.rear.left[r]), int(self.rear.right[r]))
            for r, f in zip(rears, fronts, strict=True)
        ]  # fmt: skip

    def pick(self, four: Corners[int]) -> Pick:
        """What one set does, term by term."""
        tires = tuple(self.rack.tires[i] for i in four)
        rollouts = Corners(*(float(self.rollouts[i, c]) for c, i in enumerate(four)))
        rear = rollouts.right_rear - rollouts.left_rear
        change = _raised(self.car, self.rates, rollouts)
        bite = float(np.clip(change, *self.limits))
        gear = float(_gear_change(self.car, rollouts.left_rear, rollouts.right_rear))
        wheels = sum(i != now for i, now in zip(four, self.on_car, strict=True))
        unlike = sum(
            float(unlike_points(traits_of([tires[left]]), traits_of([tires[right]])).item())
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
) -> Pairs:
    """The pairs an axle may carry, with the points of wheel changes and unlike tires."""
    allowed = np.array([[may_go(car, tire, c) for c in axle] for tire in rack.tires], dtype=bool)
    allowed = allowed.reshape(-1, 2)
    fits = allowed[:, :1] & allowed[:, 1]
    np.fill_diagonal(fits, False)
    codes = {what: codes_of(rack.tires, what) for what in ("compound", "offset")}
    for what, scope in car.alike.scopes.items():
        if axle in ALIKE[scope]:
            fits &= codes[what][:, None] == codes[what]
    left, right = np.nonzero(fits)
    stagger = rollouts[right, axle[1]] - rollouts[left, axle[0]]
    before, rate, sign = (
        (car.rear, rates.rear, -1.0) if axle == REAR else (car.front, rates.front, 1.0)
    )
    traits = traits_of(rack.tires)
    changed = (left != on_car[axle[0]]).astype(int) + (right != on_car[axle[1]])
    return Pairs(
        left, right, stagger,
        raised=sign * rate * (stagger - before.stagger),
        points=weights.wheel * changed
        + weights.unlike * unlike_points(traits[left], traits[right]),
        kind=kind_of(car, codes, left),
    )  # fmt: skip


def _rear_points(
    car: Car, aim: Aim, weights: Weights, rollouts: FloatArray, rear: Pairs
) -> FloatArray:
    """Points of stagger and gear."""
    gear = _gear_change(car, rollouts[rear.left, REAR[0]], rollouts[rear.right, REAR[1]])
    return np.asarray(weights.stagger * aim.miss(rear.stagger) + weights.gear * np.abs(gear))


def _gear_change(car: Car, left: Real, right: Real) -> Real:
    return car.rear.mean_rollout / (0.5 * (left + right)) - 1.0


def _raised(car: Car, rates: Rates, rollouts: Corners[Real]) -> float:
    """Change of bite against the car file with every wheel down, N."""
    front = rollouts.right_front - rollouts.left_front - car.front.stagger
    rear = rollouts.right_rear - rollouts.left_rear - car.rear.stagger
    return float(RAISES_BITE.right_front * rates.front * front
                 + RAISES_BITE.right_rear * rates.rear * rear)  # fmt: skip


def broken_rules(car: Car, pick: Pick) -> list[str]:
    """What forbids a set, each in words; empty when it is allowed."""
    broken = [
        f"{tire.name} {why}"
        for corner, tire in enumerate(pick.tires)
        if (why := bars(car, tire, corner))
    ]
    for what, scope in car.alike.scopes.items():
        groups = ((0, 1, 2, 3),) if scope == "all" else ALIKE[scope]
        for group in groups:
            if len({getattr(pick.tires[corner], what) for corner in group}) > 1:
                names = ", ".join(pick.tires[corner].name for corner in group)
                broken.append(f"{names}: the car file asks for one {what}")
    return broken


def why_none(rack: Rack, car: Car) -> str:
    """Why no set of four is allowed."""
    usable = [t for t in rack.tires if any(may_go(car, t, corner) for corner in range(4))]
    if len(usable) < 4:
        named = ", ".join(tire.name for tire in usable) or "none"
        out = [t.name for t in rack.tires if t not in usable]
        left_out = f"; not usable: {', '.join(out)}" if out else ""
        return f"expected at least four usable tires, the rack has {len(usable)}: {named}{left_out}"
    for corner, name in enumerate(CORNERS):
        if not any(may_go(car, tire, corner) for tire in usable):
            return f"no usable tire may go on the {spoken_corner(name)}"
    scopes = ", ".join(car.alike.scopes)
    alike = f" and the {scopes} the car file wants alike" if scopes else ""
    return f"no four tires fit together: too few for the corners they may go to{alike}"
