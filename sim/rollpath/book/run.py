"""What a run holds, and how it leaves the notebook and comes in again as CSV or JSON.

Lengths, weights and pressures are SI, settled to a millionth of their trade unit, far below what
a tape or a scale can tell; so what goes out in trade units comes back exactly the same.
"""

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from rollpath.corners import CORNERS
from rollpath.debrief import ANSWERS
from rollpath.errors import RollpathError
from rollpath.units import INCH, POUND, PSI


class BookError(RollpathError):
    """What is wrong with a notebook or with what was to go into it, one line each."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


@dataclass(frozen=True)
class Run:
    """One run: the car as it was, what was advised, what came of it. SI; None is not known.

    Attributes
    ----------
    when : datetime
        Local time by the clock on the wall.
    session : str
        Such as ``hot laps``, ``heat 1``, ``feature``.
    weights_from : str
        ``scales``, or ``predicted`` when the pads were not under the car as it ran.
    wheel, drifts_out, crabs, wheelspin, entry : str
        The driver's answers, words of `verdict.ANSWERS`.
    left_front_jack, ... : float
        Turns in from where this car's jacks are counted from.
    recommended_stagger, optimum_stagger : float
        What rollpath's physics said then, rounded to tape and not, no correction in it, m.
    window_low, window_high : float
        The stagger window then, m.
    counts : str
        ``no`` for a run that says nothing about the car: a flat, a wreck, yellows.
    """

    when: datetime
    track: str
    car: str
    condition: str | None = None
    session: str | None = None
    groove: str | None = None
    left_front_rollout: float | None = None
    right_front_rollout: float | None = None
    left_rear_rollout: float | None = None
    right_rear_rollout: float | None = None
    left_front_weight: float | None = None
    right_front_weight: float | None = None
    left_rear_weight: float | None = None
    right_rear_weight: float | None = None
    weights_from: str | None = None
    left_front_jack: float | None = None
    right_front_jack: float | None = None
    left_rear_jack: float | None = None
    right_rear_jack: float | None = None
    left_front_pressure: float | None = None
    right_front_pressure: float | None = None
    left_rear_pressure: float | None = None
    right_rear_pressure: float | None = None
    wheel: str | None = None
    drifts_out: str | None = None
    crabs: str | None = None
    wheelspin: str | None = None
    entry: str | None = None
    best_lap: float | None = None
    typical_lap: float | None = None
    recommended_stagger: float | None = None
    optimum_stagger: float | None = None
    window_low: float | None = None
    window_high: float | None = None
    counts: str | None = None
    note: str | None = None

    @property
    def rear_stagger(self) -> float | None:
        """Right rear rollout minus left rear rollout."""
        return _minus(self.right_rear_rollout, self.left_rear_rollout)

    @property
    def front_stagger(self) -> float | None:
        return _minus(self.right_front_rollout, self.left_front_rollout)

    @property
    def bite(self) -> float | None:
        """Left rear minus right rear scale weight."""
        return _minus(self.left_rear_weight, self.right_rear_weight)

    @property
    def off_optimum(self) -> float | None:
        """Stagger fitted minus the optimum by physics; positive is more stagger than advised."""
        return _minus(self.rear_stagger, self.optimum_stagger)


def _minus(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b


@dataclass(frozen=True)
class Page:
    """A run as it stood in the book at one time; the highest revision of a key is in force.

    Attributes
    ----------
    key : str
        The same for a run in every book it is copied to.
    number : int
        What a person calls the run in this book.
    """

    key: str
    number: int
    revision: int
    written: datetime
    run: Run


@dataclass(frozen=True)
class Entry:
    """One thing that a run holds.

    Attributes
    ----------
    name : str
        The attribute of `Run`, and the column of the book.
    key : str
        Its name in CSV and JSON, which ends in its unit.
    unit : float
        SI units in one trade unit; 0 for text.
    least, most : float
        Range in trade units.
    words : tuple of str
        Answers allowed; any text when empty.
    """

    name: str
    key: str
    unit: float = 0.0
    least: float = 0.0
    most: float = 0.0
    words: tuple[str, ...] = ()
    longest: int = 80


def _of_corners(thing: str, suffix: str, unit: float, least: float, most: float) -> list[Entry]:
    names = [f"{corner}_{thing}" for corner in CORNERS]
    return [Entry(name, f"{name}{suffix}", unit, least, most) for name in names]


def _staggers(*names: str) -> list[Entry]:
    return [Entry(name, f"{name}_in", INCH, -12.0, 24.0) for name in names]


LONGEST_NOTE = 20_000
"""Characters; ten pages (engineering judgement)."""
LARGEST_NUMBER = 10**9
ENTRIES: tuple[Entry, ...] = (
    Entry("when", "when"),
    Entry("track", "track"),
    Entry("car", "car"),
    Entry("condition", "condition"),
    Entry("session", "session"),
    Entry("groove", "groove"),
    *_of_corners("rollout", "_in", INCH, 20.0, 160.0),
    *_of_corners("weight", "_lb", POUND, 0.0, 4500.0),
    Entry("weights_from", "weights_from", words=("scales", "predicted")),
    *_of_corners("jack", "_turns", 1.0, -200.0, 200.0),
    *_of_corners("pressure", "_psi", PSI, 0.0, 100.0),
    *(Entry(name, name, words=tuple(words)) for name, words in ANSWERS.items()),
    Entry("best_lap", "best_lap_s", 1.0, 1.0, 3600.0),
    Entry("typical_lap", "typical_lap_s", 1.0, 1.0, 3600.0),
    *_staggers("recommended_stagger", "optimum_stagger", "window_low", "window_high"),
    Entry("counts", "counts", words=("yes", "no")),
    Entry("note", "note", longest=LONGEST_NOTE),
)
BY_KEY = {entry.key: entry for entry in ENTRIES}
NAMES = tuple(entry.name for entry in ENTRIES)
REQUIRED = ("when", "track", "car")
_MILLIONTH = 6
"""Decimals of a trade unit that are kept."""


# One value in and out


def settled(run: Run) -> Run:
    """The run as a book keeps it: checked, numbers settled, empty text as None.

    Raises
    ------
    BookError
        One line for each thing that cannot be kept.
    """
    values: dict[str, Any] = {}
    faults = []
    for entry in ENTRIES:
        try:
            values[entry.name] = settled_value(entry, getattr(run, entry.name))
        except ValueError as error:
            faults.append(f"{entry.key}: {error}")
    if faults:
        raise BookError(faults)
    return Run(**values)


def settled_value(entry: Entry, value: Any) -> Any:
    if value is None or value == "":
        if entry.name in REQUIRED:
            raise ValueError("missing")
        return None
    if entry.name == "when":
        return value.replace(tzinfo=None)
    if entry.unit:
        return _settled_number(entry, float(value))
    return _settled_text(entry, value)


def _settled_number(entry: Entry, value: float) -> float:
    trade = round(value / entry.unit, _MILLIONTH) if math.isfinite(value) else math.nan
    if not entry.least <= trade <= entry.most:
        raise ValueError(f"expected a number from {entry.least:g} to {entry.most:g}, got {trade:g}")
    return trade * entry.unit + 0.0  # + 0.0 makes a negative zero plain


def _settled_text(entry: Entry, text: object) -> str:
    if not isinstance(text, str) or any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("expected text")
    if entry.words and text not in entry.words:
        raise ValueError(f'expected one of {", ".join(entry.words)}, got "{text[:40]}"')
    if len(text) > entry.longest:
        raise ValueError(f"expected at most {entry.longest} characters, got {len(text)}")
    return text


def value_out(entry: Entry, value: Any) -> str | float | None:
    """A value as it leaves the book: trade units, rounded to what was kept."""
    if value is None:
        return None
    if entry.unit:
        return round(float(value) / entry.unit, _MILLIONTH)
    return value.isoformat() if isinstance(value, datetime) else str(value)


def value_in(entry: Entry, value: object) -> Any:
    """A value that comes in as `value_out` wrote it, from CSV as text or from JSON."""
    if value is None or value == "":
        return None
    if entry.name == "when":
        return moment_read(value)
    if not entry.unit:
        return value
    return _plain_number(entry, value) * entry.unit


def _plain_number(entry: Entry, value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            return float(value)
    except (ValueError, OverflowError):
        pass
    unit = entry.key.rpartition("_")[2]
    raise ValueError(f'expected a plain number of {unit}, got "{str(value)[:40]}"')


def moment_read(value: object) -> datetime:
    try:
        return datetime.fromisoformat(str(value)).replace(tzinfo=None)
    except ValueError:
        raise ValueError(
            f'expected a time such as 2026-05-02T21:40, got "{str(value)[:40]}"'
        ) from None


def stored(run: Run) -> dict[str, str | float]:
    """What a run holds, by column; what is not known left out."""
    values: dict[str, Any] = {name: getattr(run, name) for name in NAMES}
    values["when"] = run.when.isoformat()
    return {name: value for name, value in values.items() if value is not None}
