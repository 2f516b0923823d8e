"""Position logs made without the package: closed lines from their own curvature, driven or walked,
and recorded by receivers of several kinds. The survey was tuned on `first_kind` alone.

Corners begin and end with half a cosine of curvature here, not with the clothoid of the package;
the noise of the second kind is no Gauss-Markov process.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import brentq
from scipy.signal import lfilter

FOOT = 0.3048
N = 6000


@dataclass(frozen=True)
class Made:
    """A log and the truth behind it; m, s. `radii` and `straight` are None off the ovals."""

    x: np.ndarray
    y: np.ndarray
    time: np.ndarray
    radii: tuple[float, float] | None
    straight: float | None
    kind: str


# Lines


def _closed(pieces: list[tuple[float, float]], blend: float) -> np.ndarray:
    """A line from (curvature, length) pieces, each change spread over `blend`; x + i y."""
    lengths = np.array([length for _, length in pieces])
    s = np.linspace(0.0, lengths.sum(), N + 1)
    ends = np.cumsum(lengths)
    k = np.full(N + 1, pieces[0][0])
    for (k_0, _), (k_1, _), end in zip(pieces, pieces[1:], ends, strict=False):
        ramp = np.clip((s - end) / blend + 0.5, 0.0, 1.0)
        k = k + (k_1 - k_0) * (0.5 - 0.5 * np.cos(np.pi * ramp))
    ds = s[1]
    theta = np.concatenate([[0.0], np.cumsum(0.5 * (k[1:] + k[:-1]) * ds)])
    middle = np.exp(0.5j * (theta[1:] + theta[:-1]))
    return np.concatenate([[0.0], np.cumsum(middle * ds)])


def oval_line(R_1: float, R_2: float, straight: float, bow: float = 0.0, blend: float = 15.0):
    """Four arcs, from the middle of the front straight; lengths along the line itself."""
    turn = 0.0 if bow <= 0 else brentq(
        lambda a: (1 - np.cos(a / 2)) / a - bow / straight, 1e-9, 3.0
    )  # fmt: skip
    base = turn / straight
    blend = min(blend, 0.9 * straight)

    def line(split: float) -> np.ndarray:
        c_1, c_2 = np.pi - turn + split, np.pi - turn - split
        return _closed(
            [(base, straight / 2), (1 / R_1, R_1 * c_1), (base, straight), (1 / R_2, R_2 * c_2),
             (base, straight / 2)], blend,
        )  # fmt: skip

    def miss(split: float) -> float:
        # The end lies on the start seen along the long axis: by symmetry the only one to close.
        return float(line(split)[-1].real)

    if R_1 == R_2:
        return line(0.0)
    grid = np.linspace(-2.2, 2.2, 45)
    values = [abs(line(g)[-1]) for g in grid]
    best = grid[int(np.argmin(values))]
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(lambda a: abs(line(a)[-1]), bounds=(best - 0.11, best + 0.11),
                            method="bounded", options={"xatol": 1e-10})  # fmt: skip
    return line(found.x)


def polygon_line(corners: np.ndarray, radii: np.ndarray) -> np.ndarray:
    """A polygon with rounded corners, anticlockwise, from the middle of its first side."""
    z = np.asarray(corners)
    points = []
    for i in range(len(z)):
        before, here, after = z[i - 1], z[i], z[(i + 1) % len(z)]
        a, b = (before - here) / abs(before - here), (after - here) / abs(after - here)
        half = 0.5 * abs(np.angle(a / b))
        reach = radii[i] / np.tan(half)
        centre = here + radii[i] / np.sin(half) * (a + b) / abs(a + b)
        start, end = here + reach * a, here + reach * b
        span = np.angle((end - centre) / (start - centre))
        points.extend(centre + (start - centre) * np.exp(1j * span * np.linspace(0, 1, 120)))
    ring = np.array([0.5 * (points[-1] + points[0]), *points, 0.5 * (points[-1] + points[0])])
    return _evenly(ring)


def _evenly(z: np.ndarray) -> np.ndarray:
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
    at = np.linspace(0, s[-1], N + 1)
    return np.interp(at, s, z.real) + 1j * np.interp(at, s, z.imag)


def moved_out(z: np.ndarray, out: np.ndarray) -> np.ndarray:
    """A closed line moved outward by distances at its points."""
    normal = -1j * np.gradient(z) / np.abs(np.gradient(z))
    return _evenly(z + out * normal)


# Receivers


def wander(rng, time, sd, forget):
    """A first-order Gauss-Markov error in x and y."""
    kept = np.exp(-np.median(np.diff(time)) / forget)
    steps = rng.standard_normal((2, len(time))) * np.sqrt(1 - kept**2)
    steps[:, 0] = rng.standard_normal(2)
    out = sd * lfilter([1.0], [1.0, -kept], steps, axis=1)
    return out[0] + 1j * out[1]


def swells(rng, time, sd):
    """Slow waves of many periods, and steps where a satellite comes or goes."""
    out = np.zeros(len(time), dtype=complex)
    for period in rng.uniform(25, 600, 7):
        phase, way = rng.uniform(0, 2 * np.pi, 2)
        out += np.exp(1j * way) * np.cos(2 * np.pi * time / period + phase) * period**0.3
    for at in rng.uniform(time[0], time[-1], rng.integers(0, 4)):
        step = rng.normal(0, 0.7) + 1j * rng.normal(0, 0.7)
        out += step * (1 + np.tanh((time - at) / 2.0)) * 3
    out -= out.mean()
    out *= sd * np.sqrt(2) / max(np.sqrt(np.mean(np.abs(out) ** 2)), 1e-9)
    return out + rng.standard_t(4, len(time)) * 0.2 + 1j * rng.standard_t(4, len(time)) * 0.2


def smooth_wander(rng, time, sd, width):
    """Smooth errors, as of a filter that trusts its own motion."""
    dt = np.median(np.diff(time))
    noise = rng.standard_normal((2, len(time) + 8 * int(width / dt) + 8))
    out = gaussian_filter1d(noise, width / dt, axis=1)[:, -len(time) :]
    out *= sd / out.std()
    return out[0] + 1j * out[1]


def driven(line, rng, *, hertz, laps, pace, start=0.0, slow=0.0):
    """Places on the line at even times; slower by `slow` where it turns."""
    ring = line[:-1]
    heading = np.unwrap(np.angle(np.diff(line)))
    turn = gaussian_filter1d(np.abs(np.gradient(heading)), 150, mode="wrap")
    speed = pace * (1 - slow * turn / turn.max())
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(line)))])
    t = np.concatenate([[0.0], np.cumsum(np.diff(s) / speed)])
    time = np.arange(0.0, laps * t[-1], 1.0 / hertz)
    at = np.interp((time + start * t[-1]) % t[-1], t, np.arange(len(ring) + 1))
    index = np.floor(at).astype(int) % len(ring)
    z = ring[index] + (at - np.floor(at)) * (ring[(index + 1) % len(ring)] - ring[index])
    return time, z


def lagged(time, z, tau):
    if tau <= 0:
        return z
    kept = np.exp(-np.median(np.diff(time)) / tau)
    out, _ = lfilter([1 - kept], [1.0, -kept], z, zi=[kept * z[0]])
    return out


def with_tail(rng, time, z, pace, way=None, stand=60.0):
    """After the laps off to the pits along a direction, standing there; or the way in before."""
    way = rng.uniform(0, 2 * np.pi) if way is None else way
    dt = np.median(np.diff(time))
    far = rng.uniform(40, 160)
    walk = np.arange(dt * pace, far, dt * pace)
    out = walk * np.exp(1j * way)
    parked = np.full(int(stand / dt), out[-1] if len(out) else 0)
    if rng.uniform() < 0.5:
        tail = z[-1] + np.concatenate([out, parked])
        z = np.concatenate([z, tail])
    else:
        tail = z[0] + np.concatenate([parked, out[::-1]])
        z = np.concatenate([tail, z])
    return np.arange(len(z)) * dt, z


def spoiled(rng, time, z, *, jumps=0, dropouts=0):
    z = z.copy()
    for _ in range(jumps):
        at, last = rng.uniform(0, time[-1]), rng.uniform(0.5, 12.0)
        inside = (time >= at) & (time < at + last)
        z[inside] += rng.uniform(6, 70) * np.exp(1j * rng.uniform(0, 2 * np.pi))
    keep = np.ones(len(time), dtype=bool)
    for _ in range(dropouts):
        at, last = rng.uniform(0, time[-1]), rng.uniform(2.0, 15.0)
        keep &= ~((time >= at) & (time < at + last))
    return time[keep], z[keep]


# Logs


def some_oval(rng):
    R_1 = rng.uniform(28, 75)
    R_2 = R_1 if rng.uniform() < 0.4 else R_1 * rng.uniform(0.75, 1.3)
    straight = max(rng.uniform(45, 170), 1.5 * abs(R_1 - R_2) + 25)
    bow = 0.0 if rng.uniform() < 0.5 else straight * rng.uniform(0.0, 0.06)
    return R_1, R_2, straight, bow, rng.uniform(6, 26)


def recorded(rng, line, noise: Callable, *, lag=True, spoil=True, tails=True, laps=None):
    """A walk or a drive along a line, with everything that may go wrong."""
    walk = rng.uniform() < 0.4
    hertz = float(rng.choice([1, 2, 5, 10]))
    pace = rng.uniform(1.1, 1.7) if walk else rng.uniform(7, 22)
    laps = laps or rng.uniform(2.0, 5.0)
    time, z = driven(line, rng, hertz=hertz, laps=laps, pace=pace, start=rng.uniform(),
                     slow=0.0 if walk else rng.uniform(0, 0.35))  # fmt: skip
    if tails and rng.uniform() < 0.5:
        time, z = with_tail(rng, time, z, pace, stand=rng.uniform(0, 120))
    if lag and rng.uniform() < 0.4:
        z = lagged(time, z, rng.uniform(0.1, 0.9))
    z = z + noise(rng, time)
    if spoil:
        time, z = spoiled(rng, time, z, jumps=rng.integers(0, 3), dropouts=rng.integers(0, 3))
    z = (z if rng.uniform() < 0.5 else z.conj()) * np.exp(1j * rng.uniform(0, 2 * np.pi))
    return time, z


def first_kind(seed: int) -> Made:
    """The kind the survey was tuned on: plain ovals, Gauss-Markov drift of 1 to 3 m."""
    rng = np.random.default_rng([1, seed])
    R_1, R_2, straight, bow, blend = some_oval(rng)
    time, z = recorded(
        rng, oval_line(R_1, R_2, straight, bow, blend),
        lambda r, t: wander(r, t, r.uniform(1, 3), r.uniform(15, 100)) + wander(r, t, 0.2, 0.01),
    )  # fmt: skip
    return Made(z.real, z.imag, time, (R_1, R_2), straight, "gauss-markov")


def second_kind(seed: int) -> Made:
    """Ovals in waves and steps, or smooth errors; shapes drawn another way."""
    rng = np.random.default_rng([2, seed])
    lap = rng.uniform(1 / 6, 1 / 2) * 1609.344
    ratio = rng.uniform(0.7, 3.2)  # straight over radius
    R = lap / (2 * np.pi + 2 * ratio)
    R_1, R_2 = R * rng.uniform(0.9, 1.1), R * rng.uniform(0.9, 1.1)
    straight = ratio * R
    bow = straight * max(rng.normal(0.01, 0.02), 0)
    smooth = rng.uniform() < 0.5

    def noise(r, t):
        sd = r.uniform(1, 3)
        return smooth_wander(r, t, sd, r.uniform(4, 25)) if smooth else swells(r, t, sd)

    line = oval_line(R_1, R_2, straight, bow, rng.uniform(0.2, 0.7) * R)
    time, z = recorded(rng, line, noise)
    return Made(z.real, z.imag, time, (R_1, R_2), straight, "smooth" if smooth else "swells")


def bent_line(rng, size: float) -> tuple[np.ndarray, str]:
    """An outline that is no oval by about a size, m: its bends and what it is called."""
    kind = str(rng.choice(["dogleg", "dee", "tri-oval", "four corners", "egg"]))
    a, R = rng.uniform(60, 110), rng.uniform(32, 55)
    if kind == "dogleg":
        line = oval_line(R, R, 1.6 * a, 0.0, 12.0)
        s = np.linspace(0, 1, N + 1)
        length = np.sum(np.abs(np.diff(line)))
        at, reach = 0.5 + rng.uniform(-0.03, 0.03), 0.7 * a / length
        return moved_out(
            line, size * rng.choice([-1, 1]) * np.clip(1 - np.abs(s - at) / reach, 0, 1)
        ), kind
    if kind == "dee":
        corners = np.array(
            [-a - 1j * R, a - 1j * R, 0.8 * a + 1j * R, 1j * (R + 3 * size), -0.8 * a + 1j * R]
        )
        return polygon_line(corners, np.array([R, R, 0.7 * R, 0.5 * a, 0.7 * R]) * 0.8), kind
    if kind == "tri-oval":
        corners = np.array(
            [-1j * (R + 2.5 * size), a - 1j * R, a + 1j * R, -a + 1j * R, -a - 1j * R]
        )
        return polygon_line(corners, np.array([0.4 * a, *[0.9 * R] * 4])), kind
    if kind == "four corners":
        return polygon_line(np.array([-a - 1j * a, a - 1j * a, a + 1j * a, -a + 1j * a]) * 0.8,
                            np.full(4, rng.uniform(0.25, 0.45) * a)), kind  # fmt: skip
    corners = np.array([-a - 1j * R, a - 1j * (R + 2 * size), a + 1j * R * 0.8, -a + 1j * R])
    return polygon_line(corners, np.array([0.5, 0.8, 0.5, 0.8]) * R), kind


def rippled(rng, size: float) -> tuple[np.ndarray, tuple[float, float], float]:
    """An oval whose edge wavers by at most a size, m."""
    R_1, R_2, straight, bow, blend = some_oval(rng)
    line = oval_line(R_1, R_2, straight, bow, blend)
    s = 2 * np.pi * np.linspace(0, 1, N + 1)
    out = sum(rng.normal(0, 1 / m) * np.cos(m * s + rng.uniform(0, 6)) for m in range(3, 10))
    return moved_out(line, size * out / np.max(np.abs(out))), (R_1, R_2), straight
