"""What the trailer holds: one car, its rack, its tracks, and how things stand tonight."""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from rollpath.car import Car
from rollpath.errors import RollpathError
from rollpath.tires.air import cold_rollout
from rollpath.tires.judge import not_as_filed
from rollpath.tires.rack import Rack, RackTire
from rollpath.trailer.night import Fitted, Night, Standing, standing

NEAR = 0.6
"""How like a known name a typed one must be to be asked about. Engineering judgement."""


class TrailerError(RollpathError):
    """Something the trailer does not hold; the message says what it does."""


@dataclass(frozen=True)
class Trailer:
    """One folder, read.

    Attributes
    ----------
    folder : Path
    car : Car
        As its file says, with the running pressures of the rack where it says none; `standing` is
        the car of tonight.
    rack : Rack or None
    tracks : dict of str to Path
        Track files by the name of the file without its ending.
    night : Night
    """

    folder: Path
    car: Car
    rack: Rack | None = None
    tracks: Mapping[str, Path] = field(default_factory=dict)
    night: Night = field(default_factory=Night)

    @property
    def book(self) -> Path:
        return self.folder / "season.db"

    @property
    def standing(self) -> Standing:
        """The car as it stands tonight."""
        return standing(self.car, self.night)

    def track_named(self, typed: str) -> str:
        """The track that a name means.

        Raises
        ------
        TrailerError
            With the nearest one, or all there are.
        """
        return named(typed, self.tracks, "track")

    def tire_named(self, typed: str) -> RackTire:
        """The tire of the rack that an id means.

        Raises
        ------
        TrailerError
        """
        tires = {} if self.rack is None else {tire.name: tire for tire in self.rack.tires}
        return tires[named(typed, tires, "tire")]

    def tire_to_spare(self, typed: str) -> RackTire:
        """The tire of the rack that an id means, when it is not on the car.

        Parameters
        ----------
        typed : str

        Raises
        ------
        TrailerError
        """
        tire = self.tire_named(typed)
        tonight = () if self.rack_tonight is None else self.rack_tonight.tires
        corner = next((one.on_car for one in tonight if one.name == tire.name), "")
        if corner:
            there = corner.replace("_", " ")
            raise TrailerError(f"{tire.name} is on the {there}; bolt another on there first")
        return tire

    def fitted(self, tire: RackTire, corner: str) -> Fitted:
        """A tire of the rack as it goes on a corner: cold, at the pressure that corner runs.

        Raises
        ------
        TrailerError
            If it may not go there, is scrap, or was never taped cold.
        """
        assert self.rack is not None
        if tire.scrap:
            raise TrailerError(f"{tire.name} is scrap in the rack file")
        if corner not in tire.corners:
            there = ", ".join(one.replace("_", " ") for one in tire.corners)
            raise TrailerError(f"{tire.name} may not go on the {corner.replace('_', ' ')}: {there}")
        if tire.cold is None:
            raise TrailerError(f"{tire.name} was never taped cold; tape it first")
        running = self.rack.running_pressure
        pressure = tire.cold.pressure if running is None else float(getattr(running, corner))
        return Fitted(tire.name, cold_rollout(self.rack, tire, corner), pressure)

    @property
    def rack_tonight(self) -> Rack | None:
        """The rack with its tires where they are tonight."""
        if self.rack is None:
            return None
        filed = {tire.on_car: tire.name for tire in self.rack.tires if tire.on_car}
        bolted = {one.tire for one in self.night.on_car if one.tire}
        where: dict[str, str] = {}
        for corner, one in self.night.on_car.by_name().items():
            said = one.tire or one.rollout is not None  # a rollout alone is a tire of no rack
            name = one.tire if said else filed.get(corner, "")
            if said or name not in bolted:
                where[name] = corner
        tires = tuple(replace(tire, on_car=where.get(tire.name, "")) for tire in self.rack.tires)
        return replace(self.rack, tires=tires)

    def disagreements(self) -> list[tuple[str, str, float, float]]:
        """Corners where the rack's tire is not of the size the car file says, and nobody bolted.

        Returns
        -------
        list of (str, str, float, float)
            Corner, the rack's tire, its rollout and the car file's, m.
        """
        if self.rack is None:
            return []
        found = not_as_filed(self.rack, self.car)
        return [one for one in found if getattr(self.night.on_car, one[0]) == Fitted()]


def plain_name(text: str) -> str:
    """A name as it is compared: lower case, words joined by one dash."""
    return re.sub(r"[^\w]+", "-", text.strip().casefold()).strip("-")


def named(typed: str, known: Iterable[str], what: str) -> str:
    """The known name that a typed one means: alike but for case and signs, or the only one that
    begins so.

    Raises
    ------
    TrailerError
        With the nearest one, or all there are.
    """
    plain = {plain_name(name): name for name in known}
    wanted = plain_name(typed)
    if wanted in plain:
        return plain[wanted]
    begins = [name for one, name in plain.items() if wanted and one.startswith(wanted)]
    if len(begins) == 1:
        return begins[0]
    near = difflib.get_close_matches(wanted, plain, n=1, cutoff=NEAR)
    hint = f'; did you mean "{plain[near[0]]}"?' if near else f"; there are {', '.join(known)}"
    raise TrailerError(f'no {what} "{typed}"{hint if plain else "; there is none yet"}')
