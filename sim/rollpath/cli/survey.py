"""`rollpath survey`: the shape of a track from what was measured."""

import argparse
import re
import sys
from pathlib import Path

from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    draw,
    find_file,
    path_of,
    quantity_of,
    screen_of,
    word_of,
)
from rollpath.files.logs import load_position_log, points_text, survey_fault
from rollpath.files.tracks import check_measurements, check_surveyed, track_text
from rollpath.files.writing import check_new, write_new
from rollpath.groove.measured import PathError
from rollpath.show.survey import (
    TAPE_HELP,
    chord_words,
    gap_words,
    straight_words,
    survey_json,
    survey_remarks,
    survey_screen,
)
from rollpath.show.words import as_json
from rollpath.survey.log import SurveyError
from rollpath.survey.measured import LINE_ERROR, survey_by_log
from rollpath.survey.result import Survey
from rollpath.survey.tape import survey_by_chords, survey_by_lap
from rollpath.track import TrackError
from rollpath.units import FOOT, QuantityError, parse

_Chords = tuple[list[tuple[float, float]], list[tuple[float, float]]]
SURVEY_LINES = ("inside", "outside", "groove")
LONGEST_LAP = 15840 * FOOT


def _add_survey(parser: argparse.ArgumentParser) -> None:
    length = quantity_of("length")
    parser.add_argument(
        "log", type=word_of, nargs="?", metavar="LOG", help="position log, GPX or CSV"
    )
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
    files.add_argument("--write", type=path_of, metavar="TRACK", help="track file")
    files.add_argument("--name", type=word_of, help="of the track (default: from the file's name)")
    files.add_argument("--path", type=path_of, metavar="CSV", help="the measured path, as points")
    files.add_argument("--replace", action="store_true", help="files that are there already")
    add_output_arguments(parser)


def _survey(arguments: argparse.Namespace) -> None:
    try:
        survey = _surveyed(arguments)
        check_surveyed(survey)
        _show_survey(arguments, survey)
    except (SurveyError, PathError) as error:
        where = f"{arguments.log}: " if arguments.log else ""
        words = survey_fault(error) if isinstance(error, SurveyError) else str(error)
        raise CommandError(f"{where}{words}") from None


def _show_survey(arguments: argparse.Namespace, survey: Survey) -> None:
    """Write, print and draw what was asked for."""
    writes = _survey_files(arguments, survey)
    screen = screen_of(arguments)
    for path, text in writes.items():
        write_new(path, text, arguments.replace)
    if arguments.json:
        print(as_json(survey_json(survey)))
    else:
        print(survey_screen(survey, list(writes), screen))
    if arguments.out or arguments.show:
        from rollpath.show.survey import survey_pictures

        draw(survey_pictures(survey, screen), arguments)


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
    if not any(chords) and arguments.lap is None and not arguments.json and sys.stdin.isatty():
        chords = _asked(arguments)
    sizes = arguments.straight, arguments.width, arguments.bow
    if any(chords):
        return survey_by_chords(chords, *sizes, arguments.lap, along)
    if arguments.lap is None:
        raise CommandError(
            "give a position log, or --chord and --gap with --straight, or --lap and --straight"
        )
    return survey_by_lap(arguments.lap, *sizes, along)


def _asked(arguments: argparse.Namespace) -> _Chords:
    """Chord, gap and straight asked in turn, and after each what the next inch is worth."""
    screen = screen_of(arguments)
    print(TAPE_HELP)
    chord = _ask("Chord laid inside turns 1-2, such as 100ft: ")
    gap = None
    if chord is not None:
        print(chord_words(chord, screen))
        gap = _ask("Gap in the middle of it, such as 6ft-9in: ")
    if chord is not None and gap is not None:
        print(gap_words(chord, gap, screen))
    if arguments.straight is None:
        arguments.straight = _ask("Straight along the inside edge, paced, such as 300ft: ")
    if arguments.straight is not None:
        print(straight_words(arguments.straight, screen))
    if chord is None or gap is None or arguments.straight is None:
        arguments.lap = _ask("Lap length if you know it, such as 1/4mile: ")
    _check_sizes(arguments)
    return ([(chord, gap)] if chord is not None and gap is not None else []), []


def _ask(question: str) -> float | None:
    """A length typed, asked again until it can be read; None for Enter."""
    while True:
        try:
            typed = input(question).strip()
        except EOFError:
            print()
            return None
        if not typed:
            return None
        try:
            return parse(typed, "length")
        except QuantityError as error:
            print(f"  {error}; Enter skips")


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
        writes[arguments.write] = track_text(track, survey_remarks(survey))
        if survey.fit is not None and not survey.fit.is_oval:
            assert survey.width is not None
            stem = arguments.write.stem
            path = path or arguments.write.with_name(f"{stem}-path.csv")
            middle = survey.fit.path_moved(0.5 * survey.width - _log_line(arguments)[0])
            groove = arguments.write.with_name(f"{stem}-groove.csv")
            writes[groove] = points_text(middle.x[:-1], middle.y[:-1])
    if path is not None:
        if survey.fit is None:
            raise CommandError("--path needs a position log; a tape measures no path")
        curve = survey.fit.path
        writes[path] = points_text(curve.x[:-1], curve.y[:-1])
    for one in writes:
        check_new(one, arguments.replace)
    return writes


COMMANDS: dict[str, Command] = {
    "survey": Command(
        "rollpath survey --chord 100ft --gap 6ft-9in --straight 300ft --width 45ft "
        "--write tracks/new.yaml",
        _add_survey,
        _survey,
    ),
}
