"""rollpath debrief: answers, recorded laps, the page, and input that cannot be used."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rollpath import Answers, RollpathError, debrief
from rollpath.book.book import Book
from rollpath.cli import main
from rollpath.feel.answers import ANSWERS
from rollpath.show.debrief import debrief_json
from rollpath.show.words import SHORT_CAUTIONS, as_json

from scripts.made_season import Season, made_season

CASE = ("debrief", "tracks/saucer-hill.yaml", "cars/number-31.yaml", "--condition", "slick",
        "--groove", "middle")  # fmt: skip
LOG = ("--log", "tracks/logs/saucer-hill-run.csv")


@pytest.fixture
def run(capsys):
    def call(*words):
        status = main(list(words))
        out, err = capsys.readouterr()
        return status, out, err

    return call


@pytest.fixture
def data(run):
    def call(*words):
        status, out, err = run(*CASE, "--json", *words)
        assert status == 0, err
        return json.loads(out)

    return call


class TestAnswers:
    def test_no_answers_no_verdict(self, data):
        told = data()
        assert "verdict" not in told and "log" not in told
        phases = told["scrub"]["now"]
        assert sum(v for k, v in phases.items() if k != "lap_ft") == pytest.approx(
            phases["lap_ft"], rel=1e-5
        )

    def test_wheel_right_and_crabbing_asks_for_less(self, data):
        told = data("--wheel", "right", "--crabs", "yes", "--wheelspin", "no")
        verdict = told["verdict"]
        assert verdict["change"] == "less"
        assert -0.5 <= verdict["amount_in"] < 0
        assert set(verdict) >= {"change", "amount_in", "reason", "confidence"}
        # One number: what to bolt on is what is on the car and the step.
        ordered = told["now"]["stagger_in"] + verdict["amount_in"]
        assert told["stagger"]["recommended_in"] == pytest.approx(ordered)
        assert told["bite"]["hold_front_stagger_change_in"] < 0

    def test_a_push_that_the_lap_does_not_know_of_is_never_answered_with_less(self, data):
        verdict = data("--wheel", "left", "--drifts-out", "yes", "--wheelspin", "no")["verdict"]
        assert verdict["amount_in"] >= 0
        assert verdict["confidence"] != "high"

    def test_push_is_taken_where_tight_is(self, data):
        pushes, tight = (data("--wheel", "straight", "--entry", one) for one in ("push", "tight"))
        assert pushes == tight and "entry" in tight["verdict"]["reason"]

    def test_wheelspin_is_no_stagger_problem(self, data):
        verdict = data("--wheel", "left", "--drifts-out", "yes", "--wheelspin", "yes")["verdict"]
        assert (verdict["change"], verdict["amount_in"]) == ("elsewhere", 0)

    def test_contradiction_asks_a_question(self, data):
        verdict = data("--wheel", "left", "--crabs", "yes")["verdict"]
        assert verdict["change"] == "ask" and verdict["question"].endswith("?")

    def test_help_says_what_each_answer_means(self, run, capsys):
        with pytest.raises(SystemExit):
            main(["debrief", "--help"])
        shown = " ".join(capsys.readouterr().out.split())
        for meanings in ANSWERS.values():
            for meaning in meanings.values():
                assert meaning in shown

    def test_screen_gives_the_verdict_first_and_the_cautions_last(self, run):
        _, out, _ = run(*CASE, "--wheel", "right", "--crabs", "yes")
        assert out.startswith("Less stagger: -")
        assert len(out.splitlines()) <= 24
        assert "hold bite with that step: take out" in out
        assert out.rstrip().endswith(SHORT_CAUTIONS[-1])


class TestLog:
    def test_demo_log_says_take_some_out(self, data):
        told = data(*LOG, "--gear-ratio", "5.8")
        assert told["verdict"]["change"] == "less"
        log = told["log"]
        assert log["laps"] == log["laps_found"] == 3
        assert 3 < log["slip_pct"] < 20
        assert log["exit_steer_deg"] == pytest.approx(log["exit_steer_model_deg"], abs=3)
        assert log["needed_in"] < log["taped_in"]
        assert not log["gear_ratio_doubted"]

    def test_the_line_that_was_recorded_takes_the_place_of_the_line_that_was_named(self, data):
        """One car, one physics: a log on another line than was said is believed, and no surer."""
        for groove in ("low", "rounded"):
            named = ("--groove", groove)
            told, alone = data(*named, *LOG, "--gear-ratio", "5.8"), data(*named)
            said, best = told["log"]["says"]["best_in"], told["belief"]["best_in"]
            physics = told["belief"]["physics_in"]
            assert abs(best - said) < 0.3 * abs(best - physics) + 0.02
            assert np.ptp(told["belief"]["between_in"]) > np.ptp(alone["belief"]["between_in"])

    def test_driver_and_logger_agree(self, data):
        told = data(*LOG, "--wheel", "right", "--crabs", "yes", "--wheelspin", "no")
        assert told["verdict"]["change"] == "less"
        assert told["verdict"]["confidence"] == "high"
        assert told["log"]["disagreement"] is None

    def test_driver_and_logger_disagree_and_it_is_said(self, data, run):
        words = (*LOG, "--wheel", "left", "--drifts-out", "yes", "--wheelspin", "no")
        told = data(*words)
        assert told["verdict"]["change"] == "ask"
        assert "The driver says more, the logger less" in told["log"]["disagreement"]
        _, out, _ = run(*CASE, *words)
        assert "The driver says more, the logger less" in " ".join(out.split())
        assert len(out.splitlines()) <= 24

    def test_wheelspin_that_the_log_does_not_show_is_said(self, data, run):
        words = (*LOG, "--gear-ratio", "5.8", "--wheelspin", "yes")
        assert data(*words)["verdict"]["confidence"] == "low"
        assert "the logger shows none" in " ".join(run(*CASE, *words)[1].split())

    def test_wrong_gear_is_said(self, data, run):
        told = data(*LOG, "--gear-ratio", "5.2")
        assert told["log"]["gear_ratio_doubted"]
        assert told["log"]["gear_ratio_looks_like"] == pytest.approx(5.8, rel=0.03)
        _, out, _ = run(*CASE, *LOG, "--gear-ratio", "5.2")
        assert "the gear ratio reads like 5." in " ".join(out.split())

    def test_a_log_full_of_faults_fits_a_phone_the_pressing_ones_first(
        self, run, tmp_path, monkeypatch
    ):
        """Far rows, a clock started again, steering to the right, a wrong gear."""
        monkeypatch.setenv("COLUMNS", "40")
        heading, *rows = Path(LOG[1]).read_text().splitlines()
        names, cells = heading.split(","), [row.split(",") for row in rows]
        for i, row in enumerate(cells):
            row[names.index("steering angle (deg)")] = f"{-float(row[5]):.1f}"
            row[0] = f"{float(row[0]) - (35 if i >= 350 else 0):.2f}"
            row[1] = "9000" if i in (90, 91) else row[1]
        path = tmp_path / "bad.csv"
        path.write_text("\n".join([heading, *(",".join(row) for row in cells)]))
        words = ("--log", str(path), "--gear-ratio", "5.2", "--wheel", "right", "--crabs", "yes")
        _, out, _ = run(*CASE, *words)
        assert len(out.splitlines()) <= 24 and "notes more: --full" in out
        assert "the gear ratio reads like 5." in " ".join(out.split())
        shown = " ".join(run(*CASE, *words, "--full")[1].split())
        assert "--steering-positive right" in shown and "started again" in shown

    def test_without_a_gear_ratio_slip_is_left_out_and_said(self, data):
        log = data(*LOG)["log"]
        assert log["slip_pct"] is None
        assert any("--gear-ratio" in note for note in log["notes"])

    def test_gear_ratio_may_stand_in_the_car_file(self, run, tmp_path):
        car = tmp_path / "car.yaml"
        car.write_text(Path("cars/number-31.yaml").read_text() + "gear_ratio: 5.8\n")
        status, out, _ = run(CASE[0], CASE[1], str(car), *CASE[3:], *LOG, "--json")
        assert status == 0
        assert json.loads(out)["log"]["gear_ratio"] == 5.8

    def test_si_screen_has_no_inches(self, run):
        _, out, _ = run(*CASE, *LOG, "--gear-ratio", "5.8", "--units", "si")
        assert " in " not in out.split("Recorded laps")[1].split("Rear stagger")[0].replace(
            " in time", ""
        )
        assert "mm" in out

    def test_column_is_taken_by_its_heading(self, data, tmp_path):
        path = tmp_path / "odd.csv"
        path.write_text(Path(LOG[1]).read_text().replace("steering angle (deg)", "pot 3", 1))
        assert data("--log", str(path))["log"]["exit_steer_deg"] is None
        told = data("--log", str(path), "--column", "steering=pot 3 (deg)")
        assert told["log"]["exit_steer_deg"] is not None

    def test_steering_counted_to_the_right_is_turned(self, data, tmp_path):
        heading, *rows = Path(LOG[1]).read_text().splitlines()
        place = heading.split(",").index("steering angle (deg)")
        for i, row in enumerate(rows):
            cells = row.split(",")
            cells[place] = str(-float(cells[place]))
            rows[i] = ",".join(cells)
        path = tmp_path / "right.csv"
        path.write_text("\n".join([heading, *rows]))
        log = data("--log", str(path))["log"]
        assert log["exit_steer_deg"] is None
        assert any("--steering-positive right" in note for note in log["notes"])
        told = data("--log", str(path), "--steering-positive", "right")
        assert told["log"]["exit_steer_deg"] is not None


class TestStaggerTold:
    def test_what_was_on_the_car_may_be_told(self, data):
        told = data("--stagger", "3-1/4in", "--wheel", "right", "--crabs", "yes")
        assert told["now"]["stagger_in"] == pytest.approx(3.25)
        assert told["verdict"]["change"] == "less"
        told = data("--stagger", "1 1/4 in", *LOG)
        assert told["log"]["taped_in"] == pytest.approx(1.25)

    def test_an_absurd_one_is_one_line(self, run):
        status, _, err = run(*CASE, "--stagger", "225in")
        assert status == 2 and "between -8 and 8 in" in err and err.count("\n") == 1


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Nights of a car that wants half an inch less than the physics says."""
    path = tmp_path_factory.mktemp("book") / "season.db"
    pages, _ = made_season(Season(off=-0.5, nights=14, runs=5), np.random.default_rng(4))
    with Book(path) as book:
        for page in pages:
            book.add(replace(page.run, track="Saucer Hill"))
    return ("--book", str(path))


