"""The shape of bridge.toml, format 1: every table and key, with its unit.

Only the shape is judged here; whether a name exists and whether numbers go together is judged when
the specs are resolved. Durations are integers in milliseconds; physical numbers are exact. An
unknown key is an error.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from xlate_core.pairing.exact import Physical, Positive, Substitute
from xlate_core.pairing.schema_functions import Milliseconds, StrictTable, whole
from xlate_core.pairing.schema_inputs import InputTable
from xlate_core.pairing.schema_kinds import FunctionTable
from xlate_core.pairing.schema_memory import MemoryTable
from xlate_core.pairing.schema_messages import (
    BusName,
    ReceiveTable,
    RouteTable,
    SourceTable,
    TransmitTable,
)
from xlate_core.pairing.schema_power import BusEventName, SleepTable, SupervisionTable
from xlate_core.pairing.schema_traffic import TrafficTable

BIT_RATES = (10_000, 1_000_000)  # lowest and highest, bit/s
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


class ClockTable(StrictTable):
    """The two ticks (rule 2)."""

    tick_ms: int = Field(1, ge=1, le=1000, description="one tick, ms")
    control_ms: int = Field(
        10, ge=1, le=1000, description="one control tick, ms, multiple of tick_ms"
    )


class BusTable(StrictTable):
    """One bus."""

    bit_rate: int = Field(500000, ge=BIT_RATES[0], le=BIT_RATES[1], description="bit rate, bit/s")
    database: str = Field(description="file name of the network database (DBC) in the same folder")
    supervision: SupervisionTable | None = Field(None, description="what to do when the bus fails")


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


class OutputTable(StrictTable):
    """A relay, lamp or signal output (rule 11)."""

    kind: Literal["level", "duty", "frequency"] = Field(description="kind of the output pin")
    active: Literal["high", "low"] = Field("high", description="electrical level that means on")
    quantity: str = Field(description="quantity that drives it: level nonzero, duty 0..10000, mHz")
    reset: Physical = Field(whole(0), description="value in reset, unit of the quantity")
    unpowered: str = Field("off", description="state of the load without supply, in words")


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
        None, ge=2, le=65535, description="repetitions of the same raw value until frozen"
    )
    max_change: Positive | None = Field(
        None, description="largest plausible jump between two receptions, in the unit"
    )
    watch_only: bool = Field(
        False, description="nothing in the bridge uses it; it is decoded for logs and dumps only"
    )


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
    bus: BusName | None = Field(None, description="bus whose events count")
    events: list[BusEventName] | None = Field(None, description="bus events that count upwards")
    up: int = Field(1, ge=1, le=65535, description="steps up per bad tick or frame")
    down: int = Field(1, ge=0, le=65535, description="steps down per good tick or frame")
    limit: int = Field(ge=1, le=65535, description="matured at this count, healed at 0")
    latch: bool = Field(False, description="matured until the next ignition cycle")
    when: str | None = Field(None, description="condition under which it counts")
    output: str = Field(description="quantity that is 1 while matured")
    memory: MemoryTable | None = Field(None, description="what is remembered of it over resets")


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
    kept: bool = Field(False, description="ignition cycle and power hold survive a reset")
    sleep: SleepTable | None = Field(None, description="sleep and wake")


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
    traffic: TrafficTable = Field(
        default_factory=lambda: TrafficTable.model_validate({}),
        description="what else is on the buses, for the timing tools",
    )


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
