"""What each kind of function makes of what it reads, so that nothing is listed that is no way.

All a function makes depends on all it reads, but for what is said here, kind by kind:

- each lamp of a panel has causes of its own;
- a torque request is carried whatever the engine answers; that it is active tells nothing of its
  value, only of its loss; a reduction is held to the friction, an increase to the maximum;
- a fan stage above the one a wish asks for runs for others than that wish.
"""

from collections.abc import Callable
from typing import Any

from xlate_core.functions import FunctionSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.lamps import LampPanelSpec
from xlate_core.functions.torque_request import TorqueRequestSpec


def carries(spec: FunctionSpec, source: int, target: int, by_value: bool = False) -> bool:
    """Return whether a quantity a function makes depends on one it reads.

    With `by_value` on its value alone, as long as it is not lost.
    """
    for kind, says in KINDS:
        if isinstance(spec, kind):
            return says(spec, source, target, by_value)
    return True


def _lamps(spec: LampPanelSpec, source: int, target: int, by_value: bool) -> bool:
    del by_value
    lamp = next(one for one in spec.lamps if one.output == target)
    return any(cause.quantity == source for cause in lamp.causes)


def _torque_request(spec: TorqueRequestSpec, source: int, target: int, by_value: bool) -> bool:
    if target == spec.carried:
        return source in (spec.request, spec.active)
    if target == spec.carried_active:
        return source == spec.active or (source == spec.request and not by_value)
    unused = spec.friction if spec.increase else spec.maximum
    return source != unused or source in (spec.request, spec.active, spec.actual)


def _cooling_fan(spec: CoolingFanSpec, source: int, target: int, by_value: bool) -> bool:
    del by_value
    number = next(place for place, one in enumerate(spec.stages, start=1) if one.output == target)
    asked = {one.quantity: one.stage for one in spec.requests}
    if spec.demand is not None:
        for wish in spec.demand.pressures:
            asked[wish.quantity] = max(asked.get(wish.quantity, 0), wish.level)
        for index in (spec.demand.compressor, spec.demand.road_speed):
            asked[index] = max(asked.get(index, 0), spec.demand.compressor_level)
        # A pressure lost while the compressor may run counts as high.
        for wish in spec.demand.pressures:
            asked[spec.demand.compressor] = max(asked[spec.demand.compressor], wish.level)
        asked.pop(spec.demand.inhibit_supply, None)
        asked.pop(spec.demand.after_run_supply, None)
    return source == spec.coolant or number <= asked.get(source, number)


KINDS: tuple[tuple[type, Callable[[Any, int, int, bool], bool]], ...] = (
    (LampPanelSpec, _lamps),
    (TorqueRequestSpec, _torque_request),
    (CoolingFanSpec, _cooling_fan),
)
