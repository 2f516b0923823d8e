import os
import subprocess
import sys
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.cli.arguments import CommandError, Parser, joined
from rollpath.cli.table import FIRST_WORDS, QUESTIONS, all_commands, commands_of

ROOT = Path(__file__).resolve().parents[1]


def test_every_command_is_found_by_its_first_word():
    for name, command in all_commands().items():
        assert commands_of(name.split()[0])[name] is command
        assert f"rollpath {name.split()[0]}" in command.example
    assert sorted(all_commands()) == sorted(QUESTIONS)


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_overview_and_version_enter_no_room(option):
    loaded = modules_after(option)
    assert {name for name in loaded if name.startswith("rollpath.")} <= {
        "rollpath.cli", "rollpath.cli.table",
    }  # fmt: skip
    assert not loaded & {"numpy", "yaml", "argparse"}


def modules_after(*typed):
    """What a fresh Python has imported once a command has run."""
    look = f"import sys; from rollpath.cli import main; main({list(typed)!r}); print(*sys.modules)"
    ended = subprocess.run(
        [sys.executable, "-c", look],
        cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT / "sim")},
        capture_output=True, text=True,
    )  # fmt: skip
    return set(ended.stdout.splitlines()[-1].split())


def test_a_command_loads_no_module_of_another():
    loaded = {
        module.removeprefix("rollpath.cli.")
        for module in modules_after("bite", "cars/number-31.yaml")
        if module.startswith("rollpath.cli.")
    }
    assert loaded & {word.replace("-", "_") for word in FIRST_WORDS} == {"bite"}


def test_a_baseline_loads_neither_survey_nor_log_reader():
    loaded = modules_after("baseline", "tracks/ropewalk.yaml", "cars/number-31.yaml")
    assert "rollpath.stagger" in loaded
    assert not loaded & {"rollpath.survey", "rollpath.runlog", "rollpath.files.logs"}


def complaint(capsys, *typed):
    """The one line with which a command line is refused."""
    assert main(list(typed)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


@pytest.mark.parametrize("option", ["--conditions", "--grooves"])
@pytest.mark.parametrize("nothing", ["", " ", ","])
def test_an_empty_list_of_names_is_refused(option, nothing, capsys):
    said = complaint(
        capsys, "compare", "tracks/ropewalk.yaml", "--car", "cars/number-31.yaml", option, nothing
    )
    assert f"argument {option}: expected one or more of" in said


TRACK, CAR, RACK = "tracks/ropewalk.yaml", "cars/number-31.yaml", "cars/racks/number-31.yaml"


@pytest.mark.parametrize(
    "line",
    [
        f"baseline {TRACK} {CAR} --book",
        f"baseline {TRACK} {CAR} --out",
        f"baseline {TRACK} {CAR} --points",
        f"baseline {TRACK}",
        f"bite {CAR} --learn",
        f"compare {TRACK} --car",
        f"debrief {TRACK} {CAR} --log",
        f"debrief {TRACK} {CAR} --out",
        "survey --chord 100ft --gap 8ft --straight 300ft --width 40ft --write",
        f"tires {RACK} --car {CAR} --stagger 2in --why",
        "notebook list --book",
        "notebook backup",
        "demo-data",
    ],
)
@pytest.mark.parametrize("nothing", ["", " "])
def test_an_empty_name_is_refused_and_names_its_option(line, nothing, capsys):
    places = {"baseline": "FILE", "notebook": "FILE", "demo-data": "DIR"}
    words = line.split()
    said = complaint(capsys, *words, nothing)
    named = words[-1] if words[-1].startswith("--") else places[words[0]]
    assert f"argument {named}: expected a name" in said


def test_files_are_taken_in_any_order(capsys):
    assert main(["baseline", TRACK, CAR, "--json"]) == 0
    one_way = capsys.readouterr().out
    assert main(["baseline", CAR, TRACK, "--json"]) == 0
    assert capsys.readouterr().out == one_way


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (f"baseline {TRACK} {TRACK} {CAR}", "side by side: rollpath compare"),
        (f"feel {TRACK} cars/racks/number-31.yaml", "looks like a rack file; name the car file"),
        (f"feel {TRACK} {CAR} cars/blue-heron.yaml", "two car files"),
    ],
)
def test_files_that_do_not_belong_are_told_in_one_line(line, told, capsys):
    assert told in complaint(capsys, *line.split())


