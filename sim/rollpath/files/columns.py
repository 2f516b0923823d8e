"""CSV with a heading line: headings that state units, and columns of numbers."""

import csv
import io
import math
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from rollpath.files.schema import FileError, read_start, read_text
from rollpath.units import KINDS, FloatArray

LARGEST_LOG = 256 << 20
"""Bytes; a season of laps at 100 Hz fits."""
LONGEST_HEADING = 1 << 16
"""Bytes of a file searched for its heading."""
MOST_FAULTS = 5
"""Faults of a log told before giving up on it."""
_HEADER = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]")
"""A heading that states its unit, such as ``left rear weight (lb)``."""


@dataclass(frozen=True)
class Column:
    """A column that a log may hold.

    Attributes
    ----------
    kind : str
        A key of `units.KINDS`, or ``number``.
    names : tuple of str
        Headings it is known by, lower case, words joined by one space.
    unit : str
        Unit when the heading states none; empty when it must.
    required : bool
    """

    kind: str
    names: tuple[str, ...]
    unit: str = ""
    required: bool = False


def read_columns(
    path: str | Path, known: Mapping[str, Column], chosen: Mapping[str, str] | None = None
) -> dict[str, FloatArray]:
    """Read the columns of a CSV of numbers that are known, in SI.

    Parameters
    ----------
    path : str or Path
        Commas, semicolons or tabs; one heading line, units in it: ``speed (mph)``.
    known : mapping of str to Column
    chosen : mapping of str to str, optional
        Heading to take for a column, where guessing is not wanted.

    Returns
    -------
    dict of str to ndarray, shape (rows,)
        By the keys of `known`; a blank cell is NaN. Times of day and dates become seconds.

    Raises
    ------
    FileError
        Naming the line at fault.
    """
    path = Path(path)
    text = read_text(path, LARGEST_LOG)
    heading, body, above = _headed(text)
    if not heading:
        raise FileError([f"{path}: the file is empty"])
    separator = separator_of(heading)
    try:
        headings = [cell.strip() for cell in next(csv.reader([heading], delimiter=separator))]
    except csv.Error as error:
        raise FileError([f"{path}:{above}: not CSV: {error}"]) from None
    places = _places(path, above, headings, known, chosen or {})
    table = _fast_table(body, separator, len(headings))
    if table is None:
        table = _careful_table(path, body, above, separator, headings, sorted(places))
    if not len(table):
        raise FileError([f"{path}: headings but no rows"])
    return {name: table[:, place] * factor for place, (name, factor) in places.items()}


def columns_named(path: Path, known: Mapping[str, Column], chosen: Mapping[str, str]) -> set[str]:
    """Which columns the heading of a file names, read before the rest of it."""
    heading = _headed(read_start(path, LONGEST_HEADING).decode("utf-8-sig", "replace"))[0]
    words = {spoken(cell.strip().strip('"'))[0] for cell in re.split(r"[,;\t]", heading)}
    return {
        name for name, column in known.items()
        if words & set((spoken(chosen[name])[0],) if name in chosen else column.names)
    }  # fmt: skip


def seconds_of(time: FloatArray | None) -> FloatArray | None:
    """Times in seconds; clocks that count ms or us since 1970 are told by their size."""
    if time is None or not np.any(np.isfinite(time)):
        return None
    largest = float(np.nanmax(np.abs(time)))
    factor = 1e-6 if largest > 1e14 else 1e-3 if largest > 1e11 else 1.0
    seconds: FloatArray = time * factor
    return seconds


# Headings


def separator_of(heading: str) -> str:
    """What stands between the cells: the one of comma, semicolon and tab found most."""
    return max(",;\t", key=heading.count)


def stated_unit(heading: str) -> tuple[str, str]:
    """What a heading says before its brackets, and the unit in them: empty when it has none."""
    match = _HEADER.fullmatch(heading)
    return (match[1], match[2].strip()) if match else (heading, "")


def _headed(text: str) -> tuple[str, str, int]:
    """The heading of a CSV, the rows below it and the line it stands on."""
    there = text.lstrip("\r\n ")
    heading, _, body = there.partition("\n")
    return heading.strip("\r"), body, text[: len(text) - len(there)].count("\n") + 1


