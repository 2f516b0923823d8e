"""How sure a recommendation is: what was measured, what was assumed, and what each is worth.

Every input has a doubt, a standard deviation: of the tape, of a value in a file, or of the typical
value that stands in for one. The optimum is worked out again with each moved by its doubt to
either side, all of it as one sweep; half of what that does is what the input is worth, and the
root of the squares' sum is how far the optimum may be off. All are told nine times in ten.

References
----------
.. [1] JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 5.1 (law of
   propagation) and 6.3 (coverage).
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rollpath.axle.rolling import needed_stagger
from rollpath.car import Axle, Car
from rollpath.groove.lay import make_groove, same_line
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import FASTEST, FREE_GROOVES, GROOVES, Groove, side_by_side
from rollpath.lap import solve_lap
from rollpath.loads import across
from rollpath.stagger import Baseline, recommend
from rollpath.track import Condition, GripBands, Track
from rollpath.typical import unsure
from rollpath.units import INCH, FloatArray, Real

NINE_IN_TEN = 1.645
"""Standard deviations within which a normal error stays nine times in ten."""
TAPE_DOUBT = INCH / 16 / NINE_IN_TEN
"""Of one rollout: half a tape mark, nine times in ten. Engineering judgement."""
GRIP_DOUBT = 0.09
"""Share by which the grip of a surface may be off. Engineering judgement."""
STIFFNESS_DOUBT = 0.15
"""Share by which its slip stiffness may be off. Engineering judgement."""
LINE_DOUBT = 0.9
"""How far from its groove a car runs, m: about half its width. Engineering judgement."""
BENT = 1.05
"""By how much several inputs off at once miss by more than each alone adds up to; by simulation."""
COARSE = 360
"""Stations of a lap of which only the change is asked."""
QUICK_KNOTS = 32
"""Spline coefficients of a free groove when only its change matters."""
TRACK_STEP = 0.5
"""Share of the doubt of a track's shape that is stepped; small, so that an oval stays one."""


@dataclass(frozen=True)
class Case:
    """What the optimum is worked out from."""

    groove: Groove
    car: Car
    condition: Condition


@dataclass(frozen=True)
class Doubt:
    """One input that is not known exactly.

    Attributes
    ----------
    name : str
        A dotted key of the car file, one of `TRACK_NAMES`, or ``grip``, ``timed_grip``,
        ``slip_stiffness``, ``line``, ``tape``.
    assumed : bool
        True where nobody measured it.
    value : float
        What was taken, SI.
    worth : float
        How far it may move the optimum, nine times in ten, m.
    """

    name: str
    assumed: bool
    value: float
    worth: float


@dataclass(frozen=True)
class GiveOrTake:
    """How far the optimum may be off.

    Attributes
    ----------
    doubts : tuple of Doubt
        The largest first.
    """

    doubts: tuple[Doubt, ...]

    @property
    def total(self) -> float:
        """Root of the squares' sum with a little for what bends, nine times in ten, m."""
        return BENT * math.hypot(*(doubt.worth for doubt in self.doubts))

    @property
    def sd(self) -> float:
        """The same as one standard deviation, m."""
        return self.total / NINE_IN_TEN

    @property
    def assumed(self) -> tuple[Doubt, ...]:
        return tuple(doubt for doubt in self.doubts if doubt.assumed)


def give_or_take(result: Baseline) -> GiveOrTake:
    """How far the optimum of a baseline may be off, and why.

    Parameters
    ----------
    result : Baseline
        Of one case.

    Raises
    ------
    ValueError
        For a sweep.
    """
    if result.groove.ds.ndim > 1:
        raise ValueError("how sure a sweep is can only be told case by case")
    case = Case(_laid(result, result.track), result.car, result.condition)
    found = [
        *_of_the_car_and_surface(result, case),
        *_of_the_track(result, case),
        Doubt("tape", False, 0.0, NINE_IN_TEN * math.sqrt(2.0) * TAPE_DOUBT),
    ]
    return GiveOrTake(tuple(sorted(found, key=lambda doubt: -doubt.worth)))


def _optima(result: Baseline, case: Case) -> FloatArray:
    """The unbounded optimum of every case of a sweep, m, as the baseline was asked for."""
    lap = solve_lap(case.groove, case.car, case.condition)
    needed = needed_stagger(lap, case.car, result.tire_load)
    best = recommend(lap, needed, case.car, case.condition, result.drive_emphasis)
    return np.asarray(best.unbounded)


