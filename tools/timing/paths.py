"""The ways through a bridge: from a received signal or an input pin to a sent signal or pin.

A way follows the quantities and the functions between them as the pairing lists them. What a pin or
signal changes only by way of a condition, a fault or the power mode is no way of a value and is
left out; what happens when a message falls silent is a way of its own kind, from the loss to each
output it reaches.
"""

import difflib
import fnmatch
from dataclasses import dataclass
from enum import Enum

from tools.timing.carrying import Asked, carries
from xlate_core.errors import InputError
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing import Pairing
from xlate_core.quantities import SourceSpec

POWER_MODE = "power_mode"


class PathKind(Enum):
    """From where to where."""

    SIGNAL_SIGNAL = "signal to signal"
    SIGNAL_PIN = "signal to pin"
    PIN_SIGNAL = "pin to signal"
    PIN_PIN = "pin to pin"
    ROUTE = "routed message"
    LOSS_SIGNAL = "loss to signal"
    LOSS_PIN = "loss to pin"


@dataclass(frozen=True, slots=True)
class Path:
    """One way.

    - `source` is "bus.MESSAGE.Signal", "input.NAME" or, for a loss and a route, "bus.MESSAGE";
    - `target` is "bus.MESSAGE.Signal", "output.NAME" or, for a route, "bus.MESSAGE";
    - `functions` are those on the way, in order; `late` counts those that run before the one they
      take their value from, which costs a control tick each.
    """

    kind: PathKind
    source: str
    target: str
    functions: tuple[str, ...] = ()
    late: int = 0

    @property
    def name(self) -> str:
        """How budgets and reports name it."""
        loss = "loss of " if self.kind in (PathKind.LOSS_SIGNAL, PathKind.LOSS_PIN) else ""
        return f"{loss}{self.source} -> {self.target}"

    @property
    def source_message(self) -> str | None:
        """The received message the way begins with, "bus.MESSAGE"; None for a pin."""
        if self.source.startswith("input."):
            return None
        return ".".join(self.source.split(".")[:2])

    @property
    def target_message(self) -> str | None:
        """The sent message the way ends in, "bus.MESSAGE"; None for a pin."""
        if self.target.startswith("output."):
            return None
        return ".".join(self.target.split(".")[:2])


def paths(pairing: Pairing) -> list[Path]:
    """Return every way, in the order of sources and targets of the pairing."""
    reach = _Reach(pairing)
    found: list[Path] = []
    for source in pairing.spec.sources:
        name = source.name.split(" as ")[0]
        quantity = pairing.spec.quantities[source.quantity]
        first = quantity.sources[0]
        if pairing.spec.sources[first] is not source:
            continue  # a fallback carries nothing while the preferred source is there
        for target, functions, late in reach.from_quantity(quantity.name, _never_refused(source)):
            found.append(Path(_kind(name, target), name, target, functions, late))
    found += _losses(pairing, reach)
    for message in pairing.spec.messages:
        for route in message.routes:
            name = message.name.split(".")[1]
            target = f"{BUS_NAMES[pairing.spec.routes[route].bus]}.{name}"
            found.append(Path(PathKind.ROUTE, message.name, target))
    return list(dict.fromkeys(found))


def nearest_way(pattern: str, names: list[str]) -> str | None:
    """Return the name of a way that looks most like a pattern; None where there is no way."""
    return next(iter(difflib.get_close_matches(pattern, names, n=1, cutoff=0.0)), None)


def fitting(pairing: Pairing, pattern: str) -> frozenset[Path]:
    """Return the ways whose name fits a pattern with *; raises InputError when none does."""
    every = paths(pairing)
    chosen = frozenset(one for one in every if fnmatch.fnmatchcase(one.name, pattern))
    if not chosen:
        names = [one.name for one in every]
        near = nearest_way(pattern, names)
        hint = "" if near is None else f"; nearest way: {near}"
        raise InputError(f'--only: found "{pattern}", expected a pattern some way fits{hint}')
    return chosen


def _never_refused(source: SourceSpec) -> bool:
    """Return whether every raw value of a received signal is a good one."""
    if source.signal is None or source.specials or source.watched:
        return False
    reach = 1 << source.signal.length
    lowest = -reach // 2 if source.signal.signed else 0
    return source.valid[0] <= lowest and lowest + reach - 1 <= source.valid[1]


def _kind(source: str, target: str) -> PathKind:
    if source.startswith("input."):
        return PathKind.PIN_PIN if target.startswith("output.") else PathKind.PIN_SIGNAL
    return PathKind.SIGNAL_PIN if target.startswith("output.") else PathKind.SIGNAL_SIGNAL


def _losses(pairing: Pairing, reach: "_Reach") -> list[Path]:
    """Return the ways from the loss of a supervised message to what its quantities reach."""
    spec = pairing.spec
    found = []
    for unit in spec.units:
        if not unit.deadline:
            continue
        message = spec.messages[unit.message].name
        for index in unit.sources:
            quantity = spec.quantities[spec.sources[index].quantity]
            if quantity.sources[0] != index:
                continue
            for target, functions, late in reach.from_quantity(quantity.name, False):
                pin = target.startswith("output.")
                kind = PathKind.LOSS_PIN if pin else PathKind.LOSS_SIGNAL
                found.append(Path(kind, message, target, functions, late))
    return found


class _Reach:
    """Which outputs a quantity reaches, through which functions."""

    def __init__(self, pairing: Pairing) -> None:
        self.specs = pairing.spec.functions
        self.order = {one.name: place for place, one in enumerate(pairing.spec.functions)}
        self.functions = {one.name: one for one in pairing.spec.functions}
        self.index = {one.name: index for index, one in enumerate(pairing.spec.quantities)}
        self.readers = {one.name: one.read_by for one in pairing.quantities}
        self.written: dict[str, list[str]] = {}
        for one in pairing.quantities:
            for maker in one.written_by:
                if maker.startswith("function "):
                    self.written.setdefault(maker.removeprefix("function "), []).append(one.name)

    def carries(self, function: str, read: str, made: str, by_value: bool) -> bool:
        """Return whether what a function makes depends on what it reads."""
        spec = self.functions[function]
        before = self.specs[: self.order[function]]
        return carries(spec, Asked(self.index[read], self.index[made], by_value, before))

    def from_quantity(
        self, quantity: str, by_value: bool
    ) -> list[tuple[str, tuple[str, ...], int]]:
        """Return (target, functions, late) of the shortest way to every target.

        `by_value` leaves out what depends on the loss of the quantity alone. What a function makes
        of a value may count as lost, so this holds for the first function only.
        """
        found: dict[str, tuple[tuple[str, ...], int]] = {}
        open_ends: list[tuple[str, tuple[str, ...], int]] = [(quantity, (), 0)]
        seen = {quantity}
        while open_ends:
            name, functions, late = open_ends.pop(0)
            for reader in self.readers.get(name, ()):
                kind, _, what = reader.partition(" ")
                if kind == "function":
                    before = functions and self.order[what] <= self.order[functions[-1]]
                    for made in self.written.get(what, ()):
                        first = by_value and name == quantity
                        if made not in seen and self.carries(what, name, made, first):
                            seen.add(made)
                            step = (made, (*functions, what), late + int(bool(before)))
                            open_ends.append(step)
                elif kind == "output":
                    found.setdefault(f"output.{what}", (functions, late))
                elif reader.count(".") == 2:
                    found.setdefault(reader, (functions, late))
        return [(target, functions, late) for target, (functions, late) in found.items()]
