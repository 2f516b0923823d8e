"""What a loss costs in lap time: the adjoint of the lap.

A driven lap obeys dw/ds = f(w, s) with w = v^2 / 2, so a drag d(s) per unit mass more moves it by
dw' = f_w dw - d, and the lap time, the integral of ds / v, by the integral of lambda d ds with
-lambda' = f_w lambda + 1 / v^3. Lambda is nothing where a driven run ends in braking or at the
corner limit: what was lost before is forgotten there. A pound lost off the corner is carried down
the straight, so lambda is largest at the beginning of a run.

What is solved is the adjoint of the discrete lap as `lap.solve_lap` leaves it: each station is at
the corner limit, or was driven to from the one before, or braked from for the one after.

References
----------
.. [1] A. E. Bryson and Y.-C. Ho, Applied Optimal Control, ch. 2 (adjoint, influence functions).
.. [2] W. D. Hillis and G. L. Steele, Data parallel algorithms, Comm. ACM 29 (1986): the scan.
"""

from collections.abc import Callable, Container
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.car import Car
from rollpath.forces import Means, accelerations, means_of, road_of
from rollpath.groove.path import Groove, grip_under
from rollpath.lap import PHASES, Lap, between, growth, station_after
from rollpath.track import Condition
from rollpath.units import FloatArray

FORGOTTEN = 1e-12
"""Share of a loss below which a lap has forgotten it; one that is driven all around never meets a
corner limit, and forgets only by its own drag."""
MOST_DOUBLINGS = 40
FLAT_OUT = (PHASES.index("drive-off"), PHASES.index("straight"))
NUDGE = 1e-6
"""Share of a typical size by which a station is moved to find a slope."""
TYPICAL_CURVATURE = 0.01
"""1/m: a radius of 330 ft. Scale of the nudge only."""


@dataclass(frozen=True)
class LapTimeGradient:
    """How lap time changes with what each station is like; shape (n,) or (cases, n).

    Attributes
    ----------
    curvature : ndarray
        s per (1/m) of curvature at that station alone.
    bank : ndarray
        s per rad.
    grip : ndarray
        s per unit of grip.
    length : ndarray
        s per m of the station's length, its curvature held.
    drag : ndarray
        s per m/s2 of drag per unit mass added at that station where the car drives; divided by
        the station's length it is `lever`.
    """

    curvature: FloatArray
    bank: FloatArray
    grip: FloatArray
    length: FloatArray
    drag: FloatArray


def lever(lap: Lap, car: Car, condition: Condition) -> FloatArray:
    """Lap time lost per unit of work per unit mass lost at each station, lambda, s per m2/s2.

    Parameters
    ----------
    lap : Lap
        As solved by `lap.solve_lap`, or as driven: then the drive-off and the straights are taken
        as driven with all there is.
    car, condition : Car, Condition
        The ones it was solved for.

    Returns
    -------
    ndarray, shape (n,) or (cases, n)
        Not negative; nothing where the car brakes or is held by the corner. A drag d per unit mass
        costs ``(lever * d * groove.ds).sum()``.
    """
    return _drag_slope(_steps(lap, car, condition)) / lap.groove.ds


def lap_time_gradient(
    lap: Lap, car: Car, condition: Condition, by: Container[str] = ("curvature", "bank", "grip")
) -> LapTimeGradient:
    """Slope of the lap time by curvature, bank, grip and length of each station [1]_.

    Parameters
    ----------
    lap : Lap
        As solved by `lap.solve_lap`.
    car, condition : Car, Condition
        The ones it was solved for.
    by : container of str
        Which of ``curvature``, ``bank`` and ``grip`` are asked for; the others are left at nothing,
        for they cost a lap each.

    Notes
    -----
    First order, with the same stations at the limit, driven and braked as in the lap. Where two
    of those meet, the lap time has a corner, and the slope of one side is given.
    """
    steps, groove = _steps(lap, car, condition), lap.groove
    means, mu = steps.means, np.broadcast_to(grip_under(groove, condition), lap.speed.shape)

    def slope(
        name: str, moved: Callable[[float], tuple[Groove, FloatArray]], size: float = 1.0
    ) -> FloatArray:
        if name not in by:
            return np.zeros_like(lap.speed)
        return _slope_by(steps, means, moved, NUDGE * size)

    return LapTimeGradient(
        curvature=slope(
            "curvature",
            lambda d: (replace(groove, curvature=groove.curvature + d), mu),
            TYPICAL_CURVATURE,
        ),
        bank=slope("bank", lambda d: (replace(groove, bank=groove.bank + d), mu)),
        grip=slope("grip", lambda d: (groove, mu + d)),
        length=1.0 / lap.speed + _length_slope(steps),
        drag=_drag_slope(steps),
    )


@dataclass(frozen=True)
class _Steps:
    """A solved lap as steps between stations; each array of shape (n,) or (cases, n).

    Attributes
    ----------
    driven, braked : ndarray of bool
        True where a station was driven to from the one before it, or braked from for the one
        after it; where neither, it is at the corner limit.
    drive_gain, brake_gain : ndarray
        Step to the next station: what is left there of a unit of w more at its beginning; the
        brakes' seen backward.
    drive_reach, brake_reach : ndarray
        m; w gained over the step per unit of acceleration.
    drive_end, brake_end : ndarray
        m/s2; w gained per metre that the step is longer.
    worth : ndarray
        Lap time per unit of w at a station with all that follows from it, s per m2/s2.
    means : Means
    w : ndarray
        m2/s2.
    """

    driven: NDArray[np.bool_]
    braked: NDArray[np.bool_]
    drive_gain: FloatArray
    brake_gain: FloatArray
    drive_reach: FloatArray
    brake_reach: FloatArray
    drive_end: FloatArray
    brake_end: FloatArray
    worth: FloatArray
    means: Means
    w: FloatArray


