"""Cooling fan: any number of relay stages on coolant temperature; the highest request wins.

Rule 11: on at loss of coolant data with ignition on, off while cranking, off with ignition off but
for the after-run. The safe state acts at once; minimum on and off times hold only for the stages'
own requests. The delay between the starts of two stages spares the supply and is always kept.
"""

from dataclasses import dataclass, field
from typing import ClassVar

from xlate_core.arithmetic import UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.functions import fan_demand
from xlate_core.functions.fan_demand import FanDemandSpec, FanDemandState
from xlate_core.power import CRANKING, PowerState, ignition_is_on
from xlate_core.quantities import QuantityStore, lost, usable


@dataclass(frozen=True, slots=True)
class StageSpec:
    """One stage: on at or above `on`, off at or below `off` (steps of coolant), 0/1 to output."""

    output: int
    on: int
    off: int


@dataclass(frozen=True, slots=True)
class FanRequestSpec:
    """Another wish for cooling: while the quantity is not 0, at least `stage` stages run."""

    quantity: int
    stage: int


@dataclass(frozen=True, slots=True)
class CoolingFanSpec:
    """Stages in rising order; times in control ticks; `on_loss_stage` is 0..number of stages."""

    name: str
    coolant: int
    stages: tuple[StageSpec, ...]
    requests: tuple[FanRequestSpec, ...]
    min_on: int
    min_off: int
    on_loss_stage: int
    demand: FanDemandSpec | None = None


@dataclass(slots=True)
class StageState:
    """Per stage: hysteresis, relay, control ticks since the relay last switched (saturating)."""

    hot: bool = False
    running: bool = False
    since: int = UINT32_MAX

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("hot", Width.U8, Overflow.BOUNDED),
        Field("running", Width.U8, Overflow.BOUNDED),
        Field("since", Width.U32, Overflow.SATURATE, UINT32_MAX),
    )


@dataclass(slots=True)
class CoolingFanState:
    """The stages, whether the safe state is taken, and further wishes where the pairing has any."""

    stages: list[StageState] = field(default_factory=list)
    failsafe: bool = False
    demand: FanDemandState | None = None

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("failsafe", Width.U8, Overflow.BOUNDED),)

    def parts(self) -> list[StageState | FanDemandState]:
        """Return the further records behind the own fields in the state image."""
        return [*self.stages] if self.demand is None else [*self.stages, self.demand]


def initial(spec: CoolingFanSpec) -> CoolingFanState:
    """Return the reset state."""
    demand = None if spec.demand is None else FanDemandState()
    return CoolingFanState([StageState() for _ in spec.stages], demand=demand)


def step(
    spec: CoolingFanSpec, state: CoolingFanState, store: QuantityStore, power: PowerState
) -> bool:
    """Run one control tick; return whether the safe state is taken."""
    coolant = store[spec.coolant]
    ignition = ignition_is_on(power)

    # LOSS
    state.failsafe = ignition and lost(coolant)

    # REQUESTS: each stage's hysteresis, then the others; the highest wins
    wanted = 0
    for place, stage in enumerate(spec.stages):
        stage_state = state.stages[place]
        if not ignition or not usable(coolant):
            stage_state.hot = False
        elif coolant.value >= stage.on:
            stage_state.hot = True
        elif coolant.value <= stage.off:
            stage_state.hot = False
        if stage_state.hot:
            wanted = place + 1
    for request in spec.requests:
        other = store[request.quantity]
        if other.value != 0 and usable(other):
            wanted = max(wanted, request.stage)
    after_run, inhibited, delay = 0, False, 0
    if spec.demand is not None and state.demand is not None:
        wanted = max(wanted, fan_demand.ask(spec.demand, state.demand, store, ignition))
        after_run = fan_demand.after_run(spec.demand, state.demand, store, power, coolant)
        inhibited = fan_demand.inhibited(spec.demand, state.demand, store, state.failsafe)
        delay = spec.demand.stage_delay

    # SAFE STATE: at once, past the minimum times
    forced = None
    if not ignition or inhibited or power.mode == CRANKING:
        forced = wanted = 0 if inhibited or ignition else after_run
    elif state.failsafe:
        wanted = max(wanted, spec.on_loss_stage)
        forced = spec.on_loss_stage

    # OUTPUT: minimum on and off times, delay between starts
    since_start = (
        UINT32_MAX if state.demand is None else min(state.demand.since_start + 1, UINT32_MAX)
    )
    for place, stage in enumerate(spec.stages):
        stage_state = state.stages[place]
        stage_state.since = min(stage_state.since + 1, UINT32_MAX)
        run = place < wanted
        if run != stage_state.running:
            dwell = spec.min_off if run else spec.min_on
            at_once = forced is not None and (not run or place < forced)
            if (at_once or stage_state.since >= dwell) and not (run and since_start < delay):
                stage_state.running = run
                stage_state.since = 0
                since_start = 0 if run else since_start
        store.publish(stage.output, int(stage_state.running))
    if state.demand is not None:
        state.demand.since_start = since_start
    return state.failsafe
