"""Over nights: what the driver and the watch say about the physics."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from rollpath.belief import (
    APART,
    CORRECTIONS,
    STEP,
    Answer,
    Witness,
    believe,
    fit_together,
    quantiles,
)
from rollpath.book.laps import Laps
from rollpath.book.nights import REAR_STAGGER, Night, counted_lap, nights
from rollpath.book.posterior import USUAL, Evidence, posterior_of
from rollpath.book.run import Page, Run
from rollpath.debrief import Lesson
from rollpath.feel.answers import Answers, read_answers
from rollpath.stagger import Baseline, corrected
from rollpath.units import INCH, FloatArray

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
"""Clean runs below which nothing is said of a correction."""
COVERS = 0.95
"""How often a correction lies in its interval."""
MATTERS = INCH / 16
"""Least correction worth telling, half of what a tape reads; less than this may come of a car that
loses unlike on both sides (engineering judgement)."""
SURE, SURE_ALONE = 0.96, 0.97
"""How sure it has to be that `MATTERS` or more is wanted on one side: where the driver's answers
name that side, and where the watch names it alone and might as well have named the other."""
_NAMES_IT = 0.6
"""How sure the driver alone is of a side that he names."""
NOT_NEEDED = INCH / 4
"""A car whose best stagger is surely no further than this from the physics needs no correction:
the step that a driver notices (engineering judgement)."""
_SURELY = 0.9
FAR = INCH
"""Corrections of more than this: the tape, the track file or the car file is likelier wrong."""
_FOLLOWS = math.log(20.0)
"""How much likelier the evidence must be when it follows the stagger than when it does not:
"strong" on the scale of Kass and Raftery (J. Am. Stat. Assoc. 90 (1995) 773-795)."""
_EDGE, _CUT = 4, 0.01
"""Steps next to the end of the grid, and the chance in there that cuts a correction short."""
BORNE_OUT = 0.9
"""How sure the watch alone has to be of `MATTERS`. A driver who likes something other than the
quickest asks for it as steadily as one who is right, and only the watch can tell them apart. So
sure of one side, the driver is against the other."""
OUTCOMES = (
    "unsaid", "few", "unrelated", "apart", "cut", "shown", "not borne out", "not shown",
    "not needed",
)  # fmt: skip
"""What comes of a study: no run says the surface; too few clean runs; evidence that does not
follow the stagger; driver and watch that stand apart, and either nothing is sure or they name two
sides; further off than is considered; a
correction; one that the driver asks for and the watch does not bear out; none that is shown yet;
shown not to need one."""


@dataclass(frozen=True)
class Correction:
    """How much more stagger the car wants than the physics says, in one condition.

    Attributes
    ----------
    stagger : float
        To add to the optimum by physics, m.
    interval : tuple of float
        It lies in here `COVERS` of the time, m.
    clean_runs : int
        How many runs it is drawn from.
    track : str or None
        Where it holds; None for all of `learned_at` together.
    learned_at : tuple of str
        The tracks of those runs.
    """

    car: str
    condition: str
    stagger: float
    interval: tuple[float, float]
    clean_runs: int
    track: str | None = None
    learned_at: tuple[str, ...] = ()


@dataclass(frozen=True)
class Finding:
    """What the nights say for one track, or for several together.

    Attributes
    ----------
    track : str or None
    estimate, interval : float, tuple of float
        m; nan below `FEWEST_CLEAN` runs.
    outcome : str
        One of `OUTCOMES`.
    correction : Correction or None
        None unless the outcome is ``shown``.
    """

    track: str | None
    estimate: float
    interval: tuple[float, float]
    outcome: str
    correction: Correction | None = None


@dataclass(frozen=True)
class Alone:
    """What the driver or the watch says alone: median and interval of nine in ten, m."""

    median: float
    interval: tuple[float, float]


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
    order : int
        Place in its night.
    """

    page: Page
    clean: bool
    said: int | None
    lap: float
    stretch: int
    order: int = 0


@dataclass(frozen=True)
class Study:
    """What the nights of a car in a condition say.

    Attributes
    ----------
    clean_runs : int
        Runs that carry evidence.
    together : Finding
        For the tracks of the nights together.
    tracks : tuple of Finding
        For each track, by name.
    elsewhere : Finding
        For a track where the car has not been: wider.
    driver, watch : Alone or None
        None without answers, or without laps that may be compared.
    evidence : tuple of Evidence
        What it is drawn from, track by track; whatever there is below `FEWEST_CLEAN` runs.
    """

    car: str
    condition: str
    points: tuple[Point, ...]
    clean_runs: int
    together: Finding
    tracks: tuple[Finding, ...]
    elsewhere: Finding
    driver: Alone | None
    watch: Alone | None
    evidence: tuple[Evidence, ...] = ()

    @property
    def correction(self) -> Correction | None:
        return self.together.correction

    @property
    def outcome(self) -> str:
        return self.together.outcome

    @property
    def estimate(self) -> float:
        return self.together.estimate

    @property
    def interval(self) -> tuple[float, float]:
        return self.together.interval

    def at(self, track: str | None) -> Finding:
        """What holds at a track: what was learned there, or else what is left of it elsewhere."""
        if track is None:
            return self.together
        return next((one for one in self.tracks if same_track(one.track, track)), self.elsewhere)


