"""The shape of a track from a tape or a lap length.

A tape laid as a chord inside a corner gives a radius by the exact circle. A lap length and a
straight give one by the length of the oval.
"""

from dataclasses import replace

import numpy as np

from rollpath.survey.log import Note, SurveyError
from rollpath.survey.result import ChordRadius, LapLine, Survey, check_measured
from rollpath.track import DEFAULT_BLEND, Tolerance, Track, straight_turn
from rollpath.units import FOOT, INCH

GAP_ERROR = 1 * INCH
"""How well the gap of a chord is read on a dirt edge. Engineering judgement."""
CHORD_ERROR = 1 * FOOT
"""How well a chord is laid: sag, stretch, and ends not quite on the edge. Engineering judgement."""
PACED_SHARE = 0.05
"""How well a straight is paced. Engineering judgement: one step in twenty."""
LAP_SHARE = 0.02
"""How well a lap length is known along the line it was measured on. Engineering judgement."""
USUAL_WIDTH = 50 * FOOT
"""Width taken for the room between lines when none was given. Engineering judgement."""
USUAL_STRAIGHT, STRAIGHT_SPREAD = 0.19, 0.07
"""A straight of ovals as a share of the lap, and within which nine in ten lie: from one radius
long to three and a half. Engineering judgement."""
ENDS_DIFFER = 0.15
"""Within this share of the radius the end that was not taped is that of the other, nine times in
ten. Engineering judgement."""
SURE = 0.95
"""Upper point of Student's t: nine in ten lie between it and its mirror."""
MOST_BOW = 0.45
"""Largest bow tried while a straight is looked for, as a share of it: a bow of half a straight is a
half circle. Geometry."""
GAP_WANTED = 100 * INCH
"""A gap of which 1 in is one per cent."""
LONGEST_CHORD_SHARE = 1.0
"""Longest chord advised, in radii: it spans a third of a half circle, clear of the corner's ends.
Engineering judgement."""


# Tape and pace


def chord_radius(chord: float, gap: float) -> float:
    """Radius of the circle over a chord with a gap at its middle: ``c^2 / (8 g) + g / 2``, m.

    Parameters
    ----------
    chord, gap : float
        m; the chord lies inside the corner, its ends on the edge.

    Raises
    ------
    SurveyError
        If the gap is not positive, or more than half the chord (more than a half circle).
    """
    if not 0 < gap <= 0.5 * chord:
        raise SurveyError("gap")
    return chord**2 / (8.0 * gap) + 0.5 * gap


def chord_radius_errors(chord: float, gap: float) -> tuple[float, float]:
    """Change of the radius for an inch more of gap (a minus sign) and for a foot more of chord."""
    by_gap = 0.5 - chord**2 / (8.0 * gap**2)
    by_chord = chord / (4.0 * gap)
    return by_gap * GAP_ERROR, by_chord * CHORD_ERROR


def chord_gap(chord: float, radius: float) -> float:
    """Gap in the middle of a chord inside a circle, m."""
    return float(radius - np.sqrt(radius**2 - 0.25 * chord**2))


def chord_advice(radius: float) -> float:
    """Chord to lay in a corner of about this radius, m: an inch of its gap is one per cent.

    Never longer than `LONGEST_CHORD_SHARE` radii, so that it stays in the part of the corner that
    is a circle.
    """
    gap = min(GAP_WANTED, radius)
    return float(min(2.0 * np.sqrt(gap * (2.0 * radius - gap)), LONGEST_CHORD_SHARE * radius))


def average_chords(chords: list[tuple[float, float]]) -> ChordRadius:
    """Radius of one end from (chord, gap) pairs, with its tolerance.

    The tolerance is what `GAP_ERROR` and `CHORD_ERROR` make of the mean, or what the spread of the
    chords says by Student's t when that is more: two that happen to agree prove little.
    """
    from scipy.special import stdtrit

    each = [chord_radius(c, g) for c, g in chords]
    errors = np.array([chord_radius_errors(c, g) for c, g in chords])
    count = len(each)
    tolerance = float(np.sqrt(np.sum(errors**2)) / count)
    if count > 1:
        by_spread = stdtrit(count - 1, SURE) * np.std(each, ddof=1) / np.sqrt(count)
        tolerance = max(tolerance, float(by_spread))
    by_gap, by_chord = (float(value) for value in errors.mean(axis=0))
    longest = max(chord for chord, _ in chords)
    return ChordRadius(float(np.mean(each)), tolerance, tuple(each), by_gap, by_chord, longest)


def lap_radius(lap: float, straight: float, bow: float = 0.0, offset: float = 0.0) -> float:
    """Inside radius of an oval of equal ends from a lap length, m.

    Parameters
    ----------
    lap : float
        Length along a line `offset` outside the inside edge, m.
    straight, bow : float
        Along the inside edge, m.

    Raises
    ------
    SurveyError
        If the straights leave nothing for the corners.

    Notes
    -----
    A line at a constant distance d outside a closed convex one is longer by 2 pi d (Steiner).
    """
    turn = float(straight_turn(straight, bow))
    radius = (lap - 2.0 * np.pi * offset - 2.0 * straight) / (2.0 * (np.pi - turn))
    if radius <= 0:
        raise SurveyError("no corners left")
    return float(radius)


