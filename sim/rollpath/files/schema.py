"""What a file may hold, key by key: what it is, its range, what stands when it is left out.

A schema is a nested dict whose leaves are `Field`s; that of a table is a flat one. What has passed
one is trusted by the physics, and `guide files` is written from it.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rollpath.corners import CORNERS, corner_named
from rollpath.errors import RollpathError
from rollpath.units import QuantityError, parse, shorten

LONGEST_FAULT = 500
"""Characters of a fault told; what was found may be much longer."""


class FileError(RollpathError):
    """All the faults of a file, one line each, ready to print."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = [shorten(line, LONGEST_FAULT) for line in lines]
        super().__init__("\n".join(self.lines))


class DoubtfulError(FileError):
    """Values of a file that could stand but are most likely slips; see `slips.taken_as_right`."""


@dataclass(frozen=True)
class Field:
    """One value of a file.

    Attributes
    ----------
    read : callable
        Turns the value into SI; raises `QuantityError` saying what was expected.
    required : bool
    many : int
        Values allowed in a list; 1 allows no list.
    least, most : float
        Range in SI; outside it the value is refused.
    range_text : str
        The range as a person would say it.
    kind : str
        A key of `units.KINDS` or ``number``; empty when it holds no number to sweep.
    default : object
        What stands when it is left out, in SI; a text says how that is found.
    worth : str
        What it is, and what it is worth to the answer, in one sentence.
    words : tuple of str
        All that it may be, when it is one of a few words.
    names : tuple of str
        Headings that it goes by in a table; empty when only its key.
    unit : str
        Unit of its column when the heading states none; empty when it must.
    """

    read: Callable[[object], Any]
    required: bool = False
    many: int = 1
    least: float = -math.inf
    most: float = math.inf
    range_text: str = ""
    kind: str = ""
    default: Any = None
    worth: str = ""
    words: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    unit: str = ""

    def outside(self, value: object) -> bool:
        """Whether a number that was read lies outside the range."""
        return isinstance(value, float) and not self.least <= value <= self.most

    def held(self, text: str) -> Any:
        """What was typed for it, read and held to its range.

        Parameters
        ----------
        text : str

        Raises
        ------
        QuantityError
            Saying what was expected.
        """
        value = self.read(text)
        if self.outside(value):
            raise QuantityError(f'expected {self.range_text}, got "{text}"')
        return value


@dataclass(frozen=True)
class Group:
    """Keys that belong together and may be left out whole."""

    schema: "Schema"


@dataclass(frozen=True)
class Several:
    """One value or a list of any number of them up to `most`; read as a tuple."""

    field: Field
    most: int


@dataclass(frozen=True)
class Entries:
    """A list of groups of keys, up to `most`; read as a list of dicts."""

    schema: "Schema"
    most: int


@dataclass(frozen=True)
class Either:
    """One value, or a group of keys in its place."""

    field: Field
    schema: "Schema"


Schema = Mapping[str, "Field | Group | Several | Entries | Either | Schema"]
Wanted = Field | Group | Several | Entries | Either | Schema


# Fields


def quantity(
    kind: str,
    least: float = -math.inf,
    most: float = math.inf,
    range_text: str = "",
    *,
    required: bool = False,
    many: int = 1,
    default: Any = None,
    worth: str = "",
) -> Field:
    """A field holding a quantity of a kind of `units.KINDS`, within a range in SI.

    Parameters
    ----------
    kind : str
        A key of `units.KINDS`.
    least, most : float
        In SI.
    range_text : str
        The range as a person would say it.
    required : bool
    many : int
        Values allowed in a list; 1 allows no list.
    default : object
        In SI; a text says how it is found.
    worth : str
        What it is, and what it is worth to the answer.
    """
    return Field(
        lambda text: parse(text, kind), required, many, least, most, range_text, kind, default,
        worth,
    )  # fmt: skip


def number(
    least: float, most: float, range_text: str, *, default: Any = None, worth: str = ""
) -> Field:
    """A field holding a plain number."""
    return Field(read_number, False, 1, least, most, range_text, "number", default, worth)


def column(kind: str, names: tuple[str, ...], unit: str = "", required: bool = False) -> Field:
    """A column of numbers in a log, by the headings it is known by.

    Parameters
    ----------
    kind : str
        A key of `units.KINDS`.
    names : tuple of str
        Lower case, words joined by one space.
    unit : str
        Unit when the heading states none; empty when it must.
    required : bool
    """
    return replace(quantity(kind, required=required), names=names, unit=unit)


def text_field(
    *, required: bool = False, longest: int = 80, default: Any = None, worth: str = ""
) -> Field:
    """A field holding a line of text."""

    def read(value: object) -> str:
        text = str(value).strip() if isinstance(value, str | int | float) else ""
        if not text or len(text) > longest or not text.isprintable():
            raise QuantityError(
                f'expected a line of at most {longest} characters, got "{shorten(str(value))}"'
            )
        return text

    range_text = f"a line of at most {longest} characters"
    return Field(read, required, range_text=range_text, default=default, worth=worth)


def choice(
    allowed: Sequence[str],
    also: Mapping[str, str] | None = None,
    *,
    required: bool = False,
    default: Any = None,
    worth: str = "",
) -> Field:
    """A field holding one of a few words, in capitals or not; `also` holds other names of them."""

    def read(value: object) -> str:
        word = str(value).strip().lower()
        word = (also or {}).get(word, word)
        if word not in allowed:
            raise QuantityError(
                f'expected one of {", ".join(allowed)}, got "{shorten(str(value))}"'
            )
        return word

    range_text = f"one of {', '.join(allowed)}"
    return Field(
        read, required, range_text=range_text, default=default, worth=worth, words=tuple(allowed)
    )


def corner_field(worth: str = "") -> Field:
    """A field holding a corner of the car, in full or as ``lf``, ``rf``, ``lr``, ``rr``."""
    return Field(read_corner, range_text=f"one of {', '.join(CORNERS)}", worth=worth, words=CORNERS)


def read_corner(value: object) -> str:
    """The corner named by ``left rear``, ``left-rear``, ``LR`` and their like.

    Raises
    ------
    QuantityError
    """
    corner = corner_named(str(value))
    if corner is None:
        near = hint(str(value).strip().lower(), CORNERS)
        raise QuantityError(
            f'expected a corner: {", ".join(CORNERS)}, got "{shorten(str(value))}"{near}'
        )
    return corner


def read_number(value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            result = float(value)
            if math.isfinite(result):
                return result
    except ValueError:
        pass
    raise QuantityError(f'expected a plain number such as 0.62, got "{shorten(str(value))}"')


def hint(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """What ends a fault of an unknown word: the nearest that is known, or else other advice."""
    import difflib

    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f'; did you mean "{near[0]}"?' if near else otherwise
