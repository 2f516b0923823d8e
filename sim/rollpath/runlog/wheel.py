"""Recorded steering read against the model."""

import math

import numpy as np

from rollpath.car import Car
from rollpath.doubts import STIFFNESS_DOUBT
from rollpath.feel.lap import trim_lap
from rollpath.lap import PHASES
from rollpath.runlog.laps import BINS, ENOUGH
from rollpath.runlog.log import RunNote
from rollpath.runlog.recording import STEP, TAPE_DOUBT, Recording, Wheel
from rollpath.runlog.slip import mean_of
from rollpath.survey.log import Note
from rollpath.typical import TYPICAL
from rollpath.units import DEGREE, FloatArray

ZERO_DOUBT = 8.0 * DEGREE
"""Zero of the steering sensor, at the steering wheel."""
MODEL_DOUBT = 5.0 * DEGREE
"""Steering wheel in one part of the lap."""
SLOW_WAVES = 2
"""Waves around the lap of which the steering is read: one a corner."""
LEAST_MOVED = 0.3
"""Share of the expected travel of the wheel below which the channel is doubted, and correlation
with it beyond which it runs the other way."""


def read_wheel(run: Recording, car: Car) -> tuple[Wheel | None, Note | None]:
    """The stagger that the steering speaks of, and a doubt that rules it out.

    Notes
    -----
    Least squares with what was known before [2]_: the stagger about the taped one, and about
    nothing the zero of the sensor, an error of the steering ratio, and tires of other stiffness.
    """
    steering = run.laps.log.steering
    if steering is None:
        return None, None
    wheel = run.feel.steering_wheel
    model = _filled(run.by_bin(wheel[1]))
    recorded = run.laps.binned(steering)
    if np.isfinite(recorded).sum() < ENOUGH:
        return None, Note("steering in part")
    # A part of the lap that a row of nonsense alone has seen lies further off than a wheel goes.
    furthest = float(np.ptp(model)) / LEAST_MOVED
    recorded = np.where(np.abs(recorded - np.nanmedian(recorded)) < furthest, recorded, np.nan)
    seen = np.isfinite(recorded) & np.isfinite(model)
    doubt = _doubt(recorded[seen], model[seen])
    if doubt:
        return None, doubt
    apart = _slow(_filled(recorded) - model)
    rows = _slow(np.stack([
        run.by_bin((wheel[2] - wheel[0]) / (2 * STEP)), np.ones(BINS), model - model.mean(),
        *(run.by_bin(change) for change in _others(run)),
    ], axis=-1))  # fmt: skip
    ratio = TYPICAL["steering_ratio"]
    before = np.array([TAPE_DOUBT, ZERO_DOUBT, ratio.doubt / ratio.value, 1.0, 1.0])
    normal = rows.T @ rows / MODEL_DOUBT**2 + np.diag(before**-2.0)
    found = np.linalg.solve(normal, rows.T @ apart / MODEL_DOUBT**2)
    left = float(np.sqrt(np.mean((apart - rows @ found) ** 2)))
    # What the model misses by more than was granted makes every figure less sure.
    error = math.sqrt(np.linalg.inv(normal)[0, 0]) * max(1.0, left / MODEL_DOUBT)
    # The tape's share taken out again: what the wheel knows is what both know, less the tape.
    known = max(float(1.0 / np.linalg.inv(normal)[0, 0] - before[0] ** -2.0), 1e-9)
    taped, moved = float(car.rear.stagger), float(found[0])
    return Wheel(
        recorded, model, _exit_less_corner(run, recorded), _exit_less_corner(run, model),
        stagger=taped + moved,
        error=error,
        alone=taped + moved * (1.0 + before[0] ** -2.0 / known),
        alone_error=known**-0.5,
        zero=float(found[1]),
        scatter=left,
    ), None  # fmt: skip


def _slow(bins: FloatArray) -> FloatArray:
    """The slow waves of bins around the lap, as so many independent numbers of the same size.

    A recorded path is smoothed, so where it starts to turn is blurred, and its steering with it;
    what the wheel does over a corner is not.
    """
    angle = 2 * np.pi / BINS * np.outer(np.arange(1, SLOW_WAVES + 1), np.arange(BINS) + 0.5)
    waves = np.vstack([np.full((1, BINS), math.sqrt(0.5)), np.cos(angle), np.sin(angle)])
    return waves @ bins * (math.sqrt(2.0) / BINS) * math.sqrt(len(waves))


def _filled(bins: FloatArray) -> FloatArray:
    """Bins with those not seen taken from their neighbours."""
    seen = np.flatnonzero(np.isfinite(bins))
    filled: FloatArray = np.interp(np.arange(BINS), seen, bins[seen], period=BINS)
    return filled


def _others(run: Recording) -> list[FloatArray]:
    """Steering wheel for tires one standard deviation softer, and for the rear ones alone; less
    that of the car as it is."""
    feel, stagger = run.feel, run.feel.staggers[1]
    softer = trim_lap(
        feel.lap, feel.car, run.condition, np.full(2, stagger),
        front_stiffer=np.array([1.0 - STIFFNESS_DOUBT, 1.0]),
        rear_stiffer=1.0 - np.array([STIFFNESS_DOUBT, STIFFNESS_DOUBT]),
    )  # fmt: skip
    return [np.nan_to_num(wheel - feel.steering_wheel[1]) for wheel in softer.steering_wheel]


def _doubt(recorded: FloatArray, model: FloatArray) -> Note | None:
    """Why a steering channel cannot be the steering wheel of this car; None when it can."""
    if len(recorded) < ENOUGH:
        return Note("steering in part")
    moved = float(np.ptp(np.percentile(recorded, (5, 95))))
    expected = float(np.ptp(np.percentile(model, (5, 95))))
    if moved < LEAST_MOVED * expected or moved > expected / LEAST_MOVED:
        return RunNote("steering travel", moved, expected)
    if float(np.corrcoef(recorded, model)[0, 1]) < -LEAST_MOVED:
        return Note("steering to the right")
    return None


def _exit_less_corner(run: Recording, values: FloatArray) -> float:
    """Mean of the drive-off less the mean of the corner, averaged over the two ends."""
    corner = run.feel.lap.phase != PHASES.index("straight")
    ends = []
    for end in (run.lap.groove.first_end, ~run.lap.groove.first_end):
        exit_bins = run.by_bin((run.exit & end).astype(float)) > 0.5
        corner_bins = run.by_bin((corner & end).astype(float)) > 0.5
        ends.append(mean_of(values, exit_bins) - mean_of(values, corner_bins))
    known = [end for end in ends if math.isfinite(end)]
    return float(np.mean(known)) if known else math.nan
