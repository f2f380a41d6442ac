"""Lamp panel: warning lamps with bulb check, delays, and on when their data is lost.

Rule 11: a lamp whose data is lost is lit at once, unless the pairing says otherwise with a reason.
With the ignition off every lamp is dark. All lamps of a panel share the bulb check, which starts
whenever the ignition comes on, and the time after the start in which an oil pressure may build up.
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import RUNNING, PowerState, ignition_is_on
from xlate_core.quantities import QuantityState, QuantityStore, lost, usable


class Standing(IntEnum):
    """What a lamp does with the ignition on before the engine runs."""

    JUDGED = 0  # its causes count, as they do while the engine runs
    LIT = 1
    DARK = 2


JUDGED = int(Standing.JUDGED)
LIT = int(Standing.LIT)


@dataclass(frozen=True, slots=True)
class CauseSpec:
    """One cause, in steps: begins at or above `on`, ends at or below `off`.

    With `on` less than `off` it is the other way round: at or below `on`, at or above `off`.
    """

    quantity: int
    on: int
    off: int


@dataclass(frozen=True, slots=True)
class LampSpec:
    """One lamp, 0/1 to output: 1 to 8 causes, delays in control ticks, `standing` a Standing."""

    output: int
    causes: tuple[CauseSpec, ...]
    on_delay: int
    off_delay: int
    standing: int
    in_bulb_check: bool
    lit_on_loss: bool


@dataclass(frozen=True, slots=True)
class LampPanelSpec:
    """Lamps, and times in control ticks."""

    name: str
    lamps: tuple[LampSpec, ...]
    bulb_check: int
    after_start: int


@dataclass(slots=True)
class LampState:
    """Per lamp: causes that last (one bit each), the lamp before bulb check, ticks it disagrees.

    - `differs` is 0 while the causes agree with `lit`, else control ticks since they began not to.
    """

    causes: int = 0
    lit: bool = False
    differs: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("causes", Width.U8, Overflow.BOUNDED),
        Field("lit", Width.U8, Overflow.BOUNDED),
        Field("differs", Width.U32, Overflow.SATURATE),
    )


@dataclass(slots=True)
class LampPanelState:
    """The lamps; `check_left` counts down to 0, `run_time` is 0 while the engine does not run."""

    lamps: list[LampState] = field(default_factory=list)
    ignition: bool = False
    check_left: int = 0
    run_time: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("ignition", Width.U8, Overflow.BOUNDED),
        Field("check_left", Width.U32, Overflow.BOUNDED),
        Field("run_time", Width.U32, Overflow.SATURATE),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )

    def parts(self) -> list[LampState]:
        """Return the repeated records behind the own fields in the state image."""
        return self.lamps


def initial(spec: LampPanelSpec) -> LampPanelState:
    """Return the reset state."""
    return LampPanelState([LampState() for _ in spec.lamps])


def step(
    spec: LampPanelSpec, state: LampPanelState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether a lamp's data is lost with the ignition on."""
    ignition = ignition_is_on(power)
    state.failsafe = False

    # TIMERS: bulb check from ignition on, time since the engine runs
    if not ignition:
        state.check_left = 0
    elif not state.ignition:
        state.check_left = spec.bulb_check
    elif state.check_left > 0:
        state.check_left -= 1
    state.ignition = ignition
    state.run_time = min(state.run_time + 1, UINT32_MAX) if power.mode == RUNNING else 0
    started = state.run_time > spec.after_start

    for place, lamp in enumerate(spec.lamps):
        lamp_state = state.lamps[place]

        # LOSS
        missing = ignition and any(lost(store[cause.quantity]) for cause in lamp.causes)
        state.failsafe = state.failsafe or missing

        # REQUEST: at once on loss and before the engine runs, with delay for the causes
        judged = ignition and (lamp.standing == JUDGED or started)
        _follow(lamp, lamp_state, store, judged)
        forced = (missing and lamp.lit_on_loss) or (not judged and lamp.standing == LIT)
        if not ignition:
            lamp_state.lit = False
            lamp_state.differs = 0
        elif forced:
            lamp_state.lit = True
            lamp_state.differs = 0
        else:
            _delay(lamp, lamp_state)

        # OUTPUT
        checked = lamp.in_bulb_check and state.check_left > 0
        store.publish(lamp.output, int(lamp_state.lit or checked))
    return state.failsafe


def _follow(spec: LampSpec, state: LampState, store: QuantityStore, judged: bool) -> None:
    """Move the hysteresis of every cause; one whose data is not there does not last."""
    for number, cause in enumerate(spec.causes):
        bit = 1 << number
        source = store[cause.quantity]
        if not judged or not usable(source) or _ends(cause, source):
            state.causes &= ~bit
        elif _begins(cause, source):
            state.causes |= bit


def _begins(cause: CauseSpec, source: QuantityState) -> bool:
    if cause.on < cause.off:
        return source.value <= cause.on
    return source.value >= cause.on


def _ends(cause: CauseSpec, source: QuantityState) -> bool:
    if cause.on < cause.off:
        return source.value >= cause.off
    return source.value <= cause.off


def _delay(spec: LampSpec, state: LampState) -> None:
    """Follow the causes when they last longer than the delay."""
    wanted = state.causes != 0
    if wanted == state.lit:
        state.differs = 0
        return
    state.differs = min(state.differs + 1, UINT32_MAX)
    if state.differs > (spec.on_delay if wanted else spec.off_delay):
        state.lit = wanted
        state.differs = 0
