"""What the pages work on: the trailer's folder, and what was worked out of it already."""

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar, cast

from flask import current_app, request

from rollpath.book.action import Action
from rollpath.book.book import Book
from rollpath.book.journal import journal_path
from rollpath.book.run import Page
from rollpath.door_night import tonight
from rollpath.files.doing import last_done, mark_of
from rollpath.files.trailers import load_trailer
from rollpath.screen import Screen
from rollpath.trailer.advice import Advice
from rollpath.trailer.place import TONIGHT
from rollpath.trailer.trailer import Trailer

Thing = TypeVar("Thing")
Lock = AbstractContextManager[bool]
KEPT = 96
"""Answers kept at most, the oldest let go."""
KEPT_LARGE = 3
"""The same of those that hold a recorded run: a log of 8 MB takes some 40 MB."""
MOST_TOLD = 64
"""Forms that were not taken, kept with what was typed; the oldest are let go."""
PHONE = Screen(width=40, laid=False)
"""What pages are written for: the shortest words, laid out by the page."""


@dataclass
class Desk:
    """A trailer's folder as the pages see it; one for all phones.

    What was worked out is kept until a file of the folder is another one. One thing at a time is
    worked out, and one picture drawn, so that twenty phones that ask the same wait for one answer.

    Attributes
    ----------
    folder : Path
    screen : Screen
    look : bool
        Whether pages may only be looked at.
    """

    folder: Path
    screen: Screen = PHONE
    look: bool = False
    _kept: "OrderedDict[Hashable, object]" = field(default_factory=OrderedDict)
    _large: "OrderedDict[Hashable, object]" = field(default_factory=OrderedDict)
    _told: "OrderedDict[str, str]" = field(default_factory=OrderedDict)
    _working: Lock = field(default_factory=threading.RLock)
    _drawing: Lock = field(default_factory=threading.RLock)

    @property
    def is_set_up(self) -> bool:
        return (self.folder / TONIGHT).is_file()

    def draw(self, what: Hashable, make: Callable[[], Thing]) -> Thing:
        """The same for a picture, which nobody who wants an answer waits for."""
        return self.remember(what, make, self._drawing)

    def remember(
        self,
        what: Hashable,
        make: Callable[[], Thing],
        one_at_a_time: Lock | None = None,
        *,
        is_large: bool = False,
    ) -> Thing:
        """What `make` makes, or made before of the same files.

        Parameters
        ----------
        what : hashable
            Another for each thing.
        make : callable
        one_at_a_time : lock, optional
            Held while it is made.
        is_large : bool
            Whether it is of megabytes, such as a recorded run: few of these are kept.
        """
        store, most = (self._large, KEPT_LARGE) if is_large else (self._kept, KEPT)
        key = (self._files(), what)
        with suppress(KeyError):
            return cast(Thing, store[key])
        with one_at_a_time or self._working:
            with suppress(KeyError):  # made while this one waited
                return cast(Thing, store[key])
            made = store[key] = make()
            while len(store) > most:
                with suppress(KeyError):
                    store.popitem(last=False)
            return made

    def keep_told(self, page: str) -> str:
        """Keep a page that answers a form, so that it can be looked at again: its name."""
        name = secrets.token_urlsafe(12)
        self._told[name] = page
        while len(self._told) > MOST_TOLD:
            with suppress(KeyError):
                self._told.popitem(last=False)
        return name

    def told(self, name: str) -> str | None:
        """A page that was kept; None when it is of before the last start, or too old."""
        return self._told.get(name)

    def _files(self) -> Hashable:
        """Another value whenever a file of the trailer is another one."""
        folder, book = self.folder, self.folder / "season.db"
        paths = [folder / TONIGHT, folder / "car.yaml", folder / "rack.yaml"]
        paths += [book, journal_path(book)]
        paths += sorted((folder / "tracks").glob("*.y*ml"))
        return tuple(map(_state_of, paths))

    def trailer(self) -> Trailer:
        """The trailer as it is now."""
        return self.remember("trailer", lambda: load_trailer(self.folder))

    def tonight(self) -> Advice:
        """What to do tonight."""
        return self.remember("tonight", lambda: tonight(self.trailer()))

    @property
    def mark(self) -> str:
        """Of the night: what a form was made from."""
        return mark_of(self.trailer().night) if self.is_set_up else ""

    def actions(self) -> list[Action]:
        """What was done, by the clock."""
        return self._of_book("actions", lambda book: book.actions())

    def runs(self) -> list[Page]:
        """The runs of the book."""
        return self._of_book("runs", lambda book: book.runs())

    @property
    def last(self) -> str:
        """Key of what the next undo takes back."""
        return last_done(self.actions()) if self.is_set_up else ""

    def _of_book(self, what: str, read: Callable[[Book], list[Thing]]) -> list[Thing]:
        path = self.folder / "season.db"
        if not path.exists() and not journal_path(path).exists():
            return []

        def make() -> list[Thing]:
            with Book(path) as book:
                return read(book)

        return self.remember(what, make)


def _state_of(path: Path) -> tuple[str, int, int, int]:
    try:
        told = path.stat()
    except OSError:
        return (path.name, 0, 0, 0)
    return (path.name, told.st_mtime_ns, told.st_size, told.st_ino)


def screen_now() -> Screen:
    """How this request is told: with the reasons where its address asks for them."""
    return replace(desk().screen, full=bool(request.args.get("full")))


def desk() -> Desk:
    """The desk of the app that answers."""
    return cast(Desk, current_app.extensions["desk"])
