"""The records inside packets: stimulus to octets, octets to outputs.

Frames are looked up in a table, since buses repeat themselves; ticks in which nothing happens are
counted together in both directions.
"""

from collections import deque
from dataclasses import dataclass, field
from struct import Struct

from hil.boards.interface import BoardProtocolError
from hil.link.layouts import (
    FRAME,
    FRAME_ENGINE,
    FRAME_EXTENDED,
    FRAME_LENGTH,
    MOST_SHORT_TICKS,
    RECORDS,
    SHORT_TICKS,
    Op,
    struct_format,
)
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import MAX_DATA_LENGTH, Bus, Frame
from xlate_core.pairing.model import Pairing
from xlate_core.pins import PinKind

MOST_TICKS = 0xFFFF
MOST_FRAMES_KNOWN = 4096
SILENT: tuple[tuple[Frame, ...], tuple[Frame, ...]] = ((), ())

RECORD = {op: Struct("<B" + struct_format(layout)[1:]) for op, layout in RECORDS.items()}
"""Records with their op octet, for packing and parsing."""

_frames: dict[tuple[Frame, int], bytes] = {}


def frame_record(frame: Frame, length_code: int = 0) -> bytes:
    """Return a frame as a record; `length_code` above 8 is the controller's raw one."""
    key = (frame, length_code)
    known = _frames.get(key)
    if known is None:
        code = max(length_code, len(frame.data))
        head = FRAME + (FRAME_ENGINE if frame.bus else 0) + code
        if frame.extended:
            known = (
                bytes((head + FRAME_EXTENDED,)) + frame.identifier.to_bytes(4, "little")
            ) + frame.data
        else:
            known = bytes((head,)) + frame.identifier.to_bytes(2, "little") + frame.data
        if len(_frames) >= MOST_FRAMES_KNOWN:
            _frames.clear()
        _frames[key] = known
    return known


def ticks_records(ticks: int) -> bytes:
    """Return the records of so many ticks, 1 or more."""
    if ticks <= MOST_SHORT_TICKS:
        return bytes((SHORT_TICKS + ticks - 1,))
    parts = []
    while ticks > 0:
        part = min(ticks, MOST_TICKS)
        parts.append(RECORD[Op.TICKS].pack(Op.TICKS, part))
        ticks -= part
    return b"".join(parts)


def reset_record(cause: ResetCause, keep: bool) -> bytes:
    """Return a reset as a record."""
    return RECORD[Op.RESET].pack(Op.RESET, cause, keep)


DIGEST_REQUEST = bytes((Op.DIGEST,))


def input_records(old: Inputs, new: Inputs) -> bytes:
    """Return the records that bring the board's inputs from one state to another."""
    return b"" if old is new else b"".join(input_pieces(old, new))


def input_pieces(old: Inputs, new: Inputs) -> list[bytes]:
    """Return the same, record by record: a packet may end between any two."""
    parts = [
        RECORD[Op.LEVEL].pack(Op.LEVEL, index, level)
        for index, level in enumerate(new.levels)
        if level != old.levels[index]
    ]
    parts += [
        RECORD[Op.COUNT].pack(Op.COUNT, index, count)
        for index, count in enumerate(new.counts)
        if count != old.counts[index]
    ]
    if new.supply_mv != old.supply_mv:
        parts.append(RECORD[Op.SUPPLY].pack(Op.SUPPLY, new.supply_mv))
    parts += [
        RECORD[Op.CONTROLLER].pack(Op.CONTROLLER, bus, *new.buses[bus])
        for bus in Bus
        if new.buses[bus] != old.buses[bus]
    ]
    return parts


@dataclass(slots=True)
class Digest:
    """A digest record: the state's, the board's checks over both directions, and the host's."""

    digest: int
    requests_check: int
    replies_check: int
    expected: tuple[int, int] = (0, 0)


