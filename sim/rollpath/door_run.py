"""The jobs of a run that was driven, as a program calls them; see `door`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.debrief import Answers, DebriefResult, Lesson, debrief_of
from rollpath.door import (
    AnyCar,
    AnyLength,
    AnyTrack,
    baseline,
    car_of,
    check_line,
    check_surface,
    length_of,
    runs_of,
    track_of,
)
from rollpath.feel.lap import FeelCase, what_driver_feels
from rollpath.files.logs import load_run_log, run_log_fault
from rollpath.files.schema import FileError
from rollpath.groove.path import Groove
from rollpath.runlog.log import RunLog, RunLogError
from rollpath.stagger import Baseline
from rollpath.track import DEFAULT_CONDITION

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.lessons import Study


@dataclass(frozen=True)
class Recorded:
    """A file of recorded laps, and how it is to be read.

    Attributes
    ----------
    path : Path
    columns : mapping of str to str
        Heading to take for a column of `files.logs.RUN_COLUMNS`, where guessing is not wanted.
    gear_ratio : float or None
        Turns of the engine for one of the axle; None for the car's own.
    steering_positive : str
        left or right: which way the log counts.
    """

    path: Path
    columns: Mapping[str, str] = field(default_factory=dict)
    gear_ratio: float | None = None
    steering_positive: str = "left"

    def load(self) -> RunLog:
        """The log, its steering positive to the left.

        Raises
        ------
        FileError
        """
        log = load_run_log(self.path, self.columns)
        if log.steering is not None and self.steering_positive == "right":
            return replace(log, steering=-log.steering)
        return log


def debrief(
    track: AnyTrack,
    car: AnyCar | None = None,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    answers: Answers | None = None,
    log: RunLog | str | Path | None = None,
    gear_ratio: float | None = None,
    stagger: AnyLength | None = None,
    book: Book | str | Path | None = None,
    window: tuple[AnyLength, AnyLength] | None = None,
    grip: float | None = None,
) -> DebriefResult:
    """More stagger, less, leave it, or not stagger, after a run.

    Parameters
    ----------
    track, car, condition, groove, window, grip
        See `baseline`.
    answers : Answers, optional
        Of the driver, such as ``Answers(wheel="left", drifts_out="yes")``.
    log : RunLog or path, optional
        Recorded laps.
    gear_ratio : float, optional
        Turns of the engine for one of the axle; the car's own when left out.
    stagger : length, optional
        That was on the car, m or trade text; as the car has it when left out.
    book : Book or path, optional
        Notebook whose nights correct the physics, where they carry a correction.

    Raises
    ------
    RollpathError
        If any of it cannot be, or the log holds no laps of this track.
    """
    what = car_of(car)
    if stagger is not None:
        what = replace(what, rear=what.rear.with_stagger(length_of(stagger)))
    result = baseline(track, what, condition, groove, window=window, grip=grip)
    laps = load_run_log(log) if isinstance(log, str | Path) else log
    study = None if book is None else _study_in(book, result.car.name, condition)
    nights = None if study is None else learned_at(study, result.track.name)
    named = f"{log}: " if isinstance(log, str | Path) else ""
    return _debriefed(result, answers, laps, gear_ratio, nights, named)


def _debriefed(
    result: Baseline,
    answers: Answers | None,
    log: RunLog | None,
    gear_ratio: float | None,
    nights: Lesson | None,
    named: str,
) -> DebriefResult:
    """`debrief_of`, with what is wrong with a log in a sentence; `named` stands before it."""
    try:
        return debrief_of(result, answers, log, gear_ratio, nights)
    except RunLogError as error:
        raise FileError([named + run_log_fault(error)]) from None


def _study_in(book: Book | str | Path, car: str, condition: str) -> Study:
    from rollpath.book.lessons import study_of

    return study_of(runs_of(book), car, condition)


def learned_at(study: Study, track: str) -> Lesson | None:
    """What the nights put on the physics at a track; None where they put nothing."""
    from rollpath.book.lessons import lesson_from

    return lesson_from(study.at(track).correction)


def debriefed(
    result: Baseline,
    answers: Answers | None = None,
    recorded: Recorded | None = None,
    nights: Lesson | None = None,
) -> DebriefResult:
    """The debrief of a case whose baseline is known already, with a log from its file.

    Parameters
    ----------
    result : Baseline
        Of the car as it ran.
    answers : Answers, optional
        Of the driver.
    recorded : Recorded, optional
    nights : Lesson, optional
        What his own nights put on the physics at this track.

    Raises
    ------
    FileError
        Naming the log, when it cannot be read as laps of this track.
    """
    if recorded is None:
        return debrief_of(result, answers, nights=nights)
    log, named = recorded.load(), f"{recorded.path}: "
    return _debriefed(result, answers, log, recorded.gear_ratio, nights, named)


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
