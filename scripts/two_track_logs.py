"""Log files of the cars of `two_track.py`, with what goes wrong with loggers, as text.

What a racer has is written too: a track as he taped it and a car as his file has it. `a_night`
gives all of it for each car that stayed on its line.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from two_track import DEGREE, MPH, Array, Trip, truth_of

OFF_LINE = 3.5
"""m; a car that strays further has spun, and is left out."""


@dataclass(frozen=True)
class Logger:
    """What a logger does to a run; SI. Times are lags behind the steering."""

    rate: float = 10.0
    lag: float = 0.2
    engine_lag: float = 0.05
    drift: float = 1.0
    place: float = 0.2
    speed: float = 0.2
    engine: float = 20.0
    zero: float = 0.0
    gain: float = 1.0
    hand: float = 1.0 * DEGREE


def a_logger(rng: np.random.Generator, zero: float = 3 * DEGREE, **what: Any) -> Logger:
    some = Logger(
        rate=float(rng.choice([1, 2, 4, 5, 10, 10, 20, 25])), lag=rng.uniform(0, 0.4),
        engine_lag=rng.uniform(0, 0.1), drift=rng.uniform(0.3, 2.0), place=rng.uniform(0.05, 0.5),
        speed=rng.uniform(0.05, 0.3), engine=rng.uniform(5, 50),
        zero=float(rng.choice([-1, 1])) * zero * rng.uniform(0.5, 1.0), gain=rng.normal(1, 0.03),
    )  # fmt: skip
    return replace(some, **what)


@dataclass(frozen=True)
class Night:
    """One run: columns of its log, SI, and what is true and what was taped; m."""

    columns: dict[str, Array]
    values: dict[str, float] = field(repr=False)
    best: float
    faults: tuple[str, ...] = ()


def recorded(
    trip: Trip, i: int, log: Logger, rng: np.random.Generator, spin: float = 0.0,
    spun: tuple[float, float] = (0.0, 1.0),
) -> dict[str, Array]:  # fmt: skip
    """Columns of a log of one car; wheelspin is flared where it drives off in part of the lap."""
    f, ways, end = trip.field, trip.ways, trip.time[-1]
    at = np.arange(0.5, end - 0.1, 1 / log.rate) + rng.normal(0, 0.003)
    turns = trip.s[:, i] / ways.length[i]

    def when(rows: Array, late: float) -> Array:
        return np.interp(at - late, trip.time, rows)

    place = np.interp(
        turns % 1.0,
        np.arange(ways.places.shape[1]) / ways.places.shape[1],
        ways.places[i],
        period=1.0,
    )
    out = 1j * np.exp(1j * np.angle(np.gradient(place)))
    z = place + trip.e[:, i] * out
    wander = np.cumsum(rng.normal(0, 1, (2, len(at))), axis=1) / np.sqrt(30 * log.rate)
    wander = log.drift * (wander - wander.mean(axis=1, keepdims=True))
    leaving = (trip.push[:, i] > 0.35 * np.max(trip.push[:, i])) & (
        trip.r[:, i] > 0.25 * np.max(trip.r[:, i])
    )
    there = ((turns % 1.0) >= spun[0]) & ((turns % 1.0) < spun[1])
    flare = spin * np.convolve((leaving & there).astype(float), np.ones(40) / 40, mode="same")
    engine = trip.axle[:, i] * float(f.gear[i]) / (1 - flare)
    n = len(at)
    return {
        "time": at,
        "x": when(z.real, log.lag) + wander[0] + rng.normal(0, log.place, n),
        "y": when(z.imag, log.lag) + wander[1] + rng.normal(0, log.place, n),
        "speed": when(trip.v[:, i], log.lag) + rng.normal(0, log.speed, n),
        "engine_speed": when(engine, log.engine_lag) + rng.normal(0, log.engine, n) * np.pi / 30,
        "steering": log.gain * when(trip.steer[:, i] * float(f.ratio[i]), 0.0)
        + log.zero
        + rng.normal(0, log.hand, n),
        "throttle": np.clip(when(np.clip(trip.pedal[:, i], 0, 1), 0.0), 0, 1),
    }


def nights(trip: Trip, rng: np.random.Generator, **what: Any) -> list[Night]:
    """A log of each car that stayed on its line."""
    spin, spun = what.pop("spin", 0.0), what.pop("spun", (0.0, 1.0))
    best, made = truth_of(trip), []
    for i in np.flatnonzero(np.abs(trip.e).max(axis=0) < OFF_LINE):
        log = a_logger(rng, **what)
        values = {name: float(value[i]) for name, value in trip.field.values.items()}
        made.append(Night(recorded(trip, int(i), log, rng, spin, spun), values, float(best[i])))
    return made


# What goes wrong with the rows


def with_pits(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Parked in the infield, rolled out; rolled in and parked again."""
    dt = float(np.median(np.diff(columns["time"])))
    parked, out = int(rng.uniform(20, 60) / dt), max(int(12 / dt), 3)
    made = {}
    for name, rows in columns.items():
        home = {"x": np.mean(columns["x"]) + 20, "y": np.mean(columns["y"]) - 10}.get(name, 0.0)
        still = np.full(parked, home)
        if name in ("x", "y"):
            still = still + rng.normal(0, 0.3, parked)
        ramp = np.linspace(0, 1, out)
        made[name] = np.concatenate(
            [
                still,
                home + ramp * (rows[0] - home),
                rows,
                rows[-1] + ramp * (home - rows[-1]),
                still,
            ]
        )
    made["time"] = np.arange(len(made["time"])) * dt
    return made


