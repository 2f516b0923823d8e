"""A rack file changed by hand: a tire added, put right and taken away, all around it kept."""

import multiprocessing
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.files.racked import (
    add_tire,
    correct_tire,
    record_taping,
    take_away,
    tire_mark,
)
from rollpath.files.racks import load_rack
from rollpath.files.schema import FileError
from rollpath.files.writing import edit_yaml
from rollpath.units import INCH, QuantityError

RACK = """\
# whose it is
name: Small   # chalk
tires:
  # lefts
  - {id: A, rollout: 84 in, side: left}   # best one
  - id: B
    rollout: [84 in, 84 1/4 in]
    note: "from: the truck"
  # rights
  - id: C
    tapings:
      - {rollout: 86 in, pressure: 14 psi, date: 2026-04-05}
      - {rollout: [86 1/4 in, 86 1/2 in], pressure: 16 psi, date: 2026-04-05}  # newest
  - {id: D, rollout: 86 1/2 in}
"""


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "rack.yaml"
    path.write_text(RACK)
    return path


def lines_gone(path):
    """Lines of the rack as it was that stand there no more."""
    now = path.read_text().splitlines()
    return [line.strip() for line in RACK.splitlines() if line not in now]


# Added


def test_a_tire_is_added_and_nothing_else_is_touched(path):
    add_tire(path, "E 5", ["85 1/2"], {"pressure": "15", "side": "right"}, "")
    assert path.read_text().startswith(RACK)
    tire = load_rack(path).tires[-1]
    assert (tire.name, tire.corners) == ("E 5", ("right_front", "right_rear"))
    assert tire.cold.mean == pytest.approx(85.5 * INCH)
    assert list(path.parent.iterdir()) == [path]


def test_the_first_tire_makes_the_file(tmp_path):
    path = tmp_path / "rack.yaml"
    add_tire(path, "A1", ["84"], {"date": "2026-05-01"}, 'the "31" tires')
    add_tire(path, "A2", ["85"], {}, "another name")
    rack = load_rack(path)
    assert (rack.name, rack.names) == ('the "31" tires', ["A1", "A2"])


@pytest.mark.parametrize(
    ("tire", "size", "told", "words"),
    [
        ("a", "84 in", {}, "a tire a on the rack already"),
        ("E", "8 in", {}, "rollout: expected a rollout between 20 and 160 in"),
        ("E", "27 1/2 in", {}, "height"),
        ("E", "big", {}, "rollout: expected"),
        ("E,F", "84 in", {}, "without a comma"),
        ("E" * 30, "84 in", {}, "id: expected"),
        ("E", "84 in", {"pressure": "-3"}, "pressure: expected"),
        ("E", "84 in", {"side": "up"}, "side: expected one of left, right, any"),
    ],
)
def test_what_cannot_be_a_tire_leaves_the_file_alone(path, tire, size, told, words):
    with pytest.raises((FileError, QuantityError), match=words):
        add_tire(path, tire, [size], told, "")
    assert path.read_text() == RACK
    assert list(path.parent.iterdir()) == [path]


def add_three(path, hand):
    for i in range(3):
        add_tire(path, f"T{hand}{i}", ["84 in"], {}, "all")


