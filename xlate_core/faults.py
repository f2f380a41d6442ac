"""Faults mature and heal in steps, or latch until the next ignition cycle (rule 9).

A fault watches the status of a quantity (one step per control tick) or the frames of a message
(one step per frame since the last control tick), or what happens on a bus (one step per control
tick). Its output is a quantity: 1 while matured. What is remembered of a matured fault: see
fault_memory.py.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import saturate
from xlate_core.fault_memory import EntrySpec
from xlate_core.fields import Field, Overflow, Width


@dataclass(frozen=True, slots=True)
class FaultSpec:
    """A fault: exactly one of quantity (with its statuses), message and bus is an index, not -1.

    `bus_events` has one bit for each BusEvent that counts upwards.
    `memory` is what is remembered of it, or None.
    """

    name: str
    quantity: int
    statuses: tuple[int, ...]
    message: int
    up: int
    down: int
    limit: int
    latch: bool
    condition: int
    output: int
    memory: EntrySpec | None = None
    bus: int = -1
    bus_events: int = 0


@dataclass(slots=True)
class FaultState:
    """Per fault: level 0..limit; matured from reaching the limit until healed at 0."""

    level: int = 0
    matured: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("level", Width.U16, Overflow.SATURATE),
        Field("matured", Width.U8, Overflow.BOUNDED),
    )


def step(
    spec: FaultSpec, state: FaultState, worse: int, better: int, enabled: bool, new_cycle: bool
) -> None:
    """Move the fault by `worse` steps up and `better` steps down.

    While its condition does not hold, the level stays. A latched fault heals only at the start of a
    new ignition cycle, and then at once.
    """
    if new_cycle and spec.latch:
        state.level = 0
        state.matured = False
    if not enabled:
        return
    state.level = saturate(state.level + worse * spec.up - better * spec.down, 0, spec.limit)
    if state.level >= spec.limit:
        state.matured = True
    elif state.level == 0 and not spec.latch:
        state.matured = False
