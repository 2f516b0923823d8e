"""`rollpath notebook`: runs written down, found again, and what they teach."""

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollpath.car import Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    Parser,
    add_output_arguments,
    at_corner,
    find_file,
    path_of,
    quantity_of,
    screen_of,
    word_of,
)
from rollpath.cli.book import book_path, open_book, told_of_book
from rollpath.debrief import ANSWERS
from rollpath.files.cars import load_car
from rollpath.files.schema import FileError, read_text
from rollpath.files.tracks import load_track
from rollpath.files.writing import write_whole
from rollpath.groove.path import GROOVES
from rollpath.scales.twist import BiteError
from rollpath.show.notebook import (
    added_screen,
    list_screen,
    page_json,
    run_json,
    show_screen,
    taken_screen,
)
from rollpath.show.review import review_json, review_screen
from rollpath.show.words import as_json
from rollpath.stagger import baseline
from rollpath.track import CONDITIONS, Track, TrackError

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.run import Page, Run

QUESTIONS: dict[str, str] = {
    "condition": ", ".join(CONDITIONS),
    "run": "which run, such as hot laps, heat 1, feature",
    "best": "best lap, such as 17.84 s",
    **{
        name: "; ".join(f"{word}: {meaning}" for word, meaning in words.items())
        for name, words in ANSWERS.items()
    },
    "note": "a note",
}
"""What `notebook add` asks a person for when it was not typed."""
LARGEST_EXPORT = 1 << 28
"""Bytes; some half a million runs."""
NIGHTS_SHOWN = 10
"""Nights that `notebook review` tells one by one unless asked for all."""


def moment_of(text: str) -> "datetime":
    """An argparse type that reads a date and time such as ``2026-05-02 21:40``."""
    from datetime import datetime

    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f'expected a time such as "2026-05-02 21:40", got "{text}"'
        ) from None


def _add_notebook(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=tuple(NOTEBOOK_ACTIONS), help="each takes --help")


def _notebook(arguments: argparse.Namespace) -> None:
    action = arguments.action  # it would have been found, had it come first
    raise CommandError(f'"{action}" comes right after "notebook": rollpath notebook {action} ...')


def _of_notebook(action: Command) -> Command:
    """An action that takes --book, and tells the faults of a notebook as those of any file."""

    def add_arguments(parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--book", type=path_of, metavar="FILE", help="notebook file (default: your data folder)"
        )
        action.add_arguments(parser)

    def run(arguments: argparse.Namespace) -> None:
        with told_of_book():
            action.run(arguments)

    return replace(action, add_arguments=add_arguments, run=run)


def _add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """What a run holds, for `add` and `edit`."""
    time_of = quantity_of("time")
    parser.add_argument(
        "--track", type=word_of, metavar="FILE", help="track file, or the name of a track"
    )
    parser.add_argument(
        "--car", type=word_of, metavar="FILE", help="car file as the car stood, or its name"
    )
    parser.add_argument("--condition", choices=tuple(CONDITIONS), help="state of the surface")
    parser.add_argument("--groove", choices=GROOVES, help="line driven (default: the condition's)")
    parser.add_argument("--run", metavar="TEXT", help="hot laps, heat 1, feature")
    parser.add_argument("--when", type=moment_of, metavar="TIME", help="default: now")
    parser.add_argument("--best", type=time_of, metavar="T", help="best lap, such as 17.84s")
    parser.add_argument("--typical", type=time_of, metavar="T", help="typical lap")
    for name, words in ANSWERS.items():
        told = "; ".join(f"{word}: {meaning}" for word, meaning in words.items())
        parser.add_argument(f"--{name.replace('_', '-')}", choices=tuple(words), help=told)
    _add_corner_arguments(parser)
    parser.add_argument(
        "--counts", choices=("yes", "no"), help="no: a flat, a wreck, yellows; it teaches nothing"
    )
    parser.add_argument("--note", metavar="TEXT", help="anything else")


def _add_corner_arguments(parser: argparse.ArgumentParser) -> None:
    """Jacks, pressures and pads as the car ran."""
    parser.add_argument(
        "--jack", type=at_corner("turns"), action="append", metavar="CORNER=TURNS",
        help='jack turns from where they are counted, such as "left-rear=2 turns"; may be repeated',
    )  # fmt: skip
    parser.add_argument(
        "--pressure", type=at_corner("pressure"), action="append", metavar="CORNER=P",
        help="such as left-rear=9psi; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--pads", choices=("scales", "predicted"),
        help="whether the weights of the car file are of the car as it ran",
    )  # fmt: skip


