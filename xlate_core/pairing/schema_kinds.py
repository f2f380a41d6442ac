"""All kinds of [[function]] tables: one line a kind."""

from typing import Annotated

from pydantic import Field

from xlate_core.pairing.schema_functions import (
    CoolingFanTable,
    FuelPumpTable,
    GaugeTable,
    MappingTable,
)

FunctionTable = Annotated[
    CoolingFanTable
    | FuelPumpTable
    | GaugeTable
    | MappingTable,
    Field(discriminator="kind"),
]  # fmt: skip
