"""Hard input: every reader ends with a result or one clear line a fault, whatever it is given."""

import contextlib
import io
import string
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rollpath.book.run import BookError
from rollpath.cli import all_commands, main
from rollpath.cli.arguments import CommandError
from rollpath.errors import RollpathError
from rollpath.files.cars import load_car
from rollpath.files.columns import read_columns
from rollpath.files.logs import POINT_COLUMNS, load_points, load_run_log
from rollpath.files.racks import load_rack
from rollpath.files.schema import FileError
from rollpath.files.sessions import load_scale_sessions
from rollpath.files.sweeps import read_sweep
from rollpath.files.tracks import load_track
from rollpath.groove.measured import PathError
from rollpath.lap import LapError
from rollpath.runlog.laps import RunLogError
from rollpath.scales.twist import BiteError
from rollpath.survey.log import SurveyError
from rollpath.tires.sets import TireError
from rollpath.track import TrackError
from rollpath.units import KINDS, QuantityError, parse, parse_per_turn, parse_temperature

LINE = "x (m),y (m)\n" + "".join(f"{i % 40},{(i * 7) % 30}\n" for i in range(60))
READERS = {
    "track": (load_track, Path("tracks/two-ponds.yaml").read_bytes()),
    "car": (load_car, Path("cars/number-31.yaml").read_bytes()),
    "rack": (load_rack, Path("cars/racks/number-31.yaml").read_bytes()),
    "sessions": (load_scale_sessions, Path("cars/scales/number-31.csv").read_bytes()),
    "points": (load_points, LINE.encode()),
    "run": (load_run_log, b"time,x (m),y (m),rpm\n0,1,2,\n1,2,3,5000\n"),
    "columns": (lambda path: read_columns(path, POINT_COLUMNS), LINE.encode()),
}
QUICK = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def read_or_refuse(reader, path, data):
    """A result, or faults that each are one line which names the file."""
    path.write_bytes(data)
    try:
        reader(path)
    except FileError as error:
        assert error.lines
        for line in error.lines:
            assert str(path) in line
            assert line.isprintable(), line
            assert len(line) < 600


@pytest.mark.parametrize("name", list(READERS))
class TestReaders:
    @QUICK
    @given(data=st.binary(max_size=400))
    def test_random_bytes(self, name, data, tmp_path):
        read_or_refuse(READERS[name][0], tmp_path / "file", data)

    @QUICK
    @given(data=st.data())
    def test_truncated_files(self, name, data, tmp_path):
        reader, good = READERS[name]
        end = data.draw(st.integers(0, len(good)))
        read_or_refuse(reader, tmp_path / "file", good[:end])

    @QUICK
    @given(data=st.data())
    def test_files_with_a_few_bytes_changed(self, name, data, tmp_path):
        reader, good = READERS[name]
        changed = bytearray(good)
        spots = st.tuples(st.integers(0, len(good) - 1), st.integers(0, 255))
        for spot, byte in data.draw(st.lists(spots, min_size=1, max_size=8)):
            changed[spot] = byte
        read_or_refuse(reader, tmp_path / "file", bytes(changed))

    @QUICK
    @given(data=st.data())
    def test_files_with_a_line_replaced_by_text(self, name, data, tmp_path):
        reader, good = READERS[name]
        lines = good.decode().split("\n")
        spot = data.draw(st.integers(0, len(lines) - 1))
        lines[spot] = data.draw(st.text(max_size=60))
        read_or_refuse(reader, tmp_path / "file", "\n".join(lines).encode("utf-8", "replace"))

    def test_a_missing_file_a_folder_and_an_empty_file(self, name, tmp_path):
        reader = READERS[name][0]
        for path in (tmp_path / "none", tmp_path):
            with pytest.raises(FileError, match="cannot be read"):
                reader(path)
        (tmp_path / "empty").write_bytes(b"")
        with pytest.raises(FileError):
            reader(tmp_path / "empty")


@settings(max_examples=300, deadline=None)
@given(text=st.text(max_size=90), kind=st.sampled_from(list(KINDS)))
def test_any_text_is_a_finite_quantity_or_refused(text, kind):
    with contextlib.suppress(QuantityError):
        value = parse(text, kind)
        assert value - value == 0.0


@settings(max_examples=300, deadline=None)
@given(text=st.text(alphabet=string.digits + " /-.,'\"°½⅛eE+" + "inftmlbhpdegturspr", max_size=40))
def test_text_close_to_a_quantity_is_read_or_refused(text):
    for read in (lambda text: parse(text, "tape"), parse_per_turn, parse_temperature, read_sweep):
        with contextlib.suppress(QuantityError):
            read(text)


WORDS = st.sampled_from([
    "tracks/two-ponds.yaml", "cars/number-31.yaml", "cars/racks/number-31.yaml", "nowhere.yaml", "",
    "--condition", "slick", "--groove", "rounded", "--radius", "150ft", "-3ft", "--straight",
    "--width", "45 ft", "9e99 m", "--json", "--units", "si", "--car", "--conditions", "heavy,",
    "--sweep", "width=40ft:60ft:20ft", "--window", "4in,1in", "--grip", "nan", "--rear-stagger",
    "--hold", "front", "--stagger", "2-1/4in", "--points", "\x00", "\u202e", "--weights", "--jack",
    "left-rear=2turns", "--wheel", "left", "--why", "A1,A1,A1,A1", "--", "-", "tape",
])  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(
    command=st.sampled_from(
        [name for name in all_commands() if name not in ("demo-data", "notebook")]
    ),
    words=st.lists(WORDS, max_size=7),
)
def test_any_command_line_ends_with_a_result_or_one_line(command, words):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main([*command.split(), *words])
        except SystemExit as stop:  # --help
            status = stop.code
    assert status in (0, 2)
    if status == 2:
        assert out.getvalue() == ""
        for line in err.getvalue().splitlines():
            assert line.startswith("rollpath: ")


@pytest.mark.parametrize(
    "error",
    [QuantityError, FileError, TrackError, LapError, BiteError, TireError, SurveyError, PathError,
     RunLogError, BookError, CommandError],
)  # fmt: skip
def test_whatever_a_room_refuses_is_one_kind_of_error(error):
    assert issubclass(error, RollpathError)
    assert issubclass(RollpathError, ValueError)
