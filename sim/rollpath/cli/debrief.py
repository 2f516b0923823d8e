"""`rollpath debrief`: what the driver and the logger say, on one page."""

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.car import Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_case_arguments,
    add_output_arguments,
    number_between,
    path_of,
    quantity_of,
    run_baseline_case,
    screen_of,
    told_of_files,
    word_of,
)
from rollpath.cli.book import add_lesson_argument, lesson_of, note_book
from rollpath.cli.given import add_given_arguments, given
from rollpath.door_run import Recorded, debriefed, learned_at
from rollpath.feel.answers import ANSWERS, Answers
from rollpath.files.cars import LEAST_STAGGER
from rollpath.files.logs import column_chosen
from rollpath.files.slips import MOST_STAGGER
from rollpath.show.debrief import debrief_json, debrief_screen
from rollpath.show.study import brief_lesson, lesson_json, lesson_words
from rollpath.show.words import as_json
from rollpath.stagger import Baseline
from rollpath.units import QuantityError

if TYPE_CHECKING:
    from rollpath.book.lessons import Study


def add_answer_arguments(parser: argparse.ArgumentParser) -> None:
    """What the driver felt."""
    group = parser.add_argument_group("what the driver felt")
    for name, meanings in ANSWERS.items():
        told = "; ".join(f"{answer}: {meaning}" for answer, meaning in meanings.items())
        group.add_argument(
            f"--{name.replace('_', '-')}", choices=tuple(meanings), help=told,
            type=entry_of if name == "entry" else str,
        )  # fmt: skip


def entry_of(text: str) -> str:
    """The answer to --entry: push is another word for tight."""
    return "tight" if text == "push" else text


def answers_of(arguments: argparse.Namespace) -> Answers:
    return Answers(**{name: getattr(arguments, name) for name in ANSWERS})


def column_choice(text: str) -> tuple[str, str]:
    """An argparse type that reads a column and its heading, such as ``speed=GPS speed``."""
    try:
        return column_chosen(text)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def add_log_arguments(parser: argparse.ArgumentParser) -> None:
    """Recorded laps."""
    group = parser.add_argument_group("recorded laps")
    group.add_argument(
        "--log", type=word_of, metavar="CSV",
        help="any of time, latitude and longitude or x and y, speed, rpm, "
        "steering angle (of the steering wheel) and throttle, units in the headings",
    )  # fmt: skip
    group.add_argument(
        "--column", type=column_choice, action="append", default=[], metavar="NAME=HEADING",
        help='which column of the log to take, such as speed="GPS speed (mph)"',
    )  # fmt: skip
    group.add_argument(
        "--gear-ratio", type=number_between(0.5, 30.0), metavar="G",
        help="turns of the engine for one of the axle (default: gear_ratio of the car file)",
    )  # fmt: skip
    group.add_argument(
        "--steering-positive", choices=("left", "right"), default="left",
        help="which way the log counts steering positive (default left)",
    )  # fmt: skip


def recorded_of(arguments: argparse.Namespace) -> Recorded | None:
    """The log of --log and how it is to be read; None when there is none."""
    if arguments.log is None:
        if arguments.column or arguments.gear_ratio:
            raise CommandError("--column and --gear-ratio go with --log")
        return None
    path = Path(arguments.log)
    if not path.is_file():
        raise CommandError(f"{path}: no such log")
    return Recorded(
        path, dict(arguments.column), arguments.gear_ratio, arguments.steering_positive
    )  # fmt: skip


def _add_debrief(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser)
    parser.add_argument(
        "--stagger", type=quantity_of("tape"), metavar="S",
        help="the rear stagger that was on the car, such as 2-1/4in, where its file is not up to "
        "date",
    )  # fmt: skip
    add_case_arguments(parser)
    add_lesson_argument(parser)
    add_answer_arguments(parser)
    add_log_arguments(parser)
    parser.add_argument(
        "--paper", choices=("letter", "a4"), default="letter", help="size of the page"
    )
    add_output_arguments(parser, pictures=False)
    parser.add_argument(
        "--out", metavar="FILE", type=path_of, help="the page: a name ending in .pdf or .png, or a "
        "folder for both",
    )  # fmt: skip
    parser.add_argument("--show", action="store_true", help="show the page on the screen")


def as_driven(car: Car, stagger: float | None) -> Car:
    """The car with the rear stagger that was told, on the rollouts that its file has."""
    if stagger is None:
        return car
    if not LEAST_STAGGER <= stagger <= MOST_STAGGER:
        raise CommandError("--stagger: expected a stagger between -8 and 8 in")
    return replace(car, rear=car.rear.with_stagger(stagger))


def _debrief(arguments: argparse.Namespace) -> None:
    named, recorded = given(arguments), recorded_of(arguments)
    track, car = named.track, as_driven(named.car, arguments.stagger)
    result = run_baseline_case(arguments, track, car)
    study = lesson_of(arguments, named, car, result.condition)
    screen = screen_of(arguments)
    nights = None if study is None else learned_at(study, track.name)
    told = debriefed(result, answers_of(arguments), recorded, nights)
    if arguments.json:
        lesson = {} if study is None else lesson_json(study, result)
        print(as_json(debrief_json(told) | lesson))
    else:
        print(debrief_screen(told, screen, _lesson_words(arguments, study, result)))
    if arguments.out or arguments.show:
        from rollpath.show.picture import deliver
        from rollpath.show.sheet import draw_feel_page, draw_sheet, write_sheets

        pages = [
            draw_sheet(told, screen, arguments.paper),
            draw_feel_page(told, screen, arguments.paper),
        ]
        if arguments.out:
            write_sheets(pages, arguments.out)
            told_of_files([arguments.out], arguments)
        deliver([], None, arguments.show)


def _lesson_words(arguments: argparse.Namespace, study: "Study | None", result: Baseline) -> str:
    """What the nights put on the physics; of a book that nobody named at the foot alone."""
    screen = screen_of(arguments)
    if study is None:
        return ""
    if screen.full:
        return lesson_words(study, result, screen)
    if arguments.book is None:
        note_book(arguments, study.at(result.track.name).correction)
        return ""
    return brief_lesson(study, result, screen)


COMMANDS: dict[str, Command] = {
    "debrief": Command(
        "rollpath debrief tracks/saucer-hill.yaml cars/number-31.yaml --condition slick "
        "--wheel left --drifts-out yes --wheelspin no --log run.csv --out pdf",
        _add_debrief,
        _debrief,
    ),
}
