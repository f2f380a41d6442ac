"""What the generated text calls when something is not quite ordinary; nothing here runs often."""

from collections.abc import Callable, Iterable
from functools import partial
from operator import attrgetter
from typing import Any

from xlate_core import quantities
from xlate_core.arithmetic import UINT16_MAX
from xlate_core.bridge import Bridge
from xlate_core.compiled import aside
from xlate_core.compiled.agenda import Due, agenda_of
from xlate_core.compiled.calm import other_expiry
from xlate_core.compiled.columns import Arrivals, Sent, received_keys
from xlate_core.compiled.handlers import by_identifier, choose_handlers
from xlate_core.compiled.remembering import remembering
from xlate_core.compiled.rest import Sleepers
from xlate_core.compiled.sending_events import Frames, send_events, slot_facts, unsealed
from xlate_core.events import Reason
from xlate_core.frames import Frame
from xlate_core.functions import FUNCTIONS, PURE
from xlate_core.interface import Inputs, Outputs
from xlate_core.power import PowerState
from xlate_core.reception import NEVER_EXPIRES, count, judge
from xlate_core.signals import intel_word, motorola_word, signed

POWER = tuple(one.name for one in PowerState.FIELDS)
_power = attrgetter(*POWER)
Leave = Callable[[Inputs, Iterable[Frame] | None], Outputs]


