"""What rolls: the car as it stands on its four scale pads, and the tire as a brush.

All fields are SI. Any numeric field may also be an array of shape (cases,), so that a sweep over
cars is the same call as one car.

References
----------
.. [1] H. B. Pacejka, Tire and Vehicle Dynamics, ch. 3 (brush model).
.. [2] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1 and 6 (axle loads, roll moments).
"""

from dataclasses import dataclass, field

import numpy as np

from rollpath.corners import Corners
from rollpath.typical import TYPICAL
from rollpath.units import INCH, G, Real

DEFAULT_WINDOW = (1 * INCH, 4 * INCH)
"""Common practice, no source."""
ROLLING_RESISTANCE = 0.025
"""Rolling drag per unit load on packed dirt (Gillespie ch. 4: 0.02 to 0.05 off pavement)."""
BODY_OVERHANG = 12 * INCH
"""Width of the body outside the wider track width, both sides together. Engineering judgement."""

BODY_ENDS = 76 * INCH
"""Length of the body outside the wheelbase, both ends together. Engineering judgement."""


@dataclass(frozen=True)
class Axle:
    """One axle: track width and the taped rollouts of its two tires, in metres."""

    track_width: Real
    left_rollout: Real
    right_rollout: Real

    @property
    def stagger(self) -> Real:
        """Right rollout minus left rollout."""
        return self.right_rollout - self.left_rollout

    @property
    def mean_rollout(self) -> Real:
        return 0.5 * (self.left_rollout + self.right_rollout)

    @property
    def half_track(self) -> Real:
        return 0.5 * self.track_width

    def with_stagger(self, stagger: Real) -> "Axle":
        """The axle with another stagger on the same mean rollout.

        Parameters
        ----------
        stagger : float or ndarray, shape (cases,)
            m.
        """
        mean, half = self.mean_rollout, 0.5 * stagger
        return Axle(self.track_width, mean - half, mean + half)


@dataclass(frozen=True)
class Tire:
    """What is common to the four tires.

    Attributes
    ----------
    spring_rate : float
        Vertical rate at the mean pressure of the axle, N/m.
    growth : float
        How much the rear stagger grows from cold taping to race temperature, m. The cold
        stagger to tape is the running one less this.
    air_share : float
        Share of the rate that grows with pressure.
    loaded_share : float
        Share of its deflection by which the rolling radius falls; see `typical.LOADED_SHARES`.
    """

    spring_rate: Real = TYPICAL["tire.spring_rate"].value
    growth: Real = TYPICAL["tire.growth"].value
    air_share: Real = TYPICAL["tire.air_share"].value
    loaded_share: Real = TYPICAL["tire.loaded_share"].value


@dataclass(frozen=True)
class BiteRates:
    """Bite change as found on the scales; positive numbers.

    Per stagger, N per m: bite falls by `rear` for each unit of rear stagger added and rises by
    `front` for each unit of front stagger added. Per jack, N per turn: bite rises with the left
    rear and the right front jack made longer, and falls with the other two.
    """

    rear: Real | None = None
    front: Real | None = None


@dataclass(frozen=True)
class Springs:
    """Springs and bars, SI.

    Attributes
    ----------
    front_wheel_rate : tuple of float
        Left and right front rate at the wheel, N/m.
    rear_rate : tuple of float
        Left and right rear spring rate, N/m.
    rear_base : float
        Distance between the rear springs on the axle, m.
    front_bar, rear_bar : float
        Roll bar rates, N m per rad of axle roll against chassis.
    """

    front_wheel_rate: tuple[Real, Real]
    rear_rate: tuple[Real, Real]
    rear_base: Real
    front_bar: Real = 0.0
    rear_bar: Real = 0.0


@dataclass(frozen=True)
class Fuel:
    """The fuel cell.

    Attributes
    ----------
    capacity : float
        m3.
    from_front_axle : float
        Middle of the cell behind the front axle, m.
    left_of_centre : float
        Middle of the cell left of the car's middle, m.
    on_scales : float or None
        What was in it when the pads of the file were read, m3; half of it when not recorded.
    """

    capacity: Real
    from_front_axle: Real
    left_of_centre: Real = 0.0
    on_scales: Real | None = None


@dataclass(frozen=True)
class Alike:
    """Tires that must be alike: each ``rear``, ``front``, ``axles`` (within each), ``all``, or
    empty where nothing is asked."""

    compound: str = ""
    offset: str = ""

    @property
    def scopes(self) -> dict[str, str]:
        """What must be alike, and where; only what is asked."""
        return {what: where for what, where in vars(self).items() if where}


