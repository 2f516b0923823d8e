"""Scale sessions: a CSV with one weighing of the car per row."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import ROLLOUT, WEIGHT
from rollpath.files.columns import read_entries
from rollpath.files.reading import Reader
from rollpath.files.schema import Field, FileError, choice, quantity, text_field
from rollpath.scales.learn import Differs, ScaleSession, weights_that_differ
from rollpath.screen import TRADE, Screen

_JACK = quantity(
    "turns", -100, 100, "between -100 and 100 turns",
    worth="turns of this jack from where they are counted; all four columns or none",
)  # fmt: skip
SESSION_SCHEMA: dict[str, Field] = {
    "session": text_field(default="its line", worth="what the weighing is called"),
    "driver": choice(["in", "out"], required=True, worth="whether he sat in the car"),
    "date": text_field(worth="the day"),
    "note": text_field(longest=400, worth="anything else"),
    **{
        f"{corner}_rollout": replace(
            ROLLOUT, required=True, default=None, worth="taped rollout of this tire"
        )
        for corner in CORNERS
    },
    **{f"{corner}_jack": _JACK for corner in CORNERS},
    **{
        f"{corner}_weight": replace(WEIGHT, required=True, default=None, worth="what this pad read")
        for corner in CORNERS
    },
}


PART_WORDS = {"total": "total", "left": "left side", "rear": "rear"}


def load_scale_sessions(path: str | Path, screen: Screen = TRADE) -> list[ScaleSession]:
    """Read a CSV of scale sessions, one weighing of the car per row.

    Columns, in any order: those of `SESSION_SCHEMA`. Each value carries its unit, or the heading
    does: ``left_rear_weight (lb)``.

    Parameters
    ----------
    path : str or Path
    screen : Screen
        Whose units a fault is told in.

    Raises
    ------
    FileError
        With every fault of the file, weights that do not belong together among them.
    """
    reader, entries = read_entries(path, SESSION_SCHEMA)
    _check_jacks(reader, entries)
    reader.raise_faults()
    if not entries:
        raise FileError([f"{path}: no sessions; add a row for each time the car was weighed"])
    sessions = [_session(line, values) for line, values in entries]
    for one in weights_that_differ(sessions):
        reader.fault(one.session.line, _differs_words(one, screen))
    reader.raise_faults()
    return sessions


def _differs_words(one: Differs, screen: Screen) -> str:
    seated = "in" if one.session.driver_in else "out"
    return (
        f"{one.session.label}: the {PART_WORDS[one.what]} weighs {screen.weight(one.found)}, in "
        f"the other sessions with the driver {seated} about {screen.weight(one.usual)}; weigh with "
        "the same fuel, ballast and driver"
    )


def _check_jacks(reader: Reader, entries: list[tuple[int, dict[str, Any]]]) -> None:
    """Jacks are recorded at all four corners in every session, or not at all."""
    jacks = [f"{corner}_jack" for corner in CORNERS]
    if any(jack in values for _, values in entries for jack in jacks):
        for line, values in entries:
            for jack in jacks:
                if jack not in values:
                    reader.fault(line, f"{jack}: missing; all four jacks, 0 where not turned")


def _session(line: int, values: dict[str, Any]) -> ScaleSession:
    def corners(what: str) -> Corners[Any]:
        return Corners(*(values[f"{corner}_{what}"] for corner in CORNERS))

    return ScaleSession(
        label=values.get("session") or f"line {line}",
        line=line,
        driver_in=values["driver"] == "in",
        rollouts=corners("rollout"),
        turns=corners("jack") if "left_rear_jack" in values else None,
        weights=corners("weight"),
    )
