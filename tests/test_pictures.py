"""Pictures and pages of every command with names that no font or typesetter likes."""

import logging
import re
import warnings
from pathlib import Path

import pytest
from rollpath.cli import main

ODD = r"Big $^$ car $\frac$"
"""Dollar signs in pairs that would be mathematics, and wrong mathematics at that."""
SOURCES = ("tracks/saucer-hill.yaml", "cars/number-31.yaml", "cars/racks/number-31.yaml")
FOREIGN = "\N{CJK UNIFIED IDEOGRAPH-8ECA} 7"


@pytest.fixture
def named(tmp_path):
    """Copies of a track, a car and a rack, all under another name."""

    def copy(name):
        paths = []
        short = name.removeprefix("Big ").replace(" car ", "")
        for source in SOURCES:
            text = re.sub("(?m)^name: .*$", lambda _: f"name: '{name}'", Path(source).read_text())
            if "racks" in source:
                text = re.sub(r"\{id: (\S+),", lambda m: f"{{id: '{m[1]} {short}',", text)
            paths.append(tmp_path / source.replace("/", "-"))
            paths[-1].write_text(text)
        return [str(path) for path in paths]

    return copy


COMMANDS = {
    "baseline": ("TRACK", "CAR"),
    "compare": ("TRACK", "--car", "CAR", "--conditions", "heavy,slick", "--grooves", "middle"),
    "bite": ("CAR", "--rear-stagger", "1in"),
    "feel": ("TRACK", "CAR", "--stagger", "2in"),
    "debrief": ("TRACK", "CAR", "--wheel", "left", "--drifts-out", "yes"),
    "tires": ("RACK", "--car", "CAR", "--stagger", "2-1/4in"),
}


def words(command, files):
    places = dict(zip(("TRACK", "CAR", "RACK"), files, strict=True))
    return [command, *(places.get(word, word) for word in COMMANDS[command])]


@pytest.mark.parametrize("command", list(COMMANDS))
def test_a_dollar_in_a_name_is_drawn_as_typed(command, named, tmp_path, capsys):
    import matplotlib.pyplot as plt
    from matplotlib.text import Text

    status = main([*words(command, named(ODD)), "--out", str(tmp_path / "out")])
    assert status == 0, capsys.readouterr().err
    assert list((tmp_path / "out").glob("*.png"))
    shown = [text for n in plt.get_fignums() for text in plt.figure(n).findobj(Text)]
    assert any("$^$" in text.get_text() for text in shown)
    assert all(not text.get_parse_math() for text in shown if "$" in text.get_text())


@pytest.mark.parametrize("command", ["baseline", "debrief"])
def test_letters_the_font_lacks_are_no_noise(command, named, tmp_path, capsys, caplog):
    with warnings.catch_warnings(), caplog.at_level(logging.WARNING):
        warnings.simplefilter("error")
        status = main([*words(command, named(FOREIGN)), "--out", str(tmp_path / "out")])
    assert (status, capsys.readouterr().err, caplog.records) == (0, "", [])


@pytest.mark.parametrize("command", ["bite", "debrief"])
def test_show_without_a_display_is_said_and_what_was_to_be_written_is(
    command, named, tmp_path, capsys
):
    out = tmp_path / "out"
    status = main([*words(command, named("Elm")), "--show", "--out", str(out)])
    assert (status, capsys.readouterr().err) == (2, "rollpath: no display here; use --out DIR\n")
    assert list(out.glob("*.png"))


def test_show_with_a_display_opens_the_pictures(named, monkeypatch):
    import matplotlib.pyplot as plt

    shown = []
    monkeypatch.setattr(plt, "get_backend", lambda: "TkAgg")
    monkeypatch.setattr(plt, "show", lambda: shown.append(plt.get_fignums()))
    assert main([*words("bite", named("Elm")), "--show"]) == 0
    assert [len(numbers) for numbers in shown] == [2]


@pytest.mark.parametrize("command", ["baseline", "debrief"])
def test_legends_of_lines_along_the_lap_hide_no_line(command, named, tmp_path):
    import matplotlib.pyplot as plt

    assert main([*words(command, named("Elm")), "--out", str(tmp_path)]) == 0
    figure = plt.figure({"baseline": 3, "debrief": 1}[command])
    figure.canvas.draw()
    legends = [*figure.legends, *(axes.legend_ for axes in figure.axes if axes.legend_)]
    assert len(legends) == {"baseline": 1, "debrief": 2}[command]
    for legend in legends:
        place = legend.get_window_extent()
        assert not any(place.overlaps(axes.get_window_extent()) for axes in figure.axes)
    assert "entry dark" in figure.axes[-1].get_xlabel()
