"""The locked axle: what stagger lets it roll, where it rolls by itself, and how it slips.

On a bank b the wheels of an axle run on horizontal circles R -/+ t cos b, t half the track width,
so nothing slips when the rolling circumferences stand as those circles do. A loaded tire rolls on
less than its taped rollout.

References
----------
.. [1] R. Siegwart and I. Nourbakhsh, Introduction to Autonomous Mobile Robots, sec. 3.2
   (differential drive).
.. [2] F. J. Redtenbacher's law of the railway wheelset, in A. H. Wickens, Fundamentals of Rail
   Vehicle Dynamics, ch. 2: lateral shift y = e R_0 / (R lambda).
.. [3] R. N. Jazar, Vehicle Dynamics: Theory and Application, ch. 3: R_w = R_g - (R_g - R_h) / 3.
"""

from dataclasses import dataclass

import numpy as np

from rollpath.car import Car, tire_rates
from rollpath.lap import Lap
from rollpath.loads import across
from rollpath.tire import lost_circumference
from rollpath.units import FloatArray, Real


@dataclass(frozen=True)
class NeededStagger:
    """Static stagger with which nothing slips, station by station, m.

    Attributes
    ----------
    total : ndarray
        With the loads and the slide of the lap and the growth of the tires: what to tape cold.
    geometric : ndarray
        By the path alone.
    mean_rollout : ndarray
        Of the rear axle, m; shape (1,) or (cases, 1).
    """

    total: FloatArray
    geometric: FloatArray
    mean_rollout: FloatArray


def rolling_ratio(curvature: Real, half_track: Real, bank: Real = 0.0) -> Real:
    """Right over left rolling circumference with which a locked axle rolls without slip.

    Parameters
    ----------
    curvature : float or ndarray
        Horizontal curvature of the path of the axle's middle, 1/m, positive to the left.
    half_track : float
        t, m.
    bank : float or ndarray
        b, rad.

    Returns
    -------
    float or ndarray
        (R + t cos b) / (R - t cos b); the differential-drive law when flat [1]_.
    """
    reach = half_track * np.cos(bank) * curvature
    return (1.0 + reach) / (1.0 - reach)


def natural_curvature(
    left_circumference: Real, right_circumference: Real, half_track: Real, bank: Real = 0.0
) -> Real:
    """Curvature at which a locked axle rolls without slip; the inverse of `rolling_ratio`.

    Parameters
    ----------
    left_circumference, right_circumference : float or ndarray
        Of the two tires as they roll, m; the same unit for both is enough.
    half_track : float or ndarray
        t, m.
    bank : float or ndarray
        b, rad.

    Returns
    -------
    float or ndarray
        1/m, positive to the left; one over the natural radius.
    """
    difference = right_circumference - left_circumference
    return difference / ((left_circumference + right_circumference) * half_track * np.cos(bank))


def lost_circumferences(lap: Lap, car: Car) -> tuple[Real, Real]:
    """How much less than taped the left and the right rear tire roll in one turn on a lap, m [3]_.

    Each with its own rate at its own pressure, and the load it carries there.

    Parameters
    ----------
    lap : Lap
        Its wheel loads are used.
    car : Car

    Returns
    -------
    tuple of ndarray
        Left and right, at every station of the lap.
    """
    q = across(car.tire.loaded_share)
    _, _, left, right = tire_rates(car)
    return (
        lost_circumference(lap.wheels.left_rear, across(left), q),
        lost_circumference(lap.wheels.right_rear, across(right), q),
    )


def rolling_circumference(lap: Lap, car: Car) -> FloatArray:
    """Mean of how far the two rear tires roll in one turn under the loads of a lap, m.

    Parameters
    ----------
    lap : Lap
    car : Car

    Returns
    -------
    ndarray
        At every station of the lap.
    """
    c_L, c_R = lost_circumferences(lap, car)
    circumference: FloatArray = across(car.rear.mean_rollout) - 0.5 * (c_L + c_R)
    return circumference


def yaw_curvature(lap: Lap, car: Car) -> FloatArray:
    """How fast the car itself turns, per metre of path, 1/m, to the left positive.

    The nose points alpha to the left of the path, so ``d(heading)/ds = k + d(alpha)/ds``. A tail
    that comes back into line as the corner opens takes away from what the path turns. The change
    is taken over a wheelbase, within which no car changes its slide.

    Parameters
    ----------
    lap : Lap
        Its slip angle is what the car slides.
    car : Car
        Its wheelbase is used.

    Returns
    -------
    ndarray
        At every station of the lap.
    """
    groove = lap.groove
    n, shape = groove.ds.shape[-1], lap.slip_angle.shape
    half = np.broadcast_to(0.5 * across(car.wheelbase), (*shape[:-1], 1))
    hop = half * n / np.broadcast_to(groove.ds, shape).sum(axis=-1, keepdims=True)
    whole = np.floor(hop).astype(int)

    def at(stations: FloatArray, side: int) -> FloatArray:
        """Stations half a wheelbase ahead or behind, between two of them."""
        near, far = (
            np.take_along_axis(stations, (np.arange(n) + side * (whole + one)) % n, axis=-1)
            for one in (0, 1)
        )
        place: FloatArray = near + (hop - whole) * (far - near)
        return place

    turned = at(lap.slip_angle, 1) - at(lap.slip_angle, -1)
    curvature: FloatArray = groove.curvature + turned / (2.0 * half)
    return curvature


def needed_stagger(lap: Lap, car: Car, tire_load: bool = True) -> NeededStagger:
    """Static stagger that the locked rear axle needs at every station of a lap.

    Parameters
    ----------
    lap : Lap
    car : Car
        Its mean rear rollout is held.
    tire_load : bool
        False leaves out tire deflection and growth and the car's slide: the geometry alone.

    Notes
    -----
    With mean rollout M, reach x = t k cos b / cos alpha, k how fast the car turns and alpha its
    slip angle, and lost circumferences c_L and c_R the condition
    ``(M + S/2 - c_R) / (M - S/2 - c_L) = (1 + x) / (1 - x)`` gives
    ``S = 2 M x + c_R (1 - x) - c_L (1 + x)``.
    """
    groove = lap.groove
    M = across(car.rear.mean_rollout)
    half_track = across(car.rear.half_track)
    ratio = rolling_ratio(groove.curvature, half_track, groove.bank)
    geometric: FloatArray = 2.0 * M * (ratio - 1.0) / (ratio + 1.0)
    if not tire_load:
        return NeededStagger(geometric, geometric, M)
    x = half_track * np.cos(groove.bank) * yaw_curvature(lap, car) / np.cos(lap.slip_angle)
    c_L, c_R = lost_circumferences(lap, car)
    total = 2.0 * M * x + c_R * (1.0 - x) - c_L * (1.0 + x) - across(car.tire.growth)
    return NeededStagger(total, geometric, M)


def tread_slip(stagger: Real, needed: NeededStagger) -> FloatArray:
    """Slip between the two rear treads with a stagger fitted, as a share of distance.

    Positive: the right tire rolls further than its path asks, and steers the car left.

    Parameters
    ----------
    stagger : float or ndarray, shape (cases,)
        Taped cold, m.
    needed : NeededStagger

    Returns
    -------
    ndarray
        At every station of the lap.
    """
    return (across(stagger) - needed.total) / needed.mean_rollout
