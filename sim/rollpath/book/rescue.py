"""What is left of a damaged book, and a sound one made of it.

The journal beside a book holds every confirmed page, so a rescue is an import from it. What
SQLite still gives of the file itself is added, for a book whose journal is younger or was lost.
"""

import random
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from rollpath.book.action import Action
from rollpath.book.exchange import MOST_NUMBERED
from rollpath.book.file import (
    DamagedError,
    action_of,
    address_of,
    beside,
    make_book,
    names_in,
    page_of,
    select,
    sync_file,
    whose,
)
from rollpath.book.journal import Journal, journal_path, read_journal
from rollpath.book.run import BookError, Page
from rollpath.book.take import Numbers

Item = Page | Action


@dataclass(frozen=True)
class Remains:
    """What was found of a book, and what was not.

    Attributes
    ----------
    items : tuple of Page or Action
        All that is sound, in the order of writing.
    missing : tuple of int
        Numbers up to the highest seen of which there is no page (there may never have been one).
    older : tuple of int
        Numbers of runs whose last edit is lost.
    """

    items: tuple[Item, ...]
    missing: tuple[int, ...]
    older: tuple[int, ...]

    @property
    def runs(self) -> str:
        """How many runs are there, such as ``36 runs``."""
        count = len({item.key for item in self.items if isinstance(item, Page)})
        return f"{count} run{'s' * (count != 1)}"

    def told(self, path: Path) -> list[str]:
        """What is not there, in lines for the user."""
        lines = []
        if self.missing:
            lines.append(f"{path}: nothing was found of {_runs(self.missing)}")
        if self.older:
            lines.append(f"{path}: the last edit is lost of {_runs(self.older)}; check it")
        return lines


def remains(path: Path) -> Remains:
    """All that the journal and the file itself still hold."""
    journal = journal_or_none(path)
    found, traces = _readable(path) if whose(path) == "ours" else ([], [])
    items: list[Item] = [*of_journal(journal)]
    items += lacking(items, found)
    revisions: dict[int, int] = {}
    for item in items:
        if isinstance(item, Page):
            revisions[item.number] = max(item.revision, revisions.get(item.number, 0))
    traces += journal.traces
    last = max([*revisions, *(number for number, _ in traces)], default=0)
    there = range(1, min(last, MOST_NUMBERED) + 1)
    missing = [number for number in there if number not in revisions]
    older = {number for number, revision in traces if 0 < revisions.get(number, 0) < revision}
    return Remains(tuple(items), tuple(missing), tuple(sorted(older)))


def journal_or_none(path: Path) -> Journal:
    """The journal of a book; an empty one where the file is not ours or cannot be read."""
    try:
        return read_journal(journal_path(path))
    except (BookError, OSError):
        return Journal({}, {}, ())


def of_journal(journal: Journal) -> Iterator[Item]:
    """The items of a journal in its order, pages first."""
    for name in journal.pages:
        with suppress(BookError):
            yield journal.page(name)
    for key in journal.actions:
        with suppress(BookError):
            yield journal.action(key)


def lacking(have: Iterable[Item], incoming: Iterable[Item]) -> list[Item]:
    """What comes in and is not there yet; a run whose number another has gets the next free one."""
    have = list(have)
    names = {_name(item) for item in have}
    number_of = {item.key: item.number for item in have if isinstance(item, Page)}
    numbers = Numbers(number_of.values())
    new: list[Item] = []
    for item in incoming:
        if _name(item) in names:
            continue
        if isinstance(item, Page):
            if item.key not in number_of:
                number_of[item.key] = numbers.give(item.number)
            item = replace(item, number=number_of[item.key])
        names.add(_name(item))
        new.append(item)
    return new


def _name(item: Item) -> tuple[str, int]:
    return (item.key, item.revision) if isinstance(item, Page) else (item.key, 0)


def _runs(numbers: Iterable[int]) -> str:
    """Numbers of runs as a person says them, such as ``runs 3, 20 to 24``."""
    numbers = sorted(numbers)
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    told = ", ".join(f"{a}" if a == b else f"{a} to {b}" for a, b in spans[:20])
    more = ", and more" if len(spans) > 20 else ""
    return f"run{'s' * (len(numbers) > 1)} {told}{more}"


