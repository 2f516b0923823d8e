"""How fast the car goes around a groove, where it drives, and what its wheels carry.

Quasi-steady state: at every station the forces of steady cornering hold. The lap is found as
kinetic energy per mass, w = v^2 / 2, whose slope along the path is the acceleration. Corner limits
come first; driving forward from them and braking backward to them each obey a first-order
equation under an obstacle, and with the acceleration linearised about the last lap a pass is a
running minimum with an integrating factor. No loop over stations: a sweep of laps is one array.

References
----------
.. [1] W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 9 (lap simulation).
.. [2] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1, 4 and 6.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollpath.car import Car
from rollpath.corners import Corners
from rollpath.errors import RollpathError
from rollpath.forces import (
    LEAST_SPEED,
    Means,
    Road,
    accelerations,
    across_and_down,
    means_of,
    resistance,
    road_of,
)
from rollpath.groove.path import Groove, every_other, grip_under
from rollpath.loads import across, wheel_loads
from rollpath.track import Condition
from rollpath.units import FloatArray, G, Real

MOST_PASSES = 30
"""Passes for a lap to settle; five are usual, and each squares what is left to do."""
LAST_MOVE = 2e-6
"""Share of the largest w by which the last pass may have moved one: the passes are Newton's, and
the move after one this small is some ten times its square (checked in the tests)."""
BLOCK = 16
"""Cases of a sweep that are settled together, so that their arrays stay in the processor's
cache."""
LEAST_GAP = 1e-100
"""Far below any gap of a lap, so that nothing is divided by zero."""
MOST_EXPONENT = 600.0
"""Of the integrating factor, so that it stays a number."""
CRAWL = 1.01 * LEAST_SPEED
"""m/s; a lap this slow anywhere is none."""
PICK_UP = 0.04
"""Acceleration, as a share of the grip, from which a corner is called drive-off rather than
centre. Engineering judgement."""
PHASES = ("entry", "centre", "drive-off", "straight")
ARRAYS = (
    "speed", "a_x", "a_y", "load", "thrust", "drive", "phase", "slip_angle", "extra_drag",
)  # fmt: skip
"""Fields of a lap that hold a number a station."""


class LapError(RollpathError):
    """A lap that this car cannot drive; the message says why."""


@dataclass(frozen=True)
class Lap:
    """A lap, station by station; arrays of shape (n,) or (cases, n), SI.

    Attributes
    ----------
    groove : Groove
    speed : ndarray
        m/s.
    a_x, a_y : ndarray
        Acceleration along the path and across it in the plane of the road, m/s2; to the left
        positive.
    load : ndarray
        Load per unit mass square to the road, m/s2.
    thrust : ndarray
        Force along the path that the tires must make, N; negative under braking.
    drive : ndarray
        The positive part of the thrust, N, a mean over the station.
    wheels : Corners[Real]
        Load of each wheel, N.
    phase : ndarray of int
        Index into `PHASES`.
    slip_angle : ndarray
        By which the tail hangs out, rad: how far to the left of its path the car points.
    solved : bool
        False for a lap that was driven at recorded speeds.
    extra_drag : ndarray
        Drag per unit mass that was added where the car drives, m/s2.
    """

    groove: Groove
    speed: FloatArray
    a_x: FloatArray
    a_y: FloatArray
    load: FloatArray
    thrust: FloatArray
    drive: FloatArray
    wheels: Corners[Real]
    phase: NDArray[np.int_]
    slip_angle: FloatArray
    extra_drag: FloatArray
    solved: bool = True

    @property
    def time(self) -> Real:
        """Lap time, s."""
        time: FloatArray = (self.groove.ds / self.speed).sum(axis=-1)
        return time[()]

    def share(self, phase: str) -> Real:
        """Share of the lap's length that is this phase.

        Parameters
        ----------
        phase : str
            One of `PHASES`.
        """
        there = self.phase == PHASES.index(phase)
        share: FloatArray = (self.groove.ds * there).sum(axis=-1) / self.groove.length
        return share[()]


def coarser(lap: Lap) -> Lap:
    """Every other station of a lap, for what is worked out station by station; a lap with an odd
    number of them as it is."""
    if lap.groove.ds.shape[-1] % 2:
        return lap
    picked = (..., slice(None, None, 2))
    fewer: dict[str, Any] = {
        name: getattr(lap, name)[picked]
        for name in ARRAYS
    }  # fmt: skip
    wheels = lap.wheels.map(lambda load: np.asarray(load)[picked])
    return replace(lap, groove=every_other(lap.groove), wheels=wheels, **fewer)


def solve_lap(groove: Groove, car: Car, condition: Condition, extra_drag: Real = 0.0) -> Lap:
    """The fastest quasi-steady lap of a groove [1]_.

    Parameters
    ----------
    groove : Groove
        Arrays of shape (n,) or (cases, n).
    car : Car
    condition : Condition
        Grip and slip stiffness; scalar or of shape (cases,); grip may be in bands.
    extra_drag : float or ndarray
        Drag to add where the car drives, per unit mass, m/s2: what scrub costs, for one.

    Returns
    -------
    Lap
        An estimate: no driver, no bumps.

    Raises
    ------
    LapError
        If the car comes almost to a stop, or the lap does not settle.
    """
    cases = _cases(groove, car, condition, extra_drag)
    if cases <= BLOCK:
        return _solve(groove, car, condition, extra_drag)
    laps = []
    for start in range(0, cases, BLOCK):
        block = slice(start, start + BLOCK)
        one = some_cases(groove, block, cases) if groove.ds.ndim > 1 else groove
        drag = extra_drag
        if np.ndim(extra_drag) > 1:
            drag = some_cases(extra_drag, block, cases)
        laps.append(
            _solve(one, some_cases(car, block, cases), some_cases(condition, block, cases), drag)
        )
    return _one_after_another(laps, groove)


def _cases(groove: Groove, car: Car, condition: Condition, extra_drag: Real) -> int:
    """Laps of a sweep; 1 of a single lap."""
    arrays = [groove.ds, grip_under(groove, condition), np.asarray(extra_drag)]
    arrays += vars(means_of(car, condition)).values()
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    return shape[0] if len(shape) > 1 else 1


def some_cases(thing: Any, picked: slice, cases: int) -> Any:
    """Some cases of a car, a surface or a swept groove; what is the same in all stays.

    Parameters
    ----------
    thing : object
        A dataclass, or an array whose first axis is the cases.
    picked : slice
    cases : int
        How many there are; an array of another length is the same in all.
    """
    if isinstance(thing, np.ndarray):
        return thing[picked] if thing.ndim and len(thing) == cases else thing
    if isinstance(thing, tuple):
        return tuple(some_cases(one, picked, cases) for one in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(**{
            one.name: some_cases(getattr(thing, one.name), picked, cases) for one in fields(thing)
        })  # fmt: skip
    return thing


def _one_after_another(laps: Sequence[Lap], groove: Groove) -> Lap:
    """The laps of several blocks of a sweep as one."""
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(lap, name) for lap in laps]) for name in ARRAYS
    }
    wheels = Corners(
        *(np.concatenate(loads) for loads in zip(*(lap.wheels for lap in laps), strict=True))
    )
    return Lap(groove, wheels=wheels, **joined)


def _solve(groove: Groove, car: Car, condition: Condition, extra_drag: Real) -> Lap:
    """One lap, or a few that are settled together."""
    means = means_of(car, condition)
    mu = grip_under(groove, condition)
    road = road_of(groove, means, mu, extra_drag)
    start = np.argmin(road.limit, axis=-1, keepdims=True)
    n = groove.ds.shape[-1]
    order = (np.arange(n) + start) % n
    rolled = Road(**{
        name: _take(array, order)
        for name, array in vars(road).items()
    })  # fmt: skip
    w = _settle(rolled, means)
    if np.any(w <= 0.5 * CRAWL**2):
        raise LapError(
            "the car comes almost to a stop on this lap: with this power and grip it cannot hold "
            "the bank or overcome its own drag; check power, grip, weight and bank"
        )
    back = (np.arange(n) - start) % n
    return _finish(groove, car, means, road, _take(w, back))


def driven_lap(groove: Groove, car: Car, condition: Condition, speed: FloatArray) -> Lap:
    """The lap that was driven at known speeds: what they asked of the car.

    Parameters
    ----------
    groove : Groove
    car : Car
    condition : Condition
        For the cornering drag.
    speed : ndarray, shape (n,)
        At the stations of the groove, m/s.
    """
    means = means_of(car, condition)
    road = road_of(groove, means, grip_under(groove, condition))
    w = np.broadcast_to(0.5 * speed**2, road.limit.shape)
    return replace(_finish(groove, car, means, road, w), solved=False)


def _take(array: FloatArray, order: NDArray[np.int_]) -> FloatArray:
    return np.take_along_axis(array, order, axis=-1)


def _settle(road: Road, means: Means) -> FloatArray:
    """The w of the lap, from the first station around."""
    w = road.limit
    back = [_flip(road.limit), road.step[..., ::-1]]
    for _ in range(MOST_PASSES):
        forward, forward_slope, backward, backward_slope = accelerations(road, means, w)
        driven = _pass(road.limit, road.step, w, forward, forward_slope)
        braked = _pass(*back, *map(_flip, (w, backward, backward_slope)))
        settled = np.minimum(driven, _flip(braked))
        moved = np.max(np.abs(settled - w))
        w = settled
        if moved < LAST_MOVE * np.max(w):
            return w
    raise LapError(
        f"this lap does not settle in {MOST_PASSES} passes; check power, grip, weights and bank"
    )


def _flip(stations: FloatArray) -> FloatArray:
    """The lap the other way around, from the same first station; its own inverse."""
    return np.concatenate([stations[..., :1], stations[..., :0:-1]], axis=-1)


def _pass(
    limit: FloatArray, step: FloatArray, w: FloatArray, a: FloatArray, slope: FloatArray
) -> FloatArray:
    """Solve dw/ds = a + slope (w_new - w) under the obstacle `limit`, from the first station.

    With the integrating factor m = exp(-integral of slope) the equation is dz/ds = m (a - slope w)
    for z = m w, and the largest solution below the obstacle is a running minimum.
    """
    gap = between(slope) * step
    source = between(a - slope * w) * step
    log_m = np.cumsum(-gap, axis=-1)
    m = np.exp(np.clip(log_m, -MOST_EXPONENT, MOST_EXPONENT))
    # Exact for a constant slope over a step: the source grows by (exp(gap) - 1) / gap.
    z = np.cumsum(source * growth(gap) * m, axis=-1)
    spare = np.minimum.accumulate(limit[..., 1:] * m[..., :-1] - z[..., :-1], axis=-1)
    first = np.minimum(limit[..., :1], _around(spare[..., -1:], z[..., -1:], m[..., -1:]))
    rest = (np.minimum(spare, first) + z[..., :-1]) / m[..., :-1]
    solution: FloatArray = np.concatenate([first, rest], axis=-1)
    return np.maximum(solution, 0.5 * LEAST_SPEED**2)


def _around(spare: FloatArray, z: FloatArray, m: FloatArray) -> FloatArray:
    """The w with which a lap comes round to where it started with that same w.

    A start w comes round as ``(min(w, spare) + z) / m``: bound by an obstacle on the way, or, when
    it meets none, by its own drag.
    """
    forgets = m > 1.0
    free = np.where(forgets, z / np.where(forgets, m - 1.0, 1.0), np.inf)
    return np.where(free <= spare, free, (spare + z) / m)


def station_after(stations: FloatArray) -> FloatArray:
    """The station after each, around the lap.

    Parameters
    ----------
    stations : ndarray, shape (..., n)
    """
    return np.concatenate([stations[..., 1:], stations[..., :1]], axis=-1)


def between(stations: FloatArray) -> FloatArray:
    """Mean of each station and the next, around the lap.

    Parameters
    ----------
    stations : ndarray, shape (..., n)
    """
    return 0.5 * (stations + station_after(stations))


def growth(gap: FloatArray) -> FloatArray:
    """(exp(gap) - 1) / gap; 1 where gap is nothing.

    Parameters
    ----------
    gap : ndarray
        A bare number.
    """
    gap = gap + LEAST_GAP
    growth: FloatArray = np.expm1(gap) / gap
    return growth


def _finish(groove: Groove, car: Car, means: Means, road: Road, w: FloatArray) -> Lap:
    """The lap from its w: accelerations, thrust, wheel loads and phases."""
    a_y, n = across_and_down(road, w)
    drag, _, slip = resistance(road, means, w, a_y, n)
    gained, m = np.roll(w, -1, axis=-1) - w, across(car.mass)
    ahead, behind = road.step, np.roll(road.step, 1, axis=-1)
    a_x = (gained + np.roll(gained, 1, axis=-1)) / (ahead + behind)
    # The switch from brake to throttle falls between stations: each half is told apart.
    half = np.maximum(gained / ahead + between(drag), 0.0) * ahead
    drive = m * (half + np.roll(half, 1, axis=-1)) / (ahead + behind)
    thrust = m * (a_x + drag)
    phase = without_slivers(_phases(groove, a_x, thrust, road.mu), groove.ds, car.length)
    wheels = wheel_loads(car, a_x, a_y, n, drive)
    return Lap(
        groove, np.sqrt(2.0 * w), a_x, a_y, n, thrust, drive, wheels, phase,
        slip_angle=np.sign(a_y) * np.arctan(slip), extra_drag=road.extra,
    )  # fmt: skip


def _phases(
    groove: Groove, a_x: FloatArray, thrust: FloatArray, mu: FloatArray
) -> NDArray[np.int_]:
    """Index into `PHASES` of each station.

    Entry wherever the car brakes; else straight where the path does not turn; else drive-off
    where it gains speed, centre where it holds or still loses it.
    """
    driving = np.where(a_x > PICK_UP * mu * G, PHASES.index("drive-off"), PHASES.index("centre"))
    turning = np.where(groove.turning, driving, PHASES.index("straight"))
    phase: NDArray[np.int_] = np.where(thrust < 0, PHASES.index("entry"), turning)
    return phase


def without_slivers(phase: NDArray[np.int_], ds: FloatArray, least: Real) -> NDArray[np.int_]:
    """The phases with those shorter than a car given to the longer neighbour, shortest first.

    Parameters
    ----------
    phase : ndarray of int, shape (n,) or (cases, n)
        Place in `PHASES` of each station.
    ds : ndarray, shape (n,) or (cases, n)
        m.
    least : float or ndarray, shape (cases,)
        Length that a phase has, m.
    """
    n = phase.shape[-1]
    rows = phase.reshape(-1, n).copy()
    lengths = np.broadcast_to(ds, phase.shape).reshape(-1, n)
    shortest = np.broadcast_to(np.asarray(least)[..., None], (*phase.shape[:-1], 1)).ravel()
    for row, length, enough in zip(rows, lengths, shortest, strict=True):
        _merge(row, length, float(enough))
    return rows.reshape(phase.shape)


def _merge(phase: NDArray[np.int_], ds: FloatArray, least: float) -> None:
    """Phases of one lap without slivers, in place."""
    while (starts := np.flatnonzero(phase != np.roll(phase, 1))).size > 2:
        runs = np.add.reduceat(np.roll(ds, -starts[0]), starts - starts[0])
        short = int(runs.argmin())
        if runs[short] >= least:
            return
        count = len(starts)
        before, after = (short - 1) % count, (short + 1) % count
        into = before if runs[before] >= runs[after] else after
        long = (starts[after] - starts[short]) % len(phase)
        phase[(starts[short] + np.arange(long)) % len(phase)] = phase[starts[into]]
