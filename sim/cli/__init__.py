"""The command: reads what was typed, calls the rooms, prints what they found. No physics here."""

import argparse
import difflib
import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from sim import __version__, tables
from sim.balance import DEFAULT_PACE, Feel, trim_lap, what_driver_feels
from sim.bite import (
    CORNERS,
    NOTHING,
    BiteError,
    Change,
    Corners,
    Learned,
    StaggerEffect,
    learn_rates,
    rollout_change,
    stagger_effect,
    weigh_change,
)
from sim.car import Axle, Car, CornerWeights
from sim.files import (
    LEAST_STAGGER,
    LONGEST_FAULT,
    MOST_STAGGER,
    RUN_COLUMNS,
    FileError,
    Sweep,
    car_from_values,
    check_change,
    check_measurements,
    check_new,
    copy_demo_data,
    edit_yaml,
    load_car,
    load_car_values,
    load_points,
    load_position_log,
    load_rack,
    load_run_log,
    load_scale_sessions,
    load_track,
    load_track_values,
    points_text,
    read_sweep,
    read_text,
    record_taping,
    track_from_values,
    track_text,
    write_new,
    write_whole,
)
from sim.groove import (
    DIAMOND_SHARPNESS,
    DIAMOND_ZONE,
    FREE_GROOVES,
    GROOVES,
    Groove,
    PathError,
    make_groove,
    measured_groove,
)
from sim.lap import LapError
from sim.rack import Rack
from sim.runlog import Recording, RunLogError, felt_step, read_log, read_run
from sim.stagger import EIGHTH, Baseline, baseline, corrected
from sim.survey import (
    LINE_ERROR,
    Survey,
    SurveyError,
    survey_by_chords,
    survey_by_lap,
    survey_by_log,
)
from sim.tires import (
    HOLD_BITE,
    Aim,
    TireError,
    Weights,
    choose,
    in_full,
    weigh_own,
)
from sim.track import CONDITIONS, DEFAULT_CONDITION, Track, TrackError, check_track
from sim.units import FOOT, INCH, POUND, QuantityError, Screen, parse, shorten
from sim.verdict import ANSWERS, Answers, decide, read_answers, settle

if TYPE_CHECKING:
    from datetime import datetime

    from sim.nights import Study
    from sim.notebook import Book
    from sim.runs import Page, Run

BAD_INPUT = 2
"""Exit status when what was typed or filed cannot be used."""


class CommandError(ValueError):
    """Something typed that cannot be used; the message is one line for the racer."""


class Parser(argparse.ArgumentParser):
    """Argument parser whose complaints are one line of ours, and that reads -5ft as a value."""

    def __init__(self, **keywords: Any) -> None:
        super().__init__(**keywords)
        self._negative_number_matcher = re.compile(r"^-[\d.]")

    def error(self, message: str) -> NoReturn:
        hint = ""
        if message.startswith("unrecognized arguments"):
            typed = [word.partition("=")[0] for word in message.split() if word.startswith("--")]
            near = [
                match for word in typed if (match := nearest(word, self._option_string_actions))
            ]
            hint = f"; did you mean {' '.join(near)}?" if near else ""
        raise CommandError(f"{message}{hint}; see {self.prog} --help")


@dataclass(frozen=True)
class Command:
    """One command: the question it answers, its arguments, and what runs it."""

    question: str
    example: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], None]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns its exit status."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    try:
        _run(typed)
    except FileError as error:
        return _complain(error.lines)
    except TrackError as error:
        return _complain([f"{error.key}: {error}"])
    except (CommandError, LapError, QuantityError, BiteError) as error:
        return _complain([str(error)])
    except BrokenPipeError:
        sys.stderr.close()
    return 0


def _complain(lines: list[str]) -> int:
    for line in lines:
        print(f"rollpath: {shorten(line, LONGEST_FAULT)}", file=sys.stderr)
    return BAD_INPUT


def _run(typed: list[str]) -> None:
    if not typed or typed[0] in ("-h", "--help", "help"):
        print(_overview())
        return
    if typed[0] in ("-V", "--version"):
        print(f"rollpath {__version__}")
        return
    name = next((name for name in (" ".join(typed[:2]), typed[0]) if name in COMMANDS), typed[0])
    if name not in COMMANDS:
        near = nearest(name, COMMANDS)
        hint = f'did you mean "{near}"?' if near else f"commands: {', '.join(COMMANDS)}"
        raise CommandError(f'no command "{name}"; {hint}')
    command = COMMANDS[name]
    parser = Parser(
        prog=f"rollpath {name}",
        description=command.question,
        epilog=f"example: {command.example}",
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    command.run(parser.parse_intermixed_args(typed[len(name.split()) :]))


def nearest(typed: str, known: Iterable[str], cutoff: float = 0.5) -> str:
    """The known word nearest to what was typed, or nothing."""
    return next(iter(difflib.get_close_matches(typed, list(known), n=1, cutoff=cutoff)), "")


def _overview() -> str:
    width = max(map(len, COMMANDS)) + 2
    lines = [f"  {name:<{width}}{command.question}" for name, command in COMMANDS.items()]
    return "\n".join(
        ["rollpath: rear stagger for a locked axle on a dirt oval", "", *lines, "",
         "rollpath COMMAND --help shows an example and every option."]
    )  # fmt: skip


# Arguments that commands share


def quantity_of(kind: str) -> Callable[[str], float]:
    """An argparse type that reads a quantity with its unit."""

    def read(text: str) -> float:
        try:
            return parse(text, kind)
        except QuantityError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return read


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


def window_of(text: str) -> tuple[float, float]:
    """An argparse type that reads a stagger window such as ``1in,4in``."""
    ends = [quantity_of("tape")(part) for part in text.split(",")]
    if len(ends) != 2 or ends[0] >= ends[1]:
        raise argparse.ArgumentTypeError(
            f'expected two staggers, the lower first, such as "1in,4in", got "{text}"'
        )
    return ends[0], ends[1]


def add_output_arguments(parser: argparse.ArgumentParser, pictures: bool = True) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON; keys end in their unit")
    parser.add_argument(
        "--units", choices=("us", "si"), default="us", help="units on the screen (default us)"
    )
    if pictures:
        parser.add_argument("--out", metavar="DIR", type=Path, help="draw pictures into DIR")
        parser.add_argument("--show", action="store_true", help="show the pictures on the screen")


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
    parser.add_argument(
        "--condition", choices=tuple(CONDITIONS), default=DEFAULT_CONDITION,
        help=f"state of the surface (default {DEFAULT_CONDITION})",
    )  # fmt: skip
    parser.add_argument("--groove", choices=GROOVES, help="line driven (default: the condition's)")
    add_points_argument(parser)
    parser.add_argument("--grip", type=number_between(0.05, 3.0), help="instead of the condition's")
    parser.add_argument("--window", type=window_of, help="stagger window, such as 1in,4in")
    parser.add_argument(
        "--drive-emphasis", type=number_between(0.0, 1.0), default=1.0, metavar="E",
        help="1 weighs the lap by thrust, 0 every foot the same (default 1)",
    )  # fmt: skip
    parser.add_argument(
        "--tire-load", choices=("on", "off"), default="on",
        help="off leaves out how tires flatten under load (default on)",
    )  # fmt: skip


def add_points_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--points", metavar="CSV", help="a line recorded on the track: columns x (ft) and y (ft)"
    )


