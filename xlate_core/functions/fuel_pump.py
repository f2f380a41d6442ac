"""Fuel pump relay: prime once per ignition cycle, run with rotation, off without, off on loss.

Rule 11: the pump is off without rotation. Loss of engine speed switches it off at once, even in the
prime time; a speed that was never received is no loss before its first deadline.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class FuelPumpSpec:
    """Quantity indices; rotation threshold in steps of engine speed; times in control ticks."""

    name: str
    output: int
    engine_speed: int
    prime: int
    rotation_above: int
    off_delay: int


@dataclass(slots=True)
class FuelPumpState:
    """Prime and run-on timers count down to 0; `primed` belongs to ignition cycle `cycle`."""

    primed: bool = False
    cycle: int = 0
    prime_left: int = 0
    run_left: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("primed", Width.U8, Overflow.BOUNDED),
        Field("cycle", Width.U16, Overflow.WRAP),
        Field("prime_left", Width.U32, Overflow.BOUNDED),
        Field("run_left", Width.U32, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: FuelPumpSpec) -> FuelPumpState:
    """Return the reset state."""
    del spec
    return FuelPumpState()


def step(spec: FuelPumpSpec, state: FuelPumpState, store: QuantityStore, power: PowerState) -> bool:
    """Run one control tick; return whether the safe state is taken."""
    speed = store[spec.engine_speed]
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and lost(speed)

    # PRIME: once per ignition cycle
    if power.cycle != state.cycle:
        state.cycle = power.cycle
        state.primed = False
    if state.prime_left > 0:
        state.prime_left -= 1
    if ignition and not state.primed:
        state.primed = True
        state.prime_left = spec.prime

    # ROTATION: on at once, off after the set time
    if state.run_left > 0:
        state.run_left -= 1
    if usable(speed) and speed.value >= spec.rotation_above:
        state.run_left = spec.off_delay + 1

    # SAFE STATE: nothing of the past survives ignition off or loss
    if not ignition or state.failsafe:
        state.prime_left = 0
        state.run_left = 0

    # OUTPUT
    store.publish(spec.output, int(state.prime_left > 0 or state.run_left > 0))
    return state.failsafe
