"""Events with reason codes: what an observer is told, and what costs nothing when none listens."""

from collections.abc import Callable
from enum import IntEnum
from typing import NamedTuple


class Reason(IntEnum):
    """Why an event was raised; the numbers are part of the interface and never reused."""

    FRAME_UNKNOWN = 1
    SECOND_SENDER = 2
    FRAME_SHORT = 3
    CHECKSUM_WRONG = 4
    COUNTER_WRONG = 5
    SELECTOR_UNKNOWN = 6
    UNIT_LOST = 7
    UNIT_RECOVERED = 8
    SUPERVISION_ON = 9
    SUPERVISION_OFF = 10
    QUANTITY_SUBSTITUTED = 11
    QUANTITY_RETURNED = 12
    FAILSAFE_ENTERED = 13
    FAILSAFE_LEFT = 14
    FAULT_MATURED = 15
    FAULT_HEALED = 16
    MODE_CHANGED = 17
    QUEUE_OVERFLOW = 18
    SENDING_STOPPED = 19
    SENDING_RESUMED = 20
    ENTRY_STORED = 21
    ENTRY_ERASED = 22
    BUS_CLOSED = 23
    BUS_OPENED = 24
    FRAME_FLOODED = 25
    PROFILE_REPEATED = 26
    PROFILE_WRONG_SEQUENCE = 27
    PROFILE_INITIAL = 28
    PROFILE_SYNC = 29
    MACHINE_NOT_VALID = 30
    NO_NEW_DATA = 31
    MACHINE_CHANGED = 32


class Event(NamedTuple):
    """One event: tick since reset, reason, whom it concerns, and a number that depends on it."""

    tick: int
    reason: Reason
    subject: str
    detail: int


Observer = Callable[[Event], None]
