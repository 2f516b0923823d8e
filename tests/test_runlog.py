"""Recorded laps: made logs with a known fault, the textbook relations, and logs gone wrong."""

from dataclasses import replace

import numpy as np
import pytest
from rollpath import baseline, load_car, load_track
from rollpath.belief import believe, estimate
from rollpath.debrief import debrief_of, decide
from rollpath.feel.lap import LEAST_FELT, felt_step, trim_lap
from rollpath.files.logs import RUN_COLUMNS, load_run_log, run_log_fault
from rollpath.files.schema import FileError
from rollpath.groove.lay import make_groove
from rollpath.groove.measured import measured_groove, smooth_closed_path
from rollpath.lap import driven_lap, solve_lap
from rollpath.runlog.laps import _check_shape, banked_like, find_laps
from rollpath.runlog.log import RunLogError, log_of
from rollpath.runlog.read import read_run
from rollpath.runlog.says import read_log, spins, tape_doubted
from rollpath.runlog.slip import rolling_speed, tread_slip_along
from rollpath.show.debrief import log_note
from rollpath.survey.log import local_plane
from rollpath.units import DEGREE, INCH, MPH

from scripts.made_run import GEAR_RATIO, Noise, as_csv, driven, made_run

DRAWS = 10


def rolling_radius(car, load):
    """Jazar, Vehicle Dynamics, ch. 3: R_w = R_g - (R_g - R_h) / 3, of the mean rear tire."""
    R_g = float(car.rear.mean_rollout) / (2 * np.pi)
    R_h = R_g - load / float(car.tire.spring_rate)
    return R_g - (R_g - R_h) / 3


def codes(run):
    return {note.code for note in run.notes}


OPPOSITE = {"more": "less", "less": "more"}


class Case:
    """A track, a surface and a car, and runs made up for it."""

    def __init__(self, track, condition, car="number-31"):
        self.track, self.condition = load_track(f"tracks/{track}.yaml"), condition
        self.car = load_car(f"cars/{car}.yaml")
        self.state = self.track.condition(condition)
        self.groove = make_groove(self.track, self.state.groove, self.car.width)
        self.feel, self.right = driven(self.track, self.car, condition, 0.0)

    def with_fault(self, fault):
        return self.feel if fault == 0 else self.driven(fault)

    def driven(self, fault):
        return driven(self.track, self.car, self.condition, fault)[0]

    def taped(self, fault):
        mean, half = float(self.car.rear.mean_rollout), 0.5 * (self.right + fault)
        rear = replace(self.car.rear, left_rollout=mean - half, right_rollout=mean + half)
        return replace(self.car, rear=rear)

    def read(self, columns, car=None, gear_ratio=GEAR_RATIO):
        car = car or self.taped(0.0)
        return read_run(log_of(columns), self.track, car, self.state, self.groove, gear_ratio)

    def says(self, columns, car):
        return verdict_on(self.read(columns, car), car).change


def verdict_on(run, car):
    """What the log alone adds up to, beside a physics that knows the track to half an inch."""
    word, physics = read_log(run, car), float(run.best.unbounded)
    belief = believe(physics, 0.5 * INCH, [estimate("log", word.best - physics, word.sd)])
    return decide(None, word, belief, float(car.rear.stagger), run.best.window)


@pytest.fixture(scope="module")
def saucer():
    return Case("saucer-hill", "slick")


@pytest.fixture(scope="module")
def ropewalk():
    return Case("ropewalk", "heavy")


@pytest.fixture(scope="module")
def quiet(saucer):
    """A run without noise, with the right stagger."""
    return made_run(saucer.feel, np.random.default_rng(0), noise=Noise(*[0.0] * 8))


FAULTS = [(-0.75, 0.0, "more"), (0.75, 0.0, "less"), (0.0, 0.0, "leave"), (0.0, 0.15, "elsewhere")]


