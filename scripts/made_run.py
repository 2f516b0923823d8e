"""Make up a recorded run from the car model, and write the demo log.

python3 scripts/made_run.py    # writes tracks/logs/saucer-hill-run.csv: made up, no one drove it

The log is of laps driven as `rollpath.feel` trims the car, seen through the noise of a phone-class
logger: positions that drift, a speed, an engine speed and a steering angle that scatter, a steering
sensor whose zero and gain are a little off.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from rollpath.axle.rolling import needed_stagger, rolling_circumference
from rollpath.car import Car
from rollpath.feel.lap import Feel, trim_lap
from rollpath.groove.lay import make_groove
from rollpath.lap import PHASES, solve_lap
from rollpath.runlog.slip import tread_slip_along
from rollpath.stagger import recommend
from rollpath.track import Track
from rollpath.units import DEGREE, FloatArray

GEAR_RATIO = 5.8
HEADINGS = {
    "time": ("time (s)", 1.0, 2), "x": ("x (m)", 1.0, 2), "y": ("y (m)", 1.0, 2),
    "speed": ("speed (mph)", 0.44704, 2), "engine_speed": ("rpm", np.pi / 30, 0),
    "steering": ("steering angle (deg)", DEGREE, 1), "throttle": ("throttle (%)", 0.01, 0),
}  # fmt: skip
"""Heading, SI value of its unit, and decimals."""


@dataclass(frozen=True)
class Noise:
    """Standard deviations, SI, of a logger of the better phone class. Engineering judgement."""

    drift: float = 0.5
    place: float = 0.15
    speed: float = 0.25
    engine_speed: float = 30 * np.pi / 30
    steering: float = 1.5 * DEGREE
    steering_zero: float = 1.0 * DEGREE
    steering_gain: float = 0.04
    pace: float = 0.006


def driven(track: Track, car: Car, condition: str, fault: float) -> tuple[Feel, float]:
    """The car driven with a stagger that is wrong by a fault, m, and the stagger that is right."""
    state = track.condition(condition)
    lap = solve_lap(make_groove(track, state.groove, car.width), car, state)
    right = float(recommend(lap, needed_stagger(lap, car), car, state).unbounded)
    return trim_lap(lap, car, state, np.array([right + fault])), right


def made_run(
    feel: Feel,
    rng: np.random.Generator,
    *,
    laps: float = 3.2,
    rate: float = 10.0,
    spin: float = 0.0,
    noise: Noise | None = None,
    gear_ratio: float = GEAR_RATIO,
) -> dict[str, FloatArray]:
    """Columns of a log, SI.

    Parameters
    ----------
    feel : Feel
        Of one stagger.
    rng : numpy.random.Generator
    laps : float
        From the middle of the front straight.
    rate : float
        Rows a second.
    spin : float
        Slip added in the drive-off, as a share of the rolling speed.
    noise : Noise, optional
    gear_ratio : float
        Turns of the engine for one of the axle.
    """
    noise = noise or Noise()
    lap = feel.lap
    groove, length = lap.groove, float(lap.groove.length)
    around = np.append(groove.s, length + groove.s[0])
    speed = np.append(feel.speed[0], feel.speed[0][0])
    lap_time = float(np.sum(groove.ds / feel.speed[0]))
    clock = np.concatenate([[0.0], np.cumsum(np.diff(around) * 2 / (speed[1:] + speed[:-1]))])
    time = np.arange(0.0, laps * lap_time, 1.0 / rate)
    pace = np.repeat(1.0 + noise.pace * rng.standard_normal(int(laps) + 2), 1)
    ahead = np.interp(time / lap_time, np.arange(len(pace)), np.cumsum(pace) - pace[0])
    s = np.interp(ahead % 1.0 * clock[-1], clock, around) % length

    def at(stations: FloatArray) -> FloatArray:
        return np.interp(s, groove.s, stations, period=length)

    x, y = groove.path
    slip = tread_slip_along(feel, feel.car)[0] + spin * (lap.phase == PHASES.index("drive-off"))
    v = at(feel.speed[0]) * np.gradient(ahead, time) * lap_time
    rolls = v / (1.0 - at(slip))
    drift = _drift(rng, len(time), rate, noise.drift)
    n = len(time)
    zero, gain = rng.normal(0, noise.steering_zero), 1 + rng.normal(0, noise.steering_gain)
    return {
        "time": time,
        "x": at(x) + drift.real + rng.normal(0, noise.place, n),
        "y": at(y) + drift.imag + rng.normal(0, noise.place, n),
        "speed": v + rng.normal(0, noise.speed, n),
        "engine_speed": rolls / at(rolling_circumference(lap, feel.car)) * 2 * np.pi * gear_ratio
        + rng.normal(0, noise.engine_speed, n),
        "steering": gain * at(feel.steering_wheel[0]) + zero + rng.normal(0, noise.steering, n),
        "throttle": np.clip(at(np.where(lap.thrust > 0, 1.0, 0.0)), 0, 1),
    }


def _drift(rng: np.random.Generator, n: int, rate: float, size: float) -> FloatArray:
    """A wandering error east and north that forgets in about 20 s."""
    keep = np.exp(-1.0 / (20.0 * rate))
    steps = rng.normal(0, size * np.sqrt(1 - keep**2), (n, 2)) @ [1, 1j]
    wander = np.empty(n, complex)
    wander[0] = rng.normal(0, size, 2) @ [1, 1j]
    for i in range(1, n):
        wander[i] = keep * wander[i - 1] + steps[i]
    return wander


def as_csv(columns: dict[str, FloatArray]) -> str:
    """The columns as a file would hold them."""
    names = [name for name in HEADINGS if name in columns]
    lines = [",".join(HEADINGS[name][0] for name in names)]
    cells = [
        [f"{value / HEADINGS[name][1]:.{HEADINGS[name][2]}f}" for value in columns[name]]
        for name in names
    ]
    return "\n".join([*lines, *(",".join(row) for row in zip(*cells, strict=True)), ""])


def main() -> int:
    from rollpath.files.cars import load_car
    from rollpath.files.tracks import load_track
    from rollpath.files.writing import write_whole

    track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
    stagger = float(car.rear.stagger)
    _, right = driven(track, car, "slick", 0.0)
    feel, _ = driven(track, car, "slick", stagger - right)
    log = made_run(feel, np.random.default_rng(31))
    write_whole(Path("tracks/logs/saucer-hill-run.csv"), as_csv(log))
    return 0


if __name__ == "__main__":
    sys.exit(main())
