"""A lap as the driver feels it: trimmed at every station, with one stagger or several."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.axle.rolling import NeededStagger, needed_stagger
from rollpath.car import Car, tire_rates
from rollpath.corners import Corners
from rollpath.feel.trim import Chassis, Stations, Trim, each_array, trim_stations
from rollpath.forces import AIR_DENSITY
from rollpath.groove.lay import lay_groove
from rollpath.groove.path import Groove, grip_under
from rollpath.lap import PHASES, Lap, coarser, solve_lap
from rollpath.loads import across, wheel_loads
from rollpath.results import Result
from rollpath.scales.rates import stagger_effect
from rollpath.stagger import moved_by, recommend
from rollpath.surface import Watched
from rollpath.track import DEFAULT_CONDITION, Condition, Track
from rollpath.units import DEGREE, FloatArray, G, Real

DEFAULT_PACE = 0.95
"""Share of the speed that can be held at which the car is trimmed: at the very limit slip, and with
it the steering wheel, says more about the last of the grip than about the stagger. Engineering
judgement: what a driver keeps in hand."""
LOWERED = 1e-3
"""A demand counts as lowered when this share of it, or more, could not be held."""
LEAST_FELT = 3 * DEGREE
"""Change of the steering wheel that a driver would name. Engineering judgement."""
STIFFNESS_DOUBT = 1 / 3
"""How far off the slip stiffness of a surface may be. Engineering judgement."""


# A lap with staggers


@dataclass(frozen=True)
class Feel:
    """A lap driven with staggers beside the same car with zero mismatch; shape (cases, n), SI.

    Attributes
    ----------
    lap : Lap
    car : Car
    condition : Condition
    staggers : ndarray, shape (cases,)
        Rear stagger fitted, m.
    bite : ndarray, shape (cases,)
        Of the car standing, N.
    needed : NeededStagger
        What the even car has fitted, station by station.
    flat_out : Trim
        With the stagger, at the speed of the lap or at what can be held of it.
    fitted, even : Trim
        With the stagger, and with zero mismatch and the bite as weighed; both at the same demand.
    """

    lap: Lap
    car: Car
    condition: Condition
    staggers: FloatArray
    bite: FloatArray
    needed: NeededStagger
    flat_out: Trim
    fitted: Trim
    even: Trim

    @property
    def share(self) -> FloatArray:
        """Share of the lap's kinetic energy and acceleration that both cars are driven with."""
        return self.fitted.share

    @property
    def speed(self) -> FloatArray:
        """Speed at which both are driven, m/s."""
        return self.lap.speed * np.sqrt(self.share)

    @property
    def steering_wheel(self) -> FloatArray:
        """Angle of the steering wheel, rad; to the left positive."""
        return self.car.steering_ratio * self.fitted.steer

    @property
    def steering_change(self) -> FloatArray:
        """Steering wheel against the car with zero mismatch, rad; further left positive."""
        return self.car.steering_ratio * (self.fitted.steer - self.even.steer)

    @property
    def moment_change(self) -> FloatArray:
        """Yaw moment of the axle that comes of the mismatch, N m; negative pushes."""
        return self.fitted.axle_moment - self.even.axle_moment

    @property
    def front_force(self) -> FloatArray:
        """The same as a side force at the front axle, N; negative pushes the front out."""
        return self.moment_change / self.car.wheelbase

    @property
    def scrub_power(self) -> FloatArray:
        """What the four tires lose sliding beyond what they lose with zero mismatch, W.

        All four: the front pays for what the axle pushes.
        """
        return self.fitted.slip_power - self.even.slip_power


