"""Accept or reject a received frame; reception units, their ages, deadlines and status.

Rules 5, 6 and 7. The frame-wise half (`judge`, `units_taken`) runs on arrival, the tick-wise half
(`enable`, `refresh`, `expire`) in the deadlines phase. Units that share an enabling condition share
a clock that runs only while the condition holds: the age of a unit is what that clock advanced
since the unit was last refreshed. A frozen age needs no bookkeeping; idle ticks cost nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from xlate_core.arithmetic import UINT16_MAX, UINT32_MAX
from xlate_core.events import Reason
from xlate_core.fields import Field, Overflow, Width
from xlate_core.frames import FrameKey
from xlate_core.protection import (
    NO_REFERENCE,
    CheckResult,
    ChecksumSpec,
    CounterSpec,
    ProfileSpec,
    ProfileState,
    check_frame,
    checksum_good,
    counter_good,
)
from xlate_core.protection.profiles import accepts
from xlate_core.signals import SignalSpec, extract

UnitChanged = Callable[[int, int], None]

NO_CONDITION = -1
NEVER_EXPIRES = 1 << 62

# The supervision status of a unit; the numbers are those of quantities.Status.
UNIT_FRESH = 0
UNIT_STALE = 6
UNIT_NEVER_RECEIVED = 7


@dataclass(frozen=True, slots=True)
class UnitSpec:
    """Signals that always arrive together: a message, a part of it, or one multiplexer path.

    Deadlines in ticks, 0 = not supervised. `selectors` are inclusive ranges of the selector value,
    empty for an unmultiplexed unit. `sources` are indices of the decoded signals.
    """

    name: str
    message: int
    selectors: tuple[tuple[int, int], ...]
    last_octet: int
    first_deadline: int
    deadline: int
    clock: int
    sources: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MessageSpec:
    """A received message: how it is recognised, protected and split into units.

    With a profile, `checksum` and `counter` are its own and are judged by its check.
    """

    name: str
    key: FrameKey
    length: int
    allow_short: bool
    checksum: ChecksumSpec | None
    counter: CounterSpec | None
    selector: SignalSpec | None
    units: tuple[int, ...]
    routes: tuple[int, ...]
    profile: ProfileSpec | None = None
    guarded: bool = field(init=False)

    def __post_init__(self) -> None:
        """Derive whether a checksum or a counter is checked."""
        guarded = self.checksum is not None or self.counter is not None  # or a profile, with both
        object.__setattr__(self, "guarded", guarded)


@dataclass(frozen=True, slots=True)
class ClockSpec:
    """The supervision clock of all units with one enabling condition (an index, or none)."""

    condition: int
    units: tuple[int, ...]


@dataclass(slots=True)
class MessageState:
    """Per message: protection state and counts.

    - `reference` is NO_REFERENCE after reset, loss and restart of supervision, else a counter;
    - a rejected frame changes only the count of its reason, `bad`, and the reference if its
      checksum was good;
    - `good` and `bad` count since the last control tick, where a fault watches frame by frame.
    """

    reference: int = NO_REFERENCE
    short: int = 0
    checksum_wrong: int = 0
    counter_wrong: int = 0
    selector_unknown: int = 0
    good: int = 0
    bad: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("reference", Width.U16, Overflow.BOUNDED, NO_REFERENCE),
        Field("short", Width.U16, Overflow.SATURATE),
        Field("checksum_wrong", Width.U16, Overflow.SATURATE),
        Field("counter_wrong", Width.U16, Overflow.SATURATE),
        Field("selector_unknown", Width.U16, Overflow.SATURATE),
        Field("good", Width.U16, Overflow.SATURATE),
        Field("bad", Width.U16, Overflow.SATURATE),
    )


@dataclass(slots=True)
class UnitState:
    """Per unit: supervision status and age in ticks of its clock.

    - `refreshed_at` is the clock's reading at age 0; `age` is written by `settle` only;
    - `fresh` is true between an accepted frame and the end of the deadlines phase.
    """

    status: int = UNIT_NEVER_RECEIVED
    age: int = 0
    fresh: bool = False
    refreshed_at: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("status", Width.U8, Overflow.BOUNDED, UNIT_NEVER_RECEIVED),
        Field("age", Width.U32, Overflow.SATURATE),
        Field("fresh", Width.U8, Overflow.BOUNDED),
    )


@dataclass(slots=True)
class ClockState:
    """Per supervision clock.

    - while it runs its reading is tick - `origin`, else it stands at `reading`;
    - `next_expiry` is a lower bound of the tick at which a unit is lost.
    """

    enabled: bool = False
    reading: int = 0
    origin: int = 0
    next_expiry: int = NEVER_EXPIRES

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("enabled", Width.U8, Overflow.BOUNDED),)


@dataclass(slots=True)
class BusCounts:
    """Per bus: frames that belong to no received message."""

    unknown: int = 0
    second_sender: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("unknown", Width.U16, Overflow.SATURATE),
        Field("second_sender", Width.U16, Overflow.SATURATE),
    )


def count(value: int) -> int:
    """Return a 16-bit count plus one, saturated."""
    return value + 1 if value < UINT16_MAX else UINT16_MAX


REJECTED = {
    CheckResult.REPEATED: Reason.PROFILE_REPEATED,
    CheckResult.WRONG_SEQUENCE: Reason.PROFILE_WRONG_SEQUENCE,
    CheckResult.WRONG_CRC: Reason.CHECKSUM_WRONG,
    CheckResult.INITIAL: Reason.PROFILE_INITIAL,
    CheckResult.SYNC: Reason.PROFILE_SYNC,
}
"""Results of a profile's check that reject the frame."""


