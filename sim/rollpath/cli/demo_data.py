"""`rollpath demo-data`: the invented tracks and cars, copied."""

import argparse

from rollpath.cli.arguments import Command, path_of
from rollpath.files.demo import copy_demo_data


def _add_demo_data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", type=path_of, help="where to copy them")


def _demo_data(arguments: argparse.Namespace) -> None:
    for path in copy_demo_data(arguments.folder):
        print(path)


COMMANDS: dict[str, Command] = {
    "demo-data": Command(
        "rollpath demo-data my-tracks",
        _add_demo_data,
        _demo_data,
    ),
}
