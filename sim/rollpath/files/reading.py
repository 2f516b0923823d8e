"""Reading a YAML file against its schema, in bounded time, and telling all its faults together."""

import math
import re
import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import yaml

from rollpath.corners import CORNER_NAMES
from rollpath.files.schema import (
    DoubtfulError,
    Either,
    Entries,
    Field,
    FileError,
    Group,
    Schema,
    Several,
    Wanted,
    hint,
)
from rollpath.files.slips import TAKEN_AS_RIGHT, Slip, slip_text
from rollpath.units import QuantityError, is_bare, parse, shorten

LARGEST_FILE = 1 << 20
"""Bytes; a file of ours is a screen long."""
DEEPEST = 6
"""Levels of nesting; the deepest schema has four."""
MOST_KEYS = 200
"""Keys of one group; the largest of ours has twenty."""
MOST_FAULTS = 20
"""Faults of a file that are told."""


def open_plain(path: Path) -> IO[bytes]:
    """Open a file to read its bytes; a pipe, which might never begin or end, is refused.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
            raise FileError([f"{path}: cannot be read: a pipe or a device; save it as a file"])
        return path.open("rb")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError([f"{path}: cannot be read: {reason}"]) from None


def read_start(path: Path, most: int) -> bytes:
    """The first bytes of a file, at most so many.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    with open_plain(path) as file:
        return file.read(most)


def read_text(path: Path, largest: int = LARGEST_FILE) -> str:
    """The text of a file of at most so many bytes.

    Raises
    ------
    FileError
        If it cannot be read, is larger, or is not UTF-8.
    """
    data = read_start(path, largest + 1)
    if len(data) > largest:
        size = f"{largest >> 20} MiB"
        raise FileError([f"{path}: larger than {size}; this is not a file for rollpath"])
    return decoded(path, data)


