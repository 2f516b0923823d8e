"""The record of nights: every run and everything done between runs, kept whatever happens.

A `Book` is the front door, and needs no command::

    from rollpath import Book, Run

    with Book("season.db") as book:
        book.add(Run.of(track="Ropewalk", car="Number 31", told_stagger="2 1/4 in",
                        best_lap="17.84 s"))
        book.record_action("bolt", before={"right_rear.tire": "R2"},
                           after={"right_rear.tire": "R7"})
        book.record_action("air", {"right_rear.pressure": 110e3}, {"right_rear.pressure": 124e3})
        taken_back = book.undo()            # an Action; put its `after` on the car
        book.actions(since=tonight)         # what was done, by the clock
        book.state()                        # how it all stands: every name and its last value
        for moment in book.replay():        # the last night again: runs and actions by the clock,
            moment.event, moment.state      # and how it stood after each

A book is one SQLite file and a plain journal beside it (`rollpath.book.journal`), and is only ever
added to: a run that is edited gets a new page and the old page stays, and what is undone stays
too. What `add`, `edit`, `take`, `record_action` or `undo` has returned from is in the journal,
synced, and in the file. Every page has a check sum, so that damage is noticed; then the book is
made anew from the journal, and the damaged file kept beside it.

Whoever only reads writes nothing, not even to mend: he is given what the journal and the file
hold together. A file that does not carry rollpath's mark is never opened as a database.
"""

import os
import sqlite3
import time
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from rollpath.book.action import (
    Action,
    Moment,
    State,
    last_to_undo,
    replay,
    settled_action,
    state_after,
)
from rollpath.book.file import (
    IN_FORCE,
    DamagedError,
    actions_of,
    count_of,
    first_free_number,
    fresh_beside,
    history,
    in_memory,
    insert,
    make_book,
    pages_of,
    reading,
    sync_file,
    told_plainly,
    whose,
    writing,
)
from rollpath.book.journal import appended, journal_path
from rollpath.book.place import data_folder
from rollpath.book.rescue import Item, alone, journal_or_none, lacking, mend, of_journal, remains
from rollpath.book.run import BookError, Page, Run, evening_of, settled
from rollpath.book.take import Taken, take_in

Result = TypeVar("Result")
WAITS = (0.0, 0.1, 0.3)
"""Seconds to look again after, when the journal is ahead of the file. Engineering judgement."""
Planned = tuple[Result, list[Item]]
"""What a writer is to be told, and what is to be written down."""


