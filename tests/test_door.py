"""The front door: every job callable with no command, checked, its results telling themselves."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import rollpath as rp

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
    swept = rp.sweep(track, car, "inside_radius=120ft:200ft:40ft", "heavy", "middle")
    assert list(swept.rows["recommended"]) == sorted(swept.rows["recommended"], reverse=True)
    with pytest.raises(rp.RollpathError):
        rp.sweep(track, car, "inside_radus=120ft:200ft:40ft")
