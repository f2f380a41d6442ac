"""Checks of names: every name in bridge.toml means something that exists."""

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.context import (
    ENGINE_QUANTITIES,
    Context,
    products,
    source_path,
    split_source,
    uses,
)
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_messages import ChecksumTable, SourceTable
from xlate_core.protection import CRC8_CATALOGUE, CRC_CATALOGUE


def check_names(context: Context) -> None:
    """Collect every name that does not exist."""
    _check_messages(context)
    _check_signals(context)
    _check_quantities(context)
    _check_conditions(context)
    _check_curves(context)
    _check_function_names(context)


def _check_messages(context: Context) -> None:
    file, collector = context.file, context.collector
    for table, buses in (("receive", file.receive), ("transmit", file.transmit)):
        for bus, messages in buses.items():
            known = [message.name for message in context.databases[bus]]
            for name in messages:
                if name not in known:
                    collector.add_unknown(
                        (table, bus, name), f"a message of bus {bus}", name, known
                    )
    for name, route in file.route.items():
        if context.named_message(route.from_) is None:
            valid = context.message_names()
            collector.add_unknown(("route", name, "from"), "a message", route.from_, valid)
    for name, fault in file.fault.items():
        valid = [f"{bus}.{message.name}" for _, bus, message in context.received()]
        if fault.message is not None and fault.message not in valid:
            path = ("fault", name, "message")
            collector.add_unknown(path, "a received message", fault.message, valid)


def _check_signals(context: Context) -> None:
    file = context.file
    for path, bus, message in context.received():
        for unit, unit_table in file.receive[bus][message.name].unit.items():  # type: ignore[index]
            for index, signal in enumerate(unit_table.signals):
                _signal(context, (*path, "unit", unit, "signals", index), message, signal)
    for path, bus, message in context.sent():
        for signal in file.transmit[bus][message.name].signals:  # type: ignore[index]
            _signal(context, (*path, "signals", signal), message, signal)
    for path, message, counter, checksum in context.protections():
        if counter is not None:
            _signal(context, (*path, "counter", "signal"), message, counter.signal)
        if checksum is not None:
            _signal(context, (*path, "checksum", "signal"), message, checksum.signal)
            _crc_name(context, (*path, "checksum", "parameters"), checksum)
    for path, message, profile in context.profiles():
        for key in ("checksum", "counter", "nibble"):
            signal = getattr(profile, key)
            if signal is not None:
                _signal(context, (*path, key), message, signal)
    for name, quantity in file.quantity.items():
        for index, source in enumerate(quantity.from_ or ()):
            _source(context, source_path(name, index), source)


def _crc_name(context: Context, where: KeyPath, checksum: ChecksumTable) -> None:
    """Collect CRC parameters that are missing, unknown, or not wanted."""
    name = checksum.parameters
    known = {"crc8": CRC8_CATALOGUE, "crc": CRC_CATALOGUE}.get(checksum.kind)
    if known is None:
        if name is not None:
            shown = f'"{name}"' if isinstance(name, str) else "a table"
            context.collector.add(where, shown, f"no parameters for {checksum.kind}")
    elif name is None:
        context.collector.add(where, "no such key", f"one of {', '.join(known)}")
    elif not isinstance(name, str):
        if checksum.kind == "crc8":
            context.collector.add(where, "a table", 'a name, or kind = "crc"')
    elif name not in known:
        context.collector.add_unknown(where, "CRC parameters", name, known)


def _signal(context: Context, path: KeyPath, message: DbcMessage, name: str) -> None:
    if message.signal(name) is None:
        known = [signal.name for signal in message.signals]
        context.collector.add_unknown(path, f"a signal of {message.name}", name, known)


