"""How a receiver's position drifts: errors that are alike from one moment to the next.

A phone's position is off by 2 or 3 m, but it stays off in the same direction for a while. Taken as
independent from point to point such errors would make anything fitted to a log look far better
known than it is.

References
----------
.. [1] D. A. Harville, Maximum likelihood approaches to variance component estimation, Journal of
   the American Statistical Association 72 (1977) (restricted likelihood).
.. [2] C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, ch. 4
   (the exponential covariance of a drift that forgets).
.. [3] R. E. Kalman, A new approach to linear filtering and prediction problems, Journal of Basic
   Engineering 82 (1960).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.units import FloatArray

DRIFT_TIMES = np.array([4.0, 10.0, 25.0, 60.0, 150.0, 400.0])
"""Times over which the position error may forget itself, s."""
DRIFT_USUAL = 60.0
"""About how long a phone's position error lasts, s. Engineering judgement; what the log says
counts for more once it is some laps long."""
DRIFT_FACTOR = np.e
"""Two in three lie within this factor of it. Engineering judgement."""
WHITE_SHARES = np.array([1e-3, 0.03, 0.3])
"""Variance of the jitter that does not drift, as shares of the drift's."""


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
    covariance : ndarray, shape (unknowns, unknowns)
        Of the unknowns, averaged over what the drift may be.
    """

    sd: float
    time: float
    whitener: FloatArray
    covariance: FloatArray

    def whiten(self, rows: FloatArray) -> FloatArray:
        """Rows with independent errors of size one; einsum, because threads do not pay here."""
        whitened: FloatArray = np.einsum("ij,j...->i...", self.whitener, rows)
        return whitened


def find_drift(
    time: FloatArray,
    normal: FloatArray,
    r: FloatArray,
    J: FloatArray,
    known: FloatArray,
    run: float = 1.0,
) -> Drift:
    """The drift that makes these residuals likeliest, by restricted likelihood [1]_.

    The covariance of two distances off the line is ``sd^2 exp(-dt / time) cos(dn)``, dn the angle
    between the two normals: the errors in x and in y drift apart from each other [2]_.

    Parameters
    ----------
    time, normal, r : ndarray, shape (n,)
    J : ndarray, shape (n, unknowns)
    known : ndarray, shape (unknowns,)
        Information on each unknown from elsewhere.
    run : float
        How many recorded points each row is the mean of.

    Notes
    -----
    From one mean of m points to the next a drift moves less than it does from point to point m
    apart: for a random walk by 2/3 + 1 / (3 m^2) in variance. The variance found is put right.
    """
    n, unknowns = J.shape
    times, whites = (v.ravel() for v in np.meshgrid(DRIFT_TIMES, WHITE_SHARES))
    tracker = DriftTracker.over(time, normal, times, whites)
    rows = tracker.innovations(np.column_stack([J, r]))
    products = np.einsum("gni,gnj->gij", rows, rows)
    gram, moment = products[:, :-1, :-1], products[:, :-1, -1:]
    solved = np.linalg.solve(gram + 1e-9 * np.eye(unknowns), moment)
    left = products[:, -1, -1] - np.einsum("gij,gij->g", moment, solved)
    variance = np.maximum(left, 1e-12) / (n - unknowns)
    likelihood = -0.5 * (
        (n - unknowns) * np.log(variance) + tracker.log_determinant + _log_determinant(gram)
    )
    likelihood -= 0.5 * (np.log(times / DRIFT_USUAL) / np.log(DRIFT_FACTOR)) ** 2
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    variance = variance / (2 / 3 + 1 / (3 * run**2))
    best = int(np.argmax(likelihood))
    sd = float(np.sqrt(variance[best]))
    alone = DriftTracker.over(time, normal, times[[best]], whites[[best]])
    return Drift(
        sd,
        float(times[best]),
        alone.innovations(np.eye(n))[0] / sd,
        _averaged_covariance(weight, gram, moment, variance, known),
    )


def _averaged_covariance(
    weight: FloatArray,
    gram: FloatArray,
    moment: FloatArray,
    variance: FloatArray,
    known: FloatArray,
) -> FloatArray:
    """Covariance within each guess, and between what the guesses would make of the unknowns."""
    scale = variance[:, None, None]
    within = np.linalg.inv(gram / scale + np.diag(known))
    step = np.einsum("gij,gj->gi", within, moment[:, :, 0] / variance[:, None])
    apart = step - weight @ step
    total: FloatArray = np.einsum("g,gij->ij", weight, within)
    total += np.einsum("g,gi,gj->ij", weight, apart, apart)
    return total


def _log_determinant(matrices: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.slogdet(matrices + 1e-9 * np.eye(matrices.shape[-1]))[1])


@dataclass(frozen=True)
class DriftTracker:
    """A Kalman filter that follows a drift of size one through distances off a line.

    It does in n steps what a Cholesky factor of the (n, n) covariance does in n^3, and for all
    guesses of the drift at once [3]_.

    Attributes
    ----------
    facing : ndarray, shape (n, 2)
        The normals as unit vectors.
    kept : ndarray, shape (n, guesses)
        Share of the drift kept since the point before.
    gain : ndarray, shape (n, guesses, 2)
    variance : ndarray, shape (n, guesses)
        Of each distance, given those before.
    """

    facing: FloatArray
    kept: FloatArray
    gain: FloatArray
    variance: FloatArray

    @classmethod
    def over(
        cls, time: FloatArray, normal: FloatArray, drift_time: FloatArray, white: FloatArray
    ) -> "DriftTracker":
        """The filter of points with times and normals, for guesses of shape (guesses,)."""
        n, guesses = len(time), len(drift_time)
        facing = np.column_stack([np.cos(normal), np.sin(normal)])
        kept = np.exp(-np.abs(np.diff(time, prepend=time[0]))[:, None] / drift_time)
        gain, variance = np.empty((n, guesses, 2)), np.empty((n, guesses))
        P = np.broadcast_to(np.eye(2), (guesses, 2, 2))
        for i in range(n):
            forgotten = (kept[i] ** 2)[:, None, None]
            P = forgotten * P + (1.0 - forgotten) * np.eye(2)
            seen = P[:, :, 0] * facing[i, 0] + P[:, :, 1] * facing[i, 1]
            variance[i] = seen[:, 0] * facing[i, 0] + seen[:, 1] * facing[i, 1] + white
            gain[i] = seen / variance[i][:, None]
            P = P - gain[i][:, :, None] * seen[:, None, :]
        return cls(facing, kept, gain, variance)

    @property
    def log_determinant(self) -> FloatArray:
        total: FloatArray = np.log(self.variance).sum(axis=0)
        return total

    def innovations(self, rows: FloatArray) -> FloatArray:
        """Rows less what the drift so far foretells, of size one; (guesses, n, columns)."""
        n, columns = rows.shape
        out = np.empty((self.kept.shape[1], n, columns))
        x = np.zeros((len(out), columns))
        y = np.zeros_like(x)
        for i in range(n):
            x, y = x * self.kept[i][:, None], y * self.kept[i][:, None]
            new = rows[i] - self.facing[i, 0] * x - self.facing[i, 1] * y
            x, y = x + self.gain[i, :, :1] * new, y + self.gain[i, :, 1:] * new
            out[:, i] = new
        return out / np.sqrt(self.variance.T)[:, :, None]
