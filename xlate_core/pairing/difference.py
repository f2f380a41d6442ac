"""What differs between two pairings, and which messages and functions that touches.

Compared are the validated tables and the layouts, so notation, order of keys and comments do not
count; a default that is written out is no difference.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from pydantic import BaseModel

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.context import (
    POWER_MODE,
    Context,
    function_outputs,
    products,
    split_source,
    uses,
)
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.positions import KeyPath, show_path

ABSENT = "absent"
Leaves = dict[KeyPath, str]


@dataclass(frozen=True, slots=True)
class Change:
    """One key that differs; a missing one is "absent"."""

    path: KeyPath
    before: str
    after: str

    def __str__(self) -> str:
        return f"{show_path(self.path)}: {self.before} -> {self.after}"


@dataclass(frozen=True, slots=True)
class Difference:
    """All changes, and the names of what they touch, directly or through quantities."""

    changes: tuple[Change, ...]
    messages: tuple[str, ...]
    functions: tuple[str, ...]


def compare(before: Context, after: Context) -> Difference:
    """Return what differs between two checked pairings."""
    left, right = leaves(before), leaves(after)
    changes = [
        Change(path, left.get(path, ABSENT), right.get(path, ABSENT))
        for path in dict.fromkeys([*left, *right])
        if left.get(path) != right.get(path)
    ]
    messages: set[str] = set()
    functions: set[str] = set()
    for context in (before, after):
        touched = Touched(context)
        for change in changes:
            touched.take(change.path)
        messages |= touched.messages
        functions |= touched.functions
    return Difference(tuple(changes), tuple(sorted(messages)), tuple(sorted(functions)))


def leaves(context: Context) -> Leaves:
    """Return every value of a pairing by its key path; functions and messages by name."""
    found: Leaves = dict(_leaves(context.file, ()))
    for bus, messages in context.databases.items():
        for message in messages:
            found |= dict(_layout_leaves(("database", bus, message.name), message))
    return found


def _leaves(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    if isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            yield from _leaves(getattr(value, name), (*path, field.alias or name))
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, (*path, key))
    elif path == ("function",):
        for position, item in enumerate(value):
            yield ("function", item.name, "position"), str(position)
            yield from _leaves(item, ("function", item.name))
    elif isinstance(value, list):
        if all(isinstance(item, Fraction | int | str) for item in value):
            yield path, "[" + ", ".join(_show(item) for item in value) + "]"
        else:
            for index, item in enumerate(value):
                yield from _leaves(item, (*path, index))
    elif value is not None:
        yield path, _show(value)


def _layout_leaves(path: KeyPath, message: DbcMessage) -> Iterator[tuple[KeyPath, str]]:
    yield (*path, "identifier"), message.shown_identifier
    yield (*path, "length"), str(message.length)
    for key, value in (("cycle_ms", message.cycle_ms), ("send_type", message.send_type)):
        if value is not None:
            yield (*path, key), str(value)
    for signal in message.signals:
        place = signal.spec
        own = (*path, signal.name)
        sign = "signed" if place.signed else "unsigned"
        yield (*own, "place"), f"{place.start}|{place.length} {place.byte_order.value} {sign}"
        for key in ("factor", "offset", "minimum", "maximum", "unit", "initial", "selector"):
            item = getattr(signal, key)
            if item is not None and item != "":
                yield (*own, key), _show(item)
        if signal.selected_by:
            yield (*own, "selected_by"), str(list(signal.selected_by))
        if signal.values:
            yield (*own, "values"), ", ".join(f"{raw} {name}" for raw, name in signal.values)


def _show(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return show_ratio(value) if isinstance(value, Fraction) else str(value)


class Touched:
    """Follows changes through one pairing: table -> quantity -> function -> quantity -> message."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.messages: set[str] = set()
        self.functions: set[str] = set()
        self._quantities: set[str] = set()
        self._conditions: set[str] = set()

    def take(self, path: KeyPath) -> None:
        """Follow one changed key path."""
        table, name = path[0], str(path[1]) if len(path) > 1 else ""
        if table == "clock":
            self._everything()
        elif table in ("receive", "transmit", "database") and len(path) > 2:
            self._message(name, str(path[2]), path[3] if len(path) > 4 else None)
        elif table == "quantity":
            self._quantity(name)
        elif table == "function":
            self._function(name)
        elif table == "condition":
            self._condition(name)
        elif table == "curve":
            self._curve(name)
        elif table == "input":
            self._source(("input", name, ""))
            for path, written in products(self.context.file):
                if path[:2] == ("input", name):
                    self._quantity(written)
        elif table == "fault" and name in self.context.file.fault:
            self._quantity(self.context.file.fault[name].output)
        elif table == "power":
            self._power()
        elif table == "route" and name in self.context.file.route:
            self._routed(name)
        elif table == "bus":
            self._bus(name)

    def _everything(self) -> None:
        for bus in BUS_NAMES:
            self._bus(bus)
        self.functions |= {function.name for function in self.context.file.function}

    def _bus(self, bus: str) -> None:
        file = self.context.file
        for tables in (file.receive, file.transmit):
            self.messages |= {f"{bus}.{name}" for name in tables.get(bus, {})}  # type: ignore[call-overload]

    def _message(self, bus: str, name: str, signal: object) -> None:
        """A received message passes on to its quantities; a signal's layout only to its own."""
        file = self.context.file
        used = name in file.receive.get(bus, {}) or name in file.transmit.get(bus, {})  # type: ignore[call-overload]
        routed = any(route.from_ == f"{bus}.{name}" for route in file.route.values())
        if not (used or routed):
            return
        self.messages.add(f"{bus}.{name}")
        message = self.context.message(bus, name)
        known = {one.name for one in message.signals} if message is not None else set()
        self._source((bus, name, str(signal) if signal in known else ""))

    def _source(self, wanted: tuple[str, str, str]) -> None:
        for name, quantity in self.context.file.quantity.items():
            for source in quantity.from_ or ():
                bus, message, signal = split_source(source)
                if (bus, message) == wanted[:2] and wanted[2] in ("", signal):
                    self._quantity(name)

    def _quantity(self, name: str) -> None:
        if name in self._quantities:
            return
        self._quantities.add(name)
        file = self.context.file
        for source in file.quantity[name].from_ or () if name in file.quantity else ():
            bus, message, _ = split_source(source)
            if bus in BUS_NAMES:
                self.messages.add(f"{bus}.{message}")
        for path, used in uses(file):
            if used == name:
                self._use(path)

    def _use(self, path: KeyPath) -> None:
        file = self.context.file
        if path[0] == "transmit":
            self.messages.add(f"{path[1]}.{path[2]}")
        elif path[0] == "function" and isinstance(path[1], int):
            self._function(file.function[path[1]].name)
        elif path[0] == "fault":
            self._quantity(file.fault[str(path[1])].output)
        elif path[0] == "condition":
            self._condition(str(path[1]))
        elif path[0] == "power":
            self._power()

    def _function(self, name: str) -> None:
        if name in self.functions:
            return
        for index, table in enumerate(self.context.file.function):
            if table.name == name:
                self.functions.add(name)
                for _, output in function_outputs(("function", index), table):
                    self._quantity(output)

    def _condition(self, name: str) -> None:
        if name in self._conditions:
            return
        self._conditions.add(name)
        file = self.context.file
        for tables in (file.receive, file.transmit):
            for bus, messages in tables.items():
                for message, table in messages.items():
                    if table.when == name:
                        self._message(bus, message, None)
        for fault in file.fault.values():
            if fault.when == name:
                self._quantity(fault.output)

    def _curve(self, name: str) -> None:
        for pin, table in self.context.file.input.items():
            if table.kind == "analogue" and table.curve == name:
                self._source(("input", pin, ""))
        for function in self.context.file.function:
            if any(curve == name for _, curve, _, _ in function.curves()):
                self._function(function.name)

    def _power(self) -> None:
        """The power mode reaches its quantity, conditions on modes, functions and latches."""
        file = self.context.file
        self._quantity(POWER_MODE)
        for name, condition in file.condition.items():
            if condition.power_modes:
                self._condition(name)
        for function in file.function:
            if function.follows_power:
                self._function(function.name)
        for fault in file.fault.values():
            if fault.latch:
                self._quantity(fault.output)

    def _routed(self, name: str) -> None:
        route = self.context.file.route[name]
        self.messages |= {route.from_, f"{route.to}.{route.from_.partition('.')[2]}"}