class TestNights:
    def test_baseline_and_debrief_agree_on_the_best_stagger(self, run, book):
        told = [
            json.loads(run(job, *CASE[1:], *book, "--json")[1]) for job in ("baseline", "debrief")
        ]
        assert told[0]["correction"]["stagger_in"] < -0.3
        for key in ("recommended_in", "unbounded_in", "band_in"):
            assert told[0]["stagger"][key] == pytest.approx(told[1]["stagger"][key])
        assert told[1]["belief"]["best_in"] == pytest.approx(
            told[0]["stagger"]["unbounded_in"], abs=0.02
        )

    def test_the_door_and_the_command_come_to_the_same(self, run, book):
        words = (*LOG, "--gear-ratio", "5.8", "--wheel", "right", "--crabs", "yes",
                 "--stagger", "2-1/4in")  # fmt: skip
        told = json.loads(run(*CASE, *book, *words, "--json")[1])
        same = debrief(
            CASE[1], CASE[2], "slick", "middle", answers=Answers("right", crabs="yes"),
            log=LOG[1], gear_ratio=5.8, stagger="2 1/4 in", book=book[1],
        )  # fmt: skip
        assert json.loads(as_json(debrief_json(same))).items() <= told.items()

    def test_a_log_of_those_laps_is_not_counted_twice_beside_the_nights(self, run, book):
        """The nights hold the laps' times, the log their line: each speaks of its own."""
        log = (*LOG, "--gear-ratio", "5.8")
        told = {
            key: json.loads(run(*CASE, *words, "--json")[1])["belief"]
            for key, words in {"log": log, "nights": book, "both": (*book, *log)}.items()
        }
        ends = sorted(told[key]["best_in"] for key in ("log", "nights"))
        assert ends[0] - 0.02 <= told["both"]["best_in"] <= ends[1] + 0.02
        width = {key: float(np.ptp(one["between_in"])) for key, one in told.items()}
        # Two independent witnesses: precisions add (Gelman, Bayesian Data Analysis, ch. 2).
        assert width["both"] >= 0.97 * (width["log"] ** -2 + width["nights"] ** -2) ** -0.5

    def test_every_witness_has_its_share(self, run, book):
        words = (*LOG, "--gear-ratio", "5.8", "--wheel", "right", "--crabs", "yes")
        _, out, _ = run(*CASE, *book, *words, "--json")
        shares = json.loads(out)["belief"]["shares"]
        assert set(shares) == {"physics", "driver", "log", "nights"}
        assert sum(shares.values()) == pytest.approx(1.0, abs=1e-4)
        _, out, _ = run(*CASE, *book, *words, "--full")
        assert all(f"{name} " in out.split("who brought it")[1] for name in shares)

    def test_fits_a_phone_with_a_log_and_a_notebook(self, run, book, monkeypatch):
        monkeypatch.setenv("COLUMNS", "40")
        for felt in (("--wheel", "right", "--crabs", "yes"), ("--wheel", "left"), ()):
            _, out, _ = run(*CASE, *book, *LOG, "--gear-ratio", "5.8", *felt)
            assert len(out.splitlines()) <= 24
            assert max(map(len, out.splitlines())) <= 40


