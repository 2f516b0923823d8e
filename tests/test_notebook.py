"""The book: runs kept as they stood, corrected, carried from book to book."""

import os
import shutil
import sqlite3
import sys
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from notebook_helpers import made_run, many_pages, old_book
from rollpath import Book, Run
from rollpath.book.book import default_path
from rollpath.book.exchange import from_csv, to_csv, to_json
from rollpath.book.file import SCHEMA, migrate
from rollpath.book.journal import read_export
from rollpath.book.run import NAMES, BookError, settled
from rollpath.units import INCH
from test_runs import ANY_RUN


def test_a_run_is_kept_as_it_stood(tmp_path: Path) -> None:
    run = made_run(wheel="left", note="third gear\nrubber coming in")
    with Book(tmp_path / "book.db") as book:
        number = book.add(run)
    with Book(tmp_path / "book.db") as book:
        assert [(page.number, page.run) for page in book.runs()] == [(number, settled(run))]


def test_an_edit_keeps_the_old_values(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run(best_lap=17.84))
        book.edit(1, {"best_lap": 17.64, "note": "watch misread"})
        assert [page.run.best_lap for page in book.history(1)] == [17.84, 17.64]
        assert [page.run.note for page in book.runs()] == ["watch misread"]


def test_an_edit_that_changes_nothing_writes_nothing(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run(best_lap=17.84))
        book.edit(1, {"best_lap": 17.84})
        assert len(book.history(1)) == 1


def test_a_run_that_is_not_there_is_told(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        with pytest.raises(BookError, match="no run 1 in this notebook; it is empty"):
            book.history(1)
        book.add(made_run())
        for number in (2, -1, 10**30):
            with pytest.raises(BookError, match="numbered up to 1"):
                book.edit(number, {"note": "x"})


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(runs=st.lists(ANY_RUN, max_size=3), edits=st.lists(ANY_RUN, max_size=2))
def test_export_and_import_of_any_book_is_lossless(
    tmp_path: Path, runs: list[Run], edits: list[Run]
) -> None:
    path = tmp_path / os.urandom(6).hex()
    with Book(path / "a.db") as book:
        for run in runs:
            book.add(run)
        for number, run in enumerate(edits[: len(runs)], 1):
            book.edit(number, {"note": run.note, "track": run.track, "best_lap": run.best_lap})
        pages = book.pages()
    for i, text in enumerate((to_csv(pages), to_json(pages))):
        back, _ = read_export(text, "x")
        with Book(path / f"{i}.db") as other:
            other.take(back)
            assert other.pages() == pages
            assert other.take(back).known == len(pages)
            assert other.pages() == pages


@pytest.mark.parametrize(
    "text",
    ["'); DROP TABLE page; --", '"; DELETE FROM page', "Robert'\x00", "ลู่ดิน 土の道 مضمار", "%_"],
)
def test_text_is_data(tmp_path: Path, text: str) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run())
        book.add(made_run(track=text, car=text, session=text, note=text))
        book.edit(1, {"note": text})
        assert len(book.runs()) == 2
        assert book.history(2)[0].run.track == text


def test_an_import_that_fails_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    pages = many_pages(3)
    bad = replace(pages[2], run=replace(pages[2].run, wheel="up"))
    with Book(tmp_path / "book.db") as book:
        with pytest.raises(BookError):
            book.take([*pages[:2], bad])
        assert book.runs() == []


def test_a_line_corrected_in_a_spreadsheet_becomes_the_newest_revision(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run(best_lap=17.84))
        text = to_csv(book.pages()).replace("17.84", "17.48")
        assert book.take(from_csv(text, "x")).changed == 1
        assert [page.run.best_lap for page in book.history(1)] == [17.84, 17.48]
        assert book.take(from_csv(text, "x")).known == 1, "the second time there is nothing new"


def test_an_edit_there_and_back_survives_import_into_an_older_copy(tmp_path: Path) -> None:
    with Book(tmp_path / "a.db") as book, Book(tmp_path / "b.db") as older:
        book.add(made_run(note="a"))
        older.take(book.pages())
        book.edit(1, {"note": "b"})
        book.edit(1, {"note": "a"})
        older.take(book.pages())
        assert [page.run.note for page in older.history(1)] == ["a", "b", "a"]


def test_two_books_of_one_season_join_without_losing_a_number(tmp_path: Path) -> None:
    with Book(tmp_path / "a.db") as book, Book(tmp_path / "b.db") as other:
        book.add(made_run(note="mine"))
        other.add(made_run(note="his"))
        book.take(other.pages())
        assert [(page.number, page.run.note) for page in book.runs()] == [(1, "mine"), (2, "his")]