def test_tires_added_at_once_are_all_there_the_first_ones_too(tmp_path):
    path = tmp_path / "rack.yaml"
    context = multiprocessing.get_context("fork")
    hands = [context.Process(target=add_three, args=(path, hand)) for hand in range(4)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert sorted(load_rack(path).names) == sorted(f"T{h}{i}" for h in range(4) for i in range(3))
    assert list(tmp_path.iterdir()) == [path]


# Put right


@pytest.mark.parametrize(
    ("tire", "told", "gone"),
    [
        ("A", {"rollout": "84 1/2"}, 1), ("A", {"side": "any", "scrap": "yes"}, 1),
        ("B", {"rollout": "83 in"}, 1), ("B", {"note": "cords: show #2"}, 1),
        ("C", {"rollout": "86 3/4 in", "pressure": "15"}, 1), ("C", {"scrap": "yes"}, 0),
        ("D", {"note": "x"}, 1),
    ],
)  # fmt: skip
def test_a_tire_is_put_right_in_its_line_and_the_old_file_kept(path, tire, told, gone):
    kept = correct_tire(path, tire, told, tire_mark(path, tire))
    assert kept.read_text() == RACK
    assert len(lines_gone(path)) == gone
    assert path.read_text().count("#") == RACK.count("#") + ("#" in told.get("note", ""))
    after = next(one for one in load_rack(path).tires if one.name == tire)
    if "rollout" in told:
        newest = after.tapings[-1].readings
        assert newest == (pytest.approx(float(newest[0])),)
        wanted = {"A": 84.5, "B": 83, "C": 86.75}[tire]
        assert newest[0] == pytest.approx(wanted * INCH)
    assert after.scrap is ("scrap" in told)
    assert "note" not in told or after.note == told["note"]


def test_nothing_said_writes_nothing(path):
    assert correct_tire(path, "A", {}, tire_mark(path, "A")) is None
    assert list(path.parent.iterdir()) == [path]


def test_what_somebody_else_changed_is_not_written_over(path):
    seen = tire_mark(path, "A")
    record_taping(path, "A", ["84 3/8 in"])
    told = path.read_text()
    for change in (lambda: correct_tire(path, "A", {"scrap": "yes"}, seen),
                   lambda: take_away(path, "A", seen)):  # fmt: skip
        with pytest.raises(FileError, match="somebody changed A"):
            change()
    assert path.read_text() == told
    assert tire_mark(path, "A") not in ("", seen)


def test_a_side_that_leaves_no_corner_is_refused(path):
    path.write_text(RACK.replace("id: D,", "id: D, corners: [right_rear],"))
    with pytest.raises(FileError, match=r"^rack.yaml:\d+: .*none of them on its side"):
        correct_tire(path, "D", {"side": "left"}, tire_mark(path, "D"))


# Taken away


@pytest.mark.parametrize("tire", list("ABCD"))
def test_a_tire_is_taken_away_with_its_own_lines_alone(path, tire):
    kept = take_away(path, tire, tire_mark(path, tire))
    assert kept.read_text() == RACK
    old, new = yaml.safe_load(RACK), yaml.safe_load(path.read_text())
    assert new["tires"] == [one for one in old["tires"] if one["id"] != tire]
    for comment in ("# whose it is", "# chalk", "# lefts", "# rights"):
        assert comment in path.read_text()
    assert set(lines_gone(path)) <= set(map(str.strip, RACK.splitlines()))


def test_the_last_one_stays_and_one_that_is_gone_is_told(path):
    for tire in "ABC":
        take_away(path, tire, tire_mark(path, tire))
    with pytest.raises(FileError, match="last tire of a rack stays"):
        take_away(path, "D", tire_mark(path, "D"))
    with pytest.raises(FileError, match="somebody changed A"):
        take_away(path, "A", "")


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_an_item_leaves_any_list_and_the_rest_is_as_it_was(tmp_path_factory, data):
    """Outside check: PyYAML's own loader reads the rest as before."""
    items = data.draw(st.lists(st.sampled_from(
        ["a", "[1, 2]", "{x: 1, y: [2]}", '"b, c"', "x: 1\n    y: 2", "- 1\n    - 2"]
    ), min_size=2, max_size=5))  # fmt: skip
    at = data.draw(st.integers(0, len(items) - 1))
    in_block = data.draw(st.booleans())
    if in_block:
        said = (one if "\n" in one else f"{one}   # {i}" for i, one in enumerate(items))
        text = "before: 1\nlist:\n" + "".join(f"  - {one}\n" for one in said)
    else:
        items = [one for one in items if "\n" not in one] + ["z", "z"]
        at = min(at, len(items) - 1)
        text = f"before: 1\nlist: [{', '.join(items)}]  # end\n"
    text += data.draw(st.sampled_from(["", "after: 2\n", "# comment\nafter: 2\n"]))
    path = Path(tmp_path_factory.mktemp("list")) / "x.yaml"
    path.write_text(text)
    edit_yaml(path, {f"list.{at}": None}, keep_old=False)
    old, new = yaml.safe_load(text), yaml.safe_load(path.read_text())
    del old["list"][at]
    assert new == old
    assert ("# comment" in path.read_text()) is ("# comment" in text)
