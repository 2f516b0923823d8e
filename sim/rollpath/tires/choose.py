"""Tires: which four of the rack to bolt on, and how much air to give them.

A set of four is a rear pair and a front pair that share no tire, each tire at a pressure inside
its limits. Stagger and gear belong to the rear pair, bite is the sum of what each pair does.

Scores are in points, the fewer the better. With the weights of `Weights` one point is what an
eighth of an inch of rear stagger off the target costs.
"""

from dataclasses import dataclass, replace

import numpy as np

from rollpath.car import Car
from rollpath.results import Result
from rollpath.tires.aim import Aim, Weights
from rollpath.tires.pairs import Told, pairs_of
from rollpath.tires.rack import Rack
from rollpath.tires.rules import REAR, BoolArray
from rollpath.tires.search import best_sets, partners_of
from rollpath.tires.sets import SAME_SCORE, Pick, Sets, TireError, why_none
from rollpath.units import FloatArray


@dataclass(frozen=True, eq=False)
class Choice(Result, told_by="tires"):
    """What the chooser found.

    Attributes
    ----------
    rack, aim, weights : as given
    car : Car
        As given; with the running pressures of the rack where its own are not known.
    air, hot : bool
        Whether air was chosen too, and whether the aim is hot.
    picks : list of Pick
        The best sets of four, each with its best air; tied ones in the order of the rack.
    tied : int
        Sets that share the best score, the first included.
    considered : int
        Allowed sets of four tires.
    nearest : Pick
        The set of best score among those that reach the target; where none does, among those
        that miss it least.
    """

    rack: Rack
    car: Car
    aim: Aim
    weights: Weights
    air: bool
    hot: bool
    picks: list[Pick]
    tied: int
    considered: int
    nearest: Pick

    @property
    def in_reach(self) -> bool:
        """Whether any allowed set reaches the target."""
        return bool(self.aim.reached(self.nearest.aimed_stagger))

    def to_look_for(self) -> dict[str, float]:
        """Rear rollouts that would reach the target with the nearest set's other rear tire, m."""
        rollouts, grown = self.nearest.rollouts, self.nearest.aimed_stagger
        cold = self.aim.stagger - (grown - self.nearest.rear_stagger)
        return {
            "right_rear": float(rollouts.left_rear) + cold,
            "left_rear": float(rollouts.right_rear) - cold,
        }


def choose(
    rack: Rack,
    car: Car,
    aim: Aim | float,
    weights: Weights | None = None,
    most: int = 10,
    *,
    air: bool = True,
    hot: bool = False,
    told: Told | None = None,
) -> Choice:
    """The best sets of four and their air, exactly.

    Parameters
    ----------
    rack : Rack
    car : Car
        Scalar fields. Bite and gear are against its rollouts and weights.
    aim : Aim or float
        The rear stagger wanted, cold, m.
    weights : Weights, optional
    most : int
        How many sets to return.
    air : bool
        False leaves every tire at the running pressure; so does a rack without one.
    hot : bool
        Whether the aim is the stagger hot, by the hot tapings of the rack.
    told : callable, optional
        Is told the share of the work done, 0 to 1, from time to time.

    Raises
    ------
    TireError
        If no four tires may go on the car together, or the rack knows nothing of hot.

    Examples
    --------
    What to bolt on for 2 1/4 in of rear stagger::

        choice = choose(rack, car, 2.25 * INCH)
        choice.picks[0].names, choice.picks[0].pressures
    """
    aim = aim if isinstance(aim, Aim) else Aim(aim)
    weights = weights or Weights()
    sets = Sets.of(rack, car, aim, weights, air, told, hot)
    counts = partners_of(sets)
    if not counts.sum():
        raise TireError(why_none(rack, car))
    found = best_sets(sets, most)
    picks = [sets.pick(four) for four in sets.fours(found.rears, found.fronts)]
    scores = [one.score for one in picks]
    ranks = [1 + sum(other < score - SAME_SCORE for other in scores) for score in scores]
    return Choice(
        rack, sets.scoring.car, aim, weights, air, hot,
        picks=[replace(pick, rank=rank) for pick, rank in zip(picks, ranks, strict=True)],
        tied=found.tied,
        considered=int(counts.sum()),
        nearest=_nearest(sets, picks[0], float(sets.rear.least_miss[counts > 0].min())),
    )  # fmt: skip


def _nearest(sets: Sets, first: Pick, least_miss: float) -> Pick:
    """The best set that reaches the target, or else that misses it least."""
    aim = sets.scoring.aim
    if aim.reached(first.aimed_stagger) or aim.miss(first.aimed_stagger) <= least_miss + 1e-9:
        return first

    def near(stagger: FloatArray) -> BoolArray:
        return np.asarray(aim.miss(stagger) <= least_miss + 1e-9)

    def reaching(stagger: FloatArray) -> BoolArray:
        return np.asarray(aim.reached(stagger))

    for keep in (reaching, near):
        kept = replace(sets, rear=pairs_of(sets.scoring, REAR, keep))
        found = best_sets(kept, 1)
        if len(found.rears):
            four = kept.fours(found.rears, found.fronts)[0]
            return kept.pick(four, keep)
    return first
