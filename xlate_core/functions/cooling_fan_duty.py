"""Cooling fan driven by a duty: curve on coolant temperature, soft start, slew, lowest duty.

Rule 11: the highest wish wins; on at loss of coolant data with ignition on, off while cranking, off
with ignition off but for the after-run. Stopping for those reasons is at once; a start is always
soft. The fan starts when at least the lowest duty is asked and stops when none is asked.
"""

from dataclasses import dataclass, field
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX, Points, approach, interpolate, rate_step
from xlate_core.fields import Field, Overflow, Width
from xlate_core.functions import fan_demand
from xlate_core.functions.cooling_fan import FanRequestSpec
from xlate_core.functions.fan_demand import FanDemandSpec, FanDemandState
from xlate_core.power import CRANKING, NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class CoolingFanDutySpec:
    """Duties in steps of the output, rates in steps per second (0 = at once), control ticks.

    - `requests` ask for a fixed duty while not 0 (their `stage` is the duty);
    - `follow` is a quantity of the output's resolution whose value is the duty asked (-1 = none);
    - after a start the duty stays at `minimum` for `soft_start`, then rises;
    - `full` minus duty is put out where `inverted`.
    """

    name: str
    coolant: int
    output: int
    points: Points
    requests: tuple[FanRequestSpec, ...]
    follow: int
    minimum: int
    full: int
    inverted: bool
    soft_start: int
    rise: int
    fall: int
    min_on: int
    min_off: int
    on_loss: int
    control_ms: int
    demand: FanDemandSpec


@dataclass(slots=True)
class CoolingFanDutyState:
    """Whether the fan runs, since when, and its duty.

    - `since` counts control ticks since it started or stopped (saturating);
    - `duty` is 0..full before inversion, `remainder` belongs to its rate.
    """

    running: bool = False
    since: int = UINT32_MAX
    duty: int = 0
    remainder: int = 0
    soft_left: int = 0
    failsafe: bool = False
    demand: FanDemandState = field(default_factory=FanDemandState)

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("running", Width.U8, Overflow.BOUNDED),
        Field("since", Width.U32, Overflow.SATURATE, UINT32_MAX),
        Field("duty", Width.I32, Overflow.BOUNDED),
        Field("remainder", Width.U16, Overflow.BOUNDED),
        Field("soft_left", Width.U32, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )

    def parts(self) -> list[FanDemandState]:
        """Return the further record behind the own fields in the state image."""
        return [self.demand]


def initial(spec: CoolingFanDutySpec) -> CoolingFanDutyState:
    """Return the reset state."""
    del spec
    return CoolingFanDutyState()


def step(
    spec: CoolingFanDutySpec, state: CoolingFanDutyState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether the safe state is taken."""
    coolant = store[spec.coolant]
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and lost(coolant)

    # REQUESTS: the curve, then the others; the highest wins
    wanted = interpolate(spec.points, coolant.value) if ignition and usable(coolant) else 0
    for request in spec.requests:
        other = store[request.quantity]
        if other.value != 0 and usable(other):
            wanted = max(wanted, request.stage)
    if spec.follow != NO_QUANTITY and usable(store[spec.follow]):
        wanted = max(wanted, min(store[spec.follow].value, spec.full))
    wanted = max(wanted, fan_demand.ask(spec.demand, state.demand, store, ignition))
    after_run = fan_demand.after_run(spec.demand, state.demand, store, power, coolant)
    inhibited = fan_demand.inhibited(spec.demand, state.demand, store, state.failsafe)

    # SAFE STATE: at once, past the minimum times
    at_once = True
    if not ignition or inhibited or power.mode == CRANKING:
        wanted = 0 if inhibited or ignition else after_run
    elif state.failsafe:
        wanted = max(wanted, spec.on_loss)
    else:
        at_once = False

    # RUN: minimum on and off times
    state.since = min(state.since + 1, UINT32_MAX)
    run = wanted > 0 if state.running else wanted >= spec.minimum and wanted > 0
    started = False
    if run != state.running and (at_once or state.since >= (spec.min_off if run else spec.min_on)):
        state.running = started = run
        state.since = 0

    # DUTY: soft start, then the slew
    if started:
        state.duty = spec.minimum
        state.remainder = 0
        state.soft_left = spec.soft_start
    elif state.soft_left > 0:
        state.soft_left -= 1
    if not state.running:
        state.duty = 0
        state.soft_left = 0
    elif state.soft_left == 0:
        target = max(wanted, spec.minimum)
        rate = spec.rise if target > state.duty else spec.fall
        if rate == 0 or target == state.duty:
            state.duty = target
            state.remainder = 0
        else:
            moved, state.remainder = rate_step(state.remainder, rate, spec.control_ms)
            state.duty = approach(state.duty, target, moved)

    # OUTPUT
    store.publish(spec.output, spec.full - state.duty if spec.inverted else state.duty)
    return state.failsafe
