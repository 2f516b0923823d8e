"""What each constant of runlog/ moves: every one a factor up and down, on logs of other cars.

python3 scripts/log_constants.py [cars] [seed]

A table for `rollpath guide debrief`: of the logs read, how many change their verdict or what the
log says, and how far the readings move. What moves nothing needs no name of its own.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from rollpath.runlog.log import RunLogError
from rollpath.runlog.recording import Recording
from rollpath.runlog.says import read_log
from rollpath.runlog.slip import read_slip
from rollpath.runlog.wheel import read_wheel
from truth_logs import INCH, Case, cases, driven_cars, says

ROOMS = ("laps", "slip", "read", "wheel", "says", "recording")
LATE = ("slip", "wheel", "says", "recording")
"""Rooms whose constants only the last part of a reading asks for."""
FACTORS = (1 / 1.5, 1.5)
SKIPPED = {"KMH", "UNIT_SLIPS", "INCH", "FOOT", "DEGREE", "MPH", "G", "KINDS", "PHASES", "EIGHTH"}


@dataclass(frozen=True)
class Reading:
    """What of a log a racer would see."""

    said: str
    code: str
    best: float
    wheel: float
    exit: float
    ratio: float


def constants() -> dict[str, str]:
    """Numbers of runlog/ by name, with the room that sets each."""
    found: dict[str, str] = {}
    for room in ROOMS:
        module = import_module(f"rollpath.runlog.{room}")
        text = Path(str(module.__file__)).read_text().splitlines()
        own = {line.split("=")[0].split(":")[0].strip() for line in text if "=" in line}
        for name, value in vars(module).items():
            number = isinstance(value, int | float | tuple) and not isinstance(value, bool)
            if name.isupper() and number and name in own and name not in SKIPPED:
                found.setdefault(name, room)
    return found


def varied(value: Any, factor: float) -> Any:
    """A constant a factor further from what it stands for; a band about 1 wider or narrower."""
    if isinstance(value, tuple):
        return tuple(1 - (1 - one) * factor if abs(one - 1) < 0.6 else one for one in value)
    if isinstance(value, int):
        return max(1, round(value * factor))
    near_one = 0.9 <= value < 1.0
    return 1 - (1 - value) * factor if near_one else value * factor


@contextmanager
def with_constant(name: str, factor: float) -> Iterator[None]:
    """The constant changed in every room that took it in."""
    modules = [import_module(f"rollpath.runlog.{room}") for room in ROOMS]
    before = [(module, getattr(module, name)) for module in modules if hasattr(module, name)]
    for module, value in before:
        setattr(module, name, varied(value, factor))
    try:
        yield
    finally:
        for module, value in before:
            setattr(module, name, value)


def reading_of(case: Case, run: Recording) -> Reading:
    word = read_log(run, case.car)
    return Reading(
        says(case, run) if word.code == "stagger" else word.code, word.code, word.best / INCH,
        run.wheel.alone / INCH if run.wheel else np.nan,
        100 * run.slip.exit if run.slip else np.nan,
        run.slip.likely_ratio / run.slip.gear_ratio if run.slip else np.nan,
    )  # fmt: skip


def read_all(made: list[Case], runs: list[Recording] | None = None) -> list[Reading | None]:
    """Each log read; from recordings when only slip and steering are to be read again."""
    read: list[Reading | None] = []
    for i, case in enumerate(made):
        try:
            if runs is None:
                run = case.read()
            else:
                run = replace(runs[i], slip=read_slip(runs[i], case.car, case.car.gear_ratio))
                run = replace(run, wheel=read_wheel(run, case.car)[0])
            read.append(reading_of(case, run))
        except (RunLogError, ValueError, IndexError):
            read.append(None)
    return read


def bag(count: int, seed: int) -> list[Case]:
    """Logs of all sorts: plain, spun, without positions, with rows of nonsense."""
    cars, driven, rng = driven_cars(count, seed)
    plain = cases(cars, driven, rng, zero=8 * np.pi / 180)
    spun = cases(cars, driven, rng, spin=0.15)[: count // 2]
    bare = [
        replace(one, columns={k: v for k, v in one.columns.items() if k not in ("x", "y")})
        for one in plain[: count // 3]
    ]  # fmt: skip
    wild = [replace(one, columns=_wild(one.columns, rng)) for one in plain[count // 2 :]]
    return [*plain, *spun, *bare, *wild]


def _wild(columns: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    rows = {name: values.copy() for name, values in columns.items()}
    for name in sorted(rows.keys() - {"time"}):
        some = rng.random(len(rows[name])) < 0.01
        rows[name][some] = rng.choice([0.0, 1e4])
    return rows


def difference(before: list[Reading | None], after: list[Reading | None]) -> str:
    pairs = list(zip(before, after, strict=True))
    changed = sum((a and a.said) != (b and b.said) for a, b in pairs)
    both = [(a, b) for a, b in pairs if a and b]

    def far(name: str) -> float:
        off = [abs(getattr(a, name) - getattr(b, name)) for a, b in both]
        return float(np.nanmax(off)) if np.isfinite(off).any() else 0.0

    return (
        f"{changed:>3}{far('best'):>8.2f}{far('wheel'):>8.2f}{far('exit'):>7.1f}"
        f"{100 * far('ratio'):>7.1f}"
    )


def main() -> int:
    count, seed = (int(word) for word in (*sys.argv[1:3], *("6", "5")[len(sys.argv[1:3]) :]))
    made = bag(count, seed)
    runs, usual = [], []
    for case in made:
        try:
            runs.append(case.read())
            usual.append(case)
        except RunLogError as error:
            print("refused:", str(error)[:90], file=sys.stderr)
    before = read_all(usual, runs)
    print(f"{len(usual)} logs: {[one.said for one in before if one]}")
    print("constant                   x verdicts best in   wheel slip %ratio %")
    for name, room in constants().items():
        late = room in LATE and name not in ("STEP", "LEAST_SPEED")
        for factor in FACTORS:
            with with_constant(name, factor):
                after = read_all(usual, runs if late else None)
            print(f"{name:<22}{factor:>6.2f} {difference(before, after)}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
