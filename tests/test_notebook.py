"""The book: nothing that was confirmed is lost."""

import json
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from notebook_helpers import made_run
from rollpath.book import file, rescue
from rollpath.book.book import Book, default_path
from rollpath.book.exchange import from_csv, from_json, to_csv, to_json
from rollpath.book.file import MIGRATIONS, migrate
from rollpath.book.run import NAMES, BookError, Page, Run, settled
from test_runs import ANY_RUN

TESTS = Path(__file__).parent


def many_pages(count: int, **changes: Any) -> list[Page]:
    run = settled(made_run(**changes))
    return [Page(f"{i:032x}", i, 1, run.when, run) for i in range(1, count + 1)]


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
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
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
    for i, back in enumerate((from_csv(to_csv(pages), "x"), from_json(to_json(pages), "x"))):
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


# Versions


def test_the_columns_are_those_that_a_run_has(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db"), closing(sqlite3.connect(tmp_path / "book.db")) as raw:
        columns = [row[1] for row in raw.execute("PRAGMA table_info(page)")]
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert raw.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    assert columns == ["id", "seal", "key", "number", "revision", "written", *NAMES]


def test_a_book_of_a_newer_rollpath_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run())
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA user_version=99")
    before = path.read_bytes()
    with pytest.raises(BookError, match="written by a newer rollpath"):
        Book(path)
    assert path.read_bytes() == before


def test_a_migration_adds_to_a_book_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run(note="before"))
        before = book.pages()
    step = ("ALTER TABLE page ADD COLUMN weather TEXT",)
    monkeypatch.setattr(file, "MIGRATIONS", (*MIGRATIONS, step))
    with Book(path) as book:
        assert book.pages() == before
        book.add(made_run(note="after"))
        assert len(book.runs()) == 2
    with closing(sqlite3.connect(path)) as raw:
        assert "weather" in [row[1] for row in raw.execute("PRAGMA table_info(page)")]


def test_a_migration_that_fails_half_way_is_undone(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run())
    steps = (*MIGRATIONS, ("ALTER TABLE page ADD COLUMN weather TEXT", "SELECT no_such_thing"))
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        with pytest.raises(sqlite3.OperationalError):
            migrate(raw, path, steps)
        assert "weather" not in [row[1] for row in raw.execute("PRAGMA table_info(page)")]
        assert raw.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    with Book(path) as book:
        assert len(book.runs()) == 1


def test_the_notebook_lies_in_the_data_folder(tmp_path: Path) -> None:
    # XDG Base Directory Specification: $XDG_DATA_HOME, by default ~/.local/share.
    if sys.platform.startswith("linux"):
        told = {"XDG_DATA_HOME": str(tmp_path)}
        assert default_path(told) == tmp_path / "rollpath" / "notebook.db"
        assert default_path({}) == Path.home() / ".local/share/rollpath/notebook.db"


# Kills, crowds and full disks

ADDER = """
    import sys
    sys.path[:0] = {paths!r}
    from notebook_helpers import made_run
    from rollpath.book.book import Book
    for i in range({count}):
        with Book({path!r}) as book:
            print(book.add(made_run(note="{name} %d" % i + "." * 3000)), flush=True)
"""


def start_adder(path: Path, name: str, count: int = 10**6) -> "subprocess.Popen[str]":
    paths = [str(TESTS), str(TESTS.parent)]
    script = textwrap.dedent(ADDER).format(paths=paths, path=str(path), count=count, name=name)
    return subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)


def test_a_writer_that_is_killed_loses_nothing_it_confirmed(tmp_path: Path) -> None:
    path, seed = tmp_path / "book.db", random.Random(9)
    confirmed: list[int] = []
    for round_number in range(4):
        writer = start_adder(path, f"round {round_number}")
        assert writer.stdout is not None
        confirmed.append(int(writer.stdout.readline()))
        time.sleep(seed.uniform(0.0, 0.15))
        writer.send_signal(signal.SIGKILL)
        confirmed += [int(line) for line in writer.stdout.read().split()]
        writer.wait()
        assert writer.returncode == -signal.SIGKILL
        with Book(path) as book:
            kept = [page.number for page in book.pages()]
            assert book.notices == []
        assert set(confirmed) <= set(kept)
        assert len(kept) <= len(confirmed) + round_number + 1, "at most one a kill unconfirmed"
    assert len(confirmed) > 4


