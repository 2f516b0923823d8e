"""Bite rates learned from weighings of the car."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rollpath.car import BiteRates, Car
from rollpath.corners import NOTHING, Corners
from rollpath.scales.rates import bite_rates
from rollpath.screen import inches
from rollpath.units import INCH, POUND, FloatArray, Real, per_inch

# Learning from scale sessions

WHAT_MOVES = ("rear stagger", "front stagger", "rear jacks", "front jacks")
"""What bite is fitted to; staggers in inches, jacks in turns."""
TRIAL_STEPS = {"rear stagger": 1.0, "front stagger": 1.0, "rear jacks": 2.0, "front jacks": 2.0}
"""Size of the next change to try, inches or turns; engineering judgement: well above pad noise."""
TOLD_APART = 1 / 8
"""Inches or turns: combinations of changes that moved less than this over all the sessions
together did not move; it is what a tape can tell."""
SAME_WEIGHT = 20 * POUND
"""How far the total, the left or the rear of two sessions may differ before something was moved;
engineering judgement: pad noise of 2 to 4 lb, against 30 lb for five gallons of fuel."""
CONFOUNDED = 0.01
"""Share of a rate that may hide in a combination the sessions do not show."""
KNOWN_WELL = 0.2
"""A rate is known well when its interval reaches no further than this share of it either way."""
CONFIDENCE = 0.95
PAD_SCATTER = 4.5 * POUND
"""Scatter of one pad between weighings of an untouched car, before any session has shown it: 4 to
5 lb of rolling off and on, tires that bind, a tape that is read to the eighth. Engineering
judgement."""
TWO_PADS = float(np.sqrt(2.0))
"""Scatter of bite, one pad less another, by that of one."""
PAD_SESSIONS = 3
"""Sessions that `PAD_SCATTER` counts for: without it a few sessions that fall in line by luck would
make any figure sure (A. Gelman and others, Bayesian Data Analysis, 3rd ed., sec. 3.2)."""
PREDICTED_WITHIN = 0.35
"""Standard deviation of a true rate about the one that the springs predict, as a share of it.
Engineering judgement: spring and tire rates as printed, motion ratios as read."""
UNTOUCHED = "nothing"
"""`NextSession.moved` of the session that weighs the same car again."""
FEW_SPARE = 3
"""Sessions to spare below which the same car is to be weighed twice before anything is moved."""


@dataclass(frozen=True)
class ScaleSession:
    """One weighing of the car.

    Attributes
    ----------
    label : str
    line : int
        Of its file.
    driver_in : bool
    rollouts : Corners[Real]
        m.
    turns : Corners[Real] or None
        Jack positions in turns; None when not recorded.
    weights : Corners[Real]
        N.
    """

    label: str
    line: int
    driver_in: bool
    rollouts: Corners[Real]
    turns: Corners[Real] | None
    weights: Corners[Real]


@dataclass(frozen=True)
class LearnedRate:
    """A rate and the half width of its 95 % interval: N per m of stagger, or N per turn."""

    value: float
    half_width: float

    @property
    def is_sure(self) -> bool:
        """Whether the whole interval has the right sign; a rate that is not is not written down."""
        return self.value > self.half_width


@dataclass(frozen=True)
class NextSession:
    """The weighing that would teach most: set up as `like`, with `moved` changed by `step`.

    `moved` is `UNTOUCHED` when the car is to be rolled off the scales and on again as it is: what
    pads scatter by has to be known before a change can be told from it.
    """

    like: str
    moved: str
    step: float


@dataclass(frozen=True)
class Learned:
    """What scale sessions say.

    Attributes
    ----------
    rates : dict of str to LearnedRate
        By the names of `WHAT_MOVES`.
    never_moved : list of str
    tied : list of list of str
        Groups that always moved together and cannot be told apart.
    too_few : bool
        Whether there are not enough sessions to give an interval; then `rates` is empty.
    pad_noise, pad_noise_used : float or None
        Scatter of one pad, N, as the sessions show it, and as it is reckoned with.
    sessions, alone : int
        How many there are, and how many are the only one with the driver in or out.
    next_session : NextSession or None
        None when every rate is known within a fifth.
    """

    rates: dict[str, LearnedRate]
    never_moved: list[str]
    tied: list[list[str]]
    too_few: bool
    pad_noise: float | None
    pad_noise_used: float | None
    sessions: int
    alone: int
    next_session: NextSession | None


@dataclass(frozen=True)
class Differs:
    """A session whose weight is not that of the others with the driver in, or out.

    Attributes
    ----------
    session : ScaleSession
    what : str
        ``total``, ``left`` or ``rear``.
    found, usual : float
        N.
    """

    session: ScaleSession
    what: str
    found: float
    usual: float


def weights_that_differ(sessions: Sequence[ScaleSession]) -> list[Differs]:
    """Sessions in which weight came, went or was moved, in the order of their lines.

    With the same driver in or out the total and the rear weight cannot change by anything that
    twists the chassis, and the left weight by a few pounds at most; when they do, fuel, ballast or
    a person moved.
    """
    faults = []
    for group in _by_driver(sessions):
        for what in ("total", "left", "rear"):
            sums = [_part(session.weights, what) for session in group]
            usual = float(np.median(sums))
            faults += [
                Differs(session, what, found, usual)
                for session, found in zip(group, sums, strict=True)
                if abs(found - usual) > SAME_WEIGHT
            ]
    return sorted(faults, key=lambda one: one.session.line)


def _by_driver(sessions: Sequence[ScaleSession]) -> list[list[ScaleSession]]:
    groups = [[s for s in sessions if s.driver_in is seated] for seated in (True, False)]
    return [group for group in groups if group]


def _part(weights: Corners[Real], what: str) -> float:
    shares = {"total": 1.0, "left": weights.left_share, "rear": weights.rear_share}
    return float(weights.total * shares[what])


@dataclass(frozen=True)
class _Design:
    """Sessions as a linear problem: what moved, (n, p) in inches and turns, and who sat in it."""

    moved: FloatArray
    seated: NDArray[np.bool_]

    @classmethod
    def of(cls, sessions: Sequence[ScaleSession], names: Sequence[str]) -> "_Design":
        moved = np.array([_moved(session)[: len(names)] for session in sessions])
        return cls(moved, np.array([session.driver_in for session in sessions]))

    def plus(self, moved: FloatArray, seated: bool) -> "_Design":
        return _Design(np.vstack([self.moved, moved]), np.append(self.seated, seated))

    def centred(self, values: FloatArray) -> FloatArray:
        """Values less their mean with the same driver in or out."""
        centred = values.astype(float)
        for seated in np.unique(self.seated):
            centred[self.seated == seated] -= values[self.seated == seated].mean(axis=0)
        return centred

    @cached_property
    def X(self) -> FloatArray:
        return self.centred(self.moved)

    @cached_property
    def _svd(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        U, s, Vt = np.linalg.svd(self.X, full_matrices=True)
        rank = int(np.sum(s > TOLD_APART))
        return U[:, :rank], s[:rank], Vt

    @property
    def has_twins(self) -> bool:
        """Whether one car was weighed twice untouched."""
        return any(
            a_seated == b_seated and bool(np.all(np.abs(a - b) < TOLD_APART))
            for (a, a_seated), (b, b_seated) in itertools.combinations(
                zip(self.moved, self.seated, strict=True), 2
            )
        )

    @property
    def freedom(self) -> int:
        return len(self.moved) - len(np.unique(self.seated)) - len(self._svd[1])

    @property
    def confounded(self) -> FloatArray:
        """Projector on the combinations of moves that the sessions do not show, (p, p)."""
        _, s, Vt = self._svd
        hidden = Vt[len(s) :]
        return hidden.T @ hidden

    @property
    def never_moved(self) -> NDArray[np.bool_]:
        return np.asarray(np.linalg.norm(self.X, axis=0) < TOLD_APART)

    @property
    def told_apart(self) -> NDArray[np.bool_]:
        """Which rates the sessions can tell from all others, (p,)."""
        return np.sqrt(np.diag(self.confounded)) < CONFOUNDED

    @property
    def inverse(self) -> FloatArray:
        """From observations to rates, (p, n); hidden combinations count as nothing."""
        U, s, Vt = self._svd
        return (Vt[: len(s)].T / s) @ U.T


def _moved(session: ScaleSession) -> list[float]:
    """What raises bite, in the order of `WHAT_MOVES`: each rate then comes out positive."""
    rollouts, turns = session.rollouts, session.turns or NOTHING
    return [
        float(inches(rollouts.left_rear - rollouts.right_rear)),
        float(inches(rollouts.right_front - rollouts.left_front)),
        float(turns.left_rear - turns.right_rear),
        float(turns.right_front - turns.left_front),
    ]


@dataclass(frozen=True)
class _Before:
    """What is known before any session: scatter of one y, and rates with their precision."""

    scatter: float
    rates: FloatArray
    precision: FloatArray


def fit_rates(
    design: _Design, y: FloatArray, before: _Before | None = None
) -> tuple[list[LearnedRate], float]:
    """Least squares with Student intervals; also the standard error of one y.

    With something known before, the scatter is pooled with `PAD_SESSIONS` sessions of it and each
    rate is drawn to the one predicted, by their precisions.

    Parameters
    ----------
    design : _Design
        Of as many sessions as `y` has.
    y : ndarray, shape (sessions,)
        Bite, N.
    before : _Before, optional
        What is known of the rates already.
    """
    from scipy.special import stdtrit

    y = design.centred(y)
    values = design.inverse @ y
    squares, freedom = float(np.sum((y - design.X @ values) ** 2)), design.freedom
    if before is None:
        scatter = np.sqrt(squares / freedom)
        spread = scatter * np.linalg.norm(design.inverse, axis=1)
    else:
        freedom += PAD_SESSIONS
        scatter = np.sqrt((squares + PAD_SESSIONS * before.scatter**2) / freedom)
        precision = design.X.T @ design.X / scatter**2 + np.diag(before.precision)
        covariance = np.linalg.pinv(precision, hermitian=True)
        values = covariance @ (design.X.T @ y / scatter**2 + before.precision * before.rates)
        spread = np.sqrt(np.diag(covariance))
    half_widths = stdtrit(freedom, 0.5 * (1 + CONFIDENCE)) * spread
    fitted = [LearnedRate(*map(float, r)) for r in zip(values, half_widths, strict=True)]
    return fitted, float(scatter)


def _known_before(car: Car, names: Sequence[str]) -> _Before:
    """The usual pads, and the rates that the springs predict; none are without springs."""
    unmeasured = replace(car, bite_per_inch=BiteRates(), bite_per_turn=BiteRates())
    rates = bite_rates(unmeasured)
    found = {
        "rear stagger": rates.predicted.rear, "front stagger": rates.predicted.front,
        "rear jacks": rates.rear_turn, "front jacks": rates.front_turn,
    }  # fmt: skip
    predicted = np.zeros(len(names))
    for j, name in enumerate(names):
        rate = None if car.springs is None else found[name]
        predicted[j] = 0.0 if rate is None else float(rate) * (1 if "jacks" in name else INCH)
    known = predicted > 0.0
    precision = np.zeros(len(names))
    precision[known] = (PREDICTED_WITHIN * predicted[known]) ** -2.0
    return _Before(PAD_SCATTER * TWO_PADS, predicted, precision)


def learn_rates(car: Car, sessions: Sequence[ScaleSession]) -> Learned:
    """Bite rates of a car from scale sessions, by least squares.

    Bite is read from the two rear pads, which are what it is. The front pads would make it
    steadier if they changed by one pattern whatever is moved; but a chassis that leans carries
    weight over, and they change by up to a third more or less than the rear ones
    (`twist.unit_twists`), by an amount that springs and heights say and no session shows. The
    driver in or out shifts bite by an amount of its own.

    Parameters
    ----------
    car : Car
        For the rates that its springs predict.
    sessions : sequence of ScaleSession
        At least one; checked by `weights_that_differ`.

    Returns
    -------
    Learned
        With Student intervals. They start from pads that scatter by `PAD_SCATTER` and from the
        rates that the springs predict, so that a few sessions that agree by luck prove nothing.
    """
    names = WHAT_MOVES if sessions[0].turns is not None else WHAT_MOVES[:2]
    design = _Design.of(sessions, names)
    rates: dict[str, LearnedRate] = {}
    noise = used = None
    if design.freedom > 0:
        y = np.array([float(session.weights.bite) for session in sessions])
        fitted, scatter = fit_rates(design, y, _known_before(car, names))
        rates = {name: fitted[j] for j, name in enumerate(names) if design.told_apart[j]}
        noise, used = fit_rates(design, y)[1] / TWO_PADS, scatter / TWO_PADS
    return Learned(
        rates={name: _in_si(name, rate) for name, rate in rates.items()},
        never_moved=[name for name, still in zip(names, design.never_moved, strict=True) if still],
        tied=_tied(design, names),
        too_few=design.freedom <= 0,
        pad_noise=noise,
        pad_noise_used=used,
        sessions=len(sessions),
        alone=sum(len(group) == 1 for group in _by_driver(sessions)),
        next_session=_next_session(design, names, sessions, rates),
    )


def _in_si(name: str, rate: LearnedRate) -> LearnedRate:
    if "jacks" in name:
        return rate
    return LearnedRate(float(per_inch(rate.value)), float(per_inch(rate.half_width)))


def _tied(design: _Design, names: Sequence[str]) -> list[list[str]]:
    """Groups of moves that the sessions cannot tell apart, in the order of the names."""
    linked = np.abs(design.confounded) > CONFOUNDED**2
    linked[design.never_moved] = False
    linked[:, design.never_moved] = False
    np.fill_diagonal(linked, True)
    reach = np.linalg.matrix_power(linked.astype(int), len(names)) > 0
    groups = dict.fromkeys(
        tuple(name for name, yes in zip(names, row, strict=True) if yes) for row in reach
    )
    return [list(group) for group in groups if len(group) > 1]


def _next_session(
    design: _Design,
    names: Sequence[str],
    sessions: Sequence[ScaleSession],
    rates: dict[str, LearnedRate],
) -> NextSession | None:
    """The single change to the last set-up that teaches most; None when all is known well."""
    if len(rates) == len(names) and all(
        rate.half_width <= KNOWN_WELL * rate.value for rate in rates.values()
    ):
        return None
    last = max(_by_driver(sessions), key=len)[-1]
    if design.freedom < FEW_SPARE and not design.has_twins:
        return NextSession(last.label, UNTOUCHED, 0.0)
    start = design.moved[sessions.index(last)]
    trials = []
    for (j, name), sign in itertools.product(enumerate(names), (1.0, -1.0)):
        step = sign * TRIAL_STEPS[name]
        row = start.copy()
        row[j] += -step if name == "rear stagger" else step
        trial = design.plus(row, last.driver_in)
        trials.append((_worth_running(trial), NextSession(last.label, name, step)))
    return max(trials, key=lambda pair: pair[0])[1]


def _worth_running(design: _Design) -> tuple[int, bool, float]:
    """More rates told apart first, then an interval at all, then narrower ones."""
    known = design.told_apart
    spread = np.sum(np.linalg.norm(design.inverse, axis=1)[known] ** 2)
    return int(known.sum()), design.freedom > 0, -float(spread)
