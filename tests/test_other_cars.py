"""Logs of cars that are not rollpath's: a small draw of what `scripts/truth_logs.py` counts."""

import os

import numpy as np
import pytest
from rollpath.runlog.says import spins, tape_doubted

from scripts.other_cars import INCH, drawn, lines_of
from scripts.truth_logs import Case, cases, driven_cars, is_opposite, says, the_car, tried

slow = pytest.mark.skipif(
    "ROLLPATH_TRUTH" not in os.environ, reason="set ROLLPATH_TRUTH to drive the cars: half a minute"
)
COUNT, SEED, LAPS = 2, 11, 2.3


@pytest.fixture(scope="module")
def night():
    return driven_cars(COUNT, SEED, LAPS)


def test_the_lines_close():
    cars = drawn(np.random.default_rng(SEED), COUNT)
    lines = lines_of(cars)
    x, y = lines.places()
    assert np.hypot(x[:, -1], y[:, -1]) == pytest.approx(0.0, abs=0.5)
    turned = lines.curvature.mean(axis=1) * lines.length
    assert turned == pytest.approx(2 * np.pi)  # theorem of turning tangents, do Carmo, sec. 5-7


@slow
def test_a_right_tape_is_not_doubted_and_no_verdict_is_the_opposite(night):
    cars, driven, _ = night
    read = tried(cases(cars, driven, np.random.default_rng(SEED), rate=5.0))
    assert len(read) == COUNT
    for case, run in read:
        assert not tape_doubted(run)
        assert not is_opposite(case, says(case, run))
        assert not run.slip.gear_fault and not spins(run)


@slow
def test_wheelspin_of_15_percent_is_found(night):
    cars, driven, _ = night
    read = tried(cases(cars, driven, np.random.default_rng(SEED), rate=5.0, spin=0.15))
    assert all(spins(run) for _, run in read)


def test_the_opposite_is_seen_when_it_is_said():
    rng = np.random.default_rng(SEED)
    cars = drawn(rng, COUNT)
    case = Case({}, None, the_car(cars, 0, rng, 2 * INCH), None, taped=2 * INCH, best=1 * INCH)
    assert is_opposite(case, "more") and not is_opposite(case, "less")
