"""rollpath baseline, as its user meets it."""

import json
import math
import os
import re
import subprocess
import sys

import pytest
from ovals import CAR_FILES, ROOT, TRACK_FILES
from rollpath.cli import main
from rollpath.screen import TRADE
from rollpath.show.baseline import stagger_change_words
from rollpath.show.words import SHORT_CAUTIONS
from rollpath.units import INCH, parse

SAUCER, ROPEWALK = "tracks/saucer-hill.yaml", "tracks/ropewalk.yaml"
CAR, OTHER_CAR = "cars/number-31.yaml", "cars/blue-heron.yaml"
TYPED = ("--radius", "150ft", "--straight", "210ft", "--width", "45ft")


@pytest.fixture(autouse=True)
def at_the_top_folder(monkeypatch):
    monkeypatch.chdir(ROOT)


@pytest.fixture
def run(capsys):
    def run(*words):
        status = main(["baseline", *words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return status, out, err

    return run


@pytest.fixture
def found(run):
    def found(*words):
        status, out, err = run(*words, "--json")
        assert (status, err) == (0, "")
        return json.loads(out)

    return found


@pytest.fixture
def refused(run):
    """Exit status 2, nothing on the screen, and lines that each start with the command's name."""

    def refused(*words):
        status, out, err = run(*words)
        assert status == 2
        assert out == ""
        lines = err.splitlines()
        assert lines
        assert all(line.startswith("rollpath: ") for line in lines)
        return [line.removeprefix("rollpath: ") for line in lines]

    return refused


# The command as a program of its own


def test_the_examples_of_the_issue_work_as_typed():
    environment = os.environ | {"PYTHONPATH": str(ROOT / "sim")}
    for words in ((SAUCER, CAR, "--condition", "slick"), (*TYPED, CAR)):
        ended = subprocess.run(
            [sys.executable, "-m", "rollpath", "baseline", *words],
            cwd=ROOT, env=environment, capture_output=True, text=True, encoding="utf-8",
        )  # fmt: skip
        assert ended.returncode == 0
        assert ended.stderr == ""
        assert ended.stdout.startswith("Rear stagger to bolt on: ")


def test_bad_input_of_the_program_is_exit_2_and_one_line():
    ended = subprocess.run(
        [sys.executable, "-m", "rollpath", "baseline", "tracks/nowhere.yaml", CAR],
        cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT / "sim")},
        capture_output=True, text=True,
    )  # fmt: skip
    assert ended.returncode == 2
    assert ended.stdout == ""
    assert len(ended.stderr.splitlines()) == 1


def test_a_cold_baseline_loads_neither_matplotlib_nor_shapely_nor_an_optimiser():
    look = (
        "import sys; from rollpath.cli import main; main(sys.argv[1:]); "
        "print([m for m in ('matplotlib', 'shapely', 'scipy.optimize') if m in sys.modules])"
    )
    ended = subprocess.run(
        [sys.executable, "-c", look, "baseline", ROPEWALK, CAR, "--condition", "heavy"],
        cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT / "sim")},
        capture_output=True, text=True,
    )  # fmt: skip
    assert ended.stdout.splitlines()[-1] == "[]"


# The screen


def test_a_stagger_that_will_do_is_not_ordered_off():
    low, high, best = (x * INCH for x in (1.25, 2.24, 1.75))
    for now, told in ((2.25, "will do, 1/2 in over"), (1.5, "will do, 1/4 in under"),
                      (2.5, "take out 3/4 in"), (1.75, "leave it")):  # fmt: skip
        words = stagger_change_words(best - now * INCH, now * INCH, TRADE, (low, high))
        assert words.endswith(told)


def test_the_answer_comes_first_and_then_the_change(run):
    _, out, _ = run(SAUCER, CAR, "--condition", "slick")
    first, second, third = out.splitlines()[:3]
    assert first.startswith("Rear stagger to bolt on: ")
    assert first.endswith(" in")
    assert second.strip().startswith("on the car now 2 1/2 in: ")
    assert third.strip() == "Number 31 at Saucer Hill, slick, rounded groove"


