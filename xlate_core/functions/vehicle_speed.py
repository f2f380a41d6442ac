"""Vehicle speed from wheel speeds, with plausibility between wheels; never under the true speed.

The speed is that of the fastest wheel that another wheel agrees with: a wheel that locks or spins
alone has no say, and of two pairs the faster one counts. While no two agree, the fastest wheel
counts; when that lasts the speed is called implausible. The shown speed leads by a share and a
fixed amount and is rounded up, so the speedometer reads no less than the car goes.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX, divide, divide_up
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState
from xlate_core.quantities import IMPLAUSIBLE, VALID, QuantityStore, lost, usable

MOST_WHEELS = 8


@dataclass(frozen=True, slots=True)
class VehicleSpeedSpec:
    """2 to 8 wheels in steps of the output; times in control ticks.

    Wheels agree within `spread` plus `spread_permille` of the faster one. `shown` (-1 = none) is
    (speed*a + b) / d rounded up, 0 at standstill. `least` is how many wheels must have a value.
    """

    name: str
    wheels: tuple[int, ...]
    output: int
    shown: int
    least: int
    spread: int
    spread_permille: int
    disagree: int
    hold: int
    on_loss: int
    shown_on_loss: int
    a: int
    b: int
    d: int


@dataclass(slots=True)
class VehicleSpeedState:
    """The speed; `known` is false until there is one and after the hold.

    - `disagreed` counts control ticks in which no two wheels agree, 0 while two do.
    """

    known: bool = False
    speed: int = 0
    held: int = 0
    disagreed: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("known", Width.U8, Overflow.BOUNDED),
        Field("speed", Width.I32, Overflow.SATURATE),
        Field("held", Width.U32, Overflow.BOUNDED),
        Field("disagreed", Width.U32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: VehicleSpeedSpec) -> VehicleSpeedState:
    """Return the reset state."""
    del spec
    return VehicleSpeedState()


def step(
    spec: VehicleSpeedSpec, state: VehicleSpeedState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether the speed is lost or implausible."""
    del power

    # WHEELS: a held or substituted one has no say
    worst = VALID
    missing = False
    values = []
    for wheel in spec.wheels:
        source = store[wheel]
        worst = max(worst, source.status)
        missing = missing or lost(source)
        if source.status == VALID and usable(source):
            values.append(source.value)

    # LOSS: too few wheels; hold, then rest
    state.failsafe = missing and len(values) < spec.least
    if len(values) < spec.least:
        state.disagreed = 0
        if state.known and state.held < spec.hold:
            state.held += 1
            _publish(spec, state, store, worst, True)
            return state.failsafe
        state.known = False
        store.publish(spec.output, spec.on_loss, worst, real=False)
        if spec.shown != NO_QUANTITY:
            store.publish(spec.shown, spec.shown_on_loss, worst, real=False)
        return state.failsafe
    state.held = 0
    state.known = True

    # PLAUSIBILITY: the fastest wheel that another one agrees with, else the fastest
    agreed = _fastest_agreed(spec, values)
    if agreed is None:
        state.speed = max(values)
        state.disagreed = min(state.disagreed + 1, UINT32_MAX)
    else:
        state.speed = agreed
        state.disagreed = 0
    state.failsafe = state.disagreed > spec.disagree

    # OUTPUT
    _publish(spec, state, store, IMPLAUSIBLE if state.failsafe else VALID, not state.failsafe)
    return state.failsafe


def _fastest_agreed(spec: VehicleSpeedSpec, values: list[int]) -> int | None:
    """Return the fastest value that another wheel agrees with, None if no two do; one is enough.

    Of the slower wheels the next one is nearest: if it does not agree, none of them does. `values`
    are in rising order afterwards.
    """
    if len(values) == 1:
        return values[0]
    values.sort()
    for place in range(len(values) - 1, 0, -1):
        value = values[place]
        band = spec.spread + divide(value * spec.spread_permille, 1000)
        if value - values[place - 1] <= band:
            return value
    return None


def _publish(
    spec: VehicleSpeedSpec, state: VehicleSpeedState, store: QuantityStore, status: int, real: bool
) -> None:
    """Publish the speed and the one the driver sees."""
    store.publish(spec.output, state.speed, status, real)
    if spec.shown != NO_QUANTITY:
        leading = divide_up(state.speed * spec.a + spec.b, spec.d) if state.speed > 0 else 0
        store.publish(spec.shown, leading, status, real)
