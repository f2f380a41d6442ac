"""Everything that can fail around a bridge, from the pairing: class, place, and how it is made.

A fault is made on the bench by `apply` and taken away by `remove`. The classes are those a person
writes requirements for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hil.vectors.senders import set_signal
from xlate_core.bridge import ResetCause
from xlate_core.buses import BusInput, ControllerState
from xlate_core.frames import BUS_NAMES, Bus, Frame

if TYPE_CHECKING:
    from tools.failsafe.bench import Bench
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
FLOOD_FRAMES = 5  # a tick: more than 500 kbit/s carry in a millisecond
FLOOD_IDENTIFIER = 0x7FE
FOREVER_FRAMES = 1 << 30
LOW_SUPPLY_MV = 4000
SHIFTED_PART = 16  # of the valid range
FULL_SCALE = 65535


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault at one place. `from_start` is there from power-on; `parts` come together."""

    kind: str
    subject: str
    apply: Callable[[Bench], None]
    remove: Callable[[Bench], None]
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
        silence, speak = _silent(name, True), _silent(name, False)
        yield Fault("missing from start", name, silence, speak, from_start=True)
        yield Fault("lost", name, silence, speak)
        yield Fault("intermittent", name, _every_second(received.layout.key), _nothing_on_the_way)
        yield Fault("frozen", name, _nothing, _nothing)
        if received.counter is not None:
            yield Fault("frozen counter", name, *_disturbed(name, "freeze", 0))
        if received.checksum is not None:
            yield Fault("wrong checksum", name, *_disturbed(name, "checksum", 0))
        if received.layout.length > 1:
            octets = received.layout.length - 1
            yield Fault("short frame", name, *_disturbed(name, "shorten", octets))


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
                yield Fault(kind, name, _value(name, low), _former(name))
        outside = _outside(source.valid, source.specials, signal.spec.minimum, signal.spec.maximum)
        if outside is not None:
            yield Fault("out of range", name, _value(name, outside), _former(name))
        low, high = source.valid
        if high > low + 1:
            yield Fault("jump", name, _other_end(name, source.valid), _former(name))
        if high > low:
            yield Fault("wrong but plausible", name, _shifted(name, source.valid), _former(name))


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
        yield Fault("open", subject, _counts(index, FULL_SCALE), _former_inputs)
        yield Fault("short to ground", subject, _counts(index, 0), _former_inputs)
        yield Fault("short to supply", subject, _counts(index, FULL_SCALE), _former_inputs)
    if len(names.names.analogues) > 1:

        def floating(bench: Bench) -> None:
            for index in names.names.analogues.values():
                bench.set_count(index, FULL_SCALE)

        yield Fault("lost common reference", "module", floating, _former_inputs)
    for name, (index, _) in names.names.levels.items():
        yield Fault("stuck", f"input.{name}", _other_level(index), _former_inputs)


def _bus_faults() -> Iterator[Fault]:
    for bus in Bus:
        name = BUS_NAMES[bus]
        yield Fault("broken wire", name, _cut(bus), _nothing_on_the_way)
        yield Fault("bus-off", name, _bus_off(bus), _bus_on)
        yield Fault("no acknowledge", name, _unacknowledged(bus), _bus_on)
        yield Fault("flood", name, _flood(bus), _no_more_frames)
    yield Fault("swapped buses", "module", _on_the_way(_swapped), _nothing_on_the_way)


def _module_faults() -> Iterator[Fault]:
    def watchdog(bench: Bench) -> None:
        bench.restart(ResetCause.WATCHDOG)

    def brown_out(bench: Bench) -> None:
        bench.inputs = bench.inputs._replace(supply_mv=LOW_SUPPLY_MV)
        bench.step()
        bench.restart(ResetCause.BROWN_OUT)
        bench.inputs = bench.base.inputs

    yield Fault("reset", "module", watchdog, _nothing)
    yield Fault("brown-out", "module", brown_out, _nothing)


