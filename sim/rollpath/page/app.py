"""The pages put together: addresses, what every page is given, and what goes wrong told calmly."""

import re
from http import HTTPStatus
from typing import Any

from flask import Flask, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from rollpath.errors import RollpathError
from rollpath.page import bite, book, debrief, plan, rack, survey, tires, tonight, trailer
from rollpath.page.desk import Desk
from rollpath.page.doing import Asked, see, step_on, told_before
from rollpath.page.guard import HOME, Guard, add_guard
from rollpath.page.typed import FRACTIONS
from rollpath.show.trailer import short_corner
from rollpath.show.words import CAUTIONS, pieces

PAGES = (tonight, tires, rack, bite, plan, debrief, book, survey, trailer)
"""In the order of a race night; each holds a blueprint `pages`."""
NAMES = tuple(page.__name__.rpartition(".")[2] for page in PAGES)
LARGEST_FORM = 8 << 20
"""Bytes; hours of a phone's position log (engineering judgement)."""
TOO_LARGE = (
    "That file is too large: at most 8 MB are taken. Send one run of it, or read it at the laptop."
)
KEPT_FOR = 3600
"""Seconds that a phone may keep our style and script."""


class Pages(Flask):
    """An app whose faults are a line at the laptop, as the command's are."""

    def log_exception(self, exc_info: Any) -> None:
        self.logger.error("%s failed: %r", request.path, exc_info[1])


def make_app(desk: Desk, guard: Guard) -> Flask:
    """The pages of a trailer.

    Parameters
    ----------
    desk : Desk
    guard : Guard
    """
    app = Pages(__name__)
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_FORM
    app.config["SEND_FILE_MAX_AGE_DEFAULT"] = KEPT_FOR
    app.extensions["desk"] = desk
    app.jinja_env.autoescape = True
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.globals.update(
        pieces=pieces, names=NAMES, fractions=FRACTIONS, cautions=CAUTIONS, desk=desk,
        most=LARGEST_FORM, too_large=TOO_LARGE,
        short=short_corner,
    )  # fmt: skip
    app.jinja_env.filters["beside"] = beside
    add_guard(app, guard)
    app.before_request(told_before)
    app.after_request(step_on)  # Flask asks the last one first, so the guard's headers come after
    for page in PAGES:
        app.register_blueprint(page.pages)
    app.register_error_handler(Asked, lambda asked: asked.page())
    app.register_error_handler(RollpathError, _told)
    app.register_error_handler(HTTPException, _not_there)
    return app


def beside(line: str) -> str:
    """A line of the command as it stands beside the field that it is about."""
    return re.sub(r"^--[\w-]+: ", "", line)


def _told(error: RollpathError) -> tuple[str, int]:
    """What cannot be, in the words that the command has for it."""
    lines = getattr(error, "lines", None) or [str(error)]
    return render_template("fault.html", lines=lines), HTTPStatus.BAD_REQUEST


def _not_there(error: HTTPException) -> tuple[str, int] | Response:
    code = error.code or HTTPStatus.INTERNAL_SERVER_ERROR
    if code == HTTPStatus.METHOD_NOT_ALLOWED and request.path in HOME:
        return see(HOME[request.path])
    told = {
        HTTPStatus.NOT_FOUND: "There is no such page.",
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE: TOO_LARGE,
        HTTPStatus.METHOD_NOT_ALLOWED: "That address takes forms only; open the page instead.",
    }  # fmt: skip
    words = told.get(HTTPStatus(code), "That did not work; nothing was changed.")
    return render_template("fault.html", lines=[words]), code
