"""What his own nights teach: what changed between runs, and how far the physics is off.

Within a night, a pair of runs teaches about a change only when nothing else that matters changed
with it. Over nights, the driver's answers and the lap times of such runs say where his best
stagger lies against the optimum by physics; where they say it clearly, that is a correction.

References
----------
.. [1] P. McCullagh, "Regression Models for Ordinal Data", J. R. Stat. Soc. B 42 (1980) 109-142.
.. [2] R. E. Kass and A. E. Raftery, "Bayes Factors", J. Am. Stat. Assoc. 90 (1995) 773-795.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bite import CORNERS, Corners, bite_change, bite_rates, pad_pattern
from sim.bite import Change as CornerChange
from sim.car import Car
from sim.runs import Page, Run
from sim.units import INCH, POUND, PSI, FloatArray
from sim.verdict import Answers, read_answers

NIGHT_ENDS = timedelta(hours=6)
"""A run before six in the morning belongs to the night before."""

IntArray = NDArray[np.int_]
Four = tuple[float | None, ...]
"""One value for each corner; None is not known."""
Setting = float | str | Four
_UNKNOWN: Four = (None, None, None, None)


# Within a night: what changed


@dataclass(frozen=True)
class Thing:
    """A thing that matters to the car, when it changes by `least` or more.

    Attributes
    ----------
    kind : str
        How to show it: ``tape``, ``weight``, ``pressures``, ``turns`` or ``word``.
    least : float
        SI; engineering judgement, about what a tape, a scale or a gauge tells from nothing.
    crew : bool
        The crew sets it; else the track or the driver does.
    """

    name: str
    kind: str
    setting: Callable[[Run], Setting | None]
    least: float = 0.0
    crew: bool = True


@dataclass(frozen=True)
class Change:
    thing: Thing
    before: Setting
    after: Setting


@dataclass(frozen=True)
class Step:
    """From one run of a night to the next.

    Attributes
    ----------
    changes : tuple of Change
        Of things that matter; one at most in a pair that teaches.
    lap_gain : float
        Lap time of the first less that of the second, s; nan when not known of both.
    """

    before: Page
    after: Page
    changes: tuple[Change, ...]
    lap_gain: float

    @property
    def is_confounded(self) -> bool:
        """Two or more things changed at once: it teaches nothing about any of them."""
        return len(self.changes) > 1

    def trials(self) -> tuple[tuple[tuple[Thing, Setting], ...], ...]:
        """The runs that would teach what this step does not: settings of all that was changed.

        When the crew changed two things, one run with each alone, to hold against the first run
        of the step. When it changed one and the track changed with it, both settings again on one
        surface.
        """
        own = [change for change in self.changes if change.thing.crew]
        if not self.is_confounded or not own:
            return ()
        if len(own) == 1:
            return (((own[0].thing, own[0].before),), ((own[0].thing, own[0].after),))
        return tuple(
            tuple((other.thing, other.after if other is one else other.before) for other in own)
            for one in own
        )


@dataclass(frozen=True)
class Night:
    """The runs of one car at one track in one night, in order."""

    day: date
    track: str
    car: str
    runs: tuple[Page, ...]
    steps: tuple[Step, ...]


def _mean_rear_rollout(run: Run) -> float | None:
    left, right = run.left_rear_rollout, run.right_rear_rollout
    return None if left is None or right is None else 0.5 * (left + right)


def _four(thing: str) -> Callable[[Run], Four | None]:
    """Reads something of the four corners of a run; None where not one is known."""
    read = attrgetter(*(f"{corner}_{thing}" for corner in CORNERS))

    def four(run: Run) -> Four | None:
        values: Four = read(run)
        return None if values == _UNKNOWN else values

    return four


def _turns(run: Run) -> Four:
    """Jack turns; a jack that was not spoken of was not turned."""
    return tuple(turns or 0.0 for turns in _jacks(run) or _UNKNOWN)


_jacks = _four("jack")


def _weights(run: Run) -> tuple[float, ...] | None:
    """The four pads; None unless all of them are known."""
    values = tuple(weight for weight in _pads(run) or () if weight is not None)
    return values if len(values) == len(CORNERS) else None


_pads = _four("weight")
_rollouts = _four("rollout")


REAR_STAGGER = Thing("rear stagger", "tape", lambda run: run.rear_stagger, INCH / 8)
BITE = Thing("bite", "weight", lambda run: run.bite, 10 * POUND)
FRONT_STAGGER = Thing("front stagger", "tape", lambda run: run.front_stagger, INCH / 4)
JACKS = Thing("jacks", "turns", _turns, 0.5)
THINGS: tuple[Thing, ...] = (
    REAR_STAGGER,
    BITE,
    FRONT_STAGGER,
    JACKS,
    Thing("rear tire size", "tape", _mean_rear_rollout, 1.25 * INCH),
    Thing("pressures", "pressures", _four("pressure"), PSI),
    Thing("condition", "word", lambda run: run.condition, crew=False),
    Thing("groove", "word", lambda run: run.groove, crew=False),
)
_SCALE_ROUNDING, _TAPE_ROUNDING = 1e-3, 1e-6
"""N, and m or turns, that are the same number written twice."""
_ROUNDING = 1e-6
"""Share of a threshold forgiven to rounding."""


def nights(pages: Iterable[Page]) -> list[Night]:
    """Runs sorted into nights, first night first."""
    groups: dict[tuple[date, str, str], list[Page]] = {}
    for page in sorted(pages, key=lambda page: (page.run.when, page.number)):
        day = (page.run.when - NIGHT_ENDS).date()
        groups.setdefault((day, page.run.track, page.run.car), []).append(page)
    return [
        Night(*name, tuple(runs), tuple(_step(a, b) for a, b in pairwise(runs)))
        for name, runs in groups.items()
    ]


def _step(before: Page, after: Page) -> Step:
    found = [_change(thing, before.run, after.run) for thing in THINGS]
    changes = {change.thing.name: change for change in found if change is not None}
    # Front stagger and jacks are handles of the bite: where the bite is known they are no
    # change of their own.
    if _bite_was_read(before.run, after.run):
        changes.pop(FRONT_STAGGER.name, None)
        changes.pop(JACKS.name, None)
    gain = _lap(before.run) - _lap(after.run)
    return Step(before, after, tuple(changes.values()), gain)


def _change(thing: Thing, before: Run, after: Run) -> Change | None:
    a, b = thing.setting(before), thing.setting(after)
    if a is None or b is None or a == b:
        return None
    return Change(thing, a, b) if _moved(a, b) >= thing.least * (1 - _ROUNDING) else None


def _moved(a: Setting, b: Setting) -> float:
    """How far a setting moved, the most of the four corners; any change of a word is far."""
    if isinstance(a, str) or isinstance(b, str):
        return math.inf
    if isinstance(a, tuple) and isinstance(b, tuple):
        return max(_apart(x, y) for x, y in zip(a, b, strict=True))
    assert not isinstance(a, tuple) and not isinstance(b, tuple)
    return abs(b - a)


def _apart(a: float | None, b: float | None) -> float:
    return 0.0 if a is None or b is None else abs(b - a)


def _bite_was_read(before: Run, after: Run) -> bool:
    """Bite known of both, and not just carried over from one to the other."""
    a, b = _weights(before), _weights(after)
    return a is not None and b is not None and a != b


def _lap(run: Run) -> float:
    """The typical lap, or else the best; nan when neither is known."""
    lap = run.best_lap if run.typical_lap is None else run.typical_lap
    return math.nan if lap is None else lap


def with_pads(run: Run, earlier: Iterable[Page], car: Car) -> Run:
    """The run with the weights as it ran, when the pads were read with other tires or jacks.

    A car file keeps its weights when only its rollouts are taped anew. The first run in the book
    with these very weights tells how the car stood on the pads; what has been changed since is
    put on them by the bite rates of the car.

    Parameters
    ----------
    run : Run
        With the weights of its car file.
    earlier : iterable of Page
        The runs in the book.
    car : Car

    Raises
    ------
    bite.BiteError
        If a jack was turned and what a turn does is not known.
    """
    weights = _weights(run)
    if weights is None:
        return run
    as_weighed = [
        page.run for page in earlier
        if page.run.car == run.car and page.run.weights_from == "scales"
        and _same_pads(_weights(page.run), weights)
    ]  # fmt: skip
    first = min(as_weighed, key=lambda one: one.when, default=run)
    change = CornerChange(
        rollouts=_added(_rollouts(first), _rollouts(run)), turns=_added(_turns(first), _turns(run))
    )
    if not any((*change.rollouts, *change.turns)):
        return replace(run, weights_from="scales")
    raised = bite_change(bite_rates(car), change)
    new: dict[str, Any] = {
        f"{corner}_weight": float(weight + raised * share)
        for corner, weight, share in zip(CORNERS, weights, pad_pattern(car), strict=True)
    }
    return replace(run, weights_from="predicted", **new)


def _same_pads(a: tuple[float, ...] | None, b: tuple[float, ...]) -> bool:
    return a is not None and _moved(a, b) < _SCALE_ROUNDING


def _added(before: Four | None, after: Four | None) -> Corners:
    """What was added at each corner; nothing where it is not known of both."""
    pairs = zip(before or _UNKNOWN, after or _UNKNOWN, strict=True)
    moved = [0.0 if a is None or b is None else b - a for a, b in pairs]
    return Corners(*(0.0 if abs(one) < _TAPE_ROUNDING else one for one in moved))


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
    See `_posterior` for the estimator and what it takes for granted.
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
            points.append(Point(page, clean, driver_says(page.run), _lap(page.run), stretch))
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
    watch = _Watch(
        np.array([p.page.run.off_optimum for p in timed], float),
        np.array([p.lap for p in timed], float),
        np.array([p.stretch for p in timed], int),
    )
    found = _posterior(offsets, said, watch)
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


# The estimator

STEP = INCH / 32
CANDIDATES: FloatArray = np.arange(-48.0, 49.0) * STEP
"""Corrections considered: 1 1/2 in either way."""
USUAL = INCH / 2
"""Standard deviation of corrections before any run is seen. Engineering judgement: the physics is
seldom off by an inch."""
_BLURS: FloatArray = np.geomspace(1 / 16, 2.0, 8) * INCH
"""How much stagger a driver's feel scatters by, from sharp to blind."""
_CONTENTS: FloatArray = np.geomspace(1 / 16, 1.0, 5) * INCH
"""How far off the stagger may be before he minds."""
_LAPSE = 0.06
"""Share of answers that are slips of the tongue (engineering judgement)."""
_LAP_COSTS: FloatArray = np.geomspace(0.02, 2.0, 12) / INCH**2
"""Lap time lost to stagger off the best, s per m2: 1 in costs from 0.02 to 2 s."""
_WATCH = 0.02
"""Least scatter of a lap time between like runs, s (engineering judgement)."""
_FOLLOWS = math.log(20.0)
"""How much likelier the evidence must be when it follows the stagger than when it does not:
"strong" on the scale of Kass and Raftery."""
_TAIL = 0.005
"""Probability left out at each end of the interval."""
_REACH = 160
"""Steps of offset considered; a car further from its optimum counts as this far."""


