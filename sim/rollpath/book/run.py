"""What a run holds.

A key is added to a run by one line in `Run`. The column of the book, the heading of the CSV, the
key of the JSON, the option of `notebook add` and the row of `notebook show` all come of it.
Lengths, weights and pressures are SI, settled to a millionth of their trade unit, far below what
a tape or a scale can tell; so what goes out in trade units comes back exactly the same.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from rollpath.corners import CORNERS
from rollpath.errors import RollpathError
from rollpath.feel.answers import ANSWERS
from rollpath.screen import TRADE_UNITS
from rollpath.units import KINDS, parse


class BookError(RollpathError):
    """What is wrong with a notebook or with what was to go into it, one line each."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


LONGEST_NOTE = 20_000
"""Characters; ten pages (engineering judgement)."""
NIGHT_ENDS = timedelta(hours=6)
"""A run before six in the morning belongs to the night before."""
EVENING = time(20)
"""When a run was that is told by its date alone. Engineering judgement: mid-programme."""
EARLIEST = 1950
"""Year; a run before it is a slip of the pen."""
_UNITS = {**TRADE_UNITS, "turns": "turns"}


def _held(kind: str, least: float = 0.0, most: float = 0.0, **more: Any) -> Any:
    """One thing that a run holds; see `Entry`. Ranges in trade units."""
    return field(default=None, metadata={"kind": kind, "least": least, "most": most, **more})


def _words(*words: str) -> Any:
    return _held("word", words=words)


def _tire() -> Any:
    return _held("text", longest=40)


def _rollout() -> Any:
    return _held("tape", 20.0, 160.0)


def _weight() -> Any:
    return _held("weight", 0.0, 4500.0)


def _jack() -> Any:
    return _held("turns", -200.0, 200.0)


def _pressure() -> Any:
    return _held("pressure", 0.0, 100.0)


def _lap() -> Any:
    return _held("time", 1.0, 3600.0)


def _advised() -> Any:
    return _held("tape", -12.0, 24.0, typed=False)


def _answer(name: str) -> Any:
    return _words(*ANSWERS[name])


