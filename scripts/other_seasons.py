"""Seasons by another hand than `made_season.py`: what the notebook was not tuned on.

Laps saturate (a car that is far off does not lose for ever) and lose more on one side; drivers
keep asking until they are well past content; scatter has heavy tails; slow cars cost a lap an
exponential; staggers wander, climb, alternate or follow a plan.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from made_season import CAR, SURFACE, TRACKS
from numpy.random import Generator
from rollpath.book.run import Page, Run
from rollpath.units import INCH


@dataclass(frozen=True)
class Hands:
    """A driver: inches from which he asks and to which he goes on asking, scatter of his feel
    (uniform), what he likes beside the quickest, and the share of runs he speaks of."""

    asks: float = 0.5
    stops: float = 0.25
    scatter: float = 0.5
    likes: float = 0.0
    speaks: float = 0.8


@dataclass(frozen=True)
class Year:
    """How a season goes.

    Attributes
    ----------
    off, apart : float
        Best stagger less physics, and how tracks differ in that, in.
    worst, reach : float
        s lost far off, and in off at which half of that is lost.
    lopsided : float
        How much further the loss reaches below the best than above; 0 alike.
    watch : float
        Scatter of a lap, s; Student's t of 4.
    slows, differs, bends : float
        s a run that the track slows, how nights differ in it, share of it that comes early.
    fits : str
        ``wander``, ``up``, ``down``, ``alternate`` or ``any``.
    traffic : float
        Share of runs held up.
    """

    off: float = 0.0
    nights: int = 8
    runs: int = 4
    hands: Hands | None = Hands()
    tracks: int = 1
    apart: float = 0.0
    worst: float = 0.35
    reach: float = 1.0
    lopsided: float = 0.0
    watch: float = 0.05
    slows: float = 0.0
    differs: float = 0.0
    bends: float = 0.0
    fits: str = "any"
    spread: float = 0.5
    traffic: float = 0.0


def year(kind: Year, rng: Generator) -> tuple[list[Page], dict[str, float]]:
    """The runs of a season, and the correction that holds at each track, in."""
    names = TRACKS[: kind.tracks]
    truth = {name: kind.off + kind.apart * rng.standard_normal() for name in names}
    pages: list[Page] = []
    for night in range(kind.nights):
        name = names[night % len(names)]
        for run in _night(kind, name, truth[name], night, rng):
            n = len(pages) + 1
            pages.append(Page(f"{n:032x}", n, 1, run.when, run))
    return pages, truth


def _night(kind: Year, track: str, off: float, night: int, rng: Generator) -> Iterable[Run]:
    optimum = rng.uniform(1.9, 2.7)
    level, own = rng.uniform(15, 20), kind.slows + kind.differs * rng.standard_normal()
    asking = 0
    for i, fitted in enumerate(_fitted(kind, optimum, rng)):
        short = optimum + off - fitted
        lap = level + _lost(kind, short) + kind.watch * rng.standard_t(4) / 1.414
        lap += own * ((1 - kind.bends) * i + kind.bends * kind.runs / 2 * (1 - 0.4**i))
        if rng.uniform() < kind.traffic:
            lap += 0.1 + rng.exponential(0.3)
        answers, asking = _answers(kind.hands, short, asking, rng)
        left = 84.25 * INCH
        yield Run(
            datetime(2026, 4, 4, 19) + timedelta(days=7 * night, minutes=35 * i), track, CAR,
            SURFACE, left_rear_rollout=left, right_rear_rollout=left + fitted * INCH,
            optimum_stagger=optimum * INCH, best_lap=lap, **answers,
        )  # fmt: skip


def _lost(kind: Year, short: float) -> float:
    reach = kind.reach * (1 - np.sign(short) * kind.lopsided)
    return float(kind.worst * short**2 / (short**2 + reach**2))


def _fitted(kind: Year, optimum: float, rng: Generator) -> list[float]:
    """Staggers of a night, eighths of an inch."""
    middle = np.round(rng.normal(optimum, 0.25) * 8) / 8
    if kind.fits == "wander":
        return list(middle + rng.choice([-2, -1, 0, 1, 2], kind.runs).cumsum() / 8)
    if kind.fits == "alternate":
        return list(middle + rng.choice([-1, 1]) * 0.25 * (-1.0) ** np.arange(kind.runs))
    steps = np.round(rng.uniform(-1.7, 1.7, kind.runs) * kind.spread * 8) / 8
    if kind.fits == "any":
        return list(middle + steps)
    return list(middle + sorted(steps, reverse=kind.fits == "down"))


def _answers(
    hands: Hands | None, short: float, asking: int, rng: Generator
) -> tuple[dict[str, str], int]:
    """What he answers, and what he goes on asking for."""
    if hands is None:
        return {}, 0
    feels = short + hands.likes + hands.scatter * rng.uniform(-1, 1)
    limit = hands.stops if asking * feels > 0 else hands.asks
    asking = int(np.sign(feels)) * (abs(feels) > limit)
    if rng.uniform() > hands.speaks:
        return {}, asking
    return {
        0: {"wheel": "straight", "drifts_out": "no"},
        1: {"wheel": "left", "drifts_out": "yes"},
        -1: {"wheel": "right", "crabs": "yes"},
    }[asking], asking


STEADY = Year()
LEANS_UP, LEANS_DOWN = Hands(likes=0.3), Hands(likes=-0.3)
YEARS: dict[str, Year] = {
    "steady": STEADY,
    "three runs a night": replace(STEADY, runs=3),
    "five runs a night": replace(STEADY, runs=5),
    "sharp hands": replace(STEADY, hands=Hands(asks=0.2, stops=0.1, scatter=0.3)),
    "numb hands": replace(STEADY, hands=Hands(asks=0.9, stops=0.5, scatter=0.8)),
    "silent": replace(STEADY, hands=None),
    "leans +0.3": replace(STEADY, hands=LEANS_UP),
    "leans -0.3": replace(STEADY, hands=LEANS_DOWN),
    "leans, three runs": replace(STEADY, runs=3, hands=LEANS_UP),
    "lopsided": replace(STEADY, lopsided=0.1),
    "leans, lopsided alike": replace(STEADY, lopsided=0.1, hands=LEANS_UP),
    "leans, lopsided against": replace(STEADY, lopsided=-0.1, hands=LEANS_UP),
    "leans, slows, climbs": replace(STEADY, slows=0.08, fits="up", hands=LEANS_UP),
    "slows, climbs": replace(STEADY, slows=0.08, fits="up"),
    "slows, falls": replace(STEADY, slows=0.08, fits="down"),
    "quickens, climbs": replace(STEADY, slows=-0.06, fits="up"),
    "slows unlike, climbs": replace(STEADY, slows=0.06, differs=0.05, fits="up"),
    "slows unlike": replace(STEADY, slows=0.06, differs=0.05),
    "slows early, climbs": replace(STEADY, slows=0.08, bends=0.8, fits="up"),
    "alternates, slows": replace(STEADY, slows=0.08, fits="alternate"),
    "wanders, slows": replace(STEADY, slows=0.05, fits="wander"),
    "traffic": replace(STEADY, traffic=0.25),
    "traffic, leans": replace(STEADY, traffic=0.25, hands=LEANS_UP),
    "tracks differ": replace(STEADY, tracks=3, apart=0.3, nights=12),
}
"""Seasons by name; those that put no correction in are to give none."""