def _places(
    path: Path,
    line: int,
    headings: list[str],
    known: Mapping[str, Column],
    chosen: Mapping[str, str],
) -> dict[int, tuple[str, float]]:
    """Which column stands where, and the factor that makes it SI."""
    faults: list[str] = []
    places: dict[int, tuple[str, float]] = {}
    for name, column in known.items():
        wanted = (spoken(chosen[name])[0],) if name in chosen else column.names
        found = [i for i, heading in enumerate(headings) if spoken(heading)[0] in wanted]
        if not found and (column.required or name in chosen):
            asked = chosen.get(name, column.names[0])
            faults.append(f'no column "{asked}"; the headings are: {", ".join(headings)}')
        if not found:
            continue
        unit = spoken(headings[found[0]])[1] or spoken(chosen.get(name, ""))[1] or column.unit
        units = KINDS[column.kind].units if column.kind in KINDS else {"": 1.0}
        if unit not in units:
            example = f"{headings[found[0]].partition('(')[0].strip()} ({next(iter(units))})"
            stated = f'"{unit}" is no unit of it' if unit else "say its unit in the heading"
            faults.append(f'{headings[found[0]]}: {stated}; write it such as "{example}"')
            continue
        places[found[0]] = (name, units[unit])
    if faults:
        raise FileError([f"{path}:{line}: {fault}" for fault in faults])
    return places


def spoken(heading: str) -> tuple[str, str]:
    """A heading as plain words, and the unit it states: ``Speed (mph)``, ``x_ft``, ``x [m]``."""
    words, unit = stated_unit(heading)
    words = re.sub(r"[\s_.-]+", " ", words).strip().lower()
    last = words.rpartition(" ")[2]
    if not unit and any(last in kind.units for kind in KINDS.values()) and " " in words:
        words, unit = words[: -len(last) - 1], last
    return words, unit.lower()


# Rows


def _fast_table(body: str, separator: str, width: int) -> FloatArray | None:
    """The rows when every cell is a plain number or blank, else None."""
    lines = body.rstrip(" \r\n").replace("\r", "")
    if not lines or '"' in lines:
        return None
    rows = lines.count("\n") + 1
    if lines.count(separator) != rows * (width - 1):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)
        try:
            flat = np.fromstring(
                _blanks_as_nan(lines, separator).replace("\n", separator), sep=separator
            )
        except (DeprecationWarning, ValueError):
            return None
    return flat.reshape(rows, width) if len(flat) == rows * width else None


def _blanks_as_nan(lines: str, separator: str) -> str:
    """Rows with an empty cell written as nan, so that a log with a slow channel reads as fast."""
    if separator == "\t":  # white space to the fast reader, which would close the gap up
        return lines
    for _ in range(2):  # every second of a run of blanks each time
        lines = lines.replace(2 * separator, f"{separator}nan{separator}")
    lines = lines.replace(f"{separator}\n", f"{separator}nan\n")
    lines = lines.replace(f"\n{separator}", f"\nnan{separator}")
    lines = f"nan{lines}" if lines.startswith(separator) else lines
    return f"{lines}nan" if lines.endswith(separator) else lines


def _careful_table(
    path: Path,
    body: str,
    above: int,
    separator: str,
    headings: list[str],
    places: list[int],
) -> FloatArray:
    """The rows cell by cell: blanks are NaN, dates are seconds, what is neither is a fault."""
    faults: list[str] = []
    table = []
    rows = csv.reader(io.StringIO(body, newline=""), delimiter=separator)
    try:
        for cells in rows:
            if not any(cell.strip() for cell in cells):
                continue
            line = rows.line_num + above
            if len(cells) != len(headings):
                faults.append(f"{line}: {len(cells)} values under {len(headings)} headings")
            values = np.full(len(headings), np.nan)
            for place in places:
                cell = cells[place].strip() if place < len(cells) else ""
                value = _cell(cell)
                if value is None:
                    faults.append(
                        f'{line}: {headings[place]}: expected a number, got "{cell[:40]}"'
                    )
                else:
                    values[place] = value
            if len(faults) >= MOST_FAULTS:
                faults.append(f"{line}: and so on; is this the right file?")
                break
            table.append(values)
    except csv.Error as error:
        faults.append(f"{rows.line_num + above}: not CSV: {error}")
    if faults:
        raise FileError([f"{path}:{fault}" for fault in faults])
    return np.array(table).reshape(len(table), len(headings))


def _cell(cell: str) -> float | None:
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        try:
            return datetime.fromisoformat(cell).timestamp()
        except ValueError:
            return None
    return value if math.isfinite(value) else math.nan