def _run_values(arguments: argparse.Namespace) -> dict[str, Any]:
    """Attributes of a run from what was typed, and from the track and car files."""
    values: dict[str, Any] = {}
    for typed, name in (
        ("condition", "condition"), ("groove", "groove"), ("run", "session"), ("when", "when"),
        ("best", "best_lap"), ("typical", "typical_lap"), ("counts", "counts"), ("note", "note"),
    ):  # fmt: skip
        values[name] = getattr(arguments, typed)
    for name in ANSWERS:
        values[name] = getattr(arguments, name)
    for thing in ("jack", "pressure"):
        for corner, amount in getattr(arguments, thing) or []:
            values[f"{corner}_{thing}"] = amount
    track = _file_or_name(arguments.track, "track", load_track)
    car = _file_or_name(arguments.car, "car", load_car)
    values["track"] = track.name if isinstance(track, Track) else track
    values["car"] = car.name if isinstance(car, Car) else car
    if isinstance(car, Car):
        values |= _car_values(car)
    if isinstance(car, Car) and isinstance(track, Track) and arguments.condition:
        values |= _advice(track, car, arguments.condition, arguments.groove)
    return {name: value for name, value in values.items() if value is not None}


def _file_or_name(
    typed: str | None, what: str, load: Callable[[Path], Track | Car]
) -> Track | Car | str | None:
    """A track or car from its file; a name when it cannot be meant as a file."""
    if typed is None:
        return None
    path = Path(typed)
    if path.is_file() or path.suffix in (".yaml", ".yml") or len(path.parts) > 1:
        return load(find_file(typed, what))
    return typed


def _car_values(car: Car) -> dict[str, Any]:
    """What a run keeps of a car."""
    weights = {f"{corner}_weight": weight for corner, weight in car.weights.by_name().items()}
    return {
        "left_front_rollout": car.front.left_rollout,
        "right_front_rollout": car.front.right_rollout,
        "left_rear_rollout": car.rear.left_rollout,
        "right_rear_rollout": car.rear.right_rollout,
        **weights,
    }


def _advice(track: Track, car: Car, condition: str, groove: str | None) -> dict[str, Any]:
    """What the physics recommends for a run, and the groove it was worked out for."""
    try:
        result = baseline(track, car, condition, groove)
    except TrackError as error:
        print(f"rollpath: no recommendation kept with the run: {error}", file=sys.stderr)
        return {}
    best = result.stagger
    return {
        "groove": result.groove.name,
        "recommended_stagger": float(best.recommended),
        "optimum_stagger": float(best.unbounded),
        "window_low": best.window[0],
        "window_high": best.window[1],
    }


def _ask(arguments: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    """Ask a person at the terminal for what was not typed; Enter leaves it out."""
    print("Enter leaves a question out.")
    for name, question in QUESTIONS.items():
        while getattr(arguments, name) is None:
            try:
                answer = input(f"  {name.replace('_', ' ')} ({question}): ").strip()
            except EOFError:
                print()
                return
            except KeyboardInterrupt:
                print()
                raise CommandError("stopped; nothing was written") from None
            if not answer:
                break
            option = f"--{name.replace('_', '-')}={answer}"
            try:
                parser.parse_args([option], namespace=arguments)
            except CommandError as error:
                print(f"  {str(error).rpartition('; see')[0].partition(': ')[2]}")


def _weighed(run: "Run", arguments: argparse.Namespace, book: "Book") -> "Run":
    """The run with its weights as it ran, and whether they were read or predicted."""
    from rollpath.book.nights import with_pads

    if arguments.pads or not Path(arguments.car).is_file():
        return replace(run, weights_from=arguments.pads)
    try:
        return with_pads(run, book.runs(), load_car(Path(arguments.car)))
    except BiteError as error:
        print(f"rollpath: bite kept as in the car file: {error}", file=sys.stderr)
        return run


def _add_add_arguments(parser: argparse.ArgumentParser) -> None:
    _add_run_arguments(parser)
    add_output_arguments(parser, pictures=False)


def _notebook_add(arguments: argparse.Namespace) -> None:
    from datetime import datetime

    from rollpath.book.exchange import to_line
    from rollpath.book.run import BookError, Run, settled

    for name in ("track", "car"):
        if getattr(arguments, name) is None:
            raise CommandError(f"--{name} is missing: a {name} file, or the name of the {name}")
    if sys.stdin.isatty() and sys.stdout.isatty() and not arguments.json:
        child = Parser(prog="rollpath notebook add", allow_abbrev=False)
        _add_run_arguments(child)
        _ask(arguments, child)
    run = settled(Run(**{"when": datetime.now(), **_run_values(arguments)}))
    try:
        with open_book(arguments, new=True) as book:
            run = _weighed(run, arguments, book)
            number = book.add(run)
    except BookError as error:
        kept = "keep the next line; `rollpath notebook import -` takes it later"
        raise FileError([*error.lines, kept, to_line(run)]) from None
    if arguments.json:
        print(as_json({"number": number, **run_json(run)}))
    else:
        print(added_screen(number, run, screen_of(arguments)))


def _picked(pages: list["Page"], arguments: argparse.Namespace) -> list["Page"]:
    """The runs that --track, --car, --condition, --since and --find leave."""

    def holds(text: str | None, part: str | None) -> bool:
        return part is None or (text is not None and part.casefold() in text.casefold())

    found = arguments.find
    return [
        page
        for page in pages
        if holds(page.run.track, arguments.track)
        and holds(page.run.car, arguments.car)
        and (arguments.since is None or page.run.when >= arguments.since)
        and (arguments.condition is None or page.run.condition == arguments.condition)
        and (found is None or any(holds(text, found) for text in _words_of(page.run)))
    ]


def _words_of(run: "Run") -> tuple[str | None, ...]:
    return run.note, run.session, run.track, run.car, run.groove, f"{run.when:%Y-%m-%d}"


def _add_pick_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--track", type=word_of, metavar="NAME", help="only this track; part of its name will do"
    )
    parser.add_argument("--car", type=word_of, metavar="NAME", help="only this car")
    parser.add_argument("--condition", choices=tuple(CONDITIONS), help="only this surface")
    parser.add_argument("--since", type=moment_of, metavar="DAY", help="only since, as 2026-05-01")
    parser.add_argument("--find", metavar="TEXT", help="only runs with this in a name or note")


