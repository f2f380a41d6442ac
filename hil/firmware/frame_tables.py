"""Tables of everything about frames: messages, units, sources, sent messages, routes."""

from dataclasses import dataclass

from hil.firmware.notation import (
    NULL,
    Arrays,
    NotationError,
    i32,
    i64,
    struct,
    u8,
    u16,
    u32,
    u64,
)
from xlate_core.bridge import BridgeSpec
from xlate_core.frames import FrameKey
from xlate_core.protection import (
    ChecksumKind,
    ChecksumSpec,
    CounterSpec,
    CrcSpec,
    FoldItem,
    FoldPlace,
    LimitSpec,
    MachineSpec,
    ProfileSpec,
    crc_table,
)
from xlate_core.protection.crc import register_start
from xlate_core.quantities import QuantitySpec, SourceSpec
from xlate_core.reception import ClockSpec, MessageSpec, UnitSpec
from xlate_core.signals import SignalSpec
from xlate_core.transmission import PackSpec, RouteSpec, TransmitSpec

CHECKSUM_KINDS = {kind: number for number, kind in enumerate(ChecksumKind)}
FROM_LIST = 0x100  # XB_FROM_LIST of protection.h

Table = tuple[str, list[str]]


def wide_crc(spec: CrcSpec) -> str:
    """Return a CRC of any width."""
    spare = 0 if spec.reflected else max(8 - spec.width, 0)
    return struct(
        {
            "table": "{" + ", ".join(f"0x{entry:X}u" for entry in crc_table(spec)) + "}",
            "init": u32(register_start(spec), spec.name),
            "xorout": u32(spec.xorout, spec.name),
            "mask": u32(spec.mask << spare, spec.name),
            "reflected": u8(spec.reflected, spec.name),
            "top": u8(max(spec.width - 8, 0), spec.name),
            "spare": u8(spare, spec.name),
        }
    )


def key(key: FrameKey) -> str:
    """Return a message key."""
    return struct(
        {
            "identifier": u32(key.identifier, "an identifier"),
            "bus": u8(key.bus, "a bus"),
            "extended": u8(key.extended, "a format"),
        }
    )


