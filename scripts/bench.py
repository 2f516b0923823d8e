"""How fast it is: each row against a reference timed in the same run, in time of the processor.

python3 scripts/bench.py [words of row names]
python3 scripts/bench.py --truth [seasons] [nights|logs|surveys]    # how often it is right, on data
                                             # that is not its own

A row is a function that returns a `Row`; add it to `ROWS` and it is in the table.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from environment import ROOT, run

if TYPE_CHECKING:
    from rollpath.tires.rack import Rack
    from rollpath.track import Condition, Track

SAUCER, CAR = "tracks/saucer-hill.yaml", "cars/number-31.yaml"
RACK = "cars/racks/number-31.yaml"
CASES = 1000
RUNS = 10_000


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    name, what : str
        What it is called, and what was timed.
    ours, reference : float
        s; the reference was timed in the same run, or is the time asked for.
    against : str
        What the reference is.
    ratio : float
    asked : str
        Of the ratio.
    met : bool
    """

    name: str
    what: str
    ours: float
    reference: float
    against: str
    ratio: float
    asked: str
    met: bool


def within(name: str, what: str, ours: float, limit: float) -> Row:
    """A row that asks for a time; its reference is that time."""
    ratio = ours / limit
    return Row(name, what, ours, limit, "time asked for", ratio, "<= 1", ratio <= 1)


def times_faster(name: str, what: str, ours: float, reference: float, against: str,
                 least: float) -> Row:  # fmt: skip
    """A row that asks to be so many times faster than its reference."""
    ratio = reference / ours
    return Row(name, what, ours, reference, against, ratio, f">= {least:g}", ratio >= least)


def best_of(count: int, work: Callable[[], object]) -> float:
    """Least time of the processor of several runs, s: what else is running is not in it."""
    times = []
    for _ in range(count):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


SIM = ROOT / "sim"


def cold(*commands: tuple[str, ...], count: int = 9) -> list[float]:
    """Least processor time of a fresh Python with each of these arguments, s.

    The commands take turns, so that a busy spell of the machine strikes all of them alike. The
    first round is not counted: it compiles what was never run.
    """
    environment = os.environ | {"PYTHONPATH": str(SIM), "OMP_NUM_THREADS": "1"}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    rounds = [[_of_child(one, environment) for one in commands] for _ in range(1 + count)]
    return [min(times) for times in zip(*rounds[1:], strict=True)]


def _of_child(words: tuple[str, ...], environment: dict[str, str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], cwd=ROOT, env=environment, check=True,
                   stdout=subprocess.DEVNULL)  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def at_most(name: str, what: str, ours: float, reference: float, against: str,
            most: float) -> Row:  # fmt: skip
    """A row that asks for at most so many times its reference."""
    ratio = ours / reference
    return Row(name, what, ours, reference, against, ratio, f"<= {most:g}", ratio <= most)


# Part 1: a baseline


OURS = ("-m", "rollpath")
BARE = ("-c", "import argparse")
LIBRARIES = ("-c", "import numpy, yaml")


def overview() -> Row:
    ours, reference = cold((*OURS, "--help"), BARE)
    return at_most("--help", "a fresh `rollpath --help`", ours, reference,
                   "a fresh Python with argparse", 2)  # fmt: skip


def version() -> Row:
    ours, reference = cold((*OURS, "--version"), BARE)
    return at_most("--version", "a fresh `rollpath --version`", ours, reference,
                   "a fresh Python with argparse", 2)  # fmt: skip


def cold_baseline() -> Row:
    return _cold_baseline("baseline", "no free groove", 1.5, "heavy", "middle")


def cold_rounded() -> Row:
    return _cold_baseline("baseline, rounded", "slick, rounded", 2.3, "slick", "rounded")


def _cold_baseline(name: str, what: str, most: float, condition: str, groove: str) -> Row:
    case = (*OURS, "baseline", SAUCER, CAR, "--condition", condition, "--groove", groove)
    ours, reference = cold(case, LIBRARIES)
    return at_most(name, f"a fresh `rollpath baseline`, {what}", ours, reference,
                   "fresh import of numpy and yaml", most)  # fmt: skip


