"""What all screens share: the cautions, rows and paragraphs, columns, and JSON text."""

from __future__ import annotations

import json
import math
import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Sequence
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
LABEL_WIDTH = 26
SCREEN_WIDTH = 88


def row(label: str, text: str) -> str:
    """A label column and what it holds, wrapped to the width of a screen."""
    indent = " " * (LABEL_WIDTH + 2)
    first = f"  {label:<{LABEL_WIDTH}}"
    return textwrap.fill(text, SCREEN_WIDTH, initial_indent=first, subsequent_indent=indent)


def paragraph(text: str, indent: str = "") -> str:
    """Prose wrapped to the width of a screen."""
    return textwrap.fill(
        text, SCREEN_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ",
        break_on_hyphens=False,
    )  # fmt: skip


def caution_lines() -> list[str]:
    """The cautions at the foot of a screen."""
    return list(map(paragraph, CAUTIONS))


def sections(parts: Iterable[Sequence[str]]) -> str:
    """A screen of parts with an empty line between; a part without lines is left out."""
    return "\n\n".join("\n".join(part) for part in parts if part)


def figures(label: str, texts: Sequence[str], width: int) -> str:
    """A label column and figures to the right, each in `width` places."""
    return f"  {label:<{LABEL_WIDTH}}" + "".join(f"{text:>{width}}" for text in texts)


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
    """Rows of a table set in columns as wide as they need; the first `left` to the left."""
    widths = [[text_width(cell) for cell in cells] for cells in rows]
    widest = [max(column) for column in zip(*widths, strict=True)]
    return [_set(*row, widest, left) for row in zip(rows, widths, strict=True)]


def _set(cells: Sequence[str], widths: list[int], widest: list[int], left: int) -> str:
    gaps = [" " * (most - width) for most, width in zip(widest, widths, strict=True)]
    texts = [cell + gap for cell, gap in zip(cells[:left], gaps, strict=False)]
    texts += [gap + cell for cell, gap in zip(cells[left:], gaps[left:], strict=True)]
    return "  ".join(texts).rstrip()


def text_width(text: str) -> int:
    """Places that a text takes on a terminal: two for a wide letter, none for a mark over one."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)