@dataclass(frozen=True)
class _Watch:
    """Timed runs: stagger off the optimum, m; lap, s; stretch. Each of shape (runs,)."""

    offsets: FloatArray
    laps: FloatArray
    stretches: IntArray


@dataclass(frozen=True)
class _Posterior:
    """What is known of the correction: its median and interval, m.

    `follows` is the log of the Bayes factor for evidence that follows the stagger.
    """

    median: float
    interval: tuple[float, float]
    follows: float

    def doubt(self) -> str:
        """Why no correction is to be drawn from it; empty when one is."""
        low, high = self.interval
        if self.follows < _FOLLOWS:
            return "answers and lap times do not follow the stagger clearly enough"
        if low <= 0.0 <= high:
            return "no correction at all is as likely: the physics holds"
        return ""


def _posterior(offsets: FloatArray, said: IntArray, watch: _Watch) -> _Posterior:
    """The correction given the driver's answers and the lap times.

    Parameters
    ----------
    offsets : ndarray, shape (answers,)
        Stagger fitted minus optimum by physics, x, m.
    said : ndarray, shape (answers,)
        What the driver asked for, see `driver_says`.
    watch : _Watch

    Notes
    -----
    The car's best stagger is the optimum by physics plus c, the same for all nights of the car in
    the condition. The driver feels c - x, blurred: an ordinal model [1]_ with
    ``P(more) = F((c - x - t) / b)``, ``P(less) = F((x - c - t) / b)``, F logistic, t how far off he
    is content with, b the blur, and a few slips of the tongue. A lap is
    ``T = T_stretch + k (x - c)^2`` plus noise of unknown size; the level of each stretch is free,
    so that nights are not compared with one another. Blur, content, k and noise are averaged
    over what is plausible; c starts from a normal distribution about zero, so little evidence
    gives little correction.

    Taken for granted: the driver is not biased towards one answer whatever the stagger (the Bayes
    factor [2]_ against answers and laps unrelated to the stagger guards against it); within a
    stretch the surface does not drift along with the stagger.
    """
    prior = -0.5 * (CANDIDATES / USUAL) ** 2
    prior -= _log_sum(prior)
    driver, driver_null = _driver_evidence(offsets, said)
    laps, laps_null = _lap_evidence(watch)
    joint = prior + driver + laps
    evidence = float(_log_sum(joint))
    chance = np.exp(joint - evidence)
    low, median, high = np.interp(
        [_TAIL, 0.5, 1.0 - _TAIL], np.cumsum(chance) - 0.5 * chance, CANDIDATES
    )
    follows = evidence - driver_null - laps_null
    return _Posterior(float(median), (float(low), float(high)), follows)


