"""What was read from recorded laps."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollpath.axle.rolling import NeededStagger
from rollpath.feel.lap import Feel
from rollpath.lap import PHASES, Lap
from rollpath.runlog.laps import BINS, Laps
from rollpath.stagger import Recommendation, recommend
from rollpath.survey.log import Note
from rollpath.track import Condition
from rollpath.units import INCH, FloatArray

LEAST_SPEED = 3.0
"""m/s; slower is no lap at speed."""

# How well things are known before the log is read. Engineering judgement, one standard deviation.

TAPE_DOUBT = 0.35 * INCH
"""Running stagger against the taped: growth, pressure, a tape mark."""
MOST_APART = 1.4
"""Most that the tires are softer, or the surface grips more or less, than the model has them:
beyond, something else is wrong."""
GEAR_FAULT = 0.05
"""Slip with no thrust, as a share, from which the gear ratio is doubted."""


# The laps driven, as a lap of the model


@dataclass(frozen=True)
class Recording:
    """The comparable laps as one lap, and what the model makes of it; SI.

    Attributes
    ----------
    laps : Laps
    lap : Lap
        At the recorded speed.
    needed : NeededStagger
        Along the driven path.
    best : Recommendation
        For the quickest lap of the driven path that the surface allows: laps driven with something
        in hand ask for a little less, see `as_driven`.
    feel : Feel
        The model driven along the same lap with the stagger as taped, and a little either side.
    condition : Condition
        With the grip raised where the laps asked for more.
    slip : Slip or None
    wheel : Wheel or None
    notes : tuple of Note
    """

    laps: Laps
    lap: Lap
    needed: NeededStagger
    best: Recommendation
    feel: Feel
    condition: Condition
    slip: "Slip | None" = None
    wheel: "Wheel | None" = None
    notes: tuple[Note, ...] = ()

    @property
    def as_driven(self) -> float:
        """Stagger of least cost for the laps at the speed they were driven, m."""
        best = recommend(self.lap, self.needed, self.feel.car, self.condition)
        return float(best.unbounded)

    @property
    def exit(self) -> NDArray[np.bool_]:
        """Stations where the driver drives off a corner: by the throttle where it was recorded."""
        leaving: NDArray[np.bool_] = self.feel.lap.phase == PHASES.index("drive-off")
        throttle = self.laps.log.throttle
        if throttle is None:
            return leaving
        pressed = leaving & (self.by_station(self.laps.binned(throttle)) >= self.half_throttle)
        return pressed if pressed.any() else leaving

    @property
    def half_throttle(self) -> float:
        """Half of the most throttle of the lap, which parts driving from rolling; NaN for none."""
        throttle = self.laps.log.throttle
        return math.nan if throttle is None else 0.5 * float(np.nanmax(self.laps.binned(throttle)))

    def by_station(self, binned: FloatArray) -> FloatArray:
        """Bins brought back to the stations of the lap."""
        seen = np.flatnonzero(np.isfinite(binned))
        length = float(self.lap.groove.length)
        at = (seen + 0.5) / BINS * length
        values: FloatArray = np.interp(self.lap.groove.s, at, binned[seen], period=length)
        return values

    def by_bin(self, stations: FloatArray) -> FloatArray:
        """Stations averaged in bins, along the last axis."""
        bins = (self.lap.groove.s / float(self.lap.groove.length) * BINS).astype(np.intp)
        starts = np.searchsorted(np.clip(bins, 0, BINS - 1), np.arange(BINS))
        count = np.diff(np.append(starts, stations.shape[-1]))
        sums: FloatArray = np.add.reduceat(stations, starts, axis=-1)
        return sums / count


STEP = 0.25 * INCH
"""Change of stagger over which the model's steering is differenced."""


@dataclass(frozen=True)
class Slip:
    """Slip of the rear treads: rolling speed less car speed, over rolling speed.

    Attributes
    ----------
    along : ndarray, shape (BINS,)
        As recorded, a wrong gear ratio taken out.
    model : ndarray, shape (BINS,)
    exit, straight : float
        Mean of `along` there.
    with_no_thrust : float
        What is left as recorded where the tires need not slip: a fault of the gear ratio.
    gear_ratio, likely_ratio : float
    spinning : float
        Share of the lap with wheelspin.
    """

    along: FloatArray
    model: FloatArray
    exit: float
    straight: float
    with_no_thrust: float
    gear_ratio: float
    likely_ratio: float
    spinning: float

    @property
    def gear_fault(self) -> bool:
        return abs(self.with_no_thrust) > GEAR_FAULT


# Steering against the model


@dataclass(frozen=True)
class Wheel:
    """The steering wheel around the lap against the model's; rad, to the left positive.

    Attributes
    ----------
    recorded, model : ndarray, shape (BINS,)
    exit, exit_model : float
        Drive-off less the corner's own mean, averaged over the two ends; NaN without a drive-off.
    stagger : float
        Running stagger that fits the wheel and the tape best, m.
    error : float
        Its standard deviation, m.
    alone : float
        Running stagger by the wheel with the tape left out, m.
    alone_error : float
    zero : float
        Of the sensor, as fitted.
    scatter : float
        Root mean square of what the fit leaves.
    """

    recorded: FloatArray
    model: FloatArray
    exit: float
    exit_model: float
    stagger: float
    error: float
    alone: float
    alone_error: float
    zero: float
    scatter: float
