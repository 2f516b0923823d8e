"""Which run next: plans by hand, what a rack makes, and seasons run by them."""

import itertools
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from notebook_helpers import made_nights, made_run
from rollpath.book.book import Book
from rollpath.book.evening import DRAWN, Cars
from rollpath.book.lessons import study_of
from rollpath.book.next import NEAR, NextRun, next_run, rack_staggers
from rollpath.cli import main
from rollpath.files.racks import load_rack
from rollpath.screen import Screen
from rollpath.show.next import next_screen
from rollpath.show.review import review_screen
from rollpath.show.study import finding_words
from rollpath.units import EIGHTH, INCH
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).parents[1] / "scripts"))
from made_season import KINDS, made_season, planned_season

ROOT = Path(__file__).parents[1]
CAR, SLICK = "Number 31", "slick"


def planned(nights: int, off: float = 0.3, **options: object) -> NextRun:
    found = next_run(made_nights(nights, off, 1, runs=4), CAR, SLICK, **options)  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize("runs", [3, 4, 5])
def test_an_evening_does_not_go_with_its_own_run_order(runs: int) -> None:
    found = planned(3, runs=runs)
    assert len(found.plan) == runs
    assert found.plan[0] == found.stagger
    assert np.ptp(found.plan) > 0
    block = np.array(found.plan[:4])
    assert abs(np.corrcoef(block, np.arange(len(block)))[0, 1]) <= 0.7 + 1e-9


def test_what_an_evening_leaves_is_that_of_a_regression() -> None:
    """With nothing unknown but the best stagger a lap is linear in it once the level is out, so
    precisions add: 1/s^2 + (2 k / scatter)^2 times the squares of what trend and level leave of the
    offsets (Gelman and others, Bayesian Data Analysis, 3rd ed., ch. 14). Up, down, down, up half an
    inch has no trend: 4 times a quarter inch squared, by hand; the bend takes a part of it."""
    spread, cost, scatter = 0.3 * INCH, 0.2 / INCH**2, 0.06
    many = np.full(DRAWN, 1.0)
    at = norm.ppf((np.arange(DRAWN) + 0.5) / DRAWN) * spread
    cars = Cars(at, cost * many, 0.0 * many, 2.0 * many, scatter * many)
    offsets = np.array([0.25, -0.25, -0.25, 0.25]) * INCH
    # The offsets are a bend themselves: of length 2 in runs squared, 0.2 scatters each.
    told = 4 * (0.25 * INCH) ** 2 / (1 + 4 * 0.2**2)
    exact = 1.0 / (1.0 / spread**2 + (2 * cost / scatter) ** 2 * told)
    assert cars.left(offsets) == pytest.approx(exact, rel=0.02)
    climbs = np.array([-0.375, -0.125, 0.125, 0.375]) * INCH
    assert cars.left(climbs) == pytest.approx(spread**2, rel=0.02)  # all trend: teaches nothing


def test_a_plan_keeps_to_a_step_and_to_eighths() -> None:
    for nights in (1, 3, 8):
        found = planned(nights)
        ends = [found.last, *found.plan]
        assert np.all(np.abs(np.diff(ends)) <= 0.5 * INCH + 1e-9)
        assert all(one / EIGHTH == pytest.approx(round(one / EIGHTH)) for one in found.plan)
        assert abs(found.stagger - found.last) <= 0.5 * INCH + 1e-9


def test_an_evening_stays_near_the_best_as_known() -> None:
    for seed in range(3):
        pages = made_nights(6, 0.5, seed, runs=4)
        found = next_run(pages, CAR, SLICK, optimum=pages[-1].run.optimum_stagger)
        assert found is not None
        if abs(found.last - found.best) < 0.25 * INCH:
            assert max(abs(one - found.best) for one in found.plan) <= NEAR + 0.07 * INCH


def test_it_stays_in_the_window_and_on_the_rack() -> None:
    last = planned(4).last
    low = planned(4, window=(last - 0.25 * INCH, last + 0.25 * INCH))
    assert all(abs(one - last) <= 0.25 * INCH + 1e-9 for one in low.plan)
    makes = (last - 0.375 * INCH, last, last + 2 * INCH)
    racked = planned(4, staggers=makes)
    assert set(racked.plan) == set(makes[:2])
    assert racked.from_rack
    assert planned(4, staggers=()).stagger == last


