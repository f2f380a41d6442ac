"""Frames of production cars whose last octet is CRC-8/SAE-J1850 over all earlier octets.

Source: recordings published with opendbc 0.3.1 (PyPI, MIT), frames of its checksum checks:
steering (EPS_1, EPS_2, EPS_3) and brake (ABS_2) messages.
"""

import pytest

from xlate_core.protection import (
    CRC8_CATALOGUE,
    ChecksumKind,
    ChecksumSpec,
    checksum_good,
    seal,
)
from xlate_core.signals import ByteOrder, SignalSpec

RECORDED = [
    ("EPS_1", "175197cc00df"),
    ("EPS_1", "175197c901a3"),
    ("EPS_2", "7c4357600000a1"),
    ("EPS_2", "7c6358e00001d5"),
    ("EPS_3", "7b3000f8"),
    ("EPS_3", "7b100190"),
    ("ABS_2", "7e38007d1031812f"),
    ("ABS_2", "7e38007d20318220"),
]


def last_octet_checksum(octets: int) -> ChecksumSpec:
    return ChecksumSpec(
        signal=SignalSpec("Check", 8 * (octets - 1), 8, ByteOrder.INTEL, signed=False),
        kind=ChecksumKind.CRC8,
        crc=CRC8_CATALOGUE["CRC-8/SAE-J1850"],
        first_octet=0,
        last_octet=octets - 1,
        folds=(),
    )


@pytest.mark.parametrize(("message", "frame"), RECORDED)
def test_recorded_frame_is_good(message: str, frame: str) -> None:
    data = bytes.fromhex(frame)
    assert checksum_good(last_octet_checksum(len(data)), data), message


@pytest.mark.parametrize(("message", "frame"), RECORDED)
def test_sealing_restores_the_recorded_octet(message: str, frame: str) -> None:
    data = bytes.fromhex(frame)
    blank = data[:-1] + b"\x00"
    assert seal(None, last_octet_checksum(len(data)), blank, 0) == data, message


@pytest.mark.parametrize(("message", "frame"), RECORDED)
def test_every_flipped_bit_of_a_recorded_frame_is_noticed(message: str, frame: str) -> None:
    data = bytes.fromhex(frame)
    spec = last_octet_checksum(len(data))
    for bit in range(8 * len(data)):
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        assert not checksum_good(spec, bytes(flipped)), (message, bit)
