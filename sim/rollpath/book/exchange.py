"""Out of the book and in again: CSV (the runs) and JSON (the runs and what was done between)."""

import csv
import io
import json
import uuid
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from rollpath.book.action import Action, action_in, action_out, is_key
from rollpath.book.run import (
    BY_KEY,
    REQUIRED,
    BookError,
    Page,
    Run,
    moment_read,
    run_of,
    settled_value,
    stored,
    value_in,
    value_out,
)

_HEAD = ("number", "key", "revision", "written")
EXPORT_KEYS: tuple[str, ...] = (*_HEAD, *BY_KEY)
_FORMULA_STARTS = frozenset("=+-@\t\r'")
"""A cell of text that starts so is a formula to a spreadsheet; a quote in front makes it text."""
MOST_FAULTS = 20
"""Faults of an import told at most."""
MOST_COLUMNS = 200
"""Columns of a CSV, keys of a page of JSON. Engineering judgement: four times what a run has."""
MOST_PAGES = 20_000
"""Pages of an import. Engineering judgement: twenty years of forty nights of 25 runs, and what
takes some five seconds."""
_BRACES = 20
"""Opening braces and brackets a page or action, well above what any has."""
LONGEST_LINE = 1 << 18
"""Characters of a line of CSV: every cell of a run, and a note as long as it may be, ten times."""
MOST_NUMBERED = 100_000
"""Largest run number and revision that an import may bring: five times as many as its pages."""
_NAMESPACE = uuid.UUID("6f1c0d0a-2c1e-5b7e-9a64-3d1f5b1f7a10")
"""Of keys made from what a run says, for lines that bring no key (made up once, kept for good)."""


