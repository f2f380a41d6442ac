"""A board behind the link: native, emulated or real, they are all the same here."""

import contextlib
from collections.abc import Callable, Iterator

from hil.boards.interface import (
    BoardError,
    BoardProtocolError,
    Identity,
    WrongBoardError,
)
from hil.link import layouts
from hil.link.foresight import requests
from hil.link.layouts import FIRMWARE_VERSION, Kind
from hil.link.port import Port
from hil.link.records import (
    DIGEST_REQUEST,
    Digest,
    OutputReader,
    frame_record,
    input_records,
    reset_record,
    ticks_records,
)
from hil.link.session import Hello, Session, Timing
from hil.vectors.plays import Play
from hil.vectors.records import initial
from xlate_core.bridge import RULES, Bridge, Inputs, Outputs, ResetCause
from xlate_core.frames import Frame
from xlate_core.pairing.model import Pairing

AHEAD_OCTETS = 16384
"""Octets made ready beyond what the window lets out: a whole window of a small board."""


class LinkBoard:
    """A board behind the link, with a session opened when it is made.

    `told_inputs` are the inputs the board has, as far as it was told.

    `reopen` gives a fresh line after the bench failed; without it the board is lost then.
    """

    def __init__(
        self,
        pairing: Pairing,
        open_line: Callable[[], Port],
        timing: Timing | None = None,
    ) -> None:
        """Open the line and say hello; raises BoardError with the reason when that fails."""
        self.pairing = pairing
        self.timing = timing or Timing()
        self._open_line = open_line
        self._foreseen: Iterator[tuple[bytes, Inputs]] | None = None
        self._image_octets = len(Bridge(pairing.spec).image())
        self._connect()

    def _connect(self, port: Port | None = None) -> None:
        """Open the line, unless it is open, say hello, see that it is the right board."""
        self.session = Session(port or self._open_line(), self.timing)
        try:
            self.hello = self.session.hello()
            check_hello(self.hello, self.pairing, self.session.port.name)
            if self.hello.image_octets != self._image_octets:
                raise WrongBoardError(
                    f"{self.session.port.name}: the board's state has {self.hello.image_octets} "
                    f"octets, expected {self._image_octets}: built from other sources"
                )
        except BaseException:
            self.session.port.close()
            raise
        self.told_inputs = initial(self.pairing)
        self._reader = OutputReader(self.pairing)

    # THE INTERFACE OF ALL BOARDS

    def identity(self) -> Identity:
        """Say what answered hello."""
        version = ".".join(map(str, self.hello.firmware))
        return Identity(
            self.hello.board, f"firmware {version}", self.hello.rules, self.hello.pairing
        )

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Restart the core."""
        if self._foreseen is None:
            self._ask(reset_record(cause, keep))

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Receive the frames in order, then run one tick."""
        reader = self._reader
        if reader.quiet and self._foreseen is not None:
            reader.quiet -= 1
            assert reader.idle is not None
            return reader.idle
        if self._foreseen is None:
            parts = [input_records(self.told_inputs, inputs)]
            parts += [frame_record(frame) for frame in frames]
            self.told_inputs = inputs
            self._ask(b"".join(parts) + ticks_records(1))
        while True:
            found = reader.take()
            if isinstance(found, Outputs):
                return found
            if found is None:
                self._more()
            else:
                self._check(found)

    def digest(self) -> int:
        """Return the digest of the state image."""
        if self._foreseen is None:
            self._ask(DIGEST_REQUEST)
        while True:
            found = self._reader.take()
            if isinstance(found, Digest):
                self._check(found)
                return found.digest
            if found is not None:
                raise BoardProtocolError(f"{self._name}: outputs came where a digest was expected")
            self._more()

    def image(self) -> bytes:
        """Return the state image, in as many parts as the packets need."""
        self.end_foresight()
        room = self.session.room - layouts.STATE_PART.sizeof()
        parts = []
        for first in range(0, self._image_octets, room):
            count = min(room, self._image_octets - first)
            self.session.submit(Kind.STATE, layouts.STATE.build({"first": first, "count": count}))
        for first in range(0, self._image_octets, room):
            reply = self.session.next_reply()
            head = layouts.STATE_PART.sizeof()
            if (
                reply.kind != Kind.STATE_PART
                or int.from_bytes(reply.payload[:head], "little") != first
            ):
                raise BoardProtocolError(f"{self._name}: no part of a state image: {reply.kind}")
            parts.append(reply.payload[head:])
        return b"".join(parts)

    # BEYOND IT

    def foresee(self, plays: Iterator[Play]) -> None:
        """From now on the plays are sent ahead; `step`, `reset`, `digest` only read in step."""
        self.end_foresight()
        self._foreseen = requests(plays, self.told_inputs, self.session.room)

    def end_foresight(self) -> None:
        """Leave what was foreseen: what is on the way is awaited and dropped."""
        if self._foreseen is None:
            return
        self._foreseen = None
        if not self.session.failed:
            self.session.drain()
        self._reader = OutputReader(self.pairing)

    def confirm(self) -> None:
        """See that the line carried every octet right so far; raises BoardProtocolError.

        Before a mismatch is believed: the checks over both directions are 32 bit wide, where those
        of single packets have 16.
        """
        self.end_foresight()
        self.digest()

    def restore(self, image: bytes) -> int:
        """Take up a snapshot; returns the digest of the state the board then has."""
        self.end_foresight()
        head = layouts.RESTORE.sizeof()
        count = 0
        for first, part in field_parts(self.pairing, image, self.session.room - head):
            self.session.submit(Kind.RESTORE, layouts.RESTORE.build({"first": first}) + part)
            count += 1
        digest = 0
        for _ in range(count):
            reply = self.session.next_reply()
            if reply.kind != Kind.RESTORED:
                raise BoardProtocolError(f"{self._name}: no answer to a snapshot: {reply.kind}")
            digest = layouts.RESTORED.parse(reply.payload).digest
        return int(digest)

    def dump(self) -> list[tuple[str, int]]:
        """Return path and value of every state field, named by the one declaration."""
        image = self.image()
        place = 0
        found = []
        for path, declaration, _ in Bridge(self.pairing.spec).dump():
            octets = image[place : place + declaration.width.octets]
            place += declaration.width.octets
            value = int.from_bytes(octets, "little", signed=declaration.width.signed)
            found.append((path, value))
        return found

    def recover(self) -> None:
        """After the bench failed: a fresh line and session, or BoardError."""
        self._foreseen = None
        self.session.port.close()
        self._connect()

    def restart(self) -> None:
        """Restart the board as a reset does, on the same line; `hello` then says the new start."""
        self._foreseen = None
        self.session.restart_board()
        self._connect(self.session.port)

    def close(self) -> None:
        """Let go of the line."""
        with contextlib.suppress(BoardError):
            self.session.port.close()

    # INSIDE

    @property
    def _name(self) -> str:
        return self.session.port.name

    def _ask(self, payload: bytes) -> None:
        """Have one WORK request done and keep what comes of it."""
        session = self.session
        session.submit(Kind.WORK, payload)
        while True:
            reply = session.next_reply()
            self._keep(reply.kind, reply.payload, reply.requests_check, reply.replies_check)
            if reply.last:
                return

    def _more(self) -> None:
        """Get the next reply, sending ahead what is foreseen."""
        session = self.session
        if self._foreseen is None:
            raise BoardProtocolError(f"{self._name}: the board told fewer ticks than it was asked")
        while session.backlog * session.room < AHEAD_OCTETS:
            following = next(self._foreseen, None)
            if following is None:
                break
            payload, self.told_inputs = following
            session.submit(Kind.WORK, payload)
        reply = session.next_reply()
        self._keep(reply.kind, reply.payload, reply.requests_check, reply.replies_check)

    def _keep(self, kind: int, payload: bytes, requests_check: int, replies_check: int) -> None:
        """Keep a reply's records for reading."""
        if kind != Kind.RESULT:
            raise BoardProtocolError(f"{self._name}: no result: packet kind 0x{kind:02X}")
        if payload:
            self._reader.payloads.append(payload)
            self._reader.checks.append((requests_check, replies_check))

    def _check(self, digest: Digest) -> None:
        """Compare the board's checks over both directions with ours."""
        if (digest.requests_check, digest.replies_check) != digest.expected:
            raise BoardProtocolError(
                f"{self._name}: octets changed on the line although every packet's check agreed"
            )


