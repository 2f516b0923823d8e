"""A groove of a track by its name."""

import numpy as np

from rollpath.groove.free import (
    DIAMOND_SHARPNESS,
    DIAMOND_ZONE,
    SPLINE_KNOTS,
    diamond_groove,
    rounded_groove,
)
from rollpath.groove.parallel import parallel_groove
from rollpath.groove.path import STATIONS, Groove, offset_limits
from rollpath.track import Track
from rollpath.units import Real


def make_groove(
    track: Track,
    name: str,
    car_width: Real,
    stations: int = STATIONS,
    zone: float = DIAMOND_ZONE,
    sharpness: float = DIAMOND_SHARPNESS,
    knots: int = SPLINE_KNOTS,
) -> Groove:
    """A groove by its name.

    Parameters
    ----------
    track : Track
    name : str
        One of `GROOVES`.
    car_width : float
        Over the body, m; half of it and `SPARE` are kept off both edges.
    stations : int
    zone, sharpness : float
        Of the diamond: see `diamond_groove`.
    knots : int
        Of a free groove: about how many coefficients its spline has.

    Raises
    ------
    TrackError
        If the car does not fit between the edges.
    """
    least, most = offset_limits(track, car_width)
    if name == "rounded":
        return rounded_groove(track, car_width, stations, knots)
    if name == "diamond":
        return diamond_groove(track, car_width, stations, zone, sharpness, knots)
    offsets = {"low": least, "middle": 0.5 * np.asarray(track.width), "high": most}
    return parallel_groove(track, offsets[name], name, stations)
