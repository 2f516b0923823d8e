"""Seasons by a third hand, on which nothing was tuned: each draws its own car, driver and track.

The crew does as crews do: it goes the way the driver asks, or up all night, or wherever it likes.
Laps lose nothing near the best and then steadily; scatter is Laplace's and differs from night to
night; the track slows or quickens unsteadily; what the driver likes beside the quickest is drawn.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from made_season import CAR, SURFACE, TRACKS
from numpy.random import Generator
from rollpath.book.run import Page, Run
from rollpath.units import INCH


@dataclass(frozen=True)
class Draw:
    """How seasons are drawn.

    Attributes
    ----------
    off, apart : float
        Best stagger less physics, and how tracks differ in that, in.
    crew : str
        ``asks`` goes the way the driver asks, ``up`` climbs all night, ``any``.
    likes : float or None
        What the driver likes beside the quickest, in; None is drawn, a quarter inch either way.
    drift : float
        s that the track slows a run, most likely; the season's own is drawn from 0 to twice that.
    """

    off: float = 0.0
    nights: int = 8
    runs: int = 4
    crew: str = "any"
    likes: float | None = 0.0
    drift: float = 0.0
    tracks: int = 1
    apart: float = 0.0
    silent: bool = False


def drawn(kind: Draw, rng: Generator) -> tuple[list[Page], dict[str, float]]:
    """The runs of a season, and the correction that holds at each track, in."""
    truth = {name: kind.off + kind.apart * rng.standard_normal() for name in TRACKS[: kind.tracks]}
    season = {
        "cost": rng.uniform(0.15, 0.35), "flat": rng.uniform(0.0, 0.15),
        "minds": rng.uniform(0.25, 0.8), "blur": rng.uniform(0.1, 0.35),
        "likes": rng.normal(0.0, 0.25) if kind.likes is None else kind.likes,
        "drift": kind.drift * rng.uniform(0.0, 2.0),
    }  # fmt: skip
    pages: list[Page] = []
    for night in range(kind.nights):
        name = list(truth)[night % len(truth)]
        for run in _night(kind, season, name, truth[name], night, rng):
            n = len(pages) + 1
            pages.append(Page(f"{n:032x}", n, 1, run.when, run))
    return pages, truth


def _night(
    kind: Draw, season: dict[str, float], track: str, off: float, night: int, rng: Generator
) -> list[Run]:
    optimum, level = rng.uniform(1.6, 2.9), rng.uniform(14.0, 21.0)
    watch, slope = rng.uniform(0.03, 0.08), season["drift"] * rng.uniform(0.5, 1.5)
    fitted = round((optimum + rng.uniform(-0.6, 0.6)) * 8) / 8
    if kind.crew == "up":
        fitted = round((optimum - rng.uniform(0.2, 0.7)) * 8) / 8
    runs: list[Run] = []
    for i in range(kind.runs):
        short = optimum + off - fitted
        lap = level + slope * i + rng.laplace(0.0, watch / 1.414)
        lap += season["cost"] * max(abs(short) - season["flat"], 0.0) ** 1.5
        feels = short + season["likes"] + season["blur"] * rng.logistic() / 1.8
        asks = int(np.sign(feels)) * (abs(feels) > season["minds"])
        left = 84.0 * INCH
        runs.append(Run(
            datetime(2026, 4, 4, 19) + timedelta(days=7 * night, minutes=30 * i), track, CAR,
            SURFACE, left_rear_rollout=left, right_rear_rollout=left + fitted * INCH,
            optimum_stagger=optimum * INCH, best_lap=lap,
            **({} if kind.silent else _ANSWERS[asks]),
        ))  # fmt: skip
        fitted += _step(kind.crew, asks, rng)
    return runs


_ANSWERS: dict[int, dict[str, str]] = {
    0: {"wheel": "straight", "drifts_out": "no"},
    1: {"wheel": "left", "drifts_out": "yes"},
    -1: {"wheel": "right", "crabs": "yes"},
}


def _step(crew: str, asks: int, rng: Generator) -> float:
    """What the crew adds for the next run, in."""
    if crew == "up":
        return float(rng.integers(1, 4)) / 8
    if crew == "asks":
        return 0.375 * asks if asks else float(rng.choice([-0.25, 0.0, 0.25]))
    return float(rng.integers(-5, 6)) / 8


DRAWS: dict[str, Draw] = {
    "any car": Draw(),
    "any car, any driver": Draw(likes=None),
    "goes as he asks": Draw(crew="asks"),
    "goes as he asks, leans": Draw(crew="asks", likes=0.3),
    "leans": Draw(likes=-0.3),
    "silent": Draw(silent=True),
    "climbs, slows": Draw(crew="up", drift=0.06),
    "climbs, slows, leans": Draw(crew="up", drift=0.06, likes=0.3),
    "climbs, quickens": Draw(crew="up", drift=-0.06, likes=None),
    "slows": Draw(drift=0.06, likes=None),
    "three runs": Draw(runs=3),
    "tracks differ": Draw(tracks=3, apart=0.3, nights=12),
}
"""Seasons by name; those that put no correction in are to give none."""
