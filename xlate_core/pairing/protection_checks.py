"""Checks of counters and checksums against the layout they stand in."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_messages import ChecksumTable, CounterTable

MAX_COUNTER_BITS = 15  # 0xFFFF is protection.NO_REFERENCE, which no counter value may be


def check_protection(context: Context) -> None:
    """Collect every counter or checksum that cannot work."""
    for path, message, counter, checksum in context.protections():
        if counter is not None:
            _check_counter(context, (*path, "counter"), message, counter)
        if checksum is not None:
            _check_checksum(context, (*path, "checksum"), message, checksum)
        if counter is not None and checksum is not None and counter.signal == checksum.signal:
            found = f'"{checksum.signal}", which is the counter'
            context.collector.add((*path, "checksum", "signal"), found, "a signal of its own")
    for path, bus, message in context.received():
        table = context.file.receive[bus][message.name]  # type: ignore[index]
        if table.allow_short and (table.counter is not None or table.checksum is not None):
            context.collector.add(
                (*path, "allow_short"), "true", "false: a protected message is whole or nothing"
            )


def _check_counter(
    context: Context, path: KeyPath, message: DbcMessage, counter: CounterTable
) -> None:
    signal = message.signal(counter.signal)
    if signal is None:
        return
    _check_plain(context, (*path, "signal"), signal)
    if counter.modulo - 1 > signal.spec.maximum:
        context.collector.add(
            (*path, "modulo"),
            str(counter.modulo),
            f"at most {signal.spec.maximum + 1}, what {signal.name} holds",
        )
    if signal.spec.length > MAX_COUNTER_BITS:
        context.collector.add(
            (*path, "signal"),
            f"{signal.name} of {signal.spec.length} bit",
            f"a counter of at most {MAX_COUNTER_BITS} bit",
        )
    if counter.max_step >= counter.modulo:
        context.collector.add(
            (*path, "max_step"), str(counter.max_step), f"less than the modulo {counter.modulo}"
        )


def _check_checksum(
    context: Context, path: KeyPath, message: DbcMessage, checksum: ChecksumTable
) -> None:
    signal = message.signal(checksum.signal)
    if signal is not None:
        _check_plain(context, (*path, "signal"), signal)
        if signal.spec.length != 8 or len({bit // 8 for bit in signal.spec.bits}) != 1:
            context.collector.add(
                (*path, "signal"),
                f"{signal.name} of {signal.spec.length} bit at start bit {signal.spec.start}",
                "a signal that is exactly one whole octet",
            )
    last = checksum.last_octet if checksum.last_octet is not None else message.length - 1
    if last >= message.length:
        context.collector.add(
            (*path, "last_octet"),
            str(last),
            f"at most {message.length - 1}, the last of the message",
        )
    if checksum.first_octet > last:
        context.collector.add(
            (*path, "first_octet"), str(checksum.first_octet), f"at most the last octet {last}"
        )
    for index, fold in enumerate(checksum.fold):
        value = message.identifier if fold.item == "identifier" else fold.value
        if value >= 1 << (8 * fold.octets):
            context.collector.add(
                (*path, "fold", index, "octets"),
                str(fold.octets),
                f"enough octets for 0x{value:X}",
            )


def _check_plain(context: Context, path: KeyPath, signal: DbcSignal) -> None:
    if signal.selector is not None or signal.is_float or signal.spec.signed:
        context.collector.add(
            path,
            f'"{signal.name}", which is multiplexed, signed or floating-point',
            "an unsigned integer signal outside the multiplexer",
        )