def trim_lap(
    lap: Lap,
    car: Car,
    condition: Condition,
    staggers: Real,
    *,
    bite_held: bool | NDArray[np.bool_] = True,
    pace: Real = DEFAULT_PACE,
    front_stiffer: Real = 1.0,
    rear_stiffer: Real = 1.0,
) -> Feel:
    """What a driver feels around a lap with each of several rear staggers.

    Parameters
    ----------
    lap : Lap
        One lap, arrays of shape (n,).
    car : Car
        As weighed, with the stagger in its file.
    condition : Condition
        Grip and slip stiffness of all four tires.
    staggers : float or ndarray, shape (cases,)
        Taped rear stagger, m; the mean rear rollout is held.
    bite_held : bool or ndarray of bool, shape (cases,)
        False lets the bite follow the stagger, as when nothing else is changed.
    pace : float or ndarray, shape (n,)
        Share of the speed that can be held, and of the lap's where all of it can, 0 to 1.
    front_stiffer, rear_stiffer : float or ndarray, shape (cases,)
        Slip stiffness of the tires of an axle over that of the condition.

    Returns
    -------
    Feel
        Of shape (cases, n). Where the tires cannot do what the lap asks, `Feel.flat_out.share` is
        less than 1; where no balance was found at all, everything is NaN.
    """
    staggers = np.atleast_1d(np.asarray(staggers, dtype=float))
    chassis, needed = chassis_of(car, condition), needed_stagger(lap, car)
    effect = stagger_effect(car, staggers - car.rear.stagger)
    twist = np.where(bite_held, 0.0, effect.then - effect.now)
    stiffer = np.stack(np.broadcast_arrays(front_stiffer, rear_stiffer, staggers)[:2], axis=-1)
    kinds, kind = np.unique(stiffer, axis=0, return_inverse=True)
    # The fitted cases, then a car with zero mismatch for each kind of tires.
    taped = np.vstack([
        across(staggers) + np.zeros_like(needed.total), len(kinds) * [needed.total]
    ])  # fmt: skip
    twists, stiff = np.append(twist, np.zeros(len(kinds))), np.vstack([stiffer, kinds])
    stations = replace(
        stations_of(lap, car, condition, taped, _twisted(car.weights, twists)),
        front_stiffer=across(stiff[:, 0]), rear_stiffer=across(stiff[:, 1]),
    )  # fmt: skip
    cases, evens = np.arange(len(staggers)), len(staggers) + kind.ravel()
    limits = trim_stations(chassis, stations)
    held = limits.held[cases] & limits.held[evens]
    both = np.where(held, np.fmin(limits.share[cases], limits.share[evens]), 0.0)
    # An even car is driven beside each case, so it has as many rows as they.
    rows = np.concatenate([cases, evens])
    most = np.tile(np.asarray(pace, dtype=float) ** 2 * both, (2, 1))
    trims = trim_stations(chassis, replace(_rows(stations, rows), most=most))
    lost = ~(held & trims.held[cases] & trims.held[len(cases) :])
    return Feel(
        lap, car, condition, staggers, car.weights.bite + twist, needed,
        _without(_some_rows(limits, cases), lost), _without(_some_rows(trims, cases), lost),
        _without(_some_rows(trims, cases + len(cases)), lost),
    )  # fmt: skip


def _rows(stations: Stations, rows: NDArray[np.intp]) -> Stations:
    """Some cases of stations; what is the same for all of them stays as it is."""
    return each_array(stations, lambda array: array[rows] if array.ndim > 1 else array)


def _some_rows(trim: Trim, rows: NDArray[np.intp]) -> Trim:
    return Trim(**{name: value[rows] for name, value in vars(trim).items()})


def _without(trim: Trim, lost: NDArray[np.bool_]) -> Trim:
    return Trim(**{name: np.where(lost, np.nan, value) for name, value in vars(trim).items()})


def _twisted(weights: Corners[Real], bite_change: FloatArray) -> Corners[Real]:
    """The scale weights with bite put in, each side and each end keeping its weight."""
    half = 0.5 * bite_change
    return Corners(
        weights.left_front - half,
        weights.right_front + half,
        weights.left_rear + half,
        weights.right_rear - half,
    )


def chassis_of(car: Car, condition: Condition) -> Chassis:
    """The car as it stands, on tires of one condition at both ends.

    Parameters
    ----------
    car : Car
        Numbers scalar or of shape (cases,).
    condition : Condition
        Its slip stiffness per unit of load stands for both ends.

    Returns
    -------
    Chassis
        Its middle lies where the four scale weights say, forward and to the left.
    """
    weights = car.weights
    _, _, left_rate, right_rate = tire_rates(car)
    front_reach = car.wheelbase * weights.rear_share
    lean = (weights.left_front - weights.right_front) * car.front.half_track + (
        weights.left_rear - weights.right_rear
    ) * car.rear.half_track
    return Chassis(
        mass=car.mass,
        front_reach=front_reach,
        rear_reach=car.wheelbase - front_reach,
        front_half_track=car.front.half_track,
        rear_half_track=car.rear.half_track,
        offset=lean / weights.total,
        front_stiffness=condition.slip_stiffness,
        rear_stiffness=condition.slip_stiffness,
        left_rate=left_rate,
        right_rate=right_rate,
        loaded_share=car.tire.loaded_share,
    )


