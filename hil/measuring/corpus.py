"""Execution times over stored vectors."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from hil.boards.interface import Stimulus
from hil.measuring.meter import Meter, Plan
from hil.measuring.samples import Samples
from hil.repetition import stimulus
from hil.runner import Pairings, load_for_run
from xlate_core.bridge import Inputs
from xlate_core.frames import Frame

MOST_TICKS = 2500
"""Ticks measured of one vector, unless more are asked for; longer ones go on in the same way."""


@dataclass(slots=True)
class Times:
    """Times of the three calls of the core."""

    receive: Samples = field(default_factory=Samples)
    tick: Samples = field(default_factory=Samples)
    reset: Samples = field(default_factory=Samples)

    def merge(self, other: "Times") -> None:
        """Take the times of another."""
        self.receive.merge(other.receive)
        self.tick.merge(other.tick)
        self.reset.merge(other.reset)


@dataclass(slots=True)
class Labelled:
    """A plan, and for each of its answers the kind of call and a description of its input."""

    plan: Plan = field(default_factory=Plan)
    labels: list[tuple[str, str]] = field(default_factory=list)

    def reset(self, where: str) -> None:
        """Append a reset."""
        self.plan.reset()
        self.labels.append(("reset", where))

    def frame(self, frame: Frame, where: str) -> None:
        """Append a received frame."""
        self.plan.frame(Stimulus(frame, len(frame.data)))
        self.labels.append(("receive", f"{where}, {frame_words(frame)}"))

    def tick(self, inputs: Inputs, where: str) -> None:
        """Append a tick."""
        self.plan.tick(inputs)
        self.labels.append(("tick", where))

    def idle(self, ticks: int, vector: str, first: int) -> None:
        """Append idle ticks."""
        self.plan.idle(ticks)
        self.labels += [("tick", f"{vector} tick {first + i}") for i in range(ticks)]

    def times(self, answers: Sequence[int]) -> Times:
        """Sort the answers of the plan into samples."""
        times = Times()
        for (kind, where), answer in zip(self.labels, answers, strict=True):
            samples: Samples = getattr(times, kind)
            samples.add(answer, where)
        return times


def frame_words(frame: Frame) -> str:
    """Return a frame as text."""
    digits = 8 if frame.extended else 3
    bus = ("body", "engine")[frame.bus]
    return f"{bus} {frame.identifier:0{digits}X} {frame.data.hex(' ')}".rstrip()


def measure_vector(
    meter: Meter, path: Path, pairings: Pairings, most_ticks: int = MOST_TICKS
) -> Times:
    """Run the beginning of a vector on the board and return its times."""
    vector, names = load_for_run(path, pairings)
    name = vector.header.identity
    labelled = Labelled()
    labelled.reset(f"{name}, power-on")
    last: Inputs | None = None
    idle_from, idle = 0, 0
    for tick, reset, inputs, frames in islice(stimulus(vector, names), most_ticks):
        if inputs == last and not frames and reset is None:
            if idle == 0:
                idle_from = tick
            idle += 1
            continue
        labelled.idle(idle, name, idle_from)
        idle = 0
        if reset is not None:
            labelled.reset(f"{name} tick {tick}")
        for frame in frames:
            labelled.frame(frame, f"{name} tick {tick}")
        labelled.tick(inputs, f"{name} tick {tick}, {len(frames)} frames before it")
        last = inputs
    labelled.idle(idle, name, idle_from)
    return labelled.times(meter.run(labelled.plan))


def measure_corpus(
    meter: Meter,
    paths: Sequence[Path],
    pairings: Pairings,
    most_ticks: int = MOST_TICKS,
    progress: Callable[[str], None] = lambda _: None,
) -> dict[str, Times]:
    """Return the times of every vector by its name."""
    found = {}
    for number, path in enumerate(paths):
        progress(f"{number + 1}/{len(paths)} {path.name}")
        found[path.name.split(".")[0]] = measure_vector(meter, path, pairings, most_ticks)
    return found
