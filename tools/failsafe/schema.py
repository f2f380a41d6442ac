"""The tables of `required.toml` as a person writes them; `REQUIRED.md` is the manual."""

from typing import Annotated, Literal

from pydantic import Field

from xlate_core.pairing.exact import Physical
from xlate_core.pairing.schema_functions import StrictTable

Choices = dict[str, list[str]]
Setting = Physical | str


class ChoiceTable(StrictTable):
    """One choice of an axis: what is set, and with which choices of others it can occur."""

    words: str = Field("", description="what it means")
    set: dict[str, Setting] = Field(
        {}, description="signals (physical or text), input pins (active, inactive, counts), supply"
    )
    only: Choices = Field({}, description="choices of other axes it can occur with")
    first: dict[str, Setting] = Field({}, description="what is set before, to come from there")
    then: dict[str, Setting] = Field({}, description="what is set a settling time later")
    settle_ms: int = Field(0, ge=0, le=60000, description="time to reach it, if not the file's")
    shows: dict[str, Setting] = Field(
        {}, description="outputs that show that it was reached, with their states"
    )
    after_fault: str = Field("", description="'class of subject' that came and went before")


class RequireTable(StrictTable):
    """One requirement."""

    id: str = Field(pattern=r"^[A-Z][A-Z0-9-]*$", description="its name for life")
    outputs: list[str] = Field(min_length=1, description="output.NAME or bus.MESSAGE.Signal, *")
    faults: list[str] = Field(min_length=1, description="classes of faults")
    of: list[str] = Field(["*"], description="messages, signals, pins or buses at fault, *")
    situations: Choices = Field({}, description="axis -> choices; axes left out: any")
    hazard: str = Field(description="what can hurt, in words")
    state: Setting = Field(
        description="on, off, silent, not available, unchanged, gaps, or a value in the unit"
    )
    within_ms: int = Field(ge=0, description="longest time from the fault to the state, ms")
    because: str = Field(description="source of the time and reason of the choice")
    actuator_ms: int = Field(0, ge=0, description="time the actuator itself takes, ms")
    recovery: Literal["returns", "next ignition cycle", "stays", "any"] = Field(
        "returns", description="what the output does when the fault is gone"
    )
    indication: list[str] = Field([], description="outputs that tell the driver, on")
    safer: str = Field("", description="which state counts as safer here, and why")
    undetected_reason: str = Field("", description="why no detection is possible or wanted")


class NotApplicableTable(StrictTable):
    """Faults that do not apply to this module."""

    faults: list[str] = Field(min_length=1, description="classes of faults")
    of: list[str] = Field(["*"], description="messages, signals, pins or buses")
    outputs: list[str] = Field(["*"], description="outputs")
    situations: Choices = Field({}, description="axis -> choices; axes left out: any")
    reason: str = Field(min_length=10, description="why")


class GroupTable(StrictTable):
    """Faults that come together: one supply, one plug, one cable."""

    words: str = Field(description="what they share")
    faults: list[str] = Field(min_length=2, description="'class of subject', each")


class ContradictionTable(StrictTable):
    """Switches that contradict each other."""

    words: str = Field(description="what contradicts what")
    set: dict[str, Setting] = Field(min_length=1, description="signals and pins as they stand then")


class InteractionTable(StrictTable):
    """Things that meet: a fault, and something else that happens while it lasts."""

    id: str = Field(pattern=r"^[A-Z][A-Z0-9-]*$", description="its name for life")
    words: str = Field(min_length=1, description="what meets what")
    not_applicable: str = Field("", description="why it cannot happen here; then nothing else")
    situations: Choices = Field({}, description="axis -> choices; the first one that fits")
    faults: list[str] = Field([], description="'class of subject', made one after the other")
    after_ms: int = Field(0, ge=0, le=60000, description="time between the faults and `then`")
    then: dict[str, Setting] = Field({}, description="what is set afterwards")
    outputs: list[str] = Field([], description="outputs it is judged by")
    state: Setting = Field("unchanged", description="required state, as in a requirement")
    within_ms: int = Field(0, ge=0, le=60000, description="longest time to it")
    hazard: str = Field("", description="what can hurt, in words")
    because: str = Field("", description="source of the time and reason of the choice")


class RequiredFile(StrictTable):
    """The whole file."""

    format_: Literal[1] = Field(alias="format", description="format of this file: 1")
    settle_ms: int = Field(4000, ge=100, le=60000, description="time to reach a situation, ms")
    observe_ms: int = Field(1500, ge=100, le=60000, description="least time a fault is watched, ms")
    recover_ms: int = Field(
        4000, ge=100, le=60000, description="longest time to wait for recovery, ms"
    )
    axis: dict[str, dict[str, ChoiceTable]] = Field(description="axes of operating situations")
    require: Annotated[list[RequireTable], Field(min_length=1)] = Field(description="requirements")
    not_applicable: list[NotApplicableTable] = Field([], description="faults that do not apply")
    group: dict[str, GroupTable] = Field({}, description="dependent faults by name")
    contradiction: dict[str, ContradictionTable] = Field({}, description="contradictory switches")
    interaction: list[InteractionTable] = Field([], description="things that meet")
    pairs_in: Choices = Field(
        {}, description="situations in which all pairs of lost messages are tried; none: nowhere"
    )
    ignition: list[str] = Field([], description="input pins that end the ignition cycle")
    cycle_ms: int = Field(3000, ge=100, le=60000, description="how long they are off for it")
    assumption: list[str] = Field([], description="what the installer has to do")
    not_covered: list[str] = Field([], description="faults the table does not cover")