def test_every_reason_that_the_issue_asks_for_is_on_the_screen(run):
    _, out, _ = run(ROPEWALK, CAR, "--condition", "heavy", "--full")
    for words in (
        "middle of 1-2 wants", "middle of 3-4 wants", "by the textbook", "straights want",
        "truest down the straight", "quickest off the corner", "give or take", "surer by",
        "Scrub a lap", "corners", "straights", "length on the groove", "time", "slowest",
        "(estimated)", "Bite", "bite now", "measured, from the car file",
    ):  # fmt: skip
        assert words in out


def test_the_screen_and_the_json_say_the_same(run, found):
    _, out, _ = run(ROPEWALK, OTHER_CAR, "--condition", "heavy")
    data = found(ROPEWALK, OTHER_CAR, "--condition", "heavy")
    shown = parse(out.splitlines()[0].partition(": ")[2], "tape") / 0.0254
    assert shown == pytest.approx(data["stagger"]["recommended_in"])


def test_si_units_are_shown_when_asked_for(run):
    _, out, _ = run(SAUCER, CAR, "--units", "si", "--full")
    assert out.splitlines()[0].endswith(" mm")
    figures = out.partition("Stands first")[0]
    for unit in ("m/s", "m", "mm", "N"):
        assert re.search(rf"\d {unit}\b", figures)
    for unit in ("ft", "in", "mph", "lb"):
        assert not re.search(rf"\d {unit}\b", figures)


def test_no_line_is_wider_than_a_screen(run):
    for track in TRACK_FILES:
        for car in CAR_FILES:
            _, out, _ = run(str(track), str(car), "--condition", "rubbered")
            assert max(map(len, out.splitlines())) <= 120


def test_cautions_are_on_every_screen(run):
    _, out, _ = run(*TYPED, CAR)
    for words in SHORT_CAUTIONS:
        assert words in out


def test_a_left_tire_bigger_than_the_right_is_allowed_and_said_out_loud(run, tmp_path):
    text = (ROOT / CAR).read_text(encoding="utf-8")
    swapped = tmp_path / "swapped.yaml"
    swapped.write_text(text.replace("83 3/4 in}, right: {rollout: 86 1/4 in}",
                                    "86 1/4 in}, right: {rollout: 83 3/4 in}"))  # fmt: skip
    status, out, err = run(ROPEWALK, str(swapped))
    assert (status, err) == (0, "")
    assert "left rear is taped bigger than the right" in out
    assert "-2 1/2 in" in out


def test_outside_the_window_it_says_which_end_and_what_that_means(run):
    _, out, _ = run(SAUCER, CAR, "--condition", "heavy", "--window", "3in,4in")
    told = " ".join(out.split())
    assert "Rear stagger to bolt on: 3 in" in told
    assert "with no window the best value is 2 " in told
    assert "the window's low end of 3 in: the straights ask for less" in told
    _, out, _ = run(SAUCER, CAR, "--condition", "heavy", "--window", "1/2in,1in")
    assert "the window's high end of 1 in: the corners ask for more" in " ".join(out.split())


def test_bite_without_sessions_is_marked_as_typical_or_predicted(found, tmp_path):
    lines = (ROOT / CAR).read_text(encoding="utf-8").splitlines()
    plain = tmp_path / "plain.yaml"
    kept = [one for one in lines[: lines.index("springs:")] if not one.startswith("bite_per_inch")]
    plain.write_text("\n".join(kept))
    bite = found(ROPEWALK, str(plain))["bite"]
    assert bite["source"] == "typical"
    assert bite["per_inch_lb"] == pytest.approx(10.0)
    # Common practice, no source: 8 to 15 lb of bite per inch on a full-bodied car.
    assert 8 <= bite["per_inch_lb"] <= 15


# JSON


