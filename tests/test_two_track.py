"""Logs by a third hand, as files a logger writes, debriefed as the command does it.

The car, its tires and its driver are those of `scripts/two_track.py`; larger lots of them are
judged by `scripts/bench.py --truth`.
"""

import numpy as np
import pytest
from rollpath.runlog.says import spins, tape_doubted

from scripts.truth_two_track import STAGGERS, gear_doubted, read, run_of, with_fault
from scripts.two_track import INCH, a_field, an_oval, drive, dugoff, loads_of, ways_of
from scripts.two_track_logs import FAULTS, STYLES, nights

LOGGER = {"rate": 10.0, "zero": 8 * np.pi / 180}


@pytest.fixture(scope="module")
def trip():
    rng = np.random.default_rng(6)
    return drive(a_field(rng, 8, STAGGERS), rng, (1.0, 1.0))


@pytest.fixture(scope="module")
def made(trip):
    return nights(trip, np.random.default_rng(7), **LOGGER)


def test_the_tire_is_dugoffs():
    # SAE 700377 (from memory): linear for little slip, and the friction circle for much.
    stiffness, limit = np.array(30e3), np.array(3e3)
    along, across = dugoff(np.array(1e-3), np.array(1e-3), stiffness, limit)
    assert (along, across) == pytest.approx((30.0, 30.0), rel=2e-3)
    along, across = dugoff(np.array(0.5), np.array(0.5), stiffness, limit)
    assert 0.9 * limit < np.hypot(along, across) <= limit


def test_an_oval_is_as_long_as_the_belt_round_two_pulleys():
    # Machinery's Handbook, belts: 2 C cos a + pi (R + r) + 2 a (R - r), sin a = (R - r) / C.
    R, r, straight = 60.0, 52.0, 110.0
    C = np.hypot(straight, R - r)
    a = np.arcsin((R - r) / C)
    z = an_oval(R, r, straight)
    length = np.abs(np.diff(z, append=z[0])).sum()
    assert length == pytest.approx(2 * C * np.cos(a) + np.pi * (R + r) + 2 * a * (R - r), rel=1e-4)


def test_lines_turn_once_and_loads_add_up(trip):
    ways = ways_of(trip.field)
    # Theorem of turning tangents, do Carmo, sec. 5-7.
    np.testing.assert_allclose(ways.curvature.mean(axis=1) * ways.length, 2 * np.pi, rtol=1e-3)
    loads = loads_of(trip.field, np.array(2.0), np.array(5.0), np.array(9.8))
    np.testing.assert_allclose(np.sum(loads, axis=0), trip.field.mass * 9.8)


def test_most_cars_stay_on_their_line(made):
    assert len(made) >= 5


@pytest.mark.parametrize("case", range(5))
def test_a_right_log_is_read_whatever_the_file_looks_like(made, case):
    """Each with a way of writing and a fault of its own, and a steering zero off by 8 degrees."""
    rng = np.random.default_rng(case)
    names = ("pits", "dropouts", "clock jump", "two runs", "no speed", "no engine")
    one = read(with_fault(made[case], (names[case],), rng), rng, STYLES[case])
    assert set(names) < set(FAULTS)
    assert one.refused == ""
    assert not one.opposite and not tape_doubted(run_of(one)) and not gear_doubted(one)


def test_a_log_without_units_says_which_heading_lacks_one(made):
    rng = np.random.default_rng(0)
    one = read(made[0], rng, "no units")
    assert one.refused == "", "with the headings told, units in them"
    one = read(made[0], rng, "no units", told=0.0)
    assert "say its unit in the heading" in one.refused


def test_wheelspin_is_found_at_one_end_and_not_where_there_is_none(trip, made):
    spun = nights(trip, np.random.default_rng(7), spin=0.15, spun=(0.15, 0.5), **LOGGER)
    for night, flared in list(zip(made, spun, strict=True))[:2]:
        assert not spins(run_of(read(night, np.random.default_rng(1))))
        assert spins(run_of(read(flared, np.random.default_rng(1))))


def test_another_shape_of_track_is_refused_and_a_wrong_gear_named(made):
    one = read(made[1], np.random.default_rng(2), longer=1.6)
    assert "another shape" in one.refused
    assert gear_doubted(read(made[1], np.random.default_rng(2), gear=1.12))


def test_the_stagger_a_line_asks_for_is_that_of_another_car_model(made):
    """Needs by the loads and speeds of the other car, half even drive and half quickest."""
    asked = [read(night, np.random.default_rng(3)) for night in made[:3]]
    off = [float(run_of(one).best.unbounded) - one.night.best for one in asked]
    assert np.max(np.abs(off)) < 0.6 * INCH
