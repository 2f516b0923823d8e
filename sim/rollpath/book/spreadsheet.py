"""A plain spreadsheet of nights: date, track, car, stagger, best, as racers keep it.

Commas, semicolons or tabs; headings in his words; ``5/2/2026``, ``2026-05-02`` or ``2.5.2026``.
What has no place in a run goes into its note, so nothing typed is lost.
"""

import csv
import io
import re
import uuid
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from rollpath.book.run import BookError, Page, Run, settled, with_stagger
from rollpath.feel.answers import ANSWERS
from rollpath.units import INCH, QuantityError, parse, shorten

HEADINGS: dict[str, tuple[str, ...]] = {
    "date": ("date", "day", "night", "when"),
    "time": ("time", "clock"),
    "track": ("track", "where"),
    "car": ("car", "car number", "number"),
    "condition": ("surface", "condition"),
    "session": ("run", "session", "race", "event"),
    "stagger": ("stagger", "rear stagger"),
    "left_rear_rollout": ("left rear", "lr", "left rear rollout"),
    "right_rear_rollout": ("right rear", "rr", "right rear rollout"),
    "best_lap": ("best", "best lap", "fast lap", "lap"),
    "typical_lap": ("typical", "typical lap", "average", "average lap"),
    "optimum_stagger": ("physics", "optimum stagger"),
    "wheel": ("wheel",),
    "drifts_out": ("drifts out",),
    "crabs": ("crabs",),
    "wheelspin": ("wheelspin",),
    "entry": ("entry",),
    "note": ("note", "notes", "remarks"),
}
"""What a run holds, and the headings it is known by; a unit may follow in brackets."""
REQUIRED = ("date", "track", "car")
FIRST_RUN = time(18)
"""Of a night whose runs have no time: an hour of the evening, then half an hour apart."""
MOST_FAULTS = 20
MOST_ROWS = 20_000
_KINDS = {"best_lap": "time", "typical_lap": "time"}
_NAMESPACE = uuid.UUID("0b1c6a7e-6f0d-5b52-8a0e-3a9f2f6f1d57")
"""Of keys made from what a line says, so that the same file brings nothing twice."""
_SPLIT_DATE = re.compile(r"(\d{1,4})([/.-])(\d{1,2})\2(\d{1,4})")


def is_spreadsheet(text: str) -> bool:
    """Whether a table has the headings of a plain spreadsheet rather than those of an export."""
    head = text.lstrip("\ufeff \r\n").partition("\n")[0]
    words = _keys(next(csv.reader([head.strip("\r")], delimiter=_separator(head)), []))
    return "date" in words and ("stagger" in words or "when" not in _plain_words(head))


