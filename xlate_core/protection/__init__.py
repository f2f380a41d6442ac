"""Alive counters and checksums of one message: check on reception, seal on transmission.

The order on reception is checksum, then counter (rule 5); on transmission counter, then checksum
(rule 12). `crc` has the CRCs by their parameters, `checksums` what is covered and how it is
written, `counters` the plain alive counter, `profiles` counter-plus-CRC layouts and their checks,
`machine` the window state machine behind those.
"""

from xlate_core.protection.checksums import (
    OCTETS,
    ChecksumKind,
    ChecksumSpec,
    FoldItem,
    FoldPlace,
    FoldSpec,
    checksum,
    checksum_good,
    covered,
    seal,
)
from xlate_core.protection.counters import (
    NO_REFERENCE,
    CounterSpec,
    counter_good,
    next_counter,
)
from xlate_core.protection.crc import (
    CRC8_CATALOGUE,
    CRC_CATALOGUE,
    CrcSpec,
    crc_function,
    crc_table,
)
from xlate_core.protection.machine import LimitSpec, MachineSpec, MachineState
from xlate_core.protection.profiles import (
    CheckResult,
    ProfileSpec,
    ProfileState,
    check_frame,
)

__all__ = [
    "CRC8_CATALOGUE",
    "CRC_CATALOGUE",
    "NO_REFERENCE",
    "OCTETS",
    "CheckResult",
    "ChecksumKind",
    "ChecksumSpec",
    "CounterSpec",
    "CrcSpec",
    "FoldItem",
    "FoldPlace",
    "FoldSpec",
    "LimitSpec",
    "MachineSpec",
    "MachineState",
    "ProfileSpec",
    "ProfileState",
    "check_frame",
    "checksum",
    "checksum_good",
    "counter_good",
    "covered",
    "crc_function",
    "crc_table",
    "next_counter",
    "seal",
]
