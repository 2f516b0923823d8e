"""The record of nights: every run written down, kept whatever happens, and found again.

A `Book` is one SQLite file. It is only ever added to: a run that is edited gets a new page and
the old page stays. A page that `Book.add`, `Book.edit` or `Book.take` has returned from is on the
disk, synced, and then copied from the log into the file itself. Every page is sealed with a check
sum, so that damage is noticed and a damaged file can be read page by page (`rollpath.salvage`).
"""

import os
import sqlite3
import sys
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from rollpath.book.file import (
    IN_FORCE,
    PATIENCE,
    SELECT,
    DamagedError,
    committed,
    connect,
    first_free_number,
    history,
    insert_page,
    pages_of,
    told_plainly,
)
from rollpath.book.rescue import is_damaged, put_in_place, rescue_book, rescued_path, sync_file
from rollpath.book.run import BookError, Page, Run, settled

Result = TypeVar("Result")


def default_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the notebook lies unless told otherwise: the user's data folder."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(environment.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:  # XDG Base Directory Specification
        base = Path(environment.get("XDG_DATA_HOME") or home / ".local" / "share")
    return base / "rollpath" / "notebook.db"


class Book:
    """A notebook, open. Use it as a context manager.

    Attributes
    ----------
    notices : list of str
        What the user has to be told: that the file was damaged, what was rescued and where the
        damaged one lies.
    """

    def __init__(self, path: str | Path) -> None:
        """Open a notebook, made if there is none, migrated if an older rollpath made it.

        Raises
        ------
        BookError
            If it cannot be opened, is of a newer rollpath, or is no notebook.
        """
        self.path = Path(path)
        self.notices: list[str] = []
        with told_plainly(self.path):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._presence = _Presence(self.path)
            if rescued_path(self.path).exists():
                with self._presence.alone():
                    put_in_place(self.path)
        try:
            self._connection = self._opened()
        except BaseException:
            self._presence.leave()
            raise

    def __enter__(self) -> "Book":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._connection.close()
        self._presence.leave()

    def add(self, run: Run) -> int:
        """Write a run down.

        Returns
        -------
        int
            Its number. The run is on the disk.

        Raises
        ------
        BookError
            If it cannot be kept or the disk refuses it; then nothing is written.
        """
        run = settled(run)

        def write(connection: sqlite3.Connection) -> int:
            number = first_free_number(connection)
            insert_page(connection, Page(uuid.uuid4().hex, number, 1, _now(), run))
            return number

        return self._write(write)

    def edit(self, number: int, changes: Mapping[str, Any]) -> Page:
        """Change things of a run, by attribute of `Run`; what they were stays in the book.

        Raises
        ------
        BookError
            If there is no such run or a new value cannot be kept.
        """

        def write(connection: sqlite3.Connection) -> Page:
            page = history(connection, number)[-1]
            run = settled(replace(page.run, **changes))
            if run == page.run:
                return page
            newer = replace(page, revision=page.revision + 1, written=_now(), run=run)
            insert_page(connection, newer)
            return newer

        return self._write(write)

    def take(self, pages: Iterable[Page]) -> "Taken":
        """Add pages from an export, all of them or none.

        A page that is in the book already is passed over. A page that differs from the book's
        (corrected in a spreadsheet, say) becomes the newest revision; the older ones stay.
        """
        incoming = [replace(page, run=settled(page.run)) for page in pages]
        return self._write(lambda connection: _take(connection, incoming))

    def runs(self) -> list[Page]:
        """The page in force of every run, by night and then by number."""
        pages = self._read(lambda connection: pages_of(connection, SELECT + IN_FORCE))
        return sorted(pages, key=lambda page: (page.run.when, page.number))

    def history(self, number: int) -> list[Page]:
        """All pages of a run, the one in force last.

        Raises
        ------
        BookError
            If there is no such run.
        """
        return self._read(lambda connection: history(connection, number))

    def pages(self) -> list[Page]:
        """All pages of all runs: what an export holds."""
        query = SELECT + " ORDER BY number, revision"
        return self._read(lambda connection: pages_of(connection, query))

    def backup(self, target: str | Path) -> None:
        """Copy the book, whole or not at all, while others may go on writing in it.

        Raises
        ------
        BookError
            If there is a file of that name or it cannot be written.
        """
        target = Path(target)
        if target.exists():
            raise BookError([f"{target}: is there already; name another file for the backup"])
        self.pages()  # a backup of damage would be no backup
        beside = target.with_name(f".{target.name}.{uuid.uuid4().hex[:8]}")
        try:
            with told_plainly(target), closing(sqlite3.connect(beside)) as copy:
                self._connection.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
            with told_plainly(target):
                sync_file(beside)
                beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)

    def _opened(self) -> sqlite3.Connection:
        try:
            with told_plainly(self.path):
                return connect(self.path)
        except DamagedError:
            self._rescue()
            with told_plainly(self.path):
                return connect(self.path)

    def _read(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        """Do something with the book, once more from the rescued one if it is damaged."""
        try:
            with told_plainly(self.path):
                return action(self._connection)
        except DamagedError:
            self._connection.close()
            self._rescue()
            self._connection = self._opened()
        try:
            with told_plainly(self.path):
                return action(self._connection)
        except DamagedError:
            raise BookError([f"{self.path}: is damaged again; check the disk"]) from None

    def _write(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        def transaction(connection: sqlite3.Connection) -> Result:
            with committed(connection):
                result = action(connection)
            with suppress(sqlite3.OperationalError):  # it is on the disk already, in the log
                connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
            return result

        return self._read(transaction)

    def _rescue(self) -> None:
        with told_plainly(self.path), self._presence.alone():
            if not is_damaged(self.path):
                return  # another process was here first
            self.notices += rescue_book(self.path)


def _now() -> datetime:
    return datetime.now()


@dataclass(frozen=True)
class Taken:
    """What came of an import, in runs: new ones, changed ones, and pages known already."""

    added: int
    changed: int
    known: int


def _take(connection: sqlite3.Connection, incoming: list[Page]) -> Taken:
    ours: dict[str, list[Page]] = {}
    for page in pages_of(connection, SELECT + " ORDER BY revision"):
        ours.setdefault(page.key, []).append(page)
    numbers = {pages[0].number for pages in ours.values()}
    before, changed, known = set(ours), set(), 0
    for page in sorted(incoming, key=lambda page: (page.number, page.revision)):
        have = ours.setdefault(page.key, [])
        if any((page.written, page.run) == (old.written, old.run) for old in have):
            known += 1
            continue
        number = have[0].number if have else _number_for(page, numbers)
        last = have[-1].revision if have else 0
        page = replace(page, number=number, revision=max(page.revision, last + 1))
        insert_page(connection, page)
        numbers.add(number)
        have.append(page)
        changed |= {page.key} & before
    return Taken(len(set(ours) - before), len(changed), known)


def _number_for(page: Page, numbers: set[int]) -> int:
    """The number it had where it came from, or the next free one."""
    return page.number if page.number not in numbers else max(numbers) + 1


# Damage


class _Presence:
    """Says that this process has a book open, by a shared lock on a file beside it.

    The lock is SQLite's own, on an empty database, so it works wherever SQLite does and is gone
    with the process. A rescue swaps the file and so waits until nobody else has it open.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = sqlite3.connect(
            path.with_name(path.name + ".lock"), timeout=PATIENCE, isolation_level=None
        )
        self._share()

    def _share(self) -> None:
        self._lock.execute("BEGIN")
        self._lock.execute("SELECT count(*) FROM sqlite_master").fetchone()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else has the book open inside this; waits a while for those who have."""
        self._lock.execute("ROLLBACK")
        try:
            self._lock.execute("BEGIN EXCLUSIVE")
            yield
        finally:
            if self._lock.in_transaction:
                self._lock.execute("ROLLBACK")
            self._share()

    def leave(self) -> None:
        self._lock.close()
