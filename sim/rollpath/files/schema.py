"""Reading a YAML file against a schema, and telling all its faults together.

A schema is a nested dict whose leaves are `Field`s. What has passed one is trusted by the physics.
"""

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from rollpath.errors import RollpathError
from rollpath.units import QuantityError, parse, shorten

LARGEST_FILE = 1 << 20
"""Bytes; a file of ours is a screen long."""
LONGEST_FAULT = 500
"""Characters of a fault told; what was found may be much longer."""
DEEPEST = 6
"""Levels of nesting; the deepest schema has four."""


class FileError(RollpathError):
    """All the faults of a file, one line each, ready to print."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = [shorten(line, LONGEST_FAULT) for line in lines]
        super().__init__("\n".join(self.lines))


@dataclass(frozen=True)
class Field:
    """One value of a file.

    Attributes
    ----------
    read : callable
        Turns the value into SI; raises `QuantityError` saying what was expected.
    required : bool
    many : int
        Values allowed in a list; 1 allows no list.
    least, most : float
        Range in SI; outside it the value is refused.
    range_text : str
        The range as a person would say it.
    kind : str
        A key of `units.KINDS` or ``number``; empty when it holds no number to sweep.
    """

    read: Callable[[object], Any]
    required: bool = False
    many: int = 1
    least: float = -math.inf
    most: float = math.inf
    range_text: str = ""
    kind: str = ""

    def outside(self, value: object) -> bool:
        """Whether a number that was read lies outside the range."""
        return isinstance(value, float) and not self.least <= value <= self.most


@dataclass(frozen=True)
class Group:
    """Keys that belong together and may be left out whole."""

    schema: "Schema"


@dataclass(frozen=True)
class Several:
    """One value or a list of any number of them up to `most`; read as a tuple."""

    field: Field
    most: int


@dataclass(frozen=True)
class Entries:
    """A list of groups of keys, up to `most`; read as a list of dicts."""

    schema: "Schema"
    most: int


@dataclass(frozen=True)
class Either:
    """One value, or a group of keys in its place."""

    field: Field
    schema: "Schema"


Schema = Mapping[str, "Field | Group | Several | Entries | Either | Schema"]
Wanted = Field | Group | Several | Entries | Either | Schema


# Fields


def quantity(
    kind: str,
    least: float = -math.inf,
    most: float = math.inf,
    range_text: str = "",
    *,
    required: bool = False,
    many: int = 1,
) -> Field:
    """A field holding a quantity of a kind of `units.KINDS`, within a range in SI."""
    return Field(lambda text: parse(text, kind), required, many, least, most, range_text, kind)


def number(least: float, most: float, range_text: str) -> Field:
    """A field holding a plain number."""
    return Field(read_number, least=least, most=most, range_text=range_text, kind="number")


def text_field(*, required: bool = False, longest: int = 80) -> Field:
    """A field holding a line of text."""

    def read(value: object) -> str:
        text = str(value).strip() if isinstance(value, str | int | float) else ""
        if not text or len(text) > longest or not text.isprintable():
            raise QuantityError(
                f'expected a line of at most {longest} characters, got "{shorten(str(value))}"'
            )
        return text

    return Field(read, required)


def choice(allowed: list[str]) -> Field:
    """A field holding one of a few words."""

    def read(value: object) -> str:
        if str(value) not in allowed:
            raise QuantityError(
                f'expected one of {", ".join(allowed)}, got "{shorten(str(value))}"'
            )
        return str(value)

    return Field(read)


def read_number(value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            result = float(value)
            if math.isfinite(result):
                return result
    except ValueError:
        pass
    raise QuantityError(f'expected a plain number such as 0.62, got "{shorten(str(value))}"')


# Reading


def read_start(path: Path, most: int) -> bytes:
    """The first bytes of a file, at most so many.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    try:
        with path.open("rb") as file:
            return file.read(most)
    except OSError as error:
        raise FileError([f"{path}: cannot be read: {error.strerror or error}"]) from None


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
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileError([f"{path}:{line}: not UTF-8 text; save the file as UTF-8"]) from None


TELLTALES = {
    "track": ("inside_radius", "straight"),
    "car": ("wheelbase", "weights"),
    "rack": ("tires",),
}
"""Keys by which the sorts of file are told apart."""


def check_sort(path: Path, node: yaml.Node, wanted: str) -> None:
    """Refuse a file of another sort than wanted: files named in the wrong order, most likely.

    Raises
    ------
    FileError
        One line, instead of a fault for each key.
    """
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    lines = {str(key.value): key.start_mark.line + 1 for key, _ in pairs}
    if lines.keys() & set(TELLTALES[wanted]):
        return
    for found, keys in TELLTALES.items():
        told = [lines[key] for key in keys if key in lines]
        if told:
            first = "rack" if "rack" in (found, wanted) else "track"
            raise FileError([
                f"{path}:{told[0]}: this looks like a {found} file, not a {wanted} file; "
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
    depth = 0
    try:
        for event in yaml.parse(text, Loader=loader):
            line = event.start_mark.line + 1 if event.start_mark else 1
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise FileError([f"{path}:{line}: anchors and aliases (& and *) are not allowed"])
            if getattr(event, "tag", None):
                raise FileError([f"{path}:{line}: tags (!) are not allowed; write plain values"])
            if isinstance(event, yaml.CollectionStartEvent):
                depth += 1
            elif isinstance(event, yaml.CollectionEndEvent):
                depth -= 1
            if depth > DEEPEST:
                raise FileError([f"{path}:{line}: nested deeper than any file of rollpath"])
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
            raise FileError([f"{self.path}:{line}: {text}" for line, text in sorted(self.faults)])

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
            key = shorten(key_node.value)
            if key not in schema:
                known = f"; known here: {', '.join(schema)}"
                self.fault(key_line, f"{key}: unknown key{hint(key, schema, known)}")
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
            self.fault(line, f'{key}: expected {wanted.range_text}, got "{shorten(node.value)}"')
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


def hint(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """What ends a fault of an unknown word: the nearest that is known, or else other advice."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f'; did you mean "{near[0]}"?' if near else otherwise
