"""What a vector will do to a board, as requests made ahead of time.

The runner compares tick by tick; a line is only used well when many packets are on the way. So the
stimulus of a vector is sent ahead, cut into packets, while the answers are read in step.
"""

from collections.abc import Iterator
from typing import NamedTuple

from hil.link.records import (
    DIGEST_REQUEST,
    frame_record,
    input_records,
    reset_record,
    ticks_records,
)
from hil.vectors import random_traffic
from hil.vectors.generation import is_checkpoint
from hil.vectors.names import Names
from hil.vectors.records import Reader, initial
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.frames import Frame

Reset = tuple[ResetCause, bool]


class Play(NamedTuple):
    """A tick in which something happens; `idle` ticks without anything come before it.

    `codes` are the raw length codes above 8 by place in `frames`.
    """

    idle: int
    reset: Reset | None
    inputs: Inputs
    frames: tuple[Frame, ...]
    codes: tuple[tuple[int, int], ...]
    digest: bool


def plays(vector: Vector, names: Names, ticks: int | None = None) -> Iterator[Play]:
    """Yield the stimulus of a vector with the digests it takes, up to so many ticks."""
    header = vector.header
    length = header.ticks if ticks is None else min(ticks, header.ticks)
    if header.random is not None:
        for step in random_traffic.steps(names, header.random.seed, header.random.style, length):
            frames = tuple(one.frame for one in step.stimuli)
            codes = tuple(
                (place, one.length_code)
                for place, one in enumerate(step.stimuli)
                if one.length_code > len(one.frame.data)
            )
            digest = is_checkpoint(step.tick, header.checkpoint_ticks, header.ticks - 1)
            yield Play(0, step.reset, step.inputs, frames, codes, digest)
        return
    tick = 0
    inputs = initial(names.pairing)
    for record in Reader(vector, names.pairing).records():
        if record.tick >= length:
            break
        idle = record.tick - tick
        inputs = record.inputs
        yield Play(
            idle, record.reset, inputs, record.frames, record.codes, record.digest is not None
        )
        tick = record.tick + 1
    if tick < length:
        yield Play(length - tick - 1, None, inputs, (), (), False)


def every_tick(found: Iterator[Play]) -> Iterator[Play]:
    """Yield the same stimulus with a digest after every tick."""
    inputs: Inputs | None = None
    for play in found:
        for _ in range(play.idle):
            yield Play(0, None, inputs or play.inputs, (), (), True)
        yield play._replace(idle=0, digest=True)
        inputs = play.inputs


def requests(found: Iterator[Play], start: Inputs, room: int) -> Iterator[tuple[bytes, Inputs]]:
    """Yield WORK payloads of at most `room` octets, each with the inputs the board then has.

    `start` are the inputs the board has now. Ticks that do nothing are put together, also over
    several plays.
    """
    parts: list[bytes] = []
    length = 0
    ticks = 0
    inputs = start
    for play in found:
        ticks += play.idle
        news: list[bytes] = []
        if play.reset is not None:
            news.append(reset_record(*play.reset))
        if play.inputs is not inputs:
            news.append(input_records(inputs, play.inputs))
        if play.frames:
            codes = dict(play.codes)
            news += [
                frame_record(frame, codes.get(place, 0)) for place, frame in enumerate(play.frames)
            ]
        if any(news) and ticks:
            news.insert(0, ticks_records(ticks))
            ticks = 0
        ticks += 1
        if play.digest:
            news += [ticks_records(ticks), DIGEST_REQUEST]
            ticks = 0
        for piece in news:
            if length + len(piece) > room:
                yield b"".join(parts), inputs
                parts, length = [], 0
            parts.append(piece)
            length += len(piece)
        inputs = play.inputs
    if ticks:
        parts.append(ticks_records(ticks))
    if parts:
        yield b"".join(parts), inputs
