"""Pulse output: a frequency for a tachometer or a speedometer, with a lowest and a highest one.

Pulses per revolution or per kilometre become one exact ratio of mHz per step of the input.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import divide
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class PulseOutputSpec:
    """frequency = input * a / d in mHz: none below `lowest`, never more than `highest`."""

    name: str
    input: int
    output: int
    a: int
    d: int
    lowest: int
    highest: int
    on_loss: int


@dataclass(slots=True)
class PulseOutputState:
    """Whether the safe state is taken."""

    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("failsafe", Width.U8, Overflow.BOUNDED),)


def initial(spec: PulseOutputSpec) -> PulseOutputState:
    """Return the reset state."""
    del spec
    return PulseOutputState()


def step(
    spec: PulseOutputSpec, state: PulseOutputState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether data is lost."""
    del power
    source = store[spec.input]

    # LOSS
    state.failsafe = lost(source)
    if not usable(source):
        store.publish(spec.output, spec.on_loss, source.status, real=False)
        return state.failsafe

    # LIMITS
    frequency = divide(source.value * spec.a, spec.d)
    if frequency < spec.lowest:
        frequency = 0
    elif frequency > spec.highest:
        frequency = spec.highest

    # OUTPUT
    store.publish(spec.output, frequency, source.status)
    return state.failsafe
