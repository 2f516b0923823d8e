"""Position logs of a third maker: arcs drawn as arcs, flicker noise, pauses, uneven clocks.

Nothing is shared with `wild_logs.py` but the record: lines are points of circles, rounded by a
running mean; the error is 1/f noise, unlike in east and north, with a place that throws it off.
"""

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from wild_logs import Made

STEP = 0.1
"""Distance between the points of a line, m."""


def arcs(R_1: float, R_2: float, straight: float, turn: float, rounding: float) -> np.ndarray:
    """A closed oval of four arcs in x + i y; each straight turns by `turn`."""
    chord = straight * np.sinc(turn / 2 / np.pi)
    # The heights of the two ends above the axis must agree with radii and headings.
    from scipy.optimize import brentq

    def miss(lean):
        first, last = lean + (np.pi - turn) / 2, np.pi - (-lean + (np.pi - turn) / 2)
        return R_1 * np.sin(first) + chord * np.sin((first + last + np.pi) / 2) - R_2 * np.sin(last)

    lean = brentq(miss, -1.2, 1.2) if R_1 != R_2 else 0.0
    a_1, a_2 = (np.pi - turn) / 2 + lean, (np.pi - turn) / 2 - lean
    pieces = [(1 / R_1, R_1 * 2 * a_1), (turn / straight, straight), (1 / R_2, R_2 * 2 * a_2),
              (turn / straight, straight)]  # fmt: skip
    z, heading = [0j], np.pi / 2 - a_1
    for k, length in pieces:
        s = np.arange(STEP, length, STEP)
        s = np.append(s, length)
        bent = np.exp(1j * heading) * (s if abs(k) < 1e-9 else (np.exp(1j * k * s) - 1) / (1j * k))
        z.extend(z[-1] + bent)
        heading += k * length
    z = even(np.array(z))
    return gaussian_filter1d(z, rounding / STEP, mode="wrap") if rounding > 0 else z


def even(z: np.ndarray) -> np.ndarray:
    """A closed line at even steps; the last point is not the first."""
    z = np.append(z, z[0])
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
    at = np.linspace(0, s[-1], int(s[-1] / STEP), endpoint=False)
    return np.interp(at, s, z.real) + 1j * np.interp(at, s, z.imag)


def outward(z: np.ndarray, out: np.ndarray) -> np.ndarray:
    way = np.gradient(np.concatenate([z[-2:], z, z[:2]]))[2:-2]
    return even(z - 1j * way / np.abs(way) * out)


def flicker(rng, time, sd, power):
    """Noise whose spectrum falls by a power of the frequency, of a standard deviation in all."""
    dt = 0.5
    n = 2 * int(time[-1] / dt) + 64
    out = []
    for share in (1.0, rng.uniform(0.7, 1.4)):
        f = np.fft.rfftfreq(n, dt)
        f[0] = np.inf
        loud = np.maximum(f, 1 / 900) ** (-power / 2)
        w = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * loud)
        out.append(share * sd * np.interp(time, dt * np.arange(n), w / w.std()))
    return out[0] + 1j * out[1]


def travelled(rng, walk: bool):
    """Distance along the line over an uneven clock."""
    hertz, pace = rng.uniform(1, 10), rng.uniform(1.0, 1.8) if walk else rng.uniform(7, 24)
    return hertz, pace


def third_log(rng, z: np.ndarray, laps: float | None = None, clean: bool = False):
    """A walk with pauses or a drive along a line, recorded; time and x + i y."""
    walk = rng.uniform() < 0.45
    hertz, pace = travelled(rng, walk)
    n, laps = len(z), laps or rng.uniform(2.0, 5.0)
    total = laps * n * STEP
    dt = 1 / hertz
    time = np.cumsum(dt * (1 + 0.1 * rng.uniform(-1, 1, int(2.2 * total / pace / dt) + 400)))
    speed = np.full(len(time), pace)
    for period in rng.uniform(8, 60, 3):
        speed *= 1 + 0.12 * np.cos(2 * np.pi * time / period + rng.uniform(0, 6))
    if walk:
        for at in rng.uniform(0, total / pace, rng.integers(0, 4)):
            speed[(time > at) & (time < at + rng.uniform(5, 60))] = 0.0
    s = np.cumsum(speed * np.gradient(time))
    keep = s < total
    time, s = time[keep] - time[0], s[keep] / STEP + rng.integers(0, n)
    line = z[np.floor(s).astype(int) % n]
    way = np.gradient(line)
    way = np.where(np.abs(way) > 0, way / np.maximum(np.abs(way), 1e-9), 1)
    line = line - 1j * way * gaussian_filter1d(rng.standard_normal(len(line)), 8 / STEP / 20) * 0.8
    if not clean and rng.uniform() < 0.5:
        time, line = tailed(rng, time, line, pace, dt)
    if not clean and rng.uniform() < 0.35:
        line = smeared(rng, line, rng.uniform(0.1, 0.8), dt)
    sd = rng.uniform(1, 3)
    bad = np.exp(-(np.abs(line - z[rng.integers(0, n)]) ** 2) / 2 / 12.0**2)
    noise = flicker(rng, time, sd, rng.uniform(1.2, 2.0))
    noise += bad * rng.uniform(0, 1) * np.exp(1j * rng.uniform(0, 6.28))
    jitter = rng.standard_normal(len(time)) + 1j * rng.standard_normal(len(time))
    line = line + noise + 0.25 * jitter
    if not clean:
        line, keep = broken(rng, time, line)
        time, line = time[keep], line[keep]
    line = (line if rng.uniform() < 0.5 else line.conj()) * np.exp(1j * rng.uniform(0, 6.28))
    grid = rng.choice([0.0, 0.1, 0.5])
    if grid:
        line = np.round(line.real / grid) * grid + 1j * np.round(line.imag / grid) * grid
    return time, line


