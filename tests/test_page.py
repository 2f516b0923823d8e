"""The page: everything of a first night by its forms, every number the command's own, and what two
people do at once."""

import json
import re
from itertools import product

import pytest

pytest.importorskip("flask")

from page_helpers import (  # noqa: F401
    ANSWERS,
    Phone,
    app_of,
    empty,
    folder,
    phone,
    words,
)
from rollpath.book.book import Book
from rollpath.cli import main
from rollpath.files.trailers import load_trailer
from rollpath.screen import Screen
from rollpath.show.words import columns, lay_out, paragraph, pieces, row

PAGES = ("/", "/tires", "/bite", "/plan", "/debrief", "/book", "/survey", "/trailer")


@pytest.fixture
def told(capsys):
    """What a command prints, in one line; what is to be typed next at a terminal left out."""

    def told(*typed):
        assert main(list(typed)) == 0
        return capsys.readouterr().out

    return told


def figures_in(text):
    """Every number in a text with its unit, as it is written."""
    return re.findall(r"\d+(?: \d/\d|/\d)?(?:\.\d+)? (?:in|lb|psi|s|ft|%)(?![a-z])", text)


# A first night


def test_an_empty_trailer_is_set_up_by_its_questions_without_a_unit(empty, folder):  # noqa: F811
    assert empty.see("/").location == "/trailer"
    assert empty.send("/trailer", **ANSWERS).location == "/"
    answer = words(empty.see("/"))
    assert "rear stagger" in answer
    assert re.findall(r"\b(LF|RF|LR|RR) \w+ \d\d", answer) == ["LF", "RF", "LR", "RR"]
    assert (folder / "tracks" / "kettle-bottom.yaml").is_file()


def test_the_files_are_those_of_the_command(empty, folder, tmp_path, told):  # noqa: F811
    from page_helpers import TYPED

    empty.send("/trailer", **ANSWERS)
    told(*TYPED, "--trailer", str(tmp_path / "other"))
    for name in ("car.yaml", "rack.yaml", "tracks/kettle-bottom.yaml"):
        assert (folder / name).read_text() == (tmp_path / "other" / name).read_text()


def test_the_book_holds_every_step_of_a_night(empty, folder):  # noqa: F811
    empty.send("/trailer", **ANSWERS)
    empty.send("/tires/lr", tire="L5")
    empty.send("/tires/rr", air="18")
    empty.send("/tires/rf", size="83", size_part="5/8")
    pads = dict(zip(("left_front", "right_front", "left_rear", "right_rear"),
                    ("800", "750", "840", "780"), strict=True))  # fmt: skip
    empty.send("/bite", **{f"pad_{corner}": pad for corner, pad in pads.items()})
    empty.send("/tonight", "/", surface="slick")
    empty.send("/tonight", "/", share="60")
    empty.send("/tonight", "/", lap="22.9")
    empty.send("/book", session="heat 1", best_lap="22.95", wheel="left", drifts_out="yes")
    with Book(folder / "season.db") as book:
        done = [action.what for action in book.actions()]
        run = book.runs()[0].run
    assert done == ["trailer", "bolt", "air", "bolt", "pads", "tonight", "tonight", "tonight"]
    assert (run.session, run.best_lap, run.wheel) == ("heat 1", 22.95, "left")
    assert (run.left_rear_tire, run.condition) == ("L5", "heavy to slick 60%")
    night = load_trailer(folder).night
    assert night.lap_time == 22.9
    assert empty.send("/undo", "/").location == "/"
    assert load_trailer(folder).night.lap_time is None


# The command's own numbers


@pytest.mark.parametrize(
    ("address", "typed"),
    [
        ("/", ("tonight",)),
        ("/trailer", ("trailer",)),
        ("/plan?heat=heavy&feature=slick&wheels=2&jacks=yes",
         ("plan", "--runs", "heat: heavy, feature: slick", "--changes", "2")),
        ("/debrief?wheel=left&drifts_out=yes",
         ("debrief", "--wheel", "left", "--drifts-out", "yes")),
        ("/debrief?crabs=yes&full=yes", ("debrief", "--crabs", "yes", "--full")),
        ("/bite?rear_stagger=2&rear_stagger_part=1/4",
         ("bite", "car.yaml", "--rear-stagger", "2 1/4in", "--hold", "either")),
        ("/survey?chord=100&gap=6+ft+9+in&straight=320&width=50",
         ("survey", "--chord", "100ft", "--gap", "6 ft 9 in", "--straight", "320ft",
          "--width", "50ft")),
    ],
)  # fmt: skip
def test_every_number_is_the_commands_to_the_digit(phone, told, monkeypatch, address, typed):  # noqa: F811
    monkeypatch.setenv("COLUMNS", "40")
    mine, theirs = figures_in(words(phone.see(address))), figures_in(" ".join(told(*typed).split()))
    assert theirs
    missing = [one for one in theirs if one not in mine]
    assert not missing, (missing, mine)


