"""A log as frames on the two buses: channels mapped, times checked, everything else counted.

Times are integer microseconds from the first message on. They must not run backward; `sort` puts
them in order, frames of one time in the order of the file, through a file on disk.
"""

import sqlite3
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tools.logs.messages import LogFile
from xlate_core.errors import InputError
from xlate_core.frames import BUS_NAMES, MAX_DATA_LENGTH, Bus, Frame, received
from xlate_core.pairing.problems import nearest_name

if TYPE_CHECKING:
    import can

IGNORE = "ignore"
MICROSECONDS = 1_000_000


class Kind(StrEnum):
    """Why a message of a log is no frame for the bridge."""

    ERROR = "error_frames"
    REMOTE = "remote_frames"
    FD = "can_fd_frames"
    CHANNEL = "unmapped_channel"


class Timed(NamedTuple):
    """A frame with its time in microseconds as the log has it, and its place in the file."""

    time: int
    frame: Frame
    place: str


@dataclass(frozen=True, slots=True)
class ReadingOptions:
    """How to read: channel names to buses (None = leave out), sorting, the longest pause.

    `longest_gap_s` (seconds, at least 1) is the longest pause that is believed: a larger one is a
    clock that was set while logging.
    """

    channels: dict[str, Bus | None]
    sort: bool = False
    longest_gap_s: int = 3600


@dataclass(slots=True)
class Reading:
    """Reads one log and counts what it read: `read` per bus, `ignored` per kind."""

    path: Path
    options: ReadingOptions
    read: Counter[Bus] = field(default_factory=Counter)
    ignored: Counter[Kind] = field(default_factory=Counter)
    channels: Counter[str] = field(default_factory=Counter)
    first_time: int = 0

    def frames(self) -> Iterator[Timed]:
        """Yield the frames of both buses in the order of time; raises InputError."""
        self.read.clear()
        self.ignored.clear()
        self.channels.clear()
        log = LogFile(self.path)
        source = self._in_file_order(log)
        previous = None
        for timed in _sorted(source) if self.options.sort else source:
            if previous is None:
                previous = self.first_time = timed.time
            self._check_pause(timed, previous)
            previous = timed.time
            self.read[Bus(timed.frame.bus)] += 1
            yield timed
        if not log.count:
            raise InputError(f"{self.path}: has no CAN frame in it")
        if previous is None:
            left_out = ", ".join(f"{count} {kind}" for kind, count in self.ignored.items())
            raise InputError(f"{self.path}: has no frame for the bridge (left out: {left_out})")

    def _in_file_order(self, log: LogFile) -> Iterator[Timed]:
        messages = log.messages()
        mapped = self.options.channels
        for message in messages:
            kind = _kind(message, log)
            if kind is not None:
                self.ignored[kind] += 1
                continue
            channel = log.channel(message)
            self.channels[channel] += 1
            if channel not in mapped:
                for other in messages:  # name every channel, not only the first one met
                    if _kind(other, log) is None:
                        self.channels[log.channel(other)] += 1
                raise self._unmapped()
            bus = mapped[channel]
            if bus is None:
                self.ignored[Kind.CHANNEL] += 1
                continue
            yield Timed(_time(message, log.place), _frame(message, bus, log.place), log.place)

    def _check_pause(self, timed: Timed, previous: int) -> None:
        if timed.time < previous:
            raise InputError(
                f"{timed.place}: time runs backward, {_seconds(timed.time)} s after "
                f"{_seconds(previous)} s; --sort puts the frames in order"
            )
        if timed.time - previous > self.options.longest_gap_s * MICROSECONDS:
            raise InputError(
                f"{timed.place}: a pause of {_seconds(timed.time - previous)} s before this frame; "
                "was the clock set while logging? --longest-gap-s allows longer ones"
            )

    def _unmapped(self) -> InputError:
        mapped = self.options.channels
        found = ", ".join(
            f"{channel} ({count} {'frame' if count == 1 else 'frames'})"
            for channel, count in sorted(self.channels.items())
        )
        strange = [channel for channel in sorted(self.channels) if channel not in mapped]
        options = " ".join(f"--channel {channel}=BUS" for channel in strange)
        return InputError(
            f"{self.path}: channel {strange[0]} belongs to no bus; channels found: {found}; say "
            f"which bus each is: {options}, BUS being body, engine or ignore"
        )


def parse_channels(options: tuple[str, ...]) -> dict[str, Bus | None]:
    """Return the mapping of `--channel NAME=BUS` options; channels named as the buses map too."""
    mapped: dict[str, Bus | None] = {name: bus for bus, name in zip(Bus, BUS_NAMES, strict=True)}
    for option in options:
        channel, equals, name = option.rpartition("=")
        if not equals or not channel:
            raise InputError(f"--channel {option}: expected NAME=BUS, for instance can0=engine")
        if name not in (*BUS_NAMES, IGNORE):
            near = nearest_name(name, (*BUS_NAMES, IGNORE))
            hint = "" if near is None else f"; nearest valid name: {near}"
            raise InputError(
                f"--channel {option}: found bus {name}, expected body, engine or ignore{hint}"
            )
        mapped[channel] = None if name == IGNORE else Bus(BUS_NAMES.index(name))
    return mapped


def _kind(message: "can.Message", log: LogFile) -> Kind | None:
    """Return why a message is left out whatever its channel, or None."""
    if message.is_error_frame or log.tells_error:
        return Kind.ERROR
    if message.is_fd:
        return Kind.FD
    return Kind.REMOTE if message.is_remote_frame else None


def _time(message: "can.Message", place: str) -> int:
    """Return the time of a message in microseconds, the resolution of log formats."""
    try:
        time = round(message.timestamp * MICROSECONDS)
    except (ValueError, OverflowError):
        raise InputError(f"{place}: found time {message.timestamp}, expected seconds") from None
    if not 0 <= time < 1 << 62:
        raise InputError(f"{place}: found time {message.timestamp} s, expected 0 or later")
    return time


def _frame(message: "can.Message", bus: Bus, place: str) -> Frame:
    """Return the frame of a message; a log that announces more octets than it has is damaged."""
    data = bytes(message.data)
    if len(data) < min(message.dlc, MAX_DATA_LENGTH):
        raise InputError(f"{place}: found {len(data)} octets, expected {message.dlc} as announced")
    return received(bus, message.is_extended_id, message.arbitration_id, message.dlc, data)


def _sorted(source: Iterator[Timed]) -> Iterator[Timed]:
    """Yield the frames by time, then place in the file, in memory that does not grow."""
    with (
        tempfile.TemporaryDirectory(prefix="xlate-sort-") as folder,
        closing(sqlite3.connect(Path(folder) / "frames", isolation_level=None)) as table,
    ):
        table.execute("PRAGMA journal_mode = OFF")
        table.execute("PRAGMA synchronous = OFF")
        table.execute("BEGIN")
        table.execute("CREATE TABLE frames (time, bus, extended, identifier, data, place)")
        table.executemany(
            "INSERT INTO frames VALUES (?, ?, ?, ?, ?, ?)",
            ((time, *frame, place) for time, frame, place in source),
        )
        table.execute("COMMIT")
        for time, bus, extended, identifier, data, place in table.execute(
            "SELECT * FROM frames ORDER BY time, rowid"
        ):
            yield Timed(time, Frame(bus, bool(extended), identifier, data), place)


def _seconds(microseconds: int) -> str:
    """Return a time in seconds with its six places."""
    return f"{microseconds // MICROSECONDS}.{microseconds % MICROSECONDS:06d}"
