"""Nothing that is not ours is touched, and what is ours is mended from its journal."""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from notebook_helpers import made_run, many_pages, old_book
from rollpath import Book
from rollpath.book.journal import journal_path
from rollpath.book.run import BookError, Page
from rollpath.cli import main


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


# Not ours


def other_database(path: Path) -> None:
    """Another program's: a table of 30 columns, an integer fourth, as our pages had it."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"CREATE TABLE page ({', '.join(f'c{i}' for i in range(30))})")
        raw.execute(f"INSERT INTO page VALUES ({', '.join(str(i) for i in range(30))})")
        raw.commit()


def text_with_our_mark(path: Path) -> None:
    path.write_bytes(b"x" * 68 + b"roll" + b"y" * 9000)


def noise(path: Path) -> None:
    path.write_bytes(random.Random(1).randbytes(9000))


def yaml_file(path: Path) -> None:
    path.write_text("name: Number 31\nwheelbase: 108 in\n")


def blank_database(path: Path) -> None:
    """Another program has just begun it."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA journal_mode=WAL")


OTHERS = [other_database, text_with_our_mark, noise, yaml_file, blank_database]
ACTIONS = [
    ["list"], ["show", "1"], ["review"], ["export", "-"], ["edit", "1", "--best", "17.5s"],
    ["add", "--track", "A", "--car", "B"], ["backup", "copy.db"], ["import", "runs.csv"],
]  # fmt: skip


