"""The notebook as commands open it."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.cli.arguments import CommandError
from rollpath.files.schema import FileError

if TYPE_CHECKING:
    from rollpath.book.book import Book


@contextmanager
def told_of_book() -> Iterator[None]:
    """Faults of a notebook are told as those of any file."""
    from rollpath.book.run import BookError

    try:
        yield
    except BookError as error:
        raise FileError(error.lines) from None


def book_path(arguments: argparse.Namespace) -> Path:
    from rollpath.book.book import default_path

    path: Path = arguments.book or default_path()
    return path


@contextmanager
def open_book(arguments: argparse.Namespace, new: bool = False) -> Iterator["Book"]:
    """The notebook, open; what it has to tell goes to the error stream."""
    from rollpath.book.book import Book

    path = book_path(arguments)
    if not new and not path.exists():
        raise CommandError(f"{path}: no notebook there yet; `rollpath notebook add` starts one")
    with Book(path) as book:
        try:
            yield book
        finally:
            for notice in book.notices:
                print(f"rollpath: {notice}", file=sys.stderr)
