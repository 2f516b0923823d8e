"""The bite command as a racer types it."""

import json
import shutil
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.files.cars import load_car
from rollpath.units import INCH, POUND

ROOT = Path(__file__).parent.parent
CAR = str(ROOT / "cars" / "number-31.yaml")
SIDES = ("left_front", "right_front", "left_rear", "right_rear")
COMMAND = "bite"


@pytest.fixture
def sessions(tmp_path):
    """Write a CSV of sessions: rear and front stagger, left rear turns, bite; total is kept."""

    def write(*rows: tuple[float, float, float, float], driver: str = "in") -> str:
        head = ["driver", *(f"{s}_{what}" for what in ("rollout", "jack", "weight") for s in SIDES)]
        lines = [",".join(head)]
        for rear, front, turns, bite in rows:
            lf, rf = (f"{front_weight:.2f} lb" for front_weight in
                      (810 - bite * 63 / 124, 740 + bite * 63 / 124))  # fmt: skip
            lines.append(
                f"{driver},82 in,{82 + front} in,84 in,{84 + rear} in,0 turns,0 turns,"
                f"{turns} turns,0 turns,{lf},{rf},"
                f"{800 + bite / 2:.2f} lb,{800 - bite / 2:.2f} lb"
            )
        path = tmp_path / "scales.csv"
        path.write_text("\n".join(lines) + "\n")
        return str(path)

    return write


NOISE = (0.4, -0.5, 0.2, 0.3, -0.4, 0.1, -0.2, 0.1)
SETUPS = ((2, 1, 0), (3, 1, 0), (2, 2, 0), (2, 1, 2), (3, 2, 2), (1, 1, 1), (4, 2, 0), (2, 0, 3))


def known(rear: float = 9.0, front: float = 8.0, turn: float = 7.0) -> list:
    """Sessions of a car with these rates, in lb per inch and per turn, and some noise."""
    return [
        (s_r, s_f, n, 60 - rear * (s_r - 2) + front * (s_f - 1) + turn * n + noise)
        for (s_r, s_f, n), noise in zip(SETUPS, NOISE, strict=True)
    ]


def test_less_rear_stagger_raises_bite_and_less_front_holds_it(read):
    result = read(CAR, "--rear-stagger", "1in", "--hold", "front")
    assert result["now"]["bite_lb"] == pytest.approx(59)
    assert result["then"]["bite_lb"] == pytest.approx(59 + 1.5 * 9.5)
    assert result["hold"]["front_stagger_change_in"] == -1.625
    assert result["hold"]["left_over_lb"] == pytest.approx(1.5 * 9.5 - 1.625 * 9)
    assert result["rates"]["rear_lb_per_in"] == 9.5
    assert result["rates"]["source"] == "measured"
    assert result["gear_change_pct"] == pytest.approx(0)


def test_a_sign_makes_it_a_change(read):
    plus = read(CAR, "--rear-stagger", "+1/2in")
    assert plus["then"]["bite_lb"] == pytest.approx(59 - 0.5 * 9.5)
    assert read(CAR, "--rear-stagger", "3in")["then"] == plus["then"]
    minus = read(CAR, "--rear-stagger", "-1/2in")
    assert minus["then"]["bite_lb"] == pytest.approx(59 + 0.5 * 9.5)


def test_single_tires_move_bite_and_gear(read):
    result = read(CAR, "--left-rear", "85-1/4in", "--right-front", "84in")
    assert result["then"]["bite_lb"] == pytest.approx(59 + 1.5 * 9.5 + 0.25 * 9)
    assert result["gear_change_pct"] == pytest.approx(100 * (85.0 / 85.75 - 1), rel=1e-4)
    assert sum(result["then"][f"{side}_lb"] for side in SIDES) == pytest.approx(3170)


def test_a_named_tire_takes_the_whole_stagger_change(read):
    result = read(CAR, "--rear-stagger", "2in", "--left-rear", "84in")
    assert result["change"]["rollouts_in"]["right_rear"] == pytest.approx(86 - 86.25)


