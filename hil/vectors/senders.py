"""Simulated senders: the control units that normally send what the module receives."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from heapq import heapify, heapreplace

from hil.boards.interface import Stimulus
from hil.vectors.names import Received, to_raw
from hil.vectors.scenario import FOREVER, Disturb, Sending
from xlate_core.arithmetic import saturate
from xlate_core.frames import Frame
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.protection import next_counter, seal
from xlate_core.signals import WORD_OCTETS, extract, insert, into_word

FILLER_OCTET = 0xA5  # what a lengthened frame carries behind its proper data


@dataclass(frozen=True, slots=True)
class Ramp:
    """A straight line of physical values from one tick to another, then the end value."""

    first_tick: int
    duration: int
    start: Fraction
    stop: Fraction

    def at(self, tick: int) -> Fraction:
        """Return the exact value at a tick."""
        passed = min(tick - self.first_tick, self.duration)
        return self.start + (self.stop - self.start) * passed / self.duration


@dataclass(slots=True)
class Sender:
    """One simulated sender.

    - `counter` is the number of the next frame;
    - `due` is the tick of the next periodic frame while the sender is not silent;
    - every entry of `disturbances` still applies to so many frames;
    - `sealed` has the frames of the payload `sealed_from`, by counter.
    """

    received: Received
    values: dict[str, int]
    period: int = 0
    due: int = FOREVER
    until: int = FOREVER
    silent: bool = False
    counter: int = 0
    selecting: tuple[int, ...] = ()
    selected: int = 0
    ramps: dict[str, Ramp] = field(default_factory=dict)
    disturbances: dict[str, list[int]] = field(default_factory=dict)
    packed: bytes | None = None
    sealed: dict[int, Stimulus] = field(default_factory=dict)
    sealed_from: bytes | None = None


def initial_raw(signal: DbcSignal) -> int:
    """Return the DBC initial value, else physical 0 limited to the DBC range."""
    if signal.initial is not None:
        return signal.initial
    low, high = signal.raw_range()
    return saturate(to_raw(signal, Fraction(0)), low, high)


def sealed_signals(received: Received) -> set[str]:
    """Return the names of counter and checksum of a message."""
    return {spec.signal.name for spec in (received.counter, received.checksum) if spec is not None}


def usable_range(
    signal: DbcSignal, name: str, valid: dict[str, tuple[int, int]]
) -> tuple[int, int]:
    """Return a signal's raw range, inside what is valid for the source of its full name."""
    low, high = signal.raw_range()
    first, last = valid.get(name, (low, high))
    return max(low, first), min(high, last)


def new_sender(received: Received, sending: Sending | None) -> Sender:
    """Return a sender before its first frame; without a sending it sends only when asked."""
    values = {signal.name: initial_raw(signal) for signal in received.layout.signals}
    sender = Sender(received, values)
    if sending is not None:
        sender.period = sending.period
        sender.due = sending.first
        sender.until = sending.until
        sender.selecting = sending.selecting
    return sender


def set_signal(sender: Sender, signal: str, raw: int) -> None:
    """Give a signal a raw value; a running ramp of it ends."""
    sender.ramps.pop(signal, None)
    sender.values[signal] = raw
    sender.packed = None


def disturb(sender: Sender, action: Disturb) -> None:
    """Take note of a disturbance of the next frames."""
    counter = sender.received.counter
    if action.kind == "jump" and counter is not None:
        sender.counter = (sender.counter + action.value) % counter.modulo
    elif action.kind == "counter":
        sender.counter = action.value
    else:
        sender.disturbances[action.kind] = [action.frames, action.value]


def taken(sender: Sender, kind: str) -> int | None:
    """Use up one frame of a disturbance; return its value, or None when there is none."""
    entry = sender.disturbances.get(kind)
    if entry is None:
        return None
    entry[0] -= 1
    if entry[0] == 0:
        del sender.disturbances[kind]
    return entry[1]


class Timetable:
    """Which senders are due when; `nearest` is a tick before which none is."""

    nearest: int

    def __init__(self, senders: Sequence[Sender]) -> None:
        """Take over senders; whoever sets one of them due anew calls `look_again`."""
        self.senders = senders
        self.look_again()

    def look_again(self) -> None:
        """Look at every sender."""
        self._heap = [(sender.due, number) for number, sender in enumerate(self.senders)]
        heapify(self._heap)
        self.nearest = self._heap[0][0] if self._heap else FOREVER

    def leaving(self, tick: int) -> list[Sender]:
        """Return in their order the senders whose periodic frame leaves in this tick."""
        found: list[Sender] = []
        heap = self._heap
        while self.nearest <= tick:
            number = heap[0][1]
            sender = self.senders[number]
            due = tick + sender.period
            sender.due = FOREVER if due >= sender.until else due
            if tick < sender.until and not sender.silent:
                found.append(sender)
            heapreplace(heap, (sender.due, number))
            self.nearest = heap[0][0]
        return found


