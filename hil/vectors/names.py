"""What a scenario may name: the pairing seen from the bench."""

from dataclasses import dataclass, replace
from fractions import Fraction

from hil.vectors.words import NUMBER, Words, parse_number
from xlate_core.events import Reason
from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pairing.model import Pairing
from xlate_core.pins import PinKind
from xlate_core.protection import ChecksumSpec, CounterSpec
from xlate_core.reception import MessageSpec

PROFILE_REASONS = (
    Reason.PROFILE_REPEATED,
    Reason.PROFILE_WRONG_SEQUENCE,
    Reason.PROFILE_INITIAL,
    Reason.PROFILE_SYNC,
    Reason.NO_NEW_DATA,
)


@dataclass(frozen=True, slots=True)
class Received:
    """A message the module receives, with what its simulated sender needs."""

    name: str
    layout: DbcMessage
    counter: CounterSpec | None
    checksum: ChecksumSpec | None


@dataclass(frozen=True, slots=True)
class OutputPin:
    """An output pin: its place in Outputs.levels, duty or frequency."""

    name: str
    kind: PinKind
    index: int
    active_high: bool


@dataclass(frozen=True, slots=True)
class Names:
    """All names of one pairing and what stands behind them."""

    pairing: Pairing
    tick_ms: int
    received: dict[str, Received]
    layouts: dict[str, DbcMessage]
    levels: dict[str, tuple[int, bool]]  # index, active high
    analogues: dict[str, int]
    outputs: dict[str, OutputPin]
    resolutions: dict[str, Fraction]
    sent: frozenset[str]
    subjects: dict[str, frozenset[str]]  # event name -> whom it can concern


def names_of(pairing: Pairing) -> Names:
    """Return the names of a loaded pairing."""
    spec = pairing.spec
    layouts = {
        f"{BUS_NAMES[message.bus]}.{message.name}": message
        for messages in pairing.databases.values()
        for message in messages
    }
    by_key = {message.key: message for message in layouts.values()}
    received = {
        message.name: Received(
            message.name, sent_by_others(message, by_key), message.counter, message.checksum
        )
        for message in spec.messages
    }
    outputs: dict[str, OutputPin] = {}
    places = dict.fromkeys(PinKind, 0)
    for pin in spec.pins.outputs:
        outputs[pin.name] = OutputPin(pin.name, pin.kind, places[pin.kind], pin.active_high)
        places[pin.kind] += 1
    return Names(
        pairing=pairing,
        tick_ms=spec.tick_ms,
        received=received,
        layouts=layouts,
        levels={pin.name: (index, pin.active_high) for index, pin in enumerate(spec.pins.levels)},
        analogues={pin.name: index for index, pin in enumerate(spec.pins.analogues)},
        outputs=outputs,
        resolutions={one.name: one.resolution for one in pairing.quantities},
        sent=frozenset(name for name in layouts if name not in received),
        subjects=subjects_of(pairing),
    )


def sent_by_others(message: MessageSpec, layouts: dict[FrameKey, DbcMessage]) -> DbcMessage:
    """Return the layout with which a simulated sender starts.

    The part of a profile's data ID that stands in the payload starts as what it has to be.
    """
    layout, profile = layouts[message.key], message.profile
    if profile is None or profile.nibble is None:
        return layout
    return replace(
        layout,
        signals=tuple(
            replace(signal, initial=profile.nibble_value)
            if signal.spec.name == profile.nibble.name
            else signal
            for signal in layout.signals
        ),
    )


def subjects_of(pairing: Pairing) -> dict[str, frozenset[str]]:
    """Return for each event whom it can concern, so that a misspelt subject is no vacuous truth."""
    spec = pairing.spec
    messages = frozenset(message.name for message in spec.messages)
    profiles = {one.name: one.profile for one in spec.messages if one.profile is not None}
    profiled = frozenset(profiles)
    machined = frozenset(name for name, one in profiles.items() if one.machine is not None)
    units = frozenset(unit.name for unit in spec.units)
    quantities = frozenset(quantity.name for quantity in spec.quantities)
    functions = frozenset(function.name for function in spec.functions)
    faults = frozenset(fault.name for fault in spec.faults)
    supervised = frozenset(
        name for name, bus in zip(BUS_NAMES, spec.buses, strict=True) if bus.supervised
    )
    remembered = frozenset(fault.name for fault in spec.faults if fault.memory is not None)
    transmits = frozenset(message.name for message in spec.transmits)
    routes = frozenset(route.name for route in spec.routes)
    groups: tuple[tuple[frozenset[str], tuple[Reason, ...]], ...] = (
        (frozenset(BUS_NAMES), (Reason.FRAME_UNKNOWN, Reason.SECOND_SENDER)),
        (supervised, (Reason.BUS_CLOSED, Reason.BUS_OPENED, Reason.FRAME_FLOODED)),
        (messages, (Reason.FRAME_SHORT, Reason.CHECKSUM_WRONG, Reason.COUNTER_WRONG)),
        (messages, (Reason.SELECTOR_UNKNOWN,)),
        (profiled, PROFILE_REASONS),
        (machined, (Reason.MACHINE_NOT_VALID, Reason.MACHINE_CHANGED)),
        (units, (Reason.UNIT_LOST, Reason.UNIT_RECOVERED)),
        (units, (Reason.SUPERVISION_ON, Reason.SUPERVISION_OFF)),
        (quantities, (Reason.QUANTITY_SUBSTITUTED, Reason.QUANTITY_RETURNED)),
        (functions, (Reason.FAILSAFE_ENTERED, Reason.FAILSAFE_LEFT)),
        (faults, (Reason.FAULT_MATURED, Reason.FAULT_HEALED)),
        (remembered, (Reason.ENTRY_STORED, Reason.ENTRY_ERASED)),
        (frozenset({"power"}), (Reason.MODE_CHANGED,)),
        (routes, (Reason.QUEUE_OVERFLOW,)),
        (transmits, (Reason.SENDING_STOPPED, Reason.SENDING_RESUMED)),
    )
    return {reason.name.lower(): group for group, reasons in groups for reason in reasons}


