"""Faults of a notebook, told as those of any file."""

from collections.abc import Iterator
from contextlib import contextmanager

from rollpath.files.schema import FileError


@contextmanager
def told_of_book() -> Iterator[None]:
    """Inside it a fault of a notebook is a `FileError`."""
    from rollpath.book.run import BookError

    try:
        yield
    except BookError as error:
        raise FileError(error.lines) from None
