"""Rows of a table as the columns an engine runs through, and what it sent held to rows."""

from collections.abc import Callable
from functools import cache, partial

import numpy as np

from tools.logs.table import Array, FrameTable
from xlate_core.compiled.columns import (
    AS_FRAME,
    UNKNOWN_BODY,
    UNKNOWN_ENGINE,
    Arrivals,
    Key,
    Sent,
    known_keys,
    received_keys,
    sent_keys,
)
from xlate_core.frames import Frame
from xlate_core.interface import BridgeSpec

BLOCK = 16  # frames made of rows at a time, where one of them is asked for
MOST_IN_A_TICK = 8  # frames; a tick with more is run apart, without a look at what they are
new_frame: Callable[..., Frame] = partial(tuple.__new__, Frame)


class _Coder:
    """Finds the number of the message of a row, where its length is the message's."""

    def __init__(self, keys: dict[Key, tuple[int, int]]) -> None:
        order = sorted((_key_code(key), *told) for key, told in keys.items())
        self.keys, self.numbers, self.lengths = np.array(order or [(-1, 0, 0)], np.int64).T.copy()

    def codes(self, keys: Array, lengths: Array) -> Array:
        """Return the number of each row's message, or AS_FRAME."""
        places = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        good = (self.keys[places] == keys) & (self.lengths[places] == lengths)
        codes: Array = np.where(good, self.numbers[places], AS_FRAME)
        return codes


def _key_code(key: Key) -> int:
    """Return the number that `FrameTable.key_codes` gives a row of this key."""
    bus, extended, identifier = key
    return bus << 32 | extended << 31 | identifier


class Columns:
    """The columns of one pairing's frames."""

    def __init__(self, spec: BridgeSpec) -> None:
        """Look at a pairing."""
        self.sent_keys = sent_keys(spec)
        self._received, self._sent = _Coder(received_keys(spec)), _Coder(self.sent_keys)
        self._known = np.array(sorted(map(_key_code, known_keys(spec))), np.int64)

    def arrivals(self, table: FrameTable, bounds: Array) -> Arrivals:
        """Return received rows, those of tick n from bounds[n] up to bounds[n + 1]."""
        keys = table.key_codes().astype(np.int64)
        codes = self._received.codes(keys, table.length)
        places = np.minimum(np.searchsorted(self._known, keys), len(self._known) - 1)
        strange = self._known[places] != keys
        codes[strange] = np.where(table.bus[strange] == 0, UNKNOWN_BODY, UNKNOWN_ENGINE)
        block = cache(lambda number: frames_of(table.rows(slice(number, number + BLOCK))))
        apart = _apart(keys, ~strange, bounds).tolist()

        def frame(place: int) -> Frame:
            within = place % BLOCK
            return block(place - within)[within]

        return Arrivals(codes.tolist(), _words(table), bounds.tolist(), apart, frame)

    def agree(self, sent: Sent, table: FrameTable, bounds: Array) -> bool:
        """Return whether what was sent is what the rows say, in every tick and bit."""
        codes = self._sent.codes(table.key_codes().astype(np.int64), table.length)
        return (
            sent.bounds == bounds.tolist()
            and sent.codes == codes.tolist()
            and sent.words == _words(table)
            and sent.others == frames_of(table.rows(codes == AS_FRAME))
        )


def _words(table: FrameTable) -> list[int]:
    words: list[int] = table.data.reshape(-1).view("<i8").tolist()
    return words


def _apart(keys: Array, known: Array, bounds: Array) -> Array:
    """Return the ticks, rising, in which a known message comes more than once."""
    counts = np.diff(bounds)
    ticks = np.repeat(np.arange(len(counts)), counts)
    found = [np.flatnonzero(counts > MOST_IN_A_TICK)]
    for distance in range(1, min(int(counts.max(initial=0)), MOST_IN_A_TICK)):
        alike = ticks[distance:] == ticks[:-distance]
        alike &= keys[distance:] == keys[:-distance]
        found.append(ticks[distance:][alike & known[distance:]])
    return np.unique(np.concatenate(found))


def frames_of(table: FrameTable) -> list[Frame]:
    """Return the rows as frames."""
    octets = table.data.tobytes()
    data = [octets[place : place + 8] for place in range(0, len(octets), 8)]
    for row in np.flatnonzero(table.length != 8).tolist():
        data[row] = data[row][: int(table.length[row])]
    rows = zip(
        table.bus.tolist(), table.extended.tolist(), table.identifier.tolist(), data, strict=True
    )
    return list(map(new_frame, rows))