def cold_feel() -> Row:
    case = (SAUCER, CAR, "--condition", "heavy")
    ours, reference = cold((*OURS, "feel", *case), (*OURS, "baseline", *case))
    return at_most("feel", "a fresh `rollpath feel`", ours, reference,
                   "a fresh `rollpath baseline`", 1.5)  # fmt: skip


def one_lap() -> Row:
    from rollpath import load_car, load_track
    from rollpath.groove.lay import make_groove
    from rollpath.lap import solve_lap

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    surface, shape = track.condition("heavy"), vars(track).copy()
    shape.pop("edge", None)
    ours = best_of(
        60, lambda: solve_lap(make_groove(type(track)(**shape), "middle", car.width), car, surface)
    )
    return within("one lap", "edge, groove and lap of 720 stations", ours, 5e-3)


def lap_sweep() -> Row:
    import numpy as np
    from rollpath import load_car, load_track
    from rollpath.groove.lay import make_groove
    from rollpath.lap import solve_lap

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    surface = track.condition("heavy")
    radii, straights = np.linspace(40.0, 75.0, CASES), np.linspace(70.0, 120.0, CASES)[::-1]

    def lap(pick: int | slice) -> object:
        R, L = radii[pick], straights[pick]
        oval = replace(track, inside_radius=(R, 0.95 * R), straight=L)
        return solve_lap(make_groove(oval, "middle", car.width), car, surface)

    few = CASES // 4
    alone = best_of(3, lambda: [lap(i) for i in range(few)]) * CASES / few
    together = best_of(3, lambda: lap(slice(None)))
    return times_faster("lap sweep", f"{CASES} laps of different tracks as one sweep, 720 stations",
                        together, alone, "the same laps one by one", 8)  # fmt: skip


# Part 2: grooves


def rounded_groove() -> Row:
    return _free_groove("rounded")


def diamond_groove() -> Row:
    return _free_groove("diamond")


def _free_groove(name: str) -> Row:
    """In laps' time, so that the row says the same on a slow machine."""
    from rollpath import load_car, load_track
    from rollpath.groove.lay import make_groove
    from rollpath.lap import solve_lap

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    groove, state = make_groove(track, name, car.width), track.condition("slick")
    lap = best_of(30, lambda: solve_lap(groove, car, state))
    ours = best_of(5, lambda: make_groove(track, name, car.width))
    return at_most(f"{name} groove", f"Saucer Hill, {name}", ours, lap, "one lap", 40)


def fastest_cold() -> Row:
    """The slowest of the demo tracks, with grip in bands."""
    from rollpath import load_car, load_track
    from rollpath.groove.fastest import fastest_groove

    car = load_car(ROOT / CAR)
    tracks = [load_track(path) for path in sorted((ROOT / "tracks").glob("*.yaml"))]
    ours = max(best_of(2, lambda t=t: fastest_groove(t, car, _cushion(t))) for t in tracks)
    return within("fastest, cold", "the fastest line of any demo track", ours, 2.0)


def fastest_warm() -> Row:
    from rollpath import load_car, load_track
    from rollpath.groove.fastest import fastest_groove

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    state = _cushion(track)
    line = fastest_groove(track, car, state)
    slicker = replace(state, grip=state.grip * 0.97)
    ours = best_of(3, lambda: fastest_groove(track, car, slicker, start=line))
    return within("fastest, warm", "begun from the line of a little more grip", ours, 0.6)


def _cushion(track: "Track") -> "Condition":
    """Slick, with grip left at the outside."""
    from rollpath.track import GripBands

    return replace(track.condition("slick"), grip=GripBands(0.55, 0.60, 0.82))


def cases_of_a_groove() -> Row:
    import numpy as np
    from rollpath import load_car, load_track
    from rollpath.groove.lay import make_groove
    from rollpath.stagger import baseline

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    groove = make_groove(track, "rounded", car.width)
    grips = np.linspace(0.4, 1.1, 500)
    ours = best_of(3, lambda: baseline(track, car, "slick", groove, grip=grips))
    return within("sweep of a groove", "500 baselines of one groove, by grip", ours, 2.0)


# Part 4: the rack


