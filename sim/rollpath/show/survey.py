"""A survey told and drawn: words, JSON and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.groove.path import place
from rollpath.screen import TRADE, Screen, degrees, feet
from rollpath.show.picture import (
    PAGE,
    STYLES,
    Picture,
    canvas,
    draw_edges,
    legend_below,
    map_size,
)
from rollpath.show.words import counted, none_or, paragraph, row, sections
from rollpath.survey.log import Note
from rollpath.survey.result import SHAPE_SIZE, LogFit, Survey
from rollpath.track import Track
from rollpath.units import FOOT, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rollpath.survey.result import ChordRadius

# survey


def survey_pictures(survey: Survey, screen: Screen) -> list[Picture]:
    """The surveyed track from above, and the curvature along it when there is a log."""
    if survey.fit is None:
        return [Picture("survey-track", taped_map(survey, screen))]
    return [
        Picture("survey-track", log_map(survey.fit, screen)),
        Picture("survey-curvature", curvature_lines(survey.fit, screen)),
    ]


def taped_map(survey: Survey, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """The oval that a tape found."""
    width = survey.width or 0.0
    track = Track("", survey.inside_radius, survey.straight, width, bow=survey.bow)
    figure, axes = canvas(ax, map_size(track))
    draw_edges(axes, track, screen)
    edge = track.edge
    middles = (edge.starts + 0.5 * edge.blends)[0]
    apexes = np.array([middles[:2].mean(), middles[2:].mean()])
    x, y = place(edge, apexes, -0.5 * min(survey.inside_radius))
    for x_0, y_0, radius, turns in zip(
        x[0], y[0], survey.inside_radius, ("1-2", "3-4"), strict=True
    ):
        axes.text(
            float(screen.lengths(x_0)), float(screen.lengths(y_0)),
            f"turns {turns}\n{screen.distance(radius)}", ha="center", va="center",
        )  # fmt: skip
    axes.set_title(f"From {survey.method}\nlap {screen.distance(survey.lap)} on the inside edge")
    return figure


def log_map(fit: LogFit, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Points, fitted line and edges from above, north up."""
    curves = [fit.inside, fit.line] + ([fit.outside] if fit.outside is not None else [])
    tall = max(float(np.ptp(c.y)) / float(np.ptp(c.x)) for c in curves[-1:])
    figure, axes = canvas(ax, (PAGE[0], min(max(0.84 * PAGE[0] * tall + 1.4, 3.4), 7.2)))
    x_0, y_0 = float(np.mean(fit.inside.x)), float(np.mean(fit.inside.y))

    def draw(x: FloatArray, y: FloatArray, *style: str, **more: Any) -> None:
        axes.plot(screen.lengths(x - x_0), screen.lengths(y - y_0), *style, **more)

    draw(*fit.points, ".", color="0.55", markersize=4, label="points used")
    if len(fit.dropped[0]):
        draw(*fit.dropped, "x", color="#d55e00", markersize=4, label="points left out")
    for edge, label in ((fit.inside, "edges"), (fit.outside, None)):
        if edge is not None:
            draw(edge.x, edge.y, color="0.35", linewidth=1.2, label=label)
    draw(fit.path.x, fit.path.y, **STYLES[1], label="measured path")
    draw(fit.line.x, fit.line.y, **STYLES[0], label="fitted line")
    draw(fit.line.x[:1], fit.line.y[:1], "o", color="black", markersize=8, label="start")
    axes.set_aspect("equal")
    everything = [fit.points, (fit.inside.x, fit.inside.y)] + [(c.x, c.y) for c in curves]
    for set_limits, at, middle in ((axes.set_xlim, 0, x_0), (axes.set_ylim, 1, y_0)):
        low = min(float(np.min(c[at])) for c in everything) - middle
        high = max(float(np.max(c[at])) for c in everything) - middle
        set_limits(*screen.lengths(np.array([low, high]) + np.array([-0.06, 0.06]) * (high - low)))
    unit = screen.length_unit
    ways = ("east", "north") if fit.origin is not None else ("along x", "along y")
    axes.set_xlabel(f"{ways[0]}, {unit}")
    axes.set_ylabel(f"{ways[1]}, {unit}")
    legend_below(ax, figure, [axes])
    axes.set_title(
        f"Position log and the oval {'that fits it' if fit.is_oval else 'nearest to it'}"
    )
    return figure


