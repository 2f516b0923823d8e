"""Plausible slips are caught before the answer; what cars and tracks really are is not."""

import re
from datetime import datetime

import pytest
from rollpath.cli import main
from rollpath.files.cars import load_car
from rollpath.files.racks import load_rack
from rollpath.files.schema import DoubtfulError, FileError
from rollpath.files.slips import run_slips, slip_text, stagger_slip, taken_as_right
from rollpath.files.tracks import load_track
from rollpath.units import FOOT, INCH

CAR = """\
name: Test Car
wheelbase: 108 in
front: {track_width: 62 in, left: {rollout: 82 1/2 in}, right: {rollout: 83 3/4 in}}
rear: {track_width: 63 in, left: {rollout: 83 3/4 in}, right: {rollout: 86 1/4 in}}
weights: {lf: 812, rf: 741, lr: 838, rr: 779}
cg_height: 19 in
power: 340 hp
"""
TRACK = "name: T\ninside_radius: 200 ft\nstraight: 320 ft\nwidth: 50 ft\n"
CAR_SLIPS = {  # what was typed instead, the line of it, and the words that name the slip
    "kilograms": ("lf: 812, rf: 741, lr: 838, rr: 779", "lf: 368, rf: 336, lr: 380, rr: 353", 5,
                  "were the pads read in kg (3168 lb)?"),
    "one pad": ("lf: 812", "lf: 81", 5, "less than a tenth of the car on one pad (810 lb)?"),
    "two digits": ("86 1/4 in", "68 1/4 in", 4, "beyond 8 in, no car runs that (86 1/4 in)?"),
    "low": ("19 in", "19 cm", 6, "were these cm (19 in)?"),
    "weak": ("340 hp", "34 hp", 7, "a digit lost (340 hp)?"),
    "height of a tire": ("left: {rollout: 82 1/2 in}, right: {rollout: 83 3/4 in}",
                         "left: {rollout: 26 1/4 in}, right: {rollout: 26 5/8 in}", 3,
                         "the height of the tire (82.47 in)?"),
}  # fmt: skip
TRACK_SLIPS = {
    "radius in metres": ("200 ft", "61 ft", 2, "were these metres (200.1 ft)?"),
    "diameter": ("200 ft", "400 ft", 2, "is it the diameter (200 ft)?"),
    "width in metres": ("50 ft", "15 ft", 4, "were these metres (49.21 ft)?"),
}


def told(load, path):
    with pytest.raises(FileError) as refused:
        load(path)
    return refused.value.lines


@pytest.mark.parametrize("slip", CAR_SLIPS)
def test_a_slip_in_a_car_file_is_named_with_what_was_meant(tmp_path, slip):
    found, typed, line, words = CAR_SLIPS[slip]
    path = tmp_path / "car.yaml"
    path.write_text(CAR.replace(found, typed))
    lines = told(load_car, path)
    assert lines[0].startswith(f"{path}:{line}: ")
    assert words in " ".join(lines)


@pytest.mark.parametrize("slip", TRACK_SLIPS)
def test_a_slip_in_a_track_file_is_named_with_what_was_meant(tmp_path, slip):
    found, typed, line, words = TRACK_SLIPS[slip]
    path = tmp_path / "track.yaml"
    path.write_text(TRACK.replace(found, typed))
    lines = told(load_track, path)
    assert lines[0].startswith(f"{path}:{line}: ")
    assert words in " ".join(lines)
    with taken_as_right():
        assert load_track(path).name == "T"


