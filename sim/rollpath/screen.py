"""SI out to people and programs: the only place that knows what unit is shown.

What a person reads goes out through `Screen`; what a program reads through the plain converters
(`inches`, `feet`, ...), whose names end the keys of JSON.
"""

import math
from dataclasses import dataclass

import numpy as np

from rollpath.units import (
    DEGREE,
    FAHRENHEIT,
    FOOT,
    HP,
    INCH,
    KINDS,
    MPH,
    POUND,
    PSI,
    ZERO_CELSIUS,
    FloatArray,
    Real,
    nearest_eighth,
)

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


def pounds_per_inch(newtons_per_metre: Real) -> Real:
    return newtons_per_metre * INCH / POUND


def inches_per_psi(metres_per_pascal: Real) -> Real:
    return metres_per_pascal * PSI / INCH


def eighths(metres: Real) -> str:
    """A length as a racer tapes it: inches to the nearest 1/8, such as ``2 1/8``."""
    return in_eighths(float(metres) / INCH)


def in_eighths(number: float) -> str:
    """A number to the nearest 1/8, such as ``2 1/8``."""
    count = round(number * 8.0)
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
    """A key with its trade unit at the end, and SI values of a kind in that unit.

    Parameters
    ----------
    key : str
        Without a unit.
    kind : str
        A key of `units.KINDS`.
    values : ndarray
        SI.
    """
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
    """How results are shown to a person.

    Attributes
    ----------
    system : str
        ``us`` trade units or ``si``.
    width : int
        Columns of the terminal.
    full : bool
        Whether the reasons are told too, and not the answer alone.
    laid : bool
        False for a page, which lays lines out itself: they stay whole, as `show.words.pieces`
        reads them.
    """

    system: str = "us"
    width: int = 80
    full: bool = False
    laid: bool = True

    @property
    def is_si(self) -> bool:
        return self.system == "si"

    # Along the axes of pictures

    @property
    def length_unit(self) -> str:
        return "m" if self.is_si else "ft"

    def lengths(self, metres: Real) -> FloatArray:
        """Distances along a lap, in `length_unit`."""
        return np.asarray(metres) / (1.0 if self.is_si else FOOT)

    @property
    def stagger_unit(self) -> str:
        return "mm" if self.is_si else "in"

    def staggers(self, metres: Real) -> FloatArray:
        """Taped lengths, in `stagger_unit`."""
        return np.asarray(metres) / (1e-3 if self.is_si else INCH)

    @property
    def curvature_unit(self) -> str:
        return "1 / 100 m" if self.is_si else "1 / 100 ft"

    def curvatures(self, per_metre: Real) -> FloatArray:
        """Curvatures of a line, in `curvature_unit`."""
        return np.asarray(per_metre) * 100.0 * (1.0 if self.is_si else FOOT)

    @property
    def speed_unit(self) -> str:
        return "m/s" if self.is_si else "mph"

    def speeds(self, metres_per_second: Real) -> FloatArray:
        """Speeds, in `speed_unit`."""
        return np.asarray(metres_per_second) / (1.0 if self.is_si else MPH)

    @property
    def weight_unit(self) -> str:
        return "N" if self.is_si else "lb"

    def weights(self, newtons: Real) -> FloatArray:
        """Weights, in `weight_unit`."""
        return np.asarray(newtons) / (1.0 if self.is_si else POUND)

    @property
    def pressure_unit(self) -> str:
        return "kPa" if self.is_si else "psi"

    def unit_of(self, kind: str) -> str:
        """The unit in which `of_kind` shows a kind; nothing for a bare number."""
        if kind not in TRADE_UNITS:
            return ""
        return _SI_SYMBOLS.get(kind, TRADE_UNITS[kind]) if self.is_si else TRADE_UNITS[kind]

    def in_unit(self, values: Real, kind: str) -> FloatArray:
        """Quantities of any kind of `KINDS`, in `unit_of` it."""
        unit = self.unit_of(kind)
        return np.asarray(values) / (KINDS[kind].units[unit.lower()] if unit else 1.0)

    @property
    def moment_unit(self) -> str:
        return "N m" if self.is_si else "lb-ft"

    def moments(self, newton_metres: Real) -> FloatArray:
        """Moments, in `moment_unit`."""
        return np.asarray(newton_metres) / (1.0 if self.is_si else POUND * FOOT)

    # In words

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
        number, unit = float(self.in_unit(value, kind)), self.unit_of(kind)
        if not self.is_si or kind not in _SI_SYMBOLS:
            return f"{number:.6g} {unit}"
        return f"{float(f'{number:.4g}'):.10g} {unit}"

    def pressure(self, pascals: Real) -> str:
        if self.is_si:
            return f"{float(pascals) * 1e-3:.0f} kPa"
        return f"{round(float(pascals) / PSI, 1):g} psi"

    def growth(self, metres_per_pascal: Real) -> str:
        """How much a tire's rollout grows with its air."""
        if self.is_si:
            return f"{float(metres_per_pascal) * 1e6:.2f} mm per kPa"
        return f"{self.fine(metres_per_pascal * PSI)} per psi"

    def temperature(self, kelvins: Real) -> str:
        celsius = float(kelvins) - ZERO_CELSIUS
        if self.is_si:
            return f"{celsius:.0f} C"
        return f"{celsius / FAHRENHEIT + 32:.0f} F"


_SI_SYMBOLS = {
    "length": "m", "tape": "mm", "weight": "N", "stiffness": "N/mm", "roll stiffness": "N*m/rad",
    "power": "kW", "area": "m2", "speed": "m/s", "pressure": "kPa",
}  # fmt: skip
"""SI symbols as they are shown; `KINDS` knows them in lower case, as all that is typed is read."""


TRADE = Screen()
"""In trade units, 80 columns wide, the answer alone."""
