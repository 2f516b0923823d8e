"""Scale sessions: a CSV with one weighing of the car per row."""

import csv
import io
import re
from pathlib import Path
from typing import Any

import yaml

from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import ROLLOUT, WEIGHT
from rollpath.files.columns import separator_of, stated_unit
from rollpath.files.schema import (
    Field,
    FileError,
    Reader,
    choice,
    hint,
    quantity,
    read_text,
    text_field,
)
from rollpath.scales.learn import ScaleSession, weights_that_differ

_SESSION_FIELDS: dict[str, Field] = {
    "session": text_field(),
    "driver": choice(["in", "out"]),
    "date": text_field(),
    "note": text_field(longest=400),
    **{f"{corner}_rollout": ROLLOUT for corner in CORNERS},
    **{f"{corner}_jack": quantity("turns", -100, 100, "up to 100 turns") for corner in CORNERS},
    **{f"{corner}_weight": WEIGHT for corner in CORNERS},
}
_SESSION_MAY_LACK = ("session", "date", "note", *(f"{corner}_jack" for corner in CORNERS))
_SESSION_MAY_BE_BLANK = ("session", "date", "note")


def load_scale_sessions(path: str | Path) -> list[ScaleSession]:
    """Read a CSV of scale sessions, one weighing of the car per row.

    Columns, in any order: ``driver`` (in or out); ``left_front_rollout`` and so on for the four
    tires; ``left_front_weight`` and so on for the four pads; where jacks are turned,
    ``left_front_jack`` and so on; and if wanted ``session``, ``date`` and ``note``. Each value
    carries its unit, or the heading does: ``left_rear_weight (lb)``.

    Raises
    ------
    FileError
        With every fault of the file, weights that do not belong together among them.
    """
    path = Path(path)
    reader = Reader(path)
    rows = _csv_rows(reader)
    columns = _session_columns(reader, *rows[0])
    reader.raise_faults()
    sessions = [_session(reader, columns, line, cells) for line, cells in rows[1:]]
    reader.raise_faults()
    if not sessions:
        raise FileError([f"{path}: no sessions; add a row for each time the car was weighed"])
    faults = weights_that_differ([session for session in sessions if session])
    if faults:
        raise FileError([f"{path}:{line}: {message}" for line, message in faults])
    return [session for session in sessions if session]


def _csv_rows(reader: Reader) -> list[tuple[int, list[str]]]:
    """Line and cells of each row that is not blank; commas, semicolons or tabs between them."""
    text = read_text(reader.path)
    heading = next((line for line in text.splitlines() if line.strip()), "")
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator_of(heading))
    try:
        found = [(rows.line_num, [cell.strip() for cell in row]) for row in rows]
    except csv.Error as error:
        raise FileError([f"{reader.path}:{rows.line_num}: not CSV: {error}"]) from None
    found = [(line, cells) for line, cells in found if any(cells)]
    if not found:
        raise FileError([f"{reader.path}: the file is empty"])
    return found


def _session_columns(reader: Reader, line: int, headings: list[str]) -> list[tuple[str, str]]:
    """Name and unit of each column; the unit is empty when each cell carries its own."""
    columns: list[tuple[str, str]] = []
    for heading in headings:
        text, unit = stated_unit(heading)
        name = re.sub(r"[\s_-]+", "_", text.strip().lower())
        if name not in _SESSION_FIELDS:
            shown = heading or "a column without heading"
            advice = hint(name, _SESSION_FIELDS, "; put remarks under note")
            reader.fault(line, f"{shown}: unknown column{advice}")
        elif name in [earlier for earlier, _ in columns]:
            reader.fault(line, f"{name}: given twice")
        columns.append((name, unit))
    names = [name for name, _ in columns]
    jacks = any(name.endswith("_jack") for name in names)
    for name in _SESSION_FIELDS:
        needed = name not in _SESSION_MAY_LACK or (jacks and name.endswith("_jack"))
        if needed and name not in names:
            reader.fault(line, f"{name}: column missing")
    return columns


def _session(
    reader: Reader, columns: list[tuple[str, str]], line: int, cells: list[str]
) -> ScaleSession | None:
    if len(cells) > len(columns):
        reader.fault(line, f"{len(cells)} values under {len(columns)} headings; "
                     "put quotes around a value that holds the separator")  # fmt: skip
        return None
    cells = cells + [""] * (len(columns) - len(cells))
    values = {
        name: _session_value(reader, line, name, unit, cell)
        for (name, unit), cell in zip(columns, cells, strict=True)
    }
    if any(values[name] is None for name, _ in columns if name not in _SESSION_MAY_BE_BLANK):
        return None

    def corners(what: str) -> list[float]:
        return [values[f"{corner}_{what}"] for corner in CORNERS]

    return ScaleSession(
        label=values.get("session") or f"line {line}",
        line=line,
        driver_in=values["driver"] == "in",
        rollouts=Corners(*corners("rollout")),
        turns=Corners(*corners("jack")) if "left_rear_jack" in values else None,
        weights=Corners(*corners("weight")),
    )


def _session_value(reader: Reader, line: int, name: str, unit: str, cell: str) -> Any:
    wanted = _SESSION_FIELDS[name]
    if not cell:
        if name not in _SESSION_MAY_BE_BLANK:
            reader.fault(line, f"{name}: missing")
        return None
    if unit and re.fullmatch(r"[+-]?[\d.]+(?:[\s-]+\d+\s*/\s*\d+)?|[+-]?\d+\s*/\s*\d+", cell):
        cell = f"{cell} {unit}"
    elif name == "driver":
        cell = cell.lower()
    return reader.scalar(
        yaml.ScalarNode("", cell, yaml.Mark("", 0, line - 1, 0, None, 0)), wanted, name
    )
