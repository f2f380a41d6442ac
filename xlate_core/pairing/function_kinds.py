"""Every kind of vehicle function: how its table is checked and how its spec is built.

One line a kind. The shape of the tables stands in schema_functions.py and its neighbours, the list
of kinds for the file in schema_kinds.py.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from xlate_core.functions import FunctionSpec
from xlate_core.pairing import build_controls as controls
from xlate_core.pairing import build_drive as drive
from xlate_core.pairing import build_fans as fans
from xlate_core.pairing import build_functions as plain
from xlate_core.pairing import build_instruments as instruments
from xlate_core.pairing import drive_checks, fan_checks, instrument_checks
from xlate_core.pairing import function_checks as checks
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_controls import (
    AcceleratorPedalTable,
    CruiseButtonsTable,
    ModeSelectorTable,
)
from xlate_core.pairing.schema_drive import (
    AirConditioningTable,
    EngineRunningTable,
    FuelPumpTable,
    StarterTable,
    TorqueRequestTable,
)
from xlate_core.pairing.schema_fans import CoolingFanDutyTable, CoolingFanTable
from xlate_core.pairing.schema_functions import (
    FunctionBase,
    GaugeTable,
    MappingTable,
)
from xlate_core.pairing.schema_instruments import (
    ConsumptionCounterTable,
    EngineSpeedGaugeTable,
    FuelLevelTable,
    LampPanelTable,
    PulseOutputTable,
    VehicleSpeedTable,
)

Build = Callable[[Context, Indices, KeyPath, Any], FunctionSpec]
Check = Callable[[Context, KeyPath, Any], None]


class FunctionKind(NamedTuple):
    """Builder of the spec, and the check of what is no matter of shape."""

    build: Build
    check: Check | None = None


KINDS: dict[type[FunctionBase], FunctionKind] = {
    CoolingFanTable: FunctionKind(fans.build_cooling_fan, fan_checks.check_cooling_fan),
    FuelPumpTable: FunctionKind(drive.build_fuel_pump, drive_checks.check_fuel_pump),
    GaugeTable: FunctionKind(plain.build_gauge),
    MappingTable: FunctionKind(plain.build_mapping, checks.check_mapping),
    AcceleratorPedalTable: FunctionKind(controls.build_pedal),
    CruiseButtonsTable: FunctionKind(controls.build_cruise, controls.check_cruise),
    ModeSelectorTable: FunctionKind(controls.build_selector, controls.check_selector),
    LampPanelTable: FunctionKind(instruments.build_lamp_panel, instrument_checks.check_lamp_panel),
    EngineSpeedGaugeTable: FunctionKind(
        instruments.build_engine_speed_gauge, instrument_checks.check_engine_speed_gauge
    ),
    PulseOutputTable: FunctionKind(
        instruments.build_pulse_output, instrument_checks.check_pulse_output
    ),
    FuelLevelTable: FunctionKind(instruments.build_fuel_level, instrument_checks.check_fuel_level),
    ConsumptionCounterTable: FunctionKind(
        instruments.build_consumption_counter, instrument_checks.check_consumption_counter
    ),
    VehicleSpeedTable: FunctionKind(
        instruments.build_vehicle_speed, instrument_checks.check_vehicle_speed
    ),
    CoolingFanDutyTable: FunctionKind(
        fans.build_cooling_fan_duty, fan_checks.check_cooling_fan_duty
    ),
    AirConditioningTable: FunctionKind(
        drive.build_air_conditioning, drive_checks.check_air_conditioning
    ),
    StarterTable: FunctionKind(drive.build_starter, drive_checks.check_starter),
    TorqueRequestTable: FunctionKind(drive.build_torque_request, drive_checks.check_torque_request),
    EngineRunningTable: FunctionKind(drive.build_engine_running, drive_checks.check_engine_running),
}


def check_functions(context: Context) -> None:
    """Collect every number of a function that cannot be meant."""
    for index, table in enumerate(context.file.function):
        check = KINDS[type(table)].check
        if check is not None:
            check(context, ("function", index), table)


def build_all(context: Context, indices: Indices) -> tuple[FunctionSpec, ...]:
    """Return the functions in the order they run."""
    return tuple(
        KINDS[type(table)].build(context, indices, ("function", index), table)
        for index, table in enumerate(context.file.function)
    )
