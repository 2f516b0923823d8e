"""Logs by another hand: a car on arithmetic, and all that goes wrong with loggers.

A second generator beside `other_cars.py`, which shares nothing with it nor with rollpath: the car
is no simulation but a few textbook sums along the lap (a bicycle model with an understeer gradient
[1]_, an axle that slips by thrust over stiffness and pulls by half the slip between its treads),
the oval has unequal ends, and the run has what runs have: a lap in traffic, the way in from the
pits and back, rows lost, a clock that jumps, channels missing, a throttle in per cent.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (steady-state cornering).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
INCH, FOOT, POUND, DEGREE, G, MPH = 0.0254, 0.3048, 4.4482216, np.pi / 180, 9.80665, 0.44704


@dataclass(frozen=True)
class Outing:
    """What is true of a run; SI. `radii` are to the line, `offset` from the inside edge to it."""

    radii: tuple[float, float]
    straight: float
    offset: float
    bank: float
    mu: float
    mass: float
    wheelbase: float
    half_track: float
    rollout: float
    stagger: float
    rate: float
    gear: float
    ratio: float
    power: float
    stiffness: float
    gradient: float
    spin: float


def an_outing(rng: np.random.Generator, fault: float = 0.0, spin: float = 0.0) -> Outing:
    """A car, a track and a night drawn at random; `fault` is stagger beyond about right, m."""
    R = rng.uniform(45, 75)
    radii = (R, R * rng.uniform(0.85, 1.0))
    straight, half, rollout = rng.uniform(60, 140), rng.uniform(0.78, 0.84), rng.uniform(2.1, 2.2)
    lap = 2 * straight + np.pi * sum(radii)
    even = rollout * 2 * np.pi * 2 * half / lap + 0.15 * INCH
    return Outing(
        radii, straight, rng.uniform(4, 7), rng.uniform(2, 12) * DEGREE, rng.uniform(0.5, 0.95),
        rng.uniform(1080, 1450), rng.uniform(2.55, 2.8), half, rollout, even + fault,
        rng.uniform(165e3, 220e3), rng.uniform(4.8, 6.4), rng.uniform(10, 15),
        rng.uniform(200e3, 300e3), rng.uniform(7, 11), rng.uniform(-1.0, 2.5) * DEGREE, spin,
    )  # fmt: skip


@dataclass(frozen=True)
class Lap:
    """One lap of the line, at evenly spaced places; x and y close."""

    s: Array
    k: Array
    v: Array
    x: Array
    y: Array
    first: NDArray[np.bool_]

    @property
    def length(self) -> float:
        return float(self.s[-1] + self.s[1])


def line_of(outing: Outing, n: int = 1200) -> tuple[Array, Array, Array]:
    """Places, curvature, and which end: two half turns, their spirals as a squared cosine.

    Unequal ends are closed by turning a little more at the larger one: the straights lean.
    """
    from scipy.optimize import least_squares

    r_1, r_2 = outing.radii
    ease = 0.35 * min(outing.straight, min(outing.radii))

    def laid(lean: float, longer: float) -> tuple[Array, Array, float]:
        turns = (np.pi + lean, np.pi - lean)
        arcs = (r_1 * turns[0], r_2 * turns[1])
        ends = np.cumsum([outing.straight / 2, arcs[0], outing.straight + longer, arcs[1]])
        total = float(ends[-1] + outing.straight / 2)
        s = (np.arange(n) + 0.5) * total / n
        k = np.zeros(n)
        for start, stop, radius in ((ends[0], ends[1], r_1), (ends[2], ends[3], r_2)):
            up = np.clip((s - start) / ease + 0.5, 0, 1)
            down = np.clip((stop - s) / ease + 0.5, 0, 1)
            k += np.sin(0.5 * np.pi * up) ** 2 * np.sin(0.5 * np.pi * down) ** 2 / radius
        return s, k * 2 * np.pi / (k.sum() * total / n), total

    def gap(p: Array) -> list[float]:
        _, k, total = laid(p[0], p[1])
        turn = np.cumsum(k) * total / n
        end = np.exp(1j * (turn - 0.5 * k * total / n)).sum() * total / n
        return [end.real, end.imag]

    lean, longer = least_squares(gap, [0.0, 0.0], x_scale=[0.1, 1.0]).x
    s, k, total = laid(lean, longer)
    return s, k, s < total / 2


def lap_of(outing: Outing) -> Lap:
    """Speed by grip, power and brakes, round and round until the lap meets itself."""
    s, k, first = line_of(outing)
    ds, m = s[1] - s[0], outing.mass
    tilt = np.tan(outing.bank * k / k.max())
    hold = G * 0.92 * outing.mu
    v = np.minimum(np.sqrt((hold + G * tilt) / np.maximum(k, 1e-4)), 60.0)
    for way in (1, -1):
        for i in np.tile(np.arange(len(s))[::way], 2):
            j = (i - way) % len(s)
            u = v[j]
            across = np.clip((u**2 * k[j] - G * tilt[j]) / hold, -0.98, 0.98)
            left = hold * np.sqrt(1 - across**2)
            drag = (0.9 * u**2 + 0.03 * m * G) / m
            push = min(outing.power / u / m, 0.5 * left) - drag if way > 0 else 0.6 * left + drag
            v[i] = min(v[i], np.sqrt(max(u**2 + 2 * push * ds, 25.0)))
    turn = np.cumsum(k) * ds
    step = np.exp(1j * (turn - 0.5 * k * ds)) * ds
    z = np.cumsum(step)
    return Lap(s - s[0], k, v, z.real, z.imag, first)


def truth_of(outing: Outing, lap: Lap) -> tuple[Array, float]:
    """What the axle needs along the lap, and the stagger between truest and quickest, m.

    Truest weighs the thrust; quickest the time that a lost foot costs until the brakes, over the
    cube of the speed, and nothing where the car is at the limit of the corner anyhow.
    """
    ds = lap.s[1]
    a_x = np.gradient(0.5 * lap.v**2, ds)
    push = np.maximum(outing.mass * a_x + 0.9 * lap.v**2 + 0.05 * outing.mass * G, 0.0)
    tilt = np.tan(outing.bank * lap.k / lap.k.max())
    over = outing.mass * 0.5 * (lap.v**2 * lap.k - G * tilt) * 0.46 / (2 * outing.half_track)
    need = 2 * outing.rollout * outing.half_track * lap.k
    need = need + 2 * np.pi / 3 * 2 * over * 0.45 / outing.rate
    held = lap.v > 0.998 * np.sqrt((0.92 * G * outing.mu + G * tilt) / np.maximum(lap.k, 1e-4))
    lever, later = np.zeros(len(push)), 0.0
    for i in np.tile(np.arange(len(push))[::-1], 2):
        later = later + ds / lap.v[i] ** 3 if push[i] > 0 and not held[i] else 0.0
        lever[i] = later
    quick = float((need * lever).sum() / lever.sum())
    return need, 0.5 * (float((need * push).sum() / push.sum()) + quick)


def log_of_outing(
    outing: Outing, rng: np.random.Generator, rate: float = 10.0, laps: int = 4,
    faults: tuple[str, ...] = (),
) -> dict[str, Array]:  # fmt: skip
    """Columns of a log, SI, with faults by name (see `FAULTS`)."""
    lap = lap_of(outing)
    need, _ = truth_of(outing, lap)
    pace = np.concatenate([np.full(len(lap.s), q) for q in 1 - np.abs(rng.normal(0, 0.006, laps))])
    if "traffic" in faults:
        n = len(lap.s)
        pace[n : 2 * n] *= 1 - 0.14 * np.sin(np.pi * np.arange(n) / n)
    v = np.tile(lap.v, laps) * pace
    time = np.concatenate([[0.0], np.cumsum(lap.s[1] / v)[:-1]])
    at = np.arange(0.3, time[-1], 1.0 / rate)
    where = np.interp(at, time, np.arange(len(v)) * lap.s[1])
    here = {
        name: np.interp(where, lap.s, values, period=lap.length)
        for name, values in _channels(outing, lap, need).items()
    }
    here["v"] *= np.interp(at, time, pace)
    columns = _recorded(outing, here, at, rng)
    for fault in faults:
        columns = FAULTS[fault](columns, rng)
    return columns


def _channels(outing: Outing, lap: Lap, need: Array) -> dict[str, Array]:
    """Places, steering wheel, slip and throttle along a lap."""
    m, L = outing.mass, outing.wheelbase
    ds = lap.s[1]
    a_x = np.gradient(0.5 * lap.v**2, ds)
    push = m * a_x + 0.9 * lap.v**2 + 0.03 * m * G
    driven = np.maximum(push, 0.0)
    a_y = lap.v**2 * lap.k - G * np.tan(outing.bank * lap.k / lap.k.max())
    moment = outing.stiffness * 0.12 * m * G * (outing.stagger - need) / outing.rollout
    turned = moment * 2 * outing.half_track / (0.5 * m * G * L * outing.stiffness)
    steer = lap.k * L + outing.gradient * a_y / G - turned
    used = np.clip(driven / (0.55 * outing.mu * m * G), 0, 0.95)
    slip = driven / (outing.stiffness * 0.52 * m * G) * (1 + used**2)
    slip = np.where(push < 0, 0.6 * push / (outing.stiffness * 0.52 * m * G), slip)
    throttle = np.clip(driven * lap.v / outing.power, 0, 1)
    leaving = (lap.k > 0.08 * lap.k.max()) & (driven > 0.3 * driven.max())
    slip = slip + outing.spin * leaving
    return {
        "x": lap.x, "y": lap.y, "v": lap.v.copy(), "steer": steer * outing.ratio,
        "slip": np.minimum(slip, 0.5), "throttle": throttle,
    }  # fmt: skip


def _recorded(
    outing: Outing, here: dict[str, Array], at: Array, rng: np.random.Generator
) -> dict[str, Array]:
    n = len(at)
    rolls = outing.rollout - 2 * np.pi / 3 * 0.27 * outing.mass * G / outing.rate
    slow = np.cumsum(rng.normal(0, 0.02, (2, n)), axis=1)
    slow -= slow.mean(axis=1, keepdims=True)
    rpm = here["v"] / (1 - here["slip"]) / rolls * outing.gear * 60
    hand = np.convolve(rng.normal(0, 3 * DEGREE, n + 4), np.ones(5) / 5, mode="valid")
    return {
        "time": at, "x": here["x"] + slow[0] + rng.normal(0, 0.2, n),
        "y": here["y"] + slow[1] + rng.normal(0, 0.2, n),
        "speed": here["v"] + rng.normal(0, 0.2, n),
        "engine_speed": (rpm + rng.normal(0, 25, n)) * np.pi / 30,
        "steering": here["steer"] + hand + rng.normal(0, 5 * DEGREE),
        "throttle": here["throttle"],
    }  # fmt: skip


# Faults of a log: each takes columns and gives columns

Fault = Callable[[dict[str, Array], np.random.Generator], dict[str, Array]]


def _same(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    return columns


def _pits(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Standing, then rolling out to the line, before the laps; and in again after them."""
    dt = columns["time"][1] - columns["time"][0]
    still, out = int(8 / dt), max(int(10 / dt), 2)
    there = {"x": columns["x"].mean(), "y": columns["y"].mean()}
    made = {}
    for name, rows in columns.items():
        ramp = np.linspace(0, 1, out)
        begin = there.get(name, 0.0)
        head = np.concatenate([np.full(still, begin), begin + ramp * (rows[0] - begin)])
        tail = rows[-1] + ramp * (begin - rows[-1])
        made[name] = np.concatenate([head, rows, tail])
    if "speed" in made:
        made["speed"][:still] = 0.0
    made["time"] = np.arange(len(made["time"])) * dt
    return made


