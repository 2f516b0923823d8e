"""More, less, leave it, or not stagger: every combination of answers has a sensible verdict."""

from itertools import product

import pytest
from rollpath import baseline, load_car, load_track
from rollpath.debrief import (
    ANSWERS,
    CONFIDENCES,
    LARGEST_STEP,
    Answers,
    Leaning,
    decide,
    disagreement,
    read_answers,
)
from rollpath.units import INCH

EVERY = [Answers(*given) for given in product(*([None, *words] for words in ANSWERS.values()))]


@pytest.fixture(scope="module")
def best():
    track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
    return baseline(track, car, "slick", "middle").stagger


def test_every_combination_of_answers_gets_a_verdict_with_words(best):
    assert len(EVERY) == 4 * 4 * 3 * 3 * 4
    for answers in EVERY:
        leaning = read_answers(answers)
        verdict = decide(leaning, 2 * INCH, best)
        assert verdict.change in ("more", "less", "leave", "elsewhere", "ask")
        assert verdict.confidence in CONFIDENCES
        assert verdict.reason and verdict.look_for
        assert (verdict.amount != 0) == (verdict.change in ("more", "less"))
        assert bool(verdict.question) or verdict.change != "ask"


def test_wheelspin_is_never_answered_with_stagger():
    # common practice, no source
    for answers in EVERY:
        if answers.wheelspin == "yes":
            assert read_answers(answers).change == "elsewhere"


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


def test_entry_alone_is_bite_and_brakes():
    for entry in ("tight", "loose"):
        leaning = read_answers(Answers("straight", "no", "no", "no", entry))
        assert (leaning.change, leaning.confidence) == ("elsewhere", "high")
        assert "brakes" in leaning.reason


def test_contradictions_are_met_with_the_question_that_settles_them():
    for answers in (
        Answers(wheel="left", crabs="yes"),
        Answers(wheel="right", drifts_out="yes"),
        Answers(wheel="left", drifts_out="steps"),
        Answers(crabs="yes", drifts_out="yes"),
    ):
        leaning = read_answers(answers)
        assert leaning.change == "ask" and leaning.question.endswith("?")


def test_saying_less_never_turns_a_verdict_round():
    """Leaving one answer out may weaken a verdict or raise a question, not reverse it."""
    for answers in EVERY:
        change = read_answers(answers).change
        for name in answers.given:
            without = read_answers(Answers(**{**vars(answers), name: None})).change
            assert {change, without} != {"more", "less"}


def test_a_step_is_in_eighths_at_most_half_an_inch_and_inside_the_window(best):
    for change, fitted in product(("more", "less"), (0.5, 1.0, 1.06, 1.64, 2.5, 3.9, 4.0, 5.0)):
        verdict = decide(Leaning(change, "high", "so"), fitted * INCH, best)
        eighths = verdict.amount / INCH * 8
        assert eighths == pytest.approx(round(eighths), abs=1e-6)
        assert abs(verdict.amount) <= LARGEST_STEP + 1e-9
        after = fitted * INCH + verdict.amount
        inside = best.window[0] - 1e-9 <= after <= best.window[1] + 1e-9
        assert inside or verdict.amount == 0 or not 1.0 <= fitted <= 4.0


def test_at_the_end_of_the_window_it_says_so_and_leaves_it(best):
    verdict = decide(Leaning("more", "high", "so"), 4 * INCH, best)
    assert (verdict.change, verdict.amount) == ("leave", 0.0)
    assert "window" in verdict.reason


def test_against_the_lap_the_step_is_careful_and_the_confidence_lower(best):
    agreed = decide(Leaning("less", "high", "so"), 2.5 * INCH, best)
    against = decide(Leaning("more", "high", "so"), 2.5 * INCH, best)
    assert abs(against.amount) < abs(agreed.amount)
    assert (agreed.confidence, against.confidence) == ("high", "low")


