"""What all tests share: no screen, no figure left open, the same drawn cases every time."""

import json
import os
import sys
from pathlib import Path

import matplotlib
import pytest
from hypothesis import settings

matplotlib.use("Agg")

# Children of a test find the package without an installation, and lay out screens as wide as ours.
os.environ["PYTHONPATH"] = str(Path(__file__).resolve().parent.parent / "sim")
os.environ["COLUMNS"] = "120"

# The same cases every time, so that a change is what turns a test red; HYPOTHESIS_PROFILE=wild
# draws new ones.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wild", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(autouse=True)
def closed_figures():
    """Close what a test drew, so that the suite does not keep every picture in memory."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        import matplotlib.pyplot as plt

        plt.close("all")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder where commands run, and a user without data of his own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("ROLLPATH_TRAILER", raising=False)
    here = tmp_path / "pits"
    here.mkdir()
    monkeypatch.chdir(here)
    return here


@pytest.fixture
def app_of(folder):
    """Makes the pages of the folder, guarded as is asked."""
    from page_helpers import pages_of

    return lambda key="", look=False, **more: pages_of(folder, key, look, **more)


@pytest.fixture
def empty(app_of):
    """A phone before anything is set up."""
    from page_helpers import Phone

    return Phone(app_of())


@pytest.fixture
def phone(app_of, capsys):
    """A phone at a trailer that is set up."""
    from page_helpers import TYPED, Phone
    from rollpath.cli import main

    assert main(list(TYPED)) == 0
    capsys.readouterr()
    return Phone(app_of())


@pytest.fixture
def run(request, capsys):
    """Run the command that the test module names as COMMAND; its status, output and errors."""
    from rollpath.cli import main

    def run(*arguments: object) -> tuple[int, str, str]:
        status = main([request.module.COMMAND, *map(str, arguments)])
        out, err = capsys.readouterr()
        return status, out, err

    return run


@pytest.fixture
def read(run):
    """What that command prints as JSON."""

    def read(*arguments: object) -> dict:
        status, out, err = run(*arguments, "--json")
        assert (status, err) == (0, "")
        return json.loads(out)

    return read
