"""What goes on inside the file of a book: an SQLite database that carries our application id."""

import json
import os
import shutil
import sqlite3
import struct
import tempfile
import time
import uuid
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Any

from rollpath.book.action import Action, action_in, action_out, action_seal
from rollpath.book.journal import sync_folder
from rollpath.book.run import (
    ENTRIES,
    LARGEST_NUMBER,
    NAMES,
    UNIT_OF,
    BookError,
    Page,
    Run,
    stored,
)


class DamagedError(Exception):
    """The file is ours and is not what was written to it."""


# Whose file it is, told from its first bytes so that nobody else's database is ever opened

APPLICATION_ID = 0x726F6C6C
"""Marks an SQLite file as a notebook: "roll" in ASCII."""
_MAGIC = b"SQLite format 3\0"
_HEADER = 100
"""Bytes of the header of an SQLite file (SQLite project, "Database File Format", sec. 1.3)."""
_LOG_AT, _VERSION_AT, _ID_AT = 18, 60, 68
"""Where in it stand the journal mode, the user version and the application id."""
SCHEMA = len(ENTRIES)
"""The version of a book is how many things its runs hold; the first had version 1."""


def whose(path: Path) -> str:
    """``ours``, ``none`` (no file, or an empty one) or ``other``; told without opening a database.

    Raises
    ------
    BookError
        If the book is of a newer rollpath.
    """
    header = _header(path)
    if not header:
        return "none"
    if not header.startswith(_MAGIC) or _number_at(header, _ID_AT) != APPLICATION_ID:
        return "other"
    if _number_at(header, _VERSION_AT) > SCHEMA:
        raise BookError([f"{path}: was written by a newer rollpath; update rollpath to read it"])
    return "ours"


def _header(path: Path) -> bytes:
    with told_plainly(path):
        if not path.exists():
            return b""
        mode = path.stat().st_mode
        if S_ISDIR(mode):
            raise BookError([f"{path}: cannot be opened: it is a folder; name a file in it"])
        if not S_ISREG(mode):
            return b"no regular file"
        with path.open("rb") as file:
            return file.read(_HEADER)


def _number_at(header: bytes, at: int) -> int:
    return int.from_bytes(header[at : at + 4], "big")


# What SQLite and the disk say

PATIENCE = 15.0
"""Seconds to wait for another process that writes (engineering judgement)."""
_DAMAGE_CODES = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR})
"""The last is for SQL that does not fit the file; ours fits every sound one."""


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
        raise BookError([f"{path}: {error.strerror or error}; nothing was written"]) from error


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


# Opening

_PAGE_TABLE = """CREATE TABLE page (
    id INTEGER PRIMARY KEY, seal INTEGER NOT NULL, key TEXT NOT NULL, number INTEGER NOT NULL,
    revision INTEGER NOT NULL, written TEXT NOT NULL)"""
_PAGE_INDEXES = (
    "CREATE UNIQUE INDEX page_of_key ON page (key, revision)",
    "CREATE UNIQUE INDEX page_of_number ON page (number, revision)",
)
_ACTION_TABLE = """CREATE TABLE action (
    id INTEGER PRIMARY KEY, seal INTEGER NOT NULL, key TEXT NOT NULL UNIQUE,
    content TEXT NOT NULL)"""
_HEAD = ("seal", "key", "number", "revision", "written")


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection to a sound book that cannot write a byte beside or in it.

    A book whose writer was killed half way would have to be put right first; that too is damage
    to one who only reads.
    """
    header = _header(path)
    if header[_LOG_AT : _LOG_AT + 1] == b"\x02":  # of an older rollpath, with a log beside it
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / "book.db"
            for ending in ("", "-wal"):
                if (log := beside(path, ending)).exists():
                    shutil.copyfile(log, beside(copy, ending))
            with closing(_connection(copy)) as connection:
                _check(connection, "quick_check")
                yield connection
        return
    with closing(_connection(path, "?mode=ro")) as connection:
        try:
            _check(connection, "quick_check")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_READONLY:
                raise DamagedError from error
            raise
        yield connection


@contextmanager
def writing(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection to a sound book of the present schema, for one who holds the lock."""
    with closing(_connection(path)) as connection:
        _check(connection, "integrity_check")
        _leave_log(connection)
        connection.execute("PRAGMA synchronous=EXTRA")
        migrate(connection)
        yield connection


def _connection(path: Path, how: str = "") -> sqlite3.Connection:
    connection = sqlite3.connect(
        address_of(path) + how, uri=True, timeout=PATIENCE, isolation_level=None
    )
    connection.text_factory = lambda data: data.decode("utf-8", "replace")
    return connection


def address_of(path: Path) -> str:
    """A file by its URI: no name of a file is taken for anything else."""
    return path.absolute().as_uri()


def _check(connection: sqlite3.Connection, how: str) -> None:
    if connection.execute(f"PRAGMA {how}(1)").fetchone() != ("ok",):
        raise DamagedError
    if not columns_of(connection, "page"):
        raise DamagedError


def _leave_log(connection: sqlite3.Connection) -> None:
    """Bring a book of an older rollpath into one file, once nobody else has it open."""
    end = time.monotonic() + PATIENCE
    while True:
        try:
            connection.execute("PRAGMA journal_mode=DELETE")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
            time.sleep(0.01)


def beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def columns_of(connection: sqlite3.Connection, table: str) -> list[str]:
    return [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]


