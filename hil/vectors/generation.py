"""Scenario -> vector: the reference fills in bytes, and fails if it disagrees with the person."""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path

from hil.boards.interface import Stimulus
from hil.boards.reference import ReferenceBoard
from hil.vectors import random_traffic
from hil.vectors.expectations import Disagreement, judge
from hil.vectors.names import Names
from hil.vectors.reading import read_scenario, read_text
from hil.vectors.records import Shown, Writer
from hil.vectors.scenario import Scenario
from hil.vectors.stimulus import Span, spans
from hil.vectors.vector import Header, file_content, render
from hil.vectors.watching import Watch, new_watch
from xlate_core.bridge import RULES, Outputs
from xlate_core.frames import Frame

FRAME_OF: Callable[[Stimulus], Frame] = itemgetter(0)
MOST_OPEN = 1024  # lines of output gathered before they go into a hash


@dataclass(frozen=True, slots=True)
class Generated:
    """The result of one scenario: the vector's file, and where the person was not met."""

    identity: str
    suffix: str
    content: bytes
    disagreements: tuple[Disagreement, ...]
    ticks: int
    expectations: int
    hunts: tuple[str, ...]


def generate(path: Path, names: Names, fast: bool = False) -> Generated:
    """Play a scenario on the reference; raises ScenarioError for a mistake in the file."""
    text = read_text(path)
    scenario = read_scenario(path, text, names)
    records, disagreements = run_reference(scenario, names, fast)
    header = header_of(scenario, path, text, names)
    suffix, content = file_content(render(header, records))
    return Generated(
        header.identity,
        suffix,
        content,
        tuple(disagreements),
        header.ticks,
        len(scenario.expectations),
        header.hunts,
    )


def header_of(scenario: Scenario, path: Path, text: str, names: Names) -> Header:
    """Return the header of the vector of a scenario."""
    head = scenario.header
    return Header(
        identity=head.identity,
        title=head.title,
        pairing=names.pairing.name,
        pairing_digest=names.pairing.digest,
        rules=RULES,
        tick_ms=names.tick_ms,
        ticks=head.ticks,
        checkpoint_ticks=head.checkpoint_ticks,
        hunts=head.hunts,
        scenario=path.name,
        scenario_digest=hashlib.sha256(text.encode("utf-8")).hexdigest(),
        random=head.random,
    )


def spans_of(scenario: Scenario, names: Names) -> Iterator[Span]:
    """Return what reaches the module."""
    random = scenario.header.random
    if random is None:
        return spans(scenario, names)
    return random_traffic.spans(names, random.seed, random.style, scenario.header.ticks)


def run_reference(
    scenario: Scenario, names: Names, fast: bool = False
) -> tuple[list[str], list[Disagreement]]:
    """Run a scenario; return the records of its vector and what the person is not met in.

    When something is not met it is run once more, looked at throughout, to tell what was seen.
    """
    watch = new_watch(scenario.expectations, names)
    records = run_watched(scenario, names, fast, watch)
    found = judge(scenario.expectations, watch)
    if found:
        watch = new_watch(scenario.expectations, names, throughout=True)
        records = run_watched(scenario, names, fast, watch)
        found = judge(scenario.expectations, watch)
    return records, found


def run_watched(scenario: Scenario, names: Names, fast: bool, watch: Watch) -> list[str]:
    """Run a scenario under a watch; return the records of its vector.

    A tick in which nothing arrives, leaves or moves costs no more than the engine's tick: the
    engine puts out the same object again, and there is something to do before `attention` only if
    it does not.
    """
    board = ReferenceBoard(names.pairing, fast=fast)
    engine = board.bridge
    random = scenario.header.random is not None
    writer = Writer(names.pairing)
    stream = Stream()
    every, last = scenario.header.checkpoint_ticks, scenario.header.ticks - 1
    checkpoint = min(every - 1, last)
    records: list[str] = []
    watch.listen(0, board)
    look = watch.look if watch.sees_anything else None
    for first, reset, inputs, stimuli, until in spans_of(scenario, names):
        if reset is not None:
            board.reset(*reset)
        if stimuli:
            engine.receive_all(map(FRAME_OF, stimuli))
        attention = first
        former: Outputs | None = None
        for tick in range(first, until):
            outputs = engine.tick(inputs)
            if outputs is former and tick < attention:
                continue
            former = outputs
            digest = None
            if tick == checkpoint:
                digest = board.digest()
                checkpoint = min(tick + every, last)
            if random:
                stream.add(tick, outputs)
                if digest is not None:
                    records.append(f"{tick}||||d={digest:08X} x={stream.hash()}")
            else:
                record = writer.record(tick, reset, inputs, stimuli, outputs, digest)
                if record is not None:
                    records.append(record)
            reset, stimuli = None, ()
            attention = checkpoint
            if look is None:
                continue
            attention = min(checkpoint, look(tick, outputs, board))
            if tick + 1 >= watch.turn:
                watch.listen(tick + 1, board)
    return records


def is_checkpoint(tick: int, every: int, last: int) -> bool:
    """Return whether the digest is taken after a tick: every N ticks and at the end (rule 15)."""
    return (tick + 1) % every == 0 or tick == last


class Stream:
    """The hash over all output since the start, for random vectors."""

    def __init__(self) -> None:
        """Start with nothing put out."""
        self._hash = hashlib.sha256()
        self._rest: tuple[object, ...] | None = None
        self._open: list[str] = []  # not yet in the hash
        self._show = Shown().__getitem__

    def add(self, tick: int, outputs: Outputs) -> None:
        """Take the outputs of a tick: its frames, and everything else when it changed."""
        body, engine = outputs.frames
        if body:
            self._open.append(f"{tick} 0 {' '.join(map(self._show, body))}\n")
        if engine:
            self._open.append(f"{tick} 1 {' '.join(map(self._show, engine))}\n")
        if outputs[1:] != self._rest:
            self._rest = outputs[1:]
            numbers = (
                *outputs.commands,
                *outputs.levels,
                *outputs.duty,
                *outputs.frequency,
                outputs.power_hold,
            )
            shown = " ".join(str(int(number)) for number in numbers)
            self._open.append(f"{tick} = {shown}\n")
        if len(self._open) >= MOST_OPEN:
            self._take_in()

    def hash(self) -> str:
        """Return the hash up to here in hex."""
        self._take_in()
        return self._hash.hexdigest()

    def _take_in(self) -> None:
        self._hash.update("".join(self._open).encode("ascii"))
        self._open.clear()
