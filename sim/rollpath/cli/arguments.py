"""What commands share: the parser, the kinds of argument, and the case they describe."""

import argparse
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NoReturn

from rollpath.car import Car
from rollpath.corners import CORNERS, corner_named
from rollpath.errors import RollpathError
from rollpath.files.schema import FileError
from rollpath.files.surfaces import parts_of
from rollpath.files.tracks import GROOVE_WORDS, check_measurements, track_from_values
from rollpath.groove.path import GROOVES, Groove
from rollpath.screen import Screen
from rollpath.stagger import DRIVE_EMPHASIS, Baseline, baseline, on_surface, timed_baseline
from rollpath.track import (
    CONDITIONS,
    DEFAULT_CONDITION,
    LEAST_BAND,
    MOST_BAND,
    Condition,
    GripBands,
    Track,
    TrackError,
    check_track,
)
from rollpath.units import QuantityError, parse, shorten

NARROWEST, WIDEST = 40, 120
"""Columns that a screen is laid out for."""
_NEGATIVE = re.compile(r"-[\d.]")
"""How a value below nothing starts, such as -5ft; no option does."""
_BANDS = ("inside", "middle", "outside")
_FOLDERS = {"track": ("tracks",), "car": ("cars",), "rack": ("cars/racks",)}
"""Where the demo data keeps each sort of file."""


class CommandError(RollpathError):
    """Something typed that cannot be used; the message is one line for the racer."""


class Parser(argparse.ArgumentParser):
    """Argument parser whose complaints are one line of ours, and that reads -5ft as a value.

    Attributes
    ----------
    flags : list of str
        Every option it knows, in the order of its help.
    """

    def __init__(self, **keywords: Any) -> None:
        self.flags: list[str] = []
        super().__init__(**keywords)

    def add_argument(self, *flags: str, **keywords: Any) -> argparse.Action:
        return super().add_argument(*flags, **self._noted(flags, keywords))

    def add_argument_group(self, *words: Any, **keywords: Any) -> Any:
        group = super().add_argument_group(*words, **keywords)
        add = group.add_argument
        vars(group)["add_argument"] = lambda *flags, **given: add(
            *flags, **self._noted(flags, given)
        )
        return group

    def _noted(self, flags: Sequence[str], keywords: dict[str, Any]) -> dict[str, Any]:
        """The keywords of an argument, its choices checked by us; its flags are remembered."""
        self.flags += [flag for flag in flags if flag.startswith("-") and flag not in self.flags]
        if keywords.get("choices") is None:
            return keywords
        return {**keywords, "type": one_of(keywords["choices"], keywords.get("type", str))}

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        return super().parse_known_args(None if args is None else joined(args), namespace)

    def error(self, message: str) -> NoReturn:
        hint = ""
        if message.startswith("unrecognized arguments"):
            typed = [word.partition("=")[0] for word in message.split() if word.startswith("--")]
            near = [match for word in typed if (match := nearest(word, self.flags))]
            hint = f"; did you mean {' '.join(near)}?" if near else ""
        raise CommandError(f"{message}{hint}; see {self.prog} --help")


def joined(typed: Sequence[str]) -> list[str]:
    """What was typed, with a value below nothing put to its option: ``--by=-5ft``."""
    words: list[str] = []
    for word in typed:
        if words and _NEGATIVE.match(word) and words[-1].startswith("--") and "=" not in words[-1]:
            words[-1] += f"={word}"
        else:
            words.append(word)
    return words


def one_of(choices: Iterable[Any], read: Callable[[str], Any] = str) -> Callable[[str], Any]:
    """An argparse type that reads one of several words, and says which is near to a wrong one."""
    known = list(choices)

    def read_one(text: str) -> Any:
        value = read(text)
        if value in known:
            return value
        near = nearest(text, map(str, known), 0.7)
        words = ", ".join(map(repr, known))
        hint = f'; did you mean "{near}"?' if near else f" (choose from {words})"
        raise argparse.ArgumentTypeError(f"invalid choice: {text!r}{hint}")

    return read_one


@dataclass(frozen=True)
class Command:
    """One command: its arguments, and what runs it; what it is asked stands in `cli.table`."""

    example: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], None]


