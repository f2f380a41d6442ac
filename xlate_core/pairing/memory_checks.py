"""Checks of the fault memory, and the failure types it knows by name."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.positions import KeyPath

FAILURE_TYPES = {
    0x00: "no failure type given",
    0x01: "general electrical failure",
    0x02: "general signal failure",
    0x11: "circuit short to ground",
    0x12: "circuit short to battery",
    0x13: "circuit open",
    0x14: "circuit short to ground or open",
    0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold",
    0x17: "circuit voltage above threshold",
    0x1C: "circuit voltage out of range",
    0x1F: "circuit intermittent",
    0x23: "signal stuck low",
    0x24: "signal stuck high",
    0x29: "signal invalid",
    0x2F: "signal erratic",
    0x62: "signal compare failure",
    0x64: "signal plausibility failure",
    0x81: "invalid serial data received",
    0x82: "alive or sequence counter incorrect",
    0x83: "value of signal protection calculation incorrect",
    0x84: "signal below allowable range",
    0x85: "signal above allowable range",
    0x86: "signal invalid on the bus",
    0x87: "missing message",
    0x88: "bus off",
    0x92: "performance or incorrect operation",
}
"""Failure type byte -> meaning, as used with SAE J2012 codes; written down from memory."""


def check_memory(context: Context) -> None:
    """Collect what cannot be meant in the fault memory."""
    owners: dict[tuple[str, int], str] = {}
    for name, fault in context.file.fault.items():
        table = fault.memory
        if table is None:
            continue
        path: KeyPath = ("fault", name, "memory")
        key = (table.code, table.failure_type)
        if key in owners:
            found = f'"{table.code}" with failure type {table.failure_type}, as fault {owners[key]}'
            context.collector.add((*path, "code"), found, "a code and failure type of its own")
        owners.setdefault(key, name)
        if table.failure_type not in FAILURE_TYPES:
            context.collector.note(
                f"fault {name}: failure type 0x{table.failure_type:02X} has no name here"
            )
        for index, quantity in enumerate(table.snapshot):
            if quantity in table.snapshot[:index]:
                where = (*path, "snapshot", index)
                context.collector.add(where, f'"{quantity}" again', "each quantity once")
        if fault.latch and not context.file.power.kept:
            found = "memory of a latched fault without power.kept = true"
            expected = "power.kept = true: a latch ends with an ignition cycle, which must be kept"
            context.collector.add(path, found, expected)
