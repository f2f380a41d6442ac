"""Routes and the cyclic send table: due, values, pack, counter, checksum (rules 12 and 13).

A message has one slot: its payload before counter and checksum, packed anew when a quantity in it
changed. What left last is remembered to judge "changed". Routes go first and carry the payload as
it came.
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX, divide
from xlate_core.fields import Field, Overflow, Width
from xlate_core.frames import Frame, FrameKey
from xlate_core.protection import ChecksumSpec, CounterSpec, next_counter, seal
from xlate_core.quantities import ORIGIN_NOT_AVAILABLE, QuantityStore, usable
from xlate_core.reception import NEVER_EXPIRES, NO_CONDITION, count
from xlate_core.signals import (
    WORD_OCTETS,
    SignalSpec,
    insert,
    intel_word,
    into_word,
    motorola_word,
)


class OnLoss(IntEnum):
    """What a message does while a quantity it depends on is not real."""

    SUBSTITUTE = 0
    NOT_AVAILABLE = 1
    STOP = 2


@dataclass(frozen=True, slots=True)
class PackSpec:
    """A quantity in a payload: raw = divide(value*a + b, d), saturated to the raw range low..high.

    `not_available` is the raw code that says so, or None when the signal has none.
    """

    quantity: int
    signal: SignalSpec
    a: int
    b: int
    d: int
    low: int
    high: int
    not_available: int | None


@dataclass(frozen=True, slots=True)
class TransmitSpec:
    """A sent message. Period, offset and gap in ticks; period 0 = only on change.

    `base` holds constants, initial values and fill bits; `loss_of` are the quantities whose loss
    `on_loss` is about.
    """

    name: str
    key: FrameKey
    base: bytes
    packs: tuple[PackSpec, ...]
    period: int
    offset: int
    on_change: bool
    min_gap: int
    condition: int
    on_loss: OnLoss
    loss_of: tuple[int, ...]
    counter: CounterSpec | None
    checksum: ChecksumSpec | None
    watched: bool = field(init=False)
    has_motorola: bool = field(init=False)

    def __post_init__(self) -> None:
        """Derive whether the payload is looked at every tick, and which words it needs."""
        object.__setattr__(self, "watched", self.on_change or self.on_loss is OnLoss.STOP)
        motorola = any(not entry.signal.intel for entry in self.packs)
        object.__setattr__(self, "has_motorola", motorola)


@dataclass(slots=True)
class TransmitState:
    """Per sent message.

    - `last` is the payload before counter and checksum as last handed over (reset: reset values);
    - `counter` is the one that left last, at reset the one before the first that is sent;
    - `due_in` counts ticks to the next cyclic send; `gap` ticks since the last hand-over;
    - `intel` and `motorola` are the payload's words, `open` the packs not yet in them;
    - `due_at` and `sent_at` are their tick numbers; `due_in` and `gap` are written by `settle`.
    """

    last: bytes = b""
    counter: int = 0
    started: bool = False
    stopped: bool = False
    due_in: int = 0
    gap: int = UINT32_MAX
    payload: bytes = b""
    intel: int = 0
    motorola: int = 0
    open: set[int] = field(default_factory=set)
    due_at: int = 0
    sent_at: int | None = None
    last_word: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("last_word", Width.U64, Overflow.BOUNDED, None),
        Field("counter", Width.U32, Overflow.WRAP, None),
        Field("started", Width.U8, Overflow.BOUNDED),
        Field("stopped", Width.U8, Overflow.BOUNDED),
        Field("due_in", Width.U32, Overflow.BOUNDED),
        Field("gap", Width.U32, Overflow.SATURATE, UINT32_MAX),
    )


@dataclass(frozen=True, slots=True)
class RouteSpec:
    """A routed message: where it goes, and how many frames of one tick are kept (1 = newest)."""

    name: str
    bus: int
    capacity: int
    fifo: bool


@dataclass(slots=True)
class RouteState:
    """Frames waiting for this tick's transmission phase, and how many did not find room."""

    waiting: list[Frame] = field(default_factory=list)
    overflows: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("overflows", Width.U16, Overflow.SATURATE),)


def encode(spec: PackSpec, value: int) -> int:
    """Return the raw value (rule 4): scaled, saturated to the valid range, never a special code."""
    raw = divide(value * spec.a + spec.b, spec.d)
    if raw < spec.low:
        return spec.low
    if raw > spec.high:
        return spec.high
    return raw


def clear_slot(spec: TransmitSpec, state: TransmitState) -> None:
    """Empty the slot: constants and fill bits only, every quantity still to be packed."""
    base = spec.base
    for entry in spec.packs:
        base = insert(entry.signal, base, 0)
    if spec.has_motorola:
        state.intel, state.motorola = 0, motorola_word(base)
    else:
        state.intel, state.motorola = intel_word(base), 0
    state.open = set(range(len(spec.packs)))


