"""Lines between the edges: parallel to the inside, rounded out, and diamonded."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from ovals import DEMO_TRACKS, demo_car, demo_track, one_case, oval, ovals
from rollpath.groove import free
from rollpath.groove.free import (
    DIAMOND_SHARPNESS,
    DIAMOND_ZONE,
    LENGTH_SHARE,
    NOMINAL_GRIP,
    SPLINE_KNOTS,
    STEERED_OVER,
    diamond_weights,
    turning_zones,
)
from rollpath.groove.lay import make_groove
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import FASTEST, GROOVES, SPARE, offset_limits, place
from rollpath.groove.spline import OffsetSpline, SplinePath, cubic_bases
from rollpath.lap import solve_lap
from rollpath.track import Bank, Track, TrackError
from rollpath.units import DEGREE, FOOT
from scipy.interpolate import BSpline
from scipy.optimize import least_squares
from shapely import LineString, Polygon

CAR_WIDTH = float(demo_car().width)
PARALLEL = ("low", "middle", "high")
FREE = ("rounded", "diamond")
ROUND = Track("Round Out", (210 * FOOT, 210 * FOOT), 280 * FOOT, 50 * FOOT, 20 * FOOT,
              Bank(10 * DEGREE, 4 * DEGREE))  # fmt: skip
"""A rounded oval with equal ends."""


@cache
def laid(track_name, name, stations=720, knots=SPLINE_KNOTS):
    track = ROUND if track_name == ROUND.name else demo_track(track_name)
    return make_groove(track, name, CAR_WIDTH, stations, knots=knots)


FLAT = 0.25
"""m. Squared curvature is so flat about its least that lines this far apart share it to 1e-3."""


def squared_curvature(groove):
    return float((groove.curvature**2 * groove.ds).sum())


every_track = pytest.mark.parametrize("track", [t.name for t in DEMO_TRACKS])
NAMED = [name for name in GROOVES if name != FASTEST]  # that one needs a car: test_fastest
every_groove = pytest.mark.parametrize("name", NAMED)


# World Athletics, Track and Field Facilities Manual, 400 m standard track: radius 36.50 m,
# straights 84.39 m; lane 1 measured 0.30 m out, the others 0.20 m; lanes 1.22 m wide.
LANES = (400.00, 407.04, 414.70, 422.37, 430.03, 437.70, 445.36, 453.03)


@pytest.mark.parametrize("lane", range(1, 9))
def test_lanes_of_the_standard_track_have_their_published_lengths(lane):
    track = Track("400 m", (36.5, 36.5), 84.39, 9.76, blend=0.0)
    out = 0.30 if lane == 1 else 1.22 * (lane - 1) + 0.20
    assert parallel_groove(track, out).length == pytest.approx(LANES[lane - 1], abs=0.01)


@every_track
@every_groove
def test_every_groove_turns_exactly_once(track, name):
    # Turning tangents: do Carmo, Differential Geometry of Curves and Surfaces, sec. 5-7.
    groove = laid(track, name)
    assert (groove.curvature * groove.ds).sum() == pytest.approx(2 * np.pi, abs=1e-9)


@settings(deadline=None)
@given(ovals())
def test_every_parallel_groove_of_any_oval_turns_once_and_closes(track):
    for offset in (0.0, track.width / 2, track.width):
        groove = parallel_groove(track, offset)
        assert (groove.curvature * groove.ds).sum() == pytest.approx(2 * np.pi, abs=1e-9)
        ends = np.array([[0.0, track.edge.length[0, 0]]])
        x, y = place(track.edge, ends, offset)
        assert np.hypot(np.diff(x), np.diff(y))[0, 0] < 1e-3


@every_track
@every_groove
def test_the_curvature_of_every_groove_alone_leads_back_within_a_millimetre(track, name):
    # Station by station a circular arc, from curvature and length only: no use of the edge.
    groove = laid(track, name, 2880)
    turned = groove.curvature * groove.ds
    heading = np.cumsum(turned) - 0.5 * turned
    chord = groove.ds * np.sinc(turned / 2 / np.pi)
    gap = np.hypot((chord * np.cos(heading)).sum(), (chord * np.sin(heading)).sum())
    assert gap < 1e-3


@every_track
@every_groove
def test_the_path_is_as_long_and_as_curved_as_its_points(track, name):
    groove = laid(track, name)
    x, y = groove.path
    points = LineString(np.column_stack([np.append(x, x[0]), np.append(y, y[0])]))
    assert points.length == pytest.approx(float(groove.length), rel=2e-4)
    area = Polygon(points.coords).area
    assert 2 * np.pi * np.sqrt(area / np.pi) < groove.length  # isoperimetric inequality


@every_track
@every_groove
def test_no_groove_leaves_the_surface(track, name):
    shape = demo_track(track)
    groove = laid(track, name)
    path = LineString(np.column_stack(groove.path))
    u = np.linspace(0.0, shape.edge.length[0, 0], 3000)
    least, _ = offset_limits(shape, CAR_WIDTH)
    for offset in (0.0, shape.width):
        x, y = place(shape.edge, u, offset)
        ring = LineString(np.column_stack([x[0], y[0]]))
        assert path.distance(ring) > least - 0.01
    assert least == pytest.approx(CAR_WIDTH / 2 + SPARE)


def test_low_middle_and_high_lie_where_they_are_named():
    track = demo_track("Ropewalk")
    offsets = [float(np.mean(laid("Ropewalk", name).offset)) for name in PARALLEL]
    assert offsets == pytest.approx(
        [CAR_WIDTH / 2 + SPARE, track.width / 2, track.width - CAR_WIDTH / 2 - SPARE]
    )


def test_a_line_further_out_by_q_is_longer_by_two_pi_q():
    # Steiner's formula for parallel curves (do Carmo sec. 1-7, exercise).
    track = demo_track("Two Ponds")
    inner, outer = parallel_groove(track, 2.0), parallel_groove(track, 7.0)
    assert outer.length - inner.length == pytest.approx(2 * np.pi * 5.0, rel=1e-12)


@every_track
@every_groove
def test_bank_has_no_steps(track, name):
    coarse, fine = (steepest_step(laid(track, name, n).bank) for n in (720, 2880))
    assert fine < 0.5 * coarse + 1e-12


@every_track
@pytest.mark.parametrize("name", PARALLEL)
def test_curvature_of_a_parallel_line_has_no_steps(track, name):
    coarse, fine = (steepest_step(laid(track, name, n).curvature) for n in (720, 2880))
    assert fine < 0.5 * coarse


@every_track
@pytest.mark.parametrize("name", FREE)
def test_curvature_of_a_free_line_has_no_steps_worth_a_driver_s_while(track, name):
    """The spline may kink where a blend ends: steps of up to 1/40 of the tightest curvature."""
    curvature = laid(track, name, 2880).curvature
    assert steepest_step(curvature) < 0.025 * curvature.max()


def steepest_step(values):
    return np.abs(np.diff(np.append(values, values[0]))).max()


# Free grooves


@every_track
def test_rounded_has_less_squared_curvature_than_any_parallel_line(track):
    rounded = squared_curvature(laid(track, "rounded"))
    for name in PARALLEL:
        assert rounded < squared_curvature(laid(track, name))


@every_track
def test_the_rounded_lap_is_shorter_than_the_middle(track):
    """It is out, in, out: it cuts across at each end."""
    assert laid(track, "rounded").length < laid(track, "middle").length


@pytest.mark.parametrize("width", [40.0, 60.0])
def test_on_an_annulus_the_rounded_groove_is_the_tightest_circle_that_fits(width):
    """Which is the quickest way round: the time 2 pi (r / (mu g))^(1/2) grows with r.

    J(r) = 2 pi / r + share 2 pi r / R^2 has its least at r = R share^(-1/2), the inside edge.
    """
    R = 200 * FOOT
    assert R / np.sqrt(LENGTH_SHARE) <= R
    groove = make_groove(oval(R, 0.0, width=width * FOOT), "rounded", CAR_WIDTH)
    radius = R + CAR_WIDTH / 2 + SPARE
    assert groove.curvature == pytest.approx(np.full(720, 1 / radius), rel=1e-3)
    assert groove.length == pytest.approx(2 * np.pi * radius, rel=1e-4)


@every_track
def test_finer_knots_and_stations_change_squared_curvature_by_less_than_a_thousandth(track):
    coarse = squared_curvature(laid(track, "rounded"))
    assert squared_curvature(laid(track, "rounded", 1440)) == pytest.approx(coarse, rel=1e-3)
    finer = squared_curvature(laid(track, "rounded", 1440, 2 * SPLINE_KNOTS))
    assert finer == pytest.approx(coarse, rel=1e-3)


@every_track
def test_finer_knots_change_what_the_diamond_weighs_by_less_than_half_a_hundredth(track):
    """Its squared curvature alone is not what it makes least, and moves more."""
    edge = demo_track(track).edge

    def weighed(groove):
        weights = diamond_weights(
            edge, turning_zones(edge, DIAMOND_ZONE), groove.along_edge, DIAMOND_SHARPNESS
        )
        length = LENGTH_SHARE * groove.length * (2 * np.pi / edge.length[0, 0]) ** 2
        return (weights * groove.curvature**2 * groove.ds).sum() + length

    coarse = weighed(laid(track, "diamond", 1440))
    finer = weighed(laid(track, "diamond", 1440, 2 * SPLINE_KNOTS))
    assert finer == pytest.approx(coarse, rel=5e-3)


def polygon_cost(track, u, offsets):
    """Roots of the terms of squared curvature, its change and length of a polygon, per vertex."""
    x, y = place(track.edge, u, offsets)
    corners = (x + 1j * y)[0]
    sides = np.roll(corners, -1) - corners
    lengths = np.abs(sides)
    turned = np.angle(np.roll(sides, -1) / sides)
    reach = 0.5 * (lengths + np.roll(lengths, -1))
    hold = np.roll(np.tan(track.edge.bank_at(u)[0] + np.arctan(NOMINAL_GRIP)), -1)
    hold = hold * np.sqrt(np.mean(hold**-2.0))
    bending = turned / np.sqrt(reach) / hold
    share = turned / reach / hold
    change = STEERED_OVER * (np.roll(share, -1) - share) / np.sqrt(u[1])
    shortness = np.sqrt(LENGTH_SHARE) * 2 * np.pi / track.edge.length[0, 0]
    return np.concatenate([bending, change, shortness * np.sqrt(lengths)])


@every_track
def test_rounded_agrees_with_a_polygon_bent_least_by_another_solver(track):
    # Independent: vertices instead of splines, angles instead of derivatives, and scipy's
    # trust-region reflective least squares with its own differences, on a coarser grid.
    shape = demo_track(track)
    least, most = map(float, offset_limits(shape, CAR_WIDTH))
    n = 48
    u = shape.edge.length[0, 0] * np.arange(n) / n
    found = least_squares(
        lambda q: polygon_cost(shape, u, q), np.full(n, 0.5 * (least + most)),
        bounds=(least, most), xtol=1e-6, ftol=1e-6, x_scale=most - least,
    )  # fmt: skip
    groove = laid(track, "rounded", 1440)
    ours = np.interp(u, groove.along_edge, groove.offset, period=shape.edge.length[0, 0])
    cost = (polygon_cost(shape, u, ours) ** 2).sum()
    assert cost == pytest.approx(2 * found.cost, rel=0.01)
    assert np.sqrt(np.mean((ours - found.x) ** 2)) < 0.03 * (most - least)


@pytest.mark.parametrize("name", FREE)
def test_equal_ends_get_equal_lines(name):
    groove = make_groove(ROUND, name, CAR_WIDTH)
    first, second = np.split(groove.offset, 2)
    assert second == pytest.approx(first, abs=FLAT)


@every_track
def test_a_rounded_groove_is_its_own_mirror_image(track):
    edge = demo_track(track).edge
    groove = laid(track, "rounded")
    ends = (edge.starts + edge.blends / 2)[0]
    apex, lap = 0.5 * (ends[0] + ends[1]), edge.length[0, 0]
    mirrored = np.interp(2 * apex - groove.along_edge, groove.along_edge, groove.offset, period=lap)
    assert mirrored == pytest.approx(groove.offset, abs=FLAT)


@every_track
def test_mirrored_input_gives_mirrored_output(track):
    # The mirror image in the short axis, driven the same way round: ends swapped, line reversed.
    shape = demo_track(track)
    mirrored = replace(shape, inside_radius=shape.inside_radius[::-1])
    groove = make_groove(mirrored, "rounded", CAR_WIDTH)
    assert groove.offset[::-1] == pytest.approx(laid(track, "rounded").offset, abs=0.01)


@pytest.mark.parametrize("name", FREE)
def test_ends_swapped_give_the_same_line_turned_round(name):
    track = demo_track("Two Ponds")
    turned = replace(track, inside_radius=track.inside_radius[::-1])
    edge, other = laid(track.name, name), make_groove(turned, name, CAR_WIDTH)
    ends = (track.edge.starts + track.edge.blends / 2)[0]
    back, lap = 0.5 * (ends[1] + ends[2]), track.edge.length[0, 0]
    there = np.interp(edge.along_edge - back, other.along_edge, other.offset, period=lap)
    assert there == pytest.approx(edge.offset, abs=FLAT)
    assert squared_curvature(other) == pytest.approx(squared_curvature(edge), rel=1e-3)


@every_track
def test_diamond_is_tighter_at_its_tightest(track):
    # Common practice, no source.
    assert laid(track, "diamond").curvature.max() > 1.1 * laid(track, "rounded").curvature.max()


@every_track
def test_diamond_turns_past_the_middle_of_the_corner(track):
    # Common practice, no source.
    edge = demo_track(track).edge
    groove = laid(track, "diamond")
    ends = (edge.starts + edge.blends / 2)[0]
    first = groove.along_edge < 0.5 * (ends[1] + ends[2])
    tightest = groove.along_edge[np.argmax(np.where(first, groove.curvature, 0))]
    assert 0.5 * (ends[0] + ends[1]) < tightest < ends[1]


def test_a_sharper_diamond_turns_tighter():
    # Common practice, no source.
    track = demo_track("Saucer Hill")
    mild, sharp = (
        make_groove(track, "diamond", CAR_WIDTH, sharpness=s).curvature.max() for s in (1.3, 3.0)
    )
    assert sharp > mild


def test_a_diamond_without_sharpness_is_the_rounded_groove():
    groove = make_groove(demo_track("Ropewalk"), "diamond", CAR_WIDTH, sharpness=1.0)
    assert groove.offset == pytest.approx(laid("Ropewalk", "rounded").offset, abs=FLAT)


@every_track
def test_diamond_drives_off_straighter_than_the_rounded_line(track):
    # Common practice, no source: turn late, drive off straight.
    edge = demo_track(track).edge
    corners = (edge.starts + edge.blends / 2)[0].reshape(2, 2)
    for start, end in corners:
        last = start + 0.85 * (end - start)
        left = [
            groove.curvature[(groove.along_edge > last) & (groove.along_edge < end)].mean()
            for groove in (laid(track, "diamond"), laid(track, "rounded"))
        ]
        assert left[0] < 0.85 * left[1]


def brakings(lap):
    """How often a lap brakes over more than a car's length between drives as long."""
    brakes = np.roll(lap.thrust < 0, -int(np.argmax(lap.speed)))
    runs = np.split(np.arange(brakes.size), np.flatnonzero(np.diff(brakes)) + 1)
    ds = np.roll(lap.groove.ds, -int(np.argmax(lap.speed)))
    told = [bool(brakes[run[0]]) for run in runs if ds[run].sum() > 4.5]
    return sum(now and not before for before, now in zip([False, *told], told, strict=False))


