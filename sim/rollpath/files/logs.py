"""What was recorded or taped as points: position logs, lines and runs."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from rollpath.files.columns import columns_named, read_columns, seconds_of
from rollpath.files.gpx import is_xml, read_gpx
from rollpath.files.schema import Field, FileError, column
from rollpath.groove.measured import ClosedPath, PathError, smooth_closed_path
from rollpath.runlog.log import RunLog, RunLogError, log_of
from rollpath.survey.log import Note, PositionLog, SurveyError, local_plane
from rollpath.survey.measured import lap_path
from rollpath.units import FloatArray, QuantityError, shorten

POINT_COLUMNS = {
    "x": column("length", ("x", "east", "easting"), required=True),
    "y": column("length", ("y", "north", "northing"), required=True),
}
GEOGRAPHIC_COLUMNS = {
    "latitude": column("angle", ("latitude", "lat", "gps latitude", "position lat"), "deg"),
    "longitude": column(
        "angle", ("longitude", "lon", "long", "lng", "gps longitude", "position long"), "deg"
    ),
}
TIME_COLUMN = column("time", ("time", "timestamp", "t", "seconds", "elapsed", "utc", "date"), "s")
RUN_COLUMNS: dict[str, Field] = {
    "time": replace(TIME_COLUMN, names=(
        *TIME_COLUMN.names, "elapsed time", "session time", "log time", "gps time", "utc time",
    )),
    **GEOGRAPHIC_COLUMNS,
    **{key: replace(one, required=False) for key, one in POINT_COLUMNS.items()},
    "speed": column("speed", (
        "speed", "gps speed", "ground speed", "vehicle speed", "car speed", "velocity", "v",
    )),
    "engine_speed": column("rotation", (
        "rpm", "engine", "engine rpm", "engine speed", "motor", "motor rpm", "revs", "tach",
    ), "rpm"),
    "steering": column("angle", (
        "steering", "steering angle", "steering wheel", "steering wheel angle", "steer",
        "steer angle", "wheel angle", "steered angle",
    )),
    "throttle": column("share", (
        "throttle", "throttle position", "throttle pos", "tps", "gas", "pedal",
    ), "%"),
}  # fmt: skip
"""What a recorded run may hold, by the names of `runlog.log_of`."""


SHORT_COLUMNS = {"rpm": "engine_speed", "lat": "latitude", "lon": "longitude"}
"""Other names of the columns of a log, for those who type them."""


def column_chosen(text: str) -> tuple[str, str]:
    """A column of `RUN_COLUMNS` and its heading, typed such as ``speed=GPS speed``.

    Parameters
    ----------
    text : str

    Raises
    ------
    QuantityError
        If it is not typed so, or there is no such column.
    """
    name, equals, heading = text.partition("=")
    key = name.strip().lower().replace("-", "_").replace(" ", "_")
    key = SHORT_COLUMNS.get(key, key)
    if not equals or not heading.strip() or key not in RUN_COLUMNS:
        names = ", ".join([*RUN_COLUMNS, *SHORT_COLUMNS])
        raise QuantityError(
            f'expected one of {names}, then "=" and the heading in the log, got "{shorten(text)}"'
        )
    return key, heading.strip()


# Points and position logs


def load_points(path: str | Path) -> ClosedPath:
    """Read points along a line as a closed path: a CSV with x and y, or a position log.

    Raises
    ------
    FileError
        If it cannot be read, or the points make no lap.
    """
    log = load_position_log(path)
    try:
        if log.origin is not None:
            return lap_path(log)
        there = np.isfinite(log.x) & np.isfinite(log.y)
        return smooth_closed_path(log.x[there], log.y[there])
    except SurveyError as error:
        raise FileError([f"{path}: {survey_fault(error)}"]) from None
    except PathError as error:
        raise FileError([f"{path}: {error}"]) from None


_FAULTS = {
    "few points": "{amount:.0f} points with a position make no lap; record at least 12",
    "stay in one place": "the points stay in one place; record while you walk or drive",
    "part of a lap": "the log goes {amount:.2f} of the way round; record a whole lap, better three",
    "hole": "the log leaves {amount:.0%} of the lap open; record whole laps",
    "no lap": "no lap of the log holds together; record whole laps along one line, one way round",
    "scattered": "{amount:.0%} of the points lie where no other lap went; record laps along one "
                 "line",
    "no track": "what was measured makes no track: {detail}",
    "no width": 'the width was not measured; give it, such as --width "45 ft"',
    "gap": "the gap in the middle of a chord is more than nothing and at most half the chord; "
           "check which is which",
    "no chord": "no chord was given; give a chord and its gap",
    "chords alone": "chords give the corners; give --straight or --lap as well",
    "no corners left": "two straights of that length leave nothing of the lap for the corners",
    "corners beyond the lap": "corners of those radii alone are longer than that lap; check both",
}  # fmt: skip


def survey_fault(error: SurveyError) -> str:
    """The sentence for what made a survey impossible; none of them holds a unit."""
    return _FAULTS[error.code].format(amount=error.amount, detail=error.detail)


def points_text(x: FloatArray, y: FloatArray) -> str:
    """A path as a CSV that `load_points` reads.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        m.
    """
    rows = (f"{a:.3f},{b:.3f}" for a, b in zip(x, y, strict=True))
    return "\n".join(["x (m),y (m)", *rows]) + "\n"


def load_position_log(path: str | Path) -> PositionLog:
    """Read a position log: GPX 1.1, or CSV with latitude and longitude, or with x and y.

    Raises
    ------
    FileError
        If it cannot be read or holds no positions; the message names the line where there is one.
    """
    path = Path(path)
    if is_xml(path):
        return _geographic_log(path, *read_gpx(path))
    columns = read_columns(path, {**GEOGRAPHIC_COLUMNS, "time": TIME_COLUMN})
    time = seconds_of(columns.get("time"))
    if "latitude" in columns and "longitude" in columns:
        latitude, longitude = (np.degrees(columns[name]) for name in GEOGRAPHIC_COLUMNS)
        return _geographic_log(path, latitude, longitude, time, ())
    plane = {key: replace(one, required=False) for key, one in POINT_COLUMNS.items()}
    columns = read_columns(path, plane)
    if len(columns) < 2:
        raise FileError([
            f"{path}: no columns of positions; expected latitude and longitude, or x (ft) and "
            "y (ft)"
        ])  # fmt: skip
    return PositionLog(columns["x"], columns["y"], time)


def _geographic_log(
    path: Path,
    latitude: FloatArray,
    longitude: FloatArray,
    time: FloatArray | None,
    notes: tuple[Note, ...],
) -> PositionLog:
    """The log in a plane about its middle point; positions of 0, 0 are a receiver without a fix."""
    fixed = np.isfinite(latitude) & np.isfinite(longitude)
    fixed &= (np.abs(latitude) > 1e-6) | (np.abs(longitude) > 1e-6)
    if not np.any(fixed):
        raise FileError([f"{path}: no positions in it"])
    wrong = fixed & ((np.abs(latitude) > 90) | (np.abs(longitude) > 180))
    if np.any(wrong):
        where = int(np.argmax(wrong)) + 1
        raise FileError([
            f"{path}: point {where}: latitude {latitude[where - 1]:g} and longitude "
            f"{longitude[where - 1]:g} are no place on earth; are the columns right?"
        ])  # fmt: skip
    dropped = int(np.sum(~fixed))
    if dropped:
        notes = (*notes, Note("no fix", dropped))
    middle = np.flatnonzero(fixed)[int(np.sum(fixed)) // 2]
    origin = float(latitude[middle]), float(longitude[middle])
    x, y = local_plane(latitude[fixed], longitude[fixed], origin)
    return PositionLog(x, y, None if time is None else time[fixed], origin, notes)


# Recorded runs


def load_run_log(path: str | Path, chosen: Mapping[str, str] | None = None) -> RunLog:
    """Read a CSV of recorded laps; see `RUN_COLUMNS` for what it may hold.

    Parameters
    ----------
    path : str or Path
    chosen : mapping of str to str, optional
        Heading to take for a column of `RUN_COLUMNS`; a unit in it stands when the file has none.

    Raises
    ------
    FileError
        If it cannot be read, or holds nothing that can be laid along a lap.
    """
    path = Path(path)
    if is_xml(path):
        raise FileError([
            f"{path}:1: this is GPX or other XML; a run is read from a CSV with a heading, such as "
            "time (s), speed (mph), rpm"
        ])  # fmt: skip
    known = dict(RUN_COLUMNS)
    if {"latitude", "longitude"} <= columns_named(path, known, chosen or {}):
        del known["x"], known["y"]  # of some other thing, when there are positions on the globe
    columns = read_columns(path, known, chosen)
    time = seconds_of(columns.get("time"))
    if time is not None:
        columns["time"] = time
    try:
        return log_of(columns)
    except RunLogError as error:
        raise FileError([f"{path}: {run_log_fault(error)}"]) from None


_RUN_FAULTS = {
    "few rows": "{amount:.0f} rows are too few; record at least one whole lap",
    "few rows of laps": "{amount:.0f} rows of whole laps are too few; record faster or longer",
    "few speeds": "{amount:.0f} rows with a speed are too few",
    "few laps by speed": "speed and time cover {amount:.1f} laps of the track; without positions "
                         "at least two whole laps are needed",
    "speed does not repeat": "without positions laps are found by their speed, and this speed does "
                             "not repeat from lap to lap; record positions, or whole laps at speed",
    "half a place": "there is a column {here} but none {missing}; both are needed",
    "nothing to lay": "no positions (latitude and longitude, or x and y), and not both time and "
                      "speed: nothing to lay along a lap",
    "no place on earth": "latitudes beyond 90 deg: expected decimal degrees such as 35.1234; are "
                         "these degrees and minutes run together, or swapped?",
    "no fix": "every position is 0, 0: the receiver had no fix",
    "no laps": "the positions hold no laps: {survey}",
    "no path": "the laps make no path: {detail}",
    "clock stands": "the clock of the log stands still; check the time column",
    "clockwise": "the laps run clockwise, and this is a tool for left turns: swap the columns x "
                 "and y if they were mixed up, or turn the rows round if the log is written last "
                 "row first",
    "another length": "the recorded lap is {amount:.2f} times as long as a lap of the track: "
                      "another track, or a wrong unit of x and y (m or ft)",
    "another shape": "the recorded lap has another shape: laid on the track as well as it goes, it "
                     "swings over {amount:.1f} times the track's width, so this is another track, "
                     "or the track file is not measured right: rollpath survey with this log and "
                     "--line groove measures the track",
    "wrong unit": "the speed column reads {amount:.3g} times the speed along the positions: a unit "
                  "is wrong{likely}",
}  # fmt: skip


def run_log_fault(error: RunLogError) -> str:
    """The sentence for what made a log impossible to read as laps."""
    here, _, missing = error.detail.partition(" ")
    survey = ""
    if error.code == "no laps":
        survey = survey_fault(SurveyError(error.detail, error.amount))
    return _RUN_FAULTS[error.code].format(
        amount=error.amount, detail=error.detail, here=here, missing=missing, survey=survey,
        likely=error.detail and f"; {error.detail}?",
    )  # fmt: skip
