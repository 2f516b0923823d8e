"""The command: reads what was typed, calls the rooms, prints what they found. No physics here.

What is said without entering any room, the overview and the version, is said from here alone: a
cold `rollpath` is felt.
"""

import gc
import io
import os
import sys

from rollpath import __version__
from rollpath.cli.table import overview

TYPE_CHECKING = False
if TYPE_CHECKING:  # a flag of our own: the `typing` module is a fifth of a cold `--help`
    from collections.abc import Sequence
    from typing import IO

FAILED = 1
"""Exit status when the answer could not be shown."""
SELDOM = 100_000
"""New objects between two looks for unused circles of them: what a short command makes is in use,
and looking through it all several times takes a tenth of a cold start."""
INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells have it: 128 and the number of the signal."""


def main(arguments: "Sequence[str] | None" = None) -> int:
    """Run the command; returns its exit status. Nothing that happens prints a traceback."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    if arguments is None:  # as a program, not called by one
        gc.set_threshold(SELDOM)
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
        from rollpath.cli.typed import complain

        _leave(0)
        return complain([f"the screen cannot be written: {error.strerror or error}"], FAILED)
    return status


def _status_of(typed: list[str]) -> int:
    if typed and typed[0] in ("-h", "--help", "help"):
        print(overview())
        return 0
    if typed and typed[0] in ("-V", "--version"):
        print(f"rollpath {__version__}")
        return 0
    from rollpath.cli.typed import status_of

    return status_of(typed)


def _show_what_it_can(*screens: "IO[str] | None") -> None:
    """A letter that a screen does not know is shown as a question mark, and ends nothing."""
    for screen in screens:
        if isinstance(screen, io.TextIOWrapper):
            screen.reconfigure(errors="replace")


def _leave(status: int) -> int:
    """Drop what is still to be written, which would only fail again as the interpreter ends."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        try:
            with open(os.devnull, "w") as nowhere:  # noqa: PTH123
                os.dup2(nowhere.fileno(), sys.stdout.fileno())
        except (OSError, ValueError):
            pass
    return status