def stations_of(
    lap: Lap,
    car: Car,
    condition: Condition,
    stagger: FloatArray,
    weights: Corners[Real] | None = None,
) -> Stations:
    """What a lap asks of a car with a rear stagger taped cold.

    Parameters
    ----------
    lap : Lap
    car : Car
    condition : Condition
        For the grip under the car.
    stagger : ndarray, shape (cases, 1) or (cases, n)
        m.
    weights : Corners[Real], optional
        Scale weights other than the car's, each of shape (cases,).
    """
    groove, car = lap.groove, replace(car, weights=weights or car.weights)
    slide, rest = -G * np.sin(groove.bank), G * np.cos(groove.bank)
    running = stagger + car.tire.growth
    return Stations(
        turn=groove.curvature * np.cos(groove.bank),
        speed=lap.speed,
        a_x=lap.a_x,
        a_y=lap.a_y,
        a_y_at_rest=slide,
        air_drag=0.5 * AIR_DENSITY * np.asarray(car.drag_area) * lap.speed**2,
        loads=wheel_loads(car, lap.a_x, lap.a_y, lap.load, lap.drive),
        loads_at_rest=wheel_loads(car, np.zeros_like(rest), slide, rest),
        left_rollout=car.rear.mean_rollout - 0.5 * running,
        right_rollout=car.rear.mean_rollout + 0.5 * running,
        grip=grip_under(groove, condition),
        most=np.ones_like(rest),
    )


# What he feels, phase by phase


@dataclass(frozen=True)
class PhaseFeel:
    """One stagger through one phase of the lap; means over its length, SI, NaN where not held.

    Attributes
    ----------
    phase : str
        Of `lap.PHASES`.
    stagger, mismatch : float
        m.
    steering_wheel, steering_change : float
        rad; see `Feel`.
    moment, moment_change, front_force : float
        N m and N.
    thrust_left, thrust_right : float
        N.
    front_used, rear_used : float
        Share of grip.
    scrub_power : float
        W.
    holds : float
        Share of the lap's kinetic energy and acceleration that this stagger can hold.
    lowered, lost : float
        Share of the phase where that is less than all, and where no balance was found.
    spinning, spinning_flat_out : float
        Share of the phase where the rear tires spin under power: as driven, and flat out.
    """

    phase: str
    stagger: float
    mismatch: float
    steering_wheel: float
    steering_change: float
    moment: float
    moment_change: float
    front_force: float
    thrust_left: float
    thrust_right: float
    front_used: float
    rear_used: float
    scrub_power: float
    holds: float
    lowered: float
    lost: float
    spinning: float
    spinning_flat_out: float

    @property
    def felt(self) -> str:
        """spins, pushes, steers itself or nothing.

        Wheelspin comes first: it is missing drive, no fault of the stagger.
        """
        if self.spinning > 0.5:
            return "spins"
        if self.steering_change > LEAST_FELT:
            return "pushes"
        if self.steering_change < -LEAST_FELT:
            return "steers itself"
        return "nothing"


def feel_by_phase(feel: Feel) -> list[list[PhaseFeel]]:
    """The phases that a lap has, for each stagger.

    Returns
    -------
    list of list of PhaseFeel
        For each stagger, in the order of `lap.PHASES`.
    """
    there = [i for i in range(len(PHASES)) if np.any(feel.lap.phase == i)]
    return [[_phase(feel, case, i) for i in there] for case in range(len(feel.staggers))]


