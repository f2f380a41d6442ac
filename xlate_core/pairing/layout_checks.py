"""Checks of the network databases alone: lengths, overlaps, one identifier twice."""

from itertools import combinations

from xlate_core.frames import (
    MAX_DATA_LENGTH,
    FrameKey,
)
from xlate_core.pairing.layouts import DbcMessage, DbcSignal, Ranges
from xlate_core.pairing.problems import Collector


def check_database(messages: tuple[DbcMessage, ...], collector: Collector) -> None:
    """Collect every problem of one database."""
    by_key: dict[FrameKey, DbcMessage] = {}
    by_name: dict[str, DbcMessage] = {}
    for message in messages:
        first = by_key.setdefault(message.key, message)
        if first is not message:
            collector.add_file(
                message.file,
                message.line,
                message.name,
                f"identifier {message.shown_identifier} a second time",
                f"an identifier of its own ({first.name} in line {first.line} has it)",
            )
        twin = by_name.setdefault(message.name, message)
        if twin is not message:
            collector.add_file(
                message.file,
                message.line,
                message.name,
                "this message name a second time",
                f"a name of its own (line {twin.line} has it)",
            )
        check_message(message, collector)


def check_message(message: DbcMessage, collector: Collector) -> None:
    """Collect every problem of one message and its signals."""
    if message.length > MAX_DATA_LENGTH:
        collector.add_file(
            message.file,
            message.line,
            message.name,
            f"a message of {message.length} octets",
            f"at most {MAX_DATA_LENGTH} octets (classic CAN)",
        )
    names: set[str] = set()
    for signal in message.signals:
        path = f"{message.name}.{signal.name}"
        if signal.name in names:
            collector.add_file(
                message.file, signal.line, path, "this signal name a second time", "its own name"
            )
        names.add(signal.name)
        if signal.factor == 0:
            collector.add_file(message.file, signal.line, path, "factor 0", "another factor")
        if signal.selector is not None and message.signal(signal.selector) is None:
            collector.add_file(
                message.file,
                signal.line,
                path,
                f'multiplexer "{signal.selector}"',
                f"a signal of {message.name}",
            )
        _check_place(message, signal, collector)
    for first, second in combinations(message.signals, 2):
        _check_overlap(message, first, second, collector)


def _check_place(message: DbcMessage, signal: DbcSignal, collector: Collector) -> None:
    fits = signal.spec.fits and signal.spec.last_octet < message.length
    if not fits and message.length <= MAX_DATA_LENGTH:
        collector.add_file(
            message.file,
            signal.line,
            f"{message.name}.{signal.name}",
            f"start bit {signal.spec.start}, length {signal.spec.length}, reaching beyond the end",
            f"a place inside the {message.length} octets of the message",
        )


def _check_overlap(
    message: DbcMessage, first: DbcSignal, second: DbcSignal, collector: Collector
) -> None:
    if not (first.spec.fits and second.spec.fits) or exclusive(message, first, second):
        return
    shared = first.spec.bits & second.spec.bits
    if shared:
        collector.add_file(
            message.file,
            second.line,
            f"{message.name}.{second.name}",
            f"bit {min(shared)} shared with {first.name} (line {first.line})",
            "signals that do not overlap, or different multiplexer values",
        )


def exclusive(message: DbcMessage, first: DbcSignal, second: DbcSignal) -> bool:
    """Return whether two signals are never in the same frame: different multiplexer values."""
    own, other = selection(message, first), selection(message, second)
    return any(
        selector in other and not _meet(ranges, other[selector]) for selector, ranges in own.items()
    )


def selection(message: DbcMessage, signal: DbcSignal) -> dict[str, Ranges]:
    """Return the multiplexer values a signal needs, its selector's own ones included."""
    needed: dict[str, Ranges] = {}
    at: DbcSignal | None = signal
    while at is not None and at.selector is not None and at.selector not in needed:
        needed[at.selector] = at.selected_by
        at = message.signal(at.selector)
    return needed


def _meet(first: Ranges, second: Ranges) -> bool:
    return any(a <= d and c <= b for a, b in first for c, d in second)
