"""Evidence: for every line of the table a vector, run on boards.

A vector is one try from power-on: the situation is reached, the fault comes, stays and goes. One
try often shows several lines, so the fewest tries that show all lines are looked for, one after the
other. The straight run has to end where the table, built with snapshots, says it does.
"""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from hil import runner
from hil.boards.interface import Board, Stimulus
from hil.vectors.generation import is_checkpoint
from hil.vectors.records import Writer
from hil.vectors.vector import Header, load_vector, render, write_vector
from tools.failsafe.bench import Bench
from tools.failsafe.build import Builder
from tools.failsafe.faults import Fault
from tools.failsafe.folding import Line
from tools.failsafe.matching import Situation, show_situation
from tools.failsafe.rows import Row, show_value
from tools.failsafe.trying import watch_ticks
from xlate_core.bridge import RULES, Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

CHECKPOINT_TICKS = 1000
AFTER_MS = 500  # of the recovery are in the vector
Place = tuple[str, str, Situation]  # class, subject, situation


@dataclass(frozen=True, slots=True)
class Proof:
    """A vector and the lines it shows. `differs` are outputs that end otherwise than in the table.

    `boards` holds the verdict of every board it ran on; `broken` says of every broken copy of the
    core that was tried whether it was seen.
    """

    vector: str
    digest: str
    fault: str
    situation: str
    lines: tuple[str, ...]
    differs: tuple[str, ...]
    boards: dict[str, str]
    broken: dict[str, bool] = field(default_factory=dict)


def places(
    lines: Sequence[Line], rows: Sequence[Row], every_class: bool
) -> list[tuple[Place, list[Line]]]:
    """Return the fewest tries that show all lines, or each class of faults in each line.

    Greedy, always the same. Each try comes with what it shows first. Lines of faults the bench
    cannot make have no try.
    """
    place_of = {row.id: (row.kind, row.subject, row.situation) for row in rows if row.situation}
    shown: dict[Place, dict[str, Line]] = {}
    for line in lines:
        for place in dict.fromkeys(place_of[one] for one in line.ids if one in place_of):
            shown.setdefault(place, {})[line.digest] = line
    left = {_goal(digest, place, every_class) for place, found in shown.items() for digest in found}
    chosen: list[tuple[Place, list[Line]]] = []
    for place in sorted(shown, key=lambda one: -len(shown[one])):
        goals = {_goal(digest, place, every_class): line for digest, line in shown[place].items()}
        new = [line for goal, line in goals.items() if goal in left]
        if new:
            left -= set(goals)
            chosen.append((place, new))
    return chosen


def _goal(digest: str, place: Place, every_class: bool) -> tuple[str, str]:
    return digest, place[0] if every_class else ""


def prove(
    builder: Builder,
    lines: Sequence[Line],
    rows: Sequence[Row],
    folder: Path,
    boards: dict[str, Board],
    said: Callable[[int, int], None],
    every_class: bool = False,
) -> Iterator[Proof]:
    """Write the vectors of all lines into a folder and run them on the boards."""
    wanted = places(lines, rows, every_class)
    for number, (place, shown) in enumerate(wanted, start=1):
        said(number, len(wanted))
        kind, subject, situation = place
        fault = next(
            one
            for one in builder.faults_in(situation)
            if (one.kind, one.subject) == (kind, subject)
        )
        here = [row for row in rows if (row.kind, row.subject, row.situation) == place]
        identity = f"failsafe_{hashlib.sha256(repr(place).encode()).hexdigest()[:12]}"
        text, differs = _record(builder, fault, situation, here, identity)
        path = write_vector(folder, identity, text)
        yield Proof(
            path.name,
            hashlib.sha256(text).hexdigest(),
            fault.name,
            show_situation(situation),
            tuple(line.digest for line in shown),
            differs,
            {name: _run(path, builder, board) for name, board in boards.items()},
        )


def _run(path: Path, builder: Builder, board: Board) -> str:
    result = runner.run_vector(load_vector(path), builder.names.names, board, "")
    return result.verdict.value


class _Tape:
    """Takes down everything that reaches and leaves the bridge."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.steps: list[
            tuple[tuple[ResetCause, bool] | None, Inputs, tuple[Stimulus, ...], Outputs, int | None]
        ] = []

    def take(
        self,
        reset: tuple[ResetCause, bool] | None,
        inputs: Inputs,
        frames: list[Frame],
        outputs: Outputs,
    ) -> None:
        tick = len(self.steps)
        digest = self.bench.bridge.digest() if is_checkpoint(tick, CHECKPOINT_TICKS, -1) else None
        stimuli = tuple(Stimulus(frame, len(frame.data)) for frame in frames)
        self.steps.append((reset, inputs, stimuli, outputs, digest))


def _record(
    builder: Builder, fault: Fault, situation: Situation, rows: Sequence[Row], identity: str
) -> tuple[bytes, tuple[str, ...]]:
    """Return the vector of one try, and the outputs that end otherwise than the table says."""
    bench, required, names = builder.bench, builder.required, builder.names
    tape = _Tape(bench)
    bench.on_step = tape.take
    try:
        without = frozenset({fault.subject}) if fault.from_start else frozenset()
        bench.base = bench.reach(required, situation, without)
        if not fault.from_start:
            fault.apply(bench)
            bench.run(watch_ticks(required, builder.speaking, fault, situation, bench.tick_ms))
        differs = tuple(
            row.output
            for row in rows
            if show_value(names, row.output, bench.watch.values.get(row.output)) != row.observed
        )
        fault.remove(bench)
        bench.run(AFTER_MS // bench.tick_ms)
    finally:
        bench.on_step = None
    last = bench.bridge.digest()
    writer = Writer(names.pairing)
    records = []
    ticks = len(tape.steps)
    for tick, (reset, inputs, stimuli, outputs, digest) in enumerate(tape.steps):
        digest = last if tick == ticks - 1 else digest
        record = writer.record(tick, reset, inputs, stimuli, outputs, digest)
        if record is not None:
            records.append(record)
    header = Header(
        identity=identity,
        title=f"{fault.name}; {show_situation(situation)}",
        pairing=names.pairing.name,
        pairing_digest=names.pairing.digest,
        rules=RULES,
        tick_ms=names.pairing.spec.tick_ms,
        ticks=ticks,
        checkpoint_ticks=CHECKPOINT_TICKS,
        hunts=(),
        scenario=required.path.name,
        scenario_digest=required.digest,
        random=None,
    )
    return render(header, records), differs