def recorded_groove(arguments: argparse.Namespace, track: Track) -> Groove | None:
    """The groove through --points, or None when none were given."""
    if arguments.points is None:
        return None
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
    folders = [one for one in (path.parent, Path("tracks"), Path("cars")) if one.is_dir()]
    pattern = f"*{path.suffix or '.yaml'}"
    there = [str(one) for folder in folders for one in sorted(folder.glob(pattern))]
    by_name = {Path(one).stem: one for one in reversed(there)}
    near = nearest(name, there, 0.7) or by_name.get(nearest(path.stem, by_name), "")
    hint = f'; did you mean "{near}"?' if near else "; rollpath demo-data DIR copies the demo files"
    raise CommandError(f"{name}: no such {what} file{hint}")


def track_and_cars(arguments: argparse.Namespace) -> tuple[Track, str]:
    """The track, from a file or from measurements, and the name of the car file."""
    files: list[str] = arguments.files
    if arguments.radius is None:
        _refuse_stray_measurements(arguments)
        if len(files) != 2:
            raise CommandError("expected a track file and a car file, or --radius and a car file")
        return load_track(find_file(files[0], "track")), files[1]
    if len(files) != 1:
        raise CommandError("with --radius expected one file, the car's")
    return track_from_arguments(arguments), files[0]


def _refuse_stray_measurements(arguments: argparse.Namespace) -> None:
    """A measurement typed beside a track file would go unheard; say so instead."""
    for name in ("radius_2", "straight", "width", "bow", "bank"):
        if getattr(arguments, name) is not None:
            flag = name.replace("_", "-")
            raise CommandError(f"--{flag} needs --radius too; a track file holds its own")


def track_from_arguments(arguments: argparse.Namespace) -> Track:
    """A track from --radius, --straight, --width and their like."""
    for name in ("straight", "width"):
        if getattr(arguments, name) is None:
            raise CommandError(f"--radius needs --{name} too")
    second = arguments.radius if arguments.radius_2 is None else arguments.radius_2
    values: dict[str, Any] = {
        "name": "measured track",
        "inside_radius": (arguments.radius, second),
        "straight": arguments.straight,
        "width": arguments.width,
    }
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
    return baseline(
        track,
        car,
        arguments.condition,
        recorded_groove(arguments, track) or arguments.groove,
        drive_emphasis=arguments.drive_emphasis,
        tire_load=arguments.tire_load == "on",
        window=arguments.window,
        grip=arguments.grip,
    )


# baseline


def _add_baseline(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="track file, then car file")
    add_track_arguments(parser)
    add_case_arguments(parser)
    parser.add_argument(
        "--book", type=Path, metavar="FILE",
        help="notebook whose nights correct the physics, where they carry a correction",
    )  # fmt: skip
    add_output_arguments(parser)


def _baseline(arguments: argparse.Namespace) -> None:
    track, car_name = track_and_cars(arguments)
    car = load_car(find_file(car_name, "car"))
    result = physics = run_baseline_case(arguments, track, car)
    lesson = _lesson(arguments, result)
    if lesson is not None and lesson.correction is not None:
        result = corrected(physics, lesson.correction.stagger)
    effect = _effect_of(result)
    screen = Screen(arguments.units)
    if arguments.json:
        told = tables.baseline_json(result, effect)
        if lesson is not None:
            told |= tables.lesson_json(lesson, physics)
        print(tables.as_json(told))
    else:
        note = "" if lesson is None else tables.lesson_words(lesson, physics, screen)
        print(tables.baseline_screen(result, effect, screen, note))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.baseline_pictures(result, Screen(arguments.units)),
                      arguments.out, arguments.show)  # fmt: skip


def _lesson(arguments: argparse.Namespace, result: Baseline) -> "Study | None":
    """What the notebook that was named says of this car in this condition."""
    if arguments.book is None:
        return None
    from sim.nights import study_of

    with _told_of_book(), _book(arguments) as book:
        return study_of(book.runs(), result.car.name, result.condition.name)


# compare


def names_of(allowed: Sequence[str]) -> Callable[[str], list[str]]:
    """An argparse type that reads names with commas between."""

    def read(text: str) -> list[str]:
        names = [name.strip() for name in text.split(",") if name.strip()]
        for name in names:
            if name not in allowed:
                near = nearest(name, allowed)
                hint = f'did you mean "{near}"?' if near else f"known: {', '.join(allowed)}"
                raise argparse.ArgumentTypeError(f'no "{name}"; {hint}')
        return names

    return read


def _add_compare(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="TRACK", help="track files")
    parser.add_argument(
        "--car", action="append", required=True, metavar="FILE", help="car file; may be repeated"
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
        "--sort", choices=tuple(tables.SORT_KEYS), help="order of the rows (default: as asked)"
    )
    parser.add_argument(
        "--sweep", type=_sweep_of, metavar="KEY=FROM:TO:STEP",
        help="run one number of the track or car file through a range, such as "
        "inside_radius=120ft:260ft:20ft",
    )  # fmt: skip
    parser.add_argument(
        "--zone", type=number_between(0.02, 1.0), default=DIAMOND_ZONE,
        help=f"diamond: turning zone as a share of the corner (default {DIAMOND_ZONE:g})",
    )  # fmt: skip
    parser.add_argument(
        "--sharpness", type=number_between(1.0, 20.0), default=DIAMOND_SHARPNESS,
        help=f"diamond: how cheap turning is in the zone (default {DIAMOND_SHARPNESS:g})",
    )  # fmt: skip
    add_output_arguments(parser)