@pytest.mark.parametrize("name", FREE)
@pytest.mark.parametrize("condition", ["heavy", "slick"])
@every_track
def test_a_lap_of_a_free_groove_brakes_once_a_corner(track, condition, name):
    state = demo_track(track).condition(condition)
    assert brakings(solve_lap(laid(track, name), demo_car(), state)) == 2


UNLIKE = (
    oval(210 * FOOT, 420 * FOOT, second=140 * FOOT, bow=10 * FOOT, bank=14 * DEGREE),
    oval(120 * FOOT, 300 * FOOT, second=95 * FOOT, bank=6 * DEGREE, blend=0.0),
    oval(300 * FOOT, 500 * FOOT, second=210 * FOOT, width=60 * FOOT, bow=18 * FOOT),
    oval(90 * FOOT, 380 * FOOT, second=80 * FOOT, width=38 * FOOT, bank=20 * DEGREE),
)
"""Ovals with unequal ends, banked and flat, with long blends and none."""


@pytest.mark.parametrize("track", UNLIKE)
@pytest.mark.parametrize("grip", [0.6, 1.0])
def test_with_unequal_ends_the_rounded_lap_brakes_once_a_corner_at_most(track, grip):
    groove = make_groove(track, "rounded", CAR_WIDTH)
    lap = solve_lap(groove, demo_car(), replace(track.condition("tacky"), grip=grip))
    assert groove.settled
    assert 1 <= brakings(lap) <= 2  # a wide end may be taken without braking


