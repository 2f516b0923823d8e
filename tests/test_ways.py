"""Bite on purpose: ways to a target, a spring swapped, fuel, and the rear wheels in motion."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rollpath.car import BiteRates, Fuel
from rollpath.corners import Corners, only
from rollpath.files.cars import load_car
from rollpath.files.tracks import load_track
from rollpath.scales.hold import weigh_change
from rollpath.scales.loading import UNSPRUNG, fuel_load, spring_loads, swap_spring
from rollpath.scales.motion import bite_in_motion, set_up
from rollpath.scales.twist import Change, stance, stance_under
from rollpath.scales.ways import Valve, ways_to
from rollpath.stagger import baseline
from rollpath.units import GALLON, INCH, POUND, PSI

COMMAND = "bite"
ROOT = Path(__file__).parent.parent
CAR = load_car(ROOT / "cars" / "number-31.yaml")
LB_IN = POUND / INCH


def unequal():
    """Other springs at every corner, and bars."""
    springs = replace(CAR.springs, front_wheel_rate=(240 * LB_IN, 330 * LB_IN),
                      rear_rate=(215 * LB_IN, 170 * LB_IN), front_bar=6000.0)  # fmt: skip
    return replace(CAR, springs=springs, bite_per_inch=BiteRates())


# Ways


@pytest.mark.parametrize("pounds", [40, 59, 75, 110])
def test_every_way_reaches_the_target_but_for_what_it_says(pounds):
    found = ways_to(CAR, pounds * POUND)
    for way in found.ways:
        reached = weigh_change(CAR, way.outcome.change).then.weights.bite
        assert reached - pounds * POUND == pytest.approx(way.left_over, abs=1e-6)


def test_each_way_does_one_thing_within_half_a_step():
    # One turn behind and in front, and an inch of spacer behind: of the rates in the car file, with
    # what the springs say of a seat beside a stagger (8.2 and 4.7 lb a turn of 1/12 in).
    steps = {"rear jacks": 8.2 / 4, "front jacks": 4.7 / 4, "all jacks": 2 * (8.2 + 4.7) / 4,
             "spacer": 12.3, "front stagger": 9 / 8}  # fmt: skip
    for way in ways_to(CAR, 75 * POUND).ways:
        assert abs(way.left_over) / POUND <= 0.51 * steps[way.means]
        change = way.outcome.change
        assert sum(map(any, (change.rollouts, change.turns, change.spacers, change.pressures))) == 1


def test_a_rear_pair_of_jacks_keeps_the_middle_of_the_car_where_it_was():
    change = Change(turns=Corners(0.0, 0.0, 2.0, -2.0))
    heights = stance(unequal(), change).ride_heights
    even = stance(replace(CAR, pressure=None), change).ride_heights
    assert even.left_rear + even.right_rear == pytest.approx(0, abs=1e-9)
    assert abs(heights.left_rear + heights.right_rear) < 0.003


def test_all_four_jacks_twist_the_car_without_tilting_it():
    # By symmetry: with equal springs the twist of the front undoes that of the rear where both
    # ends are as stiff; then nothing rolls.
    way = next(w for w in ways_to(CAR, 90 * POUND).ways if w.means == "all jacks")
    one_end = next(w for w in ways_to(CAR, 90 * POUND).ways if w.means == "rear jacks")
    roll = [abs(w.outcome.ride_heights.left_front) for w in (way, one_end)]
    assert roll[0] < 0.5 * roll[1]


def test_air_is_a_way_inside_the_steps_allowed():
    steps = np.arange(-4, 5) * 0.5 * PSI
    found = ways_to(CAR, 62 * POUND, [Valve("right_rear", steps, 0.1 * INCH / PSI)])
    air = next(w for w in found.ways if w.means == "air")
    assert air.outcome.change.pressures.right_rear < 0
    assert abs(air.left_over) < 1.5 * POUND


def test_bite_that_is_there_already_needs_nothing():
    assert ways_to(CAR, CAR.weights.bite).ways == ()


# A spring swapped


@pytest.mark.parametrize("corner", ["left_front", "right_front", "left_rear", "right_rear"])
@pytest.mark.parametrize("rate", [150, 300])
def test_the_turns_put_ride_height_and_pads_back(corner, rate):
    car = unequal()
    swap = swap_spring(car, corner, rate * LB_IN)
    # Independent: the spring alone. Carrying what it carried it stands as high as it stood.
    rates = Corners(*car.springs.front_wheel_rate, *car.springs.rear_rate)
    old = getattr(rates, corner)
    assert swap.seat == pytest.approx(swap.load / (rate * LB_IN) - swap.load / old)
    # Left alone and then turned: the two together change nothing.
    pairs = [list(car.springs.front_wheel_rate), list(car.springs.rear_rate)]
    axle, side = ("front" not in corner), ("right" in corner)
    pairs[axle][side] = rate * LB_IN
    swapped = replace(car, springs=replace(
        car.springs, front_wheel_rate=tuple(pairs[0]), rear_rate=tuple(pairs[1])))  # fmt: skip
    back = stance(swapped, Change(turns=only(corner, swap.turns)))
    assert np.array(swap.loads) + np.array(back.loads) == pytest.approx(0, abs=1e-6)
    heights = np.array(swap.ride_heights) + np.array(back.ride_heights)
    assert heights == pytest.approx(0, abs=1e-9)


def test_a_stiffer_spring_left_alone_lifts_its_corner_and_a_softer_one_drops_it():
    assert swap_spring(CAR, "left_rear", 225 * LB_IN).ride_heights.left_rear > 0
    assert swap_spring(CAR, "left_rear", 225 * LB_IN).bite_change > 0
    assert swap_spring(CAR, "left_rear", 170 * LB_IN).ride_heights.left_rear < 0


def test_rear_springs_carry_what_the_axle_does_not_and_hold_its_moment():
    # By hand: two springs 44 in apart balance pads 63 in apart.
    loads = spring_loads(CAR)
    lr, rr = (CAR.weights[i] - UNSPRUNG[i] for i in (2, 3))
    assert loads.left_rear + loads.right_rear == pytest.approx(lr + rr)
    assert (loads.left_rear - loads.right_rear) * 44 == pytest.approx((lr - rr) * 63)


# Fuel


def test_fuel_in_the_middle_of_the_car_loads_the_axles_by_the_lever():
    # By hand: 11 gal x 6.2 lb, 115 in behind the front axle of a 108 in wheelbase; the car then
    # sits a little nose up, which takes less than half a pound more to the rear.
    fuel = fuel_load(replace(CAR, pressure=None))
    rear = sum(fuel.green[2:]) - sum(CAR.weights[2:])
    assert rear / POUND == pytest.approx(11 * 6.2 * 115 / 108, abs=0.5)
    assert fuel.green.total - fuel.checkered.total == pytest.approx(22 * 6.2 * POUND)
    assert fuel.green.bite == pytest.approx(CAR.weights.bite, abs=0.01 * POUND)


def test_fuel_off_the_middle_is_shared_by_the_roll_stiffness_of_the_ends():
    car = replace(unequal(), cg_height=0.0, roll_center=(0.0, 0.0))
    put_on = stance_under(car, 100.0, 0.2, 0.3).loads
    assert put_on.total == pytest.approx(100)
    t_f, t_r = car.front.half_track, car.rear.half_track
    roll = t_f * (put_on[0] - put_on[1]) + t_r * (put_on[2] - put_on[3])
    assert roll == pytest.approx(100 * 0.3)
    assert put_on.bite > 0
    # A car that leans under it takes its own weight along.
    tall = stance_under(unequal(), 100.0, 0.2, 0.3).loads
    assert t_f * (tall[0] - tall[1]) + t_r * (tall[2] - tall[3]) > 1.05 * roll


def test_without_a_fuel_cell_nothing_is_told():
    assert fuel_load(replace(CAR, fuel=None)) is None


def test_fuel_on_the_scales_moves_both_ends_alike():
    heavy = replace(CAR, fuel=Fuel(22 * GALLON, 115 * INCH, 0.0, 22 * GALLON))
    assert np.array(fuel_load(heavy).green) == pytest.approx(np.array(CAR.weights))


# In motion


def test_bite_added_on_the_scales_is_carried_through_the_corner():
    # Gillespie, ch. 6: transfer by speed and height stands; what was put on statically stays on.
    track = load_track(ROOT / "tracks" / "saucer-hill.yaml")
    result = baseline(track, CAR, "slick")
    change = Change(turns=Corners(0.0, 0.0, 1.0, -1.0))
    then = set_up(CAR, change, weigh_change(CAR, change).then)
    now, after = (bite_in_motion(n, result.groove, car, result.condition)
                  for n, car in (("now", CAR), ("after", then)))  # fmt: skip
    added = then.weights.bite - CAR.weights.bite
    for phase, load in after.by_phase.items():
        # Banked turns press harder than 1 g: a little more than on the scales.
        assert 0.95 * added < load - now.by_phase[phase] < 1.35 * added


# The command


def test_air_is_a_way_without_a_rack_too_within_two_pounds_and_marked(read, run):
    data = read("cars/number-31.yaml", "--target", "64lb")
    air = next(way for way in data["ways"] if way["means"] == "air")
    assert air["typical"] == ["growth", "pressure"]
    assert max(abs(psi) for psi in air["pressures_psi"].values()) <= 2 + 1e-9
    assert abs(air["left_over_lb"]) < 1.5
    out = run("cars/number-31.yaml", "--target", "64lb")[1]
    assert "typical growth and pressure" in " ".join(out.split())
    far = read("cars/number-31.yaml", "--target", "200lb")
    air = next(way for way in far["ways"] if way["means"] == "air")
    assert max(abs(psi) for psi in air["pressures_psi"].values()) == pytest.approx(2)


def test_a_target_lists_ways(read):
    data = read("cars/number-31.yaml", "--target", "75lb", "--rack", "cars/racks/number-31.yaml")
    assert data["wanted_lb"] == pytest.approx(75)
    assert {way["means"] for way in data["ways"]} >= {"rear jacks", "all jacks", "air", "spacer"}


def test_springs_and_motion_stand_beside_the_change(read):
    data = read("cars/number-31.yaml", "--spring", "lr=225", "--track", "tracks/saucer-hill.yaml")
    assert data["springs"][0]["turns"] < 0
    assert set(data["in_motion"]["now"]) == {"entry_lb", "centre_lb", "drive-off_lb"}
    assert data["fuel"]["green"]["rear_pct"] > data["fuel"]["checkered"]["rear_pct"]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--target", "75lb", "--rear-stagger", "2in"], "stands alone"),
        (["--target", "9000lb"], "between -1000 and 1000"),
        (["--spring", "lr=1"], "between 3 and 28000"),
        (["--spring", "225"], "expected one of"),
    ],
)
def test_what_cannot_be_done_is_refused_in_a_line(run, typed, words):
    status, out, err = run("cars/number-31.yaml", *typed)
    assert (status, out) == (2, "") and words in err and err.count("\n") == 1


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("typed", [
    ["--rear-stagger", "1in", "--hold", "front"], ["--target", "75lb"], ["--pressure", "rr=+2psi"],
])  # fmt: skip
def test_the_short_screens_fit(run, monkeypatch, width, typed):
    monkeypatch.setenv("COLUMNS", str(width))
    lines = run("cars/number-31.yaml", *typed)[1].rstrip().split("\n")
    assert len(lines) <= 24 and max(map(len, lines)) <= width
