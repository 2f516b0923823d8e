"""Surfaces in between, and what a lap time says of one.

A lap time is the one number that every racer has. With the line and the car known, the modelled
lap takes it at one grip only: more grip is always quicker.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from rollpath.car import Car
from rollpath.errors import RollpathError
from rollpath.groove.lay import lay_groove, make_groove, same_line
from rollpath.groove.path import FASTEST, GROOVES, Groove
from rollpath.lap import LapError, solve_lap
from rollpath.results import Result
from rollpath.track import CONDITIONS, Condition, GripBands, Track
from rollpath.units import Real

LEAST_GRIP, MOST_GRIP = 0.3, 1.4
"""A surface that a stopwatch may find. Engineering judgement."""
NEAR = 0.015
"""Grip within which a surface is said to be another. Engineering judgement."""
TIMING_DOUBT = 0.1
"""s, nine times in ten: a watch in the hand. Engineering judgement."""
POWER_DOUBT = 0.1
"""Share by which a car's power may be off, nine times in ten. Engineering judgement."""
GRIP_DIGITS = 1e-5
"""To which the grip is found."""
ROUNDS = 3
"""Of laying the fastest line for a grip and finding the grip on that line."""
TOLERANCE_STEP = 0.25
"""Share of a tolerance stepped to see what it does."""


class StopwatchError(RollpathError):
    """A lap time that no plausible grip gives; the message names both ends and what to check."""


def mixed(one: Condition, other: Condition, share: float, name: str = "") -> Condition:
    """A surface between two.

    Parameters
    ----------
    one, other : Condition
    share : float
        0 is `one`, 1 is `other`; grip and slip stiffness run in a straight line between, the groove
        is the nearer one's.
    name : str, optional
    """
    grip: Real | GripBands
    if isinstance(one.grip, GripBands) or isinstance(other.grip, GripBands):
        a, b = (
            g if isinstance(g, GripBands) else GripBands(g, g, g) for g in (one.grip, other.grip)
        )
        grip = GripBands(
            *(x + share * (y - x) for x, y in (
                (a.inside, b.inside), (a.middle, b.middle), (a.outside, b.outside)))
        )  # fmt: skip
    else:
        grip = one.grip + share * (other.grip - one.grip)
    stiffness = one.slip_stiffness + share * (other.slip_stiffness - one.slip_stiffness)
    told = name or f"{one.name} to {other.name} {share:.0%}"
    return Condition(told, grip, stiffness, (one if share < 0.5 else other).groove)


def named_near(track: Track, grip: float) -> tuple[str, ...]:
    """The surfaces of a track that a grip is nearest to: one that it is, or one or two beside it.

    Parameters
    ----------
    track : Track
    grip : float
        A friction coefficient.

    Returns
    -------
    tuple of str
        One name where the grip is that surface's; two, the slicker first, where it lies between;
        a name after or before an empty one where it lies beyond them all.
    """
    grips = sorted((float(track.condition(name).mean_grip), name) for name in CONDITIONS)
    for known, name in grips:
        if abs(known - grip) < NEAR:
            return (name,)
    below = [name for known, name in grips if known < grip]
    above = [name for known, name in grips if known > grip]
    return (below[-1] if below else "", above[0] if above else "")


@dataclass(frozen=True, eq=False)
class Timed(Result, told_by="surface"):
    """What a lap time says of the surface.

    Attributes
    ----------
    lap_time : float
        s.
    condition : Condition
        With the grip found; bands keep their shape.
    groove : Groove
        The line on which it was found.
    grip : float
        Mean over the width.
    doubts : dict
        How far off the grip may be for each reason, nine times in ten.
    track : Track
    """

    lap_time: float
    condition: Condition
    groove: Groove
    grip: float
    doubts: dict[str, float]
    track: Track

    @property
    def doubt(self) -> float:
        """How far off the grip may be, nine times in ten."""
        return math.hypot(*self.doubts.values())


@dataclass(frozen=True)
class Watched:
    """A lap time beside an answer.

    Attributes
    ----------
    timed : Timed
    without : float
        The rear stagger recommended on the surface as it was said, the same line driven, m.
    recommended : float
        The one recommended on the surface that gives the lap time, m.
    """

    timed: Timed
    without: Real
    recommended: Real


