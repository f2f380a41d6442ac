"""After a difference: the vector again from reset, with a digest every tick (rule 15).

The board and a fresh reference run side by side on the same stimulus. The first tick on which their
state images differ is where the fault acts, often long before an output shows it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice

from hil.boards.interface import Board, ForesightedBoard, foresight
from hil.boards.reference import ReferenceBoard
from hil.differences import Difference
from hil.vectors import plays, random_traffic
from hil.vectors.names import Names
from hil.vectors.records import Reader, initial
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

Play = tuple[int, tuple[ResetCause, bool] | None, Inputs, tuple[Frame, ...]]
MOST_FIELDS = 8


@dataclass(frozen=True, slots=True)
class FieldDifference:
    """A state field that differs: path, value of the reference, value of the board."""

    path: str
    reference: int
    board: int


@dataclass(frozen=True, slots=True)
class Repetition:
    """What the repetition found. `state_tick` is the first tick with different state images.

    `output_tick` is the first tick on which board and reference put out something different, with
    both outputs. Both None: the board does what today's reference does, so the vector is at odds
    with the reference.
    """

    ticks: int
    state_tick: int | None
    fields: tuple[FieldDifference, ...]
    output_tick: int | None
    frames: tuple[Frame, ...] = ()
    reference_outputs: Outputs | None = None
    board_outputs: Outputs | None = None


def stimulus(vector: Vector, names: Names) -> Iterator[Play]:
    """Yield every tick of a vector's stimulus."""
    random = vector.header.random
    ticks = vector.header.ticks
    if random is not None:
        for step in random_traffic.steps(names, random.seed, random.style, ticks):
            yield step.tick, step.reset, step.inputs, tuple(one.frame for one in step.stimuli)
        return
    inputs = initial(names.pairing)
    tick = 0
    for record in Reader(vector, names.pairing).records():
        while tick < record.tick:
            yield tick, None, inputs, ()
            tick += 1
        inputs = record.inputs
        yield tick, record.reset, inputs, record.frames
        tick += 1


def repeat(vector: Vector, names: Names, board: Board, difference: Difference) -> Repetition:
    """Run the vector again up to the difference with a digest every tick."""
    reference = ReferenceBoard(names.pairing)
    start = plays.start_of(names)
    with replay(vector, names, board, difference.tick + 1) as ahead:
        if isinstance(board, ForesightedBoard):
            board.foresee(plays.every_tick(ahead, start))
        found = side_by_side(vector, names, reference, board, difference.tick + 1)
    if found.state_tick is None:
        return found
    fields = fields_at(vector, names, reference, board, found.state_tick)
    return replace(found, fields=fields)


@contextmanager
def replay(
    vector: Vector, names: Names, board: Board, ticks: int
) -> Iterator[Iterator[plays.Play]]:
    """Put a board back to the start of a vector; yield what its first ticks do to it."""
    board.reset(ResetCause.POWER_ON, False)
    with foresight(board):
        yield plays.first(ticks, plays.of_vector(vector, names), plays.start_of(names))


def side_by_side(
    vector: Vector, names: Names, reference: ReferenceBoard, board: Board, ticks: int
) -> Repetition:
    """Run reference and board with a digest every tick until their outputs differ."""
    reference.reset(ResetCause.POWER_ON, False)
    state_tick: int | None = None
    count = 0
    for tick, reset, inputs, frames in islice(stimulus(vector, names), ticks):
        if reset is not None:
            reference.reset(*reset)
            board.reset(*reset)
        wanted = reference.step(inputs, frames)
        actual = board.step(inputs, frames)
        count = tick + 1
        if state_tick is None and reference.digest() != board.digest():
            state_tick = tick
        if wanted != actual:
            return Repetition(count, state_tick, (), tick, frames, wanted, actual)
    return Repetition(count, state_tick, (), None)


def fields_at(
    vector: Vector, names: Names, reference: ReferenceBoard, board: Board, tick: int
) -> tuple[FieldDifference, ...]:
    """Run both again up to a tick; return the state fields in which they differ there."""
    reference.reset(ResetCause.POWER_ON, False)
    with replay(vector, names, board, tick + 1) as ahead:
        if isinstance(board, ForesightedBoard):
            board.foresee(ahead)
        for _, reset, inputs, frames in islice(stimulus(vector, names), tick + 1):
            if reset is not None:
                reference.reset(*reset)
                board.reset(*reset)
            reference.step(inputs, frames)
            board.step(inputs, frames)
        return different_fields(reference, board.image())


def different_fields(reference: ReferenceBoard, image: bytes) -> tuple[FieldDifference, ...]:
    """Return the fields in which a board's image differs from the reference's."""
    found = []
    place = 0
    for path, declaration, value in reference.bridge.dump():
        octets = image[place : place + declaration.width.octets]
        place += declaration.width.octets
        other = int.from_bytes(octets, "little", signed=declaration.width.signed)
        if other != value:
            found.append(FieldDifference(path, value, other))
    return tuple(found[:MOST_FIELDS])
