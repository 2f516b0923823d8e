"""The command: reads what was typed, calls the rooms, prints what they found. No physics here."""

import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path

from rollpath import __version__
from rollpath.cli.arguments import Command, CommandError, Parser, nearest
from rollpath.files.schema import LONGEST_FAULT, FileError
from rollpath.lap import LapError
from rollpath.scales.twist import BiteError
from rollpath.track import TrackError
from rollpath.units import QuantityError, shorten

BAD_INPUT = 2
"""Exit status when what was typed or filed cannot be used."""
FIRST_WORDS = (
    "survey", "baseline", "compare", "bite", "tires", "feel", "debrief", "notebook",
    "demo-data", "completion",
)  # fmt: skip
"""First words of the commands, as a race night goes; each has a module, loaded when asked."""


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
    name, command = _find_command(typed)
    parser = Parser(
        prog=f"rollpath {name}",
        description=command.question,
        epilog=f"example: {command.example}",
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    command.run(parser.parse_intermixed_args(typed[len(name.split()) :]))


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
    module = import_module(f"rollpath.cli.{first_word.replace('-', '_')}")
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
