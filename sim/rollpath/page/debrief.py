"""Debrief: five questions as keys, one order, the lap drawn."""

from collections.abc import Mapping

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.debrief import DebriefResult, debrief_of
from rollpath.feel.answers import ANSWERS, Answers
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import see
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import typed
from rollpath.show.debrief import debrief_screen

pages = Blueprint("debrief", __name__, url_prefix="/debrief")


def answers_of(values: Mapping[str, str]) -> dict[str, str]:
    """The driver's answers among what was sent; a word that is none is passed over."""
    return {name: typed(values, name) for name, words in ANSWERS.items()
            if typed(values, name) in words}  # fmt: skip


@pages.get("")
def page() -> Response | str:
    table = desk()
    if not table.is_set_up:
        return see("/trailer")
    told = _debrief(table, request.args)
    return render_template(
        "debrief.html", questions=ANSWERS, typed=request.args, answers=answers_of(request.args),
        told=debrief_screen(told, screen_now()), query=request.query_string,
    )  # fmt: skip


def _debrief(table: Desk, values: Mapping[str, str]) -> DebriefResult:
    answers = answers_of(values)

    def make() -> DebriefResult:
        return debrief_of(table.tonight().result, Answers(**answers))

    return table.remember(("debrief", tuple(answers.items())), make)


@pages.get("/lap.svg")
def picture() -> Response:
    """The lap from above with too much and too little marked, as it was fitted."""
    from rollpath.show.baseline import mismatch_map

    table = desk()
    told = _debrief(table, request.args)
    key = ("lap.svg", tuple(answers_of(request.args).items()))
    draw = lambda: mismatch_map(told.case, table.screen)  # noqa: E731
    return as_picture(table.draw(key, lambda: svg_of(draw)))