def test_json_has_the_keys_that_the_issue_lists(found):
    data = found(SAUCER, CAR, "--condition", "heavy")
    assert {"track", "car", "condition", "groove", "stagger", "now", "lap", "scrub", "bite"} <= set(
        data
    )
    assert {
        "recommended_in", "optimum_in", "unbounded_in", "window_in", "at_window", "least_scrub_in",
        "geometric_corner_in", "loaded_corner_in", "band_in", "uncertainty_in",
    } <= set(data["stagger"])  # fmt: skip
    assert set(data["now"]) == {"stagger_in"}
    assert set(data["lap"]) == {
        "length_ft", "time_s", "slowest_mph", "fastest_mph", "turning_share",
    }  # fmt: skip
    assert set(data["scrub"]) == {"now", "recommended"}
    for scrub in data["scrub"].values():
        assert set(scrub) == {"corners_ft", "straights_ft", "lap_ft", "time_s"}
        assert 0 < scrub["time_s"] < 0.1
        assert scrub["lap_ft"] == pytest.approx(scrub["corners_ft"] + scrub["straights_ft"], 1e-5)
    assert {
        "per_inch_lb", "source", "now_lb", "then_lb", "hold_front_stagger_change_in",
    } <= set(data["bite"])  # fmt: skip


def test_json_values_hang_together(found):
    data = found(SAUCER, CAR, "--condition", "heavy")
    stagger, bite = data["stagger"], data["bite"]
    assert (data["track"], data["car"]) == ("Saucer Hill", "Number 31")
    assert stagger["window_in"] == pytest.approx([1, 4])
    assert stagger["band_in"][0] <= stagger["optimum_in"] <= stagger["band_in"][1]
    assert stagger["recommended_in"] * 8 == pytest.approx(round(stagger["recommended_in"] * 8))
    assert len(stagger["geometric_corner_in"]) == len(stagger["loaded_corner_in"]) == 2
    assert stagger["at_window"] is None
    change = stagger["recommended_in"] - data["now"]["stagger_in"]
    # Design 4.6: rear stagger up, bite down; to hold it front stagger goes the same way.
    assert bite["then_lb"] == pytest.approx(bite["now_lb"] - 9.5 * change, rel=1e-4)
    assert bite["hold_front_stagger_change_in"] == pytest.approx(change * 9.5 / 9, rel=1e-4)
    assert bite["source"] == "measured"


def test_adding_rear_stagger_adds_front_stagger_to_hold_bite(found):
    data = found(SAUCER, CAR, "--window", "3in,4in")
    assert data["stagger"]["at_window"] == "low"
    assert data["stagger"]["recommended_in"] > data["now"]["stagger_in"]
    assert data["bite"]["hold_front_stagger_change_in"] > 0
    assert data["bite"]["then_lb"] < data["bite"]["now_lb"]


def test_json_of_a_circle_holds_no_gaps(found):
    data = found("--radius", "150ft", "--straight", "0ft", "--width", "45ft", CAR)
    assert data["lap"]["turning_share"] == pytest.approx(1.0)
    assert data["scrub"]["now"]["straights_ft"] == 0.0


# Switches


def test_with_every_refinement_off_the_closed_form_stands(found):
    # Closed form of design.md 4.5: rollout x 2 pi T / lap, flat track, loads off, feet alike.
    data = found(*TYPED, CAR, "--drive-emphasis", "0", "--tire-load", "off", "--window", "0in,9in")
    middle = 2 * 210 + 2 * math.pi * (150 + 22.5)
    assert data["lap"]["length_ft"] == pytest.approx(middle, rel=1e-5)
    assert data["stagger"]["least_scrub_in"] == pytest.approx(
        85 * 2 * math.pi * 63 / (12 * middle), rel=1e-4
    )
    assert data["stagger"]["loaded_corner_in"] == data["stagger"]["geometric_corner_in"]


