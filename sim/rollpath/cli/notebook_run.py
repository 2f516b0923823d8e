"""`rollpath notebook add` and `edit`: a run written down, and corrected."""

import argparse
import math
import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, datetime, time
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
    quantity_of,
    screen_of,
    word_of,
)
from rollpath.cli.book import book_path, open_book, say
from rollpath.cli.given import trailer_of
from rollpath.feel.answers import ANSWERS
from rollpath.files.cars import load_car
from rollpath.files.schema import FileError
from rollpath.files.slips import run_slips, slip_text
from rollpath.files.tracks import load_track
from rollpath.groove.path import GROOVES
from rollpath.scales.twist import BiteError
from rollpath.show.notebook import added_screen, page_json, run_json, show_screen
from rollpath.show.surface import lap_time_screen
from rollpath.show.words import as_json
from rollpath.stagger import baseline
from rollpath.track import CONDITIONS, Track, TrackError
from rollpath.trailer.kept import advice_values, as_it_stands, car_values
from rollpath.trailer.trailer import Trailer, plain_name
from rollpath.units import EIGHTH

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.run import Entry, Run
    from rollpath.surface import Timed

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
OPTIONS = {
    "session": "run", "best_lap": "best", "typical_lap": "typical", "told_stagger": "stagger",
    "weights_from": "pads",
}  # fmt: skip
"""Options that go by another word than the key of the run."""
HELP = {
    "track": "track file, or the name of a track",
    "car": "car file as the car stood, or its name",
    "condition": "state of the surface",
    "groove": "line driven (default: the condition's)",
    "run": "hot laps, heat 1, feature",
    "when": "default: now; a date alone is that evening",
    "stagger": "rear stagger as it ran, where the tires were not taped",
    "best": "best lap, such as 17.84s",
    "typical": "typical lap",
    **{
        name: "; ".join(f"{word}: {meaning}" for word, meaning in words.items())
        for name, words in ANSWERS.items()
    },
    "pads": "whether the weights of the car file are of the car as it ran",
    "counts": "no: a flat, a wreck, yellows; it teaches nothing",
    "note": "anything else",
    "tire": "what it is called in the rack, such as left-rear=L5",
    "jack": "turns from where they are counted, such as left-rear=2turns",
    "pressure": "such as left-rear=9psi",
}
FAR = (0.8, 1.25)
"""A lap beyond these shares of the model's is remarked on. Engineering judgement: the model is
nearer than that on any track, a slip of the pen is not."""
Remark = tuple[str, float]


def moment_of(text: str) -> datetime:
    """An argparse type that reads a time such as ``2026-05-02 21:40``, or an evening's date."""
    from rollpath.book.run import EARLIEST, moment_read

    try:
        moment = moment_read(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f'expected a time such as "2026-05-02 21:40", got "{text}"'
        ) from None
    if moment.year < EARLIEST:
        raise argparse.ArgumentTypeError(f'the year {moment.year}: a slip? got "{text}"')
    return moment


def day_of(text: str) -> datetime:
    """An argparse type that reads since when; a date alone is from that morning."""
    from rollpath.book.run import NIGHT_ENDS

    try:
        return datetime.combine(date.fromisoformat(text.strip()), time()) + NIGHT_ENDS
    except ValueError:
        return moment_of(text)


# What a run holds, as options


def add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """An option for everything that a person says of a run, for `add` and `edit`."""
    from rollpath.book.run import ENTRIES

    for entry in ENTRIES:
        if entry.typed and not entry.thing:
            _add_option(parser, entry)
    for entry in {entry.thing: entry for entry in ENTRIES if entry.thing}.values():
        parser.add_argument(
            f"--{entry.thing}", type=at_corner(entry.kind), action="append",
            metavar="CORNER=VALUE", help=f"{HELP.get(entry.thing, entry.thing)}; may be repeated",
        )  # fmt: skip
    parser.add_argument(
        "--new", action="store_true", help="the track or car is new, though its name is near one"
    )


