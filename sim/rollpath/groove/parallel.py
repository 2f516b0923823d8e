"""Grooves at a constant distance from the inside edge."""

import numpy as np

from rollpath.groove.path import STATIONS, Groove, groove_from_offset
from rollpath.track import Track
from rollpath.units import Real


def parallel_groove(
    track: Track, offset: Real, name: str = "parallel", stations: int = STATIONS
) -> Groove:
    """The line at a constant distance from the inside edge [1]_.

    Parameters
    ----------
    track : Track
        Numeric fields scalar, or of shape (cases,) for a sweep.
    offset : float or ndarray, shape (cases,)
        m, outward.

    Returns
    -------
    Groove
        Arrays of shape (n,), or (cases, n) when any input is an array.
    """
    edge = track.edge
    swept = len(edge.length) > 1 or np.ndim(offset) > 0
    q = np.asarray(offset, dtype=float)[..., None]
    ends = edge.length * np.linspace(0.0, 1.0, stations + 1)
    turned = np.diff(edge.heading(ends), axis=-1)
    along = np.diff(ends, axis=-1)
    return groove_from_offset(name, edge, ends, along + q * turned, turned, q, swept)
