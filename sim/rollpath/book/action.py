"""What was done to the car between runs, and a night told over again from the book.

An action says what it changed: the values before and the values after, by names of the caller's
choosing (`trailer` uses such as ``right_rear.tire``). Actions are only ever added; taking one back
is an action too. What stood at any time follows by doing them over in order.
"""

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from rollpath.book.run import BookError, Page, by_the_clock, moment_read

LONGEST_ACTION = 1 << 16
"""Characters of JSON; a whole rack fits (engineering judgement)."""
_LONGEST_WORD = 40
State = dict[str, Any]


@dataclass(frozen=True)
class Action:
    """One thing done to the car between runs.

    Attributes
    ----------
    key : str
        The same in every book it is copied to.
    when : datetime
        Local time by the clock on the wall.
    what : str
        Such as ``bolt``, ``air``, ``pads``, ``tonight``, ``undo``.
    before, after : mapping
        What it changed: values of JSON (text, numbers, lists, mappings, None) by name. A name
        that is not in one of the two was not there then.
    undoes : str or None
        The key of the action that this one takes back.
    written : datetime
        When it was written down.
    """

    key: str
    when: datetime
    what: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    written: datetime
    undoes: str | None = None


@dataclass(frozen=True)
class Moment:
    """One event of a night and how things stood after it.

    Attributes
    ----------
    event : Action or Page
        What was done, or the run (its page in force).
    state : dict
        All that the actions had set by then, earlier nights' too.
    """

    when: datetime
    event: Action | Page
    state: State


def settled_action(action: Action) -> Action:
    """The action as a book keeps it: plain values of JSON.

    Raises
    ------
    BookError
        If something of it cannot be kept.
    """
    try:
        if not 0 < len(action.what) <= _LONGEST_WORD or not action.what.isprintable():
            raise ValueError(f"what was done: expected a short word, got {action.what[:40]!r}")
        plain = {name: _plain(name, getattr(action, name)) for name in ("before", "after")}
        return Action(
            action.key, by_the_clock(action.when), action.what, plain["before"], plain["after"],
            action.written, action.undoes,
        )  # fmt: skip
    except ValueError as error:
        raise BookError([str(error)]) from None


def _plain(name: str, values: Mapping[str, Any]) -> State:
    try:
        text = json.dumps(dict(values), ensure_ascii=False, allow_nan=False)
        text.encode()
    except (TypeError, ValueError, RecursionError):
        raise ValueError(f"{name}: expected text, finite numbers, lists and mappings") from None
    if len(text) > LONGEST_ACTION:
        raise ValueError(f"{name}: {len(text)} characters; at most {LONGEST_ACTION} are kept")
    plain: State = json.loads(text)
    return plain


def action_out(action: Action) -> State:
    """An action as it leaves the book, for JSON."""
    return {
        "key": action.key,
        "when": action.when.isoformat(),
        "what": action.what,
        "before": action.before,
        "after": action.after,
        "undoes": action.undoes,
        "written": action.written.isoformat(),
    }


def action_in(values: Mapping[str, Any]) -> Action:
    """An action as `action_out` wrote it.

    Raises
    ------
    BookError
        If it is none.
    """
    try:
        key, what, undoes = (values.get(name) for name in ("key", "what", "undoes"))
        if not is_key(key) or not (undoes is None or is_key(undoes)) or not isinstance(what, str):
            raise ValueError('an action: expected "key", "when" and "what"')
        before, after = values.get("before") or {}, values.get("after") or {}
        if not isinstance(before, dict) or not isinstance(after, dict):
            raise ValueError("an action: expected before and after to hold values by name")
        when = moment_read(values.get("when"))
        written = moment_read(values["written"]) if values.get("written") else when
        return settled_action(Action(str(key), when, what, before, after, written, undoes))
    except ValueError as error:
        raise BookError([str(error)]) from None


def is_key(text: object) -> bool:
    """Whether it is a key as pages and actions have: 32 hexadecimal digits."""
    return isinstance(text, str) and len(text) == 32 and set(text) <= set("0123456789abcdef")


def action_seal(text: str) -> int:
    """Check sum of an action as it is stored."""
    return zlib.crc32(text.encode())


# Doing it over


def state_after(state: Mapping[str, Any], action: Action) -> State:
    """How things stand once an action is done."""
    kept = {name: value for name, value in state.items() if name not in action.before}
    return {**kept, **action.after}


def last_to_undo(actions: Iterable[Action]) -> Action | None:
    """The last action, in the order of writing, that was not taken back and takes nothing back."""
    actions = list(actions)
    undone = {action.undoes for action in actions}
    left = [one for one in actions if one.undoes is None and one.key not in undone]
    return left[-1] if left else None


def replay(actions: Iterable[Action], runs: Iterable[Page]) -> list[Moment]:
    """Runs and actions in the order of the clock, with how things stood after each."""
    events: list[tuple[datetime, datetime, Action | Page]] = [
        *((one.when, one.written, one) for one in actions),
        *((page.run.when, page.written, page) for page in runs),
    ]
    moments, state = [], State()
    for when, _, event in sorted(events, key=lambda one: one[:2]):
        if isinstance(event, Action):
            state = state_after(state, event)
        moments.append(Moment(when, event, state))
    return moments
