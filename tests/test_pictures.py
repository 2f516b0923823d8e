"""Pictures and pages of every command with names that no font or typesetter likes."""

import logging
import re
import warnings
from pathlib import Path

import pytest
import rollpath as rp
from rollpath.cli import main
from rollpath.corners import only
from rollpath.scales.twist import Change
from rollpath.screen import Screen
from rollpath.show.picture import PAGE, SMALL
from rollpath.units import INCH

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


TRACK, CAR, RACK = SOURCES


@pytest.fixture(scope="module")
def drawings():
    """Drawing functions of every command with what they draw: screen and axes are left open."""
    from rollpath.show import baseline, bite_pictures, compare, feel, tires_pictures
    from rollpath.show import survey as surveyed

    case = rp.baseline(TRACK, CAR, "slick", "middle")
    felt = rp.feel(TRACK, CAR, "slick", "middle", staggers=["1in", "2in"])
    weighed = rp.weigh(CAR, Change(rollouts=only("right_rear", INCH)), "front")
    choice = rp.choose(RACK, CAR, "2-1/4 in")
    taped = rp.survey_by_chords([("100 ft", "6 ft 9 in")], straight="320 ft", width="45 ft")
    log = rp.survey_by_log("tracks/logs/two-ponds.gpx", width="48 ft").fit
    pads = weighed.car, weighed
    return {
        "map": (baseline.mismatch_map, (case,)),
        "cost": (baseline.cost_curve, (case,)),
        "lap": (baseline.needed_and_scrub, (case,)),
        "grooves": (compare.groove_map, (case.track, [case])),
        "needed": (compare.needed_lines, ([case, case],)),
        "staggers": (compare.dots_and_bands, ([case, case],)),
        "steering": (feel.steering_lines, (felt,)),
        "axle": (feel.axle_lines, (felt,)),
        "thrust": (feel.thrust_split, (felt,)),
        "pads": (bite_pictures.pads_from_above, pads),
        "bite": (bite_pictures.bite_against_stagger, pads),
        "rack": (tires_pictures.rack_strip, (choice,)),
        "reach": (tires_pictures.reach_map, (choice,)),
        "taped": (surveyed.taped_map, (taped,)),
        "log": (surveyed.log_map, (log,)),
        "curvature": (surveyed.curvature_lines, (log,)),
    }


NAMES = (
    "map", "cost", "lap", "grooves", "needed", "staggers", "steering", "axle", "thrust", "pads",
    "bite", "rack", "reach", "taped", "log", "curvature",
)  # fmt: skip


@pytest.fixture(autouse=True)
def closed():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_draws_into_the_axes_it_is_given(name, drawings):
    import matplotlib.pyplot as plt

    draw, things = drawings[name]
    figure, (left, right) = plt.subplots(1, 2)
    assert draw(*things, ax=right) is figure
    assert right.has_data() or right.child_axes or right.texts
    assert not left.has_data()
    assert plt.get_fignums() == [figure.number]


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_reads_on_a_phone_and_names_its_units(name, drawings):
    from matplotlib.text import Text

    draw, things = drawings[name]
    figure = draw(*things, Screen("si"))
    # 360 pixels of a phone over 5 in are 72 an inch: a point of type is a pixel.
    assert figure.get_figwidth() == pytest.approx(PAGE[0]) == 360 / 72
    texts = [text for text in figure.findobj(Text) if text.get_text().strip()]
    assert min(text.get_fontsize() for text in texts) >= SMALL
    shown = "\n".join(text.get_text() for text in texts)
    assert not re.search(r"\d (in|ft|lb|mph|lb-ft)\b|, (in|ft|lb|mph|lb-ft)\b", shown)
    assert "mismatch" not in shown
    assert "rms" not in shown
    if name not in ("pads", "staggers"):
        labels = [axes.get_xlabel() for axes in figure.axes if axes.get_xlabel()]
        assert any(re.search(r", (m|mm|%)(\n|$)", label) for label in labels)
