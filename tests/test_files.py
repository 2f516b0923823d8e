"""YAML to objects and back."""

import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest
import rollpath
from hypothesis import given, settings
from hypothesis import strategies as st
from rollpath.car import DEFAULT_WINDOW
from rollpath.files import demo
from rollpath.files.cars import load_car
from rollpath.files.demo import copy_demo_data
from rollpath.files.schema import FileError
from rollpath.files.tracks import load_track
from rollpath.files.writing import write_whole
from rollpath.track import CONDITIONS, DEFAULT_BLEND, GripBands
from rollpath.typical import LOADED_SHARES, TYPICAL, typical
from rollpath.units import DEGREE, FOOT, INCH, POUND, PSI

ROOT = Path(__file__).parent.parent

TRACK = """\
name: Test Oval
inside_radius: [200 ft, 185 ft]
straight: 320 ft
width: 50 ft
bow: 12 ft
bank: {corners: 12 deg, straights: 3 deg}
blend: 60 ft
conditions:
  slick: {grip: 0.62, groove: rounded}
tolerance: {inside_radius: 8 ft, straight: 15 ft}
"""
CAR = """\
name: Test Car
wheelbase: 108 in
front: {track_width: 62 in, left: {rollout: 82 1/2 in}, right: {rollout: 83 3/4 in}}
rear:  {track_width: 63 in, left: {rollout: 83 3/4 in}, right: {rollout: 86 1/4 in}}
weights: {left_front: 812 lb, right_front: 741 lb, left_rear: 838 lb, right_rear: 779 lb}
"""


@pytest.fixture
def write(tmp_path):
    def write(text, name="one.yaml"):
        path = tmp_path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return write


def faults_of(load, path):
    with pytest.raises(FileError) as refused:
        load(path)
    lines = refused.value.lines
    for line in lines:
        assert "\n" not in line
        assert line.startswith(str(path))
    return [line.removeprefix(str(path)) for line in lines]


def test_a_track_file_is_read_into_si(write):
    track = load_track(write(TRACK))
    assert track.name == "Test Oval"
    assert track.inside_radius == pytest.approx((200 * FOOT, 185 * FOOT))
    assert (track.straight, track.width, track.bow, track.blend) == pytest.approx(
        (320 * FOOT, 50 * FOOT, 12 * FOOT, 60 * FOOT)
    )
    assert track.bank.corners == pytest.approx(12 * DEGREE)
    assert track.condition("slick").grip == 0.62
    assert track.condition("slick").groove == "rounded"
    assert track.condition("slick").slip_stiffness == CONDITIONS["slick"].slip_stiffness
    assert track.condition("heavy") == CONDITIONS["heavy"]
    assert track.measured_to.inside_radius == pytest.approx(8 * FOOT)
    assert track.measured_to.straight == pytest.approx(15 * FOOT)


def test_grip_may_differ_across_the_track(write):
    grip = "{inside: 0.55, middle: 0.60, outside: 0.82}"
    track = load_track(write(TRACK.replace("grip: 0.62", f"grip: {grip}")))
    assert track.condition("slick").grip == GripBands(0.55, 0.60, 0.82)


@pytest.mark.parametrize(
    ("grip", "told"),
    [
        ("{inside: 0.55, middle: 0.6}", "outside: missing; a grip between 0.2 and 1.5"),
        ("{inside: 0.55, middle: 0.6, outside: 1.6}",
         'outside: expected a grip between 0.2 and 1.5, got "1.6"'),
        ("{inner: 0.55, middle: 0.6, outside: 0.7}", 'inner: unknown key; did you mean "inside"?'),
        ("[0.55, 0.6, 0.7]", "grip: expected one value, or inside, middle, outside"),
    ],
)  # fmt: skip
def test_bands_that_are_none_are_told(write, grip, told):
    path = write(TRACK.replace("grip: 0.62", f"grip: {grip}"))
    assert told in "\n".join(faults_of(load_track, path))


