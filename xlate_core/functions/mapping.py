"""Plain mapping: words of one side to words of the other by table, or a straight line.

The output carries the status of its input (rule 8).
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import divide
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class MappingSpec:
    """Table of (input, output) pairs, `otherwise` for the rest; without table (a*x + b) / d."""

    name: str
    input: int
    output: int
    table: tuple[tuple[int, int], ...]
    otherwise: int
    a: int
    b: int
    d: int
    on_loss: int


@dataclass(slots=True)
class MappingState:
    """Whether the safe state is taken."""

    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("failsafe", Width.U8, Overflow.BOUNDED),)


def initial(spec: MappingSpec) -> MappingState:
    """Return the reset state."""
    del spec
    return MappingState()


def step(spec: MappingSpec, state: MappingState, store: QuantityStore, power: PowerState) -> bool:
    """Run one control tick; return whether the safe state is taken."""
    del power
    source = store[spec.input]

    # LOSS
    state.failsafe = lost(source)
    if not usable(source):
        store.publish(spec.output, spec.on_loss, source.status, real=False)
        return state.failsafe

    # OUTPUT
    if spec.table:
        value = spec.otherwise
        for given, mapped in spec.table:
            if given == source.value:
                value = mapped
                break
    else:
        value = divide(source.value * spec.a + spec.b, spec.d)
    store.publish(spec.output, value, source.status)
    return state.failsafe
