"""The house: imports run down the list of rooms only, rooms stay small, nothing is done twice."""

import ast
import re
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "sim" / "rollpath"
ROOMS = (
    "errors", "results", "units", "screen", "corners", "typical", "tire", "car", "track",
    "groove", "loads", "forces", "lap", "lever", "surface", "axle", "stagger", "doubts", "compare",
    "scales", "feel",
    "tires", "survey", "runlog", "belief", "debrief", "book", "trailer", "files", "door",
    "door_run", "door_night", "door_survey", "door_tires", "guide", "show", "page", "cli",
)  # fmt: skip
"""From the bottom up; what stands in a list of the design is here in its order. A room that is not
named is a fault: say where it stands."""
LATER = {"groove.fastest": "lever", "groove.night": "stagger", "groove.lay": "lever"}
"""Parts of a topic that stand higher than the rest of it: with the room named."""
MOST_LINES = 500


def modules():
    return sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path):
    """What a module imports of the package when it runs, lazy imports included."""
    tree = ast.parse(path.read_text())
    typed = [
        node for block in ast.walk(tree)
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING"
        for node in ast.walk(block)
    ]  # fmt: skip
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node not in typed and node.module:
            first, _, rest = node.module.partition(".")
            if first == "rollpath" and rest:
                yield rest


def rank(module: str) -> int:
    room = LATER.get(module, module.split(".")[0])
    return ROOMS.index(room)


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_imports_run_down_the_list(path):
    here = name_of(path)
    if here in ("", "__main__"):
        return
    upward = [other for other in imported(path) if rank(other) > rank(here)]
    assert not upward, f"{here} imports {upward}"


def test_no_import_runs_in_a_circle():
    arrows = {name_of(path): set(imported(path)) for path in modules()}
    TopologicalSorter(arrows).prepare()  # raises CycleError


def test_an_arrow_upward_is_seen(tmp_path):
    assert rank("show.words") > rank("stagger") > rank("lap") > rank("units")
    room = tmp_path / "lap.py"
    room.write_text("def f():\n    from rollpath.show.words import row\n    return row\n")
    assert list(imported(room)) == ["show.words"]


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_rooms_stay_small_enough_to_read(path):
    assert len(path.read_text().splitlines()) <= MOST_LINES


UNITS = {
    "INCH", "FOOT", "YARD", "MILE", "POUND", "MPH", "KNOT", "HP", "PSI", "DEGREE", "GALLON",
    "FAHRENHEIT",
}  # fmt: skip
KNOW_UNITS = {"units.py", "screen.py"}


def conversions(path: Path) -> list[str]:
    """Where a variable is multiplied or divided by a unit; ``3 * INCH`` is a constant."""
    return [
        f"{path.name}:{node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div | ast.Mult)
        for unit, other in ((node.right, node.left), (node.left, node.right))
        if _is_unit(unit) and any(_is_variable(part) for part in ast.walk(other))
    ]


def _is_unit(node: ast.expr) -> bool:
    names = {one.id for one in ast.walk(node) if isinstance(one, ast.Name)}
    return bool(names) and names <= UNITS


def _is_variable(node: ast.AST) -> bool:
    """A lower-case name that is not numpy or one of its functions."""
    return isinstance(node, ast.Name) and not node.id.isupper() and node.id not in ("np", "math")


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_units_are_converted_in_two_rooms_only(path):
    found = conversions(path)
    assert path.name in KNOW_UNITS or not found, "screen.py and units.py have converters"


def test_a_conversion_is_seen(tmp_path):
    room = tmp_path / "lap.py"
    room.write_text("LEAST = 3 * INCH\ndef f(x):\n    return x / INCH, 2 * x * FOOT, 5 * PSI\n")
    assert conversions(room) == ["lap.py:3: x / INCH", "lap.py:3: 2 * x * FOOT"]
    assert conversions(PACKAGE / "screen.py")


def test_the_command_leans_on_nothing_private_of_argparse():
    for path in (PACKAGE / "cli").rglob("*.py"):
        text = path.read_text()
        assert not re.search(
            r"argparse\._|\b_option_string_actions|\b_negative_number|\._actions", text
        )
