"""Ways to a bite, a spring swapped, fuel burned and bite in motion, in words and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rollpath.scales.twist import Pads
from rollpath.screen import TRADE, Screen, inches, pounds, psi
from rollpath.show.bite import (
    Beside,
    air_json,
    air_lines,
    change_words,
    corner_words,
    corners_json,
    longer_words,
    pads_json,
)
from rollpath.show.words import caution_lines, columns, none_or, paragraph, row, sections

if TYPE_CHECKING:
    from rollpath.car import Car
    from rollpath.corners import Corners
    from rollpath.scales.loading import FuelLoad, SpringSwap
    from rollpath.scales.motion import BiteInMotion
    from rollpath.scales.ways import Way, Ways
    from rollpath.tires.air import AirEffect


def ways_screen(found: Ways, screen: Screen) -> str:
    """Ways to a bite for a racer, the best first."""
    now = float(found.car.weights.bite)
    head = [
        f"Bite {screen.weight(now)} now, {screen.weight(found.wanted)} wanted "
        f"({screen.weight(found.wanted - now, signed=True)}). Do one of these:"
    ]
    if not found.ways:
        return sections([["Bite is there already: nothing to do."], caution_lines()], screen)
    ways = [line for way in found.ways for line in _way_lines(way, screen)]
    return sections([[*head, *ways], caution_lines()], screen)


def short_screen(result: Ways, screen: Screen = TRADE) -> str:
    """Ways to a bite in short."""
    return ways_screen(result, screen)


def _way_lines(way: Way, screen: Screen) -> list[str]:
    told = "; ".join(change_words(way.outcome.change, screen))
    if way.guessed:
        told += f" (typical {' and '.join(way.guessed)})"
    left = screen.weight(way.left_over, 1, signed=True)
    lines = [paragraph(f"{told}: leaves {left}", "  ")]
    return lines + ([paragraph(_side_words(way, screen), "    ")] if screen.full else [])


def _side_words(way: Way, screen: Screen) -> str:
    """What else a way moves: ride heights, stagger, gear."""
    outcome, told = way.outcome, []
    heights = outcome.ride_heights
    if heights is not None:
        most = max(abs(float(height)) for height in heights)
        told.append(
            "ride height stays" if most < 0.8e-3 else
            "ride height " + ", ".join(
                f"{corner_words(corner)} {screen.fine(float(height), signed=True)}"
                for corner, height in heights.by_name().items()
            )
        )  # fmt: skip
    for axle, added in (("rear", outcome.change.rear_stagger),
                        ("front", outcome.change.front_stagger)):  # fmt: skip
        if np.any(added):
            told.append(f"{axle} stagger {screen.fine(added, signed=True)}")
    if outcome.gear_change:
        told.append(f"gear {100 * outcome.gear_change:+.1f} %")
    return "; ".join(told) or "nothing else is known to move"


def ways_json(found: Ways) -> dict[str, Any]:
    """Ways to a bite; keys end in their unit."""
    return {
        "car": found.car.name,
        "bite_lb": pounds(found.car.weights.bite),
        "wanted_lb": pounds(found.wanted),
        "ways": [
            {
                "means": way.means,
                "jack_turns": way.outcome.change.turns.by_name(),
                "spacers_in": corners_json(way.outcome.change.spacers),
                "rollouts_in": corners_json(way.outcome.change.rollouts),
                "pressures_psi": _psi(way.outcome.change.pressures),
                "left_over_lb": pounds(way.left_over),
                "typical": list(way.guessed),
                "ride_height_change_in": none_or(way.outcome.ride_heights, corners_json),
                "gear_change_pct": 100 * way.outcome.gear_change,
            }
            for way in found.ways
        ],
    }


def _psi(pressures: Corners[Any]) -> dict[str, Any]:
    return pressures.map(psi).by_name()


# A spring swapped, fuel, motion


def spring_lines(swaps: Sequence[SpringSwap], screen: Screen) -> list[str]:
    """Spring by spring the turns that put the car back, and what is off when nothing is."""
    lines = []
    for one in swaps:
        turns = (
            f"seat {screen.fine(one.seat, signed=True)}"
            if one.turns is None
            else f"jack {longer_words(round(4 * one.turns) / 4)}"
        )
        told = (
            f"{turns} puts ride height and pads back; left alone, bite "
            f"{screen.weight(one.bite_change, signed=True)} and that corner "
            f"{screen.fine(getattr(one.ride_heights, one.corner), signed=True)}"
        )
        lines.append(row(f"{corner_words(one.corner)} spring", told))
    if not lines:
        return []
    return ["Another spring of the same free length (estimates)", *lines]


def spring_json(one: SpringSwap) -> dict[str, Any]:
    """A spring swapped; keys end in their unit."""
    return {
        "corner": one.corner,
        "load_lb": pounds(one.load),
        "seat_in": inches(one.seat),
        "turns": one.turns,
        "bite_change_lb": pounds(one.bite_change),
        "ride_height_change_in": corners_json(one.ride_heights),
    }


def fuel_lines(fuel: FuelLoad | None, screen: Screen) -> list[str]:
    """Bite and rear weight with a full and an empty cell."""
    if fuel is None:
        return []
    cells = [
        [label, screen.weight(pads.bite), screen.weight(pads.left_rear + pads.right_rear),
         f"{100 * pads.rear_share:.1f} %"]
        for label, pads in (("green, full", fuel.green), ("checkered, empty", fuel.checkered))
    ]  # fmt: skip
    return columns([["Fuel", "bite", "rear", "share"], *cells], 1)


def fuel_json(fuel: FuelLoad | None) -> dict[str, Any] | None:
    """Pads with a full and an empty cell."""
    if fuel is None:
        return None
    return {"green": pads_json(Pads(fuel.green)), "checkered": pads_json(Pads(fuel.checkered))}


def motion_lines(motions: Sequence[BiteInMotion], screen: Screen) -> list[str]:
    """Left rear less right rear load in motion, set-up by set-up."""
    if not motions:
        return []
    phases = list(motions[0].by_phase)
    rows = [["Bite in motion", *(one.name for one in motions)]]
    rows += [
        [phase, *(screen.weight(one.by_phase[phase], signed=True) for one in motions)]
        for phase in phases
    ]
    return columns(rows, 1)


def motion_json(motions: Sequence[BiteInMotion]) -> dict[str, Any]:
    """The same; keys end in their unit."""
    return {
        one.name: {f"{phase}_lb": pounds(load) for phase, load in one.by_phase.items()}
        for one in motions
    }


def beside_of(
    car: Car,
    air: Sequence[AirEffect],
    springs: Sequence[SpringSwap],
    fuel: FuelLoad | None,
    motion: Sequence[BiteInMotion],
    screen: Screen,
) -> Beside:
    """What `bite` tells beside a change."""
    return Beside(
        parts=[
            spring_lines(springs, screen), motion_lines(motion, screen),
            air_lines(car, air, screen),
        ],
        reasons=[fuel_lines(fuel, screen)],
        json={
            "air": [air_json(effect) for effect in air],
            "springs": [spring_json(swap) for swap in springs],
            "fuel": fuel_json(fuel),
            "in_motion": motion_json(motion),
        },
    )  # fmt: skip