@dataclass(frozen=True)
class Run:
    """One run: the car as it was, what was advised, what came of it. SI; None is not known.

    Keys are only ever added, and keep their order: seals are made in it.

    Attributes
    ----------
    when : datetime
        Local time by the clock on the wall.
    session : str
        Such as ``hot laps``, ``heat 1``, ``feature``.
    left_front_tire, ... : str
        What the tire is called in the rack.
    told_stagger : float
        Rear stagger as it was said, where the rear rollouts are not known, m.
    weights_from : str
        ``scales``, or ``predicted`` when the pads were not under the car as it ran.
    wheel, drifts_out, crabs, wheelspin, entry : str
        The driver's answers, words of `debrief.ANSWERS`.
    left_front_jack, ... : float
        Turns in from where this car's jacks are counted from.
    recommended_stagger, optimum_stagger : float
        What rollpath's physics said then, rounded to tape and not, no correction in it, m.
    window_low, window_high : float
        The stagger window then, m.
    counts : str
        ``no`` for a run that says nothing about the car: a flat, a wreck, yellows.
    """

    when: datetime = field(metadata={"kind": "moment"})
    track: str = field(metadata={"kind": "text"})
    car: str = field(metadata={"kind": "text"})
    condition: str | None = _held("text")
    session: str | None = _held("text")
    groove: str | None = _held("text")
    left_front_tire: str | None = _tire()
    right_front_tire: str | None = _tire()
    left_rear_tire: str | None = _tire()
    right_rear_tire: str | None = _tire()
    left_front_rollout: float | None = _rollout()
    right_front_rollout: float | None = _rollout()
    left_rear_rollout: float | None = _rollout()
    right_rear_rollout: float | None = _rollout()
    told_stagger: float | None = _held("tape", -8.0, 8.0)
    left_front_weight: float | None = _weight()
    right_front_weight: float | None = _weight()
    left_rear_weight: float | None = _weight()
    right_rear_weight: float | None = _weight()
    weights_from: str | None = _words("scales", "predicted")
    left_front_jack: float | None = _jack()
    right_front_jack: float | None = _jack()
    left_rear_jack: float | None = _jack()
    right_rear_jack: float | None = _jack()
    left_front_pressure: float | None = _pressure()
    right_front_pressure: float | None = _pressure()
    left_rear_pressure: float | None = _pressure()
    right_rear_pressure: float | None = _pressure()
    wheel: str | None = _answer("wheel")
    drifts_out: str | None = _answer("drifts_out")
    crabs: str | None = _answer("crabs")
    wheelspin: str | None = _answer("wheelspin")
    entry: str | None = _answer("entry")
    best_lap: float | None = _lap()
    typical_lap: float | None = _lap()
    recommended_stagger: float | None = _advised()
    optimum_stagger: float | None = _advised()
    window_low: float | None = _advised()
    window_high: float | None = _advised()
    counts: str | None = _words("yes", "no")
    note: str | None = _held("text", longest=LONGEST_NOTE)

    @classmethod
    def of(cls, **typed: Any) -> "Run":
        """A run from trade text, such as ``left_rear_rollout="83 3/4 in", best_lap="17.84 s"``.

        Parameters
        ----------
        **typed
            Attributes of a run; `when` is now unless it is given, and may be text.

        Raises
        ------
        BookError
            One line for each thing that cannot be kept.
        """
        values: dict[str, Any] = {"when": datetime.now(), "track": "", "car": ""}
        faults = [f"{name}: no such thing of a run" for name in typed if name not in BY_NAME]
        for name in typed.keys() & BY_NAME.keys():
            try:
                values[name] = typed_value(BY_NAME[name], typed[name])
            except ValueError as error:
                faults.append(f"{name}: {error}")
        if faults:
            raise BookError(faults)
        return settled(cls(**values))

    @property
    def rear_stagger(self) -> float | None:
        """Right rear rollout minus left rear rollout, or as it was told."""
        taped = _minus(self.right_rear_rollout, self.left_rear_rollout)
        return self.told_stagger if taped is None else taped

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
    kind : str
        A key of `units.KINDS`, or ``moment``, ``word`` or ``text``.
    least, most : float
        Range in trade units.
    words : tuple of str
        Answers allowed to a ``word``.
    longest : int
        Characters of a ``text``.
    typed : bool
        A person says it; else rollpath works it out.
    """

    name: str
    kind: str
    least: float = 0.0
    most: float = 0.0
    words: tuple[str, ...] = ()
    longest: int = 80
    typed: bool = True

    @property
    def unit(self) -> float:
        """SI units in one trade unit; 0 for what is no number."""
        return KINDS[self.kind].units[_UNITS[self.kind]] if self.kind in _UNITS else 0.0

    @property
    def key(self) -> str:
        """Its name in CSV and JSON, which ends in its unit."""
        return f"{self.name}_{_UNITS[self.kind]}" if self.kind in _UNITS else self.name

    @property
    def thing(self) -> str:
        """What it is of one corner, such as ``rollout``; empty for what is of the whole car."""
        corner = next((one for one in CORNERS if self.name.startswith(f"{one}_")), None)
        return self.name.removeprefix(f"{corner}_") if corner else ""


LARGEST_NUMBER = 10**9
ENTRIES: tuple[Entry, ...] = tuple(Entry(one.name, **one.metadata) for one in fields(Run))
BY_KEY = {entry.key: entry for entry in ENTRIES}
BY_NAME = {entry.name: entry for entry in ENTRIES}
NAMES = tuple(BY_NAME)
UNIT_OF = {entry.name: entry.unit for entry in ENTRIES}
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
    return run_of({name: getattr(run, name) for name in NAMES}, settled_value)


def run_of(values: Mapping[str, Any], read: Callable[[Entry, Any], Any]) -> Run:
    """A run of values by attribute, each as `read` makes it; what is not there is not known.

    Raises
    ------
    BookError
        One line for each value that cannot be kept.
    """
    known: dict[str, Any] = {}
    faults = []
    for entry in ENTRIES:
        value = values.get(entry.name)
        if value is None and entry.name not in REQUIRED:
            continue  # most of a run, most of the time
        try:
            known[entry.name] = read(entry, value)
        except ValueError as error:
            faults.append(f"{entry.key}: {error}")
    if faults:
        raise BookError(faults)
    return Run(**known)


def settled_value(entry: Entry, value: Any) -> Any:
    if value is None or value == "":
        if entry.name in REQUIRED:
            raise ValueError("missing")
        return None
    if entry.kind == "moment":
        return by_the_clock(value)
    if UNIT_OF[entry.name]:
        return _settled_number(entry, float(value))
    return _settled_text(entry, value)


def _settled_number(entry: Entry, value: float) -> float:
    unit = UNIT_OF[entry.name]
    trade = round(value / unit, _MILLIONTH) if math.isfinite(value) else math.nan
    if not entry.least <= trade <= entry.most:
        raise ValueError(f"expected a number from {entry.least:g} to {entry.most:g}, got {trade:g}")
    return trade * unit + 0.0  # + 0.0 makes a negative zero plain


def _settled_text(entry: Entry, text: object) -> str:
    if not isinstance(text, str) or any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("expected text")
    if entry.words and text not in entry.words:
        raise ValueError(f'expected one of {", ".join(entry.words)}, got "{text[:40]}"')
    if len(text) > entry.longest:
        raise ValueError(f"expected at most {entry.longest} characters, got {len(text)}")
    return text


def typed_value(entry: Entry, value: Any) -> Any:
    """A value as a person types it: trade text, or SI already."""
    if not isinstance(value, str) or entry.kind in ("word", "text"):
        return value
    return moment_read(value) if entry.kind == "moment" else parse(value, entry.kind)


def value_out(entry: Entry, value: Any) -> str | float | None:
    """A value as it leaves the book: trade units, rounded to what was kept."""
    if value is None:
        return None
    if unit := UNIT_OF[entry.name]:
        return round(float(value) / unit, _MILLIONTH)
    return value.isoformat() if isinstance(value, datetime) else str(value)


def value_in(entry: Entry, value: object) -> Any:
    """A value that comes in as `value_out` wrote it, from CSV as text or from JSON."""
    if value is None or value == "":
        return None
    if entry.kind == "moment":
        return moment_read(value)
    unit = UNIT_OF[entry.name]
    return _plain_number(entry, value) * unit if unit else value


def _plain_number(entry: Entry, value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            return float(value)
    except (ValueError, OverflowError):
        pass
    raise ValueError(f'expected a plain number of {_UNITS[entry.kind]}, got "{str(value)[:40]}"')


# Time


def moment_read(value: object) -> datetime:
    """A time such as ``2026-05-02T21:40``, by the clock on the wall.

    A date alone means that evening. A time with its zone is turned to the time here.

    Raises
    ------
    ValueError
    """
    text = str(value).strip()
    try:
        return datetime.combine(date.fromisoformat(text), EVENING)
    except ValueError:
        pass
    try:
        return by_the_clock(datetime.fromisoformat(text))
    except ValueError:
        raise ValueError(f'expected a time such as 2026-05-02T21:40, got "{text[:40]}"') from None


def by_the_clock(moment: datetime) -> datetime:
    """A time by the clock on the wall here, its zone taken into account and then left out."""
    try:
        return moment.astimezone().replace(tzinfo=None) if moment.tzinfo else moment
    except (OverflowError, OSError):
        raise ValueError(f"a time that no clock shows here: {moment.isoformat()}") from None


def evening_of(moment: datetime) -> date:
    """The day of the night that a moment belongs to."""
    return (moment - NIGHT_ENDS).date()


def with_stagger(run: Run, stagger: float) -> Run:
    """The run with a rear stagger that was told.

    Where the rollout of one rear tire is known the other's follows from it, the right's where
    both are; else the stagger is kept as it was told.
    """
    if run.left_rear_rollout is not None:
        return replace(run, right_rear_rollout=run.left_rear_rollout + stagger)
    if run.right_rear_rollout is not None:
        return replace(run, left_rear_rollout=run.right_rear_rollout - stagger)
    return replace(run, told_stagger=stagger)


def stored(run: Run) -> dict[str, str | float]:
    """What a run holds, by column; what is not known left out."""
    values: dict[str, Any] = {name: getattr(run, name) for name in NAMES}
    values["when"] = run.when.isoformat()
    return {name: value for name, value in values.items() if value is not None}
