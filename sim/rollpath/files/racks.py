"""Rack files: the tires a racer owns, and a taping added to one of them."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import PRESSURE, ROLLOUT
from rollpath.files.reading import Reader, read_sort
from rollpath.files.schema import (
    Either,
    Entries,
    Field,
    Schema,
    Several,
    choice,
    corner_field,
    quantity,
    read_number,
    text_field,
)
from rollpath.files.slips import rack_slips
from rollpath.tires.rack import DEFAULT_GROWTH, Rack, RackTire, Taping
from rollpath.units import INCH, PSI, QuantityError, parse_temperature, per_psi

MOST_TIRES = 200
"""Tires of one rack: beyond this, choosing takes longer than anyone waits."""
MOST_READINGS = 20


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
    count = read_number(value)
    if not count.is_integer():
        raise QuantityError(f'expected a whole number, got "{value}"')
    return count


_LIMITS = replace(
    PRESSURE, many=2, default="none stated",
    worth="least and most that the maker allows; nothing outside is advised",
)  # fmt: skip
_ROLLOUT = replace(
    ROLLOUT, required=False, default=None,
    worth="taped on the crown, one reading or several of the same tire; three catch a slip",
)  # fmt: skip
TAPING_SCHEMA: Schema = {
    "rollout": Several(replace(_ROLLOUT, required=True), MOST_READINGS),
    "pressure": replace(
        PRESSURE, default="as raced", worth="cold, as it was taped; lets it be corrected"
    ),
    "temperature": Field(
        parse_temperature, least=230.0, most=480.0,
        range_text="a temperature between -45 and 404 F", kind="temperature", default="cold",
        worth="of the tire when it was taped; above 110 F it counts as hot",
    ),
    "date": text_field(longest=20, worth="the day it was taped"),
}  # fmt: skip
RACK_TIRE_SCHEMA: Schema = {
    "id": Field(
        _read_tire_name, required=True, range_text="at most 20 characters, no comma",
        worth="what is chalked on it",
    ),
    **TAPING_SCHEMA,
    "rollout": Several(_ROLLOUT, MOST_READINGS),
    "tapings": Entries(TAPING_SCHEMA, most=200),
    "side": choice(["left", "right", "any"], default="any", worth="the side it may run on"),
    "corners": Several(corner_field("the corners it may go to"), 4),
    "compound": text_field(longest=40, worth="tires of one axle are best alike"),
    "offset": text_field(longest=40, worth="offset group of the wheel; best alike on an axle"),
    "heat_cycles": Field(
        _read_count, least=0.0, most=1000.0, range_text="a whole number between 0 and 1000",
        worth="how often it has been hot and cold again",
    ),
    "on_car": corner_field("the corner it is on now"),
    "scrap": Field(
        _read_yes, range_text="yes or no", default="no", worth="yes keeps it out of every set"
    ),
    "note": text_field(longest=400, worth="anything else"),
    "pressure_limits": _LIMITS,
}  # fmt: skip
_RUNNING = replace(
    PRESSURE, default="as taped",
    worth="cold pressure raced at, one or one for each corner; rollouts are corrected to it",
)  # fmt: skip
RACK_SCHEMA: Schema = {
    "name": text_field(required=True, worth="whose rack it is"),
    "running_pressure": Either(_RUNNING, dict.fromkeys(CORNERS, replace(_RUNNING, required=True))),
    "pressure_limits": _LIMITS,
    "growth_per_psi": quantity(
        "tape", 0.0, INCH, "a growth between 0 and 1 in", default=DEFAULT_GROWTH * PSI,
        worth="how much a rollout grows with a psi, for tires that show none of their own",
    ),
    "tires": Entries(RACK_TIRE_SCHEMA, MOST_TIRES),
}  # fmt: skip


# Reading


def load_rack(path: str | Path) -> Rack:
    """Read a rack file.

    Raises
    ------
    FileError
        With every fault of the file; `DoubtfulError` when values are only doubtful; see `slips`.
    """
    reader, values = read_sort(path, "rack", RACK_SCHEMA)
    if "tires" not in values and "tires" not in reader.lines:
        reader.fault(1, "tires: missing; a list of tires, each with id and rollout")
    entries = values.get("tires", [])
    _check_racked(reader, entries)
    reader.raise_faults()
    pressure = values.get("running_pressure")
    if pressure is not None:
        pressure = Corners(**pressure) if isinstance(pressure, dict) else Corners.every(pressure)
    _check_limits(reader, values, entries, pressure)
    reader.raise_faults()
    per = values.get("growth_per_psi")
    growth = DEFAULT_GROWTH if per is None else float(per_psi(per))
    rack = Rack(
        values["name"], tuple(map(_rack_tire, entries)), pressure, growth,
        values.get("pressure_limits"),
    )  # fmt: skip
    reader.raise_slips(rack_slips(rack))
    return rack


def _check_limits(
    reader: Reader,
    values: dict[str, Any],
    entries: list[dict[str, Any]],
    pressure: Corners[float] | None,
) -> None:
    """Limits the right way round, and no pressure outside them: what the maker says stands."""
    limits = values.get("pressure_limits")
    stated = [("pressure_limits", limits)]
    stated += [
        (f"tires.{i}.pressure_limits", e.get("pressure_limits")) for i, e in enumerate(entries)
    ]
    for key, pair in stated:
        if pair is not None and pair[0] >= pair[1]:
            reader.fault_at(key, "expected the lower limit first, such as [8 psi, 24 psi]")
    if pressure is None:
        return
    if limits is not None and _outside(limits, *pressure):
        reader.fault_at("running_pressure", "outside the pressure_limits of the rack")
    for i, entry in enumerate(entries):
        own, corner = entry.get("pressure_limits"), entry.get("on_car")
        if own is not None and corner and _outside(own, getattr(pressure, corner)):
            reader.fault_at(
                f"tires.{i}.pressure_limits",
                f"the running pressure of the {corner} is outside them",
            )


def _outside(limits: tuple[float, float], *pressures: float) -> bool:
    return limits[0] < limits[1] and any(
        not limits[0] - 1.0 <= one <= limits[1] + 1.0 for one in pressures
    )


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
                         "such as 85 5/8 in")  # fmt: skip
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
        pressure_limits=entry.get("pressure_limits"),
    )


def _taping(given: dict[str, Any]) -> Taping:
    return Taping(
        readings=given["rollout"],
        pressure=given.get("pressure"),
        temperature=given.get("temperature"),
        date=given.get("date", ""),
    )