def test_everything_below_width_is_optional_in_a_track(write):
    track = load_track(write("\n".join(TRACK.replace("[200 ft, 185 ft]", "200 ft")
                                       .splitlines()[:4])))  # fmt: skip
    assert track.inside_radius == pytest.approx((200 * FOOT, 200 * FOOT))
    assert (track.bow, track.bank.corners, track.blend) == (0.0, 0.0, DEFAULT_BLEND)


def test_everything_below_weights_is_optional_in_a_car(write):
    car = load_car(write(CAR))
    assert car.rear.stagger == pytest.approx(2.5 * INCH)
    assert car.weights.bite == pytest.approx(59 * POUND)
    assert (car.cg_height, car.power) == (typical("cg_height"), typical("power"))
    assert car.stagger_window == DEFAULT_WINDOW
    assert car.tire.spring_rate == typical("tire.spring_rate")
    assert car.springs is None
    assert car.bite_per_inch.rear is None


def test_a_car_file_with_everything_is_read_into_si(write):
    car = load_car(
        write(
            CAR + "stagger_window: [1/2 in, 3 in]\nbite_per_inch: {rear: 9.5 lb, front: 9 lb}\n"
            "springs: {front_wheel_rate: [260 lb/in, 250 lb/in], rear_rate: 190 lb/in, "
            "rear_base: 44 in}\njacks: {thread: 1 in per 12 turns}\ntire: {growth: 1/4 in}\n"
        )
    )
    assert car.stagger_window == pytest.approx((0.5 * INCH, 3 * INCH))
    assert car.bite_per_inch.rear == pytest.approx(9.5 * POUND / INCH)
    assert car.springs.front_wheel_rate == pytest.approx((260 * POUND / INCH, 250 * POUND / INCH))
    assert car.springs.rear_rate == pytest.approx((190 * POUND / INCH,) * 2)
    assert car.jack_thread == pytest.approx(INCH / 12)
    assert car.tire.growth == pytest.approx(INCH / 4)
    assert car.tire.spring_rate == typical("tire.spring_rate")


@pytest.mark.parametrize("path", sorted((ROOT / "tracks").glob("*.yaml")), ids=lambda p: p.stem)
def test_demo_tracks_load(path):
    assert load_track(path).width > 0


@pytest.mark.parametrize("path", sorted((ROOT / "cars").glob("*.yaml")), ids=lambda p: p.stem)
def test_demo_cars_load(path):
    assert load_car(path).weights.total > 0


