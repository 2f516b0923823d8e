"""Reading leaf pages agrees with SQLite itself, the reference for its own file format."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rollpath.book.salvage import PAGE_SIZE, readable_rows

VALUE = (
    st.none()
    | st.integers(-(2**63), 2**63 - 1)
    | st.sampled_from([0, 1, -1, 127, 128, -129, 2**23, 2**31, 2**47, -(2**47)])
    | st.floats(allow_nan=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
    | st.binary(max_size=30)
    | st.integers(0, 9000).map(lambda size: "x" * size)
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(rows=st.lists(st.tuples(VALUE, VALUE, VALUE), min_size=1, max_size=12))
def test_every_row_of_a_sound_file_is_read(
    tmp_path: Path, rows: list[tuple[object, object, object]]
) -> None:
    path = tmp_path / "x.db"
    path.unlink(missing_ok=True)
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"PRAGMA page_size={PAGE_SIZE}")
        raw.execute("CREATE TABLE t (a, b, c)")
        raw.executemany("INSERT INTO t VALUES (?, ?, ?)", rows)
        raw.commit()
    found = list(map(repr, readable_rows(path.read_bytes())))
    for row in rows:
        assert repr(list(row)) in found


def test_rows_of_many_pages_are_read(tmp_path: Path) -> None:
    path = tmp_path / "x.db"
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"PRAGMA page_size={PAGE_SIZE}")
        raw.execute("CREATE TABLE t (id INTEGER PRIMARY KEY, a)")
        raw.executemany("INSERT INTO t (a) VALUES (?)", [(f"row {i}",) for i in range(3000)])
        raw.commit()
    found = {row[1] for row in readable_rows(path.read_bytes()) if len(row) == 2}
    assert found == {f"row {i}" for i in range(3000)}


def test_rows_that_are_only_in_the_log_are_read(tmp_path: Path) -> None:
    path = tmp_path / "x.db"
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"PRAGMA page_size={PAGE_SIZE}")
        raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("CREATE TABLE t (id INTEGER PRIMARY KEY, a)")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        rows = [(f"row {i}" + "." * 6000 * (i == 3),) for i in range(300)]
        raw.executemany("INSERT INTO t (a) VALUES (?)", rows)
        raw.commit()
        book, log = path.read_bytes(), path.with_name("x.db-wal").read_bytes()
    assert not any(row[1] == "row 0" for row in readable_rows(book) if len(row) == 2)
    found = {row[1] for row in readable_rows(book, log) if len(row) == 2}
    assert found == {text for (text,) in rows}


@pytest.mark.parametrize("log", [False, True])
@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=3 * PAGE_SIZE), leaf=st.booleans())
def test_noise_breaks_nothing(log: bool, data: bytes, leaf: bool) -> None:
    noise = (b"\x0d" + data) if leaf else data
    noise = noise.ljust(2 * PAGE_SIZE, b"\xff")
    assert isinstance(list(readable_rows(noise, noise if log else b"")), list)
