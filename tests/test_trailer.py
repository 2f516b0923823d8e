"""The trailer: set up by asking or by option, found, changed, undone, replayed; tonight in half a
screen; every command takes what was not typed from it."""

import json
from dataclasses import replace

import pytest
from notebook_helpers import made_nights
from rollpath.book.book import Book
from rollpath.cli import main
from rollpath.corners import CORNERS, Corners
from rollpath.door_night import tonight as worked_out
from rollpath.files.cars import car_from_values
from rollpath.files.doing import ChangedError, done, mark_of
from rollpath.files.trailers import load_night, load_trailer, night_text, save_night
from rollpath.screen import Screen
from rollpath.trailer.interview import AnswerError, tires_of, values_of
from rollpath.trailer.night import (
    Fitted,
    Night,
    as_state,
    bolted,
    from_state,
    pumped,
    standing,
    turned,
    weighed,
)
from rollpath.trailer.place import find_trailer
from rollpath.units import INCH, POUND, PSI

ANSWERS = (
    "--track", "Kettle Bottom", "--radius", "200ft", "--straight", "320ft", "--surface", "slick",
    "--rear", "83-3/4 86-1/4", "--front", "82 1/2, 83 3/4", "--pads", "812 741 838 779",
    "--pressures", "14 18 12 16", "--power", "340hp",
    "--tires", "L5 84-1/2, L6 83, R7 86-1/2, R8 85-3/8",
)  # fmt: skip


@pytest.fixture
def say(capsys):
    """Run a command; its status, output and errors."""

    def say(*words):
        status = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err

    return say


@pytest.fixture
def told(say):
    """What a command prints as JSON."""

    def told(*words):
        status, out, err = say(*words, "--json")
        assert (status, err) == (0, "")
        return json.loads(out)

    return told


@pytest.fixture
def trailer(folder, say):
    assert say("trailer", *ANSWERS)[0] == 0
    return folder


# Answers


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("83 3/4 86 1/4", ["83 3/4 in", "86 1/4 in"]),
        ("83-3/4, 86-1/4", ["83-3/4 in", "86-1/4 in"]),
        ("83.75 86.25", ["83.75 in", "86.25 in"]),
        ('83 3/4" 2190 mm', ['83 3/4"', "2190 mm"]),
    ],
)
def test_two_sizes_are_read_from_one_line(typed, values):
    assert values_of(typed, "tape", 2) == values


@pytest.mark.parametrize("typed", ["83", "83 86 88", "83 and 86", ""])
def test_a_line_of_another_count_is_refused(typed):
    with pytest.raises(AnswerError):
        values_of(typed, "tape", 2)


@pytest.mark.parametrize(
    "typed", ["L5 83-1/2, R7 86 1/4", "L5=83-1/2 R7=86-1/4", "L5 83 1/2 R7 86 1/4"]
)
def test_tires_are_read_from_one_line(typed):
    assert [name for name, _ in tires_of(typed)] == ["L5", "R7"]
    assert [size.replace("-", " ") for _, size in tires_of(typed)] == ["83 1/2 in", "86 1/4 in"]


def test_a_tire_given_twice_is_refused():
    with pytest.raises(AnswerError, match="twice"):
        tires_of("L5 83, l5 84")


# The car as it stands, by hand


def a_car():
    weights = Corners(812 * POUND, 741 * POUND, 838 * POUND, 779 * POUND)
    car = car_from_values({"name": "made up"})
    return replace(car, weights=weights, assumed=frozenset())


def test_a_bigger_left_rear_adds_bite_and_pads_take_over():
    car = a_car()
    filed = standing(car, Night())
    assert filed.bite_from == "weighed"
    assert filed.car.weights == car.weights
    on = bolted(Night(), "left_rear", Fitted("L9", float(car.rear.left_rollout) + INCH))
    now = standing(car, on)
    assert now.bite_from == "predicted"
    # Common practice, no source: 8 to 15 lb of bite per inch of rear stagger.
    gain = (now.car.weights.bite - car.weights.bite) / POUND
    assert 8 < gain < 15
    assert now.car.rear.stagger == pytest.approx(car.rear.stagger - INCH)
    pads = Corners(800 * POUND, 750 * POUND, 840 * POUND, 780 * POUND)
    read = standing(car, weighed(on, pads, True))
    assert (read.bite_from, read.car.weights) == ("weighed", pads)


