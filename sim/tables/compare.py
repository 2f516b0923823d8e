"""The words and figures of `rollpath compare`: cases side by side, and a sweep by numbers."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.tables.common import (
    case_json,
    case_words,
    caution_lines,
    columns,
    paragraph,
    sections,
    tape_range,
)
from sim.track import CONDITIONS
from sim.units import (
    FOOT,
    INCH,
    FloatArray,
    Screen,
    feet,
    inches,
    nearest_eighth,
    trade_values,
)

if TYPE_CHECKING:
    from sim.bite import StaggerEffect
    from sim.files import Sweep
    from sim.stagger import Baseline

SORT_KEYS: dict[str, Callable[[Baseline], Any]] = {
    "stagger": lambda result: float(result.stagger.unbounded),
    "track": lambda result: result.track.name,
    "condition": lambda result: list(CONDITIONS).index(result.condition.name),
    "groove": lambda result: result.groove.name,
    "lap": lambda result: float(result.groove.length),
    "time": lambda result: float(result.lap.time),
    "scrub": lambda result: float(result.then.lap),
}
WHERE_FROM = (
    "Where it comes from (before the window, estimates): the line's mean need, what tire",
    "load adds, and what weighing it where the car drives adds",
)


def sorted_rows(results: list[Baseline], key: str | None) -> list[Baseline]:
    """The results in the order asked, or as they came."""
    return results if key is None else sorted(results, key=SORT_KEYS[key])


def compare_screen(results: list[Baseline], effects: list[StaggerEffect], screen: Screen) -> str:
    """Every case side by side: what it asks for, then where that comes from."""
    names = _case_names(results)
    asked = [
        ["track", "surface", "groove", "stagger", "as good", "corners need", "scrub",
         "lap", "time", "turning", "bite"],
        *(
            [*name, *_asked_cells(result, effect, screen)]
            for name, result, effect in zip(names, results, effects, strict=True)
        ),
    ]  # fmt: skip
    parts = [
        ["track", "surface", "groove", "best", "=", "line", "load", "drive"],
        *(
            [*name, screen.fine(best.unbounded), "",
             *(screen.fine(part, signed=True) for part in vars(best.parts).values())]
            for name, best in zip(names, (result.stagger for result in results), strict=True)
        ),
    ]  # fmt: skip
    return sections(
        [
            [paragraph(difference_words(results, screen))],
            [
                *columns(asked),
                *(["* at the end of the window"] if _any_at_window(results) else []),
            ],
            [*WHERE_FROM, *columns(parts)],
            caution_lines(),
        ]
    )


def _any_at_window(results: list[Baseline]) -> bool:
    return any(result.stagger.at_window is not None for result in results)


def _case_names(results: list[Baseline]) -> list[list[str]]:
    """Track, surface and groove of each case; the car too where there are several."""
    several = len({result.car.name for result in results}) > 1
    return [
        [
            f"{result.track.name}, {result.car.name}" if several else result.track.name,
            result.condition.name,
            result.groove.name,
        ]
        for result in results
    ]


def _asked_cells(result: Baseline, effect: StaggerEffect, screen: Screen) -> list[str]:
    best = result.stagger
    low, high = (screen.tape(end) for end in best.band)
    unit = "" if screen.is_si else " in"
    corners = " ".join(screen.fine(end).split()[0] for end in best.loaded_corner)
    return [
        screen.tape(best.recommended) + ("" if best.at_window is None else "*"),
        f"{low.removesuffix(unit)} to {high}",
        corners,
        screen.distance(result.then.lap),
        screen.distance(result.groove.length),
        f"{result.lap.time:.1f} s",
        f"{result.groove.turning_share:.0%}",
        screen.weight(effect.then - effect.now, signed=True),
    ]


def difference_words(results: list[Baseline], screen: Screen) -> str:
    """One sentence: the two cases furthest apart, and the reason that weighs most."""
    ordered = sorted(results, key=SORT_KEYS["stagger"])
    least, most = ordered[0], ordered[-1]
    apart = float(most.stagger.unbounded) - float(least.stagger.unbounded)
    if nearest_eighth(apart) == 0:
        return "All cases ask for the same stagger within 1/8 in."
    parts = {
        name: float(getattr(most.stagger.parts, name)) - float(getattr(least.stagger.parts, name))
        for name in PART_WORDS
    }
    told = sorted(parts, key=lambda name: -abs(parts[name]))
    reasons = ", ".join(
        f"{PART_WORDS[name]} {screen.fine(parts[name], signed=True)}" for name in told
    )
    return (
        f"{_case_words(most, least)} asks for {screen.tape(apart)} more than "
        f"{_case_words(least, most)}, most of it from {reasons}."
    )


PART_WORDS = {"line": "the line", "load": "the load on the tires", "drive": "where it drives"}


def _case_words(case: Baseline, other: Baseline) -> str:
    car = f" with {case.car.name}" if case.car.name != other.car.name else ""
    return f"{case.track.name} {case.condition.name} on the {case.groove.name} groove{car}"


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


def sweep_json(sweep: Sweep, case: Baseline, rows: dict[str, FloatArray]) -> dict[str, Any]:
    """A sweep as rows; the swept value is in the trade unit its key ends in."""
    name, values = trade_values(sweep.key, sweep.kind, sweep.values)
    return {
        **case_json(case),
        "swept": sweep.key,
        "rows": [
            {name: value, **{key: column[i] for key, column in rows.items()}}
            for i, value in enumerate(values)
        ],
    }


def sweep_screen(sweep: Sweep, case: Baseline, rows: dict[str, FloatArray], screen: Screen) -> str:
    """A sweep as a table."""
    table = [[sweep.key, "stagger", "best", "as good", "corners need", "scrub", "lap", "time"]]
    for i, value in enumerate(sweep.values):
        at = {name: float(column[i]) for name, column in rows.items()}
        table.append(
            [
                screen.of_kind(float(value), sweep.kind),
                screen.tape(at["recommended_in"] * INCH),
                screen.fine(at["unbounded_in"] * INCH),
                tape_range((at[f"band_{end}_in"] * INCH for end in ("low", "high")), screen),
                " ".join(screen.fine(at[f"loaded_corner_{end}_in"] * INCH) for end in (1, 2)),
                screen.distance(at["scrub_ft"] * FOOT),
                screen.distance(at["lap_ft"] * FOOT),
                f"{at['time_s']:.1f} s",
            ]
        )
    title = f"Rear stagger against {sweep.key}: {case_words(case)} (estimates)"
    return sections([[title], columns(table), caution_lines()])
