"""One number for each corner of the car, and what raising a corner does to the bite."""

from typing import NamedTuple

from rollpath.units import Real


class Corners(NamedTuple):
    """One number for each corner of the car."""

    left_front: Real = 0.0
    right_front: Real = 0.0
    left_rear: Real = 0.0
    right_rear: Real = 0.0


CORNERS = Corners._fields
NOTHING = Corners()
RAISES_BITE = Corners(-1.0, 1.0, 1.0, -1.0)
"""Whether bite rises (+1) or falls (-1) when this corner is raised by its tire, jack or spacer."""


def sum_of(a: Corners, b: Corners) -> Corners:
    return Corners(*(x + y for x, y in zip(a, b, strict=True)))


def only(corner: str, amount: Real) -> Corners:
    """An amount at one corner and nothing at the others."""
    return NOTHING._replace(**{corner: amount})
