"""A racer's own spreadsheet, taken as it is."""

from datetime import date
from pathlib import Path

import pytest
from rollpath.book.book import Book
from rollpath.book.run import BookError
from rollpath.book.spreadsheet import from_spreadsheet, is_spreadsheet
from rollpath.cli import main
from rollpath.units import INCH

COMMAS = """Date,Track,Car,Stagger,Best
5/2/2026,Ropewalk,31,2 1/4,17.84
5/2/2026,Ropewalk,31,2-1/2",17.70
5/9/2026,Two Ponds,31,2.125 in,16.02 s
"""
SEMICOLONS = """date;track;car;surface;stagger;best;weather
2.5.2026;Ropewalk;31;Slick;2,25;17,84;dry
"""


def test_what_he_has_is_read() -> None:
    pages = from_spreadsheet(COMMAS, "nights.csv")
    runs = [page.run for page in pages]
    assert [run.when.date() for run in runs] == [date(2026, 5, 2)] * 2 + [date(2026, 5, 9)]
    assert runs[0].when < runs[1].when
    staggers = [run.rear_stagger / INCH for run in runs if run.rear_stagger is not None]
    assert staggers == pytest.approx([2.25, 2.5, 2.125])
    assert [run.best_lap for run in runs] == [17.84, 17.70, 16.02]
    assert all(run.right_rear_rollout is None and run.note is None for run in runs)


def test_semicolons_commas_in_numbers_and_points_in_dates() -> None:
    (page,) = from_spreadsheet("\ufeff" + SEMICOLONS.replace("\n", "\r\n"), "nights.csv")
    run = page.run
    assert run.when.date() == date(2026, 5, 2)
    assert run.rear_stagger == pytest.approx(2.25 * INCH)
    assert (run.condition, run.best_lap) == ("slick", 17.84)
    assert "weather: dry" in (run.note or "")  # nothing typed is lost


def test_a_day_that_no_month_can_be_turns_the_dates_round() -> None:
    text = "date,track,car,stagger\n5/2/2026,A,B,2\n25/2/2026,A,B,2\n"
    days = [page.run.when.date() for page in from_spreadsheet(text, "x.csv")]
    assert days == [date(2026, 2, 5), date(2026, 2, 25)]


def test_the_drivers_answers_have_their_place_and_his_own_words_go_into_the_note() -> None:
    head = "date;track;car;stagger;wheel;crabs;note\n"
    text = head + "5/2/2026;A;B;2;Left;some;ok\n5/2/2026;A;B;2;;yes;\n"
    first, second = (page.run for page in from_spreadsheet(text, "x.csv"))
    assert (first.wheel, first.crabs, first.note) == ("left", None, "ok; crabs: some")
    assert (second.wheel, second.crabs, second.note) == (None, "yes", None)


def test_an_import_says_in_words_how_it_read_the_dates(tmp_path, capsys) -> None:
    nights = tmp_path / "nights.csv"
    nights.write_text("date,track,car,stagger\n5/2/2026,A,B,2\n12/2/2026,A,B,2\n", "utf-8")
    main(["notebook", "import", str(nights), "--book", str(tmp_path / "season.db")])
    assert "Nights of 2 May 2026 to 2 December 2026." in " ".join(capsys.readouterr().out.split())


def test_rollouts_beat_the_nominal_and_have_to_fit() -> None:
    head = "date,track,car,left rear,right rear,stagger\n"
    (page,) = from_spreadsheet(head + "5/2/26,A,B,83 3/4,86,2 1/4\n", "x.csv")
    assert page.run.left_rear_rollout == pytest.approx(83.75 * INCH)
    assert page.run.note is None
    with pytest.raises(BookError) as error:
        from_spreadsheet(head + "5/2/26,A,B,83 3/4,86,3\n", "x.csv")
    assert error.value.lines == ["x.csv:2: stagger: does not fit the left and right rear beside it"]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("date,car,stagger\n5/2/2026,B,2\n", "track: column missing; add one headed track"),
        ("date,track,car,stagger\nMay,A,B,2\n", "x.csv:2: date: expected a date such as 5/2/2026"),
        ("date,track,car,stagger\n5/2/2026,A,B,much\n", "x.csv:2: stagger: expected"),
        ("date,track,car,best,lap\n5/2/2026,A,B,17,17\n", "best_lap: column given twice"),
        ("date,track,car,stagger\n5/2/2026,,B,2\n", "x.csv:2: track: missing"),
    ],
)
def test_faults_name_file_line_and_heading(text: str, fault: str) -> None:
    with pytest.raises(BookError) as error:
        from_spreadsheet(text, "x.csv")
    assert any(fault in line for line in error.value.lines)


def test_an_export_is_no_plain_spreadsheet() -> None:
    assert is_spreadsheet(COMMAS)
    assert is_spreadsheet(SEMICOLONS)
    assert not is_spreadsheet("when,track,car\n2026-05-02T20:00,A,B\n")
    assert not is_spreadsheet("")


def test_the_command_takes_it_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book, sheet = str(tmp_path / "book.db"), tmp_path / "nights.csv"
    sheet.write_text(COMMAS)
    for _ in range(2):
        assert main(["notebook", "import", str(sheet), "--book", book]) == 0
    capsys.readouterr()
    with Book(book) as one:
        assert len(one.runs()) == 3
    assert main(["notebook", "review", "--book", book]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert told.startswith("31, surface not said: 3 runs, 2 nights")
    assert "2 1/4 1 -0.14" in told  # by hand: 17.70 - 17.84
    assert "2 1/2 1 +0.14" in told
    assert "do not say the surface" in told
