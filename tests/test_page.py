"""The page: everything of a first night by its forms, every number the command's own, and what two
people do at once."""

import json
import re
from io import BytesIO
from itertools import product
from pathlib import Path

import pytest

pytest.importorskip("flask")

from page_helpers import ANSWERS, Phone, words
from rollpath.book.book import Book
from rollpath.cli import main
from rollpath.files.trailers import load_trailer
from rollpath.screen import Screen
from rollpath.show.words import columns, lay_out, paragraph, pieces, row

PAGES = ("/", "/tires", "/rack", "/bite", "/plan", "/debrief", "/book", "/survey", "/trailer")


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


def test_an_empty_trailer_is_set_up_by_its_questions_without_a_unit(empty, folder):
    assert empty.see("/").location == "/trailer"
    assert empty.send("/trailer", **ANSWERS).location == "/"
    answer = words(empty.see("/"))
    assert "rear stagger" in answer
    assert re.findall(r"\b(LF|RF|LR|RR) \w+ \d\d", answer) == ["LF", "RF", "LR", "RR"]
    assert (folder / "tracks" / "kettle-bottom.yaml").is_file()


def test_the_files_are_those_of_the_command(empty, folder, tmp_path, told):
    from page_helpers import TYPED

    empty.send("/trailer", **ANSWERS)
    told(*TYPED, "--trailer", str(tmp_path / "other"))
    for name in ("car.yaml", "rack.yaml", "tracks/kettle-bottom.yaml"):
        assert (folder / name).read_text() == (tmp_path / "other" / name).read_text()


def test_the_book_holds_every_step_of_a_night(empty, folder):
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
def test_every_number_is_the_commands_to_the_digit(phone, told, monkeypatch, address, typed):
    monkeypatch.setenv("COLUMNS", "40")
    mine, theirs = figures_in(words(phone.see(address))), figures_in(" ".join(told(*typed).split()))
    assert theirs
    missing = [one for one in theirs if one not in mine]
    assert not missing, (missing, mine)


def test_the_run_in_the_book_is_the_one_the_command_keeps(phone, folder, told):
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
    phone, folder, page, address, typed, line
):  # fmt: skip
    before = (folder / "trailer.yaml").read_bytes()
    answer = phone.refused(address, page, **typed)
    assert line in words(answer)
    assert "--" not in words(answer)
    assert 'role="alert"' in answer.text
    for name, value in typed.items():
        if name not in ("tire", "surface", "size_part"):
            assert f'value="{value}"' in answer.text, name
    assert (folder / "trailer.yaml").read_bytes() == before


def test_bad_answers_write_nothing_and_are_each_told_beside_their_question(empty, folder):
    answer = empty.refused("/trailer", **ANSWERS | {"radius": "2", "pads_rr": "", "power": "lots"})
    assert not list(folder.iterdir())
    for name in ("pads", "power"):
        assert f'id="{name}-fault"' in answer.text
    assert 'value="812"' in answer.text


@pytest.mark.parametrize("address", PAGES)
def test_hostile_words_come_out_as_words(phone, address):
    bad = "<script>alert(1)</script>'\"{{1234*5}}"
    names = ("chord", "gap", "rear_stagger", "heat", "wheel", "best_lap", "note", "wheels", "log")
    answer = phone.see(address, query_string=dict.fromkeys(names, bad))
    assert answer.status_code in (200, 400)
    assert "<script>alert" not in answer.text
    assert "{{1234*5}}" in answer.text or "7*7" not in answer.text


# All of it bolted on