def _steps(lap: Lap, car: Car, condition: Condition) -> _Steps:
    """What the last pass of the lap did, step by step, and the worth of w at every station."""
    means = means_of(car, condition)
    road = road_of(lap.groove, means, grip_under(lap.groove, condition), lap.extra_drag)
    w, h = 0.5 * lap.speed**2, road.step
    drive, drive_slope, brake, brake_slope = accelerations(road, means, w)
    gap, brake_gap = between(drive_slope) * h, between(brake_slope) * h
    reach, brake_reach = growth(gap) * h, growth(brake_gap) * h
    after = station_after(w)
    # As in `lap._pass`: the slope pulls towards the w that it was found at.
    drive_source = between(drive - drive_slope * w) + between(drive_slope) * w
    brake_source = between(brake - brake_slope * w) + between(brake_slope) * after
    driven_to = _station_before(w + reach * drive_source)
    braked_from = after + brake_reach * brake_source
    least = np.minimum(np.minimum(driven_to, braked_from), road.limit)
    driven = (driven_to <= least) & (driven_to < road.limit)
    braked = ~driven & (braked_from < road.limit)
    if not lap.solved:
        driven, braked = np.isin(lap.phase, FLAT_OUT), np.zeros_like(braked)
    gain, brake_gain = np.exp(gap), np.exp(brake_gap)
    worth = _worth(-lap.groove.ds / lap.speed**3, driven, braked, gain, brake_gain)
    return _Steps(
        driven, braked, gain, brake_gain, reach, brake_reach,
        gain * drive_source, brake_gain * brake_source, worth, means, w,
    )  # fmt: skip


def _station_before(stations: FloatArray) -> FloatArray:
    """The station before each, around the lap."""
    return np.concatenate([stations[..., -1:], stations[..., :-1]], axis=-1)


def _worth(
    here: FloatArray,
    driven: NDArray[np.bool_],
    braked: NDArray[np.bool_],
    gain: FloatArray,
    brake_gain: FloatArray,
) -> FloatArray:
    """Lap time per unit of w: at the station itself, down the drive after it and up the braking
    before it. No station is both driven to and braked from, so the two add."""
    passed_on = np.where(np.roll(driven, -1, axis=-1), gain, 0.0)
    forward = _carried(here * ~braked, passed_on * ~braked, station_after)
    passed_back = _station_before(brake_gain * braked)
    backward = _carried(here * braked, passed_back, _station_before)
    return forward + backward


def _carried(
    here: FloatArray, passed: FloatArray, neighbour: Callable[[FloatArray], FloatArray]
) -> FloatArray:
    """Solve x = here + passed * neighbour(x) around the lap by doubling the reach [2]_."""
    n, hop = here.shape[-1], 1
    total, share = here, passed
    step = 1 if neighbour is station_after else -1
    for _ in range(MOST_DOUBLINGS):
        total = total + share * np.roll(total, -step * hop, axis=-1)
        share = share * np.roll(share, -step * hop, axis=-1)
        hop = 2 * hop % n
        if np.max(np.abs(share)) < FORGOTTEN:
            break
    return total


def _drag_slope(steps: _Steps) -> FloatArray:
    """s per m/s2 of drag at each station: half of each step on either side that is driven."""
    lost = np.where(steps.driven, -steps.worth, 0.0) * _station_before(steps.drive_reach)
    return 0.5 * (lost + station_after(lost))


def _length_slope(steps: _Steps) -> FloatArray:
    """s per m of each station, through the w at the ends of the steps that it is half of."""
    ahead = station_after(np.where(steps.driven, steps.worth, 0.0)) * steps.drive_end
    ahead = ahead + np.where(steps.braked, steps.worth, 0.0) * steps.brake_end
    return 0.5 * (ahead + _station_before(ahead))


def _slope_by(
    steps: _Steps, means: Means, moved: Callable[[float], tuple[Groove, FloatArray]], by: float
) -> FloatArray:
    """Slope of the lap time by something of each station that changes what it allows there.

    The accelerations and the limit of a station depend on that station alone, so one nudge of all
    of them to either side finds all the slopes.
    """
    sides = []
    for side in (by, -by):
        groove, mu = moved(side)
        road = road_of(groove, means, mu)
        drive, _, brake, _ = accelerations(road, means, steps.w)
        sides.append((drive, brake, road.limit))
    drive, brake, limit = ((up - down) / (2 * by) for up, down in zip(*sides, strict=True))
    driven = station_after(np.where(steps.driven, steps.worth, 0.0)) * steps.drive_reach
    braked = np.where(steps.braked, steps.worth, 0.0) * steps.brake_reach
    held = np.where(steps.driven | steps.braked, 0.0, steps.worth)
    total: FloatArray = (
        0.5 * (driven + _station_before(driven)) * drive
        + 0.5 * (braked + _station_before(braked)) * brake
        + held * limit
    )
    return total
