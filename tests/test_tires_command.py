"""The tires command, its taping and its rack files, as a racer types them."""

import json
import re
import shutil
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.cli import main
from rollpath.files.racked import record_taping
from rollpath.files.racks import load_rack
from rollpath.screen import eighths
from rollpath.units import INCH, PSI

ROOT = Path(__file__).parent.parent
CAR = str(ROOT / "cars" / "number-31.yaml")
RACK = str(ROOT / "cars" / "racks" / "number-31.yaml")
TRACK = str(ROOT / "tracks" / "two-ponds.yaml")
SIDES = ("left_front", "right_front", "left_rear", "right_rear")
SMALL = """\
# my rack
name: Small
tires:
  - {id: A, rollout: 82 1/2 in}
  - {id: B, rollout: 83 3/4 in}   # the good one
  - id: C
    rollout: 83 3/4 in
    note: 'quoted: yes'
  - {id: D, rollout: [86 1/4 in, 86 1/4 in]}
"""
COMMAND = "tires"


@pytest.fixture
def rack(tmp_path):
    def write(text: str = SMALL) -> Path:
        path = tmp_path / "rack.yaml"
        path.write_bytes(text.encode())
        return path

    return write


def refusal(result: tuple[int, str, str]) -> str:
    status, out, err = result
    assert (status, out) == (2, "")
    assert "Traceback" not in err
    return err


# Choosing


def test_the_answer_names_the_four_before_anything_else(run):
    status, out, _ = run(RACK, "--car", CAR, "--stagger", "2-1/4in")
    first, second, *_ = out.splitlines()
    assert status == 0
    assert first.startswith("Bolt on: LF ")
    assert "rear stagger 2 1/4 in" in second


def test_the_rack_file_of_the_guide_can_be_read(rack):
    page = (ROOT / "sim" / "rollpath" / "guide" / "tires.md").read_text()
    block = re.search(r"```yaml\n(name: Number 31 rack.*?)```", page, re.DOTALL)
    assert block is not None
    found = load_rack(rack(block[1]))
    assert found.names == ["A1", "R7"] and found.pressure_limits is not None


def test_json_holds_what_was_promised(read):
    data = read(RACK, "--car", CAR, "--stagger", "2-1/4in")
    promised = {
        *SIDES, "rear_stagger_in", "front_stagger_in", "bite_lb", "bite_change_lb",
        "gear_change_pct", "wheel_changes", "score",
    }  # fmt: skip
    assert len(data["picks"]) == 10
    assert all(promised <= pick.keys() for pick in data["picks"])
    assert data["sets_considered"] > 1000
    scores = [pick["score"] for pick in data["picks"]]
    assert scores == sorted(scores)


def test_stagger_bite_and_gear_are_those_of_the_bite_command(read, capsys):
    pick = read(RACK, "--car", CAR, "--stagger", "3in")["picks"][0]
    sizes = [f"--{side.replace('_', '-')}={pick['rollouts_in'][side]!r}in" for side in SIDES]
    air = [f"--pressure={side}={pick['pressures_psi'][side]!r}psi" for side in SIDES]
    assert main(["bite", CAR, *sizes, *air, "--rack", RACK, "--json"]) == 0
    bite = json.loads(capsys.readouterr().out)
    assert bite["then"]["bite_lb"] == pytest.approx(pick["bite_lb"], abs=0.01)
    assert bite["gear_change_pct"] == pytest.approx(pick["gear_change_pct"], abs=1e-3)
    sizes = pick["rollouts_in"]
    assert sizes["right_rear"] - sizes["left_rear"] == pytest.approx(
        pick["rear_stagger_in"], abs=1e-3
    )


def test_a_track_gives_the_target_of_baseline(read, capsys):
    case = ("--condition", "slick", "--groove", "middle")
    data = read(RACK, "--car", CAR, "--track", TRACK, *case)
    assert main(["baseline", TRACK, CAR, *case, "--json"]) == 0
    stagger = json.loads(capsys.readouterr().out)["stagger"]
    assert data["target_in"] == pytest.approx(stagger["recommended_in"])
    assert data["band_in"] == pytest.approx(stagger["band_in"])
    low, high = data["band_in"]
    assert low - 0.07 <= data["picks"][0]["rear_stagger_in"] <= high + 0.07