def test_what_is_put_back_leaves_the_pads_as_they_were():
    car = a_car()
    pads = Corners(800 * POUND, 750 * POUND, 840 * POUND, 780 * POUND)
    night = weighed(Night(), pads, True)
    there = bolted(night, "right_rear", Fitted("R1", float(car.rear.right_rollout) + INCH))
    back = bolted(there, "right_rear", Fitted("R0", float(car.rear.right_rollout)))
    assert standing(car, back).car.weights.bite == pytest.approx(pads.bite)


def test_air_grows_the_tire_and_moves_the_bite_the_other_way():
    car = a_car()
    now = float(car.pressure.right_rear)
    more = pumped(Night(), car, "right_rear", now + 2 * PSI, 0.17 * INCH / PSI)
    stood = standing(car, more)
    assert stood.car.rear.stagger - car.rear.stagger == pytest.approx(0.34 * INCH)
    assert stood.car.weights.bite < car.weights.bite


def test_a_tire_that_moves_is_gone_from_where_it_was():
    night = bolted(Night(), "left_rear", Fitted("L5", 2.1))
    moved = bolted(night, "right_rear", Fitted("L5", 2.1))
    assert moved.on_car.left_rear == Fitted()
    assert moved.on_car.right_rear.tire == "L5"


def test_jack_turns_add_up_and_stay_with_the_corner():
    night = turned(turned(Night(), {"left_rear": 1.0}), {"left_rear": -0.25})
    assert bolted(night, "left_rear", Fitted("L5", 2.1)).on_car.left_rear.turns == 0.75


def full_night():
    on_car = Corners(*(Fitted(f"T{i}", 2.1 + i / 100, 9e4 + i, i / 4) for i in range(4)))
    pads = Corners(3500.25, 3300.0, 3700.0, 3400.0)
    return Night("kettle-bottom", "heavy", 19.8, "2026-05-02T19:00", on_car, pads, False, on_car)


def test_a_night_survives_the_book_and_the_file(tmp_path):
    for night in (Night(), full_night()):
        assert from_state(json.loads(json.dumps(as_state(night)))) == night
        save_night(tmp_path, night)
        again = load_night(tmp_path / "trailer.yaml")
        assert night_text(again) == night_text(night)
        assert again.condition == night.condition
        for corner in CORNERS:
            wrote, read = getattr(night.on_car, corner), getattr(again.on_car, corner)
            assert (read.tire, read.turns) == (wrote.tire, wrote.turns)
            assert read.rollout == pytest.approx(wrote.rollout, abs=1e-6)


# Found


def test_it_is_found_here_above_by_name_and_in_the_data_folder(tmp_path):
    pits, deep, data = tmp_path / "pits", tmp_path / "pits" / "a" / "b", tmp_path / "data"
    deep.mkdir(parents=True)
    assert find_trailer(None, {}, deep, data) is None
    (data / "trailer").mkdir(parents=True)
    (data / "trailer" / "trailer.yaml").write_text("{}\n")
    assert find_trailer(None, {}, deep, data) == data / "trailer"
    (pits / "trailer.yaml").write_text("{}\n")
    assert find_trailer(None, {}, deep, data) == pits
    assert find_trailer(None, {"ROLLPATH_TRAILER": "x"}, deep, data).name == "x"
    assert find_trailer(tmp_path / "y", {"ROLLPATH_TRAILER": "x"}, deep, data).name == "y"


# The commands


