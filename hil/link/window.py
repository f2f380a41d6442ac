"""The window protocol alone: numbers in, decisions out, no octets and no clock.

`HostWindow` is what the session uses. `BoardWindow` says what firmware/link/session.c does, in the
same words; the tests play both against each other through every loss, repetition and restart.

- Requests are numbered; the board takes them in order, each once, and executes them in order.
- Replies are numbered too; the board keeps them until they are acknowledged. Exactly one reply of
  a request is marked as its last.
- Every packet acknowledges: it names the number its sender expects next from the other side.
- Whoever sees a gap says so once: the board with a status, the host with a poll. What is lost
  without a gap behind it is found by the host's timer, which polls. A poll has the board send every
  unacknowledged reply again, then its status; a status has the host send every request again that
  the board does not have.
"""

from collections import deque
from dataclasses import dataclass, field
from enum import Enum

WRAP = 1 << 16
HALF = WRAP // 2


def unwrap(wire: int, near: int) -> int:
    """Return the number nearest to `near` that shows as `wire` on the line."""
    distance = (wire - near) % WRAP
    return near + distance - (WRAP if distance >= HALF else 0)


class Taken(Enum):
    """What a reply was."""

    DELIVERED = "delivered"
    REPEATED = "repeated"
    GAP = "gap"


@dataclass(slots=True)
class HostWindow:
    """The host's side. Numbers do not wrap here; on the line they are taken modulo 65536.

    - `sent` requests went out, `received` of them the board has, `completed` are done with;
    - `expected` is the number of the next reply;
    - `waiting` holds (number, octets on the line) of requests the board may not have;
    - `polled` and `resent` remember for which gap a poll went out or requests were sent again, so
      that one gap is answered once; the timer clears them.
    """

    slots: int
    ring: int
    sent: int = 0
    received: int = 0
    completed: int = 0
    expected: int = 0
    waiting: deque[tuple[int, int]] = field(default_factory=deque)
    on_the_way: int = 0
    polled: int = -1
    resent: int = -1

    def may_send(self, octets: int) -> bool:
        """Return whether one more request of so many octets fits window and ring."""
        if self.sent - self.completed >= self.slots:
            return False
        return not self.waiting or self.on_the_way + octets <= self.ring

    def send(self, octets: int) -> int:
        """Take up a request; return its number."""
        number = self.sent
        self.sent += 1
        self.waiting.append((number, octets))
        self.on_the_way += octets
        return number

    def acknowledged(self, wire: int) -> bool:
        """The board has every request below a number; return whether that is news."""
        number = unwrap(wire, self.received)
        if not self.received < number <= self.sent:
            return False
        self.received = number
        while self.waiting and self.waiting[0][0] < number:
            self.on_the_way -= self.waiting.popleft()[1]
        return True

    def reply(self, wire: int, last: bool) -> Taken:
        """Take a reply's number; the session delivers it when it is the expected one."""
        number = unwrap(wire, self.expected)
        if number < self.expected:
            return Taken.REPEATED
        if number > self.expected:
            return Taken.GAP
        self.expected += 1
        self.completed += last
        return Taken.DELIVERED

    def should_poll(self) -> bool:
        """After a gap: return whether to poll, once for each gap."""
        if self.polled == self.expected:
            return False
        self.polled = self.expected
        return True

    def should_resend(self) -> range:
        """After a status: return the numbers of the requests to send again, once for each gap."""
        if self.received == self.sent or self.resent == self.received:
            return range(0)
        self.resent = self.received
        return range(self.received, self.sent)

    def timer(self) -> None:
        """Nothing moved for a while: what was answered once may be answered again."""
        self.polled = self.resent = -1

    @property
    def acknowledge_at(self) -> int:
        """How many replies may wait for a request to acknowledge them: half of the slots."""
        return max(self.slots // 2, 1)

    @property
    def idle(self) -> bool:
        """Whether every request is done with."""
        return self.completed == self.sent


@dataclass(slots=True)
class BoardWindow:
    """The board's side, as in session.c; numbers unwrapped, replies by number with their mark.

    `expected` is the next request, `working` the one being executed, `replies` what is kept from
    number `reply_base` on.
    """

    slots: int
    expected: int = 0
    working: int = 0
    reply_base: int = 0
    replies: deque[bool] = field(default_factory=deque)
    gap_told: bool = False

    def acknowledged(self, wire: int) -> None:
        """The host has every reply below a number: they need not be kept."""
        number = unwrap(wire, self.reply_base)
        if self.reply_base <= number <= self.reply_base + len(self.replies):
            for _ in range(number - self.reply_base):
                self.replies.popleft()
            self.reply_base = number

    def request(self, wire: int) -> bool:
        """Take a request's number; return whether the host has to be told of a gap."""
        number = unwrap(wire, self.expected)
        if number < self.expected:
            return False
        if number > self.expected:
            tell, self.gap_told = not self.gap_told, True
            return tell
        if self.expected - self.working < self.slots:
            self.expected += 1
            self.gap_told = False
        return False

    def may_work(self) -> bool:
        """Return whether a request waits and there is a place for its reply."""
        return self.working < self.expected and len(self.replies) < self.slots

    def work(self, last: bool) -> int:
        """Make one reply of the request whose turn it is; return the reply's number."""
        self.replies.append(last)
        self.working += last
        return self.reply_base + len(self.replies) - 1
