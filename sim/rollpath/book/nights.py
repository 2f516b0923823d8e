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
from datetime import date
from itertools import pairwise
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollpath.book.run import Page, Run, evening_of
from rollpath.car import Car
from rollpath.corners import CORNERS, Corners
from rollpath.scales.rates import bite_rates, pads_with
from rollpath.scales.twist import Change as CornerChange
from rollpath.units import INCH, POUND, PSI, Real

IntArray = NDArray[np.int_]
Four = Corners[float | None]
"""One value for each corner; None is not known."""
Setting = float | str | Four
_UNKNOWN: Four = Corners(None, None, None, None)


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


def mean_rear_rollout(run: Run) -> float | None:
    left, right = run.left_rear_rollout, run.right_rear_rollout
    return None if left is None or right is None else 0.5 * (left + right)


def _four(thing: str) -> Callable[[Run], Four | None]:
    """Reads something of the four corners of a run; None where not one is known."""
    read = attrgetter(*(f"{corner}_{thing}" for corner in CORNERS))

    def four(run: Run) -> Four | None:
        values: Four = Corners(*read(run))
        return None if values == _UNKNOWN else values

    return four


def _turns(run: Run) -> Four:
    """Jack turns; a jack that was not spoken of was not turned."""
    return (_jacks(run) or _UNKNOWN).map(lambda turns: turns or 0.0)


_jacks = _four("jack")


def _weights(run: Run) -> Corners[float] | None:
    """The four pads; None unless all of them are known."""
    values = [weight for weight in _pads(run) or () if weight is not None]
    return Corners(*values) if len(values) == len(CORNERS) else None


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
    Thing("rear tire size", "tape", mean_rear_rollout, 1.25 * INCH),
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
        day = evening_of(page.run.when)
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
    gain = counted_lap(before.run) - counted_lap(after.run)
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
    if isinstance(a, Corners) and isinstance(b, Corners):
        return max(_apart(x, y) for x, y in zip(a, b, strict=True))
    assert not isinstance(a, Corners) and not isinstance(b, Corners)
    return abs(b - a)


def _apart(a: float | None, b: float | None) -> float:
    return 0.0 if a is None or b is None else abs(b - a)


def _bite_was_read(before: Run, after: Run) -> bool:
    """Bite known of both, and not just carried over from one to the other."""
    a, b = _weights(before), _weights(after)
    return a is not None and b is not None and a != b


def counted_lap(run: Run) -> float:
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
    pads = pads_with(replace(car, weights=weights), bite_rates(car), change).weights
    new: dict[str, Any] = {f"{corner}_weight": float(pad) for corner, pad in pads.by_name().items()}
    return replace(run, weights_from="predicted", **new)


def _same_pads(a: Corners[float] | None, b: Corners[float]) -> bool:
    return a is not None and _moved(a, b) < _SCALE_ROUNDING


def _added(before: Four | None, after: Four | None) -> Corners[Real]:
    """What was added at each corner; nothing where it is not known of both."""
    pairs = zip(before or _UNKNOWN, after or _UNKNOWN, strict=True)
    moved = [0.0 if a is None or b is None else b - a for a, b in pairs]
    return Corners(*(0.0 if abs(one) < _TAPE_ROUNDING else one for one in moved))
