"""Tonight: the track and its surface, what is bolted where, and what the pads said.

Everything that is done to the car gives a new `Night`; what the pads read is kept with how the car
stood on them, so that bite after a change is predicted from the last weighing and not from an old
file. A night goes into the book and back as values by name (`as_state`, `from_state`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rollpath.car import Car
from rollpath.corners import CORNERS, Corners
from rollpath.scales.rates import bite_rates, pads_with
from rollpath.scales.twist import Change
from rollpath.units import Real


@dataclass(frozen=True)
class Fitted:
    """What is on one corner; None and empty where nobody said.

    Attributes
    ----------
    tire : str
        Its id in the rack.
    rollout : float or None
        As taped, at `pressure`, m.
    pressure : float or None
        Pa.
    turns : float
        Jack turns from where they are counted.
    """

    tire: str = ""
    rollout: float | None = None
    pressure: float | None = None
    turns: float = 0.0


NOTHING_FITTED: Corners[Fitted] = Corners.every(Fitted())


@dataclass(frozen=True)
class Night:
    """How things stand tonight.

    Attributes
    ----------
    track : str
        Name of a track of the trailer; empty when not said.
    condition : str
        As typed, such as ``slick`` or ``heavy to slick 60%``; empty when not said.
    lap_time : float or None
        Best lap so far on this surface, s.
    since : str
        When the track was said, ISO 8601.
    on_car : Corners of Fitted
    pads : Corners of float or None
        What the pads read last, N; None before the first weighing.
    driver_in : bool
        Whether the driver sat in the car then.
    weighed : Corners of Fitted
        How the car stood on the pads.
    """

    track: str = ""
    condition: str = ""
    lap_time: float | None = None
    since: str = ""
    on_car: Corners[Fitted] = field(default_factory=lambda: NOTHING_FITTED)
    pads: Corners[float] | None = None
    driver_in: bool = True
    weighed: Corners[Fitted] = field(default_factory=lambda: NOTHING_FITTED)


# What is done to it


def bolted(night: Night, corner: str, fitted: Fitted) -> Night:
    """Another tire on a corner; one that was on another corner is gone from there.

    Parameters
    ----------
    night : Night
    corner : str
        One of `CORNERS`.
    fitted : Fitted
        The tire that goes on; the jack stays as it is.
    """

    def there(name: str, now: Fitted) -> Fitted:
        if name == corner:
            return replace(fitted, turns=now.turns)
        moved = fitted.tire and now.tire == fitted.tire
        return Fitted(turns=now.turns) if moved else now

    return replace(night, on_car=_each(night.on_car, there))


def pumped(
    night: Night, car: Car, corner: str, pressure: float, growth: float, tire: str = ""
) -> Night:
    """A corner at another pressure: its tire grows by `growth` (m per Pa) from what it was.

    What nobody said of the tire is as the car file has it.

    Parameters
    ----------
    night : Night
    car : Car
        As its file has it.
    corner : str
        One of `CORNERS`.
    pressure : float
        Pa.
    growth : float
        m per Pa.
    tire : str
        What the tire is called, where nobody said.
    """
    now = fitted_with(car, night.on_car)
    said = getattr(night.on_car, corner)
    rollout = float(getattr(_rollouts(now), corner))
    if now.pressure is not None:
        rollout += growth * (pressure - float(getattr(now.pressure, corner)))
    there = replace(said, tire=said.tire or tire, pressure=pressure, rollout=rollout)
    return replace(night, on_car=replace(night.on_car, **{corner: there}))


def turned(night: Night, turns: Mapping[str, float]) -> Night:
    """Jacks turned, by corner; added to where they were.

    Parameters
    ----------
    night : Night
    turns : mapping of str to float
        By corner; positive makes the jack longer.
    """
    return replace(
        night,
        on_car=_each(
            night.on_car,
            lambda name, now: replace(now, turns=now.turns + turns.get(name, 0.0)),
        ),
    )


def weighed(night: Night, pads: Corners[float], driver_in: bool) -> Night:
    """The pads read as the car stands now.

    Parameters
    ----------
    night : Night
    pads : Corners[float]
        N.
    driver_in : bool
    """
    return replace(night, pads=pads, driver_in=driver_in, weighed=night.on_car)


def _each(on_car: Corners[Fitted], change: Any) -> Corners[Fitted]:
    return Corners(*(change(name, now) for name, now in on_car.by_name().items()))


# The car as it stands


@dataclass(frozen=True)
class Standing:
    """The car as it stands tonight.

    Attributes
    ----------
    car : Car
        With the rollouts, pressures and weights of tonight.
    bite_from : str
        ``weighed`` when the pads were read as it stands, ``predicted`` from the last weighing,
        ``assumed`` when nobody ever weighed it.
    """

    car: Car
    bite_from: str


def standing(car: Car, night: Night) -> Standing:
    """The car with what is on it, and its bite: weighed, or predicted from the last weighing.

    Raises
    ------
    scales.twist.BiteError
        If a jack was turned and what a turn does is not known.
    """
    then = NOTHING_FITTED if night.pads is None else night.weighed
    on_pads, now = fitted_with(car, then), fitted_with(car, night.on_car)
    if night.pads is not None:
        on_pads, now = (_weighing(one, night.pads) for one in (on_pads, now))
    change = _change(on_pads, now, then, night.on_car)
    source = "assumed" if "weights.left_rear" in now.assumed else "weighed"
    if change == Change():
        return Standing(now, source)
    weights = pads_with(on_pads, bite_rates(on_pads), change).weights
    return Standing(replace(now, weights=weights), source if source == "assumed" else "predicted")


def _weighing(car: Car, pads: Corners[Real]) -> Car:
    known = frozenset(key for key in car.assumed if not key.startswith("weights."))
    return replace(car, weights=pads, assumed=known)


def _change(before: Car, after: Car, then: Corners[Fitted], now: Corners[Fitted]) -> Change:
    """What was done to a car between two ways it stood; a thousandth of a tape mark is nothing."""
    rollouts = _rollouts(before).with_each(_rollouts(after), lambda a, b: float(b - a))
    pressures: Corners[float] = Corners.every(0.0)
    if before.pressure is not None and after.pressure is not None:
        pressures = before.pressure.with_each(after.pressure, lambda a, b: float(b - a))
    return Change(
        rollouts=rollouts.map(lambda grown: grown if abs(grown) > 1e-6 else 0.0),
        turns=then.with_each(now, lambda a, b: b.turns - a.turns),
        pressures=pressures.map(lambda added: added if abs(added) > 1.0 else 0.0),
    )


def _rollouts(car: Car) -> Corners[Real]:
    front, rear = car.front, car.rear
    return Corners(front.left_rollout, front.right_rollout, rear.left_rollout, rear.right_rollout)


def fitted_with(car: Car, on_car: Corners[Fitted]) -> Car:
    """The car with the rollouts and pressures of what is on it; its own where nobody said.

    Parameters
    ----------
    car : Car
        As its file has it.
    on_car : Corners[Fitted]
    """
    rollouts = on_car.with_each(
        _rollouts(car), lambda said, filed: filed if said.rollout is None else said.rollout
    )
    pressure = car.pressure
    if pressure is not None:
        pressure = on_car.with_each(
            pressure, lambda said, filed: filed if said.pressure is None else said.pressure
        )
    said = {
        key
        for (name, one), (side, axle) in zip(
            on_car.by_name().items(), (corner.split("_") for corner in CORNERS), strict=True
        )
        for key, value in (
            (f"{axle}.{side}.rollout", one.rollout), (f"pressure.{name}", one.pressure)
        )
        if value is not None
    }  # fmt: skip
    return replace(
        car,
        front=replace(
            car.front, left_rollout=rollouts.left_front, right_rollout=rollouts.right_front
        ),
        rear=replace(car.rear, left_rollout=rollouts.left_rear, right_rollout=rollouts.right_rear),
        pressure=pressure,
        assumed=car.assumed - said,
    )


# Into the book and back


def as_state(night: Night) -> dict[str, Any]:
    """The night as values of JSON by name, such as ``right_rear.tire``; what is not known is not
    there."""
    values: dict[str, Any] = {
        "track": night.track, "condition": night.condition, "lap_time": night.lap_time,
        "since": night.since, **_corners_out("", night.on_car),
    }  # fmt: skip
    if night.pads is not None:
        values |= {f"{corner}.pad": pad for corner, pad in night.pads.by_name().items()}
        values |= {"driver_in": night.driver_in, **_corners_out("weighed.", night.weighed)}
    return {name: value for name, value in values.items() if value not in (None, "")}


def _corners_out(before: str, on_car: Corners[Fitted]) -> dict[str, Any]:
    return {
        f"{before}{corner}.{name}": value
        for corner, fitted in on_car.by_name().items()
        for name, value in vars(fitted).items()
        if value not in (None, "", 0.0)
    }


def from_state(state: Mapping[str, Any]) -> Night:
    """The night again from `as_state`; names it does not know are passed over."""
    pads = [state.get(f"{corner}.pad") for corner in CORNERS]
    return Night(
        track=state.get("track", ""),
        condition=state.get("condition", ""),
        lap_time=state.get("lap_time"),
        since=state.get("since", ""),
        on_car=_corners_in("", state),
        pads=Corners(*(float(pad) for pad in pads if pad is not None))
        if None not in pads
        else None,
        driver_in=bool(state.get("driver_in", True)),
        weighed=_corners_in("weighed.", state),
    )


def _corners_in(before: str, state: Mapping[str, Any]) -> Corners[Fitted]:
    return Corners(
        *(
            Fitted(
                **{
                    name: state[key]
                    for name in Fitted.__dataclass_fields__
                    if (key := f"{before}{corner}.{name}") in state
                }
            )
            for corner in CORNERS
        )
    )


def difference(before: Night, after: Night) -> tuple[dict[str, Any], dict[str, Any]]:
    """What changed from one night to another: the values before and after, by name."""
    was, is_now = as_state(before), as_state(after)
    names = [name for name in {**was, **is_now} if was.get(name) != is_now.get(name)]
    return (
        {name: was[name] for name in names if name in was},
        {name: is_now[name] for name in names if name in is_now},
    )
