"""What an import brings: which of its pages are new, and which the book has."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rollpath.book.action import Action
from rollpath.book.run import Page


@dataclass(frozen=True)
class Taken:
    """What came of an import.

    Attributes
    ----------
    added, changed : int
        Runs that are new, and runs that have a new page.
    known : int
        Pages and actions that were there already.
    actions : int
        Actions that are new.
    """

    added: int
    changed: int
    known: int
    actions: int = 0


class Numbers:
    """The numbers of the runs in a book, and which is free next."""

    def __init__(self, taken: Iterable[int]) -> None:
        self._taken = set(taken)
        self._last = max(self._taken, default=0)

    def give(self, wanted: int) -> int:
        """The number a run had where it came from, or the next free one."""
        number = wanted if wanted not in self._taken else self._last + 1
        self._taken.add(number)
        self._last = max(self._last, number)
        return number


def take_in(
    ours: Iterable[Page], done_here: Iterable[Action], incoming: list[Page], done: list[Action]
) -> tuple[Taken, list[Page | Action]]:
    """What comes of an import into a book of these pages and actions, and what is to be written."""
    pages, changed = _new_pages(ours, incoming)
    there = {action.key for action in done_here}
    new = {action.key: action for action in done if action.key not in there}
    known = len(incoming) - len(pages) + len(done) - len(new)
    added = len({page.key for page in pages}) - changed
    return Taken(added, changed, known, len(new)), [*pages, *new.values()]


def _new_pages(ours: Iterable[Page], incoming: list[Page]) -> tuple[list[Page], int]:
    """The pages to write, and how many runs that are there already they change."""
    have: dict[str, list[Page]] = {}
    for page in ours:
        have.setdefault(page.key, []).append(page)
    numbers = Numbers(page.number for mine in have.values() for page in mine)
    before = set(have)
    ordered = sorted(incoming, key=lambda page: (page.number, page.revision))
    last = {page.key: page for page in ordered}
    new = []
    for page in ordered:
        mine = have.setdefault(page.key, [])
        if mine and _is_known(page, mine, page is last[page.key]):
            continue
        number = mine[0].number if mine else numbers.give(page.number)
        revision = max(page.revision, mine[-1].revision + 1) if mine else page.revision
        new.append(replace(page, number=number, revision=revision))
        mine.append(new[-1])
    return new, len({page.key for page in new} & before)


def _is_known(page: Page, mine: list[Page], is_last: bool) -> bool:
    """Whether a page of a run is in the book.

    A line that was corrected in a spreadsheet keeps the time it was written; so when the page in
    force is such a correction of the same line, the line is compared with that alone: it may have
    been corrected back.
    """
    if page.run == mine[-1].run:
        return True
    there = any(
        page.run == old.run and (page.revision == old.revision or page.written == old.written)
        for old in mine
    )
    return there and not (is_last and mine[-1].written == page.written)
