"""Taking vehicle identification and listed serial numbers out of a log before it is shared.

Found without being told: 17 characters of the form of ISO 3779 (from memory: no I, O or Q; the last
four are digits) in segmented transfers (ISO 15765-2) and in pages of a message that count in their
first octet. What is found or listed is then looked for in every frame, in pieces of four octets.
Octets removed become zero; checksums over them are not made right again, so that nobody takes an
altered frame for a recorded one.
"""

import re
from dataclasses import dataclass, field

import numpy as np

from tools.logs.bits import words
from tools.logs.table import Array, FrameKind, FrameTable
from xlate_core.errors import InputError

PIECE = 4
SHORTEST = 3
MOST_PAGES = 16
_IDENTIFICATION = re.compile(rb"[A-HJ-NPR-Z0-9]{13}[0-9]{4}")
_Place = tuple[Array, int]
"""The rows that hold an octet (a page comes again and again), and its number."""


@dataclass(slots=True)
class Redaction:
    """A redacted table, and what was removed: (what, bus, identifier) -> frames."""

    table: FrameTable
    removed: dict[tuple[str, str, str], int] = field(default_factory=dict)


def redact(table: FrameTable, secrets: dict[str, bytes]) -> Redaction:
    """Return the table without vehicle identification and without the listed secrets.

    `secrets` maps what a person calls it to its octets. The given table stays as it is.
    """
    copy = table.rows(np.arange(len(table)))
    blank = np.zeros(copy.data.shape, np.bool_)
    found = dict(secrets)
    for key, rows in copy.by_key():
        rows = rows[copy.kind[rows] == FrameKind.DATA]
        for text, places in (*_transfers(copy, rows), *_pages(copy, rows)):
            for match in _IDENTIFICATION.finditer(text):
                name = "vehicle identification"
                found.setdefault(f"{name} {key.show()}", match.group())
                for same, octet in places[match.start() : match.end()]:
                    blank[same, octet] = True
            for secret in secrets.values():
                start = text.find(secret)
                while start >= 0:
                    for same, octet in places[start : start + len(secret)]:
                        blank[same, octet] = True
                    start = text.find(secret, start + 1)
    named = {name: np.zeros(blank.shape, np.bool_) for name in found}
    for name, secret in found.items():
        for form in {secret, secret[::-1]}:
            named[name] |= _pieces(copy.data, copy.length, form)
        blank |= named[name]
    result = Redaction(copy)
    _count(result, copy, blank, named)
    copy.data[blank] = 0
    return result


def _count(result: Redaction, table: FrameTable, blank: Array, named: dict[str, Array]) -> None:
    touched = np.flatnonzero(blank.any(axis=1))
    part = table.rows(touched)
    for key, rows in part.by_key():
        mine = touched[rows]
        names = [name for name, where in named.items() if bool(where[mine].any())]
        kinds = {name.rpartition(" ")[0] if name.startswith("vehicle") else name for name in names}
        for name in sorted(kinds) or ["vehicle identification"]:
            place = (name, table.channels[key.bus], key.show())
            result.removed[place] = len(mine)


def _transfers(table: FrameTable, rows: Array) -> list[tuple[bytes, list[_Place]]]:
    """Return the segmented transfers of a message, whole or not, with the place of each octet."""
    if not len(rows):
        return []
    kinds = table.data[rows, 0] >> 4
    if bool(np.any(kinds > 3)) or not bool(np.any(kinds == 1)):
        return []
    found: list[tuple[bytes, list[_Place]]] = []
    octets, places = bytearray(), list[_Place]()
    for row, kind in zip(rows.tolist(), kinds.tolist(), strict=True):
        if kind == 1:
            if octets:
                found.append((bytes(octets), places))
            octets, places = bytearray(), []
            first = 2
        elif kind == 2 and octets:
            first = 1
        else:
            continue
        for octet in range(first, int(table.length[row])):
            octets.append(int(table.data[row, octet]))
            places.append((np.array([row]), octet))
    if octets:
        found.append((bytes(octets), places))
    return found


def _pages(table: FrameTable, rows: Array) -> list[tuple[bytes, list[_Place]]]:
    """Return the text of a message that sends pages numbered in its first octet."""
    if not len(rows):
        return []
    payload = words(table.data[rows])
    _, first = np.unique(payload, return_index=True)
    if not 2 <= len(first) <= MOST_PAGES:
        return []
    pages = sorted(rows[first].tolist(), key=lambda row: int(table.data[row, 0]))
    octets, places = bytearray(), list[_Place]()
    for row in pages:
        same = rows[payload == words(table.data[row : row + 1])[0]]
        for octet in range(1, int(table.length[row])):
            octets.append(int(table.data[row, octet]))
            places.append((same, octet))
    return [(bytes(octets), places)]


def _pieces(data: Array, length: Array, secret: bytes) -> Array:
    """Return which octets are part of a secret, as pieces of up to four octets in a row."""
    size = min(PIECE, len(secret))
    wanted = {secret[start : start + size] for start in range(len(secret) - size + 1)}
    numbers = np.array([int.from_bytes(piece, "little") for piece in wanted], np.uint32)
    blank = np.zeros(data.shape, np.bool_)
    for start in range(data.shape[1] - size + 1):
        number = np.zeros(len(data), np.uint32)
        for octet in range(size):
            number |= data[:, start + octet].astype(np.uint32) << np.uint32(8 * octet)
        same = np.isin(number, numbers) & (length >= start + size)
        blank[same, start : start + size] = True
    return blank


def parse_secret(text: str) -> bytes:
    """Return the octets of a serial number, text or 0x and digits; raises InputError."""
    if text.lower().startswith("0x"):
        digits = text[2:]
        try:
            octets = bytes.fromhex(digits)
        except ValueError:
            raise InputError(f"{text}: expected pairs of hexadecimal digits after 0x") from None
    else:
        try:
            octets = text.encode("ascii")
        except UnicodeEncodeError:
            raise InputError(f"{text}: expected plain letters and digits, or 0x...") from None
    if len(octets) < SHORTEST or not any(octets):
        raise InputError(
            f"{text}: is {len(octets)} octets long; at least {SHORTEST} that are not zero are "
            "needed to tell it from chance"
        )
    return octets
