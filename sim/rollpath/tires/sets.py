"""Sets of four: a rear pair and a front pair that share no tire, each with its air."""

from dataclasses import dataclass, field

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS, Corners
from rollpath.errors import RollpathError
from rollpath.scales.rates import bite_rates
from rollpath.scales.twist import Change, pads_after
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.air import air_steps, cold_rollout, standing
from rollpath.tires.pairs import (
    Keep,
    Mounts,
    Pairs,
    Scoring,
    Told,
    gear_change,
    mounts,
    pair_points,
    pairs_of,
    score_states,
)
from rollpath.tires.rack import Rack, RackTire
from rollpath.tires.rules import (
    ALIKE,
    FRONT,
    REAR,
    IntArray,
    bars,
    may_go,
    spoken_corner,
    traits_of,
    unlike_points,
)
from rollpath.units import FloatArray, Real

SAME_SCORE = 1e-9
"""Points; sets closer than this are tied."""


class TireError(RollpathError):
    """A rack from which four tires cannot be chosen; the message says why."""


def filed_rollouts(car: Car) -> Corners[Real]:
    """Rollouts of the car file, those its scale weights were taken with, m."""
    front, rear = car.front, car.rear
    return Corners(front.left_rollout, front.right_rollout, rear.left_rollout, rear.right_rollout)


