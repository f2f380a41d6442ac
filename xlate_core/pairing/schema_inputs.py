"""The shape of the [input] tables of bridge.toml: switches, sensors by their law, ladders."""

from typing import Annotated, Literal

from pydantic import Field

from xlate_core.pairing.exact import Physical, Positive
from xlate_core.pairing.schema_functions import MayWrite, Milliseconds, StrictTable
from xlate_core.pairing.schema_messages import RawRange

Counts = Annotated[int, Field(ge=0, le=0xFFFF, description="counts of the converter")]
Pair = Annotated[list[Physical], Field(min_length=2, max_length=2)]


class LevelInput(StrictTable):
    """A switch."""

    kind: Literal["level"] = Field(description="kind of the input pin")
    active: Literal["high", "low"] = Field("high", description="electrical level that means on")
    debounce_ms: Milliseconds = Field(0, description="a level counts when stable so long, ms")


class BetaTable(StrictTable):
    """A thermistor by its resistance at one temperature and its B value."""

    ohm: Positive = Field(description="resistance at the temperature `at`, ohm")
    at: Physical = Field(description="temperature of that resistance, degC")
    beta: Positive = Field(description="B value, kelvin")


class ThermistorTable(StrictTable):
    """A thermistor in a divider, by exactly one law; compiled to a curve when the pairing loads."""

    pull_up_ohm: Positive = Field(description="the other resistor of the divider, ohm")
    sensor_at: Literal["ground", "supply"] = Field(
        "ground", description="end of the divider the thermistor is at"
    )
    steinhart_hart: Annotated[list[Physical], Field(min_length=3, max_length=3)] | None = Field(
        None, description="coefficients A, B, C of Steinhart and Hart, 1/kelvin"
    )
    through: Annotated[list[Pair], Field(min_length=3, max_length=3)] | None = Field(
        None, description="three points [degC, ohm] the law of Steinhart and Hart goes through"
    )
    beta: BetaTable | None = Field(None, description="the exponential law")
    max_error: Positive = Field(description="largest deviation of the curve from the law, degC")


class RatiometricTable(StrictTable):
    """A track of a potentiometer on the converter's own reference: a straight line."""

    percent: Pair = Field(description="signal at both ends, percent of the reference")
    value: Pair = Field(description="what both ends mean, unit of the quantity")


class ContactTable(StrictTable):
    """One contact of a ladder, by resistance or by counts."""

    value: Physical = Field(description="what the contact means, unit of the quantity")
    ohm: Annotated[list[Physical], Field(min_length=1, max_length=2)] | None = Field(
        None, description="lowest and highest resistance, ohm; one number: that and more"
    )
    counts: RawRange | None = Field(None, description="lowest and highest counts")


class LadderTable(StrictTable):
    """Contacts with a resistor each on one wire; counts between two of them are none."""

    pull_up_ohm: Positive | None = Field(None, description="the other resistor, ohm")
    widen_counts: Counts = Field(0, description="every contact reaches so much further, counts")
    gap_counts: Counts = Field(1, description="least counts that belong to no contact, between two")
    contacts: list[ContactTable] = Field(min_length=1, max_length=16, description="the contacts")


class AnalogueInput(StrictTable):
    """A voltage, read in counts: by at most one of curve, thermistor, ratiometric, ladder."""

    kind: Literal["analogue"] = Field(description="kind of the input pin")
    curve: str | None = Field(None, description="name of the curve counts -> physical value")
    valid: RawRange | None = Field(
        None, description="lowest and highest valid counts; less is shorted, more shorted or open"
    )
    full_scale: int = Field(
        4095, ge=1, le=0xFFFF, description="counts at the reference voltage of the converter"
    )
    thermistor: ThermistorTable | None = Field(None, description="a thermistor in a divider")
    ratiometric: RatiometricTable | None = Field(None, description="a potentiometer track")
    ladder: LadderTable | None = Field(None, description="contacts on one wire")
    wiring: MayWrite = Field(
        None, description="quantity: 0 good, 1 below valid, 2 above valid, 3 between contacts"
    )


InputTable = Annotated[LevelInput | AnalogueInput, Field(discriminator="kind")]