def test_a_car_file_with_one_key_of_a_rack_is_still_read_as_a_car(tmp_path, capsys):
    odd = tmp_path / "odd.yaml"
    odd.write_text((ROOT / CAR).read_text() + "tires: 4\n")
    said = complaint(capsys, "bite", str(odd))
    assert "tires: unknown key" in said


def test_names_without_their_folder_are_hinted_at_for_both_files(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    for line in ("baseline saucer-hill number-31", "compare saucer-hill --car number-31"):
        assert main(line.split()) == 2
        assert capsys.readouterr().err.splitlines() == [
            'rollpath: saucer-hill: no such track file; did you mean "tracks/saucer-hill.yaml"?',
            'rollpath: number-31: no such car file; did you mean "cars/number-31.yaml"?',
        ]


def test_a_name_is_found_in_the_folder_that_demo_data_made(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["demo-data", "mine"]) == 0
    capsys.readouterr()
    assert main(["tires", "number-31", "--car", "number-31", "--stagger", "2in"]) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert all('did you mean "mine/cars/' in line for line in said)


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        (f"baseline {TRACK} {CAR} --condition slik", "slick"),
        (f"baseline {TRACK} {CAR} --groove diamnd", "diamond"),
        (f"compare {TRACK} --car {CAR} --sort staggr", "stagger"),
        ("notebook lst", "notebook list"),
        ("tires tpae x y", "tires tape"),
        ("--verson", "--version"),
        ("--hlep", "--help"),
    ],
)
def test_a_misspelt_word_is_answered_with_the_nearest(line, meant, capsys):
    assert f'did you mean "{meant}"?' in complaint(capsys, *line.split())


def test_a_choice_that_is_like_none_still_lists_them_all(capsys):
    said = complaint(capsys, "baseline", TRACK, CAR, "--condition", "wet")
    for word in ("heavy", "tacky", "rubbered", "slick"):
        assert word in said


def test_a_rack_file_named_like_an_action_is_read_as_a_file(tmp_path, monkeypatch, capsys):
    (tmp_path / "tpae").write_text((ROOT / RACK).read_text())
    car = str(ROOT / CAR)
    monkeypatch.chdir(tmp_path)
    assert main(["tires", "tpae", "--car", car, "--stagger", "2in"]) == 0
    assert capsys.readouterr().out


def test_the_overview_lists_the_commands_in_the_order_of_a_race_night(capsys):
    assert main([]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    named = [line[2:].partition("  ")[0] for line in lines]
    night = ["trailer", "tonight", "bolt", "survey", "baseline", "tires", "feel", "debrief"]
    assert sorted(night, key=named.index) == night
    assert named[-2:] == ["demo-data", "completion"]
    assert set(named) == set(all_commands())


def test_a_word_only_loosely_like_a_choice_gets_the_list_and_no_wrong_guess(capsys):
    said = complaint(capsys, "baseline", TRACK, CAR, "--groove", "outside")
    assert "choose from" in said
    assert "did you mean" not in said


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        (["--by", "-5ft"], ["--by=-5ft"]),
        (["--by", "-.5", "--json"], ["--by=-.5", "--json"]),
        (["--by=-5ft", "-6ft"], ["--by=-5ft", "-6ft"]),
        (["car.yaml", "-5ft"], ["car.yaml", "-5ft"]),
        (["--json", "--by", "5ft"], ["--json", "--by", "5ft"]),
    ],
)
def test_a_value_below_nothing_goes_to_its_option(typed, read):
    assert joined(typed) == read


def test_a_wrong_choice_in_a_group_of_arguments_is_told_as_any_other():
    parser = Parser(prog="rollpath x")
    parser.add_argument_group("more").add_argument("--line", choices=("inside", "outside"))
    assert parser.parse_args(["--line", "inside"]).line == "inside"
    assert "--line" in parser.flags
    with pytest.raises(CommandError, match=r'invalid choice: .outsid.; did you mean "outside"'):
        parser.parse_args(["--line", "outsid"])
