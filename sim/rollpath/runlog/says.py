"""What recorded laps say of the stagger."""

import math
from dataclasses import dataclass

from rollpath.car import Car
from rollpath.runlog.laps import BINS
from rollpath.runlog.recording import TAPE_DOUBT, Recording
from rollpath.runlog.slip import MOST_SLIP

TAPE_DOUBTED = 2.0
"""Standard deviations between wheel and tape from which the tires are to be taped again: a right
tape is doubted in 1 log of 20."""


@dataclass(frozen=True)
class LogWord:
    """What a log says.

    Attributes
    ----------
    code : str
        spins, tape (what was taped is in doubt), or stagger.
    best : float
        Stagger to tape, by the driven line and the wheel, m.
    sd : float
        Its standard deviation, m, beside that of the physics.
    rolls : bool
        Whether engine speed and road speed show that the rear tires do not spin.
    """

    code: str
    best: float
    sd: float
    rolls: bool = False


def read_log(run: Recording, car: Car) -> LogWord:
    """What the recorded laps say of the stagger to tape.

    Parameters
    ----------
    run : Recording
    car : Car
        As driven.
    """
    taped, running, error = float(car.rear.stagger), float(car.rear.stagger), TAPE_DOUBT
    if run.wheel is not None:
        running, error = run.wheel.stagger, run.wheel.error
    best = float(run.best.unbounded) - (running - taped)
    code = "spins" if spins(run) else "tape" if tape_doubted(run) else "stagger"
    return LogWord(code, best, error, run.slip is not None and code != "spins")


def spins(run: Recording) -> bool:
    """Whether the rear tires spin: in more than one part of the lap, or past any doubt."""
    slip = run.slip
    return slip is not None and (slip.spinning > 1.5 / BINS or slip.exit > MOST_SLIP)


def tape_doubted(run: Recording) -> bool:
    """Whether the wheel speaks of a stagger that the tape makes unlikely."""
    if run.wheel is None:
        return False
    apart = abs(run.wheel.alone - float(run.feel.staggers[1]))
    return apart > TAPE_DOUBTED * math.hypot(run.wheel.alone_error, TAPE_DOUBT)
