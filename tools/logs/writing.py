"""What a replay writes: sent frames as a log, signals as CSV, events as JSON lines.

All files are written under another name in their folder and put in place together at the end, so
that a replay that fails leaves nothing, and old files stay as they were.
"""

import contextlib
import csv
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, TextIO

from tools.logs.decoding import Decoder
from xlate_core.errors import InputError, reason_of
from xlate_core.events import Event
from xlate_core.frames import BUS_NAMES, Frame

if TYPE_CHECKING:
    import can

CSV_COLUMNS = ("tick", "time_s", "bus", "message", "signal", "physical", "unit")
NAMES_CHANNELS = (".log", ".txt")
"""Formats that name a channel; the others number it (body 1, engine 2) or have none."""
NO_CHANNELS = (".csv", ".db")
COMPRESSED = ".gz"


class NewFile:
    """A file on its way: written under `temporary`, renamed to `path` by `commit`."""

    def __init__(self, path: Path) -> None:
        """Make the temporary file in the folder of `path`; raises InputError."""
        self.path = path
        if path.is_dir():
            raise InputError(f"{path}: is a folder, the name of a file to write is expected")
        suffix = "".join(path.suffixes[-2:]) if path.suffix == COMPRESSED else path.suffix
        try:
            handle, name = tempfile.mkstemp(prefix=".xlate-", suffix=suffix, dir=path.parent)
        except OSError as error:
            raise InputError(
                f"{path}: cannot be written in this folder ({reason_of(error)})"
            ) from None
        os.close(handle)
        self.temporary = Path(name)

    def commit(self) -> None:
        """Put the file in its place."""
        self.temporary.chmod(0o644)  # mkstemp leaves it to its owner alone
        try:
            os.replace(self.temporary, self.path)  # noqa: PTH105
        except OSError as error:
            raise InputError(f"{self.path}: cannot be put in place ({reason_of(error)})") from None

    def discard(self) -> None:
        """Remove what was not committed."""
        with contextlib.suppress(OSError):
            self.temporary.unlink()


