"""What all screens share: the cautions, rows and paragraphs, columns, and JSON text."""

from __future__ import annotations

import itertools
import math
import re
import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from rollpath.feel.lap import FeelCase
    from rollpath.screen import Screen
    from rollpath.stagger import Baseline
    from rollpath.units import Real

CAUTIONS = (
    "Stands under the car before a wheel comes off. Stay inside the tire maker's pressure and "
    "rim limits.",
    "Re-torque the wheel nuts after the first laps. The rule book of the class comes first.",
    "First laps slow after any change. These are estimates: when in doubt ask the tire maker or "
    "the tech man.",
)
"""Told whole in the guide and on every printed sheet."""
SHORT_CAUTIONS = (
    "Stands first; nuts torqued; maker's psi.",
    "First laps slow. Estimates: guide safety",
)
"""Of 40 letters each, the narrowest screen."""
LABEL_WIDTH = 26
ROOMY = 64
"""Columns from which labels stand in a column of their own, with the text beside them."""
_BESIDE, _CELL, _TABLE = "\x1f", "\x1e", "\x1d"
"""Between a label and its text, between the cells of a table, and before a table's row."""


def row(label: str, text: str) -> str:
    """A label and what it holds: a line for `lay_out`."""
    return f"{label}{_BESIDE}{text}"


def paragraph(text: str, indent: str = "") -> str:
    """Prose: a line for `lay_out`, which wraps it."""
    return indent + text


def caution_lines() -> list[str]:
    """The cautions at the foot of a screen: two lines at any width."""
    return list(SHORT_CAUTIONS)


def sections(parts: Iterable[Sequence[str]], screen: Screen) -> str:
    """A screen of parts with an empty line between; a part without lines is left out."""
    return "\n\n".join(lay_out(part, screen) for part in parts if part)


def figures(label: str, texts: Sequence[str]) -> str:
    """A label and figures to the right of it: a row of a table for `lay_out`."""
    return columns([[label, *texts]], 1)[0]


def lay_out(lines: Iterable[str], screen: Screen) -> str:
    """Lines laid out for a terminal: wrapped, tables in columns or, where too wide, stacked.

    Parameters
    ----------
    lines : iterable of str
        Prose, and what `row`, `paragraph` and `columns` return.
    screen : Screen
        Its width is never passed, but by a single word that is longer.
    """
    if not screen.laid:
        return "\n".join(lines)
    told: list[str] = []
    for is_table, group in itertools.groupby(lines, lambda line: line.startswith(_TABLE)):
        if is_table:
            told += _table(list(group), screen.width)
        else:
            told += [piece for line in group for piece in _wrapped(line, screen.width)]
    return "\n".join(told)


@dataclass(frozen=True)
class Piece:
    """One thing of a screen that was not laid out.

    Attributes
    ----------
    kind : str
        ``text``, ``under`` for text that stands below another, ``row`` or ``table``.
    cells : tuple of tuple of str
        One cell of text; label and text; or the rows of a table, headings first.
    """

    kind: str
    cells: tuple[tuple[str, ...], ...]

    @property
    def text(self) -> str:
        return self.cells[0][0]


def pieces(told: str) -> list[Piece]:
    """What a screen whose lines were left whole (`Screen.laid`) holds, without its cautions."""
    lines = [line for line in told.split("\n") if line.strip() and line not in SHORT_CAUTIONS]
    found: list[Piece] = []
    for is_table, group in itertools.groupby(lines, lambda line: line.startswith(_TABLE)):
        if is_table:
            rows = (line.split(_CELL)[1:] for line in group)
            found.append(Piece("table", tuple(tuple(map(_cell, cells)) for cells in rows)))
        else:
            found += [_piece(line) for line in group]
    return [piece for piece in found if any(piece.cells[0])]


def _piece(line: str) -> Piece:
    line = _BOUND.sub("\N{NO-BREAK SPACE}", _without_commands(line))
    label, beside, held = line.partition(_BESIDE)
    if beside:
        return Piece("row", ((label.strip(), held.strip()),))
    return Piece("under" if line.startswith(" ") else "text", ((line.strip(),),))


def _cell(text: str) -> str:
    return _BOUND.sub("\N{NO-BREAK SPACE}", text.strip())


_FLAGS = re.compile(r" \((?:--[\w-]+(?:, | and )?)+\)")
_COMMAND = re.compile(r"[^.;?!]*(?:\brollpath [a-z]|--[a-z])[^;?!]*?(?:[.;?!](?=\s|$)|$)")


def _without_commands(line: str) -> str:
    """A line without what is to be typed at a terminal."""
    return _COMMAND.sub("", _FLAGS.sub("", line)).rstrip()