@dataclass(frozen=True)
class Pick:
    """A set of four tires with their air, and what it does.

    Attributes
    ----------
    tires : tuple of RackTire
        In the order of `corners.CORNERS`.
    rollouts : Corners[Real]
        Cold, at the pressure chosen, m.
    added : Corners[float]
        Pressure beyond the running one, Pa.
    pressures : Corners[float] or None
        The pressure chosen, Pa; None without a running pressure.
    rear_stagger, front_stagger : float
        Cold, m.
    aimed_stagger : float
        Of the rear, as it is held against the aim: cold, or hot where the aim is, m.
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
    added: Corners[float]
    pressures: Corners[float] | None
    rear_stagger: float
    front_stagger: float
    aimed_stagger: float
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
        """The change of rollouts and air against the car file.

        Parameters
        ----------
        car : Car
            With its pressures, as `air.standing` gives them.
        """
        rollouts = self.rollouts.with_each(filed_rollouts(car), lambda new, old: new - old)
        if self.pressures is None or car.pressure is None:
            return Change(rollouts)
        pressures = self.pressures.with_each(car.pressure, lambda new, old: new - old)
        return Change(rollouts, pressures=pressures)

    def hot_stagger(self, axle: tuple[int, int]) -> float | None:
        """Stagger of `FRONT` or `REAR` as taped hot, m; None unless both tires were.

        Parameters
        ----------
        axle : tuple of int
            Indices of `CORNERS`.
        """
        left, right = (self.tires[corner].hot for corner in axle)
        return None if left is None or right is None else right.mean - left.mean


@dataclass(frozen=True)
class Sets:
    """All sets of a rack: rear pairs against front pairs.

    Attributes
    ----------
    limits : tuple of float
        How far below and above the bite wanted the scales can go before a wheel hangs free, N.
    """

    scoring: Scoring
    limits: tuple[float, float]
    front: Pairs = field(repr=False)
    rear: Pairs = field(repr=False)

    @classmethod
    def of(
        cls, rack: Rack, car: Car, aim: Aim, weights: Weights, air: bool = True,
        told: Told | None = None, hot: bool = False,
    ) -> "Sets":  # fmt: skip
        """All sets of a rack, scored.

        Parameters
        ----------
        rack : Rack
        car : Car
            As it stands.
        aim : Aim
        weights : Weights
        air : bool
            Whether air may be changed for the stagger.
        told : callable, optional
            Told how far the work has come.
        hot : bool
            Whether the aim is of the tires as they come in.
        """
        scoring = scoring_of(rack, car, aim, weights, air, hot)
        front, rear = (pairs_of(scoring, axle, told=told) for axle in (FRONT, REAR))
        return cls(scoring, bite_limits(scoring), front, rear)

    def fours(self, rears: IntArray, fronts: IntArray) -> list[Corners[int]]:
        """Places in the rack of the four tires of sets.

        Parameters
        ----------
        rears, fronts : ndarray of int, shape (sets,)
            Rear and front pairs.
        """
        return [
            Corners(int(self.front.left[f]), int(self.front.right[f]),
                 int(self.rear.left[r]), int(self.rear.right[r]))
            for r, f in zip(rears, fronts, strict=True)
        ]  # fmt: skip

    def pick(self, four: Corners[int], keep: Keep | None = None) -> Pick:
        """One set with the air that suits it best.

        Parameters
        ----------
        four : Corners of int
            Places in the rack.
        keep : callable, optional
            Of rear staggers (m), which may be taken.
        """
        added = best_air(self.scoring, self.limits, four, keep)
        return pick_of(self.scoring, self.limits, four, added)


def scoring_of(
    rack: Rack, car: Car, aim: Aim, weights: Weights, air: bool = True, hot: bool = False
) -> Scoring:
    """What the sets of a rack are scored by; air needs the running pressure.

    Raises
    ------
    TireError
        If the aim is hot and one side of the rack has no hot taping.
    """
    car = standing(car, rack)
    grown = hot_growths(rack) if hot else None
    return Scoring(rack, car, aim, weights, bite_rates(car), rack.on_car(), air, grown)


def hot_growths(rack: Rack) -> FloatArray:
    """How much each tire of a rack grows from cold at the running pressure to hot, m.

    A tire that was never taped hot takes the mean of those of its side that were.

    Raises
    ------
    TireError
        If no tire of a side was.
    """
    sides = ["left" if all("left" in c for c in t.corners) else "right" for t in rack.tires]
    own = np.array([own_hot_growth(rack, tire) for tire in rack.tires])
    found = own.copy()
    for side in ("left", "right"):
        here = np.array(sides) == side
        known = own[here & np.isfinite(own)]
        if here.any() and not len(known):
            raise TireError(
                f"no tire of the {side} side was taped hot; stagger hot needs one as it comes in"
            )
        found[here & ~np.isfinite(own)] = known.mean() if len(known) else 0.0
    return found


def own_hot_growth(rack: Rack, tire: RackTire) -> float:
    """How much a tire grew from cold at the running pressure to hot, as taped, m; else nan."""
    if tire.hot is None:
        return float("nan")
    return tire.hot.mean - cold_rollout(rack, tire, tire.on_car or tire.corners[-1])


def bite_limits(scoring: Scoring) -> tuple[float, float]:
    """How far below and above the bite wanted a wheel leaves its pad, N."""
    car = scoring.car
    wanted = float(car.weights.bite) + scoring.wanted
    low, high = (float(pads_after(car, far).weights.bite) - wanted for far in (-1e9, 1e9))
    return low, high


def one_pair(
    scoring: Scoring, axle: tuple[int, int], four: Corners[int], keep: Keep | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points, bite raised (N) and air (left and right, Pa) of one pair in every state.

    Rules are not asked; a tire whose limits leave no pressure there stays at the running one.

    Parameters
    ----------
    scoring : Scoring
    axle : tuple of int
        Indices of `CORNERS`, left first.
    four : Corners of int
        Places in the rack.
    keep : callable, optional
        Of rear staggers (m), which may be taken.
    """
    left, right = (_mounted(scoring, four[corner], corner) for corner in axle)
    L, M = (grid.ravel() for grid in np.indices((len(left.tire), len(right.tire))))
    cost, raised, stagger = score_states(scoring, axle, [left, right], L, M)
    if keep is not None and axle == REAR:
        cost = np.where(keep(stagger), cost, np.inf)
    pair = (np.array([four[corner]]) for corner in axle)
    cost = cost + float(pair_points(scoring, axle, *pair).item())
    return cost, raised, np.stack([left.added[L], right.added[M]], axis=-1)


def _mounted(scoring: Scoring, tire: int, corner: int) -> Mounts:
    found = mounts(scoring, np.array([tire]), corner, scoring.air)
    if len(found.tire):
        return found
    return mounts(scoring, np.array([tire]), corner, air=False)