def check_hello(hello: Hello, pairing: Pairing, name: str) -> None:
    """Raise WrongBoardError, with a sentence of its own for each reason, for another board."""
    if hello.rules != RULES:
        raise WrongBoardError(
            f"{name}: the board obeys rules {hello.rules}, expected rules {RULES}"
        )
    if hello.firmware != FIRMWARE_VERSION:
        found, expected = (".".join(map(str, one)) for one in (hello.firmware, FIRMWARE_VERSION))
        raise WrongBoardError(
            f"{name}: the board carries firmware {found}, expected {expected}: build and load it "
            "anew"
        )
    if hello.pairing != pairing.digest:
        raise WrongBoardError(
            f"{name}: the board carries pairing {hello.pairing[:12]}, expected {pairing.name} "
            f"{pairing.digest[:12]}: build and load the firmware of {pairing.name}"
        )


def field_parts(pairing: Pairing, image: bytes, room: int) -> Iterator[tuple[int, bytes]]:
    """Yield (place, octets) of an image in parts of at most `room`, cut between fields."""
    first = place = 0
    for _, declaration, _ in Bridge(pairing.spec).dump():
        octets = declaration.width.octets
        if place + octets - first > room:
            yield first, image[first:place]
            first = place
        place += octets
    yield first, image[first:place]
