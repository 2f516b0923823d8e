"""The printed page: nothing cut off, nothing on top of anything else, whatever the names."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from rollpath import baseline, load_car, load_track
from rollpath.debrief import debrief_of
from rollpath.feel.answers import Answers
from rollpath.files.logs import load_run_log
from rollpath.scales.rates import stagger_effect
from rollpath.screen import Screen
from rollpath.show.sheet import PAPERS, draw_feel_page, draw_sheet, write_sheets

LONGEST = "Wwwwwwwww " * 8
"""A name of 80 characters, the most a file allows, of the widest letters."""


def sheet_of(name_of_track, name_of_car, paper, system, answers=None):
    track = replace(load_track("tracks/two-ponds.yaml"), name=name_of_track)
    car = replace(load_car("cars/number-31.yaml"), name=name_of_car)
    result = baseline(track, car, "slick", "middle")
    return draw_sheet(debrief_of(result, answers), Screen(system), paper)


def boxes(page):
    """Every piece of text on the page and where it stands, in shares of the page."""
    page.canvas.draw()
    width, height = page.get_size_inches() * page.dpi
    texts = list(page.texts)
    for axes in page.axes:
        texts += [axes.title, axes.xaxis.label, axes.yaxis.label, *axes.texts]
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            ticks = [tick for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
            texts += [tick.label1 for tick in ticks if tick.label1.get_visible()]
    found = []
    for text in texts:
        if text.get_text().strip() not in ("", "+", "\N{MINUS SIGN}") and text.get_visible():
            extent = text.get_window_extent()
            if extent.width > 0:
                found.append((text.get_text(), extent.x0 / width, extent.x1 / width,
                              extent.y0 / height, extent.y1 / height))  # fmt: skip
    return found


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize(
    "answers",
    [None, Answers(wheel="left", drifts_out="steps"), Answers("right", "no", "yes", "no", "tight")],
)
def test_longest_names_stay_on_the_page_and_off_each_other(paper, system, answers):
    page = sheet_of(LONGEST[:80].strip(), LONGEST[:80].strip(), paper, system, answers)
    found = boxes(page)
    assert len(found) > 40
    keep_apart(found)


def keep_apart(found):
    """All text on the page, and no two pieces on each other."""
    for text, left, right, bottom, top in found:
        assert left >= 0 and right <= 1 and bottom >= 0 and top <= 1, text
    for (one, l1, r1, b1, t1), (two, l2, r2, b2, t2) in combinations(found, 2):
        wide, high = min(r1, r2) - max(l1, l2), min(t1, t2) - max(b1, b2)
        assert wide <= 0.001 or high <= 0.0015, f"{one!r} lies on {two!r}"


@pytest.fixture(scope="module")
def recorded_case():
    track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
    track, car = replace(track, name=LONGEST[:80].strip()), replace(car, name=LONGEST[:80].strip())
    result = baseline(track, car, "slick", "middle")
    return debrief_of(result, None, load_run_log("tracks/logs/saucer-hill-run.csv"), 5.8)


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("recorded", [False, True])
def test_second_page_keeps_its_text_apart_too(paper, system, recorded, recorded_case):
    told = recorded_case if recorded else debrief_of(recorded_case.physics)
    page = draw_feel_page(told, Screen(system), paper)
    found = boxes(page)
    assert len(found) > 20
    keep_apart(found)


def test_short_names_are_written_large():
    page = sheet_of("Elm", "7", "letter", "us")
    assert max(text.get_fontsize() for text in page.texts) >= 20


def headline_and_rest(page):
    large, *rest = sorted(page.texts[2:], key=lambda text: -text.get_fontsize())
    return large.get_text().replace("\n", " "), " ".join(
        text.get_text().replace("\n", " ") for text in rest
    )


def test_without_a_verdict_the_headline_is_what_the_lap_asks_for():
    assert headline_and_rest(sheet_of("Elm", "7", "letter", "us"))[0] == "1 3/4 in"


def test_headline_is_the_step_of_the_verdict_and_bite_is_held_for_that_step():
    answers = Answers("right", "no", "yes", "no")
    page = sheet_of("Elm", "7", "letter", "us", answers)
    car = load_car("cars/number-31.yaml")
    result = baseline(load_track("tracks/two-ponds.yaml"), car, "slick", "middle")
    step = debrief_of(result, answers).verdict.amount
    assert step < 0
    screen = Screen("us")
    then = screen.tape(float(car.rear.stagger) + step)
    headline, rest = headline_and_rest(page)
    assert headline == f"{screen.tape(step, signed=True)} rear stagger: {then}"
    rates = stagger_effect(car, step).rates
    front = abs(step) * float(rates.rear) / float(rates.front)
    assert f"to hold bite: take out {screen.tape(front)} of front stagger" in rest
    assert rest.count("take out") == 2  # the step, and what holds bite with it


def test_a_verdict_that_is_no_step_is_the_headline_and_no_other_step_stands_beside_it():
    page = sheet_of("Elm", "7", "letter", "us", Answers("left", "yes", wheelspin="yes"))
    headline, rest = headline_and_rest(page)
    assert headline == "Not stagger, or not first"
    assert "to hold bite" not in rest and "take out" not in rest and "add " not in rest


def test_the_cautions_are_on_the_page():
    words = " ".join(text.get_text() for text in sheet_of("Elm", "7", "a4", "us").texts)
    for caution in (
        "Stands under the car",
        "wheel nuts",
        "rule book",
        "First laps slow",
        "estimates",
    ):
        assert caution in words.replace("\n", " ")


def test_pages_are_written_as_pdf_and_png_and_an_odd_ending_is_refused(tmp_path):
    page = sheet_of("Elm", "7", "letter", "us")
    written = write_sheets([page, page], tmp_path / "night")
    assert [path.name for path in written] == ["debrief.pdf", "debrief.png", "debrief-2.png"]
    assert written[0].read_bytes().startswith(b"%PDF")
    assert write_sheets([page], tmp_path / "one.pdf")[0].read_bytes().count(b"/Type /Page ") == 1
    with pytest.raises(ValueError, match=r"\.pdf or \.png"):
        write_sheets([page], tmp_path / "sheet.txt")


@pytest.mark.parametrize("ending", ["pdf", "png"])
def test_folder_of_a_page_is_made(tmp_path, ending):
    path = tmp_path / "season" / "night" / f"x.{ending}"
    assert write_sheets([sheet_of("Elm", "7", "letter", "us")], path) == [path]
    assert path.stat().st_size > 1000


def test_page_reads_in_grey():
    """The mismatch shades darken one way: luminance never falls from too little to too much."""
    import matplotlib
    from rollpath.show.picture import SHADES

    red, green, blue, _ = matplotlib.colormaps[SHADES](np.linspace(0, 1, 64)).T
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue  # ITU-R BT.709
    assert np.all(np.diff(luminance) > 0)