def _add_list_arguments(parser: argparse.ArgumentParser) -> None:
    _add_pick_arguments(parser)
    add_output_arguments(parser, pictures=False)


def _notebook_list(arguments: argparse.Namespace) -> None:
    with open_book(arguments) as book:
        pages = _picked(book.runs(), arguments)
    if arguments.json:
        print(as_json({"runs": [page_json(page) for page in pages]}, None))
    else:
        print(list_screen(pages, screen_of(arguments)))


def _add_number_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", type=int, metavar="NUMBER", help="of the run, from the list")
    add_output_arguments(parser, pictures=False)


def _notebook_show(arguments: argparse.Namespace) -> None:
    with open_book(arguments) as book:
        pages = book.history(arguments.number)
    if arguments.json:
        told = [page_json(page) for page in pages]
        print(as_json({**told[-1], "earlier": told[:-1]}))
    else:
        print(show_screen(pages, screen_of(arguments)))


def _add_edit_arguments(parser: argparse.ArgumentParser) -> None:
    from rollpath.book.run import ENTRIES

    _add_number_argument(parser)
    _add_run_arguments(parser)
    parser.add_argument(
        "--blank", action="append", default=[], choices=[entry.name for entry in ENTRIES[3:]],
        metavar="NAME", help="forget a value, such as best_lap; may be repeated",
    )  # fmt: skip


def _notebook_edit(arguments: argparse.Namespace) -> None:
    changes = {**_run_values(arguments), **dict.fromkeys(arguments.blank)}
    if arguments.pads:
        changes["weights_from"] = arguments.pads
    if not changes:
        raise CommandError("nothing to change; say what, such as --best 17.84s")
    with open_book(arguments) as book:
        book.edit(arguments.number, changes)
    _notebook_show(arguments)


def _add_export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", type=word_of, metavar="FILE", help="ends in .csv or .json; - prints JSON"
    )
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_export(arguments: argparse.Namespace) -> None:
    from rollpath.book.exchange import to_csv, to_json

    writers = {".csv": to_csv, ".json": to_json}
    target = Path(arguments.file)
    if arguments.file != "-" and target.suffix not in writers:
        raise CommandError(f"{target}: expected a name that ends in .csv or .json")
    if target.exists() and not arguments.replace:
        raise CommandError(f"{target}: is there already; another name, or --replace")
    with open_book(arguments) as book:
        pages = book.pages()
    text = writers.get(target.suffix, to_json)(pages)
    if arguments.file == "-":
        sys.stdout.write(text)
        return
    write_whole(target, text)
    count = len({page.key for page in pages})
    if arguments.json:
        print(as_json({"file": str(target), "runs": count}))
    else:
        print(f"{count} run{'s' * (count != 1)} written to {target}")


