"""What can still be read out of a damaged notebook, page by page.

A notebook is an SQLite file. When its header, its tables of contents or some of its pages are
gone, SQL reaches little or nothing, but every leaf page that is whole still holds its rows. This
module reads leaf pages by the published file format [1]_ and leaves it to the caller, who seals
each row with a check sum, to tell good rows from bad.

References
----------
.. [1] SQLite project, "Database File Format", sec. 1.5 to 1.6 (b-tree pages), 2.1 (records) and
   4 (write-ahead log).
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

PAGE_SIZE = 4096
"""Bytes a page; notebooks are made with it, so it is known when the header is gone."""
_HEADER = 100
"""Bytes of file header in front of the first page's own."""
_LOG_HEADER, _FRAME_HEADER = 32, 24
"""Bytes in front of the write-ahead log and of each page in it."""
_LEAF = 0x0D
_INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
_LONGEST_ROW = 1 << 20
"""Bytes; a longer row is a misread length, not a run (engineering judgement)."""
Value = int | float | str | bytes | None
Row = list[Value]


@dataclass(frozen=True)
class _Pages:
    """Pages by their number in the file, from 1."""

    by_number: dict[int, bytes]

    def leaf_cells(self) -> Iterator[tuple[bytes, int]]:
        """Each page that says it is a leaf of a table, and where a cell of it starts."""
        for number, page in self.by_number.items():
            top = _HEADER if number == 1 else 0
            if page[top] != _LEAF:
                continue
            (count,) = struct.unpack_from(">H", page, top + 3)
            for i in range(min(count, (len(page) - top - 8) // 2)):
                (at,) = struct.unpack_from(">H", page, top + 8 + 2 * i)
                if at < len(page):
                    yield page, at

    def payload(self, page: bytes, at: int) -> bytes:
        """The record of a cell, its overflow pages followed."""
        size, at = _varint(page, at)
        _, at = _varint(page, at)
        if size > _LONGEST_ROW:
            raise ValueError("a row longer than any run")
        usable = len(page)
        local = _local_size(size, usable)
        data = page[at : at + local]
        if local == size:
            return data
        (following,) = struct.unpack_from(">I", page, at + local)
        parts, missing = [data], size - local
        while missing > 0:
            beyond = self.by_number[following]
            (following,) = struct.unpack_from(">I", beyond, 0)
            parts.append(beyond[4 : 4 + min(missing, usable - 4)])
            missing -= usable - 4
        return b"".join(parts)


def readable_rows(book: bytes, log: bytes = b"") -> Iterator[Row]:
    """Every row that can be decoded from a file and its write-ahead log, old versions as well.

    Parameters
    ----------
    book : bytes
        The file.
    log : bytes
        Its write-ahead log, if there is one.

    Yields
    ------
    list
        Values of a row in column order. The same row may come twice, and a damaged one may come
        garbled: the caller checks seals.
    """
    base = {1 + i // PAGE_SIZE: page for i, page in _cut(book, 0, PAGE_SIZE)}
    yield from _rows(_Pages(base))
    frames = list(_cut(log, _LOG_HEADER, _FRAME_HEADER + PAGE_SIZE))
    if frames:
        newer = {struct.unpack_from(">I", frame)[0]: frame[_FRAME_HEADER:] for _, frame in frames}
        yield from _rows(_Pages({**base, **newer}))


def _cut(data: bytes, start: int, size: int) -> Iterator[tuple[int, bytes]]:
    """Whole pieces of a size, and where each starts."""
    for i in range(start, len(data) - size + 1, size):
        yield i, data[i : i + size]


def _rows(pages: _Pages) -> Iterator[Row]:
    for page, at in pages.leaf_cells():
        try:
            yield _record(pages.payload(page, at))
        except (ValueError, KeyError, IndexError, struct.error):
            continue  # this cell is past reading; the next may not be


def _local_size(size: int, usable: int) -> int:
    """Bytes of a record kept in its leaf page, the rest being on overflow pages."""
    if size <= usable - 35:
        return size
    least = (usable - 12) * 32 // 255 - 23
    wanted = least + (size - least) % (usable - 4)
    return wanted if wanted <= usable - 35 else least


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length integer and where the next thing starts."""
    value = 0
    for i in range(8):
        byte = data[at + i]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + i + 1
    return value << 8 | data[at + 8], at + 9


def _record(payload: bytes) -> Row:
    """The values of a record."""
    end, at = _varint(payload, 0)
    body = end
    row: Row = []
    while at < end:
        kind, at = _varint(payload, at)
        value, body = _value(payload, kind, body)
        row.append(value)
    return row


def _value(payload: bytes, kind: int, at: int) -> tuple[Value, int]:
    """The value of a serial type, and where the next value starts."""
    if kind == 0:
        return None, at
    if kind in (8, 9):
        return kind - 8, at
    size = 8 if kind == 7 else _INTEGER_BYTES.get(kind, (kind - 12) // 2)
    data = payload[at : at + size]
    if size < 0 or len(data) < size:
        raise ValueError("a value that runs past its row")
    if kind == 7:
        return struct.unpack(">d", data)[0], at + size
    if kind in _INTEGER_BYTES:
        return int.from_bytes(data, "big", signed=True), at + size
    return (data.decode() if kind % 2 else data), at + size
