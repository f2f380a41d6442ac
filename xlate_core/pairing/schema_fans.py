"""The shape of the cooling fans, in relay stages or by duty."""

from typing import ClassVar, Literal

from pydantic import Field

from xlate_core.pairing.exact import Physical, Positive
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_functions import (
    FunctionBase,
    MayRead,
    Milliseconds,
    Reads,
    StrictTable,
    Writes,
)

SUPPLY = "supply_voltage"


class FanStage(StrictTable):
    """One stage of the cooling fans."""

    output: Writes = Field(description="quantity 0/1 that drives the stage")
    on: Physical = Field(description="stage on at and above, unit of the coolant quantity")
    off: Physical = Field(description="stage off at and below, unit of the coolant quantity")


class FanRequest(StrictTable):
    """Another function or message that asks for a stage."""

    quantity: Reads = Field(description="quantity: nonzero asks")
    stage: int = Field(ge=1, description="stage asked for, from 1")


class FloorTable(StrictTable):
    """Cooling that a running compressor asks for, until the wind of driving replaces it."""

    compressor: Reads = Field(description="quantity: nonzero while the compressor runs")
    road_speed: MayRead = Field(None, description="quantity: road speed that replaces the fan")
    drop_above: Physical | None = Field(None, description="dropped at and above this road speed")
    restore_below: Physical | None = Field(None, description="asked again at and below")


class StageFloor(FloorTable):
    """The floor as a stage."""

    stage: int = Field(ge=1, description="stage asked for, from 1")


class DutyFloor(FloorTable):
    """The floor as a duty."""

    duty: Physical = Field(description="duty asked for, unit of the output")


class PressureTable(StrictTable):
    """Refrigerant pressure that asks for cooling, with its own hysteresis."""

    quantity: Reads = Field(description="quantity: refrigerant pressure")
    on: Physical = Field(description="asks at and above, unit of the pressure")
    off: Physical = Field(description="no longer at and below")


class StagePressure(PressureTable):
    """The pressure's wish as a stage."""

    stage: int = Field(ge=1, description="stage asked for, from 1")


class DutyPressure(PressureTable):
    """The pressure's wish as a duty."""

    duty: Physical = Field(description="duty asked for, unit of the output")


class OverVoltageTable(StrictTable):
    """Over-voltage that stops the fans."""

    supply: Reads = Field(SUPPLY, description="quantity: supply")
    above: Physical = Field(description="stopped at and above, unit of the supply (mV)")
    below: Physical = Field(description="allowed again at and below")
    beats_loss: bool = Field(description="true: stops also while coolant data is lost")


class AfterRunTable(StrictTable):
    """Fans after ignition off, limited by time, coolant temperature and battery."""

    longest_ms: Milliseconds = Field(description="at most so long, ms, within power.after_run_ms")
    above: Physical = Field(description="begins at and above, unit of the coolant quantity")
    below: Physical = Field(description="ends at and below")
    supply: Reads = Field(SUPPLY, description="quantity: supply")
    least_supply: Physical = Field(description="ends below, unit of the supply (mV)")


class StageAfterRun(AfterRunTable):
    """The after-run as a stage."""

    stage: int = Field(ge=1, description="stage that runs on, from 1")


class DutyAfterRun(AfterRunTable):
    """The after-run as a duty."""

    duty: Physical = Field(description="duty that runs on, unit of the output")


class CoolingFanTable(FunctionBase):
    """Cooling fans in stages with hysteresis (rule 11)."""

    kind: Literal["cooling_fan"] = Field(description="kind of the function")
    coolant: Reads = Field(description="quantity: coolant temperature")
    stages: list[FanStage] = Field(min_length=1, max_length=4, description="stages, lowest first")
    min_on_ms: Milliseconds = Field(0, description="shortest time on, ms")
    min_off_ms: Milliseconds = Field(0, description="shortest time off, ms")
    requests: list[FanRequest] = Field([], description="further requests")
    on_loss_stage: int = Field(0, ge=0, description="stage on while coolant data is lost")
    stage_delay_ms: Milliseconds = Field(0, description="between the starts of two stages, ms")
    air_conditioning: StageFloor | None = Field(None, description="floor of the compressor")
    pressures: list[StagePressure] = Field([], max_length=4, description="refrigerant pressure")
    over_voltage: OverVoltageTable | None = Field(None, description="over-voltage inhibit")
    after_run: StageAfterRun | None = Field(None, description="run with ignition off")

    follows_power: ClassVar[bool] = True


class DutyRequest(StrictTable):
    """Another function or message that asks for a duty."""

    quantity: Reads = Field(description="quantity: nonzero asks")
    duty: Physical = Field(description="duty asked for, unit of the output")


class CoolingFanDutyTable(FunctionBase):
    """A cooling fan driven by a duty (rule 11)."""

    kind: Literal["cooling_fan_duty"] = Field(description="kind of the function")
    coolant: Reads = Field(description="quantity: coolant temperature")
    output: Writes = Field(description="quantity: duty; its range is 0 to full")
    curve: str = Field(description="name of the curve coolant -> duty")
    requests: list[DutyRequest] = Field([], description="further requests of a fixed duty")
    follow: MayRead = Field(None, description="quantity whose value is a duty asked for")
    minimum: Physical = Field(description="lowest duty the motor turns at, unit of the output")
    inverted: bool = Field(False, description="full minus duty is put out")
    soft_start_ms: Milliseconds = Field(0, description="at the lowest duty after a start, ms")
    rise_per_s: Positive | None = Field(None, description="fastest rise, unit of the output/s")
    fall_per_s: Positive | None = Field(None, description="fastest fall, unit of the output/s")
    min_on_ms: Milliseconds = Field(0, description="shortest time on, ms")
    min_off_ms: Milliseconds = Field(0, description="shortest time off, ms")
    on_loss: Physical = Field(description="least duty while coolant data is lost")
    air_conditioning: DutyFloor | None = Field(None, description="floor of the compressor")
    pressures: list[DutyPressure] = Field([], max_length=4, description="refrigerant pressure")
    over_voltage: OverVoltageTable | None = Field(None, description="over-voltage inhibit")
    after_run: DutyAfterRun | None = Field(None, description="run with ignition off")

    follows_power: ClassVar[bool] = True

    def curves(self) -> list[tuple[KeyPath, str, str, str]]:
        """Return the curve of the duty."""
        return [(("curve",), self.curve, self.coolant, self.output)]
