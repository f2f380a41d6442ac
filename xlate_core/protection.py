"""Alive counters and checksums of one message: check on reception, seal on transmission.

A checksum goes over octets first_octet..last_octet of the payload without the octet(s) holding the
checksum itself, with the folded items (identifier, data ID) put before or after them. The order on
reception is checksum, then counter (rule 5); on transmission counter, then checksum (rule 12).

CRC parameters follow the usual model (width, poly, init, refin, refout, xorout) with the names of
the public catalogue, as in the AUTOSAR CRC library tables. Counter-plus-CRC profile layouts have
their place here and come later.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from functools import cache
from typing import Literal

import crcmod

from xlate_core.signals import SignalSpec, insert

OCTETS = tuple(bytes((value,)) for value in range(256))

NO_REFERENCE = 0xFFFF  # the counter reference while the next frame goes unchecked


class ChecksumKind(Enum):
    """The arithmetic of a checksum."""

    XOR8 = "xor8"
    SUM8 = "sum8"
    CRC8 = "crc8"


class FoldPlace(Enum):
    """Whether a folded item stands before or behind the covered octets."""

    BEFORE = "before"
    AFTER = "after"


class FoldItem(Enum):
    """What is folded into the checksum although it is not in the payload."""

    IDENTIFIER = "identifier"
    DATA_ID = "data_id"


@dataclass(frozen=True, slots=True)
class CrcSpec:
    """A CRC by its parameters; `init` is the register's start value as catalogues list it."""

    name: str
    width: int
    poly: int
    init: int
    reflected: bool
    xorout: int


CRC8_CATALOGUE: dict[str, CrcSpec] = {
    spec.name: spec
    for spec in (
        CrcSpec("CRC-8/SAE-J1850", 8, 0x1D, 0xFF, False, 0xFF),
        CrcSpec("CRC-8/SAE-J1850-ZERO", 8, 0x1D, 0x00, False, 0x00),
        CrcSpec("CRC-8/AUTOSAR", 8, 0x2F, 0xFF, False, 0xFF),
        CrcSpec("CRC-8/SMBUS", 8, 0x07, 0x00, False, 0x00),
        CrcSpec("CRC-8/MAXIM-DOW", 8, 0x31, 0x00, True, 0x00),
    )
}
"""SAE-J1850-ZERO is our name for the start and final value zero of counter-plus-CRC profile 1."""


@cache
def crc_function(spec: CrcSpec) -> Callable[[bytes], int]:
    """Return the CRC over octets as a function; the library wants the start value un-XORed."""
    return crcmod.mkCrcFun(
        (1 << spec.width) | spec.poly,
        initCrc=spec.init ^ spec.xorout,
        rev=spec.reflected,
        xorOut=spec.xorout,
    )


@dataclass(frozen=True, slots=True)
class FoldSpec:
    """A folded item: `octets` octets, most or least significant first, before or after the data."""

    item: FoldItem
    place: FoldPlace
    value: int  # the data ID; for IDENTIFIER the message's identifier, filled in at load
    octets: int
    low_first: bool


@dataclass(frozen=True, slots=True)
class ChecksumSpec:
    """A checksum signal of one whole octet and what it covers."""

    signal: SignalSpec
    kind: ChecksumKind
    crc: CrcSpec | None
    first_octet: int
    last_octet: int
    folds: tuple[FoldSpec, ...]
    checksum_octet: int = field(init=False)
    before: bytes = field(init=False)
    after: bytes = field(init=False)
    crc_function: Callable[[bytes], int] | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive the octet that holds the checksum, the folded octets and the CRC function."""
        parts = {FoldPlace.BEFORE: b"", FoldPlace.AFTER: b""}
        for fold in self.folds:
            order: Literal["little", "big"] = "little" if fold.low_first else "big"
            parts[fold.place] += fold.value.to_bytes(fold.octets, order)
        object.__setattr__(self, "checksum_octet", self.signal.last_octet)
        object.__setattr__(self, "before", parts[FoldPlace.BEFORE])
        object.__setattr__(self, "after", parts[FoldPlace.AFTER])
        function = None if self.crc is None else crc_function(self.crc)
        object.__setattr__(self, "crc_function", function)


@dataclass(frozen=True, slots=True)
class CounterSpec:
    """A plain alive counter 0..modulo-1; a step of 1..max_step is good, 0 is a repetition."""

    signal: SignalSpec
    modulo: int
    max_step: int


def covered(spec: ChecksumSpec, data: bytes) -> bytes:
    """Return the octets the checksum goes over, folded items included, its own octet left out."""
    own = spec.checksum_octet
    if own == spec.last_octet:
        inside = data[spec.first_octet : own]
    elif spec.first_octet <= own <= spec.last_octet:
        inside = data[spec.first_octet : own] + data[own + 1 : spec.last_octet + 1]
    else:
        inside = data[spec.first_octet : spec.last_octet + 1]
    return spec.before + inside + spec.after


def checksum(spec: ChecksumSpec, data: bytes) -> int:
    """Return the checksum 0..255 of a payload of the message's full length."""
    octets = covered(spec, data)
    if spec.crc_function is not None:
        return spec.crc_function(octets)
    if spec.kind is ChecksumKind.SUM8:
        return sum(octets) & 0xFF
    result = 0
    for octet in octets:
        result ^= octet
    return result


def checksum_good(spec: ChecksumSpec, data: bytes) -> bool:
    """Return whether the payload carries the checksum it should."""
    return data[spec.checksum_octet] == checksum(spec, data)


def counter_good(spec: CounterSpec, reference: int, counter: int) -> bool:
    """Return whether the received counter follows the reference (rule 5).

    With no reference (after reset, loss or a restart of supervision) any counter is good.
    """
    if reference == NO_REFERENCE:
        return True
    if counter >= spec.modulo:
        return False
    return 1 <= (counter - reference) % spec.modulo <= spec.max_step


def next_counter(spec: CounterSpec, counter: int) -> int:
    """Return the counter that follows on transmission."""
    return 0 if counter + 1 >= spec.modulo else counter + 1


def seal(
    counter_spec: CounterSpec | None, checksum_spec: ChecksumSpec | None, data: bytes, counter: int
) -> bytes:
    """Return the payload with counter and, last, checksum put in (rule 12)."""
    if counter_spec is not None:
        data = insert(counter_spec.signal, data, counter)
    if checksum_spec is not None:
        own = checksum_spec.checksum_octet
        data = data[:own] + OCTETS[checksum(checksum_spec, data)] + data[own + 1 :]
    return data
