"""`rollpath bolt`, `air`, `pads`, `undo`: what is done to the car tonight."""

import argparse
from collections.abc import Callable
from dataclasses import replace

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
from rollpath.corners import Corners, corner_named
from rollpath.files.cars import WEIGHT
from rollpath.files.doing import done, fitted_by, pressure_by, undone
from rollpath.files.plans import planned_night
from rollpath.files.trailers import load_trailer
from rollpath.show.trailer import back_words, standing_json, standing_screen
from rollpath.show.words import as_json
from rollpath.trailer.night import Night, bolted, pumped, turned, weighed
from rollpath.trailer.trailer import Trailer
from rollpath.units import parse


def at_corner_text(text: str) -> tuple[str, str]:
    """An argparse type that reads a corner and what is done there, such as ``rr=R7``."""
    name, equals, what = text.partition("=")
    corner = corner_named(name)
    if corner is None or not equals or not what.strip():
        raise argparse.ArgumentTypeError(
            f'expected lf, rf, lr or rr, then "=" and what goes there, got "{text}"'
        )
    return corner, what.strip()


def _add_doing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    parser.add_argument(
        "--what-if", action="store_true", help="show what it would do; nothing is written down"
    )
    add_output_arguments(parser, pictures=False)


def _do(arguments: argparse.Namespace, what: str, change: Callable[[Trailer], Night]) -> None:
    """Change the night, write it down unless only asked, and show how the car stands then."""
    trailer = trailer_here(arguments)
    if arguments.what_if:
        after = replace(trailer, night=change(trailer))
    else:
        after = done(trailer.folder, what, change)
    if arguments.json:
        print(as_json(standing_json(after, trailer)))
    else:
        print(
            standing_screen(
                after, trailer, "asked" if arguments.what_if else "done", screen_of(arguments)
            )
        )


# bolt


def _add_bolt(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "tires", nargs="*", type=at_corner_text, metavar="CORNER=TIRE",
        help="such as lr=L5 rr=R7; a tire that is not in the rack by its rollout: rr=86-3/8",
    )  # fmt: skip
    parser.add_argument(
        "--jack", nargs="+", type=at_corner_text, default=[], metavar="CORNER=TURNS",
        help="jack turns made, such as lr=+1/2",
    )  # fmt: skip
    parser.add_argument(
        "--plan", type=word_of, metavar="RUN",
        help="all that the last plan puts on for a run: tires, air and jacks",
    )  # fmt: skip
    _add_doing(parser)


def _bolt(arguments: argparse.Namespace) -> None:
    def change(trailer: Trailer) -> Night:
        if arguments.plan is not None:
            if arguments.tires or arguments.jack:
                raise CommandError("--plan stands alone: it says all four tires, air and jacks")
            return planned_night(trailer, arguments.plan)
        if not arguments.tires and not arguments.jack:
            raise CommandError("what goes where? such as: rollpath bolt lr=L5 rr=R7")
        corners = [corner for corner, _ in arguments.tires]
        twice = next((corner for corner in corners if corners.count(corner) > 1), None)
        if twice:
            raise CommandError(f"{twice.replace('_', ' ')} is given twice")
        night = trailer.night
        for corner, typed in arguments.tires:
            night = bolted(night, corner, fitted_by(trailer, corner, typed))
        ids = [one.tire for one in night.on_car if one.tire]
        if len(set(ids)) < len(ids):
            raise CommandError("one tire cannot be in two places")
        jacks = {corner: parse(_turns(text), "turns") for corner, text in arguments.jack}
        return turned(night, jacks)

    _do(arguments, "bolt", change)


def _turns(text: str) -> str:
    return text if "turn" in text.lower() else f"{text} turns"


# air


def _add_air(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "air", nargs="+", type=at_corner_text, metavar="CORNER=PSI",
        help="such as rr=+2 or rr=16; with a sign it is added",
    )  # fmt: skip
    _add_doing(parser)


def _air(arguments: argparse.Namespace) -> None:
    def change(trailer: Trailer) -> Night:
        night = trailer.night
        for corner, typed in arguments.air:
            night = pumped(night, trailer.car, corner, *pressure_by(trailer, corner, typed))
        return night

    _do(arguments, "air", change)


# pads


def _add_pads(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "pads", nargs="*", type=quantity_of("weight"), metavar="LF RF LR RR",
        help="what the four pads read",
    )  # fmt: skip
    parser.add_argument("--driver", choices=("in", "out"), default="in", help="default in")
    _add_doing(parser)


def _pads(arguments: argparse.Namespace) -> None:
    if len(arguments.pads) != 4:
        raise CommandError(f"expected what four pads read, LF RF LR RR, got {len(arguments.pads)}")
    for corner, pad in zip(("LF", "RF", "LR", "RR"), arguments.pads, strict=True):
        if WEIGHT.outside(pad):
            raise CommandError(f"{corner}: expected {WEIGHT.range_text}")
    _do(
        arguments, "pads",
        lambda trailer: weighed(trailer.night, Corners(*arguments.pads), arguments.driver == "in"),
    )  # fmt: skip


# undo


def _add_undo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    add_output_arguments(parser, pictures=False)


def _undo(arguments: argparse.Namespace) -> None:
    trailer = trailer_here(arguments)
    action = undone(trailer.folder)
    after = load_trailer(trailer.folder)
    if arguments.json:
        print(as_json(standing_json(after, trailer)))
    else:
        screen = screen_of(arguments)
        print(standing_screen(after, trailer, "undone", screen, back_words(action, screen)))


COMMANDS: dict[str, Command] = {
    "bolt": Command(
        "rollpath bolt lr=L5 rr=R7", _add_bolt, _bolt
    ),
    "air": Command(
        "rollpath air rr=+2 --what-if", _add_air, _air
    ),
    "pads": Command(
        "rollpath pads 812 741 838 779",
        _add_pads, _pads,
    ),
    "undo": Command(
        "rollpath undo", _add_undo, _undo
    ),
}  # fmt: skip
