"""The CRCs against published values and two independent libraries.

Sources: AUTOSAR "Specification of CRC Routines" (SWS_CRCLibrary, R20-11): parameters and check
values SWS_Crc_00030/00042, result tables SWS_Crc_00052/00053 and following; IEEE 802.3 for CRC-32.
The packages crccheck and anycrc are called as independent oracles.
"""

import binascii
import random
import zlib

import anycrc
import crccheck
import pytest

from xlate_core.protection import CRC8_CATALOGUE, CRC_CATALOGUE, CrcSpec, crc_function, crc_table
from xlate_core.protection.crc import mirrored, register_start

J1850 = "CRC-8/SAE-J1850"  # "CRC8" of the AUTOSAR document
AUTOSAR = "CRC-8/AUTOSAR"  # "CRC8H2F" of the AUTOSAR document
ZERO = "CRC-8/SAE-J1850-ZERO"
DIGITS = b"123456789"

# SWS_CRCLibrary R20-11, result tables of CRC8 and CRC8H2F.
PUBLISHED_8 = [
    (J1850, "00000000", 0x59),
    (AUTOSAR, "00000000", 0x12),
    (J1850, "f20183", 0x37),
    (AUTOSAR, "0faa0055", 0xC6),
    (J1850, "00ff5511", 0xB8),
    (AUTOSAR, "00ff5511", 0x77),
    (J1850, "332255aabbccddeeff", 0xCB),
    (AUTOSAR, "926b55", 0x33),
    (J1850, "ffffffff", 0x74),
    (AUTOSAR, "ffffffff", 0x6C),
    (J1850, "", 0x00),  # computed with anycrc and crccheck, not in the document
    (AUTOSAR, "", 0x00),  # likewise
]

# SWS_CRCLibrary R20-11, result table of CRC32 (CRC-32/ISO-HDLC); the state digest uses it.
PUBLISHED_32 = [
    ("00000000", 0x2144DF1C),
    ("0faa0055", 0xB6C9B287),
    ("00ff5511", 0x32A06212),
    ("926b55", 0x9CDEA29B),
    ("ffffffff", 0xFFFFFFFF),
    ("", 0x00000000),  # computed with anycrc and crccheck, not in the document
]

# The check value over "123456789" and the residue: what the register holds, before the final XOR,
# behind a message with its own checksum. SWS_Crc_00030/00042.
CHECK_AND_RESIDUE = [(J1850, 0x4B, 0xC4), (AUTOSAR, 0xDF, 0x42)]

# The public catalogue's check values of the others, from memory; the libraries confirm them below.
# Our name ZERO has the parameters the catalogue lists as CRC-8/GSM-A.
CHECK_FROM_MEMORY = [(ZERO, 0x37), ("CRC-8/SMBUS", 0xF4), ("CRC-8/MAXIM-DOW", 0xA1)]

CRCCHECK_CLASSES = {
    J1850: crccheck.crc.Crc8SaeJ1850,
    ZERO: crccheck.crc.Crc8GsmA,
    AUTOSAR: crccheck.crc.Crc8Autosar,
    "CRC-8/SMBUS": crccheck.crc.Crc8Smbus,
    "CRC-8/MAXIM-DOW": crccheck.crc.Crc8MaximDow,
}
ANYCRC_NAMES = {
    J1850: "CRC8-SAE-J1850",
    ZERO: "CRC8-GSM-A",
    AUTOSAR: "CRC8-AUTOSAR",
    "CRC-8/SMBUS": "CRC8-SMBUS",
    "CRC-8/MAXIM-DOW": "CRC8-MAXIM-DOW",
}


@pytest.mark.parametrize(("name", "octets", "crc"), PUBLISHED_8)
def test_published_vectors_of_eight_bit(name: str, octets: str, crc: int) -> None:
    assert crc_function(CRC8_CATALOGUE[name])(bytes.fromhex(octets)) == crc


@pytest.mark.parametrize(("name", "check", "residue"), CHECK_AND_RESIDUE)
def test_check_value_and_residue(name: str, check: int, residue: int) -> None:
    spec = CRC8_CATALOGUE[name]
    crc = crc_function(spec)
    assert crc(DIGITS) == check
    assert crc(DIGITS + bytes((check,))) ^ spec.xorout == residue


@pytest.mark.parametrize(("name", "check"), CHECK_FROM_MEMORY)
def test_check_value_from_memory(name: str, check: int) -> None:
    assert crc_function(CRC8_CATALOGUE[name])(DIGITS) == check


def test_every_entry_of_the_catalogue_has_its_oracles() -> None:
    assert set(CRCCHECK_CLASSES) == set(ANYCRC_NAMES) == set(CRC8_CATALOGUE)
    assert all(spec.name == name for name, spec in CRC8_CATALOGUE.items())


