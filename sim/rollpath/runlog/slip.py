"""Wheel slip from engine speed."""

import math

import numpy as np
from numpy.typing import NDArray

from rollpath.axle.rolling import rolling_circumference
from rollpath.car import Car
from rollpath.feel.lap import Feel
from rollpath.groove.path import grip_under
from rollpath.lap import PHASES
from rollpath.runlog.laps import BINS, ENOUGH
from rollpath.runlog.recording import GEAR_FAULT, LEAST_SPEED, MOST_APART, Recording, Slip
from rollpath.tire import brush_slip
from rollpath.units import FloatArray, Real

SLIP_DOUBT = 0.03
"""Slip, as a share, that a log leaves in doubt in one part of the lap: engine speed and road speed
are each read to a per cent or two. Engineering judgement."""
SPUN_USED = 0.95
"""Share of the rear grip used from which slip beyond the model's is wheelspin. Engineering
judgement: most of the tread slides."""
MOST_SLIP = 0.20
"""Slip off the corner, as a share, that is wheelspin on any tire and any surface (common practice,
no source)."""


# Wheel slip from engine speed


def rolling_speed(engine_speed: Real, gear_ratio: Real, circumference: Real) -> Real:
    """Speed at which the rear treads roll: ``rpm / 60 / ratio x circumference`` [1]_.

    Parameters
    ----------
    engine_speed : float or ndarray
        rad/s.
    gear_ratio : float
        Turns of the engine for one of the axle.
    circumference : float or ndarray
        Mean rolling circumference of the loaded rear tires, m: some 2 % less than their taped
        rollout, see `rollpath.rolling.rolling_circumference`.
    """
    return engine_speed / (2 * np.pi) / gear_ratio * circumference


def tread_slip_along(feel: Feel, car: Car) -> FloatArray:
    """Slip along the car that the model's rear treads have, shape (staggers, stations).

    Parameters
    ----------
    feel : Feel
    car : Car
        Its mean rear rollout is that of every stagger.
    """
    rolls = feel.fitted.axle_speed * rolling_circumference(feel.lap, car)
    slip: FloatArray = 1.0 - float(car.rear.mean_rollout) / rolls
    return slip


def read_slip(run: Recording, car: Car, gear_ratio: float | None) -> Slip | None:
    """Slip around the lap, or None without engine speed, speed and gear ratio.

    Notes
    -----
    Where the throttle is off the axle rolls, but for the brakes, which the model knows of: slip
    that is left there only a wrong ratio explains. The rest is set against the model's by a slope,
    for how soft the tires are.
    """
    log = run.laps.log
    if log.engine_speed is None or gear_ratio is None:
        return None
    road = log.speed
    length = float(run.lap.groove.length)
    if road is None:
        road = np.interp(run.laps.s, run.lap.groove.s, run.lap.speed, period=length)
    loaded = rolling_circumference(run.lap, car)
    circumference = np.interp(run.laps.s, run.lap.groove.s, loaded, period=length)
    rolls = rolling_speed(log.engine_speed, gear_ratio, circumference)
    with np.errstate(divide="ignore", invalid="ignore"):
        slips = np.where(rolls > LEAST_SPEED, 1.0 - road / rolls, np.nan)
    recorded = run.laps.binned(np.where(np.abs(slips) < 1.0, slips, np.nan))
    if np.isfinite(recorded).sum() < ENOUGH:
        return None
    model = run.by_bin(np.nan_to_num(tread_slip_along(run.feel, car)[1]))
    at_exit = run.by_bin(run.exit.astype(float)) > 0.5
    left, slope = _against_model(model, recorded, _rolling(run), ~at_exit)
    true = 1.0 - (1.0 - recorded) / (1.0 - left) if abs(left) > GEAR_FAULT else recorded
    straight = run.by_bin((run.feel.lap.phase == PHASES.index("straight")).astype(float)) > 0.5
    return Slip(
        true, model,
        exit=mean_of(true, at_exit),
        straight=mean_of(true, straight),
        with_no_thrust=left,
        gear_ratio=gear_ratio,
        likely_ratio=gear_ratio / (1.0 - left),
        spinning=_spinning(run, true, max(slope, 1.0) * model, max(slope, 1.0)),
    )  # fmt: skip


def mean_of(values: FloatArray, where: NDArray[np.bool_]) -> float:
    there = values[where & np.isfinite(values)]
    return float(there.mean()) if len(there) else math.nan


def _rolling(run: Recording) -> NDArray[np.bool_]:
    """Parts of the lap where the throttle is off: as recorded, else where the car slows."""
    if run.laps.log.throttle is not None:
        off = run.laps.binned(run.laps.log.throttle) < run.half_throttle
        if off.sum() >= ENOUGH // 2:
            return off
    return run.by_bin((run.lap.thrust <= 0).astype(float)) > 0.5


def _against_model(
    model: FloatArray, recorded: FloatArray, rolling: NDArray[np.bool_],
    elsewhere: NDArray[np.bool_],
) -> tuple[float, float]:  # fmt: skip
    """Slip that only a wrong ratio explains, and how many times the model's the rest is.

    Two see it: what is left where the axle rolls, and where the model's slip is nothing on a
    robust line through all but the drive-off. Wheelspin fools the second, the brakes the first;
    where they are further apart than the brakes explain, a ratio is wrong only by what both say.
    """
    from scipy.optimize import least_squares

    seen = np.isfinite(recorded)
    used = seen & elsewhere
    x, y = model[used], recorded[used]
    fit = least_squares(
        lambda p: p[0] + p[1] * x - y, [0.0, 1.0], bounds=([-np.inf, 0.0], [np.inf, MOST_APART]),
        loss="soft_l1", f_scale=SLIP_DOUBT,
    )  # fmt: skip
    line, slope = map(float, fit.x)
    rolls = seen & rolling
    if rolls.sum() < ENOUGH // 2:
        return line, slope
    left = float(np.median((recorded - model)[rolls]))
    if abs(line - left) < 2 * GEAR_FAULT:
        return line, slope
    return (min(line, left, key=abs) if line * left > 0 else 0.0), slope


def _grip_by_bin(run: Recording) -> FloatArray:
    groove = run.feel.lap.groove
    return run.by_bin(np.broadcast_to(grip_under(groove, run.condition), groove.s.shape))


def _spinning(run: Recording, slip: FloatArray, expected: FloatArray, softer: float) -> float:
    """Share of the lap under power where the tires are past their grip, and slip unexpectedly."""
    feel, condition = run.feel, run.condition
    reach = feel.car.wheelbase * (1.0 - feel.car.weights.rear_share)
    side = np.nan_to_num(feel.lap.groove.curvature * reach - np.sin(feel.fitted.sideslip[1]))
    total = np.hypot(slip, run.by_bin(side) * (1.0 - slip))
    past = softer * brush_slip(SPUN_USED, _grip_by_bin(run), condition.slip_stiffness)
    powered = run.by_bin((feel.lap.thrust > 0).astype(float)) > 0.5
    spins = powered & (total > past) & (slip > expected + SLIP_DOUBT)
    return float(spins.sum()) / BINS
