"""What goes on inside the file of a book."""

import sqlite3
import struct
import time
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from rollpath.book.run import ENTRIES, LARGEST_NUMBER, NAMES, BookError, Page, Run, stored
from rollpath.book.salvage import PAGE_SIZE


class DamagedError(Exception):
    """The file is not what was written to it."""


# The file

APPLICATION_ID = 0x726F6C6C
"""Marks an SQLite file as a notebook: "roll" in ASCII."""
APPLICATION_ID_AT = 68
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
columns only after the last, which is what lets `rollpath.salvage` read a book of any version."""
COLUMNS = ("seal", "key", "number", "revision", "written", *NAMES)
_QUOTED = ", ".join(f'"{name}"' for name in COLUMNS)
SELECT = f"SELECT {_QUOTED} FROM page"
_INSERT = f"INSERT INTO page ({_QUOTED}) VALUES ({', '.join('?' * len(COLUMNS))})"
IN_FORCE = " WHERE revision = (SELECT max(revision) FROM page AS p WHERE p.key = page.key)"
PATIENCE = 15.0
"""Seconds to wait for another process that writes (engineering judgement)."""
_DAMAGE_CODES = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR})
"""The last is for SQL that does not fit the file; ours fits every sound one."""


# What goes on inside the file


@contextmanager
def told_plainly(path: Path) -> Iterator[None]:
    """Turn what the disk and SQLite say into one line; damage goes to the rescue."""
    try:
        yield
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in _DAMAGE_CODES:
            raise DamagedError from error
        raise BookError([f"{path}: {_plain_words(error)}"]) from error
    except UnicodeDecodeError as error:  # SQLite quoting a damaged schema
        raise DamagedError from error
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


def connect(path: Path) -> sqlite3.Connection:
    """A connection to a sound book of the present schema."""
    connection = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
    try:
        connection.text_factory = lambda data: data.decode("utf-8", "replace")
        connection.execute(f"PRAGMA page_size={PAGE_SIZE}")
        if not _is_ours_or_blank(connection):
            raise DamagedError
        _set_log_mode(connection)
        connection.execute("PRAGMA synchronous=FULL")
        migrate(connection, path, MIGRATIONS)
        if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise DamagedError
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
    return bool((mark == APPLICATION_ID) == (version > 0) == (things > 0))


def _set_log_mode(connection: sqlite3.Connection) -> None:
    """Write-ahead log. SQLite does not wait for others when the mode changes, so this does."""
    end = time.monotonic() + PATIENCE
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
        with committed(connection):
            for statement in [s for step in migrations[version() :] for s in step]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={len(migrations)}")
    if version() > len(migrations):
        raise BookError([f"{path}: was written by a newer rollpath; update rollpath to read it"])


@contextmanager
def committed(connection: sqlite3.Connection) -> Iterator[None]:
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


def insert_page(connection: sqlite3.Connection, page: Page) -> None:
    values = stored(page.run)
    head = (page.key, page.number, page.revision, page.written.isoformat())
    row = [_seal(*head, values), *head, *(values.get(name) for name in NAMES)]
    connection.execute(_INSERT, row)


def page_of(row: Iterable[Any]) -> Page:
    """A page from a row in the order of `COLUMNS`.

    Raises
    ------
    DamagedError
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
            raise DamagedError
        run = Run(**{**values, "when": datetime.fromisoformat(values["when"])})
        return Page(key, number, revision, datetime.fromisoformat(written), run)
    except (TypeError, ValueError, KeyError) as error:
        raise DamagedError from error


def pages_of(
    connection: sqlite3.Connection, query: str, values: tuple[Any, ...] = ()
) -> list[Page]:
    return [page_of(row) for row in connection.execute(query, values)]


def history(connection: sqlite3.Connection, number: int) -> list[Page]:
    query = f"{SELECT} WHERE number = ? ORDER BY revision"
    pages = pages_of(connection, query, (number,)) if 0 < number < LARGEST_NUMBER else []
    if not pages:
        last = first_free_number(connection) - 1
        holds = f"its runs are numbered up to {last}" if last else "it is empty"
        raise BookError([f"no run {number} in this notebook; {holds}"])
    return pages


def first_free_number(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT coalesce(max(number), 0) + 1 FROM page").fetchone()[0])
