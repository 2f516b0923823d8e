"""What was typed into a form, as the readers of the command take it."""

from collections.abc import Mapping

from rollpath.screen import TRADE_UNITS
from rollpath.units import is_bare

FRACTIONS = ("", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8")
"""Parts of an inch on the keys of a taping."""


def typed(values: Mapping[str, str], name: str) -> str:
    return values.get(name, "").strip()


def in_trade(text: str, kind: str) -> str:
    """What was typed with the unit that stands beside its field, where it is a number alone."""
    return f"{text} {TRADE_UNITS[kind]}" if is_bare(text) else text


def taping(values: Mapping[str, str], name: str) -> str:
    """A size from its field of inches and its key of eighths: ``83 3/4``; empty when not typed."""
    whole, part = typed(values, name), typed(values, f"{name}_part")
    if not whole:
        return ""
    return f"{whole} {part}" if part in FRACTIONS[1:] and whole.isdigit() else whole
