"""Scrub: how far the rear treads slide around a lap, and where."""

from dataclasses import dataclass

import numpy as np

from rollpath.axle.rolling import NeededStagger, tread_slip
from rollpath.lap import PHASES, Lap
from rollpath.units import FloatArray, Real


@dataclass(frozen=True)
class Scrub:
    """Scrub distance of a lap with one stagger, m; scalar or shape (cases,).

    Attributes
    ----------
    corners, straights : float
        Where the path turns more, or less, than the lap does on average.
    by_phase : dict
        The same total split over `lap.PHASES`.
    slip : ndarray, shape (n,) or (cases, n)
        Slip between the treads, share of distance; see `rolling.tread_slip`.
    """

    corners: Real
    straights: Real
    by_phase: dict[str, Real]
    slip: FloatArray

    @property
    def lap(self) -> Real:
        return self.corners + self.straights


def scrub_distance(lap: Lap, needed: NeededStagger, stagger: Real) -> Scrub:
    """Integral of |slip| ds around a lap, split.

    Parameters
    ----------
    lap : Lap
    needed : NeededStagger
    stagger : float or ndarray, shape (cases,)
        Rear stagger fitted, m.
    """
    slip = tread_slip(stagger, needed)
    slid = np.abs(slip) * lap.groove.ds
    turning = lap.groove.turning
    return Scrub(
        corners=_total(slid * turning),
        straights=_total(slid * ~turning),
        by_phase={name: _total(slid * (lap.phase == i)) for i, name in enumerate(PHASES)},
        slip=slip,
    )


def _total(stations: FloatArray) -> Real:
    total: FloatArray = stations.sum(axis=-1)
    return total[()]


def tire_slips(lap: Lap, slip: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How the slip between the treads falls on the left and on the right rear tire.

    Parameters
    ----------
    lap : Lap
    slip : ndarray
        Slip between the treads; see `rolling.tread_slip`.

    Returns
    -------
    left, right : ndarray
        Share of distance that each tread slides, right minus left being `slip`. Beside the thrust,
        the two must push alike and opposite, and a tire's push is its slip times its load (small
        slip of the brush tire), so the lighter tire slides more.
    """
    left, right = lap.wheels.left_rear, lap.wheels.right_rear
    axle = left + right
    return -slip * right / axle, slip * left / axle
