"""The laps driven, as a lap of the model."""

import math
from dataclasses import replace

import numpy as np

from rollpath.axle.rolling import needed_stagger
from rollpath.car import Car
from rollpath.doubts import GRIP_DOUBT
from rollpath.feel.lap import trim_lap
from rollpath.groove.path import Groove
from rollpath.lap import PHASES, Lap, LapError, driven_lap, solve_lap
from rollpath.runlog.laps import BINS, ENOUGH, Laps, find_laps, transits
from rollpath.runlog.log import RunLog, RunLogError, RunNote
from rollpath.runlog.recording import LEAST_SPEED, MOST_APART, STEP, Recording
from rollpath.runlog.slip import read_slip
from rollpath.runlog.wheel import read_wheel
from rollpath.stagger import recommend
from rollpath.survey.log import Note
from rollpath.track import Condition, Track
from rollpath.units import FloatArray

GRIP_PASSES = 2
"""Times the grip is fitted; each brings it far nearer."""


def read_run(
    log: RunLog,
    track: Track,
    car: Car,
    condition: Condition,
    groove: Groove,
    gear_ratio: float | None = None,
    window: tuple[float, float] | None = None,
) -> Recording:
    """Laps, line, need, slip and steering of a recorded run.

    Parameters
    ----------
    log : RunLog
    track, car, condition : Track, Car, Condition
        The car with the stagger that was taped.
    groove : Groove
        A groove of the track, to hold the laps against.
    gear_ratio : float, optional
        Turns of the engine for one of the axle; the car's own when left out.
    window : tuple of float, optional
        Stagger window, m.
    """
    laps = find_laps(log, track, groove, solve_lap(groove, car, condition))
    lap = driven_lap(laps.groove, car, condition, _speed(laps, car, condition))
    needed = needed_stagger(lap, car)
    condition, notes = _fitted_grip(lap, car, condition)
    stagger, quickest = float(car.rear.stagger), solve_lap(laps.groove, car, condition)
    feel = trim_lap(
        quickest, car, condition, np.array([stagger - STEP, stagger, stagger + STEP])
    )  # fmt: skip
    best = recommend(quickest, needed_stagger(quickest, car), car, condition, window=window)
    run = Recording(laps, lap, needed, best, feel, condition, notes=(*laps.notes, *notes))
    ratio = gear_ratio or car.gear_ratio
    run, notes = replace(run, slip=read_slip(run, car, ratio)), list(run.notes)
    if laps.log.engine_speed is not None and ratio is None:
        notes.append(Note("no gear ratio"))
    if run.slip is not None and run.slip.gear_fault:
        notes.append(RunNote("gear", run.slip.likely_ratio, run.slip.gear_ratio))
    wheel, doubt = read_wheel(run, car)
    return replace(run, wheel=wheel, notes=(*notes, *([doubt] if doubt else [])))


def _speed(laps: Laps, car: Car, condition: Condition) -> FloatArray:
    """Speed at the stations: recorded, else from the clock, else of the model's lap."""
    groove, log = laps.groove, laps.log
    if log.speed is not None:
        return _around(groove, laps.s, laps.without_spikes(log.speed))
    if log.time is None:
        return solve_lap(groove, car, condition).speed
    middle, pace = transits(laps, log.time)
    return _around(groove, middle, pace)


def _around(groove: Groove, s: FloatArray, rows: FloatArray) -> FloatArray:
    """Rows smoothed around the lap by a short Fourier series, at the stations."""
    seen = np.isfinite(rows)
    s, rows = s[seen], rows[seen]
    if len(rows) < ENOUGH:
        raise RunLogError("few speeds", len(rows))
    harmonics = min(BINS // 4, len(rows) // 6)

    def series(at: FloatArray) -> FloatArray:
        angle = 2 * np.pi * np.outer(at / float(groove.length), np.arange(1, harmonics + 1))
        return np.hstack([np.ones((len(at), 1)), np.cos(angle), np.sin(angle)])

    # A trace of roughness so that a stretch without rows does not swing.
    rough = np.concatenate([[0.0], *2 * [np.arange(1, harmonics + 1) ** 2]]) / BINS**2
    A = np.vstack([series(s) / math.sqrt(len(s)), np.diag(rough)])
    b = np.concatenate([rows / math.sqrt(len(s)), np.zeros(len(rough))])
    around: FloatArray = series(groove.s) @ np.linalg.lstsq(A, b, rcond=None)[0]
    return np.maximum(around, LEAST_SPEED)


def _fitted_grip(lap: Lap, car: Car, condition: Condition) -> tuple[Condition, list[Note]]:
    """The surface with the grip that the corners were driven with, at the usual pace."""
    share = 1.0
    for _ in range(GRIP_PASSES):
        fitted = replace(condition, grip=condition.grip * share)
        try:
            feel = trim_lap(solve_lap(lap.groove, car, fitted), car, fitted, car.rear.stagger)
        except LapError:  # no lap can be driven on so little: the log is no guide to the grip
            return condition, []
        corner = (feel.lap.phase == PHASES.index("centre")) & feel.fitted.held[0]
        if not corner.any():
            return condition, []
        weight = (lap.groove.curvature * lap.groove.ds)[corner]
        asked, given = (weight @ v[corner] ** 2 for v in (lap.speed, feel.speed[0]))
        share = min(max(share * asked / given, 1 / MOST_APART), MOST_APART)
    fitted = replace(condition, grip=condition.grip * share)
    if abs(share - 1.0) < GRIP_DOUBT:
        return fitted, []
    code = "more grip" if share > 1.0 else "less grip"
    return fitted, [RunNote(code, float(fitted.mean_grip), float(condition.mean_grip))]
