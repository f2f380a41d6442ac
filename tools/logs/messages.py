"""Messages of a log file in any format python-can reads, each with its place in the file.

The reader is chosen by the extension. Text formats are read line by line through `Lines`, so that
an error names its line; binary formats count frames. Whatever a reader does with a file it cannot
read (foreign text, cut in the middle, damaged) becomes one InputError.
"""

import gzip
import logging
import re
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING

from xlate_core.errors import InputError, reason_of

if TYPE_CHECKING:
    import can

COMPRESSED = ".gz"
CANDUMP = ".log"
TEXT_WITH_HEADER = ".asc"
BINARY_LOG = ".blf"
COUNTED_FROM_0 = (TEXT_WITH_HEADER, BINARY_LOG)
"""Formats whose channels count from 1 in the file while the reader counts them from 0."""

NO_CHANNEL = "none"
"""The name of the channel in formats that have no place for one."""

_HEADER_LINE = re.compile(r"\s*(date\s|base\s|//)", re.IGNORECASE)
_HEADER_END = re.compile(r"internal\s+events\s+logged", re.IGNORECASE)
_ERROR_FLAG = 0x20000000  # of a candump identifier: the line tells an error, not a frame
_RAW_LENGTH = re.compile(r"_[9A-Fa-f](?=\s|$)")  # candump: a raw length code above 8
_CANDUMP_LINE = re.compile(
    r"\s*\(\d+(\.\d*)?\)\s+\S+\s+[0-9A-Fa-f]{3,8}"
    r"#(#[0-9A-Fa-f])?([Rr][0-9A-Fa-f]?|([0-9A-Fa-f]{2})*)(\s+[RTrt])?\s*\Z"
)


class Lines:
    """The lines of a text log as a reader takes them, remembering where it is.

    What a reader would pass over in silence is made visible to it: half a candump line is an error;
    an .asc header without its closing line gets one, or the first frame would be taken for it.
    """

    def __init__(self, file: IO[str], suffix: str) -> None:
        self._file = file
        self._candump = suffix == CANDUMP
        self._in_header = suffix == TEXT_WITH_HEADER
        self._held: str | None = None
        self.number = 0
        self.text = ""

    def __iter__(self) -> "Lines":
        return self

    def __next__(self) -> str:
        if self._held is not None:
            line, self._held = self._held, None
            return line
        line = next(self._file)
        self.number += 1
        if self._in_header and not _HEADER_LINE.match(line):
            self._in_header = False
            if not _HEADER_END.search(line):
                self._held = line
                return "no internal events logged\n"
        self.text = line
        if self._candump and line.strip():
            line = self.text = _RAW_LENGTH.sub("", line)
            if not _CANDUMP_LINE.match(line):
                raise ValueError(
                    "expected `(seconds) channel identifier#octets`, as candump -L writes"
                )
        return line

    def tells_error(self) -> bool:
        """Whether the candump line has the error flag in its identifier."""
        identifier = self.text.split()[2].split("#")[0] if self._candump else ""
        return len(identifier) == 8 and bool(int(identifier, 16) & _ERROR_FLAG)

    def close(self) -> None:
        """Close the file; readers call this at the end."""
        self._file.close()


