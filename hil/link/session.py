"""A session with a board: hello, requests in flight, replies in order, repeats, restarts noticed.

One loop, no thread: whoever wants a reply pumps. Every wait is bounded: without progress for
`timeout_s` the session ends with an error that says whose fault it looks like.
"""

import secrets
import time
import zlib
from collections import deque
from typing import Any

from construct import ConstructError

from hil.boards.interface import (
    BoardError,
    BoardProtocolError,
    BoardResetError,
    BoardTimeoutError,
)
from hil.link import layouts
from hil.link.framing import DELIMITER, OVERHEAD, Decoder, Packet, encode, line_octets
from hil.link.greeting import (
    SPARE,
    Counts,
    Hello,
    Reply,
    Timing,
    read_identity,
    refusal,
    restarted,
    silence,
)
from hil.link.layouts import FROM_BOARD, LAST, LINK_VERSION, SEQUENCED, Kind
from hil.link.port import Port
from hil.link.window import WRAP, HostWindow, Taken

__all__ = ["Counts", "Hello", "Reply", "Session", "Timing"]


class Session:
    """A session over an open port."""

    def __init__(self, port: Port, timing: Timing | None = None) -> None:
        """Take a port; `hello` begins."""
        self.port = port
        self.timing = timing or Timing()
        self.counts = Counts()
        self.hello_said: Hello | None = None
        self.failed = False
        self._nonce = secrets.randbelow(WRAP - 1) + 1
        self._decoder = Decoder()
        self._window = HostWindow(1, 512)
        self._queue: deque[tuple[int, bytes]] = deque()
        self._in_flight: deque[tuple[int, int, bytes]] = deque()
        self._checks: deque[int] = deque()
        self._requests_check = 0
        self._replies_check = 0
        self._replies: deque[Reply] = deque()
        self._acknowledged = 0
        self._ticks = -1

    # OPENING

    def hello(self) -> Hello:
        """Open the session; raises BoardTimeoutError when nobody answers."""
        end = time.monotonic() + self.timing.hello_s
        wait = self.timing.first_hello_s
        hello = encode(
            Packet(Kind.HELLO, 0, self._nonce, 0, 0, layouts.HELLO.build({"link": LINK_VERSION}))
        )
        while True:
            self._write(DELIMITER + hello)
            until = min(end, time.monotonic() + wait)
            while (left := until - time.monotonic()) > 0:
                for packet in self._decoder.feed(self.port.read(left)):
                    if packet.kind == Kind.IDENTITY and packet.nonce == self._nonce:
                        return self._said(packet)
            if time.monotonic() >= end:
                raise BoardTimeoutError(
                    silence(self.port.name, self.timing.hello_s, self._decoder.octets)
                )
            wait = min(2 * wait, 1.0)

    def _said(self, packet: Packet) -> Hello:
        """Take up what the board said of itself."""
        self.hello_said = hello = read_identity(packet, self.port.name)
        self._window = HostWindow(hello.slots, hello.ring - SPARE)
        return hello

    # REQUESTS AND REPLIES

    @property
    def room(self) -> int:
        """Payload octets that one packet holds."""
        assert self.hello_said is not None
        return self.hello_said.packet_octets - OVERHEAD

    @property
    def backlog(self) -> int:
        """Requests queued here that the window does not let out yet."""
        return len(self._queue)

    @property
    def open_requests(self) -> int:
        """Requests queued or on the way, of which the board has not yet said that it has them."""
        return len(self._queue) + len(self._in_flight)

    @property
    def idle(self) -> bool:
        """Whether nothing is queued, in flight or unread."""
        return not self._queue and self._window.idle and not self._replies

    def submit(self, kind: int, payload: bytes) -> None:
        """Queue a request; it leaves with the next pump."""
        self._queue.append((kind, payload))

    def next_reply(self) -> Reply:
        """Return the next reply, waiting for it.

        Raises BoardError when none can come; the session has `failed` then.
        """
        try:
            self._send()
            if not self._replies:
                if self._window.idle:
                    raise BoardProtocolError(f"{self.port.name}: no request is open")
                self._wait()
        except BoardError:
            self.failed = True
            raise
        return self._replies.popleft()

    def pump(self) -> None:
        """Send what the window lets out and take what has arrived, without waiting."""
        self._send()
        self._take(self.port.read(0))

    def poll_replies(self, timeout_s: float) -> list[Reply]:
        """Return replies that come within a time although no request is open: a free run's."""
        self._send()
        self._take(self.port.read(timeout_s))
        found = list(self._replies)
        self._replies.clear()
        return found

    def drain(self) -> None:
        """Wait until every request is done with; the replies are dropped."""
        while not self.idle:
            self.next_reply()

    def restart_board(self) -> None:
        """Have the board restart as a reset does; the session is over."""
        self._control(Kind.RESTART)

    def status(self) -> dict[str, int]:
        """Ask for what the board counted; returns the newest status."""
        self.counts.board.clear()
        end = time.monotonic() + self.timing.timeout_s
        while not self.counts.board:
            self._control(Kind.POLL)
            self._take(self.port.read(self.timing.patience_s))
            if not self.counts.board and time.monotonic() > end:
                raise BoardTimeoutError(f"{self.port.name}: no status from the board")
        return dict(self.counts.board)

    # THE LOOP

    def _wait(self) -> None:
        """Wait until there is a reply."""
        quiet_since = started = time.monotonic()
        damaged, octets = self._decoder.damaged, self._decoder.octets
        while not self._replies:
            self._send()
            if self._take(self.port.read(self.timing.patience_s)):
                quiet_since = started = time.monotonic()
                continue
            now = time.monotonic()
            if now - started > self.timing.timeout_s:
                self._give_up(self._decoder.damaged - damaged, self._decoder.octets - octets)
            if now - quiet_since >= self.timing.patience_s:
                self._window.timer()
                self._control(Kind.POLL)
                self.counts.polls += 1
                quiet_since = now

    def _give_up(self, damaged: int, octets: int) -> None:
        """Raise what a time without progress looks like."""
        waited = f"for {self.timing.timeout_s:g} s"
        if damaged:
            raise BoardProtocolError(
                f"{self.port.name}: nothing whole arrived {waited}, but {damaged} damaged packets "
                f"({octets} octets)"
            )
        if octets:
            raise BoardTimeoutError(
                f"{self.port.name}: the board answers polls but did not go on {waited}"
            )
        raise BoardTimeoutError(f"{self.port.name}: silent {waited} in the middle of a run")

    def _send(self) -> None:
        """Send what the window lets out, or acknowledge alone when many replies wait for it."""
        window = self._window
        out: list[bytes] = []
        while self._queue and window.may_send(line_octets(len(self._queue[0][1]))):
            kind, payload = self._queue.popleft()
            number = window.send(line_octets(len(payload)))
            self._in_flight.append((number, kind, payload))
            register = zlib.crc32(payload, zlib.crc32(bytes((kind, 0)), self._requests_check))
            self._requests_check = register
            self._checks.append(register)
            out.append(self._framed(number, kind, payload))
        if out:
            self._write(b"".join(out))
            self.counts.packets_sent += len(out)
        elif window.expected - self._acknowledged >= window.acknowledge_at:
            self._control(Kind.ACKNOWLEDGE)

    def _framed(self, number: int, kind: int, payload: bytes) -> bytes:
        """Return a request as it goes out now."""
        self._acknowledged = self._window.expected
        return encode(
            Packet(kind, 0, self._nonce, number % WRAP, self._acknowledged % WRAP, payload)
        )

    def _control(self, kind: Kind) -> None:
        """Send a packet without a number, after a delimiter that ends whatever was torn."""
        self._write(DELIMITER + self._framed(self._window.sent, kind, b""))

    def _write(self, octets: bytes) -> None:
        """Hand octets to the port."""
        self.counts.octets_sent += len(octets)
        self.port.write(octets)

    def _take(self, octets: bytes) -> bool:
        """Take octets off the line; return whether anything moved on."""
        moved = False
        for packet in self._decoder.feed(octets):
            self.counts.packets_received += 1
            if packet.nonce != self._nonce:
                self._stranger(packet)
                continue
            moved |= self._window.acknowledged(packet.acknowledge)
            if not packet.kind & FROM_BOARD:
                continue
            if packet.kind & ~FROM_BOARD >= SEQUENCED:
                moved |= self._reply(packet)
            elif packet.kind == Kind.STATUS:
                moved |= self._status(packet)
        received = self._window.received
        while self._in_flight and self._in_flight[0][0] < received:
            self._in_flight.popleft()
        return moved

    def _reply(self, packet: Packet) -> bool:
        """Take a numbered reply."""
        last = bool(packet.flags & LAST)
        taken = self._window.reply(packet.sequence, last)
        if taken is Taken.GAP and self._window.should_poll():
            self._control(Kind.POLL)
            self.counts.polls += 1
        if taken is not Taken.DELIVERED:
            return False
        requests_check = self._checks[0] if self._checks else 0
        reply = Reply(packet.kind, packet.payload, last, requests_check, self._replies_check)
        head = zlib.crc32(bytes((packet.kind, packet.flags)), self._replies_check)
        self._replies_check = zlib.crc32(packet.payload, head)
        if last and self._checks:
            self._checks.popleft()
        self._replies.append(reply)
        if packet.kind == Kind.REFUSED:
            raise BoardProtocolError(refusal(packet, self.port.name))
        return True

    def _status(self, packet: Packet) -> bool:
        """Take a status: send again what the board does not have."""
        try:
            said: Any = layouts.STATUS.parse(packet.payload)
        except ConstructError:
            return False
        self.counts.board = {
            str(name): int(value) for name, value in said.items() if not str(name).startswith("_")
        }
        if self.hello_said is not None and said.boots != self.hello_said.boots:
            raise BoardResetError(
                restarted(self.port.name, self.hello_said, said.boots, said.cause)
            )
        again = self._window.should_resend()
        for number, kind, payload in self._in_flight:
            if number in again:
                self._write(self._framed(number, kind, payload))
                self.counts.repeated_requests += 1
        moved = self._ticks not in (said.ticks, -1)
        self._ticks = said.ticks
        return moved

    def _stranger(self, packet: Packet) -> None:
        """Take a packet of another session: after a restart of the board it knows ours no more."""
        self.counts.strangers += 1
        layout = {Kind.BANNER: layouts.IDENTITY, Kind.STATUS: layouts.STATUS}.get(packet.kind)  # type: ignore[call-overload]
        if layout is None or self.hello_said is None:
            return
        try:
            said: Any = layout.parse(packet.payload)
        except ConstructError:
            return
        # The banner of the start that hello found may come late, and is none of a restart.
        again = said.boots != self.hello_said.boots
        if again or (packet.kind == Kind.STATUS and packet.nonce == 0):
            raise BoardResetError(
                restarted(self.port.name, self.hello_said, said.boots, said.cause)
            )
        if packet.kind == Kind.STATUS:
            raise BoardError(
                f"{self.port.name}: another program opened a session with the board meanwhile"
            )