def _add_import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", type=word_of, metavar="FILE", help="CSV or JSON; - reads what is piped in"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def _notebook_import(arguments: argparse.Namespace) -> None:
    from rollpath.book.journal import read_export

    if arguments.file == "-":
        text, name = _piped_in(), "the text piped in"
    else:
        path = Path(arguments.file)
        text, name = read_text(path, LARGEST_EXPORT), str(path)
    pages, actions = read_export(text, name)
    with open_book(arguments, new=True) as book:
        taken = book.take(pages, actions)
    print(as_json(vars(taken)) if arguments.json else taken_screen(taken))


def _piped_in() -> str:
    try:
        return sys.stdin.read()
    except UnicodeDecodeError:
        raise CommandError("the text piped in is not UTF-8") from None


def _add_backup_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="?", type=path_of, metavar="FILE", help="default: beside it")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_backup(arguments: argparse.Namespace) -> None:
    from datetime import datetime

    path = book_path(arguments)
    beside = path.with_name(f"{path.stem}-{datetime.now():%Y-%m-%d-%H%M%S}{path.suffix}")
    target = arguments.file or beside
    with open_book(arguments) as book:
        book.backup(target)
    told = as_json({"file": str(target)}) if arguments.json else f"backed up to {target}"
    print(told)


def _add_review_arguments(parser: argparse.ArgumentParser) -> None:
    _add_pick_arguments(parser)
    parser.add_argument(
        "--nights", type=int, default=NIGHTS_SHOWN, metavar="N",
        help=f"how many of the last nights to tell run by run (default {NIGHTS_SHOWN}; 0: all)",
    )  # fmt: skip
    add_output_arguments(parser)


def _notebook_review(arguments: argparse.Namespace) -> None:
    from rollpath.book.lessons import studies
    from rollpath.book.nights import nights

    surface, arguments.condition = arguments.condition, None
    with open_book(arguments) as book:
        pages = _picked(book.runs(), arguments)
    found = nights(pages)
    # A change of surface is seen only with all the runs of a night, so it is picked afterwards.
    taught = [study for study in studies(found) if surface in (None, study.condition)]
    if surface is not None:
        found = [n for n in found if any(page.run.condition == surface for page in n.runs)]
    screen = screen_of(arguments)
    if arguments.json:
        print(as_json(review_json(found, taught), None))
    else:
        shown = found[-arguments.nights :] if arguments.nights > 0 else found
        print(review_screen(shown, len(found) - len(shown), taught, screen))
    if arguments.out or arguments.show:
        from rollpath.show.picture import deliver
        from rollpath.show.review import notebook_pictures

        deliver(notebook_pictures(taught, screen), arguments.out, arguments.show)


NOTEBOOK_ACTIONS: dict[str, Command] = {
    "add": Command(
        "Write a run down.",
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left --drifts-out yes",
        _add_add_arguments,
        _notebook_add,
    ),
    "list": Command(
        "Find runs.",
        "rollpath notebook list --track Ropewalk --since 2026-05-01",
        _add_list_arguments,
        _notebook_list,
    ),
    "show": Command(
        "All of one run, and what it was before edits.",
        "rollpath notebook show 12",
        _add_number_argument,
        _notebook_show,
    ),
    "edit": Command(
        "Correct a run; the old values stay in the book.",
        "rollpath notebook edit 12 --best 17.64s",
        _add_edit_arguments,
        _notebook_edit,
    ),
    "export": Command(
        "Write the whole book as CSV or JSON.",
        "rollpath notebook export season.csv",
        _add_export_arguments,
        _notebook_export,
    ),
    "import": Command(
        "Take runs from a CSV or JSON; what is there already stays.",
        "rollpath notebook import season.csv",
        _add_import_arguments,
        _notebook_import,
    ),
    "backup": Command(
        "Copy the book to another file.",
        "rollpath notebook backup notebook-2026.db",
        _add_backup_arguments,
        _notebook_backup,
    ),
    "review": Command(
        "What changed between runs, and what the nights teach.",
        "rollpath notebook review --car 'Number 31' --condition slick --out pictures",
        _add_review_arguments,
        _notebook_review,
    ),
}
COMMANDS: dict[str, Command] = {
    "notebook": Command(
        "The record of nights: write runs down, find them, and see what they teach.",
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left; rollpath notebook review",
        _add_notebook,
        _notebook,
    ),
    **{f"notebook {name}": _of_notebook(action) for name, action in NOTEBOOK_ACTIONS.items()},
}
