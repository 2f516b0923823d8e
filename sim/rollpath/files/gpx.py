"""GPX 1.1, read in pieces, in bounded memory and without ever expanding an entity."""

import contextlib
import math
from array import array
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.parsers import expat

import numpy as np

from rollpath.files.columns import LARGEST_LOG, seconds_of
from rollpath.files.reading import read_start
from rollpath.files.schema import FileError
from rollpath.units import FloatArray

MOST_POINTS = 4_000_000
"""Points of a position log; two weeks at 1 Hz and some 100 MB."""
GPX_CHUNK = 1 << 20
GPX_DEEPEST = 40
"""Nesting of a GPX file; its schema needs 6, extensions a few more."""
TIME_TEXT = 40
"""Longest time of a GPX file, in characters."""
_UNFINISHED = ("no element found", "unclosed token", "partial character")


def is_xml(path: Path) -> bool:
    """Whether a file starts as XML does."""
    return read_start(path, 512).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def read_gpx(path: Path) -> tuple[FloatArray, FloatArray, FloatArray | None, tuple[str, ...]]:
    """Latitudes and longitudes in deg, times in s and notes, read in pieces as they come.

    No entity is ever expanded: a document type, the only place to declare one, is refused.
    """
    points = _GpxPoints(path)
    parser = expat.ParserCreate(namespace_separator=" ")
    points.attach(parser)
    size, notes = 0, tuple[str, ...]()
    try:
        with path.open("rb") as file:
            while piece := file.read(GPX_CHUNK):
                size += len(piece)
                if size > LARGEST_LOG:
                    raise FileError([f"{path}: larger than {LARGEST_LOG >> 20} MiB"])
                parser.Parse(piece, False)
            parser.Parse(b"", True)
    except expat.ExpatError as error:
        unfinished = error.code in (expat.errors.codes[text] for text in _UNFINISHED)
        if not (unfinished and len(points.latitude)):
            reason = expat.ErrorString(error.code)
            raise FileError([f"{path}:{error.lineno}: not GPX: {reason}"]) from None
        notes = ("the file ends in the middle; what came before was used",)
    time = seconds_of(np.array(points.time))
    return np.array(points.latitude), np.array(points.longitude), time, notes


class _GpxPoints:
    """Collects the track points of a GPX file (or its route points when it has no track)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.latitude, self.longitude, self.time = array("d"), array("d"), array("d")
        self.depth, self.inside, self.text = 0, "", ""
        self.wanted, self.in_point = "rtept", False

    def attach(self, parser: Any) -> None:
        self.parser = parser
        parser.buffer_text = True
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.CharacterDataHandler = self.characters
        parser.StartDoctypeDeclHandler = self.doctype

    def fault(self, message: str) -> FileError:
        return FileError([f"{self.path}:{self.parser.CurrentLineNumber}: {message}"])

    def doctype(self, *_: object) -> None:
        raise self.fault("a document type is not allowed in GPX; record or export the log again")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(" ")[2]
        self.depth += 1
        if self.depth == 1 and name != "gpx":
            raise self.fault(f'not GPX: expected "gpx" first, got "{name[:40]}"')
        if self.depth > GPX_DEEPEST:
            raise self.fault("nested deeper than any GPX file")
        if name == "trkpt" and self.wanted != name:
            self.wanted = name
            for column in (self.latitude, self.longitude, self.time):
                del column[:]
        if name == self.wanted:
            self._point(attributes)
        self.inside, self.text = name, ""

    def _point(self, attributes: dict[str, str]) -> None:
        try:
            latitude, longitude = float(attributes["lat"]), float(attributes["lon"])
        except (KeyError, ValueError):
            raise self.fault('a point without numbers for "lat" and "lon"') from None
        if len(self.latitude) >= MOST_POINTS:
            raise self.fault(f"more than {MOST_POINTS} points")
        self.latitude.append(latitude)
        self.longitude.append(longitude)
        self.time.append(math.nan)
        self.in_point = True

    def characters(self, text: str) -> None:
        if self.inside == "time" and len(self.text) < TIME_TEXT:
            self.text += text[:TIME_TEXT]

    def end(self, name: str) -> None:
        self.depth -= 1
        if self.inside == "time" and self.in_point:
            with contextlib.suppress(ValueError):
                self.time[-1] = datetime.fromisoformat(self.text.strip()).timestamp()
        if name.rpartition(" ")[2] == self.wanted:
            self.in_point = False
        self.inside = ""
