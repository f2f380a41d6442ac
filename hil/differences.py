"""What is different at the first difference of a run: a value, a frame too many, early, late ...

What came before it and right after it is kept, because it tells a value from a frame that is early,
late or missing.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from hil.boards.interface import Board
from hil.vectors.records import Record
from xlate_core.bridge import Inputs, Outputs
from xlate_core.frames import Frame

LOOK_AHEAD = 100  # ticks run on after a difference to tell late from missing

Frames = tuple[tuple[Frame, ...], tuple[Frame, ...]]
Key = tuple[int, bool, int]


class Kind(StrEnum):
    """What is different."""

    VALUE = "value"
    EXTRA = "extra"
    MISSING = "missing"
    EARLY = "early"
    LATE = "late"
    ORDER = "order"
    TRUNCATED = "truncated"
    PIN = "pin"
    STATE = "state"


@dataclass(frozen=True, slots=True)
class Agreed:
    """A step before the difference."""

    tick: int
    frames: tuple[Frame, ...]
    sent: Frames


@dataclass(frozen=True, slots=True)
class Difference:
    """The first difference of a run, and what surrounds it."""

    tick: int
    kind: Kind
    inputs: Inputs
    frames: tuple[Frame, ...]
    expected: Frames
    actual: Frames
    expected_rest: tuple[object, ...]
    actual_rest: tuple[object, ...]
    digests: tuple[int, int] | None = None  # expected, actual
    shift: int = 0  # ticks that a frame is early or late
    agreed: tuple[Agreed, ...] = ()
    subject: Key | None = None


@dataclass(slots=True)
class Following:
    """The ticks of a vector behind a difference."""

    pending: Record | None
    records: Iterator[Record]

    def take(self, tick: int) -> Record | None:
        """Return the record of a tick, if there is one."""
        if self.pending is None:
            self.pending = next(self.records, None)
        if self.pending is not None and self.pending.tick == tick:
            record, self.pending = self.pending, None
            return record
        return None


def explain(
    agreed: Iterable[Record], record: Record, outputs: Outputs, board: Board, following: Following
) -> Difference:
    """Return the difference of a tick; the board runs on a little to tell late from missing."""
    for expected, actual in zip(record.expected, outputs.frames, strict=True):
        if expected != actual:
            kind, key = frame_kind(expected, actual)
            shift = 0
            if kind in (Kind.MISSING, Kind.EXTRA):
                wanted, sent = run_on(record, board, following, key)
                kind, shift = early_or_late(kind, record.tick, wanted, sent)
            return difference(agreed, record, outputs, kind, shift, key)
    return difference(agreed, record, outputs, Kind.PIN, 0, None)


def difference(
    agreed: Iterable[Record],
    record: Record,
    outputs: Outputs,
    kind: Kind,
    shift: int,
    key: Key | None,
) -> Difference:
    """Put a difference together."""
    return Difference(
        tick=record.tick,
        kind=kind,
        inputs=record.inputs,
        frames=record.frames,
        expected=record.expected,
        actual=outputs.frames,
        expected_rest=record.rest,
        actual_rest=outputs[1:],
        shift=shift,
        agreed=tuple(Agreed(one.tick, one.frames, one.expected) for one in agreed),
        subject=key,
    )


def state_difference(
    agreed: Iterable[Record], record: Record, outputs: Outputs, digest: int
) -> Difference:
    """Return the difference of a checkpoint: outputs agree, the state does not."""
    found = difference(agreed, record, outputs, Kind.STATE, 0, None)
    return replace(found, digests=(record.digest or 0, digest))


def frame_kind(expected: tuple[Frame, ...], actual: tuple[Frame, ...]) -> tuple[Kind, Key]:
    """Return what is wrong with the frames of one bus in one tick, and with which message."""
    if sorted(expected) == sorted(actual):
        first = next(a for a, e in zip(actual, expected, strict=True) if a != e)
        return Kind.ORDER, first[:3]
    sent, wanted = [frame[:3] for frame in actual], [frame[:3] for frame in expected]
    for key in wanted:
        if sent.count(key) < wanted.count(key):
            return Kind.MISSING, key
    for key in sent:
        if sent.count(key) > wanted.count(key):
            return Kind.EXTRA, key
    left = list(expected)
    for frame in actual:
        if frame not in left:
            lengths = [len(one.data) for one in left if one[:3] == frame[:3]]
            short = len(frame.data) < min(lengths)
            return Kind.TRUNCATED if short else Kind.VALUE, frame[:3]
        left.remove(frame)
    raise AssertionError  # equal multisets were handled above


def run_on(
    record: Record, board: Board, following: Following, key: Key
) -> tuple[list[int], list[int]]:
    """Run a little further; return the ticks the frame is expected at and the ticks it came at."""
    wanted: list[int] = []
    sent: list[int] = []
    inputs = record.inputs
    for tick in range(record.tick + 1, record.tick + 1 + LOOK_AHEAD):
        later = following.take(tick)
        if later is None and following.pending is None:
            break
        frames: tuple[Frame, ...] = ()
        if later is not None:
            if later.reset is not None:
                break
            inputs, frames = later.inputs, later.frames
            wanted += [tick for frame in later.expected[key[0]] if frame[:3] == key]
        outputs = board.step(inputs, frames)
        sent += [tick for frame in outputs.frames[key[0]] if frame[:3] == key]
    return wanted, sent


def early_or_late(kind: Kind, tick: int, wanted: list[int], sent: list[int]) -> tuple[Kind, int]:
    """Tell late from missing and early from extra by the frames that follow."""
    if kind is Kind.MISSING:
        later = next((moment for moment in sent if moment not in wanted), None)
        return (Kind.LATE, later - tick) if later is not None else (kind, 0)
    later = next((moment for moment in wanted if moment not in sent), None)
    return (Kind.EARLY, later - tick) if later is not None else (kind, 0)
