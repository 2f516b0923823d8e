"""The front door: every job callable with no command, checked, its results telling themselves."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import rollpath as rp
from rollpath.results import Result
from rollpath.units import INCH, POUND

ROOT = Path(__file__).resolve().parent.parent
SAUCER, ROPEWALK = ROOT / "tracks" / "saucer-hill.yaml", ROOT / "tracks" / "ropewalk.yaml"
CAR = ROOT / "cars" / "number-31.yaml"


@pytest.fixture(scope="module")
def track():
    return rp.load_track(ROPEWALK)


@pytest.fixture(scope="module")
def car():
    return rp.load_car(CAR)


def test_a_printed_result_is_its_short_screen():
    program = (
        "import rollpath as rp; "
        "print(rp.baseline('tracks/saucer-hill.yaml', 'cars/number-31.yaml', 'slick'))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert ended.stdout.startswith("Rear stagger to bolt on: ")
    assert len(ended.stdout) < 3000


def test_a_result_in_a_notebook_is_its_short_screen_not_all_that_it_holds(track, car):
    result = rp.baseline(track, car)
    assert repr(result) == str(result)
    assert len(repr(result)) < 24 * 81
    for kind in Result.__subclasses__():
        assert kind.__repr__ is Result.__repr__, kind


def test_results_compare_by_what_they_hold(track, car):
    one, same = rp.baseline(track, car), rp.baseline(str(ROPEWALK), str(CAR))
    other = rp.baseline(track, replace(car, power=1.01 * car.power))
    assert one == same
    assert one != other
    assert one != "something else"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"width": 1000.0}, "width"),
        ({"straight": -5.0}, "straight"),
        ({"inside_radius": (0.0, 0.0)}, "inside_radius"),
        ({"straight": float("nan")}, "straight"),
        ({"bow": 60.0}, "bow"),
    ],
)
def test_a_track_made_by_hand_is_held_to_its_ranges(track, car, change, named):
    with pytest.raises(rp.RollpathError, match=named):
        rp.baseline(replace(track, **change), car)


@pytest.mark.parametrize(
    ("change", "named"),
    [({"power": -1.0}, "power"), ({"cg_height": 9.0}, "cg_height"), ({"wheelbase": 0.0}, "wheelb")],
)
def test_a_car_made_by_hand_is_held_to_its_ranges(track, car, change, named):
    with pytest.raises(rp.RollpathError, match=named):
        rp.baseline(track, replace(car, **change))


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"window": (0.1, 0.02)}, "window"),
        ({"drive_emphasis": 5.0}, "drive_emphasis"),
        ({"grip": float("nan")}, "grip"),
        ({"condition": "soaked"}, "heavy, tacky"),
        ({"groove": "lwo"}, "low, middle"),
    ],
)
def test_options_out_of_range_are_refused_with_what_there_is(track, car, options, named):
    with pytest.raises(rp.RollpathError, match=named):
        rp.baseline(track, car, **options)


def test_a_missing_file_is_told_in_one_line():
    with pytest.raises(rp.RollpathError, match=r"nowhere\.yaml"):
        rp.baseline("nowhere.yaml")


def test_a_track_is_made_from_trade_text():
    made = rp.Track.of(inside_radius="200 ft", straight="320 ft", width="45 ft")
    assert made.inside_radius == pytest.approx((60.96, 60.96))
    assert (made.straight, made.width) == pytest.approx((97.536, 13.716))
    with pytest.raises(rp.RollpathError):
        rp.Track.of(inside_radius="200 lb", straight="320 ft")


def test_a_typical_car_answers_when_none_is_given(track):
    assert "typical" in str(rp.baseline(track)).lower()


def test_jobs_keep_their_names_when_the_rooms_behind_them_are_entered():
    program = (
        "import rollpath.compare, rollpath.debrief, rollpath.feel.lap, rollpath as rp; "
        "print(*(callable(getattr(rp, name)) for name in rp.__all__ if name[0] != '_'))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert set(ended.stdout.split()) == {"True"}


def test_comparisons_and_sweeps_are_jobs(track, car):
    compared = rp.compare([track, SAUCER], car, ["heavy", "slick"], ["middle"], sort="stagger")
    staggers = [float(row.stagger.unbounded) for row in compared.rows]
    assert len(staggers) == 4
    assert staggers == sorted(staggers)
    swept = rp.sweep(track, car, "straight=300ft:500ft:100ft", "heavy", "middle")
    wanted = [float(one) for one in swept.rows["unbounded"]]  # longer straights want less
    assert len(wanted) == 3
    assert wanted == sorted(set(wanted), reverse=True)
    with pytest.raises(rp.RollpathError):
        rp.sweep(track, car, "inside_radus=120ft:200ft:40ft")


# Scales, tires and the plan


RACK = ROOT / "cars" / "racks" / "number-31.yaml"


def test_weighing_a_change_is_a_job(car):
    change = rp.Change(rollouts=replace(rp.Change().rollouts, right_rear=INCH))
    outcome = rp.weigh(CAR, change, "front")
    assert outcome == rp.weigh(car, change, "front")
    assert outcome.raised == pytest.approx(-9.5 * POUND)  # as the car file found on its scales
    assert abs(outcome.holds[0].left_over) < 1 * POUND
    assert "bite" in str(outcome)
    with pytest.raises(rp.RollpathError, match="front, jacks or either"):
        rp.weigh(car, change, "rear")


def test_choosing_tires_is_a_job_by_stagger_and_by_recommendation(car, track):
    by_text = rp.choose(RACK, CAR, "2 1/4 in", air=False)
    assert by_text == rp.choose(rp.load_rack(RACK), car, 2.25 * INCH, air=False)
    best = by_text.picks[0]
    assert best.aimed_stagger == pytest.approx(2.25 * INCH, abs=INCH / 8)
    wanted = rp.baseline(track, car)
    by_result = rp.choose(RACK, car, wanted, air=False)
    assert by_result.aim.stagger == float(wanted.stagger.recommended)
    for stagger, most, named in (
        ("9 ft", 10, "stagger"),
        ("2 in", 0, "most"),
        ("2 lb", 10, "2 lb"),
    ):
        with pytest.raises(rp.RollpathError, match=named):
            rp.choose(RACK, car, stagger, most=most)


def test_planning_a_night_is_a_job(car):
    night = rp.plan(RACK, CAR, {"heat": "2 1/2 in", "feature": "1 1/2 in"}, bite="59 lb")
    assert [one.run.name for one in night.runs] == ["heat", "feature"]
    for one in night.runs:
        assert abs(one.miss) <= INCH / 8
        # what the plan says of bite is what weighing the same change says
        raised = rp.weigh(night.car, one.change(night.car)).raised
        assert one.pick.bite - car.weights.bite == pytest.approx(raised, abs=0.1 * POUND)
    assert "heat" in str(night)
    with pytest.raises(rp.RollpathError, match="track file"):
        rp.plan(RACK, car, {"heat": "heavy"})
