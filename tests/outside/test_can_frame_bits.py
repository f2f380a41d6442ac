"""Frame lengths against published bounds, a published bit pattern and lengths seen on hardware.

Sources: Davis, Burns, Bril, Lukkien, Real-Time Systems 35 (2007), equations (1) to (3), for the
bounds; Canis Labs, "CANHack MicroPython SDK reference manual" (2022), section 3, for the pattern;
`BitCount` of the ASC recordings in the python-can 4.6.1 source distribution for hardware; all other
exact rows worked out by three independent programs that agree, one of them can-utils' canframelen.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.timing import frame_bits

BOUNDS = [  # octets; 11-bit least, most; 29-bit least, most; with the interframe space
    (0, 47, 55, 67, 80),
    (1, 55, 65, 75, 90),
    (3, 71, 85, 91, 110),
    (4, 79, 95, 99, 120),
    (6, 95, 115, 115, 140),
    (7, 103, 125, 123, 150),
]

EXACT = [  # extended, identifier, data, checksum, stuff bits, bits with the interframe space
    (False, 0x123, "68656c6c6f", 0x1C03, 1, 88),
    (False, 0x14, "01", 0x7753, 3, 58),
    (False, 0x7FF, "", 0x272F, 3, 50),
    (False, 0x555, "0000000000000000", 0x7A35, 13, 124),
    (False, 0x7F0, "ffffffffffffffff", 0x2510, 14, 125),
    (True, 0x0CF00400, "ffffffa02dffffff", 0x21FF, 15, 146),
    (True, 0x0, "0000000000000000", 0x3DAF, 19, 150),
    (True, 0x1FFFFFFF, "ffffffffffffffff", 0x1B69, 18, 149),
    (False, 0x2A5, "0123456789abcdef", 0x0556, 2, 113),
    (False, 0x7DF, "02010c5555555555", 0x4438, 4, 115),
    (False, 0x100, "3c3c3c3c", 0x3347, 2, 81),
    (True, 0x18F00903, "0080000000007d7d", 0x6454, 14, 145),
]

HARDWARE = [
    (False, 0x180, "6a00000000000000", 125),
    (False, 0x221, "c24a058100001510", 117),
    (True, 0x18EBFF00, "01a00fa6603bd140", 141),
    (True, 0x18EBFF00, "021fde8025dfc02b", 140),
    (True, 0x18EBFF00, "04004bffffffffff", 146),
    (False, 0x6F8, "ff000cfe00000000", 124),
]

PUBLISHED = (
    "0001001000110000101011010000110010101101100011011000110111100111000001000111011111111111"
)


@pytest.mark.parametrize("row", BOUNDS)
def test_bounds(row: tuple[int, ...]) -> None:
    octets, *expected = row
    found = [
        bound(octets, extended)
        for extended in (False, True)
        for bound in (frame_bits.shortest_bits, frame_bits.longest_bits)
    ]
    assert found == expected


@pytest.mark.parametrize("row", EXACT)
def test_exact_frames(row: tuple[bool, int, str, int, int, int]) -> None:
    extended, identifier, text, checksum, stuff_bits, bits = row
    data = bytes.fromhex(text)
    plain = frame_bits.header(extended, identifier, len(data))
    plain += "".join(f"{octet:08b}" for octet in data)
    assert frame_bits.crc15(plain) == checksum
    assert len(frame_bits.stuff(plain + f"{checksum:015b}")) - len(plain) - 15 == stuff_bits
    assert frame_bits.exact_bits(extended, identifier, data) == bits


@pytest.mark.parametrize("row", HARDWARE)
def test_lengths_seen_on_hardware(row: tuple[bool, int, str, int]) -> None:
    extended, identifier, text, bits = row
    assert frame_bits.exact_bits(extended, identifier, bytes.fromhex(text)) == bits


def test_the_published_pattern_bit_for_bit() -> None:
    tail = "1" + "0" + "1" + "1" * 7 + "1" * 3  # delimiter, acknowledge, delimiter, end, space
    assert frame_bits.stuffed(False, 0x123, b"hello") + tail == PUBLISHED


@given(st.booleans(), st.integers(0, 0x1FFFFFFF), st.binary(max_size=8))
def test_every_frame_is_within_the_bounds(extended: bool, identifier: int, data: bytes) -> None:
    identifier &= 0x1FFFFFFF if extended else 0x7FF
    bits = frame_bits.exact_bits(extended, identifier, data)
    assert frame_bits.shortest_bits(len(data), extended) <= bits
    assert bits <= frame_bits.longest_bits(len(data), extended)
    assert frame_bits.longest_run(frame_bits.stuffed(extended, identifier, data)) <= 5