def made_rack(count: int) -> "Rack":
    """Tires of made-up rollouts, every one allowed on every corner."""
    from rollpath.tires.rack import Rack, RackTire, Taping
    from rollpath.units import INCH

    rollouts = [(80 + i * 37 % 61 / 8) * INCH for i in range(count)]
    return Rack("made up", tuple(RackTire(f"T{i}", (Taping((one,)),))
                                 for i, one in enumerate(rollouts)))  # fmt: skip


def _choice(count: int) -> Callable[[], object]:
    from rollpath import load_car
    from rollpath.tires.choose import choose
    from rollpath.tires.sets import Aim
    from rollpath.units import INCH

    rack, car = made_rack(count), load_car(ROOT / CAR)
    return lambda: choose(rack, car, Aim(2.25 * INCH))


def with_air(rack: "Rack") -> "Rack":
    """The same rack with a pressure to run and the limits of the tire maker."""
    from rollpath.corners import Corners
    from rollpath.units import PSI

    running = Corners(14 * PSI, 18 * PSI, 12 * PSI, 16 * PSI)
    tires = tuple(
        replace(tire, tapings=tuple(replace(one, pressure=14 * PSI) for one in tire.tapings))
        for tire in rack.tires
    )
    return replace(rack, tires=tires, running_pressure=running,
                   pressure_limits=(8 * PSI, 30 * PSI))  # fmt: skip


def tires_of_forty() -> Row:
    return within("40 tires", "the best of 2,193,360 ordered sets", best_of(3, _choice(40)), 0.5)


def tires_with_air() -> Row:
    from rollpath import load_car
    from rollpath.tires.choose import choose
    from rollpath.units import INCH

    rack, car = with_air(made_rack(40)), load_car(ROOT / CAR)
    ours = best_of(2, lambda: choose(rack, car, 2.25 * INCH))
    return within("40 tires with air", "the same, each set with its best pressures", ours, 2.0)


def tires_of_two_hundred() -> Row:
    """Told of as it goes; `rollpath tires` draws a bar from what it is told."""
    from rollpath import load_car
    from rollpath.tires.choose import choose
    from rollpath.units import INCH

    rack, car, told = with_air(made_rack(200)), load_car(ROOT / CAR), []
    ours = best_of(1, lambda: choose(rack, car, 2.25 * INCH, told=told.append))
    row = within("200 tires with air", f"told of {len(told)} times as it goes", ours, 5.0)
    return replace(row, asked="<= 1, or told", met=row.met or len(told) > 10)


def planned_night() -> Row:
    from rollpath import load_car, load_track, plan
    from rollpath.files.racks import load_rack

    rack, car = load_rack(ROOT / RACK), load_car(ROOT / CAR)
    ten = replace(rack, tires=rack.tires[:4] + rack.tires[6:9] + rack.tires[9:12])
    runs = {"practice": "heavy", "heat": "tacky", "last chance": "rubbered", "feature": "slick"}
    track = load_track(ROOT / SAUCER)
    ours = best_of(2, lambda: plan(ten, car, runs, track))
    return within("plan", f"four runs from a rack of {len(ten.tires)} tires", ours, 3.0)


def tires_of_twelve() -> Row:
    """Against the plain loop that the tests check the chooser with."""
    sys.path.insert(0, str(ROOT / "tests"))
    from rollpath.tires.sets import Weights
    from test_tires import every_set, score_plainly

    rack = made_rack(12)
    plain = best_of(
        3, lambda: min(score_plainly(rack, four, 2.25, Weights()) for four in every_set(rack))
    )
    return times_faster("12 tires", "the best of 11,880 ordered sets", best_of(5, _choice(12)),
                        plain, "a plain loop over the sets", 1)  # fmt: skip


# Part 6: what the driver feels


def felt_staggers() -> Row:
    import numpy as np
    from rollpath import load_car, load_track
    from rollpath.feel.lap import trim_lap
    from rollpath.groove.lay import make_groove
    from rollpath.lap import solve_lap
    from rollpath.units import INCH

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    state = track.condition("heavy")
    lap = solve_lap(make_groove(track, state.groove, car.width, 360), car, state)
    staggers = np.linspace(0.0, 6.0, 13) * INCH
    ours = best_of(3, lambda: trim_lap(lap, car, state, staggers))
    return within("felt staggers", "360 stations, 13 staggers", ours, 0.5)


# Part 8: the notebook


