"""Every constant of judgement, by value, with where it is from: none changes unseen.

Each row: the constant, its value, its source. A source is a book, ``common practice``, ``from
memory``, ``engineering judgement``, or the arithmetic that fixes it.
"""

import ast
import math
import re
from dataclasses import fields, is_dataclass
from datetime import timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rollpath.typical import LOADED_SHARES, TYPICAL
from rollpath.units import DEGREE, EIGHTH, FOOT, HP, INCH, POUND, PSI

PACKAGE = Path(__file__).resolve().parent.parent / "sim" / "rollpath"
JUDGEMENT = "engineering judgement"
PRACTICE = "common practice, no source"
TABLE = {
    "car.DEFAULT_WINDOW": ((1 * INCH, 4 * INCH), "common practice, no source"),
    "car.ROLLING_RESISTANCE": (0.025, "Gillespie ch. 4: 0.02 to 0.05 off pavement"),
    "car.BODY_OVERHANG": (12 * INCH, JUDGEMENT),
    "car.BODY_ENDS": (76 * INCH, JUDGEMENT),
    "forces.AIR_DENSITY": (1.2, "U.S. Standard Atmosphere 1976: 1.204 at 20 C"),
    "forces.LEAST_SPEED": (1.0, JUDGEMENT),
    "forces.MOST_USED": (0.999, JUDGEMENT),
    "forces.LEAST_HELD": (1e-3, JUDGEMENT),
    "forces.LEAST_LOAD": (0.05, JUDGEMENT),
    "forces.LIMIT_STEPS": (3, "Newton: each step squares a part that is already small"),
    "lap.MOST_PASSES": (30, "five are usual"),
    "lap.LAST_MOVE": (2e-6, "by trial: the move after it is below a billionth"),
    "lap.PICK_UP": (0.04, JUDGEMENT),
    "lever.FORGOTTEN": (1e-12, "far below the error of the stations"),
    "stagger.BAND": (INCH / 16, "half a tape mark"),
    "stagger.TIGHTEST_SHARE": (0.97, JUDGEMENT),
    "stagger.DRIVE_EMPHASIS": (0.5, JUDGEMENT),
    "doubts.NINE_IN_TEN": (1.645, "normal distribution, 95th percentile"),
    "doubts.TAPE_DOUBT": (INCH / 16 / 1.645, JUDGEMENT),
    "doubts.GRIP_DOUBT": (0.09, JUDGEMENT),
    "doubts.STIFFNESS_DOUBT": (0.15, JUDGEMENT),
    "doubts.LINE_DOUBT": (0.9, JUDGEMENT),
    "doubts.BENT": (1.05, "by simulation, see test_doubts"),
    "doubts.TRACK_STEP": (0.5, JUDGEMENT),
    "belief.LARGEST_STEP": (INCH / 2, JUDGEMENT),
    "belief.THRESHOLD": (0.75 * INCH, JUDGEMENT),
    "belief.SLIPS": (0.06, JUDGEMENT),
    "belief.TASTE": (0.07 * INCH, JUDGEMENT),
    "book.action.LONGEST_ACTION": (65536, JUDGEMENT),
    "book.book.WAITS": ((0.0, 0.1, 0.3), JUDGEMENT),
    "book.exchange.MOST_COLUMNS": (200, JUDGEMENT),
    "book.exchange.MOST_PAGES": (20000, JUDGEMENT),
    "book.file.PATIENCE": (15.0, JUDGEMENT),
    "book.lessons.NOT_NEEDED": (INCH / 4, JUDGEMENT),
    "book.names.NEAR": (0.75, JUDGEMENT),
    "book.next.KNOWN": (INCH / 4, JUDGEMENT),
    "book.next.RUNS_A_NIGHT": (4, PRACTICE),
    "book.next.LAPS_A_RUN": (10, PRACTICE),
    "book.lessons.MATTERS": (INCH / 16, JUDGEMENT),
    "book.next._AS_GOOD": (0.95, JUDGEMENT),
    "book.evening._STEADY": (0.7, JUDGEMENT),
    "book.next.NEAR": (0.75 * INCH, JUDGEMENT),
    "book.next._FINEST": (INCH / 16, JUDGEMENT),
    "book.posterior._COST_UNLIKELY": (
        [0.5 * math.log(0.02 * 100 ** (i / 9) / 0.15) ** 2 for i in range(10)],
        JUDGEMENT,
    ),
    "book.posterior._LEAN_CHANCES": ((1 / 6, 4 / 6, 1 / 6), JUDGEMENT),
    "book.posterior._STEEP": (100.0, JUDGEMENT),
    "book.posterior.BENT": (0.2, JUDGEMENT),
    "book.laps._TRAFFIC": (0.2, JUDGEMENT),
    "book.posterior.USUAL": (INCH / 2, JUDGEMENT),
    "book.posterior._SHAPE": (0.03 * INCH, JUDGEMENT),
    "book.posterior._LIKES": (0.3 * INCH, JUDGEMENT),
    "book.posterior._APART": ((0.0, 0.12 * INCH, 0.25 * INCH, 0.5 * INCH), JUDGEMENT),
    "book.surfaces.NIGHT_SCATTER": (0.05, JUDGEMENT),
    "book.surfaces.MODEL_DOUBT": (0.08, JUDGEMENT),
    "book.rescue.CROWD_PATIENCE": (90.0, JUDGEMENT),
    "book.run.LONGEST_NOTE": (20000, JUDGEMENT),
    "cli.notebook_run.FAR": ((0.8, 1.25), JUDGEMENT),
    "debrief.LEFT_ALONE": (3 / 16 * INCH, JUDGEMENT),
    "debrief.LEAST_TAUGHT": (1.0, JUDGEMENT),
    "debrief.CHOICE": (INCH / 4, JUDGEMENT),
    "debrief.LEAST_PHYSICS_DOUBT": (0.15 * INCH, JUDGEMENT),
    "debrief.MAY_SPIN": (2.0, JUDGEMENT),
    "feel.answers.SLIPS": ({"high": 0.06, "fair": 0.15, "low": 0.35}, JUDGEMENT),
    "feel.lap.DEFAULT_PACE": (0.95, JUDGEMENT),
    "feel.lap.LEAST_FELT": (3 * DEGREE, JUDGEMENT),
    "feel.lap.STIFFNESS_DOUBT": (1 / 3, JUDGEMENT),
    "feel.trim.WHEELSPIN_USED": (0.98, JUDGEMENT),
    "groove.fastest.BENDING_WORTH": (0.3, JUDGEMENT),
    "groove.free.NOMINAL_GRIP": (0.7, JUDGEMENT),
    "groove.free.STEERED_OVER": (20.0, JUDGEMENT),
    "groove.free.DIAMOND_ZONE": (0.25, JUDGEMENT),
    "groove.free.DIAMOND_SHARPNESS": (2.0, JUDGEMENT),
    "groove.free.DIAMOND_PAST_MIDDLE": (0.1, JUDGEMENT),
    "groove.measured.FEWEST_POINTS": (24, JUDGEMENT),
    "groove.measured.LEAST_WAVE": (15.0, JUDGEMENT),
    "groove.measured.FREEDOM_COST": (2.0, JUDGEMENT),
    "groove.path.SPARE": (1 * FOOT, JUDGEMENT),
    "page.app.LARGEST_FORM": (8 << 20, JUDGEMENT),
    # Recorded laps: those that moved something on logs of other cars, or keep a fault out; the
    # table is that of scripts/log_constants.py, in `rollpath guide debrief`.
    "runlog.laps.BINS": (72, JUDGEMENT),
    "runlog.laps.LIKE_LAPS": (0.04, JUDGEMENT),
    "runlog.laps.MOST_LAPS": (12, "bounds the work"),
    "runlog.laps.SAME_TRACK": ((0.8, 1.25), JUDGEMENT),
    "runlog.laps.SPIKE": (6.0, JUDGEMENT),
    "runlog.recording.TAPE_DOUBT": (0.35 * INCH, JUDGEMENT),
    "runlog.recording.MOST_APART": (1.4, JUDGEMENT),
    "runlog.recording.GEAR_FAULT": (0.05, JUDGEMENT),
    "runlog.slip.SLIP_DOUBT": (0.03, JUDGEMENT),
    "runlog.slip.SPUN_USED": (0.95, JUDGEMENT),
    "runlog.slip.MOST_SLIP": (0.20, PRACTICE),
    "runlog.wheel.ZERO_DOUBT": (8 * DEGREE, JUDGEMENT),
    "runlog.wheel.MODEL_DOUBT": (5 * DEGREE, "by simulation, see guide debrief"),
    "runlog.wheel.SLOW_WAVES": (2, "one wave a corner; by simulation, see guide debrief"),
    "runlog.wheel.LEAST_MOVED": (0.3, JUDGEMENT),
    "runlog.says.TAPE_DOUBTED": (2.0, "normal distribution: 1 in 20"),
    "scales.hold.STAGGER_STEP": (INCH / 8, PRACTICE),
    "scales.hold.TURN_STEP": (0.25, PRACTICE),
    "scales.hold.SPACER_STEP": (INCH / 8, PRACTICE),
    "scales.hold.SCALES_TELL": (2 * POUND, JUDGEMENT),
    "scales.learn.TRIAL_STEPS": (
        {"rear stagger": 1.0, "front stagger": 1.0, "rear jacks": 2.0, "front jacks": 2.0},
        JUDGEMENT,
    ),
    "scales.learn.SAME_WEIGHT": (20 * POUND, JUDGEMENT),
    "scales.learn.PAD_SCATTER": (4.5 * POUND, JUDGEMENT),
    "scales.learn.PREDICTED_WITHIN": (0.35, JUDGEMENT),
    "scales.loading.UNSPRUNG": ((100 * POUND, 100 * POUND, 180 * POUND, 180 * POUND), JUDGEMENT),
    "scales.loading.FUEL_WEIGHT": (6.2 * POUND / (231 * INCH**3), PRACTICE),
    "scales.twist.TIPPING": (0.8, JUDGEMENT),
    "scales.rates.TYPICAL_RATE": (10 * POUND / INCH, PRACTICE),
    "scales.ways.MOST_STEPS": (80, JUDGEMENT),
    "surface.LEAST_GRIP": (0.3, JUDGEMENT),
    "surface.MOST_GRIP": (1.4, JUDGEMENT),
    "surface.NEAR": (0.015, JUDGEMENT),
    "surface.TIMING_DOUBT": (0.1, JUDGEMENT),
    "surface.POWER_DOUBT": (0.1, JUDGEMENT),
    "survey.fit.USUAL_BOW": (0.02, JUDGEMENT),
    "survey.fit.ENDS_ERROR": (0.15, JUDGEMENT),
    "survey.fit.BLEND_ERROR": (0.5, JUDGEMENT),
    "survey.fit.SHARE_ERROR": (0.3, JUDGEMENT),
    "survey.fit.LAG_USUAL": (0.05, JUDGEMENT),
    "survey.fit.LAG_ERROR": (0.25, JUDGEMENT),
    "survey.fit.USUAL_TIME": (50.0, JUDGEMENT),
    "survey.fit.TIME_FACTOR": (math.e, JUDGEMENT),
    "survey.fit.USUAL_SIZE": (2.0, JUDGEMENT),
    "survey.fit.SIZE_FACTOR": (2.0, JUDGEMENT),
    "survey.fit.WHITES": ((0.02, 0.1, 1.0), JUDGEMENT),
    "survey.fit.RIPPLE": (0.07, JUDGEMENT),
    "survey.fit.WAVE_SIZE": (3.0, JUDGEMENT),
    "survey.fit.MOST_DRIFT": (8.0, JUDGEMENT),
    "survey.measured.STANDARD_ERRORS": (2.2, JUDGEMENT),
    "survey.measured.LINE_ERROR": (1 * FOOT, JUDGEMENT),
    "survey.result.SHAPE_SIZE": (6 * FOOT, JUDGEMENT),
    "survey.tape.GAP_ERROR": (1 * INCH, JUDGEMENT),
    "survey.tape.CHORD_ERROR": (1 * FOOT, JUDGEMENT),
    "survey.tape.PACED_SHARE": (0.05, JUDGEMENT),
    "survey.tape.LAP_SHARE": (0.02, JUDGEMENT),
    "survey.tape.USUAL_WIDTH": (50 * FOOT, JUDGEMENT),
    "survey.tape.USUAL_STRAIGHT": (0.19, JUDGEMENT),
    "survey.tape.STRAIGHT_SPREAD": (0.07, JUDGEMENT),
    "survey.tape.ENDS_DIFFER": (0.15, JUDGEMENT),
    "survey.tape.LONGEST_CHORD_SHARE": (1.0, JUDGEMENT),
    "tires.air.AIR_STEP": (0.5 * PSI, PRACTICE),
    "tires.air.REACH_UNSTATED": (2 * PSI, JUDGEMENT),
    "tires.judge.WORTH_TURNING": (3 * POUND, JUDGEMENT),
    "tires.judge.GROWTH_DOUBT": (0.5, PRACTICE),
    "tires.rack.HOT": (316.5, JUDGEMENT),
    "tires.rack.DEFAULT_GROWTH": (EIGHTH / PSI, PRACTICE),
    "tires.rack.MOST_GROWTH": (INCH / PSI, JUDGEMENT),
    "tires.rack.SAME_PRESSURE": (0.25 * PSI, JUDGEMENT),
    "tires.rules.CYCLES_UNLIKE": (10.0, JUDGEMENT),
    "track.DEFAULT_BLEND": (60 * FOOT, JUDGEMENT),
    "track.TYPICAL_WIDTH": (50 * FOOT, JUDGEMENT),
    "track.DEFAULT_TOLERANCE_SHARE": (0.05, JUDGEMENT),
    "track.BANK_TOLERANCE_SHARE": (0.15, JUDGEMENT),
    "track.LEAST_BAND": (0.2, JUDGEMENT),
    "track.MOST_BAND": (1.5, JUDGEMENT),
    "track.CONDITIONS": ((1.0, 8.0, 0.88, 8.5, 0.8, 9.5, 0.6, 7.0), JUDGEMENT),
    "trailer.passes.JACK": (0.1, JUDGEMENT),
    "trailer.passes.TURN_STEP": (0.25, PRACTICE),
    "trailer.passes.MOST_TURNS": (6.0, JUDGEMENT),
    "trailer.trailer.NEAR": (0.6, JUDGEMENT),
    "units._LONGEST": (80, JUDGEMENT),
}
_LB_IN = POUND / INCH
TYPICAL_TABLE = {
    # Value, doubt of it, doubt of one that was given; all engineering judgement.
    "wheelbase": (108 * INCH, 3 * INCH, 0.25 * INCH),
    "front.track_width": (63 * INCH, 2 * INCH, 0.25 * INCH),
    "front.left.rollout": (82 * INCH, 2 * INCH, INCH / 16),
    "front.right.rollout": (83.25 * INCH, 2 * INCH, INCH / 16),
    "rear.track_width": (64 * INCH, 2 * INCH, 0.25 * INCH),
    "rear.left.rollout": (84 * INCH, 2 * INCH, INCH / 16),
    "rear.right.rollout": (86 * INCH, 2 * INCH, INCH / 16),
    "weights.left_front": (790 * POUND, 60 * POUND, 4 * POUND),
    "weights.right_front": (720 * POUND, 60 * POUND, 4 * POUND),
    "weights.left_rear": (795 * POUND, 60 * POUND, 4 * POUND),
    "weights.right_rear": (745 * POUND, 60 * POUND, 4 * POUND),
    "cg_height": (18 * INCH, 1.5 * INCH, 0.75 * INCH),
    "roll_center.front": (3 * INCH, 2 * INCH, 0.75 * INCH),
    "roll_center.rear": (10 * INCH, 2 * INCH, 0.75 * INCH),
    "power": (300 * HP, 60 * HP, 20 * HP),
    "drag_area": (18 * FOOT**2, 2.5 * FOOT**2, 1.5 * FOOT**2),
    "gear_ratio": (5.8, 0.5, 0.01),
    "steering_ratio": (12.0, 2.0, 0.5),
    "tire.spring_rate": (1100 * _LB_IN, 130 * _LB_IN, 80 * _LB_IN),
    "tire.air_share": (0.75, 0.1, 0.05),
    "tire.loaded_share": (1 / 3, 0.04, 0.04),  # Jazar, Vehicle Dynamics, ch. 3
    "tire.growth": (0.0, INCH / 8, INCH / 16),
    "pressure.left_front": (12 * PSI, 2 * PSI, 0.7 * PSI),
    "pressure.right_front": (16 * PSI, 2 * PSI, 0.7 * PSI),
    "pressure.left_rear": (12 * PSI, 1.5 * PSI, 0.7 * PSI),
    "pressure.right_rear": (15 * PSI, 1.5 * PSI, 0.7 * PSI),
    "springs": (0.6, 0.08, 0.04),
}


