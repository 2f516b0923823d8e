"""The page `guide files`, written from the schemas: every key, its range, its default, its worth.

``python -m rollpath.files.reference > sim/rollpath/guide/files.md`` writes it anew; a test holds
the page to what is written here.
"""

import math
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from rollpath.book.run import ENTRIES, Entry
from rollpath.files.cars import CAR_SCHEMA
from rollpath.files.logs import RUN_COLUMNS
from rollpath.files.plans import PLAN_SCHEMA
from rollpath.files.racks import RACK_SCHEMA
from rollpath.files.schema import Either, Entries, Field, Group, Several, Wanted
from rollpath.files.sessions import SESSION_SCHEMA
from rollpath.files.tracks import track_schema
from rollpath.files.trailers import TRAILER_SCHEMA
from rollpath.screen import Screen
from rollpath.typical import TYPICAL
from rollpath.units import KINDS

WIDTH = 80
_INTRODUCTION = """\
# The files

Everything lies in plain text: YAML for what a thing is, CSV for tables. A track
and a car are this much, and less will do:

```yaml
name: Long Meadow
inside_radius: 190 ft
straight: 340 ft
bank: 10 deg
```

```yaml
name: Number 12
rear: {left: {rollout: 84 in}, right: {rollout: 86 1/4 in}}
weights: {lf: 800 lb, rf: 730 lb, lr: 825 lb, rr: 770 lb}
```

What a car file leaves out is typical, the screen says so, and the give-or-take
is wider for it. Only `name` is needed there; a track also needs `inside_radius`
and `straight`.

## How to write a value

- With its unit: `86 3/8 in`, `86-3/8"`, `2194 mm`, `1,980 ft`, `3/8 mile`,
  `8 deg`.
- Where the trade knows only one unit a number alone is read in it: taped
  lengths in inches, weights lb, pressures psi, times s, tire temperatures F,
  jack turns. Elsewhere a number alone is refused.
- Capitals do not matter. `lf rf lr rr` stand for left_front and so on. `bottom`
  is low; `top` and `cushion` are high.
- What looks like a slip is told before any answer: pads in kg, centimetres,
  two digits changed over, a diameter for a radius. If it is right, say `--yes`.
- A file is UTF-8 and at most 1 MiB (a log 256 MiB), without YAML anchors or
  tags. Unknown keys are faults. At most twenty faults are told at once.
- A file that rollpath edits is locked meanwhile and written whole or not at
  all; your comments stay.
"""
_SECTIONS = {
    "Track": "A YAML file. `conditions` holds heavy, tacky, rubbered or slick, where the "
    "track differs from the usual; here slick stands for each of them.",
    "Car": "A YAML file. `springs` may be left out whole.",
    "Rack": "A YAML file; `tires` is a list. A tire has a rollout, or a list of tapings, oldest "
    "first.",
    "Tonight": "`trailer.yaml`, kept by `rollpath tonight`, `bolt`, `air` and `pads`; here "
    "left_front stands for each corner.",
    "Plan": "`plan.yaml` in the trailer, written by `rollpath plan`, read by `rollpath bolt "
    "--plan RUN`; `runs` is a list of up to twelve, each with all four corners; here left_front "
    "stands for each. What cannot stand is told with its line; `rollpath plan` writes it anew.",
    "Scale sessions": "A CSV, one weighing a row. A heading may state the unit of its column: "
    "`left_rear_weight (lb)`.",
    "Logs": "A CSV with a heading. A log needs a time, and either a position or a speed; "
    "columns that are not known are passed over. At most 400 columns. Position logs may be "
    "GPX 1.1 too.",
    "Runs": "What a page of the notebook holds, and the columns of its export and import. Only "
    "when, track and car are needed; the rest may be unknown.",
}


