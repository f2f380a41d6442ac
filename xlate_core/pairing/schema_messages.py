"""The shape of the message tables of bridge.toml: reception, transmission and routes."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from xlate_core.pairing.exact import Nonzero, Physical
from xlate_core.pairing.schema_functions import Milliseconds, StrictTable
from xlate_core.pairing.schema_profiles import ProfileTable, ReceivedProfileTable

RawRange = Annotated[list[int], Field(min_length=2, max_length=2)]
BusName = Literal["body", "engine"]


class CounterTable(StrictTable):
    """A plain alive counter (rule 5)."""

    signal: str = Field(description="name of the counter signal in the message")
    modulo: int = Field(ge=2, le=0xFFFF, description="values 0..modulo-1")
    max_step: int = Field(1, ge=1, description="largest good step between two frames")


class FoldTable(StrictTable):
    """A folded item: part of the checksum though not of the payload."""

    item: Literal["data_id", "identifier", "length", "data_id_list"] = Field(
        description="what is folded in; data_id_list: one octet of a list, chosen by the counter"
    )
    place: Literal["before", "after"] = Field("before", description="before or behind the octets")
    value: int = Field(0, ge=0, description="the data ID; not used for the others")
    values: list[int] = Field([], max_length=256, description="the list, one octet each")
    octets: int | None = Field(
        None, ge=1, le=4, description="octets folded in; default 2, of length and list 1"
    )
    low_first: bool = Field(False, description="least significant octet first")


class CrcTable(StrictTable):
    """A CRC by its parameters."""

    width: int = Field(ge=4, le=32, description="bits, 4..32")
    poly: int = Field(ge=1, description="polynomial without its highest term")
    init: int = Field(0, ge=0, description="start value of the register")
    reflected: bool = Field(False, description="input and output reflected")
    xorout: int = Field(0, ge=0, description="final exclusive-or")


class ChecksumTable(StrictTable):
    """A checksum (rule 5)."""

    signal: str = Field(description="name of the checksum signal, as long as the result")
    kind: Literal[
        "crc8",
        "xor8",
        "sum8",
        "xor4",
        "sum4",
        "sum8_inverted",
        "sum8_carry",
        "sum16",
        "sum16_inverted",
        "sum16_carry",
        "crc",
    ] = Field(description="arithmetic; 4-bit kinds go over nibbles, crc is of any width")
    parameters: str | CrcTable | None = Field(
        None, description="CRC parameters by catalogue name (crc8, crc) or as a table (crc)"
    )
    first_octet: int = Field(0, ge=0, le=7, description="first octet covered, 0..7")
    last_octet: int | None = Field(
        None, ge=0, le=7, description="last octet covered, 0..7; default: last of the message"
    )
    fold: list[FoldTable] = Field([], description="folded items in order")


class UnitTable(StrictTable):
    """Signals split off into a reception unit of their own (rule 6)."""

    signals: list[str] = Field(min_length=1, description="names of signals without multiplexer")
    deadline_ms: Milliseconds = Field(0, description="cyclic deadline, ms; 0 = not supervised")
    first_deadline_ms: Milliseconds | None = Field(None, description="first deadline, ms")


class PathTable(StrictTable):
    """One path of the multiplexer (rule 6)."""

    deadline_ms: Milliseconds = Field(0, description="cyclic deadline, ms; 0 = not supervised")
    first_deadline_ms: Milliseconds | None = Field(None, description="first deadline, ms")


class ReceiveTable(StrictTable):
    """A received message (rules 5 to 7)."""

    deadline_ms: Milliseconds = Field(0, description="cyclic deadline, ms; 0 = not supervised")
    first_deadline_ms: Milliseconds | None = Field(
        None, description="first deadline, ms; default: deadline_ms"
    )
    when: str | None = Field(None, description="condition that enables supervision")
    allow_short: bool = Field(False, description="take the units of a short frame that arrived")
    counter: CounterTable | None = Field(None, description="alive counter")
    checksum: ChecksumTable | None = Field(None, description="checksum")
    profile: ReceivedProfileTable | None = Field(
        None, description="counter-plus-CRC profile, instead of counter and checksum"
    )
    unit: dict[str, UnitTable] = Field({}, description="further reception units by name")
    path: dict[str, PathTable] = Field({}, description="multiplexer paths: selector or range")


class SourceTable(StrictTable):
    """Where a quantity comes from, with its decoding (rule 4)."""

    signal: str = Field(description='"bus.MESSAGE.Signal" or "input.pin"')
    factor: Nonzero | None = Field(None, description="physical per raw; default: the database's")
    offset: Physical | None = Field(None, description="physical at raw 0; default: the database's")
    valid: RawRange | None = Field(None, description="valid raw range, inclusive")
    error: list[RawRange] = Field([], description="raw ranges that mean error, inclusive")
    not_available: list[RawRange] = Field([], description="raw ranges that mean not available")


class SentSignal(StrictTable):
    """What goes into one sent signal (rule 4)."""

    quantity: str | None = Field(None, description="name of a quantity")
    constant: int | None = Field(None, description="fixed raw value")
    factor: Nonzero | None = Field(None, description="physical per raw; default: the database's")
    offset: Physical | None = Field(None, description="physical at raw 0; default: the database's")
    valid: RawRange | None = Field(None, description="valid raw range, inclusive")
    not_available: int | None = Field(None, description="raw code that says not available")


def _sent(value: object) -> object:
    return {"quantity": value} if isinstance(value, str) else value


class TransmitTable(StrictTable):
    """A sent message (rule 12)."""

    period_ms: Milliseconds | None = Field(
        None, description="period, ms; default: the database's cycle time; 0 = only on change"
    )
    offset_ms: Milliseconds = Field(0, description="first sending after start, ms, < period")
    on_change: bool = Field(False, description="also sent when the payload changes")
    min_gap_ms: Milliseconds = Field(0, description="smallest gap before an event sending, ms")
    when: str | None = Field(None, description="condition of sending")
    on_loss: Literal["substitute", "not_available", "stop"] = Field(
        "substitute", description="what the message does on loss of its source"
    )
    loss_of: list[str] | None = Field(
        None, description="quantities that count as its source; default: every received one in it"
    )
    fill: Literal[0, 1] = Field(0, description="unused bits")
    counter: CounterTable | None = Field(None, description="alive counter")
    checksum: ChecksumTable | None = Field(None, description="checksum")
    profile: ProfileTable | None = Field(
        None, description="counter-plus-CRC profile, instead of counter and checksum"
    )
    signals: dict[str, Annotated[SentSignal, BeforeValidator(_sent)]] = Field(
        {}, description="signal name -> quantity or constant"
    )


def _queue(value: object) -> int:
    """Return the depth of a route's queue: 0 for `newest`."""
    if value == "newest":
        return 0
    if isinstance(value, dict) and list(value) == ["fifo"]:
        depth = value["fifo"]
        if isinstance(depth, int) and not isinstance(depth, bool) and 1 <= depth <= 255:
            return depth
    raise ValueError('"newest" or { fifo = n } with n in 1..255')


class RouteTable(StrictTable):
    """A message handed on as it came (rule 13)."""

    from_: str = Field(alias="from", description='"bus.MESSAGE"')
    to: BusName = Field(description="the other bus")
    queue: Annotated[
        int,
        PlainValidator(_queue),
        WithJsonSchema(
            {
                "anyOf": [
                    {"const": "newest"},
                    {
                        "type": "object",
                        "properties": {"fifo": {"type": "integer", "minimum": 1, "maximum": 255}},
                        "required": ["fifo"],
                        "additionalProperties": False,
                    },
                ]
            }
        ),
    ] = Field(0, description="newest frame only, or a first-in first-out queue of n frames")