def test_driver_and_logger_are_set_against_each_other_only_when_they_differ():
    more, less, ask = (Leaning(change, "fair", "so") for change in ("more", "less", "ask"))
    assert disagreement(more, more) == ""
    assert disagreement(ask, less) == ""
    assert "before changing anything" in disagreement(more, less)


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
    ("ask", "low", {"crabs": "yes", "drifts_out": "yes", "entry": "loose"}),
    ("ask", "low", {"wheel": "right", "drifts_out": "yes", "entry": "tight"}),
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
    ("less", "low", {"wheel": "right", "crabs": "no", "entry": "tight"}),
    ("less", "fair", {"crabs": "yes", "wheel": "straight", "entry": "loose"}),
    ("more", "fair", {"wheel": "left", "entry": "loose"}),
    ("more", "low", {"wheel": "left", "drifts_out": "no", "entry": "tight"}),
    ("ask", "low", {"drifts_out": "yes", "entry": "tight"}),
    ("ask", "low", {"drifts_out": "steps", "entry": "tight"}),
    ("ask", "low", {"drifts_out": "steps", "wheel": "straight", "entry": "tight"}),
    ("elsewhere", "fair", {"drifts_out": "steps", "crabs": "no", "entry": "tight"}),
    ("elsewhere", "low", {"wheel": "straight", "drifts_out": "yes", "entry": "tight"}),
    ("elsewhere", "high", {"wheel": "straight", "entry": "tight"}),
    ("elsewhere", "low", {"drifts_out": "no", "entry": "loose"}),
    ("leave", "high", {"wheel": "straight", "drifts_out": "no", "crabs": "no"}),
    ("leave", "fair", {"wheel": "straight", "drifts_out": "no"}),
    ("leave", "low", {"drifts_out": "no"}),
]


@pytest.mark.parametrize(("change", "confidence", "answers"), ORDERED, ids=str)
def test_the_rule_that_should_speak_first_does(change, confidence, answers):
    leaning = read_answers(Answers(**answers))
    assert (leaning.change, leaning.confidence) == (change, confidence)


def test_wheelspin_speaks_before_everything_else_and_is_sure():
    # common practice, no source
    for answers in EVERY:
        if answers.wheelspin == "yes":
            leaning = read_answers(answers)
            assert leaning.confidence == "high" and "spin" in leaning.reason


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"wheel": "left", "drifts_out": "yes", "crabs": "yes"}, "which way did the nose point"),
        ({"wheel": "left", "drifts_out": "steps", "crabs": "yes"}, "which way did the nose point"),
        ({"wheel": "right", "drifts_out": "yes", "crabs": "yes"}, "run wide in the corner"),
        ({"wheel": "right", "drifts_out": "yes"}, "catch the rear"),
        ({"wheel": "left", "drifts_out": "steps"}, "throttle still down"),
        ({"drifts_out": "steps"}, "run true down the straight"),
        ({"drifts_out": "yes"}, "was the wheel straight, left or right"),
    ],
)
def test_of_several_questions_the_one_about_the_stronger_sign_is_asked(answers, words):
    # Engineering judgement, no source: crabbing is seen from outside, so it is settled first.
    assert words in read_answers(Answers(**answers)).question


def test_the_step_follows_what_the_lap_lacks_up_to_half_an_inch(best):
    lacking = {0.25: 0.25, 0.40: 0.375, 0.9: 0.5}
    for gap, step in lacking.items():
        fitted = float(best.unbounded) + gap * INCH
        verdict = decide(Leaning("less", "high", "so"), fitted, best)
        assert -verdict.amount / INCH == pytest.approx(step, abs=0.07)


def test_a_step_too_small_to_feel_is_told_as_one_for_the_watch(best):
    fitted = float(best.unbounded) + 0.25 * INCH
    small = decide(Leaning("less", "high", "so"), fitted, best, felt_step=0.6 * INCH)
    assert abs(small.amount) < 0.6 * INCH and "watch" in small.look_for
    assert "watch" not in decide(Leaning("less", "high", "so"), fitted, best).look_for
