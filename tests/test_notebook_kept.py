"""What was confirmed is kept: through kills, crowds and full disks."""

import os
import random
import resource
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest
from notebook_helpers import made_run, many_pages
from rollpath import Book
from rollpath.book.journal import journal_path, read_journal
from rollpath.book.run import BookError

LONG = int(os.environ.get("ROLLPATH_LONG_TESTS", "0"))
"""How many kills, and how many writers at once, instead of a few."""
TESTS = Path(__file__).parent
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
    for round_number in range(LONG or 5):
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
        assert set(confirmed) <= set(kept)
        assert len(kept) <= len(confirmed) + round_number + 1, "at most one a kill unconfirmed"
    assert len(confirmed) > 4
    assert len(read_journal(journal_path(path)).pages) >= len(set(confirmed))


STOPPER = """
    import os, sys
    sys.path[:0] = {paths!r}
    from notebook_helpers import made_run
    from rollpath import Book
    from rollpath.book import file, journal
    stops = {stop}
    real = os.fsync
    def fsync(handle):
        global stops
        stops -= 1
        if stops == 0:
            os.kill(os.getpid(), 9)
        real(handle)
    os.fsync = fsync
    for i in range(3):
        with Book({path!r}) as book:
            print(book.add(made_run()), flush=True)
"""


@pytest.mark.parametrize("stop", range(1, 8))
def test_a_writer_killed_at_any_sync_leaves_a_book_that_goes_on(tmp_path: Path, stop: int) -> None:
    path = tmp_path / "book.db"
    script = textwrap.dedent(STOPPER).format(paths=[str(TESTS)], path=str(path), stop=stop)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    confirmed = [int(line) for line in done.stdout.split()]
    with Book(path) as book:
        assert [page.number for page in book.pages()][: len(confirmed)] == confirmed
        number = book.add(made_run(note="after"))
        assert number in (len(confirmed) + 1, len(confirmed) + 2)
        assert [page.number for page in book.pages()] == list(range(1, number + 1))
    assert not list(tmp_path.glob("*.damaged*"))
    assert not list(tmp_path.glob(".book.db.*")), "what a killed writer left is swept up"


def test_many_write_at_once_and_all_are_kept(tmp_path: Path) -> None:
    crowd, each = (LONG, 1) if LONG else (6, 6)
    writers = [start_adder(tmp_path / "book.db", f"writer {i}", each) for i in range(crowd)]
    numbers = [int(n) for writer in writers for n in writer.communicate()[0].split()]
    assert [writer.returncode for writer in writers] == [0] * crowd
    assert sorted(numbers) == list(range(1, crowd * each + 1))
    with Book(tmp_path / "book.db") as book:
        notes = {(page.run.note or "").rstrip(".") for page in book.runs()}
        assert book.notices == []
    assert notes == {f"writer {i} {j}" for i in range(crowd) for j in range(each)}


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


def test_a_full_disk_is_told_and_nothing_confirmed_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file may grow no more: by the journal first, then by the book alone."""
    with Book(tmp_path / "book.db") as book:
        book.take(many_pages(20))

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    with Book(tmp_path / "book.db") as book, monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(BookError, match="No space left on device; nothing was written"):
            book.add(made_run())
    with Book(tmp_path / "book.db") as book:
        assert (len(book.pages()), book.notices) == (20, [])
        assert book.add(made_run()) == 21, "and goes on when there is room again"
        assert len(read_journal(journal_path(book.path)).pages) == 21
