"""Track files: what one may hold, and back to text."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollpath.files.reading import read_sort
from rollpath.files.schema import (
    Either,
    Field,
    Schema,
    Wanted,
    choice,
    number,
    quantity,
    text_field,
)
from rollpath.files.slips import track_slips
from rollpath.screen import feet
from rollpath.track import (
    BANK_TOLERANCE_SHARE,
    CONDITIONS,
    DEFAULT_BLEND,
    DEFAULT_TOLERANCE_SHARE,
    LEAST_BAND,
    MOST_BAND,
    Bank,
    Condition,
    GripBands,
    Tolerance,
    Track,
    TrackError,
    check_track,
    typical_width,
)
from rollpath.units import DEGREE, FOOT, Real

if TYPE_CHECKING:
    from rollpath.survey.result import Survey

GROOVE_WORDS = {"bottom": "low", "top": "high", "cushion": "high"}
"""Other names that the trade has for a groove."""
_CONDITIONS_OWN = "the surface's own"
_GRIP = number(
    0.05, 3.0, "a grip between 0.05 and 3", default=_CONDITIONS_OWN,
    worth="greatest sideways force per pound of load; more grip wants more stagger",
)  # fmt: skip
_ANGLE = quantity(
    "angle", -10 * DEGREE, 45 * DEGREE, "an angle between -10 and 45 deg", default=0.0,
    worth="higher outside; a banked corner loads the tires more",
)  # fmt: skip
_BAND = replace(
    _GRIP, least=LEAST_BAND, most=MOST_BAND, required=True, default=None,
    range_text=f"a grip between {LEAST_BAND:g} and {MOST_BAND:g}",
    worth="grip at this place across the track, straight lines between the three",
)  # fmt: skip
_CONDITION_SCHEMA: Schema = {
    "grip": Either(_GRIP, dict.fromkeys(("inside", "middle", "outside"), _BAND)),
    "slip_stiffness": number(
        1.0, 40.0, "a slip stiffness between 1 and 40", default=_CONDITIONS_OWN,
        worth="how hard a tire fights being dragged: what a miss costs",
    ),
    "groove": choice(
        ["low", "middle", "high", "rounded", "diamond", "fastest"], GROOVE_WORDS,
        default=_CONDITIONS_OWN,
        worth="the line driven; a wider line wants less stagger",
    ),
}  # fmt: skip


def _tolerance(kind: str, most: float, range_text: str, share: float) -> Field:
    return quantity(
        kind, 0.0, most, range_text, default=f"{share:.0%} of it",
        worth="how far off the measurement may be, nine times in ten; widens the give-or-take",
    )  # fmt: skip


_LENGTH_OFF = "a tolerance between 0 and 3000 ft"
_TOLERANCE_SCHEMA: Schema = {
    "inside_radius": _tolerance("length", 3000 * FOOT, _LENGTH_OFF, DEFAULT_TOLERANCE_SHARE),
    "straight": _tolerance("length", 3000 * FOOT, _LENGTH_OFF, DEFAULT_TOLERANCE_SHARE),
    "bank": _tolerance(
        "angle", 20 * DEGREE, "a tolerance between 0 and 20 deg", BANK_TOLERANCE_SHARE
    ),
}


def track_schema(conditions: list[str]) -> Schema:
    return {
        "name": text_field(required=True, worth="what the track is called"),
        "inside_radius": quantity(
            "length", 15 * FOOT, 2000 * FOOT, "a radius between 15 and 2000 ft",
            required=True, many=2,
            worth="of the corners, to the inside edge: one value, or turns 1-2 and turns 3-4; "
            "what the stagger follows most",
        ),
        "straight": quantity(
            "length", 0.0, 3000 * FOOT, "a length between 0 and 3000 ft", required=True,
            worth="each straight, along the inside edge, corner end to corner end",
        ),
        "width": quantity(
            "length", 8 * FOOT, 300 * FOOT, "a width between 8 and 300 ft",
            default="typical, 50 ft",
            worth="inside edge to outside edge: how far a line can be rounded out",
        ),
        "bow": quantity(
            "length", 0.0, 1000 * FOOT, "a bow between 0 and 1000 ft", default=0.0,
            worth="how far the middle of each straight stands out; 0 is a paper clip",
        ),
        "bank": Either(_ANGLE, {"corners": _ANGLE, "straights": _ANGLE}),
        "blend": quantity(
            "length", 0.0, 1000 * FOOT, "a blend between 0 and 1000 ft", default=DEFAULT_BLEND,
            worth="distance over which the turning comes in and goes out",
        ),
        "conditions": dict.fromkeys(conditions, _CONDITION_SCHEMA),
        "tolerance": _TOLERANCE_SCHEMA,
    }  # fmt: skip


def load_track(path: str | Path) -> Track:
    """Read a track file.

    Raises
    ------
    FileError
        With every fault of the file; `DoubtfulError` when values are only doubtful; see `slips`.
    """
    return track_from_values(load_track_values(path))


def load_track_values(path: str | Path) -> dict[str, Any]:
    """The values of a track file in SI, checked; see `load_track`."""
    reader, values = read_sort(path, "track", track_schema(list(CONDITIONS)))
    if isinstance(values.get("bank"), float):
        values["bank"] = {"corners": values["bank"]}
    reader.raise_faults()
    try:
        check_track(track_from_values(values))
    except TrackError as error:
        reader.fault_at(error.key, str(error))
    reader.raise_faults()
    reader.raise_slips(track_slips(track_from_values(values)))
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


def check_surveyed(survey: "Survey") -> None:
    """Hold what a survey found to the ranges of a track file.

    Raises
    ------
    SurveyError
        Naming the first size out of range.
    """
    from rollpath.survey.log import SurveyError

    sizes = ("inside_radius", "straight", "width", "bow", "blend")
    found = {key: getattr(survey, key) for key in sizes}
    try:
        check_measurements({key: value for key, value in found.items() if value is not None})
    except TrackError as error:
        raise SurveyError("no track", detail=f"{error.key}: {error}") from None


def _check_measurement(key: str, value: Any, wanted: Wanted) -> None:
    """Hold one value, or those inside it, to the schema; a fault names the outermost key."""
    if isinstance(wanted, Either):
        wanted = wanted.schema if isinstance(value, dict) else wanted.field
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
        width=values.get("width", typical_width(values["inside_radius"])),
        bow=values.get("bow", 0.0),
        bank=Bank(**values.get("bank", {})),
        blend=values.get("blend", DEFAULT_BLEND),
        conditions=conditions,
        assumed=() if "width" in values else ("width",),
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
    import json

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
    return f"{float(feet(metres)):.1f} ft"
