"""`rollpath notebook export`, `import` and `backup`: out of the book and in again."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.car import Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    path_of,
    screen_of,
    word_of,
)
from rollpath.cli.book import book_path, open_book, say
from rollpath.cli.given import trailer_folder
from rollpath.door import baseline
from rollpath.errors import RollpathError
from rollpath.files.reading import read_text
from rollpath.files.tracks import load_track
from rollpath.files.trailers import load_trailer
from rollpath.files.writing import write_whole
from rollpath.show.notebook import taken_screen
from rollpath.show.words import as_json, counted
from rollpath.trailer.trailer import plain_name

if TYPE_CHECKING:
    from rollpath.book.run import Page, Run

LARGEST_EXPORT = 1 << 25
"""Bytes; as many runs as an import may bring."""


def _add_export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", type=word_of, metavar="FILE", help="ends in .csv or .json; - prints JSON"
    )
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_export(arguments: argparse.Namespace) -> None:
    from rollpath.book.exchange import to_csv, to_json

    target = Path(arguments.file)
    if arguments.file != "-" and target.suffix not in (".csv", ".json"):
        raise CommandError(f"{target}: expected a name that ends in .csv or .json")
    if target.exists() and not arguments.replace:
        raise CommandError(f"{target}: is there already; another name, or --replace")
    with open_book(arguments) as book:
        pages, actions = book.pages(), book.actions()
    text = to_csv(pages) if target.suffix == ".csv" else to_json(pages, actions)
    if arguments.file == "-":
        sys.stdout.write(text)
        return
    write_whole(target, text)
    count = len({page.key for page in pages})
    told = f"{counted(count, 'run')} written to {target}"
    if actions and target.suffix == ".csv":
        told += f"; what was done between runs ({len(actions)}) goes into a .json only"
    if arguments.json:
        told = as_json({"file": str(target), "runs": count, "actions": len(actions)})
    say(told, f"{target} is written")


def _add_import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        type=word_of,
        metavar="FILE",
        help="CSV, JSON or a journal; - reads what is piped in",
    )
    add_output_arguments(parser, pictures=False)


def _notebook_import(arguments: argparse.Namespace) -> None:
    from rollpath.book.journal import read_export

    if arguments.file == "-":
        text, name = _piped_in(), "the text piped in"
    else:
        path = Path(arguments.file)
        if path.exists() and not path.is_file():
            raise CommandError(f"{path}: cannot be read: no plain file; pipe it in and name it -")
        text, name = read_text(path, LARGEST_EXPORT), str(path)
    pages, actions = read_export(text, name)
    with open_book(arguments, new=True) as book:
        pages, reckoned = _with_physics(pages, book.pages(), arguments)
        taken = book.take(pages, actions)
    screen = screen_of(arguments)
    told = as_json(vars(taken) | {"reckoned": reckoned})
    if not arguments.json:
        told = taken_screen(taken, screen, pages, reckoned)
    say(told, f"what {name} holds is in the notebook")


def _with_physics(
    pages: "Sequence[Page]", there: "Sequence[Page]", arguments: argparse.Namespace
) -> "tuple[list[Page], int]":
    """The pages with what the physics says of those that come without it, and how many they are.

    Only in a trailer, for its own car on the tracks that it has a file of. A run that is in the
    book already keeps what was reckoned when it came, so that the same file brings nothing twice.
    """
    folder = trailer_folder(getattr(arguments, "trailer", None))
    if folder is None:
        return list(pages), 0
    try:
        trailer = load_trailer(folder)
    except RollpathError:  # what is wrong with it is told by the commands that need it
        return list(pages), 0
    before = {page.key: page.run.optimum_stagger for page in reversed(there)}
    known: dict[tuple[str, str, str | None], float | None] = {}
    done, count = [], 0
    for page in pages:
        run = page.run
        path = trailer.tracks.get(plain_name(run.track))
        lacks = run.optimum_stagger is None and run.rear_stagger is not None
        if not lacks or path is None or plain_name(run.car) != plain_name(trailer.car.name):
            done.append(page)
            continue
        case = str(path), run.condition or "", run.groove
        if page.key in before:
            wanted = before[page.key]
        else:
            if case not in known:
                known[case] = _optimum(path, trailer.car, run)
            wanted = known[case]
            count += wanted is not None
        done.append(replace(page, run=replace(run, optimum_stagger=wanted)))
    return done, count


def _optimum(path: Path, car: Car, run: "Run") -> float | None:
    """What the physics wants for a run, m; None on a surface or a line that it does not know."""
    try:
        result = baseline(load_track(path), car, run.condition or "", run.groove)
    except RollpathError:
        return None
    return float(result.stagger.unbounded)


def _piped_in() -> str:
    try:
        text = sys.stdin.read(LARGEST_EXPORT + 1)
    except UnicodeDecodeError:
        raise CommandError("the text piped in is not UTF-8") from None
    if len(text) > LARGEST_EXPORT:
        raise CommandError(f"the text piped in is longer than {LARGEST_EXPORT >> 20} MiB")
    return text


def _add_backup_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="?", type=path_of, metavar="FILE", help="default: beside it")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_backup(arguments: argparse.Namespace) -> None:
    path = book_path(arguments)
    beside = path.with_name(f"{path.stem}-{datetime.now():%Y-%m-%d-%H%M%S}{path.suffix}")
    target = arguments.file or beside
    with open_book(arguments) as book:
        book.backup(target)
    told = as_json({"file": str(target)}) if arguments.json else f"backed up to {target}"
    say(told, f"{target} is written")


ACTIONS: dict[str, Command] = {
    "export": Command(
        "rollpath notebook export season.csv",
        _add_export_arguments,
        _notebook_export,
    ),
    "import": Command(
        "rollpath notebook import season.csv",
        _add_import_arguments,
        _notebook_import,
    ),
    "backup": Command(
        "rollpath notebook backup notebook-2026.db",
        _add_backup_arguments,
        _notebook_backup,
    ),
}
