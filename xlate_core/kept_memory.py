"""The memory that survives a reset: every field declared `kept`, sealed (rule 1).

    layout (4 octets) | kept fields in image order, little-endian | CRC-32/ISO-HDLC (4 octets)

`layout` is a CRC-32 over the names and widths of the kept fields: memory of another pairing, or of
a version that keeps other fields, does not fit and is refused as a whole. So is memory whose CRC is
wrong: after a supply loss it may hold anything.
"""

import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from xlate_core.arithmetic import UINT16_MAX
from xlate_core.fields import Field, Overflow, Width, take_up
from xlate_core.state_image import NamedRecord

MARK_OCTETS = 4

# What became of the kept memory at the last reset.
MEMORY_NONE = 0
MEMORY_TAKEN = 1
MEMORY_REFUSED = 2


@dataclass(slots=True)
class StartState:
    """Why the module started, and what it knows of its starts before.

    - `cause` is the reset cause of this start, `before` that of the start before;
    - `starts` counts the starts since the kept memory was empty, this one included;
    - `memory` says whether kept memory was there and taken.
    """

    cause: int = 0
    before: int = 0
    starts: int = 1
    memory: int = MEMORY_NONE

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("cause", Width.U8, Overflow.BOUNDED, kept=True),
        Field("before", Width.U8, Overflow.BOUNDED),
        Field("starts", Width.U16, Overflow.SATURATE, 1, kept=True),
        Field("memory", Width.U8, Overflow.BOUNDED),
    )


def note_start(state: StartState, cause: int, given: bool, taken: bool) -> None:
    """Note this start, after the kept fields were taken up."""
    if taken:
        state.before = state.cause
        state.starts = min(state.starts + 1, UINT16_MAX)
        state.memory = MEMORY_TAKEN
    elif given:
        state.memory = MEMORY_REFUSED
    state.cause = cause


def layout(records: Iterable[NamedRecord]) -> int:
    """Return the number of this layout of kept fields."""
    lines = (f"{path}.{field.name}:{field.width.name}\n" for path, _, field in _kept(records))
    return zlib.crc32("".join(lines).encode("utf-8"))


def write(records: Iterable[NamedRecord], mark: int) -> bytes:
    """Return the kept memory of the records; `mark` is their layout."""
    parts = [mark.to_bytes(MARK_OCTETS, "little")]
    for _, record, field in _kept(records):
        value = int(getattr(record, field.name))
        parts.append(value.to_bytes(field.width.octets, "little", signed=field.width.signed))
    content = b"".join(parts)
    return content + zlib.crc32(content).to_bytes(MARK_OCTETS, "little")


def is_whole(mark: int, kept: bytes) -> bool:
    """Return whether kept memory is whole and ours."""
    content, seal = kept[:-MARK_OCTETS], kept[-MARK_OCTETS:]
    return (
        content[:MARK_OCTETS] == mark.to_bytes(MARK_OCTETS, "little")
        and zlib.crc32(content).to_bytes(MARK_OCTETS, "little") == seal
    )


def read(records: Iterable[NamedRecord], mark: int, kept: bytes) -> bool:
    """Take up kept memory; return false and change nothing when it is not whole or not ours."""
    named = list(_kept(records))
    length = sum(field.width.octets for _, _, field in named) + 2 * MARK_OCTETS
    if len(kept) != length or not is_whole(mark, kept):
        return False
    place = MARK_OCTETS
    for _, record, field in named:
        octets = kept[place : place + field.width.octets]
        take_up(record, field, int.from_bytes(octets, "little", signed=field.width.signed))
        place += field.width.octets
    return True


def _kept(records: Iterable[NamedRecord]) -> Iterator[tuple[str, Any, Field]]:
    """Yield path, record and declaration of every kept field in image order."""
    for path, record in records:
        for field in record.FIELDS:
            if field.kept:
                yield path, record, field
