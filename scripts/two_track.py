"""A third car by a third hand: four wheels on Dugoff's tire, driven round ovals by looking ahead.

Nothing here is shared with rollpath, `other_cars.py` or `other_logs.py`. The car has four contact
patches with a friction that falls with load and Dugoff's joining of the two slips [1]_, a rear axle
of one speed with its own inertia, springs whose share of the lateral transfer is the car's own, and
a driver who steers for a point ahead of him (pure pursuit [2]_) with slow hands. Many cars are
driven at once: every number is an array of shape (cars,), SI.

References
----------
.. [1] H. Dugoff, P. S. Fancher, L. Segel, "An Analysis of Tire Traction Properties", SAE 700377
   (from memory).
.. [2] R. C. Coulter, "Implementation of the Pure Pursuit Path Tracking Algorithm", CMU-RI-TR-92-01
   (from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
INCH, FOOT, POUND, DEGREE, G, HP = 0.0254, 0.3048, 4.4482216, np.pi / 180, 9.80665, 745.7
MPH = 0.44704
DT = 1 / 100
"""Of the integration, s."""
NODES = 600
"""Of a line."""


@dataclass(frozen=True)
class Field:
    """Cars, tracks and drivers as they really are; each value of shape (cars,)."""

    values: dict[str, Array]

    def __getattr__(self, name: str) -> Array:
        try:
            return self.values[name]
        except KeyError:
            raise AttributeError(name) from None


def a_field(rng: np.random.Generator, count: int, faults: Array) -> Field:
    """Cars with a stagger about what they need, and a fault of it, m."""

    def some(low: float, high: float) -> Array:
        return rng.uniform(low, high, count)

    v = {
        "mass": some(2300, 3300) * POUND / G, "wheelbase": some(98, 112) * INCH,
        "rear": some(0.48, 0.55), "left": some(0.51, 0.57), "bite": some(0, 150) * POUND,
        "half_front": some(30, 33) * INCH, "half_rear": some(30.5, 33.5) * INCH,
        "height": some(15, 20) * INCH, "front_transfer": some(0.45, 0.7),
        "power": some(280, 450) * HP, "drag": some(0.75, 1.1), "mu": some(0.55, 1.0),
        "load_sense": some(0.0, 0.2), "stiff": some(6.5, 10.5), "spring": some(900, 1350),
        "rollout": some(82, 88) * INCH, "gear": some(4.7, 6.6), "ratio": some(9, 15),
        "radius_12": some(130, 230) * FOOT, "straight": some(230, 480) * FOOT,
        "bank": some(1, 13) * DEGREE, "offset": some(10, 22) * FOOT, "late": some(-1, 1),
        "pace": some(0.72, 0.84), "ahead": some(0.8, 1.1), "hands": some(0.06, 0.15),
        "shake": some(0.3, 1.2) * DEGREE, "wander": some(0.1, 0.5),
    }  # fmt: skip
    v["spring"] *= POUND / INCH
    v["radius_34"] = v["radius_12"] * some(0.86, 1.0)
    v["stiff_rear"] = v["stiff"] * rng.choice([0.9, 1.0, 1.0, 1.1, 1.2, 1.3], count)
    lap = 2 * v["straight"] + np.pi * (v["radius_12"] + v["radius_34"] + 2 * v["offset"])
    about = 4 * np.pi * v["half_rear"] * v["rollout"] / lap
    v["stagger"] = about + 0.25 * INCH + np.resize(faults, count)
    return Field(v)


# The lines


@dataclass(frozen=True)
class Ways:
    """The lines driven, even steps along each, from the middle of a straight: (cars, NODES)."""

    length: Array
    places: NDArray[np.complex128]
    curvature: Array
    bank: Array
    speed: Array
    held: Array

    def at(self, values: NDArray[np.generic], s: Array) -> NDArray[np.generic]:
        """Values at one place for each car."""
        place = (s / self.length % 1.0) * NODES
        low, rows = place.astype(np.intp) % NODES, np.arange(len(s))
        share = place - np.floor(place)
        mixed: NDArray[np.generic] = (
            values[rows, low] * (1 - share) + values[rows, (low + 1) % NODES] * share  # type: ignore[operator]
        )
        return mixed


def an_oval(first: float, second: float, straight: float, n: int = 4000) -> NDArray[np.complex128]:
    """Two arcs joined by their outer tangents, from the middle of one, left turns; shape (n,)."""
    apart = np.hypot(straight, first - second)
    lean = np.arcsin((first - second) / apart)
    angle = np.linspace(-np.pi / 2 - lean, np.pi / 2 + lean, n)
    turned = np.linspace(np.pi / 2 + lean, 3 * np.pi / 2 - lean, n)
    corners = (
        np.append(first * np.exp(1j * angle) + apart, second * np.exp(1j * turned)) - apart / 2
    )
    return _even(np.append(corners, corners[0]), n)


def _even(z: NDArray[np.complex128], n: int) -> NDArray[np.complex128]:
    """A closed path in even steps, from the middle of its lower straight."""
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
    at = np.arange(n) / n * s[-1]
    even = np.interp(at, s, z.real) + 1j * np.interp(at, s, z.imag)
    low = np.argmin(np.abs(even.real) + np.where(even.imag > 0, 1e9, 0.0))
    return np.roll(even, -int(low))


def _smooth(z: NDArray[np.complex128], over: float, length: float) -> NDArray[np.complex128]:
    """A closed path with what is shorter than a length taken out (a Gaussian), m."""
    wave = np.fft.fftfreq(len(z), 1 / len(z))
    return np.asarray(
        np.fft.ifft(np.fft.fft(z) * np.exp(-0.5 * (2 * np.pi * wave * over / length) ** 2))
    )


def _a_line(v: dict[str, float]) -> tuple[NDArray[np.complex128], Array]:
    """A line outside the inside edge, later or earlier, and how much of the bank lies under it."""
    inside = an_oval(v["radius_12"], v["radius_34"], v["straight"])
    n, length = len(inside), float(np.abs(np.diff(inside, append=inside[0])).sum())
    facing = np.roll(inside, -1) - np.roll(inside, 1)
    out = -1j * facing / np.abs(facing)
    round_lap = np.arange(n) / n * 2 * np.pi
    off = v["offset"] + 1.8 * np.cos(2 * round_lap) + 0.8 * v["late"] * np.sin(2 * round_lap)
    z = _even(_smooth(inside + off * out, 12.0, length), NODES)
    bent = np.abs(np.angle(np.roll(z, -1) - z) - np.angle(z - np.roll(z, 1)))
    bent = np.minimum(bent, 2 * np.pi - bent)
    return z, np.clip(bent / np.percentile(bent, 85), 0, 1)


def ways_of(field: Field) -> Ways:
    rows = [
        _a_line({name: float(value[i]) for name, value in field.values.items()})
        for i in range(len(field.mass))
    ]
    z = np.array([one for one, _ in rows])
    step = np.roll(z, -1, axis=1) - z
    length = np.abs(step).sum(axis=1)
    turned = np.angle(step * np.roll(step, 1, axis=1).conj())
    k = turned * NODES / length[:, None]
    bank = np.array([one for _, one in rows]) * field.bank[:, None]
    most = _corner_speeds(field, k, bank)
    speed = _speeds(field, k, bank, length / NODES, most)
    return Ways(length, z, k, bank, speed, (speed > 0.998 * most).astype(float))


def _corner_speeds(field: Field, k: Array, bank: Array) -> Array:
    hold = G * ((field.pace**2 * field.mu)[:, None] + np.tan(bank)) / np.maximum(k, 5e-4)
    return np.sqrt(np.minimum(hold, 62.0**2))


def _speeds(field: Field, k: Array, bank: Array, ds: Array, most: Array) -> Array:
    """What each driver goes for: a share of what the grip holds, driven off and braked for."""
    v, mu = most.copy(), field.mu

    def spare(i: int) -> Array:
        used = np.abs(v[:, i] ** 2 * k[:, i] - G * np.tan(bank[:, i])) / (G * mu)
        return np.asarray(G * mu * np.sqrt(np.maximum(1 - used**2, 0.04)))

    for i in np.arange(2 * NODES) % NODES:
        push = np.minimum(0.85 * field.power / v[:, i - 1] / field.mass, 0.33 * spare(i - 1))
        air = field.drag * v[:, i - 1] ** 2 / field.mass
        v[:, i] = np.minimum(
            v[:, i], np.sqrt(np.maximum(v[:, i - 1] ** 2 + 2 * (push - air) * ds, 1))
        )
    for i in np.arange(2 * NODES)[::-1] % NODES:
        v[:, i - 1] = np.minimum(v[:, i - 1], np.sqrt(v[:, i] ** 2 + 0.7 * spare(i) * ds))
    return v


# The car


def dugoff(slip: Array, angle: Array, stiffness: Array, limit: Array) -> tuple[Array, Array]:
    """Forces along and across of a tire, from its two slips [1]_."""
    along, across = stiffness * slip, stiffness * np.tan(angle)
    used = limit * (1 + slip) / (2 * np.hypot(along, across) + 1e-9)
    f = np.where(used < 1, (2 - used) * used, 1.0) / (1 + slip)
    return along * f, across * f


def loads_of(f: Field, a_x: Array, a_y: Array, weight: Array) -> tuple[Array, ...]:
    """Left front, right front, left rear, right rear; `weight` is the load on a unit mass."""
    back = f.mass * a_x * f.height / f.wheelbase
    over = f.mass * a_y * f.height
    front, rear = f.mass * weight * (1 - f.rear) - back, f.mass * weight * f.rear + back
    to_right_front = over * f.front_transfer / (2 * f.half_front)
    to_right_rear = over * (1 - f.front_transfer) / (2 * f.half_rear)
    loads = (
        front * f.left - to_right_front - f.bite / 4,
        front * (1 - f.left) + to_right_front + f.bite / 4,
        rear * f.left - to_right_rear + f.bite / 4,
        rear * (1 - f.left) + to_right_rear - f.bite / 4,
    )  # fmt: skip
    return tuple(np.maximum(load, 200.0) for load in loads)


@dataclass(frozen=True)
class Trip:
    """What happened: each row of shape (steps, cars), at the steps of the integration."""

    field: Field
    ways: Ways
    time: Array
    rows: dict[str, Array]

    def __getattr__(self, name: str) -> Array:
        try:
            return self.rows[name]
        except KeyError:
            raise AttributeError(name) from None


def drive(
    field: Field, rng: np.random.Generator, pace_by_lap: tuple[float, ...] = (1.0,) * 4
) -> Trip:
    """The cars driven a lap for each pace; a share of their own speed."""
    ways, n = ways_of(field), len(field.mass)
    lap_time = (ways.length[:, None] / NODES / ways.speed).sum(axis=1).max()
    steps = int(lap_time * sum(1 / one for one in pace_by_lap) / DT)
    z = {
        name: np.zeros(n)
        for name in ("s", "e", "psi", "vy", "r", "steer", "a_x", "a_y", "aim", "sum", "spin")
    }
    z["vx"] = ways.speed[:, 0] * 0.97
    z["axle"] = z["vx"] / (field.rollout / (2 * np.pi))
    pace = np.array([*pace_by_lap, pace_by_lap[-1], pace_by_lap[-1]])
    kept: dict[str, list[Array]] = {}
    for _ in range(steps):
        lap = np.minimum((z["s"] / ways.length).astype(int), len(pace) - 1)
        for name, value in _step(field, ways, z, pace[lap], rng.standard_normal((2, n))).items():
            kept.setdefault(name, []).append(value)
    return Trip(field, ways, np.arange(steps) * DT, {k: np.array(v) for k, v in kept.items()})


def _step(f: Field, ways: Ways, z: dict[str, Array], pace: Array, noise: Array) -> dict[str, Array]:
    k, bank = (np.asarray(ways.at(one, z["s"]), float) for one in (ways.curvature, ways.bank))
    z["aim"] += -DT / 4 * z["aim"] + f.wander * noise[0] * np.sqrt(2 * DT / 4)
    _steer(f, ways, z, noise[1])
    torque, brake, pedal = _feet(f, ways, z, pace)
    weight = G * np.cos(bank) + z["vx"] ** 2 * k * np.sin(bank)
    loads = loads_of(f, z["a_x"], z["a_y"], weight)
    Fx, Fy, N, slip = _forces(f, z, loads, torque, brake)
    down = G * np.sin(bank)
    a_x = Fx / f.mass - f.drag * z["vx"] ** 2 / f.mass - 0.02 * G
    a_y = Fy / f.mass
    z["a_x"] += DT / 0.15 * (a_x - z["a_x"])
    z["a_y"] += DT / 0.15 * (a_y - z["a_y"])
    z["vx"] = np.maximum(z["vx"] + DT * (a_x + z["r"] * z["vy"]), 3.0)
    z["vy"] = z["vy"] + DT * (a_y + down - z["r"] * z["vx"])
    z["r"] = z["r"] + DT * N / (f.mass * (0.27 * f.wheelbase) ** 2 * 4 * 0.9)
    along = (z["vx"] * np.cos(z["psi"]) - z["vy"] * np.sin(z["psi"])) / (1 - z["e"] * k)
    z["e"] = z["e"] + DT * (z["vx"] * np.sin(z["psi"]) + z["vy"] * np.cos(z["psi"]))
    z["psi"] = z["psi"] + DT * (z["r"] - k * along)
    z["s"] = z["s"] + DT * along
    return {
        "s": z["s"], "e": z["e"], "v": np.hypot(z["vx"], z["vy"]), "axle": z["axle"],
        "steer": z["steer"], "pedal": pedal, "left": loads[2], "right": loads[3], "slip": slip,
        "r": z["r"], "push": torque / (f.rollout / (2 * np.pi)), "vx": z["vx"],
        "held": np.asarray(ways.at(ways.held, z["s"]), float),
    }  # fmt: skip


def _steer(f: Field, ways: Ways, z: dict[str, Array], noise: Array) -> None:
    """For a point ahead on the line; the hands follow late and are not quite still."""
    ahead = f.ahead * z["vx"]
    k = np.asarray(ways.at(ways.curvature, z["s"] + 0.25 * z["vx"]), float)
    off = z["e"] - z["aim"] + ahead * np.sin(z["psi"] + z["vy"] / z["vx"])
    z["sum"] = np.clip(z["sum"] - DT * 0.004 * (z["e"] - z["aim"]), -0.15, 0.15)
    twist = z["r"] - z["vx"] * np.asarray(ways.at(ways.curvature, z["s"]), float)
    wanted = f.wheelbase * (k - 2 * off / ahead**2) + z["sum"] - 0.15 * twist
    z["steer"] += DT / f.hands * (wanted - z["steer"])
    z["steer"] += f.shake / f.ratio * noise * np.sqrt(2 * DT / f.hands)
    z["steer"] = np.clip(z["steer"], -0.5, 0.5)


def _feet(f: Field, ways: Ways, z: dict[str, Array], pace: Array) -> tuple[Array, Array, Array]:
    """Torque on the axle, brake force on the car, and how far the throttle is down."""
    soon = z["s"] + 0.25 * z["vx"]
    gap = np.asarray(ways.at(ways.speed, soon), float) * pace - z["vx"]
    asked = f.mass * np.clip(2.5 * gap, -4.5, 5.0) + f.drag * z["vx"] ** 2 + 0.03 * f.mass * G
    most = np.minimum(f.power / z["vx"], 0.5 * f.mu * f.mass * G * f.rear)
    push = np.clip(asked, 0.0, most) * np.clip(2 - z["spin"] / 0.05, 0.2, 1.0)
    return push * f.rollout / (2 * np.pi), np.clip(-asked, 0.0, None), push * z["vx"] / f.power


def _forces(
    f: Field, z: dict[str, Array], loads: tuple[Array, ...], torque: Array, brake: Array
) -> tuple[Array, Array, Array, Array]:
    """Along, across and turning the car, and the mean slip of the rear tires; moves the axle."""
    a, b = f.wheelbase * f.rear, f.wheelbase * (1 - f.rear)
    usual = f.mass * G / 4
    Fx, Fy, N, slips, held = 0.0, 0.0, 0.0, 0.0, 0.0
    for i, load in enumerate(loads):
        y = (f.half_front if i < 2 else f.half_rear) * (1 if i % 2 == 0 else -1)
        x = a if i < 2 else -b
        u, w = z["vx"] - z["r"] * y, z["vy"] + z["r"] * x
        limit = f.mu * load * (1 - f.load_sense * (load / usual - 1))
        if i < 2:
            c, d = np.cos(z["steer"]), np.sin(z["steer"])
            _, across = dugoff(
                np.zeros_like(u), -np.arctan2(w * c - u * d, u * c + w * d), f.stiff * load, limit
            )
            along = -0.3 * brake
            fx, fy = along * c - across * d, along * d + across * c
        else:
            free = (f.rollout + (0.5 if i == 3 else -0.5) * f.stagger) / (2 * np.pi) - load / (
                3 * f.spring
            )
            slip = z["axle"] * free / u - 1
            fx, fy = dugoff(np.clip(slip, -0.5, 0.9), -np.arctan2(w, u), f.stiff_rear * load, limit)
            slips, held = slips + 0.5 * slip, held + fx * free
        Fx, Fy, N = Fx + fx, Fy + fy, N + x * fy - y * fx
    drag = 0.4 * brake * f.rollout / (2 * np.pi)
    z["axle"] = z["axle"] + DT * (torque - drag - held) / 12.0
    z["spin"] = np.asarray(slips)
    return np.asarray(Fx), np.asarray(Fy), np.asarray(N), np.asarray(slips)


# What is true


def truth_of(trip: Trip, laps: tuple[int, ...] = (1, 2)) -> Array:
    """Stagger halfway between even drive and quickest, for each car, m.

    What each tire needs to roll free of the other: the ratio of the two ways, and what their loads
    flatten them by.
    """
    f = trip.field
    turns = trip.s / trip.ways.length
    seen = np.isin(np.floor(turns), laps)
    rolls = f.rollout - 2 * np.pi / 3 * 0.5 * (trip.left + trip.right) / f.spring
    need = 2 * f.half_rear * trip.r / trip.vx * rolls
    need = need + 2 * np.pi / 3 * (trip.right - trip.left) / f.spring
    push = np.where(seen, trip.push, 0.0)
    even = (need * push * trip.v).sum(axis=0) / np.maximum((push * trip.v).sum(axis=0), 1e-9)
    lever = _levers(f, trip.ways)
    at = np.array([trip.ways.at(lever, s) for s in trip.s])
    weight = at * seen * trip.v
    quick = (need * weight).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-9)
    return np.asarray(0.5 * (even + quick))


def _levers(f: Field, ways: Ways) -> Array:
    """Time that a foot lost at each node costs until the brakes; nothing at a corner's limit."""
    v, ds = ways.speed, (ways.length / NODES)[:, None]
    gain = (np.roll(v, -1, axis=1) ** 2 - v**2) / (2 * ds)
    push = gain + f.drag[:, None] * v**2 / f.mass[:, None] + 0.02 * G
    driven = (push > 0.02 * G) & (ways.held < 0.5)
    lever, later = np.zeros_like(v), np.zeros(len(v))
    for i in np.arange(2 * NODES)[::-1] % NODES:
        later = np.where(driven[:, i], later + ds[:, 0] / v[:, i] ** 3, 0.0)
        lever[:, i] = later
    return lever
