"""What a vector does to a board, tick by tick, for boards that are told ahead of time.

The runner compares tick by tick; a line is only used well when many packets are on the way. So a
board behind the link is given these beforehand and answers in step.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from hil.vectors import random_traffic
from hil.vectors.generation import is_checkpoint
from hil.vectors.names import Names
from hil.vectors.records import Reader, Record, initial
from hil.vectors.stimulus import Step
from hil.vectors.vector import Header, Vector
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.frames import Frame


class Play(NamedTuple):
    """A tick in which something happens; `idle` ticks without anything come before it.

    `codes` are the raw length codes above 8 by place in `frames`.
    """

    idle: int
    reset: tuple[ResetCause, bool] | None
    inputs: Inputs
    frames: tuple[Frame, ...]
    codes: tuple[tuple[int, int], ...]
    digest: bool


def of_records(records: Iterable[Record]) -> Iterator[Play]:
    """Yield what the records of a vector do."""
    tick = 0
    for record in records:
        yield Play(
            record.tick - tick,
            record.reset,
            record.inputs,
            record.frames,
            record.codes,
            record.digest is not None,
        )
        tick = record.tick + 1


def of_steps(steps: Iterable[Step], header: Header) -> Iterator[Play]:
    """Yield what random traffic does."""
    for step in steps:
        frames = tuple(one.frame for one in step.stimuli)
        codes = tuple(
            (place, one.length_code)
            for place, one in enumerate(step.stimuli)
            if one.length_code > len(one.frame.data)
        )
        digest = is_checkpoint(step.tick, header.checkpoint_ticks, header.ticks - 1)
        yield Play(0, step.reset, step.inputs, frames, codes, digest)


def of_vector(vector: Vector, names: Names) -> Iterator[Play]:
    """Yield what a vector does."""
    header = vector.header
    if header.random is None:
        return of_records(Reader(vector, names.pairing).records())
    random = header.random
    return of_steps(random_traffic.steps(names, random.seed, random.style, header.ticks), header)


def first(ticks: int, plays: Iterable[Play], start: Inputs) -> Iterator[Play]:
    """Yield the plays of the first `ticks` ticks; `start` are the inputs before the first play."""
    inputs = start
    tick = 0
    for play in plays:
        if tick + play.idle >= ticks:
            break
        yield play
        tick += play.idle + 1
        inputs = play.inputs
    if tick < ticks:
        yield Play(ticks - tick - 1, None, inputs, (), (), False)


def every_tick(plays: Iterable[Play], start: Inputs) -> Iterator[Play]:
    """Yield the same stimulus one tick a play, with a digest after every tick."""
    inputs = start
    for play in plays:
        for _ in range(play.idle):
            yield Play(0, None, inputs, (), (), True)
        yield play._replace(idle=0, digest=True)
        inputs = play.inputs


def start_of(names: Names) -> Inputs:
    """Return the inputs every vector starts with."""
    return initial(names.pairing)
