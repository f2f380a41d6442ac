"""The window protocol: every interleaving of loss, repetition and restart, a state at a time.

The line keeps order. From every state every step that can happen is taken: the host sends, the
board works, a packet arrives, is lost, or is repeated, the board restarts, the host's timer fires.
States seen before are not entered again, so the exploration covers all interleavings.
"""

from copy import deepcopy
from dataclasses import dataclass, field

import pytest

from hil.link.window import BoardWindow, HostWindow, Taken, unwrap

WHOLE = 65536
Packet = tuple[str, int, int, bool]  # kind, number, acknowledge, last; numbers as on the line


@dataclass
class World:
    """Host, board and what is on the way between them."""

    requests: int
    replies_each: int
    host: HostWindow
    board: BoardWindow
    there: list[Packet] = field(default_factory=list)
    back: list[Packet] = field(default_factory=list)
    faults: int = 0
    restarts: int = 0
    part: int = 0  # replies made of the request being executed
    alive: bool = True  # whether the board knows the session
    told: bool = False  # the host knows of a restart
    queued: list[int] = field(default_factory=list)  # requests the board took, as they are
    executed: list[int] = field(default_factory=list)
    delivered: list[tuple[int, bool]] = field(default_factory=list)

    def key(self) -> str:
        return repr(self)

    @property
    def finished(self) -> bool:
        return self.told or (self.host.sent == self.requests and self.host.idle)


def host_packet(world: World, kind: str, number: int) -> Packet:
    return kind, number % WHOLE, world.host.expected % WHOLE, False


def board_packet(world: World, kind: str, number: int, last: bool) -> Packet:
    return kind, number % WHOLE, world.board.expected % WHOLE, last


def send(world: World) -> None:
    number = world.host.send(1)
    world.there.append(host_packet(world, "request", number))


def timer(world: World) -> None:
    world.host.timer()
    world.there.append(host_packet(world, "poll", world.host.sent))


def work(world: World) -> None:
    board = world.board
    world.part += 1
    last = world.part == world.replies_each
    if last:
        world.executed.append(world.queued.pop(0) if world.queued else -1)
        world.part = 0
    number = board.work(last)
    world.back.append(board_packet(world, "reply", number, last))


def arrives_at_board(world: World, packet: Packet) -> None:
    kind, number, acknowledge, _ = packet
    board = world.board
    if not world.alive:
        world.back.append(("no session", 0, 0, False))
        return
    board.acknowledged(acknowledge)
    before = board.expected
    tell = kind == "request" and board.request(number)
    if board.expected > before:
        world.queued.append(number)
    if kind == "poll":
        for place, last in enumerate(board.replies):
            world.back.append(board_packet(world, "reply", board.reply_base + place, last))
    if kind == "poll" or tell:
        world.back.append(board_packet(world, "status", 0, False))


def arrives_at_host(world: World, packet: Packet) -> None:
    kind, number, acknowledge, last = packet
    host = world.host
    if kind == "no session":
        world.told = True
        return
    host.acknowledged(acknowledge)
    if kind == "status":
        for again in host.should_resend():
            world.there.append(host_packet(world, "request", again))
        return
    expected = host.expected
    taken = host.reply(number, last)
    if taken is Taken.DELIVERED:
        world.delivered.append((expected, last))
    elif taken is Taken.GAP and host.should_poll():
        world.there.append(host_packet(world, "poll", host.sent))


def restart(world: World) -> None:
    world.alive = False
    world.restarts += 1
    world.board = BoardWindow(world.board.slots)


def followers(world: World, most_faults: int, most_restarts: int) -> list[World]:
    found: list[World] = []

    def after(change: str, side: str = "") -> None:
        other = deepcopy(world)
        if change == "send":
            send(other)
        elif change == "timer":
            timer(other)
        elif change == "work":
            work(other)
        elif change == "restart":
            restart(other)
        else:
            line = other.there if side == "there" else other.back
            packet = line.pop(0)
            if change != "arrive":
                other.faults += 1
            if change == "repeat":
                line.insert(0, packet)
            if change != "lose":
                (arrives_at_board if side == "there" else arrives_at_host)(other, packet)
        found.append(other)

    if world.finished:
        return found
    if world.host.sent < world.requests and world.host.may_send(1):
        after("send")
    for side in ("there", "back"):
        if getattr(world, side):
            after("arrive", side)
            if world.faults < most_faults:
                after("lose", side)
                after("repeat", side)
    if world.alive and world.board.may_work():
        after("work")
    if world.alive and world.restarts < most_restarts and world.host.sent:
        after("restart")
    # The timer fires only when nothing moves: it is far slower than the line.
    quiet = not world.there and not world.back
    if quiet and not (world.alive and world.board.may_work()) and not world.host.idle:
        after("timer")
    return found


