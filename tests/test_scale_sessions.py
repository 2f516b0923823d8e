"""Reading scale sessions and editing files without losing anything: the bite parts of sim/files."""

import shutil
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.corners import Corners
from rollpath.files.cars import load_car
from rollpath.files.schema import FileError
from rollpath.files.sessions import load_scale_sessions
from rollpath.files.writing import edit_yaml
from rollpath.screen import TRADE, Screen
from rollpath.units import INCH, POUND

CARS = Path(__file__).parent.parent / "cars"
SIDES = ["left_front", "right_front", "left_rear", "right_rear"]
HEAD = ",".join(
    ["session", "driver", *(f"{side}_rollout" for side in SIDES),
     *(f"{side}_weight" for side in SIDES)]
)  # fmt: skip
ROW = 'base,in,82 1/2 in,83 3/4 in,83-3/4",86 1/4 in,812 lb,741 lb,838 lb,779 lb'


@pytest.fixture
def csv_file(tmp_path):
    def write(*lines: str, newline: str = "\n") -> Path:
        path = tmp_path / "scales.csv"
        path.write_bytes((newline.join(lines) + newline).encode())
        return path

    return write


@pytest.fixture
def car_file(tmp_path):
    return Path(shutil.copy(CARS / "number-31.yaml", tmp_path / "number-31.yaml"))


def test_a_session_is_read_with_its_units(csv_file):
    (session,) = load_scale_sessions(csv_file(HEAD, ROW))
    assert session.label == "base"
    assert session.driver_in
    assert session.rollouts.left_rear == pytest.approx(83.75 * INCH)
    assert session.weights.bite == pytest.approx(59 * POUND)
    assert session.turns is None


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_spreadsheet_dialects_are_read(csv_file, newline, separator):
    lines = (HEAD.replace(",", separator), ROW.replace(",", separator))
    (session,) = load_scale_sessions(csv_file("\ufeff" + lines[0], lines[1], "", newline=newline))
    assert session.weights.total == pytest.approx(3170 * POUND)


def test_a_heading_may_state_the_unit(csv_file):
    head = HEAD.replace("_weight", " weight (lb)").replace("_rollout", " Rollout [in]")
    row = ROW.replace(" lb", "").replace(" in", "").replace('"', "")
    (session,) = load_scale_sessions(csv_file(head, row))
    assert session.weights.right_rear == pytest.approx(779 * POUND)
    assert session.rollouts.right_rear == pytest.approx(86.25 * INCH)


def test_jacks_are_read_in_turns(csv_file):
    jacks = ",".join(f"{side}_jack" for side in SIDES)
    path = csv_file(f"{HEAD},{jacks}", f"{ROW},0 turns,0 turns,-1 1/2 turns,1/4 turn")
    assert load_scale_sessions(path)[0].turns == Corners(0, 0, -1.5, 0.25)


@pytest.mark.parametrize(
    ("lines", "fault"),
    [
        ([HEAD], "no sessions"),
        ([""], "the file is empty"),
        ([HEAD, ROW.replace("838 lb", "")], ":2: left_rear_weight: missing"),
        ([HEAD, ROW.replace("838 lb", "838 in")], ":2: left_rear_weight: expected a weight"),
        ([HEAD, ROW.replace("838 lb", "0 lb")], ":2: left_rear_weight: expected a weight between"),
        ([HEAD, ROW.replace(",in,", ",maybe,")], ":2: driver: expected one of in, out"),
        ([HEAD, ROW + ",5"], ":2: 11 values under 10 headings"),
        ([HEAD, ",".join(ROW.split(",")[:-1])], ":2: right_rear_weight: missing"),
        ([HEAD.replace("left_rear_weight", "left_rear_wait"), ROW], 'did you mean "left_rear_wei'),
        ([HEAD.replace("driver", "note"), ROW], ":1: driver: column missing"),
        ([HEAD.replace("right_rear_weight", "left_rear_weight"), ROW], "given twice"),
        ([HEAD + ",left_rear_jack", ROW + ",1 turn"], ":2: right_rear_jack: missing"),
        ([HEAD, ROW, ROW.replace("838 lb", "868 lb")], ":3: base: the total weighs 3200 lb"),
        ([HEAD, 'a,"in'], ":2: left_front_rollout: missing"),
    ],
)  # fmt: skip
def test_broken_sessions_are_told_in_a_line(csv_file, lines, fault):
    path = csv_file(*lines)
    if "3200" in fault:
        path = csv_file(*lines, ROW)
    with pytest.raises(FileError) as error:
        load_scale_sessions(path)
    assert any(fault in line for line in error.value.lines)
    assert all(line.startswith(str(path)) for line in error.value.lines)


