"""Debrief: five questions as keys, the log of the run, one order, the lap drawn."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.book.lessons import lesson_from
from rollpath.debrief import DebriefResult
from rollpath.door_run import Recorded, debriefed
from rollpath.errors import RollpathError
from rollpath.feel.answers import ANSWERS, Answers
from rollpath.files.cars import GEAR_RATIO
from rollpath.files.logs import column_chosen
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import again, see
from rollpath.page.logs import keep_log, log_path, of_the_log, sent_data
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import typed
from rollpath.show.debrief import debrief_screen
from rollpath.trailer.trailer import TrailerError

pages = Blueprint("debrief", __name__, url_prefix="/debrief")
WAYS = (("left", "left"), ("right", "right"))
READ_SO = ("gear", "columns", "positive")
"""Fields that say how a log is to be read."""


def answers_of(values: Mapping[str, str]) -> dict[str, str]:
    """The driver's answers among what was sent; a word that is none is passed over."""
    return {name: typed(values, name) for name, words in ANSWERS.items()
            if typed(values, name) in words}  # fmt: skip


@pages.get("")
def page() -> Response | str:
    table, values = desk(), request.args
    if not table.is_set_up:
        return see("/trailer")
    asked, faults = _asked(table, values)
    try:
        told = _debrief(table, asked)
    except RollpathError as error:
        if asked.recorded is None:
            raise
        faults["log"] = of_the_log(error, asked.recorded.path)
        asked = Case(asked.answers)
        told = _debrief(table, asked)
    return render_template("debrief.html", **_given(values), faults=faults, typed=values,
                           told=debrief_screen(told, screen_now()), log=asked.recorded)  # fmt: skip


def _given(values: Mapping[str, str]) -> dict[str, Any]:
    return {"questions": ANSWERS, "ways": WAYS, "answers": answers_of(values),
            "query": urlencode(_wanted(values))}  # fmt: skip


def _wanted(values: Mapping[str, str], **more: str) -> dict[str, str]:
    """What a debrief is asked for by address."""
    fields = {**answers_of(values), "log": typed(values, "log"), **more}
    if fields["log"]:
        fields |= {name: typed(values, name) for name in READ_SO}
    return {name: text for name, text in fields.items() if text}


@dataclass(frozen=True)
class Case:
    """What a debrief is made of."""

    answers: Mapping[str, str]
    recorded: Recorded | None = None


def _asked(table: Desk, values: Mapping[str, str]) -> tuple[Case, dict[str, str]]:
    """What was asked, and what of it cannot be, by field; the log is left out then."""
    answers, name = answers_of(values), typed(values, "log")
    if not name:
        return Case(answers), {}
    path = log_path(table, name)
    if path is None:
        return Case(answers), {"log": "that log is not in this trailer; send it again"}
    recorded, faults = _recorded(path, values)
    return Case(answers, None if faults else recorded), faults


def _recorded(path: Path, values: Mapping[str, str]) -> tuple[Recorded, dict[str, str]]:
    """A log read as the form says, and what of that cannot be, by field."""
    faults, columns, gear = dict[str, str](), dict[str, str](), None
    try:
        gear = GEAR_RATIO.held(typed(values, "gear")) if typed(values, "gear") else None
    except RollpathError as error:
        faults["gear"] = str(error)
    try:
        said = filter(str.strip, typed(values, "columns").split(";"))
        columns = dict(map(column_chosen, said))
    except RollpathError as error:
        faults["columns"] = str(error)
    way = "right" if typed(values, "positive") == "right" else "left"
    return Recorded(path, columns, gear, way), faults


def _debrief(table: Desk, asked: Case) -> DebriefResult:
    """The debrief, worked out once.

    Raises
    ------
    RollpathError
    """

    def make() -> DebriefResult:
        now = table.tonight()
        answers, nights = Answers(**asked.answers), lesson_from(now.learned)
        return debriefed(now.by_physics, answers, asked.recorded, nights)

    with_log = asked.recorded is not None
    return table.remember(("debrief", repr(asked)), make, is_large=with_log)


@pages.post("")
def send() -> Response:
    """The answers, and the log of the run from the phone: kept, read, and told."""
    table, form, data = desk(), request.form, sent_data()
    if not table.is_set_up:
        return see("/trailer")
    more = {}
    if data:

        def read(path: Path) -> None:
            recorded, faults = _recorded(path, form)
            if not faults:  # told on the page of the log
                _debrief(table, Case(answers_of(form), recorded))

        try:
            more = {"log": keep_log(table, data, read)}
        except RollpathError as error:
            return again("debrief.html", {"log": error}, **_given(form))
    wanted = urlencode(_wanted(form, **more))
    return see("/debrief" + (f"?{wanted}" if wanted else ""))


@pages.get("/lap.svg")
def picture() -> Response:
    """The lap from above with too much and too little marked, as it was fitted."""
    from rollpath.show.baseline import mismatch_map

    table = desk()
    asked, faults = _asked(table, request.args)
    if faults:
        raise TrailerError(next(iter(faults.values())))
    told = _debrief(table, asked)
    draw = lambda: mismatch_map(told.case, table.screen)  # noqa: E731
    return as_picture(table.draw(("lap.svg", repr(asked)), lambda: svg_of(draw)))
