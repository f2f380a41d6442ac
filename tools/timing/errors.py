"""Disturbed frames in the bus model, no more of them than the analysis allows for."""

from tools.timing.bus_model import Offer
from tools.timing.frame_bits import INTERFRAME_BITS
from xlate_core.pairing.traffic import BusTraffic

MICRO_NS = 1000


def errors_at_once(said: BusTraffic) -> int:
    """Return how many frames in a row may be disturbed: with an interval at least one."""
    return max(said.errors, 1 if said.error_interval_us else 0)


class Disturbing:
    """Disturbs every frame from an instant on as long as it may.

    A store of `errors_at_once` errors gets one back every `error_interval_us`. Each hits the last
    bit of its frame, where it costs most.
    """

    __slots__ = ("_begins", "_interval", "_left", "_most", "_since", "count")

    def __init__(self, said: BusTraffic, begins: int) -> None:
        """`begins` in ns."""
        self._begins = begins
        self._most = self._left = errors_at_once(said)
        self._interval = said.error_interval_us * MICRO_NS
        self._since = begins
        self.count = 0

    def __call__(self, offer: Offer, now: int) -> int | None:
        """Return after how many bits the frame that starts now is broken off; None = it passes."""
        if now < self._begins or not self._most:
            return None
        if self._left == self._most:
            self._since = now
        elif self._interval:
            # One nanosecond late, so that no window holds one error more than it may.
            back = max(0, (now - 1 - self._since) // self._interval)
            self._left = min(self._most, self._left + back)
            self._since += back * self._interval
        if not self._left:
            return None
        if self._left == self._most:
            self._since = now
        self._left -= 1
        self.count += 1
        return offer.bits - INTERFRAME_BITS
