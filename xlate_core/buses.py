"""What the module learns of a bus controller and what it commands it (rules 1 and 14).

In this rule set every bus is commanded NORMAL. Recovery from bus-off, listening at a wrong bit rate
and sleep have their numbers here and come later.
"""

from enum import IntEnum
from typing import NamedTuple


class ControllerState(IntEnum):
    """Error state of a CAN controller (ISO 11898-1)."""

    ERROR_ACTIVE = 0
    ERROR_PASSIVE = 1
    BUS_OFF = 2


class BusCommand(IntEnum):
    """What the bridge asks of a bus driver."""

    NORMAL = 0
    LISTEN = 1
    RECOVER = 2
    SLEEP = 3


class BusInput(NamedTuple):
    """Controller state and the results of frames handed over earlier (True = acknowledged)."""

    state: int = ControllerState.ERROR_ACTIVE
    results: tuple[bool, ...] = ()