def test_a_line_corrected_there_and_back_in_a_spreadsheet_ends_as_it_was_typed_last(
    tmp_path: Path,
) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run(best_lap=17.84))
        first = to_csv(book.pages())
        for typed in (first.replace("17.84", "17.64"), first):
            assert book.take(from_csv(typed, "x")).changed == 1
            assert book.take(from_csv(typed, "x")).changed == 0, "the same again changes nothing"
        assert [page.run.best_lap for page in book.history(1)] == [17.84, 17.64, 17.84]
        whole = book.pages()
        assert book.take(whole).known == 3
        assert book.pages() == whole


def test_an_edit_back_survives_a_spreadsheet_that_keeps_only_minutes(tmp_path: Path) -> None:
    """Three revisions written in the same minute, as a spreadsheet saves them."""
    minute = datetime(2026, 5, 2, 21, 40)
    with Book(tmp_path / "a.db") as book, Book(tmp_path / "b.db") as other:
        book.add(made_run(best_lap=17.84))
        older = [replace(page, written=minute) for page in book.pages()]
        book.edit(1, {"best_lap": 17.64})
        book.edit(1, {"best_lap": 17.84})
        pages = [replace(page, written=minute) for page in book.pages()]
        other.take(older)
        other.take(pages)
        assert [page.run.best_lap for page in other.history(1)] == [17.84, 17.64, 17.84]
        assert book.take(pages).known == 3


def test_a_stale_export_does_not_undo_an_edit(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(made_run(best_lap=17.84))
        stale = book.pages()
        book.edit(1, {"best_lap": 17.64})
        assert book.take(stale).known == 1
        assert [page.run.best_lap for page in book.runs()] == [17.64]


def test_a_run_is_written_from_trade_text(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.add(Run.of(track="Ropewalk", car="31", told_stagger="2 1/4 in", best_lap="17.84 s"))
        (page,) = book.runs()
    assert (page.run.rear_stagger, page.run.best_lap) == (pytest.approx(2.25 * INCH), 17.84)
    with pytest.raises(BookError) as caught:
        Run.of(track="Ropewalk", car="31", best_lap="fast", tyre="x")
    assert len(caught.value.lines) == 2


# Versions


def test_the_columns_are_those_that_a_run_has(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run())
    with closing(sqlite3.connect(path)) as raw:
        columns = [row[1] for row in raw.execute("PRAGMA table_info(page)")]
        assert raw.execute("PRAGMA user_version").fetchone() == (SCHEMA,)
    assert columns == ["id", "seal", "key", "number", "revision", "written", *NAMES]


@pytest.mark.parametrize("log", [False, True], ids=["closed", "killed with its log"])
def test_a_book_of_the_first_schema_is_read_untouched_and_written_on(
    tmp_path: Path, log: bool
) -> None:
    path = tmp_path / "season.db"
    old_book(path, log)
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    with Book(path) as book:
        laps = [page.run.best_lap for page in book.history(1)]
        assert (laps, book.history(2)[0].run.session) == ([17.84, 17.8], "feature")
        assert (book.actions(), book.notices) == ([], [])
        assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before
        pages = book.pages()
        assert book.add(made_run(left_rear_tire="L5")) == 3
        assert book.pages()[:3] == pages[:3]
        assert (book.history(3)[0].run.left_rear_tire, book.notices) == ("L5", [])
    path.unlink()
    with Book(path) as book:  # the old pages are in the journal too
        assert len(book.pages()) == 4


def test_a_book_of_a_newer_rollpath_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run())
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA user_version=9999")
    before = path.read_bytes()
    with pytest.raises(BookError, match="written by a newer rollpath"):
        Book(path)
    assert path.read_bytes() == before


def test_a_migration_that_fails_half_way_is_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "season.db"
    old_book(path, log=False)
    monkeypatch.setattr("rollpath.book.file._ACTION_TABLE", "CREATE NONSENSE")
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        with pytest.raises(sqlite3.OperationalError):
            migrate(raw)
        columns = [row[1] for row in raw.execute("PRAGMA table_info(page)")]
        assert "told_stagger" not in columns
        assert raw.execute("PRAGMA user_version").fetchone() == (1,)
    with Book(path) as book:
        assert len(book.runs()) == 2


def test_the_notebook_lies_in_the_data_folder(tmp_path: Path) -> None:
    # XDG Base Directory Specification: $XDG_DATA_HOME, by default ~/.local/share.
    if sys.platform.startswith("linux"):
        told = {"XDG_DATA_HOME": str(tmp_path)}
        assert default_path(told) == tmp_path / "rollpath" / "notebook.db"
        assert default_path({}) == Path.home() / ".local/share/rollpath/notebook.db"


def test_a_link_to_a_book_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "stick").mkdir()
    link = tmp_path / "season.db"
    link.symlink_to(tmp_path / "stick" / "season.db")
    with Book(link) as book:
        book.add(made_run())
        shutil.copy(link, tmp_path / "copy.db")
    assert link.is_symlink()
    with Book(tmp_path / "copy.db") as book:
        assert len(book.runs()) == 1