def default_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the notebook lies unless told otherwise: the user's data folder.

    Raises
    ------
    BookError
        If the user has no home that the system knows of.
    """
    try:
        return data_folder(environment) / "notebook.db"
    except RuntimeError:
        raise BookError(["no home folder to keep a notebook in; name a file with --book"]) from None


class Book:
    """A notebook. The file is made when the first thing is written in it.

    Attributes
    ----------
    notices : list of str
        What the user has to be told: that the file was damaged, what was rescued and where the
        damaged one lies.
    """

    def __init__(self, path: str | Path) -> None:
        """Open a notebook; nothing is written.

        Raises
        ------
        BookError
            If it is no notebook, of a newer rollpath, or cannot be read.
        """
        self.path = Path(path)
        self.notices: list[str] = []
        self._file = Path(os.path.realpath(self.path))  # what a link points to, not the link
        if whose(self._file) == "other" and not self._journal_holds_something():
            raise self._not_ours()

    def __enter__(self) -> "Book":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Nothing is held open between two calls."""

    # Runs

    def add(self, run: Run, key: str | None = None) -> int:
        """Write a run down.

        Parameters
        ----------
        run : Run
        key : str, optional
            Another for every run; one that is in the book already is not written twice, so that a
            form sent twice adds one run.

        Returns
        -------
        int
            Its number. The run is on the disk.

        Raises
        ------
        BookError
            If it cannot be kept or the disk refuses it; then nothing is written.
        """
        run = settled(run)

        def plan(connection: sqlite3.Connection) -> Planned[int]:
            there = [page.number for page in pages_of(connection) if page.key == key]
            if there:
                return there[0], []
            number = first_free_number(connection)
            return number, [Page(key or uuid.uuid4().hex, number, 1, _now(), run)]

        return self._write(plan)

    def edit(self, number: int, changes: Mapping[str, Any]) -> Page:
        """Change things of a run, by attribute of `Run`; what they were stays in the book.

        Raises
        ------
        BookError
            If there is no such run or a new value cannot be kept.
        """

        def plan(connection: sqlite3.Connection) -> Planned[Page]:
            page = history(connection, number)[-1]
            run = settled(replace(page.run, **changes))
            if run == page.run:
                return page, []
            newer = replace(page, revision=page.revision + 1, written=_now(), run=run)
            return newer, [newer]

        return self._write(plan)

    def take(self, pages: Iterable[Page], actions: Iterable[Action] = ()) -> Taken:
        """Add pages and actions from an export, all of them or none.

        A page that is in the book already is passed over. A page that differs from the book's
        (corrected in a spreadsheet, say) becomes the newest revision; the older ones stay.
        """
        incoming = [replace(page, run=settled(page.run)) for page in pages]
        done = [settled_action(action) for action in actions]
        return self._write(lambda connection: take_in(
            pages_of(connection), actions_of(connection), incoming, done
        ))  # fmt: skip

    def runs(self) -> list[Page]:
        """The page in force of every run, by night and then by number."""
        pages = self._read(lambda connection: pages_of(connection, IN_FORCE))
        return sorted(pages, key=lambda page: (page.run.when, page.number))

    def history(self, number: int) -> list[Page]:
        """All pages of a run, the one in force last.

        Raises
        ------
        BookError
            If there is no such run.
        """
        return self._read(lambda connection: history(connection, number))

    def pages(self) -> list[Page]:
        """All pages of all runs: what an export holds."""
        return self._read(pages_of)

    # What was done between runs

    def record_action(
        self,
        what: str,
        before: Mapping[str, Any],
        after: Mapping[str, Any],
        when: datetime | None = None,
    ) -> Action:
        """Write down what was done to the car; see `Action`.

        Returns
        -------
        Action
            As it is kept. It is on the disk.

        Raises
        ------
        BookError
            If it cannot be kept or the disk refuses it; then nothing is written.
        """
        now = _now()
        action = settled_action(Action(uuid.uuid4().hex, when or now, what, before, after, now))
        return self._write(lambda _: (action, [action]))

    def undo(self, since: datetime | None = None) -> Action:
        """Take back the last action that was not taken back yet, or the last since a time.

        Returns
        -------
        Action
            An action ``undo`` whose `after` is what was before; it is in the book.

        Raises
        ------
        BookError
            If there is nothing to take back.
        """

        def plan(connection: sqlite3.Connection) -> Planned[Action]:
            last = last_to_undo(actions_of(connection))
            if last is None or (since is not None and last.when < since):
                raise BookError(["nothing to undo"])
            now = _now()
            key = uuid.uuid4().hex
            undone = Action(key, now, "undo", last.after, last.before, now, last.key)
            return undone, [undone]

        return self._write(plan)

    def actions(self, since: datetime | None = None) -> list[Action]:
        """What was done between runs, by the clock; only since a time, if one is given."""
        actions = sorted(self._read(actions_of), key=lambda action: action.when)
        return [action for action in actions if since is None or action.when >= since]

    def state(self) -> State:
        """How everything stands that actions have set: the last value of each name."""
        state = State()
        for action in self._read(actions_of):  # in the order of writing, as undo goes
            state = state_after(state, action)
        return state

    def replay(self, evening: date | None = None) -> list[Moment]:
        """A night over again: its runs and actions by the clock, and how it stood after each.

        Parameters
        ----------
        evening : date, optional
            The day the night began; the last night in the book when not given.
        """
        moments = self._read(lambda connection: replay(
            actions_of(connection), pages_of(connection, IN_FORCE)
        ))  # fmt: skip
        if evening is None and moments:
            evening = evening_of(moments[-1].when)
        return [moment for moment in moments if evening_of(moment.when) == evening]

    def backup(self, target: str | Path) -> None:
        """Copy the book, whole or not at all, while others may go on writing in it.

        Raises
        ------
        BookError
            If there is a file of that name or it cannot be written.
        """
        target = Path(target)
        if target.exists():
            raise BookError([f"{target}: is there already; name another file for the backup"])
        with told_plainly(target):
            beside = fresh_beside(target)
        try:
            self._read(lambda connection: _copy(connection, beside, target))
        finally:
            beside.unlink(missing_ok=True)

    # The file

    def _read(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        """Do something with the book, or with what is left of it when it is damaged."""
        file = self._file
        try:
            for wait in WAITS if whose(file) == "ours" else ():
                time.sleep(wait)  # for one who has written the journal and not yet the file
                with told_plainly(self.path), reading(file) as connection:
                    if not self._is_behind(connection):
                        return action(connection)
        except DamagedError:
            pass
        with self._left() as connection:
            return action(connection)

    @contextmanager
    def _left(self) -> Iterator[sqlite3.Connection]:
        """The journal and what is left of the file, put together in memory."""
        with told_plainly(self.path):
            left = remains(self._file)
        if left.items and not self.notices:
            self.notices += [self._told_of_left(), *left.told(self.path)]
        with closing(in_memory(left.items)) as connection:
            yield connection

    def _told_of_left(self) -> str:
        state = whose(self._file)
        if state == "other":
            return f"{self._not_ours()}; read from there, nothing written"
        told = "is not there" if state == "none" else "is damaged, or behind its journal"
        return (
            f"{self.path}: {told}; read from its journal and what is left of it, nothing "
            "written; the next run written down puts it right"
        )

    def _is_behind(self, connection: sqlite3.Connection) -> bool:
        """Whether the journal holds a page that the file lacks: an older copy of it, put back."""
        if self._journal_lines() <= count_of(connection):
            return False
        return bool(lacking(_items(connection), of_journal(journal_or_none(self._file))))

    def _journal_lines(self) -> int:
        """Lines of the journal after its heading."""
        try:
            return journal_path(self._file).read_bytes().count(b"\n") - 1
        except OSError:
            return 0

    def _journal_holds_something(self) -> bool:
        journal = journal_or_none(self._file)
        return bool(journal.pages or journal.actions)

    def _write(self, plan: Callable[[sqlite3.Connection], Planned[Result]]) -> Result:
        """Write down what is planned, all of it or nothing, with nobody else writing."""
        file = self._file
        with told_plainly(self.path):
            file.parent.mkdir(parents=True, exist_ok=True)
            self._refuse_other()
            with alone(file):
                self._refuse_other()
                if whose(file) == "none":
                    self._begin()
                try:
                    return self._written(plan)
                except DamagedError:
                    self.notices += mend(file)
                try:
                    return self._written(plan)
                except DamagedError:
                    raise BookError([f"{self.path}: is damaged again; check the disk"]) from None

    def _begin(self) -> None:
        """Make the file, from its journal if there is one."""
        left = remains(self._file)
        make_book(self._file, left.items)
        if left.items:
            self.notices.append(
                f"{self.path}: was not there; {left.runs} brought back from its journal "
                f"{journal_path(self._file).name} (move that away too to begin a new book)"
            )

    def _written(self, plan: Callable[[sqlite3.Connection], Planned[Result]]) -> Result:
        journal = journal_path(self._file)
        with told_plainly(self.path), writing(self._file) as connection:
            self._agree(connection, journal)
            connection.execute("BEGIN IMMEDIATE")
            try:
                result, items = plan(connection)
                for item in items:
                    insert(connection, item)
                if items:
                    with appended(journal, items):
                        connection.execute("COMMIT")
                return result
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")

    def _agree(self, connection: sqlite3.Connection, journal: Path) -> None:
        """What only the file or only the journal holds goes into the other."""
        lines = journal_or_none(self._file)
        ours = _items(connection)
        owed = [
            item
            for item in ours
            if (item.key not in lines.actions if isinstance(item, Action)
                else (item.key, item.revision) not in lines.pages)
        ]  # fmt: skip
        if owed or not journal.exists():
            with appended(journal, owed):
                pass
        if len(ours) - len(owed) == len(lines.pages) + len(lines.actions):
            return
        back = lacking(ours, of_journal(lines))
        connection.execute("BEGIN IMMEDIATE")
        for item in back:
            insert(connection, item)
        connection.execute("COMMIT")
        if back:
            pages = f"{len(back)} page{'s' * (len(back) != 1)}"
            self.notices.append(f"{self.path}: {pages} of its journal were not in it; they are now")

    def _refuse_other(self) -> None:
        if whose(self._file) == "other":
            raise self._not_ours()

    def _not_ours(self) -> BookError:
        if not self._journal_holds_something():
            return BookError(
                [f"{self.path}: is not a notebook of rollpath; name another file with --book"]
            )
        return BookError([
            f"{self.path}: is not a notebook of rollpath, so it is left alone; move it away, and "
            f"the next run written down brings the book back from {journal_path(self._file).name}"
        ])  # fmt: skip


def _now() -> datetime:
    return datetime.now()


def _items(connection: sqlite3.Connection) -> list[Item]:
    """Everything in the book, every seal checked."""
    return [*pages_of(connection), *actions_of(connection)]


def _copy(connection: sqlite3.Connection, beside: Path, target: Path) -> None:
    _items(connection)  # a backup of damage would be no backup
    with told_plainly(target), closing(sqlite3.connect(beside)) as copy:
        connection.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")
    with told_plainly(target):
        sync_file(beside)
        beside.replace(target)
