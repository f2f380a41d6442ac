"""A line of a given rate and latency in software, for anything about line rate.

Octets leave one after the other at the line's rate and arrive a latency later, each way. Emulators
do not model a rate and TCP has none, so figures about a real line are measured through this.
"""

import time
from collections import deque

from hil.link.port import Port

OCTET_BITS = 10  # start, 8 data, stop
PIECE = 64


class PacedPort:
    """A port whose octets take their time."""

    def __init__(self, port: Port, baud: int, latency_s: float) -> None:
        """Put a line's time around a port; `latency_s` is one way."""
        self.name = port.name
        self.octets_out = 0
        self.octets_in = 0
        self._port = port
        self._octet_s = OCTET_BITS / baud
        self._latency_s = latency_s
        self._out: deque[tuple[float, bytes]] = deque()
        self._in: deque[tuple[float, bytes]] = deque()
        self._out_free = self._in_free = 0.0

    def write(self, octets: bytes) -> None:
        """Put octets on the line."""
        self.octets_out += len(octets)
        self._out_free = self._put(self._out, octets, self._out_free)
        self._forward()

    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived by now."""
        end = time.perf_counter() + timeout_s
        while True:
            self._forward()
            now = time.perf_counter()
            arrived = []
            while self._in and self._in[0][0] <= now:
                arrived.append(self._in.popleft()[1])
            if arrived or now >= end:
                octets = b"".join(arrived)
                self.octets_in += len(octets)
                return octets
            wait = min(
                [end - now] + [queue[0][0] - now for queue in (self._out, self._in) if queue]
            )
            self._take(self._port.read(max(wait, 0)))

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def _put(self, queue: deque[tuple[float, bytes]], octets: bytes, free: float) -> float:
        """Queue octets behind what is on the line; return when the line is free again."""
        free = max(free, time.perf_counter())
        for place in range(0, len(octets), PIECE):
            piece = octets[place : place + PIECE]
            free += len(piece) * self._octet_s
            queue.append((free + self._latency_s, piece))
        return free

    def _take(self, octets: bytes) -> None:
        """Put what the board sent on its line."""
        if octets:
            self._in_free = self._put(self._in, octets, self._in_free)

    def _forward(self) -> None:
        """Hand the board what has arrived there, and take what it says."""
        now = time.perf_counter()
        due = []
        while self._out and self._out[0][0] <= now:
            due.append(self._out.popleft()[1])
        if due:
            self._port.write(b"".join(due))
        self._take(self._port.read(0))
