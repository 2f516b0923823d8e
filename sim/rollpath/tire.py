"""The tire: the brush's force for a slip in any direction, and how far a loaded tire rolls.

References
----------
.. [1] H. B. Pacejka, Tire and Vehicle Dynamics, ch. 3 (brush tire).
.. [2] R. N. Jazar, Vehicle Dynamics: Theory and Application, ch. 3: R_w = R_g - (R_g - R_h) / 3.
"""

import numpy as np

from rollpath.units import Real

# The brush tire: one normalised force curve for slip in any direction.


def brush_grip_used(slip: Real, mu: Real, slip_stiffness: Real) -> Real:
    """Share of the grip that a brush tire uses at a given slip.

    Parameters
    ----------
    slip : float or ndarray
        Length of the theoretical slip vector (tan alpha for pure side slip), not negative.
    mu : float or ndarray
        Grip: greatest force per unit load.
    slip_stiffness : float or ndarray
        Force per unit load and unit slip at zero slip, C.

    Returns
    -------
    float or ndarray
        Force / (mu N), 0 to 1: ``1 - (1 - C slip / (3 mu))^3``, 1 when all of it slides [1]_.

    Notes
    -----
    Isotropic: the same stiffness along and across, the force opposite the slip vector.
    """
    sticking = np.maximum(1.0 - slip_stiffness * slip / (3.0 * mu), 0.0)
    return 1.0 - sticking * sticking * sticking


def brush_force(
    slip_x: Real, slip_y: Real, load: Real, mu: Real, slip_stiffness: Real
) -> tuple[Real, Real]:
    """Force of a brush tire with slip along and across at once [1]_.

    Parameters
    ----------
    slip_x, slip_y : float or ndarray
        Theoretical slip: of the tread against the road over its rolling speed, driving positive,
        and to the left positive where the tire must push left.
    load : float or ndarray
        N.
    mu, slip_stiffness : float or ndarray
        Grip, and force per unit load and unit slip at zero slip.

    Returns
    -------
    along, across : float or ndarray
        N, in the direction of the slip; at most mu N.
    """
    slip = np.sqrt(slip_x**2 + slip_y**2 + 1e-24)
    per_slip = mu * load * brush_grip_used(slip, mu, slip_stiffness) / slip
    return per_slip * slip_x, per_slip * slip_y


def brush_slip(grip_used: Real, mu: Real, slip_stiffness: Real) -> Real:
    """Slip at which a brush tire uses a share of its grip; the inverse of `brush_grip_used`.

    Parameters
    ----------
    grip_used : float or ndarray
        u, from 0 to 1.
    mu : float or ndarray
        Grip.
    slip_stiffness : float or ndarray
        C, per unit of load.

    Returns
    -------
    float or ndarray
        As a share of distance; ``(3 mu / C) (1 - (1 - u)^(1/3))`` [1]_.
    """
    return 3.0 * mu / slip_stiffness * (1.0 - np.cbrt(1.0 - grip_used))


def lost_circumference(load: Real, spring_rate: Real, loaded_share: Real) -> Real:
    """How much less than its taped rollout a loaded tire rolls in one turn, m [2]_.

    Parameters
    ----------
    load : float or ndarray
        N.
    spring_rate : float
        Of the tire, N/m.
    loaded_share : float
        q, share of its deflection by which the rolling radius falls; see `typical.LOADED_SHARES`.
    """
    return 2 * np.pi * loaded_share * load / spring_rate
