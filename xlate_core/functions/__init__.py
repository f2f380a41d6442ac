"""The vehicle functions, one file each: frozen spec, small state and one `step`.

`step(spec, state, store, power)` runs once a control tick.
Functions see only quantities and the power state and publish quantities. `step` returns whether
the function is in its safe state because data it needs is lost. `initial` and `step` of each kind
stand in one table below: an entry there (and its table in pairing/) is all the bridge needs.
"""

from collections.abc import Callable
from typing import Any

from xlate_core.functions import (
    accelerator_pedal,
    air_conditioning,
    consumption_counter,
    cooling_fan,
    cooling_fan_duty,
    cruise_buttons,
    engine_running,
    engine_speed_gauge,
    fuel_level,
    fuel_pump,
    gauge,
    lamps,
    mapping,
    mode_selector,
    pulse_output,
    starter,
    torque_request,
    vehicle_speed,
)
from xlate_core.functions.accelerator_pedal import AcceleratorPedalSpec
from xlate_core.functions.air_conditioning import AirConditioningSpec
from xlate_core.functions.consumption_counter import ConsumptionCounterSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.cooling_fan_duty import CoolingFanDutySpec
from xlate_core.functions.cruise_buttons import CruiseButtonsSpec
from xlate_core.functions.engine_running import EngineRunningSpec
from xlate_core.functions.engine_speed_gauge import EngineSpeedGaugeSpec
from xlate_core.functions.fuel_level import FuelLevelSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.lamps import LampPanelSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.functions.mode_selector import ModeSelectorSpec
from xlate_core.functions.pulse_output import PulseOutputSpec
from xlate_core.functions.starter import StarterSpec
from xlate_core.functions.torque_request import TorqueRequestSpec
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec
from xlate_core.power import PowerState
from xlate_core.quantities import QuantityStore

FunctionSpec = (
    CoolingFanSpec
    | FuelPumpSpec
    | GaugeSpec
    | MappingSpec
    | AcceleratorPedalSpec
    | CruiseButtonsSpec
    | ModeSelectorSpec
    | LampPanelSpec
    | EngineSpeedGaugeSpec
    | PulseOutputSpec
    | FuelLevelSpec
    | ConsumptionCounterSpec
    | VehicleSpeedSpec
    | CoolingFanDutySpec
    | AirConditioningSpec
    | StarterSpec
    | TorqueRequestSpec
    | EngineRunningSpec
)

Step = Callable[[Any, Any, QuantityStore, PowerState], bool]

PURE = (GaugeSpec, MappingSpec, PulseOutputSpec)
"""Kinds without timers: while their one `input` stays the same, a step changes nothing."""

FUNCTIONS: dict[type, tuple[Callable[[Any], Any], Step]] = {
    CoolingFanSpec: (cooling_fan.initial, cooling_fan.step),
    FuelPumpSpec: (fuel_pump.initial, fuel_pump.step),
    GaugeSpec: (gauge.initial, gauge.step),
    MappingSpec: (mapping.initial, mapping.step),
    AcceleratorPedalSpec: (accelerator_pedal.initial, accelerator_pedal.step),
    CruiseButtonsSpec: (cruise_buttons.initial, cruise_buttons.step),
    ModeSelectorSpec: (mode_selector.initial, mode_selector.step),
    LampPanelSpec: (lamps.initial, lamps.step),
    EngineSpeedGaugeSpec: (engine_speed_gauge.initial, engine_speed_gauge.step),
    PulseOutputSpec: (pulse_output.initial, pulse_output.step),
    FuelLevelSpec: (fuel_level.initial, fuel_level.step),
    ConsumptionCounterSpec: (consumption_counter.initial, consumption_counter.step),
    VehicleSpeedSpec: (vehicle_speed.initial, vehicle_speed.step),
    CoolingFanDutySpec: (cooling_fan_duty.initial, cooling_fan_duty.step),
    AirConditioningSpec: (air_conditioning.initial, air_conditioning.step),
    StarterSpec: (starter.initial, starter.step),
    TorqueRequestSpec: (torque_request.initial, torque_request.step),
    EngineRunningSpec: (engine_running.initial, engine_running.step),
}