BAD_TRACKS = {
    "wrong unit": ("straight: 320 ft", "straight: 320 lb",
                   ':3: straight: expected a length such as "320 ft", got "320 lb"'),
    "word": ("straight: 320 ft", "straight: long",
             ':3: straight: expected a length such as "320 ft", got "long"'),
    "missing unit": ("straight: 320 ft", "straight: 320",
                     ':3: straight: expected a length such as "320 ft", with its unit, got "320"'),
    "negative radius": ("[200 ft, 185 ft]", "[-200 ft, 185 ft]",
                        ":2: inside_radius: expected a radius between 15 and 2000 ft, "
                        'got "-200 ft"'),
    "swallowed infield": ("width: 50 ft", "width: 190 ft",
                          ":4: width: a width greater than the inside radius swallows the infield"),
    "bow past a half circle": ("bow: 12 ft", "bow: 170 ft",
                               ":5: bow: the straights bow out by more than a half circle"),
    "bow tighter than the corners": ("bow: 12 ft", "bow: 90 ft",
                                     ":5: bow: the straights bow out so far that they turn"),
    "ends that do not meet": ("straight: 320 ft\nwidth: 50 ft\nbow: 12 ft",
                              "straight: 0 ft\nwidth: 50 ft\nbow: 0 ft",
                              ":2: inside_radius: these two ends and this straight do not join"),
    "not a number": ("grip: 0.62", "grip: .nan",
                     ':9: grip: expected a plain number such as 0.62, got ".nan"'),
    "not a length": ("straight: 320 ft", "straight: nan ft",
                     ':3: straight: expected a length such as "320 ft", got "nan ft"'),
    "unknown key": ("blend: 60 ft", "blnd: 60 ft",
                    ':7: blnd: unknown key; did you mean "blend"?'),
    "unknown condition": ("slick:", "wet:",
                          ":9: wet: unknown key; known here: heavy, tacky, rubbered, slick"),
    "key given twice": ("bow: 12 ft", "width: 12 ft", ":5: width: given twice"),
    "missing key": ("straight: 320 ft\n", "", ":1: straight: missing"),
    "three ends": ("[200 ft, 185 ft]", "[200 ft, 185 ft, 170 ft]",
                   ":2: inside_radius: expected one value or 2"),
    "too steep": ("corners: 12 deg", "corners: 80 deg",
                  ':6: corners: expected an angle between -10 and 45 deg, got "80 deg"'),
    "no mapping": ("{inside_radius: 8 ft, straight: 15 ft}", "12 ft",
                   ":10: tolerance: expected keys such as inside_radius, straight"),
    "key of several words": ("bow: 12 ft", "[a, b]: 12 ft", ":5: the file: a key must be one word"),
    "line break in a key": ("bow: 12 ft", '"bo\\nw": 12 ft', ":5: bo?w: unknown key"),
    "line break in a value": ("groove: rounded", 'groove: "mid\\ndle"',
                              ":9: groove: expected one of low, middle, high"),
    "object": ("bow: 12 ft", "bow: !!python/object/apply:os.system ['exit 1']",
               ":5: tags (!) are not allowed"),
    "alias": ("bow: 12 ft", "bow: &bow 12 ft", ":5: anchors and aliases (& and *) are not allowed"),
    "deep nesting": ("bow: 12 ft", "bow: " + "[" * 50 + "]" * 50,
                     ":5: nested deeper than any file of rollpath"),
    "broken": ("bow: 12 ft", "bow: [12 ft", ":6: not YAML: "),
    "two documents": ("bow: 12 ft", "bow: 12 ft\n---\na: b", ":6: not YAML: the file must end"),
    "tab": ("bow: 12 ft", "\tbow: 12 ft", ":5: not YAML: indent with spaces, not tabs"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BAD_TRACKS)
def test_a_bad_track_file_is_told_in_one_line_with_its_place(write, fault):
    found, bad, told = BAD_TRACKS[fault]
    assert TRACK.count(found) == 1
    lines = faults_of(load_track, write(TRACK.replace(found, bad)))
    assert len(lines) == 1
    assert lines[0].startswith(told)


BAD_CARS = {
    "window upside down": ("stagger_window: [3 in, 1 in]", "the lower end first"),
    "rate of zero": ("tire: {spring_rate: 0 lb/in}", "a tire rate between"),
    "no spring": ("springs: {rear_rate: 190 lb/in}", "front_wheel_rate: missing"),
    "bare power": ("power: 340", 'such as "340 hp", with its unit'),
    "thread": ("jacks: {thread: 12 turns}", "1 in per 12 turns"),
}


@pytest.mark.parametrize("fault", BAD_CARS)
def test_a_bad_car_file_is_told_with_its_line(write, fault):
    line, told = BAD_CARS[fault]
    found = faults_of(load_car, write(CAR + line))
    assert any(re.match(r":6: ", one) and told in one for one in found)


def test_all_faults_of_a_file_are_told_at_once_in_their_order(write):
    text = TRACK.replace("320 ft", "long").replace("width: 50 ft", "width: 50").replace(
        "corners: 12 deg", "corners: steep")  # fmt: skip
    lines = faults_of(load_track, write(text))
    assert [line.split(":")[1] for line in lines] == ["3", "4", "6"]


def test_an_alias_bomb_is_refused_before_it_grows(write):
    levels = "\n".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 30))
    (line,) = faults_of(load_track, write("a0: &a0 x\n" + levels))
    assert line.startswith(":1: anchors and aliases")


