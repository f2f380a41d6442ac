"""A trial that went beyond its bound, kept as a vector from power-on."""

from pathlib import Path

from hil.boards.interface import Stimulus
from hil.boards.reference import ReferenceBoard
from hil.vectors.generation import is_checkpoint
from hil.vectors.records import Writer
from hil.vectors.vector import Header, render, write_vector
from tools.timing.observation import Observed
from tools.timing.rig import Rig
from tools.timing.trial_run import stimulus_of
from xlate_core.bridge import RULES, ResetCause
from xlate_core.pairing import Pairing

CHECKPOINT_MS = 1000


def save(pairing: Pairing, one: Observed, identity: str, folder: Path) -> Path:
    """Write what the bridge was given and did in the worst trial of a way; return the file."""
    if one.worst is None:
        raise ValueError(one.path.name)
    stimulus = stimulus_of(Rig(pairing, one.resting), one.worst)
    every = max(1, CHECKPOINT_MS // pairing.spec.tick_ms)
    board = ReferenceBoard(pairing)
    board.reset(ResetCause.POWER_ON, False)
    writer = Writer(pairing)
    records = []
    for tick, (inputs, frames) in enumerate(stimulus):
        outputs = board.step(inputs, frames)
        digest = board.digest() if is_checkpoint(tick, every, len(stimulus) - 1) else None
        arriving = tuple([Stimulus(frame, len(frame.data)) for frame in frames])
        record = writer.record(tick, None, inputs, arriving, outputs, digest)
        if record is not None:
            records.append(record)
    header = Header(
        identity=identity,
        title=f"Slower than its bound: {one.path.name}",
        pairing=pairing.name,
        pairing_digest=pairing.digest,
        rules=RULES,
        tick_ms=pairing.spec.tick_ms,
        ticks=len(stimulus),
        checkpoint_ticks=every,
        hunts=(),
        scenario="-",
        scenario_digest="-",
        random=None,
    )
    folder.mkdir(parents=True, exist_ok=True)
    return write_vector(folder, identity, render(header, records))
