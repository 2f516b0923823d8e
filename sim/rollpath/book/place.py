"""Where a user's data lies, told without opening any of it."""

import os
import sys
from collections.abc import Mapping
from pathlib import Path


def data_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """The folder of this program in the user's data folder.

    Raises
    ------
    RuntimeError
        If the user has no home that the system knows of.
    """
    home = Path.home()
    if sys.platform == "win32":
        base = Path(environment.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:  # XDG Base Directory Specification
        base = Path(environment.get("XDG_DATA_HOME") or home / ".local" / "share")
    return base / "rollpath"
