"""`rollpath tires`: which four tires to bolt on; `tires tape`: a taping written down."""

import argparse
import difflib
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_air_argument,
    add_case_arguments,
    add_output_arguments,
    draw,
    find_file,
    number_between,
    path_of,
    quantity_of,
    run_baseline_case,
    screen_of,
    word_of,
)
from rollpath.cli.book import add_lesson_argument, book_json, correction_of, note_book
from rollpath.cli.given import Given, add_given_arguments, given, trailer_folder
from rollpath.files.cars import check_change
from rollpath.files.racked import record_taping
from rollpath.files.racks import load_rack
from rollpath.files.slips import taken_as_right
from rollpath.show.tape import HOW_TO_TAPE, tape_json, tape_screen
from rollpath.show.tires import tires_json, tires_screen
from rollpath.show.words import as_json
from rollpath.stagger import corrected
from rollpath.tires.aim import HOLD_BITE, Aim, Weights
from rollpath.tires.choose import choose
from rollpath.tires.judge import in_full, weigh_own
from rollpath.tires.pairs import Told
from rollpath.tires.rack import Rack
from rollpath.tires.sets import TireError
from rollpath.units import EIGHTH, POUND, PSI

if TYPE_CHECKING:
    from rollpath.book.lessons import Correction


def _add_tires(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser, rack=True)
    parser.add_argument(
        "--stagger", type=quantity_of("tape"), metavar="S",
        help="the rear stagger wanted, such as 2-1/4in; without it the one recommended for the "
        "track, with how much a miss matters there",
    )  # fmt: skip
    add_air_argument(parser)
    parser.add_argument(
        "--hot", action="store_true",
        help="the stagger wanted is that of hot tires, by the hot tapings of the rack",
    )  # fmt: skip
    parser.add_argument("--hold-bite", action="store_true", help="hold bite before all but stagger")
    parser.add_argument(
        "--why",
        type=word_of,
        metavar="LF,RF,LR,RR",
        help="how a set of your own scores against the first",
    )
    weights = parser.add_argument_group("points of each aim; the set with the fewest is the first")
    for name, weighed in WEIGHED.items():
        weights.add_argument(
            f"--weigh-{name}", type=number_between(0.0, 100.0), metavar="P", help=weighed.help
        )
    add_case_arguments(parser)
    add_lesson_argument(parser)
    add_output_arguments(parser)


@dataclass(frozen=True)
class Weighed:
    """A weight as it is typed: points for so much of something, in SI."""

    unit: float
    what: str

    @property
    def help(self) -> str:
        return f"points for {self.what}"


WEIGHED = {
    "stagger": Weighed(EIGHTH, "each 1/8 in of rear stagger missed (default 1)"),
    "bite": Weighed(10 * POUND, "each 10 lb of bite changed (default 1; with --hold-bite 5)"),
    "gear": Weighed(0.01, "each 1 %% of gear changed (default 0.5)"),
    "wheel": Weighed(1.0, "each wheel changed (default 0.25)"),
    "unlike": Weighed(
        1.0, "each difference of compound or offset within an axle, or ten heat cycles "
        "(default 0.2)"
    ),
    "air": Weighed(PSI, "each psi a tire is away from its running pressure (default 0.2)"),
}  # fmt: skip


def _tires(arguments: argparse.Namespace) -> None:
    on = given(arguments, needs_track=arguments.stagger is None)
    if on.rack is None:
        raise CommandError("which rack? name a rack file, or set up a trailer: rollpath trailer")
    rack, car, screen = on.rack, on.car, screen_of(arguments)
    aim, found = _aim(arguments, on)
    try:
        choice = choose(
            rack, car, aim, _points(arguments),
            air=arguments.air == "choose", hot=arguments.hot, told=_told(rack),
        )  # fmt: skip
        own = weigh_own(choice, _names(rack, arguments.why)) if arguments.why else None
    except TireError as error:
        raise CommandError(f"{on.rack_path}: {error}") from None
    outcome = in_full(choice)
    if arguments.json:
        print(as_json(tires_json(choice, outcome, own) | book_json(found)))
    else:
        note_book(arguments, found)
        print(tires_screen(choice, outcome, own, screen))
    if arguments.out or arguments.show:
        from rollpath.show.tires_pictures import tires_pictures

        draw(tires_pictures(choice, screen), arguments)


def _told(rack: Rack) -> Told | None:
    """On a terminal, what tells how far a long choice is."""
    if len(rack.tires) < LONG or not sys.stderr.isatty():
        return None

    def tell(share: float) -> None:
        print(f"\rrollpath: {100 * share:.0f} % of an axle", end="", file=sys.stderr, flush=True)
        if share == 1:
            print("\r", end="", file=sys.stderr)

    return tell


LONG = 60
"""Tires of a rack from which on the choice may take seconds."""


