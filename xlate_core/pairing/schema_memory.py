"""The shape of the fault memory's table in bridge.toml."""

from typing import Annotated

from pydantic import Field

from xlate_core.pairing.schema_functions import StrictTable


class MemoryTable(StrictTable):
    """What is remembered of a fault over resets (rule 9)."""

    code: Annotated[str, Field(pattern=r"^[PCBU][0-3][0-9A-F]{3}$")] = Field(
        description='trouble code as used with SAE J2012: "P0118", "U0100"'
    )
    failure_type: int = Field(ge=0, le=255, description="failure type byte; 0 = none given")
    aging_cycles: int = Field(
        40, ge=0, le=65535, description="ignition cycles without it that erase the entry; 0 = never"
    )
    snapshot: list[str] = Field(
        [], max_length=8, description="quantities stored when the fault matures the first time"
    )