def test_set_up_by_option_writes_four_files_and_shows_them(folder, say):
    status, out, _ = say("trailer", *ANSWERS)
    assert status == 0
    assert {path.name for path in folder.iterdir()} >= {"car.yaml", "rack.yaml", "trailer.yaml"}
    assert "rear stagger 2 1/2 in" in out
    assert load_trailer(folder).night.track == "kettle-bottom"
    status, _, err = say("trailer", *ANSWERS)
    assert status == 2
    assert "set up already" in err


def test_bad_answers_write_nothing(folder, say):
    for words in (
        ("--rear", "83"), ("--surface", "soaked"), ("--radius", "200"), ("--pads", "812 741 838"),
        ("--radius", "2ft", "--straight", "300ft"), ("--rear", "8 86"),
    ):  # fmt: skip
        status, out, err = say("trailer", *words)
        assert (status, out) == (2, ""), words
        assert len(err.splitlines()) == 1, err
        assert not list(folder.iterdir()), words


def test_the_first_night_fits_in_250_typed_characters(folder):
    typed = [word for word in ANSWERS if not word.startswith("--")]
    commands = ["rollpath trailer", "rollpath tonight slick", "rollpath"]
    assert sum(len(text) + 1 for text in [*typed, *commands]) < 250


def test_tonight_in_half_a_screen(trailer, say, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    status, out, _ = say()
    assert status == 0
    lines = out.splitlines()
    assert len(lines) <= 20
    assert max(map(len, lines)) <= 40
    assert lines[0].startswith("Bolt on rear stagger ")
    assert sum(line.startswith(("  LF", "  RF", "  LR", "  RR")) for line in lines) == 4
    assert "Bite 59 lb (weighed)" in out


@pytest.mark.parametrize(("answers", "against"), [
    (("--wheel", "left", "--drifts-out", "yes"), "more"),
    (("--wheel", "right", "--crabs", "yes"), None),
    ((), None),
])  # fmt: skip
def test_tonight_orders_nothing_that_the_debrief_of_the_last_run_leaves(
    trailer, say, told, answers, against
):
    # 2 1/2 in is on and less is wanted: a driver who asks for more is asked once more.
    say("notebook", "add", "--run", "heat 1", *answers)
    tonight, first = told("tonight"), say("tonight")[1].splitlines()[0]
    assert tonight["recommended_in"] < tonight["on_car_in"] - 0.25
    assert tonight["driver_against_lap"] == against
    if answers:
        debrief = told("debrief", *answers)
        left = debrief["verdict"]["change"] in ("leave", "ask")
        assert left == (against is not None)
        assert tonight["last_run_asks"] == debrief["verdict"]["change"]
        if not left:  # one number on both screens, and the driver's word is not kept as physics
            kept = worked_out(trailer)
            assert kept.by_physics.stagger.recommended != kept.result.stagger.recommended
            assert tonight["recommended_in"] == debrief["stagger"]["recommended_in"]
    assert first.startswith("Leave on" if against else "Bolt on")
    say("bolt", "rr=R8")  # other tires: the word was about those that are gone
    assert told("tonight")["driver_against_lap"] is None


def test_what_he_felt_on_another_surface_holds_nothing(say, told, trailer):
    say("notebook", "add", "--run", "heat 1", "--wheel", "left", "--drifts-out", "yes")
    assert say("tonight")[1].startswith("Leave on")
    assert say("tonight", "heavy")[1].startswith(("Bolt on", "Leave on"))
    assert told("tonight")["last_run_asks"] is None


def test_a_run_that_is_not_about_stagger_is_left_by_tonight_as_well(say, told, trailer):
    say("notebook", "add", "--run", "heat 1", "--wheel", "left", "--wheelspin", "yes")
    assert told("tonight")["last_run_asks"] == "elsewhere"
    out = say("tonight")[1]
    assert out.startswith("Leave on")
    assert "is not stagger, or not first" in " ".join(out.split())


def test_a_tire_that_stays_with_other_air_does_not_say_that_it_stays(say, told, trailer):
    say("air", "rr=+4")
    corner, was = told("tonight")["tires"]["right_rear"], told("trailer")["on_car"]["right_rear"]
    row = next(line for line in say("tonight")[1].splitlines() if line.startswith("  RR"))
    assert (corner["tire"] == was["tire"]) and corner["pressure_psi"] < was["pressure_psi"]
    assert f"air {corner['pressure_psi'] - was['pressure_psi']:+.3g}" in row


@pytest.mark.parametrize(("words", "fault"), [
    (("air", "rr=+60"), "smaller steps, or say --yes"),
    (("air", "rr=90", "--yes"), "expected a pressure between 2 and 80 psi"),
    (("pads", "812", "741", "838"), "expected what four pads read, LF RF LR RR, got 3"),
    (("pads", "812", "741", "838", "7790"), "RR: expected a weight between"),
    (("tonight", "moist"), "surfaces: heavy, tacky, rubbered, slick"),
])  # fmt: skip
def test_a_slip_gets_one_line_and_nothing_is_written(say, trailer, told, words, fault):
    before = told("trailer")
    status, out, err = say(*words)
    assert (status, out) == (2, "")
    assert fault in err
    assert err.count("\n") == 1
    assert told("trailer") == before
    assert say("air", "rr=+20", "--yes")[0] == 0


def test_undo_says_what_it_took_back(say, trailer):
    say("pads", "810", "740", "840", "780")
    assert "Taken back: LF 810 lb, RF 740 lb" in " ".join(say("undo")[1].split())


def test_what_was_foretold_is_no_word_against_the_lap(trailer, say, told):
    say("tonight", "heavy")
    say("bolt", "lr=L5", "rf=L6")  # 1 3/4 in with 1 1/2 in wanted: a little push is foretold
    answers = ("--wheel", "left", "--drifts-out", "yes")
    say("notebook", "add", "--run", "heat 1", *answers)
    tonight, verdict = told("tonight"), told("debrief", *answers)["verdict"]
    assert tonight["recommended_in"] < tonight["on_car_in"]
    assert verdict["change"] == "leave"
    assert tonight["driver_against_lap"] is None
    assert "nothing he felt" in " ".join(say("tonight")[1].split())


def test_bolt_air_and_pads_are_shown_kept_and_taken_back(trailer, say, told):
    before = told("trailer")
    after = told("bolt", "lr=L5", "RR=86-3/8")
    assert after["rear_stagger_in"] == pytest.approx(86.375 - 84.5)
    assert after["bite_from"] == "predicted"
    told("air", "rr=+2")
    told("pads", "800", "750", "840", "780")
    weighed_now = told("trailer")
    assert (weighed_now["bite_lb"], weighed_now["bite_from"]) == (pytest.approx(60.0), "weighed")
    with Book(trailer / "season.db") as book:
        assert [action.what for action in book.actions()] == ["trailer", "bolt", "air", "pads"]
    for _ in range(3):
        assert say("undo")[0] == 0
    assert told("trailer")["on_car"] == before["on_car"]


def test_what_if_writes_nothing(trailer, say, told):
    before = (trailer / "trailer.yaml").read_bytes()
    asked = told("air", "rr=+2", "--what-if")
    assert asked["rear_stagger_change_in"] > 0.1
    assert asked["bite_change_lb"] < 0
    assert (trailer / "trailer.yaml").read_bytes() == before
    assert told("air", "rr=+2")["rear_stagger_in"] == asked["rear_stagger_in"]


def test_the_night_can_be_replayed_from_the_book(trailer, told):
    told("bolt", "lr=L6")
    told("tonight", "heavy")
    told("air", "rr=15")
    with Book(trailer / "season.db") as book:
        last = book.replay()[-1].state
    assert from_state(last) == from_state(as_state(load_trailer(trailer).night))


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("bolt", "lr=L55"), 'did you mean "L5"'),
        (("bolt", "xx=L5"), "lf, rf, lr or rr"),
        (("bolt", "lr=L5", "lr=L6"), "twice"),
        (("bolt", "lr=8 1/2 in"), "expected"),
        (("air", "rr=-40"), "no air"),
        (("tonight", "kettle botom", "slick"), 'did you mean "kettle-bottom"'),
        (("pads", "812", "741", "838", "0.5"), "expected"),
    ],
)
def test_slips_are_caught_in_one_line_and_nothing_is_changed(trailer, say, words, named):
    before = (trailer / "trailer.yaml").read_bytes()
    status, out, err = say(*words)
    assert (status, out) == (2, "")
    assert named in err
    assert len(err.splitlines()) == 1
    assert (trailer / "trailer.yaml").read_bytes() == before


