"""A night: the surface going from one state to another, and the line with it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollpath.car import Car
from rollpath.groove.lay import lay_groove
from rollpath.groove.path import FASTEST, Groove
from rollpath.results import Result
from rollpath.stagger import Baseline, baseline
from rollpath.surface import mixed
from rollpath.track import GripBands, Track
from rollpath.units import FloatArray, Real

STEPS = 5
"""Surfaces of a night, first and last with it."""


@dataclass(frozen=True, eq=False)
class Night(Result, told_by="night"):
    """What a track asks for while its surface changes.

    Attributes
    ----------
    first, last : str
        Names of the surfaces it runs between.
    shares : tuple of float
        How far the night has come, 0 to 1.
    steps : tuple of Baseline
    """

    first: str
    last: str
    shares: tuple[float, ...]
    steps: tuple[Baseline, ...]

    @property
    def across(self) -> FloatArray:
        """How far across the track the corners are driven on the mean, a row a step; 0 is inside.

        Columns are turns 1-2 and turns 3-4.
        """
        return np.array([
            [_mean_share(step.groove, end) for end in (step.groove.first_end,
                                                       ~step.groove.first_end)]
            for step in self.steps
        ])  # fmt: skip


def _mean_share(groove: Groove, end: NDArray[np.bool_]) -> float:
    there = groove.turning & end
    weight = groove.ds * there
    return float((groove.share_across * weight).sum() / weight.sum()) if there.any() else 0.5


def night(
    track: Track,
    car: Car,
    first: str = "heavy",
    last: str = "slick",
    bands: GripBands | None = None,
    *,
    groove: str = FASTEST,
    drive_emphasis: float | None = None,
) -> Night:
    """Line, lap time and stagger from one surface to another.

    Parameters
    ----------
    track, car : Track, Car
    first, last : str
        States of the surface.
    bands : GripBands, optional
        Grip across the track at the end of the night, instead of that state's.
    groove : str
        The line of every step; the fastest moves with the surface.
    drive_emphasis : float, optional
        See `stagger.baseline`.

    Raises
    ------
    KeyError
        If a surface or the groove is unknown.
    lap.LapError, track.TrackError
        If a line cannot be laid or driven.
    """
    start, end = track.condition(first), track.condition(last)
    if bands is not None:
        end = replace(end, grip=bands)
    steps: list[Baseline] = []
    shares = tuple(i / (STEPS - 1) for i in range(STEPS))
    how: dict[str, Real] = {} if drive_emphasis is None else {"drive_emphasis": drive_emphasis}
    for share in shares:
        state = mixed(start, end, share)
        # Each from every kind of line: the quickest may jump from the bottom to the top.
        line = lay_groove(track, groove, car, state)
        surfaced = replace(track, conditions={**track.conditions, state.name: state})
        steps.append(baseline(surfaced, car, state.name, line, **how))  # type: ignore[arg-type]
    return Night(first, last, shares, tuple(steps))
