"""More, less, leave it, or not stagger: one instruction from driver, log and physics."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from rollpath import baseline, load_car, load_track
from rollpath.belief import believe, estimate
from rollpath.debrief import LEFT_ALONE, Verdict, debrief_of, decide, scrub_time, unforetold
from rollpath.feel.answers import ANSWERS, SLIPS, Answers, Reading, read_answers
from rollpath.feel.foretold import foretold
from rollpath.feel.lap import feel_by_phase, trim_lap
from rollpath.runlog.says import LogWord
from rollpath.show.debrief import LOOK_FOR, QUESTIONS, REASONS
from rollpath.track import CONDITIONS
from rollpath.units import INCH

EVERY = [Answers(*given) for given in product(*([None, *words] for words in ANSWERS.values()))]
WINDOW = (1.0 * INCH, 4.0 * INCH)
TRACKS, CARS = ("saucer-hill", "ropewalk", "two-ponds"), ("number-31", "blue-heron")
MORE = Answers("left", "yes", wheelspin="no")
LESS = Answers("right", "no", "yes", "no")
WELL = Answers("straight", "no", "no", "no")


def fitted(car, stagger):
    """The car with another rear stagger, its mean rollout held."""
    mean = car.rear.mean_rollout
    rear = replace(
        car.rear, left_rollout=mean - stagger / 2, right_rollout=mean + stagger / 2
    )  # fmt: skip
    return replace(car, rear=rear)


@pytest.fixture(scope="module")
def case():
    return baseline(
        load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml"), "slick", "middle"
    )


def said(case, stagger, answers):
    return debrief_of(replace(case, car=fitted(case.car, stagger)), answers)


# What answers say by themselves


def test_every_combination_of_answers_is_read_and_has_words():
    assert len(EVERY) == 4 * 4 * 3 * 3 * 4
    for answers in EVERY:
        reading = read_answers(answers)
        assert reading.change in LOOK_FOR and reading.sure in SLIPS and REASONS[reading.code]
        assert reading.change != "ask" or QUESTIONS[reading.code].endswith("?")


def test_wheelspin_is_never_answered_with_stagger():
    # common practice, no source
    for answers in EVERY:
        if answers.wheelspin == "yes":
            reading = read_answers(answers)
            assert (reading.change, reading.code) == ("elsewhere", "spins")


def test_more_needs_a_wheel_held_left_and_less_never_has_one():
    # common practice, no source
    for answers in EVERY:
        change = read_answers(answers).change
        if change == "more":
            assert answers.wheel == "left" and answers.crabs != "yes"
        if change == "less":
            assert answers.wheel != "left"
            assert answers.wheel == "right" or answers.crabs == "yes"
            assert answers.drifts_out != "yes"


def test_saying_less_never_turns_a_reading_round():
    """Leaving one answer out may weaken it or raise a question, not reverse it."""
    for answers in EVERY:
        change = read_answers(answers).change
        for name in answers.given:
            without = read_answers(Answers(**{**vars(answers), name: None})).change
            assert {change, without} != {"more", "less"}


def test_push_is_another_word_for_tight():
    assert Answers(entry="push") == Answers(entry="tight")


# Which rule speaks when several fit: the first. common practice, no source; engineering judgement
# where it is about how sure to be.

ORDERED = [
    # A contradiction is asked about before either of its sides is believed.
    ("less", "high", {"wheel": "right", "crabs": "yes"}),
    ("ask", "low", {"wheel": "right", "crabs": "yes", "drifts_out": "yes"}),
    ("ask", "low", {"wheel": "straight", "crabs": "yes", "drifts_out": "yes"}),
    ("ask", "low", {"wheel": "left", "crabs": "yes", "drifts_out": "no"}),
    ("ask", "low", {"wheel": "right", "crabs": "no", "drifts_out": "yes"}),
    ("ask", "low", {"wheel": "left", "crabs": "no", "drifts_out": "steps"}),
    ("ask", "low", {"wheel": "left", "crabs": "yes", "entry": "tight"}),
    ("ask", "low", {"wheel": "left", "drifts_out": "steps", "entry": "tight"}),
    # Crabbing is the axle, whatever the rear did and however the wheel stood, if not left.
    ("less", "fair", {"crabs": "yes", "drifts_out": "steps"}),
    ("less", "high", {"wheel": "right", "crabs": "yes", "drifts_out": "steps"}),
    ("less", "fair", {"wheel": "straight", "crabs": "yes"}),
    ("less", "fair", {"crabs": "yes", "drifts_out": "no"}),
    # A rear that steps out is caught with the wheel to the right: that says nothing of stagger.
    ("ask", "low", {"wheel": "right", "drifts_out": "steps"}),
    ("elsewhere", "fair", {"wheel": "right", "drifts_out": "steps", "crabs": "no"}),
    ("elsewhere", "fair", {"wheel": "straight", "drifts_out": "steps", "crabs": "no"}),
    ("ask", "low", {"wheel": "straight", "drifts_out": "steps"}),
    # What speaks against a reading makes it less sure, what speaks for it surer.
    ("less", "low", {"wheel": "right", "crabs": "no"}),
    ("less", "fair", {"wheel": "right"}),
    ("more", "high", {"wheel": "left", "drifts_out": "yes"}),
    ("more", "low", {"wheel": "left", "drifts_out": "no"}),
    ("more", "fair", {"wheel": "left"}),
    ("elsewhere", "low", {"wheel": "straight", "drifts_out": "yes"}),
    # The axle under throttle comes before the entry, the entry before leaving all as it is.
    ("less", "fair", {"wheel": "right", "entry": "tight"}),
    ("more", "low", {"wheel": "left", "drifts_out": "no", "entry": "tight"}),
    ("ask", "low", {"drifts_out": "yes", "entry": "tight"}),
    ("elsewhere", "high", {"wheel": "straight", "entry": "tight"}),
    ("elsewhere", "low", {"drifts_out": "no", "entry": "loose"}),
    ("leave", "high", {"wheel": "straight", "drifts_out": "no", "crabs": "no"}),
    ("leave", "fair", {"wheel": "straight", "drifts_out": "no"}),
    ("leave", "low", {"drifts_out": "no"}),
]


@pytest.mark.parametrize(("change", "sure", "answers"), ORDERED, ids=str)
def test_the_rule_that_should_speak_first_does(change, sure, answers):
    reading = read_answers(Answers(**answers))
    assert (reading.change, reading.sure) == (change, sure)


# Foretold is no news


def as_foretold(words):
    """What a driver answers who feels just what was foretold, phase by phase."""
    push = "pushes" in (words.get("centre"), words.get("drive-off"))
    steers = words.get("drive-off") == "steers itself"
    crabs = words.get("straight") == "steers itself"
    entry = {"pushes": "push", "steers itself": "loose"}.get(words.get("entry"), "ok")
    wheel = "left" if push else "right" if steers else "straight"
    return Answers(wheel, "yes" if push else "no", "yes" if crabs else "no", "no", entry)


@pytest.mark.parametrize("condition", CONDITIONS)
@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("track", TRACKS)
def test_what_was_foretold_of_the_baseline_leaves_it_alone(track, car, condition):
    result = baseline(load_track(f"tracks/{track}.yaml"), load_car(f"cars/{car}.yaml"), condition)
    best = float(result.stagger.recommended)
    told = foretold(result)
    car_fitted = fitted(result.car, best)
    # Told alike by `feel`, phase by phase, and where an end is named it is one that feels it.
    feel = trim_lap(result.lap, car_fitted, result.condition, best)
    assert told.words == {phase.phase: phase.felt for phase in feel_by_phase(feel)[0]}
    assert all(any(part.ends) for part in told.parts if part.felt == "pushes")
    outcome = debrief_of(replace(result, car=car_fitted), as_foretold(told.words))
    assert (outcome.verdict.change, outcome.verdict.amount) == ("leave", 0.0)
    assert float(outcome.case.stagger.recommended) == pytest.approx(best)
    if outcome.choice is not None:
        assert abs(outcome.choice.cost) < 0.1


def test_a_complaint_that_was_not_foretold_moves_the_belief(case):
    best = float(case.stagger.recommended)
    more, less, well = (said(case, best, answers) for answers in (MORE, LESS, WELL))
    assert less.belief.mean < well.belief.mean - 0.02 * INCH
    assert well.belief.mean <= more.belief.mean


def test_two_complaints_of_which_one_was_foretold_are_no_contradiction(case):
    best = float(case.stagger.recommended)
    told = foretold(case, best - 0.75 * INCH)
    assert told.push_gone("centre") > 0
    assert unforetold(Answers("left", "yes", "yes"), told) == Answers(None, None, "yes")


@pytest.mark.parametrize("answers", [MORE, WELL, LESS, Answers("left"), Answers(crabs="yes")])
def test_the_step_falls_as_more_is_fitted(case, answers):
    steps = [said(case, x * INCH, answers).verdict.amount for x in np.arange(1.0, 4.01, 0.125)]
    assert np.all(np.diff(steps) <= 1e-9), np.array(steps) / INCH
    assert max(np.abs(steps)) <= INCH / 2 + 1e-9


def test_the_step_rises_with_what_he_asks_for(case):
    for x in np.arange(1.0, 4.01, 0.25):
        less, well, more = (said(case, x * INCH, one).verdict.amount for one in (LESS, WELL, MORE))
        assert less <= well + 1e-9 and well <= more + 1e-9, x


def test_no_wheelspin_counts(case):
    asked, unasked = (
        said(case, 2 * INCH, Answers("right", "no", "yes", spin)) for spin in ("no", None)
    )
    assert asked.belief.mean < unasked.belief.mean


def test_a_fault_elsewhere_never_makes_it_surer(case):
    alone, beside = (
        said(case, 2.5 * INCH, Answers("right", "no", "yes", "no", entry)).verdict
        for entry in ("ok", "tight")
    )
    assert (alone.change, alone.amount) == (beside.change, beside.amount)
    assert list(SLIPS).index(beside.confidence) >= list(SLIPS).index(alone.confidence)


# One instruction

NEAR = 0.4 * INCH


def decided(change, x=2.0, mean=2.0, word=None, code="wheel left"):
    sure = believe(mean * INCH, NEAR, [estimate("log", 0.0, NEAR)] if word else [])
    return decide(Reading(code, change, "high"), word, sure, x * INCH, WINDOW)


def test_a_trifle_is_left_alone():
    assert decided("leave", 2.0, 2.0 + 0.9 * LEFT_ALONE / INCH).change == "leave"
    assert decided("leave", 2.0, 2.0 + 1.1 * LEFT_ALONE / INCH).change == "more"


def test_no_step_goes_against_what_the_driver_asks_for():
    verdict = decided("more", 3.0, 2.0)
    assert (verdict.change, verdict.amount, verdict.confidence) == ("leave", 0.0, "low")
    assert verdict.question == "against the lap"


@pytest.mark.parametrize(
    ("change", "x", "code"), [("more", 4.0, "used up high"), ("less", 1.0, "used up low")]
)
def test_at_the_end_of_the_window_it_says_that_stagger_is_used_up(change, x, code):
    verdict = decided(change, x, x + 0.5 * (1 if change == "more" else -1))
    assert (verdict.change, verdict.amount) == ("elsewhere", 0.0)
    assert code in verdict.reasons and verdict.confidence != "high"
    assert "What else" in REASONS[code]


def test_a_step_stops_at_the_window_and_at_half_an_inch():
    assert decided("more", 3.75, 5.0).amount == pytest.approx(INCH / 4)
    assert decided("less", 3.0, 1.0).amount == pytest.approx(-INCH / 2)


def test_a_tape_in_doubt_does_not_vanish_beside_a_sure_driver():
    verdict = decided("more", 2.0, 2.5, LogWord("tape", 2.0 * INCH, NEAR))
    assert (verdict.change, verdict.amount, verdict.question) == ("ask", 0.0, "tape")


def test_wheelspin_comes_first_whoever_saw_it():
    verdict = decided("more", 2.0, 2.5, LogWord("spins", 2.0 * INCH, NEAR))
    assert (verdict.change, verdict.amount, verdict.reasons) == ("elsewhere", 0.0, ("spins",))


def test_wheelspin_that_the_log_does_not_show_is_less_sure():
    for rolls, sure in ((False, "high"), (True, "low")):
        verdict = decided("elsewhere", word=LogWord("stagger", 2 * INCH, NEAR, rolls), code="spins")
        assert (verdict.change, verdict.confidence) == ("elsewhere", sure)


def test_all_that_is_shown_of_a_verdict_is_one_stagger(case):
    for x, answers in product((1.0, 1.5, 2.0, 2.5, 3.5), (MORE, LESS, WELL)):
        outcome = said(case, x * INCH, answers)
        ordered = x * INCH + outcome.verdict.amount
        assert float(outcome.case.stagger.recommended) == pytest.approx(ordered)


def test_scrub_costs_what_a_lap_solved_with_that_drag_loses(case):
    """Against another route: the lap solved again with the drag in it."""
    from rollpath.axle.rolling import tread_slip
    from rollpath.lap import solve_lap

    lap, car = case.lap, case.car
    stagger = float(case.stagger.recommended) + INCH
    left, right = lap.wheels.left_rear, lap.wheels.right_rear
    slip = tread_slip(stagger, case.needed)
    drag = case.condition.slip_stiffness * left * right / (left + right) * slip**2 / car.mass
    again = solve_lap(case.groove, car, case.condition, extra_drag=drag)
    lost = float(again.time - lap.time)
    assert scrub_time(case, stagger) == pytest.approx(lost, rel=0.1)


def test_a_verdict_is_a_plain_record():
    assert Verdict("leave", 0.0, "low", ("all well",)).question == ""
