"""A night planned in a loaded trailer, and a column of the plan taken over in one go."""

import io
import json
import re
import shutil
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.corners import CORNERS
from rollpath.files.trailers import load_trailer

ROOT = Path(__file__).parent.parent
BARE = "name: bare\ntires:\n  - {id: Q, rollout: 82 in}\n"
NIGHT = ("plan", "--runs", "heat: 2 1/4 in, feature: 1 1/2 in")


@pytest.fixture
def pits(folder):
    """A trailer with the demo car, its rack and a track, something bolted on already."""
    (folder / "tracks").mkdir()
    shutil.copy(ROOT / "cars/number-31.yaml", folder / "car.yaml")
    shutil.copy(ROOT / "cars/racks/number-31.yaml", folder / "rack.yaml")
    shutil.copy(ROOT / "tracks/saucer-hill.yaml", folder / "tracks")
    (folder / "trailer.yaml").write_text("{}\n")
    assert main(["bolt", "rr=R9", "--jack", "lr=+1/2"]) == 0
    assert main(["air", "lf=+1"]) == 0
    return folder


@pytest.fixture
def told(pits, capsys):
    def told(*words):
        capsys.readouterr()
        assert main([*words, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return told


def test_tires_that_nobody_moved_are_where_the_rack_has_them(pits):
    rack = load_trailer(pits).rack_tonight
    filed = {tire.on_car: tire.name for tire in load_trailer(pits).rack.tires if tire.on_car}
    there = {tire.on_car: tire.name for tire in rack.tires if tire.on_car}
    assert there == filed | {"right_rear": "R9"}


def test_every_number_of_the_plan_is_repeated_by_bolt_bite_and_tires(told):
    night = told(*NIGHT)
    assert night["kept"]
    for run in night["runs"]:
        asked = told("bolt", "--plan", run["name"], "--what-if")
        assert asked["rear_stagger_in"] == pytest.approx(run["rear_stagger_in"], abs=1e-3)
        assert asked["bite_lb"] == pytest.approx(run["bite_lb"], abs=0.2)
        # Against the pads of the car file, with the jack that was turned before the plan.
        typed = [f"--{c.replace('_', '-')}={run[c]['rollout_in']!r}in" for c in CORNERS]
        typed += [f"--pressure={c}={run[c]['pressure_psi']!r}psi" for c in CORNERS]
        turns = run["jack_turns"] | {"left_rear": run["jack_turns"]["left_rear"] + 0.5}
        typed += [f"--jack={c.replace('_', '-')}={n}turns" for c, n in turns.items() if n]
        bite = told("bite", "car.yaml", *typed, "--rack", "rack.yaml")["then"]["bite_lb"]
        assert bite == pytest.approx(run["bite_lb"], abs=0.2)
        names = ",".join(run[c]["id"] for c in CORNERS)
        why = told("tires", "--stagger", f"{run['wanted_in']}in", "--why", names)["why"]
        assert [why[c] for c in CORNERS] == [run[c]["id"] for c in CORNERS]


def test_a_column_is_one_action_and_taken_back_as_one(pits, told):
    before = load_trailer(pits).night
    night = told(*NIGHT)
    told("bolt", "--plan", "feature")
    after = load_trailer(pits)
    for corner, fitted in after.night.on_car.by_name().items():
        assert fitted.tire == night["runs"][1][corner]["id"]
        wanted = night["runs"][1][corner]["pressure_psi"]
        assert fitted.pressure == pytest.approx(wanted * 6894.757, rel=1e-5)
    told("bolt", "--plan", "feature")  # again: everything is there already
    assert load_trailer(pits).night == after.night
    told("undo")
    assert load_trailer(pits).night == before


def test_a_tire_taped_anew_goes_on_with_its_new_size(pits, told):
    planned = told(*NIGHT)["runs"][0]["right_rear"]
    was = told("bolt", "--plan", "heat", "--what-if")["rear_stagger_in"]
    size = f"{round(8 * planned['rollout_in'] + 4) / 8}in"
    pressure = f"{planned['pressure_psi']}psi"
    told("tires", "tape", "rack.yaml", planned["id"], size, "--pressure", pressure)
    now = told("bolt", "--plan", "heat", "--what-if")["rear_stagger_in"]
    assert 0.05 < now - was < 0.6


def test_a_plan_of_another_car_is_not_kept(pits, told):
    other = str(ROOT / "cars/number-31.yaml")
    assert not told(*NIGHT, other, "rack.yaml")["kept"]
    assert not (pits / "plan.yaml").exists()


def rewrite(here, old, new, times=-1):
    path = here / "plan.yaml"
    path.write_text(path.read_text().replace(old, new, times))


def test_a_tire_on_two_corners_is_told(pits, told, capsys):
    told(*NIGHT)
    tire = re.search(r'left_front: {tire: ("\w+")', (pits / "plan.yaml").read_text())[1]
    rewrite(pits, 'right_front: {tire: "', f'right_front: {{tire: {tire}, x: "')
    rewrite(pits, ", x: ", ", tire: ")  # a key twice is a fault of its own
    assert main(["bolt", "--plan", "heat"]) == 2
    assert "plan.yaml:" in capsys.readouterr().err
    told(*NIGHT)
    text = (pits / "plan.yaml").read_text()
    other = re.search(r'right_front: {tire: ("\w+")', text)[1]
    (pits / "plan.yaml").write_text(text.replace(other, tire))
    assert main(["bolt", "--plan", "heat"]) == 2
    told_line = capsys.readouterr().err.splitlines()[0]
    assert f"plan.yaml:3: {tire[1:-1]}: is on two corners; rollpath plan" in told_line


@pytest.mark.parametrize(
    ("spoil", "typed", "words"),
    [
        (None, ("--plan", "main"), "there are heat, feature"),
        (None, ("--plan", "heat", "rr=R7"), "stands alone"),
        (lambda here: (here / "plan.yaml").unlink(), ("--plan", "heat"), "nothing is planned yet"),
        (lambda here: (here / "plan.yaml").write_text("runs:\n  - {name: heat}\n"),
         ("--plan", "heat"), "plan.yaml:2: left_front: missing"),
        (lambda here: (here / "rack.yaml").write_text(BARE),
         ("--plan", "heat"), "no tire"),
        (lambda here: (here / "rack.yaml").write_text(BARE),
         ("--plan", "feature"), "plan.yaml:8: feature: no tire"),
        (lambda here: (here / "rack.yaml").unlink(), ("--plan", "heat"), "plan.yaml:3: heat: "),
        (lambda here: (here / "plan.yaml").write_text(""), ("--plan", "heat"), "plan.yaml"),
        (lambda here: (here / "plan.yaml").write_text("# nothing\nrun: []\n"),
         ("--plan", "heat"), 'plan.yaml:2: run: unknown key; did you mean "runs"'),
        (lambda here: (here / "plan.yaml").write_text("runs: heat\n"),
         ("--plan", "heat"), "plan.yaml:1: runs: expected"),
        (lambda here: (here / "plan.yaml").write_text("{}\n"),
         ("--plan", "heat"), "plan.yaml:1: runs: missing; rollpath plan writes it anew"),
        (lambda here: rewrite(here, "tire:", "tyre:"), ("--plan", "heat"), 'plan.yaml:4: '),
        (lambda here: rewrite(here, "name: \"feature\"", "name: \"heat\""),
         ("--plan", "heat"), "plan.yaml:8: name: another run has this name"),
        (lambda here: rewrite(here, "psi", "bananas"),
         ("--plan", "heat"), "plan.yaml:4: pressure: expected a pressure"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_over_is_told_in_a_line(pits, told, capsys, spoil, typed, words):
    told(*NIGHT)
    night = load_trailer(pits).night
    if spoil:
        spoil(pits)
    assert main(["bolt", *typed]) == 2
    assert words in capsys.readouterr().err.splitlines()[0]
    assert load_trailer(pits).night == night


# Taping in a trailer


def test_a_tire_is_taped_into_the_rack_of_the_trailer(pits, told):
    data = told("tires", "tape", "r9", "85-3/4", "85 3/4 in", "--pressure", "16")
    assert data["tire"] == "R9"
    assert len(load_trailer(pits).tire_named("R9").tapings) >= 2


def test_a_tire_that_the_rack_lacks_is_added_when_it_is_said_to_be_new(pits, told, capsys):
    before = (pits / "rack.yaml").read_text()
    assert main(["tires", "tape", "Q 7", "84 in"]) == 2
    assert "--new adds it" in capsys.readouterr().err
    assert (pits / "rack.yaml").read_text() == before
    told("tires", "tape", "Q 7", "84 in", "84 1/4 in", "--pressure", "12", "--new")
    after = load_trailer(pits)
    tire = after.rack.tires[-1]
    assert (tire.name, tire.cold.mean, tire.on_car) == ("Q 7", pytest.approx(2.13678, abs=1e-4), "")
    assert (pits / "rack.yaml").read_text().startswith(before.rstrip("\n"))
    assert main(["tires", "tape", "Q 7", "84 in", "--new"]) == 2
    assert "leave --new out" in capsys.readouterr().err
    assert main(["tires", "tape", "Q,8", "84 in", "--new"]) == 2
    assert "comma" in capsys.readouterr().err


@pytest.mark.parametrize(("answer", "added"), [("y\n", True), ("\n", False), ("", False)])
def test_at_a_terminal_a_new_tire_is_asked_about(pits, monkeypatch, capsys, answer, added):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr("sys.stdin", Terminal(answer))
    monkeypatch.setattr("sys.stderr", asked := Terminal())
    status = main(["tires", "tape", "Q7", "84 in"])
    assert "Add it?" in asked.getvalue()
    assert status == (0 if added else 2)
    assert ("Q7" in load_trailer(pits).rack.names) is added


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("R7",), "expected a tire and what the tape read"),
        (("rack.yaml", "R7"), "expected a tire and what the tape read"),
        (("nowhere.yaml", "R7", "84 in"), "nowhere.yaml"),
    ],
)
def test_a_taping_that_is_not_whole_is_refused_in_a_line(pits, capsys, typed, words):
    capsys.readouterr()
    assert main(["tires", "tape", *typed]) == 2
    err = capsys.readouterr().err
    assert words in err and err.count("\n") == 1