def curvature_lines(fit: LogFit, screen: Screen = TRADE, ax: Axes | None = None) -> Figure:
    """Curvature along the line: measured and fitted."""
    figure, axes = canvas(ax, (PAGE[0], 4.0))
    for curve, style, label in (
        (fit.path, STYLES[1], "measured path"),
        (fit.line, STYLES[0], "fitted oval"),
    ):
        axes.plot(
            100.0 * curve.s / curve.s[-1], screen.curvatures(curve.curvature), **style, label=label,
        )  # fmt: skip
    axes.set_xlabel("of the lap, from the middle of the front straight, %")
    axes.set_ylabel(f"curvature of the line, {screen.curvature_unit}")
    axes.set_xlim(0, 100)
    legend_below(ax, figure, [axes])
    axes.set_title("Curvature along the lap")
    return figure


NO_OVAL = (
    "No plain oval: {where} it runs {size} {side} the oval, give or take {error}. Use the measured "
    "path as the line (--points) rather than the oval."
)
NO_OVAL_FILES = (
    "rollpath baseline {track} CAR --points {groove} answers there: {groove} is the middle of the "
    "track along the measured path, and {track} lends it a bank and a width."
)
MAYBE_OVAL = (
    "The log cannot tell an oval from a track that runs up to {most} off one {where}; more laps "
    "can."
)
BANK_NOTE = "Bank is not measured here: add it to the track file before you trust a number."
UNKNOWN_LINE = (
    "Nobody says which line this lap length belongs to; a length that is advertised is often none "
    "of these. The middle of the track was taken, and the give or take has room for both edges."
)
_NOTES = {
    "jumps dropped": "{amount:.0f} points were dropped where the position jumped",
    "clockwise": "the log ran clockwise and was turned round to left turns",
    "off the line": "{amount:.0%} of the points were off the line, where no other lap passed, and "
                    "were left out",
    "wild": "{amount:.0%} of the laps lay far from where the other laps went and were left out",
    "doubled": "{amount:.0f} points repeated a time and were averaged with it",
    "times repeat": "the times repeat too often and were not used",
    "one lap": "one lap only, so the give or take is wide: walk or drive three",
    "cut short": "the file ends in the middle; what came before was used",
    "no fix": "{amount:.0f} points without a position were left out",
    "one end taped": "only one end was taped and the other taken to be alike, which the give or "
                     "take has room for: tape both (--chord-34, --gap-34)",
    "usual straight": "no straight was given: the usual share of a lap this long was taken, and "
                      "that is most of the give or take; pace one (--straight)",
}  # fmt: skip
PLACES = (
    "in the middle of the front straight", "at the end of the front straight", "into turn 1",
    "in the middle of turns 1-2", "out of turn 2", "at the start of the back straight",
    "in the middle of the back straight", "at the end of the back straight", "into turn 3",
    "in the middle of turns 3-4", "out of turn 4", "at the start of the front straight",
)  # fmt: skip


def note_words(note: Note) -> str:
    """The sentence for something noticed while a log was read or a tape taken."""
    return _NOTES[note.code].format(amount=note.amount)


def place_words(survey: Survey, share: float) -> str:
    """Where on the lap a share of it from the middle of the front straight is."""
    straight = 0.5 * survey.straight / survey.lap
    knots = [
        0.0, 0.6 * straight, straight, 0.25, 0.5 - straight, 0.5 - 0.6 * straight,
        0.5, 0.5 + 0.6 * straight, 0.5 + straight, 0.75, 1.0 - straight, 1.0 - 0.6 * straight,
    ]  # fmt: skip
    nearest = min(range(12), key=lambda i: abs((share - knots[i] + 0.5) % 1.0 - 0.5))
    return PLACES[nearest]