@every_track
@pytest.mark.parametrize("name", FREE)
def test_a_free_groove_survives_a_billionth(track, name):
    shape = demo_track(track)
    first, second = shape.inside_radius
    nudged = replace(shape, inside_radius=(first * (1 + 1e-9), second), width=shape.width + 1e-9)
    groove = make_groove(nudged, name, CAR_WIDTH)
    assert groove.settled
    assert groove.offset == pytest.approx(laid(track, name).offset, abs=1e-4)


def test_a_free_groove_does_not_hang_on_how_short_a_blend_is():
    grooves = [
        make_groove(replace(demo_track("Ropewalk"), blend=blend), "rounded", CAR_WIDTH)
        for blend in (0.0, 0.4999, 0.5001, 1.9, 2.1)
    ]
    for groove in grooves[1:]:
        assert groove.offset == pytest.approx(grooves[0].offset, abs=0.03)
        assert groove.curvature.max() == pytest.approx(grooves[0].curvature.max(), rel=3e-3)


@every_track
def test_a_diamond_is_the_same_from_wherever_its_search_starts(track):
    shape = demo_track(track)
    edge, (least, most) = free.free_edge(shape), free.free_limits(shape, CAR_WIDTH)
    zones = free.turning_zones(edge, DIAMOND_ZONE)
    spline = OffsetSpline(edge, SPLINE_KNOTS)
    weights = diamond_weights(edge, zones, spline.points, DIAMOND_SHARPNESS)
    rows = free.bending_rows(spline, weights)
    starts = (
        np.full(spline.count, least), np.full(spline.count, most),
        free.swing(spline, least, most), most + least - free.swing(spline, least, most),
    )  # fmt: skip
    ends = [free.settle(rows, least, most, start) for start in starts]
    assert all(settled for _, settled in ends)
    weighed = [(rows(c)[0] ** 2).sum() for c, _ in ends]
    assert weighed == pytest.approx([weighed[0]] * len(starts), rel=1e-7)


