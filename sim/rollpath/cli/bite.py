"""`rollpath bite`: what a change does on the scales."""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rollpath.car import Axle, Car
from rollpath.cli.arguments import (
    Command,
    CommandError,
    add_output_arguments,
    at_corner,
    draw,
    find_file,
    path_of,
    plain_word,
    quantity_of,
    screen_of,
    word_of,
)
from rollpath.cli.given import trailer_of
from rollpath.corners import CORNERS, NOTHING, Corners, corner_named
from rollpath.files.cars import PRESSURE, check_change, load_car, rates_to_write
from rollpath.files.racks import load_rack
from rollpath.files.sessions import load_scale_sessions
from rollpath.files.tracks import load_track
from rollpath.files.writing import edit_yaml
from rollpath.scales.hold import Outcome, weigh_change
from rollpath.scales.learn import learn_rates
from rollpath.scales.loading import SpringSwap, fuel_load, swap_spring
from rollpath.scales.motion import BiteInMotion, bite_in_motion, set_up
from rollpath.scales.twist import BiteError, Change, rollout_change
from rollpath.scales.ways import ways_to
from rollpath.screen import Screen
from rollpath.show.bite import bite_json, bite_screen
from rollpath.show.learn import learned_json, learned_screen
from rollpath.show.ways import beside_of, ways_json, ways_screen
from rollpath.show.words import as_json
from rollpath.stagger import baseline
from rollpath.tires.air import (
    AirEffect,
    air_effect,
    limits_of,
    standing,
    valves,
)
from rollpath.tires.rack import DEFAULT_GROWTH, Rack, RackTire
from rollpath.track import CONDITIONS, DEFAULT_CONDITION
from rollpath.units import INCH, POUND, Real


@dataclass(frozen=True)
class Typed:
    """A length that was typed: a new value, or with a sign in front a change of the present one."""

    metres: float
    is_change: bool

    def onto(self, present: float) -> float:
        return self.metres + (present if self.is_change else 0.0)


def new_or_change(text: str) -> Typed:
    """An argparse type that reads ``2 1/4 in``, or ``+1/2in`` for a change."""
    return Typed(quantity_of("tape")(text), text.strip()[:1] in ("+", "-", "\N{MINUS SIGN}"))


def _add_bite(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "car", type=word_of, nargs="?", metavar="CAR", help="car file (default: the trailer's)"
    )
    parser.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    _add_change_arguments(parser)
    parser.add_argument(
        "--weights", type=quantity_of("weight"), nargs=4, metavar=("LF", "RF", "LR", "RR"),
        help="the four pads as they read now, instead of the car file's",
    )  # fmt: skip
    parser.add_argument(
        "--hold", choices=("front", "jacks", "either"),
        help="find the change that puts bite back: front stagger, a jack, or the better of them",
    )  # fmt: skip
    parser.add_argument(
        "--target", type=quantity_of("weight"), metavar="BITE",
        help="ways to reach this bite that do one thing each, such as 75lb",
    )  # fmt: skip
    moving = parser.add_argument_group("bite in motion, at entry, centre and drive-off")
    moving.add_argument("--track", type=word_of, metavar="TRACK", help="track file")
    moving.add_argument(
        "--condition", choices=tuple(CONDITIONS), type=plain_word, default=DEFAULT_CONDITION,
        help=f"state of the surface (default {DEFAULT_CONDITION})",
    )  # fmt: skip
    parser.add_argument(
        "--learn", type=word_of, metavar="CSV", help="learn the car's rates from scale sessions"
    )
    parser.add_argument("--write", action="store_true", help="put learned rates into the car file")
    add_output_arguments(parser)


def _add_change_arguments(parser: argparse.ArgumentParser) -> None:
    """Tires, jacks and spacers."""
    tires = parser.add_argument_group(
        "tires to fit; with a + or - in front, a change of what is on the car"
    )
    for axle in ("rear", "front"):
        tires.add_argument(
            f"--{axle}-stagger", type=new_or_change, metavar="S",
            help="shared by both sides when no tire is named",
        )  # fmt: skip
    for corner in CORNERS:
        tires.add_argument(_option(corner), type=new_or_change, metavar="C", help="rollout")
    others = parser.add_argument_group("other changes; each may be given for several corners")
    others.add_argument(
        "--jack", type=at_corner("turns"), action="append", default=[], metavar="CORNER=TURNS",
        help="such as left-rear=2turns; positive is longer",
    )  # fmt: skip
    others.add_argument(
        "--spacer", type=at_corner("tape"), action="append", default=[], metavar="CORNER=HEIGHT",
        help="under a spring, such as right-rear=1/4in",
    )  # fmt: skip
    others.add_argument(
        "--pressure", type=air_at, action="append", default=[], metavar="CORNER=AIR",
        help="such as rr=+2psi; without a sign, the new pressure",
    )  # fmt: skip
    others.add_argument(
        "--spring", type=spring_at, action="append", default=[], metavar="CORNER=RATE",
        help="another spring of the same free length, such as lr=225; at the wheel in front",
    )  # fmt: skip
    others.add_argument(
        "--rack", type=word_of, metavar="RACK",
        help="rack file: how the tires on the car grow with air, and their limits",
    )  # fmt: skip


