"""What a logger recorded, channel by channel, and what a person should know of it."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.errors import RollpathError
from rollpath.screen import degrees
from rollpath.survey.log import RESTART, Note, local_plane
from rollpath.units import FloatArray


@dataclass(frozen=True)
class RunNote(Note):
    """A note with a second number: what the first is held against."""

    against: float = 0.0


class RunLogError(RollpathError):
    """A log that cannot be read as laps: a code that `files` has a sentence for, and a number."""

    def __init__(self, code: str, amount: float = 0.0, detail: str = "") -> None:
        super().__init__(f"{code}: {detail or f'{amount:.3g}'}" if detail or amount else code)
        self.code, self.amount, self.detail = code, amount, detail


@dataclass(frozen=True)
class RunLog:
    """Channels of a log, row by row, SI; None where not recorded, NaN where a row has none.

    Attributes
    ----------
    time : ndarray, shape (n,)
        s.
    x, y : ndarray
        East and north, m.
    speed : ndarray
        m/s.
    engine_speed : ndarray
        rad/s.
    steering : ndarray
        Angle of the steering wheel, rad, to the left positive.
    throttle : ndarray
        Share.
    notes : tuple of Note
    """

    time: FloatArray | None = None
    x: FloatArray | None = None
    y: FloatArray | None = None
    speed: FloatArray | None = None
    engine_speed: FloatArray | None = None
    steering: FloatArray | None = None
    throttle: FloatArray | None = None
    notes: tuple[Note, ...] = ()

    @property
    def channels(self) -> dict[str, FloatArray]:
        """What was recorded, by name."""
        return {name: rows for name, rows in vars(self).items() if isinstance(rows, np.ndarray)}

    def at(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> "RunLog":
        """The log at some of its rows."""
        kept = {name: rows[keep] for name, rows in self.channels.items()}
        return RunLog(**kept, notes=self.notes)


def log_of(columns: dict[str, FloatArray]) -> RunLog:
    """A log from its columns, SI, in order of time, positions in a plane.

    Parameters
    ----------
    columns : dict of str to ndarray
        Any of time, latitude and longitude (rad), x and y, speed, engine_speed, steering, throttle.

    Raises
    ------
    RunLogError
        If what was recorded cannot be laid along a lap.
    """
    for one, other in (("latitude", "longitude"), ("x", "y")):
        if (one in columns) != (other in columns):
            here, missing = (one, other) if one in columns else (other, one)
            raise RunLogError("half a place", detail=f"{here} {missing}")
    columns = {name: rows for name, rows in columns.items() if np.isfinite(rows).any()}
    if "latitude" in columns and "longitude" in columns:
        columns["x"], columns["y"] = _in_plane(columns["latitude"], columns["longitude"])
    has_places = "x" in columns and "y" in columns
    if not has_places and not ("time" in columns and "speed" in columns):
        raise RunLogError("nothing to lay")
    kept = {name: rows for name, rows in columns.items() if name in RunLog.__dataclass_fields__}
    return _in_order(RunLog(**kept))  # type: ignore[arg-type]


def _in_order(log: RunLog) -> RunLog:
    """The rows by rising time; a clock that was started again runs on."""
    if log.time is None:
        return log
    log = log.at(np.isfinite(log.time))
    assert log.time is not None
    back = np.diff(log.time, prepend=log.time[:1])
    again = back < -RESTART
    notes = []
    if 0 < again.sum() < math.sqrt(len(back)):  # of more, the rows are out of order
        log = replace(log, time=log.time + np.cumsum(np.where(again, RESTART - back, 0.0)))
        notes.append(Note("clock again", int(again.sum())))
    assert log.time is not None
    order = np.argsort(log.time, kind="stable")
    if np.any(order[1:] < order[:-1]):
        notes.append(Note("sorted"))
        log = log.at(order)
    return replace(log, notes=tuple(notes))


def _in_plane(latitude: FloatArray, longitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """East and north about the middle of the log; 0, 0 is a receiver without a fix."""
    lat, lon = degrees(latitude), degrees(longitude)
    if np.nanmax(np.abs(lat)) > 90 or np.nanmax(np.abs(lon)) > 360:
        raise RunLogError("no place on earth")
    nowhere = (lat == 0) & (lon == 0)
    lat, lon = np.where(nowhere, np.nan, lat), np.where(nowhere, np.nan, lon)
    if not np.isfinite(lat).any():
        raise RunLogError("no fix")
    return local_plane(lat, lon, (float(np.nanmedian(lat)), float(np.nanmedian(lon))))
