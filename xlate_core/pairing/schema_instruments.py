"""The shape of the [[function]] tables for lamps, gauges, counters and the vehicle speed."""

from fractions import Fraction
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PlainValidator, WithJsonSchema

from xlate_core.pairing.exact import EXPECTED_NUMBER, Physical, Positive, to_ratio
from xlate_core.pairing.schema_functions import (
    FunctionBase,
    MayRead,
    MayWrite,
    Milliseconds,
    Reads,
    ReadsEach,
    StrictTable,
    Writes,
    whole,
)


def _not_negative(value: object) -> Fraction:
    ratio = to_ratio(value)
    if ratio < 0:
        raise ValueError(f"{EXPECTED_NUMBER}, not below 0")
    return ratio


NotNegative = Annotated[
    Fraction, PlainValidator(_not_negative), WithJsonSchema({"type": ["number", "string"]})
]


class LampCause(StrictTable):
    """One cause of a lamp, with hysteresis; `on` less than `off` is a cause that falls."""

    quantity: Reads = Field(description="quantity that is judged")
    on: Physical = Field(description="begins at or above, with on < off at or below; its unit")
    off: Physical = Field(description="ends at or below, with on < off at or above; its unit")


class Lamp(StrictTable):
    """One warning lamp (rule 11)."""

    output: Writes = Field(description="quantity 0/1 that drives the lamp")
    causes: list[LampCause] = Field(min_length=1, max_length=8, description="any of them lights it")
    on_delay_ms: Milliseconds = Field(0, description="a cause lasts longer before it is lit, ms")
    off_delay_ms: Milliseconds = Field(0, description="lit so long after the last cause, ms")
    standing: Literal["judged", "lit", "dark"] = Field(
        "judged", description="with ignition on before the engine runs: causes judged, lit or dark"
    )
    bulb_check: bool = Field(True, description="lit during the bulb check")
    on_loss: Literal["lit", "dark"] = Field("lit", description="while data of a cause is lost")
    reason: str = Field("", description="why it stays dark on loss, in words")


class LampPanelTable(FunctionBase):
    """Warning lamps with one bulb check."""

    kind: Literal["lamp_panel"] = Field(description="kind of the function")
    lamps: list[Lamp] = Field(min_length=1, max_length=16, description="lamps")
    bulb_check_ms: Milliseconds = Field(0, description="lit after ignition on, ms")
    after_start_ms: Milliseconds = Field(
        0, description="engine runs so long before a lamp that is not judged standing is judged, ms"
    )

    follows_power: ClassVar[bool] = True


class EngineSpeedGaugeTable(FunctionBase):
    """A shown engine speed with limited rates and a held value."""

    kind: Literal["engine_speed_gauge"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity: engine speed")
    output: Writes = Field(description="quantity: engine speed shown, same unit and resolution")
    rise_per_s: Positive | None = Field(None, description="fastest rise, unit/s; default: at once")
    fall_per_s: Positive | None = Field(None, description="fastest fall, unit/s; default: at once")
    hold_ms: Milliseconds = Field(0, description="shown value held after loss, ms")
    on_loss: Physical = Field(description="value after the hold, unit of the output")


class PulseOutputTable(FunctionBase):
    """Pulses for a tachometer or a speedometer."""

    kind: Literal["pulse_output"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity: engine speed in rpm or road speed in km/h")
    output: Writes = Field(description="quantity: frequency in mHz, resolution 1")
    pulses_per_revolution: Positive | None = Field(None, description="for an input in rpm")
    pulses_per_km: Positive | None = Field(None, description="for an input in km/h")
    lowest_mhz: int = Field(0, ge=0, le=0x7FFFFFFF, description="no pulses below this frequency")
    highest_mhz: int = Field(ge=1, le=0x7FFFFFFF, description="never more than this frequency")
    on_loss_mhz: int = Field(0, ge=0, le=0x7FFFFFFF, description="frequency on loss")


class FuelLevelTable(FunctionBase):
    """A fuel level with a slosh filter."""

    kind: Literal["fuel_level"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity: fuel in the tank")
    output: Writes = Field(description="quantity: fuel shown, same unit and resolution")
    road_speed: MayRead = Field(None, description="quantity: road speed; without it always moving")
    moving_above: Physical = Field(whole(0), description="moving at and above, unit of the speed")
    standing_filter_ms: Milliseconds = Field(0, description="time constant standing, ms")
    moving_filter_ms: Milliseconds = Field(description="time constant moving, ms")
    hold_ms: Milliseconds = Field(0, description="shown value held after loss, ms")
    on_loss: Physical = Field(description="value after the hold, unit of the output")

    follows_power: ClassVar[bool] = True


class ConsumptionCounterTable(FunctionBase):
    """A count of the fuel used that goes round."""

    kind: Literal["consumption_counter"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity: flow in l/h")
    output: Writes = Field(description="quantity: count, in ul, ml or l")
    modulus: Positive = Field(description="the count goes round here, unit of the output")


class VehicleSpeedTable(FunctionBase):
    """Vehicle speed from wheel speeds, never under the true speed."""

    kind: Literal["vehicle_speed"] = Field(description="kind of the function")
    wheels: ReadsEach = Field(min_length=2, max_length=8, description="quantities: wheel speeds")
    output: Writes = Field(description="quantity: vehicle speed, unit and resolution of the wheels")
    shown: MayWrite = Field(None, description="quantity: speed the driver sees, same unit")
    least_wheels: int = Field(2, ge=1, le=8, description="wheels that must have a value")
    spread: NotNegative = Field(description="wheels agree within this, unit of the output")
    spread_percent: NotNegative = Field(whole(0), description="and this share of the faster, %")
    disagree_ms: Milliseconds = Field(0, description="no two agree so long until implausible, ms")
    hold_ms: Milliseconds = Field(0, description="value held when too few wheels are left, ms")
    on_loss: Physical = Field(description="value after the hold, unit of the output")
    shown_on_loss: Physical = Field(whole(0), description="the same for what the driver sees")
    lead_percent: NotNegative = Field(whole(0), description="shown more than the speed, %")
    lead: NotNegative = Field(whole(0), description="and this much more, unit of the output")
