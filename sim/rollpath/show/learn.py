"""What scale sessions teach, in words and JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollpath.scales.learn import UNTOUCHED
from rollpath.screen import Screen, pounds, pounds_per_inch
from rollpath.show.bite import longer_words
from rollpath.show.words import lay_out, none_or, paragraph, row
from rollpath.units import of_inches

if TYPE_CHECKING:
    from rollpath.car import Car
    from rollpath.scales.learn import Learned

# bite --learn


def _rate_words(name: str, rate: float, screen: Screen) -> str:
    return f"{screen.weight(rate, 1)}/turn" if "jacks" in name else screen.weight_rate(rate)


def learned_json(learned: Learned, written: dict[str, str], kept: Path | None) -> dict[str, Any]:
    """The result of `bite --learn`; keys end in their unit."""
    rates: dict[str, Any] = {}
    for name, rate in learned.rates.items():
        per, out = ("lb_per_turn", pounds) if "jacks" in name else ("lb_per_in", pounds_per_inch)
        rates[name.replace(" ", "_")] = {
            f"rate_{per}": out(rate.value),
            f"low_{per}": out(rate.value - rate.half_width),
            f"high_{per}": out(rate.value + rate.half_width),
            "sure": rate.is_sure,
        }
    run = learned.next_session
    step = {} if run is None else {f"step_{'turns' if 'jacks' in run.moved else 'in'}": run.step}
    return {
        "sessions": learned.sessions,
        "rates": rates,
        "never_moved": learned.never_moved,
        "always_moved_together": learned.tied,
        "too_few_sessions": learned.too_few,
        "pad_noise_lb": none_or(learned.pad_noise, pounds),
        "pad_noise_used_lb": none_or(learned.pad_noise_used, pounds),
        "next_session": run and {"like": run.like, "change": run.moved, **step},
        "written": written,
        "old_file": none_or(kept, str),
    }


def learned_screen(
    car: Car, learned: Learned, written: dict[str, str], kept: Path | None, screen: Screen
) -> str:
    """The result of `bite --learn` for a racer."""
    lines = [f"{car.name}: bite learned from {learned.sessions} scale sessions", ""]
    lines += [
        row(name, _learned_words(name, rate.value, rate.half_width, rate.is_sure, screen))
        for name, rate in learned.rates.items()
    ]
    lines += _refusals(learned)
    if learned.pad_noise is not None:
        noise = f"about {screen.weight(learned.pad_noise, 1)}, as these sessions show it"
        if learned.pad_noise_used is not None:
            used = screen.weight(learned.pad_noise_used, 1)
            noise += f"; {used} reckoned with, as a few sessions may agree by luck"
        lines += ["", row("scatter of one pad", noise)]
    if learned.next_session is not None:
        lines += ["", paragraph(_next_words(learned, screen))]
    if written:
        told = ", ".join(f"{key} {value}" for key, value in written.items())
        lines += ["", paragraph(f"Written into the car file: {told}. The old file is {kept}")]
    return lay_out(lines, screen)


def _learned_words(name: str, rate: float, half: float, sure: bool, screen: Screen) -> str:
    low, high = (_rate_words(name, rate + side * half, screen) for side in (-1, 1))
    told = f"{_rate_words(name, rate, screen)}, between {low} and {high} 95 times in 100"
    if sure:
        return told
    if rate + half < 0:
        return f"{told}; the wrong way round: check left and right in the sessions"
    return f"{told}; not sure enough to use"


def _refusals(learned: Learned) -> list[str]:
    if learned.too_few:
        return [row("no figures", "too few sessions to tell a rate from the scatter of the pads")]
    lines = [row(name, "no figure: it never moved") for name in learned.never_moved]
    lines += [
        row(name, "no figure: it always moved together with "
            + " and ".join(other for other in group if other != name))
        for group in learned.tied
        for name in group
    ]  # fmt: skip
    if learned.alone:
        told = "the only session with the driver in, or out: nothing to compare it with"
        lines.append(row("left aside", told))
    return lines


def _next_words(learned: Learned, screen: Screen) -> str:
    run = learned.next_session
    assert run is not None
    if run.moved == UNTOUCHED:
        return (
            f'Next session to run: the car of "{run.like}" once more, untouched. Roll it off the '
            "pads and on again; that shows what your scales scatter by, and no change can be told "
            "from scatter before that is known."
        )
    if "jacks" in run.moved:
        corner = "left rear" if "rear" in run.moved else "right front"
        what = f"the {corner} jack {longer_words(run.step)}"
    else:
        verb = "more" if run.step > 0 else "less"
        what = f"{screen.tape(of_inches(abs(run.step)))} {verb} {run.moved}"
    return f'Next session to run: everything as in "{run.like}", but {what}. Change nothing else.'
