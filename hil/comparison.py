"""A vector against a board: outputs every tick, digests at checkpoints, the first difference.

A comparison stops at the first difference; what came before it and right after it is kept, because
it tells a value from a frame that is early, late or missing.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import tee

from hil.boards.interface import Board, ForesightedBoard
from hil.vectors import plays, random_traffic
from hil.vectors.errors import VectorError
from hil.vectors.generation import Stream, is_checkpoint
from hil.vectors.names import Names
from hil.vectors.records import SILENT, Reader, Record, initial
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

LOOK_BACK = 8  # agreed steps with frames or changes that are shown
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
class Run:
    """What one comparison saw."""

    ticks: int = 0
    frames_in: int = 0
    frames_out: int = 0
    checkpoints: int = 0
    difference: Difference | None = None
    agreed: deque[Record] = field(default_factory=lambda: deque(maxlen=LOOK_BACK))


def compare(vector: Vector, names: Names, board: Board) -> Run:
    """Run a vector on a board from power-on and compare; raises VectorError for a bad record."""
    board.reset(ResetCause.POWER_ON, False)
    if not isinstance(board, ForesightedBoard):
        if vector.header.random is not None:
            return compare_random(vector, names, board)
        return compare_stored(vector, names, board)
    try:
        if vector.header.random is not None:
            run = compare_random(vector, names, board)
        else:
            run = compare_stored(vector, names, board)
        if run.difference is not None:
            board.confirm()
    finally:
        board.end_foresight()
    return run


def compare_stored(vector: Vector, names: Names, board: Board) -> Run:
    """Compare a vector that stores its frames."""
    run = Run()
    step = board.step
    records = Reader(vector, names.pairing).records()
    if isinstance(board, ForesightedBoard):
        records, ahead = tee(records)
        board.foresee(plays.of_records(ahead))
    inputs = initial(names.pairing)
    rest: tuple[object, ...] = ()
    idle: tuple[object, ...] = ()
    remember = run.agreed.append
    frames_in = frames_out = 0
    tick = 0
    for record in records:
        # TICKS IN WHICH NOTHING HAPPENS
        while tick < record.tick:
            outputs = step(inputs, ())
            if outputs != idle:
                idle_record = Record(tick, None, inputs, (), (), SILENT, rest, None, None)
                finish(run, tick, frames_in, frames_out)
                following = Following(record, records)
                run.difference = explain(run, idle_record, outputs, board, following)
                return run
            tick += 1

        # A STORED TICK
        if record.reset is not None:
            board.reset(*record.reset)
        inputs = record.inputs
        if record.rest is not rest:
            rest = record.rest
            idle = (SILENT, *rest)
        outputs = step(inputs, record.frames)
        frames_in += len(record.frames)
        if outputs.frames != record.expected or outputs[1:] != rest:
            finish(run, tick, frames_in, frames_out)
            run.difference = explain(run, record, outputs, board, Following(None, records))
            return run
        expected = record.expected
        if expected is not SILENT:
            frames_out += len(expected[0]) + len(expected[1])
        remember(record)
        if record.digest is not None:
            run.checkpoints += 1
            digest = board.digest()
            if digest != record.digest:
                finish(run, tick, frames_in, frames_out)
                run.difference = state_difference(run, record, outputs, digest)
                return run
        tick += 1
    finish(run, tick, frames_in, frames_out)
    if tick != vector.header.ticks:
        raise VectorError(
            f"{vector.path}: the last record is at tick {tick - 1}, "
            f"expected the digest at tick {vector.header.ticks - 1}"
        )
    return run


def finish(run: Run, ticks: int, frames_in: int, frames_out: int) -> None:
    """Note how far a run came."""
    run.ticks = ticks
    run.frames_in = frames_in
    run.frames_out = frames_out


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
    run: Run, record: Record, outputs: Outputs, board: Board, following: Following
) -> Difference:
    """Return the difference of a tick; the board runs on a little to tell late from missing."""
    for expected, actual in zip(record.expected, outputs.frames, strict=True):
        if expected != actual:
            kind, key = frame_kind(expected, actual)
            shift = 0
            if kind in (Kind.MISSING, Kind.EXTRA):
                wanted, sent = run_on(record, board, following, key)
                kind, shift = early_or_late(kind, record.tick, wanted, sent)
            return difference(run, record, outputs, kind, shift, key)
    return difference(run, record, outputs, Kind.PIN, 0, None)


def difference(
    run: Run, record: Record, outputs: Outputs, kind: Kind, shift: int, key: Key | None
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
        agreed=tuple(Agreed(one.tick, one.frames, one.expected) for one in run.agreed),
        subject=key,
    )


def state_difference(run: Run, record: Record, outputs: Outputs, digest: int) -> Difference:
    """Return the difference of a checkpoint: outputs agree, the state does not."""
    agreed = difference(run, record, outputs, Kind.STATE, 0, None)
    return replace(agreed, digests=(record.digest or 0, digest))


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


def compare_random(vector: Vector, names: Names, board: Board) -> Run:
    """Compare a vector of which only seed, digests and hashes of the output are stored."""
    run = Run()
    header = vector.header
    random = header.random
    if random is None:
        raise AssertionError  # compare() has looked
    stored = Reader(vector, names.pairing).records()
    stream = Stream()
    steps = random_traffic.steps(names, random.seed, random.style, header.ticks)
    if isinstance(board, ForesightedBoard):
        steps, ahead = tee(steps)
        board.foresee(plays.of_steps(ahead, header))
    for one in steps:
        if one.reset is not None:
            board.reset(*one.reset)
        frames = tuple(stimulus.frame for stimulus in one.stimuli)
        outputs = board.step(one.inputs, frames)
        stream.add(one.tick, outputs)
        run.ticks = one.tick + 1
        run.frames_in += len(frames)
        run.frames_out += len(outputs.frames[0]) + len(outputs.frames[1])
        if not is_checkpoint(one.tick, header.checkpoint_ticks, header.ticks - 1):
            continue
        record = next(stored, None)
        if record is None or record.tick != one.tick or record.digest is None:
            raise VectorError(f"{vector.path}: no checkpoint at tick {one.tick}")
        run.checkpoints += 1
        digest = board.digest()
        if digest != record.digest or stream.hash() != record.stream:
            run.difference = Difference(
                tick=one.tick,
                kind=Kind.STATE if digest != record.digest else Kind.VALUE,
                inputs=one.inputs,
                frames=frames,
                expected=outputs.frames,
                actual=outputs.frames,
                expected_rest=outputs[1:],
                actual_rest=outputs[1:],
                digests=(record.digest, digest),
            )
            return run
    return run