def test_jacks_and_spacers_are_read_by_corner(read):
    longer = read(CAR, "--jack", "left-rear=1 1/2 turns")
    assert longer["then"]["bite_lb"] > 59
    same = read(CAR, "--spacer", "left-rear=1/8in")
    assert same["then"]["bite_lb"] == pytest.approx(longer["then"]["bite_lb"], abs=0.01)
    assert longer["ride_height_change_in"]["left_rear"] > 0


def test_weights_of_tonight_replace_the_file(read):
    result = read(CAR, "--weights", "800lb", "750lb", "830lb", "790lb")
    assert result["now"]["bite_lb"] == pytest.approx(40)
    assert result["now"]["cross_pct"] == pytest.approx(100 * 1580 / 3170, rel=1e-5)
    assert result["now"]["left_pct"] == pytest.approx(100 * 1630 / 3170, rel=1e-5)
    assert result["now"]["rear_pct"] == pytest.approx(100 * 1620 / 3170, rel=1e-5)


def test_jacks_hold_in_quarter_turns(read):
    hold = read(CAR, "--rear-stagger", "3in", "--hold", "jacks")["hold"]
    assert hold["jack_turns"] == {
        "left_front": 0, "right_front": 0, "left_rear": 0.5, "right_rear": 0
    }  # fmt: skip
    assert hold["front_stagger_change_in"] == 0


@pytest.mark.parametrize("units", ["us", "si"])
def test_screen_tells_the_answer_first_and_the_cautions_last(run, units):
    status, out, _ = run(CAR, "--rear-stagger", "1in", "--hold", "either", "--units", units,
                          "--full")  # fmt: skip
    assert status == 0
    lines = out.splitlines()
    assert lines[0].startswith("Bite: ")
    assert out.index("To hold bite") < out.index("On the scales") < out.index("Stands first")
    assert "measured, from the car file" in out
    assert max(map(len, lines)) <= 120


def test_a_lifted_wheel_is_said(run):
    _, out, _ = run(CAR, "--spacer", "right-rear=18in")
    assert "the right front wheel would come off its pad" in " ".join(out.split())


def test_a_measured_rate_far_from_the_springs_is_doubted(run, tmp_path):
    odd = tmp_path / "odd.yaml"
    odd.write_text(Path(CAR).read_text().replace("rear: 9.5 lb", "rear: 19.5 lb"))
    _, out, _ = run(str(odd))
    assert "the rear rate in the car file is far from the 8.1 lb/in" in " ".join(out.split())
    assert "far from" not in run(CAR)[1]


def test_pictures_are_drawn(run, tmp_path):
    run(CAR, "--rear-stagger", "1in", "--hold", "front", "--out", str(tmp_path / "p"))
    names = {path.name for path in (tmp_path / "p").iterdir()}
    assert names == {"bite-pads.png", "bite-staggers.png"}
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in (tmp_path / "p").iterdir())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--rear-stagger", "one"], "a taped length"),
        (["--jack", "leftrear=2turns"], "expected one of left-front"),
        (["--jack", "left-rear=two"], "jack turns"),
        (["--jack", "left-rear=1turn", "--jack", "left-rear=2turns"], "given twice"),
        (["--jack", "left-rear=1000turns"], "at most 100 turns"),
        (["--left-rear", "12in"], "a rollout between 20 and 160 in"),
        (["--left-rear", "84in", "--right-rear", "86in", "--rear-stagger", "2in"], "leave one"),
        (["--weights", "812lb", "741lb", "0lb", "779lb"], "a weight between"),
        (["--hold", "front"], "needs a change"),
        (["--write"], "needs --learn"),
        (["--learn", "nowhere.csv"], "no such file"),
        (["--learn", "nowhere.csv", "--hold", "front"], "--learn goes with"),
    ],
)
def test_bad_input_gets_one_line_and_status_2(run, arguments, words):
    status, out, err = run(CAR, *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) == 1


def test_no_jacks_in_the_file_means_no_hold_by_jacks(run, tmp_path):
    bare = tmp_path / "bare.yaml"
    text = Path(CAR).read_text().split("springs:")[0]
    bare.write_text(text)
    status, _, err = run(str(bare), "--rear-stagger", "1in", "--hold", "jacks")
    assert status == 2
    assert "use --hold front" in err


