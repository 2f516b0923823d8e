"""Rack: the tires that are his; one added, taped anew, put right or taken away."""

import re
from datetime import date
from typing import Any
from urllib.parse import quote

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.corners import CORNERS
from rollpath.errors import RollpathError
from rollpath.files.racked import add_tire, correct_tire, record_taping, take_away, tire_mark
from rollpath.page.desk import Desk, desk
from rollpath.page.doing import again, see
from rollpath.page.typed import in_trade, taping, typed
from rollpath.show.bite import corner_words
from rollpath.show.tape import taping_words
from rollpath.tires.rack import RackTire
from rollpath.trailer.trailer import TrailerError

pages = Blueprint("rack", __name__, url_prefix="/rack")
SIDES = (("any", "either side"), ("left", "left"), ("right", "right"))
SCRAP = (("no", "to be used"), ("yes", "scrap"))
KEPT = re.compile(r"rack\.yaml\.old\d*")
"""Names of the file as it was."""


@pages.get("")
def page() -> Response | str:
    table = desk()
    if not table.is_set_up:
        return see("/trailer")
    name = typed(request.args, "tire")
    if name:
        return render_template("tire.html", typed={}, faults={}, **_of_tire(table, name))
    return render_template("rack.html", typed=request.args, faults={}, **_of_rack(table))


def _of_rack(table: Desk) -> dict[str, Any]:
    """The tires there are, where they are, and what is to be said of a new one."""
    rack = table.trailer().rack_tonight
    return {"tires": [] if rack is None else [_line(table, tire) for tire in rack.tires],
            "sides": SIDES, "kept": _kept(table)}  # fmt: skip


def _line(table: Desk, tire: RackTire) -> tuple[str, str, str]:
    """A tire on the list: its name, its size, and where it is."""
    newest = tire.cold or tire.hot
    size = table.screen.tape_or_fine(newest.mean) if newest else ""
    return tire.name, size, "scrap" if tire.scrap else _where(tire)


def _where(tire: RackTire) -> str:
    return f"on the {corner_words(tire.on_car)}" if tire.on_car else ""


def _of_tire(table: Desk, name: str) -> dict[str, Any]:
    """What the rack file says of a tire, and the mark of it."""
    trailer = table.trailer()
    tire = trailer.tire_named(name)
    here = {one.name: one for one in trailer.rack_tonight.tires} if trailer.rack_tonight else {}
    fitted = here[tire.name].on_car
    return {
        "line": _line(table, here[tire.name]), "side": _side(tire), "tire": tire,
        "tapings": [taping_words(one, table.screen) for one in reversed(tire.tapings)],
        "was": tire_mark(trailer.folder / "rack.yaml", tire.name), "fitted": fitted,
        "where": corner_words(fitted) if fitted else "",
        "sides": SIDES, "scraps": SCRAP, "kept": _kept(table),
    }  # fmt: skip


def _side(tire: RackTire) -> str:
    """The side that a tire is for; empty when its corners are named one by one."""
    by_side = {side: tuple(c for c in CORNERS if c.startswith(side)) for side in ("left", "right")}
    return next((side for side, all_of in {"any": CORNERS, **by_side}.items()
                 if tire.corners == all_of), "")  # fmt: skip


def _kept(table: Desk) -> str:
    """The name of the rack file as it was, after a change; nothing that is typed but that."""
    name = typed(request.args, "kept")
    return name if KEPT.fullmatch(name) and (table.folder / name).is_file() else ""


@pages.post("")
def change() -> Response:
    """A tire added, taped anew, put right or taken away, whichever key was tapped."""
    table, form = desk(), request.form
    if not table.is_set_up:
        return see("/trailer")
    what, name = typed(form, "do"), typed(form, "tire")
    try:
        if what == "add":
            _add(table, name)
            return see("/rack")
        kept = {"tape": _tape, "correct": _correct, "away": _take_away}[what](table, name)
    except KeyError:
        raise TrailerError("which of its keys was tapped?") from None
    except RollpathError as error:
        return _refused(table, what, name, error)
    address = "/rack" if what == "away" else f"/rack?tire={quote(name)}"
    return see(address + (f"{'&' if '?' in address else '?'}kept={kept}" if kept else ""))


def _refused(table: Desk, what: str, name: str, error: RollpathError) -> Response:
    """The form again, the line beside the field it is about."""
    line = str(error).splitlines()[0]
    key = line.partition(":")[0]
    field = {"rollout": "size", "id": "tire"}.get(key, key)
    known = ("size", "tire", "pressure", "temperature", "note")
    faults = {f"{what}_{field}" if field in known else what: line}
    if what == "add":
        return again("rack.html", faults, **_of_rack(table))
    try:
        given = _of_tire(table, name)
    except RollpathError:  # taken away by somebody else
        return again("rack.html", {"add": line}, **_of_rack(table))
    return again("tire.html", faults, **given | {"was": typed(request.form, "was")})


def _size(required: bool = True) -> str:
    size = taping(request.form, "size")
    if required and not size:
        raise TrailerError("size: which? the inches, and the eighths beside them")
    return size


def _taped() -> dict[str, str]:
    """What was typed beside a size."""
    form = request.form
    told = {
        "pressure": in_trade(typed(form, "pressure"), "pressure"),
        "temperature": typed(form, "temperature"), "date": date.today().isoformat(),
    }  # fmt: skip
    return {key: text for key, text in told.items() if text}


def _add(table: Desk, name: str) -> None:
    if not name:
        raise TrailerError("tire: what is chalked on it?")
    told, trailer = _taped(), table.trailer()
    if typed(request.form, "side") in ("left", "right"):
        told["side"] = typed(request.form, "side")
    path = table.folder / "rack.yaml"
    add_tire(path, name, [_size()], told, f"{trailer.car.name} tires")


def _tape(table: Desk, name: str) -> None:
    tire = table.trailer().tire_named(name)
    record_taping(table.folder / "rack.yaml", tire.name, [_size()], **_taped())


def _correct(table: Desk, name: str) -> str:
    tire, form = table.trailer().tire_named(name), request.form
    said = {
        "rollout": _size(required=False), "side": typed(form, "side"),
        "scrap": typed(form, "scrap"), "note": typed(form, "note"),
    }  # fmt: skip
    now = {"rollout": "", "side": _side(tire), "scrap": "yes" if tire.scrap else "no",
           "note": tire.note}  # fmt: skip
    told = {key: text for key, text in said.items() if text and text != now[key]}
    kept = correct_tire(table.folder / "rack.yaml", tire.name, told, typed(form, "was"))
    return "" if kept is None else kept.name


def _take_away(table: Desk, name: str) -> str:
    trailer = table.trailer()
    tire = trailer.tire_to_spare(name)
    kept = take_away(table.folder / "rack.yaml", tire.name, typed(request.form, "was"))
    return "" if kept is None else kept.name
