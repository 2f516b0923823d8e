"""Bite: what a change of tires, jacks or spacers does on the four scale pads, and what holds it.

A car stands on four pads. A bigger tire or a longer jack trades weight between the two diagonals;
how much follows from how stiff the car is against being twisted. A chassis that leans while it is
twisted carries its centre of gravity to one side and helps the lean on [1]_: a little weight goes
from one side to the other as well.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 6 (roll stiffness of an axle; the
   roll angle, whose stiffness is less by weight times height above the roll axis).
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

TIPPING = 0.8
"""Share of the roll stiffness that gravity may take before nothing is told. Engineering judgement:
the lean is then five times what the springs alone would give, and no longer small."""


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

    Parameters
    ----------
    axle : Axle
    left, right : float or ndarray, optional
        New rollouts, m.
    stagger : float or ndarray, optional
        New stagger, m.

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
    of an axle and the roll of the chassis, and its weight helps every lean (`_gravity`). Linear:
    for changes that are small beside the track width. A front spring is taken to act at its wheel,
    so a front jack or spacer counts by the height it gives at the wheel.

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
        If the car has no springs, there are jack turns and no thread, or it would tip.
    """
    A, k = _frame(car), _rates_of(car, change)
    rises = [_tire_rises(car, change), _seat_rises(car, change), np.zeros(len(k) - 8)]
    gaps = np.concatenate(rises)[:, None]
    q = _settled(A, k, -A.T @ (k[:, None] * gaps))
    return _stance(car, q[:, 0], _loads(A, k, q, gaps)[:, 0])


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
    pushed = np.array([[-weight, weight * x, -weight * y, 0.0, 0.0, 0.0, 0.0]]).T
    q = _settled(A, k, pushed)
    return _stance(car, q[:, 0], _loads(A, k, q)[:, 0])


@dataclass(frozen=True)
class Moves:
    """One figure for each thing that twists the chassis: stagger of an axle, height of one seat."""

    rear: Real
    front: Real
    rear_seat: Real
    front_seat: Real


def unit_twists(car: Car) -> tuple[Moves, Moves]:
    """What the four pads say when one thing is moved the way that raises bite.

    Parameters
    ----------
    car : Car
        With `springs`; numeric fields scalar or of shape (cases,).

    Returns
    -------
    bite : Moves
        Rise of left rear less right rear, N per m of stagger, or of the height of one seat.
    ahead : Moves
        Rise of right front less left front per rise of bite. With a chassis that carries no
        weight over it is the ratio of the track widths, rear by front, for all.

    Raises
    ------
    BiteError
        If the car has no springs, or would tip.
    """
    A, k = _frame(car), _rates_of(car, Change())
    gaps = np.zeros((k.shape[-1], 4))
    half = 0.5 / (2 * np.pi)
    gaps[2:4, 0], gaps[0:2, 1] = [half, -half], [-half, half]
    gaps[6:8, 2], gaps[4:6, 3] = [0.5, -0.5], [-0.5, 0.5]
    q = _settled(A, k, -np.swapaxes(A, -1, -2) @ (k[..., None] * gaps))
    loads = _loads(A, k, q, gaps)
    bite = loads[..., 2, :] - loads[..., 3, :]
    ahead = (loads[..., 1, :] - loads[..., 0, :]) / bite
    return Moves(*np.moveaxis(bite, -1, 0)), Moves(*np.moveaxis(ahead, -1, 0))


def _settled(A: FloatArray, k: FloatArray, pushed: FloatArray) -> FloatArray:
    """Motions with which a push is balanced: ``A^T C A q = push`` [3]_, shape (..., 7, pushes)."""
    At = np.swapaxes(A, -1, -2)
    stiffness = At @ (k[..., None] * A)
    near = At @ (np.where(k < 0, k / TIPPING, k)[..., None] * A)
    if np.min(np.linalg.eigvalsh(near)) <= 0:
        raise BiteError(
            "springs so soft would let the car lean over by itself; check springs, cg_height and "
            "roll_center in the car file"
        )
    return np.asarray(np.linalg.solve(stiffness, pushed))


def _loads(A: FloatArray, k: FloatArray, q: FloatArray, gaps: FloatArray | float = 0) -> FloatArray:
    """Change of the load of the four tires, shape (..., 4, pushes)."""
    return np.asarray((k[..., None] * (A @ q + gaps))[..., :4, :])


def _stance(car: Car, q: FloatArray, loads: FloatArray) -> Stance:
    x, y = _places(car)
    heights = q[0] - q[1] * x + q[2] * y
    twist = 0.5 * float(car.rear.track_width) * (loads[2] - loads[3])
    return Stance(Corners(*map(float, loads)), Corners(*map(float, heights)), float(twist))


def _places(car: Car) -> tuple[FloatArray, FloatArray]:
    """Where the four wheels stand, x forward and y left of the middle of the car, m, (..., 4)."""
    half, t_f, t_r = 0.5 * car.wheelbase, car.front.half_track, car.rear.half_track
    return _four(half, half, -half, -half), _four(t_f, -t_f, t_r, -t_r)