def lap_straight(
    lap: float, radii: tuple[float, float], bow: float = 0.0, offset: float = 0.0
) -> float:
    """Straight along the inside edge from a lap length and the two inside radii, m.

    Raises
    ------
    SurveyError
        If the corners alone are longer than the lap.
    """
    from scipy.optimize import brentq

    inside = lap - 2.0 * np.pi * offset

    def excess(straight: float) -> float:
        track = Track("", radii, straight, min(radii), bow=min(bow, MOST_BOW * straight))
        return float(track.edge.length[0, 0]) - inside

    least = abs(radii[0] - radii[1]) + 1e-3
    if excess(least) > 0:
        raise SurveyError("corners beyond the lap")
    return float(brentq(excess, least, inside, xtol=1e-4))


def survey_by_chords(
    ends: tuple[list[tuple[float, float]], list[tuple[float, float]]],
    straight: float | None,
    width: float | None,
    bow: float = 0.0,
    lap: float | None = None,
    offset: float | None = None,
) -> Survey:
    """A track from chords in its ends, and a paced straight or a lap length.

    Parameters
    ----------
    ends : tuple of lists of (chord, gap)
        Turns 1-2 and turns 3-4, m; an empty list takes the other end's.
    straight, width, bow : float
        m.
    lap, offset : float, optional
        Length of a lap and how far outside the inside edge it was measured, m; used when there is
        no straight.
    """
    measured = tuple(average_chords(end) for end in ends if end)
    if not measured:
        raise SurveyError("no chord")
    radii = measured[0].radius, measured[-1].radius
    error, notes = max(end.tolerance for end in measured), tuple[Note, ...]()
    if len(measured) == 1:
        error, notes = float(np.hypot(error, ENDS_DIFFER * radii[0])), (Note("one end taped"),)
    if straight is not None:
        straight_error = PACED_SHARE * straight
    elif lap is not None:
        straight = lap_straight(lap, radii, bow, _along(offset, width))
        lap_error = 0.5 * (LAP_SHARE * lap + _line_doubt(offset, width))
        straight_error = float(np.hypot(lap_error, np.pi * error))
    else:
        raise SurveyError("chords alone")
    tolerance = Tolerance(error, straight_error)
    taped = _taped("chords", radii, straight, width, bow, tolerance)
    unknown = lap is not None and offset is None
    return replace(taped, ends=measured, lap_unknown_line=unknown, notes=notes)


def survey_by_lap(
    lap: float,
    straight: float | None = None,
    width: float | None = None,
    bow: float = 0.0,
    offset: float | None = None,
) -> Survey:
    """A track of equal ends from a lap length, and a paced straight when there is one.

    Parameters
    ----------
    lap, straight, width, bow : float
        m. Without a straight the usual share of the lap is taken, and that is what is not known.
    offset : float or None
        How far outside the inside edge the lap length was measured, m; None when nobody knows,
        and then the middle is taken and the tolerance has room for both edges.
    """
    notes = () if straight is not None else (Note("usual straight"),)
    straight_error = STRAIGHT_SPREAD * lap if straight is None else PACED_SHARE * straight
    straight = USUAL_STRAIGHT * lap if straight is None else straight
    radius = lap_radius(lap, straight, bow, _along(offset, width))
    around = 2.0 * (np.pi - float(straight_turn(straight, bow)))
    errors = 2.0 * straight_error, LAP_SHARE * lap, _line_doubt(offset, width)
    tolerance = Tolerance(float(np.hypot.reduce(errors)) / around, straight_error)
    taped = _taped("lap length", (radius, radius), straight, width, bow, tolerance)
    lines = _lap_lines(lap, straight, width, bow)
    return replace(taped, lap_lines=lines, lap_unknown_line=offset is None, notes=notes)


def _along(offset: float | None, width: float | None) -> float:
    """How far outside the inside edge a lap length is taken to be measured, m."""
    return 0.5 * (width or USUAL_WIDTH) if offset is None else offset


def _line_doubt(offset: float | None, width: float | None) -> float:
    """How much a lap length may be off when nobody knows which line it belongs to, m.

    A lap of either edge is pi widths off that of the middle (Steiner).
    """
    return 0.0 if offset is not None else np.pi * (width or USUAL_WIDTH)


def _lap_lines(lap: float, straight: float, width: float | None, bow: float) -> tuple[LapLine, ...]:
    lines = []
    for name, share in (("inside edge", 0.0), ("middle", 0.5), ("outside edge", 1.0)):
        offset = share * (width or USUAL_WIDTH)
        try:
            radius = lap_radius(lap, straight, bow, offset)
        except SurveyError:
            lines.append(LapLine(name, offset, None))
        else:
            lines.append(LapLine(name, offset, radius))
    return tuple(lines)


def _taped(
    method: str,
    radii: tuple[float, float],
    straight: float,
    width: float | None,
    bow: float,
    tolerance: Tolerance,
) -> Survey:
    plain = Track("", radii, straight, width or 0.0, bow=bow)
    check_measured(plain)
    lap = float(plain.edge.length[0, 0])
    return Survey(method, radii, straight, bow, DEFAULT_BLEND, width, lap, tolerance)