def test_the_four_that_are_wanted_are_bolted_on_in_one_step(phone, folder):
    phone.send("/tonight", "/", surface="slick")
    page = phone.see("/tires")
    wanted = re.search(r'name="four" value="([^"]+)"', page.text)[1]
    tires = [one.split()[0] for one in wanted.split(", ")]
    corner = phone.see("/tires/lr").text
    assert re.search(rf">{tires[2]}</b> [^<]*<small>wanted tonight", corner)
    kept = {**phone.kept("/tires"), "four": wanted}
    for _ in range(2):  # a double tap is one step
        assert phone.send("/tires", kept=kept).location == "/tires"
    trailer = load_trailer(folder)
    on_car = [one.tire for one in trailer.night.on_car]
    assert on_car == tires
    air = [float(one.split()[1]) for one in wanted.split(", ")]
    assert [one.pressure for one in trailer.night.on_car] == pytest.approx(
        air, abs=20
    )  # Pa, as the file rounds
    for one in trailer.night.on_car:
        assert one.rollout is not None
    assert 'name="four"' not in phone.see("/tires").text
    with Book(folder / "season.db") as book:
        assert [one.what for one in book.actions()] == ["trailer", "tonight", "bolt"]
    phone.send("/undo", "/tires")
    assert 'name="four"' in phone.see("/tires").text


def test_the_four_are_not_bolted_on_when_others_are_wanted_by_now(phone, folder):
    phone.send("/tonight", "/", surface="slick")
    before = (folder / "trailer.yaml").read_text()
    told = phone.refused("/tires", "/tires", four="L6 12, R7 18, L5 12, R8 16")
    assert "another four by now" in words(told)
    assert (folder / "trailer.yaml").read_text() == before
    phone.send("/tires/lr", tire="L6")
    assert "another four" in words(phone.refused("/tires", "/tires", four="L6 1"))


# Two at once


def test_a_double_tap_is_one_step(phone, folder):
    kept = phone.kept("/tires/lr")
    for _ in range(2):
        assert phone.send("/tires/lr", kept=kept, tire="L5").status_code == 303
    kept = phone.kept("/book")
    numbers = {phone.send("/book", kept=kept, best_lap="22.9").location for _ in range(2)}
    assert numbers == {"/book/1"}
    with Book(folder / "season.db") as book:
        assert [one.what for one in book.actions()] == ["trailer", "bolt"]
        assert len(book.runs()) == 1


def test_the_later_of_two_sees_what_the_earlier_did_and_is_asked(phone, app_of, folder):
    other = Phone(phone.client.application)
    kept = other.kept("/tires/lr")
    phone.send("/tires/rr", tire="R7")
    asked = other.refused("/tires/lr", kept=kept, tire="L5")
    assert "bolt: RR R7, RR 86 1/2 in" in words(asked)
    night = load_trailer(folder).night
    assert (night.on_car.left_rear.tire, night.on_car.right_rear.tire) == ("LR", "R7")
    again = dict(re.findall(r'name="(\w+)" value="([^"]*)"', asked.text))
    assert other.send("/tires/lr", kept=again).location == "/tires"
    night = load_trailer(folder).night
    assert (night.on_car.left_rear.tire, night.on_car.right_rear.tire) == ("L5", "R7")


def test_the_command_and_the_page_work_side_by_side(phone, folder, told):
    kept = phone.kept("/tires/lr")
    told("bolt", "rr=R8")
    assert "R8" in words(phone.see("/tires"))
    assert "somebody did this" in words(phone.refused("/tires/lr", kept=kept, tire="L6")).lower()
    assert phone.send("/tires/lr", tire="L6").status_code == 303
    assert json.loads(told("trailer", "--json"))["on_car"]["left_rear"]["tire"] == "L6"


def test_what_another_took_back_is_not_taken_back_twice(phone, folder):
    phone.send("/tires/lr", tire="L5")
    phone.send("/tires/rr", tire="R7")
    kept = phone.kept("/tires")
    assert phone.send("/undo", kept=kept).status_code == 303
    assert "somebody did this" in words(phone.refused("/undo", kept=kept)).lower()
    assert load_trailer(folder).night.on_car.left_rear.tire == "L5"


# A track measured on the spot


def test_a_track_is_taped_and_tonight_is_there(phone, folder):
    taped = {"chord": "100", "gap": "6 ft 9 in", "straight": "320", "width": "50"}
    assert phone.send("/survey", **taped, name="Two Barns").location == "/"
    assert load_trailer(folder).night.track == "two-barns"
    assert "Two Barns" in words(phone.see("/"))


