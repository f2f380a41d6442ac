"""The bridge's transmit mailboxes on one modelled bus.

A controller of the kind on the board has three. What they cannot hold waits in the driver's queue,
the most urgent first. A frame that is more urgent than what lies in the mailboxes takes the place
of the least urgent one, which goes back to the queue; what is on the bus already stays. Queue and
mailboxes together therefore offer the most urgent frame there is to every arbitration, as the
analysis of the bus assumes.
"""

from dataclasses import dataclass
from typing import Any

from tools.timing.bus_model import BusModel, Priority

MAILBOXES = 3


@dataclass(frozen=True, slots=True)
class Waiting:
    """A frame handed over; sorted by who is more urgent, then by who came first."""

    priority: Priority
    number: int
    bits: int
    slot: str
    load: Any

    @property
    def order(self) -> tuple[Priority, int]:
        """What frames are sorted by."""
        return self.priority, self.number


class Mailboxes:
    """Queue and mailboxes of one node; tell it of every frame of its own that has passed."""

    __slots__ = ("_bus", "_count", "_loaded", "_number", "_queue")

    def __init__(self, bus: BusModel, count: int = MAILBOXES) -> None:
        """Build empty mailboxes."""
        self._bus = bus
        self._count = count
        self._number = 0
        self._queue: list[Waiting] = []
        self._loaded: list[Waiting] = []

    def hand_over(self, priority: Priority, bits: int, now: int, load: Any, slot: str = "") -> None:
        """Take a frame; with a slot, what still waits in the same slot is overwritten."""
        if slot:
            self._queue = [one for one in self._queue if one.slot != slot]
            for one in list(self._loaded):
                if one.slot == slot:
                    self._take_back(one)
        self._number += 1
        self._queue.append(Waiting(priority, self._number, bits, slot, load))
        self._fill(now)

    def passed(self, load: Any, now: int) -> None:
        """One of our frames was on the bus: its mailbox is free."""
        self._loaded = [one for one in self._loaded if one.load is not load]
        self._fill(now)

    def _take_back(self, one: Waiting) -> bool:
        """Empty a mailbox; False when its frame is on the bus."""
        if not self._bus.withdraw(lambda load: load is one.load):
            return False
        self._loaded.remove(one)
        return True

    def _fill(self, now: int) -> None:
        self._queue.sort(key=lambda one: one.order)
        while self._queue and (len(self._loaded) < self._count or self._make_room()):
            first = self._queue.pop(0)
            self._loaded.append(first)
            self._bus.offer(first.priority, first.bits, now, first.load)

    def _make_room(self) -> bool:
        """Put the least urgent loaded frame back when the queue has a more urgent one."""
        for one in sorted(self._loaded, key=lambda loaded: loaded.order, reverse=True):
            if one.order < self._queue[0].order:
                return False
            if self._take_back(one):
                self._queue.append(one)
                self._queue[1:] = sorted(self._queue[1:], key=lambda waiting: waiting.order)
                return True
        return False
