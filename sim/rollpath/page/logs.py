"""Logs that a phone sent: kept in the trailer under names of ours, never one that was typed."""

import hashlib
import re
from collections.abc import Callable
from pathlib import Path

from flask import request

from rollpath.errors import RollpathError
from rollpath.files.schema import FileError
from rollpath.files.writing import make_folder, write_whole
from rollpath.page.desk import Desk

LOG_NAME = re.compile(r"[0-9a-f]{16}")
MOST_LOGS = 200
"""Logs that a trailer holds."""


def log_path(table: Desk, name: str) -> Path | None:
    """The file of a log that was sent; None where there is none of that name."""
    if not LOG_NAME.fullmatch(name):
        return None
    path = table.folder / "logs" / f"{name}.log"
    return path if path.is_file() else None


def sent_data() -> bytes:
    """What the form's field ``file`` carried; empty when no file was picked."""
    sent = request.files.get("file")
    return b"" if sent is None else sent.read()


def keep_log(table: Desk, data: bytes, read: Callable[[Path], object]) -> str:
    """Keep a log, when it can be read, and return its name.

    Parameters
    ----------
    table : Desk
    data : bytes
    read : callable
        Reads the log at a path; what it raises says why the log is not kept.

    Raises
    ------
    RollpathError
        One line, without a path of this machine.
    """
    name = hashlib.sha256(data).hexdigest()[:16]
    path = table.folder / "logs" / f"{name}.log"
    is_new = not path.exists()
    try:
        if is_new and len(list(path.parent.glob("*.log"))) >= MOST_LOGS:
            raise FileError([f"{MOST_LOGS} logs are kept already; clear the folder logs first"])
        make_folder(path.parent)
        write_whole(path, data)
        read(path)
    except RollpathError as error:
        if is_new:
            path.unlink(missing_ok=True)
        raise FileError([of_the_log(error, path)]) from None
    return name


def of_the_log(error: RollpathError, path: Path) -> str:
    """What is wrong with a log, told of "the log" where the command names its file."""
    told = str(error).splitlines()[0]
    return re.sub(rf"{re.escape(str(path))}:(\d+): ", r"line \1 of the log: ", told).replace(
        f"{path}: ", "the log: "
    ).replace(str(path), "the log")  # fmt: skip