class LogFile:
    """One open log: messages in the order of the file, and the place of the last one."""

    def __init__(self, path: Path) -> None:
        """Check that the file can be read and find its reader; raises InputError."""
        self.path = path
        self.count = 0
        self._lines: Lines | None = None
        if path.is_dir():
            raise InputError(f"{path}: is a folder, a log file is expected")
        try:
            with path.open("rb") as file:
                if not file.read(1):
                    raise InputError(f"{path}: is empty, a log with CAN frames is expected")
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({reason_of(error)})") from None
        self.suffix = _log_suffix(path)
        if self.suffix == BINARY_LOG and path.suffix.lower() != COMPRESSED:
            _check_binary_log(path)

    @property
    def place(self) -> str:
        """File and line of the last message; where there are no lines, its number from 1."""
        if self._lines is not None:
            return f"{self.path}:{self._lines.number}"
        return f"{self.path}: frame {self.count}"

    @property
    def tells_error(self) -> bool:
        """Whether the last message stands for an error frame that its reader took for data."""
        return self._lines is not None and self._lines.tells_error()

    def channel(self, message: "can.Message") -> str:
        """Return the channel as the file names it."""
        channel = message.channel
        if channel is None:
            return NO_CHANNEL
        if isinstance(channel, int) and self.suffix in COUNTED_FROM_0:
            channel += 1
        return str(channel)

    def messages(self) -> Iterator["can.Message"]:
        """Yield every message; raises InputError at the first that cannot be read."""
        with _complaints() as complaints:
            try:
                reader = self._reader()
            except Exception as error:  # noqa: BLE001 - a reader may raise anything at foreign data
                raise self._unreadable(error) from None
            with reader:
                source = iter(reader)
                while True:
                    try:
                        message = next(source, None)
                    except Exception as error:  # noqa: BLE001 - as above
                        raise self._unreadable(error) from None
                    if complaints:
                        raise InputError(f"{self._next_place()}: {complaints[0]}")
                    if message is None:
                        break
                    if getattr(reader, "timestamps_format", None) == "relative":
                        raise InputError(
                            f"{self.path}: its times count from one event to the next; "
                            "export the log with absolute times"
                        )
                    self.count += 1
                    yield message

    def _reader(self) -> "can.io.generic.MessageReader":
        import can
        from can.io.generic import TextIOMessageReader
        from can.io.player import MESSAGE_READERS

        kind = MESSAGE_READERS.get(self.suffix)
        if kind is None or not issubclass(kind, TextIOMessageReader):
            return can.LogReader(self.path)
        packed = self.path.suffix.lower() == COMPRESSED
        opener = gzip.open if packed else open
        file = opener(self.path, "rt", encoding="utf-8", errors="replace")
        self._lines = Lines(file, self.suffix)
        return kind(self._lines)  # type: ignore[arg-type]

    def _next_place(self) -> str:
        """Return the place where reading stopped."""
        return self.place if self._lines is not None else f"{self.path}: after frame {self.count}"

    def _unreadable(self, error: Exception) -> InputError:
        if isinstance(error, EOFError):
            what = "the file is cut short"
        elif "asammdf" in str(error) or isinstance(error, NotImplementedError):
            what = f"reading {self.suffix} needs the package asammdf: pip install asammdf"
        else:
            what = f"cannot be read as a {self.suffix} log ({reason_of(error)})"
        return InputError(f"{self._next_place()}: {what}")


def readable_suffixes() -> list[str]:
    """Return the extensions of the formats that can be read."""
    from can.io.player import MESSAGE_READERS

    return sorted(MESSAGE_READERS)


def _log_suffix(path: Path) -> str:
    """Return the extension that names the format, `.gz` looked through; raises InputError."""
    suffixes = [suffix.lower() for suffix in path.suffixes[-2:]]
    if suffixes and suffixes[-1] == COMPRESSED:
        suffixes.pop()
    suffix = suffixes[-1] if suffixes else ""
    known = readable_suffixes()
    if suffix not in known:
        found = f'extension "{suffix}"' if suffix else "no extension"
        raise InputError(f"{path}: has {found}; a log is one of {', '.join(known)}, also with .gz")
    return suffix


def _check_binary_log(path: Path) -> None:
    """Walk the objects of a binary log: its reader passes over a cut end in silence."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(8)
        if head[:4] != b"LOGG" or len(head) < 8:
            raise InputError(f"{path}: is no {BINARY_LOG} log (it does not begin with LOGG)")
        place = int(struct.unpack_from("<I", head, 4)[0])
        number = 0
        while place + 4 <= size:  # less than 4 octets at the end are padding
            number += 1
            file.seek(place)
            base = file.read(16)
            length = struct.unpack_from("<I", base, 8)[0] if len(base) == 16 else 16
            if base[:4] != b"LOBJ" or length < 16:
                raise InputError(f"{path}: is damaged at octet {place} (object {number})")
            if place + length > size:
                raise InputError(
                    f"{path}: is cut short: object {number} at octet {place} has {length} octets, "
                    f"the file ends after {size - place}"
                )
            place += length + length % 4
    if place > size + 3:
        raise InputError(f"{path}: is cut short in its header")


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """Collect the warnings of the readers: where one only warns, a frame would be missing."""
    heard: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(record.getMessage().strip())

    listener = Listener(logging.WARNING)
    logger = logging.getLogger("can")
    logger.addHandler(listener)
    try:
        yield heard
    finally:
        logger.removeHandler(listener)