def test_the_run_in_the_book_is_the_one_the_command_keeps(phone, folder, told):  # noqa: F811
    phone.send("/book", session="heat 1", best_lap="22.95", wheel="left")
    told("notebook", "add", "--run", "heat 1", "--best", "22.95s", "--wheel", "left")
    runs = json.loads(told("notebook", "list", "--json"))["runs"]
    ours, theirs = ({k: v for k, v in run.items() if k not in ("number", "when")} for run in runs)
    assert ours == theirs


def test_what_a_screen_holds_is_handed_over_whole():
    lines = [
        "Rear stagger 2 1/4 in: add 1/2 in",
        paragraph("under it; rollpath undo takes it back.", "  "),
        row("radius", "189 ft"),
        *columns([["no", "night"], ["1", "2026-05-02"]], 1),
        "Stands first; nuts torqued; maker's psi.",
        "By track, run by run: --full",
    ]
    found = pieces(lay_out(lines, Screen(laid=False)))
    assert [piece.kind for piece in found] == ["text", "under", "row", "table"]
    assert found[0].text.replace("\xa0", " ") == lines[0]
    assert found[1].text == "under it;"
    assert found[3].cells == (("no", "night"), ("1", "2026-05-02"))


# Slips


@pytest.mark.parametrize(
    ("page", "address", "typed", "line"),
    [
        ("/tires/rr", "/tires/rr", {"size": "8", "size_part": "1/4"}, "between 20 and 160 in"),
        ("/tires/rr", "/tires/rr", {"tire": "L55"}, 'did you mean "L5"'),
        ("/tires/rr", "/tires/rr", {"air": "-40"}, "no air"),
        ("/", "/tonight", {"lap": "9.8"}, "not to be had on this track"),
        ("/", "/tonight", {"surface": "soaked"}, 'no surface "soaked"'),
        ("/bite", "/bite", {"pad_left_front": "half"}, "expected"),
        ("/book", "/book", {"best_lap": "soon"}, "expected"),
        ("/survey", "/survey", {"chord": "100", "gap": "6", "straight": "300", "width": "50",
                                "name": "kettle bottom"}, "already"),
    ],
)  # fmt: skip
def test_a_slip_is_told_beside_its_field_and_what_was_typed_is_kept(
    phone, folder, page, address, typed, line  # noqa: F811
):  # fmt: skip
    before = (folder / "trailer.yaml").read_bytes()
    answer = phone.send(address, page, **typed)
    assert answer.status_code == 400
    assert line in words(answer)
    assert "--" not in words(answer)
    assert 'role="alert"' in answer.text
    for name, value in typed.items():
        if name not in ("tire", "surface", "size_part"):
            assert f'value="{value}"' in answer.text, name
    assert (folder / "trailer.yaml").read_bytes() == before


def test_bad_answers_write_nothing_and_are_each_told_beside_their_question(empty, folder):  # noqa: F811
    answer = empty.send("/trailer", **ANSWERS | {"radius": "2", "pads_rr": "", "power": "lots"})
    assert answer.status_code == 400
    assert not list(folder.iterdir())
    for name in ("pads", "power"):
        assert f'id="{name}-fault"' in answer.text
    assert 'value="812"' in answer.text


@pytest.mark.parametrize("address", PAGES)
def test_hostile_words_come_out_as_words(phone, address):  # noqa: F811
    bad = "<script>alert(1)</script>'\"{{1234*5}}"
    names = ("chord", "gap", "rear_stagger", "heat", "wheel", "best_lap", "note", "wheels", "log")
    answer = phone.see(address, query_string=dict.fromkeys(names, bad))
    assert answer.status_code in (200, 400)
    assert "<script>alert" not in answer.text
    assert "{{1234*5}}" in answer.text or "7*7" not in answer.text


# Two at once


