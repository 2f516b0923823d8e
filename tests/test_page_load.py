"""Twenty phones at once, in small; scripts/bench.py times it and watches its memory."""

import sys
import threading
from pathlib import Path

import pytest

pytest.importorskip("flask")

from page_helpers import app_of, folder, phone  # noqa: F401
from rollpath.page import desk as desk_room
from rollpath.page.app import make_app
from rollpath.page.guard import Guard

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))
from phones import crowd


def test_twenty_phones_get_one_answer_that_was_worked_out_once(phone, folder, monkeypatch):  # noqa: F811
    from waitress import create_server

    worked_out, really = [], desk_room.tonight
    monkeypatch.setattr(desk_room, "tonight", lambda one: worked_out.append(1) or really(one))
    server = create_server(lambda *call: app(*call), host="127.0.0.1", port=0, threads=8)
    app = make_app(desk_room.Desk(folder), Guard((f"127.0.0.1:{server.effective_port}",)))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        took = crowd(server.effective_port, 20, 60, ("/", "/tires", "/static/page.css"))
    finally:
        server.close()
        thread.join(5)
    assert len(took) == 60
    assert worked_out == [1]


def test_what_is_kept_is_bounded(phone):  # noqa: F811
    desk = phone.client.application.extensions["desk"]
    for i in range(3 * desk_room.KEPT):
        desk.remember(("thing", i), lambda i=i: i)
    assert len(desk._kept) == desk_room.KEPT
