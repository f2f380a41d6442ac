"""Tables of what is received: messages, units, clocks, sources, quantities."""

from hil.firmware.frame_numbers import key, narrow
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
from xlate_core.bridge import BridgeSpec
from xlate_core.quantities import QuantitySpec, SourceSpec
from xlate_core.reception import ClockSpec, MessageSpec, UnitSpec

Table = tuple[str, list[str]]


def is_plain(spec: QuantitySpec) -> bool:
    """Return whether a received quantity has a single source, no hold and no return rate."""
    return len(spec.sources) == 1 and spec.hold == 0 and spec.return_rate == 0


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
        touches, touch_count = self.arrays.set_words(
            self.spec.sources[index].quantity for index in sources
        )
        return struct(
            {
                "selectors": self.arrays.add("xb_selector_range", "selectors", ranges),
                "sources": self.arrays.indices(sources),
                "touches": touches,
                "selector_count": u32(len(spec.selectors), spec.name),
                "source_count": u32(len(sources), spec.name),
                "touch_count": u32(touch_count, spec.name),
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
                "low": i32(spec.low, name),
                "high": i32(spec.high, name),
                "initial": i32(spec.initial, name),
            }
        )

    def delivery(self, spec: QuantitySpec) -> str:
        """Return the address of where a received quantity comes from, NULL for a produced one."""
        name = spec.name
        if not spec.sources:
            return NULL
        delivery = {
            "sources": self.arrays.indices(spec.sources),
            "source_count": u32(len(spec.sources), name),
            "hold": u32(spec.hold, name),
            "return_rate": u32(spec.return_rate, name),
            "substitute": i32(spec.substitute or 0, name),
            "initial": i32(spec.initial, name),
            "has_substitute": u8(spec.substitute is not None, name),
            "plain": u8(is_plain(spec), name),
        }
        return self.arrays.one("xb_delivery_spec", "delivery", struct(delivery))

    def deliveries(self) -> str:
        """Return the name of the list of all deliveries."""
        entries = [self.delivery(one) for one in self.spec.quantities]
        return self.arrays.add("xb_delivery_spec *const", "deliveries", entries)