def test_a_rack_makes_what_two_of_its_tires_make() -> None:
    rack = load_rack(ROOT / "cars/racks/number-31.yaml")
    found = rack_staggers(rack)
    means = [tire.cold.mean for tire in rack.tires if tire.cold]
    assert found
    assert max(found) <= max(means) - min(means) + EIGHTH
    assert all(one / EIGHTH == pytest.approx(round(one / EIGHTH)) for one in found)


def test_an_evening_is_expected_to_teach_and_more_nights_leave_fewer_to_go() -> None:
    few, some, many = planned(1), planned(6), planned(40)
    assert few.then < few.give_or_take
    assert many.give_or_take < some.give_or_take < few.give_or_take
    assert few.nights_to_go >= some.nights_to_go >= many.nights_to_go
    assert many.is_enough
    assert few.cost >= 0.0


def test_nothing_to_go_by_is_none() -> None:
    assert next_run([], CAR, SLICK) is None
    pages = [
        replace(page, run=replace(page.run, optimum_stagger=None))
        for page in made_nights(2, 0.0, 1)
    ]
    assert next_run(pages, CAR, SLICK) is None


def test_planned_nights_know_more_with_two_thirds_of_the_runs_of_wandering() -> None:
    # `bench.py --truth` counts the runs until the correction shows.
    wander, width = replace(KINDS["plain"], climbs="wander"), [0.0, 0.0]
    for off, seed in itertools.product((0.3, -0.3), range(5)):
        plan = planned_season(replace(wander, off=off, nights=6), np.random.default_rng([8, seed]))
        walk, _ = made_season(replace(wander, off=off, nights=9), np.random.default_rng([8, seed]))
        for i, pages in enumerate((plan, walk)):
            width[i] += float(np.ptp(study_of(pages, CAR, SLICK).interval))
    assert width[0] < width[1]


def test_next_and_review_tell_one_belief_over_many_books() -> None:
    """Enough is known only where the review shows something, and both screens say it alike."""
    screen, told = Screen(width=80), []
    books = [
        made_nights(nights, off, seed, runs=4)
        for nights in (1, 6, 14) for off in (0.0, 0.15, 0.4) for seed in range(2)
    ]  # fmt: skip
    books += [
        made_season(replace(kind, off=off), np.random.default_rng([5, seed]))[0]
        for kind in (KINDS["biased +0.3"], KINDS["noise"], KINDS["tracks differ"])
        for off in (0.0, 0.4) for seed in range(1)
    ]  # fmt: skip
    for pages in books:
        plan = next_run(pages, CAR, SLICK)
        assert plan is not None
        study = study_of(pages, CAR, SLICK)
        sentence = finding_words(study, study.at(plan.track), screen)
        review = " ".join(review_screen([], 0, [study], screen).split())
        shown = " ".join(next_screen(plan, screen).split())
        assert " ".join(sentence.split()) in review
        assert " ".join(sentence.split()) in shown
        if plan.is_enough:
            assert sentence.startswith("Shown")
            assert "enough is known" in shown
        if sentence.startswith(("Not shown yet", "Driver and watch disagree")):
            assert plan.nights_to_go >= 1
            assert "to know enough" in shown
        told.append(sentence.split()[0])
    assert {"Shown", "Shown:", "Not"} & set(told) >= {"Shown:", "Not"}  # more than one kind


def test_an_evening_begins_at_the_other_end_than_the_last() -> None:
    # A track that slows and levels off would else make every second and third run look quick.
    pages = made_nights(3, 0.0, 3, runs=4)
    plan = next_run(pages, CAR, SLICK)
    assert plan is not None
    off = [page.run.off_optimum or 0.0 for page in pages[-4:]]
    assert (off[0] > np.mean(off)) == (plan.plan[0] < np.mean(plan.plan))


def test_the_command_tells_the_run_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "book.db"
    with Book(book) as one:
        one.take(made_nights(2, 0.3, 1, runs=4))
    assert main(["notebook", "next", "--book", str(book)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("In a hot lap ")
    assert "more clean night" in told
    assert len(told.splitlines()) <= 24
    rack = str(ROOT / "cars/racks/number-31.yaml")
    assert main(["notebook", "next", "--book", str(book), "--rack", rack, "--json"]) == 0
    assert '"plan_in"' in capsys.readouterr().out


def test_a_book_without_staggers_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "book.db"
    with Book(book) as one:
        one.add(made_run(optimum_stagger=None))
    assert main(["notebook", "next", "--book", str(book)]) == 2
    assert "what the physics said" in capsys.readouterr().err
