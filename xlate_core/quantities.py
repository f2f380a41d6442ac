"""Quantities: value + status + origin; decoding, plausibility, substitution on loss, return.

Rules 4, 8 and 10. A *source* is one place a quantity can come from: a signal of a reception unit or
an input pin. A quantity takes its first usable source in the declared order. A *produced* quantity
has no source; a function, a fault or the power mode publishes it.
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT16_MAX, approach, divide, rate_step, saturate
from xlate_core.fields import Field, Overflow, Width
from xlate_core.signals import SignalSpec, signed


class Status(IntEnum):
    """What is known of a value, worst last (rule 8); a derived quantity takes the maximum."""

    VALID = 0
    FROZEN = 1
    IMPLAUSIBLE = 2
    OUT_OF_RANGE = 3
    NOT_AVAILABLE = 4
    ERROR = 5
    STALE = 6
    NEVER_RECEIVED = 7


VALID = int(Status.VALID)
FROZEN = int(Status.FROZEN)
IMPLAUSIBLE = int(Status.IMPLAUSIBLE)
OUT_OF_RANGE = int(Status.OUT_OF_RANGE)
STALE = int(Status.STALE)
NEVER_RECEIVED = int(Status.NEVER_RECEIVED)

NO_UNIT = -1

# Origins of the delivered value: 0..249 is the source in use, above that:
ORIGIN_PRODUCED = 250
ORIGIN_INITIAL = 251
ORIGIN_HELD = 252
ORIGIN_SUBSTITUTE = 253
ORIGIN_NOT_AVAILABLE = 254


@dataclass(frozen=True, slots=True)
class SourceSpec:
    """One source of a quantity. value = divide(raw*a + b, d), saturated to low..high.

    `specials` are inclusive raw ranges with the status they mean; `valid` is the inclusive raw
    range outside which the status is OUT_OF_RANGE. For a pin source `signal` is None and the pins
    phase writes value and status itself. `frozen_after` counts repetitions of the same raw value,
    `max_change` is the largest step between two receptions; 0 = off.
    """

    name: str
    quantity: int
    unit: int
    signal: SignalSpec | None
    a: int
    b: int
    d: int
    specials: tuple[tuple[int, int, int], ...]
    valid: tuple[int, int]
    low: int
    high: int
    frozen_after: int
    max_change: int
    watched: bool = field(init=False)

    def __post_init__(self) -> None:
        """Derive whether every reception counts, not only one with a new raw value."""
        object.__setattr__(self, "watched", self.frozen_after != 0 or self.max_change != 0)


@dataclass(slots=True)
class SourceState:
    """Per source: what the last accepted frame said, before supervision is looked at.

    - `status` is NEVER_RECEIVED until a frame came since reset, loss or restart of supervision;
    - `bits` is the signal's raw field without sign;
    - `unchanged` counts repetitions of `bits` while `frozen_after` is set, else stays 0.
    """

    value: int = 0
    status: int = NEVER_RECEIVED
    bits: int = 0
    unchanged: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("value", Width.I32, Overflow.SATURATE),
        Field("status", Width.U8, Overflow.BOUNDED, NEVER_RECEIVED),
        Field("bits", Width.U64, Overflow.BOUNDED),
        Field("unchanged", Width.U16, Overflow.SATURATE),
    )


@dataclass(frozen=True, slots=True)
class QuantitySpec:
    """A quantity: signed 32-bit number of its resolution, saturated to low..high.

    `hold` in ticks. `substitute` None means "not available". `return_rate` in steps of the
    resolution per second, 0 = at once. No sources means produced.
    """

    name: str
    low: int
    high: int
    sources: tuple[int, ...]
    hold: int
    substitute: int | None
    initial: int
    return_rate: int
    senders: tuple[int, ...]  # sent messages that carry it, or stop or change on its loss
    in_conditions: bool


@dataclass(slots=True)
class QuantityState:
    """Per quantity: what consumers see.

    - `value` is inside low..high; `status` is never better than the source in use;
    - `held` counts ticks of the hold and is 0 while the first source is valid;
    - `returning` is true while the value moves back at the return rate; `remainder` is 0..999.
    """

    value: int = 0
    status: int = NEVER_RECEIVED
    origin: int = ORIGIN_INITIAL
    held: int = 0
    returning: bool = False
    remainder: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("value", Width.I32, Overflow.SATURATE, None),
        Field("status", Width.U8, Overflow.BOUNDED, NEVER_RECEIVED),
        Field("origin", Width.U8, Overflow.BOUNDED, ORIGIN_INITIAL),
        Field("held", Width.U32, Overflow.SATURATE),
        Field("returning", Width.U8, Overflow.BOUNDED),
        Field("remainder", Width.U16, Overflow.BOUNDED),
    )


@dataclass(slots=True)
class QuantityStore:
    """All quantities, which of them changed in this tick, and which must be looked at."""

    specs: tuple[QuantitySpec, ...]
    states: list[QuantityState] = field(default_factory=list)
    changed: set[int] = field(default_factory=set)
    touched: set[int] = field(default_factory=set)

    def __getitem__(self, index: int) -> QuantityState:
        """Return the state of one quantity."""
        return self.states[index]

    def publish(self, index: int, value: int, status: int = VALID, real: bool = True) -> None:
        """Set a produced quantity, saturated to its range.

        `real` is false where the value stands in for data that is lost or not there yet.
        """
        spec = self.specs[index]
        state = self.states[index]
        value = saturate(value, spec.low, spec.high)
        origin = ORIGIN_PRODUCED if real else ORIGIN_SUBSTITUTE
        if value != state.value or status != state.status or origin != state.origin:
            state.value = value
            state.status = status
            state.origin = origin
            self.changed.add(index)


def usable(state: QuantityState) -> bool:
    """Return whether the value is real: from a source, held inside its hold time, or produced."""
    return state.origin <= ORIGIN_PRODUCED or state.origin == ORIGIN_HELD


def is_on(state: QuantityState) -> bool:
    """Return whether a yes-or-no value is real and not 0."""
    return state.value != 0 and usable(state)


def lost(state: QuantityState) -> bool:
    """Return whether data that should be there is not: substituted, or never came in time.

    A quantity that was never received is not lost before its first deadline has passed.
    """
    return not usable(state) and state.status != NEVER_RECEIVED


def decode(spec: SourceSpec, raw: int) -> tuple[int | None, int]:
    """Return (value, status) of a raw value (rule 4): special codes, then range, then scale.

    The value is None where the status leaves none.
    """
    for first, last, status in spec.specials:
        if first <= raw <= last:
            return None, status
    if not spec.valid[0] <= raw <= spec.valid[1]:
        return None, OUT_OF_RANGE
    value = divide(raw * spec.a + spec.b, spec.d)
    if value < spec.low:
        return spec.low, VALID
    if value > spec.high:
        return spec.high, VALID
    return value, VALID


def take(spec: SourceSpec, state: SourceState, bits: int) -> bool:
    """Take the signal's bits of an accepted frame; return whether value or status changed."""
    known = state.status != NEVER_RECEIVED
    repeated = known and bits == state.bits
    state.bits = bits
    raw = signed(spec.signal, bits) if spec.signal is not None and spec.signal.signed else bits
    value, status = decode(spec, raw)
    if spec.watched and value is not None:
        status = plausibility(spec, state, value, repeated)
    elif spec.watched:
        state.unchanged = 0
    changed = status != state.status or (value is not None and value != state.value)
    state.status = status
    if value is not None:
        state.value = value
    return changed