def migrate(connection: sqlite3.Connection) -> None:
    """Give a book the columns and tables that it lacks, all or none. Nothing is taken away."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version >= SCHEMA:
        return
    with committed(connection):
        if not columns_of(connection, "page"):
            for statement in (_PAGE_TABLE, *_PAGE_INDEXES):
                connection.execute(statement)
        there = columns_of(connection, "page")
        for name in [name for name in NAMES if name not in there]:
            sort = "REAL" if UNIT_OF[name] else "TEXT"
            connection.execute(f'ALTER TABLE page ADD COLUMN "{name}" {sort}')
        if not columns_of(connection, "action"):
            connection.execute(_ACTION_TABLE)
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version={SCHEMA}")


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


def make_book(path: Path, items: Iterable[Page | Action]) -> None:
    """Put a whole new book of these pages in a place, for one who holds the lock."""
    made = fresh_beside(path)
    try:
        with closing(_connection(made)) as connection:
            migrate(connection)
            with committed(connection):
                for item in items:
                    insert(connection, item)
        sync_file(made)
        for ending in ("-wal", "-shm", "-journal"):  # of the file that goes: not for the new one
            beside(path, ending).unlink(missing_ok=True)
        made.replace(path)
        sync_folder(path.parent)
    finally:
        made.unlink(missing_ok=True)


def fresh_beside(path: Path) -> Path:
    """A name beside a file for its next state; what one who was killed left there is swept up."""
    for old in path.parent.glob(f".{_globbed(path.name)}.????????.new"):
        old.unlink(missing_ok=True)
    return path.with_name(f".{path.name}.{uuid.uuid4().hex[:8]}.new")


def _globbed(name: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def in_memory(items: Iterable[Page | Action]) -> sqlite3.Connection:
    """A book of these pages that is nowhere on the disk."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)
    with committed(connection):
        for item in items:
            insert(connection, item)
    return connection


def sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


# Pages


def _seal(key: str, number: int, revision: int, written: str, values: dict[str, Any]) -> int:
    """Check sum of a page; columns added later and empty do not change it."""
    numbers = [value for value in values.values() if isinstance(value, float)]
    words = [value for value in values.values() if not isinstance(value, float)]
    text = "\0".join([key, str(number), str(revision), written, *values, *words])
    return zlib.crc32(struct.pack(f"<{len(numbers)}d", *numbers) + text.encode())


def insert(connection: sqlite3.Connection, item: Page | Action) -> None:
    if isinstance(item, Action):
        content = json.dumps(action_out(item), ensure_ascii=False)
        row: list[Any] = [action_seal(content), item.key, content]
        connection.execute("INSERT INTO action (seal, key, content) VALUES (?, ?, ?)", row)
        return
    values = stored(item.run)
    head = (item.key, item.number, item.revision, item.written.isoformat())
    row = [_seal(*head, values), *head, *values.values()]
    names = _quoted((*_HEAD, *values))
    connection.execute(f"INSERT INTO page ({names}) VALUES ({', '.join('?' * len(row))})", row)


def page_of(row: Iterable[Any], names: Iterable[str]) -> Page:
    seal, key, number, revision, written, *rest = row
    values: dict[str, Any] = {
        name: float(value) if UNIT_OF[name] and isinstance(value, int) else value
        for name, value in zip(names, rest, strict=True)
        if value is not None
    }
    try:
        if seal != _seal(key, number, revision, written, values):
            raise DamagedError
        run = Run(**{**values, "when": datetime.fromisoformat(values["when"])})
        return Page(key, number, revision, datetime.fromisoformat(written), run)
    except (TypeError, ValueError, KeyError) as error:
        raise DamagedError from error


IN_FORCE = "WHERE revision = (SELECT max(revision) FROM page AS p WHERE p.key = page.key)"
IN_ORDER = "ORDER BY number, revision"


def pages_of(
    connection: sqlite3.Connection, which: str = IN_ORDER, values: tuple[Any, ...] = ()
) -> list[Page]:
    """Pages that the end of a SELECT picks.

    Raises
    ------
    DamagedError
        If a seal is broken.
    """
    names = names_in(connection)
    return [page_of(row, names) for row in connection.execute(select(names, which), values)]


def names_in(connection: sqlite3.Connection) -> list[str]:
    """What the runs of this book can hold: less in an older one."""
    there = set(columns_of(connection, "page"))
    return [name for name in NAMES if name in there]


def select(names: Iterable[str], which: str) -> str:
    return f"SELECT {_quoted((*_HEAD, *names))} FROM page {which}"


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def history(connection: sqlite3.Connection, number: int) -> list[Page]:
    which = "WHERE number = ? ORDER BY revision"
    pages = pages_of(connection, which, (number,)) if 0 < number <= LARGEST_NUMBER else []
    if not pages:
        last = first_free_number(connection) - 1
        holds = f"its runs are numbered up to {last}" if last else "it is empty"
        raise BookError([f"no run {number} in this notebook; {holds}"])
    return pages


def first_free_number(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT coalesce(max(number), 0) + 1 FROM page").fetchone()[0])


def count_of(connection: sqlite3.Connection) -> int:
    """How many pages and actions a book holds."""
    tables = [name for name in ("page", "action") if columns_of(connection, name)]
    counts = (connection.execute(f"SELECT count(*) FROM {name}").fetchone() for name in tables)
    return sum(int(count) for (count,) in counts)


def actions_of(connection: sqlite3.Connection) -> list[Action]:
    """All the actions in the order of writing.

    Raises
    ------
    DamagedError
        If a seal is broken.
    """
    if not columns_of(connection, "action"):
        return []
    rows = connection.execute("SELECT seal, content FROM action ORDER BY id")
    return [action_of(seal, content) for seal, content in rows]


def action_of(seal: int, content: str) -> Action:
    if seal != action_seal(content):
        raise DamagedError
    return action_in(json.loads(content))
