"""A form that changes something: done once, or told why not, or asked when somebody was earlier."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode

from flask import Response, make_response, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from rollpath.errors import RollpathError
from rollpath.files.doing import ChangedError, Changing, done
from rollpath.page.desk import desk
from rollpath.page.guard import form_page
from rollpath.show.trailer import action_words

OURS = ("token", "seen", "since")
"""Fields that every form carries beside what was typed."""
TAKEN_FOR = 30
"""Seconds within which our script is to see that a form was taken, and forget what was typed."""
TOLD = "told"
"""In an address: the name of a page that answers a form."""


class Asked(Exception):  # noqa: N818 (a question, not an error)
    """Somebody did something since the form was opened; whoever sends it is asked."""

    def page(self) -> Response:
        """What the other did, and both ways on."""
        table, since = desk(), request.form.get("since", "")
        actions = table.actions()
        keys = [action.key for action in actions]
        newer = actions[keys.index(since) + 1 :] if since in keys else actions[-3:]
        fields = [
            (name, value)
            for name, values in request.form.lists() if name not in OURS
            for value in values
        ]  # fmt: skip
        told = [action_words(action, table.screen) for action in newer]
        page = render_template("asked.html", told=told, fields=fields)
        return make_response(page, HTTPStatus.CONFLICT)


def do(what: str, change: Changing) -> None:
    """Change the night as a form asks.

    Raises
    ------
    Asked
        If the night is not the one that the form was made from.
    RollpathError
    """
    try:
        done(desk().folder, what, change, request.form.get("seen", ""))
    except ChangedError:
        raise Asked from None


def see(address: str) -> AnyResponse:
    """Go on to a page after something was done, so that a reload does not do it again."""
    return redirect(address, HTTPStatus.SEE_OTHER)


def step_on(response: Response) -> AnyResponse:
    """Go on from a form that was not taken too: what is told has an address of its own.

    A reload then sends nothing again, and the back button finds no page that wants a form.
    """
    stays = response.status_code < HTTPStatus.BAD_REQUEST or response.status_code in (
        HTTPStatus.FORBIDDEN, HTTPStatus.METHOD_NOT_ALLOWED,
    )  # fmt: skip
    if request.method != "POST" or stays or response.mimetype != "text/html":
        if request.method == "POST" and response.status_code == HTTPStatus.SEE_OTHER:
            response.set_cookie("taken", "1", max_age=TAKEN_FOR, samesite="Strict")
        return response
    name = desk().keep_told(response.get_data(as_text=True))
    return see(f"{form_page(request.path)}?{urlencode({TOLD: name})}")


def told_before() -> str | None:
    """The page that a form was answered with, looked at again."""
    name = request.args.get(TOLD)
    return desk().told(name) if name and request.method != "POST" else None


def again(template: str, faults: Mapping[str, RollpathError | str], **given: Any) -> AnyResponse:
    """The page of a form once more: what was typed kept, and a line beside what is wrong."""
    told = {name: str(fault) for name, fault in faults.items()}
    page = render_template(template, faults=told, typed=request.form, **given)
    return make_response(page, HTTPStatus.BAD_REQUEST)
