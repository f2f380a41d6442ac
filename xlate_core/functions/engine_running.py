"""Engine running, told to power steering, alternator and body, each with its own timing.

Turning is seen with hysteresis. On loss of engine speed each listener gets what the pairing chose
for it, with the reason in words: running, not running, or what it was told last (rule 11).
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


class ToldOnLoss(IntEnum):
    """What a listener is told while the engine speed is lost."""

    NOT_RUNNING = 0
    RUNNING = 1
    LAST = 2


LAST = int(ToldOnLoss.LAST)


@dataclass(frozen=True, slots=True)
class ListenerSpec:
    """0/1 to `output`, so many control ticks after the engine started or stopped."""

    output: int
    on_delay: int
    off_delay: int
    on_loss: int


@dataclass(frozen=True, slots=True)
class EngineRunningSpec:
    """Running at or above `running_above`, not below `running_below`, steps of engine speed."""

    name: str
    engine_speed: int
    running_above: int
    running_below: int
    listeners: tuple[ListenerSpec, ...]


@dataclass(slots=True)
class ListenerState:
    """What the listener is told, and for how many control ticks the engine differed from it."""

    told: bool = False
    differs: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("told", Width.U8, Overflow.BOUNDED),
        Field("differs", Width.U32, Overflow.SATURATE),
    )


@dataclass(slots=True)
class EngineRunningState:
    """Hysteresis of "turning", whether the safe state is taken, and the listeners."""

    turning: bool = False
    failsafe: bool = False
    listeners: list[ListenerState] = field(default_factory=list)

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("turning", Width.U8, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )

    def parts(self) -> list[ListenerState]:
        """Return the repeated records behind the own fields in the state image."""
        return self.listeners


def initial(spec: EngineRunningSpec) -> EngineRunningState:
    """Return the reset state."""
    return EngineRunningState(listeners=[ListenerState() for _ in spec.listeners])


def step(
    spec: EngineRunningSpec, state: EngineRunningState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether the engine speed is lost."""
    speed = store[spec.engine_speed]
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and lost(speed)

    # TURNING: hysteresis; never without ignition, nor before the first speed
    if not ignition or not usable(speed) or speed.value < spec.running_below:
        state.turning = False
    elif speed.value >= spec.running_above:
        state.turning = True

    # OUTPUTS: each with its delays; on loss at once
    for place, listener in enumerate(spec.listeners):
        told = state.listeners[place]
        if state.failsafe:
            told.differs = 0
            if listener.on_loss != LAST:
                told.told = listener.on_loss != 0
        elif told.told == state.turning:
            told.differs = 0
        elif told.differs >= (listener.on_delay if state.turning else listener.off_delay):
            told.told = state.turning
            told.differs = 0
        else:
            told.differs = min(told.differs + 1, UINT32_MAX)
        store.publish(listener.output, int(told.told))
    return state.failsafe
