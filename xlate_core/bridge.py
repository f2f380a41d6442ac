"""The one object with life: frames and inputs in, frames and outputs out (rules 1, 2 and 3).

One tick runs in one order: pins, deadlines, quantities; on control ticks faults, power mode and
functions; routes, transmissions, output pins; then everything conditions look at is committed. What
cannot have changed since the last tick is not computed again: that alters speed, never a result.

Persistent state (`kept`), bus-off recovery and sleep have their place in the interface and come
later: `kept` is accepted and ignored, both buses are commanded NORMAL.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, ClassVar, NamedTuple

from xlate_core import conditions, faults, power, quantities, reception, state_image, transmission
from xlate_core.buses import BusCommand, BusInput
from xlate_core.conditions import ConditionSpec
from xlate_core.decoding import NO_WORD, UnitDecoder, decode_unit, unit_decoder
from xlate_core.events import Event, Observer, Reason
from xlate_core.faults import FaultSpec, FaultState
from xlate_core.fields import Field, Overflow, Width
from xlate_core.frames import BUS_NAMES, Bus, Frame
from xlate_core.functions import FUNCTIONS, PURE, FunctionSpec, Step
from xlate_core.pins import LevelInputState, PinKind, PinsSpec, debounce, drive, measure
from xlate_core.power import PowerSpec, PowerState
from xlate_core.protection import NO_REFERENCE
from xlate_core.quantities import (
    ORIGIN_HELD,
    ORIGIN_INITIAL,
    VALID,
    QuantitySpec,
    QuantityState,
    QuantityStore,
    SourceSpec,
    SourceState,
    Status,
)
from xlate_core.reception import (
    NEVER_EXPIRES,
    NO_CONDITION,
    UNIT_FRESH,
    BusCounts,
    ClockSpec,
    ClockState,
    MessageSpec,
    MessageState,
    UnitSpec,
    UnitState,
)
from xlate_core.state_image import NamedRecord
from xlate_core.transmission import RouteSpec, RouteState, TransmitSpec, TransmitState

RULES = 1
"""Number of the rule set; vectors and firmware carry it."""


COMMANDS = (BusCommand.NORMAL, BusCommand.NORMAL)

SILENT: tuple[tuple[Frame, ...], tuple[Frame, ...]] = ((), ())


class ResetCause(IntEnum):
    """Why the module starts."""

    POWER_ON = 0
    EXTERNAL = 1
    BROWN_OUT = 2
    WATCHDOG = 3
    COMMANDED = 4


class Inputs(NamedTuple):
    """What a tick sees, order as in PinsSpec; the same object may be given while nothing changes.

    Levels are electrical (True = high), counts 0..65535, capture periods in microseconds.
    """

    levels: tuple[bool, ...] = ()
    counts: tuple[int, ...] = ()
    periods: tuple[int, ...] = ()
    supply_mv: int = 12000
    buses: tuple[BusInput, BusInput] = (BusInput(), BusInput())


class Outputs(NamedTuple):
    """What a tick does: per bus frames in order of hand-over and a command; pins; power hold.

    Levels are electrical, duty 0..10000, frequency in mHz, each in the order of the output pins of
    its kind.
    """

    frames: tuple[tuple[Frame, ...], tuple[Frame, ...]]
    commands: tuple[int, int]
    levels: tuple[bool, ...]
    duty: tuple[int, ...]
    frequency: tuple[int, ...]
    power_hold: bool


@dataclass(frozen=True, slots=True)
class BridgeSpec:
    """Everything a pairing says, resolved to indices. `control_ticks` = control_ms / tick_ms."""

    tick_ms: int
    control_ticks: int
    messages: tuple[MessageSpec, ...]
    units: tuple[UnitSpec, ...]
    clocks: tuple[ClockSpec, ...]
    sources: tuple[SourceSpec, ...]
    quantities: tuple[QuantitySpec, ...]
    pins: PinsSpec
    conditions: tuple[ConditionSpec, ...]
    faults: tuple[FaultSpec, ...]
    power: PowerSpec
    functions: tuple[FunctionSpec, ...]
    transmits: tuple[TransmitSpec, ...]
    routes: tuple[RouteSpec, ...]


@dataclass(slots=True)
class ConditionState:
    """Whether a condition holds, as committed at the end of the previous tick."""

    holds: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("holds", Width.U8, Overflow.BOUNDED, None),)


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

    eager: tuple[int, ...]  # messages packed at once
    lazy: tuple[int, ...]  # messages packed when they are due
    of_condition: bool
    of_pin: bool


class Bridge:
    """The engine of one pairing: two verbs, `receive` and `tick`, and `reset`."""

    now: int
    """Number of the next tick; 0 is the first after reset."""

    _inputs: Inputs | None
    _outputs: Outputs | None
    _power_hold: bool
    _conditions_moved: bool
    _calendar: dict[int, set[int]]
    _next_expiry: int
    _decoders: tuple[UnitDecoder, ...]
    _levels: tuple[bool, ...]
    _duty: tuple[int, ...]
    _frequency: tuple[int, ...]
    _unpacked: set[int]
    _eager: set[int]
    _pins_changed: bool
    _conditions_open: bool
    _bouncing: bool
    _routing: bool

    def __init__(self, spec: BridgeSpec, observer: Observer | None = None) -> None:
        """Build the bridge in its power-on reset state."""
        self.spec = spec
        self.observer = observer
        self._messages: dict[tuple[int, bool, int], int] = {
            message.key: i for i, message in enumerate(spec.messages)
        }
        self._own_keys = {message.key for message in spec.transmits} | {
            spec.messages[i].key._replace(bus=spec.routes[route].bus)
            for i in range(len(spec.messages))
            for route in spec.messages[i].routes
        }
        self._functions: tuple[tuple[Any, Step, bool], ...] = tuple(
            (function, FUNCTIONS[type(function)][1], isinstance(function, PURE))
            for function in spec.functions
        )
        self._judged = frozenset(fault.message for fault in spec.faults if fault.message >= 0)
        self._longest_startup = max((c.after for c in spec.conditions), default=0)
        self._unit_quantities = tuple(
            tuple(sorted({spec.sources[i].quantity for i in unit.sources})) for unit in spec.units
        )
        self._conditional = {
            i for i, message in enumerate(spec.transmits) if message.condition != NO_CONDITION
        }
        self._watched = frozenset(i for i, slot in enumerate(spec.transmits) if slot.watched)
        of_pins = {pin.quantity for pin in spec.pins.outputs}
        self._followers = tuple(
            Followers(
                tuple(i for i in quantity.senders if i in self._watched),
                tuple(i for i in quantity.senders if i not in self._watched),
                quantity.in_conditions,
                index in of_pins,
            )
            for index, quantity in enumerate(spec.quantities)
        )
        self.reset(ResetCause.POWER_ON)

    def reset(self, cause: ResetCause, kept: bytes | None = None) -> None:
        """Put every field to its reset value; `kept` is the persistent state, none in rules 1."""
        del kept
        spec = self.spec
        self.cause = cause
        self.now = 0
        self.clockwork = ClockworkState()
        self.bus_counts = [BusCounts() for _ in Bus]
        self.messages = [MessageState() for _ in spec.messages]
        self.clocks = [ClockState() for _ in spec.clocks]
        self.units = [UnitState() for _ in spec.units]
        self.sources = [SourceState() for _ in spec.sources]
        self.store = QuantityStore(
            spec.quantities, [QuantityState(value=q.initial) for q in spec.quantities]
        )
        self.level_inputs = [LevelInputState() for _ in spec.pins.levels]
        self.faults = [FaultState() for _ in spec.faults]
        self.power = PowerState()
        self.functions: list[Any] = [FUNCTIONS[type(f)][0](f) for f in spec.functions]
        self.transmits = [self._first_slot(message) for message in spec.transmits]
        self.routes = [RouteState() for _ in spec.routes]
        self.conditions = [ConditionState() for _ in spec.conditions]
        self._take_up()
        self._commit()

    def receive(self, frame: Frame) -> None:
        """Take one frame that arrived since the previous tick; accept or reject it (rule 5)."""
        # KNOWN: bus, identifier, format
        bus, extended, identifier, data = frame
        index = self._messages.get((bus, extended, identifier))
        if index is None:
            self._reject_unknown(frame)
            return
        message = self.spec.messages[index]
        state = self.messages[index]

        # LENGTH, CHECKSUM, COUNTER
        if message.guarded or len(data) < message.length:
            reason = reception.judge(message, state, data)
            if reason is not None:
                self._reject(reason, index, len(data))
                return

        # UNITS
        if message.selector is None and len(data) >= message.length:
            taken: Sequence[int] = message.units
        else:
            taken, unknown = reception.units_taken(message, self.spec.units, data)
            if unknown:
                state.selector_unknown = reception.count(state.selector_unknown)
                self._tell(Reason.SELECTOR_UNKNOWN, message.name, 0)
            elif not taken and message.units:
                state.short = reception.count(state.short)
                self._reject(Reason.FRAME_SHORT, index, len(data))
                return
        if index in self._judged:
            state.good = reception.count(state.good)

        # SIGNALS
        for unit in taken:
            unit_state = self.units[unit]
            if not unit_state.fresh:
                unit_state.fresh = True
                self._fresh.append(unit)
            decode_unit(self._decoders[unit], data, self.store.touched)

        # ROUTES
        for route in message.routes:
            if not transmission.enqueue(self.spec.routes[route], self.routes[route], frame):
                self._tell(Reason.QUEUE_OVERFLOW, self.spec.routes[route].name, 0)
            self._routing = True

    def tick(self, inputs: Inputs) -> Outputs:
        """Run one tick in the one order of rule 3 and return what it does."""
        clockwork = self.clockwork

        # PINS
        if self._bouncing or inputs is not self._inputs:
            self._read_pins(inputs)

        # DEADLINES
        now = self.now
        if self._conditions_moved:
            self._enable_clocks(now)
        if self._fresh:
            self._refresh_units(now)
        if now >= self._next_expiry:
            self._expire_units(now)

        # QUANTITIES
        if self.store.touched:
            self._evaluate_quantities()

        # FAULTS, POWER MODE, FUNCTIONS
        if clockwork.phase == 0:
            self._control_tick()

        # ROUTES, TRANSMISSIONS
        if self.store.changed:
            self._note_changes()
        frames = self._transmit()

        # OUTPUT PINS
        if self._pins_changed:
            self._drive_pins()
        outputs = self._outputs
        if outputs is None or frames is not SILENT:
            outputs = Outputs(
                frames, COMMANDS, self._levels, self._duty, self._frequency, self._power_hold
            )
            self._outputs = outputs if frames is SILENT else None

        # COMMIT
        self.now += 1
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
        return self.store.states[index]

    # STATE IMAGE

    def records(self) -> Iterator[NamedRecord]:
        """Yield every state record in image order."""
        spec = self.spec
        yield NamedRecord("clockwork", self.clockwork)
        for bus, counts in zip(Bus, self.bus_counts, strict=True):
            yield NamedRecord(f"bus.{BUS_NAMES[bus]}", counts)
        groups: tuple[tuple[str, Any, Any], ...] = (
            ("message", spec.messages, self.messages),
            ("unit", spec.units, self.units),
            ("source", spec.sources, self.sources),
            ("quantity", spec.quantities, self.store.states),
            ("input", spec.pins.levels, self.level_inputs),
            ("fault", spec.faults, self.faults),
            ("function", spec.functions, self.functions),
            ("transmit", spec.transmits, self.transmits),
            ("route", spec.routes, self.routes),
            ("condition", spec.conditions, self.conditions),
        )
        for number, clock in enumerate(self.clocks):
            yield NamedRecord(f"clock.{number}", clock)
        yield NamedRecord("power", self.power)
        for kind, specs, states in groups:
            for one, state in zip(specs, states, strict=True):
                yield NamedRecord(f"{kind}.{one.name}", state)
                parts: Callable[[], list[Any]] = getattr(state, "parts", list)
                for number, part in enumerate(parts()):
                    yield NamedRecord(f"{kind}.{one.name}.{number}", part)

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

    def restore(self, image: bytes) -> None:
        """Take up a snapshot of the same pairing; raises ImageError when its length differs."""
        state_image.read(self.records(), image)
        for clock, clock_state in zip(self.spec.clocks, self.clocks, strict=True):
            reception.resume(clock, clock_state, self.units, self.now)
        for message, slot in zip(self.spec.transmits, self.transmits, strict=True):
            transmission.resume(message, slot, self.now)
        self._take_up()

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
            self._pin_says(level.source, state.active)
        for index, analogue in enumerate(pins.analogues):
            self._pin_says(analogue.source, measure(analogue, inputs.counts[index]))

    def _pin_says(self, source: int, value: int | None) -> None:
        """Write a pin's value (None = wiring fault) to its source."""
        if source < 0:
            return
        spec = self.spec.sources[source]
        state = self.sources[source]
        status = Status.ERROR if value is None else Status.VALID
        if value is None:
            value = state.value
        if value != state.value or status != state.status:
            state.value = value
            state.status = status
            self.store.touched.add(spec.quantity)

    def _enable_clocks(self, now: int) -> None:
        """Start and stop the supervision clocks by their conditions."""
        for clock, state in self._clock_pairs:
            enabled = clock.condition == NO_CONDITION or self.conditions[clock.condition].holds
            if state.enabled and not enabled:
                for unit in clock.units:
                    self._tell(Reason.SUPERVISION_OFF, self.spec.units[unit].name, 0)
            reception.enable(clock, state, enabled, now, self.units, self._unit_changed)
        self._next_expiry = now

    def _refresh_units(self, now: int) -> None:
        """Give the units that were received age 0."""
        for index in self._fresh:
            clock = self._unit_clocks[index]
            reception.refresh(index, self.units[index], clock, now, self._unit_changed)
            if clock.enabled and clock.next_expiry < self._next_expiry:
                self._next_expiry = clock.next_expiry
        self._fresh.clear()

    def _expire_units(self, now: int) -> None:
        """Lose the units whose deadline has come; work out when the next one may."""
        for clock, state in self._clock_pairs:
            if state.enabled and now >= state.next_expiry:
                reception.expire(clock, state, now, self.spec.units, self.units, self._unit_changed)
        self._next_expiry = min(
            (clock.next_expiry for clock in self.clocks if clock.enabled), default=NEVER_EXPIRES
        )

    def _unit_changed(self, index: int, former: int) -> None:
        """React to a unit's new supervision status: sources are forgotten, quantities looked at."""
        state = self.units[index]
        spec = self.spec.units[index]
        self.store.touched.update(self._unit_quantities[index])
        if state.status == UNIT_FRESH:
            if former == reception.UNIT_STALE:
                self._tell(Reason.UNIT_RECOVERED, spec.name, 0)
            return
        if not state.fresh:
            self._decoders[index].word = NO_WORD
            for source in spec.sources:
                quantities.forget(self.sources[source])
        message = self.spec.messages[spec.message]
        family = [self.units[other] for other in message.units]
        if all(unit.status != UNIT_FRESH and not unit.fresh for unit in family):
            self.messages[spec.message].reference = NO_REFERENCE
        if state.status == reception.UNIT_STALE:
            self._tell(Reason.UNIT_LOST, spec.name, former)
        else:
            self._tell(Reason.SUPERVISION_ON, spec.name, former)

    def _evaluate_quantities(self) -> None:
        """Work out the quantities whose sources changed, or whose hold or return is running."""
        store = self.store
        touched = sorted(store.touched)
        store.touched.clear()
        for index in touched:
            spec = store.specs[index]
            state = store.states[index]
            value, status = self._offer(spec.sources[0])
            if status == VALID and state.origin == 0 and not state.returning:
                state.value = value  # all that evaluate() would do
                store.changed.add(index)
                continue
            before = (state.value, state.status, state.origin)
            offers = [self._offer(number) for number in spec.sources]
            if quantities.evaluate(spec, state, offers, self.spec.tick_ms):
                store.touched.add(index)
            if (state.value, state.status, state.origin) != before:
                store.changed.add(index)
                if state.origin != before[2]:
                    self._origin_changed(spec, before[2], state.origin)

    def _offer(self, source: int) -> tuple[int, int]:
        """Return value and status of a source, the supervision of its unit looked at (rule 8)."""
        state = self.sources[source]
        unit = self.spec.sources[source].unit
        if unit < 0:
            return state.value, state.status
        supervised = self.units[unit].status
        # A lost unit is stale although its source, forgotten at the loss, was "never received".
        return state.value, state.status if supervised == UNIT_FRESH else supervised

    def _origin_changed(self, spec: QuantitySpec, former: int, origin: int) -> None:
        """Tell that a quantity went to a substitute, or back to its first source."""
        if origin == 0:
            if former not in (ORIGIN_INITIAL, ORIGIN_HELD):
                self._tell(Reason.QUANTITY_RETURNED, spec.name, former)
        elif origin not in (ORIGIN_INITIAL, ORIGIN_HELD):
            self._tell(Reason.QUANTITY_SUBSTITUTED, spec.name, origin)

    def _control_tick(self) -> None:
        """Run faults, then the power mode, then the functions in their listed order."""
        store = self.store
        self._step_faults()
        former = self.power.mode
        power.step(self.spec.power, self.power, store)
        if self.power.mode != former:
            self._conditions_open = True
            self._outputs = None
            self._power_hold = self.power.mode != power.PowerMode.OFF
            self._tell(Reason.MODE_CHANGED, "power", self.power.mode)
        if self.spec.power.mode_quantity >= 0:
            store.publish(self.spec.power.mode_quantity, self.power.mode)
        for (spec, step, pure), state in zip(self._functions, self.functions, strict=True):
            if pure and spec.input not in self._moved and spec.input not in store.changed:
                continue
            before = state.failsafe
            after = step(spec, state, store, self.power)
            if after != before:
                reason = Reason.FAILSAFE_ENTERED if after else Reason.FAILSAFE_LEFT
                self._tell(reason, spec.name, 0)
        self._moved.clear()

    def _step_faults(self) -> None:
        """Move every fault by what was seen since the last control tick."""
        for spec, state in zip(self.spec.faults, self.faults, strict=True):
            enabled = spec.condition == NO_CONDITION or self.conditions[spec.condition].holds
            if spec.message >= 0:
                message = self.messages[spec.message]
                worse, better = message.bad, message.good
            else:
                worse = int(self.store.states[spec.quantity].status in spec.statuses)
                better = 1 - worse
            before = state.matured
            faults.step(spec, state, worse, better, enabled, self.power.new_cycle)
            if state.matured != before:
                reason = Reason.FAULT_MATURED if state.matured else Reason.FAULT_HEALED
                self._tell(reason, spec.name, state.level)
            if spec.output >= 0:
                self.store.publish(spec.output, int(state.matured))
        for index in self._judged:
            self.messages[index].good = self.messages[index].bad = 0

    def _note_changes(self) -> None:
        """Pass changed quantities on: messages to pack anew, pins to drive, conditions to judge."""
        changed = self.store.changed
        for index in changed:
            eager, lazy, of_condition, of_pin = self._followers[index]
            self._eager.update(eager)
            self._unpacked.update(lazy)
            if of_condition:
                self._conditions_open = True
            if of_pin:
                self._pins_changed = True
        self._moved |= changed
        changed.clear()

    def _transmit(self) -> tuple[tuple[Frame, ...], tuple[Frame, ...]]:
        """Hand over routed frames, then the messages due in the listed order."""
        frames: tuple[list[Frame], list[Frame]] = ([], [])

        # ROUTES
        if self._routing:
            self._routing = False
            for route in self.routes:
                for frame in route.waiting:
                    frames[frame.bus].append(frame)
                route.waiting.clear()

        # VALUES: a message that answers changes or loss at once is packed at once
        now = self.now
        looked_at = self._calendar.pop(now, None)
        if self._eager:
            for index in self._eager:
                self._pack(index)
            looked_at = self._eager if looked_at is None else looked_at | self._eager
            self._eager = set()
        if self._conditions_moved:
            self._conditions_moved = False
            looked_at = self._conditional.union(looked_at or ())

        # DUE, PACK, COUNTER, CHECKSUM
        if looked_at:
            for index in sorted(looked_at):
                self._send_if_due(index, frames, now)
        if not frames[0] and not frames[1]:
            return SILENT
        return tuple(frames[0]), tuple(frames[1])

    def _send_if_due(self, index: int, frames: tuple[list[Frame], ...], now: int) -> None:
        """Hand one message over if it is due, and note in the calendar when to look again."""
        spec = self.spec.transmits[index]
        slot = self.transmits[index]
        if spec.condition != NO_CONDITION:
            if not self.conditions[spec.condition].holds:
                slot.started = False
                return
            if not slot.started:
                transmission.start(spec, slot, now)
        if transmission.is_due(spec, slot, now):
            if index in self._unpacked:
                self._pack(index)
            frames[spec.key.bus].append(transmission.hand_over(spec, slot, now))
        look_at = transmission.next_look(spec, slot, now) if spec.on_change else slot.due_at
        if look_at in self._calendar:
            self._calendar[look_at].add(index)
        else:
            self._calendar[look_at] = {index}

    def _pack(self, index: int) -> None:
        """Put the message's quantities into its slot, and stop or resume it."""
        spec = self.spec.transmits[index]
        slot = self.transmits[index]
        self._unpacked.discard(index)
        slot.payload = transmission.pack(spec, self.store)
        stopped = transmission.source_lost(spec, self.store)
        if stopped != slot.stopped:
            slot.stopped = stopped
            reason = Reason.SENDING_STOPPED if stopped else Reason.SENDING_RESUMED
            self._tell(reason, spec.name, 0)

    def _drive_pins(self) -> None:
        """Work out what the output pins carry."""
        self._pins_changed = False
        self._outputs = None
        driven: dict[PinKind, list[int]] = {kind: [] for kind in PinKind}
        for pin in self.spec.pins.outputs:
            driven[pin.kind].append(drive(pin, self.store.states[pin.quantity].value))
        self._levels = tuple(bool(level) for level in driven[PinKind.LEVEL])
        self._duty = tuple(driven[PinKind.DUTY])
        self._frequency = tuple(driven[PinKind.FREQUENCY])

    def _commit(self) -> None:
        """Judge the conditions on this tick's results, for use in the next one."""
        self._conditions_open = False
        for spec, state in zip(self.spec.conditions, self.conditions, strict=True):
            before = state.holds
            state.holds = conditions.holds(
                spec,
                self.clockwork.uptime,
                self.power.mode,
                self.clockwork.supply_mv,
                self.store,
            )
            if state.holds != before:
                self._conditions_moved = True

    # HELPERS

    def _first_slot(self, spec: TransmitSpec) -> TransmitState:
        """Return the reset state of a sent message: "changed" is judged against reset values."""
        payload = transmission.pack(spec, self.store)
        counter = 0 if spec.counter is None else spec.counter.modulo - 1
        slot = TransmitState(last=payload, payload=payload, counter=counter)
        slot.stopped = transmission.source_lost(spec, self.store)
        if transmission.is_unconditional(spec):
            transmission.start(spec, slot, 0)
        return slot

    def look_at_everything(self) -> None:
        """Have the next tick take no shortcut: everything is computed whether it changed or not."""
        self._inputs = None
        self._outputs = None
        self._next_expiry = 0
        self._calendar = {self.now: set(range(len(self.spec.transmits)))}
        self._conditions_open = True
        self._conditions_moved = True
        self._pins_changed = True
        self._unpacked = set(range(len(self.spec.transmits))) - self._watched
        self._eager = set(self._watched)
        self.store.touched.update(
            index for index, quantity in enumerate(self.spec.quantities) if quantity.sources
        )
        self._moved = set(range(len(self.spec.quantities)))
        for decoder in self._decoders:
            decoder.word = NO_WORD
        for clock in self.clocks:
            clock.next_expiry = 0

    def _take_up(self) -> None:
        """Take up state that was set from outside: after reset and after restore."""
        spec = self.spec
        self._decoders = tuple(
            unit_decoder([(spec.sources[i], self.sources[i]) for i in unit.sources])
            for unit in spec.units
        )
        self._clock_pairs = tuple(zip(spec.clocks, self.clocks, strict=True))
        self._fresh = [index for index, unit in enumerate(self.units) if unit.fresh]
        self._unit_clocks = tuple(self.clocks[unit.clock] for unit in spec.units)
        self._moved = set(range(len(spec.quantities)))
        self._power_hold = self.power.mode != power.PowerMode.OFF
        self._bouncing = False
        self._routing = False
        self._levels = ()
        self._duty = ()
        self._frequency = ()
        self.look_at_everything()

    def _settle(self) -> None:
        """Write the closed forms of all fields that move on idle ticks."""
        for spec, clock in zip(self.spec.clocks, self.clocks, strict=True):
            for index in spec.units:
                reception.settle(clock, self.units[index], self.now)
        for message, slot in zip(self.spec.transmits, self.transmits, strict=True):
            transmission.settle(message, slot, self.now)

    def _reject(self, reason: Reason, message: int, length: int) -> None:
        """Count a rejected frame for the faults that judge frame by frame, and tell why."""
        if message in self._judged:
            state = self.messages[message]
            state.bad = reception.count(state.bad)
        self._tell(reason, self.spec.messages[message].name, length)

    def _reject_unknown(self, frame: Frame) -> None:
        """Count a frame that belongs to no received message."""
        counts = self.bus_counts[frame.bus]
        if frame[:3] in self._own_keys:
            counts.second_sender = reception.count(counts.second_sender)
            self._tell(Reason.SECOND_SENDER, BUS_NAMES[frame.bus], frame.identifier)
        else:
            counts.unknown = reception.count(counts.unknown)
            self._tell(Reason.FRAME_UNKNOWN, BUS_NAMES[frame.bus], frame.identifier)

    def _tell(self, reason: Reason, subject: str, detail: int) -> None:
        """Tell the observer, when there is one."""
        if self.observer is not None:
            self.observer(Event(self.now, reason, subject, detail))