def test_a_position_log_from_the_phone_is_kept_and_read(phone, folder):
    log = Path(__file__).parent.parent / "tracks" / "logs" / "two-ponds.gpx"
    kept = phone.kept("/survey")
    sent = phone.send("/survey/log", kept={**kept, "file": (BytesIO(log.read_bytes()), "../../x")})
    assert sent.status_code == 303, words(sent)
    assert [path.parent.name for path in folder.rglob("*.log")] == ["logs"]
    assert "Inside radius" in words(phone.see(f"{sent.location}&width=48"))
    bad = phone.refused(
        "/survey/log", kept={**kept, "file": (BytesIO(b"<gpx>&x;</gpx>"), "a.gpx")}
    )  # fmt: skip
    assert "the log: " in words(bad)
    assert str(folder) not in bad.text
    assert len(list(folder.rglob("*.log"))) == 1


# The log of a run

RUN_LOG = Path(__file__).parent.parent / "tracks" / "logs" / "saucer-hill-run.csv"


@pytest.fixture
def on_the_hill(phone, folder):
    """The trailer where the demo log was driven."""
    track = RUN_LOG.parent.parent / "saucer-hill.yaml"
    (folder / "tracks" / "saucer-hill.yaml").write_bytes(track.read_bytes())
    phone.send("/tonight", "/", track="saucer-hill")
    return phone


def as_file(data, name="../../run.csv"):
    return BytesIO(data), name


@pytest.mark.parametrize(
    ("typed", "command"),
    [
        ({}, ()),
        ({"wheel": "left", "drifts_out": "yes", "gear": "5.8"},
         ("--wheel", "left", "--drifts-out", "yes", "--gear-ratio", "5.8")),
        ({"positive": "right", "columns": "steering = steering angle (deg); rpm=rpm"},
         ("--steering-positive", "right", "--column", "steering=steering angle (deg)",
          "--column", "rpm=rpm")),
    ],
)  # fmt: skip
def test_a_log_of_the_run_is_read_as_the_command_reads_it(
    on_the_hill, folder, told, monkeypatch, typed, command
):
    sent = on_the_hill.send("/debrief", file=as_file(RUN_LOG.read_bytes()), **typed)
    assert sent.status_code == 303
    (log,) = folder.rglob("*.log")
    assert log.parent.name == "logs"
    assert log.read_bytes() == RUN_LOG.read_bytes()
    answer = on_the_hill.see(sent.location)
    monkeypatch.setenv("COLUMNS", "40")
    theirs = figures_in(" ".join(told("debrief", "--log", str(log), *command).split()))
    assert len(theirs) > 3
    assert not [one for one in theirs if one not in figures_in(words(answer))]
    assert "Recorded laps" in words(answer)
    picture = re.search(r'/debrief/lap.svg\?[^"]*', answer.text)[0].replace("&amp;", "&")
    assert "<svg" in on_the_hill.see(picture).text
    with_answers = on_the_hill.send("/debrief", sent.location, log=log.stem, crabs="no")
    assert "Recorded laps" in words(on_the_hill.see(with_answers.location))


def test_a_log_on_a_surface_that_a_lap_told_is_read_alike_too(
    on_the_hill, folder, told, monkeypatch
):
    on_the_hill.send("/tonight", "/", lap="22.4")
    sent = on_the_hill.send("/debrief", file=as_file(RUN_LOG.read_bytes()), crabs="yes")
    (log,) = folder.rglob("*.log")
    monkeypatch.setenv("COLUMNS", "40")
    theirs = figures_in(" ".join(told("debrief", "--log", str(log), "--crabs", "yes").split()))
    mine = figures_in(words(on_the_hill.see(sent.location)))
    assert "22.40 s" in theirs
    assert not [one for one in theirs if one not in mine]