def read_message(words: Words, names: Names) -> str:
    """Read the name of a message the module receives."""
    return words.choice("message the module receives", names.received.keys())


def read_signal(words: Words, layouts: dict[str, DbcMessage], what: str) -> tuple[str, DbcSignal]:
    """Read `bus.MESSAGE.Signal`; `layouts` are the messages allowed here."""
    word = words.word("a signal")
    message, _, signal = word.rpartition(".")
    known = {
        f"{name}.{entry.name}": (name, entry)
        for name, layout in layouts.items()
        if not message or message not in layouts or name == message
        for entry in layout.signals
    }
    if word not in known:
        words.next -= 1
        words.forms = f"the signal of a message {what}, as `bus.MESSAGE.Signal`"
        words.choice("signal", known.keys())
    del signal
    return known[word]


def to_raw(signal: DbcSignal, physical: Fraction) -> int:
    """Return the raw value of a physical one, halves away from zero; unlimited."""
    exact = (physical - signal.offset) / signal.factor
    magnitude = (2 * abs(exact.numerator) + exact.denominator) // (2 * exact.denominator)
    return magnitude if exact >= 0 else -magnitude


def to_physical(signal: DbcSignal, raw: int) -> Fraction:
    """Return the physical value of a raw one, exactly."""
    return raw * signal.factor + signal.offset


def read_physical(words: Words, signal: DbcSignal) -> Fraction:
    """Read a physical number or a text of the value table (blanks written as `_`)."""
    word = words.peek()
    if not NUMBER.match(word):
        labels = {label.replace(" ", "_"): raw for raw, label in signal.values}
        if word in labels:
            words.next += 1
            return to_physical(signal, labels[word])
        if labels:
            words.choice(f"number or value text of {signal.name}", labels.keys())
        return words.number(f"the value of {signal.name}")
    words.next += 1
    return parse_number(word)


def fitting_raw(words: Words, signal: DbcSignal, raw: int) -> int:
    """Return the raw value, or raise when the signal's bits cannot hold it."""
    if not signal.spec.minimum <= raw <= signal.spec.maximum:
        low, high = sorted(
            (to_physical(signal, signal.spec.minimum), to_physical(signal, signal.spec.maximum))
        )
        raise words.error(
            f"{signal.name} cannot carry this value (raw {raw}); its bits hold raw "
            f"{signal.spec.minimum}..{signal.spec.maximum}, physical {show(low)}..{show(high)}"
        )
    return raw


def read_raw(words: Words, signal: DbcSignal) -> int:
    """Read `raw N`, a physical number or a value text; return the raw value."""
    if words.maybe("raw"):
        return fitting_raw(words, signal, words.integer("the raw value", -(1 << 63), (1 << 64) - 1))
    return fitting_raw(words, signal, to_raw(signal, read_physical(words, signal)))


def read_raw_range(words: Words, signal: DbcSignal) -> tuple[int, int]:
    """Read a value or `LOW to HIGH`, physical or raw; return the inclusive raw range."""
    if words.peek() == "raw":
        low = read_raw(words, signal)
        if not words.maybe("to"):
            return low, low
        high = words.integer("the raw value", -(1 << 63), (1 << 64) - 1)
        return checked_range(words, low, high)
    first = read_physical(words, signal)
    if not words.maybe("to"):
        raw = fitting_raw(words, signal, to_raw(signal, first))
        return raw, raw
    second = read_physical(words, signal)
    low_end, high_end = sorted(
        ((first - signal.offset) / signal.factor, (second - signal.offset) / signal.factor)
    )
    return checked_range(words, -(-low_end.numerator // low_end.denominator), high_end // 1)


def checked_range(words: Words, low: int, high: int) -> tuple[int, int]:
    """Return the range, or raise when no value lies in it."""
    if low > high:
        raise words.error("no value lies in this range")
    return low, high


def show(value: Fraction) -> str:
    """Return an exact number for people: short decimal, or rounded to 4 places with `~`."""
    if value.denominator == 1:
        return str(value.numerator)
    scaled = value * 10000
    places = f"{abs(round(scaled)):05d}"
    sign = "-" if value < 0 else ""
    text = f"{sign}{places[:-4]}.{places[-4:]}".rstrip("0").rstrip(".")
    return text if scaled.denominator == 1 else f"~{text}"
