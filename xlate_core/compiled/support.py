"""What the generated text calls when something is not quite ordinary; nothing here runs often."""

from collections.abc import Callable, Iterable, Iterator
from itertools import cycle
from math import lcm
from typing import Any

from xlate_core import quantities
from xlate_core.arithmetic import UINT16_MAX
from xlate_core.bridge import Bridge
from xlate_core.compiled.following import Mover
from xlate_core.compiled.rest import Sleepers, remembering
from xlate_core.events import Reason
from xlate_core.frames import Frame
from xlate_core.functions import PURE
from xlate_core.interface import Inputs, Outputs
from xlate_core.protection import NO_REFERENCE
from xlate_core.quantities import Status
from xlate_core.reception import (
    NEVER_EXPIRES,
    NO_CONDITION,
    UNIT_FRESH,
    UNIT_STALE,
    expires_at,
)
from xlate_core.signals import WORD_OCTETS, insert, intel_word, motorola_word, signed
from xlate_core.transmission import OnLoss, TransmitState, clear_slot

LONGEST_AGENDA = 4096
ROUTES = -1  # noted beside the messages to look at: routed frames wait
Due = tuple[bool, tuple[Callable[[], Frame | None], ...], tuple[Callable[[], Frame | None], ...]]
Frames = tuple[tuple[Frame, ...], tuple[Frame, ...]]
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
        self.words = engine.intake._decoders
        self.some_stopped = False
        self.other_expiry = NEVER_EXPIRES
        self.held: Any = None
        self.started_at = 0
        self.phase = 0
        spec = engine.spec
        self.pure = {
            number: remembering(engine, number)
            for number, function in enumerate(spec.functions)
            if isinstance(function, PURE)
        }
        self.movers = {number: Mover(engine, number) for number in range(len(spec.functions))}
        self.active: set[int] = set()
        self._units_of = tuple(
            tuple(sorted({spec.sources[i].unit for i in quantity.sources} - {-1}))
            for quantity in spec.quantities
        )
        self._every_quantity = frozenset(range(len(spec.quantities)))
        self._judged = tuple(engine.common.judged)
        self._slots = tuple(self._slot_facts(number) for number in range(len(spec.transmits)))

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
        take_frame: Callable[[Frame], bool | None],
        number: Callable[[], int],
    ) -> None:
        """Take up the generated functions."""
        self.tick, self.absorb, self.settle_live = tick, absorb, settle
        self.sleepers.quiet = quiet
        self.receives, self.sends, self.packs = receives, sends, packs
        self.sent_at, self.stop, self.settle_source = sent_at, stop, settle_source
        self.take_frame, self.number = take_frame, number
        self.numbers = {send: number for number, send in enumerate(sends)}
        self._keys = self._by_identifier()

    # RECEIVING

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

    def _router(self, number: int) -> Callable[[Frame], bool | None]:
        """Return who takes the frames of a message that is only routed, as it comes."""
        message = self.engine.spec.messages[number]
        least = 0 if message.allow_short else message.length

        def route(frame: Frame) -> bool | None:
            if len(frame.data) < least or number in self._judged:
                return True
            self.engine.sender.route(message, frame)
            self.eager.add(ROUTES)
            return None

        return route

    # CONTROL TICK AND CONDITIONS

    def whole_control(self, now: int) -> None:
        """Run the control tick of the readable engine."""
        engine = self.engine
        engine.common.now = now
        engine.control.moved = set(self._every_quantity)
        engine.control.tick()

    def tell_failsafe(self, function: int, before: bool, after: bool) -> None:
        """Tell the observer that a function entered or left its safe state."""
        if after != before:
            reason = Reason.FAILSAFE_ENTERED if after else Reason.FAILSAFE_LEFT
            self.engine.common.tell(reason, self.engine.spec.functions[function].name, 0)

    def commit(self, now: int) -> None:
        """Judge the conditions; when one changed the readable engine runs the next tick."""
        engine = self.engine
        engine.common.now = now
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

    def send_events(self, now: int, body: Iterable[Any], engine_bus: Iterable[Any]) -> Frames:
        """Send what is due and what changed, in the listed order (rule 12)."""
        due = {self.numbers[send] for send in (*body, *engine_bus)}
        noted = set(self.eager) | self.looks.pop(now, set())
        self.eager.clear()
        frames: tuple[list[Frame], list[Frame]] = ([], [])
        if ROUTES in noted:
            noted.discard(ROUTES)
            self.engine.sender._routing = False
            for route in self.engine.sender.routes:
                for waiting in route.waiting:
                    frames[waiting.bus].append(waiting)
                route.waiting.clear()
        specs, slots = self.engine.spec.transmits, self.engine.sender.transmits
        for number in sorted(noted):
            if specs[number].on_loss is OnLoss.STOP:
                self._stop_or_resume(number)
        self.some_stopped = any(slot.stopped for slot in slots)
        for number in sorted(due | noted):
            spec = specs[number]
            if number not in self.active:
                if spec.on_change:
                    self.packs[number]()
                continue
            goes = number in due
            if spec.on_change and self.packs[number]() and not goes:
                last = self.sent_at(number)
                goes = last is None or now - last >= spec.min_gap
            if goes:
                frame = self.sends[number]()
                if frame is not None:
                    frames[spec.key.bus].append(frame)
            if spec.on_change and self.packs[number]():
                last = self.sent_at(number)
                if last is not None:
                    at = max(last + spec.min_gap, now + 1)
                    self.looks.setdefault(at, set()).add(number)
        return tuple(frames[0]), tuple(frames[1])

    def _stop_or_resume(self, number: int) -> None:
        """Work out whether a message has to be silent; tell when that changed."""
        slot = self.engine.sender.transmits[number]
        before = slot.stopped
        self.stop(number)
        if slot.stopped != before:
            reason = Reason.SENDING_STOPPED if slot.stopped else Reason.SENDING_RESUMED
            self.engine.common.tell(reason, self.engine.spec.transmits[number].name, 0)

    def unsealed(self, number: int, data: bytes) -> bytes:
        """Return the payload before counter and checksum of a frame that was handed over."""
        keep, base, _, length = self._slots[number]
        return (intel_word(data) & keep | base).to_bytes(WORD_OCTETS, "little")[:length]

    def _slot_facts(self, number: int) -> tuple[int, int, tuple[int, int], int]:
        """Return which bits a payload keeps, the others' values, and the words of an empty slot."""
        spec = self.engine.spec.transmits[number]
        sealed = bytes(len(spec.base))
        ones = (1 << 8 * len(spec.base)) - 1
        for one in (spec.counter, spec.checksum):
            if one is not None:
                sealed = insert(one.signal, sealed, -1)
        empty = TransmitState()
        clear_slot(spec, empty)
        away = intel_word(sealed)
        base = spec.base
        for entry in spec.packs:
            base = insert(entry.signal, base, 0)
        return (
            ones & ~away,
            intel_word(base) & away,
            (empty.intel, empty.motorola),
            len(spec.base),
        )

    # THE WAY IN AND OUT

    def enter(self, now: int, inputs: Inputs, last: Outputs) -> bool:
        """Take over from the readable engine, if it is calm enough; `last` are its outputs."""
        agenda = self._agenda(now)
        if agenda is None:
            return False
        engine = self.engine
        self.held = inputs
        self.started_at, self.phase = now, engine.common.clockwork.phase
        self.eager.clear()
        self.looks.clear()
        slots = engine.sender.transmits
        for number in self.packs:
            slot = slots[number]
            if slot.payload != slot.last and slot.sent_at is not None:
                at = max(slot.sent_at + engine.spec.transmits[number].min_gap, now)
                self.looks.setdefault(at, set()).add(number)
        self.some_stopped = any(slot.stopped for slot in slots)
        self.other_expiry = self._other_expiry()
        self._choose_handlers()
        self.absorb(now, inputs, last, agenda)
        return True

    def is_calm(self) -> bool:
        """Return whether the readable engine's next tick would be an ordinary one."""
        engine = self.engine
        return not (
            engine.common.conditions_moved
            or engine.common.conditions_open
            or engine.terminals.bouncing
            or engine.common.clockwork.first
            or engine.common.clockwork.uptime < engine._longest_startup
            or engine.intake._fresh
            or engine.sender.eager
            or engine.sender._routing
            or self._supply_waits()
            or any(engine.intake.messages[number].bad for number in self._judged)
        )

    def _supply_waits(self) -> bool:
        """Return whether the next control tick publishes another supply than the last one."""
        index = self.engine.spec.power.supply_quantity
        if index < 0:
            return False
        told = self.engine.common.store.states[index]
        supply = min(
            self.engine.common.clockwork.supply_mv, self.engine.spec.quantities[index].high
        )
        return told.value != supply or told.status != Status.VALID

    def _other_expiry(self) -> int:
        """Return the tick at which a unit without a receive function is lost."""
        intake = self.engine.intake
        found = NEVER_EXPIRES
        for index, spec in enumerate(self.engine.spec.units):
            clock, unit = intake.clocks[spec.clock], intake.units[index]
            if self.receives[spec.message] is None and clock.enabled and unit.status != UNIT_STALE:
                found = min(found, expires_at(spec, unit) + clock.origin)
        return found

    def _agenda(self, now: int) -> Callable[[], Due | None] | None:
        """Return what says, tick by tick from `now`, whether a control tick and sends are due."""
        engine = self.engine
        self.active = set()
        places: list[tuple[int, int, int]] = []
        for number, (spec, slot) in enumerate(
            zip(engine.spec.transmits, engine.sender.transmits, strict=True)
        ):
            if spec.condition != NO_CONDITION and not engine.common.holds(spec.condition):
                continue
            self.active.add(number)
            if spec.period:
                if not slot.started or not 0 <= slot.due_at - now < spec.period:
                    return None
                places.append((number, slot.due_at - now, spec.period))
        control = engine.spec.control_ticks
        length = lcm(control, *(period for _, _, period in places))
        ahead = -engine.common.clockwork.phase % control
        if length > LONGEST_AGENDA:
            return self._endless(places, ahead, control).__next__
        entries = [self._due(offset, places, ahead, control) for offset in range(length)]
        return cycle(entries).__next__

    def _endless(
        self, places: list[tuple[int, int, int]], ahead: int, control: int
    ) -> Iterator[Due | None]:
        offset = 0
        while True:
            yield self._due(offset, places, ahead, control)
            offset += 1

    def _due(
        self, offset: int, places: list[tuple[int, int, int]], ahead: int, control: int
    ) -> Due | None:
        """Return what is due `offset` ticks from the beginning, None for nothing."""
        transmits = self.engine.spec.transmits
        due = [n for n, first, period in places if offset % period == first]
        is_control = offset % control == ahead
        if not due and not is_control:
            return None
        buses = [tuple(self.sends[n] for n in due if transmits[n].key.bus == b) for b in (0, 1)]
        return is_control, buses[0], buses[1]

    def _by_identifier(self) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        for number, message in enumerate(self.engine.spec.messages):
            found.setdefault(message.key.identifier, []).append(number)
        return found

    def _choose_handlers(self) -> None:
        """Choose who takes which identifier: receive functions where all is ordinary."""
        self.handlers.clear()
        for _, _, identifier in self.engine.intake._own_keys:
            self.handlers[identifier] = self.stranger
        for identifier, numbers in self._keys.items():
            chosen = {self.engine.spec.messages[n].key: self._handler(n) for n in numbers}
            alone = chosen.get(self.engine.spec.messages[numbers[0]].key)
            if len(chosen) == 1 and alone is not None and alone in self.receives:
                self.handlers[identifier] = alone
            else:
                self.handlers[identifier] = self._dispatcher(chosen)

    def _dispatcher(self, chosen: dict[Any, Any]) -> Callable[[Frame], bool | None]:
        """Return who tells frames of one identifier apart; None in `chosen` leaves a frame."""

        def dispatch(frame: Frame) -> bool | None:
            key = frame[:3]
            if key not in chosen:
                self.stranger(frame)
                return None
            handler = chosen[key]
            return True if handler is None else bool(handler(frame))

        return dispatch

    def _handler(self, number: int) -> Callable[[Frame], bool | None] | None:
        """Return the receive function of a message, None unless everything about it is ordinary."""
        receive: Callable[[Frame], bool | None] | None = self.receives[number]
        message = self.engine.spec.messages[number]
        state = self.engine.intake.messages[number]
        if message.routes and not message.units and not message.guarded:
            return self._router(number)
        if receive is None or (message.counter is not None and state.reference == NO_REFERENCE):
            return None
        if message.selector is None:
            for unit in message.units:
                ordinary = self.engine.intake.units[unit].status == UNIT_FRESH
                if not ordinary or self.words[unit].word < 0:
                    return None
        return receive

    def settle_head(self, now: int, controls: int, unknown_body: int, unknown_engine: int) -> None:
        """Write back what does not belong to one message, unit or slot alone."""
        engine = self.engine
        engine.common.now = now
        clockwork = engine.common.clockwork
        clockwork.phase = (self.phase + now - self.started_at) % engine.spec.control_ticks
        for counts, seen in zip(
            engine.intake.bus_counts, (unknown_body, unknown_engine), strict=True
        ):
            counts.unknown = min(counts.unknown + seen, UINT16_MAX)
        self.sleepers.settle(controls)
        for spec, slot in zip(engine.spec.transmits, engine.sender.transmits, strict=True):
            if spec.period and slot.started and slot.due_at < now:
                slot.due_at += spec.period * ((now - 1 - slot.due_at) // spec.period + 1)

    def hand_back(self) -> None:
        """Settle everything and let the readable engine look at all that it keeps for speed."""
        self.settle_live()
        engine = self.engine
        intake, sender = engine.intake, engine.sender
        for clock in intake.clocks:
            clock.next_expiry = 0
        intake._next_expiry = 0
        for number, slot in enumerate(sender.transmits):
            slot.intel, slot.motorola = self._slots[number][2]
            slot.open = set(range(len(engine.spec.transmits[number].packs)))
        everything = set(range(len(sender.transmits)))
        sender._calendar = {engine.common.now: everything}
        sender.unpacked = everything - sender.watched
        sender.eager = set(sender.watched)
        engine._outputs = None
        engine.terminals.moved = engine.common.conditions_open = True
        engine.control.moved = set(self._every_quantity)
