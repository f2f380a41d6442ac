"""A log in memory as columns: one numpy array a property, one row a frame, in the order of time.

Only logs that fit in memory are handled as a whole (26 octets a frame); the store reads and writes
block by block. Columns:

* `time_us`     int64, microseconds as the log has them (since an epoch, or since its start)
* `bus`         uint8, index into `channels`
* `identifier`  uint32, 11 or 29 bit
* `extended`    bool, 29-bit format
* `kind`        uint8, a `FrameKind`
* `length`      uint8, 0..8 octets (the requested length for remote frames)
* `data`        uint8, n x 8, zero beyond the length
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]

MAX_OCTETS = 8
COLUMNS = ("time_us", "bus", "identifier", "extended", "kind", "length", "data")


class FrameKind(IntEnum):
    """What a row of the table is."""

    DATA = 0
    REMOTE = 1
    ERROR = 2


class Key(NamedTuple):
    """What tells one message of a log from another."""

    bus: int
    identifier: int
    extended: bool

    def show(self) -> str:
        """Return the identifier as the trade writes it: three hexadecimal digits, or eight."""
        return f"{self.identifier:08X}" if self.extended else f"{self.identifier:03X}"


@dataclass(frozen=True, slots=True, eq=False)
class FrameTable:
    """Frames in the order of time; `channels` names the buses that `bus` counts."""

    channels: tuple[str, ...]
    time_us: Array
    bus: Array
    identifier: Array
    extended: Array
    kind: Array
    length: Array
    data: Array

    def __len__(self) -> int:
        return len(self.time_us)

    def rows(self, chosen: Any) -> "FrameTable":
        """Return the rows a slice, an index array or a mask chooses."""
        return FrameTable(self.channels, *(getattr(self, name)[chosen] for name in COLUMNS))

    def data_frames(self) -> "FrameTable":
        """Return the data frames only."""
        return self.rows(self.kind == FrameKind.DATA)

    def key_codes(self) -> Array:
        """Return one number a row that tells bus, format and identifier apart."""
        code = self.bus.astype(np.uint64) << np.uint64(32)
        code |= self.extended.astype(np.uint64) << np.uint64(31)
        return code | self.identifier.astype(np.uint64)

    def by_key(self) -> Iterator[tuple[Key, Array]]:
        """Yield every key in rising order with its row numbers in the order of time."""
        codes = self.key_codes()
        order = np.argsort(codes, kind="stable")
        starts = np.flatnonzero(np.diff(codes[order], prepend=np.uint64(0xFFFF_FFFF_FFFF_FFFF)))
        for number, start in enumerate(starts):
            end = starts[number + 1] if number + 1 < len(starts) else len(order)
            yield key_of(int(codes[order[start]])), order[start:end]

    def equals(self, other: "FrameTable") -> bool:
        """Return whether two tables hold the same frames in the same order."""
        return self.channels == other.channels and all(
            np.array_equal(getattr(self, name), getattr(other, name)) for name in COLUMNS
        )


def key_of(code: int) -> Key:
    """Return the key of a number of `key_codes`."""
    return Key(code >> 32, code & 0x7FFF_FFFF, bool(code >> 31 & 1))


def empty(channels: tuple[str, ...] = ()) -> FrameTable:
    """Return a table without rows."""
    return zeros(0, channels)


def zeros(count: int, channels: tuple[str, ...]) -> FrameTable:
    """Return a table of `count` rows of zeros, to be filled in."""
    return FrameTable(
        channels,
        np.zeros(count, np.int64),
        np.zeros(count, np.uint8),
        np.zeros(count, np.uint32),
        np.zeros(count, np.bool_),
        np.zeros(count, np.uint8),
        np.zeros(count, np.uint8),
        np.zeros((count, MAX_OCTETS), np.uint8),
    )


def joined(tables: Sequence[FrameTable]) -> FrameTable:
    """Return the rows of tables with the same channels, one after the other."""
    if not tables:
        return empty()
    if len(tables) == 1:
        return tables[0]
    return FrameTable(
        tables[-1].channels,
        *(np.concatenate([getattr(table, name) for table in tables]) for name in COLUMNS),
    )


def in_time_order(table: FrameTable) -> FrameTable:
    """Return the rows by time; rows of one time keep their order."""
    if len(table) < 2 or bool(np.all(table.time_us[1:] >= table.time_us[:-1])):
        return table
    return table.rows(np.argsort(table.time_us, kind="stable"))