def test_two_processes_write_at_once_and_both_are_kept(tmp_path: Path) -> None:
    writers = [start_adder(tmp_path / "book.db", name, 25) for name in ("one", "two")]
    numbers = [int(n) for writer in writers for n in writer.communicate()[0].split()]
    assert [writer.returncode for writer in writers] == [0, 0]
    assert sorted(numbers) == list(range(1, 51))
    with Book(tmp_path / "book.db") as book:
        notes = {(page.run.note or "").rstrip(".") for page in book.runs()}
    assert notes == {f"{name} {i}" for name in ("one", "two") for i in range(25)}


def test_a_full_disk_is_told_and_nothing_confirmed_is_lost(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.take(many_pages(20))
        (pages,) = book._connection.execute("PRAGMA page_count").fetchone()
        book._connection.execute(f"PRAGMA max_page_count={pages}")
        kept = 20
        with pytest.raises(BookError, match="the disk is full; nothing was written"):
            while kept < 100:
                book.add(made_run(note="x" * 900))
                kept += 1
        assert len(book.pages()) == kept
        with pytest.raises(BookError, match="the disk is full"):
            book.take([replace(page, key=page.key[::-1]) for page in many_pages(50)])
        assert len(book.pages()) == kept, "an import is all or nothing"
    with Book(tmp_path / "book.db") as book:
        assert (len(book.pages()), book.notices) == (kept, [])
        assert book.add(made_run()) == kept + 1, "and goes on when there is room again"


def test_a_disk_that_refuses_to_grow_the_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.take(many_pages(30))
    script = textwrap.dedent(f"""
        import resource, sys
        sys.path[:0] = {[str(TESTS), str(TESTS.parent)]!r}
        from notebook_helpers import made_run
        from rollpath.book.book import Book
        from rollpath.book.run import BookError
        with Book({str(path)!r}) as book:
            resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
            for _ in range(100):
                try:
                    print(book.add(made_run(note="x" * 3000)), flush=True)
                except BookError as error:
                    print(error, file=sys.stderr)
                    break
    """)
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert "nothing was written" in done.stderr
    assert "Traceback" not in done.stderr
    confirmed = {int(number) for number in done.stdout.split()}
    with Book(path) as book:
        assert book.notices == []
        assert {page.number for page in book.pages()} >= confirmed | set(range(1, 31))


def test_a_backup_is_whole_while_another_writes(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.take(many_pages(200))
        writer = start_adder(path, "other", 20)
        for i in range(3):
            book.backup(tmp_path / f"backup-{i}.db")
        writer.communicate()
    for i in range(3):
        with Book(tmp_path / f"backup-{i}.db") as copy:
            assert len(copy.pages()) >= 200
            assert copy.notices == []


def test_a_backup_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "there").write_text("mine")
    with Book(tmp_path / "book.db") as book, pytest.raises(BookError, match="is there already"):
        book.backup(tmp_path / "there")
    assert (tmp_path / "there").read_text() == "mine"
    with Book(tmp_path / "book.db") as book, pytest.raises(BookError, match="cannot be opened"):
        book.backup(tmp_path / "no such folder" / "book.db")


# Damage


def damaged_book(path: Path, damage: Callable[[bytearray], object], count: int = 400) -> list[Page]:
    """Make a book, damage its file, and return the pages it held."""
    with Book(path) as book:
        book.take(many_pages(count, note="a note of some length " * 5))
        book.edit(7, {"note": "edited"})
        pages = book.pages()
    data = bytearray(path.read_bytes())
    damage(data)
    path.write_bytes(data)
    return pages


def overwrite(start: int, size: int) -> Callable[[bytearray], object]:
    noise = random.Random(3).randbytes(size)
    return lambda data: data.__setitem__(slice(start, start + size), noise)


@pytest.mark.parametrize(
    "damage",
    [overwrite(0, 100), overwrite(0, 4096), overwrite(4096, 4096), overwrite(16, 2)],
    ids=["header", "first page", "root of the table", "page size"],
)
def test_a_book_without_its_head_is_rescued_whole(
    tmp_path: Path, damage: Callable[[bytearray], object]
) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, damage)
    damaged = path.read_bytes()
    with Book(path) as book:
        assert book.pages() == pages
        assert "was damaged; rescued 400 runs" in book.notices[0]
        assert book.add(made_run()) == 401
    (aside,) = tmp_path.glob("book.db.damaged-*")
    assert aside.read_bytes() == damaged, "what was damaged is kept as it was"
    with Book(path) as book:
        assert (len(book.runs()), book.notices) == (401, [])


def test_pages_lost_to_damage_are_all_that_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, overwrite(20 * 4096, 4096))
    with Book(path) as book:
        lost = len(pages) - len(book.pages())
    assert 0 < lost <= 4096 // 300, "no more than fit on the one page that is gone"


