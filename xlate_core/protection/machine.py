"""The window state machine of a counter-plus-CRC profile: is this communication to be trusted?

Every check of a profile tells the machine what it found. Over the last `window` checks the machine
counts those that were good and those that were errors; what else there is (repeated, wrong
sequence, no new data) counts as neither. One window for all states, as release 4.3 of the published
description has it. Built from public parameters and published examples; no conformity is claimed.
"""

from dataclasses import dataclass
from enum import IntEnum

LONGEST_WINDOW = 32  # checks; one bit each in the state image


class MachineState(IntEnum):
    """What the machine says. NO_DATA: nothing usable since the start."""

    NO_DATA = 0
    INIT = 1
    VALID = 2
    INVALID = 3


class Finding(IntEnum):
    """What one check means to the machine.

    OTHER: a frame that is neither good nor an error; SILENCE: no new data, which does not end
    NO_DATA.
    """

    GOOD = 0
    ERROR = 1
    OTHER = 2
    SILENCE = 3


@dataclass(frozen=True, slots=True)
class LimitSpec:
    """What a state asks of the window: at least so many good checks, at most so many errors."""

    good: int
    errors: int


@dataclass(frozen=True, slots=True)
class MachineSpec:
    """Window length in checks, 1..32, and the limits of each state.

    `older_mapping`: a first frame counts as good and a resynchronisation does not; without it (the
    newer mapping) it is the other way round. Profiles 5, 11 and 22 have neither.
    """

    window: int
    init: LimitSpec
    valid: LimitSpec
    invalid: LimitSpec
    older_mapping: bool = False

    @property
    def mask(self) -> int:
        """One bit for every check of the window."""
        return (1 << self.window) - 1


def meets(limit: LimitSpec, good: int, errors: int) -> bool:
    """Return whether the window is good enough."""
    return errors <= limit.errors and good >= limit.good


def next_state(spec: MachineSpec, state: MachineState, good: int, errors: int) -> MachineState:
    """Return the state after a check that is in the window already; `good`, `errors` are counts."""
    if state == MachineState.INIT:
        if meets(spec.init, good, errors):
            return MachineState.VALID
        return MachineState.INVALID if errors > spec.init.errors else MachineState.INIT
    if state == MachineState.VALID:
        return MachineState.VALID if meets(spec.valid, good, errors) else MachineState.INVALID
    return MachineState.VALID if meets(spec.invalid, good, errors) else MachineState.INVALID