def _add_option(parser: argparse.ArgumentParser, entry: "Entry") -> None:
    name = OPTIONS.get(entry.name, entry.name)
    more: dict[str, Any] = {"help": HELP.get(name, name.replace("_", " "))}
    choices = {"condition": tuple(CONDITIONS), "groove": GROOVES}.get(name, entry.words)
    if choices:
        more["choices"] = choices
    elif entry.kind == "moment":
        more |= {"type": moment_of, "metavar": "TIME"}
    elif entry.kind == "text":
        file = name in ("track", "car")
        more |= {"type": word_of, "metavar": "FILE"} if file else {"metavar": "TEXT"}
    else:
        more |= {"type": quantity_of(entry.kind), "metavar": "VALUE"}
    parser.add_argument(f"--{name.replace('_', '-')}", **more)


def _typed_values(arguments: argparse.Namespace) -> dict[str, Any]:
    """Attributes of a run from what was typed, but for its track and car."""
    from rollpath.book.run import ENTRIES

    values: dict[str, Any] = {}
    for entry in ENTRIES:
        if entry.thing:
            given = getattr(arguments, entry.thing) or []
            corner = entry.name.removesuffix(f"_{entry.thing}")
            values[entry.name] = dict(given).get(corner)
        elif entry.typed and entry.name not in ("track", "car"):
            values[entry.name] = getattr(arguments, OPTIONS.get(entry.name, entry.name))
    return {name: value for name, value in values.items() if value is not None}


def _run_values(
    arguments: argparse.Namespace, names: dict[str, set[str]], trailer: Trailer | None = None
) -> tuple[dict[str, Any], float]:
    """Attributes of a run, from its track and car files too, and the lap of the model.

    What was not typed is as it stands in the trailer.
    """
    track = _file_or_name(arguments, "track", load_track, names["track"], trailer)
    car = _file_or_name(arguments, "car", load_car, names["car"], trailer)
    values: dict[str, Any] = {}
    lap = math.nan
    if isinstance(car, Car):
        values |= car_values(car)
    if trailer is not None and arguments.car is None:
        values |= as_it_stands(trailer)
    if isinstance(car, Car) and isinstance(track, Track) and arguments.condition:
        advice, lap = _advice(arguments, track, car, trailer)
        values |= advice
    told = {"track": track, "car": car}
    values |= {
        key: one.name if isinstance(one, Track | Car) else one
        for key, one in told.items()
        if one is not None
    }
    return {**values, **_typed_values(arguments)}, lap


def _file_or_name(
    arguments: argparse.Namespace,
    what: str,
    load: Callable[[Path], Track | Car],
    names: Iterable[str],
    trailer: Trailer | None,
) -> Track | Car | str | None:
    """A track or car from its file; a name when it cannot be meant as a file."""
    typed: str | None = getattr(arguments, what)
    if typed is None and trailer is not None:
        return trailer.standing.car if what == "car" else _track_tonight(trailer)
    if typed is None:
        return None
    if trailer is not None and what == "track" and plain_name(typed) in trailer.tracks:
        return load(trailer.tracks[plain_name(typed)])
    path = Path(typed)
    if path.is_file() or path.suffix in (".yaml", ".yml") or len(path.parts) > 1:
        return load(find_file(typed, what))
    return typed if arguments.new else _name_meant(typed, what, names)


def _name_meant(typed: str, what: str, names: Iterable[str]) -> str:
    """The name as the book has it; a name that is only near one is asked about, or refused."""
    from rollpath.book.names import near_name, same_name

    names = list(names)
    same = same_name(typed, names)
    near = None if same else near_name(typed, names)
    if near is None:
        return same or typed
    if sys.stdin.isatty() and sys.stdout.isatty():
        try:
            answer = input(f'  no {what} "{typed}" in the notebook; "{near}"? (y, n): ')
        except (EOFError, KeyboardInterrupt):
            print()
            raise CommandError("stopped; nothing was written") from None
        if answer.strip().casefold() in ("", "y", "yes"):
            return near
        return typed
    raise CommandError(
        f'--{what} {typed}: no such {what} in the notebook; did you mean "{near}"? '
        f"--new says that it is a new {what}"
    )


def _track_tonight(trailer: Trailer) -> Track | str | None:
    """The track of tonight, from its file when there is one."""
    name = trailer.night.track
    path = trailer.tracks.get(name)
    return load_track(path) if path else name or None


