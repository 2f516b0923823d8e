"""The record of nights: every run written down, kept whatever happens, and found again.

A `Book` is one SQLite file. It is only ever added to: a run that is edited gets a new page and
the old page stays. A page that `Book.add`, `Book.edit` or `Book.take` has returned from is on the
disk, synced, and then copied from the log into the file itself. Every page is sealed with a check
sum, so that damage is noticed and a damaged file can be read page by page (`sim.salvage`).
"""

import json
import os
import shutil
import sqlite3
import struct
import sys
import time
import uuid
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from sim.runs import (
    ENTRIES,
    LARGEST_NUMBER,
    LONGEST_NOTE,
    NAMES,
    BookError,
    Page,
    Run,
    settled,
    stored,
)
from sim.salvage import PAGE_SIZE, readable_rows

Result = TypeVar("Result")


class _DamagedError(Exception):
    """The file is not what was written to it."""


# The file

_APPLICATION_ID = 0x726F6C6C
"""Marks an SQLite file as a notebook: "roll" in ASCII."""
_APPLICATION_ID_AT = 68
"""Where the file format keeps it."""
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE page (
            id INTEGER PRIMARY KEY, seal INTEGER NOT NULL, key TEXT NOT NULL,
            number INTEGER NOT NULL, revision INTEGER NOT NULL, written TEXT NOT NULL,
            "when" TEXT, track TEXT, car TEXT, condition TEXT, session TEXT, groove TEXT,
            left_front_rollout REAL, right_front_rollout REAL,
            left_rear_rollout REAL, right_rear_rollout REAL,
            left_front_weight REAL, right_front_weight REAL,
            left_rear_weight REAL, right_rear_weight REAL, weights_from TEXT,
            left_front_jack REAL, right_front_jack REAL, left_rear_jack REAL, right_rear_jack REAL,
            left_front_pressure REAL, right_front_pressure REAL,
            left_rear_pressure REAL, right_rear_pressure REAL,
            wheel TEXT, drifts_out TEXT, crabs TEXT, wheelspin TEXT, entry TEXT,
            best_lap REAL, typical_lap REAL, recommended_stagger REAL, optimum_stagger REAL,
            window_low REAL, window_high REAL, counts TEXT, note TEXT)""",
        "CREATE UNIQUE INDEX page_of_key ON page (key, revision)",
        "CREATE UNIQUE INDEX page_of_number ON page (number, revision)",
    ),
)
"""Statements from one schema version to the next. Steps are only ever added at the end, and
columns only after the last, which is what lets `sim.salvage` read a book of any version."""
_COLUMNS = ("seal", "key", "number", "revision", "written", *NAMES)
_QUOTED = ", ".join(f'"{name}"' for name in _COLUMNS)
_SELECT = f"SELECT {_QUOTED} FROM page"
_INSERT = f"INSERT INTO page ({_QUOTED}) VALUES ({', '.join('?' * len(_COLUMNS))})"
_IN_FORCE = " WHERE revision = (SELECT max(revision) FROM page AS p WHERE p.key = page.key)"
_PATIENCE = 15.0
"""Seconds to wait for another process that writes (engineering judgement)."""
_DAMAGE_CODES = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR})
"""The last is for SQL that does not fit the file; ours fits every sound one."""


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
        with _told(self.path):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._presence = _Presence(self.path)
            if _rescued_path(self.path).exists():
                with self._presence.alone():
                    _put_in_place(self.path)
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
            number = _first_free_number(connection)
            _insert(connection, Page(uuid.uuid4().hex, number, 1, _now(), run))
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
            page = _history(connection, number)[-1]
            run = settled(replace(page.run, **changes))
            if run == page.run:
                return page
            newer = replace(page, revision=page.revision + 1, written=_now(), run=run)
            _insert(connection, newer)
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
        pages = self._read(lambda connection: _pages(connection, _SELECT + _IN_FORCE))
        return sorted(pages, key=lambda page: (page.run.when, page.number))

    def history(self, number: int) -> list[Page]:
        """All pages of a run, the one in force last.

        Raises
        ------
        BookError
            If there is no such run.
        """
        return self._read(lambda connection: _history(connection, number))

    def pages(self) -> list[Page]:
        """All pages of all runs: what an export holds."""
        query = _SELECT + " ORDER BY number, revision"
        return self._read(lambda connection: _pages(connection, query))

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
            with _told(target), closing(sqlite3.connect(beside)) as copy:
                self._connection.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
            with _told(target):
                _sync(beside)
                beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)

    def _opened(self) -> sqlite3.Connection:
        try:
            with _told(self.path):
                return _connect(self.path)
        except _DamagedError:
            self._rescue()
            with _told(self.path):
                return _connect(self.path)

    def _read(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        """Do something with the book, once more from the rescued one if it is damaged."""
        try:
            with _told(self.path):
                return action(self._connection)
        except _DamagedError:
            self._connection.close()
            self._rescue()
            self._connection = self._opened()
        try:
            with _told(self.path):
                return action(self._connection)
        except _DamagedError:
            raise BookError([f"{self.path}: is damaged again; check the disk"]) from None

    def _write(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        def transaction(connection: sqlite3.Connection) -> Result:
            with _transaction(connection):
                result = action(connection)
            with suppress(sqlite3.OperationalError):  # it is on the disk already, in the log
                connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
            return result

        return self._read(transaction)

    def _rescue(self) -> None:
        with _told(self.path), self._presence.alone():
            if not _is_damaged(self.path):
                return  # another process was here first
            self.notices += _rescue(self.path)


# What goes on inside the file


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the disk and SQLite say into one line; damage goes to the rescue."""
    try:
        yield
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in _DAMAGE_CODES:
            raise _DamagedError from error
        raise BookError([f"{path}: {_plain_words(error)}"]) from error
    except UnicodeDecodeError as error:  # SQLite quoting a damaged schema
        raise _DamagedError from error
    except OSError as error:
        raise BookError([f"{path}: {error.strerror or error}"]) from error


