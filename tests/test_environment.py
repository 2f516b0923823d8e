"""The environment of the scripts: made whole, made anew when it was left half made."""

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPTS = Path(__file__).parent.parent / "scripts"


@pytest.fixture
def environment(tmp_path, monkeypatch):
    """The script's module with a folder of its own, and what it made and installed."""
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import environment

    folder = tmp_path / "ein Ordner für Žižka" / ".venv"
    monkeypatch.setattr(environment, "FOLDER", folder)
    monkeypatch.setattr(environment, "STAMP", folder / "made-from")
    made, installed = [], []

    def create(where, with_pip, clear):
        assert with_pip and clear
        made.append(where)
        python = where / "bin" / "python"
        python.parent.mkdir(parents=True, exist_ok=True)
        python.write_text("")

    monkeypatch.setattr(environment.venv, "create", create)
    monkeypatch.setattr(environment, "_install", lambda _, wanted: installed.append(wanted))
    monkeypatch.setattr(sys, "platform", "linux")
    return environment, made, installed


def test_it_is_made_once_and_then_nothing_is_fetched(environment):
    module, made, installed = environment
    inside = module.python()
    assert inside == module.python()
    assert (len(made), len(installed)) == (1, 1)
    assert any(one.startswith("numpy") for one in installed[0])
    assert not any(one.startswith("pytest") for one in installed[0])


def test_an_extra_is_added_to_what_is_there(environment):
    module, made, installed = environment
    module.python()
    module.python(("test",))
    module.python()
    assert (len(made), len(installed)) == (1, 2)
    assert any(one.startswith("pytest") for one in installed[1])


def test_ctrl_c_while_it_is_made_costs_nothing_but_the_time(environment, monkeypatch):
    module, made, installed = environment

    def interrupted(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(module, "_install", interrupted)
        with pytest.raises(SystemExit, match="run it again"):
            module.python()
    module.python()
    assert (len(made), len(installed)) == (2, 1)


def test_what_pip_says_is_told_in_one_line(environment, monkeypatch):
    module, _, _ = environment

    def failed(*_):
        said = "WARNING: retrying\nERROR: No matching distribution found for numpy\nmore"
        raise subprocess.CalledProcessError(1, ["pip"], stderr=said)

    monkeypatch.setattr(module, "_install", failed)
    with pytest.raises(SystemExit) as stopped:
        module.python()
    assert stopped.value.code == (
        "the environment could not be made: ERROR: No matching distribution found for numpy"
    )