def best_air(
    scoring: Scoring,
    limits: tuple[float, float],
    four: Corners[int],
    keep: Keep | None = None,
    jacked: float = 0.0,
) -> Corners[float]:
    """Pressures beyond the running ones with which a set scores best, Pa.

    Parameters
    ----------
    scoring, limits : Scoring, tuple of float
        As in `Sets`.
    four : Corners of int
        Places in the rack.
    keep : callable, optional
        Says by the rear stagger which states count.
    jacked : float
        Bite that the jacks raise beside it, N.
    """
    (front_cost, front_raised, front_air), (rear_cost, rear_raised, rear_air) = (
        one_pair(scoring, axle, four, keep) for axle in (FRONT, REAR)
    )
    raised = rear_raised[:, None] + front_raised + jacked
    bite = scoring.weights.bite * np.abs(np.clip(raised, *limits))
    score = rear_cost[:, None] + front_cost + bite
    r, f = np.unravel_index(int(np.argmin(score)), score.shape)
    return Corners(*map(float, (*front_air[f], *rear_air[r])))


def pick_of(
    scoring: Scoring,
    limits: tuple[float, float],
    four: Corners[int],
    added: Corners[float],
    jacked: float = 0.0,
) -> Pick:
    """What one set with its air does, term by term.

    Parameters
    ----------
    jacked : float
        Bite that the jacks raise beside it, N.
    """  # fmt: skip
    rack, car, aim, w = scoring.rack, scoring.car, scoring.aim, scoring.weights
    tires = tuple(rack.tires[i] for i in four)
    states = [_at(scoring, four, added, corner) for corner in range(4)]
    rollouts = Corners(*(float(one.rollout[0]) for one in states))
    rear = float((states[3].aimed - states[2].aimed).item())
    at = np.zeros(1, dtype=int)
    raised = sum(
        float(score_states(scoring, axle, [states[axle[0]], states[axle[1]]], at, at)[1].item())
        for axle in (FRONT, REAR)
    )
    missed = float(np.clip(raised + jacked, *limits))
    bite = missed + scoring.wanted
    gear = float(gear_change(car, rollouts.left_rear, rollouts.right_rear))
    wheels = sum(i != now for i, now in zip(four, scoring.on_car, strict=True))
    unlike = sum(
        float(unlike_points(traits_of([tires[left]]), traits_of([tires[right]])).item())
        for left, right in (FRONT, REAR)
    )
    running = rack.running_pressure
    return Pick(
        tires, rollouts, added,
        None if running is None else running.with_each(added, lambda p, more: float(p + more)),
        float(rollouts.right_rear - rollouts.left_rear),
        float(rollouts.right_front - rollouts.left_front), rear,
        float(car.weights.bite) + bite, bite, gear, wheels, unlike,
        points={
            "stagger": w.stagger * float(aim.miss(rear)),
            "bite": w.bite * abs(missed),
            "gear": w.gear * abs(gear),
            "wheel": w.wheel * wheels,
            "unlike": w.unlike * unlike,
            "air": w.air * float(np.abs(np.array(added)).sum()),
        },
    )  # fmt: skip


def _at(scoring: Scoring, four: Corners[int], added: Corners[float], corner: int) -> Mounts:
    """A tire at a corner with the air given."""
    found = _mounted(scoring, four[corner], corner)
    here = [int(np.argmin(np.abs(found.added - added[corner])))]
    return Mounts(
        found.tire[here], found.added[here], found.rollout[here], found.lifts[here],
        found.aimed[here],
    )  # fmt: skip


# Why not


def broken_rules(rack: Rack, car: Car, pick: Pick, air: bool = True) -> list[str]:
    """What forbids a set, each in words; empty when it is allowed."""
    broken = [
        f"{tire.name} {why}"
        for corner, tire in enumerate(pick.tires)
        if (why := bars(car, tire, corner))
    ]
    broken += [
        f"{tire.name}: its pressure limits leave no pressure on the {spoken_corner(corner)}"
        for corner, tire in zip(CORNERS, pick.tires, strict=True)
        if air and not len(air_steps(rack, tire, corner))
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
