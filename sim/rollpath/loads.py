"""What the four wheels carry, station by station.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1 and 6.
"""

import numpy as np

from rollpath.car import Car
from rollpath.corners import Corners
from rollpath.units import FloatArray, G, Real


def across(value: Real) -> FloatArray:
    """A number of a case, set beside the stations: shape () to (1,), (cases,) to (cases, 1)."""
    return np.asarray(value, dtype=float)[..., None]


def wheel_loads(car: Car, a_x: FloatArray, a_y: FloatArray, load: FloatArray) -> Corners[Real]:
    """Loads of the four wheels: static, lateral and longitudinal transfer, bank [2]_.

    Parameters
    ----------
    car : Car
    a_x, a_y : ndarray
        Acceleration along and across, in the plane of the road, m/s2.
    load : ndarray
        Load per unit mass square to the road, m/s2.

    Returns
    -------
    Corners
        N. A wheel that would be pulled off the ground carries nothing and its neighbour on the
        axle all of it, so the load of each axle stands.
    """
    weights, m, h = car.weights, across(car.mass), across(car.cg_height)
    share = across(car.front_roll_share)
    pressed = load / G
    pitch = 0.5 * m * a_x * h / across(car.wheelbase)
    moment = m * a_y * h
    roll_f = share * moment / across(car.front.track_width)
    roll_r = (1.0 - share) * moment / across(car.rear.track_width)
    left_front, right_front = _axle_loads(
        across(weights.left_front) * pressed - pitch - roll_f,
        across(weights.right_front) * pressed - pitch + roll_f,
    )
    left_rear, right_rear = _axle_loads(
        across(weights.left_rear) * pressed + pitch - roll_r,
        across(weights.right_rear) * pressed + pitch + roll_r,
    )
    return Corners(left_front, right_front, left_rear, right_rear)


def _axle_loads(left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    axle = np.maximum(left + right, 0.0)
    left = np.clip(left, 0.0, axle)
    return left, axle - left
