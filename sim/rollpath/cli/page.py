"""`rollpath page`: the trailer on the phones around the laptop."""

import argparse
import importlib.util
from dataclasses import replace
from pathlib import Path

from rollpath.cli.arguments import Command, CommandError, path_of
from rollpath.cli.given import data_folder
from rollpath.trailer.place import find_trailer

PORT = 8420
NEEDED = ("flask", "jinja2", "waitress", "segno")
MISSING = 'rollpath page needs its extra: pip install "rollpath[page]"'


def port_of(text: str) -> int:
    """An argparse type that reads a port."""
    if not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f'expected a port from 1 to 65535, got "{text}"')
    return int(text)


def _add_page(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=port_of, default=PORT, metavar="N", help=f"default {PORT}")
    parser.add_argument(
        "--share", action="store_true",
        help="to the phones on the local network, with a key for the evening and a code to scan",
    )  # fmt: skip
    parser.add_argument("--look", action="store_true", help="pages can be read but change nothing")
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    parser.add_argument("--units", choices=("us", "si"), default="us", help="default us")
    parser.set_defaults(json=False)


def _page(arguments: argparse.Namespace) -> None:
    if any(importlib.util.find_spec(name) is None for name in NEEDED):
        raise CommandError(MISSING)
    from rollpath.page.desk import PHONE
    from rollpath.page.serve import serve

    folder = find_trailer(arguments.trailer, data=data_folder()) or Path.cwd()
    serve(
        folder, arguments.port, lambda line: print(line, flush=True),
        share=arguments.share, look=arguments.look,
        screen=replace(PHONE, system=arguments.units),
    )  # fmt: skip


COMMANDS: dict[str, Command] = {
    "page": Command(
        "rollpath page --share",
        _add_page,
        _page,
    ),
}
