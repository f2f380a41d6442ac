"""Specs of conditions, pins, faults and the power mode."""

from xlate_core.buses import BusEvent
from xlate_core.conditions import ComparisonSpec, ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.build_inputs import build_analogue
from xlate_core.pairing.build_memory import build_entry
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import NONE, Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import (
    steps,
)
from xlate_core.pairing.schema_inputs import LevelInput
from xlate_core.pins import (
    LevelInputSpec,
    OutputPinSpec,
    PinKind,
    PinsSpec,
)
from xlate_core.power import PowerMode
from xlate_core.quantities import SourceSpec, Status


def build_conditions(context: Context, indices: Indices) -> tuple[ConditionSpec, ...]:
    """Return the conditions in their listed order."""
    specs = []
    for name, table in context.file.condition.items():
        comparisons = []
        for index, term in enumerate(table.quantities):
            path: KeyPath = ("condition", name, "quantities", index, "value")
            value = steps(context, path, term.value, term.quantity)
            number = indices.quantities[term.quantity]
            comparisons.append(ComparisonSpec(number, Operator(term.is_), value))
        specs.append(
            ConditionSpec(
                name=name,
                power_modes=tuple(int(PowerMode[mode.upper()]) for mode in table.power_modes or ()),
                supply_mv=(table.supply_mv[0], table.supply_mv[1]) if table.supply_mv else None,
                after=table.after_ms // context.file.clock.tick_ms,
                comparisons=tuple(comparisons),
            )
        )
    return tuple(specs)


def build_pins(
    context: Context, indices: Indices, pin_sources: dict[str, int], sources: list[SourceSpec]
) -> PinsSpec:
    """Return all pins; the order in each kind is the order in the file."""
    levels, analogues = [], []
    for name, pin in context.file.input.items():
        source = pin_sources.get(name, NONE)
        if isinstance(pin, LevelInput):
            debounce = pin.debounce_ms // context.file.clock.tick_ms
            levels.append(LevelInputSpec(name, pin.active == "high", debounce, source))
            continue
        quantity = list(context.file.quantity)[sources[source].quantity] if source >= 0 else None
        analogues.append(build_analogue(context, indices, name, pin, quantity, source))
    outputs = []
    for name, output in context.file.output.items():
        path = ("output", name, "reset")
        reset = steps(context, path, output.reset, output.quantity, inside=True)
        outputs.append(
            OutputPinSpec(
                name=name,
                kind=PinKind[output.kind.upper()],
                active_high=output.active == "high",
                quantity=indices.quantities[output.quantity],
                reset_value=reset,
                unpowered=output.unpowered,
            )
        )
    return PinsSpec(tuple(levels), tuple(analogues), tuple(outputs))


def build_faults(context: Context, indices: Indices) -> tuple[FaultSpec, ...]:
    """Return the faults in their listed order."""
    specs = []
    for name, table in context.file.fault.items():
        message = NONE
        if table.message is not None and (found := context.named_message(table.message)):
            message = indices.messages[found[1].key]
        specs.append(
            FaultSpec(
                name=name,
                quantity=indices.quantity(table.quantity),
                statuses=tuple(int(Status[one.upper()]) for one in table.statuses or ()),
                message=message,
                up=table.up,
                down=table.down,
                limit=table.limit,
                latch=table.latch,
                condition=indices.condition(table.when),
                output=indices.quantities[table.output],
                memory=build_entry(indices, table.memory),
                bus=NONE if table.bus is None else BUS_NAMES.index(table.bus),
                bus_events=sum(1 << BusEvent[one.upper()] for one in set(table.events or ())),
            )
        )
    return tuple(specs)