def test_half_a_file_gives_half_the_runs(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, lambda data: data.__delitem__(slice(len(data) // 2, None)))
    with Book(path) as book:
        assert len(book.pages()) > 0.4 * len(pages)
        assert set(map(repr, book.pages())) <= set(map(repr, pages))


def test_a_single_letter_that_changed_is_noticed_and_told(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    damaged_book(path, lambda data: data.__setitem__(data.index(b"edited"), ord("E")))
    with Book(path) as book:
        assert len(book.runs()) == 400
        assert "1 page had a broken seal" in book.notices[1]
        sound, torn = book.history(7)
        assert sound.run.note == "a note of some length " * 5
        assert torn.run.note == "[read from a damaged file, check it] Edited"
    (found,) = tmp_path.glob("*.torn.json")
    assert json.loads(found.read_text())[0]["note"] == "Edited"


def test_a_run_never_confirmed_takes_no_number_from_one_that_was() -> None:
    first, second = many_pages(2)
    clash = replace(second, number=1)
    kept = rescue._one_run_a_number([first, clash, replace(clash, revision=2)])
    assert [(page.key, page.number, page.revision) for page in kept] == [
        (first.key, 1, 1),
        (second.key, 2, 1),
        (second.key, 2, 2),
    ]


def test_random_damage_never_breaks_opening(tmp_path: Path) -> None:
    chance = random.Random(7)
    for i in range(40):
        path = tmp_path / f"{i}.db"
        size = chance.choice([1, 3, 64, 700, 5000])

        def damage(data: bytearray, size: int = size) -> None:
            for _ in range(chance.randint(1, 4)):
                at = chance.randrange(len(data))
                data[at : at + size] = chance.randbytes(size)

        damaged_book(path, damage, count=60)
        before = path.read_bytes()
        try:
            with Book(path) as book:
                assert len(book.runs()) > 0
                book.add(made_run())
        except BookError as error:  # such as the schema version, made to look newer
            assert path.read_bytes() == before, error


def test_a_long_note_is_rescued_over_several_pages(tmp_path: Path) -> None:
    path, note = tmp_path / "book.db", "".join(map(str, range(4000)))
    with Book(path) as book:
        book.add(made_run(note=note))
    data = bytearray(path.read_bytes())
    overwrite(0, 100)(data)
    path.write_bytes(data)
    with Book(path) as book:
        assert [page.run.note for page in book.runs()] == [note]


def test_a_lost_log_of_a_killed_writer_takes_no_run_with_it(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    script = textwrap.dedent(f"""
        import os, sys
        sys.path[:0] = {[str(TESTS), str(TESTS.parent)]!r}
        from notebook_helpers import made_run
        from rollpath.book.book import Book
        book = Book({str(path)!r})
        for _ in range(5):
            book.add(made_run())
        os.kill(os.getpid(), 9)
    """)
    subprocess.run([sys.executable, "-c", script])
    log = path.with_name("book.db-wal")
    assert log.stat().st_size > 0
    log.write_bytes(random.Random(2).randbytes(log.stat().st_size))
    with Book(path) as book:
        assert len(book.runs()) == 5


def test_a_rescue_cut_short_is_finished_by_the_next_who_opens(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, overwrite(0, 100))
    rescue._write_rescued(path, pages)  # and then the power fails
    with Book(path) as book:
        assert book.pages() == pages
    assert not list(tmp_path.glob("*.rescued"))


def test_two_who_find_the_damage_at_once_rescue_it_once(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, overwrite(0, 100))
    writers = [start_adder(path, name, 3) for name in ("one", "two")]
    for writer in writers:
        writer.communicate()
    assert [writer.returncode for writer in writers] == [0, 0]
    with Book(path) as book:
        assert len(book.pages()) == len(pages) + 6
    assert len(list(tmp_path.glob("book.db.damaged-*"))) == 1


@pytest.mark.parametrize(
    "content", [b"name: Number 31\nwheelbase: 108 in\n", random.Random(1).randbytes(9000)]
)
def test_a_file_that_is_no_notebook_is_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "number-31.yaml"
    path.write_bytes(content)
    with pytest.raises(BookError, match="is not a notebook of rollpath"):
        Book(path)
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


def test_another_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE page (a)")
        other.execute("INSERT INTO page VALUES ('his')")
        other.commit()
    before = path.read_bytes()
    with pytest.raises(BookError, match="is not a notebook of rollpath"):
        Book(path)
    assert path.read_bytes() == before


def test_a_folder_in_place_of_the_book_is_told(tmp_path: Path) -> None:
    (tmp_path / "book.db").mkdir()
    with pytest.raises(BookError, match="cannot be opened"):
        Book(tmp_path / "book.db")