def test_a_search_cut_short_is_told(monkeypatch):
    monkeypatch.setattr(free, "MOST_STEPS", 2)
    assert not make_groove(demo_track("Two Ponds"), "rounded", CAR_WIDTH).settled


def test_our_splines_are_those_of_scipy():
    # scipy.interpolate.BSpline: another writing of Cox and de Boor's recurrence.
    knots = np.array([-1.5, -1.0, -0.4, 0.0, 0.7, 1.0, 1.0, 1.3, 2.0, 2.0, 2.9, 3.3, 4.0, 4.4])
    u = np.append(np.random.default_rng(1).uniform(0.0, 2.9, 400), [0.0, 1.0, 2.0, 2.9])
    first, parts = cubic_bases(knots, u)
    for order, part in enumerate(parts):
        ours = np.zeros((len(u), len(knots) - 4))
        np.put_along_axis(ours, first[:, None] + np.arange(4), part, axis=1)
        theirs = BSpline(knots, np.eye(len(knots) - 4), 3)(u, nu=order)
        assert np.abs(ours - theirs).max() <= 2.3e-16 * max(1.0, np.abs(theirs).max())


@every_track
def test_slopes_of_the_stations_are_pulled_back_to_the_coefficients(track):
    spline = OffsetSpline(demo_track(track).edge, 24)
    path, rng = SplinePath(spline, 60), np.random.default_rng(2)
    c = rng.uniform(3.0, 9.0, spline.count)
    by = rng.standard_normal((3, 60))

    def worth(c):
        groove = path.groove("drawn", c)
        return sum(
            b @ v for b, v in zip(by, (groove.curvature, groove.ds, groove.offset), strict=True)
        )

    slope = path.pulled_back(c, *by)
    for way in rng.standard_normal((4, spline.count)):
        rise = (worth(c + 1e-5 * way) - worth(c - 1e-5 * way)) / 2e-5
        assert slope @ way == pytest.approx(rise, rel=1e-6, abs=1e-6)


