"""Hard input: every reader ends with a result or one clear line a fault, whatever it is given."""

import contextlib
import string

import pytest
from hard_input import NEVER_TYPED, READERS, WORDS, damaged, ends_well, read_or_refuse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rollpath.book.run import BookError
from rollpath.cli.arguments import CommandError
from rollpath.cli.table import all_commands
from rollpath.errors import RollpathError
from rollpath.files.schema import FileError
from rollpath.files.sweeps import read_sweep
from rollpath.groove.measured import PathError
from rollpath.lap import LapError
from rollpath.runlog.log import RunLogError
from rollpath.scales.twist import BiteError
from rollpath.survey.log import SurveyError
from rollpath.tires.sets import TireError
from rollpath.track import TrackError
from rollpath.units import KINDS, QuantityError, parse, parse_per_turn, parse_temperature

QUICK = settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.mark.parametrize("name", list(READERS))
class TestReaders:
    @QUICK
    @given(data=st.data())
    def test_damaged_files(self, name, data, tmp_path):
        reader, good = READERS[name]
        read_or_refuse(reader, tmp_path / "file", data.draw(damaged(good)))

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


@settings(max_examples=100, deadline=None)
@given(
    command=st.sampled_from(
        [name for name in all_commands() if name.split()[0] not in NEVER_TYPED]
    ),
    words=st.lists(WORDS, max_size=7),
)
def test_any_command_line_ends_with_a_result_or_one_line(command, words):
    ends_well([*command.split(), *words])


@pytest.mark.parametrize(
    "error",
    [QuantityError, FileError, TrackError, LapError, BiteError, TireError, SurveyError, PathError,
     RunLogError, BookError, CommandError],
)  # fmt: skip
def test_whatever_a_room_refuses_is_one_kind_of_error(error):
    assert issubclass(error, RollpathError)
    assert issubclass(RollpathError, ValueError)
