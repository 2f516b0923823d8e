"""The words and figures of `rollpath debrief`: one instruction, and what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.debrief import contrary
from rollpath.feel.lap import felt_step
from rollpath.lap import PHASES
from rollpath.runlog.log import RunNote
from rollpath.scales.rates import stagger_effect
from rollpath.screen import TRADE, Screen, degrees, feet, inches
from rollpath.show.baseline import baseline_json, hold_words, stagger_change_words
from rollpath.show.feel import foretold_words
from rollpath.show.surface import watch_lines
from rollpath.show.survey import note_words
from rollpath.show.words import (
    ROOMY,
    add_or_take_out,
    case_words,
    caution_lines,
    columns,
    counted,
    finite_or_none,
    paragraph,
    row,
    sections,
)

if TYPE_CHECKING:
    from rollpath.debrief import Choice, DebriefResult, Verdict
    from rollpath.runlog.recording import Recording
    from rollpath.survey.log import Note
    from rollpath.units import FloatArray

CHANGE_WORDS = {
    "more": "More stagger",
    "less": "Less stagger",
    "leave": "Leave the stagger",
    "elsewhere": "Not stagger, or not first",
    "ask": "One more question first",
}
USED_UP = {
    "used up high": "the stagger is used up: it is at the top of the window. What else frees it "
    "off the corner: less bite, a softer right front or more air in it, the throttle later and "
    "harder; see that the window in the car file is right",
    "used up low": "the stagger is used up: it is at the bottom of the window. What else settles "
    "it down the straight: more bite, rear steer of the axle, the throttle earlier and easier; "
    "see that the window in the car file is right",
}
"""What else to touch: common practice, no source."""
REASONS = {
    "spins": "the rear tires spin: that is missing drive, and a spinning axle hides what its "
    "stagger does; bite, tires and throttle first",
    "crabs, wheel left": "a car that crabs from too much stagger wants the wheel to the right, and "
    "this one had it left",
    "crabs, drifts out": "crabbing says too much stagger, drifting out says too little",
    "wheel right, drifts out": "wheel to the right says the rear steers the car, drifting out says "
    "the front does not",
    "wheel left, steps out": "a rear that steps out is caught with the wheel to the right, and "
    "this one had it left",
    "crabs, wheel right": "it crabs with the wheel turned back right: the axle steers the car left "
    "on the straight",
    "crabs": "it points out of line going straight: the axle steers it left",
    "steps out": "the rear steps out: too much stagger, or too little side bite",
    "steps out, runs true": "the rear steps out but runs true down the straight: the rear lacks "
    "side grip, not stagger; bite and throttle first",
    "wheel right, runs true": "the wheel is turned back right under throttle, though it runs true "
    "down the straight",
    "wheel right": "the wheel is turned back right under throttle: the axle steers the car left",
    "wheel left, drifts out": "it drifts out with the wheel held left: the axle pushes the car",
    "wheel left, holds": "it holds the line only with the wheel held left",
    "wheel left": "the wheel is held left under throttle: the axle pushes the car",
    "drifts out, wheel straight": "it drifts out with the wheel straight: both ends slide, which "
    "is speed or grip, not stagger",
    "drifts out": "drifting out is too little stagger only when the wheel is held left",
    "entry alone": "only the entry is wrong, and braking hides the axle: bite and brakes first",
    "entry": "the entry is wrong, and braking hides the axle: bite and brakes first",
    "all well": "wheel straight, holds the line, runs true: nothing asks for a change",
    "wheel straight": "the wheel is straight under throttle",
    "holds": "it holds the line under throttle",
    "nothing said": "nothing here speaks of the axle under throttle",
    "as foretold": "what he feels is what this stagger gives here: the price of the compromise, "
    "and no news",
    "against the lap": "the lap is quicker the other way, so neither word moves it alone",
    "by the lap": "the lap is quicker so, and nothing he feels speaks against it",
    "by the lap alone": "the lap is quicker so",
    "apart": "what was seen and said does not fit together",
    "tape": "the wheel and the tape do not fit together, so no step can be trusted",
    "log": "the laps that were recorded ask for no other",
    **USED_UP,
}
"""Why, by code."""
_THROTTLE = "Under throttle, was the wheel straight, left or right?"
QUESTIONS = {
    "crabs, wheel left": "Going straight, which way did the nose point, and which way was the "
    "wheel then?",
    "crabs, drifts out": "Did it run wide in the corner, or only after it pointed left on the "
    "straight?",
    "wheel right, drifts out": "Was the wheel to the right to catch the rear, or did the nose run "
    "wide first?",
    "wheel left, steps out": "When the rear stepped out, was the throttle still down or just "
    "lifted?",
    "steps out": "Once the wheel is back, does it run true down the straight or point out of line?",
    "drifts out": _THROTTLE,
    "entry": _THROTTLE,
    "nothing said": _THROTTLE,
    "tape": "Tape both rear tires again, hot: is that the stagger that was driven?",
    "against the lap": "Does he say the same after another run like it? Then tape the rollouts "
    "and measure the corners again.",
    "sides": "The line that was driven asks for the other way: was the wheel really held so under "
    "throttle?",
    "measure": "Are the taped rollouts and the radius of the corners right? Measure them again.",
}
"""What would settle it, by code."""
LOOK_FOR = {
    "more": "the wheel coming back toward straight as the throttle goes down",
    "less": "the car running true down the straight, the wheel no longer turned right",
    "leave": "the same again; a second run like it is worth more than a change",
    "elsewhere": "whether the axle still speaks once that is put right; then ask about stagger",
    "ask": "the answer to the question; run again without a change",
}
ON_THE_WATCH = "you'll see it on the watch, not feel it"


def reason_words(verdict: Verdict) -> str:
    return "; ".join(REASONS[code] for code in verdict.reasons if code != "log") or REASONS["log"]


def look_for_words(told: DebriefResult) -> str:
    """What to look for on the next run."""
    verdict = told.verdict
    assert verdict is not None
    if verdict.question:
        return LOOK_FOR["ask"]
    asked = told.reading is not None and told.reading.change == verdict.change
    if verdict.amount and not asked and abs(verdict.amount) < felt_step(told.feel) - 1e-9:
        return ON_THE_WATCH
    return LOOK_FOR[verdict.change]


def instruction(told: DebriefResult, screen: Screen) -> str:
    """The one instruction of a debrief."""
    verdict, fitted = told.verdict, told.fitted
    assert verdict is not None
    sure = f"({verdict.confidence} confidence)"
    if verdict.amount:
        step, then = screen.tape(verdict.amount, signed=True), screen.tape(fitted + verdict.amount)
        return f"{CHANGE_WORDS[verdict.change]}: {step}, to {then} {sure}"
    return f"{CHANGE_WORDS[verdict.change]}: {screen.tape(fitted)} is on the car {sure}"


def verdict_lines(told: DebriefResult, screen: Screen) -> list[str]:
    """The verdict in words, the answer first."""
    verdict = told.verdict
    assert verdict is not None
    return [
        instruction(told, screen),
        *([f"ask: {QUESTIONS[verdict.question]}"] if verdict.question else []),
        f"because {reason_words(verdict)}",
        *([choice_words(told.choice, screen)] if told.choice else []),
        *_entry_aside(told),
        *_next_run(told),
    ]


def _next_run(told: DebriefResult) -> list[str]:
    """What to look for; nothing beside a question, which is what comes next."""
    assert told.verdict is not None
    if told.verdict.question:
        return []
    words = look_for_words(told)
    return [f"next run: {words}" if words == ON_THE_WATCH else f"next run, look for {words}"]


def _entry_aside(told: DebriefResult) -> list[str]:
    """A wrong entry beside another matter: told, but not acted on."""
    assert told.verdict is not None
    entry, codes = told.answers.entry, ("entry", "entry alone")
    if entry not in ("tight", "loose") or set(told.verdict.reasons) & {*codes, "as foretold"}:
        return []
    return [f"{entry} on entry is bite and brakes, another day's change"]


def choice_words(choice: Choice, screen: Screen) -> str:
    """What he may have for a complaint that was foretold, and its price."""
    what = "freer off the corner" if choice.change > 0 else "truer down the straight"
    return f"if he would rather: {what}, {screen.tape(choice.change, signed=True)}, " + cost_words(
        choice.cost
    )


def cost_words(seconds: float) -> str:
    """Lap time in hundredths, honestly small."""
    hundredths = round(abs(seconds) * 100)
    if not hundredths:
        return "which the watch does not show"
    unit = "hundredth" if hundredths == 1 else "hundredths"
    return f"{'costs' if seconds > 0 else 'gains'} {hundredths} {unit} a lap"


_LOG_NOTES = {
    "sorted": "the rows were not in order of time and were sorted",
    "clock again": "the clock was started again, so the runs were laid one after the other",
    "laps alike": "{amount:.0f} of {against:.0f} laps used, those alike in time",
    "single lap": "one lap only: three would say more",
    "no places": "no positions: laid on the {groove} groove by speed",
    "longest stretch": "the clock has gaps; without positions only the longest stretch between two "
                       "of them was used",
    "no gear ratio": "engine speed, but no gear ratio to tell wheelspin by: --gear-ratio",
    "gear": "the gear ratio reads like {amount:.2f}, not {against:.2f}, all the way round: check "
            "the gear and the rollouts",
    "more grip": "the corners were driven with more grip than {surface} has: {amount:.2f} taken, "
                 "not {against:.2f}",
    "less grip": "the corners were driven with less grip than {surface} has: {amount:.2f} taken, "
                 "not {against:.2f}",
    "steering in part": "steering left out: it covers too little of the lap",
    "steering travel": "steering left out: it moves {turned:.1f} deg where the wheel should move "
                       "about {foretold:.0f}: a wrong unit, the front wheels, or another "
                       "steering_ratio?",
    "steering to the right": "steering left out: it turns right where the car turns left; if it "
                             "counts right turns positive: --steering-positive right",
}  # fmt: skip


TO_ACT_ON = ("gear", "no gear ratio", "steering to the right", "steering travel", "single lap")
"""Notes that ask for something, the most pressing first."""


def short_notes(run: Recording) -> list[Note]:
    """Notes with those first that ask for something, without what the rows above say already."""
    notes = [note for note in run.notes if note.code != "laps alike"]
    rank = {code: i for i, code in enumerate(TO_ACT_ON)}
    return sorted(notes, key=lambda note: rank.get(note.code, len(rank)))


def log_note(note: Note, run: Recording) -> str:
    """The sentence for something noticed while recorded laps were read."""
    if note.code not in _LOG_NOTES:
        return note_words(note)
    against = note.against if isinstance(note, RunNote) else 0.0
    return _LOG_NOTES[note.code].format(
        amount=note.amount, against=against, groove=run.laps.groove.name,
        surface=run.condition.name, turned=degrees(note.amount), foretold=degrees(against),
    )  # fmt: skip


def recording_lines(told: DebriefResult, screen: Screen, most: int = 99) -> list[str]:
    """What the recorded laps say, with at most so many notes, and with --full what they were read
    against."""
    run = told.recording
    if run is None:
        return []
    laps, slip = run.laps, run.slip
    times = f", {_from_to(laps.times)} s" if len(laps.times) else ""
    lines = [
        row("laps", f"{laps.used} used of {laps.found}{times}"),
        row("that line asks for", f"about {screen.tape(run.best.unbounded)}"),
    ]
    if slip is not None and (screen.full or not slip.gear_fault):
        spinning = f"; wheelspin over {100 * slip.spinning:.0f} % of the lap"
        lines.append(
            row("slip", f"{100 * slip.exit:.0f} % off the corner, {100 * slip.straight:.0f} % on "
                f"the straight{spinning if slip.spinning > 0.005 else ''}")
        )  # fmt: skip
    if screen.full:
        lines += _recording_in_full(run, screen)
    apart = disagreement(told)
    lines += [paragraph(line, "  ") for line in ([apart] if apart else [])]
    notes = run.notes if screen.full else short_notes(run)
    lines += [paragraph(f"note: {log_note(note, run)}", "  ") for note in notes[:most]]
    more = [] if len(notes) <= most else [f"  {counted(len(notes) - most, 'note')} more: --full"]
    return ["Recorded laps (estimates)", *lines, *more]


def _from_to(times: FloatArray) -> str:
    first, last = f"{times.min():.2f}", f"{times.max():.2f}"
    return first if first == last else f"{first} to {last}"


def _recording_in_full(run: Recording, screen: Screen) -> list[str]:
    wheel = run.wheel
    lines = [
        row("lap driven", screen.distance(run.laps.groove.length)),
        row("it asks for", f"{screen.fine(run.best.unbounded)} at the limit of this surface, "
            f"{screen.fine(run.as_driven)} as driven"),
    ]  # fmt: skip
    if wheel is not None:
        lines += [
            row("steering off the corner", f"{screen.angle(wheel.exit, signed=True)} against the "
                f"corner's own mean; the model {screen.angle(wheel.exit_model, signed=True)}"),
            row("stagger by the wheel", f"{screen.fine(wheel.alone)}, give or take "
                f"{screen.fine(wheel.alone_error)}, against {screen.fine(run.feel.staggers[1])} "
                "taped"),
        ]  # fmt: skip
    return lines


MOST_LINES = 22
"""Of a screen; two more say what came from the trailer."""


def debrief_screen(told: DebriefResult, screen: Screen, note: str = "") -> str:
    """A debrief: the instruction first, what it rests on, and where it scrubbed.

    `note` is what his own nights say.
    """

    def with_notes(most: int) -> str:
        return sections(
            [
                [*_answer(told, screen), *([paragraph(note, "  ")] if note else [])],
                recording_lines(told, screen, most),
                _scrub_lines(told, screen) if _has_room(told, screen) else [],
                _belief_lines(told, screen) if screen.full else [],
                caution_lines(),
            ],
            screen,
        )

    count = 0 if told.recording is None else len(told.recording.notes)
    for most in range(count, 1, -1):
        text = with_notes(most)
        if screen.full or text.count("\n") < MOST_LINES:
            return text
    return with_notes(1)


def _has_room(told: DebriefResult, screen: Screen) -> bool:
    """Whether the table of scrub stands on the screen: two dozen lines are all there are."""
    roomy = screen.width >= ROOMY or told.verdict is None
    return screen.full or (told.recording is None and roomy)


def _answer(told: DebriefResult, screen: Screen) -> list[str]:
    verdict, fitted = told.verdict, told.fitted
    if verdict is None:
        best = float(told.case.stagger.recommended)
        effect = stagger_effect(told.case.car, best - fitted)
        band = [float(end) for end in told.case.stagger.band]
        # What a lap time says takes the place: the table of scrub has to stand on the screen.
        crowded = told.case.watch is not None and not screen.full and screen.width < ROOMY
        return [
            f"Rear stagger the lap asks for: {screen.tape(best)}",
            f"  {stagger_change_words(best - fitted, fitted, screen, band)}",
            f"  {case_words(told.case)}",
            *watch_lines(told.case, screen),
            f"  {hold_words(effect, best - fitted, screen)}",
            *([] if crowded else _foretold_lines(told, screen)),
        ]
    first, *rest = verdict_lines(told, screen)
    lines = [first, f"  {case_words(told.case)}", *watch_lines(told.case, screen)]
    if verdict.amount:
        hold = float(stagger_effect(told.case.car, verdict.amount).hold_front)
        lines.append(f"  to hold bite with that step: {add_or_take_out(hold, screen)} of front "
                     "stagger")  # fmt: skip
    lines += [paragraph(line, "  ") for line in rest]
    crowded = told.recording is not None and not screen.full
    return [*lines, *([] if crowded else _foretold_lines(told, screen))]


def _foretold_lines(told: DebriefResult, screen: Screen) -> list[str]:
    words = foretold_words(told.told)
    return [paragraph(f"{screen.tape(told.fitted)} foretells: {words}", "  ")]


def _scrub_lines(told: DebriefResult, screen: Screen) -> list[str]:
    now, then, fitted = told.case.now, told.case.then, told.fitted
    best = float(told.case.stagger.recommended)
    both = abs(best - fitted) > 1e-6
    cases = [now, then] if both else [now]
    heads = ["", *(screen.tape(one) for one in ((fitted, best) if both else (fitted,)))]
    lines = [
        [f"  {name}", *(screen.distance(case.by_phase[name], 1) for case in cases)]
        for name in PHASES
    ]
    lines.append(["  whole lap", *(screen.distance(case.lap, 1) for case in cases)])
    return ["Where the axle scrubbed, a lap (estimates)", *columns([heads, *lines], 1)]


def _belief_lines(told: DebriefResult, screen: Screen) -> list[str]:
    belief = told.belief
    shares = ", ".join(f"{name} {share:.0%}" for name, share in belief.shares.items())
    low, high = belief.interval(0.9)
    return [
        "What is believed (estimates)",
        row("best stagger", f"{screen.fine(belief.mean)}, nine times in ten between "
            f"{screen.fine(low)} and {screen.fine(high)}"),
        row("by the physics alone", screen.fine(belief.physics)),
        row("who brought it", shares),
    ]  # fmt: skip


def _recording_json(told: DebriefResult, run: Recording) -> dict[str, Any]:
    """What the recorded laps say."""
    wheel, slip, word = run.wheel, run.slip, told.word
    data: dict[str, Any] = {
        "laps": run.laps.used,
        "laps_found": run.laps.found,
        "lap_times_s": run.laps.times,
        "lap_ft": feet(run.laps.groove.length),
        "needed_in": inches(run.best.unbounded),
        "needed_as_driven_in": inches(run.as_driven),
        "taped_in": inches(run.feel.staggers[1]),
        "grip": run.condition.grip,
        "slip_pct": None,
        "exit_steer_deg": None,
    }
    if wheel is not None:
        data |= {
            "exit_steer_deg": finite_or_none(float(degrees(wheel.exit))),
            "exit_steer_model_deg": finite_or_none(float(degrees(wheel.exit_model))),
            "wheel_stagger_in": inches(wheel.alone),
            "wheel_stagger_error_in": inches(wheel.alone_error),
            "steering_zero_deg": degrees(wheel.zero),
        }
    if slip is not None:
        data |= {
            "slip_pct": finite_or_none(100 * slip.exit),
            "slip_straight_pct": finite_or_none(100 * slip.straight),
            "wheelspin_pct": 100 * slip.spinning,
            "gear_ratio": slip.gear_ratio,
            "gear_ratio_looks_like": slip.likely_ratio,
            "gear_ratio_doubted": slip.gear_fault,
        }
    if word is not None:
        data["says"] = {
            "code": word.code, "best_in": inches(word.best), "error_in": inches(word.sd),
        }  # fmt: skip
    return {
        **data,
        "disagreement": disagreement(told),
        "notes": [log_note(note, run) for note in run.notes],
    }


def disagreement(told: DebriefResult) -> str | None:
    """One sentence when the driver and the logger do not say the same."""
    if told.reading and told.reading.code == "spins" and told.word and told.word.rolls:
        return "The driver says wheelspin, the logger shows none."
    if not contrary(told.reading, told.word, told.fitted):
        return None
    assert told.reading is not None
    other = "less" if told.reading.change == "more" else "more"
    return f"The driver says {told.reading.change}, the logger {other}."


def debrief_json(told: DebriefResult) -> dict[str, Any]:
    """A debrief; `scrub` holds feet a lap by phase.

    `stagger.recommended_in` is the stagger of the verdict: what is on the car and its step.
    """
    change = float(told.case.stagger.recommended) - told.fitted
    data = baseline_json(told.case, stagger_effect(told.case.car, change))
    data["scrub"] = {
        name: {
            **{f"{phase.replace('-', '_')}_ft": feet(scrub.by_phase[phase]) for phase in PHASES},
            "lap_ft": feet(scrub.lap),
        }
        for name, scrub in (("now", told.case.now), ("recommended", told.case.then))
    }
    low, high = told.belief.interval(0.9)
    data["belief"] = {
        "best_in": inches(told.belief.mean), "between_in": [inches(low), inches(high)],
        "physics_in": inches(told.belief.physics), "shares": told.belief.shares,
    }  # fmt: skip
    data["foretold"] = told.told.words
    if told.verdict is not None:
        data["verdict"] = _verdict_json(told)
    if told.recording is not None:
        data["log"] = _recording_json(told, told.recording)
    return data


def _verdict_json(told: DebriefResult) -> dict[str, Any]:
    verdict, choice = told.verdict, told.choice
    assert verdict is not None
    return {
        "change": verdict.change,
        "amount_in": inches(verdict.amount),
        "reason": reason_words(verdict),
        "reasons": list(verdict.reasons),
        "confidence": verdict.confidence,
        "question": QUESTIONS.get(verdict.question),
        "look_for": look_for_words(told),
        "choice": choice and {"change_in": inches(choice.change), "cost_s": choice.cost},
    }


def short_screen(told: DebriefResult, screen: Screen = TRADE) -> str:
    """The result of `debrief` for a racer."""
    return debrief_screen(told, screen)
