"""Invented tracks and cars that several tests share."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import strategies as st
from rollpath import load_car, load_track
from rollpath.axle.rolling import needed_stagger
from rollpath.car import Axle, Car, Tire
from rollpath.corners import Corners
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import Groove
from rollpath.lap import solve_lap
from rollpath.stagger import Recommendation, recommend
from rollpath.track import Bank, Condition, Track, TrackError, check_track
from rollpath.units import DEGREE, FOOT, INCH, POUND
from scipy.optimize import brentq

ROOT = Path(__file__).parent.parent
TRACK_FILES = sorted((ROOT / "tracks").glob("*.yaml"))
CAR_FILES = sorted((ROOT / "cars").glob("*.yaml"))
DEMO_TRACKS = [load_track(path) for path in TRACK_FILES]
DEMO_CARS = [load_car(path) for path in CAR_FILES]
CONDITION_NAMES = ("heavy", "tacky", "rubbered", "slick")
GRIPPY = Condition("grippy", 1.0, 8.0, "middle")


@cache
def demo_track(name: str) -> Track:
    return next(track for track in DEMO_TRACKS if track.name == name)


@cache
def demo_car(name: str = "Number 31") -> Car:
    return next(car for car in DEMO_CARS if car.name == name)


def oval(radius, straight, *, second=None, width=45 * FOOT, bank=0.0, blend=60 * FOOT, bow=0.0):
    """A track; lengths in m, bank of the corners in rad."""
    ends = (radius, radius if second is None else second)
    return Track("oval", ends, straight, width, bow, Bank(bank), blend)


def shaped(lap_feet, ratio, *, width=42.0, bank=0.0, bow_share=0.0) -> Track:
    """An oval of a lap length on its middle, straights `ratio` times the inside radius; ft, deg."""

    def of(radius: float) -> Track:
        straight = ratio * radius * FOOT
        return oval(radius * FOOT, straight, width=width * FOOT, bank=bank * DEGREE,
                    bow=bow_share * straight)  # fmt: skip

    def excess(radius: float) -> float:
        return float(parallel_groove(of(radius), width * FOOT / 2).length) / FOOT - lap_feet

    return of(brentq(excess, 20.0, 600.0))


@cache
def laid(track_name: str, name: str, stations: int = 720) -> Groove:
    """A groove of a demo track for the demo car."""
    return make_groove(demo_track(track_name), name, demo_car().width, stations)


def wanted(track, car, condition, groove="middle", stations=720) -> Recommendation:
    """The recommendation alone, without the uncertainty that `baseline` also works out."""
    if isinstance(groove, str):
        groove = make_groove(track, groove, car.width, stations)
    lap = solve_lap(groove, car, track.condition(condition))
    return recommend(lap, needed_stagger(lap, car), car, track.condition(condition))


def spread_of_cars() -> list[Car]:
    """Light and heavy, narrow and wide, soft and stiff tires, small and large engines."""
    base = demo_car()
    weights = Corners(*(w * POUND for w in (588, 487, 684, 591)))
    narrow = Axle(54 * INCH, 76 * INCH, 78 * INCH)
    return [
        *DEMO_CARS,
        replace(base, name="strong", power=2.0 * base.power),
        replace(base, name="weak", power=0.5 * base.power),
        replace(base, name="tall", cg_height=24 * INCH),
        replace(base, name="soft", tire=Tire(0.7 * base.tire.spring_rate)),
        replace(base, name="light", weights=weights, springs=None),
        replace(base, name="narrow", rear=narrow, springs=None),
    ]  # fmt: skip


@st.composite
def ovals(draw, *, flat=False, bows=True, equal=False):
    """Any oval that `check_track` allows, wide enough for the demo cars."""
    radius = draw(st.floats(60, 400)) * FOOT
    second = radius if equal else radius * draw(st.floats(0.6, 1.0))
    straight = draw(st.floats(60, 900)) * FOOT
    bow = straight * draw(st.floats(0, 0.06)) if bows else 0.0
    bank = Bank() if flat else Bank(draw(st.floats(0, 25)) * DEGREE, draw(st.floats(0, 8)) * DEGREE)
    width = draw(st.floats(25, 60)) * FOOT
    track = Track("drawn", (radius, second), straight, width, bow, bank,
                  draw(st.floats(0, 120)) * FOOT)  # fmt: skip
    try:
        check_track(track)
    except TrackError:
        track = replace(track, bow=0.0, inside_radius=(radius, radius))
    return track


def one_case(thing, i):
    """One case of a track, car or condition whose fields are arrays."""
    if isinstance(thing, np.ndarray):
        return thing[i]
    if isinstance(thing, tuple):
        return tuple(one_case(part, i) for part in thing)
    if isinstance(thing, (Track, Car, Axle, Corners, Bank, Condition)) or hasattr(
        thing, "spring_rate"
    ):
        return replace(thing, **{name: one_case(value, i) for name, value in vars(thing).items()
                                 if name in thing.__dataclass_fields__})  # fmt: skip
    return thing
