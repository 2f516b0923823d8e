"""What nights teach: changes between runs, and the correction to the physics."""

import itertools
import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from notebook_helpers import driver_feels, made_nights, made_run
from rollpath.book import posterior
from rollpath.book.lessons import FEWEST_CLEAN, Correction, correction, driver_says, studies
from rollpath.book.nights import Step, nights
from rollpath.book.posterior import CANDIDATES
from rollpath.book.run import Page, Run
from rollpath.units import INCH, POUND, PSI

CAR, SLICK = "Number 31", "slick"


def pages_of(runs: Iterable[Run]) -> list[Page]:
    return [Page(f"{i:032x}", i, 1, run.when, run) for i, run in enumerate(runs, 1)]


def step_between(before: Run, after: Run) -> Step:
    later = replace(after, when=before.when + timedelta(minutes=40))
    (night,) = nights(pages_of([before, later]))
    return night.steps[0]


def names(step: Step) -> list[str]:
    return [change.thing.name for change in step.changes]


# Within a night


def test_one_change_teaches() -> None:
    step = step_between(made_run(2.25, best_lap=17.9), made_run(2.5, best_lap=17.7))
    assert names(step) == ["rear stagger"]
    assert not step.is_confounded
    assert step.lap_gain == pytest.approx(0.2)
    assert step.trials() == ()


def test_stagger_and_bite_together_teach_nothing_about_either() -> None:
    step = step_between(made_run(2.25, bite=60), made_run(2.75, bite=85))
    assert names(step) == ["rear stagger", "bite"]
    assert step.is_confounded
    told = [
        {thing.name: pytest.approx(setting) for thing, setting in trial} for trial in step.trials()
    ]
    assert told == [
        {"rear stagger": 2.75 * INCH, "bite": 60 * POUND},
        {"rear stagger": 2.25 * INCH, "bite": 85 * POUND},
    ]


def test_bite_held_with_front_stagger_leaves_one_change() -> None:
    before = made_run(2.25, bite=60)
    after = made_run(2.75, bite=60.5, right_front_rollout=84.25 * INCH)
    assert names(step_between(before, after)) == ["rear stagger"]


def test_a_jack_with_the_pads_not_read_again_counts() -> None:
    jacks = dict.fromkeys(
        ["left_front_jack", "right_front_jack", "left_rear_jack", "right_rear_jack"], 0.0
    )
    before, after = made_run(2.25, **jacks), made_run(2.5, **{**jacks, "left_rear_jack": 2.0})
    assert names(step_between(before, after)) == ["rear stagger", "jacks"]


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"condition": "tacky"}, "condition"),
        ({"groove": "high"}, "groove"),
        ({"left_rear_pressure": 11 * PSI}, "pressures"),
    ],
)
def test_other_things_that_matter_are_seen(change: dict[str, Any], name: str) -> None:
    known = {
        "groove": "middle",
        **{
            f"{corner}_pressure": 9 * PSI
            for corner in ("left_front", "right_front", "left_rear", "right_rear")
        },
    }
    step = step_between(made_run(2.25, **known), made_run(2.5, **{**known, **change}))
    assert names(step) == ["rear stagger", name]


def test_a_track_that_changed_under_the_change_asks_for_both_on_one_surface() -> None:
    step = step_between(made_run(2.25, condition="tacky"), made_run(2.5, condition="slick"))
    staggers = [setting for trial in step.trials() for _, setting in trial]
    assert staggers == pytest.approx([2.25 * INCH, 2.5 * INCH])


def test_what_a_tape_cannot_tell_is_no_change() -> None:
    assert names(step_between(made_run(2.25, bite=60), made_run(2.31, bite=66))) == []


def test_an_eighth_typed_in_inches_is_a_change() -> None:
    for start in (1.0, 2.125, 2.375, 3.0):
        assert names(step_between(made_run(start), made_run(start + 0.125))) == ["rear stagger"]


def test_what_is_not_known_is_not_compared() -> None:
    bare = Run(datetime(2026, 5, 2, 20), "Ropewalk", CAR)
    step = step_between(bare, made_run())
    assert step.changes == ()
    assert math.isnan(step.lap_gain)


