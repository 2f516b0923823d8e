"""The command: reads what was typed, calls the rooms, prints what they found. No physics here."""

import contextlib
import io
import os
import re
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from typing import IO

from rollpath import __version__
from rollpath.cli.arguments import Command, CommandError, Parser, nearest
from rollpath.errors import RollpathError
from rollpath.files.schema import LONGEST_FAULT, DoubtfulError, FileError
from rollpath.files.slips import taken_as_right
from rollpath.track import TrackError
from rollpath.units import is_bare, is_unit, shorten

BAD_INPUT = 2
"""Exit status when what was typed or filed cannot be used."""
FAILED = 1
"""Exit status when the answer could not be shown."""
INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells have it: 128 and the number of the signal."""
FIRST_WORDS = (
    "trailer", "tonight", "bolt", "air", "pads", "undo",
    "survey", "baseline", "compare", "bite", "tires", "plan", "feel", "debrief", "notebook",
    "guide", "demo-data", "completion",
)  # fmt: skip
"""First words of the commands, as a race night goes; each has a module, loaded when asked."""


_TOGETHER = {"tonight": "trailer", "air": "bolt", "pads": "bolt", "undo": "bolt"}
"""Words whose commands stand in the module of another."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns its exit status. Nothing that happens prints a traceback."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    try:
        _show_what_it_can(sys.stdout, sys.stderr)
        status = _status_of(typed)
        if sys.stdout is not None:
            sys.stdout.flush()
    except KeyboardInterrupt:
        return _leave(INTERRUPTED)
    except BrokenPipeError:  # whoever read the screen has gone, and wants no more of it
        return _leave(0)
    except OSError as error:
        _leave(0)
        return _complain([f"the screen cannot be written: {error.strerror or error}"], FAILED)
    return status


def _status_of(typed: list[str]) -> int:
    try:
        _run(typed)
    except DoubtfulError as error:
        if _is_right(error.lines):
            with taken_as_right():
                return _status_of(typed)
        return _complain(error.lines)
    except FileError as error:
        return _complain(error.lines)
    except TrackError as error:
        return _complain([f"{error.key}: {error}"])
    except RollpathError as error:
        return _complain([str(error)])
    return 0


def _is_right(lines: list[str]) -> bool:
    """Ask about doubtful values where a person sits at the screen; else tell of --yes."""
    if sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty():
        _complain(lines)
        print("is that right all the same? (y, n) ", end="", file=sys.stderr, flush=True)
        answer = sys.stdin.readline().strip().lower() in ("y", "yes")
        lines[:] = [] if answer else ["nothing done; put it right, or say --yes"]
        return answer
    lines.append("if that is right, say --yes")
    return False


def _show_what_it_can(*screens: IO[str] | None) -> None:
    """A letter that a screen does not know is shown as a question mark, and ends nothing."""
    for screen in screens:
        if isinstance(screen, io.TextIOWrapper):
            screen.reconfigure(errors="replace")


def _leave(status: int) -> int:
    """Drop what is still to be written, which would only fail again as the interpreter ends."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        with contextlib.suppress(OSError, ValueError), open(os.devnull, "w") as nowhere:  # noqa: PTH123
            os.dup2(nowhere.fileno(), sys.stdout.fileno())
    return status


def _complain(lines: list[str], status: int = BAD_INPUT) -> int:
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
    if not typed or typed[0] in ("-h", "--help", "help"):
        print(_overview())
        return
    if typed[0] in ("-V", "--version"):
        print(f"rollpath {__version__}")
        return
    _refuse_split_quantity(typed)
    name, command = _find_command(typed)
    parser = Parser(
        prog=f"rollpath {name}",
        description=command.question,
        epilog=f"example: {command.example}",
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    arguments = parser.parse_intermixed_args(typed[len(name.split()) :])
    with taken_as_right() if getattr(arguments, "yes", False) else contextlib.nullcontext():
        command.run(arguments)
    if getattr(arguments, "note", "") and not arguments.json:
        print(f"({arguments.note})")


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
    known = all_commands()
    near = nearest(typed[0], [*known, "--version", "--help"])
    hint = f'did you mean "{near}"?' if near else f"commands: {', '.join(known)}"
    raise CommandError(f'no command "{typed[0]}"; {hint}')


def _refuse_misspelt_action(typed: list[str], commands: Mapping[str, Command]) -> None:
    """``tires tpae`` would be taken for a rack file; say what was meant, unless there is one."""
    if len(typed) < 2 or " ".join(typed[:2]) in commands or typed[1].startswith("-"):
        return
    actions = [name.partition(" ")[2] for name in commands if " " in name]
    near = nearest(typed[1], actions, 0.6)
    if near and not Path(typed[1]).exists():
        raise CommandError(f"invalid choice: '{typed[1]}'; did you mean \"{typed[0]} {near}\"?")


def commands_of(first_word: str) -> dict[str, Command]:
    """The commands that begin with one word, from their module."""
    room = _TOGETHER.get(first_word, first_word.replace("-", "_"))
    module = import_module(f"rollpath.cli.{room}")
    commands: dict[str, Command] = module.COMMANDS
    return commands


def all_commands() -> dict[str, Command]:
    """Every command by its name, in the order of the overview."""
    return {name: one for word in FIRST_WORDS for name, one in commands_of(word).items()}


def _overview() -> str:
    commands = all_commands()
    width = max(map(len, commands)) + 2
    lines = [f"  {name:<{width}}{command.question}" for name, command in commands.items()]
    return "\n".join(
        ["rollpath: rear stagger for a locked axle on a dirt oval", "", *lines, "",
         "rollpath COMMAND --help shows an example and every option."]
    )  # fmt: skip
