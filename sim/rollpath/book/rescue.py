"""A damaged notebook mended: what can be read is written to a new file."""

import json
import os
import shutil
import uuid
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from rollpath.book.file import (
    APPLICATION_ID,
    APPLICATION_ID_AT,
    COLUMNS,
    SELECT,
    DamagedError,
    committed,
    connect,
    insert_page,
    page_of,
    pages_of,
    told_plainly,
)
from rollpath.book.run import ENTRIES, LARGEST_NUMBER, LONGEST_NOTE, BookError, Page, Run, settled
from rollpath.book.salvage import readable_rows


def is_damaged(path: Path) -> bool:
    try:
        with told_plainly(path), closing(connect(path)) as connection:
            if connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
                return True  # the indexes too, which a quick check passes over
            pages_of(connection, SELECT)
    except DamagedError:
        return True
    return False


def rescue_book(path: Path) -> list[str]:
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
    put_in_place(path)
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
    mark = book[APPLICATION_ID_AT : APPLICATION_ID_AT + 4]
    return mark == APPLICATION_ID.to_bytes(4, "big")


def _sorted_out(book: bytes, log: bytes) -> tuple[list[Page], list[dict[str, Any]]]:
    """The pages that can be rescued, and what was found of those whose seal is broken.

    A page with a broken seal that still makes a run is rescued too, marked in its note.
    """
    sound: dict[tuple[str, int], Page] = {}
    torn: dict[tuple[Any, Any], dict[str, Any]] = {}
    for row in readable_rows(book, log):
        values = dict(zip(COLUMNS, row[1:], strict=False))  # the first is the row's own number
        try:
            page = page_of(row[1:])
            sound[page.key, page.revision] = page
        except (DamagedError, ValueError):
            if len(row) > len(COLUMNS) // 2 and isinstance(values["number"], int):
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


def rescued_path(path: Path) -> Path:
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
            sync_file(new)
    return aside


def _write_rescued(path: Path, pages: list[Page]) -> None:
    """A whole new book of these pages beside the damaged one, named `.rescued` once complete."""
    beside = path.with_name(f"{path.name}.{uuid.uuid4().hex[:8]}")
    try:
        with closing(connect(beside)) as connection:
            with committed(connection):
                for page in pages:
                    insert_page(connection, page)
            connection.execute("PRAGMA journal_mode=DELETE")
        sync_file(beside)
        beside.replace(rescued_path(path))
    finally:
        beside.unlink(missing_ok=True)


def put_in_place(path: Path) -> None:
    """Put a complete rescued book in place of the damaged one; done over if it was cut short."""
    if rescued_path(path).exists():
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
        rescued_path(path).replace(path)


def sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
