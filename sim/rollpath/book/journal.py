"""The plain journal beside a book: one line of JSON for every page that was confirmed.

It is there so that a book can be made anew with a text editor's means: a heading, then a line for
a page or an action, each with a check sum in front. A line is synced before the words are said.
It is only added to; a line that was cut short stays and is passed over.
"""

import json
import os
import re
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from rollpath.book.action import Action, action_in, action_out
from rollpath.book.exchange import MOST_PAGES, from_csv, from_json, page_in, page_out
from rollpath.book.run import LARGEST_NUMBER, BookError, Page
from rollpath.book.spreadsheet import from_spreadsheet, is_spreadsheet

HEAD = b'{"journal": "rollpath notebook", "version": 1}\n'
_LINE = re.compile(rb'\{"seal": (\d+), (.*\})')
_PAGE = re.compile(rb'"page": \{"number": (\d+), "key": "([0-9a-f]{32})", "revision": (\d+),')
_ACTION = re.compile(rb'"action": \{"key": "([0-9a-f]{32})",')
PageId = tuple[str, int]
"""Key and revision."""


@dataclass(frozen=True)
class Journal:
    """The lines of a journal; each is read only when it is asked for.

    Attributes
    ----------
    pages : dict
        Line by key and revision, in the order of writing.
    actions : dict
        Line by key, in the order of writing.
    traces : tuple
        Number and revision of pages whose line is broken, as far as they can be read.
    """

    pages: dict[PageId, bytes]
    actions: dict[str, bytes]
    traces: tuple[tuple[int, int], ...]

    def page(self, name: PageId) -> Page:
        return page_in(json.loads(self.pages[name])["page"], LARGEST_NUMBER)

    def action(self, key: str) -> Action:
        return action_in(json.loads(self.actions[key])["action"])


def journal_path(book: Path) -> Path:
    return book.with_name(f"{book.name}.journal.jsonl")


def is_journal(data: bytes) -> bool:
    """Whether what a file begins with is a sound beginning of a journal of ours."""
    return data.startswith(HEAD) or HEAD.startswith(data)


def read_journal(path: Path) -> Journal:
    """All that is sound in a journal; nothing where there is none.

    Raises
    ------
    BookError
        If it is not a journal of ours.
    """
    data = path.read_bytes() if path.exists() else b""
    if not is_journal(data):
        raise _not_ours(path)
    return journal_of(data)


def journal_of(data: bytes) -> Journal:
    """All that is sound in the lines of a journal."""
    pages: dict[PageId, bytes] = {}
    actions: dict[str, bytes] = {}
    traces = []
    for line in data[len(HEAD) :].split(b"\n"):
        body = _sound_body(line)
        if body and (page := _PAGE.match(body, 1)):
            pages[page[2].decode(), int(page[3])] = body
        elif body and (action := _ACTION.match(body, 1)):
            actions[action[1].decode()] = body
        elif trace := _PAGE.search(line):
            traces.append((int(trace[1]), int(trace[3])))
    return Journal(pages, actions, tuple(traces))


def read_export(text: str, source: str) -> tuple[list[Page], list[Action]]:
    """Pages and actions from an export of a book, CSV or JSON, its journal, or a plain spreadsheet.

    Raises
    ------
    BookError
        All the faults.
    """
    text = text.removeprefix("\ufeff")
    if text.startswith(HEAD.decode().rstrip()):
        journal = journal_of(text.encode())
        if len(journal.pages) + len(journal.actions) > MOST_PAGES:
            raise BookError([f"{source}: more than {MOST_PAGES} pages; split the file"])
        return [*map(journal.page, journal.pages)], [*map(journal.action, journal.actions)]
    if text.lstrip()[:1] in ("{", "["):
        return from_json(text, source)
    if is_spreadsheet(text):
        return from_spreadsheet(text, source), []
    return from_csv(text, source), []


def _sound_body(line: bytes) -> bytes:
    """A line without its check sum, or nothing when the two do not agree."""
    match = _LINE.fullmatch(line.rstrip(b"\r"))
    body = b"{" + match[2] if match else b""
    return body if match and zlib.crc32(body) == int(match[1]) else b""


def line_of(item: Page | Action) -> bytes:
    """A page or an action as a line of the journal."""
    kind, content = (
        ("page", page_out(item)) if isinstance(item, Page) else ("action", action_out(item))
    )
    known = {key: value for key, value in content.items() if value is not None}
    body = json.dumps({kind: known}, ensure_ascii=False, allow_nan=False).encode()
    return b'{"seal": %d, %s\n' % (zlib.crc32(body), body[1:])


@contextmanager
def appended(path: Path, items: Iterable[Page | Action]) -> Iterator[None]:
    """Lines added and on the disk inside this; taken away again when what follows fails.

    Raises
    ------
    BookError
        If there is a file of that name that is not a journal of ours; it is left as it is.
    OSError
        If the disk refuses it.
    """
    lines = b"".join(map(line_of, items))
    is_new = not path.exists()
    with path.open("x+b" if is_new else "r+b") as file:
        size = _ready(path, file)
        try:
            file.write(lines)
            file.flush()
            os.fsync(file.fileno())
            if is_new:
                sync_folder(path.parent)
            yield
        except BaseException:
            with suppress(OSError):
                file.truncate(size)
            raise


def _ready(path: Path, file: BinaryIO) -> int:
    """Put a heading where there is none and end a line that was cut short; the size after."""
    start = file.read(len(HEAD))
    if not is_journal(start):
        raise _not_ours(path)
    if len(start) < len(HEAD):
        file.seek(0)
        file.write(HEAD)
    size = file.seek(0, os.SEEK_END)
    file.seek(size - 1)
    if file.read(1) != b"\n":
        file.write(b"\n")
        size += 1
    file.flush()
    return size


def _not_ours(path: Path) -> BookError:
    return BookError([f"{path}: is not a journal of rollpath, so it is left alone; move it away"])


def sync_folder(folder: Path) -> None:
    """Make what was renamed or made in a folder last; where folders can be synced at all."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