def _driver_evidence(offsets: FloatArray, said: IntArray) -> tuple[FloatArray, float]:
    """Log likelihood of the answers for each candidate, and with no regard to the stagger."""
    at = np.clip(np.rint(offsets / STEP), -_REACH, _REACH).astype(int)
    places, where = np.unique(at, return_inverse=True)
    d = CANDIDATES[:, None] - places * STEP  # c - x, (candidates, places)
    blur = _BLURS[:, None, None, None]
    content = _CONTENTS[:, None, None]
    more, less = _logistic((d - content) / blur), _logistic((-d - content) / blur)
    total = np.zeros((len(_BLURS), len(_CONTENTS), len(CANDIDATES)))
    for answer, chance in ((1, more), (-1, less), (0, 1.0 - more - less)):
        heard = np.bincount(where[said == answer], minlength=len(places))
        total += np.log((1.0 - _LAPSE) * chance + _LAPSE / 3.0) @ heard
    cases = total.reshape(-1, len(CANDIDATES))
    return _log_sum(cases) - math.log(len(cases)), _unrelated(said)


def _unrelated(said: IntArray) -> float:
    """Log chance of answers that come in any proportions, all as likely, whatever the stagger."""
    counts = [int(np.sum(said == answer)) for answer in (1, 0, -1)]
    return math.lgamma(3) + sum(math.lgamma(n + 1) for n in counts) - math.lgamma(len(said) + 3)