def test_all_faults_are_told_at_once(csv_file):
    path = csv_file(HEAD, ROW.replace("838 lb", ""), ROW.replace("812 lb", "heavy"))
    with pytest.raises(FileError) as error:
        load_scale_sessions(path)
    assert len(error.value.lines) == 2


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=300))
def test_no_bytes_make_a_traceback(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("any") / "scales.csv"
    path.write_bytes(data)
    with pytest.raises(FileError):
        load_scale_sessions(path)


def test_the_sessions_of_the_demo_car_are_read():
    first, second, *others = load_scale_sessions(CARS / "scales" / "number-31.csv")
    assert first.weights.bite == pytest.approx(61 * POUND)
    assert second.rollouts.right_rear - second.rollouts.left_rear == pytest.approx(3.25 * INCH)
    assert len(others) == 8


# Editing


def lines_changed(before: str, after: str) -> list[str]:
    old = before.splitlines()
    return [line for line in after.splitlines() if line not in old]


def test_an_edit_keeps_comments_and_order(car_file):
    before = car_file.read_text()
    edit_yaml(car_file, {"bite_per_inch.rear": "9.6 lb", "bite_per_inch.front": "9.2 lb"})
    assert lines_changed(before, car_file.read_text()) == [
        "bite_per_inch: {rear: 9.6 lb, front: 9.2 lb}   # found on the scales"
    ]
    assert load_car(car_file).bite_per_inch.rear == pytest.approx(9.6 * POUND / INCH)


def test_the_old_file_is_kept_and_never_overwritten(car_file):
    first = car_file.read_bytes()
    kept = edit_yaml(car_file, {"bite_per_inch.rear": "9.6 lb"})
    second = car_file.read_bytes()
    again = edit_yaml(car_file, {"bite_per_inch.rear": "9.7 lb"})
    assert kept != again
    assert kept.read_bytes() == first
    assert again.read_bytes() == second


def test_a_new_group_is_added_at_the_end(car_file):
    before = car_file.read_text()
    edit_yaml(car_file, {"bite_per_turn.rear": "7 lb", "bite_per_turn.front": "5 lb"})
    assert car_file.read_text() == before + "bite_per_turn: {rear: 7 lb, front: 5 lb}\n"
    assert load_car(car_file).bite_per_turn.front == pytest.approx(5 * POUND)


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("a: {x: 1 lb}\n", "a.y", "a: {x: 1 lb, y: 2 lb}\n"),
        ("a: {}\n", "a.y", "a: {y: 2 lb}\n"),
        ("a: {x: 1 lb, }\n", "a.y", "a: {x: 1 lb, y: 2 lb}\n"),
        ("a:\n  x: 1 lb  # old\n# of b\nb: 3\n", "a.y",
         "a:\n  x: 1 lb  # old\n  y: 2 lb\n# of b\nb: 3\n"),
        ("a:\n  x: 1 lb", "a.y", "a:\n  x: 1 lb\n  y: 2 lb\n"),
        ("a: 1\r\nb: 2\r\n", "c", "a: 1\r\nb: 2\r\nc: 2 lb\r\n"),
        ("# top\na: 'x y'   # why\nb: 1\n", "a", "# top\na: 2 lb   # why\nb: 1\n"),
        ("a:\nb: 1\n", "a", "a: 2 lb\nb: 1\n"),
        ("- {n: 1}\n- {n: 5}  # spare\n", "1.n", "- {n: 1}\n- {n: 2 lb}  # spare\n"),
        ("é: ü\na: {x: 1} # ½\n", "a.x", "é: ü\na: {x: 2 lb} # ½\n"),
        ("a: {x: 1 # note\n  }\n", "a.y", "a: {x: 1, y: 2 lb # note\n  }\n"),
    ],
)  # fmt: skip
def test_edits_touch_nothing_else(tmp_path, text, key, expected):
    path = tmp_path / "any.yaml"
    path.write_bytes(text.encode())
    edit_yaml(path, {key: "2 lb"})
    assert path.read_bytes().decode() == expected


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("a: 1\n", "a.y"),
        ("a: {x: 1}\n", "a"),
        ("- 1\n", "3"),
        ("a: {x: [1\n", "a.x"),
    ],
)
def test_an_edit_that_cannot_be_made_leaves_the_file(tmp_path, text, key):
    path = tmp_path / "any.yaml"
    path.write_text(text)
    with pytest.raises(FileError):
        edit_yaml(path, {key: "2 lb"})
    assert path.read_text() == text
    assert [file.name for file in tmp_path.iterdir()] == ["any.yaml"]


def test_a_value_that_would_break_the_file_is_refused(car_file):
    before = car_file.read_text()
    with pytest.raises(FileError, match="by hand"):
        edit_yaml(car_file, {"bite_per_inch.rear": "9 lb, front: 1 lb} #"})
    assert car_file.read_text() == before


@settings(max_examples=40, deadline=None)
@given(
    tree=st.dictionaries(
        st.sampled_from("abcd"),
        st.dictionaries(st.sampled_from("xyz"), st.integers(0, 99), min_size=1, max_size=3),
        min_size=1,
    ),
    outer=st.sampled_from("abcde"), inner=st.sampled_from("wxyz"), flow=st.booleans(),
)  # fmt: skip
def test_edited_tree_differs_in_that_value_alone(tmp_path_factory, tree, outer, inner, flow):
    path = tmp_path_factory.mktemp("edit") / "any.yaml"
    path.write_text(yaml.safe_dump(tree, default_flow_style=True if flow else None))
    edit_yaml(path, {f"{outer}.{inner}": "2 lb"})
    expected = {**tree, outer: {**tree.get(outer, {}), inner: "2 lb"}}
    assert yaml.safe_load(path.read_text()) == expected


def test_a_weight_that_differs_is_told_in_the_units_asked_for(csv_file):
    path = csv_file(HEAD, ROW, ROW.replace("838 lb", "868 lb"), ROW)
    for screen, words in ((TRADE, "weighs 3200 lb"), (Screen("si"), "weighs 14234 N")):
        with pytest.raises(FileError, match=words):
            load_scale_sessions(path, screen)
