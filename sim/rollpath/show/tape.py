"""A taping, in words and JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.screen import Screen, inches, inches_per_psi, psi
from rollpath.show.bite import corner_words
from rollpath.show.tires import questioned_words
from rollpath.show.words import lay_out, none_or, paragraph, row
from rollpath.tires.air import cold_rollout

if TYPE_CHECKING:
    from rollpath.tires.rack import Rack, RackTire, Taping

HOW_TO_TAPE = """\
How to tape well (common practice):
  Same gauge, same pressure, wheel off the ground, tire cold and left to settle after
  airing up.
  Hook the tape on the middle of the tread, lay it flat and square around the crown, pull
  it as hard every time, read it at eye level. Unhook and tape again, three times.
  A taping at a second pressure, two psi or more away, shows how much this tire grows with
  pressure. Stay inside the tire maker's pressures."""


# tires tape


def tape_json(rack: Rack, tire: RackTire) -> dict[str, Any]:
    """The taping just written; keys end in their unit."""
    new = tire.tapings[-1]
    growth = tire.own_growth
    return {
        "tire": tire.name,
        "readings_in": [inches(one) for one in new.readings],
        "mean_in": inches(new.mean),
        "spread_in": inches(new.spread),
        "questioned_in": [inches(one) for one in new.doubtful],
        "pressure_psi": none_or(new.pressure, psi),
        "hot": new.is_hot,
        "date": new.date,
        "tapings": len(tire.tapings),
        "growth_in_per_psi": inches_per_psi(rack.growth if growth is None else growth),
        "growth_source": "default" if growth is None else "own",
    }


def tape_screen(rack: Rack, tire: RackTire, screen: Screen) -> str:
    """The taping just written, for a racer."""
    new = tire.tapings[-1]
    count = len(new.readings)
    lines = [
        f"{tire.name}: {screen.tape_or_fine(new.mean)}",
        row("readings", ", ".join(screen.tape_or_fine(one) for one in new.readings)),
        row("spread", screen.fine(new.spread) if count > 1 else "one reading; take three"),
        row("taped", _when_words(new, screen)),
    ]
    alike = [one for one in tire.tapings[:-1] if one.is_hot == new.is_hot]
    if alike:
        before = alike[-1]
        told = screen.fine(new.mean - before.mean, signed=True)
        lines.append(row("against the last taping", f"{told} ({_when_words(before, screen)})"))
    lines.append(row("growth with pressure", _growth_words(rack, tire, screen)))
    if not new.is_hot and rack.running_pressure is not None:
        lines += [
            row(f"on the {corner_words(corner)}",
                f"{screen.fine(cold_rollout(rack, tire, corner))} cold"
                f"{f' at {screen.pressure(getattr(rack.running_pressure, corner))}'}")
            for corner in tire.corners
        ]  # fmt: skip
    left_out = "" if len(new.trusted) == count else " It is left out of the mean, not of the file."
    lines += [
        paragraph(questioned_words(tire.name, one, new.mean, screen) + "." + left_out, "  ")
        for one in new.doubtful
    ]
    return lay_out(lines, screen)


def taping_words(taping: Taping, screen: Screen) -> str:
    """One taping of a tire in a line.

    Parameters
    ----------
    taping : Taping
    screen : Screen
    """
    readings = ", ".join(screen.tape_or_fine(one) for one in taping.readings)
    return f"{readings}: {_when_words(taping, screen)}"


def _when_words(taping: Taping, screen: Screen) -> str:
    parts = [
        "hot" if taping.is_hot else "cold",
        "pressure not written down"
        if taping.pressure is None
        else screen.pressure(taping.pressure),
        "" if taping.temperature is None else screen.temperature(taping.temperature),
        taping.date,
    ]
    return ", ".join(part for part in parts if part)


def _growth_words(rack: Rack, tire: RackTire, screen: Screen) -> str:
    growth = tire.own_growth
    if growth is not None:
        return f"{screen.growth(growth)}, its own"
    return (f"{screen.growth(rack.growth)}, not its own; tape it at a second pressure "
            "to find that")  # fmt: skip
