"""The one object with life: frames and inputs in, frames and outputs out (rules 1, 2 and 3).

One tick runs in one order: pins, buses, deadlines, quantities; on control ticks faults, power mode
and functions; routes, transmissions, output pins; then everything conditions look at is committed.
What cannot have changed since the last tick is not computed again: that alters speed, never a
result.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple

from xlate_core import buses, conditions, fault_memory, faults, kept_memory, power, state_image
from xlate_core.buses import BusCommand
from xlate_core.events import Observer, Reason
from xlate_core.fault_memory import EntrySpec, EntryState, OperationState, SnapshotState
from xlate_core.faults import FaultState
from xlate_core.fields import Field, Overflow, Width
from xlate_core.frames import BUS_NAMES, Bus, Frame
from xlate_core.functions import FUNCTIONS, PURE, Step
from xlate_core.intake import Intake
from xlate_core.interface import RULES, BridgeSpec, Inputs, Outputs, ResetCause, common
from xlate_core.kept_memory import StartState
from xlate_core.pins import LevelInputState, PinKind, Reading, debounce, drive, measure
from xlate_core.power import ASLEEP, PowerState, SleepState
from xlate_core.quantities import QuantityState, Status
from xlate_core.sending import SILENT, Follower, Sender
from xlate_core.state_image import NamedRecord

__all__ = ["RULES", "Bridge", "BridgeSpec", "Inputs", "Outputs", "ResetCause"]

READ_AS = {
    Reading.GOOD: Status.VALID,
    Reading.LOW: Status.ERROR,
    Reading.HIGH: Status.ERROR,
    Reading.BETWEEN: Status.IMPLAUSIBLE,
}
"""What an analogue reading means to the quantity that comes from it."""


@dataclass(slots=True)
class ClockworkState:
    """What the order of a tick itself remembers.

    - `phase` is 0 on control ticks; `first` is true until tick 0 has run;
    - `uptime` stops at the longest start-up time of any condition;
    - `supply_mv` is the committed supply.
    """

    phase: int = 0
    first: bool = True
    uptime: int = 0
    supply_mv: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("phase", Width.U16, Overflow.WRAP),
        Field("first", Width.U8, Overflow.BOUNDED, 1),
        Field("uptime", Width.U32, Overflow.SATURATE),
        Field("supply_mv", Width.U32, Overflow.SATURATE),
    )


class Followers(NamedTuple):
    """What must be looked at again when a quantity changed."""

    messages: tuple[Follower, ...]
    of_condition: bool
    of_pin: bool


class Bridge:
    """The engine of one pairing: two verbs, `receive` and `tick`, and `reset`."""

    __slots__ = (
        "_bouncing",
        "_commands",
        "_conditions_open",
        "_duty",
        "_followers",
        "_frequency",
        "_functions",
        "_inputs",
        "_kept_layout",
        "_levels",
        "_longest_startup",
        "_moved",
        "_outputs",
        "_pins_changed",
        "_power_hold",
        "_watching",
        "cause",
        "clockwork",
        "common",
        "entries",
        "faults",
        "functions",
        "intake",
        "level_inputs",
        "observer",
        "operation",
        "power",
        "sender",
        "sleep",
        "snapshots",
        "spec",
        "start",
    )

    _inputs: Inputs | None
    _outputs: Outputs | None
    _levels: tuple[bool, ...]
    _duty: tuple[int, ...]
    _frequency: tuple[int, ...]
    _power_hold: bool
    _commands: tuple[int, int]
    _pins_changed: bool

    def __init__(self, spec: BridgeSpec, observer: Observer | None = None) -> None:
        """Build the bridge in its power-on reset state."""
        self.spec = spec
        self.observer = observer
        self._functions: tuple[tuple[Any, Step, bool], ...] = tuple(
            (function, FUNCTIONS[type(function)][1], isinstance(function, PURE))
            for function in spec.functions
        )
        self._longest_startup = max((c.after for c in spec.conditions), default=0)
        self._kept_layout: int | None = None
        self._watching = spec.watches_buses
        self.reset(ResetCause.POWER_ON)

    def reset(self, cause: ResetCause, kept: bytes | None = None) -> None:
        """Put every field to its reset value, then take up the memory that survived (rule 1).

        `kept` is what `kept()` returned before; None, or memory that is not whole, means none.
        """
        spec = self.spec
        self.cause = cause
        self.start = StartState()
        self.clockwork = ClockworkState()
        self.common = common(spec, self.observer)
        self.sender = Sender(self.common)
        self.intake = Intake(self.common, self.sender.route)
        self.level_inputs = [LevelInputState() for _ in spec.pins.levels]
        self.faults = [FaultState() for _ in spec.faults]
        self.operation = OperationState()
        self.entries = [EntryState() for _ in spec.faults]
        self.snapshots = [
            [SnapshotState() for _ in (fault.memory.snapshot if fault.memory else ())]
            for fault in spec.faults
        ]
        self.power = PowerState()
        self.sleep = SleepState()
        self.functions: list[Any] = [FUNCTIONS[type(f)][0](f) for f in spec.functions]
        self._followers = self._follow()
        self._bouncing = False
        self._recall(cause, kept)
        self.look_at_everything()
        self._commit()

    def kept(self) -> bytes:
        """Return the memory that survives a reset, to be taken between ticks."""
        return kept_memory.write(self.records(), self.kept_layout)

    @property
    def kept_layout(self) -> int:
        """The number of the layout of the kept memory."""
        if self._kept_layout is None:
            self._kept_layout = kept_memory.layout(self.records())
        return self._kept_layout

    @property
    def now(self) -> int:
        """Number of the next tick; 0 is the first after reset."""
        return self.common.now

    def receive(self, frame: Frame) -> None:
        """Take one frame that arrived since the previous tick; accept or reject it (rule 5)."""
        if self._watching:
            bus = frame.bus
            if not buses.take(self.spec.buses[bus], self.common.lines[bus]):
                self.common.tell(Reason.FRAME_FLOODED, BUS_NAMES[bus], frame.identifier)
                return
        self.intake.receive(frame)

    def receive_all(self, frames: Iterable[Frame]) -> None:
        """Take frames in the order they arrived in."""
        for frame in frames:
            self.receive(frame)

    def tick(self, inputs: Inputs) -> Outputs:
        """Run one tick in the one order of rule 3 and return what it does."""
        clockwork = self.clockwork
        store = self.common.store

        # PINS
        if self._bouncing or inputs is not self._inputs:
            self._read_pins(inputs)

        # BUSES
        if self._watching:
            self._read_buses(inputs)

        # DEADLINES
        self.intake.deadlines(self.common.now)

        # QUANTITIES
        if store.touched:
            self.intake.evaluate_quantities()

        # FAULTS, POWER MODE, FUNCTIONS
        if clockwork.phase == 0:
            self._control_tick()

        # ROUTES, TRANSMISSIONS
        if store.changed:
            self._note_changes()
        frames = self.sender.transmit()

        # OUTPUT PINS
        if self._pins_changed:
            self._drive_pins()
        outputs = self._outputs
        if outputs is None or frames is not SILENT:
            outputs = Outputs(
                frames, self._commands, self._levels, self._duty, self._frequency, self._power_hold
            )
            self._outputs = outputs if frames is SILENT else None

        # COMMIT
        self.common.now += 1
        self.common.conditions_moved = False
        clockwork.first = False
        clockwork.phase += 1
        if clockwork.phase == self.spec.control_ticks:
            clockwork.phase = 0
        if clockwork.uptime < self._longest_startup:
            clockwork.uptime += 1
            self._conditions_open = True
        if inputs.supply_mv != clockwork.supply_mv:
            clockwork.supply_mv = inputs.supply_mv
            self._conditions_open = True
        if self._conditions_open:
            self._commit()
        return outputs

    def quantity(self, index: int) -> QuantityState:
        """Return the state of one quantity."""
        return self.common.store.states[index]

    # STATE IMAGE

    def records(self) -> Iterator[NamedRecord]:
        """Yield every state record in image order."""
        spec = self.spec
        yield NamedRecord("clockwork", self.clockwork)
        if spec.keeps:
            yield NamedRecord("start", self.start)
        for bus, counts in zip(Bus, self.intake.bus_counts, strict=True):
            yield NamedRecord(f"bus.{BUS_NAMES[bus]}", counts)
        if self._watching:
            for bus, line in zip(Bus, self.common.lines, strict=True):
                yield NamedRecord(f"bus.{BUS_NAMES[bus]}.state", line)
        protected = self.intake.protected
        groups: tuple[tuple[str, Any, Any], ...] = (
            ("message", spec.messages, self.intake.messages),
            ("profile", [one.message for one in protected], [one.state for one in protected]),
            ("unit", spec.units, self.intake.units),
            ("source", spec.sources, self.intake.sources),
            ("quantity", spec.quantities, self.common.store.states),
            ("input", spec.pins.levels, self.level_inputs),
            ("fault", spec.faults, self.faults),
            ("function", spec.functions, self.functions),
            ("transmit", spec.transmits, self.sender.transmits),
            ("route", spec.routes, self.sender.routes),
            ("condition", spec.conditions, self.common.conditions),
        )
        for number, clock in enumerate(self.intake.clocks):
            yield NamedRecord(f"clock.{number}", clock)
        yield NamedRecord("power", self.power)
        if spec.power.sleep is not None:
            yield NamedRecord("sleep", self.sleep)
        yield from self._memory_records()
        for kind, specs, states in groups:
            for one, state in zip(specs, states, strict=True):
                yield NamedRecord(f"{kind}.{one.name}", state)
                parts: Callable[[], list[Any]] = getattr(state, "parts", list)
                for number, part in enumerate(parts()):
                    yield NamedRecord(f"{kind}.{one.name}.{number}", part)

    def _memory_records(self) -> Iterator[NamedRecord]:
        """Yield the records of the fault memory; there are none without remembered faults."""
        spec = self.spec
        if any(fault.memory is not None for fault in spec.faults):
            yield NamedRecord("operation", self.operation)
        for fault, entry, snapshot in zip(spec.faults, self.entries, self.snapshots, strict=True):
            if fault.memory is not None:
                yield NamedRecord(f"memory.{fault.name}", entry)
                for quantity, state in zip(fault.memory.snapshot, snapshot, strict=True):
                    name = spec.quantities[quantity].name
                    yield NamedRecord(f"memory.{fault.name}.{name}", state)

    def image(self) -> bytes:
        """Return the state image, to be taken between a tick and the next frame."""
        self._settle()
        return state_image.write(self.records())

    def digest(self) -> int:
        """Return the CRC-32/ISO-HDLC of the state image."""
        return state_image.digest(self.image())

    def dump(self) -> list[tuple[str, Field, int]]:
        """Return (path, declaration, value) of every state field."""
        self._settle()
        return state_image.describe(self.records())

    def field(self, path: str) -> int:
        """Return one state field by the path `dump` shows it under; KeyError for an unknown one."""
        self._settle()
        record, _, name = path.rpartition(".")
        for known, state in self.records():
            if known == record and any(field.name == name for field in state.FIELDS):
                return int(getattr(state, name))
        raise KeyError(path)

    def restore(self, image: bytes) -> None:
        """Take up a snapshot of the same pairing; raises ImageError when its length differs."""
        state_image.read(self.records(), image)
        self.common.quiet = self.sleep.quiet
        self.intake.resume()
        self.sender.resume()
        self.look_at_everything()

    def look_at_everything(self) -> None:
        """Have the next tick take no shortcut: everything is computed whether it changed or not."""
        self.intake.look_at_everything()
        self.sender.look_at_everything()
        self.common.conditions_moved = True
        self._inputs = None
        self._outputs = None
        self._levels = ()
        self._duty = ()
        self._frequency = ()
        self._power_hold = power.holds_power(self.power)
        self._commands = (self.common.commands[0], self.common.commands[1])
        self._conditions_open = True
        self._pins_changed = True
        self._moved = set(range(len(self.spec.quantities)))

    # PARTS OF A TICK

    def _read_pins(self, inputs: Inputs) -> None:
        """Debounce switches and measure analogue inputs into their sources."""
        self._inputs = inputs
        pins = self.spec.pins
        self._bouncing = False
        for index, level in enumerate(pins.levels):
            state = self.level_inputs[index]
            if debounce(level, state, inputs.levels[index]):
                self._bouncing = True
            self._pin_says(level.source, state.active, Status.VALID)
        for index, analogue in enumerate(pins.analogues):
            value, reading = measure(analogue, inputs.counts[index])
            self._pin_says(analogue.source, value, READ_AS[reading])
            if analogue.wiring >= 0:
                self.common.store.publish(analogue.wiring, reading)

    def _read_buses(self, inputs: Inputs) -> None:
        """Work out the state of each bus from what its controller tells, and its command."""
        for bus, (spec, line) in enumerate(zip(self.spec.buses, self.common.lines, strict=True)):
            command: int = BusCommand.NORMAL
            if self.power.mode == ASLEEP:
                line.heard = False
                line.taken = 0
                command = BusCommand.SLEEP
            elif not buses.at_rest(line, inputs.buses[bus]):
                before, reason = line.mode, line.reason
                command = buses.step(spec, line, inputs.buses[bus])
                if before == buses.OPEN != line.mode:
                    self.common.tell(Reason.BUS_CLOSED, BUS_NAMES[bus], line.reason)
                elif before != buses.OPEN == line.mode:
                    self.common.tell(Reason.BUS_OPENED, BUS_NAMES[bus], reason)
            self._command(bus, command)

    def _command(self, bus: int, command: int) -> None:
        """Command a bus; what may leave again is looked at."""
        commands = self.common.commands
        if command != commands[bus]:
            commands[bus] = command
            self._commands = (commands[0], commands[1])
            self._outputs = None
            if command == BusCommand.NORMAL:
                self.sender.look_at_bus(bus)

    def _sleep_or_wake(self, former: int) -> None:
        """Sleep or wake, with the buses: start-up times and listening begin anew after sleep."""
        if self.spec.power.sleep is None:
            return
        lines = self.common.lines
        heard = sum(1 << bus for bus, line in enumerate(lines) if line.seen & buses.FRAME_SEEN)
        store, was_asleep = self.common.store, former == ASLEEP
        power.sleep_or_wake(self.spec.power.sleep, self.sleep, self.power, was_asleep, heard, store)
        if self.power.mode == ASLEEP != former:
            for bus in Bus:
                self._command(bus, BusCommand.SLEEP)
        elif self.power.mode != ASLEEP == former:
            self.clockwork.uptime = 0
            for bus in Bus:
                buses.start(self.spec.buses[bus], lines[bus])
                listening = lines[bus].mode != buses.OPEN
                self._command(bus, BusCommand.LISTEN if listening else BusCommand.NORMAL)
        if self.sleep.quiet != self.common.quiet:
            self.common.quiet = self.sleep.quiet
            for bus in Bus:
                self.sender.look_at_bus(bus)

    def _pin_says(self, source: int, value: int | None, status: Status) -> None:
        """Write a pin's value and status to its source; without a value the last one stays."""
        if source < 0:
            return
        spec = self.spec.sources[source]
        state = self.intake.sources[source]
        if value is None:
            value = state.value
        if value != state.value or status != state.status:
            state.value = value
            state.status = status
            self.common.store.touched.add(spec.quantity)

    def _control_tick(self) -> None:
        """Run faults, then the power mode, then the functions in their listed order."""
        store = self.common.store
        self._step_faults()
        former = self.power.mode
        power.step(self.spec.power, self.power, store)
        self._sleep_or_wake(former)
        for line in self.common.lines:
            line.seen = 0
        if self.power.mode != former:
            self._conditions_open = True
            self._outputs = None
            self._power_hold = power.holds_power(self.power)
            self.common.tell(Reason.MODE_CHANGED, "power", self.power.mode)
        if self.spec.power.mode_quantity >= 0:
            store.publish(self.spec.power.mode_quantity, self.power.mode)
        if self.spec.power.supply_quantity >= 0:
            store.publish(self.spec.power.supply_quantity, self.clockwork.supply_mv)
        for (spec, step, pure), state in zip(self._functions, self.functions, strict=True):
            if pure and spec.input not in self._moved and spec.input not in store.changed:
                continue
            before = state.failsafe
            after = step(spec, state, store, self.power)
            if after != before:
                reason = Reason.FAILSAFE_ENTERED if after else Reason.FAILSAFE_LEFT
                self.common.tell(reason, spec.name, 0)
        self._moved.clear()

    def _step_faults(self) -> None:
        """Move every fault by what was seen since the last control tick."""
        fault_memory.pass_time(self.operation)
        for number, (spec, state) in enumerate(zip(self.spec.faults, self.faults, strict=True)):
            enabled = self.common.holds(spec.condition)
            if spec.message >= 0:
                message = self.intake.messages[spec.message]
                worse, better = message.bad, message.good
            elif spec.bus >= 0:
                worse = int(self.common.lines[spec.bus].seen & spec.bus_events != 0)
                better = 1 - worse
            else:
                worse = int(self.common.store.states[spec.quantity].status in spec.statuses)
                better = 1 - worse
            before = state.matured
            faults.step(spec, state, worse, better, enabled, self.power.new_cycle)
            if state.matured != before:
                reason = Reason.FAULT_MATURED if state.matured else Reason.FAULT_HEALED
                self.common.tell(reason, spec.name, state.level)
            if spec.output >= 0:
                self.common.store.publish(spec.output, int(state.matured))
            if spec.memory is not None:
                self._remember(number, spec.memory, state.matured, enabled)
        for index in self.common.judged:
            self.intake.messages[index].good = self.intake.messages[index].bad = 0

    def _remember(self, number: int, spec: EntrySpec, matured: bool, judged: bool) -> None:
        """Write what a fault is now into its entry of the fault memory."""
        entry, snapshot = self.entries[number], self.snapshots[number]
        name, before = self.spec.faults[number].name, entry.stored
        if self.power.new_cycle:
            fault_memory.begin_cycle(spec, entry, snapshot)
            if before and not entry.stored:
                self.common.tell(Reason.ENTRY_ERASED, name, spec.code)
        now, store = self.operation.ticks, self.common.store
        before = entry.stored
        fault_memory.note(spec, entry, snapshot, matured, judged, now, store)
        if entry.stored and not before:
            self.common.tell(Reason.ENTRY_STORED, name, spec.code)

    def _note_changes(self) -> None:
        """Pass changed quantities on: messages to pack anew, pins to drive, conditions to judge."""
        changed = self.common.store.changed
        for index in changed:
            messages, of_condition, of_pin = self._followers[index]
            self.sender.note(messages)
            if of_condition:
                self._conditions_open = True
            if of_pin:
                self._pins_changed = True
        self._moved |= changed
        changed.clear()

    def _drive_pins(self) -> None:
        """Work out what the output pins carry."""
        self._pins_changed = False
        self._outputs = None
        driven: dict[PinKind, list[int]] = {kind: [] for kind in PinKind}
        for pin in self.spec.pins.outputs:
            driven[pin.kind].append(drive(pin, self.common.store.states[pin.quantity].value))
        self._levels = tuple(bool(level) for level in driven[PinKind.LEVEL])
        self._duty = tuple(driven[PinKind.DUTY])
        self._frequency = tuple(driven[PinKind.FREQUENCY])

    def _commit(self) -> None:
        """Judge the conditions on this tick's results, for use in the next one."""
        self._conditions_open = False
        for spec, state in zip(self.spec.conditions, self.common.conditions, strict=True):
            before = state.holds
            state.holds = conditions.holds(
                spec,
                self.clockwork.uptime,
                self.power.mode,
                self.clockwork.supply_mv,
                self.common.store,
            )
            if state.holds != before:
                self.common.conditions_moved = True

    # HELPERS

    def _recall(self, cause: ResetCause, kept: bytes | None) -> None:
        """Take up the memory that survived the reset, and judge what it means now."""
        taken = kept is not None and kept_memory.read(self.records(), self.kept_layout, kept)
        kept_memory.note_start(self.start, cause, kept is not None, taken)
        if taken:
            power.recall(self.spec.power, self.power, cause is ResetCause.POWER_ON)
            for spec, state, entry in zip(self.spec.faults, self.faults, self.entries, strict=True):
                if spec.memory is not None and fault_memory.recall(entry, spec.latch):
                    state.level = spec.limit
                    state.matured = True

    def _follow(self) -> tuple[Followers, ...]:
        """Return, for every quantity, what must be looked at again when it changed."""
        of_pins = {pin.quantity for pin in self.spec.pins.outputs}
        return tuple(
            Followers(self.sender.followers(index), quantity.in_conditions, index in of_pins)
            for index, quantity in enumerate(self.spec.quantities)
        )

    def _settle(self) -> None:
        """Write the closed forms of all fields that move on idle ticks."""
        self.intake.settle()
        self.sender.settle()
