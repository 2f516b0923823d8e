"""GPX 1.1, read in pieces, in bounded memory and without ever expanding an entity."""

import math
import re
from array import array
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np

from rollpath.files.columns import LARGEST_LOG, seconds_of
from rollpath.files.reading import read_start
from rollpath.files.schema import FileError
from rollpath.survey.log import Note
from rollpath.units import FloatArray

MOST_POINTS = 4_000_000
"""Points of a position log; two weeks at 1 Hz and some 100 MB."""
GPX_PIECE = 1 << 16
GPX_SILENT = 1 << 22
"""Bytes without a tag in them that no GPX file has."""
GPX_DEEPEST = 40
"""Nesting of a GPX file; its schema needs 6, extensions a few more."""
_ENCODINGS = ("utf-8", "us-ascii", "ascii", "iso-8859-1", "windows-1252")
"""Encodings in which the characters of a tag are single bytes, so that a document type is seen."""
_PROLOG = re.compile(rb"(?:\s+|<\?.*?\?>|<!--.*?-->)*", re.DOTALL)
_ENCODING = re.compile(rb"""<\?xml[^>]*?encoding\s*=\s*["']([^"']*)["']""")
POINTS = ("trkpt", "rtept")
Points = tuple[FloatArray, FloatArray, FloatArray | None, tuple[Note, ...]]


def is_xml(path: Path) -> bool:
    """Whether a file starts as XML does."""
    return read_start(path, 512).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def read_gpx(path: Path) -> Points:
    """Latitudes and longitudes in deg, times in s and notes, read in pieces as they come.

    A document type, the only place to declare an entity, is refused before anything is parsed.
    """
    _check_prolog(path)
    points = _Points(path)
    parser: Any = ElementTree.XMLPullParser(("start", "end"))
    notes: tuple[Note, ...] = ()
    try:
        with path.open("rb") as file:
            size = 0
            while piece := file.read(GPX_PIECE):
                size += len(piece)
                if size > LARGEST_LOG:
                    raise FileError([f"{path}: larger than {LARGEST_LOG >> 20} MiB"])
                parser.feed(piece)
                points.take(parser, len(piece))
        parser.close()
    except ElementTree.ParseError as error:
        # What follows the last whole tag is lost when a recording breaks off, and only that.
        if not ("no element found" in str(error) or "unclosed token" in str(error)) or (
            not len(points.latitude)
        ):
            line, reason = error.position[0], str(error).partition(":")[0]
            raise FileError([f"{path}:{line}: not GPX: {reason}"]) from None
        notes = (Note("cut short"),)
    except (LookupError, ValueError) as error:
        if isinstance(error, FileError):
            raise
        raise FileError([f"{path}: not GPX: {error}"]) from None
    time = seconds_of(np.array(points.time))
    return np.array(points.latitude), np.array(points.longitude), time, notes


def _check_prolog(path: Path) -> None:
    """Refuse what is no GPX by its first bytes: an odd encoding, a document type, another root."""
    start = read_start(path, GPX_PIECE).removeprefix(b"\xef\xbb\xbf")
    declared = _ENCODING.match(start.lstrip())
    encoding = declared[1].decode("ascii", "replace").lower() if declared else "utf-8"
    if b"\0" in start or encoding not in _ENCODINGS:
        odd = "UTF-16" if b"\0" in start else encoding[:40]
        raise FileError([f"{path}:1: not UTF-8 but {odd}; export the log again as UTF-8"])
    match = _PROLOG.match(start)
    at = match.end() if match else 0
    line = start[:at].count(b"\n") + 1
    if start[at : at + 9].upper() == b"<!DOCTYPE":
        raise FileError([
            f"{path}:{line}: a document type is not allowed in GPX; record or export the log again"
        ])  # fmt: skip
    root = re.match(rb"<(?:[\w.-]+:)?([\w.-]+)", start[at:])
    if root is None and len(start) < GPX_PIECE and len(start) - at < 2:
        return  # an empty file: the parser has the words for it
    if root is None or root[1] != b"gpx":
        got = (root[1] if root else start[at : at + 20]).decode("utf-8", "replace")[:40]
        raise FileError([f'{path}:{line}: not GPX: expected "gpx" first, got "{got}"'])


class _Points:
    """Collects the track points of a GPX file (or its route points when it has no track)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.latitude, self.longitude, self.time = array("d"), array("d"), array("d")
        self.wanted, self.silent = "rtept", 0
        self.open: list[Any] = []

    def take(self, parser: Any, size: int) -> None:
        """The tags that a piece of the file brought."""
        self.silent += size
        for event, element in parser.read_events():
            self.silent = 0
            if event == "start":
                self.open.append(element)
                if len(self.open) > GPX_DEEPEST:
                    raise FileError([f"{self.path}: nested deeper than any GPX file"])
                continue
            self.open.pop()
            name = element.tag.rpartition("}")[2]
            if name in POINTS:
                self._point(name, element)
            # What was read is let go, here and in what held it; a point's parts with the point,
            # for the parser runs ahead of the events and its time may be there already.
            if self.open and not any(one.tag.endswith(POINTS) for one in self.open):
                del self.open[-1][:]
                element.clear()
        if self.silent > GPX_SILENT:
            raise FileError([f"{self.path}: not GPX: no tag in {GPX_SILENT >> 20} MiB"])

    def _point(self, name: str, element: ElementTree.Element) -> None:
        if name == "trkpt" and self.wanted != name:
            self.wanted = name
            for column in (self.latitude, self.longitude, self.time):
                del column[:]
        if name != self.wanted:
            return
        count = len(self.latitude)
        if count >= MOST_POINTS:
            raise FileError([f"{self.path}: more than {MOST_POINTS} points"])
        try:
            latitude, longitude = float(element.attrib["lat"]), float(element.attrib["lon"])
        except (KeyError, ValueError):
            line = _line_of(self.path, f"<{name}".encode(), count)
            raise FileError([
                f'{self.path}:{line}: a point without numbers for "lat" and "lon"'
            ]) from None  # fmt: skip
        self.latitude.append(latitude)
        self.longitude.append(longitude)
        self.time.append(_seconds(element))


def _seconds(element: ElementTree.Element) -> float:
    for child in element:
        if child.tag.rpartition("}")[2] == "time" and child.text:
            try:
                return datetime.fromisoformat(child.text.strip()[:40]).timestamp()
            except (ValueError, OverflowError):
                return math.nan
    return math.nan


def _line_of(path: Path, tag: bytes, count: int) -> int:
    """Line of the file on which the tag stands after so many others."""
    seen = 0
    with path.open("rb") as file:
        for number, line in enumerate(file, start=1):
            seen += line.count(tag)
            if seen > count:
                return number
    return 1