def test_a_double_tap_is_one_step(phone, folder):  # noqa: F811
    kept = phone.kept("/tires/lr")
    for _ in range(2):
        assert phone.send("/tires/lr", kept=kept, tire="L5").status_code == 303
    kept = phone.kept("/book")
    numbers = {phone.send("/book", kept=kept, best_lap="22.9").location for _ in range(2)}
    assert numbers == {"/book/1"}
    with Book(folder / "season.db") as book:
        assert [one.what for one in book.actions()] == ["trailer", "bolt"]
        assert len(book.runs()) == 1


def test_the_later_of_two_sees_what_the_earlier_did_and_is_asked(phone, app_of, folder):  # noqa: F811
    other = Phone(phone.client.application)
    kept = other.kept("/tires/lr")
    phone.send("/tires/rr", tire="R7")
    asked = other.send("/tires/lr", kept=kept, tire="L5")
    assert asked.status_code == 409
    assert "bolt: RR R7, RR 86 1/2 in" in words(asked)
    night = load_trailer(folder).night
    assert (night.on_car.left_rear.tire, night.on_car.right_rear.tire) == ("LR", "R7")
    again = dict(re.findall(r'name="(\w+)" value="([^"]*)"', asked.text))
    assert other.send("/tires/lr", kept=again).location == "/tires"
    night = load_trailer(folder).night
    assert (night.on_car.left_rear.tire, night.on_car.right_rear.tire) == ("L5", "R7")


def test_the_command_and_the_page_work_side_by_side(phone, folder, told):  # noqa: F811
    kept = phone.kept("/tires/lr")
    told("bolt", "rr=R8")
    assert "R8" in words(phone.see("/tires"))
    assert phone.send("/tires/lr", kept=kept, tire="L6").status_code == 409
    assert phone.send("/tires/lr", tire="L6").status_code == 303
    assert json.loads(told("trailer", "--json"))["on_car"]["left_rear"]["tire"] == "L6"


def test_what_another_took_back_is_not_taken_back_twice(phone, folder):  # noqa: F811
    phone.send("/tires/lr", tire="L5")
    phone.send("/tires/rr", tire="R7")
    kept = phone.kept("/tires")
    assert phone.send("/undo", kept=kept).status_code == 303
    assert phone.send("/undo", kept=kept).status_code == 409
    assert load_trailer(folder).night.on_car.left_rear.tire == "L5"


# A track measured on the spot


def test_a_track_is_taped_and_tonight_is_there(phone, folder):  # noqa: F811
    taped = {"chord": "100", "gap": "6 ft 9 in", "straight": "320", "width": "50"}
    assert phone.send("/survey", **taped, name="Two Barns").location == "/"
    assert load_trailer(folder).night.track == "two-barns"
    assert "Two Barns" in words(phone.see("/"))


def test_a_position_log_from_the_phone_is_kept_and_read(phone, folder):  # noqa: F811
    from io import BytesIO
    from pathlib import Path

    log = Path(__file__).parent.parent / "tracks" / "logs" / "two-ponds.gpx"
    kept = phone.kept("/survey")
    sent = phone.send("/survey/log", kept={**kept, "file": (BytesIO(log.read_bytes()), "../../x")})
    assert sent.status_code == 303, words(sent)
    assert [path.parent.name for path in folder.rglob("*.log")] == ["logs"]
    assert "Inside radius" in words(phone.see(f"{sent.location}&width=48"))
    bad = phone.send("/survey/log", kept={**kept, "file": (BytesIO(b"<gpx>&x;</gpx>"), "a.gpx")})
    assert bad.status_code == 400
    assert str(folder) not in bad.text
    assert len(list(folder.rglob("*.log"))) == 1


# Every page


def test_every_page_is_an_address_with_a_name_and_its_cautions(phone):  # noqa: F811
    for address, query in product(PAGES, ("", "?full=yes")):
        answer = phone.see(address + query)
        assert answer.status_code == 200
        assert re.search(r"<title>\w+", answer.text)
        assert answer.text.count("<h1") == 1
        assert "Stands under the car" in words(answer)
        assert "rollpath " not in words(answer)
        assert "--" not in words(answer)


def test_pictures_are_drawings_that_cannot_do_anything(phone):  # noqa: F811
    for address in (
        "/tonight.svg",
        "/bite/stagger.svg?rear_stagger=2",
        "/debrief/lap.svg?crabs=no",
    ):
        answer = phone.see(address)
        assert answer.mimetype == "image/svg+xml"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "<script" not in answer.text
