"""Specs of counters and checksums."""

from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.schema_messages import ChecksumTable, CounterTable, FoldTable
from xlate_core.protection import (
    CRC_CATALOGUE,
    ChecksumKind,
    ChecksumSpec,
    CounterSpec,
    CrcSpec,
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


def checksum_spec(
    message: DbcMessage, table: ChecksumTable | None, counter: CounterTable | None
) -> ChecksumSpec | None:
    """Return the checksum of a message; a folded identifier or length is the message's own."""
    signal = message.signal(table.signal) if table is not None else None
    if table is None or signal is None:
        return None
    counting = message.signal(counter.signal) if counter is not None else None
    listed = any(fold.item == "data_id_list" for fold in table.fold)
    return ChecksumSpec(
        signal=signal.spec,
        kind=ChecksumKind(table.kind),
        crc=crc_spec(table),
        first_octet=table.first_octet,
        last_octet=table.last_octet if table.last_octet is not None else message.length - 1,
        folds=tuple(fold_spec(message, fold) for fold in table.fold),
        counter=counting.spec if counting is not None and listed else None,
    )


def crc_spec(table: ChecksumTable) -> CrcSpec | None:
    """Return the CRC of a checksum, None when it is none."""
    parameters = table.parameters
    if parameters is None:
        return None
    if isinstance(parameters, str):
        return CRC_CATALOGUE[parameters]
    name = f"CRC-{parameters.width}/0x{parameters.poly:X}"
    return CrcSpec(
        name,
        parameters.width,
        parameters.poly,
        parameters.init,
        parameters.reflected,
        parameters.xorout,
    )


def fold_spec(message: DbcMessage, fold: FoldTable) -> FoldSpec:
    """Return a folded item with its value."""
    item = FoldItem(fold.item)
    value = {FoldItem.IDENTIFIER: message.identifier, FoldItem.LENGTH: message.length}.get(
        item, fold.value
    )
    octets = fold.octets
    if octets is None:
        octets = 1 if item in (FoldItem.LENGTH, FoldItem.DATA_ID_LIST) else 2
    place = FoldPlace(fold.place)
    return FoldSpec(item, place, value, octets, fold.low_first, tuple(fold.values))
