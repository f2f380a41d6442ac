"""Does the reference do what the person said? Observation during a run, judgement after it.

A value is looked at in the ticks that an expectation speaks of. Only to tell of one that was not
met, the run is repeated and every value looked at in every tick (`throughout`).
"""

import bisect
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from hil.boards.interface import ObservedBoard
from hil.vectors.names import Names, OutputPin, show, to_physical
from hil.vectors.scenario import (
    FOREVER,
    EventExpectation,
    Expectation,
    FrameExpectation,
    OrderExpectation,
    ValueExpectation,
)
from xlate_core.bridge import Outputs
from xlate_core.buses import BusCommand
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.layouts import DbcSignal
from xlate_core.pins import PinKind
from xlate_core.signals import extract

Observation = tuple[int | None, str]
Look = Callable[[Outputs, ObservedBoard], Observation]
NOTHING: Observation = (None, "")
PINS_OF_KIND: dict[PinKind, Callable[[Outputs], Sequence[int]]] = {
    PinKind.LEVEL: lambda outputs: outputs.levels,
    PinKind.DUTY: lambda outputs: outputs.duty,
    PinKind.FREQUENCY: lambda outputs: outputs.frequency,
}
SHOWN_FRAMES = 4


class Seen(NamedTuple):
    """One event of the run, at the tick of the scenario (not since the last reset)."""

    tick: int
    reason: str
    subject: str


class Disagreement(NamedTuple):
    """An expectation of the person that the reference does not meet."""

    line: int
    expectation: str
    observed: str


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
    """One source that is looked at, and when: `spans` of ticks in falling order, the next last.

    A `steady` source tells the same as long as the module puts out the same.
    """

    series: Series
    look: Look
    steady: bool
    spans: list[tuple[int, int]]

    def look_at(self, tick: int, same: bool, outputs: Outputs, board: ObservedBoard) -> int:
        """Look when it is time; return the tick of the next look. `same`: outputs as before.

        A steady source is to be looked at besides whenever the outputs move while it is open.
        """
        if not self.spans:
            return FOREVER
        first, last = self.spans[-1]
        if tick >= first:
            if not (same and self.steady and tick > first):
                self.series.add(tick, self.look(outputs, board))
            if tick < last:
                return last if self.steady else tick + 1
            self.spans.pop()
            return self.spans[-1][0] if self.spans else FOREVER
        return first

    def is_open(self, tick: int) -> bool:
        """Return whether the time to look has begun and goes on."""
        return bool(self.spans) and self.spans[-1][0] <= tick


@dataclass(slots=True)
class Watch:
    """Everything the expectations of one scenario need to see."""

    names: Names
    series: dict[tuple[str, ...], Series]
    signals: dict[tuple[str, ...], tuple[tuple[int, bool, int], DbcSignal]]
    pins: dict[tuple[str, ...], OutputPin]
    newest: dict[tuple[int, bool, int], bytes]
    frames: dict[tuple[int, bool, int], list[tuple[int, bytes]]]
    events: list[Seen]
    of_events: bool = False
    glances: list[Glance] = field(default_factory=list)
    outputs: Outputs | None = None
    nearest: int = 0
    steady_open: bool = False

    @property
    def sees_anything(self) -> bool:
        """Whether there is anything to look at at all."""
        return bool(self.of_events or self.frames or self.glances)

    def look(self, tick: int, outputs: Outputs, board: ObservedBoard) -> None:
        """Look at the module after a tick.

        It may put out the same object again only while it sends nothing and no pin moves.
        """
        if self.of_events:
            for event in board.take_events():
                self.events.append(Seen(tick, event.reason.name.lower(), event.subject))
        same = outputs is self.outputs
        if not same:
            self.outputs = outputs
            if self.signals or self.frames:
                self._take_frames(tick, outputs)
        if tick >= self.nearest or (self.steady_open and not same):
            self._look_around(tick, same, outputs, board)

    def _take_frames(self, tick: int, outputs: Outputs) -> None:
        for frames in outputs.frames:
            for frame in frames:
                key = frame[:3]
                self.newest[key] = frame.data
                if key in self.frames:
                    self.frames[key].append((tick, frame.data))

    def _look_around(self, tick: int, same: bool, outputs: Outputs, board: ObservedBoard) -> None:
        nearest = FOREVER
        steady_open = False
        for one in self.glances:
            nearest = min(nearest, one.look_at(tick, same, outputs, board))
            if one.steady and one.is_open(tick):
                steady_open = True
        self.nearest, self.steady_open = nearest, steady_open


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

    With `throughout` values are looked at in every tick, as telling of a disagreement needs.
    """
    watch = Watch(names, {}, {}, {}, {}, {}, [])
    spans: dict[tuple[str, ...], list[tuple[int, int]]] = {}
    for one in expectations:
        if isinstance(one, FrameExpectation | OrderExpectation):
            watch.frames.setdefault(one.key, [])
        elif isinstance(one, EventExpectation):
            watch.of_events = True
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
    watch.glances = [
        Glance(
            series,
            look_of(source, watch),
            steady=source[0] not in ("quantity", "state"),
            spans=[(0, FOREVER)] if throughout else joined(spans[source]),
        )
        for source, series in watch.series.items()
    ]
    return watch


def joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return spans of ticks with those that touch or overlap as one, in falling order."""
    found: list[tuple[int, int]] = []
    for first, last in sorted(spans, reverse=True):
        if found and last >= found[-1][0] - 1:
            found[-1] = (first, max(last, found[-1][1]))
        else:
            found.append((first, last))
    return found


