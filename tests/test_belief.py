"""One posterior of the best stagger, against conjugate formulas and the models written out."""

import math

import numpy as np
import pytest
from rollpath.belief import (
    CORRECTIONS,
    SLIPS,
    STEP,
    TASTE,
    Answer,
    Belief,
    Witness,
    believe,
    driver,
    estimate,
    fit_together,
    foretold,
    quantiles,
    tasted,
)
from rollpath.units import EIGHTH, INCH

BEST, SD = 1.9 * INCH, 0.35 * INCH
FITTED = np.arange(0.2, 3.7, 0.1) * INCH


def heard(said: int, fitted: float) -> Belief:
    return believe(BEST, SD, [driver([Answer(said, foretold(BEST, fitted))])])


def test_physics_and_an_estimate_add_up_as_precisions_do() -> None:
    # Normal prior, normal datum: Gelman and others, Bayesian Data Analysis, 3rd ed., eq. 2.10.
    belief = believe(BEST, SD, [estimate("log", 0.4 * INCH, 0.2 * INCH)])
    p, q = 1 / 0.35**2, 1 / 0.2**2
    assert (belief.mean - BEST) / INCH == pytest.approx(0.4 * q / (p + q), abs=1e-3)
    assert belief.spread / INCH == pytest.approx((p + q) ** -0.5, rel=1e-3)
    low, high = belief.interval(0.9)
    assert (high - low) / 2 == pytest.approx(1.645 * belief.spread, rel=0.01)
    assert belief.chance_above(belief.mean) == pytest.approx(0.5, abs=1e-3)
    assert sum(belief.shares.values()) == pytest.approx(1.0)
    assert belief.pulls["log"] == pytest.approx(belief.mean - BEST, abs=1e-6)


def test_who_says_nothing_has_no_share() -> None:
    belief = believe(BEST, SD, [driver([])])
    assert belief.shares == {"physics": pytest.approx(1.0), "driver": pytest.approx(0.0, abs=1e-9)}
    assert belief.mean == pytest.approx(BEST)


@pytest.mark.parametrize("said", [1, 0, -1])
def test_what_was_foretold_is_no_news(said: int) -> None:
    belief = believe(BEST, SD, [driver([Answer(said, foretold=float(said))])])
    assert belief.mean == pytest.approx(BEST, abs=1e-9)
    assert belief.step(BEST) == 0.0
    assert belief.spread < SD
    assert believe(BEST, SD, [driver([Answer(1, 0.0)])]).mean > BEST + 0.05 * INCH


@pytest.mark.parametrize("sd", [0.2, 0.35, 0.6])
@pytest.mark.parametrize("said", [1, 0, -1])
def test_more_fitted_never_means_a_bigger_step(said: int, sd: float) -> None:
    beliefs = [
        believe(BEST, sd * INCH, [driver([Answer(said, foretold(BEST, x))])]) for x in FITTED
    ]
    steps = [belief.step(x) for belief, x in zip(beliefs, FITTED, strict=True)]
    above = [belief.chance_above(x) for belief, x in zip(beliefs, FITTED, strict=True)]
    assert np.all(np.diff(steps) <= 1e-12)
    assert np.all(np.diff(above) <= 1e-12)
    assert steps[0] == pytest.approx(INCH / 2)
    assert steps[-1] == pytest.approx(-INCH / 2)
    assert all(step / EIGHTH == pytest.approx(round(step / EIGHTH)) for step in steps)


def test_asking_for_more_never_means_a_smaller_step() -> None:
    for fitted in FITTED:
        less, leave, more = (heard(said, fitted) for said in (-1, 0, 1))
        assert less.mean < leave.mean < more.mean
        assert less.step(fitted) <= leave.step(fitted) <= more.step(fitted)


def test_a_step_stops_at_the_window() -> None:
    belief = believe(BEST, SD)
    assert belief.step(BEST - 0.4 * INCH, (INCH, BEST - 0.2 * INCH)) == pytest.approx(EIGHTH)
    assert belief.step(BEST - 0.4 * INCH, (INCH, BEST - 0.4 * INCH)) == 0.0


def test_surer_witnesses_make_it_surer() -> None:
    alone = believe(BEST, SD)
    more = believe(BEST, SD, [estimate("log", 0.0, 0.2 * INCH)])
    for fitted in (BEST - 0.3 * INCH, BEST):
        assert more.sureness(fitted) > alone.sureness(fitted)
    assert more.confidence(BEST) == "high"
    assert believe(BEST, INCH).confidence(BEST) == "low"


