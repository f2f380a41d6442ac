"""Checks of how signals, pins and units meet quantities: decoding, encoding, units of measure."""

from xlate_core.pairing.context import Context, source_path, split_source
from xlate_core.pairing.layout_checks import selection
from xlate_core.pairing.layouts import DbcMessage, DbcSignal, plain_unit
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema import QuantityTable
from xlate_core.pairing.schema_messages import SentSignal, SourceTable, TransmitTable
from xlate_core.pairing.value_checks import check_raw_range


def check_uses(context: Context) -> None:
    """Collect every use of a signal, pin or curve that does not fit its quantity."""
    pins: dict[str, str] = {}
    for name, quantity in context.file.quantity.items():
        for index, source in enumerate(quantity.from_ or ()):
            path = source_path(name, index)
            bus, message_name, signal_name = split_source(source)
            if bus == "input":
                _check_pin(context, path, message_name, quantity, source)
                if message_name in pins:
                    found = f'"{source.signal}", which feeds {pins[message_name]} already'
                    context.collector.add(path, found, "one quantity for each input pin")
                pins.setdefault(message_name, name)
                continue
            message = context.message(bus, message_name) if bus in context.databases else None
            signal = message.signal(signal_name) if message is not None else None
            if message is not None and signal is not None:
                _check_source(context, path, message, signal, quantity, source)
    for pin in context.file.input:
        if pin not in pins:
            found = "a pin no quantity comes from"
            context.collector.add(("input", pin), found, f'from = ["input.{pin}"] at a quantity')
    for path, bus, message in context.sent():
        _check_sent(context, path, message, context.file.transmit[bus][message.name])  # type: ignore[index]
    for index, function in enumerate(context.file.function):
        for keys, curve, *axes in function.curves():
            for axis, quantity_name in zip("xy", axes, strict=True):
                if curve in context.file.curve:
                    _check_curve(context, ("function", index, *keys), curve, axis, quantity_name)


def _check_pin(
    context: Context, path: KeyPath, pin: str, quantity: QuantityTable, source: SourceTable
) -> None:
    table = context.file.input.get(pin)
    extra = source.model_fields_set - {"signal"}
    if extra:
        context.collector.add(path, f"{sorted(extra)[0]} at an input pin", "the pin alone")
    if table is None:
        return
    if table.kind == "level":
        if quantity.resolution != 1 or quantity.range[0] > 0 or quantity.range[1] < 1:
            found = "a level pin for a quantity that cannot be exactly 0 and 1"
            context.collector.add(path, found, "resolution 1 and a range that holds 0 and 1")
        return
    if table.curve in context.file.curve:
        curve = context.file.curve[str(table.curve)]
        if "x_unit" in curve.model_fields_set and curve.x_unit not in ("counts", ""):
            where: KeyPath = ("curve", str(table.curve), "x_unit")
            context.collector.add(where, f'"{curve.x_unit}"', '"counts", for an analogue input')
        if "y_unit" in curve.model_fields_set:
            _same_unit(context, path, f"curve {table.curve}", curve.y_unit, quantity.unit)


def _check_curve(context: Context, path: KeyPath, curve: str, axis: str, quantity: str) -> None:
    table, used = context.file.curve[curve], context.file.quantity.get(quantity)
    if used is not None and f"{axis}_unit" in table.model_fields_set:
        unit = table.x_unit if axis == "x" else table.y_unit
        _same_unit(context, path, f"{axis} of curve {curve}", unit, used.unit, quantity)


def _same_unit(
    context: Context, path: KeyPath, what: str, unit: str, expected: str, quantity: str = ""
) -> None:
    if plain_unit(unit) != plain_unit(expected):
        of = f" of quantity {quantity}" if quantity else ", the unit of the quantity"
        context.collector.add(path, f'unit "{unit}" of {what}', f'"{expected}"{of}')


def _check_source(
    context: Context,
    path: KeyPath,
    message: DbcMessage,
    signal: DbcSignal,
    quantity: QuantityTable,
    source: SourceTable,
) -> None:
    _check_number(context, path, signal)
    if signal.unit and source.factor is None:
        _same_unit(context, path, f"signal {signal.name}", signal.unit, quantity.unit)
    limits = (signal.spec.minimum, signal.spec.maximum)
    if source.valid is not None:
        check_raw_range(context, (*path, "valid"), source.valid, limits)
    for key, spans in (("error", source.error), ("not_available", source.not_available)):
        for index, span in enumerate(spans):
            check_raw_range(context, (*path, key, index), span, limits)
    selectors = {one.selector for one in message.signals if one.selector is not None}
    if len(selection(message, signal)) > 1 or (signal.selector and len(selectors) > 1):
        found = f"{signal.name} behind a multiplexer inside a multiplexer"
        context.collector.add(path, found, "a signal with one multiplexer, or a route")