def test_a_feature_after_midnight_belongs_to_the_night_before() -> None:
    late = made_run(when=datetime(2026, 5, 3, 0, 40))
    assert [len(night.runs) for night in nights(pages_of([made_run(), late]))] == [2]


def test_two_cars_have_two_nights() -> None:
    assert len(nights(pages_of([made_run(), made_run(car="Blue Heron")]))) == 2


# What the driver says

ALL_ANSWERS = [
    {
        "wheel": wheel, "drifts_out": drifts, "crabs": crabs,
        "wheelspin": spin, "entry": entry,
    }
    for wheel, drifts, crabs, spin, entry in itertools.product(
        (None, "straight", "left", "right"), (None, "no", "yes", "steps"),
        (None, "yes", "no"), (None, "yes", "no"), (None, "ok", "tight", "loose"),
    )
]  # fmt: skip


def test_every_combination_of_answers_is_heard() -> None:
    heard = [driver_says(made_run(**answers)) for answers in ALL_ANSWERS]
    assert set(heard) == {1, 0, -1, None}


def test_spinning_says_nothing_of_stagger() -> None:
    for answers in ALL_ANSWERS:
        if answers["wheelspin"] == "yes":
            assert driver_says(made_run(**answers)) is None


def test_answers_that_mirror_each_other_ask_for_opposite_things() -> None:
    assert driver_says(made_run(wheel="left", drifts_out="yes")) == 1
    assert driver_says(made_run(wheel="right", crabs="yes")) == -1
    assert driver_says(made_run(wheel="straight", drifts_out="no", crabs="no")) == 0
    assert driver_says(made_run(wheel="left", crabs="yes")) is None
    assert driver_says(made_run(entry="tight")) is None
    assert driver_says(made_run()) is None


# Over nights


def found(pages: list[Page]) -> Correction | None:
    return correction(pages, CAR, SLICK)


@pytest.mark.parametrize("off", [0.3, -0.3])
def test_a_correction_put_in_is_found_within_its_interval(off: float) -> None:
    seen = [found(made_nights(12, off, seed)) for seed in range(40)]
    offered = [one for one in seen if one is not None]
    within = [one.interval[0] <= off * INCH <= one.interval[1] for one in offered]
    assert len(offered) >= 38
    assert sum(within) >= len(offered) - 1
    assert np.mean([one.stagger for one in offered]) == pytest.approx(off * INCH, abs=0.05 * INCH)


def test_it_is_found_from_talk_alone_and_from_the_watch_alone() -> None:
    talk = [found(made_nights(16, 0.3, seed, timed=False)) for seed in range(15)]
    watch = [found(made_nights(40, 0.3, seed, talks=False, runs=4)) for seed in range(15)]
    for seen in (talk, watch):
        within = [one is not None and one.interval[0] <= 0.3 * INCH <= one.interval[1]
                  for one in seen]  # fmt: skip
        assert sum(within) >= 14


def test_pure_noise_yields_none() -> None:
    # The interval alone promises 1 in 100; noise has to pass the Bayes factor as well.
    seen = [
        found(made_nights(n, 0.0, seed, follows=False)) for n in (3, 8, 16) for seed in range(150)
    ]
    assert sum(one is not None for one in seen) <= 2


def test_where_the_physics_is_right_hardly_any_correction_is_offered() -> None:
    seen = [found(made_nights(n, 0.0, seed)) for n in (4, 10) for seed in range(150)]
    assert sum(one is not None for one in seen) <= 6


def test_a_driver_who_always_says_the_same_teaches_nothing() -> None:
    for n in (4, 10, 30):
        pages = [
            replace(page, run=replace(page.run, wheel="left", drifts_out="yes", crabs=None))
            for page in made_nights(n, 0.0, n, timed=False)
        ]
        (study,) = studies(nights(pages))
        assert study.correction is None
        assert "do not follow" in study.reason


def test_none_is_offered_below_eight_clean_runs() -> None:
    def exact(count: int) -> list[Page]:
        offsets = np.linspace(-0.9, 0.9, count)
        return pages_of(
            made_run(
                2.25 + x, when=datetime(2026, 4, 4) + timedelta(days=7 * i), best_lap=None,
                optimum_stagger=2.25 * INCH, **driver_feels(0.5 - x),
            )
            for i, x in enumerate(offsets)
        )  # fmt: skip

    (few,) = studies(nights(exact(FEWEST_CLEAN - 1)))
    assert few.correction is None
    assert few.reason == "7 clean runs; a correction takes 8"
    (enough,) = studies(nights(exact(4 * FEWEST_CLEAN)))
    assert enough.correction is not None
    assert enough.correction.clean_runs == 4 * FEWEST_CLEAN


