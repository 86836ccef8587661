"""Packing of a PDF's small objects into compressed streams.

The typesetter writes every object that is no stream in plain text: in a long report the
structure for screen readers is then four fifths of the file. ISO 32000-1 lets such
objects stand together in compressed object streams (7.5.7), found by a cross-reference
stream (7.5.8); PDF/A-3 allows both (ISO 19005-3, 6.1.4). Streams are copied byte for
byte: pages, fonts, attached files, and the metadata in plain text.
"""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

# A reader unpacks a whole stream for one object, and larger ones hardly pack better.
OBJECTS_PER_STREAM = 400
ENTRY_WIDTHS = (1, 4, 2)  # type; offset or stream number; generation or index [bytes]
FREE, PLAIN, PACKED = 0, 1, 2  # types of an entry, ISO 32000-1 table 18
UNUSED = (FREE, 0, 65535)
PNG_UP = 2
_TRAILER = re.compile(
    rb"trailer\s*<<(?P<members>.*)>>\s*startxref\s+(?P<table>\d+)\s+%%EOF\s*$",
    re.DOTALL,
)
_TABLE = re.compile(rb"xref\s+0 (?P<size>\d+)\s+")
_OBJECT = re.compile(rb"(\d+) 0 obj\s+(.*?)\s*endobj\s*$", re.DOTALL)
_SIZE = re.compile(rb"/Size \d+\s*")
TABLE_ENTRY_BYTES = 20


class PackingError(ValueError):
    """The file is not written as the typesetter writes one."""


@dataclass(frozen=True, slots=True)
class _IndirectObject:
    number: int
    source: bytes  # from its number to `endobj`
    value: bytes

    @property
    def is_stream(self) -> bool:
        return self.value.endswith(b"endstream")


def pack_pdf(content: bytes) -> bytes:
    """Pack the objects of a PDF that has one cross-reference table.

    The same file gives the same bytes.

    Raises
    ------
    PackingError
        If the file has no such table, or an object is not where the table says.
    """
    trailer = _TRAILER.search(content)
    if trailer is None:
        msg = "The PDF does not end with a trailer and a cross-reference table."
        raise PackingError(msg)
    start = int(trailer["table"])
    objects = _read_objects(content, start)
    plain = [each for each in objects if each.is_stream]
    small = [each for each in objects if not each.is_stream]
    size = max(each.number for each in objects) + 1
    written = bytearray(content[: min(_list_offsets(content, start))])
    entries: dict[int, tuple[int, int, int]] = {}
    for each in plain:
        entries[each.number] = (PLAIN, len(written), 0)
        written += each.source + b"\n\n"
    for first in range(0, len(small), OBJECTS_PER_STREAM):
        members = small[first : first + OBJECTS_PER_STREAM]
        entries[size] = (PLAIN, len(written), 0)
        for index, each in enumerate(members):
            entries[each.number] = (PACKED, size, index)
        written += _write_object_stream(size, members)
        size += 1
    entries[size] = (PLAIN, len(written), 0)
    table = len(written)
    written += _write_table(size, entries, _SIZE.sub(b"", trailer["members"]))
    written += b"startxref\n%d\n%%%%EOF\n" % table
    return bytes(written)


def _list_offsets(content: bytes, start: int) -> list[int]:
    """List where the objects begin, in the order of the file."""
    head = _TABLE.match(content, start)
    if head is None:
        msg = f"No cross-reference table at byte {start}."
        raise PackingError(msg)
    rows = (head.end() + TABLE_ENTRY_BYTES * n for n in range(int(head["size"])))
    return sorted(
        int(content[row : row + 10])
        for row in rows
        if content[row + 17 : row + 18] == b"n"
    )


def _read_objects(content: bytes, start: int) -> list[_IndirectObject]:
    offsets = _list_offsets(content, start)
    objects = []
    for begin, end in zip(offsets, [*offsets[1:], start], strict=True):
        found = _OBJECT.match(content[begin:end])
        if found is None:
            msg = f"No object at byte {begin}."
            raise PackingError(msg)
        objects.append(_IndirectObject(int(found[1]), found[0].rstrip(), found[2]))
    return objects


def _write_object_stream(number: int, members: list[_IndirectObject]) -> bytes:
    """Write objects one behind the other, after their numbers and offsets."""
    values, index, offset = [], [], 0
    for each in members:
        index.append(b"%d %d" % (each.number, offset))
        values.append(each.value)
        offset += len(each.value) + 1
    head = b" ".join(index) + b"\n"
    return _write_stream(
        number,
        b"/Type/ObjStm/N %d/First %d" % (len(members), len(head)),
        head + b"\n".join(values),
    )


def _write_table(
    number: int, entries: Mapping[int, tuple[int, int, int]], members: bytes
) -> bytes:
    """Write the cross-reference stream, each row less the one before it.

    Neighbours differ by one index, so that the differences pack to almost nothing
    (the filter "up" of PNG, ISO 32000-1, 7.4.4.4).
    """
    before = bytes(sum(ENTRY_WIDTHS))
    rows = bytearray()
    for each in range(number + 1):
        row = b"".join(
            value.to_bytes(width, "big")
            for width, value in zip(
                ENTRY_WIDTHS, entries.get(each, UNUSED), strict=True
            )
        )
        rows.append(PNG_UP)
        rows += bytes((a - b) & 0xFF for a, b in zip(row, before, strict=True))
        before = row
    widths = b" ".join(b"%d" % width for width in ENTRY_WIDTHS)
    predictor = b"/DecodeParms<</Predictor 12/Columns %d>>" % sum(ENTRY_WIDTHS)
    kind = b"/Type/XRef/Size %d/W[%b]" % (number + 1, widths)
    return _write_stream(number, kind + members + predictor, bytes(rows))


def _write_stream(number: int, members: bytes, content: bytes) -> bytes:
    packed = zlib.compress(content, 9)
    head = b"%d 0 obj\n<<%b/Filter/FlateDecode/Length %d>>\nstream\n"
    return head % (number, members, len(packed)) + packed + b"\nendstream\nendobj\n\n"