def plausibility(spec: SourceSpec, state: SourceState, value: int, repeated: bool) -> int:
    """Return VALID, FROZEN or IMPLAUSIBLE for a decoded value (rule 8), the worse one."""
    status = VALID
    if spec.frozen_after:
        state.unchanged = min(state.unchanged + 1, UINT16_MAX) if repeated else 0
        if state.unchanged >= spec.frozen_after:
            status = FROZEN
    had_value = state.status <= IMPLAUSIBLE
    if spec.max_change and had_value and abs(value - state.value) > spec.max_change:
        status = IMPLAUSIBLE
    return status


def forget(state: SourceState) -> None:
    """Forget a source at loss or restart of supervision: the next frame starts anew."""
    state.status = NEVER_RECEIVED
    state.unchanged = 0


def evaluate(
    spec: QuantitySpec, state: QuantityState, offers: list[tuple[int, int]], tick_ms: int
) -> bool:
    """Work out a received quantity from (value, status) of its sources in order (rule 10).

    Returns whether the quantity must be looked at again on the next tick (hold or return running).
    """
    # SOURCE: the first one when valid
    value, status = offers[0]
    if status == VALID:
        origin = 0
        state.held = 0
    # HOLD: from the tick of the loss on, for `hold` ticks
    elif state.held < spec.hold and state.origin in (0, ORIGIN_HELD):
        state.held += 1
        state.status = status
        state.origin = ORIGIN_HELD
        state.returning = False
        return True
    # FALLBACK: the next valid source
    else:
        for origin in range(1, len(offers)):
            if offers[origin][1] == VALID:
                value, status = offers[origin]
                break
        # SUBSTITUTE: a fixed value, or "not available"
        else:
            state.returning = False
            if status == NEVER_RECEIVED:
                state.origin = ORIGIN_INITIAL
                state.value = spec.initial
            elif spec.substitute is None:
                state.origin = ORIGIN_NOT_AVAILABLE
            else:
                state.origin = ORIGIN_SUBSTITUTE
                state.value = spec.substitute
            state.status = status
            return False

    # RETURN: at once, or with a limited rate from the value shown last
    had_value = state.origin not in (ORIGIN_INITIAL, ORIGIN_NOT_AVAILABLE)
    if spec.return_rate and had_value and state.origin != origin:
        state.returning = True
        state.remainder = 0
    if state.returning:
        step, state.remainder = rate_step(state.remainder, spec.return_rate, tick_ms)
        value, target = approach(state.value, value, step), value
        state.returning = value != target
    state.value = value
    state.status = status
    state.origin = origin
    return state.returning