def _either_side(place: int, of: int, by: float) -> FloatArray:
    """By how much an input is moved in a sweep of several, each up in one case and down in one."""
    moved = np.zeros(2 * of)
    moved[2 * place : 2 * place + 2] = by, -by
    return moved


def _worths(optima: FloatArray) -> list[float]:
    """What each input is worth, from the optima with it moved up and down."""
    worths: list[float] = (NINE_IN_TEN * 0.5 * np.abs(optima[::2] - optima[1::2])).tolist()
    return worths


def _of_the_car_and_surface(result: Baseline, case: Case) -> Iterator[Doubt]:
    """All of the car and the surface in one sweep: one groove, and in every case one input moved.

    The springs come last, as their share of the roll stiffness follows what is moved before.
    """
    car, surface = case.car, case.condition
    keys = [
        (key, doubt) for key, doubt in unsure(car.assumed)
        if key not in IDLE and (key not in _ROLLOUTS or key in car.assumed)
    ]  # fmt: skip
    keys.sort(key=lambda one: one[0] == "springs")
    told, grip, share = _grip_doubt(result)
    shares = (("grip", share), ("slip_stiffness", STIFFNESS_DOUBT))
    count = len(keys) + len(shares)
    for i, (key, doubt) in enumerate(keys):
        car = varied(car, key, _either_side(i, count, doubt))
    for i, (name, share) in enumerate(shares, start=len(keys)):
        surface = surface_varied(surface, name, _either_side(i, count, share))
    worths = _worths(_optima(result, Case(case.groove, car, surface)))
    for (key, _), worth in zip(keys, worths, strict=False):
        yield Doubt(key, key in case.car.assumed, float(value_of(case.car, key)), worth)
    of_grip, of_stiffness = worths[len(keys) :]
    yield Doubt(grip, not told, float(case.condition.mean_grip), of_grip)
    yield Doubt("slip_stiffness", True, float(case.condition.slip_stiffness), of_stiffness)


def _grip_doubt(result: Baseline) -> tuple[bool, str, float]:
    """Whether a lap time told the grip, what that is called, and the share it may be off."""
    if result.watch is None:
        return False, "grip", GRIP_DOUBT
    timed = result.watch.timed
    return True, "timed_grip", min(timed.doubt / NINE_IN_TEN / timed.grip, GRIP_DOUBT)


def surface_varied(condition: Condition, name: str, share: Real) -> Condition:
    """A surface with its grip or its slip stiffness more by a share.

    Parameters
    ----------
    condition : Condition
    name : str
        ``grip`` or ``slip_stiffness``.
    share : float or ndarray, shape (cases,)
        0.1 is a tenth more.
    """
    was, factor = getattr(condition, name), 1.0 + share
    if isinstance(was, GripBands) and np.ndim(share) > 0:
        factor = across(factor)
    return replace(condition, **{name: was * factor})


def _of_the_track(result: Baseline, case: Case) -> Iterator[Doubt]:
    """The shape of the track as far as the groove was laid on it, and the line on it."""
    track, name = result.track, result.groove.name
    if name not in GROOVES:
        return
    searched = name in (*FREE_GROOVES, FASTEST)
    tolerances = track_tolerances(track)
    steps = {key: TRACK_STEP * one / NINE_IN_TEN for key, one in tolerances.items()}
    laid = _searched_grooves(result, steps) if searched else _parallel_grooves(result, steps)
    worths = _worths(_optima(result, replace(case, groove=laid)))
    for key, worth in zip(tolerances, worths, strict=False):
        yield Doubt(key, track.tolerance is None, track_value(track, key), worth / TRACK_STEP)
    if not searched:
        yield Doubt("line", True, 0.0, worths[-1])


def _laid(result: Baseline, track: Track, further_out: Real = 0.0) -> Groove:
    """The groove of a baseline laid on a track, or on several, a little different."""
    path, width = result.groove, result.car.width
    if path.name not in GROOVES:
        return path
    if path.name == FASTEST:
        return same_line(track, path, width, COARSE)
    if path.name in FREE_GROOVES:
        return make_groove(track, path.name, width, COARSE, knots=QUICK_KNOTS)
    return parallel_groove(track, float(path.offset[0]) + further_out, path.name, COARSE)


def _searched_grooves(result: Baseline, steps: Mapping[str, float]) -> Groove:
    """With each measurement a step up and a step down, searched one by one."""
    return side_by_side([
        _laid(result, track_varied(result.track, key, side * step))
        for key, step in steps.items()
        for side in (1.0, -1.0)
    ])  # fmt: skip


