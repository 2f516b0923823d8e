"""Measured grooves: recorded points become a path whose curvature is trusted."""

import numpy as np
import pytest
from rollpath.files.cars import load_car
from rollpath.files.tracks import load_track
from rollpath.groove.lay import make_groove
from rollpath.groove.measured import PathError, measured_groove, smooth_closed_path
from rollpath.stagger import baseline
from rollpath.units import INCH
from scipy.special import ellipe


def ellipse_points(a, b, spacing=1.0):
    """Points one spacing apart along an ellipse, and its length by the complete integral."""
    length = 4 * a * ellipe(1 - (b / a) ** 2)  # scipy.special.ellipe: perimeter of an ellipse
    t = np.linspace(0, 2 * np.pi, 20001)
    run = np.cumsum(np.hypot(a * np.sin(t[1:]), b * np.cos(t[1:])) * np.diff(t))
    count = int(length / spacing)
    at = np.interp(np.arange(count) / count * run[-1], np.append(0.0, run), t)
    return a * np.cos(at), b * np.sin(at), length


def curvature_at_axes(path):
    """Curvature where the path crosses the axes: ends of the long, then of the short one."""
    s = np.linspace(0, path.length, 4000, endpoint=False)
    angle = np.angle(path.at(s))
    k = path.curvature(s)
    away = [
        np.abs(np.angle(np.exp(1j * (angle - axis))))
        for axis in (0, np.pi, 0.5 * np.pi, -0.5 * np.pi)
    ]
    return np.array([k[np.argmin(one)] for one in away])


@pytest.mark.parametrize(("a", "b"), [(150.0, 80.0), (120.0, 90.0), (100.0, 99.0)])
def test_clean_ellipse_has_its_exact_curvature_and_length(a, b):
    # Curvature of an ellipse at its ends: a / b^2 and b / a^2 (do Carmo, sec. 1-5, exercise).
    x, y, length = ellipse_points(a, b)
    path = smooth_closed_path(x, y)
    exact = np.array([a / b**2] * 2 + [b / a**2] * 2)
    assert curvature_at_axes(path) == pytest.approx(exact, rel=0.01)
    assert path.length == pytest.approx(length, rel=1e-4)


@pytest.mark.parametrize(("a", "b"), [(100.0, 80.0), (120.0, 90.0), (150.0, 80.0)])
def test_two_metres_of_noise_moves_the_curvature_by_less_than_five_per_cent(a, b):
    # Curvature of an ellipse at its ends: do Carmo, sec. 1-5, exercise. Two metres of white noise
    # stand for a phone, and five per cent is what a radius is wanted to: engineering judgement,
    # no source.
    x, y, length = ellipse_points(a, b)
    exact = np.array([a / b**2] * 2 + [b / a**2] * 2)
    for seed in range(8):
        noise = np.random.default_rng(seed).normal(scale=2.0, size=(2, len(x)))
        path = smooth_closed_path(x + noise[0], y + noise[1])
        assert curvature_at_axes(path) == pytest.approx(exact, rel=0.05)
        assert path.length == pytest.approx(length, rel=0.01)
        assert path.noise == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize("name", ["middle", "rounded"])
def test_recorded_groove_asks_for_the_stagger_of_the_driven_one(name):
    track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
    driven = baseline(track, car, "slick", make_groove(track, name, car.width))
    x, y = driven.groove.path
    noise = np.random.default_rng(7).normal(scale=2.0, size=(2, len(x)))
    # In a long corner of one radius a lap is driven within a hair of its limit. Whether a foot
    # counts as driven, and so weighs for the quickest end, hangs on ripples of the line:
    # the optimum is held to a third of an inch there, even drive and the need itself closely.
    for points, within in (((x, y), 0.12 * INCH), ((x + noise[0], y + noise[1]), 0.20 * INCH)):
        recorded = baseline(
            track, car, "slick", measured_groove(track, smooth_closed_path(*points))
        )
        assert recorded.stagger.even_drive == pytest.approx(driven.stagger.even_drive, abs=within)
        assert recorded.stagger.least_scrub == pytest.approx(driven.stagger.least_scrub, abs=within)
        assert recorded.stagger.optimum == pytest.approx(driven.stagger.optimum, abs=INCH / 3)


def test_phone_noise_adds_little_scrub():
    track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
    driven = baseline(track, car, "slick", "rounded")
    x, y = driven.groove.path
    noise = np.random.default_rng(3).normal(scale=2.5, size=(2, len(x)))
    noisy = smooth_closed_path(x + noise[0], y + noise[1])
    recorded = baseline(track, car, "slick", measured_groove(track, noisy))
    assert recorded.now.lap == pytest.approx(driven.now.lap, rel=0.25)


def test_measured_lap_turns_once_and_starts_on_a_straight():
    track = load_track("tracks/ropewalk.yaml")
    x, y = make_groove(track, "middle", 1.9).path
    shifted = (np.roll(x, 100) + 40.0, np.roll(y, 100) - 9.0)
    groove = measured_groove(track, smooth_closed_path(*shifted))
    assert np.sum(groove.curvature * groove.ds) == pytest.approx(2 * np.pi, abs=1e-9)
    assert abs(groove.curvature[0]) < 0.1 * groove.curvature.max()
    assert np.mean(groove.first_end) == pytest.approx(0.5, abs=0.03)


def test_clockwise_points_are_turned_round_and_said_so():
    x, y, _ = ellipse_points(120.0, 90.0)
    path = smooth_closed_path(x[::-1], y[::-1])
    assert path.turned_round
    assert np.all(path.curvature(np.linspace(0, path.length, 50)) > 0)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (lambda t: (100 * np.cos(t), 60 * np.sin(2 * t)), "cross"),
        (lambda t: (100 * np.cos(t / 2), 80 * np.sin(t / 2)), "close"),
        (lambda t: (100 * np.cos(0.84 * t), 80 * np.sin(0.84 * t)), "close"),
        (lambda t: (1e-3 * np.cos(t), 1e-3 * np.sin(t)), "unit"),
        (lambda t: (np.where(t > 3, np.nan, np.cos(t)), np.sin(t)), "number"),
    ],
)
def test_points_that_make_no_lap_are_refused(points, words):
    with pytest.raises(PathError, match=words):
        smooth_closed_path(*points(np.linspace(0, 2 * np.pi, 400, endpoint=False)))


def test_too_few_points_are_refused():
    with pytest.raises(PathError, match="too few"):
        smooth_closed_path(np.cos(np.arange(5)), np.sin(np.arange(5)))


def test_unequal_ends_come_in_the_order_of_the_track():
    track = load_track("tracks/two-ponds.yaml")
    driven = make_groove(track, "middle", 1.9)
    x, y = driven.path
    for turn in (0, 150, 360, 500):
        path = smooth_closed_path(np.roll(x, turn), np.roll(y, turn))
        groove = measured_groove(track, path)
        first = groove.curvature[groove.first_end].max()
        assert first < groove.curvature[~groove.first_end].max()
