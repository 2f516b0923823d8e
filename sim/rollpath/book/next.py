"""Which run to make next: the evening that teaches most about the best stagger.

References
----------
.. [1] D. V. Lindley, "On a Measure of the Information Provided by an Experiment", Ann. Math.
   Statist. 27 (1956) 986-1005: an experiment is worth what it is expected to leave unknown.
"""

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rollpath.belief import CORRECTIONS, LARGEST_STEP, chance_of
from rollpath.book.evening import Cars, evenings
from rollpath.book.laps import Laps
from rollpath.book.lessons import MATTERS, NOT_NEEDED, Finding, Study, same_track, study_of
from rollpath.book.nights import nights
from rollpath.book.posterior import USUAL, Evidence, lap_beliefs, posterior_of
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
NEAR = 0.75 * INCH
"""An evening stays as near the best as it is known: further off a driver has his hands full, and
what a lap loses there tells little of where it loses least. Engineering judgement."""
RUNS_A_NIGHT = 4
"""Hot laps, two heats and the feature (common practice, no source)."""
MOST_NIGHTS = 40
LAPS_A_RUN = 10
"""Of a heat (common practice, no source)."""
_SAME = INCH / 16
_AS_GOOD = 0.95
"""An evening that teaches this share of the most is as good: the cheaper is run. Engineering
judgement."""


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
    An evening goes up and down, so that a track that slows cannot pass for the stagger; where it
    makes no odds it begins at the other end than the last night there, so that one that slows and
    levels off cannot either, and is the cheapest in lap time. It is judged by the variance of the
    best stagger that its laps are expected to leave [1]_, over all that is plausible of the car:
    how much stagger costs it, and how unlike on both sides. The driver's answers do not count
    here: what he likes is no part of what is quickest, and alone they prove nothing.
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
    chance, cars = _known_at(study, where)
    mean = float(chance @ CORRECTIONS)
    now = float(chance @ (CORRECTIONS - mean) ** 2)
    makes = _near(_within(staggers, fitted, window), physics + mean)
    plans = evenings(makes, fitted, runs) or [(fitted,) * runs]
    plan, left = _best_of(plans, cars, physics, lambda one: _turned(one, own, where))
    then = now * left
    return NextRun(
        car, condition, where, fitted, plan[0], plan, staggers is not None,
        best=physics + mean,
        give_or_take=_NINE_IN_TEN * math.sqrt(now),
        then=_NINE_IN_TEN * math.sqrt(then),
        cost=cars.cost(np.array(plan) - physics),
        nights_to_go=_nights(study.at(where).outcome, abs(mean), now, then), study=study,
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


def _near(makes: Sequence[float], best: float) -> list[float]:
    """Those near the best as known; where none is, the two that are nearest it."""
    near = [one for one in makes if abs(one - best) <= NEAR + _SAME]
    return near if len(near) > 1 else sorted(makes, key=lambda one: abs(one - best))[:2]


def _turned(plan: Sequence[float], pages: Iterable[Page], track: str) -> bool:
    """Whether an evening begins at the other end than the last night at the track did."""
    there = [night for night in nights(pages) if same_track(night.track, track)]
    off = [
        page.run.off_optimum for page in there[-1].runs if page.run.off_optimum is not None
    ] if there else []  # fmt: skip
    if not off or off[0] == np.mean(off):
        return True
    return bool((off[0] > np.mean(off)) == (plan[0] < np.mean(plan)))


def _best_of(
    plans: Sequence[tuple[float, ...]],
    cars: Cars,
    physics: float,
    is_turned: Callable[[Sequence[float]], bool],
) -> tuple[tuple[float, ...], float]:
    """The evening to run, and the share of the variance that it is expected to leave."""
    before = float(np.var(cars.corrections))
    left = [min(cars.left(np.array(plan) - physics) / before, 1.0) for plan in plans]
    most = 1.0 - _AS_GOOD * (1.0 - min(left)) + 1e-12
    good = [i for i, one in enumerate(left) if one <= most]
    at = min(good, key=lambda i: (
        not is_turned(plans[i]), cars.cost(np.array(plans[i]) - physics), plans[i]
    ))  # fmt: skip
    return plans[at], left[at]


def _nights(outcome: str, off: float, now: float, then: float) -> int:
    """Evenings until enough is known, each adding the same precision.

    The interval has to be as narrow as `KNOWN`; and before the nights show anything so narrow that
    what is now likeliest would be shown, a correction or that none is needed.

    Parameters
    ----------
    outcome : str
    off : float
        How far from the physics the best stagger likeliest is, m.
    now, then : float
        Variance of it, and after one evening, m2.
    """
    if outcome == "not needed":
        return 0
    wanted, least = (KNOWN / _NINE_IN_TEN) ** -2.0, 0
    if outcome != "shown":
        decides = max((NOT_NEEDED - off) / _NINE_IN_TEN, (off - MATTERS) / _SHOWS)
        wanted, least = max(wanted, max(decides, _FINEST) ** -2.0), 1
    gain, lacks = 1.0 / then - 1.0 / now, wanted - 1.0 / now
    if lacks <= 0:
        return least
    return min(MOST_NIGHTS, max(least, math.ceil(lacks / gain))) if gain > 0 else MOST_NIGHTS


def _known_at(study: Study, track: str) -> tuple[FloatArray, Cars]:
    """Chances of the corrections at a track, and the cars that may be meant."""
    tracks = study.evidence or (Evidence((), Laps.none()),)
    found = posterior_of(tracks)
    places = [i for i, one in enumerate(study.tracks) if study.at(track) is one]
    chance = found.here[places[0]] if places else found.elsewhere
    if not study.evidence:
        chance = chance_of(-0.5 * (CORRECTIONS / USUAL) ** 2)
    at = places[0] if places and study.evidence else None
    return chance, Cars.of(lap_beliefs([one.laps for one in tracks], at, chance))


def last_case(pages: Sequence[Page]) -> tuple[str, str, str] | None:
    """Car, surface and track of the last run that says them."""
    for night in reversed(nights(pages)):
        for page in reversed(night.runs):
            run = page.run
            if run.condition is not None and run.rear_stagger is not None:
                return run.car, run.condition, run.track
    return None
