"""Tracks and cars made by hand, held to the ranges of their files."""

from typing import Any, TypeVar

import numpy as np

from rollpath.car import Car
from rollpath.compare import place_of
from rollpath.errors import RollpathError
from rollpath.files.cars import CAR_SCHEMA
from rollpath.files.schema import Entries, Field, Group, Schema, Several, Wanted
from rollpath.files.tracks import track_schema
from rollpath.track import Track, TrackError, check_track
from rollpath.units import INCH

Thing = TypeVar("Thing", Track, Car)


class HeldError(RollpathError):
    """A number of a track or a car that is out of the range of its file."""


def hold_track(track: Track) -> Track:
    """The track, when all its numbers could stand in a track file and make an oval.

    Raises
    ------
    HeldError
        Naming the first key out of range.
    track.TrackError
        If they make no oval.
    """
    _hold(track, "track", track_schema([]))
    try:
        check_track(track)
    except TrackError as error:
        raise TrackError(error.key, f"{error.key}: {error}") from None
    return track


def hold_car(car: Car) -> Car:
    """The car, when all its numbers could stand in a car file.

    Raises
    ------
    HeldError
        Naming the first key out of range.
    """
    _hold(car, "car", CAR_SCHEMA)
    low, high = car.stagger_window
    if not low < high:
        raise HeldError("car: stagger_window: expected the lower end first")
    return car


def _hold(thing: Thing, what: str, schema: Schema, inside: str = "") -> None:
    for key, wanted in schema.items():
        name = f"{inside}{key}"
        inner = wanted.schema if isinstance(wanted, Group) else wanted
        if isinstance(inner, Several | Entries):
            continue
        if isinstance(inner, Field):
            _hold_one(thing, what, name, inner)
        elif isinstance(inner, dict):
            _hold(thing, what, inner, f"{name}.")


def _hold_one(thing: Thing, what: str, name: str, wanted: Wanted) -> None:
    value = _found(thing, name)
    if not isinstance(wanted, Field) or value is None:
        return
    scale = INCH if name.startswith("bite_per_inch") else 1.0
    for one in value if isinstance(value, tuple) else (value,):
        if isinstance(one, str | bool) or one is None:
            continue
        numbers = np.asarray(one, dtype=float) * scale
        if not np.all((numbers >= wanted.least) & (numbers <= wanted.most)):
            raise HeldError(f"{what}: {name}: expected {wanted.range_text or 'another value'}")


def _found(thing: Any, name: str) -> Any:
    """What stands at a dotted key; None where there is no such thing."""
    for attribute in place_of(name):
        thing = getattr(thing, attribute, None)
    return thing