def decoded(path: Path, data: bytes, line: int = 1) -> str:
    """Bytes that start on a line of a file, as text.

    Raises
    ------
    FileError
        If they are not UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line += data[: error.start].count(b"\n")
        raise FileError([f"{path}:{line}: not UTF-8 text; save the file as UTF-8"]) from None


TELLTALES = {
    "track": ("inside_radius", "straight"),
    "car": ("wheelbase", "weights"),
    "rack": ("tires",),
}
"""Keys by which the sorts of file are told apart."""


def _check_sort(path: Path, node: yaml.Node, wanted: str) -> None:
    """Refuse a file of another sort than wanted: files named in the wrong order, most likely.

    Raises
    ------
    FileError
        One line, instead of a fault for each key.
    """
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    lines = {key_named(str(key.value)): key.start_mark.line + 1 for key, _ in pairs}
    if lines.keys() & set(TELLTALES[wanted]):
        return
    for found, keys in TELLTALES.items():
        places = [lines[key] for key in keys if key in lines]
        if places:
            first = "rack" if "rack" in (found, wanted) else "track"
            raise FileError([
                f"{path}:{places[0]}: this looks like a {found} file, not a {wanted} file; "
                f"where both are named, the {first} comes first"
            ])  # fmt: skip


_YAML_WORDS = {
    "but found another document": "the file must end where a second --- begins",
    "found character that cannot start any token": "indent with spaces, not tabs, and put a "
    "value that starts with a sign such as % or @ in quotes",
    "found a tab character that violates indentation": "indent with spaces, not tabs",
}
"""Complaints of the YAML library that a racer would not understand."""


def read_yaml(path: Path) -> yaml.Node:
    """The YAML node tree of a file, refused when it could blow up or build an object.

    Raises
    ------
    FileError
        On broken YAML, aliases, tags, or nesting deeper than any schema.
    """
    text = read_text(path)
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        _check_events(path, yaml.parse(text, Loader=loader))
        node = yaml.compose(text, Loader=loader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        where = f":{mark.line + 1}" if mark is not None else ""
        problem = getattr(error, "problem", None) or getattr(error, "reason", None) or "broken"
        problem = _YAML_WORDS.get(problem, problem)
        raise FileError([f"{path}{where}: not YAML: {problem}"]) from None
    if node is None:
        raise FileError([f"{path}: the file is empty"])
    return node


def _check_events(path: Path, events: Iterable[yaml.Event]) -> None:
    """Refuse what could blow up or build an object, before anything is built of it."""
    inside: list[float] = []  # for each collection open, how many more nodes it may hold
    for event in events:
        line = event.start_mark.line + 1 if event.start_mark else 1
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise FileError([f"{path}:{line}: anchors and aliases (& and *) are not allowed"])
        if getattr(event, "tag", None):
            raise FileError([f"{path}:{line}: tags (!) are not allowed; write plain values"])
        if isinstance(event, yaml.CollectionEndEvent):
            inside.pop()
        elif inside and isinstance(event, yaml.NodeEvent):
            inside[-1] -= 1
            if inside[-1] < 0:
                raise FileError([f"{path}:{line}: more than {MOST_KEYS} keys in one group; is "
                                 "this the right file?"])  # fmt: skip
        if isinstance(event, yaml.CollectionStartEvent):
            is_group = isinstance(event, yaml.MappingStartEvent)
            inside.append(2 * MOST_KEYS if is_group else math.inf)
            if len(inside) > DEEPEST:
                raise FileError([f"{path}:{line}: nested deeper than any file of rollpath"])


def key_named(text: str) -> str:
    """A key as the schemas write it: capitals, spaces and hyphens alike, lf for left_front."""
    key = re.sub(r"[\s_-]+", "_", text.strip()).lower()
    return CORNER_NAMES.get(key, key)


def told(path: str, faults: Sequence[tuple[int, str]]) -> list[str]:
    """Faults by their lines as they are told: the first so many, and how many more there are."""
    lines = [f"{path}:{line}: {text}" for line, text in faults[:MOST_FAULTS]]
    more = len(faults) - MOST_FAULTS
    return [*lines, f"{path}: and {more} more like these"] if more > 0 else lines


@dataclass
class Reader:
    """Walks a node tree beside a schema and collects faults."""

    path: Path
    faults: list[tuple[int, str]] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)
    """Line of each key read, by its dotted name."""

    def fault(self, line: int, message: str) -> None:
        self.faults.append((line, message))

    def fault_at(self, key: str, message: str) -> None:
        """A fault of a key read before, such as ``bank.corners``."""
        self.fault(self.lines.get(key, 1), f"{key.rpartition('.')[2]}: {message}")

    def raise_faults(self) -> None:
        if self.faults:
            raise FileError(told(f"{self.path}", sorted(self.faults)))

    def raise_slips(self, slips: Iterable[Slip]) -> None:
        """Raise for what is refused, or else for what is doubtful unless it is taken as right.

        Raises
        ------
        FileError, DoubtfulError
        """
        slips = list(slips)
        doubts = not any(slip.refused for slip in slips)
        for slip in slips:
            if slip.refused or doubts:
                self.fault(self._line_of(slip.key), f"{slip.key}: {slip_text(slip)}")
        if doubts and slips and not TAKEN_AS_RIGHT.get():
            raise DoubtfulError(told(f"{self.path}", sorted(self.faults)))
        if doubts:
            self.faults.clear()
        self.raise_faults()

    def _line_of(self, key: str) -> int:
        """The line of a key, or of the innermost group round it that was read."""
        while key and key not in self.lines:
            key = key.rpartition(".")[0]
        return self.lines.get(key, 1)

    def mapping(self, node: yaml.Node, schema: Schema, inside: str = "") -> dict[str, Any]:
        """The values of a mapping node; keys at fault are left out."""
        line = node.start_mark.line + 1
        named = inside.rstrip("0123456789.")  # a place in a list goes by the name of the list
        here = named.rpartition(".")[2] or "the file"
        if not isinstance(node, yaml.MappingNode):
            keys = ", ".join(list(schema)[:4])
            self.fault(line, f"{here}: expected keys such as {keys}")
            return {}
        values: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key_line = key_node.start_mark.line + 1
            if not isinstance(key_node, yaml.ScalarNode):
                self.fault(key_line, f"{here}: a key must be one word")
                continue
            key = key_named(key_node.value)
            if key not in schema:
                known = f"; known here: {', '.join(schema)}"
                advice = hint(key, schema, known) if len(self.faults) < MOST_FAULTS else ""
                self.fault(key_line, f"{shorten(key_node.value)}: unknown key{advice}")
            elif key in values:
                self.fault(key_line, f"{key}: given twice")
            else:
                name = f"{inside}.{key}" if inside else key
                self.lines[name] = key_line
                values[key] = self._value(value_node, schema[key], key, name)
        for key, wanted in schema.items():
            if key not in values and _is_required(wanted):
                self.fault(line, f"{key}: missing{_example(wanted)}")
        return {key: value for key, value in values.items() if value is not None}

    def _value(self, node: yaml.Node, wanted: Wanted, key: str, name: str) -> Any:
        if isinstance(wanted, Either):
            if isinstance(node, yaml.SequenceNode):
                keys = ", ".join(wanted.schema)
                self.fault(node.start_mark.line + 1, f"{key}: expected one value, or {keys}")
                return None
            wanted = wanted.schema if isinstance(node, yaml.MappingNode) else wanted.field
        if isinstance(wanted, Group):
            wanted = wanted.schema
        if isinstance(wanted, Entries):
            return self._entries(node, wanted, key, name)
        if isinstance(wanted, Several):
            return self._several(node, wanted, key)
        if not isinstance(wanted, Field):
            return self.mapping(node, wanted, name)
        if isinstance(node, yaml.SequenceNode):
            if wanted.many == 1 or len(node.value) != wanted.many:
                count = "one value" if wanted.many == 1 else f"one value or {wanted.many}"
                self.fault(node.start_mark.line + 1, f"{key}: expected {count}")
                return None
            values = [self.scalar(item, wanted, key) for item in node.value]
            return None if None in values else tuple(values)
        value = self.scalar(node, wanted, key)
        return value if value is None or wanted.many == 1 else (value,) * wanted.many

    def _several(self, node: yaml.Node, wanted: Several, key: str) -> Any:
        items = node.value if isinstance(node, yaml.SequenceNode) else [node]
        if not 1 <= len(items) <= wanted.most:
            self.fault(node.start_mark.line + 1, f"{key}: expected 1 to {wanted.most} values")
            return None
        values = [self.scalar(item, wanted.field, key) for item in items]
        return None if None in values else tuple(values)

    def _entries(self, node: yaml.Node, wanted: Entries, key: str, name: str) -> Any:
        line = node.start_mark.line + 1
        if not isinstance(node, yaml.SequenceNode):
            keys = ", ".join(list(wanted.schema)[:4])
            self.fault(line, f"{key}: expected a list, each line starting with - and keys "
                       f"such as {keys}")  # fmt: skip
            return None
        if len(node.value) > wanted.most:
            self.fault(line, f"{key}: more than {wanted.most}; split the file")
            return None
        entries = []
        for i, item in enumerate(node.value):
            self.lines[f"{name}.{i}"] = item.start_mark.line + 1
            entries.append(self.mapping(item, wanted.schema, f"{name}.{i}"))
        return entries

    def scalar(self, node: yaml.Node, wanted: Field, key: str) -> Any:
        line = node.start_mark.line + 1
        if not isinstance(node, yaml.ScalarNode):
            self.fault(line, f"{key}: expected one value")
            return None
        try:
            value = wanted.read(node.value)
        except QuantityError as error:
            self.fault(line, f"{key}: {error}")
            return None
        if wanted.outside(value):
            fault = f'{key}: expected {wanted.range_text}, got "{shorten(node.value)}"'
            self.fault(line, fault + other_unit(node.value, wanted))
            return None
        return value


def _is_required(wanted: Wanted) -> bool:
    if isinstance(wanted, Several | Either):
        wanted = wanted.field
    if isinstance(wanted, Field):
        return wanted.required
    if isinstance(wanted, Group | Entries):
        return False
    return any(_is_required(inner) for inner in wanted.values())


def _example(wanted: Wanted) -> str:
    if isinstance(wanted, Several | Either):
        wanted = wanted.field
    if isinstance(wanted, Field):
        return f"; {wanted.range_text}" if wanted.range_text else ""
    keys = wanted.schema if isinstance(wanted, Group | Entries) else wanted
    return "; it holds " + ", ".join(keys)


def scalar_node(text: str, line: int) -> yaml.ScalarNode:
    """A cell of a table as `Reader.scalar` takes it."""
    return yaml.ScalarNode("", text, yaml.Mark("", 0, line - 1, 0, None, 0))


def other_unit(text: str, wanted: Field) -> str:
    """What ends a fault of a bare number out of range: the metric unit in which it would fit."""
    if not is_bare(text):
        return ""
    for unit in _METRIC.get(wanted.kind, ()):
        if not wanted.outside(parse(f"{text} {unit}", wanted.kind)):
            return f"; or {text} {unit}?"
    return ""


_METRIC = {"tape": ("cm", "mm", "m"), "pressure": ("bar", "kPa"), "weight": ("kg", "N")}
"""Units in which such a number may have been read off."""


def read_sort(path: str | Path, sort: str, schema: Schema) -> tuple[Reader, dict[str, Any]]:
    """The values of a file of one sort, and the reader that holds their lines and faults.

    Parameters
    ----------
    path : str or Path
    sort : str
        A key of `TELLTALES`.
    schema : Schema

    Raises
    ------
    FileError
        If it cannot be read at all, or is of another sort.
    """
    reader = Reader(Path(path))
    node = read_yaml(reader.path)
    _check_sort(reader.path, node, sort)
    return reader, reader.mapping(node, schema)
