"""Does the reference do what the person said? Judgement after a run (watching.py looked)."""

import bisect
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from hil.vectors.names import show, to_physical
from hil.vectors.scenario import (
    EventExpectation,
    Expectation,
    FrameExpectation,
    OrderExpectation,
    ValueExpectation,
)
from hil.vectors.watching import Observation, Series, Watch
from xlate_core.buses import BusCommand
from xlate_core.pins import PinKind

SHOWN_FRAMES = 4


class Disagreement(NamedTuple):
    """An expectation of the person that the reference does not meet."""

    line: int
    expectation: str
    observed: str


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
