"""What an axle may carry: every pair of tires, with the air in them that is worth a thought.

A state is a pair of tires at two pressures. Two states of one pair differ in what they cost and in
how much bite they raise, and to the rest of the car only these two count. A state is left out when
another of its pair costs less even after paying for the difference in bite: no set would take it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, only
from rollpath.scales.rates import Rates
from rollpath.scales.twist import air_rises
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.air import air_steps, cold_rollout
from rollpath.tires.rack import Rack, RackTire
from rollpath.tires.rules import (
    ALIKE,
    REAR,
    BoolArray,
    IntArray,
    codes_of,
    kind_of,
    may_go,
    traits_of,
    unlike_points,
)
from rollpath.units import FloatArray, Real

Keep: TypeAlias = Callable[[FloatArray], BoolArray]
"""Says by the stagger of states which of them count."""
Told: TypeAlias = Callable[[float], None]
"""Is told the share of a long job that is done."""
SAME_COST = 1e-12
"""Points; a state has to be beaten by more than rounding to be left out."""


@dataclass(frozen=True)
class Mounts:
    """Tires at one corner, each at every pressure it may have there: arrays of shape (mounts,).

    Attributes
    ----------
    tire : ndarray of int
        Place in the rack.
    added : ndarray
        Pressure beyond the running one, Pa.
    rollout : ndarray
        Cold, at that pressure, m.
    lifts : ndarray
        The rollout that would lift the corner as much without the change of rate, m.
    aimed : ndarray
        The rollout that is held against the aim: cold, or hot where the aim is, m.
    """

    tire: IntArray
    added: FloatArray
    rollout: FloatArray
    lifts: FloatArray
    aimed: FloatArray


def mounts(scoring: "Scoring", tires: IntArray, corner: int, air: bool) -> Mounts:
    """The tires named at a corner, at every pressure their limits allow.

    Parameters
    ----------
    scoring : Scoring
    tires : ndarray of int
    corner : int
        Of `CORNERS`.
    air : bool
        False leaves every tire at the running pressure.
    """
    rack, car, name = scoring.rack, scoring.car, CORNERS[corner]
    steps = [air_steps(rack, rack.tires[i], name) if air else np.zeros(1) for i in tires]
    counts = [len(one) for one in steps]
    which = np.repeat(tires, counts).astype(int)
    added = np.concatenate([np.empty(0), *steps])
    base = np.array([cold_rollout(rack, rack.tires[i], name) for i in tires], dtype=float)
    slope = np.array([_growth(rack, rack.tires[i], name) for i in tires], dtype=float)
    rollout = np.repeat(base, counts) + np.repeat(slope, counts) * added
    lifts = rollout + 2 * np.pi * _rise(rack, car, name, added)
    aimed = rollout if scoring.hot is None else rollout + scoring.hot[which]
    return Mounts(which, added, rollout, lifts, aimed)


def _growth(rack: Rack, tire: RackTire, corner: str) -> float:
    return cold_rollout(rack, tire, corner, 1.0) - cold_rollout(rack, tire, corner)


def _rise(rack: Rack, car: Car, corner: str, added: FloatArray) -> FloatArray:
    """How much higher a tire stands than at the car's own pressure there, m."""
    if rack.running_pressure is None or car.pressure is None:
        return np.zeros_like(added)
    apart = getattr(rack.running_pressure, corner) - getattr(car.pressure, corner)
    rises = air_rises(car, only(corner, apart + added))
    return np.asarray(getattr(rises, corner) + np.zeros_like(added))


@dataclass(frozen=True)
class Pairs:
    """Pairs of tires of one axle and their states.

    Attributes
    ----------
    left, right, kind : ndarray of int
        Shape (pairs,). Front and rear pairs go together when their kind is the same.
    least_miss : ndarray
        Least that a rear pair misses the stagger by, m, shape (pairs,); 0 in front.
    pair : ndarray of int
        Of each state, in order; shape (states,).
    cost, raised : ndarray
        Points, and bite raised against the car file, N; shape (states,).
    added : ndarray
        Pressure beyond the running one, left and right, Pa; shape (states, 2).
    """

    left: IntArray
    right: IntArray
    kind: IntArray
    least_miss: FloatArray
    pair: IntArray
    cost: FloatArray
    raised: FloatArray
    added: FloatArray

    def __len__(self) -> int:
        return len(self.left)

    @property
    def first(self) -> IntArray:
        """Index of the first state of each pair, and the number of states at the end."""
        starts: IntArray = np.searchsorted(self.pair, np.arange(len(self) + 1))
        return starts