# Learning


def test_rates_are_learned_and_told_with_their_interval(read, sessions):
    result = read(CAR, "--learn", sessions(*known()))
    rates = result["rates"]
    for name, unit, true in (
        ("rear_stagger", "lb_per_in", 9.0),
        ("front_stagger", "lb_per_in", 8.0),
        ("rear_jacks", "lb_per_turn", 7.0),
    ):
        assert rates[name][f"low_{unit}"] < true < rates[name][f"high_{unit}"]
        assert rates[name][f"rate_{unit}"] == pytest.approx(true, abs=1.0)
    assert result["never_moved"] == ["front jacks"]
    assert result["next_session"]["change"] == "front jacks"


def test_learned_rates_are_written_and_used(run, read, sessions, tmp_path):
    mine = tmp_path / "mine.yaml"
    shutil.copy(CAR, mine)
    status, out, _ = run(str(mine), "--learn", sessions(*known(rear=11.0)), "--write")
    assert status == 0
    assert "mine.yaml.old" in out.replace("\n  ", "")
    assert (tmp_path / "mine.yaml.old").read_text() == Path(CAR).read_text()
    assert "# found on the scales" in mine.read_text()
    car = load_car(mine)
    assert car.bite_per_inch.rear * INCH / POUND == pytest.approx(11, abs=0.5)
    assert car.bite_per_turn.rear / POUND == pytest.approx(7, abs=0.5)
    assert car.bite_per_turn.front is None
    rates = read(str(mine))["rates"]
    assert rates["turn_source"] == {"rear": "measured", "front": "predicted"}


def test_what_always_moved_together_is_refused(run, read, sessions, tmp_path):
    path = sessions((2, 1, 0, 60), (3, 2, 0, 59), (4, 3, 0, 58), (3, 2, 2, 73), (2, 1, 2, 74.5))
    result = read(CAR, "--learn", path)
    assert result["always_moved_together"] == [["rear stagger", "front stagger"]]
    assert set(result["rates"]) == {"rear_jacks"}
    _, out, _ = run(CAR, "--learn", path)
    assert "no figure: it always moved together with front stagger" in " ".join(out.split())
    assert "Next session to run" in out


def test_nothing_sure_writes_nothing(run, sessions, tmp_path):
    mine = tmp_path / "mine.yaml"
    shutil.copy(CAR, mine)
    status, out, err = run(str(mine), "--learn", sessions((2, 1, 0, 60), (3, 1, 0, 50)), "--write")
    assert status == 2
    assert "nothing written" in err
    assert "Next session" in out
    assert mine.read_text() == Path(CAR).read_text()
    assert not (tmp_path / "mine.yaml.old").exists()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("830.20 lb", "", "scales.csv:2: left_rear_weight: missing"),
        ("830.20 lb", "heavy", "scales.csv:2: left_rear_weight: expected a weight"),
        ("830.20 lb", "890.20 lb", "scales.csv:2: line 2: the total weighs"),
        ("driver,", "pilot,", "driver: column missing"),
    ],
)
def test_broken_sessions_write_nothing(run, sessions, tmp_path, old, new, words):
    mine = tmp_path / "mine.yaml"
    shutil.copy(CAR, mine)
    path = Path(sessions(*known()))
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))
    status, out, err = run(str(mine), "--learn", str(path), "--write")
    assert (status, out) == (2, "")
    assert words in err
    assert mine.read_text() == Path(CAR).read_text()
    assert not (tmp_path / "mine.yaml.old").exists()


def test_baseline_uses_the_predicted_rate(capsys):
    car = str(ROOT / "cars" / "blue-heron.yaml")
    track = str(ROOT / "tracks" / "ropewalk.yaml")
    assert main(["baseline", track, car, "--json"]) == 0
    bite = json.loads(capsys.readouterr().out)["bite"]
    assert bite["source"] == "predicted"
    assert main(["bite", car, "--json"]) == 0
    rates = json.loads(capsys.readouterr().out)["rates"]
    assert bite["per_inch_lb"] == rates["rear_lb_per_in"]
