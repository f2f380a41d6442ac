"""The shape of the functions around the engine: pump, air conditioning, starter, torque."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from xlate_core.pairing.exact import Physical
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

Span = Annotated[list[Physical], Field(min_length=2, max_length=2)]
Reason = Annotated[str, Field(min_length=20)]


class PumpLevel(StrictTable):
    """A level of the pump driver."""

    above: Physical = Field(description="from this demand on, unit of the demand")
    command: Physical = Field(description="command, unit of the command output")


class PumpAnswer(StrictTable):
    """What the pump driver reports back."""

    quantity: Reads = Field(description="quantity: the driver's answer")
    valid: Span = Field(description="lowest and highest answer of a good driver")
    bad_ms: Milliseconds = Field(description="bad longer than this is told, ms")
    output: Writes = Field(description="quantity 0/1: the driver reports a fault")


class PumpCommandTable(StrictTable):
    """Duty command to a pump driver."""

    output: Writes = Field(description="quantity: command")
    off: Physical = Field(description="command that means off")
    prime: Physical = Field(description="command while priming")
    base: Physical = Field(description="command up to the first level")
    demand: Reads = Field(description="quantity that chooses the level")
    levels: list[PumpLevel] = Field([], max_length=8, description="levels, lowest first")
    hysteresis: Physical = Field(whole(0), description="a level is left so much below `above`")
    valid: Span = Field(description="band of commands the driver takes")
    diagnostic: list[Span] = Field([], description="bands that mean something else to it")
    answer: PumpAnswer | None = Field(None, description="the driver's answer")


class PumpOnLoss(StrictTable):
    """On for a limited time when engine data is lost."""

    enable: Reads = Field(description="quantity: nonzero while the hard-wired enable is there")
    longest_ms: Milliseconds = Field(description="on so long after loss at most, ms")


class FuelPumpTable(FunctionBase):
    """Fuel pump: prime, run with rotation, off without (rule 11)."""

    kind: Literal["fuel_pump"] = Field(description="kind of the function")
    output: Writes = Field(description="quantity 0/1 that drives the pump")
    engine_speed: Reads = Field(description="quantity: engine speed")
    prime_ms: Milliseconds = Field(description="priming after ignition on, ms")
    rotation_above: Physical = Field(description="rotation above, unit of the speed")
    off_delay_ms: Milliseconds = Field(description="off within so long after rotation ends, ms")
    runs_cranking: bool = Field(False, description="on while cranking, before rotation is seen")
    crash: MayRead = Field(None, description="quantity: nonzero latches off until the next cycle")
    on_loss: PumpOnLoss | None = Field(None, description="limited run on loss; default: off")
    on_loss_reason: Reason | None = Field(
        None, description="why it stays on, or goes off, when engine data is lost: both can hurt"
    )
    command: PumpCommandTable | None = Field(None, description="command to a pump driver")

    follows_power: ClassVar[bool] = True


class PermissionWindow(StrictTable):
    """A window the quantity must be in: given inside `engage`, withdrawn outside `release`."""

    quantity: Reads = Field(description="quantity that is looked at")
    engage: Span = Field(description="lowest and highest value that gives the permission")
    release: Span = Field(description="lowest and highest value that keeps it")


class FullPedalCut(StrictTable):
    """Cut at full pedal."""

    quantity: Reads = Field(description="quantity: accelerator pedal")
    full: Physical = Field(description="cut at and above")
    below: Physical = Field(description="ends at and below")
    least_cut_ms: Milliseconds = Field(description="cut at least so long, ms")


class AirConditioningTable(FunctionBase):
    """Air conditioning: idle-up, then the clutch; off on loss of any permission (rule 11)."""

    kind: Literal["air_conditioning"] = Field(description="kind of the function")
    request: Reads = Field(description="quantity: nonzero asks for cooling")
    idle_up: Writes = Field(description="quantity 0/1: idle-up asked of the engine")
    clutch: Writes = Field(description="quantity 0/1 that drives the clutch")
    refusal: MayWrite = Field(None, description="quantity 0..9: why the clutch is off")
    permit: MayRead = Field(None, description="quantity: nonzero while the engine permits")
    engine_speed: PermissionWindow = Field(description="window of the engine speed")
    coolant: PermissionWindow | None = Field(None, description="window of the coolant")
    pressure: PermissionWindow | None = Field(None, description="window of the refrigerant")
    evaporator: PermissionWindow | None = Field(None, description="window of the evaporator")
    pedal: FullPedalCut | None = Field(None, description="cut at full pedal")
    running_for_ms: Milliseconds = Field(description="engine must have run so long, ms")
    engage_delay_ms: Milliseconds = Field(0, description="clutch so long after the idle-up, ms")
    min_off_ms: Milliseconds = Field(0, description="shortest time off, also after reset, ms")

    follows_power: ClassVar[bool] = True


class StarterTable(FunctionBase):
    """Starter: a press cranks until the engine runs, within limits (rule 11)."""

    kind: Literal["starter"] = Field(description="kind of the function")
    button: Reads = Field(description="quantity: nonzero while the button is pressed")
    engine_speed: Reads = Field(description="quantity: engine speed")
    all_of: ReadsEach = Field([], description="quantities that must all be nonzero")
    any_of: ReadsEach = Field([], description="quantities of which one must be nonzero")
    output: Writes = Field(description="quantity 0/1 that drives or asks for the starter")
    outcome: MayWrite = Field(None, description="quantity 0..8: what became of the last press")
    turning_above: Physical = Field(description="no crank begins at and above")
    release_above: Physical = Field(description="a crank ends at and above")
    max_crank_ms: Milliseconds = Field(description="longest crank, ms")
    rest_ms: Milliseconds = Field(description="rest after every crank, ms")
    limit_rest_ms: Milliseconds = Field(description="rest after the longest crank, ms")
    while_pressed: bool = Field(False, description="the button must stay pressed")

    follows_power: ClassVar[bool] = True


class TorqueRequestTable(FunctionBase):
    """A torque request carried unaltered and answered honestly (rule 11)."""

    kind: Literal["torque_request"] = Field(description="kind of the function")
    request: Reads = Field(description="quantity: torque asked for")
    active: Reads = Field(description="quantity: nonzero while it is meant")
    carried: Writes = Field(description="quantity: the torque handed on")
    carried_active: Writes = Field(description="quantity 0/1: whether it is meant")
    no_request: Physical = Field(description="what `carried` holds without a request")
    answer: Writes = Field(description="quantity 0..4: what is seen of it")
    actual: Reads = Field(description="quantity: torque the engine gives")
    maximum: MayRead = Field(None, description="quantity: most torque the engine could give")
    friction: MayRead = Field(None, description="quantity: drag torque, a positive number")
    direction: Literal["reduce", "increase"] = Field(description="what is asked for")
    tolerance: Physical = Field(whole(0), description="counts as fulfilled within, unit of torque")
    settle_ms: Milliseconds = Field(description="not fulfilled after so long, ms")
    latency_budget_ms: int = Field(ge=1, description="longest way from frame to frame, ms")

    follows_power: ClassVar[bool] = True


class ListenerTable(StrictTable):
    """One who is told that the engine runs."""

    output: Writes = Field(description="quantity 0/1")
    on_delay_ms: Milliseconds = Field(0, description="told so long after the engine runs, ms")
    off_delay_ms: Milliseconds = Field(0, description="told so long after it stands, ms")
    on_loss: Literal["not_running", "running", "last"] = Field(
        description="what is told while the engine speed is lost"
    )


class EngineRunningTable(FunctionBase):
    """Engine running, told to each listener with its own timing (rule 11)."""

    kind: Literal["engine_running"] = Field(description="kind of the function")
    engine_speed: Reads = Field(description="quantity: engine speed")
    running_above: Physical = Field(description="running at and above")
    running_below: Physical = Field(description="no longer running below")
    listeners: list[ListenerTable] = Field(min_length=1, max_length=8, description="who is told")
    on_loss_reason: Reason = Field(description="why the listeners are told so on loss")

    follows_power: ClassVar[bool] = True
