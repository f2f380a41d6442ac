"""All kinds of [[function]] tables: one line a kind."""

from typing import Annotated

from pydantic import Field

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

FunctionTable = Annotated[
    CoolingFanTable
    | FuelPumpTable
    | GaugeTable
    | MappingTable
    | AcceleratorPedalTable
    | CruiseButtonsTable
    | ModeSelectorTable
    | LampPanelTable
    | EngineSpeedGaugeTable
    | PulseOutputTable
    | FuelLevelTable
    | ConsumptionCounterTable
    | VehicleSpeedTable
    | CoolingFanDutyTable
    | AirConditioningTable
    | StarterTable
    | TorqueRequestTable
    | EngineRunningTable,
    Field(discriminator="kind"),
]  # fmt: skip
