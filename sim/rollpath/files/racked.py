"""A rack file changed by hand: a tire taped, added, put right or taken away, and nothing else.

Tires go by what is chalked on them, looked for while the file is locked, so that two people who
write at once never tape each other's tire.
"""

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rollpath.files.cars import ROLLOUT
from rollpath.files.racks import MOST_READINGS, RACK_TIRE_SCHEMA, TAPING_SCHEMA, load_rack
from rollpath.files.reading import read_yaml
from rollpath.files.schema import Field, FileError, Several
from rollpath.files.writing import (
    check_text,
    edit_locked,
    edit_yaml,
    locked,
    plain,
    write_locked,
)
from rollpath.units import QuantityError, with_unit

CHANGED = "somebody changed {} since this page was opened; look at it again"


def record_taping(path: str | Path, tire: str, readings: Sequence[str], **when: str) -> None:
    """Add a taping to a tire of a rack file, as it was typed, and change nothing else.

    Parameters
    ----------
    path : str or Path
    tire : str
        What is chalked on it; a tire that the rack lacks is added.
    readings : sequence of str
        Rollouts as typed; inches where no unit stands.
    **when : str
        ``pressure``, ``temperature`` and ``date``, where known.

    Raises
    ------
    QuantityError
        If a value is out of the range of a rack file.
    FileError
        As `edit_yaml`.
    """
    taping = _taping_text(tire, readings, when)

    def added(rack: Any) -> dict[str, str | None]:
        at = _place(rack, tire)
        if at is None:
            return {f"tires.{len(rack['tires'])}": f"{{id: {_text(tire)}, tapings: [{taping}]}}"}
        earlier, key = rack["tires"][at].get("tapings"), f"tires.{at}.tapings"
        return {key: f"[{taping}]"} if earlier is None else {f"{key}.{len(earlier)}": taping}

    edit_yaml(Path(path), added, keep_old=False)


def add_tire(
    path: Path, tire: str, readings: Sequence[str], told: Mapping[str, str], name: str
) -> None:
    """Add a tire to a rack file; the file is made where there is none.

    Parameters
    ----------
    path : Path
    tire : str
        What is chalked on it.
    readings : sequence of str
        Rollouts as typed; inches where no unit stands.
    told : mapping of str to str
        ``pressure``, ``temperature`` and ``date`` of the taping; ``side`` and ``note``.
    name : str
        Of the rack, where it is made.

    Raises
    ------
    QuantityError
        If a value is out of the range of a rack file.
    FileError
        If there is such a tire, the rack could not be read with it, or as `edit_yaml`.
    """
    when = {key: text for key, text in told.items() if key in TAPING_SCHEMA}
    more = _checked({key: text for key, text in told.items() if key not in TAPING_SCHEMA})
    taping = _taping_text(tire, readings, when)
    parts = [f"id: {_text(tire)}", *(f"{key}: {text}" for key, text in more.items())]
    entry = "{" + ", ".join([*parts, f"tapings: [{taping}]"]) + "}"

    def added(rack: Any) -> dict[str, str | None]:
        if _place(rack, tire) is not None:
            raise FileError([f"there is a tire {tire} on the rack already"])
        return {f"tires.{len(rack['tires'])}": entry}

    with locked(path) as file:
        if file.exists():
            edit_locked(path, file, added, keep_old=False, check=load_rack)
            return
        text = f"name: {_text(name)}\ntires:\n  - {entry}\n"
        check_text(path, text, load_rack)
        write_locked(file, text)


def correct_tire(path: Path, tire: str, told: Mapping[str, str], seen: str) -> Path | None:
    """Put right what a rack file says of a tire.

    Parameters
    ----------
    path : Path
    tire : str
        What is chalked on it.
    told : mapping of str to str
        As typed: ``rollout`` and ``pressure`` of its newest taping; ``side``, ``scrap``, ``note``.
    seen : str
        `tire_mark` of what was looked at.

    Returns
    -------
    Path or None
        Where the file is kept as it was; None when nothing was changed.

    Raises
    ------
    QuantityError
        If a value is out of the range of a rack file.
    FileError
        If somebody changed the tire, the rack could not be read then, or as `edit_yaml`.
    """
    taped = {key: text for key, text in told.items() if key in TAPING_SCHEMA}
    values = {**_checked(taped), **_checked({k: t for k, t in told.items() if k not in taped})}

    def corrected(rack: Any) -> dict[str, str | None]:
        at = _seen_place(rack, tire, seen)
        newest = _newest_taping(rack["tires"][at])
        return {
            f"tires.{at}.{f'{newest}{key}' if key in taped else key}": text
            for key, text in values.items()
        }

    return edit_yaml(path, corrected, check=load_rack) if values else None


