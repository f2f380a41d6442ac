"""Engine speed gauge: a shown engine speed with limited rates and a value held over short gaps.

The gauge holds for itself, so that the pump and the power mode may see the loss at once. After the
hold it shows the rest value, where the driver will notice (rule 11).
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import approach, rate_step
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class EngineSpeedGaugeSpec:
    """Rates in steps per second, 0 = at once; hold in control ticks; both ends step alike."""

    name: str
    input: int
    output: int
    rise: int
    fall: int
    hold: int
    on_loss: int
    control_ms: int


@dataclass(slots=True)
class EngineSpeedGaugeState:
    """What is shown; `known` is false until there is a value and after the hold.

    - `remainder` is 0..999 thousandths of a step; `held` is 0 while data is there.
    """

    known: bool = False
    shown: int = 0
    remainder: int = 0
    held: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("known", Width.U8, Overflow.BOUNDED),
        Field("shown", Width.I32, Overflow.SATURATE),
        Field("remainder", Width.U16, Overflow.BOUNDED),
        Field("held", Width.U32, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: EngineSpeedGaugeSpec) -> EngineSpeedGaugeState:
    """Return the reset state."""
    del spec
    return EngineSpeedGaugeState()


def step(
    spec: EngineSpeedGaugeSpec,
    state: EngineSpeedGaugeState,
    store: QuantityStore,
    power: PowerState,
) -> bool:
    """Run one control tick; return whether data is lost."""
    del power
    source = store[spec.input]

    # LOSS: hold, then rest
    state.failsafe = lost(source)
    if not usable(source):
        if state.known and state.held < spec.hold:
            state.held += 1
            store.publish(spec.output, state.shown, source.status)
            return state.failsafe
        state.known = False
        state.remainder = 0
        store.publish(spec.output, spec.on_loss, source.status, real=False)
        return state.failsafe
    state.held = 0

    # RATE: the first value at once
    rate = spec.rise if source.value > state.shown else spec.fall
    if not state.known or rate == 0 or source.value == state.shown:
        state.known = True
        state.shown = source.value
        state.remainder = 0
    else:
        way, state.remainder = rate_step(state.remainder, rate, spec.control_ms)
        state.shown = approach(state.shown, source.value, way)

    # OUTPUT
    store.publish(spec.output, state.shown, source.status)
    return state.failsafe