# The file itself


def mend(path: Path) -> list[str]:
    """Set a damaged book aside and put what is left of it in its place; holding the lock.

    Returns
    -------
    list of str
        What to tell the user.
    """
    left = remains(path)
    aside = _set_aside(path)
    make_book(path, left.items)
    return [
        f"{path}: was damaged; rescued {left.runs} into a new notebook",
        *left.told(path),
        f"{path}: the damaged file is kept as {aside}",
    ]


def _set_aside(path: Path) -> Path:
    """Copy a damaged book and its log under a name that says so."""
    stamp = f"{datetime.now():%Y%m%d-%H%M%S}"
    aside = path.with_name(f"{path.name}.damaged-{stamp}")
    while aside.exists():
        aside = aside.with_name(aside.name + "x")
    for ending in ("", "-wal", "-journal"):
        if beside(path, ending).exists():
            shutil.copyfile(beside(path, ending), beside(aside, ending))
            sync_file(beside(aside, ending))
    return aside


def _readable(path: Path) -> tuple[list[Item], list[tuple[int, int]]]:
    """Rows of a damaged book whose seal holds; number and revision of those whose does not."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "book.db"
        for ending in ("", "-wal", "-journal"):
            if beside(path, ending).exists():
                shutil.copyfile(beside(path, ending), beside(copy, ending))
        with closing(sqlite3.connect(address_of(copy), uri=True)) as connection:
            connection.text_factory = lambda data: data.decode("utf-8", "replace")
            return _rows_of(connection)


def _rows_of(connection: sqlite3.Connection) -> tuple[list[Item], list[tuple[int, int]]]:
    items: list[Item] = []
    traces = []
    with suppress(sqlite3.Error, UnicodeDecodeError):
        names = names_in(connection)
        for row in _rows_left(connection, select(names, "ORDER BY id")):
            try:
                items.append(page_of(row, names))
            except (DamagedError, TypeError):
                if isinstance(row[2], int) and isinstance(row[3], int):
                    traces.append((row[2], row[3]))
        for seal, content in _rows_left(connection, "SELECT seal, content FROM action ORDER BY id"):
            with suppress(DamagedError, BookError, ValueError):
                items.append(action_of(seal, content))
    return items, traces


def _rows_left(connection: sqlite3.Connection, query: str) -> Iterator[tuple[Any, ...]]:
    """Rows up to the first damage, then those from the last damage on."""
    rows: dict[str, list[tuple[Any, ...]]] = {"": [], " DESC": []}
    for order, found in rows.items():
        with suppress(sqlite3.Error, UnicodeDecodeError):
            found.extend(connection.execute(query + order))  # keeps what came before the damage
    yield from dict.fromkeys([*rows[""], *reversed(rows[" DESC"])])


# One writer at a time


CROWD_PATIENCE = 90.0
"""Seconds to wait for those who write before. Engineering judgement: two hundred at once on one
slow machine; Ctrl-C ends it sooner."""


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Nobody else writes in a book inside this.

    The lock is SQLite's own, on an empty database beside the book, so it works wherever SQLite
    does and is gone with the process.

    Raises
    ------
    BookError
        If another holds it too long, or a file of that name is no lock.
    """
    file = beside(path, ".lock")
    with closing(
        sqlite3.connect(address_of(file), uri=True, timeout=0, isolation_level=None)
    ) as lock:
        end = time.monotonic() + CROWD_PATIENCE
        while not _locked(lock, file, time.monotonic() < end):
            time.sleep(random.uniform(0.01, 0.08))  # so that a crowd does not knock all at once
        yield


def _locked(lock: sqlite3.Connection, file: Path, may_wait: bool) -> bool:
    """Whether the lock is ours now; False when another has it and there is time to wait."""
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or not may_wait:
            raise
        return False
    except sqlite3.DatabaseError:
        raise BookError([f"{file}: is not a lock of rollpath; move it away"]) from None
    return True
