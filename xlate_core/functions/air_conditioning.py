"""Air conditioning: idle-up asked of the engine, then the clutch; off on loss of any permission.

Rule 11: off when in doubt. A permission whose data is lost, or was never received, is withdrawn at
once. The clutch waits for the idle-up and for its minimum time off, which also runs after reset.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, RUNNING, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, is_on, lost, usable


class AirConditioningRefusal(IntEnum):
    """Why the clutch is off, the first reason that applies."""

    NONE = 0
    NO_REQUEST = 1
    NOT_RUNNING_LONG_ENOUGH = 2
    NOT_PERMITTED = 3
    FULL_PEDAL = 4
    ENGINE_SPEED = 5
    COOLANT = 6
    PRESSURE = 7
    EVAPORATOR = 8
    WAITING = 9


NO_REQUEST = int(AirConditioningRefusal.NO_REQUEST)
NOT_RUNNING_LONG_ENOUGH = int(AirConditioningRefusal.NOT_RUNNING_LONG_ENOUGH)
NOT_PERMITTED = int(AirConditioningRefusal.NOT_PERMITTED)
FULL_PEDAL = int(AirConditioningRefusal.FULL_PEDAL)
WAITING = int(AirConditioningRefusal.WAITING)


@dataclass(frozen=True, slots=True)
class PermissionWindowSpec:
    """Given inside `engage`, withdrawn outside `release`; both ends included; own refusal."""

    quantity: int
    engage_low: int
    engage_high: int
    release_low: int
    release_high: int
    refusal: int


@dataclass(frozen=True, slots=True)
class AirConditioningSpec:
    """Quantity indices (-1 = absent), thresholds in their steps, times in control ticks.

    Pedal at or above `pedal_full` cuts for at least `pedal_cut`, until at or below `pedal_below`.
    """

    name: str
    request: int
    idle_up: int
    clutch: int
    refusal: int
    permit: int
    windows: tuple[PermissionWindowSpec, ...]
    pedal: int
    pedal_full: int
    pedal_below: int
    pedal_cut: int
    running_for: int
    engage_delay: int
    min_off: int


@dataclass(slots=True)
class AirConditioningState:
    """What the permissions and the clutch remember.

    - `running_for` and `asked_for` count control ticks the engine runs and idle-up is asked;
    - `granted` has one bit for each window;
    - `since_off` counts control ticks since the clutch opened, or since reset.
    """

    running_for: int = 0
    granted: int = 0
    cut: bool = False
    cut_left: int = 0
    asked_for: int = 0
    engaged: bool = False
    since_off: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("running_for", Width.U32, Overflow.SATURATE),
        Field("granted", Width.U8, Overflow.BOUNDED),
        Field("cut", Width.U8, Overflow.BOUNDED),
        Field("cut_left", Width.U32, Overflow.BOUNDED),
        Field("asked_for", Width.U32, Overflow.SATURATE),
        Field("engaged", Width.U8, Overflow.BOUNDED),
        Field("since_off", Width.U32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: AirConditioningSpec) -> AirConditioningState:
    """Return the reset state."""
    del spec
    return AirConditioningState()


def step(
    spec: AirConditioningSpec, state: AirConditioningState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether a permission is withdrawn because its data is lost."""
    # LOSS
    sources = (spec.request, spec.permit, spec.pedal, *(one.quantity for one in spec.windows))
    missing = any(lost(store[index]) for index in sources if index != NO_QUANTITY)
    state.failsafe = ignition_is_on(power) and missing

    # PERMISSIONS: all are looked at, the first that fails is the refusal
    refusal = _windows(spec, state, store)
    _follow_pedal(spec, state, store)
    if spec.pedal != NO_QUANTITY and state.cut:
        refusal = FULL_PEDAL
    if spec.permit != NO_QUANTITY and not is_on(store[spec.permit]):
        refusal = NOT_PERMITTED
    state.running_for = min(state.running_for + 1, UINT32_MAX) if power.mode == RUNNING else 0
    if state.running_for <= spec.running_for:
        refusal = NOT_RUNNING_LONG_ENOUGH

    # REQUEST: idle-up while nothing refuses
    if not is_on(store[spec.request]):
        refusal = NO_REQUEST
    asked = refusal == 0

    # TIMERS: delay behind the idle-up, minimum time off
    state.asked_for = min(state.asked_for + 1, UINT32_MAX) if asked else 0
    if not state.engaged:
        state.since_off = min(state.since_off + 1, UINT32_MAX)
    ready = state.asked_for > spec.engage_delay and state.since_off >= spec.min_off

    # OUTPUTS
    engaged = asked and (state.engaged or ready)
    if state.engaged and not engaged:
        state.since_off = 0
    state.engaged = engaged
    if asked and not engaged:
        refusal = WAITING
    store.publish(spec.idle_up, int(asked))
    store.publish(spec.clutch, int(engaged))
    if spec.refusal != NO_QUANTITY:
        store.publish(spec.refusal, refusal)
    return state.failsafe


def _windows(spec: AirConditioningSpec, state: AirConditioningState, store: QuantityStore) -> int:
    """Move every window; return the refusal of the first that is not given, else 0."""
    refusal = 0
    for number in range(len(spec.windows) - 1, -1, -1):
        window = spec.windows[number]
        source = store[window.quantity]
        bit = 1 << number
        if state.granted & bit:
            low, high = window.release_low, window.release_high
        else:
            low, high = window.engage_low, window.engage_high
        if usable(source) and low <= source.value <= high:
            state.granted |= bit
        else:
            state.granted &= ~bit
            refusal = window.refusal
    return refusal


def _follow_pedal(
    spec: AirConditioningSpec, state: AirConditioningState, store: QuantityStore
) -> None:
    """Cut at full pedal, for at least the set time; without pedal data as well."""
    if spec.pedal == NO_QUANTITY:
        return
    pedal = store[spec.pedal]
    if state.cut_left > 0:
        state.cut_left -= 1
    if not usable(pedal):
        state.cut = True
    elif pedal.value >= spec.pedal_full:
        if not state.cut:
            state.cut_left = spec.pedal_cut
        state.cut = True
    elif pedal.value <= spec.pedal_below and state.cut_left == 0:
        state.cut = False
