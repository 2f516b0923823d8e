"""`rollpath plan`: the night's tires, air and jacks, run by run, and the pit card."""

import argparse
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from rollpath.car import Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_air_argument,
    add_output_arguments,
    path_of,
    quantity_of,
    screen_of,
    surface_of,
    told_of_files,
    word_of,
)
from rollpath.cli.book import add_lesson_argument, book_json, lessons_in, note_book
from rollpath.cli.given import Given, add_given_arguments, given
from rollpath.corners import Corners, corner_named
from rollpath.door_tires import Taught, aim_of, plan, run_of
from rollpath.errors import RollpathError
from rollpath.files.plans import save_plan
from rollpath.files.surfaces import surface_on
from rollpath.show.plan import plan_json, plan_screen
from rollpath.show.words import as_json
from rollpath.stagger import Baseline, timed_baseline
from rollpath.tires.sets import TireError
from rollpath.track import DEFAULT_CONDITION, Track
from rollpath.trailer.asked import PlanError, Rules, Run
from rollpath.trailer.column import columns_of
from rollpath.trailer.plan import Plan
from rollpath.trailer.trailer import plain_name
from rollpath.units import POUND, shorten

if TYPE_CHECKING:
    from rollpath.book.lessons import Correction
    from rollpath.book.run import Page

LONGEST_NAME = 24
"""Of a run, so that it fits on the card."""


def _add_plan(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser, rack=True)
    parser.add_argument(
        "--runs", type=word_of, required=True, metavar="RUNS",
        help='the runs and their surface or stagger, such as "heat: heavy, feature: 1 1/2 in"',
    )  # fmt: skip
    parser.add_argument(
        "--lap-time", type=quantity_of("time"), metavar="T",
        help='a lap time driven on the surface of now, such as 19.8s; a run may be on it: "heat: '
        'now" (default: tonight\'s)',
    )  # fmt: skip
    parser.add_argument(
        "--changes", type=int, choices=range(5), default=4, metavar="N",
        help="wheels changed between two runs at most (default 4)",
    )  # fmt: skip
    parser.add_argument(
        "--jacks", choices=("yes", "no"), default="yes",
        help="no where the class allows none, or nobody has the time (default yes)",
    )  # fmt: skip
    add_air_argument(parser)
    add_lesson_argument(parser)
    parser.add_argument(
        "--bite", type=quantity_of("weight"), metavar="B",
        help="hold this on the scales, such as 75lb (default: what the car file has)",
    )  # fmt: skip
    parser.add_argument(
        "--pin", type=word_of, action="append", default=[], metavar="RUN:CORNER=TIRE",
        help='a tire that has to be on, such as "feature: rr=R7"',
    )  # fmt: skip
    add_output_arguments(parser, pictures=False)
    parser.add_argument(
        "--out", metavar="PDF", type=path_of, help="draw the pit card, such as card.pdf"
    )


def _plan(arguments: argparse.Namespace) -> None:
    on = given(arguments)
    if on.rack is None:
        raise CommandError("which rack? name a rack file, or set up a trailer: rollpath trailer")
    rack, car, track = on.rack, on.car, on.track if on.tracks else None
    lessons = _Lessons(lessons_in(arguments, on))
    now = _now(arguments, on, lessons.put_on)
    runs = _with_pins(_runs(arguments.runs, track, car, now, lessons.put_on), arguments.pin)
    rules = Rules(arguments.changes, arguments.jacks == "yes", arguments.air == "choose")
    if arguments.bite is not None and not abs(arguments.bite) <= 1000 * POUND:
        raise CommandError("--bite: expected a bite between -1000 and 1000 lb")
    try:
        night = plan(rack, car, runs, bite=arguments.bite, rules=rules)
    except (PlanError, TireError) as error:
        raise CommandError(f"{on.rack_path}: {error}") from None
    screen = screen_of(arguments)
    if kept := _kept_for_tonight(on, night):
        taken = getattr(arguments, "note", "") or "kept"
        arguments.note = f"{taken}; then: rollpath bolt --plan RUN"
    if arguments.json:
        print(as_json(plan_json(night) | {"kept": kept, "corrections": lessons.in_json()}))
    else:
        lessons.note(arguments)
        print(plan_screen(night, screen))
    if arguments.out is not None:
        from rollpath.show.pit_card import draw_pit_card
        from rollpath.show.sheet import write_sheets

        card = draw_pit_card(night, track.name if track else "", screen)
        write_sheets([card], arguments.out, "card")
        told_of_files([arguments.out], arguments)


def _kept_for_tonight(on: Given, night: Plan) -> bool:
    """Keep the plan in the trailer when it is of its car and its rack, for `bolt --plan`."""
    trailer = on.trailer
    own = [None if trailer is None else trailer.folder / name for name in ("car.yaml", "rack.yaml")]
    if trailer is None or [on.car_path, on.rack_path] != own:
        return False
    save_plan(trailer.folder, columns_of(night, trailer.night))
    return True


