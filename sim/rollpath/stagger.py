"""The recommendation: which rear stagger, why, and how sure.

The driver needs even drive where he asks for drive, so the cost of a stagger S is the mean along
the lap of (S - needed)^2, weighted by thrust. It is a parabola: its foot is the weighted mean of
the needed stagger, its least value the weighted variance.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.axle.rolling import NeededStagger, needed_stagger
from rollpath.axle.scrub import Scrub, scrub_distance
from rollpath.car import Car
from rollpath.groove.lay import lay_groove, make_groove, same_line
from rollpath.groove.path import FASTEST, FREE_GROOVES, GROOVES, STATIONS, Groove
from rollpath.lap import Lap, solve_lap
from rollpath.results import Result
from rollpath.track import DEFAULT_CONDITION, Condition, Track
from rollpath.units import EIGHTH, INCH, FloatArray, Real

BAND = INCH / 16
"""How much more root-mean-square mismatch is as good as none: half a tape mark."""
TAPE_TOLERANCE = INCH / 16
"""How well one rollout is taped, nine times in ten: half a tape mark. Engineering judgement."""
TIGHTEST_SHARE = 0.97
"""An end's corner centre is where it curves at least this share of its tightest."""
ASSUMED_GRIP_SHARE, ASSUMED_RATE_SHARE = 0.15, 0.20
"""How far off the grip of a surface and the rate of a tire may be taken. Engineering judgement."""
TOLERANCE_STEP = 0.25
"""Share of a tolerance stepped to see what it does; small, so that an oval stays one."""
QUICK_KNOTS = 32
"""Spline coefficients of a free groove when only its change matters."""


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
        What weighing the lap by thrust adds, negative when it drives where it turns less.
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
    even_drive, least_scrub : float
        Unbounded optimum with drive emphasis 1 and 0.
    spread : float
        Root-mean-square mismatch left at the unbounded optimum.
    geometric_corner, loaded_corner : tuple of float
        Needed at the corner centre of turns 1-2 and 3-4: by geometry, and with tires loaded.
    straights : float
        Mean need of the straights, tires loaded; of the whole lap where it has none.
    band : tuple of float
        Staggers inside the window that are as good: see `BAND`.
    parts : Parts
    """

    recommended: Real
    optimum: Real
    unbounded: Real
    window: tuple[float, float]
    window_end: int | NDArray[np.int_]
    even_drive: Real
    least_scrub: Real
    spread: Real
    geometric_corner: tuple[Real, Real]
    loaded_corner: tuple[Real, Real]
    straights: Real
    band: tuple[Real, Real]
    parts: Parts

    @property
    def at_window(self) -> str | None:
        """low, high, or None: the end of the window that a single recommendation ran into."""
        return {-1: "low", 0: None, 1: "high"}[int(self.window_end)]

    def cost(self, stagger: Real) -> Real:
        """Root-mean-square mismatch, weighted by drive, with a stagger fitted, m."""
        return np.hypot(self.spread, stagger - self.unbounded)


@dataclass(frozen=True, eq=False)
class Baseline(Result, told_by="baseline"):
    """All that `baseline` found for one track, car and condition.

    Attributes
    ----------
    uncertainty : dict
        How far each measurement may move the optimum, m, by its name: like the tolerances, it
        holds about nine times in ten. Empty for a sweep.
    assumed : dict
        How far what nobody measured may move the optimum, m: grip and tire rate off by
        `ASSUMED_GRIP_SHARE` and `ASSUMED_RATE_SHARE`. Empty for a sweep.
    now, then : Scrub
        With the stagger on the car, and with the recommended one.
    """

    track: Track
    car: Car
    condition: Condition
    groove: Groove
    lap: Lap
    needed: NeededStagger
    stagger: Recommendation
    uncertainty: dict[str, float]
    assumed: dict[str, float]
    now: Scrub
    then: Scrub

    @property
    def total_uncertainty(self) -> float:
        """How far the measurements together may move the optimum, m; nine times in ten."""
        return math.hypot(*self.uncertainty.values())


def baseline(
    track: Track,
    car: Car,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    drive_emphasis: float = 1.0,
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
        e, 0 to 1: 0 weighs every foot of the lap the same, 1 by the thrust there.
    tire_load : bool
        False leaves tire deflection out.
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
    lap, needed = _drive(path, car, state, tire_load)
    best = recommend(lap, needed, window or car.stagger_window, drive_emphasis)
    swept = path.ds.ndim > 1 or np.ndim(best.optimum) > 0
    shares = {} if swept else _uncertainty(track, car, state, path, drive_emphasis, tire_load)
    assumed = {} if swept else _assumed(car, state, path, drive_emphasis, tire_load)
    return Baseline(
        track, car, state, path, lap, needed, best, shares, assumed,
        now=scrub_distance(lap, needed, car.rear.stagger),
        then=scrub_distance(lap, needed, best.recommended),
    )  # fmt: skip


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
        With the best staggers, the band and the scrub with the recommended stagger moved; all that
        the physics says of the track and the lap is as it was.
    """
    best = result.stagger
    unbounded = best.unbounded + by
    optimum = np.clip(unbounded, *best.window)
    reach = _band_reach(best.spread, optimum - unbounded)
    moved = replace(
        best,
        recommended=_bolt_on(optimum, best.window),
        optimum=optimum,
        unbounded=unbounded,
        window_end=np.sign(unbounded - optimum).astype(int)[()],
        band=_band(unbounded, reach, best.window),
    )
    then = scrub_distance(result.lap, result.needed, moved.recommended)
    return replace(result, stagger=moved, then=then)