def test_a_command_outside_a_trailer_says_how_to_set_one_up(folder, say):
    for words in (("bolt", "lr=L5"), ("pads", "1", "2", "3", "4"), ("undo",), ("tonight",)):
        status, _, err = say(*words)
        assert status == 2
        assert "rollpath trailer" in err or "expected" in err


def test_a_baseline_takes_track_car_and_surface_from_the_trailer(trailer, say, told):
    asked = told("baseline")
    assert (asked["track"], asked["condition"]) == ("Kettle Bottom", "slick")
    assert asked["now"]["stagger_in"] == pytest.approx(2.5)
    told("bolt", "lr=L5")
    assert told("baseline")["now"]["stagger_in"] == pytest.approx(1.75)
    assert "from the trailer: Kettle Bottom, our car, slick" in say("baseline")[1]
    assert told("baseline", "--condition", "heavy")["condition"] == "heavy"


def test_the_first_answer_needs_nothing(folder, say, told):
    status, out, _ = say("baseline", "--radius", "200ft", "--straight", "350ft")
    assert status == 0
    assert "typical full-bodied car" in out.splitlines()[2]
    status, _, err = say("baseline")
    assert status == 2
    assert "rollpath trailer" in err


# The book counts by itself


@pytest.fixture
def taught(trailer, say):
    """A trailer whose book shows half an inch more at Kettle Bottom."""
    assert say("tonight", "kettle bottom", "slick")[0] == 0
    with Book(trailer / "season.db") as book:
        for page in made_nights(8, 0.5, 3, runs=4):
            book.add(replace(page.run, track="Kettle Bottom", car="our car"))
    return trailer


