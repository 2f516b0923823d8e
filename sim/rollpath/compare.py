"""Cases side by side: tracks, surfaces, lines and cars, or one number run through a range."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from rollpath.car import Car
from rollpath.errors import RollpathError
from rollpath.groove.free import DIAMOND_SHARPNESS, DIAMOND_ZONE
from rollpath.groove.lay import lay_groove
from rollpath.groove.path import FASTEST, FREE_GROOVES, Groove
from rollpath.results import Result
from rollpath.stagger import Baseline, baseline
from rollpath.track import CONDITIONS, DEFAULT_CONDITION, Track, check_track
from rollpath.units import FloatArray, Real, per_inch

Each = Callable[[Sequence[Any]], Iterable[Any]]
"""What walks through the cases; a command shows how far it is."""


@dataclass(frozen=True, eq=False)
class Comparison(Result, told_by="compare"):
    """Baselines of several cases, in the order asked for."""

    rows: tuple[Baseline, ...]


SORT_KEYS: dict[str, Callable[[Baseline], Any]] = {
    "stagger": lambda result: float(result.stagger.unbounded),
    "track": lambda result: result.track.name,
    "condition": lambda result: list(CONDITIONS).index(result.condition.name),
    "groove": lambda result: result.groove.name,
    "lap": lambda result: float(result.groove.length),
    "time": lambda result: float(result.lap.time),
    "scrub": lambda result: float(result.then.lap),
}


def compare(
    tracks: Sequence[Track],
    cars: Sequence[Car],
    conditions: Sequence[str] = tuple(CONDITIONS),
    grooves: Sequence[str | Groove] = (),
    *,
    recorded: Sequence[Groove | None] = (),
    sort: str | None = None,
    each: Each = iter,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
) -> Comparison:
    """Every track with every car, surface and line.

    Parameters
    ----------
    tracks, cars : sequence of Track, of Car
    conditions : sequence of str
        States of the surface.
    grooves : sequence of str or Groove
        Lines; when left out the one that each condition brings.
    recorded : sequence of Groove or None
        A line recorded on each track, added to the others.
    sort : str, optional
        A key of `SORT_KEYS`.
    each : callable
        Walks through the cases.
    zone, sharpness : float
        Of a diamond; see `groove.lay.make_groove`.
    """
    laid: dict[tuple[str, ...], Groove] = {}
    rows = []
    for track, car, condition, groove in each(_cases(tracks, cars, conditions, grooves, recorded)):
        path = groove
        if not isinstance(groove, Groove):
            key = (track.name, groove, *((car.name, condition) if groove == FASTEST
                   else (str(car.width),)))  # fmt: skip
            path = laid[key] = laid.get(key) or lay_groove(
                track, groove, car, track.condition(condition), zone=zone, sharpness=sharpness
            )
        rows.append(baseline(track, car, condition, path))
    return Comparison(tuple(rows if sort is None else sorted(rows, key=SORT_KEYS[sort])))


Case = tuple[Track, Car, str, "Groove | str"]
"""Track, car, condition, and the groove or its name."""


def _cases(
    tracks: Sequence[Track],
    cars: Sequence[Car],
    conditions: Sequence[str],
    grooves: Sequence[str | Groove],
    recorded: Sequence[Groove | None],
) -> list[Case]:
    lines = recorded or [None] * len(tracks)
    return [
        (track, car, condition, groove)
        for track, line in zip(tracks, lines, strict=True)
        for car in cars
        for condition in conditions
        for groove in [
            *(grooves or ([] if line else [track.condition(condition).groove])),
            *([line] if line else []),
        ]
    ]


# One number through a range

_SHAPE_KEYS = ("inside_radius", "straight", "width", "bow", "bank", "blend")
"""Keys of a track that move its edges or its bank."""
IN_PAIRS = ("inside_radius", "springs.front_wheel_rate", "springs.rear_rate")
"""Keys that hold one value for each end or side."""
_PLACES = {
    "jacks.thread": "jack_thread",
    **{
        f"{axle}.{side}.rollout": f"{axle}.{side}_rollout"
        for axle in ("front", "rear")
        for side in ("left", "right")
    },
}
"""Keys that a file groups otherwise than the object does."""
_PER_INCH = "bite_per_inch"
Thing = TypeVar("Thing", Track, Car)


def place_of(key: str) -> list[str]:
    """The attributes that lead to what a file calls by a dotted key, outermost first.

    Parameters
    ----------
    key : str
        Such as ``rear.left.rollout``.
    """
    return _PLACES.get(key, key).split(".")


class SweepError(RollpathError):
    """A number that is not there to be swept."""


@dataclass(frozen=True)
class Sweep:
    """One number of a track or a car, run through a range.

    Attributes
    ----------
    key : str
        Dotted, as in the file, such as ``bank.corners``.
    of : str
        track or car.
    values : ndarray, shape (cases,)
        SI.
    kind : str
        A key of `units.KINDS`, or ``number``.
    """

    key: str
    of: str
    values: FloatArray
    kind: str

    @property
    def changes_the_line(self) -> bool:
        """Whether a free groove must be found anew for each case."""
        return self.key.split(".")[0] in _SHAPE_KEYS or self.key.endswith("track_width")

    def put(self, thing: Thing, value: Real) -> Thing:
        """The track or car with a value in place of the one number.

        Parameters
        ----------
        thing : Track or Car
        value : float or ndarray, shape (cases,)
            SI; of a rate per inch of stagger what is given for each inch.

        Raises
        ------
        SweepError
            If it belongs to a group that the car does not have.
        """
        if self.key.startswith(_PER_INCH):
            value = per_inch(value)
        changed: Thing = self._put(thing, place_of(self.key), value)
        return changed

    def _put(self, thing: Any, path: list[str], value: Real) -> Any:
        name, *rest = path
        if thing is None:
            raise SweepError(f"the {self.of} has no {self.key.split('.')[0]} to sweep")
        if isinstance(thing, dict):  # the surfaces of a track, which may name some of all
            return {**thing, name: self._put(thing.get(name, CONDITIONS[name]), rest, value)}
        if rest:
            return replace(thing, **{name: self._put(getattr(thing, name), rest, value)})
        return replace(thing, **{name: (value, value) if self.key in IN_PAIRS else value})


CHUNK = 128
"""Cases of a sweep that are worked out at once: what all of them hold is then some 50 MB."""


@dataclass(frozen=True, eq=False)
class Swept(Result, told_by="compare"):
    """What a sweep found.

    Attributes
    ----------
    sweep : Sweep
    case : Baseline
        One of its points, for the names.
    rows : dict of str to ndarray, shape (cases,)
        SI: `SWEEP_FIGURES` for each swept value.
    """

    sweep: Sweep
    case: Baseline
    rows: dict[str, FloatArray]


SWEEP_FIGURES: dict[str, Callable[[Baseline], Real]] = {
    "recommended": lambda result: result.stagger.recommended,
    "optimum": lambda result: result.stagger.optimum,
    "unbounded": lambda result: result.stagger.unbounded,
    "band_low": lambda result: result.stagger.band[0],
    "band_high": lambda result: result.stagger.band[1],
    "loaded_corner_1": lambda result: result.stagger.loaded_corner[0],
    "loaded_corner_2": lambda result: result.stagger.loaded_corner[1],
    "scrub": lambda result: result.then.lap,
    "lap": lambda result: result.groove.length,
    "time": lambda result: result.lap.time,
}


def sweep(
    track: Track,
    car: Car,
    of: Sweep,
    condition: str = DEFAULT_CONDITION,
    groove: str | None = None,
    *,
    each: Each = iter,
) -> Swept:
    """The recommendation while one number of the track or the car runs through a range.

    Parameters
    ----------
    track, car : Track, Car
    of : Sweep
    condition, groove : str
    each : callable
        Walks through the cases that must be worked out one by one.

    Raises
    ------
    SweepError
        If the car lacks what is to be swept.
    track.TrackError
        If a case makes no oval.
    """
    name = groove or track.condition(condition).groove
    one_by_one = name == FASTEST or (name in FREE_GROOVES and of.changes_the_line)
    values = np.asarray(of.values, dtype=float)
    chunks: list[Real] = (
        [float(value) for value in values] if one_by_one
        else [values[start : start + CHUNK] for start in range(0, len(values), CHUNK)]
    )  # fmt: skip
    first: Baseline | None = None
    rows: dict[str, list[FloatArray]] = {name: [] for name in SWEEP_FIGURES}
    for value in each(chunks):
        one, other = (
            (of.put(track, value), car) if of.of == "track" else (track, of.put(car, value))
        )
        check_track(one)
        # Of the laps only the figures are kept: a lap of every case would fill the memory.
        point = baseline(one, other, condition, name)
        first = first or point
        for key, figure in SWEEP_FIGURES.items():
            rows[key].append(np.broadcast_to(figure(point), np.shape(value) or (1,)))
    assert first is not None
    return Swept(of, first, {key: np.concatenate(found) for key, found in rows.items()})
