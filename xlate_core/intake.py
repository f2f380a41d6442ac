"""From frames to quantities: the receiving half of the engine (rules 3, 5 to 8 and 10).

`receive` runs on arrival; `deadlines` and `evaluate_quantities` are phases of a tick.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from xlate_core import quantities, reception
from xlate_core.buses import BusEvent
from xlate_core.decoding import NO_WORD, UnitDecoder, decode_unit, unit_decoder
from xlate_core.events import Reason
from xlate_core.frames import BUS_NAMES, Bus, Frame, FrameKey
from xlate_core.interface import BridgeSpec, Common
from xlate_core.protection import NO_REFERENCE, ProfileSpec, ProfileState, profiles
from xlate_core.quantities import (
    ORIGIN_HELD,
    ORIGIN_INITIAL,
    VALID,
    QuantitySpec,
    SourceState,
)
from xlate_core.reception import (
    NEVER_EXPIRES,
    UNIT_FRESH,
    BusCounts,
    ClockState,
    MessageSpec,
    MessageState,
    UnitState,
)


class KnownUnit(NamedTuple):
    """A reception unit of a known message."""

    number: int
    state: UnitState
    decoder: UnitDecoder


@dataclass(frozen=True, slots=True)
class Known:
    """A message the module receives, with everything its arrival touches."""

    spec: MessageSpec
    state: MessageState
    units: tuple[KnownUnit, ...]
    judged: bool
    profile: ProfileState | None


class Protected(NamedTuple):
    """A received message with a profile: whose, what it says, what it remembers."""

    message: MessageSpec
    spec: ProfileSpec
    state: ProfileState


def own_keys(spec: BridgeSpec) -> set[FrameKey]:
    """Return the keys of every frame the module itself sends: its messages and what it routes."""
    routed = {
        message.key._replace(bus=spec.routes[route].bus)
        for message in spec.messages
        for route in message.routes
    }
    return routed | {message.key for message in spec.transmits}


class Intake:
    """Messages, reception units, supervision clocks and sources of one engine."""

    __slots__ = (
        "_clock_pairs",
        "_decoders",
        "_fresh",
        "_known",
        "_next_expiry",
        "_own_keys",
        "_route",
        "_touched",
        "_unit_clocks",
        "_unit_quantities",
        "bus_counts",
        "clocks",
        "common",
        "messages",
        "protected",
        "sources",
        "spec",
        "units",
    )

    _decoders: tuple[UnitDecoder, ...]
    _fresh: list[int]
    _next_expiry: int

    def __init__(self, common: Common, route: Callable[[MessageSpec, Frame], None]) -> None:
        """Build the receiving half in its reset state; `route` takes frames to be routed."""
        spec = self.spec = common.spec
        self._route = route
        self._touched = common.store.touched
        self.common = common
        self.bus_counts = [BusCounts() for _ in Bus]
        self.messages = [MessageState() for _ in spec.messages]
        self.protected = tuple(
            Protected(message, message.profile, ProfileState())
            for message in spec.messages
            if message.profile is not None
        )
        states = {entry.message.key: entry.state for entry in self.protected}
        self.clocks = [ClockState() for _ in spec.clocks]
        self.units = [UnitState() for _ in spec.units]
        self.sources = [SourceState() for _ in spec.sources]
        self._own_keys = own_keys(spec)
        self._unit_quantities = tuple(
            tuple(sorted({spec.sources[i].quantity for i in unit.sources})) for unit in spec.units
        )
        self._clock_pairs = tuple(zip(spec.clocks, self.clocks, strict=True))
        self._unit_clocks = tuple(self.clocks[unit.clock] for unit in spec.units)
        self._decoders = tuple(
            unit_decoder([(spec.sources[i], self.sources[i]) for i in unit.sources])
            for unit in spec.units
        )
        self._known: dict[tuple[int, bool, int], Known] = {
            message.key: Known(
                message,
                self.messages[number],
                tuple(KnownUnit(i, self.units[i], self._decoders[i]) for i in message.units),
                number in common.judged,
                states.get(message.key),
            )
            for number, message in enumerate(spec.messages)
        }
        self._fresh = []
        self._next_expiry = 0

    def receive(self, frame: Frame) -> None:
        """Accept a frame, decode it and pass it to its routes, or reject it (rule 5)."""
        # KNOWN: bus, identifier, format
        bus, extended, identifier, data = frame
        known = self._known.get((bus, extended, identifier))
        if known is None:
            self._reject_unknown(frame)
            return
        message = known.spec
        units: Sequence[KnownUnit] = known.units

        # LENGTH, CHECKSUM, COUNTER
        whole = len(data) >= message.length
        if message.guarded or not whole:
            profile = known.profile
            machine = -1 if profile is None else profile.machine
            reason = reception.judge(message, known.state, data, profile)
            if profile is not None and profile.machine != machine:
                self.common.tell(Reason.MACHINE_CHANGED, message.name, profile.machine)
            if reason is not None:
                self._reject(reason, known, len(data))
                return

        # UNITS
        if message.selector is not None or not whole:
            taken, unknown = reception.units_taken(message, self.spec.units, data)
            units = [unit for unit in units if unit.number in taken]
            if unknown:
                known.state.selector_unknown = reception.count(known.state.selector_unknown)
                self.common.tell(Reason.SELECTOR_UNKNOWN, message.name, 0)
            elif not taken and message.units:
                known.state.short = reception.count(known.state.short)
                self._reject(Reason.FRAME_SHORT, known, len(data))
                return
        if known.judged:
            known.state.good = reception.count(known.state.good)

        # SIGNALS
        for index, unit, decoder in units:
            if not unit.fresh:
                unit.fresh = True
                self._fresh.append(index)
            decode_unit(decoder, data, self._touched)

        # ROUTES
        if message.routes:
            self._route(message, frame)

    def deadlines(self, now: int) -> None:
        """Run the deadlines phase of tick `now` (rule 7)."""
        if self.common.conditions_moved:
            self._enable_clocks(now)
        if self._fresh:
            self._refresh_units(now)
        if self.protected:
            self._pass_time()
        if now >= self._next_expiry:
            self._expire_units(now)

    def evaluate_quantities(self) -> None:
        """Work out the quantities whose sources changed, or whose hold or return is running."""
        store = self.common.store
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
                self.common.tell(Reason.QUANTITY_RETURNED, spec.name, former)
        elif origin not in (ORIGIN_INITIAL, ORIGIN_HELD):
            self.common.tell(Reason.QUANTITY_SUBSTITUTED, spec.name, origin)

    def _enable_clocks(self, now: int) -> None:
        """Start and stop the supervision clocks by their conditions."""
        for clock, state in self._clock_pairs:
            enabled = self.common.holds(clock.condition)
            if state.enabled and not enabled:
                for unit in clock.units:
                    self.common.tell(Reason.SUPERVISION_OFF, self.spec.units[unit].name, 0)
            if enabled and not state.enabled:
                for entry in self.protected:
                    if self.clocks[entry.spec.clock] is state:
                        profiles.begin(entry.state)
            reception.enable(clock, state, enabled, now, self.units, self._unit_changed)
        self._next_expiry = now

    def _refresh_units(self, now: int) -> None:
        """Give the units that were received age 0."""
        for index in self._fresh:
            clock = self._unit_clocks[index]
            reception.refresh(index, self.units[index], clock, now, self._unit_changed)
            if clock.next_expiry < self._next_expiry and clock.enabled:
                self._next_expiry = clock.next_expiry
        self._fresh.clear()

    def _pass_time(self) -> None:
        """Let a tick pass for the profiles: a period without a frame is a check for itself."""
        for message, spec, state in self.protected:
            machine = state.machine
            if profiles.pass_time(spec, state, self.clocks[spec.clock].enabled):
                self.common.tell(Reason.NO_NEW_DATA, message.name, state.result)
                if state.machine != machine:
                    self.common.tell(Reason.MACHINE_CHANGED, message.name, state.machine)

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
        self.common.store.touched.update(self._unit_quantities[index])
        if state.status == UNIT_FRESH:
            if former == reception.UNIT_STALE:
                self.common.tell(Reason.UNIT_RECOVERED, spec.name, 0)
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
            self.common.tell(Reason.UNIT_LOST, spec.name, former)
        else:
            self.common.tell(Reason.SUPERVISION_ON, spec.name, former)

    def _reject(self, reason: Reason, known: Known, length: int) -> None:
        """Count a rejected frame for the faults that judge frame by frame, and tell why."""
        if known.judged:
            known.state.bad = reception.count(known.state.bad)
        self.common.tell(reason, known.spec.name, length)

    def _reject_unknown(self, frame: Frame) -> None:
        """Count a frame that belongs to no received message."""
        counts = self.bus_counts[frame.bus]
        if frame[:3] in self._own_keys:
            counts.second_sender = reception.count(counts.second_sender)
            self.common.lines[frame.bus].seen |= 1 << BusEvent.SECOND_SENDER
            self.common.tell(Reason.SECOND_SENDER, BUS_NAMES[frame.bus], frame.identifier)
        else:
            counts.unknown = reception.count(counts.unknown)
            self.common.tell(Reason.FRAME_UNKNOWN, BUS_NAMES[frame.bus], frame.identifier)

    def look_at_everything(self) -> None:
        """Take no shortcut in the next tick; part of every reset and restore."""
        self._next_expiry = 0
        for clock in self.clocks:
            clock.next_expiry = 0
        for decoder in self._decoders:
            decoder.word = NO_WORD
        self.common.store.touched.update(
            index for index, quantity in enumerate(self.spec.quantities) if quantity.sources
        )

    def settle(self) -> None:
        """Write the closed forms of the fields that move on idle ticks."""
        for index, unit in enumerate(self.units):
            reception.settle(self._unit_clocks[index], unit, self.common.now)

    def resume(self) -> None:
        """Take up restored state; everything has to be looked at afterwards."""
        for spec, clock in self._clock_pairs:
            reception.resume(spec, clock, self.units, self.common.now)
        self._fresh = [index for index, unit in enumerate(self.units) if unit.fresh]