def test_a_track_by_its_measurements_will_do(read):
    measures = ("--radius", "150ft", "--straight", "210ft", "--width", "45ft", "--groove", "middle")
    assert read(RACK, "--car", CAR, *measures)["picks"]


def test_holding_bite_changes_it_less(read):
    typed = (RACK, "--car", CAR, "--stagger", "2-1/4in", "--air", "as-is")
    loose, held = read(*typed), read(*typed, "--hold-bite")
    change = [abs(data["picks"][0]["bite_change_lb"]) for data in (loose, held)]
    assert change[1] < change[0]
    assert read(*typed, "--hold-bite", "--weigh-bite", "1")["picks"] == loose["picks"]


def test_wheels_that_cost_a_lot_stay_on(read):
    data = read(RACK, "--car", CAR, "--stagger", "2in", "--weigh-wheel", "50")
    assert data["picks"][0]["wheel_changes"] == 0


def test_out_of_reach_names_what_to_look_for_at_the_truck(run, read):
    typed = (RACK, "--car", CAR, "--stagger", "6in")
    data = read(*typed)
    assert not data["target_in_reach"]
    _, out, _ = run(*typed)
    flat = " ".join(out.split())
    assert "no set of this rack reaches 6 in" in flat
    assert f"a right rear of {eighths(data['look_for_in']['right_rear'] * INCH)} in" in flat


def test_why_compares_a_set_with_the_first(run, read):
    typed = (RACK, "--car", CAR, "--stagger", "2-1/4in")
    worst = read(*typed)["picks"][-1]
    own = ",".join(worst[side].lower() for side in SIDES)
    told = read(*typed, "--why", own)["why"]
    assert told["score"] == pytest.approx(worst["score"], rel=1e-4)
    assert told["better_sets"] == 9
    _, out, _ = run(*typed, "--why", own)
    assert "9 of " in out and "sets score better" in out
    assert "Not allowed: X2 is marked scrap" in run(*typed, "--why", "A1,B1,L4,X2")[1]


def test_si_screens_carry_no_inches(run):
    _, out, _ = run(RACK, "--car", CAR, "--stagger", "2-1/4in", "--units", "si", "--full", "--why",
                    "A1,B1,L4,R7")  # fmt: skip
    assert "57 mm" in out and "110 kPa" in out
    assert not re.search(r"\d (in|lb|psi)\b", out)


def test_pictures_are_drawn(run, tmp_path):
    status, _, _ = run(RACK, "--car", CAR, "--stagger", "2-1/4in", "--out", str(tmp_path))
    assert status == 0
    drawn = sorted(path.name for path in tmp_path.glob("*.png"))
    assert drawn == ["tires-rack.png", "tires-reach.png"]


def test_the_smallest_rack_is_chosen_from(run, rack):
    status, out, _ = run(str(rack()), "--car", CAR, "--stagger", "2-1/2in")
    assert status == 0
    assert "Bolt on: LF A, RF " in out


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ((), "which track?"),
        (("--stagger", "2in", "--track", TRACK), "expected one of --stagger"),
        (("--stagger", "40in"), "beyond 8 in"),
        (("--stagger", "2in", "--why", "A1,B1"), "expected four tires, got 2"),
        (("--stagger", "2in", "--why", "A1,A1,L4,R7"), "A1 cannot be in two places"),
        (("--stagger", "2in", "--why", "A1,B1,L4,QQ"), 'no tire "QQ"'),
        (("--stagger", "2in", "--weigh-bite", "-3"), "from 0 to 100"),
        (("--track", "nowhere.yaml"), "no such track file"),
    ],
)
def test_what_cannot_be_used_is_refused_in_a_line(run, typed, words):
    told = refusal(run(RACK, "--car", CAR, *typed))
    assert words in told and len(told.splitlines()) == 1


# Rack files