def numbers_in(value: Any) -> list[float]:
    """Every number of a constant, in its order; words and functions are none."""
    if isinstance(value, bool | str) or callable(value):
        return []
    if isinstance(value, timedelta):
        return [value.total_seconds()]
    if isinstance(value, int | float | np.number):
        return [float(value)]
    if isinstance(value, np.ndarray):
        return [float(one) for one in value.flat]
    if isinstance(value, dict):
        return [number for one in value.values() for number in numbers_in(one)]
    if isinstance(value, tuple | list):
        return [number for one in value for number in numbers_in(one)]
    if is_dataclass(value):
        return [n for one in fields(value) for n in numbers_in(getattr(value, one.name))]
    return []


def said(path: Path) -> dict[str, tuple[ast.expr | None, str]]:
    """UPPER_CASE names of a module: the value, and what is said of it below and beside it."""
    text = path.read_text()
    body, lines = ast.parse(text).body, text.splitlines()
    found: dict[str, tuple[ast.expr | None, str]] = {}
    for node, after in zip(body, [*body[1:], None], strict=True):
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        value = getattr(node, "value", None)
        if not isinstance(target, ast.Name | ast.Tuple) or value is None:
            continue
        words = " ".join(lines[node.lineno - 1 : node.end_lineno])
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            words += f" {after.value.value}"
        names = [target] if isinstance(target, ast.Name) else target.elts
        for name in (one.id for one in names if isinstance(one, ast.Name)):
            if re.fullmatch(r"_?[A-Z][A-Z0-9_]*", name):
                found[name] = (value if len(names) == 1 else None, " ".join(words.split()))
    return found


