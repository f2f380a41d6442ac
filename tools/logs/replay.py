"""A log through a bridge, tick by tick: the log before the engine came out, the bridge after it.

A frame at time t after the first frame of the log is received before tick ceil(t / tick): frames
received since the previous tick are taken first in a tick (rule 3), so the first frame comes
before tick 0 and a frame exactly on a tick belongs to that tick. The inputs stay as given.
"""

from collections import Counter
from dataclasses import dataclass, field

from tools.logs.reading import Reading
from tools.logs.writing import Results
from xlate_core.bridge import Inputs
from xlate_core.compiled import engine_of
from xlate_core.errors import InputError
from xlate_core.events import Event, Reason
from xlate_core.frames import BUS_NAMES, Bus, FrameKey
from xlate_core.pairing import Pairing
from xlate_core.pairing.problems import nearest_name

REJECTIONS = (
    Reason.FRAME_UNKNOWN,
    Reason.SECOND_SENDER,
    Reason.FRAME_SHORT,
    Reason.CHECKSUM_WRONG,
    Reason.COUNTER_WRONG,
)
LEVELS = ("inactive", "active")
MAX_COUNTS = 65535


@dataclass(slots=True)
class Summary:
    """What a replay did: counts per bus, kind, reason and message, and how many ticks ran."""

    ticks: int = 0
    read: Counter[str] = field(default_factory=Counter)
    ignored: dict[str, int] = field(default_factory=dict)
    accepted: Counter[str] = field(default_factory=Counter)
    rejected: Counter[str] = field(default_factory=Counter)
    sent: Counter[str] = field(default_factory=Counter)
    events: Counter[str] = field(default_factory=Counter)


def parse_inputs(pairing: Pairing, options: tuple[str, ...], supply_mv: int) -> Inputs:
    """Return the inputs of `--input NAME=VALUE` options; switches are inactive, counts 0 else."""
    levels = dict.fromkeys(pairing.level_inputs, False)
    counts = dict.fromkeys(pairing.analogue_inputs, 0)
    for option in options:
        name, equals, value = option.partition("=")
        if not equals:
            raise InputError(f"--input {option}: expected NAME=VALUE, as switch=active")
        if name in levels:
            levels[name] = _level(option, value)
        elif name in counts:
            counts[name] = _counts(option, value)
        else:
            near = nearest_name(name, (*levels, *counts))
            hint = "" if near is None else f"; nearest valid name: {near}"
            raise InputError(
                f"--input {option}: found {name}, expected an input pin of {pairing.name}{hint}"
            )
    electrical = tuple(levels[pin.name] == pin.active_high for pin in pairing.spec.pins.levels)
    return Inputs(electrical, tuple(counts.values()), supply_mv=supply_mv)


def replay(
    pairing: Pairing,
    reading: Reading,
    inputs: Inputs,
    tail_ms: int,
    results: Results,
    plain: bool = False,
) -> Summary:
    """Run the log through a bridge and `tail_ms` beyond its last frame; return what happened.

    With `plain` it is the readable engine, else its fast form, which does the same.
    """
    summary = Summary()
    observed: list[Event] = []
    bridge = engine_of(pairing.spec, observed.append, plain)
    names = sent_names(pairing)
    tick_us = pairing.spec.tick_ms * 1000

    def run_to(tick: int) -> None:
        """Run the ticks before `tick`."""
        while bridge.now < tick:
            now = bridge.now
            for frames in bridge.tick(inputs).frames:
                for frame in frames:
                    summary.sent[names[frame.key]] += 1
                    results.sent(now, frame)
            tell()

    def tell() -> None:
        for event in observed:
            summary.events[event.reason.name.lower()] += 1
            results.event(event)
        observed.clear()

    last = 0
    for timed in reading.frames():
        last = -(-(timed.time - reading.first_time) // tick_us)
        run_to(last)
        bridge.receive(timed.frame)
        reason = next((e.reason for e in observed if e.reason in REJECTIONS), None)
        if reason is None:
            summary.accepted[BUS_NAMES[timed.frame.bus]] += 1
            results.signals(last, timed.frame)
        else:
            summary.rejected[reason.name.lower()] += 1
        tell()
    run_to(last + 1 - (-tail_ms // pairing.spec.tick_ms))
    summary.ticks = bridge.now
    summary.read.update({BUS_NAMES[bus]: reading.read[bus] for bus in Bus})
    summary.ignored = {kind.value: count for kind, count in reading.ignored.items()}
    return summary


def sent_names(pairing: Pairing) -> dict[FrameKey, str]:
    """Return the name of everything the bridge sends: messages, and routed ones by their route."""
    spec = pairing.spec
    names = {
        message.key._replace(bus=spec.routes[route].bus): f"route {spec.routes[route].name}"
        for message in spec.messages
        for route in message.routes
    }
    names.update({message.key: message.name for message in spec.transmits})
    return names


def _level(option: str, value: str) -> bool:
    if value not in LEVELS:
        near = nearest_name(value, LEVELS)
        hint = "" if near is None else f"; nearest valid name: {near}"
        raise InputError(f"--input {option}: found {value}, expected active or inactive{hint}")
    return value == "active"


def _counts(option: str, value: str) -> int:
    if not value.isdecimal() or not value.isascii() or int(value) > MAX_COUNTS:
        raise InputError(f"--input {option}: found {value}, expected counts 0..{MAX_COUNTS}")
    return int(value)