@pytest.mark.parametrize(
    ("before", "after", "line", "words"),
    [
        ("id: B", "id: a", 5, 'id: "a": the tire on line 4 has this id too'),
        ("id: B,", "id: B, corners: [left_reer],", 5, 'did you mean "left_rear"?'),
        ("id: B,", "id: B, on_car: middle,", 5, "expected a corner: left_front"),
        ("id: B,", "id: B, side: up,", 5, "expected one of left, right, any"),
        ("id: B,", "id: B, side: left, corners: [RR],", 5, "none of them on its side, left"),
        ("id: B,", "id: B, tyres: 3,", 5, "tyres: unknown key"),
        ("id: B,", 'id: "B,C",', 5, "without a comma"),
        ("id: B,", "id: B, heat_cycles: 2.5,", 5, "expected a whole number"),
        ("rollout: 83 3/4 in}", "rollout: 8 in}", 5, "between 20 and 160 in"),
        (", rollout: 83 3/4 in}", "}", 5, "B: rollout: missing"),
        ("name: Small", "nam: Small", 2, 'did you mean "name"?'),
        ("name: Small", "name: Small\nrunning_pressure: {left_front: 12 psi}", 3, "right_rear: mi"),
        ("name: Small", "name: Small\nrunning_pressure: 400 psi", 3, "between 2 and 80 psi"),
    ],
)
def test_a_rack_file_at_fault_is_told_with_its_line(run, rack, before, after, line, words):
    path = rack(SMALL.replace(before, after))
    told = refusal(run(str(path), "--car", CAR, "--stagger", "2in"))
    assert words in told
    assert f"rack.yaml:{line}: " in told


def test_two_tires_on_one_corner_are_told(run, rack):
    text = SMALL.replace("id: A,", "id: A, on_car: LF,").replace("id: B,", "id: B, on_car: LF,")
    told = refusal(run(str(rack(text)), "--car", CAR, "--stagger", "2in"))
    assert 'rack.yaml:5: on_car: "left_front": the tire on line 4 is there too' in told


def test_fewer_than_four_usable_tires_are_told(run, rack):
    path = rack(SMALL.replace("id: A,", "id: A, scrap: yes,"))
    told = refusal(run(str(path), "--car", CAR, "--stagger", "2in"))
    assert "expected at least four usable tires, the rack has 3: B, C, D; not usable: A" in told


@pytest.mark.parametrize("text", ["name: none\n", "name: n\ntires: []\n", "tires: 3\n", "[]\n"])
def test_a_rack_of_nothing_is_told(run, rack, text):
    refusal(run(str(rack(text)), "--car", CAR, "--stagger", "2in"))


def test_the_trades_initials_name_corners(rack):
    path = rack(SMALL.replace("id: A,", "id: A, corners: [RR, lf, Left Rear], on_car: LF,"))
    tire = load_rack(path).tires[0]
    assert tire.corners == ("left_front", "left_rear", "right_rear")
    assert tire.on_car == "left_front"


# Taping


def test_a_taping_is_added_and_all_else_stays(read, rack):
    path = rack()
    data = read("tape", str(path), "b", "84 in", '84-1/4"', "84 in", "--pressure", "18psi",
                "--date", "2031-05-02")  # fmt: skip
    assert data["mean_in"] == pytest.approx(84 + 1 / 12, abs=1e-4)
    assert data["spread_in"] == pytest.approx(0.25)
    before, after = SMALL.splitlines(), path.read_text().splitlines()
    assert [line for line in before if line not in after] == [before[4]]
    assert after[4] == (
        '  - {id: B, rollout: 83 3/4 in, tapings: [{rollout: [84 in, "84-1/4\\"", 84 in], '
        "pressure: 18psi, date: 2031-05-02}]}   # the good one"
    )
    assert load_rack(path).tires[1].cold.mean == pytest.approx((84 + 1 / 12) * INCH)


def test_a_second_taping_comes_after_the_first(read, rack):
    path = rack()
    for size, pressure in (("83 in", "14psi"), ("83 1/2 in", "18psi"), ("84 in", "22psi")):
        data = read("tape", str(path), "C", size, "--pressure", pressure)
    assert data["tapings"] == 4
    assert data["growth_source"] == "own"
    assert data["growth_in_per_psi"] == pytest.approx(0.125)
    tire = load_rack(path).tires[2]
    assert [one.mean / INCH for one in tire.tapings] == pytest.approx([83.75, 83, 83.5, 84])
    assert "# the good one" in path.read_text()


def test_a_list_of_tapings_written_in_lines_grows_by_a_line(read, tmp_path):
    path = Path(shutil.copy(RACK, tmp_path / "rack.yaml"))
    read("tape", str(path), "R7", "86 1/4 in", "--pressure", "16psi", "--temperature", "68F",
         "--date", "June 1")  # fmt: skip
    before, after = Path(RACK).read_text().splitlines(), path.read_text().splitlines()
    new = [line for line in after if line not in before]
    assert new == [
        "      - {rollout: [86 1/4 in], pressure: 16psi, temperature: 68F, date: June 1}"
    ]
    assert [line for line in after if line not in new] == before


