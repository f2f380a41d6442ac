"""Settings of fans, pump, air conditioning, starter and torque drawn anew, for lockstep."""

import dataclasses
import random

from xlate_core.functions import FunctionSpec
from xlate_core.functions.air_conditioning import AirConditioningSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.cooling_fan_duty import CoolingFanDutySpec
from xlate_core.functions.engine_running import EngineRunningSpec
from xlate_core.functions.fan_demand import FanDemandSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.starter import StarterSpec
from xlate_core.functions.torque_request import TorqueRequestSpec

replace = dataclasses.replace


def vary_demand(spec: FanDemandSpec, source: random.Random) -> FanDemandSpec:
    return replace(
        spec,
        stage_delay=source.choice((0, 1, 7)),
        after_run=source.choice((0, 1, 9)),
        after_run_above=source.randrange(-40, 120),
        after_run_below=source.randrange(-40, 60),
        inhibit_above=source.choice((12500, 13500)),
        inhibit_on_loss=source.random() < 0.5,
        drop_above=source.randrange(300),
    )


def vary_drive(spec: FunctionSpec, source: random.Random) -> FunctionSpec:
    """Return the spec with its times, thresholds and choices drawn anew."""
    short = (0, 1, 3, 12)
    if isinstance(spec, CoolingFanSpec):
        stage, on, off = (source.randrange(n) for n in (len(spec.stages) + 1, 60, 60))
        demand = spec.demand and vary_demand(spec.demand, source)
        return replace(spec, on_loss_stage=stage, min_on=on, min_off=off, demand=demand)
    if isinstance(spec, CoolingFanDutySpec):
        return replace(
            spec,
            minimum=source.randrange(1, spec.full),
            inverted=source.random() < 0.5,
            soft_start=source.choice(short),
            rise=source.choice((0, 999, 100_001)),
            fall=source.choice((0, 333, 50_000)),
            min_on=source.choice(short),
            min_off=source.choice(short),
            on_loss=source.randrange(spec.full),
            demand=vary_demand(spec.demand, source),
        )
    if isinstance(spec, FuelPumpSpec):
        guard = spec.guard and replace(
            spec.guard, loss_run=source.choice(short), runs_cranking=source.random() < 0.5
        )
        return replace(
            spec, prime=source.randrange(60), off_delay=source.randrange(30), guard=guard
        )
    if isinstance(spec, AirConditioningSpec):
        return replace(
            spec,
            running_for=source.choice(short),
            engage_delay=source.choice(short),
            min_off=source.choice(short),
            pedal_cut=source.choice(short),
            permit=source.choice((-1, spec.permit)),
            windows=source.choice((spec.windows[:1], spec.windows)),
        )
    if isinstance(spec, StarterSpec):
        return replace(
            spec,
            turning_above=source.choice((0, 30, 8001)),
            release_above=source.randrange(100, 8001),
            max_crank=source.choice(short),
            rest=source.choice(short),
            limit_rest=source.choice(short),
            while_pressed=source.random() < 0.5,
            any_of=source.choice(((), spec.any_of)),
        )
    if isinstance(spec, TorqueRequestSpec):
        return replace(
            spec,
            increase=source.random() < 0.5,
            tolerance=source.choice((0, 1, 500)),
            settle=source.choice(short),
        )
    if isinstance(spec, EngineRunningSpec):
        listeners = tuple(
            replace(
                one,
                on_delay=source.choice(short),
                off_delay=source.choice(short),
                on_loss=source.randrange(3),
            )
            for one in spec.listeners
        )
        return replace(spec, running_above=source.randrange(8000), listeners=listeners)
    return spec