def nearest(typed: str, known: Iterable[str], cutoff: float = 0.5) -> str:
    """The known word nearest to what was typed, or nothing."""
    import difflib

    return next(iter(difflib.get_close_matches(typed, list(known), n=1, cutoff=cutoff)), "")


def quantity_of(kind: str) -> Callable[[str], float]:
    """An argparse type that reads a quantity with its unit."""

    def read(text: str) -> float:
        try:
            return parse(text, kind)
        except QuantityError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return read


def word_of(text: str) -> str:
    """An argparse type that reads the name of a file, or a word, and refuses an empty one."""
    if not text.strip():
        raise argparse.ArgumentTypeError("expected a name, got nothing between the quotes")
    return text


def path_of(text: str) -> Path:
    """An argparse type that reads the path of a file or folder; see `word_of`."""
    return Path(word_of(text))


def number_between(least: float, most: float) -> Callable[[str], float]:
    """An argparse type that reads a plain number in a range."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(
                f'expected a number from {least:g} to {most:g}, got "{text}"'
            )
        return value

    return read


def plain_word(text: str) -> str:
    """An argparse type that reads a word, capitals or not, grooves by any of their names."""
    word = text.strip().lower()
    return GROOVE_WORDS.get(word, word)


def window_of(text: str) -> tuple[float, float]:
    """An argparse type that reads a stagger window such as ``1in,4in``."""
    ends = [quantity_of("tape")(part) for part in text.split(",")]
    if len(ends) != 2 or ends[0] >= ends[1]:
        raise argparse.ArgumentTypeError(
            f'expected two staggers, the lower first, such as "1in,4in", got "{text}"'
        )
    return ends[0], ends[1]


def at_corner(kind: str) -> Callable[[str], tuple[str, Any]]:
    """An argparse type that reads a corner and an amount, such as ``left-rear=2turns``, or text."""

    def read(text: str) -> tuple[str, Any]:
        name, _, amount = text.partition("=")
        corner = corner_named(name)
        if corner is None:
            corners = ", ".join(CORNERS).replace("_", "-")
            raise argparse.ArgumentTypeError(f'expected one of {corners}, then "=", got "{text}"')
        return corner, word_of(amount.strip()) if kind == "text" else quantity_of(kind)(amount)

    return read


def add_output_arguments(parser: argparse.ArgumentParser, pictures: bool = True) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON; keys end in their unit")
    parser.add_argument(
        "--units", choices=("us", "si"), default="us", help="units on the screen (default us)"
    )
    parser.add_argument("--full", action="store_true", help="the reasons too, not the answer alone")
    parser.add_argument("--yes", action="store_true", help="what looks like a slip is right")
    if pictures:
        parser.add_argument("--out", metavar="DIR", type=path_of, help="draw pictures into DIR")
        parser.add_argument("--show", action="store_true", help="show the pictures on the screen")


def screen_of(arguments: argparse.Namespace) -> Screen:
    """How to show a result: the units asked for, as wide as the terminal, short unless --full."""
    width = shutil.get_terminal_size((80, 24)).columns
    return Screen(arguments.units, min(max(width, NARROWEST), WIDEST), arguments.full)


def draw(pictures: Iterable[Any], arguments: argparse.Namespace) -> None:
    """Write the pictures to --out, show them on --show, and say what was written where."""
    from rollpath.show.picture import deliver

    told_of_files(deliver(pictures, arguments.out, arguments.show), arguments)


def told_of_files(written: Sequence[Path], arguments: argparse.Namespace) -> None:
    """Say which files were drawn; a program is not told."""
    from rollpath.show.words import lay_out

    if written and not arguments.json:
        names = ", ".join(str(path) for path in written)
        print(lay_out([f"drawn: {names}"], screen_of(arguments)))


def add_track_arguments(parser: argparse.ArgumentParser) -> None:
    """The track by its measurements instead of a file."""
    group = parser.add_argument_group("a track by its measurements, instead of a track file")
    length = quantity_of("length")
    group.add_argument("--radius", type=length, metavar="R", help="inside radius, such as 150ft")
    group.add_argument("--radius-2", type=length, metavar="R", help="of turns 3-4, if different")
    group.add_argument("--straight", type=length, metavar="L", help="length of each straight")
    group.add_argument("--width", type=length, metavar="W", help="inside edge to outside edge")
    group.add_argument("--bow", type=length, metavar="B", help="how far the straights bow out")
    group.add_argument("--bank", type=quantity_of("angle"), metavar="A", help="of the corners")


def add_case_arguments(parser: argparse.ArgumentParser) -> None:
    """The state of the surface, the line, and the switches of the model."""
    add_surface_arguments(parser)
    add_points_argument(parser)
    parser.add_argument("--window", type=window_of, help="stagger window, such as 1in,4in")
    parser.add_argument(
        "--drive-emphasis", type=number_between(0.0, 1.0), default=DRIVE_EMPHASIS,
        metavar="E",
        help="1 is even drive, 0 the quickest (default %(default)s)",
    )  # fmt: skip
    parser.add_argument(
        "--tire-load", choices=("on", "off"), default="on",
        help="off leaves out how tires flatten under load (default on)",
    )  # fmt: skip


def add_surface_arguments(parser: argparse.ArgumentParser) -> None:
    """The state of the surface, by a word, by its grip or by a lap time, and the line."""
    parser.add_argument(
        "--condition", type=surface_of, metavar="SURFACE",
        help=f"state of the surface: {', '.join(CONDITIONS)}, or in between, such as "
        f'"heavy to slick 60%%" (default: tonight\'s, or {DEFAULT_CONDITION})',
    )  # fmt: skip
    parser.add_argument(
        "--groove", choices=GROOVES, type=plain_word, help="line driven (default: the condition's)"
    )
    parser.add_argument("--grip", type=number_between(0.05, 3.0), help="instead of the condition's")
    add_bands_argument(parser)
    parser.add_argument(
        "--lap-time", type=quantity_of("time"), metavar="T",
        help="a lap time driven, such as 19.8s: the surface is the one that gives it",
    )  # fmt: skip


def add_bands_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--bands", type=bands_of, metavar="I,M,O",
        help="grip at the inside, in the middle and at the outside, such as 0.55,0.60,0.82",
    )  # fmt: skip


def surface_of(text: str) -> str | tuple[str, str, float]:
    """An argparse type that reads a surface, or one between two, ``heavy to slick 60%``."""
    try:
        words, share = parts_of(text.strip())
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    for word in words:
        one_of(CONDITIONS)(word)
    return text if share is None else (words[0], words[1], share)


def bands_of(text: str) -> GripBands:
    """An argparse type that reads grip across the track, inside first."""
    parts = [part.strip() for part in text.split(",")]
    names = [name for name, equals, _ in (part.partition("=") for part in parts) if equals]
    if names and names != list(_BANDS):
        raise argparse.ArgumentTypeError(f"bands go from the inside out: {','.join(_BANDS)}")
    read = number_between(LEAST_BAND, MOST_BAND)
    if len(parts) != len(_BANDS):
        raise argparse.ArgumentTypeError(
            f"expected three grips, inside, middle and outside, such as 0.55,0.60,0.82, "
            f'got "{text}"'
        )
    return GripBands(*(read(part.rpartition("=")[2]) for part in parts))


def surfaced(arguments: argparse.Namespace, track: Track) -> Condition:
    """The surface that was asked for, but for what a lap time says of it.

    Raises
    ------
    CommandError
        If two of the arguments say two things.
    """
    from rollpath.show.surface import grip_name
    from rollpath.surface import mixed

    typed = [flag for flag in ("grip", "bands", "lap_time") if getattr(arguments, flag) is not None]
    if "grip" in typed and len(typed) > 1:
        flags = " and ".join(f"--{flag.replace('_', '-')}" for flag in typed)
        raise CommandError(f"{flags} say the grip twice; give one of them")
    wanted = arguments.condition
    if isinstance(wanted, tuple):
        state = mixed(track.condition(wanted[0]), track.condition(wanted[1]), wanted[2])
    else:
        state = track.condition(wanted)
    if arguments.bands is not None:
        state = replace(state, grip=arguments.bands)
    if arguments.grip is not None:
        state = replace(state, name=grip_name(track, arguments.grip), grip=arguments.grip)
    return state


def add_air_argument(parser: argparse.ArgumentParser) -> None:
    """Whether air is chosen with the tires."""
    parser.add_argument(
        "--air", choices=("choose", "as-is"), default="choose",
        help="as-is leaves every tire at its running pressure (default choose)",
    )  # fmt: skip


def add_points_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--points",
        type=word_of,
        metavar="CSV",
        help="a line recorded on the track: columns x (ft) and y (ft)",
    )


def recorded_groove(arguments: argparse.Namespace, track: Track) -> Groove | None:
    """The groove through --points, or None when none were given."""
    if arguments.points is None:
        return None
    from rollpath.files.logs import load_points
    from rollpath.groove.measured import measured_groove

    path = load_points(find_file(arguments.points, "points"))
    if path.turned_round:
        print("rollpath: note: the points run clockwise; turned round", file=sys.stderr)
    return measured_groove(track, path)


def find_file(name: str, what: str) -> Path:
    """The path of a track or car file, with a hint when it is not there."""
    path = Path(name)
    try:
        if path.is_file():
            return path
        if path.is_dir():
            raise CommandError(f"{name}: a folder; name the {what} file in it")
    except OSError as error:
        raise CommandError(f"{shorten(name)}: cannot be read: {error.strerror}") from None
    near = _nearest_file(path, what)
    hint = f'; did you mean "{near}"?' if near else "; rollpath demo-data DIR copies the demo files"
    raise CommandError(f"{name}: no such {what} file{hint}")


def _nearest_file(path: Path, what: str) -> str:
    """The file most like one that is not there: beside it, or where the demo data lies."""
    named = _FOLDERS.get(what, ("tracks", "cars"))
    folders = [path.parent, *map(Path, named)]
    folders += [folder for one in named for folder in sorted(Path().glob(f"*/{one}"))]
    pattern = f"*{path.suffix or '.yaml'}"
    there = [
        str(one) for folder in folders if folder.is_dir() for one in sorted(folder.glob(pattern))
    ]
    by_name = {Path(one).stem: one for one in reversed(there)}
    return nearest(str(path), there, 0.7) or by_name.get(nearest(path.stem, by_name), "")


def find_files(*named: tuple[str, str]) -> list[Path]:
    """The paths of several files and what each is; tells of all that are not there."""
    found, faults = [], []
    for name, what in named:
        try:
            found.append(find_file(name, what))
        except CommandError as error:
            faults.append(str(error))
    if faults:
        raise FileError(faults)
    return found


def track_from_arguments(arguments: argparse.Namespace) -> Track:
    """A track from --radius, --straight, --width and their like."""
    if arguments.straight is None:
        raise CommandError("--radius needs --straight too")
    second = arguments.radius if arguments.radius_2 is None else arguments.radius_2
    values: dict[str, Any] = {
        "name": "measured track",
        "inside_radius": (arguments.radius, second),
        "straight": arguments.straight,
    }
    if arguments.width is not None:
        values["width"] = arguments.width
    if arguments.bow is not None:
        values["bow"] = arguments.bow
    if arguments.bank is not None:
        values["bank"] = {"corners": arguments.bank}
    try:
        check_measurements(values)
        track = track_from_values(values)
        check_track(track)
    except TrackError as error:
        raise CommandError(f"--{error.key.replace('inside_', '')}: {error}") from None
    return track


def run_baseline_case(arguments: argparse.Namespace, track: Track, car: Car) -> Baseline:
    """`baseline` with the switches that were typed."""
    state = surfaced(arguments, track)
    line = recorded_groove(arguments, track) or arguments.groove
    how = {
        "drive_emphasis": arguments.drive_emphasis,
        "tire_load": arguments.tire_load == "on",
        "window": arguments.window,
    }
    if arguments.lap_time is not None:
        result = timed_baseline(track, car, state, line, arguments.lap_time, **how)
    else:
        result = baseline(on_surface(track, state), car, state.name, line, **how)
    if not result.groove.settled:
        print(f"rollpath: note: the search for the {result.groove.name} line ended before it "
              "settled; take it as rough", file=sys.stderr)  # fmt: skip
    return result


def watched(cases: Sequence[Any]) -> Iterator[Any]:
    """The cases, with a bar on standard error once they take over a second and a person watches."""
    start = time.monotonic()
    shown = False
    for i, case in enumerate(cases):
        if sys.stderr.isatty() and time.monotonic() - start > 1.0:
            done = round(30 * i / len(cases))
            print(f"\r[{'#' * done}{'.' * (30 - done)}] {i}/{len(cases)}", end="", file=sys.stderr)
            shown = True
        yield case
    if shown:
        print("\r" + " " * 50 + "\r", end="", file=sys.stderr)
