"""What people want to know of a quantity and the engine need not: unit, step, way in and out."""

from dataclasses import dataclass
from fractions import Fraction

from xlate_core.bridge import BridgeSpec
from xlate_core.pairing.context import POWER_MODE, SUPPLY, Context, products, uses
from xlate_core.pairing.positions import KeyPath

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
