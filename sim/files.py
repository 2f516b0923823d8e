"""YAML to objects and back: every fault told in one line, files written whole or not at all.

A file is read against a schema: a nested dict whose leaves are `Field`s. Reading collects all the
faults of a file and raises them together as `FileError`; physics code below this room may then
trust its numbers.
"""

import contextlib
import csv
import difflib
import io
import itertools
import json
import math
import os
import re
import tempfile
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from sim.bite import CORNERS, Corners, ScaleSession, weights_that_differ
from sim.car import (
    DEFAULT_CG_HEIGHT,
    DEFAULT_DRAG_AREA,
    DEFAULT_POWER,
    DEFAULT_STEERING_RATIO,
    DEFAULT_TIRE_RATE,
    DEFAULT_WINDOW,
    Alike,
    Axle,
    BiteRates,
    Car,
    CornerWeights,
    Springs,
    Tire,
)
from sim.groove import ClosedPath, PathError, smooth_closed_path
from sim.rack import DEFAULT_GROWTH, Rack, RackTire, Taping
from sim.runlog import RunLog, RunLogError, log_of
from sim.survey import PositionLog, SurveyError, lap_path, local_plane
from sim.track import (
    CONDITIONS,
    DEFAULT_BLEND,
    Bank,
    Condition,
    Tolerance,
    Track,
    TrackError,
    check_track,
)
from sim.units import (
    DEGREE,
    FOOT,
    INCH,
    KINDS,
    PSI,
    FloatArray,
    QuantityError,
    Real,
    parse,
    parse_per_turn,
    parse_temperature,
    shorten,
)

MOST_CASES = 2000
"""Of one sweep by numbers."""
LARGEST_FILE = 1 << 20
"""Bytes; a file of ours is a screen long."""
LONGEST_FAULT = 500
"""Characters of a fault told; what was found may be much longer."""
MOST_FAULTS = 5
"""Faults of a log told before giving up on it."""
DEEPEST = 6
"""Levels of nesting; the deepest schema has four."""


class FileError(ValueError):
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


Schema = Mapping[str, "Field | Group | Several | Entries | Schema"]
Wanted = Field | Group | Several | Entries | Schema


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
    return Field(_read_number, least=least, most=most, range_text=range_text, kind="number")


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


def _read_number(value: object) -> float:
    try:
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            result = float(value)
            if math.isfinite(result):
                return result
    except ValueError:
        pass
    raise QuantityError(f'expected a plain number such as 0.62, got "{shorten(str(value))}"')


# Reading


