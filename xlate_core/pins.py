"""Pins: electrical levels to switch states with debounce, analogue counts, and output pins.

Inputs feed sources (quantities.SourceState), outputs follow quantities. Duty is 0..10000
(hundredths of a percent), frequency in mHz. A switch's state is 1 while it is active.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import Points, interpolate, saturate
from xlate_core.fields import Field, Overflow, Width

MAX_DUTY = 10000
MAX_FREQUENCY_MHZ = 0x7FFFFFFF


@dataclass(frozen=True, slots=True)
class LevelInputSpec:
    """A switch: active high or low; a new level counts after `debounce` ticks without change."""

    name: str
    active_high: bool
    debounce: int
    source: int


@dataclass(slots=True)
class LevelInputState:
    """Per switch: accepted state 0/1 (reset: inactive) and how long the other level is seen.

    - `differs` is 0 while the pin agrees with `active`, else ticks since it began to differ.
    """

    active: int = 0
    differs: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("active", Width.U8, Overflow.BOUNDED),
        Field("differs", Width.U32, Overflow.BOUNDED),
    )


class Reading(IntEnum):
    """What counts say: a value, a wire shorted low or high (or open), or none of the contacts."""

    GOOD = 0
    LOW = 1
    HIGH = 2
    BETWEEN = 3


@dataclass(frozen=True, slots=True)
class BandSpec:
    """A contact of a resistor ladder: counts low..high, both included, mean `value`."""

    low: int
    high: int
    value: int


@dataclass(frozen=True, slots=True)
class AnalogueInputSpec:
    """An analogue input: counts outside `valid` mean a broken or shorted wire (status error).

    With `bands`, rising and with gaps between them, the input is a ladder of contacts and counts
    in a gap are none of them (status implausible). `wiring` is the quantity that carries the
    number of the reading, -1 = none.
    """

    name: str
    points: Points
    valid: tuple[int, int]
    source: int
    bands: tuple[BandSpec, ...] = ()
    wiring: int = -1


class PinKind(IntEnum):
    """What an output pin carries."""

    LEVEL = 0
    DUTY = 1
    FREQUENCY = 2


@dataclass(frozen=True, slots=True)
class OutputPinSpec:
    """An output pin that follows a quantity; `reset_value` is quantity-side, before tick 0."""

    name: str
    kind: PinKind
    active_high: bool
    quantity: int
    reset_value: int
    unpowered: str


@dataclass(frozen=True, slots=True)
class PinsSpec:
    """All pins in interface order: the order of Inputs.levels, counts and Outputs."""

    levels: tuple[LevelInputSpec, ...]
    analogues: tuple[AnalogueInputSpec, ...]
    outputs: tuple[OutputPinSpec, ...]


def debounce(spec: LevelInputSpec, state: LevelInputState, level: bool) -> bool:
    """Look at the pin once a tick; return whether it must be looked at again although unchanged.

    Seen different first in tick t, the new state is accepted in tick t + debounce.
    """
    active = int(level == spec.active_high)
    if active == state.active:
        state.differs = 0
        return False
    if state.differs >= spec.debounce:
        state.active = active
        state.differs = 0
        return False
    state.differs += 1
    return True


def measure(spec: AnalogueInputSpec, counts: int) -> tuple[int | None, Reading]:
    """Return the quantity-side value of the counts, None unless the reading is good."""
    # WIRING
    if counts < spec.valid[0]:
        return None, Reading.LOW
    if counts > spec.valid[1]:
        return None, Reading.HIGH
    # LADDER
    if spec.bands:
        for band in spec.bands:
            if band.low <= counts <= band.high:
                return band.value, Reading.GOOD
        return None, Reading.BETWEEN
    # CURVE
    return interpolate(spec.points, counts), Reading.GOOD


def drive(spec: OutputPinSpec, value: int) -> int:
    """Return what the pin carries: electrical level 0/1, duty 0..10000, or frequency in mHz."""
    if spec.kind is PinKind.LEVEL:
        return int((value != 0) == spec.active_high)
    if spec.kind is PinKind.DUTY:
        return saturate(value, 0, MAX_DUTY)
    return saturate(value, 0, MAX_FREQUENCY_MHZ)