def judge(expectations: Sequence[Expectation], watch: Watch) -> list[Disagreement]:
    """Return every expectation that the run did not meet, with what was seen instead."""
    found = []
    for one in expectations:
        observed: str | None = None
        if isinstance(one, ValueExpectation):
            observed = judge_value(one, watch)
        elif isinstance(one, FrameExpectation):
            observed = judge_frames(one, watch)
        elif isinstance(one, OrderExpectation):
            observed = judge_order(one, watch)
        elif isinstance(one, EventExpectation):
            observed = judge_events(one, watch)
        if observed is not None:
            found.append(Disagreement(one.line, one.text, observed))
    return found


def judge_value(one: ValueExpectation, watch: Watch) -> str | None:
    """Judge `at`, `becomes` and `stays`; return what was seen when it does not fit."""
    series = watch.series[one.source]
    tick_ms = watch.names.tick_ms
    history = series.during(one.first, one.last)
    fits = [(tick, one.wanted.accepts(*value)) for tick, value in history]
    if one.timing == "becomes":
        before = series.at(one.first - 1)
        if one.first > 0 and one.wanted.accepts(*before):
            return f"it was so already at {(one.first - 1) * tick_ms} ms"
        if any(good for _, good in fits):
            return None
        later = next(
            (
                tick
                for tick, value in zip(series.ticks, series.values, strict=True)
                if tick > one.last and one.wanted.accepts(*value)
            ),
            None,
        )
        shown = shown_value(one, watch, series.at(one.last))
        if later is None:
            return f"never until the end; at {one.last * tick_ms} ms it was {shown}"
        return f"only at {later * tick_ms} ms; at {one.last * tick_ms} ms it was {shown}"
    for tick, good in fits:
        if not good:
            shown = shown_value(one, watch, series.at(tick))
            return f"at {tick * tick_ms} ms it was {shown}{last_change(series, tick, tick_ms)}"
    return None


def last_change(series: Series, tick: int, tick_ms: int) -> str:
    """Return since when the value has been so."""
    place = bisect.bisect_right(series.ticks, tick)
    return f", since {series.ticks[place - 1] * tick_ms} ms" if place else ""


def shown_value(one: ValueExpectation, watch: Watch, observed: Observation) -> str:
    """Return an observed value as a person writes it."""
    value, status = observed
    if value is None:
        return "nothing yet"
    if one.source[0] == "quantity":
        physical = show(value * watch.names.resolutions[one.source[1]])
        return f"{physical} ({value} steps), status {status}"
    if one.source[0] == "sent":
        signal = watch.signals[one.source][1]
        return f"{show(to_physical(signal, value))} (raw {value})"
    if one.source[0] == "output":
        pin = watch.pins[one.source]
        if pin.kind is PinKind.LEVEL:
            state = "active" if bool(value) == pin.active_high else "inactive"
            return f"{state} ({'high' if value else 'low'})"
        return str(value)
    if one.source[0] == "state":
        return str(value)
    if one.source[0] == "command":
        return BusCommand(value).name.lower()
    return "on" if value else "off"


