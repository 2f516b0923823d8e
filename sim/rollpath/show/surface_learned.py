"""What the laps of a notebook say of a track's surfaces, in words and JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.screen import TRADE, Screen
from rollpath.show.words import caution_lines, counted, lay_out, paragraph

if TYPE_CHECKING:
    from rollpath.book.surfaces import LearnedSurface, LearnedSurfaces


def learned_words(one: LearnedSurface, used: bool) -> str:
    """The offer of a surface as the laps have it, or that it is used."""
    said = (
        f"your laps here say {one.name} is {one.grip:.2f}, not {one.filed:.2f} "
        f"(give or take {one.give_or_take:.2f})"
    )
    return f"{said}: used" if used else f"{said}: --learned uses it"


def learned_json(one: LearnedSurface | None, used: bool) -> dict[str, Any]:
    """The same for a program; None where the laps do not say."""
    told = None if one is None else {
        "grip": one.grip,
        "give_or_take_grip": one.give_or_take,
        "filed_grip": one.filed,
        "nights": one.nights,
        "laps": one.laps,
        "differs": one.differs,
        "used": used,
    }  # fmt: skip
    return {"learned_surface": told}


def short_screen(learned: LearnedSurfaces, screen: Screen = TRADE) -> str:
    """Every surface that the laps speak of."""
    lines = [
        paragraph(
            f"{one.name}: grip {one.grip:.2f}, give or take {one.give_or_take:.2f}, by "
            f"{counted(one.laps, 'lap')} on {counted(one.nights, 'night')}; filed {one.filed:.2f}"
        )
        for one in learned.surfaces
    ]
    nothing = "No surface of this track has two nights with a best lap of this car."
    return lay_out([*(lines or [nothing]), *caution_lines()], screen)
