"""Candump text into columns, a few megabytes of lines at once.

Lines of the usual form, `(seconds.microseconds) channel identifier#octets`, are taken apart with
numpy; every other line (remote, CAN FD, error flag, raw length, blank, damaged) goes one by one
through the exact rule. Both give the same rows; a test holds them to python-can's own reader.
"""

import gzip
import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

import numpy as np

from tools.logs.table import MAX_OCTETS, Array, FrameKind, FrameTable, zeros
from xlate_core.errors import InputError, readable

CHUNK = 4 << 20
_EXPECTED = "expected `(seconds) channel identifier#octets`, as candump -L writes"
_LINE = re.compile(
    rb"\s*\((\d+)(?:\.(\d*))?\)\s+(\S+)\s+([0-9A-Fa-f]{3,8})"
    rb"#(?:(#[0-9A-Fa-f])|([Rr])([0-9A-Fa-f])?)?((?:[0-9A-Fa-f]{2})*)(?:_[9A-Fa-f])?(?:\s+[RTrt])?\s*\Z"
)
_ERROR_FLAG = 0x2000_0000
_HEX = np.full(256, 255, np.uint8)
for _digit in range(16):
    _HEX[ord(f"{_digit:x}")] = _HEX[ord(f"{_digit:X}")] = _digit
_SPACE, _OPEN, _CLOSE, _DOT, _HASH, _RETURN = (ord(sign) for sign in " ().#\r")
_DIRECTIONS = np.array([ord(sign) for sign in "RTrt"], np.uint8)
_MOST_SECONDS_DIGITS = 12


class CandumpReader:
    """Reads one candump file chunk by chunk.

    `channels` is shared by all files of an import and grows; `counts` takes what is left out
    (`can_fd_frames`) and, when `skip_damaged`, the lines refused (`damaged_lines`).
    """

    def __init__(
        self,
        path: Path,
        channel_index: Callable[[str], int],
        counts: Counter[str],
        skip_damaged: bool = False,
    ) -> None:
        self.path = path
        self.counts = counts
        self.octets_read = 0
        self._index = channel_index
        self._skip_damaged = skip_damaged
        self._names: list[bytes] = []
        self._numbers: list[int] = []
        self._lines = 0

    def tables(self) -> Iterator[FrameTable]:
        """Yield the rows in the order of the file; raises InputError naming file and line."""
        opener = gzip.open if self.path.suffix.lower() == ".gz" else open
        try:
            with opener(self.path, "rb") as file:
                yield from self._chunks(file)  # type: ignore[arg-type]
        except EOFError:
            raise InputError(f"{self.path}:{self._lines}: the file is cut short") from None
        except gzip.BadGzipFile as error:
            raise InputError(f"{self.path}: is no gzip file ({error})") from None

    def _chunks(self, file: IO[bytes]) -> Iterator[FrameTable]:
        rest = b""
        while True:
            octets = file.read(CHUNK)
            self.octets_read += len(octets)
            if not octets:
                break
            octets = rest + octets
            end = octets.rfind(b"\n") + 1
            rest = octets[end:]
            if end:
                yield self._parse(octets[:end])
        if rest:
            yield self._parse(rest + b"\n")

    def _parse(self, octets: bytes) -> FrameTable:
        """Return the rows of whole lines."""
        text = np.frombuffer(octets, np.uint8)
        ends = np.flatnonzero(text == ord("\n"))
        starts = np.concatenate(([0], ends[:-1] + 1))
        usual, fast = self._usual(text, starts, ends)
        if bool(usual.all()):
            self._lines += len(ends)
            return fast
        return self._with_others(octets, starts, ends, usual, fast)

    def _usual(self, text: Array, starts: Array, ends: Array) -> tuple[Array, FrameTable]:
        """Return which lines have the usual form, and those lines as rows."""
        ends = np.where((ends > starts) & (text[ends - 1] == _RETURN), ends - 1, ends)
        flagged = (ends - starts > 3) & (text[ends - 2] == _SPACE)
        flagged &= np.isin(text[ends - 1], _DIRECTIONS)
        ends = np.where(flagged, ends - 2, ends)
        close, one_close = _only_one(text, _CLOSE, starts, ends)
        hashes, one_hash = _only_one(text, _HASH, starts, ends)
        good = one_close & one_hash & (text[starts] == _OPEN) & (close - starts >= 9)
        good &= (hashes - close >= 7) & (close - starts <= 8 + _MOST_SECONDS_DIGITS)
        short = text[np.maximum(hashes - 4, 0)] == _SPACE
        long = ~short & (text[np.maximum(hashes - 9, 0)] == _SPACE)
        digits = ends - hashes - 1
        good &= (short | long) & (digits >= 0) & (digits <= 16) & (digits % 2 == 0)
        starts, close, hashes = starts[good], close[good], hashes[good]
        short, digits = short[good], digits[good]
        fine = (text[close - 7] == _DOT) & (text[close + 1] == _SPACE)
        time, fine_time = _seconds(text, starts, close)
        identifier, fine_identifier = _identifier(text, hashes, short)
        fine &= fine_time & fine_identifier
        table = zeros(len(starts), ())
        table.time_us[:] = time
        table.identifier[:] = identifier
        table.extended[:] = ~short
        table.length[:] = digits // 2
        last = len(text) - 1
        for octet in range(MAX_OCTETS):
            inside = digits > 2 * octet
            if not bool(inside.any()):
                break
            high = _HEX[text[np.minimum(hashes + (1 + 2 * octet), last)]]
            low = _HEX[text[np.minimum(hashes + (2 + 2 * octet), last)]]
            fine &= ~inside | ((high < 16) & (low < 16))
            table.data[:, octet] = ((high << 4) | (low & 15)) * inside
        name_end = hashes - np.where(short, 4, 9)
        fine &= self._channels(text, close + 2, name_end, table.bus, fine)
        usual = good.copy()
        usual[good] = fine
        return usual, table if bool(fine.all()) else table.rows(fine)

    def _channels(self, text: Array, begin: Array, end: Array, bus: Array, fine: Array) -> Array:
        """Fill in the bus of every line; returns which lines have a channel of one word."""
        left = fine & (end > begin)
        known = np.zeros(len(begin), np.bool_)
        number = 0
        while bool(left.any()):
            if number == len(self._names):
                row = int(np.flatnonzero(left)[0])
                name = text[begin[row] : end[row]].tobytes()
                if b" " in name or b"\t" in name or b"\0" in name:
                    left[row] = False
                    continue
                self._names.append(name)
                self._numbers.append(self._index(name.decode("utf-8", "replace")))
            name = self._names[number]
            same = left & (end - begin == len(name))
            for place, sign in enumerate(name):
                same &= text[np.minimum(begin + place, len(text) - 1)] == sign
            bus[same] = self._numbers[number]
            known |= same
            left &= ~same
            number += 1
        return known

    def _with_others(
        self, octets: bytes, starts: Array, ends: Array, usual: Array, fast: FrameTable
    ) -> FrameTable:
        """Return the usual rows with the rows of all other lines between them."""
        others = np.flatnonzero(~usual)
        singles: list[FrameTable] = []
        numbers: list[int] = []
        for number in others:
            line = octets[starts[number] : ends[number]]
            row = self._line(line, self._lines + int(number) + 1)
            if row is not None:
                singles.append(row)
                numbers.append(int(number))
        self._lines += len(ends)
        if not singles:
            return fast
        place = np.concatenate((np.flatnonzero(usual), np.array(numbers, np.int64)))
        from tools.logs.table import joined

        return joined([fast, *singles]).rows(np.argsort(place, kind="stable"))

    def _line(self, line: bytes, number: int) -> FrameTable | None:
        """Return the row of one line, None when it holds no frame for the table."""
        if not line.strip():
            return None
        found = _LINE.match(line)
        if found is None:
            if self._skip_damaged:
                self.counts["damaged_lines"] += 1
                return None
            shown = readable(line.decode("utf-8", "replace").strip()[:60])
            raise InputError(f'{self.path}:{number}: found "{shown}", {_EXPECTED}')
        seconds, fraction, channel, identifier, fd, remote, asked, data = found.groups()
        if fd is not None or len(data) > 2 * MAX_OCTETS:
            self.counts["can_fd_frames"] += 1
            return None
        code = int(identifier, 16)
        is_error = len(identifier) == 8 and bool(code & _ERROR_FLAG)
        row = zeros(1, ())
        row.time_us[0] = int(seconds) * 1_000_000 + int(((fraction or b"") + b"000000")[:6])
        row.bus[0] = self._index(channel.decode("utf-8", "replace"))
        row.identifier[0] = code & 0x1FFF_FFFF
        row.extended[0] = len(identifier) > 3 and not is_error
        octets = bytes.fromhex(data.decode("ascii"))
        row.length[0] = len(octets)
        row.data[0, : len(octets)] = list(octets)
        if is_error:
            row.kind[0] = FrameKind.ERROR
        elif remote:
            row.kind[0] = FrameKind.REMOTE
            row.length[0] = min(int(asked or b"0", 16), MAX_OCTETS)
        return row


