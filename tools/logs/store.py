"""The compact store of a log: columns in blocks, compressed with Zstandard, read at random by time.

File, all numbers little-endian:

* 8 octets `XLATELOG`, 4 octets version (1)
* blocks, each one a Zstandard frame of the columns of up to `BLOCK_ROWS` frames
* index: a Zstandard frame of JSON: channels, totals, source facts, and per block its place, its
  size, its number of frames, its first and its last time
* 8 octets place of the index, 4 octets its size, 4 octets CRC-32 (ISO-HDLC) of the index frame,
  8 octets `XLATEEND`

`store_blocks.py` says how a block is coded. Nothing is lost: what comes out is what went in, and a
damaged block is an error, never a wrong frame (Zstandard checks each block).
"""

import contextlib
import json
import os
import struct
import tempfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

import zstandard

from tools.logs.store_blocks import decode_block, encode_block
from tools.logs.table import FrameTable, joined, zeros
from xlate_core.errors import InputError, reason_of

SUFFIX = ".xlog"
MAGIC, END, VERSION = b"XLATELOG", b"XLATEEND", 1
BLOCK_ROWS = 65_536
LEVEL = 9
_TAIL = struct.Struct("<QII8s")


@dataclass(frozen=True, slots=True)
class BlockPlace:
    """Where a block stands and what times it covers (microseconds, both inclusive)."""

    place: int
    size: int
    rows: int
    first_us: int
    last_us: int


class StoreWriter:
    """Writes a store; a context manager that leaves a whole file or none.

    Rows are added in the order of time. Disk full or no permission: InputError, and the temporary
    file beside the target is removed.
    """

    def __init__(self, path: Path, channels: tuple[str, ...] = ()) -> None:
        self.path = path
        self.channels = channels
        self.rows = 0
        self.facts: dict[str, Any] = {}
        self._pending: list[FrameTable] = []
        self._waiting = 0
        self._places: list[BlockPlace] = []
        self._pack = zstandard.ZstdCompressor(level=LEVEL, write_checksum=True)
        if not path.parent.is_dir():
            raise InputError(f"{path}: the folder {path.parent} does not exist")
        try:
            handle, name = tempfile.mkstemp(prefix=".xlate-", suffix=SUFFIX, dir=path.parent)
        except OSError as error:
            raise _cannot_write(path, error) from None
        self._temporary = Path(name)
        self._file: IO[bytes] = os.fdopen(handle, "wb")

    def __enter__(self) -> Self:
        self._put(MAGIC + struct.pack("<I", VERSION))
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if error is None:
                self._finish()
                self._file.close()
                self._temporary.chmod(0o644)  # mkstemp leaves it to its owner alone
                os.replace(self._temporary, self.path)  # noqa: PTH105 - atomic over the old file
        except OSError as failure:
            raise _cannot_write(self.path, failure) from None
        finally:
            with contextlib.suppress(OSError):  # what a full disk left is removed next
                self._file.close()
            self._temporary.unlink(missing_ok=True)

    def add(self, table: FrameTable) -> None:
        """Add rows that are not before the last ones in time."""
        if not len(table):
            return
        self._pending.append(table)
        self._waiting += len(table)
        if self._waiting >= BLOCK_ROWS:
            whole = joined(self._pending)
            end = len(whole) - len(whole) % BLOCK_ROWS
            for start in range(0, end, BLOCK_ROWS):
                self._write_block(whole.rows(slice(start, start + BLOCK_ROWS)))
            self._pending = [whole.rows(slice(end, None))]
            self._waiting = len(whole) - end

    def _write_block(self, table: FrameTable) -> None:
        packed = self._pack.compress(encode_block(table))
        place = self._file.tell()
        self._put(packed)
        times = int(table.time_us[0]), int(table.time_us[-1])
        self._places.append(BlockPlace(place, len(packed), len(table), *times))
        self.rows += len(table)

    def _finish(self) -> None:
        if self._waiting:
            self._write_block(joined(self._pending))
        index = {
            "channels": list(self.channels),
            "rows": self.rows,
            "facts": self.facts,
            "blocks": [[b.place, b.size, b.rows, b.first_us, b.last_us] for b in self._places],
        }
        packed = self._pack.compress(json.dumps(index).encode("utf-8"))
        place = self._file.tell()
        self._put(packed)
        self._put(_TAIL.pack(place, len(packed), zlib.crc32(packed), END))
        self._file.flush()

    def _put(self, octets: bytes) -> None:
        try:
            self._file.write(octets)
        except OSError as error:
            raise _cannot_write(self.path, error) from None


class Store:
    """An open store: its channels, facts and blocks; rows are read when asked for."""

    def __init__(self, path: Path) -> None:
        """Read the index; raises InputError for anything that is no whole store."""
        self.path = path
        try:
            size = path.stat().st_size
            with path.open("rb") as file:
                head = file.read(12)
                if head[:8] != MAGIC:
                    raise InputError(f"{path}: is no {SUFFIX} store (it does not begin so)")
                version = int.from_bytes(head[8:12], "little")
                if version != VERSION:
                    raise InputError(f"{path}: is a store of version {version}, read is {VERSION}")
                file.seek(max(12, size - _TAIL.size))
                tail = file.read()
                if len(tail) != _TAIL.size or not tail.endswith(END):
                    raise InputError(f"{path}: the store is cut short (its end is missing)")
                place, length, check, _ = _TAIL.unpack(tail)
                file.seek(place)
                packed = file.read(length)
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({reason_of(error)})") from None
        if zlib.crc32(packed) != check:
            raise InputError(f"{path}: the store is damaged (its index does not fit its checksum)")
        index = json.loads(zstandard.ZstdDecompressor().decompress(packed))
        self.channels = tuple(index["channels"])
        self.rows = int(index["rows"])
        self.facts: dict[str, Any] = index["facts"]
        self.blocks = [BlockPlace(*block) for block in index["blocks"]]

    def tables(self, from_us: int | None = None, to_us: int | None = None) -> Iterator[FrameTable]:
        """Yield the rows between two times (inclusive), block by block; others stay unread."""
        low = self.blocks[0].first_us if from_us is None and self.blocks else from_us or 0
        high = self.blocks[-1].last_us if to_us is None and self.blocks else to_us or 0
        unpack = zstandard.ZstdDecompressor()
        with self.path.open("rb") as file:
            for number, block in enumerate(self.blocks, start=1):
                if block.last_us < low or block.first_us > high:
                    continue
                file.seek(block.place)
                try:
                    octets = unpack.decompress(file.read(block.size))
                    table = decode_block(octets, self.channels)
                except (zstandard.ZstdError, ValueError, struct.error, IndexError):
                    raise InputError(f"{self.path}: block {number} is damaged") from None
                if block.first_us < low or block.last_us > high:
                    table = table.rows((table.time_us >= low) & (table.time_us <= high))
                yield table

    def read(self, from_us: int | None = None, to_us: int | None = None) -> FrameTable:
        """Return all rows between two times (inclusive) in memory."""
        tables = list(self.tables(from_us, to_us))
        return joined(tables) if tables else zeros(0, self.channels)


def _cannot_write(path: Path, error: OSError) -> InputError:
    return InputError(f"{path}: cannot be written ({reason_of(error)}); nothing was left behind")
