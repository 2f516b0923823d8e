"""The README: every command line in it runs, and the output it shows is what is printed."""

import re
import shlex
from pathlib import Path

import pytest
from rollpath.cli import main

README = Path("README.md").read_text()
PLAIN = re.findall(r"^    rollpath (.+)$", README, re.MULTILINE)


def shown():
    """Each command of the first night with the lines shown below it, in order."""
    block = re.compile(r"^    \$ rollpath (.+)\n((?:    (?!\$ ).*\n)*)", re.MULTILINE)
    return [(words, output.splitlines()) for words, output in block.findall(README)]


@pytest.fixture
def night(tmp_path, monkeypatch, capsys):
    """A folder with the demo data, and a notebook of its own."""
    assert main(["demo-data", str(tmp_path / "night")]) == 0
    monkeypatch.chdir(tmp_path / "night")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    capsys.readouterr()
    return tmp_path / "night"


def test_the_first_night_runs_and_prints_what_is_shown(night, capsys):
    commands = shown()
    assert len(commands) >= 10
    for words, lines in commands:
        if words.startswith("demo-data"):
            continue
        status = main(shlex.split(words))
        printed = capsys.readouterr()
        assert status == 0, (words, printed.err)
        for line in lines:
            if line.strip() and line.strip() != "...":
                assert line[4:].rstrip() in printed.out, (words, line, printed.out)


def test_every_other_command_line_runs_after_it(night, capsys):
    assert len(PLAIN) > 15
    for words, _ in shown()[1:]:
        main(shlex.split(words))
    for words in PLAIN:
        status = main(shlex.split(words))
        assert status == 0, (words, capsys.readouterr().err)


def test_the_job_stands_on_top_and_the_cautions_near_it():
    assert README.startswith("# Rollpath\n\nA dirt-oval car with a locked rear axle")
    top = README[:2500]
    for caution in (
        "Stands under the car",
        "tire maker",
        "wheel nuts",
        "rule book",
        "First laps slow",
    ):
        assert caution in top