# HOW FAULTS ARE MADE


def _nothing(bench: Bench) -> None:
    del bench


def _silent(name: str, silent: bool) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        bench.senders[name].silent = silent

    return act


def _disturbed(
    name: str, kind: str, value: int
) -> tuple[Callable[[Bench], None], Callable[[Bench], None]]:
    def apply(bench: Bench) -> None:
        bench.senders[name].disturbances[kind] = [FOREVER_FRAMES, value]

    def remove(bench: Bench) -> None:
        bench.senders[name].disturbances.clear()

    return apply, remove


def _value(name: str, raw: int) -> Callable[[Bench], None]:
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        set_signal(bench.senders[f"{bus}.{message}"], signal, raw)

    return act


def _other_end(name: str, valid: tuple[int, int]) -> Callable[[Bench], None]:
    """Return an act that puts the signal to the farther end of its valid range."""
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        sender = bench.senders[f"{bus}.{message}"]
        now = sender.values[signal]
        far = valid[1] if valid[1] - now >= now - valid[0] else valid[0]
        set_signal(sender, signal, far)

    return act


def _shifted(name: str, valid: tuple[int, int]) -> Callable[[Bench], None]:
    """Return an act that shifts the signal by a small part of its valid range, at least one step.

    At the upper end it is shifted downwards.
    """
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        sender = bench.senders[f"{bus}.{message}"]
        shift = max(1, (valid[1] - valid[0]) // SHIFTED_PART)
        raw = sender.values[signal] + shift
        set_signal(sender, signal, raw if raw <= valid[1] else raw - 2 * shift)

    return act


def _former(name: str) -> Callable[[Bench], None]:
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        before = bench.base.senders[f"{bus}.{message}"].values[signal]
        set_signal(bench.senders[f"{bus}.{message}"], signal, before)

    return act


def _counts(index: int, counts: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        bench.set_count(index, counts)

    return act


def _other_level(index: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        bench.set_level(index, not bench.inputs.levels[index])

    return act


def _former_inputs(bench: Bench) -> None:
    bench.inputs = bench.base.inputs


def _on_the_way(change: Callable[[Frame], list[Frame]]) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        bench.filters.append(change)

    return act


def _nothing_on_the_way(bench: Bench) -> None:
    bench.filters, bench.dead = [], set()


def _without(bus: int) -> Callable[[Frame], list[Frame]]:
    return lambda frame: [] if frame.bus == bus else [frame]


def _swapped(frame: Frame) -> list[Frame]:
    return [frame._replace(bus=1 - frame.bus)]


def _every_second(key: object) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        turn = [False]

        def change(frame: Frame) -> list[Frame]:
            if frame.key != key:
                return [frame]
            turn[0] = not turn[0]
            return [frame] if turn[0] else []

        bench.filters.append(change)

    return act


def _bus_off(bus: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        states = list(bench.inputs.buses)
        states[bus] = BusInput(ControllerState.BUS_OFF)
        bench.inputs = bench.inputs._replace(buses=(states[0], states[1]))
        bench.filters.append(_without(bus))
        bench.dead.add(bus)

    return act


def _cut(bus: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        bench.filters.append(_without(bus))
        bench.dead.add(bus)

    return act


def _unacknowledged(bus: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        states = list(bench.inputs.buses)
        states[bus] = BusInput(ControllerState.ERROR_PASSIVE, unacknowledged=1)
        bench.inputs = bench.inputs._replace(buses=(states[0], states[1]))
        bench.filters.append(_without(bus))
        bench.dead.add(bus)

    return act


def _bus_on(bench: Bench) -> None:
    bench.inputs = bench.base.inputs
    _nothing_on_the_way(bench)


def _flood(bus: int) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        frame = Frame(bus, False, FLOOD_IDENTIFIER, bytes(8))
        bench.more_frames = lambda now: [frame] * FLOOD_FRAMES

    return act


def _no_more_frames(bench: Bench) -> None:
    bench.more_frames = None