def pack(layout: DbcMessage, values: dict[str, int]) -> bytes:
    """Return the payload of the values; of multiplexed signals only the selected ones."""
    word, intel = 0, True  # the payload as the word of one byte order
    for signal in layout.signals:
        if signal.selector is not None:
            chosen = values[signal.selector]
            if not any(low <= chosen <= high for low, high in signal.selected_by):
                continue
        spec = signal.spec
        if spec.intel is not intel:
            word, intel = turned_round(word), spec.intel
        word = into_word(spec, word, values[spec.name])
    return word.to_bytes(WORD_OCTETS, "little" if intel else "big")[: layout.length]


def turned_round(word: int) -> int:
    """Return a word of one byte order as that of the other."""
    return int.from_bytes(word.to_bytes(WORD_OCTETS, "little"), "big")


def next_frame(sender: Sender, tick: int) -> Stimulus | None:
    """Return the sender's frame of this tick, sealed and disturbed; None when it is lost."""
    received = sender.received
    layout = received.layout

    # VALUES
    if sender.ramps:
        _move_along(sender, tick)
    if sender.selecting:
        _select_next(sender)
    packed = sender.packed
    if packed is None:
        packed = sender.packed = pack(layout, sender.values)
    if not sender.disturbances:
        return _undisturbed(sender, packed)

    # COUNTER AND CHECKSUM
    number = sender.counter
    if received.counter is not None:
        if taken(sender, "freeze") is not None:
            number = (sender.counter - 1) % received.counter.modulo
        else:
            sender.counter = next_counter(received.counter, sender.counter)
    data = seal(received.counter, received.checksum, packed, number)

    # DISTURBANCES
    if received.checksum is not None and taken(sender, "checksum") is not None:
        place = received.checksum.signal
        data = insert(place, data, extract(place, data) ^ place.mask)
    octets = taken(sender, "shorten")
    if octets is not None:
        data = data[:octets]
    octets = taken(sender, "lengthen")
    if octets is not None:
        data += bytes((FILLER_OCTET,)) * (octets - len(data))
    length_code = taken(sender, "code")
    if length_code is not None:
        data += bytes((FILLER_OCTET,)) * (8 - len(data))
    if taken(sender, "drop") is not None:
        return None
    frame = Frame(layout.bus, layout.extended, layout.identifier, data)
    return Stimulus(frame, len(data) if length_code is None else length_code)


def _move_along(sender: Sender, tick: int) -> None:
    """Give every signal on a ramp its value of this tick."""
    layout = sender.received.layout
    for name, ramp in list(sender.ramps.items()):
        raw = to_raw(signal_of(layout, name), ramp.at(tick))
        if raw != sender.values[name]:
            sender.values[name] = raw
            sender.packed = None
        if tick >= ramp.first_tick + ramp.duration:
            del sender.ramps[name]


def _select_next(sender: Sender) -> None:
    """Give the selector the next of its values in turn."""
    signals = sender.received.layout.signals
    selector = next(s.name for s in signals if s.is_selector and s.selector is None)
    chosen = sender.selecting[sender.selected % len(sender.selecting)]
    sender.selected += 1
    if sender.values[selector] != chosen:
        sender.values[selector] = chosen
        sender.packed = None


def _undisturbed(sender: Sender, packed: bytes) -> Stimulus:
    """Return the next frame of a payload; one that was sealed before is not sealed again."""
    received = sender.received
    number = sender.counter
    if received.counter is not None:
        sender.counter = next_counter(received.counter, number)
    if sender.sealed_from != packed:
        sender.sealed_from = packed
        sender.sealed.clear()
    stimulus = sender.sealed.get(number)
    if stimulus is None:
        layout = received.layout
        data = seal(received.counter, received.checksum, packed, number)
        frame = Frame(layout.bus, layout.extended, layout.identifier, data)
        stimulus = sender.sealed[number] = Stimulus(frame, len(data))
    return stimulus


def signal_of(layout: DbcMessage, name: str) -> DbcSignal:
    """Return a signal that is known to exist."""
    signal = layout.signal(name)
    if signal is None:
        raise KeyError(f"{layout.name}.{name}")
    return signal
