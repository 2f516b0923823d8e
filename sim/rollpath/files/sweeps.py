"""Sweeps by numbers: one key of a track or car file run through a range."""

import numpy as np

from rollpath.compare import IN_PAIRS, Sweep
from rollpath.files.cars import CAR_SCHEMA
from rollpath.files.schema import Either, Entries, Field, Group, Schema, Several, hint
from rollpath.files.tracks import track_schema
from rollpath.track import CONDITIONS
from rollpath.units import QuantityError

MOST_CASES = 2000
"""Of one sweep by numbers."""


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
            if key == "bank":  # its one value is the corners': they are swept by name
                found.update(_numeric_fields(wanted.schema, of, f"{inside}{key}."))
                continue
            wanted = wanted.field
        if isinstance(wanted, Several | Entries):
            continue
        if not isinstance(wanted, Field):
            found.update(_numeric_fields(wanted, of, f"{inside}{key}."))
        elif wanted.kind and (wanted.many == 1 or f"{inside}{key}" in IN_PAIRS):
            found[f"{inside}{key}"] = (of, wanted)
    return found
