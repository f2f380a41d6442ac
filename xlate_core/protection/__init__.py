"""Alive counters and checksums of one message: check on reception, seal on transmission.

The order on reception is checksum, then counter (rule 5); on transmission counter, then checksum
(rule 12). `crc` has the CRCs by their parameters, `checksums` what is covered and how it is
written, `counters` the plain alive counter.
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

__all__ = [
    "CRC8_CATALOGUE",
    "CRC_CATALOGUE",
    "NO_REFERENCE",
    "OCTETS",
    "ChecksumKind",
    "ChecksumSpec",
    "CounterSpec",
    "CrcSpec",
    "FoldItem",
    "FoldPlace",
    "FoldSpec",
    "checksum",
    "checksum_good",
    "counter_good",
    "covered",
    "crc_function",
    "crc_table",
    "next_counter",
    "seal",
]
