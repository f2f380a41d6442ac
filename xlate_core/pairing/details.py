"""What people want to know and the engine need not: units, steps, ways in and out, settings."""

from dataclasses import dataclass
from fractions import Fraction

from pydantic import BaseModel

from xlate_core.bridge import BridgeSpec
from xlate_core.pairing.context import (
    POWER_MODE,
    SUPPLY,
    Context,
    function_inputs,
    function_outputs,
    products,
    uses,
)
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_functions import FunctionBase

ENGINE_MAKERS = {POWER_MODE: ("the power mode",), SUPPLY: ("the supply",)}


@dataclass(frozen=True, slots=True)
class QuantityDetails:
    """A quantity as people see it; writers and readers are words such as "function fans"."""

    name: str
    unit: str
    resolution: Fraction
    written_by: tuple[str, ...]
    read_by: tuple[str, ...]


def quantity_details(context: Context, spec: BridgeSpec) -> tuple[QuantityDetails, ...]:
    """Return the details of all quantities in the order of the spec."""
    written: dict[str, list[str]] = {}
    read: dict[str, list[str]] = {}
    for path, name in products(context.file):
        written.setdefault(name, []).append(place(context, path))
    for path, name in uses(context.file):
        if "loss_of" not in path and place(context, path) not in read.setdefault(name, []):
            read[name].append(place(context, path))
    result = []
    for quantity in spec.quantities:
        table = context.file.quantity.get(quantity.name)
        makers = [spec.sources[index].name for index in quantity.sources]
        makers += written.get(quantity.name, [])
        result.append(
            QuantityDetails(
                name=quantity.name,
                unit=table.unit if table is not None else "",
                resolution=table.resolution if table is not None else Fraction(1),
                written_by=tuple(makers) if table is not None else ENGINE_MAKERS[quantity.name],
                read_by=tuple(read.get(quantity.name, ())),
            )
        )
    return tuple(result)


@dataclass(frozen=True, slots=True)
class FunctionDetails:
    """A function as people wrote it: kind, quantities in and out, its other settings in words."""

    name: str
    kind: str
    reads: tuple[str, ...]
    writes: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]


def function_details(context: Context) -> tuple[FunctionDetails, ...]:
    """Return the details of all functions in the order they run."""
    return tuple(
        FunctionDetails(
            name=table.name,
            kind=table.kind,
            reads=tuple(dict.fromkeys(name for _, name in function_inputs((), table))),
            writes=tuple(dict.fromkeys(name for _, name in function_outputs((), table))),
            settings=_settings(table),
        )
        for table in context.file.function
    )


def _settings(table: FunctionBase) -> tuple[tuple[str, str], ...]:
    """Return the keys that hold no quantity of their own, defaults included."""
    named = {keys for keys, _ in (*function_inputs((), table), *function_outputs((), table))}
    return tuple(
        (name, _in_words(getattr(table, name)))
        for name in type(table).model_fields
        if name not in ("name", "kind") and (name,) not in named
    )


def _in_words(value: object) -> str:
    """Return a setting as bridge.toml would write it, without quotes."""
    if isinstance(value, Fraction):
        return show_ratio(value)
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "-"}[value]
    if isinstance(value, BaseModel):
        return "{" + ", ".join(f"{key} {_in_words(one)}" for key, one in value) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_in_words, value)) + "]"
    return str(value)


def place(context: Context, path: KeyPath) -> str:
    """Return in words what a key path belongs to."""
    if path[0] == "function" and isinstance(path[1], int):
        return f"function {context.file.function[path[1]].name}"
    if path[0] == "transmit":
        signal = f".{path[4]}" if path[3:4] == ("signals",) else ""
        return f"{path[1]}.{path[2]}{signal}"
    if path[0] == "power":
        return "power mode"
    return f"{path[0]} {path[1]}"