def _dropouts(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Rows lost, a second or so at a time, and channels that fall out by themselves."""
    n = len(columns["time"])
    keep = np.ones(n, bool)
    for start in rng.integers(0, n, 3):
        keep[start : start + max(n // 60, 1)] = False
    made = {name: rows[keep].copy() for name, rows in columns.items()}
    for name in sorted(made.keys() - {"time"}):
        made[name][rng.random(keep.sum()) < 0.05] = np.nan
    return made


def _clock_jump(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """The clock set forward by half a minute in the middle of the run."""
    time = columns["time"].copy()
    time[len(time) // 2 :] += 30.0
    return columns | {"time": time}


def _speed_unit(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """km/h under a heading that says mph."""
    return columns | {"speed": columns["speed"] * 3.6 * MPH}


def _steering_unit(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Degrees under a heading that says radians."""
    return columns | {"steering": columns["steering"] / DEGREE}


def _per_cent(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    return columns | {"throttle": 100 * columns["throttle"]}


def _without(*names: str) -> Fault:
    def fault(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
        return {name: rows for name, rows in columns.items() if name not in names}

    return fault


def _clockwise(columns: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    return columns | {"x": -columns["x"]}


FAULTS: dict[str, Fault] = {
    "traffic": _same, "pits": _pits, "dropouts": _dropouts, "clock jump": _clock_jump,
    "km/h headed mph": _speed_unit, "deg headed rad": _steering_unit, "per cent": _per_cent,
    "no throttle": _without("throttle"), "no speed": _without("speed"),
    "no places": _without("x", "y"), "no steering": _without("steering"), "clockwise": _clockwise,
}  # fmt: skip
