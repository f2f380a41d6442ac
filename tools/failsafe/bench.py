"""The bridge with everything around it, tick by tick, ready to have something fail.

Ideal buses: a frame arrives in the tick its sender sends it. A situation is driven to once, its
snapshot (engine, senders, inputs) is taken, and every fault starts from there.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import lcm

from hil.vectors.senders import Sender, initial_raw, next_frame, set_signal
from hil.vectors.stimulus import initial_inputs
from tools.failsafe.faults import Fault
from tools.failsafe.names import PIN_FIELDS, SILENT, SUPPLY, TableNames, Value
from tools.failsafe.required import Required, Setting, Situation
from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.events import Event
from xlate_core.frames import BUS_NAMES, Frame, FrameKey
from xlate_core.protection import next_counter, seal
from xlate_core.signals import SignalSpec, extract, insert

LONGEST_SILENCE = 1 << 20  # ticks
Filter = Callable[[Frame], list[Frame]]
OnStep = Callable[[tuple[ResetCause, bool] | None, Inputs, list[Frame], Outputs], None]


@dataclass(slots=True)
class Snapshot:
    """A situation that was reached."""

    image: bytes
    kept: bytes
    bridge_now: int
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


@dataclass(frozen=True, slots=True)
class Heard:
    """An event the bridge told, with the bench's own tick."""

    tick: int
    event: Event


@dataclass(frozen=True, slots=True)
class SentLayout:
    """What is looked at in a sent message: its signals, and the mask of their bits."""

    message: str
    mask: int
    signals: tuple[tuple[str, SignalSpec], ...]