def tailed(rng, time, line, pace, dt):
    """On to the pits or in from them, along a bend, with a stand."""
    far = rng.uniform(30, 180)
    u = np.arange(pace * dt, far, pace * dt)
    way, bend = rng.uniform(0, 2 * np.pi), rng.uniform(-1, 1) * 0.01
    tail = np.cumsum(np.exp(1j * (way + bend * u))) * pace * dt
    last = tail[-1] if len(tail) else 0
    tail = np.append(tail, np.full(int(rng.uniform(0, 90) / dt), last))
    if rng.uniform() < 0.5:
        out = np.append(line, line[-1] + tail)
        return np.append(time, time[-1] + dt * np.arange(1, len(tail) + 1)), out
    out = np.append(line[0] + tail[::-1], line)
    return np.append(dt * np.arange(len(tail)), time + dt * len(tail)), out


def smeared(rng, line, tau, dt):
    """The lag of a filter: a running mean over what was, or the mean of two such."""
    width = max(int(2 * tau / dt), 1)
    past = uniform_filter1d(line, width, origin=(width - 1) // 2, mode="nearest")
    return past if rng.uniform() < 0.5 else 0.5 * (past + line)


def broken(rng, time, line):
    line, keep = line.copy(), np.ones(len(time), dtype=bool)
    for _ in range(rng.integers(0, 3)):
        at = rng.uniform(0, time[-1])
        off = (time > at) & (time < at + rng.uniform(0.5, 10))
        line[off] += rng.uniform(5, 60) * np.exp(1j * rng.uniform(0, 6.28))
    for _ in range(rng.integers(0, 3)):
        at = rng.uniform(0, time[-1])
        keep &= ~((time > at) & (time < at + rng.uniform(2, 12)))
    return line, keep


def third_oval(rng):
    """Radii, straight and turn of a straight, and the rounding of the corners' ends."""
    R_1 = rng.uniform(25, 75)
    R_2 = R_1 * rng.uniform(0.8, 1.25) if rng.uniform() < 0.5 else R_1
    straight = max(rng.uniform(40, 180), 2 * abs(R_1 - R_2) + 20)
    kind = rng.uniform()
    bow = 0.0 if kind < 0.4 else rng.uniform(0, 0.05) if kind < 0.8 else rng.uniform(0.05, 0.2)
    from scipy.optimize import brentq

    turn = 0.0 if bow < 1e-4 else brentq(lambda a: (1 - np.cos(a / 2)) / a - bow, 1e-9, 2.8)
    while turn > 0 and straight / turn < 1.3 * max(R_1, R_2):  # still straighter than its corners
        turn *= 0.8
    return R_1, R_2, straight, turn, rng.choice([0.0, rng.uniform(1, 6)])


def third_kind(seed: int) -> Made:
    rng = np.random.default_rng([3, seed])
    R_1, R_2, straight, turn, rounding = third_oval(rng)
    z = arcs(R_1, R_2, straight, turn, rounding)
    time, line = third_log(rng, z)
    radii = tuple(R - rounding**2 / 2 / R for R in (R_1, R_2))
    return Made(line.real, line.imag, time, radii, straight, "flicker")


def third_outline(rng, bent: float | None):
    """An oval that ripples by 1.8 m at most, or bent by at least so many m off any oval near it."""
    R_1, R_2, straight, turn, rounding = third_oval(rng)
    turn = min(turn, 0.3)
    z = arcs(R_1, R_2, straight, turn, max(rounding, 1.0))
    s = 2 * np.pi * np.arange(len(z)) / len(z)
    if bent is None:
        out = sum(rng.normal(0, 1 / m) * np.cos(m * s + rng.uniform(0, 6)) for m in range(2, 8))
        return outward(z, 1.8 * rng.uniform(0.4, 1) * out / np.max(np.abs(out)))
    where = rng.choice([0.0, 0.5]) * len(z) + R_1 * (np.pi - turn) / STEP / 2 + straight / STEP / 2
    away = np.abs((np.arange(len(z)) - where + len(z) / 2) % len(z) - len(z) / 2) * STEP
    # A kink or a knee in one straight: half of it can be hidden by a bow, so twice as far.
    peak = np.clip(1 - away / (0.55 * straight), 0, 1)
    return outward(z, 2.0 * bent * rng.choice([-1, 1]) * peak)
