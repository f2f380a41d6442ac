"""The state image: every declared field in order and width, little-endian (rule 15).

The image is what the digest is taken over, what a snapshot stores and restore reads back. Tick
number, observers and events are outside.
"""

import zlib
from collections.abc import Callable, Iterable
from functools import cache
from operator import attrgetter
from struct import Struct
from typing import Any, NamedTuple

from xlate_core.fields import Field, Width, take_up

_CODES = {
    Width.U8: "B",
    Width.U16: "H",
    Width.U32: "I",
    Width.U64: "Q",
    Width.I32: "i",
    Width.I64: "q",
}
"""How the standard library's struct writes a width."""


class NamedRecord(NamedTuple):
    """A state record and the path its fields are shown under."""

    path: str
    record: Any


class ImageError(ValueError):
    """A snapshot that does not fit this bridge: our own misuse, never bus data."""


def write(records: Iterable[NamedRecord]) -> bytes:
    """Return the image of the records in the given order."""
    parts = []
    for _, record in records:
        values, layout = _layout(record.__class__)
        parts.append(layout.pack(*values(record)))
    return b"".join(parts)


@cache
def _layout(kind: Any) -> tuple[Callable[[Any], tuple[int, ...]], Struct]:
    """Return what takes the values out of a kind of record, and how they stand in the image."""
    names = [field.name for field in kind.FIELDS]
    layout = Struct("<" + "".join(_CODES[field.width] for field in kind.FIELDS))
    if len(names) == 1:  # attrgetter gives one value alone, not a tuple of it
        return lambda record: (getattr(record, names[0]),), layout
    return attrgetter(*names), layout


def read(records: Iterable[NamedRecord], image: bytes) -> None:
    """Set the fields of the records from an image of exactly their length."""
    known = [(record, _layout(record.__class__)[1]) for _, record in records]
    expected = sum(layout.size for _, layout in known)
    if len(image) != expected:
        raise ImageError(f"state image has {len(image)} octets, expected {expected}")
    place = 0
    for record, layout in known:
        for field, value in zip(record.FIELDS, layout.unpack_from(image, place), strict=True):
            take_up(record, field, value)
        place += layout.size


def describe(records: Iterable[NamedRecord]) -> list[tuple[str, Field, int]]:
    """Return (path, declaration, value) of every field in image order: the state dump."""
    return [
        (f"{path}.{field.name}", field, int(getattr(record, field.name)))
        for path, record in records
        for field in record.FIELDS
    ]


def digest(image: bytes) -> int:
    """Return CRC-32/ISO-HDLC over the image; the standard library's zlib computes that CRC."""
    return zlib.crc32(image)