def _four(*values: Real) -> FloatArray:
    """Values side by side in the last dimension, each the same for all cases or one a case."""
    return np.stack(np.broadcast_arrays(*(np.asarray(one, float) for one in values)), axis=-1)


def _frame(car: Car) -> FloatArray:
    """How much each spring shortens for each motion, shape (..., 14, 7).

    Rows: four tires, four springs, front bar, rear bar (these in rad); then the leans that gravity
    helps, in rad: chassis roll and pitch, tilt of the front hubs, roll of the rear axle. Columns:
    chassis heave, pitch (nose down) and roll (left side up), left and right front hub, rear axle
    heave and roll.
    """
    if car.springs is None:
        raise BiteError("the car file has no springs")
    x, y = _places(car)
    base = np.asarray(car.springs.rear_base, dtype=float)
    x, y, base = np.broadcast_arrays(x, y, base[..., None])
    seat_y = y.copy()
    seat_y[..., 2:] = 0.5 * base[..., :2] * [1.0, -1.0]
    tilt = 1 / (y[..., 0] - y[..., 1])
    A = np.zeros((*y.shape[:-1], 14, 7))
    A[..., 0, 3] = A[..., 1, 4] = -1.0
    A[..., 2:4, 5], A[..., 2:4, 6] = -1.0, -y[..., 2:]
    A[..., 4, 3] = A[..., 5, 4] = 1.0
    A[..., 6:8, 5], A[..., 6:8, 6] = 1.0, seat_y[..., 2:]
    A[..., 4:8, 0], A[..., 4:8, 1], A[..., 4:8, 2] = -1.0, x, -seat_y
    A[..., 8, 2], A[..., 8, 3], A[..., 8, 4] = -1.0, tilt, -tilt
    A[..., 9, 2], A[..., 9, 6] = -1.0, 1.0
    A[..., 10, 2] = A[..., 11, 1] = A[..., 13, 6] = 1.0
    A[..., 12, 3], A[..., 12, 4] = tilt, -tilt
    return A


def _rates_of(car: Car, change: Change) -> FloatArray:
    """Stiffness of each row of `_frame` after a change, N/m and N m/rad, shape (..., 14)."""
    assert car.springs is not None
    tires = tire_rates(car, change.pressures)
    springs = [*car.springs.front_wheel_rate, *car.springs.rear_rate]
    bars = [car.springs.front_bar, car.springs.rear_bar]
    return _four(*tires, *springs, *bars, *(-lean for lean in _gravity(car)))


def _gravity(car: Car) -> tuple[Real, Real, Real, Real]:
    """What gravity adds to each lean, N m per rad: weight times height above what it leans about.

    The suspension holds the chassis sideways at the roll centre of each end, which an axle that
    tilts on the ground takes along by its height; from there up the chassis leans with its own
    roll, about the roll axis at the centre of gravity. Wheels roll freely on the pads, so it
    pitches about the height of the hubs. Axle and wheels are counted as chassis: 1 % of a rate.
    """
    W, (h_f, h_r) = car.weights, car.roll_center
    front, rear = (W.left_front + W.right_front) * h_f, (W.left_rear + W.right_rear) * h_r
    hubs = 0.5 * (car.front.mean_rollout + car.rear.mean_rollout) / (2 * np.pi)
    upright = W.total * car.cg_height
    return upright - front - rear, upright - W.total * hubs, front, rear


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
    """Change of each pad per change of bite in a chassis that carries no weight over.

    Only this keeps the weight and both moments. A chassis that leans shifts its centre of gravity
    sideways; then the front pads change by more or less (`unit_twists`).
    """
    front = 0.5 * car.rear.track_width / car.front.track_width
    return Corners(-front, front, 0.5, -0.5)


@dataclass(frozen=True)
class Pads:
    """Four pads, and the corner that was lifted off its pad, if any."""

    weights: Corners[Real]
    lifted: str | None = None


def pads_after(car: Car, raised: float, ahead: float | None = None) -> Pads:
    """The pads of a car after its bite was raised.

    A pad cannot pull. When one would go below nothing its wheel hangs free, and the other three
    carry what total and moments say: the same pattern, up to the point where that pad is empty.

    Parameters
    ----------
    car : Car
        Its `weights` are the pads before.
    raised : float
        Change of bite as long as every wheel is down, N.
    ahead : float, optional
        Change of right front less left front, N; by `pad_pattern` when left out, and once a wheel
        is lifted: what a chassis then still carries over is left out.
    """
    moved = np.array(pad_pattern(car), dtype=float) * raised
    now = np.array(car.weights, dtype=float)
    falling = moved < 0
    with np.errstate(over="ignore"):  # a pad that hardly moves has room without end
        room = np.where(falling, now / np.where(falling, -moved, 1.0), np.inf)
    least = int(np.argmin(room))
    lifted = CORNERS[least] if room[least] < 1 else None
    then = now + moved * min(1.0, room[least])
    if lifted:
        then[least] = 0.0
    elif ahead is not None:
        half = np.clip(0.5 * ahead, -now[1], now[0])
        then[0], then[1] = now[0] - half, now[1] + half
    return Pads(Corners(*map(float, then)), lifted)
