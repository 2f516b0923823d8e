"""`rollpath bolt`, `air`, `pads`, `undo`: what is done to the car tonight."""

import argparse
from collections.abc import Callable

from rollpath.book.book import Book
from rollpath.book.run import BookError
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    path_of,
    quantity_of,
    screen_of,
)
from rollpath.cli.doing import done, trailer_here
from rollpath.corners import Corners, corner_named
from rollpath.errors import RollpathError
from rollpath.files.cars import check_change
from rollpath.files.schema import FileError
from rollpath.files.trailers import load_trailer, save_night
from rollpath.show.trailer import standing_json, standing_screen
from rollpath.show.words import as_json
from rollpath.tires.air import growth_of, limits_of
from rollpath.tires.rack import DEFAULT_GROWTH
from rollpath.trailer.night import (
    Fitted,
    Night,
    as_state,
    bolted,
    from_state,
    pumped,
    turned,
    weighed,
)
from rollpath.trailer.trailer import Trailer, TrailerError
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
    try:
        night = change(trailer)
    except TrailerError as error:
        raise CommandError(str(error)) from None
    if not arguments.what_if:
        done(trailer, what, night)
    after = Trailer(trailer.folder, trailer.car, trailer.rack, trailer.tracks, night)
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
    _add_doing(parser)


def _bolt(arguments: argparse.Namespace) -> None:
    def change(trailer: Trailer) -> Night:
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


def fitted_by(trailer: Trailer, corner: str, typed: str) -> Fitted:
    """What was typed for a corner: a tire of the rack, or a rollout.

    Raises
    ------
    TrailerError
        If it is no tire of the rack and no rollout.
    """
    try:
        return trailer.fitted(trailer.tire_named(typed), corner)
    except TrailerError as unknown:
        try:
            rollout = parse(typed, "tape")
        except RollpathError:
            raise unknown from None
    check_change(corner, rollout)
    pressure = getattr(trailer.night.on_car, corner).pressure
    return Fitted("", rollout, pressure)


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
            night = pumped(night, trailer.car, corner, *_pressure(trailer, corner, typed))
        return night

    _do(arguments, "air", change)


def _pressure(trailer: Trailer, corner: str, typed: str) -> tuple[float, float, str]:
    """The pressure wanted at a corner, and the growth and the name of what is there."""
    standing = trailer.standing.car.pressure
    now = None if standing is None else float(getattr(standing, corner))
    amount = parse(typed, "pressure")
    if typed[0] in "+-":
        if now is None:
            raise CommandError(f"what does the {corner.replace('_', ' ')} hold now? say it first, "
                               f"such as rr=16")  # fmt: skip
        amount += now
    rack, tire = trailer.rack, None
    fitted = getattr(trailer.night.on_car, corner)
    if rack is not None:
        by_name = {one.name: one for one in rack.tires}
        here = next((one for one in rack.tires if one.on_car == corner), None)
        tire = by_name.get(fitted.tire) if fitted.tire else here
    limits = None if rack is None else (limits_of(rack, tire) if tire else rack.pressure_limits)
    if limits is not None and not limits[0] - 1.0 <= amount <= limits[1] + 1.0:
        raise CommandError(f"{corner.replace('_', ' ')}: outside the tire maker's limits in the "
                           "rack file")  # fmt: skip
    if amount <= 0:
        raise CommandError(f"{corner.replace('_', ' ')}: that leaves no air in it")
    if rack is None:
        return amount, DEFAULT_GROWTH, fitted.tire
    if tire is None:
        return amount, rack.growth, fitted.tire
    return amount, growth_of(rack, tire), tire.name


# pads


def _add_pads(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "pads", nargs=4, type=quantity_of("weight"), metavar=("LF", "RF", "LR", "RR"),
        help="what the four pads read",
    )  # fmt: skip
    parser.add_argument("--driver", choices=("in", "out"), default="in", help="default in")
    _add_doing(parser)


def _pads(arguments: argparse.Namespace) -> None:
    for pad in arguments.pads:
        check_change("weights", pad)
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
    try:
        with Book(trailer.book) as book:
            action = book.undo()
    except BookError as error:
        raise FileError(error.lines) from None
    state = {
        name: value for name, value in as_state(trailer.night).items() if name not in action.before
    }
    save_night(trailer.folder, from_state({**state, **action.after}))
    after = load_trailer(trailer.folder)
    if arguments.json:
        print(as_json(standing_json(after, trailer)))
    else:
        print(standing_screen(after, trailer, "undone", screen_of(arguments)))


COMMANDS: dict[str, Command] = {
    "bolt": Command(
        "Tires bolted on, written down.", "rollpath bolt lr=L5 rr=R7", _add_bolt, _bolt
    ),
    "air": Command(
        "Air let in or out, and what it does.", "rollpath air rr=+2 --what-if", _add_air, _air
    ),
    "pads": Command(
        "What the scale pads read, written down.", "rollpath pads 812 741 838 779",
        _add_pads, _pads,
    ),
    "undo": Command(
        "Take back the last thing written down.", "rollpath undo", _add_undo, _undo
    ),
}  # fmt: skip
