"""Logs by another hand: runs with all that goes wrong with loggers, see `scripts/other_logs.py`."""

from pathlib import Path

import numpy as np
import pytest
import rollpath
from rollpath.runlog.log import RunLogError
from rollpath.runlog.says import spins, tape_doubted

from scripts.log_constants import NAMES, constants
from scripts.other_logs import INCH, an_outing, lap_of, line_of, log_of_outing, truth_of
from scripts.truth_other_logs import case_of, is_opposite, says

SEED = 5


def test_the_guide_has_a_row_for_every_constant_that_is_left():
    """The table is what `scripts/log_constants.py` prints; its numbers take minutes."""
    guide = (Path(rollpath.__file__).parent / "guide" / "debrief.md").read_text()
    table = guide.partition("verdicts   asks")[2].partition("46 numbers")[0]
    rows = {line[:38].strip() for line in table.splitlines()[1:] if line.strip()}
    assert rows == {NAMES[name] for name in constants()}


def read(faults=(), fault=0.0, spin=0.0, seed=SEED, rate=10.0, **shape):
    rng = np.random.default_rng(seed)
    outing = an_outing(rng, fault, spin)
    case = case_of(outing, log_of_outing(outing, rng, rate, faults=faults), rng, **shape)
    return case, case.read()


def test_the_line_closes_with_unequal_ends():
    outing = an_outing(np.random.default_rng(SEED))
    assert outing.radii[0] > 1.02 * outing.radii[1]
    lap = lap_of(outing)
    assert abs(lap.x[-1] + 1j * lap.y[-1]) < 0.5
    _, k, _ = line_of(outing)
    # Theorem of turning tangents, do Carmo, sec. 5-7.
    assert k.mean() * lap.length == pytest.approx(2 * np.pi)
    assert 0 < truth_of(outing, lap)[1] < 5 * INCH


@pytest.mark.parametrize(
    "faults",
    [(), ("traffic", "pits", "dropouts"), ("clock jump", "per cent"), ("no throttle", "no speed")],
)
def test_a_right_run_is_left_alone_whatever_the_logger_does(faults):
    case, run = read(faults)
    assert not tape_doubted(run) and not is_opposite(case, says(case, run))
    assert not (run.slip and run.slip.gear_fault) and not spins(run)


@pytest.mark.parametrize("fault", [-0.8, 0.8])
def test_a_fault_is_never_answered_the_wrong_way(fault):
    case, run = read(("pits", "dropouts"), fault=fault * INCH, rate=1.0)
    assert not is_opposite(case, says(case, run))


def test_wheelspin_is_found_among_dropouts():
    _, run = read(("dropouts", "traffic"), spin=0.15)
    assert spins(run)


def test_steering_in_degrees_headed_radians_is_left_out_and_told():
    _, run = read(("deg headed rad",))
    assert run.wheel is None and run.notes


@pytest.mark.parametrize("faults", [("km/h headed mph",), ("clockwise",)])
def test_what_cannot_be_is_refused(faults):
    with pytest.raises(RunLogError):
        read(faults)


@pytest.mark.parametrize("seed", [SEED, 9, 11])
@pytest.mark.parametrize("longer", [1.6])
def test_a_track_of_another_shape_and_the_same_length_is_refused(seed, longer):
    with pytest.raises(RunLogError, match="shape"):
        read(longer=longer, seed=seed)
