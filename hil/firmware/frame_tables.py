"""Tables of everything about frames: messages, units, sources, sent messages, routes."""

from hil.firmware.notation import (
    NULL,
    Arrays,
    NotationError,
    i8,
    i32,
    i64,
    struct,
    u8,
    u16,
    u32,
    u64,
)
from hil.firmware.protection_tables import ProtectionTables, signal
from xlate_core.arithmetic import INT32_MAX, INT32_MIN, INT64_MAX
from xlate_core.bridge import BridgeSpec
from xlate_core.frames import FrameKey
from xlate_core.quantities import QuantitySpec, SourceSpec
from xlate_core.reception import ClockSpec, MessageSpec, UnitSpec
from xlate_core.transmission import PackSpec, RouteSpec, TransmitSpec

Table = tuple[str, list[str]]


def key(key: FrameKey) -> str:
    """Return a message key."""
    return struct(
        {
            "identifier": u32(key.identifier, "an identifier"),
            "bus": u8(key.bus, "a bus"),
            "extended": u8(key.extended, "a format"),
        }
    )


def own_keys(spec: BridgeSpec) -> list[FrameKey]:
    """Return what this module sends: its messages and what it routes (rule 13)."""
    routed = [
        message.key._replace(bus=spec.routes[route].bus)
        for message in spec.messages
        for route in message.routes
    ]
    return sorted({message.key for message in spec.transmits} | set(routed))


def raw_code(spec: PackSpec) -> int:
    """Return the code for "not available" as 64 bits with sign; only its bits are put in."""
    code = (spec.not_available or 0) & spec.signal.mask
    return code - (1 << 64) if code > INT64_MAX else code


def narrow(spec: BridgeSpec) -> bool:
    """Return whether every factor and limit of the signals fits 32 bit with sign.

    Then the tables hold them in 32 bit: half the room, and one load each.
    """
    numbers: list[int] = []
    for source in spec.sources:
        numbers += [source.a, source.b, source.d, *source.valid, source.max_change]
        numbers += [number for first, last, _ in source.specials for number in (first, last)]
    for pack in (pack for message in spec.transmits for pack in message.packs):
        numbers += [pack.a, pack.b, pack.d, pack.low, pack.high, raw_code(pack)]
    return all(INT32_MIN <= number <= INT32_MAX for number in numbers)


