"""A free run: the board's own clock ticks, the host only throws stimulus in.

The board writes a journal of every input with the tick it acted on, and of what it put out. The
journal is replayed through the reference, so a free run is compared bit for bit as well. A tick
that found no room in the journal makes the run a bench fault: nothing is said about the product.
"""

import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from hil.boards.interface import BoardError, BoardProtocolError
from hil.boards.reference import ReferenceBoard
from hil.link.board import LinkBoard
from hil.link.layouts import FRAME, FRAME_ENGINE, FRAME_EXTENDED, SHORT_TICKS, Kind, Op
from hil.link.records import (
    DIGEST_REQUEST,
    RECORD,
    Digest,
    OutputReader,
    frame_record,
    input_pieces,
    input_records,
    reset_record,
    ticks_records,
)
from hil.link.session import Reply
from hil.vectors.plays import Play
from hil.vectors.records import initial
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.buses import BusInput
from xlate_core.frames import Frame

SHORTEST_LOOK_S = 0.002
MOST_OPEN = 2
"""Requests on the way at once; what comes meanwhile goes together into the next.

Every request is answered by a packet of its own, so many small ones would take the journal's slots
on a slow line.
"""


@dataclass(frozen=True, slots=True)
class FreeRunDifference:
    """The first tick whose outputs, or after all of them the digest, are not the reference's."""

    tick: int
    expected: Outputs | int
    actual: Outputs | int


@dataclass(slots=True)
class FreeRun:
    """What a free run was; `ticks` ran, of which the inputs are known by the journal."""

    ticks: int = 0
    inputs: int = 0
    frames_in: int = 0
    frames_out: int = 0
    digest: int | None = None
    difference: FreeRunDifference | None = None


class Replay:
    """Takes the journal tick by tick and runs the reference beside it."""

    def __init__(self, board: LinkBoard, image: bytes | None = None) -> None:
        """Start where the board starts: in the state of an image, or after a power-on reset."""
        self.run = FreeRun()
        self.reader = OutputReader(board.pairing)
        self._reference = ReferenceBoard(board.pairing)
        if image is not None:
            self._reference.bridge.restore(image)
        self._inputs = initial(board.pairing)

    def take(self, payload: bytes, checks: tuple[int, int]) -> None:
        """Take a reply of the board."""
        if payload:
            self.reader.payloads.append(payload)
            self.reader.checks.append(checks)
        while (found := self.reader.take()) is not None:
            if isinstance(found, Digest):
                self._end(found)
            else:
                self._tick(found)

    def _tick(self, actual: Outputs) -> None:
        """Run one tick of the journal on the reference and compare."""
        run, frames = self.run, []
        for record in self.reader.inputs_told:
            run.inputs += 1
            if FRAME <= record[0] < SHORT_TICKS:
                frames.append(frame_of(record))
            else:
                self._inputs = with_input(self._inputs, record)
        self.reader.inputs_told.clear()
        expected = self._reference.step(self._inputs, tuple(frames))
        if expected != actual and run.difference is None:
            run.difference = FreeRunDifference(run.ticks, expected, actual)
        run.ticks += 1
        run.frames_in += len(frames)
        run.frames_out += len(actual.frames[0]) + len(actual.frames[1])

    def _end(self, found: Digest) -> None:
        """Compare the state after the last tick."""
        if (found.requests_check, found.replies_check) != found.expected:
            raise BoardProtocolError("octets changed on the line although every packet agreed")
        self.run.digest = found.digest
        expected = self._reference.digest()
        if expected != found.digest and self.run.difference is None:
            self.run.difference = FreeRunDifference(self.run.ticks, expected, found.digest)


def frame_of(record: bytes) -> Frame:
    """Return the frame of a record, as the reference takes it."""
    width = 4 if record[0] & FRAME_EXTENDED else 2
    return Frame(
        1 if record[0] & FRAME_ENGINE else 0,
        bool(record[0] & FRAME_EXTENDED),
        int.from_bytes(record[1 : 1 + width], "little"),
        record[1 + width :],
    )


