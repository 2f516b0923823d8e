"""Tonight and the book say the same whenever a writer is killed; what was begun is ended."""

import json
import multiprocessing
import os
import signal
from datetime import datetime, timedelta

import pytest
from rollpath.book.action import last_to_undo
from rollpath.book.book import Book
from rollpath.book.run import BookError
from rollpath.cli import main
from rollpath.files import doing
from rollpath.files.begun import begun_in
from rollpath.files.doing import done, undone
from rollpath.files.schema import FileError
from rollpath.files.trailers import load_night, load_trailer, night_text
from rollpath.trailer.night import as_state, bolted

SYNCS = 16
"""More than any of these takes."""
ANSWERS = ("trailer", "--rear", "83 3/4, 86 1/4", "--front", "82 1/2, 83 3/4", "--tires",
           "L5 84 1/2, R7 86 1/2")  # fmt: skip


@pytest.fixture
def trailer(folder, capsys):
    assert main(list(ANSWERS)) == 0
    bolt(folder, "left_rear", "L5")
    return folder


def bolt(folder, corner, tire):
    def change(now):
        return bolted(now.night, corner, now.fitted(now.tire_named(tire), corner))

    return done(folder, "bolt", change)


def actions(folder):
    with Book(folder / "season.db") as book:
        return book.actions()


def by_the_book(folder):
    """How things stand by the actions of the book."""
    with Book(folder / "season.db") as book:
        return {name: at for name, at in book.state().items() if at not in (None, "")}


def by_the_file(folder):
    return json.loads(json.dumps(as_state(load_night(folder / "trailer.yaml"))))


def alike(one, other):
    return one.keys() == other.keys() and all(
        at == (pytest.approx(other[name], abs=1e-6) if isinstance(at, float) else other[name])
        for name, at in one.items()
    )


def killed(work, folder, stop):
    """Do something in a process of its own that is killed at a sync: whether it was."""

    def child():
        real, left = os.fsync, [stop]

        def fsync(handle):
            left[0] -= 1
            if not left[0]:
                os.kill(os.getpid(), signal.SIGKILL)
            real(handle)

        os.fsync = fsync
        work(folder)

    process = multiprocessing.get_context("fork").Process(target=child)
    process.start()
    process.join()
    return process.exitcode == -signal.SIGKILL


@pytest.mark.parametrize("work", [undone, lambda folder: bolt(folder, "right_rear", "R7")],
                         ids=["undo", "bolt"])  # fmt: skip
def test_a_kill_at_any_sync_leaves_tonight_and_the_book_alike_after_the_next_thing(trailer, work):
    kept = {path: path.read_bytes() for path in trailer.iterdir() if path.is_file()}
    ended = set()
    for stop in range(1, SYNCS):
        for path in trailer.iterdir():
            if path.is_file():
                path.unlink()
        for path, data in kept.items():
            path.write_bytes(data)
        before = (by_the_file(trailer), len(actions(trailer)))
        was_killed = killed(work, trailer, stop)
        now = by_the_file(trailer)  # whoever only reads finds one of both, whole
        done(trailer, "bolt", lambda now: now.night)  # the next one changes nothing itself
        assert alike(by_the_file(trailer), now), stop
        assert alike(by_the_book(trailer), now), stop
        assert begun_in(trailer / "trailer.yaml") is None
        is_done = now != before[0]
        assert len(actions(trailer)) == before[1] + is_done
        ended.add((was_killed, is_done))
        assert not list(trailer.glob(".trailer.yaml.*"))
    # Killed before it was done, killed after, and run to its end: all three were seen.
    assert ended == {(True, False), (True, True), (False, True)}


def test_an_undo_that_was_killed_is_not_done_twice(trailer, monkeypatch):
    bolt(trailer, "right_rear", "R7")
    monkeypatch.setattr(doing, "end", lambda *_: os._exit(3))
    process = multiprocessing.get_context("fork").Process(target=undone, args=(trailer,))
    process.start()
    process.join()
    monkeypatch.undo()
    assert begun_in(trailer / "trailer.yaml").what == "undo"
    assert load_trailer(trailer).night.on_car.right_rear.tire == "RR"
    assert [one.what for one in actions(trailer)] == ["trailer", "bolt", "bolt"]
    undone(trailer)  # ends the first, then takes back the one before it
    assert [one.what for one in actions(trailer)] == ["trailer", "bolt", "bolt", "undo", "undo"]
    assert load_trailer(trailer).night.on_car.left_rear.tire == "LR"
    assert alike(by_the_book(trailer), by_the_file(trailer))


def test_a_book_that_refuses_leaves_both_as_they_were(trailer, monkeypatch):
    before = (trailer / "trailer.yaml").read_bytes()

    def refuse(*_):
        raise BookError(["no room"])

    monkeypatch.setattr(doing, "end", refuse)
    for work in (undone, lambda folder: bolt(folder, "right_rear", "R7")):
        with pytest.raises(FileError, match="nothing was changed"):
            work(trailer)
        assert (trailer / "trailer.yaml").read_bytes() == before


def test_the_same_done_twice_is_twice_in_the_book_and_no_more(trailer):
    for _ in range(2):
        bolt(trailer, "right_rear", "R7")
        bolt(trailer, "right_rear", "RR")
    assert [one.what for one in actions(trailer)] == ["trailer", *["bolt"] * 5]
    assert len([one for one in actions(trailer) if one.after.get("right_rear.tire") == "R7"]) == 2


def test_a_clock_set_back_takes_back_what_the_book_takes_back(trailer):
    with Book(trailer / "season.db") as book:
        night = load_trailer(trailer).night
        later = datetime.now() + timedelta(hours=1)
        book.record_action("tonight", {}, {"track": "x"}, later)
    bolt(trailer, "right_rear", "R7")
    assert last_to_undo(actions(trailer)).what == "tonight"  # by the clock
    assert undone(trailer).after.get("right_rear.tire") == "RR"  # by the writing
    assert load_trailer(trailer).night == night


def test_a_line_that_was_spoiled_is_told_with_its_place(trailer, capsys):
    path = trailer / "trailer.yaml"
    path.write_text(night_text(load_night(path), "{not json"))
    assert main(["undo"]) == 2
    err = capsys.readouterr().err
    assert "begun: cannot be read any more; delete the line" in err
    assert "trailer.yaml:" in err and err.count("\n") == 1
