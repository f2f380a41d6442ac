"""The tables, the layouts and the names of one pairing, as the checks and the builders see them."""

from collections.abc import Iterator
from dataclasses import dataclass

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.problems import Collector
from xlate_core.pairing.schema import BridgeFile
from xlate_core.pairing.schema_functions import FunctionBase, Marker, marked
from xlate_core.pairing.schema_messages import ChecksumTable, CounterTable, SourceTable
from xlate_core.pairing.schema_profiles import ProfileTable

POWER_MODE = "power_mode"  # the number of the power mode
SUPPLY = "supply_voltage"  # in mV, as committed at the end of the tick before
HIGHEST_SUPPLY_MV = 0xFFFF
ENGINE_QUANTITIES = (POWER_MODE, SUPPLY)  # produced by the engine itself, where they are used
Use = tuple[KeyPath, str]


@dataclass(frozen=True, slots=True)
class Context:
    """Everything of one pairing that has been read; problems go to the collector."""

    file: BridgeFile
    databases: dict[str, tuple[DbcMessage, ...]]
    collector: Collector
    options: tuple[str, ...] = ()

    def message(self, bus: str, name: str) -> DbcMessage | None:
        """Return a message of a bus by name."""
        return next((message for message in self.databases[bus] if message.name == name), None)

    def named_message(self, text: str) -> tuple[str, DbcMessage] | None:
        """Return bus and message of "bus.MESSAGE"; None when there is none."""
        bus, _, name = text.partition(".")
        message = self.message(bus, name) if bus in self.databases else None
        return None if message is None else (bus, message)

    def message_names(self) -> list[str]:
        """Return all messages as "bus.MESSAGE"."""
        return [f"{bus}.{m.name}" for bus in BUS_NAMES for m in self.databases[bus]]

    def received(self) -> "Iterator[tuple[KeyPath, str, DbcMessage]]":
        """Yield key path, bus and layout of every received message that the database knows."""
        for bus, tables in self.file.receive.items():
            for name in tables:
                if message := self.message(bus, name):
                    yield ("receive", bus, name), bus, message

    def sent(self) -> "Iterator[tuple[KeyPath, str, DbcMessage]]":
        """Yield key path, bus and layout of every sent message that the database knows."""
        for bus, tables in self.file.transmit.items():
            for name in tables:
                if message := self.message(bus, name):
                    yield ("transmit", bus, name), bus, message

    def protections(
        self,
    ) -> "Iterator[tuple[KeyPath, DbcMessage, CounterTable | None, ChecksumTable | None]]":
        """Yield key path, layout, counter and checksum of every message that is in a table."""
        for path, bus, message in self.received():
            received = self.file.receive[bus][message.name]  # type: ignore[index]
            yield path, message, received.counter, received.checksum
        for path, bus, message in self.sent():
            sent = self.file.transmit[bus][message.name]  # type: ignore[index]
            yield path, message, sent.counter, sent.checksum

    def profiles(self) -> "Iterator[tuple[KeyPath, DbcMessage, ProfileTable]]":
        """Yield key path, layout and profile of every message that has one."""
        for path, bus, message in self.received():
            received = self.file.receive[bus][message.name]  # type: ignore[index]
            if received.profile is not None:
                yield (*path, "profile"), message, received.profile
        for path, bus, message in self.sent():
            sent = self.file.transmit[bus][message.name]  # type: ignore[index]
            if sent.profile is not None:
                yield (*path, "profile"), message, sent.profile


def source_path(name: str, index: int) -> KeyPath:
    """Return the key path of one source of a quantity."""
    return ("quantity", name, "from", index)


def split_source(source: SourceTable) -> tuple[str, str, str]:
    """Return ("input", pin, "") or (bus, message, signal) of a source's text."""
    first, _, rest = source.signal.partition(".")
    if first == "input":
        return first, rest, ""
    message, _, signal = rest.partition(".")
    return first, message, signal


def function_inputs(path: KeyPath, table: FunctionBase) -> list[Use]:
    """Return the quantities a function reads, with the key paths that name them."""
    return marked(table, Marker.READ, path)


def function_outputs(path: KeyPath, table: FunctionBase) -> list[Use]:
    """Return the quantities a function writes, with the key paths that name them."""
    return marked(table, Marker.WRITTEN, path)


def products(file: BridgeFile) -> list[Use]:
    """Return every quantity that a fault, an input or a function writes."""
    written: list[Use] = [
        (("fault", name, "output"), fault.output) for name, fault in file.fault.items()
    ]
    for name, pin in file.input.items():
        written += marked(pin, Marker.WRITTEN, ("input", name))
    for index, table in enumerate(file.function):
        written += function_outputs(("function", index), table)
    return written


def uses(file: BridgeFile) -> list[Use]:
    """Return every place that reads a quantity."""
    read: list[Use] = []
    for name, condition in file.condition.items():
        for index, term in enumerate(condition.quantities):
            read.append((("condition", name, "quantities", index, "quantity"), term.quantity))
    for name, pin in file.output.items():
        read.append((("output", name, "quantity"), pin.quantity))
    for bus, messages in file.transmit.items():
        for message, table in messages.items():
            path: KeyPath = ("transmit", bus, message)
            for signal, sent in table.signals.items():
                if sent.quantity is not None:
                    read.append(((*path, "signals", signal), sent.quantity))
            for index, quantity in enumerate(table.loss_of or ()):
                read.append(((*path, "loss_of", index), quantity))
    for name, fault in file.fault.items():
        if fault.quantity is not None:
            read.append((("fault", name, "quantity"), fault.quantity))
        for index, quantity in enumerate(fault.memory.snapshot if fault.memory else ()):
            read.append((("fault", name, "memory", "snapshot", index), quantity))
    for index, quantity in enumerate(file.power.sleep.wake if file.power.sleep else ()):
        read.append((("power", "sleep", "wake", index), quantity))
    for key in ("ignition", "accessory", "crank", "engine_speed"):
        value = getattr(file.power, key)
        if value is not None:
            read.append((("power", key), value))
    for index, function in enumerate(file.function):
        read += function_inputs(("function", index), function)
    return read
