"""The trailer's folder: found, read, and tonight written back.

The folder holds `trailer.yaml` (tonight), `car.yaml`, `rack.yaml`, `tracks/` and `season.db`.
"""

import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rollpath.corners import CORNERS, Corners
from rollpath.files.cars import load_car
from rollpath.files.racks import load_rack
from rollpath.files.reading import Reader, read_yaml
from rollpath.files.schema import FileError, Group, Schema, choice, quantity, text_field
from rollpath.files.surfaces import surface_named
from rollpath.files.tracks import load_track
from rollpath.files.writing import make_folder, write_new, write_whole
from rollpath.screen import inches, pounds, psi
from rollpath.tires.air import standing as at_running_pressure
from rollpath.trailer.interview import (
    QUESTIONS,
    car_file,
    on_car,
    rack_file,
    tires_of,
    track_file,
    values_of,
)
from rollpath.trailer.night import Fitted, Night, from_state
from rollpath.trailer.place import TONIGHT
from rollpath.trailer.trailer import Trailer
from rollpath.units import INCH, PSI, parse, with_unit

_FITTED: Schema = {
    "tire": text_field(longest=20),
    "rollout": quantity("tape", 20 * INCH, 160 * INCH, "a rollout between 20 and 160 in"),
    "pressure": quantity("pressure", 1 * PSI, 150 * PSI, "a pressure between 1 and 150 psi"),
    "turns": quantity("turns", -100, 100, "up to 100 turns"),
}
_PAD = quantity("weight", 10.0, 2e4, "a weight between 3 and 4500 lb", required=True)
TRAILER_SCHEMA: Schema = {
    "track": text_field(),
    "condition": text_field(),
    "lap_time": quantity("time", 5.0, 200.0, "a lap time between 5 and 200 s"),
    "since": text_field(longest=30),
    "on_car": Group(dict.fromkeys(CORNERS, Group(_FITTED))),
    "pads": Group({**dict.fromkeys(CORNERS, _PAD), "driver": choice(["in", "out"])}),
    "weighed": Group(dict.fromkeys(CORNERS, Group(_FITTED))),
    "begun": text_field(
        longest=1 << 16,
        worth="what was being done when rollpath was stopped; it is ended next time",
    ),
}


def load_trailer(folder: Path) -> Trailer:
    """Read a trailer.

    Raises
    ------
    FileError
        With every fault of its files.
    """
    car, rack_path = load_car(folder / "car.yaml"), folder / "rack.yaml"
    rack = load_rack(rack_path) if rack_path.exists() else None
    return Trailer(
        folder,
        car if rack is None else at_running_pressure(car, rack),
        rack,
        {path.stem: path for path in sorted((folder / "tracks").glob("*.y*ml"))},
        load_night(folder / TONIGHT),
    )


def load_night(path: Path) -> Night:
    """Read `trailer.yaml`; an empty mapping is a night nobody has spoken of.

    Raises
    ------
    FileError
    """
    reader = Reader(path)
    values = reader.mapping(read_yaml(path), TRAILER_SCHEMA)
    reader.raise_faults()
    state: dict[str, Any] = {
        name: values[name] for name in ("track", "condition", "lap_time", "since") if name in values
    }
    for group, before in (("on_car", ""), ("weighed", "weighed.")):
        for corner, fitted in values.get(group, {}).items():
            state |= {f"{before}{corner}.{name}": value for name, value in fitted.items()}
    pads = values.get("pads", {})
    state |= {f"{corner}.pad": pads[corner] for corner in CORNERS if corner in pads}
    state["driver_in"] = pads.get("driver", "in") == "in"
    return from_state(state)


