"""What a run is looked at for: values, frames and events, in the ticks an expectation speaks of.

Looking costs time, and an engine that tells its events cannot run in its fast form. So a value is
looked at in the ticks somebody asks about, and only when it can have moved; events are listened to
in their ticks alone. To tell of an expectation that was not met, the run is repeated and everything
is looked at in every tick (`throughout`).
"""

import bisect
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from hil.boards.interface import ObservedBoard
from hil.vectors.names import Names, OutputPin
from hil.vectors.scenario import (
    FOREVER,
    EventExpectation,
    Expectation,
    FrameExpectation,
    OrderExpectation,
    ValueExpectation,
)
from xlate_core.bridge import Outputs
from xlate_core.events import Reason
from xlate_core.frames import BUS_NAMES, Frame
from xlate_core.pairing.layouts import DbcSignal
from xlate_core.pins import PinKind
from xlate_core.signals import extract

Observation = tuple[int | None, str]
Look = Callable[[Outputs, ObservedBoard], Observation]
Ticks = tuple[int, int]
"""The first and the last of a span of ticks."""

Key = tuple[int, bool, int]
NOTHING: Observation = (None, "")
PINS_OF_KIND: dict[PinKind, Callable[[Outputs], Sequence[int]]] = {
    PinKind.LEVEL: lambda outputs: outputs.levels,
    PinKind.DUTY: lambda outputs: outputs.duty,
    PinKind.FREQUENCY: lambda outputs: outputs.frequency,
}
WORTH_A_PAUSE = 200  # ticks without a listener; the fast form comes back into its own after some


class Seen(NamedTuple):
    """One event of the run, at the tick of the scenario (not since the last reset)."""

    tick: int
    reason: str
    subject: str


@dataclass(slots=True)
class Series:
    """The values of one source over time: change points only."""

    ticks: list[int] = field(default_factory=list)
    values: list[Observation] = field(default_factory=list)

    def add(self, tick: int, value: Observation) -> None:
        """Take the value after a tick."""
        if not self.values or self.values[-1] != value:
            self.ticks.append(tick)
            self.values.append(value)

    def at(self, tick: int) -> Observation:
        """Return the value after a tick; before the first one there is nothing."""
        place = bisect.bisect_right(self.ticks, tick)
        return self.values[place - 1] if place else NOTHING

    def during(self, first: int, last: int) -> list[tuple[int, Observation]]:
        """Return the value at `first` and the changes up to and including `last`."""
        begin = bisect.bisect_right(self.ticks, first)
        end = bisect.bisect_right(self.ticks, last)
        changes = list(zip(self.ticks[begin:end], self.values[begin:end], strict=True))
        return [(first, self.at(first)), *changes]


@dataclass(slots=True)
class Glance:
    """One source that is looked at, and when: `spans` in falling order, the next last.

    What the engine knows inside can move in any tick. What it puts out moves with the outputs, a
    sent signal with a frame of its message.
    """

    source: tuple[str, ...]
    series: Series
    look: Look
    spans: list[Ticks]

    @property
    def is_inside(self) -> bool:
        """Whether the source is inside the engine."""
        return self.source[0] in ("quantity", "state")

    def next_turn(self, tick: int) -> tuple[bool, int]:
        """Return whether it is looked at in a tick, and the next tick in which that changes."""
        while self.spans and self.spans[-1][1] < tick:
            self.spans.pop()
        if not self.spans:
            return False, FOREVER
        first, last = self.spans[-1]
        return (True, last + 1) if first <= tick else (False, first)


