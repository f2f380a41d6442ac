"""Power modes from ignition, accessory, crank request and engine speed (rule 14).

An ignition cycle begins when ignition comes on after having been off for a set time; a bounce or a
reset begins none (rule 9). The module sleeps when it is off and both buses are silent; it wakes by
a pin or a bus, and never keeps the car awake.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.quantities import QuantityStore, usable

NO_QUANTITY = -1


class PowerMode(IntEnum):
    """The modes of the module."""

    OFF = 0
    ACCESSORY = 1
    IGNITION_ON = 2
    CRANKING = 3
    RUNNING = 4
    AFTER_RUN = 5
    ASLEEP = 6


OFF = int(PowerMode.OFF)
ACCESSORY = int(PowerMode.ACCESSORY)
IGNITION_ON = int(PowerMode.IGNITION_ON)
CRANKING = int(PowerMode.CRANKING)
RUNNING = int(PowerMode.RUNNING)
AFTER_RUN = int(PowerMode.AFTER_RUN)
ASLEEP = int(PowerMode.ASLEEP)

IGNITION_MODES = frozenset((IGNITION_ON, CRANKING, RUNNING))


@dataclass(frozen=True, slots=True)
class SleepSpec:
    """When the module sleeps, and what wakes it. Times in control ticks.

    - `after`: both buses silent so long while the mode is OFF;
    - `quiet_after`: own messages go on so long in mode OFF, then cease; never in sleep;
    - `wake_buses`: one bit a bus whose frames wake;
    - `wake`: quantities that wake when they become nonzero. One that stays so does not.
    """

    after: int
    quiet_after: int
    wake_buses: int
    wake: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PowerSpec:
    """Indices of quantities (-1 = absent), thresholds in their steps, times in control ticks.

    `mode_quantity` is the quantity the mode's number is published to, `supply_quantity` the one
    of the supply in mV, or -1. With `kept` the ignition cycle and the
    power hold survive a reset.
    """

    ignition: int
    accessory: int
    crank: int
    engine_speed: int
    running_above: int
    running_below: int
    cycle_off: int
    after_run: int
    mode_quantity: int
    supply_quantity: int = NO_QUANTITY
    kept: bool = False
    sleep: SleepSpec | None = None


@dataclass(slots=True)
class PowerState:
    """Mode, hysteresis of "running", and how long ignition has been off.

    - `off_time` counts control ticks with ignition off, 0 while it is on;
    - `cycle` numbers the ignition cycles since reset, or over resets where the pairing keeps it;
    - `new_cycle` is true from the control tick a cycle begins in to the next one.
    """

    mode: int = OFF
    running: bool = False
    off_time: int = 0
    cycle: int = 0
    new_cycle: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("mode", Width.U8, Overflow.BOUNDED, kept=True),
        Field("running", Width.U8, Overflow.BOUNDED),
        Field("off_time", Width.U32, Overflow.SATURATE, kept=True),
        Field("cycle", Width.U16, Overflow.WRAP, kept=True),
        Field("new_cycle", Width.U8, Overflow.BOUNDED),
    )


@dataclass(slots=True)
class SleepState:
    """How long the buses have been silent and the mode OFF, in control ticks.

    - `quiet`: own messages have ceased;
    - `pressed`: a waking quantity was nonzero at the last control tick;
    - `woken`: what woke the module last: 0 nothing yet, 1 a pin, 2 the body bus, 3 the engine bus.
    """

    silent: int = 0
    off: int = 0
    quiet: bool = False
    pressed: bool = False
    woken: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("silent", Width.U32, Overflow.SATURATE),
        Field("off", Width.U32, Overflow.SATURATE),
        Field("quiet", Width.U8, Overflow.BOUNDED),
        Field("pressed", Width.U8, Overflow.BOUNDED),
        Field("woken", Width.U8, Overflow.BOUNDED),
    )


WOKEN_BY_PIN = 1
WOKEN_BY_BUS = 2  # plus the number of the bus


def holds_power(state: PowerState) -> bool:
    """Return whether the module keeps its own supply on."""
    return state.mode not in (OFF, ASLEEP)


def ignition_is_on(state: PowerState) -> bool:
    """Return whether the mode is one of those with ignition on."""
    return state.mode in IGNITION_MODES


def recall(spec: PowerSpec, state: PowerState, power_on: bool) -> None:
    """Judge what was taken up from kept memory; nothing of it counts unless the pairing keeps it.

    A module that was off without supply cannot know for how long: a power-on with ignition last
    seen off ends the ignition cycle. Every other reset goes on counting where it was, and holds the
    power as in the after-run, since the ignition has to be debounced before it is known again.
    """
    held = holds_power(state) and state.mode != ACCESSORY
    state.mode = OFF
    if not spec.kept:
        state.off_time = 0
        state.cycle = 0
    elif not power_on:
        state.mode = AFTER_RUN if held else OFF
    elif state.off_time > 0:
        state.off_time = max(state.off_time, spec.cycle_off)


def step(spec: PowerSpec, state: PowerState, store: QuantityStore) -> None:
    """Run one control tick."""
    ignition = store[spec.ignition].value != 0
    _follow_rotation(spec, state, store)
    state.new_cycle = False
    if ignition:
        if state.off_time >= spec.cycle_off:
            state.cycle = (state.cycle + 1) & 0xFFFF
            state.new_cycle = True
        state.off_time = 0
        if state.running:
            state.mode = RUNNING
        elif spec.crank != NO_QUANTITY and store[spec.crank].value != 0:
            state.mode = CRANKING
        else:
            state.mode = IGNITION_ON
        return

    if ignition_is_on(state):
        state.off_time = 0
        state.mode = AFTER_RUN
    if state.mode == AFTER_RUN and state.off_time < spec.after_run:
        pass  # the after-run time goes on
    elif spec.accessory != NO_QUANTITY and store[spec.accessory].value != 0:
        state.mode = ACCESSORY
    else:
        state.mode = OFF
    state.off_time = min(state.off_time + 1, UINT32_MAX)


def sleep_or_wake(
    spec: SleepSpec,
    state: SleepState,
    power: PowerState,
    was_asleep: bool,
    heard: int,
    store: QuantityStore,
) -> None:
    """Decide on sleep, after `step` of the same control tick; `heard` has one bit a bus."""
    pressed = any(store[index].value != 0 for index in spec.wake)
    edge = pressed and not state.pressed
    state.pressed = pressed
    state.silent = 0 if heard or edge else min(state.silent + 1, UINT32_MAX)

    # AWAKE BY THE DRIVER
    if power.mode != OFF:
        state.off = 0
        state.quiet = False
        if was_asleep:
            state.woken = WOKEN_BY_PIN
        return

    # WAKE by a pin or a bus, else sleep on
    if was_asleep:
        waking = heard & spec.wake_buses
        if not edge and not waking:
            power.mode = ASLEEP
            return
        state.woken = WOKEN_BY_PIN if edge else WOKEN_BY_BUS + (0 if waking & 1 else 1)
        state.silent = 0
        state.off = 0

    # QUIET, SLEEP
    state.off = min(state.off + 1, UINT32_MAX)
    state.quiet = state.off > spec.quiet_after
    if state.silent >= spec.after:
        power.mode = ASLEEP
        state.quiet = True


def _follow_rotation(spec: PowerSpec, state: PowerState, store: QuantityStore) -> None:
    """Follow "engine running" with hysteresis; an unusable speed leaves it to its substitute."""
    if spec.engine_speed == NO_QUANTITY:
        return
    speed = store[spec.engine_speed]
    if speed.value >= spec.running_above and usable(speed):
        state.running = True
    elif speed.value < spec.running_below:
        state.running = False
