"""Specs of the fault memory: trouble codes as numbers, snapshots as indices."""

from xlate_core.fault_memory import EntrySpec
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.schema_memory import MemoryTable

LETTERS = "PCBU"  # powertrain, chassis, body, network: the two highest bits


def code_number(code: str, failure_type: int) -> int:
    """Return a trouble code and its failure type as three octets: "U0100", 0x87 -> 0xC10087."""
    first = LETTERS.index(code[0]) << 14 | int(code[1]) << 12 | int(code[2:], 16)
    return first << 8 | failure_type


def code_text(number: int) -> str:
    """Return three octets as people write them: 0xC10087 -> "U0100-87"."""
    code = number >> 8
    return f"{LETTERS[code >> 14]}{code >> 12 & 3}{code & 0xFFF:03X}-{number & 0xFF:02X}"


def build_entry(indices: Indices, table: MemoryTable | None) -> EntrySpec | None:
    """Return what is remembered of a fault."""
    if table is None:
        return None
    return EntrySpec(
        code=code_number(table.code, table.failure_type),
        aging=table.aging_cycles,
        snapshot=tuple(indices.quantities[name] for name in table.snapshot),
    )
