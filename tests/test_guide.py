"""The guide: every topic has its page, which fits phone and terminal; that on Python runs."""

import doctest

import pytest
from rollpath.cli import main
from rollpath.files.demo import copy_demo_data
from rollpath.guide import TOPICS, page


@pytest.mark.parametrize("topic", TOPICS)
def test_every_topic_has_a_page_with_a_heading(topic):
    text = page(topic)
    assert text.startswith("# ")
    assert len(text.split()) > 60


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_fits_the_terminal(topic, width, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    assert main(["guide", topic]) == 0
    lines = capsys.readouterr().out.splitlines()
    prose = [line for line in lines if not line.startswith("    ") and " " in line.strip()]
    assert max(map(len, prose)) <= width


def test_topics_are_listed_and_a_slip_is_answered(capsys):
    assert main(["guide"]) == 0
    out = capsys.readouterr().out
    assert all(topic in out for topic in TOPICS)
    assert main(["guide", "metod"]) == 2
    assert 'did you mean "method"' in capsys.readouterr().err


def test_the_page_on_python_runs(tmp_path, monkeypatch):
    copy_demo_data(tmp_path / "demo")
    monkeypatch.chdir(tmp_path / "demo")
    test = doctest.DocTestParser().get_doctest(page("python"), {}, "python.md", None, 0)
    runner = doctest.DocTestRunner()
    runner.run(test)
    assert runner.summarize(verbose=False) == doctest.TestResults(0, len(test.examples))
