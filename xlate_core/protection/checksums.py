"""Checksums of one message: what they cover, how they are worked out, where they are written.

A checksum goes over octets first_octet..last_octet of the payload, with the folded items put before
or after them. An octet that holds nothing but the checksum is left out; in one that it shares, its
own bits count as zero.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from typing import Literal

from xlate_core.protection.counters import CounterSpec
from xlate_core.protection.crc import CrcSpec, crc_function
from xlate_core.signals import SignalSpec, extract, insert

OCTETS = tuple(bytes((value,)) for value in range(256))


class ChecksumKind(Enum):
    """The arithmetic of a checksum over the covered octets.

    The 4-bit kinds go over nibbles. `carry` adds what goes beyond the width at its low end, as
    one's complement sums do; `inverted` gives the complement of the sum. CRC8 is a CRC of one
    octet, CRC one of any other width or any polynomial.
    """

    XOR8 = "xor8"
    SUM8 = "sum8"
    CRC8 = "crc8"
    XOR4 = "xor4"
    SUM4 = "sum4"
    SUM8_INVERTED = "sum8_inverted"
    SUM8_CARRY = "sum8_carry"
    SUM16 = "sum16"
    SUM16_INVERTED = "sum16_inverted"
    SUM16_CARRY = "sum16_carry"
    CRC = "crc"


KIND_BITS = {
    ChecksumKind.XOR4: 4,
    ChecksumKind.SUM4: 4,
    ChecksumKind.SUM16: 16,
    ChecksumKind.SUM16_INVERTED: 16,
    ChecksumKind.SUM16_CARRY: 16,
}
"""Bits of the result of a kind; others 8, CRC as its parameters say."""

ONE_OCTET = (ChecksumKind.XOR8, ChecksumKind.SUM8, ChecksumKind.CRC8)


class FoldPlace(Enum):
    """Whether a folded item stands before or behind the covered octets."""

    BEFORE = "before"
    AFTER = "after"


class FoldItem(Enum):
    """What is folded into the checksum although it is not in the payload.

    `DATA_ID_LIST`: one octet of a list, chosen by the counter of the frame.
    """

    IDENTIFIER = "identifier"
    DATA_ID = "data_id"
    LENGTH = "length"
    DATA_ID_LIST = "data_id_list"


@dataclass(frozen=True, slots=True)
class FoldSpec:
    """A folded item: `octets` octets, most or least significant first, before or after the data.

    `value` is the data ID; for IDENTIFIER and LENGTH the message's own, filled in at load; `values`
    is the list of DATA_ID_LIST, one octet each.
    """

    item: FoldItem
    place: FoldPlace
    value: int
    octets: int
    low_first: bool
    values: tuple[int, ...] = ()

    def fixed(self) -> bytes:
        """Return the octets of an item that is the same in every frame."""
        order: Literal["little", "big"] = "little" if self.low_first else "big"
        return self.value.to_bytes(self.octets, order)


@dataclass(frozen=True, slots=True)
class ChecksumSpec:
    """A checksum signal and what it covers; `counter` chooses from data-ID lists."""

    signal: SignalSpec
    kind: ChecksumKind
    crc: CrcSpec | None
    first_octet: int
    last_octet: int
    folds: tuple[FoldSpec, ...]
    counter: SignalSpec | None = None
    checksum_octet: int = field(init=False)
    before: bytes = field(init=False)
    after: bytes = field(init=False)
    crc_function: Callable[[bytes], int] | None = field(init=False, repr=False, compare=False)
    plain: bool = field(init=False)
    inside: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive the checksum's octet, the folded octets, the CRC, and whether it is a plain one.

        `inside` are the covered octets of the payload: not those that hold the checksum alone.
        A plain checksum is one whole octet of one of the three usual kinds with fixed folded items.
        """
        parts = {FoldPlace.BEFORE: b"", FoldPlace.AFTER: b""}
        for fold in self.folds:
            parts[fold.place] += fold.fixed()
        object.__setattr__(self, "checksum_octet", self.signal.last_octet)
        object.__setattr__(self, "before", parts[FoldPlace.BEFORE])
        object.__setattr__(self, "after", parts[FoldPlace.AFTER])
        function = None if self.crc is None else crc_function(self.crc)
        object.__setattr__(self, "crc_function", function)
        listed = any(fold.item is FoldItem.DATA_ID_LIST for fold in self.folds)
        whole = self.signal.length == 8 and len({bit // 8 for bit in self.signal.bits}) == 1
        object.__setattr__(self, "plain", whole and not listed and self.kind in ONE_OCTET)
        octets = range(self.first_octet, self.last_octet + 1)
        object.__setattr__(self, "inside", tuple(one for one in octets if not self.owns(one)))

    @property
    def values(self) -> tuple[int, ...]:
        """The data-ID list, empty without one."""
        return next((fold.values for fold in self.folds if fold.values), ())

    def owns(self, octet: int) -> bool:
        """Return whether an octet of the payload holds nothing but the checksum."""
        return self.signal.bits.issuperset(range(8 * octet, 8 * octet + 8))

    @property
    def width(self) -> int:
        """Bits of the result."""
        if self.crc is not None:
            return self.crc.width
        return KIND_BITS.get(self.kind, 8)


def covered(spec: ChecksumSpec, data: bytes) -> bytes:
    """Return the octets the checksum goes over, folded items included, its own octet left out."""
    if not spec.plain:
        return general_covered(spec, data)
    own = spec.checksum_octet
    if own == spec.last_octet:
        inside = data[spec.first_octet : own]
    elif spec.first_octet <= own <= spec.last_octet:
        inside = data[spec.first_octet : own] + data[own + 1 : spec.last_octet + 1]
    else:
        inside = data[spec.first_octet : spec.last_octet + 1]
    return spec.before + inside + spec.after


def general_covered(spec: ChecksumSpec, data: bytes) -> bytes:
    """Return the covered octets of a checksum of any size, place and fold."""
    blank = insert(spec.signal, data, 0)
    inside = bytes([blank[octet] for octet in spec.inside])
    return folded(spec, FoldPlace.BEFORE, data) + inside + folded(spec, FoldPlace.AFTER, data)


def folded(spec: ChecksumSpec, place: FoldPlace, data: bytes) -> bytes:
    """Return the folded octets of one place, in their order."""
    octets = b""
    for fold in spec.folds:
        if fold.place is not place:
            continue
        if fold.item is FoldItem.DATA_ID_LIST:
            number = 0 if spec.counter is None else extract(spec.counter, data)
            octets += OCTETS[fold.values[number % len(fold.values)]]
        else:
            octets += fold.fixed()
    return octets


def checksum(spec: ChecksumSpec, data: bytes) -> int:
    """Return the checksum of a payload of the message's full length: `spec.width` bits."""
    octets = covered(spec, data)
    if spec.crc_function is not None:
        return spec.crc_function(octets)
    if spec.kind is ChecksumKind.SUM8:
        return sum(octets) & 0xFF
    if spec.kind is not ChecksumKind.XOR8:
        return general_sum(spec.kind, octets)
    result = 0
    for octet in octets:
        result ^= octet
    return result


def general_sum(kind: ChecksumKind, octets: bytes) -> int:
    """Return the result of the rarer kinds."""
    if kind is ChecksumKind.XOR4:
        result = 0
        for octet in octets:
            result ^= (octet >> 4) ^ (octet & 0xF)
        return result
    if kind is ChecksumKind.SUM4:
        return sum((octet >> 4) + (octet & 0xF) for octet in octets) & 0xF
    total = sum(octets)
    mask = (1 << KIND_BITS.get(kind, 8)) - 1
    if kind in (ChecksumKind.SUM8_CARRY, ChecksumKind.SUM16_CARRY):
        while total > mask:
            total = (total & mask) + (total >> mask.bit_length())
        return total
    if kind in (ChecksumKind.SUM8_INVERTED, ChecksumKind.SUM16_INVERTED):
        return ~total & mask
    return total & mask


def checksum_good(spec: ChecksumSpec, data: bytes) -> bool:
    """Return whether the payload carries the checksum it should."""
    if spec.plain:
        return data[spec.checksum_octet] == checksum(spec, data)
    return extract(spec.signal, data) == checksum(spec, data)


def seal(
    counter_spec: CounterSpec | None, checksum_spec: ChecksumSpec | None, data: bytes, counter: int
) -> bytes:
    """Return the payload with counter and, last, checksum put in (rule 12)."""
    if counter_spec is not None:
        data = insert(counter_spec.signal, data, counter)
    if checksum_spec is None:
        return data
    if not checksum_spec.plain:
        return insert(checksum_spec.signal, data, checksum(checksum_spec, data))
    own = checksum_spec.checksum_octet
    return data[:own] + OCTETS[checksum(checksum_spec, data)] + data[own + 1 :]