def _plain_words(error: sqlite3.Error) -> str:
    words = {
        sqlite3.SQLITE_FULL: "the disk is full; nothing was written",
        sqlite3.SQLITE_IOERR: "the disk refused the write (full?); nothing was written",
        sqlite3.SQLITE_BUSY: "another program has the notebook; nothing was written, try again",
        sqlite3.SQLITE_LOCKED: "another program has the notebook; nothing was written, try again",
        sqlite3.SQLITE_READONLY: "cannot be written; nothing was changed",
        sqlite3.SQLITE_CANTOPEN: "cannot be opened; check the folder and its permissions",
    }
    return words.get(getattr(error, "sqlite_errorcode", 0) & 0xFF, str(error))


def _connect(path: Path) -> sqlite3.Connection:
    """A connection to a sound book of the present schema."""
    connection = sqlite3.connect(path, timeout=_PATIENCE, isolation_level=None)
    try:
        connection.text_factory = lambda data: data.decode("utf-8", "replace")
        connection.execute(f"PRAGMA page_size={PAGE_SIZE}")
        if not _is_ours_or_blank(connection):
            raise _DamagedError
        _set_log_mode(connection)
        connection.execute("PRAGMA synchronous=FULL")
        migrate(connection, path, MIGRATIONS)
        if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise _DamagedError
    except BaseException:
        connection.close()
        raise
    return connection


