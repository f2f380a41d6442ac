"""Tables of the fault memory."""

from hil.firmware.notation import Arrays, struct, u16, u32
from xlate_core.bridge import BridgeSpec
from xlate_core.fault_memory import EntrySpec


def remembered(spec: BridgeSpec) -> list[EntrySpec]:
    """Return the entries of the fault memory in the order of their faults."""
    return [fault.memory for fault in spec.faults if fault.memory is not None]


def entries(spec: BridgeSpec, arrays: Arrays) -> list[str]:
    """Return an entry for every remembered fault; `first` is the place of its first snapshot."""
    texts = []
    first = 0
    for number, fault in enumerate(spec.faults):
        entry = fault.memory
        if entry is None:
            continue
        texts.append(
            struct(
                {
                    "snapshot": arrays.indices(entry.snapshot),
                    "snapshot_count": u32(len(entry.snapshot), fault.name),
                    "first": u32(first, fault.name),
                    "code": u32(entry.code, fault.name),
                    "aging": u16(entry.aging, fault.name),
                    "fault": u16(number, fault.name),
                }
            )
        )
        first += len(entry.snapshot)
    return texts
