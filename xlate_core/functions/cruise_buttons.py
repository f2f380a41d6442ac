"""Cruise buttons: one code of a resistor ladder or of the bus, single contacts, or both.

What the engine controller gets is the button that counts, or "cancel". Cancel dominates: the button
itself, brake, clutch, stability control, speed outside its window, or any of these data lost.

- A button counts when it is seen unchanged for the debounce time: seen first in control tick t, in
  t + debounce.
- One that is held for the stuck time, or is pressed already when the ignition comes on, is ignored
  until it is released. Only a stuck cancel goes on cancelling.
- Resume needs a speed that was set since the system was switched on.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


class CruiseButton(IntEnum):
    """The buttons; published as the request to the engine controller."""

    NONE = 0
    ON_OFF = 1
    SET = 2
    RESUME = 3
    CANCEL = 4


NONE = int(CruiseButton.NONE)
ON_OFF = int(CruiseButton.ON_OFF)
SET = int(CruiseButton.SET)
RESUME = int(CruiseButton.RESUME)
CANCEL = int(CruiseButton.CANCEL)

CRUISE_OFF, CRUISE_STANDBY, CRUISE_ACTIVE = 0, 1, 2


@dataclass(frozen=True, slots=True)
class ButtonCodeSpec:
    """A value of the code, or a contact's quantity, and the button it means."""

    given: int
    button: CruiseButton


@dataclass(frozen=True, slots=True)
class CruiseButtonsSpec:
    """Quantity indices (-1 = absent); times in control ticks; speeds in steps of the speed.

    `cancels` are quantities that cancel while they are not 0; `needed` are all whose loss cancels.
    """

    name: str
    code: int
    codes: tuple[ButtonCodeSpec, ...]
    contacts: tuple[ButtonCodeSpec, ...]
    debounce: int
    stuck: int
    cancels: tuple[int, ...]
    needed: tuple[int, ...]
    speed: int
    speed_low: int
    speed_high: int
    feedback: int
    feedback_after: int
    request: int
    status_output: int


@dataclass(slots=True)
class CruiseButtonsState:
    """Timers count control ticks and saturate.

    - `candidate` is seen for `stable` ticks, `button` is accepted for `held` ticks;
    - `ignored` is true for a stuck button, and until no button was seen after ignition on;
    - `stored` says that a speed was set since switching on; `refused` is how long the engine
      controller denies being active.
    """

    candidate: int = NONE
    stable: int = 0
    button: int = NONE
    held: int = 0
    ignored: bool = True
    on: bool = False
    active: bool = False
    stored: bool = False
    refused: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("candidate", Width.U8, Overflow.BOUNDED),
        Field("stable", Width.U32, Overflow.SATURATE),
        Field("button", Width.U8, Overflow.BOUNDED),
        Field("held", Width.U32, Overflow.SATURATE),
        Field("ignored", Width.U8, Overflow.BOUNDED, 1),
        Field("on", Width.U8, Overflow.BOUNDED),
        Field("active", Width.U8, Overflow.BOUNDED),
        Field("stored", Width.U8, Overflow.BOUNDED),
        Field("refused", Width.U32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: CruiseButtonsSpec) -> CruiseButtonsState:
    """Return the reset state."""
    del spec
    return CruiseButtonsState()


def step(
    spec: CruiseButtonsSpec, state: CruiseButtonsState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether data it needs is lost."""
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and any(lost(store[index]) for index in spec.needed)
    whole = all(usable(store[index]) for index in spec.needed)

    # BUTTON: debounced, and ignored while stuck
    event = _follow(spec, state, _seen(spec, store), ignition)
    pressed = state.button if not state.ignored or state.button == CANCEL else NONE

    # PERMISSIONS: cancel dominates
    speed = store[spec.speed].value
    cancelled = pressed == CANCEL or not whole
    if speed < spec.speed_low or speed > spec.speed_high:
        cancelled = True
    if any(store[index].value != 0 for index in spec.cancels):
        cancelled = True

    # STATE: off, standby, active
    if not ignition:
        state.on = False
    elif event == ON_OFF:
        state.on = not state.on
    if not state.on or event == ON_OFF:
        state.stored = False
    if not state.on or cancelled or event == ON_OFF:
        state.active = False
    elif event == SET:
        state.active = state.stored = True
    elif event == RESUME and state.stored:
        state.active = True
    _confirm(spec, state, store)

    # OUTPUT
    request = NONE
    if state.on and cancelled:
        request = CANCEL
    elif state.active and pressed in (SET, RESUME):
        request = pressed
    store.publish(spec.request, request)
    if spec.status_output != NO_QUANTITY:
        status = CRUISE_ACTIVE if state.active else CRUISE_STANDBY if state.on else CRUISE_OFF
        store.publish(spec.status_output, status)
    return state.failsafe


def _seen(spec: CruiseButtonsSpec, store: QuantityStore) -> int:
    """Return the button seen now: cancel before all, none when two others are pressed."""
    found = NONE
    both = False
    pairs = [(entry.button, store[entry.given].value != 0) for entry in spec.contacts]
    if spec.code != NO_QUANTITY and usable(store[spec.code]):
        value = store[spec.code].value
        pairs += [(entry.button, entry.given == value) for entry in spec.codes]
    for button, pressed in pairs:
        if not pressed or button == NONE:
            continue
        if button == CANCEL:
            return CANCEL
        if found not in (NONE, button):
            both = True
        found = button
    return NONE if both else found


def _follow(spec: CruiseButtonsSpec, state: CruiseButtonsState, seen: int, ignition: bool) -> int:
    """Debounce the button seen; return the one that was pressed in this tick, or none."""
    if seen != state.candidate:
        state.candidate = seen
        state.stable = 0
    else:
        state.stable = min(state.stable + 1, UINT32_MAX)
    settled = state.stable >= spec.debounce
    event = NONE
    if settled and state.candidate != state.button:
        state.button = state.candidate
        state.held = 0
        event = NONE if state.ignored else state.button
    else:
        state.held = min(state.held + 1, UINT32_MAX)
    if settled and state.button == NONE:
        state.ignored = False
    elif state.button != NONE and state.held >= spec.stuck:
        state.ignored = True
    if not ignition:
        state.ignored = True
    return event


def _confirm(spec: CruiseButtonsSpec, state: CruiseButtonsState, store: QuantityStore) -> None:
    """Fall back to standby when the engine controller denies being active for the set time."""
    if spec.feedback == NO_QUANTITY or not state.active:
        state.refused = 0
        return
    feedback = store[spec.feedback]
    if feedback.value != 0 or not usable(feedback):
        state.refused = 0
        return
    if state.refused >= spec.feedback_after:
        state.active = False
        state.refused = 0
    else:
        state.refused = min(state.refused + 1, UINT32_MAX)
