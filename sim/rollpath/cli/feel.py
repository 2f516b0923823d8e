"""`rollpath feel`: what the driver feels of a stagger in the wheel."""

import argparse
from dataclasses import replace

from rollpath.cli.arguments import (
    Command,
    add_output_arguments,
    add_surface_arguments,
    draw,
    number_between,
    quantity_of,
    screen_of,
    surfaced,
)
from rollpath.cli.book import add_lesson_argument, book_json, correction_of, note_book
from rollpath.cli.given import add_given_arguments, given
from rollpath.feel.lap import DEFAULT_PACE, what_driver_feels
from rollpath.files.cars import LEAST_STAGGER
from rollpath.files.slips import MOST_STAGGER
from rollpath.show.feel import feel_json, feel_screen
from rollpath.show.words import as_json
from rollpath.stagger import on_surface, timed_baseline

MOST_LINES = 6
"""Each needs a line of its own in a picture."""


def staggers_of(text: str) -> list[float]:
    """An argparse type that reads staggers with commas between, such as ``1in,2 1/4in``."""
    read = quantity_of("tape")
    values = [read(part) for part in text.split(",") if part.strip()]
    if not 1 <= len(values) <= MOST_LINES:
        raise argparse.ArgumentTypeError(
            f'expected one to {MOST_LINES} staggers such as "1in,2in,3in", got "{text}"'
        )
    if not all(LEAST_STAGGER <= value <= MOST_STAGGER for value in values):
        raise argparse.ArgumentTypeError(f'expected staggers between -8 and 8 in, got "{text}"')
    return values


def _add_feel(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser)
    parser.add_argument(
        "--stagger", type=staggers_of, metavar="A,B",
        help="rear staggers, such as 1in,2in,3in (default: the car's and the recommended one)",
    )  # fmt: skip
    add_surface_arguments(parser)
    add_lesson_argument(parser)
    parser.add_argument(
        "--pace", type=number_between(0.3, 1.0), default=DEFAULT_PACE, metavar="P",
        help=f"share of the speed that the tires can hold (default {DEFAULT_PACE:g})",
    )  # fmt: skip
    add_output_arguments(parser)


def _feel(arguments: argparse.Namespace) -> None:
    named = given(arguments)
    track, car, state, watch = named.track, named.car, surfaced(arguments, named.track), None
    line, found = arguments.groove, correction_of(arguments, named, car, state)
    if arguments.lap_time is not None:
        timed = timed_baseline(track, car, state, line, arguments.lap_time)
        state, line, watch = timed.condition, timed.groove, timed.watch
    result = what_driver_feels(
        on_surface(track, state),
        car,
        state.name,
        line,
        arguments.stagger,
        pace=arguments.pace,
        correction=0.0 if found is None else found.stagger,
    )
    result = replace(result, watch=watch)
    screen = screen_of(arguments)
    if arguments.json:
        print(as_json(feel_json(result) | book_json(found)))
    else:
        note_book(arguments, found)
        print(feel_screen(result, screen))
    if arguments.out or arguments.show:
        from rollpath.show.feel import feel_pictures

        draw(feel_pictures(result, screen), arguments)


COMMANDS: dict[str, Command] = {
    "feel": Command(
        "rollpath feel tracks/ropewalk.yaml cars/number-31.yaml --stagger 1in,2in,3in "
        "--condition slick",
        _add_feel,
        _feel,
    ),
}