def notebook_list() -> Row:
    return _big_book("list")


def notebook_review() -> Row:
    return _big_book("review")


def _big_book(action: str) -> Row:
    """A fresh `rollpath notebook` on a book of `RUNS` runs."""
    with tempfile.TemporaryDirectory() as folder:
        season, book = Path(folder) / "season.csv", str(Path(folder) / "book.db")
        season.write_text(made_season(RUNS))
        fill = [sys.executable, "-m", "rollpath", "notebook", "import", str(season), "--book", book]
        environment = os.environ | {"PYTHONPATH": str(SIM)}
        subprocess.run(fill, cwd=ROOT, check=True, stdout=subprocess.DEVNULL, env=environment)
        (ours,) = cold((*OURS, "notebook", action, "--book", book), count=4)
    return within(f"notebook {action}", f"a fresh `rollpath notebook {action}` of {RUNS} runs",
                  ours, 1.0)  # fmt: skip


def made_season(count: int) -> str:
    """CSV of made-up runs: five a night, six cars, twenty tracks, four surfaces."""
    head = (
        "when,track,car,condition,best_lap_s,wheel,optimum_stagger_in,left_rear_rollout_in,"
        "right_rear_rollout_in,left_front_weight_lb,right_front_weight_lb,left_rear_weight_lb,"
        "right_rear_weight_lb,note"
    )
    surfaces, wheels = ("heavy", "tacky", "rubbered", "slick"), ("left", "straight", "right")
    lines = [head]
    for i in range(count):
        night = i // 5
        when = datetime(2000, 4, 1, 19) + timedelta(days=night, minutes=20 * (i % 5))
        tire, pad = 86 + (i * 7 % 9) / 8, 838 + 15 * (i * 11 % 3 == 0)
        lines.append(
            f"{when.isoformat()},Track {night % 20},Car {night % 6},{surfaces[night % 4]},"
            f"{17 + i * 13 % 100 / 100},{wheels[i * 5 % 3]},2.21,83.75,{tire},812,741,{pad},779,"
            f"a note of some length about the run number {i}"
        )
    return "\n".join(lines) + "\n"


# Part 9: the page


def page_start() -> Row:
    """Up to the first page of an empty trailer, through the guard, without a network."""
    first = """
import tempfile, pathlib
from rollpath.page.app import make_app
from rollpath.page.desk import Desk
from rollpath.page.guard import Guard
app = make_app(Desk(pathlib.Path(tempfile.mkdtemp())), Guard(("localhost",), "", False))
answer = app.test_client().get("/", follow_redirects=True)
assert answer.status_code == 200, answer.status
"""
    ours, reference = cold(("-c", first), ("-c", "import flask, numpy, yaml"))
    return at_most("page", "a fresh `rollpath page`, to its first page", ours, reference,
                   "fresh import of flask, numpy and yaml", 2)  # fmt: skip


# Part 5: survey


def fitted_log() -> Row:
    """Three laps at 10 Hz, an error of 2.5 m that wanders like a phone's."""
    import numpy as np
    from rollpath import load_track
    from rollpath.groove.path import place
    from rollpath.survey.log import PositionLog
    from rollpath.survey.measured import survey_by_log

    edge, rng = load_track(ROOT / SAUCER).edge, np.random.default_rng(1)
    time = np.arange(0.0, 144.0, 0.1)
    x, y = place(edge, 11.0 * time % edge.length[0, 0], 0.0)
    for axis in (x[0], y[0]):
        error = 2.5 * rng.standard_normal()
        for i, step in enumerate(2.5 * np.sqrt(2 * 0.1 / 60) * rng.standard_normal(len(time))):
            error += step - 0.1 / 60 * error
            axis[i] += error
    log = PositionLog(x[0], y[0], time)
    ours = best_of(3, lambda: survey_by_log(log))
    return within("fitted log", "an oval from 3 laps at 10 Hz", ours, 1.0)


# Part 7: recorded laps


