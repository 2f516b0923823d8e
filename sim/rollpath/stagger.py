"""The recommendation: which rear stagger, and why.

Two things are wanted. Even drive: nothing fights the driver where he asks for drive. Quickest: the
least time lost to scrub drag, a pound of which costs most where speed is carried furthest. Each is
the foot of a parabola, the mean of the needed stagger with a weight of its own along the lap, and
so is what is between them.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.axle.rolling import NeededStagger, needed_stagger
from rollpath.axle.scrub import Scrub, scrub_distance
from rollpath.car import Car
from rollpath.groove.lay import lay_groove
from rollpath.groove.path import STATIONS, Groove
from rollpath.lap import Lap, solve_lap
from rollpath.lever import lever
from rollpath.loads import across
from rollpath.results import Result
from rollpath.surface import Watched, grip_for_lap_time
from rollpath.track import DEFAULT_CONDITION, Condition, Track
from rollpath.units import EIGHTH, INCH, FloatArray, Real

BAND = INCH / 16
"""How much more root-mean-square mismatch is as good as none: half a tape mark."""
TIGHTEST_SHARE = 0.97
"""An end's corner centre is where it curves at least this share of its tightest."""
DRIVE_EMPHASIS = 0.5
"""How much even drive counts against quickest, 0 to 1. Engineering judgement: half and half."""


@dataclass(frozen=True)
class Parts:
    """Where an unbounded optimum comes from, m; the three add up to it.

    Attributes
    ----------
    line : float
        Mean need along the lap by geometry alone.
    load : float
        What the loads on the tires add to that mean.
    drive : float
        What weighing the lap by drive and by what a loss costs there adds, negative when that is
        where it turns less.
    """

    line: Real
    load: Real
    drive: Real


@dataclass(frozen=True)
class Recommendation:
    """Staggers in m; scalar, or shape (cases,) for a sweep.

    Attributes
    ----------
    recommended : float
        The optimum to the nearest 1/8 in that lies inside the window.
    optimum, unbounded : float
        Least cost inside the window, and with no window.
    window : tuple of float
    window_end : int
        -1 or 1 when the optimum ran into the low or the high end of the window, else 0.
    even_drive, quickest : float
        The two ends between which the unbounded optimum lies: with nothing fighting him where he
        drives, and with least time lost to scrub drag.
    least_scrub : float
        Mean of the needed stagger, every foot of the lap alike.
    spread : float
        Root-mean-square mismatch left at the unbounded optimum.
    geometric_corner, loaded_corner : tuple of float
        Needed at the corner centre of turns 1-2 and 3-4: by geometry, and with tires loaded.
    straights : float
        Mean need of the straights, tires loaded; of the whole lap where it has none.
    band : tuple of float
        Staggers inside the window that are as good: see `BAND`.
    parts : Parts
    scrub_time : tuple of float
        Lap time lost to scrub drag, s: with the quickest stagger, and s per m2 of stagger off it.
    """

    recommended: Real
    optimum: Real
    unbounded: Real
    window: tuple[float, float]
    window_end: int | NDArray[np.int_]
    even_drive: Real
    quickest: Real
    least_scrub: Real
    spread: Real
    geometric_corner: tuple[Real, Real]
    loaded_corner: tuple[Real, Real]
    straights: Real
    band: tuple[Real, Real]
    parts: Parts
    scrub_time: tuple[Real, Real]

    @property
    def at_window(self) -> str | None:
        """low, high, or None: the end of the window that a single recommendation ran into."""
        return {-1: "low", 0: None, 1: "high"}[int(self.window_end)]

    def cost(self, stagger: Real) -> Real:
        """Root-mean-square mismatch with a stagger fitted, weighted as the optimum is, m.

        Parameters
        ----------
        stagger : float or ndarray, shape (cases,)
            m.
        """
        return np.hypot(self.spread, stagger - self.unbounded)

    def time_lost(self, stagger: Real) -> Real:
        """Lap time lost to scrub drag with a stagger fitted, s; an estimate.

        Parameters
        ----------
        stagger : float or ndarray, shape (cases,)
            m.
        """
        least, rate = self.scrub_time
        return least + rate * (stagger - self.quickest) ** 2


@dataclass(frozen=True, eq=False)
class Baseline(Result, told_by="baseline"):
    """All that `baseline` found for one track, car and condition.

    Attributes
    ----------
    drive_emphasis : float
    tire_load : bool
        As asked for.
    now, then : Scrub
        With the stagger on the car, and with the recommended one.
    watch : Watched or None
        The lap time that told the surface, where one did.
    """

    track: Track
    car: Car
    condition: Condition
    groove: Groove
    lap: Lap
    needed: NeededStagger
    stagger: Recommendation
    drive_emphasis: float
    tire_load: bool
    now: Scrub
    then: Scrub
    watch: Watched | None = None