def _now(arguments: argparse.Namespace, on: Given, taught: Taught) -> Baseline | None:
    """What the surface of now asks for, as the lap time tells it."""
    night = None if on.trailer is None else on.trailer.night
    if night is not None and on.tracks and night.track != plain_name(on.track.name):
        night = None
    lap_time = arguments.lap_time or (None if night is None else night.lap_time)
    says_now = re.search(r":\s*now\s*(,|$)", arguments.runs) is not None
    if arguments.lap_time is not None and not says_now:
        raise CommandError('--lap-time: say which run is on that surface: --runs "heat: now, ..."')
    if lap_time is None or not says_now:
        return None
    word = night.condition if night is not None else ""
    word = word or DEFAULT_CONDITION
    state = surface_on(on.track, word)
    return taught(timed_baseline(on.track, on.car, state, None, lap_time), word)


@dataclass(frozen=True)
class _Lessons:
    """What the book that counts puts on each surface of the plan.

    Attributes
    ----------
    pages : list of Page
        Its runs; empty without a book.
    found : dict of str to Correction
        By surface, as they are asked for.
    """

    pages: "list[Page]"
    found: "dict[str, Correction]" = field(default_factory=dict)

    def put_on(self, result: Baseline, surface: str) -> Baseline:
        if not self.pages:
            return result
        from rollpath.book.lessons import taught

        result, found = taught(self.pages, result, surface)
        if found is not None:
            self.found[surface] = found
        return result

    def note(self, arguments: argparse.Namespace) -> None:
        """Say at the foot of the screen that the book counts, where it does."""
        note_book(arguments, *self.found.values())

    def in_json(self) -> dict[str, Any]:
        return {surface: book_json(one)["correction"] for surface, one in self.found.items()}


def _runs(
    text: str, track: Track | None, car: Car, now: Baseline | None, taught: Taught
) -> list[Run]:
    """The runs as typed, each with the stagger it wants."""
    runs: list[Run] = []
    read = _reader(track, car, now, taught)
    for part in text.split(","):
        name, colon, what = (piece.strip() for piece in part.partition(":"))
        if not colon or not name or not what:
            raise CommandError(
                '--runs: expected runs such as "heat: heavy, feature: slick", got '
                f'"{shorten(part.strip())}"'
            )
        if len(name) > LONGEST_NAME:
            raise CommandError(f"--runs: {shorten(name)}: expected a name of at most "
                               f"{LONGEST_NAME} letters")  # fmt: skip
        if name.casefold() in (run.name.casefold() for run in runs):
            raise CommandError(f"--runs: {name} is there twice; call it {name} 2")
        runs.append(read(name, what))
    return runs


def _reader(
    track: Track | None, car: Car, now: Baseline | None, taught: Taught
) -> Callable[[str, str], Run]:
    """What reads a surface or a stagger as a run; each surface is worked out once."""
    known: dict[str, Run] = {}
    if now is not None:
        known["now"] = Run("", aim_of(now), now.condition.name)

    def read(name: str, what: str) -> Run:
        if what == "now" and now is None:
            raise CommandError(f"--runs: {name}: now needs --lap-time, such as --lap-time 19.8s")
        if what not in known:
            try:
                between = _in_between(name, what, track, car, taught)
                known[what] = between or run_of(name, what, track, car, taught)
            except RollpathError as error:
                raise CommandError(f"--runs: {name}: {error}") from None
        return replace(known[what], name=name)

    return read


def _in_between(name: str, what: str, track: Track | None, car: Car, taught: Taught) -> Run | None:
    """The run on a surface between two, such as ``heavy to slick 60%``; None for any other."""
    if track is None or " to " not in what:
        return None
    from rollpath.surface import mixed

    try:
        wanted = surface_of(what)
    except argparse.ArgumentTypeError as error:
        raise RollpathError(str(error)) from None
    if isinstance(wanted, str):
        return None
    state = mixed(track.condition(wanted[0]), track.condition(wanted[1]), wanted[2])
    between = replace(track, conditions={**track.conditions, state.name: state})
    return replace(run_of(name, state.name, between, car, taught), condition=what)


def _with_pins(runs: list[Run], typed: list[str]) -> list[Run]:
    """The runs with the tires that were pinned."""
    names = {run.name.casefold(): at for at, run in enumerate(runs)}
    for text in typed:
        name, _, what = text.partition(":")
        corner, equals, tire = (piece.strip() for piece in what.partition("="))
        at_corner = corner_named(corner)
        at = names.get(name.strip().casefold())
        if at is None or not equals or at_corner is None or not tire:
            raise CommandError(f'--pin: expected a run, a corner and a tire such as '
                               f'"{runs[-1].name}: rr=R7", got "{shorten(text)}"')  # fmt: skip
        if getattr(runs[at].pins, at_corner):
            raise CommandError(f"--pin: {runs[at].name}: {at_corner.replace('_', ' ')} given twice")
        pins: Corners[str] = replace(runs[at].pins, **{at_corner: tire})
        runs[at] = replace(runs[at], pins=pins)
    return runs


COMMANDS: dict[str, Command] = {
    "plan": Command(
        "rollpath plan cars/racks/number-31.yaml cars/number-31.yaml tracks/saucer-hill.yaml "
        '--runs "heat: heavy, feature: slick" --out card.pdf',
        _add_plan,
        _plan,
    ),
}