def from_spreadsheet(text: str, source: str) -> list[Page]:
    """The runs of a plain spreadsheet.

    Parameters
    ----------
    text, source : str
        Of the file, and what to call it.

    Raises
    ------
    BookError
        All the faults, each naming `source`, its line and its heading.
    """
    text = text.removeprefix("\ufeff")
    separator = _separator(text.lstrip().partition("\n")[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    if not rows:
        raise BookError([f"{source}: the file is empty"])
    (line, head), *body = rows
    keys = _keys(head)
    faults = [
        f"{source}:{line}: {name}: column missing; add one headed {name}"
        for name in REQUIRED
        if name not in keys
    ]
    faults += [
        f"{source}:{line}: {name}: column given twice" for name in HEADINGS if keys.count(name) > 1
    ]
    if len(body) > MOST_ROWS:
        faults.append(f"{source}: more than {MOST_ROWS} runs; split the file")
    _raise(faults)
    dates = [row[keys.index("date")].strip() for _, row in body if len(row) > keys.index("date")]
    day_first = _day_first(dates)
    pages: list[Page] = []
    counts: dict[tuple[date, str, str], int] = {}
    for line, row in body:
        try:
            cells = dict(zip(keys, (cell.strip() for cell in row), strict=False))
            extra = _left_over(head, keys, row)
            run = _run(cells, extra, separator == ";", day_first, counts)
            key = uuid.uuid5(_NAMESPACE, str(run)).hex
            pages.append(Page(key, len(pages) + 1, 1, run.when, run))
        except (BookError, ValueError) as error:
            told = error.lines if isinstance(error, BookError) else [str(error)]
            faults += [f"{source}:{line}: {one}" for one in told]
    _raise(faults)
    return pages


def _raise(faults: list[str]) -> None:
    if len(faults) > MOST_FAULTS:
        faults[MOST_FAULTS:] = [f"and {len(faults) - MOST_FAULTS} more like these"]
    if faults:
        raise BookError(faults)


def _separator(head: str) -> str:
    return max(",;\t", key=head.count)


def _plain_words(head: str) -> list[str]:
    return [_words(cell) for cell in re.split(r"[,;\t]", head)]


def _words(heading: str) -> str:
    """A heading as plain words, without the unit in its brackets."""
    bare = re.sub(r"[(\[].*?[)\]]", " ", heading.strip().strip('"'))
    return " ".join(re.sub(r"[\s_.-]+", " ", bare).lower().split())


def _keys(head: Sequence[str]) -> list[str]:
    """What each column is; empty where it is not known."""
    found = []
    for heading in head:
        words = _words(heading)
        found.append(next((key for key, names in HEADINGS.items() if words in names), ""))
    return found


def _left_over(head: Sequence[str], keys: Sequence[str], row: Sequence[str]) -> str:
    """Cells that have no place in a run, with their headings."""
    told = [
        f"{head[i].strip()}: {cell.strip()}" if i < len(head) and head[i].strip() else cell.strip()
        for i, cell in enumerate(row)
        if cell.strip() and (i >= len(keys) or not keys[i])
    ]
    return "; ".join(told)


def _run(
    cells: dict[str, str],
    extra: str,
    decimal_commas: bool,
    day_first: bool,
    counts: dict[tuple[date, str, str], int],
) -> Run:
    faults: list[str] = []
    values: dict[str, Any] = {
        name: cells[name] for name in ("track", "car", "session", "note") if cells.get(name)
    }
    faults += [f"{name}: missing" for name in REQUIRED if not cells.get(name)]
    if cells.get("condition"):
        values["condition"] = cells["condition"].lower()
    for name in (
        "stagger", "left_rear_rollout", "right_rear_rollout", "best_lap", "typical_lap",
        "optimum_stagger",
    ):  # fmt: skip
        text = cells.get(name, "")
        if text:
            try:
                plain = text.replace(",", ".") if decimal_commas else text
                values[name] = parse(plain, _KINDS.get(name, "tape"))
            except QuantityError as error:
                faults.append(f"{name.replace('_', ' ')}: {error}")
    _raise(faults)
    answers, others = _answers(cells)
    values |= answers
    told = (values.get("note"), *others, extra)
    values["note"] = "; ".join(one for one in told if one) or None
    values["when"] = _moment(cells, day_first, counts)
    stagger = values.pop("stagger", None)
    run = Run(**values)
    return settled(run if stagger is None else _with_stagger(run, stagger))


def _answers(cells: dict[str, str]) -> tuple[dict[str, str], list[str]]:
    """The driver's answers, and for the note what stands there in words of his own."""
    known, others = {}, []
    for name, words in ANSWERS.items():
        typed = cells.get(name, "")
        if typed.lower() in words:
            known[name] = typed.lower()
        elif typed:
            others.append(f"{name.replace('_', ' ')}: {typed}")
    return known, others


def _with_stagger(run: Run, stagger: float) -> Run:
    taped = run.rear_stagger
    if taped is None:
        return with_stagger(run, stagger)
    if abs(taped - stagger) > INCH / 16:
        raise ValueError("stagger: does not fit the left and right rear beside it")
    return run


def _moment(
    cells: dict[str, str], day_first: bool, counts: dict[tuple[date, str, str], int]
) -> datetime:
    day = _day(cells["date"], day_first)
    night = (day, cells["track"], cells["car"])
    counts[night] = counts.get(night, 0) + 1
    typed = cells.get("time", "")
    if typed:
        for form in ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M%p"):
            try:
                return datetime.combine(day, datetime.strptime(typed.upper(), form).time())
            except ValueError:
                continue
        raise ValueError(f'time: expected a time such as 20:15, got "{shorten(typed)}"')
    return datetime.combine(day, FIRST_RUN) + timedelta(minutes=30 * (counts[night] - 1) % 700)


def _day_first(dates: Sequence[str]) -> bool:
    """Whether ``5/2/2026`` is the fifth of February: only when a first number says so."""
    parts = [match for match in map(_SPLIT_DATE.match, dates) if match and match[2] == "/"]
    return any(12 < int(match[1]) <= 31 for match in parts) and not any(
        12 < int(match[3]) <= 31 for match in parts
    )


def _day(text: str, day_first: bool) -> date:
    """A date as it is typed: month first with strokes, day first with points, year first else."""
    match = _SPLIT_DATE.match(text)
    wrong = f'date: expected a date such as 5/2/2026 or 2026-05-02, got "{shorten(text)}"'
    if match is None:
        raise ValueError(wrong)
    a, sign, b, c = int(match[1]), match[2], int(match[3]), int(match[4])
    try:
        if len(match[1]) == 4:
            return date(a, b, c)
        year = c + 2000 if c < 100 else c
        return date(year, b, a) if sign == "." or day_first else date(year, a, b)
    except ValueError:
        raise ValueError(wrong) from None