def test_confounded_runs_and_runs_that_do_not_count_are_left_out() -> None:
    pages = made_nights(8, 0.3, 1)
    bitten = [
        replace(page, run=replace(page.run, left_rear_weight=(830 + 20 * (i % 2)) * POUND))
        for i, page in enumerate(pages)
    ]
    (study,) = studies(nights(bitten))
    clean = [point for point in study.points if point.clean]
    assert len(clean) < len(pages) / 2
    wrecked = [replace(page, run=replace(page.run, counts="no")) for page in pages]
    (study,) = studies(nights(wrecked))
    assert study.clean_runs == 0


def test_only_the_car_and_condition_asked_for_are_heard() -> None:
    pages = made_nights(12, 0.3, 2)
    assert correction(pages, CAR, "heavy") is None
    assert correction(pages, "Blue Heron", SLICK) is None
    assert correction([], CAR, SLICK) is None


# The estimator against other ways to the same numbers


def test_lap_evidence_agrees_with_least_squares_on_a_design_matrix() -> None:
    chance = np.random.default_rng(4)
    groups = np.repeat([0, 1, 2], [3, 4, 5])
    x, laps = chance.normal(0, 0.01, 12), chance.normal(17, 0.2, 12)
    got, null = posterior._lap_evidence(posterior.Watch(x, laps, groups))
    levels = np.eye(3)[groups]
    floor = 9 * posterior._WATCH**2

    def log_likelihood(values: np.ndarray) -> float:  # type: ignore[type-arg]
        rest = values - levels @ np.linalg.lstsq(levels, values, rcond=None)[0]
        return float(-4.5 * np.log(rest @ rest + floor))

    for i in (0, 30, 60, 96):
        each = [log_likelihood(laps - k * (x - CANDIDATES[i]) ** 2) for k in posterior._LAP_COSTS]
        assert got[i] == pytest.approx(np.log(np.mean(np.exp(each))), rel=1e-9)
    assert null == pytest.approx(log_likelihood(laps))


def test_driver_evidence_agrees_with_the_ordinal_model_written_out() -> None:
    # McCullagh (1980), the proportional-odds model: cumulative chances are logistic.
    x, said = np.array([-20, 3, 8, 8]) * posterior.STEP, np.array([1, 0, -1, 0])
    got, null = posterior._driver_evidence(x, said)

    def chance(answer: int, d: float, t: float, b: float) -> float:
        more, less = 1 / (1 + math.exp(-(d - t) / b)), 1 / (1 + math.exp(-(-d - t) / b))
        plain = {1: more, -1: less, 0: 1 - more - less}[answer]
        return (1 - posterior._LAPSE) * plain + posterior._LAPSE / 3

    for i in (0, 40, 96):
        each = [
            math.prod(chance(a, CANDIDATES[i] - b, t, blur) for a, b in zip(said, x, strict=True))
            for blur in posterior._BLURS
            for t in posterior._CONTENTS
        ]
        assert got[i] == pytest.approx(math.log(np.mean(each)), rel=1e-9)
    # By hand: Dirichlet(1, 1, 1) gives 2! 1! 2! 1! / 6!.
    assert null == pytest.approx(math.log(2 * 2 / 720))


def test_with_many_laps_the_answer_is_the_foot_of_the_fitted_parabola() -> None:
    pages = made_nights(150, 0.4, 3, talks=False, runs=4, watch=0.03)
    (study,) = studies(nights(pages))
    x = np.array([page.run.off_optimum for page in pages]) / INCH
    laps = np.array([page.run.best_lap for page in pages])
    night = np.eye(150)[np.arange(len(pages)) // 4]
    fitted = np.linalg.lstsq(np.column_stack([x, x**2, night]), laps, rcond=None)[0]
    foot = -fitted[0] / (2 * fitted[1])
    assert study.estimate / INCH == pytest.approx(foot, abs=0.04)
