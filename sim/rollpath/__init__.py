"""Rollpath: rear stagger, bite and tire choice for dirt-oval cars with a locked rear axle.

The front door: every job by its name, its room entered when it is first asked for. Each takes
objects or file paths, hands back a frozen result that shows itself as its short screen, and
refuses what cannot be with a `RollpathError`.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.next import next_run
    from rollpath.book.run import Run
    from rollpath.car import Car
    from rollpath.door import baseline, compare, sweep
    from rollpath.door_night import learned_surfaces, night, surface_for_lap_time, tonight
    from rollpath.door_run import debrief, feel
    from rollpath.door_survey import survey_by_chords, survey_by_lap, survey_by_log
    from rollpath.door_tires import choose, plan, weigh
    from rollpath.errors import RollpathError
    from rollpath.feel.answers import Answers
    from rollpath.files.cars import load_car
    from rollpath.files.racks import load_rack
    from rollpath.files.tracks import load_track
    from rollpath.scales.twist import Change
    from rollpath.track import Track

__all__ = [
    "Answers",
    "Book",
    "Car",
    "Change",
    "RollpathError",
    "Run",
    "Track",
    "__version__",
    "baseline",
    "choose",
    "compare",
    "debrief",
    "feel",
    "learned_surfaces",
    "load_car",
    "load_rack",
    "load_track",
    "next_run",
    "night",
    "plan",
    "surface_for_lap_time",
    "survey_by_chords",
    "survey_by_lap",
    "survey_by_log",
    "sweep",
    "tonight",
    "weigh",
]
__version__ = "0.2.0"
_ROOMS = {
    "Answers": "feel.answers",
    "Book": "book.book",
    "Car": "car",
    "Change": "scales.twist",
    "RollpathError": "errors",
    "Run": "book.run",
    "Track": "track",
    "baseline": "door",
    "choose": "door_tires",
    "compare": "door",
    "debrief": "door_run",
    "feel": "door_run",
    "learned_surfaces": "door_night",
    "load_car": "files.cars",
    "load_rack": "files.racks",
    "load_track": "files.tracks",
    "next_run": "book.next",
    "night": "door_night",
    "plan": "door_tires",
    "surface_for_lap_time": "door_night",
    "survey_by_chords": "door_survey",
    "survey_by_lap": "door_survey",
    "survey_by_log": "door_survey",
    "sweep": "door",
    "tonight": "door_night",
    "weigh": "door_tires",
}


class _FrontDoor(ModuleType):
    """The package, whose jobs may be named as the rooms behind them are (``compare``, ``feel``)."""

    def __setattr__(self, name: str, value: Any) -> None:
        # The import system hangs a room on its package when it is first entered; a job of the
        # same name keeps its place (Python reference, "Customizing module attribute access").
        if not (name in _ROOMS and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _FrontDoor


def __getattr__(name: str) -> Any:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"rollpath.{_ROOMS[name]}"), name)


def __dir__() -> list[str]:
    return __all__
