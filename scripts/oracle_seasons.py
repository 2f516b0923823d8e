"""What the laps of made-up seasons could say at most: to hold the notebook against.

python3 scripts/oracle_seasons.py [seasons] [seed]

The oracle knows the generator: how a lap is lost beside the best stagger, lopsided or not, how laps
scatter, how the trend of a night differs from the season's. It does not know the best stagger,
what the car loses beside it (within a factor of 3, two in three), the level of a night, the trend
of the season, nor what the driver likes, so the driver tells it no more than the side: it offers a
correction when it is 98 in 100 sure of one side. Least squares with known covariance (Aitken, Proc.
R. Soc. Edinburgh 55 (1935) 42-48), on a grid. It does not see traffic.
"""

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from dataclasses import replace

from made_season import KINDS, Season
from other_seasons import YEARS, Year
from rollpath.book.run import Page
from rollpath.units import INCH
from truth_seasons import PUT_IN, season_of

Floats = NDArray[np.float64]
CORRECTIONS: Floats = np.arange(-48, 49) / 32.0
COSTS: Floats = np.geomspace(0.15, 6.0, 15)
SURE = 0.98


def loss(kind: Season | Year, short: Floats) -> Floats:
    """s lost where stagger is short of the best by so many inches."""
    if isinstance(kind, Year):
        reach = kind.reach * (1 - np.sign(short) * kind.lopsided)
        return np.asarray(kind.worst * short**2 / (short**2 + reach**2))
    return np.asarray(np.where(short > 0, 1.15, 0.87) * kind.cost * np.abs(short) ** 1.6)


def chance_of_more(kind: Season | Year, pages: list[Page]) -> float:
    """How sure the oracle is that more stagger is wanted."""
    nights, night = np.unique([page.run.when.date() for page in pages], return_inverse=True)
    order = np.concatenate([np.arange(np.sum(night == one)) for one in range(len(nights))])
    offsets = np.array([page.run.off_optimum for page in pages], float) / INCH
    laps = np.array([page.run.best_lap for page in pages], float)
    own = kind.differs if isinstance(kind, Year) else kind.unsteady
    same = night[:, None] == night
    covariance = kind.watch**2 * np.eye(len(laps)) + own**2 * same * np.outer(order, order)
    white = np.linalg.cholesky(np.linalg.inv(covariance)).T
    free = np.column_stack([night[:, None] == np.arange(len(nights)), order])
    basis, _ = np.linalg.qr(white @ free)
    left = white - basis @ (basis.T @ white)
    seen = left @ laps
    lost = np.array([loss(kind, one - offsets) for one in CORRECTIONS]) @ left.T
    log = np.array([
        -0.5 * ((seen - cost * lost) ** 2).sum(axis=1) - 0.5 * np.log(cost) ** 2 for cost in COSTS
    ]) - 0.5 * (CORRECTIONS / 0.5) ** 2  # fmt: skip
    chance = np.exp(log - log.max()).sum(axis=0)
    chance /= chance.sum()
    middle = len(chance) // 2
    return float(chance[middle + 1 :].sum() + 0.5 * chance[middle])


def power(kind: Season | Year, seasons: int, seed: int) -> tuple[float, float]:
    """Share of seasons in which it shows `PUT_IN`, more and less."""

    def sure(off: float) -> float:
        made = (
            season_of(replace(kind, off=off), np.random.default_rng([seed, i]))[0]
            for i in range(seasons)
        )
        more = np.array([chance_of_more(kind, pages) for pages in made])
        return float(np.mean(more > SURE if off > 0 else more < 1 - SURE))

    return sure(PUT_IN), sure(-PUT_IN)


def main(seasons: int = 100, seed: int = 77) -> None:
    kinds: dict[str, Season | Year] = {
        name: kind for name, kind in KINDS.items() if kind.timed and kind.follows
    }
    for name, kind in [*kinds.items(), *YEARS.items()]:
        if kind.tracks == 1 and not kind.traffic:
            more, less = power(kind, seasons, seed)
            print(f"{name:<24}+{PUT_IN} in {more:.2f}, -{PUT_IN} in {less:.2f}", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
