"""Quantities in and out: the only place where units meet the code.

Everything inside Rollpath is SI. What a person types carries its unit and comes in through
`parse`; what a person reads goes out through `Screen`; what a program reads goes out through
the plain converters (`inches`, `feet`, ...). Factors come from `scipy.constants`.
"""

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import constants

FloatArray: TypeAlias = NDArray[np.float64]
Real: TypeAlias = float | FloatArray

INCH: float = constants.inch
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


class QuantityError(ValueError):
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


# Out to programs: SI in, the unit of the name out.


def inches(metres: Real) -> Real:
    return metres / INCH


def feet(metres: Real) -> Real:
    return metres / FOOT


def pounds(newtons: Real) -> Real:
    return newtons / POUND


def miles_per_hour(metres_per_second: Real) -> Real:
    return metres_per_second / MPH


def horsepower(watts: Real) -> Real:
    return watts / HP


def psi(pascals: Real) -> Real:
    return pascals / PSI


def pound_feet(newton_metres: Real) -> Real:
    return newton_metres / (POUND * FOOT)


def degrees(radians: Real) -> Real:
    return radians / DEGREE


def nearest_eighth(metres: Real) -> Real:
    """A length rounded to the nearest 1/8 in, still in metres."""
    return np.round(metres / INCH * 8.0) / 8.0 * INCH


def eighths(metres: Real) -> str:
    """A length as a racer tapes it: inches to the nearest 1/8, such as ``2 1/8``."""
    count = round(float(metres) / INCH * 8.0)
    sign = "-" if count < 0 else ""
    whole, rest = divmod(abs(count), 8)
    if not rest:
        return f"{sign}{whole}"
    common = math.gcd(rest, 8)
    fraction = f"{rest // common}/{8 // common}"
    return f"{sign}{whole} {fraction}" if whole else f"{sign}{fraction}"


TRADE_UNITS = {
    "length": "ft", "tape": "in", "weight": "lb", "stiffness": "lb/in",
    "roll stiffness": "lb*in/deg", "power": "hp", "area": "ft2", "angle": "deg",
    "speed": "mph", "pressure": "psi", "time": "s",
}  # fmt: skip
"""The unit in which the trade writes each kind of `KINDS`."""


def trade_values(key: str, kind: str, values: FloatArray) -> tuple[str, list[float]]:
    """A key with its trade unit at the end, and SI values of a kind in that unit."""
    name = key.replace(".", "_")
    if kind not in TRADE_UNITS:
        return name, [float(value) for value in values]
    unit = TRADE_UNITS[kind]
    ending = unit.replace("*", "_").replace("/", "_per_")
    return f"{name}_{ending}", [float(value) / KINDS[kind].units[unit] for value in values]


def _figure(value: Real, places: int, signed: bool = False) -> str:
    """A decimal figure; what rounds to nothing has no sign."""
    text = f"{float(value):{'+' if signed else ''}.{places}f}"
    return text.lstrip("+-") if float(text) == 0 else text


@dataclass(frozen=True)
class Screen:
    """How quantities are shown to a person: ``us`` trade units or ``si``."""

    system: str = "us"

    @property
    def is_si(self) -> bool:
        return self.system == "si"

    def tape(self, metres: Real, signed: bool = False) -> str:
        """A length that a racer would tape: nearest 1/8 in, or mm."""
        if self.is_si:
            return f"{_figure(float(metres) * 1e3, 0, signed)} mm"
        shown = eighths(metres)
        return f"{'+' if signed and shown[0] not in '-0' else ''}{shown} in"

    def fine(self, metres: Real, signed: bool = False) -> str:
        """A small length that is computed, not taped: hundredths of an inch, or tenths of a mm."""
        if self.is_si:
            return f"{_figure(metres * 1e3, 1, signed)} mm"
        return f"{_figure(metres / INCH, 2, signed)} in"

    def tape_or_fine(self, metres: Real) -> str:
        """A length as `tape` when it is a whole number of eighths, else as `fine`."""
        is_taped = abs(float(metres) - float(nearest_eighth(metres))) < 1e-6
        return self.tape(metres) if is_taped or self.is_si else self.fine(metres)

    @property
    def stagger_unit_length(self) -> float:
        """A round change of stagger to quote rates for: 1 in, or 10 mm."""
        return 0.01 if self.is_si else INCH

    def distance(self, metres: Real, places: int = 0) -> str:
        if self.is_si:
            return f"{_figure(float(metres), places + 1)} m"
        return f"{_figure(float(metres) / FOOT, places)} ft"

    def weight(self, newtons: Real, places: int = 0, signed: bool = False) -> str:
        if self.is_si:
            return f"{_figure(newtons, 0, signed)} N"
        return f"{_figure(newtons / POUND, places, signed)} lb"

    def weight_rate(self, newtons_per_metre: Real) -> str:
        """Bite against stagger: pounds per inch, or newtons per millimetre."""
        if self.is_si:
            return f"{float(newtons_per_metre) * 1e-3:.2f} N/mm"
        return f"{float(newtons_per_metre) * INCH / POUND:.1f} lb/in"

    def moment(self, newton_metres: Real, signed: bool = False) -> str:
        sign = "+" if signed else ""
        if self.is_si:
            return f"{float(newton_metres):{sign}.0f} N m"
        return f"{float(newton_metres) / (POUND * FOOT):{sign}.0f} lb-ft"

    def speed(self, metres_per_second: Real) -> str:
        if self.is_si:
            return f"{float(metres_per_second):.1f} m/s"
        return f"{float(metres_per_second) / MPH:.0f} mph"

    def power(self, watts: Real) -> str:
        return f"{float(watts) * 1e-3:.1f} kW" if self.is_si else f"{float(watts) / HP:.1f} hp"

    def whole_angle(self, radians: Real) -> str:
        return f"{float(radians) / DEGREE:.0f} deg"

    def angle(self, radians: Real, signed: bool = False) -> str:
        """Degrees in both systems: the trade and the SI brochure both use them."""
        return f"{_figure(radians / DEGREE, 1, signed)} deg"

    def of_kind(self, value: float, kind: str) -> str:
        """A quantity of any kind of `KINDS`, in its trade unit or in SI; a bare number for none.

        SI figures have four significant digits; a trade figure keeps its eighths of an inch.
        """
        if kind not in TRADE_UNITS:
            return f"{value:g}"
        unit = TRADE_UNITS[kind]
        if not self.is_si or kind not in _SI_SYMBOLS:
            return f"{value / KINDS[kind].units[unit]:.6g} {unit}"
        symbol = _SI_SYMBOLS[kind]
        shown = float(f"{value / KINDS[kind].units[symbol.lower()]:.4g}")
        return f"{shown:.10g} {symbol}"

    def pressure(self, pascals: Real) -> str:
        if self.is_si:
            return f"{float(pascals) * 1e-3:.0f} kPa"
        return f"{round(float(pascals) / PSI, 1):g} psi"

    def temperature(self, kelvins: Real) -> str:
        celsius = float(kelvins) - constants.zero_Celsius
        if self.is_si:
            return f"{celsius:.0f} C"
        return f"{celsius / constants.degree_Fahrenheit + 32:.0f} F"


_SI_SYMBOLS = {
    "length": "m", "tape": "mm", "weight": "N", "stiffness": "N/mm", "roll stiffness": "N*m/rad",
    "power": "kW", "area": "m2", "speed": "m/s", "pressure": "kPa",
}  # fmt: skip
"""SI symbols as they are shown; `KINDS` knows them in lower case, as all that is typed is read."""
