"""What the lap times of a notebook say of the surfaces of one track.

Every best lap is the grip with which the model takes that time. The nights on which a surface had
one name scatter about that surface's grip; what is wrong with the car file, the track file and the
model is wrong every night alike, and no number of nights shrinks it.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from rollpath.book.lessons import same_track
from rollpath.book.run import Page, Run, evening_of
from rollpath.car import Car
from rollpath.groove.lay import lay_groove
from rollpath.groove.path import GROOVES
from rollpath.lap import LapError, solve_lap
from rollpath.results import Result
from rollpath.surface import LEAST_GRIP, MOST_GRIP, StopwatchError, grip_for_lap_time
from rollpath.track import CONDITIONS, Condition, GripBands, Track
from rollpath.units import FloatArray

FEWEST_NIGHTS = 2
"""With fewer nothing is said of a surface."""
NIGHT_SCATTER = 0.05
"""By which the grip of one word differs from night to night, one standard deviation, before any
night is seen. Engineering judgement."""
SCATTER_KNOWN = 4.0
"""Nights that this guess of the scatter counts for."""
MODEL_DOUBT = 0.08
"""Share by which a grip found by lap time may be off because a car and a driver are not the model,
nine times in ten. Engineering judgement; held against another lap model in the tests."""
GRID = 23
"""Grips whose laps are worked out, to read the others between."""


@dataclass(frozen=True)
class LearnedSurface:
    """The grip of one surface of one track, by the laps driven on it.

    Attributes
    ----------
    name : str
    grip : float
        Mean over the nights, and over the width.
    give_or_take : float
        Nine times in ten.
    filed : float
        What the track file says, or the usual.
    nights, laps : int
        That it rests on.
    """

    name: str
    grip: float
    give_or_take: float
    filed: float
    nights: int
    laps: int

    @property
    def differs(self) -> bool:
        """Whether the file's grip lies outside the interval."""
        return abs(self.grip - self.filed) > self.give_or_take


@dataclass(frozen=True, eq=False)
class LearnedSurfaces(Result, told_by="surface_learned"):
    """The surfaces of a track by the laps of one car; one without enough nights is not there."""

    track: Track
    car: Car
    surfaces: tuple[LearnedSurface, ...]

    def on(self, name: str) -> LearnedSurface | None:
        """What was learned of a surface."""
        return next((one for one in self.surfaces if one.name == name), None)

    @property
    def learned_track(self) -> Track:
        """The track with what was surely learned instead of what is filed."""
        track = self.track
        for one in self.surfaces:
            track = with_learned(track, one) if one.differs else track
        return track


def with_learned(track: Track, one: LearnedSurface) -> Track:
    """A track with one surface as the laps have it; bands keep their shape."""
    state = track.condition(one.name)
    moved = replace(state, grip=state.grip * (one.grip / one.filed))
    return replace(track, conditions={**track.conditions, one.name: moved})


def learned_surfaces(pages: Iterable[Page], track: Track, car: Car) -> LearnedSurfaces:
    """The grips of a track's own surfaces, from the best laps in a notebook.

    Parameters
    ----------
    pages : iterable of Page
        Runs of other tracks and cars, and those that do not count, are passed over.
    track, car : Track, Car
    """
    by_surface: dict[str, dict[object, list[Run]]] = {}
    for page in pages:
        run = page.run
        if run.counts == "no" or run.best_lap is None or run.condition not in CONDITIONS:
            continue
        if same_track(run.track, track.name) and run.car == car.name:
            nights = by_surface.setdefault(run.condition, {})
            nights.setdefault(evening_of(run.when), []).append(run)
    found = (_learned(track, car, name, nights) for name, nights in by_surface.items())
    return LearnedSurfaces(track, car, tuple(one for one in found if one is not None))


def _learned(
    track: Track, car: Car, name: str, nights: dict[object, list[Run]]
) -> LearnedSurface | None:
    state = track.condition(name)
    curves: dict[str, tuple[FloatArray, FloatArray]] = {}
    means, laps, last = [], 0, 0.0
    for runs in nights.values():
        grips = []
        for run in runs:
            line = run.groove if run.groove in GROOVES else state.groove
            if line not in curves:
                curves[line] = _times(track, car, state, line)
            times, known = curves[line]
            lap = float(run.best_lap or 0.0)
            if times.size and times[0] <= lap <= times[-1]:
                grips.append(float(np.interp(lap, times, known)))
                last = lap
        if grips:
            means.append(float(np.median(grips)))
            laps += len(grips)
    if len(means) < FEWEST_NIGHTS:
        return None
    grip = float(np.mean(means))
    off = math.hypot(_scatter(means), _common(track, car, state, last) * grip)
    return LearnedSurface(name, grip, off, float(state.mean_grip), len(means), laps)


def _times(track: Track, car: Car, state: Condition, line: str) -> tuple[FloatArray, FloatArray]:
    """Lap times, rising, and the mean grips that give them, on one line."""
    path = lay_groove(track, line, car, state)
    times, grips = [], []
    for grip in np.linspace(MOST_GRIP, LEAST_GRIP, GRID):
        there: float | GripBands = grip
        if isinstance(state.grip, GripBands):
            there = state.grip * (grip / float(state.mean_grip))
        try:
            times.append(float(solve_lap(path, car, replace(state, grip=there)).time))
        except LapError:
            break
        grips.append(float(grip))
    return np.array(times), np.array(grips)


def _scatter(means: list[float]) -> float:
    """How far the mean of some nights may be off, nine times in ten: Student's t, with the usual
    scatter as a few nights seen before (Gelman et al., Bayesian Data Analysis, sec. 3.3)."""
    from scipy.stats import t

    n = len(means)
    known = SCATTER_KNOWN + n - 1
    squares = SCATTER_KNOWN * NIGHT_SCATTER**2 + float(np.var(means) * n)
    return float(t.ppf(0.95, known) * math.sqrt(squares / known / n))


def _common(track: Track, car: Car, state: Condition, lap_time: float) -> float:
    """Share of the grip that is off every night alike, nine times in ten."""
    try:
        timed = grip_for_lap_time(track, car, state, None, lap_time)
    except StopwatchError:
        return MODEL_DOUBT
    alike = [doubt for name, doubt in timed.doubts.items() if name != "watch"]
    return math.hypot(MODEL_DOUBT, *(doubt / timed.grip for doubt in alike))
