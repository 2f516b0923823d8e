"""How often logs of the third hand are read right, as the command reads them; see `two_track.py`.

python3 scripts/truth_two_track.py [cars] [seed]

Each log is written as text, read from its file, and debriefed with the track and the car as a racer
has them in his files: physics, belief and log together.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
sys.path.insert(0, str(Path(__file__).parent))

from rollpath.car import Axle, Car, Tire
from rollpath.corners import Corners
from rollpath.debrief import DebriefResult, debrief_of
from rollpath.errors import RollpathError
from rollpath.files.logs import load_run_log, run_log_fault
from rollpath.runlog.log import RunLogError
from rollpath.runlog.recording import Recording
from rollpath.runlog.says import spins, tape_doubted
from rollpath.stagger import baseline
from rollpath.track import Bank, Track
from rollpath.units import FOOT, G
from truth_logs import CLEAR, Figure
from two_track import INCH, Trip, a_field, drive
from two_track_logs import FAULTS, STYLES, Night, as_text, nights

STAGGERS = np.array([-1.0, -0.75, -0.5, 0.0, 0.0, 0.5, 0.75, 1.0]) * INCH
USUAL = {"heavy": 1.0, "tacky": 0.88, "rubbered": 0.8, "slick": 0.6}
"""Grip of the surfaces that a racer can name."""
CHOSEN = {
    "speed": "GPS Speed (mph)", "steering": "Steering Angle (deg)", "x": "X (m)", "y": "Y (m)",
}  # fmt: skip
"""What he types for a log without units."""


@dataclass(frozen=True)
class Read:
    """A night, and what the command made of its log; the words where it was refused."""

    night: Night
    taped: float
    told: DebriefResult | None
    refused: str = ""

    @property
    def change(self) -> str:
        assert self.told is not None and self.told.verdict is not None
        return self.told.verdict.change

    @property
    def held(self) -> bool:
        """Whether the best stagger lies where it is believed to, nine times in ten."""
        assert self.told is not None
        low, high = self.told.belief.interval(0.9)
        return low <= self.night.best <= high

    @property
    def opposite(self) -> bool:
        fault = self.taped - self.night.best
        return abs(fault) > CLEAR and self.change == ("more" if fault > 0 else "less")


def files_of(night: Night, rng: np.random.Generator, **wrong: float) -> tuple[Track, Car, str]:
    """The track and the car as a racer has them, and what he calls the surface.

    Parameters
    ----------
    wrong : float
        `tape`: of the stagger, m. `gear`: times the ratio. `longer`: straights of another track
        so many times as long, corners as much tighter as keeps the lap as long. `told`: 0 where
        he does not tell the units that the headings lack.
    """
    v = night.values
    radii = [v[key] + rng.normal(0, 1.5) for key in ("radius_12", "radius_34")]
    straight, longer = v["straight"] + rng.normal(0, 3.0), wrong.get("longer", 1.0)
    radii = [one - straight * (longer - 1) / np.pi for one in radii]
    bank = max(v["bank"] + rng.normal(0, 0.02), 0.0)
    track = Track(
        "Made up", (radii[0], radii[1]), straight * longer, 50 * FOOT, bank=Bank(bank, 0.0)
    )
    taped = v["stagger"] + wrong.get("tape", 0.0)
    half, weight = 0.5 * taped, v["mass"] * G
    front, rear = weight * (1 - v["rear"]), weight * v["rear"]
    weights = Corners(
        front * v["left"] - v["bite"] / 4, front * (1 - v["left"]) + v["bite"] / 4,
        rear * v["left"] + v["bite"] / 4, rear * (1 - v["left"]) - v["bite"] / 4,
    )  # fmt: skip
    car = Car(
        "Other", v["wheelbase"], Axle(2 * v["half_front"], v["rollout"] - 0.04, v["rollout"]),
        Axle(2 * v["half_rear"], v["rollout"] - half, v["rollout"] + half), weights,
        power=v["power"] * rng.uniform(0.9, 1.1), tire=Tire(v["spring"] * rng.uniform(0.9, 1.1)),
        steering_ratio=v["ratio"], gear_ratio=v["gear"] * wrong.get("gear", 1.0),
    )  # fmt: skip
    surface = min(USUAL, key=lambda name: abs(USUAL[name] - v["mu"]))
    return track, car, surface


def read(night: Night, rng: np.random.Generator, style: str = "plain", **wrong: float) -> Read:
    """The log written to a file and debriefed."""
    track, car, surface = files_of(night, rng, **wrong)
    taped = float(car.rear.stagger)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "run.csv"
        path.write_text(as_text(night.columns, style))
        try:
            chosen = {k: v for k, v in CHOSEN.items() if k in night.columns}
            log = load_run_log(path, chosen if wrong.get("told", style == "no units") else None)
            result = baseline(track, car, surface)
            return Read(night, taped, debrief_of(result, None, log))
        except RunLogError as error:
            return Read(night, taped, None, run_log_fault(error))
        except RollpathError as error:
            return Read(night, taped, None, str(error))


def with_fault(night: Night, names: tuple[str, ...], rng: np.random.Generator) -> Night:
    columns = night.columns
    for name in names:
        columns = FAULTS[name](columns, rng)
    return replace(night, columns=columns, faults=names)


def trips(cars: int, seed: int) -> tuple[Trip, Trip]:
    """The same cars at racing speed, and with traffic and two laps under a yellow flag."""
    rng = np.random.default_rng(seed)
    field = a_field(rng, cars, STAGGERS)
    return drive(field, rng), drive(field, rng, (1.0, 0.93, 1.0, 0.5, 0.5, 1.0, 1.0))


@dataclass(frozen=True)
class Lots:
    """Logs read, by kind."""

    kinds: dict[str, list[Read]]

    def of(self, *kinds: str) -> list[Read]:
        """Those that were read."""
        return [one for kind in kinds for one in self.kinds[kind] if one.told is not None]


def lots_of(cars: int, seed: int) -> Lots:
    """Every kind of log, each with faults of its own."""
    rng = np.random.default_rng(seed + 1000)
    plain, flagged = trips(cars, seed)
    names, styles = list(FAULTS), list(STYLES)

    def some(made: list[Night], **wrong: float) -> list[Read]:
        rows = []
        for i, night in enumerate(made):
            fault = (names[i % len(names)],)
            rows.append(read(with_fault(night, fault, rng), rng, styles[i % len(styles)], **wrong))
        return rows

    def clean(made: list[Night], **wrong: float) -> list[Read]:
        return [read(one, rng, **wrong) for one in made]

    half = {"spin": 0.15, "spun": (0.15, 0.5)}
    return Lots({
        "plain": some(nights(plain, rng)),
        "zero": some(nights(plain, rng, zero=8 * np.pi / 180)),
        "flag": some(nights(flagged, rng)),
        "spun": clean(nights(plain, rng, spin=0.15)),
        "spun at one end": clean(nights(plain, rng, **half)),
        "gear": clean(nights(plain, rng), gear=1.12),
        "other track": clean(nights(plain, rng), longer=1.6),
        "tape": clean(nights(plain, rng), tape=1.5 * INCH),
    })  # fmt: skip


def counted(cars: int, seed: int) -> tuple[Lots, list[Figure]]:
    """Logs of so many cars (some leave their line and are left out), and how they are read."""
    lots = lots_of(cars, seed)
    right, spun = lots.of("plain", "zero", "flag"), lots.of("spun", "spun at one end")
    geared, taped, other = lots.of("gear"), lots.of("tape"), lots.kinds["other track"]
    slips = [one for one in right if run_of(one).slip is not None]
    asked = sum(len(lots.kinds[kind]) for kind in ("plain", "zero", "flag"))
    return lots, [
        _figure("logs read", [one.told is not None for one in right], "all", asked),
        _figure("opposite verdicts", [one.opposite for one in right], "none"),
        _figure("the best within its nine in ten", [one.held for one in right], "9 in 10"),
        _figure("a right tape doubted", [tape_doubted(run_of(one)) for one in right],
                "at most 1 in 20"),
        _figure("wheelspin of 15 % found", [spins(run_of(one)) for one in spun], "all"),
        _figure("wheelspin where there is none", [spins(run_of(one)) for one in slips], "none"),
        _figure("a right gear ratio accused", [gear_doubted(one) for one in slips], "none"),
        _figure("a gear ratio off by 12 % found", [gear_doubted(one) for one in geared], "all"),
        _figure("a track of another shape refused", [bool(one.refused) for one in other], "all"),
        _figure("a tape wrong by 1 1/2 in noticed", [tape_doubted(run_of(one)) for one in taped],
                "nothing: it is not in a log"),
    ]  # fmt: skip


def run_of(one: Read) -> Recording:
    assert one.told is not None and one.told.recording is not None
    return one.told.recording


def gear_doubted(one: Read) -> bool:
    slip = run_of(one).slip
    return slip is not None and slip.gear_fault


def _figure(name: str, found: list[bool], asked: str, of: int | None = None) -> Figure:
    return Figure(f"third hand: {name}", sum(found), len(found) if of is None else of, asked)


def figures(cars: int = 24, seed: int = 3) -> list[tuple[str, str]]:
    """Rows as `bench.py --truth` prints them."""
    return [(figure.name, figure.told) for figure in counted(cars, seed)[1]]


def main() -> int:
    cars, seed = (int(word) for word in (*sys.argv[1:], *("24", "3")[len(sys.argv) - 1 :]))
    for name, told in figures(cars, seed):
        print(f"{name:<54}{told}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
