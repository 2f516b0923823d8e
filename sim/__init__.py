"""Rollpath: rear stagger, bite and tire choice for dirt-oval cars with a locked rear axle."""

from sim.files import load_car, load_track
from sim.stagger import baseline

__all__ = ["__version__", "baseline", "load_car", "load_track"]
__version__ = "0.1.0"
