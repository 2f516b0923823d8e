"""Typed text to SI: the only place, beside the screen, that knows a unit."""

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError

FloatArray: TypeAlias = NDArray[np.float64]
Real: TypeAlias = float | FloatArray

# Exact by definition (NIST SP 811, appendix B.8; 1959 yard and pound), checked against scipy.
INCH: float = 0.0254
EIGHTH: float = INCH / 8
"""What a racer reads off a tape."""
FOOT: float = 12 * INCH
YARD: float = 3 * FOOT
MILE: float = 1760 * YARD
G: float = 9.80665
POUND: float = 0.45359237 * G
"""One pound of weight, in newton."""
MPH: float = MILE / 3600
KNOT: float = 1852 / 3600
HP: float = 550 * FOOT * POUND
PSI: float = POUND / INCH**2
DEGREE: float = math.pi / 180
ZERO_CELSIUS: float = 273.15
FAHRENHEIT: float = 5 / 9
"""One degree Fahrenheit, in kelvin."""
_LENGTHS = {
    "in": INCH, "inch": INCH, "inches": INCH, '"': INCH,
    "ft": FOOT, "foot": FOOT, "feet": FOOT, "'": FOOT,
    "yd": YARD, "yds": YARD, "yard": YARD, "yards": YARD,
    "mile": MILE, "miles": MILE, "mi": MILE,
    "mm": 1e-3, "cm": 1e-2, "m": 1.0, "km": 1e3,
}  # fmt: skip
_FORCES = {
    "lb": POUND, "lbs": POUND, "lbf": POUND, "pound": POUND, "pounds": POUND,
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


GALLON = 231 * INCH**3
"""The US gallon, 231 cubic inches exactly (NIST Handbook 44, appendix C)."""
_POWERS = {"hp": HP, "kw": 1e3, "w": 1.0, "ps": 735.49875}
_ANGLES = {"deg": DEGREE, "degrees": DEGREE, "degree": DEGREE, "°": DEGREE, "rad": 1.0}
_SPEEDS = {
    "mph": MPH, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "kph": 1 / 3.6, "m/s": 1.0, "ft/s": FOOT,
    "knots": KNOT, "kt": KNOT,
}  # fmt: skip
_PRESSURES = {"psi": PSI, "kpa": 1e3, "bar": 1e5}
_ROTATIONS = {
    "rpm": math.pi / 30, "1/min": math.pi / 30, "rad/s": 1.0, "hz": 2 * math.pi,
}  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A kind of quantity.

    Attributes
    ----------
    article_name, example : str
        What to call it and how to write it.
    units : dict of str to float
        SI of one of each.
    trade : str
        The unit in which the trade writes it.
    bare : bool
        Whether the trade knows only that one, so that a number alone is read in it.
    """

    article_name: str
    example: str
    units: dict[str, float]
    trade: str
    bare: bool = False


KINDS: dict[str, Kind] = {
    "length": Kind("a length", "320 ft", _LENGTHS, "ft"),
    "tape": Kind("a taped length", "86 3/8 in", _LENGTHS, "in", bare=True),
    "weight": Kind("a weight", "812 lb", _FORCES, "lb", bare=True),
    "stiffness": Kind("a spring rate", "190 lb/in", _STIFFNESSES, "lb/in"),
    "roll stiffness": Kind("a bar rate", "900 lb*in/deg", _ROLL_STIFFNESSES, "lb*in/deg"),
    "power": Kind("a power", "340 hp", _POWERS, "hp"),
    "area": Kind("an area", "19 ft2", {"ft2": FOOT**2, "sqft": FOOT**2, "m2": 1.0}, "ft2"),
    "angle": Kind("an angle", "12 deg", _ANGLES, "deg"),
    "speed": Kind("a speed", "62 mph", _SPEEDS, "mph"),
    "pressure": Kind("a pressure", "18 psi", _PRESSURES, "psi", bare=True),
    "temperature": Kind("a temperature", "85 F", {}, "F", bare=True),
    "time": Kind("a time", "17.84 s", _TIMES, "s", bare=True),
    "rotation": Kind("an engine speed", "6400 rpm", _ROTATIONS, "rpm"),
    "volume": Kind("a volume", "22 gal", {"gal": GALLON, "l": 1e-3, "m3": 1.0}, "gal"),
    "share": Kind("a share", "40 pct", {"%": 0.01, "percent": 0.01, "pct": 0.01}, "pct"),
    "turns": Kind("jack turns", "1 1/2 turns", {"turn": 1.0, "turns": 1.0}, "turns", bare=True),
}
_FRACTION = r"\d+\s*/\s*\d+"
_NUMBER = rf"(?:\d+[\s-]+{_FRACTION}|{_FRACTION}|(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)"
_UNIT = r"\"|'|°|[a-z]+(?:[*/][a-z]+)*(?:2(?![a-z0-9]))?\.?"
_PART = re.compile(rf"({_NUMBER})\s*({_UNIT})", re.ASCII)
_JOINT = re.compile(r"\s*[-,]?\s*(?=[\d.])", re.ASCII)
"""What may stand between feet and inches."""
_BARE = re.compile(rf"[+-]?\s*{_NUMBER}", re.ASCII)
_LONGEST = 80
"""Longest quantity worth reading, in characters (engineering judgement)."""
_PARTS = {
    "half": 2, "halves": 2, "third": 3, "quarter": 4, "fifth": 5, "eighth": 8, "tenth": 10,
    "sixteenth": 16,
}  # fmt: skip
_COUNTS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "seven": 7}
_SPELLED = re.compile(
    rf"(?:({'|'.join(_COUNTS)})[ -]+)?({'|'.join(_PARTS)})(s?)(?:[ -]+(?:of[ -]+)?(?:an?[ -]+)?|$)"
)
"""A fraction in words, such as ``three eighths``, and what may follow it before its unit."""
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?:,\d{3})+(?![\d,])", re.ASCII)


class QuantityError(RollpathError):
    """A quantity that cannot be read; the message says what was expected and what was found."""


def parse(text: object, kind: str) -> float:
    """Read one quantity with its unit.

    Parameters
    ----------
    text : object
        What was typed, such as ``85 5/8 in``, ``85-5/8"``, ``6ft-9in``, ``2226 mm``, ``1/4 mile``.
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
    if kind == "temperature":
        return parse_temperature(text)
    wanted = KINDS[kind]
    expected = f'expected {wanted.article_name} such as "{wanted.example}"'
    shown = f'got "{shorten(str(text))}"'
    cleaned = _clean(str(text))
    if len(cleaned) > _LONGEST:
        raise QuantityError(f"{expected}, {shown}")
    cleaned = _spelled_out(cleaned, wanted)
    if _BARE.fullmatch(cleaned):
        if not wanted.bare:
            raise QuantityError(f"{expected}, with its unit, {shown}")
        cleaned = f"{cleaned} {wanted.trade}"
    sign = -1.0 if cleaned.startswith("-") else 1.0
    total = _sum_of_parts(re.sub(r"^[+-]\s*", "", cleaned), wanted.units)
    if total is None or not math.isfinite(total):
        raise QuantityError(f"{expected}, {shown}")
    return sign * total


def is_bare(text: str) -> bool:
    """Whether what was typed is a number alone, such as ``86 3/8``."""
    return len(text) <= _LONGEST and _BARE.fullmatch(_clean(text)) is not None


def is_unit(text: str) -> bool:
    """Whether what was typed is a unit alone, such as ``in``."""
    word = _clean(text).removesuffix(".")
    return any(word in kind.units for kind in KINDS.values())


def with_unit(text: str, kind: str) -> str:
    """What was typed, with the unit that a number alone is read in."""
    return f"{text.strip()} {KINDS[kind].trade}" if is_bare(text) and KINDS[kind].bare else text


def parse_per_turn(text: object) -> float:
    """Read the thread of a jack, such as ``1 in per 12 turns``, as metres per turn.

    Parameters
    ----------
    text : str
    """
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
    """Read a temperature, such as ``85 F`` or ``30 C``, as kelvin; a number alone is F."""
    match = re.fullmatch(
        r"([+-]?[\d.]+)\s*(?:deg(?:rees)?\s*|°\s*)?([fck]?)", _clean(str(text)), re.ASCII
    )
    try:
        if match is None:
            raise QuantityError
        degrees_read, scale = float(match[1]), match[2] or "f"
        if scale == "k":
            return degrees_read
        if scale == "f":
            degrees_read = (degrees_read - 32.0) * FAHRENHEIT
        return degrees_read + ZERO_CELSIUS
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


def _spelled_out(text: str, wanted: Kind) -> str:
    """Numbers of a thousand and more without commas, and fractions in words as figures.

    A track is ``a three eighths``: of a mile, where a length has no other unit.
    """
    text = _THOUSANDS.sub(lambda match: match[0].replace(",", ""), text)
    spelled = _SPELLED.match(text)
    if spelled is None or (spelled[3] and not spelled[1]):
        return re.sub(r"^an? +(?=[\d.])", "", text)
    unit = text[spelled.end() :] or ("mile" if wanted.trade == "ft" else "")
    return f"{_COUNTS[spelled[1] or 'a']}/{_PARTS[spelled[2]]} {unit}".strip()


def shorten(text: str, longest: int = 40) -> str:
    """What was typed, fit to be told in one line: printable and not too long."""
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def _sum_of_parts(text: str, units: dict[str, float]) -> float | None:
    """Add up parts such as ``6 ft 9 in``, largest unit first; None when any of it is not one."""
    total, at, smallest = 0.0, 0, math.inf
    while at < len(text):
        match = _PART.match(text, at)
        unit = units.get(match[2].removesuffix(".")) if match else None
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


def of_inches(count: Real) -> Real:
    """A length of so many inches, m.

    Parameters
    ----------
    count : float or ndarray
        in.
    """
    return count * INCH


def of_psi(count: Real) -> Real:
    """A pressure of so many pounds per square inch, Pa.

    Parameters
    ----------
    count : float or ndarray
        psi.
    """
    return count * PSI


def per_inch(amount: Real) -> Real:
    """What is given for each inch, for each metre.

    Parameters
    ----------
    amount : float or ndarray
        Any unit, per inch.
    """
    return amount / INCH


def per_psi(amount: Real) -> Real:
    """What is given for each pound per square inch, for each pascal.

    Parameters
    ----------
    amount : float or ndarray
        Any unit, per psi.
    """
    return amount / PSI


def nearest_eighth(metres: Real) -> Real:
    """A length rounded to the nearest 1/8 in, still in metres.

    Parameters
    ----------
    metres : float or ndarray
    """
    return np.round(metres / INCH * 8.0) / 8.0 * INCH