def _lap_evidence(watch: _Watch) -> tuple[FloatArray, float]:
    """Log likelihood of the laps for each candidate, and with no regard to the stagger.

    With the level of every stretch and the noise integrated out (Jeffreys' prior) the likelihood
    is the sum of squares to the power of minus half the degrees of freedom.
    """
    if not len(watch.laps):
        return np.zeros_like(CANDIDATES), 0.0
    x, laps, groups = watch.offsets, watch.laps, watch.stretches
    free = len(laps) - len(np.unique(groups))
    T, q_1, q_2 = (_from_own_mean(values, groups) for values in (laps, x, x**2))
    q = q_2 - 2.0 * CANDIDATES[:, None] * q_1  # (x - c)^2 less its mean in the stretch
    k = _LAP_COSTS[:, None]
    squares = T @ T - 2.0 * k * (q @ T) + k**2 * np.sum(q**2, axis=1)
    floor = free * _WATCH**2
    cases = -0.5 * free * np.log(squares + floor)
    return _log_sum(cases) - math.log(len(cases)), -0.5 * free * math.log(T @ T + floor)


def _from_own_mean(values: FloatArray, groups: IntArray) -> FloatArray:
    _, which = np.unique(groups, return_inverse=True)
    means = np.bincount(which, values) / np.bincount(which)
    less: FloatArray = values - means[which]
    return less


def _logistic(z: FloatArray) -> FloatArray:
    value: FloatArray = 0.5 * (1.0 + np.tanh(0.5 * z))
    return value


def _log_sum(logs: FloatArray) -> FloatArray:
    """Log of the sum of exponentials over the first axis."""
    top = logs.max(axis=0)
    total: FloatArray = top + np.log(np.exp(logs - top).sum(axis=0))
    return total
