"""Talks to the measuring firmware: batches of records out, one time each back.

The layout of the records stands in `hil/firmware/boards/stm32f405/measure.c`. Under instruction
counting a time is a number of instructions, the same in every run; on silicon, of core cycles.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from hil.boards.interface import BoardError, BoardTimeoutError, Stimulus
from hil.measuring.line import BANNER, Line
from xlate_core.bridge import Inputs
from xlate_core.frames import MAX_DATA_LENGTH
from xlate_core.pairing.model import Pairing

ROOM = 1536
ANSWER_S = 30.0
MOST_IDLE = 1000  # ticks in one record: 4 kB of answers
MOST_ANSWERS = 4096  # answers waited for at a time


def frame_record(stimulus: Stimulus) -> bytes:
    """Return the record of a received frame."""
    frame = stimulus.frame
    head = struct.pack(
        "<cIBBB", b"F", frame.identifier, frame.bus, frame.extended, stimulus.length_code
    )
    return head + frame.data.ljust(MAX_DATA_LENGTH, b"\xa5")


def tick_record(inputs: Inputs) -> bytes:
    """Return the record of a tick."""
    counts = struct.pack(f"<{len(inputs.counts)}H", *inputs.counts)
    buses = b"".join(bytes(bus) for bus in inputs.buses)
    return struct.pack("<cI", b"T", inputs.supply_mv) + bytes(inputs.levels) + counts + buses


@dataclass(slots=True)
class Plan:
    """Records in order, and how many answers each brings."""

    records: list[bytes] = field(default_factory=list)
    answers: list[int] = field(default_factory=list)

    def add(self, record: bytes, answers: int = 1) -> None:
        """Append a record."""
        self.records.append(record)
        self.answers.append(answers)

    def reset(self) -> None:
        """Append a reset."""
        self.add(b"R")

    def frame(self, stimulus: Stimulus) -> None:
        """Append a received frame."""
        self.add(frame_record(stimulus))

    def tick(self, inputs: Inputs) -> None:
        """Append a tick."""
        self.add(tick_record(inputs))

    def idle(self, ticks: int) -> None:
        """Append ticks with the inputs of the last one, each answered."""
        while ticks > 0:
            part = min(ticks, MOST_IDLE)
            self.add(struct.pack("<cH", b"I", part), part)
            ticks -= part

    def wait(self, ticks: int) -> None:
        """Append ticks with the inputs of the last one, of which only the longest is answered."""
        self.add(struct.pack("<cH", b"M", ticks))


class Profile(NamedTuple):
    """Times of one function: calls, the sum with all it calls, the longest, and its own part."""

    address: int
    calls: int
    total: int
    longest: int
    own: int


class Meter:
    """A board with the measuring firmware of one pairing."""

    def __init__(self, line: Line, pairing: Pairing) -> None:
        """Wait for the firmware's banner; raises BoardError when it is another's."""
        self._line = line
        line.settimeout(ANSWER_S)
        head = self._take(len(BANNER) + 4 + 32)
        if not head.startswith(BANNER):
            raise BoardError(
                "the board runs no measuring firmware; build it with "
                "`xlate firmware build --board stm32f405 --program measure`"
            )
        self.hertz = int(struct.unpack_from("<I", head, len(BANNER))[0])
        if head[-32:].hex() != pairing.digest:
            raise BoardError(f"the measuring firmware is of another pairing than {pairing.name}")

    def run(self, plan: Plan) -> list[int]:
        """Run a plan and return all answers in order."""
        found: list[int] = []
        batch, expected = b"", 0
        for record, answers in zip(plan.records, plan.answers, strict=True):
            full = len(batch) + len(record) > ROOM or expected + answers > MOST_ANSWERS
            if batch and full:
                found += self._exchange(batch, expected)
                batch, expected = b"", 0
            batch += record
            expected += answers
        if batch:
            found += self._exchange(batch, expected)
        return found

    def digest(self) -> int:
        """Return the digest of the board's state."""
        return self._exchange(b"D", 1)[0]

    def keeping(self) -> int:
        """Return the time of writing kept memory, which a board does after every control tick."""
        return self._exchange(b"K", 1)[0]

    def stack(self) -> int:
        """Return the octets of stack used since the start."""
        return self._exchange(b"S", 1)[0]

    def clear_profiles(self) -> None:
        """Forget all profiles; only with the firmware built for them."""
        self._exchange(b"Z", 1)

    def profiles(self) -> list[Profile]:
        """Return what every function of the core took since they were cleared."""
        count = self._exchange(b"P", 1)[0]
        numbers = struct.unpack(f"<{5 * count}I", self._take(20 * count))
        return [Profile(*numbers[place : place + 5]) for place in range(0, 5 * count, 5)]

    def _exchange(self, batch: bytes, answers: int) -> Sequence[int]:
        """Send a batch and return its answers."""
        self._line.sendall(struct.pack("<H", len(batch)) + batch)
        return struct.unpack(f"<{answers}I", self._take(4 * answers))

    def _take(self, count: int) -> bytes:
        """Return so many octets from the board."""
        taken = b""
        while len(taken) < count:
            try:
                part = self._line.recv(count - len(taken))
            except TimeoutError:
                raise BoardTimeoutError(f"the board is silent for {ANSWER_S:.0f} s") from None
            if not part:
                raise BoardError("the board is gone")
            taken += part
        return taken
