"""How often the notebook is fooled, and how often it finds what is there: seasons not its own.

python3 scripts/truth_seasons.py [seasons] [seed]

`figures` gives the rows that `bench.py --truth` prints. Drivers, tracks and laps are those of
`made_season.py` and `other_seasons.py`, on which the constants of `rollpath.book` were set (other
seeds), and those of `chance_seasons.py`, by a third hand, which judge them. None is the model of
the notebook.
"""

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from chance_seasons import DRAWS, Draw, drawn
from made_season import CAR, KINDS, SURFACE, Season, made_season, planned_season
from other_seasons import YEARS, Year, year
from rollpath.book.lessons import COVERS, study_of
from rollpath.book.run import Page
from rollpath.units import INCH

PUT_IN = 0.3
"""Correction put in for the power, in."""
MOST_NIGHTS = 20
"""After which nobody waits any longer for a correction to show."""
WANDERERS = {
    "plain": replace(KINDS["plain"], climbs="wander"),
    "slows": replace(KINDS["plain"], climbs="wander", drift=0.06, unsteady=0.02),
    "no driver": replace(KINDS["plain"], climbs="wander", driver=None),
}


@dataclass(frozen=True)
class Tally:
    """Of the tracks of many seasons: corrections that are wrong, right, and intervals that cover.

    Wrong is one of the wrong sign or one where there is none; a right one may still miss.
    """

    tracks: int
    false: int
    found: int
    covered: int


Kind = Season | Year | Draw


def season_of(kind: Kind, rng: np.random.Generator) -> tuple[list[Page], dict[str, float]]:
    """The runs of a season of a kind, and the correction that holds at each track, in."""
    if isinstance(kind, Draw):
        return drawn(kind, rng)
    return year(kind, rng) if isinstance(kind, Year) else made_season(kind, rng)


def tally(kind: Kind, seasons: int, seed: int) -> Tally:
    tracks = false = found = covered = 0
    for i in range(seasons):
        pages, truth = season_of(kind, _rng(seed, i))
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
    yield "by a third hand", ""
    yield from ((name, _row(kind, seasons, seed)) for name, kind in DRAWS.items())
    yield from planned(seasons, seed)


def _row(kind: Kind, seasons: int, seed: int) -> str:
    none = tally(kind, seasons, seed)
    more, less = (tally(replace(kind, off=off), seasons, seed) for off in (PUT_IN, -PUT_IN))
    return (
        f"false {none.false}/{none.tracks} in {kind.nights} nights; +{PUT_IN} in found "
        f"{more.found}/{more.tracks}, -{PUT_IN} {less.found}/{less.tracks}, "
        f"{more.false + less.false} of the wrong sign; {100 * COVERS:.0f} in 100 cover "
        f"{none.covered / none.tracks:.2f}, {(more.covered + less.covered) / 2 / more.tracks:.2f}"
    )


def planned(seasons: int, seed: int) -> list[tuple[str, str]]:
    """Runs until the correction is shown, half of the seasons each way: evenings as planned, and
    as racers wander."""
    rows = []
    for name, kind in WANDERERS.items():
        runs = {
            way: sorted(
                runs_until_shown(replace(kind, off=off), _rng(seed, i), way == "planned")
                for off in (PUT_IN, -PUT_IN) for i in range(seasons // 2)
            )
            for way in ("planned", "wandering")
        }  # fmt: skip
        told = "; ".join(
            f"{way}: half of the seasons by {_by(found, 0.5)}, two in three by {_by(found, 0.67)}"
            for way, found in runs.items()
        )
        rows.append((f"runs, {name}", told))
    return rows


def runs_until_shown(season: Season, rng: np.random.Generator, is_planned: bool) -> float:
    """Runs, night by night, until the correction that was put in is shown."""
    whole = replace(season, nights=MOST_NIGHTS)
    pages = planned_season(whole, rng) if is_planned else made_season(whole, rng)[0]
    for runs in range(2 * season.runs, len(pages) + 1, season.runs):
        found = study_of(pages[:runs], CAR, SURFACE)
        if found.correction is not None and found.estimate * season.off > 0:
            return runs
    return math.inf


def _by(runs: list[float], share: float) -> str:
    """The runs by which so many of the seasons show it."""
    found = runs[math.ceil(share * len(runs)) - 1]
    return f"more than {MOST_NIGHTS * 4}" if math.isinf(found) else f"{found:.0f}"


def _rng(seed: int, season: int) -> np.random.Generator:
    return np.random.default_rng([seed, season])


if __name__ == "__main__":
    typed = [int(word) for word in sys.argv[1:]]
    for name, told in figures(*typed):
        print(f"{name:<24}{told}", flush=True)
