"""Files to objects and back: every fault told in one line, files written whole or not at all.

`schema` reads YAML against a schema, collects all the faults of a file and raises them together as
`FileError`; physics code below this room may then trust its numbers. `tracks`, `cars`, `racks`,
`sessions` and `logs` are what a racer files, `sweeps` runs one number of it through a range, and
`writing` puts it back.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from sim.files.cars import (
    LEAST_STAGGER,
    MOST_STAGGER,
    car_from_values,
    check_change,
    load_car,
    load_car_values,
)
from sim.files.demo import copy_demo_data, demo_folder
from sim.files.schema import LONGEST_FAULT, FileError, read_text, read_yaml
from sim.files.sweeps import Sweep, read_sweep
from sim.files.tracks import (
    check_measurements,
    load_track,
    load_track_values,
    track_from_values,
    track_text,
)
from sim.files.writing import check_new, edit_yaml, make_folder, write_new, write_whole

if TYPE_CHECKING:
    from sim.files.columns import Column, read_columns
    from sim.files.logs import (
        POINT_COLUMNS,
        RUN_COLUMNS,
        load_points,
        load_position_log,
        load_run_log,
        points_text,
    )
    from sim.files.racks import load_rack, record_taping
    from sim.files.sessions import load_scale_sessions

__all__ = [
    "LEAST_STAGGER",
    "LONGEST_FAULT",
    "MOST_STAGGER",
    "POINT_COLUMNS",
    "RUN_COLUMNS",
    "Column",
    "FileError",
    "Sweep",
    "car_from_values",
    "check_change",
    "check_measurements",
    "check_new",
    "copy_demo_data",
    "demo_folder",
    "edit_yaml",
    "load_car",
    "load_car_values",
    "load_points",
    "load_position_log",
    "load_rack",
    "load_run_log",
    "load_scale_sessions",
    "load_track",
    "load_track_values",
    "make_folder",
    "points_text",
    "read_columns",
    "read_sweep",
    "read_text",
    "read_yaml",
    "record_taping",
    "track_from_values",
    "track_text",
    "write_new",
    "write_whole",
]

_ROOMS = {
    "Column": "columns",
    "POINT_COLUMNS": "logs",
    "RUN_COLUMNS": "logs",
    "load_points": "logs",
    "load_position_log": "logs",
    "load_rack": "racks",
    "load_run_log": "logs",
    "load_scale_sessions": "sessions",
    "points_text": "logs",
    "read_columns": "columns",
    "record_taping": "racks",
}
"""Names whose room is entered when first asked for, as a baseline needs none of them."""


def __getattr__(name: str) -> Any:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"sim.files.{_ROOMS[name]}"), name)
