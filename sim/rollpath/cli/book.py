"""The notebook as commands open it."""

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.cli.arguments import CommandError, path_of
from rollpath.cli.given import trailer_folder
from rollpath.files.schema import FileError

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.lessons import Study
    from rollpath.stagger import Baseline


@contextmanager
def told_of_book() -> Iterator[None]:
    """Faults of a notebook are told as those of any file."""
    from rollpath.book.run import BookError

    try:
        yield
    except BookError as error:
        raise FileError(error.lines) from None


def book_path(arguments: argparse.Namespace) -> Path:
    """The book that was named, the trailer's, or the one in the user's data folder."""
    from rollpath.book.book import default_path

    if arguments.book:
        named: Path = arguments.book
        return named
    folder = trailer_folder()
    return default_path() if folder is None else folder / "season.db"


@contextmanager
def open_book(arguments: argparse.Namespace, new: bool = False) -> Iterator["Book"]:
    """The notebook, open; what it has to tell goes to the error stream."""
    from rollpath.book.book import Book
    from rollpath.book.journal import journal_path

    path = book_path(arguments)
    if not new and not path.exists() and not journal_path(path).exists():
        raise CommandError(f"{path}: no notebook there yet; `rollpath notebook add` starts one")
    with Book(path) as book:
        try:
            yield book
        finally:
            for notice in book.notices:
                print(f"rollpath: {notice}", file=sys.stderr)


def add_lesson_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--book", type=path_of, metavar="FILE",
        help="notebook whose nights correct the physics, where they carry a correction",
    )  # fmt: skip


def lesson_of(arguments: argparse.Namespace, result: "Baseline") -> "Study | None":
    """What the notebook that was named says of this car in this condition; None without one."""
    if arguments.book is None:
        return None
    from rollpath.book.lessons import study_of

    with told_of_book(), open_book(arguments) as book:
        named = arguments.condition
        surface = named if isinstance(named, str) else result.condition.name
        return study_of(book.runs(), result.car.name, surface)


def say(text: str, kept: str) -> None:
    """Print what became of something that is in the book already.

    A screen that is full, shut, or knows fewer letters makes it no less kept; letters it does not
    know are replaced, and when it takes nothing one line of the error stream says so.

    Parameters
    ----------
    kept : str
        What is to be said then, such as ``run 12 is in the notebook``.
    """
    letters = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        print(text.encode(letters, "replace").decode(letters), flush=True)
    except OSError as error:
        _say_no_more()
        with suppress(OSError):
            reason = error.strerror or "closed"
            print(f"rollpath: {kept}; the screen took no words: {reason}", file=sys.stderr)


def _say_no_more() -> None:
    """What is still waiting to be printed goes nowhere, so that nothing fails at the end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
