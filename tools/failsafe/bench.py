"""The bridge with everything around it, tick by tick, ready to have something fail.

Ideal buses: a frame arrives in the tick its sender sends it. A situation is driven to once, its
snapshot (engine, senders, inputs) is taken, and every fault starts from there.
"""

from collections.abc import Callable
from dataclasses import dataclass

from hil.vectors.senders import Sender, initial_raw, set_signal
from hil.vectors.stimulus import initial_inputs
from tools.failsafe.faults import Fault
from tools.failsafe.matching import Situation
from tools.failsafe.names import SUPPLY, TableNames, Value
from tools.failsafe.required import Required
from tools.failsafe.schema import Setting
from tools.failsafe.traffic import Sealed, calendar_of, copies, frame_of
from tools.failsafe.watching import Watch
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.events import Event
from xlate_core.frames import Frame

CALM_TICKS = 32  # a fault is watched for seconds: the fast form pays soon
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


@dataclass(frozen=True, slots=True)
class Heard:
    """An event the bridge told, with the bench's own tick."""

    tick: int
    event: Event


class Bench:
    """One bridge on the bench. Changes of its `watch` and `heard` grow while that listens.

    - `now` counts ticks since power-on and goes on over resets of the bridge;
    - `filters` change frames on their way;
    - `on_step` is shown everything that reaches and leaves the bridge, for vectors.
    """

    def __init__(self, names: TableNames, plain: bool = False) -> None:
        """Build the bridge, `plain` as the readable engine, and what speaks to it in a rhythm."""
        self.names = names
        self.pairing = names.pairing
        self.heard: list[Heard] = []
        self.now = 0
        self.on_step: OnStep | None = None
        self.pending_reset: tuple[ResetCause, bool] | None = None
        self.bridge = engine_of(self.pairing.spec, self._hear, plain, CALM_TICKS)
        self.watch = Watch(names)
        self.tick_ms = self.pairing.spec.tick_ms
        self.senders: dict[str, Sender] = {}
        self.inputs = initial_inputs(names.names)
        self.filters: list[Filter] = []
        self.more_frames: Callable[[int], list[Frame]] | None = None
        self.known_faults: tuple[Fault, ...] = ()
        self.base: Snapshot = self.empty()
        self.calendar = calendar_of(names, self.tick_ms)
        self.sealed: Sealed = {}

    def _hear(self, event: Event) -> None:
        if self.watch.listening:
            self.heard.append(Heard(self.now, event))

    # SITUATIONS

    def power_on(self) -> None:
        """Start from nothing: no memory, every sender at its first value, all inputs at rest."""
        self.bridge.reset(ResetCause.POWER_ON)
        self.now = 0
        self.senders = {}
        self.inputs = initial_inputs(self.names.names)
        self.watch.begin({}, {})
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
        choices want to come before; then the situation, and what choices set afterwards; then a
        fault that came and went.
        """
        tables = required.tables
        self.power_on()
        self.watch.listening = listening
        for name in without:
            self.senders[name].silent = True
        self.run(tables.settle_ms // (4 * self.tick_ms))
        settle = tables.settle_ms
        faults: list[Fault] = []
        first: dict[str, Setting] = {}
        then: dict[str, Setting] = {}
        for axis, choice in situation:
            table = tables.axis[axis][choice]
            first |= table.first
            then |= table.then
            settle = min(settle, table.settle_ms or settle)
            faults += [one for one in self.known_faults if one.name == table.after_fault]
        settings = required.settings(situation)
        if first:
            self.set(settings | first)
            self.run(tables.settle_ms // (2 * self.tick_ms))
        for step in (settings, then) if then else (settings,):
            self.set(step)
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
            copies(self.senders),
            self.inputs,
            dict(self.watch.values),
            dict(self.watch.last_sent),
        )

    def empty(self) -> Snapshot:
        """Return a snapshot of nothing, until a situation was reached."""
        return Snapshot(b"", b"", 0, 0, {}, self.inputs, {}, {})

    def come_back(self, snapshot: Snapshot) -> None:
        """Take up a situation again."""
        self.base = snapshot
        self.bridge.reset(ResetCause.POWER_ON, snapshot.kept)
        readable = self.bridge.plain if isinstance(self.bridge, CompiledBridge) else self.bridge
        readable.common.now = snapshot.bridge_now
        self.now = snapshot.now
        self.bridge.restore(snapshot.image)
        self.senders = copies(snapshot.senders)
        self.inputs = snapshot.inputs
        self.watch.begin(snapshot.values, snapshot.last_sent)
        self._all_clear()
        self.heard.clear()
        self.watch.changes.clear()

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
            frame = frame_of(self.senders[sender], now, self.sealed)
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
        self.watch.note(now, outputs)
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
        self.filters, self.watch.dead, self.more_frames = [], set(), None
