"""The oval fitted to a position log by generalised least squares with a drift's covariance [1]_.

References
----------
.. [1] G. A. F. Seber and C. J. Wild, Nonlinear Regression, ch. 2 and 6 (autocorrelated errors).
"""

from dataclasses import dataclass

import numpy as np

from rollpath.survey.drift import DRIFT_TIMES, Drift, find_drift, whitener_of
from rollpath.survey.log import BoolArray, SurveyError, TidyLog
from rollpath.survey.oval import (
    LEAST,
    MOST,
    SCALES,
    blended_edge,
    derivatives,
    distances,
    solve,
    track_of,
)
from rollpath.track import DEFAULT_BLEND
from rollpath.units import FloatArray

FIT_SHARE = 0.3
"""Time over which a drift is taken to last while the oval is fitted, as a share of a lap's. What
the drift found says goes into the give or take. Engineering judgement, from made logs."""
APART = 1e4
"""Time put between two pieces of a log, s: the drift on both sides of a jump has nothing in
common."""
MOST_BLOCKS = 240
"""Rows of the generalised least-squares problem; more points are averaged in runs."""
PASSES = 4
"""Times the drift is found and the oval fitted with it."""
BLEND_ERROR = 0.5
"""Standard error of the logarithm of a blend nobody measured. Engineering judgement."""
LAG_USUAL, LAG_ERROR = 0.1, 0.3
"""Squared time over which a receiver smooths its track, s^2, and how well that is known: a third
of a second, and one second is not rare. Engineering judgement."""
MOST_LAG = 4.0
ENDS_ERROR, CURVED_ERROR = 0.2, 0.1
"""How unlike the two ends of ovals are, as a share of the radius, and how curved their straights,
as a share of the corners' curvature. Engineering judgement; weak beside three laps."""
PRIORS = np.array([0.0] * 7 + [np.log(DEFAULT_BLEND), LAG_USUAL])
OUTLINE = 360
"""Stations of the outline that the blend's correction and the shape are worked out on."""
HARMONICS = np.arange(2, 11)
"""Waves a lap of a departure from the oval; what is slower is place, what is shorter is noise."""
WAVE_SIZE, RIPPLE = 3.0, 0.25
"""Size of one wave, m, that a track may have while its shape is judged, and that an oval has
without being less of one. Engineering judgement."""
FAR, SUDDEN = 5.0, 4.0
"""Robust standard deviations from where the other laps went that make a
block wild; of a step, that make it none of the drift's."""
NORMAL_SPREAD = 1.4826
"""Standard deviation over median absolute deviation of normal errors: 1 / Phi^-1(3/4)."""
SHORT_PIECE = 0.1
"""A piece between two jumps shorter than this share of the log is left out."""
MOST_WILD = 0.2
"""Share of a log that may be thrown away."""


