"""Everything that can fail around a bridge, from the pairing: class and place; made by making.py.

A fault is made on the bench by `apply` and taken away by `remove`. The classes are those a person
writes requirements for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tools.failsafe import making
from tools.failsafe.making import FULL_SCALE, Act
from xlate_core.frames import BUS_NAMES, Bus

if TYPE_CHECKING:
    from tools.failsafe.names import TableNames

CLASSES = {
    "missing from start": "the message never comes, from power-on on",
    "lost": "the message stops",
    "intermittent": "every second frame of the message is lost",
    "frozen": "the message keeps coming with values that do not move any more",
    "frozen counter": "the counter of the message stands still",
    "wrong checksum": "every frame of the message carries a wrong checksum",
    "short frame": "every frame of the message is one octet short",
    "not available": "the signal says not available",
    "error code": "the signal carries an error code",
    "out of range": "the signal is outside its valid range",
    "jump": "the signal jumps across its range between two frames",
    "wrong but plausible": "the signal carries another valid value than the true one",
    "open": "the wire of the analogue input is broken",
    "short to ground": "the analogue input lies at ground",
    "short to supply": "the analogue input lies at the supply",
    "lost common reference": "all analogue inputs float high together",
    "stuck": "the switch stands in its other position",
    "bus-off": "the controller of the bus is off",
    "broken wire": "nothing of the bus arrives any more",
    "no acknowledge": "nobody acknowledges what is sent on the bus",
    "flood": "unknown frames fill the bus",
    "swapped buses": "the two plugs are exchanged",
    "reset": "the module restarts by its watchdog",
    "brown-out": "the supply dips below what the module needs, and it restarts",
    "output open": "the output's wire is broken",
    "output shorted": "the output is shorted",
    "output stuck": "the output stage does not switch any more",
    "contradictory switches": "two switches say what cannot be true together",
    "group": "dependent faults come together",
    "pair": "two faults come together",
    "interaction": "a fault meets something else that happens",
    "tick overrun": "a tick takes longer than its time",
    "wrong pairing": "the module carries the tables of another car",
}
"""Class -> what happens."""

GROUP, PAIR, INTERACTION = "group", "pair", "interaction"
STATIC = ("output open", "output shorted", "output stuck", "tick overrun", "wrong pairing")
"""Classes the bench cannot make: the bridge has no way to see them, or no part in them."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault at one place. `from_start` is there from power-on; `parts` come together."""

    kind: str
    subject: str
    apply: Act
    remove: Act
    from_start: bool = False
    parts: tuple[Fault, ...] = ()
    within_ms: int = 0  # longest time somebody waits for, if not said by a requirement

    @property
    def name(self) -> str:
        """How tables and groups name it."""
        return f"{self.kind} of {self.subject}"


def faults(names: TableNames) -> Iterator[Fault]:
    """Yield every fault the bench can make for a pairing."""
    yield from _message_faults(names)
    yield from _signal_faults(names)
    yield from _pin_faults(names)
    yield from _bus_faults()
    yield from _module_faults()


def static_faults(names: TableNames) -> Iterator[tuple[str, str]]:
    """Yield (class, place) of what the bench cannot make."""
    for output in names.outputs:
        if output.startswith("output."):
            for kind in STATIC[:3]:
                yield kind, output
    for kind in STATIC[3:]:
        yield kind, "module"


def _message_faults(names: TableNames) -> Iterator[Fault]:
    for name, received in names.names.received.items():
        if not received.layout.cycle_ms:
            continue
        silence, speak = making.silence(name, True), making.silence(name, False)
        yield Fault("missing from start", name, silence, speak, from_start=True)
        yield Fault("lost", name, silence, speak)
        yield Fault(
            "intermittent",
            name,
            making.every_second(received.layout.key),
            making.nothing_on_the_way,
        )
        yield Fault("frozen", name, making.nothing, making.nothing)
        if received.counter is not None:
            yield Fault("frozen counter", name, *making.disturbed(name, "freeze", 0))
        if received.checksum is not None:
            yield Fault("wrong checksum", name, *making.disturbed(name, "checksum", 0))
        if received.layout.length > 1:
            octets = received.layout.length - 1
            yield Fault("short frame", name, *making.disturbed(name, "shorten", octets))


def _signal_faults(names: TableNames) -> Iterator[Fault]:
    seen: set[str] = set()
    for source in names.pairing.spec.sources:
        name = source.name.split(" as ")[0]
        signal = names.signal(name)
        message = ".".join(name.split(".")[:2])
        received = names.names.received.get(message)
        if signal is None or received is None or not received.layout.cycle_ms or name in seen:
            continue
        seen.add(name)
        for low, _, status in source.specials:
            kind = {4: "not available", 5: "error code"}.get(status)
            if kind is not None:
                yield Fault(kind, name, making.value(name, low), making.former(name))
        outside = _outside(source.valid, source.specials, signal.spec.minimum, signal.spec.maximum)
        if outside is not None:
            yield Fault("out of range", name, making.value(name, outside), making.former(name))
        low, high = source.valid
        if high > low + 1:
            yield Fault("jump", name, making.other_end(name, source.valid), making.former(name))
        if high > low:
            yield Fault(
                "wrong but plausible", name, making.shifted(name, source.valid), making.former(name)
            )


def _outside(
    valid: tuple[int, int], specials: tuple[tuple[int, int, int], ...], low: int, high: int
) -> int | None:
    """Return a raw value that is neither valid nor a special code; None when there is none."""
    for raw in (valid[1] + 1, valid[0] - 1):
        if low <= raw <= high and not any(a <= raw <= b for a, b, _ in specials):
            return raw
    return None


def _pin_faults(names: TableNames) -> Iterator[Fault]:
    for name, index in names.names.analogues.items():
        subject = f"input.{name}"
        # A pull-up keeps a broken wire high, a pull-down low: the pairing's valid band tells both.
        yield Fault("open", subject, making.counts(index, FULL_SCALE), making.former_inputs)
        yield Fault("short to ground", subject, making.counts(index, 0), making.former_inputs)
        yield Fault(
            "short to supply", subject, making.counts(index, FULL_SCALE), making.former_inputs
        )
    if len(names.names.analogues) > 1:
        floating = making.floating(tuple(names.names.analogues.values()))
        yield Fault("lost common reference", "module", floating, making.former_inputs)
    for name, (index, _) in names.names.levels.items():
        yield Fault("stuck", f"input.{name}", making.other_level(index), making.former_inputs)


def _bus_faults() -> Iterator[Fault]:
    for bus in Bus:
        name = BUS_NAMES[bus]
        yield Fault("broken wire", name, making.cut(bus), making.nothing_on_the_way)
        yield Fault("bus-off", name, making.bus_off(bus), making.bus_on)
        yield Fault("no acknowledge", name, making.unacknowledged(bus), making.bus_on)
        yield Fault("flood", name, making.flood(bus), making.no_more_frames)
    yield Fault(
        "swapped buses", "module", making.on_the_way(making.swapped), making.nothing_on_the_way
    )


def _module_faults() -> Iterator[Fault]:
    yield Fault("reset", "module", making.watchdog, making.nothing)
    yield Fault("brown-out", "module", making.brown_out, making.nothing)
