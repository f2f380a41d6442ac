"""The shape of what the driver operates: accelerator pedal, cruise buttons, mode selector."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from xlate_core.pairing.exact import Physical, Positive
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_functions import (
    FunctionBase,
    MayRead,
    MayWrite,
    Milliseconds,
    Reads,
    ReadsEach,
    StrictTable,
    Writes,
)

Reason = Annotated[str, Field(min_length=10, description="why, in a sentence")]


class TrackOutput(StrictTable):
    """An output track of its own slope."""

    output: Writes = Field(description="quantity that the track carries")
    curve: str = Field(description="name of the curve request -> output")


class AcceleratorPedalTable(FunctionBase):
    """Accelerator pedal: two tracks to one request, limp on one track, brake override."""

    kind: Literal["accelerator_pedal"] = Field(description="kind of the function")
    track_1: Reads = Field(description="quantity: pedal by track 1")
    track_2: Reads = Field(description="quantity: pedal by track 2, unit and resolution of track 1")
    brake: MayRead = Field(None, description="quantity: nonzero while the brake is pressed")
    output: Writes = Field(description="quantity: request, resolution of the tracks")
    mode_output: MayWrite = Field(
        None,
        description="quantity: 0 normal, 1 limp, 2 disagreement, 3 lost, 4 overridden, 5 off",
    )
    tracks: list[TrackOutput] = Field([], max_length=2, description="output tracks")
    tolerance: Physical | None = Field(None, description="largest distance of the tracks")
    tolerance_curve: str | None = Field(
        None, description="name of the curve track 1 -> largest distance, in place of tolerance"
    )
    disagreement_ms: Milliseconds = Field(description="so long too far apart is a fault, ms")
    agreement_ms: Milliseconds = Field(description="so long together again heals it, ms")
    on_disagreement: Literal["released", "lower"] = Field(
        description="pedal released, or limp on the lower track"
    )
    on_disagreement_reason: Reason
    limp_limit: Physical = Field(description="highest request in limp")
    rise_per_s: Positive = Field(description="rise of the request in limp and after it, unit/s")
    brake_releases_limp: bool = Field(False, description="the brake releases the pedal in limp")
    override_above: Physical | None = Field(
        None, description="brake with more pedal than this overrides it"
    )
    override_below: Physical | None = Field(None, description="less pedal ends the override")
    override_ms: Milliseconds = Field(0, description="both pressed so long override, ms")
    on_brake_loss: Literal["pressed", "released"] | None = Field(
        None, description="what lost brake data count as"
    )
    on_brake_loss_reason: Reason | None = Field(None, description="why, in a sentence")

    follows_power: ClassVar[bool] = True

    def curves(self) -> list[tuple[KeyPath, str, str, str]]:
        """Return the curves of the output tracks and of the tolerance."""
        used: list[tuple[KeyPath, str, str, str]] = [
            (("tracks", index, "curve"), track.curve, self.output, track.output)
            for index, track in enumerate(self.tracks)
        ]
        if self.tolerance_curve is not None:
            used.append((("tolerance_curve",), self.tolerance_curve, self.track_1, self.track_1))
        return used


ButtonName = Literal["none", "on_off", "set", "resume", "cancel"]


class ButtonCode(StrictTable):
    """A value of the code and its button."""

    value: Physical = Field(description="value of the code")
    button: ButtonName = Field(description="button it means")


class ButtonContact(StrictTable):
    """A quantity of its own for one button."""

    quantity: Reads = Field(description="quantity: nonzero while pressed")
    button: ButtonName = Field(description="button it means")


class CruiseButtonsTable(FunctionBase):
    """Cruise buttons of a ladder or of the bus; cancel dominates."""

    kind: Literal["cruise_buttons"] = Field(description="kind of the function")
    code: MayRead = Field(None, description="quantity: code of the pressed button")
    codes: list[ButtonCode] = Field([], max_length=16, description="what the codes mean")
    contacts: list[ButtonContact] = Field([], max_length=8, description="buttons one by one")
    debounce_ms: Milliseconds = Field(0, description="a button counts when seen so long, ms")
    stuck_ms: Milliseconds = Field(description="held longer it is ignored until released, ms")
    brake: Reads = Field(description="quantity: nonzero while the brake is pressed")
    clutch: MayRead = Field(None, description="quantity: nonzero while the clutch is pressed")
    stability: MayRead = Field(None, description="quantity: nonzero while stability control acts")
    speed: Reads = Field(description="quantity: speed of the vehicle")
    speed_window: Annotated[list[Physical], Field(min_length=2, max_length=2)] = Field(
        description="lowest and highest speed for cruise"
    )
    feedback: MayRead = Field(
        None, description="quantity: nonzero while the engine controller keeps the speed"
    )
    feedback_ms: Milliseconds = Field(1000, description="so long denied is standby, ms")
    request: Writes = Field(description="quantity: 0 none, 1 on/off, 2 set, 3 resume, 4 cancel")
    status_output: MayWrite = Field(None, description="quantity: 0 off, 1 standby, 2 active")

    follows_power: ClassVar[bool] = True


class ModeAction(StrictTable):
    """Buttons, how they are pressed, and what that does."""

    buttons: Annotated[list[str], Field(min_length=1)] = Field(
        description="quantities of the buttons that are pressed together"
    )
    press: Literal["short", "long", "held"] = Field(
        description="released early, released late, or still held"
    )
    do: Literal["set", "next", "previous"] = Field("set", description="what happens to the mode")
    mode: Physical | None = Field(None, description="mode, for set")


class ModeSwitch(StrictTable):
    """A switch, or a button used like one: its mode as long as it is on."""

    quantity: Reads = Field(description="quantity: nonzero while on")
    mode: Physical = Field(description="mode while it is on")


class ModeSelectorTable(FunctionBase):
    """Mode selector: presses of buttons to a mode number."""

    kind: Literal["mode_selector"] = Field(description="kind of the function")
    buttons: ReadsEach = Field([], max_length=8, description="quantities: nonzero while pressed")
    actions: list[ModeAction] = Field([], max_length=32, description="what presses do")
    switches: list[ModeSwitch] = Field([], max_length=8, description="the first one on counts")
    long_ms: Milliseconds = Field(1000, description="a press from this time on is long, ms")
    held_ms: Milliseconds = Field(3000, description="a held press acts after this time, ms")
    stuck_ms: Milliseconds = Field(20000, description="a longer press is ignored, ms")
    modes: Annotated[list[Physical], Field(min_length=2, max_length=2)] = Field(
        description="lowest and highest mode"
    )
    start: Physical = Field(description="mode after reset")
    every_cycle: bool = Field(False, description="begin every ignition cycle with start")
    on_loss: Physical | None = Field(
        None, description="mode when button data are lost; without it the mode stays"
    )
    on_loss_reason: Reason
    permit: MayRead = Field(None, description="quantity: nonzero permits changes")
    feedback: MayRead = Field(None, description="quantity: mode the engine controller is in")
    unconfirmed: Physical | None = Field(None, description="shown while feedback is lost")
    output: Writes = Field(description="quantity: mode for the engine controller")
    shown: MayWrite = Field(None, description="quantity: mode for the cluster")

    follows_power: ClassVar[bool] = True