def test_every_screen_of_a_trailer_has_its_book_in(taught, say, told):
    alone = told("baseline", "--no-book")["stagger"]["recommended_in"]
    found = told("tonight")
    assert found["recommended_in"] > alone
    learned = found["correction"]
    assert learned["learned_at"] == ["Kettle Bottom"]
    assert learned["stagger_in"] == pytest.approx(found["recommended_in"] - alone, abs=1 / 8)
    assert told("tonight", "--no-book")["recommended_in"] == alone
    asked = told("baseline")
    wanted = {
        asked["stagger"]["recommended_in"], told("tires")["target_in"],
        max({one["stagger_in"] for one in told("feel")["staggers"]} - {2.5}),
        told("plan", "--runs", "heat: slick")["runs"][0]["wanted_in"],
    }  # fmt: skip
    assert wanted == {found["recommended_in"]}
    for words in ("baseline", "feel", "tires", "debrief"):
        extra = ("--wheel", "straight") if words == "debrief" else ()
        assert told(words, *extra)["correction"]["stagger_in"] == learned["stagger_in"]
        assert "your book adds" in " ".join(say(words, *extra)[1].split())
        assert "your book" not in " ".join(say(words, "--no-book", *extra)[1].split())
    assert "your book adds" in " ".join(say()[1].split())
    assert "your book adds" in " ".join(say("plan", "--runs", "heat: slick")[1].split())
    debriefed = told("debrief", "--wheel", "straight", "--drifts-out", "no")
    assert debriefed["physics"]["recommended_in"] == alone


