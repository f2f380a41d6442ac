"""Checks of counters and checksums against the layout they stand in."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_messages import ChecksumTable, CounterTable, FoldTable
from xlate_core.protection import CRC_CATALOGUE, ChecksumKind
from xlate_core.protection.checksums import KIND_BITS

MAX_COUNTER_BITS = 15  # 0xFFFF is protection.NO_REFERENCE, which no counter value may be


def check_protection(context: Context) -> None:
    """Collect every counter or checksum that cannot work."""
    for path, message, counter, checksum in context.protections():
        if counter is not None:
            _check_counter(context, (*path, "counter"), message, counter)
        if checksum is not None:
            _check_checksum(context, (*path, "checksum"), message, checksum, counter)
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
    check_plain(context, (*path, "signal"), signal)
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
    context: Context,
    path: KeyPath,
    message: DbcMessage,
    checksum: ChecksumTable,
    counter: CounterTable | None,
) -> None:
    signal = message.signal(checksum.signal)
    if signal is not None:
        check_plain(context, (*path, "signal"), signal)
        width = _width(checksum)
        whole = len({bit // 8 for bit in signal.spec.bits}) == 1
        if width is not None and (signal.spec.length != width or (width == 8 and not whole)):
            expected = "exactly one whole octet" if width == 8 else f"{width} bit long"
            context.collector.add(
                (*path, "signal"),
                f"{signal.name} of {signal.spec.length} bit at start bit {signal.spec.start}",
                f"a signal that is {expected}",
            )
    _check_parameters(context, path, checksum)
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
        _check_fold(context, (*path, "fold", index), message, fold, counter)
    if sum(fold.item == "data_id_list" for fold in checksum.fold) > 1:
        context.collector.add((*path, "fold"), "two data_id_list", "one list")


def _width(checksum: ChecksumTable) -> int | None:
    """Return the bits of the result; None when the parameters are none."""
    if checksum.kind != "crc":
        return KIND_BITS.get(ChecksumKind(checksum.kind), 8)
    if isinstance(checksum.parameters, str):
        known = CRC_CATALOGUE.get(checksum.parameters)
        return known.width if known is not None else None
    return checksum.parameters.width if checksum.parameters is not None else None


def _check_parameters(context: Context, path: KeyPath, checksum: ChecksumTable) -> None:
    parameters = checksum.parameters
    if parameters is None or isinstance(parameters, str):
        return
    for key in ("poly", "init", "xorout"):
        value = getattr(parameters, key)
        if value >= 1 << parameters.width:
            expected = f"at most 0x{(1 << parameters.width) - 1:X}, {parameters.width} bit"
            context.collector.add((*path, "parameters", key), f"0x{value:X}", expected)
    if parameters.poly % 2 == 0:
        found = f"0x{parameters.poly:X}"
        context.collector.add((*path, "parameters", "poly"), found, "an odd polynomial")


def _check_fold(
    context: Context,
    path: KeyPath,
    message: DbcMessage,
    fold: FoldTable,
    counter: CounterTable | None,
) -> None:
    if fold.item == "data_id_list":
        if not fold.values:
            context.collector.add((*path, "values"), "no list", "one octet for each counter value")
        elif not all(0 <= value <= 0xFF for value in fold.values):
            context.collector.add((*path, "values"), "a value above 255", "octets, 0..255")
        if counter is None:
            context.collector.add(path, "data_id_list without a counter", "a counter to choose by")
        elif fold.values and len(fold.values) < counter.modulo:
            expected = f"{counter.modulo} values, one for each of the counter"
            context.collector.add((*path, "values"), f"{len(fold.values)} values", expected)
        if fold.octets not in (None, 1):
            context.collector.add((*path, "octets"), str(fold.octets), "1, for a list")
        return
    if fold.values:
        context.collector.add((*path, "values"), "a list", f"no values for {fold.item}")
    value = {"identifier": message.identifier, "length": message.length}.get(fold.item, fold.value)
    octets = fold.octets or (1 if fold.item == "length" else 2)
    if value >= 1 << (8 * octets):
        expected = f"enough octets for 0x{value:X}"
        context.collector.add((*path, "octets"), str(octets), expected)


def check_plain(context: Context, path: KeyPath, signal: DbcSignal) -> None:
    """Collect a signal that cannot hold a counter or a checksum."""
    if signal.selector is not None or signal.is_float or signal.spec.signed:
        context.collector.add(
            path,
            f'"{signal.name}", which is multiplexed, signed or floating-point',
            "an unsigned integer signal outside the multiplexer",
        )
