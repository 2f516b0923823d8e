"""`rollpath completion`: what lets the shell complete commands and options."""

import argparse

from rollpath.cli.arguments import Command, Parser
from rollpath.cli.table import all_commands


def _add_completion(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=("bash",), help="put the output into your ~/.bashrc")


def _completion(arguments: argparse.Namespace) -> None:
    commands = {name: one for name, one in all_commands().items() if " " not in name}
    cases = []
    for name, command in commands.items():
        parser = Parser(prog=name, allow_abbrev=False)
        command.add_arguments(parser)
        options = [flag for flag in parser.flags if flag.startswith("--")]
        cases.append(f'    {name}) words="{" ".join(options)}" ;;')
    lines = [
        "_rollpath() {",
        '  local words="" word="${COMP_WORDS[COMP_CWORD]}"',
        '  case "${COMP_WORDS[1]}" in',
        *cases,
        "  esac",
        f'  [ "$COMP_CWORD" = 1 ] && words="{" ".join(commands)}"',
        '  COMPREPLY=($(compgen -W "$words" -- "$word") $(compgen -f -- "$word"))',
        "}",
        "complete -o filenames -F _rollpath rollpath",
    ]
    print("\n".join(lines))


COMMANDS: dict[str, Command] = {
    "completion": Command(
        "rollpath completion bash >> ~/.bashrc",
        _add_completion,
        _completion,
    ),
}