def judge(
    spec: MessageSpec, state: MessageState, data: bytes, profile: ProfileState | None = None
) -> Reason | None:
    """Return why the frame is rejected, or None; update counts and counter reference (rule 5).

    `profile` is the state of the message's profile, where it has one.
    """
    # LENGTH
    if len(data) < spec.length and not spec.allow_short:
        state.short = count(state.short)
        return Reason.FRAME_SHORT

    # PROFILE: checksum and counter in one check
    if spec.profile is not None and profile is not None:
        return judge_profile(spec.profile, state, profile, data)

    # CHECKSUM
    if spec.checksum is not None and not checksum_good(spec.checksum, data):
        state.checksum_wrong = count(state.checksum_wrong)
        return Reason.CHECKSUM_WRONG

    # COUNTER
    if spec.counter is not None:
        counter = extract(spec.counter.signal, data)
        reference = state.reference
        state.reference = counter
        if not counter_good(spec.counter, reference, counter):
            state.counter_wrong = count(state.counter_wrong)
            return Reason.COUNTER_WRONG

    return None


def judge_profile(
    spec: ProfileSpec, state: MessageState, profile: ProfileState, data: bytes
) -> Reason | None:
    """Return why a profile rejects the frame: its result, or a machine that is not VALID."""
    result = check_frame(spec, profile, data)
    if result == CheckResult.WRONG_CRC:
        state.checksum_wrong = count(state.checksum_wrong)
    if accepts(spec, profile):
        return None
    return REJECTED.get(result, Reason.MACHINE_NOT_VALID)


def units_taken(
    spec: MessageSpec, units: tuple[UnitSpec, ...], data: bytes
) -> tuple[Sequence[int], bool]:
    """Return the units a judged frame refreshes, and whether its selector is unknown (rule 6).

    A path of the multiplexer is taken when the selector names it; a unit of a short frame only
    when its last octet arrived.
    """
    arrived = len(data)
    if spec.selector is None and arrived >= spec.length:
        return spec.units, False
    selected = not_selected = False
    taken = []
    selector = None
    if spec.selector is not None and spec.selector.last_octet < arrived:
        selector = extract(spec.selector, data)
    for index in spec.units:
        unit = units[index]
        if unit.last_octet >= arrived:
            continue
        if not unit.selectors:
            taken.append(index)
        elif selector is not None:
            if any(low <= selector <= high for low, high in unit.selectors):
                selected = True
                taken.append(index)
            else:
                not_selected = True
    unknown = selector is not None and not_selected and not selected
    return taken, unknown


def enable(
    spec: ClockSpec,
    state: ClockState,
    enabled: bool,
    now: int,
    units: list[UnitState],
    changed: UnitChanged,
) -> None:
    """Start or stop one clock in tick `now` (rule 7); `changed(unit, former status)` is told.

    A new start puts every unit back to "never received"; stopping freezes the ages.
    """
    if enabled and not state.enabled:
        state.origin = now - state.reading
        for index in spec.units:
            unit = units[index]
            former, unit.status = unit.status, UNIT_NEVER_RECEIVED
            unit.refreshed_at = state.reading
            changed(index, former)
        state.next_expiry = now
    elif state.enabled and not enabled:
        state.reading = now - 1 - state.origin
        state.next_expiry = NEVER_EXPIRES
    state.enabled = enabled


def refresh(index: int, unit: UnitState, clock: ClockState, now: int, changed: UnitChanged) -> None:
    """Give a unit age 0 in tick `now`, because a frame was accepted since the tick before."""
    unit.fresh = False
    unit.refreshed_at = now - clock.origin if clock.enabled else clock.reading
    if unit.status != UNIT_FRESH:
        former, unit.status = unit.status, UNIT_FRESH
        changed(index, former)
        if clock.enabled:
            clock.next_expiry = now


def expire(
    spec: ClockSpec,
    state: ClockState,
    now: int,
    unit_specs: tuple[UnitSpec, ...],
    units: list[UnitState],
    changed: UnitChanged,
) -> None:
    """Lose the units of a running clock whose age reaches their deadline in tick `now` (rule 7)."""
    reading = now - state.origin
    nearest = NEVER_EXPIRES
    for index in spec.units:
        unit = units[index]
        if unit.status == UNIT_STALE:
            continue
        expiry = expires_at(unit_specs[index], unit)
        if reading >= expiry:
            former, unit.status = unit.status, UNIT_STALE
            changed(index, former)
        elif expiry < nearest:
            nearest = expiry
    state.next_expiry = min(nearest + state.origin, NEVER_EXPIRES)


def expires_at(spec: UnitSpec, unit: UnitState) -> int:
    """Return the clock reading at which the unit is lost; the first deadline has its own length."""
    deadline = spec.first_deadline if unit.status == UNIT_NEVER_RECEIVED else spec.deadline
    return unit.refreshed_at + deadline if deadline else NEVER_EXPIRES


def settle(clock: ClockState, unit: UnitState, now: int) -> None:
    """Write the closed form of the age after tick now - 1: min(reading - refreshed_at, maximum)."""
    reading = now - 1 - clock.origin if clock.enabled else clock.reading
    unit.age = min(reading - unit.refreshed_at, UINT32_MAX)


def resume(spec: ClockSpec, clock: ClockState, units: list[UnitState], now: int) -> None:
    """Take up a restored state: ages become anchors again, every deadline is looked at anew."""
    clock.reading = 0
    clock.origin = now - 1
    for index in spec.units:
        units[index].refreshed_at = -units[index].age
