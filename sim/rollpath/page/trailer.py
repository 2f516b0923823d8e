"""Trailer: the questions that set one up, and what is in it then."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.errors import RollpathError
from rollpath.files.doing import record
from rollpath.files.trailers import load_trailer, make_trailer, read_answer
from rollpath.page.desk import desk
from rollpath.page.doing import again, see
from rollpath.page.typed import in_trade, taping, typed
from rollpath.show.trailer import HOW, QUESTION_WORDS, trailer_screen
from rollpath.track import CONDITIONS
from rollpath.trailer.interview import QUESTIONS
from rollpath.trailer.night import as_state

pages = Blueprint("trailer", __name__, url_prefix="/trailer")
TIRE_ROWS = 8
SIDES = ("left", "right")
PARTS = {
    "pads": ("LF", "RF", "LR", "RR"),
    "pressures": ("LF", "RF", "LR", "RR"),
}
"""Questions of four numbers, and what each is called."""


@pages.get("")
def page() -> str:
    table = desk()
    if table.is_set_up:
        trailer = table.trailer()
        return render_template("trailer.html", told=trailer_screen(trailer, table.screen))
    return render_template("interview.html", typed=request.args, faults={}, **_given())


def _given() -> dict[str, Any]:
    return {
        "questions": QUESTIONS, "words": QUESTION_WORDS, "how": HOW, "parts": PARTS,
        "surface_pairs": [(one, one) for one in CONDITIONS], "sides": SIDES,
        "rows": range(1, TIRE_ROWS + 1),
    }  # fmt: skip


@pages.post("")
def set_up() -> Response:
    """The answers read one by one, and the trailer's files written."""
    table, form = desk(), request.form
    if table.is_set_up:  # sent twice, or another phone was quicker
        return see("/")
    answers, faults = dict[str, str](), dict[str, str]()
    for question in QUESTIONS:
        try:
            text = _text_of(form, question.name, question.kind)
            if text:
                answers[question.name] = read_answer(question.name, text)
        except RollpathError as error:
            faults[question.name] = str(error)
    if not answers and not faults:
        faults["track"] = "answer one question at least"
    if not faults:
        try:
            now = datetime.now().isoformat(timespec="minutes")
            make_trailer(table.folder, answers, now)
            first = load_trailer(table.folder)
            record(first, "trailer", {}, as_state(first.night))
            return see("/")
        except RollpathError as error:
            faults = _by_question(error)
    return again("interview.html", faults, **_given())


def _text_of(form: Mapping[str, str], name: str, kind: str) -> str:
    """One answer as it would be typed at a terminal."""
    if name in ("rear", "front"):
        return ", ".join(filter(None, (taping(form, f"{name}_{side}") for side in SIDES)))
    if name in PARTS:
        four = (typed(form, f"{name}_{part.lower()}") for part in PARTS[name])
        return ", ".join(filter(None, four))
    if name == "tires":
        rows = ((typed(form, f"tire_{i}"), taping(form, f"tire_{i}_size"))
                for i in range(1, TIRE_ROWS + 1))  # fmt: skip
        return ", ".join(f"{tire} {size}".strip() for tire, size in rows if tire or size)
    return in_trade(typed(form, name), kind) if kind in ("length", "power") else typed(form, name)


_KEYS = {"inside_radius": "radius", "straight": "straight", "power": "power", "weights": "pads",
         "pressure": "pressures", "tires": "tires", "front": "front", "rear": "rear"}  # fmt: skip
"""Questions by the key of a file that their answer fills."""


def _by_question(error: RollpathError) -> dict[str, str]:
    """Faults of the files that the answers make, each beside its question."""
    told: dict[str, str] = {}
    for line in getattr(error, "lines", None) or [str(error)]:
        name = next((q for key, q in _KEYS.items() if f"{key}" in line), "track")
        told.setdefault(name, line)
    return told