def test_witnesses_that_stand_apart_give_no_step() -> None:
    said = driver([Answer(1, off=0.0)] * 6)
    belief = believe(BEST, SD, [said, estimate("log", -0.6 * INCH, 0.15 * INCH)])
    assert ("driver", "log") in belief.apart
    assert belief.step(BEST) == 0.0
    assert belief.confidence(BEST) == "low"
    agreed = believe(BEST, SD, [said, estimate("log", 0.6 * INCH, 0.15 * INCH)])
    assert agreed.apart == ()
    assert agreed.step(BEST) > 0.25 * INCH


def test_fitting_together_is_the_bayes_factor_of_two_normals() -> None:
    # Closed form by completing squares: normals a, b under a normal of 1 in before either spoke.
    a, b, s, before = 0.5, -0.4, 0.2, 1.0

    def density(x: float, variance: float) -> float:
        return math.exp(-0.5 * x * x / variance) / math.sqrt(2 * math.pi * variance)

    cov = np.array([[before**2 + s**2, before**2], [before**2, before**2 + s**2]])
    x = np.array([a, b])
    joint = math.exp(-0.5 * x @ np.linalg.solve(cov, x)) / (2 * math.pi * np.linalg.det(cov) ** 0.5)
    wanted = joint / (density(a, before**2 + s**2) * density(b, before**2 + s**2))
    got = fit_together(estimate("a", a * INCH, s * INCH), estimate("b", b * INCH, s * INCH))
    assert got == pytest.approx(wanted, rel=0.02)  # the grid ends at 3 in


def test_the_driver_is_the_ordinal_model_written_out() -> None:
    # McCullagh (1980), the proportional-odds model: cumulative chances are logistic.
    from rollpath import belief as module

    answers = [Answer(1, off=-0.5 * INCH), Answer(0, off=0.25 * INCH), Answer(-1, off=0.75 * INCH)]
    got = module._ordinal(answers)

    def chance(said: int, d: float, t: float, b: float) -> float:
        more, less = 1 / (1 + math.exp(-(d - t) / b)), 1 / (1 + math.exp(-(-d - t) / b))
        return (1 - SLIPS) * {1: more, -1: less, 0: 1 - more - less}[said] + SLIPS / 3

    weights = np.exp(-0.5 * (np.log(module._THRESHOLDS / module.THRESHOLD) / 0.6) ** 2)
    for i in (30, 96, 150):
        each = [
            w * math.prod(chance(a.said, CORRECTIONS[i] - a.off, t, b) for a in answers)
            for t, w in zip(module._THRESHOLDS, weights, strict=True)
            for b in module._BLURS
        ]
        wanted = sum(each) / weights.sum() / len(module._BLURS)
        assert got[i] == pytest.approx(math.log(wanted), rel=1e-9)


def test_taste_adds_its_variance() -> None:
    # Normals convolved: variances add.
    log = tasted(estimate("x", 0.3 * INCH, 0.1 * INCH).log)
    chance = np.exp(log - log.max())
    chance /= chance.sum()
    mean = float(chance @ CORRECTIONS)
    spread = math.sqrt(float(chance @ (CORRECTIONS - mean) ** 2))
    assert spread == pytest.approx(math.hypot(0.1 * INCH, TASTE), rel=1e-3)
    assert quantiles(chance, (0.5,))[0] == pytest.approx(0.3 * INCH, abs=1e-6)


def test_a_belief_that_reaches_the_end_of_the_grid_says_so() -> None:
    assert believe(BEST, 2 * INCH, [estimate("log", 3.2 * INCH, 0.3 * INCH)]).is_cut
    assert not believe(BEST, SD, [estimate("log", 0.5 * INCH, 0.3 * INCH)]).is_cut


def test_nine_times_in_ten_means_it() -> None:
    """Worlds drawn from the prior with a driver of his own (normal feel), not the model's."""
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(400):
        best = rng.normal(BEST, SD)
        fitted = BEST + rng.choice([-0.5, -0.25, 0.0, 0.25, 0.5]) * INCH
        feels = best - fitted + rng.normal(0.0, 0.25 * INCH)
        said = int(np.sign(feels)) * (abs(feels) > rng.uniform(0.4, 1.0) * INCH)
        log = estimate("log", rng.normal(best - BEST, 0.3 * INCH), 0.3 * INCH)
        answers = driver([Answer(int(said), off=fitted - BEST)])
        low, high = believe(BEST, SD, [answers, log]).interval(0.9)
        inside += low <= best <= high
    assert 0.87 <= inside / 400 <= 0.94


def test_a_witness_ready_made_is_taken_as_it_is() -> None:
    flat = Witness("nights", np.full_like(CORRECTIONS, -7.0))
    assert believe(BEST, SD, [flat]).mean == pytest.approx(BEST)
    assert len(flat.log) * STEP == pytest.approx(6 * INCH, abs=2 * STEP)
