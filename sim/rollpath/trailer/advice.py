"""What to do tonight: the stagger, the tires and air that make it, and what holds the bite."""

from dataclasses import dataclass, replace

from rollpath.corners import NOTHING
from rollpath.results import Result
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.twist import Change, rollout_change
from rollpath.stagger import Baseline
from rollpath.tires.aim import Aim
from rollpath.tires.choose import Choice, choose
from rollpath.tires.judge import in_full
from rollpath.tires.sets import TireError
from rollpath.trailer.trailer import Trailer


@dataclass(frozen=True, eq=False)
class Advice(Result, told_by="trailer"):
    """Tonight in one piece.

    Attributes
    ----------
    trailer : Trailer
    result : Baseline
        Of the car as it stands.
    bite_from : str
        Of `trailer.night.Standing`.
    choice : Choice or None
        The tires and air; None without a rack, or when it makes no four.
    why_not : str
        Why there is no choice; empty when there is one or there is no rack.
    outcome : Outcome
        What it does on the scales, and what holds it.
    """

    trailer: Trailer
    result: Baseline
    bite_from: str
    choice: Choice | None
    why_not: str
    outcome: Outcome


def advise(trailer: Trailer, result: Baseline, bite_from: str) -> Advice:
    """What to do tonight.

    Parameters
    ----------
    trailer : Trailer
    result : Baseline
        Of the car as it stands, on tonight's track and surface.
    bite_from : str
    """
    rack, choice, why_not = trailer.rack_tonight, None, ""
    if rack is not None:
        try:
            choice = choose(rack, result.car, Aim(float(result.stagger.recommended), result))
        except TireError as error:
            why_not = str(error)
    if choice is not None:
        return Advice(trailer, result, bite_from, choice, why_not, in_full(choice))
    car = result.car
    left, right = rollout_change(car.rear, None, None, result.stagger.recommended)
    change = Change(rollouts=replace(NOTHING, left_rear=float(left), right_rear=float(right)))
    return Advice(trailer, result, bite_from, None, why_not, weigh_change(car, change, "either"))