def _advice(
    arguments: argparse.Namespace, track: Track, car: Car, trailer: Trailer | None
) -> tuple[dict[str, Any], float]:
    """What is recommended for a run, the groove it was worked out for, and the lap of the model.

    In a trailer its book counts for its own car, as it does on every other screen.
    """
    try:
        result = baseline(track, car, arguments.condition, arguments.groove)
    except TrackError as error:
        print(f"rollpath: no recommendation kept with the run: {error}", file=sys.stderr)
        return {}, math.nan
    advised = result
    if trailer is not None and car.name == trailer.car.name and trailer.book.exists():
        from rollpath.book.book import Book
        from rollpath.book.lessons import taught

        advised, _ = taught(Book(trailer.book).runs(), result, arguments.condition)
    return advice_values(advised, result), float(result.lap.time)


# Adding


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
    from rollpath.book.run import Page, settled

    if arguments.car is None:
        return run  # as it stands in the trailer
    if arguments.pads or not Path(arguments.car).is_file():
        return replace(run, weights_from=arguments.pads)
    try:
        car = load_car(Path(arguments.car))
        as_filed = settled(replace(run, **car_values(car), weights_from="scales"))
        filed = Page("", 0, 1, run.when, as_filed)  # the pads are of the car as its file has it
        return with_pads(run, [*book.runs(), filed], car)
    except BiteError as error:
        print(f"rollpath: bite kept as in the car file: {error}", file=sys.stderr)
        return run


def _add_add_arguments(parser: argparse.ArgumentParser) -> None:
    add_run_arguments(parser)
    add_output_arguments(parser, pictures=False)


def _refuse_slips(run: "Run") -> None:
    """A lap without its point, a year of another century and the like are not written down."""
    slips = run_slips(run.when, (run.best_lap, run.typical_lap), (run.rear_stagger,))
    if slips:
        raise FileError([f"{slip.key}: {slip_text(slip)}" for slip in slips])


def _timed_tonight(
    arguments: argparse.Namespace, trailer: Trailer | None, run: "Run"
) -> "Timed | None":
    """The best lap as tonight's lap time, where the run was of tonight and a surface gives it."""
    if trailer is None or run.best_lap is None or run.counts == "no":
        return None
    elsewhere = (arguments.track, arguments.car, arguments.when)
    if any(one is not None for one in elsewhere) or run.condition != trailer.night.condition:
        return None
    from rollpath.door_night import timed_tonight, with_lap_time
    from rollpath.files.doing import done
    from rollpath.surface import StopwatchError

    lap = run.best_lap
    try:
        timed = timed_tonight(trailer, lap)
        done(trailer.folder, "tonight", lambda now: with_lap_time(now, lap))
    except (StopwatchError, FileError) as error:
        print(f"rollpath: tonight's lap time is as it was: {error}", file=sys.stderr)
        return None
    return timed


def _notebook_add(arguments: argparse.Namespace) -> None:
    from rollpath.book.exchange import to_line
    from rollpath.book.run import BookError, Run, settled

    trailer = trailer_of(arguments)
    for name in ("track", "car"):
        if getattr(arguments, name) is None and trailer is None:
            raise CommandError(f"--{name} is missing: a {name} file, or the name of the {name}")
    if arguments.track is None and trailer is not None:
        if not trailer.night.track:
            raise CommandError('which track? rollpath tonight "saucer hill" slick, or --track')
        arguments.condition = arguments.condition or trailer.night.condition or None
    if sys.stdin.isatty() and sys.stdout.isatty() and not arguments.json:
        child = Parser(prog="rollpath notebook add", allow_abbrev=False)
        add_run_arguments(child)
        _ask(arguments, child)
    values, model_lap = _run_values(arguments, _names_in_book(arguments), trailer)
    stagger = values.pop("told_stagger", None)
    run, remarks = _fitted(Run(**{"when": datetime.now(), **values}), stagger)
    run = settled(run)
    _refuse_slips(run)
    remarks += _lap_remarks(run, model_lap)
    try:
        with open_book(arguments, new=True) as book:
            run = _weighed(run, arguments, book)
            number = book.add(run)
    except BookError as error:
        kept = "keep the next line; `rollpath notebook import -` takes it later"
        raise FileError([*error.lines, kept, to_line(run)]) from None
    timed = None if remarks else _timed_tonight(arguments, trailer, run)
    told = added_screen(number, run, screen_of(arguments), remarks)
    if timed is not None:
        told += "\n" + lap_time_screen(timed, screen_of(arguments))
    if arguments.json:
        told = as_json({
            "number": number, **run_json(run), "remarks": [code for code, _ in remarks],
            "tonight_lap_time_s": None if timed is None else timed.lap_time,
        })  # fmt: skip
    say(told, f"run {number} is in the notebook")


