"""Fuel level: a slosh filter, slow while the car moves, quicker while it stands at the pump.

A first-order filter in 65536ths of a step. It follows at once at the first value and while the
ignition is off, so that a tank filled with the ignition off is shown when it comes on. A road speed
that is not real counts as moving: a needle that creeps is better than one that swings.
"""

from dataclasses import dataclass
from typing import ClassVar

from xlate_core.arithmetic import divide
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable

FINE = 65536
"""Parts of a step the filter counts in."""


@dataclass(frozen=True, slots=True)
class FuelLevelSpec:
    """Time constants in ms, 0 = none; hold in control ticks; input and output step alike.

    `road_speed` -1 means always moving; moving is at or above `moving_above` (its steps).
    """

    name: str
    input: int
    output: int
    road_speed: int
    moving_above: int
    standing_ms: int
    moving_ms: int
    hold: int
    on_loss: int
    control_ms: int


@dataclass(slots=True)
class FuelLevelState:
    """The filtered level; `known` is false until there is one and after the hold."""

    known: bool = False
    fine: int = 0
    held: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("known", Width.U8, Overflow.BOUNDED),
        Field("fine", Width.I64, Overflow.BOUNDED),
        Field("held", Width.U32, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: FuelLevelSpec) -> FuelLevelState:
    """Return the reset state."""
    del spec
    return FuelLevelState()


def step(
    spec: FuelLevelSpec, state: FuelLevelState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether data is lost."""
    source = store[spec.input]

    # LOSS: hold, then rest
    state.failsafe = lost(source)
    if not usable(source):
        if state.known and state.held < spec.hold:
            state.held += 1
            store.publish(spec.output, divide(state.fine, FINE), source.status)
            return state.failsafe
        state.known = False
        store.publish(spec.output, spec.on_loss, source.status, real=False)
        return state.failsafe
    state.held = 0

    # FILTER
    target = source.value * FINE
    constant = spec.moving_ms if _moving(spec, store) else spec.standing_ms
    if not state.known or not ignition_is_on(power) or constant == 0:
        state.known = True
        state.fine = target
    else:
        state.fine += divide((target - state.fine) * spec.control_ms, constant)

    # OUTPUT
    store.publish(spec.output, divide(state.fine, FINE), source.status)
    return state.failsafe


def _moving(spec: FuelLevelSpec, store: QuantityStore) -> bool:
    """Return whether the car moves, or nobody can say that it stands."""
    if spec.road_speed == NO_QUANTITY:
        return True
    speed = store[spec.road_speed]
    return not usable(speed) or speed.value >= spec.moving_above