def same_track(a: str | None, b: str | None) -> bool:
    """Whether two names mean one track, however they were typed."""
    return (a or "").strip().casefold() == (b or "").strip().casefold()


def untaught(all_nights: Iterable[Night]) -> list[Study]:
    """The runs of each car that do not say the surface: a table can be made of them, no more."""
    groups: dict[str, list[Point]] = {}
    for point in _points(all_nights):
        if point.page.run.condition is None:
            groups.setdefault(point.page.run.car, []).append(point)
    unsaid = Finding(None, math.nan, (math.nan, math.nan), "unsaid")
    return [
        Study(car, "", tuple(points), 0, unsaid, (), unsaid, None, None)
        for car, points in sorted(groups.items())
    ]


def studies(all_nights: Iterable[Night]) -> list[Study]:
    """One study for each car and condition, by name."""
    groups: dict[tuple[str, str], list[Point]] = {}
    for point in _points(all_nights):
        run = point.page.run
        if run.condition is not None:
            groups.setdefault((run.car, run.condition), []).append(point)
    return [_study(car, condition, points) for (car, condition), points in sorted(groups.items())]


def correction(
    pages: Iterable[Page], car: str, condition: str, track: str | None = None
) -> Correction | None:
    """The correction that the nights of a car in a condition carry, if they carry one.

    Parameters
    ----------
    pages : iterable of Page
        Of any cars and conditions; all the runs of the nights, so that it is seen what changed.
    car, condition : str
    track : str, optional
        Where it is to be used; without it, all the tracks of the nights together. What was
        learned at other tracks only is widened, and seldom enough.

    Returns
    -------
    Correction or None
        None unless the outcome is ``shown``, see `OUTCOMES`.

    Notes
    -----
    See `posterior_of` for the estimator and what it takes for granted.
    """
    return study_of(pages, car, condition).at(track).correction


def study_of(pages: Iterable[Page], car: str, condition: str) -> Study:
    """What the nights of one car in one condition say; see `correction`."""
    own = [page for page in pages if page.run.car == car]
    found = {study.condition: study for study in studies(nights(own))}
    return found.get(condition) or _study(car, condition, [])


def lesson_from(found: Correction | None) -> Lesson | None:
    """A correction as a debrief hears it."""
    if found is None:
        return None
    low, high = found.interval
    return Lesson(found.stagger, 0.5 * (high - low))


def taught(
    pages: Iterable[Page], result: Baseline, surface: str
) -> tuple[Baseline, Correction | None]:
    """A recommendation with what the nights put on it, and what that is.

    Parameters
    ----------
    pages : iterable of Page
        All the runs of the book.
    result : Baseline
        By physics.
    surface : str
        As the book calls it: a surface that a lap time told has a name of its own.
    """
    found = correction(pages, result.car.name, surface, result.track.name)
    return (result if found is None else corrected(result, found.stagger)), found


def _points(all_nights: Iterable[Night]) -> list[Point]:
    points: list[Point] = []
    stretch = 0
    for night in all_nights:
        stretch += 1
        for i, (page, step) in enumerate(zip(night.runs, (None, *night.steps), strict=True)):
            others = [] if step is None else [c for c in step.changes if c.thing != REAR_STAGGER]
            stretch += bool(others)
            confounded = step is not None and step.is_confounded
            clean = not confounded and page.run.counts != "no" and page.run.off_optimum is not None
            lap = counted_lap(page.run)
            points.append(Point(page, clean, driver_says(page.run), lap, stretch, i))
    return points