class FrameTables:
    """The tables of one spec; what they point to goes to `arrays`."""

    def __init__(self, spec: BridgeSpec, arrays: Arrays) -> None:
        """Take a spec and where to write arrays."""
        self.spec = spec
        self.arrays = arrays
        self.number = i32 if narrow(spec) else i64  # an xb_number

    @property
    def protection(self) -> ProtectionTables:
        """The tables of counters, checksums and profiles."""
        return ProtectionTables(self.arrays)

    def tables(self) -> dict[str, Table]:
        """Return member of xb_bridge_spec -> type and entries."""
        spec = self.spec
        firsts = [0]
        for route in spec.routes:
            firsts.append(firsts[-1] + route.capacity)
        return {
            "messages": (
                "xb_message_spec",
                [self.message(index, one) for index, one in enumerate(spec.messages)],
            ),
            "profiles": (
                "xb_profile_spec",
                [
                    self.protection.profile(one.profile)
                    for one in spec.messages
                    if one.profile is not None
                ],
            ),
            "units": ("xb_unit_spec", [self.unit(one) for one in spec.units]),
            "clocks": ("xb_clock_spec", [self.clock(one) for one in spec.clocks]),
            "sources": ("xb_source_spec", [self.source(one) for one in spec.sources]),
            "quantities": ("xb_quantity_spec", [self.quantity(one) for one in spec.quantities]),
            "transmits": ("xb_transmit_spec", [self.transmit(one) for one in spec.transmits]),
            "routes": (
                "xb_route_spec",
                [self.route(one, first) for one, first in zip(spec.routes, firsts, strict=False)],
            ),
            "own_keys": ("xb_frame_key", [key(one) for one in own_keys(spec)]),
        }

    def message(self, index: int, spec: MessageSpec) -> str:
        """Return a received message."""
        selector = NULL
        if spec.selector is not None:
            if spec.selector.signed:
                raise NotationError(f"{spec.name}: the selector {spec.selector.name} has a sign")
            selector = self.arrays.one("xb_signal_spec", "selector", signal(spec.selector))
        return struct(
            {
                "key": key(spec.key),
                "checksum": self.protection.checksum(spec.checksum),
                "counter": self.protection.counter(spec.counter),
                "selector": selector,
                "units": self.arrays.indices(spec.units),
                "routes": self.arrays.indices(spec.routes),
                "unit_count": u32(len(spec.units), spec.name),
                "route_count": u32(len(spec.routes), spec.name),
                "profile": i32(self.profile_index(index), spec.name),
                "length": u8(spec.length, spec.name),
                "allow_short": u8(spec.allow_short, spec.name),
                "judged": u8(any(one.message == index for one in self.spec.faults), spec.name),
            }
        )

    def profile_index(self, message: int) -> int:
        """Return the place of a message's profile among all profiles, -1 without one."""
        messages = self.spec.messages
        if messages[message].profile is None:
            return -1
        return sum(one.profile is not None for one in messages[:message])

    def unit(self, spec: UnitSpec) -> str:
        """Return a reception unit."""
        ranges = (
            struct({"low": u64(low, spec.name), "high": u64(high, spec.name)})
            for low, high in spec.selectors
        )
        # Sources are decoded by their signals; a source without one has no place in a unit.
        sources = [index for index in spec.sources if self.spec.sources[index].signal is not None]
        if len(sources) != len(spec.sources):
            raise NotationError(f"{spec.name}: a source of this unit has no signal")
        words: dict[int, int] = {}
        for index in sources:
            quantity = self.spec.sources[index].quantity
            words[quantity // 32] = words.get(quantity // 32, 0) | 1 << quantity % 32
        touches = [
            struct({"word": u32(word, spec.name), "bits": u32(bits, spec.name)})
            for word, bits in sorted(words.items())
        ]
        return struct(
            {
                "selectors": self.arrays.add("xb_selector_range", "selectors", ranges),
                "sources": self.arrays.indices(sources),
                "touches": self.arrays.add("xb_set_word", "touches", touches),
                "selector_count": u32(len(spec.selectors), spec.name),
                "source_count": u32(len(sources), spec.name),
                "touch_count": u32(len(touches), spec.name),
                "first_deadline": u32(spec.first_deadline, spec.name),
                "deadline": u32(spec.deadline, spec.name),
                "message": u16(spec.message, spec.name),
                "last_octet": i8(spec.last_octet, spec.name),
            }
        )

    def clock(self, spec: ClockSpec) -> str:
        """Return a supervision clock."""
        return struct(
            {
                "units": self.arrays.indices(spec.units),
                "unit_count": u32(len(spec.units), "units of a clock"),
                "condition": i32(spec.condition, "a condition"),
            }
        )

    def source(self, spec: SourceSpec) -> str:
        """Return a source of a quantity."""
        name = spec.name
        specials = [
            struct(
                {
                    "first": self.number(first, name),
                    "last": self.number(last, name),
                    "status": u8(status, name),
                }
            )
            for first, last, status in spec.specials
        ]
        return struct(
            {
                "signal": signal(spec.signal),
                "a": self.number(spec.a, name),
                "b": self.number(spec.b, name),
                "d": self.number(spec.d, name),
                "valid_low": self.number(spec.valid[0], name),
                "valid_high": self.number(spec.valid[1], name),
                "max_change": self.number(spec.max_change, name),
                "specials": self.arrays.add("xb_special", "specials", specials),
                "special_count": u32(len(specials), name),
                "low": i32(spec.low, name),
                "high": i32(spec.high, name),
                "unit": i32(spec.unit, name),
                "frozen_after": u32(spec.frozen_after, name),
                "quantity": u16(spec.quantity, name),
                "watched": u8(spec.watched, name),
            }
        )

    def quantity(self, spec: QuantitySpec) -> str:
        """Return a quantity."""
        name = spec.name
        return struct(
            {
                "sources": self.arrays.indices(spec.sources),
                "senders": self.arrays.bits(self.senders(spec), len(self.spec.transmits)),
                "source_count": u32(len(spec.sources), name),
                "low": i32(spec.low, name),
                "high": i32(spec.high, name),
                "hold": u32(spec.hold, name),
                "substitute": i32(spec.substitute or 0, name),
                "initial": i32(spec.initial, name),
                "return_rate": u32(spec.return_rate, name),
                "has_substitute": u8(spec.substitute is not None, name),
            }
        )

    def senders(self, spec: QuantitySpec) -> list[int]:
        """Return the messages sent on change that a quantity's change may make leave."""
        return [index for index in spec.senders if self.spec.transmits[index].on_change]

    def watched(self) -> str:
        """Return the set of the quantities that have such messages."""
        quantities = self.spec.quantities
        found = (index for index, one in enumerate(quantities) if self.senders(one))
        return self.arrays.bits(found, len(quantities))

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
            }
        )

    def transmit(self, spec: TransmitSpec) -> str:
        """Return a sent message."""
        name = spec.name
        return struct(
            {
                "key": key(spec.key),
                "base": u64(int.from_bytes(spec.base, "little"), name),
                "packs": self.arrays.add("xb_pack_spec", "packs", map(self.pack, spec.packs)),
                "loss_of": self.arrays.indices(spec.loss_of),
                "counter": self.protection.counter(spec.counter),
                "checksum": self.protection.checksum(spec.checksum),
                "pack_count": u32(len(spec.packs), name),
                "loss_of_count": u32(len(spec.loss_of), name),
                "period": u32(spec.period, name),
                "offset": u32(spec.offset, name),
                "min_gap": u32(spec.min_gap, name),
                "condition": i32(spec.condition, name),
                "length": u8(len(spec.base), name),
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
