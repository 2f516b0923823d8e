"""What every job hands back: it shows itself as its short screen, and compares without raising."""

from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any, ClassVar

import numpy as np


class Result:
    """The result of a job; a frozen dataclass of its own derives from it.

    In a notebook, and printed, it is the short screen that the command shows. The room of `show`
    that tells it is named when the class is made, ``class Baseline(Result, told_by="baseline")``,
    and entered when somebody looks: it offers ``short_screen(result)``. Two results are equal when
    all they hold is, arrays element by element. A subclass is made with
    ``@dataclass(frozen=True, eq=False)``, so that this comparison stands.
    """

    told_by: ClassVar[str] = ""

    def __init_subclass__(cls, told_by: str = "", **keywords: Any) -> None:
        super().__init_subclass__(**keywords)
        cls.told_by = told_by or cls.told_by
        cls.__repr__ = Result.__repr__  # type: ignore[method-assign]  # or a dataclass writes its own

    def __str__(self) -> str:
        room = import_module(f"rollpath.show.{self.told_by}")
        return str(room.short_screen(self))

    def __repr__(self) -> str:
        return str(self)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Result) and alike(self, other)

    __hash__ = None  # type: ignore[assignment]


def alike(one: Any, other: Any) -> bool:
    """Whether two things hold the same, arrays and dataclasses looked into."""
    if one is other:
        return True
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return bool(np.array_equal(one, other, equal_nan=_are_floats(one, other)))
    if type(one) is not type(other):
        return False
    if is_dataclass(one) and not isinstance(one, type):
        return all(alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(alike(one[key], other[key]) for key in one)
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    return bool(one == other)


def _are_floats(*things: Any) -> bool:
    return all(np.asarray(thing).dtype.kind == "f" for thing in things)
