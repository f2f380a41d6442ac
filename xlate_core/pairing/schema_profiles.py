"""The shape of the counter-plus-CRC profiles of bridge.toml."""

from typing import Literal

from pydantic import Field

from xlate_core.pairing.schema_functions import Milliseconds, StrictTable
from xlate_core.protection.machine import LONGEST_WINDOW

NIBBLE = 4  # bits


class LimitTable(StrictTable):
    """What a state of the machine asks of the window."""

    min_ok: int = Field(ge=0, description="least number of good checks in the window")
    max_errors: int = Field(ge=0, description="largest number of errors in the window")


class MachineTable(StrictTable):
    """The window state machine: with it, frames are accepted only while it says valid."""

    window: int = Field(ge=1, le=LONGEST_WINDOW, description="checks in the window, 1..32")
    init: LimitTable = Field(description="limits to become valid at the start")
    valid: LimitTable = Field(description="limits to stay valid")
    invalid: LimitTable = Field(description="limits to become valid again")
    older_mapping: bool = Field(
        False, description="profiles 1, 2: a first frame is good and a resynchronising one is not"
    )


class ProfileTable(StrictTable):
    """A counter-plus-CRC profile of a sent message (rule 12)."""

    number: Literal[1, 2, 5, 11, 22] = Field(description="number of the profile")
    checksum: str = Field(description="name of the CRC signal")
    counter: str = Field(description="name of the counter signal")
    data_id: int | None = Field(None, ge=0, le=0xFFFF, description="data ID of profiles 1, 5, 11")
    data_ids: list[int] = Field([], description="the 16 data IDs of profiles 2, 22, one octet each")
    data_id_mode: Literal["both", "alternating", "low", "nibble"] | None = Field(
        None, description="how the data ID enters profile 1 (any) or 11 (both, nibble)"
    )
    nibble: str | None = Field(
        None, description="signal that carries bits 11..8 of the data ID (mode nibble)"
    )

    def signals(self) -> list[str]:
        """Return the signals the profile writes."""
        return [self.checksum, self.counter, *([self.nibble] if self.nibble is not None else [])]

    def constants(self) -> dict[str, int]:
        """Return the signals that are the same in every frame, with their raw values."""
        return {} if self.nibble is None else {self.nibble: (self.data_id or 0) >> 8}

    def ids(self) -> tuple[int, ...]:
        """Return the data ID, or the list of them."""
        return tuple(self.data_ids) or (self.data_id or 0,)


class ReceivedProfileTable(ProfileTable):
    """A counter-plus-CRC profile of a received message (rule 5)."""

    max_step: int = Field(
        1,
        ge=1,
        le=0xFF,
        description="largest good step of the counter; grows with every check in profiles 1, 2",
    )
    max_without_new: int | None = Field(
        None,
        ge=0,
        le=0xF,
        description="profiles 1, 2: checks without a new counter after which it resynchronises",
    )
    sync_checks: int | None = Field(
        None, ge=0, le=0xF, description="profiles 1, 2: good frames that resynchronise"
    )
    period_ms: Milliseconds | None = Field(
        None, description="so long without a frame is a check; default: the database's cycle time"
    )
    machine: MachineTable | None = Field(None, description="window state machine")