def to_csv(pages: Iterable[Page]) -> str:
    """Every page, old revisions as well, as CSV (RFC 4180) that `from_csv` reads back the same."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_MINIMAL, lineterminator="\r\n")
    writer.writerow(EXPORT_KEYS)
    for page in pages:
        writer.writerow([_cell(value) for value in page_out(page).values()])
    return text.getvalue()


def to_json(pages: Iterable[Page], actions: Iterable[Action] = ()) -> str:
    """Every page, old revisions as well, and action as JSON; `from_json` reads back the same."""
    content = {
        "notebook": "rollpath",
        "version": 1,
        "pages": [page_out(page) for page in pages],
        "actions": [action_out(action) for action in actions],
    }
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def to_line(run: Run) -> str:
    """A run as one line of JSON that `from_json` reads."""
    known = {key: value for key, value in run_out(run).items() if value is not None}
    return json.dumps({"pages": [known]}, ensure_ascii=False)


def run_out(run: Run) -> dict[str, str | float | None]:
    """All that a run holds, by export key, in trade units."""
    values = vars(run)
    return {key: value_out(entry, values[entry.name]) for key, entry in BY_KEY.items()}


def page_out(page: Page) -> dict[str, Any]:
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
    reader = csv.reader(_lines(text.removeprefix("\ufeff"), source), strict=True)
    try:
        keys = next(reader, [])
        _check_keys(keys, f"{source}:1", "columns")
        return _pages_in(_csv_rows(reader, keys, source))
    except csv.Error as error:
        raise BookError([f"{source}:{reader.line_num}: not CSV: {error}"]) from None


def _lines(text: str, source: str) -> Iterator[str]:
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        if len(line) > LONGEST_LINE:
            raise BookError([f"{source}:{number}: a line of {len(line)} characters is no run"])
        yield line


def _csv_rows(reader: Any, keys: list[str], source: str) -> Iterator[tuple[str, dict[str, object]]]:
    """Each line that holds something, and where it stands."""
    for row in reader:
        where = f"{source}:{reader.line_num}"
        if len(row) > len(keys):
            raise BookError([f"{where}: {len(row)} cells, but the head line names {len(keys)}"])
        if any(row):
            yield where, dict(zip(keys, map(_uncell, row), strict=False))


def from_json(text: str, source: str) -> tuple[list[Page], list[Action]]:
    """Pages and actions from JSON as `to_json` writes it.

    Raises
    ------
    BookError
        All the faults, each naming `source`, the page and its key.
    """
    if text.count("{") + text.count("[") > _BRACES * MOST_PAGES:
        raise BookError([f"{source}: more than {MOST_PAGES} runs; split the file"])
    try:
        content = json.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", 1)
        raise BookError([f"{source}:{line}: not JSON: {getattr(error, 'msg', error)}"]) from None
    content = content if isinstance(content, dict) else {}
    pages, actions = content.get("pages"), content.get("actions", [])
    for listed in (pages, actions):
        if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
            raise BookError([f'{source}:1: expected a notebook export: an object with "pages"'])
    assert isinstance(pages, list)
    return _pages_in(_json_rows(pages, source)), _actions_in(actions, source)


def _json_rows(
    pages: list[dict[str, object]], source: str
) -> Iterator[tuple[str, dict[str, object]]]:
    checked: set[tuple[str, ...]] = set()
    for i, page in enumerate(pages, 1):
        keys = tuple(page)
        if keys not in checked:
            _check_keys(list(keys), f"{source}: page {i}", "keys")
            checked.add(keys)
        yield f"{source}: page {i}", page


def _check_keys(keys: list[str], where: str, things: str) -> None:
    if len(keys) > MOST_COLUMNS:
        raise BookError([f"{where}: {len(keys)} {things}; a notebook has {len(EXPORT_KEYS)}"])
    faults = []
    for key in keys:
        if key not in EXPORT_KEYS:
            near = get_close_matches(key[:40], EXPORT_KEYS, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            faults.append(f"{where}: {key[:40]}: unknown column{hint}")
    faults += [f"{where}: {key}: column given twice" for key in EXPORT_KEYS if keys.count(key) > 1]
    faults += [f"{where}: {key}: missing" for key in REQUIRED if key not in keys]
    _raise(faults)


def _raise(faults: list[str]) -> None:
    if len(faults) > MOST_FAULTS:
        faults[MOST_FAULTS:] = [f"and {len(faults) - MOST_FAULTS} more like these"]
    if faults:
        raise BookError(faults)


def _pages_in(rows: Iterable[tuple[str, dict[str, object]]]) -> list[Page]:
    pages, faults = [], []
    for count, (where, row) in enumerate(rows, 1):
        if count > MOST_PAGES:
            raise BookError([f"{where}: more than {MOST_PAGES} runs; split the file"])
        try:
            pages.append(page_in(row))
        except BookError as error:
            faults += [f"{where}: {line}" for line in error.lines]
    _raise(faults)
    return pages


def _actions_in(rows: list[dict[str, Any]], source: str) -> list[Action]:
    actions, faults = [], []
    for i, row in enumerate(rows, 1):
        try:
            actions.append(action_in(row))
        except BookError as error:
            faults += [f"{source}: action {i}: {line}" for line in error.lines]
    _raise(faults)
    return actions


def page_in(row: Mapping[str, object], most: int = MOST_NUMBERED) -> Page:
    """A page from what `page_out` made of it.

    Raises
    ------
    BookError
        One line for each fault; a number or revision above `most` is one.
    """
    known = {BY_KEY[key].name: value for key, value in row.items() if key in BY_KEY}
    run = run_of(known, lambda entry, value: settled_value(entry, value_in(entry, value)))
    try:
        written = moment_read(row["written"]) if row.get("written") else run.when
        number, revision = (_count(row, key, most) for key in ("number", "revision"))
        return Page(_key_in(row, run), number, revision, written, run)
    except ValueError as error:
        raise BookError([str(error)]) from None


def _count(row: Mapping[str, object], key: str, most: int) -> int:
    text = str(row.get(key) or 1)
    if not (text.isascii() and text.isdigit() and 0 < int(text[:12]) <= most):
        raise ValueError(f'{key}: expected a whole number from 1 to {most}, got "{text[:40]}"')
    return int(text)


def _key_in(row: Mapping[str, object], run: Run) -> str:
    key = row.get("key")
    if not key:  # made of what was typed, so that a line has one key on every machine
        typed = datetime.fromisoformat(str(row["when"]).strip()).replace(tzinfo=None)
        run = replace(run, when=typed)
        return uuid.uuid5(_NAMESPACE, json.dumps(stored(run), sort_keys=True)).hex
    if is_key(key):
        return str(key)
    raise ValueError(f'key: expected 32 hexadecimal digits or nothing, got "{str(key)[:40]}"')
