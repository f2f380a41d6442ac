"""Network databases (DBC) through cantools: layouts, scales as exact ratios, attributes, lines.

The library is read with its own layout checks off; ours follow in `layout_checks`. Nothing is ever
looked up by identifier, because 0x100 standard and 0x100 extended are two messages.
"""

import re
import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from xlate_core.errors import readable, reason_of
from xlate_core.frames import MAX_EXTENDED_IDENTIFIER, MAX_STANDARD_IDENTIFIER
from xlate_core.pairing.exact import to_ratio
from xlate_core.pairing.layouts import DbcMessage, DbcSignal, Ranges
from xlate_core.pairing.problems import Collector, nearest_name
from xlate_core.signals import ByteOrder, SignalSpec

if TYPE_CHECKING:
    from cantools.database.can.message import Message
    from cantools.database.can.signal import Signal

INDEPENDENT = "VECTOR__INDEPENDENT_SIG_MSG"  # the format's place for signals without a message
EXTENDED = 1 << 31  # how the format marks a 29-bit identifier
MAX_SELECTOR_SPAN = 0x10000  # the library stores every value of a range on its own

_MESSAGE = re.compile(r"^\s*BO_\s+(\d+)\s+(\w+)\s*:")
_SIGNAL = re.compile(r"^\s*SG_\s+(\w+)[\s:]")
_VALUES = re.compile(r"^\s*(VAL_\s+(\d+)\s+(\w+))\s")
_MULTIPLEX = re.compile(r"^\s*SG_MUL_VAL_\s+\d+\s+(\w+)\s+\w+\s+([^;]*);", re.MULTILINE)
_RANGE = re.compile(r"(\d+)\s*-\s*(\d+)")
_SYNTAX_LINE = re.compile(r"line (\d+), column (\d+)")

Lines = list[tuple[int, dict[str, int]]]


def read_database(path: Path, bus: int, collector: Collector) -> tuple[DbcMessage, ...] | None:
    """Return the messages of one database in the order of the file; None after a problem."""
    try:
        data = path.read_bytes()
    except OSError as error:
        collector.add_file(path.name, None, "", reason_of(error), "a readable DBC file")
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")  # the code page the format grew up with
    lines = text.replace("\r\n", "\n")
    if not (
        _spans_fit(path.name, lines, collector) & _identifiers_fit(path.name, lines, collector)
    ):
        return None
    parsed = _parse(path.name, lines, collector)
    if parsed is None:
        return None
    messages, definitions = parsed
    places = _places(lines)
    if len(places) != len(messages):
        places = [(1, {}) for _ in messages]
    if not messages:
        collector.add_file(path.name, 1, "", "no message (BO_)", "a DBC file with messages")
        return None
    return tuple(
        _message(path.name, bus, message, definitions, place)
        for message, place in zip(messages, places, strict=True)
    )


def _parse(
    file: str, text: str, collector: Collector
) -> tuple[list["Message"], dict[str, Any]] | None:
    try:
        database = _library().dbc.load_string(text, strict=False, sort_signals=None)
    # A damaged file can trip the library anywhere, so whatever it raises is one clear problem.
    except Exception as error:  # noqa: BLE001
        if _tell_strange_values(file, text, collector):
            return None
        place = _SYNTAX_LINE.search(str(error))
        line = int(place[1]) if place else None
        rows = text.splitlines()
        expected = "a complete DBC file"
        if isinstance(error, KeyError):
            uses = (number for number, row in enumerate(rows, 1) if f'"{error.args[0]}"' in row)
            line = next(uses, None)
            expected = "a name that the file declares" if line else expected
        if line is not None and line <= len(rows) and rows[line - 1].strip():
            found = f"`{readable(rows[line - 1].strip()[:60])}`"
        else:
            found = "a text that ends or breaks off where the format does not allow it"
        collector.add_file(file, line, "", found, expected)
        return None
    specifics = database.dbc
    return list(database.messages), dict(specifics.attribute_definitions) if specifics else {}


def _library() -> ModuleType:
    """Return the library's formats; heavy, so only a load brings them.

    Whoever imports the library gets its tester too, and with it a bus library that takes eight
    times as long as all the rest. Nobody here uses it, so an empty module stands in meanwhile.
    """
    tester = "cantools.tester"
    apart = "cantools" not in sys.modules
    if apart:
        sys.modules[tester] = ModuleType(tester)
    try:
        from cantools.database.can import formats
    finally:
        if apart:
            del sys.modules[tester]
    return formats


def _spans_fit(file: str, text: str, collector: Collector) -> bool:
    """Refuse selector ranges that no message can need before they fill the memory."""
    fits = True
    for match in _MULTIPLEX.finditer(text):
        for low, high in _RANGE.findall(match[2]):
            if int(high) - int(low) >= MAX_SELECTOR_SPAN:
                line = text[: match.start(1)].count("\n") + 1
                span = f"selector range {low}-{high}"
                collector.add_file(
                    file, line, match[1], span, f"at most {MAX_SELECTOR_SPAN} selector values"
                )
                fits = False
    return fits


