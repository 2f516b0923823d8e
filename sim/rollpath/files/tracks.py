"""Track files: what one may hold, and back to text."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from rollpath.files.schema import (
    Either,
    Field,
    Reader,
    Schema,
    Wanted,
    check_sort,
    choice,
    number,
    quantity,
    read_yaml,
    text_field,
)
from rollpath.track import (
    CONDITIONS,
    DEFAULT_BLEND,
    LEAST_BAND,
    MOST_BAND,
    Bank,
    Condition,
    GripBands,
    Tolerance,
    Track,
    TrackError,
    check_track,
)
from rollpath.units import DEGREE, FOOT, Real

_GRIP = number(0.05, 3.0, "a grip between 0.05 and 3")
_BAND = replace(
    number(LEAST_BAND, MOST_BAND, f"a grip between {LEAST_BAND:g} and {MOST_BAND:g}"),
    required=True,
)
_ANGLE = quantity("angle", -10 * DEGREE, 45 * DEGREE, "an angle between -10 and 45 deg")
_NOT_NEGATIVE = "a length of 0 or more, up to 3000 ft"
_CONDITION_SCHEMA: Schema = {
    "grip": Either(_GRIP, dict.fromkeys(("inside", "middle", "outside"), _BAND)),
    "slip_stiffness": number(1.0, 40.0, "a slip stiffness between 1 and 40 per unit load"),
    "groove": choice(["low", "middle", "high", "rounded", "diamond"]),
}


def track_schema(conditions: list[str]) -> Schema:
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
    node = read_yaml(reader.path)
    check_sort(reader.path, node, "track")
    values = reader.mapping(node, track_schema(list(CONDITIONS)))
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
    for key, wanted in track_schema([]).items():
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
    grip = given.get("grip")
    if isinstance(grip, dict):
        given = {**given, "grip": GripBands(**grip)}
    return Condition(**{**vars(CONDITIONS[name]), **given})


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
