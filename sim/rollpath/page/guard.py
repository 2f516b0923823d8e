"""Who may see the pages and who may change things: the key of the evening, and whose form it is.

Alone on the laptop there is no key; the name in the address bar, where a form comes from, and a
word in every form are checked all the same, so that a page of somebody else's open in the same
browser can neither read nor change anything. (OWASP cheat sheets "Cross-Site Request Forgery
Prevention" and "Session Management")
"""

import hmac
import secrets
import threading
import time
from base64 import b64encode
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from http import HTTPStatus
from urllib.parse import urlsplit

from flask import Flask, Response, make_response, render_template, request
from werkzeug.wrappers import Response as AnyResponse

HOME = {"/tonight": "/", "/undo": "/", "/survey/log": "/survey"}
"""Where a form stands whose own address takes nothing but forms."""
COOKIE = "rollpath"
LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
"""Of a key: none that is taken for another."""
KEY_LENGTH = 8
"""31 ** 8 keys at ten a minute are 160,000 years."""
WRONG_KEYS, LOCKED_FOR = 10, 60.0
"""Wrong keys after which one address has to wait, and for how long, s."""
MOST_ADDRESSES = 1000
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}

BARE_STYLE = (
    "body{font:1.25rem/1.5 system-ui,sans-serif;margin:1rem;max-width:40rem}"
    "a,button,input{display:block;box-sizing:border-box;width:100%;min-height:56px;font:inherit;"
    "padding:.75rem;border:2px solid;border-radius:0}"
)
"""Of the few pages that stand alone, for who may have nothing else of ours."""
BARE_POLICY = (
    "default-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; style-src "
    f"'sha256-{b64encode(sha256(BARE_STYLE.encode()).digest()).decode()}'"
)
"""Which takes that one style and nothing besides (W3C, Content Security Policy Level 3, 2.3.1)."""


def new_key() -> str:
    """A key for the evening, short enough to be told across a trailer."""
    return "".join(secrets.choice(LETTERS) for _ in range(KEY_LENGTH))


@dataclass
class Guard:
    """What the pages are guarded with.

    Attributes
    ----------
    hosts : tuple of str
        Names and ports under which the pages may be asked for.
    key : str
        Of the evening; empty where no other machine can ask.
    look : bool
        Whether nobody may change anything.
    clock : callable
        Seconds that only rise.
    """

    hosts: tuple[str, ...]
    key: str = ""
    look: bool = False
    clock: Callable[[], float] = time.monotonic
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    """In every form."""
    pass_word: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    """In the cookie of a phone that had the key; it cannot be guessed as a short key can."""
    _wrong: "OrderedDict[str, list[float]]" = field(default_factory=OrderedDict)
    _counting: threading.Lock = field(default_factory=threading.Lock)

    def is_locked(self, address: str) -> bool:
        """Whether ten wrong keys came from an address within the last minute."""
        with self._counting:
            times = self._wrong.get(address, [])
            return len(times) >= WRONG_KEYS and self.clock() - times[-1] < LOCKED_FOR

    def opens(self, address: str, key: str) -> bool:
        """Whether a key is the right one and the address not locked; a wrong one is counted."""
        if self.is_locked(address):
            return False
        if hmac.compare_digest(key.strip().lower().encode(), self.key.encode()):
            with self._counting:
                self._wrong.pop(address, None)
            return True
        with self._counting:
            now = self.clock()
            times = [at for at in self._wrong.get(address, []) if now - at < LOCKED_FOR]
            self._wrong[address] = [*times, now]
            self._wrong.move_to_end(address)
            while len(self._wrong) > MOST_ADDRESSES:
                self._wrong.popitem(last=False)
        return False

    def knows(self, cookie: str | None) -> bool:
        """Whether a phone has shown the key before."""
        if not self.key:
            return True
        return cookie is not None and hmac.compare_digest(cookie.encode(), self.pass_word.encode())


def add_guard(app: Flask, guard: Guard) -> None:
    """Put the guard before every page of an app, and its headers on every answer."""

    @app.before_request
    def check() -> AnyResponse | None:
        return _refusal(guard)

    @app.after_request
    def close(response: Response) -> Response:
        for name, value in {**HEADERS, "Cache-Control": "no-store"}.items():
            response.headers.setdefault(name, value)
        return response

    @app.context_processor
    def given() -> dict[str, object]:
        return {"token": guard.token, "look": guard.look}


def _refusal(guard: Guard) -> AnyResponse | None:
    """Why a request is not answered; None when it is."""
    if request.host not in guard.hosts:
        return plain("This is not the address of this page.", HTTPStatus.BAD_REQUEST)
    if request.method not in ("GET", "HEAD", "POST"):
        return plain("Pages are looked at and forms are sent.", HTTPStatus.METHOD_NOT_ALLOWED)
    if not guard.knows(request.cookies.get(COOKIE)):
        return _ask_the_crew(guard)
    if request.method == "POST":
        return _refused_form(guard)
    if guard.key and "key" in request.args:  # scanned again by a phone that is in
        return _let_in(guard)
    return None


def _ask_the_crew(guard: Guard) -> AnyResponse:
    """All that is served without the key: who to ask, and a place to type it."""
    key = request.args.get("key", "") or (
        request.form.get("key", "") if request.path == "/" and request.method == "POST" else ""
    )
    address = request.remote_addr or ""
    if key and guard.opens(address, key):
        return _let_in(guard)
    locked = guard.is_locked(address)
    return _bare("ask_the_crew.html", HTTPStatus.FORBIDDEN, wrong=bool(key), locked=locked)


def _let_in(guard: Guard) -> AnyResponse:
    """The cookie, and a step on from our own page, which a strict cookie needs."""
    response = _bare("let_in.html", HTTPStatus.OK)
    response.set_cookie(COOKIE, guard.pass_word, httponly=True, samesite="Strict")
    return response


def _refused_form(guard: Guard) -> AnyResponse | None:
    """Why a form is not taken: not from a page of ours, or nobody may change anything."""
    came_from = request.headers.get("Origin") or request.headers.get("Referer")
    if came_from and urlsplit(came_from).netloc not in guard.hosts:
        return plain("This form is not from a page of ours.", HTTPStatus.FORBIDDEN)
    if guard.look:
        return plain("Here you can look, and change nothing.", HTTPStatus.FORBIDDEN)
    token = request.form.get("token", "")
    if not hmac.compare_digest(token.encode(), guard.token.encode()):
        return plain(
            "This page is from before rollpath was started again. Nothing was changed. Open it "
            "anew and tap once more.", HTTPStatus.FORBIDDEN, form_page(request.path),
        )  # fmt: skip
    return None


def form_page(address: str) -> str:
    """The page on which a form stands, by the address that it is sent to.

    Parameters
    ----------
    address : str
    """
    return HOME.get(address, "/" + address.lstrip("/\\"))  # never the name of another machine


def plain(told: str, status: HTTPStatus, back: str = "") -> AnyResponse:
    """A page of one sentence, and a way on.

    Parameters
    ----------
    told : str
    status : HTTPStatus
    back : str
        Address to open anew; empty for the first page.
    """
    return _bare("plain.html", status, told=told, back=back)


def _bare(template: str, status: HTTPStatus, **given: object) -> AnyResponse:
    """A page that needs no other file of ours."""
    page = render_template(template, style=BARE_STYLE, **given)
    response = make_response(page, status)
    response.headers["Content-Security-Policy"] = BARE_POLICY
    return response
