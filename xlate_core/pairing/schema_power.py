"""The shape of bus supervision and sleep in bridge.toml (rule 14)."""

from typing import Literal

from pydantic import Field

from xlate_core.pairing.schema_functions import Milliseconds, StrictTable

BusEventName = Literal[
    "bus_off", "no_acknowledge", "wrong_bit_rate", "flood", "second_sender", "error_passive"
]


class SupervisionTable(StrictTable):
    """What the module does when a bus fails; without this table it is always open."""

    quick_ms: int = Field(50, ge=1, description="from closing to each quick attempt, ms")
    quick_attempts: int = Field(5, ge=0, le=65535, description="number of quick attempts")
    slow_ms: int = Field(1000, ge=1, description="between the slow attempts without end, ms")
    no_acknowledge_frames: int = Field(
        0, ge=0, le=65535, description="frames in a row nobody acknowledges; 0 = never closes"
    )
    wrong_rate_errors: int = Field(
        0, ge=0, le=65535, description="error frames without a good one; 0 = never listens"
    )
    listen_first_ms: Milliseconds = Field(
        0, description="after a start only listen so long, or until a good frame, ms"
    )
    flood_frames: int = Field(
        0, ge=0, le=65535, description="frames taken in one tick, the rest is cut off; 0 = all"
    )


class SleepTable(StrictTable):
    """When the module sleeps and what wakes it."""

    after_ms: int = Field(ge=1, description="both buses silent so long in mode off, ms")
    quiet_after_ms: Milliseconds = Field(
        0, description="own messages go on so long in mode off, ms"
    )
    wake_by: list[Literal["body", "engine"]] = Field([], description="buses whose frames wake")
    wake: list[str] = Field([], description="quantities that wake when they become nonzero")
