"""What a night asks of the car: its runs, and what may be changed between them."""

from dataclasses import dataclass

from rollpath.corners import Corners
from rollpath.errors import RollpathError
from rollpath.tires.aim import Aim

NO_PINS: Corners[str] = Corners("", "", "", "")


class PlanError(RollpathError):
    """A night that cannot be planned; the message says why."""


@dataclass(frozen=True)
class Run:
    """One run of the night.

    Attributes
    ----------
    name : str
        hot laps, heat, feature.
    aim : Aim
        The rear stagger wanted.
    condition : str
        The surface, in words.
    pins : Corners[str]
        Tires that have to be on in this run, by name; empty where the plan may choose.
    """

    name: str
    aim: Aim
    condition: str = ""
    pins: Corners[str] = NO_PINS


@dataclass(frozen=True)
class Rules:
    """What may be changed between runs.

    Attributes
    ----------
    wheels : int
        At most so many between two runs; before the first there is time for all four.
    jacks : bool
        Whether jacks may be turned.
    air : bool
        Whether air may leave the running pressure.
    """

    wheels: int = 4
    jacks: bool = True
    air: bool = True
