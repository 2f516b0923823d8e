"""The plan of the night as the trailer keeps it, for `bolt --plan`."""

from collections.abc import Sequence
from pathlib import Path

from rollpath.corners import CORNERS, Corners
from rollpath.files.reading import Reader, read_yaml
from rollpath.files.schema import Entries, FileError, Group, Schema, quantity, text_field
from rollpath.files.trailers import plain_number, quoted
from rollpath.files.writing import write_whole
from rollpath.screen import psi
from rollpath.trailer.column import Column, Put
from rollpath.trailer.plan import MOST_RUNS
from rollpath.units import PSI

PLAN = "plan.yaml"
_PUT: Schema = {
    "tire": text_field(required=True, longest=20),
    "pressure": quantity("pressure", 1 * PSI, 150 * PSI, "a pressure between 1 and 150 psi"),
    "turns": quantity("turns", -100, 100, "up to 100 turns"),
}
PLAN_SCHEMA: Schema = {
    "runs": Entries(
        {
            "name": text_field(required=True),
            "surface": text_field(),
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


def load_plan(folder: Path) -> tuple[Column, ...]:
    """Read `plan.yaml`.

    Raises
    ------
    FileError
        With every fault of it, or if nothing was planned yet.
    """
    path = folder / PLAN
    if not path.is_file():
        raise FileError(['nothing is planned yet; rollpath plan --runs "heat: heavy" plans'])
    reader = Reader(path)
    values = reader.mapping(read_yaml(path), PLAN_SCHEMA)
    for i, run in enumerate(values.get("runs", [])):
        for corner in CORNERS:
            if corner not in run:
                line = reader.lines.get(f"runs.{i}", 1)
                reader.fault(line, f"{corner}: missing; plan again")
    reader.raise_faults()
    return tuple(
        Column(
            run["name"],
            run.get("surface", ""),
            Corners(
                *(
                    Put(there["tire"], there.get("pressure"), there.get("turns", 0.0))
                    for there in (run[corner] for corner in CORNERS)
                )
            ),
        )
        for run in values.get("runs", [])
    )