def with_dropouts(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Stretches of rows lost, and cells of single channels blank."""
    n = len(columns["time"])
    keep = np.ones(n, bool)
    for start in rng.integers(0, n, 4):
        keep[start : start + max(int(n * 0.015), 1)] = False
    made = {name: rows[keep].copy() for name, rows in columns.items()}
    for name in sorted(made.keys() - {"time"}):
        made[name][rng.random(int(keep.sum())) < 0.04] = np.nan
    return made


def with_clock_jump(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """The clock set forward in one place, back a little in another."""
    time, n = columns["time"].copy(), len(columns["time"])
    time[int(n * rng.uniform(0.3, 0.5)) :] += 3600.0
    time[int(n * rng.uniform(0.6, 0.8)) :] -= rng.uniform(0.3, 2.0)
    return columns | {"time": time}


def with_two_runs(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """The log cut in two runs, each with its own clock from 0."""
    cut = int(len(columns["time"]) * 0.52)
    time = columns["time"].copy()
    time[cut:] -= time[cut]
    return columns | {"time": time}


def without(*names: str) -> Any:
    def some(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
        return {name: rows for name, rows in columns.items() if name not in names}

    return some


FAULTS: dict[str, Any] = {
    "none": lambda columns, rng: columns, "pits": with_pits, "dropouts": with_dropouts,
    "clock jump": with_clock_jump, "two runs": with_two_runs, "no throttle": without("throttle"),
    "no speed": without("speed"), "no places": without("x", "y"),
    "no steering": without("steering"), "no engine": without("engine_speed"),
}  # fmt: skip


# Written down

STYLES = ("plain", "geographic", "comma decimals", "epoch ms", "tabs", "no units")
UNITS = {
    "time": ("Time", "s", 1.0, 3), "x": ("X", "m", 1.0, 2), "y": ("Y", "m", 1.0, 2),
    "speed": ("GPS Speed", "mph", MPH, 2), "engine_speed": ("Engine RPM", "rpm", np.pi / 30, 0),
    "steering": ("Steering Angle", "deg", DEGREE, 1), "throttle": ("Throttle", "%", 0.01, 0),
    "latitude": ("Latitude", "deg", 1.0, 7), "longitude": ("Longitude", "deg", 1.0, 7),
}  # fmt: skip


def as_text(columns: dict[str, Array], style: str) -> str:
    """The file that a logger would write."""
    columns, units = dict(columns), dict(UNITS)
    if style == "epoch ms":
        columns["time"] = 1000 * (columns["time"] + 1.78e9)
        units["time"] = ("Timestamp", "", 1.0, 0)
    if style in ("geographic", "epoch ms", "comma decimals") and "x" in columns:
        # A degree of latitude is some 111.1 km, one of longitude that times its cosine.
        east, north = columns.pop("x"), columns.pop("y")
        columns["latitude"] = 38.2 + north / 111_000.0
        columns["longitude"] = -97.1 + east / (111_320.0 * np.cos(38.2 * DEGREE))
    if style == "comma decimals":
        units["speed"] = ("Speed", "km/h", 1 / 3.6, 1)
    cells = []
    for name, rows in columns.items():
        _, _, size, decimals = units[name]
        cells.append(["" if np.isnan(one) else f"{one / size:.{decimals}f}" for one in rows])
    heads = [
        units[name][0] + (f" ({units[name][1]})" if units[name][1] and style != "no units" else "")
        for name in columns
    ]
    mark = {"comma decimals": ";", "tabs": "\t"}.get(style, ",")
    lines = [mark.join(heads), *(mark.join(row) for row in zip(*cells, strict=True))]
    text = "\n".join(lines) + "\n"
    return text.replace(".", ",") if style == "comma decimals" else text
