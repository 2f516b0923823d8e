"""`rollpath trailer`: set up by asking, and shown; `tonight`, and the bare `rollpath`."""

import argparse
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    path_of,
    quantity_of,
    screen_of,
    word_of,
)
from rollpath.cli.doing import trailer_here
from rollpath.cli.given import data_folder, trailer_folder, trailer_of
from rollpath.door_night import tonight, with_lap_time
from rollpath.errors import RollpathError
from rollpath.files.doing import done, record
from rollpath.files.trailers import make_trailer, read_answer
from rollpath.show.trailer import (
    HOW,
    QUESTION_WORDS,
    tonight_json,
    tonight_screen,
    trailer_json,
    trailer_screen,
)
from rollpath.show.words import as_json, lay_out
from rollpath.track import CONDITIONS
from rollpath.trailer.interview import QUESTIONS
from rollpath.trailer.night import Night, as_state
from rollpath.trailer.place import TONIGHT, find_trailer
from rollpath.trailer.trailer import Trailer, TrailerError


def _add_trailer(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="its folder")
    parser.add_argument("--new", action="store_true", help="set one up here")
    group = parser.add_argument_group("answers, instead of being asked")
    for question in QUESTIONS:
        group.add_argument(
            f"--{question.name}", type=word_of, metavar="...", help=QUESTION_WORDS[question.name]
        )
    add_output_arguments(parser, pictures=False)


def _trailer(arguments: argparse.Namespace) -> None:
    typed = {
        question.name: getattr(arguments, question.name)
        for question in QUESTIONS
        if getattr(arguments, question.name) is not None
    }
    folder = find_trailer(arguments.trailer, data=data_folder())
    is_there = folder is not None and (folder / TONIGHT).is_file()
    if is_there and typed and not arguments.new:
        raise CommandError(
            f"{folder}: is set up already; change it with tonight, bolt, air, pads, or by its "
            "files; another one: --new --trailer DIR"
        )
    if not is_there or arguments.new:
        where = arguments.trailer or Path.cwd()
        answers = {name: read_answer(name, text) for name, text in typed.items()}
        if not typed and _is_watched(arguments):
            answers = _ask()
        elif not typed:
            raise CommandError("no trailer here; answer its questions at a terminal, or by option: "
                               "rollpath trailer --help")  # fmt: skip
        written = make_trailer(where, answers, datetime.now().isoformat(timespec="minutes"))
        arguments.trailer = where
        first = trailer_here(arguments)
        record(first, "trailer", {}, as_state(first.night))
        if not arguments.json:
            names = ", ".join(path.name for path in written)
            print(lay_out([f"written: {names} in {where}"], screen_of(arguments)))
    trailer = trailer_of(arguments)
    assert trailer is not None
    if arguments.json:
        print(as_json(trailer_json(trailer)))
    else:
        print(trailer_screen(trailer, screen_of(arguments)))


def _is_watched(arguments: argparse.Namespace) -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and not arguments.json


def _ask() -> dict[str, str]:
    """The interview: Enter skips, ? says how to measure it and what it is worth."""
    print("Enter skips a question, ? tells how to measure it.")
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        while question.name not in answers:
            try:
                typed = input(f"{QUESTION_WORDS[question.name]}: ").strip()
            except EOFError:
                print()
                return answers
            if typed == "?":
                print(HOW[question.name])
            elif not typed:
                break
            else:
                try:
                    answers[question.name] = read_answer(question.name, typed)
                except RollpathError as error:
                    print(f"  {error}")
    return answers


# Tonight


def _add_tonight(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "said", nargs="*", type=word_of, metavar="TRACK SURFACE",
        help='such as "saucer hill" slick, or slick alone',
    )  # fmt: skip
    parser.add_argument("--lap-time", type=quantity_of("time"), metavar="T", help="best lap so far")
    parser.add_argument(
        "--no-book", action="store_true", help="by physics alone, whatever the notebook says"
    )
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    add_output_arguments(parser, pictures=False)


def _tonight(arguments: argparse.Namespace) -> None:
    """Where we are and what the surface is, or with nothing typed: what to do."""
    if arguments.said or arguments.lap_time is not None:
        done(trailer_here(arguments).folder, "tonight", lambda now: _told(arguments, now))
    show_tonight(arguments)


def _told(arguments: argparse.Namespace, trailer: Trailer) -> Night:
    """Tonight with what was typed."""
    night = trailer.night
    track, surface = _said(arguments.said)
    if track:
        night = replace(night, track=_track_named(trailer, track), lap_time=None,
                        since=datetime.now().isoformat(timespec="minutes"))  # fmt: skip
    if surface:
        night = replace(night, condition=read_answer("surface", surface), lap_time=None)
    if arguments.lap_time is not None:
        night = with_lap_time(replace(trailer, night=night), arguments.lap_time)
    return night


def _track_named(trailer: Trailer, typed: str) -> str:
    """The track that a name means; the surfaces are named too, for it may have been one."""
    try:
        return trailer.track_named(typed)
    except TrailerError as error:
        raise CommandError(f"{error}; surfaces: {', '.join(CONDITIONS)}") from None


def _said(words: list[str]) -> tuple[str, str]:
    """Track and surface as typed: the last word is the surface when it is one."""
    if not words:
        return "", ""
    try:
        read_answer("surface", words[-1])
    except RollpathError:
        return " ".join(words), ""
    return " ".join(words[:-1]), words[-1]


def show_tonight(arguments: argparse.Namespace) -> None:
    """Tonight in half a screen: what to bolt on, the bite, what he will feel, what to write."""
    advice = tonight(trailer_here(arguments), lessons=not arguments.no_book)
    if arguments.json:
        print(as_json(tonight_json(advice)))
    else:
        print(tonight_screen(advice, screen_of(arguments)))


def bare(folder: Path) -> None:
    """`rollpath` alone, in a trailer."""
    show_tonight(argparse.Namespace(
        trailer=folder, json=False, units="us", full=False, no_book=False,
    ))  # fmt: skip


def here() -> Path | None:
    """The trailer's folder for the bare command."""
    return trailer_folder()


COMMANDS: dict[str, Command] = {
    "trailer": Command(
        'rollpath trailer --track "Saucer Hill" --radius 200ft --straight 320ft '
        '--rear "83-3/4 86-1/4" --pads "812 741 838 779"',
        _add_trailer,
        _trailer,
    ),
    "tonight": Command(
        'rollpath tonight "saucer hill" slick',
        _add_tonight,
        _tonight,
    ),
}