def _band_reach(spread: Real, off: Real) -> Real:
    """How far from the unbounded foot the cost has risen by `BAND`, the optimum being `off` it."""
    return np.sqrt((np.hypot(spread, off) + BAND) ** 2 - spread**2)


def _band(unbounded: Real, reach: Real, window: tuple[float, float]) -> tuple[Real, Real]:
    return np.clip(unbounded - reach, *window), np.clip(unbounded + reach, *window)


def _drive(
    groove: Groove, car: Car, condition: Condition, tire_load: bool
) -> tuple[Lap, NeededStagger]:
    lap = solve_lap(groove, car, condition)
    return lap, needed_stagger(lap, car, tire_load)


def recommend(
    lap: Lap, needed: NeededStagger, window: tuple[float, float], drive_emphasis: float = 1.0
) -> Recommendation:
    """The stagger of least cost for a lap, inside a window.

    Parameters
    ----------
    lap : Lap
    needed : NeededStagger
    window : tuple of float
        m, low end first.
    drive_emphasis : float
        e of the weight ``w = e F+ / mean(F+) + (1 - e)``.
    """
    unbounded, spread = _weighted(needed.total, drive_weight(lap, drive_emphasis))
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
        even_drive=_weighted(needed.total, drive_weight(lap, 1.0))[0],
        least_scrub=least_scrub,
        spread=spread,
        geometric_corner=_corner_centres(lap.groove, needed.geometric),
        loaded_corner=_corner_centres(lap.groove, needed.total),
        straights=_weighted(needed.total, plain)[0],
        band=_band(unbounded, reach, window),
        parts=Parts(line, least_scrub - line, unbounded - least_scrub),
    )


def drive_weight(lap: Lap, drive_emphasis: float) -> FloatArray:
    """Weight of each station in the cost: its length, by thrust as far as drive is emphasised."""
    ds = lap.groove.ds
    thrust = lap.drive
    mean = (thrust * ds).sum(axis=-1, keepdims=True) / ds.sum(axis=-1, keepdims=True)
    weight: FloatArray = ds * (drive_emphasis * thrust / mean + (1.0 - drive_emphasis))
    return weight


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


def _uncertainty(
    track: Track,
    car: Car,
    condition: Condition,
    path: Groove,
    drive_emphasis: float,
    tire_load: bool,
) -> dict[str, float]:
    """How far each measurement may move the optimum, m."""
    tape = {"tape": math.sqrt(2.0) * TAPE_TOLERANCE}
    if path.name not in GROOVES:
        return tape
    varied = _varied(track)
    if path.name == FASTEST:
        grooves = [same_line(one, path, car.width, STATIONS // 2) for one in varied.values()]
        optima = [_optimum(groove, car, condition, drive_emphasis, tire_load) for groove in grooves]
    elif path.name in FREE_GROOVES:
        grooves = [
            make_groove(one, path.name, car.width, STATIONS // 2, knots=QUICK_KNOTS)
            for one in varied.values()
        ]
        optima = [_optimum(groove, car, condition, drive_emphasis, tire_load) for groove in grooves]
    else:
        groove = make_groove(_stack(track, list(varied.values())), path.name, car.width)
        optima = list(np.atleast_1d(_optimum(groove, car, condition, drive_emphasis, tire_load)))
    names, nominal = list(varied)[1:], optima[0]
    moved = [abs(float(optimum - nominal)) / TOLERANCE_STEP for optimum in optima[1:]]
    return dict(zip(names, moved, strict=True)) | tape


def _assumed(
    car: Car, condition: Condition, path: Groove, drive_emphasis: float, tire_load: bool
) -> dict[str, float]:
    """How far a grip or a tire rate that is not what was taken moves the optimum, m."""
    softer = replace(car.tire, spring_rate=car.tire.spring_rate * (1 - ASSUMED_RATE_SHARE))
    slicker = replace(condition, grip=condition.grip * (1 - ASSUMED_GRIP_SHARE))
    as_taken, less_grip, soft_tires = (
        float(_optimum(path, one, state, drive_emphasis, tire_load))
        for one, state in (
            (car, condition), (car, slicker), (replace(car, tire=softer), condition),
        )
    )  # fmt: skip
    return {"grip": abs(less_grip - as_taken), "tire rate": abs(soft_tires - as_taken)}


def _optimum(
    groove: Groove, car: Car, condition: Condition, drive_emphasis: float, tire_load: bool
) -> Real:
    lap, needed = _drive(groove, car, condition, tire_load)
    return _weighted(needed.total, drive_weight(lap, drive_emphasis))[0]


def _varied(track: Track) -> dict[str, Track]:
    """The track as measured, then with each measurement moved by a step of its tolerance."""
    known, (R_1, R_2) = track.measured_to, track.inside_radius
    dR, dL = TOLERANCE_STEP * known.inside_radius, TOLERANCE_STEP * known.straight
    steeper = replace(track.bank, corners=track.bank.corners + TOLERANCE_STEP * known.bank)
    return {
        "as measured": track,
        "radius of turns 1-2": replace(track, inside_radius=(R_1 + dR, R_2)),
        "radius of turns 3-4": replace(track, inside_radius=(R_1, R_2 + dR)),
        "length of the straights": replace(track, straight=track.straight + dL),
        "bank of the corners": replace(track, bank=steeper),
    }


def _stack(track: Track, tracks: list[Track]) -> Track:
    """Several tracks as the cases of one."""
    first, second = zip(*(one.inside_radius for one in tracks), strict=True)
    return replace(
        track,
        inside_radius=(np.array(first), np.array(second)),
        straight=np.array([one.straight for one in tracks]),
        bank=replace(track.bank, corners=np.array([one.bank.corners for one in tracks])),
    )