def survey_json(survey: Survey) -> dict[str, Any]:
    """The result of `survey`; keys end in their unit."""
    fit = survey.fit
    result = {
        "method": survey.method,
        "inside_radius_ft": [feet(radius) for radius in survey.inside_radius],
        "straight_ft": feet(survey.straight),
        "bow_ft": feet(survey.bow),
        "width_ft": none_or(survey.width, feet),
        "lap_ft": feet(survey.lap),
        "residual_ft": none_or(survey.residual, feet),
        "tolerance": {
            "inside_radius_ft": feet(survey.tolerance.inside_radius),
            "straight_ft": feet(survey.tolerance.straight),
        },
        "laps_used": survey.laps_used,
        "notes": [note_words(note) for note in survey.notes],
        "chords": [_end_json(end) for end in survey.ends],
        "lap_lines": {
            line.name.replace(" ", "_"): {"inside_radius_ft": none_or(line.radius, feet)}
            for line in survey.lap_lines
        },
    }
    return result if fit is None else {**result, **_fit_json(survey, fit)}


def _end_json(end: ChordRadius) -> dict[str, Any]:
    from rollpath.survey.tape import chord_advice

    return {
        "inside_radius_ft": feet(end.radius),
        "tolerance_ft": feet(end.tolerance),
        "each_ft": [feet(radius) for radius in end.each],
        "spread_ft": feet(end.spread),
        "per_inch_of_gap_ft": feet(end.by_gap),
        "per_foot_of_chord_ft": feet(end.by_chord),
        "chord_to_lay_ft": feet(chord_advice(end.radius)),
    }


def _fit_json(survey: Survey, fit: LogFit) -> dict[str, Any]:
    result = {
        "is_oval": fit.is_oval,
        "bulge_ft": feet(fit.departure.size),
        "bulge_give_or_take_ft": feet(fit.departure.error),
        "bulge_at": place_words(survey, fit.departure.share),
        "blend_ft": feet(survey.blend),
        "heading_deg": compass(fit.heading),
        "drift": {"sd_ft": feet(fit.drift[0]), "time_s": fit.drift[1]},
    }
    if fit.origin is None:
        return {**result, "centre_ft": [feet(value) for value in fit.centre]}
    # As text, because six figures of a latitude are 11 m.
    latitude, longitude = fit.centre
    return {**result, "centre_latitude_longitude_deg": f"{latitude:.7f}, {longitude:.7f}"}


def short_screen(survey: Survey, screen: Screen = TRADE) -> str:
    """A survey for a racer, nothing written."""
    return survey_screen(survey, (), screen)


def survey_screen(survey: Survey, written: Sequence[Path], screen: Screen) -> str:
    """The result of `survey` for a racer: the track and how sure; with ``--full`` how it came."""
    notes = _survey_notes(survey, screen)
    parts = [_survey_answer(survey, written, screen), _survey_size(survey, screen)]
    if screen.full:
        parts += [
            [line for end in survey.ends for line in _end_lines(end, survey, screen)],
            _line_lines(survey, screen),
            _fit_lines(survey, screen),
        ]
        return sections([*parts, [paragraph(note) for note in notes]], screen)
    parts.append([line for end in survey.ends for line in _better_lines(end, survey, screen)])
    return sections([*parts, [paragraph(note) for note in [*notes[:-1][:2], notes[-1]]]], screen)


def _better_lines(end: ChordRadius, survey: Survey, screen: Screen) -> list[str]:
    """What an inch of gap is worth, and how to make it worth less."""
    from rollpath.survey.tape import GAP_ERROR, chord_advice

    name = "both ends"
    if len(survey.ends) == 2:
        name = "turns 1-2" if end is survey.ends[0] else "turns 3-4"
    lines = [row(f"{screen.tape(GAP_ERROR)} more gap, {name}",
                 f"radius {_change(end.by_gap, screen)}")]  # fmt: skip
    if end.chord < 0.95 * chord_advice(end.radius):
        lines.append(row("better", f"a chord of {screen.distance(chord_advice(end.radius))}"))
    return lines