@pytest.mark.parametrize("name", CRC8_CATALOGUE)
def test_random_octets_against_crccheck_and_anycrc(name: str) -> None:
    rng = random.Random(name)
    crc = crc_function(CRC8_CATALOGUE[name])
    model = anycrc.Model(ANYCRC_NAMES[name])
    for _ in range(1000):
        data = rng.randbytes(rng.randint(1, 20))
        expected = CRCCHECK_CLASSES[name].calc(data)
        assert model.calc(data) == expected  # the oracles agree with each other
        assert crc(data) == expected, data.hex()


@pytest.mark.parametrize(("octets", "crc"), PUBLISHED_32)
def test_published_vectors_of_the_digest(octets: str, crc: int) -> None:
    assert zlib.crc32(bytes.fromhex(octets)) == crc
    assert binascii.crc32(bytes.fromhex(octets)) == crc


def test_digest_check_value_and_residue() -> None:
    # AUTOSAR SWS_CRCLibrary (CRC32), IEEE 802.3.
    check = zlib.crc32(DIGITS)
    assert check == 0xCBF43926
    assert zlib.crc32(DIGITS + check.to_bytes(4, "little")) ^ 0xFFFFFFFF == 0xDEBB20E3


def test_random_octets_of_the_digest_against_crccheck_and_anycrc() -> None:
    rng = random.Random("digest")
    model = anycrc.Model("CRC32-ISO-HDLC")
    for _ in range(300):
        data = rng.randbytes(rng.randint(1, 300))
        assert zlib.crc32(data) == crccheck.crc.Crc32IsoHdlc.calc(data) == model.calc(data)


# Check values over "123456789": SWS_CRCLibrary R20-11 (16 and 32 bit), ISO 11898-1 (15 and 21 bit).
CHECK_OF_ANY_WIDTH = [
    ("CRC-15/CAN", 0x059E),
    ("CRC-16/IBM-3740", 0x29B1),
    ("CRC-16/ARC", 0xBB3D),
    ("CRC-21/CAN-FD", 0x0ED841),
    ("CRC-32/ISO-HDLC", 0xCBF43926),
    ("CRC-32/AUTOSAR", 0x1697D06A),
]

# SWS_CRCLibrary R20-11, result tables of CRC16, CRC16ARC and CRC32.
PUBLISHED_WIDE = [
    ("CRC-16/ARC", "00000000", 0x0000),
    ("CRC-32/ISO-HDLC", "00000000", 0x2144DF1C),
    ("CRC-16/IBM-3740", "f20183", 0xD374),
    ("CRC-16/ARC", "f20183", 0xC2E1),
]


@pytest.mark.parametrize(("name", "check"), CHECK_OF_ANY_WIDTH)
def test_check_values_of_any_width(name: str, check: int) -> None:
    assert crc_function(CRC_CATALOGUE[name])(DIGITS) == check


@pytest.mark.parametrize(("name", "octets", "crc"), PUBLISHED_WIDE)
def test_published_vectors_of_any_width(name: str, octets: str, crc: int) -> None:
    assert crc_function(CRC_CATALOGUE[name])(bytes.fromhex(octets)) == crc


def test_any_polynomial_of_width_4_to_32_against_anycrc_and_crccheck() -> None:
    rng = random.Random("any width")
    for width in range(4, 33):
        for _ in range(12):
            most = (1 << width) - 1
            poly, init, xorout = (
                rng.randint(0, most) | 1,
                rng.randint(0, most),
                rng.randint(0, most),
            )
            reflected = rng.random() < 0.5
            spec = CrcSpec("drawn", width, poly, init, reflected, xorout)
            # anycrc reads a reflected start value the way the register holds it.
            model = anycrc.CRC(width, poly, init, reflected, reflected, xorout)
            other = crccheck.crc.Crc(width, poly, init, reflected, reflected, xorout)
            data = rng.randbytes(rng.randint(1, 12))
            expected = other.process(data).final()
            assert model.calc(data) == expected
            assert crc_function(spec)(data) == expected, (spec, data.hex())
            assert by_table(spec, data) == expected


def by_table(spec: CrcSpec, data: bytes) -> int:
    """The CRC by the table form, as the firmware works it out."""
    register, table = register_start(spec), crc_table(spec)
    spare = 0 if spec.reflected else max(8 - spec.width, 0)
    for octet in data:
        if spec.reflected:
            register = (register >> 8) ^ table[(register ^ octet) & 0xFF]
        else:
            top = max(spec.width - 8, 0)
            register = ((register << 8) & (spec.mask << spare)) ^ table[(register >> top) ^ octet]
    return (register >> spare) ^ spec.xorout


def test_mirrored() -> None:
    assert mirrored(0b1101, 4) == 0b1011
    assert mirrored(0x1, 15) == 0x4000
