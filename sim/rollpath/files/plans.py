"""The plan of the night as the trailer keeps it, for `bolt --plan`."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rollpath.corners import CORNERS, Corners
from rollpath.files.reading import Reader, read_yaml
from rollpath.files.schema import Entries, FileError, Group, Schema, quantity, text_field
from rollpath.files.trailers import plain_number, quoted
from rollpath.files.writing import write_whole
from rollpath.screen import psi
from rollpath.trailer.column import Column, Put, column_named, taken_over
from rollpath.trailer.night import Night
from rollpath.trailer.plan import MOST_RUNS
from rollpath.trailer.trailer import Trailer, TrailerError
from rollpath.units import PSI

PLAN = "plan.yaml"
AGAIN = "rollpath plan writes it anew"
_PUT: Schema = {
    "tire": text_field(required=True, longest=20, worth="what is chalked on it; the rack has it"),
    "pressure": quantity(
        "pressure", 1 * PSI, 150 * PSI, "a pressure between 1 and 150 psi",
        default="the rack's", worth="cold",
    ),
    "turns": quantity(
        "turns", -100, 100, "up to 100 turns", default=0.0,
        worth="of the jack, from where they are counted",
    ),
}  # fmt: skip
PLAN_SCHEMA: Schema = {
    "runs": Entries(
        {
            "name": text_field(required=True, worth="what bolt --plan calls the run"),
            "surface": text_field(default="not said", worth="it was planned for"),
            **dict.fromkeys(CORNERS, Group(_PUT)),
        },
        MOST_RUNS,
    )
}


def save_plan(folder: Path, columns: Sequence[Column]) -> Path:
    """Write `plan.yaml`, whole or not at all, in place of the plan before.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    lines = ["# The last plan, written by rollpath plan; rollpath bolt --plan RUN takes one over."]
    lines.append("runs:")
    for column in columns:
        lines.append(f"  - name: {quoted(column.name)}")
        lines += [f"    surface: {quoted(column.condition)}"] if column.condition else []
        for corner, put in column.corners.by_name().items():
            told = [
                f"tire: {quoted(put.tire)}",
                *(
                    []
                    if put.pressure is None
                    else [f"pressure: {plain_number(float(psi(put.pressure)))} psi"]
                ),
                *([f"turns: {plain_number(put.turns)} turns"] if put.turns else []),
            ]
            lines.append(f"    {corner}: {{{', '.join(told)}}}")
    path = folder / PLAN
    write_whole(path, "\n".join(lines) + "\n")
    return path


def planned_night(trailer: Trailer, typed: str) -> Night:
    """The night with all that a run of the last plan puts on the car.

    Parameters
    ----------
    trailer : Trailer
    typed : str
        Name of the run.

    Raises
    ------
    TrailerError
        If the plan has no such run.
    FileError
        If nothing was planned yet, with every fault of the plan, or if a tire of it cannot go on.
    """
    path = trailer.folder / PLAN
    reader, columns = _read_plan(path)
    column = column_named(columns, typed)
    try:
        return taken_over(trailer, column)
    except TrailerError as error:
        line = reader.lines[f"runs.{columns.index(column)}"]
        raise FileError([f"{path}:{line}: {column.name}: {error}; {AGAIN}"]) from None


def _read_plan(path: Path) -> tuple[Reader, tuple[Column, ...]]:
    if not path.is_file():
        raise FileError(['nothing is planned yet; rollpath plan --runs "heat: heavy" plans'])
    reader = Reader(path)
    values = reader.mapping(read_yaml(path), PLAN_SCHEMA)
    runs = values.get("runs", [])
    _check_runs(reader, runs)
    reader.raise_faults()
    return reader, tuple(map(_column, runs))


def _check_runs(reader: Reader, runs: Sequence[dict[str, Any]]) -> None:
    """Faults that show only between the keys of a run, or between runs."""
    if not runs and not reader.faults and "runs" not in reader.lines:
        reader.fault(1, f"runs: missing; {AGAIN}")
    for i, run in enumerate(runs):
        line = reader.lines.get(f"runs.{i}", 1)
        for corner in CORNERS:
            if corner not in run and f"runs.{i}.{corner}" not in reader.lines:
                reader.fault(line, f"{corner}: missing; {AGAIN}")
        tires = [run[corner].get("tire") for corner in CORNERS if corner in run]
        twice = next((one for one in tires if one and tires.count(one) > 1), None)
        if twice:
            reader.fault(line, f"{twice}: is on two corners; {AGAIN}")
        if any(one.get("name") == run.get("name") for one in runs[:i]):
            reader.fault_at(f"runs.{i}.name", f"another run has this name; {AGAIN}")


def _column(run: dict[str, Any]) -> Column:
    puts = (
        Put(there["tire"], there.get("pressure"), there.get("turns", 0.0))
        for there in (run[corner] for corner in CORNERS)
    )
    return Column(run["name"], run.get("surface", ""), Corners(*puts))