class TestMadeLogs:
    @pytest.mark.parametrize(("fault", "spin", "right"), FAULTS)
    def test_nine_of_ten_verdicts_are_right_and_none_the_opposite(self, saucer, fault, spin, right):
        feel, car = saucer.with_fault(fault * INCH), saucer.taped(fault * INCH)
        said = [
            saucer.says(made_run(feel, np.random.default_rng(seed), spin=spin), car)
            for seed in range(DRAWS)
        ]
        assert said.count(right) >= 0.9 * DRAWS
        assert OPPOSITE.get(right) not in said

    @pytest.mark.parametrize(("fault", "spin", "right"), FAULTS)
    def test_on_a_heavy_paper_clip_too(self, ropewalk, fault, spin, right):
        feel, car = ropewalk.with_fault(fault * INCH), ropewalk.taped(fault * INCH)
        said = [
            ropewalk.says(made_run(feel, np.random.default_rng(100 + seed), spin=spin), car)
            for seed in range(4)
        ]
        assert said.count(right) >= 3
        assert OPPOSITE.get(right) not in said

    @pytest.mark.parametrize("fault", [-0.75, 0.75])
    def test_a_fault_the_tape_does_not_know_is_never_told_the_wrong_way_round(self, saucer, fault):
        """Tires that were taped right and ran wrong: the wheel alone says little, not nonsense."""
        feel, car = saucer.driven(fault * INCH), saucer.taped(0.0)
        wrong = "less" if fault < 0 else "more"
        for seed in range(4):
            run = saucer.read(made_run(feel, np.random.default_rng(seed)), car)
            assert verdict_on(run, car).change != wrong

    def test_softer_tires_than_the_model_has_do_not_turn_the_verdict_round(self, saucer):
        softer = replace(saucer.state, slip_stiffness=0.8 * saucer.state.slip_stiffness)
        for fault in (-0.75 * INCH, 0.75 * INCH):
            car = saucer.taped(fault)
            feel = trim_lap(saucer.feel.lap, saucer.car, softer, np.array([saucer.right + fault]))
            said = saucer.says(made_run(feel, np.random.default_rng(1)), car)
            assert said == ("more" if fault < 0 else "less")

    def test_wheel_that_fits_no_such_stagger_asks_for_the_tape(self, saucer, quiet):
        car = saucer.taped(0.0)
        run = saucer.read(quiet, car)
        assert not tape_doubted(run)
        alone = run.wheel.alone + 3 * run.wheel.alone_error
        far = replace(run, wheel=replace(run.wheel, alone=alone))
        assert tape_doubted(far)
        verdict = verdict_on(far, car)
        assert (verdict.change, verdict.amount, verdict.question) == ("ask", 0.0, "tape")