def with_input(inputs: Inputs, record: bytes) -> Inputs:
    """Return the inputs after one input record."""
    op, *values = RECORD[Op(record[0])].unpack(record)
    if op == Op.LEVEL:
        levels = list(inputs.levels)
        levels[values[0]] = bool(values[1])
        return inputs._replace(levels=tuple(levels))
    if op == Op.COUNT:
        counts = list(inputs.counts)
        counts[values[0]] = values[1]
        return inputs._replace(counts=tuple(counts))
    if op == Op.SUPPLY:
        return inputs._replace(supply_mv=values[0])
    body, engine = inputs.buses
    told = BusInput(*values[1:])
    return inputs._replace(buses=(told, engine) if values[0] == 0 else (body, told))


def filled(pieces: deque[bytes], room: int) -> bytes:
    """Take as many whole records off the front as fit into one packet; return them."""
    taken = b""
    while pieces and len(taken) + len(pieces[0]) <= room:
        taken += pieces.popleft()
    return taken


def free_run(
    board: LinkBoard, seconds: float, plays: Iterator[Play], as_it_is: bool = False
) -> FreeRun:
    """Let a board run by its own clock and throw the plays in at their times; compare all of it.

    It begins with a power-on reset, or with the board as it is: after a restart with the memory
    that survived. Raises BoardError when the journal is not whole.
    """
    session = board.session
    tick_s = board.pairing.spec.tick_ms / 1000
    if as_it_is:
        replay, reset = Replay(board, board.image()), b""
    else:
        board.reset(ResetCause.POWER_ON, False)
        replay, reset = Replay(board), reset_record(ResetCause.POWER_ON, False)
    inputs = initial(board.pairing)
    start = input_records(board.told_inputs, inputs)
    session.submit(Kind.WORK, start + reset + RECORD[Op.FREE_RUN].pack(Op.FREE_RUN, 1))
    began = time.monotonic()
    tick = 0
    play = next(plays, None)
    pieces: deque[bytes] = deque()
    unread: deque[Reply] = deque()
    while (passed := time.monotonic() - began) < seconds:
        while play is not None and (tick + play.idle) * tick_s <= passed:
            tick += play.idle + 1
            codes = dict(play.codes)
            pieces += input_pieces(inputs, play.inputs)
            pieces += [
                frame_record(frame, codes.get(place, 0)) for place, frame in enumerate(play.frames)
            ]
            inputs = play.inputs
            play = next(plays, None)
        while pieces and session.open_requests < MOST_OPEN:
            session.submit(Kind.WORK, filled(pieces, session.room))
        found = session.poll_replies(0.0 if unread else SHORTEST_LOOK_S)
        unread += found
        # The line first: the board waits for its slots, the reference waits for nobody.
        if not found and unread:
            reply = unread.popleft()
            replay.take(reply.payload, (reply.requests_check, reply.replies_check))
    while pieces:
        session.submit(Kind.WORK, filled(pieces, session.room))
    # One tick more, told by the host, so that what came in behind the last one has a tick too.
    end = RECORD[Op.FREE_RUN].pack(Op.FREE_RUN, 0)
    session.submit(Kind.WORK, end + ticks_records(1) + DIGEST_REQUEST)
    while not session.idle:
        unread.append(session.next_reply())
    for reply in unread:
        replay.take(reply.payload, (reply.requests_check, reply.replies_check))
    board.told_inputs = inputs
    if replay.reader.lost:
        raise BoardError(
            f"{session.port.name}: {replay.reader.lost} ticks found no room in the journal: the "
            "line is too slow for this stimulus"
        )
    if replay.run.ticks <= 1:
        raise BoardError(f"{session.port.name}: the board has no clock of its own: no tick ran")
    return replay.run
