"""Every packet of the link, declared once.

The declarations are construct structures. The host packs and parses with them; the numbers and
places the firmware needs are written out of them into `firmware/link/xb_packets.h`. PROTOCOL.md
tells what they mean.
"""

from enum import IntEnum
from typing import Any

from construct import Bytes, FormatField, Int8ul, Int16ul, Int32ul, Struct

LINK_VERSION = 1
FIRMWARE_VERSION = (0, 1, 0)
"""Version of the firmware these sources make; a board of another one is named and refused."""

LAST = 0x01
"""Flag of a reply: the request it answers is done with; every request has exactly one such."""


class Kind(IntEnum):
    """What a packet is. From 0x10 on packets are sequenced; bit 7 set means from the board."""

    HELLO = 0x01
    POLL = 0x02
    ACKNOWLEDGE = 0x03
    RESTART = 0x04
    WORK = 0x10
    STATE = 0x11
    RESTORE = 0x12
    BANNER = 0x80
    IDENTITY = 0x81
    STATUS = 0x82
    RESULT = 0x90
    STATE_PART = 0x91
    RESTORED = 0x92
    REFUSED = 0x9F


SEQUENCED = 0x10
FROM_BOARD = 0x80


class Op(IntEnum):
    """What a record inside WORK and RESULT packets is; frames and short ticks have ranges."""

    TICKS = 0x01
    LEVEL = 0x02
    COUNT = 0x03
    SUPPLY = 0x04
    CONTROLLER = 0x05
    RESET = 0x06
    DIGEST = 0x07
    FREE_RUN = 0x08
    LOST = 0x09
    INPUT = 0x0A
    DUTY = 0x10
    FREQUENCY = 0x11
    COMMAND = 0x12
    HOLD = 0x13


FRAME = 0x40
FRAME_EXTENDED = 0x10
FRAME_ENGINE = 0x20
FRAME_LENGTH = 0x0F
SHORT_TICKS = 0x80
MOST_SHORT_TICKS = 0x40
"""Frame record: 0x40 + 0x20 on the engine bus + 0x10 extended + raw length code; then the
identifier (2 octets, extended 4) and the data. Octets 0x80..0xBF stand for 1..64 ticks."""


class Refusal(IntEnum):
    """Why a request was refused: the host made a mistake, nothing of the rest was done."""

    KIND_UNKNOWN = 1
    RECORD_UNKNOWN = 2
    RECORD_CUT = 3
    OUT_OF_RANGE = 4
    NOT_NOW = 5


HEADER = Struct(
    "kind" / Int8ul,
    "flags" / Int8ul,
    "nonce" / Int16ul,
    "sequence" / Int16ul,
    "acknowledge" / Int16ul,
    "length" / Int16ul,
)
CHECK = Struct("crc" / Int16ul)
HELLO = Struct("link" / Int8ul)
IDENTITY = Struct(
    "link" / Int8ul,
    "firmware_major" / Int8ul,
    "firmware_minor" / Int8ul,
    "firmware_patch" / Int8ul,
    "rules" / Int16ul,
    "tick_ms" / Int16ul,
    "image_octets" / Int16ul,
    "packet_octets" / Int16ul,
    "slots" / Int16ul,
    "ring_octets" / Int32ul,
    "boots" / Int32ul,
    "cause" / Int8ul,
    "pairing" / Bytes(32),
    "board" / Bytes(16),
)
STATUS = Struct(
    "boots" / Int32ul,
    "cause" / Int8ul,
    "ticks" / Int32ul,
    "overruns" / Int32ul,
    "line_errors" / Int32ul,
    "damaged" / Int32ul,
    "gaps" / Int32ul,
    "repeats" / Int32ul,
    "no_room" / Int32ul,
    "strangers" / Int32ul,
    "resent" / Int32ul,
    "cycles" / Int32ul,
)
STATE = Struct("first" / Int16ul, "count" / Int16ul)
STATE_PART = Struct("first" / Int16ul)
RESTORE = Struct("first" / Int16ul)
RESTORED = Struct("digest" / Int32ul)
REFUSED = Struct("reason" / Int8ul, "place" / Int16ul)

