"""What changes the loads with the same tires: a spring swapped, and fuel burned off.

References
----------
.. [1] W. F. and D. L. Milliken, Race Car Vehicle Dynamics, ch. 16 (springs, wheel rates).
"""

from dataclasses import dataclass, replace

from rollpath.car import Car, Fuel
from rollpath.corners import CORNERS, Corners, only, sum_of
from rollpath.scales.twist import BiteError, Change, stance, stance_under
from rollpath.units import GALLON, POUND

UNSPRUNG = Corners(100 * POUND, 100 * POUND, 180 * POUND, 180 * POUND)
"""What of each corner's weight its spring does not carry. Engineering judgement: a front wheel with
hub and brake; half a live axle with its wheels."""
FUEL_WEIGHT = 6.2 * POUND / GALLON
"""Of racing gasoline, N/m3: 6.2 lb a US gallon. Common practice, no source."""


# A spring swapped


@dataclass(frozen=True)
class SpringSwap:
    """A spring of another rate and the same free length.

    Attributes
    ----------
    corner : str
    rate : float
        New, N/m; at the wheel in front.
    load : float
        What the spring carries, N.
    seat : float
        Height of the seat that puts ride height and pads back, m; negative for a stiffer spring.
    turns : float or None
        The same in jack turns; None without a jack thread.
    loads : Corners[float]
        Change of the pads with nothing put back, N.
    ride_heights : Corners[float]
        Change of the chassis height with nothing put back, m.
    """

    corner: str
    rate: float
    load: float
    seat: float
    turns: float | None
    loads: Corners[float]
    ride_heights: Corners[float]

    @property
    def bite_change(self) -> float:
        """Bite raised with nothing put back, N."""
        return self.loads.left_rear - self.loads.right_rear


def swap_spring(car: Car, corner: str, rate: float) -> SpringSwap:
    """What a spring of another rate does, and the turns that put the car back as it stood.

    A spring that carries P is P / k shorter than free, so at the same height and load the new one
    wants its seat P / k' - P / k higher.

    Parameters
    ----------
    car : Car
    corner : str
        One of `CORNERS`.
    rate : float
        Of the new spring at the wheel in front, of itself behind, N/m.

    Raises
    ------
    BiteError
        If the car has no springs.
    """
    if car.springs is None:
        raise BiteError("the car file has no springs")
    at = CORNERS.index(corner)
    old = float([*car.springs.front_wheel_rate, *car.springs.rear_rate][at])
    load = float(spring_loads(car)[at])
    seat = load / rate - load / old
    rates = [*car.springs.front_wheel_rate, *car.springs.rear_rate]
    rates[at] = rate
    swapped = replace(
        car.springs, front_wheel_rate=(rates[0], rates[1]), rear_rate=(rates[2], rates[3])
    )
    # With nothing put back the seat stands that much too low.
    left = stance(replace(car, springs=swapped), Change(spacers=only(corner, -seat)))
    return SpringSwap(
        corner, rate, load, seat,
        turns=None if car.jack_thread is None else seat / car.jack_thread,
        loads=left.loads.map(float), ride_heights=left.ride_heights.map(float),
    )  # fmt: skip


def spring_loads(car: Car) -> Corners[float]:
    """What each spring carries, N: the pads less what is unsprung.

    The rear springs stand on the axle nearer together than the tires, so that a difference of
    the pads is a larger one of the springs.
    """
    assert car.springs is not None
    lf, rf, lr, rr = (float(pad) - lost for pad, lost in zip(car.weights, UNSPRUNG, strict=True))
    spread = float(car.rear.track_width / car.springs.rear_base)
    middle, half = 0.5 * (lr + rr), 0.5 * (lr - rr) * spread
    return Corners(lf, rf, middle + half, middle - half)


# Fuel


@dataclass(frozen=True)
class FuelLoad:
    """Pads with a full cell at the green, and with an empty one, as at the checkered flag at worst.

    Attributes
    ----------
    green, checkered : Corners[float]
        Pads, N.
    """

    green: Corners[float]
    checkered: Corners[float]


def fuel_load(car: Car) -> FuelLoad | None:
    """Pads with a full and with an empty fuel cell; None without one, or without springs."""
    fuel = car.fuel
    if fuel is None or car.springs is None:
        return None
    weighed = 0.5 * fuel.capacity if fuel.on_scales is None else fuel.on_scales
    green, checkered = (
        sum_of(car.weights, _pads_of_fuel(car, fuel, float(there - weighed))).map(float)
        for there in (fuel.capacity, 0.0)
    )
    return FuelLoad(green, checkered)


def _pads_of_fuel(car: Car, fuel: Fuel, volume: float) -> Corners[float]:
    """Change of the pads when fuel is added, N; the springs share what acts off the middle."""
    x = float(0.5 * car.wheelbase - fuel.from_front_axle)
    put_on = stance_under(car, volume * FUEL_WEIGHT, x, float(fuel.left_of_centre))
    return put_on.loads.map(float)
