"""What his runs say, plainly: by stagger, track, surface and part of the night."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from rollpath.book.lessons import driver_says
from rollpath.book.nights import Night, counted_lap
from rollpath.book.run import Page, Run
from rollpath.units import EIGHTH

Key = float | str


@dataclass(frozen=True)
class Line:
    """Runs that have something in common.

    Attributes
    ----------
    key : float or str
        Rear stagger to the nearest eighth, m; or a name.
    runs : int
    gain : float
        How much quicker they were than the other runs of their night on that surface, s, mean;
        nan without laps to compare.
    more, leave, less : int
        How often the driver asked for that.
    """

    key: Key
    runs: int
    gain: float
    more: int
    leave: int
    less: int


def gains(all_nights: Iterable[Night]) -> dict[str, float]:
    """By key of the page: mean lap of that night's other runs on that surface less its own, s.

    A run that does not count, has no lap or is alone has none. Where one of them has no typical
    lap the best laps are compared.
    """
    found: dict[str, float] = {}
    for night in all_nights:
        surfaces: dict[str | None, list[Page]] = {}
        for page in night.runs:
            if page.run.counts != "no" and not math.isnan(counted_lap(page.run)):
                surfaces.setdefault(page.run.condition, []).append(page)
        for pages in surfaces.values():
            found |= _gains(pages)
    return found


def _gains(pages: Sequence[Page]) -> dict[str, float]:
    typical = all(page.run.typical_lap is not None for page in pages)
    laps = {
        page.key: page.run.typical_lap if typical else page.run.best_lap
        for page in pages
    }  # fmt: skip
    known = {key: lap for key, lap in laps.items() if lap is not None}
    total, others = sum(known.values()), len(known) - 1
    return {key: (total - lap) / others - lap for key, lap in known.items()} if others else {}


def by_stagger(run: Run) -> Key | None:
    stagger = run.rear_stagger
    return None if stagger is None else round(stagger / EIGHTH) * EIGHTH


def by_track(run: Run) -> Key | None:
    return run.track.strip()


def by_session(run: Run) -> Key | None:
    """Hot laps, heat, feature: the part of the night."""
    return None if run.session is None else run.session.strip().casefold()


def lines_by(
    key_of: Callable[[Run], Key | None], pages: Iterable[Page], gain: dict[str, float]
) -> list[Line]:
    """One line for each key, in order; runs without one, or that do not count, are left out."""
    groups: dict[Key, list[Page]] = {}
    for page in pages:
        key = key_of(page.run)
        if key is not None and page.run.counts != "no":
            groups.setdefault(key, []).append(page)
    return [_line(key, groups[key], gain) for key in sorted(groups, key=_order)]


def _order(key: Key) -> tuple[float, str]:
    return (key, "") if isinstance(key, float | int) else (0.0, key)


def _line(key: Key, pages: Sequence[Page], gain: dict[str, float]) -> Line:
    told = [gain[page.key] for page in pages if page.key in gain]
    said = [driver_says(page.run) for page in pages]
    mean = sum(told) / len(told) if told else math.nan
    return Line(key, len(pages), mean, said.count(1), said.count(0), said.count(-1))