def _sweep_of(text: str) -> Sweep:
    try:
        return read_sweep(text)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _compare(arguments: argparse.Namespace) -> None:
    if arguments.sweep is not None:
        _compare_sweep(arguments)
        return
    cars = [load_car(find_file(name, "car")) for name in arguments.car]
    tracks = [load_track(find_file(name, "track")) for name in arguments.files]
    recorded = [recorded_groove(arguments, track) for track in tracks]
    cases = [
        (track, car, condition, groove)
        for track, line in zip(tracks, recorded, strict=True)
        for car in cars
        for condition in arguments.conditions
        for groove in [
            *(arguments.grooves or ([] if line else [track.condition(condition).groove])),
            *([line] if line else []),
        ]
    ]
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
    results = tables.sorted_rows(results, arguments.sort)
    effects = [_effect_of(result) for result in results]
    screen = Screen(arguments.units)
    if arguments.json:
        rows = [tables.baseline_json(*pair) for pair in zip(results, effects, strict=True)]
        print(tables.as_json({"rows": rows, "reason": tables.difference_words(results, screen)}))
    else:
        print(tables.compare_screen(results, effects, screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.compare_pictures(results, screen), arguments.out, arguments.show)


def _effect_of(result: Baseline) -> StaggerEffect:
    change = float(result.stagger.recommended) - float(result.car.rear.stagger)
    return stagger_effect(result.car, change)


def _compare_sweep(arguments: argparse.Namespace) -> None:
    """One number swept, for one track, car, condition and groove."""
    one_each = (len(arguments.files), len(arguments.car), len(arguments.grooves or [""]))
    condition = arguments.conditions[0] if len(arguments.conditions) == 1 else DEFAULT_CONDITION
    if one_each != (1, 1, 1):
        raise CommandError("--sweep takes one track, one car and at most one groove")
    sweep = arguments.sweep
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
    screen = Screen(arguments.units)
    curve = tables.sweep_rows(sweep, points)
    if arguments.json:
        print(tables.as_json(tables.sweep_json(sweep, points[0], curve)))
    else:
        print(tables.sweep_screen(sweep, points[0], curve, screen))
    if arguments.out or arguments.show:
        from sim import plots

        pictures = [plots.sweep_picture(sweep, points[0], curve, screen)]
        plots.deliver(pictures, arguments.out, arguments.show)


# debrief


def add_answer_arguments(parser: argparse.ArgumentParser) -> None:
    """What the driver felt."""
    group = parser.add_argument_group("what the driver felt")
    for name, meanings in ANSWERS.items():
        told = "; ".join(f"{answer}: {meaning}" for answer, meaning in meanings.items())
        group.add_argument(f"--{name.replace('_', '-')}", choices=tuple(meanings), help=told)


def answers_of(arguments: argparse.Namespace) -> Answers:
    return Answers(**{name: getattr(arguments, name) for name in ANSWERS})


SHORT_COLUMNS = {"rpm": "engine_speed", "lat": "latitude", "lon": "longitude"}
"""Other names of the columns of a log, for those who type them."""


def column_choice(text: str) -> tuple[str, str]:
    """An argparse type that reads a column and its heading, such as ``speed=GPS speed``."""
    name, equals, heading = text.partition("=")
    key = name.strip().lower().replace("-", "_").replace(" ", "_")
    key = SHORT_COLUMNS.get(key, key)
    if not equals or not heading.strip() or key not in RUN_COLUMNS:
        names = ", ".join([*RUN_COLUMNS, *SHORT_COLUMNS])
        raise argparse.ArgumentTypeError(
            f'expected one of {names}, then "=" and the heading in the log, got "{shorten(text)}"'
        )
    return key, heading.strip()


def add_log_arguments(parser: argparse.ArgumentParser) -> None:
    """Recorded laps."""
    group = parser.add_argument_group("recorded laps")
    group.add_argument(
        "--log", metavar="CSV", help="any of time, latitude and longitude or x and y, speed, rpm, "
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


def recorded_laps(arguments: argparse.Namespace, result: Baseline) -> Recording | None:
    """The laps of --log, read against the case; None when there is no log."""
    if arguments.log is None:
        if arguments.column or arguments.gear_ratio:
            raise CommandError("--column and --gear-ratio go with --log")
        return None
    path = Path(arguments.log)
    if not path.is_file():
        raise CommandError(f"{path}: no such log")
    log = load_run_log(path, dict(arguments.column))
    if log.steering is not None and arguments.steering_positive == "right":
        log = replace(log, steering=-log.steering)
    try:
        return read_run(
            log, result.track, result.car, result.condition, result.groove, arguments.gear_ratio,
            result.stagger.window,
        )  # fmt: skip
    except RunLogError as error:
        raise FileError([f"{path}: {error}"]) from None


def _add_debrief(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="track file, then car file")
    add_track_arguments(parser)
    add_case_arguments(parser)
    add_answer_arguments(parser)
    add_log_arguments(parser)
    parser.add_argument(
        "--paper", choices=("letter", "a4"), default="letter", help="size of the page"
    )
    add_output_arguments(parser, pictures=False)
    parser.add_argument(
        "--out", metavar="FILE", type=Path, help="the page: a name ending in .pdf or .png, or a "
        "folder for both",
    )  # fmt: skip
    parser.add_argument("--show", action="store_true", help="show the page on the screen")


def feel_of(result: Baseline) -> Feel:
    """What is felt of the stagger on the car and of the recommended one, or of one a step away."""
    staggers = [float(result.car.rear.stagger), float(result.stagger.recommended)]
    if abs(staggers[1] - staggers[0]) < EIGHTH / 2:
        staggers[1] += EIGHTH
    return trim_lap(result.lap, result.car, result.condition, np.sort(staggers))


def _debrief(arguments: argparse.Namespace) -> None:
    track, car_name = track_and_cars(arguments)
    car = load_car(find_file(car_name, "car"))
    result = run_baseline_case(arguments, track, car)
    effect, screen = _effect_of(result), Screen(arguments.units)
    answers, recording = answers_of(arguments), recorded_laps(arguments, result)
    driver = read_answers(answers) if answers.given else None
    logger = read_log(recording, car, screen) if recording else None
    verdict = None
    if driver or logger:
        verdict = decide(
            settle(driver, logger), float(car.rear.stagger),
            recording.best if recording else result.stagger,
            felt_step(recording.feel if recording else feel_of(result)),
        )  # fmt: skip
    told = tables.Told(recording, driver, logger)
    if arguments.json:
        print(tables.as_json(tables.debrief_json(result, effect, verdict, told)))
    else:
        print(tables.debrief_screen(result, effect, verdict, screen, told))
    if arguments.out or arguments.show:
        from sim import plots, sheet

        pages = [
            sheet.draw_sheet(result, effect, verdict, screen, arguments.paper),
            sheet.draw_feel_page(result, feel_of(result), recording, screen, arguments.paper),
        ]
        if arguments.out:
            sheet.write_sheets(pages, arguments.out)
        plots.deliver([], None, arguments.show)


# demo-data and completion


def _add_demo_data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", type=Path, help="where to copy them")


def _demo_data(arguments: argparse.Namespace) -> None:
    for path in copy_demo_data(arguments.folder):
        print(path)


def _add_completion(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=("bash",), help="put the output into your ~/.bashrc")


def _completion(arguments: argparse.Namespace) -> None:
    names = [name for name in COMMANDS if " " not in name]
    cases = []
    for name in names:
        parser = Parser(prog=name, allow_abbrev=False)
        COMMANDS[name].add_arguments(parser)
        options = [word for word in parser._option_string_actions if word.startswith("--")]
        cases.append(f'    {name}) words="{" ".join(options)}" ;;')
    lines = [
        "_rollpath() {",
        '  local words="" word="${COMP_WORDS[COMP_CWORD]}"',
        '  case "${COMP_WORDS[1]}" in',
        *cases,
        "  esac",
        f'  [ "$COMP_CWORD" = 1 ] && words="{" ".join(names)}"',
        '  COMPREPLY=($(compgen -W "$words" -- "$word") $(compgen -f -- "$word"))',
        "}",
        "complete -o filenames -F _rollpath rollpath",
    ]
    print("\n".join(lines))


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


# bite


@dataclass(frozen=True)
class Typed:
    """A length that was typed: a new value, or with a sign in front a change of the present one."""

    metres: float
    is_change: bool

    def onto(self, present: float) -> float:
        return self.metres + (present if self.is_change else 0.0)


def new_or_change(text: str) -> Typed:
    """An argparse type that reads ``2 1/4 in``, or ``+1/2in`` for a change."""
    return Typed(quantity_of("tape")(text), text.strip()[:1] in ("+", "-", "\N{MINUS SIGN}"))


def at_corner(kind: str) -> Callable[[str], tuple[str, float]]:
    """An argparse type that reads a corner and an amount, such as ``left-rear=2turns``."""

    def read(text: str) -> tuple[str, float]:
        name, _, amount = text.partition("=")
        corner = name.strip().lower().replace("-", "_").replace(" ", "_")
        if corner not in CORNERS:
            corners = ", ".join(CORNERS).replace("_", "-")
            raise argparse.ArgumentTypeError(f'expected one of {corners}, then "=", got "{text}"')
        return corner, quantity_of(kind)(amount)

    return read


def _add_bite(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("car", metavar="CAR", help="car file")
    tires = parser.add_argument_group(
        "tires to fit; with a + or - in front, a change of what is on the car"
    )
    for axle in ("rear", "front"):
        tires.add_argument(
            f"--{axle}-stagger", type=new_or_change, metavar="S",
            help="shared by both sides when no tire is named",
        )  # fmt: skip
    for corner in CORNERS:
        tires.add_argument(_option(corner), type=new_or_change, metavar="C", help="rollout")
    others = parser.add_argument_group("other changes; each may be given for several corners")
    others.add_argument(
        "--jack", type=at_corner("turns"), action="append", default=[], metavar="CORNER=TURNS",
        help="such as left-rear=2turns; positive is longer",
    )  # fmt: skip
    others.add_argument(
        "--spacer", type=at_corner("tape"), action="append", default=[], metavar="CORNER=HEIGHT",
        help="under a spring, such as right-rear=1/4in",
    )  # fmt: skip
    parser.add_argument(
        "--weights", type=quantity_of("weight"), nargs=4, metavar=("LF", "RF", "LR", "RR"),
        help="the four pads as they read now, instead of the car file's",
    )  # fmt: skip
    parser.add_argument(
        "--hold", choices=("front", "jacks", "either"),
        help="find the change that puts bite back: front stagger, a jack, or the better of them",
    )  # fmt: skip
    parser.add_argument("--learn", metavar="CSV", help="learn the car's rates from scale sessions")
    parser.add_argument("--write", action="store_true", help="put learned rates into the car file")
    add_output_arguments(parser)


def _option(corner: str) -> str:
    return "--" + corner.replace("_", "-")


def _bite(arguments: argparse.Namespace) -> None:
    car_path = find_file(arguments.car, "car")
    car = load_car(car_path)
    if arguments.learn is not None:
        _learn(arguments, car, car_path)
        return
    if arguments.write:
        raise CommandError("--write needs --learn and a file of scale sessions")
    if arguments.weights:
        car = replace(car, weights=_weights(arguments.weights))
    screen = Screen(arguments.units)
    change = _change(arguments, car)
    if arguments.hold and change == Change():
        raise CommandError("--hold needs a change to hold against, such as --rear-stagger 2in")
    outcome = weigh_change(car, change, arguments.hold)
    if arguments.json:
        print(tables.as_json(tables.bite_json(car, outcome)))
    else:
        print(tables.bite_screen(car, outcome, screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.bite_pictures(car, outcome, screen), arguments.out, arguments.show)


def _weights(four: list[float]) -> CornerWeights:
    for weight in four:
        check_change("weights", weight)
    return CornerWeights(*four)


def _change(arguments: argparse.Namespace, car: Car) -> Change:
    """What was typed, as a change of each corner."""
    rollouts = [
        float(change)
        for axle in ("front", "rear")
        for change in _axle_change(arguments, getattr(car, axle), axle)
    ]
    turns, spacers = (
        NOTHING._replace(**dict(typed)) for typed in (arguments.jack, arguments.spacer)
    )
    for typed, name, most, words in (
        (arguments.jack, "--jack", 100.0, "at most 100 turns"),
        (arguments.spacer, "--spacer", 20 * INCH, "a height of at most 20 in"),
    ):
        named = [corner for corner, _ in typed]
        for corner, amount in typed:
            if named.count(corner) > 1:
                raise CommandError(f"{name}: {corner.replace('_', '-')} given twice")
            if abs(amount) > most:
                raise CommandError(f"{name}: {corner.replace('_', '-')}: expected {words}")
    return Change(Corners(*rollouts), turns, spacers)


def _axle_change(arguments: argparse.Namespace, axle: Axle, name: str) -> tuple[Any, Any]:
    """Change of the left and the right rollout of one axle."""
    present = {
        f"left_{name}": axle.left_rollout,
        f"right_{name}": axle.right_rollout,
        f"{name}_stagger": axle.stagger,
    }
    new = {}
    for key, now in present.items():
        typed = getattr(arguments, key)
        new[key] = None if typed is None else typed.onto(float(now))
        check_change(key, new[key])
    try:
        return rollout_change(axle, *new.values())
    except BiteError as error:
        raise CommandError(f"{', '.join(_option(key) for key in present)}: {error}") from None


def _learn(arguments: argparse.Namespace, car: Car, car_path: Path) -> None:
    """Learn rates from scale sessions, and write those that are sure when asked to."""
    idle = [arguments.hold, arguments.weights, arguments.jack, arguments.spacer, arguments.out,
            arguments.show, arguments.rear_stagger, arguments.front_stagger,
            *(getattr(arguments, corner) for corner in CORNERS)]  # fmt: skip
    if any(idle):
        raise CommandError("--learn goes with --write, --json and --units only")
    sessions = Path(arguments.learn)
    if not sessions.is_file():
        raise CommandError(f"{sessions}: no such file of scale sessions")
    learned = learn_rates(car, load_scale_sessions(sessions))
    written = rates_to_write(learned) if arguments.write else {}
    kept = edit_yaml(car_path, written) if written else None
    if arguments.json:
        print(tables.as_json(tables.learned_json(learned, written, kept)))
    else:
        print(tables.learned_screen(car, learned, written, kept, Screen(arguments.units)))
    if arguments.write and not written:
        raise CommandError(f"{car_path}: nothing written; no rate is sure yet")


def rates_to_write(learned: Learned) -> dict[str, str]:
    """Keys of a car file and their text, for the rates that are sure."""
    keys = {
        "rear stagger": "bite_per_inch.rear", "front stagger": "bite_per_inch.front",
        "rear jacks": "bite_per_turn.rear", "front jacks": "bite_per_turn.front",
    }  # fmt: skip
    return {
        keys[name]: tables.rate_text(name, rate.value)
        for name, rate in learned.rates.items()
        if rate.is_sure
    }


# tires


def _add_tires(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rack", metavar="RACK", help="rack file")
    parser.add_argument("--car", required=True, metavar="CAR", help="car file")
    wanted = parser.add_argument_group("the rear stagger wanted: one of")
    wanted.add_argument("--stagger", type=quantity_of("tape"), metavar="S", help="such as 2-1/4in")
    wanted.add_argument(
        "--track", metavar="TRACK", help="track file: the recommended stagger, and how much a "
        "miss matters there"
    )  # fmt: skip
    parser.add_argument("--hold-bite", action="store_true", help="hold bite before all but stagger")
    parser.add_argument(
        "--why", metavar="LF,RF,LR,RR", help="how a set of your own scores against the first"
    )
    weights = parser.add_argument_group("points of each aim; the set with the fewest is the first")
    for name, weighed in WEIGHED.items():
        weights.add_argument(
            f"--weigh-{name}", type=number_between(0.0, 100.0), metavar="P", help=weighed.help
        )
    add_track_arguments(parser)
    add_case_arguments(parser)
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
}  # fmt: skip


def _tires(arguments: argparse.Namespace) -> None:
    rack = load_rack(find_file(arguments.rack, "rack"))
    car = load_car(find_file(arguments.car, "car"))
    screen = Screen(arguments.units)
    try:
        choice = choose(rack, car, _aim(arguments, car), _points(arguments))
        own = weigh_own(choice, _names(rack, arguments.why)) if arguments.why else None
    except TireError as error:
        raise CommandError(f"{arguments.rack}: {error}") from None
    outcome = in_full(choice)
    if arguments.json:
        print(tables.as_json(tables.tires_json(choice, outcome, own)))
    else:
        print(tables.tires_screen(choice, outcome, own, screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.tires_pictures(choice, screen), arguments.out, arguments.show)


def _aim(arguments: argparse.Namespace, car: Car) -> Aim:
    """The stagger typed, or the one recommended for a track."""
    track_given = arguments.track is not None or arguments.radius is not None
    if (arguments.stagger is not None) == track_given:
        raise CommandError("expected one of --stagger, such as 2-1/4in, and --track or --radius")
    if arguments.stagger is not None:
        check_change("stagger", arguments.stagger)
        return Aim(arguments.stagger)
    if arguments.track is not None and arguments.radius is not None:
        raise CommandError("expected --track or --radius, not both")
    if arguments.track is not None:
        track = load_track(find_file(arguments.track, "track"))
    else:
        track = track_from_arguments(arguments)
    result = run_baseline_case(arguments, track, car)
    return Aim(float(result.stagger.recommended), result)


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


# tires tape


def _add_tape(parser: argparse.ArgumentParser) -> None:
    parser.description = f"{parser.description}\n\n{tables.HOW_TO_TAPE}"
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("rack", metavar="RACK", help="rack file")
    parser.add_argument("tire", metavar="TIRE", help="its id in the rack file")
    parser.add_argument(
        "readings", nargs="+", metavar="READING", help='such as "86 1/4 in"; three are best'
    )
    parser.add_argument("--pressure", metavar="P", help="such as 18psi; without it nothing can be "
                        "corrected to the running pressure")  # fmt: skip
    parser.add_argument("--temperature", metavar="T", help="of the tire, such as 75F; above 110F "
                        "it counts as hot, without it as cold")  # fmt: skip
    parser.add_argument("--date", metavar="DAY", help="default today")
    add_output_arguments(parser, pictures=False)


def _tape(arguments: argparse.Namespace) -> None:
    path = find_file(arguments.rack, "rack")
    rack = load_rack(path)
    name = _names(rack, arguments.tire)[0]
    if name not in rack.names:
        near = difflib.get_close_matches(name, rack.names, n=1, cutoff=0.5)
        hint = f'; did you mean "{near[0]}"?' if near else f"; it holds {', '.join(rack.names)}"
        raise CommandError(f'{path}: no tire "{arguments.tire}"{hint}')
    when = {"pressure": arguments.pressure, "temperature": arguments.temperature,
            "date": arguments.date or date.today().isoformat()}  # fmt: skip
    at = rack.names.index(name)
    record_taping(path, at, arguments.readings, **{k: v for k, v in when.items() if v})
    after = load_rack(path)
    if arguments.json:
        print(tables.as_json(tables.tape_json(after, after.tires[at])))
    else:
        print(tables.tape_screen(after, after.tires[at], Screen(arguments.units)))


# feel

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
        raise argparse.ArgumentTypeError(f'expected staggers between -12 and 24 in, got "{text}"')
    return values


def _add_feel(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="track file, then car file")
    add_track_arguments(parser)
    parser.add_argument(
        "--stagger", type=staggers_of, metavar="A,B",
        help="rear staggers, such as 1in,2in,3in (default: the car's and the recommended one)",
    )  # fmt: skip
    parser.add_argument(
        "--condition", choices=tuple(CONDITIONS), default=DEFAULT_CONDITION,
        help=f"state of the surface (default {DEFAULT_CONDITION})",
    )  # fmt: skip
    parser.add_argument("--groove", choices=GROOVES, help="line driven (default: the condition's)")
    parser.add_argument("--grip", type=number_between(0.05, 3.0), help="instead of the condition's")
    parser.add_argument(
        "--pace", type=number_between(0.3, 1.0), default=DEFAULT_PACE, metavar="P",
        help=f"share of the speed that the tires can hold (default {DEFAULT_PACE:g})",
    )  # fmt: skip
    add_output_arguments(parser)


def _feel(arguments: argparse.Namespace) -> None:
    track, car_name = track_and_cars(arguments)
    car = load_car(find_file(car_name, "car"))
    result = what_driver_feels(
        track, car, arguments.condition, arguments.groove, arguments.stagger,
        grip=arguments.grip, pace=arguments.pace,
    )  # fmt: skip
    screen = Screen(arguments.units)
    if arguments.json:
        print(tables.as_json(tables.feel_json(result)))
    else:
        print(tables.feel_screen(result, screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.feel_pictures(result, screen), arguments.out, arguments.show)


# notebook

QUESTIONS: dict[str, str] = {
    "condition": ", ".join(CONDITIONS),
    "run": "which run, such as hot laps, heat 1, feature",
    "best": "best lap, such as 17.84 s",
    **{
        name: "; ".join(f"{word}: {meaning}" for word, meaning in words.items())
        for name, words in ANSWERS.items()
    },
    "note": "a note",
}
"""What `notebook add` asks a person for when it was not typed."""
LARGEST_EXPORT = 1 << 28
"""Bytes; some half a million runs."""
NIGHTS_SHOWN = 10
"""Nights that `notebook review` tells one by one unless asked for all."""


def moment_of(text: str) -> "datetime":
    """An argparse type that reads a date and time such as ``2026-05-02 21:40``."""
    from datetime import datetime

    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f'expected a time such as "2026-05-02 21:40", got "{text}"'
        ) from None


def _add_notebook(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=tuple(NOTEBOOK_ACTIONS), help="each takes --help")


def _notebook(arguments: argparse.Namespace) -> None:
    action = arguments.action  # it would have been found, had it come first
    raise CommandError(f'"{action}" comes right after "notebook": rollpath notebook {action} ...')


def _of_notebook(action: Command) -> Command:
    """An action that takes --book, and tells the faults of a notebook as those of any file."""

    def add_arguments(parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--book", type=Path, metavar="FILE", help="notebook file (default: your data folder)"
        )
        action.add_arguments(parser)

    def run(arguments: argparse.Namespace) -> None:
        with _told_of_book():
            action.run(arguments)

    return replace(action, add_arguments=add_arguments, run=run)


@contextmanager
def _told_of_book() -> Iterator[None]:
    """Faults of a notebook are told as those of any file."""
    from sim.runs import BookError

    try:
        yield
    except BookError as error:
        raise FileError(error.lines) from None


def _book_path(arguments: argparse.Namespace) -> Path:
    from sim.notebook import default_path

    path: Path = arguments.book or default_path()
    return path


@contextmanager
def _book(arguments: argparse.Namespace, new: bool = False) -> Iterator["Book"]:
    """The notebook, open; what it has to tell goes to the error stream."""
    from sim.notebook import Book

    path = _book_path(arguments)
    if not new and not path.exists():
        raise CommandError(f"{path}: no notebook there yet; `rollpath notebook add` starts one")
    with Book(path) as book:
        try:
            yield book
        finally:
            for notice in book.notices:
                print(f"rollpath: {notice}", file=sys.stderr)


def _add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """What a run holds, for `add` and `edit`."""
    time_of = quantity_of("time")
    parser.add_argument("--track", metavar="FILE", help="track file, or the name of a track")
    parser.add_argument("--car", metavar="FILE", help="car file as the car stood, or its name")
    parser.add_argument("--condition", choices=tuple(CONDITIONS), help="state of the surface")
    parser.add_argument("--groove", choices=GROOVES, help="line driven (default: the condition's)")
    parser.add_argument("--run", metavar="TEXT", help="hot laps, heat 1, feature")
    parser.add_argument("--when", type=moment_of, metavar="TIME", help="default: now")
    parser.add_argument("--best", type=time_of, metavar="T", help="best lap, such as 17.84s")
    parser.add_argument("--typical", type=time_of, metavar="T", help="typical lap")
    for name, words in ANSWERS.items():
        told = "; ".join(f"{word}: {meaning}" for word, meaning in words.items())
        parser.add_argument(f"--{name.replace('_', '-')}", choices=tuple(words), help=told)
    parser.add_argument(
        "--jack", type=at_corner("turns"), action="append", metavar="CORNER=TURNS",
        help='jack turns from where they are counted, such as "left-rear=2 turns"; may be repeated',
    )  # fmt: skip
    parser.add_argument(
        "--pressure", type=at_corner("pressure"), action="append", metavar="CORNER=P",
        help="such as left-rear=9psi; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--pads", choices=("scales", "predicted"),
        help="whether the weights of the car file are of the car as it ran",
    )  # fmt: skip
    parser.add_argument(
        "--counts", choices=("yes", "no"), help="no: a flat, a wreck, yellows; it teaches nothing"
    )
    parser.add_argument("--note", metavar="TEXT", help="anything else")


def _run_values(arguments: argparse.Namespace) -> dict[str, Any]:
    """Attributes of a run from what was typed, and from the track and car files."""
    values: dict[str, Any] = {}
    for typed, name in (
        ("condition", "condition"), ("groove", "groove"), ("run", "session"), ("when", "when"),
        ("best", "best_lap"), ("typical", "typical_lap"), ("counts", "counts"), ("note", "note"),
    ):  # fmt: skip
        values[name] = getattr(arguments, typed)
    for name in ANSWERS:
        values[name] = getattr(arguments, name)
    for thing in ("jack", "pressure"):
        for corner, amount in getattr(arguments, thing) or []:
            values[f"{corner}_{thing}"] = amount
    track = _file_or_name(arguments.track, "track", load_track)
    car = _file_or_name(arguments.car, "car", load_car)
    values["track"] = track.name if isinstance(track, Track) else track
    values["car"] = car.name if isinstance(car, Car) else car
    if isinstance(car, Car):
        values |= _car_values(car)
    if isinstance(car, Car) and isinstance(track, Track) and arguments.condition:
        values |= _advice(track, car, arguments.condition, arguments.groove)
    return {name: value for name, value in values.items() if value is not None}


def _file_or_name(
    typed: str | None, what: str, load: Callable[[Path], Track | Car]
) -> Track | Car | str | None:
    """A track or car from its file; a name when it cannot be meant as a file."""
    if typed is None:
        return None
    path = Path(typed)
    if path.is_file() or path.suffix in (".yaml", ".yml") or len(path.parts) > 1:
        return load(find_file(typed, what))
    return typed


def _car_values(car: Car) -> dict[str, Any]:
    """What a run keeps of a car."""
    weights = {f"{corner}_weight": weight for corner, weight in vars(car.weights).items()}
    return {
        "left_front_rollout": car.front.left_rollout,
        "right_front_rollout": car.front.right_rollout,
        "left_rear_rollout": car.rear.left_rollout,
        "right_rear_rollout": car.rear.right_rollout,
        **weights,
    }


def _advice(track: Track, car: Car, condition: str, groove: str | None) -> dict[str, Any]:
    """What the physics recommends for a run, and the groove it was worked out for."""
    try:
        result = baseline(track, car, condition, groove)
    except TrackError as error:
        print(f"rollpath: no recommendation kept with the run: {error}", file=sys.stderr)
        return {}
    best = result.stagger
    return {
        "groove": result.groove.name,
        "recommended_stagger": float(best.recommended),
        "optimum_stagger": float(best.unbounded),
        "window_low": best.window[0],
        "window_high": best.window[1],
    }


def _ask(arguments: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    """Ask a person at the terminal for what was not typed; Enter leaves it out."""
    print("Enter leaves a question out.")
    for name, question in QUESTIONS.items():
        while getattr(arguments, name) is None:
            try:
                answer = input(f"  {name.replace('_', ' ')} ({question}): ").strip()
            except EOFError:
                print()
                return
            except KeyboardInterrupt:
                print()
                raise CommandError("stopped; nothing was written") from None
            if not answer:
                break
            option = f"--{name.replace('_', '-')}={answer}"
            try:
                parser.parse_args([option], namespace=arguments)
            except CommandError as error:
                print(f"  {str(error).rpartition('; see')[0].partition(': ')[2]}")


def _weighed(run: "Run", arguments: argparse.Namespace, book: "Book") -> "Run":
    """The run with its weights as it ran, and whether they were read or predicted."""
    from sim.nights import with_pads

    if arguments.pads or not Path(arguments.car).is_file():
        return replace(run, weights_from=arguments.pads)
    try:
        return with_pads(run, book.runs(), load_car(Path(arguments.car)))
    except BiteError as error:
        print(f"rollpath: bite kept as in the car file: {error}", file=sys.stderr)
        return run


def _notebook_add(arguments: argparse.Namespace) -> None:
    from datetime import datetime

    from sim.runs import BookError, Run, settled, to_line

    for name in ("track", "car"):
        if getattr(arguments, name) is None:
            raise CommandError(f"--{name} is missing: a {name} file, or the name of the {name}")
    if sys.stdin.isatty() and sys.stdout.isatty() and not arguments.json:
        child = Parser(prog="rollpath notebook add", allow_abbrev=False)
        _add_run_arguments(child)
        _ask(arguments, child)
    run = settled(Run(**{"when": datetime.now(), **_run_values(arguments)}))
    try:
        with _book(arguments, new=True) as book:
            run = _weighed(run, arguments, book)
            number = book.add(run)
    except BookError as error:
        kept = "keep the next line; `rollpath notebook import -` takes it later"
        raise FileError([*error.lines, kept, to_line(run)]) from None
    if arguments.json:
        print(tables.as_json({"number": number, **tables.run_json(run)}))
    else:
        print(tables.added_screen(number, run, Screen(arguments.units)))


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
    parser.add_argument("--track", metavar="NAME", help="only this track; part of its name will do")
    parser.add_argument("--car", metavar="NAME", help="only this car")
    parser.add_argument("--condition", choices=tuple(CONDITIONS), help="only this surface")
    parser.add_argument("--since", type=moment_of, metavar="DAY", help="only since, as 2026-05-01")
    parser.add_argument("--find", metavar="TEXT", help="only runs with this in a name or note")


def _add_list_arguments(parser: argparse.ArgumentParser) -> None:
    _add_pick_arguments(parser)
    add_output_arguments(parser, pictures=False)


def _notebook_list(arguments: argparse.Namespace) -> None:
    with _book(arguments) as book:
        pages = _picked(book.runs(), arguments)
    if arguments.json:
        print(tables.as_json({"runs": [tables.page_json(page) for page in pages]}, None))
    else:
        print(tables.list_screen(pages, Screen(arguments.units)))


def _add_number_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", type=int, metavar="NUMBER", help="of the run, from the list")
    add_output_arguments(parser, pictures=False)


def _notebook_show(arguments: argparse.Namespace) -> None:
    with _book(arguments) as book:
        pages = book.history(arguments.number)
    if arguments.json:
        told = [tables.page_json(page) for page in pages]
        print(tables.as_json({**told[-1], "earlier": told[:-1]}))
    else:
        print(tables.show_screen(pages, Screen(arguments.units)))


def _add_edit_arguments(parser: argparse.ArgumentParser) -> None:
    from sim.runs import ENTRIES

    _add_number_argument(parser)
    _add_run_arguments(parser)
    parser.add_argument(
        "--blank", action="append", default=[], choices=[entry.name for entry in ENTRIES[3:]],
        metavar="NAME", help="forget a value, such as best_lap; may be repeated",
    )  # fmt: skip


def _notebook_edit(arguments: argparse.Namespace) -> None:
    changes = {**_run_values(arguments), **dict.fromkeys(arguments.blank)}
    if arguments.pads:
        changes["weights_from"] = arguments.pads
    if not changes:
        raise CommandError("nothing to change; say what, such as --best 17.84s")
    with _book(arguments) as book:
        book.edit(arguments.number, changes)
    _notebook_show(arguments)


def _add_export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="ends in .csv or .json; - prints JSON")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_export(arguments: argparse.Namespace) -> None:
    from sim.runs import to_csv, to_json

    writers = {".csv": to_csv, ".json": to_json}
    target = Path(arguments.file)
    if arguments.file != "-" and target.suffix not in writers:
        raise CommandError(f"{target}: expected a name that ends in .csv or .json")
    if target.exists() and not arguments.replace:
        raise CommandError(f"{target}: is there already; another name, or --replace")
    with _book(arguments) as book:
        pages = book.pages()
    text = writers.get(target.suffix, to_json)(pages)
    if arguments.file == "-":
        sys.stdout.write(text)
        return
    write_whole(target, text)
    count = len({page.key for page in pages})
    if arguments.json:
        print(tables.as_json({"file": str(target), "runs": count}))
    else:
        print(f"{count} run{'s' * (count != 1)} written to {target}")


def _add_import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="CSV or JSON; - reads what is piped in")
    parser.add_argument("--json", action="store_true", help="print JSON")


def _notebook_import(arguments: argparse.Namespace) -> None:
    from sim.runs import from_csv, from_json

    if arguments.file == "-":
        text, name = _piped_in(), "the text piped in"
    else:
        path = Path(arguments.file)
        text, name = read_text(path, LARGEST_EXPORT), str(path)
    read = from_json if text.lstrip("\ufeff \r\n\t")[:1] in ("{", "[") else from_csv
    pages = read(text, name)
    with _book(arguments, new=True) as book:
        taken = book.take(pages)
    print(tables.as_json(vars(taken)) if arguments.json else tables.taken_screen(taken))


def _piped_in() -> str:
    try:
        return sys.stdin.read()
    except UnicodeDecodeError:
        raise CommandError("the text piped in is not UTF-8") from None


def _add_backup_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help="default: beside it")
    parser.add_argument("--json", action="store_true", help="print JSON of what was done")


def _notebook_backup(arguments: argparse.Namespace) -> None:
    from datetime import datetime

    path = _book_path(arguments)
    beside = path.with_name(f"{path.stem}-{datetime.now():%Y-%m-%d-%H%M%S}{path.suffix}")
    target = arguments.file or beside
    with _book(arguments) as book:
        book.backup(target)
    told = tables.as_json({"file": str(target)}) if arguments.json else f"backed up to {target}"
    print(told)


def _add_review_arguments(parser: argparse.ArgumentParser) -> None:
    _add_pick_arguments(parser)
    parser.add_argument(
        "--nights", type=int, default=NIGHTS_SHOWN, metavar="N",
        help=f"how many of the last nights to tell run by run (default {NIGHTS_SHOWN}; 0: all)",
    )  # fmt: skip
    add_output_arguments(parser)


def _notebook_review(arguments: argparse.Namespace) -> None:
    from sim.nights import nights, studies

    surface, arguments.condition = arguments.condition, None
    with _book(arguments) as book:
        pages = _picked(book.runs(), arguments)
    found = nights(pages)
    # A change of surface is seen only with all the runs of a night, so it is picked afterwards.
    taught = [study for study in studies(found) if surface in (None, study.condition)]
    if surface is not None:
        found = [n for n in found if any(page.run.condition == surface for page in n.runs)]
    screen = Screen(arguments.units)
    if arguments.json:
        print(tables.as_json(tables.review_json(found, taught), None))
    else:
        shown = found[-arguments.nights :] if arguments.nights > 0 else found
        print(tables.review_screen(shown, len(found) - len(shown), taught, screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.notebook_pictures(taught, screen), arguments.out, arguments.show)


def _add_add_arguments(parser: argparse.ArgumentParser) -> None:
    _add_run_arguments(parser)
    add_output_arguments(parser, pictures=False)


NOTEBOOK_ACTIONS: dict[str, Command] = {
    "add": Command(
        "Write a run down.",
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left --drifts-out yes",
        _add_add_arguments,
        _notebook_add,
    ),
    "list": Command(
        "Find runs.",
        "rollpath notebook list --track Ropewalk --since 2026-05-01",
        _add_list_arguments,
        _notebook_list,
    ),
    "show": Command(
        "All of one run, and what it was before edits.",
        "rollpath notebook show 12",
        _add_number_argument,
        _notebook_show,
    ),
    "edit": Command(
        "Correct a run; the old values stay in the book.",
        "rollpath notebook edit 12 --best 17.64s",
        _add_edit_arguments,
        _notebook_edit,
    ),
    "export": Command(
        "Write the whole book as CSV or JSON.",
        "rollpath notebook export season.csv",
        _add_export_arguments,
        _notebook_export,
    ),
    "import": Command(
        "Take runs from a CSV or JSON; what is there already stays.",
        "rollpath notebook import season.csv",
        _add_import_arguments,
        _notebook_import,
    ),
    "backup": Command(
        "Copy the book to another file.",
        "rollpath notebook backup notebook-2026.db",
        _add_backup_arguments,
        _notebook_backup,
    ),
    "review": Command(
        "What changed between runs, and what the nights teach.",
        "rollpath notebook review --car 'Number 31' --condition slick --out pictures",
        _add_review_arguments,
        _notebook_review,
    ),
}
# survey


def _add_survey(parser: argparse.ArgumentParser) -> None:
    length = quantity_of("length")
    parser.add_argument("log", nargs="?", metavar="LOG", help="position log, GPX or CSV")
    tape = parser.add_argument_group(
        "a tape: lay it as a chord inside the corner, both ends on the inside edge, and measure "
        "the gap in the middle; give several and they are averaged"
    )
    tape.add_argument("--chord", type=length, action="append", metavar="C", help="turns 1-2")
    tape.add_argument("--gap", type=length, action="append", metavar="G", help="such as 6ft-9in")
    tape.add_argument("--chord-34", type=length, action="append", metavar="C", help="turns 3-4")
    tape.add_argument("--gap-34", type=length, action="append", metavar="G")
    sizes = parser.add_argument_group("paced, wheeled or read somewhere")
    sizes.add_argument("--straight", type=length, metavar="L", help="each, along the inside edge")
    sizes.add_argument("--lap", type=length, metavar="L", help="length of a lap, such as 1/4mile")
    sizes.add_argument("--width", type=length, metavar="W", help="inside edge to outside edge")
    sizes.add_argument("--bow", type=length, default=0.0, metavar="B",
                       help="how far the straights bow out (a position log finds it)")  # fmt: skip
    line = parser.add_argument_group("the line walked, driven or measured along")
    line.add_argument("--line", choices=SURVEY_LINES, help="of a log (default inside) or a lap")
    line.add_argument("--from-inside", type=length, metavar="D",
                      help="its distance from the inside edge, instead of --line")  # fmt: skip
    files = parser.add_argument_group("files to write")
    files.add_argument("--write", type=Path, metavar="TRACK", help="track file")
    files.add_argument("--name", help="of the track (default: from the file's name)")
    files.add_argument("--path", type=Path, metavar="CSV", help="the measured path, as points")
    files.add_argument("--replace", action="store_true", help="files that are there already")
    add_output_arguments(parser)


SURVEY_LINES = ("inside", "outside", "groove")
LONGEST_LAP = 15840 * FOOT


def _survey(arguments: argparse.Namespace) -> None:
    try:
        _show_survey(arguments, _surveyed(arguments))
    except (SurveyError, PathError) as error:
        where = f"{arguments.log}: " if arguments.log else ""
        raise CommandError(f"{where}{error}") from None


def _show_survey(arguments: argparse.Namespace, survey: Survey) -> None:
    """Write, print and draw what was asked for."""
    writes = _survey_files(arguments, survey)
    screen = Screen(arguments.units)
    for path, text in writes.items():
        write_new(path, text, arguments.replace)
    if arguments.json:
        print(tables.as_json(tables.survey_json(survey)))
    else:
        print(tables.survey_screen(survey, list(writes), screen))
    if arguments.out or arguments.show:
        from sim import plots

        plots.deliver(plots.survey_pictures(survey, screen), arguments.out, arguments.show)


def _surveyed(arguments: argparse.Namespace) -> Survey:
    """The survey by whichever way of measuring was typed."""
    chords = _chords(arguments, ""), _chords(arguments, "_34")
    _check_sizes(arguments)
    if arguments.log is not None:
        if any(chords) or arguments.lap or arguments.straight or arguments.bow:
            raise CommandError("a log finds radii, straight and bow: give it --width and --line")
        offset, error = _log_line(arguments)
        path = find_file(arguments.log, "position log")
        return survey_by_log(load_position_log(path), arguments.width, offset, error)
    along = _lap_line(arguments)
    sizes = arguments.straight, arguments.width, arguments.bow
    if any(chords):
        return survey_by_chords(chords, *sizes, arguments.lap, along)
    if arguments.lap is None or arguments.straight is None:
        raise CommandError(
            "give a position log, or --chord and --gap with --straight, or --lap and --straight"
        )
    return survey_by_lap(arguments.lap, *sizes, along)


def _check_sizes(arguments: argparse.Namespace) -> None:
    """Hold what was typed to the ranges of a track file."""
    typed = {key: getattr(arguments, key) for key in ("straight", "width", "bow")}
    try:
        check_measurements({key: value for key, value in typed.items() if value is not None})
    except TrackError as error:
        raise CommandError(f"--{error.key}: {error}") from None
    if arguments.lap is not None and not 50 * FOOT <= arguments.lap <= LONGEST_LAP:
        raise CommandError("--lap: expected a length between 50 ft and 3 miles")
    if arguments.from_inside is not None and not 0 <= arguments.from_inside <= 300 * FOOT:
        raise CommandError("--from-inside: expected a length of 0 to 300 ft")


def _chords(arguments: argparse.Namespace, end: str) -> list[tuple[float, float]]:
    """The chords of one end with their gaps; one chord may serve several gaps."""
    chords = getattr(arguments, f"chord{end}") or []
    gaps = getattr(arguments, f"gap{end}") or []
    if len(chords) == 1:
        chords = chords * len(gaps)
    if len(chords) != len(gaps) or (not gaps and getattr(arguments, f"chord{end}")):
        words = f"--chord{end} and --gap{end}".replace("_", "-")
        raise CommandError(f"{words}: give as many gaps as chords, or several gaps of one chord")
    return list(zip(chords, gaps, strict=True))


def _log_line(arguments: argparse.Namespace) -> tuple[float, float]:
    """How far outside the inside edge the line of a log lies, and how well that is known."""
    width, line = arguments.width, arguments.line or "inside"
    if arguments.from_inside is not None:
        return arguments.from_inside, LINE_ERROR
    if line == "inside":
        return 0.0, LINE_ERROR
    if width is None:
        raise CommandError(f"--line {line} needs --width to know how far it is from the inside")
    return (width, LINE_ERROR) if line == "outside" else (0.5 * width, 0.25 * width)


def _lap_line(arguments: argparse.Namespace) -> float | None:
    """The same for a lap length; None when it was not said."""
    if arguments.from_inside is None and arguments.line is None:
        return None
    offset: float = _log_line(arguments)[0]
    return offset


def _survey_files(arguments: argparse.Namespace, survey: Survey) -> dict[Path, str]:
    """The files that were asked for and their text, nothing written yet."""
    writes: dict[Path, str] = {}
    path: Path | None = arguments.path
    if arguments.write is not None:
        words = re.sub(r"[\s_-]+", " ", arguments.write.stem).strip().title()
        track = survey.track(arguments.name or words or "Track")
        sizes = ("inside_radius", "straight", "width", "bow", "blend")
        check_measurements({key: getattr(track, key) for key in sizes})
        writes[arguments.write] = track_text(track, tables.survey_remarks(survey))
        if path is None and survey.fit is not None and not survey.fit.is_oval:
            path = arguments.write.with_name(f"{arguments.write.stem}-path.csv")
    if path is not None:
        if survey.fit is None:
            raise CommandError("--path needs a position log; a tape measures no path")
        curve = survey.fit.path
        writes[path] = points_text(curve.x[:-1], curve.y[:-1])
    for one in writes:
        check_new(one, arguments.replace)
    return writes


COMMANDS: dict[str, Command] = {
    "baseline": Command(
        "Which rear stagger to start with on a track, and why.",
        "rollpath baseline tracks/saucer-hill.yaml cars/number-31.yaml --condition slick",
        _add_baseline,
        _baseline,
    ),
    "compare": Command(
        "How tracks, surfaces and lines differ in what they ask for, side by side.",
        "rollpath compare tracks/ropewalk.yaml tracks/saucer-hill.yaml --car cars/number-31.yaml "
        "--conditions heavy,slick --grooves middle,rounded,diamond",
        _add_compare,
        _compare,
    ),
    "debrief": Command(
        "Where on the lap the axle scrubbed, one page for the driver; more, less, or not stagger.",
        "rollpath debrief tracks/saucer-hill.yaml cars/number-31.yaml --condition slick "
        "--wheel left --drifts-out yes --wheelspin no --log run.csv --out sheet.pdf",
        _add_debrief,
        _debrief,
    ),
    "bite": Command(
        "What a change does on the scales, and what holds bite.",
        "rollpath bite cars/number-31.yaml --rear-stagger 1in --hold front",
        _add_bite,
        _bite,
    ),
    "feel": Command(
        "What the driver feels of a rear stagger in the wheel, and where on the lap.",
        "rollpath feel tracks/ropewalk.yaml cars/number-31.yaml --stagger 1in,2in,3in "
        "--condition slick",
        _add_feel,
        _feel,
    ),
    "demo-data": Command(
        "Copy the invented demo tracks and cars, to try things on.",
        "rollpath demo-data my-tracks",
        _add_demo_data,
        _demo_data,
    ),
    "completion": Command(
        "Let the shell complete commands and options.",
        "rollpath completion bash >> ~/.bashrc",
        _add_completion,
        _completion,
    ),
    "tires": Command(
        "Which four tires of the rack to bolt on.",
        "rollpath tires cars/racks/number-31.yaml --car cars/number-31.yaml --stagger 2-1/4in",
        _add_tires,
        _tires,
    ),
    "tires tape": Command(
        "Write down a taping of a tire of the rack.",
        'rollpath tires tape rack.yaml R7 "86 1/4 in" "86 3/8 in" "86 1/4 in" --pressure 18psi',
        _add_tape,
        _tape,
    ),
    "notebook": Command(
        "The record of nights: write runs down, find them, and see what they teach.",
        "rollpath notebook add --track tracks/ropewalk.yaml --car cars/number-31.yaml "
        "--condition slick --run feature --best 17.84s --wheel left; rollpath notebook review",
        _add_notebook,
        _notebook,
    ),
    **{f"notebook {name}": _of_notebook(action) for name, action in NOTEBOOK_ACTIONS.items()},
    "survey": Command(
        "The shape of a track from a tape, a lap length, or a phone's position log.",
        "rollpath survey --chord 100ft --gap 6ft-9in --straight 300ft --width 45ft "
        "--write tracks/new.yaml",
        _add_survey,
        _survey,
    ),
}
