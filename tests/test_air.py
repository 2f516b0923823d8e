"""Air: growth, standing higher, and limits that are never passed."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rollpath.car import tire_rates
from rollpath.corners import Corners, only
from rollpath.files.cars import load_car
from rollpath.files.racks import load_rack
from rollpath.files.schema import FileError
from rollpath.scales.hold import weigh_change
from rollpath.scales.rates import bite_change, bite_rates
from rollpath.scales.twist import BiteError, Change, stance
from rollpath.tires.air import air_effect, air_steps, cold_rollout, standing
from rollpath.tires.rack import Rack, RackTire, Taping
from rollpath.units import INCH, POUND, PSI

COMMAND = "bite"
FILES = Path(__file__).parent.parent / "cars"
CAR, RACK = load_car(FILES / "number-31.yaml"), load_rack(FILES / "racks" / "number-31.yaml")
RUNNING = Corners(14 * PSI, 18 * PSI, 12 * PSI, 16 * PSI)


def test_a_tires_rate_follows_its_own_pressure():
    # By hand: rear mean 14 psi; 1100 x (0.25 + 0.75 x 12/14) and 1100 x (0.25 + 0.75 x 16/14).
    rates = tire_rates(replace(CAR, pressure=RUNNING))
    found = [float(k) / (POUND / INCH) for k in rates]
    assert found[2:] == pytest.approx([982.14, 1217.86], abs=0.01)
    assert np.mean(found[:2]) == pytest.approx(1100)


def test_a_tire_of_carcass_alone_stands_where_it_stood():
    stiff = replace(CAR, pressure=RUNNING, tire=replace(CAR.tire, air_share=0.0))
    effect = air_effect(stiff, None, "right_rear", 2 * PSI)
    assert effect.bite_by_standing == 0
    assert effect.bite_by_growth == pytest.approx(-9.5 * 0.25 * POUND)


def test_two_pounds_in_the_right_rear_are_bite_by_growth_and_by_standing_higher():
    # By hand: 779 lb flattens 1217.86 lb/in by 0.6396 in and 1335.71 lb/in (18 psi) by 0.5832 in;
    # the rise of 0.0564 in is 2 pi times that of rollout, at 9.5 lb an inch.
    effect = air_effect(standing(CAR, RACK), None, "right_rear", 2 * PSI)
    assert effect.stagger_change == pytest.approx(0.25 * INCH)
    assert effect.bite_by_growth / POUND == pytest.approx(-2.375)
    assert effect.bite_by_standing / POUND == pytest.approx(-9.5 * 2 * np.pi * 0.0564, abs=0.01)


def test_a_tires_own_growth_comes_before_the_racks():
    R7 = RACK.tires[RACK.names.index("R7")]
    effect = air_effect(standing(CAR, RACK), R7, "right_rear", 2 * PSI, RACK.growth)
    assert effect.growth_is_own
    assert effect.growth == pytest.approx(R7.own_growth)


@pytest.mark.parametrize("corner", ["left_front", "right_front", "left_rear", "right_rear"])
def test_bite_by_standing_is_that_of_the_stiffness_system(corner):
    # The rate at a corner is that of the car before; the stiffer tire itself twists a little less.
    car = replace(standing(CAR, RACK), bite_per_inch=type(CAR.bite_per_inch)())
    change = Change(pressures=only(corner, 1 * PSI))
    loads = stance(car, change).loads
    assert bite_change(car, bite_rates(car), change) == pytest.approx(loads[2] - loads[3], rel=0.02)


def test_air_without_a_known_pressure_is_refused():
    with pytest.raises(BiteError, match="pressure"):
        weigh_change(replace(CAR, pressure=None), Change(pressures=only("left_rear", PSI)))


# Limits


def tire(limits: tuple[float, float] | None = None) -> RackTire:
    taping = Taping((86 * INCH,), pressure=16 * PSI)
    return RackTire("A", (taping,), pressure_limits=limits)


def test_unstated_limits_keep_advice_within_two_pounds():
    steps = air_steps(Rack("r", (), RUNNING), tire(), "right_rear") / PSI
    assert steps == pytest.approx(np.arange(-2, 2.25, 0.5))


@pytest.mark.parametrize("whose", ["tire", "rack"])
def test_stated_limits_are_never_passed(whose):
    limits = (15.2 * PSI, 17.1 * PSI)
    rack = Rack("r", (), RUNNING, pressure_limits=limits if whose == "rack" else None)
    steps = air_steps(rack, tire(limits if whose == "tire" else None), "right_rear")
    assert (16 * PSI + steps) / PSI == pytest.approx([15.5, 16, 16.5, 17])


def test_a_tires_own_limits_stand_before_the_racks():
    rack = Rack("r", (), RUNNING, pressure_limits=(8 * PSI, 24 * PSI))
    steps = air_steps(rack, tire((16 * PSI, 17 * PSI)), "right_rear") / PSI
    assert steps == pytest.approx([0, 0.5, 1])


def test_a_tire_grows_from_its_taping_to_the_running_pressure_and_on():
    rack = Rack("r", (), RUNNING, growth=0.1 * INCH / PSI)
    assert cold_rollout(rack, tire(), "right_front", PSI) == pytest.approx(86.3 * INCH)


HEAD = "name: r\nrunning_pressure: 16 psi\n"


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("pressure_limits: [24 psi, 8 psi]\n", 3, "lower limit first"),
        ("pressure_limits: [8 psi, 14 psi]\n", 2, "outside the pressure_limits"),
        ("tires:\n- {id: A, rollout: 86 in, on_car: left_rear, pressure_limits: [8 psi, 14 psi]}\n",
         4, "the running pressure of the left_rear is outside"),
    ],
)  # fmt: skip
def test_limits_that_cannot_be_are_told_with_their_line(tmp_path, text, line, words):
    file = tmp_path / "rack.yaml"
    file.write_text(
        HEAD + text + ("" if "tires" in text else "tires:\n- {id: A, rollout: 86 in}\n")
    )
    with pytest.raises(FileError) as error:
        load_rack(file)
    assert f":{line}: " in error.value.lines[0] and words in error.value.lines[0]


# The command


def test_air_stands_beside_the_other_changes(read):
    typed = ["cars/number-31.yaml", "--rack", "cars/racks/number-31.yaml"]
    data = read(*typed, "--pressure", "rr=+2psi", "--pressure", "left-rear=11psi")
    rr, lr = data["air"]
    assert (rr["corner"], lr["corner"]) == ("right_rear", "left_rear")
    assert lr["added_psi"] == pytest.approx(-1)
    raised = data["then"]["bite_lb"] - data["now"]["bite_lb"]
    assert raised == pytest.approx(rr["bite_change_lb"] + lr["bite_change_lb"], abs=1e-3)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--pressure", "rr=more"], "expected a pressure"),
        (["--pressure", "xx=+2psi"], "expected one of"),
        (["--pressure", "rr=+2psi", "--pressure", "right-rear=1psi"], "given twice"),
        (["--pressure", "rr=-40psi", "--rack", "cars/racks/number-31.yaml"], "between 2 and 80"),
    ],
)
def test_air_that_cannot_be_is_refused_in_a_line(run, typed, words):
    status, out, err = run("cars/number-31.yaml", *typed)
    assert (status, out) == (2, "") and words in err and err.count("\n") == 1
