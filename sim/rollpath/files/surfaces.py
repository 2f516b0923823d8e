"""Surfaces as they are typed: one by its name, or one between two, ``heavy to slick 60%``."""

import re

from rollpath.surface import mixed
from rollpath.track import CONDITIONS, Condition, Track
from rollpath.units import QuantityError, shorten

_BETWEEN = re.compile(r"(\w+) to (\w+) ([\d.]+) ?%")


def parts_of(text: str) -> tuple[tuple[str, ...], float | None]:
    """The surfaces that were typed, one or two, and the share of the way between two.

    Raises
    ------
    QuantityError
        If the share is none; whether the names are known is not looked at.
    """
    between = _BETWEEN.fullmatch(text)
    if between is None:
        return (text,), None
    try:
        share = float(between[3]) / 100
    except ValueError:
        share = -1.0
    if not 0.0 <= share <= 1.0:
        raise QuantityError(f'expected 0% to 100% of the way, got "{shorten(text)}"')
    return between.group(1, 2), share


def surface_named(typed: str) -> str:
    """A surface as it was typed, when it is one.

    Raises
    ------
    QuantityError
        With those there are.
    """
    plain = " ".join(typed.casefold().split())
    names, _ = parts_of(plain)
    for name in names:
        if name not in CONDITIONS:
            raise QuantityError(f'no surface "{shorten(name)}"; there are {", ".join(CONDITIONS)}')
    return plain


def surface_on(track: Track, typed: str) -> Condition:
    """What was typed as a surface of this track.

    Raises
    ------
    KeyError
        If neither the track nor `CONDITIONS` knows a name.
    QuantityError
    """
    if typed in track.conditions:
        return track.conditions[typed]
    names, share = parts_of(typed)
    if share is None:
        return track.condition(typed)
    return mixed(track.condition(names[0]), track.condition(names[1]), share, typed)