class TestWhatIsRead:
    def test_line_and_need_come_back_without_noise(self, saucer, quiet):
        run = saucer.read(quiet)
        assert run.laps.groove.length == pytest.approx(saucer.groove.length, rel=2e-3)
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.08 * INCH)
        assert float(run.condition.grip) == pytest.approx(float(saucer.state.grip), rel=0.03)
        assert run.wheel.exit == pytest.approx(run.wheel.exit_model, abs=1 * DEGREE)

    def test_rolling_speed_is_the_textbook_relation(self):
        # Gillespie, Fundamentals of Vehicle Dynamics, ch. 2: v = engine speed / ratio x radius.
        rpm, ratio, circumference = 6400.0, 5.8, 85 * INCH
        radius = circumference / (2 * np.pi)
        assert rolling_speed(rpm * np.pi / 30, ratio, circumference) == pytest.approx(
            rpm * 2 * np.pi / 60 / ratio * radius
        )
        # From memory, the shop rule: mph = rpm x tire diameter in inches / (ratio x 336).
        diameter = 85 / np.pi
        assert rolling_speed(rpm * np.pi / 30, ratio, circumference) / MPH == pytest.approx(
            rpm * diameter / (ratio * 336), rel=2e-3
        )

    def test_treads_that_roll_on_the_loaded_radius_do_not_slip(self, saucer, quiet):
        """Jazar, Vehicle Dynamics, ch. 3: v = omega R_w, R_w = R_g - (R_g - R_h) / 3."""
        car = saucer.taped(0.0)
        R_w = rolling_radius(car, 0.5 * float(car.weights.left_rear + car.weights.right_rear))
        run = saucer.read(quiet | {"engine_speed": quiet["speed"] / R_w * GEAR_RATIO}, car)
        straight = run.by_bin((run.lap.phase == 0).astype(float)) > 0.5
        assert np.nanmedian(run.slip.along[straight]) == pytest.approx(0.0, abs=0.004)
        assert np.nanmedian(run.slip.along) == pytest.approx(0.0, abs=0.006)

    def test_model_without_thrust_slips_nothing(self, saucer):
        """Without thrust the axle turns as Jazar's loaded radius says (ch. 3)."""
        trim = saucer.feel.fitted
        wheels = saucer.feel.lap.wheels
        R_w = rolling_radius(saucer.car, 0.5 * (wheels.left_rear + wheels.right_rear))
        free = float(saucer.car.rear.mean_rollout) / (2 * np.pi) / R_w
        thrust = trim.thrust_left[0] + trim.thrust_right[0]
        still = np.abs(thrust) < 0.01 * sum(vars(saucer.car.weights).values())
        assert still.sum() >= 5
        np.testing.assert_allclose(trim.axle_speed[0][still], free[still], atol=0.006)
        slip = tread_slip_along(saucer.feel, saucer.car)[0]
        np.testing.assert_allclose(slip[still], 0.0, atol=0.006)

    def test_slip_is_what_was_put_in(self, saucer, quiet):
        run = saucer.read(quiet)
        seen = np.isfinite(run.slip.along)
        # Where the brakes come on the slip steps, and a part of the lap holds both sides of it.
        assert np.median(np.abs(run.slip.along - run.slip.model)[seen]) < 0.005
        assert not run.slip.gear_fault
        assert run.slip.with_no_thrust == pytest.approx(0.0, abs=0.01)

    @pytest.mark.parametrize("wrong", [0.88, 0.93, 1.08, 1.15])
    def test_wrong_gear_ratio_is_noticed_and_said(self, saucer, wrong):
        columns = made_run(saucer.feel, np.random.default_rng(2))
        run = saucer.read(columns, gear_ratio=wrong * GEAR_RATIO)
        assert run.slip.gear_fault
        assert run.slip.likely_ratio == pytest.approx(GEAR_RATIO, rel=0.03)
        words = [log_note(note, run) for note in run.notes]
        assert any(f"reads like {run.slip.likely_ratio:.2f}" in one for one in words)
        assert run.slip.spinning < 0.02  # a wrong gear is no wheelspin

    def test_wrong_gear_on_a_log_that_rolls_without_slip_is_noticed(self, saucer, quiet):
        load = 0.5 * float(saucer.car.weights.left_rear + saucer.car.weights.right_rear)
        rolls = quiet["speed"] / rolling_radius(saucer.car, load) * GEAR_RATIO
        run = saucer.read(quiet | {"engine_speed": rolls}, gear_ratio=0.9 * GEAR_RATIO)
        assert run.slip.gear_fault
        assert run.slip.likely_ratio == pytest.approx(GEAR_RATIO, rel=0.02)

    def test_driven_lap_of_the_solved_speed_is_the_solved_lap(self, saucer):
        solved = solve_lap(saucer.groove, saucer.car, saucer.state)
        again = driven_lap(saucer.groove, saucer.car, saucer.state, solved.speed)
        np.testing.assert_allclose(again.thrust, solved.thrust, rtol=1e-9, atol=1e-6)

    @pytest.mark.parametrize("tape", [-1.0, 1.0])
    @pytest.mark.parametrize("groove", ["rounded", "diamond"])
    def test_a_line_over_the_whole_width_is_of_a_track_taped_within_its_tolerance(
        self, groove, tape
    ):
        track = load_track("tracks/two-ponds.yaml")
        x, y = make_groove(track, groove, 1.9).path
        path = smooth_closed_path(np.tile(x, 2), np.tile(y, 2))
        given = track.measured_to
        taped = replace(
            track, straight=track.straight + tape * given.straight,
            inside_radius=(track.inside_radius[0] - tape * given.inside_radius / 2,
                           track.inside_radius[1] + tape * given.inside_radius / 2),
        )  # fmt: skip
        line = measured_groove(taped, path, 288)
        middle = make_groove(taped, "middle", 1.9)
        _check_shape(banked_like(line, middle), taped)

    def test_bank_is_that_of_the_track_wherever_the_log_lies(self, saucer):
        x, y = saucer.groove.path
        turned = (x + 1j * y) * np.exp(2.1j) + 300 - 40j
        moved = replace(saucer.groove, bank=0 * x, laid=(turned.real, turned.imag))
        found = banked_like(moved, saucer.groove)
        np.testing.assert_allclose(found.bank, saucer.groove.bank, atol=0.2 * DEGREE)

    def test_slow_laps_are_left_out(self, saucer):
        rng = np.random.default_rng(4)
        laps = made_run(saucer.feel, rng, laps=5.0)
        slow = (laps["time"] > 50) & (laps["time"] < 70)
        step = np.diff(laps["time"], prepend=laps["time"][0])
        laps["time"] = np.cumsum(np.where(slow, 1.5 * step, step))
        laps["speed"] = np.where(slow, laps["speed"] / 1.5, laps["speed"])
        run = saucer.read(laps)
        assert run.laps.found >= 4 and run.laps.used <= run.laps.found - 1
        assert np.ptp(run.laps.times) < 0.04 * run.laps.times.min()

    def test_felt_step_moves_the_wheel_by_what_is_felt(self, saucer):
        staggers = np.array([saucer.right, saucer.right + 0.5 * INCH])
        step = felt_step(trim_lap(saucer.feel.lap, saucer.car, saucer.state, staggers))
        again = trim_lap(
            saucer.feel.lap, saucer.car, saucer.state, staggers[0] + np.array([0, step])
        )
        centre = again.lap.phase == 1
        moved = np.average(np.abs(np.diff(again.steering_wheel, axis=0)[0])[centre])
        assert moved == pytest.approx(LEAST_FELT, rel=0.05)


