"""The jobs as a program calls them: objects or file paths in, a frozen result out.

What is handed in is checked here, so that the rooms below may trust their numbers: a `Track` or a
`Car` made by hand is held to the ranges of its file. Everything refused is a `RollpathError`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from rollpath.car import Car
from rollpath.compare import SORT_KEYS, Comparison, Swept
from rollpath.compare import compare as compared
from rollpath.compare import sweep as swept
from rollpath.errors import RollpathError
from rollpath.files.cars import car_from_values, load_car
from rollpath.files.held import hold_car, hold_track
from rollpath.files.sweeps import read_sweep
from rollpath.files.tracks import load_track
from rollpath.groove.path import GROOVES, Groove
from rollpath.stagger import Baseline
from rollpath.stagger import baseline as worked_out
from rollpath.track import CONDITIONS, DEFAULT_CONDITION, Track
from rollpath.units import INCH, parse

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.run import Page

AnyTrack: TypeAlias = Track | str | Path
AnyCar: TypeAlias = Car | str | Path
AnyLength: TypeAlias = float | str
"""Metres, or trade text such as ``2 1/4 in``."""
FURTHEST_WINDOW = (-8 * INCH, 8 * INCH)
"""Ends that a stagger window may have."""


def track_of(track: AnyTrack) -> Track:
    """A checked track, read from its file when that is what is given.

    Raises
    ------
    RollpathError
        Naming what cannot be: `files.FileError` for a file, `TrackError` for numbers.
    """
    if isinstance(track, str | Path):
        return load_track(track)
    return hold_track(track)


def car_of(car: AnyCar | None) -> Car:
    """A checked car, read from its file when that is what is given; a typical one for None."""
    if isinstance(car, str | Path):
        return load_car(car)
    return car_from_values({"name": "typical car"}) if car is None else hold_car(car)


def runs_of(book: Book | str | Path) -> list[Page]:
    """The runs of a notebook, opened when its path is given.

    Raises
    ------
    RollpathError
        If there is none, or it cannot be read.
    """
    from rollpath.book.book import Book

    if isinstance(book, Book):
        return book.runs()
    if not Path(book).exists():
        raise RollpathError(f"{book}: no notebook there")
    with Book(book) as opened:
        return opened.runs()


def length_of(length: AnyLength) -> float:
    """A taped length in metres, from trade text when that is what is given."""
    return parse(length, "tape") if isinstance(length, str) else float(length)


def baseline(
    track: AnyTrack,
    car: AnyCar | None = None,
    condition: str = DEFAULT_CONDITION,
    groove: str | Groove | None = None,
    *,
    drive_emphasis: float | None = None,
    tire_load: bool = True,
    window: tuple[AnyLength, AnyLength] | None = None,
    grip: float | None = None,
) -> Baseline:
    """The rear stagger to start with on a track, and why.

    Parameters
    ----------
    track : Track or path
    car : Car or path, optional
        A typical full-bodied car when left out.
    condition : str
        State of the surface, such as ``slick``.
    groove : str or Groove, optional
        The line; the one that the condition brings when left out.
    drive_emphasis : float, optional
        0 to 1: 1 is the truest down the straight, 0 the quickest off the corner.
    tire_load : bool
        False leaves out how tires flatten under load.
    window : pair of lengths, optional
        Staggers that the class runs, m or trade text; the car's own when left out.
    grip : float, optional
        Instead of the condition's.

    Returns
    -------
    Baseline
        Printed, it is the short screen.

    Raises
    ------
    RollpathError
        If any of it cannot be; an unknown condition or groove is answered with those there are.
    """
    where, what = track_of(track), car_of(car)
    check_line(groove)
    check_surface(where, condition)
    if grip is not None:
        _check_between("grip", grip, 0.05, 3.0)
    if drive_emphasis is not None:
        _check_between("drive_emphasis", drive_emphasis, 0.0, 1.0)
    return worked_out(
        where, what, condition, groove, tire_load=tire_load, grip=grip,
        window=None if window is None else _window_of(window),
        **({} if drive_emphasis is None else {"drive_emphasis": drive_emphasis}),  # type: ignore[arg-type]
    )  # fmt: skip


def _window_of(window: tuple[AnyLength, AnyLength]) -> tuple[float, float]:
    low, high = map(length_of, window)
    least, most = FURTHEST_WINDOW
    if not least <= low < high <= most:
        raise RollpathError(
            'window: expected two staggers, the lower first, such as ("1 in", "4 in")'
        )
    return low, high


def check_surface(track: Track, condition: str) -> None:
    try:
        track.condition(condition)
    except KeyError:
        known = ", ".join(dict.fromkeys([*CONDITIONS, *track.conditions]))
        raise RollpathError(f'condition: no "{condition}"; there are {known}') from None


def check_line(groove: str | Groove | None) -> None:
    if isinstance(groove, str) and groove not in GROOVES:
        raise RollpathError(f'groove: no "{groove}"; there are {", ".join(GROOVES)}')


def _check_between(name: str, value: float, least: float, most: float) -> None:
    if not least <= value <= most:
        raise RollpathError(f"{name}: expected a number from {least:g} to {most:g}, got {value:g}")


def compare(
    tracks: Sequence[AnyTrack] | AnyTrack,
    cars: Sequence[AnyCar] | AnyCar | None = None,
    conditions: Sequence[str] = tuple(CONDITIONS),
    grooves: Sequence[str | Groove] = (),
    *,
    sort: str | None = None,
) -> Comparison:
    """How tracks, surfaces and lines differ in what they ask for, side by side.

    Parameters
    ----------
    tracks : Track or path, or several
    cars : Car or path, or several; optional
    conditions, grooves : sequence of str
    sort : str, optional
        A key of `compare.SORT_KEYS`.
    """
    for groove in grooves:
        check_line(groove)
    if sort is not None and sort not in SORT_KEYS:
        raise RollpathError(f'sort: no "{sort}"; there are {", ".join(SORT_KEYS)}')
    where = [tracks] if isinstance(tracks, Track | str | Path) else tracks
    what = [cars] if cars is None or isinstance(cars, Car | str | Path) else cars
    return compared(
        [track_of(one) for one in where], [car_of(one) for one in what], conditions, grooves,
        sort=sort,
    )  # fmt: skip


def sweep(
    track: AnyTrack,
    car: AnyCar | None,
    of: str,
    condition: str = DEFAULT_CONDITION,
    groove: str | None = None,
) -> Swept:
    """The recommendation while one number runs through a range.

    Parameters
    ----------
    track : Track or path
    car : Car or path, or None for a typical one
    of : str
        Key, from, to and step, such as ``inside_radius=120ft:260ft:20ft``.
    condition, groove : str
    """
    check_line(groove)
    return swept(track_of(track), car_of(car), read_sweep(of), condition, groove)