def test_switches_reach_the_model(found):
    base = found(ROPEWALK, CAR, "--condition", "heavy")
    low = found(ROPEWALK, CAR, "--condition", "heavy", "--groove", "low")
    assert low["groove"] == "low"
    assert low["lap"]["length_ft"] < base["lap"]["length_ft"]
    slower = found(ROPEWALK, CAR, "--condition", "heavy", "--grip", "0.5")
    assert slower["lap"]["time_s"] > base["lap"]["time_s"]
    for emphasis, end in (("0", "quickest_in"), ("1", "even_drive_in")):
        one = found(ROPEWALK, CAR, "--condition", "heavy", "--drive-emphasis", emphasis)
        assert one["stagger"]["unbounded_in"] == pytest.approx(base["stagger"][end])
    bowed = found(*TYPED, CAR, "--bow", "8ft", "--bank", "9deg", "--radius-2", "140ft")
    assert bowed["stagger"]["geometric_corner_in"][0] < bowed["stagger"]["geometric_corner_in"][1]


def test_options_may_stand_between_the_files(found):
    between = found(ROPEWALK, "--condition", "slick", CAR)
    assert between == found(ROPEWALK, CAR, "--condition", "slick")


# Pictures


def test_pictures_are_drawn_into_a_folder(run, tmp_path):
    folder = tmp_path / "new" / "pictures"
    status, _, err = run(SAUCER, CAR, "--condition", "heavy", "--out", str(folder))
    assert (status, err) == (0, "")
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["baseline-cost.png", "baseline-lap.png", "baseline-map.png"]
    for path in folder.iterdir():
        data = path.read_bytes()
        assert data.startswith(b"\x89PNG")
        assert len(data) > 10_000


def test_pictures_that_cannot_be_written_are_told_in_one_line(run, tmp_path):
    (tmp_path / "file").write_text("")
    status, out, err = run(ROPEWALK, CAR, "--out", str(tmp_path / "file"))
    assert status == 2
    assert "cannot be made" in err
    assert len(err.splitlines()) == 1
    assert out.startswith("Rear stagger to bolt on")  # the answer is not lost with the picture


# Bad input