def read_text(path: Path, largest: int = LARGEST_FILE) -> str:
    """The text of a file of at most so many bytes.

    Raises
    ------
    FileError
        If it cannot be read, is larger, or is not UTF-8.
    """
    try:
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except OSError as error:
        raise FileError([f"{path}: cannot be read: {error.strerror or error}"]) from None
    if len(data) > largest:
        size = f"{largest >> 20} MiB"
        raise FileError([f"{path}: larger than {size}; this is not a file for rollpath"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileError([f"{path}:{line}: not UTF-8 text; save the file as UTF-8"]) from None


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
                self.fault(key_line, f"{key}: unknown key{_nearest(key, schema)}")
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
    if isinstance(wanted, Several):
        wanted = wanted.field
    if isinstance(wanted, Field):
        return wanted.required
    if isinstance(wanted, Group | Entries):
        return False
    return any(_is_required(inner) for inner in wanted.values())


def _example(wanted: Wanted) -> str:
    if isinstance(wanted, Several):
        wanted = wanted.field
    if isinstance(wanted, Field):
        return f"; {wanted.range_text}" if wanted.range_text else ""
    keys = wanted.schema if isinstance(wanted, Group | Entries) else wanted
    return "; it holds " + ", ".join(keys)


def _nearest(key: str, allowed: Schema) -> str:
    near = difflib.get_close_matches(key, list(allowed), n=1, cutoff=0.5)
    return f'; did you mean "{near[0]}"?' if near else f"; known here: {', '.join(allowed)}"


# Track files

_GRIP = number(0.05, 3.0, "a grip between 0.05 and 3")
_ANGLE = quantity("angle", -10 * DEGREE, 45 * DEGREE, "an angle between -10 and 45 deg")
_NOT_NEGATIVE = "a length of 0 or more, up to 3000 ft"

_CONDITION_SCHEMA: Schema = {
    "grip": _GRIP,
    "slip_stiffness": number(1.0, 40.0, "a slip stiffness between 1 and 40 per unit load"),
    "groove": choice(["low", "middle", "high", "rounded", "diamond"]),
}


def _track_schema(conditions: list[str]) -> Schema:
    return {
        "name": text_field(required=True),
        "inside_radius": quantity(
            "length", 15 * FOOT, 2000 * FOOT, "a radius between 15 and 2000 ft",
            required=True, many=2,
        ),
        "straight": quantity("length", 0.0, 3000 * FOOT, _NOT_NEGATIVE, required=True),
        "width": quantity(
            "length", 8 * FOOT, 300 * FOOT, "a width between 8 and 300 ft", required=True
        ),
        "bow": quantity("length", 0.0, 1000 * FOOT, "a bow of 0 ft or more"),
        "bank": {"corners": _ANGLE, "straights": _ANGLE},
        "blend": quantity("length", 0.0, 1000 * FOOT, "a blend of 0 ft or more"),
        "conditions": dict.fromkeys(conditions, _CONDITION_SCHEMA),
        "tolerance": {
            "inside_radius": quantity("length", 0.0, 500 * FOOT, "a tolerance of 0 ft or more"),
            "straight": quantity("length", 0.0, 500 * FOOT, "a tolerance of 0 ft or more"),
            "bank": quantity("angle", 0.0, 20 * DEGREE, "a tolerance of 0 to 20 deg"),
        },
    }  # fmt: skip


def load_track(path: str | Path) -> Track:
    """Read a track file.

    Raises
    ------
    FileError
        With every fault of the file.
    """
    return track_from_values(load_track_values(path))


def load_track_values(path: str | Path) -> dict[str, Any]:
    """The values of a track file in SI, checked; see `load_track`."""
    reader = Reader(Path(path))
    values = reader.mapping(read_yaml(reader.path), _track_schema(list(CONDITIONS)))
    reader.raise_faults()
    try:
        check_track(track_from_values(values))
    except TrackError as error:
        reader.fault_at(error.key, str(error))
    reader.raise_faults()
    return values


def check_measurements(values: dict[str, Any]) -> None:
    """Hold measurements typed on the command line to the ranges of a track file.

    Raises
    ------
    TrackError
        Naming the first key out of range.
    """
    for key, wanted in _track_schema([]).items():
        if key in values:
            _check_measurement(key, values[key], wanted)


def _check_measurement(key: str, value: Any, wanted: Wanted) -> None:
    """Hold one value, or those inside it, to the schema; a fault names the outermost key."""
    if isinstance(wanted, Mapping):
        for inner, one in value.items():
            _check_measurement(key, one, wanted[inner])
    elif isinstance(wanted, Field):
        for one in value if isinstance(value, tuple) else (value,):
            if wanted.outside(one):
                raise TrackError(key, f"expected {wanted.range_text}")


def track_from_values(values: dict[str, Any]) -> Track:
    """A track from the values of its file or of the command line, in SI and not yet checked."""
    conditions = {
        name: _condition(name, given) for name, given in values.get("conditions", {}).items()
    }
    track = Track(
        name=values["name"],
        inside_radius=values["inside_radius"],
        straight=values["straight"],
        width=values["width"],
        bow=values.get("bow", 0.0),
        bank=Bank(**values.get("bank", {})),
        blend=values.get("blend", DEFAULT_BLEND),
        conditions=conditions,
    )
    if "tolerance" not in values:
        return track
    known = vars(track.measured_to)
    return Track(**{**vars(track), "tolerance": Tolerance(**{**known, **values["tolerance"]})})


def _condition(name: str, given: dict[str, Any]) -> Condition:
    return Condition(**{**vars(CONDITIONS[name]), **given})


# Car files

_ROLLOUT = quantity("tape", 20 * INCH, 160 * INCH, "a rollout between 20 and 160 in", required=True)
_TRACK_WIDTH = quantity(
    "tape", 20 * INCH, 100 * INCH, "a track width between 20 and 100 in", required=True
)
_WEIGHT = quantity("weight", 10.0, 2e4, "a weight between 3 and 4500 lb", required=True)
_SPRING = quantity("stiffness", 500.0, 5e6, "a spring rate between 3 and 28000 lb/in")
_BAR = quantity("roll stiffness", 0.0, 1e7, "a bar rate of 0 or more")
_BITE_RATE = quantity("weight", 0.1, 5e3, "a bite rate between 0.03 and 1100 lb")
_ALIKE = choice(["rear", "front", "axles", "all"])
LEAST_STAGGER, MOST_STAGGER = -12 * INCH, 24 * INCH
_STAGGER = quantity("tape", LEAST_STAGGER, MOST_STAGGER, "a stagger between -12 and 24 in", many=2)
_AXLE_SCHEMA: Schema = {
    "track_width": _TRACK_WIDTH,
    "left": {"rollout": _ROLLOUT},
    "right": {"rollout": _ROLLOUT},
}
_CAR_SCHEMA: Schema = {
    "name": text_field(required=True),
    "wheelbase": quantity(
        "tape", 40 * INCH, 200 * INCH, "a wheelbase between 40 and 200 in", required=True
    ),
    "front": _AXLE_SCHEMA,
    "rear": _AXLE_SCHEMA,
    "weights": {
        "left_front": _WEIGHT,
        "right_front": _WEIGHT,
        "left_rear": _WEIGHT,
        "right_rear": _WEIGHT,
    },
    "cg_height": quantity("tape", 4 * INCH, 40 * INCH, "a height between 4 and 40 in"),
    "power": quantity("power", 1e3, 1.5e6, "a power between 1.5 and 2000 hp"),
    "drag_area": quantity("area", 0.05, 10.0, "an area between 0.5 and 107 ft2"),
    "stagger_window": _STAGGER,
    "steering_ratio": number(2.0, 40.0, "a steering ratio between 2 and 40"),
    "gear_ratio": number(0.5, 30.0, "a total gear ratio between 0.5 and 30"),
    "tire": {
        "spring_rate": quantity("stiffness", 1e4, 1e6, "a tire rate between 60 and 5700 lb/in"),
        "growth": quantity("tape", -3 * INCH, 3 * INCH, "a growth between -3 and 3 in"),
    },
    "bite_per_inch": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "bite_per_turn": {"rear": _BITE_RATE, "front": _BITE_RATE},
    "springs": Group(
        {
            "front_wheel_rate": replace(_SPRING, required=True, many=2),
            "rear_rate": replace(_SPRING, required=True, many=2),
            "rear_base": quantity(
                "tape", 8 * INCH, 100 * INCH, "a base between 8 and 100 in", required=True
            ),
            "front_bar": _BAR,
            "rear_bar": _BAR,
        }
    ),
    "alike": {"compound": _ALIKE, "offset": _ALIKE},
    "jacks": {
        "thread": Field(parse_per_turn, False, 1, 1e-5, 0.05, "a thread such as 1 in per 12 turns")
    },
}


def load_car(path: str | Path) -> Car:
    """Read a car file.

    Raises
    ------
    FileError
        With every fault of the file.
    """
    return car_from_values(load_car_values(path))


def load_car_values(path: str | Path) -> dict[str, Any]:
    """The values of a car file in SI, checked; see `load_car`."""
    reader = Reader(Path(path))
    values = reader.mapping(read_yaml(reader.path), _CAR_SCHEMA)
    window = values.get("stagger_window", DEFAULT_WINDOW)
    if window[0] >= window[1]:
        reader.fault_at("stagger_window", "expected the lower end first, such as [1 in, 4 in]")
    reader.raise_faults()
    return values


def check_change(key: str, value: float | None) -> None:
    """Hold what was typed for a change of the car to the ranges of a car file.

    Parameters
    ----------
    key : str
        ``left_rear`` and so on for a rollout, ``stagger``, ``rear_stagger``, ``front_stagger``,
        ``weights``.
    value : float or None

    Raises
    ------
    QuantityError
    """
    staggers = dict.fromkeys(("stagger", "rear_stagger", "front_stagger"), _STAGGER)
    wanted = {**staggers, "weights": _WEIGHT}
    field = wanted.get(key, _ROLLOUT)
    if value is not None and field.outside(float(value)):
        raise QuantityError(f"--{key.replace('_', '-')}: expected {field.range_text}")


def car_from_values(values: dict[str, Any]) -> Car:
    """A car from the values of its file, in SI."""
    bite_rates = {key: rate / INCH for key, rate in values.get("bite_per_inch", {}).items()}
    return Car(
        name=values["name"],
        wheelbase=values["wheelbase"],
        front=_axle(values["front"]),
        rear=_axle(values["rear"]),
        weights=CornerWeights(**values["weights"]),
        cg_height=values.get("cg_height", DEFAULT_CG_HEIGHT),
        power=values.get("power", DEFAULT_POWER),
        drag_area=values.get("drag_area", DEFAULT_DRAG_AREA),
        stagger_window=values.get("stagger_window", DEFAULT_WINDOW),
        tire=Tire(**{"spring_rate": DEFAULT_TIRE_RATE, **values.get("tire", {})}),
        bite_per_inch=BiteRates(**bite_rates),
        bite_per_turn=BiteRates(**values.get("bite_per_turn", {})),
        springs=Springs(**values["springs"]) if "springs" in values else None,
        jack_thread=values.get("jacks", {}).get("thread"),
        alike=Alike(**values.get("alike", {})),
        steering_ratio=values.get("steering_ratio", DEFAULT_STEERING_RATIO),
        gear_ratio=values.get("gear_ratio"),
    )


def _axle(values: dict[str, Any]) -> Axle:
    return Axle(values["track_width"], values["left"]["rollout"], values["right"]["rollout"])


# Sweeps by numbers


@dataclass(frozen=True)
class Sweep:
    """One number of a track or a car file, run through a range.

    Attributes
    ----------
    key : str
        Dotted, such as ``bank.corners``.
    of : str
        track or car.
    values : ndarray, shape (cases,)
        SI.
    kind : str
        A key of `units.KINDS`, or ``number``.
    """

    key: str
    of: str
    values: FloatArray
    kind: str

    @property
    def changes_the_line(self) -> bool:
        """Whether a free groove must be found anew for each case."""
        return self.key.split(".")[0] in _SHAPE_KEYS or self.key.endswith("track_width")

    def put(self, values: dict[str, Any]) -> dict[str, Any]:
        """The values of a file with the swept ones in place of the one number."""
        return self._put(values, self.key.split("."), self.values)

    def put_one(self, values: dict[str, Any], case: int) -> dict[str, Any]:
        """The values of a file with one of the swept ones in place."""
        return self._put(values, self.key.split("."), float(self.values[case]))

    def _put(self, values: dict[str, Any], path: list[str], value: Any) -> dict[str, Any]:
        key, *rest = path
        inner = values.get(key, {})
        if rest and not inner and key in _WHOLE_GROUPS:
            raise QuantityError(f"the {self.of} file has no {key} to sweep")
        if rest:
            return {**values, key: self._put(inner, rest, value)}
        return {**values, key: (value, value) if self.key in _IN_PAIRS else value}


_SHAPE_KEYS = ("inside_radius", "straight", "width", "bow", "bank", "blend")
"""Keys of a track that move its edges or its bank."""
_WHOLE_GROUPS = ("springs",)
"""Groups of which one number alone says nothing."""
_IN_PAIRS = ("inside_radius", "springs.front_wheel_rate", "springs.rear_rate")
"""Keys that hold one value for each end or side."""


def read_sweep(text: str) -> Sweep:
    """Read a sweep such as ``inside_radius=120ft:260ft:20ft``: key, from, to, step.

    Raises
    ------
    units.QuantityError
        Saying what was expected.
    """
    key, _, spans = text.partition("=")
    parts = spans.split(":")
    if len(parts) != 3:
        raise QuantityError(
            f'expected a sweep such as "inside_radius=120ft:260ft:20ft", got "{text}"'
        )
    numeric = {**_numeric_fields(_track_schema(list(CONDITIONS)), "track"),
               **_numeric_fields(_CAR_SCHEMA, "car")}  # fmt: skip
    if key not in numeric:
        near = difflib.get_close_matches(key, list(numeric), n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else "see the track and car files for the keys"
        raise QuantityError(f'no number "{key}" to sweep; {hint}')
    of, wanted = numeric[key]
    start, stop, step = (wanted.read(part.strip()) for part in parts)
    count = (stop - start) / step + 1e-9 if step else -1.0
    if not 0 < count < MOST_CASES:
        raise QuantityError(f"a sweep goes up by its step, in at most {MOST_CASES} cases: {text}")
    values = np.minimum(start + step * np.arange(int(count) + 1), stop)
    if any(wanted.outside(float(value)) for value in values):
        raise QuantityError(f"{key}: expected {wanted.range_text}")
    return Sweep(key, of, values, wanted.kind)


def _numeric_fields(schema: Schema, of: str, inside: str = "") -> dict[str, tuple[str, Field]]:
    """Every field of a schema that holds a number, by its dotted key."""
    found = {}
    for key, wanted in schema.items():
        if isinstance(wanted, Group):
            wanted = wanted.schema
        if isinstance(wanted, Several | Entries):
            continue
        if not isinstance(wanted, Field):
            found.update(_numeric_fields(wanted, of, f"{inside}{key}."))
        elif wanted.kind and (wanted.many == 1 or f"{inside}{key}" in _IN_PAIRS):
            found[f"{inside}{key}"] = (of, wanted)
    return found


# Scale sessions

_SESSION_FIELDS: dict[str, Field] = {
    "session": text_field(),
    "driver": choice(["in", "out"]),
    "date": text_field(),
    "note": text_field(longest=400),
    **{f"{corner}_rollout": _ROLLOUT for corner in CORNERS},
    **{f"{corner}_jack": quantity("turns", -100, 100, "up to 100 turns") for corner in CORNERS},
    **{f"{corner}_weight": _WEIGHT for corner in CORNERS},
}
_SESSION_MAY_LACK = ("session", "date", "note", *(f"{corner}_jack" for corner in CORNERS))
_SESSION_MAY_BE_BLANK = ("session", "date", "note")
_HEADER = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]")
"""A heading that states its unit, such as ``left rear weight (lb)``."""


def load_scale_sessions(path: str | Path) -> list[ScaleSession]:
    """Read a CSV of scale sessions, one weighing of the car per row.

    Columns, in any order: ``driver`` (in or out); ``left_front_rollout`` and so on for the four
    tires; ``left_front_weight`` and so on for the four pads; where jacks are turned,
    ``left_front_jack`` and so on; and if wanted ``session``, ``date`` and ``note``. Each value
    carries its unit, or the heading does: ``left_rear_weight (lb)``.

    Raises
    ------
    FileError
        With every fault of the file, weights that do not belong together among them.
    """
    path = Path(path)
    reader = Reader(path)
    rows = _csv_rows(reader)
    columns = _session_columns(reader, *rows[0])
    reader.raise_faults()
    sessions = [_session(reader, columns, line, cells) for line, cells in rows[1:]]
    reader.raise_faults()
    if not sessions:
        raise FileError([f"{path}: no sessions; add a row for each time the car was weighed"])
    faults = weights_that_differ([session for session in sessions if session])
    if faults:
        raise FileError([f"{path}:{line}: {message}" for line, message in faults])
    return [session for session in sessions if session]


def _csv_rows(reader: Reader) -> list[tuple[int, list[str]]]:
    """Line and cells of each row that is not blank; commas, semicolons or tabs between them."""
    text = read_text(reader.path)
    heading = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(",;\t", key=heading.count)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        found = [(rows.line_num, [cell.strip() for cell in row]) for row in rows]
    except csv.Error as error:
        raise FileError([f"{reader.path}:{rows.line_num}: not CSV: {error}"]) from None
    found = [(line, cells) for line, cells in found if any(cells)]
    if not found:
        raise FileError([f"{reader.path}: the file is empty"])
    return found


def _session_columns(reader: Reader, line: int, headings: list[str]) -> list[tuple[str, str]]:
    """Name and unit of each column; the unit is empty when each cell carries its own."""
    columns: list[tuple[str, str]] = []
    for heading in headings:
        match = _HEADER.fullmatch(heading)
        text, unit = (match[1], match[2].strip()) if match else (heading, "")
        name = re.sub(r"[\s_-]+", "_", text.strip().lower())
        if name not in _SESSION_FIELDS:
            shown = heading or "a column without heading"
            near = difflib.get_close_matches(name, list(_SESSION_FIELDS), n=1, cutoff=0.5)
            hint = f'; did you mean "{near[0]}"?' if near else "; put remarks under note"
            reader.fault(line, f"{shown}: unknown column{hint}")
        elif name in [earlier for earlier, _ in columns]:
            reader.fault(line, f"{name}: given twice")
        columns.append((name, unit))
    names = [name for name, _ in columns]
    jacks = any(name.endswith("_jack") for name in names)
    for name in _SESSION_FIELDS:
        needed = name not in _SESSION_MAY_LACK or (jacks and name.endswith("_jack"))
        if needed and name not in names:
            reader.fault(line, f"{name}: column missing")
    return columns


def _session(
    reader: Reader, columns: list[tuple[str, str]], line: int, cells: list[str]
) -> ScaleSession | None:
    if len(cells) > len(columns):
        reader.fault(line, f"{len(cells)} values under {len(columns)} headings; "
                     "put quotes around a value that holds the separator")  # fmt: skip
        return None
    cells = cells + [""] * (len(columns) - len(cells))
    values = {
        name: _session_value(reader, line, name, unit, cell)
        for (name, unit), cell in zip(columns, cells, strict=True)
    }
    if any(values[name] is None for name, _ in columns if name not in _SESSION_MAY_BE_BLANK):
        return None

    def corners(what: str) -> list[float]:
        return [values[f"{corner}_{what}"] for corner in CORNERS]

    return ScaleSession(
        label=values.get("session") or f"line {line}",
        line=line,
        driver_in=values["driver"] == "in",
        rollouts=Corners(*corners("rollout")),
        turns=Corners(*corners("jack")) if "left_rear_jack" in values else None,
        weights=CornerWeights(*corners("weight")),
    )


def _session_value(reader: Reader, line: int, name: str, unit: str, cell: str) -> Any:
    wanted = _SESSION_FIELDS[name]
    if not cell:
        if name not in _SESSION_MAY_BE_BLANK:
            reader.fault(line, f"{name}: missing")
        return None
    if unit and re.fullmatch(r"[+-]?[\d.]+(?:[\s-]+\d+\s*/\s*\d+)?|[+-]?\d+\s*/\s*\d+", cell):
        cell = f"{cell} {unit}"
    elif name == "driver":
        cell = cell.lower()
    return reader.scalar(
        yaml.ScalarNode("", cell, yaml.Mark("", 0, line - 1, 0, None, 0)), wanted, name
    )


# Columns of numbers: recorded points and logs

LARGEST_LOG = 256 << 20
"""Bytes; a season of laps at 100 Hz fits."""


@dataclass(frozen=True)
class Column:
    """A column that a log may hold.

    Attributes
    ----------
    kind : str
        A key of `units.KINDS`, or ``number``.
    names : tuple of str
        Headings it is known by, lower case, words joined by one space.
    unit : str
        Unit when the heading states none; empty when it must.
    required : bool
    """

    kind: str
    names: tuple[str, ...]
    unit: str = ""
    required: bool = False


def read_columns(
    path: str | Path, known: Mapping[str, Column], chosen: Mapping[str, str] | None = None
) -> dict[str, FloatArray]:
    """Read the columns of a CSV of numbers that are known, in SI.

    Parameters
    ----------
    path : str or Path
        Commas, semicolons or tabs; one heading line, units in it: ``speed (mph)``.
    known : mapping of str to Column
    chosen : mapping of str to str, optional
        Heading to take for a column, where guessing is not wanted.

    Returns
    -------
    dict of str to ndarray, shape (rows,)
        By the keys of `known`; a blank cell is NaN. Times of day and dates become seconds.

    Raises
    ------
    FileError
        Naming the line at fault.
    """
    path = Path(path)
    text = read_text(path, LARGEST_LOG)
    lines = text.lstrip("\r\n ").partition("\n")
    heading, body = lines[0].strip("\r"), lines[2]
    above = text[: len(text) - len(text.lstrip("\r\n "))].count("\n") + 1
    if not heading:
        raise FileError([f"{path}: the file is empty"])
    separator = max(",;\t", key=heading.count)
    try:
        headings = [cell.strip() for cell in next(csv.reader([heading], delimiter=separator))]
    except csv.Error as error:
        raise FileError([f"{path}:{above}: not CSV: {error}"]) from None
    places = _places(path, above, headings, known, chosen or {})
    table = _fast_table(body, separator, len(headings))
    if table is None:
        table = _careful_table(path, body, above, separator, headings, sorted(places))
    if not len(table):
        raise FileError([f"{path}: headings but no rows"])
    return {name: table[:, place] * factor for place, (name, factor) in places.items()}


def _places(
    path: Path,
    line: int,
    headings: list[str],
    known: Mapping[str, Column],
    chosen: Mapping[str, str],
) -> dict[int, tuple[str, float]]:
    """Which column stands where, and the factor that makes it SI."""
    faults: list[str] = []
    places: dict[int, tuple[str, float]] = {}
    for name, column in known.items():
        wanted = (_spoken(chosen[name])[0],) if name in chosen else column.names
        found = [i for i, heading in enumerate(headings) if _spoken(heading)[0] in wanted]
        if not found and (column.required or name in chosen):
            asked = chosen.get(name, column.names[0])
            faults.append(f'no column "{asked}"; the headings are: {", ".join(headings)}')
        if not found:
            continue
        unit = _spoken(headings[found[0]])[1] or _spoken(chosen.get(name, ""))[1] or column.unit
        units = KINDS[column.kind].units if column.kind in KINDS else {"": 1.0}
        if unit not in units:
            example = f"{headings[found[0]].partition('(')[0].strip()} ({next(iter(units))})"
            stated = f'"{unit}" is no unit of it' if unit else "say its unit in the heading"
            faults.append(f'{headings[found[0]]}: {stated}; write it such as "{example}"')
            continue
        places[found[0]] = (name, units[unit])
    if faults:
        raise FileError([f"{path}:{line}: {fault}" for fault in faults])
    return places


def _spoken(heading: str) -> tuple[str, str]:
    """A heading as plain words, and the unit it states: ``Speed (mph)``, ``x_ft``, ``x [m]``."""
    match = _HEADER.fullmatch(heading)
    words, unit = (match[1], match[2]) if match else (heading, "")
    words = re.sub(r"[\s_.-]+", " ", words).strip().lower()
    last = words.rpartition(" ")[2]
    if not unit and any(last in kind.units for kind in KINDS.values()) and " " in words:
        words, unit = words[: -len(last) - 1], last
    return words, unit.strip().lower()


def _fast_table(body: str, separator: str, width: int) -> FloatArray | None:
    """The rows when every cell is a plain number or blank, else None."""
    import warnings

    lines = body.rstrip(" \r\n").replace("\r", "")
    if not lines or '"' in lines:
        return None
    rows = lines.count("\n") + 1
    if lines.count(separator) != rows * (width - 1):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)
        try:
            flat = np.fromstring(
                _blanks_as_nan(lines, separator).replace("\n", separator), sep=separator
            )
        except (DeprecationWarning, ValueError):
            return None
    return flat.reshape(rows, width) if len(flat) == rows * width else None


def _blanks_as_nan(lines: str, separator: str) -> str:
    """Rows with an empty cell written as nan, so that a log with a slow channel reads as fast."""
    if separator == "\t":  # white space to the fast reader, which would close the gap up
        return lines
    for _ in range(2):  # every second of a run of blanks each time
        lines = lines.replace(2 * separator, f"{separator}nan{separator}")
    lines = lines.replace(f"{separator}\n", f"{separator}nan\n")
    lines = lines.replace(f"\n{separator}", f"\nnan{separator}")
    lines = f"nan{lines}" if lines.startswith(separator) else lines
    return f"{lines}nan" if lines.endswith(separator) else lines


def _careful_table(
    path: Path,
    body: str,
    above: int,
    separator: str,
    headings: list[str],
    places: list[int],
) -> FloatArray:
    """The rows cell by cell: blanks are NaN, dates are seconds, what is neither is a fault."""
    faults: list[str] = []
    table = []
    rows = csv.reader(io.StringIO(body, newline=""), delimiter=separator)
    try:
        for cells in rows:
            if not any(cell.strip() for cell in cells):
                continue
            line = rows.line_num + above
            if len(cells) != len(headings):
                faults.append(f"{line}: {len(cells)} values under {len(headings)} headings")
            values = np.full(len(headings), np.nan)
            for place in places:
                cell = cells[place].strip() if place < len(cells) else ""
                value = _cell(cell)
                if value is None:
                    faults.append(
                        f'{line}: {headings[place]}: expected a number, got "{cell[:40]}"'
                    )
                else:
                    values[place] = value
            if len(faults) >= MOST_FAULTS:
                faults.append(f"{line}: and so on; is this the right file?")
                break
            table.append(values)
    except csv.Error as error:
        faults.append(f"{rows.line_num + above}: not CSV: {error}")
    if faults:
        raise FileError([f"{path}:{fault}" for fault in faults])
    return np.array(table).reshape(len(table), len(headings))


def _cell(cell: str) -> float | None:
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        try:
            return datetime.fromisoformat(cell).timestamp()
        except ValueError:
            return None
    return value if math.isfinite(value) else math.nan


POINT_COLUMNS = {
    "x": Column("length", ("x", "east", "easting"), required=True),
    "y": Column("length", ("y", "north", "northing"), required=True),
}


def load_points(path: str | Path) -> ClosedPath:
    """Read points along a line as a closed path: a CSV with x and y, or a position log.

    Raises
    ------
    FileError
        If it cannot be read, or the points make no lap.
    """
    log = load_position_log(path)
    try:
        if log.origin is not None:
            return lap_path(log)
        there = np.isfinite(log.x) & np.isfinite(log.y)
        return smooth_closed_path(log.x[there], log.y[there])
    except (PathError, SurveyError) as error:
        raise FileError([f"{path}: {error}"]) from None


# Position logs

MOST_POINTS = 4_000_000
"""Points of a position log; two weeks at 1 Hz and some 100 MB."""
GPX_CHUNK = 1 << 20
GPX_DEEPEST = 40
"""Nesting of a GPX file; its schema needs 6, extensions a few more."""
TIME_TEXT = 40
"""Longest time of a GPX file, in characters."""
GEOGRAPHIC_COLUMNS = {
    "latitude": Column("angle", ("latitude", "lat", "gps latitude", "position lat"), "deg"),
    "longitude": Column(
        "angle", ("longitude", "lon", "long", "lng", "gps longitude", "position long"), "deg"
    ),
}
TIME_COLUMN = Column("time", ("time", "timestamp", "t", "seconds", "elapsed", "utc", "date"), "s")


def load_position_log(path: str | Path) -> PositionLog:
    """Read a position log: GPX 1.1, or CSV with latitude and longitude, or with x and y.

    Raises
    ------
    FileError
        If it cannot be read or holds no positions; the message names the line where there is one.
    """
    path = Path(path)
    if _is_xml(path):
        return _geographic_log(path, *_read_gpx(path))
    columns = read_columns(path, {**GEOGRAPHIC_COLUMNS, "time": TIME_COLUMN})
    time = _seconds(columns.get("time"))
    if "latitude" in columns and "longitude" in columns:
        latitude, longitude = (np.degrees(columns[name]) for name in GEOGRAPHIC_COLUMNS)
        return _geographic_log(path, latitude, longitude, time, ())
    plane = {key: replace(column, required=False) for key, column in POINT_COLUMNS.items()}
    columns = read_columns(path, plane)
    if len(columns) < 2:
        raise FileError([
            f"{path}: no columns of positions; expected latitude and longitude, or x (ft) and "
            "y (ft)"
        ])  # fmt: skip
    return PositionLog(columns["x"], columns["y"], time)


# Recorded runs

RUN_COLUMNS: dict[str, Column] = {
    "time": replace(TIME_COLUMN, names=(
        *TIME_COLUMN.names, "elapsed time", "session time", "log time", "gps time", "utc time",
    )),
    **GEOGRAPHIC_COLUMNS,
    **{key: replace(column, required=False) for key, column in POINT_COLUMNS.items()},
    "speed": Column("speed", (
        "speed", "gps speed", "ground speed", "vehicle speed", "car speed", "velocity", "v",
    )),
    "engine_speed": Column("rotation", (
        "rpm", "engine", "engine rpm", "engine speed", "motor", "motor rpm", "revs", "tach",
    ), "rpm"),
    "steering": Column("angle", (
        "steering", "steering angle", "steering wheel", "steering wheel angle", "steer",
        "steer angle", "wheel angle", "steered angle",
    )),
    "throttle": Column("share", (
        "throttle", "throttle position", "throttle pos", "tps", "gas", "pedal",
    ), "%"),
}  # fmt: skip
"""What a recorded run may hold, by the names of `runlog.log_of`."""


def load_run_log(path: str | Path, chosen: Mapping[str, str] | None = None) -> RunLog:
    """Read a CSV of recorded laps; see `RUN_COLUMNS` for what it may hold.

    Parameters
    ----------
    path : str or Path
    chosen : mapping of str to str, optional
        Heading to take for a column of `RUN_COLUMNS`; a unit in it stands when the file has none.

    Raises
    ------
    FileError
        If it cannot be read, or holds nothing that can be laid along a lap.
    """
    path = Path(path)
    known = dict(RUN_COLUMNS)
    if {"latitude", "longitude"} <= _columns_of(path, known, chosen or {}):
        del known["x"], known["y"]  # of some other thing, when there are positions on the globe
    columns = read_columns(path, known, chosen)
    time = _seconds(columns.get("time"))
    if time is not None:
        columns["time"] = time
    try:
        return log_of(columns)
    except RunLogError as error:
        raise FileError([f"{path}: {error}"]) from None


def _columns_of(path: Path, known: Mapping[str, Column], chosen: Mapping[str, str]) -> set[str]:
    """Which columns the first line of a file names."""
    try:
        with path.open(encoding="utf-8-sig", errors="replace") as file:
            heading = file.readline(1 << 16)
    except OSError as error:
        raise FileError([f"{path}: cannot be read: {error.strerror or error}"]) from None
    words = {_spoken(cell.strip().strip('"'))[0] for cell in re.split(r"[,;\t]", heading)}
    return {
        name for name, column in known.items()
        if words & set((_spoken(chosen[name])[0],) if name in chosen else column.names)
    }  # fmt: skip


def _is_xml(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            start = file.read(512)
    except OSError as error:
        raise FileError([f"{path}: cannot be read: {error.strerror or error}"]) from None
    return start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def _geographic_log(
    path: Path,
    latitude: FloatArray,
    longitude: FloatArray,
    time: FloatArray | None,
    notes: tuple[str, ...],
) -> PositionLog:
    """The log in a plane about its middle point; positions of 0, 0 are a receiver without a fix."""
    fixed = np.isfinite(latitude) & np.isfinite(longitude)
    fixed &= (np.abs(latitude) > 1e-6) | (np.abs(longitude) > 1e-6)
    if not np.any(fixed):
        raise FileError([f"{path}: no positions in it"])
    wrong = fixed & ((np.abs(latitude) > 90) | (np.abs(longitude) > 180))
    if np.any(wrong):
        where = int(np.argmax(wrong)) + 1
        raise FileError([
            f"{path}: point {where}: latitude {latitude[where - 1]:g} and longitude "
            f"{longitude[where - 1]:g} are no place on earth; are the columns right?"
        ])  # fmt: skip
    dropped = int(np.sum(~fixed))
    if dropped:
        notes = (*notes, f"{dropped} points without a position were left out")
    middle = np.flatnonzero(fixed)[int(np.sum(fixed)) // 2]
    origin = float(latitude[middle]), float(longitude[middle])
    x, y = local_plane(latitude[fixed], longitude[fixed], origin)
    return PositionLog(x, y, None if time is None else time[fixed], origin, notes)


def _seconds(time: FloatArray | None) -> FloatArray | None:
    """Times in seconds; clocks that count ms or us since 1970 are told by their size."""
    if time is None or not np.any(np.isfinite(time)):
        return None
    largest = float(np.nanmax(np.abs(time)))
    factor = 1e-6 if largest > 1e14 else 1e-3 if largest > 1e11 else 1.0
    seconds: FloatArray = time * factor
    return seconds


def _read_gpx(path: Path) -> tuple[FloatArray, FloatArray, FloatArray | None, tuple[str, ...]]:
    """Latitudes and longitudes in deg, times in s and notes, read in pieces as they come.

    No entity is ever expanded: a document type, the only place to declare one, is refused.
    """
    from xml.parsers import expat

    points = _GpxPoints(path)
    parser = expat.ParserCreate(namespace_separator=" ")
    points.attach(parser)
    size, notes = 0, tuple[str, ...]()
    try:
        with path.open("rb") as file:
            while piece := file.read(GPX_CHUNK):
                size += len(piece)
                if size > LARGEST_LOG:
                    raise FileError([f"{path}: larger than {LARGEST_LOG >> 20} MiB"])
                parser.Parse(piece, False)
            parser.Parse(b"", True)
    except expat.ExpatError as error:
        unfinished = error.code in (expat.errors.codes[text] for text in _UNFINISHED)
        if not (unfinished and len(points.latitude)):
            reason = expat.ErrorString(error.code)
            raise FileError([f"{path}:{error.lineno}: not GPX: {reason}"]) from None
        notes = ("the file ends in the middle; what came before was used",)
    time = _seconds(np.array(points.time))
    return np.array(points.latitude), np.array(points.longitude), time, notes


_UNFINISHED = ("no element found", "unclosed token", "partial character")


class _GpxPoints:
    """Collects the track points of a GPX file (or its route points when it has no track)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.latitude, self.longitude, self.time = array("d"), array("d"), array("d")
        self.depth, self.inside, self.text = 0, "", ""
        self.wanted, self.in_point = "rtept", False

    def attach(self, parser: Any) -> None:
        self.parser = parser
        parser.buffer_text = True
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.CharacterDataHandler = self.characters
        parser.StartDoctypeDeclHandler = self.doctype

    def fault(self, message: str) -> FileError:
        return FileError([f"{self.path}:{self.parser.CurrentLineNumber}: {message}"])

    def doctype(self, *_: object) -> None:
        raise self.fault("a document type is not allowed in GPX; record or export the log again")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(" ")[2]
        self.depth += 1
        if self.depth == 1 and name != "gpx":
            raise self.fault(f'not GPX: expected "gpx" first, got "{name[:40]}"')
        if self.depth > GPX_DEEPEST:
            raise self.fault("nested deeper than any GPX file")
        if name == "trkpt" and self.wanted != name:
            self.wanted = name
            for column in (self.latitude, self.longitude, self.time):
                del column[:]
        if name == self.wanted:
            self._point(attributes)
        self.inside, self.text = name, ""

    def _point(self, attributes: dict[str, str]) -> None:
        try:
            latitude, longitude = float(attributes["lat"]), float(attributes["lon"])
        except (KeyError, ValueError):
            raise self.fault('a point without numbers for "lat" and "lon"') from None
        if len(self.latitude) >= MOST_POINTS:
            raise self.fault(f"more than {MOST_POINTS} points")
        self.latitude.append(latitude)
        self.longitude.append(longitude)
        self.time.append(math.nan)
        self.in_point = True

    def characters(self, text: str) -> None:
        if self.inside == "time" and len(self.text) < TIME_TEXT:
            self.text += text[:TIME_TEXT]

    def end(self, name: str) -> None:
        self.depth -= 1
        if self.inside == "time" and self.in_point:
            with contextlib.suppress(ValueError):
                self.time[-1] = datetime.fromisoformat(self.text.strip()).timestamp()
        if name.rpartition(" ")[2] == self.wanted:
            self.in_point = False
        self.inside = ""


# Rack files

MOST_TIRES = 100
"""Tires of one rack: beyond this, choosing takes longer than anyone waits."""
MOST_READINGS = 20
_SHORT_CORNERS = {"".join(word[0] for word in corner.split("_")): corner for corner in CORNERS}
"""lf, rf, lr and rr, as the trade abbreviates them."""


def _read_corner(value: object) -> str:
    name = re.sub(r"[\s-]+", "_", str(value).strip().lower())
    name = _SHORT_CORNERS.get(name, name)
    if name not in CORNERS:
        near = difflib.get_close_matches(name, CORNERS, n=1, cutoff=0.5)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise QuantityError(f'expected a corner: {", ".join(CORNERS)}, got "{value}"{hint}')
    return name


def _read_tire_name(value: object) -> str:
    name: str = text_field(longest=20).read(value)
    if "," in name:
        raise QuantityError(f'expected a name without a comma, got "{value}"')
    return name


def _read_yes(value: object) -> bool:
    words = {"yes": True, "true": True, "no": False, "false": False}
    if str(value).lower() not in words:
        raise QuantityError(f'expected yes or no, got "{value}"')
    return words[str(value).lower()]


def _read_count(value: object) -> float:
    count = _read_number(value)
    if not count.is_integer():
        raise QuantityError(f'expected a whole number, got "{value}"')
    return count


_CORNER = Field(_read_corner)
_PRESSURE = quantity("pressure", 1 * PSI, 150 * PSI, "a pressure between 1 and 150 psi")
_TAPING_SCHEMA: Schema = {
    "rollout": Several(_ROLLOUT, MOST_READINGS),
    "pressure": _PRESSURE,
    "temperature": Field(
        parse_temperature, least=230.0, most=480.0, range_text="a temperature of -40 to 400 F"
    ),
    "date": text_field(longest=20),
}
_RACK_TIRE_SCHEMA: Schema = {
    "id": Field(_read_tire_name, required=True),
    **_TAPING_SCHEMA,
    "rollout": Several(replace(_ROLLOUT, required=False), MOST_READINGS),
    "tapings": Entries(_TAPING_SCHEMA, most=200),
    "side": choice(["left", "right", "any"]),
    "corners": Several(_CORNER, 4),
    "compound": text_field(longest=40),
    "offset": text_field(longest=40),
    "heat_cycles": Field(_read_count, least=0.0, most=1000.0, range_text="0 to 1000 cycles"),
    "on_car": _CORNER,
    "scrap": Field(_read_yes),
    "note": text_field(longest=400),
}


def _rack_schema(node: yaml.Node) -> Schema:
    """The schema of a rack file, whose running pressure is one value or one for each corner."""
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    by_corner = any(
        key.value == "running_pressure" and isinstance(value, yaml.MappingNode)
        for key, value in pairs
    )
    required = replace(_PRESSURE, required=True)
    return {
        "name": text_field(required=True),
        "running_pressure": Group(dict.fromkeys(CORNERS, required)) if by_corner else _PRESSURE,
        "growth_per_psi": quantity("tape", 0.0, INCH, "a growth between 0 and 1 in per psi"),
        "tires": Entries(_RACK_TIRE_SCHEMA, MOST_TIRES),
    }


def load_rack(path: str | Path) -> Rack:
    """Read a rack file.

    Raises
    ------
    FileError
        With every fault of the file.
    """
    path = Path(path)
    reader, node = Reader(path), read_yaml(path)
    values = reader.mapping(node, _rack_schema(node))
    if "tires" not in values and "tires" not in reader.lines:
        reader.fault(1, "tires: missing; a list of tires, each with id and rollout")
    entries = values.get("tires", [])
    _check_racked(reader, entries)
    reader.raise_faults()
    pressure = values.get("running_pressure")
    if pressure is not None:
        pressure = Corners(**pressure) if isinstance(pressure, dict) else Corners(*[pressure] * 4)
    growth = values["growth_per_psi"] / PSI if "growth_per_psi" in values else DEFAULT_GROWTH
    return Rack(values["name"], tuple(map(_rack_tire, entries)), pressure, growth)


def _check_racked(reader: Reader, entries: list[dict[str, Any]]) -> None:
    """Faults that show only between the keys of a tire, or between tires."""
    for what, word in (("id", "{} has this id too"), ("on_car", "{} is there too")):
        seen: dict[str, int] = {}
        for i, entry in enumerate(entries):
            value = str(entry.get(what, ""))
            if value.casefold() in seen:
                other = reader.lines[f"tires.{seen[value.casefold()]}"]
                whose = word.format(f"the tire on line {other}")
                reader.fault_at(f"tires.{i}.{what}", f'"{value}": {whose}')
            elif value:
                seen[value.casefold()] = i
    for i, entry in enumerate(entries):
        known = reader.lines
        if f"tires.{i}.rollout" not in known and f"tires.{i}.tapings" not in known:
            reader.fault(known[f"tires.{i}"], f"{entry.get('id', 'this tire')}: rollout: missing; "
                         "such as 87 5/8 in")  # fmt: skip
        for key in ("pressure", "temperature", "date"):
            if key in entry and f"tires.{i}.rollout" not in known:
                reader.fault_at(f"tires.{i}.{key}", "goes with a rollout; put it into its taping")
        if not _allowed_corners(entry):
            reader.fault_at(f"tires.{i}.corners", f"none of them on its side, {entry['side']}")


def _allowed_corners(entry: dict[str, Any]) -> tuple[str, ...]:
    side, named = entry.get("side", "any"), entry.get("corners", CORNERS)
    return tuple(c for c in CORNERS if c in named and (side == "any" or c.startswith(side)))


def _rack_tire(entry: dict[str, Any]) -> RackTire:
    tapings = [entry] if "rollout" in entry else []
    cycles = entry.get("heat_cycles")
    return RackTire(
        name=entry["id"],
        tapings=tuple(_taping(given) for given in tapings + entry.get("tapings", [])),
        corners=_allowed_corners(entry),
        compound=entry.get("compound", ""),
        offset=entry.get("offset", ""),
        heat_cycles=None if cycles is None else int(cycles),
        on_car=entry.get("on_car", ""),
        scrap=entry.get("scrap", False),
        note=entry.get("note", ""),
    )


def _taping(given: dict[str, Any]) -> Taping:
    return Taping(
        readings=given["rollout"],
        pressure=given.get("pressure"),
        temperature=given.get("temperature"),
        date=given.get("date", ""),
    )


# Writing


def track_text(track: Track, remarks: Sequence[str] = ()) -> str:
    """A track file as text; what is at its default is left out."""
    radii = [_in_feet(radius) for radius in track.inside_radius]
    lines = [f"# {remark}" for remark in remarks]
    lines += [
        f"name: {json.dumps(track.name, ensure_ascii=False)}",
        f"inside_radius: [{', '.join(radii)}]   # turns 1-2, turns 3-4, to the inside edge",
        f"straight: {_in_feet(track.straight)}",
        f"width: {_in_feet(track.width)}",
    ]
    if track.bow > 0:
        lines.append(f"bow: {_in_feet(track.bow)}")
    if track.blend != DEFAULT_BLEND:
        lines.append(f"blend: {_in_feet(track.blend)}")
    if track.tolerance is not None:
        radius, straight = track.tolerance.inside_radius, track.tolerance.straight
        lines.append(
            f"tolerance: {{inside_radius: {_in_feet(radius)}, straight: {_in_feet(straight)}}}"
        )
    return "\n".join(lines) + "\n"


def _in_feet(metres: Real) -> str:
    return f"{float(metres) / FOOT:.1f} ft"


def check_new(path: Path, replace_old: bool) -> None:
    """Refuse a file to write that is there already, unless it may be replaced.

    Raises
    ------
    FileError
    """
    if path.exists() and not replace_old:
        raise FileError([f"{path}: there is a file already; --replace puts the new one there"])
    if not path.parent.is_dir():
        raise FileError([f"{path}: cannot be written: no folder {path.parent}"])


def write_new(path: Path, data: str, replace_old: bool = False) -> None:
    """Write a file whole, where there is none unless the old one may be replaced."""
    check_new(path, replace_old)
    write_whole(path, data)


def points_text(x: FloatArray, y: FloatArray) -> str:
    """A path as a CSV that `load_points` reads."""
    rows = (f"{a:.3f},{b:.3f}" for a, b in zip(x, y, strict=True))
    return "\n".join(["x (m),y (m)", *rows]) + "\n"


def edit_yaml(path: Path, changes: Mapping[str, str], *, keep_old: bool = True) -> Path | None:
    """Change values of a YAML file and nothing else: comments, order and spacing stay.

    Parameters
    ----------
    path : Path
    changes : mapping of str to str
        New text by dotted key, such as ``{"bite_per_inch.rear": "9.6 lb"}``; a number picks an
        item of a list. A key that is not there yet is added where its fellows are, and the number
        after the last item adds one.
    keep_old : bool
        False where nothing is replaced, so that the old file is no loss.

    Returns
    -------
    Path or None
        Where the old file is kept, beside the new one; None when it is not.

    Raises
    ------
    FileError
        If the file cannot be read, the edit cannot be made without touching something else, or
        it cannot be written; the file is then as it was.
    """
    before = path.read_bytes() if path.is_file() else b""
    wanted = _plain(read_yaml(path))
    text = read_text(path)
    for key, value in changes.items():
        text = _edited(path, text, key.split("."), value)
        _put(wanted, key.split("."), value)
    if _plain_or_none(text) != wanted:
        raise FileError([f"{path}: cannot be edited safely; change {', '.join(changes)} by hand"])
    mark = b"\xef\xbb\xbf" if before.startswith(b"\xef\xbb\xbf") else b""
    kept = _free_name(path) if keep_old else None
    if kept is not None:
        write_whole(kept, before)
    write_whole(path, mark + text.encode())
    if path.read_bytes() != mark + text.encode():
        where = f"; the old file is {kept}" if kept else ""
        raise FileError([f"{path}: did not read back as written{where}"])
    return kept


def _free_name(path: Path) -> Path:
    """A name beside the file for its old state that no file has yet."""
    names = itertools.chain(
        [f"{path.name}.old"], (f"{path.name}.old{n}" for n in itertools.count(2))
    )
    return next(beside for name in names if not (beside := path.with_name(name)).exists())


def _compose(text: str) -> yaml.Node:
    """The node tree with marks that count characters."""
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    if node is None:
        raise yaml.YAMLError("empty")
    return node


def _plain(node: yaml.Node) -> Any:
    """A node tree as dicts, lists and the text of its scalars."""
    if isinstance(node, yaml.MappingNode):
        return {str(key.value): _plain(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [_plain(item) for item in node.value]
    return node.value


def _plain_or_none(text: str) -> Any:
    try:
        return _plain(_compose(text))
    except yaml.YAMLError:
        return None


def _put(tree: Any, key: list[str], value: str) -> None:
    """Put a value into what `_plain` made."""
    for name in key[:-1]:
        tree = tree[int(name)] if isinstance(tree, list) else tree.setdefault(name, {})
    new = _plain_or_none(value)
    if isinstance(tree, list):
        at = int(key[-1])
        tree[at : at + 1] = [new]
    else:
        tree[key[-1]] = new


def _edited(path: Path, text: str, key: list[str], value: str) -> str:
    """The text with one value replaced, or added to the innermost group that is there."""
    node = _compose(text)
    for depth, name in enumerate(key):
        inner = _child(node, name)
        if (
            inner is None
            and isinstance(node, yaml.SequenceNode)
            and key[depth:] == [str(len(node.value))]
        ):
            return _with_item(text, node, value)
        if inner is None:
            return _with_added(path, text, node, key[depth:], value)
        node = inner
    if not isinstance(node, yaml.ScalarNode):
        raise FileError([f"{path}:{node.start_mark.line + 1}: {'.'.join(key)}: expected one value"])
    start, end = node.start_mark.index, node.end_mark.index
    space = " " if start == end else ""
    return text[:start] + space + value + text[end:]


def _child(node: yaml.Node, name: str) -> yaml.Node | None:
    if isinstance(node, yaml.MappingNode):
        return next((value for key, value in node.value if key.value == name), None)
    if isinstance(node, yaml.SequenceNode) and name.isdecimal() and int(name) < len(node.value):
        item: yaml.Node = node.value[int(name)]
        return item
    return None


def _with_added(path: Path, text: str, node: yaml.Node, key: list[str], value: str) -> str:
    """The text with a key added to a mapping: inside its braces, or on a line after its last."""
    if not isinstance(node, yaml.MappingNode):
        line = node.start_mark.line + 1
        raise FileError([f"{path}:{line}: {key[0]}: expected a group of keys to put it into"])
    for name in reversed(key[1:]):
        value = f"{{{name}: {value}}}"
    entry = f"{key[0]}: {value}"
    if node.flow_style:
        return _inside(text, node, entry)
    return _on_a_line(text, node, " " * node.value[0][0].start_mark.column + entry)


def _with_item(text: str, node: yaml.SequenceNode, value: str) -> str:
    """The text with an item added to a list: inside its brackets, or on a line after its last."""
    if node.flow_style:
        return _inside(text, node, value)
    return _on_a_line(text, node, f"{' ' * node.start_mark.column}- {value}")


def _inside(text: str, node: yaml.CollectionNode, entry: str) -> str:
    """The text with an entry before the closing bracket, or before a comment that stands there."""
    close = node.end_mark.index - 1
    body = text[:close].rstrip()
    if not node.value:
        return body + entry + text[close:]
    last = node.value[-1]
    end = (last[1] if isinstance(last, tuple) else last).end_mark.index
    if "#" in text[end:close]:
        return f"{text[:end]}, {entry}{text[end:]}"
    return body + (" " if body.endswith(",") else ", ") + entry + text[close:]


def _on_a_line(text: str, node: yaml.CollectionNode, line: str) -> str:
    stop = text.find("\n", _end_of_content(node))
    newline = "\r\n" if "\r\n" in text else "\n"
    if stop < 0:
        return f"{text}{newline}{line}{newline}"
    return f"{text[: stop + 1]}{line}{newline}{text[stop + 1 :]}"


def record_taping(path: str | Path, tire: int, readings: list[str], **when: str) -> None:
    """Add a taping to a tire of a rack file, as it was typed, and change nothing else.

    Parameters
    ----------
    path : str or Path
    tire : int
        Its place in the file, from 0.
    readings : list of str
        Rollouts with their unit.
    **when : str
        ``pressure``, ``temperature`` and ``date``, where known.

    Raises
    ------
    QuantityError
        If a value is out of the range of a rack file.
    FileError
        As `edit_yaml`.
    """
    path = Path(path)
    for text in readings:
        _check_typed("rollout", _ROLLOUT, text)
    for key, text in when.items():
        wanted = _TAPING_SCHEMA[key]
        assert isinstance(wanted, Field)
        _check_typed(key, wanted, text)
    if len(readings) > MOST_READINGS:
        raise QuantityError(f"expected at most {MOST_READINGS} readings, got {len(readings)}")
    rollout = ", ".join(map(_yaml_text, readings))
    parts = [f"rollout: [{rollout}]", *(f"{key}: {_yaml_text(text)}" for key, text in when.items())]
    taping = "{" + ", ".join(parts) + "}"
    earlier = _plain(read_yaml(path))["tires"][tire].get("tapings")
    key = f"tires.{tire}.tapings"
    change = {key: f"[{taping}]"} if earlier is None else {f"{key}.{len(earlier)}": taping}
    edit_yaml(path, change, keep_old=False)


def _check_typed(key: str, wanted: Field, text: str) -> None:
    try:
        outside = wanted.outside(wanted.read(text))
    except QuantityError as error:
        raise QuantityError(f"{key}: {error}") from None
    if outside:
        raise QuantityError(f'{key}: expected {wanted.range_text}, got "{text}"')


def _yaml_text(text: str) -> str:
    """A text as one YAML value inside brackets: quoted unless it is plain beyond doubt."""
    return text if re.fullmatch(r"\w[\w ./-]*", text) else json.dumps(text, ensure_ascii=False)


def _end_of_content(node: yaml.Node) -> int:
    """Where the last value of a node ends; a block's own end mark lies after what follows it."""
    if isinstance(node, yaml.CollectionNode) and node.value and not node.flow_style:
        last = node.value[-1]
        return _end_of_content(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file whole or not at all: beside it first, then in its place.

    Raises
    ------
    FileError
        If it cannot be written; what was there is still there.
    """
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data.encode() if isinstance(data, str) else data)
                file.flush()
                os.fsync(file.fileno())
            mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
            Path(beside).chmod(mode)
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise FileError([f"{path}: cannot be written: {error.strerror or error}"]) from None


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, if it is not there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError([f"{folder}: cannot be made: {error.strerror or error}"]) from None


# Demo data

DEMO_FOLDERS = ("tracks", "cars")


def demo_folder() -> Path:
    """Where the demo tracks and cars lie: beside the package, or inside it once installed."""
    package = Path(__file__).resolve().parent
    installed = package / "demo"
    return installed if installed.is_dir() else package.parent


def copy_demo_data(folder: Path) -> list[Path]:
    """Copy the demo tracks and cars into a folder; what is there already is not touched.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    FileError
        If one of them is there already or cannot be written; then none is written.
    """
    sources = [path for part in DEMO_FOLDERS for path in sorted((demo_folder() / part).rglob("*"))]
    copies = {
        path: folder / path.relative_to(demo_folder())
        for path in sources
        if path.is_file() and path.suffix in (".yaml", ".csv", ".gpx")
    }
    there = [copy for copy in copies.values() if copy.exists()]
    if there:
        raise FileError([f"{copy}: is there already; choose an empty folder" for copy in there])
    for path, copy in copies.items():
        make_folder(copy.parent)
        write_whole(copy, path.read_bytes())
    return list(copies.values())
