"""Settings of lamps, gauges, counters and the vehicle speed drawn anew."""

import dataclasses
import random

from xlate_core.functions import FunctionSpec
from xlate_core.functions.consumption_counter import ConsumptionCounterSpec
from xlate_core.functions.engine_speed_gauge import EngineSpeedGaugeSpec
from xlate_core.functions.fuel_level import FuelLevelSpec
from xlate_core.functions.lamps import LampPanelSpec, LampSpec, Standing
from xlate_core.functions.pulse_output import PulseOutputSpec
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec

replace = dataclasses.replace
TIMES = (0, 1, 7, 40)


def vary_lamp(spec: LampSpec, source: random.Random) -> LampSpec:
    causes = tuple(
        replace(one, on=one.off, off=one.on) if source.random() < 0.5 else one
        for one in spec.causes
    )
    return replace(
        spec,
        causes=causes,
        on_delay=source.choice(TIMES),
        off_delay=source.choice(TIMES),
        standing=int(source.choice(tuple(Standing))),
        in_bulb_check=source.random() < 0.5,
        lit_on_loss=source.random() < 0.5,
    )


def vary_instrument(spec: FunctionSpec, source: random.Random) -> FunctionSpec:
    """Return the spec with other settings; one of another group as it is."""
    one, two, three = (source.choice(TIMES) for _ in range(3))
    if isinstance(spec, LampPanelSpec):
        lamps = tuple(vary_lamp(lamp, source) for lamp in spec.lamps)
        return replace(spec, lamps=lamps, bulb_check=one, after_start=two)
    if isinstance(spec, EngineSpeedGaugeSpec):
        rates = (0, 1, 999, 40_000, 2**31 - 1)
        return replace(spec, rise=source.choice(rates), fall=source.choice(rates), hold=one)
    if isinstance(spec, PulseOutputSpec):
        lowest = source.choice((0, 1, 5000))
        return replace(spec, lowest=lowest, highest=lowest + source.choice((0, 1, 90_000)))
    if isinstance(spec, FuelLevelSpec):
        step = spec.control_ms
        return replace(spec, standing_ms=one * step, moving_ms=two * step, hold=three)
    if isinstance(spec, ConsumptionCounterSpec):
        return replace(spec, modulus=source.choice((1, 2, 777)), d=source.choice((1, 180, 10**9)))
    if isinstance(spec, VehicleSpeedSpec):
        return replace(
            spec,
            least=source.randrange(1, len(spec.wheels) + 1),
            spread=source.choice((0, 1, 20_000)),
            spread_permille=source.choice((0, 1, 999)),
            disagree=one,
            hold=two,
        )
    return spec