def test_the_page_has_the_book_in_too(taught, empty, say, told):
    pytest.importorskip("flask")
    from page_helpers import words

    found = told("tonight")
    wanted = f"wanted {Screen().tape(found['recommended_in'] * INCH)}"
    first = words(empty.see("/"))
    assert wanted in first
    assert "your book adds" in first
    planned = words(empty.see("/plan?heat=slick&wheels=4&jacks=yes"))
    assert wanted.removeprefix("wanted ") in planned
    _, out, _ = say("debrief", "--wheel", "right", "--crabs", "yes")
    assert out.splitlines()[0].split(" (")[0] in words(empty.see("/debrief?wheel=right&crabs=yes"))


def test_the_book_of_a_trailer_is_of_its_car_and_its_surface(taught, say, told):
    assert told("baseline", "--condition", "heavy")["correction"] is None
    other = taught.parent / "other.yaml"
    other.write_text((taught / "car.yaml").read_text().replace("our car", "another car"))
    found = json.loads(say("baseline", "--car", str(other), "--json")[1])
    assert "correction" not in found
    assert say("baseline", "--book", str(taught / "season.db"), "--no-book")[0] == 2


def test_a_book_that_cannot_be_read_leaves_the_physics(taught, say):
    for path in taught.glob("season.db*"):
        path.write_bytes(b"not a book\n")
    status, out, err = say("feel", "--json")
    assert status == 0
    assert json.loads(out)["correction"] is None
    assert "by physics alone" in err


def test_with_a_lap_time_the_book_still_counts(taught, told):
    """A surface that a lap time told goes by another name; the book knows the one that was said."""
    told("tonight", "--lap-time", "23.1s")
    assert told("tonight")["correction"] is not None
    assert told("baseline")["stagger"]["recommended_in"] == told("tonight")["recommended_in"]


def test_a_run_keeps_what_was_advised_and_the_physics_alone(taught, told):
    advised = told("tonight")["recommended_in"]
    alone = told("baseline", "--no-book")["stagger"]
    kept = told("notebook", "add", "--run", "heat", "--best", "23.1s")
    assert kept["recommended_stagger_in"] == pytest.approx(advised)
    assert kept["optimum_stagger_in"] == pytest.approx(alone["unbounded_in"], abs=1e-6)


# Two at once


def test_whoever_comes_later_changes_what_the_earlier_left(trailer):
    """Eight at once, each a pound into the right rear: all eight are in it and in the book."""
    from concurrent.futures import ThreadPoolExecutor

    def pump(_):
        def change(now):
            return pumped(now.night, now.car, "right_rear",
                          float(now.standing.car.pressure.right_rear) + PSI, 0.0)  # fmt: skip

        done(trailer, "air", change)

    before = load_trailer(trailer).night.on_car.right_rear.pressure
    with ThreadPoolExecutor(8) as crew:
        list(crew.map(pump, range(8)))
    after = load_trailer(trailer).night.on_car.right_rear.pressure
    assert (after - before) / PSI == pytest.approx(8, abs=1e-4)
    with Book(trailer / "season.db") as book:
        assert [one.what for one in book.actions()].count("air") == 8


def test_what_was_asked_for_of_an_older_night_is_not_done(trailer):
    seen = mark_of(load_trailer(trailer).night)
    done(trailer, "tonight", lambda now: replace(now.night, condition="heavy"), seen)
    with pytest.raises(ChangedError):
        done(trailer, "tonight", lambda now: replace(now.night, condition="tacky"), seen)
    same = done(trailer, "tonight", lambda now: replace(now.night, condition="heavy"), seen)
    assert same.night.condition == "heavy"  # asked twice, a double tap, is done once


def test_a_surface_in_between_is_tonights(trailer, say, told):
    between = told("tonight", "heavy to slick 60%")
    assert between["condition"] == "heavy to slick 60%"
    asked = told("baseline")
    assert asked["stagger"]["recommended_in"] == between["recommended_in"]
    status, _, err = say("tonight", "heavy to soaked 60%")
    assert status == 2
    assert "soaked" in err


