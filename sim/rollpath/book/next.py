"""Which run to make next: the evening that teaches most about the best stagger.

References
----------
.. [1] D. V. Lindley, "On a Measure of the Information Provided by an Experiment", Ann. Math.
   Statist. 27 (1956) 986-1005: an experiment is worth what it is expected to leave unknown.
"""

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.belief import (
    CORRECTIONS,
    DRIVER_BEFORE,
    LARGEST_STEP,
    Answer,
    chance_of,
    driver_cases,
    log_sum,
)
from rollpath.book.lessons import MATTERS, NOT_NEEDED, Finding, Study, same_track, study_of
from rollpath.book.nights import nights
from rollpath.book.posterior import USUAL, Evidence, Laps, lap_sharpness, posterior_of
from rollpath.book.run import Page
from rollpath.results import Result
from rollpath.tires.rack import Rack
from rollpath.units import EIGHTH, INCH, FloatArray

KNOWN = INCH / 4
"""Enough is known when the best stagger is within this, nine times in ten: what a driver notices.
Engineering judgement."""
_NINE_IN_TEN, _SHOWS = 1.645, 1.751
"""Standard deviations either way that hold nine in ten, and off which one is as sure as
`lessons.SURE`: normal distribution."""
_FINEST = INCH / 16
"""Finer no evening is asked to tell (engineering judgement)."""
RUNS_A_NIGHT = 4
"""Hot laps, two heats and the feature (common practice, no source)."""
MOST_NIGHTS = 40
LAPS_A_RUN = 10
"""Of a heat (common practice, no source)."""
_SAME = INCH / 16
_AS_GOOD = 1.03
"""Variances apart by this are as good (engineering judgement)."""


@dataclass(frozen=True, eq=False)
class NextRun(Result, told_by="next"):
    """The run that teaches most, and the evening it begins.

    Attributes
    ----------
    last, stagger : float
        Rear stagger of the last run, and of the next one, m.
    plan : tuple of float
        Staggers of the evening in order, m.
    from_rack : bool
        Whether they are what the rack can make, and not just eighths.
    best : float
        Best stagger as it is known now, m.
    give_or_take, then : float
        Half of the nine-in-ten interval now, and as expected after the evening, m.
    cost : float
        Lap time that the plan is expected to lose beside running the best as known, s a lap.
    nights_to_go : int
        Evenings like this until enough is known; 0 when it is: when the nights show a correction
        or that none is needed, and the best stagger is known as well as `KNOWN`.
    study : Study
        What the nights say.
    """

    car: str
    condition: str
    track: str
    last: float
    stagger: float
    plan: tuple[float, ...]
    from_rack: bool
    best: float
    give_or_take: float
    then: float
    cost: float
    nights_to_go: int
    study: Study

    @property
    def finding(self) -> Finding:
        """What the nights say of the track."""
        return self.study.at(self.track)

    @property
    def is_enough(self) -> bool:
        return self.nights_to_go == 0


def rack_staggers(rack: Rack) -> tuple[float, ...]:
    """Rear staggers that two tires of a rack make, as last taped cold, in eighths, m."""
    tires = [tire for tire in rack.tires if not tire.scrap and tire.cold is not None]
    found = {
        round((right.cold.mean - left.cold.mean) / EIGHTH) * EIGHTH
        for left, right in itertools.permutations(tires, 2)
        if left.cold and right.cold
        and "left_rear" in left.corners and "right_rear" in right.corners
    }  # fmt: skip
    return tuple(sorted(found))


