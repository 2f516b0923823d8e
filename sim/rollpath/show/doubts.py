"""How sure an answer is, in words: the give-or-take, its largest shares, and what was assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.screen import Screen, inches
from rollpath.show.words import paragraph, row

if TYPE_CHECKING:
    from rollpath.doubts import Doubt, GiveOrTake

LARGEST = 3
"""Shares that are named; the rest hardly shows."""
LEAST_TOLD = 0.05
"""Share of the whole below which what was assumed is not worth a line."""

_NAMES: dict[str, tuple[str, str, str]] = {
    # What it is called, its kind, and how to know it better.
    "wheelbase": ("wheelbase", "tape", "tape the wheelbase"),
    "front.track_width": ("front track width", "tape", "tape the front track width"),
    "rear.track_width": ("rear track width", "tape", "tape the rear track width"),
    "rear.left.rollout": ("left rear rollout", "tape", "tape the rear tires"),
    "rear.right.rollout": ("right rear rollout", "tape", "tape the rear tires"),
    "weights.left_front": ("left front weight", "weight", "weigh the car on four pads"),
    "weights.right_front": ("right front weight", "weight", "weigh the car on four pads"),
    "weights.left_rear": ("left rear weight", "weight", "weigh the car on four pads"),
    "weights.right_rear": ("right rear weight", "weight", "weigh the car on four pads"),
    "cg_height": ("cg height", "tape", "weigh the car again with the rear raised"),
    "roll_center.front": ("front roll center height", "tape", "measure the front roll center"),
    "roll_center.rear": ("rear roll center height", "tape", "measure the rear roll center"),
    "power": ("power", "power", "have the power measured"),
    "drag_area": ("drag area", "area", "time how the car coasts down"),
    "gear_ratio": ("gear ratio", "number", "count the turns of the driveshaft"),
    "tire.spring_rate": ("tire rate", "stiffness", "measure the tire rate on a spring rater"),
    "tire.air_share": (
        "share of the tire rate that is air", "number",
        "measure the tire rate at two pressures",
    ),
    "tire.loaded_share": (
        "how a loaded tire rolls", "number", "roll the car one turn loaded and jacked light"
    ),
    "tire.growth": ("growth of the stagger when hot", "tape", "tape the stagger hot"),
    "pressure.left_rear": ("left rear pressure", "pressure", "gauge the rear tires hot"),
    "pressure.right_rear": ("right rear pressure", "pressure", "gauge the rear tires hot"),
    "springs": ("front share of the roll stiffness", "number", "give the springs in the car file"),
    "grip": ("grip", "number", "time a lap: the lap time tells the grip"),
    "timed_grip": ("grip by the lap time", "number", "have the power measured"),
    "slip_stiffness": ("slip stiffness", "number", "log a run"),
    "radius_1": ("radius of turns 1-2", "length", "measure the radius of turns 1-2 again"),
    "radius_2": ("radius of turns 3-4", "length", "measure the radius of turns 3-4 again"),
    "straight": ("length of the straights", "length", "measure the straights again"),
    "bank": ("bank of the corners", "angle", "measure the bank again"),
    "line": ("line driven", "length", "log a lap for the line"),
    "tape": ("tape", "tape", "tape each rear tire three times and take the mean"),
}  # fmt: skip


def sure_lines(sure: GiveOrTake, screen: Screen) -> list[str]:
    """The give-or-take, the largest shares, and how to shrink them."""
    most = sure.doubts[:LARGEST]
    shares = ", ".join(f"{_NAMES[one.name][0]} {screen.fine(one.worth)}" for one in most)
    advice = list(dict.fromkeys(_NAMES[one.name][2] for one in most))
    return [
        row("give or take", f"{screen.fine(sure.total)}, nine times in ten"),
        row("most of it from", shares),
        row("surer by", "; ".join(advice)),
    ]


def short_sure_lines(sure: GiveOrTake, screen: Screen, count: int = 2) -> list[str]:
    """What is behind most of the give-or-take, so many of them, and what shrinks it."""
    most = sure.doubts[:count]
    told = [
        f"{_NAMES[one.name][0]}{' (not given)' if one.assumed else ''} {screen.fine(one.worth)}"
        for one in most
    ]
    return [f"most from {', '.join(told)}; surer by: {_NAMES[most[0].name][2]}"]


def assumed_lines(sure: GiveOrTake, screen: Screen) -> list[str]:
    """What no file gave, what was taken instead, and how far that may move the answer."""
    told = [
        one for one in sure.assumed
        if one.name not in ("grip", "slip_stiffness", "line")
        and one.worth > LEAST_TOLD * sure.total
    ]  # fmt: skip
    return [paragraph(f"  {_assumed_words(one, screen)}") for one in told]


def _assumed_words(one: Doubt, screen: Screen) -> str:
    name, kind, _ = _NAMES[one.name]
    value = (
        screen.tape(one.value) if kind == "tape"
        else screen.pressure(one.value) if kind == "pressure"
        else f"{one.value:.2g}" if kind == "number"
        else screen.of_kind(float(f"{one.value:.6g}"), kind)
    )  # fmt: skip
    return f"{name} not given, {value} assumed, worth {screen.fine(one.worth)}"


def sure_json(sure: GiveOrTake) -> dict[str, Any]:
    """The give-or-take and its shares, inches nine times in ten."""
    return {
        "uncertainty_in": inches(sure.total),
        "uncertainty_shares_in": {
            one.name.replace(".", "_"): inches(one.worth) for one in sure.doubts
        },
        "assumed_shares_in": {
            one.name.replace(".", "_"): inches(one.worth) for one in sure.assumed
        },
    }
