"""What the laps of a notebook say of a track's own surfaces.

The seasons are made with another lap model than ours, and with cars and tracks that are not as
their files say.
"""

import json
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
import rollpath
from ovals import ROOT, demo_car, demo_track
from rollpath.book.book import Book
from rollpath.book.run import Page, Run
from rollpath.book.surfaces import learned_surfaces
from rollpath.cli import main
from rollpath.groove.lay import make_groove
from rollpath.lap import solve_lap

CAR, TRACK = demo_car(), demo_track("Saucer Hill")
SAUCER, NUMBER_31 = f"{ROOT}/tracks/saucer-hill.yaml", f"{ROOT}/cars/number-31.yaml"
GRAVITY, AIR = 9.81, 1.2


def other_lap_time(track, groove, grip, power):
    """A point mass on a friction ellipse, marched around: no drag of cornering, half its weight on
    the driven wheels, the bank as a wedge (Milliken and Milliken, Race Car Vehicle Dynamics, ch. 9,
    has the scheme)."""
    path = make_groove(track, groove, CAR.width, 360)
    k, ds, bank = np.abs(path.curvature), path.ds, path.bank
    hold = GRAVITY * np.tan(np.arctan(grip) + bank)
    limit = np.minimum(np.sqrt(hold / np.maximum(k, 1e-4)), 90.0)
    v, n = limit.copy(), len(ds)

    def room(i, speed):
        used = min(speed**2 / limit[i] ** 2, 1.0)
        return grip * GRAVITY * np.sqrt(1.0 - used**2)

    air = 0.5 * AIR * float(CAR.drag_area) / float(CAR.mass)
    start = int(np.argmin(limit))
    for step in range(n):
        i, j = (start + step) % n, (start + step + 1) % n
        push = min(0.5 * room(i, v[i]), power / float(CAR.mass) / v[i]) - air * v[i] ** 2 - 0.3
        v[j] = min(limit[j], np.sqrt(max(v[i] ** 2 + 2 * push * ds[i], 1.0)))
    for step in range(n):
        i, j = (start - step) % n, (start - step - 1) % n
        v[j] = min(v[j], np.sqrt(v[i] ** 2 + 2 * (room(i, v[i]) + air * v[i] ** 2) * ds[j]))
    return float((ds / v).sum())


def seasons(rng, count):
    """Truth and pages: grips of three words, nights that scatter, a driver who leaves a little."""
    grips = np.linspace(0.4, 1.25, 7)
    lines = {name: TRACK.condition(name).groove for name in ("heavy", "tacky", "slick")}
    for _ in range(count):
        power = float(CAR.power) * (1.0 + 0.1 / 1.645 * rng.normal())
        by_line = {
            line: [other_lap_time(TRACK, line, grip, power) for grip in grips]
            for line in set(lines.values())
        }
        truth, pages = {}, []
        for name, line in lines.items():
            truth[name] = float(TRACK.condition(name).mean_grip) * rng.uniform(0.85, 1.1)
            day = datetime(2026, 4, 4, 20, 0)
            for _ in range(int(rng.integers(2, 8))):
                day += timedelta(days=7)
                grip = truth[name] + 0.04 * rng.normal()
                for run in range(3):
                    time = float(np.interp(grip, grips, by_line[line]))
                    time *= 1.0 + abs(0.006 * rng.normal())
                    time += 0.06 * rng.normal()
                    made = Run(day + timedelta(minutes=40 * run), TRACK.name, CAR.name, name,
                               best_lap=time)  # fmt: skip
                    pages.append(Page(str(len(pages)), len(pages) + 1, 1, made.when, made))
        yield truth, pages


def held(seed, count):
    errors, offs = [], []
    for truth, pages in seasons(np.random.default_rng(seed), count):
        for one in learned_surfaces(pages, TRACK, CAR).surfaces:
            errors.append(one.grip - truth[one.name])
            offs.append(one.give_or_take)
    return np.array(errors), np.array(offs)


def test_nine_intervals_in_ten_hold_the_truth_of_another_lap_model():
    errors, offs = held(11, 5)
    # 48 draws each on two tracks: 0.94 and 1.00 when this was written; here 15, two sd below 0.9.
    assert float((np.abs(errors) < offs).mean()) >= 0.73
    assert float(offs.mean()) < 0.15


def pages_at(name, grip, nights, best=None):
    state = replace(TRACK.condition(name), grip=grip)
    lap = float(solve_lap(make_groove(TRACK, state.groove, CAR.width), CAR, state).time)
    days = [datetime(2026, 5, 2, 20, 0) + timedelta(days=7 * i) for i in range(nights)]
    return [Run(day, TRACK.name, CAR.name, name, best_lap=best or lap) for day in days]


def as_pages(runs):
    return [Page(str(i), i + 1, 1, run.when, run) for i, run in enumerate(runs)]


def test_laps_of_the_model_itself_give_its_grip_back():
    learned = learned_surfaces(as_pages(pages_at("heavy", 0.8, 12)), TRACK, CAR)
    one = learned.on("heavy")
    assert one.grip == pytest.approx(0.8, abs=0.002)
    assert (one.nights, one.differs, learned.on("slick")) == (12, True, None)
    assert learned.learned_track.condition("heavy").grip == pytest.approx(one.grip)
    assert "heavy: grip 0.80" in str(learned)


def test_one_night_and_what_does_not_count_say_nothing():
    runs = pages_at("heavy", 0.8, 1)
    runs += [replace(run, counts="no") for run in pages_at("slick", 0.5, 4)]
    runs += [replace(run, car="another") for run in pages_at("tacky", 0.5, 4)]
    runs += pages_at("rubbered", 0.8, 4, best=95.0)  # a lap under yellow
    assert learned_surfaces(as_pages(runs), TRACK, CAR).surfaces == ()


def test_it_is_offered_and_used_only_when_asked_for(tmp_path, capsys):
    path = tmp_path / "season.db"
    with Book(path) as book:
        for run in pages_at("heavy", 0.75, 12):
            book.add(run)
    typed = ["baseline", SAUCER, NUMBER_31, "--condition", "heavy"]

    def told(*more):
        assert main([*typed, *more, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    plain, offered, used = told(), told("--book", str(path)), told("--book", str(path), "--learned")
    assert offered["stagger"]["unbounded_in"] == plain["stagger"]["unbounded_in"]
    assert used["stagger"]["unbounded_in"] < plain["stagger"]["unbounded_in"] - 0.05
    assert used["surface"]["grip"] == pytest.approx(0.75, abs=0.003)
    assert (offered["learned_surface"]["used"], used["learned_surface"]["used"]) == (False, True)
    main([*typed, "--book", str(path)])
    assert "your laps here say heavy is 0.75, not 1.00" in " ".join(capsys.readouterr().out.split())
    assert main([*typed, "--learned"]) == 2
    assert "needs a notebook" in capsys.readouterr().err
    by_door = rollpath.learned_surfaces(path, SAUCER, NUMBER_31)
    assert by_door.on("heavy").grip == pytest.approx(0.75, abs=0.003)
