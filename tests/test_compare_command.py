"""The `compare` command: cases side by side, the reason for the difference, sweeps by numbers."""

import json
import tracemalloc
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from ovals import demo_car, demo_track
from rollpath.cli import main
from rollpath.compare import Sweep, sweep
from rollpath.show.words import SHORT_CAUTIONS

ROPEWALK, SAUCER, PONDS = (
    f"tracks/{name}.yaml" for name in ("ropewalk", "saucer-hill", "two-ponds")
)
CARS = ("cars/number-31.yaml", "cars/blue-heron.yaml")


@pytest.fixture
def run(capsys):
    def run_command(*words):
        status = main(["compare", *words])
        printed = capsys.readouterr()
        return status, printed.out, printed.err

    return run_command


def rows_of(run, *words):
    status, out, err = run(*words, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)["rows"]


def test_every_combination_has_a_row_with_the_keys_of_baseline(run, capsys):
    rows = rows_of(run, ROPEWALK, SAUCER, "--car", CARS[0], "--conditions", "heavy,slick",
                   "--grooves", "middle,rounded,diamond")  # fmt: skip
    cases = [(row["track"], row["condition"], row["groove"]) for row in rows]
    assert len(set(cases)) == 12
    main(["baseline", ROPEWALK, CARS[0], "--condition", "heavy", "--groove", "middle", "--json"])
    alone = json.loads(capsys.readouterr().out)
    for key in ("uncertainty_in", "uncertainty_shares_in", "assumed_shares_in"):
        del alone["stagger"][key]  # how sure an answer is, is told one at a time
    assert rows[cases.index(("Ropewalk", "heavy", "middle"))] == alone


def test_each_condition_brings_its_own_groove_unless_asked(run):
    rows = rows_of(run, PONDS, "--car", CARS[0])
    assert [(row["condition"], row["groove"]) for row in rows] == [
        ("heavy", "middle"), ("tacky", "middle"), ("rubbered", "low"), ("slick", "rounded"),
    ]  # fmt: skip


def test_rows_come_sorted_as_asked(run):
    rows = rows_of(run, ROPEWALK, SAUCER, PONDS, "--car", CARS[0], "--grooves", "middle",
                   "--sort", "stagger")  # fmt: skip
    best = [row["stagger"]["unbounded_in"] for row in rows]
    assert best == sorted(best)


def test_heavy_wants_more_than_slick_on_every_demo_track_and_car(run):
    # common practice, no source
    for car in CARS:
        rows = rows_of(run, ROPEWALK, SAUCER, PONDS, "--car", car, "--conditions", "heavy,slick",
                       "--grooves", "middle")  # fmt: skip
        for heavy, slick in zip(rows[::2], rows[1::2], strict=True):
            assert heavy["stagger"]["unbounded_in"] > slick["stagger"]["unbounded_in"] + 0.05


def test_the_parts_add_up_and_the_same_line_differs_by_load_and_drive_alone(run):
    from rollpath import baseline, load_car, load_track

    track, car = load_track(SAUCER), load_car(CARS[0])
    heavy, slick = (baseline(track, car, state, "middle").stagger for state in ("heavy", "slick"))
    for best in (heavy, slick):
        assert sum(vars(best.parts).values()) == pytest.approx(best.unbounded, abs=1e-12)
    assert heavy.parts.line == slick.parts.line
    assert heavy.parts.load > slick.parts.load


def test_screen_gives_the_reason_first_and_shows_the_parts(run):
    status, out, _ = run(ROPEWALK, SAUCER, "--car", CARS[0], "--conditions", "heavy",
                         "--grooves", "middle", "--full")  # fmt: skip
    assert status == 0
    first = " ".join(out.splitlines()[:3])
    assert "asks for" in first and "more than" in first and "the line" in first
    assert "line      load     drive" in out
    assert SHORT_CAUTIONS[0] in out