def _wrapped(text: str, width: int) -> list[str]:
    """The lines of one paragraph, or of a label and its text."""
    if "\n" in text:
        return [piece for line in text.split("\n") for piece in _wrapped(line, width)]
    label, beside, held = text.partition(_BESIDE)
    if not beside:
        indent = " " * (len(text) - len(text.lstrip()))
        return _filled(text.strip(), width, indent, indent + "  ")
    if width < ROOMY:
        return _filled(f"{label}: {held}" if label else held, width, "  ", "    ")
    return _filled(held, width, f"  {label:<{LABEL_WIDTH}}", " " * (LABEL_WIDTH + 2))


_BOUND = re.compile(
    r"(?<=\d) (?=\d+/\d|(?:in|ft|lb|s|psi|mph|deg|hp|mm|m|N|kPa|kW|lb/in|lb-ft|times|turns?)\b)"
)
"""Spaces inside a quantity, where no line is broken."""


def _filled(text: str, width: int, first: str, rest: str) -> list[str]:
    bound = _BOUND.sub("\N{NO-BREAK SPACE}", text)
    lines = textwrap.wrap(
        bound, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False,
        break_long_words=False,
    )  # fmt: skip
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines] or [first.rstrip()]


def counted(count: int, thing: str) -> str:
    """A count such as ``1 run`` or ``2 runs``."""
    return f"{count} {thing}{'' if count == 1 else 's'}"


def add_or_take_out(length: float, screen: Screen) -> str:
    """A step such as ``add 1/2 in``, or ``take out`` where it is not positive."""
    return f"{'add' if length > 0 else 'take out'} {screen.tape(abs(length))}"


def tape_range(ends: Iterable[Real], screen: Screen) -> str:
    """Two ends such as ``1 in to 4 in``."""
    return " to ".join(screen.tape(end) for end in ends)


def case_words(case: Baseline | FeelCase) -> str:
    """Which car where, on which surface and line."""
    return f"{case.car.name} at {case.track.name}, {case.condition.name}, {case.groove.name} groove"


def case_json(case: Baseline | FeelCase) -> dict[str, Any]:
    """Which car where, on which surface and line."""
    return {
        "track": case.track.name,
        "car": case.car.name,
        "condition": case.condition.name,
        "groove": case.groove.name,
    }


def none_or(value: Any, convert: Callable[[Any], Any]) -> Any:
    """A value in the unit of its key; None where it is not known."""
    return None if value is None else convert(value)


def finite_or_none(value: float) -> float | None:
    """A number that JSON can hold."""
    return value if math.isfinite(value) else None


def as_json(data: Any, indent: int | None = 2) -> str:
    """JSON text; numbers rounded to what a reader can use. Unindented it is written much faster."""
    import json

    return json.dumps(_plain(data), indent=indent, allow_nan=False)


def _plain(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, np.ndarray | list | tuple):
        return [_plain(value) for value in data]
    if isinstance(data, np.integer):
        return int(data)
    if isinstance(data, float | np.floating):
        return float(f"{float(data):.6g}")
    return data


def columns(rows: Sequence[Sequence[str]], left: int = 3) -> list[str]:
    """Rows of a table for `lay_out`, headings first; the first `left` cells stand to the left."""
    return [f"{_TABLE}{left}{_CELL}{_CELL.join(cells)}" for cells in rows]


def _table(lines: list[str], width: int) -> list[str]:
    """A table in columns as wide as they need; a block a row where that is too wide."""
    left = int(lines[0][1:].partition(_CELL)[0])
    rows = [line.split(_CELL)[1:] for line in lines]
    widths = [[text_width(cell) for cell in cells] for cells in rows]
    widest = [max(column) for column in itertools.zip_longest(*widths, fillvalue=0)]
    if sum(widest) + 2 * len(widest) - 2 <= width:
        return [_set(*row, widest, left) for row in zip(rows, widths, strict=True)]
    return [piece for cells in rows[1:] for piece in _block(rows[0], cells, left, width)]


def _block(headings: Sequence[str], cells: Sequence[str], left: int, width: int) -> list[str]:
    """One row of a table that is too wide: what it is of, and below it a line a cell."""
    lines = _filled(
        ", ".join(cell.strip() for cell in cells[:left] if cell.strip()), width, "", "  "
    )
    for heading, cell in zip(headings[left:], cells[left:], strict=False):
        if cell.strip():
            lines += _filled(f"{heading.strip()}: {cell.strip()}", width, "  ", "    ")
    return lines


def _set(cells: Sequence[str], widths: list[int], widest: list[int], left: int) -> str:
    gaps = [" " * (most - width) for most, width in zip(widest, widths, strict=False)]
    texts = [cell + gap for cell, gap in zip(cells[:left], gaps, strict=False)]
    texts += [gap + cell for cell, gap in zip(cells[left:], gaps[left:], strict=False)]
    return "  ".join(texts).rstrip()


def text_width(text: str) -> int:
    """Places that a text takes on a terminal: two for a wide letter, none for a mark over one."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)
