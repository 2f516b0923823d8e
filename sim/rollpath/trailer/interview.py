"""The questions that set a trailer up, and the files their answers make."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rollpath.corners import CORNERS
from rollpath.errors import RollpathError
from rollpath.trailer.trailer import plain_name
from rollpath.units import parse, with_unit


class AnswerError(RollpathError):
    """An answer that cannot be read; the message is one line for the racer."""


@dataclass(frozen=True)
class Question:
    """One question of the interview.

    Attributes
    ----------
    name : str
        Its option, ``--name``.
    asks : str
        Word for a question in `show`, which holds the sentences.
    kind : str
        A key of `units.KINDS`, or ``word`` or ``tires``.
    count : int
        How many values it takes in one line.
    """

    name: str
    kind: str
    count: int = 1


QUESTIONS = (
    Question("track", "word"),
    Question("radius", "length"),
    Question("straight", "length"),
    Question("surface", "surface"),
    Question("rear", "tape", 2),
    Question("front", "tape", 2),
    Question("pads", "weight", 4),
    Question("pressures", "pressure", 4),
    Question("power", "power"),
    Question("tires", "tires"),
    Question("name", "word"),
)

_VALUE = re.compile(
    r"[+-]?\d+(?:[.,]\d+)?(?:(?:\s+|-)\d+/\d+|/\d+)?\s*(?:inches|inch|in\b|\"|lbs?|psi|kpa|mm|cm|kg|n\b)?",
    re.IGNORECASE,
)


def values_of(text: str, kind: str, count: int) -> list[str]:
    """Several values typed in one line, each with its unit: ``83 3/4 86 1/4``, ``812, 741, ...``.

    Parameters
    ----------
    text : str
    kind : str
        A key of `units.KINDS`.
    count : int

    Raises
    ------
    AnswerError
        If there are not as many as wanted, or one cannot be read.
    """
    found = [one.strip() for one in _VALUE.findall(text)]
    if len(found) != count or _VALUE.sub("", text).strip(" ,;/"):
        raise AnswerError(f"expected {count} values, got {len(found)}")
    told = [with_unit(one, kind) for one in found]
    for one in told:
        parse(one, kind)
    return told


def tires_of(text: str) -> list[tuple[str, str]]:
    """Tires of a rack typed in one line: id and rollout, such as ``L5 83-1/2, R7 86-1/4``.

    Raises
    ------
    AnswerError
    """
    tires: list[tuple[str, str]] = []
    parts = re.split(r"[,;]", text) if re.search(r"[,;]", text) else _pairs(text)
    for part in parts:
        name, _, rollout = part.strip().replace("=", " ").partition(" ")
        if not name or not rollout.strip():
            raise AnswerError('expected id and rollout, such as "L5 83-1/2, R7 86-1/4"')
        told = with_unit(rollout.strip(), "tape")
        parse(told, "tape")
        if name.casefold() in [one.casefold() for one, _ in tires]:
            raise AnswerError(f"{name} is given twice")
        tires.append((name, told))
    return tires


def _pairs(text: str) -> list[str]:
    """Ids and rollouts without commas between: every second word is an id."""
    words = text.replace("=", " ").split()
    joined: list[str] = []
    for word in words:  # a fraction belongs to the number before it
        if joined and re.fullmatch(r"\d+/\d+", word):
            joined[-1] += f"-{word}"
        else:
            joined.append(word)
    return [" ".join(joined[i : i + 2]) for i in range(0, len(joined), 2)]


# The files


def track_file(answers: Mapping[str, str]) -> tuple[str, str] | None:
    """Name and text of the track's file; None when its shape was not said."""
    if "radius" not in answers or "straight" not in answers:
        return None
    name = answers.get("track", "tonight")
    lines = [f"name: {_text(name)}", f"inside_radius: {answers['radius']}",
             f"straight: {answers['straight']}"]  # fmt: skip
    return plain_name(name) or "tonight", "\n".join(lines) + "\n"


def car_file(answers: Mapping[str, str]) -> str:
    """Text of the car's file: what was said, and nothing else."""
    lines = [f"name: {_text(answers.get('name', 'our car'))}"]
    for axle in ("front", "rear"):
        if axle in answers:
            left, right = values_of(answers[axle], "tape", 2)
            lines += [f"{axle}:", f"  left: {{rollout: {_text(left)}}}",
                      f"  right: {{rollout: {_text(right)}}}"]  # fmt: skip
    if "pads" in answers:
        pads = values_of(answers["pads"], "weight", 4)
        told = ", ".join(f"{corner}: {pad}" for corner, pad in zip(CORNERS, pads, strict=True))
        lines.append(f"weights: {{{told}}}")
    if "pressures" in answers:
        four = values_of(answers["pressures"], "pressure", 4)
        told = ", ".join(f"{corner}: {psi}" for corner, psi in zip(CORNERS, four, strict=True))
        lines.append(f"pressure: {{{told}}}")
    if "power" in answers:
        lines.append(f"power: {answers['power']}")
    return "\n".join(lines) + "\n"


def rack_file(answers: Mapping[str, str]) -> str | None:
    """Text of the rack's file: the tires named, and those on the car by their corner; None when no
    tire was said."""
    there: list[tuple[str, str]] = []
    for axle in ("front", "rear"):
        if axle in answers:
            pair = values_of(answers[axle], "tape", 2)
            there += [
                (f"{side}_{axle}", one) for side, one in zip(("left", "right"), pair, strict=True)
            ]
    named = tires_of(answers["tires"]) if "tires" in answers else []
    if not there and not named:
        return None
    lines = [f"name: {_text(answers.get('name', 'our car') + ' tires')}"]
    if "pressures" in answers:
        four = values_of(answers["pressures"], "pressure", 4)
        told = ", ".join(f"{corner}: {psi}" for corner, psi in zip(CORNERS, four, strict=True))
        lines.append(f"running_pressure: {{{told}}}")
    lines.append("tires:")
    for corner, rollout in there:
        short = "".join(word[0] for word in corner.split("_")).upper()
        lines.append(f"  - {{id: {short}, rollout: {_text(rollout)}}}")
    lines += [f"  - {{id: {_text(name)}, rollout: {_text(rollout)}}}" for name, rollout in named]
    return "\n".join(lines) + "\n"


def on_car(answers: Mapping[str, str]) -> dict[str, str]:
    """Tire of the rack on each corner that was said."""
    return {
        f"{side}_{axle}": f"{side[0]}{axle[0]}".upper()
        for axle in ("front", "rear") if axle in answers
        for side in ("left", "right")
    }  # fmt: skip


def _text(value: str) -> str:
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
