"""Typed text to SI: the only place, beside the screen, that knows a unit."""

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import constants

from rollpath.errors import RollpathError

FloatArray: TypeAlias = NDArray[np.float64]
Real: TypeAlias = float | FloatArray
INCH: float = constants.inch
EIGHTH: float = constants.inch / 8
"""What a racer reads off a tape."""
FOOT: float = constants.foot
POUND: float = constants.lbf
"""One pound of weight, in newton."""
MPH: float = constants.mph
HP: float = constants.hp
DEGREE: float = constants.degree
PSI: float = constants.psi
G: float = constants.g
_LENGTHS = {
    "in": INCH, "inch": INCH, "inches": INCH, '"': INCH,
    "ft": FOOT, "foot": FOOT, "feet": FOOT, "'": FOOT,
    "yd": constants.yard, "mile": constants.mile, "miles": constants.mile, "mi": constants.mile,
    "mm": 1e-3, "cm": 1e-2, "m": 1.0, "km": 1e3,
}  # fmt: skip
_FORCES = {
    "lb": POUND, "lbs": POUND, "lbf": POUND, "pounds": POUND,
    "n": 1.0, "kn": 1e3, "kg": G, "kgf": G,
}  # fmt: skip
_STIFFNESSES = {
    "lb/in": POUND / INCH, "lbs/in": POUND / INCH, "lbf/in": POUND / INCH,
    "n/mm": 1e3, "n/m": 1.0, "kn/m": 1e3, "kg/mm": G * 1e3,
}  # fmt: skip
_ROLL_STIFFNESSES = {
    "lb*in/deg": POUND * INCH / DEGREE, "lb*ft/deg": POUND * FOOT / DEGREE,
    "n*m/deg": 1 / DEGREE, "n*m/rad": 1.0, "nm/deg": 1 / DEGREE, "nm/rad": 1.0,
}  # fmt: skip
_TIMES = {
    "s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3,
    "min": 60.0, "minutes": 60.0, "h": 3600.0,
}  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: what to call it, how to write it, and its units in SI."""

    article_name: str
    example: str
    units: dict[str, float]


KINDS: dict[str, Kind] = {
    "length": Kind("a length", "320 ft", _LENGTHS),
    "tape": Kind("a taped length", "87 5/8 in", _LENGTHS),
    "weight": Kind("a weight", "812 lb", _FORCES),
    "stiffness": Kind("a spring rate", "190 lb/in", _STIFFNESSES),
    "roll stiffness": Kind("a bar rate", "900 lb*in/deg", _ROLL_STIFFNESSES),
    "power": Kind("a power", "340 hp", {"hp": HP, "kw": 1e3, "w": 1.0, "ps": 735.49875}),
    "area": Kind("an area", "19 ft2", {"ft2": FOOT**2, "sqft": FOOT**2, "m2": 1.0}),
    "angle": Kind(
        "an angle",
        "12 deg",
        {"deg": DEGREE, "degrees": DEGREE, "degree": DEGREE, "°": DEGREE, "rad": 1.0},
    ),
    "speed": Kind(
        "a speed",
        "62 mph",
        {
            "mph": MPH,
            "km/h": constants.kmh,
            "kmh": constants.kmh,
            "kph": constants.kmh,
            "m/s": 1.0,
            "ft/s": FOOT,
            "knots": constants.knot,
            "kt": constants.knot,
        },
    ),
    "pressure": Kind("a pressure", "18 psi", {"psi": PSI, "kpa": 1e3, "bar": 1e5}),
    "time": Kind("a time", "17.84 s", _TIMES),
    "rotation": Kind(
        "an engine speed",
        "6400 rpm",
        {"rpm": math.pi / 30, "1/min": math.pi / 30, "rad/s": 1.0, "hz": 2 * math.pi},
    ),
    "share": Kind("a share", "40 pct", {"%": 0.01, "percent": 0.01, "pct": 0.01}),
    "turns": Kind("jack turns", "1 1/2 turns", {"turn": 1.0, "turns": 1.0}),
}
_FRACTION = r"\d+\s*/\s*\d+"
_NUMBER = rf"(?:\d+[\s-]+{_FRACTION}|{_FRACTION}|(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)"
_UNIT = r"\"|'|°|[a-z]+(?:[*/][a-z]+)*(?:2(?![a-z0-9]))?"
_PART = re.compile(rf"({_NUMBER})\s*({_UNIT})", re.ASCII)
_JOINT = re.compile(r"\s*[-,]?\s*(?=[\d.])", re.ASCII)
"""What may stand between feet and inches."""
_BARE = re.compile(rf"[+-]?\s*{_NUMBER}", re.ASCII)
_LONGEST = 80
"""Longest quantity worth reading, in characters (engineering judgement)."""


class QuantityError(RollpathError):
    """A quantity that cannot be read; the message says what was expected and what was found."""


def parse(text: object, kind: str) -> float:
    """Read one quantity with its unit.

    Parameters
    ----------
    text : object
        What was typed, such as ``87 5/8 in``, ``87-5/8"``, ``6ft-9in``, ``2226 mm``, ``1/4 mile``.
    kind : str
        A key of `KINDS`.

    Returns
    -------
    float
        The quantity in SI units.

    Raises
    ------
    QuantityError
        If there is no unit, a unit of another kind, or no number.
    """
    wanted = KINDS[kind]
    expected = f'expected {wanted.article_name} such as "{wanted.example}"'
    shown = f'got "{shorten(str(text))}"'
    cleaned = _clean(str(text))
    if len(cleaned) > _LONGEST:
        raise QuantityError(f"{expected}, {shown}")
    if _BARE.fullmatch(cleaned):
        raise QuantityError(f"{expected}, with its unit, {shown}")
    sign = -1.0 if cleaned.startswith("-") else 1.0
    total = _sum_of_parts(re.sub(r"^[+-]\s*", "", cleaned), wanted.units)
    if total is None or not math.isfinite(total):
        raise QuantityError(f"{expected}, {shown}")
    return sign * total


def parse_per_turn(text: object) -> float:
    """Read the thread of a jack, such as ``1 in per 12 turns``, as metres per turn."""
    match = re.fullmatch(r"(.+?)\s+per\s+([\d.]+\s+)?turns?", _clean(str(text)))
    try:
        if match is None:
            raise QuantityError
        turns = float(match[2] or 1.0)
        if turns <= 0:
            raise QuantityError
        return parse(match[1], "tape") / turns
    except ValueError:
        raise QuantityError(
            f'expected a thread such as "1 in per 12 turns", got "{shorten(str(text))}"'
        ) from None


def parse_temperature(text: object) -> float:
    """Read a temperature, such as ``85 F`` or ``30 C``, as kelvin."""
    match = re.fullmatch(r"([+-]?[\d.]+)\s*(?:deg\s*|°\s*)?([fck])", _clean(str(text)))
    try:
        if match is None:
            raise QuantityError
        degrees_read, scale = float(match[1]), match[2]
        if scale == "k":
            return degrees_read
        if scale == "f":
            degrees_read = (degrees_read - 32.0) * constants.degree_Fahrenheit
        return degrees_read + float(constants.zero_Celsius)
    except ValueError:
        raise QuantityError(
            f'expected a temperature such as "85 F", got "{shorten(str(text))}"'
        ) from None


def _clean(text: str) -> str:
    """Lower case, plain quotes, dashes and fractions, single spaces."""
    text = re.sub(r"([¼½¾⅛⅜⅝⅞])", r" \1", text)
    text = unicodedata.normalize("NFKC", text).replace("\u2044", "/")
    text = text.translate(str.maketrans("′’‘”“−–", "'''\"\"--")).replace("''", '"')
    return re.sub(r"\s+", " ", text).strip().lower()


def shorten(text: str, longest: int = 40) -> str:
    """What was typed, fit to be told in one line: printable and not too long."""
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def _sum_of_parts(text: str, units: dict[str, float]) -> float | None:
    """Add up parts such as ``6 ft 9 in``, largest unit first; None when any of it is not one."""
    total, at, smallest = 0.0, 0, math.inf
    while at < len(text):
        match = _PART.match(text, at)
        unit = units.get(match[2]) if match else None
        if match is None or unit is None or unit >= smallest:
            return None
        try:
            total += _number(match[1]) * unit
        except (ZeroDivisionError, OverflowError):
            return None
        joint = _JOINT.match(text, match.end())
        smallest, at = unit, joint.end() if joint else match.end()
    return total if at else None


def _number(text: str) -> float:
    mixed = re.fullmatch(r"(?:(\d+)[\s-]+)?(\d+)\s*/\s*(\d+)", text)
    if mixed is None:
        return float(text)
    return float(mixed[1] or 0) + int(mixed[2]) / int(mixed[3])


def nearest_eighth(metres: Real) -> Real:
    """A length rounded to the nearest 1/8 in, still in metres."""
    return np.round(metres / INCH * 8.0) / 8.0 * INCH
