"""A track as it was measured, as a program asks for it; see `door`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.door import AnyLength
from rollpath.units import parse

if TYPE_CHECKING:
    from rollpath.survey.log import PositionLog
    from rollpath.survey.result import Survey


def survey_by_chords(
    turns_12: Sequence[tuple[AnyLength, AnyLength]],
    turns_34: Sequence[tuple[AnyLength, AnyLength]] = (),
    straight: AnyLength | None = None,
    width: AnyLength | None = None,
    *,
    bow: AnyLength = 0.0,
    lap: AnyLength | None = None,
    from_inside: AnyLength | None = None,
) -> Survey:
    """A track from chords taped in its corners, and a paced straight or a lap length.

    Parameters
    ----------
    turns_12, turns_34 : sequences of (chord, gap)
        m, or trade text such as ``("100 ft", "6 ft 9 in")``; an end left out is taken to be like
        the other, and the give-or-take has room for that.
    straight, width, bow : lengths
    lap : length, optional
        Instead of a straight.
    from_inside : length, optional
        How far outside the inside edge the lap was measured; the middle when nobody knows.
    """
    from rollpath.survey.tape import survey_by_chords as by_chords

    ends = tuple([(far_of(c), far_of(g)) for c, g in end] for end in (turns_12, turns_34))
    return by_chords(
        (ends[0], ends[1]), _far_or_none(straight), _far_or_none(width), far_of(bow),
        _far_or_none(lap), _far_or_none(from_inside),
    )  # fmt: skip


def survey_by_lap(
    lap: AnyLength,
    straight: AnyLength | None = None,
    width: AnyLength | None = None,
    *,
    bow: AnyLength = 0.0,
    from_inside: AnyLength | None = None,
) -> Survey:
    """A track of equal ends from a lap length alone, or with a paced straight.

    Parameters
    ----------
    lap, straight, width, bow, from_inside : lengths
        m, or trade text such as ``3/8 mile``; see `survey_by_chords`.
    """
    from rollpath.survey.tape import survey_by_lap as by_lap

    return by_lap(
        far_of(lap), _far_or_none(straight), _far_or_none(width), far_of(bow),
        _far_or_none(from_inside),
    )  # fmt: skip


def survey_by_log(
    log: PositionLog | str | Path,
    width: AnyLength | None = None,
    *,
    from_inside: AnyLength = 0.0,
) -> Survey:
    """A track from a position log walked or driven along a line parallel to its edges.

    Parameters
    ----------
    log : PositionLog or path
        GPX, or CSV with positions.
    width : length, optional
    from_inside : length
        How far outside the inside edge the line lies.
    """
    from rollpath.files.logs import load_position_log
    from rollpath.survey.measured import survey_by_log as by_log

    read = load_position_log(log) if isinstance(log, str | Path) else log
    return by_log(read, _far_or_none(width), far_of(from_inside))


def far_of(length: AnyLength) -> float:
    """A length on the ground in metres, from trade text when that is what is given."""
    return parse(length, "length") if isinstance(length, str) else float(length)


def _far_or_none(length: AnyLength | None) -> float | None:
    return None if length is None else far_of(length)