def save_night(folder: Path, night: Night) -> Path:
    """Write `trailer.yaml`, whole or not at all.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    path = folder / TONIGHT
    make_folder(folder)
    write_whole(path, night_text(night))
    return path


def night_text(night: Night, begun: str = "") -> str:
    """A night as `trailer.yaml` holds it.

    Parameters
    ----------
    night : Night
    begun : str
        What is being done and may not be in the book yet; see `begun`.
    """
    lines = ["# Tonight, written by rollpath; every change is in season.db with its time."]
    lines += [
        f"{name}: {quoted(value)}"
        for name, value in (
            ("track", night.track), ("condition", night.condition), ("since", night.since)
        )
        if value
    ]  # fmt: skip
    if night.lap_time is not None:
        lines.append(f"lap_time: {night.lap_time:g} s")
    lines += ["on_car:", *(_fitted_lines(night, "on_car"))] if _says(night, "on_car") else []
    if night.pads is not None:
        pads = [
            f"{corner}: {plain_number(float(pounds(pad)))} lb"
            for corner, pad in night.pads.by_name().items()
        ]
        driver = f"driver: {'in' if night.driver_in else 'out'}"
        lines.append(f"pads: {{{', '.join([*pads, driver])}}}")
        lines += ["weighed:", *_fitted_lines(night, "weighed")] if _says(night, "weighed") else []
    lines += [f"begun: {quoted(begun)}"] if begun else []
    return "\n".join(lines if len(lines) > 1 else [*lines, "{}"]) + "\n"


def _says(night: Night, which: str) -> bool:
    return any(fitted != Fitted() for fitted in getattr(night, which))


def _fitted_lines(night: Night, which: str) -> list[str]:
    lines = []
    for corner, fitted in getattr(night, which).by_name().items():
        told = [
            *([f"tire: {quoted(fitted.tire)}"] if fitted.tire else []),
            *(
                []
                if fitted.rollout is None
                else [f"rollout: {plain_number(float(inches(fitted.rollout)))} in"]
            ),
            *(
                []
                if fitted.pressure is None
                else [f"pressure: {plain_number(float(psi(fitted.pressure)))} psi"]
            ),
            *([f"turns: {plain_number(fitted.turns)} turns"] if fitted.turns else []),
        ]
        if told:
            lines.append(f"  {corner}: {{{', '.join(told)}}}")
    return lines


def plain_number(value: float) -> str:
    """A number to five places, without noughts behind."""
    return f"{value:.5f}".rstrip("0").rstrip(".")


def quoted(text: str) -> str:
    """Text that YAML reads as text, whatever is in it."""
    return json.dumps(text, ensure_ascii=False)


# Set up


def read_answer(name: str, typed: str) -> str:
    """An answer of the interview, checked, with its unit.

    Raises
    ------
    AnswerError, QuantityError, TrackError
        One line for the racer.
    """
    question = next(one for one in QUESTIONS if one.name == name)
    if question.kind == "word":
        return str(text_field(longest=60).read(typed))
    if question.kind == "surface":
        return surface_named(typed)
    if question.kind == "tires":
        return ", ".join(f"{tire} {rollout}" for tire, rollout in tires_of(typed))
    if question.count > 1:
        return ", ".join(values_of(typed, question.kind, question.count))
    told = with_unit(typed, question.kind)
    parse(told, question.kind)
    return told


def make_trailer(folder: Path, answers: Mapping[str, str], since: str) -> list[Path]:
    """The files of a new trailer.

    Parameters
    ----------
    folder : Path
        Made when it is not there; a file of these names in it is never written over.
    answers : mapping
        What `read_answer` gave, by the names of the questions.
    since : str
        When it is, ISO 8601.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    FileError
        If they are there already, cannot be written, or make no car or track; then none is.
    """
    track = track_file(answers)
    texts = {"car.yaml": car_file(answers)}
    rack = rack_file(answers)
    if rack is not None:
        texts["rack.yaml"] = rack
    if track is not None:
        texts[f"tracks/{track[0]}.yaml"] = track[1]
    night = Night(
        track=track[0] if track else answers.get("track", ""), since=since if track else "",
        condition=answers.get("surface", ""), on_car=_first_fitted(answers),
    )  # fmt: skip
    texts[TONIGHT] = night_text(night)
    for name in texts:
        if (folder / name).exists():
            raise FileError([f"{folder / name}: is there already; another --trailer DIR"])
    _check_texts(texts)
    for name, text in texts.items():
        make_folder((folder / name).parent)
        write_new(folder / name, text)
    return [folder / name for name in texts]


def _first_fitted(answers: Mapping[str, str]) -> Corners[Fitted]:
    """What is on the car as the answers say it."""
    sizes: dict[str, float] = {}
    pressures: dict[str, float] = {}
    for axle in ("front", "rear"):
        if axle in answers:
            pair = [parse(one, "tape") for one in values_of(answers[axle], "tape", 2)]
            sizes |= {f"left_{axle}": pair[0], f"right_{axle}": pair[1]}
    if "pressures" in answers:
        four = values_of(answers["pressures"], "pressure", 4)
        pressures = {c: parse(one, "pressure") for c, one in zip(CORNERS, four, strict=True)}
    names = on_car(answers)
    return Corners(
        *(Fitted(names.get(c, ""), sizes.get(c), pressures.get(c)) for c in CORNERS)
    )  # fmt: skip


def _check_texts(texts: Mapping[str, str]) -> None:
    """Hold the files to their schemas before one is written."""
    with tempfile.TemporaryDirectory() as aside:
        for name, text in texts.items():
            (Path(aside) / name).parent.mkdir(exist_ok=True)
            (Path(aside) / name).write_text(text, encoding="utf-8")
        try:
            trailer = load_trailer(Path(aside))
            for path in trailer.tracks.values():
                load_track(path)
        except FileError as error:
            lines = [line.replace(aside + os.sep, "") for line in error.lines]
            raise FileError(lines) from None