def recorded_laps() -> Row:
    """A million rows at 100 Hz, seven channels, from the file to the verdict."""
    import numpy as np
    from made_run import as_csv, driven, made_run
    from rollpath import load_car, load_track
    from rollpath.files.logs import load_run_log
    from rollpath.groove.lay import make_groove
    from rollpath.runlog.read import read_run
    from rollpath.runlog.says import read_log

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    surface, groove = track.condition("slick"), make_groove(track, "rounded", car.width)
    feel, _ = driven(track, car, "slick", 0.0)
    made = made_run(feel, np.random.default_rng(0), laps=10, rate=100.0)
    rows = np.arange(1_000_000)
    log = {name: channel[rows % len(channel)] for name, channel in made.items()}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.csv"
        path.write_text(as_csv(log | {"time": rows / 100}))
        ours = best_of(2, lambda: read_log(
            read_run(load_run_log(path), track, car, surface, groove, 5.8), car
        ))  # fmt: skip
    return within("recorded laps", "a log of a million rows, read and judged", ours, 3.0)


# Part 8: the page


def first_page() -> Row:
    """From the command to the first page in hand."""
    from phones import crowd, served, set_up

    with tempfile.TemporaryDirectory() as folder:
        set_up(Path(folder))

        def opened() -> float:
            start = time.perf_counter()
            with served(Path(folder)) as (port, _):
                crowd(port, 1, 1, ("/",))
                return time.perf_counter() - start

        ours = min(opened() for _ in range(5))
    return within("first page", "`rollpath page` to its first page, tonight's answer on it",
                  ours, 1.5)  # fmt: skip


def twenty_phones() -> Row:
    """Nineteen pages of twenty are answered within this, all phones asking without a pause."""
    from phones import crowd, memory_of, served, set_up

    with tempfile.TemporaryDirectory() as folder:
        set_up(Path(folder))
        with served(Path(folder)) as (port, process):
            crowd(port, 20, 2000)  # everything is worked out once, and every thread warm
            before = memory_of(process)
            took = sorted(crowd(port, 20, 2000))
            grown = memory_of(process) - before
    ours = took[int(0.95 * len(took))]
    row = within("20 phones", f"19 of 20 pages of 2000; memory {before:.0f} MB, {grown:+.1f} MB",
                 ours, 0.3)  # fmt: skip
    return replace(row, met=row.met and grown < 0.02 * before + 2)


ROWS: tuple[Callable[[], Row], ...] = (
    overview,
    version,
    cold_baseline,
    cold_rounded,
    cold_feel,
    one_lap,
    lap_sweep,
    rounded_groove,
    diamond_groove,
    fastest_cold,
    fastest_warm,
    cases_of_a_groove,
    tires_of_forty,
    tires_with_air,
    tires_of_two_hundred,
    tires_of_twelve,
    planned_night,
    felt_staggers,
    notebook_list,
    notebook_review,
    page_start,
    fitted_log,
    recorded_laps,
    first_page,
    twenty_phones,
)


# Growth by factors of ten, and memory


def growth() -> list[tuple[str, str]]:
    """What ten times more costs: stations, cases of a sweep, tires, rows of a log."""
    import numpy as np
    from rollpath import load_car, load_track
    from rollpath.files.columns import read_columns
    from rollpath.files.logs import POINT_COLUMNS
    from rollpath.groove.lay import make_groove
    from rollpath.lap import solve_lap

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    state = track.condition("heavy")

    def laps(count: int, stations: int) -> object:
        oval = replace(track, straight=np.linspace(70.0, 120.0, count))
        return solve_lap(make_groove(oval, "middle", car.width, stations), car, state)

    def log(rows: int) -> Callable[[], object]:
        path = Path(folder) / f"{rows}.csv"
        lines = (f"{i % 977 / 7:.3f},{i % 641 / 9:.3f}\n" for i in range(rows))
        path.write_text("x (m),y (m)\n" + "".join(lines))
        return lambda: read_columns(path, POINT_COLUMNS)

    with tempfile.TemporaryDirectory() as folder:
        rows = {
            "stations of a lap": [(n, lambda n=n: laps(1, n)) for n in (720, 7200, 72000)],
            "cases of a sweep": [(n, lambda n=n: laps(n, 720)) for n in (10, 100, 1000)],
            "tires of a rack": [(n, _choice(n)) for n in (10, 20, 40, 80)],
            "rows of a log": [(n, log(n)) for n in (10_000, 100_000, 1_000_000)],
        }
        return [
            (name, ", ".join(f"{n}: {_time(best_of(2, work))}" for n, work in sizes))
            for name, sizes in rows.items()
        ]


