"""Starter: one press of the button cranks until the engine runs, within limits.

Rule 11: off when a permission is lost. A button that is pressed at power-on, or after reset, does
nothing until it was released. An engine speed that is not known counts as turning.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityState, QuantityStore, is_on, lost, usable


class StarterOutcome(IntEnum):
    """What became of the last press of the button."""

    NOT_PRESSED = 0
    CRANKING = 1
    STARTED = 2
    LIMIT_REACHED = 3
    PERMISSION_WITHDRAWN = 4
    SPEED_LOST = 5
    REFUSED_NO_PERMISSION = 6
    REFUSED_TURNING = 7
    REFUSED_RESTING = 8


OUTCOME_CRANKING = int(StarterOutcome.CRANKING)
STARTED = int(StarterOutcome.STARTED)
LIMIT_REACHED = int(StarterOutcome.LIMIT_REACHED)
PERMISSION_WITHDRAWN = int(StarterOutcome.PERMISSION_WITHDRAWN)
SPEED_LOST = int(StarterOutcome.SPEED_LOST)
REFUSED_NO_PERMISSION = int(StarterOutcome.REFUSED_NO_PERMISSION)
REFUSED_TURNING = int(StarterOutcome.REFUSED_TURNING)
REFUSED_RESTING = int(StarterOutcome.REFUSED_RESTING)


@dataclass(frozen=True, slots=True)
class StarterSpec:
    """Quantity indices (-1 = absent), speeds in steps of engine speed, times in control ticks.

    - permission: every quantity of `all_of` and, where there are any, one of `any_of` is not 0;
    - no crank begins at or above `turning_above`, it ends at or above `release_above`;
    - `rest` follows every crank, `limit_rest` one that reached `max_crank`;
    - with `while_pressed` the button must stay pressed.
    """

    name: str
    button: int
    engine_speed: int
    all_of: tuple[int, ...]
    any_of: tuple[int, ...]
    output: int
    outcome: int
    turning_above: int
    release_above: int
    max_crank: int
    rest: int
    limit_rest: int
    while_pressed: bool


@dataclass(slots=True)
class StarterState:
    """`armed` once the button was seen released; times count control ticks, `rest_left` down."""

    armed: bool = False
    cranking: bool = False
    crank_time: int = 0
    rest_left: int = 0
    outcome: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("armed", Width.U8, Overflow.BOUNDED),
        Field("cranking", Width.U8, Overflow.BOUNDED),
        Field("crank_time", Width.U32, Overflow.SATURATE),
        Field("rest_left", Width.U32, Overflow.BOUNDED),
        Field("outcome", Width.U8, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: StarterSpec) -> StarterState:
    """Return the reset state."""
    del spec
    return StarterState()


def step(spec: StarterSpec, state: StarterState, store: QuantityStore, power: PowerState) -> bool:
    """Run one control tick; return whether the starter is barred because data is lost."""
    button = store[spec.button]
    speed = store[spec.engine_speed]
    ignition = ignition_is_on(power)

    # LOSS
    sources = (spec.button, spec.engine_speed, *spec.all_of, *spec.any_of)
    state.failsafe = ignition and any(lost(store[index]) for index in sources)

    # PERMISSIONS
    permitted = ignition and all(is_on(store[index]) for index in spec.all_of)
    if spec.any_of and not any(is_on(store[index]) for index in spec.any_of):
        permitted = False

    # REQUEST: the edge of a button that was seen released
    pressed = is_on(button)
    edge = pressed and state.armed
    state.armed = usable(button) and not pressed

    # TIMERS
    if state.rest_left > 0:
        state.rest_left -= 1
    if state.cranking:
        state.crank_time = min(state.crank_time + 1, UINT32_MAX)

    # OUTPUTS: stop by the first reason that applies, or start
    if state.cranking:
        state.outcome = _end(spec, state, speed, permitted and (pressed or not spec.while_pressed))
        if state.outcome != OUTCOME_CRANKING:
            state.cranking = False
            state.rest_left = spec.limit_rest if state.outcome == LIMIT_REACHED else spec.rest
    elif edge:
        if not permitted:
            state.outcome = REFUSED_NO_PERMISSION
        elif not usable(speed) or speed.value >= spec.turning_above:
            state.outcome = REFUSED_TURNING
        elif state.rest_left > 0:
            state.outcome = REFUSED_RESTING
        else:
            state.outcome = OUTCOME_CRANKING
            state.cranking = True
            state.crank_time = 0
    store.publish(spec.output, int(state.cranking))
    if spec.outcome != NO_QUANTITY:
        store.publish(spec.outcome, state.outcome)
    return state.failsafe


def _end(spec: StarterSpec, state: StarterState, speed: QuantityState, permitted: bool) -> int:
    """Return why a crank ends, or that it goes on."""
    if not permitted:
        return PERMISSION_WITHDRAWN
    if not usable(speed):
        return SPEED_LOST
    if speed.value >= spec.release_above:
        return STARTED
    if state.crank_time >= spec.max_crank:
        return LIMIT_REACHED
    return OUTCOME_CRANKING