def test_pictures_are_drawn_for_each_track(run, tmp_path):
    status, *_ = run(ROPEWALK, SAUCER, "--car", CARS[0], "--conditions", "heavy,slick",
                     "--grooves", "low,middle", "--out", str(tmp_path))  # fmt: skip
    assert status == 0
    assert {path.name for path in tmp_path.iterdir()} == {
        "compare-grooves-1.png", "compare-grooves-2.png", "compare-needed.png",
        "compare-staggers.png",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("sweep", "key", "first", "count"),
    [
        ("inside_radius=120ft:260ft:20ft", "inside_radius_ft", 120, 8),
        ("bank.corners=0deg:12deg:4deg", "bank_corners_deg", 0, 4),
        ("power=100hp:300hp:100hp", "power_hp", 100, 3),
        ("weights.left_rear=700lb:900lb:100lb", "weights_left_rear_lb", 700, 3),
        ("conditions.heavy.grip=0.8:1.0:0.1", "conditions_heavy_grip", 0.8, 3),
    ],
)
def test_any_number_of_a_file_can_be_swept(run, sweep, key, first, count):
    rows = rows_of(run, PONDS, "--car", CARS[0], "--conditions", "heavy", "--grooves", "middle",
                   "--sweep", sweep)  # fmt: skip
    assert len(rows) == count
    assert rows[0][key] == pytest.approx(first)


def test_a_swept_case_equals_the_same_case_alone(run, tmp_path):
    rows = rows_of(run, ROPEWALK, "--car", CARS[0], "--conditions", "slick", "--grooves", "middle",
                   "--sweep", "straight=400ft:500ft:50ft")  # fmt: skip
    text = Path(ROPEWALK).read_text().replace("straight: 470 ft", "straight: 450 ft")
    longer = tmp_path / "longer.yaml"
    longer.write_text(text)
    alone = rows_of(run, str(longer), "--car", CARS[0], "--conditions", "slick",
                    "--grooves", "middle")[0]  # fmt: skip
    assert rows[1]["unbounded_in"] == pytest.approx(alone["stagger"]["unbounded_in"], abs=1e-5)


def test_a_free_groove_is_found_anew_for_each_shape(run):
    rows = rows_of(run, ROPEWALK, "--car", CARS[0], "--conditions", "slick", "--grooves", "rounded",
                   "--sweep", "width=40ft:60ft:20ft")  # fmt: skip
    assert rows[0]["lap_ft"] != rows[1]["lap_ft"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--conditions", "heavey"), 'did you mean "heavy"'),
        (("--grooves", "diamnd"), 'did you mean "diamond"'),
        (("--sweep", "inside_radius=120:260:20"), "with its unit"),
        (("--sweep", "inside_radus=120ft:260ft:20ft"), 'did you mean "inside_radius"'),
        (("--sweep", "inside_radius=260ft:120ft:20ft"), "goes up"),
        (("--sweep", "width=20ft:400ft:20ft"), "between 8 and 300 ft"),
        (("--sweep", "width=20ft:300ft:20ft", "--grooves", "middle"), "swallows the infield"),
        (("--sweep", "power=100hp:200hp:50hp", "--grooves", "low,high"), "one track"),
    ],
)
def test_what_cannot_be_compared_is_said_in_one_line(run, words, said):
    status, out, err = run(ROPEWALK, "--car", CARS[0], *words)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert said in err


def swept(count):
    over = Sweep("straight", "track", np.linspace(90.0, 110.0, count), "length")
    return sweep(demo_track("Saucer Hill"), demo_car(), over, "heavy", "middle")


def test_a_sweep_in_chunks_is_the_sweep_at_once(monkeypatch):
    whole = swept(11).rows
    monkeypatch.setattr(import_module("rollpath.compare"), "CHUNK", 4)
    for name, row in swept(11).rows.items():
        np.testing.assert_allclose(row, whole[name], rtol=1e-8)


def test_memory_stays_flat_however_many_cases_are_swept(monkeypatch):
    # tracemalloc, to which numpy reports: all that is held at the worst moment, bytes.
    monkeypatch.setattr(import_module("rollpath.compare"), "CHUNK", 16)
    peaks = []
    for count in (48, 240):
        tracemalloc.start()
        swept(count)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]
