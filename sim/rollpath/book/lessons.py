"""Over nights: what the driver and the watch say about the physics."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from rollpath.book.nights import REAR_STAGGER, Night, counted_lap, nights
from rollpath.book.posterior import Watch, posterior_of
from rollpath.book.run import Page, Run
from rollpath.debrief import Answers, read_answers

# Over nights: what the driver and the watch say about the physics


ASKED_FOR = {"more": 1, "leave": 0, "less": -1}


def driver_says(run: Run) -> int | None:
    """What the driver's answers ask for on the throttle, as `verdict.read_answers` reads them.

    Returns
    -------
    int or None
        1 more stagger, -1 less, 0 leave it; None when they do not speak of stagger: wheelspin, an
        entry that is wrong, answers against each other, or none.
    """
    return _asked_for(run.wheel, run.drifts_out, run.crabs, run.wheelspin, run.entry)


@cache
def _asked_for(*answers: str | None) -> int | None:
    return ASKED_FOR.get(read_answers(Answers(*answers)).change)


FEWEST_CLEAN = 8
"""Clean runs below which no correction is offered."""


@dataclass(frozen=True)
class Correction:
    """How much more stagger the car wants than the physics says, in one condition.

    Attributes
    ----------
    stagger : float
        To add to the optimum by physics, m.
    interval : tuple of float
        Ninety-nine times in a hundred it lies in here, m.
    clean_runs : int
        How many runs it is drawn from.
    """

    car: str
    condition: str
    stagger: float
    interval: tuple[float, float]
    clean_runs: int


@dataclass(frozen=True)
class Point:
    """One run of a car in a condition, as evidence.

    Attributes
    ----------
    clean : bool
        It may teach; a run that came of a confounded step, or that does not count, may not.
    said : int or None
        See `driver_says`.
    lap : float
        s; nan when not known.
    stretch : int
        Runs of one stretch differ in rear stagger alone, so their laps may be compared.
    """

    page: Page
    clean: bool
    said: int | None
    lap: float
    stretch: int


@dataclass(frozen=True)
class Study:
    """What the nights of a car in a condition say.

    Attributes
    ----------
    clean_runs : int
        Runs that carry evidence.
    estimate, interval : float, tuple of float
        m; nan below `FEWEST_CLEAN` runs.
    correction : Correction or None
        None when the nights do not carry one; `reason` then says why.
    """

    car: str
    condition: str
    points: tuple[Point, ...]
    clean_runs: int
    estimate: float
    interval: tuple[float, float]
    correction: Correction | None
    reason: str


def studies(all_nights: Iterable[Night]) -> list[Study]:
    """One study for each car and condition, by name."""
    groups: dict[tuple[str, str], list[Point]] = {}
    for point in _points(all_nights):
        run = point.page.run
        if run.condition is not None:
            groups.setdefault((run.car, run.condition), []).append(point)
    return [_study(car, condition, points) for (car, condition), points in sorted(groups.items())]


def correction(pages: Iterable[Page], car: str, condition: str) -> Correction | None:
    """The correction that the nights of a car in a condition carry, if they carry one.

    Parameters
    ----------
    pages : iterable of Page
        Of any cars and conditions; all the runs of the nights, so that it is seen what changed.
    car, condition : str

    Returns
    -------
    Correction or None
        None below `FEWEST_CLEAN` clean runs, when answers and laps do not follow the stagger, and
        when no correction is inside the interval.

    Notes
    -----
    See `posterior_of` for the estimator and what it takes for granted.
    """
    return study_of(pages, car, condition).correction


def study_of(pages: Iterable[Page], car: str, condition: str) -> Study:
    """What the nights of one car in one condition say; see `correction`."""
    own = [page for page in pages if page.run.car == car]
    found = {study.condition: study for study in studies(nights(own))}
    return found.get(condition) or _study(car, condition, [])


def _points(all_nights: Iterable[Night]) -> list[Point]:
    points: list[Point] = []
    stretch = 0
    for night in all_nights:
        stretch += 1
        for page, step in zip(night.runs, (None, *night.steps), strict=True):
            others = [] if step is None else [c for c in step.changes if c.thing != REAR_STAGGER]
            stretch += bool(others)
            confounded = step is not None and step.is_confounded
            clean = not confounded and page.run.counts != "no" and page.run.off_optimum is not None
            points.append(Point(page, clean, driver_says(page.run), counted_lap(page.run), stretch))
    return points


def _study(car: str, condition: str, points: list[Point]) -> Study:
    evidence = [p for p in points if p.clean and p.said is not None]
    timed = _comparable([p for p in points if p.clean and not math.isnan(p.lap)])
    count = len({p.page.key for p in [*evidence, *timed]})
    if count < FEWEST_CLEAN:
        reason = f"{count} clean runs; a correction takes {FEWEST_CLEAN}"
        nothing = (math.nan, math.nan)
        return Study(car, condition, tuple(points), count, math.nan, nothing, None, reason)
    offsets = np.array([p.page.run.off_optimum for p in evidence], float)
    said = np.array([p.said for p in evidence], int)
    watch = Watch(
        np.array([p.page.run.off_optimum for p in timed], float),
        np.array([p.lap for p in timed], float),
        np.array([p.stretch for p in timed], int),
    )
    found = posterior_of(offsets, said, watch)
    reason = found.doubt()
    offered = None
    if not reason:
        offered = Correction(car, condition, found.median, found.interval, count)
    return Study(
        car, condition, tuple(points), count, found.median, found.interval, offered, reason
    )


def _comparable(points: list[Point]) -> list[Point]:
    """Those in a stretch with two staggers or more, all timed the same way (typical or best)."""
    stretches: dict[int, list[Point]] = {}
    for point in points:
        stretches.setdefault(point.stretch, []).append(point)
    kept = []
    for group in stretches.values():
        typical = [p for p in group if p.page.run.typical_lap is not None]
        same = typical if len(typical) > len(group) / 2 else [
            Point(p.page, p.clean, p.said, p.page.run.best_lap, p.stretch)
            for p in group if p.page.run.best_lap is not None
        ]  # fmt: skip
        if len({round(p.page.run.off_optimum or 0.0, 6) for p in same}) > 1:
            kept += same
    return kept