def _identifiers_fit(file: str, text: str, collector: Collector) -> bool:
    """Refuse identifiers beyond 11 or 29 bit, each in its line; the library stops at the first."""
    fits = True
    for number, line in enumerate(text.splitlines(), start=1):
        message = _MESSAGE.match(line)
        if message is None or message[2] == INDEPENDENT:
            continue
        identifier = int(message[1])
        extended = bool(identifier & EXTENDED)
        limit = MAX_EXTENDED_IDENTIFIER if extended else MAX_STANDARD_IDENTIFIER
        if identifier & ~EXTENDED > limit:
            found = f"identifier 0x{identifier & ~EXTENDED:X}"
            expected = f"at most 0x{limit:X}; bit 31 of the number marks a 29-bit identifier"
            collector.add_file(file, number, message[2], found, expected)
            fits = False
    return fits


def _tell_strange_values(file: str, text: str, collector: Collector) -> bool:
    """Tell value tables of no message or signal, each in its line; return whether there are any.

    They are left over when a message got another number.
    """
    rows = text.splitlines()
    signals: dict[int, list[str]] = {}
    own: list[str] = []
    for row in rows:
        if message := _MESSAGE.match(row):
            own = signals.setdefault(int(message[1]), [])
        elif signal := _SIGNAL.match(row):
            own.append(signal[1])
    strange = False
    for line, row in enumerate(rows, start=1):
        values = _VALUES.match(row)
        if values is None or values[3] in signals.get(int(values[2]), ()):
            continue
        strange = True
        known = signals.get(int(values[2]), [])
        expected = "a signal of that message" if known else "the number of a message with signals"
        nearest = nearest_name(values[3], known)
        collector.add_file(file, line, "", f"`{values[1]}`", expected, nearest)
    return strange


def _places(text: str) -> Lines:
    """Return the line of every message and of its signals, in the order of the file."""
    places: Lines = []
    signals: dict[str, int] | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        if message := _MESSAGE.match(line):
            signals = {}
            if message[2] != INDEPENDENT:
                places.append((number, signals))
        elif signals is not None and (signal := _SIGNAL.match(line)):
            signals.setdefault(signal[1], number)
    return places


def _message(
    file: str,
    bus: int,
    message: "Message",
    definitions: dict[str, Any],
    place: tuple[int, dict[str, int]],
) -> DbcMessage:
    line, signal_lines = place
    cycle = _attribute(message, definitions, "GenMsgCycleTime")
    return DbcMessage(
        bus=bus,
        name=message.name,
        identifier=message.frame_id,
        extended=message.is_extended_frame,
        length=message.length,
        signals=tuple(
            _signal(signal, definitions, signal_lines.get(signal.name, line))
            for signal in message.signals
        ),
        cycle_ms=_whole(cycle),
        send_type=message.send_type,
        file=file,
        line=line,
    )


def _signal(signal: "Signal", definitions: dict[str, Any], line: int) -> DbcSignal:
    order = ByteOrder.INTEL if signal.byte_order == "little_endian" else ByteOrder.MOTOROLA
    choices: dict[int, object] = dict(signal.choices or {})
    return DbcSignal(
        spec=SignalSpec(signal.name, signal.start, signal.length, order, signal.is_signed),
        factor=exact(signal.scale),
        offset=exact(signal.offset),
        minimum=None if signal.minimum is None else exact(signal.minimum),
        maximum=None if signal.maximum is None else exact(signal.maximum),
        unit=signal.unit or "",
        values=tuple(sorted((int(raw), str(name)) for raw, name in choices.items())),
        initial=_whole(_attribute(signal, definitions, "GenSigStartValue")),
        is_float=signal.is_float,
        is_selector=signal.is_multiplexer,
        selector=signal.multiplexer_signal,
        selected_by=ranges(signal.multiplexer_ids or ()),
        line=line,
    )


def exact(value: object) -> Fraction:
    """Return a number of the library as the exact decimal it was written as, as far as that goes.

    The library yields floats; their shortest decimal is what stood in the file.
    """
    return to_ratio(int(value) if isinstance(value, int) else repr(value))


def _attribute(item: "Message | Signal", definitions: dict[str, Any], name: str) -> object:
    """Return an attribute as written, else its default if that is not 0; None when not given.

    An explicit 0 is a statement; the default 0 that every tool writes is none.
    """
    specifics = item.dbc
    own = specifics.attributes.get(name) if specifics is not None else None
    if own is not None:
        value: object = own.value
        return value
    definition = definitions.get(name)
    return (definition.default_value or None) if definition is not None else None


def _whole(value: object) -> int | None:
    if value is None:
        return None
    try:
        number = exact(value)
    except ValueError:
        return None
    return number.numerator if number.denominator == 1 else None


def ranges(values: "list[int] | tuple[int, ...]") -> Ranges:
    """Return sorted single values as inclusive ranges."""
    result: list[tuple[int, int]] = []
    for value in sorted(set(values)):
        if result and value == result[-1][1] + 1:
            result[-1] = (result[-1][0], value)
        else:
            result.append((value, value))
    return tuple(result)
