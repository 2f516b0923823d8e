"""The two passes by which a night is planned, and the arrays they work on.

Wheels and jack turns count from run to run. The first pass leaves the jacks out: least points
through every set of every run, forwards and backwards, where a wheel change is one step along one
of four axes. No night through a set can cost less, so what a night already known beats is out. The
second pass goes over what is left with the jacks in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from rollpath.car import Car
from rollpath.corners import Corners
from rollpath.scales.rates import bite_rates
from rollpath.tires.aim import Weights
from rollpath.tires.pairs import Pairs, Scoring, pairs_of
from rollpath.tires.rack import Rack
from rollpath.tires.rules import FRONT, REAR, IntArray, may_go
from rollpath.tires.search import Partner
from rollpath.tires.sets import TireError, bite_limits, scoring_of, why_none
from rollpath.trailer.asked import PlanError, Rules, Run
from rollpath.units import FloatArray

Steps: TypeAlias = list[tuple[int, int]]
"""For each run a set, and a place among the jacks."""
JACK = 0.1
"""Points of one jack turn made between runs. Engineering judgement: less than half a wheel."""
TURN_STEP = 0.25
"""A jack is turned by quarter turns. Common practice, no source."""
MOST_TURNS = 6.0
"""Both rear jacks together, from where they are now. Engineering judgement: beyond it the ride
height and the springs' free length say no."""
MOST_SETS = 20_000_000
"""Sets, allowed or not, that the first pass can hold in memory."""
SAME = 1e-9
"""Points; nights closer than this are tied."""


@dataclass(frozen=True)
class Night:
    """All that the two passes need.

    Attributes
    ----------
    scorings : list of Scoring
        One a run; wheels count nothing in them.
    limits : tuple of float
        Of bite about its target, N.
    tires : list of ndarray
        Candidates of each corner, places in the rack.
    front : list of Pairs
        One a run: pins may differ.
    rear : list of Pairs
    jacks : ndarray
        Quarter turns of both rear jacks together, 0 in the middle.
    jack_bite : float
        Bite raised by each, N.
    wheel : float
        Points of a wheel.
    """

    runs: tuple[Run, ...]
    rules: Rules
    scorings: list[Scoring]
    limits: tuple[float, float]
    tires: list[IntArray]
    front: list[Pairs]
    rear: list[Pairs]
    jacks: IntArray
    jack_bite: float
    wheel: float

    @classmethod
    def of(
        cls, rack: Rack, car: Car, runs: Sequence[Run], bite: float, rules: Rules, weights: Weights
    ) -> "Night":
        """A night ready to be searched.

        Parameters
        ----------
        rack : Rack
        car : Car
            As it stands.
        runs : sequence of Run
        bite : float
            Wanted in every run, N.
        rules : Rules
        weights : Weights
        """
        rates = bite_rates(car)
        turn = rates.rear_turn if rules.jacks else None
        most = 0 if turn is None else round(MOST_TURNS / TURN_STEP)
        free = replace(weights, wheel=0.0)
        scorings = [
            replace(scoring_of(rack, car, run.aim, free, rules.air),
                    wanted=bite - float(car.weights.bite))
            for run in runs
        ]  # fmt: skip
        limits = bite_limits(scorings[0])
        if not limits[0] <= 0 <= limits[1]:
            raise PlanError("a wheel comes off its pad before the bite wanted is reached")
        tires = [
            np.array([i for i, one in enumerate(rack.tires) if may_go(car, one, c)], dtype=int)
            for c in range(4)
        ]
        if not all(map(len, tires)):
            raise TireError(why_none(rack, car))
        if np.prod([float(len(one)) for one in tires]) > MOST_SETS:
            raise PlanError("too many tires for a plan; give more of them their corners or side")
        alike: dict[object, tuple[Pairs, Pairs]] = {}
        for run, scoring in zip(runs, scorings, strict=True):
            key = (id(run.aim.baseline), run.aim.stagger, run.pins)
            if key not in alike:
                front, rear = (pairs_of(scoring, axle) for axle in (FRONT, REAR))
                alike[key] = _pinned(front, run, rack, FRONT), _pinned(rear, run, rack, REAR)
        found = [alike[id(run.aim.baseline), run.aim.stagger, run.pins] for run in runs]
        return cls(
            tuple(runs), rules, scorings, limits, tires,
            [front for front, _ in found], [rear for _, rear in found],
            jacks=np.arange(-most, most + 1),
            jack_bite=0.0 if turn is None else TURN_STEP * float(turn),
            wheel=weights.wheel,
        )  # fmt: skip

    @property
    def shape(self) -> tuple[int, ...]:
        return tuple(map(len, self.tires))

    @property
    def from_the_car(self) -> FloatArray:
        """Points of the wheels from what is on the car to every set, shape `shape`."""
        on_car = self.scorings[0].on_car
        changed = [
            _along((tires != there).astype(float), axis)
            for axis, (tires, there) in enumerate(zip(self.tires, on_car, strict=True))
        ]
        return self.wheel * (changed[0] + changed[1] + changed[2] + changed[3])

    def set_of(self, flat: int) -> Corners[int]:
        """The tires of a set, places in the rack, by its place in the whole.

        Parameters
        ----------
        flat : int
            Of the flattened `shape`.
        """
        at = np.unravel_index(flat, self.shape)
        return Corners(*(int(self.tires[c][i]) for c, i in enumerate(at)))


