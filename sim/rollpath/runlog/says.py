"""What recorded laps add up to."""

import math
from dataclasses import dataclass

import numpy as np

from rollpath.car import Car
from rollpath.debrief import CONFIDENCES, Leaning
from rollpath.feel.lap import LEAST_FELT, Feel
from rollpath.lap import PHASES
from rollpath.runlog.recording import NEED_DOUBT, TAPE_DOUBT, UNSEEN_NEED_DOUBT, Recording
from rollpath.runlog.slip import SPIN_SHARE
from rollpath.screen import Screen
from rollpath.units import INCH

TAPE_DOUBTED = 1.5
"""Standard deviations between wheel and tape from which the tires are to be taped again."""
LEAVE_BAND = 0.375 * INCH
"""A fault of the stagger smaller than this is left alone: a lap varies as much."""


# What it adds up to


@dataclass(frozen=True)
class Fault:
    """Running stagger less what the driven line needs, m, and its standard deviation."""

    amount: float
    error: float


def stagger_fault(run: Recording, car: Car) -> Fault:
    """How far the stagger was from the need of the driven line: by the tape, and the wheel."""
    stagger, error = float(car.rear.stagger), TAPE_DOUBT
    if run.wheel is not None:
        stagger, error = run.wheel.stagger, run.wheel.error
    need = NEED_DOUBT if run.laps.is_measured else UNSEEN_NEED_DOUBT
    return Fault(stagger - float(run.best.unbounded), math.hypot(error, need))


def read_log(run: Recording, car: Car, screen: Screen) -> Leaning:
    """Which way the recorded laps point.

    Parameters
    ----------
    run : Recording
    car : Car
        As driven.
    screen : Screen
        For the lengths in the reason.
    """
    if run.slip is not None and run.slip.spinning > SPIN_SHARE:
        return Leaning(
            "elsewhere", "high" if run.slip.spinning > 2 * SPIN_SHARE else "fair",
            f"the rear tires spin on the drive-off, {100 * run.slip.exit:.0f} % slip: that is "
            "missing drive, and a spinning axle hides what its stagger does; bite, tires and "
            "throttle first",
            missing_drive=True,
        )  # fmt: skip
    fault = stagger_fault(run, car)
    off, sure = abs(fault.amount), _confidence(run, fault)
    need, taped = screen.tape(run.best.unbounded), screen.tape(car.rear.stagger)
    spoken = f"the recorded line asks for about {need} and the tape says {taped}"
    spoken += _wheel_words(run, screen)
    if _tape_doubted(run):
        return Leaning(
            "ask", "low", f"{spoken}: the wheel and the tape do not fit together",
            "Tape both rear tires again, hot: is that the stagger that was driven?",
        )  # fmt: skip
    if off <= LEAVE_BAND:
        return Leaning("leave", sure, f"{spoken}: within what a lap varies")
    change, side = ("more", "little") if fault.amount < 0 else ("less", "much")
    return Leaning(change, sure, f"{spoken}: about {screen.tape(off)} too {side}")


def _tape_doubted(run: Recording) -> bool:
    """Whether the wheel speaks of a stagger that the tape makes unlikely."""
    if run.wheel is None:
        return False
    apart = abs(run.wheel.alone - float(run.feel.staggers[1]))
    return apart > TAPE_DOUBTED * math.hypot(run.wheel.alone_error, TAPE_DOUBT)


def _wheel_words(run: Recording, screen: Screen) -> str:
    if run.wheel is None:
        return ", with no steering to check it by"
    alone, error = run.wheel.alone, run.wheel.alone_error
    return (
        f"; the steering alone reads like {screen.tape(alone)}, give or take {screen.tape(error)}"
    )


def _confidence(run: Recording, fault: Fault) -> str:
    """How sure: by how clear the fault is of its error, and whether the wheel says the same."""
    off = abs(fault.amount)
    clear = off / fault.error if off > LEAVE_BAND else 2.0 * (1.0 - off / LEAVE_BAND)
    level = sum(clear > step for step in CLEAR)
    wheel = run.wheel
    if wheel is None or run.laps.used < 2:
        level = min(level, 1)
    else:
        level = min(level, _seconded(run, fault))
    return CONFIDENCES[level]


def _seconded(run: Recording, fault: Fault) -> int:
    """How sure the wheel lets a verdict be: 2 where it says the same, 0 where it clearly does not.

    To leave it, the same is a wheel within its own error of the need.
    """
    assert run.wheel is not None
    alone, error = run.wheel.alone - float(run.best.unbounded), run.wheel.alone_error
    if abs(fault.amount) <= LEAVE_BAND:
        return 2 if abs(alone) <= error else 0
    along = alone * math.copysign(1.0, fault.amount)
    if along < -error:
        return 0
    return 2 if along > 0.5 * abs(fault.amount) else 1


CLEAR = (0.8, 1.4)
"""Fault over its error from which the confidence is fair, and high. Engineering judgement."""


def felt_step(feel: Feel) -> float:
    """Least change of stagger whose effect a driver names: `LEAST_FELT` at the wheel, m.

    Parameters
    ----------
    feel : Feel
        Of two staggers or more; the first and the last are compared where the car is driven and
        turns, in the phase that shows it most.
    """
    apart = float(feel.staggers[-1] - feel.staggers[0])
    per_stagger = np.abs(feel.steering_wheel[-1] - feel.steering_wheel[0]) / apart
    rates = []
    for name in ("centre", "drive-off"):
        there = (feel.lap.phase == PHASES.index(name)) & np.isfinite(per_stagger)
        if there.any():
            rates.append(float(np.average(per_stagger[there], weights=feel.lap.groove.ds[there])))
    rate = max(rates, default=0.0)
    return LEAST_FELT / rate if rate > 0 else 0.0