def grip_for_lap_time(
    track: Track, car: Car, condition: Condition, groove: str | Groove | None, lap_time: float
) -> Timed:
    """The grip with which the modelled lap takes a time.

    Parameters
    ----------
    track, car : Track, Car
    condition : Condition
        For the slip stiffness, the usual groove, and the shape of bands.
    groove : str or Groove, optional
        The line driven; the condition's when left out.
    lap_time : float
        s.

    Raises
    ------
    StopwatchError
        If no grip from `LEAST_GRIP` to `MOST_GRIP` gives it.
    KeyError
        If there is no groove of this name.
    """
    path = _laid(track, car, condition, groove)
    share = _share_for(path, car, condition, lap_time)
    for _ in range(ROUNDS if _name(condition, groove) == FASTEST else 0):
        state = replace(condition, grip=condition.grip * share)
        path = lay_groove(track, FASTEST, car, state, start=path)
        share = _share_for(path, car, condition, lap_time)
    found = replace(condition, name=f"a {lap_time:.2f} s track", grip=condition.grip * share)
    return Timed(
        lap_time, found, path, float(found.mean_grip),
        _doubts(track, car, condition, path, lap_time, share), track,
    )  # fmt: skip


def come_from(track: Track, earlier: float, now: float) -> tuple[str, str, float]:
    """How far a track has come between two grips, as a share of the way from heavy to slick.

    Parameters
    ----------
    track : Track
    earlier, now : float
        Grip, friction coefficients.

    Returns
    -------
    start, end : str
        Names of the surfaces that the way runs between, in its direction.
    share : float
        Of that way.
    """
    heavy, slick = (float(track.condition(name).mean_grip) for name in ("heavy", "slick"))
    way = heavy - slick
    share = (earlier - now) / way if way else 0.0
    return ("heavy", "slick", share) if share >= 0 else ("slick", "heavy", -share)


def _name(condition: Condition, groove: str | Groove | None) -> str:
    return groove.name if isinstance(groove, Groove) else groove or condition.groove


def _laid(track: Track, car: Car, condition: Condition, groove: str | Groove | None) -> Groove:
    return (
        groove
        if isinstance(groove, Groove)
        else lay_groove(track, groove or condition.groove, car, condition)
    )


def _time(groove: Groove, car: Car, condition: Condition, share: float) -> float:
    """Lap time with a share of the grip, s; none where the lap cannot be driven."""
    try:
        lap = solve_lap(groove, car, replace(condition, grip=condition.grip * share))
    except LapError:
        return math.inf
    return float(lap.time)


def _share_for(groove: Groove, car: Car, condition: Condition, lap_time: float) -> float:
    """Share of the condition's grip that gives a lap time, by halving."""
    mean = float(condition.mean_grip)
    low, high = LEAST_GRIP / mean, MOST_GRIP / mean
    slowest, quickest = (_time(groove, car, condition, share) for share in (low, high))
    if not quickest <= lap_time <= slowest:
        slow = "never" if math.isinf(slowest) else f"{slowest:.1f} s"
        raise StopwatchError(
            f"a lap of {lap_time:.2f} s is not to be had on this track: grip {LEAST_GRIP:g} gives "
            f"{slow}, grip {MOST_GRIP:g} {quickest:.1f} s; a lap under yellow, or check the "
            "length of the track, power and weight"
        )
    while high - low > GRIP_DIGITS / mean:
        middle = 0.5 * (low + high)
        if _time(groove, car, condition, middle) > lap_time:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _doubts(
    track: Track, car: Car, condition: Condition, path: Groove, lap_time: float, share: float
) -> dict[str, float]:
    """How far off the grip may be for each reason: the time it moves, over the slope of time."""
    by, mean = 0.02, float(condition.mean_grip)
    sides = [_time(path, car, condition, share * (1 + step)) for step in (by, -by)]
    slope = (sides[0] - sides[1]) / (2 * by * share * mean)
    here = _time(path, car, condition, share)
    moved: dict[str, Callable[[], float]] = {
        "power": lambda: (
            _time(path, replace(car, power=car.power * (1 + POWER_DOUBT)), condition, share) - here
        )
    }
    if path.name in GROOVES:
        base = _time(_again(track, car, path), car, condition, share)
        for key, other in _moved_tracks(track).items():
            moved[key] = lambda other=other: (  # type: ignore[misc]
                (_time(_again(other, car, path), car, condition, share) - base) / TOLERANCE_STEP
            )
    told = {key: abs(time() / slope) for key, time in moved.items()}
    return {"watch": abs(TIMING_DOUBT / slope), **told}


def _again(track: Track, car: Car, path: Groove) -> Groove:
    if path.name == FASTEST:
        return same_line(track, path, car.width)
    return make_groove(track, path.name, car.width)


def _moved_tracks(track: Track) -> dict[str, Track]:
    known, (R_1, R_2) = track.measured_to, track.inside_radius
    by = TOLERANCE_STEP * np.asarray(known.inside_radius)
    return {
        "radius": replace(track, inside_radius=(R_1 + by, R_2 + by)),
        "straights": replace(track, straight=track.straight + TOLERANCE_STEP * known.straight),
    }