def next_run(
    pages: Iterable[Page],
    car: str,
    condition: str,
    track: str | None = None,
    *,
    optimum: float | None = None,
    staggers: Sequence[float] | None = None,
    window: tuple[float, float] | None = None,
    runs: int = RUNS_A_NIGHT,
) -> NextRun | None:
    """The stagger to fit next, of those within `LARGEST_STEP` of the last, and the evening.

    Parameters
    ----------
    pages : iterable of Page
        All the runs of the book.
    car, condition : str
    track : str, optional
        Where the next race is; where the last run was when left out.
    optimum : float, optional
        Best stagger there by physics, m; that of the last run when left out.
    staggers : sequence of float, optional
        What the rack can make, m; eighths when left out.
    window : tuple of float, optional
        Ends that are not to be left, m; the last run's when left out.
    runs : int
        Of an evening; 2 at least.

    Returns
    -------
    NextRun or None
        None when no run of this car tells its stagger and the physics.

    Notes
    -----
    An evening goes up and down between two staggers, so that a track that slows cannot pass for
    either; where it makes no odds it begins at the other end than the last night there, so that
    one that slows and levels off cannot either. Each pair is judged by the variance of the best
    stagger that it is expected to leave [1]_: over all answers that the driver may give, and with
    what the laps say once level and trend of the night are taken out.
    """
    own = [page for page in pages if page.run.car == car]
    told = [page for page in own if page.run.rear_stagger is not None]
    known = [page for page in told if page.run.optimum_stagger is not None]
    if not known:
        return None
    last = told[-1].run
    fitted = float(last.rear_stagger or 0.0)
    physics = float(known[-1].run.optimum_stagger or 0.0) if optimum is None else optimum
    where = track or last.track
    if window is None and last.window_low is not None and last.window_high is not None:
        window = (last.window_low, last.window_high)
    study = study_of(own, car, condition)
    what = _State.of(study, where)
    makes = _within(staggers, fitted, window)
    plans = [_evening(pair, runs) for pair in _pairs(makes)] or [(fitted,) * runs]
    left = [what.expected_variance(np.array(plan) - physics) for plan in plans]
    variance = min(left)
    good = [plan for plan, one in zip(plans, left, strict=True) if one <= _AS_GOOD * variance]
    plan = next((one for one in good if _turned(one, own, where)), good[0])
    return NextRun(
        car, condition, where, fitted, plan[0], plan, staggers is not None,
        best=physics + what.mean,
        give_or_take=_NINE_IN_TEN * math.sqrt(what.variance),
        then=_NINE_IN_TEN * math.sqrt(variance),
        cost=what.cost(np.array(plan) - physics),
        nights_to_go=_nights(what, study.at(where).outcome, variance), study=study,
    )  # fmt: skip


def _within(
    staggers: Sequence[float] | None, fitted: float, window: tuple[float, float] | None
) -> list[float]:
    """What can be fitted within a step of the last run."""
    if staggers is None:
        near = round(fitted / EIGHTH)
        reach = round(LARGEST_STEP / EIGHTH)
        staggers = [EIGHTH * count for count in range(near - reach, near + reach + 1)]
    low, high = (-math.inf, math.inf) if window is None else window
    return [
        one for one in staggers
        if abs(one - fitted) <= LARGEST_STEP + _SAME and low - _SAME <= one <= high + _SAME
    ]  # fmt: skip


def _pairs(staggers: Sequence[float]) -> list[tuple[float, float]]:
    """Two staggers to go between: a full step apart, or as far as can be made.

    What laps say grows with the square of the distance; a driver's answers alone prove nothing
    (`lessons.BORNE_OUT`).
    """
    near = [
        (a, b) for a, b in itertools.permutations(staggers, 2)
        if abs(a - b) <= LARGEST_STEP + _SAME
    ]  # fmt: skip
    widest = max((abs(a - b) for a, b in near), default=0.0)
    return [(a, b) for a, b in near if abs(a - b) > max(widest - _SAME, _SAME)]


def _evening(pair: tuple[float, float], runs: int) -> tuple[float, ...]:
    """Up, down, up, or up, down, down, up: a steady trend is no part of either."""
    a, b = pair
    block = (a, b, a) if runs == 3 else (a, b, b, a)
    return tuple(block[i % len(block)] for i in range(max(runs, 2)))


def _turned(plan: Sequence[float], pages: Iterable[Page], track: str) -> bool:
    """Whether an evening begins at the other end than the last night at the track did."""
    there = [night for night in nights(pages) if same_track(night.track, track)]
    off = [
        page.run.off_optimum for page in there[-1].runs if page.run.off_optimum is not None
    ] if there else []  # fmt: skip
    if not off or off[0] == np.mean(off):
        return True
    return bool((off[0] > np.mean(off)) == (plan[0] < np.mean(plan)))


