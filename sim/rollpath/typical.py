"""What a full-bodied dirt car is like where its file says nothing, and how well anything is known.

One table, by the keys of the car file. The sources are all engineering judgement: what racers and
builders of such cars would expect, no survey.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rollpath.units import FOOT, HP, INCH, POUND, PSI


@dataclass(frozen=True)
class Typical:
    """A value and its doubts, one standard deviation each, SI.

    Attributes
    ----------
    value : float
        Taken where the file gives none.
    doubt : float
        Of that.
    given_doubt : float
        Of the value in a file.
    """

    value: float
    doubt: float
    given_doubt: float


_LB_IN = POUND / INCH

TYPICAL: dict[str, Typical] = {
    "wheelbase": Typical(108 * INCH, 3 * INCH, 0.25 * INCH),
    "front.track_width": Typical(63 * INCH, 2 * INCH, 0.25 * INCH),
    "front.left.rollout": Typical(82 * INCH, 2 * INCH, INCH / 16),
    "front.right.rollout": Typical(83.25 * INCH, 2 * INCH, INCH / 16),
    "rear.track_width": Typical(64 * INCH, 2 * INCH, 0.25 * INCH),
    "rear.left.rollout": Typical(84 * INCH, 2 * INCH, INCH / 16),
    "rear.right.rollout": Typical(86 * INCH, 2 * INCH, INCH / 16),
    # 3,050 lb with the driver: left side 52 per cent, rear 50.5.
    "weights.left_front": Typical(790 * POUND, 60 * POUND, 4 * POUND),
    "weights.right_front": Typical(720 * POUND, 60 * POUND, 4 * POUND),
    "weights.left_rear": Typical(795 * POUND, 60 * POUND, 4 * POUND),
    "weights.right_rear": Typical(745 * POUND, 60 * POUND, 4 * POUND),
    "cg_height": Typical(18 * INCH, 1.5 * INCH, 0.75 * INCH),
    # Two arms a side in front, -2 to 6 in; a live axle behind on leaves or a cross bar, 8 to 13.
    "roll_center.front": Typical(3 * INCH, 2 * INCH, 0.75 * INCH),
    "roll_center.rear": Typical(10 * INCH, 2 * INCH, 0.75 * INCH),
    "power": Typical(300 * HP, 60 * HP, 20 * HP),
    # A boxy body: drag coefficient about 0.8 on 22 ft2.
    "drag_area": Typical(18 * FOOT**2, 2.5 * FOOT**2, 1.5 * FOOT**2),
    # 4.9 to 6.5 on short tracks.
    "gear_ratio": Typical(5.8, 0.5, 0.01),
    "steering_ratio": Typical(12.0, 2.0, 0.5),
    # 900 to 1,400 lb/in at dirt pressures; one that was given was seldom measured at race heat.
    "tire.spring_rate": Typical(1100 * _LB_IN, 130 * _LB_IN, 80 * _LB_IN),
    # Share of the rate that air carries: 0.6 to 0.9 in bias-ply racing tires.
    "tire.air_share": Typical(0.75, 0.1, 0.05),
    # The bias-ply third is a rule itself (Jazar, Vehicle Dynamics, ch. 3); racing tires differ.
    "tire.loaded_share": Typical(1.0 / 3.0, 0.04, 0.04),
    "tire.growth": Typical(0.0, INCH / 8, INCH / 16),
    # The right side carries more and is given more air; what a gauge reads cold grows on the track.
    "pressure.left_front": Typical(12 * PSI, 2 * PSI, 0.7 * PSI),
    "pressure.right_front": Typical(16 * PSI, 2 * PSI, 0.7 * PSI),
    "pressure.left_rear": Typical(12 * PSI, 1.5 * PSI, 0.7 * PSI),
    "pressure.right_rear": Typical(15 * PSI, 1.5 * PSI, 0.7 * PSI),
    # The front's share of the roll stiffness; by the springs, where the file has them.
    "springs": Typical(0.6, 0.08, 0.04),
}

LOADED_SHARES = {"bias": TYPICAL["tire.loaded_share"].value, "radial": 0.2}
"""Share of a tire's deflection by which its rolling radius falls. Bias: Jazar, Vehicle Dynamics,
ch. 3. Radial: engineering judgement; the belt keeps its length, so that it loses less, 0.1 to
0.3."""


def typical(key: str) -> float:
    """The typical value of a key of the car file, SI.

    Parameters
    ----------
    key : str
        Dotted.
    """
    return TYPICAL[key].value


def filled_in(values: Mapping[str, Any]) -> tuple[dict[str, Any], frozenset[str]]:
    """The values of a car file with what is missing filled in.

    A missing rollout is told from the other tire of its axle, when that was taped.

    Returns
    -------
    values : dict
        Nested like the file.
    assumed : frozenset of str
        Dotted keys of what was filled in; ``springs`` and ``gear_ratio`` where there are none.
    """
    filled: dict[str, Any] = {key: _copy(value) for key, value in values.items()}
    assumed = frozenset(key for key in TYPICAL if not _is_given(values, key))
    for key in assumed - {"springs", "gear_ratio"}:
        *groups, name = key.split(".")
        place = filled
        for group in groups:
            place = place.setdefault(group, {})
        place[name] = _beside(values, key) if name == "rollout" else typical(key)
    return filled, assumed


def _copy(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copy(inner) for key, inner in value.items()}
    return value


def _is_given(values: Mapping[str, Any], key: str) -> bool:
    return _found(values, key) is not None


def _found(values: Mapping[str, Any], key: str) -> Any:
    here: Any = values
    for name in key.split("."):
        here = here.get(name) if isinstance(here, Mapping) else None
    return here


def _beside(values: Mapping[str, Any], key: str) -> float:
    """A rollout that goes with the other one of its axle, by the typical stagger."""
    other = key.replace("left", "right") if "left" in key else key.replace("right", "left")
    given = _found(values, other)
    return typical(key) + (0.0 if given is None else given - typical(other))


def unsure(assumed: frozenset[str]) -> Iterator[tuple[str, float]]:
    """Each key with its standard deviation, as given or as assumed.

    Parameters
    ----------
    assumed : frozenset of str
        Dotted keys of the car file.
    """
    for key, known in TYPICAL.items():
        yield key, known.doubt if key in assumed else known.given_doubt