def _survey_answer(survey: Survey, written: Sequence[Path], screen: Screen) -> list[str]:
    first, last = (screen.distance(radius) for radius in survey.inside_radius)
    both = f"{first} both ends" if first == last else f"{first} turns 1-2, {last} turns 3-4"
    lines = [f"Inside radius: {both}; straight: {screen.distance(survey.straight)}"]
    if survey.fit is not None and not survey.fit.is_oval:
        lines.append(paragraph(_no_oval(survey, screen)))
        tracks = [path for path in written if path.suffix != ".csv"]
        grooves = [path for path in written if path.stem.endswith("-groove")]
        if tracks and grooves:
            lines.append(paragraph(NO_OVAL_FILES.format(track=tracks[0], groove=grooves[0])))
    return [*lines, *(f"  written: {path}" for path in written)]


def _no_oval(survey: Survey, screen: Screen) -> str:
    """Where a track departs from every oval, by how much, and how well that is known."""
    assert survey.fit is not None
    off = survey.fit.departure
    return NO_OVAL.format(
        where=place_words(survey, off.share), size=screen.distance(abs(off.size)),
        side="outside" if off.size > 0 else "inside", error=screen.distance(off.error),
    )  # fmt: skip


def _survey_size(survey: Survey, screen: Screen) -> list[str]:
    radius, straight = survey.tolerance.inside_radius, survey.tolerance.straight
    width = "not given" if survey.width is None else screen.distance(survey.width)
    laps = [] if survey.laps_used is None else [row("laps used", f"{survey.laps_used}")]
    return [
        "Nine times in ten within the give or take:",
        row("radius, give or take", screen.distance(radius, 1)),
        row("straight, give or take", screen.distance(straight, 1)),
        row("straights bow out", screen.distance(survey.bow, 1)),
        row("width", width),
        row("lap along the inside edge", screen.distance(survey.lap)),
        *laps,
    ]


def _end_lines(end: ChordRadius, survey: Survey, screen: Screen) -> list[str]:
    from rollpath.survey.tape import CHORD_ERROR, GAP_ERROR, chord_advice

    name = "both ends"
    if len(survey.ends) == 2:
        name = "turns 1-2" if end is survey.ends[0] else "turns 3-4"
    advice, inch, foot = (
        chord_advice(end.radius), screen.tape(GAP_ERROR), screen.distance(CHORD_ERROR)
    )  # fmt: skip
    better = f"lay about {screen.distance(advice)}: then {inch} of gap is 1 % of the radius"
    if end.chord > 0.95 * advice:
        better = "this chord is long enough; lay it again elsewhere in the corner and compare"
    lines = [
        f"Chords, {name}:",
        row(f"{inch} more of gap", f"radius {_change(end.by_gap, screen)}"),
        row(f"{foot} more of chord", f"radius {_change(end.by_chord, screen)}"),
        row("next time", better),
    ]
    if len(end.each) > 1:
        each = ", ".join(screen.distance(radius) for radius in end.each)
        lines.insert(1, row("each chord", f"{each}; spread {screen.distance(end.spread, 1)}"))
    return lines


def _change(metres: float, screen: Screen) -> str:
    return f"{'+' if metres > 0 else '-'}{screen.distance(abs(metres), 1)}"


def _line_lines(survey: Survey, screen: Screen) -> list[str]:
    if not survey.lap_lines:
        return []
    lines = ["If the lap length was measured along the"]
    for line in survey.lap_lines:
        if line.radius is None:
            lines.append(row(line.name, "nothing is left for the corners"))
            continue
        along = screen.distance(line.radius + line.offset)
        lines.append(
            row(line.name, f"inside radius {screen.distance(line.radius)} ({along} along it)")
        )
    return lines


