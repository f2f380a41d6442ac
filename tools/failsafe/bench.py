"""The bridge with everything around it, tick by tick, ready to have something fail.

Ideal buses: a frame arrives in the tick its sender sends it. A situation is driven to once, its
snapshot (engine, senders, inputs) is taken, and every fault starts from there.
"""

import copy
from collections.abc import Callable
from dataclasses import dataclass

from hil.vectors.senders import Sender, initial_raw, next_frame, set_signal
from hil.vectors.stimulus import initial_inputs
from tools.failsafe.names import PIN_FIELDS, SILENT, SUPPLY, TableNames
from tools.failsafe.required import Required, Setting, Situation
from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.events import Event
from xlate_core.frames import Frame, FrameKey
from xlate_core.signals import extract

Value = int | str  # raw value of a signal, quantity-side value of a pin, or SILENT
Filter = Callable[[Frame], list[Frame]]


@dataclass(slots=True)
class Snapshot:
    """A situation that was reached."""

    image: bytes
    kept: bytes
    now: int
    senders: dict[str, Sender]
    inputs: Inputs
    values: dict[str, Value]
    last_sent: dict[str, int]


@dataclass(slots=True)
class Change:
    """An output took another value."""

    tick: int
    output: str
    value: Value


class Bench:
    """One bridge on the bench. `changes` and `events` grow while it runs."""

    def __init__(self, names: TableNames) -> None:
        """Build the bridge and the senders of everything it receives in a rhythm."""
        self.names = names
        self.pairing = names.pairing
        self.events: list[Event] = []
        self.changes: list[Change] = []
        self.bridge = Bridge(self.pairing.spec, self._hear)
        self.listening = False
        self.tick_ms = self.pairing.spec.tick_ms
        self.senders: dict[str, Sender] = {}
        self.inputs = initial_inputs(names.names)
        self.values: dict[str, Value] = {}
        self.last_sent: dict[str, int] = {}
        self.on_the_way: Filter | None = None
        self.more_frames: Callable[[int], list[Frame]] | None = None
        self.base: Snapshot = self.empty()
        self.pin_masks = [
            (f"output.{name}", PIN_FIELDS[pin.kind], pin.index, pin.active_high)
            for name, pin in names.names.outputs.items()
        ]
        self.sent_layouts: dict[FrameKey, list[tuple[str, object]]] = {}
        self.silent_after: dict[str, int] = {}
        for transmit in self.pairing.spec.transmits:
            layout = self.pairing.message_of(transmit.key)
            if layout is None:
                continue
            inside = {pack.signal.name for pack in transmit.packs}
            prefix = (
                next(one.message for one in names.sent.values() if one.layout in layout.signals)
                if inside
                else ""
            )
            self.sent_layouts[transmit.key] = [
                (f"{prefix}.{one.name}", one.spec) for one in layout.signals if one.name in inside
            ]
            if transmit.period:
                self.silent_after[prefix] = 2 * transmit.period

    def _hear(self, event: Event) -> None:
        if self.listening:
            self.events.append(event)

    # SITUATIONS

    def power_on(self) -> None:
        """Start from nothing: no memory, every sender at its first value, all inputs at rest."""
        self.bridge.reset(ResetCause.POWER_ON)
        self.senders = {}
        self.inputs = initial_inputs(self.names.names)
        self.values, self.last_sent = {}, {}
        self.on_the_way = self.more_frames = None
        for name, received in self.names.names.received.items():
            cycle = received.layout.cycle_ms
            if not cycle:
                continue
            values = {signal.name: initial_raw(signal) for signal in received.layout.signals}
            sender = Sender(received, values)
            sender.period = max(1, cycle // self.tick_ms)
            pages = self._pages(name)
            if pages:
                sender.selecting = pages
            self.senders[name] = sender

    def _pages(self, name: str) -> tuple[int, ...]:
        spec = self.pairing.spec
        message = next(one for one in spec.messages if one.name == name)
        pages = {low for unit in message.units for low, _ in spec.units[unit].selectors}
        return tuple(sorted(pages))

    def set(self, settings: dict[str, Setting]) -> None:
        """Set signals, pins and supply as a situation says."""
        for name, value in settings.items():
            if name == SUPPLY:
                self.inputs = self.inputs._replace(supply_mv=int(value))
            elif name.startswith("input."):
                self._set_pin(name.removeprefix("input."), value)
            else:
                bus, message, signal = name.split(".")
                set_signal(self.senders[f"{bus}.{message}"], signal, self.names.raw_of(name, value))

    def _set_pin(self, pin: str, value: Setting) -> None:
        if pin in self.names.names.levels:
            index, active_high = self.names.names.levels[pin]
            self.set_level(index, (value == "active") == active_high)
        else:
            self.set_count(self.names.names.analogues[pin], int(value))

    def set_level(self, index: int, high: bool) -> None:
        """Set a level input electrically."""
        levels = list(self.inputs.levels)
        levels[index] = high
        self.inputs = self.inputs._replace(levels=tuple(levels))

    def set_count(self, index: int, counts: int) -> None:
        """Set an analogue input."""
        values = list(self.inputs.counts)
        values[index] = counts
        self.inputs = self.inputs._replace(counts=tuple(values))

    def reach(
        self, required: Required, situation: Situation, without: frozenset[str] = frozenset()
    ) -> Snapshot:
        """Drive to a situation from power-on; `without` are senders that never say a word."""
        self.power_on()
        for name in without:
            self.senders[name].silent = True
        # First everything at rest, so that edges (a button, a start) are seen as such.
        self.run(required.tables.settle_ms // (4 * self.tick_ms))
        self.set(required.settings(situation))
        self.run(required.tables.settle_ms // self.tick_ms)
        return self.snapshot()

    def snapshot(self) -> Snapshot:
        """Return everything needed to come back here."""
        return Snapshot(
            self.bridge.image(),
            self.bridge.kept(),
            self.bridge.now,
            copy.deepcopy(self.senders),
            self.inputs,
            dict(self.values),
            dict(self.last_sent),
        )

    def empty(self) -> Snapshot:
        """Return a snapshot of nothing, until a situation was reached."""
        return Snapshot(b"", b"", 0, {}, self.inputs, {}, {})

    def come_back(self, snapshot: Snapshot) -> None:
        """Take up a situation again."""
        self.base = snapshot
        self.bridge.reset(ResetCause.POWER_ON, snapshot.kept)
        self.bridge.common.now = snapshot.now
        self.bridge.restore(snapshot.image)
        self.senders = copy.deepcopy(snapshot.senders)
        self.inputs = snapshot.inputs
        self.values = dict(snapshot.values)
        self.last_sent = dict(snapshot.last_sent)
        self.on_the_way = self.more_frames = None
        self.events.clear()
        self.changes.clear()

    # RUNNING

    def run(self, ticks: int) -> None:
        """Run so many ticks and note what outputs do."""
        for _ in range(ticks):
            self.step()

    def step(self) -> None:
        """Run one tick."""
        now = self.bridge.now
        frames: list[Frame] = []
        for place, sender in enumerate(self.senders.values()):
            if (now + place) % sender.period == 0 and not sender.silent:
                stimulus = next_frame(sender, now)
                if stimulus is not None:
                    frames.append(stimulus.frame)
        if self.more_frames is not None:
            frames += self.more_frames(now)
        for frame in frames:
            for arriving in (frame,) if self.on_the_way is None else self.on_the_way(frame):
                self.bridge.receive(arriving)
        self._note(now, self.bridge.tick(self.inputs))

    def _note(self, now: int, outputs: Outputs) -> None:
        for output, kind, index, active_high in self.pin_masks:
            value = getattr(outputs, kind)[index]
            if kind == "levels":
                value = int(value == active_high)
            self._take(now, output, value)
        for frames in outputs.frames:
            for frame in frames:
                layouts = self.sent_layouts.get(frame.key)
                if layouts is None:
                    continue
                for name, signal in layouts:
                    self._take(now, name, extract(signal, frame.data.ljust(8, b"\0")))  # type: ignore[arg-type]
                    self.last_sent[name.rpartition(".")[0]] = now
        for message, patience in self.silent_after.items():
            if now - self.last_sent.get(message, -1) == patience:
                for name, one in self.names.sent.items():
                    if one.message == message:
                        self._take(now, name, SILENT)

    def _take(self, now: int, output: str, value: Value) -> None:
        if self.values.get(output) != value:
            self.values[output] = value
            if self.listening:
                self.changes.append(Change(now, output, value))
