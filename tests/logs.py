"""Made position logs: a known line, driven at a known speed, with a receiver's noise."""

from datetime import UTC, datetime, timedelta

import numpy as np
from rollpath.groove.path import place
from rollpath.survey.log import PositionLog
from rollpath.track import Track
from scipy.signal import lfilter

SPEED = 11.0
"""m/s: a slow lap."""
DRIFT_SD, DRIFT_TIME = 2.5, 60.0
"""m in each of east and north, and s over which it forgets itself."""
SITE = (12.0, -150.0)
"""Latitude and longitude of open sea: no real track."""


def line(track: Track, offset: float = 0.0, bulge=None) -> tuple[np.ndarray, np.ndarray]:
    """Closely spaced points of a line outside the inside edge; `bulge` moves them out, m."""
    u = np.linspace(0.0, float(track.edge.length[0, 0]), 4001)
    out = offset + (0.0 if bulge is None else bulge(u))
    x, y = place(track.edge, u, out)
    return x[0], y[0]


def drift(rng: np.random.Generator, time: np.ndarray, sd: float, forget: float) -> np.ndarray:
    """A first-order Gauss-Markov error, as receivers have."""
    kept = np.exp(-np.diff(time, prepend=time[0])[-1] / forget)
    steps = rng.standard_normal(len(time)) * sd * np.sqrt(1 - kept**2)
    steps[0] = rng.standard_normal() * sd
    return lfilter([1.0], [1.0, -kept], steps)


def made_log(
    track: Track, rng=None, *, hertz=1.0, laps=3.0, speed=SPEED, sd=DRIFT_SD, offset=0.0,
    bulge=None, turned=0.7,
) -> PositionLog:  # fmt: skip
    """A log of laps from the middle of the front straight, turned and moved in the plane."""
    x, y = line(track, offset, bulge)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    time = np.arange(0.0, laps * s[-1] / speed + 1e-9, 1.0 / hertz)
    at = time * speed % s[-1]
    z = (np.interp(at, s, x) + 1j * np.interp(at, s, y)) * np.exp(1j * turned) + (30 - 50j)
    if rng is not None:
        z += drift(rng, time, sd, DRIFT_TIME) + 1j * drift(rng, time, sd, DRIFT_TIME)
    return PositionLog(z.real, z.imag, time)


def degrees_at(log: PositionLog) -> tuple[np.ndarray, np.ndarray]:
    """Latitude and longitude of a log at `SITE`, by the radii of curvature of the ellipsoid."""
    lat = np.radians(SITE[0])
    e2, a = 0.00669437999014, 6378137.0  # WGS 84
    w = np.sqrt(1 - e2 * np.sin(lat) ** 2)
    return (
        SITE[0] + np.degrees(log.y * w**3 / (a * (1 - e2))),
        SITE[1] + np.degrees(log.x * w / (a * np.cos(lat))),
    )


def gpx(log: PositionLog, head: str = "", namespace: str = "http://www.topografix.com/GPX/1/1"):
    """The text of a GPX 1.1 file."""
    start = datetime(2026, 5, 1, 20, tzinfo=UTC)
    points = "\n".join(
        f'<trkpt lat="{a:.8f}" lon="{b:.8f}"><ele>200</ele>'
        f"<time>{(start + timedelta(seconds=float(t))).isoformat()}</time></trkpt>"
        for a, b, t in zip(*degrees_at(log), log.time, strict=True)
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<gpx version="1.1" creator="made" '
        f'xmlns="{namespace}"><trk><trkseg>\n{points}\n</trkseg></trk></gpx>\n'
    )


def csv_text(log: PositionLog, unit: str = "m") -> str:
    rows = [f"{t:.2f},{x:.3f},{y:.3f}" for t, x, y in zip(log.time, log.x, log.y, strict=True)]
    return "\n".join([f"time,x ({unit}),y ({unit})", *rows]) + "\n"
