"""The README: every command line in it runs, at three widths, short and unbroken."""

import re
import shlex
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.guide import TOPICS

README = (Path(__file__).resolve().parent.parent / "README.md").read_text()
NIGHT, DEMO = README.partition("To try it on invented data")[::2]
LONGEST = 24


def commands(text):
    """The words of each command line shown, comments left out."""
    return [
        shlex.split(line, comments=True)[1:]
        for line in re.findall(r"^    \$ (rollpath.*)$", text, re.M)
    ]


def run_all(lines, width, capsys):
    for words in lines:
        status = main(words)
        printed = capsys.readouterr()
        assert status == 0, (words, printed.err)
        told = printed.out.splitlines()
        wide = [line for line in told if len(line) > width and " " in line.strip()]
        assert not wide, (words, wide)
        assert len(told) <= LONGEST, (words, len(told), printed.out)


@pytest.mark.parametrize("width", [40, 80, 120])
def test_the_first_night_runs_as_shown(folder, width, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    lines = commands(NIGHT)
    assert len(lines) >= 10
    run_all(lines, width, capsys)


@pytest.mark.parametrize("width", [40, 80, 120])
def test_the_demo_runs_as_shown(folder, width, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    first, *lines = commands(DEMO)
    assert main([first[0], "."]) == 0
    capsys.readouterr()
    run_all(lines, width, capsys)


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


def test_it_is_short_and_names_every_page_of_the_guide():
    assert len(README.splitlines()) <= 150
    assert all(f"`{topic}`" in README for topic in TOPICS)


def test_the_figures_kept_are_those_it_shows():
    root = Path(__file__).resolve().parent.parent
    shown = set(re.findall(r"\((scripts/figures/[\w-]+\.png)\)", README))
    kept = {path.relative_to(root).as_posix() for path in root.glob("scripts/figures/*")}
    assert shown == kept