def _pinned(pairs: Pairs, run: Run, rack: Rack, axle: tuple[int, int]) -> Pairs:
    """The pairs that have the pinned tires where they are pinned, and nowhere else."""
    fits = np.ones(len(pairs), dtype=bool)
    for corner, name in enumerate(run.pins):
        if not name:
            continue
        tire = rack.names.index(name)
        for c, side in zip(axle, (pairs.left, pairs.right), strict=True):
            fits &= (side == tire) if c == corner else (side != tire)
    if not fits.any():
        pinned = ", ".join(name for name in run.pins if name)
        raise PlanError(f"{run.name}: no set of the rack has {pinned} where it was put")
    cost = np.where(fits[pairs.pair], pairs.cost, np.inf)
    return replace(pairs, cost=cost)


def _along(values: FloatArray, axis: int) -> FloatArray:
    """Values of one axis, to be added to an array of all four."""
    return values.reshape([-1 if axis == one else 1 for one in range(4)])


# First pass: jacks free


def _loose_points(night: Night, run: int) -> FloatArray:
    """Points of every set in a run with the air and the jacks that suit it, shape `shape`."""
    front, rear, w = night.front[run], night.rear[run], night.scorings[run].weights.bite
    places = [_places(tires) for tires in night.tires]
    points = np.full(night.shape, np.inf)
    starts, first = front.first[:-1], rear.first
    jacked = night.jacks * night.jack_bite
    for one in range(len(rear)):
        own = slice(first[one], first[one + 1])
        cost = np.repeat(rear.cost[own], len(jacked))
        partner = Partner.of(cost, np.add.outer(rear.raised[own], jacked).ravel(), w, night.limits)
        with_front = front.cost + partner.least(front.raised)
        left, right = rear.left[one], rear.right[one]
        best = np.minimum.reduceat(with_front, starts)
        shared = (front.left == left) | (front.left == right)
        shared |= (front.right == left) | (front.right == right)
        best[shared | (front.kind != rear.kind[one])] = np.inf
        points[places[0][front.left], places[1][front.right], places[2][left], places[3][right]] = (
            best
        )
    return points


def _places(tires: IntArray) -> IntArray:
    """Place among the candidates of a corner, by place in the rack."""
    places = np.zeros(int(tires.max()) + 1, dtype=int)
    places[tires] = np.arange(len(tires))
    return places


def _next_wheels(points: FloatArray, wheel: float, most: int) -> FloatArray:
    """Least points of coming to every set from any other, at most so many wheels changed.

    Along each axis in turn a tire is kept, or changed at the price of a wheel.
    """
    by_changes = [points, *(np.full_like(points, np.inf) for _ in range(min(most, 4)))]
    for axis in range(4):
        changed = [one.min(axis=axis, keepdims=True) + wheel for one in by_changes]
        by_changes = [by_changes[0]] + [
            np.minimum(kept, fresh) for kept, fresh in zip(by_changes[1:], changed, strict=False)
        ]
    found: FloatArray = np.min(by_changes, axis=0)
    return found


def _through(night: Night, loose: list[FloatArray]) -> list[FloatArray]:
    """For every set of every run, points no night through it can go below."""
    most, wheel = night.rules.wheels, night.wheel
    forward = [loose[0] + night.from_the_car]
    for points in loose[1:]:
        forward.append(points + _next_wheels(forward[-1], wheel, most))
    after = np.zeros(night.shape)
    through = []
    for there, points in zip(forward[::-1], loose[::-1], strict=True):
        through.append(there + after)
        after = _next_wheels(points + after, wheel, most)
    return through[::-1]


def _loosest_path(night: Night, loose: list[FloatArray]) -> list[int] | None:
    """Sets of the best night with the jacks free; None where the rules allow none."""
    most, wheel = night.rules.wheels, night.wheel
    after = [np.zeros(night.shape)]
    for points in loose[:0:-1]:
        after.append(_next_wheels(points + after[-1], wheel, most))
    after = after[::-1]
    path: list[int] = []
    step = night.from_the_car
    for points, rest in zip(loose, after, strict=True):
        total = points + rest + step
        best = int(np.argmin(total))
        if not np.isfinite(total.flat[best]):
            return None
        path.append(best)
        step = _wheels_from(night, best)
    return path


def _wheels_from(night: Night, flat: int) -> FloatArray:
    """Points of the wheels from one set to every other; infinite beyond the rules."""
    at = np.unravel_index(flat, night.shape)
    count = sum(
        _along((np.arange(len(tires)) != here).astype(float), axis)
        for axis, (tires, here) in enumerate(zip(night.tires, at, strict=True))
    )
    return np.where(count <= night.rules.wheels, night.wheel * count, np.inf)


