"""What was typed, read as a command and run; what goes wrong is told in one line each."""

import contextlib
import re
import sys
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

from rollpath.cli.arguments import Command, CommandError, Parser, nearest
from rollpath.cli.table import FIRST_WORDS, QUESTIONS, commands_of, overview
from rollpath.errors import RollpathError
from rollpath.files.schema import LONGEST_FAULT, DoubtfulError, FileError
from rollpath.files.slips import taken_as_right
from rollpath.track import TrackError
from rollpath.units import is_bare, is_unit, shorten

BAD_INPUT = 2
"""Exit status when what was typed or filed cannot be used."""


def status_of(typed: list[str]) -> int:
    try:
        _run(typed)
    except DoubtfulError as error:
        if _is_right(error.lines):
            with taken_as_right():
                return status_of(typed)
        return complain(error.lines)
    except FileError as error:
        return complain(error.lines)
    except TrackError as error:
        return complain([f"{error.key}: {error}"])
    except RollpathError as error:
        return complain([str(error)])
    return 0


def _is_right(lines: list[str]) -> bool:
    """Ask about doubtful values where a person sits at the screen; else tell of --yes."""
    if sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty():
        complain(lines)
        print("is that right all the same? (y, n) ", end="", file=sys.stderr, flush=True)
        answer = sys.stdin.readline().strip().lower() in ("y", "yes")
        lines[:] = [] if answer else ["nothing done; put it right, or say --yes"]
        return answer
    lines.append("if that is right, say --yes")
    return False


def complain(lines: list[str], status: int = BAD_INPUT) -> int:
    with contextlib.suppress(OSError):
        for line in lines:
            for part in line.splitlines():
                print(f"rollpath: {shorten(part, LONGEST_FAULT)}", file=sys.stderr)
    return status


def _run(typed: list[str]) -> None:
    if not typed:
        from rollpath.cli.trailer import bare, here

        folder = here()
        if folder is not None:
            bare(folder)
            return
        print(overview())
        return
    _refuse_split_quantity(typed)
    name, command = _find_command(typed)
    parser = Parser(
        prog=f"rollpath {name}",
        description=QUESTIONS[name],
        epilog=f"example: {command.example}",
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    arguments = parser.parse_intermixed_args(typed[len(name.split()) :])
    with taken_as_right() if getattr(arguments, "yes", False) else contextlib.nullcontext():
        command.run(arguments)
    if getattr(arguments, "note", "") and not arguments.json:
        from rollpath.cli.given import note_line  # entered already by who left the note

        print(note_line(arguments))


def _refuse_split_quantity(typed: list[str]) -> None:
    """``2 1/2 in`` without quotes comes as three words; say so before any of them is misread."""
    for i, (word, after) in enumerate(pairwise(typed)):
        split = re.fullmatch(r"[+-]?\d+", word) and re.fullmatch(r"\d+/\d+\D*", after)
        if split or (is_bare(word) and is_unit(after)):
            parts = [word, after]
            if split and i + 2 < len(typed) and is_unit(typed[i + 2]):
                parts.append(typed[i + 2])
            short = "".join(parts) if not split else f"{word}-{''.join(parts[1:])}"
            raise CommandError(f"{' '.join(parts)}: put quotes round it, or write {short}")


def _find_command(typed: list[str]) -> tuple[str, Command]:
    """The command named by the first two words typed, or by the first."""
    first = typed[0].partition(" ")[0]
    commands = commands_of(first) if first in FIRST_WORDS else {}
    _refuse_misspelt_action(typed, commands)
    for name in (" ".join(typed[:2]), typed[0]):
        if name in commands:
            return name, commands[name]
    near = nearest(typed[0], [*QUESTIONS, "--version", "--help"])
    hint = f'did you mean "{near}"?' if near else f"commands: {', '.join(QUESTIONS)}"
    raise CommandError(f'no command "{typed[0]}"; {hint}')


def _refuse_misspelt_action(typed: list[str], commands: Mapping[str, Command]) -> None:
    """``tires tpae`` would be taken for a rack file; say what was meant, unless there is one."""
    if len(typed) < 2 or " ".join(typed[:2]) in commands or typed[1].startswith("-"):
        return
    actions = [name.partition(" ")[2] for name in commands if " " in name]
    near = nearest(typed[1], actions, 0.6)
    if near and not Path(typed[1]).exists():
        raise CommandError(f"invalid choice: '{typed[1]}'; did you mean \"{typed[0]} {near}\"?")
