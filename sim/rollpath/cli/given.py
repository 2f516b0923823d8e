"""What a command works on: tracks, car, rack and book, typed or taken from the trailer."""

import argparse
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rollpath.book.place import data_folder as book_data_folder
from rollpath.car import Car
from rollpath.cli.arguments import (
    CommandError,
    add_track_arguments,
    find_file,
    find_files,
    path_of,
    screen_of,
    surface_of,
    track_from_arguments,
    word_of,
)
from rollpath.files.cars import car_from_values, load_car
from rollpath.files.reading import LARGEST_FILE, read_start
from rollpath.files.schema import FileError
from rollpath.files.tracks import load_track
from rollpath.show.words import lay_out
from rollpath.track import DEFAULT_CONDITION, Track
from rollpath.trailer.place import TONIGHT, find_trailer

if TYPE_CHECKING:
    from rollpath.tires.rack import Rack
    from rollpath.trailer.trailer import Trailer

TYPICAL_NAME = "typical full-bodied car"
NO_TRACK = (
    "which track? name a track file, or give --radius 200ft --straight 350ft, or set up a trailer: "
    "rollpath trailer"
)


@dataclass(frozen=True)
class Given:
    """What was typed, and what the trailer says beside it.

    Attributes
    ----------
    tracks : tuple of Track
    car : Car
        As typed, as it stands in the trailer tonight, or a typical one.
    car_path : Path or None
        Its file; None for a typical car.
    rack : Rack or None
    rack_path : Path or None
    trailer : Trailer or None
        None when there is none, or when nothing of it was needed.
    more_cars : tuple of Car
        Others beside it, where a command takes several.
    """

    tracks: tuple[Track, ...]
    car: Car
    car_path: Path | None
    rack: "Rack | None"
    rack_path: Path | None
    trailer: "Trailer | None"
    more_cars: tuple[Car, ...] = ()

    @property
    def track(self) -> Track:
        """The one track.

        Raises
        ------
        CommandError
            If there is none, or more than one.
        """
        if not self.tracks:
            raise CommandError(NO_TRACK)
        if len(self.tracks) > 1:
            raise CommandError("expected one track; to see several side by side: rollpath compare")
        return self.tracks[0]


def add_given_arguments(
    parser: argparse.ArgumentParser, rack: bool = False, many_cars: bool = False
) -> None:
    """Files in any order, or by option; what is not said comes from the trailer."""
    parser.add_argument(
        "files", type=word_of, nargs="*", metavar="FILE",
        help="track, car and rack files, in any order (default: those of the trailer)",
    )  # fmt: skip
    group = parser.add_argument_group("the same by name; what is not said comes from the trailer")
    group.add_argument("--track", type=word_of, metavar="TRACK", help="file, or name of a track")
    if many_cars:
        group.add_argument(
            "--car", type=word_of, action="append", metavar="CAR", help="file; may be repeated"
        )
    else:
        group.add_argument("--car", type=word_of, metavar="CAR", help="car file")
    if rack:
        group.add_argument("--rack", type=word_of, metavar="RACK", help="rack file")
    group.add_argument("--trailer", type=path_of, metavar="DIR", help="the trailer's folder")
    parser.set_defaults(takes_rack=rack, takes_cars=many_cars)
    add_track_arguments(parser)


def given(arguments: argparse.Namespace, needs_track: bool = True) -> Given:
    """What a command works on; says in ``arguments.note`` what came from the trailer.

    The surface of tonight stands for a `--condition` that was not typed.

    Raises
    ------
    CommandError, FileError
    """
    typed = _sorted(arguments, needs_track)
    trailer = trailer_of(arguments)
    if trailer is None:
        find_files(*((name, sort) for sort, names in typed.items() for name in names))
    tracks = _tracks(arguments, typed["track"], trailer) if needs_track else ()
    taken = [] if trailer is None or typed["track"] or not tracks else [tracks[0].name]
    car, car_path = _car(typed["car"], trailer)
    if trailer is not None and not typed["car"]:
        taken.append(car.name)
    rack_path = find_file(typed["rack"][0], "rack") if typed["rack"] else None
    rack = _load_rack(rack_path) if rack_path else None
    if rack is None and trailer is not None and trailer.rack is not None and not typed["car"]:
        rack, rack_path = trailer.rack_tonight, trailer.folder / "rack.yaml"
    _surface(arguments, trailer, taken, bool(typed["track"]))
    if trailer is not None and taken:
        arguments.note = f"from the trailer: {', '.join(taken)}"
    more = tuple(load_car(find_file(name, "car")) for name in typed["car"][1:])
    return Given(tracks, car, car_path, rack, rack_path, trailer, more)


def _load_rack(path: Path) -> "Rack":
    from rollpath.files.racks import load_rack

    return load_rack(path)


def trailer_of(arguments: argparse.Namespace) -> "Trailer | None":
    """The trailer named, or found around here; None where there is none."""
    folder = trailer_folder(getattr(arguments, "trailer", None))
    if folder is None:
        return None
    from rollpath.files.trailers import load_trailer

    return load_trailer(folder)


