"""Names of tracks and cars: the same one written another way, or nearly."""

from collections.abc import Iterable
from difflib import SequenceMatcher

NEAR = 0.75
"""Likeness from which one name may be meant for another. Engineering judgement: one letter in
five wrong."""
_SHORTEST_WORD = 4
"""Letters of a word that alone may stand for a name."""


def same_name(typed: str, known: Iterable[str]) -> str | None:
    """The known name that is the same but for capitals, spaces and hyphens."""
    return next((name for name in known if _plain(name) == _plain(typed)), None)


def near_name(typed: str, known: Iterable[str]) -> str | None:
    """The known name most likely meant, or None when none is near.

    Names whose numbers differ are of different things, such as two cars.
    """
    alike = {name: _likeness(_plain(typed), _plain(name)) for name in known}
    best = max(alike, key=lambda name: alike[name], default=None)
    return best if best is not None and alike[best] >= NEAR else None


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").split())


def _digits(name: str) -> str:
    return "".join(c for c in name if c.isdigit())


def _likeness(typed: str, name: str) -> float:
    """From 0 to 1: of the whole name, of its beginning, or of one long word of it."""
    if _digits(typed) and _digits(name) and _digits(typed) != _digits(name):
        return 0.0
    whole = [name]
    if len(typed) >= _SHORTEST_WORD:
        whole += [name[: len(typed)], *(w for w in name.split() if len(w) >= _SHORTEST_WORD)]
    return max(SequenceMatcher(None, typed, one).ratio() for one in whole)
