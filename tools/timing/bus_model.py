"""A discrete-event model of one CAN bus: arbitration, frame lengths, error frames.

Times are integers in nanoseconds. Every node always offers its most urgent frame, as a controller
with several mailboxes does whose driver takes back the least urgent one. A frame takes its exact
number of bits, interframe space included; a disturbed one is broken off somewhere, then comes the
error frame and it goes again. Nothing here knows of the analysis it is held against.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Any

from tools.timing.frame_bits import ERROR_RECOVERY_BITS, INTERFRAME_BITS
from tools.timing.response import Stream

NANO = 1_000_000_000
Priority = tuple[int, int, int]


@dataclass(frozen=True, slots=True, order=True)
class Offer:
    """A frame that wants the bus: the arbitration looks at priority, then at who came first."""

    priority: Priority
    number: int
    bits: int = field(compare=False)
    queued_at: int = field(compare=False)
    load: Any = field(compare=False)


@dataclass(frozen=True, slots=True)
class Passed:
    """A frame that was on the bus; `ended_at` is the end of its last bit, before the space."""

    offer: Offer
    began_at: int
    ended_at: int


class BusModel:
    """One bus. The caller moves time: `offer` frames, then `advance` to the next instant.

    `errors` is asked at the start of every frame after how many of its bits it is disturbed; None
    = not at all.
    """

    __slots__ = ("_current", "_ends_at", "_free_at", "_number", "_offers", "bit_ns", "errors")

    def __init__(self, bit_rate: int, errors: Callable[[Offer, int], int | None] | None = None):
        """Build an idle bus."""
        self.bit_ns = NANO // bit_rate
        self.errors = errors
        self._offers: list[Offer] = []
        self._current: tuple[Offer, int, int | None] | None = None
        self._ends_at = 0
        self._free_at = 0
        self._number = 0

    def offer(self, priority: Priority, bits: int, now: int, load: Any) -> None:
        """Queue a frame."""
        self._number += 1
        heappush(self._offers, Offer(priority, self._number, bits, now, load))

    def withdraw(self, load_is: Callable[[Any], bool]) -> bool:
        """Take back queued frames; False when there is none, or it is on the bus already."""
        kept = [one for one in self._offers if not load_is(one.load)]
        if len(kept) == len(self._offers):
            return False
        kept.sort()
        self._offers = kept
        return True

    def next_instant(self) -> int | None:
        """Return when `advance` has something to do, or None while nothing is queued."""
        if self._current is not None:
            return self._ends_at
        return self._free_at if self._offers else None

    def advance(self, now: int) -> Passed | None:
        """End what ends at `now` and return it; start the winner of the arbitration."""
        passed = None
        if self._current is not None and now >= self._ends_at:
            offer, began, disturbed = self._current
            self._current = None
            if disturbed is None:
                passed = Passed(offer, began, self._ends_at)
            else:
                heappush(self._offers, offer)
        if self._current is None and self._offers and now >= self._free_at:
            offer = heappop(self._offers)
            disturbed = self.errors(offer, now) if self.errors is not None else None
            bits = offer.bits if disturbed is None else disturbed + ERROR_RECOVERY_BITS
            self._current = (offer, now, disturbed)
            self._free_at = now + bits * self.bit_ns
            space = 0 if disturbed is not None else INTERFRAME_BITS * self.bit_ns
            self._ends_at = self._free_at - space
        return passed


def run(
    bit_rate: int,
    releases: Iterable[tuple[int, Stream]],
    errors: Callable[[Offer, int], int | None] | None = None,
) -> list[tuple[Stream, int, int]]:
    """Put frames on a bus at their instants (ns); return (stream, queued, end with space) each."""
    bus = BusModel(bit_rate, errors)
    waiting = sorted(releases, key=lambda one: one[0])
    found: list[tuple[Stream, int, int]] = []
    place = now = 0
    while True:
        upcoming = [waiting[place][0]] if place < len(waiting) else []
        instant = bus.next_instant()
        if instant is not None:
            upcoming.append(max(instant, now))
        if not upcoming:
            return found
        now = min(upcoming)
        while place < len(waiting) and waiting[place][0] == now:
            stream = waiting[place][1]
            bus.offer(stream.priority, stream.bits, now, stream)
            place += 1
        passed = bus.advance(now)
        if passed is not None:
            ended = passed.ended_at + INTERFRAME_BITS * bus.bit_ns
            found.append((passed.offer.load, passed.offer.queued_at, ended))
