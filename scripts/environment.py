"""Make the project's own environment and run its commands in it; shared by the other scripts.

Uses only the standard library, so that it runs on a fresh machine.
"""

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / ".venv"
OLDEST = (3, 11)


def python() -> Path:
    """The environment's Python; the environment is made when it is missing or out of date."""
    if sys.version_info < OLDEST:
        sys.exit(f"rollpath needs Python {'.'.join(map(str, OLDEST))} or newer")
    inside = FOLDER / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    stamp = FOLDER / "made-from"
    if inside.exists() and stamp.exists() and stamp.read_text() == wanted:
        return inside
    print("making the environment in .venv (once; needs pip's package index)", flush=True)
    if not inside.exists():
        venv.create(FOLDER, with_pip=True)
    install = [inside, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*install, "-e", ".[test]"], cwd=ROOT, check=True)
    stamp.write_text(wanted)
    return inside


def run(*words: str | Path) -> int:
    """Run a command of the environment's Python from the top folder; returns its status."""
    # One thread each: the arrays are small, and threads that wait for each other only cost time.
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run([python(), *words], cwd=ROOT, env={**os.environ, **threads}).returncode
