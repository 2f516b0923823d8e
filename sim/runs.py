"""What a run holds, and how it leaves the notebook and comes in again as CSV or JSON.

Lengths, weights and pressures are SI, settled to a millionth of their trade unit, far below what
a tape or a scale can tell; so what goes out in trade units comes back exactly the same.
"""

import csv
import io
import json
import math
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from sim.bite import CORNERS
from sim.units import INCH, POUND, PSI
from sim.verdict import ANSWERS


class BookError(ValueError):
    """What is wrong with a notebook or with what was to go into it, one line each."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


@dataclass(frozen=True)
class Run:
    """One run: the car as it was, what was advised, what came of it. SI; None is not known.

    Attributes
    ----------
    when : datetime
        Local time by the clock on the wall.
    session : str
        Such as ``hot laps``, ``heat 1``, ``feature``.
    weights_from : str
        ``scales``, or ``predicted`` when the pads were not under the car as it ran.
    wheel, drifts_out, crabs, wheelspin, entry : str
        The driver's answers, words of `verdict.ANSWERS`.
    left_front_jack, ... : float
        Turns in from where this car's jacks are counted from.
    recommended_stagger, optimum_stagger : float
        What rollpath's physics said then, rounded to tape and not, no correction in it, m.
    window_low, window_high : float
        The stagger window then, m.
    counts : str
        ``no`` for a run that says nothing about the car: a flat, a wreck, yellows.
    """

    when: datetime
    track: str
    car: str
    condition: str | None = None
    session: str | None = None
    groove: str | None = None
    left_front_rollout: float | None = None
    right_front_rollout: float | None = None
    left_rear_rollout: float | None = None
    right_rear_rollout: float | None = None
    left_front_weight: float | None = None
    right_front_weight: float | None = None
    left_rear_weight: float | None = None
    right_rear_weight: float | None = None
    weights_from: str | None = None
    left_front_jack: float | None = None
    right_front_jack: float | None = None
    left_rear_jack: float | None = None
    right_rear_jack: float | None = None
    left_front_pressure: float | None = None
    right_front_pressure: float | None = None
    left_rear_pressure: float | None = None
    right_rear_pressure: float | None = None
    wheel: str | None = None
    drifts_out: str | None = None
    crabs: str | None = None
    wheelspin: str | None = None
    entry: str | None = None
    best_lap: float | None = None
    typical_lap: float | None = None
    recommended_stagger: float | None = None
    optimum_stagger: float | None = None
    window_low: float | None = None
    window_high: float | None = None
    counts: str | None = None
    note: str | None = None

    @property
    def rear_stagger(self) -> float | None:
        """Right rear rollout minus left rear rollout."""
        return _minus(self.right_rear_rollout, self.left_rear_rollout)

    @property
    def front_stagger(self) -> float | None:
        return _minus(self.right_front_rollout, self.left_front_rollout)

    @property
    def bite(self) -> float | None:
        """Left rear minus right rear scale weight."""
        return _minus(self.left_rear_weight, self.right_rear_weight)

    @property
    def off_optimum(self) -> float | None:
        """Stagger fitted minus the optimum by physics; positive is more stagger than advised."""
        return _minus(self.rear_stagger, self.optimum_stagger)


def _minus(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b


@dataclass(frozen=True)
class Page:
    """A run as it stood in the book at one time; the highest revision of a key is in force.

    Attributes
    ----------
    key : str
        The same for a run in every book it is copied to.
    number : int
        What a person calls the run in this book.
    """

    key: str
    number: int
    revision: int
    written: datetime
    run: Run


@dataclass(frozen=True)
class Entry:
    """One thing that a run holds.

    Attributes
    ----------
    name : str
        The attribute of `Run`, and the column of the book.
    key : str
        Its name in CSV and JSON, which ends in its unit.
    unit : float
        SI units in one trade unit; 0 for text.
    least, most : float
        Range in trade units.
    words : tuple of str
        Answers allowed; any text when empty.
    """

    name: str
    key: str
    unit: float = 0.0
    least: float = 0.0
    most: float = 0.0
    words: tuple[str, ...] = ()
    longest: int = 80


def _of_corners(thing: str, suffix: str, unit: float, least: float, most: float) -> list[Entry]:
    names = [f"{corner}_{thing}" for corner in CORNERS]
    return [Entry(name, f"{name}{suffix}", unit, least, most) for name in names]


def _staggers(*names: str) -> list[Entry]:
    return [Entry(name, f"{name}_in", INCH, -12.0, 24.0) for name in names]


LONGEST_NOTE = 20_000
"""Characters; ten pages (engineering judgement)."""
LARGEST_NUMBER = 10**9
ENTRIES: tuple[Entry, ...] = (
    Entry("when", "when"),
    Entry("track", "track"),
    Entry("car", "car"),
    Entry("condition", "condition"),
    Entry("session", "session"),
    Entry("groove", "groove"),
    *_of_corners("rollout", "_in", INCH, 20.0, 160.0),
    *_of_corners("weight", "_lb", POUND, 0.0, 4500.0),
    Entry("weights_from", "weights_from", words=("scales", "predicted")),
    *_of_corners("jack", "_turns", 1.0, -200.0, 200.0),
    *_of_corners("pressure", "_psi", PSI, 0.0, 100.0),
    *(Entry(name, name, words=tuple(words)) for name, words in ANSWERS.items()),
    Entry("best_lap", "best_lap_s", 1.0, 1.0, 3600.0),
    Entry("typical_lap", "typical_lap_s", 1.0, 1.0, 3600.0),
    *_staggers("recommended_stagger", "optimum_stagger", "window_low", "window_high"),
    Entry("counts", "counts", words=("yes", "no")),
    Entry("note", "note", longest=LONGEST_NOTE),
)
_BY_KEY = {entry.key: entry for entry in ENTRIES}
NAMES = tuple(entry.name for entry in ENTRIES)
_REQUIRED = ("when", "track", "car")
_MILLIONTH = 6
"""Decimals of a trade unit that are kept."""


# One value in and out


def settled(run: Run) -> Run:
    """The run as a book keeps it: checked, numbers settled, empty text as None.

    Raises
    ------
    BookError
        One line for each thing that cannot be kept.
    """
    values: dict[str, Any] = {}
    faults = []
    for entry in ENTRIES:
        try:
            values[entry.name] = _settled_value(entry, getattr(run, entry.name))
        except ValueError as error:
            faults.append(f"{entry.key}: {error}")
    if faults:
        raise BookError(faults)
    return Run(**values)


def _settled_value(entry: Entry, value: Any) -> Any:
    if value is None or value == "":
        if entry.name in _REQUIRED:
            raise ValueError("missing")
        return None
    if entry.name == "when":
        return value.replace(tzinfo=None)
    if entry.unit:
        return _settled_number(entry, float(value))
    return _settled_text(entry, value)


def _settled_number(entry: Entry, value: float) -> float:
    trade = round(value / entry.unit, _MILLIONTH) if math.isfinite(value) else math.nan
    if not entry.least <= trade <= entry.most:
        raise ValueError(f"expected a number from {entry.least:g} to {entry.most:g}, got {trade:g}")
    return trade * entry.unit + 0.0  # + 0.0 makes a negative zero plain


def _settled_text(entry: Entry, text: object) -> str:
    if not isinstance(text, str) or any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("expected text")
    if entry.words and text not in entry.words:
        raise ValueError(f'expected one of {", ".join(entry.words)}, got "{text[:40]}"')
    if len(text) > entry.longest:
        raise ValueError(f"expected at most {entry.longest} characters, got {len(text)}")
    return text


def _out(entry: Entry, value: Any) -> str | float | None:
    """A value as it leaves the book: trade units, rounded to what was kept."""
    if value is None:
        return None
    if entry.unit:
        return round(float(value) / entry.unit, _MILLIONTH)
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _in(entry: Entry, value: object) -> Any:
    """A value that comes in as `_out` wrote it, from CSV as text or from JSON."""
    if value is None or value == "":
        return None
    if entry.name == "when":
        return _moment(value)
    if not entry.unit:
        return value
    return _plain_number(entry, value) * entry.unit


def _plain_number(entry: Entry, value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            return float(value)
    except (ValueError, OverflowError):
        pass
    unit = entry.key.rpartition("_")[2]
    raise ValueError(f'expected a plain number of {unit}, got "{str(value)[:40]}"')


def _moment(value: object) -> datetime:
    try:
        return datetime.fromisoformat(str(value)).replace(tzinfo=None)
    except ValueError:
        raise ValueError(
            f'expected a time such as 2026-05-02T21:40, got "{str(value)[:40]}"'
        ) from None


def stored(run: Run) -> dict[str, str | float]:
    """What a run holds, by column; what is not known left out."""
    values: dict[str, Any] = {name: getattr(run, name) for name in NAMES}
    values["when"] = run.when.isoformat()
    return {name: value for name, value in values.items() if value is not None}


# Out of the book and in again: CSV and JSON

_HEAD = ("number", "key", "revision", "written")
EXPORT_KEYS: tuple[str, ...] = (*_HEAD, *_BY_KEY)
_FORMULA_STARTS = frozenset("=+-@\t\r'")
"""A cell of text that starts so is a formula to a spreadsheet; a quote in front makes it text."""
MOST_FAULTS = 20
"""Faults of an import told at most."""
_NAMESPACE = uuid.UUID("6f1c0d0a-2c1e-5b7e-9a64-3d1f5b1f7a10")
"""Of keys made from what a run says, for lines that bring no key (made up once, kept for good)."""


def to_csv(pages: Iterable[Page]) -> str:
    """Every page, old revisions as well, as CSV (RFC 4180) that `from_csv` reads back the same."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_MINIMAL, lineterminator="\r\n")
    writer.writerow(EXPORT_KEYS)
    for page in pages:
        writer.writerow([_cell(value) for value in _page_out(page).values()])
    return text.getvalue()


