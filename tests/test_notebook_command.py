"""`rollpath notebook` and `baseline --book`, as a racer types them."""

import io
import json
import os
import pty
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from notebook_helpers import made_nights, made_run
from rollpath.book.book import Book
from rollpath.book.exchange import to_csv
from rollpath.book.names import near_name
from rollpath.book.run import settled
from rollpath.cli import main
from rollpath.screen import eighths
from rollpath.units import INCH

ROOT = Path(__file__).parent.parent
ROPEWALK, SAUCER = str(ROOT / "tracks/ropewalk.yaml"), str(ROOT / "tracks/saucer-hill.yaml")
CAR = str(ROOT / "cars/number-31.yaml")


class Told:
    """What a command said and how it ended."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self.capsys = capsys

    def __call__(self, *typed: str, status: int = 0) -> str:
        capsys = self.capsys
        capsys.readouterr()
        assert main(list(typed)) == status
        out, err = capsys.readouterr()
        self.errors = err
        assert "Traceback" not in err
        return err if status else out

    def json(self, *typed: str) -> Any:
        return json.loads(self(*typed, "--json"))


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Told:
    return Told(capsys)


@pytest.fixture
def book(tmp_path: Path) -> str:
    return str(tmp_path / "book.db")


def car_file(folder: Path, right_rear: str, left_rear: str = "838 lb") -> str:
    """The demo car with another right rear tire and another left rear pad."""
    text = Path(CAR).read_text().replace("86 1/4 in", right_rear).replace("838 lb", left_rear)
    path = folder / f"car-{len(list(folder.iterdir()))}.yaml"
    path.write_text(text)
    return str(path)


def test_add_keeps_the_car_and_what_was_recommended(told: Told, book: str) -> None:
    advised = told.json("baseline", ROPEWALK, CAR, "--condition", "slick")["stagger"]
    told(
        "notebook", "add", "--book", book, "--track", ROPEWALK, "--car", CAR,
        "--condition", "slick", "--run", "feature", "--best", "17.84s", "--typical", "18.1 s",
        "--wheel", "left", "--drifts-out", "yes", "--crabs", "no", "--wheelspin", "no",
        "--entry", "tight", "--when", "2026-05-02 21:40", "--note", "dust in turn 3",
        "--jack", "left-rear=2 turns", "--pressure", "left-rear=9psi",
    )  # fmt: skip
    run = told.json("notebook", "show", "1", "--book", book)
    kept = {
        "track": "Ropewalk", "car": "Number 31", "condition": "slick", "groove": "diamond",
        "session": "feature", "when": "2026-05-02T21:40:00", "best_lap_s": 17.84,
        "typical_lap_s": 18.1, "wheel": "left", "drifts_out": "yes", "crabs": "no",
        "wheelspin": "no", "entry": "tight", "note": "dust in turn 3", "weights_from": "scales",
        "left_rear_jack_turns": 2.0, "left_rear_pressure_psi": 9.0, "right_rear_rollout_in": 86.25,
        "rear_stagger_in": 2.5, "bite_lb": 59.0, "left_front_weight_lb": 812.0,
        "recommended_stagger_in": advised["recommended_in"],
        "window_low_in": 1.0, "window_high_in": 4.0, "earlier": [],
    }  # fmt: skip
    assert {key: run[key] for key in kept} == kept
    assert run["optimum_stagger_in"] == pytest.approx(advised["unbounded_in"], abs=1e-5)


def test_what_was_not_said_stays_open(told: Told, book: str) -> None:
    told("notebook", "add", "--book", book, "--track", "Old Brickyard", "--car", "My first car")
    run = told.json("notebook", "show", "1", "--book", book)
    assert run["track"] == "Old Brickyard"
    assert [run[key] for key in ("condition", "wheel", "best_lap_s", "rear_stagger_in")] == [
        None
    ] * 4


def test_new_tires_without_new_pads_predict_the_bite(told: Told, book: str, tmp_path: Path) -> None:
    for tire in ("86 1/4 in", "86 3/4 in"):
        told("notebook", "add", "--book", book, "--track", "A", "--car", car_file(tmp_path, tire))
    first, second = told.json("notebook", "list", "--book", book)["runs"]
    assert (first["weights_from"], second["weights_from"]) == ("scales", "predicted")
    # The car file: 9.5 lb an inch, found on its scales.
    assert second["bite_lb"] == pytest.approx(59 - 0.5 * 9.5, abs=0.01)
    totals = [
        sum(run[f"{corner}_weight_lb"] for corner in
            ("left_front", "right_front", "left_rear", "right_rear"))
        for run in (first, second)
    ]  # fmt: skip
    assert totals[0] == pytest.approx(totals[1], abs=1e-3)
    told(
        "notebook", "add", "--book", book, "--track", "A", "--car", car_file(tmp_path, "85 3/4 in"),
        "--pads", "scales",
    )  # fmt: skip
    assert told.json("notebook", "show", "3", "--book", book)["bite_lb"] == 59


def test_jack_turns_since_the_pads_were_read_are_in_the_bite(told: Told, book: str) -> None:
    for typed in ([], ["--jack", "left-rear=2turns"]):
        told("notebook", "add", "--book", book, "--track", "A", "--car", CAR, *typed)
    bite = told.json("bite", CAR, "--jack", "left-rear=2turns")
    run = told.json("notebook", "show", "2", "--book", book)
    assert run["bite_lb"] == pytest.approx(bite["then"]["bite_lb"], abs=0.01)


def test_find_one_night(told: Told, book: str) -> None:
    for track, when, note in (
        ("Ropewalk", "2025-05-03 20:00", "moon"),
        ("Saucer Hill", "2025-06-14 21:00", "rain at seven"),
        ("Ropewalk", "2026-05-02 21:00", "dry"),
    ):
        told(
            "notebook", "add", "--book", book, "--track", track, "--car", "31", "--when", when,
            "--note", note,
        )  # fmt: skip

    def numbers(*typed: str) -> list[int]:
        listed = told.json("notebook", "list", "--book", book, *typed)
        return [run["number"] for run in listed["runs"]]

    assert numbers("--track", "ropewalk") == [1, 3]
    assert numbers("--find", "RAIN") == [2]
    assert numbers("--since", "2026-01-01") == [3]
    assert numbers("--find", "2025-06-14") == [2]
    assert numbers("--condition", "slick") == []
    assert told("notebook", "list", "--book", book, "--find", "snow") == (
        "No such runs in the notebook.\n"
    )


def test_edit_shows_what_was(told: Told, book: str) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B", "--best", "17.84s",
         "--wheel", "left")  # fmt: skip
    shown = told("notebook", "edit", "1", "--book", book, "--best", "17.64s", "--blank", "wheel")
    assert re.search(r"best lap +17\.64 s", shown)
    assert "driver was held left under throttle; best lap was 17.84 s" in shown
    (earlier,) = told.json("notebook", "show", "1", "--book", book)["earlier"]
    assert (earlier["best_lap_s"], earlier["wheel"]) == (17.84, "left")


@pytest.mark.parametrize("name", ["season.csv", "season.json"])
def test_export_import_and_backup(told: Told, book: str, tmp_path: Path, name: str) -> None:
    for note in ("=1+1", "two\nlines", "ถนนดิน"):
        told("notebook", "add", "--book", book, "--track", ROPEWALK, "--car", CAR,
             "--condition", "heavy", "--note", note)  # fmt: skip
    told("notebook", "edit", "2", "--book", book, "--best", "17.5s")
    target, other, copy = str(tmp_path / name), str(tmp_path / "b.db"), str(tmp_path / "c.db")
    told("notebook", "export", target, "--book", book)
    assert "is there already" in told("notebook", "export", target, "--book", book, status=2)
    assert "3 runs added" in told("notebook", "import", target, "--book", other)
    told("notebook", "backup", copy, "--book", book)
    with Book(book) as one, Book(other) as two, Book(copy) as three:
        assert one.pages() == two.pages() == three.pages()


def test_review_warns_of_two_changes_and_names_the_runs_that_would_teach(
    told: Told, book: str, tmp_path: Path
) -> None:
    for tire, pad, minute in (("86 1/4 in", "838 lb", 0), ("86 3/4 in", "870 lb", 40)):
        told(
            "notebook", "add", "--book", book, "--track", "A", "--pads", "scales",
            "--car", car_file(tmp_path, tire, pad), "--when", f"2026-05-02 20:{minute:02}",
        )  # fmt: skip
    text = " ".join(told("notebook", "review", "--full", "--book", book).split())
    assert "rear stagger 2 1/2 in -> 3 in, bite 59 lb -> 91 lb" in text
    assert "This pair teaches nothing about either" in text
    assert "rear stagger 3 in with bite 59 lb; and rear stagger 2 1/2 in with bite 91 lb" in text
    (night,) = told.json("notebook", "review", "--book", book)["nights"]
    (step,) = night["steps"]
    assert step["confounded"] is True
    assert step["changes"] == [
        {"what": "rear stagger", "before_in": 2.5, "after_in": 3.0},
        {"what": "bite", "before_lb": 59.0, "after_lb": 91.0},
    ]
    assert len(step["trials"]) == 2


def season(path: str, off: float, seed: int = 5) -> None:
    with Book(path) as book:
        book.take(made_nights(16, off, seed, runs=4))


def test_baseline_puts_the_nights_on_the_physics_and_shows_both(told: Told, book: str) -> None:
    season(book, 0.3)
    typed = ["baseline", ROPEWALK, CAR, "--condition", "slick"]
    alone, both = told.json(*typed), told.json(*typed, "--book", book)
    found = both["correction"]
    assert found["interval_in"][0] <= 0.3 <= found["interval_in"][1]
    assert found["clean_runs"] >= 8
    physics, applied = both["physics"], both["stagger"]
    assert physics["recommended_in"] == alone["stagger"]["recommended_in"]
    assert applied["optimum_in"] == pytest.approx(
        physics["optimum_in"] + found["stagger_in"], abs=1e-4
    )
    assert applied["recommended_in"] == pytest.approx(
        round(applied["optimum_in"] * 8) / 8, abs=1e-6
    )
    assert both["lap"] == alone["lap"]
    tape = f"{eighths(physics['recommended_in'] * INCH)} in"
    text = " ".join(told(*typed, "--book", book).split())
    assert f"By physics alone {tape}" in text
    assert "at Ropewalk" in text


def test_a_correction_is_not_used_where_it_was_not_learned(told: Told, book: str) -> None:
    season(book, 0.3)
    typed = ["baseline", SAUCER, CAR, "--condition", "slick"]
    both = told.json(*typed, "--book", book)
    assert both["correction"] is None
    assert both["stagger"] == told.json(*typed)["stagger"]
    assert "learned at Ropewalk, not here" in " ".join(told(*typed, "--book", book).split())


def test_baseline_says_why_nothing_is_put_on_the_physics(told: Told, book: str) -> None:
    season(book, 0.3)
    typed = ["baseline", SAUCER, CAR, "--condition", "heavy"]
    both = told.json(*typed, "--book", book)
    assert both["correction"] is None
    assert both["stagger"] == told.json(*typed)["stagger"]
    assert "no correction; 0 clean runs" in " ".join(told(*typed, "--book", book).split())


def test_a_correction_stays_inside_the_window(told: Told, book: str) -> None:
    season(book, 0.5)
    typed = ["baseline", ROPEWALK, CAR, "--condition", "slick", "--window", "1in,1.5in"]
    both = told.json(*typed, "--book", book)
    assert both["stagger"]["recommended_in"] == 1.5
    assert both["stagger"]["at_window"] == "high"


def test_review_tells_the_correction_and_draws_it(told: Told, book: str, tmp_path: Path) -> None:
    season(book, 0.3)
    (study,) = told.json("notebook", "review", "--book", book)["studies"]
    assert study["correction"]["stagger_in"] == pytest.approx(0.3, abs=0.15)
    told("notebook", "review", "--book", book, "--out", str(tmp_path / "pictures"))
    names = {path.name for path in (tmp_path / "pictures").glob("*.png")}
    assert names == {"notebook-laps-1.png", "notebook-season-1.png"}


@pytest.mark.parametrize("name", ["$x^", "日本の土", "a\nb\x1b[31m", "x" * 80])
def test_any_name_is_drawn_and_listed(told: Told, book: str, tmp_path: Path, name: str) -> None:
    with Book(book) as writer:
        for page in made_nights(3, 0.3, 1):
            writer.add(replace(page.run, track=name, car=name, note=name))
    told("notebook", "review", "--book", book, "--out", str(tmp_path / "pictures"))
    for action in (["list"], ["show", "1"], ["review"]):
        assert "\x1b" not in told("notebook", *action, "--book", book)
    assert len(told("notebook", "list", "--book", book).splitlines()) == 11, "nine runs"


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        (["add", "--car", CAR], "--track is missing"),
        (["add", "--track", "A"], "--car is missing"),
        (["add", "--track", "tracks/nowhere.yaml", "--car", CAR], "no such track file"),
        (["add", "--track", "A", "--car", "B", "--best", "17.84 lb"], "expected a time"),
        (["add", "--track", "A", "--car", "B", "--best", "-3s"], "best_lap_s: expected a number"),
        (["add", "--track", "A", "--car", "B", "--wheel", "up"], "invalid choice: 'up'"),
        (["add", "--track", "A", "--car", "B", "--when", "Friday"], "2026-05-02 21:40"),
        (["add", "--track", "A", "--car", "B", "--jack", "nose=1turn"], "expected one of"),
        (["show", "7"], "no run 7 in this notebook"),
        (["edit", "1"], "nothing to change"),
        (["export", "x.txt"], "ends in .csv or .json"),
        (["import", "nothing.csv"], "cannot be read"),
        ([], "action"),
        (["lost"], "invalid choice: 'lost'"),
    ],
)
def test_bad_input_is_one_clear_line(
    told: Told, book: str, typed: list[str], complaint: str
) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B")
    where = ["--book", book] if typed and typed != ["lost"] else []
    message = told("notebook", *typed, *where, status=2)
    assert complaint in message
    assert len(message.splitlines()) == 1
    assert len(told.json("notebook", "list", "--book", book)["runs"]) == 1


def test_reading_a_notebook_that_is_not_there_makes_none(told: Told, tmp_path: Path) -> None:
    for action in (["list"], ["review"], ["show", "1"]):
        message = told("notebook", *action, "--book", str(tmp_path / "none.db"), status=2)
        assert "no notebook there yet" in message
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_book_is_rescued_and_told(told: Told, book: str) -> None:
    season(book, 0.3)
    data = bytearray(Path(book).read_bytes())
    data[4096:8192] = os.urandom(4096)
    Path(book).write_bytes(data)
    assert "64 runs" in told("notebook", "list", "--book", book)
    assert "is damaged" in told.errors
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B")
    assert "was damaged; rescued 64 runs into a new notebook" in told.errors
    assert "the damaged file is kept as" in told.errors


def test_a_book_that_is_gone_is_listed_from_its_journal(told: Told, book: str) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B")
    Path(book).unlink()
    assert "1 run" in told("notebook", "list", "--book", book)
    assert "is not there; read from its journal" in told.errors
    assert not Path(book).exists()
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B")
    assert "1 run brought back from its journal" in told.errors


def test_what_cannot_be_written_can_be_taken_in_later(
    told: Told, book: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "folder.db").mkdir()
    message = told(
        "notebook", "add", "--book", str(tmp_path / "folder.db"), "--track", "A", "--car", "B",
        "--best", "17.84s", "--note", "typed with cold hands", status=2,
    )  # fmt: skip
    line = message.splitlines()[-1].removeprefix("rollpath: ")
    monkeypatch.setattr(sys, "stdin", io.StringIO(line))
    assert "1 run added" in told("notebook", "import", "-", "--book", book)
    assert told.json("notebook", "show", "1", "--book", book)["note"] == "typed with cold hands"


def test_a_season_from_a_spreadsheet_is_taken(told: Told, book: str, tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_text("when,track,car,best_lap_s\n2024-06-01,A,B,17\n2024-06-08,A,B,fast\n")
    message = told("notebook", "import", str(path), "--book", book, status=2)
    assert f'{path}:3: best_lap_s: expected a plain number of s, got "fast"' in message


def test_a_person_at_the_terminal_is_asked(book: str) -> None:
    leader, follower = pty.openpty()
    typed = ["-m", "rollpath", "notebook", "add", "--book", book, "--track", ROPEWALK, "--car", CAR]
    child = subprocess.Popen(
        [sys.executable, *typed, "--run", "feature"],
        stdin=follower, stdout=follower, stderr=follower, cwd=ROOT,
    )  # fmt: skip
    os.close(follower)
    # condition; best lap, first no lap, then without its unit; wheel; the rest left out
    os.write(leader, b"slick\nfast\n17.84\nleft\n\n\n\n\n\n")
    seen = b""
    while True:
        try:
            part = os.read(leader, 4096)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        seen += part
    assert child.wait() == 0, seen
    os.close(leader)
    assert b"expected a time" in seen
    with Book(book) as reader:
        (page,) = reader.runs()
    run = page.run
    assert (run.condition, run.best_lap, run.wheel) == ("slick", 17.84, "left")
    assert (run.session, run.crabs) == ("feature", None)
    assert run.recommended_stagger is not None


def test_a_script_is_never_asked(book: str) -> None:
    typed = ["-m", "rollpath", "notebook", "add", "--book", book, "--track", "A", "--car", "B"]
    done = subprocess.run(
        [sys.executable, *typed], stdin=subprocess.DEVNULL, capture_output=True, text=True, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    assert "Enter" not in done.stdout


def test_every_action_has_help_with_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    for action in ("add", "list", "show", "edit", "export", "import", "backup", "review"):
        with pytest.raises(SystemExit):
            main(["notebook", action, "--help"])
        assert "example: rollpath notebook" in capsys.readouterr().out


def test_the_csv_holds_what_the_screen_does(told: Told, book: str, tmp_path: Path) -> None:
    with Book(book) as writer:
        writer.add(settled(made_run(2.5, left_rear_rollout=83.75 * INCH)))
        text = to_csv(writer.pages())
    assert "83.75" in text
    assert "2 1/2 in" in told("notebook", "show", "1", "--book", book)


# Names, staggers, dates and laps that are slips


@pytest.mark.parametrize(
    ("typed", "known", "near"),
    [
        ("ketle", ["Kettle Bottom", "Ropewalk"], "Kettle Bottom"),
        ("Kettel Botom", ["Kettle Bottom"], "Kettle Bottom"),
        ("kettle bot", ["Kettle Bottom"], "Kettle Bottom"),
        ("Ropewlak", ["Kettle Bottom", "Ropewalk"], "Ropewalk"),
        ("31", ["Number 31"], None),
        ("Number 32", ["Number 31"], None),
        ("Two Ponds", ["Kettle Bottom", "Ropewalk", "Saucer Hill"], None),
        ("B", ["A"], None),
        ("x", [], None),
    ],
)
def test_a_name_is_near_another(typed: str, known: list[str], near: str | None) -> None:
    assert near_name(typed, known) == near


def test_a_name_that_is_only_near_one_is_refused_unless_it_is_new(told: Told, book: str) -> None:
    def add(track: str, *typed: str, status: int = 0) -> str:
        return told("notebook", "add", "--book", book, "--track", track, "--car", "31", *typed,
                    status=status)  # fmt: skip

    add("Kettle Bottom")
    message = add("ketle", status=2)
    assert 'no such track in the notebook; did you mean "Kettle Bottom"? --new' in message
    assert "Kettle Bottom, 31" in add("kettle-bottom"), "the same but for capitals"
    assert "ketle, 31" in add("ketle", "--new")


def test_a_stagger_needs_no_car_file(told: Told, book: str) -> None:
    shown = told("notebook", "add", "--book", book, "--track", "A", "--car", "B",
                 "--stagger", "2 1/4in")  # fmt: skip
    assert "rear stagger 2 1/4 in" in shown
    assert told.json("notebook", "show", "1", "--book", book)["rear_stagger_in"] == 2.25
    told("notebook", "edit", "1", "--book", book, "--stagger", "2 1/2in")
    assert told.json("notebook", "show", "1", "--book", book)["rear_stagger_in"] == 2.5
    assert "expected a number from -8 to 8" in told(
        "notebook", "add", "--book", book, "--track", "A", "--car", "B", "--stagger", "83in",
        status=2,
    )  # fmt: skip


def test_a_stagger_beside_a_car_file_says_which_tire_it_moves(told: Told, book: str) -> None:
    shown = told("notebook", "add", "--book", book, "--track", "A", "--car", CAR,
                 "--stagger", "3in")  # fmt: skip
    assert "The right rear is taken as 86 3/4 in, from the stagger you gave." in shown
    run = told.json("notebook", "show", "1", "--book", book)
    assert (run["rear_stagger_in"], run["right_rear_rollout_in"]) == (3.0, 86.75)


def test_a_date_alone_is_that_evening(told: Told, book: str) -> None:
    for when in ("2026-05-02", "2026-05-02 23:30", "2026-05-03 00:40"):
        told("notebook", "add", "--book", book, "--track", "A", "--car", "B", "--when", when)
    (night,) = told.json("notebook", "review", "--book", book)["nights"]
    assert len(night["runs"]) == 3
    since = told.json("notebook", "list", "--book", book, "--since", "2026-05-02")["runs"]
    assert len(since) == 3
    assert told.json("notebook", "list", "--book", book, "--since", "2026-05-03")["runs"] == []
    message = told("notebook", "add", "--book", book, "--track", "A", "--car", "B",
                   "--when", "1926-05-02", status=2)  # fmt: skip
    assert "the year 1926: a slip?" in message


def test_a_lap_far_from_the_models_is_remarked_on_and_kept(told: Told, book: str) -> None:
    typed = ["notebook", "add", "--book", book, "--track", ROPEWALK, "--car", CAR,
             "--condition", "slick", "--best"]  # fmt: skip
    lap = told.json("baseline", ROPEWALK, CAR, "--condition", "slick")["lap"]["time_s"]
    assert told.json(*typed, f"{lap * 1.1:.2f}s")["remarks"] == []
    assert told.json(*typed, f"{lap * 1.4:.2f}s")["remarks"] == ["lap"]
    assert "Check the lap: the model laps here in about" in told(*typed, f"{lap * 0.7:.2f}s")
    assert len(told.json("notebook", "list", "--book", book)["runs"]) == 3


def test_a_stagger_that_is_not_the_files_moves_the_bite(told: Told, book: str) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", CAR, "--stagger", "3in")
    run = told.json("notebook", "show", "1", "--book", book)
    assert run["weights_from"] == "predicted"
    # The car file: 9.5 lb an inch, found on its scales, with a stagger of 2 1/2 in.
    assert run["bite_lb"] == pytest.approx(59 - 0.5 * 9.5, abs=0.01)


@pytest.mark.parametrize("columns", ["40", "80", "120"])
def test_screens_are_short_and_fit(
    told: Told, book: str, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    season(book, 0.3)
    monkeypatch.setenv("COLUMNS", columns)
    told("notebook", "edit", "36", "--book", book, "--tire", "lr=L5", "--tire", "rr=R7",
         "--jack", "lr=2turns", "--note", "dust in turn 3", "--pressure", "lr=9psi")  # fmt: skip
    for typed in (["list"], ["show", "36"], ["add", "--track", "Ropewalk", "--car", CAR]):
        lines = told("notebook", *typed, "--book", book).splitlines()
        assert len(lines) <= 24 + 2 * (typed[0] == "show"), "what it was before comes after"
        assert max(map(len, lines)) <= int(columns)
    assert len(told("notebook", "list", "--full", "--book", book).splitlines()) > 37


def test_tires_are_named(told: Told, book: str) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B", "--tire", "lr=L5",
         "--tire", "right-rear=R7", "--rollout", "lr=83 3/4in")  # fmt: skip
    shown = told("notebook", "show", "1", "--book", book)
    assert re.search(r"tires +LR L5, RR R7", shown)
    assert re.search(r"rollouts +LR 83 3/4 in", shown)


# Whatever the screen does, a run that is confirmed is told and kept


def add_run(book: str, out: Any, letters: str = "utf-8") -> "subprocess.CompletedProcess[bytes]":
    typed = ["-m", "rollpath", "notebook", "add", "--book", book, "--track", "土の道", "--car", "B"]
    return subprocess.run(
        [sys.executable, *typed], stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONIOENCODING": letters, "PYTHONUTF8": "0"},
    )  # fmt: skip


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full screen here")
def test_a_full_screen_is_one_line_and_the_run_is_kept(book: str) -> None:
    with Path("/dev/full").open("wb") as full:
        done = add_run(book, full)
    assert done.returncode == 0
    (line,) = done.stderr.decode().splitlines()
    assert "run 1 is in the notebook; the screen took no words" in line
    assert len(Book(book).runs()) == 1


@pytest.mark.parametrize("letters", ["ascii", "cp1252"])
def test_a_screen_that_knows_fewer_letters_is_told_with_those_it_has(
    book: str, letters: str
) -> None:
    done = add_run(book, subprocess.PIPE, letters)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Run 1 is in the notebook: ???, B" in done.stdout
    assert [page.run.track for page in Book(book).runs()] == ["土の道"]


# Imports that are no imports


def test_a_pipe_in_place_of_an_import_is_not_waited_for(
    told: Told, book: str, tmp_path: Path
) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    assert "no plain file" in told(
        "notebook", "import", str(tmp_path / "pipe.csv"), "--book", book, status=2
    )


def test_the_journal_itself_can_be_taken_in(told: Told, book: str, tmp_path: Path) -> None:
    told("notebook", "add", "--book", book, "--track", "A", "--car", "B", "--note", "kept")
    other = str(tmp_path / "other.db")
    told("notebook", "import", f"{book}.journal.jsonl", "--book", other)
    assert told.json("notebook", "show", "1", "--book", other)["note"] == "kept"
