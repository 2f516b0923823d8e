"""The jobs of a run that was driven, as a program calls them; see `door`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rollpath.debrief import Answers, DebriefResult, debrief_of
from rollpath.door import (
    AnyCar,
    AnyLength,
    AnyTrack,
    baseline,
    car_of,
    check_line,
    check_surface,
    length_of,
    track_of,
)
from rollpath.feel.lap import FeelCase, what_driver_feels
from rollpath.files.logs import load_run_log
from rollpath.groove.path import Groove
from rollpath.runlog.log import RunLog
from rollpath.track import DEFAULT_CONDITION


def debrief(
    track: AnyTrack,
    car: AnyCar | None = None,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    answers: Answers | None = None,
    log: RunLog | str | Path | None = None,
    gear_ratio: float | None = None,
    window: tuple[AnyLength, AnyLength] | None = None,
) -> DebriefResult:
    """More stagger, less, leave it, or not stagger, after a run.

    Parameters
    ----------
    track, car, condition, groove, window
        See `baseline`; the car with the stagger it ran.
    answers : Answers, optional
        Of the driver, such as ``Answers(wheel="left", drifts_out="yes")``.
    log : RunLog or path, optional
        Recorded laps.
    gear_ratio : float, optional
        Turns of the engine for one of the axle; the car's own when left out.
    """
    result = baseline(track, car, condition, groove, window=window)
    laps = load_run_log(log) if isinstance(log, str | Path) else log
    return debrief_of(result, answers, laps, gear_ratio)


def feel(
    track: AnyTrack,
    car: AnyCar | None = None,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    staggers: Sequence[AnyLength] | None = None,
) -> FeelCase:
    """What a driver feels of each of several rear staggers.

    Parameters
    ----------
    track, car, condition, groove
        See `baseline`.
    staggers : sequence of lengths, optional
        m or trade text; the one on the car and the recommended one when left out.
    """
    where, what = track_of(track), car_of(car)
    check_line(groove)
    check_surface(where, condition)
    lengths = None if staggers is None else [length_of(one) for one in staggers]
    return what_driver_feels(where, what, condition, groove, lengths)
