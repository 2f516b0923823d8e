"""Rollpath: rear stagger, bite and tire choice for dirt-oval cars with a locked rear axle."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rollpath.book.book import Book
    from rollpath.book.run import Run
    from rollpath.files.cars import load_car
    from rollpath.files.tracks import load_track
    from rollpath.stagger import baseline

__all__ = ["Book", "Run", "__version__", "baseline", "load_car", "load_track"]
__version__ = "0.1.0"
_ROOMS = {
    "Book": "book.book",
    "Run": "book.run",
    "baseline": "stagger",
    "load_car": "files.cars",
    "load_track": "files.tracks",
}
"""Where each job stands; its room is entered when it is first asked for."""


def __getattr__(name: str) -> Any:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"rollpath.{_ROOMS[name]}"), name)
