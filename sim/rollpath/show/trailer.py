"""The trailer in words: its questions, how the car stands, and tonight in half a screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rollpath.corners import CORNERS
from rollpath.feel.foretold import foretold
from rollpath.screen import TRADE, Screen, inches, pounds, psi
from rollpath.show.bite import corner_words, way_to_hold
from rollpath.show.feel import foretold_words
from rollpath.show.next import next_line
from rollpath.show.study import adds_words, correction_json
from rollpath.show.surface import come_words, surface_json, unsaid_words, watch_lines
from rollpath.show.words import add_or_take_out, caution_lines, lay_out, none_or, paragraph
from rollpath.trailer.advice import Advice
from rollpath.trailer.trailer import Trailer
from rollpath.units import nearest_eighth

if TYPE_CHECKING:
    from rollpath.book.action import Action

QUESTION_WORDS = {
    "track": "Name of the track",
    "radius": "Inside radius of its corners, such as 200ft",
    "straight": "Length of a straight, such as 320ft",
    "surface": "Surface now: heavy, tacky, rubbered, slick",
    "rear": "Rear tires, left and right, in inches",
    "front": "Front tires, left and right, in inches",
    "pads": "Scale pads LF RF LR RR, in pounds, driver in",
    "pressures": "Pressures LF RF LR RR, in psi",
    "power": "Engine power, such as 340hp",
    "tires": "Tires on the rack, id and inches: L5 83-1/2, R7 86-1/4",
    "name": "Name of the car",
}
"""The interview, in its order."""
HOW = {
    "track": "As you call it. Its file goes into tracks/.",
    "radius": "Tape a 100 ft chord inside the corner, measure the gap g in its middle, in ft: the "
    "radius is 1250/g + g/2. rollpath survey does it with you. 10 ft off is about 1/16 in.",
    "straight": "Pace it along the inside, corner end to corner end. 20 ft off is about 1/16 in.",
    "surface": "Heavy to slick is worth about 3/4 in on a banked oval.",
    "rear": "Tape each around the crown of the tread, cold, at race pressure, three times. It is "
    "the stagger itself: an eighth on the tape is an eighth.",
    "front": "As the rears. They hold the bite.",
    "pads": "Level pads, driver in, race fuel. Without them bite is typical.",
    "pressures": "Cold, as it goes out. Needed to say what air does.",
    "power": "What the engine man says. 50 hp off is about 1/8 in.",
    "tires": "What is chalked on each, and its taped size. Without them there is no choice.",
    "name": "As it is painted on the side.",
}
"""How to measure it, and what it is worth."""


def short_corner(corner: str) -> str:
    """Its two letters, such as ``LR``."""
    return "".join(word[0] for word in corner.split("_")).upper()


def corner_rows(trailer: Trailer, screen: Screen) -> list[str]:
    """What is on each corner, a line each."""
    return [
        f"  {short_corner(corner)}  {' '.join(told)}"
        for corner, told in corner_cells(trailer, screen).items()
    ]


def corner_cells(trailer: Trailer, screen: Screen) -> dict[str, list[str]]:
    """What is on each corner: tire, size, air, jack, as far as they are known."""
    car, cells = trailer.standing.car, {}
    for corner, fitted in trailer.night.on_car.by_name().items():
        side, axle = corner.split("_")
        rollout = getattr(getattr(car, axle), f"{side}_rollout")
        assumed = " (typical)" if f"{axle}.{side}.rollout" in car.assumed else ""
        told = [_tire_at(trailer, corner), screen.tape(rollout) + assumed]
        if car.pressure is not None and f"pressure.{corner}" not in car.assumed:
            told.append(screen.pressure(getattr(car.pressure, corner)))
        if fitted.turns:
            told.append(f"jack {fitted.turns:+g}")
        cells[corner] = [one for one in told if one]
    return cells


def _tire_at(trailer: Trailer, corner: str) -> str:
    """The tire on a corner, by tonight or else by the rack."""
    fitted = getattr(trailer.night.on_car, corner)
    if fitted.tire or fitted.rollout is not None or trailer.rack is None:
        return str(fitted.tire)
    return next((tire.name for tire in trailer.rack.tires if tire.on_car == corner), "")


BITE_WORDS = {"weighed": "weighed", "predicted": "predicted", "assumed": "typical, never weighed"}


def _bite_line(trailer: Trailer, screen: Screen) -> str:
    now = trailer.standing
    return f"  bite {screen.weight(now.car.weights.bite)} ({BITE_WORDS[now.bite_from]})"


def standing_screen(
    after: Trailer, before: Trailer, what: str, screen: Screen, back: str = ""
) -> str:
    """How the car stands after something was done, or would stand.

    Parameters
    ----------
    after, before : Trailer
    what : str
        ``done``, ``undone``, or ``asked`` when nothing is written down.
    screen : Screen
    back : str
        What was taken back, where it was undone.
    """
    car, was = after.standing.car, before.standing.car
    moved = float(car.rear.stagger - was.rear.stagger)
    bite = float(car.weights.bite - was.weights.bite)
    head = "It would have" if what == "asked" else "On the car now"
    lines = [
        f"{head} rear stagger {screen.tape_or_fine(car.rear.stagger)}"
        + (f" ({screen.fine(moved, signed=True)})" if abs(moved) > 1e-5 else ""),
        f"  front stagger {screen.tape_or_fine(car.front.stagger)}",
        _bite_line(after, screen)
        + (f", {screen.weight(bite, 1, signed=True)}" if abs(float(pounds(bite))) > 0.05 else ""),
        *corner_rows(after, screen),
        *_disagreement_lines(after, screen),
        _WRITTEN[what].format(book=after.book.name, back=back),
    ]
    return lay_out([*lines, *caution_lines()], screen)


_WRITTEN = {
    "asked": "Nothing was written down.",
    "done": "Written in {book}; rollpath undo takes it back.",
    "undone": "Taken back: {back}; that too is in {book}.",
}


def _disagreement_lines(trailer: Trailer, screen: Screen) -> list[str]:
    return [
        f"  {corner_words(corner)}: the rack's {tire} is {screen.tape(rack)}, the car file says "
        f"{screen.tape(filed)}: which? rollpath bolt {short_corner(corner).lower()}={tire}"
        for corner, tire, rack, filed in trailer.disagreements()
    ]


def standing_json(after: Trailer, before: Trailer) -> dict[str, Any]:
    """The same for a program."""
    car, was = after.standing.car, before.standing.car
    return {
        "rear_stagger_in": inches(car.rear.stagger),
        "rear_stagger_change_in": inches(car.rear.stagger - was.rear.stagger),
        "front_stagger_in": inches(car.front.stagger),
        "bite_lb": pounds(car.weights.bite),
        "bite_change_lb": pounds(car.weights.bite - was.weights.bite),
        "bite_from": after.standing.bite_from,
        "on_car": {
            corner: {
                "tire": _tire_at(after, corner) or None,
                "rollout_in": inches(getattr(getattr(car, corner.split("_")[1]),
                                             f"{corner.split('_')[0]}_rollout")),
                "pressure_psi": None if car.pressure is None
                else psi(getattr(car.pressure, corner)),
                "jack_turns": getattr(after.night.on_car, corner).turns,
            }
            for corner in CORNERS
        },
    }  # fmt: skip


def action_words(action: Action, screen: Screen) -> str:
    """What was done, when, in a line: ``19:42 bolt: LR L5, 84 1/2 in``."""
    if action.undoes is not None:
        return f"{action.when:%H:%M} taken back"
    return f"{action.when:%H:%M} {action.what}: {_things_words(action.after, screen)}"


def back_words(action: Action, screen: Screen) -> str:
    """What an undo took back: ``LR L5, LR 84 1/2 in``."""
    return _things_words(action.before, screen)


def _things_words(things: Mapping[str, Any], screen: Screen) -> str:
    """Values of a night that an action set, four at most."""
    told = [_thing_words(name, value, screen) for name, value in things.items()]
    told = [one for one in told if one]
    more = f" and {len(told) - 4} more" if len(told) > 4 else ""
    return f"{', '.join(told[:4]) or 'taken off'}{more}"


def _thing_words(name: str, value: Any, screen: Screen) -> str:
    """One value of a night that an action set."""
    corner, dot, thing = name.partition(".")
    if not dot:
        told = f"{value:.2f} s" if name == "lap_time" else str(value)
        return told if name in ("track", "condition", "lap_time") else ""
    show: dict[str, Any] = {
        "tire": str, "rollout": screen.tape, "pressure": screen.pressure, "pad": screen.weight,
        "turns": lambda turns: f"jack {turns:+g}",
    }  # fmt: skip
    if corner not in CORNERS or thing not in show:
        return ""
    return f"{short_corner(corner)} {show[thing](value)}"


def trailer_screen(trailer: Trailer, screen: Screen) -> str:
    """What is in the trailer."""
    night = trailer.night
    rack = "no rack yet" if trailer.rack is None else f"{len(trailer.rack.tires)} tires"
    lines = [
        f"{trailer.car.name}: {rack}, tracks {', '.join(trailer.tracks) or 'none yet'}",
        f"  tonight {night.track or 'no track yet'}, {night.condition or 'surface not said'}",
        f"  rear stagger {screen.tape_or_fine(trailer.standing.car.rear.stagger)}",
        _bite_line(trailer, screen),
        *corner_rows(trailer, screen),
        *_disagreement_lines(trailer, screen),
        *_missing_lines(trailer),
        "Next: rollpath says what to bolt on tonight."
        if night.track
        else "Next: rollpath tonight TRACK SURFACE",
    ]
    return lay_out([*lines, *caution_lines()], screen)


_WORTH = {
    "rear.left.rollout": "rear tires", "front.left.rollout": "front tires",
    "weights.left_rear": "scale pads", "pressure.left_rear": "pressures", "power": "power",
}  # fmt: skip


def _missing_lines(trailer: Trailer) -> list[str]:
    missing = [word for key, word in _WORTH.items() if key in trailer.standing.car.assumed]
    return [f"  typical, not yours: {', '.join(missing)}"] if missing else []


def trailer_json(trailer: Trailer) -> dict[str, Any]:
    """The same for a program."""
    return {
        "folder": str(trailer.folder),
        "car": trailer.car.name,
        "tracks": list(trailer.tracks),
        "tires": [] if trailer.rack is None else trailer.rack.names,
        "tonight": {
            "track": trailer.night.track or None,
            "condition": trailer.night.condition or None,
            "lap_time_s": trailer.night.lap_time,
            "since": trailer.night.since or None,
        },
        **standing_json(trailer, trailer),
    }


# Tonight

AGAINST = {
    1: "he asked for more and the lap for less: run it again, and see whether he says the same",
    -1: "he asked for less and the lap for more: run it again, and see whether he says the same",
}
"""Why what is on stays on, by what the driver asked for."""
BY_LAST_RUN = {
    "more": "by what he felt on the last run, and the lap",
    "less": "by what he felt on the last run, and the lap",
    "leave": "nothing he felt on the last run asks for a change",
    "ask": "what he felt on the last run does not settle it: rollpath debrief with his words",
    "elsewhere": "what he felt on the last run is not stagger, or not first: rollpath debrief with "
    "his words",
}
"""Why tonight does what the debrief of the last run does."""


def tonight_screen(advice: Advice, screen: Screen) -> str:
    """Tonight in half a screen."""
    lines = [
        *answer_lines(advice, screen),
        *_bolt_lines(advice, screen),
        *scale_lines(advice, screen),
        *next_lines(advice, screen),
    ]
    return lay_out([*lines, *caution_lines()], screen)


def answer_lines(advice: Advice, screen: Screen) -> list[str]:
    """The one instruction; where, and what is on the car beside what is wanted."""
    best, learned = advice.result.stagger, advice.learned
    now = screen.tape_or_fine(float(advice.result.car.rear.stagger))
    return [
        _order(advice, screen),
        f"  {advice.result.track.name}, {advice.result.condition.name}",
        *watch_lines(advice.result, screen),
        *_come_lines(advice),
        f"  on the car {now}, wanted {screen.tape(best.recommended)}",
        *_last_run_lines(advice),
        *([paragraph(adds_words(learned, screen), "  ")] if learned else []),
    ]


def _last_run_lines(advice: Advice) -> list[str]:
    """What the last run has to do with the order."""
    if advice.verdict is None:
        return []
    told = AGAINST[advice.against] if advice.against else BY_LAST_RUN[advice.verdict.change]
    if not advice.held and not advice.asked:
        told = "quicker so by the lap, and nothing he felt on the last run speaks against it"
    return [paragraph(told, "  ")]


def next_lines(advice: Advice, screen: Screen) -> list[str]:
    """What he will feel of it, and what to write down or to run next."""
    return [
        paragraph(f"Expect {foretold_words(foretold(advice.result, _fitted(advice)))}."),
        "Next: run, then rollpath notebook add --best"
        if advice.next_run is None or advice.verdict is not None
        else next_line(advice.next_run, screen),
    ]


def _order(advice: Advice, screen: Screen) -> str:
    """The one instruction: what the rack makes of the stagger wanted, or the step to it."""
    best = advice.result.stagger
    if advice.held:
        return f"Leave on rear stagger {screen.tape_or_fine(advice.result.car.rear.stagger)}"
    if advice.choice is None:
        change = float(best.recommended) - float(advice.result.car.rear.stagger)
        step = "leave it" if nearest_eighth(change) == 0 else add_or_take_out(change, screen)
        return f"Rear stagger {screen.tape(best.recommended)}: {step}"
    pick = advice.choice.picks[0]
    stagger = screen.tape_or_fine(pick.rear_stagger)
    moved = pick.wheel_changes or any(abs(added) > 1.0 for added in pick.added)
    return f"Bolt on rear stagger {stagger}" if moved else f"Leave on rear stagger {stagger}"


def bolt_cells(advice: Advice, screen: Screen) -> dict[str, list[str]]:
    """What to bolt on each corner: tire, size, air, and whether it is there already."""
    if advice.choice is None or advice.held:
        return {}
    pick, there = advice.choice.picks[0], advice.choice.rack.on_car()
    now, cells = advice.trailer.standing.car.pressure, {}
    for i, (corner, tire) in enumerate(zip(CORNERS, pick.tires, strict=True)):
        stays = there[i] >= 0 and advice.choice.rack.tires[there[i]].name == tire.name
        told = [tire.name, screen.tape(getattr(pick.rollouts, corner))]
        if pick.pressures is not None:
            told.append(screen.pressure(getattr(pick.pressures, corner)))
        if stays:
            air = 0.0 if now is None or pick.pressures is None else (
                getattr(pick.pressures, corner) - getattr(now, corner)
            )  # fmt: skip
            told.append(f"air {float(psi(air)):+.3g}" if abs(air) > 1.0 else "stays")
        cells[corner] = told
    return cells


def no_tires_words(advice: Advice) -> str:
    """Why no tires are named; empty where they are."""
    if advice.choice is not None or advice.held:
        return ""
    return f"No tires to choose from: {advice.why_not or 'no rack yet'}."


def _come_lines(advice: Advice) -> list[str]:
    """How far the track has come tonight, where two lap times tell."""
    watch, earlier, said = advice.result.watch, advice.earlier, advice.trailer.night.condition
    if watch is None:
        return []
    told = [
        unsaid_words(watch.timed, said),
        "" if earlier is None else come_words(earlier, watch.timed),
    ]
    return [paragraph(words, "  ") for words in told if words]


def _bolt_lines(advice: Advice, screen: Screen) -> list[str]:
    if advice.choice is None and not advice.held:
        return [paragraph(no_tires_words(advice), "  ")]
    return [
        f"  {short_corner(corner)}  {' '.join(told)}"
        for corner, told in bolt_cells(advice, screen).items()
    ]


def scale_lines(advice: Advice, screen: Screen) -> list[str]:
    """The bite now and then, and what holds it."""
    if advice.held:
        return []
    outcome = advice.outcome
    before, after = outcome.now.weights.bite, outcome.then.weights.bite
    lines = [
        f"Bite {screen.weight(before)} ({BITE_WORDS[advice.bite_from]}), then "
        f"{screen.weight(after)}"
    ]
    if outcome.holds:
        lines.append(paragraph(f"to hold it: {way_to_hold(outcome.holds[0], screen)}", "  "))
    return lines


def _fitted(advice: Advice) -> float:
    """The stagger that will be on the car."""
    if advice.held:
        return float(advice.result.car.rear.stagger)
    if advice.choice is not None:
        return float(advice.choice.picks[0].rear_stagger)
    return float(advice.result.stagger.recommended)


def short_screen(advice: Advice, screen: Screen = TRADE) -> str:
    """Tonight for a racer."""
    return tonight_screen(advice, screen)


def tonight_json(advice: Advice) -> dict[str, Any]:
    """Tonight for a program."""
    best, choice, outcome = advice.result.stagger, advice.choice, advice.outcome
    pick = None if choice is None or advice.held else choice.picks[0]
    return {
        "track": advice.result.track.name,
        "car": advice.result.car.name,
        "condition": advice.result.condition.name,
        "surface": surface_json(advice.result),
        "earlier_lap_time_s": None if advice.earlier is None else advice.earlier.lap_time,
        "earlier_grip": None if advice.earlier is None else advice.earlier.grip,
        "recommended_in": inches(best.recommended),
        "on_car_in": inches(advice.result.car.rear.stagger),
        "tires": None if pick is None else {
            corner: {
                "tire": tire.name,
                "rollout_in": inches(getattr(pick.rollouts, corner)),
                "pressure_psi": none_or(
                    None if pick.pressures is None else getattr(pick.pressures, corner), psi
                ),
            }
            for corner, tire in zip(CORNERS, pick.tires, strict=True)
        },
        "rear_stagger_in": None if pick is None else inches(pick.rear_stagger),
        "driver_against_lap": {1: "more", -1: "less"}.get(advice.against),
        "last_run_asks": None if advice.verdict is None else advice.verdict.change,
        "bite_now_lb": pounds(outcome.now.weights.bite),
        "bite_then_lb": pounds(outcome.then.weights.bite),
        "bite_from": advice.bite_from,
        "hold": way_to_hold(outcome.holds[0], TRADE) if outcome.holds else None,
        "correction": correction_json(advice.learned),
    }  # fmt: skip