def baseline(
    track: Track,
    car: Car,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    drive_emphasis: float = DRIVE_EMPHASIS,
    tire_load: bool = True,
    window: tuple[float, float] | None = None,
    grip: Real | None = None,
    stations: int = STATIONS,
) -> Baseline:
    """The baseline stagger of a car on a track.

    Parameters
    ----------
    track, car : Track, Car
        Any numeric field may be of shape (cases,): the results then are too.
    condition : str
        heavy, tacky, rubbered or slick.
    groove : str or Groove, optional
        A name of `groove.GROOVES`, or a path; the one the condition brings when left out.
    drive_emphasis : float
        e, 0 to 1: 0 is the quickest stagger, 1 the one of even drive.
    tire_load : bool
        False leaves out tire deflection, growth and the car's slide.
    window : tuple of float, optional
        m; the car's own when left out.
    grip : float, optional
        Replaces the grip of the condition.
    stations : int

    Raises
    ------
    KeyError
        If the condition or the groove is unknown.
    track.TrackError
        If the car does not fit on the track.
    """
    state = track.condition(condition)
    if grip is not None:
        state = replace(state, grip=grip)
    path = (
        groove
        if isinstance(groove, Groove)
        else lay_groove(track, groove or state.groove, car, state, stations)
    )
    lap = solve_lap(path, car, state)
    needed = needed_stagger(lap, car, tire_load)
    best = recommend(lap, needed, car, state, drive_emphasis, window)
    return Baseline(
        track, car, state, path, lap, needed, best, drive_emphasis, tire_load,
        now=scrub_distance(lap, needed, car.rear.stagger),
        then=scrub_distance(lap, needed, best.recommended),
    )  # fmt: skip


def timed_baseline(
    track: Track,
    car: Car,
    condition: Condition,
    groove: str | Groove | None,
    lap_time: float,
    *,
    drive_emphasis: float = DRIVE_EMPHASIS,
    tire_load: bool = True,
    window: tuple[float, float] | None = None,
) -> Baseline:
    """The baseline on the surface that gives a lap time.

    Parameters
    ----------
    track, car, groove, drive_emphasis, tire_load, window
        See `baseline`.
    condition : Condition
        As the surface was said: see `surface.grip_for_lap_time`.
    lap_time : float
        s.

    Raises
    ------
    surface.StopwatchError
        If no plausible grip gives it.
    """
    timed = grip_for_lap_time(track, car, condition, groove, lap_time)

    def on(state: Condition) -> Baseline:
        return baseline(
            on_surface(track, state), car, state.name, timed.groove,
            drive_emphasis=drive_emphasis, tire_load=tire_load, window=window,
        )  # fmt: skip

    result, without = on(timed.condition), on(condition).stagger.recommended
    return replace(result, watch=Watched(timed, without, result.stagger.recommended))


def on_surface(track: Track, state: Condition) -> Track:
    """The track with one more surface, under its name."""
    return replace(track, conditions={**track.conditions, state.name: state})


def corrected(result: Baseline, by: float) -> Baseline:
    """A baseline with what the car's own nights teach put on the physics.

    Parameters
    ----------
    result : Baseline
        By physics.
    by : float
        Stagger the car wants more than the physics says, m: see `nights.correction`.

    Returns
    -------
    Baseline
        With the best staggers and what they lie between, the band, what a lap time did to them and
        the scrub with the recommended stagger moved; all that the physics says of the track and
        the lap is as it was.
    """
    moved, watch = moved_by(result.stagger, by), result.watch
    then = scrub_distance(result.lap, result.needed, moved.recommended)
    if watch is not None:
        without = _bolt_on(np.clip(watch.without + by, *moved.window), moved.window)
        watch = replace(watch, without=without, recommended=moved.recommended)
    return replace(result, stagger=moved, then=then, watch=watch)


def moved_by(best: Recommendation, by: Real) -> Recommendation:
    """A recommendation with its best staggers and its band so much larger, m.

    Parameters
    ----------
    best : Recommendation
    by : float or ndarray, shape (cases,)
        m, added.
    """
    unbounded = best.unbounded + by
    optimum = np.clip(unbounded, *best.window)
    reach = _band_reach(best.spread, optimum - unbounded)
    return replace(
        best,
        recommended=_bolt_on(optimum, best.window),
        optimum=optimum,
        unbounded=unbounded,
        window_end=np.sign(unbounded - optimum).astype(int)[()],
        even_drive=best.even_drive + by,
        quickest=best.quickest + by,
        band=_band(unbounded, reach, best.window),
    )


def _band_reach(spread: Real, off: Real) -> Real:
    """How far from the unbounded foot the cost has risen by `BAND`, the optimum being `off` it."""
    return np.sqrt((np.hypot(spread, off) + BAND) ** 2 - spread**2)


def _band(unbounded: Real, reach: Real, window: tuple[float, float]) -> tuple[Real, Real]:
    return np.clip(unbounded - reach, *window), np.clip(unbounded + reach, *window)