class TestPage:
    def test_two_pages_are_written(self, run, tmp_path):
        status, _, err = run(*CASE, *LOG, "--gear-ratio", "5.8", "--out", str(tmp_path / "s.pdf"))
        assert status == 0, err
        assert (tmp_path / "s.pdf").read_bytes().count(b"/Type /Page ") == 2

    def test_png_of_each_page_without_a_log(self, run, tmp_path):
        status, _, err = run(*CASE, "--paper", "a4", "--out", str(tmp_path / "night"))
        assert status == 0, err
        names = {path.name for path in (tmp_path / "night").iterdir()}
        assert names == {"debrief.pdf", "debrief.png", "debrief-2.png"}


class TestBadInput:
    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("--wheel", "up"), "invalid choice"),
            (("--log", "nowhere.csv"), "no such log"),
            (("--gear-ratio", "5.8"), "go with --log"),
            ((*LOG, "--gear-ratio", "tall"), "expected a number from 0.5 to 30"),
            ((*LOG, "--column", "speed"), "expected one of time, latitude"),
            ((*LOG, "--column", "boost=speed"), "expected one of time, latitude"),
            ((*LOG, "--column", "speed=knots of speed"), 'no column "knots of speed"'),
            (("--out", "sheet.txt"), ".pdf or .png"),
        ],
    )
    def test_is_one_line_and_status_2(self, run, words, said):
        status, _, err = run(*CASE, *words)
        assert status == 2
        assert said in err and err.count("\n") == 1
        assert err.startswith("rollpath: ")

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("", "empty"),
            ('<?xml version="1.0"?>\n<gpx></gpx>\n', "read from a CSV with a heading"),
            ("time,x (m),y (m)\n0,0,0\n", "1 rows are too few"),
            ("time,x (m),y (m)\n" + "".join(f"{i},{i},0\n" for i in range(200)), "lap"),
            ("\x00\x01\x02", ""),
        ],
    )
    def test_log_that_is_no_log(self, run, tmp_path, text, said):
        path = tmp_path / "run.csv"
        path.write_text(text)
        status, _, err = run(*CASE, "--log", str(path))
        assert status == 2
        assert str(path) in err and said in err and "Traceback" not in err

    def test_the_door_names_the_log_that_is_of_another_track(self):
        with pytest.raises(RollpathError, match=rf"^{LOG[1]}: the recorded lap .*another track"):
            debrief("tracks/ropewalk.yaml", CASE[2], log=LOG[1])

    def test_log_of_another_track(self, run):
        status, _, err = run("debrief", "--radius", "60ft", "--straight", "90ft", "--width",
                             "40ft", CASE[2], *LOG)  # fmt: skip
        assert status == 2
        assert "another track" in err
