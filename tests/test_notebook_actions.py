"""What was done between runs: kept with its time, taken back, and told over again."""

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from notebook_helpers import made_run
from rollpath import Book
from rollpath.book.action import Action
from rollpath.book.exchange import to_json
from rollpath.book.journal import read_export
from rollpath.book.run import BookError, Page

PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False,
    allow_infinity=False) | st.text(st.characters(exclude_categories=["Cs"]), max_size=9),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text("abc", max_size=3), inner,
    max_size=2), max_leaves=4,
)  # fmt: skip
CHANGE = st.dictionaries(st.sampled_from(["lf", "rf", "lr", "rr", "track"]), PLAIN, max_size=3)


def at(hour: int, minute: int = 0, day: int = 2) -> datetime:
    return datetime(2026, 5, day, hour, minute)


def test_an_action_is_kept_with_its_time(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        done = book.record_action("bolt", {"rr": "R2"}, {"rr": "R7"}, when=at(19, 30))
        book.record_action("air", {"rr.psi": 16.0}, {"rr.psi": 18.0}, when=at(20))
    with Book(tmp_path / "book.db") as book:
        first, second = book.actions()
        assert first == done
        assert (first.what, first.when, first.after) == ("bolt", at(19, 30), {"rr": "R7"})
        assert book.actions(since=at(20)) == [second]


def test_undo_takes_back_one_after_another_and_keeps_it_all(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.record_action("tonight", {}, {"track": "Ropewalk"})
        book.record_action("bolt", {"rr": "R2"}, {"rr": "R7"})
        book.record_action("air", {"psi": 16}, {"psi": 18})
        assert book.undo().after == {"psi": 16}
        assert book.undo().after == {"rr": "R2"}
        book.record_action("bolt", {"rr": "R2"}, {"rr": "R9"})
        assert book.undo().before == {"rr": "R9"}
        undone = book.undo()
        assert (undone.before, undone.after) == ({"track": "Ropewalk"}, {})
        assert book.state() == {"psi": 16, "rr": "R2"}
        with pytest.raises(BookError, match="nothing to undo"):
            book.undo()
        assert len(book.actions()) == 8, "nothing is taken out of the book"


def test_undo_stops_at_tonight(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.record_action("bolt", {"rr": "R2"}, {"rr": "R7"}, when=at(20, day=1))
        with pytest.raises(BookError, match="nothing to undo"):
            book.undo(since=at(6, day=2))


def test_a_night_is_replayed(tmp_path: Path) -> None:
    """Runs and actions of one evening by the clock; half past midnight is still that evening."""
    with Book(tmp_path / "book.db") as book:
        book.record_action("bolt", {}, {"rr": "R2"}, when=at(20, day=1))
        book.add(made_run(when=at(19), session="hot laps"))
        book.record_action("bolt", {"rr": "R2"}, {"rr": "R7"}, when=at(19, 20))
        book.add(made_run(when=at(20), session="heat 1"))
        book.edit(2, {"note": "loose"})
        book.add(made_run(when=at(0, 30, day=3), session="feature"))
        book.add(made_run(when=at(19, day=9), session="the week after"))
        night = book.replay(date(2026, 5, 2))
        assert [type(moment.event) for moment in night] == [Page, Action, Page, Page]
        assert [moment.state["rr"] for moment in night] == ["R2", "R7", "R7", "R7"]
        assert night[2].event.run.note == "loose"
        (last,) = book.replay()
        assert last.event.run.session == "the week after"


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(changes=st.lists(st.tuples(CHANGE, CHANGE), min_size=1, max_size=3))
def test_any_actions_go_out_and_come_in_again(
    tmp_path_factory: pytest.TempPathFactory, changes: list[tuple[dict[str, Any], dict[str, Any]]]
) -> None:
    folder = tmp_path_factory.mktemp("book")
    with Book(folder / "a.db") as book, Book(folder / "b.db") as other:
        for before, after in changes:
            book.record_action("bolt", before, after)
        book.undo()
        pages, actions = read_export(to_json(book.pages(), book.actions()), "x")
        taken = other.take(pages, actions)
        assert (taken.actions, other.actions()) == (len(changes) + 1, book.actions())
        assert other.state() == book.state()
        assert other.take(pages, actions).actions == 0
    (folder / "a.db").unlink()
    with Book(folder / "a.db") as book:
        assert book.actions() == actions, "and from the journal"


@pytest.mark.parametrize(
    ("what", "after"),
    [("", {}), ("x" * 41, {}), ("a\nb", {}), ("air", {"psi": float("nan")}), ("air", {"a": at(1)}),
     ("air", {"a": "x" * 70_000}), ("air", {"a": "\ud800"})],
)  # fmt: skip
def test_what_cannot_be_kept_is_refused(tmp_path: Path, what: str, after: dict[str, Any]) -> None:
    with Book(tmp_path / "book.db") as book, pytest.raises(BookError):
        book.record_action(what, {}, after)
    assert list(tmp_path.iterdir()) == []
