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
    find_file,
    quantity_of,
    word_of,
)
from rollpath.corners import CORNERS, NOTHING, Corners
from rollpath.files.cars import check_change, load_car
from rollpath.files.sessions import load_scale_sessions
from rollpath.files.writing import edit_yaml
from rollpath.scales.hold import weigh_change
from rollpath.scales.learn import Learned, learn_rates
from rollpath.scales.twist import BiteError, Change, rollout_change
from rollpath.screen import Screen
from rollpath.show.bite import bite_json, bite_screen
from rollpath.show.learn import learned_json, learned_screen, rate_text
from rollpath.show.words import as_json
from rollpath.units import INCH, Real


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
    parser.add_argument("car", type=word_of, metavar="CAR", help="car file")
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


def _option(corner: str) -> str:
    return "--" + corner.replace("_", "-")


def _bite(arguments: argparse.Namespace) -> None:
    car_path = find_file(arguments.car, "car")
    car = load_car(car_path)
    if arguments.learn is not None:
        _learn(arguments, car, car_path)
        return
    if arguments.write:
        raise CommandError("--write needs --learn and a file of scale sessions")
    if arguments.weights:
        car = replace(car, weights=_weights(arguments.weights))
    screen = Screen(arguments.units)
    change = _change(arguments, car)
    if arguments.hold and change == Change():
        raise CommandError("--hold needs a change to hold against, such as --rear-stagger 2in")
    outcome = weigh_change(car, change, arguments.hold)
    if arguments.json:
        print(as_json(bite_json(car, outcome)))
    else:
        print(bite_screen(car, outcome, screen))
    if arguments.out or arguments.show:
        from rollpath.show.bite import bite_pictures
        from rollpath.show.picture import deliver

        deliver(bite_pictures(car, outcome, screen), arguments.out, arguments.show)


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


def _learn(arguments: argparse.Namespace, car: Car, car_path: Path) -> None:
    """Learn rates from scale sessions, and write those that are sure when asked to."""
    idle = [arguments.hold, arguments.weights, arguments.jack, arguments.spacer, arguments.out,
            arguments.show, arguments.rear_stagger, arguments.front_stagger,
            *(getattr(arguments, corner) for corner in CORNERS)]  # fmt: skip
    if any(idle):
        raise CommandError("--learn goes with --write, --json and --units only")
    sessions = Path(arguments.learn)
    if not sessions.is_file():
        raise CommandError(f"{sessions}: no such file of scale sessions")
    learned = learn_rates(car, load_scale_sessions(sessions))
    written = rates_to_write(learned) if arguments.write else {}
    kept = edit_yaml(car_path, written) if written else None
    if arguments.json:
        print(as_json(learned_json(learned, written, kept)))
    else:
        print(learned_screen(car, learned, written, kept, Screen(arguments.units)))
    if arguments.write and not written:
        raise CommandError(f"{car_path}: nothing written; no rate is sure yet")


def rates_to_write(learned: Learned) -> dict[str, str]:
    """Keys of a car file and their text, for the rates that are sure."""
    keys = {
        "rear stagger": "bite_per_inch.rear", "front stagger": "bite_per_inch.front",
        "rear jacks": "bite_per_turn.rear", "front jacks": "bite_per_turn.front",
    }  # fmt: skip
    return {
        keys[name]: rate_text(name, rate.value)
        for name, rate in learned.rates.items()
        if rate.is_sure
    }


COMMANDS: dict[str, Command] = {
    "bite": Command(
        "What a change does on the scales, and what holds bite.",
        "rollpath bite cars/number-31.yaml --rear-stagger 1in --hold front",
        _add_bite,
        _bite,
    ),
}