def test_what_cannot_be_is_refused_even_when_he_is_sure(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text(CAR.replace("lf: 812", "lf: 81"))
    with taken_as_right(), pytest.raises(FileError, match="one pad") as refused:
        load_car(path)
    assert not isinstance(refused.value, DoubtfulError)


@pytest.mark.parametrize(
    ("metric", "words"),
    [("86 1/4 in", '"219"'), ("108 in", '"274"')],
)
def test_centimetres_without_their_unit_are_refused_with_it(tmp_path, metric, words):
    path = tmp_path / "car.yaml"
    path.write_text(CAR.replace(metric, words.strip('"')))
    (line,) = told(load_car, path)
    assert words in line
    assert f"or {words.strip(chr(34))} cm?" in line


@pytest.mark.parametrize("car", ["cars/number-31.yaml", "cars/blue-heron.yaml"])
def test_true_cars_pass(car):
    load_car(car)


def test_a_light_car_on_a_short_wheelbase_passes(tmp_path):
    # A midget weighs some 1,050 lb with its driver on 70 in: common practice, no source.
    path = tmp_path / "car.yaml"
    light = CAR.replace("lf: 812, rf: 741, lr: 838, rr: 779", "lf: 270, rf: 220, lr: 310, rr: 250")
    path.write_text(light.replace("108 in", "70 in"))
    assert load_car(path).name == "Test Car"


@pytest.mark.parametrize("track", ["ropewalk", "saucer-hill", "two-ponds"])
def test_true_tracks_pass(track):
    load_track(f"tracks/{track}.yaml")


def test_a_swapped_taping_of_the_rack_is_asked_about(tmp_path):
    path = tmp_path / "rack.yaml"
    tires = "".join(f"  - {{id: A{i}, rollout: {84 + i} 1/4 in}}\n" for i in range(4))
    path.write_text(f"name: R\ntires:\n{tires}  - {{id: B, rollout: 68 1/4 in}}\n")
    (line,) = told(load_rack, path)
    assert line.startswith(f"{path}:7: ")
    assert "two digits changed over (86 1/4 in)?" in line
    with taken_as_right():
        assert len(load_rack(path).tires) == 5


def test_a_stagger_in_feet_is_refused():
    slip = stagger_slip("stagger", 2 * FOOT)
    assert slip is not None and slip.refused
    assert slip_text(slip) == "24 in: beyond 8 in, no car runs that (2 in)?"
    assert stagger_slip("stagger", -8 * INCH) is None


def test_a_lap_without_its_point_and_a_year_of_another_century_are_refused():
    when = datetime(2026, 5, 2)
    assert run_slips(when, [17.84, None], [2 * INCH]) == []
    lap, year = run_slips(when, [1784.0])[0], run_slips(when.replace(year=1926))[0]
    assert (lap.refused, lap.likely) == (True, 17.84)
    assert (year.refused, year.likely) == (True, 2026)
    assert slip_text(year) == "1926: not a year of a race to write down (2026)?"


def test_yes_lets_a_doubtful_value_stand(tmp_path, capsys):
    path = tmp_path / "car.yaml"
    path.write_text(CAR.replace("19 in", "19 cm"))
    typed = ["baseline", "tracks/ropewalk.yaml", str(path)]
    assert main(typed) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert re.search(r"were these cm \(19 in\)\?\nrollpath: .*--yes", err)
    assert main([*typed, "--yes"]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    "typed",
    [
        ("baseline", "tracks/ropewalk.yaml", "cars/number-31.yaml", "--groove", "Cushion"),
        ("bite", "cars/number-31.yaml", "--jack", "LR=2"),
        (
            "compare",
            "tracks/ropewalk.yaml",
            "--car",
            "cars/number-31.yaml",
            "--conditions",
            "SLICK",
            "--grooves",
            "bottom",
        ),
    ],
)
def test_words_are_known_in_capitals_and_by_the_names_of_the_trade(typed, capsys):
    assert main(list(typed)) == 0
    assert capsys.readouterr().out


def test_a_run_with_a_slip_is_not_written_down(tmp_path, capsys):
    book = tmp_path / "season.db"
    typed = ["notebook", "add", "--track", "Here", "--car", "31", "--book", str(book)]
    assert main([*typed, "--best", "1784"]) == 2
    assert "1784 s: long for a lap; the point lost (17.84 s)?" in capsys.readouterr().err
    assert not book.exists()