def _names_in_book(arguments: argparse.Namespace) -> dict[str, set[str]]:
    """The names of tracks and cars that the book knows; what is wrong with it is told later."""
    from rollpath.book.book import Book
    from rollpath.book.run import BookError

    try:
        runs = [page.run for page in Book(book_path(arguments)).runs()]
    except BookError:
        runs = []
    return {"track": {run.track for run in runs}, "car": {run.car for run in runs}}


def _fitted(run: "Run", stagger: float | None) -> tuple["Run", list[Remark]]:
    """The run with the stagger that was told, and which tire was reckoned from it."""
    from rollpath.book.run import with_stagger

    if stagger is None:
        return run, []
    fitted = with_stagger(run, stagger)
    return fitted, [
        (corner, rollout)
        for corner in ("left_rear", "right_rear")
        if (rollout := getattr(fitted, f"{corner}_rollout")) is not None
        and abs(rollout - (getattr(run, f"{corner}_rollout") or 0.0)) > 0.25 * EIGHTH
    ]


def _lap_remarks(run: "Run", model_lap: float) -> list[Remark]:
    laps = [lap for lap in (run.best_lap, run.typical_lap) if lap is not None]
    far = any(not FAR[0] <= lap / model_lap <= FAR[1] for lap in laps)
    return [("lap", model_lap)] if far and math.isfinite(model_lap) else []


# Correcting


def add_number_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", type=int, metavar="NUMBER", help="of the run, from the list")
    add_output_arguments(parser, pictures=False)


def _add_edit_arguments(parser: argparse.ArgumentParser) -> None:
    from rollpath.book.run import ENTRIES

    add_number_argument(parser)
    add_run_arguments(parser)
    parser.add_argument(
        "--blank", action="append", default=[], choices=[entry.name for entry in ENTRIES[3:]],
        metavar="NAME", help="forget a value, such as best_lap; may be repeated",
    )  # fmt: skip


def _notebook_edit(arguments: argparse.Namespace) -> None:
    from rollpath.book.run import NAMES

    changes, _ = _run_values(arguments, _names_in_book(arguments))
    changes |= dict.fromkeys(arguments.blank)
    if not changes:
        raise CommandError("nothing to change; say what, such as --best 17.84s")
    stagger = changes.pop("told_stagger", None)
    with open_book(arguments) as book:
        if stagger is not None:
            was = replace(book.history(arguments.number)[-1].run, **changes)
            now, _ = _fitted(was, stagger)
            changes |= {one: getattr(now, one) for one in NAMES if one.endswith("_rollout")}
            changes["told_stagger"] = now.told_stagger
        book.edit(arguments.number, changes)
    show_run(arguments, f"run {arguments.number} is corrected")


def show_run(arguments: argparse.Namespace, kept: str = "") -> None:
    """All of one run, and what it was before edits."""
    with open_book(arguments) as book:
        pages = book.history(arguments.number)
    told = show_screen(pages, screen_of(arguments))
    if arguments.json:
        shown = [page_json(page) for page in pages]
        told = as_json({**shown[-1], "earlier": shown[:-1]})
    say(told, kept or f"run {arguments.number} is in the notebook")


ACTIONS: dict[str, Command] = {
    "add": Command(
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left --drifts-out yes",
        _add_add_arguments,
        _notebook_add,
    ),
    "edit": Command(
        "rollpath notebook edit 12 --best 17.64s",
        _add_edit_arguments,
        _notebook_edit,
    ),
}
