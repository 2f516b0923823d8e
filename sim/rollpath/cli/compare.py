"""`rollpath compare`: tracks, surfaces and lines side by side, or one number swept."""

import argparse
from collections.abc import Callable, Sequence
from functools import partial

from rollpath.car import Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    add_points_argument,
    effect_of,
    find_file,
    find_files,
    nearest,
    number_between,
    recorded_groove,
    screen_of,
    watched,
    word_of,
)
from rollpath.compare import SORT_KEYS, sorted_rows, sweep_rows
from rollpath.files.cars import car_from_values, load_car, load_car_values
from rollpath.files.sweeps import Sweep, read_sweep
from rollpath.files.tracks import load_track, load_track_values, track_from_values
from rollpath.groove.free import DIAMOND_SHARPNESS, DIAMOND_ZONE
from rollpath.groove.lay import make_groove
from rollpath.groove.path import FREE_GROOVES, GROOVES, Groove
from rollpath.show.baseline import baseline_json
from rollpath.show.compare import compare_screen, difference_words, sweep_json, sweep_screen
from rollpath.show.words import as_json
from rollpath.stagger import Baseline, baseline
from rollpath.track import CONDITIONS, DEFAULT_CONDITION, Track, check_track
from rollpath.units import QuantityError


def names_of(allowed: Sequence[str]) -> Callable[[str], list[str]]:
    """An argparse type that reads names with commas between."""

    def read(text: str) -> list[str]:
        names = [name.strip() for name in text.split(",") if name.strip()]
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
    parser.add_argument("files", type=word_of, nargs="+", metavar="TRACK", help="track files")
    parser.add_argument(
        "--car",
        type=word_of,
        action="append",
        required=True,
        metavar="FILE",
        help="car file; may be repeated",
    )
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
    _add_diamond_arguments(parser)
    add_output_arguments(parser)


def _add_diamond_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--zone", type=number_between(0.02, 1.0), default=DIAMOND_ZONE,
        help=f"diamond: turning zone as a share of the corner (default {DIAMOND_ZONE:g})",
    )  # fmt: skip
    parser.add_argument(
        "--sharpness", type=number_between(1.0, 20.0), default=DIAMOND_SHARPNESS,
        help=f"diamond: how cheap turning is in the zone (default {DIAMOND_SHARPNESS:g})",
    )  # fmt: skip


def _sweep_of(text: str) -> Sweep:
    try:
        return read_sweep(text)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _compare(arguments: argparse.Namespace) -> None:
    if arguments.sweep is not None:
        _compare_sweep(arguments)
        return
    results = sorted_rows(_work_out(_cases(arguments), arguments), arguments.sort)
    effects = [effect_of(result) for result in results]
    screen = screen_of(arguments)
    if arguments.json:
        rows = [baseline_json(*pair) for pair in zip(results, effects, strict=True)]
        print(as_json({"rows": rows, "reason": difference_words(results, screen)}))
    else:
        print(compare_screen(results, effects, screen))
    if arguments.out or arguments.show:
        from rollpath.show.compare import compare_pictures
        from rollpath.show.picture import deliver

        deliver(compare_pictures(results, screen), arguments.out, arguments.show)


Case = tuple[Track, Car, str, Groove | str]
"""Track, car, condition, and the groove or its name."""


def _cases(arguments: argparse.Namespace) -> list[Case]:
    """Every track with every car, condition and line that was asked for."""
    paths = find_files(
        *((name, "track") for name in arguments.files), *((name, "car") for name in arguments.car)
    )
    tracks = [load_track(path) for path in paths[: len(arguments.files)]]
    cars = [load_car(path) for path in paths[len(arguments.files) :]]
    recorded = [recorded_groove(arguments, track) for track in tracks]
    return [
        (track, car, condition, groove)
        for track, line in zip(tracks, recorded, strict=True)
        for car in cars
        for condition in arguments.conditions
        for groove in [
            *(arguments.grooves or ([] if line else [track.condition(condition).groove])),
            *([line] if line else []),
        ]
    ]


def _work_out(cases: Sequence[Case], arguments: argparse.Namespace) -> list[Baseline]:
    """The baseline of each case; a groove is laid once for a track and a width of car."""
    laid: dict[tuple[str, str, float], Groove] = {}
    results = []
    for track, car, condition, groove in watched(cases):
        if not isinstance(groove, Groove):
            key = (track.name, groove, float(car.width))
            laid[key] = laid.get(key) or make_groove(
                track, groove, car.width, zone=arguments.zone, sharpness=arguments.sharpness
            )
            groove = laid[key]
        results.append(baseline(track, car, condition, groove))
    return results


def _compare_sweep(arguments: argparse.Namespace) -> None:
    """One number swept, for one track, car, condition and groove."""
    one_each = (len(arguments.files), len(arguments.car), len(arguments.grooves or [""]))
    if one_each != (1, 1, 1):
        raise CommandError("--sweep takes one track, one car and at most one groove")
    sweep, screen = arguments.sweep, screen_of(arguments)
    points = _swept(sweep, arguments)
    curve = sweep_rows(sweep, points)
    if arguments.json:
        print(as_json(sweep_json(sweep, points[0], curve)))
    else:
        print(sweep_screen(sweep, points[0], curve, screen))
    if arguments.out or arguments.show:
        from rollpath.show.compare import sweep_picture
        from rollpath.show.picture import deliver

        pictures = [sweep_picture(sweep, points[0], curve, screen)]
        deliver(pictures, arguments.out, arguments.show)


def _swept(sweep: Sweep, arguments: argparse.Namespace) -> list[Baseline]:
    """The baselines of a sweep: one for all its values where the line driven stays the same."""
    condition = arguments.conditions[0] if len(arguments.conditions) == 1 else DEFAULT_CONDITION
    values = {
        "track": load_track_values(find_file(arguments.files[0], "track")),
        "car": load_car_values(find_file(arguments.car[0], "car")),
    }
    track = track_from_values(values["track"])
    name = (arguments.grooves or [track.condition(condition).groove])[0]
    one_by_one = name in FREE_GROOVES and sweep.changes_the_line
    points: list[Baseline] = []
    for case in watched(range(len(sweep.values)) if one_by_one else [None]):
        put = sweep.put if case is None else partial(sweep.put_one, case=case)
        changed = {**values, sweep.of: put(values[sweep.of])}
        track, car = track_from_values(changed["track"]), car_from_values(changed["car"])
        check_track(track)
        points.append(baseline(track, car, condition, name))
    return points


COMMANDS: dict[str, Command] = {
    "compare": Command(
        "How tracks, surfaces and lines differ in what they ask for, side by side.",
        "rollpath compare tracks/ropewalk.yaml tracks/saucer-hill.yaml --car cars/number-31.yaml "
        "--conditions heavy,slick --grooves middle,rounded,diamond",
        _add_compare,
        _compare,
    ),
}