def _check_number(context: Context, path: KeyPath, signal: DbcSignal) -> None:
    if signal.is_float:
        found = f"{signal.name}, a floating-point signal"
        context.collector.add(path, found, "an integer signal; a floating-point one is only routed")


def _check_sent(context: Context, path: KeyPath, message: DbcMessage, table: TransmitTable) -> None:
    named = {name: signal for name in table.signals if (signal := message.signal(name)) is not None}
    protected = {part.signal for part in (table.counter, table.checksum) if part is not None}
    protected |= set(table.profile.signals()) if table.profile is not None else set()
    for name, signal in named.items():
        where = (*path, "signals", name)
        if name in protected:
            owner = "counter or checksum" if table.profile is None else "profile"
            found = f"{name}, which the {owner} writes"
            context.collector.add(where, found, "every signal once")
        _check_sent_signal(context, where, message, signal, table)
    if not table.signals and not protected:
        context.collector.note(
            f"transmit {path[1]}.{message.name}: no quantity in it, the same payload for ever"
        )
    if table.on_loss != "substitute" and not _lossy(context, table):
        context.collector.add(
            (*path, "on_loss"),
            f'"{table.on_loss}" in a message without a received quantity',
            "loss_of: the received quantities whose loss is meant",
        )
    for index, name in enumerate(table.loss_of or ()):
        quantity = context.file.quantity.get(name)
        if quantity is not None and quantity.from_ is None:
            context.collector.add(
                (*path, "loss_of", index),
                f'"{name}", which is never received',
                "a received quantity",
            )


def _lossy(context: Context, table: TransmitTable) -> list[str]:
    """Return the quantities whose loss `on_loss` is about, given or by default."""
    if table.loss_of is not None:
        return table.loss_of
    named = [sent.quantity for sent in table.signals.values() if sent.quantity is not None]
    quantities = context.file.quantity
    return [name for name in named if name in quantities and quantities[name].from_ is not None]


def _check_sent_signal(
    context: Context, path: KeyPath, message: DbcMessage, signal: DbcSignal, table: TransmitTable
) -> None:
    sent = table.signals[signal.name]
    limits = (signal.spec.minimum, signal.spec.maximum)
    _check_number(context, path, signal)
    if (sent.quantity is None) == (sent.constant is None):
        found = "neither" if sent.quantity is None else "both"
        context.collector.add(path, found, "either quantity or constant")
    if sent.constant is not None:
        if not limits[0] <= sent.constant <= limits[1]:
            expected = f"a raw value within {limits[0]}..{limits[1]}"
            context.collector.add((*path, "constant"), str(sent.constant), expected)
        for key in ("factor", "offset", "valid", "not_available"):
            if key in sent.model_fields_set:
                context.collector.add((*path, key), f"{key} of a constant", "no such key")
    if sent.valid is not None:
        check_raw_range(context, (*path, "valid"), sent.valid, limits)
    if sent.not_available is not None:
        _check_code(context, (*path, "not_available"), signal, sent)
    quantity = context.file.quantity.get(sent.quantity or "")
    if quantity is not None and signal.unit and sent.factor is None:
        _same_unit(context, path, f"signal {signal.name}", signal.unit, quantity.unit)
    _check_says_loss(context, path, sent, table)
    _check_path(context, path, message, signal, table)


def _check_code(context: Context, path: KeyPath, signal: DbcSignal, sent: SentSignal) -> None:
    code = sent.not_available
    low, high = sent.valid if sent.valid is not None else signal.raw_range()
    if code is None or low <= code <= high:
        expected = f"a code outside the valid raw range {low}..{high} (see valid)"
        context.collector.add(path, str(code), expected)
    elif not signal.spec.minimum <= code <= signal.spec.maximum:
        expected = f"a raw value within {signal.spec.minimum}..{signal.spec.maximum}"
        context.collector.add(path, str(code), expected)


def _check_says_loss(
    context: Context, path: KeyPath, sent: SentSignal, table: TransmitTable
) -> None:
    """`on_loss = "not_available"` needs a code in every signal of a received quantity."""
    quantity = context.file.quantity.get(sent.quantity or "")
    if table.on_loss != "not_available" or quantity is None or quantity.from_ is None:
        return
    if sent.not_available is None and (table.loss_of is None or sent.quantity in table.loss_of):
        context.collector.add(
            (*path, "not_available"), "no such key", 'a raw code, for on_loss = "not_available"'
        )


def _check_path(
    context: Context, path: KeyPath, message: DbcMessage, signal: DbcSignal, table: TransmitTable
) -> None:
    """A sent multiplexed signal needs its selector as a constant that selects it."""
    for name, spans in selection(message, signal).items():
        selector = table.signals.get(name)
        constant = selector.constant if selector is not None else None
        if constant is None or not any(low <= constant <= high for low, high in spans):
            shown = ", ".join(f"{low}..{high}" if high > low else str(low) for low, high in spans)
            context.collector.add(
                path,
                f"{signal.name} without its multiplexer value",
                f"{name} = {{ constant = n }} with n in {shown}",
            )
