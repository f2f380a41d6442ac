"""A vector against a board: outputs every tick, digests at checkpoints, the first difference.

A comparison stops at the first difference (`differences.py` says which kind it is).
"""

from collections import deque
from dataclasses import dataclass, field
from itertools import tee

from hil.boards.interface import Board, ForesightedBoard, foresight
from hil.differences import Difference, Following, Kind, explain, state_difference
from hil.vectors import plays, random_traffic
from hil.vectors.errors import VectorError
from hil.vectors.generation import Stream, is_checkpoint
from hil.vectors.names import Names
from hil.vectors.records import SILENT, Reader, Record, initial
from hil.vectors.vector import Vector
from xlate_core.bridge import ResetCause

LOOK_BACK = 8  # agreed steps with frames or changes that are shown


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
    with foresight(board):
        if vector.header.random is not None:
            run = compare_random(vector, names, board)
        else:
            run = compare_stored(vector, names, board)
        if run.difference is not None and isinstance(board, ForesightedBoard):
            board.confirm()
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
                run.difference = explain(run.agreed, idle_record, outputs, board, following)
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
            run.difference = explain(run.agreed, record, outputs, board, Following(None, records))
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
                run.difference = state_difference(run.agreed, record, outputs, digest)
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