@dataclass(frozen=True)
class Scoring:
    """All that the states of an axle are scored by.

    Attributes
    ----------
    car : Car
        With its pressures, as `air.standing` gives them.
    on_car : tuple of int
        Tire now on each corner, -1 where none is known.
    air : bool
        Whether air is chosen too.
    hot : ndarray or None
        How much each tire grows from cold to hot, m; None aims at stagger cold.
    wanted : float
        Bite to be raised against the car file, N; 0 holds what it has.
    """

    rack: Rack
    car: Car
    aim: Aim
    weights: Weights
    rates: Rates
    on_car: tuple[int, ...]
    air: bool
    hot: FloatArray | None = None
    wanted: float = 0.0


def pairs_of(
    scoring: Scoring,
    axle: tuple[int, int],
    keep: Keep | None = None,
    told: Told | None = None,
) -> Pairs:
    """The pairs an axle may carry.

    Parameters
    ----------
    scoring : Scoring
    axle : tuple of int
        `rules.FRONT` or `rules.REAR`.
    keep : callable, optional
        Says by the stagger of a state whether it counts; all do when left out.
    told : callable, optional
        Is told the share done.
    """
    rack, car = scoring.rack, scoring.car
    fits = _fitting(rack, car, axle)
    sides = [mounts(scoring, np.flatnonzero(fits.any(axis=1 - side)), axle[side], scoring.air)
             for side in (0, 1)]  # fmt: skip
    rows, tires = [], np.unique(sides[0].tire)
    for done, tire in enumerate(tires):
        if np.any(fits[tire][sides[1].tire]):
            rows.append(_of_left(scoring, axle, sides, int(tire), fits[tire], keep))
        if told is not None:
            told((done + 1) / len(tires))
    return _joined(scoring, axle, rows)


def _fitting(rack: Rack, car: Car, axle: tuple[int, int]) -> BoolArray:
    """Which tires may go together, left (rows) and right."""
    allowed = np.array([[may_go(car, tire, c) for c in axle] for tire in rack.tires], dtype=bool)
    allowed = allowed.reshape(-1, 2)
    fits: BoolArray = allowed[:, :1] & allowed[:, 1]
    np.fill_diagonal(fits, False)
    for what, scope in car.alike.scopes.items():
        if axle in ALIKE[scope]:
            codes = codes_of(rack.tires, what)
            fits &= codes[:, None] == codes
    return fits


_Row = tuple[int, IntArray, FloatArray, IntArray, FloatArray, FloatArray, FloatArray]
"""Left tire, right tires, least misses; of the states: right tire, cost, raised, air."""


def _of_left(
    scoring: Scoring,
    axle: tuple[int, int],
    sides: list[Mounts],
    tire: int,
    fits: BoolArray,
    keep: Keep | None,
) -> _Row:
    """Every pair with one left tire: all their states at once, then those worth keeping."""
    lefts, rights = np.flatnonzero(sides[0].tire == tire), np.flatnonzero(fits[sides[1].tire])
    others, place = np.unique(sides[1].tire[rights], return_inverse=True)
    counts = np.bincount(place, minlength=len(others))
    slot = np.arange(len(rights)) - np.repeat(np.cumsum(counts) - counts, counts)
    L = np.broadcast_to(lefts[:, None], (len(lefts), len(rights)))
    cost, raised, stagger = score_states(scoring, axle, sides, L, rights)
    miss = scoring.aim.miss(stagger) if axle == REAR else np.zeros_like(stagger)
    if keep is not None:
        cost = np.where(keep(stagger), cost, np.inf)
    shape = (len(others), len(lefts), int(counts.max(initial=0)))
    padded = [np.full(shape, fill) for fill in (np.inf, 0.0, np.inf)]
    for whole, values in zip(padded, (cost, raised, miss), strict=True):
        whole[place, :, slot] = np.asarray(values).T
    flat = [whole.reshape(len(others), -1) for whole in padded]
    kept = worth_keeping(flat[0], flat[1], scoring.weights.bite)
    row, column = np.nonzero(kept)
    left_at, slot_at = np.divmod(column, max(shape[2], 1))
    right_at = rights[(np.cumsum(counts) - counts)[row] + slot_at]
    added = np.stack([sides[0].added[lefts[left_at]], sides[1].added[right_at]], axis=-1)
    least_miss = flat[2].min(axis=1, initial=np.inf)
    return tire, others, least_miss, row, flat[0][kept], flat[1][kept], added