@dataclass(frozen=True)
class Corrections:
    """What the four arcs leave out, at stations of the lap: m outward for a blend; and what a
    square second of smoothing takes off, m/s^2 per speed squared (half the curvature)."""

    share: FloatArray
    blend: FloatArray
    bend: FloatArray

    def at(self, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        blend = np.interp(share, self.share, self.blend, period=1.0)
        return blend, np.interp(share, self.share, self.bend, period=1.0)


def corrections(p: FloatArray, log_blend: float, offset: float) -> Corrections:
    """How far the blended edge lies off the four arcs it was made of."""
    blend = float(np.exp(log_blend))
    edge = track_of(p, blend).edge
    s = edge.length[0] * np.arange(OUTLINE) / OUTLINE
    at = distances(p, blended_edge(p, blend, s))
    k = edge.curvature(s[None])[0]
    order = np.argsort(at.share)
    return Corrections(at.share[order], at.out[order], (0.5 * k / (1.0 + offset * k))[order])


class Fit:
    """Generalised least squares of nine unknowns: the oval's seven, log blend, and lag."""

    def __init__(self, log: TidyLog, offset: float) -> None:
        n = len(log.x)
        count = min(n, MOST_BLOCKS)
        self.log, self.offset, self.z = log, offset, log.x + 1j * log.y
        self.starts = np.union1d(
            np.arange(count) * n // count, np.flatnonzero(np.diff(log.piece)) + 1
        )
        self.starts = self.starts.astype(np.intp)
        self.count = np.diff(np.append(self.starts, n))
        self.live: BoolArray = np.ones(len(self.starts), dtype=bool)
        """Blocks that are still believed."""
        lap = float(np.ptp(log.time)) / max(float(np.ptp(log.turned)), 0.5)
        self.forget = min(max(FIT_SHARE * lap, DRIFT_TIMES[1]), DRIFT_TIMES[-2])
        time = log.time + APART * log.piece
        self._time = self._mean(time)
        dt = np.gradient(log.time) if n > 1 else np.ones(n)
        pace = np.abs(np.gradient(self.z)) / np.maximum(dt, 1e-3)
        self.squared = np.minimum(pace, np.percentile(pace, 95)) ** 2

    def _mean(self, rows: FloatArray) -> FloatArray:
        return (np.add.reduceat(rows, self.starts, axis=0).T / self.count).T

    @property
    def time(self) -> FloatArray:
        return self._time[self.live]

    def rows(self, q: FloatArray, left_out: Corrections, blend: float) -> FloatArray:
        """Distances outward of the blended line, averaged in blocks; `blend` of the corrections."""
        at = distances(q[:7], self.z)
        blended, bend = left_out.at(at.share)
        r = at.out - self.offset - blended * np.exp(2.0 * (q[7] - blend))
        averaged: FloatArray = self._mean(r + q[8] * bend * self.squared)[self.live]
        return averaged

    def slopes(self, q: FloatArray, left_out: Corrections, blend: float) -> FloatArray:
        at = distances(q[:7], self.z)
        blended, bend = left_out.at(at.share)
        J = np.column_stack([
            derivatives(q[:7], self.z, at.normal),
            -2.0 * blended * np.exp(2.0 * (q[7] - blend)), bend * self.squared,
        ])  # fmt: skip
        return self._mean(J)[self.live]

    def places(self, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Normal and share of the lap of every block."""
        at = distances(p, self.z)
        normal = np.angle(self._mean(np.exp(1j * at.normal)))
        share = np.angle(self._mean(np.exp(2j * np.pi * at.share))) / (2 * np.pi) % 1.0
        return normal[self.live], share[self.live]

    def solved(self, p: FloatArray) -> "Solved":
        """The oval, the drift and the shape, from a first fit.

        Raises
        ------
        SurveyError
            If more of the log than `MOST_WILD` lies where no other lap went.
        """
        q = np.concatenate([p, PRIORS[7:]])
        for i in range(PASSES):
            left_out = corrections(q[:7], q[7], self.offset)
            if i in (1, 2):
                self._leave_wild(q, left_out)
            q = self._step(q, left_out)
        wild = float(np.mean(~self.live))
        if wild > MOST_WILD:
            raise SurveyError("scattered", wild)
        left_out = corrections(q[:7], q[7], self.offset)
        oval, shape = (self.estimate(q, left_out, size) for size in (RIPPLE, WAVE_SIZE))
        return Solved(q, left_out, oval, shape, wild)

    def _step(self, q: FloatArray, left_out: Corrections) -> FloatArray:
        blend, r = q[7], self.rows(q, left_out, q[7])
        white = whitener_of(self.time, self.places(q[:7])[0], self.forget, r)
        P = usual(q)
        return solve(
            lambda v: np.append(white @ self.rows(v, left_out, blend), P @ v - P @ PRIORS),
            lambda v: np.vstack([white @ self.slopes(v, left_out, blend), P]),
            q, "linear", np.append(LEAST, [np.log(1.0), 0.0]),
            np.append(MOST, [np.log(100.0), MOST_LAG]), np.append(SCALES, [0.5, 0.3]),
        )[0]  # fmt: skip

    def estimate(self, q: FloatArray, left_out: Corrections, size: float) -> "Estimate":
        """Waves of the lap beside the oval, and how well all are known.

        The estimate is linear in the residuals, so its covariance follows from theirs, whatever
        it was weighed with [1]_; what was known before counts as measured once more.
        """
        normal, share = self.places(q[:7])
        r, M = self.rows(q, left_out, q[7]), self.slopes(q, left_out, q[7])
        M = np.hstack([M, -waves(share)])
        P = usual(q)
        known = np.diag(np.append(LEAST_KNOWN, np.full(2 * len(HARMONICS), size**-2)))
        known[: len(q), : len(q)] += P.T @ P
        drift = find_drift(self.time, normal, r, M, known)
        white = whitener_of(self.time, normal, self.forget, r)
        weighed = white.T @ (white @ M)
        A = np.linalg.inv(M.T @ weighed + known)
        covariance = A @ (weighed.T @ drift.covariance @ weighed + known) @ A
        return Estimate(drift, share, -A @ (weighed.T @ r), covariance)

    def _leave_wild(self, q: FloatArray, left_out: Corrections) -> None:
        """Part the log where it moves off as no drift does; short pieces and far blocks go."""
        shape = self.estimate(q, left_out, WAVE_SIZE)
        r = self.rows(q, left_out, q[7]) - waves(shape.share) @ shape.solution[len(q) :]
        surprise = np.abs(whitener_of(self.time, self.places(q[:7])[0], self.forget) @ r)
        piece = np.cumsum(surprise > max(SUDDEN * NORMAL_SPREAD * float(np.median(surprise)), 1.0))
        inner = (piece > 0) & (piece < piece[-1])
        off = np.abs(r - np.median(r))
        wild = off > max(FAR * NORMAL_SPREAD * float(np.median(off)), 1.0)
        wild |= inner & (np.bincount(piece)[piece] < SHORT_PIECE * len(r))
        live = np.flatnonzero(self.live)
        self._time[live] += APART * piece
        self.live[live[wild]] = False


def usual(q: FloatArray) -> FloatArray:
    """What is known of ovals and receivers before a log: rows to be as `PRIORS` within one."""
    rows = np.zeros((4, len(q)))
    rows[0, 3:5] = np.array([1.0, -1.0]) / (ENDS_ERROR * 0.5 * (q[3] + q[4]))
    rows[1, 6], rows[2, 7], rows[3, 8] = 1 / CURVED_ERROR, 1 / BLEND_ERROR, 1 / LAG_ERROR
    return rows


LEAST_KNOWN = 1 / np.array([100.0, 100.0, 1.0, 100.0, 100.0, 100.0, 1.0, 10.0, 10.0]) ** 2
"""Information added so that no unknown is without a bound (a circle has no heading)."""


def waves(share: FloatArray) -> FloatArray:
    angle = 2 * np.pi * share[:, None] * HARMONICS
    return np.hstack([np.cos(angle), np.sin(angle)])


@dataclass(frozen=True)
class Estimate:
    """Drift, share of the lap of every block, and a step of all unknowns with its covariance."""

    drift: Drift
    share: FloatArray
    solution: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Solved:
    """Unknowns, corrections, estimates with an oval's ripple and with free waves, and the share
    of blocks left out."""

    q: FloatArray
    left_out: Corrections
    oval: Estimate
    shape: Estimate
    wild: float