class TestPartsOfALog:
    """Any of the channels will do, as long as it can be laid along a lap."""

    def some(self, columns, *names):
        return {name: columns[name] for name in names}

    @pytest.mark.parametrize(
        "names",
        [("x", "y"), ("time", "x", "y"), ("x", "y", "speed", "steering"), ("time", "speed"),
         ("time", "speed", "steering", "engine_speed")],
    )  # fmt: skip
    def test_need_is_found_from_what_there_is(self, saucer, names):
        columns = made_run(saucer.feel, np.random.default_rng(6))
        run = saucer.read(self.some(columns, *names))
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.25 * INCH)
        assert (run.wheel is not None) == ("steering" in names)
        assert (run.slip is not None) == ("engine_speed" in names)
        assert run.laps.is_measured == ("x" in names)

    def test_laps_are_found_by_speed_beside_laps_under_a_yellow_flag(self, saucer):
        columns = made_run(saucer.feel, np.random.default_rng(12), laps=6.0)
        slow = (columns["time"] > 45) & (columns["time"] < 95)
        step = np.diff(columns["time"], prepend=columns["time"][0])
        columns["time"] = np.cumsum(np.where(slow, 2 * step, step))
        columns["speed"] = np.where(slow, columns["speed"] / 2, columns["speed"])
        run = saucer.read(self.some(columns, "time", "speed"))
        assert 2 <= run.laps.used <= 4
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.25 * INCH)

    def test_without_positions_only_the_longest_stretch_of_the_clock_is_read(self, saucer):
        columns = made_run(saucer.feel, np.random.default_rng(12), laps=6.0)
        columns["time"] = np.where(columns["time"] > 50, columns["time"] + 900, columns["time"])
        run = saucer.read(self.some(columns, "time", "speed"))
        assert "longest stretch" in codes(run)
        assert np.all(np.abs(run.laps.times - 23.3) < 0.5)

    def test_a_line_that_was_not_recorded_makes_it_less_sure(self, saucer):
        columns = self.some(
            made_run(saucer.feel, np.random.default_rng(6)), "time", "x", "y", "speed"
        )
        car = saucer.taped(0.75 * INCH)
        result = baseline(saucer.track, car, saucer.condition, "low")
        physics, said = float(result.stagger.unbounded), []
        for some in (columns, self.some(columns, "time", "speed")):
            told = debrief_of(result, None, log_of(some))
            assert told.verdict.change == "less"
            said.append(told.belief.shares["log"])
        assert said[1] < 0.5 < said[0]
        assert abs(told.belief.mean - physics) < 0.1 * INCH

    def test_latitude_and_longitude_say_the_same_as_x_and_y(self, saucer):
        columns = made_run(saucer.feel, np.random.default_rng(7))
        origin = (12.0, -150.0)  # open sea
        north = local_plane(np.array([12.001]), np.array([-150.0]), origin)[1][0] / 0.001
        east = local_plane(np.array([12.0]), np.array([-149.999]), origin)[0][0] / 0.001
        globe = {
            "latitude": (12.0 + columns["y"] / north) * DEGREE,
            "longitude": (-150.0 + columns["x"] / east) * DEGREE,
        }
        rest = {name: rows for name, rows in columns.items() if name not in ("x", "y")}
        plane, round_earth = saucer.read(columns), saucer.read(rest | globe)
        assert float(plane.best.unbounded) == pytest.approx(
            float(round_earth.best.unbounded), abs=0.02 * INCH
        )

    def test_a_slow_channel_and_rows_without_a_fix_are_no_fault(self, saucer):
        columns = made_run(saucer.feel, np.random.default_rng(8), rate=20.0)
        for name in ("x", "y"):
            columns[name] = np.where(np.arange(len(columns["x"])) % 4, np.nan, columns[name])
        run = saucer.read(columns)
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.15 * INCH)

    @pytest.mark.parametrize("channel", ["x", "speed", "steering", "engine_speed", "throttle"])
    @pytest.mark.parametrize("value", [1e9, 0.0])
    def test_a_few_rows_of_nonsense_do_not_count(self, saucer, channel, value):
        columns = made_run(saucer.feel, np.random.default_rng(9))
        columns[channel][[100, 333]] = value
        assert saucer.says(columns, saucer.taped(0.0)) == "leave"

    def test_steering_of_nonsense_in_a_slow_log_says_nothing(self, saucer):
        """One row a second: many a part of the lap is seen by one row, and that may be nonsense."""
        columns = made_run(saucer.feel, np.random.default_rng(9), laps=4.0, rate=1.0)
        car = saucer.taped(0.0)
        before = read_log(saucer.read(columns, car), car).best
        columns["steering"][[20, 47]] = 1e4
        assert read_log(saucer.read(columns, car), car).best == pytest.approx(
            before, abs=0.2 * INCH
        )

    def test_a_car_that_creeps_to_the_line_is_no_wheelspin(self, saucer):
        """The pace of a log without a speed column is that of rows at speed."""
        columns = made_run(saucer.feel, np.random.default_rng(9))
        creeping = {name: rows[0] + 0 * rows[:150] for name, rows in columns.items()}
        steps, first = np.arange(150)[::-1] * 0.1, columns["time"][0]
        way = np.exp(1j * np.angle(np.diff(columns["x"] + 1j * columns["y"])[:5].sum()))
        creeping["time"], creeping["x"] = first - steps - 0.1, creeping["x"] - steps * way.real
        creeping["y"] = creeping["y"] - steps * way.imag
        both = {name: np.append(creeping[name], columns[name]) for name in columns}
        run = saucer.read({name: rows for name, rows in both.items() if name != "speed"})
        assert not spins(run)

    def test_rows_far_off_do_not_make_a_log_clockwise(self, saucer):
        columns = made_run(saucer.feel, np.random.default_rng(9))
        columns["x"][[100, 300]], columns["y"][[101, 301]] = 1e4, -1e4
        assert saucer.says(columns, saucer.taped(0.0)) == "leave"

    def test_rows_out_of_order_are_sorted_and_it_is_said(self, saucer, quiet):
        order = np.random.default_rng(0).permutation(len(quiet["time"]))
        run = saucer.read({name: rows[order] for name, rows in quiet.items()})
        assert "sorted" in codes(run)
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.08 * INCH)

    def test_runs_that_each_start_the_clock_again_are_laid_one_after_the_other(self, saucer):
        one, other = (made_run(saucer.feel, np.random.default_rng(seed)) for seed in (10, 11))
        run = saucer.read({name: np.append(one[name], other[name]) for name in one})
        assert "clock again" in codes(run) and run.laps.found >= 6
        assert float(run.best.unbounded) == pytest.approx(saucer.right, abs=0.15 * INCH)


