"""From quantities to frames: the sending half of the engine (rules 12 and 13).

When to look at a message again is kept in a calendar, tick number to messages, so that a tick looks
only at messages that may be due.
"""

from typing import NamedTuple

from xlate_core import transmission
from xlate_core.buses import BusCommand
from xlate_core.events import Reason
from xlate_core.frames import Frame
from xlate_core.interface import Common
from xlate_core.reception import NO_CONDITION, MessageSpec, count
from xlate_core.transmission import RouteState, TransmitSpec, TransmitState

SILENT: tuple[tuple[Frame, ...], tuple[Frame, ...]] = ((), ())


class Follower(NamedTuple):
    """A sent message that depends on a quantity: which packs, and whether it is packed at once."""

    message: int
    packs: tuple[int, ...]
    at_once: bool


class Sender:
    """Routes and sent messages of one engine."""

    __slots__ = (
        "_calendar",
        "_conditional",
        "_routing",
        "common",
        "eager",
        "routes",
        "spec",
        "transmits",
        "unpacked",
        "watched",
    )

    _calendar: dict[int, set[int]]

    def __init__(self, common: Common) -> None:
        """Build the sending half in its reset state."""
        spec = self.spec = common.spec
        self.common = common
        self.transmits = [self._first_slot(message) for message in spec.transmits]
        self.routes = [RouteState() for _ in spec.routes]
        self.watched = frozenset(i for i, slot in enumerate(spec.transmits) if slot.watched)
        self.eager: set[int] = set()
        self.unpacked: set[int] = set()
        self._conditional = {
            i for i, message in enumerate(spec.transmits) if message.condition != NO_CONDITION
        }
        self._routing = False
        self._calendar = {}

    def route(self, message: MessageSpec, frame: Frame) -> None:
        """Keep an accepted frame for this tick's transmission phase."""
        for route in message.routes:
            if not transmission.enqueue(self.spec.routes[route], self.routes[route], frame):
                self.common.tell(Reason.QUEUE_OVERFLOW, self.spec.routes[route].name, 0)
        self._routing = True

    def note(self, followers: tuple[Follower, ...]) -> None:
        """Note that a quantity changed: its messages are packed anew, at once or when due."""
        for index, packs, at_once in followers:
            self.transmits[index].open.update(packs)
            (self.eager if at_once else self.unpacked).add(index)

    def followers(self, quantity: int) -> tuple[Follower, ...]:
        """Return the messages to note when a quantity changed."""
        return tuple(
            Follower(
                index,
                tuple(
                    number
                    for number, pack in enumerate(self.spec.transmits[index].packs)
                    if pack.quantity == quantity
                ),
                index in self.watched,
            )
            for index in self.spec.quantities[quantity].senders
        )

    def transmit(self) -> tuple[tuple[Frame, ...], tuple[Frame, ...]]:
        """Hand over routed frames, then the messages due in the listed order."""
        now = self.common.now
        looked_at = self._calendar.pop(now, None)
        if not (looked_at or self.eager or self._routing or self.common.conditions_moved):
            return SILENT
        frames: tuple[list[Frame], list[Frame]] = ([], [])

        # ROUTES
        if self._routing:
            self._routing = False
            for route in self.routes:
                for frame in route.waiting:
                    if self.common.commands[frame.bus] == BusCommand.NORMAL:
                        frames[frame.bus].append(frame)
                    else:
                        line = self.common.lines[frame.bus]
                        line.discarded = count(line.discarded)
                route.waiting.clear()

        # VALUES: a message that answers changes or loss at once is packed at once
        if self.eager:
            for index in sorted(self.eager):
                self._pack(index)
            looked_at = self.eager if looked_at is None else looked_at | self.eager
            self.eager = set()
        if self.common.conditions_moved:
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
            if not self.common.holds(spec.condition):
                slot.started = False
                return
            if not slot.started:
                transmission.start(spec, slot, now)
        if transmission.is_due(spec, slot, now) and self.common.may_send(spec.key.bus):
            if index in self.unpacked:
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
        self.unpacked.discard(index)
        transmission.pack(spec, slot, self.common.store)
        stopped = transmission.source_lost(spec, self.common.store)
        if stopped != slot.stopped:
            slot.stopped = stopped
            reason = Reason.SENDING_STOPPED if stopped else Reason.SENDING_RESUMED
            self.common.tell(reason, spec.name, 0)

    def look_at_bus(self, bus: int) -> None:
        """Look at the messages of a bus that may send again: the newest values leave."""
        reopened = {i for i, message in enumerate(self.spec.transmits) if message.key.bus == bus}
        now = self.common.now
        self._calendar[now] = self._calendar.get(now, set()) | reopened

    def look_at_everything(self) -> None:
        """Take no shortcut in the next tick; part of every reset and restore."""
        everything = set(range(len(self.spec.transmits)))
        for spec, slot in zip(self.spec.transmits, self.transmits, strict=True):
            transmission.clear_slot(spec, slot)
        self._calendar = {self.common.now: everything}
        self.unpacked = everything - self.watched
        self.eager = set(self.watched)

    def settle(self) -> None:
        """Write the closed forms of the fields that move on idle ticks."""
        for spec, slot in zip(self.spec.transmits, self.transmits, strict=True):
            transmission.settle(spec, slot, self.common.now)

    def resume(self) -> None:
        """Take up restored state; everything has to be looked at afterwards."""
        for spec, slot in zip(self.spec.transmits, self.transmits, strict=True):
            transmission.resume(spec, slot, self.common.now)

    def _first_slot(self, spec: TransmitSpec) -> TransmitState:
        """Return the reset state of a sent message: "changed" is judged against reset values."""
        slot = TransmitState(counter=0 if spec.counter is None else spec.counter.before_first)
        transmission.clear_slot(spec, slot)
        transmission.pack(spec, slot, self.common.store)
        slot.last = slot.payload
        slot.stopped = transmission.source_lost(spec, self.common.store)
        if transmission.is_unconditional(spec):
            transmission.start(spec, slot, 0)
        return slot
