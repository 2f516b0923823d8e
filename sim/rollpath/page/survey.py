"""Survey: a track from a chord, a gap and a straight, or from the phone's own position log."""

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, render_template, request
from werkzeug.wrappers import Response

from rollpath.door_survey import far_of, survey_by_chords, survey_by_log
from rollpath.errors import RollpathError
from rollpath.files.logs import survey_fault
from rollpath.files.tracks import check_measurements, check_surveyed, track_text
from rollpath.files.trailers import read_answer
from rollpath.files.writing import make_folder, write_new
from rollpath.page.desk import Desk, desk, screen_now
from rollpath.page.doing import again, do, see
from rollpath.page.logs import keep_log, log_path, sent_data
from rollpath.page.pictures import as_picture, svg_of
from rollpath.page.typed import in_trade, typed
from rollpath.show.survey import survey_pictures, survey_remarks, survey_screen
from rollpath.survey.log import SurveyError
from rollpath.survey.result import Survey
from rollpath.track import TrackError
from rollpath.trailer.night import Night
from rollpath.trailer.trailer import Trailer, TrailerError, plain_name

pages = Blueprint("survey", __name__, url_prefix="/survey")
SIZES = ("chord", "gap", "chord_34", "gap_34", "straight", "width")


@pages.get("")
def page() -> str:
    values = request.args
    given: dict[str, Any] = {"typed": values, "faults": {}, "query": request.query_string}
    if any(typed(values, name) for name in ("chord", "gap", "log")):
        survey, faults = _survey(desk(), values)
        given["faults"] = faults
        if survey is not None:
            given["told"] = survey_screen(survey, [], screen_now())
    return render_template("survey.html", **given)


def _survey(table: Desk, values: Mapping[str, str]) -> tuple[Survey | None, dict[str, str]]:
    """What was measured, or what of it cannot be, by field."""
    sizes, faults = dict[str, float](), dict[str, str]()
    for name in SIZES:
        try:
            if typed(values, name):
                sizes[name] = far_of(in_trade(typed(values, name), "length"))
                if name in ("straight", "width"):
                    check_measurements({name: sizes[name]})
        except TrackError as error:
            faults[name] = f"{error.key}: {error}"
        except RollpathError as error:
            faults[name] = str(error)
    if faults:
        return None, faults
    log = typed(values, "log")
    try:
        survey = _of_log(table, log, sizes.get("width")) if log else _of_tape(sizes)
        check_surveyed(survey)
        return survey, {}
    except SurveyError as error:
        return None, {"log" if log else "gap": survey_fault(error)}
    except RollpathError as error:
        return None, {"log" if log else "gap": str(error)}


def _of_tape(sizes: Mapping[str, float]) -> Survey:
    ends = [[(sizes[c], sizes[g])] if c in sizes and g in sizes else []
            for c, g in (("chord", "gap"), ("chord_34", "gap_34"))]  # fmt: skip
    if not ends[0]:
        raise TrailerError("a chord and the gap in its middle, both, and the straight")
    return survey_by_chords(ends[0], ends[1], sizes.get("straight"), sizes.get("width"))


def _of_log(table: Desk, log: str, width: float | None) -> Survey:
    path = log_path(table, log)
    if path is None:
        raise TrailerError("that log is not in this trailer; send it again")
    return table.remember(("log", log, width), lambda: survey_by_log(path, width))


@pages.post("/log")
def send() -> Response:
    """A position log from the phone: kept, read, and shown under an address of its own."""
    data = sent_data()
    if not data:
        return again("survey.html", {"log": "which file? a GPX, or a CSV with positions"})

    def read(path: Path) -> None:
        with suppress(SurveyError):  # told on the page of the log, where a width can be given
            survey_by_log(path)

    try:
        name = keep_log(desk(), data, read)
    except RollpathError as error:
        return again("survey.html", {"log": error})
    width = typed(request.form, "width")
    return see(f"/survey?log={name}" + (f"&width={width}" if re.fullmatch(r"[\w. ]+", width)
                                        else ""))  # fmt: skip


@pages.post("")
def keep() -> Response:
    """The track written into the trailer, and tonight is there."""
    table, form = desk(), request.form
    survey, faults = _survey(table, form)
    try:
        name = read_answer("track", typed(form, "name"))
        stem = plain_name(name)
        if not stem:
            raise TrailerError("what is the track called?")
        path = table.folder / "tracks" / f"{stem}.yaml"
        if path.exists():
            raise TrailerError(f"there is a track {stem} already; another name")
    except RollpathError as error:
        faults["name"] = str(error)
    if survey is None:
        return again("survey.html", faults)
    try:
        text = "" if faults else track_text(survey.track(name), survey_remarks(survey))
    except SurveyError as error:
        faults["width"] = survey_fault(error)
    if faults:
        query = urlencode({one: typed(form, one) for one in (*SIZES, "log")}).encode()
        told = survey_screen(survey, [], table.screen)
        return again("survey.html", faults, told=told, query=query)
    make_folder(path.parent)
    write_new(path, text)
    if not table.is_set_up:
        return see("/trailer")
    since = datetime.now().isoformat(timespec="minutes")

    def change(now: Trailer) -> Night:
        from dataclasses import replace

        return replace(now.night, track=stem, lap_time=None, since=since)

    do("tonight", change)
    return see("/")


@pages.get("/track.svg")
def picture() -> Response:
    """The track from above."""
    table = desk()
    survey, faults = _survey(table, request.args)
    if survey is None:
        raise TrailerError(next(iter(faults.values())))
    key = ("track.svg", request.query_string)
    draw = lambda: survey_pictures(survey, table.screen)[0].figure  # noqa: E731
    return as_picture(table.draw(key, lambda: svg_of(draw)))
