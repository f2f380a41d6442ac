"""Torque request of stability control or gearbox: carried unaltered, answered honestly.

The number goes on as it came, or "no request" stands in its place: when it is lost, not active, or
the ignition is off (rule 11). The answer never says "fulfilled" of what was not seen in the torque.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


class TorqueAnswer(IntEnum):
    """What the asking control unit is told."""

    NO_REQUEST = 0
    FULFILLED = 1
    BEING_FULFILLED = 2
    NOT_FULFILLED = 3
    NOT_KNOWN = 4


NO_REQUEST = int(TorqueAnswer.NO_REQUEST)
FULFILLED = int(TorqueAnswer.FULFILLED)
BEING_FULFILLED = int(TorqueAnswer.BEING_FULFILLED)
NOT_FULFILLED = int(TorqueAnswer.NOT_FULFILLED)
NOT_KNOWN = int(TorqueAnswer.NOT_KNOWN)


@dataclass(frozen=True, slots=True)
class TorqueRequestSpec:
    """Quantity indices (-1 = absent) of one resolution; `settle` in control ticks.

    A reduction (`increase` false) is fulfilled at or below the request plus `tolerance`, an
    increase at or above it minus `tolerance`. `friction` is the drag torque, a positive number: no
    reduction reaches below minus friction, no increase above `maximum`.
    """

    name: str
    request: int
    active: int
    carried: int
    carried_active: int
    no_request: int
    answer: int
    actual: int
    maximum: int
    friction: int
    increase: bool
    tolerance: int
    settle: int


@dataclass(slots=True)
class TorqueRequestState:
    """`unfulfilled_for` counts control ticks an active request has not been seen fulfilled."""

    unfulfilled_for: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("unfulfilled_for", Width.U32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: TorqueRequestSpec) -> TorqueRequestState:
    """Return the reset state."""
    del spec
    return TorqueRequestState()


def step(
    spec: TorqueRequestSpec, state: TorqueRequestState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether the request is replaced because its data is lost."""
    request = store[spec.request]
    active = store[spec.active]
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and (lost(request) or lost(active))

    # REQUEST: as it came, or none
    asked = ignition and usable(request) and usable(active) and active.value != 0
    store.publish(spec.carried, request.value if asked else spec.no_request)
    store.publish(spec.carried_active, int(asked))

    # ANSWER
    answer = _answer(spec, state, store, request.value) if asked else NO_REQUEST
    unsettled = answer in (BEING_FULFILLED, NOT_FULFILLED)
    state.unfulfilled_for = min(state.unfulfilled_for + 1, UINT32_MAX) if unsettled else 0
    store.publish(spec.answer, answer)
    return state.failsafe


def _answer(
    spec: TorqueRequestSpec, state: TorqueRequestState, store: QuantityStore, wanted: int
) -> int:
    """Return what is seen of an active request."""
    actual = store[spec.actual]
    if not usable(actual):
        return NOT_KNOWN
    if spec.increase:
        reached = actual.value >= wanted - spec.tolerance
        possible = wanted <= _limit(store, spec.maximum, wanted)
    else:
        reached = actual.value <= wanted + spec.tolerance
        possible = -wanted <= _limit(store, spec.friction, -wanted)
    if reached:
        return FULFILLED
    if not possible or state.unfulfilled_for >= spec.settle:
        return NOT_FULFILLED
    return BEING_FULFILLED


def _limit(store: QuantityStore, index: int, otherwise: int) -> int:
    """Return a limit of the engine, or `otherwise` where it is absent or not known."""
    if index == NO_QUANTITY or not usable(store[index]):
        return otherwise
    return store[index].value
