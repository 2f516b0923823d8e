"""CSV with a heading line: the one reader of tables, of numbers (logs) or of anything (sessions).

A log is read in pieces and only the columns asked for are kept, so that a long or wide one takes
little memory.
"""

import csv
import io
import math
import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

import numpy as np

from rollpath.corners import CORNER_NAMES
from rollpath.files.reading import Reader, decoded, open_plain, read_text, scalar_node
from rollpath.files.schema import Field, FileError, hint
from rollpath.units import KINDS, FloatArray, is_bare, shorten

LARGEST_LOG = 256 << 20
"""Bytes; a season of laps at 100 Hz fits."""
LONGEST_HEADING = 1 << 16
"""Bytes of a heading line, and of what may stand above it."""
MOST_COLUMNS = 400
"""Columns of a table; the widest loggers write some two hundred."""
MOST_SLIPS = 5
"""Faults of a log told before giving up on it."""
PIECE = 4 << 20
"""Bytes of a log that are read at a time."""
_HEADER = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]")
"""A heading that states its unit, such as ``left rear weight (lb)``."""
_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,2}):(\d{2}(?:\.\d{1,9})?)")


@dataclass(frozen=True)
class Heading:
    """The heading line of a table.

    Attributes
    ----------
    line : int
        The line of the file it stands on.
    separator : str
        What stands between cells: comma, semicolon or tab.
    names : list of str
    """

    line: int
    separator: str
    names: list[str]


# Tables of numbers