# Second pass: what is left, jacks and all


def best_steps(night: Night) -> Steps | None:
    """The best night: a set and a place among the jacks for each run."""
    loose = [_loose_points(night, run) for run in range(len(night.runs))]
    path = _loosest_path(night, loose)
    if path is None:
        return None
    sets = [np.array([flat]) for flat in path]
    known, _ = _walk(night, sets)
    through = _through(night, loose)
    sets = [np.flatnonzero(points.ravel() <= known + SAME) for points in through]
    return _walk(night, sets)[1]


def _walk(night: Night, sets: list[IntArray]) -> tuple[float, Steps]:
    """Best night over some sets of each run, every place of the jacks, and its points."""
    turning = JACK * TURN_STEP * np.abs(np.subtract.outer(night.jacks, night.jacks))
    middle = len(night.jacks) // 2
    total = night.from_the_car.ravel()[sets[0]][:, None] + turning[middle]
    total = total + _points_of(night, 0, sets[0])
    back: list[tuple[IntArray, IntArray]] = []
    for run in range(1, len(sets)):
        jacked = total[:, :, None] + turning
        by_jack: IntArray = jacked.argmin(axis=1)
        came, by_set = _least_over(
            jacked.min(axis=1), _wheels_between(night, sets[run - 1 : run + 1])
        )
        total = came + _points_of(night, run, sets[run])
        back.append((by_set, by_jack))
    at, jack = (int(i) for i in np.unravel_index(int(np.argmin(total)), total.shape))
    least = float(total[at, jack])
    steps = [(int(sets[-1][at]), jack)]
    for run in range(len(sets) - 2, -1, -1):
        by_set, by_jack = back[run]
        at = int(by_set[at, jack])
        jack = int(by_jack[at, jack])
        steps.insert(0, (int(sets[run][at]), jack))
    return least, steps


def _least_over(before: FloatArray, wheels: FloatArray) -> tuple[FloatArray, IntArray]:
    """Least of points before and wheels, over the sets before: (sets, jacks), and which."""
    count, jacks = wheels.shape[1], before.shape[1]
    least, which = np.empty((count, jacks)), np.empty((count, jacks), dtype=int)
    for one in range(count):
        sums = before + wheels[:, one, None]
        which[one] = sums.argmin(axis=0)
        least[one] = sums[which[one], np.arange(jacks)]
    return least, which


def _wheels_between(night: Night, sets: list[IntArray]) -> FloatArray:
    """Points of the wheels from each set of one run to each of the next."""
    one, other = (np.array(np.unravel_index(some, night.shape)) for some in sets)
    count = (one[:, :, None] != other[:, None, :]).sum(axis=0)
    return np.where(count <= night.rules.wheels, night.wheel * count, np.inf)


def _points_of(night: Night, run: int, sets: IntArray) -> FloatArray:
    """Points of some sets in a run at every place of the jacks, with the best air."""
    front, rear, w = night.front[run], night.rear[run], night.scorings[run].weights.bite
    index = [_pair_index(pairs, len(night.scorings[run].rack.tires)) for pairs in (front, rear)]
    firsts = front.first, rear.first
    jacked = night.jacks * night.jack_bite
    points = np.empty((len(sets), len(jacked)))
    for at, flat in enumerate(sets):
        lf, rf, lr, rr = night.set_of(int(flat))
        f, r = index[0][lf, rf], index[1][lr, rr]
        fronts, rears = (
            slice(first[pair], first[pair + 1]) for first, pair in zip(firsts, (f, r), strict=True)
        )
        partner = Partner.of(rear.cost[rears], rear.raised[rears], w, night.limits)
        with_front = partner.least(np.add.outer(front.raised[fronts], jacked))
        points[at] = (front.cost[fronts, None] + with_front).min(axis=0)
    return points


def _pair_index(pairs: Pairs, tires: int) -> IntArray:
    """Place of a pair by its two tires."""
    index = np.full((tires, tires), -1)
    index[pairs.left, pairs.right] = np.arange(len(pairs))
    return index


# Run by run, for comparison


def one_after_the_other(night: Night) -> Steps | None:
    """Every run at its own best after the run before; None where one then breaks the rules."""
    steps: Steps = []
    turned, wheels = len(night.jacks) // 2, night.from_the_car
    turning = JACK * TURN_STEP * np.abs(night.jacks[:, None] - night.jacks)
    for run in range(len(night.runs)):
        total = _loose_points(night, run) + wheels
        near = np.flatnonzero(total.ravel() <= total.min() + float(turning[turned].max()) + SAME)
        if not np.isfinite(total.min()):
            return None
        points = _points_of(night, run, near) + wheels.ravel()[near, None] + turning[turned]
        at, turned = (int(i) for i in np.unravel_index(int(np.argmin(points)), points.shape))
        steps.append((int(near[at]), turned))
        wheels = _wheels_from(night, int(near[at]))
    return steps
