"""Tables of what is sent: messages with what is packed into them, envelopes, routes."""

from hil.firmware.frame_numbers import key, narrow, raw_code
from hil.firmware.notation import Arrays, i32, i64, struct, u8, u16, u32, u64
from hil.firmware.protection_tables import ProtectionTables, signal
from xlate_core.arithmetic import INT32_MAX, INT32_MIN
from xlate_core.bridge import BridgeSpec
from xlate_core.frames import FrameKey
from xlate_core.interface import common
from xlate_core.signals import insert, intel_word
from xlate_core.transmission import (
    PackSpec,
    RouteSpec,
    TransmitSpec,
    TransmitState,
    clear_slot,
    pack,
)

Table = tuple[str, list[str]]


def own_keys(spec: BridgeSpec) -> list[FrameKey]:
    """Return what this module sends: its messages and what it routes (rule 13)."""
    routed = [
        message.key._replace(bus=spec.routes[route].bus)
        for message in spec.messages
        for route in message.routes
    ]
    return sorted({message.key for message in spec.transmits} | set(routed))


class SendingTables:
    """The tables of one spec; what they point to goes to `arrays`."""

    def __init__(self, spec: BridgeSpec, arrays: Arrays) -> None:
        """Take a spec and where to write arrays."""
        self.spec = spec
        self.arrays = arrays
        self.number = i32 if narrow(spec) else i64  # an xb_number
        self.protection = ProtectionTables(arrays)
        self.reset_store = common(spec, None).store

    def tables(self) -> dict[str, Table]:
        """Return member of xb_bridge_spec -> type and entries."""
        spec = self.spec
        firsts = [0]
        for route in spec.routes:
            firsts.append(firsts[-1] + route.capacity)
        return {
            "transmits": (
                "xb_transmit_spec",
                [self.transmit(index, one) for index, one in enumerate(spec.transmits)],
            ),
            "routes": (
                "xb_route_spec",
                [self.route(one, first) for one, first in zip(spec.routes, firsts, strict=False)],
            ),
            "own_keys": ("xb_frame_key", [key(one) for one in own_keys(spec)]),
        }

    def watched(self, index: int) -> list[int]:
        """Return the quantities whose change may make a message sent on change leave."""
        if not self.spec.transmits[index].on_change:
            return []
        return [place for place, one in enumerate(self.spec.quantities) if index in one.senders]

    def base_word(self, spec: TransmitSpec) -> int:
        """Return constants and fill bits as an Intel word, 0 where a quantity is packed."""
        base = spec.base
        for entry in spec.packs:
            base = insert(entry.signal, base, 0)
        return intel_word(base)

    def reset_word(self, spec: TransmitSpec) -> int:
        """Return the payload of the reset values as an Intel word."""
        slot = TransmitState()
        clear_slot(spec, slot)
        pack(spec, slot, self.reset_store)
        return intel_word(slot.payload)

    def pack(self, spec: PackSpec) -> str:
        """Return a quantity in a payload. A raw code is put in by its bits, so it is masked."""
        name = spec.signal.name
        return struct(
            {
                "signal": signal(spec.signal),
                "a": self.number(spec.a, name),
                "b": self.number(spec.b, name),
                "d": self.number(spec.d, name),
                "low": self.number(spec.low, name),
                "high": self.number(spec.high, name),
                "not_available": self.number(raw_code(spec), name),
                "quantity": u16(spec.quantity, name),
                "has_not_available": u8(spec.not_available is not None, name),
                "fits": u8(self.fits(spec), name),
            }
        )

    def fits(self, spec: PackSpec) -> bool:
        """Return whether encoding any value of the quantity stays inside 32 bit with sign."""
        quantity = self.spec.quantities[spec.quantity]
        values = (quantity.low, quantity.high, quantity.initial, quantity.substitute or 0)
        largest = max(abs(value * spec.a) for value in values) + abs(spec.b) + spec.d
        numbers = (largest, spec.a, spec.b, spec.d, spec.low, spec.high)
        return all(INT32_MIN <= number <= INT32_MAX for number in numbers)

    def envelope(self, spec: TransmitSpec) -> str:
        """Return what is put round the payload of a sent message."""
        return struct(
            {
                "key": key(spec.key),
                "counter": self.protection.counter(spec.counter),
                "checksum": self.protection.checksum(spec.checksum),
                "length": u8(len(spec.base), spec.name),
            }
        )

    def transmit(self, index: int, spec: TransmitSpec) -> str:
        """Return a sent message."""
        name = spec.name
        watched, watched_count = self.arrays.set_words(self.watched(index))
        return struct(
            {
                "envelope": self.arrays.one("xb_envelope_spec", "envelope", self.envelope(spec)),
                "base": u64(self.base_word(spec), name),
                "packs": self.arrays.add("xb_pack_spec", "packs", map(self.pack, spec.packs)),
                "loss_of": self.arrays.indices(spec.loss_of),
                "pack_count": u32(len(spec.packs), name),
                "loss_of_count": u32(len(spec.loss_of), name),
                "period": u32(spec.period, name),
                "offset": u32(spec.offset, name),
                "min_gap": u32(spec.min_gap, name),
                "condition": i32(spec.condition, name),
                "reset_word": u64(self.reset_word(spec), name),
                "watched": watched,
                "watched_count": u32(watched_count, name),
                "on_change": u8(spec.on_change, name),
                "on_loss": u8(spec.on_loss, name),
            }
        )

    def route(self, spec: RouteSpec, first: int) -> str:
        """Return a route; its frames wait from place `first` on."""
        return struct(
            {
                "capacity": u32(spec.capacity, spec.name),
                "first": u32(first, spec.name),
                "bus": u8(spec.bus, spec.name),
                "fifo": u8(spec.fifo, spec.name),
            }
        )
