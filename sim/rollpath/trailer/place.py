"""Where the trailer's folder lies, told without reading it."""

import os
from collections.abc import Mapping
from pathlib import Path

TONIGHT = "trailer.yaml"
"""The file that makes a folder a trailer's."""


def find_trailer(
    named: Path | None = None,
    environment: Mapping[str, str] = os.environ,
    here: Path | None = None,
    data: Path | None = None,
) -> Path | None:
    """The folder of the trailer: the one named, ``ROLLPATH_TRAILER``, this folder or one above it,
    or the user's data folder; None where there is none.

    Parameters
    ----------
    named : Path, optional
        Taken as it is, whether it is there or not.
    environment : mapping
    here : Path, optional
        The current folder.
    data : Path, optional
        Where the user's data lies.
    """
    if named is not None:
        return named
    if environment.get("ROLLPATH_TRAILER"):
        return Path(environment["ROLLPATH_TRAILER"])
    here = Path.cwd() if here is None else here
    around = [here, *here.parents, *([] if data is None else [data / "trailer"])]
    return next((folder for folder in around if (folder / TONIGHT).is_file()), None)
