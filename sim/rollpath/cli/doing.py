"""The trailer that a command works in."""

import argparse

from rollpath.cli.arguments import CommandError
from rollpath.cli.given import trailer_of
from rollpath.trailer.trailer import Trailer

NO_TRAILER = "no trailer here; rollpath trailer sets one up"


def trailer_here(arguments: argparse.Namespace) -> Trailer:
    """The trailer, which this command cannot do without.

    Raises
    ------
    CommandError
    """
    trailer = trailer_of(arguments)
    if trailer is None:
        raise CommandError(NO_TRAILER)
    return trailer