def _aim(arguments: argparse.Namespace, on: Given) -> "tuple[Aim, Correction | None]":
    """The stagger typed, or the one recommended for a track and what the book puts on it."""
    if arguments.stagger is None:
        result = run_baseline_case(arguments, on.track, on.car)
        found = correction_of(arguments, on, on.car, result.condition)
        if found is not None:
            result = corrected(result, found.stagger)
        return Aim(float(result.stagger.recommended), result), found
    if arguments.track is not None or arguments.radius is not None:
        raise CommandError("expected one of --stagger, such as 2-1/4in, and --track or --radius")
    check_change("stagger", arguments.stagger)
    return Aim(arguments.stagger), None


def _points(arguments: argparse.Namespace) -> Weights:
    typed = {
        name: value / weighed.unit
        for name, weighed in WEIGHED.items()
        if (value := getattr(arguments, f"weigh_{name}")) is not None
    }
    if arguments.hold_bite:
        typed = {"bite": HOLD_BITE, **typed}
    return Weights(**typed)


def _names(rack: Rack, text: str) -> list[str]:
    """Tires of a rack by the names typed, upper or lower case alike."""
    known = {name.casefold(): name for name in rack.names}
    return [known.get(part.strip().casefold(), part.strip()) for part in text.split(",")]


def _add_tape(parser: argparse.ArgumentParser) -> None:
    parser.description = f"{parser.description}\n\n{HOW_TO_TAPE}"
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument(
        "words", nargs="+", type=word_of, metavar="[RACK] TIRE READING",
        help="rack file (default: the trailer's), id of the tire, and what the tape read, such as "
        '"86 1/4 in"; three are best',
    )  # fmt: skip
    parser.add_argument("--new", action="store_true", help="the tire is not in the rack: add it")
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    parser.add_argument("--pressure", metavar="P", help="such as 18psi; without it nothing can be "
                        "corrected to the running pressure")  # fmt: skip
    parser.add_argument("--temperature", metavar="T", help="of the tire, such as 75F; above 110F "
                        "it counts as hot, without it as cold")  # fmt: skip
    parser.add_argument("--date", metavar="DAY", help="default today")
    add_output_arguments(parser, pictures=False)


def _tape(arguments: argparse.Namespace) -> None:
    path, typed, readings = _what_was_taped(arguments)
    rack = load_rack(path)
    name = {one.casefold(): one for one in rack.names}.get(typed.strip().casefold(), typed.strip())
    there = name in rack.names
    if there and arguments.new:
        raise CommandError(f"{path}: {name} is in the rack; leave --new out")
    if not there and not (arguments.new or _is_new(arguments, rack, typed)):
        raise CommandError(f'{path}: no tire "{typed}"{_meant(rack, name)}; --new adds it')
    when = {"pressure": arguments.pressure, "temperature": arguments.temperature,
            "date": arguments.date or date.today().isoformat()}  # fmt: skip
    at = rack.names.index(name) if there else len(rack.names)
    record_taping(path, name, readings, **{k: v for k, v in when.items() if v})
    with taken_as_right():  # what was taped is in the file; questions come when it is next read
        after = load_rack(path)
    if arguments.json:
        print(as_json(tape_json(after, after.tires[at])))
    else:
        print(tape_screen(after, after.tires[at], screen_of(arguments)))


def _what_was_taped(arguments: argparse.Namespace) -> tuple[Path, str, list[str]]:
    """The rack file, named or the trailer's, the tire and its readings."""
    words: list[str] = arguments.words
    if Path(words[0]).suffix in (".yaml", ".yml") or Path(words[0]).is_file():
        path, words = find_file(words[0], "rack"), words[1:]
    else:
        folder = trailer_folder(arguments.trailer)
        if folder is None:
            raise CommandError("which rack? name its file first, or set up a trailer: "
                               "rollpath trailer")  # fmt: skip
        path = folder / "rack.yaml"
        if not path.is_file():
            raise CommandError(f"{path}: the trailer has no rack yet; name a rack file first")
    if len(words) < 2:
        raise CommandError('expected a tire and what the tape read, such as R7 "86 1/4 in"')
    return path, words[0], words[1:]


def _meant(rack: Rack, name: str) -> str:
    near = difflib.get_close_matches(name, rack.names, n=1, cutoff=0.5)
    return f'; did you mean "{near[0]}"?' if near else f"; it holds {', '.join(rack.names)}"


def _is_new(arguments: argparse.Namespace, rack: Rack, name: str) -> bool:
    """At a terminal, whether a tire that the rack lacks is to be added."""
    if arguments.json or sys.stdin is None or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    print(f"no tire {name} in the rack{_meant(rack, name)} Add it? y or n: ",
          end="", file=sys.stderr, flush=True)  # fmt: skip
    return sys.stdin.readline().strip().casefold() in ("y", "yes")


COMMANDS: dict[str, Command] = {
    "tires": Command(
        "rollpath tires cars/racks/number-31.yaml --car cars/number-31.yaml --stagger 2-1/4in",
        _add_tires,
        _tires,
    ),
    "tires tape": Command(
        'rollpath tires tape rack.yaml R7 "86 1/4 in" "86 3/8 in" "86 1/4 in" --pressure 18psi',
        _add_tape,
        _tape,
    ),
}
