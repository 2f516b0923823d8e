"""Twenty phones at once, in small; scripts/bench.py times it and watches its memory."""

import sys
from pathlib import Path

import pytest

pytest.importorskip("flask")

from page_helpers import on_the_loopback
from rollpath.page import desk as desk_room

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))
from phones import crowd


def test_twenty_phones_get_one_answer_that_was_worked_out_once(phone, folder, monkeypatch):
    worked_out, really = [], desk_room.tonight
    monkeypatch.setattr(desk_room, "tonight", lambda one: worked_out.append(1) or really(one))
    with on_the_loopback(folder) as port:
        took = crowd(port, 20, 60, ("/", "/tires", "/static/page.css"))
    assert len(took) == 60
    assert worked_out == [1]


def test_what_is_kept_is_bounded(phone):
    desk = phone.client.application.extensions["desk"]
    for i in range(3 * desk_room.KEPT):
        desk.remember(("thing", i), lambda i=i: i)
    assert len(desk._kept) == desk_room.KEPT
    for i in range(3 * desk_room.KEPT_LARGE):
        assert desk.remember(("large", i), lambda i=i: i, is_large=True) == i
    assert len(desk._large) == desk_room.KEPT_LARGE
    assert len(desk._kept) == desk_room.KEPT
