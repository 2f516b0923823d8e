"""How often the notebook is fooled, and how often it finds what is there: seasons not its own.

python3 scripts/truth_seasons.py [seasons] [seed]

`figures` gives the rows that `bench.py --truth` prints. Drivers, tracks and laps are those of
`made_season.py`, on which the constants of `rollpath.book` were set (other seeds), and those of
`other_seasons.py`, by another hand, which judge them. None is the model of the notebook.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from made_season import CAR, KINDS, SURFACE, Season, made_season, planned_season
from other_seasons import YEARS, Year, year
from rollpath.book.lessons import COVERS, Study, study_of
from rollpath.units import INCH

PUT_IN = 0.3
"""Correction put in for the power, in."""
WANDERING = replace(KINDS["plain"], off=PUT_IN, climbs="wander")


@dataclass(frozen=True)
class Tally:
    """Of the tracks of many seasons: corrections that are wrong, right, and intervals that cover.

    Wrong is one of the wrong sign or one where there is none; a right one may still miss.
    """

    tracks: int
    false: int
    found: int
    covered: int


def tally(kind: Season | Year, seasons: int, seed: int) -> Tally:
    tracks = false = found = covered = 0
    for i in range(seasons):
        rng = _rng(seed, i)
        pages, truth = year(kind, rng) if isinstance(kind, Year) else made_season(kind, rng)
        for one in study_of(pages, CAR, SURFACE).tracks:
            best = truth[one.track or ""]
            right = one.correction is not None and one.estimate * best > 0
            tracks += 1
            covered += one.interval[0] <= best * INCH <= one.interval[1]
            found += right
            false += one.correction is not None and not right
    return Tally(tracks, false, found, covered)


def figures(seasons: int = 100, seed: int = 77) -> Iterator[tuple[str, str]]:
    """A row for each kind of season, then planned nights beside wandering ones."""
    yield from ((name, _row(kind, seasons, seed)) for name, kind in KINDS.items())
    yield "by another hand", ""
    yield from ((name, _row(kind, seasons, seed)) for name, kind in YEARS.items())
    yield from planned(seasons, seed)


def _row(kind: Season | Year, seasons: int, seed: int) -> str:
    none = tally(kind, seasons, seed)
    more, less = (tally(replace(kind, off=off), seasons, seed) for off in (PUT_IN, -PUT_IN))
    return (
        f"false {none.false}/{none.tracks} in {kind.nights} nights; +{PUT_IN} in found "
        f"{more.found}/{more.tracks}, -{PUT_IN} {less.found}/{less.tracks}, "
        f"{more.false + less.false} of the wrong sign; {100 * COVERS:.0f} in 100 cover "
        f"{none.covered / none.tracks:.2f}, {(more.covered + less.covered) / 2 / more.tracks:.2f}"
    )


def planned(seasons: int, seed: int) -> list[tuple[str, str]]:
    """How often the correction is shown: evenings as planned, and as racers wander."""

    def shown(studies: list[Study]) -> str:
        return f"{sum(one.correction is not None for one in studies)}/{seasons}"

    rows = []
    for nights in (6, 8):
        made = [
            study_of(planned_season(replace(WANDERING, nights=nights), _rng(seed, i)), CAR, SURFACE)
            for i in range(seasons)
        ]
        walk = replace(WANDERING, nights=nights * 3 // 2)
        walked = [
            study_of(made_season(walk, _rng(seed, i))[0], CAR, SURFACE) for i in range(seasons)
        ]
        rows.append((
            f"{nights} planned nights",
            f"{PUT_IN} in shown {shown(made)}; {walk.nights} wandering nights {shown(walked)}",
        ))  # fmt: skip
    return rows


def _rng(seed: int, season: int) -> np.random.Generator:
    return np.random.default_rng([seed, season])


if __name__ == "__main__":
    typed = [int(word) for word in sys.argv[1:]]
    for name, told in figures(*typed):
        print(f"{name:<24}{told}", flush=True)
