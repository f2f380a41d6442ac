"""Frames: bus, identifier format, identifier, data; compared by value, time is outside."""

from enum import IntEnum
from typing import NamedTuple

MAX_DATA_LENGTH = 8  # octets of a classic CAN frame
MAX_STANDARD_IDENTIFIER = 0x7FF  # 11 bit
MAX_EXTENDED_IDENTIFIER = 0x1FFFFFFF  # 29 bit


class Bus(IntEnum):
    """The two buses the module stands between."""

    BODY = 0
    ENGINE = 1


BUS_NAMES = ("body", "engine")


class FrameKey(NamedTuple):
    """What tells one message from another on the wire: 0x100 standard is not 0x100 extended."""

    bus: int
    extended: bool
    identifier: int


class Frame(NamedTuple):
    """One data frame of classic CAN: identifier 11 or 29 bit, 0..8 octets of data."""

    bus: int
    extended: bool
    identifier: int
    data: bytes

    @property
    def key(self) -> FrameKey:
        """The message this frame belongs to."""
        return FrameKey(self.bus, self.extended, self.identifier)


def data_length(length_code: int) -> int:
    """Return the octets a raw length code 0..15 stands for: 9..15 mean 8 (rule 6, ISO 11898-1)."""
    return min(length_code, MAX_DATA_LENGTH)


def received(bus: int, extended: bool, identifier: int, length_code: int, octets: bytes) -> Frame:
    """Return the frame a controller reports as raw length code and its octet buffer."""
    return Frame(bus, extended, identifier, octets[: data_length(length_code)])


def show_identifier(identifier: int, extended: bool) -> str:
    """Return the identifier as people write it: 3 hex digits for 11 bit, 8 for 29 bit."""
    return f"{identifier:08X}" if extended else f"{identifier:03X}"
