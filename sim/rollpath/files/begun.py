"""What is being done to the car, kept in `trailer.yaml` until the book has it too.

Tonight and the book are two files. Tonight is written first, whole, with what is being done in it;
then the book; then tonight once more without it. A crash in between leaves tonight as it should
be, and whoever comes next finds there what the book may still lack and writes it down.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from rollpath.book.action import Action
from rollpath.book.book import Book
from rollpath.files.reading import Reader, read_yaml
from rollpath.files.schema import FileError
from rollpath.files.trailers import TRAILER_SCHEMA


@dataclass(frozen=True)
class Begun:
    """One thing that is being done.

    Attributes
    ----------
    what : str
    before, after : mapping
        As the action has them.
    when : str
        ISO 8601.
    times : int
        How often the book had the same before.
    undoes : str
        Key of the action that is being taken back; empty when it is none.
    """

    what: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    when: str
    times: int
    undoes: str = ""

    def text(self) -> str:
        """As it stands in `trailer.yaml`."""
        return json.dumps(asdict(self))

    def is_in(self, actions: Sequence[Action]) -> bool:
        """Whether a book has it.

        Parameters
        ----------
        actions : sequence of Action
        """
        if self.undoes:
            return any(one.undoes == self.undoes for one in actions)
        return alike(actions, self.what, self.before, self.after) > self.times


def alike(
    actions: Sequence[Action], what: str, before: Mapping[str, Any], after: Mapping[str, Any]
) -> int:
    """How many actions say the same.

    Parameters
    ----------
    actions : sequence of Action
    what : str
    before, after : mapping
        As JSON holds them.
    """
    wanted = json.loads(json.dumps([what, before, after]))
    return sum([one.what, one.before, one.after] == wanted for one in actions)


def begun_in(path: Path) -> Begun | None:
    """What `trailer.yaml` says was begun; None where all of it was ended.

    Parameters
    ----------
    path : Path

    Raises
    ------
    FileError
    """
    reader = Reader(path)
    text = reader.mapping(read_yaml(path), TRAILER_SCHEMA).get("begun")
    reader.raise_faults()
    if text is None:
        return None
    try:
        begun = Begun(**json.loads(text))
        datetime.fromisoformat(begun.when)
        return begun
    except (TypeError, ValueError):
        line = reader.lines.get("begun", 1)
        raise FileError([
            f"{path}:{line}: begun: cannot be read any more; delete the line"
        ]) from None  # fmt: skip


def end(begun: Begun, book: Book) -> Action:
    """Write what was begun into the book.

    Parameters
    ----------
    begun : Begun
    book : Book
        That has it not yet.

    Raises
    ------
    BookError
    """
    if begun.undoes:
        return book.undo()
    when = datetime.fromisoformat(begun.when)
    return book.record_action(begun.what, begun.before, begun.after, when)
