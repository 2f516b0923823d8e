"""Cases side by side."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.screen import feet, inches
from rollpath.track import CONDITIONS
from rollpath.units import FloatArray

if TYPE_CHECKING:
    from rollpath.files.sweeps import Sweep
    from rollpath.stagger import Baseline

SORT_KEYS: dict[str, Callable[[Baseline], Any]] = {
    "stagger": lambda result: float(result.stagger.unbounded),
    "track": lambda result: result.track.name,
    "condition": lambda result: list(CONDITIONS).index(result.condition.name),
    "groove": lambda result: result.groove.name,
    "lap": lambda result: float(result.groove.length),
    "time": lambda result: float(result.lap.time),
    "scrub": lambda result: float(result.then.lap),
}


def sorted_rows(results: list[Baseline], key: str | None) -> list[Baseline]:
    """The results in the order asked, or as they came."""
    return results if key is None else sorted(results, key=SORT_KEYS[key])


SWEEP_FIGURES: dict[str, Callable[[Baseline], Any]] = {
    "recommended_in": lambda result: inches(result.stagger.recommended),
    "optimum_in": lambda result: inches(result.stagger.optimum),
    "unbounded_in": lambda result: inches(result.stagger.unbounded),
    "band_low_in": lambda result: inches(result.stagger.band[0]),
    "band_high_in": lambda result: inches(result.stagger.band[1]),
    "loaded_corner_1_in": lambda result: inches(result.stagger.loaded_corner[0]),
    "loaded_corner_2_in": lambda result: inches(result.stagger.loaded_corner[1]),
    "scrub_ft": lambda result: feet(result.then.lap),
    "lap_ft": lambda result: feet(result.groove.length),
    "time_s": lambda result: result.lap.time,
}


def sweep_rows(sweep: Sweep, points: list[Baseline]) -> dict[str, FloatArray]:
    """The figures of `SWEEP_FIGURES` for each swept value, each of shape (cases,)."""
    count = len(sweep.values)
    rows = {}
    for name, figure in SWEEP_FIGURES.items():
        found = np.concatenate([np.atleast_1d(figure(point)) for point in points])
        rows[name] = np.broadcast_to(found, count) if len(found) == 1 else found
    return rows