def test_tonight_and_baseline_hear_the_same_lap_time(trailer, say, told):
    asked = told("tonight", "--lap-time", "23.1s")
    status, out, _ = say("baseline", "--json")  # it says on the error stream what the lap told
    assert status == 0
    assert asked["recommended_in"] == json.loads(out)["stagger"]["recommended_in"]


def test_two_lap_times_of_a_night_tell_how_far_the_track_has_come(trailer, say):
    _, first, _ = say("tonight", "--lap-time", "19.4s")
    assert "slicked" not in first
    _, second, _ = say("tonight", "--lap-time", "20.6s")
    assert "slower by 1.2 s: slicked off" in " ".join(second.split())
    assert len(second.splitlines()) <= 24
    say("tonight", "saucer hill", "tacky")
    _, again, _ = say("tonight", "--lap-time", "20.6s")
    assert "slicked" not in again or "slower by 1.2 s" in again


def test_the_best_lap_of_a_run_becomes_tonights_lap_time(trailer, say, told):
    _, out, err = say("notebook", "add", "--run", "heat", "--best", "27.5s")
    assert err == ""
    assert "Tonight goes by that lap: 27.50 s is" in " ".join(out.split())
    assert told("trailer")["tonight"]["lap_time_s"] == 27.5
    assert say("notebook", "add", "--run", "main", "--best", "62s", "--yes")[0] == 0  # a yellow
    told("notebook", "add", "--run", "main", "--best", "26s", "--counts", "no")
    assert told("trailer")["tonight"]["lap_time_s"] == 27.5


def test_a_lap_no_surface_gives_is_refused_and_not_written(trailer, say):
    before = (trailer / "trailer.yaml").read_bytes()
    status, _, err = say("tonight", "--lap-time", "9.8s")
    assert status == 2
    assert "not to be had" in err
    assert (trailer / "trailer.yaml").read_bytes() == before


def test_the_review_says_how_far_the_track_came_in_a_night(trailer, say):
    for session, best in (("hot laps", "26.6s"), ("feature", "28.4s")):
        assert say("notebook", "add", "--run", session, "--best", best)[0] == 0
    _, out, _ = say("notebook", "review", "--full")
    assert "slower by 1.8 s: slicked off" in " ".join(out.split())
    _, out, _ = say("notebook", "review")
    assert "slicked off" not in out


def test_a_season_in_a_spreadsheet_gets_the_physics_of_the_trailer(trailer, say, told):
    rows = [f"{day}/2/2026;kettle bottom;Our Car;slick;{stagger};17.9"
            for day in (5, 6, 7) for stagger in ("1 1/2", "1 3/4", "2")]  # fmt: skip
    rows += ["8/2/2026;Elsewhere;Our Car;slick;2;17.9", "8/2/2026;Kettle Bottom;another;slick;2;18"]
    sheet = trailer / "season.csv"
    sheet.write_text("date;track;car;surface;stagger;best\n" + "\n".join(rows) + "\n")
    taken = told("notebook", "import", sheet)
    assert (taken["added"], taken["reckoned"]) == (11, 9)
    wanted = told("baseline", "--no-book")["stagger"]["unbounded_in"]
    runs = [page.run for page in Book(trailer / "season.db").runs()]
    reckoned = [run.optimum_stagger / INCH for run in runs if run.optimum_stagger is not None]
    assert reckoned == [pytest.approx(wanted, abs=0.01)] * 9
    # The same file brings nothing twice, also when the car file has changed in between.
    say("notebook", "edit", "1", "--best", "18.2s")
    car = trailer / "car.yaml"
    assert "340" in car.read_text()
    car.write_text(car.read_text().replace("340", "440"))
    taken = told("notebook", "import", sheet)
    assert (taken["added"], taken["changed"], taken["reckoned"]) == (0, 0, 0)
