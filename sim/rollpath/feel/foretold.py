"""What a driver will report of a stagger, foretold: where it pushes, steers itself, or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollpath.feel.lap import LEAST_FELT, Feel, feel_by_phase, trim_lap
from rollpath.lap import PHASES, coarser
from rollpath.units import EIGHTH, FloatArray

if TYPE_CHECKING:
    from rollpath.stagger import Baseline

NOT_FELT = np.inf


@dataclass(frozen=True)
class PartFeel:
    """What is felt in one phase of the lap.

    Attributes
    ----------
    phase : str
        Of `lap.PHASES`.
    felt : str
        spins, pushes, steers itself or nothing, as `feel.lap.PhaseFeel.felt` has it.
    change : float
        Of the steering wheel against a car on which the stagger fights nothing, rad; further left
        positive. NaN where no balance was found.
    ends : tuple of bool
        Whether it is felt in turns 1-2 and in turns 3-4; both where the phase is no corner's.
    push_gone, steer_gone : float
        Stagger to add until the push is no longer felt, and to take out until it no longer steers
        itself, m; negative is what there is to spare.
    """

    phase: str
    felt: str
    change: float
    ends: tuple[bool, bool]
    push_gone: float
    steer_gone: float


@dataclass(frozen=True)
class Foretold:
    """What a driver is foretold to report of one stagger, phase by phase.

    Attributes
    ----------
    stagger : float
        m.
    parts : tuple of PartFeel
        Of the phases that the lap has, in the order of `lap.PHASES`.
    """

    stagger: float
    parts: tuple[PartFeel, ...]

    @property
    def words(self) -> dict[str, str]:
        """What is felt, by phase."""
        return {part.phase: part.felt for part in self.parts}

    def push_gone(self, *phases: str) -> float:
        """Stagger to add until none of these phases pushes, m; negative is what is to spare."""
        known = [part.push_gone for part in self.parts if part.phase in phases]
        return max((gone for gone in known if np.isfinite(gone)), default=-NOT_FELT)

    def steer_gone(self, *phases: str) -> float:
        """Stagger to take out until none of these phases steers itself, m."""
        known = [part.steer_gone for part in self.parts if part.phase in phases]
        return max((gone for gone in known if np.isfinite(gone)), default=-NOT_FELT)


def foretold(result: Baseline, stagger: float | None = None) -> Foretold:
    """What a driver is foretold to report of a stagger on the lap of a baseline.

    Parameters
    ----------
    result : Baseline
        Of one case.
    stagger : float, optional
        m; the recommended one when left out.
    """
    fitted = float(result.stagger.recommended if stagger is None else stagger)
    staggers = np.array([fitted, fitted + EIGHTH])
    return foretold_by(trim_lap(coarser(result.lap), result.car, result.condition, staggers), 0)


def foretold_by(feel: Feel, case: int) -> Foretold:
    """What a driver is foretold to report of one of the staggers of a lap.

    Parameters
    ----------
    feel : Feel
        Of two staggers or more, rising: how fast the wheel moves with stagger is read off it.
    case : int
    """
    rows = feel_by_phase(feel)
    apart = float(feel.staggers[-1] - feel.staggers[0])
    parts = []
    for low, here, high in zip(rows[0], rows[case], rows[-1], strict=True):
        rate = (high.steering_change - low.steering_change) / apart
        push, steer = here.steering_change - LEAST_FELT, -here.steering_change - LEAST_FELT
        slow = not rate < 0.0  # NaN too: no balance, or a wheel that does not answer to stagger
        parts.append(
            PartFeel(
                here.phase, here.felt, here.steering_change, _ends(feel, case, here.phase),
                push_gone=np.nan if slow else push / -rate,
                steer_gone=np.nan if slow else steer / -rate,
            )
        )  # fmt: skip
    return Foretold(float(feel.staggers[case]), tuple(parts))


def _ends(feel: Feel, case: int, phase: str) -> tuple[bool, bool]:
    """In which ends the wheel is held as far as a driver would name."""
    first, there = feel.lap.groove.first_end, feel.lap.phase == PHASES.index(phase)
    return _is_felt(feel, case, there & first), _is_felt(feel, case, there & ~first)


def _is_felt(feel: Feel, case: int, there: FloatArray) -> bool:
    change, ds = feel.steering_change[case], feel.lap.groove.ds
    known = there & np.isfinite(change)
    return bool(known.any() and abs(np.average(change[known], weights=ds[known])) > LEAST_FELT)