def _study(car: str, condition: str, points: list[Point]) -> Study:
    spoken = [p for p in points if p.clean and p.said is not None]
    timed = comparable([p for p in points if p.clean and not math.isnan(p.lap)])
    count = len({p.page.key for p in [*spoken, *timed]})
    names, tracks = evidence_of(spoken, timed)
    if count < FEWEST_CLEAN:
        nothing = (math.nan, math.nan)
        few = Finding(None, math.nan, nothing, "few")
        each = tuple(Finding(name, math.nan, nothing, "few") for name in names)
        return Study(
            car, condition, tuple(points), count, few, each, few, None, None, tuple(tracks)
        )
    found = posterior_of(tracks)

    def finding(chance: FloatArray, track: str | None, pair: tuple[Witness, Witness]) -> Finding:
        low, median, high = quantiles(chance, (0.5 - COVERS / 2, 0.5, 0.5 + COVERS / 2))
        outcome = _outcome(chance, pair, found.follows)
        offered = None
        if outcome == "shown":
            offered = Correction(car, condition, median, (low, high), count, track, names)
        return Finding(track, median, (low, high), outcome, offered)

    pairs = zip(found.drivers, found.watches, strict=True)
    everywhere = (found.driver, found.watch)
    tracks_found = tuple(map(finding, found.here, names, pairs))
    return Study(
        car, condition, tuple(points), count,
        together=tracks_found[0] if len(names) == 1 else finding(found.together, None, everywhere),
        tracks=tracks_found,
        elsewhere=finding(found.elsewhere, None, everywhere),
        driver=_alone(found.driver) if spoken else None,
        watch=_alone(found.watch) if timed else None,
        evidence=tuple(tracks),
    )  # fmt: skip


def evidence_of(
    spoken: Iterable[Point], timed: Iterable[Point]
) -> tuple[tuple[str, ...], list[Evidence]]:
    """Answers and laps by track, and the names of the tracks."""
    names: dict[str, str] = {}
    heard: dict[str, list[Answer]] = {}
    laps: dict[str, list[Point]] = {}
    for point in spoken:
        key = _place(point, names)
        heard.setdefault(key, []).append(
            Answer(point.said or 0, off=point.page.run.off_optimum or 0.0)
        )
    for point in timed:
        laps.setdefault(_place(point, names), []).append(point)
    keys = sorted(names)
    return tuple(names[key] for key in keys), [
        Evidence(heard.get(key, []), _laps(laps.get(key, []))) for key in keys
    ]


def _place(point: Point, names: dict[str, str]) -> str:
    name = point.page.run.track.strip()
    names.setdefault(name.casefold(), name)
    return name.casefold()


def _laps(points: list[Point]) -> Laps:
    return Laps(
        np.array([p.page.run.off_optimum for p in points], float),
        np.array([p.lap for p in points], float),
        np.array([p.stretch for p in points], int),
        np.array([p.order for p in points], float),
    )


def _outcome(chance: FloatArray, pair: tuple[Witness, Witness], follows: float) -> str:
    """What comes of it; `pair` is the driver and the watch, `follows` as in `Posterior`."""
    apart = fit_together(*pair) < APART
    if follows < _FOLLOWS:
        return "apart" if apart else "unrelated"
    if max(chance[:_EDGE].sum(), chance[-_EDGE:].sum()) > _CUT:
        return "apart" if apart else "cut"
    more = _beyond(chance, MATTERS, True) > _beyond(chance, MATTERS, False)
    driver, watch = (believe(0.0, USUAL, [one]).chance for one in pair)
    named = _beyond(driver, 0.0, more)
    if _beyond(chance, MATTERS, more) > (SURE if named > _NAMES_IT else SURE_ALONE):
        if _beyond(watch, MATTERS, more) < BORNE_OUT:
            return "apart" if apart else "not borne out"
        return "apart" if apart and named < 1.0 - BORNE_OUT else "shown"
    near = float(chance[np.abs(CORRECTIONS) <= NOT_NEEDED].sum())
    return "apart" if apart else "not needed" if near > _SURELY else "not shown"


def _beyond(chance: FloatArray, least: float, more: bool) -> float:
    """Chance of a correction of more than `least` on that side."""
    side = CORRECTIONS if more else -CORRECTIONS
    at = 0.5 * float(chance[np.abs(side - least) < STEP / 2].sum())
    return at + float(chance[side > least + STEP / 2].sum())


def _alone(witness: Witness) -> Alone:
    broad = believe(0.0, 2 * USUAL, [witness]).chance
    low, median, high = quantiles(broad, (0.05, 0.5, 0.95))
    return Alone(median, (low, high))


def comparable(points: list[Point]) -> list[Point]:
    """Those in a stretch with two staggers or more, all timed the same way (typical or best)."""
    stretches: dict[int, list[Point]] = {}
    for point in points:
        stretches.setdefault(point.stretch, []).append(point)
    kept = []
    for group in stretches.values():
        typical = [p for p in group if p.page.run.typical_lap is not None]
        same = typical if len(typical) > len(group) / 2 else [
            replace(p, lap=p.page.run.best_lap)
            for p in group if p.page.run.best_lap is not None
        ]  # fmt: skip
        if len({round(p.page.run.off_optimum or 0.0, 6) for p in same}) > 1:
            kept += same
    return kept
