"""Gauge: a needle position by curve (plateau and all), with hysteresis and a rest position.

The needle moves only when the input left the band of +-hysteresis around the value last shown. On
loss, and before the first value, it goes where the driver will notice (rule 11).
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import Points, interpolate
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class GaugeSpec:
    """Curve from steps of input to steps of output; hysteresis in steps of input."""

    name: str
    input: int
    output: int
    points: Points
    hysteresis: int
    on_loss: int


@dataclass(slots=True)
class GaugeState:
    """The input value last shown; `shown` is false until there is one and after loss."""

    shown: bool = False
    reference: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("shown", Width.U8, Overflow.BOUNDED),
        Field("reference", Width.I32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: GaugeSpec) -> GaugeState:
    """Return the reset state."""
    del spec
    return GaugeState()


def step(spec: GaugeSpec, state: GaugeState, store: QuantityStore, power: PowerState) -> bool:
    """Run one control tick; return whether the rest position is shown because data is lost."""
    del power
    source = store[spec.input]

    # LOSS
    state.failsafe = lost(source)
    if not usable(source):
        state.shown = False
        store.publish(spec.output, spec.on_loss, source.status, real=False)
        return state.failsafe

    # HYSTERESIS
    if not state.shown or abs(source.value - state.reference) > spec.hysteresis:
        state.shown = True
        state.reference = source.value

    # OUTPUT
    store.publish(spec.output, interpolate(spec.points, state.reference), source.status)
    return state.failsafe
