"""What each kind of function makes of what it reads, so that nothing is listed that is no way.

All a function makes depends on all it reads, but for what is said here, kind by kind:

- each lamp of a panel has causes of its own;
- a torque request is carried whatever the engine answers; that it is active tells nothing of its
  value, only of its loss; a reduction is held to the friction, an increase to the maximum;
- a fan stage above the one a wish asks for runs for others than that wish. A pressure that is lost
  while the compressor may run counts as high, but where an air conditioning that ran before opens
  the clutch without that pressure, the two never come together.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from xlate_core.functions import FunctionSpec
from xlate_core.functions.air_conditioning import AirConditioningSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.lamps import LampPanelSpec
from xlate_core.functions.torque_request import TorqueRequestSpec


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a function: does the quantity `target` it makes depend on `source`?

    With `by_value` on its value alone, as long as it is not lost. `before` are the functions that
    run before it.
    """

    source: int
    target: int
    by_value: bool = False
    before: tuple[FunctionSpec, ...] = ()


def carries(spec: FunctionSpec, asked: Asked) -> bool:
    """Return whether a quantity a function makes depends on one it reads."""
    for kind, says in KINDS:
        if isinstance(spec, kind):
            return says(spec, asked)
    return True


def _lamps(spec: LampPanelSpec, asked: Asked) -> bool:
    source, target = asked.source, asked.target
    lamp = next(one for one in spec.lamps if one.output == target)
    return any(cause.quantity == source for cause in lamp.causes)


def _torque_request(spec: TorqueRequestSpec, asked: Asked) -> bool:
    source, target = asked.source, asked.target
    if target == spec.carried:
        return source in (spec.request, spec.active)
    if target == spec.carried_active:
        return source == spec.active or (source == spec.request and not asked.by_value)
    unused = spec.friction if spec.increase else spec.maximum
    return source != unused or source in (spec.request, spec.active, spec.actual)


def _cooling_fan(spec: CoolingFanSpec, asked: Asked) -> bool:
    stage = next(
        place for place, one in enumerate(spec.stages, start=1) if one.output == asked.target
    )
    levels = [(one.quantity, one.stage) for one in spec.requests]
    everything = {spec.coolant}
    if spec.demand is not None:
        demand = spec.demand
        levels += [(one.quantity, one.level) for one in demand.pressures]
        levels += [
            (index, demand.compressor_level) for index in (demand.compressor, demand.road_speed)
        ]
        opened_without = {
            window.quantity
            for one in asked.before
            if isinstance(one, AirConditioningSpec) and one.clutch == demand.compressor
            for window in one.windows
        }
        levels += [
            (demand.compressor, one.level)
            for one in demand.pressures
            if one.quantity not in opened_without
        ]
        everything |= {demand.inhibit_supply, demand.after_run_supply}
    mine = [level for index, level in levels if index == asked.source]
    return asked.source in everything or not mine or stage <= max(mine)


KINDS: tuple[tuple[type, Callable[[Any, Asked], bool]], ...] = (
    (LampPanelSpec, _lamps),
    (TorqueRequestSpec, _torque_request),
    (CoolingFanSpec, _cooling_fan),
)