def reference_page() -> str:
    """The whole page, as markdown of at most 80 columns."""
    track = track_schema(["slick"])
    keys = {
        "Track": _keys(track),
        "Car": _keys(CAR_SCHEMA),
        "Rack": _keys(RACK_SCHEMA),
        "Tonight": ((key, one) for key, one in _keys(TRAILER_SCHEMA) if "right_" not in key
                    and "left_rear" not in key),
        "Plan": ((key, one) for key, one in _keys(PLAN_SCHEMA) if "right_" not in key
                 and "left_rear" not in key),
        "Scale sessions": _keys(SESSION_SCHEMA),
    }  # fmt: skip
    parts = [_INTRODUCTION]
    for title, told in _SECTIONS.items():
        parts.append(f"\n## {title}\n\n{textwrap.fill(told, WIDTH)}\n\n")
        if title == "Logs":
            parts += [_entry(f"`{key}`", *_column(one)) for key, one in RUN_COLUMNS.items()]
        elif title == "Runs":
            parts += [_entry(f"`{one.key}`", *_run_key(one)) for one in ENTRIES]
        else:
            parts += _told(keys[title], of_car=title == "Car")
    return "".join(parts)


def _told(keys: Iterator[tuple[str, Field]], of_car: bool) -> list[str]:
    lines, before = [], ""
    for key, one in keys:
        facts = [_range(one), _default(key, one, of_car)]
        worth = one.worth if one.worth != before or not before else "as the one above"
        lines.append(_entry(f"`{key}`", "; ".join(filter(None, facts)), worth))
        before = one.worth
    return lines


def _keys(schema: Mapping[str, Wanted], inside: str = "") -> Iterator[tuple[str, Field]]:
    """Every field of a schema by its dotted key."""
    for key, wanted in schema.items():
        name = f"{inside}{key}"
        if isinstance(wanted, Several | Either):
            yield name, wanted.field
        if isinstance(wanted, Field):
            yield name, wanted
        elif isinstance(wanted, Group | Entries | Either):
            yield from _keys(wanted.schema, f"{name}.")
        elif isinstance(wanted, Mapping):
            yield from _keys(wanted, f"{name}.")


def _entry(key: str, facts: str, worth: str) -> str:
    text = f"- {key}: {facts}" + (f". {worth[0].upper()}{worth[1:]}." if worth else ".")
    return textwrap.fill(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False) + "\n"


def _range(one: Field) -> str:
    if one.kind == "number":
        return f"{one.least:g} to {one.most:g}"
    if one.kind == "temperature" or not math.isfinite(one.most) or one.kind not in KINDS:
        return one.range_text
    unit = KINDS[one.kind].trade
    low, high = (float(f"{end / KINDS[one.kind].units[unit]:.3g}") for end in (one.least, one.most))
    pair = ", one or two of them" if one.many == 2 else ""
    return f"{low:g} to {high:g} {unit}{pair}"


def _default(key: str, one: Field, of_car: bool) -> str:
    if one.required:
        return "needed"
    if one.default is None and of_car and key in TYPICAL:
        return f"typical {_shown(TYPICAL[key].value, one.kind)}"
    if one.default is None:
        return "may be left out"
    if isinstance(one.default, tuple):
        return "default " + " and ".join(_shown(end, one.kind) for end in one.default)
    shown = one.default if isinstance(one.default, str) else _shown(one.default, one.kind)
    return f"default {shown}"


def _shown(value: Any, kind: str) -> str:
    if kind == "tape":
        return Screen().tape(value)
    if kind not in KINDS:
        return f"{value:.3g}"
    return f"{value / KINDS[kind].units[KINDS[kind].trade]:.4g} {KINDS[kind].trade}"


def _column(one: Field) -> tuple[str, str]:
    unit = f"in {one.unit} when its heading states no unit" if one.unit else "its heading states "
    unit += "" if one.unit else f"the unit, such as {KINDS[one.kind].trade}"
    return f"headed {', '.join(one.names)}; {unit}", ""


def _run_key(one: Entry) -> tuple[str, str]:
    if one.words:
        return f"one of {', '.join(one.words)}", ""
    if one.unit:
        return f"{one.least:g} to {one.most:g}", ""
    return ("a time such as 2026-05-02T21:40" if one.kind == "moment" else
            f"at most {one.longest} characters"), ""  # fmt: skip


if __name__ == "__main__":
    print(reference_page(), end="")
