"""Tables of what guards a frame: alive counters, checksums, profiles and their state machines."""

from dataclasses import dataclass

from hil.firmware.notation import NULL, Arrays, NotationError, struct, u8, u16, u32, u64
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
from xlate_core.signals import SignalSpec

CHECKSUM_KINDS = {kind: number for number, kind in enumerate(ChecksumKind)}
FROM_LIST = 0x100  # XB_FROM_LIST of protection.h


def signal(spec: SignalSpec | None) -> str:
    """Return a signal's place; a pin source has none and gets an empty field."""
    if spec is None:
        members = {"mask": "0u", "shift": "0u", "intel": "1u", "is_signed": "0u"}
        return struct(members | {"last_octet": "0"})
    return struct(
        {
            "mask": u64(spec.mask, spec.name),
            "shift": u8(spec.shift, spec.name),
            "intel": u8(spec.intel, spec.name),
            "is_signed": u8(spec.signed, spec.name),
            "last_octet": u8(spec.last_octet, spec.name),
        }
    )


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


@dataclass(frozen=True, slots=True)
class ProtectionTables:
    """What they point to goes to `arrays`."""

    arrays: Arrays

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