@dataclass(frozen=True)
class Air:
    """Air as it was typed at a corner."""

    corner: str
    pressure: Typed


def air_at(text: str) -> Air:
    """An argparse type that reads ``rr=+2psi``, or ``rr=18psi`` for a new pressure."""
    name, _, amount = text.partition("=")
    corner = corner_named(name)
    if corner is None:
        corners = ", ".join(CORNERS).replace("_", "-")
        raise argparse.ArgumentTypeError(f'expected one of {corners}, then "=", got "{text}"')
    is_change = amount.strip()[:1] in ("+", "-", "\N{MINUS SIGN}")
    return Air(corner, Typed(quantity_of("pressure")(amount), is_change))


def spring_at(text: str) -> tuple[str, float]:
    """An argparse type that reads ``lr=225lb/in``; a number alone is lb/in, as springs are sold."""
    name, equals, amount = text.partition("=")
    bare = amount.strip().replace(".", "", 1).isdigit()
    return at_corner("stiffness")(f"{name}{equals}{amount}{' lb/in' if bare else ''}")


def _option(corner: str) -> str:
    return "--" + corner.replace("_", "-")


def _bite(arguments: argparse.Namespace) -> None:
    car, car_path, rack = _standing_car(arguments)
    if arguments.learn is not None:
        _learn(arguments, car, car_path)
        return
    if arguments.write:
        raise CommandError("--write needs --learn and a file of scale sessions")
    if arguments.weights:
        car = replace(car, weights=_weights(arguments.weights))
    screen = screen_of(arguments)
    if rack is not None:
        car = standing(car, rack)
    effects = _air_effects(arguments, car, rack)
    change = sum((one.change for one in effects), _change(arguments, car))
    if arguments.target is not None:
        _show_ways(arguments, car, rack, change)
        return
    if arguments.hold and change == Change():
        raise CommandError("--hold needs a change to hold against, such as --rear-stagger 2in")
    outcome = weigh_change(car, change, arguments.hold)
    beside = beside_of(
        car, effects, [_swap(car, *one) for one in arguments.spring],
        fuel_load(car), _motions(arguments, outcome), screen,
    )  # fmt: skip
    if arguments.json:
        print(as_json(bite_json(car, outcome, beside)))
    else:
        print(bite_screen(car, outcome, screen, beside))
    if arguments.out or arguments.show:
        from rollpath.show.bite_pictures import bite_pictures

        draw(bite_pictures(car, outcome, screen), arguments)


def _standing_car(arguments: argparse.Namespace) -> tuple[Car, Path, Rack | None]:
    """The car that was named, or as it stands in the trailer, with its rack."""
    rack = None if arguments.rack is None else load_rack(find_file(arguments.rack, "rack"))
    if arguments.car is not None:
        path = find_file(arguments.car, "car")
        return load_car(path), path, rack
    trailer = trailer_of(arguments)
    if trailer is None:
        raise CommandError("which car? name its file, or set up a trailer: rollpath trailer")
    arguments.note = f"from the trailer: {trailer.car.name}"
    return trailer.standing.car, trailer.folder / "car.yaml", rack or trailer.rack_tonight


def _show_ways(arguments: argparse.Namespace, car: Car, rack: Rack | None, change: Change) -> None:
    """Ways to a bite; air by the rack, or typical and marked so."""
    if change != Change() or arguments.hold or arguments.spring:
        raise CommandError("--target stands alone: it answers what to change")
    if not abs(arguments.target) <= 1000 * POUND:
        raise CommandError("--target: expected a bite between -1000 and 1000 lb")
    found = ways_to(car, arguments.target, valves(car, rack))
    screen = screen_of(arguments)
    print(as_json(ways_json(found)) if arguments.json else ways_screen(found, screen))


def _swap(car: Car, corner: str, rate: float) -> SpringSwap:
    if not 3 * POUND / INCH <= rate <= 28000 * POUND / INCH:
        raise CommandError("--spring: expected a rate between 3 and 28000 lb/in")
    return swap_spring(car, corner, rate)


def _motions(arguments: argparse.Namespace, outcome: Outcome) -> list[BiteInMotion]:
    """The car as it is and, where something is changed, as it then is, on a lap."""
    if arguments.track is None:
        return []
    car = outcome.car
    result = baseline(load_track(find_file(arguments.track, "track")), car, arguments.condition)
    cars = {"now": car}
    if outcome.change != Change():
        cars["after"] = set_up(car, outcome.change, outcome.then)
        if outcome.holds:
            held = outcome.change + outcome.holds[0].change
            cars["held"] = set_up(car, held, outcome.held)
    return [bite_in_motion(n, result.groove, one, result.condition) for n, one in cars.items()]


def _weights(four: list[float]) -> Corners[Real]:
    for weight in four:
        check_change("weights", weight)
    return Corners(*four)