def _only_one(text: Array, sign: int, starts: Array, ends: Array) -> tuple[Array, Array]:
    """Return the place of a sign in every line, and whether the line has it exactly once."""
    places = np.flatnonzero(text == sign)
    if len(places) == len(starts):
        inside = (places >= starts) & (places < ends)
        if bool(inside.all()):
            return places, inside
    first = np.searchsorted(places, starts)
    count = np.searchsorted(places, ends) - first
    if not len(places):
        return starts.copy(), np.zeros(len(starts), np.bool_)
    return places[np.minimum(first, len(places) - 1)], count == 1


def _seconds(text: Array, starts: Array, close: Array) -> tuple[Array, Array]:
    """Return the times in microseconds, and whether all their digits are digits."""
    time = np.zeros(len(starts), np.int64)
    fine = np.ones(len(starts), np.bool_)
    weight = 1
    for place in range(6):
        digit = text[close - 1 - place] - np.uint8(48)
        fine &= digit < 10
        time += digit.astype(np.int64) * weight
        weight *= 10
    most = int((close - starts).max()) - 8 if len(starts) else 0
    for place in range(most):
        at = close - 8 - place
        inside = at > starts
        digit = text[np.maximum(at, 0)] - np.uint8(48)
        fine &= ~inside | (digit < 10)
        time += np.where(inside, digit, 0).astype(np.int64) * weight
        weight *= 10
    return time, fine


def _identifier(text: Array, hashes: Array, short: Array) -> tuple[Array, Array]:
    """Return the identifiers, and whether they are hexadecimal and within 29 bits."""
    identifier = np.zeros(len(hashes), np.uint32)
    fine = np.ones(len(hashes), np.bool_)
    for place in range(8):
        inside = ~short if place >= 3 else None
        if inside is not None and not bool(inside.any()):
            break
        digit = _HEX[text[np.maximum(hashes - 1 - place, 0)]]
        if inside is None:
            fine &= digit < 16
            identifier |= digit.astype(np.uint32) << np.uint32(4 * place)
        else:
            fine &= ~inside | (digit < 16)
            identifier |= np.where(inside, digit, 0).astype(np.uint32) << np.uint32(4 * place)
    return identifier, fine & (identifier <= 0x1FFF_FFFF)
