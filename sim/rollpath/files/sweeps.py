"""Sweeps by numbers: one key of a track or car file run through a range."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from rollpath.files.cars import CAR_SCHEMA
from rollpath.files.schema import Either, Entries, Field, Group, Schema, Several, hint
from rollpath.files.tracks import track_schema
from rollpath.track import CONDITIONS
from rollpath.units import FloatArray, QuantityError

MOST_CASES = 2000
"""Of one sweep by numbers."""


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
    numeric = {**_numeric_fields(track_schema(list(CONDITIONS)), "track"),
               **_numeric_fields(CAR_SCHEMA, "car")}  # fmt: skip
    if key not in numeric:
        advice = hint(key, numeric, "; see the track and car files for the keys")
        raise QuantityError(f'no number "{key}" to sweep{advice}')
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
        if isinstance(wanted, Either):
            wanted = wanted.field
        if isinstance(wanted, Several | Entries):
            continue
        if not isinstance(wanted, Field):
            found.update(_numeric_fields(wanted, of, f"{inside}{key}."))
        elif wanted.kind and (wanted.many == 1 or f"{inside}{key}" in _IN_PAIRS):
            found[f"{inside}{key}"] = (of, wanted)
    return found
