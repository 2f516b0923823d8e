"""`rollpath notebook`: runs written down, found again, and what they teach."""

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from rollpath.cli import notebook_copy, notebook_run
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    draw,
    find_file,
    path_of,
    plain_word,
    screen_of,
    word_of,
)
from rollpath.cli.book import open_book
from rollpath.cli.given import trailer_of
from rollpath.cli.notebook_run import add_number_argument, day_of, show_run
from rollpath.files.books import told_of_book
from rollpath.show.notebook import list_screen, page_json
from rollpath.show.review import review_json, review_screen
from rollpath.show.words import as_json
from rollpath.track import CONDITIONS

if TYPE_CHECKING:
    from rollpath.book.next import NextRun
    from rollpath.book.nights import Night
    from rollpath.book.run import Page, Run

NIGHTS_SHOWN = 10
"""Nights that `notebook review` tells one by one unless asked for all."""


def _add_notebook(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=tuple(NOTEBOOK_ACTIONS), help="each takes --help")


def _notebook(arguments: argparse.Namespace) -> None:
    action = arguments.action  # it would have been found, had it come first
    raise CommandError(f'"{action}" comes right after "notebook": rollpath notebook {action} ...')


def _of_notebook(action: Command) -> Command:
    """An action that takes --book, and tells the faults of a notebook as those of any file."""

    def add_arguments(parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--book",
            type=path_of,
            metavar="FILE",
            help="notebook file (default: the trailer's, or your own)",
        )
        action.add_arguments(parser)

    def run(arguments: argparse.Namespace) -> None:
        with told_of_book():
            action.run(arguments)

    return replace(action, add_arguments=add_arguments, run=run)


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
    parser.add_argument(
        "--condition", choices=tuple(CONDITIONS), type=plain_word, help="only this surface"
    )
    parser.add_argument("--since", type=day_of, metavar="DAY", help="only since, as 2026-05-01")
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


def _add_review_arguments(parser: argparse.ArgumentParser) -> None:
    _add_pick_arguments(parser)
    parser.add_argument(
        "--nights", type=int, metavar="N",
        help=f"tell so many of the last nights run by run (with --full {NIGHTS_SHOWN}; 0: all)",
    )  # fmt: skip
    add_output_arguments(parser)


def _nights_told(found: list["Night"], asked: int | None, full: bool) -> list["Night"]:
    """The nights to tell run by run; none unless they were asked for, or the whole was."""
    if asked is None:
        return found[-NIGHTS_SHOWN:] if full else []
    return found[-asked:] if asked > 0 else found


def _come(arguments: argparse.Namespace, shown: list["Night"]) -> list[str]:
    """How far the track came in each night, where its file is in the trailer and the car is."""
    trailer = trailer_of(arguments)
    if trailer is None:
        return []
    from rollpath.door_night import come_of_night
    from rollpath.files.tracks import load_track
    from rollpath.show.surface import come_words
    from rollpath.trailer.trailer import plain_name

    words = []
    for night in shown:
        path = trailer.tracks.get(plain_name(night.track))
        come = None
        if path is not None and night.car == trailer.car.name:
            car = trailer.standing.car
            come = come_of_night([page.run for page in night.runs], load_track(path), car)
        words.append("" if come is None else come_words(*come))
    return words


def _notebook_review(arguments: argparse.Namespace) -> None:
    from rollpath.book.lessons import studies, untaught
    from rollpath.book.nights import nights

    surface, arguments.condition = arguments.condition, None
    with open_book(arguments) as book:
        pages = _picked(book.runs(), arguments)
    found = nights(pages)
    # A change of surface is seen only with all the runs of a night, so it is picked afterwards.
    taught = [study for study in studies(found) if surface in (None, study.condition)]
    if surface is not None:
        found = [n for n in found if any(page.run.condition == surface for page in n.runs)]
    if surface is None:
        taught += untaught(found)
    taught.sort(key=lambda study: study.points[-1].page.run.when, reverse=True)
    screen = screen_of(arguments)
    if arguments.json:
        print(as_json(review_json(found, taught), None))
    else:
        shown = _nights_told(found, arguments.nights, screen.full)
        come = _come(arguments, shown)
        print(review_screen(shown, len(found) - len(shown), taught, screen, come))
    if arguments.out or arguments.show:
        from rollpath.show.review import notebook_pictures

        draw(notebook_pictures(taught, screen), arguments)


def _add_next_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--track", type=word_of, metavar="NAME", help="default: of the last run")
    parser.add_argument("--car", type=word_of, metavar="NAME", help="default: of the last run")
    parser.add_argument(
        "--condition", choices=tuple(CONDITIONS), type=plain_word, help="default: of the last run"
    )
    parser.add_argument(
        "--rack", type=word_of, metavar="FILE", help="rack file: only staggers that it makes"
    )
    add_output_arguments(parser, pictures=False)


def _notebook_next(arguments: argparse.Namespace) -> None:
    from rollpath.show.next import next_json, next_screen

    found = _next_tonight(arguments) or _next_in_book(arguments)
    print(as_json(next_json(found)) if arguments.json else next_screen(found, screen_of(arguments)))


def _next_tonight(arguments: argparse.Namespace) -> "NextRun | None":
    """As the trailer has it, with the physics of tonight, where nothing else was asked for."""
    typed = (arguments.book, arguments.track, arguments.car, arguments.condition, arguments.rack)
    trailer = None if any(one is not None for one in typed) else trailer_of(arguments)
    if trailer is None or not trailer.night.track:
        return None
    from rollpath.door_night import tonight

    return tonight(trailer).next_run


def _next_in_book(arguments: argparse.Namespace) -> "NextRun":
    """By the last run, or what was typed instead."""
    from rollpath.book.next import last_case, next_run, rack_staggers
    from rollpath.files.racks import load_rack

    with open_book(arguments) as book:
        pages = book.runs()
    own = [page for page in pages if arguments.car in (None, page.run.car)]
    last = last_case(own)
    if last is None:
        raise CommandError("no run in the notebook says car, surface and rear stagger yet")
    car, surface, track = last
    rack = arguments.rack and load_rack(find_file(arguments.rack, "rack"))
    found = next_run(
        pages, car, arguments.condition or surface, arguments.track or track,
        staggers=rack_staggers(rack) if rack else None,
    )  # fmt: skip
    if found is None:
        raise CommandError(
            "no run has its stagger and what the physics said: write runs down, or import them, in "
            "the trailer; or import them with a column headed physics"
        )
    return found


NOTEBOOK_ACTIONS: dict[str, Command] = {
    "add": notebook_run.ACTIONS["add"],
    "list": Command(
        "rollpath notebook list --track Ropewalk --since 2026-05-01",
        _add_list_arguments,
        _notebook_list,
    ),
    "show": Command(
        "rollpath notebook show 12",
        add_number_argument,
        show_run,
    ),
    "edit": notebook_run.ACTIONS["edit"],
    **notebook_copy.ACTIONS,
    "next": Command(
        "rollpath notebook next --rack cars/racks/number-31.yaml",
        _add_next_arguments,
        _notebook_next,
    ),
    "review": Command(
        "rollpath notebook review --car 'Number 31' --condition slick --out pictures",
        _add_review_arguments,
        _notebook_review,
    ),
}
COMMANDS: dict[str, Command] = {
    "notebook": Command(
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left; rollpath notebook review",
        _add_notebook,
        _notebook,
    ),
    **{f"notebook {name}": _of_notebook(action) for name, action in NOTEBOOK_ACTIONS.items()},
}
