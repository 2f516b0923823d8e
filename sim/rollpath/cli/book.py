"""The notebook as commands open it."""

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollpath.car import Car
from rollpath.cli.arguments import CommandError, path_of, screen_of
from rollpath.cli.given import Given, trailer_folder
from rollpath.files.books import told_of_book
from rollpath.files.schema import FileError
from rollpath.track import Condition

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.lessons import Correction, Study
    from rollpath.book.run import Page


def book_path(arguments: argparse.Namespace) -> Path:
    """The book that was named, the trailer's, or the one in the user's data folder."""
    from rollpath.book.book import default_path

    if arguments.book:
        named: Path = arguments.book
        return named
    folder = trailer_folder(getattr(arguments, "trailer", None))
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
        help="notebook whose nights correct the physics, where they carry a correction (default: "
        "the trailer's)",
    )  # fmt: skip
    parser.add_argument(
        "--no-book", action="store_true", help="by physics alone, whatever the notebook says"
    )


def lessons_in(arguments: argparse.Namespace, on: Given) -> "list[Page]":
    """The runs of the notebook that counts; none with --no-book, or where there is no notebook.

    That is the one named, or the trailer's, for the trailer's own car.
    """
    if arguments.no_book:
        if arguments.book is not None:
            raise CommandError("expected one of --book and --no-book")
        return []
    own = on.trailer is not None and on.car_path == on.trailer.folder / "car.yaml"
    if arguments.book is None and not (own and on.trailer and on.trailer.book.exists()):
        return []
    try:
        with told_of_book(), open_book(arguments) as book:
            return book.runs()
    except FileError as error:
        if arguments.book is not None:
            raise
        for line in error.lines:  # an answer by physics is better than none at the track
            print(f"rollpath: {line}; by physics alone", file=sys.stderr)
        return []


def lesson_of(
    arguments: argparse.Namespace, on: Given, car: Car, state: Condition
) -> "Study | None":
    """What the notebook that counts says of a car on the surface asked for; None without one."""
    pages = lessons_in(arguments, on)
    if not pages and arguments.book is None:
        return None
    from rollpath.book.lessons import study_of

    named = arguments.condition  # a surface that a lap time told has a name of its own
    return study_of(pages, car.name, named if isinstance(named, str) else state.name)


def correction_of(
    arguments: argparse.Namespace, on: Given, car: Car, state: Condition
) -> "Correction | None":
    """What the notebook that counts puts on the physics at the one track; None for nothing."""
    study = lesson_of(arguments, on, car, state)
    return None if study is None else study.at(on.track.name).correction


def book_json(found: "Correction | None") -> dict[str, Any]:
    """What the book puts on the physics, for a program."""
    from rollpath.show.study import correction_json

    return {"correction": correction_json(found)}


def note_book(arguments: argparse.Namespace, *found: "Correction | None") -> None:
    """Say at the foot of the screen that the book counts, where it does."""
    counts = [one for one in found if one is not None]
    if counts:
        from rollpath.show.study import book_words

        told = book_words(counts, screen_of(arguments))
        arguments.note = "; ".join(filter(None, (getattr(arguments, "note", ""), told)))


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