def pack(spec: TransmitSpec, state: TransmitState, store: QuantityStore) -> None:
    """Put the quantities that changed (`state.open`) into the payload before counter, checksum."""
    says_lost = spec.on_loss is OnLoss.NOT_AVAILABLE
    for index in state.open:
        entry = spec.packs[index]
        signal = entry.signal
        quantity = store.states[entry.quantity]
        if entry.not_available is not None and (
            quantity.origin == ORIGIN_NOT_AVAILABLE or (says_lost and not usable(quantity))
        ):
            raw = entry.not_available
        else:
            raw = encode(entry, quantity.value)
        if signal.intel:
            state.intel = into_word(signal, state.intel, raw)
        else:
            state.motorola = into_word(signal, state.motorola, raw)
    state.open.clear()
    if not spec.has_motorola:
        state.payload = state.intel.to_bytes(WORD_OCTETS, "little")[: len(spec.base)]
        return
    payload = state.motorola.to_bytes(WORD_OCTETS, "big")
    if state.intel:
        payload = (intel_word(payload) | state.intel).to_bytes(WORD_OCTETS, "little")
    state.payload = payload[: len(spec.base)]


def source_lost(spec: TransmitSpec, store: QuantityStore) -> bool:
    """Return whether a message that stops on loss has to be silent."""
    if spec.on_loss is not OnLoss.STOP:
        return False
    return any(not usable(store.states[index]) for index in spec.loss_of)


def start(spec: TransmitSpec, state: TransmitState, now: int) -> None:
    """Start communication: the offset counts from here."""
    state.started = True
    state.due_at = now + spec.offset


def is_due(spec: TransmitSpec, state: TransmitState, now: int) -> bool:
    """Return whether the message leaves in this tick; cyclic and event due together is one frame.

    Going back to the payload sent last inside the minimum gap cancels the event; the gap limits
    event sends only, and event sends never shift the period.
    """
    due = False
    if spec.period and now >= state.due_at:
        state.due_at += spec.period
        due = True
    if spec.on_change and not due and state.payload != state.last:
        due = state.sent_at is None or now - state.sent_at >= spec.min_gap
    return due and not state.stopped


def next_look(spec: TransmitSpec, state: TransmitState, now: int) -> int:
    """Return the tick from which `is_due` may say yes again, unless the payload changes first."""
    due_at = state.due_at if spec.period else NEVER_EXPIRES
    if spec.on_change and state.payload != state.last and state.sent_at is not None:
        return min(due_at, max(state.sent_at + spec.min_gap, now + 1))
    return due_at


def hand_over(spec: TransmitSpec, state: TransmitState, now: int) -> Frame:
    """Return the frame that leaves: counter advanced at hand-over, checksum sealed last."""
    state.last = state.payload
    state.sent_at = now
    if spec.counter is not None:
        state.counter = next_counter(spec.counter, state.counter)
    if spec.counter is None and spec.checksum is None:
        data = state.payload
    else:
        data = seal(spec.counter, spec.checksum, state.payload, state.counter)
    bus, extended, identifier = spec.key
    return Frame(bus, extended, identifier, data)


def enqueue(spec: RouteSpec, state: RouteState, frame: Frame) -> bool:
    """Keep a frame for the transmission phase; return whether it found room.

    `newest` overwrites; a full `fifo` refuses the frame that came last, so order is kept.
    """
    copy = Frame(spec.bus, frame.extended, frame.identifier, frame.data)
    if len(state.waiting) < spec.capacity:
        state.waiting.append(copy)
        return True
    if not spec.fifo:
        state.waiting[-1] = copy
        return True
    state.overflows = count(state.overflows)
    return False


def settle(spec: TransmitSpec, state: TransmitState, now: int) -> None:
    """Write the closed forms of the fields that move on idle ticks."""
    runs = state.started and spec.period != 0
    state.due_in = max(state.due_at - now, 0) if runs else 0
    state.gap = UINT32_MAX if state.sent_at is None else min(now - state.sent_at, UINT32_MAX)
    state.last_word = intel_word(state.last)


def resume(spec: TransmitSpec, state: TransmitState, now: int) -> None:
    """Take up a restored state: tick numbers from distances."""
    state.due_at = now + state.due_in
    state.sent_at = None if state.gap == UINT32_MAX else now - state.gap
    state.last = state.last_word.to_bytes(WORD_OCTETS, "little")[: len(spec.base)]


def is_unconditional(spec: TransmitSpec) -> bool:
    """Return whether communication of the message starts at tick 0."""
    return spec.condition == NO_CONDITION