def _phase(feel: Feel, case: int, phase: int) -> PhaseFeel:
    ds = feel.lap.groove.ds * (feel.lap.phase == phase)
    held = ds * feel.fitted.held[case]

    def mean(values: FloatArray) -> float:
        whole = held.sum()
        return float((np.nan_to_num(values[case]) * held).sum() / whole) if whole else math.nan

    def part(where: NDArray[np.bool_]) -> float:
        return float((ds * where[case]).sum() / ds.sum())

    fitted = feel.fitted
    return PhaseFeel(
        phase=PHASES[phase],
        stagger=float(feel.staggers[case]),
        mismatch=mean(across(feel.staggers) - feel.needed.total),
        steering_wheel=mean(feel.steering_wheel),
        steering_change=mean(feel.steering_change),
        moment=mean(fitted.axle_moment),
        moment_change=mean(feel.moment_change),
        front_force=mean(feel.front_force),
        thrust_left=mean(fitted.thrust_left),
        thrust_right=mean(fitted.thrust_right),
        front_used=mean(fitted.front_used),
        rear_used=mean(fitted.rear_used),
        scrub_power=mean(feel.scrub_power),
        holds=mean(feel.flat_out.share),
        lowered=part(feel.flat_out.share < 1.0 - LOWERED),
        lost=part(~fitted.held),
        spinning=part(fitted.spinning),
        spinning_flat_out=part(feel.flat_out.spinning),
    )


@dataclass(frozen=True, eq=False)
class FeelCase(Result, told_by="feel"):
    """All that `feel` found for one track, car and condition.

    Attributes
    ----------
    held, free : Feel
        With the bite held, and with the bite following the stagger.
    softer, stiffer : Feel
        With the bite held, on tires whose slip stiffness is a third less, and a third more; on
        the same lap.
    pace : float
        Share of the speed that can be held; see `trim_lap`.
    watch : Watched or None
        The lap time that told the surface, where one did.
    """

    track: Track
    car: Car
    condition: Condition
    groove: Groove
    held: Feel
    free: Feel
    softer: Feel
    stiffer: Feel
    pace: float
    watch: Watched | None = None


def what_driver_feels(
    track: Track,
    car: Car,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    staggers: Sequence[float] | None = None,
    *,
    grip: float | None = None,
    pace: float = DEFAULT_PACE,
    correction: float = 0.0,
) -> FeelCase:
    """What a driver feels of each of several staggers on a track.

    Parameters
    ----------
    track, car : Track, Car
    condition : str
        heavy, tacky, rubbered or slick.
    groove : str or Groove, optional
        The one the condition brings when left out.
    staggers : sequence of float, optional
        Rear staggers, m; the one on the car and the recommended one when left out.
    grip : float, optional
        Replaces the grip of the condition.
    pace : float
        See `trim_lap`.
    correction : float
        What the car's own nights put on the recommended stagger, m.
    """
    state = track.condition(condition)
    if grip is not None:
        state = replace(state, grip=grip)
    path = groove if isinstance(groove, Groove) else lay_groove(
        track, groove or state.groove, car, state
    )  # fmt: skip
    lap = solve_lap(path, car, state)
    if staggers is None:
        best = moved_by(recommend(lap, needed_stagger(lap, car), car, state), correction)
        staggers = sorted({float(car.rear.stagger), float(best.recommended)})
    fitted, lap = np.asarray(staggers, dtype=float), coarser(lap)

    n, softer, stiffer = len(fitted), 1.0 - STIFFNESS_DOUBT, 1.0 + STIFFNESS_DOUBT
    stiff = np.repeat([1.0, 1.0, softer, stiffer], n)
    every = trim_lap(
        lap, car, state, np.tile(fitted, 4), pace=pace, front_stiffer=stiff, rear_stiffer=stiff,
        bite_held=np.repeat([True, False, True, True], n),
    )  # fmt: skip
    held, free, soft, hard = (_some_cases(every, np.arange(n) + i * n) for i in range(4))
    return FeelCase(track, car, state, lap.groove, held, free, soft, hard, pace)


def _some_cases(feel: Feel, cases: NDArray[np.intp]) -> Feel:
    return replace(
        feel, staggers=feel.staggers[cases], bite=feel.bite[cases],
        flat_out=_some_rows(feel.flat_out, cases), fitted=_some_rows(feel.fitted, cases),
        even=_some_rows(feel.even, cases),
    )  # fmt: skip


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
