"""Bit fields of many payloads at once, numbered as in a DBC.

Bit n of a payload is bit n % 8 of octet n // 8, bit 0 being the least significant of its octet. An
Intel field starts at its least significant bit and grows upwards; a Motorola field starts at its
most significant bit and grows downwards within an octet, then on to bit 7 of the next octet.
"""

from dataclasses import dataclass

import numpy as np

from tools.logs.table import Array


@dataclass(frozen=True, slots=True, order=True)
class Field:
    """A field of 1..64 bits: DBC start bit, length, byte order, two's complement or not."""

    start: int
    length: int
    motorola: bool = False
    signed: bool = False

    def places(self) -> list[int]:
        """Return the bit numbers, least significant first."""
        if not self.motorola:
            return list(range(self.start, self.start + self.length))
        row, column = divmod(self.start, 8)
        linear = row * 8 + 7 - column  # position counted from the most significant bit of octet 0
        places = [linear + offset for offset in range(self.length)]
        return [place // 8 * 8 + 7 - place % 8 for place in reversed(places)]

    def mask(self) -> int:
        """Return the bits of the field as a number of 64 bits, bit n for bit number n."""
        return sum(1 << place for place in self.places())

    def same_bits(self, other: "Field") -> bool:
        """Whether two fields read the same number, sign aside."""
        return self.places() == other.places()

    def show(self) -> str:
        """Return the field as a DBC writes it: start|length@order sign."""
        return (
            f"{self.start}|{self.length}@{0 if self.motorola else 1}{'-' if self.signed else '+'}"
        )


def within_octet(start: int, length: int) -> Field:
    """Return an unsigned field that does not leave its octet (both byte orders are the same)."""
    return Field(start, length)


def extract(field: Field, data: Array) -> Array:
    """Return the raw values as int64; data is n x 8."""
    raw = np.zeros(len(data), np.uint64)
    for octet, low_bit, count, shift in _pieces(field):
        piece = (data[:, octet] >> np.uint8(low_bit)) & np.uint8((1 << count) - 1)
        raw |= piece.astype(np.uint64) << np.uint64(shift)
    values = raw.view(np.int64)
    if field.signed and field.length < 64:
        sign = np.int64(1 << (field.length - 1))
        values = (values ^ sign) - sign
    return np.asarray(values)


def insert(field: Field, data: Array, raw: Array) -> None:
    """Put raw values (negative ones in two's complement) into payloads, in place."""
    bits = np.asarray(raw, np.int64).view(np.uint64)
    for octet, low_bit, count, shift in _pieces(field):
        mask = np.uint8(((1 << count) - 1) << low_bit)
        piece = ((bits >> np.uint64(shift)) & np.uint64((1 << count) - 1)).astype(np.uint8)
        data[:, octet] = (data[:, octet] & ~mask) | (piece << np.uint8(low_bit))


def _pieces(field: Field) -> list[tuple[int, int, int, int]]:
    """Return the field octet by octet: octet, lowest bit there, bits, shift in the value."""
    pieces: list[tuple[int, int, int, int]] = []
    for shift, place in enumerate(field.places()):
        octet, bit = divmod(place, 8)
        if pieces and pieces[-1][0] == octet:
            first = pieces[-1]
            pieces[-1] = (octet, first[1], first[2] + 1, first[3])
        else:
            pieces.append((octet, bit, 1, shift))
    return pieces


def bit_planes(data: Array) -> Array:
    """Return every bit of n x 8 octets as n x 64 numbers 0 or 1, column = bit number."""
    return np.unpackbits(data, axis=1, bitorder="little")


def words(data: Array) -> Array:
    """Return every payload as one number of 64 bits, octet 0 lowest."""
    return np.ascontiguousarray(data).view("<u8").reshape(-1)
