"""How a receiver's position drifts: errors that are alike from one moment to the next.

A receiver's error stays alike for a while: taken as independent from point to point it would make
anything fitted look far better known than it is. The drift is found by restricted likelihood [1]_.

References
----------
.. [1] D. A. Harville, Maximum likelihood approaches to variance component estimation, Journal of
   the American Statistical Association 72 (1977).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.units import FloatArray

DRIFT_TIMES = np.array([3.0, 8.0, 20.0, 50.0, 120.0, 300.0])
"""Times over which the position error may forget itself, s."""
DRIFT_USUAL, DRIFT_FACTOR = 50.0, np.e
"""About how long it lasts, s, and within which factor two in three lie. Engineering judgement."""
DRIFT_SIZE, SIZE_FACTOR = 2.0, 2.0
"""About how large it is, m, and within which factor two in three lie. Engineering judgement."""
WHITE_SHARES = np.array([1e-3, 0.03, 0.3, 3.0])
"""Variance of the jitter that does not drift, as shares of the drift's."""
BETTER = 0.25
"""Residuals below this share of a phone's usual ones come from something better."""
FIT_WHITE = 0.1
"""Jitter, as a share of the drift's variance, that the oval is fitted with."""


@dataclass(frozen=True)
class Drift:
    """Noise of a receiver: an error in x and in y that forgets itself, and some jitter.

    Attributes
    ----------
    sd : float
        Standard deviation of the drift in each of x and y, m.
    time : float
        Time over which it forgets itself, s.
    whitener : ndarray, shape (n, n)
        Makes residuals independent and of size one.
    covariance : ndarray, shape (n, n)
        Of the residuals, averaged over what the drift may be, m^2.
    """

    sd: float
    time: float
    whitener: FloatArray
    covariance: FloatArray


def find_drift(
    time: FloatArray, normal: FloatArray, r: FloatArray, J: FloatArray, known: FloatArray
) -> Drift:
    """The drift that makes these residuals likeliest, by restricted likelihood [1]_.

    The covariance of two distances off the line is ``sd^2 exp(-dt / time) cos(dn)``, dn the angle
    between the two normals: the errors in x and in y drift apart from each other.

    Parameters
    ----------
    time, normal, r : ndarray, shape (n,)
    J : ndarray, shape (n, unknowns)
        Derivatives of r.
    known : ndarray, shape (unknowns, unknowns)
        Information on the unknowns from elsewhere.
    """
    n, unknowns = J.shape
    times, whites = (v.ravel() for v in np.meshgrid(DRIFT_TIMES, WHITE_SHARES))
    apart = np.abs(time[:, None] - time)
    facing = np.cos(normal[:, None] - normal)
    K = np.exp(-apart / times[:, None, None]) * facing + whites[:, None, None] * np.eye(n)
    root = np.linalg.cholesky(K)
    rows = np.linalg.solve(root, np.column_stack([J, r])[None])
    products = np.swapaxes(rows, 1, 2) @ rows
    # A little of what is known from elsewhere keeps what is not seen at all from being free.
    seen, moment = products[:, :-1, :-1], products[:, :-1, -1:]
    gram = seen + known * DRIFT_SIZE**2
    solved = np.linalg.solve(gram, moment)
    left = products[:, -1, -1] - np.einsum("gij,gij->g", moment, solved)
    variance = np.maximum(left, 1e-12) / (n - unknowns)
    logdet = 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    likelihood = -0.5 * ((n - unknowns) * np.log(variance) + logdet + np.linalg.slogdet(gram)[1])
    likelihood -= 0.5 * (np.log(times / DRIFT_USUAL) / np.log(DRIFT_FACTOR)) ** 2
    likelihood -= 0.5 * (0.5 * np.log(variance / DRIFT_SIZE**2) / np.log(SIZE_FACTOR)) ** 2
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    best = int(np.argmax(likelihood))
    sd = float(np.sqrt(variance[best]))
    whitener = np.linalg.solve(root[best], np.eye(n)) / sd
    covariance = np.einsum("g,gij->ij", weight * variance, K)
    return Drift(sd, float(times[best]), whitener, covariance)


def whitener_of(
    time: FloatArray, normal: FloatArray, forget: float, r: FloatArray | None = None
) -> FloatArray:
    """The whitener that the oval is fitted with: a drift that lasts `forget`, whatever it was.

    A long drift taken at its word puts all trust in how the track bends from one moment to the
    next, where blends and a receiver's own smoothing sit, and little in where the laps lie.
    """
    K = np.exp(-np.abs(time[:, None] - time) / forget) * np.cos(normal[:, None] - normal)
    K = DRIFT_SIZE**2 * (K + FIT_WHITE * np.eye(len(time)))
    white: FloatArray = np.linalg.solve(np.linalg.cholesky(K), np.eye(len(time)))
    if r is None:
        return white
    # A log better than a phone's counts for more beside what is usual of ovals.
    return white / float(np.clip(np.sqrt(np.mean((white @ r) ** 2)) / BETTER, 1e-3, 1.0))
