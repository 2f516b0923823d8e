"""Which tire may go where, and which differ within an axle."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rollpath.car import Car
from rollpath.corners import CORNERS
from rollpath.tires.rack import RackTire
from rollpath.units import FloatArray

IntArray = NDArray[np.int_]
BoolArray = NDArray[np.bool_]
CYCLES_UNLIKE = 10.0
"""Heat cycles apart that make two tires as unlike as another compound. Engineering judgement."""
FRONT, REAR = (0, 1), (2, 3)
"""Left and right of each axle in the order of `CORNERS`."""


# Which tire may go where


ALIKE = {"rear": (REAR,), "front": (FRONT,), "axles": (FRONT, REAR), "all": (FRONT, REAR)}
"""Axles whose two tires must be alike, by what a car file says."""


def may_go(car: Car, tire: RackTire, corner: int) -> bool:
    """Whether a tire by itself may go to a corner, an index of `CORNERS`."""
    return not bars(car, tire, corner)


def bars(car: Car, tire: RackTire, corner: int) -> str:
    """Why a tire by itself may not go to a corner; empty when it may.

    Parameters
    ----------
    car : Car
    tire : RackTire
    corner : int
        Index of `CORNERS`.
    """
    if tire.scrap:
        return "is marked scrap"
    if tire.cold is None:
        return "was never taped cold"
    if CORNERS[corner] not in tire.corners:
        return f"may not go on the {spoken_corner(CORNERS[corner])}"
    axle = FRONT if corner in FRONT else REAR
    for what, scope in car.alike.scopes.items():
        if axle in ALIKE[scope] and not getattr(tire, what):
            return f"has no {what} in the rack file, and the car file asks for it to be alike"
    return ""


def spoken_corner(corner: str) -> str:
    return corner.replace("_", " ")


def codes_of(tires: Sequence[RackTire], what: str) -> IntArray:
    """A number for each value of a text of the tires; equal where the text is.

    Parameters
    ----------
    tires : sequence of RackTire
    what : str
        ``compound`` or ``offset``.
    """
    codes: IntArray = np.unique([getattr(tire, what) for tire in tires], return_inverse=True)[1]
    return codes


def kind_of(car: Car, codes: dict[str, IntArray], left: IntArray) -> IntArray:
    """A number that front and rear pairs must share where all four tires are to be alike.

    Parameters
    ----------
    car : Car
    codes : dict of str to ndarray, shape (tires,)
        As `codes_of` has them.
    left : ndarray of int, shape (pairs,)
        The left tire of each pair, its place in the rack.
    """
    kind = np.zeros(len(left), dtype=int)
    for what, scope in car.alike.scopes.items():
        if scope == "all":
            kind = kind * (codes[what].max(initial=0) + 1) + codes[what][left]
    return kind


def traits_of(tires: Sequence[RackTire]) -> NDArray[np.object_]:
    """Compound, offset and heat cycles of tires, shape (tires, 3); None when not recorded."""
    rows = [(tire.compound or None, tire.offset or None, tire.heat_cycles) for tire in tires]
    return np.array(rows, dtype=object).reshape(-1, 3)


def unlike_points(left: NDArray[np.object_], right: NDArray[np.object_]) -> FloatArray:
    """How unlike pairs of tires are; what was not recorded counts as alike.

    Parameters
    ----------
    left, right : ndarray, shape (pairs, 3)
        As `traits_of` has them.
    """
    known = (left != None) & (right != None)  # noqa: E711
    differs = (left[:, :2] != right[:, :2]) & known[:, :2]
    total: FloatArray = differs.sum(axis=1).astype(float)
    both = known[:, 2]
    apart = np.abs(left[both, 2].astype(float) - right[both, 2].astype(float))
    total[both] += apart / CYCLES_UNLIKE
    return total