class TestWrongLogs:
    """Clear words for what cannot be read."""

    def refused(self, saucer, columns, words):
        with pytest.raises(RunLogError) as told:
            find_laps(log_of(columns), saucer.track, saucer.groove, saucer.feel.lap)
        assert words in run_log_fault(told.value)

    def test_clockwise(self, saucer, quiet):
        self.refused(saucer, quiet | {"x": -quiet["x"]}, "clockwise")

    def test_half_a_lap(self, saucer, quiet):
        half = len(quiet["time"]) // 7
        self.refused(saucer, {n: rows[:half] for n, rows in quiet.items()}, "lap")

    def test_few_rows(self, saucer, quiet):
        self.refused(saucer, {n: rows[:5] for n, rows in quiet.items()}, "5 rows")

    def test_positions_in_feet_headed_metres(self, saucer, quiet):
        feet = {"x": quiet["x"] / 0.3048, "y": quiet["y"] / 0.3048}
        self.refused(saucer, quiet | feet, "another track, or a wrong unit")

    @pytest.mark.parametrize(
        ("factor", "words"),
        [(1.609344, "km/h headed mph"), (0.621371, "mph headed km/h"), (0.44704, "m/s headed mph")],
    )
    def test_speed_in_the_wrong_unit(self, saucer, quiet, factor, words):
        self.refused(saucer, quiet | {"speed": factor * quiet["speed"]}, words)

    def test_time_in_milliseconds(self, saucer, quiet):
        self.refused(saucer, quiet | {"time": 1000 * quiet["time"]}, "time in ms headed s")

    def test_neither_positions_nor_time_and_speed(self, quiet):
        with pytest.raises(RunLogError) as told:
            log_of({"steering": quiet["steering"], "time": quiet["time"]})
        assert "nothing to lay along a lap" in run_log_fault(told.value)

    def test_latitude_without_longitude(self, quiet):
        with pytest.raises(RunLogError) as told:
            log_of({"latitude": quiet["x"], "time": quiet["time"]})
        assert "latitude but none longitude" in run_log_fault(told.value)

    def test_degrees_and_minutes_run_together(self, quiet):
        ones = np.ones_like(quiet["x"])
        with pytest.raises(RunLogError) as told:
            log_of({"latitude": 3507.4 * DEGREE * ones, "longitude": -8012.1 * DEGREE * ones})
        assert "decimal degrees" in run_log_fault(told.value)

    def test_standing_still(self, saucer, quiet):
        parked = {"x": 0.01 * quiet["x"], "y": 0.01 * quiet["y"]}
        self.refused(saucer, quiet | parked, "stay in one place")

    def test_speed_that_does_not_repeat(self, saucer, quiet):
        noise = np.random.default_rng(0).uniform(10, 30, len(quiet["time"]))
        self.refused(saucer, {"time": quiet["time"], "speed": noise}, "does not repeat")

    def test_steering_the_other_way_is_left_out_with_the_remedy(self, saucer, quiet):
        run = saucer.read(quiet | {"steering": -quiet["steering"]})
        assert run.wheel is None
        assert "steering to the right" in codes(run)

    def test_steering_of_the_front_wheels_is_left_out(self, saucer, quiet):
        run = saucer.read(quiet | {"steering": quiet["steering"] / 12})
        assert run.wheel is None
        assert "steering travel" in codes(run)


