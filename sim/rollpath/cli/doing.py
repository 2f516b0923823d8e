"""What is done to the car, written down: the night changed, and the book told."""

import argparse
from collections.abc import Mapping

from rollpath.book.book import Book
from rollpath.book.run import BookError
from rollpath.cli.arguments import CommandError
from rollpath.cli.given import trailer_of
from rollpath.files.schema import FileError
from rollpath.files.trailers import save_night
from rollpath.trailer.night import Night, difference
from rollpath.trailer.trailer import Trailer

NO_TRAILER = "no trailer here; rollpath trailer sets one up"


def trailer_here(arguments: argparse.Namespace) -> Trailer:
    """The trailer, which this command cannot do without.

    Raises
    ------
    CommandError
    """
    trailer = trailer_of(arguments)
    if trailer is None:
        raise CommandError(NO_TRAILER)
    return trailer


def done(trailer: Trailer, what: str, night: Night) -> None:
    """Write down what was done: tonight as it is now, and the action in the book with its time.

    Raises
    ------
    FileError
        If either cannot be written; then tonight is as it was.
    """
    before, after = difference(trailer.night, night)
    if not before and not after:
        return
    save_night(trailer.folder, night)
    try:
        record(trailer, what, before, after)
    except FileError as error:
        save_night(trailer.folder, trailer.night)
        raise FileError([*error.lines, "nothing was changed"]) from None


def record(
    trailer: Trailer, what: str, before: Mapping[str, object], after: Mapping[str, object]
) -> None:
    """Write an action into the trailer's book.

    Raises
    ------
    FileError
        If it cannot be kept.
    """
    try:
        with Book(trailer.book) as book:
            book.record_action(what, before, after)
    except BookError as error:
        raise FileError(error.lines) from None