def take_away(path: Path, tire: str, seen: str) -> Path | None:
    """Take a tire out of a rack file.

    Parameters
    ----------
    path : Path
    tire : str
        What is chalked on it.
    seen : str
        `tire_mark` of what was looked at.

    Returns
    -------
    Path
        Where the file is kept as it was.

    Raises
    ------
    FileError
        If it is the last one, somebody changed it, or as `edit_yaml`.
    """

    def without(rack: Any) -> dict[str, str | None]:
        at = _seen_place(rack, tire, seen)
        if len(rack["tires"]) == 1:
            raise FileError(["the last tire of a rack stays; add the right one first"])
        return {f"tires.{at}": None}

    return edit_yaml(path, without, check=load_rack)


def tire_mark(path: Path, tire: str) -> str:
    """A short word that is another for all else that a rack file may say of a tire.

    Parameters
    ----------
    path : Path
    tire : str
        What is chalked on it.
    """
    rack = plain(read_yaml(path))
    at = _place(rack, tire)
    return "" if at is None else _mark_of(rack["tires"][at])


# Where it stands


def _mark_of(entry: Any) -> str:
    return hashlib.sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()[:16]


def _place(rack: Any, tire: str) -> int | None:
    """Place of a tire in the file, from 0; None where it is not there."""
    ids = [str(entry.get("id", "")).casefold() for entry in rack["tires"]]
    return ids.index(tire.casefold()) if tire.casefold() in ids else None


def _seen_place(rack: Any, tire: str, seen: str) -> int:
    at = _place(rack, tire)
    if at is None or _mark_of(rack["tires"][at]) != seen:
        raise FileError([CHANGED.format(tire)])
    return at


def _newest_taping(entry: Any) -> str:
    """Where the values of the newest taping stand in the entry of a tire."""
    tapings = entry.get("tapings") or []
    return f"tapings.{len(tapings) - 1}." if tapings else ""


# As text


def _taping_text(tire: str, readings: Sequence[str], when: Mapping[str, str]) -> str:
    """A taping as the value that stands in the file.

    Raises
    ------
    QuantityError
    """
    _checked({"id": tire})
    if len(readings) > MOST_READINGS:
        raise QuantityError(f"expected at most {MOST_READINGS} readings, got {len(readings)}")
    rollout = ", ".join(_checked({"rollout": text})["rollout"] for text in readings)
    parts = [f"rollout: [{rollout}]", *(f"{key}: {text}" for key, text in _checked(when).items())]
    return "{" + ", ".join(parts) + "}"


def _checked(told: Mapping[str, str]) -> dict[str, str]:
    """What was typed, held to the ranges of a rack file, as it stands there with its unit.

    Raises
    ------
    QuantityError
    """
    values = {}
    for key, text in told.items():
        wanted = ROLLOUT if key == "rollout" else {**RACK_TIRE_SCHEMA, **TAPING_SCHEMA}[key]
        wanted = wanted.field if isinstance(wanted, Several) else wanted
        assert isinstance(wanted, Field)
        try:
            wanted.held(text)
        except QuantityError as error:
            raise QuantityError(f"{key}: {error}") from None
        values[key] = _text(with_unit(text, wanted.kind) if wanted.kind else text, key)
    return values


def _text(text: str, key: str = "id") -> str:
    """A text as one YAML value inside brackets: quoted unless it is plain beyond doubt."""
    is_plain = key != "id" and re.fullmatch(r"\w[\w ./-]*", text)
    return text if is_plain else json.dumps(text, ensure_ascii=False)
