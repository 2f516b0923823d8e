"""What the four wheels carry, station by station.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1, 2 (driveshaft torque) and 6.
.. [2] W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 18 (roll centres).
"""

import numpy as np

from rollpath.car import Car
from rollpath.corners import Corners
from rollpath.units import FloatArray, G, Real


def across(value: Real) -> FloatArray:
    """A number of a case, set beside the stations: shape () to (1,), (cases,) to (cases, 1).

    Parameters
    ----------
    value : float or ndarray, shape (cases,)
    """
    return np.asarray(value, dtype=float)[..., None]


def wheel_loads(
    car: Car, a_x: FloatArray, a_y: FloatArray, load: FloatArray, drive: Real = 0.0
) -> Corners[Real]:
    """Loads of the four wheels: static, lateral and longitudinal transfer, bank, driveshaft.

    Parameters
    ----------
    car : Car
    a_x, a_y : ndarray
        Acceleration along and across, in the plane of the road, m/s2.
    load : ndarray
        Load per unit mass square to the road, m/s2.
    drive : float or ndarray
        Force with which the rear axle drives, N.

    Returns
    -------
    Corners
        N. A wheel that would be pulled off the ground carries nothing and its neighbour on the
        axle all of it, so the load of each axle stands.

    Notes
    -----
    Steady, no springs in motion; what the unsprung parts weigh is taken with the body.
    """
    weights = car.weights
    pressed = load / G
    pitch = 0.5 * across(car.mass) * a_x * across(car.cg_height) / across(car.wheelbase)
    roll_f, roll_r = _roll(car, a_y)
    torque_f, torque_r = _driveshaft(car, drive)
    left_front, right_front = _axle_loads(
        across(weights.left_front) * pressed - pitch - roll_f - torque_f,
        across(weights.right_front) * pressed - pitch + roll_f + torque_f,
    )
    left_rear, right_rear = _axle_loads(
        across(weights.left_rear) * pressed + pitch - roll_r + torque_r,
        across(weights.right_rear) * pressed + pitch + roll_r - torque_r,
    )
    return Corners(left_front, right_front, left_rear, right_rear)


def _roll(car: Car, a_y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Load moved from the left to the right front and rear wheel by cornering, N [2]_.

    Through each roll centre goes ``m_axle a_y h_rc / T``; what is left of the moment about the
    line between the two is shared as the roll stiffnesses are.
    """
    heights = [across(height) for height in car.roll_center]
    rear = across(car.weights.rear_share)
    stiff, m, h = across(car.front_roll_share), across(car.mass), across(car.cg_height)
    held = [share * height for share, height in zip((1.0 - rear, rear), heights, strict=True)]
    arm = h - held[0] - held[1]
    front = m * a_y * (held[0] + stiff * arm) / across(car.front.track_width)
    back = m * a_y * (held[1] + (1.0 - stiff) * arm) / across(car.rear.track_width)
    return front, back


def _driveshaft(car: Car, drive: Real) -> tuple[Real, Real]:
    """Load moved on to the right front, and on to the left rear, by driveshaft torque, N [1]_.

    The torque F R / gear ratio turns the axle one way and the body the other. What the rear springs
    hand back from the body to the axle falls out; what remains is the front's share of it.
    """
    radius = across(car.rear.mean_rollout) / (2 * np.pi)
    torque = drive * radius / across(car.axle_ratio) * across(car.front_roll_share)
    return torque / across(car.front.track_width), torque / across(car.rear.track_width)


def _axle_loads(left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    axle = np.maximum(left + right, 0.0)
    left = np.clip(left, 0.0, axle)
    return left, axle - left
