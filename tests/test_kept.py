"""Confirmed means kept: files edited in place, and ends of a run that are nobody's fault."""

import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.files.cars import load_car
from rollpath.files.logs import load_run_log
from rollpath.files.racked import record_taping
from rollpath.files.racks import load_rack
from rollpath.files.reading import MOST_FAULTS
from rollpath.files.schema import FileError
from rollpath.files.writing import edit_yaml, locked, write_whole

ROOT = Path(__file__).parent.parent
CAR = "cars/number-31.yaml"
TRACK = "tracks/ropewalk.yaml"
RACK = "name: Small\ntires:\n  - {id: A, rollout: 84 in}\n  - {id: B, rollout: 84 1/4 in}\n"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT / "sim")}


def rollpath(*words, **keywords):
    keywords = {"capture_output": True, "cwd": ROOT, "env": ENVIRONMENT, **keywords}
    return subprocess.run([sys.executable, "-m", "rollpath", *words], **keywords)


def tape_three(path, hand):
    for i in range(3):
        record_taping(path, "AB"[hand % 2], [f"{84 + hand}.{i} in"], date=f"{hand}-{i}")


def test_tapings_written_down_at_once_are_all_in_the_file(tmp_path):
    path = tmp_path / "rack.yaml"
    path.write_text(RACK)
    context = multiprocessing.get_context("fork")
    hands = [context.Process(target=tape_three, args=(path, hand)) for hand in range(6)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert [hand.exitcode for hand in hands] == [0] * 6
    dates = [taping.date for tire in load_rack(path).tires for taping in tire.tapings]
    assert sorted(filter(None, dates)) == sorted(f"{h}-{i}" for h in range(6) for i in range(3))
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_somebody_holds_is_refused_in_time(tmp_path, monkeypatch):
    monkeypatch.setattr("rollpath.files.writing.LONGEST_WAIT", 0.05)
    path = tmp_path / "file"
    with locked(path), pytest.raises(FileError, match="somebody else is writing it"):
        write_whole(path, "x")
    write_whole(path, "x")
    assert path.read_text() == "x"


def test_a_link_is_followed_not_replaced(tmp_path):
    real, link = tmp_path / "far" / "rack.yaml", tmp_path / "rack.yaml"
    real.parent.mkdir()
    real.write_text(RACK)
    link.symlink_to(real)
    record_taping(link, "A", ["85"])
    assert link.is_symlink()
    assert "85 in" in real.read_text()
    write_whole(link, "new")
    assert (link.is_symlink(), real.read_text()) == (True, "new")


def test_what_a_killed_run_left_behind_is_swept(tmp_path):
    path = tmp_path / "car[1].yaml"
    (tmp_path / ".car[1].yaml.abc123.part").write_text("half")
    (tmp_path / ".other.yaml.abc123.part").write_text("of another file")
    write_whole(path, "whole")
    assert {one.name for one in tmp_path.iterdir()} == {path.name, ".other.yaml.abc123.part"}


def test_a_value_is_edited_whatever_its_key_is_called(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text("name: A\nWeights: {LF: 812, rf: 741 lb, lr: 838 lb, rr: 779 lb}\n")
    edit_yaml(path, {"weights.left_front": "820 lb"}, keep_old=False)
    assert "LF: 820 lb" in path.read_text()
    assert load_car(path).weights.left_front == pytest.approx(820 * 4.4482216152605)


# Bounded


def test_a_megabyte_of_unknown_keys_is_told_in_one_line(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text("".join(f"key{i}: 1\n" for i in range(80_000)))
    start = time.process_time()
    with pytest.raises(FileError) as refused:
        load_car(path)
    assert len(refused.value.lines) == 1
    assert "more than 200 keys" in refused.value.lines[0]
    assert time.process_time() - start < 5.0  # it took 47 s before; half a second is usual


def test_no_more_than_twenty_faults_of_a_file_are_told(tmp_path):
    path = tmp_path / "car.yaml"
    path.write_text("name: A\n" + "".join(f"key{i}: 1\n" for i in range(150)))
    with pytest.raises(FileError) as refused:
        load_car(path)
    assert len(refused.value.lines) == MOST_FAULTS + 1
    assert refused.value.lines[-1].endswith("and 130 more like these")


@pytest.mark.parametrize("columns", [500, 10**6])
def test_a_table_of_endless_columns_is_refused(tmp_path, columns):
    path = tmp_path / "log.csv"
    path.write_text(",".join("x" for _ in range(columns)) + "\n")
    with pytest.raises(FileError, match="more than 400 columns"):
        load_run_log(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_is_refused_instead_of_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="a pipe or a device"):
        load_car(tmp_path / "pipe")


# Ends of a run


def test_ctrl_c_is_quiet(monkeypatch, capsys):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("rollpath.cli.typed._run", interrupted)
    monkeypatch.setattr("sys.stdout", None)
    assert main(["baseline", TRACK, CAR]) == 130
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_screen_is_told_in_one_line():
    with Path("/dev/full").open("w") as full:
        done = rollpath("baseline", TRACK, CAR, stdout=full, capture_output=False,
                        stderr=subprocess.PIPE)  # fmt: skip
    assert done.returncode == 1
    assert done.stderr == b"rollpath: the screen cannot be written: No space left on device\n"


def test_a_screen_that_knows_few_letters_and_no_home(tmp_path):
    car = tmp_path / "car.yaml"
    car.write_text("name: Žižka №7\n", encoding="utf-8")
    bare = {
        key: value for key, value in ENVIRONMENT.items() if key not in ("HOME", "XDG_DATA_HOME")
    }
    done = rollpath("baseline", TRACK, str(car), env={**bare, "PYTHONIOENCODING": "ascii"},
                    stdin=subprocess.DEVNULL)  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"?i?ka ?7" in done.stdout


def test_a_path_that_is_not_utf8_is_told_in_one_line():
    done = rollpath("baseline", TRACK, b"cars/\xff.yaml")
    assert done.returncode == 2
    assert done.stderr.startswith(b"rollpath: ")
    assert done.stderr.count(b"\n") == 1


@pytest.mark.parametrize(
    ("typed", "advice"),
    [
        (("--stagger", "2", "1/4", "in"), "2 1/4 in: put quotes round it, or write 2-1/4in"),
        (("--stagger", "2", "1/4"), "2 1/4: put quotes round it, or write 2-1/4"),
        (("--radius", "200", "ft"), "200 ft: put quotes round it, or write 200ft"),
    ],
)
def test_a_length_without_quotes_is_put_right(typed, advice, capsys):
    assert main(["baseline", TRACK, CAR, *typed]) == 2
    assert capsys.readouterr().err == f"rollpath: {advice}\n"