@dataclass(slots=True)
class Watch:
    """Everything the expectations of one scenario need to see.

    `nearest` is the next tick in which a source begins or ends to be looked at, `turn` that in
    which events begin or end to be listened to. Of the sources looked at now, `inside`, `on_pins`
    and `on_frames` are those inside the engine, on its pins and in its frames, by message.
    """

    names: Names
    series: dict[tuple[str, ...], Series] = field(default_factory=dict)
    signals: dict[tuple[str, ...], tuple[Key, DbcSignal]] = field(default_factory=dict)
    pins: dict[tuple[str, ...], OutputPin] = field(default_factory=dict)
    newest: dict[Key, bytes] = field(default_factory=dict)
    frames: dict[Key, list[tuple[int, bytes]]] = field(default_factory=dict)
    events: list[Seen] = field(default_factory=list)
    glances: list[Glance] = field(default_factory=list)
    hearing: list[Ticks] = field(default_factory=list)
    reasons: frozenset[Reason] | None = None
    wanted: frozenset[Key] = frozenset()
    nearest: int = 0
    turn: int = FOREVER
    listens: bool = False
    inside: list[Glance] = field(default_factory=list)
    on_pins: list[Glance] = field(default_factory=list)
    on_frames: dict[Key, list[Glance]] = field(default_factory=dict)
    rest: tuple[object, ...] = ()

    @property
    def sees_anything(self) -> bool:
        """Whether there is anything to look at at all."""
        return bool(self.glances or self.wanted or self.hearing or self.listens)

    def listen(self, tick: int, board: ObservedBoard) -> None:
        """Have the board tell its events from this tick on, or tell them no more; before `tick`."""
        self.listens = bool(self.hearing) and self.hearing[-1][0] <= tick
        board.observe(self.listens, self.reasons)
        if self.listens:
            self.turn = self.hearing.pop()[1] + 1
        else:
            self.turn = self.hearing[-1][0] if self.hearing else FOREVER

    def look(self, tick: int, outputs: Outputs, board: ObservedBoard) -> int:
        """Look at the module after a tick; return the next tick to look though nothing moves.

        Nothing moved while it puts out the same object again.
        """
        if self.listens:
            for event in board.take_events():
                self.events.append(Seen(tick, event.reason.name.lower(), event.subject))
        if self.wanted:
            body, engine = outputs.frames
            if body or engine:
                self._take_frames(tick, (*body, *engine), outputs, board)
        if tick >= self.nearest:
            self._look_around(tick, outputs, board)
        else:
            for one in self.inside:
                one.series.add(tick, one.look(outputs, board))
            if self.on_pins and outputs[1:] != self.rest:
                self.rest = outputs[1:]
                for one in self.on_pins:
                    one.series.add(tick, one.look(outputs, board))
        if self.inside or self.listens:
            return tick + 1
        return min(self.nearest, self.turn - 1)

    def _take_frames(
        self, tick: int, frames: tuple[Frame, ...], outputs: Outputs, board: ObservedBoard
    ) -> None:
        for frame in frames:
            key = frame[:3]
            if key in self.wanted:
                self.newest[key] = frame.data
                if key in self.frames:
                    self.frames[key].append((tick, frame.data))
        if self.on_frames:
            for key in {frame[:3] for frame in frames}:
                for one in self.on_frames.get(key, ()):
                    one.series.add(tick, one.look(outputs, board))

    def _look_around(self, tick: int, outputs: Outputs, board: ObservedBoard) -> None:
        """Look at every source whose time it is, and sort them by what can move them."""
        self.nearest = FOREVER
        self.inside, self.on_pins, self.on_frames = [], [], {}
        self.rest = outputs[1:]
        for one in self.glances:
            is_open, turn = one.next_turn(tick)
            self.nearest = min(self.nearest, turn)
            if not is_open:
                continue
            one.series.add(tick, one.look(outputs, board))
            if one.is_inside:
                self.inside.append(one)
            elif one.source in self.signals:
                self.on_frames.setdefault(self.signals[one.source][0], []).append(one)
            else:
                self.on_pins.append(one)


def look_of(source: tuple[str, ...], watch: Watch) -> Look:
    """Return what tells the value of a source after a tick."""
    match source[0]:
        case "quantity":
            return lambda _, board: board.quantity(source[1])
        case "state":
            return lambda _, board: (board.field(source[1]), "")
        case "command":
            bus = BUS_NAMES.index(source[1])
            return lambda outputs, _: (outputs.commands[bus], "")
        case "hold":
            return lambda outputs, _: (int(outputs.power_hold), "")
        case "output":
            kind, place = watch.pins[source].kind, watch.pins[source].index
            return lambda outputs, _: (int(PINS_OF_KIND[kind](outputs)[place]), "")
    key, signal = watch.signals[source]

    def sent(_: Outputs, __: ObservedBoard) -> Observation:
        data = watch.newest.get(key)
        if data is None or signal.spec.last_octet >= len(data):
            return NOTHING
        return extract(signal.spec, data), ""

    return sent


def new_watch(expectations: Sequence[Expectation], names: Names, throughout: bool = False) -> Watch:
    """Return a watch over what the expectations are about, in the ticks they are about.

    With `throughout` everything is looked at in every tick, as telling of a disagreement needs.
    """
    watch = Watch(names)
    spans: dict[tuple[str, ...], list[Ticks]] = {}
    of_events: list[Ticks] = []
    reasons: set[Reason] = set()
    for one in expectations:
        if isinstance(one, FrameExpectation | OrderExpectation):
            watch.frames.setdefault(one.key, [])
        elif isinstance(one, EventExpectation):
            of_events.append((max(one.first, 0), one.last))
            reasons.add(Reason[one.reason.upper()])
        elif isinstance(one, ValueExpectation):
            watch.series.setdefault(one.source, Series())
            spans.setdefault(one.source, []).append((max(one.first - 1, 0), one.last))
            if one.source[0] == "sent":
                layout = names.layouts[one.source[1]]
                signal = layout.signal(one.source[2])
                if signal is not None:
                    watch.signals[one.source] = (layout.key, signal)
            elif one.source[0] == "output":
                watch.pins[one.source] = names.outputs[one.source[1]]
    for source, series in watch.series.items():
        times = [(0, FOREVER)] if throughout else joined(spans[source])
        watch.glances.append(Glance(source, series, look_of(source, watch), times))
    if of_events:
        watch.hearing = [(0, FOREVER)] if throughout else joined(of_events, WORTH_A_PAUSE)
        watch.turn = watch.hearing[-1][0]
        watch.reasons = None if throughout else frozenset(reasons)
    watch.wanted = frozenset(watch.frames) | {key for key, _ in watch.signals.values()}
    return watch


def joined(spans: list[Ticks], pause: int = 0) -> list[Ticks]:
    """Return spans with those that overlap or are at most `pause` ticks apart as one, falling."""
    found: list[Ticks] = []
    for first, last in sorted(spans, reverse=True):
        if found and last >= found[-1][0] - 1 - pause:
            found[-1] = (first, max(last, found[-1][1]))
        else:
            found.append((first, last))
    return found
