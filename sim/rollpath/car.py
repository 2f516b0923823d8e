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
from rollpath.units import FOOT, HP, INCH, POUND, G, Real

DEFAULT_CG_HEIGHT = 18 * INCH
"""Engineering judgement: a full-bodied dirt car sits between 16 and 20 in."""
DEFAULT_POWER = 300 * HP
"""Engineering judgement: a home-town class engine at the wheels."""
DEFAULT_DRAG_AREA = 18 * FOOT**2
"""Drag coefficient times frontal area. Engineering judgement: a boxy body, about 0.8 x 22 ft2."""
DEFAULT_WINDOW = (1 * INCH, 4 * INCH)
"""Common practice, no source."""
DEFAULT_TIRE_RATE = 1100 * POUND / INCH
"""Vertical rate of a racing tire at dirt pressures. Engineering judgement: 900 to 1,400 lb/in."""
DEFAULT_FRONT_ROLL_SHARE = 0.6
"""Share of the roll moment taken by the front when no springs are given. Engineering judgement."""
DEFAULT_STEERING_RATIO = 12.0
"""Turn of the steering wheel over turn of the front wheels. Engineering judgement: a quickened
steering box, 8 to 16."""
ROLLING_RESISTANCE = 0.025
"""Rolling drag per unit load on packed dirt (Gillespie ch. 4: 0.02 to 0.05 off pavement)."""
BODY_OVERHANG = 12 * INCH
"""Width of the body outside the wider track width, both sides together. Engineering judgement."""


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


@dataclass(frozen=True)
class Tire:
    """What is common to the four tires.

    Attributes
    ----------
    spring_rate : float
        Vertical rate, N/m.
    growth : float
        How much the rear stagger grows from cold taping to race temperature, m. The cold
        stagger to tape is the running one less this.
    """

    spring_rate: Real = DEFAULT_TIRE_RATE
    growth: Real = 0.0


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
    """A car as its file describes it; see design notes in DEVELOPERS.md for the YAML."""

    name: str
    wheelbase: Real
    front: Axle
    rear: Axle
    weights: Corners[Real]
    cg_height: Real = DEFAULT_CG_HEIGHT
    power: Real = DEFAULT_POWER
    drag_area: Real = DEFAULT_DRAG_AREA
    stagger_window: tuple[float, float] = DEFAULT_WINDOW
    tire: Tire = field(default_factory=Tire)
    bite_per_inch: BiteRates = field(default_factory=BiteRates)
    bite_per_turn: BiteRates = field(default_factory=BiteRates)
    springs: Springs | None = None
    jack_thread: float | None = None
    alike: Alike = field(default_factory=Alike)
    steering_ratio: Real = DEFAULT_STEERING_RATIO
    gear_ratio: float | None = None

    @property
    def mass(self) -> Real:
        return self.weights.total / G

    @property
    def width(self) -> Real:
        """Over the body, m."""
        return np.maximum(self.front.track_width, self.rear.track_width) + BODY_OVERHANG

    @property
    def front_roll_share(self) -> Real:
        """Share of the lateral load transfer taken by the front axle (Gillespie ch. 6)."""
        if self.springs is None:
            return DEFAULT_FRONT_ROLL_SHARE
        K_f, K_r = axle_roll_stiffness(self)
        return K_f / (K_f + K_r)


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
    k_t = car.tire.spring_rate
    return _series(front, k_t * T_f**2 / 2), _series(rear, k_t * T_r**2 / 2)


def _pair_roll_stiffness(k_left: Real, k_right: Real, base: Real) -> Real:
    """Two springs a base apart, the body free to heave: series of the two times base squared."""
    return _series(k_left, k_right) * base**2


def _series(a: Real, b: Real) -> Real:
    return a * b / (a + b)