def _is_ours_or_blank(connection: sqlite3.Connection) -> bool:
    """Marked and with its table, or neither; looked at in one go, for another may be making it."""
    connection.execute("BEGIN")
    (mark,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (things,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    connection.execute("COMMIT")
    return bool((mark == _APPLICATION_ID) == (version > 0) == (things > 0))


def _set_log_mode(connection: sqlite3.Connection) -> None:
    """Write-ahead log. SQLite does not wait for others when the mode changes, so this does."""
    end = time.monotonic() + _PATIENCE
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
            time.sleep(0.01)


def migrate(
    connection: sqlite3.Connection, path: Path, migrations: tuple[tuple[str, ...], ...]
) -> None:
    """Bring the schema up to date, all the steps or none.

    Raises
    ------
    BookError
        If the book is of a newer rollpath.
    """

    def version() -> int:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])

    if version() < len(migrations):
        with _transaction(connection):
            for statement in [s for step in migrations[version() :] for s in step]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id={_APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={len(migrations)}")
    if version() > len(migrations):
        raise BookError([f"{path}: was written by a newer rollpath; update rollpath to read it"])


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _seal(key: str, number: int, revision: int, written: str, values: dict[str, Any]) -> int:
    """Check sum of a page; columns added later and empty do not change it."""
    numbers = [value for value in values.values() if isinstance(value, float)]
    words = [value for value in values.values() if not isinstance(value, float)]
    text = "\0".join([key, str(number), str(revision), written, *values, *words])
    return zlib.crc32(struct.pack(f"<{len(numbers)}d", *numbers) + text.encode())


def _insert(connection: sqlite3.Connection, page: Page) -> None:
    values = stored(page.run)
    head = (page.key, page.number, page.revision, page.written.isoformat())
    row = [_seal(*head, values), *head, *(values.get(name) for name in NAMES)]
    connection.execute(_INSERT, row)


def _page(row: Iterable[Any]) -> Page:
    """A page from a row in the order of `_COLUMNS`.

    Raises
    ------
    _DamagedError
        If its seal is broken.
    """
    seal, key, number, revision, written, *rest = row
    values: dict[str, Any] = {
        entry.name: float(value) if entry.unit and isinstance(value, int) else value
        for entry, value in zip(ENTRIES, rest, strict=False)
        if value is not None
    }
    try:
        if seal != _seal(key, number, revision, written, values):
            raise _DamagedError
        run = Run(**{**values, "when": datetime.fromisoformat(values["when"])})
        return Page(key, number, revision, datetime.fromisoformat(written), run)
    except (TypeError, ValueError, KeyError) as error:
        raise _DamagedError from error


def _pages(connection: sqlite3.Connection, query: str, values: tuple[Any, ...] = ()) -> list[Page]:
    return [_page(row) for row in connection.execute(query, values)]


def _history(connection: sqlite3.Connection, number: int) -> list[Page]:
    query = f"{_SELECT} WHERE number = ? ORDER BY revision"
    pages = _pages(connection, query, (number,)) if 0 < number < LARGEST_NUMBER else []
    if not pages:
        last = _first_free_number(connection) - 1
        holds = f"its runs are numbered up to {last}" if last else "it is empty"
        raise BookError([f"no run {number} in this notebook; {holds}"])
    return pages


def _first_free_number(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT coalesce(max(number), 0) + 1 FROM page").fetchone()[0])


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
    for page in _pages(connection, _SELECT + " ORDER BY revision"):
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
        _insert(connection, page)
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
            path.with_name(path.name + ".lock"), timeout=_PATIENCE, isolation_level=None
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


def _is_damaged(path: Path) -> bool:
    try:
        with _told(path), closing(_connect(path)) as connection:
            if connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
                return True  # the indexes too, which a quick check passes over
            _pages(connection, _SELECT)
    except _DamagedError:
        return True
    return False


def _rescue(path: Path) -> list[str]:
    """Set a damaged book aside and put what can be read of it in its place.

    Returns
    -------
    list of str
        What to tell the user.

    Raises
    ------
    BookError
        If there is nothing of a notebook in the file; it is left as it is.
    """
    book, log = path.read_bytes(), _log_path(path)
    sound, torn = _sorted_out(book, log.read_bytes() if log.exists() else b"")
    if not sound and not torn and not _is_marked(book):
        path.with_name(path.name + ".lock").unlink(missing_ok=True)
        raise BookError([f"{path}: is not a notebook of rollpath; name another file with --book"])
    aside = _set_aside(path)
    _write_rescued(path, sound)
    _put_in_place(path)
    count = len({page.key for page in sound})
    notices = [f"{path}: was damaged; rescued {count} run{'s' * (count != 1)} into a new notebook"]
    if torn:
        torn_path = aside.with_name(aside.name + ".torn.json")
        torn_path.write_text(json.dumps(torn, indent=1, ensure_ascii=False, default=repr))
        pages = f"{len(torn)} page{'s' * (len(torn) != 1)}"
        notices.append(
            f"{path}: {pages} had a broken seal; what makes sense is in, "
            f"marked in its note; all that was found is in {torn_path}"
        )
    return [*notices, f"{path}: the damaged file is kept as {aside}"]


def _is_marked(book: bytes) -> bool:
    mark = book[_APPLICATION_ID_AT : _APPLICATION_ID_AT + 4]
    return mark == _APPLICATION_ID.to_bytes(4, "big")


def _sorted_out(book: bytes, log: bytes) -> tuple[list[Page], list[dict[str, Any]]]:
    """The pages that can be rescued, and what was found of those whose seal is broken.

    A page with a broken seal that still makes a run is rescued too, marked in its note.
    """
    sound: dict[tuple[str, int], Page] = {}
    torn: dict[tuple[Any, Any], dict[str, Any]] = {}
    for row in readable_rows(book, log):
        values = dict(zip(_COLUMNS, row[1:], strict=False))  # the first is the row's own number
        try:
            page = _page(row[1:])
            sound[page.key, page.revision] = page
        except (_DamagedError, ValueError):
            if len(row) > len(_COLUMNS) // 2 and isinstance(values["number"], int):
                torn[values["key"], values["revision"]] = values
    known = {(page.number, page.revision) for page in sound.values()}
    left = [
        values for name, values in torn.items()
        if name not in sound and (values["number"], values["revision"]) not in known
    ]  # fmt: skip
    mended = [page for page in map(_mended, left) if page is not None]
    return _one_run_a_number([*sound.values(), *mended]), left


MENDED_NOTE = "[read from a damaged file, check it] "


def _mended(values: dict[str, Any]) -> Page | None:
    """A page whose seal is broken but which makes sense; None when it does not."""
    entries: dict[str, Any] = {entry.name: values.get(entry.name) for entry in ENTRIES}
    try:
        entries["when"] = datetime.fromisoformat(entries["when"])
        entries["note"] = (MENDED_NOTE + (entries["note"] or ""))[:LONGEST_NOTE]
        key, number, revision = uuid.UUID(values["key"]).hex, values["number"], values["revision"]
        if not 0 < number < LARGEST_NUMBER or not 0 < revision < LARGEST_NUMBER:
            return None
        written = datetime.fromisoformat(values["written"])
        return Page(key, number, revision, written, settled(Run(**entries)))
    except (BookError, AttributeError, TypeError, ValueError):
        return None


def _one_run_a_number(pages: list[Page]) -> list[Page]:
    """The pages, a run whose number another has renumbered.

    What a killed writer never confirmed may be found beside the run that got its number after.
    """
    numbers: dict[str, int] = {}
    taken: set[int] = set()
    for page in pages:
        if page.key not in numbers:
            free = page.number if page.number not in taken else max(taken) + 1
            numbers[page.key] = free
            taken.add(free)
    told = [replace(page, number=numbers[page.key]) for page in pages]
    return sorted(told, key=lambda page: (page.number, page.revision))


def _log_path(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def _rescued_path(path: Path) -> Path:
    return path.with_name(path.name + ".rescued")


def _set_aside(path: Path) -> Path:
    """Copy a damaged book and its log under a name that says so."""
    stamp = f"{datetime.now():%Y%m%d-%H%M%S}"
    aside = path.with_name(f"{path.name}.damaged-{stamp}")
    while aside.exists():
        aside = aside.with_name(aside.name + "x")
    for old, new in ((path, aside), (_log_path(path), _log_path(aside))):
        if old.exists():
            shutil.copyfile(old, new)
            _sync(new)
    return aside


def _write_rescued(path: Path, pages: list[Page]) -> None:
    """A whole new book of these pages beside the damaged one, named `.rescued` once complete."""
    beside = path.with_name(f"{path.name}.{uuid.uuid4().hex[:8]}")
    try:
        with closing(_connect(beside)) as connection:
            with _transaction(connection):
                for page in pages:
                    _insert(connection, page)
            connection.execute("PRAGMA journal_mode=DELETE")
        _sync(beside)
        beside.replace(_rescued_path(path))
    finally:
        beside.unlink(missing_ok=True)


def _put_in_place(path: Path) -> None:
    """Put a complete rescued book in place of the damaged one; done over if it was cut short."""
    if _rescued_path(path).exists():
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
        _rescued_path(path).replace(path)


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
