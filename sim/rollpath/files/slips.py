"""Plausible slips: numbers that could stand in a file but are most likely not what was meant.

A slip is a code and numbers; `slip_text` makes its line. One that cannot be is refused; one that is
only doubtful is asked about, and stands when whoever typed it says that it is right. All limits are
engineering judgement: far outside what any dirt-oval car, track or night is known to be.
"""

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from rollpath.car import Car
from rollpath.corners import CORNERS
from rollpath.screen import Screen, feet, inches
from rollpath.track import Track
from rollpath.units import FOOT, HP, INCH, KINDS, POUND, PSI, G, of_inches

if TYPE_CHECKING:
    from rollpath.tires.rack import Rack

MOST_STAGGER = 8 * INCH
"""Either way; the largest dirt-oval cars run half of it."""
MOST_AIR_STEP = 12 * PSI
"""At once, either way; half of it is much for a change between two runs."""
LEAST_PAD = 0.1
"""Share of the car on one pad."""
FULL_SIZE = 95 * INCH
"""Wheelbase from which a car weighs a ton."""
LIGHTEST, HEAVIEST = 1700 * POUND, 5500 * POUND
LEAST_ROLLOUT = 33 * INCH
"""Below it a rollout is the height of a tire."""
LOWEST_CG, HIGHEST_CG = 10 * INCH, 30 * INCH
LEAST_POWER, MOST_POWER = 60 * HP, 1200 * HP
LEAST_RADIUS_SHARE = 0.22
"""Radius over straight; a paper clip has a quarter."""
ROUND_RADIUS, ROUND_SHARE = 240 * FOOT, 1.1
"""Larger and rounder than both, a radius is most likely a diameter."""
NARROWEST = 20 * FOOT
LONGEST_LAP = 120.0
"""Seconds; a mile takes forty."""
OLDEST, FURTHEST_AHEAD = 1980, 2
"""Year of a run, and years ahead of today."""


TAKEN_AS_RIGHT: ContextVar[bool] = ContextVar("taken_as_right", default=False)
"""Whether doubtful values stand, in the run that reads them."""


@contextmanager
def taken_as_right() -> Iterator[None]:
    """Inside it doubtful values of files stand; what cannot be is refused all the same."""
    before = TAKEN_AS_RIGHT.set(True)
    try:
        yield
    finally:
        TAKEN_AS_RIGHT.reset(before)


@dataclass(frozen=True)
class Slip:
    """A number that is most likely not what was meant.

    Attributes
    ----------
    key : str
        Of the file, dotted.
    code : str
        A key of `_REASONS`.
    kind : str
        A key of `units.KINDS`, or ``year``.
    found : float
        SI.
    likely : float or None
        What was most likely meant, SI; None when nothing fits.
    refused : bool
        False when it is only doubtful.
    """

    key: str
    code: str
    kind: str
    found: float
    likely: float | None = None
    refused: bool = False


_REASONS = {
    "stagger": "beyond 8 in, no car runs that",
    "pad": "less than a tenth of the car on one pad",
    "kilograms": "light for a car; were the pads read in kg",
    "pounds": "heavy for a car; were the pads read in lb",
    "height": "small for a rollout; is it the height of the tire",
    "centimetres": "low for a car; were these cm",
    "high": "high for a car",
    "weak": "little for a car of this weight; a digit lost",
    "strong": "more than any car of this kind; a digit too many",
    "metres": "short for a track; were these metres",
    "diameter": "very round; is it the diameter",
    "swapped": "far from the others; two digits changed over",
    "lap": "long for a lap; the point lost",
    "year": "not a year of a race to write down",
}


def car_slips(car: Car) -> list[Slip]:
    """What is refused or doubtful about a car, its numbers scalar."""
    return [*_staggers(car), *_pads(car), *_heights(car), *_engine(car)]


def stagger_slip(key: str, stagger: float) -> Slip | None:
    """A stagger that no car runs: 2 ft for 2 in, most likely.

    Parameters
    ----------
    key : str
        Of the car file, or of an option.
    stagger : float
        m.
    """
    if abs(stagger) <= MOST_STAGGER + 1e-9:
        return None
    inches = stagger / 12  # 2' for 2"
    likely = inches if abs(stagger) >= 11 * INCH and abs(inches) <= 6 * INCH else None
    return Slip(key, "stagger", "tape", stagger, likely, refused=True)


def _staggers(car: Car) -> Iterator[Slip]:
    for end, axle in (("front", car.front), ("rear", car.rear)):
        left, right = float(axle.left_rollout), float(axle.right_rollout)
        if abs(right - left) > MOST_STAGGER + 1e-9:
            side, likely = _mistyped(left, right)
            found = left if side == "left" else right
            yield Slip(f"{end}.{side}.rollout", "stagger", "tape", found, likely, refused=True)
        for side, rollout in (("left", left), ("right", right)):
            if rollout < LEAST_ROLLOUT:
                yield Slip(f"{end}.{side}.rollout", "height", "tape", rollout, math.pi * rollout)


def _mistyped(left: float, right: float) -> tuple[str, float | None]:
    """Which of two rollouts was most likely mistyped, and what was meant by it."""
    found: list[tuple[float, str, float]] = []
    for side, wrong, other, sign in (("right", right, left, 1.0), ("left", left, right, -1.0)):
        for likely in (*_swapped(wrong), wrong + 10 * INCH, wrong - 10 * INCH):
            stagger = sign * (likely - other)
            if -INCH <= stagger <= 5 * INCH:
                found.append((abs(stagger - 2 * INCH), side, likely))
    if not found:
        return ("right", None)
    _, side, likely = min(found)
    return side, likely


