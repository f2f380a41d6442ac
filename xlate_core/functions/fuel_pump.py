"""Fuel pump: prime once per ignition cycle, run with rotation, off without, off on loss.

Rule 11: the pump is off without rotation. Loss of engine speed switches it off at once, even in the
prime time; a speed that was never received is no loss before its first deadline. Where the pairing
says so: it runs while cranking; a crash latches it off until the next ignition cycle, over resets;
on loss a turning engine keeps it for a limited time while a hard-wired enable is there (a moving
car without drive is a hazard too); and a pump driver gets a duty command.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.fields import Field, Overflow, Width
from xlate_core.functions import pump_command
from xlate_core.functions.pump_command import PumpCommandSpec, PumpCommandState
from xlate_core.power import CRANKING, NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, is_on, lost, usable


@dataclass(frozen=True, slots=True)
class PumpGuardSpec:
    """What else starts and stops the pump: quantity indices (-1 = absent), control ticks."""

    runs_cranking: bool
    crash: int
    loss_enable: int
    loss_run: int


@dataclass(frozen=True, slots=True)
class FuelPumpSpec:
    """Quantity indices; rotation threshold in steps of engine speed; times in control ticks."""

    name: str
    output: int
    engine_speed: int
    prime: int
    rotation_above: int
    off_delay: int
    guard: PumpGuardSpec | None = None
    command: PumpCommandSpec | None = None


@dataclass(slots=True)
class PumpGuardState:
    """The crash latch, which survives a reset; what is left of the run after loss of data."""

    crashed: bool = False
    loss_left: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("crashed", Width.U8, Overflow.BOUNDED, kept=True),
        Field("loss_left", Width.U32, Overflow.BOUNDED),
    )


@dataclass(slots=True)
class FuelPumpState:
    """Prime and run-on timers count down to 0; `primed` belongs to ignition cycle `cycle`."""

    primed: bool = False
    cycle: int = 0
    prime_left: int = 0
    run_left: int = 0
    failsafe: bool = False
    guard: PumpGuardState | None = None
    command: PumpCommandState | None = None

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("primed", Width.U8, Overflow.BOUNDED),
        Field("cycle", Width.U16, Overflow.WRAP),
        Field("prime_left", Width.U32, Overflow.BOUNDED),
        Field("run_left", Width.U32, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )

    def parts(self) -> list[PumpGuardState | PumpCommandState]:
        """Return the further records behind the own fields in the state image."""
        return [part for part in (self.guard, self.command) if part is not None]


def initial(spec: FuelPumpSpec) -> FuelPumpState:
    """Return the reset state."""
    return FuelPumpState(
        guard=None if spec.guard is None else PumpGuardState(),
        command=None if spec.command is None else PumpCommandState(),
    )


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
    run = state.prime_left > 0 or state.run_left > 0
    if spec.guard is not None and state.guard is not None:
        run = _guarded(spec.guard, state.guard, state, store, power, run)
    store.publish(spec.output, int(run))
    if spec.command is not None and state.command is not None:
        priming = state.prime_left > 0 and state.run_left == 0 and power.mode != CRANKING
        pump_command.step(spec.command, state.command, store, ignition, run, priming)
    return state.failsafe


def _guarded(
    spec: PumpGuardSpec,
    guard: PumpGuardState,
    state: FuelPumpState,
    store: QuantityStore,
    power: PowerState,
    run: bool,
) -> bool:
    """Return whether the pump runs after cranking, loss and crash have had their say."""
    # CRANKING: before rotation is seen
    if spec.runs_cranking and power.mode == CRANKING and not state.failsafe:
        run = True

    # LOSS: a pump that fed a turning engine goes on for a while, as long as the enable is there
    if spec.loss_enable != NO_QUANTITY:
        if not state.failsafe:
            guard.loss_left = spec.loss_run if state.run_left > 0 else 0
        elif guard.loss_left > 0 and is_on(store[spec.loss_enable]):
            guard.loss_left -= 1
            run = True
        else:
            guard.loss_left = 0

    # CRASH: latched until the next ignition cycle; loss of the crash signal is no crash
    if power.new_cycle:
        guard.crashed = False
    if spec.crash != NO_QUANTITY and is_on(store[spec.crash]):
        guard.crashed = True
    return run and not guard.crashed
