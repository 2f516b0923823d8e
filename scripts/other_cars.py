"""Cars that are not rollpath's, driven round ovals and logged, to judge how logs are read.

Nothing of rollpath's physics is used. A transient car (yaw, sideslip, axle speed, roll) on tires
that peak and fade (a sine of an arctangent, load-sensitive, with relaxation), its locked axle
turning at one speed, is steered along a line by a driver with a delay and unsteady hands, and is
recorded by a logger with lag, drift, a sensor zero and a gain of its own. Many cars are driven at
once: every number is an array of shape (cars,).

References
----------
.. [1] H. B. Pacejka, Tire and Vehicle Dynamics, ch. 4 (the sine-arctangent form) and 7
   (relaxation length).
.. [2] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (bicycle model, load transfer).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
INCH, FOOT, POUND, DEGREE, G = 0.0254, 0.3048, 4.4482216, np.pi / 180, 9.80665
STEP = 1 / 250
"""Of the integration, s."""
NODES = 2000
"""Of a line, over one lap."""
LATE = 0.25
"""How much harder the latest line turns at the end of its corner than in the middle."""
DELAY = 0.12
"""Of the hands, s."""


@dataclass(frozen=True)
class Cars:
    """What the cars and their nights really are; SI, each of shape (cars,)."""

    values: dict[str, Array]

    def __getattr__(self, name: str) -> Array:
        try:
            return self.values[name]
        except KeyError:
            raise AttributeError(name) from None

    @property
    def count(self) -> int:
        return len(self.values["mass"])


def drawn(rng: np.random.Generator, count: int, *, fault: Array | None = None) -> Cars:
    """Cars, tires, tracks and drivers drawn at random.

    Parameters
    ----------
    rng : numpy.random.Generator
    count : int
    fault : ndarray, shape (count,), optional
        Stagger on the car beyond about what it needs, m; 0 when left out.
    """

    def some(low: float, high: float) -> Array:
        return rng.uniform(low, high, count)

    values = {
        "mass": some(2350, 3250) * POUND / G, "wheelbase": some(100, 110) * INCH,
        "rear_share": some(0.47, 0.54), "left_share": some(0.51, 0.56),
        "half_track": some(31, 33) * INCH, "cg": some(16, 20) * INCH, "bite": some(20, 120) * POUND,
        "front_roll": some(0.5, 0.7), "power": some(260, 420) * 745.7,
        "drag": some(15, 20) * FOOT**2,
        "mu": some(0.5, 1.0), "fade": some(0.95, 1.2), "load_sense": some(0.0, 0.15),
        "front_stiff": some(6.0, 11.0), "relaxation": some(0.25, 0.5),
        "rate": some(900, 1300) * POUND / INCH, "flat_share": some(0.25, 0.4),
        "rollout": some(83, 87) * INCH, "ratio": some(10, 15), "gear": some(4.8, 6.5),
        "radius": some(130, 230) * FOOT, "straight": some(220, 480) * FOOT,
        "bank": some(2, 13) * DEGREE, "offset": some(10, 24) * FOOT,
        "smooth": some(9, 18), "late": rng.uniform(-0.1, LATE, count), "pace": some(0.74, 0.86),
        "hands": some(0.5, 2.0) * DEGREE, "wander": some(0.1, 0.5),
    }  # fmt: skip
    values["rear_stiff"] = values["front_stiff"] * some(0.85, 1.2)
    lap = 2 * values["straight"] + 2 * np.pi * (values["radius"] + values["offset"])
    about = 2 * np.pi * 2 * values["half_track"] * values["rollout"] / lap
    values["stagger"] = about + 0.2 * INCH + (np.zeros(count) if fault is None else fault)
    return Cars(values)


@dataclass(frozen=True)
class Lines:
    """The lines driven: of shape (cars, NODES), over one lap from the middle of a straight."""

    length: Array
    curvature: Array
    bank: Array
    target: Array

    def at(self, values: Array, s: Array) -> Array:
        """Values of the nodes at one place for each car."""
        place = (s / self.length % 1.0) * NODES
        low = place.astype(np.intp) % NODES
        share, rows = place - np.floor(place), np.arange(len(s))
        mixed: Array = values[rows, low] * (1 - share) + values[rows, (low + 1) % NODES] * share
        return mixed

    def places(self) -> tuple[Array, Array]:
        """x and y of the nodes, shape (cars, NODES)."""
        ds = self.length[:, None] / NODES
        heading = np.cumsum(self.curvature, axis=1) * ds
        middle = heading - 0.5 * self.curvature * ds
        return np.cumsum(np.cos(middle), axis=1) * ds, np.cumsum(np.sin(middle), axis=1) * ds


def lines_of(cars: Cars) -> Lines:
    """Two like ends: closed whatever the shape of one, since half a lap turns half a turn."""
    R = cars.radius + cars.offset
    half = cars.straight + np.pi * R
    u = (np.arange(NODES // 2) + 0.5) / (NODES // 2)
    s = u * half[:, None]
    begin, end = 0.5 * cars.straight[:, None], half[:, None] - 0.5 * cars.straight[:, None]
    width = cars.smooth[:, None]
    shape = 0.5 * (np.tanh((s - begin) / width) - np.tanh((s - end) / width))
    k = shape * (1 + cars.late[:, None] * np.sin(2 * np.pi * (u - 0.5)))
    k *= np.pi / (k.mean(axis=1, keepdims=True) * half[:, None])
    curvature, bank = np.tile(k, 2), np.tile(shape, 2) * cars.bank[:, None]
    return Lines(2 * half, curvature, bank, _speeds(cars, curvature, bank, 2 * half))


def _speeds(cars: Cars, k: Array, bank: Array, length: Array) -> Array:
    """The speed each driver goes for: corners by his pace, then braked for and driven off."""
    ds = length / NODES
    grip = (cars.pace**2 * cars.mu)[:, None]
    b = np.tan(bank)
    hold = G * (grip + b) / np.maximum(1 - grip * b, 0.2)
    v = np.sqrt(np.minimum(hold / np.maximum(k, 1e-4), 70.0**2))
    for _ in range(2):
        for i in np.arange(2 * NODES) % NODES:
            # Two laps forward and back, so that the ends of the lap agree.
            push = np.minimum(cars.power / v[:, i - 1], 0.5 * cars.mu * cars.mass * G * 0.8)
            air = 0.6 * cars.drag * v[:, i - 1] ** 2 + 0.04 * cars.mass * G
            free = _left_for(cars, k[:, i - 1], bank[:, i - 1], v[:, i - 1])
            gain = np.minimum((push - air) / cars.mass, 0.5 * free)
            v[:, i] = np.minimum(v[:, i], np.sqrt(v[:, i - 1] ** 2 + 2 * gain * ds))
        for i in np.arange(2 * NODES)[::-1] % NODES:
            free = _left_for(cars, k[:, i], bank[:, i], v[:, i])
            slower = np.sqrt(v[:, i] ** 2 + 2 * 0.45 * free * ds)
            v[:, i - 1] = np.minimum(v[:, i - 1], slower)
    return v


def _left_for(cars: Cars, k: Array, bank: Array, v: Array) -> Array:
    """Acceleration along that the grip leaves beside the turning, m/s2."""
    n = G * np.cos(bank) + v**2 * k * np.sin(bank)
    across = np.clip((v**2 * k * np.cos(bank) - G * np.sin(bank)) / (cars.mu * n), -0.97, 0.97)
    left: Array = cars.mu * n * np.sqrt(1 - across**2)
    return left


@dataclass(frozen=True)
class Driven:
    """What happened, in time: each of shape (rows, cars); `need` is that of the axle, m."""

    time: Array
    rows: dict[str, Array]
    lines: Lines

    def __getattr__(self, name: str) -> Array:
        try:
            return self.rows[name]
        except KeyError:
            raise AttributeError(name) from None


def drive(cars: Cars, rng: np.random.Generator, laps: float = 4.3) -> Driven:
    """The cars driven for so many laps, at the steps of the integration."""
    lines = lines_of(cars)
    lap_time = (lines.length[:, None] / NODES / lines.target).sum(axis=1)
    steps = int(laps * lap_time.max() / STEP)
    state = _start(cars, lines)
    kept: dict[str, list[Array]] = {}
    jitter, drift = np.zeros(cars.count), np.zeros(cars.count)
    for _ in range(steps):
        noise = rng.standard_normal((2, cars.count))
        jitter += STEP / 0.25 * -jitter + noise[0] * cars.hands / cars.ratio * np.sqrt(
            2 * STEP / 0.25
        )
        drift += STEP / 3.0 * -drift + noise[1] * cars.wander * np.sqrt(2 * STEP / 3.0)
        seen = _step(cars, lines, state, jitter, drift)
        for name, value in seen.items():
            kept.setdefault(name, []).append(value)
    rows = {name: np.array(values) for name, values in kept.items()}
    return Driven(np.arange(steps) * STEP, rows, lines)


def _start(cars: Cars, lines: Lines) -> dict[str, Any]:
    n = cars.count
    v = lines.target[:, 0].copy()
    names = ("e", "psi", "vy", "r", "steer", "sum", "a_y", "a_x", "s")
    return {
        "v": v, "axle": v.copy(), "slip": np.zeros((4, 2, n)), **{k: np.zeros(n) for k in names}
    }  # fmt: skip


def _loads(cars: Cars, z: dict[str, Any], bank: Array, k: Array) -> list[Array]:
    """Left front, right front, left rear, right rear."""
    n = G * np.cos(bank) + z["v"] ** 2 * k * np.sin(bank)
    m, T = cars.mass, 2 * cars.half_track
    back = m * z["a_x"] * cars.cg / cars.wheelbase
    over = m * z["a_y"] * cars.cg / T
    loads = []
    for front in (True, False):
        share = (1 - cars.rear_share) if front else cars.rear_share
        axle = m * n * share + (-back if front else back)
        moved = over * (cars.front_roll if front else 1 - cars.front_roll)
        twist = cars.bite / 2 * (-0.5 if front else 0.5)
        left = axle * cars.left_share + twist - moved
        left = np.clip(left, 0.03 * axle, 0.97 * axle)
        loads += [left, axle - left]
    return loads


def _force(cars: Cars, slip: Array, load: Array, stiff: Array) -> Array:
    """Force along and across of one tire with slip along and across, shape (2, cars) [1]_."""
    usual = cars.mass * G / 4
    mu = cars.mu * (1 - cars.load_sense * (load / usual - 1))
    size = np.hypot(*slip) + 1e-9
    B = stiff / (cars.fade * mu)
    force: Array = mu * load * np.sin(cars.fade * np.arctan(B * size)) / size * slip
    return force


def _step(
    cars: Cars, lines: Lines, z: dict[str, Any], jitter: Array, drift: Array
) -> dict[str, Array]:
    """One step of the car, in place; what is seen of it."""
    s, v, r, vy = z["s"], z["v"], z["r"], z["vy"]
    k, bank = lines.at(lines.curvature, s), lines.at(lines.bank, s)
    a, b = cars.wheelbase * cars.rear_share, cars.wheelbase * (1 - cars.rear_share)
    steer_to, push, throttle = _driver(cars, lines, z, jitter, drift)
    z["steer"] += STEP / DELAY * (steer_to - z["steer"])
    loads, t = _loads(cars, z, bank, k), cars.half_track
    half = 0.5 * cars.stagger
    lost = [2 * np.pi * cars.flat_share * load / cars.rate for load in loads[2:]]
    rolls = [
        (cars.rollout - half - lost[0]) / cars.rollout,
        (cars.rollout + half - lost[1]) / cars.rollout,
    ]
    forces = []
    for i in range(4):
        front, y = i < 2, t if i % 2 == 0 else -t
        angle = z["steer"] if front else 0.0
        vx_i, vy_i = v - r * y, vy + (a if front else -b) * r
        along = vx_i * np.cos(angle) + vy_i * np.sin(angle)
        across = vy_i * np.cos(angle) - vx_i * np.sin(angle)
        if front:
            slip_x = np.where(push < 0, 0.35 * push / (cars.mass * G * cars.front_stiff / 4), 0.0)
        else:
            turning = z["axle"] * rolls[i - 2]
            slip_x = (turning - along) / np.maximum(np.abs(along), 3.0)
        new = np.stack([np.broadcast_to(slip_x, v.shape), -across / np.maximum(along, 3.0)])
        lag = np.minimum(STEP * v / cars.relaxation, 1.0)
        z["slip"][i] += lag * (new - z["slip"][i])
        stiff = cars.front_stiff if front else cars.rear_stiff
        x, y_force = _force(cars, z["slip"][i], loads[i], stiff)
        c, d = np.cos(angle), np.sin(angle)
        forces.append((x * c - y_force * d, x * d + y_force * c, x))
    rear_x = forces[2][2] * rolls[0] + forces[3][2] * rolls[1]
    X = sum(f[0] for f in forces) - 0.6 * cars.drag * v**2 - 0.03 * cars.mass * G
    Y = sum(f[1] for f in forces) + cars.mass * G * np.sin(bank)
    N = a * (forces[0][1] + forces[1][1]) - b * (forces[2][1] + forces[3][1])
    N += t * (forces[1][0] + forces[3][0] - forces[0][0] - forces[2][0])
    rear_push = np.where(push > 0, push, 0.65 * push)
    z["axle"] += STEP * (rear_push - rear_x) / 60.0
    a_x, a_y = X / cars.mass, Y / cars.mass
    z["v"] = np.maximum(v + STEP * (a_x + r * vy), 4.0)
    z["vy"] = vy + STEP * (a_y - r * v)
    z["r"] = r + STEP * N / (cars.mass * 1.3**2)
    z["a_x"] += STEP / 0.15 * (a_x - z["a_x"])
    z["a_y"] += STEP / 0.15 * (v * r - G * np.sin(bank) - z["a_y"])
    course = z["psi"] + np.arctan2(vy, v)
    pace = v * np.cos(course) / np.maximum(1 - z["e"] * k, 0.2)
    z["s"] = s + STEP * pace
    z["e"] = z["e"] + STEP * np.hypot(v, vy) * np.sin(course)
    z["psi"] = z["psi"] + STEP * (r - k * pace)
    # Where nothing slips between the treads: circles of the two wheels as their circumferences.
    need = 2 * cars.rollout * t * r / v + lost[1] - lost[0]
    return {
        "s": s.copy(), "e": z["e"].copy(), "v": v.copy(), "steer": z["steer"] * cars.ratio,
        "axle": z["axle"].copy(), "throttle": throttle, "need": need, "thrust": rear_push,
        "k": k,
    }  # fmt: skip


def _driver(
    cars: Cars, lines: Lines, z: dict[str, Any], jitter: Array, drift: Array
) -> tuple[Array, Array, Array]:
    """Steer angle wanted, force wanted along, and throttle."""
    v = z["v"]
    ahead = lines.at(lines.curvature, z["s"] + 0.35 * v)
    course = z["psi"] + np.arctan2(z["vy"], v)
    off = z["e"] - drift
    z["sum"] = np.clip(z["sum"] + STEP * off, -4, 4)
    steer = (
        (cars.wheelbase + 0.003 * v**2) * ahead - 0.02 * off - 0.8 * course - 0.003 * z["sum"]
        - 0.2 * (z["r"] - v * lines.at(lines.curvature, z["s"])) + jitter
    )  # fmt: skip
    slide = np.arctan2(z["vy"], v)
    steer = steer + 0.8 * (
        np.minimum(slide + 0.10, 0.0) + np.maximum(slide - 0.03, 0.0)
    )  # caught when the rear comes round
    wanted = lines.at(lines.target, z["s"] + 0.1 * v)
    ask = cars.mass * (2.5 * (wanted - v)) + 0.6 * cars.drag * v**2 + 0.05 * cars.mass * G
    free = _left_for(cars, *(lines.at(each, z["s"]) for each in (lines.curvature, lines.bank)), v)
    full = np.minimum(cars.power / v, 0.35 * cars.mass * free)
    spun = 1.0 - v / np.maximum(z["axle"] * 0.98, 3.0)
    full *= np.clip(1 - (np.abs(slide) - 0.12) / 0.08, 0.0, 1.0)
    full *= np.clip((0.25 - spun) / 0.1, 0.0, 1.0)
    push = np.clip(ask, -0.5 * cars.mu * cars.mass * G, full)
    return np.clip(steer, -0.5, 0.5), push, np.clip(push * v / cars.power, 0, 1)


# What is right for such a car


def best_stagger(driven: Driven) -> Array:
    """Stagger between truest where it drives and quickest, by what the cars did, m; (cars,).

    Quickest: a foot's drag is paid for until the driver brakes, the speed lost being carried, so
    that it weighs the time still to be driven off under power, over the cube of the speed.
    """
    keep = driven.time > 0.3 * driven.time[-1]
    v, need, push = driven.v[keep], driven.need[keep], np.maximum(driven.thrust[keep], 0.0)
    ds = v * STEP
    truest = (need * push * ds).sum(axis=0) / (push * ds).sum(axis=0)
    lever, later = np.zeros_like(v), np.zeros(v.shape[1])
    for i in range(len(v) - 1, -1, -1):
        later = np.where(push[i] > 0, later + ds[i] / v[i] ** 3, 0.0)
        lever[i] = later
    quickest = (need * lever * ds).sum(axis=0) / (lever * ds).sum(axis=0)
    best: Array = 0.5 * (truest + quickest)
    return best


# What is recorded


@dataclass(frozen=True)
class Logger:
    """How a log is taken; SI."""

    rate: float = 10.0
    drift: float = 0.5
    place: float = 0.15
    speed: float = 0.25
    rpm: float = 30.0
    wheel: float = 1.5 * DEGREE
    zero: float = 0.0
    gain: float = 1.0
    speed_lag: float = 0.1
    place_lag: float = 0.1
    spin: float = 0.0
    has_throttle: bool = True


def a_logger(rng: np.random.Generator, zero: float = 2 * DEGREE) -> Logger:
    """One of those in use: 1 to 25 rows a second, each with lags and offsets of its own."""
    return Logger(
        rate=float(rng.choice([1.0, 2.0, 5.0, 10.0, 20.0, 25.0])), drift=rng.uniform(0.2, 1.0),
        speed=rng.uniform(0.1, 0.5), wheel=rng.uniform(0.5, 3.0) * DEGREE,
        zero=rng.normal(0, zero), gain=1 + rng.normal(0, 0.04), speed_lag=rng.uniform(0, 0.3),
        place_lag=rng.uniform(0, 0.2), has_throttle=bool(rng.random() < 0.7),
    )  # fmt: skip


def recorded(
    cars: Cars, driven: Driven, which: int, logger: Logger, rng: np.random.Generator
) -> dict[str, Array]:
    """Columns of a log, SI, as `rollpath.runlog.laps.log_of` takes them."""
    time = np.arange(1.0, driven.time[-1], 1.0 / logger.rate)

    def at(name: str, lag: float = 0.0) -> Array:
        return np.interp(time - lag, driven.time, driven.rows[name][:, which])

    n = len(time)
    x, y = _ground(driven, which, time - logger.place_lag)
    drift = _wandering(rng, n, logger.rate, logger.drift)
    throttle, v = at("throttle"), at("v")
    pressed = throttle / np.percentile(throttle, 95)
    spin = logger.spin * np.clip(3 * pressed - 1.2, 0, 1) * np.clip(at("k") / 2e-3 - 0.5, 0, 1)
    turns = at("axle") / (1 - spin) / cars.rollout[which] * cars.gear[which] * 60
    columns = {
        "time": time, "x": x + drift.real + rng.normal(0, logger.place, n),
        "y": y + drift.imag + rng.normal(0, logger.place, n),
        "speed": at("v", logger.speed_lag) + rng.normal(0, logger.speed, n) + 0 * v,
        "engine_speed": (turns + rng.normal(0, logger.rpm, n)) * np.pi / 30,
        "steering": logger.gain * at("steer") + logger.zero + rng.normal(0, logger.wheel, n),
    }  # fmt: skip
    return columns | ({"throttle": throttle} if logger.has_throttle else {})


def _ground(driven: Driven, which: int, time: Array) -> tuple[Array, Array]:
    """Where a car was: its line, and how far it was left of it."""
    x, y = (each[which] for each in driven.lines.places())
    length = driven.lines.length[which]
    s = np.interp(time, driven.time, driven.s[:, which]) % length
    off = np.interp(time, driven.time, driven.e[:, which])
    nodes = (np.arange(NODES) + 1) * length / NODES
    heading = np.arctan2(np.gradient(y), np.gradient(x))
    at = [
        np.interp(s, nodes, each, period=length)
        for each in (x, y, np.cos(heading), np.sin(heading))
    ]
    return at[0] - off * at[3], at[1] + off * at[2]


def _wandering(rng: np.random.Generator, n: int, rate: float, size: float) -> Any:
    """An error east and north that forgets in about 20 s."""
    keep = np.exp(-1.0 / (20.0 * rate))
    error = rng.normal(0, size, 2) @ [1, 1j]
    wander = []
    for step in rng.normal(0, size * np.sqrt(1 - keep**2), (n, 2)) @ [1, 1j]:
        error = keep * error + step
        wander.append(error)
    return np.array(wander)