def _swapped(rollout: float) -> list[float]:
    """A rollout with its two digits of whole inches changed over: 86 1/4 for 68 1/4."""
    whole, rest = divmod(inches(rollout) + 1e-9, 1.0)
    tens, ones = divmod(int(whole), 10)
    swapped = float(of_inches(10 * ones + tens + rest - 1e-9))
    return [swapped] if 1 <= tens <= 9 and ones != tens else []


def _pads(car: Car) -> Iterator[Slip]:
    total = float(car.weights.total)
    for corner, weight in car.weights.by_name().items():
        pad = float(weight)
        if pad < LEAST_PAD * total:
            meant = 10 * pad if 0.15 <= 10 * pad / (total + 9 * pad) <= 0.4 else None
            yield Slip(f"weights.{corner}", "pad", "weight", pad, meant, refused=True)
    given = any(f"weights.{corner}" not in car.assumed for corner in CORNERS)
    if not given or float(car.wheelbase) < FULL_SIZE:
        return
    per_pound = G / POUND
    if total < LIGHTEST:
        yield Slip("weights", "kilograms", "weight", total, total * per_pound)
    if total > HEAVIEST:
        yield Slip("weights", "pounds", "weight", total, total / per_pound)


def _heights(car: Car) -> Iterator[Slip]:
    height = float(car.cg_height)
    if height < LOWEST_CG:
        yield Slip("cg_height", "centimetres", "tape", height, height * 2.54)
    if height > HIGHEST_CG:
        yield Slip("cg_height", "high", "tape", height)


def _engine(car: Car) -> Iterator[Slip]:
    power = float(car.power)
    if power < LEAST_POWER and float(car.weights.total) > LIGHTEST:
        yield Slip("power", "weak", "power", power, 10 * power)
    if power > MOST_POWER:
        yield Slip("power", "strong", "power", power, power / 10)


def track_slips(track: Track) -> list[Slip]:
    """What is doubtful about a track, its numbers scalar."""
    slips = []
    straight, width = float(track.straight), float(track.width)
    radius = max(float(one) for one in track.inside_radius)
    if radius < LEAST_RADIUS_SHARE * straight:
        slips.append(Slip("inside_radius", "metres", "length", radius, float(feet(radius))))
    if radius > ROUND_RADIUS and radius > ROUND_SHARE * straight > 0:
        slips.append(Slip("inside_radius", "diameter", "length", radius, radius / 2))
    if width < NARROWEST and "width" not in track.assumed:
        slips.append(Slip("width", "metres", "length", width, float(feet(width))))
    return slips


def rack_slips(rack: "Rack") -> list[Slip]:
    """What is doubtful about the tapings of a rack."""
    slips: list[Slip] = []
    if not rack.tires:
        return slips
    middle = float(np.median([one.mean for tire in rack.tires for one in tire.tapings]))
    for i, tire in enumerate(rack.tires):
        for one in tire.tapings:
            near = [b for a in one.readings for b in _swapped(a) if abs(b - middle) < 6 * INCH]
            if one.mean < LEAST_ROLLOUT:
                found = Slip(f"tires.{i}", "height", "tape", one.mean, math.pi * one.mean)
                slips.append(found)
            elif abs(one.mean - middle) > 10 * INCH and near:
                slips.append(Slip(f"tires.{i}", "swapped", "tape", one.mean, near[0]))
    return slips


def run_slips(
    when: datetime, laps: Iterable[float | None] = (), staggers: Iterable[float | None] = ()
) -> list[Slip]:
    """What is refused or doubtful about a run to write down: its day, lap times (s), staggers (m).

    A run copied from old notes may be old; one of another century is a slip.

    Parameters
    ----------
    when : datetime
    laps : iterable of float
        s; None where not given.
    staggers : iterable of float
        m; None where not given.
    """
    slips = []
    if not OLDEST <= when.year <= datetime.now().year + FURTHEST_AHEAD:
        meant = when.year % 100 + 2000 if when.year < 2000 else None
        slips.append(Slip("when", "year", "year", when.year, meant, refused=True))
    for lap in laps:
        if lap is not None and lap > LONGEST_LAP:
            meant_lap = next((lap / d for d in (10, 100, 1000) if 9 <= lap / d <= 60), None)
            slips.append(Slip("best_lap", "lap", "time", lap, meant_lap, refused=True))
    found = (stagger_slip("stagger", one) for one in staggers if one is not None)
    return [*slips, *(one for one in found if one)]


def slip_text(slip: Slip) -> str:
    """A slip in words: what was found, why it is odd, and what was most likely meant."""
    found, likely = _shown(slip, slip.found), ""
    if slip.likely is not None:
        likely = f" ({_shown(slip, slip.likely)})"
    asks = "?" if likely else ""
    return f"{found}: {_REASONS[slip.code]}{likely}{asks}"


def _shown(slip: Slip, value: float) -> str:
    if slip.kind == "year":
        return f"{value:.0f}"
    if slip.kind == "tape":
        return Screen().tape_or_fine(value)
    unit = KINDS[slip.kind].trade
    return f"{value / KINDS[slip.kind].units[unit]:.4g} {unit}"
