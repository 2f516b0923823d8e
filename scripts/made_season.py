"""Seasons of made-up nights with their faults: to see what the notebook may be told by them.

None of it is the model of `rollpath.book`: lap time grows with the power 1.6 of what stagger is
off and not alike on both sides, drivers feel with normal noise and a mood of the night, tracks
slow down and level off, traffic costs laps.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator
from rollpath.book.run import Page, Run
from rollpath.units import INCH

CAR, SURFACE = "Number 31", "slick"
TRACKS = ("Ropewalk", "Two Ponds", "Saucer Hill", "Millrace")


@dataclass(frozen=True)
class Driver:
    """Inches: what he does not mind, how he scatters from run to run and night to night, what he
    likes beside the quickest; and how often he says "fine" without thinking."""

    minds: float = 0.45
    blur: float = 0.25
    mood: float = 0.1
    bias: float = 0.0
    lazy: float = 0.0


@dataclass(frozen=True)
class Season:
    """How a season goes.

    Attributes
    ----------
    off : float
        Best stagger less physics, in.
    apart : float
        How tracks differ in that, standard deviation, in.
    cost, watch : float
        s lost an inch off the best, and scatter of a lap.
    drift, unsteady : float
        s that the track slows a run, and how that differs from night to night.
    levels_off : bool
        Most of the drift comes in the first runs.
    climbs : str
        ``any`` staggers in any order, ``up`` through the night, ``down``, ``one way`` of the two,
        ``wander`` as racers do: stay, or an eighth or a quarter either way.
    traffic : float
        Share of runs held up by two tenths or more.
    """

    off: float = 0.0
    nights: int = 8
    runs: int = 4
    driver: Driver | None = Driver()
    tracks: int = 1
    apart: float = 0.0
    cost: float = 0.2
    watch: float = 0.06
    timed: bool = True
    drift: float = 0.0
    unsteady: float = 0.0
    levels_off: bool = False
    climbs: str = "any"
    spread: float = 0.45
    traffic: float = 0.0
    follows: bool = True


def made_season(season: Season, rng: Generator) -> tuple[list[Page], dict[str, float]]:
    """The runs of a season, and the correction that holds at each track, in."""
    names = TRACKS[: season.tracks]
    truth = {name: season.off + season.apart * rng.standard_normal() for name in names}
    pages: list[Page] = []
    for night in range(season.nights):
        name = names[night % len(names)]
        optimum = rng.normal(2.3, 0.25)
        fitted = _staggers(season, optimum, rng)
        for run in _night(season, name, truth[name], night, rng, optimum, fitted):
            n = len(pages) + 1
            pages.append(Page(f"{n:032x}", n, 1, run.when, run))
    return pages, truth


def planned_season(season: Season, rng: Generator) -> list[Page]:
    """The runs of a season in which every evening goes as `rollpath.book.next` plans it."""
    from rollpath.book.next import next_run

    pages: list[Page] = []
    for night in range(season.nights):
        optimum = rng.normal(2.3, 0.25)
        plan = pages and next_run(pages, CAR, SURFACE, optimum=optimum * INCH, runs=season.runs)
        fitted = [one / INCH for one in plan.plan] if plan else _staggers(season, optimum, rng)
        for run in _night(season, TRACKS[0], season.off, night, rng, optimum, fitted):
            n = len(pages) + 1
            pages.append(Page(f"{n:032x}", n, 1, run.when, run))
    return pages


def _night(
    season: Season, track: str, off: float, night: int, rng: Generator,
    optimum: float, fitted: list[float],
) -> list[Run]:  # fmt: skip
    level = rng.normal(17.8, 0.4)
    mood = 0.0 if season.driver is None else rng.normal(0.0, season.driver.mood)
    slope = rng.normal(season.drift, season.unsteady)
    runs = []
    for i, stagger in enumerate(fitted):
        short = optimum + off - stagger
        if not season.follows:
            short = rng.normal(0.0, 0.5)
        gone = season.runs / 2 * (1 - np.exp(-i / 1.5)) if season.levels_off else i
        side = 1.15 if short > 0 else 0.87
        lap = level + slope * gone + side * season.cost * abs(short) ** 1.6
        lap += rng.normal(0.0, season.watch)
        if rng.uniform() < season.traffic:
            lap += rng.uniform(0.2, 0.7)
        when = datetime(2026, 4, 4, 19) + timedelta(days=7 * night, minutes=35 * i)
        left = 83.75 * INCH
        runs.append(Run(
            when, track, CAR, SURFACE, left_rear_rollout=left,
            right_rear_rollout=left + stagger * INCH, optimum_stagger=optimum * INCH,
            best_lap=lap if season.timed else None,
            **_answers(season.driver, short + mood, rng),
        ))  # fmt: skip
    return runs


def _staggers(season: Season, optimum: float, rng: Generator) -> list[float]:
    """What is fitted through the night, eighths of an inch."""
    if season.climbs == "wander":
        steps = rng.choice([-0.25, -0.125, 0.0, 0.125, 0.25], season.runs).cumsum()
        return list(np.round(rng.normal(optimum, 0.25) * 8) / 8 + steps)
    fitted = np.round(rng.normal(optimum, season.spread, season.runs) * 8) / 8
    if season.climbs == "any":
        return list(fitted)
    up = season.climbs == "up" or (season.climbs == "one way" and rng.uniform() < 0.5)
    return sorted(fitted, reverse=not up)


def _answers(driver: Driver | None, short: float, rng: Generator) -> dict[str, str]:
    if driver is None:
        return {}
    feels = short + driver.bias + rng.normal(0.0, driver.blur)
    if abs(feels) <= driver.minds or rng.uniform() < driver.lazy:
        return {"wheel": "straight", "drifts_out": "no"}
    if feels > 0:
        return {"wheel": "left", "drifts_out": "yes"}
    return {"wheel": "right", "crabs": "yes"}


PLAIN = Season()
KINDS: dict[str, Season] = {
    "plain": PLAIN,
    "sharp driver": replace(PLAIN, driver=Driver(minds=0.2)),
    "numb driver": replace(PLAIN, driver=Driver(minds=0.8, blur=0.4)),
    "lazy driver": replace(PLAIN, driver=Driver(lazy=0.6)),
    "no driver": replace(PLAIN, driver=None),
    "no watch": replace(PLAIN, timed=False),
    "biased +0.3": replace(PLAIN, driver=Driver(bias=0.3)),
    "biased -0.5": replace(PLAIN, driver=Driver(bias=-0.5)),
    "biased, no watch": replace(PLAIN, driver=Driver(bias=0.3), timed=False),
    "slows, climbing": replace(PLAIN, drift=0.08, climbs="up"),
    "slows, falling": replace(PLAIN, drift=0.08, climbs="down"),
    "slows unsteadily": replace(PLAIN, drift=0.06, unsteady=0.06, climbs="up"),
    "slows, levels off": replace(PLAIN, drift=0.1, levels_off=True, climbs="up"),
    "levels off, no driver": replace(PLAIN, drift=0.1, levels_off=True, climbs="down", driver=None),
    "traffic": replace(PLAIN, traffic=0.25),
    "tracks differ": replace(PLAIN, tracks=3, apart=0.3, nights=12),
    "noise": replace(PLAIN, follows=False),
}
"""Seasons by name; those that put no correction in are to give none."""
