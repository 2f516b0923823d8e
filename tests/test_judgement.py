"""Every constant of judgement, by value, with where it is from: none changes unseen.

Each row: the constant, its value, its source. A source is a book, ``common practice``, ``from
memory``, ``engineering judgement``, or the arithmetic that fixes it.
"""

import math
from importlib import import_module

import pytest
from rollpath.typical import LOADED_SHARES, TYPICAL
from rollpath.units import DEGREE, FOOT, HP, INCH, POUND, PSI

JUDGEMENT = "engineering judgement"
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
    "lap.SETTLED_SHARE": (1e-9, "far below the error of the stations"),
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


@pytest.mark.parametrize("name", TABLE)
def test_a_constant_of_judgement_is_the_one_that_was_judged(name):
    room, _, constant = name.rpartition(".")
    value, source = TABLE[name]
    assert getattr(import_module(f"rollpath.{room}"), constant) == pytest.approx(value, rel=1e-12)
    assert source


def test_typical_values_and_doubts_are_those_that_were_judged():
    assert TYPICAL.keys() == TYPICAL_TABLE.keys()
    for key, known in TYPICAL.items():
        found = (known.value, known.doubt, known.given_doubt)
        assert found == pytest.approx(TYPICAL_TABLE[key], rel=1e-12), key
    assert pytest.approx({"bias": 1 / 3, "radial": 0.2}) == LOADED_SHARES
    assert math.isclose(DEGREE, math.pi / 180)