def _nights(what: "_State", outcome: str, then: float) -> int:
    """Evenings until enough is known, each adding the same precision.

    The interval has to be as narrow as `KNOWN`; and before the nights show anything so narrow that
    what is now likeliest would be shown, a correction or that none is needed.
    """
    if outcome == "not needed":
        return 0
    wanted, least = (KNOWN / _NINE_IN_TEN) ** -2.0, 0
    if outcome != "shown":
        off = abs(what.mean)
        decides = max((NOT_NEEDED - off) / _NINE_IN_TEN, (off - MATTERS) / _SHOWS)
        wanted, least = max(wanted, max(decides, _FINEST) ** -2.0), 1
    gain, lacks = 1.0 / then - 1.0 / what.variance, wanted - 1.0 / what.variance
    if lacks <= 0:
        return least
    return min(MOST_NIGHTS, max(least, math.ceil(lacks / gain))) if gain > 0 else MOST_NIGHTS


@dataclass(frozen=True, eq=False)
class _State:
    """What is known before the evening.

    Attributes
    ----------
    chance : ndarray, shape (candidates,)
        Of the corrections at the track.
    cases : ndarray, shape (blur and threshold,)
        Chances of the driver's unknowns; empty when he has not spoken.
    sharpness : float
        Lap time lost at 1 m off, over the scatter of a lap, per m2.
    lap_cost : float
        s per m2.
    """

    chance: FloatArray
    cases: FloatArray
    sharpness: float
    lap_cost: float

    @classmethod
    def of(cls, study: Study, track: str) -> "_State":
        tracks = study.evidence or (Evidence((), Laps.none()),)
        found = posterior_of(tracks)
        places = [i for i, one in enumerate(study.tracks) if study.at(track) is one]
        chance = found.here[places[0]] if places else found.elsewhere
        if not study.evidence:
            chance = chance_of(-0.5 * (CORRECTIONS / USUAL) ** 2)
        answers = [answer for one in tracks for answer in one.answers]
        cases = log_sum((driver_cases(answers) + np.log(chance + 1e-300)).T) + DRIVER_BEFORE
        sharpness, lap_cost = lap_sharpness([one.laps for one in tracks], chance)
        return cls(chance, chance_of(cases), sharpness, lap_cost)

    @property
    def mean(self) -> float:
        return float(self.chance @ CORRECTIONS)

    @property
    def variance(self) -> float:
        return float(self.chance @ (CORRECTIONS - self.mean) ** 2)

    def cost(self, offsets: FloatArray) -> float:
        """Expected s a lap that the staggers lose beside the best as known."""
        return float(self.lap_cost * np.mean((offsets - self.mean) ** 2))

    def expected_variance(self, offsets: FloatArray) -> float:
        """Variance of the correction that an evening at these offsets is expected to leave, m2."""
        seen = (2.0 * self.sharpness) ** 2 * float(np.sum(_steady(offsets) ** 2))
        joint = self.chance[None, :]
        for chances in map(self._answers, offsets):
            joint = (joint[:, None, :] * chances).reshape(-1, len(CORRECTIONS))
            joint = _merged(joint)
        weight = joint.sum(axis=1)
        mean = joint @ CORRECTIONS / weight
        variance = np.maximum(joint @ CORRECTIONS**2 / weight - mean**2, 1e-12)
        return float(weight @ (1.0 / (1.0 / variance + seen)))

    def _answers(self, offset: float) -> FloatArray:
        """Chance of each answer given each correction, (answers, candidates)."""
        return np.array([
            self.cases @ np.exp(driver_cases([Answer(said, off=float(offset))]))
            for said in (1, 0, -1)
        ])  # fmt: skip


def _merged(joint: FloatArray) -> FloatArray:
    """Without answers that hardly can come."""
    weight = joint.sum(axis=1)
    kept: FloatArray = joint[weight > 1e-4 * weight.max()]
    return kept


def _steady(offsets: FloatArray) -> FloatArray:
    """Offsets less their mean and trend in run order: what laps of the night can speak of."""
    order = np.arange(len(offsets), dtype=float)
    basis = np.column_stack([np.ones_like(order), order])
    rest: FloatArray = offsets - np.asarray(basis @ np.linalg.lstsq(basis, offsets, rcond=None)[0])
    return rest


def last_case(pages: Sequence[Page]) -> tuple[str, str, str] | None:
    """Car, surface and track of the last run that says them."""
    for night in reversed(nights(pages)):
        for page in reversed(night.runs):
            run = page.run
            if run.condition is not None and run.rear_stagger is not None:
                return run.car, run.condition, run.track
    return None
