"""The run that was just made, as the trailer knows it: what the book keeps of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from rollpath.book.run import Run, settled
from rollpath.car import Car
from rollpath.stagger import Baseline
from rollpath.trailer.advice import Advice
from rollpath.trailer.trailer import Trailer

_SOURCES = {"weighed": "scales", "predicted": "predicted"}


def car_values(car: Car) -> dict[str, Any]:
    """What a run keeps of a car, by attribute of `Run`."""
    weights = {f"{corner}_weight": weight for corner, weight in car.weights.by_name().items()}
    return {
        "left_front_rollout": car.front.left_rollout,
        "right_front_rollout": car.front.right_rollout,
        "left_rear_rollout": car.rear.left_rollout,
        "right_rear_rollout": car.rear.right_rollout,
        **weights,
    }


def as_it_stands(trailer: Trailer) -> dict[str, Any]:
    """What a run keeps of the car in the trailer beside its rollouts and weights."""
    values: dict[str, Any] = {}
    for corner, fitted in trailer.night.on_car.by_name().items():
        values[f"{corner}_tire"] = fitted.tire or None
        values[f"{corner}_pressure"] = fitted.pressure
        values[f"{corner}_jack"] = fitted.turns or None
    values["weights_from"] = _SOURCES.get(trailer.standing.bite_from)
    return {name: value for name, value in values.items() if value is not None}


def advice_values(result: Baseline, physics: Baseline | None = None) -> dict[str, Any]:
    """What a run keeps of what was advised, and of what the physics alone said of it."""
    best, alone = result.stagger, (physics or result).stagger
    return {
        "groove": result.groove.name,
        "recommended_stagger": float(best.recommended),
        "optimum_stagger": float(alone.unbounded),
        "window_low": best.window[0],
        "window_high": best.window[1],
    }


def run_of_tonight(advice: Advice, told: Mapping[str, Any], when: datetime) -> Run:
    """The car as it stands tonight, what was advised, and what was told of the run.

    Parameters
    ----------
    advice : Advice
        Of tonight.
    told : mapping
        Attributes of `Run`, SI.
    when : datetime

    Raises
    ------
    book.run.BookError
        One line for each thing that cannot be kept.
    """
    result = advice.result
    values = {
        **car_values(result.car), **as_it_stands(advice.trailer),
        **advice_values(result, advice.physics),
        "when": when, "track": result.track.name, "car": result.car.name,
        "condition": advice.trailer.night.condition or result.condition.name,
    }  # fmt: skip
    return settled(Run(**{**values, **{name: at for name, at in told.items() if at is not None}}))
