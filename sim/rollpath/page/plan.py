"""Plan: the night's tires, air and jacks, run by run, and the card for the pit wall."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.book.lessons import taught
from rollpath.door_night import track_tonight
from rollpath.door_tires import plan
from rollpath.errors import RollpathError
from rollpath.files.surfaces import surface_named
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import see
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import typed
from rollpath.show.plan import plan_screen
from rollpath.stagger import Baseline
from rollpath.track import CONDITIONS
from rollpath.trailer.asked import Rules
from rollpath.trailer.plan import Plan

pages = Blueprint("plan", __name__, url_prefix="/plan")
RUNS = ("hot laps", "heat", "b main", "feature")
USUAL = {"heat": "heavy", "feature": "slick"}
WHEELS = ("4", "3", "2", "1", "0")


@pages.get("")
def page() -> Response | str:
    table = desk()
    if not table.is_set_up:
        return see("/trailer")
    given: dict[str, Any] = {
        "runs": RUNS, "surfaces": tuple(CONDITIONS), "wheels": WHEELS,
        "typed": request.args or {**USUAL, "wheels": "4", "jacks": "yes"},
        "query": request.query_string, "faults": {},
    }  # fmt: skip
    if request.args:
        try:
            given["told"] = plan_screen(_plan(table, request.args), screen_now())
        except RollpathError as error:
            given["faults"] = {"plan": str(error)}
    return render_template("plan.html", **given)


def _plan(table: Desk, values: Mapping[str, str]) -> Plan:
    """The plan that was asked for.

    Raises
    ------
    RollpathError
    """
    wanted = {
        name: surface_named(typed(values, name))
        for name in RUNS if typed(values, name)
    }  # fmt: skip
    wheels = typed(values, "wheels") or "4"
    jacks = typed(values, "jacks") != "no"
    if not wanted:
        raise RollpathError("which runs are there? say the surface of one at least")
    if wheels not in WHEELS:
        raise RollpathError("expected at most 4 wheels to change")
    trailer = table.trailer()
    rack = trailer.rack_tonight
    if rack is None:
        raise RollpathError("no rack yet: no tires to plan with")

    def make() -> Plan:
        car, track = trailer.standing.car, track_tonight(trailer)

        def put_on(result: Baseline, surface: str) -> Baseline:
            return taught(table.runs(), result, surface)[0]

        return plan(rack, car, wanted, track, rules=Rules(int(wheels), jacks), taught=put_on)

    return table.remember(("plan", tuple(wanted.items()), wheels, jacks), make)


@pages.get("/card.svg")
def card() -> Response:
    """The pit card, to be printed."""
    from rollpath.show.pit_card import draw_pit_card

    table = desk()
    made = _plan(table, request.args)
    name = table.trailer().night.track
    draw = lambda: draw_pit_card(made, name, table.screen)  # noqa: E731
    key = ("card.svg", request.query_string)
    return as_picture(table.draw(key, lambda: svg_of(draw, whole=True)))
