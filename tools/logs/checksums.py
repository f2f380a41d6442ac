"""Checksums over many payloads at once, as linear parts: what remains when constants cancel.

Every CRC is affine: for payloads of one length, checksum = linear(payload) XOR constant. The
constant takes up start value, final value, folded identifier and data ID; so a CRC family can be
recognised before any of these are known. Sums behave the same way with subtraction.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import crcmod
import numpy as np

from tools.logs.table import Array

MOST_BEHIND = 12


@dataclass(frozen=True, slots=True)
class Crc:
    """A CRC by the parameters of the public catalogue; `init` as catalogues list it."""

    name: str
    width: int
    poly: int
    init: int
    reflected: bool
    xorout: int


CATALOGUE: tuple[Crc, ...] = (
    Crc("CRC-8/SAE-J1850", 8, 0x1D, 0xFF, False, 0xFF),
    Crc("CRC-8/SAE-J1850-ZERO", 8, 0x1D, 0x00, False, 0x00),
    Crc("CRC-8/AUTOSAR", 8, 0x2F, 0xFF, False, 0xFF),
    Crc("CRC-8/SMBUS", 8, 0x07, 0x00, False, 0x00),
    Crc("CRC-8/ROHC", 8, 0x07, 0xFF, True, 0x00),
    Crc("CRC-8/MAXIM-DOW", 8, 0x31, 0x00, True, 0x00),
    Crc("CRC-8/NRSC-5", 8, 0x31, 0xFF, False, 0x00),
    Crc("CRC-8/CDMA2000", 8, 0x9B, 0xFF, False, 0x00),
    Crc("CRC-8/WCDMA", 8, 0x9B, 0x00, True, 0x00),
    Crc("CRC-8/DVB-S2", 8, 0xD5, 0x00, False, 0x00),
    Crc("CRC-8/DARC", 8, 0x39, 0x00, True, 0x00),
    Crc("CRC-8/BLUETOOTH", 8, 0xA7, 0x00, True, 0x00),
    Crc("CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, False, 0x0000),
    Crc("CRC-16/XMODEM", 16, 0x1021, 0x0000, False, 0x0000),
    Crc("CRC-16/KERMIT", 16, 0x1021, 0x0000, True, 0x0000),
    Crc("CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, True, 0xFFFF),
    Crc("CRC-16/ARC", 16, 0x8005, 0x0000, True, 0x0000),
    Crc("CRC-16/MODBUS", 16, 0x8005, 0xFFFF, True, 0x0000),
    Crc("CRC-16/UMTS", 16, 0x8005, 0x0000, False, 0x0000),
)
"""SAE-J1850-ZERO is our name for polynomial 0x1D with start and final value zero."""


def by_name(name: str) -> Crc:
    """Return the CRC of a catalogue name; raises KeyError."""
    return {each.name: each for each in CATALOGUE}[name]


@cache
def catalogue_function(name: str) -> Callable[[bytes], int]:
    """Return a CRC of the catalogue as a plain function of octets."""
    return plain_function(by_name(name))


@cache
def plain_function(spec: Crc) -> Callable[[bytes], int]:
    """Return a CRC as a plain function of octets; the library wants the start value un-XORed."""
    made: Callable[[bytes], int] = crcmod.mkCrcFun(
        (1 << spec.width) | spec.poly,
        initCrc=spec.init ^ spec.xorout,
        rev=spec.reflected,
        xorOut=spec.xorout,
    )
    return made


@cache
def linear_tables(width: int, poly: int, reflected: bool) -> Array:
    """Return what one octet does to a CRC with start and final value zero.

    Table [k][octet]: k = 0..MOST_BEHIND-1 octets stand behind it.
    """
    kind = np.uint8 if width == 8 else np.uint16
    one = np.array([_one_octet(width, poly, reflected, octet) for octet in range(256)], kind)
    tables = np.zeros((MOST_BEHIND, 256), kind)
    tables[0] = one
    for behind in range(1, MOST_BEHIND):
        before = tables[behind - 1]
        if width == 8:
            tables[behind] = one[before]
        elif reflected:
            tables[behind] = (before >> 8) ^ one[before & 0xFF]
        else:
            tables[behind] = (before << 8) ^ one[before >> 8]
    return tables


def _one_octet(width: int, poly: int, reflected: bool, octet: int) -> int:
    mask = (1 << width) - 1
    if reflected:
        mirrored = int(f"{poly:0{width}b}"[::-1], 2)
        register = octet
        for _ in range(8):
            register = (register >> 1) ^ (mirrored if register & 1 else 0)
        return register & mask
    register = octet << (width - 8)
    for _ in range(8):
        register = (register << 1) ^ (poly if register >> (width - 1) & 1 else 0)
    return register & mask


@cache
def all_polynomials_8() -> tuple[tuple[tuple[int, bool], ...], Array]:
    """Return every 8-bit CRC polynomial with both bit orders, and their tables [which][k][octet].

    Those of the catalogue stand first.
    """
    known = list(dict.fromkeys((c.poly, c.reflected) for c in CATALOGUE if c.width == 8))
    others = [(poly, order) for poly in range(3, 256, 2) for order in (False, True)]
    names = tuple(known + [each for each in others if each not in known])
    return names, np.stack([linear_tables(8, poly, order) for poly, order in names])