@pytest.mark.parametrize(
    "last", ["rollout: 84 in }", "rollout: 84 in,}", "rollout: 84 in,   # mine\n     }",
             "rollout: 84 in   # mine\n    ,}", "note: it's mine,\n rollout: [84 in,\n  84 in]}",
             "rollout: 84 in, tapings: [\n  {rollout: 84 in},   # first\n  ]}",
             "rollout: 84 in, tapings: [ ]}"],
)  # fmt: skip
def test_a_taping_finds_its_place_among_commas_and_comments(read, rack, last):
    text = SMALL.replace("rollout: 83 3/4 in}   # the good one", last)
    path = rack(text)
    before = load_rack(path).tires[1].tapings
    read("tape", str(path), "B", "85 in")
    after = load_rack(path).tires[1].tapings
    assert after[:-1] == before and after[-1].mean == pytest.approx(85 * INCH)
    assert path.read_text().count("#") == text.count("#")


def test_lines_that_end_the_windows_way_stay_so(read, rack):
    path = rack(SMALL.replace("\n", "\r\n"))
    read("tape", str(path), "C", "84 in")
    assert path.read_bytes().count(b"\n") == path.read_bytes().count(b"\r\n")
    assert load_rack(path).tires[2].cold.mean == pytest.approx(84 * INCH)


def test_a_wandering_tape_is_questioned_and_left_out_of_the_mean(run, rack):
    path = rack()
    _, out, _ = run("tape", str(path), "D", "86 1/4 in", "86 7/8 in", "86 1/4 in")
    flat = " ".join(out.split())
    assert out.startswith("D: 86 1/4 in")
    assert "86 7/8 in is off from the others (86.25 in): did the tape wander" in flat
    assert "left out of the mean, not of the file" in flat
    assert "86 7/8 in" in path.read_text()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("B", "84 lb"), "rollout: expected a taped length"),
        (("B", "84 in", "long"), 'got "long"'),
        (("B", "8 in"), "between 20 and 160 in"),
        (("B", "84 in", "--pressure", "18 in"), "pressure: expected a pressure"),
        (("B", "84 in", "--pressure", "999psi"), "between 2 and 80 psi"),
        (("B", "84 in", "--temperature", "hot"), "temperature: expected a temperature"),
        (("B", "84 in", "--date", "x" * 30), "date: expected a line"),
        (("BB", "84 in"), 'no tire "BB"; did you mean "B"?'),
        (("B", *["84 in"] * 30), "at most 20 readings"),
    ],
)
def test_a_taping_that_cannot_be_used_leaves_the_file_alone(run, rack, typed, words):
    path = rack()
    assert words in refusal(run("tape", str(path), *typed))
    assert path.read_text() == SMALL
    assert list(path.parent.iterdir()) == [path]


def test_a_full_disk_leaves_the_file_whole(run, rack, monkeypatch):
    path = rack()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert "cannot be written: No space left" in refusal(run("tape", str(path), "B", "84 in"))
    assert path.read_text() == SMALL
    assert list(path.parent.iterdir()) == [path]


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from("ABCD"),
    st.lists(st.integers(80 * 16, 90 * 16), min_size=1, max_size=6),
    st.sampled_from(["{} in", '{}"', "{} inches", "{}IN"]),
    st.none() | st.integers(8, 40),
)
def test_what_was_typed_is_read_back(tmp_path_factory, name, sixteenths, form, pressure):
    path = tmp_path_factory.mktemp("rack") / "rack.yaml"
    path.write_text(SMALL)
    typed = [form.format(f"{n // 16}-{n % 16}/16") for n in sixteenths]
    when = {} if pressure is None else {"pressure": f"{pressure} psi"}
    at = "ABCD".index(name)
    for _ in range(2):
        record_taping(path, name, typed, **when)
    after = load_rack(path)
    for taping in after.tires[at].tapings[-2:]:
        assert [one / INCH * 16 for one in taping.readings] == pytest.approx(sixteenths)
        assert taping.pressure == (None if pressure is None else pytest.approx(pressure * PSI))
    # Outside check: PyYAML's own loader finds the file as it was but for the tapings.
    old, new = yaml.safe_load(SMALL), yaml.safe_load(path.read_text())
    added = new["tires"][at].pop("tapings")
    assert new == old and len(added) == 2
