"""How often the notebook is fooled, and how often it finds what is there: seasons not its own.

python3 scripts/truth_seasons.py [seasons] [seed]

`figures` gives the rows that `bench.py --truth` prints. Drivers, tracks and laps are those of
`made_season.py`, none of them the model of `rollpath.book`; its constants were set on seeds from
0 and 1000, and are judged here on others.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from made_season import CAR, KINDS, SURFACE, Season, made_season, planned_season
from rollpath.book.lessons import Study, study_of
from rollpath.units import INCH

PUT_IN = 0.3
"""Correction put in for the power, in."""
WANDERING = replace(KINDS["plain"], off=PUT_IN, climbs="wander")


@dataclass(frozen=True)
class Tally:
    """Of the tracks of many seasons: corrections that are wrong, right, and intervals that cover.

    Wrong is one of the wrong sign, one where there is none, or one whose interval misses.
    """

    tracks: int
    false: int
    found: int
    covered: int


def tally(kind: Season, seasons: int, seed: int) -> Tally:
    tracks = false = found = covered = 0
    for i in range(seasons):
        pages, truth = made_season(kind, np.random.default_rng([seed, i]))
        for one in study_of(pages, CAR, SURFACE).tracks:
            best = truth[one.track or ""]
            inside = one.interval[0] <= best * INCH <= one.interval[1]
            right = one.correction is not None and one.estimate * best > 0 and inside
            tracks += 1
            covered += inside
            found += right
            false += one.correction is not None and not right
    return Tally(tracks, false, found, covered)


def figures(seasons: int = 100, seed: int = 77) -> list[tuple[str, str]]:
    """A row for each kind of season, then planned nights beside wandering ones."""
    rows = []
    for name, kind in KINDS.items():
        none = tally(kind, seasons, seed)
        there = tally(replace(kind, off=PUT_IN), seasons, seed)
        long = tally(replace(kind, nights=2 * kind.nights), seasons, seed)
        rows.append((
            name,
            f"false {none.false}/{none.tracks} in {kind.nights} nights, {long.false}/{long.tracks} "
            f"in {2 * kind.nights}; {PUT_IN} in found {there.found}/{there.tracks}; "
            f"99 in 100 cover {none.covered / none.tracks:.3f}, {there.covered / there.tracks:.3f}",
        ))  # fmt: skip
    return [*rows, *planned(seasons, seed)]


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
