"""The shape of the traffic tables of bridge.toml: what else is on a bus, and when.

They describe the car around the module and are used by the timing tools only; they change nothing
in the engine and are not part of the pairing digest.
"""

from typing import Annotated

from pydantic import Field

from xlate_core.pairing.schema_functions import StrictTable

LONGEST_US = 3_600_000_000  # an hour: longer is a slip of the pen
Budget = Annotated[int, Field(ge=1, le=LONGEST_US, description="longest reaction time, us")]


class MessageTrafficTable(StrictTable):
    """How one message of a bus is sent, where the database does not say so."""

    period_us: int | None = Field(
        None,
        ge=100,
        le=LONGEST_US,
        description="least distance of two frames, us; default: the cycle time",
    )
    jitter_us: int | None = Field(None, ge=0, le=LONGEST_US, description="release jitter, us")
    deadline_us: int | None = Field(
        None,
        ge=100,
        le=LONGEST_US,
        description="to be on the bus so long after its event, us; default: period",
    )
    free_identifier: bool = Field(
        False, description="nothing in the car depends on the identifier, it may be chosen anew"
    )


class BusTrafficTable(StrictTable):
    """What is known of the traffic of a bus."""

    jitter_us: int = Field(
        0, ge=0, le=LONGEST_US, description="release jitter of all messages of others, us"
    )
    unknown_octets: int | None = Field(
        8, ge=0, le=8, description="a frame of so many octets nobody listed may be in the way"
    )
    errors: int = Field(0, ge=0, le=1000, description="disturbed frames in a row to allow for")
    error_interval_us: int = Field(
        0, ge=0, le=LONGEST_US, description="one more disturbed frame every so many us; 0 = no more"
    )
    message: dict[str, MessageTrafficTable] = Field({}, description="messages by name")


class TrafficTable(StrictTable):
    """The traffic of both buses."""

    body: BusTrafficTable = Field(
        default_factory=lambda: BusTrafficTable.model_validate({}), description="the body bus"
    )
    engine: BusTrafficTable = Field(
        default_factory=lambda: BusTrafficTable.model_validate({}), description="the engine bus"
    )
    board_us: int | None = Field(
        None,
        ge=0,
        le=LONGEST_US,
        description="longest execution time of one tick on the board, us; default: the stored "
        "figures of `xlate board measure`",
    )
    skew_ppm: int = Field(
        1000, ge=0, le=10000, description="error of any clock against any other, parts per million"
    )
    budget_us: dict[str, Budget] = Field(
        {},
        description='longest reaction time allowed, us, by way: "source -> target", as '
        "`xlate timing paths` names it; a * stands for any text",
    )
