"""Fault memory: one entry a fault, with when, how often and under which circumstances (rule 9).

An entry is stored when its fault matures. It names the fault by a trouble code and a failure type
byte, as used with SAE J2012 codes. It ages: when its fault was judged and not once matured in so
many ignition cycles, the entry is erased. All of it survives a reset; times count control ticks of
operation over all resets.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import UINT16_MAX, UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.quantities import QuantityStore


@dataclass(frozen=True, slots=True)
class EntrySpec:
    """What is stored of a fault.

    `code` is the trouble code in two octets and the failure type in a third; `aging` the ignition
    cycles without the fault that erase the entry, 0 = never; `snapshot` the quantities stored when
    the fault matures for the first time.
    """

    code: int
    aging: int
    snapshot: tuple[int, ...]


@dataclass(slots=True)
class SnapshotState:
    """One quantity as it was when the fault matured for the first time."""

    value: int = 0
    status: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("value", Width.I32, Overflow.BOUNDED, kept=True),
        Field("status", Width.U8, Overflow.BOUNDED, kept=True),
    )


@dataclass(slots=True)
class EntryState:
    """One entry; all 0 while nothing is stored.

    - `active`: the fault is matured now, or was at the last reset and latches;
    - `seen`, `judged`: it was matured, it was judged at all, in this ignition cycle;
    - `count`: how often it matured; `first`, `last`: when first, and when it was last there;
    - `aged`: ignition cycles in a row in which it was judged and never matured.
    """

    stored: bool = False
    active: bool = False
    seen: bool = False
    judged: bool = False
    count: int = 0
    first: int = 0
    last: int = 0
    aged: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("stored", Width.U8, Overflow.BOUNDED, kept=True),
        Field("active", Width.U8, Overflow.BOUNDED, kept=True),
        Field("seen", Width.U8, Overflow.BOUNDED, kept=True),
        Field("judged", Width.U8, Overflow.BOUNDED, kept=True),
        Field("count", Width.U16, Overflow.SATURATE, kept=True),
        Field("first", Width.U32, Overflow.SATURATE, kept=True),
        Field("last", Width.U32, Overflow.SATURATE, kept=True),
        Field("aged", Width.U16, Overflow.SATURATE, kept=True),
    )


@dataclass(slots=True)
class OperationState:
    """Control ticks of operation over all resets: the time of the fault memory."""

    ticks: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("ticks", Width.U32, Overflow.SATURATE, kept=True),)


def pass_time(state: OperationState) -> None:
    """Let one control tick pass."""
    state.ticks = min(state.ticks + 1, UINT32_MAX)


def begin_cycle(spec: EntrySpec, entry: EntryState, snapshot: list[SnapshotState]) -> None:
    """Age an entry at the start of an ignition cycle: judged and not once matured in the last."""
    if entry.stored and entry.judged and not entry.seen:
        entry.aged = min(entry.aged + 1, UINT16_MAX)
        if spec.aging and entry.aged >= spec.aging:
            erase(entry, snapshot)
    entry.seen = False
    entry.judged = False


def erase(entry: EntryState, snapshot: list[SnapshotState]) -> None:
    """Forget an entry."""
    entry.stored = False
    entry.active = False
    entry.count = entry.first = entry.last = entry.aged = 0
    for one in snapshot:
        one.value = one.status = 0


def note(
    spec: EntrySpec,
    entry: EntryState,
    snapshot: list[SnapshotState],
    matured: bool,
    judged: bool,
    now: int,
    store: QuantityStore,
) -> None:
    """Note what a fault is in this control tick; `judged` says that it was looked at."""
    if judged:
        entry.judged = True
    if matured:
        if not entry.active:
            if not entry.stored:
                entry.stored = True
                entry.first = now
                for one, quantity in zip(snapshot, spec.snapshot, strict=True):
                    one.value = store[quantity].value
                    one.status = store[quantity].status
            entry.count = min(entry.count + 1, UINT16_MAX)
        entry.last = now
        entry.seen = True
        entry.aged = 0
    entry.active = matured


def recall(entry: EntryState, latch: bool) -> bool:
    """Judge an entry that survived a reset; return whether its fault is still matured.

    Only a latched fault is; any other is judged anew, and counted anew when it matures again.
    """
    if not latch:
        entry.active = False
    return entry.active