@pytest.mark.parametrize(
    ("data", "typed", "line"),
    [
        (b"", {}, ""),
        (b"time,x (m),y (m)\n0,0,0\n", {}, "1 rows are too few"),
        (b"time,x (m),y (m)\n0,0,zero\n", {}, "line 2 of the log: "),
        (b"\x00\xff" * 50, {}, "the log"),
        (b"lap,heat\n1,2\n", {}, "nothing to lay along a lap"),
        (RUN_LOG.read_bytes(), {"columns": "speed=knots"}, 'no column "knots"'),
        (RUN_LOG.read_bytes(), {"columns": "warp=knots"}, "expected one of time"),
        (RUN_LOG.read_bytes(), {"gear": "tall"}, "expected a plain number"),
        (RUN_LOG.read_bytes(), {"gear": "99"}, "between 0.5 and 30"),
    ],
)  # fmt: skip
def test_a_log_that_cannot_be_read_is_told_in_a_line_and_the_answers_stay(
    on_the_hill, folder, data, typed, line
):
    said = {"wheel": "left", **typed}
    sent = on_the_hill.send("/debrief", file=as_file(data), **said)
    answer = on_the_hill.see(sent.location)
    assert line in words(answer)
    assert answer.text.count('role="alert"') == (1 if line else 0)
    assert 'name="wheel" value="left" checked' in answer.text
    assert str(folder) not in answer.text
    for name, value in typed.items():
        assert f'name="{name}" value="{value}"' in answer.text
    assert len(list(folder.rglob("*.log"))) == ("gear" in typed or "warp" in str(typed))


def test_a_log_of_another_track_and_one_that_is_not_here_are_told(phone, folder):
    (folder / "tracks" / "kettle-bottom.yaml").write_text(
        "name: Kettle Bottom\ninside_radius: 60 ft\nstraight: 90 ft\nwidth: 40 ft\n"
    )
    answer = phone.refused("/debrief", file=as_file(RUN_LOG.read_bytes()))
    assert "another track" in words(answer)
    assert not list(folder.rglob("*.log"))
    gone = phone.see("/debrief?log=0123456789abcdef&wheel=left")
    assert "send it again" in words(gone)
    assert phone.see("/debrief?log=../../season").status_code == 200
    assert phone.see("/debrief/lap.svg?log=0123456789abcdef").status_code == 400


# Forms that were sent


def test_an_address_that_takes_forms_only_leads_to_the_page_of_its_form(phone):
    rules = list(phone.client.application.url_map.iter_rules())
    seen = {rule.rule for rule in rules if "GET" in rule.methods}
    only_forms = [r.rule for r in rules if "POST" in r.methods and r.rule not in seen]
    assert {"/tonight", "/undo", "/survey/log"} <= set(only_forms)
    for address in only_forms:
        page = phone.see(address, follow_redirects=True)
        assert page.status_code == 200
        if address != "/undo":  # which stands there once something was done
            assert f'action="{address}"' in page.text
    phone.send("/tires/lr", tire="L5")
    assert 'action="/undo"' in phone.see("/undo", follow_redirects=True).text


def test_what_a_form_was_answered_with_can_be_looked_at_again_and_is_bounded(phone):
    from rollpath.page.desk import MOST_TOLD

    first = phone.send("/tires/rr", size="8").location
    assert first.startswith("/tires/rr?told=")
    assert 'value="8"' in phone.see(first).text
    assert 'value="8"' in phone.see(first).text
    for _ in range(MOST_TOLD):
        phone.send("/tonight", "/", lap="1")
    later = phone.see(first)  # let go: the page of the form, as ever
    assert later.status_code == 200
    assert 'role="alert"' not in later.text
    assert phone.see("/?told=%00../x").status_code == 200


# Every page


def test_every_page_is_an_address_with_a_name_and_its_cautions(phone):
    for address, query in product(PAGES, ("", "?full=yes")):
        answer = phone.see(address + query)
        assert answer.status_code == 200
        assert re.search(r"<title>\w+", answer.text)
        assert answer.text.count("<h1") == 1
        assert "Stands under the car" in words(answer)
        assert "rollpath " not in words(answer)
        assert "--" not in words(answer)


def test_pictures_are_drawings_that_cannot_do_anything(phone):
    for address in (
        "/tonight.svg",
        "/bite/stagger.svg?rear_stagger=2",
        "/debrief/lap.svg?crabs=no",
    ):
        answer = phone.see(address)
        assert answer.mimetype == "image/svg+xml"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "<script" not in answer.text
