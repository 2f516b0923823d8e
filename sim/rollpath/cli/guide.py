"""`rollpath guide`: how and why, a page a topic."""

import argparse
import pydoc
import sys

from rollpath.cli.arguments import Command, CommandError, add_output_arguments, nearest, screen_of
from rollpath.guide import TOPICS, page
from rollpath.show.guide import page_screen, topics_screen
from rollpath.show.words import as_json


def _add_guide(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help=", ".join(TOPICS))
    add_output_arguments(parser, pictures=False)


def _guide(arguments: argparse.Namespace) -> None:
    screen, topic = screen_of(arguments), arguments.topic
    if topic is None:
        print(as_json({"topics": TOPICS}) if arguments.json else topics_screen(screen))
        return
    if topic not in TOPICS:
        near = nearest(topic, TOPICS)
        hint = f'did you mean "{near}"?' if near else f"topics: {', '.join(TOPICS)}"
        raise CommandError(f'no page "{topic}"; {hint}')
    if arguments.json:
        print(as_json({"topic": topic, "page": page(topic)}))
        return
    text = page_screen(page(topic), screen)
    if sys.stdout.isatty() and sys.stdin.isatty():
        pydoc.pager(text)
    else:
        print(text)


COMMANDS: dict[str, Command] = {
    "guide": Command(
        "rollpath guide method", _add_guide, _guide
    ),
}  # fmt: skip
