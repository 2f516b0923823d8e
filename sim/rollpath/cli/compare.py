"""`rollpath compare`: tracks, surfaces and lines side by side, or one number swept."""

import argparse
from collections.abc import Callable, Sequence

from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_bands_argument,
    add_output_arguments,
    add_points_argument,
    draw,
    nearest,
    number_between,
    plain_word,
    quantity_of,
    recorded_groove,
    screen_of,
    watched,
)
from rollpath.cli.given import NO_TRACK, Given, add_given_arguments, given
from rollpath.compare import SORT_KEYS, Comparison, Sweep, Swept, compare, sweep
from rollpath.files.sweeps import read_sweep
from rollpath.groove.free import DIAMOND_SHARPNESS, DIAMOND_ZONE
from rollpath.groove.path import FASTEST, GROOVES
from rollpath.screen import Screen
from rollpath.show.compare import as_data, short_screen
from rollpath.show.words import as_json
from rollpath.stagger import Baseline, timed_baseline
from rollpath.track import CONDITIONS, DEFAULT_CONDITION
from rollpath.units import QuantityError


def names_of(allowed: Sequence[str]) -> Callable[[str], list[str]]:
    """An argparse type that reads names with commas between."""

    def read(text: str) -> list[str]:
        names = [plain_word(name) for name in text.split(",") if name.strip()]
        if not names:
            raise argparse.ArgumentTypeError(f"expected one or more of {', '.join(allowed)}")
        for name in names:
            if name not in allowed:
                near = nearest(name, allowed)
                hint = f'did you mean "{near}"?' if near else f"known: {', '.join(allowed)}"
                raise argparse.ArgumentTypeError(f'no "{name}"; {hint}')
        return names

    return read


def _add_compare(parser: argparse.ArgumentParser) -> None:
    add_given_arguments(parser, many_cars=True)
    parser.add_argument(
        "--conditions", type=names_of(list(CONDITIONS)), default=list(CONDITIONS), metavar="A,B",
        help=f"states of the surface (default {','.join(CONDITIONS)})",
    )  # fmt: skip
    parser.add_argument(
        "--grooves", type=names_of(GROOVES), metavar="A,B",
        help=f"lines, of {','.join(GROOVES)} (default: the one each condition brings)",
    )  # fmt: skip
    add_points_argument(parser)
    parser.add_argument(
        "--sort", choices=tuple(SORT_KEYS), help="order of the rows (default: as asked)"
    )
    parser.add_argument(
        "--sweep", type=_sweep_of, metavar="KEY=FROM:TO:STEP",
        help="run one number of the track or car file through a range, such as "
        "inside_radius=120ft:260ft:20ft",
    )  # fmt: skip
    parser.add_argument(
        "--night", action="store_true",
        help="the line and the stagger from the first of --conditions to the last, in five steps "
        "(default heavy to slick)",
    )  # fmt: skip
    add_bands_argument(parser)
    parser.add_argument(
        "--lap-time", type=quantity_of("time"), metavar="T",
        help="a lap time driven, such as 19.8s: the surface that gives it beside the others",
    )  # fmt: skip
    _add_diamond_arguments(parser)
    add_output_arguments(parser)


def _add_diamond_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--zone", type=number_between(0.02, 1.0), default=DIAMOND_ZONE,
        help="diamond: how far past its tightest it still turns, as a share of the corner "
        f"(default {DIAMOND_ZONE:g})",
    )  # fmt: skip
    parser.add_argument(
        "--sharpness", type=number_between(1.0, 20.0), default=DIAMOND_SHARPNESS,
        help="diamond: how cheap turning is at its tightest, and how dear on the way out "
        f"(default {DIAMOND_SHARPNESS:g})",
    )  # fmt: skip


def _sweep_of(text: str) -> Sweep:
    try:
        return read_sweep(text)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _compare(arguments: argparse.Namespace) -> None:
    screen = screen_of(arguments)
    if arguments.night:
        _compare_night(arguments, screen)
        return
    if arguments.bands is not None:
        raise CommandError("--bands goes with --night here; a track file holds bands of its own")
    if arguments.lap_time is not None and arguments.sweep is not None:
        raise CommandError("--lap-time goes with neither --sweep nor --night")
    result = _swept(arguments) if arguments.sweep is not None else _compared(arguments)
    if arguments.lap_time is not None:
        result = Comparison((_timed(arguments), *result.rows))
    if arguments.json:
        print(as_json(as_data(result, screen)))
    else:
        print(short_screen(result, screen))
    if arguments.out or arguments.show:
        from rollpath.show.compare import pictures

        draw(pictures(result, screen), arguments)


def _compare_night(arguments: argparse.Namespace, screen: Screen) -> None:
    """One track from one surface to another, with one car."""
    from rollpath.groove.night import night
    from rollpath.show import night as told

    named = _one_case(arguments, "--night")
    if any(getattr(arguments, one) is not None for one in ("sweep", "points", "lap_time")):
        raise CommandError("--night goes with none of --sweep, --points and --lap-time")
    ends = arguments.conditions if len(arguments.conditions) > 1 else ["heavy", "slick"]
    if arguments.conditions == list(CONDITIONS):
        ends = ["heavy", "slick"]
    result = night(
        named.track, named.car, ends[0], ends[-1], arguments.bands,
        groove=(arguments.grooves or [FASTEST])[0],
    )  # fmt: skip
    if arguments.json:
        print(as_json(told.as_data(result, screen)))
    else:
        print(told.short_screen(result, screen))
    if arguments.out or arguments.show:
        draw(told.pictures(result, screen), arguments)


def _compared(arguments: argparse.Namespace) -> Comparison:
    named = given(arguments)
    if not named.tracks:
        raise CommandError(NO_TRACK)
    return compare(
        named.tracks,
        [named.car, *named.more_cars],
        arguments.conditions,
        arguments.grooves or (),
        recorded=[recorded_groove(arguments, track) for track in named.tracks],
        sort=arguments.sort,
        each=watched,
        zone=arguments.zone,
        sharpness=arguments.sharpness,
    )


def _timed(arguments: argparse.Namespace) -> Baseline:
    """The surface that gives the lap time, on the line of the first case."""
    named = _one_case(arguments, "--lap-time")
    state = named.track.condition(DEFAULT_CONDITION)
    line = recorded_groove(arguments, named.track) or (arguments.grooves or [None])[0]
    return timed_baseline(named.track, named.car, state, line, arguments.lap_time)


def _one_case(arguments: argparse.Namespace, option: str) -> Given:
    """One track and one car, for what takes no more.

    Raises
    ------
    CommandError
    """
    named = given(arguments)
    if len(named.tracks) > 1 or named.more_cars or len(arguments.grooves or [""]) > 1:
        raise CommandError(f"{option} takes one track, one car and at most one groove")
    return named


def _swept(arguments: argparse.Namespace) -> Swept:
    named = _one_case(arguments, "--sweep")
    condition = arguments.conditions[0] if len(arguments.conditions) == 1 else DEFAULT_CONDITION
    return sweep(
        named.track, named.car, arguments.sweep, condition,
        (arguments.grooves or [None])[0], each=watched,
    )  # fmt: skip


COMMANDS: dict[str, Command] = {
    "compare": Command(
        "rollpath compare tracks/ropewalk.yaml tracks/saucer-hill.yaml --car cars/number-31.yaml "
        "--conditions heavy,slick --grooves middle,rounded,diamond",
        _add_compare,
        _compare,
    ),
}