def judged(path: Path) -> list[tuple[str, str]]:
    """Room and name of the constants of a module that are said to be a matter of judgement."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    room = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
    words = re.compile("engineering judgement|common practice", re.IGNORECASE)
    return [(room, name) for name, (_, told) in said(path).items() if words.search(told)]


def value_of(name: str) -> Any:
    room, _, constant = name.rpartition(".")
    return getattr(import_module(f"rollpath.{room}"), constant)


@pytest.mark.parametrize("name", TABLE)
def test_a_constant_of_judgement_is_the_one_that_was_judged(name):
    value, source = TABLE[name]
    assert numbers_in(value_of(name)) == pytest.approx(numbers_in(value), rel=1e-9)
    assert source


def test_every_constant_of_judgement_has_its_row():
    found = {f"{room}.{name}" for path in PACKAGE.rglob("*.py") for room, name in judged(path)}
    numeric = {name for name in found if numbers_in(value_of(name))} - {"typical.LOADED_SHARES"}
    assert len(numeric) > 100
    assert not numeric - TABLE.keys(), "judged, and not in the table"


def test_typical_values_and_doubts_are_those_that_were_judged():
    assert TYPICAL.keys() == TYPICAL_TABLE.keys()
    for key, known in TYPICAL.items():
        found = (known.value, known.doubt, known.given_doubt)
        assert found == pytest.approx(TYPICAL_TABLE[key], rel=1e-12), key
    assert pytest.approx({"bias": 1 / 3, "radial": 0.2}) == LOADED_SHARES
    assert math.isclose(DEGREE, math.pi / 180)
