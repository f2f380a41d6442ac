"""The shape of the [[function]] tables of bridge.toml: one class a kind of vehicle function."""

from enum import Enum
from fractions import Fraction
from typing import Annotated, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field

from xlate_core.pairing.exact import Nonzero, Physical
from xlate_core.pairing.positions import KeyPath

Milliseconds = Annotated[int, Field(ge=0, le=0x7FFFFFFF, description="duration, ms")]


class Marker(Enum):
    """What a text key of a function names: a quantity it reads, or one it writes."""

    READ = "read"
    WRITTEN = "written"


Reads = Annotated[str, Marker.READ]
Writes = Annotated[str, Marker.WRITTEN]
MayRead = Annotated[str | None, Marker.READ]
MayWrite = Annotated[str | None, Marker.WRITTEN]
ReadsEach = Annotated[list[str], Marker.READ]


class StrictTable(BaseModel):
    """A table of bridge.toml: unknown keys are refused, nothing is converted silently."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, populate_by_name=False)


def whole(value: int) -> Fraction:
    """Return a whole default value as an exact number."""
    return Fraction(value)


class FunctionBase(StrictTable):
    """What every function has."""

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="name of the function")

    follows_power: ClassVar[bool] = False
    """Whether the power mode reaches its outputs."""

    def curves(self) -> list[tuple[KeyPath, str, str, str]]:
        """Return every curve it uses: key path inside the table, name, quantity of x and of y."""
        return []


def marked(
    table: BaseModel, marker: Marker, path: tuple[str | int, ...]
) -> list[tuple[tuple[str | int, ...], str]]:
    """Return key path and text of every key with the marker, in tables inside as well, in order."""
    found: list[tuple[tuple[str | int, ...], str]] = []
    for name, field in type(table).model_fields.items():
        value, here = getattr(table, name), (*path, field.alias or name)
        items = value if isinstance(value, list) else [value]
        for index, item in enumerate(items):
            where = (*here, index) if isinstance(value, list) else here
            if isinstance(item, BaseModel):
                found += marked(item, marker, where)
            elif isinstance(item, str) and marker in field.metadata:
                found.append((where, item))
    return found


class GaugeTable(FunctionBase):
    """A needle driven through a curve."""

    kind: Literal["gauge"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity shown")
    curve: str = Field(description="name of the curve input -> output")
    output: Writes = Field(description="quantity: position of the needle")
    hysteresis: Physical = Field(whole(0), description="needle rests inside this band, input unit")
    on_loss: Physical = Field(description="position on loss, unit of the output")

    def curves(self) -> list[tuple[KeyPath, str, str, str]]:
        """Return the curve of the needle."""
        return [(("curve",), self.curve, self.input, self.output)]


class MappingTable(FunctionBase):
    """A value copied, scaled, or looked up in a table."""

    kind: Literal["mapping"] = Field(description="kind of the function")
    input: Reads = Field(description="quantity read")
    output: Writes = Field(description="quantity written")
    table: list[Annotated[list[Physical], Field(min_length=2, max_length=2)]] | None = Field(
        None, description="pairs [input value, output value]"
    )
    otherwise: Physical | None = Field(None, description="output for an input not in the table")
    scale: Nonzero | None = Field(None, description="output per input, without a table")
    offset: Physical | None = Field(None, description="output at input 0, without a table")
    on_loss: Physical = Field(description="output on loss, unit of the output")
