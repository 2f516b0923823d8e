"""The oval of four arcs."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ovals import DEMO_TRACKS, demo_car, demo_track, laid, one_case, oval, ovals
from rollpath.feel.lap import trim_lap
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.lap import solve_lap
from rollpath.track import (
    GAUSS,
    Bank,
    Condition,
    GripBands,
    Track,
    TrackError,
    check_track,
    straight_turn,
)
from rollpath.units import DEGREE, FOOT, INCH
from scipy.special import fresnel
from shapely import MultiPoint, Point

# Abramowitz and Stegun, Handbook of Mathematical Functions, table 7.7: x, C(x), S(x).
FRESNEL_TABLE = (
    (0.2, 0.1999211, 0.0041876),
    (0.4, 0.3974808, 0.0333594),
    (0.5, 0.4923442, 0.0647324),
    (0.6, 0.5810954, 0.1105402),
    (0.8, 0.7228442, 0.2493414),
    (1.0, 0.7798934, 0.4382591),
)


@pytest.mark.parametrize(("x", "C", "S"), FRESNEL_TABLE)
def test_a_blend_is_the_clothoid_of_abramowitz_and_stegun(x, C, S):
    R = 30.0
    track = oval(R, 250.0, blend=np.pi * R)  # as long as the corner: the table's x runs to 1
    edge = track.edge
    start, blend = edge.starts[0, 0], edge.blends[0, 0]
    scale = np.sqrt(np.pi * R * blend)
    at = np.array([[start, start + x * scale]])
    x_at, y_at = edge.position(at)
    assert np.diff(x_at)[0, 0] / scale == pytest.approx(C, abs=6e-8)
    assert np.diff(y_at)[0, 0] / scale == pytest.approx(S, abs=6e-8)


def test_the_fresnel_table_above_is_typed_right():
    for x, C, S in FRESNEL_TABLE:
        assert fresnel(x) == pytest.approx((S, C), abs=6e-8)


@settings(deadline=None)
@given(ovals())
def test_every_oval_turns_once_and_closes(track):
    # do Carmo, Differential Geometry of Curves and Surfaces, sec. 5-7 (turning tangents).
    edge = track.edge
    ends = np.array([[0.0, edge.length[0, 0]]])
    assert np.diff(edge.heading(ends))[0, 0] == pytest.approx(2 * np.pi, abs=1e-9)
    x, y = edge.position(ends)
    assert np.hypot(np.diff(x), np.diff(y))[0, 0] < 1e-3


@settings(deadline=None, max_examples=30)
@given(ovals())
def test_heading_is_the_integral_of_curvature_and_position_of_heading(track):
    edge = track.edge
    s = np.linspace(0.0, edge.length[0, 0], 4001)
    k, theta = edge.curvature(s)[0], edge.heading(s)[0]
    step = s[1]

    def summed(f):
        return np.concatenate([[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * step)])

    every = slice(None, None, 40)
    within = 4 * step / min(track.inside_radius)  # the jumps of a curvature without blends
    assert np.abs(summed(k) - theta).max() < within
    x, y = edge.position(s[None, every])
    assert np.abs(summed(np.cos(theta))[every] - x[0]).max() < 5e-3
    assert np.abs(summed(np.sin(theta))[every] - y[0]).max() < 5e-3


@pytest.mark.parametrize(("R_1", "R_2", "straight"), [(60, 40, 100), (50, 50, 80), (30, 70, 60)])
def test_unequal_ends_are_joined_by_common_tangents(R_1, R_2, straight):
    # The hull of two discs is bounded by their common tangents: an independent construction.
    edge = oval(R_1, straight, second=R_2, blend=0.0).edge
    apart = np.hypot(straight, R_1 - R_2)
    discs = [Point(x, 0).buffer(R, quad_segs=2000) for x, R in ((0, R_1), (apart, R_2))]
    hull = discs[0].union(discs[1]).convex_hull
    x, y = edge.position(np.linspace(0, edge.length, 8001).reshape(1, -1))
    ours = MultiPoint(np.column_stack([x[0], y[0]])).convex_hull
    assert edge.length[0, 0] == pytest.approx(hull.length, rel=1e-6)
    assert ours.area == pytest.approx(hull.area, rel=1e-5)


@given(st.floats(10.0, 300.0), st.floats(1e-6, 0.3))
def test_the_bow_of_a_straight_is_the_sagitta_of_an_arc(length, share):
    # Sagitta = r (1 - cos(phi / 2)) = 2 r sin(phi / 4)^2, elementary geometry.
    phi = straight_turn(length, share * length)
    radius = length / phi
    assert radius * 2 * np.sin(phi / 4) ** 2 == pytest.approx(share * length, rel=1e-6)


def test_a_bowed_straight_stands_out_by_its_bow():
    track = oval(60.0, 100.0, bow=4.0, blend=0.0)
    edge = track.edge
    _, y = edge.position(np.array([[0.0, 50.0]]))  # middle and end of half the front straight
    assert np.diff(y)[0, 0] == pytest.approx(4.0, rel=1e-6)


def test_a_straight_without_bow_is_a_line():
    edge = oval(60.0, 100.0, blend=10.0).edge
    s = np.linspace(0.0, 40.0, 9)
    assert edge.curvature(s) == pytest.approx(np.zeros((1, 9)), abs=0.0)


def test_an_oval_without_straights_is_a_circle():
    edge = oval(60.0, 0.0).edge
    s = np.linspace(0.0, edge.length[0, 0], 50)
    assert edge.length[0, 0] == pytest.approx(2 * np.pi * 60.0)
    assert edge.curvature(s)[0] == pytest.approx(np.full(50, 1 / 60.0))


@settings(deadline=None, max_examples=30)
@given(ovals())
def test_curvature_and_bank_are_continuous(track):
    track = replace(track, blend=max(track.blend, 5.0))
    edge = track.edge
    s = np.linspace(0.0, edge.length[0, 0], 40001)
    blend = edge.blends[0, 0]
    for values in (edge.curvature(s)[0], edge.bank_at(s)[0]):
        steepest = np.ptp(values) / blend
        assert np.abs(np.diff(values)).max() <= 1.001 * steepest * s[1] + 1e-12
        assert values[0] == pytest.approx(values[-1], abs=1e-9)


def test_bank_is_that_of_the_corners_in_corners_and_of_the_straights_in_between():
    track = demo_track("Saucer Hill")
    edge = track.edge
    ends = (edge.starts + edge.blends / 2)[0]
    corners = [0.5 * (ends[0] + ends[1]), 0.5 * (ends[2] + ends[3])]
    straights = [0.0, 0.5 * (ends[1] + ends[2])]
    assert edge.bank_at(np.array(corners))[0] == pytest.approx([12 * DEGREE] * 2)
    assert edge.bank_at(np.array(straights))[0] == pytest.approx([3 * DEGREE] * 2)


@settings(deadline=None, max_examples=30)
@given(ovals())
def test_ends_swapped_give_the_same_oval_turned_round(track):
    R_1, R_2 = track.inside_radius
    edge, turned = track.edge, replace(track, inside_radius=(R_2, R_1)).edge
    length, back = edge.length[0, 0], middle_of_back_straight(edge)
    assert turned.length[0, 0] == pytest.approx(length, rel=1e-9)
    s = np.linspace(0.0, length - back, 200)
    headings = edge.heading(back + s)[0] - edge.heading(np.array([back]))[0]
    assert np.abs(turned.heading(s)[0] - headings).max() < 1e-5
    s = np.linspace(length - back, length, 200)
    headings = turned.heading(s)[0] - turned.heading(np.array([length - back]))[0]
    assert np.abs(edge.heading(s - (length - back))[0] - headings).max() < 1e-5


@settings(deadline=None, max_examples=30)
@given(ovals())
def test_an_oval_is_its_own_mirror_image_in_its_long_axis(track):
    edge = track.edge
    apex = 0.5 * middle_of_back_straight(edge)
    s = np.linspace(0.0, apex, 200)
    before, after, there = (edge.heading(at)[0] for at in (apex - s, apex + s, np.array([apex])))
    assert np.abs(after - there - (there - before)).max() < 1e-6
    x, y = edge.position(np.array([[0.0, 2 * apex]]))
    square = np.diff(x) * np.cos(there) + np.diff(y) * np.sin(there)  # to the long axis
    assert np.abs(square[0, 0] - np.hypot(np.diff(x), np.diff(y))[0, 0]) < 1e-6


def middle_of_back_straight(edge):
    ends = (edge.starts + edge.blends / 2)[0]
    return 0.5 * (ends[1] + ends[2])


def test_a_sweep_of_tracks_equals_one_by_one():
    n = 4
    swept = Track(
        "sweep", (np.linspace(50, 70, n), np.linspace(45, 72, n)), np.linspace(80, 120, n), 14.0,
        np.linspace(0, 3, n), Bank(np.linspace(0, 0.2, n), 0.02), np.linspace(0, 20, n),
    )  # fmt: skip
    s = np.linspace(0.0, 250.0, 60)
    x, y = swept.edge.position(s)
    micron = 1e-6  # to which unequal ends are closed, alone or together
    for i in range(n):
        edge = one_case(swept, i).edge
        assert edge.length[0, 0] == pytest.approx(swept.edge.length[i, 0], abs=micron)
        assert edge.curvature(s)[0] == pytest.approx(swept.edge.curvature(s)[i], abs=micron)
        assert edge.bank_at(s)[0] == pytest.approx(swept.edge.bank_at(s)[i], abs=micron)
        x_one, y_one = edge.position(s)
        assert (x_one[0], y_one[0]) == (
            pytest.approx(x[i], abs=2 * micron),
            pytest.approx(y[i], abs=2 * micron),
        )


@pytest.mark.parametrize(
    ("track", "key"),
    [
        (oval(50.0, 100.0, width=51.0), "width"),
        (oval(50.0, 100.0, bow=50.0), "bow"),
        (oval(50.0, 100.0, bow=30.0), "bow"),
        (oval(50.0, 0.0, bow=1.0), "bow"),
        (oval(50.0, 0.0, second=30.0, width=10.0), "inside_radius"),
    ],
)
def test_numbers_that_make_no_oval_are_refused_by_name(track, key):
    with pytest.raises(TrackError) as refused:
        check_track(track)
    assert refused.value.key == key


@pytest.mark.parametrize("track", DEMO_TRACKS, ids=lambda track: track.name)
def test_demo_tracks_are_ovals_with_known_tolerances(track):
    check_track(track)
    assert 0 < track.measured_to.inside_radius < 20 * FOOT
    assert 0 < track.measured_to.straight < 30 * FOOT


def test_an_unknown_condition_is_a_key_error():
    with pytest.raises(KeyError):
        demo_track("Ropewalk").condition("wet")


# Grip across the track

BANDS = GripBands(inside=0.55, middle=0.60, outside=0.82)


def test_grip_runs_in_straight_lines_from_edge_to_middle_to_edge():
    share = np.linspace(-0.2, 1.2, 57)
    # numpy.interp holds the end values beyond the ends and is another writing of the same lines.
    assert BANDS.at(share) == pytest.approx(np.interp(share, [0, 0.5, 1], [0.55, 0.60, 0.82]))
    inner = np.array([0.1, 0.45, 0.55, 0.9])
    rise = (BANDS.at(inner + 1e-6) - BANDS.at(inner - 1e-6)) / 2e-6
    assert BANDS.slope(inner) == pytest.approx(rise, abs=1e-6)
    assert BANDS.mean == pytest.approx(np.trapezoid(BANDS.at(np.linspace(0, 1, 201)), dx=1 / 200))


def test_a_groove_knows_how_far_across_the_track_it_lies():
    track = demo_track("Two Ponds")
    for offset, share in ((0.0, 0.0), (track.width / 2, 0.5), (track.width, 1.0)):
        assert parallel_groove(track, offset).share_across == pytest.approx(np.full(720, share))


def test_bands_all_alike_drive_like_one_grip():
    track, car = demo_track("Saucer Hill"), demo_car()
    groove = laid("Saucer Hill", "rounded")
    even = replace(track.condition("slick"), grip=0.7)
    lap = solve_lap(groove, car, even)
    banded = solve_lap(groove, car, replace(even, grip=GripBands(0.7, 0.7, 0.7)))
    assert banded.speed == pytest.approx(lap.speed, rel=1e-12)


def test_the_grip_under_the_car_is_what_its_speed_in_the_corner_shows():
    """A parallel line lies on one grip: its lap is that of the grip there."""
    track, car = demo_track("Ropewalk"), demo_car()
    slick = replace(track.condition("slick"), grip=BANDS)
    for name in ("low", "middle", "high"):
        groove = laid("Ropewalk", name)
        there = float(np.interp(groove.offset[0] / track.width, [0, 0.5, 1], [0.55, 0.60, 0.82]))
        alone = solve_lap(groove, car, replace(slick, grip=there))
        assert solve_lap(groove, car, slick).time == pytest.approx(float(alone.time), rel=1e-9)


def test_what_the_driver_feels_takes_the_grip_under_the_car():
    track, car = demo_track("Ropewalk"), demo_car()
    slick = replace(track.condition("slick"), grip=BANDS)
    groove = make_groove(track, "high", car.width, 90)
    lap = solve_lap(groove, car, slick)
    there = float(np.interp(groove.offset[0] / track.width, [0, 0.5, 1], [0.55, 0.60, 0.82]))
    felt, alone = (
        trim_lap(lap, car, replace(slick, grip=grip), 2 * INCH) for grip in (BANDS, there)
    )
    assert felt.fitted.steer == pytest.approx(alone.fitted.steer, abs=1e-9)


def test_several_tracks_with_bands_equal_one_by_one():
    car, widths = demo_car(), np.array([13.0, 16.0])
    slick = Condition("slick", BANDS, 7.0, "middle")
    swept = oval(60.0, 90.0, width=widths)
    together = solve_lap(parallel_groove(swept, 0.3 * widths), car, slick).time
    alone = [
        float(solve_lap(parallel_groove(oval(60.0, 90.0, width=w), 0.3 * w), car, slick).time)
        for w in widths
    ]
    assert together == pytest.approx(alone, rel=1e-9)


def test_the_integration_rule_is_that_of_the_reference_library():
    # numpy.polynomial.legendre.leggauss.
    nodes, weights = np.polynomial.legendre.leggauss(12)
    half = np.array(GAUSS)
    np.testing.assert_allclose(half[:, 0], nodes[6:], rtol=1e-14)
    np.testing.assert_allclose(half[:, 1], weights[6:], rtol=1e-13)
