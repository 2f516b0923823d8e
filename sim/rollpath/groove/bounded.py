"""The least of a function between bounds, by steps that know where the bounds hold.

References
----------
.. [1] D. P. Bertsekas, Projected Newton methods for optimization problems with simple constraints,
   SIAM J. Control and Optimization 20 (1982).
"""

import numpy as np
from numpy.typing import NDArray

from rollpath.units import FloatArray

MOST_STEPS = 60
"""For a quadratic; as many as bounds change hands, a dozen is usual."""
ENOUGH = 1e-4
"""Share of what a step promises that it must give (Armijo)."""
SHORTEST_SHARE = 1e-6
NO_MOVE = 1e-10
"""m."""


def held(x: FloatArray, slope: FloatArray, least: float, most: float) -> NDArray[np.bool_]:
    """True where a bound holds: at one, and the slope presses against it.

    Parameters
    ----------
    x, slope : ndarray, shape (n,)
        Places, and how fast what is made small rises there.
    least, most : float
        Bounds of every place.
    """
    pressed: NDArray[np.bool_] = ((x <= least) & (slope > 0)) | ((x >= most) & (slope < 0))
    return pressed


def least_quadratic(
    H: FloatArray, slope: FloatArray, start: FloatArray, least: float, most: float
) -> FloatArray:
    """Where ``slope (x - start) + (x - start) H (x - start) / 2`` is least between bounds [1]_.

    Parameters
    ----------
    H : ndarray, shape (n, n)
        Positive definite.
    slope, start : ndarray, shape (n,)
        `start` lies between the bounds; the nearer to the answer the quicker.
    least, most : float

    Returns
    -------
    ndarray, shape (n,)
    """
    x, here, value = start, slope, 0.0
    for _ in range(MOST_STEPS):
        free = ~held(x, here, least, most)
        if not free.any():
            break
        step = np.zeros_like(x)
        step[free] = -np.linalg.solve(H[np.ix_(free, free)], here[free])
        share = 1.0
        while True:
            moved = np.clip(x + share * step, least, most)
            there = slope + H @ (moved - start)
            new = float(0.5 * (slope + there) @ (moved - start))
            if new <= value + ENOUGH * here @ (moved - x) or share < SHORTEST_SHARE:
                break
            share *= 0.5
        gone = np.max(np.abs(moved - x))
        x, here, value = moved, there, new
        if gone < NO_MOVE:
            break
    return x
