"""A whole corpus as one stream of records for `replay.c`, the likeliest vectors first.

The unbroken core agrees with the reference on every stored vector; a test of its own holds it to
that. So what a broken core does differently from the unbroken one, in an output of any tick or in a
digest at a checkpoint, is what the runner would report as a mismatch.
"""

import struct
from pathlib import Path

from hil.repetition import stimulus
from hil.runner import Pairings, load_for_run
from hil.vectors.generation import is_checkpoint
from xlate_core.bridge import Inputs
from xlate_core.frames import MAX_DATA_LENGTH, Frame


def frame_record(frame: Frame) -> bytes:
    """Return the record of a received frame."""
    head = struct.pack("<cIBBB", b"F", frame.identifier, frame.bus, frame.extended, len(frame.data))
    return head + frame.data.ljust(MAX_DATA_LENGTH, b"\xa5")


def tick_record(inputs: Inputs) -> bytes:
    """Return the record of a tick."""
    counts = struct.pack(f"<{len(inputs.counts)}H", *inputs.counts)
    buses = b"".join(bytes(bus) for bus in inputs.buses)
    return struct.pack("<cI", b"T", inputs.supply_mv) + bytes(inputs.levels) + counts + buses


def vector_records(path: Path, pairings: Pairings) -> bytes:
    """Return the records of one vector, from power-on."""
    vector, names = load_for_run(path, pairings)
    header = vector.header
    records = bytearray(b"B")
    last: Inputs | None = None
    idle = 0
    for tick, reset, inputs, frames in stimulus(vector, names):
        stored = is_checkpoint(tick, header.checkpoint_ticks, header.ticks - 1)
        if inputs == last and not frames and reset is None:
            idle += 1
        else:
            records += idle_record(idle)
            idle = 0
            if reset is not None:
                records += struct.pack("<cBB", b"R", reset[0], reset[1])
            for frame in frames:
                records += frame_record(frame)
            records += tick_record(inputs)
            last = inputs
        if stored:
            records += idle_record(idle) + b"D"
            idle = 0
    return bytes(records + idle_record(idle))


def idle_record(ticks: int) -> bytes:
    """Return the record of ticks in which nothing new comes, nothing for none."""
    return struct.pack("<cI", b"I", ticks) if ticks else b""


def write_stream(paths: list[Path], pairings: Pairings, target: Path) -> int:
    """Write the stream of the vectors, the shortest first; return how many octets it has."""
    parts = sorted((vector_records(path, pairings) for path in paths), key=len)
    data = b"".join(parts)
    target.write_bytes(data)
    return len(data)