def _fit_lines(survey: Survey, screen: Screen) -> list[str]:
    fit = survey.fit
    if fit is None:
        return []
    assert survey.residual is not None
    sd, forgets = fit.drift
    middle = "" if fit.origin is None else f", middle {fit.centre[0]:.5f}, {fit.centre[1]:.5f}"
    return [
        "From the log:",
        row("points off the oval", f"{screen.distance(survey.residual, 1)} root mean square"),
        row("drift of the receiver", f"{screen.distance(sd, 1)}, lasting about {forgets:.0f} s"),
        row("blend", f"{screen.distance(survey.blend)} (a log says little about it)"),
        row("front straight heads", f"{compass(fit.heading):.0f} deg from north{middle}"),
    ]


TAPE_HELP = (
    "Lay the tape as a chord inside the corner, both ends on the inside edge, and measure the gap "
    "from its middle to the edge. Enter skips."
)


def chord_words(chord: float, screen: Screen) -> str:
    """What an inch of the gap of a chord will be worth, in a typical corner and in a small one."""
    from rollpath.survey.tape import GAP_ERROR, chord_gap, chord_radius_errors

    worth = [
        f"{screen.distance(abs(chord_radius_errors(chord, chord_gap(chord, R))[0]), 1)} in a "
        f"corner of {screen.distance(R)}"
        for R in (100 * FOOT, 200 * FOOT) if chord < 2 * R
    ]  # fmt: skip
    if not worth:
        return "  That is longer than most corners are wide; a shorter one reads as well."
    return f"  {screen.tape(GAP_ERROR)} of its gap will be worth {', '.join(worth)}."


def gap_words(chord: float, gap: float, screen: Screen) -> str:
    """The radius so far, and what the next inch does to it."""
    from rollpath.survey.log import SurveyError
    from rollpath.survey.tape import GAP_ERROR, chord_advice, chord_radius, chord_radius_errors

    try:
        radius = chord_radius(chord, gap)
    except SurveyError:
        return "  That gap is none of this chord; the end of the questions says why."
    inch = _change(chord_radius_errors(chord, gap)[0], screen)
    better = chord_advice(radius)
    more = ""
    if chord < 0.95 * better:
        more = f" A chord of {screen.distance(better)} would make it 1 %."
    return (
        f"  Inside radius {screen.distance(radius)}; {screen.tape(GAP_ERROR)} more of gap makes it "
        f"{inch}.{more}"
    )


def straight_words(straight: float, screen: Screen) -> str:
    """What a paced straight is known to, and what that is worth."""
    from rollpath.survey.tape import GAP_ERROR, PACED_SHARE

    step = screen.distance(PACED_SHARE * straight)
    return (
        f"  Paced, it is known to about {step}; {screen.tape(GAP_ERROR)} of it is "
        f"{screen.tape(2 * GAP_ERROR)} of the lap and nothing else."
    )


def compass(heading: float) -> float:
    """Degrees clockwise from north of a heading counted from east, rad."""
    return float((90.0 - degrees(heading)) % 360.0)


def _survey_notes(survey: Survey, screen: Screen) -> list[str]:
    notes = [f"Note: {note_words(note)}." for note in survey.notes]
    if survey.fit is not None and survey.fit.is_oval:
        off = survey.fit.departure
        if max(off.error, abs(off.size)) > SHAPE_SIZE:  # no oval may hide behind its error
            most = screen.distance(abs(off.size) + off.error)
            where = place_words(survey, off.share)
            notes.append(f"Note: {MAYBE_OVAL.format(most=most, where=where)}")
    if survey.lap_unknown_line:
        notes.append(f"Note: {UNKNOWN_LINE}")
    return [*notes, BANK_NOTE]


def survey_remarks(survey: Survey) -> list[str]:
    """Comment lines for the head of a track file."""
    how = survey.method
    if survey.laps_used:
        how += f", {counted(survey.laps_used, 'lap')}"
    remarks = [f"Measured: {how}. Tolerances hold about nine times in ten."]
    if survey.fit is not None and not survey.fit.is_oval:
        remarks.append("No plain oval: use the measured path as the groove (--points).")
    return [*remarks, "Bank was not measured; add: bank: {corners: 10 deg, straights: 2 deg}"]
