"""CRCs of width 4 to 32 by their parameters.

The usual model: width, polynomial without its highest term, start value, reflection of input and
output together, final exclusive-or; names of the public catalogue. The octet is the unit of input.
A register narrower than an octet is kept at the upper end of one (not reflected) or at the lower
end (reflected), so that one table step takes one octet at any width.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import crcmod

LIBRARY_WIDTHS = (8, 16, 24, 32)  # what the CRC library works out, in C where it is built
LEAST_WIDTH, MOST_WIDTH = 4, 32


@dataclass(frozen=True, slots=True)
class CrcSpec:
    """A CRC by its parameters; `init` is the register's start value as catalogues list it."""

    name: str
    width: int
    poly: int
    init: int
    reflected: bool
    xorout: int

    @property
    def mask(self) -> int:
        """All ones of the width."""
        return (1 << self.width) - 1


CRC_CATALOGUE: dict[str, CrcSpec] = {
    spec.name: spec
    for spec in (
        CrcSpec("CRC-8/SAE-J1850", 8, 0x1D, 0xFF, False, 0xFF),
        CrcSpec("CRC-8/SAE-J1850-ZERO", 8, 0x1D, 0x00, False, 0x00),
        CrcSpec("CRC-8/AUTOSAR", 8, 0x2F, 0xFF, False, 0xFF),
        CrcSpec("CRC-8/SMBUS", 8, 0x07, 0x00, False, 0x00),
        CrcSpec("CRC-8/MAXIM-DOW", 8, 0x31, 0x00, True, 0x00),
        CrcSpec("CRC-15/CAN", 15, 0x4599, 0x0000, False, 0x0000),
        CrcSpec("CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, False, 0x0000),
        CrcSpec("CRC-16/ARC", 16, 0x8005, 0x0000, True, 0x0000),
        CrcSpec("CRC-21/CAN-FD", 21, 0x102899, 0x000000, False, 0x000000),
        CrcSpec("CRC-32/ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),
        CrcSpec("CRC-32/AUTOSAR", 32, 0xF4ACFB13, 0xFFFFFFFF, True, 0xFFFFFFFF),
    )
}
"""SAE-J1850-ZERO is our name for the start and final value zero of counter-plus-CRC profile 1."""

CRC8_CATALOGUE = {name: spec for name, spec in CRC_CATALOGUE.items() if spec.width == 8}


@cache
def crc_function(spec: CrcSpec) -> Callable[[bytes], int]:
    """Return the CRC over octets as a function."""
    if spec.width in LIBRARY_WIDTHS:
        # The library wants the start value as its register holds it, without the final XOR.
        function: Callable[[bytes], int] = crcmod.mkCrcFun(
            (1 << spec.width) | spec.poly,
            initCrc=register_start(spec) ^ spec.xorout,
            rev=spec.reflected,
            xorOut=spec.xorout,
        )
        return function
    return _own_function(spec)


def _own_function(spec: CrcSpec) -> Callable[[bytes], int]:
    """Return the CRC of a width that the library does not know."""
    table = crc_table(spec)
    start, spare = register_start(spec), max(8 - spec.width, 0)
    top, mask = max(spec.width - 8, 0), (spec.mask << (0 if spec.reflected else spare))

    def crc(octets: bytes) -> int:
        register = start
        if spec.reflected:
            for octet in octets:
                register = (register >> 8) ^ table[(register ^ octet) & 0xFF]
            return register ^ spec.xorout
        for octet in octets:
            register = (register << 8 & mask) ^ table[(register >> top) ^ octet]
        return (register >> spare) ^ spec.xorout

    return crc


def register_start(spec: CrcSpec) -> int:
    """Return the start value of the table form's register."""
    if spec.reflected:
        return mirrored(spec.init, spec.width)
    return spec.init << max(8 - spec.width, 0)


@cache
def crc_table(spec: CrcSpec) -> tuple[int, ...]:
    """Return what each octet does to an empty register of the table form."""
    if spec.reflected:
        poly = mirrored(spec.poly, spec.width)
        return tuple(_right(octet, poly) for octet in range(256))
    spare = max(8 - spec.width, 0)
    width = spec.width + spare
    return tuple(_left(octet, spec.poly << spare, width) for octet in range(256))


def _left(octet: int, poly: int, width: int) -> int:
    register = octet << (width - 8)
    for _ in range(8):
        carry = register >> (width - 1) & 1
        register = (register << 1) & ((1 << width) - 1)
        if carry:
            register ^= poly
    return register


def _right(octet: int, poly: int) -> int:
    register = octet
    for _ in range(8):
        register = (register >> 1) ^ (poly if register & 1 else 0)
    return register


def mirrored(value: int, width: int) -> int:
    """Return the lowest `width` bits in the opposite order."""
    return sum((value >> bit & 1) << (width - 1 - bit) for bit in range(width))
