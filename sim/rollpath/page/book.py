"""Book: a run written down, the runs there are, what they teach, and what to run next."""

import re
import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Any

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.book.book import Book
from rollpath.book.run import BookError
from rollpath.errors import RollpathError
from rollpath.feel.answers import ANSWERS
from rollpath.page.debrief import answers_of
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import again, see
from rollpath.page.typed import in_trade, typed
from rollpath.show.notebook import list_screen, show_screen
from rollpath.show.trailer import action_words
from rollpath.trailer.kept import run_of_tonight
from rollpath.units import parse

pages = Blueprint("book", __name__, url_prefix="/book")
SESSIONS = ("hot laps", "heat 1", "heat 2", "b main", "feature")
SHOWN = 12
"""Things done that are listed."""


@pages.get("")
def page() -> Response | str:
    if not desk().is_set_up:
        return see("/trailer")
    return render_template("book.html", typed=request.args, faults={}, **_given(desk()))


def _given(table: Desk) -> dict[str, Any]:
    return {
        "questions": ANSWERS, "sessions": [(one, one) for one in SESSIONS],
        "once": uuid.uuid4().hex,
        "told": list_screen(table.runs(), table.screen),
        "done": [action_words(one, table.screen) for one in reversed(table.actions()[-SHOWN:])],
    }  # fmt: skip


@pages.post("")
def add() -> Response:
    """A run of tonight, written down once however often it is sent."""
    table, form = desk(), request.form
    once = typed(form, "once")
    faults: dict[str, str] = {}
    told: dict[str, Any] = dict(answers_of(form))
    readers: dict[str, Callable[[str], Any]] = {
        "best_lap": lambda text: parse(in_trade(text, "time"), "time"),
        "session": str, "note": str,
    }  # fmt: skip
    for name, read in readers.items():
        try:
            told[name] = read(typed(form, name)) if typed(form, name) else None
        except RollpathError as error:
            faults[name] = str(error)
    if not faults:
        try:
            run = run_of_tonight(table.tonight(), told, datetime.now())
            with Book(table.trailer().book) as book:
                number = book.add(run, once if re.fullmatch("[0-9a-f]{32}", once) else None)
            return see(f"/book/{number}")
        except BookError as error:
            faults = {_field_of(line): line for line in error.lines}
    return again("book.html", faults, **_given(table) | {"once": once})


def _field_of(line: str) -> str:
    """The field that a fault of a run is told beside."""
    key = line.partition(":")[0]
    return {"best_lap_s": "best_lap"}.get(key, key if key in ("session", "note") else "best_lap")


@pages.get("/<int:number>")
def show(number: int) -> str:
    """One run, all of it."""
    table = desk()
    with Book(table.trailer().book) as book:
        told = show_screen(book.history(number), table.screen)
    return render_template("book_told.html", told=told, title=f"Run {number}")


@pages.get("/review")
def review() -> str:
    """What the nights teach."""
    from rollpath.book.lessons import studies, untaught
    from rollpath.book.nights import nights
    from rollpath.show.review import review_screen

    table, screen = desk(), screen_now()

    def make() -> str:
        found = nights(table.runs())
        taught = studies(found) + untaught(found)
        taught.sort(key=lambda study: study.points[-1].page.run.when, reverse=True)
        return review_screen([], len(found), taught, screen)

    told = table.remember(("review", screen.full), make)
    return render_template("book_told.html", told=told, title="Review", reasons=True)


@pages.get("/next")
def following() -> str:
    """Which stagger to run next to learn most."""
    from rollpath.show.next import next_screen

    table = desk()
    found = table.tonight().next_run
    told = (
        "No run has its stagger and what the physics said yet: write one down."
        if found is None
        else next_screen(found, screen_now())
    )
    return render_template("book_told.html", told=told, title="Next run", reasons=True)