def judge_frames(one: FrameExpectation, watch: Watch) -> str | None:
    """Judge presence, octets, number and period of frames."""
    tick_ms = watch.names.tick_ms
    every = watch.frames[one.key]
    inside = [(tick, data) for tick, data in every if one.first <= tick <= one.last]
    if one.period:
        return judge_period(one, [tick for tick, _ in inside], tick_ms)
    if one.count is not None:
        if len(inside) == one.count:
            return None
        return f"{len(inside)} frames{shown_frames(inside, tick_ms)}"
    if any(one.data is None or data == one.data for _, data in inside):
        return None
    if inside:
        return "it carried " + ", ".join(data.hex() or "-" for _, data in inside)
    near = sorted(every, key=lambda entry: abs(entry[0] - one.first))[:2]
    return f"no frame in this tick{shown_frames(near, tick_ms, 'nearest')}"


def judge_order(one: OrderExpectation, watch: Watch) -> str | None:
    """Judge a sequence: exactly these frames of the identifier, in this order."""
    inside = [entry for entry in watch.frames[one.key] if one.first <= entry[0] <= one.last]
    seen = tuple(data for _, data in inside)
    if seen == one.data:
        return None
    place = next(
        (i for i, (a, b) in enumerate(zip(seen, one.data, strict=False)) if a != b),
        min(len(seen), len(one.data)),
    )
    at = f" at {inside[place][0] * watch.names.tick_ms} ms" if place < len(inside) else ""
    found = (inside[place][1].hex() or "-") if place < len(inside) else "no frame"
    wanted = (one.data[place].hex() or "-") if place < len(one.data) else "no further one"
    return f"{len(seen)} frames; number {place + 1} is {found}{at}, expected {wanted}"


def shown_frames(frames: list[tuple[int, bytes]], tick_ms: int, word: str = "first") -> str:
    """Return some frames as a person reads them."""
    if not frames:
        return ""
    shown = ", ".join(
        f"{data.hex() or '-'} at {tick * tick_ms} ms" for tick, data in frames[:SHOWN_FRAMES]
    )
    return f"; {word}: {shown}"


def judge_period(one: FrameExpectation, ticks: list[int], tick_ms: int) -> str | None:
    """Judge neighbours exactly a period apart and both ends of the window."""
    if not ticks:
        return "no frame in the window"
    if ticks[0] - one.first > one.period:
        return f"the first frame in the window came at {ticks[0] * tick_ms} ms"
    if one.last - ticks[-1] > one.period:
        return f"the last frame in the window came at {ticks[-1] * tick_ms} ms"
    for former, latter in pairwise(ticks):
        if latter - former != one.period:
            return (
                f"frames at {former * tick_ms} ms and {latter * tick_ms} ms are "
                f"{(latter - former) * tick_ms} ms apart"
            )
    return None


def judge_events(one: EventExpectation, watch: Watch) -> str | None:
    """Judge the number of events in a window."""
    tick_ms = watch.names.tick_ms
    alike = [
        event
        for event in watch.events
        if event.reason == one.reason and one.subject in ("", event.subject)
    ]
    inside = [event for event in alike if one.first <= event.tick <= one.last]
    if one.count is None and inside:
        return None
    if one.count == len(inside):
        return None
    shown = ", ".join(f"{event.tick * tick_ms} ms" for event in (inside or alike)[:SHOWN_FRAMES])
    where = f"; at {shown}" if inside else f"; elsewhere at {shown}" if alike else ""
    subjects = sorted({event.subject for event in watch.events if event.reason == one.reason})
    other = ""
    if not alike and subjects:
        other = f"; subjects of {one.reason} in this run: {', '.join(subjects[:SHOWN_FRAMES])}"
    return f"{len(inside)} events{where}{other}"