GOOD_TRACK = (ROOT / ROPEWALK).read_text(encoding="utf-8")
BAD_TRACKS = {
    "wrong unit": (("straight: 470 ft", "straight: 470 lb"),
                   ':4: straight: expected a length such as "320 ft", got "470 lb"'),
    "missing unit": (("straight: 470 ft", "straight: 470"),
                     ':4: straight: expected a length such as "320 ft", with its unit, got "470"'),
    "negative radius": (("inside_radius: 125 ft", "inside_radius: -125 ft"),
                        ":3: inside_radius: expected a radius between"),
    "width that swallows the infield": (("width: 45 ft", "width: 145 ft"),
                                        ":5: width: a width greater than the inside radius"),
    "bow that breaks the oval": (("width: 45 ft", "width: 45 ft\nbow: 200 ft"),
                                 ":6: bow: the straights bow out so far"),
    "NaN": (("grip: 0.58", "grip: .nan"), ":10: grip: expected a plain number"),
    "unknown key": (("blend:", "blned:"), ':7: blned: unknown key; did you mean "blend"?'),
    "object": (("blend: 45 ft", "blend: !!python/object/apply:os.getcwd []"),
               ":7: tags (!) are not allowed"),
    "alias": (("blend: 45 ft", "blend: &b 45 ft\nbow: *b"), ":7: anchors and aliases"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BAD_TRACKS)
def test_a_bad_track_file_is_one_clear_line_and_exit_2(refused, tmp_path, fault):
    (found, bad), told = BAD_TRACKS[fault]
    assert found in GOOD_TRACK
    path = tmp_path / "bad.yaml"
    path.write_text(GOOD_TRACK.replace(found, bad), encoding="utf-8")
    (line,) = refused(str(path), CAR, "--groove", "middle")
    assert line.removeprefix(str(path)).startswith(told)


def test_all_faults_of_a_car_file_are_told(refused, tmp_path):
    path = tmp_path / "bad.yaml"
    text = (ROOT / CAR).read_text(encoding="utf-8")
    path.write_text(text.replace("340 hp", "340").replace("19 in", "-19 in"), encoding="utf-8")
    lines = refused(ROPEWALK, str(path))
    assert len(lines) == 2
    assert "power" in lines[1]
    assert "cg_height" in lines[0]


def test_a_file_that_is_not_there_is_one_line_with_a_near_one(refused):
    (line,) = refused("tracks/ropewlak.yaml", CAR)
    assert line.startswith("tracks/ropewlak.yaml: no such track file; did you mean")
    assert "ropewalk.yaml" in line


def test_files_that_cannot_be_read_are_one_line(refused, tmp_path):
    (line,) = refused("tracks", CAR)
    assert "a folder" in line
    (line,) = refused("x" * 5000, CAR)
    assert "cannot be read" in line
    binary = tmp_path / "x.yaml"
    binary.write_bytes(b"\xff\xfe\x00name")
    (line,) = refused(str(binary), CAR)
    assert "not UTF-8" in line


BAD_WORDS = {
    "a bare number": (("--radius", "150", *TYPED[2:], CAR), '"320 ft", with its unit, got "150"'),
    "a wrong unit": (("--radius", "150lb", *TYPED[2:], CAR), 'such as "320 ft", got "150lb"'),
    "a negative radius": (("--radius", "-150ft", *TYPED[2:], CAR), "--radius: expected a radius"),
    "no such length": (("--radius", "nan ft", *TYPED[2:], CAR), 'got "nan ft"'),
    "a width too wide": ((*TYPED[:4], "--width", "160ft", CAR), "--width: a width greater than"),
    "a bow too far": ((*TYPED, "--bow", "100ft", CAR), "--bow: the straights bow out"),
    "a wall for a bank": ((*TYPED, "--bank", "80deg", CAR), "--bank: expected an angle"),
    "a second radius of nothing": ((*TYPED, "--radius-2", "0ft", CAR), "--radius: expected"),
    "no files": ((), "which track?"),
    "two tracks": ((*TYPED, ROPEWALK, CAR), "with --radius there is no track file"),
    "a stray straight": ((ROPEWALK, CAR, "--straight", "9ft"), "--straight needs --radius too"),
    "an upside-down window": ((ROPEWALK, CAR, "--window", "4in,1in"), "the lower first"),
    "too much emphasis": ((ROPEWALK, CAR, "--drive-emphasis", "2"), "a number from 0 to 1"),
    "no grip": ((ROPEWALK, CAR, "--grip", "nan"), "a number from 0.05 to 3"),
    "unknown weather": ((ROPEWALK, CAR, "--condition", "wet"), "choose from 'heavy'"),
    "unknown groove": ((ROPEWALK, CAR, "--groove", "outside"), "choose from"),
    "unknown option": ((ROPEWALK, CAR, "--nonsense"), "--nonsense"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BAD_WORDS)
def test_bad_words_are_exit_2_and_told(refused, fault):
    words, told = BAD_WORDS[fault]
    lines = refused(*words)
    assert told in lines[0]
    assert len(lines) == 1


def test_an_unknown_command_is_one_line_with_a_near_one(capsys):
    assert main(["basline"]) == 2
    assert capsys.readouterr().err == 'rollpath: no command "basline"; did you mean "baseline"?\n'


def test_help_shows_an_example_and_the_overview_every_command(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["baseline", "--help"])
    assert ended.value.code == 0
    assert "example: rollpath baseline tracks/saucer-hill.yaml" in " ".join(
        capsys.readouterr().out.split()
    )
    assert main([]) == 0
    assert "baseline" in capsys.readouterr().out
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("rollpath ")


def test_a_hold_that_leaves_the_left_front_bigger_says_so(capsys):
    assert main(["baseline", ROPEWALK, CAR, "--condition", "slick"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "that leaves -" in out and "the left front the bigger" in out
