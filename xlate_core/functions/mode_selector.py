"""Mode selector: short, long and held presses of up to eight buttons and their combinations.

A press begins with the first button and ends when all are released; its combination is every button
that was down meanwhile. Its time counts from the last button that joined.

- Short and long act at the release: long when that is `long` control ticks after the beginning or
  later. Held acts once, while still pressed, `held` ticks after the beginning; the release then
  does nothing. What they choose stays (latched).
- Switches, or buttons used like them, show their mode as long as they are on (momentary); the first
  of the list counts.
- A press longer than `stuck`, and one that is there when the ignition comes on or data return, is
  ignored until all buttons are released.
- Data of a button or switch lost: the mode goes to `on_loss` or stays, as the pairing says, and is
  kept after the return; lost switches count as off. Without permission presses change nothing.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


class Press(IntEnum):
    """How buttons are pressed."""

    SHORT = 0
    LONG = 1
    HELD = 2


class Effect(IntEnum):
    """What a press does to the mode; next and previous go round."""

    SET = 0
    NEXT = 1
    PREVIOUS = 2


SHORT, LONG, HELD = (int(press) for press in Press)
NEXT = int(Effect.NEXT)
PREVIOUS = int(Effect.PREVIOUS)


@dataclass(frozen=True, slots=True)
class ActionSpec:
    """Buttons as bits (bit 0 the first), how they are pressed, and what that does."""

    buttons: int
    press: int
    effect: int
    mode: int


@dataclass(frozen=True, slots=True)
class SwitchSpec:
    """A quantity that shows `mode` while it is not 0."""

    quantity: int
    mode: int


@dataclass(frozen=True, slots=True)
class ModeSelectorSpec:
    """Quantity indices (-1 = absent); times in control ticks; modes lowest..highest.

    `keep_on_loss` keeps the mode when button data are lost; `every_cycle` begins every ignition
    cycle with `start`.
    """

    name: str
    buttons: tuple[int, ...]
    actions: tuple[ActionSpec, ...]
    switches: tuple[SwitchSpec, ...]
    long: int
    held: int
    stuck: int
    lowest: int
    highest: int
    start: int
    on_loss: int
    keep_on_loss: bool
    every_cycle: bool
    permit: int
    feedback: int
    unconfirmed: int
    output: int
    shown: int


@dataclass(slots=True)
class ModeSelectorState:
    """The latched mode and the press that is going on.

    - `pressed` holds the buttons of this press, `time` control ticks since the last one joined;
    - `done` is true after a held press has acted; `ignored` until all buttons are released.
    """

    started: bool = False
    mode: int = 0
    pressed: int = 0
    time: int = 0
    done: bool = False
    ignored: bool = True
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("started", Width.U8, Overflow.BOUNDED),
        Field("mode", Width.I32, Overflow.BOUNDED),
        Field("pressed", Width.U8, Overflow.BOUNDED),
        Field("time", Width.U32, Overflow.SATURATE),
        Field("done", Width.U8, Overflow.BOUNDED),
        Field("ignored", Width.U8, Overflow.BOUNDED, 1),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: ModeSelectorSpec) -> ModeSelectorState:
    """Return the reset state."""
    del spec
    return ModeSelectorState()


def step(
    spec: ModeSelectorSpec, state: ModeSelectorState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether button data is lost."""
    ignition = ignition_is_on(power)
    if not state.started or (spec.every_cycle and power.new_cycle):
        state.started = True
        state.mode = spec.start

    # LOSS
    needed = [*spec.buttons, *(switch.quantity for switch in spec.switches)]
    state.failsafe = ignition and any(lost(store[index]) for index in needed)
    whole = all(usable(store[index]) for index in spec.buttons)

    # BUTTONS: the press that is going on
    down = 0
    for number, index in enumerate(spec.buttons):
        if store[index].value != 0:
            down |= 1 << number
    if not ignition or not whole:
        state.pressed = state.time = 0
        state.done = False
        state.ignored = True
    elif down == 0:
        if state.pressed != 0 and not state.ignored and not state.done:
            _act(spec, state, store, LONG if state.time + 1 >= spec.long else SHORT)
        state.pressed = state.time = 0
        state.done = state.ignored = False
    else:
        _hold(spec, state, store, down)

    # SAFE STATE
    if state.failsafe and not spec.keep_on_loss:
        state.mode = spec.on_loss

    # SWITCHES: the first that is on
    mode = state.mode
    for switch in reversed(spec.switches):
        if store[switch.quantity].value != 0 and usable(store[switch.quantity]):
            mode = switch.mode

    # OUTPUT: the mode, and what the cluster shows
    store.publish(spec.output, mode)
    if spec.shown != NO_QUANTITY:
        shown = mode
        if spec.feedback != NO_QUANTITY:
            feedback = store[spec.feedback]
            shown = feedback.value if usable(feedback) else spec.unconfirmed
        store.publish(spec.shown, shown)
    return state.failsafe


def _hold(
    spec: ModeSelectorSpec, state: ModeSelectorState, store: QuantityStore, down: int
) -> None:
    """Follow buttons that are down; a held press acts."""
    if state.pressed | down != state.pressed:
        state.pressed |= down
        state.time = 0
    else:
        state.time = min(state.time + 1, UINT32_MAX)
    if state.time >= spec.stuck:
        state.ignored = True
    if state.ignored or state.done or state.time < spec.held:
        return
    if _find(spec, state.pressed, HELD) >= 0:
        state.done = True
        _act(spec, state, store, HELD)


def _find(spec: ModeSelectorSpec, buttons: int, press: int) -> int:
    """Return the number of the action for these buttons pressed like this, or -1."""
    for number, action in enumerate(spec.actions):
        if action.buttons == buttons and action.press == press:
            return number
    return -1


def _act(
    spec: ModeSelectorSpec, state: ModeSelectorState, store: QuantityStore, press: int
) -> None:
    """Change the latched mode as the action of the finished or held press says."""
    number = _find(spec, state.pressed, press)
    if number < 0 or not _permitted(spec, store):
        return
    action = spec.actions[number]
    if action.effect == NEXT:
        state.mode = spec.lowest if state.mode >= spec.highest else state.mode + 1
    elif action.effect == PREVIOUS:
        state.mode = spec.highest if state.mode <= spec.lowest else state.mode - 1
    else:
        state.mode = action.mode


def _permitted(spec: ModeSelectorSpec, store: QuantityStore) -> bool:
    """Return whether the mode may change now; lost data forbid it."""
    if spec.permit == NO_QUANTITY:
        return True
    permit = store[spec.permit]
    return usable(permit) and permit.value != 0
