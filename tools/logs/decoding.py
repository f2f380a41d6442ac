"""Frames as physical values for people, exact: no rounding, no binary fractions.

value = raw * factor + offset is carried as one integer over a power of ten.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from xlate_core.frames import Frame, FrameKey
from xlate_core.pairing import DbcMessage, DbcSignal, Pairing
from xlate_core.signals import extract

_FLOATS = {16: (">H", ">e"), 32: (">I", ">f"), 64: (">Q", ">d")}


class Decoded(NamedTuple):
    """One signal of one frame: its name, its exact value as decimal text, its unit."""

    signal: str
    physical: str
    unit: str


@dataclass(frozen=True, slots=True)
class Scale:
    """An exact scale: value = (raw * factor + offset) / 10**places; None = no finite decimal."""

    factor: int
    offset: int
    places: int | None
    exact_factor: Fraction
    exact_offset: Fraction

    def show(self, raw: int) -> str:
        """Return the value as shortest exact decimal, or as a ratio where none is finite."""
        if self.places is None:
            return str(raw * self.exact_factor + self.exact_offset)
        scaled = raw * self.factor + self.offset
        if self.places == 0:
            return str(scaled)
        whole, rest = divmod(abs(scaled), 10**self.places)
        sign = "-" if scaled < 0 else ""
        return f"{sign}{whole}.{rest:0{self.places}d}".rstrip("0").rstrip(".")


class Decoder:
    """Decodes the frames of one pairing; messages are found by what is on the wire."""

    def __init__(self, pairing: Pairing) -> None:
        messages = [message for bus in pairing.databases.values() for message in bus]
        self._messages: dict[FrameKey, DbcMessage] = {m.key: m for m in messages}
        self._scales = {
            (message.key, signal.name): scale_of(signal)
            for message in messages
            for signal in message.signals
        }

    def message(self, key: FrameKey) -> DbcMessage | None:
        """Return the layout of a message, or None when no database knows it on this bus."""
        return self._messages.get(key)

    def signals(self, frame: Frame) -> Iterator[Decoded]:
        """Yield the signals that arrived, in the order of the database.

        Left out: signals of other multiplexer paths, and those a short frame does not reach.
        """
        message = self._messages.get(frame.key)
        if message is None:
            return
        raws = {
            signal.name: extract(signal.spec, frame.data)
            for signal in message.signals
            if signal.spec.last_octet < len(frame.data)
        }
        for signal in message.signals:
            if signal.name not in raws or not _selected(message, signal, raws):
                continue
            raw = raws[signal.name]
            if signal.is_float:
                shown = _show_float(signal, raw)
            else:
                shown = self._scales[message.key, signal.name].show(raw)
            yield Decoded(signal.name, shown, signal.unit)


def scale_of(signal: DbcSignal) -> Scale:
    """Return the exact scale of a signal."""
    places = _places(signal.factor.denominator * signal.offset.denominator)
    if places is None:
        return Scale(0, 0, None, signal.factor, signal.offset)
    factor, offset = signal.factor * 10**places, signal.offset * 10**places
    return Scale(int(factor), int(offset), places, signal.factor, signal.offset)


def _places(denominator: int) -> int | None:
    """Return how many decimal places 1/denominator needs, or None when they never end."""
    counts = []
    for prime in (2, 5):
        count = 0
        while denominator % prime == 0:
            denominator //= prime
            count += 1
        counts.append(count)
    return max(counts) if denominator == 1 else None


def _selected(message: DbcMessage, signal: DbcSignal, raws: dict[str, int]) -> bool:
    """Return whether the signal's multiplexer path is the one in this frame, over all levels."""
    while signal.selector is not None:
        raw = raws.get(signal.selector)
        if raw is None or not any(low <= raw <= high for low, high in signal.selected_by):
            return False
        selector = message.signal(signal.selector)
        if selector is None:
            return False
        signal = selector
    return True


def _show_float(signal: DbcSignal, raw: int) -> str:
    """Return the exact decimal of a signal that carries an IEEE 754 number, scale applied."""
    integer, number = _FLOATS[signal.spec.length]
    value = Decimal(struct.unpack(number, struct.pack(integer, raw & signal.spec.mask))[0])
    if not value.is_finite():
        return str(value).lower()
    exact = Fraction(value) * signal.factor + signal.offset
    places = _places(exact.denominator)
    if places is None:
        return str(exact)
    return Scale(1, 0, places, exact, exact).show(int(exact * 10**places))