def read_columns(
    path: str | Path, known: Mapping[str, Field], chosen: Mapping[str, str] | None = None
) -> dict[str, FloatArray]:
    """Read the columns of a CSV of numbers that are known, in SI.

    Parameters
    ----------
    path : str or Path
        Commas, semicolons or tabs; one heading line, units in it: ``speed (mph)``.
    known : mapping of str to Field
        As made by `schema.column`.
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
    slips: list[tuple[int, str]] = []
    with open_plain(path) as file:
        heading = _read_heading(path, file)
        places = _places(path, heading, known, chosen or {})
        wanted = sorted(places)
        parts = []
        for line, piece in _pieces(path, file, heading.line + 1):
            part = _fast_part(piece, heading, wanted)
            if part is None:
                part = _careful_part(piece, line, heading, wanted, slips)
            parts.append(part)
            if len(slips) >= MOST_SLIPS:
                slips.append((slips[-1][0], "and so on; is this the right file?"))
                break
    if slips:
        raise FileError([f"{path}:{line}: {text}" for line, text in slips])
    table = np.concatenate(parts) if parts else np.empty((0, len(wanted)))
    if not len(table):
        raise FileError([f"{path}: headings but no rows"])
    return {places[at][0]: table[:, i] * places[at][1] for i, at in enumerate(wanted)}


def columns_named(path: Path, known: Mapping[str, Field], chosen: Mapping[str, str]) -> set[str]:
    """Which columns the heading of a file names, read before the rest of it."""
    with open_plain(path) as file:
        words = {spoken(name)[0] for name in _read_heading(path, file).names}
    return {name for name, column in known.items() if words & _known_by(name, column, chosen)}


def seconds_of(time: FloatArray | None) -> FloatArray | None:
    """Times in seconds; clocks that count ms or us since 1970 are told by their size.

    Parameters
    ----------
    time : ndarray, shape (n,), optional
        As logged: s, ms or us.
    """
    if time is None or not np.any(np.isfinite(time)):
        return None
    largest = float(np.nanmax(np.abs(time)))
    factor = 1e-6 if largest > 1e14 else 1e-3 if largest > 1e11 else 1.0
    seconds: FloatArray = time * factor
    return seconds


# Tables of anything


def read_entries(
    path: str | Path, known: Mapping[str, Field]
) -> tuple[Reader, list[tuple[int, dict[str, Any]]]]:
    """Read a CSV whose every column is known, one entry per row.

    Parameters
    ----------
    path : str or Path
        Commas, semicolons or tabs; each value carries its unit, or its heading does.
    known : mapping of str to Field
        A blank cell of a field that is not required is left out.

    Returns
    -------
    reader : Reader
        To add faults to, and to raise them from.
    entries : list of tuple of int and dict
        Line and values, SI; entries at fault are left out.

    Raises
    ------
    FileError
        With the faults of the heading, when it has any.
    """
    reader = Reader(Path(path))
    text = read_text(reader.path)
    heading, body = _headed(reader.path, text)
    units = _units_of_all(reader, heading, known)
    reader.raise_faults()
    entries = []
    for line, cells in _rows(reader.path, body, heading):
        before = len(reader.faults)
        values = _entry(reader, line, cells, units, known)
        if len(reader.faults) == before:
            entries.append((line, values))
    return reader, entries


def _units_of_all(
    reader: Reader, heading: Heading, known: Mapping[str, Field]
) -> list[tuple[str, str]]:
    """Key and unit of each column; a unit is empty when each cell carries its own."""
    keys: list[tuple[str, str]] = []
    for name in heading.names:
        words, unit = spoken(name)
        key = next((key for key, one in known.items() if words in _known_by(key, one, {})), "")
        if not key:
            advice = hint(words.replace(" ", "_"), known, "; put remarks under note")
            shown = shorten(name) or "a column without heading"
            reader.fault(heading.line, f"{shown}: unknown column{advice}")
        elif key in (earlier for earlier, _ in keys):
            reader.fault(heading.line, f"{key}: given twice")
        elif unit and (known[key].kind not in KINDS or unit not in KINDS[known[key].kind].units):
            reader.fault(heading.line, f'{key}: "{shorten(unit)}" is no unit of it')
        keys.append((key, unit))
    named = [key for key, _ in keys]
    for key, one in known.items():
        if one.required and key not in named:
            reader.fault(heading.line, f"{key}: column missing")
    return keys


def _entry(
    reader: Reader,
    line: int,
    cells: list[str],
    units: list[tuple[str, str]],
    known: Mapping[str, Field],
) -> dict[str, Any]:
    """The values of one row; its faults go to the reader."""
    if len(cells) > len(units):
        reader.fault(line, f"{len(cells)} values under {len(units)} headings; "
                     "put quotes around a value that holds the separator")  # fmt: skip
        return {}
    values: dict[str, Any] = {}
    for (key, unit), cell in zip(units, cells + [""] * (len(units) - len(cells)), strict=True):
        if cell:
            typed = f"{cell} {unit}" if unit and is_bare(cell) else cell
            values[key] = reader.scalar(scalar_node(typed, line), known[key], key)
        elif known[key].required:
            reader.fault(line, f"{key}: missing")
    return values


def _rows(path: Path, body: str, heading: Heading) -> Iterator[tuple[int, list[str]]]:
    """Line and cells of each row that is not blank."""
    rows = csv.reader(io.StringIO(body, newline=""), delimiter=heading.separator)
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if any(cells):
                yield rows.line_num + heading.line, cells
    except csv.Error as error:
        line = rows.line_num + heading.line
        raise FileError([f"{path}:{line}: not CSV: {error}"]) from None


# Headings


def stated_unit(heading: str) -> tuple[str, str]:
    """What a heading says before its brackets, and the unit in them: empty when it has none."""
    match = _HEADER.fullmatch(heading)
    return (match[1], match[2].strip()) if match else (heading, "")


def spoken(heading: str) -> tuple[str, str]:
    """A heading as plain words, and the unit it states: ``Speed (mph)``, ``x_ft``, ``x [m]``."""
    words, unit = stated_unit(heading.strip())
    words = re.sub(r"[\s_.-]+", " ", words).strip().lower()
    first, _, rest = words.partition(" ")
    words = f"{CORNER_NAMES.get(first, first).replace('_', ' ')} {rest}".strip()
    last = words.rpartition(" ")[2]
    if not unit and any(last in kind.units for kind in KINDS.values()) and " " in words:
        words, unit = words[: -len(last) - 1], last
    return words, unit.lower()


def _known_by(key: str, field: Field, chosen: Mapping[str, str]) -> set[str]:
    """The headings by which a column is known: the one chosen, or those of its field."""
    if key in chosen:
        return {spoken(chosen[key])[0]}
    return set(field.names or (key.replace("_", " "),))


def _read_heading(path: Path, file: IO[bytes]) -> Heading:
    """The heading of an open file, which is left standing at the line below it."""
    start = file.read(2 * LONGEST_HEADING)
    at = len(start) - len(start.lstrip(b"\xef\xbb\xbf\r\n \t"))
    end = start.find(b"\n", at)
    end = len(start) if end < 0 else end + 1
    heading, _ = _headed(path, decoded(path, start[:end]))
    file.seek(end)
    return heading


def _headed(path: Path, text: str) -> tuple[Heading, str]:
    """The heading of a CSV, and the rows below it."""
    there = text.lstrip("\r\n ")
    words, _, body = there.partition("\n")
    words = words.strip("\r")
    if not words:
        raise FileError([f"{path}: the file is empty"])
    line = text[: len(text) - len(there)].count("\n") + 1
    separator = max(",;\t", key=words.count)
    if len(words) > LONGEST_HEADING or words.count(separator) >= MOST_COLUMNS:
        raise FileError([f"{path}:{line}: a heading of more than {MOST_COLUMNS} columns or "
                         f"{LONGEST_HEADING >> 10} KiB; is this the right file?"])  # fmt: skip
    try:
        names = [cell.strip() for cell in next(csv.reader([words], delimiter=separator))]
    except csv.Error as error:
        raise FileError([f"{path}:{line}: not CSV: {error}"]) from None
    return Heading(line, separator, names), body


def _places(
    path: Path, heading: Heading, known: Mapping[str, Field], chosen: Mapping[str, str]
) -> dict[int, tuple[str, float]]:
    """Which column stands where, and the factor that makes it SI."""
    faults: list[str] = []
    places: dict[int, tuple[str, float]] = {}
    said = [spoken(name) for name in heading.names]
    for key, column in known.items():
        wanted = _known_by(key, column, chosen)
        found = [i for i, (words, _) in enumerate(said) if words in wanted]
        if not found and (column.required or key in chosen):
            asked = chosen.get(key, column.names[0])
            headings = ", ".join(heading.names)
            faults.append(f'no column "{shorten(asked)}"; the headings are: {headings}')
        if not found:
            continue
        unit = said[found[0]][1] or spoken(chosen.get(key, ""))[1] or column.unit
        units = KINDS[column.kind].units if column.kind in KINDS else {"": 1.0}
        if unit not in units:
            name = heading.names[found[0]]
            usual = (
                "ft" if "ft" in units else next(iter(units))
            )  # a length of a log is on the ground
            example = f"{name.partition('(')[0].strip()} ({usual})"
            stated = f'"{unit}" is no unit of it' if unit else "say its unit in the heading"
            faults.append(f'{name}: {stated}; write it such as "{example}"')
            continue
        places[found[0]] = (key, units[unit])
    if faults:
        raise FileError([f"{path}:{heading.line}: {fault}" for fault in faults])
    return places


# Rows of numbers


def _pieces(path: Path, file: IO[bytes], line: int) -> Iterator[tuple[int, str]]:
    """The rest of a file in pieces of whole rows, each with the line it starts on."""
    size, rest = 0, b""
    while data := file.read(PIECE):
        size += len(data)
        if size > LARGEST_LOG:
            raise FileError([f"{path}: larger than {LARGEST_LOG >> 20} MiB"])
        rest += data
        end = rest.rfind(b"\n") + 1
        if rest.count(b'"', 0, end) % 2:  # in the middle of a quoted cell
            continue
        if end:
            yield line, decoded(path, rest[:end], line)
            line += rest.count(b"\n", 0, end)
            rest = rest[end:]
    if rest.strip():
        yield line, decoded(path, rest, line)


def _fast_part(piece: str, heading: Heading, wanted: list[int]) -> FloatArray | None:
    """The columns wanted when every cell is a plain number or blank, else None."""
    separator, width = heading.separator, len(heading.names)
    lines = piece.rstrip(" \r\n").replace("\r", "")
    if not lines or '"' in lines:
        return None
    rows = lines.count("\n") + 1
    if lines.count(separator) != rows * (width - 1):
        return None
    if separator != "," and "." not in lines:
        lines = lines.replace(",", ".")  # decimal commas
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)
        try:
            flat = np.fromstring(
                _blanks_as_nan(lines, separator).replace("\n", separator), sep=separator
            )
        except (DeprecationWarning, ValueError):
            return None
    return flat.reshape(rows, width)[:, wanted] if len(flat) == rows * width else None


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


def _careful_part(
    piece: str, line: int, heading: Heading, wanted: list[int], slips: list[tuple[int, str]]
) -> FloatArray:
    """The columns wanted, cell by cell: blanks are NaN, dates are seconds, the rest are slips."""
    table = []
    rows = csv.reader(io.StringIO(piece, newline=""), delimiter=heading.separator)
    try:
        for cells in rows:
            if not any(cell.strip() for cell in cells):
                continue
            at, width = rows.line_num + line - 1, len(heading.names)
            if len(cells) != width:
                slips.append((at, f"{len(cells)} values under {width} headings"))
            if heading.separator != ",":
                cells = [_with_decimal_point(cell) for cell in cells]
            values = [_number(cells[place]) if place < len(cells) else math.nan for place in wanted]
            slips += [
                (at, f'{heading.names[place]}: expected a number, got "{shorten(cells[place])}"')
                for place, value in zip(wanted, values, strict=True) if value is None
            ]  # fmt: skip
            if len(slips) >= MOST_SLIPS:
                break
            table.append(values)
    except csv.Error as error:
        slips.append((rows.line_num + line - 1, f"not CSV: {error}"))
    return np.array(table, dtype=float).reshape(len(table), len(wanted))


def _with_decimal_point(cell: str) -> str:
    """A cell with one comma and no point, where commas do not part cells, has a decimal comma."""
    return cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell


def _number(cell: str) -> float | None:
    """A number, or the seconds of a date or a clock; NaN for a blank, None for what is none."""
    cell = cell.strip()
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        try:
            return datetime.fromisoformat(cell).timestamp()
        except (ValueError, OverflowError, OSError):
            return _clock_seconds(cell)
    return value if math.isfinite(value) else math.nan


def _clock_seconds(cell: str) -> float | None:
    """Seconds of ``20:01:02.5`` or ``1:02.5``; None for what is no clock."""
    parts = _CLOCK.fullmatch(cell)
    if parts is None:
        return None
    hours, minutes, seconds = (float(part or 0) for part in parts.groups())
    return 3600 * hours + 60 * minutes + seconds