PACKETS: dict[str, Struct] = {
    "header": HEADER,
    "check": CHECK,
    "hello": HELLO,
    "identity": IDENTITY,
    "status": STATUS,
    "state": STATE,
    "state_part": STATE_PART,
    "restore": RESTORE,
    "restored": RESTORED,
    "refused": REFUSED,
}
"""Fixed parts of the packets by name; STATE_PART and RESTORE are followed by octets."""

RECORDS: dict[Op, Struct] = {
    Op.TICKS: Struct("ticks" / Int16ul),
    Op.LEVEL: Struct("index" / Int8ul, "value" / Int8ul),
    Op.COUNT: Struct("index" / Int8ul, "value" / Int16ul),
    Op.SUPPLY: Struct("value" / Int32ul),
    Op.CONTROLLER: Struct(
        "bus" / Int8ul,
        "value" / Int8ul,
        "acknowledged" / Int8ul,
        "unacknowledged" / Int8ul,
        "errors" / Int8ul,
    ),
    Op.RESET: Struct("cause" / Int8ul, "kept" / Int8ul),
    Op.DIGEST: Struct("digest" / Int32ul, "requests" / Int32ul, "replies" / Int32ul),
    Op.FREE_RUN: Struct("on" / Int8ul),
    Op.LOST: Struct("records" / Int32ul),
    Op.INPUT: Struct(),
    Op.DUTY: Struct("index" / Int8ul, "value" / Int16ul),
    Op.FREQUENCY: Struct("index" / Int8ul, "value" / Int32ul),
    Op.COMMAND: Struct("bus" / Int8ul, "value" / Int8ul),
    Op.HOLD: Struct("value" / Int8ul),
}
"""Records by op, the op octet itself left out. In a request DIGEST is the op octet alone; INPUT is
followed by the record of an input, in a free run's journal."""


def fields(layout: Any) -> list[tuple[str, Any, int]]:
    """Return name, construct and place of every field of a structure of fixed length."""
    found = []
    place = 0
    for part in layout.subcons:
        found.append((str(part.name), part.subcon, place))
        place += part.subcon.sizeof()
    return found


def struct_format(layout: Any) -> str:
    """Return the format of Python's `struct` module for a structure of numbers."""
    letters = []
    for name, part, _ in fields(layout):
        if not isinstance(part, FormatField):
            raise TypeError(f"{name} is no number")
        letters.append(part.fmtstr.lstrip("<>="))
    return "<" + "".join(letters)


def c_header() -> str:
    """Return xb_packets.h: the same numbers and places for the firmware."""
    lines = [
        "/* Generated by `xlate firmware link`; not to be edited. Declared in",
        " * hil/link/layouts.py, told in hil/PROTOCOL.md. All numbers are little-endian. */",
        "#ifndef XB_PACKETS_H",
        "#define XB_PACKETS_H",
        "",
    ]

    def define(name: str, value: int, hexadecimal: bool = False) -> None:
        lines.append(f"#define XB_{name.upper()} {f'0x{value:02X}' if hexadecimal else value}u")

    define("link_version", LINK_VERSION)
    for part, number in zip(("major", "minor", "patch"), FIRMWARE_VERSION, strict=True):
        define(f"firmware_{part}", number)
    for kind in Kind:
        define(f"kind_{kind.name}", kind, True)
    define("kind_sequenced", SEQUENCED, True)
    define("flag_last", LAST, True)
    for op in Op:
        define(f"op_{op.name}", op, True)
    define("op_frame", FRAME, True)
    define("op_frame_extended", FRAME_EXTENDED, True)
    define("op_frame_engine", FRAME_ENGINE, True)
    define("op_frame_length", FRAME_LENGTH, True)
    define("op_short_ticks", SHORT_TICKS, True)
    define("most_short_ticks", MOST_SHORT_TICKS)
    for reason in Refusal:
        define(f"refusal_{reason.name}", reason)
    for packet, layout in PACKETS.items():
        for name, _, place in fields(layout):
            define(f"{packet}_at_{name}", place)
        define(f"{packet}_octets", layout.sizeof())
    for op, layout in RECORDS.items():
        for name, _, place in fields(layout):
            define(f"{op.name}_record_at_{name}", place + 1)
        define(f"{op.name}_record_octets", layout.sizeof() + 1)
    return "\n".join([*lines, "", "#endif", ""])
