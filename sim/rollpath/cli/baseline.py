"""`rollpath baseline`: which rear stagger to start with."""

import argparse
from typing import TYPE_CHECKING

from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_case_arguments,
    add_output_arguments,
    draw,
    run_baseline_case,
    screen_of,
)
from rollpath.cli.book import add_lesson_argument, lesson_of, note_book
from rollpath.cli.given import Given, add_given_arguments, given
from rollpath.doubts import give_or_take
from rollpath.files.books import told_of_book
from rollpath.scales.rates import effect_of
from rollpath.screen import Screen
from rollpath.show.baseline import baseline_json, baseline_screen
from rollpath.show.words import as_json
from rollpath.stagger import Baseline, corrected

if TYPE_CHECKING:
    from rollpath.book.lessons import Study
    from rollpath.book.surfaces import LearnedSurface


def _add_baseline(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser)
    add_case_arguments(parser)
    add_lesson_argument(parser)
    parser.add_argument(
        "--learned", action="store_true",
        help="use the grip that the laps in the notebook say this surface has on this track",
    )  # fmt: skip
    add_output_arguments(parser)


def _baseline(arguments: argparse.Namespace) -> None:
    named = given(arguments)
    track, car = named.track, named.car
    laps = _laps(arguments, named)
    if laps is not None and laps.differs and arguments.learned:
        from rollpath.book.surfaces import with_learned

        track = with_learned(track, laps)
    result = physics = run_baseline_case(arguments, track, car)
    lesson = lesson_of(arguments, named, car, result.condition)
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
        if laps is not None:
            from rollpath.show.surface_learned import learned_json

            told |= learned_json(laps, arguments.learned and laps.differs)
        print(as_json(told))
    else:
        note = _laps_note(arguments, laps)
        if not note or found is not None or screen.full:
            note = "; ".join(filter(None, (note, _note(arguments, lesson, physics, screen))))
        print(baseline_screen(result, effect, screen, note, sure))
    if arguments.out or arguments.show:
        from rollpath.show.baseline import baseline_pictures

        draw(baseline_pictures(result, screen_of(arguments)), arguments)


def _laps(arguments: argparse.Namespace, named: Given) -> "LearnedSurface | None":
    """What the laps of the notebook that was named, or of the trailer's, say of the surface asked
    for; None where they do not speak of it, or something else says the grip."""
    typed = (arguments.grip, arguments.bands, arguments.lap_time)
    path = arguments.book
    if path is None and named.trailer is not None and named.trailer.book.exists():
        path = named.trailer.book
    if path is None and arguments.learned:
        raise CommandError("--learned needs a notebook: --book FILE, or a trailer with one")
    name = arguments.condition
    if path is None or not isinstance(name, str) or any(one is not None for one in typed):
        return None
    from rollpath.book.book import Book
    from rollpath.book.surfaces import learned_surfaces

    with told_of_book(), Book(path) as book:
        pages = [page for page in book.runs() if page.run.condition == name]
    return learned_surfaces(pages, named.track, named.car).on(name)


def _laps_note(arguments: argparse.Namespace, laps: "LearnedSurface | None") -> str:
    """The offer of what the laps say, or that it is used."""
    if laps is None or not laps.differs:
        return ""
    from rollpath.show.surface_learned import learned_words

    return learned_words(laps, arguments.learned)


def _note(
    arguments: argparse.Namespace, lesson: "Study | None", physics: Baseline, screen: Screen
) -> str:
    """What the notebook says; of a book that nobody named just that it counts, at the foot."""
    if lesson is None:
        return ""
    if arguments.book is None and not screen.full:
        note_book(arguments, lesson.at(physics.track.name).correction)
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
