"""Made-up runs for the tests of the notebook and of what it teaches. Nobody real."""

import shutil
import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from rollpath.book.run import Page, Run, settled
from rollpath.units import INCH, POUND


def made_run(stagger: float = 2.5, bite: float = 60.0, **changes: Any) -> Run:
    """A run with a rear stagger in inches and a bite in pounds."""
    values: dict[str, Any] = {
        "when": datetime(2026, 5, 2, 20, 15),
        "track": "Ropewalk",
        "car": "Number 31",
        "condition": "slick",
        "session": "heat 1",
        "left_front_rollout": 82.5 * INCH,
        "right_front_rollout": 83.75 * INCH,
        "left_rear_rollout": 83.75 * INCH,
        "right_rear_rollout": (83.75 + stagger) * INCH,
        "left_front_weight": 812 * POUND,
        "right_front_weight": 741 * POUND,
        "left_rear_weight": (800 + bite / 2) * POUND,
        "right_rear_weight": (800 - bite / 2) * POUND,
        "weights_from": "scales",
        "best_lap": 17.84,
        "recommended_stagger": 2.25 * INCH,
        "optimum_stagger": 2.21 * INCH,
        "window_low": 1 * INCH,
        "window_high": 4 * INCH,
    }
    return Run(**{**values, **changes})


def many_pages(count: int, **changes: Any) -> list[Page]:
    run = settled(made_run(**changes))
    return [Page(f"{i:032x}", i, 1, run.when, run) for i in range(1, count + 1)]


def old_book(path: Path, log: bool) -> None:
    """A book as the first schema wrote it, closed or with all of it still in the log beside it."""
    made = path.with_name("made.db")
    with closing(sqlite3.connect(made, isolation_level=None)) as raw:
        raw.execute(f"PRAGMA application_id={0x726F6C6C}")
        raw.execute("PRAGMA user_version=1")
        raw.execute("PRAGMA journal_mode=WAL")
        raw.executescript((Path(__file__).parent / "data_old_book.sql").read_text())
        for ending in ("", "-wal") if log else ():
            shutil.copyfile(f"{made}{ending}", f"{path}{ending}")
    if not log:
        made.replace(path)
    for left in path.parent.glob("made.db*"):
        left.unlink()


def driver_feels(short_by: float) -> dict[str, str]:
    """Answers of a driver who feels this much stagger missing, in inches, and minds 0.2 in."""
    if short_by > 0.2:
        return {"wheel": "left", "drifts_out": "yes"}
    if short_by < -0.2:
        return {"wheel": "right", "crabs": "yes"}
    return {"wheel": "straight", "drifts_out": "no"}


def made_nights(
    count: int,
    off: float,
    seed: int,
    *,
    runs: int = 3,
    feel: float = 0.25,
    watch: float = 0.06,
    talks: bool = True,
    timed: bool = True,
    follows: bool = True,
) -> list[Page]:
    """Nights of a car whose best stagger lies `off` inches above the optimum by physics.

    The driver's feel scatters by `feel` inches, the laps by `watch` seconds; an inch off the best
    stagger costs 0.15 s. When the nights do not follow the stagger, answers and laps are noise.
    """
    chance = np.random.default_rng(seed)
    pages = []
    for night in range(count):
        optimum = chance.normal(2.2, 0.3)
        level = chance.normal(17.8, 0.4)
        for number in range(runs):
            stagger = round(chance.normal(optimum, 0.5) * 8) / 8
            short_by = optimum + off - stagger
            if not follows:
                short_by = chance.normal(0.0, 0.5)
            lap = level + 0.15 * short_by**2 + chance.normal(0.0, watch)
            answers = driver_feels(short_by + chance.normal(0.0, feel))
            run = made_run(
                stagger,
                when=datetime(2026, 4, 4, 19) + timedelta(days=7 * night, minutes=40 * number),
                optimum_stagger=optimum * INCH,
                best_lap=lap if timed else None,
                **(answers if talks else {}),
            )
            n = night * runs + number + 1
            pages.append(Page(f"{n:032x}", n, 1, run.when, run))
    return pages
