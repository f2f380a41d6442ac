"""A failing vector, cut to what is needed to see it fail.

The stimulus is taken apart into events: a frame, a new state of one input, a reset. Delta debugging
(Zeller and Hildebrandt, "Simplifying and isolating failure-inducing input", IEEE Transactions on
Software Engineering 28, 2002: the algorithm ddmin) leaves out ever smaller parts, each try from a
fresh reset of the board and of a fresh reference side by side, and keeps what still fails in the
same way. Then the waits between the events that are left are shortened.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from hil.boards.interface import Board
from hil.boards.reference import ReferenceBoard
from hil.differences import Kind, frame_kind
from hil.repetition import Play
from hil.vectors.names import Names
from hil.vectors.stimulus import initial_inputs
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

RUN_ON_TICKS = 50  # beyond the first difference: with fewer events it may come a little later
FAMILIES = {Kind.LATE: Kind.MISSING, Kind.EARLY: Kind.EXTRA}
Said = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Event:
    """One event. Exactly one of frame, reset and pin is set; a pin is (field, place, value)."""

    tick: int
    frame: Frame | None = None
    reset: tuple[ResetCause, bool] | None = None
    pin: tuple[str, int, int] | None = None


@dataclass(frozen=True, slots=True)
class Failure:
    """The first tick in which board and reference part, how, and what the reference put out."""

    tick: int
    kind: Kind
    wanted: Outputs
    actual: Outputs
    fields: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Reduced:
    """The events left of how many, after how many tries, and how they fail."""

    events: tuple[Event, ...]
    of: int
    tries: int
    failure: Failure


def events_of(plays: Iterator[Play], names: Names, ticks: int) -> list[Event]:
    """Return the stimulus of the first ticks as events, in order."""
    events: list[Event] = []
    before = initial_inputs(names)
    for tick, reset, inputs, frames in plays:
        if tick >= ticks:
            break
        if reset is not None:
            events.append(Event(tick, reset=reset))
        if inputs is not before:
            events += [Event(tick, pin=pin) for pin in pin_changes(before, inputs)]
            before = inputs
        events += [Event(tick, frame=frame) for frame in frames]
    return events


def pin_changes(before: Inputs, after: Inputs) -> Iterator[tuple[str, int, int]]:
    """Yield (field, place, value) of every input that is different."""
    for field in ("levels", "counts", "periods"):
        old, new = getattr(before, field), getattr(after, field)
        for place, (one, other) in enumerate(zip(old, new, strict=True)):
            if one != other:
                yield field, place, int(other)
    if before.supply_mv != after.supply_mv:
        yield "supply_mv", 0, after.supply_mv
    for place, (was, now) in enumerate(zip(before.buses, after.buses, strict=True)):
        if was != now:
            yield "buses", place, now  # type: ignore[misc]


def with_pin(inputs: Inputs, pin: tuple[str, int, int]) -> Inputs:
    """Return the inputs with one of them changed."""
    field, place, value = pin
    if field == "supply_mv":
        return inputs._replace(supply_mv=value)
    old = getattr(inputs, field)
    new = bool(value) if field == "levels" else value
    changed: dict[str, Any] = {field: (*old[:place], new, *old[place + 1 :])}
    return inputs._replace(**changed)


def first_failure(
    events: Sequence[Event], names: Names, board: Board, ticks: int, state: bool
) -> Failure | None:
    """Run events on the board beside a reference; `state` looks at the digest in every tick."""
    reference = ReferenceBoard(names.pairing)
    for one in (reference, board):
        one.reset(ResetCause.POWER_ON, False)
    inputs = initial_inputs(names)
    place = 0
    for tick in range(ticks):
        frames: list[Frame] = []
        while place < len(events) and events[place].tick == tick:
            event = events[place]
            place += 1
            if event.reset is not None:
                reference.reset(*event.reset)
                board.reset(*event.reset)
            elif event.pin is not None:
                inputs = with_pin(inputs, event.pin)
            elif event.frame is not None:
                frames.append(event.frame)
        wanted = reference.step(inputs, tuple(frames))
        actual = board.step(inputs, tuple(frames))
        if wanted != actual:
            return Failure(tick, kind_of(wanted, actual), wanted, actual)
        if state and reference.digest() != board.digest():
            from hil.repetition import different_fields

            fields = tuple(
                (one.path, one.reference, one.board)
                for one in different_fields(reference, board.image())
            )
            return Failure(tick, Kind.STATE, wanted, actual, fields)
    return None


def kind_of(wanted: Outputs, actual: Outputs) -> Kind:
    """Return in what way two outputs of a tick differ."""
    for expected, sent in zip(wanted.frames, actual.frames, strict=True):
        if expected != sent:
            return frame_kind(expected, sent)[0]
    return Kind.PIN


def reduce_events(
    events: Sequence[Event], names: Names, board: Board, kind: Kind, last_tick: int, said: Said
) -> Reduced | None:
    """Return the least events found that still fail in the same way; None when they do not fail."""
    kind = FAMILIES.get(kind, kind)
    tries = 0
    found: Failure | None = None

    def fails(part: Sequence[Event]) -> bool:
        nonlocal tries, found
        tries += 1
        until = (part[-1].tick if part else 0) + RUN_ON_TICKS + 1
        until = min(max(until, last_tick + 1), last_tick + RUN_ON_TICKS)
        failure = first_failure(part, names, board, until, kind is Kind.STATE)
        if failure is None or failure.kind is not kind:
            return False
        found = failure
        said(tries, len(part))
        return True

    kept = list(events)
    if not fails(kept):
        return None
    kept = ddmin(kept, fails)
    kept = closer(kept, fails)
    kept = ddmin(kept, fails)  # of two events that came together one may do
    fails(kept)
    if found is None:
        raise AssertionError  # kept fails: it has been tried
    return Reduced(tuple(kept), len(events), tries, found)


def ddmin(events: list[Event], fails: Callable[[Sequence[Event]], bool]) -> list[Event]:
    """Return a part of the events that fails and from which no single one can be left out."""
    parts = 2
    while len(events) >= 2:
        size = -(-len(events) // parts)
        chunks = [events[start : start + size] for start in range(0, len(events), size)]
        smaller = next((chunk for chunk in chunks if fails(chunk)), None)
        if smaller is not None:
            events, parts = smaller, 2
            continue
        if len(chunks) > 2:
            rest = next((part for part in without_each(chunks) if fails(part)), None)
            if rest is not None:
                events, parts = rest, max(parts - 1, 2)
                continue
        if size == 1:
            break
        parts = min(2 * parts, len(events))
    return [] if len(events) == 1 and fails([]) else events


def without_each(chunks: Sequence[list[Event]]) -> Iterator[list[Event]]:
    """Yield all events without one of the chunks, for each of them."""
    for left_out in range(len(chunks)):
        yield [one for n, chunk in enumerate(chunks) if n != left_out for one in chunk]


def closer(events: list[Event], fails: Callable[[Sequence[Event]], bool]) -> list[Event]:
    """Shorten the waits between events as far as they still fail, by halves."""
    place = 0
    while place < len(events):
        before = events[place - 1].tick if place else 0
        wait = events[place].tick - before
        low = 0
        while low < wait:
            middle = (low + wait) // 2
            earlier = [
                *events[:place],
                *(replace(one, tick=one.tick - (wait - middle)) for one in events[place:]),
            ]
            if fails(earlier):
                events, wait = earlier, middle
            else:
                low = middle + 1
        place += 1
    return events
