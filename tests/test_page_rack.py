"""The rack on the page: a tire added, taped anew, put right and taken away by a phone."""

import re

import pytest

pytest.importorskip("flask")

from page_helpers import Phone, words
from rollpath.files.trailers import load_trailer
from rollpath.units import INCH


def names(folder):
    return load_trailer(folder).rack.names


def tire(folder, name):
    return load_trailer(folder).tire_named(name)


def was(phone, name):
    return re.search(r'name="was" value="(\w+)"', phone.see(f"/rack?tire={name}").text)[1]


def test_a_tire_is_added_and_bolted_on(phone, folder):
    assert "8 tires" in words(phone.see("/rack"))
    sent = phone.send("/rack", do="add", tire="r 9", size="86", size_part="5/8", side="right",
                      pressure="16")  # fmt: skip
    assert sent.location == "/rack"
    assert "r 9 86 5/8 in" in words(phone.see("/rack"))
    assert "16 psi" in words(phone.see("/rack?tire=r+9"))
    assert "r 9" in words(phone.see("/tires/rr"))
    assert "r 9" not in words(phone.see("/tires/lr"))
    phone.send("/tires/rr", tire="r 9")
    assert load_trailer(folder).night.on_car.right_rear.tire == "r 9"
    assert "r 9 86 5/8 in on the right rear" in words(phone.see("/rack"))


def test_a_trailer_without_a_rack_gets_one(empty, folder):
    empty.send("/trailer", track="Kettle Bottom", radius="200", straight="320")
    assert not (folder / "rack.yaml").exists()
    assert "Nothing on the rack yet" in words(empty.see("/rack"))
    assert empty.see("/rack?tire=L5").status_code == 400
    empty.send("/rack", do="add", tire="L5", size="84", size_part="1/2")
    assert names(folder) == ["L5"]
    assert "1 tire" in words(empty.see("/rack"))


def test_a_tire_is_taped_anew_and_its_old_taping_stays(phone, folder):
    phone.send("/rack", "/rack?tire=L5", do="tape", tire="L5", size="84", size_part="5/8",
               pressure="12", temperature="150")  # fmt: skip
    cold, hot = tire(folder, "L5").tapings
    assert (cold.is_hot, hot.is_hot) == (False, True)
    assert hot.mean == pytest.approx(84.625 * INCH)
    assert "84 5/8 in: hot, 12 psi, 150 F" in words(phone.see("/rack?tire=L5"))


def test_a_tire_is_put_right_and_the_file_as_it_was_is_told(phone, folder):
    rack = folder / "rack.yaml"
    rack.write_text(rack.read_text() + "  # spares are in the truck\n")
    before = rack.read_text()
    sent = phone.send(
        "/rack",
        "/rack?tire=L6",
        do="correct",
        tire="L6",
        was=was(phone, "L6"),
        size="83",
        size_part="1/4",
        side="left",
        scrap="yes",
        note="cords: #2",
    )
    assert sent.location == "/rack?tire=L6&kept=rack.yaml.old"
    told = words(phone.see(sent.location))
    assert "L6: 83 1/4 in scrap" in told
    assert "kept as rack.yaml.old" in told
    assert (folder / "rack.yaml.old").read_text() == before
    assert "# spares are in the truck" in rack.read_text()
    assert (tire(folder, "L6").note, tire(folder, "L6").scrap) == ("cords: #2", True)
    assert "L6" not in words(phone.see("/tires/lr"))
    nothing = phone.send("/rack", do="correct", tire="L6", was=was(phone, "L6"), scrap="yes")
    assert nothing.location == "/rack?tire=L6"
    assert "kept as" not in words(phone.see("/rack?kept=trailer.yaml"))
    assert "kept as" not in words(phone.see("/rack?kept=rack.yaml.old7"))


def test_a_tire_is_taken_away_but_not_from_under_the_car(phone, folder):
    sent = phone.send("/rack", do="away", tire="L6", was=was(phone, "L6"))
    assert sent.location == "/rack?kept=rack.yaml.old"
    assert "L6" not in names(folder)
    phone.send("/tires/lr", tire="L5")
    for name in ("L5", "RR"):
        told = phone.refused("/rack", do="away", tire=name, was=was(phone, name))
        assert "bolt another on there first" in words(told)
        assert name in names(folder)
    gone = phone.refused("/rack", do="away", tire="L6", was="x")
    assert 'no tire "L6"' in words(gone)


@pytest.mark.parametrize(
    ("typed", "field", "line"),
    [
        ({"do": "add", "size": "84"}, "add_tire", "what is chalked on it?"),
        ({"do": "add", "tire": "Q"}, "add_size", "the inches, and the eighths"),
        ({"do": "add", "tire": "Q", "size": "8"}, "add_size", "between 20 and 160 in"),
        ({"do": "add", "tire": "L5", "size": "84"}, "add", "on the rack already"),
        ({"do": "add", "tire": "Q", "size": "84", "pressure": "lots"}, "add_pressure", "expected"),
        ({"do": "tape", "tire": "R7"}, "tape_size", "the inches"),
        ({"do": "tape", "tire": "R7", "size": "86", "temperature": "hot"}, "tape_temperature",
         "expected"),
        ({"do": "correct", "tire": "R7", "size": "9"}, "correct_size", "between 20 and 160 in"),
    ],
)  # fmt: skip
def test_a_slip_is_told_beside_its_field(phone, folder, typed, field, line):
    before = (folder / "rack.yaml").read_bytes()
    mark = {} if typed["do"] == "add" else {"was": was(phone, typed["tire"])}
    answer = phone.refused("/rack", **typed, **mark)
    assert f'id="{field}-fault"' in answer.text
    assert answer.text.count('role="alert"') == 1
    assert line in words(answer)
    assert str(folder) not in answer.text
    for name, value in typed.items():
        assert name in ("do", "tire") or f'name="{name}" value="{value}"' in answer.text
    assert (folder / "rack.yaml").read_bytes() == before


def test_two_at_one_tire_the_later_is_told(phone, folder):
    other = Phone(phone.client.application)
    mark = was(other, "R7")
    phone.send("/rack", do="tape", tire="R7", size="86", size_part="3/4")
    told = other.refused("/rack", do="correct", tire="R7", was=mark, size="85", note="mine")
    assert "somebody changed R7 since this page was opened" in words(told)
    assert 'value="85"' in told.text
    assert tire(folder, "R7").tapings[-1].mean == pytest.approx(86.75 * INCH)


def test_to_look_shows_the_rack_and_no_form(phone, app_of):
    looking = Phone(app_of(look=True))
    for address in ("/rack", "/rack?tire=R7"):
        assert looking.see(address).status_code == 200
        assert "<form" not in looking.see(address).text
    assert phone.send("/rack", do="warp", tire="R7").status_code == 303