def explore(world: World, most_faults: int, most_restarts: int) -> tuple[int, int]:
    """Return how many states there are, and how many of them are ends.

    Asserts in every state that requests and replies are done with once and in order, and that an
    end can still be reached from it.
    """
    seen = {world.key()}
    todo = [world]
    ends = 0
    before: dict[str, list[str]] = {}
    last: list[str] = []
    while todo:
        here = todo.pop()
        assert here.executed == list(range(len(here.executed))), "each once, in order"
        assert [number for number, _ in here.delivered] == list(range(len(here.delivered)))
        sent = here.board.reply_base + len(here.board.replies)
        assert here.host.expected <= sent or not here.alive
        following = followers(here, most_faults, most_restarts)
        if here.finished:
            ends += 1
            last.append(here.key())
            if not here.told:
                assert len(here.executed) == here.requests
                assert len(here.delivered) == here.requests * here.replies_each
        else:
            assert following, "nobody can do anything: a deadlock"
        for other in following:
            key = other.key()
            before.setdefault(key, []).append(here.key())
            if key not in seen:
                seen.add(key)
                todo.append(other)
        assert len(seen) < 400_000
    reaching = set(last)
    while last:
        for key in before.get(last.pop(), ()):
            if key not in reaching:
                reaching.add(key)
                last.append(key)
    assert reaching == seen, "from some state no end can be reached"
    return len(seen), ends


def world_of(requests: int, replies_each: int, slots: int, start: int = 0) -> World:
    host = HostWindow(slots, 100, sent=start, received=start, completed=start, expected=start)
    board = BoardWindow(slots, expected=start, working=start, reply_base=start)
    return World(requests + start, replies_each, host, board)


@pytest.mark.parametrize(
    ("requests", "replies_each", "slots", "faults", "restarts"),
    [(2, 1, 2, 2, 0), (2, 2, 2, 1, 0), (3, 1, 2, 1, 0), (2, 1, 2, 1, 1), (2, 1, 1, 2, 1)],
)
def test_every_interleaving_ends_right(
    requests: int, replies_each: int, slots: int, faults: int, restarts: int
) -> None:
    states, ends = explore(world_of(requests, replies_each, slots), faults, restarts)
    assert states > 100
    assert ends > 1


@pytest.mark.parametrize("flaw", ["accepts a gap", "takes repeated requests", "forgets replies"])
def test_the_exploration_finds_a_broken_board(flaw: str, monkeypatch: pytest.MonkeyPatch) -> None:
    right = BoardWindow.request

    def request(self: BoardWindow, wire: int) -> bool:
        number = unwrap(wire, self.expected)
        if flaw == "accepts a gap" and number > self.expected:
            self.expected = number + 1
            return False
        if flaw == "takes repeated requests" and number < self.expected:
            self.working = number
            return False
        return right(self, wire)

    def acknowledged(self: BoardWindow, wire: int) -> None:
        del wire
        self.reply_base += len(self.replies)
        self.replies.clear()

    monkeypatch.setattr(BoardWindow, "request", request)
    if flaw == "forgets replies":
        monkeypatch.setattr(BoardWindow, "acknowledged", acknowledged)
    with pytest.raises(AssertionError):
        explore(world_of(2, 1, 2), 2, 0)


@pytest.mark.parametrize("near", [0, 1, 65535, 65536, 65537, 131072])
def test_numbers_unwrap_to_the_nearest(near: int) -> None:
    for distance in (-3, -1, 0, 1, 3, 32767):
        if near + distance >= 0:
            assert unwrap((near + distance) % WHOLE, near) == near + distance


def test_the_window_lets_out_no_more_than_slots_and_ring() -> None:
    host = HostWindow(slots=4, ring=100)
    assert host.may_send(1000)  # alone on the line a packet may always go
    assert host.send(60) == 0
    assert host.may_send(40)
    assert not host.may_send(41)
    host.send(40)
    assert not host.may_send(1)
    assert host.acknowledged(1)
    assert host.may_send(60)
    host.send(10)
    host.send(10)
    assert not host.may_send(1)  # four are open
    assert host.reply(0, last=True) is Taken.DELIVERED
    assert host.may_send(1)