def to_json(pages: Iterable[Page]) -> str:
    """Every page, old revisions as well, as JSON that `from_json` reads back the same."""
    content = {"notebook": "rollpath", "version": 1, "pages": [_page_out(page) for page in pages]}
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def to_line(run: Run) -> str:
    """A run as one line of JSON that `from_json` reads."""
    known = {key: value for key, value in run_out(run).items() if value is not None}
    return json.dumps({"pages": [known]}, ensure_ascii=False)


def run_out(run: Run) -> dict[str, str | float | None]:
    """All that a run holds, by export key, in trade units."""
    return {entry.key: _out(entry, getattr(run, entry.name)) for entry in ENTRIES}


def _page_out(page: Page) -> dict[str, Any]:
    head = (page.number, page.key, page.revision, page.written.isoformat())
    return {**dict(zip(_HEAD, head, strict=True)), **run_out(page.run)}


def _cell(value: str | float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value[:1] in _FORMULA_STARTS else value
    return repr(value).removesuffix(".0")


def _uncell(text: str) -> str:
    return text[1:] if text[:1] == "'" and text[1:2] in _FORMULA_STARTS else text


def from_csv(text: str, source: str) -> list[Page]:
    """Pages from CSV with a head line of `EXPORT_KEYS`, in any order; most may be left out.

    Raises
    ------
    BookError
        All the faults, each naming `source`, its line and its column.
    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    rows: list[tuple[str, dict[str, object]]] = []
    try:
        keys = next(reader, [])
        _check_keys(keys, f"{source}:1")
        for row in reader:
            where = f"{source}:{reader.line_num}"
            if len(row) > len(keys):
                raise BookError([f"{where}: {len(row)} cells, but the head line names {len(keys)}"])
            if any(row):
                cells = [_uncell(cell) for cell in row]
                rows.append((where, dict(zip(keys, cells, strict=False))))
    except csv.Error as error:
        raise BookError([f"{source}:{reader.line_num}: not CSV: {error}"]) from None
    return _pages_in(rows)


def from_json(text: str, source: str) -> list[Page]:
    """Pages from JSON as `to_json` writes it.

    Raises
    ------
    BookError
        All the faults, each naming `source`, the page and its key.
    """
    try:
        content = json.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", 1)
        raise BookError([f"{source}:{line}: not JSON: {getattr(error, 'msg', error)}"]) from None
    pages = content.get("pages") if isinstance(content, dict) else None
    if not isinstance(pages, list) or not all(isinstance(page, dict) for page in pages):
        raise BookError([f'{source}:1: expected a notebook export: an object with "pages"'])
    rows = [(f"{source}: page {i}", page) for i, page in enumerate(pages, 1)]
    for where, page in rows:
        _check_keys(list(page), where)
    return _pages_in(rows)


def _check_keys(keys: list[str], where: str) -> None:
    faults = []
    for key in keys:
        if key not in EXPORT_KEYS:
            near = get_close_matches(key, EXPORT_KEYS, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            faults.append(f"{where}: {key[:40]}: unknown column{hint}")
    faults += [f"{where}: {key}: column given twice" for key in EXPORT_KEYS if keys.count(key) > 1]
    faults += [f"{where}: {key}: missing" for key in _REQUIRED if key not in keys]
    if faults:
        raise BookError(faults)


def _pages_in(rows: list[tuple[str, dict[str, object]]]) -> list[Page]:
    pages, faults = [], []
    for where, row in rows:
        try:
            pages.append(_page_in(row))
        except BookError as error:
            faults += [f"{where}: {line}" for line in error.lines]
    if len(faults) > MOST_FAULTS:
        faults[MOST_FAULTS:] = [f"and {len(faults) - MOST_FAULTS} more like these"]
    if faults:
        raise BookError(faults)
    return pages


def _page_in(row: Mapping[str, object]) -> Page:
    values: dict[str, Any] = {}
    faults = []
    for entry in ENTRIES:
        try:
            values[entry.name] = _settled_value(entry, _in(entry, row.get(entry.key)))
        except ValueError as error:
            faults.append(f"{entry.key}: {error}")
    if faults:
        raise BookError(faults)
    run = Run(**values)
    try:
        written = _moment(row["written"]) if row.get("written") else run.when
        number, revision = (_count(row, key) for key in ("number", "revision"))
        return Page(_key_in(row, run), number, revision, written, run)
    except ValueError as error:
        raise BookError([str(error)]) from None


def _count(row: Mapping[str, object], key: str) -> int:
    text = str(row.get(key) or 1)
    if not (text.isascii() and text.isdigit() and 0 < int(text[:12]) < LARGEST_NUMBER):
        raise ValueError(f'{key}: expected a whole number above 0, got "{text[:40]}"')
    return int(text)


def _key_in(row: Mapping[str, object], run: Run) -> str:
    key = row.get("key")
    if not key:
        return uuid.uuid5(_NAMESPACE, json.dumps(stored(run), sort_keys=True)).hex
    if isinstance(key, str) and len(key) == 32 and set(key) <= set("0123456789abcdef"):
        return key
    raise ValueError(f'key: expected 32 hexadecimal digits or nothing, got "{str(key)[:40]}"')
