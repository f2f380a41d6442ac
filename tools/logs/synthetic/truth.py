"""What an invented network really sends: the truth that guesses are judged by."""

from dataclasses import dataclass, field
from enum import StrEnum

from tools.logs.bits import Field
from tools.logs.table import Key


class Sending(StrEnum):
    """When a message is sent."""

    CYCLIC = "cyclic"
    CHANGE = "on change"
    MIXED = "mixed"


class Role(StrEnum):
    """What a field of a message is."""

    VALUE = "value"
    STATE = "state"
    CONSTANT = "constant"
    COUNTER = "counter"
    CHECKSUM = "checksum"
    SELECTOR = "selector"


@dataclass(frozen=True, slots=True)
class TrueField:
    """A field, what it is, the reference series it follows, and its scale.

    value = raw * factor + offset; `path` is the selector value under which the field is sent.
    """

    name: str
    place: Field
    role: Role
    series: str = ""
    factor: float = 1.0
    offset: float = 0.0
    path: int | None = None
    constant: int = 0


@dataclass(frozen=True, slots=True)
class TrueCounter:
    """A rolling counter 0..modulo-1."""

    place: Field
    modulo: int


@dataclass(frozen=True, slots=True)
class TrueChecksum:
    """A checksum: its place, its family, and what goes in beside the payload.

    `family` is "xor8", "sum8", "sum8 inverted", "xor4", or the catalogue name of a CRC; octets
    first..last are covered without its own; `after` holds data IDs by counter value, one only when
    constant; `before` is put in front.
    """

    place: Field
    family: str
    first_octet: int
    last_octet: int
    before: bytes = b""
    after: tuple[bytes, ...] = ()


@dataclass(frozen=True, slots=True)
class TrueMessage:
    """One message with everything a tool may find out about it."""

    key: Key
    name: str
    length: int
    sending: Sending
    period_us: int
    jitter_us: int
    lost_per_mille: int
    fields: tuple[TrueField, ...]
    counter: TrueCounter | None = None
    checksum: TrueChecksum | None = None
    first_us: int = 0

    @property
    def selector(self) -> TrueField | None:
        """The field that selects the multiplexer path, or None."""
        return next((each for each in self.fields if each.role is Role.SELECTOR), None)


@dataclass(frozen=True, slots=True)
class TrueNetwork:
    """All messages of an invented network, its buses, and the series a person could have noted."""

    channels: tuple[str, ...]
    messages: tuple[TrueMessage, ...]
    series: tuple[str, ...] = field(default=())

    def message(self, key: Key) -> TrueMessage | None:
        """Return the message of a key, or None."""
        return next((each for each in self.messages if each.key == key), None)