class Support:
    """The slow parts of one engine's fast form; the generated functions are handed to `take`."""

    def __init__(self, engine: Bridge, pending: list[Frame], leave: Leave) -> None:
        """Stand beside a readable engine."""
        self.engine = engine
        self.pending = pending
        self.leave = leave
        self.eager: set[int] = set()
        self.looks: dict[int, set[int]] = {}
        self.sleepers = Sleepers(engine, ())
        self.handlers: dict[int, Callable[[Frame], bool | None]] = {}
        self.takers: list[int] = []  # by identifier of 11 bits, see `handlers.py`
        self.ready = [False] * len(engine.spec.messages)
        self.run: Callable[[Arrivals, int, int, Inputs, Sent], int] | None = None
        self.words = engine.intake._decoders
        self.send_events = partial(send_events, self)
        self.unsealed = partial(unsealed, self)
        self.strange, self.lose = partial(aside.receive, self), partial(aside.lose, self)
        self.other_expiry = NEVER_EXPIRES
        self.held: Any = None
        self.inputs = Inputs()
        self.started_at = 0
        self.phase = self.uptime = 0
        spec = engine.spec
        self.pure = {
            number: remembering(engine, number)
            for number, function in enumerate(spec.functions)
            if isinstance(function, PURE)
        }
        self.steps = {n: FUNCTIONS[type(one)][1] for n, one in enumerate(spec.functions)}
        self.active: set[int] = set()
        self.entries: list[Due | None] = []  # the calendar from its beginning, if it repeats
        self.turn = 0
        self.agendas: dict[Any, list[Due | None]] = {}
        self._units_of = tuple(
            tuple(sorted({spec.sources[i].unit for i in quantity.sources} - {-1}))
            for quantity in spec.quantities
        )
        self._every_quantity = frozenset(range(len(spec.quantities)))
        self.judged = tuple(engine.common.judged)
        self.slots = tuple(slot_facts(self, number) for number in range(len(spec.transmits)))

    def take(
        self,
        tick: Callable[[Inputs], Outputs],
        absorb: Callable[..., None],
        settle: Callable[[], None],
        quiet: list[Callable[[int, int], None]],
        receives: tuple[Any, ...],
        sends: tuple[Callable[[], Frame | None], ...],
        packs: dict[int, Callable[[], bool]],
        sent_at: Callable[[int], int | None],
        stop: Callable[[int], None],
        settle_source: Callable[[int], None],
        number: Callable[[], int],
    ) -> None:
        """Take up the generated functions."""
        self.tick, self.absorb, self.settle_live = tick, absorb, settle
        self.sleepers.quiet = quiet
        self.receives, self.sends, self.packs = receives, sends, packs
        self.sent_at, self.stop, self.settle_source = sent_at, stop, settle_source
        self.number = number
        self.numbers = {send: number for number, send in enumerate(sends)}
        self.keys = by_identifier(self)
        self.received = received_keys(self.engine.spec)

    def take_run(
        self, run: Callable[[Arrivals, int, int, Inputs, Sent], int], stopped: Callable[[], int]
    ) -> None:
        """Take up what runs spans of ticks; a native text alone has it."""
        self.run, self.stopped = run, stopped

    def take_steps(
        self,
        absorb_message: Callable[[int], None],
        settle_message: Callable[[int], None],
        settle_ages: Callable[[], None],
        look_at_deadlines: Callable[[], None],
    ) -> None:
        """Take up what hands over a single message."""
        self.absorb_message, self.settle_message = absorb_message, settle_message
        self.settle_ages, self.look_at_deadlines = settle_ages, look_at_deadlines

    # RECEIVING

    def twice(self, frames: list[Frame]) -> bool:
        """Return whether one received message comes twice in a tick, with other contents.

        The text lets a quantity take a value at once; the readable engine sees the last one of the
        tick alone, which may be none.
        """
        known = {frame for frame in frames if frame[2] in self.handlers}
        return len({frame[2] for frame in known}) < len(known)

    def look(self, source: int, bits: int) -> None:
        """Take the bits of a source whose record is up to date; its quantity is looked at later."""
        spec = self.engine.spec.sources[source]
        if quantities.take(spec, self.engine.intake.sources[source], bits):
            self.engine.common.store.touched.add(spec.quantity)

    def look_again(self, source: int, bits: int, before: int) -> None:
        """Take the bits of a source whose record is behind: it last had the bits `before`."""
        self._bring_up(source, before)
        self.look(source, bits)

    def _bring_up(self, source: int, bits: int) -> None:
        spec = self.engine.spec.sources[source]
        state = self.engine.intake.sources[source]
        raw = signed(spec.signal, bits) if spec.signal is not None else bits
        value, state.status = quantities.decode(spec, raw)
        state.bits = bits
        if value is not None:
            state.value = value

    def reject(self, number: int, data: bytes) -> None:
        """Judge a frame that is rejected, by its message's record, and count it."""
        intake = self.engine.intake
        message = self.engine.spec.messages[number]
        reason = judge(message, intake.messages[number], data)
        if reason is None:
            raise AssertionError(message.name)  # the text finds wrong what the rules find good
        intake._reject(reason, intake._known[message.key], len(data))

    def unknown_selector(self, number: int) -> None:
        """Count a good frame whose selector names no path."""
        message, intake = self.engine.spec.messages[number], self.engine.intake
        state = intake.messages[number]
        state.selector_unknown = count(state.selector_unknown)
        self.engine.common.tell(Reason.SELECTOR_UNKNOWN, message.name, 0)

    def stranger(self, frame: Frame) -> None:
        """Count a frame that is no received message of its bus and format."""
        self.engine.intake._reject_unknown(frame)

    def evaluate(self, now: int) -> None:
        """Run the quantities phase of the readable engine for the quantities touched."""
        self.engine.common.now = now
        for index in self.engine.common.store.touched:
            for unit in self._units_of[index]:
                self.settle_source(unit)
        self.engine.intake.evaluate_quantities()

    def settle_unit(self, unit: int, data: bytes) -> None:
        """Write the sources of a unit from the payload it came with last."""
        decoder = self.words[unit]
        decoder.word = intel = intel_word(data)
        motorola = motorola_word(data)
        numbers = self.engine.spec.units[unit].sources
        for number in numbers:
            spec = self.engine.spec.sources[number]
            if spec.watched or spec.signal is None:
                continue
            whole = intel if spec.signal.intel else motorola
            self._bring_up(number, (whole >> spec.signal.shift) & spec.signal.mask)

    # PINS

    def may_read(self, inputs: Inputs) -> bool:
        """Return whether moved inputs need no more than a look: levels, counts and the supply."""
        last = self.inputs
        return (
            not self.engine.common.conditions_moved
            and inputs.periods == last.periods
            and inputs.buses == last.buses
        )

    def read_pins(self, inputs: Inputs) -> object:
        """Read the pins as the readable engine does; return the inputs that need no new look."""
        engine = self.engine
        engine._inputs = self.inputs = inputs
        engine.terminals.read(inputs)
        if inputs.supply_mv != engine.common.clockwork.supply_mv:
            self.sleepers.judge = True  # and with the commit of this tick it counts
        self.held = object() if engine.terminals.bouncing else inputs
        return self.held

    # CONTROL TICK AND CONDITIONS

    def faults_and_mode(self, now: int, controls: int) -> None:
        """Run faults and power mode in control tick number `controls`; wake who looks at them."""
        engine = self.engine
        engine.common.now = now
        before = _power(engine.control.power)
        engine.control.tick_faults_and_mode()
        after = _power(engine.control.power)
        if after != before:
            names = {
                name for name, one, two in zip(POWER, before, after, strict=True) if one != two
            }
            self.sleepers.power_moved(names, controls)

    def commit(self, now: int, controls: int) -> None:
        """Judge the conditions; when one changed the readable engine runs the next tick."""
        engine = self.engine
        engine.common.now = now
        self._settle_uptime(now)
        if self.inputs.supply_mv != engine.common.clockwork.supply_mv:
            engine.common.clockwork.supply_mv = self.inputs.supply_mv
            if engine.spec.power.supply_quantity >= 0:
                self.sleepers.wake_control(controls)  # it publishes the supply
        engine._commit()
        self.sleepers.judge = False
        self.sleepers.rest_conditions()
        if engine.common.conditions_moved:
            self.held = object()

    # SENDING

    def bits_of(self, bits: int) -> list[int]:
        """Return the numbers of the bits that are set."""
        return [number for number in range(bits.bit_length()) if bits >> number & 1]

    def send_due(self, body: Iterable[Any], engine_bus: Iterable[Any]) -> Frames:
        """Send what is due while some messages are silent because their source is lost."""
        first = [frame for send in body if (frame := send()) is not None]
        second = [frame for send in engine_bus if (frame := send()) is not None]
        return tuple(first), tuple(second)

    # THE WAY IN AND OUT

    def enter(self, now: int, inputs: Inputs, last: Outputs) -> bool:
        """Take over from the readable engine, if it is calm enough; `last` are its outputs."""
        agenda = agenda_of(self, now)
        if agenda is None:
            return False
        engine = self.engine
        self.held = self.inputs = inputs
        self.started_at, self.phase = now, engine.common.clockwork.phase
        self.uptime = engine.common.clockwork.uptime
        self.eager.clear()
        self.looks.clear()
        slots = engine.sender.transmits
        for number in self.packs:
            slot = slots[number]
            if slot.payload != slot.last and slot.sent_at is not None:
                at = max(slot.sent_at + engine.spec.transmits[number].min_gap, now)
                self.looks.setdefault(at, set()).add(number)
        self.other_expiry = other_expiry(self)
        choose_handlers(self)
        self.absorb(now, inputs, last, agenda)
        return True

    def settle_head(self, now: int, controls: int, unknown_body: int, unknown_engine: int) -> None:
        """Write back what does not belong to one message, unit or slot alone."""
        engine = self.engine
        engine.common.now = now
        clockwork = engine.common.clockwork
        clockwork.phase = (self.phase + now - self.started_at) % engine.spec.control_ticks
        self._settle_uptime(now)
        for counts, seen in zip(
            engine.intake.bus_counts, (unknown_body, unknown_engine), strict=True
        ):
            counts.unknown = min(counts.unknown + seen, UINT16_MAX)
        self.sleepers.settle(controls)
        for spec, slot in zip(engine.spec.transmits, engine.sender.transmits, strict=True):
            if spec.period and slot.started and slot.due_at < now:
                slot.due_at += spec.period * ((now - 1 - slot.due_at) // spec.period + 1)

    def _settle_uptime(self, now: int) -> None:
        """Write how long the engine has run, up to its longest start-up time."""
        engine = self.engine
        uptime = self.uptime + now - self.started_at
        engine.common.clockwork.uptime = min(uptime, engine._longest_startup)

    def hand_back(self) -> None:
        """Settle everything and let the readable engine look at all that it keeps for speed."""
        self.settle_live()
        engine = self.engine
        intake, sender = engine.intake, engine.sender
        for clock in intake.clocks:
            clock.next_expiry = 0
        intake._next_expiry = 0
        for number, slot in enumerate(sender.transmits):
            slot.intel, slot.motorola = self.slots[number][2]
            slot.open = set(range(len(engine.spec.transmits[number].packs)))
        everything = set(range(len(sender.transmits)))
        sender._calendar = {engine.common.now: everything}
        sender.unpacked = everything - sender.watched
        sender.eager = set(sender.watched)
        engine._outputs = None
        engine.terminals.moved = engine.common.conditions_open = True
        engine.control.moved = set(self._every_quantity)
