"""Framing: packets to octets on the line and back.

A packet is header, payload and CRC-16; COBS takes the zeros out of it, a zero ends it. Whatever
arrives is split at the zeros; what is no whole packet is counted, never an exception.
"""

from dataclasses import dataclass, field
from struct import Struct
from typing import NamedTuple

import crcmod.predefined
from cobs import cobs

from hil.link.layouts import CHECK, HEADER, struct_format

DELIMITER = b"\0"
_HEADER = Struct(struct_format(HEADER))
_CHECK = Struct(struct_format(CHECK))
OVERHEAD = _HEADER.size + _CHECK.size
"""Octets of a packet that are not payload."""
crc16 = crcmod.predefined.mkPredefinedCrcFun("crc-ccitt-false")
"""CRC-16/IBM-3740, also called CCITT-FALSE: polynomial 0x1021, start 0xFFFF."""


class Packet(NamedTuple):
    """One packet; numbers are 0..65535, `sequence` and `acknowledge` wrap."""

    kind: int
    flags: int
    nonce: int
    sequence: int
    acknowledge: int
    payload: bytes


def encode(packet: Packet) -> bytes:
    """Return the octets of a packet on the line, delimiter included."""
    head = _HEADER.pack(*packet[:5], len(packet.payload))
    body = head + packet.payload
    framed: bytes = cobs.encode(body + _CHECK.pack(crc16(body)))
    return framed + DELIMITER


def line_octets(payload: int) -> int:
    """Return the most octets that a packet of so many payload octets takes on the line."""
    length = payload + OVERHEAD
    return length + length // 254 + 2


def decode(framed: bytes) -> Packet | None:
    """Return the packet between two delimiters, None when it is damaged."""
    try:
        octets = cobs.decode(framed)
    except cobs.DecodeError:
        return None
    if len(octets) < OVERHEAD:
        return None
    body = octets[: -_CHECK.size]
    kind, flags, nonce, sequence, acknowledge, length = _HEADER.unpack_from(body)
    if length != len(octets) - OVERHEAD or _CHECK.unpack(octets[-2:])[0] != crc16(body):
        return None
    return Packet(kind, flags, nonce, sequence, acknowledge, body[_HEADER.size :])


@dataclass(slots=True)
class Decoder:
    """Octets off the line to packets. `damaged` counts what was none, `octets` all that came."""

    longest: int = 65536
    damaged: int = 0
    octets: int = 0
    _rest: bytearray = field(default_factory=bytearray)

    def feed(self, octets: bytes) -> list[Packet]:
        """Return the packets that the octets complete."""
        self.octets += len(octets)
        if DELIMITER not in octets:
            self._keep(octets)
            return []
        first, *others = octets.split(DELIMITER)
        *whole, last = [bytes(self._rest) + first, *others]
        self._rest.clear()
        packets = []
        for framed in whole:
            if not framed:
                continue
            packet = decode(framed)
            if packet is None:
                self.damaged += 1
            else:
                packets.append(packet)
        self._keep(last)
        return packets

    def _keep(self, octets: bytes) -> None:
        """Keep the beginning of a packet; endless octets without a zero are garbage."""
        self._rest += octets
        if len(self._rest) > self.longest:
            self._rest.clear()
            self.damaged += 1
