"""What is done to the car, read as it is typed and written down: the night changed, the book told.

Two people, or the command and the page, may do this at once: the folder is locked from reading the
night to writing it, and whoever comes later changes what the earlier one left.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from rollpath.book.action import Action, last_to_undo
from rollpath.book.book import Book
from rollpath.errors import RollpathError
from rollpath.files.begun import Begun, alike, begun_in, end
from rollpath.files.books import told_of_book
from rollpath.files.cars import PRESSURE, check_change
from rollpath.files.schema import FileError
from rollpath.files.slips import MOST_AIR_STEP, TAKEN_AS_RIGHT
from rollpath.files.trailers import load_night, load_trailer, night_text
from rollpath.files.writing import locked, write_locked
from rollpath.screen import TRADE
from rollpath.tires.air import growth_of, limits_of
from rollpath.tires.rack import DEFAULT_GROWTH
from rollpath.trailer.night import Fitted, Night, as_state, difference, from_state
from rollpath.trailer.place import TONIGHT
from rollpath.trailer.trailer import Trailer, TrailerError
from rollpath.units import parse

Changing = Callable[[Trailer], Night]
"""What makes a night of how things stand."""


class ChangedError(RollpathError):
    """Somebody else did something after this was asked for."""


def mark_of(night: Night) -> str:
    """A short word that is another for every other night: what a form was made from."""
    told = json.dumps(as_state(night), sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def done(folder: Path, what: str, change: Changing, seen: str | None = None) -> Trailer:
    """Do something to the car and write it down: tonight, and the action in the book.

    Parameters
    ----------
    folder : Path
        The trailer's.
    what : str
        Such as ``bolt``.
    change : callable
        Given the trailer as it stands now.
    seen : str, optional
        `mark_of` the night that was looked at when this was asked for.

    Returns
    -------
    Trailer
        As it is now.

    Raises
    ------
    ChangedError
        If the night is another than was seen, and this would change it.
    FileError
        If it cannot be written; then tonight is as it was.
    """
    path = folder / TONIGHT
    with locked(path) as file:
        _end_begun(path, file)
        trailer = load_trailer(folder)
        night = change(trailer)
        before, after = difference(trailer.night, night)
        if not before and not after:
            return trailer
        if seen is not None and seen != mark_of(trailer.night):
            raise ChangedError("somebody else did something in between")
        with told_of_book(), Book(trailer.book) as book:
            times = alike(book.actions(), what, before, after)
            begun = Begun(what, before, after, datetime.now().isoformat(), times)
            _in_both(file, trailer.night, night, begun, book)
    return load_trailer(folder)


def _end_begun(path: Path, file: Path) -> None:
    """What was begun when somebody was stopped is ended: the book has it, tonight is clean.

    Raises
    ------
    FileError
    """
    begun = begun_in(path)
    if begun is None:
        return
    with told_of_book(), Book(path.with_name("season.db")) as book:
        actions = book.actions()
        last = last_to_undo(actions)
        is_left = not begun.undoes or (last is not None and last.key == begun.undoes)
        if not begun.is_in(actions) and is_left:
            end(begun, book)
    write_locked(file, night_text(load_night(path)))


def _in_both(file: Path, was: Night, night: Night, begun: Begun, book: Book) -> Action:
    """Write tonight and the book, so that a crash anywhere can be made good; see `begun`.

    The action is that of the book.

    Raises
    ------
    FileError
        If either cannot be written; then both are as they were.
    """
    write_locked(file, night_text(night, begun.text()))
    try:
        with told_of_book():
            action = end(begun, book)
    except FileError as error:
        write_locked(file, night_text(was))
        raise FileError([*error.lines, "nothing was changed"]) from None
    if begun.undoes and action.undoes != begun.undoes:  # a clock set back: the book goes by its own
        state = {name: at for name, at in as_state(was).items() if name not in action.before}
        night = from_state({**state, **action.after})
    with suppress(FileError):  # a full disk: the book has it, and the next one sees that
        write_locked(file, night_text(night))
    return action


def record(
    trailer: Trailer, what: str, before: Mapping[str, object], after: Mapping[str, object]
) -> None:
    """Write an action into the trailer's book.

    Raises
    ------
    FileError
        If it cannot be kept.
    """
    with told_of_book(), Book(trailer.book) as book:
        book.record_action(what, before, after)


def undone(folder: Path, last: str | None = None) -> Action:
    """Take back the last thing done; that too is in the book.

    Parameters
    ----------
    folder : Path
    last : str, optional
        Key of the action that is to be taken back.

    Raises
    ------
    ChangedError
        If another was done since.
    FileError
        If there is nothing to take back, or it cannot be written.
    """
    path = folder / TONIGHT
    with locked(path) as file:
        _end_begun(path, file)
        night = load_night(path)
        with told_of_book(), Book(load_trailer(folder).book) as book:
            actions = book.actions()
            if last is not None and last != last_done(actions):
                raise ChangedError("somebody else did something in between")
            back = last_to_undo(actions)
            if back is None:
                raise FileError(["nothing to undo"])
            state = {name: at for name, at in as_state(night).items() if name not in back.after}
            begun = Begun(
                "undo", back.after, back.before, datetime.now().isoformat(), 0, back.key
            )  # fmt: skip
            return _in_both(file, night, from_state({**state, **back.before}), begun, book)


def last_done(actions: list[Action]) -> str:
    """Key of the action that the next undo takes back; empty when there is none."""
    last = last_to_undo(actions)
    return "" if last is None else last.key


# What is typed


def fitted_by(trailer: Trailer, corner: str, typed: str) -> Fitted:
    """What was typed for a corner: a tire of the rack, or a rollout.

    Raises
    ------
    TrailerError
        If it is no tire of the rack and no rollout.
    """
    try:
        return trailer.fitted(trailer.tire_named(typed), corner)
    except TrailerError as unknown:
        try:
            rollout = parse(typed, "tape")
        except RollpathError:
            raise unknown from None
    check_change(corner, rollout)
    pressure = getattr(trailer.night.on_car, corner).pressure
    return Fitted("", rollout, pressure)


def _check_air(words: str, amount: float, now: float | None) -> None:
    """Stop a slip of the finger before it is told, for somebody may pump it in."""
    told = f"{words}: {TRADE.pressure(amount)}"
    if PRESSURE.outside(amount):
        raise TrailerError(f"{told}; expected {PRESSURE.range_text}")
    step = 0.0 if now is None else amount - now
    if abs(step) > MOST_AIR_STEP and not TAKEN_AS_RIGHT.get():
        raise TrailerError(
            f"{told} is {TRADE.pressure(abs(step))} {'more' if step > 0 else 'less'} than now: a "
            "slip? if the tire maker allows it, go in smaller steps, or say --yes"
        )


def pressure_by(trailer: Trailer, corner: str, typed: str) -> tuple[float, float, str]:
    """The pressure wanted at a corner, and the growth and the name of what is there.

    Parameters
    ----------
    trailer : Trailer
    corner : str
    typed : str
        Such as ``16`` or ``18 psi``; with a sign it is added to what is there.

    Raises
    ------
    TrailerError
        If it leaves no air, is outside the tire maker's limits or what any car runs, or is a step
        that is most likely a slip.
    """
    standing = trailer.standing.car.pressure
    now = None if standing is None else float(getattr(standing, corner))
    amount, words = parse(typed, "pressure"), corner.replace("_", " ")
    if typed[0] in "+-":
        if now is None:
            raise TrailerError(f"what does the {words} hold now? say it first, such as rr=16")
        amount += now
    rack, tire = trailer.rack, None
    fitted = getattr(trailer.night.on_car, corner)
    if rack is not None:
        by_name = {one.name: one for one in rack.tires}
        here = next((one for one in rack.tires if one.on_car == corner), None)
        tire = by_name.get(fitted.tire) if fitted.tire else here
    limits = None if rack is None else (limits_of(rack, tire) if tire else rack.pressure_limits)
    if limits is not None and not limits[0] - 1.0 <= amount <= limits[1] + 1.0:
        raise TrailerError(f"{words}: outside the tire maker's limits in the rack file")
    if amount <= 0:
        raise TrailerError(f"{words}: that leaves no air in it")
    _check_air(words, amount, now)
    if rack is None:
        return amount, DEFAULT_GROWTH, fitted.tire
    if tire is None:
        return amount, rack.growth, fitted.tire
    return amount, growth_of(rack, tire), tire.name