def test_a_car_too_wide_for_the_track_is_refused():
    with pytest.raises(TrackError, match="does not fit") as refused:
        make_groove(oval(60.0, 90.0, width=8 * FOOT), "low", CAR_WIDTH)
    assert refused.value.key == "width"


def test_a_sweep_of_free_grooves_is_refused_plainly():
    swept = oval(np.array([60.0, 61.0]), 90.0)
    with pytest.raises(TypeError, match="one track"):
        make_groove(swept, "rounded", CAR_WIDTH)


def test_a_sweep_of_parallel_grooves_equals_one_by_one():
    n = 3
    ends = (np.linspace(50, 70, n), np.linspace(45, 72, n))
    swept = Track("sweep", ends, np.linspace(80, 120, n), np.linspace(12, 16, n),
                  np.linspace(0, 3, n), Bank(0.2, 0.05), 15.0)  # fmt: skip
    for name in PARALLEL:
        together = make_groove(swept, name, CAR_WIDTH)
        for i in range(n):
            alone = make_groove(one_case(swept, i), name, CAR_WIDTH)
            for field in ("s", "ds", "curvature", "bank", "along_edge", "offset"):
                expected = getattr(alone, field)
                assert getattr(together, field)[i] == pytest.approx(expected, abs=1e-6)
            assert together.length[i] == pytest.approx(alone.length)
            assert together.turning_share[i] == pytest.approx(alone.turning_share)


def test_a_circle_turns_all_the_way():
    assert parallel_groove(oval(60.0, 0.0), 5.0).turning_share == pytest.approx(1.0)


def test_a_paper_clip_turns_in_its_corners_only():
    track = oval(50.0, 200.0, blend=0.0)
    groove = parallel_groove(track, 0.0)
    assert groove.turning_share == pytest.approx(2 * np.pi * 50 / groove.length, abs=3 / 720)
