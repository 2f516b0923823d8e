"""Damaged and made-up input for every reader and command: for the suite and scripts/fuzz.py."""

import contextlib
import io
from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from rollpath.cli import main
from rollpath.cli.table import all_commands
from rollpath.files.cars import load_car
from rollpath.files.columns import read_columns
from rollpath.files.logs import POINT_COLUMNS, load_points, load_position_log, load_run_log
from rollpath.files.racks import load_rack
from rollpath.files.schema import FileError
from rollpath.files.sessions import load_scale_sessions
from rollpath.files.tracks import load_track
from rollpath.units import KINDS, QuantityError, parse

ROOT = Path(__file__).parent.parent
LINE = "x (m),y (m)\n" + "".join(f"{i % 40},{(i * 7) % 30}\n" for i in range(60))


def _demo(name: str) -> bytes:
    return (ROOT / name).read_bytes()


READERS = {
    "track": (load_track, _demo("tracks/two-ponds.yaml")),
    "car": (load_car, _demo("cars/number-31.yaml")),
    "rack": (load_rack, _demo("cars/racks/number-31.yaml")),
    "sessions": (load_scale_sessions, _demo("cars/scales/number-31.csv")),
    "points": (load_points, LINE.encode()),
    "gpx": (load_position_log, _demo("tracks/logs/two-ponds.gpx")[:4000]),
    "run": (load_run_log, b"time,x (m),y (m),rpm\n0,1,2,\n1,2,3,5000\n"),
    "columns": (lambda path: read_columns(path, POINT_COLUMNS), LINE.encode()),
}
"""A reader, and a file that it reads."""
NEVER_TYPED = ("demo-data", "notebook", "trailer", "tonight", "bolt", "air", "pads", "undo", "page")
"""Commands that write, ask or wait."""


def read_or_refuse(reader: Callable[[Path], object], path: Path, data: bytes) -> None:
    """A result, or faults that each are one line which names the file."""
    path.write_bytes(data)
    try:
        reader(path)
    except FileError as error:
        assert error.lines
        assert len(error.lines) <= 21
        for line in error.lines:
            assert str(path) in line
            assert line.isprintable(), line
            assert len(line) < 600


@st.composite
def damaged(draw: st.DrawFn, good: bytes) -> bytes:
    """A file cut, with bytes changed, with a line replaced or doubled, or made of anything."""
    how = draw(st.sampled_from(["cut", "bytes", "line", "twice", "anything"]))
    if how == "anything":
        return draw(st.binary(max_size=400))
    if how == "cut":
        return good[: draw(st.integers(0, len(good)))]
    if how == "bytes":
        changed = bytearray(good)
        spots = st.tuples(st.integers(0, len(good) - 1), st.integers(0, 255))
        for spot, byte in draw(st.lists(spots, min_size=1, max_size=8)):
            changed[spot] = byte
        return bytes(changed)
    lines = good.split(b"\n")
    spot = draw(st.integers(0, len(lines) - 1))
    if how == "line":
        lines[spot] = draw(st.text(max_size=60)).encode("utf-8", "replace")
    else:
        lines.insert(draw(st.integers(0, len(lines))), lines[spot])
    return b"\n".join(lines)


WORDS = st.one_of(st.text(max_size=12), st.sampled_from([
    "tracks/two-ponds.yaml", "cars/number-31.yaml", "cars/racks/number-31.yaml", "nowhere.yaml", "",
    "--condition", "slick", "--groove", "rounded", "--radius", "150ft", "-3ft", "--straight",
    "--width", "45 ft", "9e99 m", "--json", "--units", "si", "--car", "--conditions", "heavy,",
    "--sweep", "width=40ft:60ft:20ft", "--window", "4in,1in", "--grip", "nan", "--rear-stagger",
    "--hold", "front", "--stagger", "2-1/4in", "--points", "\x00", "\u202e", "--weights", "--jack",
    "left-rear=2turns", "--wheel", "left", "--why", "A1,A1,A1,A1", "--", "-", "tape", "--full",
]))  # fmt: skip


def ends_well(words: list[str]) -> None:
    """A command line ends with a result, or with complaints and nothing else."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main(words)
        except SystemExit as stop:  # --help
            status = stop.code
    assert status in (0, 2), (status, words)
    if status == 2:
        assert all(line.startswith("rollpath: ") for line in err.getvalue().splitlines()), words


def checks() -> dict[str, tuple[float, Callable[[int, Path], None]]]:
    """Share of the inputs, and what to do with so many of them, by name; for scripts/fuzz.py."""
    readers = {name: (0.1, _reader_check(*pair)) for name, pair in READERS.items()}
    return {**readers, "quantities": (0.19, _quantities), "commands": (0.01, _commands)}


def _many(count: int) -> settings:
    """New cases each time, whatever the suite's own profile says."""
    return settings(
        settings.get_profile("default"), max_examples=count, deadline=None, database=None,
        derandomize=False, suppress_health_check=list(HealthCheck),
        phases=[Phase.generate, Phase.shrink],
    )  # fmt: skip


def _reader_check(reader: Callable[[Path], object], good: bytes) -> Callable[[int, Path], None]:
    def check(count: int, folder: Path) -> None:
        @_many(count)
        @given(data=damaged(good))
        def each(data: bytes) -> None:
            read_or_refuse(reader, folder / "file", data)

        each()

    return check


def _quantities(count: int, folder: Path) -> None:
    near = st.text(alphabet="0123456789 /-.,'\"°½⅛eE+inftmlbhpdegturspr", max_size=40)

    @_many(count)
    @given(text=st.one_of(near, st.text(max_size=90)), kind=st.sampled_from(list(KINDS)))
    def each(text: str, kind: str) -> None:
        with contextlib.suppress(QuantityError):
            value = parse(text, kind)
            assert value - value == 0.0

    each()


def _commands(count: int, folder: Path) -> None:
    names = [name for name in all_commands() if name.split()[0] not in NEVER_TYPED]

    @_many(count)
    @given(command=st.sampled_from(names), words=st.lists(WORDS, max_size=7))
    def each(command: str, words: list[str]) -> None:
        ends_well([*command.split(), *words])

    each()
