"""`rollpath plan`: the night in one command, its card, and what it refuses."""

import json

import pytest
from rollpath.cli import main
from rollpath.corners import CORNERS, Corners

COMMAND = "plan"
RACK, CAR, TRACK = "cars/racks/number-31.yaml", "cars/number-31.yaml", "tracks/saucer-hill.yaml"
NIGHT = (RACK, CAR, "--runs", "hot laps: 2 1/2 in, heat: 2 3/8 in, feature: 1 1/4 in")


def test_the_answer_is_what_to_bolt_on_first(run):
    _, out, _ = run(*NIGHT)
    assert out.startswith("Bolt on for hot laps: LF A1, RF B1, LR L4, RR R7")


def test_surfaces_want_what_baseline_recommends(read, capsys):
    runs = read(RACK, CAR, TRACK, "--runs", "heat: heavy, feature: slick")["runs"]
    for one in runs:
        assert main(["baseline", TRACK, CAR, "--condition", one["condition"], "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert one["wanted_in"] == pytest.approx(told["stagger"]["recommended_in"])


def test_every_run_is_repeated_by_bite_and_tires_on_the_same_set(read, capsys):
    for one in read(*NIGHT)["runs"]:
        typed = [f"--{c.replace('_', '-')}={one[c]['rollout_in']!r}in" for c in CORNERS]
        typed += [f"--pressure={c}={one[c]['pressure_psi']!r}psi" for c in CORNERS]
        typed += [
            f"--jack={c.replace('_', '-')}={t}turns" for c, t in one["jack_turns"].items() if t
        ]
        assert main(["bite", CAR, *typed, "--rack", RACK, "--json"]) == 0
        bite = json.loads(capsys.readouterr().out)["then"]["bite_lb"]
        assert bite == pytest.approx(one["bite_lb"], abs=0.01)
        names = ",".join(one[c]["id"] for c in CORNERS)
        typed = ["--stagger", f"{one['wanted_in']}in", "--why", names]
        assert main(["tires", RACK, "--car", CAR, *typed, "--json"]) == 0
        why = json.loads(capsys.readouterr().out)["why"]
        assert [why[c] for c in CORNERS] == [one[c]["id"] for c in CORNERS]
        assert abs(why["rear_stagger_in"] - one["rear_stagger_in"]) < 0.3  # air may differ


def test_holding_bite_by_hand_agrees_with_the_plan_within_a_pound(read, capsys):
    for one in read(*NIGHT)["runs"][1:]:
        typed = [f"--{c.replace('_', '-')}={one[c]['rollout_in']!r}in" for c in CORNERS]
        typed += [f"--pressure={c}={one[c]['pressure_psi']!r}psi" for c in CORNERS]
        assert main(["bite", CAR, *typed, "--rack", RACK, "--hold", "jacks", "--json"]) == 0
        held = json.loads(capsys.readouterr().out)["held"]["bite_lb"]
        assert one["bite_lb"] == pytest.approx(held, abs=1.0)


def test_wheels_and_jacks_can_be_ruled_out(read):
    runs = read(*NIGHT, "--changes", "1", "--jacks", "no", "--air", "as-is")["runs"]
    assert all(len(one["changes"]["wheels"]) <= 1 for one in runs[1:])
    assert not any(turns for one in runs for turns in one["jack_turns"].values())
    assert all(one["right_rear"]["pressure_psi"] == pytest.approx(16) for one in runs)


def test_a_pin_is_kept(read):
    runs = read(*NIGHT, "--pin", "feature: rr=R9", "--pin", "heat: left-front=a2".replace("a", "A"))
    assert runs["runs"][2]["right_rear"]["id"] == "R9"
    assert runs["runs"][1]["left_front"]["id"] == "A2"


def test_out_of_reach_names_what_to_look_for_at_the_truck(run):
    _, out, _ = run(RACK, CAR, "--runs", "heat: 2 1/2 in, feature: 7 in")
    assert "no set reaches 7 in for feature" in " ".join(out.split())
    assert "truck" in out


@pytest.mark.parametrize("width", [40, 80])
def test_the_short_screen_fits(run, monkeypatch, width):
    monkeypatch.setenv("COLUMNS", str(width))
    _, out, _ = run(*NIGHT)
    lines = out.rstrip().split("\n")
    assert len(lines) <= 24 and max(map(len, lines)) <= width


def test_si_screens_carry_no_inches(run):
    _, out, _ = run(*NIGHT, "--units", "si", "--full")
    assert "psi" not in out.replace("maker's psi", "") and " in\n" not in out


@pytest.mark.parametrize("name", ["card.pdf", "card.png"])
def test_the_card_is_drawn(run, tmp_path, name):
    assert run(*NIGHT, "--out", str(tmp_path / name))[0] == 0
    assert (tmp_path / name).stat().st_size > 5000


def test_the_card_holds_every_tire_and_its_air(read):
    from rollpath.files.cars import load_car
    from rollpath.files.racks import load_rack
    from rollpath.screen import Screen
    from rollpath.show.pit_card import draw_pit_card
    from rollpath.tires.aim import Aim
    from rollpath.trailer.asked import Run
    from rollpath.trailer.plan import plan
    from rollpath.units import INCH

    night = plan(load_rack(RACK), load_car(CAR), [Run("heat", Aim(2.25 * INCH))])
    page = draw_pit_card(night, "", Screen())
    told = [text.get_text() for text in page.texts]
    assert {"LF", "RF", "LR", "RR", *night.runs[0].pick.names.values()} <= set(told)
    assert page.get_size_inches() == pytest.approx([8.5, 11])
    height, width = page.canvas.get_width_height()[::-1]
    for text in page.texts:  # nothing runs off the page
        box = text.get_window_extent()
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--runs", "heat"], "expected runs such as"),
        (["--runs", "heat: heavy"], "needs a track file"),
        (["--runs", "heat: 2 in, Heat: 1 in"], "there twice"),
        (["--runs", "heat: 90 in"], "expected a stagger"),
        (["--runs", "heat: 2 in", "--pin", "main: rr=R7"], "--pin: expected a run"),
        (["--runs", "heat: 2 in", "--pin", "heat: rr=R7", "--pin", "heat: rf=R7"], "two places"),
        (["--runs", "heat: 2 in", "--pin", "heat: rr=Q7"], 'no tire "Q7"'),
        (["--runs", "heat: 2 in", "--changes", "9"], "invalid choice"),
        (["--runs", "heat: 2 in", "--bite", "1900lb"], "between -1000 and 1000"),
        (["--runs", "heat: 2 in", "--out", "card.doc"], "ends in .pdf or .png"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_a_line(run, typed, words):
    status, _, err = run(RACK, CAR, *typed)
    assert status == 2 and words in err and err.count("\n") == 1


def test_an_unknown_surface_is_told_with_those_there_are(run):
    status, _, err = run(RACK, CAR, TRACK, "--runs", "heat: hevy")
    assert status == 2 and "hevy" in err and "heavy" in err and err.count("\n") == 1


def test_a_surface_in_between_wants_a_stagger_in_between(read):
    runs = read(RACK, CAR, TRACK, "--runs", "a: heavy, b: heavy to slick 60%, c: slick")["runs"]
    wanted = [one["wanted_in"] for one in runs]
    assert min(wanted[0], wanted[2]) - 0.13 <= wanted[1] <= max(wanted[0], wanted[2]) + 0.13
    assert runs[1]["condition"] == "heavy to slick 60%"


# The front door


def test_jobs_take_paths_or_objects_and_tell_themselves():
    import rollpath
    from rollpath.files.cars import load_car
    from rollpath.files.racks import load_rack
    from rollpath.units import INCH

    by_path = rollpath.choose(RACK, CAR, "2 1/4 in")
    assert by_path == rollpath.choose(load_rack(RACK), load_car(CAR), 2.25 * INCH)
    assert str(by_path).startswith("Bolt on: LF ")
    night = rollpath.plan(RACK, CAR, {"heat": "2 1/2 in", "feature": 1.25 * INCH}, bite="59 lb")
    assert str(night).startswith("Bolt on for heat: ")
    change = rollpath.Change(turns=Corners(0.0, 0.0, 1.0, 0.0))
    assert str(rollpath.weigh(CAR, change, "front")).startswith("Bite: 59 lb now, 67 lb")


@pytest.mark.parametrize(
    ("job", "words"),
    [
        (lambda r: r.choose(RACK, CAR, "90 in"), "between"),
        (lambda r: r.choose(RACK, CAR, "2 in", most=0), "1 or more"),
        (lambda r: r.plan(RACK, CAR, {"heat": "heavy"}), "needs a track"),
        (lambda r: r.plan(RACK, CAR, {}), "1 to 12 runs"),
        (lambda r: r.weigh(CAR, r.Change(), "ballast"), "front, jacks or either"),
    ],
)
def test_jobs_refuse_in_one_line(job, words):
    import rollpath

    with pytest.raises(rollpath.RollpathError, match=words):
        job(rollpath)
