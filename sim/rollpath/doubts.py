"""How sure a recommendation is: what was measured, what was assumed, and what each is worth.

Every input has a doubt, a standard deviation: of the tape, of a value in a file, or of the typical
value that stands in for one. The optimum is worked out again with each moved by its doubt to
either side; half of what that does is what the input is worth, and the root of the squares' sum is
how far the optimum may be off. All of them are told nine times in ten.

References
----------
.. [1] JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 5.1 (law of
   propagation) and 6.3 (coverage).
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from rollpath.axle.rolling import needed_stagger
from rollpath.car import Axle, Car
from rollpath.groove.lay import make_groove, same_line
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import FASTEST, FREE_GROOVES, GROOVES, Groove
from rollpath.lap import solve_lap
from rollpath.stagger import Baseline, recommend
from rollpath.track import Condition, Track
from rollpath.typical import unsure
from rollpath.units import INCH, Real

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
    emphasis, tire_load = result.drive_emphasis, result.tire_load

    def optimum(case: Case) -> float:
        lap = solve_lap(case.groove, case.car, case.condition)
        needed = needed_stagger(lap, case.car, tire_load)
        return float(recommend(lap, needed, case.car, case.condition, emphasis).unbounded)

    lay = _layer(result)
    case = Case(lay(result.track, 0.0), result.car, result.condition)
    found = [
        *_of_the_car(case, optimum),
        *_of_the_surface(result, case, optimum),
        *_of_the_track(result, case, optimum, lay),
        Doubt("tape", False, 0.0, NINE_IN_TEN * math.sqrt(2.0) * TAPE_DOUBT),
    ]
    return GiveOrTake(tuple(sorted(found, key=lambda doubt: -doubt.worth)))


Optimum = Callable[[Case], float]
Layer = Callable[[Track, float], Groove]


def _worth(up: float, down: float, share: float = 1.0) -> float:
    """What an input is worth, from the optimum with it a share of its doubt up and down."""
    return NINE_IN_TEN * 0.5 * abs(up - down) / share


def _of_the_car(case: Case, optimum: Optimum) -> Iterator[Doubt]:
    for key, doubt in unsure(case.car.assumed):
        if key in IDLE or (key in _ROLLOUTS and key not in case.car.assumed):
            continue
        up, down = (
            optimum(replace(case, car=varied(case.car, key, side * doubt))) for side in (1.0, -1.0)
        )
        yield Doubt(key, key in case.car.assumed, float(value_of(case.car, key)), _worth(up, down))


def _of_the_surface(result: Baseline, case: Case, optimum: Optimum) -> Iterator[Doubt]:
    grip, assumed, share = "grip", True, GRIP_DOUBT
    if result.watch is not None:
        timed = result.watch.timed
        told = timed.doubt / NINE_IN_TEN / timed.grip
        grip, assumed, share = "timed_grip", False, min(told, GRIP_DOUBT)
    for name, key, off in (("grip", grip, share), ("slip_stiffness",) * 2 + (STIFFNESS_DOUBT,)):
        up, down = (
            optimum(replace(case, condition=surface_varied(case.condition, name, side * off)))
            for side in (1.0, -1.0)
        )
        value = case.condition.mean_grip if name == "grip" else case.condition.slip_stiffness
        yield Doubt(key, assumed or name != "grip", float(value), _worth(up, down))


def surface_varied(condition: Condition, name: str, share: Real) -> Condition:
    """A surface with its grip or its slip stiffness more by a share."""
    return replace(condition, **{name: getattr(condition, name) * (1.0 + share)})


def _of_the_track(result: Baseline, case: Case, optimum: Optimum, lay: Layer) -> Iterator[Doubt]:
    """The shape of the track as far as the groove was laid on it, and the line on it."""
    track = result.track
    if result.groove.name not in GROOVES:
        return
    for name, tolerance in track_tolerances(track).items():
        step = TRACK_STEP * tolerance / NINE_IN_TEN
        up, down = (
            optimum(replace(case, groove=lay(track_varied(track, name, side * step), 0.0)))
            for side in (1.0, -1.0)
        )
        yield Doubt(
            name, track.tolerance is None, track_value(track, name), _worth(up, down, TRACK_STEP)
        )
    if result.groove.name not in (*FREE_GROOVES, FASTEST):
        up, down = (
            optimum(replace(case, groove=lay(track, side * LINE_DOUBT))) for side in (1.0, -1.0)
        )
        yield Doubt("line", True, 0.0, _worth(up, down))


def _layer(result: Baseline) -> Layer:
    """How the groove of a baseline is laid on a track that is a little different."""
    path, width = result.groove, result.car.width

    def lay(track: Track, further_out: float) -> Groove:
        if path.name not in GROOVES:
            return path
        if path.name == FASTEST:
            return same_line(track, path, width, COARSE)
        if path.name in FREE_GROOVES:
            return make_groove(track, path.name, width, COARSE, knots=QUICK_KNOTS)
        return parallel_groove(track, float(path.offset[0]) + further_out, path.name, COARSE)

    return lay


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
    """The measurement of a track by its name in `track_tolerances`."""
    first, second = track.inside_radius
    values: dict[str, Real] = {
        "radius_1": first,
        "radius_2": second,
        "straight": track.straight,
        "bank": track.bank.corners,
    }
    return float(values[name])


def track_varied(track: Track, name: str, by: Real) -> Track:
    """A track with one measurement more."""
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
    """The value that a car has for a key of its file, SI; of ``springs`` the front's share."""
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
    """A car with one value of its file more; a rollout takes the other tire of the axle along."""
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