def test_no_object_is_made_from_a_file(write, tmp_path):
    trace = tmp_path / "trace"
    for tag in ("!!python/object/apply:pathlib.Path.touch", "!!python/object/apply:os.mkdir"):
        faults_of(load_track, write(TRACK + f"x: {tag} ['{trace}']\n"))
    assert not trace.exists()


def test_what_is_not_a_text_file_is_refused(write, tmp_path):
    (tmp_path / "folder.yaml").mkdir()
    for path, told in (
        (write(b"name: \xff\xfe", "latin.yaml"), ":1: not UTF-8 text"),
        (write(b"name: a\x00b", "zero.yaml"), ": not YAML"),
        (write("", "empty.yaml"), ": the file is empty"),
        (write("# only this", "comment.yaml"), ": the file is empty"),
        (write("x" * (1 << 20) + "x", "large.yaml"), ": larger than 1 MiB"),
        (write("- a\n- b", "list.yaml"), ":1: the file: expected keys"),
        (write("hello", "word.yaml"), ":1: the file: expected keys"),
        (tmp_path / "folder.yaml", ": cannot be read"),
        (tmp_path / "nowhere.yaml", ": cannot be read"),
    ):
        (line,) = faults_of(load_track, path)
        assert line.startswith(told)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root reads all")
def test_a_file_that_may_not_be_read_is_told(write):
    path = write(TRACK)
    path.chmod(0)
    assert faults_of(load_track, path)[0].startswith(": cannot be read")


@settings(max_examples=60, deadline=None)
@given(junk=st.text(max_size=30), at=st.integers(0, len(TRACK)))
def test_junk_anywhere_in_a_file_loads_or_is_told(tmp_path_factory, junk, at):
    path = tmp_path_factory.mktemp("junk") / "one.yaml"
    path.write_text(TRACK[:at] + junk + TRACK[at:], encoding="utf-8")
    try:
        load_track(path)
    except FileError as error:
        assert error.lines
        assert all("\n" not in line for line in error.lines)


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(write):
    text = "\ufeff" + TRACK.replace("\n", "\r\n")
    assert load_track(write(text)).straight == pytest.approx(320 * FOOT)


def test_a_file_is_written_whole(tmp_path):
    path = tmp_path / "kept.yaml"
    path.write_text("old")
    path.chmod(0o640)
    write_whole(path, "new ⅛")
    assert path.read_text(encoding="utf-8") == "new ⅛"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_write_that_fails_leaves_what_was_there(tmp_path, monkeypatch):
    path = tmp_path / "kept.yaml"
    path.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FileError, match=r"kept\.yaml: cannot be written: No space left"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_writing_into_a_missing_folder_is_told(tmp_path):
    with pytest.raises(FileError, match="cannot be written"):
        write_whole(tmp_path / "nowhere" / "x.yaml", "new")


def test_demo_data_of_a_checkout_is_copied_whole(tmp_path):
    copies = copy_demo_data(tmp_path)
    for part in ("tracks", "cars"):
        theirs = {path for path in (ROOT / part).rglob("*.*") if path.suffix != ".py"}
        ours = {ROOT / copy.relative_to(tmp_path) for copy in copies if part in copy.parts}
        assert ours == theirs
    assert load_track(tmp_path / "tracks" / "saucer-hill.yaml").name == "Saucer Hill"


def test_demo_data_of_an_installed_package_lies_inside_it(tmp_path, monkeypatch):
    inside = tmp_path / "sim" / "rollpath" / "demo"
    inside.mkdir(parents=True)
    monkeypatch.setattr(demo, "__file__", str(tmp_path / "sim" / "rollpath" / "files" / "demo.py"))
    assert demo.demo_folder() == inside
    inside.rmdir()
    assert demo.demo_folder() == tmp_path


