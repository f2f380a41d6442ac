"""What happened around a difference, as one self-contained SVG.

Time goes to the right; the tick of the difference is the dashed upright. Inputs and outputs are
stepped lines, frames are marks. What was expected is a solid line or a filled mark, what the board
did is a dotted line or a hollow mark: shapes tell them apart, colour says nothing. The numbers at
the tick of the difference stand beside each row.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from typing import TypeVar

from hil.differences import Difference
from hil.explanation import message_name, named_rest
from hil.vectors.names import Names
from hil.vectors.records import Reader
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs
from xlate_core.frames import Frame

BEFORE = 60
"""Ticks shown before the difference."""
AFTER = 20
ROW = 22
LEFT = 230
WIDTH = 520
RIGHT = 430
MOST_MESSAGES = 14
MOST_DATA = 60
T = TypeVar("T")


@dataclass(slots=True)
class Row:
    """One row: steps of (tick, level 0..1), or marks at ticks; text beside it."""

    name: str
    steps: list[tuple[int, float]] = field(default_factory=list)
    expected: list[int] = field(default_factory=list)
    actual: list[int] = field(default_factory=list)
    dotted: tuple[float, float] | None = None
    beside: str = ""
    different: bool = False


@dataclass(slots=True)
class Window:
    """The ticks shown and what is known of each."""

    first: int
    last: int
    inputs: list[tuple[int, Inputs]] = field(default_factory=list)
    rests: list[tuple[int, tuple[object, ...]]] = field(default_factory=list)
    received: dict[str, list[int]] = field(default_factory=dict)
    sent: dict[str, list[int]] = field(default_factory=dict)


def around(vector: Vector, names: Names, difference: Difference) -> str:
    """Return the SVG, empty for random traffic, of which no frame is stored."""
    if vector.header.random is not None:
        return ""
    window = collect(vector, names, difference)
    rows = input_rows(names, window, difference)
    rows += frame_rows(names, window, difference)
    rows += output_rows(names, window, difference)
    return draw(rows, window, difference, vector.header.tick_ms, vector.header.identity)


def collect(vector: Vector, names: Names, difference: Difference) -> Window:
    """Return what the vector says around the difference."""
    window = Window(
        max(0, difference.tick - BEFORE), min(vector.header.ticks - 1, difference.tick + AFTER)
    )
    for record in Reader(vector, names.pairing).records():
        if record.tick > window.last:
            break
        at = max(record.tick, window.first)
        note(window.inputs, at, record.inputs)
        note(window.rests, at, record.rest)
        if record.tick < window.first:
            continue
        for frame in record.frames:
            window.received.setdefault(message_name(names, frame[:3]), []).append(record.tick)
        for frame in (*record.expected[0], *record.expected[1]):
            window.sent.setdefault(message_name(names, frame[:3]), []).append(record.tick)
    return window


def note(series: list[tuple[int, T]], tick: int, value: T) -> None:
    """Add a value from a tick on; of those before the window only the last stays."""
    if series and series[-1][0] == tick:
        series[-1] = (tick, value)
    else:
        series.append((tick, value))


def scaled(values: list[tuple[int, int]]) -> list[tuple[int, float]]:
    """Return values as levels 0..1 between their smallest and largest."""
    numbers = [value for _, value in values]
    low, span = min(numbers), max(max(numbers) - min(numbers), 1)
    return [(tick, (value - low) / span) for tick, value in values]


def input_rows(names: Names, window: Window, difference: Difference) -> list[Row]:
    """Return a row for every input pin and the supply."""
    rows = []
    for name, (index, active_high) in names.levels.items():
        steps = [(tick, float(one.levels[index] == active_high)) for tick, one in window.inputs]
        active = difference.inputs.levels[index] == active_high
        rows.append(Row(f"input {name}", steps, beside="active" if active else "inactive"))
    for name, index in names.analogues.items():
        steps = scaled([(tick, one.counts[index]) for tick, one in window.inputs])
        beside = f"{difference.inputs.counts[index]} counts"
        rows.append(Row(f"input {name}", steps, beside=beside))
    steps = scaled([(tick, one.supply_mv) for tick, one in window.inputs])
    rows.append(Row("supply", steps, beside=f"{difference.inputs.supply_mv} mV"))
    return rows


def data_of(names: Names, frames: tuple[Frame, ...], name: str) -> str:
    """Return the octets of the frames of one message."""
    found = [
        frame.data.hex(" ") or "-" for frame in frames if message_name(names, frame[:3]) == name
    ]
    return ", ".join(found)[:MOST_DATA] or "none"


def frame_rows(names: Names, window: Window, difference: Difference) -> list[Row]:
    """Return rows of the messages received, and of those sent, expected and actual."""
    rows = [
        Row(f"in {name}", expected=ticks, beside=data_of(names, difference.frames, name))
        for name, ticks in list(window.received.items())[:MOST_MESSAGES]
    ]
    expected = (*difference.expected[0], *difference.expected[1])
    actual = (*difference.actual[0], *difference.actual[1])
    sent = dict(window.sent)
    for frame in actual:
        sent.setdefault(message_name(names, frame[:3]), [])
    for name in sorted(
        sent, key=lambda one: data_of(names, expected, one) == data_of(names, actual, one)
    ):
        wanted, found = data_of(names, expected, name), data_of(names, actual, name)
        seen = [tick for tick in sent[name] if tick < difference.tick]
        if found != "none":
            seen.append(difference.tick)
        row = Row(f"out {name}", expected=sent[name], actual=seen, beside=wanted)
        if wanted != found:
            row.beside, row.different = f"expected {wanted} | actual {found}", True
        rows.append(row)
        if len(rows) > 2 * MOST_MESSAGES:
            break
    return rows


def output_rows(names: Names, window: Window, difference: Difference) -> list[Row]:
    """Return a row of every output pin, bus command and the power hold."""
    if not difference.expected_rest:
        return []
    wanted = named_rest(names, difference.expected_rest)
    actual = dict(named_rest(names, difference.actual_rest))
    history = [(tick, dict(named_rest(names, rest))) for tick, rest in window.rests if rest]
    rows = []
    for name, shown in wanted:
        words = list(dict.fromkeys([said[name] for _, said in history] + [shown, actual[name]]))
        # Numbers rise with their value, states in the order they appear in.
        words.sort(key=lambda one: int("".join(filter(str.isdigit, one)) or 0))
        top = max(len(words) - 1, 1)
        row = Row(name, [(tick, words.index(said[name]) / top) for tick, said in history])
        row.beside = shown
        if actual[name] != shown:
            row.beside, row.different = f"expected {shown} | actual {actual[name]}", True
            row.dotted = (words.index(shown) / top, words.index(actual[name]) / top)
        rows.append(row)
    return rows


def draw(rows: list[Row], window: Window, difference: Difference, tick_ms: int, title: str) -> str:
    """Return the drawing."""
    span = max(window.last - window.first + 1, 1)
    height = ROW * (len(rows) + 3)
    whole = LEFT + WIDTH + RIGHT

    def across(tick: int) -> int:
        return LEFT + WIDTH * (tick - window.first) // span

    said = f"{title}: first difference at tick {difference.tick} ({difference.tick * tick_ms} ms)"
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {height}" '
            'width="100%" font-family="sans-serif" font-size="11" role="img">'
        ),
        f"<title>{escape(said)}</title>",
    ]
    upright = across(difference.tick)
    bottom = ROW * (len(rows) + 1)
    parts.append(
        f'<path d="M{upright} {ROW - 8}V{bottom}" stroke="black" stroke-dasharray="5 3"/>'
        f'<text x="{upright}" y="{ROW - 11}" text-anchor="middle">{difference.tick * tick_ms} ms'
        "</text>"
    )
    for number, row in enumerate(rows):
        base = ROW * (number + 2) - 6
        weight = ' font-weight="bold"' if row.different else ""
        parts.append(f'<text x="4" y="{base - 2}"{weight}>{escape(row.name)}</text>')
        parts.append(
            f'<text x="{LEFT + WIDTH + 8}" y="{base - 2}" font-size="10"{weight}>'
            f"{escape(row.beside)}</text>"
        )
        parts += stepped(row, base, across, upright)
        parts += [
            f'<path d="M{across(tick)} {base}l4 -9h-8z" fill="black"/>' for tick in row.expected
        ]
        parts += [
            f'<circle cx="{across(tick)}" cy="{base - 4}" r="5" fill="none" stroke="black"/>'
            for tick in row.actual
        ]
    for tick in (window.first, window.last):
        parts.append(
            f'<text x="{across(tick)}" y="{bottom + 12}" font-size="10" text-anchor="middle">'
            f"{tick * tick_ms} ms</text>"
        )
    parts.append(
        f'<text x="4" y="{bottom + 28}" font-size="10">solid line, filled mark: expected; dotted '
        "line, ring: the board; bold: different; numbers: at the dashed upright</text></svg>"
    )
    return "".join(parts)


def stepped(row: Row, base: int, across: Callable[[int], int], upright: int) -> list[str]:
    """Return the stepped line of a row, and the dotted one of the board from the difference on."""
    parts = []
    if row.steps:
        path = ""
        for tick, level in row.steps:
            y = base - round((ROW - 10) * level)
            path += f"H{across(tick)}V{y}" if path else f"M{across(tick)} {y}"
        parts.append(
            f'<path d="{path}H{LEFT + WIDTH}" fill="none" stroke="black" stroke-width="1.3"/>'
        )
    if row.dotted is not None:
        wanted, found = (base - round((ROW - 10) * level) for level in row.dotted)
        parts.append(
            f'<path d="M{upright} {wanted}V{found}H{LEFT + WIDTH}" fill="none" stroke="black" '
            'stroke-width="2" stroke-dasharray="1 3"/>'
        )
    return parts
