"""The bridge.toml of a draft: reception, quantities and transmission with their evidence."""

from fractions import Fraction

from tools.logs.drafting import DraftMessage, DraftSignal

DEADLINE_PERIODS = 4
"""Common practice, no source: a message counts as lost after 3 to 5 periods."""
EVENT_DEADLINE_MS = 0

_HEAD = """\
# A draft made from a log. Every entry is a guess; the comment above it says what speaks for it.
# Check each on the vehicle, replace the constants under [transmit...] by quantities, and run
# `xlate pairing check` after every edit. Work on a raised, unpowered vehicle with pump and starter
# disarmed until the bench vectors pass; a bench result is no approval for the road.
format = 1
name = "{name}"
description = "Draft from {source}"

[clock]
tick_ms = 1
control_ms = 10

[bus.body]
bit_rate = 500000 # edit: the log does not tell
database = "body.dbc"

[bus.engine]
bit_rate = 500000 # edit: the log does not tell
database = "engine.dbc"

[condition.ignition_on]
power_modes = ["ignition_on", "cranking", "running"]

[input.ignition_switch] # edit: the pin of the ignition
kind = "level"
active = "high"
debounce_ms = 20

[quantity.ignition]
range = [0, 1]
from = "input.ignition_switch"
"""

_POWER = """
[power]
ignition = "ignition"
engine_speed = "{speed}" # edit: the quantity that holds the engine speed
running_above = {above}
running_below = {below}
"""


def bridge(name: str, source: str, messages: list[DraftMessage]) -> str:
    """Return the text of bridge.toml."""
    parts = [_HEAD.format(name=name, source=source)]
    received = [message for message in messages if not message.sent]
    if received:
        parts.append("\n# Reception " + "-" * 86)
    for message in received:
        parts.append(_receive(message))
    parts.append("\n# Quantities " + "-" * 85)
    quantities = [
        (message, signal)
        for message in received
        for signal in message.signals
        if not signal.is_protection and not signal.is_selector
    ]
    speed = [(m, s) for m, s in quantities if s.place.length >= 10 and s.path is None][:1]
    for message, signal in quantities:
        parts.append(_quantity(message, signal, used=(message, signal) in speed))
    parts.append("\n# Transmission " + "-" * 83)
    for message in messages:
        if message.sent:
            parts.append(_transmit(message))
    if speed:
        high = (1 << speed[0][1].place.length) // 2
        told = {"above": high // 4 or 2, "below": high // 8 or 1}
        parts.append(_POWER.format(speed=quantity_name(*speed[0]), **told))
    else:
        parts.append("\n[quantity.engine_speed] # edit: where it comes from\nrange = [0, 8000]\n")
        parts.append(_POWER.format(speed="engine_speed", above=400, below=200))
    return "".join(parts)


def quantity_name(message: DraftMessage, signal: DraftSignal) -> str:
    """Return the name of the quantity a received signal becomes."""
    return f"{message.name}_{signal.name}".lower()


def _comments(message: DraftMessage) -> str:
    return "".join(f"# {line}\n" for text in message.comments for line in _wrapped(text))


def _receive(message: DraftMessage) -> str:
    deadline = DEADLINE_PERIODS * message.period_ms if message.period_ms else EVENT_DEADLINE_MS
    lines = [f"\n{_comments(message)}[receive.{message.bus}.{message.name}]"]
    if deadline:
        lines.append(f"deadline_ms = {deadline} # {DEADLINE_PERIODS} periods; edit")
        lines.append(f"first_deadline_ms = {max(1000, deadline)} # edit")
        lines.append('when = "ignition_on" # edit')
    lines += [f"counter = {message.counter}"] if message.counter else []
    lines += [f"checksum = {message.checksum}"] if message.checksum else []
    return "\n".join(lines) + "\n"


def _quantity(message: DraftMessage, signal: DraftSignal, used: bool) -> str:
    low = -(1 << (signal.place.length - 1)) if signal.place.signed else 0
    high = low + (1 << signal.place.length) - 1
    factor, offset = Fraction(signal.factor), Fraction(signal.offset)
    ends = sorted((low * factor + offset, high * factor + offset))
    step = abs(factor)
    first = -(-ends[0] // step) * step
    last = ends[1] // step * step
    usual = (signal.usual * factor + offset) // step * step
    told = "".join(f"# {line}\n" for line in _wrapped(signal.evidence))
    return (
        f"\n{told}[quantity.{quantity_name(message, signal)}]\n"
        f"resolution = {_number(step)}\n"
        f"range = [{_number(first)}, {_number(last)}]\n"
        f'from = "{message.bus}.{message.name}.{signal.name}"\n'
        + ("" if used else "watch_only = true # edit: take out when something uses it\n")
        + f"initial = {_number(min(last, max(first, usual)))} # edit: most often seen\n"
    )


def _transmit(message: DraftMessage) -> str:
    lines = [f"\n{_comments(message)}[transmit.{message.bus}.{message.name}]"]
    lines.append(f"period_ms = {message.period_ms}")
    if message.on_change:
        lines.append("on_change = true")
    lines += [f"counter = {message.counter}"] if message.counter else []
    lines += [f"checksum = {message.checksum}"] if message.checksum else []
    signals = [s for s in message.signals if not s.is_protection and s.path is None]
    if signals:
        lines.append(f"\n[transmit.{message.bus}.{message.name}.signals]")
    for signal in signals:
        lines += [f"# {line}" for line in _wrapped(signal.evidence)]
        told = "edit: the raw value most often seen, no more"
        lines.append(f"{signal.name} = {{ constant = {signal.usual} }} # {told}")
    return "\n".join(lines) + "\n"


def _number(value: Fraction) -> str:
    """Return an exact number as bridge.toml takes it."""
    if value.denominator == 1:
        return str(value.numerator)
    return f'"{value.numerator}/{value.denominator}"'


def _wrapped(text: str) -> list[str]:
    """Return a comment in lines of at most 96 characters."""
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + len(word) > 95:
            lines.append("")
        lines[-1] += f"{' ' if lines[-1] else ''}{word}"
    return lines
