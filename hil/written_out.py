"""A random vector in full: what its stored seed stands for, frame by frame.

Of random traffic only digests and hashes at checkpoints are stored, so a difference is found up to
a checkpoint late. To explain it the reference writes the vector out as far as needed, and the board
is compared with that like with any other.
"""

from dataclasses import replace
from pathlib import Path

from hil.boards.reference import ReferenceBoard
from hil.vectors import random_traffic
from hil.vectors.generation import Stream, is_checkpoint
from hil.vectors.names import Names
from hil.vectors.records import Reader, Writer
from hil.vectors.vector import Vector, load_vector, render, write_vector
from xlate_core.bridge import ResetCause


def written_out(vector: Vector, names: Names, ticks: int, folder: Path) -> Vector | None:
    """Write the first `ticks` of a random vector into a folder; return it loaded.

    `ticks` ends at a checkpoint. None when today's reference no longer does what is stored: then
    there is nothing to compare the board with but digests.
    """
    header = vector.header
    if header.random is None:
        raise ValueError(f"{vector.path} is stored in full already")
    stored = {
        record.tick: (record.digest, record.stream)
        for record in Reader(vector, names.pairing).records()
    }
    board = ReferenceBoard(names.pairing)
    board.reset(ResetCause.POWER_ON, False)
    writer = Writer(names.pairing)
    stream = Stream()
    lines = []
    # All its ticks are drawn, since what is drawn may depend on how many there are.
    for step in random_traffic.steps(names, header.random.seed, header.random.style, header.ticks):
        if step.tick >= ticks:
            break
        if step.reset is not None:
            board.reset(*step.reset)
        outputs = board.step(step.inputs, tuple(one.frame for one in step.stimuli))
        stream.add(step.tick, outputs)
        digest = None
        if is_checkpoint(step.tick, header.checkpoint_ticks, header.ticks - 1):
            digest = board.digest()
            if stored.get(step.tick) != (digest, stream.hash()):
                return None
        line = writer.record(step.tick, step.reset, step.inputs, step.stimuli, outputs, digest)
        if line is not None:
            lines.append(line)
    whole = replace(header, ticks=ticks, random=None)
    return load_vector(write_vector(folder, header.identity, render(whole, lines)))
