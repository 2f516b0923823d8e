"""Make the project's own environment and run its commands in it; shared by the other scripts.

Uses only the standard library, so that it runs on a fresh machine. The project itself is not
installed: what pyproject.toml asks for is, and commands run with `sim` on the path.
"""

import os
import subprocess
import sys
import venv
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / ".venv"
OLDEST = (3, 11)
STAMP = FOLDER / "made-from"
"""Written last: what is installed. An environment without it was left half made."""


def python(extras: Sequence[str] = ()) -> Path:
    """The environment's Python, with the extras of pyproject.toml that are named.

    The environment is made anew when it was left half made, and added to when something is missing.
    Once it is made no network is needed. What goes wrong ends the script in one line.
    """
    if sys.version_info < OLDEST:
        sys.exit(f"rollpath needs Python {'.'.join(map(str, OLDEST))} or newer")
    inside = FOLDER / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    wanted = requirements(extras)
    there = STAMP.read_text(encoding="utf-8").splitlines() if STAMP.is_file() else []
    if inside.exists() and set(wanted) <= set(there):
        return inside
    print("making the environment in .venv (once; needs pip's package index)", flush=True)
    try:
        STAMP.unlink(missing_ok=True)
        if not there or not inside.exists():
            venv.create(FOLDER, with_pip=True, clear=True)
        _install(inside, wanted)
        STAMP.write_text("\n".join(sorted({*wanted, *there})) + "\n", encoding="utf-8")
    except KeyboardInterrupt:
        sys.exit("stopped; run it again and it starts over")
    except (OSError, subprocess.SubprocessError) as error:
        sys.exit(f"the environment could not be made: {_reason(error)}")
    return inside


def requirements(extras: Sequence[str]) -> list[str]:
    """What pyproject.toml asks for to run, and for the extras named."""
    import tomllib  # here, so that an older Python gets as far as being told

    with (ROOT / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    of_extras = project.get("optional-dependencies", {})
    asked = [one for extra in extras for one in of_extras.get(extra, [])]
    return sorted({*project["dependencies"], *asked})


def _install(inside: Path, wanted: list[str]) -> None:
    install = [inside, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*install, *wanted], check=True, stderr=subprocess.PIPE, text=True,
                   encoding="utf-8", errors="replace")  # fmt: skip


def _reason(error: Exception) -> str:
    """The line in which pip or the maker of environments says what is wrong."""
    said = str(getattr(error, "stderr", "") or getattr(error, "output", "") or error)
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    return next((line for line in lines if line.startswith("ERROR:")), (lines or [repr(error)])[-1])


def run(*words: str | Path, extras: Sequence[str] = ()) -> int:
    """Run a command of the environment's Python from the top folder; returns its status."""
    # One thread each: the arrays are small, and threads that wait for each other only cost time.
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    path = os.pathsep.join(filter(None, [str(ROOT / "sim"), os.environ.get("PYTHONPATH", "")]))
    inside = python(extras)
    try:
        environment = {**os.environ, **threads, "PYTHONPATH": path}
        return subprocess.run([inside, *words], cwd=ROOT, env=environment).returncode
    except KeyboardInterrupt:
        sys.exit(130)