class Bench:
    """One bridge on the bench. `changes` and `heard` grow while it listens.

    - `now` counts ticks since power-on and goes on over resets of the bridge;
    - `filters` change frames on their way, `dead` are buses on which nothing leaves the module;
    - `on_step` is shown everything that reaches and leaves the bridge, for vectors.
    """

    def __init__(self, names: TableNames) -> None:
        """Build the bridge and the senders of everything it receives in a rhythm."""
        self.names = names
        self.pairing = names.pairing
        self.heard: list[Heard] = []
        self.now = 0
        self.on_step: OnStep | None = None
        self.pending_reset: tuple[ResetCause, bool] | None = None
        self.changes: list[Change] = []
        self.bridge = Bridge(self.pairing.spec, self._hear)
        self.listening = False
        self.tick_ms = self.pairing.spec.tick_ms
        self.senders: dict[str, Sender] = {}
        self.inputs = initial_inputs(names.names)
        self.values: dict[str, Value] = {}
        self.last_sent: dict[str, int] = {}
        self.filters: list[Filter] = []
        self.dead: set[int] = set()
        self.more_frames: Callable[[int], list[Frame]] | None = None
        self.known_faults: tuple[Fault, ...] = ()
        self.base: Snapshot = self.empty()
        self.pin_masks = [
            (f"output.{name}", PIN_FIELDS[pin.kind], pin.index, pin.active_high)
            for name, pin in names.names.outputs.items()
        ]
        self.sent_layouts: dict[FrameKey, SentLayout] = {}
        self.silent_after: dict[str, int] = {}
        self.signals_of: dict[str, list[str]] = {}
        for name, one in names.sent.items():
            self.signals_of.setdefault(one.message, []).append(name)
        self.calendar = _calendar(names, self.tick_ms)
        self.sealed: dict[tuple[str, bytes, int], Frame] = {}
        self.payloads: dict[FrameKey, int] = {}
        self.pins: tuple[object, ...] = ()
        self.next_silence = 0
        for transmit in self.pairing.spec.transmits:
            message = self.pairing.message_of(transmit.key)
            if message is None:
                continue
            inside = {pack.signal.name for pack in transmit.packs}
            prefix = f"{BUS_NAMES[message.bus]}.{message.name}"
            carried = [one for one in message.signals if one.name in inside]
            mask = 0
            for signal in carried:
                ones = -1 if signal.spec.minimum < 0 else (1 << signal.spec.length) - 1
                filled = insert(signal.spec, bytes(8), ones)
                mask |= int.from_bytes(filled, "little")
            signals = tuple((f"{prefix}.{signal.name}", signal.spec) for signal in carried)
            self.sent_layouts[transmit.key] = SentLayout(prefix, mask, signals)
            if transmit.period:
                self.silent_after[prefix] = 2 * transmit.period

    def _hear(self, event: Event) -> None:
        if self.listening:
            self.heard.append(Heard(self.now, event))

    # SITUATIONS

    def power_on(self) -> None:
        """Start from nothing: no memory, every sender at its first value, all inputs at rest."""
        self.bridge.reset(ResetCause.POWER_ON)
        self.now = 0
        self.senders = {}
        self.inputs = initial_inputs(self.names.names)
        self.values, self.last_sent = {}, {}
        self._forget()
        self._all_clear()
        for name, received in self.names.names.received.items():
            cycle = received.layout.cycle_ms
            if not cycle:
                continue
            values = {signal.name: initial_raw(signal) for signal in received.layout.signals}
            sender = Sender(received, values)
            pages = self._pages(name)
            if pages:
                sender.selecting = pages
            self.senders[name] = sender

    def _forget(self) -> None:
        """Look at every output anew."""
        self.payloads, self.pins, self.next_silence = {}, (), 0

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
        self,
        required: Required,
        situation: Situation,
        without: frozenset[str] = frozenset(),
        listening: bool = False,
    ) -> Snapshot:
        """Drive to a situation from power-on; `without` are senders that never say a word.

        First everything is at rest, so that edges (a button, a start) are seen as such; then what
        choices want to come before; then the situation; then a fault that came and went.
        """
        tables = required.tables
        self.power_on()
        self.listening = listening
        for name in without:
            self.senders[name].silent = True
        self.run(tables.settle_ms // (4 * self.tick_ms))
        settle = tables.settle_ms
        faults: list[Fault] = []
        first: dict[str, Setting] = {}
        for axis, choice in situation:
            table = tables.axis[axis][choice]
            first |= table.first
            settle = min(settle, table.settle_ms or settle)
            faults += [one for one in self.known_faults if one.name == table.after_fault]
        settings = required.settings(situation)
        if first:
            self.set(settings | first)
            self.run(tables.settle_ms // (2 * self.tick_ms))
        self.set(settings)
        self.run(settle // self.tick_ms)
        for fault in faults:
            self.base = self.snapshot()
            fault.apply(self)
            self.run(tables.observe_ms // self.tick_ms)
            fault.remove(self)
            for name in without:
                self.senders[name].silent = True
            self.run(tables.settle_ms // self.tick_ms)
        # Every situation begins at another place of the senders' cycles.
        self.run(required.phase_of(situation))
        return self.snapshot()

    def snapshot(self) -> Snapshot:
        """Return everything needed to come back here."""
        return Snapshot(
            self.bridge.image(),
            self.bridge.kept(),
            self.bridge.now,
            self.now,
            _copies(self.senders),
            self.inputs,
            dict(self.values),
            dict(self.last_sent),
        )

    def empty(self) -> Snapshot:
        """Return a snapshot of nothing, until a situation was reached."""
        return Snapshot(b"", b"", 0, 0, {}, self.inputs, {}, {})

    def come_back(self, snapshot: Snapshot) -> None:
        """Take up a situation again."""
        self.base = snapshot
        self.bridge.reset(ResetCause.POWER_ON, snapshot.kept)
        self.bridge.common.now = snapshot.bridge_now
        self.now = snapshot.now
        self.bridge.restore(snapshot.image)
        self.senders = _copies(snapshot.senders)
        self.inputs = snapshot.inputs
        self.values = dict(snapshot.values)
        self.last_sent = dict(snapshot.last_sent)
        self._forget()
        self._all_clear()
        self.heard.clear()
        self.changes.clear()

    # RUNNING

    def run(self, ticks: int) -> None:
        """Run so many ticks and note what outputs do."""
        for _ in range(ticks):
            self.step()

    def step(self) -> None:
        """Run one tick."""
        now = self.now
        frames: list[Frame] = []
        for sender in self.calendar[now % len(self.calendar)]:
            frame = self._frame_of(self.senders[sender], now)
            if frame is not None:
                frames.append(frame)
        if self.more_frames is not None:
            frames += self.more_frames(now)
        for change in self.filters:
            frames = [arriving for frame in frames for arriving in change(frame)]
        for frame in frames:
            self.bridge.receive(frame)
        outputs = self.bridge.tick(self.inputs)
        if self.on_step is not None:
            self.on_step(self.pending_reset, self.inputs, frames, outputs)
            self.pending_reset = None
        self._note(now, outputs)
        self.now += 1

    def restart(self, cause: ResetCause) -> None:
        """Reset the bridge; what it keeps over a reset is kept."""
        self.pending_reset = (cause, True)
        self.bridge.reset(cause, self.bridge.kept())

    def restore_surroundings(self) -> None:
        """Put senders and inputs back to what they were; senders keep their place in the cycle."""
        self._all_clear()
        self.inputs = self.base.inputs
        for name, sender in self.senders.items():
            before = self.base.senders[name]
            sender.values, sender.packed = dict(before.values), None
            sender.silent = before.silent
            sender.disturbances = {}

    def _all_clear(self) -> None:
        self.filters, self.dead, self.more_frames = [], set(), None

    def _frame_of(self, sender: Sender, now: int) -> Frame | None:
        """Return the next frame of a sender; one that only counts is sealed once for each count."""
        if sender.silent:
            return None
        received = sender.received
        if sender.packed is None or sender.disturbances or sender.selecting:
            stimulus = next_frame(sender, now)
            return None if stimulus is None else stimulus.frame
        number = sender.counter
        if received.counter is not None:
            sender.counter = next_counter(received.counter, number)
        key = (received.name, sender.packed, number)
        frame = self.sealed.get(key)
        if frame is None:
            data = seal(received.counter, received.checksum, sender.packed, number)
            layout = received.layout
            frame = Frame(layout.bus, layout.extended, layout.identifier, data)
            self.sealed[key] = frame
        return frame

    def _note(self, now: int, outputs: Outputs) -> None:
        """Note what outputs do; a payload is taken apart only when it is not the last one."""
        if outputs[2:5] != self.pins:
            self.pins = outputs[2:5]
            for output, kind, index, active_high in self.pin_masks:
                value = getattr(outputs, kind)[index]
                if kind == "levels":
                    value = int(value == active_high)
                self._take(now, output, value)
        for bus, frames in enumerate(outputs.frames):
            for frame in () if bus in self.dead else frames:
                layout = self.sent_layouts.get(frame.key)
                if layout is None:
                    continue
                self.last_sent[layout.message] = now
                data = int.from_bytes(frame.data, "little") & layout.mask
                if data == self.payloads.get(frame.key):
                    continue
                self.payloads[frame.key] = data
                padded = frame.data.ljust(8, b"\0")
                for name, signal in layout.signals:
                    self._take(now, name, extract(signal, padded))
        if now >= self.next_silence:
            self._look_for_silence(now)

    def _look_for_silence(self, now: int) -> None:
        """Mark messages silent that did not come for two periods; know when to look again."""
        soonest = now + LONGEST_SILENCE
        for message, patience in self.silent_after.items():
            due = self.last_sent.get(message, -1) + patience
            if due > now:
                soonest = min(soonest, due)
            elif self.values.get(self.signals_of[message][0]) != SILENT:
                for name in self.signals_of[message]:
                    self._take(now, name, SILENT)
                for key, layout in self.sent_layouts.items():
                    if layout.message == message:
                        self.payloads.pop(key, None)
        self.next_silence = soonest

    def _take(self, now: int, output: str, value: Value) -> None:
        if self.values.get(output) != value:
            self.values[output] = value
            if self.listening:
                self.changes.append(Change(now, output, value))


def _calendar(names: TableNames, tick_ms: int) -> tuple[tuple[str, ...], ...]:
    """Return who sends in which tick; it begins again when every period has ended together."""
    periods = {
        name: max(1, received.layout.cycle_ms // tick_ms)
        for name, received in names.names.received.items()
        if received.layout.cycle_ms
    }
    return tuple(
        tuple(
            name
            for place, (name, period) in enumerate(periods.items())
            if (tick + place) % period == 0
        )
        for tick in range(lcm(*periods.values()))
    )


def _copies(senders: dict[str, Sender]) -> dict[str, Sender]:
    """Return senders that can be disturbed without disturbing the others."""
    return {
        name: replace(
            sender,
            values=dict(sender.values),
            ramps=dict(sender.ramps),
            disturbances={kind: list(entry) for kind, entry in sender.disturbances.items()},
        )
        for name, sender in senders.items()
    }