@dataclass(frozen=True)
class Car:
    """A car as its file describes it.

    Attributes
    ----------
    roll_center : tuple of float
        Heights of the front and the rear one above the ground, m.
    roll_share : float
        Share of the roll stiffness that is the front's, where there are no springs to tell it.
    pressure : Corners, optional
        Of the tires, gauge, Pa; None takes both tires of an axle as equally hard.
    gear_ratio : float, optional
        Turns of the engine in one of the axle.
    assumed : frozenset of str
        Keys of the car file that were not given and are typical, such as ``cg_height`` or
        ``tire.air_share``.
    """

    name: str
    wheelbase: Real
    front: Axle
    rear: Axle
    weights: Corners[Real]
    cg_height: Real = TYPICAL["cg_height"].value
    power: Real = TYPICAL["power"].value
    drag_area: Real = TYPICAL["drag_area"].value
    stagger_window: tuple[float, float] = DEFAULT_WINDOW
    tire: Tire = field(default_factory=Tire)
    bite_per_inch: BiteRates = field(default_factory=BiteRates)
    bite_per_turn: BiteRates = field(default_factory=BiteRates)
    springs: Springs | None = None
    jack_thread: float | None = None
    alike: Alike = field(default_factory=Alike)
    steering_ratio: Real = TYPICAL["steering_ratio"].value
    gear_ratio: float | None = None
    fuel: Fuel | None = None
    roll_center: tuple[Real, Real] = (
        TYPICAL["roll_center.front"].value, TYPICAL["roll_center.rear"].value,
    )  # fmt: skip
    roll_share: Real = TYPICAL["springs"].value
    pressure: Corners[Real] | None = None
    assumed: frozenset[str] = frozenset()

    @property
    def mass(self) -> Real:
        return self.weights.total / G

    @property
    def width(self) -> Real:
        """Over the body, m."""
        return np.maximum(self.front.track_width, self.rear.track_width) + BODY_OVERHANG

    @property
    def length(self) -> Real:
        """From bumper to bumper, m."""
        return self.wheelbase + BODY_ENDS

    @property
    def axle_ratio(self) -> Real:
        """Turns of the driveshaft in one of the axle: the gear ratio, or a typical one."""
        return TYPICAL["gear_ratio"].value if self.gear_ratio is None else self.gear_ratio

    @property
    def front_roll_share(self) -> Real:
        """Share of the lateral load transfer taken by the front axle (Gillespie ch. 6)."""
        if self.springs is None:
            return self.roll_share
        K_f, K_r = axle_roll_stiffness(self)
        return K_f / (K_f + K_r)


def tire_rates(car: Car, added: Corners[Real] | None = None) -> Corners[Real]:
    """Vertical rate of each tire at its own pressure, N/m.

    ``k (1 - a + a p / p_mean)``: of the rate k at the mean pressure of the axle a share a follows
    pressure (the carcass carries the rest); linear, as a thin membrane's is.

    Parameters
    ----------
    car : Car
        Without `pressure` every tire has the one rate.
    added : Corners[float], optional
        Pressure added to what the car has now, Pa; the mean stays that of now.
    """
    k, a, now = car.tire.spring_rate, car.tire.air_share, car.pressure
    if now is None:
        return Corners.every(k)
    front, rear = 0.5 * (now.left_front + now.right_front), 0.5 * (now.left_rear + now.right_rear)
    means = Corners(front, front, rear, rear)
    then = now if added is None else now.with_each(added, lambda p, more: p + more)
    return then.with_each(means, lambda p, mean: k * (1 - a + a * p / mean))


def axle_roll_stiffness(car: Car) -> tuple[Real, Real]:
    """Roll stiffness of the front and the rear, springs and bar in series with the tires.

    Parameters
    ----------
    car : Car
        With `springs`.

    Returns
    -------
    K_f, K_r : float
        N m per rad.
    """
    springs = car.springs
    if springs is None:
        raise ValueError("this car has no springs in its file")
    T_f, T_r, base = car.front.track_width, car.rear.track_width, springs.rear_base
    front = _pair_roll_stiffness(*springs.front_wheel_rate, T_f) + springs.front_bar
    rear = _pair_roll_stiffness(*springs.rear_rate, base) + springs.rear_bar
    k_lf, k_rf, k_lr, k_rr = tire_rates(car)
    return (
        _series(front, _pair_roll_stiffness(k_lf, k_rf, T_f)),
        _series(rear, _pair_roll_stiffness(k_lr, k_rr, T_r)),
    )


def _pair_roll_stiffness(k_left: Real, k_right: Real, base: Real) -> Real:
    """Two springs a base apart, the body free to heave: series of the two times base squared."""
    return _series(k_left, k_right) * base**2


def _series(a: Real, b: Real) -> Real:
    return a * b / (a + b)
