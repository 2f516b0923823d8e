"""Bite: what the pads read, what a change does on them, and what holds it."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.car import Car
from rollpath.corners import CORNERS, NOTHING, Corners
from rollpath.door_tires import weigh
from rollpath.errors import RollpathError
from rollpath.files.cars import check_change
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import again, do, see
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import in_trade, taping, typed
from rollpath.scales.hold import Outcome
from rollpath.scales.twist import Change, rollout_change
from rollpath.show.bite import bite_screen
from rollpath.trailer.night import Night, weighed
from rollpath.trailer.trailer import Trailer
from rollpath.units import QuantityError, parse

pages = Blueprint("bite", __name__, url_prefix="/bite")
TURNED = ("left_rear", "right_rear")
MOST_TURNS = 100.0


@pages.get("")
def page() -> Response | str:
    if not desk().is_set_up:
        return see("/trailer")
    return render_template("bite.html", **_given(desk(), request.args))


def _given(table: Desk, values: Mapping[str, str]) -> dict[str, Any]:
    car = table.trailer().standing.car
    pads = table.trailer().night.pads
    given: dict[str, Any] = {
        "typed": values, "turned": TURNED, "corners": CORNERS, "query": request.query_string,
        "pads": None if pads is None else pads.map(lambda one: table.screen.weight(one)).by_name(),
        "staggers": {a: table.screen.tape_or_fine(getattr(car, a).stagger)
                     for a in ("rear", "front")},
    }  # fmt: skip
    change, faults = _change(values, car)
    try:
        outcome = _outcome(table, Change() if faults else change, values)
    except RollpathError as error:
        faults["change"] = str(error)
        outcome = _outcome(table, Change(), {})
    told = bite_screen(car, outcome, screen_now())
    return given | {"faults": faults, "told": told, "changed": change != Change()}


def _outcome(table: Desk, change: Change, values: Mapping[str, str]) -> Outcome:
    hold = typed(values, "hold") or "either"
    car = table.trailer().standing.car
    return weigh(car, change, hold if change != Change() else None)


def _change(values: Mapping[str, str], car: Car) -> tuple[Change, dict[str, str]]:
    """What was typed as a change, and what of it cannot be."""
    change, faults = Change(), dict[str, str]()
    for axle in ("rear", "front"):
        name, text = f"{axle}_stagger", taping(values, f"{axle}_stagger")
        try:
            if text:
                stagger = parse(in_trade(text, "tape"), "tape")
                check_change(name, stagger)
                left, right = map(float, rollout_change(getattr(car, axle), None, None, stagger))
                sides = {f"left_{axle}": left, f"right_{axle}": right}
                change += Change(rollouts=replace(NOTHING, **sides))
        except RollpathError as error:
            faults[name] = str(error)
    for corner in TURNED:
        try:
            change += Change(turns=replace(NOTHING, **{corner: _turns(values, corner)}))
        except RollpathError as error:
            faults[corner] = str(error)
    return change, faults


def _turns(values: Mapping[str, str], corner: str) -> float:
    text = typed(values, corner)
    turns = parse(text if "turn" in text else f"{text} turns", "turns") if text else 0.0
    if abs(turns) > MOST_TURNS:
        raise QuantityError("expected at most 100 turns")
    return turns


@pages.post("")
def read() -> Response:
    """What the four pads read."""
    form = request.form
    faults, pads = {}, dict[str, float]()
    for corner in CORNERS:
        try:
            text = typed(form, f"pad_{corner}")
            pads[corner] = parse(in_trade(text, "weight"), "weight")
            check_change("weights", pads[corner])
        except RollpathError as error:
            faults[f"pad_{corner}"] = str(error)
    given = _given(desk(), {}) | {"typed": form}
    if faults:
        return again("bite.html", faults, **{k: v for k, v in given.items()
                                             if k not in ("typed", "faults")})  # fmt: skip

    def change(now: Trailer) -> Night:
        return weighed(now.night, Corners(**pads), typed(form, "driver") != "out")

    do("pads", change)
    return see("/bite")


@pages.get("/stagger.svg")
def picture() -> Response:
    """Bite against rear stagger, now and after the change."""
    from rollpath.show.bite_pictures import bite_against_stagger

    table, values = desk(), request.args
    car = table.trailer().standing.car
    change, faults = _change(values, car)
    outcome = _outcome(table, Change() if faults else change, values)
    key = ("stagger.svg", repr(change), typed(values, "hold"))
    draw = lambda: bite_against_stagger(car, outcome, table.screen)  # noqa: E731
    return as_picture(table.draw(key, lambda: svg_of(draw)))