@pytest.mark.parametrize("make", OTHERS)
@pytest.mark.parametrize("action", ACTIONS, ids=lambda action: action[0])
def test_no_command_touches_a_file_that_is_not_ours(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    make: Callable[[Path], None],
    action: list[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("runs.csv").write_text("when,track,car\n2026-05-02,A,B\n")
    make(Path("other.db"))
    before = contents(tmp_path)
    assert main(["notebook", *action, "--book", "other.db"]) == 2
    assert "other.db: is not a notebook of rollpath" in capsys.readouterr().err
    assert contents(tmp_path) == before


def test_rows_that_another_program_commits_meanwhile_stay(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    other_database(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        for _ in range(3):
            other.execute("INSERT INTO page (c0) VALUES ('his')")
            log = contents(tmp_path)["other.db-wal"]
            with pytest.raises(BookError, match="is not a notebook"):
                Book(path)
            assert contents(tmp_path)["other.db-wal"] == log
        assert other.execute("SELECT count(*) FROM page").fetchone() == (4,)
        assert other.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_pipe_is_no_book_and_nobody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.db")
    with pytest.raises(BookError, match="is not a notebook of rollpath"):
        Book(tmp_path / "pipe.db")


def test_a_folder_in_place_of_the_book_is_told(tmp_path: Path) -> None:
    (tmp_path / "book.db").mkdir()
    with pytest.raises(BookError, match="cannot be opened"):
        Book(tmp_path / "book.db")


def test_what_is_called_like_our_journal_or_lock_is_left_alone(tmp_path: Path) -> None:
    book = Book(tmp_path / "book.db")
    for name in (journal_path(book.path).name, "book.db.lock"):
        (tmp_path / name).write_text("his own diary, " * 99)
        with pytest.raises(BookError, match="move it away"):
            book.add(made_run())
        assert (tmp_path / name).read_text() == "his own diary, " * 99
        (tmp_path / name).unlink()
    assert book.add(made_run()) == 1


# Reading writes nothing


def test_reading_changes_no_byte_and_makes_no_file(tmp_path: Path) -> None:
    path = tmp_path / "season.db"
    assert Book(path).runs() == []
    assert contents(tmp_path) == {}
    with Book(path) as book:
        book.add(made_run())
        before = contents(tmp_path)
        book.runs(), book.history(1), book.pages(), book.actions(), book.replay()
    assert contents(tmp_path) == before


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="folders have owners here")
@pytest.mark.parametrize("made", ["now", "by the first rollpath", "by it, killed"])
def test_a_book_in_a_read_only_folder_is_listed(made: str) -> None:
    """Read by a user who may write nothing there (as root by nobody, else by a mode)."""
    folder = Path(tempfile.mkdtemp())  # pytest's own is shut to others
    path = folder / "season.db"
    if made == "now":
        Book(path).take(many_pages(2))
    else:
        old_book(path, log=made.endswith("killed"))
    script = textwrap.dedent("""
        import contextlib, io, os
        from rollpath.cli import main
        typed = ["notebook", "list", "--book", "season.db"]
        with contextlib.redirect_stdout(io.StringIO()):
            main(typed)  # for all the modules, which nobody may be shut out from
        if os.getuid() == 0:
            os.setuid(65534)
        assert not os.access(".", os.W_OK)
        raise SystemExit(main(typed))
    """)
    folder.chmod(0o555)
    try:
        done = subprocess.run(
            [sys.executable, "-c", script], cwd=folder, capture_output=True, text=True
        )
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 runs" in done.stdout


# Damage


def overwrite(start: int, size: int) -> Callable[[bytearray], object]:
    noise = random.Random(3).randbytes(size)
    return lambda data: data.__setitem__(slice(start, start + size), noise)


def damaged_book(path: Path, damage: Callable[[bytearray], object], count: int = 200) -> list[Page]:
    """Make a book, damage its file, and return the pages it held."""
    with Book(path) as book:
        book.take(many_pages(count, note="a note of some length " * 5))
        book.edit(7, {"note": "edited"})
        pages = book.pages()
    data = bytearray(path.read_bytes())
    damage(data)
    path.write_bytes(data)
    return pages


DAMAGES = {
    "rest of the first page": overwrite(100, 3996),
    "root of the table": overwrite(4096, 4096),
    "a page of runs": overwrite(10 * 4096, 4096),
    "page size": overwrite(16, 2),
    "half of it": lambda data: data.__delitem__(slice(len(data) // 2, None)),
    "a letter": lambda data: data.__setitem__(data.index(b"edited"), ord("E")),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_a_damaged_book_reads_whole_and_is_mended_when_next_written(
    tmp_path: Path, damage: Callable[[bytearray], object]
) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, damage)
    before = contents(tmp_path)
    with Book(path) as book:
        assert sorted(book.pages(), key=repr) == sorted(pages, key=repr)
        assert "nothing written" in book.notices[0]
    assert contents(tmp_path) == before, "who reads writes nothing"
    with Book(path) as book:
        assert book.add(made_run()) == 201
        assert f"{path}: was damaged; rescued 200 runs into a new notebook" in book.notices
        assert book.pages()[: len(pages)] == pages
    (aside,) = tmp_path.glob("book.db.damaged-*")
    assert aside.read_bytes() == before["book.db"], "what was damaged is kept as it was"
    with Book(path) as book:
        assert (len(book.runs()), book.notices) == (201, [])


def test_without_its_mark_a_file_is_left_alone_and_the_journal_brings_the_book_back(
    tmp_path: Path,
) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, overwrite(0, 100))
    before = contents(tmp_path)
    with Book(path) as book:
        assert book.pages() == pages
        with pytest.raises(BookError, match="so it is left alone; move it away"):
            book.add(made_run())
    assert contents(tmp_path) == before
    path.rename(tmp_path / "away.db")
    with Book(path) as book:
        assert book.add(made_run()) == 201
        assert "200 runs brought back from its journal" in book.notices[0]
        assert book.pages()[: len(pages)] == pages


def test_without_journal_what_sqlite_gives_is_kept_and_the_rest_is_named(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    pages = damaged_book(path, overwrite(20 * 4096, 4096))
    journal_path(path).unlink()
    with Book(path) as book:
        kept = book.pages()
        lost = {page.number for page in pages} - {page.number for page in kept}
        assert 0 < len(lost) <= 4096 // 300, "no more than fit on the one page that is gone"
        assert set(map(repr, kept)) <= set(map(repr, pages))
        told = f"nothing was found of runs {min(lost)} to {max(lost)}"
        assert any(told in notice for notice in book.notices)


def test_an_edit_that_is_lost_is_named(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    damaged_book(path, DAMAGES["a letter"])
    journal_path(path).unlink()
    with Book(path) as book:
        assert book.history(7)[-1].revision == 1
        assert any("the last edit is lost of run 7; check it" in one for one in book.notices)


def test_a_journal_with_broken_lines_takes_nothing_from_a_sound_book(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    Book(path).take(many_pages(20))
    journal = bytearray(journal_path(path).read_bytes())
    journal[3000:3300] = b"?" * 300
    journal_path(path).write_bytes(journal[:-40])
    with Book(path) as book:
        assert (len(book.runs()), book.notices) == (20, [])
        assert book.add(made_run()) == 21
    path.unlink()
    with Book(path) as book:
        assert len(book.runs()) == 21, "the next writing made the journal whole again"


def test_an_older_copy_put_back_is_brought_up_by_the_journal(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path) as book:
        book.add(made_run(note="first"))
        older = path.read_bytes()
        book.add(made_run(note="second"))
        book.record_action("bolt", {"rr": "R2"}, {"rr": "R7"})
    path.write_bytes(older)
    with Book(path) as book:
        assert [page.run.note for page in book.runs()] == ["first", "second"]
        assert path.read_bytes() == older
        assert book.add(made_run(note="third")) == 3
        assert any("2 pages of its journal were not in it" in one for one in book.notices)
        assert (len(book.runs()), book.state()) == (3, {"rr": "R7"})


def test_random_damage_loses_nothing_the_journal_has(tmp_path: Path) -> None:
    chance = random.Random(7)
    for i in range(6):
        path = tmp_path / f"{i}.db"
        size = chance.choice([1, 3, 64, 700, 5000])

        def damage(data: bytearray, size: int = size) -> None:
            for _ in range(chance.randint(1, 4)):
                at = chance.randrange(100, len(data))
                data[at : at + size] = chance.randbytes(size)

        pages = damaged_book(path, damage, count=40)
        with Book(path) as book:
            assert sorted(map(repr, book.pages())) == sorted(map(repr, pages))
            assert book.add(made_run()) == 41
            assert sorted(map(repr, book.pages()[: len(pages)])) == sorted(map(repr, pages))


def test_a_backup_is_whole_and_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "there").write_text("mine")
    with Book(tmp_path / "book.db") as book:
        book.take(many_pages(20))
        with pytest.raises(BookError, match="is there already"):
            book.backup(tmp_path / "there")
        with pytest.raises(BookError, match="cannot be opened"):
            book.backup(tmp_path / "no such folder" / "book.db")
        book.backup(tmp_path / "copy.db")
        assert Book(tmp_path / "copy.db").pages() == book.pages()
    assert (tmp_path / "there").read_text() == "mine"