def _source(context: Context, path: KeyPath, source: SourceTable) -> None:
    """A source is an input pin, or a signal of a received message."""
    bus, name, signal_name = split_source(source)
    inputs = [f"input.{pin}" for pin in context.file.input]
    if bus == "input":
        if name not in context.file.input:
            context.collector.add_unknown(path, "an input pin", source.signal, inputs)
        return
    message = context.message(bus, name) if bus in BUS_NAMES else None
    if message is None:
        valid = [
            f"{b}.{m.name}.{s.name}"
            for b, ms in context.databases.items()
            for m in ms
            for s in m.signals
        ]
        what = 'a source "bus.MESSAGE.Signal" or "input.pin"'
        context.collector.add_unknown(path, what, source.signal, valid + inputs)
    elif message.signal(signal_name) is None:
        valid = [f"{bus}.{name}.{signal.name}" for signal in message.signals]
        context.collector.add_unknown(path, f"a signal of {name}", source.signal, valid)
    elif name not in context.file.receive.get(bus, {}):  # type: ignore[call-overload]
        context.collector.add(
            path, f'"{source.signal}"', f"a message with a table [receive.{bus}.{name}]"
        )


def _check_quantities(context: Context) -> None:
    """Every quantity is produced exactly once and used at least once."""
    file, collector = context.file, context.collector
    known = [*file.quantity, *ENGINE_QUANTITIES]
    made: dict[str, str] = {}
    for path, name in products(file):
        if name not in file.quantity:
            collector.add_unknown(path, "a quantity that can be written", name, file.quantity)
            continue
        if file.quantity[name].from_ is not None:
            made.setdefault(name, "its own from")
        if name in made:
            found = f'"{name}", which {made[name]} produces already'
            collector.add(path, found, "one producer for every quantity")
        made[name] = f"{path[0]} {_owner(context, path)}"
    used: set[str] = set()
    for path, name in uses(file):
        used.add(name)
        if name not in known:
            collector.add_unknown(path, "a quantity", name, known)
    for name, table in file.quantity.items():
        where: KeyPath = ("quantity", name)
        if name in ENGINE_QUANTITIES:
            collector.add(where, f'"{name}"', "another name: the engine produces this one itself")
            continue
        if table.from_ is None and name not in made:
            collector.add(where, "nothing that produces it", "from, or a function or fault output")
        if name not in used and not table.watch_only:
            collector.add(where, "nothing that uses it", "a use, or watch_only = true")
        if name in used and table.watch_only:
            collector.add((*where, "watch_only"), "a quantity in use", "no watch_only")


def _owner(context: Context, path: KeyPath) -> str:
    if path[0] == "function" and isinstance(path[1], int):
        return context.file.function[path[1]].name
    return str(path[1])


def _check_conditions(context: Context) -> None:
    file = context.file
    used: list[tuple[KeyPath, str | None]] = []
    for table, buses in (("receive", file.receive), ("transmit", file.transmit)):
        for bus, messages in buses.items():
            for name, message in messages.items():
                used.append(((table, bus, name, "when"), message.when))
    used += [(("fault", name, "when"), fault.when) for name, fault in file.fault.items()]
    for path, condition in used:
        if condition is not None and condition not in file.condition:
            context.collector.add_unknown(path, "a condition", condition, file.condition)


def _check_curves(context: Context) -> None:
    file = context.file
    used: list[tuple[KeyPath, str]] = []
    for name, pin in file.input.items():
        if pin.kind == "analogue" and pin.curve is not None:
            used.append((("input", name, "curve"), pin.curve))
    for index, function in enumerate(file.function):
        used += [(("function", index, *keys), curve) for keys, curve, _, _ in function.curves()]
    for path, name in used:
        if name not in file.curve:
            context.collector.add_unknown(path, "a curve", name, file.curve)


def _check_function_names(context: Context) -> None:
    seen: set[str] = set()
    for index, function in enumerate(context.file.function):
        if function.name in seen:
            path = ("function", index, "name")
            context.collector.add(path, f'"{function.name}" a second time', "a name of its own")
        seen.add(function.name)
