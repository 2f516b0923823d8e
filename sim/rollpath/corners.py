"""One thing for each corner of the car: weights, rollouts, turns, tires.

Nothing else in the package holds four of something.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from rollpath.units import Real

T_co = TypeVar("T_co", covariant=True)
U = TypeVar("U")
V = TypeVar("V")


@dataclass(frozen=True)
class Corners(Generic[T_co]):
    """One thing for each corner, in the order of the scale pads.

    Of weights (N) or of any other numbers the properties below hold; a number may be an array of
    stations or of cases.
    """

    left_front: T_co
    right_front: T_co
    left_rear: T_co
    right_rear: T_co

    @classmethod
    def every(cls, thing: T_co) -> "Corners[T_co]":  # type: ignore[misc]
        """The same thing at every corner."""
        return cls(thing, thing, thing, thing)

    def __iter__(self) -> Iterator[T_co]:
        yield self.left_front
        yield self.right_front
        yield self.left_rear
        yield self.right_rear

    def __len__(self) -> int:
        return 4

    def __getitem__(self, at: int) -> T_co:
        """By place in the order of the scale pads; lets numpy make an array of four numbers."""
        return (self.left_front, self.right_front, self.left_rear, self.right_rear)[at]

    def map(self, function: Callable[[T_co], U]) -> "Corners[U]":
        """What a function makes of each."""
        return Corners(*(function(one) for one in self))

    def with_each(self, other: "Corners[U]", function: Callable[[T_co, U], V]) -> "Corners[V]":
        """What a function makes of each and the other's at the same corner."""
        return Corners(*(function(a, b) for a, b in zip(self, other, strict=True)))

    def by_name(self) -> dict[str, T_co]:
        """The same by the names of the corners."""
        return dict(zip(CORNERS, self, strict=True))

    @property
    def total(self: "Corners[Real]") -> Real:
        return self.left_front + self.right_front + self.left_rear + self.right_rear

    @property
    def bite(self: "Corners[Real]") -> Real:
        """Left rear minus right rear."""
        return self.left_rear - self.right_rear

    @property
    def cross_share(self: "Corners[Real]") -> Real:
        """(left rear + right front) / total."""
        return (self.left_rear + self.right_front) / self.total

    @property
    def left_share(self: "Corners[Real]") -> Real:
        return (self.left_front + self.left_rear) / self.total

    @property
    def rear_share(self: "Corners[Real]") -> Real:
        return (self.left_rear + self.right_rear) / self.total


CORNERS = ("left_front", "right_front", "left_rear", "right_rear")
CORNER_NAMES = {"".join(word[0] for word in corner.split("_")): corner for corner in CORNERS}
"""lf, rf, lr and rr, as the trade abbreviates them, to the names in full."""


def corner_named(text: str) -> str | None:
    """The corner that ``left_rear``, ``Left-Rear``, ``left rear`` or ``LR`` names, or None."""
    name = re.sub(r"[\s_-]+", "_", text.strip()).lower()
    name = CORNER_NAMES.get(name, name)
    return name if name in CORNERS else None


NOTHING: Corners[Real] = Corners(0.0, 0.0, 0.0, 0.0)
RAISES_BITE: Corners[float] = Corners(-1.0, 1.0, 1.0, -1.0)
"""Whether bite rises (+1) or falls (-1) when this corner is raised by its tire, jack or spacer."""


def sum_of(a: Corners[Real], b: Corners[Real]) -> Corners[Real]:
    """The sum of two amounts, corner by corner.

    Parameters
    ----------
    a, b : Corners of float or ndarray
        Of one unit.
    """
    return a.with_each(b, lambda one, other: one + other)


def only(corner: str, amount: Real) -> Corners[Real]:
    """An amount at one corner and nothing at the others.

    Parameters
    ----------
    corner : str
        One of `CORNERS`.
    amount : float or ndarray
    """
    return replace(NOTHING, **{corner: amount})
