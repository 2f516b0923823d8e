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

from dataclasses import dataclass

import numpy as np

from rollpath.car import Axle, Car, tire_rates
from rollpath.corners import CORNERS, NOTHING, Corners, sum_of
from rollpath.errors import RollpathError
from rollpath.units import FloatArray, Real


class BiteError(RollpathError):
    """A change whose effect cannot be told; the message says what is missing."""


@dataclass(frozen=True)
class Change:
    """What is changed at each corner.

    Attributes
    ----------
    rollouts : Corners[Real]
        Change of rollout, m.
    turns : Corners[Real]
        Jack turns; positive makes the jack longer and lifts the chassis there.
    spacers : Corners[Real]
        Change of height of the spring seat by a spacer, m; positive lifts the chassis there.
    pressures : Corners[Real]
        Air added, Pa. A harder tire stands higher under the same load; how much more it tapes is
        part of `rollouts`.
    """

    rollouts: Corners[Real] = NOTHING
    turns: Corners[Real] = NOTHING
    spacers: Corners[Real] = NOTHING
    pressures: Corners[Real] = NOTHING

    @property
    def rear_stagger(self) -> Real:
        return self.rollouts.right_rear - self.rollouts.left_rear

    @property
    def front_stagger(self) -> Real:
        return self.rollouts.right_front - self.rollouts.left_front

    def __add__(self, other: "Change") -> "Change":
        return Change(
            sum_of(self.rollouts, other.rollouts),
            sum_of(self.turns, other.turns),
            sum_of(self.spacers, other.spacers),
            sum_of(self.pressures, other.pressures),
        )


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
class Stance:
    """How the car stands after a change, against before.

    Attributes
    ----------
    loads : Corners[Real]
        Change of the load of each tire, N.
    ride_heights : Corners[Real]
        Change of the height of the chassis above each wheel, m.
    twist : float
        Moment that twists the chassis, N m: at the rear it loads the left side, at the front the
        right side.
    """

    loads: Corners[Real]
    ride_heights: Corners[Real]
    twist: float


def stance(car: Car, change: Change) -> Stance:
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
    Stance

    Raises
    ------
    BiteError
        If the car has no springs, or there are jack turns and no thread.
    """
    A, k = _frame(car), _rates_of(car, change)
    gaps = np.concatenate([_tire_rises(car, change), _seat_rises(car, change), [0.0, 0.0]])
    q = np.linalg.solve(A.T @ (k[:, None] * A), -A.T @ (k * gaps))  # A^T C A, [3]_
    return _stance(car, q, (k * (A @ q + gaps))[:4])


def stance_under(car: Car, weight: float, x: float, y: float) -> Stance:
    """How the car stands with a weight put on it, against before.

    Parameters
    ----------
    car : Car
        With `springs`; scalar fields.
    weight : float
        N.
    x, y : float
        Forward and left of the middle of the car, m.
    """
    A, k = _frame(car), _rates_of(car, Change())
    pushed = np.array([-weight, weight * x, -weight * y, 0.0, 0.0, 0.0, 0.0])
    q = np.linalg.solve(A.T @ (k[:, None] * A), pushed)
    return _stance(car, q, k[:4] * (A @ q)[:4])


def _stance(car: Car, q: FloatArray, loads: FloatArray) -> Stance:
    x, y = _places(car)
    heights = q[0] - q[1] * x + q[2] * y
    twist = 0.5 * float(car.rear.track_width) * (loads[2] - loads[3])
    return Stance(Corners(*map(float, loads)), Corners(*map(float, heights)), float(twist))


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


def _rates_of(car: Car, change: Change) -> FloatArray:
    """Stiffness of each row of `_frame` after a change, N/m and N m/rad."""
    assert car.springs is not None
    tires = tire_rates(car, change.pressures)
    springs = [*car.springs.front_wheel_rate, *car.springs.rear_rate]
    return np.array([*tires, *springs, car.springs.front_bar, car.springs.rear_bar], dtype=float)


def _tire_rises(car: Car, change: Change) -> FloatArray:
    """How much each hub would rise on its tire with nothing in the way, m."""
    bigger = np.array(change.rollouts, dtype=float) / (2 * np.pi)
    return np.asarray(bigger + np.array(air_rises(car, change.pressures), dtype=float))


def air_rises(car: Car, added: Corners[Real]) -> Corners[Real]:
    """How much higher each tire stands under its static load with air added, m.

    A load W flattens a tire by W / rate, so ``W / rate now - W / rate then``. Growth of the
    rollout is not part of it.

    Parameters
    ----------
    car : Car
        With `pressure`, unless nothing is added.
    added : Corners[float]
        Pa; arrays make a sweep.

    Raises
    ------
    BiteError
        If air is added and the car's pressures are not known.
    """
    if not any(np.any(one) for one in added):
        return NOTHING
    if car.pressure is None:
        raise BiteError(
            "the pressures the car stands on are not known; add pressure: {left_front: 14 psi, "
            "...} to the car file, or name the rack"
        )
    now = car.weights.with_each(tire_rates(car), lambda W, k: W / k)
    then = car.weights.with_each(tire_rates(car, added), lambda W, k: W / k)
    return now.with_each(then, lambda flat, less: flat - less)


def _seat_rises(car: Car, change: Change) -> FloatArray:
    turns = np.array(change.turns, dtype=float)
    if np.any(turns) and car.jack_thread is None:
        raise BiteError("the car file has no jack thread")
    return np.array(change.spacers, dtype=float) + turns * (car.jack_thread or 0.0)


# Scale pads


def pad_pattern(car: Car) -> Corners[Real]:
    """Change of each pad per change of bite; no other keeps the weight and both moments."""
    front = 0.5 * car.rear.track_width / car.front.track_width
    return Corners(-front, front, 0.5, -0.5)


@dataclass(frozen=True)
class Pads:
    """Four pads, and the corner that was lifted off its pad, if any."""

    weights: Corners[Real]
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
    now = np.array(car.weights, dtype=float)
    falling = pattern * raised < 0
    room = np.where(falling, now / np.where(falling, np.abs(pattern), 1.0), np.inf)
    least = int(np.argmin(room))
    lifted = CORNERS[least] if abs(raised) > room[least] else None
    then = now + pattern * np.sign(raised) * min(abs(raised), room[least])
    if lifted:
        then[least] = 0.0
    return Pads(Corners(*map(float, then)), lifted)
