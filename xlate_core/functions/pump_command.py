"""Duty command to a fuel-pump driver: levels by demand, own command for off, and its answer.

The load proves that every command lies in the driver's valid band and outside its diagnostic bands.
A lost demand takes the highest level: a starved engine is the worse fault.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class PumpLevelSpec:
    """From demand `above` on `command` is sent; left below `leave_below`."""

    above: int
    leave_below: int
    command: int


@dataclass(frozen=True, slots=True)
class PumpCommandSpec:
    """Commands in steps of the output; `base` up to the first level; time in control ticks.

    The driver's `answer` (-1 = none) outside `answer_low`..`answer_high`, or lost, for
    `answer_time` sets `answer_output` to 1 until it is good again.
    """

    output: int
    off: int
    prime: int
    base: int
    demand: int
    levels: tuple[PumpLevelSpec, ...]
    answer: int
    answer_low: int
    answer_high: int
    answer_time: int
    answer_output: int


@dataclass(slots=True)
class PumpCommandState:
    """The level in use (0 = base), and control ticks the answer has been bad (saturating)."""

    level: int = 0
    bad_for: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("level", Width.U8, Overflow.BOUNDED),
        Field("bad_for", Width.U32, Overflow.SATURATE),
    )


def step(
    spec: PumpCommandSpec,
    state: PumpCommandState,
    store: QuantityStore,
    ignition: bool,
    run: bool,
    priming: bool,
) -> None:
    """Publish the command for this control tick and judge the driver's answer."""
    # LEVEL: with hysteresis; without demand data the highest
    demand = store[spec.demand]
    if not usable(demand):
        state.level = len(spec.levels)
    else:
        while state.level > 0 and demand.value < spec.levels[state.level - 1].leave_below:
            state.level -= 1
        while state.level < len(spec.levels) and demand.value >= spec.levels[state.level].above:
            state.level += 1

    # COMMAND
    if not run:
        command = spec.off
    elif priming:
        command = spec.prime
    else:
        command = spec.levels[state.level - 1].command if state.level else spec.base
    store.publish(spec.output, command)

    # ANSWER
    if spec.answer == NO_QUANTITY:
        return
    answer = store[spec.answer]
    good = usable(answer) and spec.answer_low <= answer.value <= spec.answer_high
    if good or not ignition or not (usable(answer) or lost(answer)):
        state.bad_for = 0
    else:
        state.bad_for = min(state.bad_for + 1, UINT32_MAX)
    store.publish(spec.answer_output, int(state.bad_for > spec.answer_time))
