"""Consumption counter: a flow summed up to a count that goes round at its modulus.

Receivers take differences of the count, so nothing is lost to rounding: the remainder is state. A
lost flow adds nothing, and the count says with its status that it stands still.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class ConsumptionCounterSpec:
    """A control tick adds flow * a / d steps of the count, which is 0..modulus - 1."""

    name: str
    input: int
    output: int
    a: int
    d: int
    modulus: int


@dataclass(slots=True)
class ConsumptionCounterState:
    """The count, and `rest` of a step in parts of d."""

    count: int = 0
    rest: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("count", Width.U32, Overflow.WRAP),
        Field("rest", Width.U64, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: ConsumptionCounterSpec) -> ConsumptionCounterState:
    """Return the reset state."""
    del spec
    return ConsumptionCounterState()


def step(
    spec: ConsumptionCounterSpec,
    state: ConsumptionCounterState,
    store: QuantityStore,
    power: PowerState,
) -> bool:
    """Run one control tick; return whether data is lost."""
    del power
    source = store[spec.input]
    real = usable(source)

    # LOSS
    state.failsafe = lost(source)

    # COUNT: no flow runs backwards
    if real and source.value > 0:
        total = state.rest + source.value * spec.a
        state.count = (state.count + total // spec.d) % spec.modulus
        state.rest = total % spec.d

    # OUTPUT
    store.publish(spec.output, state.count, source.status, real=real)
    return state.failsafe
