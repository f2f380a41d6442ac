"""A table of frames into a file: candump text, a compact store, or any format python-can writes."""

import contextlib
from collections.abc import Iterable
from pathlib import Path
from typing import IO, TYPE_CHECKING

from tools.logs.messages import CANDUMP
from tools.logs.store import SUFFIX, StoreWriter
from tools.logs.table import FrameKind, FrameTable
from tools.logs.writing import NewFile, frames_suffix
from xlate_core.errors import InputError, reason_of

if TYPE_CHECKING:
    import can

_ERROR_FLAG = 0x2000_0000


def write_log(path: Path, channels: tuple[str, ...], tables: Iterable[FrameTable]) -> int:
    """Write rows in the order of time and return how many; the file appears whole or not at all."""
    if path.suffix == SUFFIX:
        with StoreWriter(path, channels) as store:
            for table in tables:
                store.add(table)
        return store.rows
    suffix = frames_suffix(path)
    new = NewFile(path)
    rows = 0
    try:
        if suffix == CANDUMP and path.suffix == CANDUMP:
            with new.temporary.open("w", encoding="utf-8", newline="\n") as file:
                for table in tables:
                    _write_text(file, channels, table)
                    rows += len(table)
        else:
            rows = _write_with_library(new.temporary, channels, tables)
        new.commit()
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({reason_of(error)})") from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            new.discard()
    return rows


def _write_text(file: IO[str], channels: tuple[str, ...], table: FrameTable) -> None:
    """Write candump text: `(seconds) channel identifier#octets`, one frame a line."""
    octets = table.data.tobytes().hex().upper()
    columns = (table.time_us, table.bus, table.identifier, table.extended, table.kind, table.length)
    lines = []
    for row, (time, bus, identifier, extended, kind, length) in enumerate(
        zip(*(column.tolist() for column in columns), strict=True)
    ):
        if kind == FrameKind.ERROR:
            shown = f"{identifier | _ERROR_FLAG:08X}"
        else:
            shown = f"{identifier:08X}" if extended else f"{identifier:03X}"
        data = octets[16 * row : 16 * row + 2 * length]
        if kind == FrameKind.REMOTE:
            data = f"R{length}" if length else "R"
        seconds, rest = divmod(time, 1_000_000)
        lines.append(f"({seconds}.{rest:06d}) {channels[bus]} {shown}#{data}\n")
    file.writelines(lines)


def _write_with_library(path: Path, channels: tuple[str, ...], tables: Iterable[FrameTable]) -> int:
    import can

    writer = can.Logger(path)
    rows = 0
    try:
        for table in tables:
            for row in range(len(table)):
                writer.on_message_received(message_of(table, row, channels))
            rows += len(table)
    finally:
        writer.stop()
    return rows


def message_of(table: FrameTable, row: int, channels: tuple[str, ...]) -> "can.Message":
    """Return one row as a python-can message; the channel is the number of the bus."""
    import can

    length = int(table.length[row])
    remote = int(table.kind[row]) == FrameKind.REMOTE
    return can.Message(
        timestamp=int(table.time_us[row]) / 1_000_000,
        arbitration_id=int(table.identifier[row]),
        is_extended_id=bool(table.extended[row]),
        is_remote_frame=remote,
        is_error_frame=int(table.kind[row]) == FrameKind.ERROR,
        dlc=length,
        data=None if remote else table.data[row, :length].tobytes(),
        channel=int(table.bus[row]),
    )