class Results:
    """The files a replay writes, each only when its path is given; a context manager.

    Leaving it without an error puts all files in place, else removes what was written.
    """

    def __init__(
        self,
        decoder: Decoder,
        tick_ms: int,
        frames: Path | None = None,
        signals: Path | None = None,
        events: Path | None = None,
    ) -> None:
        self.decoder = decoder
        self.tick_ms = tick_ms
        self._paths = (frames, signals, events)
        self._new: list[NewFile] = []
        self._writer: can.io.generic.MessageWriter | None = None
        self._rows: Any = None
        self._events: TextIO | None = None
        self._closing = contextlib.ExitStack()
        self._names_channels = False

    @property
    def written(self) -> list[Path]:
        """The files that are written, in the order frames, signals, events."""
        return [path for path in self._paths if path is not None]

    @property
    def notes(self) -> list[str]:
        """What the chosen format of the sent frames does not hold."""
        frames = self._paths[0]
        if frames is None:
            return []
        suffix = frames_suffix(frames)
        if suffix in NO_CHANNELS:
            return [f"{suffix} has no place for the bus of a frame"]
        if suffix in NAMES_CHANNELS:
            return []
        return [f"{suffix} numbers its channels: 1 is the body bus, 2 the engine bus"]

    def __enter__(self) -> Self:
        """Open every file; raises InputError before anything is replayed."""
        frames, signals, events = self._paths
        try:
            if frames is not None:
                self._open_frames(frames)
            if signals is not None:
                file = self._open_text(signals)
                self._rows = csv.writer(file, lineterminator="\n")
                self._rows.writerow(CSV_COLUMNS)
            if events is not None:
                self._events = self._open_text(events)
        except BaseException:
            self._discard()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Put the files in place, or remove them after an error."""
        try:
            if error is not None:
                raise error
            self._closing.close()
            for new in self._new:
                new.commit()
        except OSError as failure:
            self._discard()
            names = ", ".join(str(path) for path in self.written)
            raise InputError(f"{names}: cannot be written ({reason_of(failure)})") from None
        except BaseException:
            self._discard()
            raise

    def sent(self, tick: int, frame: Frame) -> None:
        """Write a frame the bridge handed over in a tick."""
        if self._writer is not None:
            import can

            bus: int | str = BUS_NAMES[frame.bus] if self._names_channels else int(frame.bus)
            self._writer.on_message_received(
                can.Message(
                    timestamp=tick * self.tick_ms / 1000,
                    arbitration_id=frame.identifier,
                    is_extended_id=frame.extended,
                    dlc=len(frame.data),
                    data=frame.data,
                    channel=bus,
                    is_rx=False,
                )
            )
        self.signals(tick, frame)

    def signals(self, tick: int, frame: Frame) -> None:
        """Write the signals of a frame, sent or accepted in a tick."""
        if self._rows is None:
            return
        message = self.decoder.message(frame.key)
        if message is not None:
            head = (tick, show_time(tick, self.tick_ms), BUS_NAMES[frame.bus], message.name)
            self._rows.writerows((*head, *decoded) for decoded in self.decoder.signals(frame))

    def event(self, event: Event) -> None:
        """Write an event as one line of JSON."""
        if self._events is not None:
            line = {
                "tick": event.tick,
                "time_s": show_time(event.tick, self.tick_ms),
                "reason": event.reason.name.lower(),
                "subject": event.subject,
                "detail": event.detail,
            }
            self._events.write(json.dumps(line) + "\n")

    def _open_frames(self, path: Path) -> None:
        import can

        suffix = frames_suffix(path)
        self._names_channels = suffix in NAMES_CHANNELS
        new = self._make(path)
        try:
            # Text writers take the encoding from here, binary ones ignore it.
            writer = can.Logger(new.temporary, encoding="utf-8")
        except Exception as error:  # noqa: BLE001 - a writer may raise anything
            reason = " ".join(str(error).split())
            raise InputError(f"{path}: cannot be written as a {suffix} log ({reason})") from None
        self._closing.callback(writer.stop)
        _count_from_tick_0(writer, path)
        self._writer = writer

    def _open_text(self, path: Path) -> TextIO:
        file = self._make(path).temporary.open("w", encoding="utf-8", newline="")
        return self._closing.enter_context(file)

    def _make(self, path: Path) -> NewFile:
        self._new.append(NewFile(path))
        return self._new[-1]

    def _discard(self) -> None:
        with contextlib.suppress(OSError):
            self._closing.close()
        for new in self._new:
            new.discard()


def check_targets(log: Path, targets: tuple[Path | None, ...]) -> None:
    """Raise InputError when a file to write is the log itself, or is named twice."""
    seen = {log.resolve()}
    for path in targets:
        if path is None:
            continue
        if path.resolve() in seen:
            what = "the log that is read" if path.resolve() == log.resolve() else "named twice"
            raise InputError(f"{path}: is {what}; every file to write needs its own name")
        seen.add(path.resolve())


def frames_suffix(path: Path) -> str:
    """Return the extension that names a format python-can writes; raises InputError."""
    from can.io.logger import MESSAGE_WRITERS

    suffixes: Iterator[str] = (suffix.lower() for suffix in reversed(path.suffixes))
    suffix = next((suffix for suffix in suffixes if suffix != COMPRESSED), "")
    if suffix not in MESSAGE_WRITERS:
        found = f'extension "{suffix}"' if suffix else "no extension"
        known = ", ".join(sorted(MESSAGE_WRITERS))
        raise InputError(f"{path}: has {found}; sent frames are written as one of {known}")
    return suffix


def show_time(tick: int, tick_ms: int) -> str:
    """Return the time of a tick in seconds with three places."""
    milliseconds = tick * tick_ms
    return f"{milliseconds // 1000}.{milliseconds % 1000:03d}"


def _count_from_tick_0(writer: "can.io.generic.MessageWriter", path: Path) -> None:
    """Have formats that count from their first frame count from tick 0, and name no other file."""
    import can

    if isinstance(writer, can.BLFWriter):
        writer.start_timestamp = 0.0
    elif isinstance(writer, can.ASCWriter):
        writer.log_event("Sent by the bridge, times from tick 0", 0.0)
    elif isinstance(writer, can.TRCWriter):
        writer.filepath = path.name
        writer.first_timestamp = 0.0
        writer.write_header(0.0)
