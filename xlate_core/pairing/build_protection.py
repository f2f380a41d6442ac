"""Specs of counters and checksums."""

from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.schema_messages import ChecksumTable, CounterTable
from xlate_core.protection import (
    CRC8_CATALOGUE,
    ChecksumKind,
    ChecksumSpec,
    CounterSpec,
    FoldItem,
    FoldPlace,
    FoldSpec,
)


def counter_spec(message: DbcMessage, table: CounterTable | None) -> CounterSpec | None:
    """Return the counter of a message whose names have been checked."""
    signal = message.signal(table.signal) if table is not None else None
    if table is None or signal is None:
        return None
    return CounterSpec(signal.spec, table.modulo, table.max_step)


def checksum_spec(message: DbcMessage, table: ChecksumTable | None) -> ChecksumSpec | None:
    """Return the checksum of a message; a folded identifier is the message's own."""
    signal = message.signal(table.signal) if table is not None else None
    if table is None or signal is None:
        return None
    folds = []
    for fold in table.fold:
        item = FoldItem(fold.item)
        value = message.identifier if item is FoldItem.IDENTIFIER else fold.value
        folds.append(FoldSpec(item, FoldPlace(fold.place), value, fold.octets, fold.low_first))
    return ChecksumSpec(
        signal=signal.spec,
        kind=ChecksumKind(table.kind),
        crc=CRC8_CATALOGUE[table.parameters] if table.parameters is not None else None,
        first_octet=table.first_octet,
        last_octet=table.last_octet if table.last_octet is not None else message.length - 1,
        folds=tuple(folds),
    )
