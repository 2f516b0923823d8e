"""`rollpath baseline`: which rear stagger to start with."""

import argparse
from typing import TYPE_CHECKING

from rollpath.cli.arguments import (
    Command,
    add_case_arguments,
    add_output_arguments,
    draw,
    run_baseline_case,
    screen_of,
)
from rollpath.cli.book import add_lesson_argument, lesson_of
from rollpath.cli.given import add_given_arguments, given
from rollpath.doubts import give_or_take
from rollpath.scales.rates import effect_of
from rollpath.screen import Screen
from rollpath.show.baseline import baseline_json, baseline_screen
from rollpath.show.words import as_json
from rollpath.stagger import Baseline, corrected

if TYPE_CHECKING:
    from rollpath.book.lessons import Study


def _add_baseline(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser)
    add_case_arguments(parser)
    add_lesson_argument(parser)
    add_output_arguments(parser)


def _baseline(arguments: argparse.Namespace) -> None:
    named = given(arguments)
    track, car = named.track, named.car
    result = physics = run_baseline_case(arguments, track, car)
    lesson = lesson_of(arguments, result)
    found = None if lesson is None else lesson.at(track.name).correction
    if found is not None:
        result = corrected(physics, found.stagger)
    effect, sure = effect_of(result), give_or_take(physics)
    screen = screen_of(arguments)
    if arguments.json:
        told = baseline_json(result, effect, sure)
        if lesson is not None:
            from rollpath.show.study import lesson_json

            told |= lesson_json(lesson, physics)
        print(as_json(told))
    else:
        print(baseline_screen(result, effect, screen, _note(lesson, physics, screen), sure))
    if arguments.out or arguments.show:
        from rollpath.show.baseline import baseline_pictures

        draw(baseline_pictures(result, screen_of(arguments)), arguments)


def _note(lesson: "Study | None", physics: Baseline, screen: Screen) -> str:
    """What the notebook says, in a line."""
    if lesson is None:
        return ""
    from rollpath.show.study import lesson_words

    return lesson_words(lesson, physics, screen)


COMMANDS: dict[str, Command] = {
    "baseline": Command(
        "rollpath baseline tracks/saucer-hill.yaml cars/number-31.yaml --condition slick",
        _add_baseline,
        _baseline,
    ),
}
