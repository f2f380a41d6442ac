"""Wishes and limits that cooling fans share, beside the coolant temperature itself.

Air-conditioning floor, refrigerant pressure, over-voltage, after-run. A level is a number of relay
stages (cooling_fan) or a duty (cooling_fan_duty); the highest wish wins (rule 11).
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import AFTER_RUN, NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityState, QuantityStore, is_on, lost, usable


@dataclass(frozen=True, slots=True)
class FanPressureSpec:
    """Refrigerant pressure: `level` asked from at or above `on` to at or below `off`."""

    quantity: int
    on: int
    off: int
    level: int


@dataclass(frozen=True, slots=True)
class FanDemandSpec:
    """Quantity indices (-1 = absent), thresholds in their steps, times in control ticks.

    - `compressor` not 0 asks for `compressor_level`, dropped from road speed `drop_above` on until
      at or below `restore_below`;
    - `inhibit_supply` at or above `inhibit_above` (mV) stops the fans until at or below
      `inhibit_below`; with `inhibit_on_loss` also while coolant data is lost, else loss goes first;
    - `after_run` is the longest run with ignition off, begun at or above `after_run_above` of
      coolant, ended at or below `after_run_below`, or with `after_run_supply` under
      `after_run_least_mv`;
    - `stage_delay` is the shortest time between the starts of two relay stages.
    """

    compressor: int
    compressor_level: int
    road_speed: int
    drop_above: int
    restore_below: int
    pressures: tuple[FanPressureSpec, ...]
    inhibit_supply: int
    inhibit_above: int
    inhibit_below: int
    inhibit_on_loss: bool
    after_run: int
    after_run_level: int
    after_run_above: int
    after_run_below: int
    after_run_supply: int
    after_run_least_mv: int
    stage_delay: int


@dataclass(slots=True)
class FanDemandState:
    """What the wishes and limits remember.

    - `dropped` while the road speed has dropped the floor; `inhibited` while over-voltage stops;
    - `pressed` has one bit for each pressure wish;
    - `after_left` is what is left of the after-run, `after_running` once it has begun;
    - `since_start` counts control ticks since a relay stage started.
    """

    dropped: bool = False
    pressed: int = 0
    inhibited: bool = False
    after_running: bool = False
    after_left: int = 0
    since_start: int = UINT32_MAX

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("dropped", Width.U8, Overflow.BOUNDED),
        Field("pressed", Width.U8, Overflow.BOUNDED),
        Field("inhibited", Width.U8, Overflow.BOUNDED),
        Field("after_running", Width.U8, Overflow.BOUNDED),
        Field("after_left", Width.U32, Overflow.BOUNDED),
        Field("since_start", Width.U32, Overflow.SATURATE, UINT32_MAX),
    )


def ask(spec: FanDemandSpec, state: FanDemandState, store: QuantityStore, ignition: bool) -> int:
    """Return the level asked for by the air conditioning and the refrigerant pressure."""
    wanted = 0

    # FLOOR: while the compressor runs; wind of driving replaces it; a lost speed replaces nothing
    compressor = spec.compressor != NO_QUANTITY and is_on(store[spec.compressor])
    if spec.road_speed != NO_QUANTITY:
        speed = store[spec.road_speed]
        if not usable(speed) or speed.value <= spec.restore_below:
            state.dropped = False
        elif speed.value >= spec.drop_above:
            state.dropped = True
    if compressor and not state.dropped:
        wanted = spec.compressor_level

    # PRESSURE: own hysteresis; lost while the compressor may run counts as high
    for number, pressure in enumerate(spec.pressures):
        source = store[pressure.quantity]
        bit = 1 << number
        if not ignition:
            state.pressed &= ~bit
        elif not usable(source):
            assumed = lost(source) and (compressor or spec.compressor == NO_QUANTITY)
            state.pressed = state.pressed | bit if assumed else state.pressed & ~bit
        elif source.value >= pressure.on:
            state.pressed |= bit
        elif source.value <= pressure.off:
            state.pressed &= ~bit
        if state.pressed & bit:
            wanted = max(wanted, pressure.level)
    return wanted


def inhibited(
    spec: FanDemandSpec, state: FanDemandState, store: QuantityStore, failsafe: bool
) -> bool:
    """Return whether over-voltage stops the fans; the pairing says whether it beats loss."""
    if spec.inhibit_supply != NO_QUANTITY:
        supply = store[spec.inhibit_supply].value
        if supply >= spec.inhibit_above:
            state.inhibited = True
        elif supply <= spec.inhibit_below:
            state.inhibited = False
    return state.inhibited and (spec.inhibit_on_loss or not failsafe)


def after_run(
    spec: FanDemandSpec,
    state: FanDemandState,
    store: QuantityStore,
    power: PowerState,
    coolant: QuantityState,
) -> int:
    """Return the level of the after-run; once ended it begins only after a new ignition on."""
    if ignition_is_on(power):
        state.after_left = spec.after_run
        state.after_running = False
        return 0
    if state.after_left == 0:
        return 0
    if state.after_running:
        hot = usable(coolant) and coolant.value > spec.after_run_below
    else:
        hot = usable(coolant) and coolant.value >= spec.after_run_above
    fed = store[spec.after_run_supply].value >= spec.after_run_least_mv
    if not hot or not fed or power.mode != AFTER_RUN:
        state.after_left = 0
        state.after_running = False
        return 0
    state.after_left -= 1
    state.after_running = True
    return spec.after_run_level