def long_sweep(count: int) -> None:
    """A sweep over the straight of Saucer Hill."""
    import numpy as np
    from rollpath import load_car, load_track
    from rollpath.compare import Sweep, sweep

    track, car = load_track(ROOT / SAUCER), load_car(ROOT / CAR)
    sweep(track, car, Sweep("straight", "track", np.linspace(70.0, 120.0, count), "length"),
          "heavy", "middle")  # fmt: skip


def memory() -> list[tuple[str, str]]:
    """Peak memory of fresh processes beside one that only imports; 0 where /proc does not tell."""
    commands = {
        "imports alone": "import rollpath.cli.baseline",
        "baseline": f"import rollpath.cli; rollpath.cli.main(['baseline', {SAUCER!r}, {CAR!r}])",
        "100,000 laps swept": "import sys; sys.path.insert(0, 'scripts'); import bench; "
        "bench.long_sweep(100_000)",
        "40 tires": "import sys; sys.path.insert(0, 'scripts'); import bench; bench._choice(40)()",
    }
    tail = """
import sys
held = [line for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(held[0].split()[1] if held else 0, file=sys.stderr)"""
    environment = os.environ | {"PYTHONPATH": str(SIM)}
    found = []
    for name, command in commands.items():
        done = subprocess.run([sys.executable, "-c", command + tail], cwd=ROOT, env=environment,
                              check=True, capture_output=True, text=True)  # fmt: skip
        found.append((name, f"{int(done.stderr.split()[-1]) / 1024:.0f} MB"))
    return found


HEADS = ("row", "ours", "reference", "ratio", "asked", "met", "what is timed, against what")


def table(rows: list[Row]) -> str:
    """The rows under their heads, in columns."""
    cells = [HEADS]
    cells += [
        (row.name, _time(row.ours), _time(row.reference), f"{row.ratio:.2f}", row.asked,
         "yes" if row.met else "NO", f"{row.what}, against {row.against}")
        for row in rows
    ]  # fmt: skip
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return "\n".join(
        "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip()
        for line in cells
    )


def _time(seconds: float) -> str:
    return f"{seconds * 1e3:.1f} ms" if seconds < 1 else f"{seconds:.2f} s"


def truth(*words: str) -> int:
    """How often the answers are right, on cars, seasons, logs and faults that are not ours.

    Parameters
    ----------
    words : str
        How many seasons, 100 unless said; and which of nights, logs and surveys, all unless said.
    """
    sys.path.insert(0, str(ROOT / "tests"))
    import truth_logs
    import truth_seasons
    from survey_truth import survey_truth

    seasons = next((int(word) for word in words if word.isdigit()), 100)
    cars = max(seasons // 4, 2)
    for name, of, rows in (
        (
            "nights",
            f"{seasons} made-up seasons of each kind",
            lambda: truth_seasons.figures(seasons),
        ),
        ("logs", f"{cars} cars that are not the model's", lambda: truth_logs.figures(cars)),
        ("surveys", "by position log", lambda: survey_truth(2 * seasons)),
    ):
        if name not in words and any(not word.isdigit() for word in words):
            continue
        print(f"{name}: {of}")
        for row, told in rows():
            print(f"  {row:<54}{told}", flush=True)
    return 0


def main() -> int:
    if sys.prefix == sys.base_prefix:  # not in an environment yet: again, in the project's own
        return run("scripts/bench.py", *sys.argv[1:])
    sys.path.insert(0, str(SIM))
    if "--truth" in sys.argv:
        return truth(*sys.argv[2:])
    chosen = [
        row for row in ROWS
        if len(sys.argv) == 1 or any(word in row.__name__ for word in sys.argv[1:])
    ]  # fmt: skip
    rows = []
    for row in chosen:
        print(f"timing {row.__name__.replace('_', ' ')} ...", file=sys.stderr, flush=True)
        rows.append(row())
    print(table(rows))
    if len(sys.argv) == 1:
        for title, lines in (("growth", growth()), ("peak memory", memory())):
            print(f"\n{title}")
            for name, told in lines:
                print(f"  {name:<20}{told}")
    return 0 if all(row.met for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