def signal(spec: SignalSpec | None) -> str:
    """Return a signal's place; a pin source has none and gets an empty field."""
    if spec is None:
        members = {"mask": "0u", "field": "0u", "shift": "0u", "intel": "1u", "is_signed": "0u"}
        return struct(members | {"last_octet": "0"})
    return struct(
        {
            "mask": u64(spec.mask, spec.name),
            "field": u64(spec.mask << spec.shift, spec.name),
            "shift": u8(spec.shift, spec.name),
            "intel": u8(spec.intel, spec.name),
            "is_signed": u8(spec.signed, spec.name),
            "last_octet": u8(spec.last_octet, spec.name),
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


@dataclass(frozen=True, slots=True)
class FrameTables:
    """The tables of one spec; what they point to goes to `arrays`."""

    spec: BridgeSpec
    arrays: Arrays

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
                [self.profile(one.profile) for one in spec.messages if one.profile is not None],
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

    def checksum(self, spec: ChecksumSpec | None) -> str:
        """Return the address of a checksum, or NULL."""
        if spec is None:
            return NULL
        crc = wide = NULL
        if spec.crc is not None and spec.kind is ChecksumKind.CRC8:
            members = {
                "table": "{" + ", ".join(f"0x{entry:02X}u" for entry in crc_table(spec.crc)) + "}",
                "init": u8(register_start(spec.crc), spec.crc.name),
                "xorout": u8(spec.crc.xorout, spec.crc.name),
            }
            crc = self.arrays.one("xb_crc_spec", "crc", struct(members))
        elif spec.crc is not None:
            wide = self.arrays.one("xb_wide_crc_spec", "wide_crc", wide_crc(spec.crc))
        name = spec.signal.name
        counter = NULL
        if spec.counter is not None and spec.values:
            counter = self.arrays.one("xb_signal_spec", "list_counter", signal(spec.counter))
        own = sum(1 << octet for octet in range(8) if spec.owns(octet))
        before, after = (self.folded(spec, place) for place in FoldPlace)
        members = {
            "crc": crc,
            "wide_crc": wide,
            "before": before[0],
            "after": after[0],
            "list": self.arrays.add("uint8_t", "data_ids", (f"{one}u" for one in spec.values)),
            "counter": counter,
            "signal": signal(spec.signal),
            "before_count": u8(before[1], name),
            "after_count": u8(after[1], name),
            "list_count": u8(len(spec.values), name),
            "own_octets": u8(own, name),
            "kind": u8(CHECKSUM_KINDS[spec.kind], name),
            "first_octet": u8(spec.first_octet, name),
            "last_octet": u8(spec.last_octet, name),
            "checksum_octet": u8(spec.checksum_octet, name),
            "plain": u8(spec.plain, name),
        }
        return self.arrays.one("xb_checksum_spec", "checksum", struct(members))

    def folded(self, spec: ChecksumSpec, place: FoldPlace) -> tuple[str, int]:
        """Return the folded octets of one place and their number; a list's octet is marked."""
        octets: list[int] = []
        for fold in spec.folds:
            if fold.place is place:
                listed = fold.item is FoldItem.DATA_ID_LIST
                octets += [FROM_LIST] if listed else list(fold.fixed())
        return self.arrays.add("uint16_t", "folded", (f"{one}u" for one in octets)), len(octets)

    def counter(self, spec: CounterSpec | None) -> str:
        """Return the address of an alive counter, or NULL."""
        if spec is None:
            return NULL
        if spec.signal.signed or spec.signal.length > 16:
            raise NotationError(f"{spec.signal.name}: a counter has 1 to 16 bit and no sign")
        members = {
            "signal": signal(spec.signal),
            "modulo": u32(spec.modulo, "a modulo"),
            "max_step": u32(spec.max_step, "a step"),
            "before_first": u32(spec.before_first, "a counter"),
        }
        return self.arrays.one("xb_counter_spec", "counter", struct(members))

    def profile(self, spec: ProfileSpec) -> str:
        """Return a counter-plus-CRC profile of a received message."""
        nibble = NULL
        if spec.nibble is not None:
            nibble = self.arrays.one("xb_signal_spec", "nibble", signal(spec.nibble))
        return struct(
            {
                "checksum": self.checksum(spec.checksum),
                "counter": self.counter(spec.counter),
                "nibble": nibble,
                "machine": self.machine(spec.machine),
                "period": u32(spec.period, "a period"),
                "clock": u16(spec.clock, "a clock"),
                "nibble_value": u8(spec.nibble_value, "a data ID"),
                "grows": u8(spec.grows, "a profile"),
                "most_stalled": u8(spec.most_stalled, "checks without a new counter"),
                "sync_checks": u8(spec.sync_checks, "checks to resynchronise"),
            }
        )

    def machine(self, spec: MachineSpec | None) -> str:
        """Return the address of a window state machine, or NULL."""
        if spec is None:
            return NULL

        def limit(one: LimitSpec) -> str:
            return struct({"good": u8(one.good, "a limit"), "errors": u8(one.errors, "a limit")})

        members = {
            "mask": u32(spec.mask, "a window"),
            "init": limit(spec.init),
            "valid": limit(spec.valid),
            "invalid": limit(spec.invalid),
            "older_mapping": u8(spec.older_mapping, "a mapping"),
        }
        return self.arrays.one("xb_machine_spec", "machine", struct(members))

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
                "checksum": self.checksum(spec.checksum),
                "counter": self.counter(spec.counter),
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
        return struct(
            {
                "selectors": self.arrays.add("xb_selector_range", "selectors", ranges),
                "sources": self.arrays.indices(sources),
                "touches": self.arrays.bits(
                    (self.spec.sources[index].quantity for index in sources),
                    len(self.spec.quantities),
                ),
                "selector_count": u32(len(spec.selectors), spec.name),
                "source_count": u32(len(sources), spec.name),
                "first_deadline": u32(spec.first_deadline, spec.name),
                "deadline": u32(spec.deadline, spec.name),
                "message": u16(spec.message, spec.name),
                "last_octet": u8(spec.last_octet, spec.name),
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
            struct({"first": i64(first, name), "last": i64(last, name), "status": u8(status, name)})
            for first, last, status in spec.specials
        ]
        return struct(
            {
                "signal": signal(spec.signal),
                "a": i64(spec.a, name),
                "b": i64(spec.b, name),
                "d": i64(spec.d, name),
                "valid_low": i64(spec.valid[0], name),
                "valid_high": i64(spec.valid[1], name),
                "max_change": i64(spec.max_change, name),
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
                "senders": self.arrays.bits(spec.senders, len(self.spec.transmits)),
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

    def pack(self, spec: PackSpec) -> str:
        """Return a quantity in a payload. A raw code is put in by its bits, so it is masked."""
        name = spec.signal.name
        return struct(
            {
                "signal": signal(spec.signal),
                "a": i64(spec.a, name),
                "b": i64(spec.b, name),
                "d": i64(spec.d, name),
                "low": i64(spec.low, name),
                "high": i64(spec.high, name),
                "not_available": u64((spec.not_available or 0) & spec.signal.mask, name),
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
                "counter": self.counter(spec.counter),
                "checksum": self.checksum(spec.checksum),
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