def test_every_name_at_the_front_door_is_there():
    assert all(getattr(rollpath, name) is not None for name in rollpath.__all__)
    with pytest.raises(ImportError):
        from rollpath import load_lorry  # noqa: F401


def test_reading_a_track_and_a_car_enters_no_room_for_logs_racks_or_sessions():
    program = "import sys; from rollpath import load_car, load_track; print(*sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    entered = set(run.stdout.split())
    assert "rollpath.files.cars" in entered
    assert not entered & {f"rollpath.{room}" for room in ("scales", "tires", "runlog", "survey")}
    assert not entered & {f"rollpath.files.{room}" for room in ("logs", "racks", "sessions")}


def test_a_car_of_which_only_the_name_is_known_is_a_typical_one(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text("name: Unknown\n")
    car = load_car(path)
    assert car.assumed == frozenset(TYPICAL)
    assert car.wheelbase == typical("wheelbase")
    assert car.weights.left_rear == typical("weights.left_rear")
    assert car.pressure.right_rear == typical("pressure.right_rear")
    assert car.gear_ratio is None
    assert 2400 * POUND < car.weights.total < 3400 * POUND


def test_what_a_car_file_gives_is_not_assumed(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text(
        "name: Half known\n"
        "rear: {left: {rollout: 80 in}}\n"
        "roll_center: {rear: 11 in}\n"
        "pressure: {left_rear: 9 psi}\n"
        "tire: {construction: radial, air_share: 0.9}\n"
    )
    car = load_car(path)
    assert car.rear.left_rollout == pytest.approx(80 * INCH)
    assert car.rear.stagger == pytest.approx(2 * INCH)  # the typical one
    assert car.roll_center == pytest.approx((typical("roll_center.front"), 11 * INCH))
    assert car.pressure.left_rear == pytest.approx(9 * PSI)
    assert (car.tire.air_share, car.tire.loaded_share) == (0.9, LOADED_SHARES["radial"])
    given = {"rear.left.rollout", "roll_center.rear", "pressure.left_rear", "tire.air_share",
             "tire.loaded_share"}  # fmt: skip
    assert car.assumed == frozenset(TYPICAL) - given


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("pressure: {left_rear: 1 psi}", "a pressure between"),
        ("roll_center: {front: 50 in}", "a height between"),
        ("tire: {air_share: 2}", "a share between"),
        ("tire: {construction: steel}", "bias, radial"),
    ],
)
def test_new_keys_of_a_car_are_held_to_their_ranges(tmp_path, line, told):
    path = tmp_path / "car.yaml"
    path.write_text(f"name: Faulty\n{line}\n")
    with pytest.raises(FileError, match=told):
        load_car(path)


def test_the_page_of_files_is_the_one_written_from_the_schemas():
    from rollpath.files.reference import reference_page

    page = (ROOT / "sim/rollpath/guide/files.md").read_text(encoding="utf-8")
    assert page == reference_page(), (
        "python -m rollpath.files.reference > sim/rollpath/guide/files.md"
    )
    assert max(map(len, page.splitlines())) <= 80


def test_every_key_of_track_car_rack_and_sessions_says_its_worth_and_its_range():
    from rollpath.files.cars import CAR_SCHEMA
    from rollpath.files.racks import RACK_SCHEMA
    from rollpath.files.reference import _keys
    from rollpath.files.sessions import SESSION_SCHEMA
    from rollpath.files.tracks import track_schema

    for schema in (track_schema(["slick"]), CAR_SCHEMA, RACK_SCHEMA, SESSION_SCHEMA):
        for key, one in _keys(schema):
            assert one.worth, key
            assert one.range_text, key


def test_the_examples_of_that_page_load(write):
    page = (ROOT / "sim/rollpath/guide/files.md").read_text(encoding="utf-8")
    track, car = re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)
    assert load_track(write(track)).assumed == ("width",)
    assert "weights.left_front" not in load_car(write(car)).assumed
