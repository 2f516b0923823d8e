"""Tonight: what to bolt on now; where we are, what the surface is, and the best lap."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.door_night import with_lap_time
from rollpath.errors import RollpathError
from rollpath.files.doing import ChangedError, undone
from rollpath.files.trailers import read_answer
from rollpath.page.desk import Desk, desk
from rollpath.page.doing import Asked, again, do, see
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import in_trade, typed
from rollpath.show.trailer import (
    action_words,
    answer_lines,
    bolt_cells,
    next_lines,
    no_tires_words,
    scale_lines,
)
from rollpath.track import CONDITIONS
from rollpath.trailer.night import Night
from rollpath.trailer.trailer import Trailer
from rollpath.units import parse

pages = Blueprint("tonight", __name__)


@pages.get("/")
def page() -> Response | str:
    if not desk().is_set_up:
        return see("/trailer")
    return render_template("tonight.html", **_given(desk()))


def _given(table: Desk) -> dict[str, Any]:
    """What the page shows; the answer, or the line that says why there is none."""
    trailer = table.trailer()
    given: dict[str, Any] = {
        "trailer": trailer, "surfaces": tuple(CONDITIONS), "share": _share(trailer.night),
        "done": [action_words(one, table.screen) for one in table.actions()[-1:]],
    }  # fmt: skip
    try:
        return given | table.remember("words of tonight", lambda: _words(table))
    except RollpathError as error:
        return given | {"fault": str(error)}


def _words(table: Desk) -> dict[str, Any]:
    """The answer in words."""
    advice, screen = table.tonight(), table.screen
    return {
        "answer": answer_lines(advice, screen),
        "why_not": no_tires_words(advice),
        "cells": bolt_cells(advice, screen),
        "scales": scale_lines(advice, screen),
        "next": next_lines(advice, screen),
    }


def _share(night: Night) -> int:
    """How far from heavy to slick the surface was said to be, in hundredths."""
    share = night.condition.removeprefix("heavy to slick ").removesuffix("%")
    if share.isdigit():
        return int(share)
    return {"heavy": 0, "tacky": 30, "rubbered": 60, "slick": 100}.get(night.condition, 0)


@pages.post("/tonight")
def say() -> Response:
    """The track, the surface or the lap, whichever was sent."""

    def change(now: Trailer) -> Night:
        night, form = now.night, request.form
        if typed(form, "track"):
            name = now.track_named(typed(form, "track"))
            since = datetime.now().isoformat(timespec="minutes")
            return night if name == night.track else replace(
                night, track=name, lap_time=None, since=since
            )  # fmt: skip
        if typed(form, "share"):
            surface = read_answer("surface", f"heavy to slick {typed(form, 'share')}%")
            return replace(night, condition=surface, lap_time=None)
        if typed(form, "surface"):
            surface = read_answer("surface", typed(form, "surface"))
            return replace(night, condition=surface, lap_time=None)
        if "lap" not in form:
            return night
        lap = typed(form, "lap")
        if not lap:
            return replace(night, lap_time=None)
        return with_lap_time(now, parse(in_trade(lap, "time"), "time"))

    try:
        do("tonight", change)
    except RollpathError as error:
        field = next((one for one in ("lap", "share", "surface") if one in request.form), "track")
        return again("tonight.html", {field: error}, **_given(desk()))
    return see("/")


@pages.post("/undo")
def undo() -> Response:
    """Take back the last thing that was seen done."""
    try:
        undone(desk().folder, request.form.get("since", ""))
    except ChangedError:
        raise Asked from None
    return see(request.form.get("to", "/") if request.form.get("to") in ("/", "/tires") else "/")


@pages.get("/tonight.svg")
def picture() -> Response:
    """The lap from above, too much and too little marked."""
    from rollpath.show.baseline import mismatch_map

    table = desk()
    draw = lambda: mismatch_map(table.tonight().result, table.screen)  # noqa: E731
    return as_picture(table.draw("tonight.svg", lambda: svg_of(draw)))
