"""Tires: the four corners seen from above; a tap on one bolts a tire on, tapes it, or airs it."""

from typing import Any

from flask import Blueprint, abort, render_template, request
from werkzeug.wrappers import Response

from rollpath.corners import CORNER_NAMES
from rollpath.errors import RollpathError
from rollpath.files.doing import fitted_by, pressure_by
from rollpath.files.trailers import night_text
from rollpath.page.desk import Desk, desk
from rollpath.page.doing import again, do, see
from rollpath.page.typed import in_trade, taping, typed
from rollpath.show.bite import corner_words
from rollpath.show.trailer import (
    action_words,
    bolt_cells,
    corner_cells,
    no_tires_words,
    standing_screen,
)
from rollpath.tires.air import cold_rollout
from rollpath.trailer.advice import Advice
from rollpath.trailer.column import as_advised, taken_over
from rollpath.trailer.night import Night, bolted, pumped
from rollpath.trailer.trailer import Trailer, TrailerError
from rollpath.units import of_psi

pages = Blueprint("tires", __name__, url_prefix="/tires")
STEPS = (-1.0, -0.5, 0.5, 1.0)
"""psi, on the keys for air."""


@pages.get("")
def page() -> Response | str:
    if not desk().is_set_up:
        return see("/trailer")
    return render_template("tires.html", faults={}, **_given(desk()))


def _given(table: Desk) -> dict[str, Any]:
    """What is on the car, and what is wanted, where that can be told."""
    trailer = table.trailer()
    given: dict[str, Any] = {
        "told": standing_screen(trailer, trailer, "done", table.screen),
        "on_car": corner_cells(trailer, table.screen),
        "done": [action_words(one, table.screen) for one in table.actions()[-1:]],
    }
    try:
        advice = table.tonight()
        given |= {"why_not": no_tires_words(advice), "four": _four(advice),
                  "cells": bolt_cells(advice, table.screen)}  # fmt: skip
    except RollpathError as error:
        given["fault"] = str(error)
    return given


def _four(advice: Advice) -> str:
    """The four tires and pressures that are wanted, as a form carries them; empty where they are
    on the car already, or none are named."""
    if advice.choice is None:
        return ""
    column, night = as_advised(advice), advice.trailer.night
    if night_text(taken_over(advice.trailer, column)) == night_text(night):
        return ""
    return ", ".join(f"{put.tire} {put.pressure or 0:.0f}" for put in column.corners)


@pages.post("")
def all_four() -> Response:
    """All that is wanted tonight is on the car: the four tires and their air."""
    table = desk()

    def made(now: Trailer) -> Night:
        advice = table.tonight()
        four = _four(advice)
        if not four:  # tapped twice
            return now.night
        if four != request.form.get("four"):
            raise TrailerError("what is wanted is another four by now: look again")
        return taken_over(now, as_advised(advice))

    try:
        do("bolt", made)
    except RollpathError as error:
        return again("tires.html", {"four": error}, **_given(table))
    return see("/tires")


@pages.get("/<name>")
def corner(name: str) -> Response | str:
    if not desk().is_set_up:
        return see("/trailer")
    return render_template("corner.html", **_of_corner(desk(), _corner(name)))


def _corner(name: str) -> str:
    if name not in CORNER_NAMES:
        abort(404)
    return CORNER_NAMES[name]


def _of_corner(table: Desk, name: str) -> dict[str, Any]:
    """What is on a corner, what may go there, and the air one step up and down."""
    trailer, screen = table.trailer(), table.screen
    rack, pressure = trailer.rack, trailer.standing.car.pressure
    now = None if pressure is None else float(getattr(pressure, name))
    where = {one.tire: corner for corner, one in trailer.night.on_car.by_name().items() if one.tire}
    tires = [] if rack is None else [
        (tire.name, screen.tape(cold_rollout(rack, tire, name)),
         corner_words(where[tire.name]) if tire.name in where else "")
        for tire in rack.tires
        if name in tire.corners and not tire.scrap and tire.cold is not None
    ]  # fmt: skip
    return {
        "corner": name, "words": corner_words(name),
        "cells": corner_cells(trailer, screen)[name],
        "tires": tires, "wanted": _wanted(table, name),
        "fitted": getattr(trailer.night.on_car, name).tire,
        "air": "" if now is None else screen.pressure(now),
        "steps": [] if now is None else [
            (f"{step:+g}".replace("-", "\N{MINUS SIGN}"), screen.pressure(now + of_psi(step)))
            for step in STEPS if now + of_psi(step) > 0
        ],
    }  # fmt: skip


def _wanted(table: Desk, corner: str) -> str:
    """The tire that is wanted on a corner tonight; empty where none can be told."""
    try:
        cells = bolt_cells(table.tonight(), table.screen)
    except RollpathError:
        return ""
    return cells[corner][0] if cells else ""


@pages.post("/<name>")
def change(name: str) -> Response:
    """A tire, a taping or air at one corner, whichever was sent."""
    where, form = _corner(name), request.form
    field = next((one for one in ("tire", "air") if one in form), "size")
    what = "air" if field == "air" else "bolt"

    def made(now: Trailer) -> Night:
        if field == "air":
            typed_air = in_trade(typed(form, "air"), "pressure")
            return pumped(now.night, now.car, where, *pressure_by(now, where, typed_air))
        said = typed(form, "tire") if field == "tire" else taping(form, "size")
        if not said:
            raise TrailerError("which size? the inches, and the eighths beside them")
        return bolted(now.night, where, fitted_by(now, where, said))

    try:
        do(what, made)
    except RollpathError as error:
        return again("corner.html", {field: error}, **_of_corner(desk(), where))
    return see("/tires")
