"""How a piece of state is declared: once, next to the state itself (rule 15).

From these declarations come the order and width of the state image, the reset values, and later
the firmware's struct and field table.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Any


class Width(Enum):
    """The stored width: octets and sign."""

    U8 = (1, False)
    U16 = (2, False)
    U32 = (4, False)
    U64 = (8, False)
    I32 = (4, True)
    I64 = (8, True)

    @property
    def octets(self) -> int:
        """How many octets the field takes in the image."""
        return self.value[0]

    @property
    def signed(self) -> bool:
        """Whether the field is two's complement."""
        return self.value[1]


class Overflow(Enum):
    """What happens at the end of the width."""

    SATURATE = "saturate"  # a count or an age stays at its maximum
    WRAP = "wrap"  # a sequence goes round
    BOUNDED = "bounded"  # the rules keep the value inside; reaching the end would be a bug


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a state record; `reset` is None where the pairing gives the reset value.

    A `kept` field is part of the memory that survives a reset (rule 1).
    """

    name: str
    width: Width
    overflow: Overflow
    reset: int | None = 0
    kept: bool = False


def take_up(record: Any, field: Field, value: int) -> None:
    """Set a field of a record from its number in an image; a flag stays a flag."""
    if isinstance(getattr(record, field.name), bool):
        setattr(record, field.name, value != 0)
    else:
        setattr(record, field.name, value)