def _parallel_grooves(result: Baseline, steps: Mapping[str, float]) -> Groove:
    """With each measurement a step up and a step down, and the car's own line at last."""
    track, count = result.track, len(steps) + 1
    for i, (key, step) in enumerate(steps.items()):
        track = track_varied(track, key, _either_side(i, count, step))
    return _laid(result, track, _either_side(count - 1, count, LINE_DOUBT))


# One input moved


def track_tolerances(track: Track) -> dict[str, float]:
    """How far each measurement of a track may be off, nine times in ten, SI."""
    known = track.measured_to
    return {
        "radius_1": float(known.inside_radius),
        "radius_2": float(known.inside_radius),
        "straight": float(known.straight),
        "bank": float(known.bank),
    }


def track_value(track: Track, name: str) -> float:
    """The measurement of a track by its name in `track_tolerances`.

    Parameters
    ----------
    track : Track
    name : str
        m; ``bank`` in rad.
    """
    first, second = track.inside_radius
    values: dict[str, Real] = {
        "radius_1": first,
        "radius_2": second,
        "straight": track.straight,
        "bank": track.bank.corners,
    }
    return float(values[name])


def track_varied(track: Track, name: str, by: Real) -> Track:
    """A track with one measurement more.

    Parameters
    ----------
    track : Track
    name : str
        One of `track_tolerances`.
    by : float or ndarray, shape (cases,)
        m; of ``bank`` rad.
    """
    radius_1, radius_2 = track.inside_radius
    if name == "radius_1":
        return replace(track, inside_radius=(radius_1 + by, radius_2))
    if name == "radius_2":
        return replace(track, inside_radius=(radius_1, radius_2 + by))
    if name == "straight":
        return replace(track, straight=track.straight + by)
    return replace(track, bank=replace(track.bank, corners=track.bank.corners + by))


IDLE = frozenset({
    "front.left.rollout", "front.right.rollout", "pressure.left_front", "pressure.right_front",
    "steering_ratio",
})  # fmt: skip
"""Keys of the car file that the optimum does not know of."""
_ROLLOUTS = frozenset({"rear.left.rollout", "rear.right.rollout"})


def value_of(car: Car, key: str) -> float:
    """The value that a car has for a key of its file, SI; of ``springs`` the front's share.

    Parameters
    ----------
    car : Car
    key : str
        Dotted, as in the file; nan where the car has no such group.
    """
    group, _, name = key.partition(".")
    if key == "springs":
        return float(car.front_roll_share)
    if key == "gear_ratio":
        return float(car.axle_ratio)
    if group == "roll_center":
        return float(car.roll_center[("front", "rear").index(name)])
    if group in ("front", "rear"):
        axle = getattr(car, group)
        return float(axle.track_width if name == "track_width" else axle.mean_rollout)
    if group == "pressure" and car.pressure is None:
        return math.nan
    return float(getattr(getattr(car, group), name) if name else getattr(car, group))


def varied(car: Car, key: str, by: Real) -> Car:
    """A car with one value of its file more; a rollout takes the other tire of the axle along.

    Parameters
    ----------
    car : Car
    key : str
        Dotted, as in the file.
    by : float or ndarray, shape (cases,)
        SI, added.
    """
    group, _, name = key.partition(".")
    changed: dict[str, Any] = {}
    if key == "springs":
        changed = {"springs": None, "roll_share": car.front_roll_share + by}
    elif key == "gear_ratio":
        changed = {key: car.axle_ratio + by}
    elif group == "roll_center":
        front, rear = car.roll_center
        changed = {group: (front + by, rear) if name == "front" else (front, rear + by)}
    elif group in ("front", "rear"):
        changed = {group: _axle_varied(getattr(car, group), name, by)}
    elif name and (part := getattr(car, group)) is not None:
        changed = {group: replace(part, **{name: getattr(part, name) + by})}
    elif not name:
        changed = {group: getattr(car, group) + by}
    return replace(car, **changed)


def _axle_varied(axle: Axle, name: str, by: Real) -> Axle:
    if name == "track_width":
        return replace(axle, track_width=axle.track_width + by)
    # Either tire may be off: of their mean each makes half.
    return replace(
        axle, left_rollout=axle.left_rollout + 0.5 * by, right_rollout=axle.right_rollout + 0.5 * by
    )