@dataclass(slots=True)
class OutputReader:
    """Reads RESULT payloads tick by tick; what it was not told stays as it was.

    `quiet` ticks are known to come with nothing new, `idle` is what they put out. In a free run
    `inputs_told` gathers the input records of the tick that is returned next, `lost` is how many
    ticks found no room in the journal.
    """

    pairing: Pairing
    quiet: int = 0
    idle: Outputs | None = None
    payloads: deque[bytes] = field(default_factory=deque)
    checks: deque[tuple[int, int]] = field(default_factory=deque)
    inputs_told: list[bytes] = field(default_factory=list)
    lost: int = 0
    _at: int = 0
    _body: list[Frame] = field(default_factory=list)
    _engine: list[Frame] = field(default_factory=list)
    _news: bool = False
    _commands: list[int] = field(default_factory=lambda: [0, 0])
    _levels: list[int] = field(default_factory=list)
    _duty: list[int] = field(default_factory=list)
    _frequency: list[int] = field(default_factory=list)
    _hold: int = 0
    _known: dict[bytes, Frame] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Start with as many output pins as the pairing has."""
        kinds = [pin.kind for pin in self.pairing.spec.pins.outputs]
        self._levels = [0] * kinds.count(PinKind.LEVEL)
        self._duty = [0] * kinds.count(PinKind.DUTY)
        self._frequency = [0] * kinds.count(PinKind.FREQUENCY)

    @property
    def empty(self) -> bool:
        """Whether everything that came was read."""
        return not self.payloads

    def take(self) -> Outputs | Digest | None:
        """Return the next tick's outputs or a digest; None when more has to come first."""
        if self.quiet:
            self.quiet -= 1
            return self.idle
        while self.payloads:
            payload = self.payloads[0]
            found = self._read(payload) if self._at < len(payload) else None
            if isinstance(found, Digest):
                found.expected = self.checks[0]
            if self._at >= len(payload):
                self.payloads.popleft()
                self.checks.popleft()
                self._at = 0
            if found is not None:
                return found
        return None

    def _read(self, payload: bytes) -> Outputs | Digest | None:
        """Read records up to the next tick or digest, or to the end of the payload."""
        end = len(payload)
        at = self._at
        while at < end:
            op = payload[at]
            if FRAME <= op < SHORT_TICKS:
                length = 3 if op & FRAME_EXTENDED == 0 else 5
                length += min(op & FRAME_LENGTH, MAX_DATA_LENGTH)
                record = payload[at : at + length]
                if len(record) < length:
                    raise BoardProtocolError("a record of the board is cut short")
                frame = self._known.get(record) or self._learn(record)
                (self._engine if op & FRAME_ENGINE else self._body).append(frame)
                at += length
            elif op >= SHORT_TICKS:
                self._at = at + 1
                return self._tick(op - SHORT_TICKS + 1)
            elif op == Op.TICKS:
                self._at = at + 3
                return self._tick(payload[at + 1] | payload[at + 2] << 8)
            else:
                if op == Op.INPUT:
                    at = self._input(payload, at + 1)
                    continue
                known = RECORD.get(op)  # type: ignore[call-overload]
                if known is None or at + known.size > end:
                    raise BoardProtocolError(f"the board sent a record nobody knows: 0x{op:02X}")
                values = known.unpack_from(payload, at)
                at += known.size
                if op == Op.DIGEST:
                    self._at = at
                    return Digest(*values[1:])
                self._news = True
                self._change(op, values)
        self._at = at
        return None

    def _input(self, payload: bytes, at: int) -> int:
        """Gather an input record of a free run; return the place behind it."""
        op = payload[at] if at < len(payload) else 0
        if FRAME <= op < SHORT_TICKS:
            length = (5 if op & FRAME_EXTENDED else 3) + min(op & FRAME_LENGTH, MAX_DATA_LENGTH)
        else:
            known = RECORD.get(op)  # type: ignore[call-overload]
            length = known.size if known is not None else len(payload)
        if at + length > len(payload):
            raise BoardProtocolError("an input record of the journal is cut short")
        self.inputs_told.append(payload[at : at + length])
        return at + length

    def _learn(self, record: bytes) -> Frame:
        """Return the frame of a record and remember it."""
        head = record[0]
        octets = 4 if head & FRAME_EXTENDED else 2
        frame = Frame(
            1 if head & FRAME_ENGINE else 0,
            bool(head & FRAME_EXTENDED),
            int.from_bytes(record[1 : 1 + octets], "little"),
            record[1 + octets :],
        )
        if len(self._known) >= MOST_FRAMES_KNOWN:
            self._known.clear()
        self._known[record] = frame
        return frame

    def _change(self, op: int, values: tuple[int, ...]) -> None:
        """Take over an output that changed; one the pairing does not have is a spare slot."""
        if op == Op.HOLD:
            self._hold = values[1]
            return
        if op == Op.LOST:
            self.lost += values[1]
            return
        targets = {
            Op.LEVEL: self._levels,
            Op.DUTY: self._duty,
            Op.FREQUENCY: self._frequency,
            Op.COMMAND: self._commands,
        }
        target = targets.get(op)  # type: ignore[call-overload]
        if target is None:
            raise BoardProtocolError(f"the board sent a record out of place: 0x{op:02X}")
        if values[1] < len(target):
            target[values[1]] = values[2]

    def _tick(self, ticks: int) -> Outputs:
        """Return what the first of so many ticks puts out; the others put out nothing new."""
        if self._news or self.idle is None:
            self._news = False
            self.idle = Outputs(
                SILENT,
                (self._commands[0], self._commands[1]),
                tuple(bool(level) for level in self._levels),
                tuple(self._duty),
                tuple(self._frequency),
                bool(self._hold),
            )
        self.quiet = ticks - 1
        if not self._body and not self._engine:
            return self.idle
        frames = (tuple(self._body), tuple(self._engine))
        self._body.clear()
        self._engine.clear()
        return self.idle._replace(frames=frames)