def _change(arguments: argparse.Namespace, car: Car) -> Change:
    """What was typed, as a change of each corner."""
    rollouts = [
        float(change)
        for axle in ("front", "rear")
        for change in _axle_change(arguments, getattr(car, axle), axle)
    ]
    turns, spacers = (
        replace(NOTHING, **dict(typed)) for typed in (arguments.jack, arguments.spacer)
    )
    for typed, name, most, words in (
        (arguments.jack, "--jack", 100.0, "at most 100 turns"),
        (arguments.spacer, "--spacer", 20 * INCH, "a height of at most 20 in"),
    ):
        named = [corner for corner, _ in typed]
        for corner, amount in typed:
            if named.count(corner) > 1:
                raise CommandError(f"{name}: {corner.replace('_', '-')} given twice")
            if abs(amount) > most:
                raise CommandError(f"{name}: {corner.replace('_', '-')}: expected {words}")
    return Change(Corners(*rollouts), turns, spacers)


def _air_effects(arguments: argparse.Namespace, car: Car, rack: Rack | None) -> list[AirEffect]:
    """What the air typed does, corner by corner, each inside the limits of its tire.

    A tire whose rollout was typed is taken as taped with that air: it grows no more.
    """
    typed: list[Air] = arguments.pressure
    corners = [one.corner for one in typed]
    taped = [corner for corner in CORNERS if getattr(arguments, corner) is not None]
    effects = []
    for one in typed:
        if corners.count(one.corner) > 1:
            raise CommandError(f"--pressure: {one.corner.replace('_', '-')} given twice")
        assert car.pressure is not None
        present = float(getattr(car.pressure, one.corner))
        then = one.pressure.onto(present)
        tire = None if rack is None else _on_car(rack, one.corner)
        _refuse_beyond_limits(one.corner, then, rack, tire)
        growth = DEFAULT_GROWTH if rack is None else rack.growth
        if one.corner in taped:
            tire, growth = None, 0.0
        effects.append(air_effect(car, tire, one.corner, then - present, growth))
    return effects


def _on_car(rack: Rack, corner: str) -> RackTire | None:
    return next((tire for tire in rack.tires if tire.on_car == corner), None)


def _refuse_beyond_limits(
    corner: str, pressure: float, rack: Rack | None, tire: RackTire | None
) -> None:
    if PRESSURE.outside(pressure):
        raise CommandError(
            f"--pressure: {corner.replace('_', '-')}: expected {PRESSURE.range_text}"
        )
    if rack is None:
        return
    limits = rack.pressure_limits if tire is None else limits_of(rack, tire)
    if limits is not None and not limits[0] - 1.0 <= pressure <= limits[1] + 1.0:
        low, high = (Screen().pressure(end) for end in limits)
        raise CommandError(
            f"--pressure: {corner.replace('_', '-')}: {Screen().pressure(pressure)} is outside "
            f"the tire maker's limits in the rack file, {low} to {high}"
        )


def _axle_change(arguments: argparse.Namespace, axle: Axle, name: str) -> tuple[Any, Any]:
    """Change of the left and the right rollout of one axle."""
    present = {
        f"left_{name}": axle.left_rollout,
        f"right_{name}": axle.right_rollout,
        f"{name}_stagger": axle.stagger,
    }
    new = {}
    for key, now in present.items():
        typed = getattr(arguments, key)
        new[key] = None if typed is None else typed.onto(float(now))
        check_change(key, new[key])
    try:
        return rollout_change(axle, *new.values())
    except BiteError as error:
        raise CommandError(f"{', '.join(_option(key) for key in present)}: {error}") from None


_NOT_LEARNING = (
    "hold", "target", "track", "weights", "jack", "spacer", "pressure", "spring", "rack", "out",
    "show", "rear_stagger", "front_stagger", *CORNERS,
)  # fmt: skip
"""What would go unheard beside --learn."""


def _learn(arguments: argparse.Namespace, car: Car, car_path: Path) -> None:
    """Learn rates from scale sessions, and write those that are sure when asked to."""
    idle = [getattr(arguments, name) for name in _NOT_LEARNING]
    if any(idle):
        raise CommandError("--learn goes with --write, --json and --units only")
    sessions = Path(arguments.learn)
    if not sessions.is_file():
        raise CommandError(f"{sessions}: no such file of scale sessions")
    learned = learn_rates(car, load_scale_sessions(sessions, screen_of(arguments)))
    written = rates_to_write(learned) if arguments.write else {}
    kept = edit_yaml(car_path, written) if written else None
    if arguments.json:
        print(as_json(learned_json(learned, written, kept)))
    else:
        print(learned_screen(car, learned, written, kept, screen_of(arguments)))
    if arguments.write and not written:
        raise CommandError(f"{car_path}: nothing written; no rate is sure yet")


COMMANDS: dict[str, Command] = {
    "bite": Command(
        "rollpath bite cars/number-31.yaml --rear-stagger 1in --hold front",
        _add_bite,
        _bite,
    ),
}
