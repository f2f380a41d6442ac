"""A byte log as lines a person can read: time, direction, packet, its records."""

from collections.abc import Iterable, Iterator

from construct import ConstructError

from hil.link import layouts
from hil.link.framing import Decoder, Packet
from hil.link.layouts import FROM_BOARD, LAST, SEQUENCED, Kind
from hil.link.port import SENT
from xlate_core.frames import BUS_NAMES, MAX_DATA_LENGTH, show_identifier

BODIES = {
    Kind.HELLO: layouts.HELLO,
    Kind.BANNER: layouts.IDENTITY,
    Kind.IDENTITY: layouts.IDENTITY,
    Kind.STATUS: layouts.STATUS,
    Kind.STATE: layouts.STATE,
    Kind.RESTORED: layouts.RESTORED,
    Kind.REFUSED: layouts.REFUSED,
}
MOST_RECORDS = 12


def listing(entries: Iterable[tuple[bytes, int, bytes]]) -> Iterator[str]:
    """Yield one line for every packet; what was damaged is counted."""
    decoders = {SENT: Decoder()}
    for direction, passed, octets in entries:
        decoder = decoders.setdefault(direction, Decoder())
        damaged = decoder.damaged
        packets = decoder.feed(octets)
        for _ in range(decoder.damaged - damaged):
            yield f"{passed / 1e6:12.6f} {direction.decode()} damaged packet"
        for packet in packets:
            yield f"{passed / 1e6:12.6f} {direction.decode()} {packet_line(packet)}"


def packet_line(packet: Packet) -> str:
    """Return a packet in words."""
    try:
        kind = Kind(packet.kind)
    except ValueError:
        return f"kind 0x{packet.kind:02X}, {len(packet.payload)} octets"
    line = f"{kind.name.lower()} session {packet.nonce}"
    if kind & ~FROM_BOARD >= SEQUENCED:
        line += f" number {packet.sequence}"
    line += f" expects {packet.acknowledge}"
    if packet.flags & LAST:
        line += " last"
    if kind in (Kind.WORK, Kind.RESULT):
        shown = list(records(packet.payload))
        more = f", {len(shown) - MOST_RECORDS} more" if len(shown) > MOST_RECORDS else ""
        return f"{line}: {', '.join(shown[:MOST_RECORDS])}{more}"
    body = BODIES.get(kind)
    if body is not None:
        try:
            said = body.parse(packet.payload)
        except ConstructError:
            return f"{line}: cut short"
        words = [
            f"{name}={value.hex()[:16] if isinstance(value, bytes) else value}"
            for name, value in said.items()
            if not str(name).startswith("_")
        ]
        return f"{line}: {' '.join(words)}"
    return f"{line}: {len(packet.payload)} octets" if packet.payload else line


def records(payload: bytes) -> Iterator[str]:
    """Yield the records of a WORK or RESULT payload in words."""
    at = 0
    while at < len(payload):
        op = payload[at]
        if layouts.FRAME <= op < layouts.SHORT_TICKS:
            extended = bool(op & layouts.FRAME_EXTENDED)
            width = 4 if extended else 2
            code = op & layouts.FRAME_LENGTH
            identifier = int.from_bytes(payload[at + 1 : at + 1 + width], "little")
            end = at + 1 + width + min(code, MAX_DATA_LENGTH)
            bus = BUS_NAMES[1 if op & layouts.FRAME_ENGINE else 0]
            data = payload[at + 1 + width : end].hex()
            yield f"{bus} {show_identifier(identifier, extended)}#{data}"
            at = end
            continue
        if layouts.SHORT_TICKS <= op < layouts.SHORT_TICKS + layouts.MOST_SHORT_TICKS:
            yield f"{op - layouts.SHORT_TICKS + 1} ticks"
            at += 1
            continue
        layout = layouts.RECORDS.get(op)  # type: ignore[call-overload]
        if layout is None:
            yield f"unknown record 0x{op:02X}"
            return
        name = layouts.Op(op).name.lower()
        if op == layouts.Op.DIGEST and at + 1 + layout.sizeof() > len(payload):
            yield name
            at += 1
            continue
        try:
            said = layout.parse(payload[at + 1 :])
        except ConstructError:
            yield f"{name} cut short"
            return
        values = " ".join(str(v) for key, v in said.items() if not str(key).startswith("_"))
        yield f"{name} {values}"
        at += 1 + layout.sizeof()
