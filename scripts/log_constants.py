"""What each constant of runlog/ moves: every one a factor up and down, on logs of other cars.

python3 scripts/log_constants.py [cars] [seed]

The table of `rollpath guide debrief`: of the logs read, how many change their verdict or what the
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

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from rollpath.runlog.log import RunLogError
from rollpath.runlog.recording import Recording
from rollpath.runlog.says import read_log
from rollpath.runlog.slip import read_slip
from rollpath.runlog.wheel import read_wheel
from rollpath.track import Condition
from truth_logs import INCH, Case, cases, driven_cars, says
from truth_two_track import STAGGERS, files_of
from two_track import a_field, drive
from two_track_logs import nights

ROOMS = ("laps", "log", "slip", "read", "wheel", "says", "recording")
LATE = ("slip", "wheel", "says", "recording")
"""Rooms whose constants only the last part of a reading asks for."""
FACTORS = (1 / 1.5, 1.5)
SKIPPED = {"KMH", "UNIT_SLIPS", "INCH", "FOOT", "DEGREE", "MPH", "G", "KINDS", "PHASES", "EIGHTH"}


MOVED = {"best": (2, 0.02), "wheel": (2, 0.1), "exit": (1, 0.2)}
"""Readings, how they are shown, and the least of each that is: in, in, per cent."""
NAMES = {
    "BINS": "parts of a lap, 72", "ENOUGH": "fewest rows or parts, 18",
    "LIKE_LAPS": "laps alike within 4 %", "MOST_LAPS": "most laps read, 12",
    "SAME_TRACK": "same track within 0.8 to 1.25", "SPIKE": "nonsense beyond 6 times",
    "SLIP_DOUBT": "slip in doubt, 3 %", "SPUN_USED": "grip used when it spins, 95 %",
    "MOST_SLIP": "slip on any tire, 20 %",
    "GRIP_PASSES": "grip is fitted twice", "ZERO_DOUBT": "steering zero, 8 deg",
    "MODEL_DOUBT": "misfit of the wheel, 5 deg", "SLOW_WAVES": "waves of the wheel, 2",
    "LEAST_MOVED": "least travel of the wheel, 0.3",
    "TAPE_DOUBTED": "doubted from 2 standard deviations", "LEAST_SPEED": "least speed, 3 m/s",
    "TAPE_DOUBT": "tape, 0.35 in",
    "MOST_APART": "grip fitted within 0.7 to 1.4", "GEAR_FAULT": "gear doubted from 5 %",
    "STEP": "step of stagger, 1/4 in",
}  # fmt: skip
"""What a constant is in the words of `guide debrief`."""


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
    near_one = 0.9 <= value < 2.0
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
    return [*plain, *spun, *bare, *wild, *_third_hand(count, seed)]


def _third_hand(count: int, seed: int) -> list[Case]:
    """As many again of `two_track.py`: plain ones and spun ones."""
    rng = np.random.default_rng(seed)
    trip = drive(a_field(rng, 3 * count, STAGGERS), rng)
    made = []
    for some in (nights(trip, rng, zero=8 * np.pi / 180), nights(trip, rng, spin=0.15)):
        for night in some[: count // 2]:
            track, car, _ = files_of(night, rng)
            taped = float(car.rear.stagger)
            surface = Condition(
                "made up", night.values["mu"] * rng.uniform(0.9, 1.1), 8.0, "middle"
            )
            made.append(Case(night.columns, track, car, surface, taped, night.best))
    return made


def _wild(columns: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    rows = {name: values.copy() for name, values in columns.items()}
    for name in sorted(rows.keys() - {"time"}):
        some = rng.random(len(rows[name])) < 0.01
        rows[name][some] = rng.choice([0.0, 1e4])
    return rows


def furthest(before: list[Reading | None], after: list[Reading | None]) -> dict[str, float]:
    """How many verdicts changed, and the most that each reading moved."""
    pairs = list(zip(before, after, strict=True))
    both = [(a, b) for a, b in pairs if a and b]
    moved = {"verdicts": float(sum((a and a.said) != (b and b.said) for a, b in pairs))}
    for name in MOVED:
        off = [abs(getattr(a, name) - getattr(b, name)) for a, b in both]
        moved[name] = float(np.nanmax(off)) if np.isfinite(off).any() else 0.0
    return moved


def row(name: str, moved: dict[str, float]) -> str:
    """A row of the table; a dash where it moves less than a tape or a gauge tells."""
    shown = [f"{moved['verdicts']:.0f}" if moved["verdicts"] else "-"]
    shown += [
        f"{moved[key]:.{digits}f}" if moved[key] >= least else "-"
        for key, (digits, least) in MOVED.items()
    ]
    return f"    {name:<34}{shown[0]:>8}" + "".join(f"{one:>7}" for one in shown[1:])


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
    print(f"{len(usual)} logs; each constant 1.5 times smaller and larger, the worse of the two\n")
    print(f"    {'constant':<34}verdicts   asks  wheel   slip")
    rows = {}
    for name, room in constants().items():
        late = room in LATE and name not in ("STEP", "LEAST_SPEED")
        worst = dict.fromkeys(("verdicts", *MOVED), 0.0)
        for factor in FACTORS:
            with with_constant(name, factor):
                after = read_all(usual, runs if late else None)
            worst = {key: max(one, worst[key]) for key, one in furthest(before, after).items()}
        rows[name] = worst
        print(f"{name} {worst}", file=sys.stderr, flush=True)
    for name in sorted(rows, key=lambda one: (-rows[one]["verdicts"], -rows[one]["wheel"])):
        print(row(NAMES.get(name, name.lower().replace("_", " ")), rows[name]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
