"""Bite: what a change of tires, jacks or spacers does on the four scale pads, and what holds it.

A car stands on four pads. Its total weight and its two moments are fixed by where its masses are,
so a bigger tire or a longer jack can only trade weight between the two diagonals: one number, the
bite, says all. How much it changes follows from how stiff the car is against being twisted.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (roll stiffness of an axle).
.. [2] W. F. and D. L. Milliken, Race Car Vehicle Dynamics, ch. 16 and 18 (wheel rates; weight
   jacking and cross weight).
.. [3] G. Strang, Introduction to Applied Mathematics, ch. 2 (equilibrium as A^T C A).
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.car import Axle, BiteRates, Car, CornerWeights, axle_roll_stiffness
from sim.units import INCH, POUND, FloatArray, Real

TYPICAL_RATE = 10 * POUND / INCH
"""Bite per stagger of either axle. Common practice, no source: 8 to 15 lb per inch of stagger on
a full-bodied car of about 3,000 lb."""
STAGGER_STEP = INCH / 8
"""Stagger is taped and matched to an eighth. Common practice, no source."""
TURN_STEP = 0.25
"""A jack is turned by quarter turns. Common practice, no source."""
SPACER_STEP = INCH / 8
"""Spacers come in eighths. Common practice, no source."""
SCALES_TELL = 2 * POUND
"""Left-over bite below this is all one. Engineering judgement: pads repeat to 2 lb or so."""
FAR_APART = 0.5
"""Share of the predicted rate by which a measured one may differ before it is questioned."""


class BiteError(ValueError):
    """A change whose effect cannot be told; the message says what is missing."""


class Corners(NamedTuple):
    """One number for each corner of the car."""

    left_front: Real = 0.0
    right_front: Real = 0.0
    left_rear: Real = 0.0
    right_rear: Real = 0.0


CORNERS = Corners._fields
NOTHING = Corners()
RAISES_BITE = Corners(-1.0, 1.0, 1.0, -1.0)
"""Whether bite rises (+1) or falls (-1) when this corner is raised by its tire, jack or spacer."""


@dataclass(frozen=True)
class Change:
    """What is changed at each corner.

    Attributes
    ----------
    rollouts : Corners
        Change of rollout, m.
    turns : Corners
        Jack turns; positive makes the jack longer and lifts the chassis there.
    spacers : Corners
        Change of height of the spring seat by a spacer, m; positive lifts the chassis there.
    """

    rollouts: Corners = NOTHING
    turns: Corners = NOTHING
    spacers: Corners = NOTHING

    @property
    def rear_stagger(self) -> Real:
        return self.rollouts.right_rear - self.rollouts.left_rear

    @property
    def front_stagger(self) -> Real:
        return self.rollouts.right_front - self.rollouts.left_front

    def __add__(self, other: "Change") -> "Change":
        return Change(
            _added(self.rollouts, other.rollouts),
            _added(self.turns, other.turns),
            _added(self.spacers, other.spacers),
        )


def _added(a: Corners, b: Corners) -> Corners:
    return Corners(*(x + y for x, y in zip(a, b, strict=True)))


def only(corner: str, amount: Real) -> Corners:
    """An amount at one corner and nothing at the others."""
    return NOTHING._replace(**{corner: amount})


def rollout_change(
    axle: Axle, left: Real | None, right: Real | None, stagger: Real | None
) -> tuple[Real, Real]:
    """Change of the left and the right rollout when some of an axle's tape is to be new, m.

    A stagger alone is shared by both sides, so that the mean rollout stays.

    Raises
    ------
    BiteError
        If both rollouts and the stagger are given.
    """
    if stagger is not None:
        if left is not None and right is not None:
            raise BiteError("two rollouts give the stagger; leave one of the three out")
        if left is not None:
            right = left + stagger
        elif right is not None:
            left = right - stagger
        else:
            left = axle.mean_rollout - 0.5 * stagger
            right = axle.mean_rollout + 0.5 * stagger
    return (
        0.0 if left is None else left - axle.left_rollout,
        0.0 if right is None else right - axle.right_rollout,
    )


# The twist of the chassis


@dataclass(frozen=True)
class Settled:
    """How the car stands after a change, against before.

    Attributes
    ----------
    loads : Corners
        Change of the load of each tire, N.
    ride_heights : Corners
        Change of the height of the chassis above each wheel, m.
    twist : float
        Moment that twists the chassis, N m: at the rear it loads the left side, at the front the
        right side.
    """

    loads: Corners
    ride_heights: Corners
    twist: float


def settle(car: Car, change: Change) -> Settled:
    """Statics of a car on its pads after a change of heights.

    A rigid chassis (heave, pitch, roll) stands by its front springs on two hubs and by its rear
    springs on a beam axle (heave, roll), and these stand on four tires; bars act between the roll
    of an axle and the roll of the chassis. Linear: for changes that are small beside the track
    width. A front spring is taken to act at its wheel, so a front jack or spacer counts by the
    height it gives at the wheel.

    Parameters
    ----------
    car : Car
        With `springs`; scalar fields. Jack turns need `jack_thread`.
    change : Change

    Returns
    -------
    Settled

    Raises
    ------
    BiteError
        If the car has no springs, or there are jack turns and no thread.
    """
    A, k = _frame(car), _rates_of(car)
    gaps = np.concatenate([_tire_rises(change), _seat_rises(car, change), [0.0, 0.0]])
    q = np.linalg.solve(A.T @ (k[:, None] * A), -A.T @ (k * gaps))  # A^T C A, [3]_
    loads = (k * (A @ q + gaps))[:4]
    x, y = _places(car)
    heights = q[0] - q[1] * x + q[2] * y
    twist = 0.5 * float(car.rear.track_width) * (loads[2] - loads[3])
    return Settled(Corners(*map(float, loads)), Corners(*map(float, heights)), float(twist))


def _places(car: Car) -> tuple[FloatArray, FloatArray]:
    """Where the four wheels stand, x forward and y left of the middle of the car, m."""
    x = 0.5 * float(car.wheelbase) * np.array([1.0, 1.0, -1.0, -1.0])
    t_f, t_r = float(car.front.half_track), float(car.rear.half_track)
    return x, np.array([t_f, -t_f, t_r, -t_r])


def _frame(car: Car) -> FloatArray:
    """How much each spring shortens for each motion, shape (10, 7).

    Rows: four tires, four springs, front bar, rear bar (these in rad). Columns: chassis heave,
    pitch (nose down) and roll (left side up), left and right front hub, rear axle heave and roll.
    """
    if car.springs is None:
        raise BiteError("the car file has no springs")
    x, y = _places(car)
    seat_y = y.copy()
    seat_y[2:] = 0.5 * float(car.springs.rear_base) * np.array([1.0, -1.0])
    A = np.zeros((10, 7))
    A[0, 3] = A[1, 4] = -1.0
    A[2:4, 5], A[2:4, 6] = -1.0, -y[2:]
    A[4, 3] = A[5, 4] = 1.0
    A[6:8, 5], A[6:8, 6] = 1.0, seat_y[2:]
    A[4:8, 0], A[4:8, 1], A[4:8, 2] = -1.0, x, -seat_y
    A[8, 2:5] = -1.0, 1 / float(car.front.track_width), -1 / float(car.front.track_width)
    A[9, 2], A[9, 6] = -1.0, 1.0
    return A


def _rates_of(car: Car) -> FloatArray:
    """Stiffness of each row of `_frame`, N/m and N m/rad."""
    assert car.springs is not None
    tires = [car.tire.spring_rate] * 4
    springs = [*car.springs.front_wheel_rate, *car.springs.rear_rate]
    return np.array([*tires, *springs, car.springs.front_bar, car.springs.rear_bar], dtype=float)


def _tire_rises(change: Change) -> FloatArray:
    """How much each hub would rise on its tire with nothing in the way, m."""
    return np.array(change.rollouts, dtype=float) / (2 * np.pi)


def _seat_rises(car: Car, change: Change) -> FloatArray:
    turns = np.array(change.turns, dtype=float)
    if np.any(turns) and car.jack_thread is None:
        raise BiteError("the car file has no jack thread")
    return np.array(change.spacers, dtype=float) + turns * (car.jack_thread or 0.0)


# Bite per stagger, per turn, per spacer


@dataclass(frozen=True)
class Rates:
    """How much bite each change is worth; positive numbers.

    Attributes
    ----------
    rear, front : float or ndarray
        N per m of stagger: bite falls by `rear` with rear stagger added and rises by `front` with
        front stagger added.
    rear_source, front_source : str
        ``measured`` (car file), ``predicted`` (from springs, or from the measured other axle) or
        ``typical``.
    rear_seat, front_seat : float or None
        N per m of height of one spring seat; None when the spring base is not known.
    rear_turn, front_turn : float or None
        N per turn of one jack; None when it is not known.
    rear_turn_source, front_turn_source : str
        As above, or ``unknown``.
    predicted : BiteRates
        What the springs say of `rear` and `front`, also where a measured one is used.
    """

    rear: Real
    front: Real
    rear_source: str
    front_source: str
    rear_seat: Real | None
    front_seat: Real | None
    rear_turn: Real | None
    front_turn: Real | None
    rear_turn_source: str
    front_turn_source: str
    predicted: BiteRates

    @property
    def source(self) -> str:
        """One word for both axles, or which is which."""
        if self.rear_source == self.front_source:
            return self.rear_source
        return f"rear {self.rear_source}, front {self.front_source}"

    @property
    def doubtful(self) -> list[str]:
        """Axles whose measured rate differs from the predicted one by more than `FAR_APART`."""
        pairs = {
            "rear": (self.rear, self.predicted.rear, self.rear_source),
            "front": (self.front, self.predicted.front, self.front_source),
        }
        return [
            axle
            for axle, (used, predicted, source) in pairs.items()
            if source == "measured"
            and predicted is not None
            and bool(np.any(np.abs(used - predicted) > FAR_APART * predicted))
        ]


def predicted_rates(car: Car) -> BiteRates:
    """Bite per stagger from springs, bars and tires.

    The twisting moment is the relative tilt of the axles times the series of their roll
    stiffnesses [1]_; a stagger S tilts an axle by S / (2 pi T). Exact also for unequal springs,
    because a twist loads the two sides of an axle equally and oppositely.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    BiteRates
        N per m of stagger; both None when the car has no springs.
    """
    if car.springs is None:
        return BiteRates()
    K_f, K_r = axle_roll_stiffness(car)
    K = K_f * K_r / (K_f + K_r)
    T_f, T_r = car.front.track_width, car.rear.track_width
    return BiteRates(rear=K / (np.pi * T_r**2), front=K / (np.pi * T_f * T_r))


def bite_rates(car: Car) -> Rates:
    """The bite rates of a car: measured, else predicted, else typical.

    A rate that was measured beats any prediction. One measured axle predicts the other by the
    track widths alone when there are no springs to go by. Jack and spacer rates follow from the
    stagger rate of their axle by geometry, unless `bite_per_turn` was measured.

    Parameters
    ----------
    car : Car
        Numeric fields scalar or of shape (cases,).

    Returns
    -------
    Rates
    """
    predicted = predicted_rates(car)
    measured = car.bite_per_inch
    T_f, T_r = car.front.track_width, car.rear.track_width
    by_front = None if measured.front is None else measured.front * T_f / T_r
    by_rear = None if measured.rear is None else measured.rear * T_r / T_f
    rear, rear_source = _best(measured.rear, predicted.rear, by_front)
    front, front_source = _best(measured.front, predicted.front, by_rear)
    rear_seat, front_seat = _seat_rates(car, rear, front)
    rear_turn, rear_turn_source = _turn_rate(car, car.bite_per_turn.rear, rear_seat, rear_source)
    front_turn, front_turn_source = _turn_rate(
        car, car.bite_per_turn.front, front_seat, front_source
    )
    return Rates(
        rear, front, rear_source, front_source, rear_seat, front_seat,
        rear_turn, front_turn, rear_turn_source, front_turn_source, predicted,
    )  # fmt: skip


def _best(
    measured: Real | None, by_springs: Real | None, by_other: Real | None
) -> tuple[Real, str]:
    if measured is not None:
        return measured, "measured"
    for predicted in (by_springs, by_other):
        if predicted is not None:
            return predicted, "predicted"
    return TYPICAL_RATE, "typical"


def _seat_rates(car: Car, rear: Real, front: Real) -> tuple[Real | None, Real | None]:
    """Bite per height of one rear and one front spring seat, N/m.

    A rollout change S lifts a wheel by S / (2 pi); a seat lifted by h tilts its axle by h / base.
    A bar stands beside the springs and resists them, so that only their share of the roll rate
    turns into twist.
    """
    front_seat = 2 * np.pi * front
    if car.springs is None:
        return None, front_seat
    springs, T_f, T_r = car.springs, car.front.track_width, car.rear.track_width
    rear_share = _spring_share(springs.rear_rate, springs.rear_base, springs.rear_bar)
    front_share = _spring_share(springs.front_wheel_rate, T_f, springs.front_bar)
    return 2 * np.pi * rear * T_r / springs.rear_base * rear_share, front_seat * front_share


def _spring_share(pair: tuple[Real, Real], base: Real, bar: Real) -> Real:
    springs = base**2 / (1 / pair[0] + 1 / pair[1])
    return springs / (springs + bar)


def _turn_rate(
    car: Car, measured: Real | None, seat: Real | None, stagger_source: str
) -> tuple[Real | None, str]:
    """Bite per jack turn; reckoned from a stagger rate it is at best a prediction."""
    if measured is not None:
        return measured, "measured"
    if seat is None or car.jack_thread is None:
        return None, "unknown"
    return seat * car.jack_thread, "typical" if stagger_source == "typical" else "predicted"


def bite_change(rates: Rates, change: Change) -> Real:
    """How much a change raises bite, N.

    Raises
    ------
    BiteError
        If a jack or spacer is changed whose rate is not known.
    """
    no_turn = (
        "what a jack turn does is not known; add springs and jacks: thread to the car file, "
        "or learn it with --learn"
    )
    no_spacer = "what a spacer does is not known; add springs to the car file"
    return (
        _worth(change.rollouts, rates.front, rates.rear, "")
        + _worth(change.turns, rates.front_turn, rates.rear_turn, no_turn)
        + _worth(change.spacers, rates.front_seat, rates.rear_seat, no_spacer)
    )


def _worth(amounts: Corners, front: Real | None, rear: Real | None, unknown: str) -> Real:
    """Bite from amounts at the corners, each at the rate of its axle."""
    total: Real = 0.0
    for sign, rate, amount in zip(RAISES_BITE, (front, front, rear, rear), amounts, strict=True):
        if not np.any(amount):
            continue
        if rate is None:
            raise BiteError(unknown)
        total = total + sign * rate * amount
    return total


@dataclass(frozen=True)
class StaggerEffect:
    """What a change of rear stagger does to the bite.

    Attributes
    ----------
    rates : Rates
    now, then : float
        Bite before and after, N.
    hold_front : float
        Front stagger to add so that the bite stays, m.
    front_then : float
        Front stagger that the car would then have, m; negative with the left front the bigger.
    """

    rates: Rates
    now: Real
    then: Real
    hold_front: Real
    front_then: Real


def stagger_effect(car: Car, change: Real) -> StaggerEffect:
    """The bite side effect of a change of rear stagger.

    Parameters
    ----------
    car : Car
    change : float
        Rear stagger added, m.
    """
    rates = bite_rates(car)
    now = car.weights.bite
    hold = change * rates.rear / rates.front
    then = now - rates.rear * change
    return StaggerEffect(rates, now, then, hold, car.front.stagger + hold)


# Scale pads


def pad_pattern(car: Car) -> Corners:
    """Change of each pad per change of bite; no other keeps the weight and both moments."""
    front = 0.5 * car.rear.track_width / car.front.track_width
    return Corners(-front, front, 0.5, -0.5)


@dataclass(frozen=True)
class Pads:
    """Four pads, and the corner that was lifted off its pad, if any."""

    weights: CornerWeights
    lifted: str | None = None


def pads_after(car: Car, raised: float) -> Pads:
    """The pads of a car after its bite was raised.

    A pad cannot pull. When one would go below nothing its wheel hangs free, and the other three
    carry what total and moments say: the same pattern, up to the point where that pad is empty.

    Parameters
    ----------
    car : Car
        Its `weights` are the pads before.
    raised : float
        Change of bite as long as every wheel is down, N.
    """
    pattern = np.array(pad_pattern(car), dtype=float)
    now = np.array(_pads(car.weights), dtype=float)
    falling = pattern * raised < 0
    room = np.where(falling, now / np.where(falling, np.abs(pattern), 1.0), np.inf)
    least = int(np.argmin(room))
    lifted = CORNERS[least] if abs(raised) > room[least] else None
    then = now + pattern * np.sign(raised) * min(abs(raised), room[least])
    if lifted:
        then[least] = 0.0
    return Pads(CornerWeights(*map(float, then)), lifted)


def _pads(weights: CornerWeights) -> Corners:
    return Corners(weights.left_front, weights.right_front, weights.left_rear, weights.right_rear)


# What holds bite


@dataclass(frozen=True)
class Hold:
    """One change that puts bite back, rounded to what can be done.

    Attributes
    ----------
    means : str
        ``front`` (front stagger), ``jack`` or ``spacer``.
    corner : str
        Where it is done: the right front tire, or the corner of the jack or spacer.
    change : Change
    left_over : float
        Change of bite that remains, N.
    """

    means: str
    corner: str
    change: Change
    left_over: float

    @property
    def front_stagger(self) -> Real:
        return self.change.front_stagger


def holds(car: Car, rates: Rates, raised: float, means: str) -> list[Hold]:
    """The changes that put bite back, least left over first.

    Where the scales could not tell them apart, front stagger comes before a jack and a rear jack
    before a front one.

    Parameters
    ----------
    car : Car
    rates : Rates
    raised : float
        How much bite was raised, N.
    means : str
        ``front``, ``jacks`` (or spacers, in a car with springs and no jacks) or ``either``.

    Raises
    ------
    BiteError
        If `means` is ``jacks`` and neither jack nor spacer can be reckoned.
    """
    front = [_hold(rates, raised, "front", "right_front", STAGGER_STEP)]
    jacks = [
        _hold(rates, raised, "jack", corner, TURN_STEP)
        for corner in _corners_known(rates.rear_turn, rates.front_turn)
    ] or [
        _hold(rates, raised, "spacer", corner, SPACER_STEP)
        for corner in _corners_known(rates.rear_seat, rates.front_seat)
        if car.springs is not None
    ]
    if means == "jacks" and not jacks:
        raise BiteError(
            "no jack or spacer can be reckoned; add springs and jacks: thread to the car file, "
            "or use --hold front"
        )
    found = {"front": front, "jacks": jacks, "either": front + jacks}[means]
    return sorted(found, key=lambda hold: abs(hold.left_over) // SCALES_TELL)


def _corners_known(rear: Real | None, front: Real | None) -> list[str]:
    """Corners that can be turned, rear first: a front linkage makes the front less sure."""
    order = [(rear, "left_rear"), (rear, "right_rear"), (front, "right_front"),
             (front, "left_front")]  # fmt: skip
    return [corner for rate, corner in order if rate is not None]


def _hold(rates: Rates, raised: float, means: str, corner: str, step: float) -> Hold:
    def change(amount: float) -> Change:
        where = only(corner, amount)
        if means == "front":
            return Change(rollouts=where)
        return Change(turns=where) if means == "jack" else Change(spacers=where)

    one = float(bite_change(rates, change(step)))
    done = change(step * round(-raised / one))
    return Hold(means, corner, done, float(raised + bite_change(rates, done)))


# All of it together


@dataclass(frozen=True)
class Outcome:
    """What a change does on the scales.

    Attributes
    ----------
    rates : Rates
    change : Change
        As asked.
    raised : float
        Change of bite with every wheel down, N.
    now, then : Pads
        Before and after the change, bite not held.
    holds : list of Hold
        Best first; empty when none was asked for.
    held : Pads
        After the change and the best hold; `then` when there is none.
    ride_heights : Corners or None
        Change of chassis height above each wheel, hold included, m; None without springs or with a
        wheel lifted.
    gear_change : float
        Share by which engine speed at a given road speed rises; with the mean rear rollout.
    """

    rates: Rates
    change: Change
    raised: float
    now: Pads
    then: Pads
    holds: list[Hold]
    held: Pads
    ride_heights: Corners | None
    gear_change: float


def weigh_change(car: Car, change: Change, hold: str | None = None) -> Outcome:
    """What a change does on the scales and what holds bite.

    Parameters
    ----------
    car : Car
        Scalar fields.
    change : Change
    hold : str, optional
        As `means` of `holds`.

    Raises
    ------
    BiteError
        If an effect cannot be told from what the car file holds.
    """
    rates = bite_rates(car)
    raised = float(bite_change(rates, change))
    then = pads_after(car, raised)
    found = holds(car, rates, raised, hold) if hold else []
    all_done = change + found[0].change if found else change
    return Outcome(
        rates=rates,
        change=change,
        raised=raised,
        now=Pads(car.weights),
        then=then,
        holds=found,
        held=pads_after(car, found[0].left_over) if found else then,
        ride_heights=None if then.lifted else _ride_heights(car, all_done),
        gear_change=_gear_change(car, change),
    )


def _ride_heights(car: Car, change: Change) -> Corners | None:
    if car.springs is None or (any(change.turns) and car.jack_thread is None):
        return None
    return settle(car, change).ride_heights


def _gear_change(car: Car, change: Change) -> float:
    before = car.rear.mean_rollout
    after = before + 0.5 * (change.rollouts.left_rear + change.rollouts.right_rear)
    return float(before / after - 1)


def bite_map(
    car: Car, rates: Rates, rear_staggers: FloatArray, front_staggers: FloatArray
) -> FloatArray:
    """Bite for pairs of staggers, N, shape (front, rear); the car as it is otherwise."""
    rear = rates.rear * (np.asarray(rear_staggers) - car.rear.stagger)
    front = rates.front * (np.asarray(front_staggers) - car.front.stagger)
    raised = front[:, None] - rear[None, :]
    pattern = np.array(pad_pattern(car), dtype=float)
    pads = np.array(_pads(car.weights), dtype=float) / pattern
    return np.asarray(
        car.weights.bite + np.clip(raised, -np.min(pads[pads > 0]), -np.max(pads[pads < 0]))
    )


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


@dataclass(frozen=True)
class ScaleSession:
    """One weighing of the car.

    Attributes
    ----------
    label : str
    line : int
        Of its file.
    driver_in : bool
    rollouts : Corners
        m.
    turns : Corners or None
        Jack positions in turns; None when not recorded.
    weights : CornerWeights
        N.
    """

    label: str
    line: int
    driver_in: bool
    rollouts: Corners
    turns: Corners | None
    weights: CornerWeights


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
    """The weighing that would teach most: set up as `like`, with `moved` changed by `step`."""

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
    pad_noise : float or None
        Scatter of one pad, N, as the sessions show it.
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
    sessions: int
    alone: int
    next_session: NextSession | None


def weights_that_differ(sessions: Sequence[ScaleSession]) -> list[tuple[int, str]]:
    """Sessions in which weight came, went or was moved: line and what is wrong.

    With the same driver in or out, the total, the left and the rear weight cannot change by
    anything that twists the chassis; when they do, fuel, ballast or a person moved.
    """
    faults = []
    for group in _by_driver(sessions):
        for what in ("total", "left side", "rear"):
            sums = [_part(session.weights, what) for session in group]
            usual = float(np.median(sums))
            faults += [
                (session.line, f"{session.label}: the {what} weighs {found / POUND:.0f} lb, in the "
                 f"other sessions with the driver {'in' if session.driver_in else 'out'} about "
                 f"{usual / POUND:.0f} lb; weigh with the same fuel, ballast and driver")
                for session, found in zip(group, sums, strict=True)
                if abs(found - usual) > SAME_WEIGHT
            ]  # fmt: skip
    return sorted(faults)


def _by_driver(sessions: Sequence[ScaleSession]) -> list[list[ScaleSession]]:
    groups = [[s for s in sessions if s.driver_in is seated] for seated in (True, False)]
    return [group for group in groups if group]


def _part(weights: CornerWeights, what: str) -> float:
    shares = {"total": 1.0, "left side": weights.left_share, "rear": weights.rear_share}
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
        float(rollouts.left_rear - rollouts.right_rear) / INCH,
        float(rollouts.right_front - rollouts.left_front) / INCH,
        float(turns.left_rear - turns.right_rear),
        float(turns.right_front - turns.left_front),
    ]


def fit_rates(design: _Design, y: FloatArray) -> tuple[list[LearnedRate], float]:
    """Ordinary least squares with Student intervals; also the standard error of one y."""
    from scipy.special import stdtrit

    y = design.centred(y)
    values = design.inverse @ y
    scatter = float(np.linalg.norm(y - design.X @ values)) / np.sqrt(design.freedom)
    student = stdtrit(design.freedom, 0.5 * (1 + CONFIDENCE))
    half_widths = student * scatter * np.linalg.norm(design.inverse, axis=1)
    return [LearnedRate(*map(float, r)) for r in zip(values, half_widths, strict=True)], scatter


def learn_rates(car: Car, sessions: Sequence[ScaleSession]) -> Learned:
    """Bite rates of a car from scale sessions, by least squares.

    Bite is read from all four pads: they can only change in one pattern (`pad_pattern`), and its
    least-squares fit is steadier than the two rear pads alone. The driver in or out shifts bite
    by an amount of its own.

    Parameters
    ----------
    car : Car
        For its track widths.
    sessions : sequence of ScaleSession
        At least one; checked by `weights_that_differ`.

    Returns
    -------
    Learned
        With Student intervals, which cover the truth 95 times in 100 when pad noise is Gaussian.
    """
    names = WHAT_MOVES if sessions[0].turns is not None else WHAT_MOVES[:2]
    design = _Design.of(sessions, names)
    rates: dict[str, LearnedRate] = {}
    noise = None
    if design.freedom > 0:
        fitted, scatter = fit_rates(design, _bite_by_four_pads(car, sessions))
        rates = {name: fitted[j] for j, name in enumerate(names) if design.told_apart[j]}
        noise = scatter * float(np.linalg.norm(np.array(pad_pattern(car))))
    return Learned(
        rates={name: _in_si(name, rate) for name, rate in rates.items()},
        never_moved=[name for name, still in zip(names, design.never_moved, strict=True) if still],
        tied=_tied(design, names),
        too_few=design.freedom <= 0,
        pad_noise=noise,
        sessions=len(sessions),
        alone=sum(len(group) == 1 for group in _by_driver(sessions)),
        next_session=_next_session(design, names, sessions, rates),
    )


def _bite_by_four_pads(car: Car, sessions: Sequence[ScaleSession]) -> FloatArray:
    pattern = np.array(pad_pattern(car), dtype=float)
    pads = np.array([_pads(session.weights) for session in sessions], dtype=float)
    return np.asarray(pads @ pattern / (pattern @ pattern))


def _in_si(name: str, rate: LearnedRate) -> LearnedRate:
    if "jacks" in name:
        return rate
    return LearnedRate(rate.value / INCH, rate.half_width / INCH)


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
