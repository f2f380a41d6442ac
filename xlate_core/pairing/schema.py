"""The shape of bridge.toml, format 1: every table and key, with its unit.

Only the shape is judged here; whether a name exists and whether numbers go together is judged when
the specs are resolved. Durations are integers in milliseconds; physical numbers are exact. An
unknown key is an error.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from xlate_core.pairing.exact import Nonzero, Physical, Positive, Substitute
from xlate_core.pairing.schema_functions import FunctionTable, StrictTable, whole

FORMAT = 1

Milliseconds = Annotated[int, Field(ge=0, le=0x7FFFFFFF, description="duration, ms")]
RawRange = Annotated[list[int], Field(min_length=2, max_length=2)]
PowerModeName = Literal[
    "off", "accessory", "ignition_on", "cranking", "running", "after_run", "asleep"
]
StatusName = Literal[
    "never_received",
    "stale",
    "error",
    "not_available",
    "out_of_range",
    "implausible",
    "frozen",
]
BusName = Literal["body", "engine"]


class ClockTable(StrictTable):
    """The two ticks (rule 2)."""

    tick_ms: int = Field(1, ge=1, le=1000, description="one tick, ms")
    control_ms: int = Field(
        10, ge=1, le=1000, description="one control tick, ms, multiple of tick_ms"
    )


class BusTable(StrictTable):
    """One bus."""

    bit_rate: int = Field(500000, ge=10000, le=1000000, description="bit rate, bit/s")
    database: str = Field(description="file name of the network database (DBC) in the same folder")


class BusesTable(StrictTable):
    """Both buses."""

    body: BusTable = Field(description="the bus of the car's body electronics")
    engine: BusTable = Field(description="the bus of the stand-alone engine controller")


class ComparisonTable(StrictTable):
    """A quantity compared with a fixed value."""

    quantity: str = Field(description="name of a quantity")
    is_: Literal["==", "!=", "<", "<=", ">", ">="] = Field(alias="is", description="comparison")
    value: Physical = Field(description="fixed value, unit of the quantity")


class ConditionTable(StrictTable):
    """A condition; all given terms must hold (rules 3 and 7)."""

    power_modes: list[PowerModeName] | None = Field(None, description="power modes it holds in")
    supply_mv: Annotated[list[int], Field(min_length=2, max_length=2)] | None = Field(
        None, description="lowest and highest supply it holds at, mV"
    )
    after_ms: Milliseconds = Field(0, description="holds only so long after reset, ms")
    quantities: list[ComparisonTable] = Field([], description="comparisons that must hold")


class LevelInput(StrictTable):
    """A switch."""

    kind: Literal["level"] = Field(description="kind of the input pin")
    active: Literal["high", "low"] = Field("high", description="electrical level that means on")
    debounce_ms: Milliseconds = Field(0, description="a level counts when stable so long, ms")


class AnalogueInput(StrictTable):
    """A voltage, read in counts."""

    kind: Literal["analogue"] = Field(description="kind of the input pin")
    curve: str | None = Field(None, description="name of the curve counts -> physical value")
    valid: RawRange | None = Field(None, description="lowest and highest valid counts, 0..65535")


InputTable = Annotated[LevelInput | AnalogueInput, Field(discriminator="kind")]


class OutputTable(StrictTable):
    """A relay, lamp or signal output (rule 11)."""

    kind: Literal["level", "duty", "frequency"] = Field(description="kind of the output pin")
    active: Literal["high", "low"] = Field("high", description="electrical level that means on")
    quantity: str = Field(description="quantity that drives it: level nonzero, duty 0..10000, mHz")
    reset: Physical = Field(whole(0), description="value in reset, unit of the quantity")
    unpowered: str = Field("off", description="state of the load without supply, in words")


class CounterTable(StrictTable):
    """A plain alive counter (rule 5)."""

    signal: str = Field(description="name of the counter signal in the message")
    modulo: int = Field(ge=2, le=0xFFFF, description="values 0..modulo-1")
    max_step: int = Field(1, ge=1, description="largest good step between two frames")


class FoldTable(StrictTable):
    """A folded item: part of the checksum though not of the payload."""

    item: Literal["data_id", "identifier"] = Field(description="what is folded in")
    place: Literal["before", "after"] = Field("before", description="before or behind the octets")
    value: int = Field(0, ge=0, description="the data ID; not used for identifier")
    octets: int = Field(2, ge=1, le=4, description="octets folded in")
    low_first: bool = Field(False, description="least significant octet first")


class ChecksumTable(StrictTable):
    """A checksum of one octet (rule 5)."""

    signal: str = Field(description="name of the checksum signal, one aligned whole octet")
    kind: Literal["crc8", "xor8", "sum8"] = Field(description="arithmetic")
    parameters: str | None = Field(None, description="CRC parameters by catalogue name (crc8 only)")
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


def _sources(value: object) -> object:
    items = value if isinstance(value, list) else [value]
    return [{"signal": item} if isinstance(item, str) else item for item in items]


class QuantityTable(StrictTable):
    """An engineering value inside the bridge (rules 4, 8 and 10)."""

    unit: str = Field("", description="unit; empty, - or on/off for none")
    resolution: Positive = Field(
        whole(1), description="one step of the 32-bit integer, in the unit"
    )
    range: Annotated[list[Physical], Field(min_length=2, max_length=2)] = Field(
        description="lowest and highest value, in the unit"
    )
    from_: Annotated[list[SourceTable], BeforeValidator(_sources), Field(min_length=1)] | None = (
        Field(None, alias="from", description="sources, the preferred one first")
    )
    hold_ms: Milliseconds = Field(0, description="last value held after loss, ms")
    substitute: Substitute | None = Field(None, description="value after the hold, in the unit")
    initial: Physical | None = Field(None, description="value before anything was received")
    return_per_s: Positive | None = Field(None, description="rate limit of the return, unit/s")
    frozen_after_frames: int | None = Field(
        None, ge=2, le=65535, description="receptions with identical raw value until frozen"
    )
    max_change: Positive | None = Field(
        None, description="largest plausible jump between two receptions, in the unit"
    )


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


class CurveTable(StrictTable):
    """A curve through points, straight between them, clamped at the ends."""

    x_unit: str = Field("", description="unit of x; counts for an analogue input")
    y_unit: str = Field("", description="unit of y")
    points: Annotated[
        list[Annotated[list[Physical], Field(min_length=2, max_length=2)]],
        Field(min_length=1, max_length=64),
    ] = Field(description="points [x, y], x strictly rising")


class FaultTable(StrictTable):
    """A fault that matures and heals (rule 9)."""

    quantity: str | None = Field(None, description="quantity whose status is watched")
    statuses: list[StatusName] | None = Field(None, description="statuses that count upwards")
    message: str | None = Field(None, description='"bus.MESSAGE" whose rejected frames count')
    up: int = Field(1, ge=1, le=65535, description="steps up per bad tick or frame")
    down: int = Field(1, ge=0, le=65535, description="steps down per good tick or frame")
    limit: int = Field(ge=1, le=65535, description="matured at this count, healed at 0")
    latch: bool = Field(False, description="matured until the next ignition cycle")
    when: str | None = Field(None, description="condition under which it counts")
    output: str = Field(description="quantity that is 1 while matured")


class PowerTable(StrictTable):
    """Power modes and the ignition cycle (rules 9 and 14)."""

    ignition: str = Field(description="quantity: nonzero while ignition is on")
    accessory: str | None = Field(None, description="quantity: nonzero in accessory position")
    crank: str | None = Field(None, description="quantity: nonzero while cranking is asked for")
    engine_speed: str | None = Field(None, description="quantity: speed of the engine")
    running_above: Physical | None = Field(None, description="running above, unit of the speed")
    running_below: Physical | None = Field(None, description="not running below")
    cycle_off_ms: Milliseconds = Field(2000, description="ignition off so long ends a cycle, ms")
    after_run_ms: Milliseconds = Field(0, description="power hold after ignition off, ms")


class BridgeFile(StrictTable):
    """The whole of bridge.toml."""

    format_: Literal[1] = Field(alias="format", description="format of this file: 1")
    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="name of the pairing")
    description: str = Field("", description="one sentence about the pairing")
    clock: ClockTable = Field(
        default_factory=lambda: ClockTable.model_validate({}), description="ticks"
    )
    bus: BusesTable = Field(description="both buses")
    condition: dict[str, ConditionTable] = Field({}, description="conditions by name")
    input: dict[str, InputTable] = Field({}, description="input pins by name, in order")
    output: dict[str, OutputTable] = Field({}, description="output pins by name, in order")
    receive: dict[BusName, dict[str, ReceiveTable]] = Field(
        {}, description="received messages by bus and name"
    )
    quantity: dict[str, QuantityTable] = Field({}, description="quantities by name, in order")
    transmit: dict[BusName, dict[str, TransmitTable]] = Field(
        {}, description="sent messages by bus and name, in order of sending"
    )
    route: dict[str, RouteTable] = Field({}, description="routes by name")
    curve: dict[str, CurveTable] = Field({}, description="curves by name")
    fault: dict[str, FaultTable] = Field({}, description="faults by name, in order")
    power: PowerTable = Field(description="power modes")
    function: list[FunctionTable] = Field([], description="functions in the order they run")


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of bridge.toml, for editors and for the kept copy.

    The short forms, a text in place of a table with one key, are put in here.
    """
    schema = BridgeFile.model_json_schema(by_alias=True)
    tables = schema["$defs"]
    source = _or_text(tables["SourceTable"], "SourceTable")
    sources = tables["QuantityTable"]["properties"]["from"]
    sources["anyOf"] = [*source["anyOf"], {"type": "array", "items": source, "minItems": 1}]
    signals = tables["TransmitTable"]["properties"]["signals"]
    signals["additionalProperties"] = _or_text(tables["SentSignal"], "SentSignal")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _or_text(table: dict[str, Any], name: str) -> dict[str, Any]:
    first = next(iter(table["properties"].values()))
    about = first.get("description", "")
    return {"anyOf": [{"$ref": f"#/$defs/{name}"}, {"type": "string", "description": about}]}