def score_states(
    scoring: Scoring, axle: tuple[int, int], sides: list[Mounts], left: IntArray, right: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points, bite raised (N) and stagger aimed at (m) of states, by their places in the mounts.

    Of the bite the front counts what is left to the bite wanted, so that nothing is left over
    where both come to 0.

    Parameters
    ----------
    scoring : Scoring
    axle : tuple of int
        Left and right, in the order of `CORNERS`.
    sides : list of Mounts
        Of the left and of the right.
    left, right : ndarray of int
        Places in the mounts, one state an element.

    Returns
    -------
    tuple of ndarray
        Each of the shape of `left`.
    """
    w, car, rates = scoring.weights, scoring.car, scoring.rates
    a, b = sides
    stagger = b.aimed[right] - a.aimed[left]
    lifts = b.lifts[right] - a.lifts[left]
    cost = w.air * (np.abs(a.added[left]) + np.abs(b.added[right]))
    if axle == REAR:
        raised = -rates.rear * (lifts - car.rear.stagger)
        gear = gear_change(car, a.rollout[left], b.rollout[right])
        cost = cost + w.stagger * scoring.aim.miss(stagger) + w.gear * np.abs(gear)
    else:
        raised = rates.front * (lifts - car.front.stagger) - scoring.wanted
    return cost, np.asarray(raised), stagger


def gear_change(car: Car, left: Real, right: Real) -> Real:
    """Share by which engine speed rises with two rear rollouts, against the car file.

    Parameters
    ----------
    car : Car
    left, right : float or ndarray
        Rear rollouts, m.
    """
    return car.rear.mean_rollout / (0.5 * (left + right)) - 1.0


def worth_keeping(cost: FloatArray, raised: FloatArray, bite_points: float) -> BoolArray:
    """Which states no other of their row beats at every bite of the rest of the car.

    What a set pays for bite changes by at most `bite_points` per N, so a state is beaten by one
    that costs less even after paying that for the difference in bite.

    Parameters
    ----------
    cost, raised : ndarray
        Shape (rows, states); an infinite cost is no state.
    """
    order = np.argsort(raised, axis=1)
    c = np.take_along_axis(cost, order, axis=1)
    pay = bite_points * np.take_along_axis(raised, order, axis=1)
    below, above = np.full_like(c, np.inf), np.full_like(c, np.inf)
    below[:, 1:] = np.minimum.accumulate(c - pay, axis=1)[:, :-1] + pay[:, 1:]
    above[:, :-1] = np.minimum.accumulate((c + pay)[:, ::-1], axis=1)[:, ::-1][:, 1:] - pay[:, :-1]
    kept = np.isfinite(c) & (np.minimum(below, above) >= c - SAME_COST)
    back: BoolArray = np.empty_like(kept)
    np.put_along_axis(back, order, kept, axis=1)
    return back


def _joined(scoring: Scoring, axle: tuple[int, int], rows: list[_Row]) -> Pairs:
    """The rows as one, with the points of a pair whatever its air: wheels and unlike tires."""
    empty = np.empty(0, dtype=int)
    left = np.concatenate([empty, *(np.full(len(row[1]), row[0]) for row in rows)])
    right = np.concatenate([empty, *(row[1] for row in rows)])
    starts = np.cumsum([0, *(len(row[1]) for row in rows)])
    pair = np.concatenate([empty, *(at + row[3] for at, row in zip(starts, rows, strict=False))])
    none = np.empty(0)
    cost, raised = (np.concatenate([none, *(row[i] for row in rows)]) for i in (4, 5))
    codes = {what: codes_of(scoring.rack.tires, what) for what in ("compound", "offset")}
    if len(pair):
        cost = cost + pair_points(scoring, axle, left, right)[pair]
    return Pairs(
        left, right, kind_of(scoring.car, codes, left),
        least_miss=np.concatenate([none, *(row[2] for row in rows)]),
        pair=pair, cost=cost, raised=raised,
        added=np.concatenate([np.empty((0, 2)), *(row[6] for row in rows)]),
    )  # fmt: skip


def pair_points(
    scoring: Scoring, axle: tuple[int, int], left: IntArray, right: IntArray
) -> FloatArray:
    """Points of pairs whatever their air: wheels to change and unlike tires.

    Parameters
    ----------
    scoring : Scoring
    axle : tuple of int
        Left and right, in the order of `CORNERS`.
    left, right : ndarray of int
        Tires of the rack, one pair an element.
    """
    traits = traits_of(scoring.rack.tires)
    on_car, w = scoring.on_car, scoring.weights
    changed = (left != on_car[axle[0]]).astype(int) + (right != on_car[axle[1]])
    points: FloatArray = w.wheel * changed + w.unlike * unlike_points(traits[left], traits[right])
    return points