def recommend(
    lap: Lap,
    needed: NeededStagger,
    car: Car,
    condition: Condition,
    drive_emphasis: float = DRIVE_EMPHASIS,
    window: tuple[float, float] | None = None,
) -> Recommendation:
    """The stagger between even drive and quickest for a lap, inside a window.

    Parameters
    ----------
    lap : Lap
    needed : NeededStagger
    car, condition : Car, Condition
        Of the lap.
    drive_emphasis : float
        e of ``S = e S_even + (1 - e) S_quick``.
    window : tuple of float, optional
        m, low end first; the car's own when left out.
    """
    window = window or car.stagger_window
    even, quick = drive_weight(lap), scrub_time_weight(lap, car, condition)
    rate = quick.sum(axis=-1) / needed.mean_rollout[..., 0] ** 2
    quickest, quick_spread = _weighted(needed.total, _or_else(quick, even))
    unbounded, spread = _weighted(needed.total, _mixed(even, _or_else(quick, even), drive_emphasis))
    optimum = np.clip(unbounded, *window)
    reach = _band_reach(spread, optimum - unbounded)
    ds, turning = lap.groove.ds, lap.groove.turning
    plain = np.where(np.all(turning, axis=-1, keepdims=True), ds, ds * ~turning)
    least_scrub = _weighted(needed.total, ds)[0]
    line = _weighted(needed.geometric, ds)[0]
    return Recommendation(
        recommended=_bolt_on(optimum, window),
        optimum=optimum,
        unbounded=unbounded,
        window=window,
        window_end=np.sign(unbounded - optimum).astype(int)[()],
        even_drive=_weighted(needed.total, even)[0],
        quickest=quickest,
        least_scrub=least_scrub,
        spread=spread,
        geometric_corner=_corner_centres(lap.groove, needed.geometric),
        loaded_corner=_corner_centres(lap.groove, needed.total),
        straights=_weighted(needed.total, plain)[0],
        band=_band(unbounded, reach, window),
        parts=Parts(line, least_scrub - line, unbounded - least_scrub),
        scrub_time=(rate * quick_spread**2, rate),
    )


def drive_weight(lap: Lap) -> FloatArray:
    """Weight of each station for even drive: its length by the thrust there, N m."""
    weight: FloatArray = lap.groove.ds * lap.drive
    return weight


def scrub_time_weight(lap: Lap, car: Car, condition: Condition) -> FloatArray:
    """Lap time lost at each station per unit of slip between the treads squared, s.

    Two brush tires that pull against each other lose ``K slip^2`` a metre, K = C N_L N_R / (N_L +
    N_R); the lever tells what that costs.

    Parameters
    ----------
    lap : Lap
    car : Car
    condition : Condition

    Returns
    -------
    ndarray
        At every station of the lap; nothing where what is lost is not carried on.
    """
    left, right = lap.wheels.left_rear, lap.wheels.right_rear
    K = across(condition.slip_stiffness) * left * right / np.maximum(left + right, 1.0)
    weight: FloatArray = lever(lap, car, condition) * K / across(car.mass) * lap.groove.ds
    return weight


def _or_else(weight: FloatArray, other: FloatArray) -> FloatArray:
    """A weight, or another where it is nothing all around: no drive runs free on that lap."""
    chosen: FloatArray = np.where(weight.sum(axis=-1, keepdims=True) > 0, weight, other)
    return chosen


def _mixed(one: FloatArray, other: FloatArray, share: float) -> FloatArray:
    """Two weights of the lap in one, each first made to add up to 1."""
    mixed: FloatArray = share * one / one.sum(axis=-1, keepdims=True) + (
        1.0 - share
    ) * other / other.sum(axis=-1, keepdims=True)
    return mixed


def _weighted(values: FloatArray, weight: FloatArray) -> tuple[Real, Real]:
    """Weighted mean along the lap, and weighted standard deviation."""
    total = weight.sum(axis=-1)
    mean = (values * weight).sum(axis=-1) / total
    variance = ((values - mean[..., None]) ** 2 * weight).sum(axis=-1) / total
    return mean[()], np.sqrt(variance)[()]


def _bolt_on(stagger: Real, window: tuple[float, float]) -> Real:
    """The nearest 1/8 in inside the window; the stagger itself when the window holds none."""
    low, high = math.ceil(window[0] / EIGHTH - 1e-9), math.floor(window[1] / EIGHTH + 1e-9)
    if low > high:
        return stagger
    bolted: Real = np.clip(np.round(stagger / EIGHTH), low, high) * EIGHTH
    return bolted


def _corner_centres(groove: Groove, values: FloatArray) -> tuple[Real, Real]:
    """Mean of values over the tightest part of turns 1-2, and of turns 3-4."""
    centres = []
    for end in (groove.first_end, ~groove.first_end):
        k = np.where(end, groove.curvature, -np.inf)
        tightest = k.max(axis=-1, keepdims=True)
        there = k >= TIGHTEST_SHARE * tightest
        centres.append(_weighted(values, groove.ds * there)[0])
    return centres[0], centres[1]