class TestFiles:
    def test_headings_are_guessed_with_their_units(self, tmp_path):
        path = tmp_path / "run.csv"
        path.write_text(
            "Time;GPS Latitude;GPS Longitude;GPS Speed (km/h);Engine RPM;Steering_deg;TPS (%)\n"
            "0;12,;-150;90;6000;-5;100\n".replace(",", "")
            + "0.1;12;-150;90;;-5;100\n"
        )
        log = load_run_log(path)
        assert set(log.channels) == {
            "time", "x", "y", "speed", "engine_speed", "steering", "throttle",
        }  # fmt: skip
        assert log.speed[0] == pytest.approx(25.0)
        assert log.engine_speed[0] == pytest.approx(200 * np.pi)
        assert log.steering[0] == pytest.approx(-5 * DEGREE)
        assert np.isnan(log.engine_speed[1])

    def test_a_clock_is_read_as_seconds(self, tmp_path):
        path = tmp_path / "run.csv"
        for cells in (("19:59:59.50", "20:00:01"), ("59:59.5", "1:00:01.0")):
            path.write_text("time,x (m),y (m)\n" + "".join(f"{one},1,2\n" for one in cells))
            assert np.diff(load_run_log(path).time) == pytest.approx(1.5)
        path.write_text("time,x (m),y (m)\n20:00:7x,1,2\n")
        with pytest.raises(FileError, match="expected a number"):
            load_run_log(path)

    def test_decimal_commas_are_read_between_semicolons(self, tmp_path):
        path = tmp_path / "run.csv"
        for blank in ("", "2026-05-02 20:00:00;1,5;2,0;36,0\n"):  # read fast, and cell by cell
            path.write_text(f"time;x (m);y (m);speed (km/h)\n0,04;1,5;2,25;36,0\n{blank}")
            log = load_run_log(path)
            assert (log.time[0], log.x[0], log.y[0]) == (0.04, 1.5, 2.25)
            assert log.speed[0] == pytest.approx(10.0)
        path.write_text("time,speed (km/h)\n0,04,36\n")
        with pytest.raises(FileError, match="3 values under 2 headings"):
            load_run_log(path)

    @pytest.mark.parametrize("above", ["", "\n", "\r\n \n"])
    def test_an_x_that_is_no_position_does_not_stop_a_log_with_latitudes(self, tmp_path, above):
        path = tmp_path / "run.csv"
        path.write_text(above + "time,lat,lon,x,y\n0,12,-150,7,8\n1,12.001,-150,7,8\n")
        log = load_run_log(path)
        assert np.ptp(log.y) == pytest.approx(110.62, abs=0.02)  # meridian arc of WGS 84 at 12 N

    def test_a_heading_may_be_chosen_and_its_unit_with_it(self, tmp_path):
        path = tmp_path / "run.csv"
        path.write_text("time,x (m),y (m),pace\n0,1,2,36\n1,2,3,36\n")
        log = load_run_log(path, {"speed": "pace (km/h)"})
        assert log.speed[0] == pytest.approx(10.0)

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("", "empty"),
            ("time,speed (mph)\n", "no rows"),
            ("time,speed\n0,60\n1,60\n", "say its unit"),
            ("time,speed (volts)\n0,60\n1,60\n", "no unit of it"),
            ("time,speed (mph)\n0,60\n1,60,3\n", "3 values under 2 headings"),
            ("time,speed (mph)\n0,60\n1,fast\n", 'expected a number, got "fast"'),
            ("steering (deg)\n1\n2\n", "nothing to lay along a lap"),
        ],
    )
    def test_bad_files_are_told_in_one_line(self, tmp_path, text, words):
        path = tmp_path / "run.csv"
        path.write_text(text)
        with pytest.raises(FileError, match=words) as told:
            load_run_log(path)
        assert str(path) in str(told.value)

    def test_demo_log_is_what_the_script_makes(self):
        """The demo log is made up, from this seed."""
        track, car = load_track("tracks/saucer-hill.yaml"), load_car("cars/number-31.yaml")
        log = load_run_log("tracks/logs/saucer-hill-run.csv")
        assert set(log.channels) <= set(RUN_COLUMNS)
        stagger = float(car.rear.stagger)
        _, right = driven(track, car, "slick", 0.0)
        feel, _ = driven(track, car, "slick", stagger - right)
        made = made_run(feel, np.random.default_rng(31))
        np.testing.assert_allclose(log.steering, made["steering"], atol=0.2 * DEGREE)
        assert as_csv(made).startswith("time (s),x (m),y (m),speed (mph),rpm,")
