"""Where references come from: a CSV file, OBD answers in the log, a named signal of a database."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tools.logs.bits import Field, extract
from tools.logs.inspection.references import Reference
from tools.logs.table import FrameKind, FrameTable
from xlate_core.errors import InputError, reason_of

# SAE J1979 mode 01: parameter -> name, octets, scale (from memory, common in public tables).
_OBD: dict[int, tuple[str, int, Callable[[float, float], float]]] = {
    0x04: ("obd engine load %", 1, lambda a, b: a * 100 / 255),
    0x05: ("obd coolant degC", 1, lambda a, b: a - 40),
    0x0B: ("obd manifold pressure kPa", 1, lambda a, b: a),
    0x0C: ("obd engine speed rpm", 2, lambda a, b: (256 * a + b) / 4),
    0x0D: ("obd road speed km/h", 1, lambda a, b: a),
    0x0F: ("obd intake temperature degC", 1, lambda a, b: a - 40),
    0x10: ("obd air flow g/s", 2, lambda a, b: (256 * a + b) / 100),
    0x11: ("obd throttle %", 1, lambda a, b: a * 100 / 255),
    0x42: ("obd supply V", 2, lambda a, b: (256 * a + b) / 1000),
    0x5C: ("obd oil temperature degC", 1, lambda a, b: a - 40),
}
_FIRST_ANSWER, _LAST_ANSWER = 0x7E8, 0x7EF
FEWEST = 10


def from_csv(path: Path, start_us: int) -> list[Reference]:
    """Return the columns of a CSV file; the first is the time in seconds from the log's start.

    A first row names the columns. Raises InputError naming file and line.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as CSV ({reason_of(error)})") from None
    if len(rows) < FEWEST or len(rows[0]) < 2:
        raise InputError(
            f"{path}: found {len(rows)} rows of {len(rows[0]) if rows else 0} columns, expected a "
            f"heading, then at least {FEWEST} rows: seconds from the start of the log, values"
        )
    numbers = []
    for line, row in enumerate(rows[1:], start=2):
        try:
            numbers.append([float(cell) for cell in row])
        except ValueError:
            numbers.append([])
        if len(numbers[-1]) != len(rows[0]) or not np.all(np.isfinite(numbers[-1])):
            raise InputError(
                f'{path}:{line}: found "{",".join(row)[:40]}", expected {len(rows[0])} numbers'
            )
    table = np.array(numbers)
    times = np.asarray(np.round(table[:, 0] * 1_000_000), np.int64) + start_us
    if bool(np.any(np.diff(times) <= 0)):
        line = int(np.flatnonzero(np.diff(times) <= 0)[0]) + 3
        raise InputError(f"{path}:{line}: found a time that is not after the one before")
    return [
        Reference(name.strip(), path.name, times, table[:, column])
        for column, name in enumerate(rows[0])
        if column
    ]


def from_obd(table: FrameTable) -> list[Reference]:
    """Return the parameters that diagnostic answers (7E8..7EF, mode 01) in the log tell."""
    answers = (table.identifier >= _FIRST_ANSWER) & (table.identifier <= _LAST_ANSWER)
    answers &= (table.kind == FrameKind.DATA) & ~table.extended & (table.length >= 4)
    answers &= (table.data[:, 1] == 0x41) & (table.data[:, 0] >= 3) & (table.data[:, 0] <= 7)
    found = []
    for parameter, (name, octets, scale) in _OBD.items():
        mine = np.flatnonzero(answers & (table.data[:, 2] == parameter))
        mine = mine[table.data[mine, 0] >= 2 + octets]
        times, first = np.unique(table.time_us[mine], return_index=True)
        mine = mine[first]
        if len(mine) < FEWEST:
            continue
        raw = table.data[mine].astype(np.float64)
        values = np.array([scale(a, b) for a, b in zip(raw[:, 3], raw[:, 4], strict=True)])
        found.append(Reference(name, "OBD answers in the log", times, values))
    return found


def from_database(table: FrameTable, wish: str) -> Reference:
    """Return a signal of one bus as a reference: FILE.dbc:BUS.MESSAGE.SIGNAL; raises InputError."""
    expected = f"--follow {wish}: expected FILE.dbc:BUS.MESSAGE.SIGNAL"
    file, colon, names = wish.rpartition(":")
    parts = names.split(".")
    if not colon or len(parts) != 3:
        raise InputError(expected)
    bus, message_name, signal_name = parts
    if bus not in table.channels:
        raise InputError(f"{expected}; the log has the buses {', '.join(table.channels)}")
    import cantools

    try:
        database = cantools.database.load_file(file)
    except Exception as error:  # noqa: BLE001 - the library raises anything at foreign files
        raise InputError(f"{file}: cannot be read as a DBC ({reason_of(error)})") from None
    messages = {message.name: message for message in database.messages}  # type: ignore[union-attr]
    if message_name not in messages:
        raise InputError(f"{file}: has no message {message_name}")
    message = messages[message_name]
    signal = next((each for each in message.signals if each.name == signal_name), None)
    if signal is None:
        raise InputError(f"{file}: message {message_name} has no signal {signal_name}")
    mine = (table.bus == table.channels.index(bus)) & (table.kind == FrameKind.DATA)
    mine &= (table.identifier == message.frame_id) & (table.extended == message.is_extended_frame)
    rows = np.flatnonzero(mine)
    if len(rows) < FEWEST:
        raise InputError(
            f"{wish}: the log has {len(rows)} such frames, at least {FEWEST} are needed"
        )
    place = Field(
        signal.start, signal.length, signal.byte_order == "big_endian", bool(signal.is_signed)
    )
    times, first = np.unique(table.time_us[rows], return_index=True)
    raw = extract(place, table.data[rows[first]]).astype(np.float64)
    values = raw * float(signal.scale) + float(signal.offset)
    return Reference(f"{bus}.{message_name}.{signal_name}", file, times, values)