def trailer_folder(named: Path | None = None) -> Path | None:
    """The folder of the trailer; see `find_trailer`.

    Raises
    ------
    CommandError
        If the one named is none.
    """
    folder = find_trailer(named, data=data_folder())
    if folder is not None and not (folder / TONIGHT).is_file():
        raise CommandError(f"{folder}: no trailer there; rollpath trailer --trailer sets one up")
    return folder


def data_folder() -> Path | None:
    """Where the user's data lies; None for a user without a home."""
    try:
        return book_data_folder()
    except RuntimeError:
        return None


def _sorted(arguments: argparse.Namespace, needs_track: bool) -> dict[str, list[str]]:
    """What was typed, by the sort of file it is."""
    typed: dict[str, list[str]] = {"track": [], "car": [], "rack": []}
    said = not needs_track or arguments.radius is not None or bool(arguments.track)
    for name in arguments.files:
        by_place = "track" if not said and not typed["track"] else "car"
        if arguments.takes_rack and not typed["rack"]:
            by_place = "rack"
        typed[_sort_of(name, by_place)].append(name)
    for sort in typed:
        option = getattr(arguments, sort, None)
        for name in [option] if isinstance(option, str) else option or []:
            typed[sort].append(name)
    for sort in ("rack",) if arguments.takes_cars else ("car", "rack"):
        if len(typed[sort]) > 1:
            raise CommandError(f"two {sort} files: {', '.join(typed[sort])}; name one")
    if typed["rack"] and not arguments.takes_rack:
        raise CommandError(f"{typed['rack'][0]}: this looks like a rack file; name the car file")
    return typed


_KEY = re.compile(rb"^([a-z_]+):", re.MULTILINE)


_TELLTALES = {
    "track": {b"inside_radius", b"straight"},
    "rack": {b"tires"},
    "car": {b"wheelbase", b"weights", b"front", b"rear", b"power"},
}


def _sort_of(name: str, by_place: str) -> str:
    """Which sort of file a name is: by its keys, or else by its place."""
    try:
        keys = set(_KEY.findall(read_start(Path(name), LARGEST_FILE)))
    except FileError:
        keys = set()
    by_keys = (sort for sort, telling in _TELLTALES.items() if keys & telling)
    return next(by_keys, by_place)


def _tracks(
    arguments: argparse.Namespace, typed: Sequence[str], trailer: "Trailer | None"
) -> tuple[Track, ...]:
    if arguments.radius is not None:
        if typed:
            raise CommandError("with --radius there is no track file to name")
        return (track_from_arguments(arguments),)
    _refuse_stray_measurements(arguments)
    if typed:
        return tuple(load_track(_track_path(name, trailer)) for name in typed)
    if trailer is None or not trailer.night.track:
        return ()
    from rollpath.trailer.trailer import TrailerError

    try:
        return (load_track(trailer.tracks[trailer.track_named(trailer.night.track)]),)
    except TrailerError as error:
        raise CommandError(str(error)) from None


def _track_path(name: str, trailer: "Trailer | None") -> Path:
    """A track file by its path, or by the name it has in the trailer."""
    if trailer is not None and not Path(name).exists():
        from rollpath.trailer.trailer import TrailerError

        try:
            return trailer.tracks[trailer.track_named(name)]
        except TrailerError as error:
            if not Path(name).suffix:
                raise CommandError(str(error)) from None
    return find_file(name, "track")


def _refuse_stray_measurements(arguments: argparse.Namespace) -> None:
    """A measurement typed beside a track file would go unheard; say so instead."""
    for name in ("radius_2", "straight", "width", "bow", "bank"):
        if getattr(arguments, name) is not None:
            flag = name.replace("_", "-")
            raise CommandError(f"--{flag} needs --radius too; a track file holds its own")


def _car(typed: Sequence[str], trailer: "Trailer | None") -> tuple[Car, Path | None]:
    if typed:
        path = find_file(typed[0], "car")
        return load_car(path), path
    if trailer is not None:
        return trailer.standing.car, trailer.folder / "car.yaml"
    return car_from_values({"name": TYPICAL_NAME}), None


def _surface(
    arguments: argparse.Namespace, trailer: "Trailer | None", taken: list[str], other_track: bool
) -> None:
    """Tonight's surface, and its lap time, where no other was typed and the track is tonight's."""
    if not hasattr(arguments, "condition") or arguments.condition is not None:
        return
    night = None if trailer is None or other_track else trailer.night
    arguments.condition = DEFAULT_CONDITION
    if night is not None and night.condition:
        arguments.condition = surface_of(night.condition)
        taken.append(night.condition)
        if getattr(arguments, "lap_time", 0.0) is None:
            arguments.lap_time = night.lap_time


def note_line(arguments: argparse.Namespace) -> str:
    """What came from the trailer, laid out for the foot of a screen."""
    return lay_out([f"({arguments.note})"], screen_of(arguments))
